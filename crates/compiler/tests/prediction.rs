//! Pumps by their geometry, shut pumps, trims, and the two positions of a changeover pump.

mod common;

use common::*;
use cutwater_compiler::value::{Origin, Value};

const WHEEL: &str = "\
impeller wheel {
    outside_diameter = 10.25 in
    hub_diameter     = 6.000 in
    eye_diameter     = 5.25 in
    exit_width       = 0.90 in
    inlet_width      = 1.25 in
    vanes            = 6
    vane_exit_angle  = 24 deg
    vane_inlet_angle = 20 deg
    vane_thickness   = 0.22 in
}
ring front {
    bore        = 6.005 in
    runs_on     = wheel.hub_diameter
    land_length = 0.75 in
}
ring back like front {}
";

fn drawing(more: &str) -> String {
    format!(
        "water {{ temperature = 60 degF }}\nsite {{ altitude = 0 ft }}\n{WHEEL}pump main {{\n    rating = 1000 gpm at 150 psi\n    stages = [wheel]\n    rings = [front, back]\n    throat_area = 6.8 in^2\n{more}}}\n"
    )
}

fn near(got: f64, want: f64, relative: f64, what: &str) {
    assert!(
        (got - want).abs() <= relative * want.abs(),
        "{what}: {got}, expected {want}"
    );
}

// ---- prediction -------------------------------------------------------------------------------------

/// The model worked by a program that shares nothing with this one, with a leak of 8 gpm (here it is computed: 7.4 gpm): net
/// pressure, power and efficiency at 1000 gpm and 3400 rpm, and the best flow to a gallon.
#[test]
fn a_drawing_by_an_independent_working() {
    for (slip, net, power, efficiency, best) in [
        ("", 175.993, 119.416, 0.85971, 1073.0),
        ("slip = guelich ", 175.993, 119.416, 0.85971, 1073.0),
        ("slip = wiesner ", 180.500, 122.471, 0.85972, 1087.0),
        ("slip = stodola ", 171.916, 116.679, 0.85949, 1060.0),
        (
            "slip = stated slip_factor = 0.8180505 ",
            180.500,
            122.471,
            0.85972,
            1087.0,
        ),
    ] {
        let db = settled(&drawing(&format!(
            "    prediction {{ {slip}speed = 3400 rpm }}\n"
        )));
        near(
            measured_in(&db, "main.predicted_pressure", "psi"),
            net,
            1e-3,
            slip,
        );
        near(
            measured_in(&db, "main.predicted_power", "hp"),
            power,
            1e-3,
            slip,
        );
        near(
            quantity(&db, "main.predicted_efficiency").si(),
            efficiency,
            1e-3,
            slip,
        );
        near(
            measured_in(&db, "main.predicted_best_flow", "gpm"),
            best,
            1.5e-3,
            slip,
        );
        // 0.585 u₂², Stepanoff's rule.
        near(
            measured_in(&db, "main.predicted_shutoff_pressure", "psi"),
            182.08,
            1e-3,
            slip,
        );
        let q = quantity(&db, "main.predicted_pressure");
        assert_eq!(q.origin, Origin::Predicted);
        near(q.value.lo(), 0.9 * q.si(), 1e-9, "lower end");
        near(q.value.hi(), 1.1 * q.si(), 1e-9, "upper end");
    }
}

/// Velocities of the same working, ft/s; pressures close their own sums.
#[test]
fn the_water_on_its_way() {
    let db = settled(&drawing(
        "    suction_diameter = 6 in\n    discharge_diameter = 4 in\n    prediction { speed = 3400 rpm }\n",
    ));
    let x = numbers(&db);
    for (path, want) in [
        ("vane_exit.vane_speed", 152.062),
        ("vane_exit.whirl", 94.034),
        ("vane_exit.meridional", 12.410),
        ("volute.velocity", 47.181),
        ("volute.arriving_whirl", 69.806),
        // 0.4085 Q/d² with gpm and inches.
        ("intake.velocity", 0.408_5 * 1000.0 / 36.0),
        ("discharge.velocity", 0.408_5 * 1000.0 / 16.0),
    ] {
        near(x[&format!("main.trace.{path}")], want, 1e-3, path);
    }
    let psi_of = |v: f64| v * v / (2.0 * 32.174) * 0.433_1;
    for (at, velocity) in [("discharge", 25.53), ("volute", 47.18), ("intake", 11.35)] {
        let total = x[&format!("main.trace.{at}.total_pressure")];
        let still = x[&format!("main.trace.{at}.static_pressure")];
        assert!(
            (total - still - psi_of(velocity)).abs() < 0.02,
            "{at}: {total} {still}"
        );
    }
    assert!((x["main.trace.discharge.total_pressure"] - x["main.predicted_pressure"]).abs() < 1e-9);
    let h = |n: &str| x[&format!("main.predicted_losses.{n}")];
    let lost = h("incidence")
        + h("wheel_friction")
        + h("radial_part")
        + h("volute_friction")
        + h("mismatch")
        + h("discharge");
    assert!((h("ideal") - lost - h("left")).abs() < 1e-6);
    // Euler's head with that slip: 152.06 · 94.03 / 32.174 ft.
    near(h("ideal"), 152.062 * 94.034 / 32.174, 1e-3, "ideal head");
}

#[test]
fn stages_add_their_pressures_or_flows() {
    let two = |how: &str| {
        drawing("    prediction { speed = 3400 rpm }\n").replace(
            "stages = [wheel]",
            &format!("stages = [wheel, wheel]\n    connection = {how}"),
        )
    };
    let one = numbers(&settled(&drawing("    prediction { speed = 3400 rpm }\n")));
    let series = numbers(&settled(&two("series")));
    let parallel = numbers(&settled(&two("parallel").replace("1000 gpm", "2000 gpm")));
    // Two rings for two wheels leak half as much each as two for one: less than a percent here.
    near(
        series["main.predicted_pressure"],
        2.0 * one["main.predicted_pressure"],
        0.01,
        "series",
    );
    near(
        parallel["main.predicted_pressure"],
        one["main.predicted_pressure"],
        0.01,
        "parallel",
    );
    near(
        parallel["main.predicted_best_flow"],
        2.0 * one["main.predicted_best_flow"],
        0.01,
        "flow",
    );
    near(
        series["main.predicted_power"],
        2.0 * one["main.predicted_power"],
        0.01,
        "power",
    );
}

#[test]
fn nothing_is_predicted_or_said_where_nothing_is_asked() {
    let db = settled(&drawing(""));
    assert!(
        !numbers(&db)
            .keys()
            .any(|k| k.contains("predicted") || k.contains("trace"))
    );
    assert!(
        !findings(&db)
            .iter()
            .any(|f| ["CW1314", "CW1315", "CW1319"].contains(&f.code.id))
    );
}

#[test]
fn what_is_missing_is_named_once() {
    for (line, part) in [
        (
            "    eye_diameter     = 5.25 in\n",
            "`eye_diameter` of `wheel` is not given",
        ),
        (
            "    vane_inlet_angle = 20 deg\n",
            "`vane_inlet_angle` of `wheel` is not given",
        ),
        (
            "    throat_area = 6.8 in^2\n",
            "`throat_area` of `main` is not given",
        ),
        (
            "    rings = [front, back]\n",
            "`rings` of `main` is not given",
        ),
        (
            "    land_length = 0.75 in\n",
            "`land_length` of `front` is not given",
        ),
        ("    stages = [wheel]\n", "`stages` of `main` is not given"),
        ("speed = 3400 rpm", "a speed is not given"),
    ] {
        let text = drawing("    prediction { speed = 3400 rpm }\n");
        assert!(text.contains(line));
        let db = settled(&text.replace(line, ""));
        let f = the(&db, "CW1315");
        assert_eq!(
            f.message.matches(part).count(),
            1,
            "`{part}` in {}",
            f.message
        );
        assert!(matches!(
            value(&db, "main.predicted_pressure"),
            Value::Absent | Value::Unknown
        ));
    }
    let stated = settled(&drawing(
        "    prediction { slip = stated speed = 3400 rpm }\n",
    ));
    assert!(the(&stated, "CW1315").message.contains("slip_factor"));
    let unlike = drawing("    prediction { speed = 3400 rpm }\n").replace(
        "stages = [wheel]",
        "stages = [wheel, small]\n    connection = series",
    ) + "impeller small like wheel { outside_diameter = 10 in }\n";
    assert!(
        the(&settled(&unlike), "CW1315")
            .message
            .contains("not all alike")
    );
}

/// A curve that two stages would make says so; a duty does not run on a prediction.
#[test]
fn a_test_outside_of_the_scatter_says_what_would_explain_it() {
    let curve = |times: f64| {
        let rows = [
            (0.0, 184.0),
            (500.0, 184.0),
            (1000.0, 176.0),
            (1200.0, 164.0),
        ];
        let rows = rows
            .map(|(q, p)| format!("        {q} {}\n", p * times))
            .concat();
        drawing(&format!(
            "    prediction {{ }}\n    curve at 3400 rpm (flow gpm, net psi) {{\n{rows}    }}\n"
        ))
    };
    for times in [0.93, 1.0, 1.07] {
        assert!(!fires(&settled(&curve(times)), "CW1314"), "{times}");
    }
    let f = the(&settled(&curve(2.0)), "CW1314");
    let help = f.help.unwrap_or_default();
    assert!(help.contains("2 stages in series instead of 1"), "{help}");
    // The diameter goes with the root of the pressure: 10.25 in · √2.
    assert!(help.contains("about 14.5 in"), "{help}");
    let f = the(&settled(&curve(0.8)), "CW1314");
    let help = f.help.unwrap_or_default();
    assert!(
        !help.contains("stages in series") && help.contains("worn rings"),
        "{help}"
    );
    let duty = drawing("    prediction { speed = 3400 rpm }\n")
        + "supply s { draft { lift = 5 ft } }\nlay l { main.discharge -> n: std.fog_150_100 }\nduty d {\n    supply = s\n    lay = l\n    hold speed = 3000 rpm\n}\n";
    assert!(fires(&settled(&duty), "CW1610"));
}

#[test]
fn a_rule_does_not_hold_firmly_on_a_prediction() {
    let rule = |least: f64| {
        let text = drawing("    prediction { speed = 3400 rpm }\n")
            + &format!("require main.predicted_pressure >= {least} psi because \"enough\"\n");
        let db = settled(&text);
        (fires(&db, "CW0501"), fires(&db, "CW0502"))
    };
    assert_eq!(rule(150.0), (false, false));
    assert_eq!(rule(170.0), (false, true));
    assert_eq!(rule(180.0), (true, false));
}

// ---- trim -------------------------------------------------------------------------------------------

/// A straight line 200 − 0.1 Q (psi, gpm), trimmed to 0.9: flow with the diameter, pressure with its square, power with
/// its cube: 162 − 0.09 Q; at 500 gpm 117 psi in place of 150. 100 hp at no flow become 72.9.
#[test]
fn a_trimmed_pump_by_the_law_of_trim() {
    let text = |now: f64| {
        format!(
            "impeller wheel {{ outside_diameter = {now} in }}\npump main {{\n    rating = 500 gpm at 100 psi\n    stages = [wheel]\n    tested_diameter = 10 in\n    curve at 3000 rpm (flow gpm, net psi, power hp) {{\n        0 200 100\n        400 160 110\n        800 120 120\n    }}\n}}\nsupply s {{ tank {{\n    level = 0 ft\n    loss = 0.000001 psi at 1000 gpm\n}} }}\nlay l {{ main.discharge -> n: std.fog_150_100 }}\nduty d {{\n    supply = s\n    lay = l\n    hold speed = 3000 rpm\n}}\n"
        )
    };
    let db = settled(&text(9.0));
    close(quantity(&db, "main.trim_ratio").si(), 0.9, 1e-12);
    close(measured_in(&db, "main.trim_loss", "psi"), 33.0, 1e-6);
    close(
        measured_in(&db, "main.shutoff_pressure", "psi"),
        162.0,
        1e-6,
    );
    close(measured_in(&db, "main.shutoff_power", "hp"), 72.9, 1e-6);
    assert_eq!(quantity(&db, "main.rated_speed").origin, Origin::Predicted);
    // The duty works on the trimmed curve.
    let (q, p) = (
        measured_in(&db, "d.flow", "gpm"),
        measured_in(&db, "d.net_pressure", "psi"),
    );
    close(p, 162.0 - 0.09 * q, 1e-6);
    // Uncut it is the curve as tested, measured.
    let db = settled(&text(10.0));
    close(
        measured_in(&db, "main.shutoff_pressure", "psi"),
        200.0,
        1e-9,
    );
    close(measured_in(&db, "main.trim_loss", "psi"), 0.0, 1e-9);
    assert_eq!(quantity(&db, "main.rated_speed").origin, Origin::Computed);
    for (now, part) in [(7.9, "further trimmed"), (10.1, "larger than in the test")] {
        let db = settled(&text(now));
        let f = the(&db, "CW1316");
        assert!(f.message.contains(part), "{}", f.message);
        assert_eq!(value(&db, "main.rated_speed"), Value::Unknown);
    }
    assert!(!fires(&settled(&text(8.0)), "CW1316"));
}

// ---- everything closed ------------------------------------------------------------------------------

/// 5.087 P/V °F a minute (hp, gal): 100 hp in 10 gal 50.87 °F, 30 hp 15.26 °F (pump handbooks, with water of 8.337 lb/gal and
/// 1 Btu/(lb °F)). Least flow for 20, 15, 10, 5 °F: hp over 3.93, 2.95, 1.97, 0.983 gpm (the same texts; they leave out
/// the work done on the water, which is little here).
#[test]
fn heat_with_everything_closed() {
    let text = |hp: f64, rise: f64| {
        format!(
            "water {{ temperature = 60 degF }}\npump main {{\n    rating = 50 gpm at 1 psi\n    water_volume = 10 gal\n    temperature_rise_limit = {rise} delta_degF\n    curve at 3000 rpm (flow gpm, net psi, power hp) {{\n        0 2 {hp}\n        100 1.8 {hp}\n        200 1.5 {hp}\n    }}\n}}\n"
        )
    };
    for (hp, want) in [(100.0, 50.87), (30.0, 15.26)] {
        let db = settled(&text(hp, 15.0));
        near(
            measured_in(&db, "main.heating_per_minute", "delta_degF"),
            want,
            3e-3,
            "heating",
        );
        close(measured_in(&db, "main.shutoff_power", "hp"), hp, 1e-9);
        // From 60 to 140 °F.
        near(
            measured_in(&db, "main.scald_time", "min"),
            80.0 / want,
            3e-3,
            "time",
        );
        let f = the(&db, "CW1317");
        assert!(f.message.contains("scalding"), "{}", f.message);
    }
    for (rise, per_gpm) in [(20.0, 3.932), (15.0, 2.949), (10.0, 1.966), (5.0, 0.983)] {
        let db = settled(&text(100.0, rise));
        near(
            measured_in(&db, "main.minimum_flow", "gpm"),
            100.0 / per_gpm,
            5e-3,
            "least flow",
        );
    }
    // Without the volume nothing is said, and without power at no flow nothing is computed.
    let silent = text(100.0, 15.0).replace("    water_volume = 10 gal\n", "");
    assert!(!fires(&settled(&silent), "CW1317"));
    let db = settled(&text(100.0, 15.0).replace("0 2 100", "0 2 -"));
    assert_eq!(value(&db, "main.heating_per_minute"), Value::Absent);
    // The stand-in for the limit is said to be assumed.
    let assumed = text(100.0, 15.0).replace("    temperature_rise_limit = 15 delta_degF\n", "");
    let q = quantity(&settled(&assumed), "main.minimum_flow");
    assert_eq!(q.origin, Origin::Assumed);
}

// ---- changeover -------------------------------------------------------------------------------------

/// A stage of 200 − 0.1 Q (psi, gpm): in series 400 − 0.2 Q, in parallel 200 − 0.05 Q; they meet at 1333.3 gpm, 133.3 psi.
#[test]
fn the_two_positions_of_a_changeover_pump() {
    let text = |rating: &str| {
        format!(
            "impeller w {{ outside_diameter = 10 in }}\npump main {{\n    rating = {rating}\n    stages = [w, w]\n    connection = changeover\n    stage_curve at 3000 rpm (flow gpm, net psi) {{\n        0 200\n        700 130\n        1500 50\n    }}\n}}\n"
        )
    };
    let db = settled(&text("1500 gpm at 120 psi"));
    near(
        measured_in(&db, "main.crossover_flow", "gpm"),
        4000.0 / 3.0,
        1e-6,
        "flow",
    );
    near(
        measured_in(&db, "main.crossover_pressure", "psi"),
        400.0 / 3.0,
        1e-6,
        "pressure",
    );
    assert!(!fires(&db, "CW1318"));
    let x = numbers(&db);
    // In parallel 200 r² − 0.05 r Q = 120 at 1500 gpm; in series 400 r² − 0.2 r Q = 200 at 750 gpm (r = n / 3000).
    let root = |a: f64, b: f64, c: f64| (b + (b * b + 4.0 * a * c).sqrt()) / (2.0 * a);
    near(
        x["main.rated_points[1].parallel_speed"],
        3000.0 * root(200.0, 75.0, 120.0),
        1e-6,
        "volume",
    );
    near(
        x["main.rated_points[4].series_speed"],
        3000.0 * root(400.0, 150.0, 200.0),
        1e-6,
        "pressure",
    );
    let Value::List(points) = value(&db, "main.rated_points") else {
        panic!("a list");
    };
    let positions: Vec<&str> = points
        .iter()
        .map(|p| match p {
            Value::Record(r) => match r.fields.iter().find(|f| f.0 == "position") {
                Some((_, Value::Choice(w))) => *w,
                _ => "neither",
            },
            _ => "no record",
        })
        .collect();
    // The parabola through each point meets series and parallel where they cross at 133.3 psi / 1333.3² gpm²: more pressure
    // for its flow than that is for series. 120/1500² and 132/1500² are less, 160/1050² and 200/750² more.
    assert_eq!(positions, ["parallel", "parallel", "series", "series"]);
    let f = the(&settled(&text("500 gpm at 250 psi")), "CW1318");
    assert!(f.message.contains("in series and only"), "{}", f.message);
    // Other pumps have no such positions.
    let single = "pump main {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 185\n        700 150\n    }\n}\n";
    assert_eq!(
        value(&settled(single), "main.crossover_flow"),
        Value::Absent
    );
}

// ---- suction specific speed ----------------------------------------------------------------------------

/// n √Q / NPSHr^0.75 of the published best point of 4000 rpm and 565 gpm (Lobanoff and Ross, p. 15) with 20 ft: 4000 · 23.770 /
/// 9.4574 = 10 053; with two eyes 7109. The curve has its best point exactly there (see the specific speed in `pump.rs`).
#[test]
fn suction_specific_speed_by_the_eye() {
    let head = |q: f64| 494.0 - 0.2 * q;
    let power = |q: f64| 40.0 * (1.0 + q * (494.0 - 0.4 * 565.0) / (0.2 * 565.0 * 565.0));
    let rows: String = [0.0, 300.0, 700.0, 1000.0]
        .iter()
        .map(|q| format!("        {q} {} {} 20\n", head(*q) * 0.433_11, power(*q)))
        .collect();
    for (eyes, want) in [
        ("", 10_053.0),
        ("    eyes = 1\n", 10_053.0),
        ("    eyes = 2\n", 7109.0),
    ] {
        let db = settled(&format!(
            "impeller w {{\n    outside_diameter = 9 in\n{eyes}}}\npump main {{\n    rating = 500 gpm at 150 psi\n    stages = [w]\n    curve at 4000 rpm (flow gpm, net psi, power hp, npshr ft) {{\n{rows}    }}\n}}\n"
        ));
        near(
            quantity(&db, "main.suction_specific_speed").si(),
            want,
            3e-4,
            eyes,
        );
    }
}
