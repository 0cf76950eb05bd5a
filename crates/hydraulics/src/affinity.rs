//! Scaling of pump duties with speed and diameter, type numbers, power, and heating of the water in the pump.
//!
//! Speed: flow with the ratio, head with its square, power with its cube; holds well. Trim: two laws are in use and
//! they disagree; both are rough, since a cut wheel is no longer like the first one, so the head falls more than they
//! say. Type numbers use the best-efficiency point of one stage (and for suction the flow of one eye).
//!
//! Water churned in a closed pump heats fast and can scald or burst fittings when it is let out: never run a pump
//! against closed valves longer than its maker and local procedure allow.
//!
//! Invariants: SI in, SI out; functions named `us_` or `trade_` say their units.

use crate::STANDARD_GRAVITY;
use crate::error::{InputError, check, fraction, not_negative, positive};
use crate::nozzle::GPM;
use crate::water::{Water, WaterError};
use std::f64::consts::PI;

/// One working point of a pump.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Duty {
    /// Flow, m³/s.
    pub flow: f64,
    /// Head (m) or pressure rise (Pa); both scale alike.
    pub head: f64,
    /// Shaft power, W.
    pub power: f64,
    /// NPSH required, m.
    pub npshr: f64,
}

/// The duty at another speed, by the affinity laws; `ratio` is the new speed over the old.
///
/// # Errors
/// [`InputError`] when the ratio is not above zero.
pub fn at_speed_ratio(duty: Duty, ratio: f64) -> Result<Duty, InputError> {
    let r = positive("speed ratio", ratio)?;
    Ok(Duty {
        flow: duty.flow * r,
        head: duty.head * r * r,
        power: duty.power * r * r * r,
        npshr: duty.npshr * r * r,
    })
}

/// Which law of trim to use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TrimLaw {
    /// Flow with the diameter ratio, head with its square, power with its cube: the common one for a radial cut at
    /// constant width.
    SameFlow,
    /// Full likeness: flow with the cube, head with the square, power with the fifth power. For scaled pumps, and a
    /// lower bound for a cut.
    FullGeometric,
}

/// The duty with the impeller cut to `ratio` of its diameter. NPSH required is left as it is.
///
/// # Errors
/// [`InputError`] unless the ratio is from 0.75 to 1; common practice stops at 0.80 to 0.85.
pub fn at_trim_ratio(duty: Duty, ratio: f64, law: TrimLaw) -> Result<Duty, InputError> {
    let r = trim_ratio(ratio)?;
    let (q, p) = match law {
        TrimLaw::SameFlow => (r, r.powi(3)),
        TrimLaw::FullGeometric => (r.powi(3), r.powi(5)),
    };
    Ok(Duty {
        flow: duty.flow * q,
        head: duty.head * r * r,
        power: duty.power * p,
        npshr: duty.npshr,
    })
}

/// Accepts a diameter ratio a trim law may be asked for.
pub(crate) fn trim_ratio(ratio: f64) -> Result<f64, InputError> {
    check(
        "diameter ratio of a trim",
        ratio,
        (0.75..=1.0).contains(&ratio),
        "from 0.75 to 1",
    )
}

/// Type number, dimensionless: `ω √Q / (g H)^0.75` with speed (rad/s), flow (m³/s) and head per stage (m). With NPSH
/// required in place of head, and the flow of one eye, it is the suction type number.
///
/// # Errors
/// [`InputError`] when a number is not above zero.
pub fn type_number(speed: f64, flow: f64, head: f64) -> Result<f64, InputError> {
    positive("speed (rad/s)", speed)?;
    positive("flow (m³/s)", flow)?;
    positive("head (m)", head)?;
    Ok(speed * flow.sqrt() / (STANDARD_GRAVITY * head).powf(0.75))
}

/// Specific speed in US units, rpm gpm^½ ft^-¾, from SI inputs as [`type_number`]. With NPSH required: the suction
/// specific speed.
///
/// # Errors
/// As [`type_number`].
pub fn us_specific_speed(speed: f64, flow: f64, head: f64) -> Result<f64, InputError> {
    type_number(speed, flow, head)?;
    Ok(rpm(speed) * (flow / GPM).sqrt() / (head / 0.3048).powf(0.75))
}

/// Specific speed in metric units, rpm (m³/s)^½ m^-¾, from SI inputs as [`type_number`].
///
/// # Errors
/// As [`type_number`].
pub fn metric_specific_speed(speed: f64, flow: f64, head: f64) -> Result<f64, InputError> {
    type_number(speed, flow, head)?;
    Ok(rpm(speed) * flow.sqrt() / head.powf(0.75))
}

/// Specific diameter `D H^¼ / √Q`, m m^¼ (m³/s)^-½.
///
/// # Errors
/// [`InputError`] when a number is not above zero.
pub fn specific_diameter(diameter: f64, flow: f64, head: f64) -> Result<f64, InputError> {
    positive("diameter (m)", diameter)?;
    positive("flow (m³/s)", flow)?;
    positive("head (m)", head)?;
    Ok(diameter * head.powf(0.25) / flow.sqrt())
}

fn rpm(speed: f64) -> f64 {
    speed * 30.0 / PI
}

/// Head, m, of a pressure (Pa) in water of `density` (kg/m³).
///
/// # Errors
/// [`InputError`] when the density is not above zero.
pub fn head_of_pressure(pressure: f64, density: f64) -> Result<f64, InputError> {
    Ok(pressure / (positive("density (kg/m³)", density)? * STANDARD_GRAVITY))
}

/// Water (hydraulic) power, W: flow (m³/s) times pressure rise (Pa).
pub fn water_power(flow: f64, rise: f64) -> f64 {
    flow * rise
}

/// Efficiency, 0 to 1: water power over shaft power (W).
///
/// # Errors
/// [`InputError`] when the shaft power is not above zero.
pub fn efficiency(flow: f64, rise: f64, shaft_power: f64) -> Result<f64, InputError> {
    Ok(water_power(flow, rise) / positive("shaft power (W)", shaft_power)?)
}

/// Torque, N·m, of a power (W) at a speed (rad/s).
///
/// # Errors
/// [`InputError`] when the speed is not above zero.
pub fn torque(power: f64, speed: f64) -> Result<f64, InputError> {
    Ok(power / positive("speed (rad/s)", speed)?)
}

/// Trade form of water power: gpm × psi / 1714, hp (1714 stands for 12000/7).
pub fn trade_water_power_hp(flow_gpm: f64, rise_psi: f64) -> f64 {
    flow_gpm * rise_psi / 1714.0
}

/// Rate of heating, K/s, of a closed pump: `P / (m c + m_metal c_metal)` with the power churned in (W), the water's
/// mass (kg) and specific heat (J/(kg·K)), and the same of the metal that warms with it (zero to leave it out, which is
/// on the safe side). No heat to the air is reckoned with.
///
/// Hot water in a closed pump can scald: open a discharge or the recirculation line before it heats.
///
/// # Errors
/// [`InputError`] for numbers that cannot be right.
pub fn shut_off_heating(
    power: f64,
    water_mass: f64,
    water_specific_heat: f64,
    metal_mass: f64,
    metal_specific_heat: f64,
) -> Result<f64, InputError> {
    not_negative("power (W)", power)?;
    positive("mass of water in the pump (kg)", water_mass)?;
    positive("specific heat of water (J/(kg·K))", water_specific_heat)?;
    not_negative("mass of metal (kg)", metal_mass)?;
    not_negative("specific heat of metal (J/(kg·K))", metal_specific_heat)?;
    Ok(power / (water_mass * water_specific_heat + metal_mass * metal_specific_heat))
}

/// Rise of temperature, K, of the water on its way through the pump: `g H (1/η − 1) / c`, head in m, efficiency 0 to
/// 1, specific heat in J/(kg·K). Leaves out the warming by compression (see [`temperature_rise_with_compression`]).
///
/// # Errors
/// [`InputError`] for numbers that cannot be right.
pub fn temperature_rise(head: f64, efficiency: f64, specific_heat: f64) -> Result<f64, InputError> {
    not_negative("head (m)", head)?;
    let eta = fraction("efficiency", efficiency)?;
    positive("specific heat of water (J/(kg·K))", specific_heat)?;
    Ok(STANDARD_GRAVITY * head * (1.0 / eta - 1.0) / specific_heat)
}

/// Least flow, m³/s, that keeps the rise of temperature to `limit` (K) at a shaft power (W): `P / (ρ (c ΔT + g H))`.
///
/// # Errors
/// [`InputError`] for numbers that cannot be right.
pub fn least_flow_for_heating(
    shaft_power: f64,
    head: f64,
    limit: f64,
    density: f64,
    specific_heat: f64,
) -> Result<f64, InputError> {
    not_negative("shaft power (W)", shaft_power)?;
    not_negative("head (m)", head)?;
    positive("limit of the temperature rise (K)", limit)?;
    positive("density (kg/m³)", density)?;
    positive("specific heat of water (J/(kg·K))", specific_heat)?;
    Ok(shaft_power / (density * (specific_heat * limit + STANDARD_GRAVITY * head)))
}

/// Rise of temperature, K, from intake to discharge with the warming by compression in it: the enthalpy rises by
/// `Δp/(ρ η)` and the temperature follows from the discharge pressure and that enthalpy.
///
/// # Errors
/// [`WaterError`] when intake or discharge lie outside the water model.
pub fn temperature_rise_with_compression(
    intake: Water,
    rise: f64,
    efficiency: f64,
) -> Result<f64, WaterError> {
    not_negative("pressure rise (Pa)", rise)?;
    let eta = fraction("efficiency", efficiency)?;
    let pressure = intake.pressure + rise;
    let enthalpy = intake.enthalpy + rise / (intake.density * eta);
    // Enthalpy is nearly linear in temperature, so Newton with the specific heat as slope settles in a few steps.
    let mut t = intake.temperature;
    for _ in 0..20 {
        let water = Water::at(t, pressure)?;
        let step = (enthalpy - water.enthalpy) / water.specific_heat;
        t += step;
        if step.abs() < 1e-11 {
            break;
        }
    }
    Water::at(t, pressure)?;
    Ok(t - intake.temperature)
}
