//! The one canonical layout.
//!
//! Works on tokens, with the tree only to know where entries, rows and tolerances are, so nothing that
//! was written can be lost: every token and every comment is put out again, in order. One fact per line;
//! four blanks of indent; `=` of neighbouring fields, cells of a table and trailing comments aligned; a
//! chain or list longer than [`WIDTH`] broken. A chunk with a syntax error is left exactly as it is.

use crate::ast::{Entry, EntryKind, Expr, ExprKind, ItemKind};
use crate::parse_chunk;
use crate::prepare::{Tok, prepare};
use crate::split::split;
use crate::token::{Raw, T, lex};
use cutwater_text::Span;
use std::collections::HashSet;

/// Lines longer than this, in characters, are broken where the language allows.
pub const WIDTH: usize = 100;

const INDENT: usize = 4;

/// One line to be, before alignment.
#[derive(Default, Debug)]
struct Line {
    indent: usize,
    text: String,
    /// Length in characters of what stands before ` =`, for a field.
    name: Option<usize>,
    /// Cells, for a table's row; `text` is then empty.
    cells: Option<Vec<String>>,
    comment: Option<String>,
    /// Which block it stands in: alignment never crosses blocks.
    block: usize,
    /// Put out as it is.
    verbatim: bool,
}

impl Line {
    fn is_blank(&self) -> bool {
        !self.verbatim && self.text.is_empty() && self.cells.is_none() && self.comment.is_none()
    }
}

/// Lays out a whole file. Giving the result back gives it unchanged; parsing it gives the same tree.
pub fn format(text: &str) -> String {
    let mut lines: Vec<Line> = Vec::new();
    let mut block = 0;
    for chunk in split(text) {
        let source = chunk.span.slice(text);
        let parsed = parse_chunk(source);
        if parsed.errors.is_empty() {
            Layout::new(source, &parsed.item.kind, &mut block).run(&mut lines);
        } else {
            push_verbatim(source, &mut lines);
        }
        block += 1;
    }
    render(lines)
}

fn push_verbatim(source: &str, lines: &mut Vec<Line>) {
    let mut rest = source;
    while !rest.is_empty() {
        let end = rest.find('\n').map_or(rest.len(), |n| n + 1);
        let (line, tail) = rest.split_at(end);
        rest = tail;
        lines.push(Line {
            text: line.trim_end_matches(['\n', '\r']).to_owned(),
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
    toks: Vec<Tok<'s>>,
    /// Starts of tokens that begin a line.
    breaks: HashSet<u32>,
    /// Starts of tokens after which a row's cells are.
    rows: HashSet<u32>,
    /// Heads of tables: a blank before `(`.
    heads: HashSet<u32>,
    /// Spans inside which blanks are few: tolerances in parentheses.
    tight: Vec<Span>,
    chains: HashSet<u32>,
    block: &'s mut usize,
}

impl<'s> Layout<'s> {
    fn new(source: &'s str, item: &ItemKind, block: &'s mut usize) -> Self {
        let raw = lex(source);
        let toks = prepare(source, &raw, &mut Vec::new()).unwrap_or_default();
        let mut me = Self {
            source,
            raw,
            toks: toks.into_iter().filter(|t| t.kind != T::Newline && !t.span.is_empty()).collect(),
            breaks: HashSet::new(),
            rows: HashSet::new(),
            heads: HashSet::new(),
            tight: Vec::new(),
            chains: HashSet::new(),
            block,
        };
        match item {
            ItemKind::Decl(d) => me.mark_block(&d.entries, d.body, true),
            ItemKind::Let { value, .. } => me.mark_expr(value),
            ItemKind::Require(r) => {
                me.mark_expr(&r.value);
                match &r.rule {
                    crate::ast::Rule::Compare(_, e) | crate::ast::Rule::Within(e) => me.mark_expr(e),
                    crate::ast::Rule::Error => {}
                }
            }
            ItemKind::Use { .. } | ItemKind::Empty => {}
        }
        me
    }

    fn mark_block(&mut self, entries: &[Entry], body: Span, outer: bool) {
        let written_on_one_line = !self.source[body.range()].contains(['\n', '\r']);
        let simple = match entries {
            [] => true,
            [one] => matches!(one.kind, EntryKind::Field { .. } | EntryKind::Hold { .. })
                || !outer && matches!(one.kind, EntryKind::Chain(_)),
            _ => false,
        };
        let has_comment = self.raw.iter().any(|r| {
            matches!(r.kind, T::Comment | T::Doc | T::FileDoc) && body.covers(r.span)
        });
        if !(simple && written_on_one_line || entries.is_empty() && !has_comment) {
            for e in entries {
                self.breaks.insert(e.span.start);
            }
            self.breaks.insert(body.end - 1);
        }
        for e in entries {
            match &e.kind {
                EntryKind::Field { value, .. } | EntryKind::Hold { value, .. } => self.mark_expr(value),
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
                    self.chains.insert(e.span.start);
                    for s in segments {
                        if let Some(a) = &s.amount {
                            self.mark_expr(a);
                        }
                        for m in &s.modifiers {
                            self.mark_expr(&m.value);
                        }
                    }
                }
                EntryKind::Error => {}
            }
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
        let mut brace_lines: Vec<bool> = Vec::new();
        let mut continuation = false;
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
                if newlines == 0 && (on_line || row.is_some()) && r.kind == T::Comment {
                    current.comment = Some(text);
                } else {
                    flush!();
                    if blank {
                        push_blank(lines);
                    }
                    // A comment right before a closing brace belongs inside the block.
                    lines.push(Line {
                        indent: depth * INDENT + if continuation && previous.is_some() && self.mid_entry(next_tok) { INDENT } else { 0 },
                        text,
                        block: stack[stack.len() - 1],
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
                brace_lines.pop();
            }
            let comment_ends = current.comment.is_some() || !on_line && row.is_none();
            if breaks || comment_ends {
                flush!();
                if blank && tok.kind != T::RBrace {
                    push_blank(lines);
                }
                let extra = if breaks { 0 } else { INDENT };
                continuation = !breaks;
                current = Line {
                    indent: depth * INDENT + extra,
                    block: stack[stack.len() - 1],
                    ..Line::default()
                };
                row = self.rows.contains(&tok.span.start).then(Vec::new);
                if tok.kind == T::Field && breaks {
                    current.name = Some(tok.text.chars().count());
                }
            } else if row.is_none() && self.space(previous, tok) {
                current.text.push(' ');
            }
            newlines = 0;
            let shown = canonical(tok);
            match &mut row {
                Some(cells) => cells.push(shown.to_owned()),
                None => current.text.push_str(shown),
            }
            on_line = true;
            if tok.kind == T::LBrace {
                depth += 1;
                *self.block += 1;
                stack.push(*self.block);
                brace_lines.push(true);
            }
            previous = Some(tok);
        }
        flush!();
        if newlines > 1 {
            push_blank(lines);
        }
        self.break_long(lines);
    }

    /// Whether the next token continues an entry rather than beginning one.
    fn mid_entry(&self, next: usize) -> bool {
        self.toks
            .get(next)
            .is_some_and(|t| !self.breaks.contains(&t.span.start) && t.kind != T::RBrace)
    }

    fn break_long(&self, lines: &mut Vec<Line>) {
        let mut out = Vec::with_capacity(lines.len());
        for line in lines.drain(..) {
            let width = line.indent + line.text.chars().count();
            if line.verbatim || width <= WIDTH || line.cells.is_some() || line.text.starts_with("//") {
                out.push(line);
                continue;
            }
            let separators: &[&str] = if line.text.contains(" -> ") {
                &[" -> "]
            } else if line.text.contains(" because \"") {
                &[" because \""]
            } else {
                &[]
            };
            let pieces = split_outside_quotes(&line.text, separators);
            if pieces.len() < 2 {
                out.push(line);
                continue;
            }
            let last = pieces.len() - 1;
            let mut comment = line.comment;
            for (k, piece) in pieces.into_iter().enumerate() {
                out.push(Line {
                    indent: line.indent + if k == 0 { 0 } else { INDENT },
                    text: piece,
                    name: if k == 0 { line.name } else { None },
                    comment: if k == last { comment.take() } else { None },
                    block: line.block,
                    ..Line::default()
                });
            }
        }
        *lines = out;
    }

    fn space(&self, previous: Option<Tok<'_>>, tok: Tok<'_>) -> bool {
        let Some(p) = previous else {
            return false;
        };
        if let Some(t) = self.tight.iter().find(|t| t.covers(tok.span)) {
            // `(+0.0000/-0.0010 in)`, with a blank before the parenthesis and before a unit only.
            return tok.span.start == t.start || tok.kind == T::Unit;
        }
        match (p.kind, tok.kind) {
            (T::LParen | T::LBracket, _) | (_, T::RParen | T::RBracket) => false,
            (_, T::Comma | T::Colon | T::Dot) | (T::Dot, _) => false,
            (T::Caret, _) | (_, T::Caret) => false,
            (T::LBrace, T::RBrace) => false,
            (_, T::LParen) => {
                p.kind != T::Word || self.heads.contains(&tok.span.start) || is_word_operator(p)
            }
            (T::Minus, _) => !self.is_sign(p),
            _ => true,
        }
    }

    /// Whether a minus is a sign and not a subtraction.
    fn is_sign(&self, minus: Tok<'_>) -> bool {
        let at = self.toks.partition_point(|t| t.span.start < minus.span.start);
        at.checked_sub(1).is_none_or(|b| {
            !matches!(
                self.toks[b].kind,
                T::Number | T::Fraction | T::Unit | T::Word | T::RParen | T::RBracket
            )
        })
    }
}

fn is_word_operator(t: Tok<'_>) -> bool {
    matches!(t.text, "at" | "of" | "per" | "within" | "require" | "rise" | "fall" | "lines")
}

/// One spelling for signs that have several.
fn canonical<'s>(t: Tok<'s>) -> &'s str {
    match t.kind {
        T::PlusMinus => "±",
        T::Arrow => "->",
        T::Minus => "-",
        T::Star => "*",
        T::AtLeast => ">=",
        T::AtMost => "<=",
        _ => t.text,
    }
}

fn split_outside_quotes(text: &str, separators: &[&str]) -> Vec<String> {
    let mut out = vec![String::new()];
    let mut quoted = false;
    for (at, ch) in text.char_indices() {
        if !quoted && separators.iter().any(|s| text[at..].starts_with(s)) {
            out.push(String::new());
            if ch == ' ' {
                continue;
            }
        }
        if ch == '"' {
            quoted = !quoted;
        }
        if let Some(last) = out.last_mut() {
            last.push(ch);
        }
    }
    out
}

fn push_blank(lines: &mut Vec<Line>) {
    let opens = lines.last().is_none_or(|l| l.is_blank() || l.text.ends_with('{') && l.comment.is_none());
    if !opens {
        lines.push(Line::default());
    }
}

fn width(s: &str) -> usize {
    s.chars().count()
}

fn render(mut lines: Vec<Line>) -> String {
    while lines.first().is_some_and(Line::is_blank) {
        lines.remove(0);
    }
    align_names(&mut lines);
    align_rows(&mut lines);
    // A blank line before a closing brace says nothing.
    let mut out = String::new();
    let comments = comment_columns(&lines);
    for (i, l) in lines.iter().enumerate() {
        let next_closes = lines
            .get(i + 1)
            .is_none_or(|n| !n.verbatim && n.text.starts_with('}'));
        if l.is_blank() && next_closes && lines.get(i + 1).is_some() {
            continue;
        }
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
        out.push('\n');
    }
    let end = out.trim_end_matches(['\n', '\r']).len();
    out.truncate(end);
    if !out.is_empty() {
        out.push('\n');
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
        let most = lines[run.clone()].iter().filter_map(|l| l.name).max().unwrap_or(0);
        for l in &mut lines[run] {
            if let Some(n) = l.name {
                let at = l.text.char_indices().nth(n).map_or(l.text.len(), |(b, _)| b);
                l.text.insert_str(at, &" ".repeat(most - n));
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
