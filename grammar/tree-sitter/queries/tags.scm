; What a file defines and names, for lists of symbols and for finding references.

(
  (doc_comment)* @doc
  .
  (declaration
    name: (name) @name) @definition.class
  (#strip! @doc "^///\\s?")
  (#select-adjacent! @doc @definition.class)
)

(
  (doc_comment)* @doc
  .
  (let
    name: (name) @name
    parameters: (parameters)) @definition.function
  (#strip! @doc "^///\\s?")
  (#select-adjacent! @doc @definition.function)
)

(
  (doc_comment)* @doc
  .
  (let
    name: (name) @name
    !parameters) @definition.constant
  (#strip! @doc "^///\\s?")
  (#select-adjacent! @doc @definition.constant)
)

(use
  name: (name) @name) @definition.module

(segment
  label: (name) @name) @definition.field

(call
  function: (path
    .
    (name) @name
    .)) @reference.call

(path
  .
  (name) @name) @reference.class
