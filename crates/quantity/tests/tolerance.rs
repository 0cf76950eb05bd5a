//! Toleranced values: soundness against exact rational arithmetic, tightness, root-sum-square against reference cases.

use cutwater_quantity::{Direction, InputId, Tol, TolError, Truth};
use num_rational::BigRational;
use num_traits::{Signed, Zero};
use proptest::prelude::*;
use serde_json::Value;

fn input(id: u64, nominal: f64, lo: f64, hi: f64) -> Tol {
    Tol::with_limits(InputId(id), nominal, lo, hi).unwrap()
}

fn close(got: f64, want: f64, relative: f64) {
    assert!(
        (got - want).abs() <= relative * want.abs(),
        "{got} instead of {want}"
    );
}

/// Source: numpy 2.4.6 float64; JCGM 100:2008 (see the file). Bore minus hub minus consumers.
#[test]
fn clearance_stacks() {
    let file: Value = serde_json::from_str(include_str!("data/clearance_stack.json")).unwrap();
    let relative = file["tolerance_rel"].as_f64().unwrap();
    let cases = file["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 8);
    for case in cases {
        let mut clearance = Tol::exact(0.0);
        for (id, dimension) in case["inputs"]["dimensions"]
            .as_array()
            .unwrap()
            .iter()
            .enumerate()
        {
            let field = |name: &str| dimension[name].as_f64().unwrap();
            let nominal = field("nominal_in");
            let part = input(
                id as u64,
                nominal,
                nominal - field("lower_in"),
                nominal + field("upper_in"),
            );
            clearance = clearance.add(&part.scale(field("sign")));
        }
        let want = |name: &str| case["expected"][name].as_f64().unwrap();
        let rss = clearance.rss();
        close(clearance.nominal(), want("nominal_clearance_in"), relative);
        close(clearance.centre(), want("centre_clearance_in"), relative);
        close(clearance.lo(), want("worst_case_min_in"), relative);
        close(clearance.hi(), want("worst_case_max_in"), relative);
        close(rss.low, want("rss_min_in"), relative);
        close(rss.high, want("rss_max_in"), relative);
    }
}

#[test]
fn one_input_used_twice_is_one_variable() {
    let a = input(1, 5.0, 4.9, 5.2);
    let zero = a.sub(&a);
    assert_eq!((zero.lo(), zero.nominal(), zero.hi()), (0.0, 0.0, 0.0));
    let one = a.div(&a).unwrap();
    assert_eq!((one.lo(), one.hi()), (1.0, 1.0));
    // The same limits given again are the same input.
    let again = input(1, 5.0, 4.9, 5.2);
    assert_eq!(a.sub(&again).hi(), 0.0);
    // Another part with the same limits is not.
    let other = input(2, 5.0, 4.9, 5.2);
    close(a.sub(&other).hi(), 0.3, 1e-12);
    // A value that is not linear, met again.
    let square = a.mul(&a);
    let difference = square.sub(&a.mul(&a));
    assert_eq!((difference.lo(), difference.hi()), (0.0, 0.0));
    // Two dimensions derived from one: the gap between them does not vary.
    let hub = &a;
    let bore = hub.add(&Tol::exact(0.005));
    let gap = bore.sub(hub);
    assert!(!gap.is_toleranced());
    assert!(gap.hi() - gap.lo() <= 4.0 * f64::EPSILON, "{gap:?}");
    close(gap.nominal(), 0.005, 1e-12);
}

#[test]
fn a_square_knows_it_is_one() {
    let x = input(1, 0.0, -2.0, 1.0);
    let square = x.mul(&x);
    assert_eq!((square.lo(), square.hi()), (0.0, 4.0));
    assert_eq!(x.pow(2.0).unwrap().lo(), 0.0);
    assert_eq!(x.abs().hi(), 2.0);
    assert_eq!(x.abs().lo(), 0.0);
}

/// A size and its own value with sign: |x| - x is 2 at x = -1 and 0 for every x above zero.
#[test]
fn a_kink_inside_the_limits() {
    let x = input(1, 0.1, -1.0, 0.2);
    let fold = x.abs().sub(&x);
    assert!(fold.lo() <= 0.0 && fold.hi() >= 2.0, "{fold:?}");
    let y = input(2, 0.0, -0.5, 0.5);
    // min(x, y) - x is 0 where x is the smaller, and y - x = -0.7 at x = 0.2, y = -0.5.
    let less = x.min(&y).sub(&x);
    assert!(less.lo() <= -0.7 && less.hi() >= 0.0, "{less:?}");
    // max(x, y) - x is 0 where x is the larger, and 1.5 at x = -1, y = 0.5.
    let more = x.max(&y).sub(&x);
    assert!(more.lo() <= 0.0 && more.hi() >= 1.5, "{more:?}");
}

/// A shaft 45 f7 (ISO 286-2: −25 µm, −50 µm) has a nominal outside its limits.
#[test]
fn nominal_outside_the_limits_is_a_name() {
    let shaft = input(1, 45.0, 44.950, 44.975);
    close(shaft.nominal(), 44.9625, 1e-15);
    let bore = input(2, 45.0, 45.0, 45.025);
    let clearance = bore.sub(&shaft);
    close(clearance.lo(), 0.025, 1e-10);
    close(clearance.hi(), 0.075, 1e-10);
}

#[test]
fn what_cannot_be_computed_is_refused() {
    let around_zero = input(1, 0.1, -0.1, 0.3);
    let one = Tol::exact(1.0);
    assert!(matches!(
        one.div(&around_zero),
        Err(TolError::DivisionByZero { .. })
    ));
    assert!(matches!(
        one.div(&Tol::exact(0.0)),
        Err(TolError::DivisionByZero { .. })
    ));
    let noise = Tol::exact(0.3).sub(&Tol::exact(0.1)).sub(&Tol::exact(0.2));
    assert!(
        matches!(one.div(&noise), Err(TolError::DivisionByZero { .. })),
        "{noise:?}"
    );
    assert!(matches!(
        around_zero.sqrt(),
        Err(TolError::RootOfNegative { .. })
    ));
    assert!(matches!(
        around_zero.pow(-1.0),
        Err(TolError::DivisionByZero { .. })
    ));
    assert!(matches!(
        Tol::exact(-1.0).pow(1.5),
        Err(TolError::RootOfNegative { .. })
    ));
    assert_eq!(Tol::exact(2.0).pow(f64::NAN), Err(TolError::NotFinite));
    assert!(matches!(
        Tol::with_limits(InputId(1), 1.0, 2.0, 0.0),
        Err(TolError::LimitsReversed { .. })
    ));
    assert!(matches!(
        Tol::symmetric(InputId(1), 1.0, -0.1),
        Err(TolError::LimitsReversed { .. })
    ));
    assert_eq!(
        Tol::symmetric(InputId(1), f64::NAN, 0.1),
        Err(TolError::NotFinite)
    );
    let huge = Tol::exact(1e300);
    assert_eq!(huge.mul(&huge).finite(), Err(TolError::NotFinite));
    let infinite = huge.mul(&huge);
    assert_eq!(infinite.sub(&infinite).finite(), Err(TolError::NotFinite));
    for error in [
        TolError::DivisionByZero { lo: 0.0, hi: 0.0 },
        TolError::RootOfNegative { lo: -1.0, hi: 1.0 },
        TolError::NotFinite,
    ] {
        assert!(!error.to_string().is_empty());
    }
}

#[test]
fn roots_of_zero() {
    assert_eq!(Tol::exact(0.0).sqrt().unwrap().nominal(), 0.0);
    let from_zero = input(1, 0.5, 0.0, 1.0);
    let root = from_zero.sqrt().unwrap();
    assert_eq!(root.lo(), 0.0);
    close(root.hi(), 1.0, 1e-15);
    assert!(root.is_finite());
    assert_eq!(Tol::exact(0.0).pow(0.0).unwrap().nominal(), 1.0);
}

/// A limit met exactly in decimal is met, whatever binary fractions make of it.
#[test]
fn limits_met_exactly_are_met() {
    let bore = input(1, 5.502, 5.502 - 0.0005, 5.502 + 0.0005);
    let hub = input(2, 5.497, 5.497 - 0.001, 5.497);
    let clearance = bore.sub(&hub);
    let least = Tol::exact(0.0045);
    let most = Tol::exact(0.0065);
    assert_eq!(least.at_most(&clearance), Truth::Yes);
    assert_eq!(clearance.at_most(&most), Truth::Yes);
    assert_eq!(clearance.less_than(&most), Truth::Depends);
    assert_eq!(clearance.at_most(&Tol::exact(0.0064)), Truth::Depends);
    assert_eq!(clearance.at_most(&Tol::exact(0.0044)), Truth::No);
    assert!(clearance.definitely_less(&Tol::exact(0.0066)));
    let sum = Tol::exact(0.1).add(&Tol::exact(0.2));
    assert_eq!(sum.at_most(&Tol::exact(0.3)), Truth::Yes);
    assert_eq!(Tol::exact(0.3).at_most(&sum), Truth::Yes);
    assert_eq!(sum.less_than(&Tol::exact(0.3)), Truth::No);
    // Compared with itself a value is not less, though its limits overlap.
    assert_eq!(bore.less_than(&bore), Truth::No);
    assert_eq!(bore.at_most(&bore.add(&Tol::exact(0.001))), Truth::Yes);
}

#[test]
fn contributors_add_up_and_are_sorted() {
    let a = input(1, 1.0, 0.9, 1.1);
    let b = input(2, 2.0, 1.97, 2.03);
    let out = a.sub(&b.scale(2.0)).contributors();
    assert_eq!(
        out.iter().map(|c| c.input).collect::<Vec<_>>(),
        [InputId(1), InputId(2)]
    );
    close(out[0].effect, 0.1, 1e-12);
    close(out[1].sensitivity, -2.0, 1e-15);
    close(out[1].effect, 0.06, 1e-12);
    close(out[0].share, 0.01 / 0.0136, 1e-12);
    close(out.iter().map(|c| c.share).sum(), 1.0, 1e-15);
    assert!(a.depends_on(InputId(1)) && !a.depends_on(InputId(2)));
}

/// A monotone law given as a function agrees with the same law written out.
#[test]
fn a_function_evaluated_elsewhere() {
    let flow = input(1, 10.0, 9.0, 11.5);
    let area = input(2, 2.0, 1.9, 2.1);
    let law = |x: &[f64]| {
        if x[1] == 0.0 {
            Err("no area")
        } else {
            Ok(x[0] / x[1])
        }
    };
    let speed = Tol::monotone(
        "speed",
        &[(&flow, Direction::Rising), (&area, Direction::Falling)],
        law,
    )
    .unwrap();
    let direct = flow.div(&area).unwrap();
    close(speed.lo(), 9.0 / 2.1, 1e-15);
    close(speed.hi(), 11.5 / 1.9, 1e-15);
    close(speed.lo(), direct.lo(), 1e-12);
    close(speed.nominal(), 5.0, 1e-15);
    close(speed.rss().half_width, direct.rss().half_width, 5e-3);
    assert_eq!(speed.inputs().collect::<Vec<_>>(), [InputId(1), InputId(2)]);
    // The same again is the same value; another function of the same arguments is not.
    let again = Tol::monotone(
        "speed",
        &[(&flow, Direction::Rising), (&area, Direction::Falling)],
        law,
    )
    .unwrap();
    assert_eq!(speed.sub(&again).hi(), 0.0);
    let other = Tol::monotone(
        "other",
        &[(&flow, Direction::Rising), (&area, Direction::Falling)],
        law,
    )
    .unwrap();
    assert!(speed.sub(&other).hi() > 0.0);
    let failed = Tol::monotone(
        "speed",
        &[
            (&flow, Direction::Rising),
            (&Tol::exact(0.0), Direction::Falling),
        ],
        law,
    );
    assert_eq!(failed, Err("no area"));
}

// ---- Soundness against exact arithmetic -----------------------------------------------------------------------------

#[derive(Clone, Debug)]
enum Tree {
    Input(usize),
    Number(f64),
    Add(Box<Tree>, Box<Tree>),
    Sub(Box<Tree>, Box<Tree>),
    Mul(Box<Tree>, Box<Tree>),
    Div(Box<Tree>, Box<Tree>),
    Min(Box<Tree>, Box<Tree>),
    Max(Box<Tree>, Box<Tree>),
    Neg(Box<Tree>),
    Abs(Box<Tree>),
    Pow(Box<Tree>, i32),
}

const INPUTS: usize = 5;

fn tree() -> impl Strategy<Value = Tree> {
    let leaf = prop_oneof![
        4 => (0..INPUTS).prop_map(Tree::Input),
        1 => (-8.0..8.0f64).prop_map(Tree::Number),
    ];
    leaf.prop_recursive(5, 24, 2, |inner| {
        let two = (inner.clone(), inner.clone()).prop_map(|(a, b)| (Box::new(a), Box::new(b)));
        prop_oneof![
            2 => two.clone().prop_map(|(a, b)| Tree::Add(a, b)),
            3 => two.clone().prop_map(|(a, b)| Tree::Sub(a, b)),
            3 => two.clone().prop_map(|(a, b)| Tree::Mul(a, b)),
            2 => two.clone().prop_map(|(a, b)| Tree::Div(a, b)),
            1 => two.clone().prop_map(|(a, b)| Tree::Min(a, b)),
            1 => two.prop_map(|(a, b)| Tree::Max(a, b)),
            1 => inner.clone().prop_map(|a| Tree::Neg(Box::new(a))),
            1 => inner.clone().prop_map(|a| Tree::Abs(Box::new(a))),
            1 => (inner, prop::sample::select(vec![-2, -1, 2, 3])).prop_map(|(a, n)| Tree::Pow(Box::new(a), n)),
        ]
    })
}

fn limits() -> impl Strategy<Value = Vec<(f64, f64, f64)>> {
    // Some inputs lie across zero, where signs, minima and maxima change sides.
    let lower = prop_oneof![2 => -10.0..10.0f64, 1 => -0.5..0.0f64];
    prop::collection::vec((lower, 0.0..0.5f64, 0.0..1.0f64), INPUTS).prop_map(|list| {
        list.into_iter()
            .map(|(lo, width, share)| (lo + share * width, lo, lo + width))
            .collect()
    })
}

fn bounds(tree: &Tree, inputs: &[Tol]) -> Result<Tol, TolError> {
    let of = |tree: &Tree| bounds(tree, inputs);
    Ok(match tree {
        Tree::Input(i) => inputs[*i].clone(),
        Tree::Number(x) => Tol::exact(*x),
        Tree::Add(a, b) => of(a)?.add(&of(b)?),
        Tree::Sub(a, b) => of(a)?.sub(&of(b)?),
        Tree::Mul(a, b) => of(a)?.mul(&of(b)?),
        Tree::Div(a, b) => of(a)?.div(&of(b)?)?,
        Tree::Min(a, b) => of(a)?.min(&of(b)?),
        Tree::Max(a, b) => of(a)?.max(&of(b)?),
        Tree::Neg(a) => of(a)?.neg(),
        Tree::Abs(a) => of(a)?.abs(),
        Tree::Pow(a, n) => of(a)?.pow(f64::from(*n))?,
    })
}

fn rational(x: f64) -> BigRational {
    BigRational::from_float(x).unwrap()
}

/// The exact value; `None` where a divisor is zero.
fn exactly(tree: &Tree, at: &[BigRational]) -> Option<BigRational> {
    let of = |tree: &Tree| exactly(tree, at);
    Some(match tree {
        Tree::Input(i) => at[*i].clone(),
        Tree::Number(x) => rational(*x),
        Tree::Add(a, b) => of(a)? + of(b)?,
        Tree::Sub(a, b) => of(a)? - of(b)?,
        Tree::Mul(a, b) => of(a)? * of(b)?,
        Tree::Div(a, b) => {
            let divisor = of(b)?;
            if divisor.is_zero() {
                return None;
            }
            of(a)? / divisor
        }
        Tree::Min(a, b) => of(a)?.min(of(b)?),
        Tree::Max(a, b) => of(a)?.max(of(b)?),
        Tree::Neg(a) => -of(a)?,
        Tree::Abs(a) => of(a)?.abs(),
        Tree::Pow(a, n) => {
            let base = of(a)?;
            if *n < 0 && base.is_zero() {
                return None;
            }
            base.pow(*n)
        }
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    /// Exact rational arithmetic at every corner, at random inner points and at the nominal stays within the bounds.
    #[test]
    fn bounds_hold_everywhere(
        tree in tree(),
        limits in limits(),
        inner in prop::collection::vec(prop::collection::vec(0.0..=1.0f64, INPUTS), 6),
    ) {
        let inputs: Vec<Tol> = limits
            .iter()
            .enumerate()
            .map(|(id, (nominal, lo, hi))| input(id as u64, *nominal, *lo, *hi))
            .collect();
        let Ok(result) = bounds(&tree, &inputs) else { return Ok(()) };
        if !result.is_finite() { return Ok(()) }
        prop_assert!(result.lo() <= result.nominal() && result.nominal() <= result.hi());
        prop_assert!(result.lo() <= result.centre() && result.centre() <= result.hi());
        let mut points: Vec<Vec<f64>> = (0..1usize << INPUTS)
            .map(|corner| {
                limits.iter().enumerate().map(|(i, (_, lo, hi))| if corner >> i & 1 == 1 { *hi } else { *lo }).collect()
            })
            .collect();
        points.extend(inner.iter().map(|shares| {
            shares.iter().zip(&limits).map(|(share, (_, lo, hi))| (lo + share * (hi - lo)).clamp(*lo, *hi)).collect()
        }));
        points.push(limits.iter().map(|(nominal, _, _)| *nominal).collect());
        let (lo, hi) = (rational(result.lo()), rational(result.hi()));
        for point in points {
            let at: Vec<BigRational> = point.iter().map(|x| rational(*x)).collect();
            let value = exactly(&tree, &at);
            prop_assert!(value.is_some(), "a divisor can be zero, and that was not refused");
            let value = value.unwrap();
            prop_assert!(lo <= value && value <= hi, "{:?} holds not {} at {:?}", result, value, point);
        }
        let same = result.sub(&result);
        prop_assert_eq!((same.lo(), same.hi()), (0.0, 0.0));
        let rss = result.rss();
        prop_assert!(rss.low >= result.lo() && rss.high <= result.hi());
    }

    /// Linear expressions, whatever the order of operations, have the exact bounds but for rounding.
    #[test]
    fn linear_expressions_are_tight(
        limits in limits(),
        steps in prop::collection::vec((0..INPUTS, -4.0..4.0f64, any::<bool>()), 1..15),
    ) {
        let mut sum = Tol::exact(0.0);
        let mut factors = [0.0; INPUTS];
        for (i, factor, minus) in &steps {
            let (nominal, lo, hi) = limits[*i];
            let part = input(*i as u64, nominal, lo, hi).scale(*factor);
            if *minus {
                sum = sum.sub(&part);
                factors[*i] -= factor;
            } else {
                sum = sum.add(&part);
                factors[*i] += factor;
            }
        }
        let (mut lo, mut hi, mut size) = (0.0, 0.0, 0.0);
        for (factor, (_, l, h)) in factors.iter().zip(&limits) {
            lo += (factor * l).min(factor * h);
            hi += (factor * l).max(factor * h);
        }
        for (i, factor, _) in &steps {
            size += factor.abs() * (limits[*i].1.abs().max(limits[*i].2.abs()));
        }
        let slack = 1e-13 * (1.0 + size);
        prop_assert!((sum.lo() - lo).abs() <= slack, "{} instead of {}", sum.lo(), lo);
        prop_assert!((sum.hi() - hi).abs() <= slack, "{} instead of {}", sum.hi(), hi);
    }

    /// Roots and broken powers: monotone, so the ends are known; another platform's power may differ in the last places.
    #[test]
    fn powers_of_positive_values(lo in 0.0..5.0f64, width in 0.0..3.0f64, p in prop::sample::select(vec![0.5, 1.5, 0.54, 1.852, 2.63, 1.0 / 3.0])) {
        let x = input(1, lo + width / 3.0, lo, lo + width);
        let y = x.pow(p).unwrap();
        prop_assert!(y.is_finite());
        for share in [0.0, 0.25, 0.5, 0.75, 1.0] {
            let value = (lo + share * width).min(lo + width).powf(p);
            prop_assert!(y.lo() <= value && value <= y.hi(), "{:?} {}", y, value);
        }
        prop_assert!((y.hi() - (lo + width).powf(p)).abs() <= 1e-13 * y.hi());
        prop_assert!((y.lo() - lo.powf(p)).abs() <= 1e-13 * y.hi());
        // A root undone is the value again, to the accuracy of first order.
        let back = y.pow(1.0 / p).unwrap();
        prop_assert!(back.lo() <= lo * (1.0 + 1e-12) && back.hi() >= (lo + width) * (1.0 - 1e-12));
    }
}
