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
