//! Results at other values than the spec's: `solve --sweep` and `solve --samples`, as a user runs them.

use cutwater_tests::{Folder, Ran};
use serde_json::Value;

/// Invented numbers.
const SPEC: &str = "pump main {
    rating = 500 gpm at 150 psi
    curve at 3000 rpm (flow gpm, net psi) {
          0 200
        300 180
        600 140
    }
}
supply pond { draft { lift = 10 ft ± 2 } }
nozzle fog {
    form  = fog
    rated = 150 gpm at 100 psi
}
lay one { main.discharge -> 100 ft of std.supply_2_1_2 -> tip: fog }
duty attack {
    supply = pond
    lay    = one
    hold tip.pressure = 100 psi
}
duty other like attack {
    supply = pond
    hold tip.pressure = 80 psi ± 4
}
require other.tip.flow >= 134 gpm
";

fn run(args: &[&str]) -> Ran {
    Folder::new(&[("spec.pump", SPEC)]).run(&[&["solve", "spec.pump"], args].concat())
}

fn json(ran: &Ran) -> Value {
    serde_json::from_str(&ran.out).unwrap_or_else(|e| panic!("{e}: {ran:?}"))
}

#[test]
fn a_sweep_is_a_table_with_a_row_for_each_value() {
    let ran = run(&[
        "--sweep",
        "attack.tip.pressure = 25 psi .. 100 psi by 75 psi",
        "--show",
        "attack.tip.flow",
    ]);
    // 150 gpm · √(p / 100 psi).
    let want = "attack.tip.pressure  attack.tip.flow\n25.0 psi             75.00 gpm\n100.0 psi            150.0 gpm\n";
    assert_eq!(
        (ran.code, ran.out.as_str(), ran.err.as_str()),
        (0, want, "")
    );
}

#[test]
fn a_point_without_a_solution_has_a_dash_and_a_reason() {
    let args = [
        "--sweep",
        "pond.draft.lift = 10 ft, 40 ft",
        "--show",
        "attack.speed",
    ];
    let ran = run(&args);
    assert_eq!(ran.code, 3);
    let lines: Vec<&str> = ran.out.lines().collect();
    assert!(lines[1].contains(" rpm"), "{}", ran.out);
    let row: Vec<&str> = lines[2].split_whitespace().collect();
    assert_eq!(row[2], "-", "{}", ran.out);
    assert!(row.contains(&"CW1612"), "what is found there is named");
    assert!(
        ran.out.contains("the water, which parts there"),
        "{}",
        ran.out
    );
    let document = json(&run(&[&args[..], &["--format", "json"]].concat()));
    let points = document["sweep"]["points"].as_array().unwrap();
    assert_eq!(points.len(), 2);
    assert!(points[1]["results"][0].is_null() && !points[1]["unsolved"][0].is_null());
    assert_eq!(points[0]["results"][0]["unit"], "rpm");
    assert!(points[0]["results"][0]["value"].as_f64().unwrap() > 1000.0);
}

#[test]
fn two_sweeps_are_run_in_every_combination() {
    let ran = run(&[
        "--sweep",
        "attack.tip.pressure = 50 psi, 100 psi",
        "--sweep",
        "pond.draft.lift = 5 ft .. 15 ft in 3",
        "--show",
        "attack.intake_pressure",
        "--format",
        "concise",
    ]);
    let lines: Vec<&str> = ran.out.lines().collect();
    assert_eq!(lines.len(), 7, "{}", ran.out);
    assert!(lines[0].starts_with("attack.tip.pressure\tpond.draft.lift\tattack.intake_pressure"));
    // The last one runs fastest.
    assert!(
        lines[1].starts_with("50.0 psi\t5.00 ft\t") && lines[2].starts_with("50.0 psi\t10.00 ft\t")
    );
}

#[test]
fn samples_are_the_same_for_a_seed_and_say_what_they_are_of() {
    let ran = run(&["--samples", "3000", "--duty", "other"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{ran:?}");
    assert!(ran.out.starts_with("duty other: 3 000 samples of 2 toleranced inputs, each drawn evenly within its limits (seed 1)\n"), "{}", ran.out);
    assert!(ran.out.contains("other.tip.pressure, as held") && ran.out.contains("pond.draft.lift"));
    assert_eq!(ran, run(&["--samples", "3000", "--duty", "other"]));
    assert_ne!(
        ran.out,
        run(&["--samples", "3000", "--duty", "other", "--seed", "2"]).out
    );
    let document = json(&run(&["--samples", "3000", "--format", "json"]));
    let all = document["samples"].as_array().unwrap();
    assert_eq!(all.len(), 2, "without `--duty` every duty is sampled");
    let limit = &all[1]["limits"][0];
    // 134 gpm is 79.8 psi: of 76 to 84 psi 47.5 % lie below.
    let share = limit["share"].as_f64().unwrap();
    assert!(
        (share - 0.475).abs() < 5.0 * (0.25 / 3000.0_f64).sqrt(),
        "{share}"
    );
    assert_eq!(limit["at"], "spec.pump:24");
}

#[test]
fn what_cannot_be_done_is_said_with_what_to_write() {
    for (args, says) in [
        (
            vec!["--sweep", "pond.draft.lift"],
            "does not say which values it takes",
        ),
        (
            vec!["--sweep", "pnd.draft.lift = 5 ft"],
            "did you mean `pond`?",
        ),
        (
            vec!["--sweep", "pond.draft.lift = 5 psi"],
            "`pond.draft.lift` is a length",
        ),
        (
            vec!["--sweep", "pond.draft.lift = 5 ft", "--show", "attack.flw"],
            "there is no result `attack.flw`",
        ),
        (vec!["--show", "attack.flow"], "--sweep"),
        (vec!["--samples", "7"], "7 samples cannot be drawn"),
        (
            vec!["--samples", "1000", "--duty", "pond"],
            "`pond` is no duty",
        ),
        (vec!["--samples", "many"], "invalid value 'many'"),
        (
            vec!["--samples", "1000", "--sweep", "pond.draft.lift = 5 ft"],
            "cannot be used with",
        ),
        (vec!["--seed", "4"], "--samples"),
    ] {
        let ran = run(&args);
        assert_eq!(ran.code, 2, "{args:?}: {ran:?}");
        assert!(ran.err.contains(says), "{args:?}: {}", ran.err);
        assert_eq!(ran.out, "");
    }
}
