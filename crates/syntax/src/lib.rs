//! Tokens, parser, syntax tree and formatter of the pump language.
