//! Rotor balance: what residual unbalance a grade allows.
//!
//! ISO 21940-11 states a balance quality grade G as the product of the permissible eccentricity and the service speed:
//! `U_per = G m/ω`. The grade's number is in mm/s; here it is in m/s (G 6.3 is 0.0063 m/s).
//!
//! Invariants: the shares of two planes add up to the whole for planes on either side of the centre of mass.
//!
//! What it does not do: flexible rotors, machines that measure, removal of metal. Balance a rotor on a guarded machine
//! only: a part that comes loose is a projectile.

use crate::error::{MechanicsError, positive};

/// Permissible residual unbalance of a rotor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Permissible {
    /// Whole rotor, kg·m.
    pub unbalance: f64,
    /// Permissible eccentricity of the centre of mass, m.
    pub eccentricity: f64,
}

/// Permissible residual unbalance for a grade (m/s), a rotor mass (kg) and the highest service speed (rad/s).
///
/// # Errors
/// [`MechanicsError`] when a number is not above zero.
pub fn permissible_unbalance(
    grade: f64,
    mass: f64,
    speed: f64,
) -> Result<Permissible, MechanicsError> {
    positive("balance grade (m/s)", grade)?;
    positive("rotor mass (kg)", mass)?;
    positive("speed (rad/s)", speed)?;
    let eccentricity = grade / speed;
    Ok(Permissible {
        unbalance: eccentricity * mass,
        eccentricity,
    })
}

/// The share of two planes, kg·m, of a permissible unbalance (kg·m), for planes at distances `a` and `b` (m) from a
/// centre of mass that lies between them: `U b/(a+b)` and `U a/(a+b)`.
///
/// # Errors
/// [`MechanicsError`] when a number is not above zero.
pub fn share_of_planes(unbalance: f64, a: f64, b: f64) -> Result<(f64, f64), MechanicsError> {
    positive("permissible unbalance (kg·m)", unbalance)?;
    positive("distance of plane A from the centre of mass (m)", a)?;
    positive("distance of plane B from the centre of mass (m)", b)?;
    Ok((unbalance * b / (a + b), unbalance * a / (a + b)))
}

/// Centrifugal force, N, of an unbalance (kg·m) at a speed (rad/s): `U ω²`.
///
/// # Errors
/// [`MechanicsError`] when a number is not above zero.
pub fn centrifugal_force(unbalance: f64, speed: f64) -> Result<f64, MechanicsError> {
    positive("unbalance (kg·m)", unbalance)?;
    positive("speed (rad/s)", speed)?;
    Ok(unbalance * speed * speed)
}

/// Trade form of the permissible unbalance: `6.015 G W/n`, oz·in, with G in mm/s, W in pounds and n in rpm.
pub fn trade_permissible_oz_in(grade_mm_s: f64, weight_lb: f64, rpm: f64) -> f64 {
    6.015 * grade_mm_s * weight_lb / rpm
}
