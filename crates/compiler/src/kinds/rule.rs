//! `let` and `require`: named values and the spec's own rules.

use super::compare;
use super::every::source_text;
use crate::budget::{self, Budget, Verdict, Window};
use crate::db::{Cx, Local};
use crate::eval::Ev;
use crate::kinds::rotor::with_number;
use crate::remedy;
use crate::schema::short::optional;
use crate::schema::{BLANK, ComputedDef, KindDef, Type};
use crate::show;
use crate::value::{Quantity, Value};
use crate::{DeclId, Eval, codes};
use cutwater_finding::{Code, Finding};
use cutwater_quantity::Tol;
use cutwater_syntax::ast::{Comparison, Expr, ExprKind, ItemKind, Require, Rule};

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
            if !comparable(cx, d, &a, &b, &r.condition.value, e) {
                return Ok(Value::Unknown);
            }
            let gap = a.value.sub(&b.value);
            let (low, high) = match sign {
                Comparison::AtLeast | Comparison::Above => (0.0, f64::INFINITY),
                Comparison::AtMost | Comparison::Below => (f64::NEG_INFINITY, 0.0),
            };
            let window = Window {
                low,
                high,
                strict: matches!(sign, Comparison::Above | Comparison::Below),
                slack: 1e-12 * a.si().abs().max(b.si().abs()),
            };
            let settings = cx.settings();
            let unit = a.unit.clone().or(b.unit.clone());
            // What the value itself is compared with, where that is one number.
            let limit = Window {
                low: b.si(),
                high: b.si(),
                ..window
            };
            let shown_a = budget::given(&a, &limit, &settings);
            let shown_b = show::si(b.si(), b.kind, b.unit.as_ref().or(unit.as_ref()), &settings);
            let text = source_text(cx, d, r.condition.value.span);
            verdict(
                cx,
                d,
                &window,
                &Said {
                    text,
                    asked: format!("{} {shown_b}", sign.sign()),
                    given: shown_a,
                    a: &a,
                    judged: &gap,
                    // The spread of the difference is not that of the value where the limit has one too.
                    spread: (!b.value.is_toleranced())
                        .then(|| budget::spread(&a, &limit, &settings)),
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
            if !comparable(cx, d, &a, &as_quantity, &r.condition.value, e) {
                return Ok(Value::Unknown);
            }
            let settings = cx.settings();
            let window = Window {
                low: range.low,
                high: range.high,
                strict: false,
                slack: 1e-12 * range.high.abs().max(range.low.abs()),
            };
            let mut shown = a.clone();
            if shown.unit.is_none() {
                shown.unit = range.unit.clone();
            }
            let given = budget::given(&shown, &window, &settings);
            let text = source_text(cx, d, r.condition.value.span);
            verdict(
                cx,
                d,
                &window,
                &Said {
                    text,
                    asked: format!("within {}", show::range(&range, &settings)),
                    given,
                    a: &a,
                    judged: &a.value,
                    spread: Some(budget::spread(&shown, &window, &settings)),
                    limits: vec![("lower limit", range.low), ("upper limit", range.high)],
                },
            )
        }
    }
}

pub(super) fn comparable(
    cx: &mut Cx<'_>,
    d: DeclId,
    a: &Quantity,
    b: &Quantity,
    left: &Expr,
    right: &Expr,
) -> bool {
    let span = left.span.join(right.span);
    match a.kind.comparable(b.kind) {
        Ok(()) => {
            if let (Some(x), Some(y)) = (a.gallon, b.gallon)
                && x != y
            {
                let f = Finding::new(
                    &codes::MIXED_GALLONS,
                    Local::Span(d, span),
                    "US gallons are compared with imperial gallons".to_owned(),
                )
                .here("US and imperial gallons")
                .help("write both in one of them; 1 imperial gallon is 1.20095 US gallons");
                let mended = remedy::same_gallon(d, right, b, a)
                    .or_else(|| remedy::same_gallon(d, left, a, b));
                cx.report(remedy::with(f, mended));
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
    /// The left side as written.
    text: String,
    /// What is asked of it: `>= 3.0000 in`.
    asked: String,
    /// What it is.
    given: String,
    a: &'a Quantity,
    /// What must lie in the window: the value, or its distance from the limit.
    judged: &'a Tol,
    /// The root-sum-square range of the value in words, where it is that of what is judged.
    spread: Option<String>,
    limits: Vec<(&'static str, f64)>,
}

fn verdict(cx: &mut Cx<'_>, d: DeclId, window: &Window, said: &Said<'_>) -> Eval<Value> {
    let budget = Budget::of(said.judged, window);
    if budget.verdict == Verdict::Holds {
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
    let (text, given, asked) = (&said.text, &said.given, &said.asked);
    let spread = said
        .spread
        .as_ref()
        .map_or(String::new(), |s| format!(" ({s})"));
    let (code, message, here) = match budget.verdict {
        Verdict::Nominal | Verdict::Holds => (
            &codes::REQUIRE_FAILS,
            format!("`{text}` is {given}, not {asked}{reason}"),
            "does not hold",
        ),
        // Of one tolerance alone nothing is added up: root-sum-square and worst case are one.
        Verdict::Spread if budget.parts.len() == 1 => (
            &codes::REQUIRE_TIGHT,
            format!(
                "`{text}` is {given}: {asked} nominally, but neither by root-sum-square nor in the worst case, which are one for a single tolerance{reason}"
            ),
            "not over its tolerance",
        ),
        Verdict::Spread => (
            &codes::REQUIRE_UNLIKELY,
            format!(
                "`{text}` is {given}: {asked} nominally, but not by root-sum-square{spread}, nor in the worst case{reason}"
            ),
            "not over the root-sum-square range",
        ),
        Verdict::WorstCase => (
            &codes::REQUIRE_TIGHT,
            format!(
                "`{text}` is {given}: {asked} nominally and by root-sum-square{spread}, but not in the worst case{reason}"
            ),
            "not in the worst case",
        ),
    };
    let settings = cx.settings();
    let (kind, unit) = (said.a.kind, said.a.unit.as_ref());
    let place = Local::Span(d, r.condition.value.span);
    let mut f = Finding::new(code, place, message).here(here);
    if let Some(b) = &r.because {
        f = f.label(Local::Span(d, b.span), "the reason given");
        f = f.source("a rule of this spec");
    } else {
        f = f.source("a rule of this spec, without a reason");
    }
    let advice = budget::advice(cx, said.judged, kind, unit, window, &budget)?;
    for (place, text) in advice.labels {
        f = f.label(place, text);
    }
    f.help = advice.help;
    f = with_number(f, "value", said.a.si(), kind, unit, &settings);
    f = budget::with_numbers(f, &said.a.value, kind, unit, &budget, &settings);
    for (what, si) in &said.limits {
        f = with_number(f, what, *si, kind, unit, &settings);
    }
    cx.report(f);
    Ok(Value::Truth(budget.verdict != Verdict::Nominal))
}
