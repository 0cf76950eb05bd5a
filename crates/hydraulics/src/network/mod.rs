//! The steady network: any graph of hose, pipe, pumps, supplies and nozzles, solved for pressures and flows.
//!
//! A [`Network`] is built from nodes and links; each call returns an id, and each link carries an opaque `tag` for the
//! caller. Pressures at nodes are total gauge pressures at the node's elevation. Along a link
//!
//! ```text
//! p_from + ρ g z_from − loss(Q) = p_to + ρ g z_to
//! ```
//!
//! with Q positive from `from` to `to`; a pump's loss is minus its rise. At every junction, inflow less outflow is the
//! demand. A nozzle discharges to the air at its node's elevation.
//!
//! How it is solved: with loss laws that rise with flow, the steady state is the one minimum of a convex function of
//! the flows (the *content*: the sum over links of ∫ loss dQ) among all flows that balance at every junction. Newton's
//! method on node pressures and link flows together gives the direction; once flows balance they stay balanced, and a
//! line search on the content makes it converge from a cold start. Check valves and dry nozzles enter first as a very
//! steep loss for reverse flow and are then shut exactly; the resulting set is checked and, if it is not consistent,
//! corrected with a guard against cycling. The linear system is symmetric positive definite: nodes with one or two
//! neighbours are eliminated directly, the rest goes to a dense or a sparse Cholesky factorisation (`faer`).
//!
//! Invariants: no panic, no endless loop, no unconverged number in a [`Solution`]; every solution carries its mass and
//! energy residuals. A duty that has no answer is an [`Infeasible`] that names the limit.
//!
//! What it does not do: surge, cavitation (it reports pressures; NPSH is judged in [`crate::supply`]), compressibility.

mod control;
mod eliminate;
mod law;
mod layout;
mod solve;

pub use law::{Law, Rise, RiseLaw};
pub use solve::{LinkState, Solution, Solver};

use crate::STANDARD_GRAVITY;
use crate::error::{InputError, check, finite, not_negative, positive};
use crate::nozzle::Nozzle;
use thiserror::Error;

/// A node of one network.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct NodeId(pub(crate) u32);

/// A link of one network (hose, pipe, valve, pump, supply or nozzle).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct LinkId(pub(crate) u32);

/// A held condition of one network.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct HoldId(pub(crate) u32);

impl NodeId {
    /// Position in the order of building, from zero; indexes [`Solution::node_pressure`].
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

impl LinkId {
    /// Position in the order of building, from zero; indexes [`Solution::link_flow`].
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

impl HoldId {
    /// Position in the order of building, from zero; indexes [`Solution::control`].
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

/// What a node is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum NodeKind {
    /// Total gauge pressure known, Pa.
    Fixed(f64),
    /// Water taken out, m³/s.
    Junction(f64),
}

/// A node: its elevation (m) and kind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Node {
    pub elevation: f64,
    pub kind: NodeKind,
}

/// A link: where it goes and its law. `to` is `None` for a nozzle.
#[derive(Debug, Clone)]
pub(crate) struct Link {
    pub from: u32,
    pub to: Option<u32>,
    pub law: law::Resolved,
    pub one_way: bool,
    pub closed: bool,
    pub max_flow: f64,
    pub tag: u32,
}

/// What is held, by finding a pump's speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Held {
    /// Total gauge pressure, Pa, at a node: a pump's discharge, or a nozzle's base.
    NodePressure {
        /// The node.
        node: NodeId,
        /// Pressure wanted, Pa gauge.
        pressure: f64,
    },
    /// Flow, m³/s, through a link (for instance a nozzle).
    LinkFlow {
        /// The link.
        link: LinkId,
        /// Flow wanted, m³/s.
        flow: f64,
    },
    /// Net pressure rise, Pa, of a pump.
    PumpRise {
        /// The pump.
        pump: LinkId,
        /// Rise wanted, Pa.
        rise: f64,
    },
}

/// A held condition and the pump speed that is free for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Hold {
    pub held: Held,
    pub pump: u32,
    pub least: f64,
    pub largest: f64,
}

/// A network under construction, and the object that is solved.
#[derive(Debug, Clone)]
pub struct Network {
    pub(crate) density: f64,
    pub(crate) nodes: Vec<Node>,
    pub(crate) links: Vec<Link>,
    pub(crate) holds: Vec<Hold>,
}

impl Network {
    /// An empty network for water of `density` (kg/m³).
    ///
    /// # Errors
    /// [`InputError`] when the density is not above zero.
    pub fn new(density: f64) -> Result<Self, InputError> {
        Ok(Self {
            density: positive("density (kg/m³)", density)?,
            nodes: Vec::new(),
            links: Vec::new(),
            holds: Vec::new(),
        })
    }

    /// Density of the water, kg/m³.
    pub fn density(&self) -> f64 {
        self.density
    }

    /// Specific weight ρg of the water, Pa/m.
    pub fn specific_weight(&self) -> f64 {
        self.density * STANDARD_GRAVITY
    }

    /// Number of nodes.
    pub fn node_count(&self) -> usize {
        self.nodes.len()
    }

    /// Number of links, nozzles among them.
    pub fn link_count(&self) -> usize {
        self.links.len()
    }

    /// The caller's tag of a link; `None` for an id of another network.
    pub fn tag(&self, link: LinkId) -> Option<u32> {
        self.links.get(link.index()).map(|l| l.tag)
    }

    /// Adds a node whose total gauge pressure (Pa) is known, at `elevation` (m): a water surface, a main, a tank.
    ///
    /// # Errors
    /// [`InputError`] when a number is not finite.
    pub fn fixed(&mut self, elevation: f64, pressure: f64) -> Result<NodeId, InputError> {
        finite("elevation (m)", elevation)?;
        finite("fixed pressure (Pa)", pressure)?;
        self.add_node(elevation, NodeKind::Fixed(pressure))
    }

    /// Adds a junction at `elevation` (m) where `demand` (m³/s) is taken out; a negative demand puts water in.
    ///
    /// # Errors
    /// [`InputError`] when a number is not finite.
    pub fn junction(&mut self, elevation: f64, demand: f64) -> Result<NodeId, InputError> {
        finite("elevation (m)", elevation)?;
        finite("demand (m³/s)", demand)?;
        self.add_node(elevation, NodeKind::Junction(demand))
    }

    /// Adds a link that passes flow both ways.
    ///
    /// # Errors
    /// [`InputError`] when an end is not a node of this network, both ends are the same, or the law's numbers are not
    /// usable.
    pub fn link(
        &mut self,
        from: NodeId,
        to: NodeId,
        law: Law,
        tag: u32,
    ) -> Result<LinkId, InputError> {
        self.ends(from, to)?;
        let law = law::Resolved::new(law)?;
        self.add_link(from.0, Some(to.0), law, false, tag)
    }

    /// Adds a link that passes flow only from `from` to `to`: a check valve, or a line with one in it. Its law is that
    /// of the open valve.
    ///
    /// # Errors
    /// As [`Network::link`].
    pub fn check_valve(
        &mut self,
        from: NodeId,
        to: NodeId,
        law: Law,
        tag: u32,
    ) -> Result<LinkId, InputError> {
        let id = self.link(from, to, law, tag)?;
        self.links[id.index()].one_way = true;
        Ok(id)
    }

    /// Adds a pump from its intake to its discharge, at `speed_ratio` (speed over the speed of its curve).
    ///
    /// A pump must not flow backwards: a solution that would need it is [`Infeasible::PumpOffCurve`]. Put a
    /// [`Network::check_valve`] after it where the apparatus has one.
    ///
    /// # Errors
    /// [`InputError`] as [`Network::link`], or when the speed ratio is not above zero.
    pub fn pump(
        &mut self,
        intake: NodeId,
        discharge: NodeId,
        rise: Rise,
        speed_ratio: f64,
        tag: u32,
    ) -> Result<LinkId, InputError> {
        self.link(intake, discharge, Law::Pump { rise, speed_ratio }, tag)
    }

    /// Adds a nozzle that discharges from `node` to the air at the node's elevation. It never draws air in: with the
    /// node at or below atmospheric pressure it is dry, with flow zero.
    ///
    /// # Errors
    /// [`InputError`] when the node is not of this network or the nozzle's numbers are not usable.
    pub fn nozzle(&mut self, node: NodeId, nozzle: Nozzle, tag: u32) -> Result<LinkId, InputError> {
        self.known_node(node)?;
        let law = law::Resolved::nozzle(nozzle, self.density)?;
        self.add_link(node.0, None, law, true, tag)
    }

    /// Sets the largest flow (m³/s) a link may carry in its own direction, for instance what a supply can give. A
    /// solution above it is [`Infeasible::SupplyCannotGive`].
    ///
    /// # Errors
    /// [`InputError`] when the link is not of this network or the flow is negative.
    pub fn limit_flow(&mut self, link: LinkId, max_flow: f64) -> Result<(), InputError> {
        not_negative("largest flow of a link (m³/s)", max_flow)?;
        self.known_link(link)?;
        self.links[link.index()].max_flow = max_flow;
        Ok(())
    }

    /// Changes a link's law: another length of hose, a gate at another opening. A pump stays a pump, and no other link
    /// becomes one.
    ///
    /// # Errors
    /// [`InputError`] when the link is not of this network, is a nozzle, or the law's numbers are not usable.
    pub fn set_law(&mut self, link: LinkId, law: Law) -> Result<(), InputError> {
        self.known_link(link)?;
        let l = &mut self.links[link.index()];
        let law = law::Resolved::new(law)?;
        if l.to.is_none() || l.law.is_pump() != law.is_pump() {
            return Err(InputError::Shape {
                quantity: "link whose law is changed",
                expected: "a link between two nodes, a pump's law for a pump",
            });
        }
        l.law = law;
        Ok(())
    }

    /// Closes a link, or opens it again: a gate that is shut, a pump behind a closed valve, a nozzle that is turned off.
    /// Nothing passes it; what it cuts off from every known pressure and from the air is named in
    /// [`Solution::cut_off`], and a demand there is [`Infeasible::CutOff`].
    ///
    /// # Errors
    /// [`InputError`] when the link is not of this network.
    pub fn close(&mut self, link: LinkId, closed: bool) -> Result<(), InputError> {
        self.known_link(link)?;
        self.links[link.index()].closed = closed;
        Ok(())
    }

    /// Changes a pump's speed ratio.
    ///
    /// # Errors
    /// [`InputError`] when the link is no pump of this network or the ratio is not above zero.
    pub fn set_speed_ratio(&mut self, pump: LinkId, ratio: f64) -> Result<(), InputError> {
        positive("pump speed ratio", ratio)?;
        self.known_pump(pump)?;
        self.links[pump.index()].law.set_speed_ratio(ratio);
        Ok(())
    }

    /// Changes a junction's demand (m³/s).
    ///
    /// # Errors
    /// [`InputError`] when the node is no junction of this network or the demand is not finite.
    pub fn set_demand(&mut self, node: NodeId, demand: f64) -> Result<(), InputError> {
        finite("demand (m³/s)", demand)?;
        match self.nodes.get_mut(node.index()).map(|n| &mut n.kind) {
            Some(NodeKind::Junction(d)) => {
                *d = demand;
                Ok(())
            }
            _ => Err(InputError::Shape {
                quantity: "node",
                expected: "a junction of this network",
            }),
        }
    }

    /// Changes a fixed node's total gauge pressure (Pa).
    ///
    /// # Errors
    /// [`InputError`] when the node is no fixed node of this network or the pressure is not finite.
    pub fn set_fixed_pressure(&mut self, node: NodeId, pressure: f64) -> Result<(), InputError> {
        finite("fixed pressure (Pa)", pressure)?;
        match self.nodes.get_mut(node.index()).map(|n| &mut n.kind) {
            Some(NodeKind::Fixed(p)) => {
                *p = pressure;
                Ok(())
            }
            _ => Err(InputError::Shape {
                quantity: "node",
                expected: "a fixed-pressure node of this network",
            }),
        }
    }

    /// Holds a condition by finding the speed ratio of `pump` between `least` and `largest`. Each pump can serve one
    /// condition.
    ///
    /// # Errors
    /// [`InputError`] when an id is not of this network, the pump already serves a condition, the limits are not
    /// `0 < least <= largest`, or the value wanted is not finite.
    pub fn hold(
        &mut self,
        held: Held,
        pump: LinkId,
        least: f64,
        largest: f64,
    ) -> Result<HoldId, InputError> {
        self.known_pump(pump)?;
        positive("least speed ratio", least)?;
        check(
            "largest speed ratio",
            largest,
            largest >= least,
            "not less than the least speed ratio",
        )?;
        match held {
            Held::NodePressure { node, pressure } => {
                finite("pressure to hold (Pa)", pressure)?;
                self.known_node(node)?;
                if matches!(self.nodes[node.index()].kind, NodeKind::Fixed(_)) {
                    return Err(InputError::Shape {
                        quantity: "node of the pressure to hold",
                        expected: "a junction; the pressure of this node is already fixed",
                    });
                }
            }
            Held::LinkFlow { link, flow } => {
                finite("flow to hold (m³/s)", flow)?;
                self.known_link(link)?;
            }
            Held::PumpRise { pump, rise } => {
                finite("pressure rise to hold (Pa)", rise)?;
                self.known_pump(pump)?;
            }
        }
        if self.holds.iter().any(|h| h.pump == pump.0) {
            return Err(InputError::Shape {
                quantity: "pump of a held condition",
                expected: "a pump that serves no other held condition",
            });
        }
        self.holds.push(Hold {
            held,
            pump: pump.0,
            least,
            largest,
        });
        Ok(HoldId(self.holds.len() as u32 - 1))
    }

    /// Solves the network once. For many solves of one layout keep a [`Solver`].
    ///
    /// # Errors
    /// [`SolveError`].
    pub fn solve(&self, options: &Options<'_>) -> Result<Solution, SolveError> {
        Solver::new(self)?.solve(self, options)
    }

    fn add_node(&mut self, elevation: f64, kind: NodeKind) -> Result<NodeId, InputError> {
        // The id is 32 bits wide; a network of four thousand million nodes is a mistake, not a duty.
        let id = u32::try_from(self.nodes.len()).map_err(|_| TOO_MANY)?;
        self.nodes.push(Node { elevation, kind });
        Ok(NodeId(id))
    }

    fn add_link(
        &mut self,
        from: u32,
        to: Option<u32>,
        law: law::Resolved,
        one_way: bool,
        tag: u32,
    ) -> Result<LinkId, InputError> {
        let id = u32::try_from(self.links.len()).map_err(|_| TOO_MANY)?;
        self.links.push(Link {
            from,
            to,
            law,
            one_way,
            closed: false,
            max_flow: f64::INFINITY,
            tag,
        });
        Ok(LinkId(id))
    }

    fn known_node(&self, node: NodeId) -> Result<(), InputError> {
        if node.index() < self.nodes.len() {
            Ok(())
        } else {
            Err(InputError::Shape {
                quantity: "node",
                expected: "a node of this network",
            })
        }
    }

    fn known_link(&self, link: LinkId) -> Result<(), InputError> {
        if link.index() < self.links.len() {
            Ok(())
        } else {
            Err(InputError::Shape {
                quantity: "link",
                expected: "a link of this network",
            })
        }
    }

    fn known_pump(&self, pump: LinkId) -> Result<(), InputError> {
        match self.links.get(pump.index()) {
            Some(l) if l.law.is_pump() => Ok(()),
            _ => Err(InputError::Shape {
                quantity: "pump",
                expected: "a pump of this network",
            }),
        }
    }

    fn ends(&self, from: NodeId, to: NodeId) -> Result<(), InputError> {
        self.known_node(from)?;
        self.known_node(to)?;
        if from == to {
            return Err(InputError::Shape {
                quantity: "link",
                expected: "two different end nodes",
            });
        }
        Ok(())
    }
}

const TOO_MANY: InputError = InputError::Shape {
    quantity: "network",
    expected: "fewer than 2³² nodes and links",
};

/// How a solve is run.
#[derive(Clone, Copy)]
pub struct Options<'a> {
    /// Most Newton steps in all, inner steps of held conditions among them.
    pub max_iterations: usize,
    /// Asked once per Newton step; `true` stops the solve with [`SolveError::Cancelled`].
    pub cancel: Option<&'a dyn Fn() -> bool>,
}

impl Default for Options<'_> {
    fn default() -> Self {
        Self {
            max_iterations: 2000,
            cancel: None,
        }
    }
}

impl std::fmt::Debug for Options<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Options")
            .field("max_iterations", &self.max_iterations)
            .field("cancel", &self.cancel.is_some())
            .finish()
    }
}

/// Which end of a speed range was reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SpeedEnd {
    /// The least speed already gives too much.
    Least,
    /// The largest speed does not give enough.
    Largest,
}

/// Why a duty has no answer.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum Infeasible {
    /// A held condition cannot be met within the pump's speed range.
    #[error("held condition {}: at the {} speed ratio {ratio} it is {reached}, {wanted} is wanted", hold.0,
        match end { SpeedEnd::Least => "least", SpeedEnd::Largest => "largest" })]
    SpeedLimit {
        /// The condition.
        hold: HoldId,
        /// The end of the range that was reached.
        end: SpeedEnd,
        /// Speed ratio at that end.
        ratio: f64,
        /// Value of the held quantity there, Pa or m³/s.
        reached: f64,
        /// Value wanted, Pa or m³/s.
        wanted: f64,
    },
    /// A pump would have to work outside its tested curve.
    #[error("pump {} would work at {flow} m³/s; its curve covers {lowest} to {highest} m³/s at this speed", link.0)]
    PumpOffCurve {
        /// The pump.
        link: LinkId,
        /// Flow the network asks of it, m³/s; only a sign of the direction, the curve is not known there.
        flow: f64,
        /// Lowest flow of its curve at this speed, m³/s.
        lowest: f64,
        /// Highest flow of its curve at this speed, m³/s.
        highest: f64,
    },
    /// More water is asked of a link than it can give.
    #[error("link {} would have to carry {wanted} m³/s; it can give {can_give} m³/s", link.0)]
    SupplyCannotGive {
        /// The link with the limit.
        link: LinkId,
        /// Flow asked of it, m³/s.
        wanted: f64,
        /// Its largest flow, m³/s.
        can_give: f64,
    },
    /// Every nozzle is dry: no pressure reaches any of them.
    #[error("no nozzle flows: the pressure at every nozzle is at or below that of the air")]
    NothingFlows,
    /// A node has no way to any known pressure or to the air.
    #[error("node {} is joined to no supply, no known pressure and no nozzle", node.0)]
    Disconnected {
        /// The node.
        node: NodeId,
    },
    /// Every way by which a node could be fed is shut, and water is asked of it.
    #[error("node {} can only be reached through valves that stay shut", node.0)]
    CutOff {
        /// The node.
        node: NodeId,
    },
    /// Links without resistance, or nozzles holding one pressure, leave the split of flow open.
    #[error("the flow through link {} is not determined: it closes a ring without resistance", link.0)]
    NotUnique {
        /// A link whose flow is undetermined.
        link: LinkId,
    },
    /// A held condition is met by a whole range of speeds (or by none, because speed does not change it).
    #[error("held condition {} does not settle the speed: the held value does not depend on it", hold.0)]
    HoldNotUnique {
        /// The condition.
        hold: HoldId,
    },
    /// The held value jumps over the one wanted as the speed changes: a pump with a rising curve, or a valve.
    #[error("held condition {}: near the speed ratio {ratio} its value jumps over the one wanted", hold.0)]
    HoldJumps {
        /// The condition.
        hold: HoldId,
        /// Speed ratio at the jump.
        ratio: f64,
    },
}

/// Why a solve gave no solution.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum SolveError {
    /// Newton's method did not settle within the limit; no numbers are given.
    #[error(
        "no convergence after {iterations} steps (mass {residual_mass} m³/s, energy {residual_energy} Pa)"
    )]
    NotConverged {
        /// Newton steps taken.
        iterations: usize,
        /// Largest imbalance of flow at a junction, m³/s.
        residual_mass: f64,
        /// Largest departure of a link from its law, Pa.
        residual_energy: f64,
    },
    /// The duty has no answer.
    #[error(transparent)]
    Infeasible(#[from] Infeasible),
    /// The caller's cancel poll said stop.
    #[error("cancelled after {iterations} steps")]
    Cancelled {
        /// Newton steps taken.
        iterations: usize,
    },
    /// The network is not the one the solver was made for, or is empty.
    #[error(transparent)]
    Input(#[from] InputError),
}
