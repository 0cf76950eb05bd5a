//! What is wrong with a solved duty: each limit that was stated or that practice sets, laid against the solution.
//!
//! Invariants: nothing here changes a number; every finding says what was found, what was expected, and what would
//! mend it.

use super::{engine_of, solved_by};
use crate::codes::codes;
use crate::db::{Cx, Local};
use crate::hydraulic::{self, AtPoint, CUT_OFF, PumpPoint};
use crate::value::Value;
use crate::{DeclId, Eval, show};
use cutwater_finding::Finding;
use cutwater_quantity::Kind;

codes! {
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
    /// Raised by `duty`.
    HOSE_VELOCITY = "CW1625" "hose-velocity" Advice, "The water runs faster in a hose than is wanted.",
        "A hose with a `velocity_limit` is asked for more. Fast water loses pressure with the square of its speed, and shuts with a harder blow.",
        fires "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nhose big {\n    diameter       = 2.5 in\n    loss           = 2 psi per 100 ft at 100 gpm\n    velocity_limit = 15 ft/s\n}\nlay l { p.discharge -> 100 ft of big -> n: f }\nnozzle f {\n    form  = fog\n    rated = 300 gpm at 100 psi\n}\nduty d {\n    supply = s\n    lay    = l\n    hold n.pressure = 100 psi\n}\n",
        silent "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nhose big {\n    diameter       = 2.5 in\n    loss           = 2 psi per 100 ft at 100 gpm\n    velocity_limit = 30 ft/s\n}\nlay l { p.discharge -> 100 ft of big -> n: f }\nnozzle f {\n    form  = fog\n    rated = 300 gpm at 100 psi\n}\nduty d {\n    supply = s\n    lay    = l\n    hold n.pressure = 100 psi\n}\n";
    /// Raised by `duty`.
    OVERHEATING = "CW1626" "pump-heats-water" Warning, "The pump warms its water more than is wanted.",
        "Power that does not become pressure becomes heat. With little flow the water in the pump warms fast, expands and can turn to steam; what leaves the next open valve scalds: at 140 °F in some seconds, at 150 °F in two. Keep water moving: a tank-to-pump circulation line, a nozzle cracked open. Limits are the pump's `temperature_rise_limit`, by default a custom of boiler-feed pumps.",
        fires "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi, power hp) {\n        0 200 30\n        300 180 60\n        600 140 90\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: f }\nnozzle f {\n    form  = fog\n    rated = 3 gpm at 100 psi\n}\nduty d {\n    supply = s\n    lay    = l\n    hold speed = 3000 rpm\n}\n",
        silent "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi, power hp) {\n        0 200 30\n        300 180 60\n        600 140 90\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: f }\nnozzle f {\n    form  = fog\n    rated = 150 gpm at 100 psi\n}\nduty d {\n    supply = s\n    lay    = l\n    hold speed = 3000 rpm\n}\n";
    /// Raised by `duty`.
    REVERSE_FLOW = "CW1627" "reverse-flow" Warning, "Water runs back into a supply.",
        "A supply that stands lower than another it is joined to takes water instead of giving it. Into a hydrant's main that is a cross-connection: it can foul drinking water, and codes ask for a check valve or an air gap. Put a check valve into the weaker line, raise its pressure or shut it.",
        fires "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply low {\n    hydrant {\n        static_pressure = 20 psi\n        residual        = 10 psi at 900 gpm\n    }\n}\nsupply high {\n    hydrant {\n        static_pressure = 90 psi\n        residual        = 60 psi at 900 gpm\n    }\n}\nlay l {\n    low -> 50 ft of std.supply_2_1_2 -> p.intake\n    high -> 50 ft of std.supply_2_1_2 -> p.intake\n    p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100\n}\nduty d {\n    lay = l\n    hold n.pressure = 100 psi\n}\n",
        silent "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply low {\n    hydrant {\n        static_pressure = 88 psi\n        residual        = 58 psi at 900 gpm\n    }\n}\nsupply high {\n    hydrant {\n        static_pressure = 90 psi\n        residual        = 60 psi at 900 gpm\n    }\n}\nlay l {\n    low -> 50 ft of std.supply_2_1_2 -> p.intake\n    high -> 50 ft of std.supply_2_1_2 -> p.intake\n    p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100\n}\nduty d {\n    lay = l\n    hold n.pressure = 100 psi\n}\n";
    /// Raised by `duty`.
    SURGE = "CW1628" "hose-surge" Advice, "Shutting a nozzle at once would take a hose beyond its service-test pressure.",
        "Water that is stopped at once adds ρ · a · v to the pressure (Joukowsky), with the wave's speed a of the charged hose. Open and close slowly, over 3 to 5 s or more (training texts): water hammer bursts hose and hurts pumps and people.",
        fires "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nhose big {\n    diameter       = 2.5 in\n    loss           = 2 psi per 100 ft at 100 gpm\n    test_pressure  = 180 psi\n    wave_speed     = 600 ft/s\n}\nlay l { p.discharge -> 100 ft of big -> n: f }\nnozzle f {\n    form  = fog\n    rated = 300 gpm at 100 psi\n}\nduty d {\n    supply = s\n    lay    = l\n    hold n.pressure = 100 psi\n}\n",
        silent "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nhose big {\n    diameter       = 2.5 in\n    loss           = 2 psi per 100 ft at 100 gpm\n    test_pressure  = 400 psi\n    wave_speed     = 600 ft/s\n}\nlay l { p.discharge -> 100 ft of big -> n: f }\nnozzle f {\n    form  = fog\n    rated = 300 gpm at 100 psi\n}\nduty d {\n    supply = s\n    lay    = l\n    hold n.pressure = 100 psi\n}\n";
    /// Raised by `duty`.
    BEHIND_GATE = "CW1407" "behind-shut-gate" Advice, "A nozzle has no water in a duty, for a gate before it is shut.",
        "A gate at `opening = 0 %` cuts its line off: what has no other way to water is left out, and the rest is solved. Where the line is to wait, that is as it should be. Open gates slowly: a charged line whips, and water that is stopped short hammers.",
        fires "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nappliance g like std.gate_2_1_2 { opening = 0 % }\nlay l {\n    p.discharge -> n: std.fog_150_100\n    p.discharge -> g -> 50 ft of std.attack_1_3_4 -> m: std.fog_150_100\n}\nduty d {\n    supply = s\n    lay    = l\n    hold n.pressure = 100 psi\n}\n",
        silent "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 180\n        600 140\n    }\n}\nsupply s {\n    draft { lift = 5 ft }\n}\nappliance g like std.gate_2_1_2 { opening = 50 % }\nlay l {\n    p.discharge -> n: std.fog_150_100\n    p.discharge -> g -> 50 ft of std.attack_1_3_4 -> m: std.fog_150_100\n}\nduty d {\n    supply = s\n    lay    = l\n    hold n.pressure = 100 psi\n}\n";
}

/// What a duty of one pump could have so that a limit is kept, as the end of a sentence; nothing where there is none.
fn could_have(cx: &mut Cx<'_>, d: DeclId, keeps: &dyn Fn(&AtPoint) -> bool) -> Eval<String> {
    let most = hydraulic::most_held(cx, d, keeps)?;
    Ok(most.map_or(String::new(), |m| format!("; with {m} it would not")))
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

pub(super) fn checks(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
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
                let most = could_have(cx, d, &|(pumps, ..)| {
                    let keeps =
                        |p: &PumpPoint| p.npsh_required.is_some_and(|r| p.npsh_available >= r);
                    pumps.iter().all(keeps)
                })?;
                cx.report(
                    Finding::new(&CAVITATION, supply, format!("{whose} cavitates: {a} of suction head is available, {r} is required{most}"))
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
        if let (Some(rise), Some(limit)) = (p.heating, cx.si(p.pump, "temperature_rise_limit")?)
            && rise > limit
        {
            ok = false;
            let place = cx.place(d, "lay");
            let minimum = cx.quantity(p.pump, "minimum_flow")?;
            let keep = minimum.map_or(String::new(), |q| {
                format!(
                    "; {} keeps it below at the speed of its curve",
                    show::quantity(&q, &settings)
                )
            });
            let (warms, most) = (
                text(rise, Kind::TemperatureDifference),
                text(limit, Kind::TemperatureDifference),
            );
            let at = cx.place(p.pump, "temperature_rise_limit");
            cx.report(
                Finding::new(
                    &OVERHEATING,
                    place,
                    format!("{whose} warms its water by {warms} on the way through, more than {most}: only {} passes{keep}", text(p.flow, Kind::Flow)),
                )
                .here("too little flow")
                .label(Local::Head(p.pump), "this pump")
                .label(at, "its limit")
                .help("keep water moving: a circulation line to the tank, a nozzle cracked open; hot water from a closed pump scalds")
                .source("heat balance; the limit is `temperature_rise_limit` of the pump")
                .number("rise", rise, "K")
                .number("limit", limit, "K"),
            );
        }
        if p.power.is_some_and(|w| w > 0.0) && p.flow.abs() <= 1e-9 {
            ok = false;
            let place = cx.place(d, "lay");
            cx.report(
                Finding::new(
                    &OVERHEATING,
                    place,
                    format!("{whose} turns and no water passes through it: what is in it heats until it boils"),
                )
                .here("no flow")
                .label(Local::Head(p.pump), "this pump")
                .help("keep water moving, or stop the pump; hot water from a closed pump scalds")
                .source("heat balance"),
            );
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
            let most = match crate::kinds::drive::points::engine_model(cx, drive)? {
                Some(model) => could_have(cx, d, &|(pumps, ..)| {
                    let keeps = |p: &PumpPoint| {
                        let have = model.at(p.speed, p.power).power;
                        have.zip(p.power).is_some_and(|(have, need)| have >= need)
                    };
                    pumps.iter().all(keeps)
                })?,
                None => String::new(),
            };
            let named = cx.reference(d, "drive")? == Some(drive);
            let place = cx.place(d, if named { "drive" } else { "drives" });
            let table = cx.place(drive, "output");
            cx.report(
                Finding::new(
                    &ENGINE_POWER,
                    place,
                    format!("{whose} takes {} at the pump shaft, but the engine gives {} there at {}{most}", text(need, Kind::Power), text(have, Kind::Power), text(engine.speed, Kind::RotationalSpeed)),
                )
                .here("not enough power")
                .label(table, "the engine's output")
                .help("ask for less, or change the ratio so that the engine works nearer its best speed")
                .number("needed", need / 745.699_871_582_270_2, "hp")
                .number("given", have / 745.699_871_582_270_2, "hp"),
            );
        }
    }
    let most = s.feeds.iter().fold(0.0_f64, |m, f| m.max(f.flow.abs()));
    for f in &s.feeds {
        if let Some(hose) = f.hose {
            let its = (Local::Head(f.supply), "the supply it belongs to");
            velocity(cx, d, (hose, f.velocity), its)?;
        }
    }
    for f in s.feeds.iter().filter(|f| f.flow < -1e-6 * most) {
        ok = false;
        let hydrant = crate::kinds::supply::source(cx, f.supply)? == Some("hydrant");
        let (into, why) = match hydrant {
            true => (
                "the main",
                "a cross-connection that can foul drinking water",
            ),
            false => ("it", "no supply"),
        };
        let place = cx.place(d, "lay");
        cx.report(
            Finding::new(
                &REVERSE_FLOW,
                place,
                format!("in duty `{name}` {} runs back through supply `{}` into {into}: {why}", text(-f.flow, Kind::Flow), cx.name(f.supply)),
            )
            .here("water runs back")
            .label(Local::Head(f.supply), "into this")
            .help("put a check valve (`one_way = yes`) into its line, raise its pressure, or shut it; codes on backflow hold")
            .source("the solved flows; cross-connection rules are local")
            .number("flow", f.flow / 6.309_019_64e-5, "gpm"),
        );
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
                .source("driver/operator texts (from memory): soft hose collapses under draft, hard suction is made for vacuum")
                .number("pressure", r.lowest / 6_894.757_293_168, "psi"),
            );
        }
        let of_lay = (Local::Span(s.lay, r.span), "this hose");
        velocity(cx, d, (r.hose, r.velocity), of_lay)?;
        if let (Some(a), Some(v), Some(test)) = (
            cx.si(r.hose, "wave_speed")?,
            r.velocity,
            cx.si(r.hose, "test_pressure")?,
        ) && let Some(air) = hydraulic::surroundings(cx, d)?
            && r.highest + air.density * a * v > test
        {
            let surge = air.density * a * v;
            let place = cx.place(d, "lay");
            let at = cx.place(r.hose, "test_pressure");
            cx.report(
                Finding::new(
                    &SURGE,
                    place,
                    format!("in duty `{name}` a nozzle shut at once adds {} to the {} in hose `{}`: more than its service-test pressure of {}", text(surge, Kind::Pressure), text(r.highest, Kind::GaugePressure), cx.name(r.hose), text(test, Kind::Pressure)),
                )
                .here("a hard blow")
                .label(Local::Span(s.lay, r.span), "this hose")
                .label(at, "its service-test pressure")
                .help("open and close nozzles slowly, over 3 to 5 s or more, and stay clear of charged lines")
                .source("Joukowsky: ρ · a · v; closing slowly: training texts")
                .number("surge", surge / 6_894.757_293_168, "psi"),
            );
        }
        if let Some(limit) = cx.si(r.hose, "pressure_limit")?
            && r.highest > limit
        {
            ok = false;
            let place = cx.place(d, "lay");
            let test = cx.place(r.hose, "test_pressure");
            let most = could_have(cx, d, &|(.., runs)| {
                runs.iter().all(|x| x.hose != r.hose || x.highest <= limit)
            })?;
            cx.report(
                Finding::new(
                    &HOSE_PRESSURE,
                    place,
                    format!("in duty `{name}` hose `{}` sees {}, above {} (90 % of its service-test pressure){most}", cx.name(r.hose), text(r.highest, Kind::GaugePressure), text(limit, Kind::Pressure)),
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
        if x.state == Some(CUT_OFF) {
            let place = cx.place(d, "lay");
            cx.report(
                Finding::new(
                    &BEHIND_GATE,
                    place,
                    format!(
                        "in duty `{name}` nozzle `{label}` has no water: a gate before it is shut"
                    ),
                )
                .here("waits for a gate")
                .label(Local::Span(s.lay, x.span), "this nozzle")
                .help("open the gate, slowly, or leave its line out of the lay"),
            );
            continue;
        }
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

/// Tells of a hose in which the water runs faster, m/s, than the hose's limit; `label` is where it lies.
fn velocity(
    cx: &mut Cx<'_>,
    d: DeclId,
    (hose, found): (DeclId, Option<f64>),
    label: (Local, &'static str),
) -> Eval<()> {
    let (Some(limit), Some(v)) = (cx.si(hose, "velocity_limit")?, found) else {
        return Ok(());
    };
    if v <= limit * (1.0 + 1e-9) {
        return Ok(());
    }
    let settings = cx.settings();
    let text = |v: f64| show::si(v, Kind::Speed, None, &settings);
    // Two numbers that look alike would not say what is wrong.
    let just = if text(v) == text(limit) {
        "just over "
    } else {
        ""
    };
    let message = format!(
        "in duty `{}` the water in hose `{}` runs at {just}{}, faster than {}",
        cx.name(d),
        cx.name(hose),
        text(v),
        text(limit)
    );
    let place = cx.place(d, "lay");
    let at = cx.place(hose, "velocity_limit");
    cx.report(
        Finding::new(&HOSE_VELOCITY, place, message)
            .here("fast water")
            .label(label.0, label.1)
            .label(at, "its limit")
            .help("lay a second line beside it or a larger one, or ask for less flow")
            .source("`velocity_limit` of this hose")
            .number("velocity", v / 0.3048, "ft/s")
            .number("limit", limit / 0.3048, "ft/s"),
    );
    Ok(())
}
