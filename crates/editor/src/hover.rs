//! What is shown when the pointer rests on something, in Markdown.
//!
//! The texts come from the schema, the table of units and the spec's own `///` lines; the numbers from what is
//! settled. Where a value waits for a solved duty, the text says so.

use crate::at::{
    Spot, Target, Thing, find_item, inherited, like_base, parameter, parameters, resolve,
    resolve_element, spot, table_of, used_file, written,
};
use cutwater_compiler::iso286::{Class, Feature};
use cutwater_compiler::schema::{
    ColumnType, FieldDef, GroupDef, KindDef, Need, Sign, Slot, Slots, TableDef, Type,
};
use cutwater_compiler::value::{Quantity, Value};
use cutwater_compiler::{Db, DeclId, budget, eval, library, results, schema, show};
use cutwater_finding::FileId;
use cutwater_quantity::{Kind, UnitSystem, display, parse_unit};
use cutwater_syntax::Parsed;
use cutwater_syntax::ast::{ExprKind, ItemKind};
use cutwater_syntax::token::{T, lex};
use cutwater_syntax::words::Key;
use cutwater_text::Span;

/// Most contributors listed for one value.
const MOST_CONTRIBUTORS: usize = 6;
/// Most results listed for one declaration.
const MOST_RESULTS: usize = 24;

/// A text for what stands at an offset.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Hover {
    /// What it is about, in the file.
    pub span: Span,
    /// Markdown.
    pub text: String,
}

/// What there is to say about what stands at an offset.
pub fn hover(db: &Db, file: FileId, offset: usize) -> Option<Hover> {
    let Some(Spot {
        decl,
        slot,
        thing,
        span,
    }) = spot(db, file, offset)
    else {
        return keyword(db, file, offset);
    };
    let kind = db.kind(decl);
    let text = match &thing {
        Thing::KindWord(w) => kind_word(w)?,
        Thing::DeclName => item(db, decl),
        Thing::Field(name) => match slot {
            Some(s) => slot_text(db, decl, s)?,
            None => {
                let (k, _) = kind?;
                format!("`{}` has no field `{name}`.", k.word)
            }
        },
        Thing::Group(name) => group(kind?.0.groups.iter().find(|g| g.name == name)?),
        Thing::Table(name) => table(table_of(kind, name)?),
        Thing::Column(t, name) => {
            let c = table_of(kind, t)?.columns.iter().find(|c| c.name == name)?;
            format!("**{}** — {}\n\n{}", c.name, column_type(c.ty), c.doc)
        }
        Thing::Unit(u) => unit(u)?,
        Thing::Class(text, size) => class(text, *size)?,
        Thing::Number | Thing::Literal => value_block(db, file, db.settled(decl, slot?)?)?,
        Thing::Name { path, index, decls } => {
            target(db, file, &resolve(db, decl, path, *index, *decls)?)?
        }
        Thing::Choice(word) => {
            let Some((_, Slot::Field(f) | Slot::GroupField(_, f))) =
                kind.and_then(|(_, s)| s.list.get(slot? as usize))
            else {
                return None;
            };
            let Type::Choice(words) = f.ty else {
                return None;
            };
            let (w, doc) = words.iter().find(|w| w.0 == word)?;
            format!("**{w}** — {doc}")
        }
        Thing::Function(name) => {
            let (_, form, doc) = eval::FUNCTIONS.iter().find(|f| f.0 == name)?;
            format!("`{form}`\n\n{doc}")
        }
        Thing::Element { list, steps } => {
            target(db, file, &resolve_element(db, decl, list, steps)?)?
        }
        Thing::Parameter(name) => target(db, file, &parameter(db, decl, name)?)?,
        Thing::Argument(name) => target(db, file, &parameter(db, like_base(db, decl)?, name)?)?,
        Thing::UsePath(_) => file_text(db, used_file(db, decl)?),
        Thing::Station(label) => format!(
            "**{label}** — a station of {}. Other chains and duties speak of it by this name.",
            named(db, decl)
        ),
        Thing::Modifier(word) => word_of_grammar(word)?,
    };
    Some(Hover { span, text })
}

/// A word of the grammar that stands for nothing else here.
fn keyword(db: &Db, file: FileId, offset: usize) -> Option<Hover> {
    let text = db.text(file);
    let raw = lex(text)
        .into_iter()
        .find(|t| t.kind == T::Word && t.span.range().contains(&offset))?;
    let text = word_of_grammar(raw.span.slice(text))?;
    Some(Hover {
        span: raw.span,
        text,
    })
}

fn word_of_grammar(word: &str) -> Option<String> {
    let w = Key::of(word).word().filter(|w| !w.form.is_empty())?;
    Some(format!("`{}`\n\n{}", w.form, w.doc))
}

fn kind_word(word: &str) -> Option<String> {
    let Some((k, _)) = schema::kind(word) else {
        return word_of_grammar(word);
    };
    let mut out = format!("**{}**\n\n{}", k.word, k.doc);
    let list = |title: &str, names: Vec<String>, out: &mut String| {
        if !names.is_empty() {
            out.push_str(&format!("\n\n{title}: {}", names.join(", ")));
        }
    };
    let code = |n: &str| format!("`{n}`");
    list(
        "Required",
        k.fields
            .iter()
            .filter(|f| f.need == Need::Required)
            .map(|f| code(f.name))
            .chain(k.tables.iter().filter(|t| t.required).map(|t| code(t.name)))
            .collect(),
        &mut out,
    );
    if k.word != cutwater_compiler::kinds::LET.word {
        list(
            "Computed",
            k.computed.iter().map(|c| code(c.name)).collect(),
            &mut out,
        );
    }
    Some(out)
}

/// Kind and name of an item: "pump `main`".
fn named(db: &Db, d: DeclId) -> String {
    let kind = db.kind(d).map_or("item", |k| k.0.word);
    match db.name(d) {
        Some(n) if !n.starts_with('@') => format!("{kind} `{n}`"),
        _ => kind.to_owned(),
    }
}

/// An item: its head, its own words, its results.
fn item(db: &Db, d: DeclId) -> String {
    let parsed = db.parsed(d);
    if let ItemKind::Use { path, .. } = &parsed.item.kind {
        return match used_file(db, d) {
            Some(f) => file_text(db, f),
            None => format!("`{}` is not there.", path.text),
        };
    }
    let mut out = format!("**{}**", named(db, d));
    let file = db.file_of(d);
    if db.is_library(file) {
        out.push_str(" of the standard library");
    }
    let doc = parsed.item.doc.trim();
    if !doc.is_empty() {
        out.push_str("\n\n");
        out.push_str(doc);
    }
    if let ItemKind::Let { .. } = &parsed.item.kind {
        let source = db.chunk(d).slice(db.text(file));
        out.push_str(&code_block(parsed.item.span.slice(source)));
        if db.is_function(d) {
            return out;
        }
        if let Some(v) = db
            .settled(d, 0)
            .and_then(|v| value_block(db, db.file_of(d), v))
        {
            out.push_str("\n\n");
            out.push_str(&v);
        }
        return out;
    }
    // A library item was never evaluated for its own sake; what it says is its text.
    if let ItemKind::Decl(x) = &parsed.item.kind
        && db.is_library(file)
        && x.body.len() < 1200
    {
        let source = db.chunk(d).slice(db.text(file));
        out.push_str(&code_block(parsed.item.span.slice(source)));
    }
    if db.is_pattern(d) {
        let name = db.name(d).map_or("", |n| n.as_str());
        out.push_str(&format!(
            "\n\nA pattern, and no part itself: filled in by `like {}`.",
            signature(&parsed, name)
        ));
    }
    out.push_str(&inheritance(db, d));
    let rows = results::of_decl(db, d);
    for r in rows.iter().take(MOST_RESULTS) {
        let lead = if std::ptr::eq(r, &rows[0]) {
            "\n\n"
        } else {
            "\n"
        };
        out.push_str(&format!(
            "{lead}- `{}` = {} ({})",
            r.path,
            r.value.text(),
            r.origin
        ));
    }
    if rows.len() > MOST_RESULTS {
        out.push_str(&format!("\n- … and {} more", rows.len() - MOST_RESULTS));
    }
    out
}

/// A name with its parameters, where it has some: `gap(bore, hub)`.
pub(crate) fn signature(parsed: &Parsed, name: &str) -> String {
    let takes = match &parsed.item.kind {
        ItemKind::Let { parameters, .. } => parameters.is_some(),
        ItemKind::Decl(d) => d.parameters.is_some(),
        _ => false,
    };
    if !takes {
        return name.to_owned();
    }
    let list: Vec<&str> = parameters(parsed)
        .iter()
        .map(|p| p.0.text.as_str())
        .collect();
    format!("{name}({})", list.join(", "))
}

/// What a declaration takes over from which other.
fn inheritance(db: &Db, d: DeclId) -> String {
    let (Some(_), Some((kind, slots))) = (like_base(db, d), db.kind(d)) else {
        return String::new();
    };
    let mut from: Vec<(DeclId, Vec<String>)> = Vec::new();
    for (name, slot) in &slots.list {
        if matches!(slot, Slot::Computed(_)) {
            continue;
        }
        let Some(owner) = inherited(db, d, name) else {
            continue;
        };
        let k = slots.find(name);
        let left_out = kind.only_of(name).is_some()
            && matches!(k.and_then(|k| db.settled(d, k)), Some(Value::Absent));
        let shown = if left_out {
            format!("`{name}` (left out: it does not go with this form)")
        } else {
            format!("`{name}`")
        };
        match from.iter_mut().find(|f| f.0 == owner) {
            Some(f) => f.1.push(shown),
            None => from.push((owner, vec![shown])),
        }
    }
    let mut out = String::new();
    for (owner, names) in from {
        out.push_str(&format!(
            "\n\nInherits {} from {}.",
            names.join(", "),
            named(db, owner)
        ));
    }
    out
}

fn code_block(text: &str) -> String {
    format!("\n\n```pump\n{}\n```", text.trim_end())
}

fn file_text(db: &Db, file: FileId) -> String {
    let mut out = format!("**{}**", db.path(file));
    let doc: Vec<String> = db
        .decls(file)
        .first()
        .map(|d| db.parsed(*d).file_doc.clone())
        .filter(|d| !d.trim().is_empty())
        .into_iter()
        .collect();
    for d in doc {
        out.push_str("\n\n");
        out.push_str(d.trim());
    }
    let mut names: Vec<&str> = db
        .names_in(file)
        .map(|n| n.0.as_str())
        .filter(|n| !n.starts_with('@'))
        .collect();
    names.sort_unstable();
    if !names.is_empty() {
        let shown: Vec<String> = names.iter().take(30).map(|n| format!("`{n}`")).collect();
        let more = if names.len() > 30 { ", …" } else { "" };
        out.push_str(&format!("\n\nDeclares {}{more}", shown.join(", ")));
    }
    out
}

fn group(g: &GroupDef) -> String {
    let mut out = format!("**{}** {{ … }}\n\n{}\n", g.name, g.doc);
    for f in g.fields {
        out.push_str(&format!("\n- `{}` — {}", f.name, f.doc));
    }
    out
}

fn table(t: &TableDef) -> String {
    let mut out = format!("**{}** — a table\n\n{}", t.name, t.doc);
    if let Some((what, kind, must)) = t.at {
        out.push_str(&format!(
            "\n\n`at` {}: {what} ({})",
            if must {
                "must be given"
            } else {
                "may be given"
            },
            kind.name()
        ));
    }
    out.push('\n');
    for c in t.columns {
        out.push_str(&format!(
            "\n- `{}`{} — {} ({})",
            c.name,
            if c.required { "" } else { ", optional" },
            c.doc,
            column_type(c.ty)
        ));
    }
    out
}

fn column_type(ty: ColumnType) -> String {
    match ty {
        ColumnType::Quantity(k) | ColumnType::Signed(k) => k.name().into_owned(),
        ColumnType::Text => "text".to_owned(),
    }
}

/// What a field takes, in words.
pub(crate) fn type_text(ty: Type) -> String {
    let one_of = |kinds: &[&str]| kinds.join(" or ");
    match ty {
        Type::Quantity(k, sign) => {
            let sign = match sign {
                Sign::Positive => ", above zero",
                Sign::NotNegative => ", zero or above",
                Sign::Any => "",
            };
            format!("{}{sign}", k.name())
        }
        Type::Range(k) => format!("range of {}", k.name()),
        Type::Count(a, b) => format!("whole number, {a} to {b}"),
        Type::Text => "text".to_owned(),
        Type::Date => "date".to_owned(),
        Type::Choice(words) => {
            let words: Vec<&str> = words.iter().map(|w| w.0).collect();
            format!("one of {}", words.join(", "))
        }
        Type::Ref(kinds) => format!("the name of {}", show::article(&one_of(kinds))),
        Type::RefList(kinds) => format!("a list of names of {}", one_of(kinds)),
        Type::Piece(kinds) => format!("a length of {}", one_of(kinds)),
        Type::Phrase(parts) => {
            let mut out = String::new();
            for p in parts {
                if !out.is_empty() {
                    out.push_str(&format!(" {} ", p.word));
                }
                out.push_str(&p.kind.name());
            }
            out
        }
        Type::Any => "any value".to_owned(),
        Type::Truth => "yes or no".to_owned(),
        Type::Record => "a set of values".to_owned(),
    }
}

fn field_head(name: &str, f: &FieldDef) -> String {
    let mut need = match f.need {
        Need::Required => "required".to_owned(),
        Need::Optional => "optional".to_owned(),
        Need::Default(text, why) => format!("otherwise {text} ({why})"),
    };
    if f.own {
        need.push_str("; ");
        need.push_str(schema::OWN);
    }
    format!("**{name}** — {}; {need}\n\n{}", type_text(f.ty), f.doc)
}

/// What a field, table or computed property of a kind means, whichever declaration it is of.
fn slot_head(kind: &KindDef, name: &str, def: &Slot) -> String {
    match def {
        Slot::Field(f) | Slot::GroupField(_, f) => field_head(name, f),
        Slot::Table(t) => table(t),
        Slot::Computed(c) => {
            let mut s = format!("**{name}** of {} — computed\n\n{}", kind.word, c.doc);
            if !c.formula.is_empty() {
                s.push_str(&code_block(&format!("{name} = {}", c.formula)));
            }
            if !c.source.is_empty() {
                s.push_str(&format!("\n\nSource: {}", c.source));
            }
            s
        }
    }
}

/// A field, table or computed property of an item: what it means and its value.
fn slot_text(db: &Db, d: DeclId, slot: u16) -> Option<String> {
    let (kind, slots): (&KindDef, &Slots) = db.kind(d)?;
    let (name, def) = slots.list.get(slot as usize)?;
    let mut out = slot_head(kind, name, def);
    if let Some(only) = kind.only_of(name.split('.').next().unwrap_or(name)) {
        out.push_str(&format!("\n\nOnly with {}.", only.wanted()));
    }
    if let Some(owner) = inherited(db, d, name) {
        out.push_str(&format!("\n\nInherited from {}.", named(db, owner)));
    }
    let parsed = db.parsed(d);
    if let Some(e) = written(&parsed, name)
        && !e.doc.trim().is_empty()
    {
        out.push_str("\n\n");
        out.push_str(e.doc.trim());
    }
    if !matches!(def, Slot::Table(_)) {
        match db.settled(d, slot) {
            Some(v) => {
                if let Some(v) = value_block(db, db.file_of(d), v) {
                    out.push_str("\n\n");
                    out.push_str(&v);
                }
            }
            None if matches!(def, Slot::Computed(c) if c.solved) => {
                out.push_str("\n\nStill being solved.");
            }
            None => {}
        }
    }
    if let Slot::Computed(c) = def {
        let used = operands(db, d, slots, c.formula, name);
        if !used.is_empty() {
            out.push_str("\n\nwith\n");
            out.push_str(&used);
        }
    }
    Some(out)
}

/// The item's own values that a formula names, each with its number.
fn operands(db: &Db, d: DeclId, slots: &Slots, formula: &str, own: &str) -> String {
    let mut seen: Vec<&str> = Vec::new();
    let mut out = String::new();
    for word in formula.split(|c: char| !(c.is_alphanumeric() || c == '_' || c == '.')) {
        let word = word.trim_matches('.');
        if word == own || seen.contains(&word) {
            continue;
        }
        let Some(slot) = slots.find(word) else {
            continue;
        };
        if let Some(Value::Quantity(q)) = db.settled(d, slot) {
            seen.push(word);
            out.push_str(&format!(
                "\n- `{word}` = {} ({})",
                show::with_limits(q, db.settings_of(db.file_of(d))),
                q.origin.word()
            ));
        }
    }
    out
}

fn target(db: &Db, file: FileId, t: &Target) -> Option<String> {
    match t {
        Target::Item(d) => Some(item(db, *d)),
        Target::Slot(d, slot) => {
            let head = match db.name(*d) {
                Some(n) if !n.starts_with('@') => format!("\n\nof {}", named(db, *d)),
                _ => String::new(),
            };
            Some(slot_text(db, *d, *slot)? + &head)
        }
        Target::Group(_, g) => Some(group(g)),
        Target::File(f) => Some(file_text(db, *f)),
        Target::Library => Some(format!(
            "**{}** — the standard library: hose, nozzles, appliances, suction hose, materials and test procedures.",
            library::NAME
        )),
        Target::Parameter(d, span) => {
            let parsed = db.parsed(*d);
            let source = db.chunk(*d).slice(db.text(db.file_of(*d)));
            let what = if db.is_function(*d) {
                "function"
            } else {
                "pattern"
            };
            let name = db.name(*d).map_or("", |n| n.as_str());
            let list = parameters(&parsed);
            let default = list.iter().find(|p| p.0.span == *span).and_then(|p| p.1);
            let otherwise = match default {
                Some(v) => format!("; otherwise `{}`", v.slice(source)),
                None => String::new(),
            };
            Some(format!(
                "**{}** — a parameter of the {what} `{}`{otherwise}",
                span.slice(source),
                signature(&parsed, name)
            ))
        }
        Target::Station(lay, span, values) => {
            let source = db.chunk(*lay).slice(db.text(db.file_of(*lay)));
            let mut out = format!(
                "**{}** — a station of {}",
                span.slice(source),
                named(db, *lay)
            );
            if let Some(v) = values.as_ref().and_then(|v| value_block(db, file, v)) {
                out.push_str("\n\n");
                out.push_str(&v);
            }
            Some(out)
        }
        Target::Part(v) => value_block(db, file, v.as_ref()?),
        Target::Each(_, _, k) => Some(format!("each **{}** in turn\n\n{}", k.word, k.doc)),
        Target::EachSlot(k, slot) => {
            let (_, slots) = schema::kind(k.word)?;
            let (name, def) = slots.list.get(*slot as usize)?;
            Some(slot_head(k, name, def))
        }
    }
}

/// A value: nominal, worst case, root-sum-square, and in the other unit system.
fn value_block(db: &Db, file: FileId, v: &Value) -> Option<String> {
    let settings = db.settings_of(file);
    match v {
        Value::Quantity(q) => Some(quantity(db, file, q)),
        Value::Range(r) => Some(format!("**{}**", show::range(r, settings))),
        Value::Phrase(parts) => {
            let lines: Vec<String> = parts
                .iter()
                .map(|(n, q)| format!("- {n}: {}", show::with_limits(q, settings)))
                .collect();
            Some(lines.join("\n"))
        }
        Value::Text(t) => Some(format!("“{t}”")),
        Value::Date(t) => Some(format!("**{t}**")),
        Value::Period(from, to) => Some(format!("**{from} .. {to}**")),
        Value::Choice(w) => Some(format!("**{w}**")),
        Value::Truth(t) => Some(format!("**{}**", if *t { "yes" } else { "no" })),
        Value::Decl(d) => Some(named(db, *d)),
        Value::Piece(p) => Some(format!(
            "**{}** of {}",
            show::with_limits(&p.length, settings),
            named(db, p.of)
        )),
        Value::Record(r) => {
            let lines: Vec<String> = r
                .fields
                .iter()
                .filter(|(n, _)| n != "name")
                .filter_map(|(n, v)| match v {
                    Value::Quantity(q) => {
                        Some(format!("- {n}: {}", show::with_limits(q, settings)))
                    }
                    Value::Choice(w) => Some(format!("- {n}: {w}")),
                    Value::Text(t) => Some(format!("- {n}: {t}")),
                    _ => None,
                })
                .collect();
            (!lines.is_empty()).then(|| lines.join("\n"))
        }
        Value::List(items) => Some(format!("{} in the list", items.len())),
        Value::Unknown => Some("Not known: something it needs is wrong.".to_owned()),
        Value::Absent | Value::Table(_) | Value::Solution(_) => None,
    }
}

fn quantity(db: &Db, file: FileId, q: &Quantity) -> String {
    let settings = db.settings_of(file);
    let own = show::quantity(q, settings);
    let equals = match q.fit {
        Some(_) => format!(
            " = {}",
            show::limits(&q.value, q.kind, q.unit.as_ref(), settings)
        ),
        None => String::new(),
    };
    let mut out = format!("**{own}**{equals} ({}, {})", q.kind.name(), q.origin.word());
    if q.value.is_toleranced() {
        out.push_str(&format!(
            "\n\n- worst case: {}",
            show::limits(&q.value, q.kind, q.unit.as_ref(), settings)
        ));
        out.push_str(&format!(
            "\n- root-sum-square: {}",
            show::spread(&q.value, q.kind, q.unit.as_ref(), settings)
        ));
        let from = budget::contributors(db, &q.value, file);
        if from.len() > 1 {
            out.push_str("\n\nfrom\n");
            for c in from.iter().take(MOST_CONTRIBUTORS) {
                out.push_str(&format!("\n- `{}`: {}", c.path, c.text()));
            }
            if from.len() > MOST_CONTRIBUTORS {
                out.push_str(&format!(
                    "\n- … and {} more",
                    from.len() - MOST_CONTRIBUTORS
                ));
            }
        }
    }
    if let Some(other) = elsewhere(q.si(), q.kind, settings.units)
        && other != own
    {
        out.push_str(&format!("\n\n= {other}"));
    }
    out
}

/// A tolerance class: what its letter and number say, and its limits for the size it stands behind.
fn class(text: &str, size: Option<f64>) -> Option<String> {
    let class: Class = text.parse().ok()?;
    let mut out = format!(
        "**{class}** — a tolerance class for {}, with the fundamental deviation {} and the grade IT{}",
        match class.feature() {
            Feature::Hole => "holes and other inside sizes",
            Feature::Shaft => "shafts and other outside sizes",
        },
        class.letters(),
        class.grade()
    );
    if let Some(size) = size
        && let Ok(limits) = class.deviations(size)
    {
        let micrometres = |m: f64| {
            let um = m * 1e6;
            let um = show::number_text((um * 10.0).round() / 10.0);
            if m > 0.0 { format!("+{um}") } else { um }
        };
        out.push_str(&format!(
            "\n\nFor {}: {} / {} µm",
            display(size, Kind::Length, UnitSystem::Metric),
            micrometres(limits.upper),
            micrometres(limits.lower)
        ));
    }
    out.push_str("\n\nSource: ISO 286-1");
    Some(out)
}

/// The value in the usual unit of the other system.
fn elsewhere(si: f64, kind: Kind, system: UnitSystem) -> Option<String> {
    if kind.is_dimensionless() || matches!(kind, Kind::Other(_)) {
        return None;
    }
    let other = match system {
        UnitSystem::Metric => UnitSystem::Us,
        UnitSystem::Us | UnitSystem::Imperial => UnitSystem::Metric,
    };
    Some(display(si, kind, other).to_string())
}

/// A unit's definition.
fn unit(text: &str) -> Option<String> {
    if text == "%" {
        return Some("**%** — one part in a hundred.".to_owned());
    }
    let parsed = parse_unit(text).ok()?;
    let kind = parsed.kind();
    let name = match parsed.unit() {
        Some(u) => format!("**{}** — {}", u.symbol, u.plural),
        None => format!("**{}**", parsed.symbol()),
    };
    let mut out = format!("{name} ({})", kind.name());
    if let Some(u) = parsed.unit() {
        out.push_str(&format!("\n\n{}", u.doc));
    }
    let si = kind.dimension().si_symbol();
    let si = if si.is_empty() { "1".to_owned() } else { si };
    if parsed.offset() == 0.0 {
        out.push_str(&format!(
            "\n\n1 {} = {} {si}",
            parsed.symbol(),
            parsed.factor()
        ));
    } else {
        out.push_str(&format!(
            "\n\nA scale: {} {si} for each degree, and {} {si} at zero",
            parsed.factor(),
            parsed.offset()
        ));
    }
    if let Some(u) = parsed.unit()
        && !u.source.is_empty()
    {
        out.push_str(&format!("\n\nSource: {}", u.source));
    }
    Some(out)
}

/// Whether an item's value is written out, so that saying it again tells nothing.
pub(crate) fn is_plain(db: &Db, d: DeclId) -> bool {
    matches!(&db.parsed(d).item.kind, ItemKind::Let { value, .. } if matches!(value.kind, ExprKind::Number(_)))
}

/// A short description of what a plain name means in a file, for lists.
pub(crate) fn short(db: &Db, file: FileId, name: &str) -> Option<String> {
    let d = find_item(db, file, name)?;
    let value = match db.settled(d, 0) {
        Some(Value::Quantity(q))
            if !is_plain(db, d) && matches!(db.parsed(d).item.kind, ItemKind::Let { .. }) =>
        {
            format!(" = {}", show::quantity(q, db.settings_of(file)))
        }
        _ => String::new(),
    };
    Some(format!("{}{value}", named(db, d)))
}
