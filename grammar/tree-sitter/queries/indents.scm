; Lines inside brackets stand one step further in, and so do lines that go on with a chain or a value.

[
  (block)
  (rows)
  (columns)
  (parameters)
  (arguments)
  (list)
  (parenthesized)
] @indent.begin

[
  (chain)
  (field)
  (hold)
  (let)
  (require)
  (accept)
] @indent.begin

(block
  "}" @indent.end)

(rows
  "}" @indent.end)

[
  "}"
  ")"
  "]"
] @indent.branch

[
  (comment)
  (doc_comment)
  (file_comment)
] @indent.ignore

(ERROR) @indent.auto
