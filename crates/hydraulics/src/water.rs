//! Properties of liquid water from 0 to 100 °C.
//!
//! Density, specific heat, sound speed and enthalpy come from IAPWS-IF97 region 1, the vapour pressure from its
//! region 4 (IAPWS R7-97(2012)), the viscosity from IAPWS R12-08. Against the reference equation IAPWS-95 in this range
//! the density is within 2e-5, the vapour pressure within 7e-5, the viscosity within 3e-5, the specific heat within
//! 6e-4 and the sound speed within 2e-3 (relative).
//!
//! Invariants: a state outside the range, or one where water would boil, is an error. Pressures here are absolute.
//!
//! What it does not do: ice, steam, sea water, foam solution, entrained air.

use crate::error::InputError;
use thiserror::Error;

/// 0 °C in kelvin, by definition.
pub const ZERO_CELSIUS: f64 = 273.15;
/// Highest temperature of this model, K: 100 °C.
const HOTTEST: f64 = 373.15;
/// Highest absolute pressure of IF97 region 1, Pa.
const HIGHEST_PRESSURE: f64 = 100e6;
/// Specific gas constant of water, J/(kg·K), IAPWS-IF97.
const GAS_CONSTANT: f64 = 461.526;

/// Why no water property can be given.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum WaterError {
    /// Temperature or pressure outside the model.
    #[error(transparent)]
    Input(#[from] InputError),
    /// At this temperature and pressure water is steam.
    #[error(
        "water at {temperature} K boils below {vapour_pressure} Pa absolute; {pressure} Pa was given"
    )]
    Boils {
        /// Temperature, K.
        temperature: f64,
        /// Absolute pressure given, Pa.
        pressure: f64,
        /// Vapour pressure at that temperature, Pa absolute.
        vapour_pressure: f64,
    },
}

/// Liquid water at one temperature and absolute pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Water {
    /// Temperature, K.
    pub temperature: f64,
    /// Absolute pressure, Pa.
    pub pressure: f64,
    /// Density, kg/m³.
    pub density: f64,
    /// Vapour (saturation) pressure at the temperature, Pa absolute.
    pub vapour_pressure: f64,
    /// Dynamic viscosity, Pa·s.
    pub viscosity: f64,
    /// Specific heat at constant pressure, J/(kg·K).
    pub specific_heat: f64,
    /// Speed of sound, m/s.
    pub sound_speed: f64,
    /// Thermal expansion coefficient, 1/K; negative below about 4 °C.
    pub thermal_expansion: f64,
    /// Specific enthalpy, J/kg (zero for the liquid at the triple point).
    pub enthalpy: f64,
}

impl Water {
    /// Water at `temperature` (K, 273.15 to 373.15) and absolute `pressure` (Pa, up to 100 MPa).
    ///
    /// # Errors
    /// [`WaterError`] outside that range or where water boils. A pressure within 0.05 % of the vapour pressure counts
    /// as the saturated liquid.
    pub fn at(temperature: f64, pressure: f64) -> Result<Self, WaterError> {
        let vapour_pressure = vapour_pressure(temperature)?;
        if !(pressure > 0.0 && pressure <= HIGHEST_PRESSURE) {
            return Err(InputError::OutOfRange {
                quantity: "absolute water pressure (Pa)",
                value: pressure,
                expected: "above zero and not above 100 MPa",
            }
            .into());
        }
        if pressure < vapour_pressure * (1.0 - 5e-4) {
            return Err(WaterError::Boils {
                temperature,
                pressure,
                vapour_pressure,
            });
        }
        Ok(Self::region1(temperature, pressure, vapour_pressure))
    }

    /// Saturated liquid at `temperature` (K, 273.15 to 373.15): water at its own vapour pressure.
    ///
    /// # Errors
    /// [`WaterError`] outside the range.
    pub fn saturated(temperature: f64) -> Result<Self, WaterError> {
        let p = vapour_pressure(temperature)?;
        Ok(Self::region1(temperature, p, p))
    }

    /// Kinematic viscosity, m²/s.
    pub fn kinematic_viscosity(&self) -> f64 {
        self.viscosity / self.density
    }

    /// Isentropic bulk modulus ρ a², Pa: what a pressure surge works against.
    pub fn bulk_modulus(&self) -> f64 {
        self.density * self.sound_speed * self.sound_speed
    }

    fn region1(t: f64, p: f64, vapour_pressure: f64) -> Self {
        let g = gibbs(t, p);
        let (pi, tau) = (p / 16.53e6, 1386.0 / t);
        let rt = GAS_CONSTANT * t;
        let density = p / (rt * pi * g.pi);
        let mixed = g.pi - tau * g.pi_tau;
        let sound = rt * g.pi * g.pi / (mixed * mixed / (tau * tau * g.tau_tau) - g.pi_pi);
        Self {
            temperature: t,
            pressure: p,
            density,
            vapour_pressure,
            viscosity: viscosity(t, density),
            specific_heat: -GAS_CONSTANT * tau * tau * g.tau_tau,
            sound_speed: sound.sqrt(),
            thermal_expansion: (1.0 - tau * g.pi_tau / g.pi) / t,
            enthalpy: rt * tau * g.tau,
        }
    }
}

/// Derivatives of the dimensionless Gibbs energy of region 1.
#[derive(Default)]
struct Gibbs {
    pi: f64,
    tau: f64,
    pi_pi: f64,
    tau_tau: f64,
    pi_tau: f64,
}

fn gibbs(t: f64, p: f64) -> Gibbs {
    let a = 7.1 - p / 16.53e6;
    let b = 1386.0 / t - 1.222;
    let mut g = Gibbs::default();
    for &(i, j, n) in &REGION1 {
        let (fi, fj) = (f64::from(i), f64::from(j));
        let (ai, bj) = (a.powi(i), b.powi(j));
        g.pi -= n * fi * ai / a * bj;
        g.tau += n * ai * fj * bj / b;
        g.pi_pi += n * fi * (fi - 1.0) * ai / (a * a) * bj;
        g.tau_tau += n * ai * fj * (fj - 1.0) * bj / (b * b);
        g.pi_tau -= n * fi * ai / a * fj * bj / b;
    }
    g
}

/// Exponents and coefficients (I, J, n) of the Gibbs energy of liquid water. Source: IAPWS R7-97(2012), table 2.
#[rustfmt::skip]
const REGION1: [(i32, i32, f64); 34] = [
    (0, -2, 0.146_329_712_131_67), (0, -1, -0.845_481_871_691_14), (0, 0, -0.375_636_036_720_40e1),
    (0, 1, 0.338_551_691_683_85e1), (0, 2, -0.957_919_633_878_72), (0, 3, 0.157_720_385_132_28),
    (0, 4, -0.166_164_171_995_01e-1), (0, 5, 0.812_146_299_835_68e-3), (1, -9, 0.283_190_801_238_04e-3),
    (1, -7, -0.607_063_015_658_74e-3), (1, -1, -0.189_900_682_184_19e-1), (1, 0, -0.325_297_487_705_05e-1),
    (1, 1, -0.218_417_171_754_14e-1), (1, 3, -0.528_383_579_699_30e-4), (2, -3, -0.471_843_210_732_67e-3),
    (2, 0, -0.300_017_807_930_26e-3), (2, 1, 0.476_613_939_069_87e-4), (2, 3, -0.441_418_453_308_46e-5),
    (2, 17, -0.726_949_962_975_94e-15), (3, -4, -0.316_796_448_450_54e-4), (3, 0, -0.282_707_979_853_12e-5),
    (3, 6, -0.852_051_281_201_03e-9), (4, -5, -0.224_252_819_080_00e-5), (4, -2, -0.651_712_228_956_01e-6),
    (4, 10, -0.143_417_299_379_24e-12), (5, -8, -0.405_169_968_601_17e-6), (8, -11, -0.127_343_017_416_41e-8),
    (8, -6, -0.174_248_712_306_34e-9), (21, -29, -0.687_621_312_955_31e-18), (23, -31, 0.144_783_078_285_21e-19),
    (29, -38, 0.263_357_816_627_95e-22), (30, -39, -0.119_476_226_400_71e-22), (31, -40, 0.182_280_945_814_04e-23),
    (32, -41, -0.935_370_872_924_58e-25),
];

/// Coefficients of the saturation line. Source: IAPWS R7-97(2012), table 34.
const REGION4: [f64; 10] = [
    0.116_705_214_527_67e4,
    -0.724_213_167_032_06e6,
    -0.170_738_469_400_92e2,
    0.120_208_247_024_70e5,
    -0.323_255_503_223_33e7,
    0.149_151_086_135_30e2,
    -0.482_326_573_615_91e4,
    0.405_113_405_420_57e6,
    -0.238_555_575_678_49,
    0.650_175_348_447_98e3,
];

/// Vapour pressure of water, Pa absolute, at `temperature` (K, 273.15 to 373.15). Source: IAPWS R7-97(2012), eq. 30.
///
/// # Errors
/// [`WaterError::Input`] outside the range.
pub fn vapour_pressure(temperature: f64) -> Result<f64, WaterError> {
    if !(ZERO_CELSIUS..=HOTTEST).contains(&temperature) {
        return Err(InputError::OutOfRange {
            quantity: "water temperature (K)",
            value: temperature,
            expected: "from 273.15 to 373.15 (0 to 100 °C)",
        }
        .into());
    }
    let n = &REGION4;
    let theta = temperature + n[8] / (temperature - n[9]);
    let a = theta * theta + n[0] * theta + n[1];
    let b = n[2] * theta * theta + n[3] * theta + n[4];
    let c = n[5] * theta * theta + n[6] * theta + n[7];
    Ok(1e6 * (2.0 * c / (-b + (b * b - 4.0 * a * c).sqrt())).powi(4))
}

/// Temperature, K, at which water boils at the absolute `pressure` (Pa, 611.3 Pa to 22.064 MPa). Source: IAPWS
/// R7-97(2012), eq. 31.
///
/// # Errors
/// [`WaterError::Input`] outside the range.
pub fn boiling_temperature(pressure: f64) -> Result<f64, WaterError> {
    if !(611.212..=22.064e6).contains(&pressure) {
        return Err(InputError::OutOfRange {
            quantity: "absolute pressure (Pa)",
            value: pressure,
            expected: "from 611.3 Pa to 22.064 MPa",
        }
        .into());
    }
    let n = &REGION4;
    let beta = (pressure / 1e6).powf(0.25);
    let e = beta * beta + n[2] * beta + n[5];
    let f = n[0] * beta * beta + n[3] * beta + n[6];
    let g = n[1] * beta * beta + n[4] * beta + n[7];
    let d = 2.0 * g / (-f - (f * f - 4.0 * e * g).sqrt());
    let s = n[9] + d;
    Ok(0.5 * (s - (s * s - 4.0 * (n[8] + n[9] * d)).sqrt()))
}

/// Dynamic viscosity, Pa·s, from temperature (K) and density (kg/m³). Source: IAPWS R12-08, without the critical
/// enhancement, which is one in this range.
fn viscosity(t: f64, density: f64) -> f64 {
    let (t, r) = (t / 647.096, density / 322.0);
    let dilute = 1.677_52 + (2.204_62 + (0.636_656_4 - 0.241_605 / t) / t) / t;
    let mut sum = 0.0;
    for &(i, j, h) in &VISCOSITY {
        sum += (1.0 / t - 1.0).powi(i) * (r - 1.0).powi(j) * h;
    }
    1e-6 * 100.0 * t.sqrt() / dilute * (r * sum).exp()
}

/// Exponents and coefficients (i, j, H). Source: IAPWS R12-08, table 2.
#[rustfmt::skip]
const VISCOSITY: [(i32, i32, f64); 21] = [
    (0, 0, 5.200_94e-1), (1, 0, 8.508_95e-2), (2, 0, -1.083_74), (3, 0, -2.895_55e-1),
    (0, 1, 2.225_31e-1), (1, 1, 9.991_15e-1), (2, 1, 1.887_97), (3, 1, 1.266_13), (5, 1, 1.205_73e-1),
    (0, 2, -2.813_78e-1), (1, 2, -9.068_51e-1), (2, 2, -7.724_79e-1), (3, 2, -4.898_37e-1), (4, 2, -2.570_40e-1),
    (0, 3, 1.619_13e-1), (1, 3, 2.573_99e-1), (0, 4, -3.253_72e-2), (3, 4, 6.984_52e-2),
    (4, 5, 8.721_02e-3), (3, 6, -4.356_73e-3), (5, 6, -5.932_64e-4),
];

#[cfg(test)]
mod tests {
    use super::*;

    /// Verification values of IAPWS R7-97(2012), tables 5, 35 and 36.
    #[test]
    fn verification_values_of_if97() {
        let g = Water::region1(300.0, 3e6, 0.0);
        for (got, want) in [
            (1.0 / g.density, 0.100_215_168e-2),
            (g.enthalpy, 0.115_331_273e6),
            (g.specific_heat, 4_173.012_18),
            (g.sound_speed, 1_507.739_21),
        ] {
            assert!(((got - want) / want).abs() < 5e-9, "{got} {want}");
        }
        let g = Water::region1(300.0, 80e6, 0.0);
        for (got, want) in [
            (1.0 / g.density, 0.971_180_894e-3),
            (g.enthalpy, 0.184_142_828e6),
            (g.specific_heat, 4_010.089_87),
            (g.sound_speed, 1_634.690_54),
        ] {
            assert!(((got - want) / want).abs() < 5e-9, "{got} {want}");
        }
        let p = vapour_pressure(300.0).unwrap();
        assert!((p / 0.353_658_941e4 - 1.0).abs() < 5e-9);
        let t = boiling_temperature(0.1e6).unwrap();
        assert!((t / 372.755_919 - 1.0).abs() < 5e-9);
        let t = boiling_temperature(10e6).unwrap();
        assert!((t / 584.149_488 - 1.0).abs() < 5e-9);
    }

    /// Verification values of IAPWS R12-08, table 4 (critical enhancement left out).
    #[test]
    fn verification_values_of_the_viscosity() {
        for (t, rho, want) in [
            (298.15, 998.0, 889.735_100e-6),
            (298.15, 1200.0, 1_437.649_467e-6),
            (373.15, 1000.0, 307.883_622e-6),
        ] {
            let got = viscosity(t, rho);
            assert!((got / want - 1.0).abs() < 2e-9, "{t} {rho}: {got} {want}");
        }
    }

    #[test]
    fn states_outside_the_model_are_refused() {
        assert!(matches!(Water::at(260.0, 1e5), Err(WaterError::Input(_))));
        assert!(matches!(
            Water::at(f64::NAN, 1e5),
            Err(WaterError::Input(_))
        ));
        assert!(matches!(Water::at(300.0, -1.0), Err(WaterError::Input(_))));
        assert!(matches!(
            Water::at(300.0, 1000.0),
            Err(WaterError::Boils { .. })
        ));
        assert!(boiling_temperature(1.0).is_err());
    }
}
