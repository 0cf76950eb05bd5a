//! Slots: finding what was written for a field, group or table, and evaluating it.
//!
//! A slot takes its value from the declaration's own text, else from the declaration it is `like`, else from
//! the kind's default, else it is absent. What is taken over is evaluated anew for the taker, so that the
//! tolerances of two parts of one drawing are two variables.

use crate::codes;
use crate::db::{Cx, Db, Local};
use crate::eval::Ev;
use crate::kinds;
use crate::remedy;
use crate::reuse;
use crate::schema::{ColumnType, Need, Slot, TableDef};
use crate::show::pick_nearest;
use crate::value::{Cell, Origin, Table, Value};
use crate::{DeclId, Eval};
use cutwater_finding::{Finding, FixTier};
use cutwater_quantity::preferred_unit;
use cutwater_syntax::ast::{self, CellKind, Decl, Entry, EntryKind, Expr, Item, ItemKind};
use cutwater_syntax::{Parsed, SyntaxError, parse_chunk};
use cutwater_text::Span;
use rustc_hash::FxHashMap;
use std::sync::{Arc, OnceLock, RwLock};

/// The entry that writes a field (`bore`, `draft.lift`) or table; the first where there are several.
pub(crate) fn find<'d>(decl: &'d Decl, name: &str) -> Option<&'d Entry> {
    fn in_entries<'e>(entries: &'e [Entry], name: &str) -> Option<&'e Entry> {
        entries.iter().find(|e| match &e.kind {
            EntryKind::Field { name: n, .. } => n.text == name,
            EntryKind::Table(t) => t.name.text == name,
            _ => false,
        })
    }
    match name.split_once('.') {
        None => in_entries(&decl.entries, name),
        Some((group, field)) => decl.entries.iter().find_map(|e| match &e.kind {
            EntryKind::Group { name, entries, .. } if name.text == group => {
                in_entries(entries, field)
            }
            _ => None,
        }),
    }
}

/// Whether a group is written.
pub(crate) fn has_group(decl: &Decl, group: &str) -> bool {
    decl.entries
        .iter()
        .any(|e| matches!(&e.kind, EntryKind::Group { name, .. } if name.text == group))
}

/// The declaration of an item, if it is one.
pub(crate) fn decl_of(item: &Item) -> Option<&Decl> {
    match &item.kind {
        ItemKind::Decl(d) => Some(d),
        _ => None,
    }
}

/// Kind and name of an item.
pub(crate) fn head_span(item: &Item) -> Span {
    match &item.kind {
        ItemKind::Decl(d) => match &d.name {
            Some(n) => d.kind.span.join(n.span),
            None => d.kind.span,
        },
        ItemKind::Use { path, .. } => path.span,
        ItemKind::Let { name, .. } => name.span,
        ItemKind::Require(r) => r.condition.value.span,
        ItemKind::Accept(a) => a.code.span,
        ItemKind::Empty => item.span,
    }
}

/// Where a slot is written; the head where it is not.
pub(crate) fn slot_span(db: &Db, d: DeclId, slot: u16, value_only: bool) -> Span {
    let parsed = db.parsed(d);
    let head = head_span(&parsed.item);
    match &parsed.item.kind {
        ItemKind::Let { value, .. } if value_only => value.span,
        ItemKind::Decl(decl) => {
            let Some((_, slots)) = db.kind(d) else {
                return head;
            };
            let Some((name, _)) = slots.list.get(slot as usize) else {
                // A parameter that is filled in here.
                let name = db.filled(d, slot as usize - slots.list.len());
                return decl
                    .arguments
                    .iter()
                    .flatten()
                    .find(|a| Some(&a.name.text) == name)
                    .map_or(head, |a| a.value.span);
            };
            match find(decl, name) {
                Some(e) => match &e.kind {
                    EntryKind::Field { value, .. } if value_only && !value.span.is_empty() => {
                        value.span
                    }
                    EntryKind::Field { name, .. } => name.span,
                    EntryKind::Table(t) => t.name.span,
                    _ => e.span,
                },
                None => head,
            }
        }
        _ => head,
    }
}

/// `intake_ring.clearance`, or a `let`'s plain name.
pub(crate) fn slot_name(db: &Db, d: DeclId, slot: u16) -> String {
    let name = db.name(d).map_or("require", |n| n.trim_start_matches('@'));
    match db.kind(d) {
        Some((k, _)) if k.word == kinds::LET.word || k.word == kinds::REQUIRE.word => {
            name.to_owned()
        }
        Some((_, s)) => match s.list.get(slot as usize) {
            Some((n, _)) => format!("{name}.{n}"),
            None => match db.filled(d, slot as usize - s.list.len()) {
                Some(n) => format!("{name}({n})"),
                None => name.to_owned(),
            },
        },
        None => name.to_owned(),
    }
}

/// Slots worth evaluating for their findings: what is written, what has a default, what is computed.
pub(crate) fn written_or_computed(db: &Db, d: DeclId) -> Vec<u16> {
    let Some((_, slots)) = db.kind(d) else {
        return Vec::new();
    };
    let parsed = db.parsed(d);
    let decl = decl_of(&parsed.item);
    let mut out = Vec::new();
    for (k, (name, slot)) in slots.list.iter().enumerate() {
        let wanted = match slot {
            // A pattern is no part: nothing is computed from it.
            Slot::Computed(_) => !db.is_pattern(d),
            Slot::Field(_) | Slot::GroupField(..) | Slot::Table(_) => {
                decl.is_none_or(|x| x.like.is_some() || find(x, name).is_some())
            }
        };
        if wanted {
            out.push(k as u16);
        }
    }
    out
}

/// The declaration a declaration is `like`. Findings about it are made by the check alone.
pub(crate) fn like_base(cx: &mut Cx<'_>, d: DeclId, parsed: &Parsed) -> Eval<Option<DeclId>> {
    let Some(path) = decl_of(&parsed.item).and_then(|x| x.like.clone()) else {
        return Ok(None);
    };
    let before = cx.findings.len();
    let base = Ev { cx, owner: d }.base(&path)?;
    cx.findings.truncate(before);
    Ok(match base {
        Value::Decl(b) if b != d && cx.kind_word(b) == cx.kind_word(d) => Some(b),
        _ => None,
    })
}

/// What stands after `of`.
pub(crate) fn of_target(cx: &mut Cx<'_>, d: DeclId) -> Eval<Option<DeclId>> {
    let mut at = d;
    for _ in 0..MAX_LIKE {
        let parsed = cx.item(at);
        if let Some(path) = decl_of(&parsed.item).and_then(|x| x.of.clone()) {
            let before = cx.findings.len();
            let subject = std::mem::replace(&mut cx.scope.subject, d);
            let target = Ev { cx, owner: at }.path(&path, true);
            cx.scope.subject = subject;
            cx.findings.truncate(before);
            return Ok(match target? {
                Value::Decl(t) => Some(t),
                _ => None,
            });
        }
        match like_base(cx, at, &parsed)? {
            Some(b) => at = b,
            None => return Ok(None),
        }
    }
    Ok(None)
}

/// How long a chain of `like` may be; a longer one is a cycle and is reported as such.
pub(crate) const MAX_LIKE: usize = 1000;

/// The declarations a slot may take its text from, nearest first: itself, then what it is like.
pub(crate) fn lineage(cx: &mut Cx<'_>, d: DeclId) -> Eval<Vec<(DeclId, Arc<Parsed>)>> {
    let mut out: Vec<(DeclId, Arc<Parsed>)> = Vec::with_capacity(1);
    let mut at = d;
    while out.len() < MAX_LIKE {
        let parsed = cx.item(at);
        let base = like_base(cx, at, &parsed)?;
        out.push((at, parsed));
        match base {
            Some(b) if out.iter().all(|o| o.0 != b) => at = b,
            _ => break,
        }
    }
    Ok(out)
}

/// Whether something that was written in these declarations may not have been understood: a slip stands outside of
/// every entry whose name is known, or what the last of them is like was not found. Then what seems to be missing may be
/// there.
pub(crate) fn is_damaged(line: &[(DeclId, Arc<Parsed>)]) -> bool {
    fn known(entries: &[Entry], at: u32) -> bool {
        entries
            .iter()
            .filter(|e| e.span.start <= at && at < e.span.end)
            .any(|e| match &e.kind {
                EntryKind::Error => false,
                EntryKind::Group { entries, .. } => known(entries, at),
                _ => true,
            })
    }
    let last = line.last().and_then(|(_, p)| decl_of(&p.item));
    last.is_some_and(|d| d.like.is_some())
        || line.iter().any(|(_, p)| {
            decl_of(&p.item)
                .is_some_and(|d| p.errors.iter().any(|e| !known(&d.entries, e.span.start)))
        })
}

/// Whether a slip stands within a part of an item.
fn has_slip(parsed: &Parsed, part: Span) -> bool {
    let within = |e: &SyntaxError| part.start <= e.span.start && e.span.start <= part.end;
    parsed.errors.iter().any(within)
}

/// Whether a slip stands in front of a declaration's entries, where its parameters are.
pub(crate) fn head_is_damaged(parsed: &Parsed) -> bool {
    decl_of(&parsed.item).is_some_and(|d| {
        let head = parsed.item.span.start..=d.body.start;
        parsed.errors.iter().any(|e| head.contains(&e.span.start))
    })
}

/// The default texts, parsed once.
fn default_expr(text: &'static str) -> Expr {
    static CACHE: OnceLock<RwLock<FxHashMap<&'static str, Expr>>> = OnceLock::new();
    let cache = CACHE.get_or_init(Default::default);
    if let Some(e) = cache.read().ok().and_then(|c| c.get(text).cloned()) {
        return e;
    }
    let parsed = parse_chunk(&format!("let it = {text}"));
    let e = match parsed.item.kind {
        ItemKind::Let { value, .. } => value,
        _ => Expr {
            kind: ast::ExprKind::Error,
            span: Span::default(),
        },
    };
    if let Ok(mut c) = cache.write() {
        c.insert(text, e.clone());
    }
    e
}

/// The value of a slot.
pub(crate) fn eval(cx: &mut Cx<'_>, d: DeclId, slot: u16) -> Eval<Value> {
    let Some((kind, slots)) = cx.kind(d) else {
        return Ok(Value::Unknown);
    };
    if kind.word == kinds::LET.word {
        let parsed = cx.item(d);
        return match &parsed.item.kind {
            ItemKind::Let {
                parameters: Some(_),
                ..
            } => reuse::eval_function(cx, d),
            // What could be read of one with a slip is not what was meant.
            ItemKind::Let { value, .. } if parsed.errors.is_empty() => {
                Ev { cx, owner: d }.expr(value, None)
            }
            _ => Ok(Value::Unknown),
        };
    }
    let Some((name, slot)) = slots.list.get(slot as usize) else {
        return reuse::eval_parameter(cx, d, slot as usize - slots.list.len());
    };
    match slot {
        Slot::Computed(c) => (c.eval)(cx, d),
        Slot::Field(f) | Slot::GroupField(_, f) => {
            for (owner, parsed) in lineage(cx, d)? {
                let Some(decl) = decl_of(&parsed.item) else {
                    return Ok(Value::Unknown);
                };
                if f.own && owner != d && decl.parameters.is_none() {
                    // Another piece's: its number and its dates are not this one's.
                    break;
                }
                if let Some(Entry {
                    kind: EntryKind::Field { value, .. },
                    span,
                    ..
                }) = find(decl, name)
                {
                    let before = cx.findings.len();
                    let mut v = Ev { cx, owner }.store(f.ty, value, name)?;
                    if has_slip(&parsed, *span) {
                        // What could be read of it is not what was meant.
                        cx.findings.truncate(before);
                        v = Value::Unknown;
                    }
                    if owner != d {
                        reuse::differences(cx, d, owner, before, &[value], |cx| {
                            Ev { cx, owner }.store(f.ty, value, name).map(drop)
                        })?;
                        if !reuse::applies(cx, d, kind, name)? {
                            return Ok(Value::Absent);
                        }
                    }
                    return Ok(v);
                }
            }
            match f.need {
                Need::Default(text, _) => {
                    if let Slot::GroupField(g, _) = slot {
                        let mut there = false;
                        for (_, p) in lineage(cx, d)? {
                            there |= decl_of(&p.item).is_some_and(|x| has_group(x, g.name));
                        }
                        if !there {
                            return Ok(Value::Absent);
                        }
                    }
                    if !reuse::applies(cx, d, kind, name)? {
                        return Ok(Value::Absent);
                    }
                    let e = default_expr(text);
                    let before = cx.findings.len();
                    let v = Ev { cx, owner: d }.store(f.ty, &e, name)?;
                    cx.findings.truncate(before);
                    Ok(match v {
                        Value::Quantity(q) => Value::Quantity(q.origin(Origin::Assumed)),
                        v => v,
                    })
                }
                // What a default stands for may be overruled there too, but most of a part is left at its defaults.
                Need::Required | Need::Optional => not_written(cx, d),
            }
        }
        Slot::Table(t) => {
            for (owner, parsed) in lineage(cx, d)? {
                let Some(decl) = decl_of(&parsed.item) else {
                    return Ok(Value::Unknown);
                };
                if let Some(Entry {
                    kind: EntryKind::Table(written),
                    ..
                }) = find(decl, name)
                {
                    let before = cx.findings.len();
                    let v = table(cx, owner, t, written)?;
                    if owner != d {
                        let at: Vec<&Expr> = written.at.iter().collect();
                        reuse::differences(cx, d, owner, before, &at, |cx| {
                            table(cx, owner, t, written).map(drop)
                        })?;
                        if !reuse::applies(cx, d, kind, name)? {
                            return Ok(Value::Absent);
                        }
                    }
                    return Ok(v);
                }
            }
            not_written(cx, d)
        }
    }
}

/// What is not written is not given, unless it may stand where the text cannot be read.
fn not_written(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    Ok(match is_damaged(&lineage(cx, d)?) {
        true => Value::Unknown,
        false => Value::Absent,
    })
}

fn table(cx: &mut Cx<'_>, owner: DeclId, def: &'static TableDef, t: &ast::Table) -> Eval<Value> {
    let mut ok = true;
    let at = match (&def.at, &t.at) {
        (Some((name, kind, _)), Some(e)) => {
            let label = format!("{}.{name}", def.name);
            let ty = crate::schema::Type::Quantity(*kind, crate::schema::Sign::Positive);
            match (Ev { cx, owner }).store(ty, e, &label)? {
                Value::Quantity(q) => Some(q),
                _ => {
                    ok = false;
                    None
                }
            }
        }
        (Some((name, kind, true)), None) => {
            let example = preferred_unit(*kind, cx.settings().units).map_or("…", |u| u.ascii);
            cx.report(
                Finding::new(
                    &codes::TABLE_SHAPE,
                    Local::Span(owner, t.name.span),
                    format!(
                        "`{}` needs its {name}: write `{} at … {example} (…)`",
                        def.name, def.name
                    ),
                )
                .here(format!("at which {name}?")),
            );
            ok = false;
            None
        }
        (None, Some(e)) => {
            cx.report(
                Finding::new(
                    &codes::TABLE_SHAPE,
                    Local::Span(owner, e.span),
                    format!("`{}` takes no `at …`", def.name),
                )
                .here("not wanted"),
            );
            ok = false;
            None
        }
        (_, None) => None,
    };
    // Columns: which definition each written one is.
    let mut columns: Vec<Option<(usize, Option<Arc<cutwater_quantity::CompoundUnit>>)>> =
        Vec::new();
    for c in &t.columns {
        let place = Local::Span(owner, c.name.span);
        let Some(k) = def.columns.iter().position(|x| x.name == c.name.text) else {
            let mut f = Finding::new(
                &codes::TABLE_SHAPE,
                place,
                format!("`{}` has no column `{}`", def.name, c.name.text),
            )
            .here("no such column")
            .help(format!(
                "its columns are {}",
                def.columns
                    .iter()
                    .map(|x| x.name)
                    .collect::<Vec<_>>()
                    .join(", ")
            ));
            if let Some(n) = pick_nearest(&c.name.text, def.columns.iter().map(|x| x.name)) {
                f.message.push_str(&format!("; did you mean `{n}`?"));
                f = f.fix(format!("write `{n}`"), FixTier::NeedsALook, place, n);
            }
            cx.report(f);
            ok = false;
            columns.push(None);
            continue;
        };
        if columns.iter().flatten().any(|(x, _)| *x == k) {
            cx.report(
                Finding::new(
                    &codes::TABLE_SHAPE,
                    place,
                    format!(
                        "the column `{}` stands twice in `{}`",
                        c.name.text, def.name
                    ),
                )
                .here("the second time"),
            );
            ok = false;
            columns.push(None);
            continue;
        }
        let unit = match (def.columns[k].ty, &c.unit) {
            (ColumnType::Text, _) => None,
            (ColumnType::Quantity(kind) | ColumnType::Signed(kind), Some(u)) => {
                match (Ev { cx, owner }).unit(u, Some(kind)) {
                    Some(cu) => {
                        if let cutwater_quantity::Accept::No(m) = cu.accepted_by(kind) {
                            let mut f = Finding::new(
                                &codes::WRONG_UNIT,
                                Local::Span(owner, u.span),
                                format!(
                                    "the column `{}` is {}, but `{}` is a unit of {}",
                                    c.name.text,
                                    crate::show::article(&kind.name()),
                                    u.text,
                                    cu.kind().name()
                                ),
                            )
                            .here(format!("a unit of {}", cu.kind().name()));
                            if let Some(slip) = m.slip {
                                f = f.help(slip.text());
                            }
                            if let Some(r) = m.replacement {
                                f = f.fix(
                                    format!("write `{r}`"),
                                    FixTier::NeedsALook,
                                    Local::Span(owner, u.span),
                                    r,
                                );
                            }
                            cx.report(f);
                            ok = false;
                            columns.push(None);
                            continue;
                        }
                        Some(Arc::new(cu))
                    }
                    None => {
                        ok = false;
                        columns.push(None);
                        continue;
                    }
                }
            }
            (ColumnType::Quantity(kind) | ColumnType::Signed(kind), None) => {
                if !kind.is_dimensionless() {
                    let unit = preferred_unit(kind, cx.settings().units).map_or("…", |u| u.ascii);
                    cx.report(
                        Finding::new(
                            &codes::UNIT_MISSING,
                            place,
                            format!(
                                "the column `{}` is {}: it needs a unit, as `{} {unit}`",
                                c.name.text,
                                crate::show::article(&kind.name()),
                                c.name.text
                            ),
                        )
                        .here("no unit")
                        .fix(
                            format!("put in `{unit}`"),
                            FixTier::NeedsALook,
                            Local::Span(owner, Span::at(c.name.span.end as usize)),
                            format!(" {unit}"),
                        ),
                    );
                    ok = false;
                    columns.push(None);
                    continue;
                }
                None
            }
        };
        columns.push(Some((k, unit)));
    }
    for c in def.columns.iter().filter(|c| c.required) {
        if !t.columns.iter().any(|x| x.name.text == c.name) {
            cx.report(
                Finding::new(
                    &codes::TABLE_SHAPE,
                    Local::Span(owner, t.head),
                    format!("`{}` needs a column `{}`: {}", def.name, c.name, c.doc),
                )
                .here(format!("no `{}` column", c.name)),
            );
            ok = false;
        }
    }
    let mut cells: Vec<Vec<Cell>> = vec![Vec::with_capacity(t.rows.len()); t.columns.len()];
    for row in &t.rows {
        if row.cells.len() != t.columns.len() {
            let names: Vec<&str> = t.columns.iter().map(|c| c.name.text.as_str()).collect();
            cx.report(
                Finding::new(
                    &codes::TABLE_SHAPE,
                    Local::Span(owner, row.span),
                    format!(
                        "this row of `{}` has {} {}, but the table has {} columns",
                        def.name,
                        row.cells.len(),
                        if row.cells.len() == 1 {
                            "cell"
                        } else {
                            "cells"
                        },
                        t.columns.len()
                    ),
                )
                .here(format!("{} of {}", row.cells.len(), t.columns.len()))
                .label(Local::Span(owner, t.head), names.join(", "))
                .help("write one cell for each column; `-` where there is no value"),
            );
            ok = false;
            continue;
        }
        for (k, cell) in row.cells.iter().enumerate() {
            let Some((def_ix, unit)) = &columns[k] else {
                continue;
            };
            let column = &def.columns[*def_ix];
            let value = match (&cell.kind, column.ty) {
                (CellKind::Absent, _) => Cell::Absent,
                (CellKind::Number(v), ColumnType::Quantity(_) | ColumnType::Signed(_)) => {
                    if matches!(column.ty, ColumnType::Quantity(_))
                        && *v < 0.0
                        && unit.as_ref().is_none_or(|u| u.offset() == 0.0)
                    {
                        cx.report(
                            Finding::new(
                                &codes::OUT_OF_RANGE,
                                Local::Span(owner, cell.span),
                                format!(
                                    "`{}` in `{}` must be zero or above",
                                    column.name, def.name
                                ),
                            )
                            .here("below zero"),
                        );
                        ok = false;
                    }
                    Cell::Number(unit.as_ref().map_or(*v, |u| u.to_si(*v)))
                }
                (CellKind::Text(s) | CellKind::Word(s), ColumnType::Text) => Cell::Text(s.clone()),
                (CellKind::Number(v), ColumnType::Text) => {
                    Cell::Text(crate::show::number_text(*v).into())
                }
                (CellKind::Text(_) | CellKind::Word(_), _) => {
                    cx.report(
                        Finding::new(
                            &codes::WRONG_TYPE,
                            Local::Span(owner, cell.span),
                            format!(
                                "`{}` in `{}` is a number, or `-` where there is none",
                                column.name, def.name
                            ),
                        )
                        .here("no number"),
                    );
                    ok = false;
                    Cell::Absent
                }
            };
            cells[k].push(value);
        }
    }
    if ok && def.rising {
        ok = rising(cx, owner, def, t, &columns, &cells);
    }
    if has_slip(&cx.item(owner), t.body) {
        // A row may be there that could not be read.
        ok = false;
    }
    if ok && t.rows.len() < def.least_rows {
        cx.report(
            Finding::new(
                &codes::TABLE_SHAPE,
                Local::Span(owner, t.body),
                format!(
                    "`{}` has {} rows; at least {} are needed",
                    def.name,
                    t.rows.len(),
                    def.least_rows
                ),
            )
            .here("too few rows"),
        );
        ok = false;
    }
    if !ok {
        return Ok(Value::Unknown);
    }
    let types = columns
        .iter()
        .flatten()
        .map(|(k, _)| def.columns[*k].ty)
        .collect();
    let columns = columns
        .into_iter()
        .zip(cells)
        .filter_map(|(c, cells)| c.map(|(k, unit)| (def.columns[k].name, unit, cells)))
        .collect();
    Ok(Value::Table(Arc::new(Table {
        at,
        columns,
        types,
        rows: t.rows.len(),
    })))
}

type ColumnUnits = Vec<Option<(usize, Option<Arc<cutwater_quantity::CompoundUnit>>)>>;

/// The first column must rise from row to row; says where it does not.
fn rising(
    cx: &mut Cx<'_>,
    owner: DeclId,
    def: &'static TableDef,
    t: &ast::Table,
    columns: &ColumnUnits,
    cells: &[Vec<Cell>],
) -> bool {
    let Some(k) = columns
        .iter()
        .position(|c| c.as_ref().is_some_and(|c| c.0 == 0))
    else {
        return true;
    };
    let name = def.columns[0].name;
    let mut before = f64::NEG_INFINITY;
    for (row, cell) in t.rows.iter().zip(&cells[k]) {
        let Cell::Number(v) = cell else {
            cx.report(
                Finding::new(
                    &codes::TABLE_SHAPE,
                    Local::Span(owner, row.span),
                    format!("each row of `{}` needs its {name}", def.name),
                )
                .here(format!("no {name}")),
            );
            return false;
        };
        if *v <= before {
            let f = Finding::new(
                &codes::NOT_RISING,
                Local::Span(owner, row.cells[k].span),
                format!("the rows of `{}` must go by rising {name}, but this one is not above the row before", def.name),
            )
            .here("not above the row before")
            .help("put the rows in order, or check the digits");
            let slot = cx.kind(owner).and_then(|(_, s)| s.find(def.name));
            cx.report(remedy::with(
                f,
                slot.and_then(|s| remedy::rows_in_order(owner, s)),
            ));
            return false;
        }
        before = *v;
    }
    true
}
