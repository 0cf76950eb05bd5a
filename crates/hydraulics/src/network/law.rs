//! The loss laws of links, evaluated with their slopes.
//!
//! Invariants: loss has the sign of the flow and never falls as flow rises (a pump on a rising stretch of its curve is
//! the exception, which the solver knows about). Beyond the ends of a pump's curve the law is continued by a falling
//! straight line so that Newton's method has somewhere to go; a solution there is refused afterwards, never returned.
//!
//! What it does not do: decide whether a link is open (that is the solver's part).

use crate::error::{InputError, check, finite, not_negative, positive};
use crate::friction::DarcyPipe;
use crate::nozzle::Nozzle;
use crate::pump::PumpCurve;
use std::fmt::Debug;
use std::sync::Arc;

/// The law of a link between two nodes.
#[derive(Debug, Clone)]
pub enum Law {
    /// Loss `r Q|Q|`: hose by its coefficient, an appliance, a minor loss.
    Quadratic {
        /// Resistance r, Pa/(m³/s)²; zero for a joint without loss.
        resistance: f64,
    },
    /// Loss `k Q|Q|^(n−1)`: Hazen–Williams (n = 1/0.54), a hydrant's mains (n = 1.85 or 1/0.54).
    Power {
        /// Coefficient k, Pa/(m³/s)^n.
        coefficient: f64,
        /// Exponent n, from 1 to 3.
        exponent: f64,
    },
    /// Darcy–Weisbach pipe.
    Darcy(DarcyPipe),
    /// A pump; use [`super::Network::pump`].
    Pump {
        /// Its pressure rise.
        rise: Rise,
        /// Speed over the speed of the curve.
        speed_ratio: f64,
    },
}

/// How a pump's net pressure rise depends on flow.
#[derive(Debug, Clone)]
pub enum Rise {
    /// `a + b Q + c Q²` at speed ratio one, carried to other speeds by the affinity laws.
    Quadratic {
        /// a: rise at no flow, Pa.
        shut_off: f64,
        /// b, Pa/(m³/s).
        linear: f64,
        /// c, Pa/(m³/s)²; not above zero.
        square: f64,
        /// Largest flow the formula is known to hold for at speed ratio one, m³/s; may be infinite.
        max_flow: f64,
    },
    /// A tested curve; the speed ratio is the speed over [`PumpCurve::tested_speed`].
    Table(Arc<PumpCurve>),
    /// A law of the caller's own, for instance a tested curve carried to another ring clearance.
    Custom(Arc<dyn RiseLaw>),
}

/// A pump law of the caller's own.
pub trait RiseLaw: Debug + Send + Sync {
    /// Net pressure rise, Pa, and its derivative by flow, Pa/(m³/s), at `flow` (m³/s) and `speed_ratio`. Asked only
    /// inside [`RiseLaw::domain`].
    fn rise_and_slope(&self, flow: f64, speed_ratio: f64) -> (f64, f64);
    /// Lowest and highest flow, m³/s, the law is known for at `speed_ratio`.
    fn domain(&self, speed_ratio: f64) -> (f64, f64);
}

impl Rise {
    fn domain(&self, ratio: f64) -> (f64, f64) {
        match self {
            Rise::Quadratic { max_flow, .. } => (0.0, max_flow * ratio),
            Rise::Table(curve) => {
                let (low, high) = curve.rise_curve().domain();
                (low * ratio, high * ratio)
            }
            Rise::Custom(law) => law.domain(ratio),
        }
    }

    /// Rise and slope inside the domain.
    fn inside(&self, flow: f64, ratio: f64) -> (f64, f64) {
        match self {
            Rise::Quadratic {
                shut_off,
                linear,
                square,
                ..
            } => (
                ratio * ratio * shut_off + flow * (ratio * linear + flow * square),
                ratio * linear + 2.0 * flow * square,
            ),
            Rise::Table(curve) => {
                let (v, s) = curve.rise_curve().inside(flow / ratio);
                (ratio * ratio * v, ratio * s)
            }
            Rise::Custom(law) => law.rise_and_slope(flow, ratio),
        }
    }
}

/// A pump as the solver holds it.
#[derive(Debug, Clone)]
pub(crate) struct PumpLaw {
    rise: Rise,
    pub ratio: f64,
    /// Highest rise at speed ratio one, Pa: a scale.
    top: f64,
    /// A flow at speed ratio one well on the curve, m³/s: a scale.
    reach: f64,
}

impl PumpLaw {
    fn new(rise: Rise, ratio: f64) -> Result<Self, InputError> {
        positive("pump speed ratio", ratio)?;
        let (top, reach) = match &rise {
            Rise::Quadratic {
                shut_off,
                linear,
                square,
                max_flow,
            } => {
                positive("pump rise at no flow (Pa)", *shut_off)?;
                finite("linear term of the pump curve (Pa/(m³/s))", *linear)?;
                check(
                    "square term of the pump curve (Pa/(m³/s)²)",
                    *square,
                    *square <= 0.0 && (*square < 0.0 || *linear < 0.0),
                    "not above zero, and below zero unless the linear term is",
                )?;
                if max_flow.is_nan() || *max_flow <= 0.0 {
                    return Err(InputError::OutOfRange {
                        quantity: "largest flow of the pump curve (m³/s)",
                        value: *max_flow,
                        expected: "above zero (infinity if the curve has no end)",
                    });
                }
                let zero = if *square == 0.0 {
                    -shut_off / linear
                } else {
                    let d = linear * linear - 4.0 * square * shut_off;
                    (-linear - d.sqrt()) / (2.0 * square)
                };
                (*shut_off, max_flow.min(zero))
            }
            Rise::Table(curve) => {
                let top = curve.rise_curve().peak().1;
                positive("highest tested pressure rise (Pa)", top)?;
                (top, curve.rise_curve().domain().1)
            }
            Rise::Custom(law) => {
                let (low, high) = law.domain(1.0);
                check(
                    "highest flow of the pump law (m³/s)",
                    high,
                    high > low,
                    "finite and more than the lowest flow",
                )?;
                let top = law.rise_and_slope(low, 1.0).0;
                positive("pump rise at the lowest flow (Pa)", top)?;
                (top, high)
            }
        };
        Ok(Self {
            rise,
            ratio,
            top,
            reach,
        })
    }

    /// Rise and slope at any flow, continued beyond the ends by falling lines.
    fn rise_and_slope(&self, flow: f64, ratio: f64) -> (f64, f64) {
        let (low, high) = self.rise.domain(ratio);
        // Scales with the ratio like a slope does, so the continuation obeys the affinity laws too.
        let steep = ratio * self.top / self.reach;
        if flow < low {
            let (r, _) = self.rise.inside(low, ratio);
            (r + 4.0 * steep * (low - flow), -4.0 * steep)
        } else if flow > high {
            let (r, s) = self.rise.inside(high, ratio);
            let s = s.min(-steep);
            (r + s * (flow - high), s)
        } else {
            self.rise.inside(flow, ratio)
        }
    }

    pub(crate) fn domain(&self, ratio: f64) -> (f64, f64) {
        self.rise.domain(ratio)
    }

    pub(crate) fn top(&self, ratio: f64) -> f64 {
        self.top * ratio * ratio
    }

    pub(crate) fn reach(&self, ratio: f64) -> f64 {
        self.reach * ratio
    }

    /// Derivative of the loss by the speed ratio, Pa, at `flow`. From likeness, R(Q, r) = r² f(Q/r).
    pub(crate) fn loss_by_ratio(&self, flow: f64, ratio: f64) -> f64 {
        let (r, s) = self.rise_and_slope(flow, ratio);
        -(2.0 * r - flow * s) / ratio
    }
}

/// A law with its numbers checked.
#[derive(Debug, Clone)]
pub(crate) enum Resolved {
    Quadratic(f64),
    Power { k: f64, n: f64 },
    Darcy(Box<DarcyPipe>),
    Holding { set: f64, least: f64, largest: f64 },
    Pump(Box<PumpLaw>),
}

impl Resolved {
    pub(crate) fn new(law: Law) -> Result<Self, InputError> {
        Ok(match law {
            Law::Quadratic { resistance } => {
                Resolved::Quadratic(not_negative("resistance (Pa/(m³/s)²)", resistance)?)
            }
            Law::Power {
                coefficient,
                exponent,
            } => Resolved::Power {
                k: not_negative("loss coefficient (Pa/(m³/s)^n)", coefficient)?,
                n: check(
                    "exponent of flow in the loss",
                    exponent,
                    (1.0..=3.0).contains(&exponent),
                    "from 1 to 3",
                )?,
            },
            Law::Darcy(pipe) => Resolved::Darcy(Box::new(pipe)),
            Law::Pump { rise, speed_ratio } => {
                Resolved::Pump(Box::new(PumpLaw::new(rise, speed_ratio)?))
            }
        })
    }

    pub(crate) fn nozzle(nozzle: Nozzle, density: f64) -> Result<Self, InputError> {
        nozzle.check()?;
        Ok(match nozzle {
            Nozzle::PressureHolding {
                set_pressure,
                least_flow,
                largest_flow,
            } => Resolved::Holding {
                set: set_pressure,
                least: least_flow,
                largest: largest_flow,
            },
            other => Resolved::Quadratic(other.resistance(density)),
        })
    }

    pub(crate) fn is_pump(&self) -> bool {
        matches!(self, Resolved::Pump(_))
    }

    pub(crate) fn pump(&self) -> Option<&PumpLaw> {
        match self {
            Resolved::Pump(p) => Some(p),
            _ => None,
        }
    }

    pub(crate) fn set_speed_ratio(&mut self, ratio: f64) {
        if let Resolved::Pump(p) = self {
            p.ratio = ratio;
        }
    }

    /// True when the law has no loss at any flow.
    pub(crate) fn is_lossless(&self) -> bool {
        match self {
            Resolved::Quadratic(r) => *r == 0.0,
            Resolved::Power { k, .. } => *k == 0.0,
            Resolved::Darcy(pipe) => pipe.nominal_resistance() == 0.0,
            Resolved::Holding { .. } | Resolved::Pump(_) => false,
        }
    }

    /// Loss, Pa, and slope, Pa/(m³/s), at `q` (m³/s); `ratio` is used by pumps only.
    #[inline]
    pub(crate) fn loss(&self, q: f64, ratio: f64) -> (f64, f64) {
        match self {
            Resolved::Quadratic(r) => {
                let a = r * q.abs();
                (a * q, 2.0 * a)
            }
            Resolved::Power { k, n } => {
                let a = k * q.abs().powf(n - 1.0);
                (a * q, n * a)
            }
            Resolved::Darcy(pipe) => pipe.loss_and_slope(q),
            Resolved::Holding {
                set,
                least,
                largest,
            } => {
                if q < *least {
                    let a = set / (least * least) * q.abs();
                    (a * q, 2.0 * a)
                } else if q > *largest {
                    let a = set / (largest * largest) * q;
                    (a * q, 2.0 * a)
                } else {
                    (*set, 0.0)
                }
            }
            Resolved::Pump(p) => {
                let (r, s) = p.rise_and_slope(q, ratio);
                (-r, -s)
            }
        }
    }

    /// The flow, m³/s, at which the law loses about `pressure` (Pa); a first guess, infinite when there is no loss.
    pub(crate) fn nominal_flow(&self, pressure: f64) -> f64 {
        match self {
            Resolved::Quadratic(r) => (pressure / r).sqrt(),
            Resolved::Power { k, n } => (pressure / k).powf(1.0 / n),
            Resolved::Darcy(pipe) => (pressure / pipe.nominal_resistance()).sqrt(),
            Resolved::Holding {
                set,
                least,
                largest,
            } => {
                if pressure < *set {
                    least * (pressure / set).sqrt()
                } else {
                    (least * largest).sqrt()
                }
            }
            Resolved::Pump(p) => 0.5 * p.reach,
        }
    }
}
