//! Worked examples of texts, by name, each with the rounding it was printed with. Others stand beside what they belong to:
//! hose by hose in the library's tests, heads and powers in those of `mechanics`.

use cutwater_hydraulics::affinity::{Duty, at_speed_ratio};
use cutwater_hydraulics::friction::fireground_resistance_per_metre;
use cutwater_hydraulics::network::{Law, Network, NodeId, Options};
use cutwater_hydraulics::nozzle::trade_flow_gpm;
use cutwater_hydraulics::supply::{HYDRANT_EXPONENT, Hydrant};

const PSI: f64 = 6_894.757_293_168;
const GPM: f64 = 6.309_019_64e-5;
const FOOT: f64 = 0.3048;

fn hose(coefficient: f64, feet: f64) -> Law {
    Law::Quadratic {
        resistance: fireground_resistance_per_metre(coefficient).unwrap() * feet * FOOT,
    }
}

/// Pressure at the far ends of a wye under `supply` psi.
fn wye(supply: f64, branch: f64) -> (f64, f64) {
    let mut net = Network::new(999.0).unwrap();
    let pump = net.fixed(0.0, supply * PSI).unwrap();
    let y = net.junction(0.0, 0.0).unwrap();
    net.link(pump, y, hose(2.0, 200.0), 0).unwrap();
    let ends: Vec<NodeId> = (0..2)
        .map(|_| {
            let end = net.junction(0.0, 150.0 * GPM).unwrap();
            net.link(y, end, hose(branch, 150.0), 0).unwrap();
            end
        })
        .collect();
    let s = net.solve(&Options::default()).unwrap();
    (s.pressure(ends[0]) / PSI, s.pressure(ends[1]) / PSI)
}

/// City fire training slides: 200 ft of 2-1/2 in (C 2) at 300 gpm to a wye, then 150 ft of 1-3/4 in at 150 gpm each. With
/// C 10: 36 and 33.75 psi (printed 34), 69.75 (printed 70) in all; with the usual C 15.5 36 and 52.31, 88.31 in all.
#[test]
fn the_wye_of_the_city_slides() {
    for (branch, lost) in [(10.0, 69.75), (15.5, 88.3125)] {
        let (a, b) = wye(170.0, branch);
        assert!(
            (170.0 - a - lost).abs() < 1e-9 && (a - b).abs() < 1e-9,
            "{branch}: {}",
            170.0 - a
        );
    }
}

/// Department cards: tips at 50 and at 80 psi by 29.7 d² √p, to a tenth of a gpm; what the cards print is rounded to tens.
#[test]
fn tips_of_the_department_cards() {
    let flow = |d: f64, p: f64| trade_flow_gpm(29.7 / 29.84, d, p);
    for (d, p, gpm, printed) in [
        (0.875, 50.0, 160.8, 160.0),
        (0.9375, 50.0, 184.6, 180.0),
        (1.0, 50.0, 210.0, 200.0),
        (1.125, 50.0, 265.8, 250.0),
        (1.25, 50.0, 328.1, 325.0),
        (1.25, 80.0, 415.1, 400.0),
        (1.5, 80.0, 597.7, 600.0),
        (1.75, 80.0, 813.5, 800.0),
        (1.875, 80.0, 933.9, 900.0),
        (2.0, 80.0, 1062.6, 1000.0),
    ] {
        assert!(
            (flow(d, p) - gpm).abs() < 0.06,
            "{d} in at {p} psi: {}",
            flow(d, p)
        );
        assert!(
            (flow(d, p) / printed - 1.0).abs() < 0.07,
            "far from what the card prints"
        );
    }
}

/// Relay texts: how far 500 gpm can be pumped with 20 psi left, L = (PDP − 20) · 100 / (C · 25): 2-1/2 in (C 2) from 200 psi
/// 360 ft, 3 in (C 0.8) 900 ft, 4 in (C 0.2) from 185 psi 3300 ft, 5 in (C 0.08) 8250 ft.
#[test]
fn relay_reaches_of_the_relay_texts() {
    for (coefficient, discharge, feet) in [
        (2.0, 200.0, 360.0),
        (0.8, 200.0, 900.0),
        (0.2, 185.0, 3300.0),
        (0.08, 185.0, 8250.0),
    ] {
        let mut net = Network::new(999.0).unwrap();
        let pump = net.fixed(0.0, discharge * PSI).unwrap();
        let next = net.junction(0.0, 500.0 * GPM).unwrap();
        net.link(pump, next, hose(coefficient, feet), 0).unwrap();
        let left = net.solve(&Options::default()).unwrap().pressure(next) / PSI;
        assert!(
            (left - 20.0).abs() < 1e-9,
            "C {coefficient}: {left} psi left"
        );
    }
}

/// Gorla and Khan, Turbomachinery, example 2.10: 590 to 390 rpm takes 16 m to 6.99 m (printed 6.98), 1.83 L/s to 1.21.
#[test]
fn affinity_of_example_2_10() {
    let before = Duty {
        flow: 1.83e-3,
        head: 16.0,
        power: 1.0,
        npshr: 1.0,
    };
    let after = at_speed_ratio(before, 390.0 / 590.0).unwrap();
    assert!((after.head - 6.991).abs() < 0.0005 && (after.flow * 1e3 - 1.2097).abs() < 5e-5);
}

/// A flow test by the 0.54 law, worked in hydrant texts as Q = Q_test (h_r / h_f)^0.54: 65 psi static, 40 psi left at
/// 1000 gpm, asked for 20 psi: (45/25)^0.54 = 1.3736.
#[test]
fn a_flow_test_by_the_054_law() {
    let h = Hydrant::new(65.0 * PSI, 40.0 * PSI, 1000.0 * GPM, HYDRANT_EXPONENT).unwrap();
    assert!((h.most(20.0 * PSI).unwrap() / GPM - 1373.6).abs() < 0.05);
}
