//! `cutwater solve --samples`: how results of duties spread when their inputs vary within their limits.

use crate::args::{Drawn, Format, SolveCommand};
use crate::exit;
use crate::failure::Failure;
use crate::output::Output;
use crate::project::Project;
use crate::work;
use cutwater_compiler::hydraulic::sample::{Distribution, Plan, sample};
use cutwater_compiler::vary::{self, Problem};
use cutwater_compiler::{Db, DeclId};
use cutwater_finding::FileId;
use cutwater_report::page::columns;
use cutwater_report::samples::{ResultSpread, Samples};
use cutwater_report::{Document, Outcome};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::fmt::Write as _;
use std::io::IsTerminal;
use std::sync::atomic::AtomicBool;

/// Samples the duties and writes what came of it.
///
/// # Errors
/// What is wrong with what was asked for.
pub fn run(project: &Project, c: &SolveCommand, samples: u64) -> Result<u8, Failure> {
    let said = |p: Problem| Failure::new(format!("--samples: {}", p.message)).help(p.help);
    let (mut db, files) = work::together(project)?;
    let duties = duties(&db, &files, &c.duty).map_err(said)?;
    let plan = Plan {
        samples,
        seed: c.seed,
        distribution: match c.drawn {
            Drawn::Even => Distribution::Even,
            Drawn::Triangular => Distribution::Triangular,
            Drawn::Normal => Distribution::Normal,
        },
    };
    let bar = bar(samples * duties.len() as u64);
    // An interrupt ends the process, as everywhere.
    let stop = AtomicBool::new(false);
    let mut all = Vec::with_capacity(duties.len());
    let mut left_out = Vec::new();
    for d in &duties {
        bar.set_message(db.name(*d).map_or(String::new(), ToString::to_string));
        match sample(&mut db, *d, plan, &|n| bar.inc(n), &stop) {
            Ok(Some(s)) => all.push(Samples::of(&db, *d, &s, &|p| project.shown(p))),
            Ok(None) => {}
            // Asked for by name, or the only one: then it is what the run is about.
            Err(p) if !c.duty.is_empty() || duties.len() == 1 => {
                bar.finish_and_clear();
                return Err(said(p));
            }
            Err(p) => {
                bar.inc(samples);
                left_out.push(p.message);
            }
        }
    }
    bar.finish_and_clear();
    if all.is_empty() {
        let why = left_out.join("; ");
        return Err(Failure::new(format!("--samples: {why}"))
            .help("state tolerances, as `lift = 8 ft ± 0.5`, and mend what has no solution"));
    }
    let mut out = Output::new(c.check.color);
    match c.check.format {
        Format::Text => {
            let blocks: Vec<String> = all.iter().map(text).collect();
            out.write(&blocks.join("\n"));
            for why in &left_out {
                out.write(&format!("\nleft out: {why}\n"));
            }
        }
        Format::Concise => all.iter().for_each(|s| out.write(&lines(s))),
        Format::Json => {
            let mut document = Document::of(
                &Outcome::default(),
                "solve",
                env!("CARGO_PKG_VERSION"),
                false,
            );
            document.summary.files = files.len();
            document.notes = left_out;
            document.samples = Some(all);
            let json = document
                .to_text()
                .map_err(|e| Failure::new(format!("the JSON document could not be made: {e}")))?;
            out.write(&json);
        }
    }
    out.finish()?;
    Ok(exit::CLEAN)
}

fn duties(db: &Db, files: &[FileId], names: &[String]) -> Result<Vec<DeclId>, Problem> {
    let is_duty = |d: DeclId| db.kind(d).is_some_and(|k| k.0.holds) && !db.is_pattern(d);
    if names.is_empty() {
        let all = files.iter().flat_map(|f| db.decls(*f).iter().copied());
        let all: Vec<DeclId> = all.filter(|d| is_duty(*d)).collect();
        return match all.is_empty() {
            true => Err(Problem {
                message: "there is no duty in these files".to_owned(),
                help: "`cutwater explain duty` shows what one looks like".to_owned(),
            }),
            false => Ok(all),
        };
    }
    names
        .iter()
        .map(|n| match vary::declaration(db, files, n)? {
            (d, "") if is_duty(d) => Ok(d),
            _ => Err(Problem {
                message: format!("`{n}` is no duty"),
                help: "give the name of a duty of these files".to_owned(),
            }),
        })
        .collect()
}

/// A bar on standard error where that is a terminal.
fn bar(samples: u64) -> ProgressBar {
    let target = match std::io::stderr().is_terminal() {
        true => ProgressDrawTarget::stderr(),
        false => ProgressDrawTarget::hidden(),
    };
    let bar = ProgressBar::with_draw_target(Some(samples), target);
    if let Ok(style) = ProgressStyle::with_template(
        "{msg} {wide_bar} {human_pos} of {human_len} samples, {eta} left",
    ) {
        bar.set_style(style);
    }
    bar
}

fn text(s: &Samples) -> String {
    let drawn = match s.drawn.as_str() {
        "even" => "each drawn evenly within its limits",
        "triangular" => "each drawn from a triangle over its limits",
        _ => "each drawn normally, its limits at two standard deviations",
    };
    let inputs = s.inputs.len();
    let mut out = format!(
        "duty {}: {} samples of {inputs} toleranced input{}, {drawn} (seed {})\n",
        s.duty,
        grouped(s.samples),
        if inputs == 1 { "" } else { "s" },
        s.seed
    );
    let head = [
        "result",
        "nominal",
        "mean",
        "95 % of samples",
        "moved most by",
    ];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    for r in &s.results {
        let digits = digits(r);
        let unit = r.unit.as_deref().map_or(String::new(), |u| format!(" {u}"));
        let fixed = |v: f64| format!("{v:.digits$}{unit}");
        let movers = r.from.iter().filter(|m| m.share >= 0.05).take(3);
        let movers = movers.map(|m| format!("{} {:.0} %", m.path, 100.0 * m.share));
        if !varies(r) {
            rows.push(vec![
                r.path.clone(),
                fixed(r.nominal),
                fixed(r.mean),
                "does not vary".to_owned(),
            ]);
            continue;
        }
        rows.push(vec![
            r.path.clone(),
            fixed(r.nominal),
            fixed(r.mean),
            format!("{:.digits$} .. {}", r.low, fixed(r.high)),
            movers.collect::<Vec<_>>().join(", "),
        ]);
    }
    out.push_str(&columns(&rows, 4));
    let share = |n: u64, of: u64| 100.0 * n as f64 / of.max(1) as f64;
    for u in &s.unsolved {
        let _ = writeln!(
            out,
            "    no solution in {} samples ({:.2} %): {}",
            grouped(u.samples),
            share(u.samples, s.samples),
            u.reason
        );
    }
    for l in &s.limits {
        let at = l.at.as_ref().map_or(String::new(), |a| format!(" ({a})"));
        let verdict = match l.samples {
            0 => "kept in every sample".to_owned(),
            _ => format!(
                "missed in {:.2} % of samples (± {:.2} %)",
                100.0 * l.share,
                196.0 * l.uncertainty
            ),
        };
        let _ = writeln!(out, "    `{}`{at}: {verdict}", l.limit);
    }
    if !s.not_counted.is_empty() {
        let _ = writeln!(
            out,
            "    not counted, as they compare more than one result by itself: {}",
            s.not_counted.join(", ")
        );
    }
    out
}

/// A line for each result, with tabs between: for a spreadsheet.
fn lines(s: &Samples) -> String {
    let mut out = String::from("result\tunit\tnominal\tmean\tstandard deviation\t2.5 %\t97.5 %\n");
    for r in &s.results {
        let _ = writeln!(
            out,
            "{}\t{}\t{}\t{}\t{}\t{}\t{}",
            r.path,
            r.unit.as_deref().unwrap_or(""),
            r.nominal,
            r.mean,
            r.standard_deviation,
            r.low,
            r.high
        );
    }
    out
}

/// Whether a result moves by more than rounding and the solver's own tolerance.
fn varies(r: &ResultSpread) -> bool {
    r.most - r.least > 1e-7 * r.mean.abs()
}

/// Digits after the point that show the width of the spread.
fn digits(r: &ResultSpread) -> usize {
    let width = r.high - r.low;
    match width > 0.0 && varies(r) {
        true => (1.0 - width.log10().floor()).clamp(0.0, 6.0) as usize,
        false => 2,
    }
}

/// A count with blanks between thousands.
fn grouped(n: u64) -> String {
    let digits = n.to_string();
    let mut out = String::with_capacity(digits.len() + digits.len() / 3);
    for (k, c) in digits.chars().enumerate() {
        if k > 0 && (digits.len() - k).is_multiple_of(3) {
            out.push(' ');
        }
        out.push(c);
    }
    out
}
