//! Prints how long cold and repeated solves take on trees and grids of several sizes. A tool for whoever works on the
//! solver; nothing is asserted. Run with `cargo run --release --example timing -p cutwater-hydraulics`.
#![allow(clippy::print_stdout)]

use cutwater_hydraulics::friction::fireground_resistance_per_metre;
use cutwater_hydraulics::network::{Law, Network, NodeId, Options, Solver};
use cutwater_hydraulics::nozzle::Nozzle;
use std::time::Instant;

/// A tree of hoses with a fog nozzle at each leaf (invented numbers of ordinary size).
fn tree(n: usize) -> Network {
    let mut net = Network::new(998.2).expect("density");
    let mut ids: Vec<NodeId> = vec![net.fixed(0.0, 1.2e6).expect("source")];
    let mut children = vec![0; n];
    for i in 1..n {
        let parent = (i - 1) / 3;
        children[parent] += 1;
        let node = net.junction((i % 7) as f64, 0.0).expect("node");
        let c = if i < 10 { 0.05 } else { 0.8 };
        let r = fireground_resistance_per_metre(c).expect("law") * 30.0;
        net.link(ids[parent], node, Law::Quadratic { resistance: r }, 0)
            .expect("hose");
        ids.push(node);
    }
    for (i, &id) in ids.iter().enumerate() {
        if children[i] == 0 {
            let nozzle = Nozzle::Fog {
                rated_flow: 0.3 / n as f64,
                rated_pressure: 7e5,
            };
            net.nozzle(id, nozzle, 0).expect("nozzle");
        }
    }
    net
}

/// A square grid of mains with a demand at every fifth node (invented numbers of ordinary size).
fn grid(side: usize) -> Network {
    let mut net = Network::new(998.2).expect("density");
    let mut ids = Vec::new();
    for i in 0..side * side {
        let node = if i == 0 {
            net.fixed(0.0, 1e6)
        } else {
            net.junction(
                0.0,
                if i % 5 == 0 {
                    0.5 / (side * side) as f64
                } else {
                    0.0
                },
            )
        };
        ids.push(node.expect("node"));
    }
    for i in 0..side * side {
        let law = Law::Quadratic {
            resistance: 1e6 * (1.0 + (i * 7 % 13) as f64),
        };
        if (i + 1) % side != 0 {
            net.link(ids[i], ids[i + 1], law.clone(), 0).expect("main");
        }
        if i + side < side * side {
            net.link(ids[i], ids[i + side], law, 0).expect("main");
        }
    }
    net
}

fn time(name: &str, net: &Network, rounds: u32) {
    let options = Options::default();
    let start = Instant::now();
    let mut steps = 0;
    for _ in 0..rounds {
        match net.solve(&options) {
            Ok(s) => steps = s.iterations,
            Err(e) => println!("{name}: {e}"),
        }
    }
    let cold = start.elapsed() / rounds;
    let mut solver = match Solver::new(net) {
        Ok(s) => s,
        Err(e) => return println!("{name}: {e}"),
    };
    let start = Instant::now();
    for _ in 0..rounds {
        let _ = std::hint::black_box(solver.solve(net, &options));
    }
    let again = start.elapsed() / rounds;
    println!("{name:>14}: cold with planning {cold:>12.2?}, planned {again:>12.2?}, {steps} steps");
}

fn main() {
    time("tree 20", &tree(20), 2000);
    time("tree 60", &tree(60), 2000);
    time("tree 1000", &tree(1000), 100);
    time("tree 10000", &tree(10_000), 10);
    time("grid 4x4", &grid(4), 2000);
    time("grid 8x8", &grid(8), 1000);
    time("grid 30x30", &grid(30), 50);
    time("grid 100x100", &grid(100), 5);
}
