//! Finds what a run is about: the workspace's root, its settings, and the files that were named.
//!
//! The root is the nearest folder at or above the first path that holds `cutwater.toml`; without one, the
//! folder that all paths have in common. Every file must lie below the root, because a spec means the same
//! only together with its workspace. Folders are searched for `.pump` files in parallel; hidden files and
//! those named by `.gitignore` and `.ignore` are left out (a user's own global ignore file is not read, so a
//! run gives the same everywhere); links are not followed. A file that is named itself is taken whatever its
//! ending, and even if it is ignored.

use crate::args::Input;
use crate::failure::Failure;
use cutwater_compiler::MAX_FILE;
use cutwater_compiler::ProjectSettings;
use cutwater_compiler::settings::FILE_NAME;
use cutwater_compiler::world::{Found, from_bytes, read_path};
use cutwater_report::FileOutcome;
use ignore::{WalkBuilder, WalkState};
use std::collections::{BTreeMap, BTreeSet};
use std::io::Read;
use std::path::{Component, Path, PathBuf};
use std::sync::Mutex;

/// What a spec's file name ends in.
pub const EXTENSION: &str = "pump";

/// Where a file's text comes from.
#[derive(Debug)]
pub enum Origin {
    /// The disk.
    Disk(PathBuf),
    /// Standard input, read.
    Stdin(Found),
}

/// A file that was named, or found in a folder that was.
#[derive(Debug)]
pub struct Named {
    /// Its path from the root, with `/`.
    pub key: String,
    /// Where its text comes from.
    pub origin: Origin,
}

impl Named {
    /// Its text, or why it has none.
    pub fn read(&self) -> Found {
        match &self.origin {
            Origin::Stdin(found) => found.clone(),
            Origin::Disk(path) => read_file(path),
        }
    }
}

/// What a run is about.
#[derive(Debug)]
pub struct Project {
    /// The workspace's root, as the system itself writes it.
    pub root: PathBuf,
    /// The folder the command runs in.
    pub here: PathBuf,
    /// The settings in force.
    pub settings: ProjectSettings,
    /// The project file, where something in it is wrong.
    pub project_file: Option<FileOutcome>,
    /// The files that were named, by path.
    pub files: Vec<Named>,
    /// What a reader should know about the choice of files.
    pub notes: Vec<String>,
}

impl Project {
    /// The text of standard input, where it is one of the files.
    pub fn stdin_text(&self) -> Option<String> {
        self.files.iter().find_map(|f| match &f.origin {
            Origin::Stdin(Found::Text(t)) => Some(t.to_string()),
            _ => None,
        })
    }

    /// The path shown for a path from the root.
    pub fn shown(&self, key: &str) -> String {
        shown(&self.here, &self.root.join(key))
    }
}

enum Target {
    Folder(PathBuf),
    File(PathBuf),
    Stdin(PathBuf),
}

impl Target {
    fn folder(&self) -> PathBuf {
        match self {
            Target::Folder(p) => p.clone(),
            Target::File(p) | Target::Stdin(p) => {
                p.parent().map_or_else(|| p.clone(), Path::to_path_buf)
            }
        }
    }
}

/// Finds the project the paths speak of.
///
/// # Errors
/// A path that is not there or cannot be read, one outside the workspace, no spec at all, a `--config` that is
/// wrong.
pub fn find(input: &Input) -> Result<Project, Failure> {
    let here = here()?;
    let mut targets = Vec::new();
    let mut stdin = None;
    for path in &input.paths {
        if path.as_os_str() == "-" {
            if stdin.is_none() {
                stdin = Some(read_stdin()?);
                targets.push(Target::Stdin(resolve_name(&here, &input.stdin_name)));
            }
        } else {
            targets.push(target(&here, path)?);
        }
    }
    let root = root_of(&targets, &here);
    let (settings, project_file) = crate::settings::load(&root, &here, &input.config)?;

    let mut files: BTreeMap<String, Origin> = BTreeMap::new();
    let mut notes = Vec::new();
    for t in &targets {
        let top = match t {
            Target::Folder(p) | Target::File(p) | Target::Stdin(p) => p,
        };
        if !top.starts_with(&root) {
            return Err(outside(&here, top, &root));
        }
        match t {
            Target::Folder(p) => {
                let found = walk(p)?;
                for f in found.specs {
                    files.entry(key_of(&root, &f)).or_insert(Origin::Disk(f));
                }
                notes.extend(found.notes);
                for f in found.projects.iter().filter(|f| f.parent() != Some(&*root)) {
                    notes.push(format!(
                        "{} is not in force here; it is when its own folder is named first, and `[[folder]]` in the project file above sets a part of a workspace apart",
                        shown(&here, f)
                    ));
                }
            }
            Target::File(p) => {
                files
                    .entry(key_of(&root, p))
                    .or_insert_with(|| Origin::Disk(p.clone()));
            }
            Target::Stdin(_) => {}
        }
    }
    // Standard input stands in for a file of the same name on disk.
    if let Some(found) = stdin {
        for t in &targets {
            if let Target::Stdin(p) = t {
                files.insert(key_of(&root, p), Origin::Stdin(found.clone()));
            }
        }
    }
    if files.is_empty() {
        let names: Vec<String> = targets.iter().map(|t| shown(&here, &t.folder())).collect();
        return Err(
            Failure::new(format!("there is no .{EXTENSION} file in {}", quoted(&names))).help(
                "hidden files and those that .gitignore or .ignore leave out are not looked at; a file that is named itself always is",
            ),
        );
    }
    Ok(Project {
        root,
        here,
        settings,
        project_file,
        files: files
            .into_iter()
            .map(|(key, origin)| Named { key, origin })
            .collect(),
        notes,
    })
}

fn quoted(names: &[String]) -> String {
    names
        .iter()
        .map(|n| format!("`{n}`"))
        .collect::<Vec<_>>()
        .join(", ")
}

fn target(here: &Path, path: &Path) -> Result<Target, Failure> {
    let name = path.display();
    let trouble = |e: &std::io::Error| match e.kind() {
        std::io::ErrorKind::NotFound => {
            Failure::new(format!("there is no file or folder `{name}`"))
                .help("paths are taken from the current folder")
        }
        _ => Failure::new(format!("`{name}` cannot be read: {e}")),
    };
    let real = match path.canonicalize() {
        Ok(p) => p,
        // A pipe handed over by a shell is there, though it has no path of its own.
        Err(_) if path.exists() => return Ok(Target::File(resolve_name(here, path))),
        Err(e) => return Err(trouble(&e)),
    };
    if real.is_dir() {
        return Ok(Target::Folder(real));
    }
    // A file keeps the name it was given by, even where that is a link; only its folder is made plain.
    let file_name = path.file_name();
    let parent = match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    match (file_name, parent.canonicalize()) {
        (Some(n), Ok(p)) => Ok(Target::File(p.join(n))),
        _ => Ok(Target::File(real)),
    }
}

/// Takes `.` and `..` out of a path that need not exist.
fn resolve_name(here: &Path, name: &Path) -> PathBuf {
    let mut out = PathBuf::new();
    for c in here.join(name).components() {
        match c {
            Component::CurDir => {}
            Component::ParentDir => {
                out.pop();
            }
            c => out.push(c),
        }
    }
    match (out.parent().map(Path::canonicalize), out.file_name()) {
        (Some(Ok(p)), Some(n)) => p.join(n),
        _ => out,
    }
}

fn root_of(targets: &[Target], here: &Path) -> PathBuf {
    let folders: Vec<PathBuf> = targets.iter().map(Target::folder).collect();
    let first = folders.first().map_or(here, PathBuf::as_path);
    if let Some(top) = first.ancestors().find(|a| a.join(FILE_NAME).is_file()) {
        return top.to_path_buf();
    }
    folders.iter().fold(first.to_path_buf(), |common, f| {
        common
            .ancestors()
            .find(|a| f.starts_with(a))
            .unwrap_or(Path::new("/"))
            .to_path_buf()
    })
}

fn outside(here: &Path, path: &Path, root: &Path) -> Failure {
    Failure::new(format!(
        "`{}` lies outside the workspace `{}`",
        shown(here, path),
        shown(here, root)
    ))
    .help(format!(
        "the workspace is the folder of the first path's {FILE_NAME}; run the command for the other workspace on its own"
    ))
}

fn key_of(root: &Path, path: &Path) -> String {
    slashed(path.strip_prefix(root).unwrap_or(path))
}

fn slashed(path: &Path) -> String {
    path.components()
        .map(|c| c.as_os_str().to_string_lossy())
        .collect::<Vec<_>>()
        .join("/")
}

/// The root of the workspace a path lies in, and the path there; empty for the root itself.
///
/// # Errors
/// The path is not there.
pub fn place(path: &Path) -> Result<(PathBuf, PathBuf, String), Failure> {
    let here = here()?;
    let target = target(&here, path)?;
    let root = root_of(std::slice::from_ref(&target), &here);
    let full = match &target {
        Target::Folder(p) | Target::File(p) | Target::Stdin(p) => p,
    };
    let key = key_of(&root, full);
    Ok((root, here, key))
}

fn here() -> Result<PathBuf, Failure> {
    std::env::current_dir()
        .and_then(|p| p.canonicalize())
        .map_err(|e| Failure::new(format!("the current folder cannot be read: {e}")))
}

/// A path as shown: from the current folder where the two have a folder in common, else in full.
pub fn shown(here: &Path, path: &Path) -> String {
    if let Ok(inside) = path.strip_prefix(here) {
        return if inside.as_os_str().is_empty() {
            ".".to_owned()
        } else {
            slashed(inside)
        };
    }
    let common = here
        .ancestors()
        .enumerate()
        .find(|(_, a)| a.parent().is_some() && path.starts_with(a));
    match common {
        Some((up, a)) => {
            let rest = slashed(path.strip_prefix(a).unwrap_or(path));
            let dots = "../".repeat(up);
            if rest.is_empty() {
                dots.trim_end_matches('/').to_owned()
            } else {
                dots + &rest
            }
        }
        None => path.to_string_lossy().into_owned(),
    }
}

#[derive(Default)]
struct Walked {
    specs: Vec<PathBuf>,
    projects: BTreeSet<PathBuf>,
    notes: BTreeSet<String>,
    trouble: BTreeSet<String>,
}

fn walk(folder: &Path) -> Result<Walked, Failure> {
    let found = Mutex::new(Walked::default());
    let threads = std::thread::available_parallelism().map_or(1, |n| n.get().min(4));
    WalkBuilder::new(folder)
        .require_git(false)
        .git_global(false)
        .git_exclude(false)
        .follow_links(false)
        .threads(threads)
        .build_parallel()
        .run(|| {
            Box::new(|entry| {
                let mut found = found
                    .lock()
                    .unwrap_or_else(std::sync::PoisonError::into_inner);
                match entry {
                    Ok(e) => {
                        if let Some(slip) = e.error() {
                            found
                                .notes
                                .insert(format!("an ignore file is not wholly understood: {slip}"));
                        }
                        if e.file_type().is_some_and(|t| t.is_file()) {
                            let path = e.into_path();
                            if path
                                .extension()
                                .is_some_and(|x| x.eq_ignore_ascii_case(EXTENSION))
                            {
                                found.specs.push(path);
                            } else if path.file_name().is_some_and(|n| n == FILE_NAME) {
                                found.projects.insert(path);
                            }
                        }
                    }
                    Err(e) => {
                        found.trouble.insert(e.to_string());
                    }
                }
                WalkState::Continue
            })
        });
    let found = found
        .into_inner()
        .unwrap_or_else(std::sync::PoisonError::into_inner);
    match found.trouble.first() {
        Some(why) => Err(Failure::new(format!("a folder cannot be searched: {why}"))
            .help("check its permissions, or leave it out by naming it in an .ignore file")),
        None => Ok(found),
    }
}

/// Reads a file that was named. What is no ordinary file (a pipe, a device) is read up to the largest size.
fn read_file(path: &Path) -> Found {
    match std::fs::metadata(path) {
        Ok(m) if !m.is_file() && !m.is_dir() => match std::fs::File::open(path) {
            Ok(f) => read_some(f),
            Err(_) => read_path(path),
        },
        _ => read_path(path),
    }
}

fn read_some(from: impl Read) -> Found {
    let mut bytes = Vec::new();
    match from.take(MAX_FILE as u64 + 1).read_to_end(&mut bytes) {
        Ok(_) => from_bytes(bytes),
        Err(e) => Found::Trouble(cutwater_compiler::FileTrouble::Unreadable(e.to_string())),
    }
}

fn read_stdin() -> Result<Found, Failure> {
    match read_some(std::io::stdin().lock()) {
        Found::Trouble(cutwater_compiler::FileTrouble::Unreadable(why)) => Err(Failure::new(
            format!("standard input cannot be read: {why}"),
        )),
        found => Ok(found),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_are_shown_from_the_current_folder() {
        let at = |here: &str, p: &str| shown(Path::new(here), Path::new(p));
        assert_eq!(at("/a/b", "/a/b/c/d.pump"), "c/d.pump");
        assert_eq!(at("/a/b", "/a/b"), ".");
        assert_eq!(at("/a/b", "/a/x.pump"), "../x.pump");
        assert_eq!(at("/a/b", "/a"), "..");
        assert_eq!(at("/a/b/c", "/a/x/y.pump"), "../../x/y.pump");
        assert_eq!(at("/a/b", "/other/x.pump"), "/other/x.pump");
    }

    #[test]
    fn without_a_project_file_the_root_is_what_the_paths_have_in_common() {
        let file = |p: &str| Target::File(PathBuf::from(p));
        let folder = |p: &str| Target::Folder(PathBuf::from(p));
        let here = Path::new("/");
        let root = |t: &[Target]| root_of(t, here);
        assert_eq!(root(&[file("/q/a/x.pump")]), Path::new("/q/a"));
        assert_eq!(root(&[folder("/q/a")]), Path::new("/q/a"));
        assert_eq!(
            root(&[file("/q/a/x.pump"), file("/q/b/c/y.pump")]),
            Path::new("/q")
        );
        assert_eq!(root(&[folder("/q/a"), folder("/q/a/b")]), Path::new("/q/a"));
    }

    #[test]
    fn the_name_of_standard_input_need_not_exist() {
        let p = resolve_name(Path::new("/no-such-folder/b"), Path::new("../c/./x.pump"));
        assert_eq!(p, Path::new("/no-such-folder/c/x.pump"));
    }
}
