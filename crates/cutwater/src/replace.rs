//! Replacing files, and showing what would be replaced.
//!
//! A file is replaced as a whole or not at all: the new text goes into a new file beside it, which then takes its name and
//! its permissions. A link is kept; what it leads to is replaced. A file that is not any more what was read is left as it is.

use crate::guard;
use std::io::{Error, ErrorKind, Result, Write};
use std::path::Path;

/// Replaces a file's text, which was `old` when it was read, in one step.
///
/// # Errors
/// It is read-only, is no ordinary file, changed since it was read, or the system refuses.
pub fn replace(path: &Path, old: &str, new: &str) -> Result<()> {
    let real = path.canonicalize()?;
    let about = std::fs::metadata(&real)?;
    if !about.is_file() {
        return Err(Error::new(
            ErrorKind::InvalidInput,
            "it is no ordinary file",
        ));
    }
    let permissions = about.permissions();
    if permissions.readonly() {
        return Err(Error::new(ErrorKind::PermissionDenied, "it is read-only"));
    }
    let folder = real.parent().unwrap_or(Path::new("."));
    let _held = guard::replacing();
    let mut file = tempfile::Builder::new()
        .prefix(".cutwater-")
        .suffix(".tmp")
        .tempfile_in(folder)?;
    file.write_all(new.as_bytes())?;
    file.as_file().set_permissions(permissions)?;
    file.as_file().sync_all()?;
    // As late as can be: someone may have saved it meanwhile.
    if std::fs::read(&real)? != old.as_bytes() {
        return Err(Error::other(
            "it changed since it was read; run the command again",
        ));
    }
    file.persist(&real).map_err(|e| e.error)?;
    Ok(())
}

/// What differs between two texts of a file, line by line; `how` says what the second one is.
pub fn diff(name: &str, how: &str, old: &str, new: &str) -> String {
    similar::TextDiff::from_lines(old, new)
        .unified_diff()
        .context_radius(3)
        .header(name, &format!("{name} ({how})"))
        .to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_that_changed_since_it_was_read_is_left() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a.pump");
        std::fs::write(&path, "let a = 1\n").unwrap();
        let e = replace(&path, "let a = 0\n", "let a = 2\n").unwrap_err();
        assert!(e.to_string().contains("changed since it was read"), "{e}");
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "let a = 1\n");
        replace(&path, "let a = 1\n", "let a = 2\n").unwrap();
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "let a = 2\n");
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_folder_is_no_file() {
        let dir = tempfile::tempdir().unwrap();
        assert!(replace(dir.path(), "", "x").is_err());
    }
}
