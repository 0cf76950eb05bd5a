//! Atmospheric pressure against altitude: the 1976 standard atmosphere below 11 km.
//!
//! The real pressure differs from the standard one with the weather (some ±3 %); a barometer reading at the place, not
//! reduced to sea level, is always better, and the caller should prefer it.
//!
//! Invariants: altitude is geometric (metres above sea level); outside −5 to 11 km geopotential the answer is an
//! error.
//!
//! What it does not do: humidity, weather, engine derating (see the caller's rule for the engine).

use crate::STANDARD_GRAVITY;
use crate::error::{InputError, check};

/// Radius of the earth in the standard, m. Source: U.S. Standard Atmosphere 1976.
const EARTH_RADIUS: f64 = 6_356_766.0;
/// Sea-level pressure, Pa.
pub const SEA_LEVEL_PRESSURE: f64 = 101_325.0;
/// Sea-level temperature, K.
const SEA_LEVEL_TEMPERATURE: f64 = 288.15;
/// Temperature lapse, K per geopotential metre.
const LAPSE: f64 = 0.0065;
/// Specific gas constant, J/(kg·K): 8314.32 over 28.9644 (the standard's own values).
const AIR_GAS_CONSTANT: f64 = 8314.32 / 28.9644;

/// Geopotential altitude, m, of a geometric `altitude` (m).
fn geopotential(altitude: f64) -> f64 {
    EARTH_RADIUS * altitude / (EARTH_RADIUS + altitude)
}

fn in_range(altitude: f64) -> Result<f64, InputError> {
    let h = geopotential(altitude);
    check(
        "altitude (m)",
        altitude,
        (-5000.0..=11_000.0).contains(&h),
        "from -5000 to 11 000 m",
    )?;
    Ok(h)
}

/// Standard atmospheric pressure, Pa absolute, at a geometric `altitude` (m above sea level).
///
/// # Errors
/// [`InputError`] outside −5 to 11 km.
pub fn pressure_at_altitude(altitude: f64) -> Result<f64, InputError> {
    let t = SEA_LEVEL_TEMPERATURE - LAPSE * in_range(altitude)?;
    Ok(SEA_LEVEL_PRESSURE
        * (SEA_LEVEL_TEMPERATURE / t).powf(-STANDARD_GRAVITY / (AIR_GAS_CONSTANT * LAPSE)))
}

/// Standard air temperature, K, at a geometric `altitude` (m above sea level).
///
/// # Errors
/// [`InputError`] outside −5 to 11 km.
pub fn temperature_at_altitude(altitude: f64) -> Result<f64, InputError> {
    Ok(SEA_LEVEL_TEMPERATURE - LAPSE * in_range(altitude)?)
}

/// Geometric altitude, m, where the standard pressure is `pressure` (Pa absolute).
///
/// # Errors
/// [`InputError`] when the pressure is outside that of −5 to 11 km (about 22.6 to 177 kPa).
pub fn altitude_at_pressure(pressure: f64) -> Result<f64, InputError> {
    let quantity = "atmospheric pressure (Pa)";
    let expected = "from 22 632 to 177 680 Pa (11 000 to -5000 m)";
    check(
        quantity,
        pressure,
        (20_000.0..=200_000.0).contains(&pressure),
        expected,
    )?;
    let t = SEA_LEVEL_TEMPERATURE
        * (pressure / SEA_LEVEL_PRESSURE).powf(AIR_GAS_CONSTANT * LAPSE / STANDARD_GRAVITY);
    let h = (SEA_LEVEL_TEMPERATURE - t) / LAPSE;
    check(
        quantity,
        pressure,
        (-5000.0 - 1e-6..=11_000.0 + 1e-6).contains(&h),
        expected,
    )?;
    Ok(EARTH_RADIUS * h / (EARTH_RADIUS - h))
}
