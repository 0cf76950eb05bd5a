//! Reading the reference cases: JSON files of inputs and expected values made with general-purpose libraries. Each
//! file names its own source, field units and tolerances.

#![allow(dead_code)]

use serde_json::Value;
use std::path::Path;

/// Pa per psi, from 0.453 592 37 kg, 9.806 65 m/s² and 0.0254 m (NIST SP 811).
pub const PSI: f64 = 0.453_592_37 * 9.806_65 / (0.0254 * 0.0254);
/// m³/s per US gallon per minute (231 in³, NIST SP 811).
pub const GPM: f64 = 231.0 * 0.0254 * 0.0254 * 0.0254 / 60.0;
/// m per foot.
pub const FT: f64 = 0.3048;
/// m per inch.
pub const INCH: f64 = 0.0254;

/// All cases of a file.
pub fn cases(file: &str) -> Vec<Value> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data")
        .join(file);
    let text = std::fs::read_to_string(&path).expect("the reference file is part of the crate");
    let mut doc: Value = serde_json::from_str(&text).expect("the reference file is JSON");
    match doc["cases"].take() {
        Value::Array(list) => list,
        _ => panic!("{file} has no list of cases"),
    }
}

/// The cases of one kind.
pub fn cases_of(file: &str, kind: &str) -> Vec<Value> {
    let mut list = cases(file);
    list.retain(|c| c["kind"] == kind);
    list
}

/// A number in `inputs`.
pub fn input(case: &Value, field: &str) -> f64 {
    number(&case["inputs"][field], field, case)
}

/// A number in `expected`.
pub fn expected(case: &Value, field: &str) -> f64 {
    number(&case["expected"][field], field, case)
}

/// A number, or a panic that says where it was missed.
pub fn number(value: &Value, field: &str, case: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{}: no number {field}", case["id"]))
}

/// Asserts that two numbers agree to a relative tolerance.
pub fn close(got: f64, want: f64, relative: f64, what: &str) {
    assert!(
        (got - want).abs() <= relative * want.abs(),
        "{what}: got {got}, expected {want}, relative difference {}",
        (got - want) / want
    );
}

/// Asserts that two numbers agree to a relative or an absolute tolerance, whichever is wider.
pub fn near(got: f64, want: f64, relative: f64, absolute: f64, what: &str) {
    assert!(
        (got - want).abs() <= (relative * want.abs()).max(absolute),
        "{what}: got {got}, expected {want}, difference {}",
        got - want
    );
}
