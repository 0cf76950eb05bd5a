; What can be folded: blocks, rows of tables, long lists and heads.

[
  (block)
  (rows)
  (list)
  (parameters)
  (arguments)
] @fold

; Neighbouring lines of notes.
(doc_comment)+ @fold

(file_comment)+ @fold

(use)+ @fold
