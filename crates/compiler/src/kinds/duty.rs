//! The `duty`: pump, supply and lay together, and what is held.
//!
//! Its values, read off the solved system; what is wrong with the answer is said in [`checks`].

pub mod checks;

use crate::codes::codes;
use crate::db::Cx;
use crate::hydraulic::{self, PumpPoint, Solution, StationPoint};
use crate::kinds::drive::points::{AtEngine, EngineModel, engine_model};
use crate::schema::short::{optional, required, signed};
use crate::schema::{BLANK, ComputedDef, KindDef, Sign, Type};
use crate::value::{Origin, Quantity, Record, Value};
use crate::{DeclId, Eval};
use cutwater_hydraulics::affinity;
use cutwater_quantity::Kind;
use smol_str::SmolStr;
use std::sync::Arc;

codes! {
    /// Raised by `duty`.
    DUTY_FORM = "CW1610" "duty-incomplete" Error, "A duty that does not say enough to be solved.",
        "A duty needs a lay whose pumps have tested curves, a supply for the pump that no chain of the lay leads to, and one thing held for each pump. What names a pump is held by its speed; a station's pressure or flow by the pump whose water comes to it.",
        fires "pump p { rating = 500 gpm at 150 psi }\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100 }\nduty d {\n    supply = s\n    lay    = l\n    hold n.pressure = 100 psi\n}\n",
        silent "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100 }\nduty d {\n    supply = s\n    lay    = l\n    hold n.pressure = 100 psi\n}\n";
    /// Raised by `duty`.
    DUTY_HOLD = "CW1611" "duty-hold" Error, "A `hold` of something that cannot be held.",
        "Held are a pump's `speed`, `engine.speed`, `discharge.pressure` or `net_pressure` (of several pumps with its name in front: `relay.speed`), or a named station's `pressure` or `flow`.",
        fires "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> left: std.fog_150_100 }\nduty d {\n    supply = s\n    lay    = l\n    hold lft.pressure = 100 psi\n}\n",
        silent "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> left: std.fog_150_100 }\nduty d {\n    supply = s\n    lay    = l\n    hold left.pressure = 100 psi\n}\n", fixes NeedsALook;
    /// Raised by `duty`.
    DUTY_UNMET = "CW1612" "duty-cannot-be-met" Error, "A duty that has no solution, and what limits it.",
        "What is held cannot be reached: the pump's speed limit, its tested curve, or the supply stands in the way. The finding names the limit and the best that can be had.",
        fires "pump p {\n    rating = 500 gpm at 150 psi\n    maximum_speed = 3100 rpm\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 1000 ft of std.attack_1_3_4 -> n: std.fog_150_100 }\nduty d {\n    supply = s\n    lay    = l\n    hold n.pressure = 100 psi\n}\n",
        silent "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100 }\nduty d {\n    supply = s\n    lay    = l\n    hold n.pressure = 100 psi\n}\n";
    /// Raised by `duty`.
    DUTY_NOT_CONVERGED = "CW1613" "duty-not-solved" Error, "The solver did not converge; no numbers are given.",
        "Numbers that did not converge are never shown. Look for slips of a factor in curves, coefficients and lengths.",
        fires "", silent "";
}

/// A value of a pump at work: of the duty where it has one pump, of the pump's record where it has several.
struct AtWork {
    name: &'static str,
    kind: Kind,
    sign: Sign,
    doc: &'static str,
    formula: &'static str,
    hint: bool,
    /// Whether it is about the engine, so that it asks for a `drive`.
    engine: bool,
    value: fn(&PumpPoint, Option<&AtEngine>) -> Option<f64>,
}

/// All of them, in the order they are shown.
static AT_WORK: [AtWork; 17] = [
    AtWork {
        name: "speed",
        kind: Kind::RotationalSpeed,
        sign: Sign::Positive,
        doc: "Speed of the pump.",
        formula: "as held, or found so that what is held is met",
        hint: true,
        engine: false,
        value: |p, _| Some(p.speed),
    },
    AtWork {
        name: "flow",
        kind: Kind::Flow,
        sign: Sign::Positive,
        doc: "Flow through the pump.",
        formula: "sum of what leaves",
        hint: true,
        engine: false,
        value: |p, _| Some(p.flow),
    },
    AtWork {
        name: "discharge_pressure",
        kind: Kind::GaugePressure,
        sign: Sign::Any,
        doc: "Total pressure at the pump's discharge.",
        formula: "intake + net",
        hint: true,
        engine: false,
        value: |p, _| Some(p.discharge),
    },
    AtWork {
        name: "intake_pressure",
        kind: Kind::GaugePressure,
        sign: Sign::Any,
        doc: "Total pressure at the pump's intake; below zero is vacuum.",
        formula: "supply less lift and losses",
        hint: false,
        engine: false,
        value: |p, _| Some(p.intake),
    },
    AtWork {
        name: "net_pressure",
        kind: Kind::Pressure,
        sign: Sign::Any,
        doc: "Net pump pressure.",
        formula: "discharge − intake",
        hint: false,
        engine: false,
        value: |p, _| Some(p.rise),
    },
    AtWork {
        name: "water_power",
        kind: Kind::Power,
        sign: Sign::Any,
        doc: "Power given to the water.",
        formula: "flow · net pressure",
        hint: false,
        engine: false,
        value: |p, _| Some(affinity::water_power(p.flow, p.rise)),
    },
    AtWork {
        name: "shaft_power",
        kind: Kind::Power,
        sign: Sign::Positive,
        doc: "Power taken at the pump shaft.",
        formula: "tested power at the same point, with the cube of the speed",
        hint: true,
        engine: false,
        value: |p, _| p.power,
    },
    AtWork {
        name: "efficiency",
        kind: Kind::Ratio,
        sign: Sign::Positive,
        doc: "Pump efficiency.",
        formula: "water power / shaft power",
        hint: false,
        engine: false,
        value: |p, _| affinity::efficiency(p.flow, p.rise, p.power?).ok(),
    },
    AtWork {
        name: "temperature_rise",
        kind: Kind::TemperatureDifference,
        sign: Sign::Any,
        doc: "How much the water warms on its way through the pump.",
        formula: "(shaft power − water power) / (ρ · c_p · flow)",
        hint: false,
        engine: false,
        value: |p, _| p.heating,
    },
    AtWork {
        name: "npsh_available",
        kind: Kind::Head,
        sign: Sign::Any,
        doc: "Net positive suction head available.",
        formula: "(intake + atmosphere − vapour pressure) / (ρ g)",
        hint: false,
        engine: false,
        value: |p, _| Some(p.npsh_available),
    },
    AtWork {
        name: "npsh_required",
        kind: Kind::Head,
        sign: Sign::Positive,
        doc: "Net positive suction head required.",
        formula: "tested value at the same point, with the square of the speed",
        hint: false,
        engine: false,
        value: |p, _| p.npsh_required,
    },
    AtWork {
        name: "npsh_margin",
        kind: Kind::Head,
        sign: Sign::Any,
        doc: "Suction head left over.",
        formula: "NPSH available − NPSH required",
        hint: true,
        engine: false,
        value: |p, _| Some(p.npsh_available - p.npsh_required?),
    },
    AtWork {
        name: "engine_speed",
        kind: Kind::RotationalSpeed,
        sign: Sign::Positive,
        doc: "Speed of the engine.",
        formula: "speed / gear_ratio",
        hint: false,
        engine: true,
        value: |_, e| Some(e?.speed),
    },
    AtWork {
        name: "spare_speed",
        kind: Kind::RotationalSpeed,
        sign: Sign::Any,
        doc: "Engine speed that the governor leaves.",
        formula: "governed_speed − engine_speed",
        hint: false,
        engine: true,
        value: |_, e| e?.spare,
    },
    AtWork {
        name: "power_margin",
        kind: Kind::Power,
        sign: Sign::Any,
        doc: "Power of the engine left over, at the pump shaft, with its output taken down for altitude and air where a rule is stated.",
        formula: "output(engine speed) · efficiency − shaft power",
        hint: false,
        engine: true,
        value: |p, e| Some(e?.power? - p.power?),
    },
    AtWork {
        name: "torque_margin",
        kind: Kind::Torque,
        sign: Sign::Any,
        doc: "Torque of the engine left over.",
        formula: "(output(engine speed) − shaft power / efficiency) / engine speed",
        hint: false,
        engine: true,
        value: |_, e| e?.torque,
    },
    AtWork {
        name: "load",
        kind: Kind::Ratio,
        sign: Sign::Positive,
        doc: "Share of the engine's power at that speed that is used.",
        formula: "shaft power / efficiency / output(engine speed)",
        hint: false,
        engine: true,
        value: |_, e| e?.load,
    },
];

const SOLVED: &str = "steady, incompressible flow: mass balance at every point, each part's own law, solved together";

/// The duty's computed property that stands in a row of [`AT_WORK`].
const fn at_work<const ROW: usize>() -> ComputedDef {
    let a = &AT_WORK[ROW];
    ComputedDef {
        name: a.name,
        ty: Type::Quantity(a.kind, a.sign),
        doc: a.doc,
        formula: a.formula,
        source: SOLVED,
        solved: true,
        hint: a.hint,
        eval: of_lone_pump::<ROW>,
    }
}

macro_rules! solved {
    ($name:literal, $kind:expr, $doc:literal, $formula:literal, $hint:literal, $eval:expr) => {
        ComputedDef {
            name: $name,
            ty: $kind,
            doc: $doc,
            formula: $formula,
            source: SOLVED,
            solved: true,
            hint: $hint,
            eval: $eval,
        }
    };
}

/// A duty.
pub static DUTY: KindDef = KindDef {
    word: "duty",
    doc: "A pump at work, or several: the supply, the lay, and what is held. The solver finds every pressure and flow. Of one pump the duty's own values speak (`attack.speed`); of several, each goes by its name in the lay (`attack.relay.speed`).",
    fields: &[
        optional(
            "supply",
            Type::Ref(&["supply"]),
            "Where the water of the pump comes from that no chain of the lay leads to. Left out where the lay feeds every pump.",
        ),
        required("lay", Type::Ref(&["lay"]), "Where it goes."),
        optional(
            "drive",
            Type::Ref(&["drive"]),
            "What turns the pump; its limits then hold.",
        ),
        optional(
            "drives",
            Type::RefList(&["drive"]),
            "What turns each of several pumps: the drive whose `turns` names it. Their limits then hold.",
        ),
        optional(
            "position",
            Type::Choice(&[
                ("series", "Pressure position of the changeover valve."),
                ("parallel", "Volume position of the changeover valve."),
            ]),
            "Position of a changeover pump.",
        ),
    ],
    computed: &[
        ComputedDef {
            name: "solution",
            ty: Type::Any,
            doc: "The whole solved system.",
            formula: "Newton's method on all pressures and flows at once",
            source: "steady, incompressible flow",
            solved: true,
            hint: false,
            eval: solution,
        },
        at_work::<0>(),
        at_work::<1>(),
        at_work::<2>(),
        at_work::<3>(),
        at_work::<4>(),
        at_work::<5>(),
        at_work::<6>(),
        at_work::<7>(),
        at_work::<8>(),
        at_work::<9>(),
        at_work::<10>(),
        at_work::<11>(),
        at_work::<12>(),
        at_work::<13>(),
        at_work::<14>(),
        at_work::<15>(),
        at_work::<16>(),
        solved!(
            "residual_mass",
            signed(Kind::Ratio),
            "Proof: the largest imbalance of flow at any point, against the largest flow.",
            "max |Σ Q| / max Q",
            false,
            |cx, d| proof(cx, d, |s| s.residual_mass)
        ),
        solved!(
            "residual_energy",
            signed(Kind::Ratio),
            "Proof: the largest departure of any part from its own law, against the largest pressure.",
            "max |Δp − law(Q)| / max p",
            false,
            |cx, d| proof(cx, d, |s| s.residual_energy)
        ),
        solved!(
            "pumps",
            Type::Any,
            "Each pump of the duty at work, where there are several: speed, flow, pressures, power and suction head.",
            "from the solution",
            false,
            pumps
        ),
        solved!(
            "stations",
            Type::Any,
            "Pressure, flow and reaction at each named station of the lay. Pressures are total pressures, as a nozzle's flow and a pump's head go by; where the bore is known (a nozzle's `inlet_diameter`, an appliance's `diameter`) the reading of a gauge on the side of it, less by the velocity head ρ v²/2, stands beside.",
            "from the solution",
            false,
            stations
        ),
        solved!(
            "checks",
            Type::Truth,
            "Whether the solution keeps every limit that was stated.",
            "NPSH, intake pressure of a relay, heating, water that runs back, hose pressure, velocity and surge, engine power, nozzle range, reaction",
            false,
            checks::checks
        ),
    ],
    holds: true,
    check: Some(check),
    member: Some(member),
    member_names: Some(member_names),
    ..BLANK
};

/// A duty needs a supply unless its lay feeds every pump.
fn check(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    if cx.get(d, "supply")? != Value::Absent {
        return Ok(());
    }
    let Some(lay) = cx.reference(d, "lay")? else {
        return Ok(());
    };
    let before = cx.findings.len();
    let graph = hydraulic::graph(cx, lay)?;
    cx.findings.truncate(before);
    let item = cx.item(d);
    if graph.is_some_and(|g| g.asks_for_supply())
        && let Some(decl) = crate::slots::decl_of(&item.item)
        && let Some(f) = DUTY.fields.iter().find(|f| f.name == "supply")
    {
        crate::check::missing(cx, d, decl, DUTY.word, f, Some(decl.body));
    }
    Ok(())
}

fn solution(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    Ok(match hydraulic::solve(cx, d)? {
        Ok(s) => Value::Solution(Arc::new(s)),
        Err(hydraulic::Unsolved) => Value::Unknown,
    })
}

fn solved_by(cx: &mut Cx<'_>, d: DeclId) -> Eval<Option<Arc<Solution>>> {
    Ok(match cx.get(d, "solution")? {
        Value::Solution(s) => Some(s),
        _ => None,
    })
}

/// The pump of a duty that has one.
fn alone(s: &Solution) -> Option<&PumpPoint> {
    match s.pumps.as_slice() {
        [one] => Some(one),
        _ => None,
    }
}

fn of_lone_pump<const ROW: usize>(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let a = &AT_WORK[ROW];
    let Some(s) = solved_by(cx, d)? else {
        return Ok(Value::Unknown);
    };
    let Some(p) = alone(&s) else {
        return Ok(Value::Absent);
    };
    let engine = match a.engine {
        true => match engine_of(cx, d, p, true)? {
            Ok(e) => Some(e),
            Err(v) => return Ok(v),
        },
        false => None,
    };
    Ok(match (a.value)(p, engine.as_ref()) {
        Some(v) => Value::Quantity(Quantity::computed(a.kind, v).origin(s.origin)),
        None => Value::Absent,
    })
}

fn proof(cx: &mut Cx<'_>, d: DeclId, f: fn(&Solution) -> f64) -> Eval<Value> {
    Ok(match solved_by(cx, d)? {
        None => Value::Unknown,
        Some(s) => Value::Quantity(Quantity::computed(Kind::Ratio, f(&s))),
    })
}

/// What turns a pump in a duty: the one `drive` of a lone pump, or the one among all that are named that turns it.
pub(crate) fn drive_of(
    cx: &mut Cx<'_>,
    duty: DeclId,
    pump: DeclId,
    alone: bool,
) -> Eval<Option<DeclId>> {
    let one = cx.reference(duty, "drive")?;
    if alone && one.is_some() {
        return Ok(one);
    }
    let mut all: Vec<DeclId> = one.into_iter().collect();
    if let Value::List(more) = cx.get(duty, "drives")? {
        all.extend(more.iter().filter_map(|v| match v {
            Value::Decl(d) => Some(*d),
            _ => None,
        }));
    }
    for d in all {
        if cx.reference(d, "turns")? == Some(pump) {
            return Ok(Some(d));
        }
    }
    Ok(None)
}

/// The engine of a pump at work; `Absent` where nothing is said to turn it, `Unknown` where its gears are not known.
fn engine_of(
    cx: &mut Cx<'_>,
    d: DeclId,
    p: &PumpPoint,
    alone: bool,
) -> Eval<Result<AtEngine, Value>> {
    let Some(drive) = drive_of(cx, d, p.pump, alone)? else {
        return Ok(Err(Value::Absent));
    };
    Ok(match engine_model(cx, drive)? {
        Some(m) => Ok(m.at(p.speed, p.power)),
        None => Err(Value::Unknown),
    })
}

/// A pump at work as a record; `alone` where the duty has no other.
fn pump_record(
    cx: &mut Cx<'_>,
    d: DeclId,
    p: &PumpPoint,
    alone: bool,
    origin: Origin,
) -> Eval<Value> {
    let engine = engine_of(cx, d, p, alone)?.ok();
    let mut fields: Vec<(SmolStr, Value)> = vec![("name".into(), Value::Text(p.name.clone()))];
    fields.extend(AT_WORK.iter().filter_map(|a| {
        let q = Quantity::computed(a.kind, (a.value)(p, engine.as_ref())?).origin(origin);
        Some((SmolStr::new_static(a.name), Value::Quantity(q)))
    }));
    Ok(Value::Record(Arc::new(Record {
        what: "pump at work",
        fields,
    })))
}

fn pumps(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let Some(s) = solved_by(cx, d)? else {
        return Ok(Value::Unknown);
    };
    let mut list = Vec::with_capacity(s.pumps.len());
    if s.pumps.len() > 1 {
        for p in &s.pumps {
            list.push(pump_record(cx, d, p, false, s.origin)?);
        }
    }
    Ok(Value::List(list.into()))
}

/// A value of a station: its name, kind, and how it is read.
type OfStation = (&'static str, Kind, fn(&StationPoint) -> Option<f64>);

/// The values of a station, in the order they are shown.
static STATION: [OfStation; 4] = [
    ("pressure", Kind::GaugePressure, |s| Some(s.pressure)),
    ("gauge_reading", Kind::GaugePressure, |s| s.gauge),
    ("flow", Kind::Flow, |s| Some(s.flow)),
    ("reaction", Kind::Force, |s| s.reaction),
];

fn station_record(s: &StationPoint, origin: Origin) -> Value {
    let mut fields: Vec<(SmolStr, Value)> = Vec::new();
    if let Some(l) = &s.label {
        fields.push(("name".into(), Value::Text(l.clone())));
    }
    fields.extend(STATION.iter().filter_map(|(name, kind, of)| {
        let q = Quantity::computed(*kind, of(s)?).origin(origin);
        Some((SmolStr::new_static(name), Value::Quantity(q)))
    }));
    if let Some(state) = s.state {
        fields.push(("state".into(), Value::Text(state.into())));
    }
    Value::Record(Arc::new(Record {
        what: "station",
        fields,
    }))
}

/// Every number of a solved duty that its spec can name: whose it is (a pump where there are several, or a station),
/// what it is called, its kind and value; always in the same order.
pub(crate) fn each_number<F>(
    pumps: &[PumpPoint],
    engines: &[Option<EngineModel>],
    stations: &[StationPoint],
    each: &mut F,
) where
    F: FnMut(Option<&str>, &'static str, Kind, Option<f64>),
{
    for (p, engine) in pumps.iter().zip(engines) {
        let whose = (pumps.len() > 1).then_some(p.name.as_str());
        let engine = engine.as_ref().map(|e| e.at(p.speed, p.power));
        for a in AT_WORK.iter().filter(|a| !a.engine || engine.is_some()) {
            each(whose, a.name, a.kind, (a.value)(p, engine.as_ref()));
        }
    }
    for s in stations {
        let Some(label) = &s.label else { continue };
        for (name, kind, of) in &STATION {
            each(Some(label), name, *kind, of(s));
        }
    }
}

fn stations(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let Some(s) = solved_by(cx, d)? else {
        return Ok(Value::Unknown);
    };
    let list: Vec<Value> = s
        .stations
        .iter()
        .filter(|x| x.label.is_some())
        .map(|x| station_record(x, s.origin))
        .collect();
    Ok(Value::List(list.into()))
}

fn member(cx: &mut Cx<'_>, d: DeclId, name: &str) -> Eval<Option<Value>> {
    // A name that is no station is said to be so even where the duty has no solution.
    if !member_names(cx, d)?.iter().any(|n| n == name) {
        return Ok(None);
    }
    let Some(s) = solved_by(cx, d)? else {
        return Ok(Some(Value::Unknown));
    };
    if let Some(p) = s.pumps.iter().find(|p| p.name == name) {
        return pump_record(cx, d, p, s.pumps.len() == 1, s.origin).map(Some);
    }
    Ok(s.stations
        .iter()
        .find(|x| x.label.as_deref() == Some(name))
        .map(|x| station_record(x, s.origin)))
}

fn member_names(cx: &mut Cx<'_>, d: DeclId) -> Eval<Vec<String>> {
    let Some(lay) = cx.reference(d, "lay")? else {
        return Ok(Vec::new());
    };
    let mut names = Vec::new();
    for (_, parsed) in crate::slots::lineage(cx, lay)? {
        if let Some(decl) = crate::slots::decl_of(&parsed.item) {
            for e in &decl.entries {
                if let cutwater_syntax::ast::EntryKind::Chain(c) = &e.kind {
                    for s in c {
                        // A pump goes by its own name where none stands before it.
                        let own = hydraulic::side(&s.what).map(|x| x.0);
                        if let Some(n) = s.label.as_ref().or(own) {
                            names.push(n.text.to_string());
                        }
                    }
                }
            }
        }
        if !names.is_empty() {
            break;
        }
    }
    Ok(names)
}
