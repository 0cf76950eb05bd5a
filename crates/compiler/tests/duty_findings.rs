//! Findings of solved duties about the water itself: its velocity, its warming, where it runs back, its surge. Numbers are
//! held to hand computations and to worked figures of texts.

mod common;

use cutwater_finding::{Finding, Place};

/// Invented. The power is level near no flow, so that it can be read by hand.
const PUMP: &str = "site { barometer = 14.696 psia }
water {
    temperature      = 60 degF
    relative_density = 1
}
pump p {
    rating = 1000 gpm at 150 psi
    curve at 3000 rpm (flow gpm, net psi, power hp) {
           0  200   60
          10  200   60
         400  190   90
        1000  152  132
        1400  117  150
    }
}
";

fn one_line(hose: &str, nozzle: &str, hold: &str) -> String {
    format!(
        "{PUMP}supply s {{ draft {{ lift = 5 ft }} }}
hose h {{
    diameter      = 2.5 in
    loss          = 2 psi per 100 ft at 100 gpm
    test_pressure = 300 psi
    {hose}
}}
nozzle n {{
    form  = fog
    rated = {nozzle}
}}
lay l {{ p.discharge -> 100 ft of h -> tip: n }}
duty d {{
    supply = s
    lay    = l
    hold {hold}
}}
"
    )
}

fn number(f: &Finding<Place>, what: &str) -> f64 {
    let n = f.numbers.iter().find(|n| n.what == what);
    n.unwrap_or_else(|| panic!("{what} in {:?}", f.numbers))
        .value
}

/// v = 0.4085 Q / d² ft/s (gpm, in): 300 gpm in 2.5 in run at 19.61 ft/s.
#[test]
fn velocity_above_a_stated_limit_is_told() {
    let text = |hose: &str| one_line(hose, "300 gpm at 100 psi", "tip.pressure = 100 psi");
    let f = common::the(
        &common::settled(&text("velocity_limit = 19 ft/s")),
        "CW1625",
    );
    common::close(number(&f, "velocity"), 19.61, 0.01);
    // Where both look alike the message still says which is more.
    let near = common::the(
        &common::settled(&text("velocity_limit = 19.6 ft/s")),
        "CW1625",
    );
    assert!(
        near.message
            .contains("runs at just over 19.6 ft/s, faster than 19.6 ft/s"),
        "{}",
        near.message
    );
    for silent in ["velocity_limit = 20 ft/s", ""] {
        assert!(
            !common::fires(&common::settled(&text(silent)), "CW1625"),
            "{silent}"
        );
    }
}

/// Hose that a supply names is judged like hose of the lay: 500 gpm in 3.5 in run at 16.68 ft/s, in two of them at half.
#[test]
fn the_hose_of_a_supply_is_judged_too() {
    let narrow = "hose narrow {\n    diameter = 3.5 in\n    loss = 2 ftH2O per 10 ft at 500 gpm\n    velocity_limit = 15 ft/s\n}\n";
    for source in [
        "draft { lift = 5 ft suction = 20 ft of narrow lines = LINES }",
        "hydrant { static_pressure = 60 psi residual = 45 psi at 900 gpm hose = 20 ft of narrow lines = LINES }",
    ] {
        let text = |lines: &str| {
            one_line("", "500 gpm at 100 psi", "tip.pressure = 100 psi")
                .replace("draft { lift = 5 ft }", &source.replace("LINES", lines))
                + narrow
        };
        let f = common::the(&common::settled(&text("1")), "CW1625");
        common::close(number(&f, "velocity"), 16.68, 0.01);
        assert!(!common::fires(&common::settled(&text("2")), "CW1625"));
    }
}

/// Texts: the rise is H (1/η − 1) / (778 c) °F, with η = Q H / (3960 P) (gpm, ft, hp) and c = 1; least flow for 15 °F is
/// P / 2.95 gpm if all of the power became heat; what leaves as pressure takes its part, H / (778 · 15).
#[test]
fn a_throttled_pump_warms_its_water() {
    let db = common::settled(&one_line("", "2 gpm at 100 psi", "p.speed = 3000 rpm"));
    let n = common::numbers(&db);
    let (q, p, head) = (
        n["d.flow"],
        n["d.shaft_power"],
        n["d.net_pressure"] * 144.0 / 62.37,
    );
    let eta = q * head / 3960.0 / p;
    let rise = head * (1.0 / eta - 1.0) / 778.0;
    common::close(n["d.temperature_rise"], rise, 0.005 * rise);
    let f = common::the(&db, "CW1626");
    common::close(number(&f, "rise"), rise / 1.8, 0.005 * rise);
    assert!(f.help.iter().any(|h| h.contains("scalds")), "{:?}", f.help);
    let least = p / 2.95 / (1.0 + head / (778.0 * 15.0));
    common::close(n["p.minimum_flow"], least, 0.005 * least);
    // At 1.2 of that flow it is silent, at 0.8 of it not.
    let at = |q: f64| {
        common::settled(&one_line(
            "",
            &format!("{q} gpm at 199 psi"),
            "p.speed = 3000 rpm",
        ))
    };
    assert!(!common::fires(&at(1.2 * least), "CW1626"));
    assert!(common::fires(&at(0.8 * least), "CW1626"));
}

/// Two pumps side by side, of which the stronger shuts the other's check valve: what is in that heats on and on.
#[test]
fn a_pump_that_gives_nothing_is_told_without_a_made_up_rise() {
    let text = format!(
        "{PUMP}pump q like p {{}}
supply s {{ draft {{ lift = 5 ft }} }}
supply t {{ draft {{ lift = 5 ft }} }}
appliance check {{
    loss    = 2 psi at 500 gpm
    one_way = yes
}}
nozzle n {{
    form  = fog
    rated = 300 gpm at 100 psi
}}
lay l {{
    s -> p.intake
    t -> q.intake
    p.discharge -> check -> 10 ft of std.supply_5 -> both: std.wye
    q.discharge -> check -> 10 ft of std.supply_5 -> both
    both -> tip: n
}}
duty d {{
    lay = l
    hold p.speed = 3000 rpm
    hold q.speed = 1500 rpm
}}
"
    );
    let db = common::settled(&text);
    let f = common::the(&db, "CW1626");
    assert!(
        f.message
            .contains("pump `q` of duty `d` turns and no water passes through it"),
        "{}",
        f.message
    );
    // No number stands for a rise without end.
    assert!(!common::numbers(&db).contains_key("d.q.temperature_rise"));
}

/// A hydrant and a pump that meet before one nozzle.
fn beside(one_way: &str) -> String {
    format!(
        "{PUMP}supply s {{ draft {{ lift = 5 ft }} }}
supply street {{
    hydrant {{
        static_pressure = 40 psi
        residual        = 20 psi at 900 gpm
    }}
}}
appliance y {{
    loss    = 1 psi at 500 gpm
    one_way = {one_way}
}}
nozzle n {{
    form  = fog
    rated = 300 gpm at 100 psi
}}
lay l {{
    street -> y -> 100 ft of std.supply_2_1_2 -> both: std.wye
    p.discharge -> 100 ft of std.supply_2_1_2 -> both
    both -> tip: n
}}
duty d {{
    supply = s
    lay    = l
    hold tip.pressure = 60 psi
}}
"
    )
}

/// What the pump gives and the tip does not is what runs back: mass balance. A check valve stops it.
#[test]
fn water_that_runs_back_into_a_main_is_told_and_a_check_valve_stops_it() {
    let db = common::settled(&beside("no"));
    let f = common::the(&db, "CW1627");
    assert!(f.message.contains("cross-connection"), "{}", f.message);
    let n = common::numbers(&db);
    let back = n["d.flow"] - n["d.tip.flow"];
    assert!(back > 50.0);
    common::close(number(&f, "flow"), -back, 1e-3);
    let db = common::settled(&beside("yes"));
    assert!(
        !common::fires(&db, "CW1627"),
        "{:#?}",
        common::findings(&db)
    );
    let n = common::numbers(&db);
    common::close(n["d.flow"], n["d.tip.flow"], 1e-6);
}

/// A duty's own hydrant at a flow test of 40 psi gives; nothing runs back.
#[test]
fn a_hydrant_that_gives_is_no_reverse_flow() {
    let text = one_line("", "300 gpm at 100 psi", "tip.pressure = 100 psi").replace(
        "draft { lift = 5 ft }",
        "hydrant { static_pressure = 40 psi residual = 20 psi at 900 gpm }",
    );
    assert!(!common::fires(&common::settled(&text), "CW1627"));
}

/// Joukowsky: 53.85 psi for each ft/s at a wave speed of 4000 ft/s. 150 gpm in 2.5 in run at 9.805 ft/s.
#[test]
fn a_surge_is_told_where_a_wave_speed_is_stated() {
    let text = |wave: &str| one_line(wave, "150 gpm at 100 psi", "tip.pressure = 100 psi");
    let f = common::the(&common::settled(&text("wave_speed = 2000 ft/s")), "CW1628");
    common::close(number(&f, "surge"), 53.85 * 9.805 / 2.0, 0.4);
    // 104.5 psi at the pump's end and 185 psi of surge stay below the 300 psi of the service test.
    for silent in ["wave_speed = 1400 ft/s", ""] {
        assert!(
            !common::fires(&common::settled(&text(silent)), "CW1628"),
            "{silent}"
        );
    }
}

/// Without a bore there is no velocity, and without a service-test pressure nothing to hold a surge against: said.
#[test]
fn limits_that_cannot_be_judged_are_told() {
    for (fields, says) in [
        (
            "velocity_limit = 3 ft/s",
            "`velocity_limit` of hose `h` says nothing without its `diameter`",
        ),
        (
            "wave_speed = 900 ft/s",
            "without its `diameter` and `test_pressure`",
        ),
        (
            "wave_speed = 900 ft/s diameter = 2 in",
            "without its `test_pressure`",
        ),
    ] {
        let text = format!("hose h {{ loss = 2 psi per 100 ft at 100 gpm {fields} }}\n");
        let f = common::the(&common::settled(&text), "CW1408");
        assert!(f.message.contains(says), "{}", f.message);
    }
}
