//! Measures the network solver: cold solves of trees and grids, how the time grows with the size, and the same networks
//! solved by numpy and scipy in the same run (`network_peer.py` beside this file). A tool for whoever works on the solver;
//! nothing is asserted but that both find the same flows. Run with
//! `cargo run --release --example compare -p cutwater-hydraulics`; `PYTHON=…` names another python.
#![allow(clippy::print_stdout)]

use cutwater_hydraulics::friction::fireground_resistance_per_metre;
use cutwater_hydraulics::network::{Law, Network, NodeId, Options, Solution, Solver};
use cutwater_hydraulics::nozzle::Nozzle;
use serde_json::{Value, json};
use std::io::Write;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const DENSITY: f64 = 998.2;

/// A network with square losses alone, as both sides build it.
struct Case {
    name: String,
    height: Vec<f64>,
    fixed: Vec<Option<f64>>,
    demand: Vec<f64>,
    /// From, to and resistance.
    links: Vec<(usize, usize, f64)>,
    /// Node, rated flow and pressure.
    nozzles: Vec<(usize, f64, f64)>,
    scale_flow: f64,
}

/// A tree of hoses with a fog nozzle at each leaf (invented numbers of ordinary size).
fn tree(n: usize) -> Case {
    let mut c = Case {
        name: format!("tree of {n} nodes"),
        height: vec![0.0],
        fixed: vec![Some(1.2e6)],
        demand: vec![0.0; n],
        links: Vec::new(),
        nozzles: Vec::new(),
        scale_flow: 0.3,
    };
    let mut children = vec![0; n];
    for i in 1..n {
        let parent = (i - 1) / 3;
        children[parent] += 1;
        let loss = if i < 10 { 0.05 } else { 0.8 };
        let r = fireground_resistance_per_metre(loss).expect("law") * 30.0;
        c.height.push((i % 7) as f64);
        c.fixed.push(None);
        c.links.push((parent, i, r));
    }
    for i in (0..n).filter(|i| children[*i] == 0) {
        c.nozzles.push((i, 0.3 / n as f64, 7e5));
    }
    c
}

/// A square grid of mains with a demand at every fifth node (invented numbers of ordinary size).
fn grid(side: usize) -> Case {
    let n = side * side;
    let mut c = Case {
        name: format!("looped grid of {n} nodes"),
        height: vec![0.0; n],
        fixed: vec![None; n],
        demand: vec![0.0; n],
        links: Vec::new(),
        nozzles: Vec::new(),
        scale_flow: 0.1,
    };
    c.fixed[0] = Some(1e6);
    for i in 0..n {
        let r = 1e6 * (1.0 + (i * 7 % 13) as f64);
        if i > 0 && i % 5 == 0 {
            c.demand[i] = 0.5 / n as f64;
        }
        if (i + 1) % side != 0 {
            c.links.push((i, i + 1, r));
        }
        if i + side < n {
            c.links.push((i, i + side, r));
        }
    }
    c
}

impl Case {
    fn network(&self) -> Network {
        let mut net = Network::new(DENSITY).expect("density");
        let mut ids: Vec<NodeId> = Vec::with_capacity(self.height.len());
        for (i, z) in self.height.iter().enumerate() {
            ids.push(match self.fixed[i] {
                Some(p) => net.fixed(*z, p).expect("source"),
                None => net.junction(*z, self.demand[i]).expect("node"),
            });
        }
        for (a, b, r) in &self.links {
            let law = Law::Quadratic { resistance: *r };
            net.link(ids[*a], ids[*b], law, 0).expect("link");
        }
        for (i, rated_flow, rated_pressure) in &self.nozzles {
            let nozzle = Nozzle::Fog {
                rated_flow: *rated_flow,
                rated_pressure: *rated_pressure,
            };
            net.nozzle(ids[*i], nozzle, 0).expect("nozzle");
        }
        net
    }

    /// For the other side.
    fn json(&self, rounds: u32) -> Value {
        let nozzles = self.nozzles.iter();
        let from: Vec<usize> = self
            .links
            .iter()
            .map(|l| l.0)
            .chain(nozzles.clone().map(|n| n.0))
            .collect();
        let to: Vec<i64> = self
            .links
            .iter()
            .map(|l| l.1 as i64)
            .chain(nozzles.clone().map(|_| -1))
            .collect();
        let resistance: Vec<f64> = self
            .links
            .iter()
            .map(|l| l.2)
            .chain(nozzles.map(|(_, q, p)| p / (q * q)))
            .collect();
        json!({
            "weight": DENSITY * cutwater_hydraulics::STANDARD_GRAVITY,
            "height": self.height, "fixed": self.fixed, "demand": self.demand,
            "from": from, "to": to, "resistance": resistance,
            "scale_flow": self.scale_flow, "sinks": self.height.len(), "rounds": rounds,
        })
    }
}

/// The shortest of several solves from nothing but the network.
fn cold(net: &Network, rounds: u32) -> (Duration, Solution) {
    let options = Options::default();
    let mut best = Duration::MAX;
    let mut last = None;
    for _ in 0..rounds {
        let start = Instant::now();
        let s = net.solve(&options).expect("this network has a solution");
        best = best.min(start.elapsed());
        last = Some(s);
    }
    (best, last.expect("at least one round"))
}

/// As [`cold`] with the layout planned already.
fn planned(net: &Network, rounds: u32) -> Duration {
    let options = Options::default();
    let mut solver = Solver::new(net).expect("a layout");
    let times = (0..rounds).map(|_| {
        let start = Instant::now();
        let _ = std::hint::black_box(solver.solve(net, &options));
        start.elapsed()
    });
    times.min().unwrap_or_default()
}

/// The slope of log time over log size by least squares.
fn exponent(points: &[(f64, f64)]) -> f64 {
    let n = points.len() as f64;
    let logs = points.iter().map(|(x, y)| (x.ln(), y.ln()));
    let (sx, sy) = logs
        .clone()
        .fold((0.0, 0.0), |s, (x, y)| (s.0 + x, s.1 + y));
    let (mx, my) = (sx / n, sy / n);
    let (top, bottom) = logs.fold((0.0, 0.0), |s, (x, y)| {
        (s.0 + (x - mx) * (y - my), s.1 + (x - mx) * (x - mx))
    });
    top / bottom
}

/// What the other side says, and how long its whole process took; `None` where it cannot run.
fn peer(case: &Case, rounds: u32) -> Option<(Value, Duration)> {
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/network_peer.py");
    let start = Instant::now();
    let mut child = Command::new(python)
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .ok()?;
    let text = case.json(rounds).to_string();
    child.stdin.take()?.write_all(text.as_bytes()).ok()?;
    let out = child.wait_with_output().ok()?;
    let took = start.elapsed();
    serde_json::from_slice(&out.stdout).ok().map(|v| (v, took))
}

/// The shortest whole process of this program that builds and solves one tree.
fn own_process() -> Option<Duration> {
    let me = std::env::current_exe().ok()?;
    let run = || {
        let start = Instant::now();
        let ok = Command::new(&me)
            .arg("--alone")
            .stdout(Stdio::null())
            .status()
            .ok()?
            .success();
        ok.then(|| start.elapsed())
    };
    (0..10).filter_map(|_| run()).min()
}

fn main() {
    if std::env::args().any(|a| a == "--alone") {
        let (_, s) = cold(&tree(20).network(), 1);
        println!("{:?}", s.link_flow);
        return;
    }
    println!("cold: from a built network to its solution; planned: its layout known");
    for (case, rounds) in [
        (tree(20), 2000),
        (tree(60), 2000),
        (tree(1000), 100),
        (tree(10_000), 10),
        (grid(8), 1000),
        (grid(30), 50),
        (grid(100), 8),
    ] {
        let net = case.network();
        let (time, s) = cold(&net, rounds);
        println!(
            "{:>26}: cold {time:>10.2?}, planned {:>10.2?}, {} steps, residuals {:.0e} of flow, {:.0e} of pressure",
            case.name,
            planned(&net, rounds),
            s.iterations,
            s.residual_mass_relative,
            s.residual_energy_relative
        );
    }
    for (name, build, sizes) in [
        (
            "trees",
            tree as fn(usize) -> Case,
            [100, 300, 1000, 3000, 10_000, 20_000],
        ),
        (
            "grids",
            |n| grid((n as f64).sqrt() as usize),
            [100, 300, 1000, 3000, 10_000, 20_000],
        ),
    ] {
        let times = sizes.map(|n| {
            let net = build(n).network();
            (
                n as f64,
                cold(&net, (30_000 / n as u32).clamp(3, 200))
                    .0
                    .as_secs_f64(),
            )
        });
        println!(
            "{name} of {} to {} nodes: time grows with the power {:.2} of the size",
            sizes[0],
            sizes[5],
            exponent(&times)
        );
    }
    for (case, rounds) in [
        (tree(20), 20),
        (tree(60), 10),
        (grid(30), 3),
        (grid(100), 2),
    ] {
        let net = case.network();
        let (ours, s) = cold(&net, rounds * 20);
        let Some((theirs, process)) = peer(&case, rounds) else {
            println!("no python3 with numpy and scipy here: nothing to compare with");
            return;
        };
        let flows: Vec<f64> = theirs["flow"]
            .as_array()
            .expect("flows")
            .iter()
            .filter_map(Value::as_f64)
            .collect();
        let largest = s.link_flow.iter().fold(0.0_f64, |m, q| m.max(q.abs()));
        let off = s
            .link_flow
            .iter()
            .zip(&flows)
            .map(|(a, b)| (a - b).abs() / largest)
            .fold(0.0, f64::max);
        assert!(
            flows.len() == s.link_flow.len() && off < 1e-6,
            "{}: flows differ by {off:e}",
            case.name
        );
        let seconds = theirs["seconds"].as_f64().unwrap_or(f64::NAN);
        println!(
            "{:>26}: the peer takes {:.3} ms, {:.0} times as long for a solve (flows agree to {off:.0e})",
            case.name,
            seconds * 1e3,
            seconds / ours.as_secs_f64()
        );
        if case.height.len() == 20
            && let Some(own) = own_process()
        {
            let one = (0..3)
                .filter_map(|_| peer(&case, 1))
                .map(|p| p.1)
                .min()
                .unwrap_or(process);
            println!(
                "{:>26}: its whole process {one:.1?}, {:.0} times as long as ours",
                "",
                one.as_secs_f64() / own.as_secs_f64()
            );
        }
    }
}
