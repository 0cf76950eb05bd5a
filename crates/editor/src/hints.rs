//! Inlay hints: what is computed, shown beside what it belongs to.

use crate::at::written;
use cutwater_compiler::results::{self, Row};
use cutwater_compiler::schema::Slot;
use cutwater_compiler::value::{Quantity, Value};
use cutwater_compiler::{Db, DeclId, Settings, kinds, show};
use cutwater_finding::FileId;
use cutwater_quantity::{System, UnitSystem, display};
use cutwater_syntax::ast::{EntryKind, ItemKind};
use cutwater_text::Span;

/// What a hint shows; each can be switched off by itself.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum HintKind {
    /// The value of a `let`, and the limits a tolerance class stands for.
    Values,
    /// Results that need no solved duty, beside a declaration's head.
    Results,
    /// Results of solved duties, beside a declaration's head.
    Duties,
    /// A value in the unit the project prefers, where it is written in another system's.
    Units,
}

impl HintKind {
    /// Every kind.
    pub const ALL: [HintKind; 4] = [
        HintKind::Values,
        HintKind::Results,
        HintKind::Duties,
        HintKind::Units,
    ];

    /// Its name in an editor's settings.
    pub fn word(self) -> &'static str {
        match self {
            HintKind::Values => "values",
            HintKind::Results => "results",
            HintKind::Duties => "duties",
            HintKind::Units => "units",
        }
    }
}

/// A hint.
#[derive(Clone, PartialEq, Debug)]
pub struct Hint {
    /// Where it is shown, in the file.
    pub offset: usize,
    /// What is shown.
    pub label: String,
    /// More, in Markdown.
    pub tooltip: String,
    /// What it is about.
    pub kind: HintKind,
}

/// The hints of a part of a file, in its order. Only what is settled.
pub fn hints(db: &Db, file: FileId, range: Span, wanted: impl Fn(HintKind) -> bool) -> Vec<Hint> {
    let mut out = Vec::new();
    let decls = db.decls(file);
    let from = decls.partition_point(|d| db.chunk(*d).end < range.start);
    for d in &decls[from..] {
        if db.chunk(*d).start > range.end {
            break;
        }
        of_decl(db, *d, &wanted, &mut out);
    }
    out.retain(|h| range.touches(h.offset));
    out.sort_by_key(|h| h.offset);
    out
}

fn of_decl(db: &Db, d: DeclId, wanted: &impl Fn(HintKind) -> bool, out: &mut Vec<Hint>) {
    let parsed = db.parsed(d);
    let chunk = db.chunk(d);
    let settings = db.settings_of(db.file_of(d));
    let offset = |span: Span| (span.end + chunk.start) as usize;
    let rows: Vec<Row> = results::of_decl(db, d)
        .into_iter()
        .filter(|r| r.hint)
        .collect();
    match &parsed.item.kind {
        ItemKind::Let { value, .. } => {
            // `let a = 5 in` says it already.
            let plain = matches!(value.kind, cutwater_syntax::ast::ExprKind::Number(_));
            if wanted(HintKind::Values)
                && plain
                && let Some(hint) = db
                    .settled(d, 0)
                    .and_then(|v| limits(settings, v, offset(value.span)))
            {
                out.push(hint);
            }
            if wanted(HintKind::Values)
                && !plain
                && let Some(r) = rows.first()
            {
                out.push(Hint {
                    offset: offset(value.span),
                    label: format!("= {}", r.value.text()),
                    tooltip: tooltip(&[r]),
                    kind: HintKind::Values,
                });
            }
        }
        ItemKind::Decl(decl) => {
            let head = decl.name.as_ref().map_or(decl.kind.span, |n| n.span);
            let head = [&decl.like, &decl.of]
                .into_iter()
                .flatten()
                .fold(head, |h, p| h.join(p.span));
            let name = db.name(d).map_or("", |n| n.trim_start_matches('@'));
            for (kind, solved) in [(HintKind::Results, false), (HintKind::Duties, true)] {
                if !wanted(kind) {
                    continue;
                }
                let some: Vec<&Row> = rows.iter().filter(|r| is_solved(db, r) == solved).collect();
                if some.is_empty() {
                    continue;
                }
                let label: Vec<String> = some
                    .iter()
                    .map(|r| {
                        let short = r
                            .path
                            .strip_prefix(name)
                            .and_then(|p| p.strip_prefix('.'))
                            .unwrap_or(&r.path);
                        format!("{} {}", short.replace(['_', '.'], " "), r.value.text())
                    })
                    .collect();
                out.push(Hint {
                    offset: offset(head),
                    label: label.join(" · "),
                    tooltip: tooltip(&some),
                    kind,
                });
            }
            if wanted(HintKind::Units) {
                units(db, d, &parsed, out);
            }
            if wanted(HintKind::Values) {
                classes(db, d, &parsed, out);
            }
        }
        _ => {}
    }
}

/// Whether the property a row comes from needs a solved duty.
fn is_solved(db: &Db, row: &Row) -> bool {
    let Some((_, slots)) = db.kind(row.decl) else {
        return false;
    };
    slots
        .list
        .iter()
        .any(|(_, s)| matches!(s, Slot::Computed(c) if c.solved && std::ptr::eq(c.doc, row.doc)))
}

fn tooltip(rows: &[&Row]) -> String {
    let mut out = String::new();
    for r in rows {
        out.push_str(&format!(
            "**{}** = {} ({})  \n",
            r.path,
            r.value.text(),
            r.origin
        ));
        out.push_str(r.doc);
        if !r.formula.is_empty() {
            out.push_str(&format!("  \n`{}`", r.formula));
        }
        if !r.source.is_empty() {
            out.push_str(&format!(" — {}", r.source));
        }
        out.push_str("\n\n");
    }
    out.trim_end().to_owned()
}

/// The limits of a size that is written with a tolerance class.
fn limits(settings: &Settings, value: &Value, offset: usize) -> Option<Hint> {
    let Value::Quantity(q) = value else {
        return None;
    };
    q.fit?;
    Some(Hint {
        offset,
        label: format!(
            "= {}",
            show::limits(&q.value, q.kind, q.unit.as_ref(), settings)
        ),
        tooltip: String::new(),
        kind: HintKind::Values,
    })
}

/// The limits of fields that are written with a tolerance class.
fn classes(db: &Db, d: DeclId, parsed: &cutwater_syntax::Parsed, out: &mut Vec<Hint>) {
    let Some((_, slots)) = db.kind(d) else {
        return;
    };
    let settings = db.settings_of(db.file_of(d));
    for (k, (name, slot)) in slots.list.iter().enumerate() {
        if !matches!(slot, Slot::Field(_) | Slot::GroupField(..)) {
            continue;
        }
        let Some(EntryKind::Field { value, .. }) = written(parsed, name).map(|e| &e.kind) else {
            continue;
        };
        // Where a path leads to such a size, the limits stand there.
        if matches!(value.kind, cutwater_syntax::ast::ExprKind::Number(_)) {
            let offset = (value.span.end + db.chunk(d).start) as usize;
            out.extend(
                db.settled(d, k as u16)
                    .and_then(|v| limits(settings, v, offset)),
            );
        }
    }
}

/// Fields written in a unit of another system than the one the project shows results in.
fn units(db: &Db, d: DeclId, parsed: &cutwater_syntax::Parsed, out: &mut Vec<Hint>) {
    let Some((kind, slots)) = db.kind(d) else {
        return;
    };
    if kind.word == kinds::LET.word {
        return;
    }
    for (k, (name, slot)) in slots.list.iter().enumerate() {
        if !matches!(slot, Slot::Field(_) | Slot::GroupField(..)) {
            continue;
        }
        let Some(EntryKind::Field { value, .. }) = written(parsed, name).map(|e| &e.kind) else {
            continue;
        };
        let Some(Value::Quantity(q)) = db.settled(d, k as u16) else {
            continue;
        };
        if let Some(text) = other_unit(q, db.settings_of(db.file_of(d)).units) {
            out.push(Hint {
                offset: (value.span.end + db.chunk(d).start) as usize,
                label: format!("= {text}"),
                tooltip: String::new(),
                kind: HintKind::Units,
            });
        }
    }
}

/// The value in the system's preferred unit, where it is written in a unit foreign to the system.
fn other_unit(q: &Quantity, system: UnitSystem) -> Option<String> {
    let unit = q.unit.as_ref()?;
    let own = matches!(
        (unit.system()?, system),
        (System::Any, _)
            | (System::Us, UnitSystem::Us | UnitSystem::Imperial)
            | (System::Imperial, UnitSystem::Imperial)
            | (System::Si, UnitSystem::Metric)
    );
    let shown = display(q.si(), q.kind, system).to_string();
    (!own && shown != show::si(q.si(), q.kind, Some(unit), &Default::default())).then_some(shown)
}
