//! What a duty that cannot be met says it could have, against a scan: the spec solved anew at many values of what is held.

mod common;

/// Invented numbers. `{lift}`, `{tip}` and `{held}` stand for what the cases differ in.
const SPEC: &str = "pump p {
    rating        = 500 gpm at 150 psi
    maximum_speed = 3400 rpm
    curve at 3000 rpm (flow gpm, net psi) {
          0 200
        300 180
        600 140
    }
}
supply s {
    draft {
        lift    = {lift}
        suction = 20 ft of std.suction_4
    }
}
nozzle t {
    form = smooth
    tip  = {tip}
}
lay l { p.discharge -> 50 ft of std.supply_2_1_2 -> n: t }
duty d {
    supply = s
    lay    = l
    hold {held}
}
";

fn spec(lift: &str, tip: &str, held: &str) -> String {
    SPEC.replace("{lift}", lift)
        .replace("{tip}", tip)
        .replace("{held}", held)
}

/// The number before a unit that a message ends with: `… of 24.1 psi`.
fn number_at_end(message: &str, unit: &str) -> f64 {
    let words: Vec<&str> = message.split_whitespace().collect();
    assert_eq!(words.last(), Some(&unit), "{message}");
    words[words.len() - 2].parse().expect(message)
}

#[test]
fn the_most_that_can_be_had_is_what_a_scan_finds() {
    // Lift, tip, what is held with its unit, the value asked for, and what the finding says stands in the way.
    let cases = [
        (
            "15 ft",
            "1.5 in",
            "n.pressure",
            "psi",
            60.0,
            "than was tested",
        ),
        (
            "32.5 ft",
            "1.25 in",
            "n.pressure",
            "psi",
            80.0,
            "which parts",
        ),
        (
            "32 ft",
            "1.125 in",
            "discharge.pressure",
            "psi",
            120.0,
            "which parts",
        ),
        ("32.5 ft", "1.25 in", "n.flow", "gpm", 400.0, "which parts"),
        ("32.5 ft", "1.25 in", "speed", "rpm", 3300.0, "which parts"),
    ];
    for (lift, tip, held, unit, wanted, why) in cases {
        let at = |v: f64| common::settled(&spec(lift, tip, &format!("{held} = {v} {unit}")));
        let found = common::the(&at(wanted), "CW1612");
        assert!(found.message.contains(why), "{}", found.message);
        assert!(
            found
                .message
                .contains(&format!("at most it can have `{held}` of ")),
            "{}",
            found.message
        );
        let most = number_at_end(&found.message, unit);
        // Largest of the values that have a solution, in steps of a two-hundredth.
        let step = wanted / 200.0;
        let best = (1..200)
            .rev()
            .map(|k| f64::from(k) * step)
            .find(|v| !common::fires(&at(*v), "CW1612"))
            .unwrap_or(0.0);
        // The message is rounded to its own digits.
        assert!(
            (most - best).abs() <= step + 0.005 * most,
            "{held}: {most} said, {best} found"
        );
        let fires = |share: f64| common::fires(&at(most * share), "CW1612");
        assert!(fires(1.01) && !fires(0.99), "{held}: not at {most}");
    }
}

/// A speed limit says what is reached at it: what the spec gives when that speed is held.
#[test]
fn what_a_speed_limit_leaves_is_what_that_speed_gives() {
    for (held, unit, path, wanted) in [
        ("n.pressure", "psi", "d.n.pressure", 300.0),
        ("discharge.pressure", "psi", "d.discharge_pressure", 300.0),
        ("n.flow", "gpm", "d.n.flow", 500.0),
    ] {
        let db = common::settled(&spec("8 ft", "1 in", &format!("{held} = {wanted} {unit}")));
        let message = common::the(&db, "CW1612").message;
        assert!(message.contains("the pump's maximum speed"), "{message}");
        let (_, rest) = message.split_once("it reaches ").expect("what is reached");
        let reached: f64 = rest.split_whitespace().next().unwrap().parse().unwrap();
        let at_limit = common::settled(&spec("8 ft", "1 in", "speed = 3400 rpm"));
        let gives = common::numbers(&at_limit)[path];
        assert!(
            (reached - gives).abs() <= 0.005 * gives,
            "{held}: {reached} said, {gives} found"
        );
        // No speed below gives more.
        for rpm in (600..3400).step_by(100) {
            let slower = common::settled(&spec("8 ft", "1 in", &format!("speed = {rpm} rpm")));
            assert!(
                common::numbers(&slower)
                    .get(path)
                    .is_none_or(|v| *v < gives)
            );
        }
    }
}
