//! Tokens of the language, made by `logos`.
//!
//! The raw lexer never fails and never drops a byte that matters: blanks are skipped, everything else
//! is a token, and what fits no rule is [`T::Unknown`]. Its state ends at each line end (strings and
//! comments do not span lines), so any line start is a safe place to begin lexing again; the splitter
//! relies on that.
//!
//! The automaton is kept to patterns over single bytes where they repeat: comments, texts and letters beyond ASCII
//! are finished by [`lex`], so that no length of them costs stack in a build without optimisation.
//!
//! What the trade writes decides a few rules: `2-1/2` and `3/4` are one number, `5in` is a number and a
//! word, `±`, `+-` and `+/-` are the same sign.

use cutwater_text::Span;
use logos::Logos;

/// The kind of a token. `Unit`, `Field` and `Newline` are made by the second pass (see `prepare`); the rest by the lexer.
#[derive(Logos, Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[logos(skip r"[ \t]+")]
pub enum T {
    /// Line end.
    #[regex(r"\r\n|\n|\r")]
    Newline,
    /// `// text`, to the line end.
    #[token("//")]
    Comment,
    /// `/// text`: documents what follows.
    Doc,
    /// `//! text`: documents the file.
    FileDoc,
    /// `5`, `1_250`, `.005`, `5e-3`, `-4` where no value precedes.
    #[regex(r"([0-9][0-9_]*(\.[0-9][0-9_]*)?|\.[0-9][0-9_]*)([eE][+-]?[0-9]+)?")]
    Number,
    /// `3/4`, `2-1/2`.
    #[regex(r"([0-9]+-)?[0-9]+/[0-9]+", priority = 8)]
    Fraction,
    /// `2026-05-14`.
    #[regex(r"[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]", priority = 9)]
    Date,
    /// `"text"`.
    Text,
    /// A text without its closing quote; ends at the line end.
    #[token("\"")]
    OpenText,
    /// A name or a unit's name.
    #[regex(r"[A-Za-z_%][A-Za-z0-9_]*")]
    #[regex(r"[°µμ℃℉Δ]")]
    Word,
    /// A word right before `=`: the name of what is being set. Made by the second pass.
    Field,
    /// The whole unit text after a number or in a table head. Made by the second pass.
    Unit,
    /// `{`
    #[token("{")]
    LBrace,
    /// `}`
    #[token("}")]
    RBrace,
    /// `(`
    #[token("(")]
    LParen,
    /// `)`
    #[token(")")]
    RParen,
    /// `[`
    #[token("[")]
    LBracket,
    /// `]`
    #[token("]")]
    RBracket,
    /// `,`
    #[token(",")]
    Comma,
    /// `;`
    #[token(";")]
    Semicolon,
    /// `:`
    #[token(":")]
    Colon,
    /// `=`
    #[token("=")]
    Equals,
    /// `..`
    #[token("..")]
    DotDot,
    /// `.`
    #[token(".")]
    Dot,
    /// `->`
    #[token("->")]
    #[token("→")]
    Arrow,
    /// `±`, `+-`, `+/-`
    #[token("±")]
    #[token("+-")]
    #[token("+/-")]
    PlusMinus,
    /// `+`
    #[token("+")]
    Plus,
    /// `-`
    #[token("-")]
    #[token("−")]
    Minus,
    /// `*`
    #[token("*")]
    #[token("·")]
    #[token("⋅")]
    #[token("×")]
    Star,
    /// `/`
    #[token("/")]
    Slash,
    /// `^`
    #[token("^")]
    Caret,
    /// `>=`
    #[token(">=")]
    #[token("≥")]
    AtLeast,
    /// `<=`
    #[token("<=")]
    #[token("≤")]
    AtMost,
    /// `>`
    #[token(">")]
    Above,
    /// `<`
    #[token("<")]
    Below,
    /// Anything no rule takes; neighbouring ones are merged.
    // The pattern is for blanks beyond ASCII, which `lex` drops; real strangers come as the automaton's error.
    #[regex("[\u{feff}\u{a0}]")]
    Unknown,
}

impl T {
    /// How the token is named in a message.
    pub fn describe(self) -> &'static str {
        match self {
            T::Newline => "the end of the line",
            T::Comment | T::Doc | T::FileDoc => "a comment",
            T::Number | T::Fraction => "a number",
            T::Date => "a date",
            T::Text | T::OpenText => "a text",
            T::Word => "a name",
            T::Field => "the next field",
            T::Unit => "a unit",
            T::LBrace => "`{`",
            T::RBrace => "`}`",
            T::LParen => "`(`",
            T::RParen => "`)`",
            T::LBracket => "`[`",
            T::RBracket => "`]`",
            T::Comma => "`,`",
            T::Semicolon => "`;`",
            T::Colon => "`:`",
            T::Equals => "`=`",
            T::DotDot => "`..`",
            T::Dot => "`.`",
            T::Arrow => "`->`",
            T::PlusMinus => "`±`",
            T::Plus => "`+`",
            T::Minus => "`-`",
            T::Star => "`*`",
            T::Slash => "`/`",
            T::Caret => "`^`",
            T::AtLeast => "`>=`",
            T::AtMost => "`<=`",
            T::Above => "`>`",
            T::Below => "`<`",
            T::Unknown => "a character that means nothing here",
        }
    }

    /// Comments and line ends.
    pub fn is_trivia(self) -> bool {
        matches!(self, T::Newline | T::Comment | T::Doc | T::FileDoc)
    }
}

/// One token as the lexer saw it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Raw {
    /// Kind.
    pub kind: T,
    /// Bytes, counted from the start of the text that was lexed.
    pub span: Span,
}

/// Lexes `text`; blanks are left out, everything else is there in order.
pub fn lex(text: &str) -> Vec<Raw> {
    let mut out: Vec<Raw> = Vec::with_capacity(text.len() / 4 + 8);
    let mut lexer = T::lexer(text);
    while let Some(kind) = lexer.next() {
        let kind = match kind {
            Ok(T::Unknown) => continue,
            Ok(T::Comment) => {
                let rest = lexer.remainder();
                let kind = match rest.as_bytes().first() {
                    Some(b'/') => T::Doc,
                    Some(b'!') => T::FileDoc,
                    _ => T::Comment,
                };
                lexer.bump(rest.find(['\n', '\r']).unwrap_or(rest.len()));
                Ok(kind)
            }
            Ok(T::OpenText) => {
                let rest = lexer.remainder();
                let end = rest.find(['"', '\n', '\r']).unwrap_or(rest.len());
                let shut = rest[end..].starts_with('"');
                lexer.bump(end + usize::from(shut));
                Ok(if shut { T::Text } else { T::OpenText })
            }
            Ok(T::Word) => {
                let rest = lexer.remainder();
                if rest.as_bytes().first().is_some_and(in_word) {
                    lexer.bump(word_rest(rest));
                }
                Ok(T::Word)
            }
            other => other,
        };
        let span = Span::from(lexer.span());
        match kind {
            Ok(kind) => out.push(Raw { kind, span }),
            Err(()) => match out.last_mut() {
                Some(last) if last.kind == T::Unknown && last.span.end == span.start => {
                    last.span.end = span.end;
                }
                _ => out.push(Raw {
                    kind: T::Unknown,
                    span,
                }),
            },
        }
    }
    out
}

/// Whether a word may go on with a character that begins with this byte.
fn in_word(byte: &u8) -> bool {
    !byte.is_ascii() || byte.is_ascii_alphanumeric() || *byte == b'_'
}

/// How many bytes at the start of `text` go on with a word.
fn word_rest(text: &str) -> usize {
    text.find(|c: char| {
        !(c.is_ascii_alphanumeric()
            || matches!(c, '_' | '°' | 'µ' | 'μ' | '²' | '³' | '⁴' | '⁻' | '¹'))
    })
    .unwrap_or(text.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kinds(text: &str) -> Vec<(T, &str)> {
        lex(text)
            .iter()
            .map(|r| (r.kind, r.span.slice(text)))
            .collect()
    }

    #[test]
    fn trade_numbers_are_one_token() {
        assert_eq!(
            kinds("2-1/2 in 3/4 1_250 .005 5e-3 2026-05-14 5in"),
            vec![
                (T::Fraction, "2-1/2"),
                (T::Word, "in"),
                (T::Fraction, "3/4"),
                (T::Number, "1_250"),
                (T::Number, ".005"),
                (T::Number, "5e-3"),
                (T::Date, "2026-05-14"),
                (T::Number, "5"),
                (T::Word, "in"),
            ]
        );
    }

    #[test]
    fn ranges_and_signs() {
        assert_eq!(
            kinds("5.49..5.51 ± +- +/- -> .. /// d"),
            vec![
                (T::Number, "5.49"),
                (T::DotDot, ".."),
                (T::Number, "5.51"),
                (T::PlusMinus, "±"),
                (T::PlusMinus, "+-"),
                (T::PlusMinus, "+/-"),
                (T::Arrow, "->"),
                (T::DotDot, ".."),
                (T::Doc, "/// d"),
            ]
        );
    }

    #[test]
    fn letters_beyond_ascii_belong_to_words_and_blanks_beyond_ascii_do_not() {
        assert_eq!(
            kinds("\u{feff}µm µ_x mm²/s°F\u{a0}Δp m⁻¹ 5℃ 3 %x λ"),
            vec![
                (T::Word, "µm"),
                (T::Word, "µ_x"),
                (T::Word, "mm²"),
                (T::Slash, "/"),
                (T::Word, "s°F"),
                (T::Word, "Δp"),
                (T::Word, "m⁻¹"),
                (T::Number, "5"),
                (T::Word, "℃"),
                (T::Number, "3"),
                (T::Word, "%x"),
                (T::Unknown, "λ"),
            ]
        );
    }

    #[test]
    fn comments_are_of_three_sorts_and_end_with_their_line() {
        assert_eq!(
            kinds("a// é\r\n/// d\r//! f //\n////x\n//"),
            vec![
                (T::Word, "a"),
                (T::Comment, "// é"),
                (T::Newline, "\r\n"),
                (T::Doc, "/// d"),
                (T::Newline, "\r"),
                (T::FileDoc, "//! f //"),
                (T::Newline, "\n"),
                (T::Doc, "////x"),
                (T::Newline, "\n"),
                (T::Comment, "//"),
            ]
        );
    }

    #[test]
    fn strings_end_at_the_line_end_and_strange_bytes_are_kept() {
        assert_eq!(
            kinds("\"open\n@@ \"shut\""),
            vec![
                (T::OpenText, "\"open"),
                (T::Newline, "\n"),
                (T::Unknown, "@@"),
                (T::Text, "\"shut\""),
            ]
        );
    }
}
