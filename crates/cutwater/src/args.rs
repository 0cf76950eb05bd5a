//! The command line, as `clap` reads it.

use clap::{Args as ClapArgs, Parser, Subcommand, ValueEnum};
use cutwater_compiler::value::Date;
use std::fmt;
use std::path::PathBuf;

/// Checks, solves and formats pump specs.
#[derive(Parser, Debug)]
#[command(
    name = "cutwater",
    version,
    about = "Checks, solves and formats pump specs.",
    after_help = "Exit codes: 0 nothing at or above the failing level; 1 findings; 2 the work could not be done; 3 a duty could not be solved; 101 a fault in the tool; 130 interrupted."
)]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Subcommand, Debug)]
pub enum Command {
    /// Check specs and report what is found; with --fix, mend what has a fix first.
    Check(CheckCommand),
    /// Give the computed properties of specs and the operating points of their duties.
    Solve(SolveCommand),
    /// Lay specs out in the one canonical way.
    Format(Layout),
    /// Explain a finding, a kind, a field (ring.bore), a word, a function or a unit; without a topic, list them.
    Explain(Explain),
    /// Show the settings in force for a path, and where each comes from.
    Settings(SettingsCommand),
    /// Serve an editor over standard input and output (Language Server Protocol).
    Lsp,
}

/// Where specs come from.
#[derive(ClapArgs, Debug)]
pub struct Input {
    /// Files and folders; a folder is searched for .pump files, less those that ignore files name; `-` is
    /// standard input.
    #[arg(value_name = "PATH", default_value = ".")]
    pub paths: Vec<PathBuf>,
    /// The path standard input goes by: what `use` lines are taken from and messages name.
    #[arg(long, value_name = "NAME", default_value = "stdin.pump")]
    pub stdin_name: PathBuf,
    /// A setting in place of the one in cutwater.toml, as fail_at=warning or levels.CW17=off.
    #[arg(long = "config", value_name = "KEY=VALUE")]
    pub config: Vec<String>,
}

/// `check`.
#[derive(ClapArgs, Debug)]
pub struct CheckCommand {
    /// What it has in common with `solve`.
    #[command(flatten)]
    pub check: Check,
    /// Make what is found in these files known: write it to FILE, or to the baseline of the settings, or to
    /// cutwater-baseline.json at the root of the workspace.
    #[arg(long, value_name = "FILE", num_args = 0..=1, require_equals = true, conflicts_with_all = ["no_baseline", "prune_baseline"])]
    pub write_baseline: Option<Option<PathBuf>>,
    /// Take out of the baseline what is found no more.
    #[arg(long, conflicts_with = "no_baseline")]
    pub prune_baseline: bool,
    /// Apply the fixes of what is found, then report what is left. Standard input is mended to standard output, and what is
    /// left is reported on standard error.
    #[arg(long, value_enum, value_name = "WHICH", num_args = 0..=1, require_equals = true, default_missing_value = "safe")]
    pub fix: Option<Which>,
    /// Change nothing; show what --fix (or --fix=all) would change.
    #[arg(long, conflicts_with_all = ["write_baseline", "prune_baseline"])]
    pub diff: bool,
}

/// `solve`.
#[derive(ClapArgs, Debug)]
pub struct SolveCommand {
    /// What it has in common with `check`.
    #[command(flatten)]
    pub check: Check,
    /// Show results at several values of an input: a field, a named value, what a duty holds, or the length of hose before a
    /// station, as "pond.draft.lift = 5 ft .. 20 ft in 7", "attack.left.pressure = 75 psi, 100 psi",
    /// "two_lines.left.length = 100 ft .. 400 ft by 50 ft". Given twice, in every combination.
    #[arg(long, value_name = "INPUT = VALUES")]
    pub sweep: Vec<String>,
    /// With --sweep, the result to show, as attack.left.flow; else those of duties that an editor shows.
    #[arg(long, value_name = "RESULT", requires = "sweep")]
    pub show: Vec<String>,
    /// Solve every duty N times, with each toleranced input drawn within its limits, and show how its results spread and how
    /// often the limits are missed.
    #[arg(long, value_name = "N", conflicts_with = "sweep")]
    pub samples: Option<u64>,
    /// With --samples, the duty to sample; else all of them.
    #[arg(long, value_name = "DUTY", requires = "samples")]
    pub duty: Vec<String>,
    /// With --samples, where the stream of drawn numbers begins: the same seed gives the same samples.
    #[arg(long, value_name = "N", default_value_t = 1, requires = "samples")]
    pub seed: u64,
    /// With --samples, how an input lies within its limits.
    #[arg(long, value_enum, value_name = "FORM", default_value_t = Drawn::Even, requires = "samples")]
    pub drawn: Drawn,
}

/// How an input lies within its limits.
#[derive(ValueEnum, Clone, Copy, PartialEq, Eq, Debug)]
pub enum Drawn {
    /// Anywhere alike: what is known of an input when only its limits are.
    Even,
    /// Mostly in the middle, falling off to the limits in straight lines.
    Triangular,
    /// Normally distributed, the limits at two standard deviations and none beyond.
    Normal,
}

/// Which fixes to apply.
#[derive(ValueEnum, Clone, Copy, PartialEq, Eq, Debug)]
pub enum Which {
    /// Those that keep the meaning or restore the only possible one.
    Safe,
    /// Those, too, that guess at what was meant: read what they changed.
    All,
}

/// `settings`.
#[derive(ClapArgs, Debug)]
pub struct SettingsCommand {
    /// A file or folder.
    #[arg(value_name = "PATH", default_value = ".")]
    pub path: PathBuf,
    /// A setting in place of the one in cutwater.toml, as fail_at=warning or levels.CW17=off.
    #[arg(long = "config", value_name = "KEY=VALUE")]
    pub config: Vec<String>,
    /// How to write it.
    #[arg(long, value_enum, default_value_t = PageFormat::Text)]
    pub format: PageFormat,
}

/// `check` and `solve`.
#[derive(ClapArgs, Debug)]
pub struct Check {
    /// Where specs come from.
    #[command(flatten)]
    pub input: Input,
    /// How to write what was found.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Whether to colour text.
    #[arg(long, value_enum, default_value_t = Color::Auto)]
    pub color: Color,
    /// Show at most this many findings as text; 0 shows all. JSON always holds all.
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub limit: usize,
    /// The baseline of known findings, in place of the one in cutwater.toml.
    #[arg(long, value_name = "FILE", conflicts_with = "no_baseline")]
    pub baseline: Option<PathBuf>,
    /// Take no finding as known.
    #[arg(long)]
    pub no_baseline: bool,
    /// Show known findings, too; they do not count.
    #[arg(long)]
    pub show_known: bool,
    /// The day to check for, year-month-day, which ends acceptances; else today, in UTC.
    #[arg(long, value_name = "DATE", value_parser = day)]
    pub today: Option<Date>,
}

fn day(text: &str) -> Result<Date, String> {
    Date::parse(text).ok_or_else(|| "a day is written year-month-day, as 2026-05-14".to_owned())
}

/// How to write what was found.
#[derive(ValueEnum, Clone, Copy, PartialEq, Eq, Debug)]
pub enum Format {
    /// With the lines of the spec it speaks of.
    Text,
    /// One line for each.
    Concise,
    /// A JSON document.
    Json,
}

/// Whether to colour text.
#[derive(ValueEnum, Clone, Copy, PartialEq, Eq, Debug)]
pub enum Color {
    /// On a terminal, unless NO_COLOR is set.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// `format`.
#[derive(ClapArgs, Debug)]
pub struct Layout {
    /// Where specs come from. Standard input is laid out to standard output.
    #[command(flatten)]
    pub input: Input,
    /// Change nothing; list the files that are not in the canonical layout and exit with 1 if there are any.
    #[arg(long)]
    pub check: bool,
    /// Change nothing; show what would change. With --check, exit with 1 if anything would.
    #[arg(long)]
    pub diff: bool,
    /// Lay out these lines of one file alone, counted from 1, as 10..20 or 10; what shares an entry, a table or a
    /// column with them is laid out too.
    #[arg(long, value_name = "FIRST..LAST", value_parser = read_lines, allow_hyphen_values = true)]
    pub lines: Option<Lines>,
}

/// Lines of a file, counted from 1, both ends included.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Lines {
    /// The first.
    pub first: usize,
    /// The last, not before the first.
    pub last: usize,
}

impl fmt::Display for Lines {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.first == self.last {
            write!(f, "line {}", self.first)
        } else {
            write!(f, "lines {}..{}", self.first, self.last)
        }
    }
}

fn read_lines(text: &str) -> Result<Lines, String> {
    let (first, last) = text.split_once("..").unwrap_or((text, text));
    let number = |text: &str| match text.trim().parse::<usize>() {
        Ok(0) => Err("lines are counted from 1".to_owned()),
        Ok(n) => Ok(n),
        Err(_) if text.trim().is_empty() => {
            Err("a line's number is missing; write it as 10..20, or as 10".to_owned())
        }
        Err(_) => Err(format!(
            "`{}` is no line's number; write the lines as 10..20, or as 10",
            text.trim()
        )),
    };
    let (first, last) = (number(first)?, number(last)?);
    if first > last {
        return Err(format!(
            "the first line comes after the last; write {last}..{first}"
        ));
    }
    Ok(Lines { first, last })
}

/// `explain`.
#[derive(ClapArgs, Debug)]
pub struct Explain {
    /// A finding's code or name, a kind, a field (ring.bore), a unit (gpm), or one of findings, kinds, units.
    #[arg(value_name = "TOPIC")]
    pub topic: Option<String>,
    /// How to write it.
    #[arg(long, value_enum, default_value_t = PageFormat::Text)]
    pub format: PageFormat,
}

/// How to write a page.
#[derive(ValueEnum, Clone, Copy, PartialEq, Eq, Debug)]
pub enum PageFormat {
    /// For reading.
    Text,
    /// For programs.
    Json,
}
