//! `cutwater format`: the one canonical layout, on disk or through standard input and output.
//!
//! A file is replaced as a whole or not at all ([`crate::replace`]). A file whose text would not change is never
//! touched. With `--check` or `--diff` nothing is written.

use crate::args::{Color, Layout};
use crate::exit;
use crate::failure::Failure;
use crate::guard;
use crate::output::Output;
use crate::project::{self, Named, Origin, Project};
use crate::replace::{diff, replace};
use cutwater_compiler::world::Found;
use cutwater_compiler::{Db, FileTrouble, Settings};
use cutwater_report::outcome::counted;
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
/// The files cannot be found, or standard output cannot be written. A file that cannot be read or written is
/// named on standard error, the others are laid out all the same, and the exit code is 2.
pub fn run(a: &Layout) -> Result<u8, Failure> {
    guard::end_on_interrupt();
    let project = project::find(&a.input)?;
    let write = !a.check && !a.diff;
    let work = |f: &Named| lay_out(&project, f, write);
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
    if !spec_alone && !a.diff {
        out.write(&closing(laid.len(), changed, write));
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

fn lay_out(project: &Project, f: &Named, write: bool) -> Result<Laid, Failure> {
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
    let new = cutwater_syntax::format(&old);
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
    }
}
