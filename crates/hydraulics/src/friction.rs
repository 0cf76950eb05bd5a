//! Pressure loss in hose, pipe and appliances.
//!
//! Four laws: the fireground coefficient (loss with the square of flow and with length), Hazen–Williams, Darcy–Weisbach
//! with Colebrook's friction factor, and a loss coefficient K on a velocity head. All give the loss in Pa and keep the
//! sign of the flow.
//!
//! Where they hold: the coefficient law and Hazen–Williams are for turbulent flow of cold water (Hazen–Williams for
//! about 0.05 to 3 m pipe near 15 °C, common practice). Darcy–Weisbach holds from laminar to fully rough flow.
//!
//! Invariants: loss rises with flow everywhere, also through the change from laminar to turbulent.
//!
//! What it does not do: surge, entrained air, the stretch of a hose under pressure (it is in the measured coefficient).

use crate::STANDARD_GRAVITY;
use crate::error::{InputError, check, finite, not_negative, positive};
use std::f64::consts::PI;

/// Reynolds number below which flow is taken as laminar. Source: Avila et al., Science 333 (2011) 192.
pub const LAMINAR_LIMIT: f64 = 2040.0;
/// Reynolds number from which Colebrook's formula is used unchanged (Colebrook 1939; textbook).
pub const TURBULENT_LIMIT: f64 = 4000.0;

/// Square-law resistance, Pa/(m³/s)² per metre of hose, of the trade's coefficient C: psi per 100 ft at 100 gpm.
///
/// # Errors
/// [`InputError`] when C is negative or not finite.
pub fn fireground_resistance_per_metre(coefficient: f64) -> Result<f64, InputError> {
    use crate::nozzle::{GPM, PSI};
    not_negative(
        "fireground friction coefficient (psi per 100 ft at 100 gpm)",
        coefficient,
    )?;
    let q = 100.0 * GPM;
    Ok(coefficient * PSI / (q * q) / 30.48)
}

/// Square-law resistance, Pa/(m³/s)², of an appliance that loses `loss` (Pa) at `flow` (m³/s).
///
/// # Errors
/// [`InputError`] when the loss is negative or the flow is not above zero.
pub fn appliance_resistance(loss: f64, flow: f64) -> Result<f64, InputError> {
    not_negative("appliance loss (Pa)", loss)?;
    positive("flow of the stated appliance loss (m³/s)", flow)?;
    Ok(loss / (flow * flow))
}

/// Square-law resistance of lines side by side between common ends, from theirs: `1/(Σ rᵢ^-½)²`, Pa/(m³/s)².
///
/// # Errors
/// [`InputError`] when the list is empty or a resistance is not above zero.
pub fn parallel_resistance(resistances: &[f64]) -> Result<f64, InputError> {
    if resistances.is_empty() {
        return Err(InputError::Shape {
            quantity: "parallel lines",
            expected: "at least one line",
        });
    }
    let mut sum = 0.0;
    for &r in resistances {
        sum += positive("resistance of a parallel line (Pa/(m³/s)²)", r)?.powf(-0.5);
    }
    Ok(1.0 / (sum * sum))
}

/// Exponent of flow in the Hazen–Williams loss: 1/0.54.
pub const HAZEN_WILLIAMS_EXPONENT: f64 = 1.0 / 0.54;

/// Coefficient k, Pa/(m³/s)^(1/0.54), of the Hazen–Williams loss `k Q^(1/0.54)` for a pipe of inside `diameter` (m),
/// `length` (m), roughness coefficient `c`, and water of `density` (kg/m³).
///
/// From the defining velocity formula of Hazen and Williams (1905), V = 1.318 C R^0.63 S^0.54 in feet and seconds with
/// 1.318 = 0.001^-0.04 and the hydraulic radius R = d/4.
///
/// # Errors
/// [`InputError`] for numbers that cannot be right.
pub fn hazen_williams_coefficient(
    diameter: f64,
    length: f64,
    c: f64,
    density: f64,
) -> Result<f64, InputError> {
    positive("pipe diameter (m)", diameter)?;
    not_negative("pipe length (m)", length)?;
    positive("Hazen–Williams coefficient", c)?;
    positive("density (kg/m³)", density)?;
    const FOOT: f64 = 0.3048;
    // In metres V = k_si C R^0.63 S^0.54 with k_si = 0.001^-0.04 · 0.3048^(1 - 0.63).
    let k_si = 0.001_f64.powf(-0.04) * FOOT.powf(0.37);
    let area = 0.25 * PI * diameter * diameter;
    let at_unit_slope = k_si * c * (0.25 * diameter).powf(0.63) * area;
    Ok(density * STANDARD_GRAVITY * length * at_unit_slope.powf(-HAZEN_WILLIAMS_EXPONENT))
}

/// Darcy friction factor from Reynolds number and relative roughness (roughness over diameter).
///
/// Laminar `64/Re` below 2040; Colebrook (1939) solved to rounding from 4000; a straight line in Reynolds number
/// between the two, so that the loss rises steadily with flow.
///
/// # Errors
/// [`InputError`] unless Re is above zero and the relative roughness is from 0 to 0.5.
pub fn friction_factor(reynolds: f64, relative_roughness: f64) -> Result<f64, InputError> {
    positive("Reynolds number", reynolds)?;
    check(
        "relative roughness",
        relative_roughness,
        (0.0..=0.5).contains(&relative_roughness),
        "from 0 to 0.5",
    )?;
    Ok(factor_and_slope(reynolds, relative_roughness).0)
}

/// Friction factor and its derivative by Reynolds number.
fn factor_and_slope(re: f64, rough: f64) -> (f64, f64) {
    if re <= LAMINAR_LIMIT {
        (64.0 / re, -64.0 / (re * re))
    } else if re >= TURBULENT_LIMIT {
        colebrook(re, rough)
    } else {
        let low = 64.0 / LAMINAR_LIMIT;
        let high = colebrook(TURBULENT_LIMIT, rough).0;
        let slope = (high - low) / (TURBULENT_LIMIT - LAMINAR_LIMIT);
        (low + slope * (re - LAMINAR_LIMIT), slope)
    }
}

/// Colebrook's factor and its derivative by Reynolds number. With x = 1/√f: x + 2 log₁₀(ε/3.7 + 2.51 x/Re) = 0.
fn colebrook(re: f64, rough: f64) -> (f64, f64) {
    let a = rough / 3.7;
    let b = 2.51 / re;
    let two_log = 2.0 / std::f64::consts::LN_10;
    // Haaland's explicit formula (1983) starts within 2 %; Newton then doubles the digits each time.
    let mut x = -1.8 * (a.powf(1.11) + 6.9 / re).log10();
    for _ in 0..8 {
        let s = a + b * x;
        let step = (x + two_log * s.ln()) / (1.0 + two_log * b / s);
        x -= step;
        if step.abs() <= 4.0 * f64::EPSILON * x {
            break;
        }
    }
    // Implicit derivative of x by Re: s_Re = -b x/Re.
    let s = a + b * x;
    let dx = (two_log * b * x / (re * s)) / (1.0 + two_log * b / s);
    (1.0 / (x * x), -2.0 * dx / (x * x * x))
}

/// A pipe with Darcy–Weisbach loss.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DarcyPipe {
    diameter: f64,
    length: f64,
    roughness: f64,
    density: f64,
    viscosity: f64,
    minor_k: f64,
}

impl DarcyPipe {
    /// A pipe of inside `diameter` (m), `length` (m) and sand roughness (m), carrying water of `density` (kg/m³) and
    /// dynamic `viscosity` (Pa·s), with fittings of total loss coefficient `minor_k` on its own velocity head.
    ///
    /// # Errors
    /// [`InputError`] for numbers that cannot be right.
    pub fn new(
        diameter: f64,
        length: f64,
        roughness: f64,
        density: f64,
        viscosity: f64,
        minor_k: f64,
    ) -> Result<Self, InputError> {
        positive("pipe diameter (m)", diameter)?;
        not_negative("pipe length (m)", length)?;
        check(
            "pipe roughness (m)",
            roughness,
            roughness >= 0.0 && roughness <= 0.5 * diameter,
            "from zero to half the diameter",
        )?;
        positive("density (kg/m³)", density)?;
        positive("dynamic viscosity (Pa·s)", viscosity)?;
        not_negative("loss coefficient K", minor_k)?;
        Ok(Self {
            diameter,
            length,
            roughness,
            density,
            viscosity,
            minor_k,
        })
    }

    /// Loss, Pa, at `flow` (m³/s), with the sign of the flow.
    ///
    /// # Errors
    /// [`InputError`] when the flow is not finite.
    pub fn loss(&self, flow: f64) -> Result<f64, InputError> {
        finite("flow (m³/s)", flow)?;
        Ok(self.loss_and_slope(flow).0)
    }

    /// Reynolds number at `flow` (m³/s).
    pub fn reynolds(&self, flow: f64) -> f64 {
        4.0 * self.density * flow.abs() / (PI * self.diameter * self.viscosity)
    }

    /// Loss, Pa, and its derivative by flow, Pa/(m³/s).
    pub(crate) fn loss_and_slope(&self, flow: f64) -> (f64, f64) {
        let area = 0.25 * PI * self.diameter * self.diameter;
        let re_per_flow = 4.0 * self.density / (PI * self.diameter * self.viscosity);
        // Velocity pressure is v·Q² with v = ρ/(2A²).
        let v = 0.5 * self.density / (area * area);
        let q = flow.abs();
        let re = re_per_flow * q;
        let shape = self.length / self.diameter;
        let (loss, slope) = if re <= LAMINAR_LIMIT {
            // f Q² = 64 Q/(Re/Q): linear in Q, no division by a vanishing flow.
            let linear = v * shape * 64.0 / re_per_flow;
            (linear * q, linear)
        } else {
            let (f, df) = factor_and_slope(re, self.roughness / self.diameter);
            (
                v * shape * f * q * q,
                v * shape * (2.0 * f * q + df * re_per_flow * q * q),
            )
        };
        let loss = loss + v * self.minor_k * q * q;
        let slope = slope + 2.0 * v * self.minor_k * q;
        (loss.copysign(flow), slope)
    }

    /// A square-law resistance, Pa/(m³/s)², near the pipe's own in turbulent flow; for first guesses only.
    pub(crate) fn nominal_resistance(&self) -> f64 {
        let area = 0.25 * PI * self.diameter * self.diameter;
        let f = colebrook(1e6, self.roughness / self.diameter).0;
        0.5 * self.density / (area * area) * (f * self.length / self.diameter + self.minor_k)
    }
}

/// Mean velocity, m/s, of `flow` (m³/s) through a bore of `diameter` (m).
///
/// # Errors
/// [`InputError`] for numbers that cannot be right.
pub fn velocity(flow: f64, diameter: f64) -> Result<f64, InputError> {
    finite("flow (m³/s)", flow)?;
    positive("bore (m)", diameter)?;
    Ok(flow / (0.25 * PI * diameter * diameter))
}

/// Velocity head as a pressure, Pa: `ρ v²/2` for `flow` (m³/s) through `diameter` (m) at `density` (kg/m³).
///
/// # Errors
/// [`InputError`] for numbers that cannot be right.
pub fn velocity_pressure(flow: f64, diameter: f64, density: f64) -> Result<f64, InputError> {
    positive("density (kg/m³)", density)?;
    let v = velocity(flow, diameter)?;
    Ok(0.5 * density * v * v)
}

/// Trade form of the velocity head: `0.001123 Q²/d⁴`, psi, with Q in gpm and d in inches.
pub fn trade_velocity_pressure_psi(flow_gpm: f64, diameter_in: f64) -> f64 {
    0.001123 * flow_gpm * flow_gpm / diameter_in.powi(4)
}

/// Square-law resistance, Pa/(m³/s)², of a loss coefficient K on the velocity head in a bore of `diameter` (m) for
/// water of `density` (kg/m³).
///
/// # Errors
/// [`InputError`] for numbers that cannot be right.
pub fn minor_resistance(k: f64, diameter: f64, density: f64) -> Result<f64, InputError> {
    not_negative("loss coefficient K", k)?;
    Ok(k * velocity_pressure(1.0, diameter, density)?)
}

/// Loss coefficient K of a sudden widening from `d1` to `d2` (m), on the upstream velocity head (Borda–Carnot).
///
/// # Errors
/// [`InputError`] unless `0 < d1 <= d2`.
pub fn sudden_expansion_k(d1: f64, d2: f64) -> Result<f64, InputError> {
    positive("upstream diameter (m)", d1)?;
    check(
        "downstream diameter (m)",
        d2,
        d2 >= d1,
        "not less than the upstream diameter",
    )?;
    let share = 1.0 - (d1 / d2) * (d1 / d2);
    Ok(share * share)
}

/// Trade form of Hazen–Williams: `4.52 Q^1.85 L/(C^1.85 d^4.87)`, psi, with Q in gpm, d in inches and L in feet.
pub fn trade_hazen_williams_psi(flow_gpm: f64, diameter_in: f64, c: f64, length_ft: f64) -> f64 {
    4.52 * flow_gpm.powf(1.85) * length_ft / (c.powf(1.85) * diameter_in.powf(4.87))
}

/// Trade form of the coefficient law: `C (Q/100)² (L/100)`, psi, with Q in gpm and L in feet.
pub fn trade_hose_loss_psi(coefficient: f64, flow_gpm: f64, length_ft: f64) -> f64 {
    coefficient * (flow_gpm / 100.0).powi(2) * (length_ft / 100.0)
}
