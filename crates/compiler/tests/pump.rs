//! Pumps: what follows from a tested curve at the rating, and what is said of curves that cannot be right.

mod common;

use common::*;
use cutwater_compiler::value::{Origin, Value};
use cutwater_finding::Level;

/// A curve that passes through its own rating at its tested speed.
const MAIN: &str = "\
pump main {
    rating = 1250 gpm at 150 psi
    curve at 3300 rpm (flow gpm, net psi, power hp, npshr ft) {
        0 231 52 -
        625 222 118 8.1
        1250 176 170 14.9
        1500 141 181 20.2
    }
}
";

// ---- power ------------------------------------------------------------------------------------------

/// The trade's formulas: gpm · psi / 1714.2857 and L/min · bar / 600.
#[test]
fn water_power_by_the_trades_formulas() {
    for (rating, unit, expected) in [
        ("1000 gpm at 150 psi", "hp", 87.500),
        ("700 gpm at 200 psi", "hp", 81.667),
        ("500 gpm at 250 psi", "hp", 72.917),
        ("1000 gpm at 165 psi", "hp", 96.250),
        ("1500 gpm at 150 psi", "hp", 131.250),
        ("3000 L/min at 10 bar", "kW", 50.000),
    ] {
        let db = settled(&format!("pump main {{ rating = {rating} }}\n"));
        close(measured_in(&db, "main.water_power", unit), expected, 5e-4);
    }
}

/// By those formulas 1000 gpm at 150 psi and 70 % take 125.000 hp; 3000 L/min at 10 bar and 65 % take 76.923 kW. The curve
/// is tested through the rating, so its speed is the tested one.
#[test]
fn shaft_power_and_efficiency_at_a_tested_rating() {
    let db = settled(
        "pump main {\n    rating = 1000 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi, power hp) {\n        0 190 60\n        500 180 95\n        1000 150 125\n        1200 120 130\n    }\n}\n",
    );
    close(measured_in(&db, "main.rated_speed", "rpm"), 3000.0, 1e-6);
    close(
        measured_in(&db, "main.rated_shaft_power", "hp"),
        125.0,
        1e-6,
    );
    close(quantity(&db, "main.rated_efficiency").si(), 0.70, 1e-5);
    let db = settled(
        "pump main {\n    rating = 3000 L/min at 10 bar\n    curve at 3000 rpm (flow L/min, net bar, power kW) {\n        0 13 40\n        1500 12.4 60\n        3000 10 76.923\n        3600 8 80\n    }\n}\n",
    );
    close(quantity(&db, "main.rated_efficiency").si(), 0.65, 1e-5);
    assert_eq!(
        quantity(&db, "main.rated_shaft_power")
            .unit
            .expect("as written")
            .symbol(),
        "kW"
    );
}

// ---- affinity ---------------------------------------------------------------------------------------

/// Lobanoff and Ross, Centrifugal Pumps, 2nd ed., p. 15: 565 gpm, 381 ft and 73 bhp at 4000 rpm go to 501.4 gpm, 300.1 ft and 51.0 bhp at
/// 3550 rpm. Heads are written as pressures at 0.4331 psi/ft; the ratio does not feel it. The NPSH required of 20 ft is
/// invented; with the square of the speed it becomes 15.75 ft.
#[test]
fn rating_by_affinity_of_the_published_table() {
    let psi = |feet: f64| feet * 0.4331;
    let db = settled(&format!(
        "pump main {{\n    rating = 501.4 gpm at {} psi\n    curve at 4000 rpm (flow gpm, net psi, power hp, npshr ft) {{\n        0 {} - -\n        226 {} 48.1 12\n        452 {} 67.2 16\n        565 {} 73 20\n        678 {} 77.4 25\n        732 {} 76.5 29\n    }}\n}}\n",
        psi(300.1),
        psi(445.0),
        psi(438.0),
        psi(412.0),
        psi(381.0),
        psi(330.0),
        psi(298.0)
    ));
    close(measured_in(&db, "main.rated_speed", "rpm"), 3550.0, 1.0);
    close(measured_in(&db, "main.rated_shaft_power", "hp"), 51.0, 0.1);
    close(measured_in(&db, "main.rated_npshr", "ft"), 15.75, 0.02);
    // 74 % printed at the best row; the smooth curve's best is near it, between its neighbours.
    close(quantity(&db, "main.best_efficiency").si(), 0.745, 0.01);
    let best = measured_in(&db, "main.best_flow", "gpm");
    assert!((452.0..678.0).contains(&best), "{best}");
    // 445 ft at no flow.
    close(
        measured_in(&db, "main.shutoff_pressure", "psi"),
        psi(445.0),
        1e-6,
    );
}

/// From that table (Lobanoff and Ross, p. 15) the specific speed is 1102.5 for 4000 rpm, 565 gpm, 381 ft; type number Ns / 2733 = 0.4034. The curve
/// here is made of straight lines whose best efficiency lies exactly there: H = 494 - 0.2 Q ft and, with b = 40 hp,
/// P = b (1 + Q (494 - 0.4 · 565) / (0.2 · 565²)) hp, from setting the derivative of Q H / P to zero.
#[test]
fn specific_speed_of_the_published_point() {
    let psi_per_foot = 0.433_11; // water at 60 °F
    let head = |q: f64| 494.0 - 0.2 * q;
    let power = |q: f64| 40.0 * (1.0 + q * (494.0 - 0.4 * 565.0) / (0.2 * 565.0 * 565.0));
    let rows: String = [0.0, 300.0, 700.0, 1000.0]
        .iter()
        .map(|q| format!("        {q} {} {}\n", head(*q) * psi_per_foot, power(*q)))
        .collect();
    let curve = format!("at 4000 rpm (flow gpm, net psi, power hp) {{\n{rows}    }}\n");
    let single = settled(&format!(
        "water {{ temperature = 60 degF }}\npump main {{\n    rating = 500 gpm at 150 psi\n    curve {curve}}}\n"
    ));
    close(measured_in(&single, "main.best_flow", "gpm"), 565.0, 0.01);
    // 565 · 381 / 3960 / 134.87 hp
    close(quantity(&single, "main.best_efficiency").si(), 0.4031, 2e-3);
    close(quantity(&single, "main.specific_speed").si(), 1102.5, 0.5);
    close(
        quantity(&single, "main.type_number").si(),
        1102.5 / 2733.0,
        2e-4,
    );
    assert_eq!(
        quantity(&single, "main.specific_speed").origin,
        Origin::Computed
    );
    // Two such stages, either way, have the specific speed of one.
    for connection in ["series", "parallel", "changeover"] {
        let db = settled(&format!(
            "impeller w {{ outside_diameter = 9 in }}\npump main {{\n    rating = 500 gpm at 150 psi\n    stages = [w, w]\n    connection = {connection}\n    stage_curve {curve}}}\n"
        ));
        close(quantity(&db, "main.specific_speed").si(), 1102.5, 0.5);
        // No `water` is stated, so its density is assumed.
        assert_eq!(quantity(&db, "main.specific_speed").origin, Origin::Assumed);
        let share = if connection == "series" { 1.0 } else { 2.0 };
        close(
            measured_in(&db, "main.best_flow", "gpm"),
            share * 565.0,
            0.02,
        );
    }
}

/// Gorla and Khan, Turbomachinery, example 2.13: D2 0.26 m, b 0.02 m, 1400 rpm, 0.03 m³/s: U2 19.059 m/s, Cr2 1.836 m/s. Vane-pass
/// frequency: 6 vanes at 3000 rpm 300 Hz. The curves pass through the rating, so its speed is the tested one.
#[test]
fn velocities_of_worked_example_2_13_and_vane_pass() {
    let db = settled(
        "impeller w {\n    outside_diameter = 0.26 m\n    exit_width = 0.02 m\n}\npump main {\n    rating = 30 L/s at 236 kPa\n    stages = [w]\n    curve at 1400 rpm (flow L/s, net kPa) {\n        0 300\n        15 280\n        30 236\n        40 190\n    }\n}\n",
    );
    close(quantity(&db, "main.tip_speed").si(), 19.059, 1e-3);
    close(quantity(&db, "main.exit_velocity").si(), 1.836, 1e-3);
    let db = settled(
        "impeller w {\n    outside_diameter = 9 in\n    vanes = 6\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    stages = [w]\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        625 190\n        1250 150\n        1500 110\n    }\n}\n",
    );
    close(
        measured_in(&db, "main.vane_pass_frequency", "Hz"),
        300.0,
        1e-6,
    );
}

// ---- stages -----------------------------------------------------------------------------------------

/// Two like stages of 75 psi at 625 gpm and 40 hp: in parallel 1250 gpm at 75 psi, in series 625 gpm at 150 psi, 80 hp both
/// ways. Shut-off of one stage 100 psi, so 200 psi in series.
#[test]
fn stages_in_series_add_pressure_and_in_parallel_flow() {
    let stages = |rating: &str, connection: &str| {
        settled(&format!(
            "impeller a {{ outside_diameter = 9 in }}\nimpeller b {{ outside_diameter = 9 in }}\npump main {{\n    rating = {rating}\n    stages = [a, b]\n    connection = {connection}\n    stage_curve at 3000 rpm (flow gpm, net psi, power hp) {{\n        0 100 20\n        300 95 30\n        625 75 40\n        800 60 44\n    }}\n}}\n"
        ))
    };
    for (rating, connection) in [
        ("1250 gpm at 75 psi", "parallel"),
        ("625 gpm at 150 psi", "series"),
        ("1250 gpm at 75 psi", "changeover"),
    ] {
        let db = stages(rating, connection);
        close(measured_in(&db, "main.rated_speed", "rpm"), 3000.0, 1e-6);
        close(measured_in(&db, "main.rated_shaft_power", "hp"), 80.0, 1e-6);
        let shut = if connection == "parallel" {
            100.0
        } else {
            200.0
        };
        close(measured_in(&db, "main.shutoff_pressure", "psi"), shut, 1e-9);
        assert!(!fires(&db, "CW1305"), "{connection}: {:#?}", findings(&db));
    }
}

#[test]
fn curves_by_position_are_those_of_a_changeover_pump() {
    let text = "pump main {\n    rating = 1250 gpm at 75 psi\n    series_curve at 2000 rpm (flow gpm, net psi) {\n        0 210\n        300 190\n        625 150\n    }\n    parallel_curve at 3000 rpm (flow gpm, net psi) {\n        0 100\n        600 95\n        1250 75\n        1600 60\n    }\n}\n";
    let db = settled(text);
    close(measured_in(&db, "main.rated_speed", "rpm"), 3000.0, 1e-6);
    close(
        measured_in(&db, "main.shutoff_pressure", "psi"),
        210.0,
        1e-9,
    );
    assert!(findings(&db).is_empty(), "{:#?}", findings(&db));
    // One of the two alone is not enough.
    let cut = text.find("    parallel_curve").expect("there");
    let db = settled(&format!("{}}}\n", &text[..cut]));
    let f = the(&db, "CW1305");
    assert!(f.message.contains("in parallel"), "{}", f.message);
    assert_eq!(value(&db, "main.rated_speed"), Value::Absent);
}

#[test]
fn stages_connection_and_curves_must_agree() {
    let pump = |lines: &str| {
        settled(&format!(
            "impeller w {{ outside_diameter = 9 in }}\npump main {{\n    rating = 1250 gpm at 75 psi\n{lines}    stage_curve at 3000 rpm (flow gpm, net psi) {{\n        0 100\n        300 95\n        625 75\n        800 60\n    }}\n}}\n"
        ))
    };
    for (lines, said) in [
        ("    stages = [w, w]\n", "how they are joined"),
        (
            "    stages = [w, w]\n    connection = single\n",
            "is `single`",
        ),
        ("    stages = [w]\n    connection = series\n", "one stage"),
        ("    connection = parallel\n", "number of stages"),
        ("    connection = changeover\n", "number of stages"),
    ] {
        let db = pump(lines);
        let f = the(&db, "CW1305");
        assert_eq!(f.level, Level::Error);
        assert!(f.message.contains(said), "{lines}: {}", f.message);
    }
    // Unsaid, nothing is guessed.
    assert_eq!(
        value(&pump("    stages = [w, w]\n"), "main.rated_speed"),
        Value::Absent
    );
    // A whole curve of a changeover pump fits no position.
    let db = settled(&MAIN.replace("    rating", "    connection = changeover\n    rating"));
    assert!(fires(&db, "CW1305") && fires(&db, "CW1311"));
}

// ---- gaps and ends ----------------------------------------------------------------------------------

/// NPSH required was not read at no flow; it is known where it was.
#[test]
fn columns_with_gaps_are_read_from_the_rows_that_give_them() {
    let db = settled(&MAIN.replace("gpm at 150 psi", "gpm at 176 psi"));
    close(measured_in(&db, "main.rated_npshr", "ft"), 14.9, 1e-6);
    assert!(findings(&db).is_empty(), "{:#?}", findings(&db));
    // Water power 1250 · 176 / 1714.2857 = 128.33 hp of 170 hp: 75.49 %.
    close(quantity(&db, "main.rated_efficiency").si(), 0.754_9, 1e-4);
}

#[test]
fn a_row_without_its_net_pressure_is_named() {
    let text = MAIN.replace("625 222 118 8.1", "625 - 118 8.1");
    let f = the(&settled(&text), "CW0405");
    assert_eq!(covered(&text, f.place), "625 - 118 8.1");
    assert!(f.message.contains("needs its net"), "{}", f.message);
}

#[test]
fn shut_off_is_only_what_was_tested() {
    let db = settled(&MAIN.replace("        0 231 52 -\n", ""));
    assert_eq!(value(&db, "main.shutoff_pressure"), Value::Absent);
}

#[test]
fn without_a_curve_only_geometry_is_known() {
    let db = settled("pump main { rating = 1250 gpm at 150 psi }\n");
    assert_eq!(the(&db, "CW1309").level, Level::Advice);
    for slot in [
        "rated_speed",
        "rated_shaft_power",
        "best_efficiency",
        "specific_speed",
        "tip_speed",
    ] {
        assert_eq!(value(&db, &format!("main.{slot}")), Value::Absent, "{slot}");
    }
}

/// A curve taken over from another pump is judged where it is written, once.
#[test]
fn a_curve_taken_over_is_judged_once() {
    let text = format!(
        "{}pump spare like main {{ }}\n",
        MAIN.replace("625 222", "625 240")
    );
    let db = settled(&text);
    assert!(the(&db, "CW1301").message.contains("`main`"));
    close(
        measured_in(&db, "spare.rated_speed", "rpm"),
        measured_in(&db, "main.rated_speed", "rpm"),
        1e-9,
    );
}

// ---- what cannot be right ---------------------------------------------------------------------------

#[test]
fn a_rising_branch_names_its_flows() {
    let text = MAIN.replace("625 222", "625 240");
    let f = the(&settled(&text), "CW1301");
    assert!(
        f.message
            .contains("and 625.0 gpm, from 231.0 psi to 240.0 psi"),
        "{}",
        f.message
    );
    assert_eq!(covered(&text, f.place), "625 240 118 8.1");
    assert_eq!(covered(&text, f.labels[0].place), "0 231 52 -");
}

/// By hand: 1250 gpm at 176 psi is 128.33 hp of water; of 127 hp at the shaft that is 101 %. In kW the shaft has 170.3 hp:
/// 75 %.
#[test]
fn an_efficiency_no_pump_has_is_an_error_with_the_likely_slip() {
    let text = MAIN.replace("1250 176 170", "1250 176 127");
    let db = settled(&text);
    let f = the(&db, "CW1302");
    assert_eq!(f.level, Level::Error);
    assert!(f.message.contains("101 % efficient"), "{}", f.message);
    assert!(f.help.expect("help").contains("kW, it would be 75 %"));
    assert_eq!(covered(&text, f.place), "1250 176 127 14.9");
    let number = |what: &str| {
        f.numbers
            .iter()
            .find(|n| n.what == what)
            .expect("compared")
            .value
    };
    close(number("efficiency"), 101.05, 0.01);
    assert_eq!(value(&db, "main.best_efficiency"), Value::Unknown);
}

/// Beyond: by affinity the last row, 900 gpm at 205 psi, reaches 150 psi at 900 · √(150/205) = 769.86 gpm.
#[test]
fn a_rating_outside_the_tested_flows_says_how_far_they_reach() {
    let curve = "    curve at 3300 rpm (flow gpm, net psi) {\n        400 226\n        625 222\n        900 205\n    }\n}\n";
    let db = settled(&format!(
        "pump main {{\n    rating = 1250 gpm at 150 psi\n{curve}"
    ));
    let f = the(&db, "CW1306");
    assert!(
        f.message
            .contains("beyond the tested flows: at 150.0 psi they reach only 769.9 gpm"),
        "{}",
        f.message
    );
    assert_eq!(value(&db, "main.rated_speed"), Value::Absent);
    // Before: the first row, 400 gpm at 226 psi, comes to 400 · √(150/226) = 325.9 gpm.
    let db = settled(&format!(
        "pump main {{\n    rating = 250 gpm at 150 psi\n{curve}"
    ));
    let f = the(&db, "CW1306");
    assert!(
        f.message
            .contains("before the tested flows: at 150.0 psi they begin 325.9 gpm"),
        "{}",
        f.message
    );
}

#[test]
fn a_curve_below_the_rated_pressure_says_what_it_makes() {
    let text = "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n        0 131\n        625 122\n        1250 106\n        1500 91\n    }\n}\n";
    let db = settled(text);
    let f = the(&db, "CW1307");
    assert_eq!(f.level, Level::Error);
    for part in [
        "131.0 psi at most",
        "106.0 psi at 1250 gpm",
        "1250 gpm at 150.0 psi",
    ] {
        assert!(f.message.contains(part), "no `{part}` in {}", f.message);
    }
    assert_eq!(covered(text, f.place), "1250 gpm at 150 psi");
    // A pump that may turn so fast is only tested slowly.
    let faster = text.replace("    curve", "    maximum_speed = 4200 rpm\n    curve");
    assert!(findings(&settled(&faster)).is_empty());
    // One that may not does not make its rating.
    let slower = text.replace("    curve", "    maximum_speed = 3500 rpm\n    curve");
    assert_eq!(the(&settled(&slower), "CW1308").level, Level::Error);
}

#[test]
fn gallons_of_rating_and_curve_are_compared() {
    let f = the(&settled(&MAIN.replace("flow gpm", "flow igpm")), "CW1304");
    assert!(
        f.message.contains("imperial gallons") && f.message.contains("US gallons"),
        "{}",
        f.message
    );
    // Litres are no gallons.
    assert!(!fires(
        &settled(&MAIN.replace("flow gpm", "flow L/min")),
        "CW1304"
    ));
}
