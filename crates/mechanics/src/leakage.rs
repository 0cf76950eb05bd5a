//! Leakage through the annular gap of a wear ring.
//!
//! The pressure across a plain gap is spent on entrance, friction and exit:
//! `Δp = ρ V²/2 (k_in + f L/c + k_out)`, with the diametral clearance c as hydraulic diameter. Friction is the larger of
//! laminar `96/Re` and a turbulent law (Blasius, or Colebrook with roughness). Rotation adds a wall velocity: the
//! bulk-flow form (Hirs 1973) takes the resultant velocity in the friction law and its axial share of the wall shear, and
//! lowers the leakage, as measured; Yamada's correlation (1962) does too. Putting the resultant Reynolds number alone
//! into the friction law would raise the leakage, which is the wrong sign; that form is here only to be compared with.
//!
//! Holds for thin gaps (clearance well below the diameter) and clean water; not for two-phase flow.
//!
//! Invariants: a gap's flow rises with pressure, and the root returned closes the pressure balance to rounding.
//!
//! What it does not do: wear over time, heat, centrifugal pressure between rings of different diameter.

use crate::error::{MechanicsError, check, finite, not_negative, positive};
use std::f64::consts::PI;

/// One plain annular gap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// Diameter of the inner, rotating part, m.
    pub diameter: f64,
    /// Diametral clearance (bore less inner diameter), m.
    pub clearance: f64,
    /// Length along the axis, m.
    pub length: f64,
    /// Entrance loss, velocity heads of the gap (0.5 for a sharp edge).
    pub inlet_loss: f64,
    /// Exit loss, velocity heads of the gap (1.0 into open space).
    pub exit_loss: f64,
    /// Sand roughness of the walls, m; used by Colebrook only.
    pub roughness: f64,
}

/// The water in the gap and the shaft speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// Density, kg/m³.
    pub density: f64,
    /// Kinematic viscosity, m²/s.
    pub kinematic_viscosity: f64,
    /// Shaft speed, rad/s; zero for a ring at rest.
    pub speed: f64,
}

/// The friction law of turbulent flow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FrictionLaw {
    /// `0.3164/Re^¼`, smooth walls (Blasius).
    Blasius,
    /// Colebrook (1939) with the gap's roughness.
    Colebrook,
}

/// How rotation enters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rotation {
    /// Not at all.
    Ignored,
    /// Resultant velocity in the friction law and the axial share of its shear (Hirs 1973). Use this one.
    BulkFlow,
    /// Resultant Reynolds number in the friction law only: has the wrong sign, for comparison.
    ReynoldsOnly,
}

/// What flows through a gap, and why.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leakage {
    /// Flow, m³/s.
    pub flow: f64,
    /// Mean axial velocity, m/s.
    pub velocity: f64,
    /// Axial Reynolds number on the clearance.
    pub reynolds_axial: f64,
    /// Circumferential Reynolds number on the clearance and the surface speed.
    pub reynolds_circumferential: f64,
    /// Friction factor on the axial velocity.
    pub friction_factor: f64,
    /// Pressure spent at the entrance, Pa.
    pub inlet_drop: f64,
    /// Pressure spent on friction, Pa.
    pub friction_drop: f64,
    /// Pressure spent at the exit, Pa.
    pub exit_drop: f64,
    /// Flow over the flow of the same area without any loss but the velocity head.
    pub discharge_coefficient: f64,
}

impl Gap {
    fn check(&self) -> Result<(), MechanicsError> {
        positive("diameter of the gap (m)", self.diameter)?;
        positive("diametral clearance (m)", self.clearance)?;
        not_negative("length of the gap (m)", self.length)?;
        not_negative("entrance loss", self.inlet_loss)?;
        not_negative("exit loss", self.exit_loss)?;
        check(
            "roughness of the gap (m)",
            self.roughness,
            self.roughness >= 0.0 && self.roughness < 0.5 * self.clearance,
            "zero or more and less than half the clearance",
        )?;
        if self.length == 0.0 && self.inlet_loss + self.exit_loss == 0.0 {
            return Err(MechanicsError::Shape {
                quantity: "gap",
                expected: "a length, or an entrance or exit loss",
            });
        }
        Ok(())
    }

    /// Area of the annulus, m².
    pub fn area(&self) -> f64 {
        let bore = self.diameter + self.clearance;
        0.25 * PI * (bore * bore - self.diameter * self.diameter)
    }

    /// Friction factor at an axial velocity.
    fn factor(&self, velocity: f64, at: &Conditions, law: FrictionLaw, rotation: Rotation) -> f64 {
        let axial = velocity * self.clearance / at.kinematic_viscosity;
        let circumferential =
            0.5 * at.speed * self.diameter * self.clearance / at.kinematic_viscosity;
        let resultant = match rotation {
            Rotation::Ignored => axial,
            _ => axial.hypot(0.5 * circumferential),
        };
        let mut turbulent = match law {
            FrictionLaw::Blasius => 0.3164 / resultant.powf(0.25),
            FrictionLaw::Colebrook => colebrook(resultant, self.roughness / self.clearance),
        };
        if rotation == Rotation::BulkFlow {
            turbulent *= resultant / axial;
        }
        turbulent.max(96.0 / axial)
    }

    /// Pressure drop, Pa, at an axial velocity.
    fn drop(&self, v: f64, at: &Conditions, law: FrictionLaw, rotation: Rotation) -> f64 {
        let f = self.factor(v, at, law, rotation);
        0.5 * at.density
            * v
            * v
            * (self.inlet_loss + f * self.length / self.clearance + self.exit_loss)
    }

    /// Leakage at a pressure difference (Pa) across the gap.
    ///
    /// # Errors
    /// [`MechanicsError`] for numbers that cannot be right.
    pub fn leakage(
        &self,
        pressure: f64,
        at: &Conditions,
        law: FrictionLaw,
        rotation: Rotation,
    ) -> Result<Leakage, MechanicsError> {
        self.check()?;
        at.check()?;
        positive("pressure across the gap (Pa)", pressure)?;
        let v = solve_rising(
            &|v| self.drop(v, at, law, rotation) - pressure,
            (2.0 * pressure / at.density).sqrt(),
        )?;
        let f = self.factor(v, at, law, rotation);
        let head = 0.5 * at.density * v * v;
        Ok(Leakage {
            flow: v * self.area(),
            velocity: v,
            reynolds_axial: v * self.clearance / at.kinematic_viscosity,
            reynolds_circumferential: 0.5 * at.speed * self.diameter * self.clearance
                / at.kinematic_viscosity,
            friction_factor: f,
            inlet_drop: head * self.inlet_loss,
            friction_drop: head * f * self.length / self.clearance,
            exit_drop: head * self.exit_loss,
            discharge_coefficient: v / (2.0 * pressure / at.density).sqrt(),
        })
    }

    /// Leakage, m³/s, with the rotating part off the middle of its ring: every angle passes what a gap of its own clearance
    /// passes, and water does not flow round the circle. `eccentricity` is the offset over the radial clearance, 0 to 1.
    ///
    /// More leaks through than with both in line, at most some twelve per cent where entrance and exit count.
    ///
    /// # Errors
    /// As [`Gap::leakage`]; also for an eccentricity outside 0 to 1.
    pub fn eccentric_leakage(
        &self,
        pressure: f64,
        eccentricity: f64,
        at: &Conditions,
        law: FrictionLaw,
        rotation: Rotation,
    ) -> Result<f64, MechanicsError> {
        check(
            "eccentricity of a ring (offset over radial clearance)",
            eccentricity,
            (0.0..=1.0).contains(&eccentricity),
            "from 0 to 1",
        )?;
        // Simpson's rule over the half circle; the other half is its mirror. The flow has a kink where a slice turns laminar.
        const SLICES: usize = 4096;
        let slice = |k: usize| -> Result<f64, MechanicsError> {
            let here = 1.0 + eccentricity * (PI * k as f64 / SLICES as f64).cos();
            let local = Gap {
                clearance: self.clearance * here,
                ..*self
            };
            // Where they touch nothing passes.
            if local.clearance <= 2.0 * self.roughness || here < 1e-9 {
                return Ok(0.0);
            }
            let v = local.leakage(pressure, at, law, rotation)?.velocity;
            Ok(v * 0.5 * local.clearance)
        };
        let mut sum = slice(0)? + slice(SLICES)?;
        for k in 1..SLICES {
            sum += slice(k)? * if k % 2 == 1 { 4.0 } else { 2.0 };
        }
        let mean_radius = 0.5 * self.diameter + 0.25 * self.clearance;
        Ok(2.0 * mean_radius * sum * PI / (3.0 * SLICES as f64))
    }

    /// Leakage, m³/s, by Yamada's correlation (1962) for turbulent flow with rotation:
    /// `f = 0.26 R^-0.24 (1 + (7/8)² (T/2R)²)^0.38` with R and T on half the clearance.
    ///
    /// # Errors
    /// [`MechanicsError`] for numbers that cannot be right.
    pub fn yamada_leakage(&self, pressure: f64, at: &Conditions) -> Result<f64, MechanicsError> {
        self.check()?;
        at.check()?;
        positive("pressure across the gap (Pa)", pressure)?;
        let s = 0.5 * self.clearance;
        let drop = |v: f64| {
            let r = v * s / at.kinematic_viscosity;
            let t = 0.5 * at.speed * self.diameter * s / at.kinematic_viscosity;
            let swirl = 0.875 * t / (2.0 * r);
            let f = 0.26 * r.powf(-0.24) * (1.0 + swirl * swirl).powf(0.38);
            let loss = self.inlet_loss + f * self.length / (2.0 * s) + self.exit_loss;
            0.5 * at.density * v * v * loss - pressure
        };
        Ok(solve_rising(&drop, (2.0 * pressure / at.density).sqrt())? * self.area())
    }
}

impl Conditions {
    fn check(&self) -> Result<(), MechanicsError> {
        positive("density (kg/m³)", self.density)?;
        positive("kinematic viscosity (m²/s)", self.kinematic_viscosity)?;
        finite("shaft speed (rad/s)", self.speed)?;
        Ok(())
    }
}

/// Leakage, m³/s, through gaps in series (a stepped or labyrinth ring) under a pressure difference (Pa). `turn_loss[i]`
/// is the loss of the turn between gap i and the next, in velocity heads of gap i.
///
/// # Errors
/// [`MechanicsError`] for numbers that cannot be right, or a list of turns that is not one shorter than that of gaps.
pub fn chain_leakage(
    gaps: &[Gap],
    turn_loss: &[f64],
    pressure: f64,
    at: &Conditions,
    law: FrictionLaw,
    rotation: Rotation,
) -> Result<f64, MechanicsError> {
    if gaps.is_empty() || turn_loss.len() + 1 != gaps.len() {
        return Err(MechanicsError::Shape {
            quantity: "gaps in series",
            expected: "at least one gap, and one turn between each two",
        });
    }
    at.check()?;
    positive("pressure across the gaps (Pa)", pressure)?;
    for g in gaps {
        g.check()?;
    }
    for &k in turn_loss {
        not_negative("loss of a turn", k)?;
    }
    let drop = |q: f64| {
        let mut sum = -pressure;
        for (i, g) in gaps.iter().enumerate() {
            let v = q / g.area();
            sum += g.drop(v, at, law, rotation);
            if let Some(k) = turn_loss.get(i) {
                sum += 0.5 * at.density * v * v * k;
            }
        }
        sum
    };
    let narrowest = gaps.iter().fold(f64::INFINITY, |a, g| a.min(g.area()));
    solve_rising(&drop, narrowest * (2.0 * pressure / at.density).sqrt())
}

/// A ring as the water leaks through it: gaps in series under a pressure difference.
#[derive(Debug, Clone, PartialEq)]
pub struct Path {
    /// Its gaps, in the order the water passes them.
    pub gaps: Vec<Gap>,
    /// Loss of the turn between each two of them, velocity heads of the gap before it.
    pub turn_loss: Vec<f64>,
    /// Pressure across all of it, Pa.
    pub pressure: f64,
}

/// Leakage, m³/s, through rings side by side, each gap opened by the same amount (m, on the diameter).
///
/// # Errors
/// As [`chain_leakage`]; an opening below zero that closes a gap is one of them.
pub fn opened_leakage(
    rings: &[Path],
    opening: f64,
    at: &Conditions,
    law: FrictionLaw,
    rotation: Rotation,
) -> Result<f64, MechanicsError> {
    finite("opening of the rings (m)", opening)?;
    rings.iter().try_fold(0.0, |sum, ring| {
        let gaps: Vec<Gap> = ring
            .gaps
            .iter()
            .map(|g| Gap {
                clearance: g.clearance + opening,
                ..*g
            })
            .collect();
        Ok(sum + chain_leakage(&gaps, &ring.turn_loss, ring.pressure, at, law, rotation)?)
    })
}

/// The inverse of [`opened_leakage`]: by how much (m, on the diameter) each gap must be opened so that the rings leak
/// `extra` (m³/s, zero or more) beyond what they do as they are. `None` where opening them by `most` (m) is not enough.
///
/// The leak grows with the clearance, so there is one answer; it is found to rounding.
///
/// # Errors
/// As [`chain_leakage`]; also for an empty list of rings.
pub fn opening_for(
    rings: &[Path],
    extra: f64,
    most: f64,
    at: &Conditions,
    law: FrictionLaw,
    rotation: Rotation,
) -> Result<Option<f64>, MechanicsError> {
    const WHAT: &str = "opening of the rings";
    not_negative("additional leak (m³/s)", extra)?;
    positive("largest opening (m)", most)?;
    if rings.is_empty() {
        return Err(MechanicsError::Shape {
            quantity: "rings side by side",
            expected: "at least one",
        });
    }
    let now = opened_leakage(rings, 0.0, at, law, rotation)?;
    let over = |x: f64| Ok(opened_leakage(rings, x, at, law, rotation)? - now - extra);
    if extra == 0.0 {
        return Ok(Some(0.0));
    }
    let (mut a, mut b) = (0.0, most);
    let (mut fa, mut fb) = (-extra, over(b)?);
    if fb < 0.0 {
        return Ok(None);
    }
    let mut side = 0;
    for round in 0..300 {
        if fb == 0.0 || b - a <= 4.0 * f64::EPSILON * b {
            return Ok(Some(b));
        }
        let mut x = if round % 3 == 2 {
            0.5 * (a + b)
        } else {
            (a * fb - b * fa) / (fb - fa)
        };
        if !(x > a && x < b) {
            x = 0.5 * (a + b);
            if x <= a || x >= b {
                return Ok(Some(b));
            }
        }
        let fx: f64 = over(x)?;
        if fx < 0.0 {
            (a, fa) = (x, fx);
            if side == -1 {
                fb *= 0.5;
            }
            side = -1;
        } else {
            (b, fb) = (x, fx);
            if side == 1 {
                fa *= 0.5;
            }
            side = 1;
        }
    }
    Err(MechanicsError::NotConverged(WHAT))
}

/// How much more an eccentric gap passes than a concentric one at the same friction drop, for a local flow that goes
/// with the local gap to the power `exponent` (3 laminar, 12/7 Blasius, 3/2 constant friction factor, 1 no friction):
/// the mean of (1 + e cos θ)^n round the circle. `eccentricity` is 0 (centred) to 1 (touching).
///
/// # Errors
/// [`MechanicsError`] for an eccentricity outside 0 to 1 or an exponent outside 1 to 3.
pub fn eccentric_factor(eccentricity: f64, exponent: f64) -> Result<f64, MechanicsError> {
    check(
        "eccentricity ratio",
        eccentricity,
        (0.0..=1.0).contains(&eccentricity),
        "from 0 to 1",
    )?;
    check(
        "exponent of the local gap",
        exponent,
        (1.0..=3.0).contains(&exponent),
        "from 1 to 3",
    )?;
    // With t = tan-like substitution the integrand at e = 1 has a weak kink at θ = π; θ = π(1 − (1 − x)³) flattens it, and
    // Simpson's rule on 2000 panels is then exact to far below 1e-10.
    let panels = 2000;
    let value = |x: f64| {
        let theta = PI * (1.0 - (1.0 - x).powi(3));
        let weight = 3.0 * (1.0 - x) * (1.0 - x);
        (1.0 + eccentricity * theta.cos()).max(0.0).powf(exponent) * weight
    };
    let h = 1.0 / f64::from(panels);
    let mut sum = value(0.0) + value(1.0);
    for i in 1..panels {
        sum += value(f64::from(i) * h) * if i % 2 == 1 { 4.0 } else { 2.0 };
    }
    Ok(sum * h / 3.0)
}

/// The root of a rising function of a positive argument: bracketed by doubling, then false position (Illinois) with
/// halving, to rounding.
fn solve_rising(f: &dyn Fn(f64) -> f64, guess: f64) -> Result<f64, MechanicsError> {
    const WHAT: &str = "flow through a gap";
    let (mut a, mut b) = (guess, guess);
    let mut tries = 0;
    while f(a) > 0.0 {
        a *= 0.5;
        tries += 1;
        if tries > 1000 {
            return Err(MechanicsError::NotConverged(WHAT));
        }
    }
    while f(b) < 0.0 {
        b *= 2.0;
        tries += 1;
        if tries > 2000 {
            return Err(MechanicsError::NotConverged(WHAT));
        }
    }
    let (mut fa, mut fb) = (f(a), f(b));
    let mut side = 0;
    for round in 0..200 {
        if b - a <= 4.0 * f64::EPSILON * b || fa == 0.0 || fb == 0.0 {
            return Ok(if fa.abs() < fb.abs() { a } else { b });
        }
        let mut x = if round % 3 == 2 {
            0.5 * (a + b)
        } else {
            (a * fb - b * fa) / (fb - fa)
        };
        if !(x > a && x < b) {
            x = 0.5 * (a + b);
        }
        let fx = f(x);
        if fx < 0.0 {
            (a, fa) = (x, fx);
            if side == -1 {
                fb *= 0.5;
            }
            side = -1;
        } else {
            (b, fb) = (x, fx);
            if side == 1 {
                fa *= 0.5;
            }
            side = 1;
        }
    }
    Err(MechanicsError::NotConverged(WHAT))
}

/// Colebrook's friction factor (1939), solved to rounding from Haaland's start (1983).
fn colebrook(re: f64, rough: f64) -> f64 {
    let (a, b) = (rough / 3.7, 2.51 / re);
    let two_log = 2.0 / std::f64::consts::LN_10;
    // Below a Reynolds number of a few the start would be no number; the caller takes the laminar law there anyway.
    let mut x = (-1.8 * (a.powf(1.11) + 6.9 / re).log10()).max(0.1);
    for _ in 0..50 {
        let s = a + b * x;
        let step = (x + two_log * s.ln()) / (1.0 + two_log * b / s);
        x = (x - step).max(1e-3 * x);
        if step.abs() <= 4.0 * f64::EPSILON * x {
            break;
        }
    }
    1.0 / (x * x)
}
