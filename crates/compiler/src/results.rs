//! What was computed, as rows: the one form behind `solve`, JSON and inlay hints.

use crate::DeclId;
use crate::budget::{self, Contributor};
use crate::db::Db;
use crate::schema::{ComputedDef, Slot};
use crate::settings::Settings;
use crate::show;
use crate::value::{Quantity, Value};
use cutwater_finding::{FileId, Place};
use cutwater_quantity::{Kind, display_as, preferred_unit};

/// One computed result.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The path a spec would use: `intake_ring.clearance`, `attack.left.flow`.
    pub path: String,
    /// Its value.
    pub value: Shown,
    /// Where it comes from: stated, measured, computed, assumed, predicted.
    pub origin: &'static str,
    /// What it means.
    pub doc: &'static str,
    /// The formula.
    pub formula: &'static str,
    /// The formula's source.
    pub source: &'static str,
    /// The tolerance class it was written with, where it was: `H7`.
    pub class: Option<String>,
    /// The toleranced dimensions it comes from, largest first, where there are several.
    pub contributors: Vec<Contributor>,
    /// Whether an editor shows it beside the declaration.
    pub hint: bool,
    /// The declaration it belongs to.
    pub decl: DeclId,
    /// The place of that declaration's head.
    pub place: Place,
}

/// A value in the unit it is shown in.
#[derive(Clone, Debug, PartialEq)]
pub enum Shown {
    /// A number.
    Number {
        /// Nominal value in `unit`.
        value: f64,
        /// The unit's symbol; empty for a count or ratio.
        unit: String,
        /// Worst-case limits in `unit`, where the value has a tolerance.
        limits: Option<(f64, f64)>,
        /// Root-sum-square limits in `unit`, where the value has a tolerance.
        spread: Option<(f64, f64)>,
        /// The whole in words.
        text: String,
    },
    /// A word, text, date or yes/no.
    Word(String),
}

impl Shown {
    /// The value in words.
    pub fn text(&self) -> &str {
        match self {
            Shown::Number { text, .. } => text,
            Shown::Word(w) => w,
        }
    }
}

/// The settled results of a declaration, in the order of its kind's table.
pub fn of_decl(db: &Db, d: DeclId) -> Vec<Row> {
    let mut out = Vec::new();
    let Some((_, slots)) = db.kind(d) else {
        return out;
    };
    if db.is_pattern(d) || db.is_function(d) {
        return out;
    }
    let name = db.name(d).map_or("", |n| n.trim_start_matches('@'));
    for (k, (slot_name, slot)) in slots.list.iter().enumerate() {
        let path = if name.is_empty() {
            String::new()
        } else {
            format!("{name}.{slot_name}")
        };
        match slot {
            Slot::Computed(c) if !name.is_empty() => {
                if let Some(v) = db.settled(d, k as u16) {
                    rows(db, d, c, path, v, c.hint, &mut out);
                }
            }
            // A named value is a result too.
            Slot::Field(_) if slots.list.len() == 1 && slot_name == "value" => {
                if let Some(v) = db.settled(d, k as u16) {
                    rows(db, d, &LET_VALUE, name.to_owned(), v, true, &mut out);
                }
            }
            _ => {}
        }
    }
    out
}

static LET_VALUE: ComputedDef = ComputedDef {
    name: "value",
    ty: crate::schema::Type::Any,
    doc: "A named value.",
    formula: "",
    source: "",
    solved: false,
    hint: true,
    eval: |_, _| Ok(Value::Absent),
};

/// The settled results of a file, in the order of its declarations.
pub fn of_file(db: &Db, file: FileId) -> Vec<Row> {
    db.decls(file)
        .iter()
        .flat_map(|d| of_decl(db, *d))
        .collect()
}

fn rows(
    db: &Db,
    d: DeclId,
    def: &'static ComputedDef,
    path: String,
    v: &Value,
    hint: bool,
    out: &mut Vec<Row>,
) {
    let settings = db.settings_of(db.file_of(d));
    let mut push = |path: String, value: Shown, origin: &'static str| {
        let quantity = match v {
            Value::Quantity(q) => Some(q),
            _ => None,
        };
        // A dimension by itself says it all.
        let contributors = match quantity {
            Some(q) if q.value.inputs().nth(1).is_some() => {
                budget::contributors(db, &q.value, db.file_of(d))
            }
            _ => Vec::new(),
        };
        out.push(Row {
            path,
            value,
            origin,
            class: quantity
                .and_then(|q| q.fit)
                .map(|fit| fit.class.to_string()),
            contributors,
            doc: def.doc,
            formula: def.formula,
            source: def.source,
            hint,
            decl: d,
            place: db.resolve(&crate::Local::Head(d)),
        });
    };
    match v {
        Value::Quantity(q) => push(path, quantity(settings, q), q.origin.word()),
        Value::Choice(w) => push(path, Shown::Word((*w).to_owned()), "computed"),
        Value::Text(t) => push(path, Shown::Word(t.to_string()), "computed"),
        Value::Date(t) => push(path, Shown::Word(t.to_string()), "stated"),
        Value::Period(from, to) => {
            push(path, Shown::Word(format!("{from} .. {to}")), "stated");
        }
        Value::Truth(t) => push(
            path,
            Shown::Word(if *t { "yes" } else { "no" }.to_owned()),
            "computed",
        ),
        Value::Range(r) => push(path, Shown::Word(show::range(r, settings)), "computed"),
        Value::Phrase(parts) => {
            for (name, q) in parts.iter() {
                push(
                    format!("{path}.{name}"),
                    quantity(settings, q),
                    q.origin.word(),
                );
            }
        }
        Value::Record(r) => {
            for (name, v) in &r.fields {
                if name != "name" {
                    rows(db, d, def, format!("{path}.{name}"), v, false, out);
                }
            }
        }
        Value::List(items) => {
            for (k, item) in items.iter().enumerate() {
                let name = match item {
                    Value::Record(r) => r.name(),
                    _ => None,
                };
                let path = match name {
                    // Stations and pumps go by their own names: `attack.left.flow`.
                    Some(name) => {
                        let base = path
                            .strip_suffix(".stations")
                            .or(path.strip_suffix(".pumps"));
                        let base = base.unwrap_or(&path);
                        format!("{base}.{name}")
                    }
                    None => format!("{path}[{}]", k + 1),
                };
                rows(db, d, def, path, item, false, out);
            }
        }
        Value::Unknown
        | Value::Absent
        | Value::Decl(_)
        | Value::Piece(_)
        | Value::Table(_)
        | Value::Solution(_) => {}
    }
}

/// A quantity in the unit it was written in, or the one the settings prefer.
pub fn quantity(settings: &Settings, q: &Quantity) -> Shown {
    let own = q
        .unit
        .as_ref()
        .filter(|u| u.kind().dimension() == q.kind.dimension() && !q.kind.is_dimensionless());
    let text = show::with_limits(q, settings);
    let spread = q.value.is_toleranced().then(|| q.value.rss());
    let (symbol, convert): (String, Box<dyn Fn(f64) -> f64>) = match own {
        Some(u) => {
            let u = u.clone();
            (u.symbol().to_owned(), Box::new(move |si| u.from_si(si)))
        }
        None => match unit_of(q.si(), q.kind, settings) {
            Some(u) => (u.symbol.to_owned(), Box::new(|si| u.from_si(si))),
            None => (String::new(), Box::new(|si| si)),
        },
    };
    Shown::Number {
        value: convert(q.fit.map_or(q.si(), |fit| fit.nominal)),
        unit: symbol,
        limits: q
            .value
            .is_toleranced()
            .then(|| (convert(q.value.lo()), convert(q.value.hi()))),
        spread: spread.map(|s| (convert(s.low), convert(s.high))),
        text,
    }
}

fn unit_of(si: f64, kind: Kind, settings: &Settings) -> Option<&'static cutwater_quantity::Unit> {
    let shown = display_as(
        si,
        kind,
        cutwater_quantity::unit_for(si, kind, settings.units),
    );
    cutwater_quantity::unit(&shown.unit).or_else(|| preferred_unit(kind, settings.units))
}
