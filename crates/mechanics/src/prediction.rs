//! What one stage should give by its geometry alone: head, power and efficiency against flow, and the water's way through
//! it station by station.
//!
//! A one-dimensional model on the mean streamline. Euler's head with slip, less
//! - incidence at the vanes' inlet: a share of the whirl that turns there at once (Pfleiderer, from memory),
//! - friction in the impeller's passages and on the volute's walls: the dissipation coefficient of a turbulent boundary
//!   layer as Gülich gives it for pumps (Centrifugal Pumps, ch. 3, from memory),
//! - the radial part of the velocity out of the wheel, of which a volute makes no use (texts, from memory),
//! - the difference between the whirl that arrives at the throat (a free vortex) and the throat's own velocity, lost as in a
//!   sudden change of section (Borda and Carnot; impeller and volute matched so by Worster, 1963, from memory),
//! - a share of the throat's velocity head in the diffusing discharge behind it (texts, from memory).
//!
//! The shaft pays besides for what leaks back through the rings, for the friction of the shrouds' outsides (Daily and Nece,
//! 1960, from memory) and a share for bearings and seals.
//!
//! **A prediction, never a test.** Such methods meet the head of a real pump near its best flow within some 5 to 10 %, the
//! best flow less well (texts, from memory): see [`HEAD_SCATTER`] and its fellows. Below about half of the best flow the
//! water runs back out of the eye and no such model holds ([`LEAST_SHARE`]); with no flow at all there is a rule of
//! thumb ([`Stage::shut_off_head`]).
//!
//! Invariants: SI; angles in radians from the tangent; heads are of total pressure over that at the intake; no whirl
//! before the wheel. No function panics, and nothing that did not converge is returned.
//!
//! What it does not do: vaned diffusers, losses of the intake passage, cavitation, roughness of the shrouds, stages that
//! are unlike.

use crate::STANDARD_GRAVITY;
use crate::error::{MechanicsError, check, not_negative, positive};
use crate::impeller::Exit;
use std::f64::consts::{FRAC_PI_2, PI};

/// Share of the head by which a real pump may lie above or below the prediction near its best flow: 5 to 10 % is what
/// texts expect of such methods (from memory); the wider is taken.
pub const HEAD_SCATTER: f64 = 0.10;

/// The same of the flow of best efficiency (texts, from memory).
pub const BEST_FLOW_SCATTER: f64 = 0.15;

/// The same of the shaft power (it follows from head and efficiency; from memory).
pub const POWER_SCATTER: f64 = 0.15;

/// Share of the best flow below which no head, power or efficiency is predicted: the water recirculates there.
/// Recirculation sets in at about half of the best flow and above (texts, from memory).
pub const LEAST_SHARE: f64 = 0.5;

/// Head with no flow over u₂²/g: Stepanoff's 0.585 (published).
pub const SHUT_OFF: f64 = 0.585;

/// Share of the velocity head of the whirl that turns at once at the vanes' inlet: Pfleiderer's 0.5 to 0.7 (from memory).
pub const INCIDENCE: f64 = 0.6;

/// Share of the throat's velocity head lost in the diffusing discharge: 0.15 to 0.25 (texts, from memory).
pub const DISCHARGE: f64 = 0.20;

/// Share of the shaft power that bearings and shaft seals take: 1 to 2 % (texts, from memory).
pub const MECHANICAL: f64 = 0.02;

/// The cutwater's diameter over the wheel's: 1.05 to 1.09, rising with specific speed (Lobanoff and Ross, p. 36, published);
/// 1.06 for the wheels of fire pumps.
pub const CUTWATER: f64 = 1.06;

/// Room between shroud and body over the wheel's radius; the friction goes with its tenth root, so it hardly counts.
const SIDE_ROOM: f64 = 0.05;

/// By which rule the water slips behind the vanes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Slip {
    /// Wiesner (1967), with its correction above the limiting radius ratio.
    Wiesner,
    /// The same times 0.98, as Gülich corrects it for the radial wheels of pumps (published).
    Guelich,
    /// Stodola (1927).
    Stodola,
    /// A factor of one's own, in the sense of slip velocity: `c_u2 = σ u₂ − c_m2/tan β₂`.
    Stated(f64),
}

/// One stage: a wheel in a volute.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stage {
    /// The wheel's exit. Its radius ratio is that of the vanes' inlet.
    pub exit: Exit,
    /// The slip rule.
    pub slip: Slip,
    /// How many eyes: 1, or 2 for a wheel that draws from both sides.
    pub eyes: u32,
    /// Diameter of an eye, m, as a full circle.
    pub eye_diameter: f64,
    /// Width between the shrouds at the vanes' inlet, m, of each side.
    pub inlet_width: f64,
    /// Vane angle at the inlet from the tangent, rad.
    pub inlet_angle: f64,
    /// Thickness of a vane along its normal, m.
    pub vane_thickness: f64,
    /// Area of the volute's throats, m², all together.
    pub throat_area: f64,
    /// How many throats (volutes): 1 or 2.
    pub throats: u32,
    /// Roughness of the passages, m: the sand roughness of the wall.
    pub roughness: f64,
    /// What leaks back to the eye through the rings, m³/s, at the speed looked at.
    pub leak: f64,
}

/// The water pumped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fluid {
    /// Density, kg/m³.
    pub density: f64,
    /// Kinematic viscosity, m²/s.
    pub kinematic_viscosity: f64,
}

/// The velocities of the water in the wheel, m/s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Triangles {
    /// In the eye.
    pub eye: f64,
    /// Speed of the vanes at their inlet.
    pub u1: f64,
    /// Meridional, at the vanes' inlet between the vanes.
    pub cm1: f64,
    /// Speed of the vanes at their exit.
    pub u2: f64,
    /// Meridional, at the exit between the vanes.
    pub cm2: f64,
    /// Whirl at the exit, after slip.
    pub cu2: f64,
    /// Slip factor.
    pub slip: f64,
    /// Whirl that a free vortex leaves at the middle of the throat.
    pub throat_whirl: f64,
    /// In the throat.
    pub throat: f64,
}

/// Where the head goes, m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heads {
    /// Euler's head with slip.
    pub ideal: f64,
    /// Lost to incidence.
    pub incidence: f64,
    /// Lost to friction in the wheel.
    pub wheel_friction: f64,
    /// Lost of the radial velocity out of the wheel.
    pub radial: f64,
    /// Lost to friction on the volute's walls.
    pub volute_friction: f64,
    /// Lost where whirl and throat do not match.
    pub mismatch: f64,
    /// Lost in the diffusing discharge.
    pub discharge: f64,
}

impl Heads {
    /// Head of the total pressure behind the wheel, m.
    pub fn behind_wheel(&self) -> f64 {
        self.ideal - self.incidence - self.wheel_friction
    }

    /// Head of the total pressure in the throat, m.
    pub fn in_throat(&self) -> f64 {
        self.behind_wheel() - self.radial - self.volute_friction - self.mismatch
    }

    /// Head delivered, m.
    pub fn delivered(&self) -> f64 {
        self.in_throat() - self.discharge
    }
}

/// What a stage should do at one flow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Flow delivered, m³/s.
    pub flow: f64,
    /// Head delivered, m.
    pub head: f64,
    /// Power at the shaft, W.
    pub power: f64,
    /// Water power over shaft power, 0 to 1.
    pub efficiency: f64,
    /// Power that the friction of the shrouds takes, W.
    pub disc_power: f64,
    /// Velocities.
    pub velocities: Triangles,
    /// Where the head goes.
    pub heads: Heads,
}

impl Fluid {
    fn check(&self) -> Result<(), MechanicsError> {
        positive("density (kg/m³)", self.density)?;
        positive("kinematic viscosity (m²/s)", self.kinematic_viscosity)?;
        Ok(())
    }
}

impl Stage {
    fn check(&self) -> Result<(), MechanicsError> {
        self.exit.area()?;
        for (what, n) in [
            ("number of eyes", self.eyes),
            ("number of throats", self.throats),
        ] {
            check(what, f64::from(n), n == 1 || n == 2, "1 or 2")?;
        }
        positive("eye diameter (m)", self.eye_diameter)?;
        check(
            "eye diameter (m)",
            self.eye_diameter,
            self.eye_diameter < self.exit.diameter,
            "less than the wheel's outside diameter",
        )?;
        check(
            "radius ratio of the vanes",
            self.exit.radius_ratio,
            self.exit.radius_ratio > 0.0,
            "above 0",
        )?;
        positive("width at the vanes' inlet (m)", self.inlet_width)?;
        check(
            "vane angle at the inlet (rad)",
            self.inlet_angle,
            self.inlet_angle > 0.0 && self.inlet_angle <= FRAC_PI_2,
            "above 0 and not above a right angle",
        )?;
        not_negative("vane thickness (m)", self.vane_thickness)?;
        positive("throat area (m²)", self.throat_area)?;
        not_negative("roughness of the passages (m)", self.roughness)?;
        not_negative("leak through the rings (m³/s)", self.leak)?;
        positive("open share of the vanes' inlet", self.inlet_open_share())?;
        positive("way between the vanes at the exit (m)", self.way(true))?;
        positive("slip factor", self.slip_factor()?)?;
        Ok(())
    }

    fn vanes(&self) -> f64 {
        f64::from(self.exit.vanes)
    }

    fn inlet_diameter(&self) -> f64 {
        self.exit.radius_ratio * self.exit.diameter
    }

    /// What the vanes leave open of the circumference at their inlet.
    fn inlet_open_share(&self) -> f64 {
        let taken = self.vanes() * self.vane_thickness / self.inlet_angle.sin();
        1.0 - taken / (PI * self.inlet_diameter())
    }

    /// Distance between two vanes along their normal, m, at the exit or at the inlet.
    fn way(&self, exit: bool) -> f64 {
        let (d, angle) = if exit {
            (self.exit.diameter, self.exit.angle)
        } else {
            (self.inlet_diameter(), self.inlet_angle)
        };
        PI * d * angle.sin() / self.vanes() - self.vane_thickness
    }

    fn slip_factor(&self) -> Result<f64, MechanicsError> {
        match self.slip {
            Slip::Wiesner => self.exit.wiesner_slip(),
            Slip::Guelich => Ok(0.98 * self.exit.wiesner_slip()?),
            Slip::Stodola => self.exit.stodola_slip(),
            Slip::Stated(s) => check(
                "slip factor",
                s,
                s > 0.0 && s <= 1.0,
                "above 0 and not above 1",
            ),
        }
    }

    /// Radius of the middle of a throat, m: the cutwater's, and half the height of a round throat.
    fn throat_radius(&self) -> f64 {
        0.5 * CUTWATER * self.exit.diameter + self.throat_half_height()
    }

    fn throat_half_height(&self) -> f64 {
        (self.throat_area / (f64::from(self.throats) * PI)).sqrt()
    }

    /// Head with no flow, m, at a speed (rad/s): Stepanoff's rule of thumb, `0.585 u₂²/g`.
    ///
    /// # Errors
    /// [`MechanicsError`] for numbers that cannot be right.
    pub fn shut_off_head(&self, speed: f64) -> Result<f64, MechanicsError> {
        self.check()?;
        let u2 = crate::impeller::tip_speed(self.exit.diameter, speed)?;
        Ok(SHUT_OFF * u2 * u2 / STANDARD_GRAVITY)
    }

    /// The velocities at a flow delivered (m³/s) and a speed (rad/s).
    ///
    /// # Errors
    /// [`MechanicsError`] for numbers that cannot be right.
    pub fn velocities(&self, flow: f64, speed: f64) -> Result<Triangles, MechanicsError> {
        self.check()?;
        not_negative("flow (m³/s)", flow)?;
        positive("speed (rad/s)", speed)?;
        let through = flow + self.leak;
        let each = through / f64::from(self.eyes);
        let u2 = 0.5 * self.exit.diameter * speed;
        let cm2 = through / self.exit.area()?;
        let slip = self.slip_factor()?;
        let cu2 = slip * u2 - cm2 / self.exit.angle.tan();
        let inlet = PI * self.inlet_diameter() * self.inlet_width * self.inlet_open_share();
        Ok(Triangles {
            eye: each / (0.25 * PI * self.eye_diameter * self.eye_diameter),
            u1: u2 * self.exit.radius_ratio,
            cm1: each / inlet,
            u2,
            cm2,
            cu2,
            slip,
            throat_whirl: cu2 * 0.5 * self.exit.diameter / self.throat_radius(),
            throat: flow / self.throat_area,
        })
    }

    /// What the stage should do at a flow delivered (m³/s) and a speed (rad/s). The flow may be any: whether the model
    /// holds there is for [`Stage::best`] to say.
    ///
    /// # Errors
    /// [`MechanicsError`] for numbers that cannot be right.
    pub fn point(&self, flow: f64, speed: f64, fluid: &Fluid) -> Result<Point, MechanicsError> {
        fluid.check()?;
        let v = self.velocities(flow, speed)?;
        let heads = self.heads(&v, flow, fluid);
        let ideal_power =
            fluid.density * STANDARD_GRAVITY * (flow + self.leak) * heads.ideal.max(0.0);
        let disc_power = self.disc_power(speed, fluid);
        let power = (ideal_power + disc_power) / (1.0 - MECHANICAL);
        let head = heads.delivered();
        Ok(Point {
            flow,
            head,
            power,
            efficiency: fluid.density * STANDARD_GRAVITY * flow * head / power,
            disc_power,
            velocities: v,
            heads,
        })
    }

    fn heads(&self, v: &Triangles, flow: f64, fluid: &Fluid) -> Heads {
        let velocity_head = |c: f64| c * c / (2.0 * STANDARD_GRAVITY);
        let nu = fluid.kinematic_viscosity;
        // The wheel's passages, each side of a wheel with two eyes by itself.
        let width = self.exit.width / f64::from(self.eyes);
        let (a1, a2) = (self.way(false), self.way(true));
        let (b1, b2) = (self.inlet_width, width);
        let across = a1 * b1 + a2 * b2;
        let round = 2.0 * across / (a1 + b1 + a2 + b2);
        let each = (flow + self.leak) / f64::from(self.eyes);
        let w = 2.0 * each / (self.vanes() * across);
        let mean = 0.5 * (self.exit.angle + self.inlet_angle);
        let long = 0.5 * (self.exit.diameter - self.inlet_diameter()) / mean.sin();
        let wheel = 4.0
            * dissipation(w, long, self.roughness, nu)
            * (1.1 + 4.0 * b2 / self.exit.diameter)
            * long
            / round;
        // The volute grows evenly to its throat, round in section, at one mean velocity.
        let throats = f64::from(self.throats);
        let half = self.throat_half_height();
        let wall = 2.0 / 3.0 * (2.0 * PI * half) * self.throat_radius() * 2.0 * PI;
        let way = 2.0 * PI / throats * self.throat_radius();
        let volute = dissipation(v.throat, way, self.roughness, nu) * wall / self.throat_area;
        Heads {
            ideal: v.u2 * v.cu2 / STANDARD_GRAVITY,
            incidence: INCIDENCE * velocity_head(v.u1 - v.cm1 / self.inlet_angle.tan()),
            wheel_friction: wheel * velocity_head(w),
            radial: velocity_head(v.cm2),
            volute_friction: volute * velocity_head(v.throat),
            mismatch: velocity_head(v.throat_whirl - v.throat),
            discharge: DISCHARGE * velocity_head(v.throat),
        }
    }

    /// Power, W, that the friction of both shrouds' outsides takes: `½ C ρ ω³ r⁵` with Daily and Nece's turbulent torque
    /// coefficients (1960, from memory), the larger of `0.08 s^-1/6 Re^-1/4` (narrow room) and `0.102 s^1/10 Re^-1/5`.
    fn disc_power(&self, speed: f64, fluid: &Fluid) -> f64 {
        let r = 0.5 * self.exit.diameter;
        let re = speed * r * r / fluid.kinematic_viscosity;
        let narrow = 0.08 * SIDE_ROOM.powf(-1.0 / 6.0) * re.powf(-0.25);
        let wide = 0.102 * SIDE_ROOM.powf(0.1) * re.powf(-0.2);
        0.5 * narrow.max(wide) * fluid.density * speed.powi(3) * r.powi(5)
    }

    /// The flow at which the throat's own velocity is the whirl that arrives, m³/s: near the best flow.
    ///
    /// # Errors
    /// [`MechanicsError`] for numbers that cannot be right, or where the leak alone takes all the whirl.
    pub fn matched_flow(&self, speed: f64) -> Result<f64, MechanicsError> {
        let still = self.velocities(0.0, speed)?;
        // The whirl at the throat falls with the flow, the throat's velocity rises: one straight line each.
        let share = 0.5 * self.exit.diameter / self.throat_radius();
        let falls = share / (self.exit.area()? * self.exit.angle.tan());
        positive(
            "matched flow (m³/s)",
            still.throat_whirl / (1.0 / self.throat_area + falls),
        )
    }

    /// The point of best efficiency at a speed (rad/s).
    ///
    /// # Errors
    /// [`MechanicsError`] for numbers that cannot be right, [`MechanicsError::NotConverged`] where the efficiency has no
    /// highest point inside a tenth to three times the matched flow.
    pub fn best(&self, speed: f64, fluid: &Fluid) -> Result<Point, MechanicsError> {
        const WHAT: &str = "best flow of a stage";
        const STEPS: u32 = 290;
        let matched = self.matched_flow(speed)?;
        let eta = |q: f64| self.point(q, speed, fluid).map(|p| p.efficiency);
        let at = |k: u32| matched * (0.1 + 0.01 * f64::from(k));
        let mut top = (0, f64::NEG_INFINITY);
        for k in 0..=STEPS {
            let e = eta(at(k))?;
            if e > top.1 {
                top = (k, e);
            }
        }
        if top.0 == 0 || top.0 == STEPS || top.1 <= 0.0 {
            return Err(MechanicsError::NotConverged(WHAT));
        }
        // Golden section between the neighbours.
        let (mut a, mut b) = (at(top.0 - 1), at(top.0 + 1));
        let part = 0.5 * (5.0_f64.sqrt() - 1.0);
        for _ in 0..80 {
            let (c, d) = (b - part * (b - a), a + part * (b - a));
            if eta(c)? < eta(d)? {
                a = c;
            } else {
                b = d;
            }
        }
        self.point(0.5 * (a + b), speed, fluid)
    }
}

/// Dissipation coefficient of a wall: the friction of a rough plate, `0.136 / (−log₁₀(0.2 ε/L + 12.5/Re))^2.15`, and 0.0015
/// for what the turning of the water adds (Gülich, ch. 3, from memory).
fn dissipation(velocity: f64, length: f64, roughness: f64, nu: f64) -> f64 {
    // Below this the plate's layer is not turbulent; the loss is of no account there.
    let re = (velocity * length / nu).max(1e4);
    let x = -(0.2 * roughness / length + 12.5 / re).log10();
    // A roughness near the passage's own length would make no sense of the law: kept to where it still rises.
    0.136 / x.max(0.5).powf(2.15) + 0.0015
}
