//! Impellers turned down since the test: the trim, and what it takes from the curve.
//!
//! The law of trim in use: flow with the diameter, pressure with its square, power with its cube, at one speed. It is rough,
//! because a wheel that is cut is no longer like the one it was; texts say that the real head falls more. So what follows
//! from it is `predicted`, and beyond the limit of practice nothing is computed at all.
//!
//! What it does not do: wheels larger than the tested ones, stages cut unlike, the correction charts of makers.

use super::super::rotor::{given, need, with_number};
use super::{RATED, Source, joined, rating, source, tested_source};
use crate::codes::codes;
use crate::db::Cx;
use crate::schema::short::{positive, signed};
use crate::schema::{ComputedDef, Type};
use crate::value::{Origin, Quantity, Record, Value};
use crate::{DeclId, Eval, show};
use cutwater_finding::Finding;
use cutwater_quantity::Kind;
use std::sync::Arc;

codes! {
    /// Raised by `pump`.
    TRIM_BEYOND = "CW1316" "trim-beyond" Error, "Impellers that the law of trim does not reach.",
        "A pump whose `tested_diameter` is not the outside diameter of its impellers counts its curve by the law of trim: flow with the diameter, pressure with its square, power with its cube. That holds roughly, for all stages cut alike, down to 80 % of the tested diameter (80 to 85 % is common practice); the real pressure falls more than the law says. It does not hold for a wheel that is larger than the tested one. Outside of that nothing is computed from the curve: test the pump as it is now.",
        fires "impeller wheel { outside_diameter = 7.5 in }\npump main {\n    rating = 500 gpm at 100 psi\n    stages = [wheel]\n    tested_diameter = 10 in\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 185\n        700 150\n    }\n}\n",
        silent "impeller wheel { outside_diameter = 9.5 in }\npump main {\n    rating = 500 gpm at 100 psi\n    stages = [wheel]\n    tested_diameter = 10 in\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 185\n        700 150\n    }\n}\n";
}

/// Least share of the tested diameter for which the law of trim is used: 80 to 85 % is common practice.
const LEAST: f64 = 0.80;

pub(super) const TRIM_RATIO: ComputedDef = ComputedDef {
    name: "trim_ratio",
    ty: positive(Kind::Ratio),
    doc: "Outside diameter of its impellers as a share of that in the test.",
    formula: "outside_diameter / tested_diameter",
    source: "geometry",
    solved: false,
    hint: false,
    eval: trim_ratio,
};

pub(super) const TRIM_LOSS: ComputedDef = ComputedDef {
    name: "trim_loss",
    ty: signed(Kind::Pressure),
    doc: "Net pressure that the smaller impellers cost at the rated flow, at the speed of the curve. The real loss is larger: cut less than computed, and test.",
    formula: "net of the tested curve at rating.flow − trim_ratio² · net of the tested curve at rating.flow / trim_ratio",
    source: "law of trim: flow with the diameter, pressure with its square (published; rough)",
    solved: false,
    hint: false,
    eval: trim_loss,
};

pub(super) const PRESENT_CURVE: ComputedDef = ComputedDef {
    name: "present_curve",
    ty: Type::Any,
    doc: "The curve that counts now, at the speed of the test, where smaller impellers or other rings than the tested ones move it: flow, net pressure, and power where it was tested; of a changeover pump in parallel. Duties are solved with it.",
    formula: "the tested rows, scaled by trim_ratio, less extra_leakage",
    source: "law of trim; first-order model of leakage",
    solved: false,
    hint: false,
    eval: present_curve,
};

fn trim_ratio(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let tested = given!(need(cx, d, "tested_diameter"));
    let at_tested = cx.place(d, "tested_diameter");
    let settings = cx.settings();
    let name = cx.name(d);
    let wheels = match cx.get(d, "stages")? {
        Value::Unknown => return Ok(Value::Unknown),
        _ => cx.references(d, "stages")?,
    };
    let mut first: Option<(DeclId, Quantity)> = None;
    for wheel in wheels {
        let q = match need(cx, wheel, "outside_diameter")? {
            Ok(q) => q,
            // Said where it is missing.
            Err(_) => return Ok(Value::Unknown),
        };
        match &first {
            None => first = Some((wheel, q)),
            Some((_, a)) if (a.si() - q.si()).abs() <= 1e-6 * a.si() => {}
            Some((one, a)) => {
                let f = Finding::new(
                    &TRIM_BEYOND,
                    at_tested,
                    format!(
                        "`{name}` has stages of {} and {}: by how much its curve is trimmed is only known where all are cut alike",
                        show::quantity(a, &settings),
                        show::quantity(&q, &settings)
                    ),
                )
                .here("compared with this")
                .label(cx.place(*one, "outside_diameter"), show::quantity(a, &settings))
                .label(cx.place(wheel, "outside_diameter"), show::quantity(&q, &settings))
                .help("test the pump as it is now, and give that curve without `tested_diameter`")
                .source("law of trim");
                cx.report(f);
                return Ok(Value::Unknown);
            }
        }
    }
    let Some((wheel, now)) = first else {
        cx.report(
            Finding::new(
                &TRIM_BEYOND,
                at_tested,
                format!(
                    "`{name}` states the diameter its impellers had in the test, and no `stages` with the diameter they have now"
                ),
            )
            .here("compared with what?")
            .help("list the impellers in `stages`, or take `tested_diameter` out"),
        );
        return Ok(Value::Unknown);
    };
    let ratio = now.si() / tested.si();
    let origin = now.origin.with(tested.origin);
    if (ratio - 1.0).abs() <= 1e-9 {
        return Ok(Value::Quantity(
            Quantity::computed(Kind::Ratio, 1.0).origin(origin),
        ));
    }
    if !(LEAST - 1e-9..1.0).contains(&ratio) {
        let (what, help) = if ratio > 1.0 {
            (
                "larger than in the test: the law of trim says nothing of a larger wheel",
                "check which is which, or test the pump as it is now and give that curve without `tested_diameter`",
            )
        } else {
            (
                "further trimmed than the 80 % of the tested diameter down to which the law of trim is used",
                "check both diameters, or test the pump as it is now and give that curve without `tested_diameter`",
            )
        };
        let at_wheel = cx.place(wheel, "outside_diameter");
        let unit = tested.unit.clone();
        let f = Finding::new(
            &TRIM_BEYOND,
            at_tested,
            format!(
                "the impellers of `{name}` are {} now and were {} when it was tested, {:.0} % of it: {what}",
                show::quantity(&now, &settings),
                show::quantity(&tested, &settings),
                100.0 * ratio
            ),
        )
        .here("diameter in the test")
        .label(at_wheel, "diameter now")
        .help(help)
        .source("80 to 85 % of the full diameter as the least: common practice");
        let f = with_number(
            f,
            "tested_diameter",
            tested.si(),
            Kind::Length,
            unit.as_ref(),
            &settings,
        );
        let f = with_number(
            f,
            "outside_diameter",
            now.si(),
            Kind::Length,
            unit.as_ref(),
            &settings,
        );
        cx.report(f.number("share of the tested diameter", 100.0 * ratio, "%"));
        return Ok(Value::Unknown);
    }
    Ok(Value::Quantity(
        Quantity::computed(Kind::Ratio, ratio).origin(origin),
    ))
}

fn trim_loss(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    if let Value::Absent = cx.get(d, "trim_ratio")? {
        return Ok(Value::Absent);
    }
    let (flow, _) = given!(rating(cx, d));
    let now = given!(tested_source(cx, d, RATED));
    let net = |s: &Source| {
        let curve = joined(s, None)?;
        curve.rise(flow.si(), curve.tested_speed()).ok()
    };
    let after = net(&now);
    let mut before = now;
    before.trim = 1.0;
    Ok(match (net(&before), after) {
        (Some(a), Some(b)) => {
            let mut q = before.read(Kind::Pressure, a - b, "net");
            q.origin = q.origin.with(Origin::Predicted);
            Value::Quantity(q)
        }
        _ => Value::Absent,
    })
}

fn present_curve(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let source = given!(source(cx, d, RATED));
    if source.trim == 1.0 && source.leak == 0.0 {
        return Ok(Value::Absent);
    }
    let Some(curve) = joined(&source, None) else {
        return Ok(Value::Absent);
    };
    let rise = curve.rise_curve();
    let rows = rise.abscissae().iter().zip(rise.ordinates()).map(|(q, p)| {
        let mut fields = vec![
            (
                "flow".into(),
                Value::Quantity(source.read(Kind::Flow, *q, "flow")),
            ),
            (
                "pressure".into(),
                Value::Quantity(source.read(Kind::Pressure, *p, "net")),
            ),
        ];
        if let Some(Ok(power)) = curve.power_curve().map(|c| c.value(*q)) {
            fields.push((
                "power".into(),
                Value::Quantity(source.read(Kind::Power, power, "power")),
            ));
        }
        Value::Record(Arc::new(Record {
            what: "row of the curve",
            fields,
        }))
    });
    Ok(Value::List(rows.collect()))
}
