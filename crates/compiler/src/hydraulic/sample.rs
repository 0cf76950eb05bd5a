//! Monte-Carlo: a duty solved many times, with every toleranced input somewhere within its limits.
//!
//! Each sample draws one number for each input, works out every number of the system from these ([`Formula`]), and solves
//! the whole network; nothing is linearised but what went through a function that a tolerance does not keep. Known by limits alone, an input is drawn evenly between them (JCGM 101:2008, 6.4.2); other
//! distributions can be asked for.
//!
//! Invariants: the same seed gives the same numbers on any number of cores; a sample without a solution is counted with
//! its reason and gives no number; a stop leaves nothing half done.
//! Not here: tolerances of numbers in tables (they have none) and of the drive.

use super::system::{Failure, System};
use super::{Read, read};
use crate::DeclId;
use crate::budget;
use crate::db::{Cx, Db, Local};
use crate::eval::Ev;
use crate::kinds::duty::each_number;
use crate::value::Value;
use crate::vary::Problem;
use cutwater_finding::Place;
use cutwater_hydraulics::network::{Infeasible, Options, SolveError};
use cutwater_quantity::{Formula, InputId, Kind, Tol};
use cutwater_syntax::ast::{Comparison, Expr, ExprKind, ItemKind, Path, Rule};
use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};

/// Fewest samples that tell anything, and most that are kept in memory.
pub const SAMPLES: std::ops::RangeInclusive<u64> = 100..=5_000_000;

/// Samples drawn in a row from one stream of numbers.
const BLOCK: u64 = 512;

/// How an input lies within its limits.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Distribution {
    /// Anywhere alike.
    Even,
    /// Rising to the centre and falling from it in straight lines.
    Triangular,
    /// Normal with the limits at two standard deviations, and none beyond them.
    Normal,
}

/// What is to be drawn.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Plan {
    /// How many samples.
    pub samples: u64,
    /// Where the stream of numbers begins.
    pub seed: u64,
    /// How inputs lie within their limits.
    pub distribution: Distribution,
}

/// The distribution of one result over the samples with a solution, in SI units.
#[derive(Clone, PartialEq, Debug)]
pub struct Spread {
    /// The path a spec would use.
    pub path: String,
    /// What it is.
    pub kind: Kind,
    /// With every input at its nominal.
    pub nominal: f64,
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub deviation: f64,
    /// Between these lie 95 % of the samples, as many below as above.
    pub low: f64,
    /// See `low`.
    pub high: f64,
    /// Smallest.
    pub least: f64,
    /// Largest.
    pub most: f64,
    /// The inputs that move it, with the share of its variance that a straight line in each explains, largest first.
    pub from: Vec<(String, f64)>,
}

/// How often a limit was not kept.
#[derive(Clone, PartialEq, Debug)]
pub struct Missed {
    /// The limit, in words.
    pub limit: String,
    /// Where it is written; `None` for one that stands in no text.
    pub place: Option<Place>,
    /// Samples with a solution that do not keep it.
    pub samples: u64,
}

/// What came of it.
#[derive(Clone, PartialEq, Debug)]
pub struct Sampled {
    /// What was drawn.
    pub plan: Plan,
    /// The inputs that were drawn, by path.
    pub inputs: Vec<String>,
    /// Samples with a solution.
    pub solved: u64,
    /// Samples without, by reason.
    pub unsolved: Vec<(&'static str, u64)>,
    /// The results.
    pub results: Vec<Spread>,
    /// The limits: the spec's own rules on this duty, suction head, and the engine's power.
    pub limits: Vec<Missed>,
    /// Rules that speak of this duty in a form that is not counted, by place.
    pub not_counted: Vec<Place>,
}

/// A limit on one result.
struct Limit {
    text: String,
    place: Option<Place>,
    /// Which result.
    of: usize,
    low: Option<(Formula, bool)>,
    high: Option<(Formula, bool)>,
}

impl Limit {
    /// Whether a value is outside; the limits themselves may depend on the inputs. A strict limit is not kept on it.
    fn misses(&self, value: f64, deviations: &[f64], scratch: &mut Vec<f64>) -> bool {
        let slack = 1e-12 * value.abs();
        let mut end = |l: &Option<(Formula, bool)>| {
            l.as_ref()
                .map(|(f, strict)| (f.at(deviations, scratch), *strict))
        };
        let below = end(&self.low).is_some_and(|(l, strict)| match strict {
            true => value <= l,
            false => value < l - slack,
        });
        below
            || end(&self.high).is_some_and(|(h, strict)| match strict {
                true => value >= h,
                false => value > h + slack,
            })
    }
}

/// Samples a duty. `step` is told how many samples more are done; `stop` ends the run, which then gives `None`.
///
/// # Errors
/// A plan that cannot be drawn, a duty that is not complete or has no solution to begin with, or nothing that varies.
pub fn sample(
    db: &mut Db,
    duty: DeclId,
    plan: Plan,
    step: &(dyn Fn(u64) + Sync),
    stop: &AtomicBool,
) -> Result<Option<Sampled>, Problem> {
    let name = db.name(duty).map_or(String::new(), ToString::to_string);
    let problem = |message: String, help: &str| Problem {
        message,
        help: help.to_owned(),
    };
    if !SAMPLES.contains(&plan.samples) {
        return Err(problem(
            format!("{} samples cannot be drawn", plan.samples),
            &format!("ask for {} to {} samples", SAMPLES.start(), SAMPLES.end()),
        ));
    }
    let Ok(Ok(Read { system, .. })) = db.with(duty, |cx| read(cx, duty)) else {
        return Err(problem(
            format!("duty `{name}` is not complete, so it cannot be sampled"),
            "mend what `cutwater check` finds in it",
        ));
    };
    let mut inputs: Vec<InputId> = Vec::new();
    let formulas: Vec<Formula> = system
        .numbers
        .all()
        .iter()
        .map(|t| Formula::of(t, &mut inputs))
        .collect();
    if inputs.is_empty() {
        return Err(problem(
            format!("nothing varies: no input of duty `{name}` has a tolerance"),
            "state some, as `lift = 8 ft ± 0.5` or `hold left.pressure = 100 psi ± 3`",
        ));
    }
    let nominal = match numbers(&system, &system.numbers.nominals()) {
        Ok(v) => v,
        Err(why) => {
            return Err(problem(
                format!("duty `{name}` has no solution to begin with: {why}"),
                "`cutwater solve` says more; sample it when its nominal numbers have a solution",
            ));
        }
    };
    let mut paths: Vec<(String, Kind)> = Vec::new();
    let settled = system.settle(&system.numbers.nominals(), &Options::default());
    if let Ok(s) = &settled {
        let x = system.numbers.nominals();
        each_number(
            &system.pumps_at_work(&x, s),
            &system.engines,
            &system.stations_at_work(&x, s),
            &mut |whose, what, kind, _| {
                let whose = whose.map_or(String::new(), |w| format!("{w}."));
                paths.push((format!("{whose}{what}"), kind));
            },
        );
    }
    let known = inputs.len();
    let (limits, not_counted) = limits(db, duty, &paths, &mut inputs);
    // A limit's own tolerances are drawn, too.
    debug_assert!(inputs.len() >= known);

    let job = Draw {
        system: &system,
        formulas: &formulas,
        inputs: inputs.len(),
        limits: &limits,
        results: paths.len(),
        plan,
    };
    let blocks = plan.samples.div_ceil(BLOCK);
    let parts: Vec<Option<Part>> = (0..blocks)
        .into_par_iter()
        .map(|b| {
            if stop.load(Ordering::Relaxed) {
                return None;
            }
            let part = job.block(b);
            step(part.samples);
            Some(part)
        })
        .collect();
    let Some(parts) = parts.into_iter().collect::<Option<Vec<Part>>>() else {
        return Ok(None);
    };
    let from = db.file_of(duty);
    let names: Vec<String> = inputs
        .iter()
        .map(|i| match system.numbers.name(*i) {
            Some(name) => name.to_owned(),
            None => budget::path_of(db, *i, from),
        })
        .collect();
    Ok(Some(job.gather(
        parts,
        &name,
        &paths,
        &nominal,
        names,
        not_counted,
    )))
}

/// The numbers of a system that is solved with `x`, in the order of [`each_number`]; else why there are none.
fn numbers(system: &System, x: &[f64]) -> Result<Vec<f64>, &'static str> {
    let settled = system
        .settle(x, &Options::default())
        .map_err(|e| reason(&e))?;
    let (pumps, stations) = (
        system.pumps_at_work(x, &settled),
        system.stations_at_work(x, &settled),
    );
    let mut out = Vec::with_capacity(32);
    each_number(&pumps, &system.engines, &stations, &mut |_, _, _, v| {
        out.push(v.unwrap_or(f64::NAN));
    });
    Ok(out)
}

/// Why there is no solution, in few words: a sample's reason is counted, not told.
fn reason(why: &Failure) -> &'static str {
    match why {
        Failure::Parts => "a number that a part cannot have",
        Failure::CutOff { .. } => "a shut gate cuts off what is needed",
        Failure::Undecided { .. } => "a regulated nozzle that cannot decide",
        Failure::Parted { .. } => "the water parts: the supply cannot give the flow",
        Failure::Network(SolveError::Infeasible(why), _) => match why {
            Infeasible::SpeedLimit { .. } => "the speed that is needed is beyond its limits",
            Infeasible::PumpOffCurve { .. } => "a pump works off its tested curve",
            Infeasible::SupplyCannotGive { .. } => "a supply cannot give the flow",
            Infeasible::NothingFlows => "nothing flows",
            Infeasible::HoldJumps { .. } | Infeasible::HoldNotUnique { .. } => {
                "what is held cannot be held"
            }
            Infeasible::Disconnected { .. }
            | Infeasible::CutOff { .. }
            | Infeasible::NotUnique { .. } => "a part of the lay is cut off",
        },
        Failure::Network(..) => "the solver did not converge",
    }
}

/// What is drawn, by every core alike.
struct Draw<'a> {
    system: &'a System,
    formulas: &'a [Formula],
    inputs: usize,
    limits: &'a [Limit],
    results: usize,
    plan: Plan,
}

/// What came of a block of samples.
struct Part {
    samples: u64,
    /// The results of the samples with a solution, one sample after the other.
    values: Vec<f64>,
    unsolved: BTreeMap<&'static str, u64>,
    missed: Vec<u64>,
    /// Of each input: the sum of its deviations and of their squares over the samples with a solution.
    sums: Vec<(f64, f64)>,
    /// Of each result and input, the sum of products.
    products: Vec<f64>,
}

impl Draw<'_> {
    fn block(&self, block: u64) -> Part {
        // Every block has a stream of its own, so that no order of work changes what is drawn.
        let mut random = Pcg64Mcg::seed_from_u64(
            self.plan.seed ^ (block + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15),
        );
        let samples = BLOCK.min(self.plan.samples - block * BLOCK);
        let mut part = Part {
            samples,
            values: Vec::with_capacity(samples as usize * self.results),
            unsolved: BTreeMap::new(),
            missed: vec![0; self.limits.len()],
            sums: vec![(0.0, 0.0); self.inputs],
            products: vec![0.0; self.inputs * self.results],
        };
        let mut deviations = vec![0.0; self.inputs];
        let (mut x, mut scratch) = (Vec::with_capacity(self.formulas.len()), Vec::new());
        for _ in 0..samples {
            for d in &mut deviations {
                *d = deviation(&mut random, self.plan.distribution);
            }
            x.clear();
            for f in self.formulas {
                x.push(f.at(&deviations, &mut scratch));
            }
            let values = match numbers(self.system, &x) {
                Ok(v) => v,
                Err(why) => {
                    *part.unsolved.entry(why).or_insert(0) += 1;
                    continue;
                }
            };
            for (missed, limit) in part.missed.iter_mut().zip(self.limits) {
                *missed += u64::from(limit.misses(values[limit.of], &deviations, &mut scratch));
            }
            for (i, d) in deviations.iter().enumerate() {
                let (sum, squares) = &mut part.sums[i];
                *sum += d;
                *squares += d * d;
                for (k, v) in values.iter().enumerate() {
                    part.products[i * self.results + k] += d * v;
                }
            }
            part.values.extend(values);
        }
        part
    }

    fn gather(
        &self,
        parts: Vec<Part>,
        duty: &str,
        paths: &[(String, Kind)],
        nominal: &[f64],
        inputs: Vec<String>,
        not_counted: Vec<Place>,
    ) -> Sampled {
        let mut unsolved: BTreeMap<&'static str, u64> = BTreeMap::new();
        let mut missed = vec![0; self.limits.len()];
        let mut sums = vec![(0.0, 0.0); self.inputs];
        let mut products = vec![0.0; self.inputs * self.results];
        for p in &parts {
            for (why, n) in &p.unsolved {
                *unsolved.entry(why).or_insert(0) += n;
            }
            missed.iter_mut().zip(&p.missed).for_each(|(a, b)| *a += b);
            products
                .iter_mut()
                .zip(&p.products)
                .for_each(|(a, b)| *a += b);
            for (a, b) in sums.iter_mut().zip(&p.sums) {
                *a = (a.0 + b.0, a.1 + b.1);
            }
        }
        let solved = self.plan.samples - unsolved.values().sum::<u64>();
        let mut results = Vec::with_capacity(paths.len());
        for (k, (path, kind)) in paths.iter().enumerate() {
            let all = parts
                .iter()
                .flat_map(|p| p.values.iter().skip(k).step_by(self.results));
            let mut all: Vec<f64> = all.copied().collect();
            // What one sample does not know, as the power off a part of the curve, has no distribution.
            if all.is_empty() || all.iter().any(|v| !v.is_finite()) || !nominal[k].is_finite() {
                continue;
            }
            all.sort_unstable_by(f64::total_cmp);
            let n = all.len() as f64;
            let mean = all.iter().sum::<f64>() / n;
            let squares: f64 = all.iter().map(|v| (v - mean) * (v - mean)).sum();
            let variance = squares / (n - 1.0).max(1.0);
            let mut from: Vec<(String, f64)> = Vec::new();
            for (i, (sum, sum2)) in sums.iter().enumerate() {
                let of_input = sum2 - sum * sum / n;
                let common = products[i * self.results + k] - sum * mean;
                let share = common * common / (of_input * squares);
                if share.is_finite() {
                    from.push((inputs[i].clone(), share));
                }
            }
            from.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
            results.push(Spread {
                path: format!("{duty}.{path}"),
                kind: *kind,
                nominal: nominal[k],
                mean,
                deviation: variance.sqrt(),
                low: quantile(&all, 0.025),
                high: quantile(&all, 0.975),
                least: all[0],
                most: all[all.len() - 1],
                from,
            });
        }
        let limits = self.limits.iter().zip(missed);
        Sampled {
            plan: self.plan,
            inputs,
            solved,
            unsolved: unsolved.into_iter().collect(),
            results,
            limits: limits
                .map(|(l, samples)| Missed {
                    limit: l.text.clone(),
                    place: l.place,
                    samples,
                })
                .collect(),
            not_counted,
        }
    }
}

/// A quantile of sorted numbers, between neighbours in a straight line (definition 7 of Hyndman and Fan 1996).
fn quantile(sorted: &[f64], share: f64) -> f64 {
    let at = share * (sorted.len() - 1) as f64;
    let below = at.floor() as usize;
    let above = (below + 1).min(sorted.len() - 1);
    sorted[below] + (at - below as f64) * (sorted[above] - sorted[below])
}

/// A deviation from −1 to 1.
fn deviation(random: &mut Pcg64Mcg, distribution: Distribution) -> f64 {
    // 53 bits, as many as a number between 0 and 1 has.
    let mut unit = || (random.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
    match distribution {
        Distribution::Even => 2.0 * unit() - 1.0,
        Distribution::Triangular => unit() + unit() - 1.0,
        Distribution::Normal => loop {
            // Box and Muller 1958; two standard deviations are the limits.
            let radius = (-2.0 * (1.0 - unit()).ln()).sqrt();
            let d = 0.5 * radius * (std::f64::consts::TAU * unit()).cos();
            if d.abs() <= 1.0 {
                return d;
            }
        },
    }
}

/// The limits on a duty's results: the rules of the workspace that compare one of them with something, and that suction
/// head and power must not run out. With them the places of rules that name the duty in another form.
fn limits(
    db: &mut Db,
    duty: DeclId,
    paths: &[(String, Kind)],
    inputs: &mut Vec<InputId>,
) -> (Vec<Limit>, Vec<Place>) {
    let (mut out, mut others) = (Vec::new(), Vec::new());
    let files: Vec<_> = db.files().filter(|f| !db.is_library(*f)).collect();
    let rules: Vec<DeclId> = files
        .iter()
        .flat_map(|f| db.decls(*f).to_vec())
        .filter(|d| matches!(&db.parsed(*d).item.kind, ItemKind::Require(r) if r.every.is_none()))
        .collect();
    for rule in rules {
        let found = db.with(rule, |cx| of_rule(cx, rule, duty, paths));
        let place = |span| Local::Span(rule, span);
        match found {
            Some(Ok(f)) => {
                let end = |t: Option<(Tol, bool)>, inputs: &mut Vec<InputId>| {
                    t.map(|(t, strict)| (Formula::of(&t, inputs), strict))
                };
                let (low, high) = (end(f.low, inputs), end(f.high, inputs));
                out.push(Limit {
                    text: f.text,
                    place: Some(db.resolve(&place(f.span))),
                    of: f.of,
                    low,
                    high,
                });
            }
            Some(Err(span)) => others.push(db.resolve(&place(span))),
            None => {}
        }
    }
    for (of, (path, _)) in paths.iter().enumerate() {
        if path.ends_with("npsh_margin") || path.ends_with("power_margin") {
            let zero = Formula::of(&Tol::exact(0.0), inputs);
            out.push(Limit {
                text: format!("{}.{path} >= 0", db.name(duty).map_or("", |n| n.as_str())),
                place: None,
                of,
                low: Some((zero, false)),
                high: None,
            });
        }
    }
    (out, others)
}

/// A rule that compares a result with something.
struct OfRule {
    text: String,
    span: cutwater_text::Span,
    of: usize,
    low: Option<(Tol, bool)>,
    high: Option<(Tol, bool)>,
}

/// What a rule asks of the duty's results; `None` where it does not speak of it, `Err` with its place where it does in
/// another form.
fn of_rule(
    cx: &mut Cx<'_>,
    rule: DeclId,
    duty: DeclId,
    paths: &[(String, Kind)],
) -> Option<Result<OfRule, cutwater_text::Span>> {
    let parsed = cx.item(rule);
    let ItemKind::Require(r) = &parsed.item.kind else {
        return None;
    };
    let (left, rule_of) = (&r.condition.value, &r.condition.rule);
    let right = match rule_of {
        Rule::Compare(_, e) | Rule::Within(e) => e,
        _ => return None,
    };
    let span = left.span.join(right.span);
    let names = |cx: &mut Cx<'_>, e: &Expr| result(cx, rule, duty, e, paths);
    let (of, other, turned) = match (names(cx, left), names(cx, right)) {
        (Some(k), None) => (k, right, false),
        (None, Some(k)) => (k, left, true),
        _ => {
            let speaks = mentions(cx, rule, duty, left) || mentions(cx, rule, duty, right);
            return speaks.then_some(Err(span));
        }
    };
    let text = crate::kinds::rule_text(cx, rule, span);
    let value = Ev { cx, owner: rule }.expr(other, Some(paths[of].1)).ok()?;
    let (low, high) = match (rule_of, value) {
        (Rule::Compare(sign, _), Value::Quantity(q)) => {
            let strict = matches!(sign, Comparison::Above | Comparison::Below);
            let at_least = matches!(sign, Comparison::AtLeast | Comparison::Above);
            match at_least != turned {
                true => (Some((q.value, strict)), None),
                false => (None, Some((q.value, strict))),
            }
        }
        (Rule::Within(_), Value::Range(w)) => (
            Some((Tol::exact(w.low), false)),
            Some((Tol::exact(w.high), false)),
        ),
        _ => return Some(Err(span)),
    };
    Some(Ok(OfRule {
        text,
        span,
        of,
        low,
        high,
    }))
}

/// Which result of the duty an expression is, if it is one by itself.
fn result(
    cx: &mut Cx<'_>,
    rule: DeclId,
    duty: DeclId,
    e: &Expr,
    paths: &[(String, Kind)],
) -> Option<usize> {
    let ExprKind::Path(p) = &e.kind else {
        return None;
    };
    let at = names_duty(cx, rule, duty, p)?;
    let rest: Vec<&str> = p.names[at..].iter().map(|n| n.text.as_str()).collect();
    let rest = rest.join(".");
    paths.iter().position(|(path, _)| *path == rest)
}

/// How many names of a path lead to the duty.
fn names_duty(cx: &mut Cx<'_>, rule: DeclId, duty: DeclId, p: &Path) -> Option<usize> {
    (1..p.names.len().min(3)).find(|n| {
        let front = Path {
            names: p.names[..*n].to_vec(),
            span: p.span,
        };
        let before = cx.findings.len();
        let found = Ev { cx, owner: rule }.path(&front, true);
        cx.findings.truncate(before);
        matches!(found, Ok(Value::Decl(d)) if d == duty)
    })
}

/// Whether an expression speaks of the duty.
fn mentions(cx: &mut Cx<'_>, rule: DeclId, duty: DeclId, e: &Expr) -> bool {
    let mut paths = Vec::new();
    crate::reuse::paths(e, &mut |p| paths.push(p.clone()));
    paths
        .iter()
        .any(|p| names_duty(cx, rule, duty, p).is_some())
}
