//! `cutwater format`: the one canonical layout, on disk or through standard input and output.
//!
//! A file is replaced as a whole or not at all ([`crate::replace`]). A file whose text would not change is never
//! touched. With `--check` or `--diff` nothing is written. With `--lines` all but some lines of one file is kept byte
//! for byte.

use crate::args::{Color, Layout, Lines};
use crate::exit;
use crate::failure::Failure;
use crate::guard;
use crate::output::Output;
use crate::project::{self, Named, Origin, Project};
use crate::replace::{diff, replace};
use cutwater_compiler::world::Found;
use cutwater_compiler::{Db, FileTrouble, Settings};
use cutwater_report::outcome::counted;
use cutwater_syntax::range::{apply, format_range};
use cutwater_text::{LineIndex, Span};
use rayon::prelude::*;
use std::fmt::Write as _;
use std::sync::Arc;

/// One file and its text before and after.
struct Laid {
    shown: String,
    stdin: bool,
    old: Arc<str>,
    new: String,
}

impl Laid {
    fn changed(&self) -> bool {
        *self.old != *self.new
    }
}

/// Runs the command.
///
/// # Errors
/// The files cannot be found, `--lines` is given with several, or standard output cannot be written. A file that cannot be read or written is
/// named on standard error, the others are laid out all the same, and the exit code is 2.
pub fn run(a: &Layout) -> Result<u8, Failure> {
    guard::end_on_interrupt();
    let project = project::find(&a.input)?;
    if let Some(lines) = a.lines
        && project.files.len() > 1
    {
        return Err(Failure::new(format!(
            "--lines asks for {lines} of one file, and {} are given",
            counted(project.files.len(), "file")
        ))
        .help("name the one file, or leave --lines out"));
    }
    let write = !a.check && !a.diff;
    let work = |f: &Named| lay_out(&project, f, a.lines, write);
    let done: Vec<Result<Laid, Failure>> = if project.files.len() < 16 {
        project.files.iter().map(work).collect()
    } else {
        project.files.par_iter().map(work).collect()
    };
    let mut failed = false;
    let mut laid = Vec::new();
    for d in done {
        match d {
            Ok(l) => laid.push(l),
            Err(e) => {
                e.show();
                failed = true;
            }
        }
    }
    let changed = laid.iter().filter(|l| l.changed()).count();
    let mut out = Output::new(Color::Never);
    let through = laid.iter().any(|l| l.stdin);
    for l in &laid {
        if a.diff && l.changed() {
            out.write(&diff(&l.shown, "laid out", &l.old, &l.new));
        } else if a.check && l.changed() {
            out.write(&format!("{}\n", l.shown));
        } else if write && l.stdin {
            out.write(&l.new);
        }
    }
    // What passes through standard output must hold the spec alone.
    let spec_alone = through && write;
    if !spec_alone && !a.diff && !laid.is_empty() {
        out.write(&match a.lines {
            Some(lines) => closing_of_lines(lines, changed > 0, write),
            None => closing(laid.len(), changed, write),
        });
    }
    out.finish()?;
    Ok(if failed {
        exit::FAILED
    } else if a.check && changed > 0 {
        exit::FINDINGS
    } else {
        exit::CLEAN
    })
}

fn closing(files: usize, changed: usize, write: bool) -> String {
    let mut out = String::new();
    let same = files - changed;
    if changed > 0 {
        let _ = write!(
            out,
            "{} {}",
            counted(changed, "file"),
            if write {
                "laid out"
            } else {
                "not in the canonical layout"
            }
        );
    }
    if same > 0 {
        let _ = write!(
            out,
            "{}{} in order",
            if changed > 0 { ", " } else { "" },
            counted(same, "file")
        );
    }
    out.push('\n');
    out
}

fn closing_of_lines(lines: Lines, changed: bool, write: bool) -> String {
    let how = match (changed, write) {
        (false, _) => "in order",
        (true, true) => "laid out",
        (true, false) => "not in the canonical layout",
    };
    format!("{lines} {how}\n")
}

/// The text with some of its lines laid out.
fn with_lines(shown: &str, text: &str, lines: Lines) -> Result<String, Failure> {
    let index = LineIndex::new(text);
    // Behind the last line end there is no line.
    let ends_with_line = text.is_empty() || text.ends_with(['\n', '\r']);
    let count = index.lines() - usize::from(ends_with_line);
    let line = |number: usize| {
        let index_of_it = u32::try_from(number - 1).ok().filter(|_| number <= count)?;
        index.line_span(text, index_of_it)
    };
    let (Some(first), Some(last)) = (line(lines.first), line(lines.last)) else {
        return Err(Failure::new(format!(
            "--lines asks for {lines}, and `{shown}` has {}",
            counted(count, "line")
        ))
        .help(match count {
            0 => "leave --lines out".to_owned(),
            n => format!("the last line is {n}"),
        }));
    };
    let span: Span = first.join(last);
    Ok(apply(text, &format_range(text, span)))
}

fn lay_out(
    project: &Project,
    f: &Named,
    lines: Option<Lines>,
    write: bool,
) -> Result<Laid, Failure> {
    let shown = project.shown(&f.key);
    let old = match f.read() {
        Found::Text(t) => t,
        Found::Trouble(t) => return Err(trouble(&shown, &t)),
        Found::Missing => {
            return Err(Failure::new(format!(
                "`{shown}` is gone: it was there when the run began"
            )));
        }
    };
    let new = match lines {
        Some(lines) => with_lines(&shown, &old, lines)?,
        None => cutwater_syntax::format(&old),
    };
    if let Origin::Disk(path) = &f.origin
        && write
        && *new != *old
    {
        replace(path, &old, &new)
            .map_err(|e| Failure::new(format!("`{shown}` cannot be written: {e}")))?;
    }
    Ok(Laid {
        shown,
        stdin: matches!(f.origin, Origin::Stdin(_)),
        old,
        new,
    })
}

/// The words of the finding that `check` would give.
fn trouble(shown: &str, t: &FileTrouble) -> Failure {
    let mut db = Db::new(Settings::default());
    let id = db.set_trouble(shown, t);
    match db.findings(id).into_iter().next() {
        Some(f) => Failure::new(f.message).help(f.help.unwrap_or_default()),
        None => Failure::new(format!("`{shown}` cannot be read")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_closing_line_counts_both_sorts() {
        assert_eq!(closing(3, 1, true), "1 file laid out, 2 files in order\n");
        assert_eq!(
            closing(2, 2, false),
            "2 files not in the canonical layout\n"
        );
        assert_eq!(closing(1, 0, true), "1 file in order\n");
        let lines = |first, last| Lines { first, last };
        assert_eq!(
            closing_of_lines(lines(2, 9), true, true),
            "lines 2..9 laid out\n"
        );
        assert_eq!(
            closing_of_lines(lines(2, 2), true, false),
            "line 2 not in the canonical layout\n"
        );
        assert_eq!(
            closing_of_lines(lines(2, 2), false, true),
            "line 2 in order\n"
        );
    }

    #[test]
    fn lines_are_counted_from_one_and_must_be_there() {
        let text = "let a=1 in\r\nlet b=2 in\nlet c=3 in";
        let lay = |first, last| with_lines("a.pump", text, Lines { first, last });
        let laid = |first, last| lay(first, last).expect("the lines are there");
        assert_eq!(
            laid(2, 2),
            text.replace("b=2", "b = 2").replace("2 in\n", "2 in\r\n")
        );
        assert_eq!(laid(1, 3), cutwater_syntax::format(text));
        let says = |r: Result<String, Failure>| r.expect_err("they are not").to_string();
        assert_eq!(
            says(lay(3, 4)),
            "--lines asks for lines 3..4, and `a.pump` has 3 lines"
        );
        let line = Lines { first: 2, last: 2 };
        assert_eq!(
            says(with_lines("a.pump", "let a = 1 in\n", line)),
            "--lines asks for line 2, and `a.pump` has 1 line"
        );
    }
}
