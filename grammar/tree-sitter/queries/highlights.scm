; Names for colours. No node is named twice, so that it does not matter which of two patterns an editor lets win.

; Comments

(comment) @comment
[
  (doc_comment)
  (file_comment)
] @comment.documentation

; Words of the grammar

[
  "use"
  "as"
] @keyword.import

[
  "let"
  "require"
  "accept"
  "hold"
  "for"
  "every"
  "where"
  "because"
  "on"
  "until"
  "like"
  "of"
  "at"
  "per"
  "rise"
  "fall"
  "lines"
] @keyword

[
  "within"
  "is"
  "not"
  "and"
] @keyword.operator

; Kinds

((kind) @type.builtin
  ; words: kinds
  (#any-of? @type.builtin
    "site" "water" "material" "impeller" "ring" "pump" "drive" "supply" "hose" "nozzle" "appliance"
    "lay" "duty" "procedure" "instrument" "test"))

((kind) @type
  ; words: kinds
  (#not-any-of? @type
    "site" "water" "material" "impeller" "ring" "pump" "drive" "supply" "hose" "nozzle" "appliance"
    "lay" "duty" "procedure" "instrument" "test"))

; What is named

(use
  name: (name) @module)

(let
  name: (name) @function
  parameters: (parameters))

(let
  name: (name) @constant
  !parameters)

(declaration
  name: (name) @type.definition)

(parameter
  name: (name) @variable.parameter)

(argument
  name: (name) @variable.parameter)

(every
  name: (name) @variable.parameter)

(field
  name: (name) @property)

(hold
  target: (path
    .
    (name) @property
    .))

(group
  name: (name) @property)

(table
  name: (name) @property)

(column
  name: (name) @variable.parameter)

(segment
  label: (name) @label)

(accept
  code: (code) @constant)

; Functions

((call
  function: (path
    .
    (name) @function.builtin
    .))
  ; words: functions
  (#any-of? @function.builtin
    "min" "max" "mean" "sqrt" "abs" "sum" "median" "count"))

((call
  function: (path
    .
    (name) @function.call
    .))
  ; words: functions
  (#not-any-of? @function.call
    "min" "max" "mean" "sqrt" "abs" "sum" "median" "count"))

; Values: a word that the field takes, the standard library, what stands behind a point

((field
  name: (name) @_field
  value: (path
    .
    (name) @constant.builtin
    .))
  ; words: choice_fields
  (#any-of? @_field
    "form" "connection" "volute" "slip" "position" "in_service" "one_way" "source" "decision"
    "auxiliary_intake"))

((condition
  "is"
  limit: (path
    .
    (name) @constant.builtin
    .))
  ; words: choices
  (#any-of? @constant.builtin
    "plain" "stepped" "labyrinth" "single" "series" "parallel" "changeover" "double" "guelich" "wiesner"
    "stodola" "stated" "yes" "no" "smooth" "fog" "holding" "regulated" "draft" "pressurised" "guarded"
    "indicated" "pass" "fail" "too_close" "incomplete"))

((path
  .
  (name) @module.builtin
  .
  ".")
  (#eq? @module.builtin "std"))

(path
  member: (name) @variable.member)

(element
  member: (name) @variable.member)

(text) @string

(number) @number

(unit) @type

(tolerance_class) @constant

(date) @string.special

(row
  (name) @string.special)

(absent) @constant.builtin

; Signs

[
  "="
  "+"
  "-"
  "−"
  "*"
  "·"
  "⋅"
  "×"
  "/"
  "^"
  ".."
  "±"
  "+-"
  "+/-"
  ">="
  "≥"
  "<="
  "≤"
  ">"
  "<"
  "->"
  "→"
] @operator

[
  ","
  ";"
  ":"
  "."
] @punctuation.delimiter

[
  "("
  ")"
  "["
  "]"
  "{"
  "}"
] @punctuation.bracket
