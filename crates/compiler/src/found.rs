//! What was found in a file, as its reader is to see it: levels as set, and each finding with its *subject*
//! and its *standing*, which is open, accepted in the spec, or known in the baseline.
//!
//! All this is laid over the compiler's own findings when they are asked for and is never kept, so it holds
//! after any edit and costs no evaluation when settings, day or baseline change.

use crate::accept;
use crate::baseline::Baseline;
use crate::db::{Db, DeclId, Local};
use crate::value::Date;
use cutwater_finding::{FileId, Finding, Place};
use cutwater_syntax::ast::{Accept, Condition, Entry, EntryKind, Expr, ExprKind, ItemKind, Rule};
use cutwater_text::Span;
use smol_str::SmolStr;

/// A finding with what it is about and how it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// The finding, its level as set.
    pub finding: Finding<Place>,
    /// What it is about: `main.curve`, `require attack.left.flow`; empty for the file as a whole. It does not
    /// change with lines and numbers.
    pub subject: SmolStr,
    /// How it stands.
    pub standing: Standing,
}

/// How a finding stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Standing {
    /// It counts.
    Open,
    /// The spec accepts it.
    Accepted(Acceptance),
    /// The baseline knows it.
    Known,
}

/// Why and how long a finding is accepted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Acceptance {
    /// The reason given.
    pub reason: SmolStr,
    /// The last day on which it holds, if it ends.
    pub until: Option<Date>,
    /// The `accept` line.
    pub place: Place,
}

impl Db {
    /// The findings of a file, sorted by place, levels as set, those that are accepted left out. Only what is
    /// settled.
    pub fn findings(&self, file: FileId) -> Vec<Finding<Place>> {
        self.found(file)
            .into_iter()
            .filter(|f| !matches!(f.standing, Standing::Accepted(_)))
            .map(|f| f.finding)
            .collect()
    }

    /// Everything found in a file, sorted by place, with subject and standing. Only what is settled.
    pub fn found(&self, file: FileId) -> Vec<Found> {
        let mut raw = self.raw_findings(file);
        raw.sort_by(|a, b| key(&a.0).cmp(&key(&b.0)));
        raw.dedup_by(|a, b| a.0 == b.0);
        let (mut out, places): (Vec<Found>, Vec<Vec<Local>>) = raw
            .into_iter()
            .map(|(finding, places)| {
                let found = Found {
                    subject: places
                        .first()
                        .map_or(SmolStr::default(), |p| self.subject(p)),
                    finding,
                    standing: Standing::Open,
                };
                (found, places)
            })
            .unzip();
        // Before levels: whether a line accepts something is no matter of settings.
        accept::apply(self, file, &mut out, &places);
        let settings = self.settings_of(file);
        out.retain_mut(|f| match settings.level(f.finding.code) {
            Some(level) => {
                f.finding.level = level;
                true
            }
            None => false,
        });
        out.sort_by(|a, b| key(&a.finding).cmp(&key(&b.finding)));
        if let Some(b) = self.baseline() {
            Baseline::apply(b, self.path(file), &mut out);
        }
        out
    }

    /// What a place is about.
    pub(crate) fn subject(&self, place: &Local) -> SmolStr {
        let below = |d: DeclId, rest: &str| {
            let head = self.head_of(d);
            match (head.is_empty(), rest.is_empty()) {
                (_, true) => head,
                (true, _) => SmolStr::new(rest),
                _ => SmolStr::from(format!("{head}.{rest}")),
            }
        };
        match *place {
            Local::File(..) => SmolStr::default(),
            Local::Head(d) | Local::Item(d) => self.head_of(d),
            Local::Slot(d, s) | Local::Value(d, s) | Local::Rows(d, s) => {
                let name = match (&self.parsed(d).item.kind, self.kind(d)) {
                    (ItemKind::Decl(_), Some((_, slots))) => {
                        slots.list.get(s as usize).map_or("", |x| x.0.as_str())
                    }
                    _ => "",
                };
                below(d, name)
            }
            Local::Span(d, span) | Local::Entry(d, span) | Local::NewEntry(d, span) => {
                match &self.parsed(d).item.kind {
                    ItemKind::Decl(decl) => below(d, &entry_at(&decl.entries, span)),
                    _ => self.head_of(d),
                }
            }
        }
    }

    /// What an item is called in subjects: its name, or `require` with what it speaks of.
    pub(crate) fn head_of(&self, d: DeclId) -> SmolStr {
        match &self.parsed(d).item.kind {
            ItemKind::Require(r) => {
                let mut out = "require".to_owned();
                let filters = r.every.iter().flat_map(|e| &e.filters);
                for p in std::iter::once(&r.condition)
                    .chain(filters)
                    .flat_map(spoken_of)
                {
                    out.push(' ');
                    out.push_str(&p);
                }
                SmolStr::from(out)
            }
            ItemKind::Accept(a) => SmolStr::from(accept_name(a)),
            _ => self
                .name(d)
                .map_or(SmolStr::default(), |n| n.trim_start_matches('@').into()),
        }
    }
}

fn key(f: &Finding<Place>) -> (u32, u32, &'static str, &str) {
    (f.place.span.start, f.place.span.end, f.code.id, &f.message)
}

/// The dotted path of the entry a place stands in; empty where it stands in none.
fn entry_at(entries: &[Entry], at: Span) -> String {
    let Some(e) = entries.iter().find(|e| e.span.covers(at)) else {
        return String::new();
    };
    match &e.kind {
        EntryKind::Field { name, .. } => name.text.to_string(),
        EntryKind::Table(t) => t.name.text.to_string(),
        EntryKind::Hold { target, .. } => target.text(),
        EntryKind::Group { name, entries, .. } => match entry_at(entries, at) {
            rest if rest.is_empty() => name.text.to_string(),
            rest => format!("{}.{rest}", name.text),
        },
        EntryKind::Chain(segments) => segments
            .iter()
            .find(|s| s.span.covers(at))
            .map(|s| match &s.label {
                Some(l) => l.text.to_string(),
                None => s.what.text(),
            })
            .unwrap_or_default(),
        EntryKind::Accept(a) => accept_name(a),
        EntryKind::Error => String::new(),
    }
}

/// What a line that accepts is called in subjects.
fn accept_name(a: &Accept) -> String {
    match &a.on {
        Some(on) => format!("accept {} on {}", a.code.text, on.text()),
        None => format!("accept {}", a.code.text),
    }
}

/// The paths a condition names, in order.
fn spoken_of(c: &Condition) -> Vec<String> {
    let mut out = paths_of(&c.value);
    match &c.rule {
        Rule::Compare(_, e) | Rule::Within(e) | Rule::Is { value: e, .. } => {
            out.extend(paths_of(e));
        }
        Rule::Error => {}
    }
    out
}

/// The dotted paths of all entries, for "did you mean".
pub(crate) fn entry_names(entries: &[Entry], group: &str, out: &mut Vec<String>) {
    let mut push = |name: &str| {
        out.push(if group.is_empty() {
            name.to_owned()
        } else {
            format!("{group}.{name}")
        });
    };
    for e in entries {
        match &e.kind {
            EntryKind::Field { name, .. } => push(&name.text),
            EntryKind::Table(t) => push(&t.name.text),
            EntryKind::Hold { target, .. } => push(&target.text()),
            EntryKind::Chain(segments) => {
                for s in segments {
                    push(
                        &s.label
                            .as_ref()
                            .map_or(s.what.text(), |l| l.text.to_string()),
                    );
                }
            }
            EntryKind::Group { .. } | EntryKind::Accept(_) | EntryKind::Error => {}
        }
    }
    for e in entries {
        if let EntryKind::Group { name, entries, .. } = &e.kind {
            let path = if group.is_empty() {
                name.text.to_string()
            } else {
                format!("{group}.{}", name.text)
            };
            out.push(path.clone());
            entry_names(entries, &path, out);
        }
    }
}

/// The paths an expression names, in order.
fn paths_of(e: &Expr) -> Vec<String> {
    let mut out = Vec::new();
    // Not by recursion: sums are flat, but brackets nest.
    let mut todo = vec![e];
    while let Some(e) = todo.pop() {
        match &e.kind {
            ExprKind::Path(p) | ExprKind::Element(p, _) => out.push(p.text()),
            ExprKind::Call { arguments, .. } => todo.extend(arguments.iter().rev()),
            ExprKind::List(list) => todo.extend(list.iter().rev()),
            ExprKind::Negative(a) => todo.push(a),
            ExprKind::Sum(a, rest) | ExprKind::Product(a, rest) => {
                todo.extend(rest.iter().rev().map(|r| &r.1));
                todo.push(a);
            }
            ExprKind::Power(a, b) | ExprKind::Range(a, b) => todo.extend([&**b, &**a]),
            ExprKind::Of(a, p) => {
                out.push(p.text());
                todo.push(a);
            }
            ExprKind::Phrase(a, rest) => {
                todo.extend(rest.iter().rev().map(|r| &r.1));
                todo.push(a);
            }
            ExprKind::Number(_) | ExprKind::Date { .. } | ExprKind::Text(_) | ExprKind::Error => {}
        }
    }
    out
}
