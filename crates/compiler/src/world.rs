//! Where texts come from: the disk, or memory for tests and unsaved buffers; and what day it is.
//!
//! The compiler sees files only through [`World`]. Paths are relative to the workspace root, with `/`.

use crate::db::{Db, FileTrouble, MAX_FILE};
use crate::value::Date;
use smol_str::SmolStr;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What is at a path.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Found {
    /// Nothing.
    Missing,
    /// A text.
    Text(Arc<str>),
    /// Something that is no readable text.
    Trouble(FileTrouble),
}

/// A source of files.
pub trait World {
    /// What is at a path.
    fn read(&self, path: &str) -> Found;
}

/// What day it is by the system's clock, in UTC, so that a day ends everywhere at once; `None` where the clock
/// shows no day that can be.
pub fn today() -> Option<Date> {
    let since = std::time::SystemTime::now()
        .duration_since(std::time::UNIX_EPOCH)
        .ok()?;
    Date::from_number(i64::try_from(since.as_secs() / 86_400).ok()?)
}

/// Files in memory.
#[derive(Clone, Debug, Default)]
pub struct Memory(pub BTreeMap<String, Arc<str>>);

impl World for Memory {
    fn read(&self, path: &str) -> Found {
        self.0
            .get(path)
            .map_or(Found::Missing, |t| Found::Text(t.clone()))
    }
}

/// Files below a folder on disk. Links that lead out of it are not followed.
#[derive(Clone, Debug)]
pub struct Disk {
    root: PathBuf,
}

impl Disk {
    /// Files below `root`.
    pub fn new(root: impl Into<PathBuf>) -> Self {
        let root = root.into();
        Self {
            root: root.canonicalize().unwrap_or(root),
        }
    }

    /// The folder.
    pub fn root(&self) -> &Path {
        &self.root
    }
}

impl World for Disk {
    fn read(&self, path: &str) -> Found {
        let full = self.root.join(path);
        match full.canonicalize() {
            Ok(real) if real.starts_with(&self.root) && real.is_file() => read_path(&real),
            Ok(_) => Found::Missing,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => Found::Missing,
            Err(e) => Found::Trouble(FileTrouble::Unreadable(e.to_string())),
        }
    }
}

/// Reads one file from disk as text, with the limits that hold for specs.
pub fn read_path(path: &Path) -> Found {
    let too_big = |n: u64| {
        Found::Trouble(FileTrouble::TooBig(
            usize::try_from(n).unwrap_or(usize::MAX),
        ))
    };
    match std::fs::metadata(path) {
        Ok(m) if m.is_dir() => return Found::Missing,
        Ok(m) if m.len() > MAX_FILE as u64 => return too_big(m.len()),
        Ok(_) => {}
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Found::Missing,
        Err(e) => return Found::Trouble(FileTrouble::Unreadable(e.to_string())),
    }
    match std::fs::read(path) {
        Ok(bytes) => from_bytes(bytes),
        Err(e) => Found::Trouble(FileTrouble::Unreadable(e.to_string())),
    }
}

/// Takes bytes as text.
pub fn from_bytes(bytes: Vec<u8>) -> Found {
    if bytes.len() > MAX_FILE {
        return Found::Trouble(FileTrouble::TooBig(bytes.len()));
    }
    match String::from_utf8(bytes) {
        Ok(t) => Found::Text(Arc::from(t)),
        Err(e) => Found::Trouble(FileTrouble::NotUtf8(e.utf8_error().valid_up_to())),
    }
}

impl Db {
    /// Puts what a world holds at a path into the workspace; says whether anything is there.
    pub fn load(&mut self, world: &dyn World, path: &str) -> bool {
        match world.read(path) {
            Found::Missing => false,
            Found::Text(t) => {
                self.set_file(path, t);
                true
            }
            Found::Trouble(t) => {
                self.set_trouble(path, &t);
                true
            }
        }
    }

    /// Loads the files that `use` lines name, and those that these name, until none is missing that exists.
    /// Gives the paths that were loaded.
    pub fn load_used(&mut self, world: &dyn World) -> Vec<SmolStr> {
        let mut loaded = Vec::new();
        let mut missing: Vec<SmolStr> = Vec::new();
        loop {
            let wanted: Vec<SmolStr> = self
                .wanted_files()
                .into_iter()
                .filter(|p| !missing.contains(p))
                .collect();
            if wanted.is_empty() {
                return loaded;
            }
            for p in wanted {
                if self.load(world, &p) {
                    loaded.push(p);
                } else {
                    missing.push(p);
                }
            }
        }
    }
}
