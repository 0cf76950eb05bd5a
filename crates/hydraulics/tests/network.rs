//! The network's held conditions, limits and refusals. The layouts are invented; what they must come to follows from
//! the laws.

use cutwater_hydraulics::InputError;
use cutwater_hydraulics::network::{
    Held, Infeasible, Law, LinkId, LinkState, Network, NodeId, Options, Rise, RiseLaw, SolveError,
    Solver, SpeedEnd,
};
use cutwater_hydraulics::nozzle::Nozzle;
use cutwater_hydraulics::pump::{PumpCurve, PumpPoints};
use std::cell::Cell;
use std::sync::Arc;

const BAR: f64 = 1e5;

fn curve() -> Arc<PumpCurve> {
    Arc::new(
        PumpCurve::new(PumpPoints {
            tested_speed: 300.0,
            flow: vec![0.0, 0.02, 0.04, 0.06, 0.08, 0.1],
            rise: [15.0, 14.7, 13.9, 12.4, 10.0, 6.5]
                .map(|p| p * BAR)
                .to_vec(),
            power: None,
            npshr: None,
        })
        .unwrap(),
    )
}

fn hose(r: f64) -> Law {
    Law::Quadratic { resistance: r }
}

fn fog(flow: f64) -> Nozzle {
    Nozzle::Fog {
        rated_flow: flow,
        rated_pressure: 7.0 * BAR,
    }
}

/// One pump from a supply at 2 bar, two hose lines with a fog nozzle each.
struct OnePump {
    net: Network,
    pump: LinkId,
    discharge: NodeId,
    ends: [NodeId; 2],
    nozzles: [LinkId; 2],
}

fn one_pump() -> OnePump {
    let mut net = Network::new(1000.0).unwrap();
    let supply = net.fixed(0.0, 2.0 * BAR).unwrap();
    let discharge = net.junction(0.0, 0.0).unwrap();
    let pump = net
        .pump(supply, discharge, Rise::Table(curve()), 0.8, 1)
        .unwrap();
    let mut ends = [discharge; 2];
    let mut nozzles = [pump; 2];
    for k in 0..2 {
        ends[k] = net.junction(3.0 * k as f64, 0.0).unwrap();
        net.link(discharge, ends[k], hose(2e9), 2).unwrap();
        nozzles[k] = net.nozzle(ends[k], fog(0.012), 3).unwrap();
    }
    OnePump {
        net,
        pump,
        discharge,
        ends,
        nozzles,
    }
}

fn infeasible(r: Result<cutwater_hydraulics::network::Solution, SolveError>) -> Infeasible {
    match r {
        Err(SolveError::Infeasible(i)) => i,
        other => panic!("expected an infeasible duty, got {other:?}"),
    }
}

#[test]
fn each_kind_of_held_condition_is_met() {
    let o = one_pump();
    let wants = [
        Held::NodePressure {
            node: o.discharge,
            pressure: 10.0 * BAR,
        },
        Held::NodePressure {
            node: o.ends[1],
            pressure: 7.0 * BAR,
        },
        Held::LinkFlow {
            link: o.nozzles[0],
            flow: 0.011,
        },
        Held::PumpRise {
            pump: o.pump,
            rise: 9.0 * BAR,
        },
    ];
    for held in wants {
        let mut net = o.net.clone();
        let hold = net.hold(held, o.pump, 0.2, 1.3).unwrap();
        let s = net.solve(&Options::default()).unwrap();
        let ratio = s.control[hold.index()];
        assert!((0.2..=1.3).contains(&ratio));
        // The same network at that speed, nothing held, gives the wanted value.
        let mut fixed = o.net.clone();
        fixed.set_speed_ratio(o.pump, ratio).unwrap();
        let s = fixed.solve(&Options::default()).unwrap();
        let (got, want) = match held {
            Held::NodePressure { node, pressure } => (s.pressure(node), pressure),
            Held::LinkFlow { link, flow } => (s.flow(link), flow),
            Held::PumpRise { rise, .. } => (s.pressure(o.discharge) - 2.0 * BAR, rise),
        };
        assert!(((got - want) / want).abs() < 1e-9, "{held:?}: {got}");
    }
}

/// A held pressure is met the same from any starting speed, also where the nozzles are dry at low speed.
#[test]
fn a_held_pressure_is_found_from_any_start() {
    let mut net = Network::new(1000.0).unwrap();
    let water = net.fixed(-3.0, 0.0).unwrap();
    let intake = net.junction(0.0, 0.0).unwrap();
    let discharge = net.junction(0.0, 0.0).unwrap();
    let top = net.junction(40.0, 0.0).unwrap();
    net.link(water, intake, hose(1e7), 0).unwrap();
    let pump = net
        .pump(intake, discharge, Rise::Table(curve()), 1.0, 0)
        .unwrap();
    net.link(discharge, top, hose(1e9), 0).unwrap();
    net.nozzle(top, fog(0.02), 0).unwrap();
    net.hold(
        Held::NodePressure {
            node: top,
            pressure: 5.0 * BAR,
        },
        pump,
        0.05,
        1.5,
    )
    .unwrap();
    let mut found = Vec::new();
    for start in [0.06, 0.3, 0.7, 1.0, 1.49] {
        net.set_speed_ratio(pump, start).unwrap();
        let s = net.solve(&Options::default()).unwrap();
        assert!((s.pressure(top) / BAR - 5.0).abs() < 1e-8);
        found.push(s.control[0]);
    }
    for r in &found {
        assert!((r - found[0]).abs() < 1e-8, "{found:?}");
    }
}

#[test]
fn a_speed_limit_is_named_with_what_it_reaches() {
    let o = one_pump();
    for (pressure, want) in [
        (20.0 * BAR, SpeedEnd::Largest),
        (2.5 * BAR, SpeedEnd::Least),
    ] {
        let mut net = o.net.clone();
        net.hold(
            Held::NodePressure {
                node: o.discharge,
                pressure,
            },
            o.pump,
            0.5,
            1.1,
        )
        .unwrap();
        match infeasible(net.solve(&Options::default())) {
            Infeasible::SpeedLimit {
                end,
                ratio,
                reached,
                wanted,
                ..
            } => {
                assert_eq!(end, want);
                assert_eq!(wanted, pressure);
                let at = if want == SpeedEnd::Largest { 1.1 } else { 0.5 };
                assert_eq!(ratio, at);
                let mut fixed = o.net.clone();
                fixed.set_speed_ratio(o.pump, at).unwrap();
                let s = fixed.solve(&Options::default()).unwrap();
                assert!((s.pressure(o.discharge) - reached).abs() < 1e-3);
            }
            other => panic!("{other:?}"),
        }
    }
}

/// Three pumps in a relay, each holding its discharge pressure; the speeds found must be those that give them.
#[test]
fn a_relay_holds_every_discharge_pressure() {
    let mut net = Network::new(1000.0).unwrap();
    let main = net.fixed(0.0, 3.0 * BAR).unwrap();
    let mut at = main;
    let mut pumps = Vec::new();
    for _ in 0..3 {
        let intake = net.junction(0.0, 0.0).unwrap();
        let out = net.junction(0.0, 0.0).unwrap();
        net.link(at, intake, hose(3e8), 0).unwrap();
        pumps.push((
            net.pump(intake, out, Rise::Table(curve()), 0.9, 0).unwrap(),
            out,
        ));
        at = out;
    }
    let end = net.junction(5.0, 0.0).unwrap();
    net.link(at, end, hose(3e8), 0).unwrap();
    net.nozzle(end, fog(0.03), 0).unwrap();
    let wants = [9.0 * BAR, 10.5 * BAR, 12.0 * BAR];
    for ((pump, out), pressure) in pumps.iter().zip(wants) {
        let held = Held::NodePressure {
            node: *out,
            pressure,
        };
        net.hold(held, *pump, 0.2, 1.2).unwrap();
    }
    let s = net.solve(&Options::default()).unwrap();
    for ((_, out), pressure) in pumps.iter().zip(wants) {
        assert!((s.pressure(*out) / pressure - 1.0).abs() < 1e-9);
    }
}

/// A pressure that cannot be reached is named even when the other held condition can be met.
#[test]
fn one_limit_among_several_holds_is_named() {
    let mut net = Network::new(1000.0).unwrap();
    let main = net.fixed(0.0, 3.0 * BAR).unwrap();
    let a = net.junction(0.0, 0.0).unwrap();
    let b = net.junction(0.0, 0.0).unwrap();
    let p1 = net.pump(main, a, Rise::Table(curve()), 0.9, 0).unwrap();
    let mid = net.junction(0.0, 0.0).unwrap();
    net.link(a, mid, hose(3e8), 0).unwrap();
    let p2 = net.pump(mid, b, Rise::Table(curve()), 0.9, 0).unwrap();
    net.nozzle(b, fog(0.03), 0).unwrap();
    let first = Held::NodePressure {
        node: a,
        pressure: 9.0 * BAR,
    };
    let second = Held::NodePressure {
        node: b,
        pressure: 60.0 * BAR,
    };
    net.hold(first, p1, 0.2, 1.2).unwrap();
    let hold = net.hold(second, p2, 0.2, 1.2).unwrap();
    match infeasible(net.solve(&Options::default())) {
        Infeasible::SpeedLimit { hold: h, end, .. } => {
            assert_eq!(h, hold);
            assert_eq!(end, SpeedEnd::Largest);
        }
        other => panic!("{other:?}"),
    }
}

/// A nozzle that holds its own pressure gives no speed: a whole range meets it.
#[test]
fn holding_what_holds_itself_is_not_unique() {
    let mut net = Network::new(1000.0).unwrap();
    let supply = net.fixed(0.0, 2.0 * BAR).unwrap();
    let out = net.junction(0.0, 0.0).unwrap();
    let end = net.junction(0.0, 0.0).unwrap();
    let pump = net.pump(supply, out, Rise::Table(curve()), 0.8, 0).unwrap();
    net.link(out, end, hose(1e9), 0).unwrap();
    net.nozzle(
        end,
        Nozzle::PressureHolding {
            set_pressure: 7.0 * BAR,
            least_flow: 0.004,
            largest_flow: 0.04,
        },
        0,
    )
    .unwrap();
    net.hold(
        Held::NodePressure {
            node: end,
            pressure: 7.0 * BAR,
        },
        pump,
        0.5,
        1.2,
    )
    .unwrap();
    assert!(matches!(
        infeasible(net.solve(&Options::default())),
        Infeasible::HoldNotUnique { .. }
    ));
}

/// Two nozzles that hold one pressure at one node share the flow in no certain way.
#[test]
fn two_holding_nozzles_on_one_node_are_not_unique() {
    let holding = Nozzle::PressureHolding {
        set_pressure: 7.0 * BAR,
        least_flow: 0.004,
        largest_flow: 0.04,
    };
    let mut net = Network::new(1000.0).unwrap();
    let source = net.fixed(0.0, 12.0 * BAR).unwrap();
    let end = net.junction(0.0, 0.0).unwrap();
    net.link(source, end, hose(1e9), 0).unwrap();
    net.nozzle(end, holding, 0).unwrap();
    let second = net.nozzle(end, holding, 0).unwrap();
    assert_eq!(
        infeasible(net.solve(&Options::default())),
        Infeasible::NotUnique { link: second }
    );
}

#[test]
fn layouts_without_one_answer_are_refused() {
    // A node that nothing reaches.
    let mut net = Network::new(1000.0).unwrap();
    net.fixed(0.0, BAR).unwrap();
    let lost = net.junction(0.0, 0.01).unwrap();
    assert_eq!(
        infeasible(net.solve(&Options::default())),
        Infeasible::Disconnected { node: lost }
    );
    // A ring without resistance.
    let mut net = Network::new(1000.0).unwrap();
    let a = net.fixed(0.0, BAR).unwrap();
    let b = net.junction(0.0, 0.01).unwrap();
    net.link(a, b, hose(0.0), 0).unwrap();
    let second = net.link(a, b, hose(0.0), 0).unwrap();
    assert_eq!(
        infeasible(net.solve(&Options::default())),
        Infeasible::NotUnique { link: second }
    );
    // One joint without loss is fine.
    let mut net = Network::new(1000.0).unwrap();
    let a = net.fixed(0.0, BAR).unwrap();
    let b = net.junction(0.0, 0.01).unwrap();
    let joint = net.link(a, b, hose(0.0), 0).unwrap();
    let s = net.solve(&Options::default()).unwrap();
    assert!((s.pressure(b) - BAR).abs() < 1e-6);
    assert!((s.flow(joint) - 0.01).abs() < 1e-12);
    // Nothing at all.
    let net = Network::new(1000.0).unwrap();
    assert!(matches!(
        net.solve(&Options::default()),
        Err(SolveError::Input(InputError::Shape { .. }))
    ));
}

#[test]
fn a_demand_behind_a_valve_that_points_away_is_cut_off() {
    let mut net = Network::new(1000.0).unwrap();
    let a = net.fixed(0.0, 5.0 * BAR).unwrap();
    let b = net.junction(0.0, 0.01).unwrap();
    net.check_valve(b, a, hose(1e8), 0).unwrap();
    assert_eq!(
        infeasible(net.solve(&Options::default())),
        Infeasible::CutOff { node: b }
    );
}

#[test]
fn a_part_cut_off_by_shut_valves_stays_still() {
    // Two check valves in a row towards a source of higher pressure: both shut, the node between at rest.
    let mut net = Network::new(1000.0).unwrap();
    let low = net.fixed(0.0, 3.0 * BAR).unwrap();
    let high = net.fixed(0.0, 6.0 * BAR).unwrap();
    let between = net.junction(0.0, 0.0).unwrap();
    let out = net.junction(0.0, 0.0).unwrap();
    let first = net.check_valve(low, between, hose(1e8), 0).unwrap();
    let second = net.check_valve(between, out, hose(1e8), 0).unwrap();
    let line = net.link(high, out, hose(1e9), 0).unwrap();
    let nozzle = net.nozzle(out, fog(0.01), 0).unwrap();
    let s = net.solve(&Options::default()).unwrap();
    for valve in [first, second] {
        assert_eq!(s.state(valve), Some(LinkState::Shut));
        assert_eq!(s.flow(valve), 0.0);
    }
    assert!(s.pressure(between) >= 3.0 * BAR - 1.0);
    assert!(s.pressure(between) <= s.pressure(out) + 1.0);
    assert!((s.flow(line) - s.flow(nozzle)).abs() < 1e-14);
}

#[test]
fn nozzles_out_of_reach_give_nothing() {
    let mut net = Network::new(1000.0).unwrap();
    let source = net.fixed(0.0, 2.0 * BAR).unwrap();
    let roof = net.junction(60.0, 0.0).unwrap();
    net.link(source, roof, hose(1e9), 0).unwrap();
    net.nozzle(roof, fog(0.01), 0).unwrap();
    assert_eq!(
        infeasible(net.solve(&Options::default())),
        Infeasible::NothingFlows
    );
    // With a second nozzle lower down, only the high one is dry.
    let street = net.junction(0.0, 0.0).unwrap();
    net.link(source, street, hose(1e9), 0).unwrap();
    net.nozzle(street, fog(0.01), 0).unwrap();
    let s = net.solve(&Options::default()).unwrap();
    assert_eq!(
        s.link_state,
        [
            LinkState::Open,
            LinkState::Dry,
            LinkState::Open,
            LinkState::Open
        ]
    );
    assert_eq!(s.link_flow[1], 0.0);
}

#[test]
fn a_pump_off_its_curve_is_refused() {
    // Wide open, beyond the last tested flow.
    let mut net = Network::new(1000.0).unwrap();
    let supply = net.fixed(0.0, 2.0 * BAR).unwrap();
    let out = net.junction(0.0, 0.0).unwrap();
    let pump = net.pump(supply, out, Rise::Table(curve()), 1.0, 0).unwrap();
    net.nozzle(out, fog(0.5), 0).unwrap();
    match infeasible(net.solve(&Options::default())) {
        Infeasible::PumpOffCurve {
            link,
            flow,
            highest,
            ..
        } => {
            assert_eq!(link, pump);
            assert!(flow > 0.1 && (highest - 0.1).abs() < 1e-12);
        }
        other => panic!("{other:?}"),
    }
    // Pushed backwards by a stronger source.
    let mut net = Network::new(1000.0).unwrap();
    let supply = net.fixed(0.0, 0.0).unwrap();
    let strong = net.fixed(0.0, 30.0 * BAR).unwrap();
    let out = net.junction(0.0, 0.0).unwrap();
    let pump = net.pump(supply, out, Rise::Table(curve()), 1.0, 0).unwrap();
    net.link(strong, out, hose(1e9), 0).unwrap();
    match infeasible(net.solve(&Options::default())) {
        Infeasible::PumpOffCurve { link, flow, .. } => {
            assert_eq!(link, pump);
            assert!(flow < 0.0);
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_supply_that_cannot_give_says_what_it_can() {
    let mut net = Network::new(1000.0).unwrap();
    let main = net.fixed(0.0, 5.0 * BAR).unwrap();
    let out = net.junction(0.0, 0.03).unwrap();
    let hydrant = net.link(main, out, hose(1e8), 0).unwrap();
    net.limit_flow(hydrant, 0.02).unwrap();
    match infeasible(net.solve(&Options::default())) {
        Infeasible::SupplyCannotGive {
            link,
            wanted,
            can_give,
        } => {
            assert_eq!(link, hydrant);
            assert!((wanted - 0.03).abs() < 1e-12);
            assert_eq!(can_give, 0.02);
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn limits_of_iterations_and_cancelling_are_kept() {
    let o = one_pump();
    let few = Options {
        max_iterations: 2,
        cancel: None,
    };
    match o.net.solve(&few) {
        Err(SolveError::NotConverged { iterations, .. }) => assert_eq!(iterations, 2),
        other => panic!("{other:?}"),
    }
    let asked = Cell::new(0);
    let stop = || {
        asked.set(asked.get() + 1);
        asked.get() > 3
    };
    let options = Options {
        cancel: Some(&stop),
        ..Options::default()
    };
    match o.net.solve(&options) {
        Err(SolveError::Cancelled { iterations }) => assert_eq!(iterations, 3),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_solver_serves_the_same_layout_again_and_no_other() {
    let mut o = one_pump();
    let mut solver = Solver::new(&o.net).unwrap();
    let first = solver.solve(&o.net, &Options::default()).unwrap();
    o.net.set_speed_ratio(o.pump, 1.0).unwrap();
    let faster = solver.solve(&o.net, &Options::default()).unwrap();
    assert!(faster.pressure(o.discharge) > first.pressure(o.discharge));
    o.net.set_speed_ratio(o.pump, 0.8).unwrap();
    let again = solver.solve(&o.net, &Options::default()).unwrap();
    assert_eq!(again, first, "a cold start gives the same numbers again");
    o.net.junction(0.0, 0.0).unwrap();
    assert!(matches!(
        solver.solve(&o.net, &Options::default()),
        Err(SolveError::Input(_))
    ));
}

#[test]
fn a_pump_on_a_rising_stretch_is_marked() {
    let hump = Arc::new(
        PumpCurve::new(PumpPoints {
            tested_speed: 300.0,
            flow: vec![0.0, 0.02, 0.04, 0.06, 0.08],
            rise: [10.0, 11.0, 11.5, 10.5, 8.0].map(|p| p * BAR).to_vec(),
            power: None,
            npshr: None,
        })
        .unwrap(),
    );
    let solve = |flow: f64| {
        let mut net = Network::new(1000.0).unwrap();
        let supply = net.fixed(0.0, 0.0).unwrap();
        let out = net.junction(0.0, 0.0).unwrap();
        let pump = net
            .pump(supply, out, Rise::Table(hump.clone()), 1.0, 0)
            .unwrap();
        net.nozzle(out, fog(flow), 0).unwrap();
        let s = net.solve(&Options::default()).unwrap();
        s.state(pump).unwrap()
    };
    assert_eq!(solve(0.01), LinkState::RisingCurve);
    assert_eq!(solve(0.05), LinkState::Open);
}

/// A law of the caller's own: the table's pump as a trait object gives the same answer.
#[test]
fn a_custom_law_is_solved_like_a_table() {
    #[derive(Debug)]
    struct Own(Arc<PumpCurve>);
    impl RiseLaw for Own {
        fn rise_and_slope(&self, flow: f64, ratio: f64) -> (f64, f64) {
            let w = 300.0 * ratio;
            (
                self.0.rise(flow, w).unwrap(),
                self.0.rise_slope(flow, w).unwrap(),
            )
        }
        fn domain(&self, ratio: f64) -> (f64, f64) {
            self.0.domain(300.0 * ratio).unwrap()
        }
    }
    let solve = |rise: Rise| {
        let mut net = Network::new(1000.0).unwrap();
        let supply = net.fixed(0.0, BAR).unwrap();
        let out = net.junction(0.0, 0.0).unwrap();
        net.pump(supply, out, rise, 0.9, 0).unwrap();
        net.nozzle(out, fog(0.03), 0).unwrap();
        net.solve(&Options::default()).unwrap().pressure(out)
    };
    let (a, b) = (
        solve(Rise::Table(curve())),
        solve(Rise::Custom(Arc::new(Own(curve())))),
    );
    assert!((a - b).abs() < 1e-6 * a);
}

#[test]
fn wrong_numbers_are_refused_where_they_enter() {
    let mut net = Network::new(1000.0).unwrap();
    assert!(Network::new(0.0).is_err());
    let a = net.fixed(0.0, BAR).unwrap();
    let b = net.junction(0.0, 0.0).unwrap();
    assert!(net.fixed(f64::NAN, 0.0).is_err());
    assert!(net.junction(0.0, f64::INFINITY).is_err());
    assert!(net.link(a, a, hose(1.0), 0).is_err());
    assert!(net.link(a, b, hose(-1.0), 0).is_err());
    assert!(
        net.link(
            a,
            b,
            Law::Power {
                coefficient: 1.0,
                exponent: 0.5
            },
            0
        )
        .is_err()
    );
    assert!(net.pump(a, b, Rise::Table(curve()), 0.0, 0).is_err());
    let growing = Rise::Quadratic {
        shut_off: BAR,
        linear: 0.0,
        square: 1.0,
        max_flow: f64::INFINITY,
    };
    assert!(net.pump(a, b, growing, 1.0, 0).is_err());
    assert!(net.nozzle(b, fog(-1.0), 0).is_err());
    let line = net.link(a, b, hose(1e8), 0).unwrap();
    let held = Held::NodePressure {
        node: b,
        pressure: BAR,
    };
    assert!(net.hold(held, line, 0.5, 1.0).is_err(), "a hose is no pump");
    let pump = net.pump(a, b, Rise::Table(curve()), 1.0, 0).unwrap();
    assert!(net.hold(held, pump, 1.0, 0.5).is_err());
    let known = Held::NodePressure {
        node: a,
        pressure: BAR,
    };
    assert!(net.hold(known, pump, 0.5, 1.0).is_err());
    net.hold(held, pump, 0.5, 1.0).unwrap();
    assert!(net.hold(held, pump, 0.5, 1.0).is_err(), "held twice");
    assert!(net.limit_flow(line, f64::NAN).is_err());
    assert!(net.set_demand(a, 1.0).is_err());
    assert!(net.set_fixed_pressure(b, 1.0).is_err());
    assert!(net.set_speed_ratio(line, 1.0).is_err());
}
