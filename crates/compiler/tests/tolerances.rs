//! Tolerances through the compiler: classes of ISO 286, bounds of whole expressions, and what is said of a rule that holds
//! nominally, by root-sum-square, or not at all.

mod common;

use common::*;
use cutwater_compiler::Db;
use cutwater_compiler::value::{Quantity, Value};
use cutwater_finding::{Finding, FixTier, Place};
use cutwater_quantity::parse_unit;
use proptest::prelude::*;

/// The value of a `let`.
fn named(db: &Db, name: &str) -> Quantity {
    let d = db
        .lookup(db.file("a.pump").expect("the file is there"), name)
        .expect("declared");
    match db.settled(d, 0) {
        Some(Value::Quantity(q)) => q.clone(),
        other => panic!("{name} is {other:?}; {:#?}", findings(db)),
    }
}

/// Lower and upper limit in a unit.
fn limits(q: &Quantity, unit: &str) -> (f64, f64) {
    let unit = parse_unit(unit).expect("a unit");
    (unit.from_si(q.value.lo()), unit.from_si(q.value.hi()))
}

// ---- classes ----------------------------------------------------------------------------------------

/// Limits as published for the classes (see `crates/mechanics/tests/data/iso286_published.txt`): K. L. Narayana, Machine
/// Drawing, tables 15.2 and 15.3, and public ISO 286-2 tables; the size is added by hand.
#[test]
fn a_class_stands_for_its_limits() {
    for (size, low, high) in [
        ("45 mm H7", 45.000, 45.025),
        ("45 mm g6", 44.975, 44.991),
        ("50 mm s6", 50.043, 50.059),
        ("140 mm H8", 140.000, 140.063),
        ("140 mm f7", 139.917, 139.957),
        ("120 mm p6", 120.037, 120.059),
        ("60 mm JS7", 59.985, 60.015),
        ("300 mm M6", 299.959, 299.991),
        ("30 mm N7", 29.972, 29.993),
        ("30.001 mm N7", 29.968, 29.993),
        ("500 mm P7", 499.892, 499.955),
        ("2 mm h9", 1.975, 2.000),
        // 4.5 cm and 0.045 m are the same size.
        ("4.5 cm H7", 45.000, 45.025),
        ("0.045 m H7", 45.000, 45.025),
        // 1-1/2 in is 38.1 mm: over 30 up to 50; p6 there is +42/+26 µm.
        ("1-1/2 in p6", 38.126, 38.142),
        ("1.5 in H7", 38.100, 38.125),
        // 1.9685 in is 49.9999 mm, 1.9686 in 50.00244 mm: H7 is 25 µm up to 50 mm, 30 µm above.
        ("1.9685 in H7", 49.9999, 50.0249),
        ("1.9686 in H7", 50.00244, 50.03244),
    ] {
        let db = settled(&format!("let x = {size}\n"));
        assert!(findings(&db).is_empty(), "{size}: {:#?}", findings(&db));
        let (got_low, got_high) = limits(&named(&db, "x"), "mm");
        assert!(
            (got_low - low).abs() < 1e-9 && (got_high - high).abs() < 1e-9,
            "{size}: {got_low} .. {got_high}"
        );
    }
}

#[test]
fn a_class_goes_with_the_value_but_not_with_what_is_computed() {
    let db = settled(
        "impeller wheel {\n    outside_diameter = 235 mm\n    hub_diameter = 140 mm f7\n}\nring seal {\n    runs_on = wheel.hub_diameter\n    bore = 140 mm H8\n}\nlet twice = wheel.hub_diameter * 2\nlet less = -wheel.hub_diameter\n",
    );
    let hub = quantity(&db, "seal.runs_on");
    let fit = hub.fit.expect("written with a class");
    assert_eq!(fit.class.to_string(), "f7");
    close(fit.nominal, 0.140, 1e-15);
    assert!(quantity(&db, "seal.clearance").fit.is_none());
    assert!(named(&db, "twice").fit.is_none());
    assert!(named(&db, "less").fit.is_none());
    // H8/f7 at 140 mm: 43 to 146 µm, by hand from +63/0 and -43/-83.
    let (low, high) = limits(&quantity(&db, "seal.clearance"), "mm");
    close(low, 0.043, 1e-9);
    close(high, 0.146, 1e-9);
}

#[test]
fn classes_that_are_none_are_said_to_be_none() {
    // The text, the finding, a part of its message, and what the fix writes.
    for (text, code, says, fix) in [
        (
            "45 mm H77",
            "CW0409",
            "not 77; did you mean `H7`?",
            Some("H7"),
        ),
        ("45 mm H0", "", "", None),
        ("45 mm H07", "CW0409", "did you mean `H7`?", Some("H7")),
        ("45 mm Js7", "CW0409", "did you mean `JS7`?", Some("JS7")),
        ("45 mm sj6", "CW0409", "did you mean `js6`?", Some("js6")),
        (
            "45 mm Q7",
            "CW0409",
            "no fundamental deviation is called `Q`",
            None,
        ),
        ("45 mm j9", "CW0409", "j has the grades 5 to 8", None),
        ("45 mm K2", "CW0409", "K has the grades 3 to 18", None),
        ("45 H7", "CW0410", "45 has no unit", None),
        ("45 psi H7", "CW0410", "45 psi is a pressure", None),
        ("62 degF h9", "CW0410", "for lengths", None),
        ("600 mm H7", "CW0410", "up to 500 mm, not for 600 mm", None),
        ("20.5 in p6", "CW0410", "20.5 in (520.7 mm)", None),
        ("0 mm H7", "CW0410", "not for 0 mm", None),
        ("20 mm t6", "CW0410", "for sizes over 24 mm", None),
        ("60 mm cd7", "CW0410", "for sizes up to 50 mm", None),
        ("45 mm K9", "CW0410", "for sizes up to 3 mm", None),
        (
            "45 mmH7",
            "CW0409",
            "without a blank between",
            Some("mm H7"),
        ),
        ("45 H7/g6", "CW0409", "a size has one", None),
        (
            "45 mm H7/g6",
            "CW0202",
            "stands behind a size, as `45 mm g6`",
            None,
        ),
        (
            "45 mm ± 0.1 H7",
            "CW0409",
            "stands where a unit should",
            None,
        ),
        ("1 mm h14", "CW0410", "for sizes over 1 mm", None),
    ] {
        let text = format!("let x = {text}\n");
        let db = settled(&text);
        if code.is_empty() {
            assert!(findings(&db).is_empty(), "{text}");
            continue;
        }
        let f = the(&db, code);
        assert!(f.message.contains(says), "{text}: {}", f.message);
        assert!(f.help.is_some(), "{text}");
        assert_eq!(findings(&db).len(), 1, "{text}: {:#?}", findings(&db));
        match (fix, &f.fix) {
            (Some(want), Some(got)) => {
                // Putting the blank in keeps every character; all else is a guess.
                let sure = text.contains("mmH7");
                assert_eq!(got.tier == FixTier::Safe, sure, "{text}");
                assert_eq!(got.edits.len(), 1);
                assert_eq!(got.edits[0].text, want, "{text}");
                let mut mended = text.clone();
                let span = got.edits[0].place.span;
                mended.replace_range(span.start as usize..span.end as usize, &got.edits[0].text);
                assert!(findings(&settled(&mended)).is_empty(), "{mended}");
            }
            (None, None) => {}
            other => panic!("{text}: {other:?}"),
        }
    }
}

#[test]
fn a_class_or_tolerance_on_the_end_of_a_range_is_refused() {
    for end in ["45 mm H7", "45 mm ± 0.1"] {
        let db = settled(&format!("let x = 44 .. {end}\n"));
        assert!(the(&db, "CW0402").message.contains("end of a range"));
    }
}

// ---- what fails, and what would mend it ---------------------------------------------------------------

const FIT: &str = "let bore = 5.502 in ± 0.002\nlet hub = 5.497 in ± 0.001\nlet gap = bore - hub\n";

fn judged(rule: &str) -> Vec<Finding<Place>> {
    findings(&settled(&format!("{FIT}{rule}\n")))
}

fn number(f: &Finding<Place>, what: &str) -> f64 {
    f.numbers
        .iter()
        .find(|n| n.what == what)
        .unwrap_or_else(|| panic!("no {what} in {f:#?}"))
        .value
}

/// By hand: gap 0.005 in, worst case ± 0.003, root-sum-square ± √5 thousandths = 2.236 thousandths: 0.00276 to 0.00724 in.
#[test]
fn three_ways_to_fail() {
    assert!(judged("require gap within 0.002 .. 0.008 in").is_empty());
    for (rule, code, says) in [
        // Both ends of the worst case, 0.002 and 0.008, lie outside; 0.00276 and 0.00724 inside.
        (
            "require gap within 0.0025 .. 0.0075 in",
            "CW0502",
            "nominally and by root-sum-square (0.0028 .. 0.0072 in), but not in the worst case",
        ),
        (
            "require gap within 0.003 .. 0.007 in",
            "CW0503",
            "nominally, but not by root-sum-square (0.0028 .. 0.0072 in), nor in the worst case",
        ),
        (
            "require gap within 0.006 .. 0.009 in",
            "CW0501",
            "not within 0.0060 .. 0.0090 in",
        ),
        (
            "require gap >= 0.0025 in",
            "CW0502",
            ">= 0.0025 in nominally and by root-sum-square",
        ),
        (
            "require gap >= 0.003 in",
            "CW0503",
            "but not by root-sum-square",
        ),
        ("require gap >= 0.006 in", "CW0501", "not >= 0.0060 in"),
        (
            "require gap <= 0.0075 in",
            "CW0502",
            "not in the worst case",
        ),
        (
            "require gap <= 0.007 in",
            "CW0503",
            "not by root-sum-square",
        ),
        ("require gap <= 0.004 in", "CW0501", "not <= 0.0040 in"),
        // The limit has a tolerance too: bore - hub, judged as one difference.
        (
            "require bore >= hub + 0.0025 in",
            "CW0502",
            "not in the worst case",
        ),
        (
            "require bore >= hub + 0.003 in",
            "CW0503",
            "not by root-sum-square",
        ),
        // 5 ± 3 thousandths on both sides of a limit that moves with it: no tolerance is left.
        ("require gap - hub >= 0.001 in - hub", "CW0502", ""),
    ] {
        let found = judged(rule);
        if says.is_empty() {
            assert!(found.is_empty(), "{rule}: {found:#?}");
            continue;
        }
        assert_eq!(found.len(), 1, "{rule}: {found:#?}");
        assert_eq!(found[0].code.id, code, "{rule}: {}", found[0].message);
        assert!(
            found[0].message.contains(says),
            "{rule}: {}",
            found[0].message
        );
        assert!(found[0].help.is_some(), "{rule}");
    }
}

/// By hand, within 0.003 .. 0.007 in: room 2 thousandths each side. Worst case: all to 2/3; the bore alone, ± 2, to ± 1, so from
/// 4 to 2 thousandths wide; the hub alone, ± 1, to nothing, so it cannot. Root-sum-square: all to 2/√5 = 89.4 %; the bore
/// alone to √(2² − 1²) = ± 1.732, 3.46 wide; the hub alone to √(2² − 2²) = 0, so it cannot.
#[test]
fn how_far_each_would_have_to_shrink() {
    let found = judged("require gap within 0.003 .. 0.007 in because \"house rule\"");
    let f = &found[0];
    close(
        number(f, "shrink all for the worst case"),
        200.0 / 3.0,
        1e-6,
    );
    close(
        number(f, "shrink all for the root-sum-square"),
        200.0 / 5f64.sqrt(),
        1e-6,
    );
    close(number(f, "worst case low"), 0.002, 1e-9);
    close(
        number(f, "root-sum-square high"),
        0.005 + 5f64.sqrt() / 1000.0,
        1e-9,
    );
    let help = f.help.as_deref().expect("help");
    for part in [
        "to keep it by root-sum-square, shrink every tolerance to 89 % of its width, or that of `bore` alone from 0.0040 in to 0.0034 in",
        "to keep it in the worst case, shrink every tolerance to 66 % of its width, or that of `bore` alone from 0.0040 in to 0.0020 in",
    ] {
        assert!(help.contains(part), "{help}");
    }
    assert!(!help.contains("`hub` alone"), "{help}");
    // Shares: 2 of 3 and 1 of 3 of the worst case, 4 of 5 and 1 of 5 of the squares; the places are those of the numbers.
    let text = format!("{FIT}require gap within 0.003 .. 0.007 in because \"house rule\"\n");
    let labels: Vec<(&str, &str)> = f
        .labels
        .iter()
        .map(|l| (covered(&text, l.place), l.text.as_str()))
        .collect();
    assert_eq!(
        labels,
        [
            ("\"house rule\"", "the reason given"),
            (
                "5.502 in ± 0.002",
                "`bore`: 0.0040 in wide, 67 % of the worst case, 80 % of the root-sum-square"
            ),
            (
                "5.497 in ± 0.001",
                "`hub`: 0.0020 in wide, 33 % of the worst case, 20 % of the root-sum-square"
            ),
        ]
    );
}

/// What the help asks for is enough: the spec with the tolerances shrunk as it says keeps its rule.
#[test]
fn what_the_help_says_is_enough() {
    let with = |bore: &str, hub: &str| {
        findings(&settled(&format!(
            "let bore = 5.502 in ± {bore}\nlet hub = 5.497 in ± {hub}\nrequire bore - hub within 0.003 .. 0.007 in\n"
        )))
    };
    // All to 66 %, and the bore alone to 0.0020 in wide: the worst case holds.
    assert!(with("0.00132", "0.00066").is_empty());
    assert!(with("0.001", "0.001").is_empty());
    // All to 89 %, and the bore alone to 0.0034 in wide: only the worst case is left to say.
    for found in [with("0.00178", "0.00089"), with("0.0017", "0.001")] {
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].code.id, "CW0502");
    }
    // A little more is not enough.
    assert_eq!(with("0.00136", "0.00068")[0].code.id, "CW0502");
    assert_eq!(with("0.00182", "0.00091")[0].code.id, "CW0503");
}

/// By hand: 0.005 in nominal; 0.006 in is 1 thousandth up, the worst case's 0.002 in is 4 thousandths below it.
#[test]
fn where_the_nominal_is_out_no_shrinking_helps() {
    let found = judged("require gap >= 0.006 in");
    let help = found[0].help.as_deref().expect("help");
    assert!(
        help.contains("move the nominal value up by 0.0010 in, or by 0.0040 in for the worst case"),
        "{help}"
    );
    let found = judged("require gap within 0.006 .. 0.009 in");
    let help = found[0].help.as_deref().expect("help");
    assert!(
        help.contains(
            "the tolerances together are 0.0060 in wide, wider than the range of 0.0030 in"
        ),
        "{help}"
    );
    // The nominal value is inside, but the middle of the limits is not: 5 (+0/-4) thousandths lies about 3.
    let db = settled("let a = 0.005 in (+0/-0.004)\nrequire a >= 0.0035 in\n");
    let help = the(&db, "CW0502").help.expect("help");
    assert!(
        help.contains("no shrinking helps") && help.contains("up by 0.0025 in"),
        "{help}"
    );
    // Without a tolerance the amount says it all.
    let db = settled("let a = 4 in\nrequire a >= 4.5 in\n");
    assert_eq!(
        the(&db, "CW0501").help.as_deref(),
        Some("it would have to be 0.5000 in more")
    );
}

#[test]
fn numbers_that_look_alike_get_more_digits() {
    // 0.0046 in against a limit of 0.00456 in: at four digits both are 0.0046.
    let db = settled("let a = 0.005 in ± 0.00044\nrequire a >= 0.00457 in\n");
    let f = the(&db, "CW0502");
    assert!(f.message.contains("0.00456 .. 0.00544 in"), "{}", f.message);
}

#[test]
fn a_ring_is_judged_the_same_way() {
    let ring = |limit: &str| {
        settled(&format!(
            "ring seal {{\n    runs_on = 5.497 in ± 0.001\n    bore = 5.502 in ± 0.002\n    clearance_limit = {limit}\n}}\n"
        ))
    };
    let f = the(&ring("0.0025 .. 0.0075 in"), "CW1214");
    assert!(
        f.message.contains("nominally and by root-sum-square"),
        "{}",
        f.message
    );
    let f = the(&ring("0.003 .. 0.007 in"), "CW1214");
    assert!(
        f.message.contains("nominally, but not by root-sum-square"),
        "{}",
        f.message
    );
    let help = f.help.expect("help");
    assert!(
        help.contains("`seal.bore` alone from 0.0040 in to 0.0020 in"),
        "{help}"
    );
}

/// Contributors in another declaration, through a path, and one number used twice.
#[test]
fn contributors_are_the_dimensions_themselves() {
    let text = "impeller first {\n    outside_diameter = 9.25 in\n    hub_diameter = 5.497 in (+0/-0.002)\n}\nring seal {\n    runs_on = first.hub_diameter\n    bore = first.hub_diameter + 0.005 in ± 0.0005\n}\nrequire seal.clearance >= 0.0047 in\n";
    let f = the(&settled(text), "CW0502");
    let labels: Vec<(&str, &str)> = f
        .labels
        .iter()
        .map(|l| (covered(text, l.place), l.text.as_str()))
        .collect();
    // The hub is in both sizes and has no part in their difference.
    assert_eq!(
        labels,
        [(
            "first.hub_diameter + 0.005 in ± 0.0005",
            "`seal.bore`: 100 % of the worst case, 100 % of the root-sum-square"
        )]
    );
}

// ---- whole expressions -------------------------------------------------------------------------------

#[derive(Clone, Debug)]
enum Tree {
    Input(usize),
    Number(u8),
    Add(Box<Tree>, Box<Tree>),
    Sub(Box<Tree>, Box<Tree>),
    Mul(Box<Tree>, Box<Tree>),
    Div(Box<Tree>, Box<Tree>),
    Max(Box<Tree>, Box<Tree>),
    Abs(Box<Tree>),
    Root(Box<Tree>),
    Square(Box<Tree>),
}

const INPUTS: usize = 8;

fn tree() -> impl Strategy<Value = Tree> {
    let leaf = prop_oneof![
        5 => (0..INPUTS).prop_map(Tree::Input),
        1 => (1..9u8).prop_map(Tree::Number),
    ];
    leaf.prop_recursive(5, 20, 2, |inner| {
        let two = (inner.clone(), inner.clone()).prop_map(|(a, b)| (Box::new(a), Box::new(b)));
        prop_oneof![
            3 => two.clone().prop_map(|(a, b)| Tree::Add(a, b)),
            3 => two.clone().prop_map(|(a, b)| Tree::Sub(a, b)),
            3 => two.clone().prop_map(|(a, b)| Tree::Mul(a, b)),
            2 => two.clone().prop_map(|(a, b)| Tree::Div(a, b)),
            1 => two.prop_map(|(a, b)| Tree::Max(a, b)),
            1 => inner.clone().prop_map(|a| Tree::Abs(Box::new(a))),
            1 => inner.clone().prop_map(|a| Tree::Root(Box::new(a))),
            1 => inner.prop_map(|a| Tree::Square(Box::new(a))),
        ]
    })
}

/// As a spec would say it.
fn written(t: &Tree) -> String {
    match t {
        Tree::Input(i) => format!("x{i}"),
        Tree::Number(n) => n.to_string(),
        Tree::Add(a, b) => format!("({} + {})", written(a), written(b)),
        Tree::Sub(a, b) => format!("({} - {})", written(a), written(b)),
        Tree::Mul(a, b) => format!("({} * {})", written(a), written(b)),
        Tree::Div(a, b) => format!("({} / {})", written(a), written(b)),
        Tree::Max(a, b) => format!("max({}, {})", written(a), written(b)),
        Tree::Abs(a) => format!("abs({})", written(a)),
        Tree::Root(a) => format!("sqrt({})", written(a)),
        Tree::Square(a) => format!("({} ^ 2)", written(a)),
    }
}

/// The value at a point, and a bound of what rounding can have done to it.
fn at(t: &Tree, x: &[f64]) -> (f64, f64) {
    const E: f64 = f64::EPSILON;
    let two = |a: &Tree, b: &Tree| (at(a, x), at(b, x));
    match t {
        Tree::Input(i) => (x[*i], 0.0),
        Tree::Number(n) => (f64::from(*n), 0.0),
        Tree::Add(a, b) => {
            let ((a, ea), (b, eb)) = two(a, b);
            (a + b, ea + eb + E * (a + b).abs())
        }
        Tree::Sub(a, b) => {
            let ((a, ea), (b, eb)) = two(a, b);
            (a - b, ea + eb + E * (a - b).abs())
        }
        Tree::Mul(a, b) => {
            let ((a, ea), (b, eb)) = two(a, b);
            (
                a * b,
                ea * b.abs() + eb * a.abs() + ea * eb + E * (a * b).abs(),
            )
        }
        Tree::Div(a, b) => {
            let ((a, ea), (b, eb)) = two(a, b);
            let q = a / b;
            (
                q,
                (ea + q.abs() * eb) / (b.abs() - eb).max(f64::MIN_POSITIVE) + E * q.abs(),
            )
        }
        Tree::Max(a, b) => {
            let ((a, ea), (b, eb)) = two(a, b);
            (a.max(b), ea.max(eb))
        }
        Tree::Abs(a) => {
            let (a, e) = at(a, x);
            (a.abs(), e)
        }
        Tree::Root(a) => {
            let (a, e) = at(a, x);
            let r = a.max(0.0).sqrt();
            (r, e / r.max(e.sqrt()).max(f64::MIN_POSITIVE) + E * r)
        }
        Tree::Square(a) => {
            let (a, e) = at(a, x);
            (a * a, 2.0 * a.abs() * e + e * e + E * a * a)
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 120, ..ProptestConfig::default() })]

    /// Random expressions over eight dimensions, each used any number of times, written as text: the bounds that come out hold
    /// every corner and a thousand samples.
    #[test]
    fn bounds_hold_every_corner_and_sample(
        t in tree(),
        sizes in prop::collection::vec((1..900u32, 0..60u32, 0..60u32), INPUTS),
        shares in prop::collection::vec(prop::collection::vec(0.0..=1.0f64, INPUTS), 1000),
    ) {
        let mut text = String::new();
        let mut limits = Vec::new();
        for (i, (size, plus, minus)) in sizes.iter().enumerate() {
            let (size, plus, minus) = (f64::from(*size) / 100.0, f64::from(*plus) / 1000.0, f64::from(*minus) / 1000.0);
            text.push_str(&format!("let x{i} = {size} (+{plus}/-{minus})\n"));
            limits.push((size - minus, size + plus));
        }
        text.push_str(&format!("let y = {}\nlet none = y - y\n", written(&t)));
        let db = settled(&text);
        let value = |name: &str| {
            let d = db.lookup(db.file("a.pump").unwrap(), name).unwrap();
            match db.settled(d, 0) {
                Some(Value::Quantity(q)) => Some(q.clone()),
                _ => None,
            }
        };
        // A divisor or root that may go wrong is refused with a finding, not given bounds.
        let Some(y) = value("y") else {
            prop_assert!(fires(&db, "CW0407"), "{text}{:#?}", findings(&db));
            return Ok(());
        };
        let none = value("none").expect("the difference of a value and itself");
        prop_assert_eq!((none.value.lo(), none.value.hi()), (0.0, 0.0));
        let holds = |x: &[f64]| {
            let (v, error) = at(&t, x);
            y.value.lo() - error <= v && v <= y.value.hi() + error
        };
        for corner in 0..1usize << INPUTS {
            let x: Vec<f64> = limits.iter().enumerate().map(|(i, (lo, hi))| if corner >> i & 1 == 1 { *hi } else { *lo }).collect();
            prop_assert!(holds(&x), "corner {corner:b} of {text}: {:?}", y.value);
        }
        for share in &shares {
            let x: Vec<f64> = share.iter().zip(&limits).map(|(s, (lo, hi))| lo + s * (hi - lo)).collect();
            prop_assert!(holds(&x), "{x:?} of {text}: {:?}", y.value);
        }
    }

    /// Sums and differences in any order and by way of any number of names: the bounds are the corners.
    #[test]
    fn stacks_are_exact(terms in prop::collection::vec((0..4usize, any::<bool>()), 1..12)) {
        let mut text = String::from("let x0 = 5.502 in ± 0.0005\nlet x1 = 140 mm H8\nlet x2 = 139.95 mm f7\nlet x3 = 0.01 in (+0.001/-0.002)\nlet s0 = 0 in\n");
        // In mm: limits by hand from the tables (H8 at 140: +63/0; f7 at 139.95: -43/-83).
        let limits = [(5.5015 * 25.4, 5.5025 * 25.4), (140.0, 140.063), (139.867, 139.907), (0.008 * 25.4, 0.011 * 25.4)];
        let mut count = [0i32; 4];
        for (k, (i, minus)) in terms.iter().enumerate() {
            text.push_str(&format!("let s{} = s{k} {} x{i}\n", k + 1, if *minus { '-' } else { '+' }));
            count[*i] += if *minus { -1 } else { 1 };
        }
        let db = settled(&text);
        let q = named(&db, &format!("s{}", terms.len()));
        let (mut low, mut high) = (0.0, 0.0);
        for (n, (l, h)) in count.iter().zip(limits) {
            let n = f64::from(*n);
            low += (n * l).min(n * h);
            high += (n * l).max(n * h);
        }
        let unit = parse_unit("mm").unwrap();
        // 2000 mm at most are added up; binary rounding of that is below a picometre.
        prop_assert!((unit.from_si(q.value.lo()) - low).abs() < 1e-9, "{text}");
        prop_assert!((unit.from_si(q.value.hi()) - high).abs() < 1e-9, "{text}");
        let gone = count.iter().filter(|n| **n != 0).count();
        prop_assert_eq!(q.value.inputs().count(), gone);
    }
}

/// One dimension on both sides: nothing of its tolerance is left.
#[test]
fn two_sizes_from_one_dimension() {
    let db = settled(
        "let hub = 5.497 in (+0/-0.001)\nlet bore = hub + 0.005 in\nlet gap = bore - hub\nlet ratio = hub / hub\nlet same = bore - bore\n",
    );
    let gap = named(&db, "gap");
    assert!(!gap.value.is_toleranced());
    close(parse_unit("in").unwrap().from_si(gap.si()), 0.005, 1e-12);
    assert_eq!(named(&db, "ratio").value.lo(), 1.0);
    assert_eq!(named(&db, "ratio").value.hi(), 1.0);
    assert_eq!(named(&db, "same").value.hi(), 0.0);
}

/// A rule that holds nominally only may be accepted with a reason, as one that fails may.
#[test]
fn a_spread_outside_its_limits_may_be_accepted() {
    let text = format!(
        "{FIT}require gap >= 0.003 in\naccept CW0503 because \"each pair is measured and matched\"\n"
    );
    let db = settled(&text);
    let found = db.found(db.file("a.pump").expect("the file is there"));
    assert_eq!(found.len(), 1, "{found:#?}");
    assert_eq!(found[0].finding.code.id, "CW0503");
    assert!(
        matches!(found[0].standing, cutwater_compiler::Standing::Accepted(_)),
        "{:?}",
        found[0].standing
    );
}
