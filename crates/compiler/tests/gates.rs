//! Part-open gates: their loss by hand, a shut one against the spec without its line, and what is said of openings that the
//! table does not tell.

mod common;

/// Two lines from a discharge, each behind a gate of a textbook's coefficients. Invented sizes.
fn spec(left: &str, right: &str, lines: &str) -> String {
    format!(
        "pump p {{
    rating = 500 gpm at 150 psi
    curve at 3000 rpm (flow gpm, net psi) {{
          0 200
        300 180
        600 140
    }}
}}
supply s {{ draft {{ lift = 5 ft }} }}
appliance a like std.gate_2_1_2 {{ {left} }}
appliance b like std.gate_2_1_2 {{ {right} }}
nozzle tip {{
    form  = fog
    rated = 150 gpm at 100 psi
}}
hose line {{ loss = 2 psi per 100 ft at 100 gpm }}
lay l {{
{lines}
}}
duty d {{
    supply = s
    lay    = l
    hold speed = 2600 rpm
}}
"
    )
}

const BOTH: &str = "    p.discharge -> ga: a -> 100 ft of line -> left: tip
    p.discharge -> gb: b -> 100 ft of line -> right: tip";

/// K ρ v² / 2 in a bore of 2.5 in, psi, by hand: v = 0.408 Q / d² ft/s, and 1 psi is 2.31 ft of water (trade constants, good
/// to 0.2 %).
fn loss(k: f64, gpm: f64) -> f64 {
    let v = 0.408_5 * gpm / 6.25;
    k * v * v / 64.348 / 2.307
}

#[test]
fn a_gate_loses_by_its_opening() {
    // Half way between 25 and 50 % the coefficient is the geometric mean of 17 and 2.1.
    for (opening, k) in [
        ("100 %", 0.15),
        ("75 %", 0.26),
        ("50 %", 2.1),
        ("37.5 %", (17.0_f64 * 2.1).sqrt()),
        ("25 %", 17.0),
    ] {
        let db = common::settled(&spec(
            &format!("opening = {opening}"),
            "opening = 100 %",
            BOTH,
        ));
        let v = common::numbers(&db);
        assert!(
            (v["a.present_coefficient"] - k).abs() < 1e-9 * k,
            "{opening}"
        );
        let q = v["d.left.flow"];
        let lost = v["d.ga.pressure"] - v["d.left.pressure"] - 2.0 * (q / 100.0).powi(2);
        assert!(
            (lost - loss(k, q)).abs() < 0.004 * loss(k, q) + 1e-6,
            "{opening}: {lost} instead of {}",
            loss(k, q)
        );
    }
}

#[test]
fn behind_a_shut_gate_nothing_flows_and_the_rest_is_as_without_it() {
    let shut = common::settled(&spec("opening = 0 %", "opening = 75 %", BOTH));
    let alone = common::settled(&spec(
        "opening = 50 %",
        "opening = 75 %",
        "    p.discharge -> gb: b -> 100 ft of line -> right: tip",
    ));
    let (v, w) = (common::numbers(&shut), common::numbers(&alone));
    assert_eq!((v["d.left.flow"], v["d.ga.flow"]), (0.0, 0.0));
    for name in ["d.right.flow", "d.flow", "d.discharge_pressure"] {
        assert!(
            (v[name] - w[name]).abs() < 1e-9 * w[name],
            "{name}: {} instead of {}",
            v[name],
            w[name]
        );
    }
    assert_eq!(common::words(&shut)["d.ga.state"], "shut");
    assert_eq!(
        common::words(&shut)["d.left.state"],
        "cut off by a shut gate"
    );
    // A line that waits is no fault of its nozzle.
    assert!(common::fires(&shut, "CW1407") && !common::fires(&shut, "CW1617"));
    let none = common::settled(&spec("opening = 0 %", "opening = 0 %", BOTH));
    assert!(
        common::the(&none, "CW1612")
            .message
            .contains("gates `ga`, `gb` are shut, and no nozzle has water"),
        "{:?}",
        common::findings(&none)
    );
}

#[test]
fn openings_that_the_table_does_not_tell_are_said() {
    for (left, code, says) in [
        (
            "opening = 10 %",
            "CW1405",
            "is 10.0 % open, and its table tells its loss from 25.0 % to 100.0 % only",
        ),
        ("opening = 120 %", "CW1405", "is 120.0 % open"),
        (
            "loss = 3 psi at 300 gpm",
            "CW1403",
            "states two losses, `loss` and `gate`",
        ),
        ("opening = -20 %", "CW0401", "opening"),
        ("opening = 3 in", "CW0303", "opening"),
    ] {
        let db = common::settled(&spec(left, "opening = 100 %", BOTH));
        assert!(
            common::the(&db, code).message.contains(says),
            "{left}: {:?}",
            common::findings(&db)
        );
        // No numbers of a duty whose gate is not known.
        assert!(
            !common::numbers(&db).contains_key("d.flow") || code == "CW1403",
            "{left}"
        );
    }
    let no_table =
        common::settled("appliance g {\n    loss = 3 psi at 300 gpm\n    opening = 50 %\n}\n");
    assert!(
        common::the(&no_table, "CW1405")
            .message
            .contains("has no table `gate`")
    );
    // Written as a whole number, percent are meant.
    let whole = common::the(
        &common::settled(&spec("opening = 50", "opening = 100 %", BOTH)),
        "CW1405",
    );
    assert!(
        whole.help.iter().any(|h| h.contains("`opening = 50 %`")),
        "{:?}",
        whole.help
    );
    for (rows, says) in [
        ("0 17\n 100 0.2", "openings above 0"),
        ("25 17\n 120 0.2", "up to 100 %"),
        (
            "25 0.26\n 75 17",
            "loses more as it opens: 0.26 at 25.0 %, 17 at 75.0 %",
        ),
    ] {
        let db = common::settled(&format!(
            "appliance g {{\n    diameter = 2 in\n    gate (opening %, loss_coefficient) {{\n {rows}\n    }}\n}}\n"
        ));
        let f = common::the(&db, "CW1406");
        assert!(f.message.contains(says), "{}", f.message);
    }
}

/// What stands behind a shut gate changes nothing before it: hills, hollows, nozzles that keep their flow, rings.
#[test]
fn what_is_cut_off_does_not_matter() {
    let alone = common::numbers(&common::settled(&spec(
        "opening = 50 %",
        "opening = 75 %",
        "    p.discharge -> gb: b -> 100 ft of line -> right: tip",
    )));
    for behind in [
        "300 ft of line rise 200 ft -> left: tip",
        "300 ft of line fall 200 ft -> left: tip",
        "100 ft of line -> left: kept",
        "w: std.wye; w -> 100 ft of line -> v: std.wye; w -> 200 ft of line -> v; v -> left: tip",
    ] {
        let behind = behind.replace("; ", "\n    ");
        let text = spec(
            "opening = 0 %",
            "opening = 75 %",
            &format!(
                "    p.discharge -> ga: a -> {behind}\n    p.discharge -> gb: b -> 100 ft of line -> right: tip"
            ),
        ) + "nozzle kept {\n    form  = regulated\n    rated = 100 gpm at 50 psi\n}\n";
        let db = common::settled(&text);
        let v = common::numbers(&db);
        for name in ["d.right.flow", "d.flow", "d.discharge_pressure"] {
            let got = v.get(name).copied().unwrap_or(f64::NAN);
            assert!(
                (got - alone[name]).abs() < 1e-9 * alone[name],
                "{behind}: {name} {got} instead of {}; {:?}",
                alone[name],
                common::findings(&db)
            );
        }
        assert_eq!(v["d.left.flow"], 0.0, "{behind}");
        let said: Vec<_> = common::findings(&db).iter().map(|f| f.code.id).collect();
        assert_eq!(said, ["CW1407"], "{behind}");
    }
}

/// A gate that is shut with water on both sides of it passes nothing; a one-way one neither.
#[test]
fn a_shut_gate_between_two_waters_parts_them() {
    for one_way in ["yes", "no"] {
        let both = spec(
            &format!("opening = 0 %  one_way = {one_way}"),
            "opening = 75 %",
            "    p.discharge -> ga: a -> w: std.wye\n    p.discharge -> gb: b -> 100 ft of line -> w\n    w -> left: tip",
        );
        let v = common::numbers(&common::settled(&both));
        assert_eq!(v["d.ga.flow"], 0.0);
        assert!((v["d.gb.flow"] - v["d.left.flow"]).abs() < 1e-9 * v["d.left.flow"]);
        assert!(v["d.left.flow"] > 50.0);
    }
}

/// What cannot be had behind a shut gate is said with the gate's name.
#[test]
fn what_is_asked_behind_a_shut_gate_is_refused_by_name() {
    let shut = |hold: &str| {
        spec("opening = 0 %", "opening = 75 %", BOTH).replace("hold speed = 2600 rpm", hold)
    };
    for (text, says) in [
        (
            shut("hold left.pressure = 100 psi"),
            "gate `ga` is shut, and `left`, which is held, has no water",
        ),
        (
            shut("hold ga.flow = 100 gpm"),
            "gate `ga` is shut, and what `ga` passes cannot be held",
        ),
        (
            shut("hold speed = 2600 rpm").replace(
                "draft { lift = 5 ft }",
                "draft { lift = 5 ft strainer = a }",
            ),
            "gate `ga` is shut, and pump `p` has no water",
        ),
        (
            spec(
                "opening = 0 %",
                "opening = 75 %",
                "    p.discharge -> gb: b -> 100 ft of line -> right: tip",
            )
            .replace(
                "draft { lift = 5 ft }",
                "draft { lift = 5 ft strainer = a }",
            ),
            "the gate of its supply is shut, and pump `p` has no water",
        ),
        (
            spec(
                "opening = 0 %",
                "opening = 75 %",
                "    p.discharge -> ga: a -> 100 ft of line -> q.intake\n    p.discharge -> right: tip\n    q.discharge -> left: tip",
            )
            .replace(
                "hold speed = 2600 rpm",
                "hold p.speed = 2600 rpm\n    hold q.speed = 2600 rpm",
            ) + "pump q like p {}\n",
            "gate `ga` is shut, and pump `q` has no water",
        ),
    ] {
        let db = common::settled(&text);
        assert!(
            common::the(&db, "CW1612").message.contains(says),
            "{says}: {:?}",
            common::findings(&db)
        );
        assert!(
            !common::numbers(&db).keys().any(|k| k.starts_with("d.")),
            "no numbers"
        );
    }
}

/// A gauge on the side of a base reads less than the total pressure by the velocity head; the flow goes by the total. By the
/// trade's 0.001123 Q²/d⁴ psi (gpm, in): 150 gpm in 1.5 in lose 4.99 psi of reading, in 2.5 in 0.647 psi.
#[test]
fn a_gauge_reads_less_than_the_total_by_the_velocity_head() {
    let text = spec("opening = 50 %", "opening = 100 %", BOTH)
        .replace("hold speed = 2600 rpm", "hold left.pressure = 100 psi")
        .replace(
            "rated = 150 gpm at 100 psi",
            "rated = 150 gpm at 100 psi\n    inlet_diameter = 1.5 in",
        );
    let v = common::numbers(&common::settled(&text));
    assert!((v["d.left.flow"] - 150.0).abs() < 1e-6);
    let head = |q: f64, d: f64| 0.001_123 * q * q / d.powi(4);
    let at = |name: &str| v[&format!("d.{name}.pressure")] - v[&format!("d.{name}.gauge_reading")];
    assert!((at("left") - head(150.0, 1.5)).abs() < 0.01);
    assert!((at("ga") - head(150.0, 2.5)).abs() < 0.002);
    // Without a bore there is no such reading.
    let plain = common::numbers(&common::settled(
        &text.replace("inlet_diameter = 1.5 in", ""),
    ));
    assert!(!plain.contains_key("d.left.gauge_reading"));
    assert!((plain["d.left.flow"] - v["d.left.flow"]).abs() < 1e-9);
}
