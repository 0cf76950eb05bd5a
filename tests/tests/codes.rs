//! Every finding's own examples: the firing one fires it, the silent one does not and has no error at all.

use cutwater_compiler::{Db, Settings, codes};
use cutwater_finding::{Finding, Level, Place};
use std::collections::BTreeSet;

fn findings(text: &str) -> Vec<Finding<Place>> {
    let mut db = Db::new(Settings::default());
    let file = db.set_file("example.pump", text);
    db.settle(true, None).expect("nothing cancels");
    db.findings(file)
}

fn words(f: &[Finding<Place>]) -> Vec<String> {
    f.iter()
        .map(|f| format!("{} {}: {}", f.code.id, f.place.span.start, f.message))
        .collect()
}

#[test]
fn firing_examples_fire_and_silent_ones_are_in_order() {
    let mut wrong = Vec::new();
    for code in codes::all() {
        let fires = findings(code.fires);
        if !code.fires.is_empty() && !fires.iter().any(|f| f.code == code) {
            wrong.push(format!(
                "{} {}: its firing example does not fire it, but {:?}",
                code.id,
                code.name,
                words(&fires)
            ));
        }
        let silent = findings(code.silent);
        if silent
            .iter()
            .any(|f| f.code == code || f.level == Level::Error)
        {
            wrong.push(format!(
                "{} {}: its silent example gives {:?}",
                code.id,
                code.name,
                words(&silent)
            ));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_finding_is_declared_in_full_and_once() {
    let all = codes::all();
    let ids: BTreeSet<&str> = all.iter().map(|c| c.id).collect();
    let names: BTreeSet<&str> = all.iter().map(|c| c.name).collect();
    assert_eq!(ids.len(), all.len(), "an id is used twice");
    assert_eq!(names.len(), all.len(), "a name is used twice");
    for c in all {
        assert!(
            c.id.len() == 6
                && c.id.starts_with("CW")
                && c.id[2..].bytes().all(|b| b.is_ascii_digit()),
            "{}",
            c.id
        );
        assert!(
            c.name
                .bytes()
                .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-'),
            "{}",
            c.name
        );
        for (what, text) in [
            ("summary", c.summary),
            ("page", c.page),
            ("silent example", c.silent),
        ] {
            assert!(!text.trim().is_empty(), "{} has no {what}", c.id);
        }
    }
}
