//! Reuse: functions of the user's, patterns that `like` fills in, what a declaration inherits, and fields that go
//! with a choice.
//!
//! A *pattern* is a declaration with parameters. It is no part: nothing is computed from it or asked of it as a whole,
//! and its parameters are unknown in it. A declaration that is `like` a pattern fills the parameters in; each of them
//! has a slot of that declaration, behind those of its kind, so that a parameter used twice is one variable.
//!
//! What is wrong with a pattern or a function whatever it is given is said in its own text, once. What is wrong only
//! with the values given is said where they are given: the text is evaluated a second time with its
//! parameters unknown, and what is not found then came from the values.
//!
//! What this does not do: find names and compute (see `eval`), evaluate fields (see `slots`).

use crate::codes;
use crate::db::{Cx, Local};
use crate::eval::{Ev, FUNCTIONS};
use crate::remedy;
use crate::schema::{KindDef, Slot, Type};
use crate::show::near_names;
use crate::slots::{decl_of, find, has_group, head_is_damaged, like_base, lineage};
use crate::value::Value;
use crate::{DeclId, Eval};
use cutwater_finding::{Finding, Label};
use cutwater_syntax::ast::{
    Access, Argument, Decl, Entry, EntryKind, Expr, ExprKind, ItemKind, Name, Path,
};
use smol_str::SmolStr;

/// Most calls of functions for one value: more is a slip, and would take the editor's time.
pub(crate) const MOST_CALLS: u32 = 10_000;

// ---- what an expression names -----------------------------------------------------------------------

/// Every path in an expression.
pub(crate) fn paths<'e>(e: &'e Expr, see: &mut impl FnMut(&'e Path)) {
    match &e.kind {
        ExprKind::Number(_) | ExprKind::Date { .. } | ExprKind::Text(_) | ExprKind::Error => {}
        ExprKind::Path(p) => see(p),
        ExprKind::Element(p, steps) => {
            see(p);
            for s in steps {
                if let Access::Index(x) = s {
                    paths(x, see);
                }
            }
        }
        ExprKind::Call { arguments, .. } => arguments.iter().for_each(|a| paths(a, see)),
        ExprKind::List(items) => items.iter().for_each(|a| paths(a, see)),
        ExprKind::Negative(a) => paths(a, see),
        ExprKind::Sum(a, rest) | ExprKind::Product(a, rest) => {
            paths(a, see);
            rest.iter().for_each(|(_, b)| paths(b, see));
        }
        ExprKind::Power(a, b) | ExprKind::Range(a, b) => {
            paths(a, see);
            paths(b, see);
        }
        ExprKind::Of(a, p) => {
            paths(a, see);
            see(p);
        }
        ExprKind::Phrase(a, rest) => {
            paths(a, see);
            rest.iter().for_each(|(_, b)| paths(b, see));
        }
    }
}

fn paths_of_entries<'e>(entries: &'e [Entry], see: &mut impl FnMut(&'e Path)) {
    for e in entries {
        match &e.kind {
            EntryKind::Field { value, .. } => paths(value, see),
            EntryKind::Group { entries, .. } => paths_of_entries(entries, see),
            EntryKind::Table(t) => {
                if let Some(at) = &t.at {
                    paths(at, see);
                }
            }
            EntryKind::Chain(segments) => {
                for s in segments {
                    see(&s.what);
                    if let Some(a) = &s.amount {
                        paths(a, see);
                    }
                    s.modifiers.iter().for_each(|m| paths(&m.value, see));
                }
            }
            EntryKind::Hold { target, value } => {
                see(target);
                paths(value, see);
            }
            EntryKind::Accept(_) | EntryKind::Error => {}
        }
    }
}

/// Every path in a declaration that its parameters may stand in.
fn paths_of_decl<'e>(decl: &'e Decl, see: &mut impl FnMut(&'e Path)) {
    for p in decl.parameters.iter().flatten() {
        if let Some(v) = &p.value {
            paths(v, see);
        }
    }
    for a in decl.arguments.iter().flatten() {
        paths(&a.value, see);
    }
    if let Some(p) = &decl.of {
        see(p);
    }
    paths_of_entries(&decl.entries, see);
}

// ---- parameters filled in ---------------------------------------------------------------------------

/// One parameter as a declaration fills it in.
#[derive(Clone, Debug)]
pub(crate) struct Filled {
    /// The pattern it belongs to.
    pub pattern: DeclId,
    /// Its name.
    pub name: SmolStr,
    /// Its value, and the declaration whose text that is; `None` where nothing is given.
    pub given: Option<(DeclId, Expr)>,
    /// The declaration that fills the pattern in; `None` for a pattern seen by itself.
    pub filler: Option<DeclId>,
}

/// The parameters of the patterns a declaration descends from, nearest first, in the order of their slots.
pub(crate) fn parameters(cx: &mut Cx<'_>, d: DeclId) -> Eval<Vec<Filled>> {
    let line = lineage(cx, d)?;
    let mut out = Vec::new();
    for (k, (pattern, parsed)) in line.iter().enumerate() {
        let Some(list) = decl_of(&parsed.item).and_then(|x| x.parameters.as_ref()) else {
            continue;
        };
        let filler = k.checked_sub(1).map(|b| &line[b]);
        for p in list {
            let argument = filler.and_then(|(f, parsed)| {
                let given = decl_of(&parsed.item)?.arguments.as_ref()?;
                let a = given.iter().find(|a| a.name.text == p.name.text)?;
                Some((*f, a.value.clone()))
            });
            out.push(Filled {
                pattern: *pattern,
                name: p.name.text.clone(),
                given: argument.or_else(|| p.value.clone().map(|v| (*pattern, v))),
                filler: filler.map(|f| f.0),
            });
        }
    }
    Ok(out)
}

/// The value of the slot of a parameter.
pub(crate) fn eval_parameter(cx: &mut Cx<'_>, d: DeclId, nth: usize) -> Eval<Value> {
    let all = parameters(cx, d)?;
    cx.note_filled(d, all.iter().map(|f| f.name.clone()).collect());
    let Some(f) = all.get(nth) else {
        return Ok(Value::Absent);
    };
    let Some((writer, e)) = &f.given else {
        // The check says that it is missing.
        return Ok(Value::Unknown);
    };
    let before = cx.findings.len();
    let v = given_value(cx, f, *writer, e)?;
    if *writer != d {
        differences(cx, d, *writer, before, &[e], |cx| {
            given_value(cx, f, *writer, e).map(drop)
        })?;
    }
    Ok(if f.filler.is_none() {
        Value::Unknown
    } else {
        v
    })
}

fn given_value(cx: &mut Cx<'_>, f: &Filled, writer: DeclId, e: &Expr) -> Eval<Value> {
    match choice_words(cx, f.pattern, &f.name)? {
        Some(words) => Ev { cx, owner: writer }.store(Type::Choice(words), e, &f.name),
        None => {
            let before = cx.findings.len();
            let v = Ev { cx, owner: writer }.expr(e, None)?;
            if cx.findings.len() > before && !cx.item(f.pattern).errors.is_empty() {
                // Where the pattern uses it may not be read, so that it is not known for the word of a choice.
                cx.findings.truncate(before);
            }
            Ok(v)
        }
    }
}

type Words = &'static [(&'static str, &'static str)];

/// The words a parameter is one of, where it stands for the word of a choice.
fn choice_words(cx: &mut Cx<'_>, pattern: DeclId, name: &str) -> Eval<Option<Words>> {
    let is_name = |e: &Expr, name: &str| matches!(&e.kind, ExprKind::Path(p) if p.names.len() == 1 && p.names[0].text == name);
    let (mut at, mut name) = (pattern, SmolStr::new(name));
    for _ in 0..crate::slots::MAX_LIKE {
        let parsed = cx.item(at);
        let (Some(decl), Some((_, slots))) = (decl_of(&parsed.item), cx.kind(at)) else {
            return Ok(None);
        };
        for (slot_name, slot) in &slots.list {
            if let Slot::Field(f) | Slot::GroupField(_, f) = slot
                && let Type::Choice(words) = f.ty
                && let Some(Entry {
                    kind: EntryKind::Field { value, .. },
                    ..
                }) = find(decl, slot_name)
                && is_name(value, &name)
            {
                return Ok(Some(words));
            }
        }
        // Perhaps it is handed on.
        let next = decl
            .arguments
            .iter()
            .flatten()
            .find(|a| is_name(&a.value, &name));
        let Some(next) = next else { return Ok(None) };
        name = next.name.text.clone();
        match like_base(cx, at, &parsed)? {
            Some(b) => at = b,
            None => return Ok(None),
        }
    }
    Ok(None)
}

/// What a name means as a parameter of the pattern whose text is read; `None` where it is none.
pub(crate) fn parameter_value(cx: &mut Cx<'_>, owner: DeclId, name: &str) -> Eval<Option<Value>> {
    let parsed = cx.item(owner);
    let known = decl_of(&parsed.item)
        .and_then(|x| x.parameters.as_ref())
        .is_some_and(|list| list.iter().any(|p| p.name.text == name));
    if !known {
        return Ok(None);
    }
    if cx.scope.blank == Some(owner) {
        return Ok(Some(Value::Unknown));
    }
    let subject = cx.scope.subject;
    let all = parameters(cx, subject)?;
    let Some(nth) = all
        .iter()
        .position(|f| f.pattern == owner && f.name == name)
    else {
        return Ok(Some(Value::Unknown));
    };
    if cx.scope.blank.is_some() {
        let f = &all[nth];
        return Ok(Some(match (&f.given, f.filler) {
            (Some((writer, e)), Some(_)) => {
                let before = cx.findings.len();
                let v = given_value(cx, f, *writer, e)?;
                cx.findings.truncate(before);
                v
            }
            _ => Value::Unknown,
        }));
    }
    let base = cx.kind(subject).map_or(0, |k| k.1.list.len());
    Ok(Some(cx.slot(subject, (base + nth) as u16)?))
}

/// Deals with what was found, from `before` on, in a text that `d` inherits from `owner`. What that text shows by
/// itself is said there; what comes of the values `d` fills in is said at them.
pub(crate) fn differences(
    cx: &mut Cx<'_>,
    d: DeclId,
    owner: DeclId,
    before: usize,
    texts: &[&Expr],
    again: impl FnOnce(&mut Cx<'_>) -> Eval<()>,
) -> Eval<()> {
    let found = cx.findings.split_off(before);
    if found.is_empty() {
        return Ok(());
    }
    let line = lineage(cx, d)?;
    let Some(base) = line.get(1).map(|b| b.0).filter(|b| cx.is_pattern(*b)) else {
        return Ok(());
    };
    cx.scope.blank = Some(base);
    let done = again(cx);
    cx.scope.blank = None;
    done?;
    let common = cx.findings.split_off(before);
    for x in found.into_iter().filter(|x| !common.contains(x)) {
        let x = in_pattern(cx, d, owner, texts, x)?;
        cx.report(x);
    }
    Ok(())
}

/// A finding in a text of the pattern `owner` as one about what `d` fills in. `texts`: those it may be about.
pub(crate) fn in_pattern(
    cx: &mut Cx<'_>,
    d: DeclId,
    owner: DeclId,
    texts: &[&Expr],
    x: Finding<Local>,
) -> Eval<Finding<Local>> {
    let about: Vec<&Expr> = match x.place {
        Local::Span(_, s) => {
            let meets = |t: &&&Expr| t.span.start < s.end && s.start < t.span.end;
            texts.iter().filter(meets).copied().collect()
        }
        _ => Vec::new(),
    };
    let about = if about.is_empty() { texts } else { &about };
    let place = argument_place(cx, d, owner, about)?;
    let lead = format!(
        "`{}` does not take what `{}` fills in",
        cx.name(owner),
        cx.name(d)
    );
    Ok(at_the_values(x, lead, place, "filled in here"))
}

/// The texts of a lay's chains that may speak of parameters.
pub(crate) fn texts_of_chains(decl: &Decl) -> Vec<Expr> {
    let mut out = Vec::new();
    for e in &decl.entries {
        let EntryKind::Chain(segments) = &e.kind else {
            continue;
        };
        for s in segments {
            out.push(Expr {
                kind: ExprKind::Path(s.what.clone()),
                span: s.what.span,
            });
            out.extend(s.amount.clone());
            out.extend(s.modifiers.iter().map(|m| m.value.clone()));
        }
    }
    out
}

/// A finding in a text as one about the values it was given.
pub(crate) fn at_the_values(
    x: Finding<Local>,
    lead: String,
    place: Local,
    here: &str,
) -> Finding<Local> {
    let mut f = Finding::new(x.code, place, format!("{lead}: {}", x.message))
        .here(here)
        .label(x.place, x.here);
    f.labels.extend(x.labels);
    f.help = x.help;
    f.source = x.source;
    f.numbers = x.numbers;
    f
}

/// Where `d` gives the value that a text of `owner` speaks of.
fn argument_place(cx: &mut Cx<'_>, d: DeclId, owner: DeclId, texts: &[&Expr]) -> Eval<Local> {
    let line = lineage(cx, d)?;
    let fallback = match line
        .first()
        .and_then(|(_, p)| decl_of(&p.item)?.like.clone())
    {
        Some(p) => Local::Span(d, p.span),
        None => Local::Head(d),
    };
    let Some(mut k) = line.iter().position(|l| l.0 == owner) else {
        return Ok(fallback);
    };
    let mut names: Vec<SmolStr> = Vec::new();
    for t in texts {
        paths(t, &mut |p| names.push(p.names[0].text.clone()));
    }
    while k > 0 {
        let Some(filler) = decl_of(&line[k - 1].1.item) else {
            break;
        };
        let given: Vec<&Argument> = filler
            .arguments
            .iter()
            .flatten()
            .filter(|a| names.contains(&a.name.text))
            .collect();
        if k == 1 {
            return Ok(given
                .first()
                .map_or(fallback, |a| Local::Span(d, a.value.span)));
        }
        let mut next = Vec::new();
        for a in given {
            paths(&a.value, &mut |p| next.push(p.names[0].text.clone()));
        }
        names = next;
        k -= 1;
    }
    Ok(fallback)
}

// ---- what is inherited ------------------------------------------------------------------------------

/// Says of each finding about a value that was inherited where the value comes from, and how to override it.
pub(crate) fn tell_inherited(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    if cx.findings.is_empty() {
        return Ok(());
    }
    let parsed = cx.item(d);
    let (Some(decl), Some((_, slots))) = (decl_of(&parsed.item), cx.kind(d)) else {
        return Ok(());
    };
    if decl.like.is_none() {
        return Ok(());
    }
    let line = lineage(cx, d)?;
    let me = cx.name(d);
    let from = |slot: u16| -> Option<(&str, DeclId)> {
        let (name, _) = slots.list.get(slot as usize)?;
        if find(decl, name).is_some() {
            return None;
        }
        let (owner, _) = line
            .iter()
            .skip(1)
            .find(|(_, p)| decl_of(&p.item).is_some_and(|x| find(x, name).is_some()))?;
        Some((name, *owner))
    };
    let slot_here = |p: &Local| match *p {
        Local::Value(x, s) | Local::Slot(x, s) if x == d => Some(s),
        _ => None,
    };
    let mut findings = std::mem::take(&mut cx.findings);
    for f in &mut findings {
        let mut told: Vec<(u16, String, DeclId)> = Vec::new();
        for place in f.labels.iter_mut().map(|l| &mut l.place) {
            if let Some(s) = slot_here(place)
                && let Some((name, owner)) = from(s)
            {
                *place = Local::Value(owner, s);
                if told.iter().all(|t| t.0 != s) {
                    told.push((s, name.to_owned(), owner));
                }
            }
        }
        if let Some(s) = slot_here(&f.place)
            && let Some((name, owner)) = from(s)
        {
            f.place = Local::Head(d);
            if told.iter().all(|t| t.0 != s) {
                f.labels.push(Label {
                    place: Local::Value(owner, s),
                    text: format!("`{name}` comes from here"),
                });
                told.push((s, name.to_owned(), owner));
            }
        }
        if told.is_empty() {
            continue;
        }
        // Told in the order of the line of descent, then of the kind's table.
        told.sort_by_key(|t| (line.iter().position(|l| l.0 == t.2), t.0));
        let mut owners: Vec<DeclId> = told.iter().map(|t| t.2).collect();
        owners.dedup();
        let list: Vec<String> = owners
            .iter()
            .map(|o| {
                let names = told.iter().filter(|t| t.2 == *o);
                let names: Vec<String> = names.map(|t| format!("`{}`", t.1)).collect();
                format!("{} from `{}`", listed(&names, "and"), cx.name(*o))
            })
            .collect();
        f.message
            .push_str(&format!(" (inherited: {})", list.join("; ")));
        let names: Vec<String> = told.iter().map(|t| format!("`{}`", t.1)).collect();
        let cure = format!("override {} in `{me}`", listed(&names, "or"));
        f.help = Some(match f.help.take() {
            Some(h) => format!("{h}; here: {cure}"),
            None => cure,
        });
    }
    cx.findings = findings;
    Ok(())
}

/// `a`, `b` and `c`.
fn listed(names: &[String], joined: &str) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [front @ .., last] => format!("{} {joined} {last}", front.join(", ")),
    }
}

/// Advice on fields that say again what they inherit.
pub(crate) fn check_same(cx: &mut Cx<'_>, d: DeclId, decl: &Decl) -> Eval<()> {
    let parsed = cx.item(d);
    let Some(base) = like_base(cx, d, &parsed)? else {
        return Ok(());
    };
    let Some((_, slots)) = cx.kind(d) else {
        return Ok(());
    };
    if cx.is_pattern(base) || cx.is_pattern(d) {
        return Ok(());
    }
    let line = lineage(cx, base)?;
    for (k, (name, slot)) in slots.list.iter().enumerate() {
        if !matches!(slot, Slot::Field(_) | Slot::GroupField(..)) {
            continue;
        }
        let Some(entry) = find(decl, name) else {
            continue;
        };
        let written_there = line
            .iter()
            .find(|(_, p)| decl_of(&p.item).is_some_and(|x| find(x, name).is_some()))
            .map(|l| l.0);
        let Some(there) = written_there else { continue };
        let (mine, theirs) = (cx.slot(d, k as u16)?, cx.slot(base, k as u16)?);
        if !same(&mine, &theirs) {
            continue;
        }
        // Two numbers that come from elsewhere may be equal today alone.
        let from_elsewhere = |x: &Decl| {
            let mut any = false;
            if let Some(Entry {
                kind: EntryKind::Field { value, .. },
                ..
            }) = find(x, name)
            {
                paths(value, &mut |_| any = true);
            }
            any
        };
        let original = line.iter().find(|l| l.0 == there);
        if matches!(mine, Value::Quantity(_))
            && (from_elsewhere(decl)
                || original.is_some_and(|l| decl_of(&l.1.item).is_some_and(from_elsewhere)))
        {
            continue;
        }
        cx.report(
            Finding::new(
                &codes::SAME_AS_INHERITED,
                Local::Span(d, entry.span),
                format!(
                    "`{name}` is the same as in `{}`, which `{}` is like",
                    cx.name(there),
                    cx.name(d)
                ),
            )
            .here("the same value")
            .label(Local::Value(there, k as u16), "inherited from here")
            .help("take the line out, so that a change there is followed here"),
        );
    }
    Ok(())
}

/// Whether two values are the same to whoever reads them; the tolerances of two parts are two variables all the same.
fn same(a: &Value, b: &Value) -> bool {
    match (a, b) {
        (Value::Unknown | Value::Absent, _) | (_, Value::Unknown | Value::Absent) => false,
        (Value::Quantity(a), Value::Quantity(b)) => {
            a.kind == b.kind
                && a.si() == b.si()
                && a.value.lo() == b.value.lo()
                && a.value.hi() == b.value.hi()
        }
        (Value::Phrase(a), Value::Phrase(b)) => {
            a.len() == b.len()
                && a.iter().zip(b.iter()).all(|(x, y)| {
                    x.0 == y.0 && same(&Value::Quantity(x.1.clone()), &Value::Quantity(y.1.clone()))
                })
        }
        (Value::Range(a), Value::Range(b)) => {
            a.kind == b.kind && a.low == b.low && a.high == b.high
        }
        (Value::List(a), Value::List(b)) => {
            a.len() == b.len() && a.iter().zip(b.iter()).all(|(x, y)| same(x, y))
        }
        _ => a == b,
    }
}

// ---- checks -----------------------------------------------------------------------------------------

/// Checks the parameters of a function.
pub(crate) fn check_function(cx: &mut Cx<'_>, d: DeclId, parameters: &[Name], value: &Expr) {
    let mut used: Vec<&str> = Vec::new();
    paths(value, &mut |p| used.push(&p.names[0].text));
    if let Some(name) = cx.db().name(d).cloned()
        && FUNCTIONS.iter().any(|f| f.0 == name)
    {
        cx.report(
            Finding::new(
                &codes::HIDES_NAME,
                Local::Head(d),
                format!("`{name}` hides the built-in function of that name in this file"),
            )
            .here("hides a built-in function")
            .help("give it another name"),
        );
    }
    let names: Vec<&Name> = parameters.iter().collect();
    check_names(cx, d, &names, &used, "function", &[]);
}

/// Checks the parameters of a pattern.
pub(crate) fn check_pattern(
    cx: &mut Cx<'_>,
    d: DeclId,
    decl: &Decl,
    def: &'static KindDef,
) -> Eval<()> {
    let Some(list) = &decl.parameters else {
        return Ok(());
    };
    let mut used: Vec<&str> = Vec::new();
    paths_of_decl(decl, &mut |p| used.push(&p.names[0].text));
    let fields: Vec<&str> = def
        .fields
        .iter()
        .map(|f| f.name)
        .chain(def.groups.iter().map(|g| g.name))
        .chain(def.computed.iter().map(|c| c.name))
        .collect();
    let names: Vec<&Name> = list.iter().map(|p| &p.name).collect();
    check_names(cx, d, &names, &used, "pattern", &fields);
    Ok(())
}

fn check_names(
    cx: &mut Cx<'_>,
    d: DeclId,
    names: &[&Name],
    used: &[&str],
    what: &str,
    fields: &[&str],
) {
    let file = cx.file_of(d);
    for (k, n) in names.iter().enumerate() {
        let place = Local::Span(d, n.span);
        if let Some(first) = names[..k].iter().find(|x| x.text == n.text) {
            cx.report(
                Finding::new(
                    &codes::DUPLICATE_FIELD,
                    place,
                    format!("the parameter `{}` stands twice", n.text),
                )
                .here("the second time")
                .label(Local::Span(d, first.span), "the first time")
                .help("give one of them another name"),
            );
            continue;
        }
        if !used.contains(&n.text.as_str()) && cx.item(d).errors.is_empty() {
            cx.report(
                Finding::new(
                    &codes::UNUSED_PARAMETER,
                    place,
                    format!(
                        "the {what} `{}` never uses its parameter `{}`",
                        cx.name(d),
                        n.text
                    ),
                )
                .here("not used")
                .help("use it, or take it out"),
            );
            continue;
        }
        if fields.contains(&n.text.as_str()) {
            cx.report(
                Finding::new(
                    &codes::HIDES_NAME,
                    place,
                    format!(
                        "the parameter `{0}` hides the field `{0}`: in this pattern the name means the parameter",
                        n.text
                    ),
                )
                .here("hides a field")
                .help("give the parameter another name"),
            );
        } else if let Some(other) = cx.lookup(file, &n.text)
            && other != d
        {
            cx.report(
                Finding::new(
                    &codes::HIDES_NAME,
                    place,
                    format!(
                        "the parameter `{0}` hides the declaration `{0}` of this file: in this {what} the name means the parameter",
                        n.text
                    ),
                )
                .here("hides a declaration")
                .label(Local::Head(other), "hidden")
                .help("give the parameter another name"),
            );
        }
    }
}

/// How a pattern is filled in, for messages: `wear_ring(hub = …)`; what need not be given is left out.
fn form(name: &str, decl: &Decl) -> String {
    let needed: Vec<String> = decl
        .parameters
        .iter()
        .flatten()
        .filter(|p| p.value.is_none())
        .map(|p| format!("{} = …", p.name.text))
        .collect();
    format!("{name}({})", needed.join(", "))
}

/// How a function is called, for messages: `gap(bore, hub)`.
pub(crate) fn call_form(name: &str, parameters: &[Name]) -> String {
    let list: Vec<&str> = parameters.iter().map(|p| p.text.as_str()).collect();
    format!("{name}({})", list.join(", "))
}

/// Checks what a declaration fills in of what it is like.
pub(crate) fn check_arguments(cx: &mut Cx<'_>, d: DeclId, decl: &Decl) -> Eval<()> {
    let Some(like) = &decl.like else {
        return Ok(());
    };
    let parsed = cx.item(d);
    let Some(base) = like_base(cx, d, &parsed)? else {
        return Ok(());
    };
    let there = cx.item(base);
    let damaged = head_is_damaged(&there);
    let list = decl_of(&there.item).and_then(|x| x.parameters.as_ref());
    let (Some(there), Some(list)) = (decl_of(&there.item), list) else {
        if decl.arguments.is_some() && !damaged {
            cx.report(
                Finding::new(
                    &codes::ARGUMENTS,
                    Local::Span(d, like.span),
                    format!(
                        "`{}` takes no values: it has no parameters to fill in",
                        like.text()
                    ),
                )
                .here("takes no values")
                .label(Local::Head(base), "declared without parameters")
                .help("take the brackets out, and write what differs as fields"),
            );
        }
        return Ok(());
    };
    let given = decl.arguments.as_deref().unwrap_or_default();
    for (k, a) in given.iter().enumerate() {
        let place = Local::Span(d, a.name.span);
        if let Some(first) = given[..k].iter().find(|x| x.name.text == a.name.text) {
            cx.report(
                Finding::new(
                    &codes::DUPLICATE_FIELD,
                    place,
                    format!("`{}` is given twice", a.name.text),
                )
                .here("the second time; not used")
                .label(Local::Span(d, first.name.span), "the first time")
                .help("keep the right one"),
            );
        } else if !damaged && !list.iter().any(|p| p.name.text == a.name.text) {
            let mut f = Finding::new(
                &codes::ARGUMENTS,
                place,
                format!("`{}` takes no `{}`", like.text(), a.name.text),
            )
            .here("no such parameter")
            .label(Local::Head(base), form(&cx.name(base), there));
            let free = list
                .iter()
                .map(|p| p.name.text.as_str())
                .filter(|n| given.iter().all(|g| g.name.text != *n));
            if let Some(n) = near_names(&a.name.text, free).first() {
                f = remedy::meant(f, place, n);
            } else {
                let all: Vec<String> = list.iter().map(|p| format!("`{}`", p.name.text)).collect();
                f = f.help(format!("it takes {}", all.join(", ")));
            }
            cx.report(f);
        }
    }
    let missing: Vec<String> = list
        .iter()
        .filter(|p| p.value.is_none() && given.iter().all(|g| g.name.text != p.name.text))
        .map(|p| format!("`{}`", p.name.text))
        .collect();
    if !missing.is_empty() && !damaged {
        cx.report(
            Finding::new(
                &codes::ARGUMENTS,
                Local::Span(d, like.span),
                format!(
                    "`{}` does not say {} to `{}`",
                    cx.name(d),
                    listed(&missing, "and"),
                    like.text()
                ),
            )
            .here(format!("{} missing", listed(&missing, "and")))
            .label(Local::Head(base), "the pattern")
            .help(format!("write `like {}`", form(&like.text(), there))),
        );
    }
    // Each parameter is looked at even where no field uses it.
    let base_slot = cx.kind(d).map_or(0, |k| k.1.list.len());
    for nth in 0..parameters(cx, d)?.len() {
        cx.slot(d, (base_slot + nth) as u16)?;
    }
    Ok(())
}

/// Evaluates the defaults of a pattern's own parameters, for what is wrong with them.
pub(crate) fn check_defaults(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    let base_slot = cx.kind(d).map_or(0, |k| k.1.list.len());
    for nth in 0..parameters(cx, d)?.len() {
        cx.slot(d, (base_slot + nth) as u16)?;
    }
    Ok(())
}

/// Says which written fields, blocks and tables do not go with the choice made.
pub(crate) fn check_only(
    cx: &mut Cx<'_>,
    d: DeclId,
    decl: &Decl,
    def: &'static KindDef,
) -> Eval<()> {
    for only in def.only {
        let written: Vec<&'static str> = only
            .names
            .iter()
            .copied()
            .filter(|n| find(decl, n).is_some() || has_group(decl, n))
            .collect();
        if written.is_empty() {
            continue;
        }
        let chosen = match cx.get(d, only.field)? {
            Value::Choice(w) if only.words.contains(&w) => continue,
            Value::Choice(w) => Some(w),
            Value::Absent => None,
            _ => continue,
        };
        let wanted = only.wanted();
        let name = cx.name(d);
        let state = match chosen {
            Some(w) => format!("`{name}` is {w}"),
            None => format!("`{name}` states no `{}`", only.field),
        };
        for n in written {
            let span = decl.entries.iter().find_map(|e| match &e.kind {
                EntryKind::Field { name, .. } if name.text == n => Some(name.span),
                EntryKind::Table(t) if t.name.text == n => Some(t.name.span),
                EntryKind::Group { name, .. } if name.text == n => Some(name.span),
                _ => None,
            });
            let place = span.map_or(Local::Head(d), |s| Local::Span(d, s));
            let mut f = Finding::new(
                &codes::OTHER_CHOICE,
                place,
                format!(
                    "`{n}` belongs to {} with {wanted}; {state}",
                    plural(def.word)
                ),
            )
            .here("does not go with it");
            let at = cx.place(d, only.field);
            f = match chosen {
                Some(w) if find(decl, only.field).is_some() => f.label(at, format!("{w} here")),
                Some(w) if decl.like.is_some() => f.label(at, format!("{w}, as inherited")),
                Some(w) => f.label(Local::Head(d), format!("{w} where nothing else is said")),
                None => f.label(Local::Head(d), format!("no `{}`", only.field)),
            };
            f = f.help(match chosen {
                Some(_) => format!("take the line out, or write {wanted}"),
                None => format!("add {wanted}"),
            });
            cx.report(f);
        }
    }
    Ok(())
}

/// Whether a field, block or table has its say with the choice made; where it has not, what is inherited is left out.
pub(crate) fn applies(cx: &mut Cx<'_>, d: DeclId, def: &'static KindDef, name: &str) -> Eval<bool> {
    let outer = name.split_once('.').map_or(name, |n| n.0);
    let Some(only) = def.only_of(outer) else {
        return Ok(true);
    };
    Ok(match cx.get(d, only.field)? {
        Value::Choice(w) => only.words.contains(&w),
        Value::Absent => false,
        _ => true,
    })
}

fn plural(word: &str) -> String {
    match word.strip_suffix('y') {
        Some(front) if !front.ends_with(['a', 'e', 'o']) => format!("{front}ies"),
        _ => format!("{word}s"),
    }
}

// ---- functions --------------------------------------------------------------------------------------

/// The parameters and the body of a function.
pub(crate) fn function_of(cx: &mut Cx<'_>, f: DeclId) -> Option<(Vec<Name>, Expr)> {
    let parsed = cx.item(f);
    match &parsed.item.kind {
        ItemKind::Let {
            parameters: Some(p),
            value,
            ..
        } => Some((p.clone(), value.clone())),
        _ => None,
    }
}

/// Evaluates a function's body with these values for its parameters.
pub(crate) fn body(
    cx: &mut Cx<'_>,
    f: DeclId,
    parameters: &[Name],
    value: &Expr,
    given: &[Value],
) -> Eval<Value> {
    let given = parameters
        .iter()
        .map(|p| p.text.clone())
        .zip(given.iter().cloned())
        .collect();
    let before = cx.scope.given.replace(given);
    cx.scope.calls.push(f);
    let v = stacker::maybe_grow(96 * 1024, 2 * 1024 * 1024, || {
        Ev { cx, owner: f }.expr(value, None)
    });
    cx.scope.calls.pop();
    cx.scope.given = before;
    v
}

/// What is wrong with a function whatever it is given; its value is unknown.
pub(crate) fn eval_function(cx: &mut Cx<'_>, f: DeclId) -> Eval<Value> {
    if let Some((parameters, value)) = function_of(cx, f) {
        let given = vec![Value::Unknown; parameters.len()];
        body(cx, f, &parameters, &value, &given)?;
    }
    Ok(Value::Unknown)
}

/// Reports a function that comes back to itself: once, where the first of those in the circle by name and file is
/// looked at by itself.
pub(crate) fn recursion(cx: &mut Cx<'_>, f: DeclId) {
    let Some(at) = cx.scope.calls.iter().position(|c| *c == f) else {
        return;
    };
    let circle: Vec<DeclId> = cx.scope.calls[at..].to_vec();
    let key = |d: &DeclId| {
        let db = cx.db();
        (db.name(*d).cloned(), db.path(db.file_of(*d)).clone())
    };
    let first = circle.iter().min_by_key(|d| key(d)).copied();
    if first != Some(cx.me) || circle[0] != cx.me {
        return;
    }
    let mut names: Vec<String> = circle
        .iter()
        .map(|d| format!("`{}`", cx.name(*d)))
        .collect();
    names.push(names[0].clone());
    let mut finding = Finding::new(
        &codes::CYCLE,
        Local::Value(cx.me, 0),
        format!(
            "the function {} calls itself: {}",
            names[0],
            names.join(" calls ")
        ),
    )
    .here("comes back to itself")
    .help("a function is computed from what it is given alone; write the formula out");
    for (k, d) in circle.iter().enumerate().skip(1) {
        finding = finding.label(
            Local::Value(*d, 0),
            format!("{} calls {}", names[k], names[k + 1]),
        );
    }
    if !cx.findings.contains(&finding) {
        cx.report(finding);
    }
}
