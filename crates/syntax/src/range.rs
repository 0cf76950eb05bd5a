//! The canonical layout of a part of a file, as edits.
//!
//! The whole file is laid out; its tokens and comments answer one to one to those of the text as it is, since the
//! layout keeps them all. What differs lies in the gaps between them (and in the spelling of a few signs): one edit
//! for each gap that differs, and only those of the lines asked for are given.
//!
//! Lines are taken together as the layout takes them: an entry whole, a table whole, and what has common columns
//! whole. Where the rest of the file, as it stands, would be read otherwise beside the lines laid out, more lines are
//! taken, up to the whole file.
//!
//! What always holds:
//! - laying the edited text out gives what laying the text out gives, so nothing is lost and the meaning is the same;
//! - the lines taken are as in the layout of the whole, all else is kept byte for byte;
//! - the edits are in order and apart from each other, and none cuts a line end of two bytes;
//! - a text with a syntax error keeps it, as in the layout of the whole.

use crate::format::{Laid, lay_out};
use crate::token::{Raw, T, lex};
use cutwater_text::{LineIndex, Span};
use std::borrow::Cow;
use std::ops::Range;

/// What ends a line, the last byte of two that do included.
const LINE_END: [char; 2] = ['\n', '\r'];

/// One change of a text.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct TextEdit {
    /// What is replaced, in the text as it was; bytes.
    pub span: Span,
    /// By what.
    pub text: String,
}

/// Edits that bring the lines a span touches into the canonical layout; none where they have it. In order, apart from
/// each other.
///
/// An empty span means the line it stands on. A span that ends where a line begins does not touch that line. A span
/// outside the text is taken as its end. Where no token or comment stands on the lines, the blanks between their
/// neighbours are laid out.
pub fn format_range(text: &str, span: Span) -> Vec<TextEdit> {
    let laid = lay_out(text);
    if laid.text == text {
        return Vec::new();
    }
    let pair = Pair::new(text, &laid);
    let lines = whole_lines(text, span);
    if !pair.answer() {
        // Laying out keeps all tokens, so this is never so; if it were, the whole could be said, a part could not.
        let all = lines.start == 0 && lines.end as usize == text.len();
        return difference(0, text, &laid.text)
            .filter(|_| all)
            .into_iter()
            .collect();
    }
    let mut part = pair.widen(pair.touched(lines), 0);
    let mut reach = 1;
    loop {
        let edits = pair.edits(&part);
        if part == pair.all() || edits.is_empty() || lay_out(&apply(text, &edits)).text == laid.text
        {
            return edits;
        }
        part = pair.widen(part, reach);
        reach *= 2;
    }
}

/// From the start of the first line a span touches to the end of the last, without its line end.
fn whole_lines(text: &str, span: Span) -> Span {
    let index = LineIndex::new(text);
    let (start, end) = (
        span.range().start.min(text.len()),
        span.range().end.min(text.len()),
    );
    let line = |l: u32| index.line_span(text, l).unwrap_or(Span::at(text.len()));
    let first = index.line_of(start);
    let mut last = index.line_of(end);
    if last > first && line(last).start as usize == end {
        last -= 1;
    }
    line(first).join(line(last))
}

/// Tokens and comments of a text: all that the layout keeps. A comment ends before the blanks at its line's end.
fn kept(text: &str) -> Vec<Raw> {
    let mut out = lex(text);
    // Where entries are parted by line ends, `;` is left out.
    out.retain(|r| !matches!(r.kind, T::Newline | T::Semicolon));
    for r in &mut out {
        if r.kind.is_trivia() {
            r.span.end = r.span.start + Span::new(0, r.span.slice(text).trim_end().len()).end;
        }
    }
    out
}

/// A text and its layout, token by token.
struct Pair<'t> {
    old: &'t str,
    new: &'t str,
    old_toks: Vec<Raw>,
    new_toks: Vec<Raw>,
    /// Starts of the lines of the layout.
    starts: Vec<usize>,
    joined: &'t [bool],
}

impl<'t> Pair<'t> {
    fn new(old: &'t str, laid: &'t Laid) -> Self {
        let new = laid.text.as_str();
        let mut starts = vec![0];
        starts.extend(new.match_indices('\n').map(|(at, _)| at + 1));
        Self {
            old,
            new,
            old_toks: kept(old),
            new_toks: kept(new),
            starts,
            joined: &laid.joined,
        }
    }

    /// Whether each token has its partner.
    fn answer(&self) -> bool {
        self.old_toks.len() == self.new_toks.len()
            && self.old_toks.iter().zip(&self.new_toks).all(|(a, b)| {
                a.kind == b.kind
                    && (a.span.slice(self.old) == b.span.slice(self.new)
                        || matches!(
                            a.kind,
                            T::PlusMinus | T::Arrow | T::Minus | T::Star | T::AtLeast | T::AtMost
                        ))
            })
    }

    fn all(&self) -> Range<usize> {
        0..self.new_toks.len()
    }

    /// The tokens on some lines of the old text. Where there are none, the empty range behind which their gap is.
    fn touched(&self, lines: Span) -> Range<usize> {
        let first = self.old_toks.partition_point(|t| t.span.end <= lines.start);
        let end = self.old_toks.partition_point(|t| t.span.start < lines.end);
        if first < end {
            return first..end;
        }
        let inside = (1..self.new_toks.len()).contains(&first);
        if inside && !gap(self.new, &self.new_toks, first).contains(LINE_END) {
            // The blank lines go, and one entry stands there.
            self.round(first)
        } else {
            first..first
        }
    }

    /// The tokens on both sides of a gap.
    fn round(&self, gap: usize) -> Range<usize> {
        gap.saturating_sub(1)..(gap + 1).min(self.new_toks.len())
    }

    /// The line of the layout a token stands on.
    fn line(&self, tok: usize) -> usize {
        let at = self.new_toks[tok].span.start as usize;
        self.starts.partition_point(|s| *s <= at) - 1
    }

    /// Whole entries, tables and what has common columns; first `reach` lines more on both sides.
    fn widen(&self, part: Range<usize>, reach: usize) -> Range<usize> {
        let part = if reach > 0 && part.is_empty() {
            self.round(part.start)
        } else {
            part
        };
        if part.is_empty() {
            return part;
        }
        let joined = |line: usize| self.joined.get(line).is_some_and(|j| *j);
        let mut first = self.line(part.start).saturating_sub(reach);
        while first > 0 && joined(first) {
            first -= 1;
        }
        let mut next = self.line(part.end - 1).saturating_add(reach + 1);
        while joined(next) {
            next += 1;
        }
        let token_at = |line: usize| {
            let at = self.starts.get(line).copied().unwrap_or(usize::MAX);
            self.new_toks
                .partition_point(|t| (t.span.start as usize) < at)
        };
        token_at(first)..token_at(next)
    }

    /// What the gap `k` of a part becomes. Of the gap before the part, the end of the line before is left as it is; of
    /// the gap behind it, the indent of the line behind.
    fn gap_for(&self, part: &Range<usize>, k: usize) -> Cow<'t, str> {
        let (old, new) = (
            gap(self.old, &self.old_toks, k),
            gap(self.new, &self.new_toks, k),
        );
        // The text itself begins a line.
        let begins = k == 0;
        let lines = |gap: &str| {
            let first = if begins { Some(0) } else { gap.find(LINE_END) };
            let last = gap.rfind(LINE_END).map(|at| at + 1);
            first.zip(last.or(begins.then_some(0)))
        };
        let (Some(was), Some(is)) = (lines(old), lines(new)) else {
            return Cow::Borrowed(new);
        };
        let ends = k == self.new_toks.len();
        let head = if k == part.start {
            &old[..was.0]
        } else {
            &new[..is.0]
        };
        let tail = if k == part.end && !ends {
            &old[was.1..]
        } else {
            &new[is.1..]
        };
        Cow::Owned([head, &new[is.0..is.1], tail].concat())
    }

    /// The edits of some tokens and of the gaps before, between and behind them.
    fn edits(&self, part: &Range<usize>) -> Vec<TextEdit> {
        let mut out: Vec<TextEdit> = Vec::new();
        let mut put = |edit: Option<TextEdit>| {
            let Some(edit) = edit else { return };
            match out.last_mut() {
                Some(last) if last.span.end == edit.span.start => {
                    last.span = last.span.join(edit.span);
                    last.text.push_str(&edit.text);
                }
                _ => out.push(edit),
            }
        };
        for k in part.start..=part.end {
            let at = k
                .checked_sub(1)
                .map_or(0, |b| self.old_toks[b].span.end as usize);
            put(difference(
                at,
                gap(self.old, &self.old_toks, k),
                &self.gap_for(part, k),
            ));
            if k < part.end {
                let (a, b) = (self.old_toks[k].span, self.new_toks[k].span);
                put(difference(
                    a.range().start,
                    a.slice(self.old),
                    b.slice(self.new),
                ));
            }
        }
        out
    }
}

/// What stands before the token `k`; behind the last one for the number after its own.
fn gap<'t>(text: &'t str, toks: &[Raw], k: usize) -> &'t str {
    let start = k.checked_sub(1).map_or(0, |b| toks[b].span.range().end);
    let end = toks.get(k).map_or(text.len(), |t| t.span.range().start);
    &text[start..end]
}

/// The one edit between two pieces that differ, the old one beginning at `at`: what is left when their common front
/// and back are taken off. `None` where they are the same. A line end of two bytes is not cut in two.
pub fn difference(at: usize, old: &str, new: &str) -> Option<TextEdit> {
    if old == new {
        return None;
    }
    let mut front: usize = old
        .chars()
        .zip(new.chars())
        .take_while(|(x, y)| x == y)
        .map(|(x, _)| x.len_utf8())
        .sum();
    if old[..front].ends_with('\r')
        && (old[front..].starts_with('\n') || new[front..].starts_with('\n'))
    {
        front -= 1;
    }
    let back: usize = old[front..]
        .chars()
        .rev()
        .zip(new[front..].chars().rev())
        .take_while(|(x, y)| x == y)
        .map(|(x, _)| x.len_utf8())
        .sum();
    let back = if old[..old.len() - back].ends_with('\r') || new[..new.len() - back].ends_with('\r')
    {
        0
    } else {
        back
    };
    Some(TextEdit {
        span: Span::new(at + front, at + old.len() - back),
        text: new[front..new.len() - back].to_owned(),
    })
}

/// Applies edits that are in order and apart from each other, as those given here are.
///
/// # Panics
/// If the edits are of another text.
pub fn apply(text: &str, edits: &[TextEdit]) -> String {
    let mut out = String::with_capacity(text.len() + text.len() / 8);
    let mut at = 0;
    for e in edits {
        out.push_str(&text[at..e.span.range().start]);
        out.push_str(&e.text);
        at = e.span.range().end;
    }
    out.push_str(&text[at..]);
    out
}
