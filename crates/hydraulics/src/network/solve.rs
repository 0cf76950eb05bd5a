//! Newton's method on the network, its globalisation, and the held conditions around it.
//!
//! Each step linearises every link about its present flow and solves for the change of all node pressures; flows
//! follow from their own links. The step is judged by the slope of the content (sum of ∫ loss dQ) along it, which is
//! cheap and needs no integral. Everything is in corrections, so rounding does not grow with the size of the
//! pressures.
//!
//! Invariants: every loop is bounded by the caller's iteration limit; the poll is asked once per step; a [`Solution`]
//! is made only by `finish`, after the residuals were checked.
//!
//! What it does not do: choose between several answers of a pump on a rising stretch of its curve; it finds a stable
//! one from a cold start and marks it [`LinkState::RisingCurve`].

use super::eliminate::System;
use super::law::Resolved;
use super::{
    Held, Hold, HoldId, Infeasible, LinkId, Network, NodeId, NodeKind, Options, SolveError, SpeedEnd,
};
use crate::error::InputError;

/// How a link works in a solution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LinkState {
    /// Open, nothing special.
    Open,
    /// A check valve that is shut: the pressure after it is not below that before it.
    Shut,
    /// A nozzle without pressure: no water leaves and no air is drawn.
    Dry,
    /// A pressure-holding nozzle below its least flow: a fixed opening.
    BelowHolding,
    /// A pressure-holding nozzle that holds its set pressure.
    Holding,
    /// A pressure-holding nozzle above its largest flow: a fixed opening.
    AboveHolding,
    /// A pump on a rising stretch of its curve, where two flows share one pressure and it can hunt.
    RisingCurve,
}

/// A converged, checked solution of a network.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// Total gauge pressure at each node, Pa, in the order of building.
    pub node_pressure: Vec<f64>,
    /// Flow through each link, m³/s, positive from its first to its second node.
    pub link_flow: Vec<f64>,
    /// Loss along each link by its law, Pa (minus the rise, for a pump; the nozzle pressure, for a nozzle).
    pub link_loss: Vec<f64>,
    /// How each link works.
    pub link_state: Vec<LinkState>,
    /// The speed ratio found for each held condition.
    pub control: Vec<f64>,
    /// Largest imbalance of flow at any junction, m³/s.
    pub residual_mass: f64,
    /// The same, relative to the largest flow in the network (or a millionth of what could flow, if nothing does).
    pub residual_mass_relative: f64,
    /// Largest departure of any open link from its law, Pa.
    pub residual_energy: f64,
    /// The same, relative to the largest pressure in the network.
    pub residual_energy_relative: f64,
    /// Newton steps taken.
    pub iterations: usize,
}

impl Solution {
    /// Total gauge pressure at a node, Pa; NaN for an id of another network.
    pub fn pressure(&self, node: NodeId) -> f64 {
        self.node_pressure
            .get(node.index())
            .copied()
            .unwrap_or(f64::NAN)
    }

    /// Flow through a link, m³/s; NaN for an id of another network.
    pub fn flow(&self, link: LinkId) -> f64 {
        self.link_flow
            .get(link.index())
            .copied()
            .unwrap_or(f64::NAN)
    }

    /// How a link works; `None` for an id of another network.
    pub fn state(&self, link: LinkId) -> Option<LinkState> {
        self.link_state.get(link.index()).copied()
    }

    /// The lowest total gauge pressure, Pa, and where. Below minus the atmospheric pressure it is impossible: the
    /// water column would have parted.
    pub fn lowest_pressure(&self) -> Option<(NodeId, f64)> {
        let mut best: Option<(NodeId, f64)> = None;
        for (i, &p) in self.node_pressure.iter().enumerate() {
            if best.is_none_or(|(_, b)| p < b) {
                best = Some((NodeId(i as u32), p));
            }
        }
        best
    }
}

/// Marks a node that is no unknown.
const KNOWN: u32 = u32::MAX;
/// Marks a link whose ends share no matrix entry.
const NO_SLOT: u32 = u32::MAX;

/// Slope that stands in for a vanishing one, in pressure scale over flow scale.
const LEAST_SLOPE: f64 = 1e-8;
/// Slope of the reverse flow of a one-way link while the open set is being found, same unit.
const REVERSE_SLOPE: f64 = 1e6;
/// Energy residual of a converged solution, relative to the pressure scale.
const ENERGY_TOLERANCE: f64 = 1e-10;
/// Mass residual of a converged solution, relative to the largest flow.
const MASS_TOLERANCE: f64 = 1e-11;
/// Last Newton step of a converged solution, relative to the largest flow; the error left is about its square.
const STEP_TOLERANCE: f64 = 1e-7;
/// A held condition is met when it is this close, relative.
const HOLD_TOLERANCE: f64 = 1e-10;
/// And still taken as met at this distance when the speed cannot be told any finer.
const HOLD_LOOSE: f64 = 1e-8;

/// What a one-way link may do during one Newton run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Gate {
    /// An ordinary link.
    Free,
    /// One-way, reverse flow very steep: the open set is being found.
    Seeking,
    /// One-way and found open.
    Open,
    /// One-way and found shut.
    Shut,
}

/// Buffers and elimination plan for one layout; solves any network of the same layout.
#[derive(Debug)]
pub struct Solver {
    ends: Vec<(u32, u32)>,
    variable: Vec<u32>,
    slot: Vec<u32>,
    system: System,
    // State.
    /// Piezometric pressure p + ρ g z at each node, then that of the air at each nozzle is taken from `air`.
    head: Vec<f64>,
    /// Piezometric pressure of the air where a link ends in it.
    air: Vec<f64>,
    flow: Vec<f64>,
    loss: Vec<f64>,
    /// True slope of each link's law at its flow.
    slope: Vec<f64>,
    /// Slope used in the step.
    used: Vec<f64>,
    gate: Vec<Gate>,
    ratio: Vec<f64>,
    // Work.
    step_flow: Vec<f64>,
    step_head: Vec<f64>,
    misfit: Vec<f64>,
    balance: Vec<f64>,
    trial_loss: Vec<f64>,
    trial_slope: Vec<f64>,
    rhs: Vec<f64>,
    pinned: Vec<u32>,
    pressure_scale: f64,
    flow_scale: f64,
    iterations: usize,
}

/// Where one held value stands at one speed ratio.
#[derive(Debug, Clone, Copy)]
struct Probe {
    ratio: f64,
    /// Value less value wanted, over its scale.
    error: f64,
    /// Derivative of the error by the speed ratio.
    slope: f64,
}

/// What the search for one control found.
enum Control {
    Met,
    AtEnd { end: SpeedEnd, reached: f64 },
}

impl Solver {
    /// Plans the solution of networks laid out like `net`.
    ///
    /// # Errors
    /// [`Infeasible::Disconnected`] or [`Infeasible::NotUnique`] when the layout itself has no single answer;
    /// [`InputError`] when it is empty.
    pub fn new(net: &Network) -> Result<Self, SolveError> {
        if net.nodes.is_empty() {
            return Err(InputError::Shape {
                quantity: "network",
                expected: "at least one node",
            }
            .into());
        }
        check_layout(net)?;
        let mut variable = vec![KNOWN; net.nodes.len()];
        let mut unknowns = 0_u32;
        for (v, node) in variable.iter_mut().zip(&net.nodes) {
            if matches!(node.kind, NodeKind::Junction(_)) {
                *v = unknowns;
                unknowns += 1;
            }
        }
        let mut pairs = Vec::with_capacity(net.links.len());
        let mut slot = vec![NO_SLOT; net.links.len()];
        let mut paired = Vec::with_capacity(net.links.len());
        for (e, link) in net.links.iter().enumerate() {
            if let Some(to) = link.to {
                let (a, b) = (variable[link.from as usize], variable[to as usize]);
                if a != KNOWN && b != KNOWN {
                    pairs.push((a, b));
                    paired.push(e);
                }
            }
        }
        let (system, slots) = System::new(unknowns as usize, &pairs);
        for (e, s) in paired.into_iter().zip(slots) {
            slot[e] = s;
        }
        let (n, m) = (net.nodes.len(), net.links.len());
        Ok(Self {
            ends: net
                .links
                .iter()
                .map(|l| (l.from, l.to.unwrap_or(KNOWN)))
                .collect(),
            variable,
            slot,
            system,
            head: vec![0.0; n],
            air: vec![0.0; m],
            flow: vec![0.0; m],
            loss: vec![0.0; m],
            slope: vec![0.0; m],
            used: vec![0.0; m],
            gate: vec![Gate::Free; m],
            ratio: vec![1.0; m],
            step_flow: vec![0.0; m],
            step_head: vec![0.0; n],
            misfit: vec![0.0; m],
            balance: vec![0.0; n],
            trial_loss: vec![0.0; m],
            trial_slope: vec![0.0; m],
            rhs: vec![0.0; unknowns as usize],
            pinned: Vec::new(),
            pressure_scale: 1.0,
            flow_scale: 1.0,
            iterations: 0,
        })
    }

    /// Solves a network of this layout from a cold start, so that the same network always gives the same numbers.
    ///
    /// # Errors
    /// [`SolveError`].
    pub fn solve(&mut self, net: &Network, options: &Options<'_>) -> Result<Solution, SolveError> {
        self.same_layout(net)?;
        self.iterations = 0;
        for (r, link) in self.ratio.iter_mut().zip(&net.links) {
            *r = link.law.pump().map_or(1.0, |p| p.ratio);
        }
        for hold in &net.holds {
            let r = &mut self.ratio[hold.pump as usize];
            *r = r.clamp(hold.least, hold.largest);
        }
        check_reach(net)?;
        self.cold_start(net);
        self.settle(net, options)?;
        match net.holds.len() {
            0 => {}
            1 => {
                if let Control::AtEnd { end, reached } = self.control_one(net, 0, options)? {
                    return Err(self.speed_limit(net, 0, end, reached).into());
                }
            }
            _ => self.control_all(net, options)?,
        }
        self.finish(net)
    }

    fn same_layout(&self, net: &Network) -> Result<(), InputError> {
        let same = net.nodes.len() == self.variable.len()
            && net.links.len() == self.ends.len()
            && net
                .links
                .iter()
                .zip(&self.ends)
                .all(|(l, e)| (l.from, l.to.unwrap_or(KNOWN)) == *e)
            && net
                .nodes
                .iter()
                .zip(&self.variable)
                .all(|(n, v)| matches!(n.kind, NodeKind::Fixed(_)) == (*v == KNOWN));
        if same {
            Ok(())
        } else {
            Err(InputError::Shape {
                quantity: "network",
                expected: "the layout this solver was made for",
            })
        }
    }

    /// Sets scales, fixed pressures and first guesses.
    fn cold_start(&mut self, net: &Network) {
        let weight = net.specific_weight();
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        let mut known_pressure = 0.0_f64;
        for node in &net.nodes {
            low = low.min(weight * node.elevation);
            high = high.max(weight * node.elevation);
        }
        let height = high - low;
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        let (mut drawn, mut fed) = (0.0, 0.0);
        for node in &net.nodes {
            match node.kind {
                NodeKind::Fixed(p) => {
                    known_pressure = known_pressure.max(p.abs());
                    low = low.min(p + weight * node.elevation);
                    high = high.max(p + weight * node.elevation);
                }
                NodeKind::Junction(d) => {
                    drawn += d.max(0.0);
                    fed += (-d).max(0.0);
                }
            }
        }
        let range = if high > low { high - low } else { 0.0 };
        let mut top = 0.0_f64;
        for (link, &ratio) in net.links.iter().zip(&self.ratio) {
            if let Some(p) = link.law.pump() {
                top = top.max(p.top(ratio));
            }
            if let Resolved::Holding { set, .. } = link.law {
                top = top.max(set);
            }
        }
        // A thousandth of an atmosphere keeps the scale above zero in a network at rest.
        let pressure = (range + top).max(known_pressure).max(height).max(100.0);

        let mut open_air = 0.0;
        let mut pumps = 0.0;
        let mut widest = 0.0_f64;
        for (link, &ratio) in net.links.iter().zip(&self.ratio) {
            let nominal = link.law.nominal_flow(pressure);
            if let Some(p) = link.law.pump() {
                pumps += p.reach(ratio);
            } else if link.to.is_none() {
                open_air += nominal;
            } else if nominal.is_finite() {
                widest = widest.max(nominal);
            }
        }
        let mut flow = f64::max(drawn, fed);
        if open_air > 0.0 {
            flow += if pumps > 0.0 {
                open_air.min(pumps)
            } else {
                open_air
            };
        }
        if flow <= 0.0 {
            flow = if pumps > 0.0 { pumps } else { widest };
        }
        if !(flow > 0.0 && flow.is_finite()) {
            flow = 1e-3;
        }
        self.pressure_scale = pressure;
        self.flow_scale = flow;

        let start = if high.is_finite() { high } else { 0.0 };
        for (i, node) in net.nodes.iter().enumerate() {
            self.head[i] = match node.kind {
                NodeKind::Fixed(p) => p + weight * node.elevation,
                NodeKind::Junction(_) => start,
            };
        }
        for (e, link) in net.links.iter().enumerate() {
            self.air[e] = weight * net.nodes[link.from as usize].elevation;
            self.gate[e] = if link.one_way {
                Gate::Seeking
            } else {
                Gate::Free
            };
            let ratio = self.ratio[e];
            if let Some(p) = link.law.pump() {
                // A pump starts on the middle of its curve, with a slope that surely falls.
                let q = 0.5 * p.reach(ratio);
                let (h, s) = link.law.loss(q, ratio);
                self.flow[e] = q;
                self.loss[e] = h;
                self.used[e] = s.max(p.top(ratio) / p.reach(ratio));
            } else {
                // Everything else starts as a resistor through its nominal point.
                let q = link.law.nominal_flow(0.3 * pressure).min(flow);
                let (h, _) = link.law.loss(q, ratio);
                self.flow[e] = 0.0;
                self.loss[e] = 0.0;
                self.used[e] = (h / q).max(LEAST_SLOPE * pressure / flow);
            }
        }
        self.pinned.clear();
    }

    /// Loss and slope of a link at a flow, with its gate.
    #[inline]
    fn evaluate(&self, net: &Network, e: usize, q: f64) -> (f64, f64) {
        match self.gate[e] {
            Gate::Seeking if q < 0.0 => {
                let steep = REVERSE_SLOPE * self.pressure_scale / self.flow_scale;
                (steep * q, steep)
            }
            _ => net.links[e].law.loss(q, self.ratio[e]),
        }
    }

    /// The slope a step may divide by.
    #[inline]
    fn usable_slope(&self, net: &Network, e: usize, slope: f64) -> f64 {
        let least = LEAST_SLOPE * self.pressure_scale / self.flow_scale;
        if slope >= least {
            slope
        } else if let (Some(p), true) = (net.links[e].law.pump(), slope < 0.0) {
            // On a rising stretch the true slope would break the matrix; a small falling one still gives descent.
            0.02 * p.top(self.ratio[e]) / p.reach(self.ratio[e]) + 0.1 * slope.abs()
        } else {
            least
        }
    }

    fn refresh(&mut self, net: &Network) {
        for e in 0..self.ends.len() {
            if self.gate[e] == Gate::Shut {
                self.flow[e] = 0.0;
                self.loss[e] = 0.0;
                self.slope[e] = 0.0;
                continue;
            }
            let (h, s) = self.evaluate(net, e, self.flow[e]);
            self.loss[e] = h;
            self.slope[e] = s;
            self.used[e] = self.usable_slope(net, e, s);
        }
    }

    /// Difference of piezometric pressure along a link.
    #[inline]
    fn along(head: &[f64], air: &[f64], ends: (u32, u32), e: usize) -> f64 {
        let to = if ends.1 == KNOWN {
            air[e]
        } else {
            head[ends.1 as usize]
        };
        head[ends.0 as usize] - to
    }

    /// Misfits of mass (into `balance`, outflow less inflow) and energy (into `misfit`). Returns the largest of each.
    fn residuals(&mut self, net: &Network) -> (f64, f64) {
        for (b, node) in self.balance.iter_mut().zip(&net.nodes) {
            *b = match node.kind {
                NodeKind::Junction(d) => d,
                NodeKind::Fixed(_) => 0.0,
            };
        }
        let mut energy = 0.0_f64;
        for (e, &ends) in self.ends.iter().enumerate() {
            if self.gate[e] == Gate::Shut {
                self.misfit[e] = 0.0;
                continue;
            }
            let q = self.flow[e];
            self.balance[ends.0 as usize] += q;
            if ends.1 != KNOWN {
                self.balance[ends.1 as usize] -= q;
            }
            let r = self.loss[e] - Self::along(&self.head, &self.air, ends, e);
            self.misfit[e] = r;
            energy = energy.max(r.abs());
        }
        let mut mass = 0.0_f64;
        for (b, v) in self.balance.iter().zip(&self.variable) {
            if *v != KNOWN {
                mass = mass.max(b.abs());
            }
        }
        (mass, energy)
    }

    /// Assembles and factorises the matrix from the slopes in use.
    fn factor(&mut self) -> Result<(), usize> {
        self.system.clear();
        let mut strongest = 0.0_f64;
        for (e, &ends) in self.ends.iter().enumerate() {
            if self.gate[e] == Gate::Shut {
                continue;
            }
            let g = 1.0 / self.used[e];
            strongest = strongest.max(g);
            let a = self.variable[ends.0 as usize];
            if a != KNOWN {
                self.system.diag[a as usize] += g;
            }
            if ends.1 != KNOWN {
                let b = self.variable[ends.1 as usize];
                if b != KNOWN {
                    self.system.diag[b as usize] += g;
                    if a != KNOWN {
                        self.system.off[self.slot[e] as usize] -= g;
                    }
                }
            }
        }
        if strongest == 0.0 {
            strongest = self.flow_scale / self.pressure_scale;
        }
        for &v in &self.pinned {
            self.system.diag[v as usize] += strongest;
        }
        self.system.factor().map_err(|n| n.unknown)
    }

    /// Solves for the step with `misfit` and, if asked, `balance` as right-hand side.
    fn direction(&mut self, with_mass: bool) {
        self.rhs.fill(0.0);
        if with_mass {
            for (b, &v) in self.balance.iter().zip(&self.variable) {
                if v != KNOWN {
                    self.rhs[v as usize] = -b;
                }
            }
        }
        for (e, &ends) in self.ends.iter().enumerate() {
            if self.gate[e] == Gate::Shut {
                continue;
            }
            let w = self.misfit[e] / self.used[e];
            let a = self.variable[ends.0 as usize];
            if a != KNOWN {
                self.rhs[a as usize] += w;
            }
            if ends.1 != KNOWN {
                let b = self.variable[ends.1 as usize];
                if b != KNOWN {
                    self.rhs[b as usize] -= w;
                }
            }
        }
        self.system.solve(&mut self.rhs);
        for (d, &v) in self.step_head.iter_mut().zip(&self.variable) {
            *d = if v == KNOWN {
                0.0
            } else {
                self.rhs[v as usize]
            };
        }
        for (e, &ends) in self.ends.iter().enumerate() {
            self.step_flow[e] = if self.gate[e] == Gate::Shut {
                0.0
            } else {
                let to = if ends.1 == KNOWN {
                    0.0
                } else {
                    self.step_head[ends.1 as usize]
                };
                (self.step_head[ends.0 as usize] - to - self.misfit[e]) / self.used[e]
            };
        }
    }

    fn largest_flow(&self) -> f64 {
        let top = self.flow.iter().fold(0.0_f64, |a, q| a.max(q.abs()));
        top.max(1e-6 * self.flow_scale)
    }

    /// Slope of the content along the step at share `t`, and the losses there in the trial arrays.
    fn content_slope(&mut self, net: &Network, t: f64) -> f64 {
        let mut g = 0.0;
        for e in 0..self.ends.len() {
            if self.gate[e] == Gate::Shut {
                continue;
            }
            let d = self.step_flow[e];
            let (h, s) = self.evaluate(net, e, self.flow[e] + t * d);
            self.trial_loss[e] = h;
            self.trial_slope[e] = s;
            // The pressure difference after the step is the one the linearised links agree with.
            let target =
                self.loss[e] - self.misfit[e] + Self::along_step(&self.step_head, self.ends[e]);
            g += (h - target) * d;
        }
        g
    }

    #[inline]
    fn along_step(step: &[f64], ends: (u32, u32)) -> f64 {
        let to = if ends.1 == KNOWN {
            0.0
        } else {
            step[ends.1 as usize]
        };
        step[ends.0 as usize] - to
    }

    /// Runs Newton's method with the gates as they are.
    fn newton(
        &mut self,
        net: &Network,
        options: &Options<'_>,
        first_is_linear: bool,
    ) -> Result<(), SolveError> {
        let mut linear = first_is_linear;
        if !linear {
            self.refresh(net);
        }
        let (mut mass, mut energy) = self.residuals(net);
        let mut calm = 0;
        loop {
            if self.iterations >= options.max_iterations {
                return Err(self.not_converged(mass, energy));
            }
            if options.cancel.is_some_and(|ask| ask()) {
                return Err(SolveError::Cancelled {
                    iterations: self.iterations,
                });
            }
            self.iterations += 1;
            if self.factor().is_err() {
                return Err(self.not_converged(mass, energy));
            }
            self.direction(true);
            // Rounding in a badly scaled step leaves a little imbalance; the next step removes it, and the content is
            // judged along a step that keeps the balance.
            let balanced = mass <= 1e-6 * self.largest_flow();
            let mut t = 1.0;
            if linear || !balanced {
                // Flows must balance before the content means anything; a full step makes them.
                linear = false;
                for e in 0..self.ends.len() {
                    self.flow[e] += self.step_flow[e];
                }
                self.refresh(net);
            } else {
                t = self.search(net);
                for e in 0..self.ends.len() {
                    if self.gate[e] == Gate::Shut {
                        continue;
                    }
                    self.flow[e] += t * self.step_flow[e];
                    self.loss[e] = self.trial_loss[e];
                    self.slope[e] = self.trial_slope[e];
                    self.used[e] = self.usable_slope(net, e, self.slope[e]);
                }
            }
            for (h, d) in self.head.iter_mut().zip(&self.step_head) {
                *h += d;
            }
            (mass, energy) = self.residuals(net);
            let top = self.largest_flow();
            let step = self.step_flow.iter().fold(0.0_f64, |a, d| a.max(d.abs()));
            if !(mass.is_finite() && energy.is_finite() && step.is_finite()) {
                return Err(self.not_converged(mass, energy));
            }
            let close =
                energy <= ENERGY_TOLERANCE * self.pressure_scale && mass <= MASS_TOLERANCE * top;
            calm = if close { calm + 1 } else { 0 };
            if (close && t == 1.0 && step <= STEP_TOLERANCE * top) || calm >= 4 {
                return Ok(());
            }
        }
    }

    /// Finds a share of the step that brings the content near its least along it. Leaves the losses there in the trial
    /// arrays.
    fn search(&mut self, net: &Network) -> f64 {
        let mut g0 = 0.0;
        for e in 0..self.ends.len() {
            if self.gate[e] != Gate::Shut {
                g0 -= self.used[e] * self.step_flow[e] * self.step_flow[e];
            }
        }
        let g1 = self.content_slope(net, 1.0);
        let noise = 1e-15 * self.pressure_scale * self.flow_scale;
        if g1 <= 0.3 * g0.abs() || g0.abs() <= noise {
            return 1.0;
        }
        // The slope of the content rises along the step: a root lies between. Illinois' form of false position.
        let (mut a, mut fa, mut b, mut fb) = (0.0, g0, 1.0, g1);
        let mut side = 0;
        for round in 0..40 {
            let mut t = if round % 4 == 3 {
                0.5 * (a + b)
            } else {
                (a * fb - b * fa) / (fb - fa)
            };
            if !(t > a && t < b) {
                t = 0.5 * (a + b);
            }
            let g = self.content_slope(net, t);
            if g <= 0.05 * g0.abs() && g >= 0.5 * g0 {
                return t;
            }
            if g < 0.0 {
                (a, fa) = (t, g);
                if side == -1 {
                    fb *= 0.5;
                }
                side = -1;
            } else {
                (b, fb) = (t, g);
                if side == 1 {
                    fa *= 0.5;
                }
                side = 1;
            }
            if b - a <= 1e-12 {
                break;
            }
        }
        // The slope jumps at a kink inside [a, b]. The step ends just past it: there the link that jumped shows its
        // steep side, and the next step sees it. Ending before it would repeat the same cut for ever.
        self.content_slope(net, b);
        b
    }

    fn not_converged(&self, mass: f64, energy: f64) -> SolveError {
        SolveError::NotConverged {
            iterations: self.iterations,
            residual_mass: mass,
            residual_energy: energy,
        }
    }

    /// Solves the network at the present speed ratios, from the present state: finds which one-way links are open,
    /// shuts the others exactly, and checks the set.
    fn settle(&mut self, net: &Network, options: &Options<'_>) -> Result<(), SolveError> {
        let first = self.iterations == 0;
        let mut any_gate = false;
        for e in 0..self.ends.len() {
            if net.links[e].one_way {
                any_gate = true;
                self.gate[e] = Gate::Seeking;
            }
        }
        self.pinned.clear();
        self.newton(net, options, first)?;
        if !any_gate {
            return Ok(());
        }
        let mut any_shut = false;
        for e in 0..self.ends.len() {
            if self.gate[e] == Gate::Seeking {
                if self.flow[e] < 0.0 {
                    any_shut = true;
                    self.gate[e] = Gate::Shut;
                } else {
                    self.gate[e] = Gate::Open;
                }
            }
        }
        if !any_shut {
            return Ok(());
        }
        // Shut links are taken out of the equations. The set is nearly always right at once; if it is not, correct it
        // and try again, each set at most once.
        let mut seen: Vec<Vec<bool>> = Vec::new();
        loop {
            let set: Vec<bool> = self.gate.iter().map(|g| *g == Gate::Shut).collect();
            if seen.contains(&set) {
                let (mass, energy) = self.residuals(net);
                return Err(self.not_converged(mass, energy));
            }
            seen.push(set);
            self.pin_islands(net)?;
            for e in 0..self.ends.len() {
                if self.gate[e] == Gate::Shut {
                    self.flow[e] = 0.0;
                }
            }
            self.newton(net, options, false)?;
            let top = self.largest_flow();
            let mut changed = false;
            for e in 0..self.ends.len() {
                match self.gate[e] {
                    Gate::Shut => {
                        let along = Self::along(&self.head, &self.air, self.ends[e], e);
                        if along > 1e-9 * self.pressure_scale {
                            self.gate[e] = Gate::Open;
                            changed = true;
                        }
                    }
                    Gate::Open if self.flow[e] < -1e-9 * top => {
                        self.gate[e] = Gate::Shut;
                        changed = true;
                    }
                    _ => {}
                }
            }
            if !changed {
                return Ok(());
            }
        }
    }

    /// Pins one node of every part that shut links have cut off, so that its pressure stays where the search left it.
    fn pin_islands(&mut self, net: &Network) -> Result<(), SolveError> {
        self.pinned.clear();
        let n = net.nodes.len();
        let mut groups = Groups::new(n + 1);
        for (i, v) in self.variable.iter().enumerate() {
            if *v == KNOWN {
                groups.merge(i, n);
            }
        }
        for (e, &ends) in self.ends.iter().enumerate() {
            if self.gate[e] != Gate::Shut {
                let to = if ends.1 == KNOWN { n } else { ends.1 as usize };
                groups.merge(ends.0 as usize, to);
            }
        }
        let ground = groups.root(n);
        let mut demand = vec![0.0; n + 1];
        for (i, node) in net.nodes.iter().enumerate() {
            if let NodeKind::Junction(d) = node.kind {
                demand[groups.root(i)] += d;
            }
        }
        for i in 0..n {
            let root = groups.root(i);
            if root != ground && root == i {
                if demand[root].abs() > 1e-9 * self.flow_scale {
                    return Err(Infeasible::CutOff {
                        node: NodeId(i as u32),
                    }
                    .into());
                }
                self.pinned.push(self.variable[i]);
            }
        }
        Ok(())
    }

    /// The present value of a held quantity, Pa or m³/s, and the value wanted.
    fn held(&self, net: &Network, which: usize) -> (f64, f64) {
        match net.holds[which].held {
            Held::NodePressure { node, pressure } => {
                let i = node.index();
                let height = net.specific_weight() * net.nodes[i].elevation;
                (self.head[i] - height, pressure)
            }
            Held::LinkFlow { link, flow } => (self.flow[link.index()], flow),
            Held::PumpRise { pump, rise } => {
                let e = pump.index();
                (-Self::along(&self.head, &self.air, self.ends[e], e), rise)
            }
        }
    }

    /// Size of a held quantity, for tolerances.
    fn held_scale(&self, net: &Network, which: usize) -> f64 {
        let (_, wanted) = self.held(net, which);
        match net.holds[which].held {
            Held::LinkFlow { .. } => wanted.abs().max(1e-2 * self.flow_scale),
            _ => wanted.abs().max(1e-2 * self.pressure_scale),
        }
    }

    /// Derivative of every held quantity by the speed ratio of hold `by`, into `out`.
    fn sensitivities(
        &mut self,
        net: &Network,
        by: usize,
        out: &mut [f64],
    ) -> Result<(), SolveError> {
        let pump = net.holds[by].pump as usize;
        if self.factor().is_err() {
            let (mass, energy) = self.residuals(net);
            return Err(self.not_converged(mass, energy));
        }
        self.misfit.fill(0.0);
        if let Some(p) = net.links[pump].law.pump() {
            self.misfit[pump] = p.loss_by_ratio(self.flow[pump], self.ratio[pump]);
        }
        self.direction(false);
        for (k, hold) in net.holds.iter().enumerate() {
            out[k] = match hold.held {
                Held::NodePressure { node, .. } => self.step_head[node.index()],
                Held::LinkFlow { link, .. } => self.step_flow[link.index()],
                Held::PumpRise { pump, .. } => {
                    -Self::along_step(&self.step_head, self.ends[pump.index()])
                }
            };
        }
        Ok(())
    }

    /// Sets the speed ratio of one hold's pump, solves, and reports where the held value stands.
    fn probe(
        &mut self,
        net: &Network,
        which: usize,
        ratio: f64,
        slopes: &mut [f64],
        options: &Options<'_>,
    ) -> Result<Probe, SolveError> {
        let pump = net.holds[which].pump as usize;
        if self.ratio[pump] != ratio {
            self.ratio[pump] = ratio;
            self.settle(net, options)?;
        }
        let (value, wanted) = self.held(net, which);
        self.sensitivities(net, which, slopes)?;
        Ok(Probe {
            ratio,
            error: (value - wanted) / self.held_scale(net, which),
            slope: slopes[which] / self.held_scale(net, which),
        })
    }

    /// Finds the speed ratio of one hold, the others left as they are: Newton's method until the error changes sign,
    /// then Newton's method inside that bracket, with halving where it does not gain enough.
    fn control_one(
        &mut self,
        net: &Network,
        which: usize,
        options: &Options<'_>,
    ) -> Result<Control, SolveError> {
        let hold = net.holds[which];
        let (least, largest) = (hold.least, hold.largest);
        let slopes = &mut vec![0.0; net.holds.len()];
        let start = self.ratio[hold.pump as usize];
        let mut at = self.probe(net, which, start, slopes, options)?;
        let mut ends: [Option<f64>; 2] = [None, None];
        let (mut left, mut right) = loop {
            if at.error.abs() <= HOLD_TOLERANCE {
                return self.settled(which, &hold, &at);
            }
            if at.ratio <= least {
                ends[0] = Some(at.error);
            }
            if at.ratio >= largest {
                ends[1] = Some(at.error);
            }
            let newton = at.ratio - at.error / at.slope;
            let inside = newton > least && newton < largest;
            let next = match ends {
                [Some(a), Some(b)] => {
                    // Both ends miss on the same side; the nearer one is the limit.
                    let (end, ratio) = if least == largest && at.error < 0.0 || b.abs() < a.abs() {
                        (SpeedEnd::Largest, largest)
                    } else {
                        (SpeedEnd::Least, least)
                    };
                    self.probe(net, which, ratio, slopes, options)?;
                    let (reached, _) = self.held(net, which);
                    return Ok(Control::AtEnd { end, reached });
                }
                [Some(_), None] if !inside => largest,
                [None, Some(_)] if !inside => least,
                _ if newton.is_finite() => newton.clamp(least, largest),
                _ => largest,
            };
            // A step that hardly moves will not change the sign; an end will, if anything does.
            let next = if (next - at.ratio).abs() < 1e-3 * at.ratio * at.error.abs().min(1.0) {
                if ends[1].is_none() { largest } else { least }
            } else {
                next
            };
            let before = at;
            at = self.probe(net, which, next, slopes, options)?;
            if at.error * before.error <= 0.0 {
                break if at.ratio < before.ratio {
                    (at, before)
                } else {
                    (before, at)
                };
            }
        };
        let mut last_error = f64::INFINITY;
        loop {
            if at.error.abs() <= HOLD_TOLERANCE {
                return self.settled(which, &hold, &at);
            }
            let newton = at.ratio - at.error / at.slope;
            let mid = 0.5 * (left.ratio + right.ratio);
            let gains = at.error.abs() <= 0.5 * last_error;
            let next = if newton > left.ratio && newton < right.ratio && gains {
                newton
            } else {
                mid
            };
            let narrow = right.ratio - left.ratio <= 1e-13 * right.ratio;
            if narrow || (next - at.ratio).abs() <= 2.0 * f64::EPSILON * at.ratio {
                // As near as the inner solution can tell.
                if at.error.abs() <= HOLD_LOOSE {
                    return self.settled(which, &hold, &at);
                }
                if narrow {
                    let (mass, energy) = self.residuals(net);
                    return Err(self.not_converged(mass, energy));
                }
            }
            last_error = at.error.abs();
            at = self.probe(net, which, next, slopes, options)?;
            if at.error * left.error > 0.0 {
                left = at;
            } else {
                right = at;
            }
        }
    }

    /// A control whose condition is met, unless a whole range of speeds meets it.
    fn settled(&self, which: usize, hold: &Hold, at: &Probe) -> Result<Control, SolveError> {
        if at.slope.abs() * at.ratio <= 1e-6 && hold.largest > hold.least {
            return Err(Infeasible::HoldNotUnique {
                hold: HoldId(which as u32),
            }
            .into());
        }
        Ok(Control::Met)
    }

    /// Finds the speed ratios of several holds together: Newton's method on all, then one at a time if that stalls.
    fn control_all(&mut self, net: &Network, options: &Options<'_>) -> Result<(), SolveError> {
        let k = net.holds.len();
        let mut jacobian = vec![0.0; k * k];
        let mut column = vec![0.0; k];
        let mut errors = vec![0.0; k];
        let mut step = vec![0.0; k];
        let mut before = vec![0.0; k];
        let mut worst = self.hold_errors(net, &mut errors);
        'newton: for _ in 0..50 {
            if worst <= HOLD_TOLERANCE {
                break;
            }
            for by in 0..k {
                self.sensitivities(net, by, &mut column)?;
                for row in 0..k {
                    jacobian[row * k + by] = column[row] / self.held_scale(net, row);
                }
            }
            step.copy_from_slice(&errors);
            if !gauss(&mut jacobian, &mut step, k) {
                break;
            }
            for (i, hold) in net.holds.iter().enumerate() {
                before[i] = self.ratio[hold.pump as usize];
            }
            let mut share = 1.0;
            for _ in 0..6 {
                for (i, hold) in net.holds.iter().enumerate() {
                    self.ratio[hold.pump as usize] =
                        (before[i] - share * step[i]).clamp(hold.least, hold.largest);
                }
                self.settle(net, options)?;
                let now = self.hold_errors(net, &mut errors);
                if now < worst {
                    worst = now;
                    continue 'newton;
                }
                share *= 0.5;
            }
            for (i, hold) in net.holds.iter().enumerate() {
                self.ratio[hold.pump as usize] = before[i];
            }
            self.settle(net, options)?;
            worst = self.hold_errors(net, &mut errors);
            break;
        }
        // Newton settled, or stalled at a limit or a kink: one control after the other, each robust on its own.
        let mut last_ratios = vec![f64::NAN; k];
        for _ in 0..200 {
            if worst <= HOLD_LOOSE {
                break;
            }
            let mut limit = None;
            for which in 0..k {
                if let Control::AtEnd { end, reached } = self.control_one(net, which, options)? {
                    limit.get_or_insert((which, end, reached));
                }
            }
            worst = self.hold_errors(net, &mut errors);
            let mut moved = false;
            for (last, hold) in last_ratios.iter_mut().zip(&net.holds) {
                let now = self.ratio[hold.pump as usize];
                moved |= (now - *last).abs() > 1e-12 * now || last.is_nan();
                *last = now;
            }
            if let (Some((which, end, reached)), false) = (limit, moved) {
                return Err(self.speed_limit(net, which, end, reached).into());
            }
        }
        if worst > HOLD_LOOSE {
            let (mass, energy) = self.residuals(net);
            return Err(self.not_converged(mass, energy));
        }
        // A control that moves nothing is not settled by its condition.
        for by in 0..k {
            self.sensitivities(net, by, &mut column)?;
            for row in 0..k {
                jacobian[row * k + by] = column[row] / self.held_scale(net, row);
            }
        }
        for by in 0..k {
            let strongest = (0..k).fold(0.0_f64, |a, row| a.max(jacobian[row * k + by].abs()));
            let hold = net.holds[by];
            if strongest * self.ratio[hold.pump as usize] <= 1e-6 && hold.largest > hold.least {
                return Err(Infeasible::HoldNotUnique {
                    hold: HoldId(by as u32),
                }
                .into());
            }
        }
        Ok(())
    }

    /// Relative errors of all holds; returns the largest.
    fn hold_errors(&self, net: &Network, out: &mut [f64]) -> f64 {
        let mut worst = 0.0_f64;
        for (which, e) in out.iter_mut().enumerate() {
            let (value, wanted) = self.held(net, which);
            *e = (value - wanted) / self.held_scale(net, which);
            worst = worst.max(e.abs());
        }
        worst
    }

    fn speed_limit(&self, net: &Network, which: usize, end: SpeedEnd, reached: f64) -> Infeasible {
        let hold = net.holds[which];
        let (_, wanted) = self.held(net, which);
        Infeasible::SpeedLimit {
            hold: HoldId(which as u32),
            end,
            ratio: self.ratio[hold.pump as usize],
            reached,
            wanted,
        }
    }

    /// Checks the limits of the duty and hands out the solution with its residuals.
    fn finish(&mut self, net: &Network) -> Result<Solution, SolveError> {
        let top = self.largest_flow();
        for e in 0..self.ends.len() {
            // What rounding left of a flow that is shut off is no flow.
            if net.links[e].one_way && self.flow[e].abs() <= 1e-9 * top && self.flow[e] <= 0.0 {
                self.flow[e] = 0.0;
            }
        }
        let (mass, energy) = self.residuals(net);
        let flow_top = self.flow.iter().fold(0.0_f64, |a, q| a.max(q.abs()));
        let mass_relative = mass / top;
        if !(mass <= 1e-9 * top && energy <= 10.0 * ENERGY_TOLERANCE * self.pressure_scale) {
            return Err(self.not_converged(mass, energy));
        }
        let weight = net.specific_weight();
        let mut state = Vec::with_capacity(self.ends.len());
        let mut nozzles = 0_usize;
        for (e, link) in net.links.iter().enumerate() {
            let q = self.flow[e];
            let shut = self.gate[e] == Gate::Shut;
            nozzles += usize::from(link.to.is_none());
            state.push(match &link.law {
                Resolved::Pump(p) => {
                    let (low, high) = p.domain(self.ratio[e]);
                    let slack = 1e-9 * if high.is_finite() { high } else { top };
                    if q < low - slack || q > high + slack {
                        return Err(Infeasible::PumpOffCurve {
                            link: LinkId(e as u32),
                            flow: q,
                            lowest: low,
                            highest: high,
                        }
                        .into());
                    }
                    if self.slope[e] < 0.0 {
                        LinkState::RisingCurve
                    } else {
                        LinkState::Open
                    }
                }
                _ if shut && link.to.is_none() => LinkState::Dry,
                _ if shut => LinkState::Shut,
                Resolved::Holding { least, largest, .. } => {
                    if q < *least {
                        LinkState::BelowHolding
                    } else if q > *largest {
                        LinkState::AboveHolding
                    } else {
                        LinkState::Holding
                    }
                }
                _ => LinkState::Open,
            });
        }
        if nozzles > 0 && flow_top <= 1e-9 * self.flow_scale {
            return Err(Infeasible::NothingFlows.into());
        }
        for (e, link) in net.links.iter().enumerate() {
            if self.flow[e] > link.max_flow * (1.0 + 1e-9) {
                return Err(Infeasible::SupplyCannotGive {
                    link: LinkId(e as u32),
                    wanted: self.flow[e],
                    can_give: link.max_flow,
                }
                .into());
            }
        }
        self.check_unique(net, &state)?;
        let pressure_top = net
            .nodes
            .iter()
            .zip(&self.head)
            .fold(self.pressure_scale, |a, (node, h)| {
                a.max((h - weight * node.elevation).abs())
            });
        Ok(Solution {
            node_pressure: net
                .nodes
                .iter()
                .zip(&self.head)
                .map(|(node, h)| match node.kind {
                    NodeKind::Fixed(p) => p,
                    NodeKind::Junction(_) => h - weight * node.elevation,
                })
                .collect(),
            link_flow: self.flow.clone(),
            link_loss: self.loss.clone(),
            link_state: state,
            control: net
                .holds
                .iter()
                .map(|h| self.ratio[h.pump as usize])
                .collect(),
            residual_mass: mass,
            residual_mass_relative: mass_relative,
            residual_energy: energy,
            residual_energy_relative: energy / pressure_top,
            iterations: self.iterations,
        })
    }

    /// Refuses a solution in which nozzles that hold their pressure share a node (or a joint without loss, or a known
    /// pressure), so that the split between them is open.
    fn check_unique(&self, net: &Network, state: &[LinkState]) -> Result<(), Infeasible> {
        if !state.contains(&LinkState::Holding) {
            return Ok(());
        }
        let n = net.nodes.len();
        let mut groups = Groups::new(n + 1);
        for (i, node) in net.nodes.iter().enumerate() {
            if matches!(node.kind, NodeKind::Fixed(_)) {
                groups.merge(i, n);
            }
        }
        for (e, link) in net.links.iter().enumerate() {
            if let Some(to) = link.to
                && link.law.is_lossless()
                && state[e] == LinkState::Open
            {
                groups.merge(link.from as usize, to as usize);
            }
        }
        for (e, link) in net.links.iter().enumerate() {
            if state[e] == LinkState::Holding && !groups.merge(link.from as usize, n) {
                return Err(Infeasible::NotUnique {
                    link: LinkId(e as u32),
                });
            }
        }
        Ok(())
    }
}

/// Refuses layouts that have no single answer whatever the numbers: nodes that nothing reaches, and rings of links
/// without loss (a ring through known pressures among them).
fn check_layout(net: &Network) -> Result<(), Infeasible> {
    let n = net.nodes.len();
    let mut reach = Groups::new(n + 1);
    let mut lossless = Groups::new(n + 1);
    for (i, node) in net.nodes.iter().enumerate() {
        if matches!(node.kind, NodeKind::Fixed(_)) {
            reach.merge(i, n);
            lossless.merge(i, n);
        }
    }
    for (e, link) in net.links.iter().enumerate() {
        let to = link.to.map_or(n, |t| t as usize);
        reach.merge(link.from as usize, to);
        if link.law.is_lossless() && !lossless.merge(link.from as usize, to) {
            return Err(Infeasible::NotUnique {
                link: LinkId(e as u32),
            });
        }
    }
    let ground = reach.root(n);
    for i in 0..n {
        if reach.root(i) != ground {
            return Err(Infeasible::Disconnected {
                node: NodeId(i as u32),
            });
        }
    }
    Ok(())
}

/// Refuses demands that no source can reach, and inflows that can go nowhere, because check valves point the wrong way.
fn check_reach(net: &Network) -> Result<(), Infeasible> {
    let valves = net.links.iter().any(|l| l.one_way && l.to.is_some());
    let demand = |i: usize| match net.nodes[i].kind {
        NodeKind::Junction(d) => d,
        NodeKind::Fixed(_) => 0.0,
    };
    let n = net.nodes.len();
    if !valves || (0..n).all(|i| demand(i) == 0.0) {
        return Ok(());
    }
    let fixed = |i: usize| matches!(net.nodes[i].kind, NodeKind::Fixed(_));
    // Fed from a known pressure or an inflow, along the valves; then the same against them for inflows.
    let mut fed: Vec<bool> = (0..n).map(|i| fixed(i) || demand(i) < 0.0).collect();
    spread(net, &mut fed, false);
    let mut drained: Vec<bool> = (0..n).map(|i| fixed(i) || demand(i) > 0.0).collect();
    for link in net.links.iter().filter(|l| l.to.is_none()) {
        drained[link.from as usize] = true;
    }
    spread(net, &mut drained, true);
    for i in 0..n {
        if (demand(i) > 0.0 && !fed[i]) || (demand(i) < 0.0 && !drained[i]) {
            return Err(Infeasible::CutOff {
                node: NodeId(i as u32),
            });
        }
    }
    Ok(())
}

/// Spreads a mark over the links, through one-way links only in (or only against) their direction.
fn spread(net: &Network, marked: &mut [bool], against: bool) {
    let n = net.nodes.len();
    let mut first = vec![0_usize; n + 1];
    let arcs = || {
        net.links.iter().flat_map(|l| {
            let to = l.to.unwrap_or(l.from);
            let forward = (l.from as usize, to as usize);
            let back = (forward.1, forward.0);
            let one_way = l.one_way;
            [
                (!one_way || !against).then_some(forward),
                (!one_way || against).then_some(back),
            ]
            .into_iter()
            .flatten()
        })
    };
    for (a, _) in arcs() {
        first[a + 1] += 1;
    }
    for i in 0..n {
        first[i + 1] += first[i];
    }
    let mut fill = first.clone();
    let mut next = vec![0_usize; first[n]];
    for (a, b) in arcs() {
        next[fill[a]] = b;
        fill[a] += 1;
    }
    let mut open: Vec<usize> = (0..n).filter(|&i| marked[i]).collect();
    while let Some(i) = open.pop() {
        for &j in &next[first[i]..first[i + 1]] {
            if !marked[j] {
                marked[j] = true;
                open.push(j);
            }
        }
    }
}

/// Disjoint groups of nodes.
struct Groups {
    parent: Vec<u32>,
}

impl Groups {
    fn new(n: usize) -> Self {
        Self {
            parent: (0..n as u32).collect(),
        }
    }

    fn root(&mut self, i: usize) -> usize {
        let mut i = i;
        while self.parent[i] as usize != i {
            // Halving the path keeps later look-ups short.
            let above = self.parent[i] as usize;
            self.parent[i] = self.parent[above];
            i = self.parent[i] as usize;
        }
        i
    }

    /// Joins two groups; false when they were one already.
    fn merge(&mut self, a: usize, b: usize) -> bool {
        let (a, b) = (self.root(a), self.root(b));
        if a == b {
            return false;
        }
        self.parent[a.min(b)] = a.max(b) as u32;
        true
    }
}

/// Solves a small dense system by elimination with row exchange; false when it is singular.
fn gauss(m: &mut [f64], x: &mut [f64], k: usize) -> bool {
    for c in 0..k {
        let mut best = c;
        for r in c + 1..k {
            if m[r * k + c].abs() > m[best * k + c].abs() {
                best = r;
            }
        }
        let pivot = m[best * k + c];
        if pivot.abs() <= 1e-12 || !pivot.is_finite() {
            return false;
        }
        if best != c {
            for j in 0..k {
                m.swap(c * k + j, best * k + j);
            }
            x.swap(c, best);
        }
        for r in c + 1..k {
            let f = m[r * k + c] / pivot;
            for j in c..k {
                m[r * k + j] -= f * m[c * k + j];
            }
            x[r] -= f * x[c];
        }
    }
    for c in (0..k).rev() {
        let mut v = x[c];
        for j in c + 1..k {
            v -= m[c * k + j] * x[j];
        }
        x[c] = v / m[c * k + c];
    }
    x.iter().all(|v| v.is_finite())
}
