//! The `duty`: pump, supply and lay together, and what is held.

use crate::codes::codes;
use crate::db::{Cx, Local};
use crate::hydraulic::{self, PumpPoint, Solution, StationPoint};
use crate::schema::short::{optional, positive, required, signed};
use crate::schema::{BLANK, ComputedDef, KindDef, Type};
use crate::value::{Origin, Quantity, Record, Value};
use crate::{DeclId, Eval, show};
use cutwater_finding::Finding;
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
    /// Raised by `duty`.
    CAVITATION = "CW1614" "cavitation" Error, "The suction head available is less than the pump requires.",
        "Where NPSH available falls below NPSH required the water boils at the eye: the pump loses flow, sounds as if it pumped gravel, and is damaged. Lower the lift, use larger or more suction hose, slow down or ask for less flow.",
        fires "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi, npshr ft) {\n        0 200 50\n        300 180 60\n        600 140 70\n    }\n}\nsupply s {\n    draft { lift = 15 ft }\n}\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100 }\nduty d {\n    supply = s\n    lay    = l\n    hold n.pressure = 100 psi\n}\n",
        silent "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi, npshr ft) {\n        0 200 6\n        300 180 8\n        600 140 12\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100 }\nduty d {\n    supply = s\n    lay    = l\n    hold n.pressure = 100 psi\n}\n";
    /// Raised by `duty`.
    HOSE_PRESSURE = "CW1615" "hose-pressure" Error, "Hose sees more than 90 % of its service-test pressure.",
        "NFPA 1962 (2018) sets a relief valve no higher than 90 % of the hose's service-test pressure. A burst length whips and can kill: stay clear, and follow the marked pressure, local orders and the hose's own instructions.",
        fires "hose weak {\n    diameter      = 2.5 in\n    loss          = 2 psi per 100 ft at 100 gpm\n    test_pressure = 120 psi\n}\npump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of weak -> n: std.fog_150_100 }\nduty d {\n    supply = s\n    lay    = l\n    hold discharge.pressure = 140 psi\n}\n",
        silent "hose strong {\n    diameter      = 2.5 in\n    loss          = 2 psi per 100 ft at 100 gpm\n    test_pressure = 300 psi\n}\npump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of strong -> n: std.fog_150_100 }\nduty d {\n    supply = s\n    lay    = l\n    hold discharge.pressure = 140 psi\n}\n";
    /// Raised by `duty`.
    ENGINE_POWER = "CW1616" "engine-power" Error, "The duty needs more power than the engine gives at that speed.",
        "Shaft power divided by the driveline's efficiency is more than the engine's output at its speed in this duty. The engine would slow down: the duty cannot be held.",
        fires "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi, power hp) {\n        0 200 30\n        300 180 60\n        600 140 90\n    }\n}\ndrive e {\n    turns      = p\n    gear_ratio = 2\n    output (speed rpm, power hp) {\n        800 10\n        2000 20\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100 }\nduty d {\n    supply = s\n    lay    = l\n    drive  = e\n    hold n.pressure = 100 psi\n}\n", silent "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi, power hp) {\n        0 200 30\n        300 180 60\n        600 140 90\n    }\n}\ndrive e {\n    turns      = p\n    gear_ratio = 2\n    output (speed rpm, power hp) {\n        800 90\n        2000 200\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100 }\nduty d {\n    supply = s\n    lay    = l\n    drive  = e\n    hold n.pressure = 100 psi\n}\n";
    /// Raised by `duty`.
    NOZZLE_RANGE = "CW1617" "nozzle-range" Warning, "A nozzle that holds a pressure or a flow works outside its range.",
        "Outside its range a holding nozzle is a fixed opening: its pressure is no longer what it is set to. A regulated one needs its rated pressure to give its flow; below that it gives less. One without any pressure is dry.",
        fires "nozzle fog {\n    form       = holding\n    rated      = 200 gpm at 100 psi\n    flow_range = 120 .. 200 gpm\n}\npump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: fog }\nduty d {\n    supply = s\n    lay    = l\n    hold n.flow = 100 gpm\n}\n", silent "nozzle fog {\n    form       = holding\n    rated      = 200 gpm at 100 psi\n    flow_range = 120 .. 200 gpm\n}\npump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: fog }\nduty d {\n    supply = s\n    lay    = l\n    hold n.flow = 150 gpm\n}\n";
    /// Raised by `duty`.
    REACTION = "CW1618" "nozzle-reaction" Warning, "A nozzle pushes back harder than its crew is said to hold.",
        "A guide in use: one person to 60 lbf, two to 75 lbf, three to 95 lbf (handbook figures by Grimwood, common practice). A loose line injures: never hand-hold a master stream, close slowly, follow local orders.",
        fires "nozzle big {\n    form = smooth\n    tip  = 1.25 in\n    crew = 2\n}\npump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.supply_2_1_2 -> n: big }\nduty d {\n    supply = s\n    lay    = l\n    hold n.pressure = 50 psi\n}\n", silent "nozzle big {\n    form = smooth\n    tip  = 1 in\n    crew = 3\n}\npump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.supply_2_1_2 -> n: big }\nduty d {\n    supply = s\n    lay    = l\n    hold n.pressure = 50 psi\n}\n";
    /// Raised by `duty`.
    UNSTABLE = "CW1619" "unstable-point" Warning, "The pump works on a rising stretch of its curve.",
        "Where pressure rises with flow two flows share one pressure, and the pump can hunt between them.",
        fires "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 170\n        250 185\n        300 186\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.supply_2_1_2 -> n: std.fog_150_100 }\nduty d {\n    supply = s\n    lay    = l\n    hold n.pressure = 120 psi\n}\n", silent "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.supply_2_1_2 -> n: std.fog_150_100 }\nduty d {\n    supply = s\n    lay    = l\n    hold n.pressure = 120 psi\n}\n";
    /// Raised by `duty`.
    NPSH_MARGIN = "CW1620" "npsh-margin" Advice, "Little suction head is left over.",
        "NPSH required is usually stated at 3 % loss of head: at that point the pump cavitates already. A margin of some feet is wise; how much is for the pump's maker to say.",
        fires "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi, npshr ft) {\n        0 200 26\n        300 180 27\n        600 140 30\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100 }\nduty d {\n    supply = s\n    lay    = l\n    hold speed = 3000 rpm\n}\n", silent "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi, npshr ft) {\n        0 200 6\n        300 180 8\n        600 140 12\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100 }\nduty d {\n    supply = s\n    lay    = l\n    hold speed = 3000 rpm\n}\n";
    /// Raised by `duty`.
    RELAY_LOW = "CW1621" "relay-intake-low" Warning, "A pump that another feeds has little pressure left at its intake.",
        "A pump that another pump feeds keeps a residual at its intake, 20 psi as usual (common practice). With less it is about to run away from its supply: soft hose flattens, the pump cavitates and the lines it feeds fail. The pumps of a relay must be balanced: the one before it gives more, or it asks for less.",
        fires "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\npump q like p { }\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l {\n    p.discharge -> 1000 ft of std.supply_2_1_2 -> q.intake\n    q.discharge -> 200 ft of std.supply_2_1_2 -> n: std.fog_150_100\n}\nduty d {\n    supply = s\n    lay    = l\n    hold p.speed = 1500 rpm\n    hold n.pressure = 100 psi\n}\n",
        silent "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\npump q like p { }\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l {\n    p.discharge -> 1000 ft of std.supply_2_1_2 -> q.intake\n    q.discharge -> 200 ft of std.supply_2_1_2 -> n: std.fog_150_100\n}\nduty d {\n    supply = s\n    lay    = l\n    hold p.speed = 2500 rpm\n    hold n.pressure = 100 psi\n}\n";
    /// Raised by `duty`.
    HOSE_COLLAPSE = "CW1622" "hose-collapse" Error, "Hose of a lay stands below the air's pressure.",
        "Only hard suction hose keeps its shape below the pressure of the air. Soft hose flattens and lets nothing through, so that the flow found here does not come about. Hose that leads from a `draft` supply to a pump is taken as suction hose.",
        fires "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\npump q like p { }\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l {\n    p.discharge -> 1000 ft of std.supply_2_1_2 -> q.intake\n    q.discharge -> 200 ft of std.supply_2_1_2 -> n: std.fog_150_100\n}\nduty d {\n    supply = s\n    lay    = l\n    hold p.speed = 1300 rpm\n    hold n.pressure = 100 psi\n}\n",
        silent "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\npump q like p { }\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l {\n    p.discharge -> 1000 ft of std.supply_2_1_2 -> q.intake\n    q.discharge -> 200 ft of std.supply_2_1_2 -> n: std.fog_150_100\n}\nduty d {\n    supply = s\n    lay    = l\n    hold p.speed = 2500 rpm\n    hold n.pressure = 100 psi\n}\n";
}

macro_rules! solved {
    ($name:literal, $kind:expr, $doc:literal, $formula:literal, $hint:literal, $eval:expr) => {
        ComputedDef {
            name: $name,
            ty: $kind,
            doc: $doc,
            formula: $formula,
            source: "steady, incompressible flow: mass balance at every point, each part's own law, solved together",
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
        solved!(
            "speed",
            positive(Kind::RotationalSpeed),
            "Speed of the pump.",
            "as held, or found so that what is held is met",
            true,
            |cx, d| pump(cx, d, Kind::RotationalSpeed, |p| Some(p.speed))
        ),
        solved!(
            "flow",
            positive(Kind::Flow),
            "Flow through the pump.",
            "sum of what leaves",
            true,
            |cx, d| pump(cx, d, Kind::Flow, |p| Some(p.flow))
        ),
        solved!(
            "discharge_pressure",
            signed(Kind::GaugePressure),
            "Total pressure at the pump's discharge.",
            "intake + net",
            true,
            |cx, d| pump(cx, d, Kind::GaugePressure, |p| Some(p.discharge))
        ),
        solved!(
            "intake_pressure",
            signed(Kind::GaugePressure),
            "Total pressure at the pump's intake; below zero is vacuum.",
            "supply less lift and losses",
            false,
            |cx, d| pump(cx, d, Kind::GaugePressure, |p| Some(p.intake))
        ),
        solved!(
            "net_pressure",
            signed(Kind::Pressure),
            "Net pump pressure.",
            "discharge − intake",
            false,
            |cx, d| pump(cx, d, Kind::Pressure, |p| Some(p.rise))
        ),
        solved!(
            "water_power",
            signed(Kind::Power),
            "Power given to the water.",
            "flow · net pressure",
            false,
            |cx, d| pump(cx, d, Kind::Power, |p| Some(affinity::water_power(
                p.flow, p.rise
            )))
        ),
        solved!(
            "shaft_power",
            positive(Kind::Power),
            "Power taken at the pump shaft.",
            "tested power at the same point, with the cube of the speed",
            true,
            |cx, d| pump(cx, d, Kind::Power, |p| p.power)
        ),
        solved!(
            "efficiency",
            positive(Kind::Ratio),
            "Pump efficiency.",
            "water power / shaft power",
            false,
            |cx, d| pump(cx, d, Kind::Ratio, |p| p
                .power
                .and_then(|w| affinity::efficiency(p.flow, p.rise, w).ok()))
        ),
        solved!(
            "npsh_available",
            signed(Kind::Head),
            "Net positive suction head available.",
            "(intake + atmosphere − vapour pressure) / (ρ g)",
            false,
            |cx, d| pump(cx, d, Kind::Head, |p| Some(p.npsh_available))
        ),
        solved!(
            "npsh_required",
            positive(Kind::Head),
            "Net positive suction head required.",
            "tested value at the same point, with the square of the speed",
            false,
            |cx, d| pump(cx, d, Kind::Head, |p| p.npsh_required)
        ),
        solved!(
            "npsh_margin",
            signed(Kind::Head),
            "Suction head left over.",
            "NPSH available − NPSH required",
            true,
            |cx, d| pump(cx, d, Kind::Head, |p| p
                .npsh_required
                .map(|r| p.npsh_available - r))
        ),
        solved!(
            "engine_speed",
            positive(Kind::RotationalSpeed),
            "Speed of the engine.",
            "speed / gear_ratio",
            false,
            engine_speed
        ),
        solved!(
            "power_margin",
            signed(Kind::Power),
            "Power of the engine left over, at the pump shaft.",
            "output(engine speed) · efficiency − shaft power",
            false,
            power_margin
        ),
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
            "Pressure, flow and reaction at each named station of the lay.",
            "from the solution",
            false,
            stations
        ),
        solved!(
            "checks",
            Type::Truth,
            "Whether the solution keeps every limit that was stated.",
            "NPSH, intake pressure of a relay, hose pressure, engine power, nozzle range, reaction",
            false,
            checks
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

fn pump(cx: &mut Cx<'_>, d: DeclId, kind: Kind, f: fn(&PumpPoint) -> Option<f64>) -> Eval<Value> {
    Ok(match solved_by(cx, d)? {
        None => Value::Unknown,
        Some(s) => match alone(&s).and_then(f) {
            Some(v) => Value::Quantity(Quantity::computed(kind, v).origin(s.origin)),
            None => Value::Absent,
        },
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

/// The engine of a pump at work.
struct AtEngine {
    drive: DeclId,
    /// Its speed, rad/s.
    speed: f64,
    /// What it gives there at the pump shaft, W, where its output says so.
    power: Option<f64>,
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
    let Some(ratio) = cx.si(drive, "gear_ratio")? else {
        return Ok(Err(Value::Unknown));
    };
    let speed = p.speed / ratio;
    // Only what is needed for a power that is known.
    let power = match p.power {
        Some(_) => engine_power(cx, drive, speed)?,
        None => None,
    };
    Ok(Ok(AtEngine {
        drive,
        speed,
        power,
    }))
}

fn engine(
    cx: &mut Cx<'_>,
    d: DeclId,
    kind: Kind,
    which: fn(&AtEngine, &PumpPoint) -> Option<f64>,
) -> Eval<Value> {
    let Some(s) = solved_by(cx, d)? else {
        return Ok(Value::Unknown);
    };
    let Some(p) = alone(&s) else {
        return Ok(Value::Absent);
    };
    let e = match engine_of(cx, d, p, true)? {
        Ok(e) => e,
        Err(v) => return Ok(v),
    };
    Ok(match which(&e, p) {
        Some(v) => Value::Quantity(Quantity::computed(kind, v).origin(s.origin)),
        None => Value::Absent,
    })
}

fn engine_speed(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    engine(cx, d, Kind::RotationalSpeed, |e, _| Some(e.speed))
}

/// Power of an engine left over at the pump shaft, W.
fn margin(e: &AtEngine, p: &PumpPoint) -> Option<f64> {
    Some(e.power? - p.power?)
}

fn power_margin(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    engine(cx, d, Kind::Power, margin)
}

/// The engine's power at the pump shaft, W, at an engine speed, rad/s.
fn engine_power(cx: &mut Cx<'_>, drive: DeclId, speed: f64) -> Eval<Option<f64>> {
    let Some(t) = cx.table(drive, "output")? else {
        return Ok(None);
    };
    let (Some(s), Some(p), Some(e)) = (
        t.numbers("speed"),
        t.numbers("power"),
        cx.si(drive, "efficiency")?,
    ) else {
        return Ok(None);
    };
    let engine = cutwater_hydraulics::drive::Engine::new(
        s,
        p,
        cutwater_hydraulics::drive::Reading::Straight,
    );
    Ok(engine.ok().and_then(|x| x.power(speed).ok()).map(|w| w * e))
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
    let efficiency = p
        .power
        .and_then(|w| affinity::efficiency(p.flow, p.rise, w).ok());
    let all = [
        ("speed", Kind::RotationalSpeed, Some(p.speed)),
        ("flow", Kind::Flow, Some(p.flow)),
        ("discharge_pressure", Kind::GaugePressure, Some(p.discharge)),
        ("intake_pressure", Kind::GaugePressure, Some(p.intake)),
        ("net_pressure", Kind::Pressure, Some(p.rise)),
        (
            "water_power",
            Kind::Power,
            Some(affinity::water_power(p.flow, p.rise)),
        ),
        ("shaft_power", Kind::Power, p.power),
        ("efficiency", Kind::Ratio, efficiency),
        ("npsh_available", Kind::Head, Some(p.npsh_available)),
        ("npsh_required", Kind::Head, p.npsh_required),
        (
            "npsh_margin",
            Kind::Head,
            p.npsh_required.map(|r| p.npsh_available - r),
        ),
        (
            "engine_speed",
            Kind::RotationalSpeed,
            engine.as_ref().map(|e| e.speed),
        ),
        (
            "power_margin",
            Kind::Power,
            engine.as_ref().and_then(|e| margin(e, p)),
        ),
    ];
    let mut fields: Vec<(SmolStr, Value)> = vec![("name".into(), Value::Text(p.name.clone()))];
    fields.extend(all.into_iter().filter_map(|(name, kind, v)| {
        let q = Quantity::computed(kind, v?).origin(origin);
        Some((SmolStr::new_static(name), Value::Quantity(q)))
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

fn station_record(s: &StationPoint, origin: Origin) -> Value {
    let q = |kind, v| Value::Quantity(Quantity::computed(kind, v).origin(origin));
    let mut fields: Vec<(SmolStr, Value)> = Vec::new();
    if let Some(l) = &s.label {
        fields.push(("name".into(), Value::Text(l.clone())));
    }
    fields.push(("pressure".into(), q(Kind::GaugePressure, s.pressure)));
    fields.push(("flow".into(), q(Kind::Flow, s.flow)));
    if let Some(r) = s.reaction {
        fields.push(("reaction".into(), q(Kind::Force, r)));
    }
    if let Some(state) = s.state {
        fields.push(("state".into(), Value::Text(state.into())));
    }
    Value::Record(Arc::new(Record {
        what: "station",
        fields,
    }))
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

/// Least pressure at the intake of a pump that another feeds, Pa gauge: 20 psi (common practice).
const RELAY_INTAKE: f64 = 20.0 * 6_894.757_293_168;

/// Crew guide: most reaction, N, for so many firefighters at the nozzle.
fn crew_limit(crew: u32) -> f64 {
    const LBF: f64 = 4.448_221_615_260_5;
    // Grimwood's guide as found in training texts: 60, 75 and 95 lbf (common practice).
    match crew {
        1 => 60.0 * LBF,
        2 => 75.0 * LBF,
        _ => 95.0 * LBF,
    }
}

fn checks(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let Some(s) = solved_by(cx, d)? else {
        return Ok(Value::Unknown);
    };
    let settings = cx.settings();
    let name = cx.name(d);
    let mut ok = true;
    let text = |v: f64, kind: Kind| show::si(v, kind, None, &settings);
    let alone = s.pumps.len() == 1;
    for p in &s.pumps {
        let supply = match cx.get(d, "supply")? {
            Value::Decl(_) if !p.fed => cx.place(d, "supply"),
            _ => Local::Span(s.lay, p.span),
        };
        let whose = match alone {
            true => format!("duty `{name}`"),
            false => format!("pump `{}` of duty `{name}`", p.name),
        };
        if p.relayed && p.intake < RELAY_INTAKE {
            ok = false;
            let least = text(RELAY_INTAKE, Kind::GaugePressure);
            let place = cx.place(d, "lay");
            cx.report(
                Finding::new(
                    &RELAY_LOW,
                    place,
                    format!("{whose} has {} left at its intake; a relay is run with {least} or more", text(p.intake, Kind::GaugePressure)),
                )
                .here("too little for a pump of this lay")
                .label(Local::Span(s.lay, p.span), "this pump")
                .help("raise the pressure of the pump before it, lay more or larger lines, or shorten them")
                .source("common practice: 20 psi left at the intake of a relay's pump")
                .number("intake", p.intake / 6_894.757_293_168, "psi")
                .number("least", RELAY_INTAKE / 6_894.757_293_168, "psi"),
            );
        }
        if let Some(need) = p.npsh_required {
            let (a, r) = (text(p.npsh_available, Kind::Head), text(need, Kind::Head));
            if p.npsh_available < need {
                ok = false;
                cx.report(
                    Finding::new(&CAVITATION, supply, format!("{whose} cavitates: {a} of suction head is available, {r} is required"))
                        .here("too little suction head")
                        .label(Local::Head(p.pump), "its NPSH required")
                        .help("lower the lift, use larger or more suction hose, slow down or ask for less flow")
                        .source("the pump's tested NPSH required")
                        .number("NPSH available", p.npsh_available / 0.3048, "ft")
                        .number("NPSH required", need / 0.3048, "ft"),
                );
            } else if p.npsh_available < need + 1.0 {
                cx.report(
                    Finding::new(&NPSH_MARGIN, supply, format!("{whose} has only {} of suction head left over ({a} available, {r} required)", text(p.npsh_available - need, Kind::Head)))
                        .here("little left over")
                        .source("common practice: a margin over NPSH required, here 1 m"),
                );
            }
        }
        if p.unstable {
            cx.report(
                Finding::new(&UNSTABLE, cx.place(d, "lay"), format!("in duty `{name}` pump `{}` works where its curve rises with flow: it can hunt", p.name))
                    .here("unstable")
                    .label(Local::Head(p.pump), "its curve"),
            );
        }
        if let Ok(engine) = engine_of(cx, d, p, alone)?
            && let (Some(need), Some(have)) = (p.power, engine.power)
            && have < need
        {
            ok = false;
            let drive = engine.drive;
            let named = cx.reference(d, "drive")? == Some(drive);
            let place = cx.place(d, if named { "drive" } else { "drives" });
            let table = cx.place(drive, "output");
            cx.report(
                Finding::new(
                    &ENGINE_POWER,
                    place,
                    format!("{whose} takes {} at the pump shaft, but the engine gives {} there at {}", text(need, Kind::Power), text(have, Kind::Power), text(engine.speed, Kind::RotationalSpeed)),
                )
                .here("not enough power")
                .label(table, "the engine's output")
                .help("ask for less, or change the ratio so that the engine works nearer its best speed")
                .number("needed", need / 745.699_871_582_270_2, "hp")
                .number("given", have / 745.699_871_582_270_2, "hp"),
            );
        }
    }
    for r in &s.runs {
        // Where nothing flows the water does not stand that high.
        if r.lowest < 0.0 && !r.suction && r.flow.abs() > 1e-9 {
            ok = false;
            let place = cx.place(d, "lay");
            cx.report(
                Finding::new(
                    &HOSE_COLLAPSE,
                    place,
                    format!("in duty `{name}` hose `{}` stands at {}, below the air's pressure: soft hose flattens there", cx.name(r.hose), text(r.lowest, Kind::GaugePressure)),
                )
                .here("flattens hose of this lay")
                .label(Local::Span(s.lay, r.span), "this hose")
                .help("raise the pressure at its near end, lay more or larger lines, or ask for less flow; only hard suction hose stands a vacuum")
                .number("pressure", r.lowest / 6_894.757_293_168, "psi"),
            );
        }
        if let Some(limit) = cx.si(r.hose, "pressure_limit")?
            && r.highest > limit
        {
            ok = false;
            let place = cx.place(d, "lay");
            let test = cx.place(r.hose, "test_pressure");
            cx.report(
                Finding::new(
                    &HOSE_PRESSURE,
                    place,
                    format!("in duty `{name}` hose `{}` sees {}, above {} (90 % of its service-test pressure)", cx.name(r.hose), text(r.highest, Kind::GaugePressure), text(limit, Kind::Pressure)),
                )
                .here("too much for a hose of this lay")
                .label(Local::Span(s.lay, r.span), "this hose")
                .label(test, "its service-test pressure")
                .help("lower the pressure, or use hose tested higher; a burst length whips: stay clear of charged lines")
                .source("NFPA 1962 (2018)")
                .number("pressure", r.highest / 6_894.757_293_168, "psi")
                .number("limit", limit / 6_894.757_293_168, "psi"),
            );
        }
    }
    for x in s.stations.iter().filter(|x| x.nozzle) {
        let label = x.label.clone().unwrap_or_else(|| cx.name(x.decl));
        if let Some(state) = x.state
            && state != "holding its pressure"
        {
            let place = cx.place(d, "lay");
            cx.report(
                Finding::new(
                    &NOZZLE_RANGE,
                    place,
                    format!(
                        "in duty `{name}` nozzle `{label}` works {state}: {} at {}",
                        text(x.flow, Kind::Flow),
                        text(x.pressure, Kind::GaugePressure)
                    ),
                )
                .here("outside what it is made for")
                .label(Local::Span(s.lay, x.span), "this nozzle"),
            );
        }
        if let (Some(r), Some(crew)) = (x.reaction, cx.si(x.decl, "crew")?) {
            let limit = crew_limit(crew as u32);
            if r > limit {
                let place = cx.place(d, "lay");
                let at = cx.place(x.decl, "crew");
                cx.report(
                    Finding::new(
                        &REACTION,
                        place,
                        format!("in duty `{name}` nozzle `{label}` pushes back with {}; a guide for {crew} at the nozzle is {}", text(r, Kind::Force), text(limit, Kind::Force)),
                    )
                    .here("hard to hold")
                    .label(Local::Span(s.lay, x.span), "this nozzle")
                    .label(at, "its crew")
                    .help("put more people on it, lower its pressure or use a smaller tip; follow local orders")
                    .source("Grimwood's guide, common practice")
                    .number("reaction", r / 4.448_221_615_260_5, "lbf")
                    .number("guide", limit / 4.448_221_615_260_5, "lbf"),
                );
            }
        }
    }
    Ok(Value::Truth(ok))
}
