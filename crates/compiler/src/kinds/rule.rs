//! `let` and `require`: named values and the spec's own rules.

use crate::db::{Cx, Local};
use crate::eval::Ev;
use crate::remedy;
use crate::schema::short::optional;
use crate::schema::{BLANK, ComputedDef, KindDef, Type};
use crate::show;
use crate::value::{Quantity, Value};
use crate::{DeclId, Eval, codes};
use cutwater_finding::{Code, Finding};
use cutwater_syntax::ast::{Comparison, Expr, ItemKind, Rule};

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
    doc: "A rule of the spec's own: `require gap within 0.003 .. 0.007 in because \"…\"`. It is checked on every change; where it does not hold, the finding shows both sides and the reason.",
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
    let value = Ev { cx, owner: d }.expr(&r.condition.value, None)?;
    let Value::Quantity(a) = value else {
        if !matches!(value, Value::Unknown) {
            cx.report(
                Finding::new(
                    &codes::WRONG_TYPE,
                    Local::Span(d, r.condition.value.span),
                    format!(
                        "`require` compares numbers, and this is {}",
                        value.describe()
                    ),
                )
                .here(value.describe()),
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
                return Ok(Value::Unknown);
            };
            if !comparable(cx, d, &a, &b, &r.condition.value, e) {
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
                if range != Value::Unknown {
                    cx.report(
                        Finding::new(
                            &codes::WRONG_TYPE,
                            Local::Span(d, e.span),
                            "`within` takes a range, as `0.003 .. 0.007 in`".to_owned(),
                        )
                        .here(range.describe()),
                    );
                }
                return Ok(Value::Unknown);
            };
            let as_quantity = Quantity::computed(range.kind, range.low);
            if !comparable(cx, d, &a, &as_quantity, &r.condition.value, e) {
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

fn source_text(cx: &Cx<'_>, d: DeclId, span: cutwater_text::Span) -> String {
    let db = cx.db();
    span.shift(db.chunk(d).start)
        .slice(db.text(db.file_of(d)))
        .to_owned()
}

fn comparable(
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
