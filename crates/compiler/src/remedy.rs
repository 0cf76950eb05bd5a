//! What mends a finding about a value: the edits, their title, and how far they may be trusted.
//!
//! Each function looks at what is written and gives a remedy only where the text itself says what was meant. A
//! remedy is safe where there is one possible meaning; a slip of a digit that would explain the text as well makes it one
//! that needs a look. No remedy invents a fact: a value that must be given is put in as one that is itself a finding.

use crate::DeclId;
use crate::db::{Cx, Local};
use crate::schema::{FieldDef, Sign, TableDef, Type};
use crate::settings::Settings;
use crate::show::significant;
use crate::value::{Date, Quantity};
use cutwater_finding::{FileId, Finding, FixTier};
use cutwater_quantity::{CompoundUnit, Kind, parse_unit, preferred_unit};
use cutwater_syntax::ast::{Expr, ExprKind, Name, Number, Tolerance};
use cutwater_text::Span;
use smol_str::SmolStr;

/// Stands where a name or word must be given. Nothing has this name, so it is a finding wherever it stands.
pub(crate) const TO_BE_GIVEN: &str = "to_be_given";

/// A fix that is still to be put onto its finding.
pub(crate) struct Remedy {
    title: String,
    tier: FixTier,
    edits: Vec<(Local, String)>,
}

impl Remedy {
    /// A hint that is shown and never applied.
    pub fn hint(title: impl Into<String>, edits: Vec<(Local, String)>) -> Self {
        Self {
            tier: FixTier::ShowOnly,
            ..Self::look(title, edits)
        }
    }

    /// A remedy that needs a look.
    pub fn look(title: impl Into<String>, edits: Vec<(Local, String)>) -> Self {
        Self {
            title: title.into(),
            tier: FixTier::NeedsALook,
            edits,
        }
    }

    /// The same, safe where `safe` is set.
    fn safe_if(self, safe: bool) -> Self {
        let tier = if safe { FixTier::Safe } else { self.tier };
        Self { tier, ..self }
    }
}

/// The finding with its remedy, where there is one.
pub(crate) fn with(f: Finding<Local>, remedy: Option<Remedy>) -> Finding<Local> {
    match remedy {
        Some(r) => f.edits(r.title, r.tier, r.edits),
        None => f,
    }
}

/// The finding, asking whether the nearest name was meant that there is, with that name as its fix.
pub(crate) fn meant(mut f: Finding<Local>, place: Local, name: &str) -> Finding<Local> {
    f.message.push_str(&format!("; did you mean `{name}`?"));
    let title = format!("write `{name}`");
    f.help(title.clone())
        .fix(title, FixTier::NeedsALook, place, name)
}

/// A piece of an item's text. The caller has read the item, so an edit in it asks again.
fn written(cx: &Cx<'_>, owner: DeclId, span: Span) -> String {
    let db = cx.db();
    span.shift(db.chunk(owner).start)
        .slice(db.text(db.file_of(owner)))
        .to_owned()
}

/// How many digits stand behind the point of a number.
pub(crate) fn decimals(cx: &Cx<'_>, owner: DeclId, n: &Number) -> usize {
    let text = written(cx, owner, n.digits);
    match text.split_once('.') {
        Some((_, d)) => d.chars().take_while(char::is_ascii_digit).count(),
        // Fractions of an inch and whole numbers: to a thousandth.
        None => 3,
    }
}

/// Where a number with its unit ends, and both as written.
fn number_and_unit(cx: &Cx<'_>, owner: DeclId, n: &Number) -> (Span, String) {
    match &n.unit {
        Some(u) => (
            n.digits.join(u.span),
            format!("{} {}", written(cx, owner, n.digits), u.text),
        ),
        None => (n.digits, written(cx, owner, n.digits)),
    }
}

/// `(-0.001/+0.002)`: the deviations change places. Where the signs say which is the upper one, that is safe.
pub(crate) fn deviations_turned(cx: &Cx<'_>, owner: DeclId, t: &Tolerance) -> Option<Remedy> {
    let text = written(cx, owner, t.span);
    let inner = text.strip_prefix('(')?.strip_suffix(')')?;
    let unit = t.unit.as_ref().map(|u| u.text.as_str());
    let inner = inner.trim();
    let inner = unit
        .map_or(inner, |u| inner.strip_suffix(u).unwrap_or(inner))
        .trim();
    let (first, second) = inner.split_once('/')?;
    if second.contains('/') {
        // Fractions: which stroke parts the two is not plain.
        return None;
    }
    let signed = |s: &str| {
        let s = s.trim();
        match s.strip_prefix(['-', '\u{2212}']) {
            Some(rest) => format!("-{}", rest.trim()),
            None => format!("+{}", s.trim_start_matches('+').trim()),
        }
    };
    let new = format!(
        "({}/{}{})",
        signed(second),
        signed(first),
        unit.map_or_else(String::new, |u| format!(" {u}"))
    );
    Some(
        Remedy::look(
            format!("write `{new}`"),
            vec![(Local::Span(owner, t.span), new)],
        )
        .safe_if(t.plus <= 0.0 && t.minus >= 0.0),
    )
}

/// `5.502 ± 0.0005 in`: the unit goes behind the value. Safe where the value's place asks for such a unit.
pub(crate) fn unit_moved(
    cx: &Cx<'_>,
    owner: DeclId,
    n: &Number,
    t: &Tolerance,
    unit: &Name,
    want: Option<Kind>,
) -> Option<Remedy> {
    if n.unit.is_some() {
        return None;
    }
    let u = parse_unit(&unit.text).ok()?;
    let before = written(
        cx,
        owner,
        Span::new(t.span.start as usize, unit.span.start as usize),
    );
    let blanks = before.len() - before.trim_end().len();
    let deviations = before.trim_end().to_owned() + if before.starts_with('(') { ")" } else { "" };
    Some(
        Remedy::look(
            format!(
                "write `{} {} {deviations}`",
                written(cx, owner, n.digits),
                unit.text
            ),
            vec![
                (
                    Local::Span(owner, Span::at(n.digits.end as usize)),
                    format!(" {}", unit.text),
                ),
                (
                    Local::Span(
                        owner,
                        Span::new(unit.span.start as usize - blanks, unit.span.end as usize),
                    ),
                    String::new(),
                ),
            ],
        )
        .safe_if(want.is_some_and(|k| u.accepted_by(k).is_yes())),
    )
}

/// `0.007 .. 0.003 in`: the ends change places. A slip of a digit would look the same, so it needs a look.
pub(crate) fn ends_turned(cx: &Cx<'_>, owner: DeclId, lo: &Expr, hi: &Expr) -> Option<Remedy> {
    let (ExprKind::Number(a), ExprKind::Number(b)) = (&lo.kind, &hi.kind) else {
        return None;
    };
    let plain = |n: &Number| n.tolerance.is_none() && n.class.is_none();
    if !plain(a) || !plain(b) {
        return None;
    }
    // Each takes the other's unit along, but a unit said once stays where it is.
    let ((from, low), (to, high)) = if a.unit.is_some() && b.unit.is_some() {
        (number_and_unit(cx, owner, a), number_and_unit(cx, owner, b))
    } else if a.unit.is_none() {
        (
            (a.digits, written(cx, owner, a.digits)),
            (b.digits, written(cx, owner, b.digits)),
        )
    } else {
        return None;
    };
    let unit = match (&a.unit, &b.unit) {
        (None, Some(u)) => format!(" {}", u.text),
        _ => String::new(),
    };
    Some(Remedy::look(
        format!("write `{high} .. {low}{unit}`"),
        vec![
            (Local::Span(owner, from), high),
            (Local::Span(owner, to), low),
        ],
    ))
}

/// A date whose month and day are a day of the calendar the other way round.
pub(crate) fn month_and_day_turned(owner: DeclId, e: &Expr) -> Option<Remedy> {
    let ExprKind::Date { year, month, day } = e.kind else {
        return None;
    };
    let new = Date::new(year, day, month)?.to_string();
    Some(Remedy::look(
        format!("write `{new}`"),
        vec![(Local::Span(owner, e.span), new)],
    ))
}

/// A unit behind a number that takes none goes.
pub(crate) fn unit_taken_out(owner: DeclId, n: &Number) -> Option<Remedy> {
    let u = n.unit.as_ref()?;
    Some(Remedy::look(
        format!("take out `{}`", u.text),
        vec![(
            Local::Span(owner, Span::new(n.digits.end as usize, u.span.end as usize)),
            String::new(),
        )],
    ))
}

/// A plain number in another unit, with the value it has.
fn converted(
    owner: DeclId,
    e: &Expr,
    si: f64,
    unit: &str,
    from_si: impl Fn(f64) -> f64,
) -> Option<Remedy> {
    let ExprKind::Number(n) = &e.kind else {
        return None;
    };
    let plain = n.tolerance.is_none() && n.class.is_none();
    let u = n.unit.as_ref().filter(|_| plain)?;
    let new = format!("{} {unit}", significant(from_si(si)));
    Some(Remedy::look(
        format!("write `{new}`"),
        vec![(Local::Span(owner, n.digits.join(u.span)), new)],
    ))
}

/// A number in one gallon where the other counts: the same flow or volume in the other's unit.
pub(crate) fn same_gallon(
    owner: DeclId,
    e: &Expr,
    q: &Quantity,
    other: &Quantity,
) -> Option<Remedy> {
    let unit = other.unit.as_ref()?;
    if unit.kind() != q.kind || unit.gallon() == q.gallon {
        return None;
    }
    converted(owner, e, q.si(), unit.ascii(), |si| unit.from_si(si))
}

/// A vacuum reading where a gauge pressure is asked for, or the other way round: the sign turns.
pub(crate) fn sign_turned(
    owner: DeclId,
    e: &Expr,
    expected: Kind,
    unit: &CompoundUnit,
    settings: &Settings,
) -> Option<Remedy> {
    let ExprKind::Number(n) = &e.kind else {
        return None;
    };
    let to = preferred_unit(expected, settings.units)?;
    converted(owner, e, -unit.to_si(n.value), to.ascii, |si| {
        to.from_si(si)
    })
}

/// The one declaration of a file that is of one of these kinds.
fn the_only(cx: &mut Cx<'_>, file: FileId, kinds: &[&str]) -> Option<SmolStr> {
    let mut found = None;
    for name in cx.names_in(file) {
        let Some(d) = cx.lookup(file, &name) else {
            continue;
        };
        if d != cx.me && kinds.contains(&cx.kind_word(d)) {
            if found.is_some() {
                return None;
            }
            found = Some(name);
        }
    }
    found.filter(|n| !n.starts_with('@'))
}

/// ` of main`, where there is one declaration it can be of.
pub(crate) fn of_the_only(
    cx: &mut Cx<'_>,
    d: DeclId,
    kinds: &[&str],
    after: Span,
) -> Option<Remedy> {
    let name = the_only(cx, cx.file_of(d), kinds)?;
    Some(Remedy::look(
        format!("put in `of {name}`"),
        vec![(
            Local::Span(d, Span::at(after.end as usize)),
            format!(" of {name}"),
        )],
    ))
}

/// A field that must be there, put in at the end of its block. Its value is the only one there is, or stands for one
/// that a person must give: of the right form and unit, and such that it is a finding itself.
pub(crate) fn field_put_in(cx: &mut Cx<'_>, d: DeclId, body: Span, f: &FieldDef) -> Option<Remedy> {
    let only = match f.ty {
        Type::Ref(kinds) => the_only(cx, cx.file_of(d), kinds),
        _ => None,
    };
    let (value, rest) = match only {
        Some(name) => (name.to_string(), ""),
        None => (stand_in(f.ty, &cx.settings())?, ", to be filled in"),
    };
    let entry = format!("{} = {value}", f.name);
    Some(Remedy::look(
        format!("put in `{entry}`{rest}"),
        vec![(Local::NewEntry(d, body), entry)],
    ))
}

fn stand_in(ty: Type, settings: &Settings) -> Option<String> {
    let unit = |k| preferred_unit(k, settings.units).map_or("", |u| u.ascii);
    let amount = |n: &str, k| format!("{n} {}", unit(k)).trim_end().to_owned();
    Some(match ty {
        Type::Quantity(k, Sign::Positive) => amount("0", k),
        Type::Quantity(k, Sign::NotNegative) => amount("-1", k),
        Type::Count(least, _) if least > 0 => "0".to_owned(),
        Type::Date => "0000-00-00".to_owned(),
        Type::Phrase(parts) => parts
            .iter()
            .filter(|p| !p.optional)
            .map(|p| {
                format!("{} {}", p.word, amount("0", p.kind))
                    .trim()
                    .to_owned()
            })
            .collect::<Vec<_>>()
            .join(" "),
        Type::Piece(_) => format!("{} of {TO_BE_GIVEN}", amount("0", Kind::Length)),
        // Any sign is right, or it is no number at all: only a name that nothing has is a finding.
        Type::Quantity(_, Sign::Any)
        | Type::Range(_)
        | Type::Choice(_)
        | Type::Ref(_)
        | Type::RefList(_) => TO_BE_GIVEN.to_owned(),
        Type::Text | Type::Count(..) | Type::Any | Type::Truth | Type::Record => return None,
    })
}

/// A table that must be there: its head, with no rows yet.
pub(crate) fn table_put_in(cx: &Cx<'_>, d: DeclId, body: Span, t: &TableDef) -> Option<Remedy> {
    use crate::schema::ColumnType;
    // Without a row too few it would be no finding.
    if t.least_rows == 0 {
        return None;
    }
    let units = cx.settings().units;
    let unit = |k| preferred_unit(k, units).map_or("", |u| u.ascii);
    let at = match &t.at {
        Some((_, k, true)) => format!(" at 0 {}", unit(*k)),
        _ => String::new(),
    };
    let columns: Vec<String> = t
        .columns
        .iter()
        .filter(|c| c.required)
        .map(|c| match c.ty {
            ColumnType::Quantity(k) | ColumnType::Signed(k) => {
                format!("{} {}", c.name, unit(k)).trim_end().to_owned()
            }
            ColumnType::Text => c.name.to_owned(),
        })
        .collect();
    let entry = format!("{}{} ({}) {{}}", t.name, at.trim_end(), columns.join(", "));
    Some(Remedy::look(
        format!("put in `{}`, to be filled in", t.name),
        vec![(Local::NewEntry(d, body), entry)],
    ))
}

/// An entry taken out with its line.
pub(crate) fn entry_taken_out(d: DeclId, entry: Span, title: &str) -> Option<Remedy> {
    Some(Remedy::look(
        title,
        vec![(Local::Entry(d, entry), String::new())],
    ))
}

/// A `use` that nothing needs, taken out with its line: nothing else changes.
pub(crate) fn use_taken_out(d: DeclId) -> Remedy {
    Remedy::look("take out this `use`", vec![(Local::Item(d), String::new())]).safe_if(true)
}

/// A word in quotes where the plain word is meant.
pub(crate) fn quotes_taken_off(owner: DeclId, e: &Expr, word: &str) -> Option<Remedy> {
    Some(
        Remedy::look(
            format!("write `{word}`"),
            vec![(Local::Span(owner, e.span), word.to_owned())],
        )
        .safe_if(true),
    )
}

/// The rows of a table put in order.
pub(crate) fn rows_in_order(d: DeclId, slot: u16) -> Option<Remedy> {
    Some(Remedy::look(
        "put the rows in order",
        vec![(Local::Rows(d, slot), String::new())],
    ))
}
