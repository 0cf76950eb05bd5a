//! Reference cases written as specs and solved through the binary, to 1e-6 relative.

use serde_json::Value;
use std::path::Path;
use std::process::Command;

#[test]
fn specs_of_reference_cases_solve_to_their_expected_values() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("cases");
    let mut compared = 0;
    let mut files = 0;
    for entry in std::fs::read_dir(&folder).expect("the cases are part of the project") {
        let path = entry.expect("an entry").path();
        if path.extension().is_none_or(|x| x != "pump") {
            continue;
        }
        files += 1;
        let text = std::fs::read_to_string(&path).expect("readable");
        let run = Command::new(cutwater_tests::binary())
            .args(["solve", "--format", "json"])
            .arg(&path)
            .output()
            .expect("the binary runs");
        let json: Value = serde_json::from_slice(&run.stdout).expect("a JSON document");
        let results = json["results"].as_array().expect("results");
        for line in text.lines() {
            let Some(rest) = line.strip_prefix("// expect ") else {
                continue;
            };
            let (name, rest) = rest.split_once(" = ").expect("a path and a value");
            let (value, unit) = rest.split_once(' ').expect("a value and a unit");
            let want: f64 = value.parse().expect("a number");
            let row = results
                .iter()
                .find(|r| r["path"] == name)
                .unwrap_or_else(|| panic!("{}: no result {name}", path.display()));
            assert_eq!(row["unit"], unit, "{}: {name}", path.display());
            let got = row["value"].as_f64().expect("a number");
            assert!(
                (got - want).abs() <= 1e-6 * want.abs().max(1e-3),
                "{}: {name} is {got}, expected {want}",
                path.display()
            );
            compared += 1;
        }
    }
    // One of every kind at least.
    assert_eq!(files, 14);
    assert!(compared >= 60, "{compared} values were compared");
}
