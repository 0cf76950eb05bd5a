//! The impeller: tip speed, vane-pass frequency, exit area, and the head its geometry should give.
//!
//! The ideal head is Euler's, `(u₂ c_u2 − u₁ c_u1)/g`, with the whirl at exit reduced by a slip factor in the sense of
//! slip velocity: `c_u2 = σ u₂ − c_m2/tan β₂`, β₂ from the tangent. Wiesner's factor (1967) holds up to a limiting radius
//! ratio and falls off above it; Stodola's (1927) is the older one. A head from geometry is a *prediction* with wide
//! scatter and never enough for a verdict.
//!
//! Invariants: angles in radians; the meridional velocity counts the vanes' blockage.
//!
//! What it does not do: losses and power (see `prediction`), leakage, stress.

use crate::STANDARD_GRAVITY;
use crate::error::{MechanicsError, check, finite, not_negative, positive};
use std::f64::consts::{FRAC_PI_2, PI};

/// Tip speed, m/s, of a diameter (m) at a speed (rad/s).
///
/// # Errors
/// [`MechanicsError`] for numbers that cannot be right.
pub fn tip_speed(diameter: f64, speed: f64) -> Result<f64, MechanicsError> {
    positive("impeller diameter (m)", diameter)?;
    not_negative("speed (rad/s)", speed)?;
    Ok(0.5 * diameter * speed)
}

/// Vane-pass frequency, Hz, of `vanes` at a speed (rad/s).
///
/// # Errors
/// [`MechanicsError`] for numbers that cannot be right.
pub fn vane_pass_frequency(vanes: u32, speed: f64) -> Result<f64, MechanicsError> {
    positive("number of vanes", f64::from(vanes))?;
    not_negative("speed (rad/s)", speed)?;
    Ok(f64::from(vanes) * speed / (2.0 * PI))
}

/// An impeller's exit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exit {
    /// Outside diameter, m.
    pub diameter: f64,
    /// Width between the shrouds at the exit, m.
    pub width: f64,
    /// Vane angle at the exit from the tangent, rad, above 0 up to π/2.
    pub angle: f64,
    /// Number of vanes.
    pub vanes: u32,
    /// Open share of the circumference (1 less the vanes' blockage), above 0 up to 1.
    pub open_share: f64,
    /// Radius of the vanes' inlet over that of their exit, 0 to below 1.
    pub radius_ratio: f64,
}

/// The head an impeller's geometry gives, by several slip factors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IdealHead {
    /// Tip speed, m/s.
    pub tip_speed: f64,
    /// Meridional velocity at the exit, m/s.
    pub meridional_velocity: f64,
    /// Wiesner's slip factor, with its correction above the limiting radius ratio.
    pub wiesner_slip: f64,
    /// Stodola's slip factor.
    pub stodola_slip: f64,
    /// Head without slip, m.
    pub no_slip: f64,
    /// Head with Wiesner's slip, m.
    pub wiesner: f64,
    /// Head with Stodola's slip, m.
    pub stodola: f64,
}

impl Exit {
    fn check(&self) -> Result<(), MechanicsError> {
        positive("impeller diameter (m)", self.diameter)?;
        positive("exit width (m)", self.width)?;
        check(
            "vane angle at exit (rad)",
            self.angle,
            self.angle > 0.0 && self.angle <= FRAC_PI_2,
            "above 0 and not above a right angle",
        )?;
        positive("number of vanes", f64::from(self.vanes))?;
        check(
            "open share of the circumference",
            self.open_share,
            self.open_share > 0.0 && self.open_share <= 1.0,
            "above 0 and not above 1",
        )?;
        check(
            "radius ratio of the vanes",
            self.radius_ratio,
            (0.0..1.0).contains(&self.radius_ratio),
            "from 0 to below 1",
        )?;
        Ok(())
    }

    /// Exit area, m²: `π D b` times the open share.
    ///
    /// # Errors
    /// [`MechanicsError`] for numbers that cannot be right.
    pub fn area(&self) -> Result<f64, MechanicsError> {
        self.check()?;
        Ok(PI * self.diameter * self.width * self.open_share)
    }

    /// Radius ratio up to which Wiesner's factor holds unchanged: `exp(−8.16 sin β₂/z)`.
    ///
    /// # Errors
    /// [`MechanicsError`] for numbers that cannot be right.
    pub fn wiesner_limit(&self) -> Result<f64, MechanicsError> {
        self.check()?;
        Ok((-8.16 * self.angle.sin() / f64::from(self.vanes)).exp())
    }

    /// Wiesner's slip factor (1967): `1 − √(sin β₂)/z^0.7`, times `1 − ((r − r_lim)/(1 − r_lim))³` above the limiting
    /// radius ratio.
    ///
    /// # Errors
    /// [`MechanicsError`] for numbers that cannot be right.
    pub fn wiesner_slip(&self) -> Result<f64, MechanicsError> {
        let limit = self.wiesner_limit()?;
        let slip = 1.0 - self.angle.sin().sqrt() / f64::from(self.vanes).powf(0.7);
        if self.radius_ratio <= limit {
            return Ok(slip);
        }
        let over = (self.radius_ratio - limit) / (1.0 - limit);
        Ok(slip * (1.0 - over.powi(3)))
    }

    /// Stodola's slip factor (1927): `1 − π sin β₂/z`.
    ///
    /// # Errors
    /// [`MechanicsError`] for numbers that cannot be right.
    pub fn stodola_slip(&self) -> Result<f64, MechanicsError> {
        self.check()?;
        Ok(1.0 - PI * self.angle.sin() / f64::from(self.vanes))
    }

    /// Head, m, at a flow through the impeller (m³/s, leakage included), a speed (rad/s) and a whirl velocity at the
    /// vanes' inlet (m/s, positive with the rotation). Multiply by the hydraulic efficiency for the head delivered.
    ///
    /// # Errors
    /// [`MechanicsError`] for numbers that cannot be right.
    pub fn ideal_head(
        &self,
        flow: f64,
        speed: f64,
        inlet_whirl: f64,
    ) -> Result<IdealHead, MechanicsError> {
        not_negative("flow through the impeller (m³/s)", flow)?;
        finite("whirl at the inlet (m/s)", inlet_whirl)?;
        let u2 = tip_speed(self.diameter, speed)?;
        let cm2 = flow / self.area()?;
        let (wiesner, stodola) = (self.wiesner_slip()?, self.stodola_slip()?);
        let inlet = u2 * self.radius_ratio * inlet_whirl;
        let head =
            |slip: f64| (u2 * (slip * u2 - cm2 / self.angle.tan()) - inlet) / STANDARD_GRAVITY;
        Ok(IdealHead {
            tip_speed: u2,
            meridional_velocity: cm2,
            wiesner_slip: wiesner,
            stodola_slip: stodola,
            no_slip: head(1.0),
            wiesner: head(wiesner),
            stodola: head(stodola),
        })
    }
}
