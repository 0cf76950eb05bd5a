//! `cutwater solve --sweep`: a table of results at several values of an input.

use crate::args::{Format, SolveCommand};
use crate::exit;
use crate::failure::Failure;
use crate::output::Output;
use crate::project::Project;
use crate::work;
use cutwater_compiler::vary::Problem;
use cutwater_report::page::columns;
use cutwater_report::sweep::{Axis, Point, Sweep, SweepCell, sweep};
use cutwater_report::{Document, Outcome};
use std::fmt::Write as _;

/// Makes the sweep and writes it.
///
/// # Errors
/// What is wrong with what was asked for.
pub fn run(project: &Project, c: &SolveCommand) -> Result<u8, Failure> {
    let said = |p: Problem| Failure::new(format!("--sweep: {}", p.message)).help(p.help);
    let (mut db, files) = work::together(project)?;
    let mut axes = Vec::with_capacity(c.sweep.len());
    for text in &c.sweep {
        axes.push(Axis::read(&mut db, &files, text).map_err(said)?);
    }
    let table = sweep(&mut db, &files, &axes, &c.show, &|_| {}).map_err(said)?;
    let unsolved = table.points.iter().any(|p| !p.unsolved.is_empty());
    let mut out = Output::new(c.check.color);
    match c.check.format {
        Format::Text => out.write(&text(&table)),
        Format::Concise => out.write(&lines(&table)),
        Format::Json => {
            let mut document = Document::of(
                &Outcome::default(),
                "solve",
                env!("CARGO_PKG_VERSION"),
                false,
            );
            document.summary.files = files.len();
            document.sweep = Some(table);
            let json = document
                .to_text()
                .map_err(|e| Failure::new(format!("the JSON document could not be made: {e}")))?;
            out.write(&json);
        }
    }
    out.finish()?;
    Ok(if unsolved {
        exit::UNSOLVED
    } else {
        exit::CLEAN
    })
}

/// The table, with what is found at a point behind its results and why duties have no solution below.
fn text(t: &Sweep) -> String {
    let finds = t.points.iter().any(|p| !p.findings.is_empty());
    let mut head: Vec<String> = t.inputs.iter().chain(&t.results).cloned().collect();
    if finds {
        head.push("found here".to_owned());
    }
    let mut rows = vec![head];
    let mut reasons: Vec<&str> = Vec::new();
    for p in &t.points {
        let mut row = cells(p);
        if finds {
            row.push(p.findings.join(" "));
        }
        rows.push(row);
        for why in &p.unsolved {
            if !reasons.contains(&why.as_str()) {
                reasons.push(why);
            }
        }
    }
    let mut out = columns(&rows, 0);
    if t.results.is_empty() {
        out.push_str("\nNo result of a duty changes with it; name the one to show with --show.\n");
    }
    if !reasons.is_empty() {
        out.push_str("\nNo solution, and so no numbers, where there is a dash:\n");
        for why in reasons {
            let _ = writeln!(out, "  {why}");
        }
    }
    out
}

/// A head and a line for each point, with tabs between: for a spreadsheet.
fn lines(t: &Sweep) -> String {
    let head: Vec<&str> = t
        .inputs
        .iter()
        .chain(&t.results)
        .map(String::as_str)
        .collect();
    let mut out = head.join("\t");
    out.push_str("\tunsolved\tfound\n");
    for p in &t.points {
        let _ = writeln!(
            out,
            "{}\t{}\t{}",
            cells(p).join("\t"),
            p.unsolved.join("; "),
            p.findings.join(" ")
        );
    }
    out
}

fn cells(p: &Point) -> Vec<String> {
    let text = |c: &SweepCell| c.text.clone();
    let result = |c: &Option<SweepCell>| c.as_ref().map_or_else(|| "-".to_owned(), text);
    let inputs = p.inputs.iter().map(text);
    inputs.chain(p.results.iter().map(result)).collect()
}
