; Names and where they hold. A file's names hold in the whole file, in any order; parameters hold in their declaration,
; function or rule. Members behind a point, and fields, are looked up in what stands before them and are not here.

[
  (source_file)
  (declaration)
  (let)
  (require)
] @local.scope

(use
  name: (name) @local.definition)

(let
  name: (name) @local.definition)

(declaration
  name: (name) @local.definition)

(parameter
  name: (name) @local.definition)

(every
  name: (name) @local.definition)

(segment
  label: (name) @local.definition)

(path
  .
  (name) @local.reference)
