//! How tight the bounds are: equal to the extreme corners where a value rises or falls with every input, however often
//! each is used; never inside any corner or sample; spreads equal to reference cases of the propagation of uncertainty.

use cutwater_quantity::{Formula, InputId, Tol, TolError};
use proptest::prelude::*;
use serde_json::Value;

/// More inputs than a fit has, few enough to look at every corner.
const RISING: usize = 5;
const FALLING: usize = 5;
const INPUTS: usize = RISING + FALLING;

/// An expression above zero that rises with the inputs 0 to 4 and falls with 5 to 9; `Falling` wraps one the other way.
#[derive(Clone, Debug)]
enum Rising {
    Input(usize),
    Number(f64),
    Add(Box<Rising>, Box<Rising>),
    Mul(Box<Rising>, Box<Rising>),
    Div(Box<Rising>, Box<Falling>),
    Min(Box<Rising>, Box<Rising>),
    Max(Box<Rising>, Box<Rising>),
    Pow(Box<Rising>, f64),
    /// a / (a + b), with `a` used twice.
    Share(Box<Rising>, Box<Falling>),
    /// a − a·b / (a + b), with `a` used three times; it is a² / (a + b).
    Rest(Box<Rising>, Box<Falling>),
}

/// The same expression with rising and falling inputs exchanged.
#[derive(Clone, Debug)]
struct Falling(Box<Rising>);

fn rising() -> impl Strategy<Value = Rising> {
    let leaf = prop_oneof![
        4 => (0..RISING).prop_map(Rising::Input),
        1 => (0.5..8.0f64).prop_map(Rising::Number),
    ];
    leaf.prop_recursive(4, 16, 2, |inner| {
        let two = (inner.clone(), inner.clone()).prop_map(|(a, b)| (Box::new(a), Box::new(b)));
        let ways = (inner.clone(), inner.clone())
            .prop_map(|(a, b)| (Box::new(a), Box::new(Falling(Box::new(b)))));
        prop_oneof![
            2 => two.clone().prop_map(|(a, b)| Rising::Add(a, b)),
            2 => two.clone().prop_map(|(a, b)| Rising::Mul(a, b)),
            2 => ways.clone().prop_map(|(a, b)| Rising::Div(a, b)),
            1 => two.clone().prop_map(|(a, b)| Rising::Min(a, b)),
            1 => two.prop_map(|(a, b)| Rising::Max(a, b)),
            1 => (inner, prop::sample::select(vec![0.5, 1.5, 2.0, 3.0]))
                .prop_map(|(a, p)| Rising::Pow(Box::new(a), p)),
            3 => ways.clone().prop_map(|(a, b)| Rising::Share(a, b)),
            2 => ways.prop_map(|(a, b)| Rising::Rest(a, b)),
        ]
    })
}

/// The input an index means: falling subtrees use the other half.
fn index(i: usize, flipped: bool) -> usize {
    if flipped { i + RISING } else { i }
}

fn bounds(e: &Rising, inputs: &[Tol], flipped: bool) -> Result<Tol, TolError> {
    let of = |e: &Rising| bounds(e, inputs, flipped);
    let other = |e: &Falling| bounds(&e.0, inputs, !flipped);
    Ok(match e {
        Rising::Input(i) => inputs[index(*i, flipped)].clone(),
        Rising::Number(x) => Tol::exact(*x),
        Rising::Add(a, b) => of(a)?.add(&of(b)?),
        Rising::Mul(a, b) => of(a)?.mul(&of(b)?),
        Rising::Div(a, b) => of(a)?.div(&other(b)?)?,
        Rising::Min(a, b) => of(a)?.min(&of(b)?),
        Rising::Max(a, b) => of(a)?.max(&of(b)?),
        Rising::Pow(a, p) => of(a)?.pow(*p)?,
        Rising::Share(a, b) => of(a)?.div(&of(a)?.add(&other(b)?))?,
        Rising::Rest(a, b) => {
            let (a, b) = (of(a)?, other(b)?);
            a.sub(&a.mul(&b).div(&a.add(&b))?)
        }
    })
}

fn at(e: &Rising, x: &[f64], flipped: bool) -> f64 {
    let of = |e: &Rising| at(e, x, flipped);
    let other = |e: &Falling| at(&e.0, x, !flipped);
    match e {
        Rising::Input(i) => x[index(*i, flipped)],
        Rising::Number(n) => *n,
        Rising::Add(a, b) => of(a) + of(b),
        Rising::Mul(a, b) => of(a) * of(b),
        Rising::Div(a, b) => of(a) / other(b),
        Rising::Min(a, b) => of(a).min(of(b)),
        Rising::Max(a, b) => of(a).max(of(b)),
        Rising::Pow(a, p) => of(a).powf(*p),
        Rising::Share(a, b) => {
            let (a, b) = (of(a), other(b));
            a / (a + b)
        }
        Rising::Rest(a, b) => {
            let (a, b) = (of(a), other(b));
            a - a * b / (a + b)
        }
    }
}

/// Whether no part is a small difference of large numbers. Where one is, the enclosures of the slopes can lose their sign, and
/// with it the bounds their tightness (never their soundness, which `tolerance.rs` tests without this).
fn well_conditioned(e: &Rising, x: &[f64], flipped: bool) -> bool {
    let of = |e: &Rising| well_conditioned(e, x, flipped);
    let other = |e: &Falling| well_conditioned(&e.0, x, !flipped);
    match e {
        Rising::Input(_) | Rising::Number(_) => true,
        Rising::Add(a, b) | Rising::Mul(a, b) | Rising::Min(a, b) | Rising::Max(a, b) => {
            of(a) && of(b)
        }
        Rising::Pow(a, _) => of(a),
        Rising::Div(a, b) => of(a) && other(b),
        Rising::Share(a, b) | Rising::Rest(a, b) => {
            let (up, down) = (at(a, x, flipped), at(&b.0, x, !flipped));
            of(a) && other(b) && (0.2..5.0).contains(&(up / down))
        }
    }
}

/// Sizes as on drawings: a nominal above zero, tolerances up to half a per cent of it.
fn sizes() -> impl Strategy<Value = Vec<(f64, f64)>> {
    prop::collection::vec((0.5..9.0f64, 1e-5..5e-3f64), INPUTS).prop_map(|list| {
        list.into_iter()
            .map(|(size, part)| (size * (1.0 - part), size * (1.0 + part)))
            .collect()
    })
}

fn as_inputs(limits: &[(f64, f64)]) -> Vec<Tol> {
    limits
        .iter()
        .enumerate()
        .map(|(id, (lo, hi))| {
            Tol::with_limits(InputId(id as u64), f64::midpoint(*lo, *hi), *lo, *hi).unwrap()
        })
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, ..ProptestConfig::default() })]

    /// The bounds are the two extreme corners to 1 part in 10¹², and hold every one of the 1024 corners and 2000 samples.
    #[test]
    fn monotone_expressions_are_tight(e in rising(), limits in sizes(), seed in any::<u64>()) {
        let inputs = as_inputs(&limits);
        let middle: Vec<f64> = limits.iter().map(|(lo, hi)| f64::midpoint(*lo, *hi)).collect();
        prop_assume!(well_conditioned(&e, &middle, false));
        let got = bounds(&e, &inputs, false).expect("all is above zero");
        let corner = |up: bool| -> f64 {
            let x: Vec<f64> = limits
                .iter()
                .enumerate()
                .map(|(i, (lo, hi))| if (i < RISING) == up { *hi } else { *lo })
                .collect();
            at(&e, &x, false)
        };
        let (low, high) = (corner(false), corner(true));
        // `a − a·b/(a + b)` cancels; what is left carries the rounding of the larger numbers.
        let near = |got: f64, want: f64| (got - want).abs() <= 1e-12 * (want.abs() + high);
        prop_assert!(near(got.lo(), low), "{} instead of {low}", got.lo());
        prop_assert!(near(got.hi(), high), "{} instead of {high}", got.hi());
        let slack = 1e-13 * high;
        let holds = |x: &[f64]| {
            let v = at(&e, x, false);
            got.lo() <= v + slack && v <= got.hi() + slack
        };
        for corner in 0..1usize << INPUTS {
            let x: Vec<f64> = limits
                .iter()
                .enumerate()
                .map(|(i, (lo, hi))| if corner >> i & 1 == 1 { *hi } else { *lo })
                .collect();
            prop_assert!(holds(&x), "corner {corner:b}");
        }
        let mut state = seed;
        for _ in 0..2000 {
            let x: Vec<f64> = limits.iter().map(|(lo, hi)| lo + share(&mut state) * (hi - lo)).collect();
            prop_assert!(holds(&x), "sample {x:?}");
        }
    }

    /// A value worked out again from what it was made of is the expression itself, wherever its inputs stand.
    #[test]
    fn formulas_are_the_expressions(e in rising(), limits in sizes(), off in prop::collection::vec(-1.0..=1.0f64, INPUTS)) {
        let value = bounds(&e, &as_inputs(&limits), false).expect("all is above zero");
        let mut inputs = Vec::new();
        let formula = Formula::of(&value, &mut inputs);
        prop_assert!(formula.is_exact());
        let deviations: Vec<f64> = inputs.iter().map(|i| off[i.0 as usize]).collect();
        let x: Vec<f64> = limits.iter().zip(&off).map(|((lo, hi), d)| f64::midpoint(*lo, *hi) + d * (hi - lo) / 2.0).collect();
        let (got, want) = (formula.at(&deviations, &mut Vec::new()), at(&e, &x, false));
        prop_assert!((got - want).abs() <= 1e-11 * value.hi().abs(), "{got} instead of {want}");
    }

    /// Root-sum-square from slopes taken apart from the tool: central differences at the middle of the limits.
    #[test]
    fn spreads_follow_from_the_slopes(e in rising(), limits in sizes()) {
        let got = bounds(&e, &as_inputs(&limits), false).expect("all is above zero");
        let middle: Vec<f64> = limits.iter().map(|(lo, hi)| f64::midpoint(*lo, *hi)).collect();
        let mut squares = 0.0;
        for (i, (lo, hi)) in limits.iter().enumerate() {
            let step = 1e-6 * middle[i];
            let moved = |by: f64| {
                let mut x = middle.clone();
                x[i] += by;
                at(&e, &x, false)
            };
            let slope = (moved(step) - moved(-step)) / (2.0 * step);
            squares += (slope * (hi - lo) / 2.0).powi(2);
        }
        let (rss, value) = (got.rss(), at(&e, &middle, false));
        // Where `min` or `max` changes sides between the two points, the difference is no slope; such a case says nothing.
        let kinked = (squares.sqrt() - rss.half_width).abs() > 1e-4 * rss.half_width && has_kink(&e);
        prop_assert!(
            kinked || (squares.sqrt() - rss.half_width).abs() <= 1e-6 * rss.half_width + 1e-9 * value,
            "{} instead of {}", rss.half_width, squares.sqrt()
        );
        prop_assert!((rss.centre - value).abs() <= 1e-12 * value);
    }

    /// What is made from one dimension alone keeps only what that dimension does.
    #[test]
    fn two_sizes_from_one_dimension(lo in 0.5..9.0f64, width in 0.0..0.1f64, gap in 0.001..0.1f64, factor in 0.5..2.0f64) {
        let hub = Tol::with_limits(InputId(1), lo, lo, lo + width).unwrap();
        let bore = hub.add(&Tol::exact(gap));
        let clearance = bore.sub(&hub);
        // `gap`, with nothing of the hub's width in it but rounding.
        prop_assert!((clearance.hi() - clearance.lo()).abs() <= 1e-14 * (lo + width));
        prop_assert!(clearance.lo() <= gap && gap <= clearance.hi());
        prop_assert!(!clearance.is_toleranced());
        // Scaled: (f − 1)·hub, exactly as wide as that.
        let taper = hub.scale(factor).sub(&hub);
        let want = (factor - 1.0).abs() * (hub.hi() - hub.lo());
        prop_assert!((taper.hi() - taper.lo() - want).abs() <= 1e-13 * (lo + width));
        let nothing = taper.sub(&taper);
        prop_assert_eq!((nothing.lo(), nothing.hi()), (0.0, 0.0));
    }
}

/// The next of a row of numbers from 0 to 1 (SplitMix64, Steele et al. 2014, from memory).
fn share(state: &mut u64) -> f64 {
    *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
}

fn has_kink(e: &Rising) -> bool {
    match e {
        Rising::Input(_) | Rising::Number(_) => false,
        Rising::Min(..) | Rising::Max(..) => true,
        Rising::Add(a, b) | Rising::Mul(a, b) => has_kink(a) || has_kink(b),
        Rising::Div(a, b) | Rising::Share(a, b) | Rising::Rest(a, b) => {
            has_kink(a) || has_kink(&b.0)
        }
        Rising::Pow(a, _) => has_kink(a),
    }
}

/// By hand: x / (x + y) with x and y from 1 to 2 is from 1/3 to 2/3; interval arithmetic alone gives 1/4 to 1. Here the
/// slopes have one sign although the limits are as wide as the values.
#[test]
fn wide_limits_too() {
    let x = Tol::with_limits(InputId(1), 1.5, 1.0, 2.0).unwrap();
    let y = Tol::with_limits(InputId(2), 1.5, 1.0, 2.0).unwrap();
    let share = x.div(&x.add(&y)).unwrap();
    assert!(share.lo() <= 1.0 / 3.0 && 2.0 / 3.0 <= share.hi());
    // The derivative by interval arithmetic does not keep its sign here, so these bounds may be wider, never narrower.
    let narrow = Tol::with_limits(InputId(1), 1.5, 1.45, 1.55).unwrap();
    let share = narrow.div(&narrow.add(&y)).unwrap();
    assert!((share.lo() - 1.45 / 3.45).abs() < 1e-15, "{}", share.lo());
    assert!((share.hi() - 1.55 / 2.55).abs() < 1e-15, "{}", share.hi());
}

/// Long rows of values, each from the one before, neither run deep nor lose soundness.
#[test]
fn long_rows_of_values() {
    let x = Tol::with_limits(InputId(1), 1.0, 0.999, 1.001).unwrap();
    let mut v = x.clone();
    for _ in 0..20_000 {
        // v / (v + x): tends to a fixed value, using x once more at each step.
        v = v.div(&v.add(&x)).unwrap();
        assert!(v.is_finite() && v.lo() <= v.hi());
    }
    // The fixed value of v = v / (v + x) with x = 1 is 0; after n steps from 1 it is near 1/(n + 1).
    let mut plain = 1.0f64;
    for _ in 0..20_000 {
        plain /= plain + 1.0;
    }
    assert!(v.lo() <= plain && plain <= v.hi());
}

/// Sources: numpy 2.4.6; sensitivities checked with mpmath 1.4.1; JCGM 100:2008 (see the file). Standard uncertainties are
/// put in as half-widths: the rule of propagation is the same.
#[test]
fn spreads_are_those_of_the_propagation_of_uncertainty() {
    let file: Value = serde_json::from_str(include_str!("data/propagation.json")).unwrap();
    let relative = file["tolerance_rel"].as_f64().unwrap();
    let mut seen = 0;
    for case in file["cases"].as_array().unwrap() {
        let field = |name: &str| case["inputs"][name].as_f64().unwrap();
        let want = |name: &str| case["expected"][name].as_f64().unwrap();
        let close = |got: f64, want: f64, what: &str| {
            assert!(
                (got - want).abs() <= relative * want.abs(),
                "{} {what}: {got} instead of {want}",
                case["id"]
            );
        };
        let part =
            |id: u64, value: f64, half: f64| Tol::symmetric(InputId(id), value, half).unwrap();
        match case["kind"].as_str().unwrap() {
            "gum_net_pressure" => {
                let names = [
                    "discharge_psi",
                    "suction_vacuum_inHg",
                    "discharge_gauge_height_ft",
                    "suction_gauge_height_ft",
                    "flow_gpm",
                    "discharge_bore_in",
                    "suction_bore_in",
                ];
                // A rectangular half-width a has the standard uncertainty a/√3.
                let x: Vec<Tol> = names
                    .iter()
                    .enumerate()
                    .map(|(id, name)| {
                        let half = case["inputs"]["rectangular_half_widths"][*name]
                            .as_f64()
                            .unwrap();
                        part(id as u64, field(name), half / 3f64.sqrt())
                    })
                    .collect();
                // 1 inHg (0 °C) and 1 ft of water (1000 kg/m³) in psi, from the SI definitions.
                let psi = 0.453_592_37 * 9.806_65 / (0.0254 * 0.0254);
                let per_inhg = 13_595.1 * 9.806_65 * 0.0254 / psi;
                let per_ft = 1000.0 * 9.806_65 * 0.3048 / psi;
                let velocity = |bore: &Tol| {
                    x[4].pow(2.0)
                        .unwrap()
                        .scale(0.001_123)
                        .div(&bore.pow(4.0).unwrap())
                        .unwrap()
                };
                let net = x[0]
                    .add(&x[1].scale(per_inhg))
                    .add(&x[2].sub(&x[3]).scale(per_ft))
                    .add(&velocity(&x[5]).sub(&velocity(&x[6])));
                close(net.nominal(), want("net_pressure_psi"), "net pressure");
                let contributions = net.contributors();
                for (id, c) in case["expected"]["sensitivities"]
                    .as_array()
                    .unwrap()
                    .iter()
                    .enumerate()
                {
                    let got = contributions
                        .iter()
                        .find(|k| k.input == InputId(id as u64))
                        .unwrap();
                    close(got.sensitivity, c.as_f64().unwrap(), names[id]);
                    let share = case["expected"]["variance_shares"][id].as_f64().unwrap();
                    close(got.effect.powi(2), share, names[id]);
                }
                // The reference correlates the two gauges; independent inputs are compared here.
                let independent = want("standard_uncertainty_psi").powi(2) - want("cross_term");
                close(net.rss().half_width, independent.sqrt(), "uncertainty");
            }
            "gum_pitot_flow" => {
                let c = part(0, field("c"), field("u_c"));
                let d = part(1, field("diameter_in"), field("u_diameter_in"));
                let p = part(2, field("pitot_psi"), field("u_pitot_psi"));
                let shape = c.mul(&d.pow(2.0).unwrap()).mul(&p.sqrt().unwrap());
                // The constant drops out of the relative uncertainty.
                close(
                    shape.rss().half_width / shape.centre(),
                    want("relative_standard_uncertainty"),
                    "relative uncertainty",
                );
            }
            "gum_efficiency" => {
                let relative =
                    |id: u64, name: &str, u: &str| part(id, field(name), field(name) * field(u));
                let eta = relative(0, "flow_gpm", "relative_u_flow")
                    .mul(&relative(1, "pressure_rise_psi", "relative_u_pressure"))
                    .div(
                        &relative(2, "torque_lbf_ft", "relative_u_torque").mul(&relative(
                            3,
                            "speed_rpm",
                            "relative_u_speed",
                        )),
                    )
                    .unwrap();
                close(
                    eta.rss().half_width / eta.centre(),
                    want("relative_standard_uncertainty"),
                    "relative uncertainty",
                );
            }
            other => panic!("unknown case {other}"),
        }
        seen += 1;
    }
    assert_eq!(seen, 24);
}
