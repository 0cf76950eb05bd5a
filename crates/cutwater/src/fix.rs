//! `cutwater check --fix`: applies the fixes of findings to the files that were named.
//!
//! All files are held in one compiler database, because a fix in one may change what is found in another, and fixes are
//! applied until none is left. Only then is anything written, each file in one step. A file outside the workspace, the
//! standard library, and what is no ordinary file are never written; a fix that would have to change one is left. Standard
//! input is not a file: its mended text goes to standard output.

use crate::args::Which;
use crate::failure::Failure;
use crate::project::{Origin, Project};
use crate::replace::{diff, replace};
use crate::work::Plan;
use cutwater_compiler::Db;
use cutwater_compiler::world::{Disk, Found};
use cutwater_editor::{Mended, mend};
use cutwater_finding::{FixTier, Left};
use cutwater_report::outcome::counted;
use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::Arc;

/// A file and its text before and after.
struct Changed {
    key: String,
    /// Where it is written to; `None` for standard input.
    path: Option<PathBuf>,
    old: Arc<str>,
    new: String,
}

/// What fixes do to the files of a project.
pub struct Fixes {
    which: Which,
    changed: Vec<Changed>,
    mended: Mended,
    /// Files that have fixes and are not written, and why not.
    closed: Vec<String>,
}

impl Which {
    fn tier(self) -> FixTier {
        match self {
            Which::Safe => FixTier::Safe,
            Which::All => FixTier::NeedsALook,
        }
    }
}

/// Works out what the fixes do; nothing is written.
///
/// # Errors
/// A file that was named is gone.
pub fn plan(project: &Project, plan: &Plan, which: Which) -> Result<Fixes, Failure> {
    let world = Disk::new(&project.root);
    let mut db = Db::new(project.settings.clone());
    db.set_today(plan.today);
    db.set_baseline(plan.baseline.clone());
    let mut named = Vec::new();
    let mut origins: BTreeMap<&str, &Origin> = BTreeMap::new();
    for f in &project.files {
        match f.read() {
            Found::Text(t) => {
                named.push(db.set_file(&f.key, t));
                origins.insert(&f.key, &f.origin);
            }
            Found::Trouble(t) => {
                db.set_trouble(&f.key, &t);
            }
            Found::Missing => {
                return Err(Failure::new(format!(
                    "`{}` is gone: it was there when the run began",
                    project.shown(&f.key)
                )));
            }
        }
    }
    db.load_used(&world);
    // Nothing cancels this run: an interrupt ends the process.
    let _ = db.settle(true, None);
    let place = |key: &str| match origins.get(key) {
        Some(Origin::Stdin(_)) => None,
        Some(Origin::Disk(p)) => Some(p.clone()),
        None => Some(project.root.join(key)),
    };
    let mut open: BTreeSet<String> = BTreeSet::new();
    let mut shut: BTreeMap<String, String> = BTreeMap::new();
    for f in db.files() {
        let key = db.path(f).to_string();
        match place(&key).map(|p| (p.canonicalize(), p)) {
            None => {
                open.insert(key);
            }
            Some((Ok(real), _)) if real.starts_with(&project.root) && real.is_file() => {
                open.insert(key);
            }
            Some((Ok(real), _)) if real.is_file() => {
                let why = format!("leads out of the workspace, to `{}`", real.display());
                shut.insert(key, why);
            }
            Some(_) => {
                shut.insert(key, "is no ordinary file".to_owned());
            }
        }
    }
    let before: BTreeMap<String, Arc<str>> = db
        .files()
        .map(|f| (db.path(f).to_string(), db.text(f).clone()))
        .collect();
    let mended = mend(
        &mut db,
        &named,
        which.tier(),
        |db, f| open.contains(db.path(f).as_str()),
        |db| {
            db.load_used(&world);
            let _ = db.settle(true, None);
        },
    );
    let changed = mended
        .texts
        .iter()
        .filter_map(|(key, new)| {
            let old = before.get(key.as_str())?.clone();
            (*old != **new).then(|| Changed {
                key: key.to_string(),
                path: place(key),
                old,
                new: new.clone(),
            })
        })
        .collect();
    let mut closed = BTreeSet::new();
    for (f, why) in &mended.left {
        if *why != Left::Closed {
            continue;
        }
        for e in f.fix.iter().flat_map(|x| &x.edits) {
            let key = db.path(e.place.file).to_string();
            if let Some(why) = shut.get(&key) {
                closed.insert(format!(
                    "`{}` is not written: it {why}",
                    project.shown(&key)
                ));
            }
        }
    }
    Ok(Fixes {
        which,
        changed,
        mended,
        closed: closed.into_iter().collect(),
    })
}

impl Fixes {
    /// What would change, as differences between texts.
    pub fn diff(&self, project: &Project) -> String {
        self.changed
            .iter()
            .map(|c| diff(&project.shown(&c.key), "mended", &c.old, &c.new))
            .collect()
    }

    /// Writes the files that changed. The project then holds the mended text of standard input. Gives the files that could not be written,
    /// each with the reason.
    pub fn write(&mut self, project: &mut Project) -> Vec<Failure> {
        let mut failed = Vec::new();
        let mut kept = Vec::new();
        for c in std::mem::take(&mut self.changed) {
            let done = match &c.path {
                Some(p) => replace(p, &c.old, &c.new),
                None => {
                    for f in project.files.iter_mut().filter(|f| f.key == c.key) {
                        f.origin = Origin::Stdin(Found::Text(Arc::from(c.new.as_str())));
                    }
                    Ok(())
                }
            };
            match done {
                Ok(()) => kept.push(c),
                Err(e) => failed.push(Failure::new(format!(
                    "`{}` cannot be written: {e}",
                    project.shown(&c.key)
                ))),
            }
        }
        self.changed = kept;
        failed
    }

    /// What was done, or with `only_shown` would be done, and what is left to do.
    pub fn notes(&self, only_shown: bool) -> Vec<String> {
        let verb = if only_shown { "would fix" } else { "fixed" };
        let written: BTreeSet<&str> = self.changed.iter().map(|c| c.key.as_str()).collect();
        let applied = self
            .mended
            .applied
            .iter()
            .filter(|a| written.contains(a.path.as_str()))
            .count();
        let mut first = if applied == 0 {
            format!("{} nothing", if only_shown { "would fix" } else { "fixed" })
        } else {
            format!(
                "{verb} {} in {}",
                counted(applied, "finding"),
                counted(written.len(), "file")
            )
        };
        let look = self.mended.to_look_at();
        if look > 0 {
            first.push_str(&match self.which {
                Which::Safe => format!(
                    "; {look} more {} a fix that needs a look: `--fix=all` applies {}",
                    if look == 1 { "has" } else { "have" },
                    if look == 1 { "it" } else { "them" }
                ),
                Which::All => format!(
                    "; {look} more {} a fix that could not be applied as the text stands",
                    if look == 1 { "has" } else { "have" }
                ),
            });
        }
        let mut out = vec![first];
        if self.which == Which::All && applied > 0 {
            out.push(
                "fixes that need a look guess at what was meant: read what they changed".to_owned(),
            );
        }
        out.extend(self.closed.iter().cloned());
        out
    }
}
