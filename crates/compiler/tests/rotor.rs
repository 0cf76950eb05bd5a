//! Impellers and rings: geometry, clearances with their tolerances, and what is said of them.

mod common;

use common::*;
use cutwater_compiler::Db;
use cutwater_compiler::kinds::{drive, pump, rotor, surroundings};
use cutwater_compiler::value::{Origin, Value};
use cutwater_finding::Level;
use cutwater_quantity::parse_unit;
use proptest::prelude::*;

const SEAL: &str = "\
impeller first {
    outside_diameter = 9.250 in ± 0.004
    hub_diameter = 5.4970 in (+0.0000/-0.0010)
}
ring seal {
    runs_on = first.hub_diameter
    bore = 5.502 in ± 0.0005
    outside_diameter = 6.1285 in ± 0.0005
    seat = 6.1250 in ± 0.0005
    clearance_limit = 0.003 .. 0.007 in
}
";

// ---- every finding's own examples -----------------------------------------------------------------

#[test]
fn the_examples_of_each_finding_fire_and_are_silent() {
    for list in [
        rotor::CODES,
        pump::checks::CODES,
        pump::wear::CODES,
        drive::CODES,
        surroundings::CODES,
    ] {
        for code in list {
            let db = settled(code.fires);
            assert!(
                fires(&db, code.id),
                "{} does not fire: {:#?}",
                code.id,
                findings(&db)
            );
            let others: Vec<_> = findings(&db)
                .into_iter()
                .filter(|f| f.level == Level::Error && f.code.id != code.id)
                .collect();
            assert!(others.is_empty(), "{}: {others:#?}", code.id);
            let db = settled(code.silent);
            assert!(
                !fires(&db, code.id),
                "{} is not silent: {:#?}",
                code.id,
                findings(&db)
            );
            assert!(
                findings(&db).iter().all(|f| f.level != Level::Error),
                "{}: {:#?}",
                code.id,
                findings(&db)
            );
        }
    }
}

// ---- impeller ---------------------------------------------------------------------------------------

/// Gorla and Khan, Turbomachinery, chapter 2, worked example 2.13: D2 0.26 m, b 0.02 m. The
/// area π · 0.26 · 0.02 m² = 0.0163363 m².
#[test]
fn exit_area_of_worked_example_2_13() {
    let db =
        settled("impeller wheel {\n    outside_diameter = 0.26 m\n    exit_width = 0.02 m\n}\n");
    close(quantity(&db, "wheel.exit_area").si(), 0.016_336_28, 1e-8);
}

/// By hand: 6 vanes of 5 mm at 30° take 6 · 5 / 0.5 = 60 mm of π · 260 = 816.814 mm; 756.814 mm · 20 mm = 15136.28 mm².
#[test]
fn vanes_take_their_thickness_over_the_sine_of_their_angle() {
    let db = settled(
        "impeller wheel {\n    outside_diameter = 260 mm\n    exit_width = 20 mm\n    vanes = 6\n    vane_exit_angle = 30 deg\n    vane_thickness = 5 mm\n}\n",
    );
    close(measured_in(&db, "wheel.exit_area", "mm^2"), 15_136.28, 0.01);
}

/// A thickness without the number and angle of the vanes gives no area, rather than one without blockage.
#[test]
fn blockage_that_cannot_be_reckoned_gives_no_area() {
    let db = settled(
        "impeller wheel {\n    outside_diameter = 260 mm\n    exit_width = 20 mm\n    vane_thickness = 5 mm\n}\n",
    );
    assert_eq!(value(&db, "wheel.exit_area"), Value::Absent);
}

/// By hand: an eye of 5 in has π/4 · 25 = 19.635 in²; against 9.25 in it is 54.054 %.
#[test]
fn eye_area_and_diameter_ratio_keep_their_tolerances() {
    let db = settled(
        "impeller wheel {\n    outside_diameter = 9.25 in\n    eye_diameter = 5 in ± 0.1\n}\n",
    );
    let area = quantity(&db, "wheel.eye_area");
    let unit = parse_unit("in^2").expect("a unit");
    close(unit.from_si(area.si()), 19.634_95, 1e-4);
    // π/4 · 4.9² = 18.8574, π/4 · 5.1² = 20.4282
    close(unit.from_si(area.value.lo()), 18.857_41, 1e-4);
    close(unit.from_si(area.value.hi()), 20.428_21, 1e-4);
    let ratio = quantity(&db, "wheel.diameter_ratio");
    close(ratio.si(), 0.540_541, 1e-6);
    assert_eq!(ratio.origin, Origin::Computed);
}

#[test]
fn an_angle_from_the_radius_is_told_from_the_tangent() {
    let text =
        "impeller wheel {\n    outside_diameter = 9.25 in\n    vane_exit_angle = 66 deg\n}\n";
    let f = the(&settled(text), "CW1205");
    assert!(f.help.expect("help").contains("24.0°"));
    assert_eq!(covered(text, f.place), "66 deg");
    // Both bounds of what passes.
    for angle in ["15 deg", "40 deg"] {
        let db = settled(&format!(
            "impeller w {{\n    outside_diameter = 9.25 in\n    vane_exit_angle = {angle}\n}}\n"
        ));
        assert!(!fires(&db, "CW1205"), "{angle}");
    }
}

#[test]
fn usual_numbers_of_vanes_pass() {
    for (vanes, said) in [(4, true), (5, false), (6, false), (7, false), (8, true)] {
        let db = settled(&format!(
            "impeller w {{\n    outside_diameter = 9.25 in\n    vanes = {vanes}\n}}\n"
        ));
        assert_eq!(fires(&db, "CW1206"), said, "{vanes} vanes");
    }
}

// ---- ring: the stack by hand ------------------------------------------------------------------------

/// By hand: 5.502 ± 0.0005 less 5.497 +0/-0.001 is 0.005 in, from 5.5015 - 5.497 = 0.0045 to 5.5025 - 5.496 = 0.0065.
/// Half-widths 0.0005 and 0.0005 about 0.0055: root-sum-square 0.000707.
#[test]
fn clearance_is_the_stack_of_bore_and_hub() {
    let db = settled(SEAL);
    let gap = quantity(&db, "seal.clearance");
    let inch = 0.0254;
    close(gap.si() / inch, 0.005, 1e-9);
    close(gap.value.lo() / inch, 0.0045, 1e-9);
    close(gap.value.hi() / inch, 0.0065, 1e-9);
    close(gap.value.rss().half_width / inch, 0.000_707_1, 1e-7);
    assert_eq!(gap.unit.expect("the unit of the bore").symbol(), "in");
    let radial = quantity(&db, "seal.radial_clearance");
    close(radial.si() / inch, 0.0025, 1e-9);
    close(radial.value.hi() / inch, 0.003_25, 1e-9);
    // 6.1285 ± 0.0005 in 6.1250 ± 0.0005: 0.0035, from 0.0025 to 0.0045.
    let press = quantity(&db, "seal.interference");
    close(press.si() / inch, 0.0035, 1e-9);
    close(press.value.lo() / inch, 0.0025, 1e-9);
    close(press.value.hi() / inch, 0.0045, 1e-9);
    assert!(findings(&db).is_empty(), "{:#?}", findings(&db));
}

/// By hand: 5.502 ± 0.002 less 5.497 +0/-0.001 goes from 0.003 to 0.008: 0.001 above the limit of 0.007. Half-widths
/// 0.002 and 0.0005: shares 4 to 0.25, so 94 % from the bore; root-sum-square 0.0055 ± 0.00206.
#[test]
fn a_worst_case_outside_its_limits_is_a_warning_with_its_biggest_part() {
    let text = SEAL.replace("5.502 in ± 0.0005", "5.502 in ± 0.002");
    let db = settled(&text);
    let f = the(&db, "CW1214");
    assert_eq!(f.level, Level::Warning);
    for part in [
        "0.0010 in above the upper limit",
        "94 % of it from `seal.bore`",
        "0.0034 .. 0.0076 in",
    ] {
        assert!(f.message.contains(part), "no `{part}` in {}", f.message);
    }
    assert!(!f.message.contains("lower limit"), "{}", f.message);
    assert_eq!(covered(&text, f.place), "5.502 in ± 0.002");
    let labelled: Vec<&str> = f.labels.iter().map(|l| covered(&text, l.place)).collect();
    for place in [
        "first.hub_diameter",
        "5.4970 in (+0.0000/-0.0010)",
        "0.003 .. 0.007 in",
    ] {
        assert!(
            labelled.contains(&place),
            "no label at `{place}`: {labelled:?}"
        );
    }
    assert!(f.help.expect("help").contains("seal.bore"));
    let number = |what: &str| {
        f.numbers
            .iter()
            .find(|n| n.what == what)
            .expect("compared")
            .value
    };
    close(number("worst case high"), 0.008, 1e-9);
    close(number("upper limit"), 0.007, 1e-12);
}

/// The hub is the larger contributor here: half-widths 0.0005 of the bore and 0.0015 of the hub, shares 0.25 to 2.25.
#[test]
fn the_biggest_contributor_may_be_what_it_runs_on() {
    let text = SEAL.replace("(+0.0000/-0.0010)", "(+0.0000/-0.0030)");
    let f = the(&settled(&text), "CW1214");
    assert!(
        f.message.contains("90 % of it from `first.hub_diameter`"),
        "{}",
        f.message
    );
}

/// By hand: 5.512 - 5.497 = 0.015, which is 0.008 above 0.007.
#[test]
fn a_nominal_clearance_outside_its_limits_is_an_error() {
    let text = SEAL.replace("5.502 in ± 0.0005", "5.512 in ± 0.0005");
    let db = settled(&text);
    let f = the(&db, "CW1213");
    assert_eq!(f.level, Level::Error);
    assert!(
        f.message
            .contains("0.0080 in above its limits of 0.0030 .. 0.0070 in"),
        "{}",
        f.message
    );
    assert!(!fires(&db, "CW1214"));
    let f = the(
        &settled(&SEAL.replace("5.502 in ± 0.0005", "5.499 in")),
        "CW1213",
    );
    assert!(f.message.contains("0.0010 in below"), "{}", f.message);
}

/// A size that meets its limit exactly keeps it, however its decimals round in binary.
#[test]
fn a_clearance_at_its_limit_keeps_it() {
    for bore in [
        "5.500 in",
        "5.504 in",
        "5.5005 in ± 0.0005",
        "5.5035 in ± 0.0005",
    ] {
        let db = settled(&format!(
            "ring seal {{\n    runs_on = 5.497 in\n    bore = {bore}\n    clearance_limit = 0.003 .. 0.007 in\n}}\n"
        ));
        assert!(findings(&db).is_empty(), "{bore}: {:#?}", findings(&db));
    }
}

#[test]
fn no_clearance_is_an_error_whatever_the_limits() {
    for bore in ["5.497 in", "5.496 in"] {
        for limit in [
            "",
            "    clearance_limit = 0.003 .. 0.007 in\n",
            "    clearance_limit = -0.002 .. 0.007 in\n",
        ] {
            let db = settled(&format!(
                "ring seal {{\n    runs_on = 5.497 in\n    bore = {bore}\n{limit}}}\n"
            ));
            assert_eq!(the(&db, "CW1211").level, Level::Error);
            assert!(!fires(&db, "CW1213") && !fires(&db, "CW1214"));
        }
    }
}

/// The common practice for bronze rings, 0.003 to 0.007 in, is advice and only where no limit is stated.
#[test]
fn clearances_are_compared_with_common_practice_only_without_limits() {
    let ring = |bore: &str, limit: &str| {
        settled(&format!(
            "ring seal {{\n    runs_on = 5.497 in\n    bore = {bore}\n{limit}}}\n"
        ))
    };
    assert_eq!(the(&ring("5.514 in", ""), "CW1215").level, Level::Advice);
    assert_eq!(the(&ring("5.499 in", ""), "CW1215").level, Level::Advice);
    for bore in ["5.500 in", "5.504 in"] {
        assert!(!fires(&ring(bore, ""), "CW1215"), "{bore}");
    }
    // The running-clearance list for process pumps: 0.017 in at 5 to 6 in.
    assert!(
        findings(&ring(
            "5.514 in",
            "    clearance_limit = 0.017 .. 0.020 in\n"
        ))
        .is_empty()
    );
}

#[test]
fn a_ring_is_gripped_by_its_seat() {
    let press = |outside: &str| {
        settled(&format!(
            "ring seal {{\n    runs_on = 5.497 in\n    bore = 5.502 in\n    outside_diameter = {outside}\n    seat = 6.125 in ± 0.001\n}}\n"
        ))
    };
    assert_eq!(the(&press("6.123 in"), "CW1216").level, Level::Error);
    assert_eq!(the(&press("6.125 in"), "CW1216").level, Level::Error);
    assert_eq!(the(&press("6.1255 in"), "CW1217").level, Level::Warning);
    assert!(findings(&press("6.128 in")).is_empty());
}

#[test]
fn a_ring_like_another_is_judged_by_its_own_sizes() {
    let text = format!("{SEAL}ring spare like seal {{\n    bore = 5.512 in\n}}\n");
    let db = settled(&text);
    let f = the(&db, "CW1213");
    assert!(f.message.contains("`spare`"), "{}", f.message);
    close(quantity(&db, "spare.clearance").si() / 0.0254, 0.015, 1e-9);
    // Taken over from `seal`, but known as the hub of the impeller.
    assert!(
        f.labels
            .iter()
            .any(|l| covered(&text, l.place) == "5.4970 in (+0.0000/-0.0010)")
    );
}

proptest! {
    /// Wider tolerances never make the limits of the clearance narrower, nor a finding milder.
    #[test]
    fn clearance_limits_widen_with_the_tolerance(
        bore in 5.495f64..5.510,
        small in 0.0f64..0.003,
        more in 0.0f64..0.003,
        hub in 0.0f64..0.003,
    ) {
        let ring = |half: f64| settled(&format!(
            "ring seal {{\n    runs_on = 5.497 in ± {hub:.6}\n    bore = {bore:.6} in ± {half:.6}\n    clearance_limit = 0.003 .. 0.007 in\n}}\n"
        ));
        let (tight, wide) = (ring(small), ring(small + more));
        let (a, b) = (quantity(&tight, "seal.clearance").value, quantity(&wide, "seal.clearance").value);
        prop_assert!(b.lo() <= a.lo() + 1e-15 && a.hi() <= b.hi() + 1e-15);
        prop_assert!(a.nominal() >= a.lo() && a.nominal() <= a.hi());
        // The worst case is the sum of the half-widths, the likely one no wider.
        let sum = (((small * 1e6).round() + (hub * 1e6).round()) * 1e-6) * 0.0254;
        prop_assert!((0.5 * (a.hi() - a.lo()) - sum).abs() <= 1e-12);
        prop_assert!(a.rss().half_width <= sum + 1e-12);
        let worst = |db: &Db| findings(db).iter().map(|f| f.level).max();
        prop_assert!(worst(&tight) <= worst(&wide));
    }
}
