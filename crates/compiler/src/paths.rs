//! Paths of `use`: relative to the file that says it, inside the workspace.

use smol_str::SmolStr;

/// Why a path does not lead to a file of the workspace.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum PathError {
    /// It is empty.
    Empty,
    /// It begins at the root of a disk.
    Absolute,
    /// It climbs above the workspace's root.
    Outside,
}

/// Joins the path in a `use` line to the path of the file it stands in; both and the result are relative to
/// the workspace root, with `/`.
pub fn join(from: &str, path: &str) -> Result<SmolStr, PathError> {
    let path = path.replace('\\', "/");
    if path.trim().is_empty() {
        return Err(PathError::Empty);
    }
    if path.starts_with('/') || path.as_bytes().get(1) == Some(&b':') {
        return Err(PathError::Absolute);
    }
    let mut parts: Vec<&str> = match from.rsplit_once('/') {
        Some((folder, _)) => folder.split('/').collect(),
        None => Vec::new(),
    };
    for part in path.split('/') {
        match part {
            "" | "." => {}
            ".." => {
                if parts.pop().is_none() {
                    return Err(PathError::Outside);
                }
            }
            p => parts.push(p),
        }
    }
    if parts.is_empty() {
        return Err(PathError::Empty);
    }
    Ok(SmolStr::from(parts.join("/")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_are_taken_from_the_file_that_says_them() {
        assert_eq!(join("a/b.pump", "c.pump").as_deref(), Ok("a/c.pump"));
        assert_eq!(
            join("a/b.pump", "../parts/./c.pump").as_deref(),
            Ok("parts/c.pump")
        );
        assert_eq!(
            join("b.pump", "parts\\c.pump").as_deref(),
            Ok("parts/c.pump")
        );
    }

    #[test]
    fn paths_that_leave_the_workspace_are_refused() {
        assert_eq!(join("a/b.pump", "../../c.pump"), Err(PathError::Outside));
        assert_eq!(join("a/b.pump", "/etc/c.pump"), Err(PathError::Absolute));
        assert_eq!(join("a/b.pump", "C:/c.pump"), Err(PathError::Absolute));
        assert_eq!(join("a/b.pump", " "), Err(PathError::Empty));
    }
}
