//! A pump's tested curve and what it gives at any speed.
//!
//! The curve is kept at the speed it was tested at. At another speed the affinity laws carry it over exactly: with
//! `r = speed / tested speed`, flow scales with `r`, pressure rise and NPSH required with `r²`, shaft power with `r³`
//! (the laws of likeness; textbook). NPSH required follows `r²` well only near the tested speed and less than that far
//! from it (Hydraulic Institute practice, from memory), so a caller should say so when `r` is far from one.
//!
//! Invariants: a flow outside the tested range, carried to the speed asked for, is an error and never an
//! extrapolation. The rise is the *net* pressure rise, discharge total pressure less intake total pressure.
//!
//! What it does not do: the leak of a wear ring itself (see `cutwater-mechanics`), prediction from geometry, cavitation.

use crate::curve::{Curve, CurveError};
use crate::error::{InputError, positive};

/// The points of a pump test, as they are handed in.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PumpPoints {
    /// Shaft speed during the test, rad/s.
    pub tested_speed: f64,
    /// Flows, m³/s, strictly increasing, the first zero or more.
    pub flow: Vec<f64>,
    /// Net pressure rise at each flow, Pa.
    pub rise: Vec<f64>,
    /// Shaft power at each flow, W, if it was measured.
    pub power: Option<Vec<f64>>,
    /// NPSH required (3 % head drop) at each flow, m, if it was measured.
    pub npshr: Option<Vec<f64>>,
}

/// A tested pump curve.
#[derive(Debug, Clone, PartialEq)]
pub struct PumpCurve {
    tested_speed: f64,
    rise: Curve,
    power: Option<Curve>,
    npshr: Option<Curve>,
}

impl PumpCurve {
    /// Builds the curve from test points.
    ///
    /// # Errors
    /// [`InputError`] when the speed is not above zero, a flow is negative or out of order, or a list has the wrong
    /// length.
    pub fn new(points: PumpPoints) -> Result<Self, InputError> {
        positive("tested speed (rad/s)", points.tested_speed)?;
        if points.flow.first().is_some_and(|q| *q < 0.0) {
            return Err(InputError::OutOfRange {
                quantity: "first tested flow (m³/s)",
                value: points.flow[0],
                expected: "zero or more",
            });
        }
        let on = |values: Vec<f64>| Curve::new(points.flow.clone(), values);
        Ok(Self {
            tested_speed: points.tested_speed,
            rise: on(points.rise)?,
            power: points.power.map(on).transpose()?,
            npshr: points.npshr.map(on).transpose()?,
        })
    }

    /// Shaft speed of the test, rad/s.
    pub fn tested_speed(&self) -> f64 {
        self.tested_speed
    }

    /// The pressure-rise curve at the tested speed: Pa over m³/s.
    pub fn rise_curve(&self) -> &Curve {
        &self.rise
    }

    /// The shaft-power curve at the tested speed: W over m³/s, if tested.
    pub fn power_curve(&self) -> Option<&Curve> {
        self.power.as_ref()
    }

    /// The NPSH-required curve at the tested speed: m over m³/s, if tested.
    pub fn npshr_curve(&self) -> Option<&Curve> {
        self.npshr.as_ref()
    }

    /// Lowest and highest flow the test covers at `speed` (rad/s), m³/s.
    ///
    /// # Errors
    /// [`InputError`] when the speed is not above zero.
    pub fn domain(&self, speed: f64) -> Result<(f64, f64), InputError> {
        let r = self.ratio(speed)?;
        let (low, high) = self.rise.domain();
        Ok((low * r, high * r))
    }

    /// Net pressure rise, Pa, at `flow` (m³/s) and `speed` (rad/s).
    ///
    /// # Errors
    /// [`CurveError::Outside`] when the flow is off the tested range at that speed.
    pub fn rise(&self, flow: f64, speed: f64) -> Result<f64, CurveError> {
        let r = self.ratio(speed)?;
        Ok(r * r * at(&self.rise, flow, r)?.0)
    }

    /// Slope of the pressure rise, Pa/(m³/s), at `flow` (m³/s) and `speed` (rad/s).
    ///
    /// # Errors
    /// As [`PumpCurve::rise`].
    pub fn rise_slope(&self, flow: f64, speed: f64) -> Result<f64, CurveError> {
        let r = self.ratio(speed)?;
        Ok(r * at(&self.rise, flow, r)?.1)
    }

    /// Shaft power, W, at `flow` (m³/s) and `speed` (rad/s).
    ///
    /// # Errors
    /// [`CurveError::NotTested`] without power points, [`CurveError::Outside`] off the tested range.
    pub fn power(&self, flow: f64, speed: f64) -> Result<f64, CurveError> {
        let r = self.ratio(speed)?;
        let curve = self
            .power
            .as_ref()
            .ok_or(CurveError::NotTested("shaft power"))?;
        Ok(r * r * r * at(curve, flow, r)?.0)
    }

    /// NPSH required, m, at `flow` (m³/s) and `speed` (rad/s).
    ///
    /// # Errors
    /// [`CurveError::NotTested`] without NPSH points, [`CurveError::Outside`] off the tested range.
    pub fn npshr(&self, flow: f64, speed: f64) -> Result<f64, CurveError> {
        let r = self.ratio(speed)?;
        let curve = self.npshr.as_ref().ok_or(CurveError::NotTested("NPSH"))?;
        Ok(r * r * at(curve, flow, r)?.0)
    }

    /// Efficiency (water power over shaft power, 0 to 1) at `flow` (m³/s) and `speed` (rad/s).
    ///
    /// # Errors
    /// As [`PumpCurve::power`]; also when the tested power there is not above zero.
    pub fn efficiency(&self, flow: f64, speed: f64) -> Result<f64, CurveError> {
        let shaft = positive("shaft power (W)", self.power(flow, speed)?)?;
        Ok(flow * self.rise(flow, speed)? / shaft)
    }

    /// The largest flow, m³/s, in the tested range where the pump gives the rise `rise` (Pa) at `speed` (rad/s):
    /// the point on the stable branch. `None` when the tested range never gives that rise.
    ///
    /// # Errors
    /// [`InputError`] when the speed is not above zero.
    pub fn flow_at_rise(&self, rise: f64, speed: f64) -> Result<Option<f64>, InputError> {
        let r = self.ratio(speed)?;
        Ok(self.rise.largest_at(rise / (r * r)).map(|q| q * r))
    }

    /// The speed, rad/s, at which the pump gives `rise` (Pa) at `flow` (m³/s): the tested point that lies on the same
    /// parabola through the origin. `None` when the parabola misses the tested range.
    ///
    /// # Errors
    /// [`InputError`] when flow or rise is not a usable number.
    pub fn speed_for(&self, flow: f64, rise: f64) -> Result<Option<f64>, InputError> {
        crate::error::not_negative("flow (m³/s)", flow)?;
        positive("pressure rise (Pa)", rise)?;
        // Along the parabola rise = c·flow² the tested flow q satisfies f(q) = c q². g falls as q grows on a falling
        // curve, so a bracket between the ends of the domain holds the root.
        let (low, high) = self.rise.domain();
        if flow == 0.0 {
            return Ok((low == 0.0 && self.rise.inside(0.0).0 > 0.0)
                .then(|| self.tested_speed * (rise / self.rise.inside(0.0).0).sqrt()));
        }
        let c = rise / (flow * flow);
        let g = |q: f64| self.rise.inside(q).0 - c * q * q;
        let (mut a, mut b) = (low, high);
        if g(a) < 0.0 || g(b) > 0.0 {
            return Ok(None);
        }
        for _ in 0..200 {
            let mid = 0.5 * (a + b);
            if g(mid) >= 0.0 {
                a = mid;
            } else {
                b = mid;
            }
            if b - a <= f64::EPSILON * high {
                break;
            }
        }
        let q = 0.5 * (a + b);
        Ok((q > 0.0).then(|| self.tested_speed * flow / q))
    }

    /// `stages` like stages one after the other: the same flow, rise and power added. NPSH is that of the first.
    ///
    /// # Errors
    /// [`InputError`] when `stages` is zero.
    pub fn in_series(&self, stages: u32) -> Result<Self, InputError> {
        let n = stage_count(stages)?;
        Ok(Self {
            tested_speed: self.tested_speed,
            rise: self.rise.scaled(1.0, n),
            power: self.power.as_ref().map(|c| c.scaled(1.0, n)),
            npshr: self.npshr.clone(),
        })
    }

    /// `stages` like stages side by side: the same rise, flow and power added. NPSH is that of each at its share.
    ///
    /// # Errors
    /// [`InputError`] when `stages` is zero.
    pub fn in_parallel(&self, stages: u32) -> Result<Self, InputError> {
        let n = stage_count(stages)?;
        Ok(Self {
            tested_speed: self.tested_speed,
            rise: self.rise.scaled(n, 1.0),
            power: self.power.as_ref().map(|c| c.scaled(n, n)),
            npshr: self.npshr.as_ref().map(|c| c.scaled(n, 1.0)),
        })
    }

    /// The curve with `leak` (m³/s, at the tested speed) more water running back through the wear rings than when it was
    /// tested, or less where it is below zero: the impeller passes what is delivered and what leaks, so what it did
    /// at a flow it now does at that flow less the leak (first-order model; textbook). The leak is taken as growing
    /// with the speed like every flow of the curve.
    ///
    /// # Errors
    /// [`InputError`] when the leak is not finite or takes all of the tested range.
    pub fn with_leak(&self, leak: f64) -> Result<Self, InputError> {
        crate::error::finite("leak through the wear rings (m³/s)", leak)?;
        let lowered = |c: &Curve| c.lowered(leak);
        Ok(Self {
            tested_speed: self.tested_speed,
            rise: lowered(&self.rise)?,
            power: self.power.as_ref().map(lowered).transpose()?,
            npshr: self.npshr.as_ref().map(lowered).transpose()?,
        })
    }

    /// The curve with the impeller turned down to `diameter_ratio` of its tested diameter, by the whole-ratio law:
    /// flow with the ratio, rise with its square, power with its cube. NPSH required is left as it is at the scaled
    /// flow. The law is rough: real head falls more than it says, so cut less than it asks for and test.
    ///
    /// # Errors
    /// [`InputError`] unless the ratio is between 0.75 and 1 (trims beyond 80 to 85 % of full diameter are not common
    /// practice; below 75 % the law means nothing).
    pub fn trimmed(&self, diameter_ratio: f64) -> Result<Self, InputError> {
        let r = crate::affinity::trim_ratio(diameter_ratio)?;
        Ok(Self {
            tested_speed: self.tested_speed,
            rise: self.rise.scaled(r, r * r),
            power: self.power.as_ref().map(|c| c.scaled(r, r * r * r)),
            npshr: self.npshr.as_ref().map(|c| c.scaled(r, 1.0)),
        })
    }

    /// Where, at one speed (rad/s), this curve falls from above `other` to below it: flow (m³/s) and rise (Pa). Of a pump with
    /// a changeover valve, with the curve in series for `self` and that in parallel for `other`, below this flow series gives
    /// more and above it parallel does. `None` where the curves do not cross so inside the flows tested of both; the
    /// largest such flow where they do so more than once.
    ///
    /// # Errors
    /// [`InputError`] when the speed is not above zero.
    pub fn falls_below(&self, other: &Self, speed: f64) -> Result<Option<(f64, f64)>, InputError> {
        const PARTS: u32 = 32;
        let (low_a, high_a) = self.domain(speed)?;
        let (low_b, high_b) = other.domain(speed)?;
        let (low, high) = (low_a.max(low_b), high_a.min(high_b));
        let knots = |c: &Self| {
            let r = speed / c.tested_speed;
            c.rise
                .abscissae()
                .iter()
                .map(move |q| q * r)
                .collect::<Vec<f64>>()
        };
        let mut flows = knots(self);
        flows.extend(knots(other));
        flows.extend([low, high]);
        flows.retain(|q| *q >= low && *q <= high);
        flows.sort_by(f64::total_cmp);
        let over = |q: f64| match (self.rise(q, speed), other.rise(q, speed)) {
            (Ok(a), Ok(b)) => Some(a - b),
            _ => None,
        };
        let mut found = None;
        for w in flows.windows(2) {
            for k in 0..PARTS {
                let at = |k: u32| w[0] + (w[1] - w[0]) * f64::from(k) / f64::from(PARTS);
                let (mut a, mut b) = (at(k), at(k + 1).min(w[1]));
                let (Some(fa), Some(fb)) = (over(a), over(b)) else {
                    continue;
                };
                if !(fa > 0.0 && fb <= 0.0) {
                    continue;
                }
                for _ in 0..200 {
                    let mid = 0.5 * (a + b);
                    if mid <= a || mid >= b {
                        break;
                    }
                    match over(mid) {
                        Some(f) if f > 0.0 => a = mid,
                        _ => b = mid,
                    }
                }
                found = self.rise(b, speed).ok().map(|p| (b, p));
            }
        }
        Ok(found)
    }

    /// Speed ratio to the tested speed.
    fn ratio(&self, speed: f64) -> Result<f64, InputError> {
        Ok(positive("speed (rad/s)", speed)? / self.tested_speed)
    }
}

/// A tested curve read at `flow` for the speed ratio `r`; the error speaks in flows at that speed.
fn at(curve: &Curve, flow: f64, r: f64) -> Result<(f64, f64), CurveError> {
    let (low, high) = curve.domain();
    let mut q = flow / r;
    // Carrying a domain end to another speed and back may miss the end by rounding; that is not off the curve.
    if q > high && flow <= high * r {
        q = high;
    }
    if q < low && flow >= low * r {
        q = low;
    }
    curve.value_and_slope(q).map_err(|_| CurveError::Outside {
        at: flow,
        lowest: low * r,
        highest: high * r,
    })
}

/// The number of stages as a factor.
fn stage_count(stages: u32) -> Result<f64, InputError> {
    positive("number of stages", f64::from(stages))
}
