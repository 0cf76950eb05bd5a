//! Documents, folders and paths: which file a URI means, and which workspace root it belongs to.

use smol_str::SmolStr;
use std::path::{Component, Path, PathBuf};
use tower_lsp::ls_types::Uri;

/// What a document is known by: two URIs that differ in how they are encoded may mean one file.
#[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub(crate) enum Key {
    /// A file on disk.
    Path(PathBuf),
    /// Anything else, such as a document never saved.
    Other(String),
}

impl Key {
    /// What a URI means.
    pub fn of(uri: &Uri) -> Self {
        if uri.scheme().as_str().eq_ignore_ascii_case("file")
            && let Some(path) = uri.to_file_path()
        {
            return Key::Path(tidy(&path));
        }
        Key::Other(uri.as_str().to_owned())
    }

    /// The file, if it is one.
    pub fn path(&self) -> Option<&Path> {
        match self {
            Key::Path(p) => Some(p),
            Key::Other(_) => None,
        }
    }
}

/// The path without `.` and `..`.
fn tidy(path: &Path) -> PathBuf {
    let mut out = PathBuf::new();
    for part in path.components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir => {
                out.pop();
            }
            p => out.push(p),
        }
    }
    out
}

/// A path below `dir`, with `/` between its parts; `None` where it is not below it or is no UTF-8.
pub(crate) fn below(dir: &Path, path: &Path) -> Option<SmolStr> {
    let rest = path.strip_prefix(dir).ok()?;
    let mut out = String::new();
    for part in rest.components() {
        if !out.is_empty() {
            out.push('/');
        }
        out.push_str(part.as_os_str().to_str()?);
    }
    (!out.is_empty()).then(|| SmolStr::from(out))
}

/// Whether a path is one of a spec.
pub(crate) fn is_spec(path: &Path) -> bool {
    path.extension().is_some_and(|e| e == "pump")
}

/// Whether a path is one of a project file.
pub(crate) fn is_settings(path: &Path) -> bool {
    path.file_name()
        .is_some_and(|n| n == cutwater_compiler::settings::FILE_NAME)
}

/// The nearest folder at or above `dir` that holds a project file.
pub(crate) fn project_of(dir: &Path) -> Option<PathBuf> {
    dir.ancestors()
        .find(|d| d.join(cutwater_compiler::settings::FILE_NAME).is_file())
        .map(Path::to_path_buf)
}

/// What was found in a folder.
#[derive(Debug, Default)]
pub(crate) struct Found {
    /// Specs.
    pub specs: Vec<PathBuf>,
    /// Folders with a project file.
    pub projects: Vec<PathBuf>,
    /// The folder holds so much that not all of it was looked at.
    pub cut_short: bool,
}

/// Most entries of a folder looked at: someone may open a whole disk.
const MOST_ENTRIES: usize = 200_000;

fn walker(folder: &Path) -> ignore::WalkBuilder {
    let mut w = ignore::WalkBuilder::new(folder);
    w.require_git(false).follow_links(false);
    w
}

/// The specs and project files of a folder, by the usual rules of ignore files, in order.
pub(crate) fn scan(folder: &Path) -> Found {
    let mut out = Found::default();
    for (n, entry) in walker(folder).build().enumerate() {
        if n >= MOST_ENTRIES {
            out.cut_short = true;
            break;
        }
        let Ok(entry) = entry else { continue };
        if !entry.file_type().is_some_and(|t| t.is_file()) {
            continue;
        }
        let path = entry.into_path();
        if is_spec(&path) {
            out.specs.push(path);
        } else if is_settings(&path)
            && let Some(dir) = path.parent()
        {
            out.projects.push(dir.to_path_buf());
        }
    }
    out.specs.sort();
    out.projects.sort();
    out
}

/// Whether a scan of the folder would find this one file.
pub(crate) fn would_find(folder: &Path, path: &Path) -> bool {
    let wanted = path.to_path_buf();
    walker(folder)
        .filter_entry(move |e| wanted.starts_with(e.path()))
        .build()
        .flatten()
        .any(|e| e.path() == path)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::str::FromStr;

    #[test]
    fn uris_of_one_file_are_one_key() {
        let a = Uri::from_str("file:///a/b%20c/d.pump").unwrap();
        let b = Uri::from_str("FILE:///a/x/../b%20c/./%64.pump").unwrap();
        assert_eq!(Key::of(&a), Key::of(&b));
        assert_eq!(
            Key::of(&a).path().map(|p| p.to_path_buf()),
            Some(PathBuf::from("/a/b c/d.pump"))
        );
        let c = Uri::from_str("untitled:Untitled-1").unwrap();
        assert_eq!(Key::of(&c), Key::Other("untitled:Untitled-1".to_owned()));
    }

    #[test]
    fn ignored_files_are_not_found() {
        let dir = tempfile::tempdir().unwrap();
        let root = dir.path();
        std::fs::create_dir_all(root.join("parts")).unwrap();
        std::fs::create_dir_all(root.join("old")).unwrap();
        std::fs::write(root.join(".gitignore"), "old/\n").unwrap();
        for f in [
            "a.pump",
            "parts/b.pump",
            "old/c.pump",
            "parts/cutwater.toml",
            "n.txt",
        ] {
            std::fs::write(root.join(f), "").unwrap();
        }
        let found = scan(root);
        assert_eq!(
            found.specs,
            [root.join("a.pump"), root.join("parts/b.pump")]
        );
        assert_eq!(found.projects, [root.join("parts")]);
        assert!(would_find(root, &root.join("parts/b.pump")));
        assert!(!would_find(root, &root.join("old/c.pump")));
        assert!(!would_find(root, &root.join("none.pump")));
    }
}
