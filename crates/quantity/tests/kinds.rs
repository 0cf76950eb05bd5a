//! Laws of the table of kinds, and the sums and products a pump engineer expects.

use std::collections::HashSet;

use cutwater_quantity::{Accept, KINDS, Kind, LikelySlip};

fn kinds() -> impl Iterator<Item = Kind> {
    KINDS.iter().map(|info| info.kind)
}

#[test]
fn the_table_is_complete_and_consistent() {
    let mut names = HashSet::new();
    for (index, info) in KINDS.iter().enumerate() {
        assert!(names.insert(info.name), "{} stands twice", info.name);
        assert!(info.doc.ends_with('.'), "{}", info.name);
        assert_eq!(
            info.kind.info().map(|i| i.name),
            Some(info.name),
            "entry {index}"
        );
        assert_eq!(Kind::by_name(info.name), Some(info.kind));
        if let Some(difference) = info.difference {
            assert_eq!(difference.dimension(), info.dimension, "{}", info.name);
            assert!(!difference.is_point(), "{}", info.name);
        }
        let plain = Kind::of_dimension(info.dimension);
        assert_eq!(plain.dimension(), info.dimension);
        assert!(
            !plain.is_point(),
            "a product is never a point: {}",
            info.name
        );
        assert!(!matches!(plain, Kind::Other(_)));
    }
}

#[test]
fn points_and_differences_form_a_closed_algebra() {
    for kind in kinds() {
        match kind.difference() {
            Some(step) => {
                assert_eq!(kind.sub(kind), Ok(step), "{kind:?}");
                let moved = kind.add(step).unwrap();
                assert_eq!(step.add(kind), Ok(moved), "{kind:?}");
                assert!(kind.accepts(moved).is_yes(), "{kind:?}");
                assert!(kind.accepts(kind.sub(step).unwrap()).is_yes(), "{kind:?}");
                assert!(kind.add(kind).is_err(), "point + point: {kind:?}");
                assert!(step.sub(kind).is_err(), "difference - point: {kind:?}");
            }
            None => {
                assert_eq!(kind.add(kind), Ok(kind), "{kind:?}");
                assert_eq!(kind.sub(kind), Ok(kind), "{kind:?}");
            }
        }
    }
}

#[test]
fn allowed_operations_keep_the_dimension() {
    for a in kinds() {
        for b in kinds() {
            if let Ok(kind) = a.add(b) {
                assert_eq!(kind.dimension(), a.dimension());
                assert_eq!(kind.dimension(), b.dimension());
                assert_eq!(
                    b.add(a).map(Kind::dimension),
                    Ok(kind.dimension()),
                    "{a:?} {b:?}"
                );
            } else {
                assert!(b.add(a).is_err(), "{a:?} + {b:?} is refused one way only");
            }
            if let Ok(kind) = a.sub(b) {
                assert_eq!(kind.dimension(), a.dimension());
                assert_eq!(kind.dimension(), b.dimension());
            }
            if a.accepts(b).is_yes() {
                assert_eq!(a.dimension(), b.dimension(), "{a:?} accepts {b:?}");
            }
            assert_eq!(a.comparable(b).is_ok(), b.comparable(a).is_ok());
            if a == Kind::Temperature || b == Kind::Temperature {
                assert!(a.mul(b).is_err() && a.div(b).is_err());
                continue;
            }
            // Torque and power bend the rule by one angle, on purpose: T·ω is power, T·φ is energy.
            let turning = |k: Kind| matches!(k, Kind::Angle | Kind::RotationalSpeed);
            let working = |k: Kind| {
                matches!(
                    k,
                    Kind::Torque | Kind::ForceLength | Kind::Power | Kind::Energy
                )
            };
            if (turning(a) && working(b))
                || (working(a) && turning(b))
                || (a.dimension() == Kind::Power.dimension() && b == Kind::Torque)
                || (a == Kind::Energy && b == Kind::Torque)
            {
                continue;
            }
            let product = a.mul(b).unwrap();
            assert_eq!(
                Some(product.dimension()),
                a.dimension().mul(b.dimension()),
                "{a:?} {b:?}"
            );
            let quotient = a.div(b).unwrap();
            assert_eq!(
                Some(quotient.dimension()),
                a.dimension().div(b.dimension()),
                "{a:?} {b:?}"
            );
        }
    }
}

#[test]
fn products_of_the_trade() {
    use Kind::*;
    for (product, kind) in [
        (Pressure.mul(Area), Force),
        (GaugePressure.mul(Area), Force),
        (Pressure.mul(Flow), Power),
        (Torque.mul(RotationalSpeed), Power),
        (Power.div(RotationalSpeed), Torque),
        (Power.div(Torque), RotationalSpeed),
        (Force.mul(Length), ForceLength),
        (Torque.div(Length), Force),
        (Flow.div(Area), Speed),
        (Mass.mul(Length), Unbalance),
        (Unbalance.div(Mass), Length),
        (Mass.div(Volume), Density),
        (DynamicViscosity.div(Density), KinematicViscosity),
        (Angle.div(Time), RotationalSpeed),
        (RotationalSpeed.div(Angle), Frequency),
        (Count.mul(Frequency), Frequency),
        (Head.mul(Ratio), Head),
        (Ratio.mul(GaugePressure), Pressure),
        (AbsolutePressure.div(AbsolutePressure), Number),
        (Expansion.mul(TemperatureDifference), Number),
        (Expansion.mul(Kelvin), Number),
        (Pressure.div(Length), PressureGradient),
        (Area.pow(1, 2), Length),
        (Length.pow(3, 1), Volume),
        (Ratio.pow(2, 1), Number),
    ] {
        assert_eq!(product, Ok(kind));
    }
    let root = Pressure.pow(1, 2).unwrap();
    assert_eq!(Flow.div(root), Ok(FlowCoefficient));
    assert_eq!(
        Flow.div(Head.pow(1, 2).unwrap())
            .map(|k| k.name().into_owned()),
        Ok("quantity of length^(5/2)/time".into())
    );
}

#[test]
fn net_pressure_at_draft() {
    use Kind::*;
    assert_eq!(GaugePressure.add(Vacuum), Ok(Pressure));
    assert_eq!(GaugePressure.sub(GaugePressure), Ok(Pressure));
    assert_eq!(
        GaugePressure.sub(Vacuum).unwrap_err().slip,
        Some(LikelySlip::VacuumSubtracted)
    );
    assert_eq!(GaugePressure.add(BarometricPressure), Ok(AbsolutePressure));
    assert_eq!(BarometricPressure.sub(Vacuum), Ok(AbsolutePressure));
    assert_eq!(AbsolutePressure.sub(AbsolutePressure), Ok(Pressure));
    assert_eq!(
        AbsolutePressure.sub(GaugePressure).unwrap_err().slip,
        Some(LikelySlip::MixedReferences)
    );
    assert_eq!(
        GaugePressure.add(GaugePressure).unwrap_err().slip,
        Some(LikelySlip::PointsAdded)
    );
    assert_eq!(Vacuum.neg(), Ok(GaugePressure));
}

#[test]
fn temperatures() {
    use Kind::*;
    assert_eq!(Temperature.add(TemperatureDifference), Ok(Temperature));
    assert_eq!(Temperature.add(Kelvin), Ok(Temperature));
    assert_eq!(Temperature.sub(Kelvin), Ok(Temperature));
    assert_eq!(Temperature.sub(Temperature), Ok(TemperatureDifference));
    for refused in [
        Temperature.mul(Number),
        Number.mul(Temperature),
        Temperature.div(Temperature),
        Temperature.pow(2, 1),
        Temperature.neg(),
    ] {
        assert_eq!(
            refused.unwrap_err().slip,
            Some(LikelySlip::ScaledTemperature)
        );
    }
}

#[test]
fn what_must_not_mix() {
    use Kind::*;
    for (a, b) in [
        (Torque, Energy),
        (Head, Pressure),
        (Length, Pressure),
        (RotationalSpeed, Frequency),
        (Pressure, AbsolutePressure),
        (GaugePressure, AbsolutePressure),
        (Temperature, TemperatureDifference),
        (Mass, Force),
        (Flow, MassFlow),
    ] {
        let message = a.comparable(b).unwrap_err();
        assert!(message.slip.is_some(), "{a:?} {b:?}: {message}");
    }
    assert!(Torque.add(Energy).is_err());
    assert!(Head.add(Pressure).is_err());
    assert_eq!(Head.add(Length), Ok(Head));
    assert_eq!(Torque.add(ForceLength), Ok(Torque));
}

#[test]
fn refusals_teach() {
    let Accept::No(area) = Kind::Area.accepts(Kind::Length) else {
        panic!()
    };
    assert_eq!(area.gap.as_deref(), Some("needs one more length"));
    assert!(area.to_string().contains("needs one more length"), "{area}");
    let surface_speed = Kind::Length.mul(Kind::RotationalSpeed).unwrap();
    let Accept::No(speed) = Kind::Speed.accepts(surface_speed) else {
        panic!()
    };
    assert_eq!(speed.slip, Some(LikelySlip::AngleLeft));
    assert!(
        Kind::Speed
            .accepts(surface_speed.div(Kind::Angle).unwrap())
            .is_yes()
    );
    let Accept::No(bare) = Kind::Length.accepts(Kind::Number) else {
        panic!()
    };
    assert_eq!(bare.slip, Some(LikelySlip::UnitMissing));
    // Far beyond anything physical is refused, not wrapped round.
    let mut kind = Kind::Length;
    let refused = (0..10).find_map(|_| match kind.mul(kind) {
        Ok(next) => {
            kind = next;
            None
        }
        Err(mismatch) => Some(mismatch),
    });
    assert_eq!(
        refused.and_then(|m| m.slip),
        Some(LikelySlip::DimensionTooLarge)
    );
    assert_eq!(
        Kind::Length.pow(1, 5).unwrap_err().slip,
        Some(LikelySlip::BrokenExponent)
    );
    assert_eq!(
        Kind::Length.pow(1, 0).unwrap_err().slip,
        Some(LikelySlip::BrokenExponent)
    );
}

#[test]
fn every_refusal_of_like_dimensions_names_the_slip() {
    for a in kinds() {
        for b in kinds() {
            if let Accept::No(mismatch) = a.accepts(b)
                && a.dimension() == b.dimension()
                && !a.is_dimensionless()
            {
                assert!(
                    mismatch.slip.is_some() || a == Kind::Stress || b == Kind::Stress,
                    "{mismatch}"
                );
            }
        }
    }
}
