; Notes hold marks such as TODO; what documents is read as Markdown, as editors show it.

((comment) @injection.content
  (#set! injection.language "comment"))

([
  (doc_comment)
  (file_comment)
] @injection.content
  (#set! injection.language "markdown_inline"))
