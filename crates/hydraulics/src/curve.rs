//! A smooth curve through tested points that keeps their shape.
//!
//! The interpolant is the monotone piecewise cubic of Fritsch and Butland (1984), known as PCHIP: its slopes are
//! weighted harmonic means of the neighbouring secants, so it never overshoots a tested point and is monotone
//! wherever the points are. A pump curve drawn with it has no bumps that were not measured.
//!
//! Invariants: the abscissae are strictly increasing and finite; nothing is ever extrapolated, a question outside the
//! tested range is answered with [`CurveError::Outside`].
//!
//! What it does not do: fitting, smoothing of scattered points, or judging whether the points are good.

use crate::error::InputError;
use thiserror::Error;

/// Why a curve cannot answer.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum CurveError {
    /// The points or the argument are no usable numbers.
    #[error(transparent)]
    Input(#[from] InputError),
    /// The abscissa lies outside the tested range.
    #[error("{at} is outside the tested range {lowest} to {highest}")]
    Outside {
        /// The abscissa asked for, in the curve's own unit.
        at: f64,
        /// Lowest tested abscissa.
        lowest: f64,
        /// Highest tested abscissa.
        highest: f64,
    },
    /// The curve holds no such quantity (no power or NPSH was tested).
    #[error("no {0} was tested for this curve")]
    NotTested(&'static str),
}

/// A shape-preserving piecewise cubic through points.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    x: Vec<f64>,
    y: Vec<f64>,
    slope: Vec<f64>,
}

impl Curve {
    /// Builds the curve from abscissae and ordinates in any units.
    ///
    /// # Errors
    /// [`InputError`] when there are fewer than two points, the lists differ in length, a number is not finite, or the
    /// abscissae do not strictly increase.
    pub fn new(x: Vec<f64>, y: Vec<f64>) -> Result<Self, InputError> {
        if x.len() != y.len() {
            return Err(InputError::Shape {
                quantity: "curve points",
                expected: "as many ordinates as abscissae",
            });
        }
        if x.len() < 2 {
            return Err(InputError::Shape {
                quantity: "curve points",
                expected: "at least two points",
            });
        }
        if x.iter().chain(&y).any(|v| !v.is_finite()) {
            return Err(InputError::Shape {
                quantity: "curve points",
                expected: "finite numbers only",
            });
        }
        if x.windows(2).any(|w| w[0] >= w[1]) {
            return Err(InputError::Shape {
                quantity: "curve points",
                expected: "abscissae that strictly increase (sort the points, drop doubles)",
            });
        }
        let slope = slopes(&x, &y);
        Ok(Self { x, y, slope })
    }

    /// The tested abscissae.
    pub fn abscissae(&self) -> &[f64] {
        &self.x
    }

    /// The tested ordinates.
    pub fn ordinates(&self) -> &[f64] {
        &self.y
    }

    /// The slopes at the tested points, ordinate unit per abscissa unit.
    pub fn slopes(&self) -> &[f64] {
        &self.slope
    }

    /// Lowest and highest tested abscissa.
    pub fn domain(&self) -> (f64, f64) {
        (self.x[0], self.x[self.x.len() - 1])
    }

    /// The ordinate at `x`.
    ///
    /// # Errors
    /// [`CurveError::Outside`] outside the tested range (a NaN counts as outside).
    pub fn value(&self, x: f64) -> Result<f64, CurveError> {
        self.value_and_slope(x).map(|(v, _)| v)
    }

    /// The ordinate and the slope at `x`.
    ///
    /// # Errors
    /// [`CurveError::Outside`] outside the tested range.
    pub fn value_and_slope(&self, x: f64) -> Result<(f64, f64), CurveError> {
        let (lowest, highest) = self.domain();
        if !(x >= lowest && x <= highest) {
            return Err(CurveError::Outside {
                at: x,
                lowest,
                highest,
            });
        }
        Ok(self.inside(x))
    }

    /// The ordinate and slope for an `x` known to be inside the range.
    pub(crate) fn inside(&self, x: f64) -> (f64, f64) {
        let above = self.x.partition_point(|&k| k <= x);
        self.on_piece(above.clamp(1, self.x.len() - 1) - 1, x)
    }

    /// The cubic of piece `i` evaluated at `x`.
    fn on_piece(&self, i: usize, x: f64) -> (f64, f64) {
        let h = self.x[i + 1] - self.x[i];
        let s = x - self.x[i];
        let secant = (self.y[i + 1] - self.y[i]) / h;
        let (d0, d1) = (self.slope[i], self.slope[i + 1]);
        // Power form about the left point: y + s (d0 + s (c2 + s c3)).
        let c2 = (3.0 * secant - 2.0 * d0 - d1) / h;
        let c3 = (d0 + d1 - 2.0 * secant) / (h * h);
        (
            self.y[i] + s * (d0 + s * (c2 + s * c3)),
            d0 + s * (2.0 * c2 + s * 3.0 * c3),
        )
    }

    /// The curve with its abscissae lowered by `by`. What falls below zero is cut off, with a point put in at zero; where
    /// nothing is left but that point there is no curve.
    ///
    /// # Errors
    /// [`InputError`] when fewer than two points are left.
    pub fn lowered(&self, by: f64) -> Result<Self, InputError> {
        let mut x = Vec::with_capacity(self.x.len() + 1);
        let mut y = Vec::with_capacity(self.x.len() + 1);
        let (low, high) = self.domain();
        if low < by && by < high {
            x.push(0.0);
            y.push(self.inside(by).0);
        }
        for (a, b) in self.x.iter().zip(&self.y) {
            if *a > by || *a == by && x.is_empty() {
                x.push(a - by);
                y.push(*b);
            }
        }
        Self::new(x, y)
    }

    /// The largest abscissa in the tested range where the curve has the ordinate `y`: for a pump curve, the flow on
    /// the stable (falling) branch. `None` when the tested range never reaches `y`.
    pub fn largest_at(&self, y: f64) -> Option<f64> {
        if !y.is_finite() {
            return None;
        }
        (0..self.x.len() - 1)
            .rev()
            .find_map(|i| self.at_on_piece(i, y, true))
    }

    /// Every abscissa in the tested range where the curve crosses or touches the ordinate `y`, rising order.
    pub fn all_at(&self, y: f64) -> Vec<f64> {
        let mut found: Vec<f64> = Vec::new();
        for i in 0..self.x.len() - 1 {
            if let Some(x) = self.at_on_piece(i, y, false)
                && found.last().is_none_or(|&last| x > last)
            {
                found.push(x);
            }
        }
        found
    }

    /// Solves piece `i` for the ordinate `y`. A piece is monotone, so there is at most one root, unless it is level.
    fn at_on_piece(&self, i: usize, y: f64, from_right: bool) -> Option<f64> {
        let (a, b) = (self.y[i], self.y[i + 1]);
        let (xa, xb) = (self.x[i], self.x[i + 1]);
        if from_right && y == b {
            return Some(xb);
        }
        if y == a {
            return Some(xa);
        }
        if y == b {
            return Some(xb);
        }
        if (y - a) * (y - b) > 0.0 {
            return None;
        }
        let (mut low, mut high) = (xa, xb);
        let rising = b > a;
        let mut x = xa + (xb - xa) * (y - a) / (b - a);
        for _ in 0..100 {
            let (v, s) = self.on_piece(i, x);
            if v == y {
                break;
            }
            if (v < y) == rising {
                low = x;
            } else {
                high = x;
            }
            let newton = x - (v - y) / s;
            let next = if newton > low && newton < high {
                newton
            } else {
                0.5 * (low + high)
            };
            if (next - x).abs() <= 2.0 * f64::EPSILON * x.abs().max(xb - xa) {
                x = next;
                break;
            }
            x = next;
        }
        Some(x)
    }

    /// The abscissa and ordinate of the highest tested point (the interpolant has no higher value).
    pub fn peak(&self) -> (f64, f64) {
        let mut best = 0;
        for i in 1..self.y.len() {
            if self.y[i] > self.y[best] {
                best = i;
            }
        }
        (self.x[best], self.y[best])
    }

    /// The stretches where the ordinate rises with the abscissa, as (from, to) pairs.
    ///
    /// On a pump's head curve a rising stretch is unstable: two flows share one head, so a pump on it can hunt.
    pub fn rising_stretches(&self) -> Vec<(f64, f64)> {
        let mut out: Vec<(f64, f64)> = Vec::new();
        for i in 0..self.x.len() - 1 {
            if self.y[i + 1] > self.y[i] {
                match out.last_mut() {
                    Some(last) if last.1 == self.x[i] => last.1 = self.x[i + 1],
                    _ => out.push((self.x[i], self.x[i + 1])),
                }
            }
        }
        out
    }

    /// True when every tested point is lower than the one before it.
    pub fn is_strictly_falling(&self) -> bool {
        self.y.windows(2).all(|w| w[1] < w[0])
    }

    /// True when every tested point is higher than the one before it.
    pub fn is_strictly_rising(&self) -> bool {
        self.y.windows(2).all(|w| w[1] > w[0])
    }

    /// The curve with both axes multiplied by positive factors. The interpolant scales exactly, because its slopes
    /// are homogeneous in the secants.
    pub(crate) fn scaled(&self, by_x: f64, by_y: f64) -> Self {
        Self {
            x: self.x.iter().map(|v| v * by_x).collect(),
            y: self.y.iter().map(|v| v * by_y).collect(),
            slope: self.slope.iter().map(|v| v * by_y / by_x).collect(),
        }
    }
}

/// Slopes of the shape-preserving cubic: Fritsch and Butland (1984) inside, the one-sided three-point formula with
/// its shape guard at the ends, as the published PCHIP has it.
fn slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let n = x.len();
    let h: Vec<f64> = x.windows(2).map(|w| w[1] - w[0]).collect();
    let m: Vec<f64> = (0..n - 1).map(|i| (y[i + 1] - y[i]) / h[i]).collect();
    if n == 2 {
        return vec![m[0], m[0]];
    }
    let mut d = vec![0.0; n];
    for k in 1..n - 1 {
        if m[k - 1] * m[k] > 0.0 {
            let w1 = 2.0 * h[k] + h[k - 1];
            let w2 = h[k] + 2.0 * h[k - 1];
            d[k] = (w1 + w2) / (w1 / m[k - 1] + w2 / m[k]);
        }
    }
    d[0] = end_slope(h[0], h[1], m[0], m[1]);
    d[n - 1] = end_slope(h[n - 2], h[n - 3], m[n - 2], m[n - 3]);
    d
}

/// The slope at an end point from the two nearest secants.
fn end_slope(h0: f64, h1: f64, m0: f64, m1: f64) -> f64 {
    let d = ((2.0 * h0 + h1) * m0 - h0 * m1) / (h0 + h1);
    if d * m0 <= 0.0 {
        0.0
    } else if m0 * m1 <= 0.0 && d.abs() > 3.0 * m0.abs() {
        3.0 * m0
    } else {
        d
    }
}
