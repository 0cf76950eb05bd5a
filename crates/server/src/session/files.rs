//! Files on disk: what the client saw change there, and what was moved in the editor.
//!
//! An open document always wins over the disk.

use super::*;

impl Session {
    /// The client saw files change on disk.
    pub fn watched(&mut self, events: Vec<FileEvent>) {
        for e in events {
            let Key::Path(p) = Key::of(&e.uri) else {
                continue;
            };
            if is_settings(&p) {
                if !self.docs.contains_key(&Key::Path(p.clone())) {
                    self.settings_changed(&p);
                }
            } else if self.baseline_changed(&p) {
                // Read again.
            } else if e.typ == FileChangeType::DELETED {
                self.remove_from_disk(&p);
            } else if is_spec(&p) {
                self.take_from_disk(&p);
            }
        }
    }

    /// The user made, renamed or deleted files or folders in the editor.
    pub fn moved(&mut self, gone: Vec<String>, new: Vec<String>) {
        use std::str::FromStr;
        let paths = |list: Vec<String>| -> Vec<PathBuf> {
            list.iter()
                .filter_map(|u| Uri::from_str(u).ok())
                .filter_map(|u| Key::of(&u).path().map(Path::to_path_buf))
                .collect()
        };
        let (gone, new) = (paths(gone), paths(new));
        // A folder, or a project file: look through everything.
        if gone.iter().chain(&new).any(|p| !is_spec(p)) {
            self.rescan();
            return;
        }
        for p in gone {
            self.remove_from_disk(&p);
        }
        for p in new {
            self.take_from_disk(&p);
        }
    }

    /// Brings the compiler's copy of a file to what is on disk. An open document wins over it.
    pub(super) fn take_from_disk(&mut self, path: &Path) {
        if self.docs.contains_key(&Key::Path(path.to_path_buf())) {
            return;
        }
        let found = read_path(path);
        let in_scan = || {
            self.folders
                .iter()
                .any(|f| path.starts_with(f) && would_find(f, path))
        };
        let Some((id, rel)) = self.root_for(path) else {
            return;
        };
        let known = self.roots[&id].db.file(&rel).is_some();
        // A file that is ignored counts only while someone uses it; see `flush`.
        let keep = match found {
            At::Missing => false,
            _ => in_scan(),
        };
        if !keep && !known {
            // It may be one that a `use` line waits for.
            self.touch_root(id);
            return;
        }
        if let Some(r) = self.roots.get_mut(&id) {
            match found {
                At::Text(t) if keep => {
                    r.db.set_file(&rel, t);
                }
                At::Trouble(t) if keep => {
                    r.db.set_trouble(&rel, &t);
                }
                // `flush` loads it again if it is there and used.
                _ => r.db.remove_file(&rel),
            }
            r.touch();
            self.stale_hints = true;
        }
    }

    /// A file, or a folder with all that is in it, is gone from disk.
    pub(super) fn remove_from_disk(&mut self, path: &Path) {
        let docs = &self.docs;
        for r in self.roots.values_mut() {
            let Some(rel) = r.below(path) else { continue };
            let inside = format!("{rel}/");
            let gone: Vec<SmolStr> =
                r.db.files()
                    .map(|f| r.db.path(f).clone())
                    .filter(|p| *p == rel || p.starts_with(&inside))
                    .filter(|p| !docs.contains_key(&Key::Path(r.dir.join(p.as_str()))))
                    .collect();
            for p in &gone {
                r.db.remove_file(p);
            }
            if !gone.is_empty() {
                r.touch();
            }
        }
    }

    pub(super) fn touch_root(&mut self, id: u32) {
        if let Some(r) = self.roots.get_mut(&id) {
            r.touch();
        }
    }
}
