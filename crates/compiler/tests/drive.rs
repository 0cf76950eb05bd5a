//! Drives: speeds through the gears, margins at the rating, and the ratios that would do.

mod common;

use common::*;
use cutwater_compiler::Db;
use cutwater_compiler::value::{Origin, Value};
use cutwater_finding::Level;

/// A pump that makes its rating at its tested 3000 rpm with 125 hp: 1000 gpm at 150 psi and 70 %, where
/// 1000 · 150 / 1714.2857 / 0.70 = 125.000. The other rows are invented; that at 900 gpm serves the overload point.
const PUMP: &str = "\
pump main {
    rating = 1000 gpm at 150 psi
    curve at 3000 rpm (flow gpm, net psi, power hp) {
        0 190 60
        500 180 95
        1000 150 125
        1200 120 130
    }
}
";

fn driven(lines: &str) -> Db {
    settled(&format!(
        "{PUMP}drive engine {{\n    turns = main\n{lines}}}\n"
    ))
}

/// Pump turns per engine turn, as the trade quotes it: 1800 rpm · 1.96 = 3528 rpm; 1500 rpm · 2.27 = 3405 rpm.
#[test]
fn pump_speed_is_engine_speed_times_the_ratio() {
    for (governed, ratio, expected) in [(1800.0, 1.96, 3528.0), (1500.0, 2.27, 3405.0)] {
        let db = driven(&format!(
            "    gear_ratio = {ratio}\n    governed_speed = {governed} rpm\n"
        ));
        close(
            measured_in(&db, "engine.governed_pump_speed", "rpm"),
            expected,
            1e-6,
        );
    }
}

/// By hand: 1000 gpm, 150 psi, 70 % is 125.000 hp at the shaft, with a drive of 0.95 131.579 hp at the engine. An
/// engine of 140 hp at 1500 rpm brings 133 hp to the pump, 8 hp to spare; in torque (140 - 131.579) hp · 5252.113 / 1500
/// = 29.49 lbf·ft.
#[test]
fn margins_of_a_thousand_gallon_pump() {
    let db = driven(
        "    gear_ratio = 2\n    governed_speed = 1700 rpm\n    output (speed rpm, power hp) {\n        1200 110\n        1500 140\n        1700 150\n    }\n",
    );
    close(
        measured_in(&db, "engine.rated_engine_speed", "rpm"),
        1500.0,
        1e-6,
    );
    close(measured_in(&db, "engine.spare_speed", "rpm"), 200.0, 1e-6);
    close(measured_in(&db, "engine.power_margin", "hp"), 8.0, 1e-3);
    close(
        measured_in(&db, "engine.torque_margin", "lbf*ft"),
        29.49,
        0.01,
    );
    // The efficiency of 0.95 was not given.
    assert_eq!(quantity(&db, "engine.power_margin").origin, Origin::Assumed);
    assert_eq!(
        quantity(&db, "engine.rated_engine_speed").origin,
        Origin::Computed
    );
    assert!(!fires(&db, "CW1322"));
}

/// By hand: the pump needs 3000 rpm; at a ratio of 1.5 the engine 2000 rpm, above 1700. Within 1700 rpm the ratio is at
/// least 3000/1700 = 1.7647, said as 1.77. The engine needs 125/0.95 = 131.579 hp, which it has from
/// 1200 + 300 · 21.579/30 = 1415.8 rpm on: a ratio of at most 2.1190, said as 2.11.
#[test]
fn a_governor_that_stops_the_rating_names_the_ratios_that_make_it() {
    let lines = "    gear_ratio = 1.5\n    governed_speed = 1700 rpm\n";
    let f = the(&driven(lines), "CW1321");
    assert_eq!(f.level, Level::Error);
    for part in [
        "3000 rpm of the pump",
        "2000 rpm of `engine`",
        "governed 1700 rpm",
    ] {
        assert!(f.message.contains(part), "no `{part}` in {}", f.message);
    }
    assert!(f.help.expect("help").contains("1.77 or more"));
    let output = "    output (speed rpm, power hp) {\n        1200 110\n        1500 140\n        1700 150\n    }\n";
    let f = the(&driven(&format!("{lines}{output}")), "CW1321");
    assert!(
        f.help.as_deref().expect("help").contains("1.77 to 2.11"),
        "{:?}",
        f.help
    );
    // Each end as said is good, and a hundredth beyond either is not.
    for (ratio, good) in [
        ("1.76", false),
        ("1.77", true),
        ("2.11", true),
        ("2.12", false),
    ] {
        let db = driven(&format!(
            "    gear_ratio = {ratio}\n    governed_speed = 1700 rpm\n{output}"
        ));
        assert_eq!(
            !fires(&db, "CW1321") && !fires(&db, "CW1322"),
            good,
            "{ratio}"
        );
    }
}

/// By hand: 120 hp · 0.95 = 114 hp, 11 hp short of 125; no speed within the table has 131.579 hp.
#[test]
fn an_engine_too_weak_is_told_its_shortfall() {
    let db = driven(
        "    gear_ratio = 2\n    output (speed rpm, power hp) {\n        1200 110\n        1500 120\n        1700 125\n    }\n",
    );
    let f = the(&db, "CW1322");
    assert!(
        f.message.contains("takes 125.0 hp") && f.message.contains("11.0 hp short"),
        "{}",
        f.message
    );
    assert!(f.help.expect("help").contains("no ratio"));
    close(measured_in(&db, "engine.power_margin", "hp"), -11.0, 1e-3);
}

/// NFPA 1901, as trade texts print it: overload is full capacity at 165 psi, for pumps of 750 gpm and more. An engine with just the 125 hp
/// of the rating has not the tenth more; nor does a pump of 700 gpm need it.
#[test]
fn the_overload_point_is_asked_of_larger_pumps_alone() {
    let lines = "    gear_ratio = 2\n    efficiency = 1\n    output (speed rpm, power hp) {\n        1200 126\n        1800 126\n    }\n";
    let f = the(&driven(lines), "CW1323");
    assert_eq!(f.level, Level::Warning);
    assert!(f.message.contains("165 psi"), "{}", f.message);
    let number = |what: &str| {
        f.numbers
            .iter()
            .find(|n| n.what == what)
            .expect("compared")
            .value
    };
    // At one flow and a tenth more pressure: a tenth more water power, and the speed rises by less than √1.1.
    let taken = number("power taken");
    assert!((126.0..1.1 * 126.0 * 1.02).contains(&taken), "{taken}");
    let speed = number("engine speed");
    assert!(speed > 1500.0 && speed < 1500.0 * 1.1_f64.sqrt(), "{speed}");
    let small = settled(&format!(
        "{}drive engine {{\n    turns = main\n{lines}}}\n",
        PUMP.replace("1000 gpm at", "700 gpm at")
    ));
    assert!(!fires(&small, "CW1323"));
    let strong = driven(&lines.replace("126", "150"));
    assert!(!fires(&strong, "CW1323"));
    // A governor between the two speeds.
    let slow = driven("    gear_ratio = 2\n    governed_speed = 1505 rpm\n");
    assert!(
        the(&slow, "CW1323")
            .message
            .contains("above its governed 1505 rpm")
    );
}

#[test]
fn the_sense_of_the_ratio_is_asked() {
    let f = the(&driven("    gear_ratio = 0.51\n"), "CW1326");
    assert_eq!(f.level, Level::Advice);
    assert!(f.help.expect("help").contains("1.961"));
    assert!(
        the(&driven("    gear_ratio = 4.5\n"), "CW1326")
            .help
            .is_none()
    );
    for ratio in ["1", "1.96", "4"] {
        assert!(
            !fires(&driven(&format!("    gear_ratio = {ratio}\n")), "CW1326"),
            "{ratio}"
        );
    }
}

#[test]
fn nothing_is_read_outside_the_output() {
    let db = driven(
        "    gear_ratio = 3\n    output (speed rpm, power hp) {\n        1200 140\n        1500 150\n    }\n",
    );
    // 3000 / 3 = 1000 rpm is below the table.
    assert!(the(&db, "CW1325").message.contains("1000 rpm"));
    assert_eq!(value(&db, "engine.power_margin"), Value::Absent);
    assert_eq!(value(&db, "engine.torque_margin"), Value::Absent);
}

#[test]
fn a_governed_speed_stands_near_the_end_of_the_output() {
    let at = |governed: &str| {
        driven(&format!(
            "    gear_ratio = 2\n    governed_speed = {governed} rpm\n    output (speed rpm, power hp) {{\n        1200 140\n        2000 180\n    }}\n"
        ))
    };
    for (governed, said) in [
        ("1100", true),
        ("1600", false),
        ("2200", false),
        ("2210", true),
        ("4000", true),
    ] {
        assert_eq!(fires(&at(governed), "CW1324"), said, "{governed}");
    }
}

#[test]
fn more_than_all_of_the_power_cannot_arrive() {
    let f = the(
        &driven("    gear_ratio = 2\n    efficiency = 95\n"),
        "CW0401",
    );
    assert!(f.message.contains("at most 1"), "{}", f.message);
}

#[test]
fn a_missing_power_of_the_output_is_named() {
    let db = driven(
        "    gear_ratio = 2\n    output (speed rpm, power hp) {\n        1200 -\n        2000 180\n    }\n",
    );
    assert!(the(&db, "CW0405").message.contains("needs its power"));
    assert_eq!(value(&db, "engine.power_margin"), Value::Unknown);
}

/// An engine of one power, behind gears of 1, and its air.
fn in_air(site: &str, rules: &str) -> Db {
    settled(&format!(
        "site {{\n{site}\n}}\npump p {{ rating = 500 gpm at 150 psi }}\ndrive e {{\n    turns = p\n    gear_ratio = 2\n{rules}\n    output (speed rpm, power hp) {{\n        1000 225\n        2000 225\n    }}\n}}\n"
    ))
}

/// Rules of derating in use, with the powers they leave, as a handbook's table of rules works them out: 225 hp at 4500 ft,
/// 300 hp at 5000 ft, and air of 100 °F.
#[test]
fn derating_follows_the_rule_that_is_stated() {
    let factor =
        |site: &str, rules: &str| measured_in(&in_air(site, rules), "e.derating_factor", "%");
    for (altitude, rules, full, left) in [
        (
            "4500 ft",
            "    derating = 3 % per 1000 ft\n    derating_above = 500 ft",
            225.0,
            198.0,
        ),
        ("4500 ft", "    derating = 3.5 % per 1000 ft", 225.0, 189.56),
        (
            "4500 ft",
            "    derating = 3 % per 1000 ft\n    derating_above = 1000 ft",
            225.0,
            201.38,
        ),
        (
            "4500 ft",
            "    derating = 1 % per 100 m\n    derating_above = 305 m",
            225.0,
            201.00,
        ),
        (
            "4500 ft",
            "    derating = 1 % per 100 m\n    derating_above = 1000 m",
            225.0,
            216.64,
        ),
        (
            "5000 ft",
            "    derating = 3.5 % per 1000 ft\n    derating_above = 2000 ft",
            300.0,
            268.5,
        ),
        (
            "400 ft",
            "    derating = 3 % per 1000 ft\n    derating_above = 500 ft",
            225.0,
            225.0,
        ),
    ] {
        let got = full * factor(&format!("    altitude = {altitude}"), rules) / 100.0;
        assert!(
            (got - left).abs() < 0.006,
            "{rules}: {got} instead of {left} hp"
        );
    }
    let hot = "    air_temperature = 100 degF";
    for (rules, left) in [
        ("    heat_derating = 1 % per 10 delta_degF", 98.5),
        ("    heat_derating = 1 % per 5 delta_degF", 97.0),
        (
            "    heat_derating = 1 % per 10 delta_degF\n    heat_derating_above = 77 degF",
            97.7,
        ),
        (
            "    heat_derating = 1 % per 10 delta_degF\n    heat_derating_above = 60 degF",
            96.0,
        ),
    ] {
        assert!((factor(hot, rules) - left).abs() < 1e-9, "{rules}");
    }
    // A barometer alone tells the altitude by the standard atmosphere: 24.896 inHg is 5000 ft (ICAO, 0.83205).
    let both = factor(
        "    barometer = 24.896 inHg",
        "    derating = 3 % per 1000 ft",
    );
    assert!((both - 85.0).abs() < 0.02, "{both}");
}

#[test]
fn a_derating_that_cannot_be_computed_gives_no_margin() {
    let db = in_air(
        "    altitude = 9000 ft",
        "    heat_derating = 1 % per 10 delta_degF",
    );
    assert!(
        the(&db, "CW1330")
            .message
            .contains("needs the temperature of the air")
    );
    let db = in_air("    altitude = 9000 ft", "    derating = 20 % per 1000 ft");
    assert!(the(&db, "CW1330").message.contains("leaves `e` no power"));
    assert!(!numbers(&db).contains_key("e.derating_factor"));
    assert!(fires(&in_air("    altitude = 9000 ft", ""), "CW1329"));
    assert!(!fires(&in_air("    altitude = 2000 ft", ""), "CW1329"));
    assert!(!fires(
        &in_air("    altitude = 9000 ft", "    derating = 0 % per 1000 ft"),
        "CW1329"
    ));
}

/// For many engines and lists of ratios: a ratio is called good if and only if the drive with that ratio has speed and power
/// left at every rated point, each of which is worked out by itself.
#[test]
fn the_ratios_called_good_are_those_with_which_every_point_is_made() {
    let spec = |ratio: &str, governed: f64, power: f64| {
        format!(
            "pump main {{\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {{\n           0  268   75\n         625  262  140\n         875  250  164\n        1250  205  197\n        1600  150  209\n    }}\n}}\ndrive e {{\n    turns = main\n    gear_ratio = {ratio}\n    governed_speed = {governed} rpm\n    ratios (ratio) {{\n        1.30\n        1.43\n        1.55\n        1.66\n        1.86\n        2.02\n        2.28\n        2.60\n    }}\n    output (speed rpm, power hp) {{\n         900  {}\n        1500  {}\n        2000  {}\n        2400  {}\n    }}\n}}\n",
            0.45 * power,
            0.8 * power,
            power,
            0.97 * power
        )
    };
    let (mut good, mut bad) = (0, 0);
    for governed in [1900.0, 2100.0, 2400.0] {
        for power in [170.0, 200.0, 230.0, 270.0] {
            let table = numbers(&settled(&spec("1.30", governed, power)));
            let words = words(&settled(&spec("1.30", governed, power)));
            for k in 1..=8 {
                let ratio = table[&format!("e.ratio_table[{k}].ratio")];
                let alone = numbers(&settled(&spec(&format!("{ratio:.2}"), governed, power)));
                let made = (1..=4).all(|p| {
                    let left = |what: &str| alone.get(&format!("e.points[{p}].{what}")).copied();
                    left("spare_speed").is_some_and(|s| s >= 0.0)
                        && left("power_margin").is_some_and(|m| m >= 0.0)
                });
                let said = words[&format!("e.ratio_table[{k}].makes_every_point")] == "yes";
                assert_eq!(said, made, "{ratio} with {governed} rpm and {power} hp");
                if made { good += 1 } else { bad += 1 }
            }
        }
    }
    assert!(good > 10 && bad > 10, "{good} good, {bad} bad");
}
