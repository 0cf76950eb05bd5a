//! A toleranced value as a formula of its inputs, to be worked out many times over.
//!
//! Purpose: Monte-Carlo runs. A [`Tol`] keeps the operations it came from; a [`Formula`] is those operations in a row,
//! each done once, for inputs that stand anywhere within their limits.
//! Invariants: with every input at the centre of its limits it gives [`Tol::centre`], at the corners values within
//! [`Tol::lo`] and [`Tol::hi`], both but for rounding. Working it out neither allocates nor fails; the result may be
//! infinite where the expression overflows.
//! Not here: how inputs are distributed, and drawing them.
//!
//! Where a value went through a function that is not kept ([`Tol::monotone`]) or is too deep, the formula is the straight
//! line through the centre with the slopes that root-sum-square uses; [`Formula::is_exact`] says so.

use crate::tol::{InputId, Node, Tol, What};
use std::collections::HashMap;
use std::sync::Arc;

/// A part that is not looked into counts as a number if its bounds are this narrow for its size: they hold rounding only.
const ROUNDING: f64 = 1e-12;

#[derive(Clone, Debug, PartialEq)]
enum Step {
    Number(f64),
    /// Which deviation, centre and half-width of the limits.
    Input(u32, f64, f64),
    Add(u32, u32),
    Sub(u32, u32),
    Mul(u32, u32),
    Div(u32, u32),
    Min(u32, u32),
    Neg(u32),
    Abs(u32),
    WholePower(u32, i32),
    Power(u32, f64),
    /// An earlier result and so much of a deviation more.
    Along(u32, u32, f64),
}

/// The operations of one value. See the module's header.
///
/// ```
/// use cutwater_quantity::{Formula, InputId, Tol};
/// let bore = Tol::symmetric(InputId(7), 5.502, 0.0005).unwrap();
/// let hub = Tol::with_limits(InputId(9), 5.497, 5.496, 5.497).unwrap();
/// let gap = bore.sub(&hub);
/// let mut inputs = Vec::new();
/// let gap = Formula::of(&gap, &mut inputs);
/// assert_eq!(inputs, [InputId(7), InputId(9)]);
/// // The bore at its largest, the hub at its smallest.
/// assert!((gap.at(&[1.0, -1.0], &mut Vec::new()) - 0.0065).abs() < 1e-12);
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Formula {
    steps: Vec<Step>,
    exact: bool,
}

impl Formula {
    /// The formula of a value. `inputs` names the deviation each input stands at; inputs that are not in it are added.
    pub fn of(value: &Tol, inputs: &mut Vec<InputId>) -> Self {
        let mut index = |input: InputId| {
            let known = inputs.iter().position(|i| *i == input);
            known.unwrap_or_else(|| {
                inputs.push(input);
                inputs.len() - 1
            }) as u32
        };
        let Some(node) = value.made_of() else {
            // A plain number: its nominal is what was written.
            return Self {
                steps: vec![Step::Number(value.nominal())],
                exact: true,
            };
        };
        let mut steps = Vec::new();
        if write(node, &mut steps, &mut HashMap::new(), &mut index).is_some() {
            return Self { steps, exact: true };
        }
        let mut steps = vec![Step::Number(value.centre())];
        for c in value.contributors() {
            let before = steps.len() as u32 - 1;
            let reach = c.sensitivity * c.half_width;
            steps.push(Step::Along(before, index(c.input), reach));
        }
        Self {
            steps,
            exact: false,
        }
    }

    /// Whether it is the value's own operations and not a straight line in their place.
    pub fn is_exact(&self) -> bool {
        self.exact
    }

    /// Whether it is a plain number.
    pub fn is_number(&self) -> bool {
        matches!(self.steps.as_slice(), [Step::Number(_)])
    }

    /// Its value with each input at its deviation: −1 at the lower limit, 0 at the centre, 1 at the upper limit. An input
    /// without a deviation stands at the centre. `scratch` is working space.
    pub fn at(&self, deviations: &[f64], scratch: &mut Vec<f64>) -> f64 {
        scratch.clear();
        let off = |k: &u32| deviations.get(*k as usize).copied().unwrap_or(0.0);
        for step in &self.steps {
            let of = |k: &u32| scratch[*k as usize];
            let v = match step {
                Step::Number(v) => *v,
                Step::Input(k, centre, half) => centre + half * off(k),
                Step::Add(a, b) => of(a) + of(b),
                Step::Sub(a, b) => of(a) - of(b),
                Step::Mul(a, b) => of(a) * of(b),
                Step::Div(a, b) => of(a) / of(b),
                Step::Min(a, b) => of(a).min(of(b)),
                Step::Neg(a) => -of(a),
                Step::Abs(a) => of(a).abs(),
                Step::WholePower(a, n) => of(a).powi(*n),
                Step::Power(a, p) => of(a).max(0.0).powf(*p),
                Step::Along(a, k, reach) => of(a) + reach * off(k),
            };
            scratch.push(v);
        }
        scratch.last().copied().unwrap_or(f64::NAN)
    }
}

/// Writes the operations of a node; `None` where a part is not known.
fn write(
    node: &Arc<Node>,
    steps: &mut Vec<Step>,
    known: &mut HashMap<usize, u32>,
    index: &mut impl FnMut(InputId) -> u32,
) -> Option<u32> {
    let key = Arc::as_ptr(node) as usize;
    if let Some(done) = known.get(&key) {
        return Some(*done);
    }
    let (lo, hi) = node.limits();
    let step = match node.what() {
        What::Anything => {
            if hi - lo > ROUNDING * lo.abs().max(hi.abs()) {
                return None;
            }
            Step::Number(lo + (hi - lo) / 2.0)
        }
        What::Input(input) => Step::Input(index(*input), lo + (hi - lo) / 2.0, (hi - lo) / 2.0),
        What::Add(a, b) => Step::Add(
            write(a, steps, known, index)?,
            write(b, steps, known, index)?,
        ),
        What::Sub(a, b) => Step::Sub(
            write(a, steps, known, index)?,
            write(b, steps, known, index)?,
        ),
        What::Mul(a, b) => Step::Mul(
            write(a, steps, known, index)?,
            write(b, steps, known, index)?,
        ),
        What::Div(a, b) => Step::Div(
            write(a, steps, known, index)?,
            write(b, steps, known, index)?,
        ),
        What::Min(a, b) => Step::Min(
            write(a, steps, known, index)?,
            write(b, steps, known, index)?,
        ),
        What::Neg(a) => Step::Neg(write(a, steps, known, index)?),
        What::Abs(a) => Step::Abs(write(a, steps, known, index)?),
        What::WholePower(a, n) => Step::WholePower(write(a, steps, known, index)?, *n),
        What::Power(a, p) => Step::Power(write(a, steps, known, index)?, *p),
    };
    steps.push(step);
    let at = steps.len() as u32 - 1;
    known.insert(key, at);
    Some(at)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn input(id: u64, lo: f64, hi: f64) -> Tol {
        Tol::with_limits(InputId(id), 0.5 * (lo + hi), lo, hi).unwrap()
    }

    #[test]
    fn an_input_used_twice_is_one_variable() {
        let a = input(1, 2.0, 4.0);
        let square = a.mul(&a).add(&a.neg());
        let mut inputs = Vec::new();
        let f = Formula::of(&square, &mut inputs);
        assert!(f.is_exact() && inputs == [InputId(1)]);
        for d in [-1.0, -0.25, 0.0, 0.5, 1.0] {
            let x: f64 = 3.0 + d;
            assert!((f.at(&[d], &mut Vec::new()) - (x * x - x)).abs() < 1e-12);
        }
    }

    #[test]
    fn a_function_that_is_not_kept_becomes_a_straight_line_and_says_so() {
        let t = input(4, 10.0, 20.0);
        let v = Tol::monotone("cube", &[(&t, crate::tol::Direction::Rising)], |x| {
            Ok::<f64, ()>(x[0].powi(3))
        })
        .unwrap();
        let mut inputs = Vec::new();
        let f = Formula::of(&v, &mut inputs);
        assert!(!f.is_exact());
        // The secant 10³ to 20³ through the value at 15.
        let want = 15f64.powi(3) + 0.5 * (8000.0 - 1000.0) / 2.0;
        assert!((f.at(&[0.5], &mut Vec::new()) - want).abs() < 1e-9);
    }

    #[test]
    fn a_plain_number_has_no_inputs() {
        let mut inputs = Vec::new();
        let f = Formula::of(&Tol::exact(3.0).mul(&Tol::exact(1.1)), &mut inputs);
        assert!(f.is_number() && inputs.is_empty());
        assert_eq!(f.at(&[], &mut Vec::new()), 3.0 * 1.1);
    }
}
