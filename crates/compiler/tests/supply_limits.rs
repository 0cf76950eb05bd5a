//! The most a supply can give: against sums by hand, and against a scan of duties solved from their texts.

mod common;

/// Invented numbers. NPSH required is a straight line in the tested curve, so that it can be read by hand.
fn spec(supply: &str, duty: &str) -> String {
    format!(
        "site {{ barometer = 29.9213 inHg }}
water {{
    temperature      = 60 degF
    relative_density = 1
}}
pump p {{
    rating = 1000 gpm at 150 psi
    curve at 3000 rpm (flow gpm, net psi, npshr ft) {{
           0  160   8
         500  158  13
        1000  150  18
        1500  130  23
    }}
}}
hose suction {{ loss = 0.2 psi per 100 ft at 100 gpm }}
supply s {{
    feeds = p
{supply}
}}
{duty}"
    )
}

/// At the rating the pump turns at its tested 3000 rpm. 29.9213 inHg is 33.96 ft of this water, its vapour 0.59 ft; 20 ft of
/// the hose lose 0.04 · Q² psi of hundreds of gpm, and 1 psi is 2.309 ft.
#[test]
fn a_draft_gives_what_the_sums_say() {
    let db = common::settled(&spec(
        "    draft {\n        lift    = 10 ft\n        suction = 20 ft of suction\n    }",
        "",
    ));
    let v = common::numbers(&db);
    let air = 33.37;
    assert!(
        (v["s.greatest_lift"] - air).abs() < 0.03,
        "{}",
        v["s.greatest_lift"]
    );
    // 33.37 − 18 − 0.04 · 100 · 2.309 ft are left for the lift.
    assert!(
        (v["s.most_lift"] - (air - 18.0 - 4.0 * 2.309)).abs() < 0.05,
        "{}",
        v["s.most_lift"]
    );
    // With q in hundreds: 33.37 − 10 − 0.0924 q² = 8 + q, so q = (−1 + √(1 + 4 · 0.0924 · 15.37)) / (2 · 0.0924).
    let k = 0.04 * 2.309;
    let q = (-1.0 + (1.0 + 4.0 * k * (air - 18.0)).sqrt()) / (2.0 * k) * 100.0;
    assert!(
        (v["s.most_flow"] - q).abs() < 0.003 * q,
        "{} instead of {q}",
        v["s.most_flow"]
    );
    // Two lines halve the flow in each.
    let two = common::numbers(&common::settled(&spec(
        "    draft {\n        lift    = 10 ft\n        suction = 20 ft of suction\n        lines   = 2\n    }",
        "",
    )));
    assert!(
        (two["s.most_lift"] - (air - 18.0 - 1.0 * 2.309)).abs() < 0.05,
        "{}",
        two["s.most_lift"]
    );
}

/// The largest flow is that at which duties begin to cavitate: a scan over the flow of one nozzle, at the speed of the rating.
#[test]
fn the_most_flow_is_where_duties_begin_to_cavitate() {
    let supply = "    draft {\n        lift    = 9 ft\n        suction = 20 ft of suction\n    }";
    let most = common::numbers(&common::settled(&spec(supply, "")))["s.most_flow"];
    let cavitates = |gpm: f64| {
        let duty = format!(
            "nozzle n {{\n    form = regulated\n    rated = {gpm} gpm at 1 psi\n}}\nhose short {{ loss = 0.001 psi per 100 ft at 100 gpm }}\nlay l {{ p.discharge -> 10 ft of short -> n: n }}\nduty d {{\n    supply = s\n    lay = l\n    hold speed = 3000 rpm\n}}\n"
        );
        let db = common::settled(&spec(supply, &duty));
        assert!(
            common::numbers(&db).contains_key("d.flow"),
            "{:?}",
            common::findings(&db)
        );
        common::fires(&db, "CW1614")
    };
    assert!(
        !cavitates(most * 0.999) && cavitates(most * 1.001),
        "not at {most} gpm"
    );
    let step = 25.0;
    let first = (4..60)
        .map(|k| f64::from(k) * step)
        .find(|q| cavitates(*q))
        .unwrap();
    assert!(most < first && most > first - step);
}

/// A hydrant by the 0.54 law: 65 psi static, 40 psi left at 1000 gpm. (45/25)^0.54 = 1.3736.
#[test]
fn a_hydrant_is_rated_at_20_psi() {
    let db = common::settled(&spec(
        "    hydrant {\n        static_pressure = 65 psi\n        residual        = 40 psi at 1000 gpm\n    }",
        "",
    ));
    let v = common::numbers(&db);
    assert!(
        (v["s.flow_at_20_psi"] - 1373.6).abs() < 0.1,
        "{}",
        v["s.flow_at_20_psi"]
    );
    assert!(!v.contains_key("s.most_flow") && !v.contains_key("s.greatest_lift"));
    let low = common::settled(&spec(
        "    hydrant {\n        static_pressure = 18 psi\n        residual        = 9 psi at 300 gpm\n    }",
        "",
    ));
    assert!(
        !common::numbers(&low).contains_key("s.flow_at_20_psi"),
        "it never has 20 psi"
    );
    assert!(common::fires(&low, "CW1507") && !common::fires(&db, "CW1507"));
}

#[test]
fn a_tank_lasts_as_long_as_its_water() {
    let db = common::settled(&spec(
        "    tank {\n        level    = 3 ft\n        loss     = 5 psi at 500 gpm\n        capacity = 750 gal\n    }",
        "",
    ));
    assert!((common::measured_in(&db, "s.lasts", "s") - 45.0).abs() < 1e-9);
}

/// Without a pump nothing is said of one; what a supply cannot do at all has no most.
#[test]
fn what_cannot_be_judged_is_left_out() {
    let text = spec("    draft { lift = 10 ft }", "").replace("    feeds = p\n", "");
    let v = common::numbers(&common::settled(&text));
    assert!(
        v.contains_key("s.greatest_lift")
            && !v.contains_key("s.most_flow")
            && !v.contains_key("s.most_lift")
    );
    let deep = common::numbers(&common::settled(&spec("    draft { lift = 30 ft }", "")));
    assert!(
        !deep.contains_key("s.most_flow"),
        "it cavitates at no flow already"
    );
}

/// A curve whose NPSH begins at 500 gpm, as most do, is judged as one that begins at none.
#[test]
fn an_npsh_that_was_not_tested_at_no_flow_does_not_hinder() {
    let supply = "    draft {\n        lift    = 10 ft\n        suction = 20 ft of suction\n    }";
    let whole = common::numbers(&common::settled(&spec(supply, "")));
    let db = common::settled(&spec(supply, "").replace("0  160   8", "0  160   -"));
    let part = common::numbers(&db);
    for name in ["s.most_flow", "s.most_lift"] {
        assert!(
            (part[name] - whole[name]).abs() < 0.01 * whole[name],
            "{name}: {} instead of {}; {:?}",
            part[name],
            whole[name],
            common::findings(&db)
        );
    }
}

/// What ends the flow is said: NPSH, parted water, or no more than that the curve was tested no further.
#[test]
fn what_ends_the_flow_is_said() {
    let by = |lift: f64, npsh: bool| {
        let mut text = spec(
            &format!(
                "    draft {{\n        lift    = {lift} ft\n        suction = 20 ft of suction\n    }}"
            ),
            "",
        );
        if !npsh {
            text = text.replace(", npshr ft", "");
            for need in ["   8\n", "  13\n", "  18\n", "  23\n"] {
                text = text.replacen(need, "\n", 1);
            }
        }
        let db = common::settled(&text);
        let most = common::numbers(&db)["s.most_flow"];
        (common::words(&db)["s.most_flow_limit"].clone(), most)
    };
    assert_eq!(by(10.0, true).0, "the NPSH required");
    // 33.37 − 25 ft are left for 0.0924 q² of loss: 952 gpm.
    let (limit, most) = by(25.0, false);
    assert_eq!(limit, "the water parts");
    assert!((most - 952.0).abs() < 3.0, "{most}");
    // 33.37 − 2 ft keep 0.0924 · 15² ft of loss and more: the curve ends first, at 1500 gpm.
    let (limit, most) = by(2.0, false);
    assert_eq!(limit, "the end of the tested curve");
    assert!((most - 1500.0).abs() < 1e-6, "{most}");
}

/// Air and water that nobody stated are assumed, and so is what is made from them.
#[test]
fn limits_from_assumed_air_are_assumed() {
    use cutwater_compiler::value::Origin;
    let text = spec("    draft { lift = 10 ft }", "");
    let stated = common::settled(&text);
    let at = text.find("pump p").unwrap();
    let assumed = common::settled(&text[at..]);
    for name in ["s.greatest_lift", "s.most_flow", "s.most_lift"] {
        assert_eq!(
            common::quantity(&stated, name).origin,
            Origin::Computed,
            "{name}"
        );
        assert_eq!(
            common::quantity(&assumed, name).origin,
            Origin::Assumed,
            "{name}"
        );
    }
}

/// Told with the numbers of the sums above: 10 ft leave q = 824 gpm of 1000.
#[test]
fn a_draft_that_cannot_feed_its_pump_is_told() {
    let at = |lift: &str| {
        common::settled(&spec(
            &format!(
                "    draft {{\n        lift    = {lift}\n        suction = 20 ft of suction\n    }}"
            ),
            "",
        ))
    };
    let f = common::the(&at("10 ft"), "CW1506");
    assert!(
        f.message
            .contains("from supply `s` pump `p` draws no more than 8")
            && f.message
                .contains("less than its rated 1000 gpm: beyond that it cavitates"),
        "{}",
        f.message
    );
    assert!(!common::fires(&at("5 ft"), "CW1506"));
    // Nothing at all: it cavitates at no flow.
    let none = common::the(&at("26 ft"), "CW1506");
    assert!(none.message.contains("draws nothing"), "{}", none.message);
    // A hydrant is not judged by it, nor is a supply that names no pump.
    let unnamed = spec("    draft { lift = 26 ft }", "").replace("    feeds = p\n", "");
    assert!(!common::fires(&common::settled(&unnamed), "CW1506"));
}

/// v = 0.4085 Q / d² ft/s (gpm, in; 231 in³ to the gallon): 1000 gpm in 5 in run at 16.34 ft/s, in two of them at half.
#[test]
fn the_velocity_in_suction_hose_is_shown() {
    for (lines, v) in [(1, 16.34), (2, 8.17)] {
        let db = common::settled(&spec(
            &format!(
                "    draft {{\n        lift    = 5 ft\n        suction = 20 ft of std.suction_5\n        lines   = {lines}\n    }}"
            ),
            "",
        ));
        common::close(
            common::measured_in(&db, "s.suction_velocity", "ft/s"),
            v,
            0.01,
        );
    }
}

/// 3 ft of water at 62.36 lb/ft³ are 1.299 psi: 500 gpm · √(1.299/5) = 254.9 gpm run in by themselves. With its pump the
/// tank gives more: 33.37 + 3 − 2.309 · 5 · (Q/500)² ft must leave 8 + Q/100 ft, so 0.4618 q² + q − 28.37 = 0, q = 6.83.
#[test]
fn a_tank_gives_what_its_plumbing_lets_through() {
    let tank = "    tank {\n        level = 3 ft\n        loss  = 5 psi at 500 gpm\n    }";
    let db = common::settled(&spec(tank, ""));
    common::close(
        common::measured_in(&db, "s.gravity_flow", "gpm"),
        254.9,
        0.2,
    );
    let k: f64 = 2.309 * 5.0 / 25.0;
    let q = (-1.0 + (1.0 + 4.0 * k * (33.37 + 3.0 - 8.0)).sqrt()) / (2.0 * k) * 100.0;
    common::close(common::measured_in(&db, "s.most_flow", "gpm"), q, 0.003 * q);
    assert!(!common::fires(&db, "CW1506"));
    // At that flow a duty's intake stands at the pressure of the air.
    let duty = "nozzle n {\n    form = regulated\n    rated = 254.9 gpm at 1 psi\n}\nlay l { p.discharge -> 1 ft of suction -> n: n }\nduty d {\n    supply = s\n    lay = l\n    hold speed = 2000 rpm\n}\n";
    let db = common::settled(&spec(tank, duty));
    common::close(
        common::measured_in(&db, "d.intake_pressure", "psi"),
        0.0,
        0.003,
    );
}

/// A strainer that is a shut gate gives nothing, and nothing is shown.
#[test]
fn a_shut_strainer_gives_no_limit() {
    let text = spec(
        "    draft {\n        lift     = 5 ft\n        strainer = g\n    }",
        "",
    ) + "appliance g like std.gate_2_1_2 { opening = 0 % }\n";
    let v = common::numbers(&common::settled(&text));
    assert!(!v.contains_key("s.most_lift") && !v.contains_key("s.most_flow"));
    assert!(v.contains_key("s.greatest_lift"));
}

/// 1976 standard atmosphere: 12.228 psi at 5000 ft. Steam tables: 0.9503 psi and 61.99 lb/ft³ at 100 °F, 0.2563 psi and
/// 62.37 lb/ft³ at 60 °F.
#[test]
fn altitude_and_warm_water_lower_the_lift() {
    let text = spec("    draft { lift = 10 ft }", "");
    let lift = |text: &str| common::measured_in(&common::settled(text), "s.greatest_lift", "ft");
    let high = text.replace("barometer = 29.9213 inHg", "altitude = 5000 ft");
    common::close(lift(&high), (12.228 - 0.2563) * 144.0 / 62.37, 0.02);
    let warm = text.replace("60 degF", "100 degF");
    common::close(lift(&warm), (14.696 - 0.9503) * 144.0 / 61.99, 0.02);
}

/// At the highest lift a duty of the rated flow at the rated speed has no suction head left over: a tenth of a foot
/// decides.
#[test]
fn the_most_lift_is_where_the_rating_begins_to_cavitate() {
    let at = |lift: f64, duty: &str| {
        common::settled(&spec(
            &format!(
                "    draft {{\n        lift    = {lift} ft\n        suction = 20 ft of suction\n        lines   = 2\n    }}"
            ),
            duty,
        ))
    };
    let most = common::numbers(&at(5.0, ""))["s.most_lift"];
    let duty = "nozzle n {\n    form = regulated\n    rated = 1000 gpm at 1 psi\n}\nhose short { loss = 0.001 psi per 100 ft at 100 gpm }\nlay l { p.discharge -> 10 ft of short -> n: n }\nduty d {\n    supply = s\n    lay = l\n    hold speed = 3000 rpm\n}\n";
    assert!(!common::fires(&at(most - 0.1, duty), "CW1614"));
    assert!(common::fires(&at(most + 0.1, duty), "CW1614"));
}
