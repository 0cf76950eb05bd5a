//! The network solver against 66 operating points of an independent solver (scipy 1.17.1 optimize.root with exact
//! Jacobian, residuals below 1e-12 psi and 5e-13 gpm; level trees also by series and parallel reduction).

mod common;

use common::{GPM, INCH, PSI, cases, expected, input, near, number};
use cutwater_hydraulics::friction::fireground_resistance_per_metre;
use cutwater_hydraulics::network::{Law, LinkId, LinkState, Network, NodeId, Options, Rise};
use cutwater_hydraulics::nozzle::Nozzle;
use cutwater_hydraulics::pump::{PumpCurve, PumpPoints};
use serde_json::Value;
use std::collections::HashMap;
use std::sync::Arc;

fn list(value: &Value, factor: f64) -> Vec<f64> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap() * factor)
        .collect()
}

fn rise(curve: &Value) -> Rise {
    if curve["law"] == "pchip" {
        Rise::Table(Arc::new(
            PumpCurve::new(PumpPoints {
                tested_speed: 1.0,
                flow: list(&curve["flow_gpm"], GPM),
                rise: list(&curve["rise_psi"], PSI),
                power: None,
                npshr: None,
            })
            .unwrap(),
        ))
    } else {
        Rise::Quadratic {
            shut_off: curve["a_psi"].as_f64().unwrap() * PSI,
            linear: curve["b_psi_per_gpm"].as_f64().unwrap() * PSI / GPM,
            square: curve["c_psi_per_gpm2"].as_f64().unwrap() * PSI / (GPM * GPM),
            max_flow: f64::INFINITY,
        }
    }
}

fn build(case: &Value) -> (Network, HashMap<String, NodeId>, HashMap<String, LinkId>) {
    let inputs = &case["inputs"];
    // The cases state ρg in psi per foot.
    let density = input(case, "psi_per_ft") * PSI / 0.3048 / 9.806_65;
    let mut net = Network::new(density).unwrap();
    let mut nodes = HashMap::new();
    for node in inputs["nodes"].as_array().unwrap() {
        let z = node["elevation_ft"].as_f64().unwrap() * 0.3048;
        let id = match node["fixed_pressure_psi"].as_f64() {
            Some(p) => net.fixed(z, p * PSI),
            None => net.junction(z, node["demand_gpm"].as_f64().unwrap() * GPM),
        };
        nodes.insert(node["id"].as_str().unwrap().to_owned(), id.unwrap());
    }
    let mut links = HashMap::new();
    for (k, e) in inputs["edges"].as_array().unwrap().iter().enumerate() {
        let tag = k as u32;
        let field = |name: &str| number(&e[name], name, case);
        let from = nodes[e["from"].as_str().unwrap()];
        let to = nodes.get(e["to"].as_str().unwrap()).copied();
        let square = || Law::Quadratic {
            resistance: field("k_psi_per_gpm2") * PSI / (GPM * GPM),
        };
        let id = match e["type"].as_str().unwrap() {
            "hose" => net.link(
                from,
                to.unwrap(),
                Law::Quadratic {
                    resistance: fireground_resistance_per_metre(field("C")).unwrap()
                        * field("length_ft")
                        * 0.3048,
                },
                tag,
            ),
            "minor" => net.link(from, to.unwrap(), square(), tag),
            "check_valve" => net.check_valve(from, to.unwrap(), square(), tag),
            "hydrant" => net.link(
                from,
                to.unwrap(),
                Law::Power {
                    coefficient: (field("static_psi") - field("residual_psi")) * PSI
                        / (field("test_flow_gpm") * GPM).powf(1.85),
                    exponent: 1.85,
                },
                tag,
            ),
            "pump" => net.pump(
                from,
                to.unwrap(),
                rise(&e["curve"]),
                field("speed_ratio"),
                tag,
            ),
            "nozzle" => net.nozzle(
                from,
                Nozzle::Fog {
                    rated_flow: input(case, "nozzle_constant")
                        * field("c")
                        * field("diameter_in").powi(2)
                        * GPM,
                    rated_pressure: PSI,
                },
                tag,
            ),
            "automatic_nozzle" => net.nozzle(
                from,
                Nozzle::PressureHolding {
                    set_pressure: field("set_pressure_psi") * PSI,
                    least_flow: field("min_flow_gpm") * GPM,
                    largest_flow: field("max_flow_gpm") * GPM,
                },
                tag,
            ),
            other => panic!("unknown edge {other}"),
        };
        let id = id.unwrap();
        assert_eq!(net.tag(id), Some(tag));
        links.insert(e["id"].as_str().unwrap().to_owned(), id);
    }
    (net, nodes, links)
}

#[test]
fn every_operating_point_is_found() {
    let mut ran = 0;
    let mut states = 0;
    for case in cases("13_operating_points.json") {
        let id = case["id"].as_str().unwrap();
        let (net, nodes, links) = build(&case);
        let s = net
            .solve(&Options::default())
            .unwrap_or_else(|e| panic!("{id}: {e}"));
        // The tolerance stated with the cases: 1e-7 relative, or 1e-6 psi and 1e-5 gpm near zero.
        for (name, p) in case["expected"]["node_pressure_psi"].as_object().unwrap() {
            let got = s.pressure(nodes[name]) / PSI;
            near(
                got,
                p.as_f64().unwrap(),
                1e-9,
                1e-8,
                &format!("{id} {name}"),
            );
        }
        for (name, q) in case["expected"]["edge_flow_gpm"].as_object().unwrap() {
            let got = s.flow(links[name]) / GPM;
            near(
                got,
                q.as_f64().unwrap(),
                1e-9,
                1e-7,
                &format!("{id} {name}"),
            );
        }
        if let Some(want) = case["expected"]["states"].as_object() {
            for (name, w) in want {
                let state = s.state(links[name]).unwrap();
                let got = match state {
                    LinkState::Open => "open",
                    LinkState::Shut => "closed",
                    LinkState::BelowHolding => "below",
                    LinkState::Holding => "holding",
                    LinkState::AboveHolding => "above",
                    other => panic!("{id} {name}: {other:?}"),
                };
                assert_eq!(got, w.as_str().unwrap(), "{id} {name}");
                states += 1;
            }
        }
        assert!(s.residual_mass_relative < 1e-12, "{id}: mass residual");
        assert!(s.residual_energy_relative < 1e-10, "{id}: energy residual");
        assert!(s.iterations < 40, "{id}: {} steps", s.iterations);
        ran += 1;
    }
    assert_eq!(ran, 66);
    assert!(states >= 15, "{states} check valve and nozzle states");
}

#[test]
fn drafting_pressures_at_the_pump_inlet() {
    let mut ran = 0;
    for case in common::cases_of("13_operating_points.json", "drafting") {
        let id = case["id"].as_str().unwrap();
        let (net, nodes, links) = build(&case);
        let s = net.solve(&Options::default()).unwrap();
        let flow = s.flow(links["pump1"]);
        let bore = input(&case, "inlet_bore_in") * INCH;
        let density = input(&case, "water_density_kg_m3");
        let velocity =
            cutwater_hydraulics::friction::velocity_pressure(flow, bore, density).unwrap();
        near(
            velocity / PSI,
            expected(&case, "inlet_velocity_pressure_psi"),
            1e-8,
            0.0,
            id,
        );
        near(
            (s.pressure(nodes["inlet"]) - velocity) / PSI,
            expected(&case, "inlet_static_psi"),
            1e-8,
            0.0,
            id,
        );
        ran += 1;
    }
    assert_eq!(ran, 8);
}
