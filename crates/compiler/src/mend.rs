//! From fixes as the checks give them to edits of text.
//!
//! A check says what is to be done (put in a field, take out an entry, put rows in order) and not how the text
//! stands: comments and blanks belong to no tree, so a check is not done again when they change. How the text stands
//! is looked at here, when findings are asked for. A fix that cannot be written down without losing a comment, or whose place is
//! not written where it was thought to be (it is taken over by `like`), is left out; the finding stays.

use crate::db::{Db, DeclId, Local};
use crate::schema::{Slot, TableDef};
use crate::slots::{decl_of, find};
use cutwater_finding::{Edit, FileId, Finding, Fix, Place};
use cutwater_syntax::ast::{CellKind, EntryKind, ItemKind, Table};
use cutwater_syntax::token::{T, lex};
use cutwater_text::Span;

/// The finding with its places in files, and its fix as edits of their texts.
pub(crate) fn finding(db: &Db, f: &Finding<Local>) -> Finding<Place> {
    let mut out = Finding {
        fix: None,
        ..f.clone()
    }
    .map(|p| db.resolve(p));
    out.fix = f.fix.as_ref().and_then(|fix| edits(db, fix));
    out
}

fn edits(db: &Db, fix: &Fix<Local>) -> Option<Fix<Place>> {
    let mut out = Vec::new();
    for e in &fix.edits {
        // Where brackets or entries were guessed at, nothing is built on them.
        if let Local::Entry(d, _) | Local::NewEntry(d, _) | Local::Item(d) | Local::Rows(d, _) =
            e.place
            && !db.parsed(d).errors.is_empty()
        {
            return None;
        }
        match e.place {
            Local::Span(..) | Local::File(..) => out.push(Edit {
                place: db.resolve(&e.place),
                text: e.text.clone(),
            }),
            Local::Value(d, slot) => {
                let parsed = db.parsed(d);
                let value = match &parsed.item.kind {
                    ItemKind::Let { value, .. } => value.span,
                    ItemKind::Decl(decl) => {
                        let (name, _) = db.kind(d)?.1.list.get(slot as usize)?;
                        match &find(decl, name)?.kind {
                            EntryKind::Field { value, .. } => value.span,
                            _ => return None,
                        }
                    }
                    _ => return None,
                };
                if value.is_empty() {
                    return None;
                }
                out.push(Edit {
                    place: db.resolve(&e.place),
                    text: e.text.clone(),
                });
            }
            // Names are never replaced as a whole: where the slot is not written this is the declaration's head.
            Local::Head(_) | Local::Slot(..) => return None,
            Local::Entry(d, span) => out.extend(Source::of(db, d).take_out(span)?),
            Local::Item(d) => {
                // The blank lines round it belong to its neighbours.
                let span = db.parsed(d).item.span.shift(db.chunk(d).start);
                out.extend(Source::around(db, d).take_out(span)?);
            }
            Local::NewEntry(d, body) => out.extend(Source::of(db, d).put_in(body, &e.text)?),
            Local::Rows(d, slot) => {
                let (name, s) = db.kind(d)?.1.list.get(slot as usize)?;
                let Slot::Table(def) = s else { return None };
                let parsed = db.parsed(d);
                let entry = find(decl_of(&parsed.item)?, name)?;
                let EntryKind::Table(t) = &entry.kind else {
                    return None;
                };
                out.extend(Source::of(db, d).in_order(def, t)?);
            }
        }
    }
    Some(Fix {
        title: fix.title.clone(),
        tier: fix.tier,
        edits: out,
    })
}

/// A text with the place it begins at in its file.
struct Source<'a> {
    file: FileId,
    start: u32,
    text: &'a str,
}

impl<'a> Source<'a> {
    /// The text of an item, comments before it included.
    fn of(db: &'a Db, d: DeclId) -> Self {
        let file = db.file_of(d);
        let chunk = db.chunk(d);
        Self {
            file,
            start: chunk.start,
            text: chunk.slice(db.text(file)),
        }
    }

    /// The text of the file an item stands in.
    fn around(db: &'a Db, d: DeclId) -> Self {
        let file = db.file_of(d);
        Self {
            file,
            start: 0,
            text: db.text(file),
        }
    }

    fn edit(&self, from: usize, to: usize, text: impl Into<String>) -> Edit<Place> {
        Edit {
            place: Place {
                file: self.file,
                span: Span::new(from, to).shift(self.start),
            },
            text: text.into(),
        }
    }

    /// Where the line of a byte begins.
    fn line_start(&self, at: usize) -> usize {
        self.text[..at].rfind(['\n', '\r']).map_or(0, |n| n + 1)
    }

    /// Where the line of a byte ends, less its line end, and where the next begins.
    fn line_end(&self, at: usize) -> (usize, usize) {
        let rest = &self.text[at..];
        match rest.find(['\n', '\r']) {
            None => (self.text.len(), self.text.len()),
            Some(n) => {
                let long = rest[n..].starts_with("\r\n");
                (at + n, at + n + if long { 2 } else { 1 })
            }
        }
    }

    /// The blanks before the first thing on a byte's line.
    fn indent(&self, at: usize) -> &'a str {
        let line = &self.text[self.line_start(at)..];
        let end = line.find(|c: char| c != ' ' && c != '\t').unwrap_or(0);
        &line[..end]
    }

    fn has_comment(&self, from: usize, to: usize) -> bool {
        lex(&self.text[from..to])
            .iter()
            .any(|r| matches!(r.kind, T::Comment | T::Doc | T::FileDoc))
    }

    /// Takes out what stands in `span`, with its line where nothing else stands on it. A comment behind it stays.
    fn take_out(&self, span: Span) -> Option<Vec<Edit<Place>>> {
        let (from, to) = (span.start as usize, span.end as usize);
        if self.text.get(from..to).is_none() || self.has_comment(from, to) {
            return None;
        }
        let start = self.line_start(from);
        let (end, next) = self.line_end(to);
        let alone = self.text[start..from]
            .trim()
            .trim_start_matches('\u{feff}')
            .is_empty();
        let behind = self.text[to..end].trim();
        if alone && behind.is_empty() {
            // Of the blank lines round it one is enough, and none where the text begins.
            let blank_before = start == 0 || {
                let before = &self.text[..start];
                let before = before
                    .strip_suffix("\r\n")
                    .or_else(|| before.strip_suffix(['\n', '\r']));
                before.is_none_or(|b| {
                    b.rsplit(['\n', '\r'])
                        .next()
                        .is_none_or(|l| l.trim().is_empty())
                })
            };
            let (after_end, after_next) = self.line_end(next);
            let blank_after =
                next < self.text.len() && self.text[next..after_end].trim().is_empty();
            let end = if blank_before && blank_after {
                after_next
            } else {
                next
            };
            return Some(vec![self.edit(start, end, "")]);
        }
        if alone && behind.starts_with("//") {
            let comment = to + (self.text[to..end].len() - self.text[to..end].trim_start().len());
            return Some(vec![self.edit(from, comment, "")]);
        }
        // It shares its line: a `;` goes with it.
        let before = self.text[..from].trim_end_matches([' ', '\t']);
        if let Some(b) = before.strip_suffix(';') {
            return Some(vec![self.edit(
                b.trim_end_matches([' ', '\t']).len(),
                to,
                "",
            )]);
        }
        if let Some(rest) = behind.strip_prefix(';') {
            let kept = rest.trim_start();
            return Some(vec![self.edit(
                from,
                end - kept.len() - (self.text[to..end].len() - self.text[to..end].trim_end().len()),
                "",
            )]);
        }
        let left = self.text[..from].trim_end_matches([' ', '\t']).len();
        let right =
            to + (self.text[to..].len() - self.text[to..].trim_start_matches([' ', '\t']).len());
        let whole_block = self.text[..left].ends_with('{') && self.text[right..].starts_with('}');
        Some(vec![if whole_block {
            self.edit(left, right, "")
        } else {
            self.edit(left, to, "")
        }])
    }

    /// Puts a new entry in at the end of the block whose braces and all between are `body`.
    fn put_in(&self, body: Span, entry: &str) -> Option<Vec<Edit<Place>>> {
        let (from, to) = (body.start as usize, body.end as usize);
        let inner = self
            .text
            .get(from..to)?
            .strip_prefix('{')?
            .strip_suffix('}')?;
        let (from, to) = (from + 1, to - 1);
        if !inner.contains(['\n', '\r']) {
            let indent = self.indent(from);
            let new = deeper(entry, indent);
            let kept = inner.trim();
            if kept.is_empty() {
                return Some(vec![self.edit(from, to, format!("\n{new}\n{indent}"))]);
            }
            let kept_from = from + (inner.len() - inner.trim_start().len());
            return Some(vec![
                self.edit(from, kept_from, format!("\n{indent}{STEP}")),
                self.edit(kept_from + kept.len(), to, format!("\n{new}\n{indent}")),
            ]);
        }
        let closing = self.line_start(to);
        if self.text[closing..to].trim().is_empty() {
            // The brace stands first on its line.
            let new = deeper(entry, &self.text[closing..to]);
            return Some(vec![self.edit(closing, closing, format!("{new}\n"))]);
        }
        let indent = self.indent(from - 1);
        let new = deeper(entry, indent);
        let kept = inner.trim_end().len();
        Some(vec![self.edit(
            from + kept,
            to,
            format!("\n{new}\n{indent}"),
        )])
    }

    /// Puts the rows of a table in the order of its first column. Comments behind a row and right above it go with it.
    fn in_order(&self, def: &'static TableDef, t: &Table) -> Option<Vec<Edit<Place>>> {
        let key = t
            .columns
            .iter()
            .position(|c| def.columns.first().is_some_and(|d| d.name == c.name.text))?;
        let mut keyed: Vec<(f64, usize)> = Vec::with_capacity(t.rows.len());
        for (k, r) in t.rows.iter().enumerate() {
            match r.cells.get(key)?.kind {
                CellKind::Number(v) => keyed.push((v, k)),
                _ => return None,
            }
        }
        keyed.sort_by(|a, b| a.0.total_cmp(&b.0));
        // What is the same twice has no order.
        if keyed.windows(2).any(|w| w[0].0 >= w[1].0) {
            return None;
        }
        let pieces = self.rows_with_lines(t).or_else(|| {
            // Several on a line: the rows alone change places.
            let (from, to) = (t.body.start as usize, t.body.end as usize);
            (!self.has_comment(from, to)).then(|| {
                t.rows
                    .iter()
                    .map(|r| (r.span.start as usize, r.span.end as usize))
                    .collect()
            })
        })?;
        Some(
            pieces
                .iter()
                .zip(&keyed)
                .enumerate()
                .filter(|(at, (_, (_, k)))| at != k)
                .map(|(_, ((from, to), (_, k)))| {
                    let (a, b) = pieces[*k];
                    self.edit(*from, *to, &self.text[a..b])
                })
                .collect(),
        )
    }

    /// Each row with the comment lines right above it, to the end of its line; `None` where a row shares its line.
    fn rows_with_lines(&self, t: &Table) -> Option<Vec<(usize, usize)>> {
        let mut out = Vec::with_capacity(t.rows.len());
        let mut floor = self.line_end(t.body.start as usize).1;
        let brace = (t.body.end as usize).checked_sub(1)?;
        for r in &t.rows {
            let (from, to) = (r.span.start as usize, r.span.end as usize);
            let mut start = self.line_start(from);
            let (end, next) = self.line_end(to);
            let behind = self.text[to..end].trim_start();
            if start < floor
                || brace < end
                || !self.text[start..from].trim().is_empty()
                || self.text[from..to].contains(['\n', '\r'])
                || !(behind.is_empty() || behind.starts_with("//"))
            {
                return None;
            }
            while start > floor {
                let above =
                    self.line_start(start - 1 - usize::from(self.text[..start].ends_with("\r\n")));
                if above < floor || !self.text[above..start].trim_start().starts_with("//") {
                    break;
                }
                start = above;
            }
            // Without the line end, so that the last of a text may lack it.
            out.push((start, end));
            floor = next;
        }
        Some(out)
    }
}

const STEP: &str = "    ";

/// The lines of an entry one step further in than `indent`.
fn deeper(entry: &str, indent: &str) -> String {
    entry
        .lines()
        .map(|l| format!("{indent}{STEP}{l}"))
        .collect::<Vec<_>>()
        .join("\n")
}
