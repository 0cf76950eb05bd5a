//! The baseline of known findings: where it is, reading it, writing it, and what of it is out of date.
//!
//! The file is the one `--baseline` names, else the one the settings name. It is replaced in one step, so a run
//! that is broken off leaves the old one. Only entries of files that were looked at, or are gone, are ever
//! replaced or taken out. A file that is there and is no baseline is never written over.

use crate::args::Check;
use crate::failure::Failure;
use crate::project::{Project, shown};
use cutwater_compiler::baseline::{self, Baseline, Entry, FILE_NAME, OUTDATED};
use cutwater_compiler::settings::{self, keys};
use cutwater_compiler::world::{Found, read_path};
use cutwater_finding::{Finding, Label};
use cutwater_report::outcome::counted;
use cutwater_report::{At, FileOutcome, Outcome, Source};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Most entries that are told one by one.
const MOST_SHOWN: usize = 5;

/// The baseline of a run.
#[derive(Debug, Default)]
pub struct InForce {
    /// The file, whether or not it is there.
    path: PathBuf,
    /// The file as shown.
    name: String,
    /// Its text.
    text: Arc<str>,
    /// What it knows; `None` where no baseline is in force.
    pub baseline: Option<Arc<Baseline>>,
    /// The settings name this file.
    by_settings: bool,
}

/// Finds and reads the baseline. `write` is what `--write-baseline` was given: then it need not be there yet.
///
/// # Errors
/// A baseline that is named and not there, cannot be read, or is none.
pub fn load(
    project: &Project,
    a: &Check,
    write: Option<&Option<PathBuf>>,
) -> Result<InForce, Failure> {
    if a.no_baseline {
        return Ok(InForce::default());
    }
    let set = project
        .settings
        .baseline()
        .map(|(p, _)| project.root.join(p.as_str()));
    let named = write.and_then(Option::as_ref).or(a.baseline.as_ref());
    let path = match (named, &set) {
        (Some(p), _) => project.here.join(p),
        (None, Some(p)) => p.clone(),
        (None, None) if write.is_some() => project.root.join(FILE_NAME),
        (None, None) => return Ok(InForce::default()),
    };
    let name = shown(&project.here, &path);
    let (text, known) = match read_path(&path) {
        Found::Text(text) => match Baseline::parse(&text) {
            Ok(b) => (text, Some(Arc::new(b))),
            Err(e) => {
                let f = Failure::new(format!("`{name}` is no baseline: {}", e.why)).help(
                    "mend it, or delete it and write it anew with `cutwater check --write-baseline`; `--no-baseline` checks without it",
                );
                return Err(f.at(&name, &text, e.span.range()));
            }
        },
        Found::Missing if path.is_dir() => {
            return Err(Failure::new(format!(
                "`{name}` is a folder, and a baseline is a file"
            )));
        }
        Found::Missing if write.is_some() => (Arc::from(""), None),
        Found::Missing => {
            let f = Failure::new(format!("there is no baseline `{name}`"));
            return Err(f.help(if named.is_some() {
                "paths are taken from the current folder; `cutwater check --write-baseline` writes one"
            } else {
                "cutwater.toml names it: write it with `cutwater check --write-baseline`, or take the setting out"
            }));
        }
        Found::Trouble(t) => {
            let (_, message, help) = t.describe(&name);
            return Err(Failure::new(message).help(help));
        }
    };
    Ok(InForce {
        by_settings: set.is_some_and(|s| s == path),
        path,
        name,
        text,
        baseline: known,
    })
}

/// Makes everything found in the files looked at known, and writes it down.
///
/// # Errors
/// The file cannot be written.
pub fn write(project: &Project, known: &InForce, outcome: &mut Outcome) -> Result<(), Failure> {
    let mut new = known
        .baseline
        .as_ref()
        .map_or_else(Baseline::default, |b| (**b).clone());
    let kept: Vec<String> = new.files().map(str::to_owned).collect();
    for file in kept {
        if looked_at(project, &file) || is_gone(project, known, &file) {
            new.forget(&file);
        }
    }
    let others = new.known();
    new.extend(std::mem::take(&mut outcome.now));
    save(known, &new)?;
    outcome.know_all();
    let mut note = format!(
        "{} {} known now: {}",
        counted(new.known() - others, "finding"),
        if new.known() - others == 1 {
            "is"
        } else {
            "are"
        },
        known.name
    );
    if others > 0 {
        note.push_str(&format!(
            "; {} of files not looked at {} in it",
            others,
            if others == 1 { "stays" } else { "stay" }
        ));
    }
    outcome.notes.push(note);
    if !known.by_settings {
        outcome.notes.push(format!(
            "it is in force with `--baseline {}`, or always with a line as `{}` in cutwater.toml",
            known.name,
            keys::BASELINE.example
        ));
    }
    Ok(())
}

/// Says what the baseline knows and is found no more, or takes it out if `prune` is set.
///
/// # Errors
/// There is no baseline to prune, or it cannot be written.
pub fn finish(
    project: &Project,
    known: &InForce,
    outcome: &mut Outcome,
    prune: bool,
) -> Result<(), Failure> {
    let Some(b) = &known.baseline else {
        return if prune {
            Err(Failure::new("there is no baseline to prune").help(
                "name one with `--baseline FILE` or in cutwater.toml; `cutwater check --write-baseline` writes one",
            ))
        } else {
            Ok(())
        };
    };
    for file in b.files() {
        if !looked_at(project, file) && is_gone(project, known, file) {
            outcome.outdated.extend(b.entries_of(file));
        }
    }
    outcome.outdated.sort();
    if prune {
        let old = std::mem::take(&mut outcome.outdated);
        if old.is_empty() {
            outcome
                .notes
                .push(format!("nothing in {} is out of date", known.name));
            return Ok(());
        }
        let mut new = (**b).clone();
        old.iter().for_each(|e| new.remove(e));
        save(known, &new)?;
        outcome.notes.push(format!(
            "{} taken out of {}",
            counted(old.iter().map(|e| e.count).sum(), "finding"),
            known.name
        ));
        return Ok(());
    }
    let Some(level) = project.settings.base().level(&OUTDATED) else {
        return Ok(());
    };
    if let Some(mut f) = outdated(known, &outcome.outdated) {
        f.level = level;
        let source = f.place.source.clone();
        let fail_at = project.settings.base().fail_at;
        outcome.baseline = Some(FileOutcome::new(source, vec![f], fail_at));
    }
    Ok(())
}

/// Whether a file of the baseline is no more. Where nothing marks the root of the workspace, it depends on the
/// paths that were named, and a file that is not found below it may well be there.
fn is_gone(project: &Project, known: &InForce, file: &str) -> bool {
    let marked = project.root.join(settings::FILE_NAME).is_file()
        || known.path.parent() == Some(project.root.as_path());
    marked && !project.root.join(file).is_file()
}

fn looked_at(project: &Project, file: &str) -> bool {
    project
        .files
        .binary_search_by(|f| f.key.as_str().cmp(file))
        .is_ok()
}

fn outdated(known: &InForce, list: &[Entry]) -> Option<Finding<At>> {
    let first = list.first()?;
    let source = Arc::new(Source::new(known.name.clone(), known.text.clone()));
    let at = |e: &Entry| At {
        source: source.clone(),
        span: baseline::place_of(&known.text, e).unwrap_or_default(),
    };
    let told = |e: &Entry| {
        let what = if e.subject.is_empty() {
            &e.file
        } else {
            &e.subject
        };
        let many = match e.count {
            1 => String::new(),
            n => format!(", {n} times"),
        };
        format!("{} on `{what}`{many}", e.code)
    };
    let total: usize = list.iter().map(|e| e.count).sum();
    let mut names: Vec<String> = list.iter().take(MOST_SHOWN).map(told).collect();
    if list.len() > MOST_SHOWN {
        names.push(format!("{} more", list.len() - MOST_SHOWN));
    }
    let mut f = Finding::new(
        &OUTDATED,
        at(first),
        format!(
            "the baseline knows {} that {} found no more: {}",
            counted(total, "finding"),
            if total == 1 { "is" } else { "are" },
            names.join("; ")
        ),
    )
    .here("found no more")
    .help("`cutwater check --prune-baseline` takes out what is found no more");
    for e in list.iter().take(MOST_SHOWN).skip(1) {
        f.labels.push(Label {
            place: at(e),
            text: "nor this".to_owned(),
        });
    }
    Some(f)
}

/// Replaces the file in one step.
fn save(known: &InForce, new: &Baseline) -> Result<(), Failure> {
    let trouble = |e: std::io::Error| {
        Failure::new(format!("`{}` cannot be written: {e}", known.name))
            .help("check that its folder is there and may be written to")
    };
    let folder = known.path.parent().unwrap_or(Path::new("."));
    let mut file = tempfile::NamedTempFile::new_in(folder).map_err(trouble)?;
    file.write_all(new.to_text().as_bytes()).map_err(trouble)?;
    // A new file is for all to read as any other; one that was there keeps its permissions.
    match std::fs::metadata(&known.path) {
        Ok(m) => file
            .as_file()
            .set_permissions(m.permissions())
            .map_err(trouble)?,
        Err(_) => open_to_all(file.as_file()).map_err(trouble)?,
    }
    file.persist(&known.path).map_err(|e| trouble(e.error))?;
    Ok(())
}

#[cfg(unix)]
fn open_to_all(file: &std::fs::File) -> std::io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.set_permissions(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn open_to_all(_: &std::fs::File) -> std::io::Result<()> {
    Ok(())
}
