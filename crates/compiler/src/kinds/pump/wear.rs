//! Wear rings and the pump's curve: what leaks back through them, what other rings than the tested ones cost, and which
//! clearance would explain a point that was measured.
//!
//! The impeller passes what is delivered and what leaks back, so a curve belongs to the clearances it was tested with.
//! Invariants: what is computed here is `predicted`; where something of the rings is missing nothing is computed from
//! the curve, and it is said what.
//!
//! What it does not do: the leak of one ring itself (see `cutwater-mechanics`).

use super::super::rotor::{given, need, with_number};
use super::{RATED, Source, joined, rating, source, tested_source};
use crate::codes::{OUT_OF_RANGE, codes};
use crate::db::{Cx, Local};
use crate::hydraulic::{N, Numbers};
use crate::schema::short::{not_negative, optional, own, positive, required};
use crate::schema::{ComputedDef, GroupDef, Type};
use crate::value::{Origin, Quantity, Value};
use crate::{DeclId, Eval, show};
use cutwater_finding::Finding;
use cutwater_hydraulics::pump::PumpCurve;
use cutwater_mechanics::MechanicsError;
use cutwater_mechanics::leakage::{
    Conditions, FrictionLaw, Gap, Path, Rotation, opened_leakage, opening_for,
};
use cutwater_quantity::{Direction, Kind, Tol};

codes! {
    /// Raised by `pump`.
    LEAK_UNKNOWN = "CW1312" "leakage-unknown" Error, "What other rings than the tested ones cost cannot be computed.",
        "A pump whose `rings` are not its `tested_rings` gives less, or more, than its curve: what leaks back through them is computed from the first stage's outside diameter and, of each ring, the diameter it runs on, its clearance, `land_length` and, of a labyrinth, `gaps`. Something of that is missing, so the curve cannot be moved and nothing is computed from it.",
        fires "impeller wheel {\n    outside_diameter = 10 in\n}\nring new {\n    bore        = 5.505 in\n    runs_on     = 5.500 in\n}\nring worn like new { bore = 5.520 in }\npump main {\n    rating = 500 gpm at 150 psi\n    stages = [wheel]\n    rings  = [worn]\n    tested_rings = [new]\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 185\n        700 150\n    }\n}\n",
        silent "impeller wheel {\n    outside_diameter = 10 in\n}\nring new {\n    bore        = 5.505 in\n    runs_on     = 5.500 in\n    land_length = 0.75 in\n}\nring worn like new { bore = 5.520 in }\npump main {\n    rating = 500 gpm at 150 psi\n    stages = [wheel]\n    rings  = [worn]\n    tested_rings = [new]\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 185\n        700 150\n    }\n}\n";
    /// Raised by `pump`.
    UNEXPLAINED = "CW1313" "clearance-unexplained" Warning, "No clearance of the rings explains a measured point.",
        "The point in `measured` is compared with the tested curve, brought to the speed of the test by the affinity laws. Wear only takes: a point above the curve is not explained by it, and opening the rings to 3 % of their diameter, beyond what a ring in its place can have, takes so much and no more. Then something else is the reason, or the readings are not right: air in the suction, a blocked strainer or impeller, a changeover or relief valve that passes water, a gauge, the tachometer.",
        fires "impeller wheel { outside_diameter = 10 in }\nring new {\n    bore        = 5.505 in\n    runs_on     = 5.500 in\n    land_length = 0.75 in\n}\npump main {\n    rating = 500 gpm at 150 psi\n    stages = [wheel]\n    rings  = [new]\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 185\n        700 150\n    }\n    measured {\n        point = 500 gpm at 180 psi\n        speed = 3000 rpm\n    }\n}\n",
        silent "impeller wheel { outside_diameter = 10 in }\nring new {\n    bore        = 5.505 in\n    runs_on     = 5.500 in\n    land_length = 0.75 in\n}\npump main {\n    rating = 500 gpm at 150 psi\n    stages = [wheel]\n    rings  = [new]\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 185\n        700 150\n    }\n    measured {\n        point = 500 gpm at 168 psi\n        speed = 3000 rpm\n    }\n}\n";
}

/// Rings as the water leaks through them, and the water.
pub(super) struct Leaks {
    paths: Vec<Path>,
    at: Conditions,
}

impl Leaks {
    /// What runs back through all of them with each gap opened by so much (m, on the diameter), m³/s.
    pub(super) fn flow(&self, opening: f64) -> Result<f64, MechanicsError> {
        opened_leakage(&self.paths, opening, &self.at, LAW, ROTATION)
    }
}

const LAW: FrictionLaw = FrictionLaw::Blasius;
const ROTATION: Rotation = Rotation::BulkFlow;

/// A ring as the water leaks through it; `T` holds a length, m.
#[derive(Clone, Copy, Debug)]
struct RingSizes<T> {
    /// Outside diameter of the first stage's impeller.
    outside: T,
    /// What the ring runs on.
    diameter: T,
    /// On the diameter.
    clearance: T,
    /// Of each land.
    length: T,
    /// Lands one behind the other.
    gaps: usize,
}

/// The sizes of several rings, as they are stated.
type Sizes = Vec<RingSizes<Tol>>;

impl<T> RingSizes<T> {
    fn map<U>(self, mut of: impl FnMut(T) -> U) -> RingSizes<U> {
        RingSizes {
            outside: of(self.outside),
            diameter: of(self.diameter),
            clearance: of(self.clearance),
            length: of(self.length),
            gaps: self.gaps,
        }
    }
}

impl RingSizes<f64> {
    /// The way through it, with the head that drives water along it.
    fn path(&self, at: &Conditions) -> Path {
        let gap = Gap {
            diameter: self.diameter,
            clearance: self.clearance,
            length: self.length,
            inlet_loss: 0.5,
            exit_loss: 1.0,
            roughness: 0.0,
        };
        let (tip, here) = (
            0.5 * at.speed * self.outside,
            0.5 * at.speed * self.diameter,
        );
        let gaps = vec![gap; self.gaps];
        Path {
            turn_loss: vec![0.0; gaps.len() - 1],
            gaps,
            pressure: 0.75 * 0.5 * at.density * (tip * tip - here * here),
        }
    }
}

/// What water leaks under at a shaft speed, rad/s.
fn conditions(density: f64, viscosity: f64, speed: f64) -> Conditions {
    Conditions {
        density,
        kinematic_viscosity: viscosity / density,
        speed,
    }
}

/// The sizes of rings. `Ok(None)`: something is wrong, and said where it is wrong. The inner error names what is not given,
/// with its place.
fn sizes(
    cx: &mut Cx<'_>,
    d: DeclId,
    rings: &[DeclId],
) -> Eval<Result<Option<Sizes>, (Local, String)>> {
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
    let mut all = Vec::with_capacity(rings.len());
    for &ring in rings {
        let mut of = |decl: DeclId, field: &str| -> Eval<Result<Tol, Option<(Local, String)>>> {
            Ok(match cx.get(decl, field)? {
                Value::Quantity(q) => Ok(q.value),
                Value::Absent => Err(Some((
                    Local::Head(decl),
                    format!("`{field}` of `{}` is not given", cx.name(decl)),
                ))),
                _ => Err(None),
            })
        };
        let mut numbers = Vec::with_capacity(4);
        let wanted = [
            (stage, "outside_diameter"),
            (ring, "runs_on"),
            (ring, "clearance"),
            (ring, "land_length"),
        ];
        for (decl, field) in wanted {
            match of(decl, field)? {
                Ok(v) => numbers.push(v),
                Err(None) => return Ok(Ok(None)),
                Err(Some(why)) => return Ok(Err(why)),
            }
        }
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
        let Ok([outside, diameter, clearance, length]) = <[Tol; 4]>::try_from(numbers) else {
            return Ok(Ok(None));
        };
        all.push(RingSizes {
            outside,
            diameter,
            clearance,
            length,
            gaps: gaps.max(1),
        });
    }
    Ok(Ok(Some(all)))
}

/// Rings at a shaft speed (rad/s). `Ok(None)`: something is wrong, and said where it is wrong. The inner error names what
/// is not given, with its place.
pub(super) fn leaks(
    cx: &mut Cx<'_>,
    d: DeclId,
    rings: &[DeclId],
    speed: f64,
) -> Eval<Result<Option<Leaks>, (Local, String)>> {
    let Some(air) = crate::hydraulic::surroundings(cx, d)? else {
        return Ok(Ok(None));
    };
    let sizes = match sizes(cx, d, rings)? {
        Ok(Some(s)) => s,
        Ok(None) => return Ok(Ok(None)),
        Err(why) => return Ok(Err(why)),
    };
    let at = conditions(air.density, air.viscosity, speed);
    let mut paths = Vec::with_capacity(rings.len());
    for (size, &ring) in sizes.into_iter().zip(rings) {
        let leaks = Leaks {
            paths: vec![size.map(|t| t.nominal()).path(&at)],
            at,
        };
        // What the model refuses is the ring's own matter.
        if let Err(e) = leaks.flow(0.0) {
            return Ok(Err((
                Local::Head(ring),
                format!("`{}`: {e}", cx.name(ring)),
            )));
        }
        paths.extend(leaks.paths);
    }
    Ok(Ok(Some(Leaks { paths, at })))
}

/// A pump whose rings have tolerances, so that its curve is not one: the curves as tested, and both sets of rings.
#[derive(Clone, Debug)]
pub(crate) struct Wear {
    /// Rise, and power and NPSH required where they were tested.
    tested: [Option<PumpCurve>; 3],
    now: Vec<RingSizes<N>>,
    then: Vec<RingSizes<N>>,
    /// Stages that share the leak.
    stages: f64,
}

impl Wear {
    /// The curves (rise, power, NPSH required) with the rings of a sample `x`; `None` where a ring has no leak or it takes
    /// all of the curve.
    pub(crate) fn curves(
        &self,
        x: &[f64],
        density: f64,
        viscosity: f64,
    ) -> Option<[Option<PumpCurve>; 3]> {
        let speed = self.tested[0].as_ref()?.tested_speed();
        let at = conditions(density, viscosity, speed);
        let leak = |rings: &[RingSizes<N>]| {
            let paths = rings.iter().map(|r| r.map(|n| n.of(x)).path(&at));
            let leaks = Leaks {
                paths: paths.collect(),
                at,
            };
            leaks.flow(0.0).ok()
        };
        let extra = (leak(&self.now)? - leak(&self.then)?) / self.stages;
        let mut out = [None, None, None];
        for (out, tested) in out.iter_mut().zip(&self.tested) {
            if let Some(c) = tested {
                *out = Some(c.with_leak(extra).ok()?);
            }
        }
        Some(out)
    }
}

/// What a pump's curve depends on by its rings, where one of their sizes has a tolerance; `None` where none has, or the
/// curve is as tested.
pub(crate) fn wear(
    cx: &mut Cx<'_>,
    pump: DeclId,
    position: Option<&str>,
    numbers: &mut Numbers,
) -> Eval<Option<Wear>> {
    if cx.pinned(pump, "extra_leakage").is_some() {
        return Ok(None);
    }
    let (Ok((then, _)), Ok((now, _))) = (
        rings_of(cx, pump, "tested_rings")?,
        rings_of(cx, pump, "rings")?,
    ) else {
        return Ok(None);
    };
    let (Ok(Some(then)), Ok(Some(now))) = (sizes(cx, pump, &then)?, sizes(cx, pump, &now)?) else {
        return Ok(None);
    };
    let varies = |r: &RingSizes<Tol>| {
        [&r.outside, &r.diameter, &r.clearance, &r.length]
            .map(Tol::is_toleranced)
            .contains(&true)
    };
    if !now.iter().chain(&then).any(varies) {
        return Ok(None);
    }
    let Ok(source) = tested_source(cx, pump, position)? else {
        return Ok(None);
    };
    let with = |column: &str| match source.table.has(column) {
        true => joined(&source, Some(column)),
        false => None,
    };
    let tested = [joined(&source, None), with("power"), with("npshr")];
    let stages = f64::from(source.in_series.unwrap_or(1).max(1));
    let mut keep = |rings: Vec<RingSizes<Tol>>| -> Vec<RingSizes<N>> {
        rings
            .into_iter()
            .map(|r| r.map(|t| numbers.keep(t)))
            .collect()
    };
    Ok(Some(Wear {
        tested,
        now: keep(now),
        then: keep(then),
        stages,
    }))
}

/// What runs back through rings at a shaft speed (rad/s), m³/s; the inner error names what is not given, with its place.
fn leak_of(
    cx: &mut Cx<'_>,
    d: DeclId,
    rings: &[DeclId],
    speed: f64,
) -> Eval<Result<Option<f64>, (Local, String)>> {
    Ok(match leaks(cx, d, rings, speed)? {
        Ok(Some(l)) => match l.flow(0.0) {
            Ok(q) => Ok(Some(q)),
            Err(e) => Err((Local::Head(d), format!("`{}`: {e}", cx.name(d)))),
        },
        Ok(None) => Ok(None),
        Err(why) => Err(why),
    })
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

// ---- which clearance explains a measured point -----------------------------------------------------------

pub(super) const MEASURED: GroupDef = GroupDef {
    name: "measured",
    doc: "A point the pump was measured at, to see which clearance of its rings would explain it. With tolerances, as `500 gpm ± 10 gpm at 160 psi ± 2 psi`, the answer has its range.",
    fields: &[
        own(required(
            "point",
            Type::Phrase(super::FLOW_AT_PRESSURE),
            "Flow and net pressure, as `500 gpm at 160 psi`.",
        )),
        own(required(
            "speed",
            positive(Kind::RotationalSpeed),
            "Speed of the pump shaft.",
        )),
        own(optional(
            "position",
            Type::Choice(&[
                (
                    "series",
                    "Each stage adds its pressure (pressure position).",
                ),
                ("parallel", "Each stage adds its flow (volume position)."),
            ]),
            "Of a pump with a changeover valve, how it stood; in parallel where it is not said.",
        )),
    ],
};

pub(super) const EXPLAINING_OPENING: ComputedDef = ComputedDef {
    name: "explaining_opening",
    ty: not_negative(Kind::Length),
    doc: "By how much its rings, all alike and on the diameter, would have to be opened since the test of its curve to explain the measured point. One explanation among others: the same is lost to a blocked strainer or impeller, air, a valve that passes water, or a gauge.",
    formula: "the opening x with leak(clearance + x) − leak(clearance) = q* − q, where the tested curve makes at q* what was measured at q",
    source: "first-order model: the impeller passes what is delivered and what leaks back",
    solved: false,
    hint: false,
    eval: explaining_opening,
};

pub(super) const EXPLAINING_CLEARANCE: ComputedDef = ComputedDef {
    name: "explaining_clearance",
    ty: positive(Kind::Length),
    doc: "Diametral clearance of the first of its tested rings with explaining_opening: what to expect there if wear alone is the reason.",
    formula: "clearance + explaining_opening",
    source: "first-order model: the impeller passes what is delivered and what leaks back",
    solved: false,
    hint: false,
    eval: explaining_clearance,
};

/// Widest clearance looked at, over the diameter of the ring: a ring may be bored out by at most 3 % of its diameter
/// (published shop rule), and no ring still in its place is as wide.
const WIDEST: f64 = 0.03;

/// What a point means for the rings.
enum Explained {
    /// It lies above the tested curve by so much, Pa at the speed it was measured at.
    Above(f64),
    /// It lies off the tested flows, or the rings would take it there.
    Off,
    /// The rings opened so far, m, explain it.
    By(f64),
    /// The widest rings explain so much of what is missing: Pa explained, and Pa missing.
    TooMuch(f64, f64),
}

/// Everything a measured point is compared with.
struct Before {
    curve: PumpCurve,
    leaks: Leaks,
    /// Stages in series share the rings.
    share: f64,
    /// Largest opening looked at, m.
    most: f64,
}

impl Before {
    /// What explains a flow (m³/s), net pressure (Pa) and speed (rad/s).
    fn explain(&self, flow: f64, net: f64, speed: f64) -> Result<Explained, MechanicsError> {
        let r = speed / self.curve.tested_speed();
        let (q, p) = (flow / r, net / (r * r));
        let tested = self.curve.rise_curve();
        let Ok(here) = tested.value(q) else {
            return Ok(Explained::Off);
        };
        // What scaling there and back can round.
        let slack = 1e-9 * here.abs();
        if p > here + slack {
            return Ok(Explained::Above((p - here) * r * r));
        }
        let as_it_was = tested
            .all_at(p)
            .into_iter()
            .find(|x| *x >= q * (1.0 - 1e-12));
        let Some(as_it_was) = as_it_was else {
            return Ok(if p >= here - slack {
                Explained::By(0.0)
            } else {
                self.too_much(q, p, here, r)?
            });
        };
        let extra = (as_it_was - q).max(0.0) * self.share;
        Ok(
            match opening_for(
                &self.leaks.paths,
                extra,
                self.most,
                &self.leaks.at,
                LAW,
                ROTATION,
            )? {
                Some(x) => Explained::By(x),
                None => self.too_much(q, p, here, r)?,
            },
        )
    }

    fn too_much(&self, q: f64, p: f64, here: f64, r: f64) -> Result<Explained, MechanicsError> {
        let extra = (self.leaks.flow(self.most)? - self.leaks.flow(0.0)?) / self.share;
        Ok(match self.curve.rise_curve().value(q + extra) {
            Ok(there) => Explained::TooMuch((here - there) * r * r, (here - p) * r * r),
            Err(_) => Explained::Off,
        })
    }
}

fn explaining_opening(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let speed = given!(need(cx, d, "measured.speed"));
    let (flow, net) = match cx.get(d, "measured.point")? {
        Value::Phrase(parts) => {
            let part = |name: &str| parts.iter().find(|p| p.0 == name).map(|p| p.1.clone());
            match (part("flow"), part("pressure")) {
                (Some(q), Some(p)) if q.value.lo() > 0.0 && p.value.lo() > 0.0 => (q, p),
                (Some(_), Some(_)) => return not_above_zero(cx, d),
                _ => return Ok(Value::Unknown),
            }
        }
        Value::Absent => return Ok(Value::Absent),
        _ => return Ok(Value::Unknown),
    };
    let position = match cx.get(d, "measured.position")? {
        Value::Choice(w) => Some(w),
        Value::Unknown => return Ok(Value::Unknown),
        _ => RATED,
    };
    let source = given!(tested_source(cx, d, position));
    let Some(curve) = joined(&source, None) else {
        return Ok(Value::Absent);
    };
    let field = tested_field(cx, d)?;
    let (rings, _) = match rings_of(cx, d, field)? {
        Ok(r) => r,
        Err(Value::Absent) => (Vec::new(), 0.0),
        Err(v) => return Ok(v),
    };
    let found = if rings.is_empty() {
        Err((Local::Head(d), "`rings` is not given".to_owned()))
    } else {
        leaks(cx, d, &rings, curve.tested_speed())?
    };
    let leaks = match found {
        Ok(Some(l)) => l,
        Ok(None) => return Ok(Value::Unknown),
        Err(why) => {
            let place = cx.place(d, "measured.point");
            cx.report(
                Finding::new(
                    &LEAK_UNKNOWN,
                    place,
                    format!(
                        "which clearance would explain the point measured of `{}` cannot be computed: {}",
                        cx.name(d),
                        why.1
                    ),
                )
                .here("to be explained")
                .label(why.0, "not enough is given here")
                .help("give it, or leave `measured` out"),
            );
            return Ok(Value::Unknown);
        }
    };
    let most = leaks.paths.iter().flat_map(|p| &p.gaps);
    let most = most
        .map(|g| WIDEST * g.diameter - g.clearance)
        .fold(f64::INFINITY, f64::min);
    if most <= 0.0 {
        // The rings themselves are wider than any; what is said of their clearance says it all.
        return Ok(Value::Absent);
    }
    let before = Before {
        curve,
        leaks,
        share: f64::from(source.in_series.unwrap_or(1).max(1)),
        most,
    };
    let worst = before.explain(flow.value.lo(), net.value.lo(), speed.value.hi());
    let (Ok(nominal), Ok(worst)) = (before.explain(flow.si(), net.si(), speed.si()), worst) else {
        return Ok(Value::Unknown);
    };
    let said = match nominal {
        Explained::By(_) => None,
        Explained::Above(by) => match worst {
            // Within its tolerances it lies on the curve or below.
            Explained::By(_) | Explained::TooMuch(..) => None,
            _ => Some(Explained::Above(by)),
        },
        other => Some(other),
    };
    if let Some(what) = said {
        unexplained(cx, d, &source, &before, (&flow, &net, &speed), &what);
        return Ok(Value::Absent);
    }
    // Less flow or pressure at more speed asks for more clearance; beyond both ends it is kept at the end.
    let value = Tol::monotone(
        "clearance that explains a point",
        &[
            (&flow.value, Direction::Falling),
            (&net.value, Direction::Falling),
            (&speed.value, Direction::Rising),
        ],
        |v| match before.explain(v[0], v[1], v[2])? {
            Explained::By(x) => Ok(x),
            Explained::Above(_) => Ok(0.0),
            Explained::TooMuch(..) => Ok(before.most),
            Explained::Off => Err(MechanicsError::NotConverged(
                "clearance that explains a point",
            )),
        },
    );
    Ok(match value {
        Ok(value) => {
            let mut q = Quantity::from_tol(Kind::Length, value).origin(Origin::Predicted);
            q.unit = cx.quantity(rings[0], "clearance")?.and_then(|c| c.unit);
            Value::Quantity(q)
        }
        // Over its tolerances the point leaves the tested flows.
        Err(_) => {
            unexplained(
                cx,
                d,
                &source,
                &before,
                (&flow, &net, &speed),
                &Explained::Off,
            );
            Value::Absent
        }
    })
}

/// The field that holds the rings of the test.
fn tested_field(cx: &mut Cx<'_>, d: DeclId) -> Eval<&'static str> {
    Ok(match cx.get(d, "tested_rings")? {
        Value::Absent => "rings",
        _ => "tested_rings",
    })
}

fn explaining_clearance(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let opening = given!(need(cx, d, "explaining_opening"));
    let field = tested_field(cx, d)?;
    let Some(first) = cx.references(d, field)?.first().copied() else {
        return Ok(Value::Absent);
    };
    let clearance = given!(need(cx, first, "clearance"));
    Ok(Value::Quantity(Quantity {
        value: Tol::exact(clearance.si()).add(&opening.value),
        unit: clearance.unit,
        ..opening
    }))
}

fn not_above_zero(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let place = cx.place(d, "measured.point");
    let message = format!(
        "the point measured of `{}` must have a flow and a net pressure above zero over all of their tolerances",
        cx.name(d)
    );
    cx.report(
        Finding::new(&OUT_OF_RANGE, place, message)
            .here("not above zero")
            .help("measure with water flowing; a point with no flow says nothing of a leak that small"),
    );
    Ok(Value::Unknown)
}

/// Says that no clearance explains the point, and what is left over.
fn unexplained(
    cx: &mut Cx<'_>,
    d: DeclId,
    source: &Source,
    before: &Before,
    (flow, net, speed): (&Quantity, &Quantity, &Quantity),
    what: &Explained,
) {
    let settings = cx.settings();
    let name = cx.name(d);
    let point = format!(
        "{} at {} and {}",
        show::quantity(flow, &settings),
        show::quantity(net, &settings),
        show::quantity(speed, &settings)
    );
    let pressure = |si: f64| show::si(si, Kind::Pressure, net.unit.as_ref(), &settings);
    let unit = net.unit.as_ref();
    let (message, here, help, numbers) = match what {
        Explained::Above(by) => (
            format!(
                "no clearance explains {point} of `{name}`: that is {} above its curve, and wear only takes",
                pressure(*by)
            ),
            "above the curve",
            "check flow, gauges and speed; or the curve was taken with wider rings, another impeller or at another speed than it says",
            vec![("above the curve", *by)],
        ),
        Explained::TooMuch(explained, missing) => {
            let widest = show::si(before.most, Kind::Length, None, &settings);
            let numbers = vec![
                ("missing", *missing),
                ("explained by the widest rings", *explained),
            ];
            (
                format!(
                    "no clearance explains {point} of `{name}`: {} are missing, and rings opened by {widest}, to 3 % of their diameter, take {}",
                    pressure(*missing),
                    pressure(*explained)
                ),
                "more than rings can lose",
                "look for air in the suction, a blocked strainer or impeller, a changeover or relief valve that passes water, and gauges; before a pump is opened it is shut down, relieved of pressure and locked out",
                numbers,
            )
        }
        _ => (
            format!(
                "the tested flows of `{name}` do not reach as far as what would explain {point}: nothing can be said of its rings"
            ),
            "beyond the tested flows",
            "measure at a smaller flow, inside the tested ones when brought to the speed of the test; or give a curve that reaches further",
            Vec::new(),
        ),
    };
    let place = cx.place(d, "measured.point");
    let at_table = cx.place(d, source.name);
    let mut f = Finding::new(&UNEXPLAINED, place, message)
        .here(here)
        .label(at_table, "compared with this curve")
        .help(help)
        .source("first-order model of leakage; 3 % of a ring's diameter is the most it is bored out (published shop rule)");
    for (what, si) in numbers {
        f = with_number(f, what, si, Kind::Pressure, unit, &settings);
    }
    cx.report(f);
}
