//! Wear rings and the pump's curve: what leaks back through them, and what other rings than the tested ones cost.
//!
//! The impeller passes what is delivered and what leaks back, so a curve belongs to the clearances it was tested with.
//! Invariants: what is computed here is `predicted`; where something of the rings is missing nothing is computed from
//! the curve, and it is said what.
//!
//! What it does not do: the leak of one ring itself (see `cutwater-mechanics`).

use super::super::rotor::given;
use super::{RATED, Source, joined, rating, source, tested_source};
use crate::codes::codes;
use crate::db::{Cx, Local};
use crate::value::{Origin, Quantity, Value};
use crate::{DeclId, Eval};
use cutwater_finding::Finding;
use cutwater_quantity::Kind;

codes! {
    /// Raised by `pump`.
    LEAK_UNKNOWN = "CW1312" "leakage-unknown" Error, "What other rings than the tested ones cost cannot be computed.",
        "A pump whose `rings` are not its `tested_rings` gives less, or more, than its curve: what leaks back through them is computed from the first stage's outside diameter and, of each ring, the diameter it runs on, its clearance, `land_length` and, of a labyrinth, `gaps`. Something of that is missing, so the curve cannot be moved and nothing is computed from it.",
        fires "impeller wheel {\n    outside_diameter = 10 in\n}\nring new {\n    bore        = 5.505 in\n    runs_on     = 5.500 in\n}\nring worn like new { bore = 5.520 in }\npump main {\n    rating = 500 gpm at 150 psi\n    stages = [wheel]\n    rings  = [worn]\n    tested_rings = [new]\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 185\n        700 150\n    }\n}\n",
        silent "impeller wheel {\n    outside_diameter = 10 in\n}\nring new {\n    bore        = 5.505 in\n    runs_on     = 5.500 in\n    land_length = 0.75 in\n}\nring worn like new { bore = 5.520 in }\npump main {\n    rating = 500 gpm at 150 psi\n    stages = [wheel]\n    rings  = [worn]\n    tested_rings = [new]\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 185\n        700 150\n    }\n}\n";
}

/// What runs back through rings at a shaft speed (rad/s), m³/s; the inner error names what is not given, with its place.
fn leak_of(
    cx: &mut Cx<'_>,
    d: DeclId,
    rings: &[DeclId],
    speed: f64,
) -> Eval<Result<Option<f64>, (Local, String)>> {
    use cutwater_mechanics::leakage::{Conditions, FrictionLaw, Gap, Rotation, chain_leakage};
    let Some(air) = crate::hydraulic::surroundings(cx, d)? else {
        return Ok(Ok(None));
    };
    let stage = match cx.get(d, "stages")? {
        Value::List(l) => l.iter().find_map(|v| match v {
            Value::Decl(i) => Some(*i),
            _ => None,
        }),
        Value::Unknown => return Ok(Ok(None)),
        _ => None,
    };
    let Some(stage) = stage else {
        return Ok(Err((Local::Head(d), "`stages` is not given".to_owned())));
    };
    let at = Conditions {
        density: air.density,
        kinematic_viscosity: air.viscosity / air.density,
        speed,
    };
    let mut sum = 0.0;
    for &ring in rings {
        let mut of = |decl: DeclId, field: &str| -> Eval<Result<f64, Option<(Local, String)>>> {
            Ok(match cx.get(decl, field)? {
                Value::Quantity(q) => Ok(q.si()),
                Value::Absent => Err(Some((
                    Local::Head(decl),
                    format!("`{field}` of `{}` is not given", cx.name(decl)),
                ))),
                _ => Err(None),
            })
        };
        let mut numbers = [0.0; 4];
        let wanted = [
            (stage, "outside_diameter"),
            (ring, "runs_on"),
            (ring, "clearance"),
            (ring, "land_length"),
        ];
        for (n, (decl, field)) in numbers.iter_mut().zip(wanted) {
            match of(decl, field)? {
                Ok(v) => *n = v,
                Err(None) => return Ok(Ok(None)),
                Err(Some(why)) => return Ok(Err(why)),
            }
        }
        let [outside, diameter, clearance, length] = numbers;
        let gaps = match cx.choice(ring, "form")? {
            Some("stepped") => 2,
            Some("labyrinth") => match cx.si(ring, "gaps")? {
                Some(n) => n as usize,
                None => {
                    let why = format!("`gaps` of `{}` is not given", cx.name(ring));
                    return Ok(Err((Local::Head(ring), why)));
                }
            },
            _ => 1,
        };
        let gap = Gap {
            diameter,
            clearance,
            length,
            inlet_loss: 0.5,
            exit_loss: 1.0,
            roughness: 0.0,
        };
        let (tip, here) = (0.5 * speed * outside, 0.5 * speed * diameter);
        let pressure = 0.75 * 0.5 * air.density * (tip * tip - here * here);
        let gaps = vec![gap; gaps.max(1)];
        let turns = vec![0.0; gaps.len() - 1];
        let leak = chain_leakage(
            &gaps,
            &turns,
            pressure,
            &at,
            FrictionLaw::Blasius,
            Rotation::BulkFlow,
        );
        match leak {
            Ok(q) => sum += q,
            Err(e) => {
                return Ok(Err((
                    Local::Head(ring),
                    format!("`{}`: {e}", cx.name(ring)),
                )));
            }
        }
    }
    Ok(Ok(Some(sum)))
}

/// The rings of a field, and the speed of the curve they are looked at with.
fn rings_of(cx: &mut Cx<'_>, d: DeclId, field: &str) -> Eval<Result<(Vec<DeclId>, f64), Value>> {
    let list = match cx.get(d, field)? {
        Value::List(l) => l,
        Value::Unknown => return Ok(Err(Value::Unknown)),
        _ => return Ok(Err(Value::Absent)),
    };
    let rings = list.iter().filter_map(|v| match v {
        Value::Decl(r) => Some(*r),
        _ => None,
    });
    let rings: Vec<DeclId> = rings.collect();
    let source = match tested_source(cx, d, RATED)? {
        Ok(s) => s,
        Err(v) => return Ok(Err(v)),
    };
    Ok(match source.table.at.as_ref() {
        Some(at) => Ok((rings, at.si())),
        None => Err(Value::Absent),
    })
}

pub(super) fn ring_leakage(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (rings, speed) = given!(rings_of(cx, d, "rings"));
    if rings.is_empty() {
        return Ok(Value::Absent);
    }
    Ok(match leak_of(cx, d, &rings, speed)? {
        Ok(Some(q)) => Value::Quantity(Quantity::computed(Kind::Flow, q).origin(Origin::Predicted)),
        Ok(None) => Value::Unknown,
        // Only a comparison with the test needs it.
        Err(_) => Value::Absent,
    })
}

pub(super) fn extra_leakage(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (tested, speed) = given!(rings_of(cx, d, "tested_rings"));
    let now = match rings_of(cx, d, "rings")? {
        Ok((r, _)) => r,
        Err(Value::Absent) => Vec::new(),
        Err(v) => return Ok(v),
    };
    let mut flows = [0.0; 2];
    for (q, rings) in flows.iter_mut().zip([&now, &tested]) {
        let why = match leak_of(cx, d, rings, speed)? {
            Ok(Some(leak)) => {
                *q = leak;
                continue;
            }
            Ok(None) => return Ok(Value::Unknown),
            Err(why) => why,
        };
        let place = cx.place(d, "tested_rings");
        let message = format!(
            "what the rings of `{}` cost against those of its test cannot be computed: {}",
            cx.name(d),
            why.1
        );
        cx.report(
            Finding::new(&LEAK_UNKNOWN, place, message)
                .here("compared with these")
                .label(why.0, "not enough is given here")
                .help(
                    "give it, or leave `tested_rings` out: then the curve counts as it was tested",
                ),
        );
        return Ok(Value::Unknown);
    }
    let [now, then] = flows;
    Ok(Value::Quantity(
        Quantity::computed(Kind::Flow, now - then).origin(Origin::Predicted),
    ))
}

pub(super) fn wear_loss(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    if let Value::Absent = cx.get(d, "extra_leakage")? {
        return Ok(Value::Absent);
    }
    let (flow, _) = given!(rating(cx, d));
    let (tested, now) = (
        given!(tested_source(cx, d, RATED)),
        given!(source(cx, d, RATED)),
    );
    let net = |s: &Source| {
        let curve = joined(s, None)?;
        curve.rise(flow.si(), curve.tested_speed()).ok()
    };
    Ok(match (net(&tested), net(&now)) {
        (Some(a), Some(b)) => {
            let mut q = now.read(Kind::Pressure, a - b, "net");
            q.origin = q.origin.with(Origin::Predicted);
            Value::Quantity(q)
        }
        _ => Value::Absent,
    })
}
