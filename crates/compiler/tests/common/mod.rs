//! Helpers of the kinds' tests: one settled file, its findings and values.

#![allow(dead_code)] // each test program uses its own part

use cutwater_compiler::Db;
use cutwater_compiler::value::{Quantity, Value};
use cutwater_finding::{Finding, Place};
use cutwater_quantity::parse_unit;

/// A settled workspace of one file.
pub fn settled(text: &str) -> Db {
    let mut db = Db::default();
    db.set_file("a.pump", text);
    db.settle(true, None).expect("nothing stops it");
    db
}

/// What is found.
pub fn findings(db: &Db) -> Vec<Finding<Place>> {
    db.findings(db.file("a.pump").expect("the file is there"))
}

/// The one finding of a code; its absence or doubling fails the test.
pub fn the(db: &Db, id: &str) -> Finding<Place> {
    let mut found: Vec<_> = findings(db)
        .into_iter()
        .filter(|f| f.code.id == id)
        .collect();
    assert_eq!(found.len(), 1, "{id} in {:#?}", findings(db));
    found.remove(0)
}

/// Whether a code is found.
pub fn fires(db: &Db, id: &str) -> bool {
    findings(db).iter().any(|f| f.code.id == id)
}

/// A settled value by its dotted path.
pub fn value(db: &Db, path: &str) -> Value {
    let (name, slot) = path.split_once('.').expect("a dotted path");
    let d = db
        .lookup(db.file("a.pump").expect("the file is there"), name)
        .expect("declared");
    let slot = db.kind(d).expect("a kind").1.find(slot).expect("a slot");
    db.settled(d, slot).cloned().expect("settled")
}

/// A settled quantity by its dotted path.
pub fn quantity(db: &Db, path: &str) -> Quantity {
    match value(db, path) {
        Value::Quantity(q) => q,
        other => panic!("{path} is {other:?}; {:#?}", findings(db)),
    }
}

/// A value in a unit.
pub fn measured_in(db: &Db, path: &str, unit: &str) -> f64 {
    parse_unit(unit)
        .expect("a unit")
        .from_si(quantity(db, path).si())
}

/// Fails unless two numbers agree.
pub fn close(got: f64, expected: f64, within: f64) {
    assert!(
        (got - expected).abs() <= within,
        "{got} is not {expected} ± {within}"
    );
}

/// The text a place covers.
pub fn covered(text: &str, place: Place) -> &str {
    place.span.slice(text)
}

/// The numbers a settled file shows, by their paths.
pub fn numbers(db: &Db) -> std::collections::BTreeMap<String, f64> {
    use cutwater_compiler::results::{Shown, of_file};
    of_file(db, db.file("a.pump").expect("the file is there"))
        .into_iter()
        .filter_map(|r| match r.value {
            Shown::Number { value, .. } => Some((r.path, value)),
            Shown::Word(_) => None,
        })
        .collect()
}

/// Every result of the file that is a word, by its path.
pub fn words(db: &Db) -> std::collections::BTreeMap<String, String> {
    use cutwater_compiler::results::{Shown, of_file};
    of_file(db, db.file("a.pump").expect("the file is there"))
        .into_iter()
        .filter_map(|r| match r.value {
            Shown::Word(w) => Some((r.path, w)),
            Shown::Number { .. } => None,
        })
        .collect()
}
