//! Monte-Carlo over toleranced inputs: against closed forms, against the spec solved anew at the corners, and the same
//! whatever the number of cores.

use cutwater_compiler::hydraulic::sample::{Distribution, Plan, Sampled, Spread, sample};
use cutwater_compiler::results::{self, Shown};
use cutwater_compiler::vary::Problem;
use cutwater_compiler::{Db, DeclId, Settings};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

const PSI: f64 = 6_894.757_293_168;
const GPM: f64 = 6.309_019_64e-5;

fn plan(samples: u64) -> Plan {
    Plan {
        samples,
        seed: 1,
        distribution: Distribution::Even,
    }
}

fn opened(text: &str) -> (Db, DeclId) {
    let mut db = Db::new(Settings::default());
    let file = db.set_file("a.pump", text);
    db.settle(true, None).expect("not cancelled");
    let d = db.lookup(file, "d").expect("a duty called d");
    (db, d)
}

fn sampled(text: &str, plan: Plan) -> Result<Sampled, Problem> {
    let (mut db, d) = opened(text);
    sample(&mut db, d, plan, &|_| {}, &AtomicBool::new(false))
        .map(|s| s.expect("nothing stopped it"))
}

fn of<'s>(s: &'s Sampled, path: &str) -> &'s Spread {
    s.results
        .iter()
        .find(|r| r.path == path)
        .unwrap_or_else(|| panic!("no {path}"))
}

/// One fog nozzle: its flow is 150 gpm · √(p / 100 psi), whatever feeds it.
const ONE: &str = "pump p {
    rating = 500 gpm at 150 psi
    curve at 3000 rpm (flow gpm, net psi) {
          0 200
        300 180
        600 140
    }
}
supply s { draft { lift = 5 ft } }
nozzle fog {
    form  = fog
    rated = 150 gpm at 100 psi
}
lay l { p.discharge -> 100 ft of std.supply_2_1_2 -> n: fog }
duty d {
    supply = s
    lay    = l
    hold n.pressure = 100 psi ± 10
}
require d.n.flow >= 148 gpm
require 148 gpm <= d.n.flow
require d.n.pressure within 95 .. 105 psi
require d.n.flow + d.flow >= 290 gpm
";

#[test]
fn an_even_pressure_gives_the_flows_of_the_closed_form() {
    let n = 20_000;
    let s = sampled(ONE, plan(n)).unwrap();
    assert_eq!((s.solved, s.unsolved.len()), (n, 0));
    assert_eq!(s.inputs, ["d.n.pressure, as held"]);
    let q = of(&s, "d.n.flow");
    let at = |psi: f64| 150.0 * GPM * (psi / 100.0_f64).sqrt();
    assert!((q.nominal - at(100.0)).abs() < 1e-9 * q.nominal);
    // Of a quantile of 20 000 even numbers on 20 psi the standard error is 20 psi · √(0.025 · 0.975 / 20 000) = 0.022 psi;
    // five of these are asked for.
    for (got, psi) in [(q.low, 90.5), (q.high, 109.5)] {
        assert!(
            at(psi - 0.11) < got && got < at(psi + 0.11),
            "{got} near {psi} psi"
        );
    }
    // Mean of √x over 0.9 to 1.1: (2/3) (1.1^1.5 − 0.9^1.5) / 0.2; deviation near 0.5 · 0.1/√3, over √n.
    let mean = 150.0 * GPM * (1.1_f64.powf(1.5) - 0.9_f64.powf(1.5)) / 0.3;
    assert!((q.mean - mean).abs() < 5.0 * 0.029 * 150.0 * GPM / (n as f64).sqrt());
    assert!(q.least >= at(90.0) * (1.0 - 1e-9) && q.most <= at(110.0) * (1.0 + 1e-9));
    // All of it comes from the one input, and a root is nearly a straight line here.
    assert!(q.from[0].1 > 0.999 && q.from.len() == 1);
}

/// The share of samples below 148 gpm, which is 97.351 psi, for each way to draw.
#[test]
fn rules_are_missed_as_often_as_the_distribution_says() {
    let n = 20_000;
    let x = (100.0 * (148.0_f64 / 150.0).powi(2) - 90.0) / 20.0;
    let wanted = [
        (Distribution::Even, x),
        (Distribution::Triangular, 2.0 * x * x),
        // Φ(−0.530) = 0.29806 and Φ(−2) = 0.02275 of any table of the normal distribution.
        (
            Distribution::Normal,
            (0.29806 - 0.02275) / (1.0 - 2.0 * 0.02275),
        ),
    ];
    for (distribution, share) in wanted {
        let s = sampled(
            ONE,
            Plan {
                distribution,
                ..plan(n)
            },
        )
        .unwrap();
        let missed = |k: usize| s.limits[k].samples as f64 / n as f64;
        let error = (share * (1.0 - share) / n as f64).sqrt();
        assert!(
            (missed(0) - share).abs() < 5.0 * error,
            "{distribution:?}: {} for {share}",
            missed(0)
        );
        assert_eq!(
            s.limits[0].samples, s.limits[1].samples,
            "the same rule the other way round"
        );
        // What is held must lie from 95 to 105 psi, the middle half of what is drawn.
        if distribution == Distribution::Even {
            assert!((missed(2) - 0.5).abs() < 5.0 * (0.25 / n as f64).sqrt());
        }
        // A sum of two results is not counted, and said so.
        assert_eq!(s.not_counted.len(), 1);
    }
}

/// A whole system, with `@` where one number's tolerance stands.
const WHOLE: &str = "site { barometer = {barometer} }
water { temperature = {temperature} }
pump p {
    rating = 1000 gpm at 150 psi
    curve at 3000 rpm (flow gpm, net psi, power hp, npshr ft) {
           0  190   66   8
         400  183   92   9
        1000  152  132  14
        1400  117  150  22
    }
}
hose big { diameter = 2.5 in
    hazen_williams = {roughness} }
hose small { loss = {loss} per 100 ft at 100 gpm }
nozzle tip {
    form = smooth
    tip  = {tip}
}
supply s {
    draft {
        lift     = {lift}
        suction  = 20 ft of std.suction_6
        strainer = strainer
    }
}
appliance strainer { loss = {strainer} at 500 gpm }
lay l {
    p.discharge -> {length} of big rise {rise} -> y: std.gated_wye
    y -> 100 ft of small -> a: tip
    y -> 150 ft of small -> b: std.fog_150_100
}
duty d {
    supply = s
    lay    = l
    hold p.discharge.pressure = {held}
}
";

/// The toleranced numbers: name, unit, low and high.
const NUMBERS: [(&str, &str, f64, f64); 9] = [
    ("barometer", "inHg", 28.5, 30.5),
    ("temperature", "degF", 50.0, 90.0),
    ("roughness", "", 120.0, 150.0),
    ("loss", "psi", 10.0, 14.0),
    ("tip", "in", 0.5, 0.6),
    ("lift", "ft", 6.0, 12.0),
    ("strainer", "psi", 0.5, 1.5),
    ("length", "ft", 150.0, 250.0),
    ("held", "psi", 110.0, 150.0),
];

/// The whole with each number in its middle, but for one that is `text`.
fn whole(of: &str, text: &str) -> String {
    let mut out = WHOLE.replace("{rise}", if of == "rise" { text } else { "10 ft" });
    for (name, unit, low, high) in NUMBERS {
        let middle = format!("{} {unit}", f64::midpoint(low, high));
        out = out.replace(
            &format!("{{{name}}}"),
            if name == of { text } else { middle.trim() },
        );
    }
    out
}

/// The results of the duty of a spec without tolerances.
fn solved(text: &str) -> Vec<(String, f64)> {
    let (db, _) = opened(text);
    let found: Vec<String> = db
        .findings(db.file("a.pump").unwrap())
        .into_iter()
        .filter(|f| f.code.id != "CW1102" && f.level == cutwater_finding::Level::Error)
        .map(|f| f.message)
        .collect();
    assert!(found.is_empty(), "{found:?}");
    solved_without_rules(text)
}

fn solved_without_rules(text: &str) -> Vec<(String, f64)> {
    let (db, d) = opened(text);
    results::of_decl(&db, d)
        .into_iter()
        .filter_map(|r| match r.value {
            Shown::Number { value, unit, .. } => Some((
                r.path,
                cutwater_quantity::unit(&unit).map_or(value, |u| u.to_si(value)),
            )),
            Shown::Word(_) => None,
        })
        .collect()
}

/// Each number in turn is drawn between its limits; the smallest and largest of each result must be those of the spec
/// written with the limits themselves and solved from its text, as every result here rises or falls with each number.
#[test]
fn samples_reach_the_corners_solved_from_their_texts() {
    let more = [("rise", "ft", 5.0, 15.0)];
    for (name, unit, low, high) in NUMBERS.into_iter().chain(more) {
        let (middle, half) = (f64::midpoint(low, high), (high - low) / 2.0);
        let text = format!("{middle} {unit} ± {half}").replace("  ", " ");
        let s = sampled(&whole(name, text.trim()), plan(1500)).unwrap();
        assert_eq!(
            (s.inputs.len(), s.solved),
            (1, 1500),
            "{name}: {:?}",
            s.unsolved
        );
        let at = |v: f64| solved(&whole(name, format!("{v} {unit}").trim()));
        let (first, last) = (at(low), at(high));
        let mut moved = 0;
        for r in &s.results {
            let value = |all: &[(String, f64)]| all.iter().find(|x| x.0 == r.path).map(|x| x.1);
            let (Some(a), Some(b)) = (value(&first), value(&last)) else {
                continue;
            };
            let (least, most) = (a.min(b), a.max(b));
            let width = most - least;
            let slack = 1e-6 * most.abs().max(least.abs());
            assert!(
                r.least >= least - slack && r.most <= most + slack,
                "{name}: {} from {} to {}, not {least} to {most}",
                r.path,
                r.least,
                r.most
            );
            if width > 10.0 * slack {
                moved += 1;
                // Of 1500 even numbers the outermost lie within 1 % of the ends but once in a million runs.
                assert!(
                    r.least < least + 0.03 * width && r.most > most - 0.03 * width,
                    "{name}: {} from {} to {}, not {least} to {most}",
                    r.path,
                    r.least,
                    r.most
                );
            }
        }
        assert!(moved > 0, "{name} moves nothing");
    }
}

/// The curve moves with a ring's clearance, so a bore's tolerance moves the whole duty.
#[test]
fn worn_rings_reach_their_corners() {
    let text = |bore: &str| {
        ONE.replace("100 psi ± 10", "100 psi").replace(
            "pump p {\n",
            &format!(
                "impeller wheel {{ outside_diameter = 10 in }}\nring new {{\n    bore        = 5.505 in\n    runs_on     = 5.500 in\n    land_length = 0.75 in\n}}\nring worn like new {{ bore = {bore} }}\npump p {{\n    stages = [wheel]\n    rings = [worn]\n    tested_rings = [new]\n"
            ),
        )
    };
    let s = sampled(&text("5.520 in ± 0.010"), plan(1500)).unwrap();
    assert_eq!((s.inputs, s.solved), (vec!["worn.bore".to_owned()], 1500));
    let speed = |text: &str| {
        let rows = solved_without_rules(text);
        rows.iter().find(|x| x.0 == "d.speed").unwrap().1
    };
    let (least, most) = (speed(&text("5.510 in")), speed(&text("5.530 in")));
    let got = s.results.iter().find(|r| r.path == "d.speed").unwrap();
    assert!(
        most > least * (1.0 + 1e-4),
        "wider rings ask for more speed"
    );
    let near = |a: f64, b: f64| (a - b).abs() < 0.01 * (most - least);
    assert!(
        near(got.least, least) && near(got.most, most),
        "{got:?} {least} {most}"
    );
    assert!(got.least >= least * (1.0 - 1e-9) && got.most <= most * (1.0 + 1e-9));
}

#[test]
fn the_seed_alone_decides() {
    let run = |threads: usize, seed: u64| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| sampled(&whole("lift", "6 .. 12 ft"), Plan { seed, ..plan(1200) }).unwrap())
    };
    let one = run(1, 7);
    assert_eq!(one, run(3, 7));
    assert_ne!(one.results, run(1, 8).results);
}

/// Samples without a solution are counted with their reason and give no number.
#[test]
fn samples_without_a_solution_are_counted() {
    // The water parts above some lift within these limits.
    let text = whole("lift", "20 .. 34 ft");
    let s = sampled(&text, plan(2000)).unwrap();
    let lost: u64 = s.unsolved.iter().map(|u| u.1).sum();
    assert_eq!(s.solved + lost, 2000);
    assert_eq!(s.unsolved.len(), 1, "{:?}", s.unsolved);
    assert!(s.unsolved[0].0.contains("parts"));
    // Which lift, by halving on the spec's own text; the share of samples beyond it, within five standard errors.
    let holds = |lift: f64| {
        let (db, d) = opened(&whole("lift", &format!("{lift} ft")));
        results::of_decl(&db, d).iter().any(|r| r.path == "d.flow")
    };
    let (mut low, mut high) = (20.0, 34.0);
    assert!(holds(low) && !holds(high));
    while high - low > 1e-3 {
        let middle = f64::midpoint(low, high);
        if holds(middle) {
            low = middle
        } else {
            high = middle
        }
    }
    let share = (34.0 - low) / 14.0;
    assert!(
        (lost as f64 / 2000.0 - share).abs() < 5.0 * (share * (1.0 - share) / 2000.0_f64).sqrt()
    );
    let most = of(&s, "d.intake_pressure").least;
    assert!(most > -14.7 * PSI);
}

#[test]
fn a_stop_gives_nothing_and_progress_is_told_in_full() {
    let (mut db, d) = opened(ONE);
    let done = Mutex::new(0);
    let stop = AtomicBool::new(false);
    let count = |n: u64| *done.lock().unwrap() += n;
    assert!(
        sample(&mut db, d, plan(1300), &count, &stop)
            .unwrap()
            .is_some()
    );
    assert_eq!(*done.lock().unwrap(), 1300);
    let at_once = |_: u64| stop.store(true, Ordering::Relaxed);
    assert_eq!(sample(&mut db, d, plan(100_000), &at_once, &stop), Ok(None));
}

#[test]
fn what_cannot_be_sampled_is_said() {
    let message = |text: &str, plan: Plan| sampled(text, plan).unwrap_err().message;
    assert_eq!(
        message(&ONE.replace(" ± 10", ""), plan(1000)),
        "nothing varies: no input of duty `d` has a tolerance"
    );
    assert_eq!(message(ONE, plan(5)), "5 samples cannot be drawn");
    assert_eq!(
        message(&ONE.replace("supply = s", "supply = t"), plan(1000)),
        "duty `d` is not complete, so it cannot be sampled"
    );
    let far = message(&ONE.replace("100 ft of", "9000 ft of"), plan(1000));
    assert!(
        far.starts_with("duty `d` has no solution to begin with: the speed"),
        "{far}"
    );
}
