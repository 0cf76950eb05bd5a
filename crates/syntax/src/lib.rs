//! Tokens, parser, syntax tree and formatter of the pump language.
//!
//! The way of a text: [`split`] cuts it into chunks of one item each; [`parse_chunk`] lexes a chunk
//! ([`token`]), settles units, field names and brackets ([`prepare`]) and parses it with `chumsky`
//! ([`parser`]) into a total tree ([`ast`]). Parsing cannot fail: it gives a tree and a list of
//! [`SyntaxError`]s. [`format()`] lays a text out in the one canonical way, [`format_range`] a few lines of it.
//!
//! This crate knows no kinds, fields or units: a unit is a piece of text here.

pub mod ast;
pub mod format;
pub mod grammar;
pub mod parser;
pub mod prepare;
pub mod range;
pub mod split;
pub mod token;
pub mod words;

use cutwater_text::Span;

pub use format::{format, format_line_count};
pub use parser::{parse_chunk, parse_tokens};
pub use range::{TextEdit, format_range};

/// How many brackets may be open at once. Real specs use four; the limit keeps hostile text from
/// exhausting the stack of whatever walks the tree.
pub const MAX_NESTING: usize = 48;

/// What sort of slip a syntax error is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SyntaxErrorKind {
    /// Something else was expected here.
    Unexpected,
    /// A bracket without its partner.
    Unclosed,
    /// A closing bracket that closes nothing.
    Stray,
    /// A character no rule takes.
    Character,
    /// A text without its closing quote.
    OpenText,
    /// Too many brackets open at once.
    TooDeep,
}

/// A place where a text is not well formed.
#[derive(Clone, PartialEq, Debug)]
pub struct SyntaxError {
    /// The sort of slip.
    pub kind: SyntaxErrorKind,
    /// Where, from the chunk's start.
    pub span: Span,
    /// What is wrong, in one line.
    pub message: String,
    /// How to mend it.
    pub help: Option<String>,
    /// Another place that belongs to it, with a word on why.
    pub related: Option<(Span, String)>,
    /// An edit that mends it.
    pub fix: Option<(Span, String)>,
}

/// A parsed chunk.
#[derive(Clone, PartialEq, Debug)]
pub struct Parsed {
    /// What the chunk holds.
    pub item: ast::Item,
    /// `//!` lines in it, without the marks.
    pub file_doc: String,
    /// What is wrong with it.
    pub errors: Vec<SyntaxError>,
}
