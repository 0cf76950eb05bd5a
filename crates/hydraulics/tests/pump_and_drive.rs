//! Pump curves at other speeds, stages, supplies, drive margins and test readings, against worked examples of the
//! trade and against the laws themselves.

mod common;

use common::{FT, GPM, INCH, PSI, close, near};
use cutwater_hydraulics::curve::{Curve, CurveError};
use cutwater_hydraulics::drive::{Drive, Engine, Reading};
use cutwater_hydraulics::pump::{PumpCurve, PumpPoints};
use cutwater_hydraulics::service;
use cutwater_hydraulics::supply::{HYDRANT_EXPONENT, Hydrant, Tank};
use std::f64::consts::PI;

const RPM: f64 = PI / 30.0;
const HP: f64 = 745.699_871_582_270_2;

/// Lobanoff and Ross, Centrifugal Pumps, 2nd ed., p. 15: a test at 4000 rpm (head in ft, power in hp where printed).
fn tested() -> PumpCurve {
    let head = [445.0, 438.0, 412.0, 381.0, 330.0, 298.0];
    PumpCurve::new(PumpPoints {
        tested_speed: 4000.0 * RPM,
        flow: [0.0, 226.0, 452.0, 565.0, 678.0, 732.0]
            .map(|q| q * GPM)
            .to_vec(),
        rise: head.map(|h| h * FT * 9806.65).to_vec(),
        power: None,
        npshr: None,
    })
    .unwrap()
}

/// Same source: the best point 565 gpm, 381 ft at 4000 rpm is 501.4 gpm, 300.1 ft at 3550 rpm.
#[test]
fn a_curve_at_another_speed() {
    let p = tested();
    let rise = p.rise(501.4375 * GPM, 3550.0 * RPM).unwrap() / (FT * 9806.65);
    near(rise, 300.1, 2e-4, 0.0, "head at 3550 rpm");
    let speed = p
        .speed_for(501.4375 * GPM, rise * FT * 9806.65)
        .unwrap()
        .unwrap();
    close(speed, 3550.0 * RPM, 1e-9, "speed for the duty");
    let (low, high) = p.domain(2000.0 * RPM).unwrap();
    assert_eq!(low, 0.0);
    close(high, 366.0 * GPM, 1e-12, "half the flow at half the speed");
    assert!(p.rise(high, 2000.0 * RPM).is_ok());
    match p.rise(1.01 * high, 2000.0 * RPM) {
        Err(CurveError::Outside { highest, .. }) => close(highest, high, 1e-12, "end"),
        other => panic!("{other:?}"),
    }
    assert_eq!(
        p.power(0.01, 4000.0 * RPM),
        Err(CurveError::NotTested("shaft power"))
    );
    assert!(p.rise(0.01, 0.0).is_err());
}

/// The slope is the derivative of the rise at every speed.
#[test]
fn the_slope_is_the_derivative() {
    let p = tested();
    for speed in [2500.0 * RPM, 4000.0 * RPM, 4200.0 * RPM] {
        for q in [30.0, 140.0, 300.0, 401.0] {
            let (q, d) = (q * GPM, 1e-7);
            let numeric =
                (p.rise(q + d, speed).unwrap() - p.rise(q - d, speed).unwrap()) / (2.0 * d);
            near(p.rise_slope(q, speed).unwrap(), numeric, 1e-5, 1.0, "slope");
        }
    }
}

#[test]
fn stages_in_series_add_rise_and_in_parallel_add_flow() {
    let one = tested();
    let w = 4000.0 * RPM;
    let series = one.in_series(2).unwrap();
    let parallel = one.in_parallel(2).unwrap();
    for q in [0.0, 100.0, 333.0, 700.0] {
        let single = one.rise(q * GPM, w).unwrap();
        close(
            series.rise(q * GPM, w).unwrap(),
            2.0 * single,
            1e-12,
            "series",
        );
        close(
            parallel.rise(2.0 * q * GPM, w).unwrap(),
            single,
            1e-12,
            "parallel",
        );
    }
    assert!(one.in_series(0).is_err());
    let cut = one.trimmed(0.9).unwrap();
    close(
        cut.rise(0.9 * 452.0 * GPM, w).unwrap(),
        0.81 * one.rise(452.0 * GPM, w).unwrap(),
        1e-12,
        "trim",
    );
    assert!(one.trimmed(0.5).is_err());
}

#[test]
fn curves_say_where_they_rise_and_refuse_bad_points() {
    let hump = Curve::new(vec![0.0, 1.0, 2.0, 3.0], vec![10.0, 11.0, 12.0, 8.0]).unwrap();
    assert_eq!(hump.rising_stretches(), [(0.0, 2.0)]);
    assert_eq!(hump.peak(), (2.0, 12.0));
    assert!(!hump.is_strictly_falling());
    assert_eq!(hump.all_at(10.5).len(), 2);
    assert!(hump.largest_at(10.5).unwrap() > 2.0);
    assert_eq!(hump.largest_at(13.0), None);
    assert!(hump.value(3.1).is_err());
    assert!(hump.value(f64::NAN).is_err());
    assert!(Curve::new(vec![0.0], vec![1.0]).is_err());
    assert!(Curve::new(vec![0.0, 0.0], vec![1.0, 2.0]).is_err());
    assert!(Curve::new(vec![0.0, 1.0], vec![1.0, f64::NAN]).is_err());
    assert!(Curve::new(vec![0.0, 1.0], vec![1.0]).is_err());
}

/// NFPA 291 law checked by arithmetic: 70 psi static, 60 residual gives 2.385 times the test flow at 20 psi.
#[test]
fn hydrant_by_the_power_law() {
    let h = Hydrant::new(70.0 * PSI, 60.0 * PSI, 0.05, HYDRANT_EXPONENT).unwrap();
    near(
        h.most(20.0 * PSI).unwrap() / 0.05,
        2.385,
        0.0,
        5e-4,
        "at 20 psi",
    );
    close(
        h.pressure(0.05).unwrap(),
        60.0 * PSI,
        1e-12,
        "at the test flow",
    );
    let q = h.most(35.0 * PSI).unwrap();
    close(h.pressure(q).unwrap(), 35.0 * PSI, 1e-12, "there and back");
    assert_eq!(h.most(80.0 * PSI).unwrap(), 0.0);
    assert!(Hydrant::new(50.0 * PSI, 60.0 * PSI, 0.05, HYDRANT_EXPONENT).is_err());
}

#[test]
fn a_tank_gives_by_its_level_and_plumbing() {
    let t = Tank::new(101_325.0, 2339.0, 998.2, 1.2, 2e8).unwrap();
    close(
        t.intake_pressure(0.02),
        1.2 * 998.2 * 9.806_65 - 2e8 * 4e-4,
        1e-12,
        "intake",
    );
    assert!(t.npsh_available(0.02) < t.npsh_available(0.01));
}

/// Trade texts: pressure correction at draft, (lift + suction loss)/2.3; a 1500 gpm pump through one 6 in hose at 10 ft
/// shows 142.3 psi for 150 psi net.
#[test]
fn net_pressure_at_draft_by_the_table() {
    for (lift, loss, psi) in [
        (10.0, 5.2, 6.61),
        (10.0, 7.6, 7.65),
        (10.0, 3.4, 5.83),
        (10.0, 4.7, 6.39),
    ] {
        near(
            service::trade_draft_correction_psi(lift, loss),
            psi,
            0.0,
            0.005,
            "correction",
        );
        // First principles at 60 °F: 2.3067 ft/psi, within half a percent of the trade's 2.3.
        let weight = PSI / (2.3067 * FT);
        let net = service::net_pressure_from_lift(0.0, 0.0, lift * FT, loss * FT * weight, weight)
            .unwrap();
        near(net / PSI, psi, 5e-3, 0.0, "first principles");
    }
    let net = service::net_pressure_from_lift(
        142.35 * PSI,
        0.0,
        10.0 * FT,
        7.6 * PSI / 2.3,
        PSI / (2.3 * FT),
    )
    .unwrap();
    near(net / PSI, 150.0, 0.0, 0.01, "150 net");
}

/// Vacuum by gauge: 1 inHg is 0.491 psi; from a pressurised source the intake reading is taken off.
#[test]
fn net_pressure_by_gauges() {
    let inhg = 3_386.388_640_341;
    let mut g = service::Gauges {
        discharge: 142.0 * PSI,
        intake: -15.0 * inhg,
        discharge_height: 0.0,
        intake_height: 0.0,
        velocity: None,
        density: 998.9,
        specific_weight: 998.9 * 9.806_65,
    };
    near(
        g.net_pressure().unwrap() / PSI,
        142.0 + 15.0 * 0.491,
        0.0,
        0.003,
        "draft",
    );
    g.intake = 40.0 * PSI;
    close(g.net_pressure().unwrap() / PSI, 102.0, 1e-12, "hydrant");
    // A discharge gauge 3 ft higher adds 1.3 psi; a smaller discharge port adds its velocity head.
    g.discharge_height = 3.0 * FT;
    let with_height = g.net_pressure().unwrap() / PSI;
    near(with_height, 102.0 + 3.0 * 0.433, 0.0, 0.003, "gauge height");
    g.velocity = Some(service::Taps {
        flow: 1000.0 * GPM,
        discharge_bore: 4.0 * INCH,
        intake_bore: 6.0 * INCH,
    });
    let trade = 0.001_123 * 1e6 * (1.0 / 256.0 - 1.0 / 1296.0);
    near(
        g.net_pressure().unwrap() / PSI - with_height,
        trade,
        2e-3,
        0.0,
        "velocity heads",
    );
}

/// Trade texts: +50 rpm at 3000 rpm raises the pressure 3.361 % at the scaled flow.
#[test]
fn a_reading_is_carried_to_rated_speed() {
    use cutwater_hydraulics::affinity::Duty;
    let read = Duty {
        flow: 0.05,
        head: 1e6,
        power: 8e4,
        npshr: 4.0,
    };
    let d = service::to_rated_speed(read, 3000.0 * RPM, 3050.0 * RPM).unwrap();
    near(d.head / read.head - 1.0, 0.03361, 0.0, 5e-6, "pressure");
    close(d.flow / read.flow, 3050.0 / 3000.0, 1e-12, "flow");
}

/// Worked budget: 2.3094, 1.4434, 0.5367, 0.0851 and 0.0625 psi... combine to 2.7777 psi; ν_eff 2871 with the
/// five repeats (4 degrees of freedom).
#[test]
fn the_worked_budget_adds_up() {
    // The repeat part is 1.2/√5; the vacuum part 0.0851 psi and the height part ±0.25 ft as rectangular.
    let parts = [2.3094, 1.4434, 0.5367, 0.0851, 0.0625];
    let u = service::combined_uncertainty(&parts.map(|p| (1.0, p)), &[]).unwrap();
    near(u, 2.7777, 0.0, 2e-3, "combined");
    let nu: Vec<(f64, f64)> = parts
        .iter()
        .enumerate()
        .map(|(k, p)| (*p, if k == 2 { 4.0 } else { f64::INFINITY }))
        .collect();
    near(
        service::effective_degrees_of_freedom(&nu).unwrap(),
        2871.0,
        5e-3,
        0.0,
        "degrees of freedom",
    );
    assert!(service::combined_uncertainty(&[(1.0, 1.0)], &[(0, 5, 0.1)]).is_err());
    assert!(service::combined_uncertainty(&[(1.0, -1.0)], &[]).is_err());
    assert!(service::verdict(f64::NAN, service::Limits::default(), 0.0).is_err());
}

/// Worked example: 1800 rpm × 1.96 is 3528 rpm; 1250 gpm at 150 psi with pump 0.70 and drive 0.95 takes 164.474 hp.
#[test]
fn drive_margins() {
    let engine = Engine::new(
        [1200.0, 1500.0, 1800.0, 2100.0].map(|n| n * RPM).to_vec(),
        [150.0, 200.0, 240.0, 250.0].map(|p| p * HP).to_vec(),
        Reading::Straight,
    )
    .unwrap();
    near(
        engine.power(1650.0 * RPM).unwrap() / HP,
        220.0,
        1e-12,
        0.0,
        "straight",
    );
    let drive = Drive::new(engine.clone(), 1.96, 0.95, 2000.0 * RPM).unwrap();
    close(
        drive.pump_speed(1800.0 * RPM),
        3528.0 * RPM,
        1e-12,
        "pump speed",
    );
    let shaft = 1250.0 * GPM * 150.0 * PSI / 0.70;
    let m = drive.margins(3528.0 * RPM, shaft).unwrap();
    close(m.engine_speed, 1800.0 * RPM, 1e-12, "engine speed");
    close(m.speed, 200.0 * RPM, 1e-9, "speed margin");
    near(m.load * 240.0, 164.474, 1e-5, 0.0, "engine power");
    near(
        m.engine_torque * 1800.0 * RPM / HP,
        164.474,
        1e-5,
        0.0,
        "torque",
    );
    assert!(m.power > 0.0 && m.torque > 0.0);
    // Derated by a third it no longer carries the duty.
    let weak = Drive::new(engine.derated(0.66).unwrap(), 1.96, 0.95, 2000.0 * RPM).unwrap();
    assert!(weak.margins(3528.0 * RPM, shaft).unwrap().power < 0.0);
    assert!(
        drive.margins(1000.0 * RPM, shaft).is_err(),
        "below the table"
    );
    assert!(engine.derated(1.2).is_err());
    let smooth = Engine::new(
        vec![100.0, 150.0, 200.0],
        vec![1e5, 1.6e5, 1.9e5],
        Reading::ShapePreserving,
    )
    .unwrap();
    assert!(
        smooth.power(125.0).unwrap() > 1.3e5,
        "a concave curve lies over its chord"
    );
    assert!(smooth.power(500.0).is_err());
}

/// More leak moves the curve to smaller flows; what it was at a flow it is at that flow less the leak.
#[test]
fn a_leak_moves_the_curve() {
    let points = |flow: &[f64]| PumpPoints {
        tested_speed: 300.0,
        flow: flow.to_vec(),
        rise: vec![2.0e6, 1.9e6, 1.6e6, 1.1e6],
        power: Some(vec![3.0e4, 5.0e4, 7.0e4, 8.0e4]),
        npshr: None,
    };
    let tested = PumpCurve::new(points(&[0.0, 0.02, 0.04, 0.06])).unwrap();
    let worn = tested.with_leak(0.01).unwrap();
    for q in [0.01, 0.03, 0.049] {
        let (now, then) = (worn.rise(q, 300.0).unwrap(), tested.rise(q + 0.01, 300.0));
        assert!((now - then.unwrap()).abs() < 1e-6, "{q}");
        let (now, then) = (worn.power(q, 300.0).unwrap(), tested.power(q + 0.01, 300.0));
        assert!((now - then.unwrap()).abs() < 1e-6, "{q}");
    }
    // Shut off, the impeller passes the leak alone; the tested range ends that much earlier.
    let shut = tested.rise(0.01, 300.0).unwrap();
    assert!((worn.rise(0.0, 300.0).unwrap() - shut).abs() < 1e-6);
    let (low, high) = worn.domain(300.0).unwrap();
    assert!(low == 0.0 && (high - 0.05).abs() < 1e-15);
    // Tighter rings: nothing is known below the leak that is saved.
    let tight = tested.with_leak(-0.005).unwrap();
    assert!((tight.domain(300.0).unwrap().0 - 0.005).abs() < 1e-15);
    assert!(tight.rise(0.0, 300.0).is_err());
    assert!(tested.with_leak(0.06).is_err() && tested.with_leak(f64::NAN).is_err());
}

/// Two straight lines, 400 − 0.2 Q and 200 − 0.05 Q (psi, gpm), meet at 1333⅓ gpm and 133⅓ psi: a stage of 200 − 0.1 Q in
/// series and in parallel.
#[test]
fn where_series_and_parallel_cross() {
    let line = |from: f64, to: f64, speed: f64| {
        let r = speed / 3000.0;
        PumpCurve::new(PumpPoints {
            tested_speed: speed * RPM,
            flow: [0.0, 700.0, 1400.0].map(|q| q * GPM * r).to_vec(),
            rise: [from, 0.5 * (from + to), to]
                .map(|p| p * PSI * r * r)
                .to_vec(),
            power: None,
            npshr: None,
        })
        .unwrap()
    };
    let (series, parallel) = (line(400.0, 120.0, 3000.0), line(200.0, 130.0, 3000.0));
    let speed = 3000.0 * RPM;
    let (q, p) = series.falls_below(&parallel, speed).unwrap().unwrap();
    close(q, 4000.0 / 3.0 * GPM, 1e-9, "flow");
    close(p, 400.0 / 3.0 * PSI, 1e-9, "pressure");
    // At half the speed at half the flow; and a curve tested at another speed is the same curve.
    let (q, p) = series.falls_below(&parallel, 0.5 * speed).unwrap().unwrap();
    close(q, 2000.0 / 3.0 * GPM, 1e-9, "flow at half the speed");
    close(p, 100.0 / 3.0 * PSI, 1e-9, "pressure at half the speed");
    let slower = line(200.0, 130.0, 2400.0);
    let (q, _) = series.falls_below(&slower, speed).unwrap().unwrap();
    close(q, 4000.0 / 3.0 * GPM, 1e-9, "tested at another speed");
    // The other way round, and where the lines meet beyond the flows tested, they do not cross so.
    assert_eq!(parallel.falls_below(&series, speed).unwrap(), None);
    let high = line(400.0, 180.0, 3000.0);
    assert_eq!(high.falls_below(&parallel, speed).unwrap(), None);
    assert!(series.falls_below(&parallel, 0.0).is_err());
}
