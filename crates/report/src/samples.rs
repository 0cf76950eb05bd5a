//! How the results of a duty spread over samples, in the units they are shown in.
//!
//! Not here: drawing and solving (`cutwater_compiler::hydraulic::sample`), and laying the table out.

use cutwater_compiler::hydraulic::sample::{Distribution, Sampled};
use cutwater_compiler::results::{self, Shown};
use cutwater_compiler::value::Quantity;
use cutwater_compiler::{Db, DeclId};
use cutwater_finding::Place;
use cutwater_quantity::unit;
use serde::{Deserialize, Serialize};

/// A sampled duty.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Samples {
    /// The duty.
    pub duty: String,
    /// How many samples were drawn.
    pub samples: u64,
    /// Where the stream of drawn numbers began.
    pub seed: u64,
    /// How inputs lay within their limits: `even`, `triangular` or `normal`.
    pub drawn: String,
    /// The toleranced inputs that were drawn, by path.
    pub inputs: Vec<String>,
    /// Samples with a solution; the numbers below speak of these.
    pub solved: u64,
    /// Why others had none, with how many.
    pub unsolved: Vec<Unsolved>,
    /// The results.
    pub results: Vec<ResultSpread>,
    /// How often limits were not kept.
    pub limits: Vec<LimitMissed>,
    /// Rules on this duty that compare something else than one result by itself, and are not counted: file and line.
    pub not_counted: Vec<String>,
}

/// Samples without a solution.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Unsolved {
    /// Why.
    pub reason: String,
    /// How many.
    pub samples: u64,
}

/// The spread of one result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ResultSpread {
    /// The path a spec would use.
    pub path: String,
    /// The unit of the numbers; null for a ratio.
    pub unit: Option<String>,
    /// With every input at its nominal.
    pub nominal: f64,
    /// Mean of the samples.
    pub mean: f64,
    /// Their standard deviation.
    pub standard_deviation: f64,
    /// 2.5 % of them lie below.
    pub low: f64,
    /// 2.5 % of them lie above.
    pub high: f64,
    /// The smallest.
    pub least: f64,
    /// The largest.
    pub most: f64,
    /// The inputs that move it, largest first, each with the share of the variance that a straight line in it explains.
    pub from: Vec<Mover>,
}

/// An input that moves a result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Mover {
    /// Its path.
    pub path: String,
    /// Share of the result's variance, 0 to 1.
    pub share: f64,
}

/// How often a limit was not kept.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct LimitMissed {
    /// The limit.
    pub limit: String,
    /// Where it is written, file and line; null for suction head and the power of the engine, which no rule needs to ask for.
    pub at: Option<String>,
    /// Samples with a solution that miss it.
    pub samples: u64,
    /// Their share of those with a solution.
    pub share: f64,
    /// Standard uncertainty of the share from the number of samples.
    pub uncertainty: f64,
}

impl Samples {
    /// What was sampled of a duty. `shown` turns a path from the workspace root into the one shown.
    pub fn of(db: &Db, duty: DeclId, s: &Sampled, shown: &dyn Fn(&str) -> String) -> Self {
        let at = |p: &Place| {
            let line = db.lines(p.file).position(
                db.text(p.file),
                p.span.start as usize,
                cutwater_text::Encoding::Utf8,
            );
            format!("{}:{}", shown(db.path(p.file)), line.line + 1)
        };
        let settings = db.settings_of(db.file_of(duty));
        let results = s.results.iter().map(|r| {
            // One unit for all of a row: that of the nominal value.
            let symbol = match results::quantity(settings, &Quantity::computed(r.kind, r.nominal)) {
                Shown::Number { unit, .. } => unit,
                Shown::Word(_) => String::new(),
            };
            let convert = |si: f64| match unit(&symbol) {
                Some(u) => u.from_si(si),
                None => si,
            };
            // A width has no zero point.
            let width = convert(r.deviation) - convert(0.0);
            ResultSpread {
                path: r.path.clone(),
                unit: (!symbol.is_empty()).then(|| symbol.clone()),
                nominal: convert(r.nominal),
                mean: convert(r.mean),
                standard_deviation: width,
                low: convert(r.low),
                high: convert(r.high),
                least: convert(r.least),
                most: convert(r.most),
                from: r
                    .from
                    .iter()
                    .map(|(path, share)| Mover {
                        path: path.clone(),
                        share: *share,
                    })
                    .collect(),
            }
        });
        let solved = s.solved.max(1) as f64;
        Self {
            duty: db.name(duty).map_or(String::new(), ToString::to_string),
            samples: s.plan.samples,
            seed: s.plan.seed,
            drawn: match s.plan.distribution {
                Distribution::Even => "even",
                Distribution::Triangular => "triangular",
                Distribution::Normal => "normal",
            }
            .to_owned(),
            inputs: s.inputs.clone(),
            solved: s.solved,
            unsolved: s
                .unsolved
                .iter()
                .map(|(reason, samples)| Unsolved {
                    reason: (*reason).to_owned(),
                    samples: *samples,
                })
                .collect(),
            results: results.collect(),
            limits: s
                .limits
                .iter()
                .map(|l| {
                    let share = l.samples as f64 / solved;
                    LimitMissed {
                        limit: l.limit.clone(),
                        at: l.place.as_ref().map(at),
                        samples: l.samples,
                        share,
                        uncertainty: (share * (1.0 - share) / solved).sqrt(),
                    }
                })
                .collect(),
            not_counted: s.not_counted.iter().map(at).collect(),
        }
    }
}
