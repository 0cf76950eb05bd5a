//! From raw tokens of a chunk to the tokens the parser sees.
//!
//! Four things are settled here, with one look at the neighbours, so that the grammar stays small and a
//! slip stays local:
//! - a number takes the unit that follows it on its line, as one token (`oz*in`, `ft/s`: no blanks inside);
//! - a word right before `=` is a field's name and never part of the value before it;
//! - line ends count only inside the braces of a table, where they end rows;
//! - brackets are made to balance: a missing one is reported where it was opened and put in, a stray one is
//!   reported and left out.
//!
//! How lines are indented is looked at only in a chunk whose brackets do not match; a chunk whose brackets do is
//! never judged by its layout. Where they do not match:
//! - an inner block whose following line steps back to its own column was not closed, and so was a table
//!   whose following line begins a field, a block, a chain or another table;
//! - `(` and `[` end at the latest at a `{`, or where the next line begins a field, a block or a chain;
//! - a bracket opened twice in a row but closed once counts once;
//! - where a `{` is missing, it belongs behind the head of the declaration, the table's columns, or the name
//!   that is followed by a field on its line or by a line further in;
//! - where a `}` is too many, it is one that stands further in than the line that opened its block, or behind
//!   something else on a later line.
//!
//! The result never holds `T::Unknown`, `T::OpenText` or a comment, and its brackets always match.

use crate::parser::quote;
use crate::token::{Raw, T};
use crate::words::joins;
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

/// How many characters of a run of brackets go into its message before it is cut.
const SHOWN: usize = 64;

/// How many tokens of a line are looked at for what makes it a row.
const ROW: usize = 16;

#[derive(Clone, Copy)]
struct Open {
    kind: T,
    span: Span,
    /// Column of the first token on the line that opened it.
    column: u32,
    /// Offset of that line's start.
    line: u32,
    table: bool,
    /// Put in here, and reported already.
    added: bool,
}

/// How many more brackets of each kind are opened than closed.
#[derive(Clone, Copy, Default, Debug)]
struct Excess {
    brace: i64,
    paren: i64,
    bracket: i64,
}

impl Excess {
    fn of(&mut self, kind: T) -> &mut i64 {
        match kind {
            T::LBrace | T::RBrace => &mut self.brace,
            T::LParen | T::RParen => &mut self.paren,
            _ => &mut self.bracket,
        }
    }
}

/// `None` where all brackets match.
fn mismatch(raw: &[Raw]) -> Option<Excess> {
    let mut open = Vec::new();
    let mut excess = Excess::default();
    let mut crossed = false;
    for r in raw {
        match r.kind {
            T::LBrace | T::LParen | T::LBracket => {
                open.push(closer(r.kind));
                *excess.of(r.kind) += 1;
            }
            T::RBrace | T::RParen | T::RBracket => {
                *excess.of(r.kind) -= 1;
                crossed |= open.pop() != Some(r.kind);
            }
            _ => {}
        }
    }
    (crossed || !open.is_empty()).then_some(excess)
}

fn closer(kind: T) -> T {
    match kind {
        T::LBrace => T::RBrace,
        T::LParen => T::RParen,
        _ => T::RBracket,
    }
}

fn opener(kind: T) -> T {
    match kind {
        T::RBrace => T::LBrace,
        T::RParen => T::LParen,
        _ => T::LBracket,
    }
}

/// Whether a row may begin like this and an entry may not.
fn begins_row(kind: T) -> bool {
    matches!(
        kind,
        T::Number | T::Fraction | T::Text | T::OpenText | T::Minus | T::Plus
    )
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
    Pass {
        text,
        raw,
        errors,
        excess: mismatch(raw),
        out: Vec::with_capacity(raw.len() + 4),
        open: Vec::new(),
        line_start: 0,
        line_column: 0,
        line_before: (0, 0),
        line_of_first: 0,
        head: Head::Start,
    }
    .run()
}

/// Whether the head of a declaration is being read.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Head {
    Start,
    Inside,
    Over,
}

struct Pass<'s, 'a> {
    text: &'s str,
    raw: &'a [Raw],
    errors: &'a mut Vec<SyntaxError>,
    /// Brackets opened too often, while there are any that do not match.
    excess: Option<Excess>,
    out: Vec<Tok<'s>>,
    open: Vec<Open>,
    line_start: u32,
    /// Start of the last line with a token on it.
    line_of_first: u32,
    /// Column of the first token on this line.
    line_column: u32,
    /// Start and column of the line before with a token on it.
    line_before: (u32, u32),
    head: Head,
}

impl<'s> Pass<'s, '_> {
    fn kind_at(&self, i: usize) -> T {
        self.raw.get(i).map_or(T::Newline, |r| r.kind)
    }

    /// Whether nothing stands between the tokens `i` and `i + 1`.
    fn adjacent(&self, i: usize) -> bool {
        self.raw
            .get(i + 1)
            .is_some_and(|n| n.span.start == self.raw[i].span.end)
    }

    fn in_table(&self) -> bool {
        self.open.last().is_some_and(|o| o.table)
    }

    fn before(&self) -> Option<T> {
        self.out.last().map(|t| t.kind)
    }

    fn run(mut self) -> Option<Vec<Tok<'s>>> {
        let mut first = true;
        let mut i = 0;
        while i < self.raw.len() {
            let r = self.raw[i];
            if r.kind == T::Newline {
                self.line_start = r.span.end;
                first = true;
                if self.in_table() {
                    self.out.push(Tok {
                        kind: T::Newline,
                        text: "",
                        first: false,
                        span: r.span,
                    });
                }
            } else if !r.kind.is_trivia() {
                let is_first = std::mem::replace(&mut first, false);
                if is_first {
                    self.line_before = (self.line_of_first, self.line_column);
                    self.line_of_first = self.line_start;
                    self.line_column = r.span.start - self.line_start;
                }
                if self.excess.is_some() {
                    if is_first && let Some(last) = self.rows_without_head(i) {
                        i = last + 1;
                        continue;
                    }
                    self.mend_before(i, is_first);
                }
                match r.kind {
                    T::LBrace | T::LParen | T::LBracket => self.opening(r, is_first)?,
                    T::RBrace | T::RParen | T::RBracket => self.closing(r, is_first),
                    T::Unknown => self.unknown(r),
                    _ => i = self.plain(i, is_first),
                }
            }
            i += 1;
        }
        while let Some(o) = self.open.pop() {
            self.close_unclosed(&o, None);
        }
        Some(self.out)
    }

    fn unknown(&mut self, r: Raw) {
        if self.joins_last(SyntaxErrorKind::Character, r.span, |all| {
            format!("{} means nothing here", quote(all))
        }) {
            return;
        }
        self.errors.push(SyntaxError {
            kind: SyntaxErrorKind::Character,
            span: r.span,
            message: format!("{} means nothing here", quote(r.span.slice(self.text))),
            help: Some("take it out; texts go in double quotes, comments after `//`".to_owned()),
            related: None,
            fix: None,
        });
    }

    /// In a chunk whose brackets do not match: closes and opens what the token `i` shows to be missing.
    fn mend_before(&mut self, i: usize, is_first: bool) {
        let r = self.raw[i];
        let names_field = r.kind == T::Word && self.kind_at(i + 1) == T::Equals;
        while let Some(o) = self.open.last().copied() {
            let out = if o.kind == T::LBrace {
                is_first && self.steps_out(i)
            } else {
                r.kind == T::LBrace
                    || is_first
                        && (self.begins_no_value(i)
                            || self.lacks_braces() && self.is_row(i) && self.opens_columns())
            };
            if !out {
                break;
            }
            self.open.pop();
            self.close_unclosed(&o, Some(r));
        }
        let Some(last) = self.out.last().copied() else {
            self.head = if r.kind == T::Word
                && !crate::words::begins_item(r.span.slice(self.text))
                && !names_field
            {
                Head::Inside
            } else {
                Head::Over
            };
            return;
        };
        if self.head == Head::Inside {
            if r.kind == T::LBrace {
                self.head = Head::Over;
            } else if self.open.is_empty()
                && (names_field && !self.lacks_paren()
                    || is_first && self.lacks_braces() && self.begins_entry(i))
            {
                self.head = Head::Over;
                self.add_brace(r, false);
            }
        } else if self.lacks_braces() && !self.in_table() {
            let value = matches!(
                r.kind,
                T::Number | T::Fraction | T::Date | T::Text | T::OpenText
            ) || is_first && matches!(r.kind, T::Minus | T::Word);
            if last.kind == T::RParen && value && !names_field {
                self.add_brace(r, true);
            } else if self.opens_entry(last)
                && (names_field && !is_first
                    || is_first && self.line_column > self.line_before.1 && self.begins_entry(i))
            {
                self.add_brace(r, false);
            }
        }
    }

    /// Whether the innermost open bracket, a `(`, holds the columns of a table.
    fn opens_columns(&self) -> bool {
        self.open.len() == 2
            && self.open.last().is_some_and(|o| {
                o.kind == T::LParen && {
                    let at = self.out.partition_point(|t| t.span.start < o.span.start);
                    let line = self.line_with(at);
                    self.begins_table_head(line.start)
                }
            })
    }

    /// The tokens put out, from the first one of the line that the token `at` is on.
    fn line_with(&self, at: usize) -> std::ops::Range<usize> {
        let mut start = at.min(self.out.len().saturating_sub(1));
        while start > 0 && !self.out[start].first {
            start -= 1;
        }
        start..self.out.len()
    }

    /// Whether the token `at` that was put out may be the name of a table whose head goes on behind it.
    fn begins_table_head(&self, at: usize) -> bool {
        let name = self.out.get(at).is_some_and(|t| {
            t.kind == T::Word && !joins(t.text) && t.text != "hold" && t.text != "accept"
        });
        name && self
            .out
            .get(at + 1)
            .is_none_or(|next| next.kind == T::LParen || next.kind == T::Word && next.text == "at")
    }

    /// Whether the line that begins with the token `i` can only be a row: it begins with a number, or it has two side
    /// by side.
    fn is_row(&self, i: usize) -> bool {
        let number = |r: &Raw| matches!(r.kind, T::Number | T::Fraction);
        if number(&self.raw[i]) {
            return true;
        }
        let line: Vec<&Raw> = self.raw[i..]
            .iter()
            .take_while(|r| !matches!(r.kind, T::Newline | T::Equals | T::LBrace | T::Arrow))
            .take(ROW)
            .collect();
        matches!(self.raw[i].kind, T::Word | T::Text | T::Minus | T::Plus)
            && line
                .windows(2)
                .any(|pair| number(pair[0]) && number(pair[1]))
    }

    /// Lines of numbers that belong to no table, as its head or the end of it is missing: reports them once and gives
    /// the last raw token of them, the table's `}` included where it is one too many.
    fn rows_without_head(&mut self, i: usize) -> Option<usize> {
        let in_block = self
            .open
            .last()
            .is_some_and(|o| o.kind == T::LBrace && !o.table);
        if !self.lacks_braces() || !in_block || !self.is_row(i) {
            return None;
        }
        let last = *self.out.last()?;
        let line = self.line_with(self.out.len() - 1);
        let head = self.begins_table_head(line.start);
        // A table that has all of its columns only lacks its `{`, and a value may go on with a number.
        let goes_on =
            !matches!(last.kind, T::LBrace | T::RBrace | T::Semicolon) && !ends_value(last.kind);
        if goes_on || head && last.kind == T::RParen {
            return None;
        }
        let mut at = i;
        let mut line_first = true;
        let mut end = i;
        let mut swallowed = false;
        while let Some(r) = self.raw.get(at) {
            if r.kind == T::Newline {
                line_first = true;
            } else if !r.kind.is_trivia() {
                let begins = std::mem::replace(&mut line_first, false);
                swallowed = begins && r.kind == T::RBrace;
                if begins && !swallowed && !self.is_row(at) && !begins_row(r.kind)
                    || r.kind == T::RBrace && !swallowed
                {
                    break;
                }
                end = at;
                if swallowed {
                    break;
                }
            }
            at += 1;
        }
        if swallowed && let Some(excess) = &mut self.excess {
            excess.brace += 1;
        }
        let (span, message) = if head {
            (
                last.span,
                format!(
                    "expected a table's columns after {}, but {} comes next",
                    quote(last.text),
                    quote(self.raw[i].span.slice(self.text))
                ),
            )
        } else {
            (
                self.raw[i].span,
                format!(
                    "{} stands in no table: expected a table's head before it",
                    quote(self.raw[i].span.slice(self.text))
                ),
            )
        };
        self.errors.push(SyntaxError {
            kind: SyntaxErrorKind::Unexpected,
            span,
            message,
            help: Some(
                "a table begins with its name, its columns and `{`: `curve (flow gpm, net psi) {`"
                    .to_owned(),
            ),
            related: None,
            fix: None,
        });
        Some(end)
    }

    /// Whether a `(` is missing and no `{`: then a name before `=` is a parameter's.
    fn lacks_paren(&self) -> bool {
        self.excess.is_some_and(|e| e.paren < 0 && e.brace >= 0)
    }

    fn lacks_braces(&self) -> bool {
        self.excess.is_some_and(|e| e.brace < 0)
    }

    /// Whether `last`, the last token put out, is a plain word that begins an entry.
    fn opens_entry(&self, last: Tok<'_>) -> bool {
        last.kind == T::Word
            && !joins(last.text)
            && !matches!(last.text, "hold" | "accept")
            && (last.first
                || self.out.len() >= 2
                    && matches!(self.out[self.out.len() - 2].kind, T::LBrace | T::Semicolon))
    }

    /// Whether the token `i` can begin an entry.
    fn begins_entry(&self, i: usize) -> bool {
        let r = self.raw[i];
        r.kind == T::Word && !joins(r.span.slice(self.text))
    }

    /// Whether the token `i` begins an entry and can be neither a value nor a row.
    fn begins_no_value(&self, i: usize) -> bool {
        self.begins_entry(i)
            && (matches!(
                self.kind_at(i + 1),
                T::Equals | T::LBrace | T::Arrow | T::Colon
            ) || self
                .raw
                .get(i + 1)
                .is_some_and(|n| n.span.slice(self.text) == "at")
                || self.raw[i].span.slice(self.text) == "hold"
                || self.raw[i].span.slice(self.text) == "accept" && self.kind_at(i + 1) == T::Word)
    }

    /// Whether a line that begins with the token `i` shows that the innermost open block was not closed.
    fn steps_out(&self, i: usize) -> bool {
        let [.., outer, inner] = self.open.as_slice() else {
            return false;
        };
        let r = self.raw[i];
        if matches!(r.kind, T::RBrace | T::RParen | T::RBracket) {
            return false;
        }
        if inner.table {
            // No row begins like this.
            return self.begins_no_value(i)
                || r.kind == T::Word && matches!(self.kind_at(i + 1), T::LParen | T::Dot);
        }
        let column = self.line_column;
        column < inner.column || column == inner.column && inner.column > outer.column
    }

    fn opening(&mut self, r: Raw, is_first: bool) -> Option<()> {
        let prev = self.before();
        if prev == Some(r.kind)
            && let Some(excess) = &mut self.excess
            && *excess.of(r.kind) > 0
        {
            *excess.of(r.kind) -= 1;
            if self.joins_last(SyntaxErrorKind::Unclosed, r.span, |_| {
                format!(
                    "{} is opened more often here than closed",
                    r.kind.describe()
                )
            }) {
                return Some(());
            }
            self.errors.push(SyntaxError {
                kind: SyntaxErrorKind::Unclosed,
                span: r.span,
                message: format!("{} is opened twice here but closed once", r.kind.describe()),
                help: Some("take one out, or close both".to_owned()),
                related: None,
                fix: Some((r.span, String::new())),
            });
            return Some(());
        }
        if self.open.len() >= MAX_NESTING {
            self.errors.push(SyntaxError {
                kind: SyntaxErrorKind::TooDeep,
                span: r.span,
                message: format!("more than {MAX_NESTING} brackets are open at once"),
                help: Some("close some, or name the inner parts with `let`".to_owned()),
                related: None,
                fix: None,
            });
            return None;
        }
        self.open.push(Open {
            kind: r.kind,
            span: r.span,
            column: self.line_column,
            line: self.line_start,
            // Parameters and arguments stand in the head; a table is inside the braces.
            table: r.kind == T::LBrace && prev == Some(T::RParen) && !self.open.is_empty(),
            added: false,
        });
        self.push(r.kind, r.span, is_first);
        Some(())
    }

    fn closing(&mut self, r: Raw, is_first: bool) {
        // The bracket this one belongs to; a `)` or `]` never closes a block.
        let at = self
            .open
            .iter()
            .rposition(|o| closer(o.kind) == r.kind || r.kind != T::RBrace && o.kind == T::LBrace)
            .filter(|at| closer(self.open[*at].kind) == r.kind);
        if let Some(at) = at.filter(|at| !self.is_one_too_many(r, is_first, self.open[*at])) {
            while self.open.len() > at + 1
                && let Some(o) = self.open.pop()
            {
                self.close_unclosed(&o, Some(r));
            }
            self.open.pop();
            self.push(r.kind, r.span, is_first);
            return;
        }
        if let Some(excess) = &mut self.excess {
            *excess.of(r.kind) += 1;
        }
        if self.joins_last(SyntaxErrorKind::Stray, r.span, |all| {
            format!("{} close nothing: no bracket is open here", quote(all))
        }) {
            return;
        }
        self.errors.push(SyntaxError {
            kind: SyntaxErrorKind::Stray,
            span: r.span,
            message: format!(
                "{} closes nothing: no {} is open here",
                r.kind.describe(),
                opener(r.kind).describe()
            ),
            help: Some("take it out, or open it earlier".to_owned()),
            related: None,
            fix: Some((r.span, String::new())),
        });
    }

    /// Whether what is wrong at `span` is the last finding over again, with nothing but blanks between: then that one
    /// takes it in and says what `message` makes of the text of all, so that a run of brackets is one finding.
    fn joins_last(
        &mut self,
        kind: SyntaxErrorKind,
        span: Span,
        message: impl FnOnce(&str) -> String,
    ) -> bool {
        let text = self.text;
        let Some(last) = self.errors.last_mut().filter(|e| {
            e.kind == kind
                && e.related.is_none()
                && e.span.end <= span.start
                && text[e.span.end as usize..span.start as usize]
                    .trim()
                    .is_empty()
        }) else {
            return false;
        };
        last.span = last.span.join(span);
        if last.fix.is_some() {
            last.fix = Some((last.span, String::new()));
        }
        // A message is one line, and repeats no more than the start of a long piece.
        let shown: String = last
            .span
            .slice(text)
            .chars()
            .take(SHOWN)
            .map(|c| if c.is_whitespace() { ' ' } else { c })
            .collect();
        last.message = message(&shown);
        true
    }

    /// Whether a `}`, where there are too many, is the one.
    fn is_one_too_many(&self, r: Raw, is_first: bool, opened: Open) -> bool {
        if r.kind != T::RBrace || !self.lacks_braces() || opened.line == self.line_start {
            return false;
        }
        if is_first {
            self.line_column > opened.column
        } else {
            true
        }
    }

    fn push(&mut self, kind: T, span: Span, first: bool) {
        self.out.push(Tok {
            kind,
            text: span.slice(self.text),
            first,
            span,
        });
    }

    /// Whether the last token put out ends a value, so that a minus after it subtracts.
    fn after_value(&self) -> bool {
        self.out.last().is_some_and(|t| {
            let needs_value =
                t.kind == T::Word && (joins(t.text) || t.text == "require" && self.out.len() == 1);
            ends_value(t.kind) && !needs_value
        })
    }

    /// Anything but a bracket. Gives the last raw token that was taken.
    fn plain(&mut self, mut i: usize, is_first: bool) -> usize {
        let r = self.raw[i];
        let mut kind = r.kind;
        let mut span = r.span;
        let prev = self.before();
        // Behind a column's name.
        let in_head = prev == Some(T::Word)
            && self.open.last().is_some_and(|o| o.kind == T::LParen)
            && self.out.len() >= 2
            && matches!(self.out[self.out.len() - 2].kind, T::LParen | T::Comma);
        match r.kind {
            T::OpenText => {
                self.errors.push(SyntaxError {
                    kind: SyntaxErrorKind::OpenText,
                    span: r.span,
                    message: "this text has no closing quote on its line".to_owned(),
                    help: Some("end it with `\"`; a text stays on one line".to_owned()),
                    related: None,
                    fix: Some((Span::at(r.span.end as usize), "\"".to_owned())),
                });
                kind = T::Text;
            }
            // `-5` is a number where no value stands before it, and in a table wherever a blank does.
            T::Minus
                if self.adjacent(i)
                    && matches!(self.raw[i + 1].kind, T::Number | T::Fraction)
                    && (!self.after_value()
                        || self.in_table()
                            && self.out.last().is_some_and(|p| p.span.end < r.span.start)) =>
            {
                i += 1;
                kind = self.raw[i].kind;
                span = r.span.join(self.raw[i].span);
            }
            T::Word => {
                if self.kind_at(i + 1) == T::Equals && (prev != Some(T::Dot) || is_first) {
                    kind = T::Field;
                } else if !is_first
                    && (matches!(prev, Some(T::Number | T::Fraction)) || in_head)
                    && !self.in_table()
                    && !joins(r.span.slice(self.text))
                {
                    kind = T::Unit;
                    i = extend_unit(self.raw, i);
                    span = r.span.join(self.raw[i].span);
                }
            }
            // `1/degF` as a unit: two numbers never stand side by side otherwise. `3/K`-like text is not one.
            T::Number
                if r.span.slice(self.text) == "1"
                    && !is_first
                    && (matches!(prev, Some(T::Number | T::Fraction)) || in_head)
                    && !self.in_table()
                    && self.adjacent(i)
                    && self.raw[i + 1].kind == T::Slash
                    && self.adjacent(i + 1)
                    && self.raw[i + 2].kind == T::Word =>
            {
                kind = T::Unit;
                i = extend_unit(self.raw, i);
                span = r.span.join(self.raw[i].span);
            }
            _ => {}
        }
        self.push(kind, span, is_first);
        i
    }

    /// Puts in a `{` that is missing behind the last token.
    fn add_brace(&mut self, next: Raw, table: bool) {
        let Some(last) = self.out.last().copied() else {
            return;
        };
        if self.open.len() >= MAX_NESTING {
            return;
        }
        if let Some(excess) = &mut self.excess {
            excess.brace += 1;
        }
        let put = Span::at(last.span.end as usize);
        let line = if last.span.start >= self.line_start {
            (self.line_start, self.line_column)
        } else {
            self.line_before
        };
        self.push(T::LBrace, put, false);
        self.open.push(Open {
            kind: T::LBrace,
            span: last.span,
            column: line.1,
            line: line.0,
            table,
            added: true,
        });
        self.errors.push(SyntaxError {
            kind: SyntaxErrorKind::Unexpected,
            span: last.span,
            message: format!(
                "expected `{{` after {}, but {} comes next",
                quote(last.text),
                quote(next.span.slice(self.text))
            ),
            help: None,
            related: None,
            fix: Some((put, " {".to_owned())),
        });
    }

    fn close_unclosed(&mut self, o: &Open, next: Option<Raw>) {
        let end = self
            .out
            .last()
            .map_or(self.text.len(), |t| t.span.end as usize);
        let put = Span::at(end);
        self.push(closer(o.kind), put, false);
        if let Some(excess) = &mut self.excess {
            *excess.of(o.kind) -= 1;
        }
        if o.added {
            return;
        }
        let open = o.kind.describe();
        let close = closer(o.kind).describe();
        let insert = close.trim_matches('`');
        let stands = next.map_or_else(
            || "the declaration ends".to_owned(),
            |n| format!("{} comes next", quote(n.span.slice(self.text))),
        );
        self.errors.push(SyntaxError {
            kind: SyntaxErrorKind::Unclosed,
            span: o.span,
            message: format!("this {open} is not closed: expected {close}, but {stands}"),
            help: Some(if o.kind == T::LBrace {
                format!("put {close} where the block ends")
            } else {
                format!("put {close} behind the last thing inside")
            }),
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
}

/// From the token `i` that begins a unit to the last token of it: products, quotients and powers without blanks.
fn extend_unit(raw: &[Raw], mut i: usize) -> usize {
    let touching = |a: usize, kind: &[T]| {
        raw.get(a + 1)
            .is_some_and(|n| n.span.start == raw[a].span.end && kind.contains(&n.kind))
    };
    loop {
        if touching(i, &[T::Star, T::Slash]) && touching(i + 1, &[T::Word])
            || touching(i, &[T::Caret]) && touching(i + 1, &[T::Number])
        {
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
