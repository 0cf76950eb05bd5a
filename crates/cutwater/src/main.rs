//! The `cutwater` command: checks, solves, formats and explains pump specs, and serves editors.
//!
//! The way of a run: [`args`] reads the command line; [`project`] finds the workspace and the files,
//! [`settings`] reads its settings and [`baseline`] what is known already; [`fix`] applies fixes where that is asked for;
//! [`work`] reads and checks the files on all cores; [`render`] and [`solve`] draw what was found for a
//! terminal, `cutwater-report` writes JSON; [`output`] sends it off. [`guard`] turns a fault in the tool and
//! an interrupt into the exit codes promised for them.
//!
//! Exit codes: 0 nothing at or above the failing level; 1 findings; 2 the work could not be done; 3 a duty
//! could not be solved; 101 a fault in the tool; 130 interrupted.
//!
//! Not here: any rule of the language, any formula.

mod args;
mod baseline;
mod explain;
mod failure;
mod fix;
mod format;
mod guard;
mod output;
mod project;
mod render;
mod replace;
mod samples;
mod settings;
mod solve;
mod sweep;
mod work;

use args::{Args, Command};
use clap::Parser;
use cutwater_compiler::codes::is_unsolved;
use cutwater_report::{Document, Outcome};
use failure::Failure;
use output::Output;
use std::process::ExitCode;

/// The exit codes of the contract.
mod exit {
    pub const CLEAN: u8 = 0;
    pub const FINDINGS: u8 = 1;
    pub const FAILED: u8 = 2;
    pub const UNSOLVED: u8 = 3;
    pub const FAULT: u8 = 101;
    pub const INTERRUPTED: u8 = 130;
}

fn main() -> ExitCode {
    let args = match Args::try_parse() {
        Ok(a) => a,
        Err(e) => {
            // Help and version are asked for and go to standard output; a reader who left early is no error.
            let _ = e.print();
            return ExitCode::from(if e.use_stderr() {
                exit::FAILED
            } else {
                exit::CLEAN
            });
        }
    };
    ExitCode::from(guard::run(|| command(args)))
}

fn command(args: Args) -> u8 {
    let done = match args.command {
        Command::Check(a) => check(a),
        Command::Solve(a) => solve_command(a),
        Command::Format(a) => format::run(&a),
        Command::Explain(a) => explain::run(&a),
        Command::Settings(a) => settings::run(&a),
        // The server ends by its client's word, so an interrupt keeps its usual effect there.
        Command::Lsp => Ok(u8::try_from(cutwater_server::run_stdio()).unwrap_or(exit::FAILED)),
    };
    done.unwrap_or_else(|failure| {
        failure.show();
        exit::FAILED
    })
}

fn check(c: args::CheckCommand) -> Result<u8, Failure> {
    let (a, write) = (c.check, c.write_baseline);
    if c.diff && a.format == args::Format::Json {
        return Err(Failure::new(
            "--diff shows differences of texts and cannot be written as JSON",
        )
        .help("leave out `--diff`: the JSON of `check` holds the edits of every fix"));
    }
    guard::end_on_interrupt();
    let mut project = project::find(&a.input)?;
    let known = baseline::load(&project, &a, write.as_ref())?;
    let plan = plan(&a, &known, false);
    let mut failed = false;
    let mut notes = Vec::new();
    let mut shown = None;
    if c.diff {
        let fixes = fix::plan(&project, &plan, c.fix.unwrap_or(args::Which::Safe))?;
        shown = Some(fixes.diff(&project));
        notes = fixes.notes(true);
    } else if let Some(which) = c.fix {
        let mut fixes = fix::plan(&project, &plan, which)?;
        for f in fixes.write(&mut project) {
            f.show();
            failed = true;
        }
        notes = fixes.notes(false);
    }
    let mut outcome = work::run(&project, &plan)?;
    outcome.show_known = a.show_known;
    match write {
        Some(_) => baseline::write(&project, &known, &mut outcome)?,
        None => baseline::finish(&project, &known, &mut outcome, c.prune_baseline)?,
    }
    outcome.notes.splice(0..0, notes);
    // What passes through standard output must hold the spec alone, or the difference alone.
    let spec = if c.fix.is_some() && !c.diff {
        project.stdin_text()
    } else {
        None
    };
    let mut out = match (&shown, &spec) {
        (None, None) => Output::new(a.color),
        (Some(text), _) | (None, Some(text)) => {
            let mut out = Output::new(args::Color::Never);
            out.write(text);
            out.finish()?;
            Output::aside(a.color)
        }
    };
    match a.format {
        args::Format::Text => {
            out.write(&render::findings(&outcome, out.style(), a.limit));
            out.write(&render::summary(&outcome, a.limit));
        }
        args::Format::Concise => {
            out.write(&render::concise(&outcome, a.limit));
            out.write(&render::summary(&outcome, a.limit));
        }
        args::Format::Json => out.write(&json(&outcome, "check", false)?),
    }
    out.finish()?;
    Ok(if failed { exit::FAILED } else { code(&outcome) })
}

fn solve_command(c: args::SolveCommand) -> Result<u8, Failure> {
    guard::end_on_interrupt();
    let a = &c.check;
    let project = project::find(&a.input)?;
    if !c.sweep.is_empty() {
        return sweep::run(&project, &c);
    }
    if let Some(n) = c.samples {
        return samples::run(&project, &c, n);
    }
    let known = baseline::load(&project, a, None)?;
    let mut outcome = work::run(&project, &plan(a, &known, true))?;
    outcome.show_known = a.show_known;
    baseline::finish(&project, &known, &mut outcome, false)?;
    let mut out = Output::new(a.color);
    match a.format {
        args::Format::Text => {
            let style = out.style();
            out.write(&solve::blocks(&outcome, style));
            out.write(&render::findings(&outcome, style, a.limit));
            out.write(&render::summary(&outcome, a.limit));
        }
        args::Format::Concise => {
            out.write(&solve::lines(&outcome));
            out.write(&render::concise(&outcome, a.limit));
            out.write(&render::summary(&outcome, a.limit));
        }
        args::Format::Json => out.write(&json(&outcome, "solve", true)?),
    }
    out.finish()?;
    Ok(code(&outcome))
}

fn plan(a: &args::Check, known: &baseline::InForce, results: bool) -> work::Plan {
    work::Plan {
        results,
        today: a.today.or_else(cutwater_compiler::world::today),
        baseline: known.baseline.clone(),
    }
}

fn json(outcome: &Outcome, command: &str, results: bool) -> Result<String, Failure> {
    Document::of(outcome, command, env!("CARGO_PKG_VERSION"), results)
        .to_text()
        .map_err(|e| Failure::new(format!("the JSON document could not be made: {e}")))
}

/// The exit code an outcome deserves: a duty that could not be solved says more than any other finding.
fn code(outcome: &Outcome) -> u8 {
    if outcome.findings().any(|f| is_unsolved(f.code)) {
        exit::UNSOLVED
    } else if outcome.fails() {
        exit::FINDINGS
    } else {
        exit::CLEAN
    }
}
