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

use super::control::Control;
use super::eliminate::System;
use super::law::Resolved;
use super::layout::{Groups, check_layout, check_reach};
use super::{Infeasible, LinkId, Network, NodeId, NodeKind, Options, SolveError};
use crate::error::InputError;

/// How a link works in a solution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LinkState {
    /// Open, nothing special.
    Open,
    /// Closed by hand ([`Network::close`]).
    Closed,
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
    /// Nodes in parts that shut valves have cut off from every known pressure and from the air. Their pressures are
    /// consistent with the valves, but any others between the same bounds would be too.
    pub cut_off: Vec<NodeId>,
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
    /// Closed by hand: no part of what is sought.
    Closed,
}

impl Gate {
    /// Whether nothing passes.
    fn shut(self) -> bool {
        matches!(self, Gate::Shut | Gate::Closed)
    }
}

/// Buffers and elimination plan for one layout; solves any network of the same layout.
#[derive(Debug)]
pub struct Solver {
    pub(super) ends: Vec<(u32, u32)>,
    variable: Vec<u32>,
    slot: Vec<u32>,
    system: System,
    // State.
    /// Piezometric pressure p + ρ g z at each node, then that of the air at each nozzle is taken from `air`.
    pub(super) head: Vec<f64>,
    /// Piezometric pressure of the air where a link ends in it.
    pub(super) air: Vec<f64>,
    pub(super) flow: Vec<f64>,
    loss: Vec<f64>,
    /// True slope of each link's law at its flow.
    slope: Vec<f64>,
    /// Slope used in the step.
    used: Vec<f64>,
    gate: Vec<Gate>,
    pub(super) ratio: Vec<f64>,
    // Work.
    pub(super) step_flow: Vec<f64>,
    pub(super) step_head: Vec<f64>,
    pub(super) misfit: Vec<f64>,
    balance: Vec<f64>,
    trial_loss: Vec<f64>,
    trial_slope: Vec<f64>,
    rhs: Vec<f64>,
    /// One unknown of every part that shut links cut off, and the nodes of those parts.
    pinned: Vec<u32>,
    pub(super) adrift: Vec<bool>,
    pub(super) pressure_scale: f64,
    pub(super) flow_scale: f64,
    iterations: usize,
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
            adrift: vec![false; n],
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
        self.adrift.fill(false);
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
            if self.gate[e].shut() {
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
    pub(super) fn along(head: &[f64], air: &[f64], ends: (u32, u32), e: usize) -> f64 {
        let to = if ends.1 == KNOWN {
            air[e]
        } else {
            head[ends.1 as usize]
        };
        head[ends.0 as usize] - to
    }

    /// Misfits of mass (into `balance`, outflow less inflow) and energy (into `misfit`). Returns the largest of each.
    pub(super) fn residuals(&mut self, net: &Network) -> (f64, f64) {
        for (b, node) in self.balance.iter_mut().zip(&net.nodes) {
            *b = match node.kind {
                NodeKind::Junction(d) => d,
                NodeKind::Fixed(_) => 0.0,
            };
        }
        let mut energy = 0.0_f64;
        for (e, &ends) in self.ends.iter().enumerate() {
            if self.gate[e].shut() {
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
    pub(super) fn factor(&mut self) -> Result<(), usize> {
        self.system.clear();
        let mut strongest = 0.0_f64;
        for (e, &ends) in self.ends.iter().enumerate() {
            if self.gate[e].shut() {
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
    pub(super) fn direction(&mut self, with_mass: bool) {
        self.rhs.fill(0.0);
        if with_mass {
            for (b, &v) in self.balance.iter().zip(&self.variable) {
                if v != KNOWN {
                    self.rhs[v as usize] = -b;
                }
            }
        }
        for (e, &ends) in self.ends.iter().enumerate() {
            if self.gate[e].shut() {
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
            self.step_flow[e] = if self.gate[e].shut() {
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
            if self.gate[e].shut() {
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
    pub(super) fn along_step(step: &[f64], ends: (u32, u32)) -> f64 {
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
                // Twice a step that removes an imbalance would bring it back with the other sign, for ever.
                let even = mass <= MASS_TOLERANCE * self.largest_flow();
                t = self.search(net, even);
                for e in 0..self.ends.len() {
                    if self.gate[e].shut() {
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
            // In a network nearly at rest the scale of what could flow counts.
            let still = (STEP_TOLERANCE * top).max(1e-10 * self.flow_scale);
            let close =
                energy <= ENERGY_TOLERANCE * self.pressure_scale && mass <= MASS_TOLERANCE * top;
            calm = if close { calm + 1 } else { 0 };
            if (close && t >= 1.0 && step <= still) || calm >= 40 {
                return Ok(());
            }
        }
    }

    /// Finds a share of the step that brings the content near its least along it; up to twice the step where `twice` says
    /// so. Leaves the losses there in the trial arrays.
    fn search(&mut self, net: &Network, twice: bool) -> f64 {
        let mut g0 = 0.0;
        for e in 0..self.ends.len() {
            if !self.gate[e].shut() {
                g0 -= self.used[e] * self.step_flow[e] * self.step_flow[e];
            }
        }
        let g1 = self.content_slope(net, 1.0);
        let noise = 1e-15 * self.pressure_scale * self.flow_scale;
        if g0.abs() <= noise {
            return 1.0;
        }
        if twice && g1 < 0.2 * g0 {
            // Much is left to gain beyond the full step: a link near zero flow has a double root there, and Newton's
            // method only halves its flow each time. Twice the step finds it at once.
            let g2 = self.content_slope(net, 2.0);
            if g2.abs() < 0.5 * g1.abs() {
                return 2.0;
            }
            self.content_slope(net, 1.0);
            return 1.0;
        }
        if g1 <= 0.3 * g0.abs() {
            return 1.0;
        }
        // The slope of the content rises along the step: a root lies between. Illinois' form of false position, every
        // second time a halving: of the interval, or of its logarithm while the root may be many decades down.
        let (mut a, mut fa, mut b, mut fb) = (0.0, g0, 1.0, g1);
        let mut side = 0;
        for round in 0..80 {
            let mut t = if round % 2 == 0 {
                (a * fb - b * fa) / (fb - fa)
            } else if a < 0.1 * b {
                (a.max(1e-6 * b) * b).sqrt()
            } else {
                0.5 * (a + b)
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
            if b - a <= 1e-4 * b {
                break;
            }
        }
        // The slope jumps at a kink inside [a, b]. The step ends just past it: there the link that jumped shows its
        // steep side, and the next step sees it. Ending before it would repeat the same cut for ever.
        self.content_slope(net, b);
        b
    }

    pub(super) fn not_converged(&self, mass: f64, energy: f64) -> SolveError {
        SolveError::NotConverged {
            iterations: self.iterations,
            residual_mass: mass,
            residual_energy: energy,
        }
    }

    /// Solves the network at the present speed ratios, from the present state: finds which one-way links are open,
    /// shuts the others exactly, and checks the set.
    pub(super) fn settle(
        &mut self,
        net: &Network,
        options: &Options<'_>,
    ) -> Result<(), SolveError> {
        let first = self.iterations == 0;
        let (mut any_gate, mut any_closed) = (false, false);
        for e in 0..self.ends.len() {
            let link = &net.links[e];
            if link.closed {
                any_closed = true;
                self.gate[e] = Gate::Closed;
                self.flow[e] = 0.0;
            } else if link.one_way {
                any_gate = true;
                self.gate[e] = Gate::Seeking;
            } else {
                self.gate[e] = Gate::Free;
            }
        }
        self.pinned.clear();
        self.adrift.fill(false);
        if any_closed {
            self.pin_islands(net)?;
        }
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
        // and try again. Where a set comes back, all corrections at once go round in a circle; then the first wrong link
        // alone is corrected each time (least index, K. G. Murty 1974, from memory), each set at most once.
        let mut seen: Vec<Vec<bool>> = Vec::new();
        let mut one_by_one = false;
        loop {
            let set: Vec<bool> = self.gate.iter().map(|g| *g == Gate::Shut).collect();
            if seen.contains(&set) {
                if one_by_one {
                    let (mass, energy) = self.residuals(net);
                    return Err(self.not_converged(mass, energy));
                }
                one_by_one = true;
                seen.clear();
            }
            seen.push(set);
            self.pin_islands(net)?;
            for e in 0..self.ends.len() {
                if self.gate[e].shut() {
                    self.flow[e] = 0.0;
                }
            }
            self.newton(net, options, false)?;
            let top = self.largest_flow();
            let mut changed = false;
            for e in 0..self.ends.len() {
                let right = match self.gate[e] {
                    Gate::Shut => {
                        let along = Self::along(&self.head, &self.air, self.ends[e], e);
                        (along > 1e-9 * self.pressure_scale).then_some(Gate::Open)
                    }
                    Gate::Open => (self.flow[e] < -1e-9 * top).then_some(Gate::Shut),
                    _ => None,
                };
                if let Some(right) = right {
                    self.gate[e] = right;
                    changed = true;
                    if one_by_one {
                        break;
                    }
                }
            }
            if !changed {
                return Ok(());
            }
        }
    }

    /// Pins one node of every part that shut links have cut off, so that its pressure stays where the search left it. A part
    /// of which water is asked cannot be cut off by check valves that lead to it: these were shut wrongly and are opened.
    fn pin_islands(&mut self, net: &Network) -> Result<(), SolveError> {
        let n = net.nodes.len();
        // Each pass opens a valve at least, or ends.
        loop {
            self.pinned.clear();
            self.adrift.fill(false);
            let mut groups = Groups::new(n + 1);
            for (i, v) in self.variable.iter().enumerate() {
                if *v == KNOWN {
                    groups.merge(i, n);
                }
            }
            for (e, &ends) in self.ends.iter().enumerate() {
                if !self.gate[e].shut() {
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
            let mut asked = None;
            for i in 0..n {
                let root = groups.root(i);
                self.adrift[i] = root != ground;
                if root != ground && root == i {
                    if demand[root].abs() > 1e-9 * self.flow_scale {
                        asked = asked.or(Some(i));
                    }
                    self.pinned.push(self.variable[i]);
                }
            }
            let Some(asked) = asked else { return Ok(()) };
            let mut opened = false;
            for (e, &(from, to)) in self.ends.iter().enumerate() {
                if self.gate[e] != Gate::Shut || to == KNOWN {
                    continue;
                }
                // Water that is asked for comes in, water that is put in goes out.
                let (a, b) = (groups.root(from as usize), groups.root(to as usize));
                if a != b && asked == if demand[asked] > 0.0 { b } else { a } {
                    self.gate[e] = Gate::Open;
                    opened = true;
                }
            }
            if !opened {
                return Err(Infeasible::CutOff {
                    node: NodeId(asked as u32),
                }
                .into());
            }
        }
    }

    /// Checks the limits of the duty and hands out the solution with its residuals.
    fn finish(&mut self, net: &Network) -> Result<Solution, SolveError> {
        let top = self.largest_flow();
        for e in 0..self.ends.len() {
            // What rounding left of a flow that is shut off is no flow.
            let q = self.flow[e];
            let back = net.links[e].one_way && q.abs() <= 1e-9 * top && q <= 0.0;
            // A nozzle that passes next to nothing is dry.
            if back || (net.links[e].to.is_none() && q <= 1e-12 * top) {
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
                _ if self.gate[e] == Gate::Closed => LinkState::Closed,
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
                // Also with the pressure of the air before it, as behind a closed gate.
                _ if link.to.is_none() && (shut || q <= 1e-12 * top) => LinkState::Dry,
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
            cut_off: (0..net.nodes.len() as u32)
                .filter(|&i| self.adrift[i as usize])
                .map(NodeId)
                .collect(),
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
