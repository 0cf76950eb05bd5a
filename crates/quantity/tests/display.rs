//! How values are shown, and that what is shown can be read back.

use cutwater_quantity::{
    KINDS, Kind, Resolution, UnitSystem, display, display_range, format_in, number, parse_unit,
    preferred_unit, unit, unit_for,
};
use proptest::prelude::*;

fn si(value: f64, name: &str) -> f64 {
    unit(name).unwrap().to_si(value)
}

#[test]
fn as_the_trade_writes_it() {
    use UnitSystem::*;
    for (value, name, kind, system, want) in [
        (152.34, "psi", Kind::Pressure, Us, "152.3 psi"),
        (1256.2, "gpm", Kind::Flow, Us, "1256 gpm"),
        (144.26, "gpm", Kind::Flow, Us, "144.3 gpm"),
        (250.0, "igpm", Kind::Flow, Imperial, "250.0 igpm"),
        (0.005, "in", Kind::Length, Us, "0.0050 in"),
        (5.502, "in", Kind::Length, Us, "5.5020 in"),
        (9.25, "in", Kind::Length, Us, "9.2500 in"),
        (300.0, "ft", Kind::Length, Us, "300.00 ft"),
        (7.5, "ft", Kind::Length, Us, "7.50 ft"),
        (4.0, "ft", Kind::Length, Us, "4.00 ft"),
        (24.3, "ft", Kind::Head, Us, "24.3 ft"),
        (3300.4, "rpm", Kind::RotationalSpeed, Us, "3300 rpm"),
        (170.2, "hp", Kind::Power, Us, "170.2 hp"),
        (62.0, "degF", Kind::Temperature, Us, "62.0 °F"),
        (-0.04, "degC", Kind::Temperature, Metric, "-0.040 °C"),
        (11.0, "inHg", Kind::Vacuum, Us, "11.0 inHg"),
        (14.696, "psia", Kind::AbsolutePressure, Us, "14.70 psia"),
        (29.92, "inHg", Kind::BarometricPressure, Us, "29.92 inHg"),
        (1050.2, "kPa", Kind::Pressure, Metric, "1050 kPa"),
        (0.127, "mm", Kind::Length, Metric, "0.127 mm"),
        (3.2, "oz*in", Kind::Unbalance, Us, "3.20 oz·in"),
        (10.0, "Mpsi", Kind::Stress, Us, "10000 ksi"),
        (62.36, "lb/ft^3", Kind::Density, Us, "62.36 lb/ft³"),
        (15.7, "m", Kind::Number, Us, "15.70"),
        (81.5, "%", Kind::Ratio, Us, "81.5 %"),
        (0.00002, "in", Kind::Length, Us, "0.000020 in"),
        (34.0, "m", Kind::Count, Us, "34"),
    ] {
        assert_eq!(display(si(value, name), kind, system).to_string(), want);
    }
    let twist = Kind::Other(
        Kind::Temperature
            .dimension()
            .div(Kind::Time.dimension())
            .unwrap(),
    );
    assert_eq!(display(2.5, twist, Us).to_string(), "2.500 K/s");
}

#[test]
fn zero_and_what_is_not_a_number() {
    for kind in KINDS {
        let zero = display(
            if kind.kind == Kind::Temperature {
                273.15
            } else {
                -0.0
            },
            kind.kind,
            UnitSystem::Metric,
        );
        assert!(!zero.number.contains('-'), "{zero}");
    }
    assert_eq!(number(-1e-300, Resolution::Decimals(2)), "-1.000e-300");
    assert_eq!(number(f64::NAN, Resolution::Decimals(2)), "no value");
    assert_eq!(
        number(f64::INFINITY, Resolution::Significant(3)),
        "no value"
    );
    assert_eq!(number(9.9996, Resolution::Significant(4)), "10.00");
    assert_eq!(number(0.099996, Resolution::Decimals(1)), "0.10");
}

#[test]
fn formats_in_the_unit_as_written() {
    let unit = parse_unit("lb/(ft*min)").unwrap();
    assert_eq!(format_in(unit.to_si(12.3456), &unit, 3), "12.3 lb/(ft·min)");
    let fahrenheit = parse_unit("degF").unwrap();
    assert_eq!(
        format_in(fahrenheit.to_si(62.04), &fahrenheit, 3),
        "62.0 °F"
    );
}

#[test]
fn ranges_share_a_unit_and_differ() {
    let (low, high) = (si(0.003, "in"), si(0.007, "in"));
    assert_eq!(
        display_range(low, high, Kind::Length, UnitSystem::Us).to_string(),
        "0.0030 .. 0.0070 in"
    );
    let (low, high) = (si(5.50211, "in"), si(5.50213, "in"));
    assert_eq!(
        display_range(low, high, Kind::Length, UnitSystem::Us).to_string(),
        "5.50211 .. 5.50213 in"
    );
    let (low, high) = (si(-1.0, "ft"), si(20.0, "ft"));
    assert_eq!(
        display_range(low, high, Kind::Length, UnitSystem::Us).to_string(),
        "-1.00 .. 20.00 ft"
    );
    let same = si(100.0, "psi");
    assert_eq!(
        display_range(same, same, Kind::Pressure, UnitSystem::Us).to_string(),
        "100.0 .. 100.0 psi"
    );
}

#[test]
fn every_named_kind_is_shown_in_a_unit_it_accepts() {
    for info in KINDS {
        for system in [UnitSystem::Us, UnitSystem::Imperial, UnitSystem::Metric] {
            match preferred_unit(info.kind, system) {
                None => assert!(info.kind.is_dimensionless(), "{} has no unit", info.name),
                Some(unit) => assert!(
                    info.kind.accepts(unit.kind).is_yes(),
                    "{} is shown in {}",
                    info.name,
                    unit.ascii
                ),
            }
            for size in [1e-9, 1e-6, 1e-3, 1.0, 1e3, 1e6, 1e9, 1e12] {
                if let Some(unit) = unit_for(size, info.kind, system) {
                    assert!(info.kind.accepts(unit.kind).is_yes());
                }
            }
        }
    }
}

fn half_last_place(text: &str) -> f64 {
    let (mantissa, exponent) = text.split_once('e').unwrap_or((text, "0"));
    let places = mantissa.split_once('.').map_or(0, |(_, f)| f.len());
    let exponent: i32 = exponent.parse().unwrap();
    0.5 * 10f64.powi(exponent - i32::try_from(places).unwrap())
}

proptest! {
    #[test]
    fn shown_text_reads_back_within_half_a_place(
        mantissa in -10.0..10.0f64,
        exponent in -12i32..14,
        which in 0..KINDS.len(),
        system in prop::sample::select(vec![UnitSystem::Us, UnitSystem::Imperial, UnitSystem::Metric]),
    ) {
        let value = mantissa * 10f64.powi(exponent);
        let kind = KINDS[which].kind;
        let shown = display(value, kind, system);
        let read: f64 = shown.number.parse().unwrap();
        let (back, in_unit) = if shown.unit.is_empty() {
            (read, value)
        } else {
            let unit = parse_unit(&shown.unit).unwrap();
            prop_assert!(unit.accepted_by(kind).is_yes());
            (read, unit.from_si(value))
        };
        let slack = half_last_place(&shown.number) * (1.0 + 1e-9) + in_unit.abs() * 1e-15;
        prop_assert!((back - in_unit).abs() <= slack, "{} for {}", shown, in_unit);
        prop_assert!(in_unit == 0.0 || read != 0.0, "{} for {}", shown, in_unit);
        let size = in_unit.abs();
        if (1e-7..1e12).contains(&size) {
            prop_assert!(!shown.number.contains('e'), "{}", shown);
        }
    }

    #[test]
    fn range_ends_read_back_in_order(a in -1e4..1e4f64, width in 0.0..10.0f64) {
        let b = a + width;
        let shown = display_range(a, b, Kind::Pressure, UnitSystem::Metric);
        let (low, high): (f64, f64) = (shown.low.parse().unwrap(), shown.high.parse().unwrap());
        prop_assert!(low <= high);
        if width > 1e-6 { prop_assert!(low < high, "{}", shown); }
        prop_assert!((low * 1e3 - a).abs() <= half_last_place(&shown.low) * 1e3 * (1.0 + 1e-9) + 1e-10);
    }
}
