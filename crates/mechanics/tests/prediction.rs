//! A stage by its geometry: against the model worked by hand and elsewhere, textbook examples, and the laws it must keep.

use cutwater_mechanics::STANDARD_GRAVITY;
use cutwater_mechanics::impeller::Exit;
use cutwater_mechanics::prediction::{Fluid, HEAD_SCATTER, Slip, Stage};
use proptest::prelude::*;
use std::f64::consts::PI;

const RPM: f64 = PI / 30.0;

const WATER: Fluid = Fluid {
    density: 999.0,
    kinematic_viscosity: 1.12e-6,
};

/// A wheel and volute by diameters (m), angles (degrees) and counts.
#[allow(clippy::too_many_arguments)]
fn stage(
    (d2, b2, beta2): (f64, f64, f64),
    vanes: u32,
    (d1, b1, beta1): (f64, f64, f64),
    thickness: f64,
    throat_area: f64,
    leak: f64,
    roughness: f64,
) -> Stage {
    let taken = f64::from(vanes) * thickness / beta2.to_radians().sin();
    Stage {
        exit: Exit {
            diameter: d2,
            width: b2,
            angle: beta2.to_radians(),
            vanes,
            open_share: 1.0 - taken / (PI * d2),
            radius_ratio: d1 / d2,
        },
        slip: Slip::Wiesner,
        eyes: 1,
        eye_diameter: d1,
        inlet_width: b1,
        inlet_angle: beta1.to_radians(),
        vane_thickness: thickness,
        throat_area,
        throats: 1,
        roughness,
        leak,
    }
}

fn usual() -> Stage {
    stage(
        (0.25, 0.022, 24.0),
        6,
        (0.13, 0.032, 20.0),
        0.005,
        0.0036,
        0.0015,
        1e-4,
    )
}

fn near(got: f64, want: f64, relative: f64, what: &str) {
    assert!(
        (got - want).abs() <= relative * want.abs(),
        "{what}: {got}, expected {want}"
    );
}

/// The model's formulas worked in double precision by a program that shares nothing with this one.
#[test]
fn each_part_is_what_its_formula_gives() {
    let mut double = stage(
        (0.30, 0.020, 25.0),
        6,
        (0.15, 0.040, 19.0),
        0.006,
        0.0052,
        0.002,
        1e-4,
    );
    double.throats = 2;
    double.slip = Slip::Stated(0.8);
    let mut both_sides = stage(
        (0.32, 0.045, 30.0),
        5,
        (0.19, 0.035, 24.0),
        0.005,
        0.009,
        0.003,
        5e-5,
    );
    both_sides.eyes = 2;
    let slow = stage(
        (0.24, 0.010, 20.0),
        7,
        (0.17, 0.018, 16.0),
        0.004,
        0.0016,
        0.001,
        2e-4,
    );
    let water = |density, kinematic_viscosity| Fluid {
        density,
        kinematic_viscosity,
    };
    // Slip; heads: ideal, incidence, friction in the wheel, radial, friction in the volute, mismatch, discharge, delivered
    // (m); disc friction, power (W); efficiency.
    let cases = [
        (
            usual(),
            0.05,
            3000.0,
            WATER,
            [
                0.818050538,
                99.0553703,
                1.34565165,
                1.67828281,
                0.551692754,
                2.58666452,
                1.12564079,
                1.96704516,
                89.8003926,
                1677.57511,
                52708.8952,
                0.834546404,
            ],
        ),
        (
            double,
            0.09,
            2600.0,
            water(998.0, 1.0e-6),
            [
                0.8,
                88.1467148,
                0.110409571,
                3.9426801,
                1.46792842,
                2.91396127,
                0.008128208,
                3.05462327,
                76.6489839,
                2538.76799,
                83578.2859,
                0.807805245,
            ],
        ),
        (
            both_sides,
            0.12,
            2200.0,
            water(990.0, 7e-7),
            [
                0.755345029,
                86.0290361,
                6.44572808,
                0.388892346,
                0.417393994,
                1.76074674,
                0.483338264,
                1.81282882,
                74.7201078,
                1976.68532,
                106845.669,
                0.814737461,
            ],
        ),
        (
            slow,
            0.02,
            3500.0,
            water(1000.0, 1.3e-6),
            [
                0.848993571,
                128.970451,
                14.4671377,
                1.77616683,
                0.497736879,
                3.20808302,
                5.66488994,
                1.59330658,
                101.76313,
                2207.80256,
                29355.0328,
                0.679921163,
            ],
        ),
    ];
    for (stage, flow, rpm, fluid, want) in cases {
        let p = stage.point(flow, rpm * RPM, &fluid).unwrap();
        let h = p.heads;
        let got = [
            p.velocities.slip,
            h.ideal,
            h.incidence,
            h.wheel_friction,
            h.radial,
            h.volute_friction,
            h.mismatch,
            h.discharge,
            p.head,
            p.disc_power,
            p.power,
            p.efficiency,
        ];
        for (k, (got, want)) in got.into_iter().zip(want).enumerate() {
            // Nine digits are written; the mismatch is a small difference of large velocities.
            near(got, want, 1e-6, &format!("{flow} number {k}"));
        }
    }
}

/// Gorla and Khan, Turbomachinery, ch. 2 (answers worked again in double precision with g = 9.80665 m/s²): ex. 2.4 with
/// β₂ 25°, 1.2 m, 210 rpm and 0.65 m² gives u₂ 13.195, c_m2 2.385, c_u2 8.081 m/s and 10.87 m; ex. 2.13 with slip of its own
/// kind, of which the velocities alone are taken here: u₂ 19.059, c_m2 1.836 m/s, 30.85 m without slip.
#[test]
fn textbook_velocities() {
    let with_area = |d2: f64, area: f64, beta2: f64| {
        let mut s = stage(
            (d2, area / (PI * d2), beta2),
            6,
            (0.5 * d2, 0.1, 20.0),
            0.0,
            0.5,
            0.0,
            0.0,
        );
        s.slip = Slip::Stated(1.0);
        s
    };
    let v = with_area(1.2, 0.65, 25.0)
        .velocities(1.55, 210.0 * RPM)
        .unwrap();
    near(v.u2, 13.195, 1e-4, "u2");
    near(v.cm2, 2.385, 3e-4, "cm2");
    near(v.cu2, 8.081, 3e-4, "cu2");
    near(v.u2 * v.cu2 / STANDARD_GRAVITY, 10.873, 3e-4, "head");
    let v = with_area(0.26, PI * 0.26 * 0.02, 30.0)
        .velocities(0.03, 1400.0 * RPM)
        .unwrap();
    near(v.u2, 19.059, 1e-4, "u2");
    near(v.cm2, 1.836, 3e-4, "cm2");
    near(v.u2 * v.cu2 / STANDARD_GRAVITY, 30.86, 5e-4, "head");
}

/// Slip factors printed for 25° and 5, 6, 7 vanes, and 22.5° and 7: Wiesner 0.7893, 0.8145, 0.8335, 0.8416; Stodola 0.7345,
/// 0.7787, 0.8103, 0.8283 (arithmetic from the published forms).
#[test]
fn slip_factors() {
    let cases = [
        (25.0, 5, 0.7893, 0.7345),
        (25.0, 6, 0.8145, 0.7787),
        (25.0, 7, 0.8335, 0.8103),
        (22.5, 7, 0.8416, 0.8283),
    ];
    for (beta2, vanes, wiesner, stodola) in cases {
        let mut s = stage(
            (0.25, 0.02, beta2),
            vanes,
            (0.1, 0.03, 20.0),
            0.0,
            0.004,
            0.0,
            0.0,
        );
        near(
            s.velocities(0.03, 300.0).unwrap().slip,
            wiesner,
            1e-4,
            "Wiesner",
        );
        s.slip = Slip::Guelich;
        near(
            s.velocities(0.03, 300.0).unwrap().slip,
            0.98 * wiesner,
            1e-4,
            "Guelich",
        );
        s.slip = Slip::Stodola;
        near(
            s.velocities(0.03, 300.0).unwrap().slip,
            stodola,
            1e-4,
            "Stodola",
        );
    }
}

/// A radial pump whose measurements were published in the eighties and often recomputed since (all from memory): 7 vanes,
/// 0.4 m, 0.0386 m wide, 22.5°, from 0.22 m and 0.0859 m, 9 mm thick, 1200 rpm; 0.1157 m³/s at 31 m. Its throat is not
/// remembered: the one that suits this flow is taken.
#[test]
fn a_measured_pump_lies_inside_the_scatter() {
    let mut s = stage(
        (0.4, 0.0386, 22.5),
        7,
        (0.22, 0.0859, 27.75),
        0.009,
        0.01,
        0.0017,
        5e-5,
    );
    let (mut low, mut high) = (0.003, 0.05);
    for _ in 0..60 {
        s.throat_area = 0.5 * (low + high);
        if s.matched_flow(1200.0 * RPM).unwrap() < 0.1157 {
            low = s.throat_area;
        } else {
            high = s.throat_area;
        }
    }
    for slip in [Slip::Wiesner, Slip::Guelich, Slip::Stodola] {
        s.slip = slip;
        let p = s.point(0.1157, 1200.0 * RPM, &WATER).unwrap();
        near(p.head, 31.0, HEAD_SCATTER, "head");
        assert!(p.efficiency > 0.7 && p.efficiency < 0.9, "{}", p.efficiency);
    }
}

/// Stepanoff's rule, worked for 13 in at 3600 rpm: u₂ 204.2 ft/s, 758.2 ft.
#[test]
fn head_with_no_flow() {
    let s = stage(
        (13.0 * 0.0254, 0.02, 24.0),
        6,
        (0.15, 0.03, 20.0),
        0.004,
        0.004,
        0.0,
        0.0,
    );
    let h = s.shut_off_head(3600.0 * RPM).unwrap();
    near(h / 0.3048, 758.2, 1e-4, "shut-off head");
    near(
        s.velocities(0.0, 3600.0 * RPM).unwrap().u2 / 0.3048,
        204.2,
        1e-4,
        "u2",
    );
}

#[test]
fn the_best_flow_is_the_best() {
    let s = usual();
    let best = s.best(314.0, &WATER).unwrap();
    for share in [0.6, 0.8, 0.95, 0.999, 1.001, 1.05, 1.2, 1.5] {
        let p = s.point(share * best.flow, 314.0, &WATER).unwrap();
        assert!(p.efficiency < best.efficiency, "{share}");
    }
    // The throat is where it is made for: near its matched flow.
    let matched = s.matched_flow(314.0).unwrap();
    assert!(
        (0.6..1.2).contains(&(best.flow / matched)),
        "{} {matched}",
        best.flow
    );
    let v = s.velocities(matched, 314.0).unwrap();
    near(v.throat, v.throat_whirl, 1e-12, "matched");
}

#[test]
fn what_cannot_be_is_refused() {
    let good = usual();
    let bad = [
        Stage { eyes: 3, ..good },
        Stage { throats: 0, ..good },
        Stage {
            eye_diameter: 0.3,
            ..good
        },
        Stage {
            inlet_width: 0.0,
            ..good
        },
        Stage {
            inlet_angle: 2.0,
            ..good
        },
        Stage {
            vane_thickness: 0.03,
            ..good
        },
        Stage {
            throat_area: f64::NAN,
            ..good
        },
        Stage {
            roughness: -1.0,
            ..good
        },
        Stage {
            leak: -0.001,
            ..good
        },
        Stage {
            slip: Slip::Stated(1.2),
            ..good
        },
        Stage {
            slip: Slip::Stated(0.0),
            ..good
        },
        Stage {
            exit: Exit {
                vanes: 1,
                angle: 1.5,
                ..good.exit
            },
            slip: Slip::Stodola,
            ..good
        },
        Stage {
            exit: Exit {
                radius_ratio: 0.0,
                ..good.exit
            },
            ..good
        },
    ];
    for s in bad {
        assert!(s.point(0.05, 314.0, &WATER).is_err(), "{s:?}");
    }
    assert!(good.point(-0.01, 314.0, &WATER).is_err());
    assert!(good.point(0.05, 0.0, &WATER).is_err());
    let no_water = Fluid {
        density: 0.0,
        ..WATER
    };
    assert!(good.point(0.05, 314.0, &no_water).is_err());
    // A leak that takes all the whirl leaves no best flow.
    let open = Stage { leak: 0.5, ..good };
    assert!(open.best(314.0, &WATER).is_err());
}

proptest! {
    /// By the laws of likeness flow goes with the speed and head with its square; the friction alone feels the Reynolds
    /// number a little.
    #[test]
    fn speeds_are_alike(r in 0.6f64..1.6, share in 0.6f64..1.3) {
        let s = usual();
        let flow = share * s.matched_flow(300.0).unwrap();
        let a = s.point(flow, 300.0, &WATER).unwrap();
        let like = Stage { leak: s.leak * r, ..s };
        let b = like.point(r * flow, 300.0 * r, &WATER).unwrap();
        prop_assert!((b.head / (a.head * r * r) - 1.0).abs() < 0.02);
        prop_assert!((b.heads.ideal / (a.heads.ideal * r * r) - 1.0).abs() < 1e-12);
        prop_assert!((b.heads.incidence - a.heads.incidence * r * r).abs() < 1e-9);
        prop_assert!((b.power / (a.power * r.powi(3)) - 1.0).abs() < 0.02);
    }

    /// Rougher walls and more leak never help, a larger throat moves the best flow up, and losses are never below zero.
    #[test]
    fn what_costs_costs(
        d2 in 0.15f64..0.5, width in 0.04f64..0.14, beta2 in 17f64..35.0, vanes in 5u32..8, ratio in 0.4f64..0.65,
        beta1 in 14f64..30.0, throat in 0.03f64..0.12, leak in 0.001f64..0.05,
    ) {
        let d1 = ratio * d2;
        let s = stage(
            (d2, width * d2, beta2), vanes, (d1, 0.25 * d1, beta1), 0.015 * d2, throat * d2 * d2, 0.0, 1e-4,
        );
        let speed = 300.0 * 0.25 / d2;
        let flow = s.matched_flow(speed).unwrap();
        let p = s.point(flow, speed, &WATER).unwrap();
        let h = p.heads;
        for loss in [h.incidence, h.wheel_friction, h.radial, h.volute_friction, h.mismatch, h.discharge] {
            prop_assert!(loss >= 0.0 && loss.is_finite());
        }
        prop_assert!(p.efficiency < 1.0 && p.head < h.ideal);
        let rough = Stage { roughness: 5e-4, ..s }.point(flow, speed, &WATER).unwrap();
        prop_assert!(rough.head < p.head && rough.efficiency < p.efficiency);
        let leaky = Stage { leak: leak * flow, ..s }.point(flow, speed, &WATER).unwrap();
        prop_assert!(leaky.velocities.cu2 < p.velocities.cu2);
        let wide = Stage { throat_area: 1.2 * s.throat_area, ..s };
        prop_assert!(wide.matched_flow(speed).unwrap() > flow);
    }
}
