//! The one canonical layout.
//!
//! Works on tokens, with the tree only to know where entries, rows and tolerances are, so nothing that
//! was written can be lost: every token and every comment is put out again, in order. One fact per line;
//! four blanks of indent; `=` of neighbouring fields, cells of a table and trailing comments aligned; at most one
//! blank line anywhere, none where a file or a block begins or ends. A chunk with a syntax error is left as it is,
//! but for its line ends.
//!
//! A line longer than [`WIDTH`] is broken at the outermost places that do: a chain before each `->`, a rule behind
//! the `:` of its `for every`, before its conditions and its reason, an acceptance before its reason; a sum is filled
//! up before `+` and `-`, a list, a call, parameters and arguments behind commas. What begins the next line can begin
//! no entry, and stands one step further in. Nothing is broken inside a block that was written on one line.
//!
//! Columns are those of a display, not characters.
//!
//! Lines end with `\n`, or with `\r\n` where the first line of the text does. A byte order mark is left out.

use crate::ast::{Access, Condition, Entry, EntryKind, Expr, ExprKind, ItemKind, Rule};
use crate::parser::parse_tokens;
use crate::prepare::{Tok, prepare};
use crate::split::split;
use crate::token::{Raw, T, lex};
use crate::words::Key;
use cutwater_text::Span;
use std::borrow::Cow;
use std::collections::HashSet;
use unicode_width::UnicodeWidthStr;

/// Lines longer than this, in columns of a display, are broken where the language allows.
pub const WIDTH: usize = 100;

const INDENT: usize = 4;

/// One line to be, before alignment.
#[derive(Default, Debug)]
struct Line {
    indent: usize,
    text: String,
    /// Length in bytes of what stands before ` =`, for a field.
    name: Option<usize>,
    /// Cells, for a table's row; `text` is then empty.
    cells: Option<Vec<String>>,
    comment: Option<String>,
    /// Which block it stands in: alignment never crosses blocks.
    block: usize,
    /// Put out as it is.
    verbatim: bool,
    /// Ends with the `{` of a block.
    opens: bool,
    /// Begins with the `}` of a block.
    closes: bool,
    /// Goes on with what the line before begins.
    goes_on: bool,
    /// Holds a brace: it is not broken behind that, as that would open up a block written on one line.
    braced: bool,
    /// Where it may be broken: the byte of the blank that goes, and how gladly; smaller is better.
    cuts: Vec<(usize, u8)>,
}

/// Before the parts of a chain, and before the reason of a rule or an acceptance.
const CUT_OUTER: u8 = 0;
/// Behind the `:` of a rule for every declaration of a kind; before the day an acceptance ends.
const CUT_RULE: u8 = 1;
/// Before the conditions of such a rule.
const CUT_CONDITION: u8 = 2;
/// The cuts from here on are taken only where a line is full: before the terms of a sum, then behind the commas of a
/// list, then before the sums in a bracket, and so on inwards.
const CUT_TERM: u8 = 3;

impl Line {
    fn is_blank(&self) -> bool {
        !self.verbatim && self.text.is_empty() && self.cells.is_none() && self.comment.is_none()
    }
}

/// A text in its layout.
pub(crate) struct Laid {
    /// The text.
    pub text: String,
    /// For each of its lines, whether it is laid out together with the line before: both belong to one entry, to one
    /// table, or to what has common columns.
    pub joined: Vec<bool>,
}

/// Lays out a whole file. Giving the result back gives it unchanged; parsing it gives the same tree.
pub fn format(text: &str) -> String {
    lay_out(text).text
}

/// Lays out a whole file and says which lines go together.
pub(crate) fn lay_out(text: &str) -> Laid {
    let text = text.trim_start_matches('\u{feff}');
    let mut lines: Vec<Line> = Vec::new();
    let mut block = 0;
    for chunk in split(text) {
        let source = chunk.span.slice(text);
        let raw = lex(source);
        let parsed = parse_tokens(source, &raw);
        if parsed.errors.is_empty() {
            let from = lines.len();
            Layout::new(source, raw, &parsed.item.kind, &mut block).run(&mut lines);
            break_long(&mut lines, from);
        } else {
            push_verbatim(source, &mut lines);
        }
        block += 1;
    }
    render(lines, line_end(text))
}

/// How lines end in what is put out: as the first line of the text does, but never with a lone `\r`.
fn line_end(text: &str) -> &'static str {
    match text.find(['\n', '\r']) {
        Some(at) if text[at..].starts_with("\r\n") => "\r\n",
        _ => "\n",
    }
}

fn push_verbatim(source: &str, lines: &mut Vec<Line>) {
    let mut rest = source;
    while !rest.is_empty() {
        let end = rest.find(['\n', '\r']).unwrap_or(rest.len());
        let (line, tail) = rest.split_at(end);
        rest = tail
            .strip_prefix("\r\n")
            .or_else(|| tail.strip_prefix(['\n', '\r']))
            .unwrap_or(tail);
        lines.push(Line {
            text: line.to_owned(),
            verbatim: true,
            ..Line::default()
        });
    }
}

/// Number of lines of a text, for reports on what a format run changed.
pub fn format_line_count(text: &str) -> usize {
    text.lines().count()
}

struct Layout<'s> {
    source: &'s str,
    raw: Vec<Raw>,
    /// Starts of comments, in order.
    comments: Vec<u32>,
    toks: Vec<Tok<'s>>,
    /// Starts of tokens that begin a line.
    breaks: HashSet<u32>,
    /// Starts of tokens after which a row's cells are.
    rows: HashSet<u32>,
    /// Heads of tables: a blank before `(`.
    heads: HashSet<u32>,
    /// Spans inside which blanks are few, in order: tolerances in parentheses.
    tight: Vec<Span>,
    /// Whether the item is a `require`.
    rule: bool,
    block: &'s mut usize,
}

impl<'s> Layout<'s> {
    fn new(source: &'s str, raw: Vec<Raw>, item: &ItemKind, block: &'s mut usize) -> Self {
        let toks = prepare(source, &raw, &mut Vec::new()).unwrap_or_default();
        let comments = raw
            .iter()
            .filter(|r| matches!(r.kind, T::Comment | T::Doc | T::FileDoc))
            .map(|r| r.span.start)
            .collect();
        let mut me = Self {
            source,
            raw,
            comments,
            toks: toks
                .into_iter()
                .filter(|t| t.kind != T::Newline && !t.span.is_empty())
                .collect(),
            breaks: HashSet::new(),
            rows: HashSet::new(),
            heads: HashSet::new(),
            tight: Vec::new(),
            rule: matches!(item, ItemKind::Require(_)),
            block,
        };
        match item {
            ItemKind::Decl(d) => {
                for p in d.parameters.iter().flatten() {
                    p.value.iter().for_each(|v| me.mark_expr(v));
                }
                for a in d.arguments.iter().flatten() {
                    me.mark_expr(&a.value);
                }
                me.mark_block(&d.entries, d.body, true);
            }
            ItemKind::Let { value, .. } => me.mark_expr(value),
            ItemKind::Require(r) => {
                for c in r.every.iter().flat_map(|e| &e.filters) {
                    me.mark_condition(c);
                }
                me.mark_condition(&r.condition);
            }
            ItemKind::Use { .. } | ItemKind::Accept(_) | ItemKind::Empty => {}
        }
        me.tight.sort_unstable();
        me
    }

    fn mark_block(&mut self, entries: &[Entry], body: Span, outer: bool) {
        let written_on_one_line = !self.source[body.range()].contains(['\n', '\r']);
        let simple = match entries {
            [] => true,
            [one] => {
                matches!(one.kind, EntryKind::Field { .. } | EntryKind::Hold { .. })
                    || !outer && matches!(one.kind, EntryKind::Chain(_))
            }
            _ => false,
        };
        let has_comment = self
            .comments
            .get(self.comments.partition_point(|c| *c < body.start))
            .is_some_and(|c| *c < body.end);
        if !(simple && written_on_one_line || entries.is_empty() && !has_comment) {
            for e in entries {
                self.breaks.insert(e.span.start);
            }
            self.breaks.insert(body.end - 1);
        }
        for e in entries {
            match &e.kind {
                EntryKind::Field { value, .. } | EntryKind::Hold { value, .. } => {
                    self.mark_expr(value)
                }
                EntryKind::Group { entries, body, .. } => self.mark_block(entries, *body, false),
                EntryKind::Table(t) => {
                    if let Some(at) = &t.at {
                        self.mark_expr(at);
                    }
                    self.heads.insert(t.head.start);
                    for r in &t.rows {
                        self.breaks.insert(r.span.start);
                        self.rows.insert(r.span.start);
                    }
                    if !t.rows.is_empty() {
                        self.breaks.insert(t.body.end - 1);
                    }
                }
                EntryKind::Chain(segments) => {
                    for s in segments {
                        if let Some(a) = &s.amount {
                            self.mark_expr(a);
                        }
                        for m in &s.modifiers {
                            self.mark_expr(&m.value);
                        }
                    }
                }
                EntryKind::Accept(_) | EntryKind::Error => {}
            }
        }
    }

    fn mark_condition(&mut self, c: &Condition) {
        self.mark_expr(&c.value);
        match &c.rule {
            Rule::Compare(_, e) | Rule::Within(e) | Rule::Is { value: e, .. } => self.mark_expr(e),
            Rule::Error => {}
        }
    }

    fn mark_expr(&mut self, e: &Expr) {
        match &e.kind {
            ExprKind::Number(n) => {
                if let Some(t) = &n.tolerance
                    && self.source[t.span.range()].starts_with('(')
                {
                    self.tight.push(t.span);
                }
            }
            ExprKind::Call { arguments, .. } => arguments.iter().for_each(|a| self.mark_expr(a)),
            ExprKind::Element(_, steps) => {
                for s in steps {
                    if let Access::Index(e) = s {
                        self.mark_expr(e);
                    }
                }
            }
            ExprKind::List(items) => items.iter().for_each(|a| self.mark_expr(a)),
            ExprKind::Negative(a) => self.mark_expr(a),
            ExprKind::Of(a, _) => self.mark_expr(a),
            ExprKind::Sum(a, rest) | ExprKind::Product(a, rest) => {
                self.mark_expr(a);
                rest.iter().for_each(|(_, b)| self.mark_expr(b));
            }
            ExprKind::Power(a, b) | ExprKind::Range(a, b) => {
                self.mark_expr(a);
                self.mark_expr(b);
            }
            ExprKind::Phrase(a, rest) => {
                self.mark_expr(a);
                rest.iter().for_each(|(_, b)| self.mark_expr(b));
            }
            ExprKind::Date { .. } | ExprKind::Text(_) | ExprKind::Path(_) | ExprKind::Error => {}
        }
    }

    fn run(self, lines: &mut Vec<Line>) {
        let mut current = Line::default();
        let mut depth = 0usize;
        let mut stack: Vec<usize> = vec![*self.block];
        let mut newlines = usize::from(!lines.is_empty()); // since the last thing put out; chunks begin at line starts
        let mut previous: Option<Tok<'s>> = None;
        let mut on_line = false; // whether `current` holds anything
        let mut row: Option<Vec<String>> = None;
        let mut next_tok = 0usize;
        let mut continuation = false;
        let mut brackets = 0u8; // `(` and `[` that are open
        let mut i = 0usize;
        macro_rules! flush {
            () => {
                if on_line || row.is_some() {
                    current.cells = row.take();
                    lines.push(std::mem::take(&mut current));
                    #[allow(unused_assignments)]
                    {
                        on_line = false;
                    }
                }
            };
        }
        while i < self.raw.len() {
            let r = self.raw[i];
            if r.kind == T::Newline {
                newlines += 1;
                i += 1;
                continue;
            }
            let blank = newlines > 1;
            if r.kind.is_trivia() {
                let text = self.source[r.span.range()].trim_end().to_owned();
                if newlines == 0
                    && (on_line || row.is_some())
                    && current.comment.is_none()
                    && r.kind == T::Comment
                {
                    current.comment = Some(text);
                } else {
                    flush!();
                    if blank {
                        push_blank(lines);
                    }
                    // A comment right before a closing brace belongs inside the block.
                    let mid_entry = previous.is_some() && self.mid_entry(next_tok);
                    lines.push(Line {
                        indent: depth * INDENT + if continuation && mid_entry { INDENT } else { 0 },
                        text,
                        block: stack[stack.len() - 1],
                        goes_on: mid_entry,
                        ..Line::default()
                    });
                }
                newlines = 0;
                i += 1;
                continue;
            }
            // A significant token; it may be longer than the raw one (units, negative numbers).
            let Some(tok) = self.toks.get(next_tok).copied() else {
                break;
            };
            next_tok += 1;
            while i < self.raw.len() && self.raw[i].span.start < tok.span.end {
                i += 1;
            }
            if tok.kind == T::Semicolon {
                // Lines separate what these separated.
                newlines = 0;
                continue;
            }
            let breaks = previous.is_none() || self.breaks.contains(&tok.span.start);
            if tok.kind == T::RBrace {
                depth = depth.saturating_sub(1);
                if stack.len() > 1 {
                    stack.pop();
                }
            }
            let comment_ends = current.comment.is_some() || !on_line && row.is_none();
            if breaks || comment_ends {
                flush!();
                if blank && tok.kind != T::RBrace {
                    push_blank(lines);
                }
                let closes = tok.kind == T::RBrace;
                continuation = !breaks && !closes;
                current = Line {
                    indent: depth * INDENT + if continuation { INDENT } else { 0 },
                    block: stack[stack.len() - 1],
                    closes,
                    goes_on: continuation,
                    ..Line::default()
                };
                row = self.rows.contains(&tok.span.start).then(Vec::new);
                if tok.kind == T::Field && breaks {
                    current.name = Some(tok.text.len());
                }
            } else if row.is_none() && self.space(previous, tok) {
                if !current.braced
                    && let Some(gladly) = self.cut(previous, tok, brackets)
                {
                    current.cuts.push((current.text.len(), gladly));
                }
                current.text.push(' ');
            }
            match tok.kind {
                T::LParen | T::LBracket => brackets = brackets.saturating_add(1),
                T::RParen | T::RBracket => brackets = brackets.saturating_sub(1),
                _ => {}
            }
            newlines = 0;
            let shown = canonical(tok);
            match &mut row {
                // `+5` is two tokens but one cell.
                Some(cells) if previous.is_some_and(|p| p.kind == T::Plus) && !cells.is_empty() => {
                    if let Some(cell) = cells.last_mut() {
                        cell.push_str(&shown);
                    }
                }
                Some(cells) => cells.push(shown.into_owned()),
                None => current.text.push_str(&shown),
            }
            on_line = true;
            current.opens = tok.kind == T::LBrace;
            current.braced |= matches!(tok.kind, T::LBrace | T::RBrace);
            if tok.kind == T::LBrace {
                depth += 1;
                *self.block += 1;
                stack.push(*self.block);
            }
            previous = Some(tok);
        }
        flush!();
        if newlines > 1 {
            push_blank(lines);
        }
    }

    /// Whether the next token continues an entry rather than beginning one.
    fn mid_entry(&self, next: usize) -> bool {
        self.toks[next..]
            .iter()
            .find(|t| t.kind != T::Semicolon)
            .is_some_and(|t| !self.breaks.contains(&t.span.start) && t.kind != T::RBrace)
    }

    /// Whether a line may be broken between two tokens with a blank between them, and how gladly.
    fn cut(&self, previous: Option<Tok<'_>>, tok: Tok<'_>, brackets: u8) -> Option<u8> {
        let previous = previous?;
        // The outer sum, the list in it, the sum in that.
        let inwards = |first: u8| Some(first.saturating_add(brackets.saturating_mul(2)));
        match tok.kind {
            T::Arrow => return Some(CUT_OUTER),
            T::Plus => return inwards(CUT_TERM),
            T::Minus if !self.is_sign(tok) => return inwards(CUT_TERM),
            T::Word => match tok.text {
                "because" => return Some(CUT_OUTER),
                "until" => return Some(CUT_RULE),
                "where" | "and" if self.rule => return Some(CUT_CONDITION),
                _ => {}
            },
            _ => {}
        }
        match previous.kind {
            T::Comma => inwards(CUT_TERM - 1),
            T::Colon if self.rule && brackets == 0 => Some(CUT_RULE),
            _ => None,
        }
    }

    fn space(&self, previous: Option<Tok<'_>>, tok: Tok<'_>) -> bool {
        let Some(p) = previous else {
            return false;
        };
        let tight = self.tight.partition_point(|t| t.end < tok.span.end);
        if let Some(t) = self.tight.get(tight).filter(|t| t.covers(tok.span)) {
            // `(+0.0000/-0.0010 in)`, with a blank before the parenthesis and before a unit only; but `(2 / 1)`
            // keeps its blanks, as `2/1` is one number.
            return tok.span.start == t.start
                || tok.kind == T::Unit
                || self.would_be_fraction(p, tok);
        }
        match (p.kind, tok.kind) {
            (T::LParen | T::LBracket, _) | (_, T::RParen | T::RBracket) => false,
            (_, T::Comma | T::Colon | T::Dot) | (T::Dot, _) => false,
            // `5 in^2` has a unit of area, `5 in ^ 2` is the square of a length.
            (_, T::Caret) => p.kind == T::Unit,
            (T::Caret, _) => self.before(p).is_some_and(|b| b.kind == T::Unit),
            (T::LBrace, T::RBrace) => false,
            // An element of a list, not a list.
            (T::RBracket, T::LBracket) => false,
            (T::Word | T::Unit, T::LBracket) => is_word_operator(p),
            (_, T::LParen) => {
                p.kind != T::Word || self.heads.contains(&tok.span.start) || is_word_operator(p)
            }
            // `- 5 in` takes the opposite of a number, `-5 in` is a number.
            (T::Minus, T::Number | T::Fraction) => true,
            (T::Minus, _) => !self.is_sign(p),
            _ => true,
        }
    }

    /// Whether a `/` between two numbers without blanks would make them one.
    fn would_be_fraction(&self, p: Tok<'_>, tok: Tok<'_>) -> bool {
        let digit = |t: &Tok<'_>| t.text.starts_with(|c: char| c.is_ascii_digit());
        let slash = match (p.kind, tok.kind) {
            (_, T::Slash) => tok,
            (T::Slash, _) => p,
            _ => return false,
        };
        let at = self.index(slash);
        self.toks.get(at + 1).is_some_and(digit) && at > 0 && digit(&self.toks[at - 1])
    }

    fn index(&self, of: Tok<'_>) -> usize {
        self.toks.partition_point(|t| t.span.start < of.span.start)
    }

    /// The token before another.
    fn before(&self, tok: Tok<'_>) -> Option<Tok<'s>> {
        self.index(tok).checked_sub(1).map(|b| self.toks[b])
    }

    /// Whether a minus is a sign and not a subtraction.
    fn is_sign(&self, minus: Tok<'_>) -> bool {
        self.before(minus).is_none_or(|b| {
            // The same question as in `prepare`, but only for how it looks.
            !matches!(
                b.kind,
                T::Number
                    | T::Fraction
                    | T::Unit
                    | T::Word
                    | T::Date
                    | T::Text
                    | T::RParen
                    | T::RBracket
            ) || is_word_operator(b)
        })
    }
}

/// Breaks the lines from `from` on that are too long and can be broken.
fn break_long(lines: &mut Vec<Line>, from: usize) {
    let can_break = |l: &Line| !l.cuts.is_empty() && l.indent + width(&l.text) > WIDTH;
    if !lines[from..].iter().any(can_break) {
        return;
    }
    let tail = lines.split_off(from);
    for mut line in tail {
        if !can_break(&line) {
            lines.push(line);
            continue;
        }
        let mut pieces = Vec::new();
        pieces_of(&line.text, &line.cuts, line.indent, &mut pieces);
        let last = pieces.len() - 1;
        for (k, piece) in pieces.into_iter().enumerate() {
            lines.push(Line {
                indent: line.indent + if k == 0 { 0 } else { INDENT },
                text: piece.to_owned(),
                name: if k == 0 { line.name } else { None },
                comment: if k == last { line.comment.take() } else { None },
                block: line.block,
                opens: line.opens && k == last,
                goes_on: line.goes_on || k > 0,
                ..Line::default()
            });
        }
    }
}

/// Cuts a text that is too long at the places where that is done most gladly, and what is still too long once more.
/// The cuts count from the text's start.
fn pieces_of<'t>(text: &'t str, cuts: &[(usize, u8)], indent: usize, out: &mut Vec<&'t str>) {
    let room =
        |out: &[&str]| WIDTH.saturating_sub(indent + if out.is_empty() { 0 } else { INDENT });
    let best = cuts.iter().map(|c| c.1).min();
    let Some(best) = best.filter(|_| width(text) > room(out)) else {
        out.push(text);
        return;
    };
    let mut starts: Vec<usize> = vec![0];
    starts.extend(cuts.iter().filter(|c| c.1 == best).map(|c| c.0 + 1));
    let end_of = |k: usize| starts.get(k + 1).map_or(text.len(), |s| s - 1);
    let mut k = 0;
    while k < starts.len() {
        let start = starts[k];
        // As many parts as there is room for, where each need not stand alone.
        while best >= CUT_TERM
            && k + 1 < starts.len()
            && width(&text[start..end_of(k + 1)]) <= room(out)
        {
            k += 1;
        }
        let end = end_of(k);
        let inner: Vec<(usize, u8)> = cuts
            .iter()
            .filter(|c| c.1 > best && start < c.0 && c.0 < end)
            .map(|c| (c.0 - start, c.1))
            .collect();
        pieces_of(&text[start..end], &inner, indent, out);
        k += 1;
    }
}

/// Whether a value follows the word, so that a bracket behind it opens no call.
fn is_word_operator(t: Tok<'_>) -> bool {
    Key::of(t.text).word().is_some_and(|w| w.takes_value)
}

/// One spelling for signs that have several.
fn canonical<'s>(t: Tok<'s>) -> Cow<'s, str> {
    Cow::Borrowed(match t.kind {
        T::PlusMinus => "±",
        T::Arrow => "->",
        T::Minus => "-",
        T::Star => "*",
        T::AtLeast => ">=",
        T::AtMost => "<=",
        T::Number | T::Fraction => {
            return match t.text.strip_prefix('\u{2212}') {
                Some(rest) => Cow::Owned(format!("-{rest}")),
                None => Cow::Borrowed(t.text),
            };
        }
        _ => t.text,
    })
}

fn push_blank(lines: &mut Vec<Line>) {
    if !lines.last().is_none_or(|l| l.is_blank() || l.opens) {
        lines.push(Line::default());
    }
}

/// Columns a text takes on a display: two for wide letters, none for marks that combine with the letter before them.
fn width(s: &str) -> usize {
    if s.is_ascii() { s.len() } else { s.width() }
}

fn render(mut lines: Vec<Line>, line_end: &str) -> Laid {
    let together = together(&lines);
    let mut joined = Vec::with_capacity(lines.len());
    align_names(&mut lines);
    align_rows(&mut lines);
    let mut out = String::new();
    let comments = comment_columns(&lines);
    for (i, l) in lines.iter().enumerate() {
        // A blank line before a closing brace says nothing.
        if l.is_blank() && lines.get(i + 1).is_some_and(|n| n.closes) {
            continue;
        }
        joined.push(together[i]);
        if !l.verbatim && !l.is_blank() {
            out.extend(std::iter::repeat_n(' ', l.indent));
        }
        out.push_str(&l.text);
        if let Some(c) = &l.comment {
            if !l.text.is_empty() {
                let used = l.indent + width(&l.text);
                out.extend(std::iter::repeat_n(' ', comments[i].max(used + 1) - used));
            }
            out.push_str(c);
        }
        out.push_str(line_end);
    }
    let end = out.trim_end_matches(['\n', '\r']).len();
    out.truncate(end);
    if !out.is_empty() {
        out.push_str(line_end);
    }
    Laid { text: out, joined }
}

/// For each line, whether it is laid out together with the line before.
fn together(lines: &[Line]) -> Vec<bool> {
    let mut out: Vec<bool> = lines.iter().map(|l| l.goes_on).collect();
    for shares in [
        |l: &Line| l.name.is_some(),
        |l: &Line| l.cells.is_some(),
        |l: &Line| l.comment.is_some(),
    ] {
        for run in runs(lines, shares) {
            out[run.start + 1..run.end].fill(true);
        }
    }
    // A table, from its head to its brace; no block stands in one.
    let mut open = None;
    let mut rows = false;
    for (i, l) in lines.iter().enumerate() {
        if l.opens {
            (open, rows) = (Some(i), false);
        }
        rows |= l.cells.is_some();
        if l.closes
            && let Some(open) = open.take()
            && rows
        {
            out[open + 1..=i].fill(true);
        }
    }
    out
}

/// Runs of neighbouring lines for which `f` holds in the same block.
fn runs(lines: &[Line], f: impl Fn(&Line) -> bool) -> Vec<std::ops::Range<usize>> {
    let mut out = Vec::new();
    let mut start = 0;
    while start < lines.len() {
        if !f(&lines[start]) {
            start += 1;
            continue;
        }
        let mut end = start + 1;
        while end < lines.len() && f(&lines[end]) && lines[end].block == lines[start].block {
            end += 1;
        }
        out.push(start..end);
        start = end;
    }
    out
}

fn align_names(lines: &mut [Line]) {
    for run in runs(lines, |l| l.name.is_some()) {
        let most = lines[run.clone()]
            .iter()
            .filter_map(|l| l.name.map(|n| width(&l.text[..n])))
            .max()
            .unwrap_or(0);
        for l in &mut lines[run] {
            if let Some(n) = l.name {
                let fill = most - width(&l.text[..n]);
                l.text.insert_str(n, &" ".repeat(fill));
            }
        }
    }
}

fn align_rows(lines: &mut [Line]) {
    for run in runs(lines, |l| l.cells.is_some()) {
        let mut widths: Vec<usize> = Vec::new();
        for l in &lines[run.clone()] {
            for (k, c) in l.cells.iter().flatten().enumerate() {
                if k == widths.len() {
                    widths.push(0);
                }
                widths[k] = widths[k].max(width(c));
            }
        }
        for l in &mut lines[run] {
            let cells = l.cells.take().unwrap_or_default();
            for (k, c) in cells.iter().enumerate() {
                let pad = widths[k] - width(c) + if k == 0 { 0 } else { 2 };
                l.text.extend(std::iter::repeat_n(' ', pad));
                l.text.push_str(c);
            }
        }
    }
}

fn comment_columns(lines: &[Line]) -> Vec<usize> {
    let mut columns = vec![0; lines.len()];
    for run in runs(lines, |l| l.comment.is_some() && !l.text.is_empty()) {
        let most = lines[run.clone()]
            .iter()
            .map(|l| l.indent + width(&l.text) + 2)
            .max()
            .unwrap_or(0);
        for i in run {
            columns[i] = most;
        }
    }
    columns
}
