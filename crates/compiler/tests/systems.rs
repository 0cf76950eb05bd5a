//! Duties of several pumps: what feeds which, what each one's speed holds, what is said where that does not come out
//! even. Numbers are compared with sums by hand; whole systems with an independent solver in `operating_points.rs`.

mod common;

use std::collections::BTreeMap;

const PARTS: &str = "pump first {
    rating = 1000 gpm at 150 psi
    curve at 3000 rpm (flow gpm, net psi, power hp) {
           0  190   66
         400  183   92
        1000  152  132
        1400  117  150
    }
}
pump second like first {}
drive engine_1 {
    turns          = first
    gear_ratio     = 2
    governed_speed = 2300 rpm
    output (speed rpm, power hp) {
         800   60
        2300  300
    }
}
drive engine_2 like engine_1 {
    turns          = second
    governed_speed = 1200 rpm
}
hose line { loss = 2 psi per 100 ft at 100 gpm }
nozzle tip {
    form  = fog
    rated = 150 gpm at 100 psi
}
supply pond { draft { lift = 8 ft } }
supply street {
    hydrant {
        static_pressure = 70 psi
        residual        = 50 psi at 900 gpm
    }
}
lay relay {
    first.discharge -> 500 ft of line rise 20 ft -> second.intake
    second.discharge -> 200 ft of line -> left: tip
    second.discharge -> 200 ft of line -> right: tip
}
lay beside {
    pond -> first.intake
    street -> second.intake
    first.discharge -> 100 ft of line -> joined: std.siamese
    second.discharge -> 100 ft of line -> joined
    joined -> 50 ft of line -> left: tip
}
";

struct Found {
    values: BTreeMap<String, f64>,
    said: Vec<(String, String)>,
}

/// Checks `PARTS` with more text behind it.
fn solve(more: &str) -> Found {
    let db = common::settled(&format!("{PARTS}{more}"));
    let values = common::numbers(&db);
    let said = common::findings(&db)
        .iter()
        .map(|f| (f.code.id.to_owned(), f.message.clone()))
        // The drives are judged by their own rules.
        .filter(|f| !f.0.starts_with("CW13"))
        .collect();
    Found { values, said }
}

fn only(found: &Found, code: &str, message: &str) {
    assert!(
        matches!(found.said.as_slice(), [(c, m)] if c == code && m.contains(message)),
        "{:#?}",
        found.said
    );
}

#[test]
fn a_relay_hands_on_its_water_and_pressure() {
    let x = solve(
        "duty d {\n    supply = pond\n    lay = relay\n    drives = [engine_1, engine_2]\n    hold first.discharge.pressure = 140 psi\n    hold left.pressure = 100 psi\n}\n",
    );
    assert!(x.said.is_empty(), "{:?}", x.said);
    let v = |name: &str| x.values[&format!("d.{name}")];
    // Two fogs at their rated pressure on equal lines; 2 · 5 · 3² psi of loss, 20 ft of water at 60 °F.
    assert!((v("left.flow") - 150.0).abs() < 1e-6);
    for flow in ["first.flow", "second.flow"] {
        assert!((v(flow) - 300.0).abs() < 1e-5, "{flow} {}", v(flow));
    }
    let hill = 20.0 * 62.36 / 144.0;
    let intake = 140.0 - 2.0 * 5.0 * 9.0 - hill;
    assert!((v("second.intake_pressure") - intake).abs() < 0.01);
    assert!((v("second.discharge_pressure") - (100.0 + 2.0 * 2.0 * 2.25)).abs() < 1e-5);
    assert!((v("first.engine_speed") * 2.0 - v("first.speed")).abs() < 1e-6);
    // Of several pumps the duty has no one speed.
    assert!(!x.values.contains_key("d.speed"));
    only(
        &solve(
            "duty d {\n    supply = pond\n    lay = relay\n    hold first.discharge.pressure = 140 psi\n    hold left.pressure = 100 psi\n}\nrequire d.speed <= 3000 rpm because \"governed\"\n",
        ),
        "CW0408",
        "`d.speed` is of one pump, and this duty has 2: say which, as `d.first.speed`",
    );
}

#[test]
fn a_station_is_held_by_the_pump_before_it_or_by_one_further_up() {
    let near = solve(
        "duty d {\n    supply = pond\n    lay = relay\n    hold left.pressure = 100 psi\n    hold first.speed = 2800 rpm\n}\n",
    );
    assert!(near.said.is_empty(), "{:?}", near.said);
    assert!((near.values["d.first.speed"] - 2800.0).abs() < 1e-6);
    assert!((near.values["d.left.pressure"] - 100.0).abs() < 1e-6);
    // The pump before it runs as it is told, so the first one serves the nozzle.
    let far = solve(
        "duty d {\n    supply = pond\n    lay = relay\n    hold left.pressure = 100 psi\n    hold second.net_pressure = 70 psi\n}\n",
    );
    assert!(far.said.is_empty(), "{:?}", far.said);
    assert!((far.values["d.left.pressure"] - 100.0).abs() < 1e-6);
    assert!((far.values["d.second.net_pressure"] - 70.0).abs() < 1e-6);
    // The same state, whichever of the two is said: held by what the other case found.
    let other = solve(&format!(
        "duty d {{\n    supply = pond\n    lay = relay\n    hold left.pressure = 100 psi\n    hold first.speed = {} rpm\n}}\n",
        far.values["d.first.speed"]
    ));
    assert!((other.values["d.second.net_pressure"] - 70.0).abs() < 1e-5);
}

#[test]
fn pumps_side_by_side_share_the_flow() {
    let x = solve(
        "duty d {\n    lay = beside\n    hold first.speed = 2290 rpm\n    hold left.pressure = 100 psi\n}\n",
    );
    assert!(x.said.is_empty(), "{:?}", x.said);
    let v = |name: &str| x.values[&format!("d.{name}")];
    assert!((v("first.flow") + v("second.flow") - v("left.flow")).abs() < 1e-6);
    // Equal lines from both pumps to one point.
    let loss = |q: f64| 2.0 * (q / 100.0) * (q / 100.0);
    let a = v("first.discharge_pressure") - loss(v("first.flow"));
    let b = v("second.discharge_pressure") - loss(v("second.flow"));
    assert!((a - b).abs() < 1e-6, "{a} {b}");
    assert!(v("second.intake_pressure") > 60.0 && v("first.intake_pressure") < 0.0);
}

#[test]
fn each_pump_holds_one_thing() {
    let with = |holds: &str| {
        solve(&format!(
            "duty d {{\n    supply = pond\n    lay = relay\n{holds}}}\n"
        ))
    };
    only(
        &with("    hold left.pressure = 100 psi\n"),
        "CW1610",
        "duty `d` does not say what pump `first` holds",
    );
    only(
        &with("    hold first.speed = 2000 rpm\n    hold first.discharge.pressure = 120 psi\n"),
        "CW1610",
        "the speed of `first` can hold one thing",
    );
    only(
        &with(
            "    hold first.speed = 2000 rpm\n    hold second.speed = 2000 rpm\n    hold left.pressure = 100 psi\n",
        ),
        "CW1610",
        "every pump's speed holds something already",
    );
    only(
        &with("    hold speed = 2000 rpm\n    hold left.pressure = 100 psi\n"),
        "CW1611",
        "`speed` is nothing that can be held",
    );
    only(
        &solve("duty d {\n    lay = beside\n    hold left.pressure = 100 psi\n}\n"),
        "CW1610",
        "the speed of `first` or `second` could each serve this",
    );
}

#[test]
fn what_feeds_a_pump_is_said_once() {
    only(
        &solve(
            "duty d {\n    lay = relay\n    hold first.speed = 2000 rpm\n    hold left.pressure = 50 psi\n}\n",
        ),
        "CW0206",
        "duty `d` needs `supply`",
    );
    only(
        &solve(
            "duty d {\n    supply = pond\n    lay = beside\n    hold first.speed = 2600 rpm\n    hold left.pressure = 100 psi\n}\n",
        ),
        "CW1610",
        "feeds every pump itself",
    );
    only(
        &solve(
            "lay l {\n    first.discharge -> j: std.siamese\n    second.discharge -> j\n    j -> n: tip\n}\nduty d {\n    supply = street\n    lay = l\n    hold first.speed = 2600 rpm\n    hold second.speed = 2600 rpm\n}\n",
        ),
        "CW1610",
        "no chain leads to `first` nor to `second`",
    );
}

#[test]
fn limits_hold_for_each_pump_by_its_own_drive() {
    only(
        &solve(
            "duty d {\n    supply = pond\n    lay = relay\n    drives = [engine_1, engine_2]\n    hold first.speed = 1500 rpm\n    hold second.speed = 2500 rpm\n}\n",
        ),
        "CW1612",
        "a pump speed of 2500 rpm is above 2400 rpm, the pump's speed at the engine's governed speed",
    );
    only(
        &solve(
            "duty d {\n    supply = pond\n    lay = relay\n    hold first.discharge.pressure = 100 psi\n    hold second.discharge.pressure = 900 psi\n}\n",
        ),
        "CW1612",
        "of `second`",
    );
}

#[test]
fn a_relay_with_too_little_at_its_intake_is_told_and_so_is_hose_that_flattens() {
    let x = solve(
        "duty d {\n    supply = pond\n    lay = relay\n    hold first.discharge.pressure = 110 psi\n    hold left.pressure = 100 psi\n}\n",
    );
    only(
        &x,
        "CW1621",
        "`second` of duty `d` has 11.3 psi left at its intake",
    );
    let y = solve(
        "duty d {\n    supply = pond\n    lay = relay\n    hold first.discharge.pressure = 90 psi\n    hold left.pressure = 100 psi\n}\n",
    );
    let codes: Vec<&str> = y.said.iter().map(|f| f.0.as_str()).collect();
    assert_eq!(codes, ["CW1621", "CW1622"], "{:?}", y.said);
}

#[test]
fn a_lay_says_which_side_of_a_pump_it_means() {
    for (chain, message) in [
        (
            "first.discharge -> 50 ft of line -> second.discharge",
            "nothing leads to it",
        ),
        (
            "first.intake -> 50 ft of line -> n: tip",
            "a pump's `intake` ends a chain",
        ),
        (
            "first.discharge -> second",
            "say which side of the pump: `second.intake`",
        ),
        (
            "first.discharge -> second.intake -> n: tip",
            "nothing follows a pump's `intake`",
        ),
        (
            "first.discharge -> 50 ft of line -> pond",
            "a supply begins a chain",
        ),
        ("tip.discharge -> n: tip", "only a pump has a `discharge`"),
    ] {
        let x = solve(&format!("lay l {{\n    {chain}\n}}\n"));
        assert!(
            x.said
                .iter()
                .any(|f| f.0 == "CW1601" && f.1.contains(message)),
            "{chain}: {:?}",
            x.said
        );
    }
    only(
        &solve("lay l { first.discharge -> 50 ft of line -> second.intake }\n"),
        "CW1602",
        "water is led to pump `second`, but no chain begins at its `discharge`",
    );
}

#[test]
fn a_regulated_outlet_gives_its_flow_where_the_pressure_suffices() {
    let with = |holds: &str| {
        solve(&format!(
            "nozzle keeper {{\n    form  = regulated\n    rated = 120 gpm at 60 psi\n}}\nlay l {{\n    first.discharge -> 100 ft of line -> y: std.gated_wye\n    y -> 50 ft of line -> a: keeper\n    y -> 50 ft of line -> b: tip\n}}\nduty d {{\n    supply = pond\n    lay = l\n    {holds}\n}}\n"
        ))
    };
    let enough = with("hold discharge.pressure = 120 psi");
    assert!(enough.said.is_empty(), "{:?}", enough.said);
    let v = |name: &str| enough.values[&format!("d.{name}")];
    assert!((v("a.flow") - 120.0).abs() < 1e-9 && v("a.pressure") > 60.0);
    assert!((v("flow") - v("a.flow") - v("b.flow")).abs() < 1e-6);
    // More pressure, and no more flow.
    let more = with("hold discharge.pressure = 160 psi");
    assert!((more.values["d.a.flow"] - 120.0).abs() < 1e-9);
    assert!(more.values["d.a.pressure"] > v("a.pressure") + 20.0);
    // Too little: a fixed opening through its rated point.
    let low = with("hold discharge.pressure = 45 psi");
    only(
        &low,
        "CW1617",
        "`a` works below the pressure it keeps its flow from",
    );
    let (q, p) = (low.values["d.a.flow"], low.values["d.a.pressure"]);
    assert!(
        p < 60.0 && (q - 120.0 * (p / 60.0).sqrt()).abs() < 1e-6,
        "{q} {p}"
    );
    only(
        &with("hold a.flow = 100 gpm"),
        "CW1611",
        "`a.flow` is what its regulator makes it",
    );
    // A pattern is told of what it is filled in with.
    only(
        &solve(
            "nozzle keeper {\n    form  = regulated\n    rated = 120 gpm at 60 psi\n}\nlay l { first.discharge -> 50 ft of line -> a: keeper }\nduty aim(q) {\n    supply = pond\n    lay = l\n    hold a.flow = q\n}\nduty d like aim(q = 100 gpm) { }\n",
        ),
        "CW1611",
        "`aim` does not take what `d` fills in: `a.flow` is what its regulator makes it",
    );
    // Its pressure can be held, as any other.
    let held = with("hold a.pressure = 80 psi");
    assert!(held.said.is_empty(), "{:?}", held.said);
    assert!((held.values["d.a.pressure"] - 80.0).abs() < 1e-6);
}
