//! The engine and the gear between it and the pump: what speed and power are there, and what is left over.
//!
//! An engine's full-load table is read by straight lines unless told otherwise: the curve is concave where it matters
//! (towards its peak), so a chord lies below it and the power is never overstated, and a straight line is what people
//! who read the table by hand expect at the governor's corner. [`Reading::ShapePreserving`] uses the smooth curve.
//!
//! Invariants: nothing is read outside the table. The gear ratio is pump turns per engine turn (more than one steps
//! up), transmission gear included.
//!
//! What it does not do: derating rules (they disagree; the caller picks one and hands in its factor), torque converter
//! slip, transients. Overspeed can burst a wheel: limits are those of maker and standard.

use crate::curve::{Curve, CurveError};
use crate::error::{InputError, fraction, not_negative, positive};

/// How the table is read between its points.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Reading {
    /// Straight lines.
    #[default]
    Straight,
    /// The shape-preserving cubic of [`Curve`].
    ShapePreserving,
}

/// An engine's full-load output against speed.
#[derive(Debug, Clone, PartialEq)]
pub struct Engine {
    table: Curve,
    reading: Reading,
    factor: f64,
}

impl Engine {
    /// An engine of the given speeds (rad/s, strictly increasing) and full-load powers (W), with a power factor of one.
    ///
    /// # Errors
    /// [`InputError`] for a table that cannot be right.
    pub fn new(speed: Vec<f64>, power: Vec<f64>, reading: Reading) -> Result<Self, InputError> {
        for &v in &speed {
            positive("engine speed (rad/s)", v)?;
        }
        for &p in &power {
            not_negative("engine power (W)", p)?;
        }
        Ok(Self {
            table: Curve::new(speed, power)?,
            reading,
            factor: 1.0,
        })
    }

    /// The same engine with its power multiplied by `factor` (above 0, up to 1): altitude, air temperature, wear.
    ///
    /// # Errors
    /// [`InputError`] for a factor outside that range.
    pub fn derated(&self, factor: f64) -> Result<Self, InputError> {
        Ok(Self {
            factor: self.factor * fraction("derating factor", factor)?,
            ..self.clone()
        })
    }

    /// Lowest and highest speed of the table, rad/s.
    pub fn domain(&self) -> (f64, f64) {
        self.table.domain()
    }

    /// Full-load power, W, at `speed` (rad/s), derated.
    ///
    /// # Errors
    /// [`CurveError::Outside`] outside the table.
    pub fn power(&self, speed: f64) -> Result<f64, CurveError> {
        let smooth = self.table.value(speed)?;
        if self.reading == Reading::ShapePreserving {
            return Ok(self.factor * smooth);
        }
        let (x, y) = (self.table.abscissae(), self.table.ordinates());
        let i = x.partition_point(|&k| k <= speed).clamp(1, x.len() - 1);
        let t = (speed - x[i - 1]) / (x[i] - x[i - 1]);
        Ok(self.factor * (y[i - 1] + t * (y[i] - y[i - 1])))
    }

    /// Full-load torque, N·m, at `speed` (rad/s), derated.
    ///
    /// # Errors
    /// [`CurveError::Outside`] outside the table.
    pub fn torque(&self, speed: f64) -> Result<f64, CurveError> {
        Ok(self.power(speed)? / speed)
    }
}

/// An engine geared to a pump.
#[derive(Debug, Clone, PartialEq)]
pub struct Drive {
    engine: Engine,
    ratio: f64,
    efficiency: f64,
    governed: f64,
}

/// What a pump duty leaves of the drive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Margins {
    /// Engine speed, rad/s.
    pub engine_speed: f64,
    /// Governed speed less engine speed, rad/s; negative means the governor does not allow it.
    pub speed: f64,
    /// Power the drive can bring to the pump shaft at that speed, W.
    pub power_available: f64,
    /// Power available less power needed, W; negative means the engine cannot carry it.
    pub power: f64,
    /// Power needed over power available.
    pub load: f64,
    /// Engine torque the duty asks for, N·m.
    pub engine_torque: f64,
    /// Engine torque available less that asked for, N·m.
    pub torque: f64,
}

impl Drive {
    /// A drive of pump turns per engine turn `ratio`, driveline `efficiency` (above 0, up to 1) and no-load governed
    /// engine speed (rad/s).
    ///
    /// # Errors
    /// [`InputError`] for numbers that cannot be right.
    pub fn new(
        engine: Engine,
        ratio: f64,
        efficiency: f64,
        governed_speed: f64,
    ) -> Result<Self, InputError> {
        Ok(Self {
            engine,
            ratio: positive("gear ratio, pump turns per engine turn", ratio)?,
            efficiency: fraction("driveline efficiency", efficiency)?,
            governed: positive("governed engine speed (rad/s)", governed_speed)?,
        })
    }

    /// Pump speed, rad/s, of an engine speed (rad/s).
    pub fn pump_speed(&self, engine_speed: f64) -> f64 {
        engine_speed * self.ratio
    }

    /// Engine speed, rad/s, of a pump speed (rad/s).
    pub fn engine_speed(&self, pump_speed: f64) -> f64 {
        pump_speed / self.ratio
    }

    /// Highest pump speed the governor allows, rad/s.
    pub fn governed_pump_speed(&self) -> f64 {
        self.pump_speed(self.governed)
    }

    /// Margins of a duty that needs `shaft_power` (W) at the pump shaft at `pump_speed` (rad/s).
    ///
    /// # Errors
    /// [`CurveError`] when the engine speed is outside the engine's table or a number cannot be right.
    pub fn margins(&self, pump_speed: f64, shaft_power: f64) -> Result<Margins, CurveError> {
        positive("pump speed (rad/s)", pump_speed)?;
        not_negative("shaft power (W)", shaft_power)?;
        let engine_speed = self.engine_speed(pump_speed);
        let full = self.engine.power(engine_speed)?;
        let available = full * self.efficiency;
        let asked = shaft_power / self.efficiency / engine_speed;
        Ok(Margins {
            engine_speed,
            speed: self.governed - engine_speed,
            power_available: available,
            power: available - shaft_power,
            load: shaft_power / available,
            engine_torque: asked,
            torque: full / engine_speed - asked,
        })
    }
}
