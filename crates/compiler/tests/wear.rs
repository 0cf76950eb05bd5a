//! Wear rings in the pump's curve: what leaks back, and what other rings than the tested ones cost.

mod common;

use std::collections::BTreeMap;

fn solve(text: &str) -> (BTreeMap<String, f64>, Vec<String>) {
    let db = common::settled(text);
    let values = common::numbers(&db);
    let errors = common::findings(&db)
        .iter()
        .filter(|f| f.level == cutwater_finding::Level::Error)
        .map(|f| format!("{} {}", f.code.id, f.message))
        .collect();
    (values, errors)
}

/// A pump tested with one clearance (in) that runs with another, and more text for both.
fn pump(tested: f64, now: f64, connection: &str) -> String {
    format!(
        "impeller wheel {{ outside_diameter = 10 in }}
ring new {{
    bore        = {} in
    runs_on     = 5.5 in
    land_length = 0.75 in
}}
ring worn like new {{ bore = {} in }}
pump as_tested {{
    rating     = 500 gpm at 150 psi
{connection}
    curve at 3000 rpm (flow gpm, net psi, power hp, npshr ft) {{
          0  200  40   5
        100  197  45   6
        300  185  60   8
        500  170  75  10
        700  150  90  13
        800  130  96  16
    }}
}}
pump main like as_tested {{
    rings        = [worn]
    tested_rings = [new]
}}
",
        5.5 + tested,
        5.5 + now
    )
}

const ONE: &str = "    stages     = [wheel]";
const TWO: &str = "    stages     = [wheel, wheel]\n    connection = series";

#[test]
fn the_leak_lies_where_a_worked_example_puts_it() {
    // A ring of 7 in with 0.012 in of clearance and 187.5 ft of head across it leaks 18.1 gpm with a discharge
    // coefficient of 0.4 and 27.1 gpm with 0.6, usual for real plain rings and for a bare orifice (worked from the
    // orifice form, pump handbooks). The wheel is made so that the head across the ring is that.
    let (x, errors) = solve(
        "impeller wheel { outside_diameter = 11.953 in }\nring r {\n    bore = 7.012 in\n    runs_on = 7 in\n    land_length = 0.75 in\n}\npump p {\n    rating = 500 gpm at 150 psi\n    stages = [wheel]\n    rings = [r]\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 185\n        700 150\n    }\n}\n",
    );
    assert!(errors.is_empty(), "{errors:?}");
    let leak = x["p.ring_leakage"];
    assert!((18.1..27.1).contains(&leak), "{leak}");
}

#[test]
fn a_worn_pump_gives_at_a_flow_what_it_gave_at_that_flow_and_the_leak() {
    let (x, errors) = solve(&format!(
        "{}supply s {{ tank {{\n    level = 0 ft\n    loss = 0.000001 psi at 1000 gpm\n}} }}\nlay l {{ main.discharge -> n: std.fog_150_100 }}\nlay m {{ as_tested.discharge -> n: std.fog_150_100 }}\nduty worn_at_work {{\n    supply = s\n    lay = l\n    hold speed = 2200 rpm\n}}\n",
        pump(0.005, 0.02, ONE)
    ));
    assert!(errors.is_empty(), "{errors:?}");
    let extra = x["main.extra_leakage"];
    assert!((5.0..40.0).contains(&extra), "{extra}");
    // Read from the tested rows: between 500 and 700 gpm the curve falls by about 0.1 psi for each gpm.
    let loss = x["main.wear_loss"];
    assert!(
        (0.07 * extra..0.13 * extra).contains(&loss),
        "{loss} {extra}"
    );
    // More speed and more power for the same rating.
    assert!(x["main.rated_speed"] > x["as_tested.rated_speed"]);
    assert!(x["main.rated_shaft_power"] > x["as_tested.rated_shaft_power"]);
    assert!(x["main.rated_efficiency"] < x["as_tested.rated_efficiency"]);
    // Flow at the nozzle, pressure and speed of the duty lie on the moved curve: scaled to the tested speed.
    let r = 2200.0 / 3000.0;
    let (q, p) = (
        x["worn_at_work.flow"] / r,
        x["worn_at_work.net_pressure"] / (r * r),
    );
    assert!(q + extra > 100.0 && q + extra < 300.0, "{q}");
    // On a falling curve, between the chords' values at its ends.
    assert!((185.0..197.0).contains(&p), "{p}");
}

#[test]
fn stages_in_series_share_their_rings() {
    let (one, _) = solve(&pump(0.005, 0.02, ONE));
    let (two, errors) = solve(&pump(0.005, 0.02, TWO));
    assert!(errors.is_empty(), "{errors:?}");
    // The same rings leak the same; each of two stages takes half of it.
    assert!((one["main.extra_leakage"] - two["main.extra_leakage"]).abs() < 1e-9);
    assert!(two["main.wear_loss"] < 0.6 * one["main.wear_loss"]);
    assert!(two["main.wear_loss"] > 0.4 * one["main.wear_loss"]);
}

#[test]
fn more_clearance_costs_more_and_tighter_rings_give_back() {
    let mut last = f64::NEG_INFINITY;
    for now in [0.003, 0.005, 0.008, 0.012, 0.02, 0.03] {
        let (x, errors) = solve(&pump(0.008, now, ONE));
        assert!(errors.is_empty(), "{errors:?}");
        let (loss, extra) = (x["main.wear_loss"], x["main.extra_leakage"]);
        assert!(loss > last, "{now}: {loss} after {last}");
        assert_eq!(loss < 0.0, now < 0.008, "{now}: {loss}");
        assert_eq!(extra < 0.0, now < 0.008, "{now}: {extra}");
        last = loss;
    }
}

#[test]
fn without_the_rings_of_the_test_the_curve_counts_as_it_is() {
    let text = pump(0.005, 0.02, ONE).replace("    tested_rings = [new]\n", "");
    let (x, errors) = solve(&text);
    assert!(errors.is_empty(), "{errors:?}");
    assert!(!x.contains_key("main.wear_loss") && !x.contains_key("main.extra_leakage"));
    assert!((x["main.rated_speed"] - x["as_tested.rated_speed"]).abs() < 1e-9);
}

#[test]
fn what_is_missing_for_the_leak_is_named() {
    let text = pump(0.005, 0.02, ONE).replace("    land_length = 0.75 in\n", "");
    let (x, errors) = solve(&text);
    assert_eq!(errors.len(), 1, "{errors:?}");
    assert!(errors[0].starts_with("CW1312"), "{errors:?}");
    assert!(
        errors[0].contains("`land_length` of `worn` is not given"),
        "{errors:?}"
    );
    // Nothing is computed from a curve that should have been moved.
    assert!(!x.contains_key("main.rated_speed"));
}

// ---- which clearance explains a point ------------------------------------------------------------------

fn measured(tested: f64, connection: &str, point: &str, speed: &str) -> String {
    pump(tested, tested, connection).replace(
        "pump main like as_tested {\n    rings        = [worn]\n    tested_rings = [new]\n}\n",
        &format!("pump main like as_tested {{\n    rings = [new]\n    measured {{\n        point = {point}\n        speed = {speed}\n    }}\n}}\n"),
    )
}

/// What worn rings take, measured at another speed, gives their clearance back.
#[test]
fn the_clearance_that_was_worn_comes_back() {
    for connection in [ONE, TWO] {
        for (tested, now) in [(0.005, 0.02), (0.004, 0.0075), (0.01, 0.05)] {
            let (x, errors) = solve(&pump(tested, now, connection));
            assert!(errors.is_empty(), "{errors:?}");
            // The curve makes 170 psi at 500 gpm and 3000 rpm.
            let net = 170.0 - x["main.wear_loss"];
            let r: f64 = 0.9;
            let point = format!("{} gpm at {} psi", 500.0 * r, net * r * r);
            let (y, errors) = solve(&measured(tested, connection, &point, "2700 rpm"));
            assert!(errors.is_empty(), "{errors:?}");
            let found = y["main.explaining_clearance"];
            assert!((found - now).abs() < 1e-9, "{found} for {now}");
            let opening = y["main.explaining_opening"];
            assert!((opening - (now - tested)).abs() < 1e-9, "{opening}");
        }
    }
}

#[test]
fn a_point_with_tolerances_has_a_range_of_clearances() {
    let clearance = |point: &str| {
        let (x, errors) = solve(&measured(0.005, ONE, point, "3000 rpm"));
        assert!(errors.is_empty(), "{errors:?}");
        x["main.explaining_clearance"]
    };
    let text = measured(0.005, ONE, "500 gpm ± 5 gpm at 165 psi ± 1 psi", "3000 rpm");
    let db = common::settled(&text);
    let q = common::quantity(&db, "main.explaining_clearance");
    let inch = |si: f64| si / 0.0254;
    let (low, high) = (inch(q.value.lo()), inch(q.value.hi()));
    assert!((inch(q.si()) - clearance("500 gpm at 165 psi")).abs() < 1e-9);
    assert!(
        (low - clearance("505 gpm at 166 psi")).abs() < 1e-7,
        "{low}"
    );
    assert!(
        (high - clearance("495 gpm at 164 psi")).abs() < 1e-7,
        "{high}"
    );
    assert_eq!(q.origin.word(), "predicted");
    // Above the curve, but not by more than its tolerance: no wear is the likeliest.
    let (x, _) = solve(&measured(
        0.005,
        ONE,
        "500 gpm at 170.5 psi ± 1 psi",
        "3000 rpm",
    ));
    assert!((x["main.explaining_clearance"] - 0.005).abs() < 1e-9);
}

#[test]
fn what_no_clearance_explains_is_said() {
    for (point, part) in [
        ("500 gpm at 175 psi", "5.0 psi above its curve"),
        ("500 gpm at 60 psi", "do not reach as far"),
        ("900 gpm at 100 psi", "do not reach as far"),
        ("100 gpm at 160 psi", "37.0 psi are missing"),
    ] {
        let db = common::settled(&measured(0.005, ONE, point, "3000 rpm"));
        let f = common::the(&db, "CW1313");
        assert!(f.message.contains(part), "no `{part}` in {}", f.message);
        assert!(!common::numbers(&db).contains_key("main.explaining_clearance"));
    }
    // Without the length of the ring nothing can be said, and it says so once.
    let text = measured(0.005, ONE, "500 gpm at 165 psi", "3000 rpm");
    let db = common::settled(&text.replace("    land_length = 0.75 in\n", ""));
    let f = common::the(&db, "CW1312");
    assert!(
        f.message.contains("`land_length` of `new`"),
        "{}",
        f.message
    );
    let db = common::settled(&text.replace("    rings = [new]\n", ""));
    let f = common::the(&db, "CW1312");
    assert!(f.message.contains("`rings`"), "{}", f.message);
}

/// Measured in series, a changeover pump is the pump that is always in series.
#[test]
fn the_position_of_the_changeover_valve_counts() {
    let text = measured(0.005, TWO, "500 gpm at 165 psi", "3000 rpm");
    let (series, errors) = solve(&text);
    assert!(errors.is_empty(), "{errors:?}");
    let changing = text
        .replace("connection = series", "connection = changeover")
        .replace("    curve at", "    parallel_curve at 3000 rpm (flow gpm, net psi) {\n        0 160\n        500 155\n        1400 120\n    }\n    series_curve at");
    let in_series = changing.replace(
        "speed = 3000 rpm",
        "speed = 3000 rpm\n        position = series",
    );
    let (x, errors) = solve(&in_series);
    assert!(errors.is_empty(), "{errors:?}");
    let (got, want) = (
        x["main.explaining_clearance"],
        series["main.explaining_clearance"],
    );
    assert!((got - want).abs() < 1e-12, "{got} {want}");
    // In parallel the same point is far above the curve.
    let f = common::the(&common::settled(&changing), "CW1313");
    assert!(f.message.contains("above its curve"), "{}", f.message);
}

/// A measured point is of one pump: another like it was not measured.
#[test]
fn another_pump_like_it_was_not_measured() {
    let text = measured(0.005, ONE, "500 gpm at 165 psi", "3000 rpm") + "pump other like main {}\n";
    let (x, errors) = solve(&text);
    assert!(errors.is_empty(), "{errors:?}");
    assert!(x.contains_key("main.explaining_clearance"));
    assert!(!x.contains_key("other.explaining_clearance"));
}
