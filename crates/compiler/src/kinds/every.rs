//! Rules over every declaration of a kind: `require for every ring r of main where …: …`, and house rules.
//!
//! The rule's name stands for one declaration after the other ([`Cx::bound`]); each is judged as a plain `require`
//! would be, and what is found is told of the declaration: at it where it stands in the same file, with the
//! rule as a label, else at the rule, with the declaration as a label. A value that is not given is never
//! passed over: the declaration then cannot be judged, and that is a finding.
//!
//! House rules are the `require for every …` lines without `of` in the files that the settings name. They hold
//! for every declaration of the workspace by itself, and what they find is told at it. In their own file they
//! are only checked for sense.
//!
//! Invariants: the set a rule looks at is read through [`Cx::of_kind`], so that adding, renaming or removing a
//! declaration brings it up to date; patterns (declarations with parameters) and the standard library are in no
//! set unless named; nothing depends on the order of evaluation.

use super::compare;
use super::rule::{comparable, judge};
use crate::codes::{self, codes};
use crate::db::{Cx, Local};
use crate::eval::Ev;
use crate::reuse::paths;
use crate::schema::{self, KindDef, Slot, Slots, Type};
use crate::show::article;
use crate::slots::{decl_of, lineage, of_target};
use crate::value::{Quantity, Value};
use crate::{DeclId, Eval};
use cutwater_finding::{FileId, Finding};
use cutwater_syntax::ast::{
    Condition, EntryKind, Every, Expr, ExprKind, ItemKind, Path, Require, Rule,
};
use cutwater_syntax::token::lex;
use cutwater_text::Span;
use rustc_hash::FxHashSet;
use smol_str::SmolStr;

codes! {
    /// Raised by `require for every`.
    RULE_EMPTY = "CW0510" "rule-looks-at-nothing" Advice, "There is nothing a rule over every one of a kind could be about.",
        "The rule says `for every …`, but there is no such declaration where it looks: in this file and the files it uses, or in what stands after `of`. Patterns, which have parameters, are no parts and do not count; the standard library counts only where it is named. Such a rule holds whatever is written, so it protects nothing. Use the file that declares the parts, look at the kind's word, or take the rule out.",
        fires "pump main { rating = 500 gpm at 150 psi }\nrequire for every ring r: r.clearance >= 0.003 in because \"it must turn\"\n",
        silent "ring intake {\n    bore = 5.502 in\n    runs_on = 5.497 in\n}\nrequire for every ring r: r.clearance >= 0.003 in because \"it must turn\"\n";
    /// Raised by `require for every`.
    RULE_SAME = "CW0511" "rule-ignores-its-name" Advice, "A rule over every one of a kind says nothing of the one it looks at.",
        "The condition behind the `:` does not use the name that stands for each declaration, so it says the same of all of them. Use the name, or write a plain `require`.",
        fires "let gap = 0.005 in\nring intake {\n    bore = 5.502 in\n    runs_on = 5.497 in\n}\nrequire for every ring r: gap >= 0.003 in because \"it must turn\"\n",
        silent "ring intake {\n    bore = 5.502 in\n    runs_on = 5.497 in\n}\nrequire for every ring r: r.clearance >= 0.003 in because \"it must turn\"\n";
    /// Raised for files that house rules hold for.
    RULES_MISSING = "CW0513" "house-rules-missing" Error, "A file of house rules is not there.",
        "The settings name files of house rules under `rules`; what they require of every declaration of a kind holds in every file. This one is not in the workspace, so nothing was judged by it. Mend its path in the settings, or put the file there.",
        fires "", silent "let x = 1\n";
    /// Raised by `require for every`.
    NOT_JUDGED = "CW0512" "rule-cannot-judge" Error, "A declaration cannot be judged by a rule, because a value is not given.",
        "The rule asks for a value that this declaration does not give. What is not known is never taken as kept: a hose without a test date has not been shown to be tested. Give the value, or say in the rule which declarations it is about, as `where h.tested is given`.",
        fires "hose attack_1 {\n    diameter = 1.75 in\n    loss = 15.5 psi per 100 ft at 100 gpm\n}\nrequire for every hose h: h.tested within 2025-05-14 .. 2026-05-14 because \"a year between service tests\"\n",
        silent "hose attack_1 {\n    diameter = 1.75 in\n    loss = 15.5 psi per 100 ft at 100 gpm\n    tested = 2025-09-02\n}\nrequire for every hose h: h.tested within 2025-05-14 .. 2026-05-14 because \"a year between service tests\"\n";
}

/// Judges a rule over every declaration of a kind.
pub(super) fn holds(cx: &mut Cx<'_>, d: DeclId, r: &Require, every: &Every) -> Eval<Value> {
    let Some((def, slots)) = known_kind(&every.kind.text) else {
        cx.report(crate::check::no_such_kind(d, &every.kind));
        return Ok(Value::Unknown);
    };
    if !cx.item(d).errors.is_empty() {
        // What is there of it may not be what is meant.
        return Ok(Value::Unknown);
    }
    if !sound(cx, d, r, every, def, slots)? {
        return Ok(Value::Unknown);
    }
    let here = cx.file_of(d);
    if every.of.is_none() && is_house(cx, here) {
        // It is judged at each declaration, by `house`.
        return Ok(Value::Truth(true));
    }
    let Some(among) = domain(cx, d, every, def)? else {
        return Ok(Value::Unknown);
    };
    if among.is_empty() {
        let message = match &every.of {
            None => format!(
                "this rule looks at nothing: there is no {} in this file or in those it uses",
                def.word
            ),
            Some(of) => format!(
                "this rule looks at nothing: `{}` has no {}",
                of.text(),
                def.word
            ),
        };
        cx.report(
            Finding::new(&RULE_EMPTY, Local::Span(d, every.span), message)
                .here(format!("no {}", def.word))
                .help("bring in the file that declares them with `use`, or take the rule out"),
        );
        return Ok(Value::Truth(true));
    }
    let mut all = Value::Truth(true);
    let mut told: Vec<Finding<Local>> = Vec::new();
    for x in among {
        let (verdict, found) = one(cx, d, r, every, x)?;
        let judged = matches!(verdict, Value::Truth(_));
        match verdict {
            Value::Truth(false) if all != Value::Unknown => all = Value::Truth(false),
            Value::Unknown => all = Value::Unknown,
            _ => {}
        }
        let same_file = cx.file_of(x) == here;
        for f in found {
            let f = if judged || f.code == &NOT_JUDGED {
                let place = part(cx, &r.condition.value, every, x);
                told_of(cx, f, (d, r), x, place, same_file)
            } else {
                f
            };
            // What is wrong with the rule itself is told once, not of each declaration.
            let again = |t: &Finding<Local>| {
                t.code == f.code
                    && t.place == f.place
                    && (t.message == f.message || !judged && f.code != &NOT_JUDGED)
            };
            if !told.iter().any(again) {
                told.push(f);
            }
        }
    }
    cx.findings.extend(told);
    Ok(all)
}

/// Judges one declaration by the house rules of the workspace.
pub(crate) fn house(cx: &mut Cx<'_>, x: DeclId) -> Eval<()> {
    let Some((def, slots)) = cx.kind(x) else {
        return Ok(());
    };
    let pattern = decl_of(&cx.item(x).item).is_none_or(|decl| decl.parameters.is_some());
    if pattern {
        return Ok(());
    }
    for path in cx.settings().rules() {
        let Some(file) = cx.lookup_file(path) else {
            continue;
        };
        for d in cx.of_kind(file, super::REQUIRE.word) {
            let parsed = cx.item(d);
            let ItemKind::Require(r) = &parsed.item.kind else {
                continue;
            };
            let Some(every) = &r.every else { continue };
            // Told where the rule stands.
            let broken = !parsed.errors.is_empty();
            if broken || every.of.is_some() || every.kind.text != def.word {
                continue;
            }
            // The rule's own words are looked up where it stands.
            let me = std::mem::replace(&mut cx.me, d);
            let before = cx.findings.len();
            let makes_sense = sound(cx, d, r, every, def, slots)?;
            cx.findings.truncate(before);
            let result = if makes_sense {
                one(cx, d, r, every, x)
            } else {
                // Told where the rule stands.
                Ok((Value::Unknown, Vec::new()))
            };
            cx.me = me;
            let (verdict, found) = result?;
            let place = match verdict {
                Value::Truth(_) => part(cx, &r.condition.value, every, x),
                _ => Local::Head(x),
            };
            let judged = matches!(verdict, Value::Truth(_));
            for mut f in found {
                if !judged && f.code != &NOT_JUDGED {
                    // Something is wrong with the rule, or with how it fits this declaration.
                    f.message = format!(
                        "{} `{}` cannot be judged by a house rule: {}",
                        def.word,
                        cx.name(x),
                        f.message
                    );
                }
                f.source = Some(format!("a house rule, in {path}"));
                // Nothing of the rule's file is mended from here.
                f.fix = None;
                f = told_of(cx, f, (d, r), x, place, true);
                cx.report(f);
            }
        }
    }
    Ok(())
}

/// Whether the settings name a file as one of house rules.
fn is_house(cx: &Cx<'_>, file: FileId) -> bool {
    let db = cx.db();
    let path = db.path(file);
    db.project_settings().rules().contains(&path)
}

/// The kind a rule can be about: any but named values and rules themselves.
fn known_kind(word: &str) -> Option<(&'static KindDef, &'static Slots)> {
    schema::kind(word).filter(|k| k.0.is_part())
}

/// Judges one declaration: the verdict (`Absent` where the rule is not about it) and what was found.
fn one(
    cx: &mut Cx<'_>,
    d: DeclId,
    r: &Require,
    every: &Every,
    x: DeclId,
) -> Eval<(Value, Vec<Finding<Local>>)> {
    let before = cx.findings.len();
    cx.bound.push((every.name.text.clone(), x));
    let verdict = filtered(cx, d, r, every);
    cx.bound.pop();
    let found = cx.findings.split_off(before);
    Ok((verdict?, found))
}

fn filtered(cx: &mut Cx<'_>, d: DeclId, r: &Require, every: &Every) -> Eval<Value> {
    for filter in &every.filters {
        let asked = Require {
            every: None,
            condition: filter.clone(),
            because: None,
        };
        let before = cx.findings.len();
        match judge(cx, d, &asked)? {
            Value::Truth(holds) => {
                // A filter that does not hold is no finding.
                cx.findings.truncate(before);
                if !holds {
                    return Ok(Value::Absent);
                }
            }
            _ => return Ok(Value::Unknown),
        }
    }
    judge(cx, d, r)
}

/// A finding about a declaration: at it or, from another file, at the rule; the other one is a label.
fn told_of(
    cx: &Cx<'_>,
    mut f: Finding<Local>,
    rule: (DeclId, &Require),
    x: DeclId,
    part: Local,
    at_it: bool,
) -> Finding<Local> {
    let name = cx.name(x);
    let (d, r) = rule;
    if at_it {
        f.place = if f.code == &NOT_JUDGED {
            Local::Head(x)
        } else {
            part
        };
        f.label(Local::Span(d, r.condition.value.span), "what the rule asks")
    } else {
        f.place = Local::Span(d, r.condition.value.span);
        let path = cx.db().path(cx.file_of(x));
        f.message
            .push_str(&format!("; `{name}` is declared in `{path}`"));
        f.label(part, format!("{} `{name}`", cx.kind_word(x)))
    }
}

/// The field of a declaration that a condition looks at; its head where it is not written.
fn part(cx: &Cx<'_>, e: &Expr, every: &Every, x: DeclId) -> Local {
    let mut found = None;
    paths(e, &mut |p: &Path| {
        if found.is_some() || p.names[0].text != every.name.text {
            return;
        }
        let Some((_, slots)) = cx.kind(x) else { return };
        let name = p.names.get(1).map(|n| n.text.clone());
        let inner = p.names.get(2).map(|n| n.text.clone());
        let both = name
            .as_ref()
            .zip(inner.as_ref())
            .and_then(|(a, b)| slots.find(&format!("{a}.{b}")));
        found = both.or_else(|| slots.find(name.as_ref()?));
    });
    match found {
        Some(slot) => Local::Value(x, slot),
        None => Local::Head(x),
    }
}

/// Checks a rule without any declaration: its name is free, and used, and what it asks for exists.
fn sound(
    cx: &mut Cx<'_>,
    d: DeclId,
    r: &Require,
    every: &Every,
    def: &'static KindDef,
    slots: &'static Slots,
) -> Eval<bool> {
    let mut ok = true;
    let name = &every.name;
    let file = cx.file_of(d);
    let place = Local::Span(d, name.span);
    if name.text == crate::library::NAME {
        cx.report(
            Finding::new(
                &codes::NAME_FORM,
                place,
                "`std` is the name of the standard library; choose another".to_owned(),
            )
            .here("taken"),
        );
        ok = false;
    } else if let Some(first) = cx.lookup(file, &name.text) {
        cx.report(
            Finding::new(
                &codes::DUPLICATE_NAME,
                place,
                format!(
                    "`{}` is declared in this file already, so it cannot stand for each {} in turn",
                    name.text, def.word
                ),
            )
            .here("taken")
            .label(Local::Head(first), "declared here")
            .help("choose another name in the rule"),
        );
        ok = false;
    }
    let mut asked: Vec<Path> = Vec::new();
    let mut others: Vec<Path> = Vec::new();
    let conditions = || every.filters.iter().chain([&r.condition]);
    let mut used = false;
    for c in conditions() {
        let before = asked.len();
        condition_paths(
            &c.value,
            &c.rule,
            &mut |p| match p.names[0].text == name.text {
                true => asked.push(p.clone()),
                false => others.push(p.clone()),
            },
        );
        // The last one is what the rule asks.
        used = asked.len() > before;
    }
    // `rclearance` for `r.clearance`.
    for other in others.iter().map(|p| &p.names[0]) {
        let rest = other.text.strip_prefix(name.text.as_str());
        let Some(rest) = rest.filter(|r| slots.find(r).is_some()) else {
            continue;
        };
        if cx.lookup(file, &other.text).is_none() {
            let meant = SmolStr::new(format!("{}.{rest}", name.text));
            let message = format!("nothing here is called `{}`", other.text);
            Ev { cx, owner: d }.no_such(other, message, &[meant]);
            return Ok(false);
        }
    }
    // `h.length` where the rule says `hx`: each place is told, so that one mending does for all.
    let mut slips = 0;
    for p in others.iter().filter(|p| p.names.len() > 1) {
        let other = &p.names[0];
        let near = crate::show::near_names(&other.text, std::iter::once(name.text.as_str()));
        let known = other.text == crate::library::NAME;
        if !near.is_empty() && !known && cx.lookup(file, &other.text).is_none() {
            let message = format!("nothing here is called `{}`", other.text);
            Ev { cx, owner: d }.no_such(other, message, std::slice::from_ref(&name.text));
            slips += 1;
        }
    }
    if slips > 0 {
        return Ok(false);
    }
    if !used {
        cx.report(
            Finding::new(
                &RULE_SAME,
                place,
                format!(
                    "`{}` is not used in what the rule asks, so it says the same of every {}",
                    name.text, def.word
                ),
            )
            .here("not used")
            .help(format!(
                "ask something of it, as `{}.… >= …`, or write a plain `require`",
                name.text
            )),
        );
    }
    for p in asked {
        let Some(second) = p.names.get(1) else {
            continue;
        };
        let known =
            slots.find(&second.text).is_some() || def.groups.iter().any(|g| g.name == second.text);
        if !known && def.member.is_none() {
            let all: Vec<SmolStr> = slots.list.iter().map(|s| SmolStr::new(&s.0)).collect();
            let message = format!("{} has no `{}`", article(def.word), second.text);
            Ev { cx, owner: d }.no_such(second, message, &all);
            ok = false;
        }
    }
    for condition in conditions() {
        let before = cx.findings.len();
        if !ok || fits(cx, d, &name.text, condition, slots)? {
            // What else there is to say is said where it is judged.
            cx.findings.truncate(before);
        } else {
            ok = false;
        }
    }
    Ok(ok)
}

/// Whether what a field is compared with is of its type, whichever declaration it is of.
fn fits(
    cx: &mut Cx<'_>,
    d: DeclId,
    each: &str,
    condition: &Condition,
    slots: &Slots,
) -> Eval<bool> {
    let ExprKind::Path(p) = &condition.value.kind else {
        return Ok(true);
    };
    let slot = match p.names.as_slice() {
        [first, field] if first.text == each => slots.find(&field.text),
        [first, group, field] if first.text == each => {
            slots.find(&format!("{}.{}", group.text, field.text))
        }
        _ => None,
    };
    let ty = match slot.map(|s| slots.list[s as usize].1) {
        Some(Slot::Field(f) | Slot::GroupField(_, f)) => f.ty,
        Some(Slot::Computed(c)) => c.ty,
        Some(Slot::Table(_)) | None => return Ok(true),
    };
    let left = &condition.value;
    match (ty, &condition.rule) {
        (Type::Choice(words), Rule::Is { value, .. })
            if compare::word_of(value) != Some(compare::GIVEN) =>
        {
            Ok(compare::one_of(cx, d, left, value, words).is_some())
        }
        (Type::Quantity(kind, _), Rule::Compare(_, e) | Rule::Within(e)) => {
            let mut leans = false;
            paths(e, &mut |p| leans |= p.names[0].text == each);
            if leans {
                return Ok(true);
            }
            let before = cx.findings.len();
            let other = match (Ev { cx, owner: d }).expr(e, Some(kind))? {
                Value::Quantity(q) => q,
                Value::Range(r) => Quantity::computed(r.kind, r.low),
                _ => return Ok(cx.findings.len() == before),
            };
            let it = Quantity::computed(kind, other.si());
            Ok(comparable(cx, d, &it, &other, left, e))
        }
        _ => Ok(true),
    }
}

// ---- what a rule is about ------------------------------------------------------------------------

/// The declarations a rule looks at, in order; `None` where what stands after `of` is wrong, which is reported.
fn domain(
    cx: &mut Cx<'_>,
    d: DeclId,
    every: &Every,
    def: &'static KindDef,
) -> Eval<Option<Vec<DeclId>>> {
    let here = cx.file_of(d);
    let Some(of) = &every.of else {
        return Ok(Some(all_in_reach(cx, here, def)));
    };
    if let [one] = of.names.as_slice() {
        if one.text == crate::library::NAME {
            let files: Vec<FileId> = cx.db().library_files().collect();
            let all = files.into_iter().flat_map(|f| cx.of_kind(f, def.word));
            return Ok(Some(all.collect()));
        }
        if let Some(item) = cx.lookup(here, &one.text)
            && cx.kind(item).is_none()
            && let ItemKind::Use { path, .. } = &cx.item(item).item.kind
        {
            // A file that is not there is reported at its `use`.
            let target = used_file(cx, here, &path.text);
            return Ok(target.map(|f| cx.of_kind(f, def.word)));
        }
    }
    match (Ev { cx, owner: d }).path(of, true)? {
        Value::Unknown => Ok(None),
        Value::Decl(x) => belonging(cx, d, x, def).map(Some),
        Value::List(items) => {
            let mut out = Vec::with_capacity(items.len());
            for item in items.iter() {
                match item {
                    Value::Decl(x) if cx.kind_word(*x) == def.word => out.push(*x),
                    Value::Unknown => return Ok(None),
                    other => {
                        let what = match other {
                            Value::Decl(x) => article(cx.kind_word(*x)),
                            v => v.describe(),
                        };
                        cx.report(
                            Finding::new(
                                &codes::WRONG_TYPE,
                                Local::Span(d, of.span),
                                format!(
                                    "the rule is about every {}, but `{}` holds {what}",
                                    def.word,
                                    of.text()
                                ),
                            )
                            .here(format!("holds {what}"))
                            .help("change the kind after `for every`, or name another list"),
                        );
                        return Ok(None);
                    }
                }
            }
            Ok(Some(out))
        }
        other => {
            cx.report(
                Finding::new(
                    &codes::WRONG_TYPE,
                    Local::Span(d, of.span),
                    format!(
                        "`of` takes a file, a declaration or a list of declarations, and `{}` is {}",
                        of.text(),
                        other.describe()
                    ),
                )
                .here(other.describe()),
            );
            Ok(None)
        }
    }
}

fn used_file(cx: &mut Cx<'_>, from: FileId, path: &str) -> Option<FileId> {
    let from = cx.db().path(from).clone();
    let full = crate::paths::join(&from, path).ok()?;
    cx.lookup_file(&full)
}

/// The declarations of a kind in a file and in all files it uses, near ones first.
fn all_in_reach(cx: &mut Cx<'_>, file: FileId, def: &'static KindDef) -> Vec<DeclId> {
    let mut files = vec![file];
    let mut at = 0;
    while let Some(f) = files.get(at).copied() {
        at += 1;
        for item in cx.of_kind(f, "") {
            let parsed = cx.item(item);
            if let ItemKind::Use { path, .. } = &parsed.item.kind
                && let Some(next) = used_file(cx, f, &path.text)
                && !files.contains(&next)
            {
                files.push(next);
            }
        }
    }
    files
        .into_iter()
        .flat_map(|f| cx.of_kind(f, def.word))
        .collect()
}

/// The declarations of a kind that belong to `x`: those its fields and lines name, and those these name, and
/// those that are declared `of` it.
fn belonging(cx: &mut Cx<'_>, d: DeclId, x: DeclId, def: &'static KindDef) -> Eval<Vec<DeclId>> {
    let mut seen: FxHashSet<DeclId> = FxHashSet::from_iter([x]);
    let mut todo = vec![x];
    let mut out = Vec::new();
    let mut at = 0;
    while let Some(y) = todo.get(at).copied() {
        at += 1;
        for z in named_in(cx, y)? {
            if seen.insert(z) {
                todo.push(z);
                if cx.kind_word(z) == def.word {
                    out.push(z);
                }
            }
        }
    }
    if !def.of.is_empty() {
        let here = cx.file_of(d);
        for y in all_in_reach(cx, here, def) {
            if of_target(cx, y)? == Some(x) && seen.insert(y) {
                out.push(y);
            }
        }
    }
    Ok(out)
}

/// The declarations that a declaration's fields and `->` lines name.
fn named_in(cx: &mut Cx<'_>, y: DeclId) -> Eval<Vec<DeclId>> {
    let Some((def, slots)) = cx.kind(y) else {
        return Ok(Vec::new());
    };
    let mut out = Vec::new();
    for (k, (_, slot)) in slots.list.iter().enumerate() {
        let (Slot::Field(f) | Slot::GroupField(_, f)) = slot else {
            continue;
        };
        if !matches!(f.ty, Type::Ref(_) | Type::RefList(_) | Type::Piece(_)) {
            continue;
        }
        match cx.slot(y, k as u16)? {
            Value::Decl(z) => out.push(z),
            Value::Piece(p) => out.push(p.of),
            Value::List(items) => out.extend(items.iter().filter_map(|v| match v {
                Value::Decl(z) => Some(*z),
                _ => None,
            })),
            _ => {}
        }
    }
    if def.chains {
        for (owner, parsed) in lineage(cx, y)? {
            let entries = decl_of(&parsed.item).map_or(&[][..], |x| &x.entries);
            for e in entries {
                let EntryKind::Chain(segments) = &e.kind else {
                    continue;
                };
                for s in segments {
                    let before = cx.findings.len();
                    let v = Ev { cx, owner }.path(&s.what, true)?;
                    cx.findings.truncate(before);
                    if let Value::Decl(z) = v {
                        out.push(z);
                    }
                }
            }
        }
    }
    Ok(out)
}

// ---- texts -----------------------------------------------------------------------------------------

/// Says that a declaration cannot be judged, because what `p` asks of it is not given.
pub(crate) fn not_given(cx: &mut Cx<'_>, d: DeclId, x: DeclId, p: &Path) {
    let rest: Vec<&str> = p.names[1..].iter().map(|n| n.text.as_str()).collect();
    let rest = rest.join(".");
    let computed = cx.kind(x).is_some_and(|(_, s)| {
        let slot = p.names.get(1).and_then(|n| s.find(&n.text));
        matches!(
            slot.and_then(|k| s.list.get(k as usize)),
            Some((_, Slot::Computed(_)))
        )
    });
    let why = if computed || p.names.len() > 2 {
        format!("`{rest}` has no value: it, or something it comes from, is not given")
    } else {
        format!("`{rest}` is not given")
    };
    let parsed = cx.item(d);
    let ItemKind::Require(r) = &parsed.item.kind else {
        return;
    };
    let reason = r
        .because
        .as_ref()
        .map(|b| format!(" ({})", b.text))
        .unwrap_or_default();
    let asked = match &r.condition.rule {
        Rule::Compare(_, e) | Rule::Within(e) | Rule::Is { value: e, .. } => {
            r.condition.value.span.join(e.span)
        }
        Rule::Error => r.condition.value.span,
    };
    let db = cx.db();
    let chunk = db.chunk(d).slice(db.text(db.file_of(d)));
    let message = format!(
        "{} `{}` cannot be judged by `{}`: {why}{reason}",
        cx.kind_word(x),
        cx.name(x),
        one_line(asked.slice(chunk))
    );
    let here = format!("`{rest}` is not given");
    cx.report(
        Finding::new(&NOT_JUDGED, Local::Span(d, p.span), message)
            .here(here)
            .help(format!(
                "give it, or leave out what does not have it with `where {} is given`",
                p.text()
            ))
            .source("a rule of this spec"),
    );
}

/// A part of a rule as it is written, with the declaration's name for the name that stands for it.
pub(crate) fn source_text(cx: &mut Cx<'_>, d: DeclId, span: Span) -> String {
    let parsed = cx.item(d);
    let db = cx.db();
    let chunk = db.chunk(d).slice(db.text(db.file_of(d)));
    let mut text = span.slice(chunk).to_owned();
    let (Some((bound, x)), ItemKind::Require(r)) = (cx.bound.last(), &parsed.item.kind) else {
        return one_line(&text);
    };
    let mut places: Vec<Span> = Vec::new();
    let mut note = |p: &Path| {
        let first = &p.names[0];
        let inside = span.start <= first.span.start && first.span.end <= span.end;
        if inside && first.text == *bound {
            places.push(first.span);
        }
    };
    condition_paths(&r.condition.value, &r.condition.rule, &mut note);
    for c in r.every.iter().flat_map(|e| &e.filters) {
        condition_paths(&c.value, &c.rule, &mut note);
    }
    places.sort_by_key(|s| std::cmp::Reverse(s.start));
    let name = cx.name(*x);
    for s in places {
        let from = (s.start - span.start) as usize;
        let to = (s.end - span.start) as usize;
        text.replace_range(from..to, &name);
    }
    one_line(&text)
}

/// A part of a rule on one line: line ends, comments and wide gaps between its words become single blanks.
fn one_line(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut end = 0;
    for t in lex(text).into_iter().filter(|t| !t.kind.is_trivia()) {
        if t.span.start as usize > end && !out.is_empty() {
            out.push(' ');
        }
        out.push_str(t.span.slice(text));
        end = t.span.end as usize;
    }
    out
}

/// All paths of a condition.
fn condition_paths(value: &Expr, rule: &Rule, f: &mut impl FnMut(&Path)) {
    paths(value, f);
    match rule {
        Rule::Compare(_, e) | Rule::Within(e) | Rule::Is { value: e, .. } => paths(e, f),
        Rule::Error => {}
    }
}
