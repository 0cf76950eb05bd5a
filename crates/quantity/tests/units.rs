//! The table of units against outside sources, and the laws it must keep.

use std::collections::HashMap;

use cutwater_quantity::{
    Accept, CompoundUnit, Gallon, Kind, LikelySlip, SIGNS, UnitError, nearest, parse_unit, unit,
    units, units_for,
};
use serde_json::Value;

fn read(text: &str) -> CompoundUnit {
    parse_unit(text).unwrap_or_else(|error| panic!("{text}: {error}"))
}

/// The reference file's names for units, in our spelling.
fn our_name(quantity: &str, name: &str) -> String {
    match (quantity, name) {
        // The file counts a turn as one cycle there; here a turn is an angle, and Hz counts events.
        ("speed_of_rotation", "Hz") => "rev/s".into(),
        ("temperature", "F") => "degF".into(),
        ("temperature", "C") => "degC".into(),
        ("temperature", "R") => "degR".into(),
        ("temperature_difference", "F_diff") => "delta_degF".into(),
        ("temperature_difference", "C_diff") => "delta_degC".into(),
        ("temperature_difference", "K_diff") => "K".into(),
        ("temperature_difference", "R_diff") => "degR".into(),
        (_, "gpm_us") => "gpm".into(),
        (_, "gpm_imp") => "igpm".into(),
        (_, "gal_us") => "gal".into(),
        (_, "gal_imp") => "impgal".into(),
        (_, "hp_metric") => "PS".into(),
        (_, "Btu_IT/(lb.F_diff)") => "Btu/(lb*delta_degF)".into(),
        (_, "Btu_IT") => "Btu".into(),
        (_, "lb/gal_us") => "lb/gal".into(),
        (_, other) => other.replace('.', "*").replace("/s2", "/s^2"),
    }
}

/// Source: pint 0.25.3 with 40-digit decimals; SI Brochure, NIST SP 811 (see the file).
#[test]
fn every_reference_conversion() {
    let file: Value = serde_json::from_str(include_str!("data/unit_conversions.json")).unwrap();
    let relative = file["tolerance_rel"].as_f64().unwrap();
    let cases = file["cases"].as_array().unwrap();
    let mut wrong = Vec::new();
    for case in cases {
        let inputs = &case["inputs"];
        let quantity = inputs["quantity"].as_str().unwrap();
        let from = read(&our_name(quantity, inputs["from"].as_str().unwrap()));
        let to = read(&our_name(quantity, inputs["to"].as_str().unwrap()));
        assert!(
            from.kind().comparable(to.kind()).is_ok(),
            "{quantity}: {from} and {to} are not of one kind"
        );
        let value = inputs["value"].as_f64().unwrap();
        let got = to.from_si(from.to_si(value));
        let want = case["expected"]["value"].as_f64().unwrap();
        // The file: temperatures on a scale also within 1e-10 degree.
        let absolute = if quantity == "temperature" {
            1e-10
        } else {
            0.0
        };
        if (got - want).abs() > (relative * want.abs()).max(absolute) {
            wrong.push(format!("{}: {got} instead of {want}", case["id"]));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert_eq!(cases.len(), 712);
}

/// Source: the same file's definitions of one unit in SI.
#[test]
fn every_reference_definition() {
    let file: Value = serde_json::from_str(include_str!("data/unit_conversions.json")).unwrap();
    let mut seen = 0;
    for (quantity, table) in file["definitions_si"].as_object().unwrap() {
        for (name, size) in table.as_object().unwrap() {
            let want: f64 = size.as_str().unwrap().parse().unwrap();
            let got = read(&our_name(quantity, name)).factor();
            assert!(
                (got - want).abs() <= 1e-14 * want,
                "{quantity} {name}: {got} instead of {want}"
            );
            seen += 1;
        }
    }
    assert!(seen > 100, "{seen}");
}

/// Source: the `uom` crate's factors (an independent table). Units it defines otherwise are left out: its Btu is the
/// ISO-rounded one of 1055.056 J and its inHg and ftH2O are rounded.
/// Many of its factors carry seven digits, hence the tolerance.
#[test]
fn agrees_with_uom() {
    use uom::si::f64::*;
    use uom::si::*;
    macro_rules! check {
        ($($quantity:ident, $module:ident { $($theirs:ident = $ours:literal),* $(,)? })*) => {
            $($({
                let want = $quantity::new::<$module::$theirs>(1.0).value;
                let got = read($ours).factor();
                assert!((got - want).abs() <= 5e-7 * want.abs(), "{}: {got} instead of {want}", $ours);
            })*)*
        };
    }
    check! {
        Length, length { inch = "in", foot = "ft", yard = "yd", mile = "mi", mil = "thou", micrometer = "µm", millimeter = "mm", centimeter = "cm" }
        Area, area { square_inch = "in²", square_foot = "ft²", square_millimeter = "mm²", square_centimeter = "cm²" }
        Volume, volume { gallon = "gal", gallon_imperial = "impgal", quart_liquid = "qt", liter = "L", cubic_inch = "in³", cubic_foot = "ft³", milliliter = "mL" }
        Mass, mass { pound = "lb", ounce = "oz", gram = "g", grain = "gr", slug = "slug", megagram = "t" }
        Time, time { minute = "min", hour = "h", day = "day", millisecond = "ms" }
        Velocity, velocity { foot_per_second = "ft/s", mile_per_hour = "mph", kilometer_per_hour = "km/h", inch_per_second = "in/s" }
        Acceleration, acceleration { standard_gravity = "g0", foot_per_second_squared = "ft/s²" }
        Angle, angle { degree = "°", revolution = "rev", minute = "arcmin" }
        AngularVelocity, angular_velocity { revolution_per_minute = "rpm", degree_per_second = "deg/s", revolution_per_second = "rev/s" }
        VolumeRate, volume_rate { gallon_per_minute = "gpm", gallon_imperial_per_second = "impgal/s", liter_per_minute = "L/min", liter_per_second = "L/s", cubic_meter_per_hour = "m³/h", cubic_foot_per_second = "ft³/s", cubic_foot_per_minute = "cfm" }
        Pressure, pressure { psi = "psi", kilopascal = "kPa", bar = "bar", megapascal = "MPa", millibar = "mbar", atmosphere = "atm", kilogram_force_per_square_centimeter = "kgf/cm²", millimeter_of_mercury = "mmHg", torr = "torr" }
        Force, force { pound_force = "lbf", kilogram_force = "kgf", kilonewton = "kN" }
        Torque, torque { pound_force_foot = "lbf*ft", pound_force_inch = "lbf*in", newton_meter = "N*m", kilogram_force_meter = "kgf*m" }
        Energy, energy { kilojoule = "kJ", kilowatt_hour = "kWh", foot_pound = "ft*lbf" }
        Power, power { horsepower = "hp", horsepower_metric = "PS", kilowatt = "kW", foot_pound_per_second = "ft*lbf/s" }
        MassDensity, mass_density { pound_per_cubic_foot = "lb/ft³", pound_per_cubic_inch = "lb/in³", gram_per_cubic_centimeter = "g/cm³", pound_per_gallon = "lb/gal" }
        DynamicViscosity, dynamic_viscosity { centipoise = "cP", pascal_second = "Pa·s" }
        KinematicViscosity, kinematic_viscosity { centistokes = "cSt", square_meter_per_second = "m²/s" }
    }
    let boiling =
        ThermodynamicTemperature::new::<thermodynamic_temperature::degree_fahrenheit>(212.0);
    assert!((read("°F").to_si(212.0) - boiling.value).abs() < 1e-9);
}

/// Fixed points that need no library. Sources beside them.
#[test]
fn well_known_points() {
    // SI Brochure and the definitions of the scales.
    assert!((read("degF").to_si(32.0) - 273.15).abs() < 1e-10);
    assert!((read("degC").from_si(read("degF").to_si(-40.0)) + 40.0).abs() < 1e-10);
    // 231 in³ to the US gallon; NIST Handbook 44.
    assert!((read("in³").from_si(read("gal").to_si(1.0)) - 231.0).abs() < 1e-10);
    // Conventional water at 0.3048 × 9806.65 Pa per foot: 2.306 658 7 ft per psi (the reference cases' notes).
    assert!((read("ftH2O").from_si(read("psi").to_si(1.0)) - 2.306_658_7).abs() < 5e-8);
    // The fireground formula's own arithmetic: C = 15.5, 150 gpm, 100 ft give 15.5 × 1.5² = 34.875 psi.
    let c = read("psi/((100gpm)²·100ft)").to_si(15.5);
    let loss = c * read("gpm").to_si(150.0).powi(2) * read("ft").to_si(100.0);
    assert!((read("psi").from_si(loss) - 34.875).abs() < 1e-9);
    // 5.6 gpm/√psi is 80.7 L/min/√bar (conversion factor 14.4; ISO 6182-1 and NFPA 13, from memory).
    let k = read("L/min/bar^0.5").from_si(read("gpm/psi^0.5").to_si(5.6));
    assert!((k - 80.7).abs() < 0.1, "{k}");
}

#[test]
fn every_spelling_has_one_unit() {
    let mut owner: HashMap<String, &str> = HashMap::new();
    for entry in units() {
        for spelling in entry.spellings() {
            if let Some(other) = owner.insert(spelling.to_owned(), entry.ascii) {
                assert_eq!(other, entry.ascii, "`{spelling}` belongs to two units");
            }
            let found = unit(spelling).unwrap_or_else(|| panic!("`{spelling}` is not found"));
            assert_eq!(found.ascii, entry.ascii, "`{spelling}`");
            let parsed = read(spelling);
            assert_eq!(
                parsed.unit().map(|u| u.ascii),
                Some(entry.ascii),
                "`{spelling}`"
            );
        }
        for word in entry.also_written {
            assert!(unit(word).is_none(), "`{word}` is said not to be accepted");
            assert!(
                nearest(word).contains(&entry.ascii),
                "`{word}` should suggest `{}`, suggests {:?}",
                entry.ascii,
                nearest(word)
            );
        }
    }
}

#[test]
fn every_unit_is_described() {
    for entry in units() {
        for text in [
            entry.doc,
            entry.source,
            entry.name,
            entry.plural,
            entry.symbol,
            entry.ascii,
        ] {
            assert!(!text.trim().is_empty(), "{entry:?}");
        }
        assert!(entry.doc.ends_with('.'), "{}", entry.doc);
        assert!(entry.ascii.is_ascii(), "{}", entry.ascii);
        assert!(
            entry.factor.is_finite() && entry.factor > 0.0,
            "{}",
            entry.ascii
        );
        assert!(
            entry.offset == 0.0 || entry.kind == Kind::Temperature,
            "{}",
            entry.ascii
        );
        assert!(
            units_for(entry.kind).any(|u| u.ascii == entry.ascii),
            "{} is not offered for its own kind",
            entry.ascii
        );
        let holds_gallon = entry.doc.contains("allon") || entry.doc.contains("gpm");
        if entry.gallon.is_some() {
            assert!(holds_gallon, "{}", entry.ascii);
        }
    }
}

/// A spelling made of several units must mean what its parts mean, so that writing it with extra parentheses is no change.
#[test]
fn compound_spellings_mean_what_their_parts_mean() {
    let mut checked = 0;
    for entry in units() {
        for spelling in entry.spellings() {
            let plain = spelling
                .chars()
                .all(|c| c.is_alphanumeric() || "_%°µΔ²³".contains(c));
            // `in2` and the like are plain names, the rest is a product or a power.
            if plain && !spelling.contains(['²', '³']) {
                continue;
            }
            // mPa alone is not a unit on purpose: it is one shift key away from MPa.
            if spelling == "mPa*s" {
                continue;
            }
            // Parentheses keep the text from being found whole in the table.
            let parts = read(&format!("1*({spelling})"));
            let off = (parts.factor() / entry.factor - 1.0).abs();
            assert!(off < 4e-15, "`{spelling}`: {off:e}");
            assert_eq!(
                parts.kind().dimension(),
                entry.kind.dimension(),
                "`{spelling}`"
            );
            assert!(
                entry.kind.accepts(parts.kind()).is_yes(),
                "`{spelling}` is {:?}",
                parts.kind()
            );
            assert_eq!(parts.gallon(), entry.gallon, "`{spelling}`");
            checked += 1;
        }
    }
    assert!(checked > 80, "{checked}");
}

#[test]
fn signs_are_brought_to_one_form() {
    for (a, b) in [
        ("\u{B5}m", "\u{3BC}m"),
        ("°F", "℉"),
        ("degC", "℃"),
        ("Δ°F", "\u{2206}°F"),
        ("oz·in", "oz*in"),
        ("oz⋅in", "oz × in"),
        ("lb/ft³", "lb / ft ^ 3"),
        ("1/K", "K⁻¹"),
        ("ftH₂O", "ftH2O"),
        ("m·s⁻¹", "m/s"),
        ("psi/100ft", "psi / 100 ft"),
        ("gpm/psi^0.5", "gpm/psi^(1/2)"),
    ] {
        let (a, b) = (read(a), read(b));
        assert!((a.factor() / b.factor() - 1.0).abs() < 1e-15, "{a} {b}");
        assert!(a.kind().comparable(b.kind()).is_ok(), "{a} {b}");
    }
    for (sign, plain) in SIGNS {
        assert!(!sign.is_ascii() && plain.is_ascii());
    }
}

#[test]
fn compounds_get_the_kind_their_product_has() {
    for (text, kind) in [
        ("ft*lbf/min", Kind::Power),
        ("gal/h", Kind::Flow),
        ("impgal/s", Kind::Flow),
        ("rev/h", Kind::RotationalSpeed),
        ("deg/min", Kind::RotationalSpeed),
        ("in/(in*degF)", Kind::Expansion),
        ("oz*ft", Kind::Unbalance),
        ("kN/mm^2", Kind::Pressure),
        ("1/min", Kind::Frequency),
        ("kg/L", Kind::Density),
        ("hp*min", Kind::Energy),
        (
            "degF/h",
            Kind::Other(
                Kind::TemperatureDifference
                    .dimension()
                    .div(Kind::Time.dimension())
                    .unwrap(),
            ),
        ),
    ] {
        assert_eq!(read(text).kind(), kind, "{text}");
    }
    assert_eq!(read("ft * lbf / min").symbol(), "ft·lbf/min");
    assert_eq!(read("lb/(ft*min)").symbol(), "lb/(ft·min)");
    assert_eq!(read("lb/(ft*min)").ascii(), "lb/(ft*min)");
    assert_eq!(read("(degF)"), read("degF"));
}

/// The text a built unit shows is itself a unit of the same size.
#[test]
fn shown_text_of_a_compound_reads_back() {
    for text in [
        "a/b/c",
        "a/(b*c)",
        "(a*b)^2",
        "a^-1",
        "(100a)^2/b",
        "a^(3/2)",
        "(a/b)/(c/d)",
        "2a*3b",
        "a*(b/c)",
        "(1/a)^2",
    ] {
        let text: String = text
            .chars()
            .map(|c| match c {
                'a' => "lb".to_owned(),
                'b' => "ft".to_owned(),
                'c' => "h".to_owned(),
                'd' => "gal".to_owned(),
                other => other.to_string(),
            })
            .collect();
        let first = read(&text);
        for again in [read(first.symbol()), read(first.ascii())] {
            assert!(
                (again.factor() / first.factor() - 1.0).abs() < 1e-14,
                "{text} became {first}"
            );
            assert_eq!(again.kind(), first.kind(), "{text} became {first}");
        }
    }
}

#[test]
fn gallons_are_marked() {
    assert_eq!(read("gpm").gallon(), Some(Gallon::Us));
    assert_eq!(read("igpm").gallon(), Some(Gallon::Imperial));
    assert_eq!(read("impgal/day").gallon(), Some(Gallon::Imperial));
    assert_eq!(read("gal/impgal").gallon(), Some(Gallon::Mixed));
    assert_eq!(read("L/min").gallon(), None);
}

#[test]
fn unknown_units_say_where_and_what_is_near() {
    let error = parse_unit("lb / (ft * mni)").unwrap_err();
    let UnitError::Unknown {
        name,
        offset,
        len,
        nearest,
    } = error
    else {
        panic!("{error:?}")
    };
    assert_eq!((name.as_str(), offset, len), ("mni", 11, 3));
    assert!(
        nearest
            .iter()
            .any(|unit| ["mi", "mil", "min"].contains(unit)),
        "{nearest:?}"
    );

    for (written, meant) in [
        ("PSI", "psi"),
        ("GPM", "gpm"),
        ("lbs", "lb"),
        ("inches", "in"),
        ("feet", "ft"),
        ("F", "degF"),
        ("RPM", "rpm"),
        ("hours", "h"),
        ("KW", "kW"),
    ] {
        assert_eq!(nearest_of(written).first(), Some(&meant), "{written}");
    }
    assert!(nearest_of("zzzzzz").is_empty());
    // Positions count bytes of the text as given, also behind signs of several bytes.
    let error = parse_unit("µm·°F·xyzzy").unwrap_err();
    assert_eq!(error.place(), ("µm·°F·".len(), 5));
}

fn nearest_of(text: &str) -> Vec<&'static str> {
    match parse_unit(text) {
        Err(UnitError::Unknown { nearest, .. }) => nearest,
        other => panic!("{text}: {other:?}"),
    }
}

#[test]
fn broken_text_is_refused_in_place() {
    for (text, offset) in [
        ("", 0),
        ("   ", 3),
        ("gal min", 4),
        ("k Pa", 0),
        ("lb/", 3),
        ("*lb", 0),
        ("lb//ft", 3),
        ("(lb", 3),
        ("lb)", 2),
        ("lb^", 3),
        ("lb^x", 3),
        ("lb^0", 3),
        ("lb^99", 0),
        ("100", 0),
        ("0*lb", 0),
        ("lb$", 2),
        ("lb^(1/7)", 0),
        ("lb^(1/", 6),
        ("psi-g", 3),
    ] {
        let error = parse_unit(text).expect_err(text);
        assert_eq!(error.place().0, offset, "{text}: {error}");
        assert!(!error.to_string().is_empty());
    }
    let deep = "(".repeat(90) + "lb" + &")".repeat(90);
    assert!(matches!(parse_unit(&deep), Err(UnitError::Syntax { .. })));
    assert!(parse_unit(&"lb*".repeat(1000)).is_err());
    assert!(parse_unit(&format!("{}*lb", "9".repeat(190))).is_ok());
    assert!(parse_unit("(999999999999999999999999999999999999999999999999999999lb)^9").is_err());
}

proptest::proptest! {
    #[test]
    fn no_text_makes_the_reader_panic(text in "[a-zA-Z0-9µ°Δ·×²³⁻*/^(). %_-]{0,30}") {
        match parse_unit(&text) {
            Ok(found) => {
                proptest::prop_assert!(found.factor().is_finite() && found.factor() > 0.0);
                let again = parse_unit(found.ascii());
                proptest::prop_assert!(again.is_ok(), "{} became {}", text, found.ascii());
            }
            Err(error) => {
                let (offset, len) = error.place();
                proptest::prop_assert!(text.get(offset..offset + len).is_some());
            }
        }
    }

    #[test]
    fn any_text_is_survived(text in ".{0,60}") {
        let _ = parse_unit(&text);
    }
}

#[test]
fn slips_offer_the_unit_meant() {
    for (expected, written, slip, offer) in [
        (
            Kind::AbsolutePressure,
            "psi",
            LikelySlip::ReferenceUnstated,
            Some("psia"),
        ),
        (
            Kind::GaugePressure,
            "psia",
            LikelySlip::AbsoluteForGauge,
            Some("psig"),
        ),
        (
            Kind::Pressure,
            "psig",
            LikelySlip::ReadingForDifference,
            Some("psi"),
        ),
        (
            Kind::Pressure,
            "ft",
            LikelySlip::LengthForPressure,
            Some("ftH2O"),
        ),
        (
            Kind::GaugePressure,
            "ft",
            LikelySlip::LengthForPressure,
            Some("ftH2O"),
        ),
        (Kind::Head, "psi", LikelySlip::PressureForLength, None),
        (
            Kind::Torque,
            "lb*ft",
            LikelySlip::UnbalanceForTorque,
            Some("lbf*ft"),
        ),
        (Kind::Torque, "J", LikelySlip::EnergyForTorque, None),
        (
            Kind::Unbalance,
            "lbf*in",
            LikelySlip::TorqueForUnbalance,
            Some("lb*in"),
        ),
        (
            Kind::Unbalance,
            "oz",
            LikelySlip::MassForUnbalance,
            Some("oz*in"),
        ),
        (Kind::Force, "lb", LikelySlip::MassForForce, Some("lbf")),
        (Kind::Mass, "lbf", LikelySlip::ForceForMass, Some("lb")),
        (
            Kind::RotationalSpeed,
            "Hz",
            LikelySlip::FrequencyForRotation,
            Some("rev/s"),
        ),
        (
            Kind::TemperatureDifference,
            "degF",
            LikelySlip::TemperatureForDifference,
            Some("delta_degF"),
        ),
        (
            Kind::Temperature,
            "delta_degC",
            LikelySlip::DifferenceForTemperature,
            Some("degC"),
        ),
        (Kind::Flow, "gal", LikelySlip::VolumeForFlow, Some("gpm")),
        (
            Kind::Pressure,
            "lb/in^2",
            LikelySlip::MassForForceInPressure,
            Some("psi"),
        ),
        (
            Kind::KinematicViscosity,
            "cP",
            LikelySlip::DynamicForKinematic,
            None,
        ),
        (Kind::Ratio, "psi", LikelySlip::UnitNotWanted, None),
        (Kind::Count, "%", LikelySlip::RatioForCount, None),
    ] {
        match read(written).accepted_by(expected) {
            Accept::No(mismatch) => {
                assert_eq!(mismatch.slip, Some(slip), "{written} for {expected:?}");
                assert_eq!(mismatch.replacement, offer, "{written} for {expected:?}");
                if let Some(offer) = offer {
                    assert!(
                        read(offer).accepted_by(expected).is_yes(),
                        "{offer} for {expected:?}"
                    );
                    assert!(mismatch.to_string().contains(offer));
                }
            }
            yes => panic!("{written} for {expected:?}: {yes:?}"),
        }
    }
}

/// Whatever is offered in place of a refused unit must be accepted there.
#[test]
fn no_offer_leads_to_another_refusal() {
    let mut offers = 0;
    for info in cutwater_quantity::KINDS {
        for entry in units() {
            if let Accept::No(mismatch) = CompoundUnit::from(entry).accepted_by(info.kind)
                && let Some(offer) = mismatch.replacement
            {
                assert!(
                    read(offer).accepted_by(info.kind).is_yes(),
                    "{} for {}: offers {offer}",
                    entry.ascii,
                    info.name
                );
                offers += 1;
            }
        }
    }
    assert!(offers > 40, "{offers}");
}

#[test]
fn instruments_read_plain_units() {
    for (expected, written) in [
        (Kind::GaugePressure, "psi"),
        (Kind::GaugePressure, "kPa"),
        (Kind::Vacuum, "inHg"),
        (Kind::BarometricPressure, "inHg"),
        (Kind::Stress, "MPa"),
        (Kind::Torque, "N*m"),
        (Kind::Energy, "ft*lbf"),
        (Kind::Head, "ft"),
        (Kind::Temperature, "K"),
        (Kind::TemperatureDifference, "K"),
        (Kind::Ratio, "%"),
    ] {
        assert!(
            read(written).accepted_by(expected).is_yes(),
            "{written} for {expected:?}"
        );
    }
}
