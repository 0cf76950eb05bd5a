//! Which clearance explains a leak: the inverse of the rings' leakage.

use cutwater_mechanics::leakage::{
    Conditions, FrictionLaw, Gap, Path, Rotation, opened_leakage, opening_for,
};
use proptest::prelude::*;

fn ring(diameter: f64, clearance: f64, length: f64, gaps: usize, pressure: f64) -> Path {
    let gap = Gap {
        diameter,
        clearance,
        length,
        inlet_loss: 0.5,
        exit_loss: 1.0,
        roughness: 0.0,
    };
    Path {
        gaps: vec![gap; gaps],
        turn_loss: vec![0.0; gaps - 1],
        pressure,
    }
}

const AT: Conditions = Conditions {
    density: 999.0,
    kinematic_viscosity: 1.12e-6,
    speed: 314.0,
};

fn leak(rings: &[Path], opening: f64, at: &Conditions) -> f64 {
    opened_leakage(rings, opening, at, FrictionLaw::Blasius, Rotation::BulkFlow).unwrap()
}

fn inverse(rings: &[Path], extra: f64, most: f64, at: &Conditions) -> Option<f64> {
    opening_for(
        rings,
        extra,
        most,
        at,
        FrictionLaw::Blasius,
        Rotation::BulkFlow,
    )
    .unwrap()
}

proptest! {
    /// The clearance comes back from its leak, for plain, stepped and labyrinth rings, narrow and wide, alone and together.
    #[test]
    fn the_clearance_comes_back(
        diameter in 0.05f64..0.3, c in 5e-5f64..5e-4, length in 0.0f64..0.04, gaps in 1usize..8,
        pressure in 2e4f64..2e6, opening in 0.0f64..2e-3, speed in 0.0f64..450.0, second in any::<bool>(),
    ) {
        let mut rings = vec![ring(diameter, c, length, gaps, pressure)];
        if second {
            rings.push(ring(1.3 * diameter, 1.5 * c, 0.5 * length, 1, 0.7 * pressure));
        }
        let at = Conditions { speed, ..AT };
        let extra = leak(&rings, opening, &at) - leak(&rings, 0.0, &at);
        let found = inverse(&rings, extra, 5e-3, &at).expect("wide enough");
        prop_assert!(
            ((c + found) / (c + opening) - 1.0).abs() < 1e-9,
            "{} for {}", c + found, c + opening
        );
    }

    /// More leak needs more clearance, and a wider ring leaks more.
    #[test]
    fn both_ways_rise(
        c in 5e-5f64..5e-4, length in 0.0f64..0.04, gaps in 1usize..8, a in 0.0f64..1e-3, more in 1e-6f64..1e-3,
    ) {
        let rings = [ring(0.14, c, length, gaps, 4e5)];
        let (less, larger) = (leak(&rings, a, &AT), leak(&rings, a + more, &AT));
        prop_assert!(larger > less);
        let now = leak(&rings, 0.0, &AT);
        let (x, y) = (inverse(&rings, less - now, 0.01, &AT), inverse(&rings, larger - now, 0.01, &AT));
        prop_assert!(x.unwrap() < y.unwrap());
    }
}

#[test]
fn what_no_clearance_explains_is_not_explained() {
    let rings = [ring(0.14, 1.3e-4, 0.019, 1, 4e5)];
    let most = leak(&rings, 1e-3, &AT) - leak(&rings, 0.0, &AT);
    assert_eq!(inverse(&rings, 1.001 * most, 1e-3, &AT), None);
    assert!(inverse(&rings, 0.999 * most, 1e-3, &AT).is_some());
    assert_eq!(inverse(&rings, 0.0, 1e-3, &AT), Some(0.0));
    let law = FrictionLaw::Blasius;
    for (rings, extra, most) in [
        (&rings[..0], 1e-4, 1e-3),
        (&rings[..], -1e-4, 1e-3),
        (&rings[..], f64::NAN, 1e-3),
        (&rings[..], 1e-4, 0.0),
    ] {
        assert!(opening_for(rings, extra, most, &AT, law, Rotation::BulkFlow).is_err());
    }
}

/// The orifice form of pump handbooks, `C A √(2 g H)`: without any length a ring leaks as an opening of C = 1/√1.5.
/// 7 in, 0.012 in, 187.5 ft: 27.1 gpm at C = 0.6, so that 36.9 gpm here belong to that clearance.
#[test]
fn a_worked_orifice_gives_its_clearance() {
    const INCH: f64 = 0.0254;
    const GPM: f64 = 3.785_411_784e-3 / 60.0;
    let pressure = 187.5 * 0.3048 * 9.806_65 * AT.density;
    let rings = [ring(7.0 * INCH, 0.004 * INCH, 0.0, 1, pressure)];
    let wanted = 27.1 / 0.6 / 1.5f64.sqrt() * GPM;
    let extra = wanted - leak(&rings, 0.0, &AT);
    let found = inverse(&rings, extra, 0.1 * INCH, &AT).unwrap() / INCH + 0.004;
    assert!((found - 0.012).abs() < 5e-5, "{found}");
}
