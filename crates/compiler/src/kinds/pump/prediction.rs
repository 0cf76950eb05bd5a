//! What a pump should give by its geometry alone, where its spec asks for that with `prediction { … }`.
//!
//! The model and its sources are in `cutwater_mechanics::prediction`; here its numbers are gathered from the impeller, the
//! volute and the rings, and stages are joined. Invariants: everything is `predicted` and carries the expected scatter as its
//! tolerance, so that no rule holds firmly on the strength of it; no duty and no test is solved or judged with it.
//!
//! What it does not do: stages that are unlike, vaned diffusers, a curve below half of the best flow.

use super::super::rotor::{given, need, with_number};
use super::wear::leaks;
use super::{Layout, RATED, Source, eyes, joined, rating, source};
use crate::codes::codes;
use crate::db::{Cx, Local};
use crate::schema::short::{default, optional, positive};
use crate::schema::{ComputedDef, GroupDef, Type};
use crate::value::{Origin, Quantity, Record, Value};
use crate::{DeclId, Eval, show};
use cutwater_finding::Finding;
use cutwater_mechanics::MechanicsError;
use cutwater_mechanics::STANDARD_GRAVITY;
use cutwater_mechanics::impeller::Exit;
use cutwater_mechanics::prediction::{
    BEST_FLOW_SCATTER, Fluid, HEAD_SCATTER, LEAST_SHARE, POWER_SCATTER, Point, Slip, Stage,
};
use cutwater_quantity::{CompoundUnit, Kind, Tol};
use smol_str::SmolStr;
use std::f64::consts::PI;
use std::sync::Arc;

codes! {
    /// Raised by `pump`.
    DIFFERS = "CW1314" "prediction-differs" Advice, "A tested curve outside of what the geometry should give.",
        "The prediction from geometry has a scatter of 10 % in pressure near the best flow (5 to 10 % from memory of texts). A tested curve outside of it has a reason: a diameter that is not the wheel's, one stage more or less than listed, another speed than the table says, a unit, or a dimension of the wheel or volute that is wrong. The finding says which diameter, speed or number of stages alone would explain it. The test is not thereby wrong: a measurement goes before a prediction.",
        fires "impeller wheel {\n    outside_diameter = 9.75 in\n    exit_width       = 0.85 in\n    eye_diameter     = 5 in\n    vanes            = 6\n    vane_exit_angle  = 24 deg\n    vane_inlet_angle = 20 deg\n    vane_thickness   = 0.2 in\n}\nring front {\n    bore        = 5.505 in\n    runs_on     = 5.500 in\n    land_length = 0.75 in\n}\npump main {\n    rating      = 750 gpm at 150 psi\n    stages      = [wheel]\n    rings       = [front]\n    throat_area = 5.6 in^2\n    prediction { }\n    curve at 3000 rpm (flow gpm, net psi) {\n           0 210\n         500 200\n         750 180\n        1000 150\n    }\n}\n",
        silent "impeller wheel {\n    outside_diameter = 9.75 in\n    exit_width       = 0.85 in\n    eye_diameter     = 5 in\n    vanes            = 6\n    vane_exit_angle  = 24 deg\n    vane_inlet_angle = 20 deg\n    vane_thickness   = 0.2 in\n}\nring front {\n    bore        = 5.505 in\n    runs_on     = 5.500 in\n    land_length = 0.75 in\n}\npump main {\n    rating      = 750 gpm at 120 psi\n    stages      = [wheel]\n    rings       = [front]\n    throat_area = 5.6 in^2\n    prediction { }\n    curve at 3000 rpm (flow gpm, net psi) {\n           0 138\n         500 134\n         750 125\n        1000 108\n    }\n}\n";
    /// Raised by `pump`.
    INCOMPLETE = "CW1315" "prediction-incomplete" Warning, "A prediction is asked for, and its geometry is not complete.",
        "`prediction { … }` asks what the pump should give by its geometry. That needs, of the impeller, `outside_diameter`, `exit_width`, `eye_diameter`, `vanes`, `vane_exit_angle` and `vane_inlet_angle` (`vane_thickness`, `inlet_width` and `vane_inlet_diameter` make it better), and of the pump its `stages`, all alike, how they are joined, its `rings` with `land_length`, its `throat_area`, and a speed: that of its tested curve or `speed` in the block. With `slip = stated` it needs `slip_factor`. Nothing is predicted from less.\n\nA prediction does not stand in for a tested curve: no duty is solved with it.",
        fires "impeller wheel { outside_diameter = 9.75 in }\npump main {\n    rating = 750 gpm at 150 psi\n    stages = [wheel]\n    prediction { speed = 3000 rpm }\n}\n",
        silent "impeller wheel { outside_diameter = 9.75 in }\npump main {\n    rating = 750 gpm at 150 psi\n    stages = [wheel]\n}\n";
    /// Raised by `pump`.
    BEYOND = "CW1319" "prediction-beyond" Advice, "The rating lies where nothing is predicted.",
        "The prediction holds from half of the best flow to 1.25 times it. Below, water runs back out of the eye and no such model holds; above, losses grow beyond what it can say. A pump rated there has an impeller or volute too large or too small for its rating, or a dimension is wrong: check `throat_area`, `exit_width` and the speed.",
        fires "impeller wheel {\n    outside_diameter = 9.75 in\n    exit_width       = 0.85 in\n    eye_diameter     = 5 in\n    vanes            = 6\n    vane_exit_angle  = 24 deg\n    vane_inlet_angle = 20 deg\n    vane_thickness   = 0.2 in\n}\nring front {\n    bore        = 5.505 in\n    runs_on     = 5.500 in\n    land_length = 0.75 in\n}\npump main {\n    rating      = 250 gpm at 150 psi\n    stages      = [wheel]\n    rings       = [front]\n    throat_area = 5.6 in^2\n    prediction { speed = 3000 rpm }\n}\n",
        silent "impeller wheel {\n    outside_diameter = 9.75 in\n    exit_width       = 0.85 in\n    eye_diameter     = 5 in\n    vanes            = 6\n    vane_exit_angle  = 24 deg\n    vane_inlet_angle = 20 deg\n    vane_thickness   = 0.2 in\n}\nring front {\n    bore        = 5.505 in\n    runs_on     = 5.500 in\n    land_length = 0.75 in\n}\npump main {\n    rating      = 750 gpm at 150 psi\n    stages      = [wheel]\n    rings       = [front]\n    throat_area = 5.6 in^2\n    prediction { speed = 3000 rpm }\n}\n";
}

pub(super) const ASKED: GroupDef = GroupDef {
    name: "prediction",
    doc: "Asks what the pump should give by its geometry: `prediction { }`. It never stands in for a tested curve.",
    fields: &[
        default(
            "slip",
            Type::Choice(&[
                (
                    "guelich",
                    "By Wiesner, times the 0.98 by which Gülich corrects it for radial wheels of pumps.",
                ),
                ("wiesner", "By Wiesner (1967)."),
                ("stodola", "By Stodola (1927)."),
                ("stated", "By `slip_factor`."),
            ]),
            "guelich",
            "made for pumps",
            "How much less the water turns than the vanes at their exit.",
        ),
        optional(
            "slip_factor",
            positive(Kind::Ratio),
            "Slip factor σ of one's own, with `slip = stated`: whirl at the exit = σ · u₂ − c_m2 / tan β₂.",
        ),
        optional(
            "speed",
            positive(Kind::RotationalSpeed),
            "Speed it is predicted for; that of the tested curve where it is not said.",
        ),
        default(
            "roughness",
            positive(Kind::Length),
            "0.1 mm",
            "sand-cast bronze, from memory of texts",
            "Roughness of the passages, as sand roughness.",
        ),
    ],
};

/// What every predicted value rests on.
const SOURCE: &str = "Euler; slip by Wiesner (1967; times 0.98 after Gülich, published) or Stodola (1927); losses after Pfleiderer and Gülich, disc friction after Daily and Nece (1960), from memory; leakage through the rings";

macro_rules! predicted {
    ($constant:ident $name:literal $ty:expr, $doc:literal, $formula:literal, $eval:ident) => {
        pub(super) const $constant: ComputedDef = ComputedDef {
            name: $name,
            ty: $ty,
            doc: $doc,
            formula: $formula,
            source: SOURCE,
            solved: false,
            hint: false,
            eval: $eval,
        };
    };
}

predicted! {
    PREDICTED_PRESSURE "predicted_pressure" positive(Kind::Pressure),
    "Net pressure its geometry should give at the rated flow, at the speed of `prediction` or of the tested curve, within ±10 % (scatter of such methods, from memory). No duty and no test is judged by it.",
    "stages · density · g · (u₂ c_u2 / g − incidence − friction − radial part − mismatch at the throat − discharge)", predicted_pressure
}
predicted! {
    PREDICTED_POWER "predicted_power" positive(Kind::Power),
    "Shaft power its geometry should ask for at the rated flow, within ±15 % (from memory).",
    "(density · (flow + leak) · u₂ c_u2 + disc friction) / 0.98, of all stages", predicted_power
}
predicted! {
    PREDICTED_EFFICIENCY "predicted_efficiency" positive(Kind::Ratio),
    "Efficiency its geometry should have at the rated flow. Real fire pumps lie below: 68 to 75 % at their best (published).",
    "rating.flow · predicted_pressure / predicted_power", predicted_efficiency
}
predicted! {
    PREDICTED_BEST_FLOW "predicted_best_flow" positive(Kind::Flow),
    "Flow at which its geometry should have its best efficiency, within ±15 % (from memory).",
    "the flow where predicted efficiency is largest", predicted_best_flow
}
predicted! {
    PREDICTED_BEST_EFFICIENCY "predicted_best_efficiency" positive(Kind::Ratio),
    "Best efficiency its geometry should have.",
    "largest predicted efficiency", predicted_best_efficiency
}
predicted! {
    PREDICTED_SHUTOFF_PRESSURE "predicted_shutoff_pressure" positive(Kind::Pressure),
    "Net pressure its geometry should give with everything closed, by a rule of thumb: 0.585 u₂² / g for a stage (Stepanoff, published), within ±10 %.",
    "stages · density · 0.585 u₂²", predicted_shutoff_pressure
}
predicted! {
    PREDICTED_CURVE "predicted_curve" Type::Any,
    "Flow, net pressure, power and efficiency its geometry should give, from half of the best flow to 1.25 times it, and the pressure with everything closed by the rule of thumb. Never used by a duty.",
    "as predicted_pressure and predicted_power, flow by flow", predicted_curve
}
predicted! {
    PREDICTED_LOSSES "predicted_losses" Type::Record,
    "Where the head of one stage goes at the rated flow: Euler's head with slip, each loss, and what is left.",
    "ideal − incidence − wheel friction − radial part − volute friction − mismatch − discharge", predicted_losses
}
predicted! {
    TRACE "trace" Type::Record,
    "The water's way through the first stage at the rated flow, station by station: velocities, and pressures over the total pressure at the intake. At the discharge the pressure is that of all stages.",
    "continuity; velocity triangles; static pressure = total pressure − density · velocity² / 2", trace
}

/// Shares of the best flow that the curve is shown for.
const SHARES: [f64; 7] = [LEAST_SHARE, 0.625, 0.75, 0.875, 1.0, 1.125, MOST_SHARE];

/// Share of the best flow beyond which nothing is shown: losses off the design grow there beyond what the model can say.
const MOST_SHARE: f64 = 1.25;

/// A pump by its geometry, at one speed.
struct Model {
    stage: Stage,
    wheel: DeclId,
    fluid: Fluid,
    /// rad/s.
    speed: f64,
    speed_unit: Option<Arc<CompoundUnit>>,
    /// How many stages add their pressures.
    series: f64,
    /// How many stages add their flows.
    parallel: f64,
    best: Point,
}

/// What is said of a slip factor that would not count.
const UNUSED_FACTOR: &str = "`slip_factor` counts with `slip = stated` only";

/// Why there is no model.
enum Without {
    /// Something is wrong, and said where; or nothing was asked.
    Silent(Value),
    /// This is not given, or not right.
    Missing(Vec<(Local, String)>),
}

impl Model {
    /// The model at its own speed, or at another (rad/s).
    fn read(cx: &mut Cx<'_>, d: DeclId, other: Option<f64>) -> Eval<Result<Self, Without>> {
        let slip = match cx.get(d, "prediction.slip")? {
            Value::Choice(w) => w,
            v => return Ok(Err(Without::Silent(v))),
        };
        let mut missing: Vec<(Local, String)> = Vec::new();
        let mut silent = false;
        let mut number =
            |cx: &mut Cx<'_>, of: DeclId, field: &str, default: Option<f64>| -> Eval<f64> {
                Ok(match need(cx, of, field)? {
                    Ok(q) => q.si(),
                    Err(Value::Absent) => default.unwrap_or_else(|| {
                        let said = format!("`{field}` of `{}` is not given", cx.name(of));
                        if !missing.iter().any(|m| m.1 == said) {
                            missing.push((Local::Head(of), said));
                        }
                        f64::NAN
                    }),
                    Err(_) => {
                        silent = true;
                        f64::NAN
                    }
                })
            };
        let roughness = number(cx, d, "prediction.roughness", None)?;
        let throat_area = number(cx, d, "throat_area", None)?;
        let factor = match slip {
            "stated" => number(cx, d, "prediction.slip_factor", None)?,
            _ => number(cx, d, "prediction.slip_factor", Some(0.0))?,
        };
        let wheels = match cx.get(d, "stages")? {
            Value::Unknown => return Ok(Err(Without::Silent(Value::Unknown))),
            _ => cx.references(d, "stages")?,
        };
        let throats = match cx.choice(d, "volute")? {
            Some("double") => 2,
            _ => 1,
        };
        let mut stages = Vec::with_capacity(wheels.len());
        for &wheel in &wheels {
            let diameter = number(cx, wheel, "outside_diameter", None)?;
            let width = number(cx, wheel, "exit_width", None)?;
            let eye = number(cx, wheel, "eye_diameter", None)?;
            let vanes = number(cx, wheel, "vanes", None)?;
            let angle = number(cx, wheel, "vane_exit_angle", None)?;
            let inlet_angle = number(cx, wheel, "vane_inlet_angle", None)?;
            let thickness = number(cx, wheel, "vane_thickness", Some(0.0))?;
            let inlet_diameter = number(cx, wheel, "vane_inlet_diameter", Some(eye))?;
            // As wide as gives the eye's own area where the vanes begin.
            let inlet_width = eye * eye / (4.0 * inlet_diameter);
            let inlet_width = number(cx, wheel, "inlet_width", Some(inlet_width))?;
            let exit_area = number(cx, wheel, "exit_area", Some(f64::NAN))?;
            let eyes = match eyes(cx, wheel)? {
                Ok(n) => n,
                Err(v) => return Ok(Err(Without::Silent(v))),
            };
            stages.push(Stage {
                exit: Exit {
                    diameter,
                    width,
                    angle,
                    vanes: vanes as u32,
                    open_share: exit_area / (PI * diameter * width),
                    radius_ratio: inlet_diameter / diameter,
                },
                slip: match slip {
                    "stodola" => Slip::Stodola,
                    "stated" => Slip::Stated(factor),
                    "wiesner" => Slip::Wiesner,
                    _ => Slip::Guelich,
                },
                eyes,
                eye_diameter: eye,
                inlet_width,
                inlet_angle,
                vane_thickness: thickness,
                throat_area,
                throats,
                roughness,
                leak: 0.0,
            });
        }
        let layout = match Layout::read(cx, d)? {
            Ok(l) => l,
            Err(v) => return Ok(Err(Without::Silent(v))),
        };
        let tested = layout.source(RATED);
        let at = tested.as_ref().and_then(|s| s.table.at.clone());
        let stated = match need(cx, d, "prediction.speed")? {
            Ok(q) => Some(q),
            Err(Value::Absent) => None,
            Err(v) => return Ok(Err(Without::Silent(v))),
        };
        let speed = stated.or(at);
        let count = stages.len() as f64;
        let (series, parallel) = match layout.connection {
            _ if stages.len() == 1 => (1.0, 1.0),
            _ if layout.changes() => (1.0, count),
            Some("series") => (count, 1.0),
            Some("parallel") => (1.0, count),
            _ => (0.0, 0.0),
        };
        let here = Local::Head(d);
        let name = cx.name(d);
        if slip != "stated" && factor != 0.0 {
            let place = cx.place(d, "prediction.slip_factor");
            missing.push((
                place,
                "`slip_factor` counts with `slip = stated` only".to_owned(),
            ));
        }
        if stages.is_empty() {
            missing.push((here, format!("`stages` of `{name}` is not given")));
        } else if series == 0.0 {
            missing.push((
                here,
                format!("how the stages of `{name}` are joined is not given"),
            ));
        }
        if let Some((first, rest)) = stages.split_first()
            && missing.is_empty()
            && !silent
            && rest.iter().any(|s| !alike(first, s))
        {
            missing.push((
                cx.place(d, "stages"),
                format!("the stages of `{name}` are not all alike"),
            ));
        }
        if speed.is_none() {
            missing.push((
                here,
                "a speed is not given: `prediction { speed = … rpm }`".to_owned(),
            ));
        }
        let rings = match cx.get(d, "rings")? {
            Value::Unknown => return Ok(Err(Without::Silent(Value::Unknown))),
            _ => cx.references(d, "rings")?,
        };
        let speed_unit = speed.as_ref().and_then(|q| q.unit.clone());
        let speed = other.or(speed.map(|q| q.si()));
        let mut leak = 0.0;
        if rings.is_empty() {
            missing.push((here, format!("`rings` of `{name}` is not given")));
        } else if let (Some(speed), false) = (speed, silent || stages.is_empty()) {
            match leaks(cx, d, &rings, speed)? {
                Ok(Some(l)) => match l.flow(0.0) {
                    Ok(q) => leak = q,
                    Err(e) => missing.push((here, e.to_string())),
                },
                Ok(None) => silent = true,
                Err(why) if missing.iter().any(|m| m.1 == why.1) => {}
                Err(why) => missing.push(why),
            }
        }
        let Some(air) = crate::hydraulic::surroundings(cx, d)? else {
            return Ok(Err(Without::Silent(Value::Unknown)));
        };
        if silent {
            return Ok(Err(Without::Silent(Value::Unknown)));
        }
        let (Some(first), Some(speed), Some(&wheel), true) =
            (stages.first(), speed, wheels.first(), missing.is_empty())
        else {
            return Ok(Err(Without::Missing(missing)));
        };
        let fluid = Fluid {
            density: air.density,
            kinematic_viscosity: air.viscosity / air.density,
        };
        let stage = Stage {
            leak: leak / count,
            ..*first
        };
        Ok(match stage.best(speed, &fluid) {
            Ok(best) => Ok(Self {
                stage,
                wheel,
                fluid,
                speed,
                speed_unit,
                series,
                parallel,
                best,
            }),
            Err(e) => Err(Without::Missing(vec![(Local::Head(wheel), refused(&e))])),
        })
    }

    /// Pressure of a head of one stage, Pa, of all stages.
    fn pressure(&self, head: f64) -> f64 {
        self.series * self.fluid.density * STANDARD_GRAVITY * head
    }

    /// The stage at a flow (m³/s) of the whole pump.
    fn at(&self, flow: f64) -> Result<Point, MechanicsError> {
        self.stage
            .point(flow / self.parallel, self.speed, &self.fluid)
    }

    /// Whether the model holds at a flow (m³/s) of the whole pump.
    fn holds(&self, flow: f64) -> bool {
        let share = flow / self.parallel / self.best.flow;
        (LEAST_SHARE * (1.0 - 1e-9)..=MOST_SHARE * (1.0 + 1e-9)).contains(&share)
    }
}

/// Whether two stages have the same geometry.
fn alike(a: &Stage, b: &Stage) -> bool {
    let numbers = |s: &Stage| {
        [
            s.exit.diameter,
            s.exit.width,
            s.exit.angle,
            f64::from(s.exit.vanes),
            s.exit.open_share,
            s.exit.radius_ratio,
            f64::from(s.eyes),
            s.eye_diameter,
            s.inlet_width,
            s.inlet_angle,
            s.vane_thickness,
        ]
    };
    let pairs = numbers(a).into_iter().zip(numbers(b));
    pairs
        .into_iter()
        .all(|(x, y)| (x - y).abs() <= 1e-9 * x.abs())
}

/// Why the model refuses what it was given.
fn refused(e: &MechanicsError) -> String {
    match e {
        MechanicsError::NotConverged(_) => {
            "these dimensions have no best flow: check `throat_area`, `exit_width` and the vane angles".to_owned()
        }
        e => e.to_string(),
    }
}

/// The model, or what a value without it is worth.
fn model(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<Model, Value>> {
    Ok(match Model::read(cx, d, None)? {
        Ok(m) => Ok(m),
        Err(Without::Silent(v)) => Err(v),
        // Said by the check.
        Err(Without::Missing(_)) => Err(Value::Absent),
    })
}

/// A predicted value with its scatter.
fn predicted(
    cx: &mut Cx<'_>,
    kind: Kind,
    si: f64,
    scatter: f64,
    unit: Option<&Arc<CompoundUnit>>,
) -> Value {
    let input = cx.next_input();
    let Ok(value) = Tol::symmetric(input, si, scatter * si.abs()) else {
        return Value::Unknown;
    };
    let mut q = Quantity::from_tol(kind, value).origin(Origin::Predicted);
    q.unit = unit.cloned();
    q.gallon = q.unit.as_ref().and_then(|u| u.gallon());
    Value::Quantity(q)
}

/// A predicted value whose scatter is not known by itself.
fn plain(kind: Kind, si: f64) -> Value {
    Value::Quantity(Quantity::computed(kind, si).origin(Origin::Predicted))
}

/// The model, its point at the rated flow, and the rating's own quantities.
type AtRating = (Model, Point, Quantity, Quantity);

fn at_rating(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<AtRating, Value>> {
    let m = match model(cx, d)? {
        Ok(m) => m,
        Err(v) => return Ok(Err(v)),
    };
    let (flow, pressure) = match rating(cx, d)? {
        Ok(r) => r,
        Err(v) => return Ok(Err(v)),
    };
    if !m.holds(flow.si()) {
        // Said by the check.
        return Ok(Err(Value::Absent));
    }
    Ok(match m.at(flow.si()) {
        Ok(p) if p.head > 0.0 => Ok((m, p, flow, pressure)),
        _ => Err(Value::Absent),
    })
}

fn predicted_pressure(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (m, p, _, pressure) = given!(at_rating(cx, d));
    Ok(predicted(
        cx,
        Kind::Pressure,
        m.pressure(p.head),
        HEAD_SCATTER,
        pressure.unit.as_ref(),
    ))
}

fn predicted_power(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (m, p, _, _) = given!(at_rating(cx, d));
    let all = m.series * m.parallel * p.power;
    Ok(predicted(cx, Kind::Power, all, POWER_SCATTER, None))
}

fn predicted_efficiency(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (_, p, _, _) = given!(at_rating(cx, d));
    Ok(plain(Kind::Ratio, p.efficiency))
}

fn predicted_best_flow(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let m = given!(model(cx, d));
    let unit = rating(cx, d)?.ok().and_then(|r| r.0.unit);
    let flow = m.parallel * m.best.flow;
    Ok(predicted(
        cx,
        Kind::Flow,
        flow,
        BEST_FLOW_SCATTER,
        unit.as_ref(),
    ))
}

fn predicted_best_efficiency(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let m = given!(model(cx, d));
    Ok(plain(Kind::Ratio, m.best.efficiency))
}

fn predicted_shutoff_pressure(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let m = given!(model(cx, d));
    let unit = rating(cx, d)?.ok().and_then(|r| r.1.unit);
    let Ok(head) = m.stage.shut_off_head(m.speed) else {
        return Ok(Value::Absent);
    };
    Ok(predicted(
        cx,
        Kind::Pressure,
        m.pressure(head),
        HEAD_SCATTER,
        unit.as_ref(),
    ))
}

fn record(what: &'static str, fields: Vec<(&'static str, Value)>) -> Value {
    let fields = fields.into_iter();
    Value::Record(Arc::new(Record {
        what,
        fields: fields.map(|(n, v)| (SmolStr::new_static(n), v)).collect(),
    }))
}

fn predicted_curve(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let m = given!(model(cx, d));
    let (flow_unit, net_unit) = match rating(cx, d)? {
        Ok((q, p)) => (q.unit, p.unit),
        Err(_) => (None, None),
    };
    let flow = |q: f64| {
        let mut v = Quantity::computed(Kind::Flow, q).origin(Origin::Predicted);
        v.unit = flow_unit.clone();
        v.gallon = v.unit.as_ref().and_then(|u| u.gallon());
        Value::Quantity(v)
    };
    let mut rows = Vec::with_capacity(SHARES.len() + 1);
    if let Ok(head) = m.stage.shut_off_head(m.speed) {
        let net = predicted(
            cx,
            Kind::Pressure,
            m.pressure(head),
            HEAD_SCATTER,
            net_unit.as_ref(),
        );
        rows.push(record(
            "row of the curve",
            vec![("flow", flow(0.0)), ("pressure", net)],
        ));
    }
    for share in SHARES {
        let q = share * m.best.flow * m.parallel;
        let Ok(p) = m.at(q) else { continue };
        if p.head <= 0.0 {
            break;
        }
        let net = predicted(
            cx,
            Kind::Pressure,
            m.pressure(p.head),
            HEAD_SCATTER,
            net_unit.as_ref(),
        );
        let power = m.series * m.parallel * p.power;
        let power = predicted(cx, Kind::Power, power, POWER_SCATTER, None);
        rows.push(record(
            "row of the curve",
            vec![
                ("flow", flow(q)),
                ("pressure", net),
                ("power", power),
                ("efficiency", plain(Kind::Ratio, p.efficiency)),
            ],
        ));
    }
    Ok(Value::List(rows.into()))
}

fn predicted_losses(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (_, p, _, _) = given!(at_rating(cx, d));
    let h = p.heads;
    let parts = [
        ("ideal", h.ideal),
        ("incidence", h.incidence),
        ("wheel_friction", h.wheel_friction),
        ("radial_part", h.radial),
        ("volute_friction", h.volute_friction),
        ("mismatch", h.mismatch),
        ("discharge", h.discharge),
        ("left", p.head),
    ];
    let fields = parts.map(|(n, v)| (n, plain(Kind::Head, v)));
    Ok(record("heads of one stage", fields.to_vec()))
}

fn trace(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (m, p, flow, _) = given!(at_rating(cx, d));
    let (v, h) = (p.velocities, p.heads);
    let density = m.fluid.density;
    let speed = |x: f64| plain(Kind::Speed, x);
    let pressures = |head: f64, velocity: f64| {
        let total = density * STANDARD_GRAVITY * head;
        let still = total - 0.5 * density * velocity * velocity;
        [
            ("total_pressure", plain(Kind::Pressure, total)),
            ("static_pressure", plain(Kind::Pressure, still)),
        ]
    };
    let mut stations = Vec::new();
    let mut pipe = |cx: &mut Cx<'_>, name: &'static str, field: &str, head: f64| -> Eval<()> {
        if let Some(diameter) = cx.si(d, field)? {
            let velocity = flow.si() / (0.25 * PI * diameter * diameter);
            let mut fields = vec![("velocity", speed(velocity))];
            fields.extend(pressures(head, velocity));
            stations.push((name, record("station", fields)));
        }
        Ok(())
    };
    pipe(cx, "intake", "suction_diameter", 0.0)?;
    pipe(cx, "discharge", "discharge_diameter", m.series * p.head)?;
    let discharge = stations.iter().position(|s| s.0 == "discharge");
    let discharge = discharge.map(|k| stations.remove(k));
    let mut put =
        |name: &'static str, mut fields: Vec<(&'static str, Value)>, head: f64, velocity: f64| {
            fields.extend(pressures(head, velocity));
            stations.push((name, record("station", fields)));
        };
    put("eye", vec![("velocity", speed(v.eye))], 0.0, v.eye);
    let water_angle = v.cm1.atan2(v.u1);
    put(
        "vane_inlet",
        vec![
            ("velocity", speed(v.cm1)),
            ("vane_speed", speed(v.u1)),
            ("water_angle", plain(Kind::Angle, water_angle)),
            (
                "incidence",
                plain(Kind::Angle, m.stage.inlet_angle - water_angle),
            ),
        ],
        0.0,
        v.cm1,
    );
    let c2 = v.cm2.hypot(v.cu2);
    put(
        "vane_exit",
        vec![
            ("velocity", speed(c2)),
            ("vane_speed", speed(v.u2)),
            ("whirl", speed(v.cu2)),
            ("meridional", speed(v.cm2)),
            ("slip_factor", plain(Kind::Ratio, v.slip)),
        ],
        h.behind_wheel(),
        c2,
    );
    put(
        "volute",
        vec![
            ("velocity", speed(v.throat)),
            ("arriving_whirl", speed(v.throat_whirl)),
        ],
        h.in_throat(),
        v.throat,
    );
    match discharge {
        Some(s) => stations.push(s),
        None => {
            let total = density * STANDARD_GRAVITY * m.series * p.head;
            let fields = vec![("total_pressure", plain(Kind::Pressure, total))];
            stations.push(("discharge", record("station", fields)));
        }
    }
    Ok(record("stations", stations))
}

// ---- checks ------------------------------------------------------------------------------------------

/// Says what is missing for a prediction that is asked for, where it does not reach, and where a tested curve lies outside
/// of it.
pub(super) fn check_prediction(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    let name = cx.name(d);
    let m = match Model::read(cx, d, None)? {
        Ok(m) => m,
        Err(Without::Silent(_)) => return Ok(()),
        Err(Without::Missing(missing)) => {
            let place = cx.place(d, "prediction.slip");
            let all: Vec<&str> = missing.iter().map(|m| m.1.as_str()).collect();
            let mut f = Finding::new(
                &INCOMPLETE,
                place,
                format!("nothing can be predicted of `{name}`: {}", all.join(", ")),
            )
            .here("asked for")
            .help(match missing.as_slice() {
                [(_, one)] if one == UNUSED_FACTOR => {
                    "write `slip = stated`, or take `slip_factor` out"
                }
                _ => "give what is missing, or take `prediction` out",
            });
            let mut at: Vec<Local> = Vec::new();
            for (place, _) in &missing {
                if !at.contains(place) {
                    at.push(*place);
                }
            }
            for place in at {
                let here: Vec<&str> = missing
                    .iter()
                    .filter(|m| m.0 == place)
                    .map(|m| m.1.as_str())
                    .collect();
                f = f.label(place, here.join(", "));
            }
            cx.report(f);
            return Ok(());
        }
    };
    let settings = cx.settings();
    if let Ok((flow, _)) = rating(cx, d)?
        && !m.holds(flow.si())
    {
        let share = flow.si() / m.parallel / m.best.flow;
        let unit = flow.unit.as_ref();
        let best = m.parallel * m.best.flow;
        let speed = show::si(
            m.speed,
            Kind::RotationalSpeed,
            m.speed_unit.as_ref(),
            &settings,
        );
        let place = cx.place(d, "rating");
        let f = Finding::new(
            &BEYOND,
            place,
            format!(
                "the rated flow of `{name}` is {:.0} % of the best flow its geometry should have at {speed}, {}: a prediction reaches from 50 to 125 % of it",
                100.0 * share,
                show::si(best, Kind::Flow, unit, &settings)
            ),
        )
        .here("not predicted there")
        .label(cx.place(d, "throat_area"), "sets the best flow, with the wheel's exit")
        .help("check `throat_area`, `exit_width` and the speed; `predicted_curve` shows what is predicted")
        .source("one-dimensional models hold near the best flow only (texts, from memory)");
        let f = with_number(f, "rated flow", flow.si(), Kind::Flow, unit, &settings);
        cx.report(with_number(
            f,
            "predicted best flow",
            best,
            Kind::Flow,
            unit,
            &settings,
        ));
    }
    let Ok(source) = source(cx, d, RATED)? else {
        return Ok(());
    };
    compare(cx, d, &source)
}

/// Compares the tested curve with the prediction at its speed.
fn compare(cx: &mut Cx<'_>, d: DeclId, source: &Source) -> Eval<()> {
    let Some(curve) = joined(source, None) else {
        return Ok(());
    };
    let speed = curve.tested_speed();
    let Ok(m) = Model::read(cx, d, Some(speed))? else {
        return Ok(());
    };
    // At the best flow, or as near to it as was tested.
    let (low, high) = curve.rise_curve().domain();
    let flow = (m.parallel * m.best.flow).clamp(low, high);
    if !m.holds(flow) {
        return Ok(());
    }
    let (Ok(net), Ok(p)) = (curve.rise(flow, speed), m.at(flow)) else {
        return Ok(());
    };
    let expected = m.pressure(p.head);
    if expected <= 0.0 || net <= 0.0 || (net / expected - 1.0).abs() <= HEAD_SCATTER {
        return Ok(());
    }
    let settings = cx.settings();
    let (flow_unit, net_unit) = (source.unit("flow"), source.unit("net"));
    let speed_unit = source.table.at.as_ref().and_then(|a| a.unit.clone());
    let pressure = |si: f64| show::si(si, Kind::Pressure, net_unit.as_ref(), &settings);
    let ratio = net / expected;
    let place = cx.place(d, source.name);
    let at_diameter = cx.place(m.wheel, "outside_diameter");
    let name = cx.name(d);
    let about = |si: f64, kind: Kind, unit: Option<&Arc<CompoundUnit>>| {
        let (value, symbol) = show::shown_in(si, kind, unit, &settings);
        // Three digits that count say enough of what is about right.
        let places = (2 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
        format!("{value:.places$} {symbol}")
    };
    // What one thing alone would have to be.
    let diameter = need(cx, m.wheel, "outside_diameter")?.ok();
    let unit = diameter.as_ref().and_then(|q| q.unit.clone());
    let size = m.stage.exit.diameter * ratio.sqrt();
    let mut reasons = vec![
        format!(
            "an outside diameter of about {} instead of {}",
            about(size, Kind::Length, unit.as_ref()),
            show::si(
                m.stage.exit.diameter,
                Kind::Length,
                unit.as_ref(),
                &settings
            )
        ),
        format!(
            "a test at about {} instead of {}",
            show::si(
                speed * ratio.sqrt(),
                Kind::RotationalSpeed,
                speed_unit.as_ref(),
                &settings
            ),
            show::si(speed, Kind::RotationalSpeed, speed_unit.as_ref(), &settings)
        ),
    ];
    let stages = (m.series * ratio).round();
    if stages >= 1.0
        && stages != m.series
        && (m.series * ratio / stages - 1.0).abs() <= HEAD_SCATTER
    {
        reasons.insert(
            1,
            format!(
                "{stages} {} in series instead of {}",
                if stages == 1.0 { "stage" } else { "stages" },
                m.series
            ),
        );
    }
    let word = if ratio > 1.0 { "more" } else { "less" };
    let besides = if ratio < 1.0 {
        "; or worn rings, air or a blocked wheel in the test"
    } else {
        ""
    };
    let f = Finding::new(
        &DIFFERS,
        place,
        format!(
            "the {} of `{name}` makes {} at {} and {}, {:.0} % {word} than the {} its geometry should give there (± 10 %)",
            source.name.replace('_', " "),
            pressure(net),
            show::si(flow, Kind::Flow, flow_unit.as_ref(), &settings),
            show::si(speed, Kind::RotationalSpeed, speed_unit.as_ref(), &settings),
            100.0 * (ratio - 1.0).abs(),
            pressure(expected)
        ),
    )
    .here(format!("{word} than predicted"))
    .label(at_diameter, "the wheel it is predicted from")
    .help(format!(
        "check the diameter, the stages or the test: {} would explain it{besides}",
        reasons.join(", or ")
    ))
    .source("scatter of predictions from geometry: 5 to 10 % near the best flow (texts, from memory)");
    let f = with_number(
        f,
        "tested",
        net,
        Kind::Pressure,
        net_unit.as_ref(),
        &settings,
    );
    let f = with_number(
        f,
        "predicted",
        expected,
        Kind::Pressure,
        net_unit.as_ref(),
        &settings,
    );
    cx.report(f);
    Ok(())
}
