//! A sweep: results at several values of one input, or of several in every combination.
//!
//! Invariants: the spec is as it was afterwards; a point whose duty has no solution shows why, and no number; the order is
//! that of the values asked for, the last input running fastest.
//! Not here: reading the command line and drawing the table.

use crate::json::Scalar;
use cutwater_compiler::codes::is_unsolved;
use cutwater_compiler::results::{self, Row, Shown};
use cutwater_compiler::show;
use cutwater_compiler::value::Value;
use cutwater_compiler::vary::{self, Input, Problem};
use cutwater_compiler::{Db, DeclId};
use cutwater_finding::FileId;
use cutwater_quantity::Kind;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// Most points of a sweep.
pub const MOST_POINTS: usize = 10_000;

/// A table of results.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Sweep {
    /// The paths of what was varied.
    pub inputs: Vec<String>,
    /// The paths of the results, in the order of each point's cells.
    pub results: Vec<String>,
    /// A row for each combination of values.
    pub points: Vec<Point>,
}

/// One row of a sweep.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Point {
    /// What the inputs were.
    pub inputs: Vec<SweepCell>,
    /// What came out; null where there is no such result here.
    pub results: Vec<Option<SweepCell>>,
    /// Why duties have no solution at this point, in plain sentences.
    pub unsolved: Vec<String>,
    /// The codes of what is found here and not with the spec as it is written.
    pub findings: Vec<String>,
}

/// A value in a sweep.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct SweepCell {
    /// The value in `unit`, or a word.
    pub value: Scalar,
    /// The unit's symbol; null for a count, a ratio or a word.
    pub unit: Option<String>,
    /// The whole in words.
    pub text: String,
}

impl SweepCell {
    fn of(v: &Shown) -> Self {
        let text = v.text().to_owned();
        match v {
            Shown::Number { value, unit, .. } => Self {
                value: Scalar::Number(*value),
                unit: (!unit.is_empty()).then(|| unit.clone()),
                // Limits belong to the results of the spec itself.
                text: match text.split_once(" (") {
                    Some((nominal, _)) => nominal.to_owned(),
                    None => text,
                },
            },
            Shown::Word(w) => Self {
                value: Scalar::Word(w.clone()),
                unit: None,
                text,
            },
        }
    }

    fn given(db: &Db, input: &Input, v: &Value) -> Self {
        let settings = db.settings_of(db.file_of(input.decl()));
        match v {
            // As it is written: a gear ratio is no share.
            Value::Quantity(q) if q.kind == Kind::Ratio && q.unit.is_none() => Self {
                value: Scalar::Number(q.si()),
                unit: None,
                text: show::number_text(q.si()),
            },
            Value::Quantity(q) => Self::of(&results::quantity(settings, q)),
            Value::Decl(d) => Self::of(&Shown::Word(db.name(*d).map_or("", |n| n).to_owned())),
            Value::Choice(w) => Self::of(&Shown::Word((*w).to_owned())),
            other => Self::of(&Shown::Word(other.describe())),
        }
    }
}

/// One input and the values it is given.
pub struct Axis {
    input: Input,
    values: Vec<Value>,
}

impl Axis {
    /// Reads `pond.draft.lift = 5 ft .. 20 ft in 7`.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn read(db: &mut Db, files: &[FileId], text: &str) -> Result<Self, Problem> {
        let halves = text.split_once('=');
        let Some((path, values)) = halves.filter(|(_, v)| !v.trim().is_empty()) else {
            return Err(Problem {
                message: format!("`{text}` does not say which values it takes"),
                help: "write `pond.draft.lift = 5 ft .. 20 ft in 7`".to_owned(),
            });
        };
        let input = Input::find(db, files, path.trim())?;
        let values = input.values(db, values.trim())?;
        Ok(Self { input, values })
    }
}

/// Results of declarations by their paths, as far as they are asked for.
struct Wanted {
    /// The declarations looked into.
    decls: Vec<DeclId>,
    /// The paths asked for; `None` for what editors show of duties.
    paths: Option<Vec<String>>,
}

impl Wanted {
    fn of(db: &Db, files: &[FileId], show: &[String]) -> Result<Self, Problem> {
        if show.is_empty() {
            let all = files.iter().flat_map(|f| db.decls(*f).iter().copied());
            let duties = all.filter(|d| db.kind(*d).is_some_and(|k| k.0.holds));
            return Ok(Self {
                decls: duties.collect(),
                paths: None,
            });
        }
        let mut decls = Vec::new();
        for path in show {
            let (d, _) = vary::declaration(db, files, path)?;
            if !decls.contains(&d) {
                decls.push(d);
            }
        }
        Ok(Self {
            decls,
            paths: Some(show.to_vec()),
        })
    }

    fn rows(&self, db: &Db) -> Vec<Row> {
        let all = self.decls.iter().flat_map(|d| results::of_decl(db, *d));
        all.filter(|r| match &self.paths {
            Some(paths) => paths.contains(&r.path),
            None => r.hint,
        })
        .collect()
    }
}

/// Makes a sweep over every combination of the axes' values. `show` names the results to show; where it is empty those
/// results of duties are shown that an editor shows beside them and that change. `step` is told how many points are done.
///
/// # Errors
/// Too many points; a result that there is not.
pub fn sweep(
    db: &mut Db,
    files: &[FileId],
    axes: &[Axis],
    show: &[String],
    step: &dyn Fn(usize),
) -> Result<Sweep, Problem> {
    let total = axes.iter().map(|a| a.values.len()).product::<usize>();
    if total > MOST_POINTS {
        return Err(Problem {
            message: format!("this sweep has {total} points"),
            help: format!("give fewer values: {MOST_POINTS} points are the most"),
        });
    }
    let wanted = Wanted::of(db, files, show)?;
    let usual = codes(db, files);
    let mut points = Vec::with_capacity(total);
    let mut columns: Vec<String> = show.to_vec();
    let mut rows: Vec<BTreeMap<String, SweepCell>> = Vec::with_capacity(total);
    for k in 0..total {
        let mut rest = k;
        let mut inputs = Vec::with_capacity(axes.len());
        for axis in axes.iter().rev() {
            let value = &axis.values[rest % axis.values.len()];
            rest /= axis.values.len();
            inputs.push(SweepCell::given(db, &axis.input, value));
            db.vary(&axis.input, Some(value.clone()));
        }
        inputs.reverse();
        // Nothing cancels it: an interrupt ends the process.
        let _ = db.settle(true, None);
        let mut row = BTreeMap::new();
        for r in wanted.rows(db) {
            if show.is_empty() && !columns.contains(&r.path) {
                columns.push(r.path.clone());
            }
            row.insert(r.path.clone(), SweepCell::of(&r.value));
        }
        rows.push(row);
        let here = codes(db, files);
        points.push(Point {
            inputs,
            results: Vec::new(),
            unsolved: unsolved(db, files),
            findings: (here.difference(&usual))
                .map(|(code, _)| code.clone())
                .collect::<BTreeSet<String>>()
                .into_iter()
                .collect(),
        });
        step(k + 1);
    }
    for axis in axes {
        db.vary(&axis.input, None);
    }
    let _ = db.settle(true, None);
    if show.is_empty() && rows.len() > 1 {
        columns.retain(|c| {
            let first = rows[0].get(c);
            rows.iter().any(|r| r.get(c) != first)
        });
    }
    if let Some(none) = columns
        .iter()
        .find(|c| rows.iter().all(|r| !r.contains_key(*c)))
        && points.iter().all(|p| p.unsolved.is_empty())
    {
        return Err(Problem {
            message: format!("there is no result `{none}` at any of these points"),
            help: "`cutwater solve` shows what there is; write it with its declaration, as `attack.left.flow`".to_owned(),
        });
    }
    for (point, mut row) in points.iter_mut().zip(rows) {
        point.results = columns.iter().map(|c| row.remove(c)).collect();
    }
    Ok(Sweep {
        inputs: axes.iter().map(|a| a.input.path.clone()).collect(),
        results: columns,
        points,
    })
}

/// What is found, as codes with where their subjects stand.
fn codes(db: &Db, files: &[FileId]) -> BTreeSet<(String, String)> {
    let all = files.iter().flat_map(|f| db.found(*f));
    all.map(|f| (f.finding.code.id.to_owned(), f.subject.to_string()))
        .collect()
}

fn unsolved(db: &Db, files: &[FileId]) -> Vec<String> {
    let all = files.iter().flat_map(|f| db.findings(*f));
    let mut out: Vec<String> = all
        .filter(|f| is_unsolved(f.code))
        .map(|f| f.message)
        .collect();
    out.dedup();
    out
}
