//! A duty's system as numbers: everything the solver is told, read once, apart from solving it.
//!
//! Every number keeps its tolerance ([`Numbers`]); the parts hold only its place ([`N`]). So one reading serves the
//! solution with all numbers at their nominal, and any number of others with each somewhere within its limits. Nothing
//! here reads the spec or reports: what is missing or wrong was said where it is written.
//!
//! Invariants: parts stand in the order of the lay; `x` is as long as the numbers; no solution is given that did not
//! converge, or in which the water parts or a regulated nozzle cannot decide.

use super::hold::{AtWork, Hold};
use super::lay::{Graph, StationKind};
use super::{CUT_OFF, FeedPoint, PumpPoint, RunPoint, StationPoint};
use crate::DeclId;
use crate::kinds::drive::points::EngineModel;
use crate::kinds::line::gate_coefficient;
use crate::kinds::pump::wear::Wear;
use cutwater_hydraulics::STANDARD_GRAVITY;
use cutwater_hydraulics::atmosphere::pressure_at_altitude;
use cutwater_hydraulics::friction::{
    DarcyPipe, appliance_resistance, hazen_williams_coefficient, minor_resistance,
    velocity_pressure,
};
use cutwater_hydraulics::network::{
    Held, HoldId, Law, LinkId, LinkState, Network, NodeId, Options, Rise, Solution, SolveError,
};
use cutwater_hydraulics::nozzle::Nozzle;
use cutwater_hydraulics::pump::PumpCurve;
use cutwater_hydraulics::supply::{HYDRANT_EXPONENT, Hydrant};
use cutwater_hydraulics::water::Water;
use cutwater_quantity::{InputId, Tol};
use smol_str::SmolStr;
use std::f64::consts::FRAC_PI_4;
use std::sync::Arc;

/// The place of a number of a system.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) struct N(u32);

impl N {
    /// Its value among the numbers of a sample.
    pub(crate) fn of(self, x: &[f64]) -> f64 {
        x[self.0 as usize]
    }
}

/// The numbers of a system.
#[derive(Clone, Debug, Default)]
pub(crate) struct Numbers {
    all: Vec<Tol>,
    /// What inputs are called that stand in no field of their own: in a `hold` line, or in a lay.
    names: Vec<(InputId, String)>,
}

impl Numbers {
    /// Keeps a number.
    pub(crate) fn keep(&mut self, value: Tol) -> N {
        self.all.push(value);
        N(self.all.len() as u32 - 1)
    }

    /// Keeps a number that stands in no field, with what it is called.
    pub(crate) fn keep_as(&mut self, value: Tol, name: impl FnOnce() -> String) -> N {
        let new = |i: &InputId| crate::db::is_loose(*i) && self.names.iter().all(|n| n.0 != *i);
        let inputs: Vec<InputId> = value.inputs().filter(new).collect();
        if !inputs.is_empty() {
            let name = name();
            self.names
                .extend(inputs.into_iter().map(|i| (i, name.clone())));
        }
        self.keep(value)
    }

    /// What an input is called that stands in no field of its own.
    pub(crate) fn name(&self, input: InputId) -> Option<&str> {
        let named = self.names.iter().find(|n| n.0 == input);
        named.map(|n| n.1.as_str())
    }

    /// All of them, in SI units.
    pub(crate) fn all(&self) -> &[Tol] {
        &self.all
    }

    /// The nominal value of one, in SI units.
    pub(crate) fn nominal(&self, n: N) -> f64 {
        self.all[n.0 as usize].nominal()
    }

    /// All at their nominal.
    pub(crate) fn nominals(&self) -> Vec<f64> {
        self.all.iter().map(Tol::nominal).collect()
    }
}

/// What the air's pressure is worked out from.
#[derive(Clone, Copy, Debug)]
pub(crate) enum AirPressure {
    /// A barometer at the site, Pa absolute.
    Barometer(N),
    /// The altitude, m.
    Altitude(N),
}

/// What the properties of air and water are worked out from.
#[derive(Clone, Copy, Debug)]
pub(crate) struct AirAndWater {
    pub(super) pressure: AirPressure,
    /// Of the water, K.
    pub(super) temperature: N,
    pub(super) relative_density: N,
}

/// Properties of air and water, SI units, pressures absolute.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Air {
    /// Of the water, J/(kg·K).
    pub(super) specific_heat: f64,
    pub(super) atmospheric: f64,
    pub(super) vapour: f64,
    pub(super) density: f64,
    pub(super) viscosity: f64,
}

impl AirAndWater {
    /// The properties; `None` outside the formulas.
    pub(super) fn at(&self, x: &[f64]) -> Option<Air> {
        let water = Water::at(self.temperature.of(x), 101_325.0).ok()?;
        Some(Air {
            specific_heat: water.specific_heat,
            atmospheric: match self.pressure {
                AirPressure::Barometer(p) => p.of(x),
                AirPressure::Altitude(z) => pressure_at_altitude(z.of(x)).ok()?,
            },
            vapour: water.vapour_pressure,
            density: water.density * self.relative_density.of(x),
            viscosity: water.viscosity,
        })
    }
}

/// How a hose loses pressure.
#[derive(Clone, Copy, Debug)]
pub(crate) enum HoseLaw {
    /// `pressure` for `length` at `flow`, with the square of the flow.
    Square { pressure: N, length: N, flow: N },
    /// Hazen–Williams.
    HazenWilliams { diameter: N, coefficient: N },
    /// Darcy–Weisbach.
    Darcy { diameter: N, roughness: N },
}

impl HoseLaw {
    fn law(&self, x: &[f64], length: f64, density: f64, viscosity: f64) -> Option<Law> {
        Some(match *self {
            Self::Square {
                pressure: p,
                length: l,
                flow: q,
            } => Law::Quadratic {
                resistance: p.of(x) / (l.of(x) * q.of(x) * q.of(x)) * length,
            },
            Self::HazenWilliams {
                diameter,
                coefficient,
            } => Law::Power {
                coefficient: hazen_williams_coefficient(
                    diameter.of(x),
                    length,
                    coefficient.of(x),
                    density,
                )
                .ok()?,
                exponent: 1.0 / 0.54,
            },
            Self::Darcy {
                diameter,
                roughness,
            } => Law::Darcy(
                DarcyPipe::new(
                    diameter.of(x),
                    length,
                    roughness.of(x),
                    density,
                    viscosity,
                    0.0,
                )
                .ok()?,
            ),
        })
    }
}

/// How an appliance loses pressure.
#[derive(Clone, Debug)]
pub(crate) enum ApplianceLaw {
    /// A gate: its opening, its diameter, and the logarithms of its loss coefficients over its openings.
    Gate {
        opening: N,
        diameter: N,
        table: Arc<[(f64, f64)]>,
    },
    /// `pressure` at `flow`.
    At { pressure: N, flow: N },
    /// A loss coefficient at a diameter.
    Coefficient { coefficient: N, diameter: N },
}

impl ApplianceLaw {
    /// Its resistance, and whether it is shut.
    fn at(&self, x: &[f64], density: f64) -> Option<(f64, bool)> {
        let open = match self {
            Self::At { pressure, flow } => appliance_resistance(pressure.of(x), flow.of(x)).ok()?,
            Self::Coefficient {
                coefficient,
                diameter,
            } => minor_resistance(coefficient.of(x), diameter.of(x), density).ok()?,
            Self::Gate {
                opening,
                diameter,
                table,
            } => {
                let opening = opening.of(x);
                let shut = opening <= 0.0;
                // A shut gate has a law all the same: that of its least opening.
                let at = if shut { table.first()?.0 } else { opening };
                let k = gate_coefficient(table, at)?;
                return Some((minor_resistance(k, diameter.of(x), density).ok()?, shut));
            }
        };
        Some((open, false))
    }

    /// Whether nothing passes.
    fn shut(&self, x: &[f64]) -> bool {
        matches!(self, Self::Gate { opening, .. } if opening.of(x) <= 0.0)
    }
}

/// How a nozzle passes water.
#[derive(Clone, Copy, Debug)]
pub(crate) enum NozzleLaw {
    Smooth {
        tip: N,
        coefficient: N,
    },
    Fog {
        flow: N,
        pressure: N,
    },
    /// Holds its pressure over a range of flows, m³/s.
    Holding {
        pressure: N,
        least: f64,
        largest: f64,
    },
    /// Keeps its flow from its rated pressure on.
    Regulated {
        flow: N,
        pressure: N,
    },
}

impl NozzleLaw {
    fn nozzle(&self, x: &[f64]) -> Option<Nozzle> {
        let law = match *self {
            Self::Smooth { tip, coefficient } => Nozzle::SmoothBore {
                diameter: tip.of(x),
                discharge_coefficient: coefficient.of(x),
            },
            // Below its least pressure a regulator is a fixed opening.
            Self::Fog { flow, pressure } | Self::Regulated { flow, pressure } => Nozzle::Fog {
                rated_flow: flow.of(x),
                rated_pressure: pressure.of(x),
            },
            Self::Holding {
                pressure,
                least,
                largest,
            } => Nozzle::PressureHolding {
                set_pressure: pressure.of(x),
                least_flow: least,
                largest_flow: largest,
            },
        };
        law.check().is_ok().then_some(law)
    }

    /// The flow that is kept and the pressure that takes.
    fn kept(&self, x: &[f64]) -> Option<(f64, f64)> {
        match self {
            Self::Regulated { flow, pressure } => Some((flow.of(x), pressure.of(x))),
            _ => None,
        }
    }
}

/// A station of the lay.
#[derive(Clone, Debug)]
pub(crate) struct Station {
    pub(super) label: Option<SmolStr>,
    pub(super) decl: DeclId,
    pub(super) law: StationLaw,
    /// Its bore where the water enters, where it is stated.
    pub(super) bore: Option<N>,
}

/// What a station does.
#[derive(Clone, Debug)]
pub(crate) enum StationLaw {
    Nozzle(NozzleLaw),
    Appliance { law: ApplianceLaw, one_way: bool },
}

/// A run of hose.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Run {
    pub(super) law: HoseLaw,
    pub(super) length: N,
    pub(super) diameter: Option<N>,
    pub(super) suction: bool,
}

/// Hose between a supply and the point it feeds.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Lead {
    pub(super) hose: DeclId,
    pub(super) law: HoseLaw,
    pub(super) length: N,
    pub(super) diameter: Option<N>,
}

/// Where water comes from.
#[derive(Clone, Debug)]
pub(crate) enum Source {
    Draft {
        lift: N,
        suction: Option<Lead>,
        strainer: Option<ApplianceLaw>,
        lines: u32,
    },
    Hydrant {
        pressure: N,
        residual: (N, N),
        elevation: N,
        hose: Option<Lead>,
        lines: u32,
    },
    Tank {
        level: N,
        loss: (N, N),
    },
}

impl Source {
    /// Whether a gate in it lets nothing pass.
    fn shut(&self, x: &[f64]) -> bool {
        matches!(self, Self::Draft { strainer: Some(s), .. } if s.shut(x))
    }

    /// Its hose and the number of lines side by side.
    fn hose(&self) -> Option<(&Lead, u32)> {
        match self {
            Self::Draft { suction, lines, .. } => Some((suction.as_ref()?, *lines)),
            Self::Hydrant { hose, lines, .. } => Some((hose.as_ref()?, *lines)),
            Self::Tank { .. } => None,
        }
    }
}

/// A supply at the point of the lay that it feeds.
#[derive(Clone, Debug)]
pub(crate) struct Feed {
    pub(super) supply: DeclId,
    pub(super) point: usize,
    pub(super) source: Source,
}

/// A pump's curves.
#[derive(Clone, Debug)]
pub(crate) struct Curves {
    pub(super) rise: Arc<PumpCurve>,
    pub(super) power: Option<Arc<PumpCurve>>,
    pub(super) npshr: Option<Arc<PumpCurve>>,
}

/// A system.
#[derive(Clone, Debug)]
pub(crate) struct System {
    pub(super) numbers: Numbers,
    pub(super) graph: Graph,
    pub(super) air: AirAndWater,
    /// Of each point, above the first pump, m.
    pub(super) heights: Vec<N>,
    pub(super) feeds: Vec<Feed>,
    pub(super) stations: Vec<Station>,
    pub(super) runs: Vec<Run>,
    pub(super) pumps: Vec<AtWork>,
    /// Of each pump, with its rings at their nominal.
    pub(super) curves: Vec<Curves>,
    /// Of each pump whose rings have tolerances.
    pub(super) wear: Vec<Option<Wear>>,
    /// Of each pump that something is said to turn. Its numbers have no tolerance here.
    pub(super) engines: Vec<Option<EngineModel>>,
}

/// A network of a system with what its parts became in it.
pub(crate) struct Wired {
    net: Network,
    /// Of each point that is used and that a shut gate does not cut off.
    pub(super) nodes: Vec<Option<NodeId>>,
    /// The link of each station; none where a flow is taken out as it is, or where no water comes.
    stations: Vec<Option<LinkId>>,
    nozzles: Vec<Option<Nozzle>>,
    runs: Vec<Vec<LinkId>>,
    /// The links out of each supply.
    feeds: Vec<Vec<LinkId>>,
    /// The curves of each pump.
    curves: Vec<Curves>,
    /// The link of each pump.
    pub(super) pumps: Vec<LinkId>,
    /// What each pump holds, where that is not its speed.
    pub(super) held: Vec<Option<HoldId>>,
}

impl Wired {
    fn node(&self, point: usize) -> Option<NodeId> {
        self.nodes.get(point).copied().flatten()
    }

    /// Total pressure at a point, Pa gauge; that of the air where a shut gate cuts it off.
    fn pressure(&self, solution: &Solution, point: usize) -> f64 {
        self.node(point).map_or(0.0, |n| solution.pressure(n))
    }
}

/// Why a system has no solution.
pub(crate) enum Failure {
    /// A part could not be put into the network.
    Parts,
    /// The network has none; with it what the parts became.
    Network(SolveError, Box<Wired>),
    /// A regulated nozzle has too little pressure with others giving their flow, and too much without.
    Undecided {
        /// Which station.
        station: usize,
    },
    /// Shut gates leave a pump, or what is held, or every nozzle without water.
    CutOff {
        /// Which gates are shut, by station.
        gates: Vec<usize>,
        /// What has no water.
        what: Waterless,
    },
    /// The pressure falls below that of vapour: the water parts.
    Parted {
        /// The node with the lowest pressure.
        node: NodeId,
        /// That pressure, Pa absolute.
        pressure: f64,
        /// What the parts became.
        wired: Box<Wired>,
    },
}

/// What shut gates leave without water.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Waterless {
    /// A pump.
    Pump(usize),
    /// A station whose pressure or flow is held.
    Held(usize),
    /// Every nozzle.
    Nozzles,
}

/// A system that was solved.
pub(crate) struct Settled {
    pub(super) wired: Wired,
    pub(super) solution: Solution,
    /// Regulated nozzles that are fixed openings for want of pressure.
    starved: Vec<bool>,
    air: Air,
}

impl System {
    /// Solves it with the numbers `x`. Regulated nozzles give their flow where the pressure suffices; those that it does
    /// not suffice for are fixed openings. Which are which is found by trying, at most once more than there are of them.
    pub(crate) fn settle(&self, x: &[f64], options: &Options<'_>) -> Result<Settled, Failure> {
        let kept: Vec<Option<(f64, f64)>> = self.stations.iter().map(|s| s.kept(x)).collect();
        let mut starved = vec![false; kept.len()];
        let air = self.air.at(x).ok_or(Failure::Parts)?;
        let wet = self.wet(x);
        self.cut_off(x, &wet)?;
        let (wired, solution) = loop {
            let wired = self
                .wire(x, &air, &kept, &starved, &wet)
                .ok_or(Failure::Parts)?;
            let solution = match wired.net.solve(options) {
                Ok(s) => s,
                Err(e) => return Err(Failure::Network(e, Box::new(wired))),
            };
            let mut more = false;
            for (k, s) in self.graph.stations.iter().enumerate() {
                let short = |least| wired.pressure(&solution, s.inlet) < least;
                if wet[s.inlet] && kept[k].is_some_and(|(_, least)| short(least)) && !starved[k] {
                    starved[k] = true;
                    more = true;
                }
            }
            if !more {
                break (wired, solution);
            }
        };
        // One that was given up while others still took their flow may have enough in the end.
        let wrong = self.graph.stations.iter().enumerate().position(|(k, s)| {
            let p = wired.pressure(&solution, s.inlet);
            starved[k] && kept[k].is_some_and(|(_, least)| p > least * (1.0 + 1e-9))
        });
        if let Some(station) = wrong {
            return Err(Failure::Undecided { station });
        }
        // Below absolute vapour pressure the water has parted: the network knows no such thing.
        if let Some((node, lowest)) = solution.lowest_pressure()
            && lowest + air.atmospheric < air.vapour
        {
            return Err(Failure::Parted {
                node,
                pressure: lowest + air.atmospheric,
                wired: Box::new(wired),
            });
        }
        Ok(Settled {
            wired,
            solution,
            starved,
            air,
        })
    }

    /// Builds the network; `None` where it refuses a number.
    fn wire(
        &self,
        x: &[f64],
        air: &Air,
        kept: &[Option<(f64, f64)>],
        starved: &[bool],
        wet: &[bool],
    ) -> Option<Wired> {
        let graph = &self.graph;
        let (density, viscosity) = (air.density, air.viscosity);
        let mut net = Network::new(density).ok()?;
        let mut used = vec![false; self.heights.len()];
        let stations = graph.stations.iter().flat_map(|s| [s.inlet, s.outlet]);
        let runs = graph.runs.iter().flat_map(|r| [r.from, r.to]);
        let pumps = graph.pumps.iter().flat_map(|p| [p.intake, p.discharge]);
        let sources = graph.sources.iter().map(|s| s.point);
        for p in stations.chain(runs).chain(pumps).chain(sources) {
            used[p] = true;
        }
        let mut nodes = vec![None; used.len()];
        let here = |p: &usize| used[*p] && wet[*p];
        for (p, node) in nodes.iter_mut().enumerate().filter(|(p, _)| here(p)) {
            *node = Some(net.junction(self.heights[p].of(x), 0.0).ok()?);
        }
        let mut feeds = Vec::with_capacity(self.feeds.len());
        for f in &self.feeds {
            let Some(at) = nodes.get(f.point).copied().flatten() else {
                feeds.push(Vec::new());
                continue;
            };
            let height = self.heights[f.point].of(x);
            feeds.push(feed(
                &mut net, &f.source, at, height, x, density, viscosity,
            )?);
        }
        let mut wired = Wired {
            net,
            nodes,
            stations: Vec::with_capacity(self.stations.len()),
            nozzles: Vec::with_capacity(self.stations.len()),
            runs: Vec::with_capacity(self.runs.len()),
            feeds,
            curves: self.curves_at(x, air)?,
            pumps: Vec::with_capacity(self.pumps.len()),
            held: Vec::with_capacity(self.pumps.len()),
        };
        let mut taken: Vec<(usize, f64)> = Vec::new();
        for (k, (s, at)) in self.stations.iter().zip(&graph.stations).enumerate() {
            let Some(inlet) = wired.node(at.inlet) else {
                wired.stations.push(None);
                wired.nozzles.push(None);
                continue;
            };
            match &s.law {
                StationLaw::Nozzle(law) => {
                    let nozzle = law.nozzle(x)?;
                    wired.nozzles.push(Some(nozzle));
                    if let Some((flow, _)) = kept[k].filter(|_| !starved[k]) {
                        let before = taken.iter().find(|t| t.0 == at.inlet).map_or(0.0, |t| t.1);
                        taken.retain(|t| t.0 != at.inlet);
                        taken.push((at.inlet, before + flow));
                        wired.net.set_demand(inlet, before + flow).ok()?;
                        wired.stations.push(None);
                        continue;
                    }
                    let link = wired.net.nozzle(inlet, nozzle, 0).ok()?;
                    wired.stations.push(Some(link));
                }
                StationLaw::Appliance { law, one_way } => {
                    wired.nozzles.push(None);
                    let Some(outlet) = wired.node(at.outlet) else {
                        // A shut gate with nothing but the air behind it.
                        wired.stations.push(None);
                        continue;
                    };
                    let (resistance, shut) = law.at(x, density)?;
                    let law = Law::Quadratic { resistance };
                    let link = match one_way {
                        true => wired.net.check_valve(inlet, outlet, law, 0),
                        false => wired.net.link(inlet, outlet, law, 0),
                    };
                    let link = link.ok()?;
                    wired.net.close(link, shut).ok()?;
                    wired.stations.push(Some(link));
                }
            }
        }
        for (r, at) in self.runs.iter().zip(&graph.runs) {
            let law = r.law.law(x, r.length.of(x), density, viscosity)?;
            let (Some(from), Some(to)) = (wired.node(at.from), wired.node(at.to)) else {
                wired.runs.push(Vec::new());
                continue;
            };
            let mut links = Vec::with_capacity(at.lines as usize);
            for _ in 0..at.lines {
                links.push(wired.net.link(from, to, law.clone(), 0).ok()?);
            }
            wired.runs.push(links);
        }
        self.join_pumps(&mut wired, x)?;
        Some(wired)
    }

    /// Which stations are shut gates.
    fn shut_gates(&self, x: &[f64]) -> Vec<usize> {
        let shut = |s: &Station| matches!(&s.law, StationLaw::Appliance { law, .. } if law.shut(x));
        let all = self.stations.iter().enumerate();
        all.filter(|s| shut(s.1)).map(|s| s.0).collect()
    }

    /// Which points have a way to water. Only shut gates cut one off.
    fn wet(&self, x: &[f64]) -> Vec<bool> {
        let graph = &self.graph;
        let shut = self.shut_gates(x);
        if shut.is_empty() && !self.feeds.iter().any(|f| f.source.shut(x)) {
            return vec![true; self.heights.len()];
        }
        let mut ways: Vec<Vec<usize>> = vec![Vec::new(); self.heights.len()];
        let stations = graph.stations.iter().enumerate();
        let open = stations.filter(|s| !shut.contains(&s.0));
        let both = open
            .map(|s| (s.1.inlet, s.1.outlet))
            .chain(graph.runs.iter().map(|r| (r.from, r.to)));
        for (a, b) in both {
            ways[a].push(b);
            ways[b].push(a);
        }
        // Through a pump only forwards.
        for p in &graph.pumps {
            ways[p.intake].push(p.discharge);
        }
        let mut wet = vec![false; self.heights.len()];
        let sources = self.feeds.iter().filter(|f| !f.source.shut(x));
        let mut todo: Vec<usize> = sources.map(|f| f.point).collect();
        while let Some(p) = todo.pop() {
            if !std::mem::replace(&mut wet[p], true) {
                todo.extend(&ways[p]);
            }
        }
        wet
    }

    /// Refuses a system in which shut gates leave a pump, what is held, or every nozzle without water.
    fn cut_off(&self, x: &[f64], wet: &[bool]) -> Result<(), Failure> {
        let graph = &self.graph;
        let gates = self.shut_gates(x);
        if gates.is_empty() && wet.iter().all(|w| *w) {
            return Ok(());
        }
        let pump = graph.pumps.iter().position(|p| !wet[p.intake]);
        let held = self.pumps.iter().find_map(|p| match p.hold.0 {
            Hold::Station(k, _) if !wet[graph.stations[k].inlet] => Some(k),
            Hold::Flow(k, _) if !wet[graph.stations[k].inlet] || gates.contains(&k) => Some(k),
            _ => None,
        });
        let mut nozzles = graph.stations.iter();
        let some = nozzles.any(|s| s.kind == StationKind::Nozzle && wet[s.inlet]);
        let what = match (pump, held) {
            (Some(p), _) => Waterless::Pump(p),
            (None, Some(k)) => Waterless::Held(k),
            (None, None) if !some => Waterless::Nozzles,
            _ => return Ok(()),
        };
        Err(Failure::CutOff { gates, what })
    }

    /// The curves of each pump with its rings as in `x`.
    fn curves_at(&self, x: &[f64], air: &Air) -> Option<Vec<Curves>> {
        let worn = |(nominal, wear): (&Curves, &Option<Wear>)| match wear {
            None => Some(nominal.clone()),
            Some(w) => {
                let [rise, power, npshr] = w.curves(x, air.density, air.viscosity)?;
                Some(Curves {
                    rise: Arc::new(rise?),
                    power: power.map(Arc::new),
                    npshr: npshr.map(Arc::new),
                })
            }
        };
        self.curves.iter().zip(&self.wear).map(worn).collect()
    }

    /// Puts the pumps into the network with what they hold.
    fn join_pumps(&self, wired: &mut Wired, x: &[f64]) -> Option<()> {
        for (k, (site, p)) in self.graph.pumps.iter().zip(&self.pumps).enumerate() {
            let (intake, discharge) = (wired.node(site.intake)?, wired.node(site.discharge)?);
            let rise = Rise::Table(wired.curves[k].rise.clone());
            let link = wired.net.pump(intake, discharge, rise, p.ratio(x), 0);
            wired.pumps.push(link.ok()?);
        }
        for (p, link) in self.pumps.iter().zip(wired.pumps.clone()) {
            let what = match p.hold.0 {
                Hold::Speed(..) => {
                    wired.held.push(None);
                    continue;
                }
                Hold::Discharge(k, pressure) => Held::NodePressure {
                    node: wired.node(self.graph.pumps[k].discharge)?,
                    pressure: pressure.of(x),
                },
                Hold::Station(k, pressure) => Held::NodePressure {
                    node: wired.node(self.graph.stations[k].inlet)?,
                    pressure: pressure.of(x),
                },
                Hold::Flow(k, flow) => Held::LinkFlow {
                    link: wired.stations[k]?,
                    flow: flow.of(x),
                },
                Hold::Rise(k, rise) => Held::PumpRise {
                    pump: wired.pumps[k],
                    rise: rise.of(x),
                },
            };
            let most = p
                .limit
                .as_ref()
                .map_or(MOST_SPEED_RATIO, |l| l.speed.of(x) / p.curve.tested_speed());
            let (least, most) = (most.min(LEAST_SPEED_RATIO), most.max(LEAST_SPEED_RATIO));
            wired
                .held
                .push(Some(wired.net.hold(what, link, least, most).ok()?));
        }
        Some(())
    }

    /// The pumps at work.
    pub(crate) fn pumps_at_work(&self, x: &[f64], settled: &Settled) -> Vec<PumpPoint> {
        let Settled {
            wired,
            solution,
            air,
            ..
        } = settled;
        let weight = air.density * STANDARD_GRAVITY;
        let mut points = Vec::with_capacity(self.pumps.len());
        for (k, (p, site)) in self.pumps.iter().zip(&self.graph.pumps).enumerate() {
            let held = wired.held[k].and_then(|h| solution.control.get(h.index()).copied());
            let speed = held.unwrap_or_else(|| p.ratio(x)) * p.curve.tested_speed();
            let link = wired.pumps[k];
            let flow = solution.flow(link);
            let intake = wired.pressure(solution, site.intake);
            let discharge = wired.pressure(solution, site.discharge);
            let curves = &wired.curves[k];
            let power = (curves.power.as_ref()).and_then(|c| c.power(flow, speed).ok());
            // What the water does not take away as pressure it takes away as heat.
            let carried = air.density * air.specific_heat * flow;
            let heating = power.map(|w| (w - flow * (discharge - intake)) / carried);
            points.push(PumpPoint {
                heating: heating.filter(|t| t.is_finite()),
                pump: p.pump,
                name: p.name.clone(),
                fed: site.fed,
                relayed: p.relayed,
                speed,
                flow,
                rise: discharge - intake,
                intake,
                discharge,
                power,
                npsh_available: (intake + air.atmospheric - air.vapour) / weight,
                npsh_required: (curves.npshr.as_ref()).and_then(|c| c.npshr(flow, speed).ok()),
                unstable: solution.state(link) == Some(LinkState::RisingCurve),
                span: site.span,
            });
        }
        points
    }

    /// The stations at work, in the order they are written.
    pub(crate) fn stations_at_work(&self, x: &[f64], settled: &Settled) -> Vec<StationPoint> {
        let Settled {
            wired,
            solution,
            starved,
            air,
        } = settled;
        let density = air.density;
        let mut points = Vec::with_capacity(self.stations.len());
        for (k, (s, at)) in self.stations.iter().zip(&self.graph.stations).enumerate() {
            let link = wired.stations[k];
            let dry = wired.node(at.inlet).is_none();
            let flow = match link {
                Some(l) => solution.flow(l),
                None if dry => 0.0,
                None => s.kept(x).map_or(0.0, |kept| kept.0),
            };
            let pressure = wired.pressure(solution, at.inlet);
            let law = wired.nozzles[k];
            let bore = s.bore.as_ref().filter(|_| !dry).map(|d| d.of(x));
            let head = bore.and_then(|d| velocity_pressure(flow, d, density).ok());
            points.push(StationPoint {
                gauge: head.map(|head| pressure - head),
                label: s.label.clone(),
                nozzle: at.kind == StationKind::Nozzle,
                decl: s.decl,
                pressure,
                flow,
                reaction: law.and_then(|n| n.reaction(flow, pressure.max(0.0), density).ok()),
                state: match link.and_then(|l| solution.state(l)) {
                    _ if dry => Some(CUT_OFF),
                    None if at.kind == StationKind::Appliance => Some("shut"),
                    Some(LinkState::Dry) => Some("dry"),
                    _ if starved[k] => Some("below the pressure it keeps its flow from"),
                    Some(LinkState::Shut | LinkState::Closed) => Some("shut"),
                    Some(LinkState::BelowHolding) => {
                        Some("below the flows it holds its pressure over")
                    }
                    Some(LinkState::AboveHolding) => {
                        Some("above the flows it holds its pressure over")
                    }
                    Some(LinkState::Holding) => Some("holding its pressure"),
                    _ => None,
                },
                span: at.span,
            });
        }
        points
    }

    /// The supplies at work.
    pub(crate) fn feeds_at_work(&self, x: &[f64], settled: &Settled) -> Vec<FeedPoint> {
        let mut points = Vec::with_capacity(self.feeds.len());
        for (f, links) in self.feeds.iter().zip(&settled.wired.feeds) {
            let flow: f64 = links.iter().map(|l| settled.solution.flow(*l)).sum();
            let hose = f.source.hose();
            points.push(FeedPoint {
                supply: f.supply,
                flow,
                hose: hose.map(|(lead, _)| lead.hose),
                velocity: hose.and_then(|(lead, lines)| {
                    let d = lead.diameter?.of(x);
                    Some(flow.abs() / f64::from(lines) / (FRAC_PI_4 * d * d))
                }),
            });
        }
        points
    }

    /// The hoses at work, in the order they are written.
    pub(crate) fn runs_at_work(&self, x: &[f64], settled: &Settled) -> Vec<RunPoint> {
        let Settled {
            wired, solution, ..
        } = settled;
        let mut points = Vec::with_capacity(self.runs.len());
        for (k, (r, at)) in self.runs.iter().zip(&self.graph.runs).enumerate() {
            let links = &wired.runs[k];
            let total: f64 = links.iter().map(|l| solution.flow(*l)).sum();
            let flow = total / f64::from(at.lines);
            let ends = [at.from, at.to].map(|p| wired.pressure(solution, p));
            let loss = links
                .first()
                .and_then(|l| solution.link_loss.get(l.index()));
            points.push(RunPoint {
                hose: at.hose,
                flow,
                loss: loss.copied().unwrap_or(0.0),
                highest: ends[0].max(ends[1]),
                lowest: ends[0].min(ends[1]),
                suction: r.suction,
                velocity: r.diameter.map(|d| {
                    let d = d.of(x);
                    flow.abs() / (FRAC_PI_4 * d * d)
                }),
                span: at.span,
            });
        }
        points
    }
}

/// A system at work: pumps, stations, hoses.
pub(crate) type AtPoint = (Vec<PumpPoint>, Vec<StationPoint>, Vec<RunPoint>);

impl System {
    /// What the one pump of a system holds; `None` where there are several.
    pub(super) fn lone_hold(&self) -> Option<Hold> {
        match self.pumps.as_slice() {
            [one] => Some(one.hold.0),
            _ => None,
        }
    }

    /// The largest value below that of `x` at which what the one pump holds has a solution that `keeps` what is asked; looked
    /// for in steps of a twentieth and then by halving to 1 part in 10 000. `None` where there is none.
    pub(super) fn most_held(
        &self,
        x: &[f64],
        options: &Options<'_>,
        keeps: &dyn Fn(&AtPoint) -> bool,
    ) -> Option<f64> {
        let n = self.lone_hold()?.number();
        let wanted = n.of(x);
        let mut y = x.to_vec();
        let mut holds = |share: f64| {
            y[n.0 as usize] = wanted * share;
            self.settle(&y, options).is_ok_and(|s| {
                keeps(&(
                    self.pumps_at_work(&y, &s),
                    self.stations_at_work(&y, &s),
                    self.runs_at_work(&y, &s),
                ))
            })
        };
        let steps = (1..20).map(|k| 1.0 - f64::from(k) / 20.0);
        let (mut low, mut high) = steps.clone().find(|s| holds(*s)).map(|s| (s, s + 0.05))?;
        while high - low > 1e-4 {
            let middle = 0.5 * (low + high);
            if holds(middle) {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(wanted * low)
    }
}

impl Station {
    fn kept(&self, x: &[f64]) -> Option<(f64, f64)> {
        match &self.law {
            StationLaw::Nozzle(law) => law.kept(x),
            StationLaw::Appliance { .. } => None,
        }
    }
}

/// Joins a source to a node, which lies `height` above the first pump; gives the links that carry its water.
fn feed(
    net: &mut Network,
    source: &Source,
    at: NodeId,
    height: f64,
    x: &[f64],
    density: f64,
    viscosity: f64,
) -> Option<Vec<LinkId>> {
    const OPEN: Law = Law::Quadratic { resistance: 0.0 };
    let law = |lead: &Option<Lead>| match lead {
        Some(l) => l.law.law(x, l.length.of(x), density, viscosity),
        None => Some(OPEN),
    };
    let mut links = Vec::with_capacity(1);
    match source {
        Source::Draft {
            lift,
            suction,
            strainer,
            lines,
        } => {
            let below = height - lift.of(x);
            let surface = net.fixed(below, 0.0).ok()?;
            let hose = law(suction)?;
            let (resistance, shut) = match strainer {
                Some(s) => s.at(x, density)?,
                None => (0.0, false),
            };
            for _ in 0..*lines {
                let foot = net.junction(below, 0.0).ok()?;
                let strainer = Law::Quadratic { resistance };
                let link = net.link(surface, foot, strainer, 0).ok()?;
                net.close(link, shut).ok()?;
                links.push(link);
                net.link(foot, at, hose.clone(), 0).ok()?;
            }
        }
        Source::Hydrant {
            pressure,
            residual: (p, q),
            elevation,
            hose,
            lines,
        } => {
            let h = Hydrant::new(pressure.of(x), p.of(x), q.of(x), HYDRANT_EXPONENT).ok()?;
            let level = height + elevation.of(x);
            let main = net.fixed(level, pressure.of(x)).ok()?;
            let outlet = net.junction(level, 0.0).ok()?;
            links.push(net.link(main, outlet, h.law(), 0).ok()?);
            let way = law(hose)?;
            // Without hose the pump stands at the outlet: there is one way.
            for _ in 0..if hose.is_some() { *lines } else { 1 } {
                net.link(outlet, at, way.clone(), 0).ok()?;
            }
        }
        Source::Tank {
            level,
            loss: (p, q),
        } => {
            let surface = net.fixed(height + level.of(x), 0.0).ok()?;
            let q = q.of(x);
            let resistance = p.of(x) / (q * q);
            let way = Law::Quadratic { resistance };
            links.push(net.link(surface, at, way, 0).ok()?);
        }
    }
    Some(links)
}

/// A supply by itself, and what it gives at its pump's intake.
pub(crate) struct Giving {
    pub(super) source: Source,
    pub(super) air: AirAndWater,
    pub(super) x: Vec<f64>,
}

impl Giving {
    /// NPSH available, m, at a flow (m³/s) taken out, where the water does not part; with another lift (m) of a draft where
    /// one is given. `None` where a shut gate lets nothing through.
    pub(crate) fn npsh(&self, flow: f64, lift: Option<f64>) -> Option<f64> {
        if self.source.shut(&self.x) {
            return None;
        }
        let mut x = self.x.clone();
        if let (Source::Draft { lift: n, .. }, Some(lift)) = (&self.source, lift) {
            x[n.0 as usize] = lift;
        }
        let air = self.air.at(&x)?;
        let mut net = Network::new(air.density).ok()?;
        let intake = net.junction(0.0, flow).ok()?;
        feed(
            &mut net,
            &self.source,
            intake,
            0.0,
            &x,
            air.density,
            air.viscosity,
        )?;
        let solution = net.solve(&Options::default()).ok()?;
        let over = solution.pressure(intake) + air.atmospheric - air.vapour;
        Some(over / (air.density * STANDARD_GRAVITY))
    }
}

/// Lowest speed looked at for a held condition, as a share of the tested speed.
const LEAST_SPEED_RATIO: f64 = 0.05;

/// Highest speed looked at where nothing limits it: beyond that the affinity laws are not to be trusted.
const MOST_SPEED_RATIO: f64 = 1.6;
