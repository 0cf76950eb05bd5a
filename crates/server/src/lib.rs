//! The language server: the only crate that knows the protocol.
