//! Nozzles that open to the air: flow, the pressure a flow needs, and reaction.
//!
//! A smooth bore follows from first principles, `Q = c (π/4) d² √(2p/ρ)`. A fog nozzle of rated flow at rated
//! pressure is a fixed orifice, `Q = K √p`. A nozzle that holds its pressure (automatic) keeps its set pressure between
//! its least and largest flow and is a fixed orifice outside that range. A selectable constant-flow nozzle is a fog
//! nozzle of the selected flow. The pressure is the total gauge pressure at the nozzle's base.
//!
//! Nozzle reaction can throw a crew off its feet or tear loose a monitor: the results are for planning, and local
//! codes and department procedure decide how many people hold a line.
//!
//! The `trade_*` functions give the fireground form people expect to see, next to the first-principles figure.
//!
//! What it does not do: reach, droplet size, foam.

use crate::error::{InputError, check, fraction, not_negative, positive};
use std::f64::consts::{FRAC_PI_4, PI};

/// A nozzle's law of discharge to the air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Nozzle {
    /// A smooth bore tip.
    SmoothBore {
        /// Bore at the outlet, m.
        diameter: f64,
        /// Discharge coefficient, above 0 and up to 1.
        discharge_coefficient: f64,
    },
    /// A fog nozzle, or any fixed opening, that gives its rated flow at its rated pressure.
    Fog {
        /// Rated flow, m³/s.
        rated_flow: f64,
        /// Rated pressure, Pa.
        rated_pressure: f64,
    },
    /// A fog nozzle that holds its set pressure between two flows.
    PressureHolding {
        /// Pressure held, Pa.
        set_pressure: f64,
        /// Flow at which it begins to hold, m³/s.
        least_flow: f64,
        /// Flow up to which it holds, m³/s.
        largest_flow: f64,
    },
}

/// Where a pressure-holding nozzle works.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HoldingState {
    /// Below its least flow: a fixed opening, the pressure is under the set pressure.
    Below,
    /// Between its limits: the set pressure is held.
    Holding,
    /// Above its largest flow: a fixed opening, the pressure is over the set pressure.
    Above,
}

impl Nozzle {
    /// Checks the nozzle's numbers.
    ///
    /// # Errors
    /// [`InputError`] naming the number that cannot be right.
    pub fn check(&self) -> Result<(), InputError> {
        match *self {
            Nozzle::SmoothBore {
                diameter,
                discharge_coefficient,
            } => {
                positive("nozzle bore (m)", diameter)?;
                fraction("discharge coefficient", discharge_coefficient)?;
            }
            Nozzle::Fog {
                rated_flow,
                rated_pressure,
            } => {
                positive("rated nozzle flow (m³/s)", rated_flow)?;
                positive("rated nozzle pressure (Pa)", rated_pressure)?;
            }
            Nozzle::PressureHolding {
                set_pressure,
                least_flow,
                largest_flow,
            } => {
                positive("nozzle set pressure (Pa)", set_pressure)?;
                positive("least flow of the holding range (m³/s)", least_flow)?;
                check(
                    "largest flow of the holding range (m³/s)",
                    largest_flow,
                    largest_flow > least_flow,
                    "more than the least flow",
                )?;
            }
        }
        Ok(())
    }

    /// Flow, m³/s, at the nozzle pressure `pressure` (Pa gauge) for water of `density` (kg/m³). Zero at or below zero
    /// pressure. While a pressure-holding nozzle is exactly at its set pressure its flow is whatever the line brings;
    /// its least flow is returned then.
    ///
    /// # Errors
    /// [`InputError`] for numbers that cannot be right.
    pub fn flow(&self, pressure: f64, density: f64) -> Result<f64, InputError> {
        self.check()?;
        crate::error::finite("nozzle pressure (Pa)", pressure)?;
        positive("density (kg/m³)", density)?;
        let p = pressure.max(0.0);
        Ok(match *self {
            Nozzle::PressureHolding {
                set_pressure,
                least_flow,
                largest_flow,
            } => {
                let q = if p > set_pressure {
                    largest_flow
                } else {
                    least_flow
                };
                q * (p / set_pressure).sqrt()
            }
            _ => (p / self.resistance(density)).sqrt(),
        })
    }

    /// Pressure, Pa gauge, the nozzle needs to give `flow` (m³/s) of water of `density` (kg/m³).
    ///
    /// # Errors
    /// [`InputError`] for numbers that cannot be right.
    pub fn pressure(&self, flow: f64, density: f64) -> Result<f64, InputError> {
        self.check()?;
        not_negative("nozzle flow (m³/s)", flow)?;
        positive("density (kg/m³)", density)?;
        Ok(match *self {
            Nozzle::PressureHolding {
                set_pressure,
                least_flow,
                largest_flow,
            } => {
                let edge = flow.clamp(least_flow, largest_flow);
                set_pressure * (flow / edge) * (flow / edge)
            }
            _ => self.resistance(density) * flow * flow,
        })
    }

    /// The square-law resistance `p/Q²`, Pa/(m³/s)². For a pressure-holding nozzle, that of its least opening.
    pub fn resistance(&self, density: f64) -> f64 {
        match *self {
            Nozzle::SmoothBore {
                diameter,
                discharge_coefficient,
            } => {
                let area = discharge_coefficient * FRAC_PI_4 * diameter * diameter;
                0.5 * density / (area * area)
            }
            Nozzle::Fog {
                rated_flow,
                rated_pressure,
            } => rated_pressure / (rated_flow * rated_flow),
            Nozzle::PressureHolding {
                set_pressure,
                least_flow,
                ..
            } => set_pressure / (least_flow * least_flow),
        }
    }

    /// Where a pressure-holding nozzle works at `flow` (m³/s); `None` for the other nozzles.
    pub fn holding_state(&self, flow: f64) -> Option<HoldingState> {
        match *self {
            Nozzle::PressureHolding {
                least_flow,
                largest_flow,
                ..
            } => Some(if flow < least_flow {
                HoldingState::Below
            } else if flow > largest_flow {
                HoldingState::Above
            } else {
                HoldingState::Holding
            }),
            _ => None,
        }
    }

    /// Reaction, N, at `flow` (m³/s), `pressure` (Pa gauge) and `density` (kg/m³): the momentum of the stream.
    ///
    /// A smooth bore's coefficient is taken as contraction of the jet, which leaves at the full speed √(2p/ρ), so
    /// `F = 2 c A p`. A fog nozzle is reckoned as a straight stream without loss, `F = ρ Q √(2p/ρ)`, the most it can be.
    ///
    /// # Errors
    /// [`InputError`] for numbers that cannot be right.
    pub fn reaction(&self, flow: f64, pressure: f64, density: f64) -> Result<f64, InputError> {
        self.check()?;
        stream_reaction(flow, pressure, density)
    }
}

/// Reaction of a straight stream, N: `ρ Q √(2p/ρ)` with flow (m³/s), pressure (Pa) and density (kg/m³). Momentum.
///
/// # Errors
/// [`InputError`] for numbers that cannot be right.
pub fn stream_reaction(flow: f64, pressure: f64, density: f64) -> Result<f64, InputError> {
    not_negative("flow (m³/s)", flow)?;
    not_negative("pressure (Pa)", pressure)?;
    positive("density (kg/m³)", density)?;
    Ok(density * flow * (2.0 * pressure / density).sqrt())
}

/// How a smooth bore's discharge coefficient acts on the stream, which decides its reaction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CoefficientSense {
    /// No loss: the coefficient is left out. `F = 2 A p`, whose trade form is 1.57 d² p.
    Ideal,
    /// The jet contracts and leaves at full speed. `F = 2 c A p`.
    Contraction,
    /// The jet fills the bore and leaves slower. `F = 2 c² A p`.
    Velocity,
}

/// Reaction of a smooth bore, N, from its bore (m), coefficient and nozzle pressure (Pa).
///
/// # Errors
/// [`InputError`] for numbers that cannot be right.
pub fn smooth_bore_reaction(
    diameter: f64,
    discharge_coefficient: f64,
    pressure: f64,
    sense: CoefficientSense,
) -> Result<f64, InputError> {
    positive("nozzle bore (m)", diameter)?;
    let c = fraction("discharge coefficient", discharge_coefficient)?;
    not_negative("nozzle pressure (Pa)", pressure)?;
    let ideal = 0.5 * PI * diameter * diameter * pressure;
    Ok(match sense {
        CoefficientSense::Ideal => ideal,
        CoefficientSense::Contraction => c * ideal,
        CoefficientSense::Velocity => c * c * ideal,
    })
}

/// Flow through an opening, m³/s: `cd (π/4) d² √(2Δp/ρ)`, with diameter (m), coefficient, pressure drop (Pa) and
/// density (kg/m³). For a pitot reading in the stream of a tip, the drop is the pitot pressure.
///
/// # Errors
/// [`InputError`] for numbers that cannot be right.
pub fn orifice_flow(
    diameter: f64,
    discharge_coefficient: f64,
    pressure_drop: f64,
    density: f64,
) -> Result<f64, InputError> {
    not_negative("pressure drop (Pa)", pressure_drop)?;
    Nozzle::SmoothBore {
        diameter,
        discharge_coefficient,
    }
    .flow(pressure_drop, density)
}

/// Flow through a throat in a pipe, m³/s, with velocity of approach:
/// `cd A₂ √(2Δp/ρ) / √(1 − (d/D)⁴)`. Pipe and throat diameters in m, drop in Pa, density in kg/m³. Source: ISO 5167-1
/// basic equation without expansion.
///
/// # Errors
/// [`InputError`] for numbers that cannot be right, or a throat that is not smaller than the pipe.
pub fn throat_flow(
    pipe_diameter: f64,
    throat_diameter: f64,
    discharge_coefficient: f64,
    pressure_drop: f64,
    density: f64,
) -> Result<f64, InputError> {
    positive("pipe diameter (m)", pipe_diameter)?;
    check(
        "throat diameter (m)",
        throat_diameter,
        throat_diameter > 0.0 && throat_diameter < pipe_diameter,
        "above zero and less than the pipe diameter",
    )?;
    let beta = throat_diameter / pipe_diameter;
    Ok(orifice_flow(
        throat_diameter,
        discharge_coefficient,
        pressure_drop,
        density,
    )? / (1.0 - beta.powi(4)).sqrt())
}

/// The constant K of the trade's `Q = K c d² √p` (gpm, inch, psi) for water of `density` (kg/m³), first principles.
/// 29.84 belongs to 998.946 kg/m³ (62.362 lb/ft³).
///
/// # Errors
/// [`InputError`] when the density is not above zero.
pub fn trade_nozzle_constant(density: f64) -> Result<f64, InputError> {
    const INCH: f64 = 0.0254;
    Ok(orifice_flow(INCH, 1.0, PSI, density)? / GPM)
}

/// One US gallon per minute, m³/s. Source: 231 in³ exactly, NIST SP 811.
pub(crate) const GPM: f64 = 231.0 * 0.0254 * 0.0254 * 0.0254 / 60.0;
/// One pound-force per square inch, Pa. Source: NIST SP 811, from 0.453 592 37 kg, 9.806 65 m/s², 0.0254 m.
pub(crate) const PSI: f64 = 0.453_592_37 * 9.806_65 / (0.0254 * 0.0254);

/// Trade form of pitot or smooth bore flow: `29.84 c d² √p`, gpm, with d in inches and p in psi (NFPA 291 §4.9).
pub fn trade_flow_gpm(discharge_coefficient: f64, diameter_in: f64, pressure_psi: f64) -> f64 {
    29.84 * discharge_coefficient * diameter_in * diameter_in * pressure_psi.sqrt()
}

/// Trade form of smooth bore reaction: `1.57 d² p`, lbf, with d in inches and p in psi. 0.05 % below π/2.
pub fn trade_smooth_bore_reaction_lbf(diameter_in: f64, pressure_psi: f64) -> f64 {
    1.57 * diameter_in * diameter_in * pressure_psi
}

/// Trade form of fog reaction: `0.0505 Q √p`, lbf, with Q in gpm and p in psi. 4.1 % below straight-stream momentum.
pub fn trade_fog_reaction_lbf(flow_gpm: f64, pressure_psi: f64) -> f64 {
    0.0505 * flow_gpm * pressure_psi.sqrt()
}
