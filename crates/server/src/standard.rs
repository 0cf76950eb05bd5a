//! The standard library as files an editor can open.
//!
//! The library lives in the binary. When a definition leads into it, its files are written to the user's cache
//! folder, in a folder named after their content, and the editor is sent there. They are copies to read: what is
//! changed in them changes nothing.

use cutwater_compiler::library;
use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash, Hasher};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

/// Where the copies are or would be; `None` where the user has no cache folder.
pub(crate) fn folder() -> Option<&'static Path> {
    static FOLDER: OnceLock<Option<PathBuf>> = OnceLock::new();
    FOLDER
        .get_or_init(|| {
            let var = |n: &str| {
                std::env::var_os(n)
                    .map(PathBuf::from)
                    .filter(|p| p.is_absolute())
            };
            let cache = if cfg!(windows) {
                var("LOCALAPPDATA")
            } else {
                var("XDG_CACHE_HOME").or_else(|| var("HOME").map(|h| h.join(".cache")))
            }?;
            let mut hash = DefaultHasher::new();
            library::FILES.hash(&mut hash);
            let name = format!("std-{}-{:016x}", env!("CARGO_PKG_VERSION"), hash.finish());
            Some(cache.join("cutwater").join(name))
        })
        .as_deref()
}

/// The copy of a file of the library, by its path there (`std://hose.pump`), written where it is missing.
pub(crate) fn copy_of(path: &str) -> Option<PathBuf> {
    let name = path.strip_prefix(library::PREFIX)?;
    let (_, text) = library::FILES.iter().find(|f| f.0 == name)?;
    let dir = folder()?;
    let target = dir.join(name);
    if std::fs::read(&target).is_ok_and(|t| t == text.as_bytes()) {
        return Some(target);
    }
    std::fs::create_dir_all(dir).ok()?;
    // Written aside and moved, so that no one ever reads half a file.
    let aside = dir.join(format!(".{name}.{}", std::process::id()));
    std::fs::write(&aside, text).ok()?;
    if std::fs::rename(&aside, &target).is_err() {
        let _ = std::fs::remove_file(&aside);
        return None;
    }
    Some(target)
}

/// The library's own path of one of the copies.
pub(crate) fn library_path(file: &Path) -> Option<String> {
    let name = file.strip_prefix(folder()?).ok()?.to_str()?;
    library::FILES
        .iter()
        .any(|f| f.0 == name)
        .then(|| format!("{}{name}", library::PREFIX))
}
