//! Reading a pump test: net pump pressure from gauges, correction to rated speed, uncertainty and verdict.
//!
//! Net pump pressure is the total pressure at the discharge less that at the intake, both at one level:
//! `p_d − p_s + ρ g (z_d − z_s) + ρ (v_d² − v_s²)/2`. A vacuum at the intake is a negative gauge pressure and adds.
//! The trade leaves the velocity heads out; where the two bores differ they matter by a pound or two.
//!
//! Uncertainty follows the GUM (JCGM 100:2008): sensitivities times standard uncertainties, added in squares with
//! correlations. The verdict follows JCGM 106:2012 with a guard band; with a band of zero it is simple acceptance,
//! which is the rule of fire-pump tests (indicated values, common practice). No verdict here is a certificate.
//!
//! What it does not do: know any rating or procedure; the caller brings the limits.

use crate::affinity::{Duty, at_speed_ratio};
use crate::error::{InputError, check, finite, not_negative, positive};
use std::f64::consts::PI;

/// Gauge readings at one test point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gauges {
    /// Discharge gauge reading, Pa gauge.
    pub discharge: f64,
    /// Intake gauge reading, Pa gauge; negative for a vacuum.
    pub intake: f64,
    /// Height of the discharge gauge over the datum, m.
    pub discharge_height: f64,
    /// Height of the intake gauge over the same datum, m.
    pub intake_height: f64,
    /// Flow and bores at the gauge taps, to count velocity heads; `None` leaves them out as the trade does.
    pub velocity: Option<Taps>,
    /// Density of the water, kg/m³, for velocity heads.
    pub density: f64,
    /// Specific weight ρ g of the water (and of what fills the gauge lines), Pa/m.
    pub specific_weight: f64,
}

/// Flow and the bores where the gauges are tapped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Taps {
    /// Flow through the pump, m³/s.
    pub flow: f64,
    /// Bore at the discharge tap, m.
    pub discharge_bore: f64,
    /// Bore at the intake tap, m.
    pub intake_bore: f64,
}

impl Gauges {
    fn check(&self) -> Result<(), InputError> {
        finite("discharge gauge reading (Pa)", self.discharge)?;
        finite("intake gauge reading (Pa)", self.intake)?;
        finite("discharge gauge height (m)", self.discharge_height)?;
        finite("intake gauge height (m)", self.intake_height)?;
        positive("density (kg/m³)", self.density)?;
        positive("specific weight (Pa/m)", self.specific_weight)?;
        if let Some(taps) = self.velocity {
            finite("flow (m³/s)", taps.flow)?;
            positive("bore at the discharge tap (m)", taps.discharge_bore)?;
            positive("bore at the intake tap (m)", taps.intake_bore)?;
        }
        Ok(())
    }

    /// ρ Q²/(2 A²) = w Q²/d⁴ with this w.
    fn velocity_weight(&self) -> f64 {
        8.0 * self.density / (PI * PI)
    }

    /// Net pump pressure, Pa. Works at draft and from a pressurised source alike.
    ///
    /// # Errors
    /// [`InputError`] for readings that cannot be right.
    pub fn net_pressure(&self) -> Result<f64, InputError> {
        self.check()?;
        let velocity = self.velocity.map_or(0.0, |t| {
            self.velocity_weight()
                * t.flow
                * t.flow
                * (t.discharge_bore.powi(-4) - t.intake_bore.powi(-4))
        });
        Ok(self.discharge - self.intake
            + self.specific_weight * (self.discharge_height - self.intake_height)
            + velocity)
    }

    /// Derivatives of the net pressure by each reading, for the uncertainty.
    ///
    /// # Errors
    /// [`InputError`] for readings that cannot be right.
    pub fn sensitivities(&self) -> Result<NetSensitivities, InputError> {
        self.check()?;
        let mut s = NetSensitivities {
            discharge: 1.0,
            intake: -1.0,
            discharge_height: self.specific_weight,
            intake_height: -self.specific_weight,
            flow: 0.0,
            discharge_bore: 0.0,
            intake_bore: 0.0,
        };
        if let Some(t) = self.velocity {
            let w = self.velocity_weight();
            s.flow = 2.0 * w * t.flow * (t.discharge_bore.powi(-4) - t.intake_bore.powi(-4));
            s.discharge_bore = -4.0 * w * t.flow * t.flow * t.discharge_bore.powi(-5);
            s.intake_bore = 4.0 * w * t.flow * t.flow * t.intake_bore.powi(-5);
        }
        Ok(s)
    }

    /// Combined standard uncertainty of the net pressure, Pa, from the standard uncertainties of the readings. The two
    /// gauges may be correlated (checked against one master, say).
    ///
    /// # Errors
    /// [`InputError`] for readings or uncertainties that cannot be right.
    pub fn uncertainty(&self, u: &NetUncertainties) -> Result<f64, InputError> {
        let s = self.sensitivities()?;
        // A vacuum gauge that reads high makes the intake pressure read low: the correlation is stated for readings of
        // vacuum and pressure as they stand on the dials, so the intake's sign is turned here.
        combined_uncertainty(
            &[
                (s.discharge, u.discharge),
                (-s.intake, u.intake),
                (s.discharge_height, u.discharge_height),
                (s.intake_height, u.intake_height),
                (s.flow, u.flow),
                (s.discharge_bore, u.discharge_bore),
                (s.intake_bore, u.intake_bore),
            ],
            &[(0, 1, u.gauge_correlation)],
        )
    }
}

/// Derivatives of net pump pressure by the readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NetSensitivities {
    /// By the discharge gauge, Pa/Pa.
    pub discharge: f64,
    /// By the intake gauge pressure, Pa/Pa.
    pub intake: f64,
    /// By the discharge gauge height, Pa/m.
    pub discharge_height: f64,
    /// By the intake gauge height, Pa/m.
    pub intake_height: f64,
    /// By flow, Pa/(m³/s).
    pub flow: f64,
    /// By the discharge bore, Pa/m.
    pub discharge_bore: f64,
    /// By the intake bore, Pa/m.
    pub intake_bore: f64,
}

/// Standard uncertainties of the readings of [`Gauges`].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct NetUncertainties {
    /// Of the discharge gauge, Pa.
    pub discharge: f64,
    /// Of the intake gauge, Pa.
    pub intake: f64,
    /// Of the discharge gauge height, m.
    pub discharge_height: f64,
    /// Of the intake gauge height, m.
    pub intake_height: f64,
    /// Of the flow, m³/s.
    pub flow: f64,
    /// Of the discharge bore, m.
    pub discharge_bore: f64,
    /// Of the intake bore, m.
    pub intake_bore: f64,
    /// Correlation of discharge pressure and intake vacuum as read, −1 to 1.
    pub gauge_correlation: f64,
}

/// Net pump pressure at draft from the lift and the loss of the suction hose, Pa: `p_d + ρ g (lift + z_d) + loss`, with
/// the discharge gauge (Pa) at height `discharge_height` (m) over the pump's intake, the `lift` (m) from the water to
/// the intake, and the loss of strainer and suction hose (Pa).
///
/// The discharge velocity head is left out, as the trade's tables do; add `ρ v²/2` at the tap for the exact figure.
///
/// # Errors
/// [`InputError`] for numbers that cannot be right.
pub fn net_pressure_from_lift(
    discharge: f64,
    discharge_height: f64,
    lift: f64,
    suction_loss: f64,
    specific_weight: f64,
) -> Result<f64, InputError> {
    finite("discharge gauge reading (Pa)", discharge)?;
    finite("discharge gauge height (m)", discharge_height)?;
    finite("lift (m)", lift)?;
    not_negative("suction hose loss (Pa)", suction_loss)?;
    positive("specific weight (Pa/m)", specific_weight)?;
    Ok(discharge + specific_weight * (lift + discharge_height) + suction_loss)
}

/// Trade form of the pressure correction at draft: `(lift + suction loss)/2.3`, psi, both in feet of water.
pub fn trade_draft_correction_psi(lift_ft: f64, suction_loss_ft: f64) -> f64 {
    (lift_ft + suction_loss_ft) / 2.3
}

/// A reading carried from the speed it was taken at to the rated speed (both rad/s), by the affinity laws. Good for a
/// few percent; beyond that the test should be run again at the right speed.
///
/// # Errors
/// [`InputError`] when a speed is not above zero.
pub fn to_rated_speed(
    reading: Duty,
    measured_speed: f64,
    rated_speed: f64,
) -> Result<Duty, InputError> {
    positive("measured speed (rad/s)", measured_speed)?;
    positive("rated speed (rad/s)", rated_speed)?;
    at_speed_ratio(reading, rated_speed / measured_speed)
}

/// Combined standard uncertainty: √(Σ (cᵢuᵢ)² + 2 Σ r cᵢcⱼuᵢuⱼ), from (sensitivity, standard uncertainty) pairs and
/// (i, j, correlation) triples. Source: JCGM 100:2008, 5.1 and 5.2.
///
/// # Errors
/// [`InputError`] for a negative uncertainty, a correlation outside −1 to 1, an index that is not there, or
/// correlations that cannot all hold (the variance would be negative).
pub fn combined_uncertainty(
    contributions: &[(f64, f64)],
    correlations: &[(usize, usize, f64)],
) -> Result<f64, InputError> {
    let mut variance = 0.0;
    for &(c, u) in contributions {
        finite("sensitivity", c)?;
        not_negative("standard uncertainty", u)?;
        variance += (c * u) * (c * u);
    }
    for &(i, j, r) in correlations {
        check("correlation", r, (-1.0..=1.0).contains(&r), "from -1 to 1")?;
        let (Some(a), Some(b)) = (contributions.get(i), contributions.get(j)) else {
            return Err(InputError::Shape {
                quantity: "correlation",
                expected: "indices of two contributions",
            });
        };
        variance += 2.0 * r * a.0 * a.1 * b.0 * b.1;
    }
    // Perfectly correlated opposite parts may cancel to a rounding below zero.
    let scale: f64 = contributions.iter().map(|(c, u)| (c * u) * (c * u)).sum();
    check(
        "combined variance",
        variance,
        variance >= -1e-12 * scale,
        "zero or more; the correlations contradict each other",
    )?;
    Ok(variance.max(0.0).sqrt())
}

/// Effective degrees of freedom by Welch and Satterthwaite: u_c⁴ / Σ(uᵢ⁴/νᵢ), from parts uᵢ (already times their
/// sensitivities) and their degrees of freedom (infinite for a part known exactly). Source: JCGM 100:2008, G.4.
///
/// # Errors
/// [`InputError`] for parts or degrees of freedom that cannot be right, or when every part is zero.
pub fn effective_degrees_of_freedom(parts: &[(f64, f64)]) -> Result<f64, InputError> {
    let (mut square, mut sum) = (0.0, 0.0);
    for &(u, nu) in parts {
        not_negative("part of the uncertainty", u)?;
        if nu.is_nan() || nu <= 0.0 {
            return Err(InputError::OutOfRange {
                quantity: "degrees of freedom",
                value: nu,
                expected: "above zero (infinity for a part known exactly)",
            });
        }
        square += u * u;
        sum += u.powi(4) / nu;
    }
    positive("combined uncertainty", square)?;
    Ok(square * square / sum)
}

/// Standard uncertainty of a value known to ±`half_width` with nothing more said: a/√3. Source: JCGM 100:2008, 4.3.7.
pub fn rectangular(half_width: f64) -> f64 {
    half_width / 3.0_f64.sqrt()
}

/// Relative standard uncertainty of a pitot or smooth-bore flow: √((u_c/c)² + (2u_d/d)² + (u_p/2p)²), from coefficient,
/// bore and pressure with their standard uncertainties in like units.
///
/// # Errors
/// [`InputError`] for numbers that cannot be right.
pub fn pitot_flow_uncertainty(
    coefficient: (f64, f64),
    bore: (f64, f64),
    pressure: (f64, f64),
) -> Result<f64, InputError> {
    for (value, u) in [coefficient, bore, pressure] {
        positive("coefficient, bore or pitot pressure", value)?;
        not_negative("standard uncertainty", u)?;
    }
    let c = coefficient.1 / coefficient.0;
    let d = 2.0 * bore.1 / bore.0;
    let p = 0.5 * pressure.1 / pressure.0;
    Ok((c * c + d * d + p * p).sqrt())
}

/// The outcome of one comparison with limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Inside the limits by at least the guard band.
    Pass,
    /// Outside the limits by more than the guard band.
    Fail,
    /// Within the guard band of a limit: these instruments cannot tell.
    TooClose,
}

/// Limits of a measured value, any unit.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Limits {
    /// Lowest value allowed, if any.
    pub lower: Option<f64>,
    /// Highest value allowed, if any.
    pub upper: Option<f64>,
}

/// Judges a measured value against limits with a guard band (same unit): pass inside the limits drawn in by the band,
/// fail outside the limits drawn out by it, too close to call between. A band of zero is simple acceptance. Source:
/// JCGM 106:2012, 8.3; the band is commonly the expanded uncertainty times a factor.
///
/// # Errors
/// [`InputError`] for numbers that cannot be right, a negative band, or limits in the wrong order.
pub fn verdict(measured: f64, limits: Limits, guard: f64) -> Result<Verdict, InputError> {
    finite("measured value", measured)?;
    not_negative("guard band", guard)?;
    let lower = limits.lower.unwrap_or(f64::NEG_INFINITY);
    let upper = limits.upper.unwrap_or(f64::INFINITY);
    if lower.is_nan() || upper.is_nan() || lower > upper {
        return Err(InputError::Shape {
            quantity: "limits",
            expected: "numbers with the lower limit not above the upper",
        });
    }
    Ok(if measured < lower - guard || measured > upper + guard {
        Verdict::Fail
    } else if measured >= lower + guard && measured <= upper - guard {
        Verdict::Pass
    } else {
        Verdict::TooClose
    })
}

/// Probability that the true value is within the limits, for a normal distribution about the measured value with
/// standard uncertainty `u` (same unit, above zero). Source: JCGM 106:2012, 7.
///
/// # Errors
/// [`InputError`] for numbers that cannot be right.
pub fn conformance_probability(measured: f64, limits: Limits, u: f64) -> Result<f64, InputError> {
    finite("measured value", measured)?;
    positive("standard uncertainty", u)?;
    // Each tail by the complementary error function, so that small probabilities keep their digits.
    let tail = |distance: f64| 0.5 * libm::erfc(distance / u / std::f64::consts::SQRT_2);
    Ok(match (limits.lower, limits.upper) {
        (None, None) => 1.0,
        (Some(low), None) => tail(low - measured),
        (None, Some(high)) => tail(measured - high),
        (Some(low), Some(high)) => {
            if measured <= low {
                tail(low - measured) - tail(high - measured)
            } else if measured >= high {
                tail(measured - high) - tail(measured - low)
            } else {
                1.0 - tail(measured - low) - tail(high - measured)
            }
        }
    })
}
