//! Site and water: the atmosphere, and a barometer laid against the altitude.

mod common;

use common::*;
use cutwater_compiler::value::Origin;
use cutwater_finding::Level;

/// U.S. Standard Atmosphere 1976: the ratio to sea level is 0.92981 at 2000 ft, 0.83205 at 5000 ft, 0.68770 at
/// 10000 ft, of 101 325 Pa. These figures take the feet for geopotential ones, which at 10000 ft is 1.5 m off.
#[test]
fn atmosphere_of_the_standard() {
    for (feet, ratio) in [
        (0, 1.0),
        (2000, 0.929_81),
        (5000, 0.832_05),
        (10_000, 0.687_70),
    ] {
        let db = settled(&format!("site {{ altitude = {feet} ft }}\n"));
        close(
            quantity(&db, "@site.atmospheric_pressure").si() / 101_325.0,
            ratio,
            2e-4,
        );
    }
    let db = settled("site { air_temperature = 70 degF }\n");
    assert_eq!(
        quantity(&db, "@site.atmospheric_pressure").origin,
        Origin::Assumed
    );
}

/// At 5000 ft the standard is 29.921 · 0.83205 = 24.896 inHg: 26.80 inHg lies within 2 inHg of it, 27.00 does not.
#[test]
fn a_barometer_far_from_the_altitude_is_a_warning() {
    let at = |reading: &str| {
        settled(&format!(
            "site {{\n    altitude = 5000 ft\n    barometer = {reading}\n}}\n"
        ))
    };
    for (reading, said) in [
        ("24.9 inHg", false),
        ("26.80 inHg", false),
        ("27.00 inHg", true),
        ("23.00 inHg", false),
        ("22.80 inHg", true),
    ] {
        assert_eq!(fires(&at(reading), "CW1103"), said, "{reading}");
    }
    // 29.9 inHg is a reading corrected to sea level; without that it would be 29.9 · 0.83205 = 24.88 inHg.
    let f = the(&at("29.9 inHg"), "CW1103");
    assert_eq!(f.level, Level::Warning);
    assert!(
        f.message.contains("corrected to sea level"),
        "{}",
        f.message
    );
    assert!(f.help.expect("help").contains("24.9 inHg"));
    // Too low for anything corrected.
    let f = the(&at("20 inHg"), "CW1103");
    assert!(!f.message.contains("corrected"), "{}", f.message);
}

#[test]
fn a_barometer_without_an_altitude_wins_in_silence() {
    let db = settled("site { barometer = 24.6 inHg }\n");
    assert!(findings(&db).is_empty(), "{:#?}", findings(&db));
    // 24.6 · 3386.389 Pa
    close(
        quantity(&db, "@site.atmospheric_pressure").si(),
        83_305.2,
        1.0,
    );
}
