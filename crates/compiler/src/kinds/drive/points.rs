//! The whole duty a drive is bought for: every rated point of its pump, what the drive leaves at each, and which of the
//! gear ratios on offer make them all. And the engine as a duty sees it.
//!
//! Invariants: a point that lies off the tested curve, or an engine speed outside the output, is not known and is never
//! called made; nothing is read outside a table.

use super::super::pump::{RATED_SHARES, curve_for, curve_with};
use super::{Output, derating, output, pump};
use crate::db::Cx;
use crate::kinds::rotor::given;
use crate::value::{Origin, Quantity, Record, Value};
use crate::{DeclId, Eval};
use cutwater_hydraulics::drive::Engine;
use cutwater_hydraulics::pump::PumpCurve;
use cutwater_quantity::Kind;
use smol_str::SmolStr;
use std::sync::Arc;

const PSI: f64 = 6_894.757_293_168;
const GPM: f64 = 231.0 * 1.638_706_4e-5 / 60.0;

/// A rated point, and what the pump needs for it.
pub(super) struct Point {
    /// Its name: `100 % at 150 psi`.
    pub(super) name: String,
    /// Flow, m³/s, and net pressure, Pa.
    flow: f64,
    pressure: f64,
    /// Pump speed, rad/s; `None` off the tested curve.
    speed: Option<f64>,
    /// Power at the pump shaft, W, where the curve gives it.
    power: Option<f64>,
}

/// The rated points of a pump in the order they are tested. Of a pump rated at 150 psi those of US practice; of others the
/// rating alone.
pub(super) fn points(cx: &mut Cx<'_>, pump: DeclId) -> Eval<Vec<Point>> {
    let (Some(flow), Some(pressure)) = (
        cx.part(pump, "rating", "flow")?,
        cx.part(pump, "rating", "pressure")?,
    ) else {
        return Ok(Vec::new());
    };
    let us = (pressure / PSI - 150.0).abs() <= 0.5;
    // A changeover pump makes each point in the position that needs less speed.
    let mut curves: Vec<(PumpCurve, Option<PumpCurve>)> = Vec::new();
    for position in [Some("parallel"), Some("series")] {
        if let Some((curve, _)) = curve_for(cx, pump, position)? {
            let power = curve_with(cx, pump, position, "power")?.map(|c| c.0);
            curves.push((curve, power));
        }
    }
    let mut out = Vec::new();
    for (share, times) in RATED_SHARES {
        let (q, p) = (share * flow, times * pressure);
        let overload = share == 1.0 && times > 1.0;
        if (!us && times != 1.0) || (overload && flow < 750.0 * GPM * (1.0 - 1e-9)) {
            continue;
        }
        let needs = curves.iter().filter_map(|(c, power)| {
            let n = c.speed_for(q, p).ok().flatten()?;
            Some((n, power.as_ref().and_then(|c| c.power(q, n).ok())))
        });
        let least = needs.min_by(|a, b| a.0.total_cmp(&b.0));
        out.push(Point {
            name: format!("{:.0} % at {:.0} psi", 100.0 * share, p / PSI),
            flow: q,
            pressure: p,
            speed: least.map(|l| l.0),
            power: least.and_then(|l| l.1),
        });
    }
    Ok(out)
}

/// An engine behind its gears, as far as the spec says.
#[derive(Clone, Debug)]
pub(crate) struct EngineModel {
    /// The drive.
    pub(crate) drive: DeclId,
    /// Turns of the pump for one of the engine.
    ratio: f64,
    efficiency: f64,
    /// No-load governed speed, rad/s.
    governed: Option<f64>,
    /// Its output, taken down for air.
    engine: Option<Engine>,
    /// What powers rest on: assumed where the efficiency is.
    origin: Origin,
}

/// The engine of a pump at work, SI units.
#[derive(Clone, Debug)]
pub(crate) struct AtEngine {
    /// The drive.
    pub(crate) drive: DeclId,
    /// Its speed.
    pub(crate) speed: f64,
    /// What the governor leaves of it.
    pub(crate) spare: Option<f64>,
    /// Power it brings to the pump shaft at that speed, where its output says so.
    pub(crate) power: Option<f64>,
    /// Its torque less what the pump asks of it.
    pub(crate) torque: Option<f64>,
    /// Share of its power that is used.
    pub(crate) load: Option<f64>,
}

impl EngineModel {
    /// The engine with the pump at `speed` (rad/s), taking `power` (W) at its shaft.
    pub(crate) fn at(&self, speed: f64, power: Option<f64>) -> AtEngine {
        let engine_speed = speed / self.ratio;
        let full = self
            .engine
            .as_ref()
            .and_then(|e| e.power(engine_speed).ok());
        let asked = power.map(|p| p / self.efficiency);
        AtEngine {
            drive: self.drive,
            speed: engine_speed,
            spare: self.governed.map(|g| g - engine_speed),
            power: full.map(|f| f * self.efficiency),
            torque: full.zip(asked).map(|(f, a)| (f - a) / engine_speed),
            load: full.zip(asked).map(|(f, a)| a / f),
        }
    }

    /// The same behind other gears.
    fn with_ratio(&self, ratio: f64) -> Self {
        Self {
            ratio,
            ..self.clone()
        }
    }
}

/// The engine of a drive; `None` where its gears are not known.
pub(crate) fn engine_model(cx: &mut Cx<'_>, drive: DeclId) -> Eval<Option<EngineModel>> {
    let (Some(ratio), Some(efficiency)) = (
        cx.si(drive, "gear_ratio")?,
        cx.quantity(drive, "efficiency")?,
    ) else {
        return Ok(None);
    };
    let engine = match output(cx, drive)? {
        Ok(o) => o.engine(),
        Err(_) => None,
    };
    Ok(Some(EngineModel {
        drive,
        ratio,
        efficiency: efficiency.si(),
        origin: efficiency.origin.with(Origin::Computed),
        governed: cx.si(drive, "governed_speed")?,
        engine,
    }))
}

/// What a drive leaves at a point.
struct Left {
    at: Option<AtEngine>,
    power_margin: Option<f64>,
    /// Why the point is not made, in words; `Err(None)` where that is not known.
    made: Result<(), Option<String>>,
}

fn left(model: &EngineModel, p: &Point) -> Left {
    let Some(speed) = p.speed else {
        return Left {
            at: None,
            power_margin: None,
            made: Err(Some("lies off the pump's tested curve".to_owned())),
        };
    };
    let at = model.at(speed, p.power);
    let power_margin = at.power.zip(p.power).map(|(have, need)| have - need);
    let made = if at.spare.is_some_and(|s| s < -1e-9 * at.speed) {
        Err(Some("needs more than the governed speed".to_owned()))
    } else if model.engine.is_some() && p.power.is_some() && at.power.is_none() {
        Err(Some("lies outside the engine's output".to_owned()))
    } else if power_margin.is_some_and(|m| m < -1e-9 * p.power.unwrap_or(0.0)) {
        Err(Some("needs more power than the engine has".to_owned()))
    } else if at.spare.is_none() && power_margin.is_none() {
        // Neither a governor nor an output that could stand in the way.
        Err(None)
    } else {
        Ok(())
    };
    Left {
        at: Some(at),
        power_margin,
        made,
    }
}

/// A ratio on offer: which point it misses first, and why.
pub(super) struct Offer {
    pub(super) ratio: f64,
    /// The first point that it misses, with why; the inner `None` where that is not known.
    pub(super) misses: Option<(String, Option<String>)>,
    least_spare: Option<f64>,
    least_power: Option<f64>,
}

/// What each ratio on offer is worth; empty where none is offered or nothing can be told.
pub(super) fn offers(cx: &mut Cx<'_>, d: DeclId) -> Eval<Vec<Offer>> {
    let Some(ratios) = cx.table(d, "ratios")?.and_then(|t| t.numbers("ratio")) else {
        return Ok(Vec::new());
    };
    let (Some(model), Ok(pump)) = (engine_model(cx, d)?, pump(cx, d)?) else {
        return Ok(Vec::new());
    };
    let points = points(cx, pump)?;
    if points.iter().all(|p| p.speed.is_none()) {
        return Ok(Vec::new());
    }
    Ok(ratios
        .into_iter()
        .filter(|r| *r > 0.0)
        .map(|ratio| {
            let model = model.with_ratio(ratio);
            let all: Vec<Left> = points.iter().map(|p| left(&model, p)).collect();
            let least = |of: &dyn Fn(&Left) -> Option<f64>| {
                all.iter().filter_map(of).min_by(f64::total_cmp)
            };
            let first = points.iter().zip(&all).find_map(|(p, l)| match &l.made {
                Ok(()) => None,
                Err(why) => Some((p.name.clone(), why.clone())),
            });
            Offer {
                ratio,
                misses: first,
                least_spare: least(&|l| l.at.as_ref()?.spare),
                least_power: least(&|l| l.power_margin),
            }
        })
        .collect())
}

/// Fields of a record, those that are there.
fn record(what: &'static str, fields: Vec<(&'static str, Option<Value>)>) -> Value {
    let fields = fields
        .into_iter()
        .filter_map(|(name, v)| Some((SmolStr::new_static(name), v?)));
    Value::Record(Arc::new(Record {
        what,
        fields: fields.collect(),
    }))
}

fn value(kind: Kind, si: Option<f64>) -> Option<Value> {
    from(Origin::Computed, kind, si)
}

fn from(origin: Origin, kind: Kind, si: Option<f64>) -> Option<Value> {
    Some(Value::Quantity(
        Quantity::computed(kind, si?).origin(origin),
    ))
}

/// The computed list of rated points.
pub(super) fn points_list(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let pump = given!(pump(cx, d));
    let Some(model) = engine_model(cx, d)? else {
        return Ok(Value::Unknown);
    };
    let points = points(cx, pump)?;
    if points.iter().all(|p| p.speed.is_none()) {
        return Ok(Value::Absent);
    }
    let rows = points.iter().map(|p| {
        let l = left(&model, p);
        let at = l.at.as_ref();
        record(
            "rated point",
            vec![
                ("point", Some(Value::Text(p.name.as_str().into()))),
                ("flow", value(Kind::Flow, Some(p.flow))),
                ("pressure", value(Kind::Pressure, Some(p.pressure))),
                ("pump_speed", value(Kind::RotationalSpeed, p.speed)),
                (
                    "engine_speed",
                    value(Kind::RotationalSpeed, at.map(|a| a.speed)),
                ),
                (
                    "spare_speed",
                    value(Kind::RotationalSpeed, at.and_then(|a| a.spare)),
                ),
                (
                    "power_margin",
                    from(model.origin, Kind::Power, l.power_margin),
                ),
                (
                    "torque_margin",
                    from(model.origin, Kind::Torque, at.and_then(|a| a.torque)),
                ),
                (
                    "load",
                    from(model.origin, Kind::Ratio, at.and_then(|a| a.load)),
                ),
            ],
        )
    });
    Ok(Value::List(rows.collect()))
}

/// The computed list of ratios on offer.
pub(super) fn ratio_table(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let offers = offers(cx, d)?;
    if offers.is_empty() {
        return Ok(Value::Absent);
    }
    let rows = offers.iter().map(|o| {
        let misses = o.misses.as_ref().map(|(point, why)| match why {
            Some(why) => format!("{point} {why}"),
            None => format!("{point} cannot be told"),
        });
        record(
            "gear ratio",
            vec![
                ("ratio", value(Kind::Number, Some(o.ratio))),
                ("makes_every_point", Some(Value::Truth(o.misses.is_none()))),
                ("misses", misses.map(|m| Value::Text(m.into()))),
                (
                    "least_spare_speed",
                    value(Kind::RotationalSpeed, o.least_spare),
                ),
                ("least_power_margin", value(Kind::Power, o.least_power)),
            ],
        )
    });
    Ok(Value::List(rows.collect()))
}

/// The computed share of the engine's power that air and heat leave.
pub(super) fn derating_factor(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    Ok(match derating(cx, d)? {
        Ok(Some(f)) => Value::Quantity(Quantity::computed(Kind::Ratio, f)),
        Ok(None) => Value::Absent,
        Err(()) => Value::Unknown,
    })
}

impl Output {
    /// The output with the share of its power that air and heat leave.
    pub(super) fn derated(mut self, factor: f64) -> Self {
        for p in &mut self.powers {
            *p *= factor;
        }
        self
    }
}
