//! `let` and `require`: named values and the spec's own rules.

use super::compare;
use super::every::source_text;
use crate::db::{Cx, Local};
use crate::eval::Ev;
use crate::schema::short::optional;
use crate::schema::{BLANK, ComputedDef, KindDef, Type};
use crate::show;
use crate::value::{Quantity, Value};
use crate::{DeclId, Eval, codes};
use cutwater_finding::{Code, Finding};
use cutwater_syntax::ast::{Comparison, ExprKind, ItemKind, Require, Rule};

/// Findings declared here: none; those of `require` belong to the language.
pub static CODES: &[&Code] = &[];

/// `let name = expr`.
pub static LET: KindDef = KindDef {
    word: "let",
    doc: "A named value: `let gap = seal.bore - wheel.hub_diameter`.",
    fields: &[optional("value", Type::Any, "The value.")],
    ..BLANK
};

/// `require expr >= expr because "…"`.
pub static REQUIRE: KindDef = KindDef {
    word: "require",
    doc: "A rule of the spec's own: `require gap within 0.003 .. 0.007 in because \"…\"`. It is checked on every change; where it does not hold, the finding shows both sides and the reason. Numbers and dates are compared by `>=`, `<=`, `>`, `<` and `within`; words, texts, declarations, dates, counts and yes or no by `is` and `is not`; `is given` asks whether a field has a value. A date is moved by whole days: `2026-05-14 - 365 day`; two dates are a time apart. `require for every ring r: …` goes through the rings of this file and of the files it uses, `of` narrows that to a file, a list or what a declaration is made of, and `where … and …` leaves out what the rule is not about. A value that is not given is never passed over: what lacks it cannot be judged, and that is a finding. In files named by `rules` in the settings, `require for every …` without `of` holds for every file.",
    computed: &[ComputedDef {
        name: "holds",
        ty: Type::Truth,
        doc: "Whether the rule holds nominally.",
        formula: "value, compared with what is asked",
        source: "the spec itself",
        solved: false,
        hint: false,
        eval: holds,
    }],
    ..BLANK
};

fn holds(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let parsed = cx.item(d);
    let ItemKind::Require(r) = &parsed.item.kind else {
        return Ok(Value::Unknown);
    };
    match &r.every {
        Some(every) => super::every::holds(cx, d, r, every),
        None => judge(cx, d, r),
    }
}

/// Judges one condition: `Truth` with the finding where it does not hold, `Unknown` where it cannot be told and
/// that is reported.
pub(super) fn judge(cx: &mut Cx<'_>, d: DeclId, r: &Require) -> Eval<Value> {
    if matches!(&r.condition.value.kind, ExprKind::Path(p) if p.names[0].text == "for") {
        // A broken `for every`, reported as such.
        return Ok(Value::Unknown);
    }
    if let Rule::Is { not, value } = &r.condition.rule {
        return compare::is(cx, d, r, *not, value);
    }
    let value = Ev { cx, owner: d }.expr(&r.condition.value, None)?;
    if let Value::Date(day) = value {
        return compare::dates(cx, d, r, day);
    }
    let Value::Quantity(a) = value else {
        if !matches!(value, Value::Unknown) {
            cx.report(
                Finding::new(
                    &codes::WRONG_TYPE,
                    Local::Span(d, r.condition.value.span),
                    format!(
                        "`require` compares numbers and dates, and this is {}",
                        value.describe()
                    ),
                )
                .here(value.describe())
                .help("ask what a word, a text or a declaration is with `is` or `is not`: `main.volute is double`"),
            );
        }
        // The other side is looked at all the same: it may be wrong too.
        match &r.condition.rule {
            Rule::Compare(_, e) | Rule::Within(e) | Rule::Is { value: e, .. } => {
                Ev { cx, owner: d }.expr(e, None)?;
            }
            Rule::Error => {}
        }
        return Ok(Value::Unknown);
    };
    match &r.condition.rule {
        Rule::Error | Rule::Is { .. } => Ok(Value::Unknown),
        Rule::Compare(sign, e) => {
            let b = Ev { cx, owner: d }.expr(e, Some(a.kind))?;
            let Value::Quantity(b) = b else {
                return Ok(compare::mixed(cx, d, r, &Value::Quantity(a), e.span, &b));
            };
            if !comparable(cx, d, &a, &b, r.condition.value.span.join(e.span)) {
                return Ok(Value::Unknown);
            }
            let gap = match sign {
                Comparison::AtLeast | Comparison::Above => a.value.sub(&b.value),
                Comparison::AtMost | Comparison::Below => b.value.sub(&a.value),
            };
            let strict = matches!(sign, Comparison::Above | Comparison::Below);
            let ok = |v: f64| {
                if strict {
                    v > 0.0
                } else {
                    v >= -1e-12 * a.si().abs().max(b.si().abs())
                }
            };
            let settings = cx.settings();
            let shown_a = show::with_limits(&a, &settings);
            let unit = a.unit.clone().or(b.unit.clone());
            let shown_b = show::si(b.si(), b.kind, b.unit.as_ref().or(unit.as_ref()), &settings);
            let text = source_text(cx, d, r.condition.value.span);
            verdict(
                cx,
                d,
                ok(gap.nominal()),
                ok(gap.lo()),
                &Said {
                    text,
                    asked: format!("{} {shown_b}", sign.sign()),
                    given: shown_a,
                    a: &a,
                    limits: vec![("limit", b.si())],
                },
            )
        }
        Rule::Within(e) => {
            let range = Ev { cx, owner: d }.expr(e, Some(a.kind))?;
            let Value::Range(range) = range else {
                return Ok(compare::mixed(
                    cx,
                    d,
                    r,
                    &Value::Quantity(a),
                    e.span,
                    &range,
                ));
            };
            let as_quantity = Quantity::computed(range.kind, range.low);
            if !comparable(cx, d, &a, &as_quantity, r.condition.value.span.join(e.span)) {
                return Ok(Value::Unknown);
            }
            let settings = cx.settings();
            let slack = 1e-12 * range.high.abs().max(range.low.abs());
            let inside = |v: f64| v >= range.low - slack && v <= range.high + slack;
            let nominal = inside(a.si());
            let worst = inside(a.value.lo()) && inside(a.value.hi());
            let mut shown = a.clone();
            if shown.unit.is_none() {
                shown.unit = range.unit.clone();
            }
            let given = show::with_limits(&shown, &settings);
            let text = source_text(cx, d, r.condition.value.span);
            verdict(
                cx,
                d,
                nominal,
                worst,
                &Said {
                    text,
                    asked: format!("within {}", show::range(&range, &settings)),
                    given,
                    a: &a,
                    limits: vec![("lower limit", range.low), ("upper limit", range.high)],
                },
            )
        }
    }
}

fn comparable(
    cx: &mut Cx<'_>,
    d: DeclId,
    a: &Quantity,
    b: &Quantity,
    span: cutwater_text::Span,
) -> bool {
    match a.kind.comparable(b.kind) {
        Ok(()) => {
            if let (Some(x), Some(y)) = (a.gallon, b.gallon)
                && x != y
            {
                cx.report(
                    Finding::new(
                        &codes::MIXED_GALLONS,
                        Local::Span(d, span),
                        "US gallons are compared with imperial gallons".to_owned(),
                    )
                    .here("US and imperial gallons")
                    .help("write both in one of them; 1 imperial gallon is 1.20095 US gallons"),
                );
                return false;
            }
            true
        }
        Err(m) => {
            cx.report(
                Finding::new(&codes::WRONG_KIND, Local::Span(d, span), m.to_string())
                    .here("cannot be compared"),
            );
            false
        }
    }
}

struct Said<'a> {
    text: String,
    asked: String,
    given: String,
    a: &'a Quantity,
    limits: Vec<(&'static str, f64)>,
}

fn verdict(cx: &mut Cx<'_>, d: DeclId, nominal: bool, worst: bool, said: &Said<'_>) -> Eval<Value> {
    if nominal && worst {
        return Ok(Value::Truth(true));
    }
    let parsed = cx.item(d);
    let ItemKind::Require(r) = &parsed.item.kind else {
        return Ok(Value::Unknown);
    };
    let reason = r
        .because
        .as_ref()
        .map(|b| format!(" ({})", b.text))
        .unwrap_or_default();
    let (code, message, here) = if nominal {
        (
            &codes::REQUIRE_TIGHT,
            format!(
                "`{}` is {}: its worst case is not {}{reason}",
                said.text, said.given, said.asked
            ),
            "not over the whole tolerance",
        )
    } else {
        (
            &codes::REQUIRE_FAILS,
            format!(
                "`{}` is {}, not {}{reason}",
                said.text, said.given, said.asked
            ),
            "does not hold",
        )
    };
    let settings = cx.settings();
    let mut f = Finding::new(code, Local::Span(d, r.condition.value.span), message).here(here);
    if let Some(b) = &r.because {
        f = f.label(Local::Span(d, b.span), "the reason given");
        f = f.source("a rule of this spec");
    } else {
        f = f.source("a rule of this spec, without a reason");
    }
    let unit = cutwater_quantity::preferred_unit(said.a.kind, settings.units);
    let (symbol, in_unit): (String, Box<dyn Fn(f64) -> f64>) = match (&said.a.unit, unit) {
        (Some(u), _) => {
            let u = u.clone();
            (u.symbol().to_owned(), Box::new(move |si| u.from_si(si)))
        }
        (None, Some(u)) => (u.symbol.to_owned(), Box::new(|si| u.from_si(si))),
        (None, None) => (String::new(), Box::new(|si| si)),
    };
    f = f.number("value", in_unit(said.a.si()), symbol.clone());
    if said.a.value.is_toleranced() {
        f = f
            .number("worst case low", in_unit(said.a.value.lo()), symbol.clone())
            .number(
                "worst case high",
                in_unit(said.a.value.hi()),
                symbol.clone(),
            );
    }
    for (what, si) in &said.limits {
        f = f.number(*what, in_unit(*si), symbol.clone());
    }
    cx.report(f);
    Ok(Value::Truth(nominal))
}
