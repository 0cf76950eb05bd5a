//! Every finding's page: its firing example fires it, its silent example is clean of it and of all errors.

use cutwater_compiler::value::Date;
use cutwater_compiler::{Db, codes, settings};
use cutwater_finding::{Level, Sample};

fn ids(text: &str, sample: Sample) -> Vec<(&'static str, Level, String)> {
    if sample == Sample::Settings {
        return settings::read(text)
            .findings
            .into_iter()
            .map(|f| (f.code.id, f.level, f.message))
            .collect();
    }
    let mut db = Db::default();
    // What an example may bring in.
    db.set_file("parts.pump", "let spare = 1 in\n");
    db.set_today(Date::new(2026, 6, 1));
    let file = db.set_file("example.pump", text);
    db.settle(true, None).unwrap();
    db.findings(file)
        .into_iter()
        .map(|f| (f.code.id, f.level, f.message))
        .collect()
}

/// Findings no text can show: about bytes, sizes, other files and the solver itself.
const WITHOUT_EXAMPLE: &[&str] = &[
    "CW0104", "CW0105", "CW0106", "CW0513", "CW0610", "CW0611", "CW0751", "CW1613",
];

#[test]
fn every_firing_example_fires_and_every_silent_one_is_clean() {
    let mut wrong = Vec::new();
    for code in codes::all() {
        if WITHOUT_EXAMPLE.contains(&code.id) {
            continue;
        }
        let fired = ids(code.fires, code.sample);
        if !fired.iter().any(|f| f.0 == code.id) {
            wrong.push(format!("{} does not fire: {fired:?}", code.id));
        }
        if code.silent.trim().is_empty() {
            wrong.push(format!("{} has no silent example", code.id));
        }
        let silent = ids(code.silent, code.sample);
        if silent.iter().any(|f| f.0 == code.id || f.1 == Level::Error) {
            wrong.push(format!("{} is not silent: {silent:?}", code.id));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn ids_and_names_are_unique_and_well_formed() {
    let all = codes::all();
    for (k, code) in all.iter().enumerate() {
        assert!(
            code.id.len() == 6 && code.id.starts_with("CW"),
            "{}",
            code.id
        );
        assert!(
            !code.page.is_empty() && code.summary.ends_with(['.', '?']),
            "{}",
            code.id
        );
        for other in &all[k + 1..] {
            assert_ne!(code.id, other.id);
            assert_ne!(code.name, other.name, "{} and {}", code.id, other.id);
        }
    }
}
