//! Toleranced values: a nominal, sound worst-case bounds, and what each toleranced input contributes.
//!
//! Purpose: carry tolerances through every expression so that the bounds hold for every combination of the inputs within
//! their limits, and so that one input used twice is one variable.
//! Invariants: `lo <= nominal <= hi`; for every combination of inputs within their limits the exact value of the expression
//! lies in `[lo, hi]`; bounds of a linear expression are exact but for rounding outwards; `a - a` is exactly zero wide.
//! Not here: units (values are SI, or any one unit), distributions, and the sources of the limits.
//!
//! How: beside ordinary interval arithmetic, rounded outwards, a value keeps the interval of its derivative with respect to
//! each input, and an enclosure of its value with every input at the centre of its limits. The mean value theorem then
//! gives a second enclosure, `f(centre) + Σ [derivative]·[half-width]`, which is exact for linear expressions; the two are
//! intersected. Where an input is used more than once and the value is not linear in it, neither is exact, so the
//! operations a value came from are kept too: an input whose derivative keeps its sign is set to the end that makes the
//! value extreme, and the value is worked out again there (the monotonicity test). Bounds of an expression whose
//! slopes show that it rises or falls with every input are so those of its extreme corners, but for rounding. A value number, made from the operations
//! and inputs a value came from, recognises the same value met again, so that `x - x` and `x / x` are exact also where `x`
//! is not linear.
//! Source of the method: R. E. Moore, R. B. Kearfott, M. J. Cloud, *Introduction to Interval Analysis*, SIAM 2009,
//! chapters 2, 5 and 6 (from memory), the monotonicity test in 6.4; for `min`, `max` and `abs` Lebourg's mean value theorem with the hull of slopes.
//!
//! A stated nominal that lies outside its own limits (a shaft 45 f7) is a name, not a size: such an input is worked with at
//! the centre of its limits.

use std::collections::HashMap;
use std::fmt;
use std::sync::Arc;

/// Names one toleranced input. Two values with the same id are the same dimension of the same part.
#[derive(Copy, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct InputId(pub u64);

/// Why a toleranced value could not be made. Numbers are in the unit of the value (SI in the compiler).
#[derive(Copy, Clone, PartialEq, Debug)]
pub enum TolError {
    /// The divisor can be zero within its limits.
    DivisionByZero {
        /// Lower bound of the divisor; both bounds are 0 for a plain number.
        lo: f64,
        /// Upper bound of the divisor.
        hi: f64,
    },
    /// A root, or a power that is not whole, of a value that can be negative within its limits.
    RootOfNegative {
        /// Lower bound of the value.
        lo: f64,
        /// Upper bound of the value.
        hi: f64,
    },
    /// The lower limit is above the upper limit, or a half-width is negative.
    LimitsReversed {
        /// Lower limit given.
        lo: f64,
        /// Upper limit given.
        hi: f64,
    },
    /// A number is infinite or not a number.
    NotFinite,
}

impl fmt::Display for TolError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::DivisionByZero { lo, hi } if lo == hi => f.write_str("the divisor is zero"),
            Self::DivisionByZero { .. } => f.write_str("the divisor can be zero within its limits"),
            Self::RootOfNegative { hi, .. } if *hi < 0.0 => {
                f.write_str("this power needs a value that is not negative")
            }
            Self::RootOfNegative { .. } => f.write_str(
                "this power needs a value that is not negative, and within its limits it can be",
            ),
            Self::LimitsReversed { .. } => {
                f.write_str("the lower limit is above the upper limit; exchange them")
            }
            Self::NotFinite => f.write_str("the number is too large to compute with"),
        }
    }
}

impl std::error::Error for TolError {}

/// Answer to a question about values that are known within limits only.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Debug)]
pub enum Truth {
    /// It holds for every combination within the limits.
    Yes,
    /// It holds for no combination within the limits.
    No,
    /// It holds for some and not for others, or the bounds are too wide to tell.
    Depends,
}

/// Whether a function goes up or down when one of its arguments goes up.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Debug)]
pub enum Direction {
    /// The function does not fall when the argument rises.
    Rising,
    /// The function does not rise when the argument rises.
    Falling,
}

/// Root-sum-square range about the value at the centre of all limits.
#[derive(Copy, Clone, PartialEq, Debug)]
pub struct Spread {
    /// Value with every input at the centre of its limits.
    pub centre: f64,
    /// Root of the sum of squares of the contributions, each input's half-width times its slope.
    pub half_width: f64,
    /// `centre - half_width`, never below the worst case.
    pub low: f64,
    /// `centre + half_width`, never above the worst case.
    pub high: f64,
}

/// What one input contributes to the width of a value.
#[derive(Copy, Clone, PartialEq, Debug)]
pub struct Contribution {
    /// The input.
    pub input: InputId,
    /// Slope of the value with respect to the input, at the centre of all limits.
    pub sensitivity: f64,
    /// Half the width of the input's limits.
    pub half_width: f64,
    /// Size of the contribution: slope times half-width, not negative.
    pub effect: f64,
    /// Share of the sum of squares, 0 to 1.
    pub share: f64,
}

/// A closed interval; bounds may be infinite, never NaN.
#[derive(Copy, Clone, PartialEq, Debug)]
struct Interval {
    lo: f64,
    hi: f64,
}

#[derive(Copy, Clone, PartialEq, Debug)]
struct Term {
    input: InputId,
    /// Slope at the centre.
    slope: f64,
    /// Slopes over all of the limits.
    slopes: Interval,
    /// Half-width of the input's limits.
    radius: f64,
}

/// A toleranced value. See the module's header for what it promises.
///
/// ```
/// use cutwater_quantity::{InputId, Tol};
/// let bore = Tol::symmetric(InputId(1), 5.502, 0.0005).unwrap();
/// let hub = Tol::with_limits(InputId(2), 5.497, 5.496, 5.497).unwrap();
/// let clearance = bore.sub(&hub);
/// assert!((clearance.lo() - 0.0045).abs() < 1e-12);
/// assert!((clearance.hi() - 0.0065).abs() < 1e-12);
/// let nothing = bore.sub(&bore);
/// assert_eq!((nothing.lo(), nothing.hi()), (0.0, 0.0));
/// ```
#[derive(Clone, Debug)]
pub struct Tol {
    nominal: f64,
    bounds: Interval,
    /// Encloses the value with all inputs at the centre of their limits; a few roundings wide.
    centre: Interval,
    /// Sorted by input; empty for a plain number.
    terms: Vec<Term>,
    /// Value number: equal for values made by the same operations from the same inputs.
    id: u64,
    /// How far decimal numbers rounded to binary can have moved the value.
    rounding: f64,
    /// What it was made of; `None` for a plain number.
    made_of: Option<Arc<Node>>,
}

/// Values are equal when they came from the same operations on the same inputs and have the same numbers.
impl PartialEq for Tol {
    fn eq(&self, other: &Self) -> bool {
        // `made_of` is left out: `id` stands for it.
        self.id == other.id
            && self.nominal == other.nominal
            && self.bounds == other.bounds
            && self.centre == other.centre
            && self.terms == other.terms
            && self.rounding == other.rounding
    }
}

// ---- What a value was made of ---------------------------------------------------------------------------------------

/// An operation and its operands, kept so that a value can be worked out again on a part of the limits.
pub(crate) struct Node {
    /// The value's bounds over all of the limits: what is worked out on a part of them never leaves these.
    bounds: Interval,
    /// Operations from here down to the inputs, along the longest way.
    depth: u16,
    what: What,
}

pub(crate) enum What {
    /// An input.
    Input(InputId),
    /// Anything within the bounds: a number, or a part that is not looked into.
    Anything,
    Add(Arc<Node>, Arc<Node>),
    Sub(Arc<Node>, Arc<Node>),
    Mul(Arc<Node>, Arc<Node>),
    Div(Arc<Node>, Arc<Node>),
    Min(Arc<Node>, Arc<Node>),
    Neg(Arc<Node>),
    Abs(Arc<Node>),
    WholePower(Arc<Node>, i32),
    Power(Arc<Node>, f64),
}

/// Short: a part may be used in many places, and each would write it out.
impl fmt::Debug for Node {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Node {{ {:?}, depth {} }}", self.bounds, self.depth)
    }
}

/// Deeper expressions are cut: what lies below counts as anything within its bounds. This keeps work and stack small.
const DEEPEST: u16 = 64;

impl What {
    fn depth(&self) -> u16 {
        match self {
            What::Input(_) | What::Anything => 0,
            What::Add(a, b)
            | What::Sub(a, b)
            | What::Mul(a, b)
            | What::Div(a, b)
            | What::Min(a, b) => a.depth.max(b.depth) + 1,
            What::Neg(a) | What::Abs(a) | What::WholePower(a, _) | What::Power(a, _) => a.depth + 1,
        }
    }
}

impl Node {
    /// Its bounds over all of the limits.
    pub(crate) fn limits(&self) -> (f64, f64) {
        (self.bounds.lo, self.bounds.hi)
    }

    /// How it was made.
    pub(crate) fn what(&self) -> &What {
        &self.what
    }

    fn new(bounds: Interval, what: What) -> Arc<Self> {
        let depth = what.depth();
        let (depth, what) = if depth > DEEPEST {
            (0, What::Anything)
        } else {
            (depth, what)
        };
        Arc::new(Self {
            bounds,
            depth,
            what,
        })
    }

    /// Encloses the value with each input somewhere in its part of `parts` (sorted by input).
    fn on(
        self: &Arc<Self>,
        parts: &[(InputId, Interval)],
        known: &mut HashMap<usize, Interval>,
    ) -> Interval {
        match &self.what {
            What::Anything => return self.bounds,
            What::Input(input) => {
                return parts
                    .binary_search_by_key(input, |part| part.0)
                    .map_or(self.bounds, |at| parts[at].1);
            }
            _ => {}
        }
        // A part used in many places is worked out once.
        let key = Arc::as_ptr(self) as usize;
        if let Some(done) = known.get(&key) {
            return *done;
        }
        let mut of = |node: &Arc<Node>| node.on(parts, known);
        let out = match &self.what {
            What::Anything | What::Input(_) => self.bounds,
            What::Add(a, b) => of(a).add(of(b)),
            What::Sub(a, b) => of(a).sub(of(b)),
            What::Mul(a, b) => of(a).mul(of(b)),
            What::Div(a, b) => {
                let divisor = of(b);
                if divisor.contains_zero() {
                    self.bounds
                } else {
                    of(a).div(divisor)
                }
            }
            What::Min(a, b) => of(a).min(of(b)),
            What::Neg(a) => of(a).neg(),
            What::Abs(a) => of(a).abs(),
            What::WholePower(a, n) => {
                let base = of(a);
                if *n < 0 && base.contains_zero() {
                    self.bounds
                } else {
                    base.powi(*n)
                }
            }
            What::Power(a, p) => {
                let base = of(a);
                let base = Interval {
                    lo: base.lo.max(0.0),
                    hi: base.hi.max(0.0),
                };
                if *p == 0.5 {
                    base.sqrt()
                } else {
                    base.powf(*p)
                }
            }
        };
        let out = out.intersect(self.bounds);
        known.insert(key, out);
        out
    }
}

// ---- Directed rounding ----------------------------------------------------------------------------------------------

/// The rounding error of `a + b`, exact unless something overflowed (then NaN).
fn sum_error(a: f64, b: f64, sum: f64) -> f64 {
    let b_part = sum - a;
    (a - (sum - b_part)) + (b - b_part)
}

fn add_down(a: f64, b: f64) -> f64 {
    let sum = a + b;
    if sum.is_nan() {
        return f64::NEG_INFINITY;
    }
    if a.is_infinite() || b.is_infinite() {
        return sum;
    }
    let error = sum_error(a, b, sum);
    if error >= 0.0 { sum } else { sum.next_down() }
}

fn add_up(a: f64, b: f64) -> f64 {
    -add_down(-a, -b)
}

/// Multiplying or dividing by these is exact unless the result is subnormal or overflows.
fn is_power_of_two(x: f64) -> bool {
    const MANTISSA: u64 = (1 << 52) - 1;
    x.is_normal() && x.to_bits() & MANTISSA == 0
}

fn step_down(x: f64) -> f64 {
    if x.is_nan() {
        f64::NEG_INFINITY
    } else {
        x.next_down()
    }
}

fn step_up(x: f64) -> f64 {
    -step_down(-x)
}

fn mul_exact(a: f64, b: f64, product: f64) -> bool {
    a.abs() == 1.0
        || b.abs() == 1.0
        || (product.is_normal() && (is_power_of_two(a) || is_power_of_two(b)))
}

fn mul_down(a: f64, b: f64) -> f64 {
    // Zero times an unbounded slope is zero: the bound is never reached.
    if a == 0.0 || b == 0.0 {
        return 0.0;
    }
    let product = a * b;
    if mul_exact(a, b, product) {
        product
    } else {
        step_down(product)
    }
}

fn mul_up(a: f64, b: f64) -> f64 {
    -mul_down(-a, b)
}

fn div_down(a: f64, b: f64) -> f64 {
    if a == 0.0 {
        return 0.0;
    }
    let quotient = a / b;
    if b.abs() == 1.0 || (is_power_of_two(b) && quotient.is_normal()) {
        quotient
    } else {
        step_down(quotient)
    }
}

fn div_up(a: f64, b: f64) -> f64 {
    -div_down(-a, b)
}

impl Interval {
    const ZERO: Self = Self { lo: 0.0, hi: 0.0 };

    fn point(x: f64) -> Self {
        if x.is_nan() {
            Self {
                lo: f64::NEG_INFINITY,
                hi: f64::INFINITY,
            }
        } else {
            Self { lo: x, hi: x }
        }
    }

    fn add(self, other: Self) -> Self {
        Self {
            lo: add_down(self.lo, other.lo),
            hi: add_up(self.hi, other.hi),
        }
    }

    fn neg(self) -> Self {
        Self {
            lo: -self.hi,
            hi: -self.lo,
        }
    }

    fn sub(self, other: Self) -> Self {
        self.add(other.neg())
    }

    fn mul(self, other: Self) -> Self {
        let pairs = [
            (self.lo, other.lo),
            (self.lo, other.hi),
            (self.hi, other.lo),
            (self.hi, other.hi),
        ];
        Self {
            lo: pairs
                .iter()
                .map(|(a, b)| mul_down(*a, *b))
                .fold(f64::INFINITY, f64::min),
            hi: pairs
                .iter()
                .map(|(a, b)| mul_up(*a, *b))
                .fold(f64::NEG_INFINITY, f64::max),
        }
    }

    /// `other` must not hold zero.
    fn div(self, other: Self) -> Self {
        let pairs = [
            (self.lo, other.lo),
            (self.lo, other.hi),
            (self.hi, other.lo),
            (self.hi, other.hi),
        ];
        Self {
            lo: pairs
                .iter()
                .map(|(a, b)| div_down(*a, *b))
                .fold(f64::INFINITY, f64::min),
            hi: pairs
                .iter()
                .map(|(a, b)| div_up(*a, *b))
                .fold(f64::NEG_INFINITY, f64::max),
        }
    }

    fn hull(self, other: Self) -> Self {
        Self {
            lo: self.lo.min(other.lo),
            hi: self.hi.max(other.hi),
        }
    }

    /// The common part. Both enclose the same value, so it is not empty; if arithmetic of the platform made it so, `self`.
    fn intersect(self, other: Self) -> Self {
        let (lo, hi) = (self.lo.max(other.lo), self.hi.min(other.hi));
        if lo <= hi { Self { lo, hi } } else { self }
    }

    fn abs(self) -> Self {
        if self.lo >= 0.0 {
            self
        } else if self.hi <= 0.0 {
            self.neg()
        } else {
            Self {
                lo: 0.0,
                hi: self.magnitude(),
            }
        }
    }

    fn contains_zero(self) -> bool {
        self.lo <= 0.0 && self.hi >= 0.0
    }

    fn magnitude(self) -> f64 {
        self.lo.abs().max(self.hi.abs())
    }

    fn middle(self) -> f64 {
        if self.lo == self.hi {
            self.lo
        } else {
            self.lo + (self.hi - self.lo) / 2.0
        }
    }

    fn min(self, other: Self) -> Self {
        Self {
            lo: self.lo.min(other.lo),
            hi: self.hi.min(other.hi),
        }
    }

    /// Square root; the lower bound must not be negative.
    fn sqrt(self) -> Self {
        let root = |x: f64, step: fn(f64) -> f64| {
            if x == 0.0 || x == 1.0 || x.is_infinite() {
                x
            } else {
                step(x.sqrt())
            }
        };
        Self {
            lo: root(self.lo, step_down).max(0.0),
            hi: root(self.hi, step_up),
        }
    }

    /// Whole power; zero must be outside when `n` is negative.
    fn powi(self, n: i32) -> Self {
        if n == 0 {
            return Self::point(1.0);
        }
        let size = n.unsigned_abs();
        // Sizes are raised, which keeps every product monotone; signs are put back after.
        let raise = |x: f64, mul: fn(f64, f64) -> f64| {
            let mut out = 1.0;
            for _ in 0..size {
                out = mul(out, x.abs());
            }
            out
        };
        let positive = if size.is_multiple_of(2) {
            let smallest = if self.contains_zero() {
                0.0
            } else {
                self.lo.abs().min(self.hi.abs())
            };
            Self {
                lo: raise(smallest, mul_down).max(0.0),
                hi: raise(self.magnitude(), mul_up),
            }
        } else {
            let signed = |x: f64, toward_zero: fn(f64, f64) -> f64, away: fn(f64, f64) -> f64| {
                if x < 0.0 {
                    -raise(x, away)
                } else {
                    raise(x, toward_zero)
                }
            };
            Self {
                lo: signed(self.lo, mul_down, mul_up),
                hi: signed(self.hi, mul_up, mul_down),
            }
        };
        if n > 0 {
            positive
        } else {
            Self::point(1.0).div(positive)
        }
    }

    /// Any power of an interval that is not negative.
    fn powf(self, p: f64) -> Self {
        // The platform's power function is good to about one unit in the last place; four are allowed for.
        const SLACK: usize = 4;
        let end = |x: f64, step: fn(f64) -> f64| {
            if x == 0.0 {
                return if p < 0.0 { f64::INFINITY } else { 0.0 };
            }
            let mut out = x.powf(p);
            for _ in 0..SLACK {
                out = step(out);
            }
            out.max(0.0)
        };
        let (low_end, high_end) = if p < 0.0 {
            (self.hi, self.lo)
        } else {
            (self.lo, self.hi)
        };
        Self {
            lo: end(low_end, step_down),
            hi: end(high_end, step_up),
        }
    }
}

// ---- Value numbers --------------------------------------------------------------------------------------------------

/// Operations, as they enter value numbers.
#[derive(Copy, Clone)]
enum Op {
    Exact = 1,
    Input,
    Add,
    Sub,
    Mul,
    Div,
    Neg,
    Pow,
    Min,
    Max,
    Abs,
    Monotone,
}

/// Mixes a word into a value number (the finalizer of SplitMix64, Steele et al. 2014, from memory).
fn mix(seed: u64, word: u64) -> u64 {
    let mut z = seed.rotate_left(23) ^ word.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

fn number_of(op: Op, words: &[u64]) -> u64 {
    words
        .iter()
        .fold(mix(0, op as u64), |seed, word| mix(seed, *word))
}

/// For operations whose operands may be exchanged.
fn number_of_pair(op: Op, a: u64, b: u64) -> u64 {
    number_of(op, &[a.min(b), a.max(b)])
}

/// How far a decimal number can lie from the binary number it became, relative to its size.
const DECIMAL_ROUNDING: f64 = f64::EPSILON / 2.0;
/// Comparisons count differences up to this many such roundings as none; covers unit conversion and a few operations.
const COMPARE_ROUNDINGS: f64 = 8.0;

impl Tol {
    /// A plain number without a tolerance. Does not allocate.
    pub fn exact(value: f64) -> Self {
        Self::plain(
            value,
            Interval::point(value),
            number_of(Op::Exact, &[value.to_bits()]),
            value.abs() * DECIMAL_ROUNDING,
        )
    }

    /// An input within limits. Uses of the same `input` must carry the same limits.
    ///
    /// # Errors
    /// [`TolError::NotFinite`] and [`TolError::LimitsReversed`].
    pub fn with_limits(input: InputId, nominal: f64, lo: f64, hi: f64) -> Result<Self, TolError> {
        if !(nominal.is_finite() && lo.is_finite() && hi.is_finite() && (hi - lo).is_finite()) {
            return Err(TolError::NotFinite);
        }
        if lo > hi {
            return Err(TolError::LimitsReversed { lo, hi });
        }
        let centre = lo + (hi - lo) / 2.0;
        let nominal = if (lo..=hi).contains(&nominal) {
            nominal
        } else {
            centre
        };
        let radius = add_up(hi, -centre).max(add_up(centre, -lo));
        let terms = if radius > 0.0 {
            vec![Term {
                input,
                slope: 1.0,
                slopes: Interval::point(1.0),
                radius,
            }]
        } else {
            Vec::new()
        };
        let bounds = Interval { lo, hi };
        let made_of = (!terms.is_empty()).then(|| Node::new(bounds, What::Input(input)));
        Ok(Self {
            nominal,
            bounds,
            centre: Interval::point(centre),
            terms,
            id: number_of(
                Op::Input,
                &[input.0, nominal.to_bits(), lo.to_bits(), hi.to_bits()],
            ),
            rounding: lo.abs().max(hi.abs()) * DECIMAL_ROUNDING,
            made_of,
        })
    }

    /// An input within `nominal ± half_width`.
    ///
    /// # Errors
    /// [`TolError::NotFinite`]; [`TolError::LimitsReversed`] for a negative half-width.
    pub fn symmetric(input: InputId, nominal: f64, half_width: f64) -> Result<Self, TolError> {
        Self::with_limits(input, nominal, nominal - half_width, nominal + half_width)
    }

    fn plain(nominal: f64, bounds: Interval, id: u64, rounding: f64) -> Self {
        Self {
            nominal,
            bounds,
            centre: bounds,
            terms: Vec::new(),
            id,
            rounding,
            made_of: None,
        }
    }

    /// What it was made of; `None` for a plain number.
    pub(crate) fn made_of(&self) -> Option<&Arc<Node>> {
        self.made_of.as_ref()
    }

    /// What it was made of, as an operand.
    fn node(&self) -> Arc<Node> {
        match &self.made_of {
            Some(node) => node.clone(),
            None => Node::new(self.bounds, What::Anything),
        }
    }

    /// Whether an input bears on both.
    fn shares_input(&self, other: &Self) -> bool {
        let (mut a, mut b) = (self.inputs().peekable(), other.inputs().peekable());
        while let (Some(x), Some(y)) = (a.peek(), b.peek()) {
            match x.cmp(y) {
                std::cmp::Ordering::Equal => return true,
                std::cmp::Ordering::Less => a.next(),
                std::cmp::Ordering::Greater => b.next(),
            };
        }
        false
    }

    /// Value with every input at its nominal.
    pub fn nominal(&self) -> f64 {
        self.nominal
    }

    /// Worst-case lower bound.
    pub fn lo(&self) -> f64 {
        self.bounds.lo
    }

    /// Worst-case upper bound.
    pub fn hi(&self) -> f64 {
        self.bounds.hi
    }

    /// Value with every input at the centre of its limits.
    pub fn centre(&self) -> f64 {
        self.centre.middle()
    }

    /// True when some toleranced input bears on it. A plain number's bounds hold rounding only.
    pub fn is_toleranced(&self) -> bool {
        !self.terms.is_empty()
    }

    /// True when this input bears on it.
    pub fn depends_on(&self, input: InputId) -> bool {
        self.terms
            .binary_search_by_key(&input, |term| term.input)
            .is_ok()
    }

    /// The inputs that bear on it, in order of id.
    pub fn inputs(&self) -> impl Iterator<Item = InputId> + '_ {
        self.terms.iter().map(|term| term.input)
    }

    /// True when nominal and bounds are finite. Sums, products and the like can overflow; check before using a result.
    pub fn is_finite(&self) -> bool {
        self.nominal.is_finite() && self.bounds.lo.is_finite() && self.bounds.hi.is_finite()
    }

    /// The value itself if it is finite.
    ///
    /// # Errors
    /// [`TolError::NotFinite`].
    pub fn finite(self) -> Result<Self, TolError> {
        if self.is_finite() {
            Ok(self)
        } else {
            Err(TolError::NotFinite)
        }
    }

    /// How far the rounding of decimal numbers to binary can have moved the value; comparisons make allowance for it.
    pub fn rounding(&self) -> f64 {
        self.rounding
    }

    /// The same value: same operations on the same inputs. The bounds are compared too, against a chance meeting of numbers.
    fn is_same(&self, other: &Self) -> bool {
        self.id == other.id && self.nominal == other.nominal && self.bounds == other.bounds
    }

    /// Puts a result together: drops inputs that cancelled, intersects the enclosures, keeps the nominal inside.
    /// `shared`: an input bears on more than one operand, so that the natural enclosure may be too wide.
    // Each is a part of the result; a struct of them would be this struct.
    #[allow(clippy::too_many_arguments)]
    fn finish(
        nominal: f64,
        natural: Interval,
        centre: Interval,
        mut terms: Vec<Term>,
        id: u64,
        rounding: f64,
        what: What,
        shared: bool,
    ) -> Self {
        terms.retain(|term| term.slopes != Interval::ZERO);
        let mut reach = 0.0;
        for term in &terms {
            reach = add_up(reach, mul_up(term.slopes.magnitude(), term.radius));
        }
        let around = Interval {
            lo: add_down(centre.lo, -reach),
            hi: add_up(centre.hi, reach),
        };
        let mut bounds = natural.intersect(around);
        let mut made_of = None;
        if !terms.is_empty() {
            let mut node = Node::new(bounds, what);
            // Linear in every input: `around` is exact.
            let linear = terms.iter().all(|term| term.slopes.lo == term.slopes.hi);
            if shared && !linear {
                bounds = bounds.intersect(Self::extremes(&node, &terms));
                if let Some(node) = Arc::get_mut(&mut node) {
                    node.bounds = bounds;
                }
            }
            made_of = Some(node);
        }
        // The centre is a point within the limits, so the bounds hold for it too.
        let centre = centre.intersect(bounds);
        let nominal = if nominal.is_nan() {
            nominal
        } else {
            nominal.clamp(bounds.lo, bounds.hi)
        };
        Self {
            nominal,
            bounds,
            centre,
            terms,
            id,
            rounding,
            made_of,
        }
    }

    /// The monotonicity test: encloses the smallest and the largest value, with each input whose slope keeps its sign at
    /// the end that makes the value small or large.
    fn extremes(node: &Arc<Node>, terms: &[Term]) -> Interval {
        let mut limits = Vec::with_capacity(terms.len());
        Self::limits_of(node, &mut limits, &mut HashMap::new());
        let at = |largest: bool| {
            let parts: Vec<(InputId, Interval)> = limits
                .iter()
                .map(|(input, all): &(InputId, Interval)| {
                    let slopes = terms
                        .binary_search_by_key(input, |term| term.input)
                        // An input whose terms cancelled does not move the value.
                        .map_or(Interval::ZERO, |at| terms[at].slopes);
                    let part = if slopes.lo >= 0.0 {
                        Interval::point(if largest { all.hi } else { all.lo })
                    } else if slopes.hi <= 0.0 {
                        Interval::point(if largest { all.lo } else { all.hi })
                    } else {
                        *all
                    };
                    (*input, part)
                })
                .collect();
            node.on(&parts, &mut HashMap::new())
        };
        Interval {
            lo: at(false).lo,
            hi: at(true).hi,
        }
    }

    /// The inputs below a node with their limits, sorted.
    fn limits_of(
        node: &Arc<Node>,
        out: &mut Vec<(InputId, Interval)>,
        seen: &mut HashMap<usize, ()>,
    ) {
        if seen.insert(Arc::as_ptr(node) as usize, ()).is_some() {
            return;
        }
        match &node.what {
            What::Anything => {}
            What::Input(input) => {
                if let Err(at) = out.binary_search_by_key(input, |part| part.0) {
                    out.insert(at, (*input, node.bounds));
                }
            }
            What::Add(a, b)
            | What::Sub(a, b)
            | What::Mul(a, b)
            | What::Div(a, b)
            | What::Min(a, b) => {
                Self::limits_of(a, out, seen);
                Self::limits_of(b, out, seen);
            }
            What::Neg(a) | What::Abs(a) | What::WholePower(a, _) | What::Power(a, _) => {
                Self::limits_of(a, out, seen);
            }
        }
    }

    /// Terms of `z(x, y)` from the slopes of `z` with respect to `x` and `y`.
    fn chain(
        &self,
        a: f64,
        slopes_a: Interval,
        other: &Self,
        b: f64,
        slopes_b: Interval,
    ) -> Vec<Term> {
        let of = |term: &Term, slope: f64, slopes: Interval| Term {
            slope: slope * term.slope,
            slopes: slopes.mul(term.slopes),
            ..*term
        };
        let mut out = Vec::with_capacity(self.terms.len() + other.terms.len());
        let (mut xs, mut ys) = (self.terms.iter().peekable(), other.terms.iter().peekable());
        loop {
            match (xs.peek(), ys.peek()) {
                (None, None) => return out,
                (Some(x), None) => {
                    out.push(of(x, a, slopes_a));
                    xs.next();
                }
                (None, Some(y)) => {
                    out.push(of(y, b, slopes_b));
                    ys.next();
                }
                (Some(x), Some(y)) => {
                    let (take_x, take_y) = (x.input <= y.input, y.input <= x.input);
                    if take_x && take_y {
                        let (of_x, of_y) = (of(x, a, slopes_a), of(y, b, slopes_b));
                        out.push(Term {
                            input: x.input,
                            slope: of_x.slope + of_y.slope,
                            slopes: of_x.slopes.add(of_y.slopes),
                            radius: x.radius.max(y.radius),
                        });
                    } else if take_x {
                        out.push(of(x, a, slopes_a));
                    } else {
                        out.push(of(y, b, slopes_b));
                    }
                    if take_x {
                        xs.next();
                    }
                    if take_y {
                        ys.next();
                    }
                }
            }
        }
    }

    fn chain_one(&self, slope: f64, slopes: Interval) -> Vec<Term> {
        self.terms
            .iter()
            .map(|term| Term {
                slope: slope * term.slope,
                slopes: slopes.mul(term.slopes),
                ..*term
            })
            .collect()
    }

    fn both_plain(&self, other: &Self) -> bool {
        self.terms.is_empty() && other.terms.is_empty()
    }

    /// `self + other`. May overflow; see [`Tol::finite`].
    // Methods rather than operator traits: half of the operations can fail, and one style for all reads better.
    #[allow(clippy::should_implement_trait)]
    pub fn add(&self, other: &Self) -> Self {
        let nominal = self.nominal + other.nominal;
        let natural = self.bounds.add(other.bounds);
        let id = number_of_pair(Op::Add, self.id, other.id);
        let rounding = self.rounding + other.rounding;
        if self.both_plain(other) {
            return Self::plain(nominal, natural, id, rounding);
        }
        let one = Interval::point(1.0);
        let terms = self.chain(1.0, one, other, 1.0, one);
        Self::finish(
            nominal,
            natural,
            self.centre.add(other.centre),
            terms,
            id,
            rounding,
            What::Add(self.node(), other.node()),
            self.shares_input(other),
        )
    }

    /// `self - other`; exactly zero when both are the same value. May overflow; see [`Tol::finite`].
    #[allow(clippy::should_implement_trait)]
    pub fn sub(&self, other: &Self) -> Self {
        if self.is_same(other) && self.is_finite() {
            return Self::exact(0.0);
        }
        let nominal = self.nominal - other.nominal;
        let natural = self.bounds.sub(other.bounds);
        let id = number_of(Op::Sub, &[self.id, other.id]);
        let rounding = self.rounding + other.rounding;
        if self.both_plain(other) {
            return Self::plain(nominal, natural, id, rounding);
        }
        let terms = self.chain(
            1.0,
            Interval::point(1.0),
            other,
            -1.0,
            Interval::point(-1.0),
        );
        Self::finish(
            nominal,
            natural,
            self.centre.sub(other.centre),
            terms,
            id,
            rounding,
            What::Sub(self.node(), other.node()),
            self.shares_input(other),
        )
    }

    /// `self * other`. May overflow; see [`Tol::finite`].
    #[allow(clippy::should_implement_trait)]
    pub fn mul(&self, other: &Self) -> Self {
        if self.is_toleranced() && self.is_same(other) {
            return self.whole_power(2);
        }
        let nominal = self.nominal * other.nominal;
        let natural = self.bounds.mul(other.bounds);
        let id = number_of_pair(Op::Mul, self.id, other.id);
        let rounding = self.rounding * other.nominal.abs() + other.rounding * self.nominal.abs();
        if self.both_plain(other) {
            return Self::plain(nominal, natural, id, rounding);
        }
        let terms = self.chain(
            other.centre(),
            other.bounds,
            other,
            self.centre(),
            self.bounds,
        );
        Self::finish(
            nominal,
            natural,
            self.centre.mul(other.centre),
            terms,
            id,
            rounding,
            What::Mul(self.node(), other.node()),
            self.shares_input(other),
        )
    }

    /// `self / other`; exactly one when both are the same value.
    ///
    /// # Errors
    /// [`TolError::DivisionByZero`] when the divisor can be zero within its limits.
    pub fn div(&self, other: &Self) -> Result<Self, TolError> {
        let divisor = other.bounds;
        if other.can_be_zero() {
            return Err(other.zero_divisor());
        }
        if self.is_same(other) && self.is_finite() {
            return Ok(Self::exact(1.0));
        }
        let nominal = self.nominal / other.nominal;
        let natural = self.bounds.div(divisor);
        let id = number_of(Op::Div, &[self.id, other.id]);
        let rounding = (self.rounding + nominal.abs() * other.rounding) / other.nominal.abs();
        if self.both_plain(other) {
            return Ok(Self::plain(nominal, natural, id, rounding));
        }
        let centre = self.centre.div(other.centre);
        let (x, y) = (self.centre(), other.centre());
        // (x/y)' = (x' − (x/y)·y') / y: with the quotient itself in it, so that a better enclosure of the quotient betters
        // the slopes, and those may better the quotient again.
        let shared = self.shares_input(other);
        let once = |quotient: Interval| {
            let mut terms = self.chain(
                1.0 / y,
                Interval::point(1.0),
                other,
                -x / (y * y),
                quotient.neg(),
            );
            for term in &mut terms {
                term.slopes = term.slopes.div(divisor);
            }
            let what = What::Div(self.node(), other.node());
            Self::finish(nominal, quotient, centre, terms, id, rounding, what, shared)
        };
        let first = once(natural);
        Ok(if shared { once(first.bounds) } else { first })
    }

    /// `-self`.
    #[allow(clippy::should_implement_trait)]
    pub fn neg(&self) -> Self {
        Self {
            nominal: -self.nominal,
            bounds: self.bounds.neg(),
            centre: self.centre.neg(),
            terms: self.chain_one(-1.0, Interval::point(-1.0)),
            id: number_of(Op::Neg, &[self.id]),
            rounding: self.rounding,
            made_of: self
                .made_of
                .as_ref()
                .map(|node| Node::new(self.bounds.neg(), What::Neg(node.clone()))),
        }
    }

    /// `self` times a plain number, such as a unit's factor.
    pub fn scale(&self, factor: f64) -> Self {
        self.mul(&Self::exact(factor))
    }

    /// `self ^ exponent`.
    ///
    /// # Errors
    /// [`TolError::RootOfNegative`] for a broken exponent of a value that can be negative,
    /// [`TolError::DivisionByZero`] for a negative exponent of a value that can be zero,
    /// [`TolError::NotFinite`] for an exponent that is not finite.
    pub fn pow(&self, exponent: f64) -> Result<Self, TolError> {
        /// Whole powers up to this size are multiplied out, which keeps their bounds tight and negative bases possible.
        const MULTIPLIED_OUT: f64 = 64.0;
        if !exponent.is_finite() {
            return Err(TolError::NotFinite);
        }
        if exponent == 1.0 {
            return Ok(self.clone());
        }
        if exponent == 0.0 {
            return Ok(Self::exact(1.0));
        }
        if exponent < 0.0 && self.can_be_zero() {
            return Err(self.zero_divisor());
        }
        if exponent.fract() == 0.0 && exponent.abs() <= MULTIPLIED_OUT {
            return Ok(self.whole_power(exponent as i32));
        }
        let base = self.not_negative()?;
        let raise = |x: Interval, p: f64| if p == 0.5 { x.sqrt() } else { x.powf(p) };
        let natural = raise(base, exponent);
        let centre = raise(
            Interval {
                lo: self.centre.lo.max(0.0),
                hi: self.centre.hi.max(0.0),
            },
            exponent,
        );
        let value = |x: f64| {
            if exponent == 0.5 {
                x.max(0.0).sqrt()
            } else {
                x.max(0.0).powf(exponent)
            }
        };
        let nominal = value(self.nominal);
        let id = number_of(Op::Pow, &[self.id, exponent.to_bits()]);
        let rounding = if self.nominal > 0.0 {
            (exponent * nominal / self.nominal).abs() * self.rounding
        } else {
            value(self.rounding)
        };
        if !self.is_toleranced() {
            return Ok(Self::plain(nominal, natural, id, rounding));
        }
        let slope = exponent * self.centre().max(0.0).powf(exponent - 1.0);
        let slopes = Interval::point(exponent).mul(base.powf(exponent - 1.0));
        Ok(Self::finish(
            nominal,
            natural,
            centre,
            self.chain_one(slope, slopes),
            id,
            rounding,
            What::Power(self.node(), exponent),
            false,
        ))
    }

    /// Square root.
    ///
    /// # Errors
    /// [`TolError::RootOfNegative`] when the value can be negative within its limits.
    pub fn sqrt(&self) -> Result<Self, TolError> {
        self.pow(0.5)
    }

    /// Whether zero is within the bounds, or so near that rounding of decimal numbers alone can have kept it out: a divisor
    /// of which nothing but rounding is left would make noise of the quotient.
    fn can_be_zero(&self) -> bool {
        let slack = COMPARE_ROUNDINGS * self.rounding;
        self.nominal.is_nan() || (self.bounds.lo <= slack && self.bounds.hi >= -slack)
    }

    fn zero_divisor(&self) -> TolError {
        // The bounds of a plain number are rounding only and would mislead.
        let Interval { lo, hi } = if self.is_toleranced() {
            self.bounds
        } else {
            Interval::ZERO
        };
        TolError::DivisionByZero { lo, hi }
    }

    /// The bounds, for an operation that needs a value not below zero. Rounding may have put the bound of a zero a hair below.
    fn not_negative(&self) -> Result<Interval, TolError> {
        let Interval { lo, hi } = self.bounds;
        let slack = COMPARE_ROUNDINGS * self.rounding;
        if self.nominal < 0.0 || lo < -slack || hi < 0.0 {
            return Err(TolError::RootOfNegative { lo, hi });
        }
        Ok(Interval {
            lo: lo.max(0.0),
            hi,
        })
    }

    /// Whole power; zero is outside the bounds when `n` is negative.
    fn whole_power(&self, n: i32) -> Self {
        let nominal = self.nominal.powi(n);
        let natural = self.bounds.powi(n);
        let id = number_of(Op::Pow, &[self.id, f64::from(n).to_bits()]);
        let rounding =
            f64::from(n).abs() * self.nominal.abs().powi(n.saturating_sub(1)) * self.rounding;
        if !self.is_toleranced() {
            return Self::plain(nominal, natural, id, rounding);
        }
        let below = n - 1;
        let factor = f64::from(n);
        let slope = factor * self.centre().powi(below);
        let slopes = Interval::point(factor).mul(self.bounds.powi(below));
        Self::finish(
            nominal,
            natural,
            self.centre.powi(n),
            self.chain_one(slope, slopes),
            id,
            rounding,
            What::WholePower(self.node(), n),
            false,
        )
    }

    /// The smaller of two values.
    pub fn min(&self, other: &Self) -> Self {
        if self.is_same(other) {
            return self.clone();
        }
        let nominal = self.nominal.min(other.nominal);
        let natural = self.bounds.min(other.bounds);
        let id = number_of_pair(Op::Min, self.id, other.id);
        let rounding = self.rounding.max(other.rounding);
        if self.both_plain(other) {
            return Self::plain(nominal, natural, id, rounding);
        }
        // Slopes with respect to the two: one and nought where one is always the smaller, otherwise anything between.
        let difference = self.sub(other);
        let always = if difference.hi() <= 0.0 {
            Some(1.0)
        } else if difference.lo() >= 0.0 {
            Some(0.0)
        } else {
            None
        };
        let unknown = Interval { lo: 0.0, hi: 1.0 };
        let share = always.map_or(unknown, Interval::point);
        let rest = always.map_or(unknown, |share| Interval::point(1.0 - share));
        let at_centre = always.unwrap_or(if self.centre() <= other.centre() {
            1.0
        } else {
            0.0
        });
        Self::finish(
            nominal,
            natural,
            self.centre.min(other.centre),
            self.chain(at_centre, share, other, 1.0 - at_centre, rest),
            id,
            rounding,
            What::Min(self.node(), other.node()),
            self.shares_input(other),
        )
    }

    /// The larger of two values.
    pub fn max(&self, other: &Self) -> Self {
        if self.is_same(other) {
            return self.clone();
        }
        let mut out = self.neg().min(&other.neg()).neg();
        out.id = number_of_pair(Op::Max, self.id, other.id);
        out
    }

    /// The size of a value without its sign.
    pub fn abs(&self) -> Self {
        let sign = |x: Interval| {
            if x.lo >= 0.0 {
                Interval::point(1.0)
            } else if x.hi <= 0.0 {
                Interval::point(-1.0)
            } else {
                Interval { lo: -1.0, hi: 1.0 }
            }
        };
        let nominal = self.nominal.abs();
        let natural = self.bounds.abs();
        let id = number_of(Op::Abs, &[self.id]);
        if !self.is_toleranced() {
            return Self::plain(nominal, natural, id, self.rounding);
        }
        let slope = if self.centre() < 0.0 { -1.0 } else { 1.0 };
        Self::finish(
            nominal,
            natural,
            self.centre.abs(),
            self.chain_one(slope, sign(self.bounds)),
            id,
            self.rounding,
            What::Abs(self.node()),
            false,
        )
    }

    /// A function that rises or falls with each argument, such as a physical law evaluated elsewhere.
    ///
    /// The bounds are its values at the two extreme corners, and as sound as the stated directions and `f` itself are.
    /// The slopes used for root-sum-square are secants over each argument's worst-case width. `name` must be different
    /// for different functions: it tells values apart that were made from the same arguments.
    ///
    /// # Errors
    /// Whatever `f` answers. `f` must answer an error rather than a number that is not finite.
    pub fn monotone<E>(
        name: &str,
        arguments: &[(&Self, Direction)],
        f: impl Fn(&[f64]) -> Result<f64, E>,
    ) -> Result<Self, E> {
        let at = |pick: fn(&Self, Direction) -> f64| -> Result<f64, E> {
            let values: Vec<f64> = arguments.iter().map(|(x, way)| pick(x, *way)).collect();
            f(&values)
        };
        let nominal = at(|x, _| x.nominal)?;
        let mut id = number_of(Op::Monotone, &[]);
        for byte in name.bytes() {
            id = mix(id, u64::from(byte));
        }
        for (x, _) in arguments {
            id = mix(id, x.id);
        }
        let mut rounding = nominal.abs() * DECIMAL_ROUNDING;
        if arguments.iter().all(|(x, _)| !x.is_toleranced()) {
            return Ok(Self::plain(nominal, Interval::point(nominal), id, rounding));
        }
        let low = at(|x, way| match way {
            Direction::Rising => x.lo(),
            Direction::Falling => x.hi(),
        })?;
        let high = at(|x, way| match way {
            Direction::Rising => x.hi(),
            Direction::Falling => x.lo(),
        })?;
        let centre = at(|x, _| x.centre())?;
        let ends = Interval {
            lo: low.min(high),
            hi: low.max(high),
        };
        let natural = ends
            .hull(Interval::point(nominal))
            .hull(Interval::point(centre));
        let mut out = Self::exact(0.0);
        for (index, (x, way)) in arguments.iter().enumerate() {
            if !x.is_toleranced() {
                continue;
            }
            let end = |value: f64| -> Result<f64, E> {
                let mut values: Vec<f64> = arguments.iter().map(|(x, _)| x.centre()).collect();
                if let Some(slot) = values.get_mut(index) {
                    *slot = value;
                }
                f(&values)
            };
            let width = x.hi() - x.lo();
            let slope = if width > 0.0 {
                (end(x.hi())? - end(x.lo())?) / width
            } else {
                0.0
            };
            rounding += slope.abs() * x.rounding;
            // Only the sign of the slope between the ends is known.
            let slopes = match way {
                Direction::Rising => Interval {
                    lo: 0.0,
                    hi: f64::INFINITY,
                },
                Direction::Falling => Interval {
                    lo: f64::NEG_INFINITY,
                    hi: 0.0,
                },
            };
            out.terms = out.chain(1.0, Interval::point(1.0), x, slope, slopes);
        }
        Ok(Self::finish(
            nominal,
            natural,
            Interval::point(centre),
            out.terms,
            id,
            rounding,
            // The function is not kept, so it cannot be worked out again.
            What::Anything,
            false,
        ))
    }

    /// Whether `self < other`, taking into account that both may depend on the same inputs. Differences that rounding of
    /// decimal numbers alone can make count as none.
    pub fn less_than(&self, other: &Self) -> Truth {
        let (lo, hi, slack) = self.difference_for_comparing(other);
        if hi < -slack {
            Truth::Yes
        } else if lo >= -slack {
            Truth::No
        } else {
            Truth::Depends
        }
    }

    /// Whether `self <= other`; as [`Tol::less_than`].
    pub fn at_most(&self, other: &Self) -> Truth {
        let (lo, hi, slack) = self.difference_for_comparing(other);
        if hi <= slack {
            Truth::Yes
        } else if lo > slack {
            Truth::No
        } else {
            Truth::Depends
        }
    }

    /// True when `self < other` for every combination within the limits.
    pub fn definitely_less(&self, other: &Self) -> bool {
        self.less_than(other) == Truth::Yes
    }

    /// True when `self <= other` for every combination within the limits.
    pub fn definitely_at_most(&self, other: &Self) -> bool {
        self.at_most(other) == Truth::Yes
    }

    fn difference_for_comparing(&self, other: &Self) -> (f64, f64, f64) {
        let slack = COMPARE_ROUNDINGS * (self.rounding + other.rounding);
        if self.both_plain(other) {
            let difference = self.nominal - other.nominal;
            return (difference, difference, slack);
        }
        let difference = self.sub(other);
        (difference.lo(), difference.hi(), slack)
    }

    /// Root-sum-square range.
    ///
    /// Each input counts with half the width of its limits, about their centre (limits that are not symmetric are centred
    /// first): `√Σ (slopeᵢ·half-widthᵢ)²`. The result has the coverage the inputs' limits have: if each input's limits are
    /// k standard deviations of independent inputs, so are these. Slopes are taken at the centre.
    pub fn rss(&self) -> Spread {
        let half_width = self
            .terms
            .iter()
            .map(|term| term.slope * term.radius)
            .fold(0.0, f64::hypot);
        let centre = self.centre();
        Spread {
            centre,
            half_width,
            low: (centre - half_width).max(self.lo()),
            high: (centre + half_width).min(self.hi()),
        }
    }

    /// What each input contributes, largest share first; ties in order of input.
    pub fn contributors(&self) -> Vec<Contribution> {
        let effects: Vec<f64> = self
            .terms
            .iter()
            .map(|term| (term.slope * term.radius).abs())
            .collect();
        // Scaled by the largest, so that squares of very small widths do not vanish.
        let largest = effects.iter().copied().fold(0.0, f64::max);
        let relative = |effect: f64| {
            if largest > 0.0 && largest.is_finite() {
                (effect / largest).powi(2)
            } else {
                0.0
            }
        };
        let total: f64 = effects.iter().map(|effect| relative(*effect)).sum();
        let mut out: Vec<Contribution> = self
            .terms
            .iter()
            .zip(effects)
            .map(|(term, effect)| Contribution {
                input: term.input,
                sensitivity: term.slope,
                half_width: term.radius,
                effect,
                share: if total > 0.0 {
                    relative(effect) / total
                } else {
                    0.0
                },
            })
            .collect();
        out.sort_by(|a, b| b.effect.total_cmp(&a.effect).then(a.input.cmp(&b.input)));
        out
    }
}
