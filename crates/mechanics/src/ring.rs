//! The running clearance of a wear ring: cold, at temperature, and with everything that takes it away.
//!
//! Clearances are diametral (bore less rotating diameter) unless a name says radial.
//!
//! Invariants: a clearance below zero is returned as it is (the parts touch); the caller says so.
//!
//! What it does not do: press fits, galling pairs, lists of minimum clearances (they differ by edition and maker).

use crate::error::{MechanicsError, not_negative, positive};

/// A diameter with its limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Diameter {
    /// Nominal diameter, m.
    pub nominal: f64,
    /// Upper deviation, m (signed).
    pub upper: f64,
    /// Lower deviation, m (signed).
    pub lower: f64,
}

impl Diameter {
    /// A diameter without tolerance, as measured.
    pub fn exact(value: f64) -> Self {
        Self {
            nominal: value,
            upper: 0.0,
            lower: 0.0,
        }
    }

    fn check(&self, quantity: &'static str) -> Result<(), MechanicsError> {
        positive(quantity, self.nominal + self.lower)?;
        not_negative("upper less lower deviation (m)", self.upper - self.lower)?;
        Ok(())
    }

    fn middle(&self) -> f64 {
        self.nominal + 0.5 * (self.upper + self.lower)
    }

    fn half_width(&self) -> f64 {
        0.5 * (self.upper - self.lower)
    }
}

/// The range of a clearance, m, diametral.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clearance {
    /// Middle value.
    pub middle: f64,
    /// Least value with both parts at their worst.
    pub worst_least: f64,
    /// Largest value with both parts at their worst.
    pub worst_largest: f64,
    /// Half width by root of the sum of squares: what is likely rather than possible.
    pub rss_half_width: f64,
}

/// A ring bore running over an impeller hub.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunningPair {
    /// Bore of the stationary ring at the reference temperature.
    pub bore: Diameter,
    /// Diameter of the rotating part at the reference temperature.
    pub hub: Diameter,
    /// Linear expansion coefficient that governs the bore, 1/K: the ring's own if it is free, the body's if the ring is
    /// pressed in and follows it.
    pub bore_expansion: f64,
    /// Linear expansion coefficient of the rotating part, 1/K.
    pub hub_expansion: f64,
}

impl RunningPair {
    /// Clearance at the reference temperature.
    ///
    /// # Errors
    /// [`MechanicsError`] for diameters that cannot be right.
    pub fn cold(&self) -> Result<Clearance, MechanicsError> {
        self.at(0.0, 0.0)
    }

    /// Clearance with the bore `bore_rise` and the hub `hub_rise` (K) over the reference temperature.
    ///
    /// # Errors
    /// [`MechanicsError`] for diameters or temperatures that cannot be right.
    pub fn at(&self, bore_rise: f64, hub_rise: f64) -> Result<Clearance, MechanicsError> {
        self.bore.check("ring bore (m)")?;
        self.hub.check("hub diameter (m)")?;
        let bore_scale = positive(
            "expanded bore over cold bore",
            1.0 + self.bore_expansion * bore_rise,
        )?;
        let hub_scale = positive(
            "expanded hub over cold hub",
            1.0 + self.hub_expansion * hub_rise,
        )?;
        let middle = self.bore.middle() * bore_scale - self.hub.middle() * hub_scale;
        let (b, h) = (
            self.bore.half_width() * bore_scale,
            self.hub.half_width() * hub_scale,
        );
        Ok(Clearance {
            middle,
            worst_least: middle - b - h,
            worst_largest: middle + b + h,
            rss_half_width: b.hypot(h),
        })
    }
}

/// Least radial gap left, m, of a diametral clearance (m) after the eccentricity of the bore to the shaft axis, the
/// runout of the hub (total indicator reading, m) and the deflection of the shaft at the ring (m): `c/2 − e − TIR/2 − y`.
/// Zero or less means the parts touch in running.
///
/// # Errors
/// [`MechanicsError`] when a part is negative.
pub fn least_radial_gap(
    clearance: f64,
    eccentricity: f64,
    runout: f64,
    deflection: f64,
) -> Result<f64, MechanicsError> {
    crate::error::finite("diametral clearance (m)", clearance)?;
    not_negative("eccentricity (m)", eccentricity)?;
    not_negative("runout, total indicator reading (m)", runout)?;
    not_negative("shaft deflection (m)", deflection)?;
    Ok(0.5 * clearance - eccentricity - 0.5 * runout - deflection)
}
