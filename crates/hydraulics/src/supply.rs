//! Where the water comes from: draft, hydrant, tank; what each gives at a flow, and the most it can give.
//!
//! Invariants: intake pressures are total gauge pressures at the pump's intake, at the pump's level; NPSH is in metres
//! of the water pumped, above its vapour pressure, and counts the velocity head (total pressure).
//!
//! What it does not do: entrained air and whirlpools at the strainer, surge in mains, the time a tank lasts.

use crate::STANDARD_GRAVITY;
use crate::error::{InputError, check, finite, not_negative, positive};
use crate::network::Law;

/// NPSH available, m: `(p_total + p_atm − p_vapour)/(ρ g)` from the total gauge pressure at the intake (Pa), the
/// atmospheric and vapour pressures (Pa absolute) and the density (kg/m³).
///
/// # Errors
/// [`InputError`] for numbers that cannot be right.
pub fn npsh_available(
    intake_total: f64,
    atmospheric: f64,
    vapour: f64,
    density: f64,
) -> Result<f64, InputError> {
    finite("intake pressure (Pa)", intake_total)?;
    positive("atmospheric pressure (Pa)", atmospheric)?;
    not_negative("vapour pressure (Pa)", vapour)?;
    positive("density (kg/m³)", density)?;
    Ok((intake_total + atmospheric - vapour) / (density * STANDARD_GRAVITY))
}

/// The most a supply gives, and what limits it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Most {
    /// The limit is reached at this flow, m³/s.
    Flow(f64),
    /// The limit is not reached up to this flow, m³/s, where the question (or the pump's curve) ends.
    AtLeast(f64),
    /// The limit is passed even at the lowest flow asked about: nothing can be given.
    Nothing,
}

/// The largest flow up to `up_to` at which `margin` (falling with flow) is still zero or more. Halving until the
/// interval is below rounding.
fn largest_with(margin: &dyn Fn(f64) -> f64, from: f64, up_to: f64) -> Most {
    let first = margin(from);
    if first.is_nan() || first < 0.0 {
        return Most::Nothing;
    }
    if margin(up_to) >= 0.0 {
        return Most::AtLeast(up_to);
    }
    let (mut a, mut b) = (from, up_to);
    while b - a > 2.0 * f64::EPSILON * b {
        let mid = 0.5 * (a + b);
        if mid <= a || mid >= b {
            break;
        }
        if margin(mid) >= 0.0 {
            a = mid;
        } else {
            b = mid;
        }
    }
    Most::Flow(a)
}

/// Drafting from open water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Draft {
    atmospheric: f64,
    vapour: f64,
    density: f64,
    lift: f64,
    resistance: f64,
}

impl Draft {
    /// Draft at an atmospheric pressure (Pa absolute) with water of a vapour pressure (Pa absolute) and density (kg/m³),
    /// a `lift` (m, water surface to pump intake; negative when the water stands higher), and a square-law `resistance`
    /// of strainer and suction hose (Pa/(m³/s)²).
    ///
    /// # Errors
    /// [`InputError`] for numbers that cannot be right.
    pub fn new(
        atmospheric: f64,
        vapour: f64,
        density: f64,
        lift: f64,
        resistance: f64,
    ) -> Result<Self, InputError> {
        positive("atmospheric pressure (Pa)", atmospheric)?;
        check(
            "vapour pressure (Pa)",
            vapour,
            vapour >= 0.0 && vapour < atmospheric,
            "zero or more and less than the atmospheric pressure",
        )?;
        positive("density (kg/m³)", density)?;
        finite("lift (m)", lift)?;
        not_negative("suction resistance (Pa/(m³/s)²)", resistance)?;
        Ok(Self {
            atmospheric,
            vapour,
            density,
            lift,
            resistance,
        })
    }

    fn weight(&self) -> f64 {
        self.density * STANDARD_GRAVITY
    }

    /// Total gauge pressure at the intake, Pa (below zero is vacuum), at `flow` (m³/s).
    pub fn intake_pressure(&self, flow: f64) -> f64 {
        -self.weight() * self.lift - self.resistance * flow * flow
    }

    /// NPSH available, m, at `flow` (m³/s).
    pub fn npsh_available(&self, flow: f64) -> f64 {
        (self.intake_pressure(flow) + self.atmospheric - self.vapour) / self.weight()
    }

    /// The highest lift, m, over which the air could press this water at no flow: theory only. Pumps and primers reach
    /// less; about two thirds is dependable (common practice).
    pub fn greatest_lift(&self) -> f64 {
        (self.atmospheric - self.vapour) / self.weight()
    }

    /// The most the pump can draw before the NPSH available falls to `npshr` (m as a function of flow in m³/s, rising
    /// with flow), asked up to the flow `up_to` (m³/s) where that function is known.
    ///
    /// # Errors
    /// [`InputError`] when `up_to` is not above zero.
    pub fn most(&self, npshr: &dyn Fn(f64) -> f64, up_to: f64) -> Result<Most, InputError> {
        positive("largest flow asked about (m³/s)", up_to)?;
        Ok(largest_with(
            &|q| self.npsh_available(q) - npshr(q),
            0.0,
            up_to,
        ))
    }

    /// The law of the suction line for a network: from a fixed node at the water surface (gauge pressure zero,
    /// elevation minus the lift) to the pump's intake.
    pub fn law(&self) -> Law {
        Law::Quadratic {
            resistance: self.resistance,
        }
    }
}

/// A hydrant of known flow test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hydrant {
    static_pressure: f64,
    residual: f64,
    test_flow: f64,
    exponent: f64,
}

/// Exponent of flow in the drop of a hydrant that matches the 0.54 power law of flow (NFPA 291): 1/0.54.
pub const HYDRANT_EXPONENT: f64 = 1.0 / 0.54;

impl Hydrant {
    /// A hydrant of static gauge pressure (Pa) whose pressure fell to `residual` (Pa) while `test_flow` (m³/s) ran. The
    /// drop goes with flow to the power `exponent`: [`HYDRANT_EXPONENT`], or 1.85 where local practice has that.
    ///
    /// A test in which the pressure falls by less than a tenth of the static pressure says little (NFPA 291).
    ///
    /// # Errors
    /// [`InputError`] for numbers that cannot be right.
    pub fn new(
        static_pressure: f64,
        residual: f64,
        test_flow: f64,
        exponent: f64,
    ) -> Result<Self, InputError> {
        positive("static pressure (Pa)", static_pressure)?;
        check(
            "residual pressure (Pa)",
            residual,
            residual < static_pressure,
            "less than the static pressure",
        )?;
        positive("flow of the hydrant test (m³/s)", test_flow)?;
        check(
            "exponent of flow",
            exponent,
            (1.0..=3.0).contains(&exponent),
            "from 1 to 3",
        )?;
        Ok(Self {
            static_pressure,
            residual,
            test_flow,
            exponent,
        })
    }

    /// Static gauge pressure, Pa.
    pub fn static_pressure(&self) -> f64 {
        self.static_pressure
    }

    /// Gauge pressure, Pa, left at the hydrant at `flow` (m³/s).
    ///
    /// # Errors
    /// [`InputError`] when the flow is negative.
    pub fn pressure(&self, flow: f64) -> Result<f64, InputError> {
        not_negative("hydrant flow (m³/s)", flow)?;
        let drop = self.static_pressure - self.residual;
        Ok(self.static_pressure - drop * (flow / self.test_flow).powf(self.exponent))
    }

    /// The most it gives, m³/s, with `pressure` (Pa gauge) left, commonly 20 psi (NFPA 291). Zero when the static
    /// pressure is not above that.
    ///
    /// # Errors
    /// [`InputError`] when the pressure is not finite.
    pub fn most(&self, pressure: f64) -> Result<f64, InputError> {
        finite("pressure to be left (Pa)", pressure)?;
        let share = (self.static_pressure - pressure) / (self.static_pressure - self.residual);
        Ok(self.test_flow * share.max(0.0).powf(1.0 / self.exponent))
    }

    /// The law of the mains for a network: from a fixed node held at the static pressure to the hydrant.
    pub fn law(&self) -> Law {
        Law::Power {
            coefficient: (self.static_pressure - self.residual)
                / self.test_flow.powf(self.exponent),
            exponent: self.exponent,
        }
    }
}

/// A booster tank with its plumbing to the pump.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tank {
    draft: Draft,
}

impl Tank {
    /// A vented tank whose water stands `level` (m) above the pump's intake, with square-law plumbing `resistance`
    /// (Pa/(m³/s)²); air and water as for [`Draft::new`].
    ///
    /// # Errors
    /// [`InputError`] for numbers that cannot be right.
    pub fn new(
        atmospheric: f64,
        vapour: f64,
        density: f64,
        level: f64,
        resistance: f64,
    ) -> Result<Self, InputError> {
        finite("water level over the intake (m)", level)?;
        Ok(Self {
            draft: Draft::new(atmospheric, vapour, density, -level, resistance)?,
        })
    }

    /// Total gauge pressure at the intake, Pa, at `flow` (m³/s).
    pub fn intake_pressure(&self, flow: f64) -> f64 {
        self.draft.intake_pressure(flow)
    }

    /// NPSH available, m, at `flow` (m³/s).
    pub fn npsh_available(&self, flow: f64) -> f64 {
        self.draft.npsh_available(flow)
    }

    /// The most the plumbing passes before the NPSH available falls to `npshr`; as [`Draft::most`].
    ///
    /// # Errors
    /// [`InputError`] when `up_to` is not above zero.
    pub fn most(&self, npshr: &dyn Fn(f64) -> f64, up_to: f64) -> Result<Most, InputError> {
        self.draft.most(npshr, up_to)
    }

    /// The law of the plumbing for a network.
    pub fn law(&self) -> Law {
        self.draft.law()
    }
}
