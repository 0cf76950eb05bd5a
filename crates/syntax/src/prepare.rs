//! From raw tokens of a chunk to the tokens the parser sees.
//!
//! Four things are settled here, with one look at the neighbours, so that the grammar stays small and a
//! slip stays local:
//! - a number takes the unit that follows it on its line, as one token (`oz*in`, `ft/s`: no blanks inside);
//! - a word right before `=` is a field's name and never part of the value before it;
//! - line ends count only inside the braces of a table, where they end rows;
//! - brackets are made to balance: a missing one is reported where it was opened and put in, a stray one is
//!   reported and left out. An inner block whose following line steps back to its own column was not closed.

use crate::token::{Raw, T};
use crate::{MAX_NESTING, SyntaxError, SyntaxErrorKind};
use cutwater_text::Span;

/// A token as the parser sees it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Tok<'s> {
    /// Kind.
    pub kind: T,
    /// Its text.
    pub text: &'s str,
    /// First on its line.
    pub first: bool,
    /// Bytes from the chunk's start.
    pub span: Span,
}

/// Words that join parts of a value, never units.
pub const JOINING: &[&str] = &[
    "at", "of", "per", "to", "like", "as", "because", "within", "rise", "fall", "lines",
];

struct Open {
    kind: T,
    span: Span,
    /// Column of the first token on the line that opened it.
    column: u32,
    table: bool,
}

fn closer(kind: T) -> T {
    match kind {
        T::LBrace => T::RBrace,
        T::LParen => T::RParen,
        _ => T::RBracket,
    }
}

fn ends_value(kind: T) -> bool {
    matches!(
        kind,
        T::Number | T::Fraction | T::Unit | T::Word | T::RParen | T::RBracket | T::Text | T::Date
    )
}

/// Prepares the tokens of one chunk. `None` where the nesting is too deep to be parsed.
pub fn prepare<'s>(
    text: &'s str,
    raw: &[Raw],
    errors: &mut Vec<SyntaxError>,
) -> Option<Vec<Tok<'s>>> {
    let mut out: Vec<Tok<'s>> = Vec::with_capacity(raw.len());
    let mut open: Vec<Open> = Vec::new();
    let mut line_start = 0u32;
    let mut first = true;
    let mut line_column = 0u32;
    let mut i = 0;
    let adjacent = |a: usize| raw.get(a + 1).is_some_and(|n| n.span.start == raw[a].span.end);
    while i < raw.len() {
        let r = raw[i];
        if r.kind == T::Newline {
            line_start = r.span.end;
            first = true;
            if open.last().is_some_and(|o| o.table) {
                out.push(Tok {
                    kind: T::Newline,
                    text: "",
                    first: false,
                    span: r.span,
                });
            }
            i += 1;
            continue;
        }
        if r.kind.is_trivia() {
            i += 1;
            continue;
        }
        let is_first = std::mem::replace(&mut first, false);
        if is_first {
            line_column = r.span.start - line_start;
            // A line that steps back to the column of an inner block's own line: that block was not closed.
            let names_field = r.kind == T::Word && raw.get(i + 1).is_some_and(|n| n.kind == T::Equals);
            while steps_out(&open, r.kind, line_column, names_field) {
                let o = open.pop()?;
                close_unclosed(&mut out, &o, r.span.start, errors);
            }
        }
        let mut tok = Tok {
            kind: r.kind,
            text: r.span.slice(text),
            first: is_first,
            span: r.span,
        };
        let prev = out.last().map(|t: &Tok<'_>| t.kind);
        match r.kind {
            T::LBrace | T::LParen | T::LBracket => {
                if open.len() >= MAX_NESTING {
                    errors.push(SyntaxError {
                        kind: SyntaxErrorKind::TooDeep,
                        span: r.span,
                        message: format!("more than {MAX_NESTING} brackets are open at once"),
                        help: Some("close some, or name the inner parts with `let`".to_owned()),
                        related: None,
                        fix: None,
                    });
                    return None;
                }
                open.push(Open {
                    kind: r.kind,
                    span: r.span,
                    column: line_column,
                    table: r.kind == T::LBrace && prev == Some(T::RParen),
                });
            }
            T::RBrace | T::RParen | T::RBracket => {
                // Close whatever stands open inside the bracket this one belongs to.
                if let Some(at) = open.iter().rposition(|o| closer(o.kind) == r.kind) {
                    while open.len() > at + 1 {
                        let o = open.pop()?;
                        close_unclosed(&mut out, &o, r.span.start, errors);
                    }
                    open.pop();
                } else {
                    errors.push(SyntaxError {
                        kind: SyntaxErrorKind::Stray,
                        span: r.span,
                        message: format!("{} closes nothing", r.kind.describe()),
                        help: Some("take it out, or open it earlier".to_owned()),
                        related: None,
                        fix: Some((r.span, String::new())),
                    });
                    i += 1;
                    continue;
                }
            }
            T::Unknown => {
                errors.push(SyntaxError {
                    kind: SyntaxErrorKind::Character,
                    span: r.span,
                    message: format!("`{}` means nothing here", tok.text),
                    help: Some("take it out; texts go in double quotes, comments after `//`".to_owned()),
                    related: None,
                    fix: None,
                });
                i += 1;
                continue;
            }
            T::OpenText => {
                errors.push(SyntaxError {
                    kind: SyntaxErrorKind::OpenText,
                    span: r.span,
                    message: "this text has no closing quote on its line".to_owned(),
                    help: Some("end it with `\"`; a text stays on one line".to_owned()),
                    related: None,
                    fix: Some((Span::at(r.span.end as usize), "\"".to_owned())),
                });
                tok.kind = T::Text;
            }
            // `-5` is a number where no value stands before it, and in a table wherever a blank does.
            T::Minus
                if tok.text == "-"
                    && adjacent(i)
                    && matches!(raw[i + 1].kind, T::Number | T::Fraction)
                    && (prev.is_none_or(|p| !ends_value(p))
                        || is_first
                        || open.last().is_some_and(|o| o.table)
                            && out.last().is_some_and(|p| p.span.end < r.span.start)) =>
            {
                tok.kind = raw[i + 1].kind;
                tok.span = r.span.join(raw[i + 1].span);
                tok.text = tok.span.slice(text);
                i += 1;
            }
            T::Word => {
                let next = raw.get(i + 1).map(|n| n.kind);
                let in_head = prev == Some(T::Word)
                    && open.last().is_some_and(|o| o.kind == T::LParen)
                    && out.len() >= 2
                    && matches!(out[out.len() - 2].kind, T::LParen | T::Comma);
                if next == Some(T::Equals) && (prev != Some(T::Dot) || is_first) {
                    tok.kind = T::Field;
                } else if !is_first
                    && (matches!(prev, Some(T::Number | T::Fraction)) || in_head)
                    && !JOINING.contains(&tok.text)
                    && !(open.last().is_some_and(|o| o.table))
                {
                    tok.kind = T::Unit;
                    i = extend_unit(raw, i);
                    tok.span = r.span.join(raw[i].span);
                    tok.text = tok.span.slice(text);
                }
            }
            // `1/degF` as a unit: two numbers never stand side by side otherwise. `3/K`-like text is not one.
            T::Number
                if tok.text == "1"
                    && !is_first
                    && matches!(prev, Some(T::Number | T::Fraction))
                    && !open.last().is_some_and(|o| o.table)
                    && adjacent(i)
                    && raw[i + 1].kind == T::Slash
                    && adjacent(i + 1)
                    && raw[i + 2].kind == T::Word =>
            {
                tok.kind = T::Unit;
                i = extend_unit(raw, i);
                tok.span = r.span.join(raw[i].span);
                tok.text = tok.span.slice(text);
            }
            _ => {}
        }
        out.push(tok);
        i += 1;
    }
    while let Some(o) = open.pop() {
        close_unclosed(&mut out, &o, text.len() as u32, errors);
    }
    Some(out)
}

/// Whether a line that begins with `kind` in `column` shows that the innermost open block was not closed.
fn steps_out(open: &[Open], kind: T, column: u32, names_field: bool) -> bool {
    let [.., outer, inner] = open else {
        return false;
    };
    if inner.kind != T::LBrace {
        return names_field;
    }
    if matches!(kind, T::RBrace | T::RParen | T::RBracket) {
        return false;
    }
    if inner.table {
        return names_field;
    }
    column < inner.column || column == inner.column && inner.column > outer.column
}

/// From the token `i` that begins a unit to the last token of it: products, quotients and powers without blanks.
fn extend_unit(raw: &[Raw], mut i: usize) -> usize {
    let touching = |a: usize, kind: &[T]| {
        raw.get(a + 1)
            .is_some_and(|n| n.span.start == raw[a].span.end && kind.contains(&n.kind))
    };
    loop {
        if touching(i, &[T::Star, T::Slash]) && touching(i + 1, &[T::Word]) {
            i += 2;
        } else if touching(i, &[T::Caret]) && touching(i + 1, &[T::Number]) {
            i += 2;
        } else if touching(i, &[T::Caret])
            && touching(i + 1, &[T::Minus])
            && touching(i + 2, &[T::Number])
        {
            i += 3;
        } else {
            return i;
        }
    }
}

fn close_unclosed(out: &mut Vec<Tok<'_>>, o: &Open, at: u32, errors: &mut Vec<SyntaxError>) {
    let end = out.last().map_or(at, |t| t.span.end);
    let put = Span::at(end as usize);
    out.push(Tok {
        kind: closer(o.kind),
        text: "",
        first: false,
        span: put,
    });
    let close = closer(o.kind).describe();
    let insert = close.trim_matches('`');
    errors.push(SyntaxError {
        kind: SyntaxErrorKind::Unclosed,
        span: o.span,
        message: format!("{} is not closed", o.kind.describe()),
        help: Some(format!("put {close} where the block ends")),
        related: Some((put, format!("{close} is missing here at the latest"))),
        fix: Some((
            put,
            if o.kind == T::LBrace {
                format!("\n{insert}")
            } else {
                insert.to_owned()
            },
        )),
    });
}
