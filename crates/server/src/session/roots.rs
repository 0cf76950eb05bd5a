//! Roots: made from the workspace's folders, from project files, and for documents from elsewhere.

use super::*;
use cutwater_compiler::world::today;

impl Session {
    /// The workspace's folders changed.
    pub fn change_folders(&mut self, removed: &[Uri], added: &[Uri]) {
        let path = |u: &Uri| Key::of(u).path().map(Path::to_path_buf);
        for p in removed.iter().filter_map(path) {
            self.folders.retain(|f| *f != p);
        }
        for p in added.iter().filter_map(path) {
            if !self.folders.contains(&p) {
                self.folders.push(p);
            }
        }
        self.rescan();
    }

    /// Makes all roots anew from what is on disk and the open documents.
    pub(super) fn rescan(&mut self) {
        self.roots.clear();
        self.orphans = true;
        for folder in self.folders.clone() {
            let Found {
                specs,
                projects,
                cut_short,
            } = scan(&folder);
            if cut_short {
                self.log(
                    MessageType::WARNING,
                    format!(
                        "{} holds too many files; not all specs in it were read",
                        folder.display()
                    ),
                );
            }
            let top = project_of(&folder).unwrap_or_else(|| folder.clone());
            for dir in std::iter::once(top).chain(projects) {
                if !self.roots.values().any(|r| r.dir == dir) {
                    self.add_root(dir, Origin::Workspace);
                }
            }
            for path in specs {
                if self.docs.contains_key(&Key::Path(path.clone())) {
                    continue;
                }
                if let Some((id, rel)) = self.root_for(&path)
                    && let Some(r) = self.roots.get_mut(&id)
                {
                    match read_path(&path) {
                        At::Text(t) => {
                            r.db.set_file(&rel, t);
                        }
                        At::Trouble(t) => {
                            r.db.set_trouble(&rel, &t);
                        }
                        At::Missing => {}
                    }
                }
            }
        }
        let keys: BTreeSet<Key> = self.docs.keys().cloned().collect();
        for key in keys {
            if let Some(d) = self.docs.get_mut(&key) {
                d.dirty = true;
            }
            if !key
                .path()
                .is_some_and(|p| is_settings(p) || standard::library_path(p).is_some())
            {
                self.home(&key);
            }
        }
        for r in self.roots.values_mut() {
            r.touch();
        }
        self.stale_hints = true;
    }

    pub(super) fn add_root(&mut self, dir: PathBuf, origin: Origin) -> u32 {
        let id = self.next_root;
        self.next_root += 1;
        let real = dir.canonicalize().unwrap_or_else(|_| dir.clone());
        let loaded = self.settings_of(&dir);
        let mut db = Db::new(loaded.settings);
        db.set_baseline(loaded.baseline);
        db.set_today(today());
        self.roots.insert(
            id,
            Root {
                dir,
                real,
                origin,
                db,
                settings_trouble: loaded.trouble,
                baseline_path: loaded.baseline_path,
                dirty: true,
                unpublished: true,
                unsolved: true,
                faulty: false,
            },
        );
        id
    }

    /// The innermost root that holds a path, and the path in it.
    pub(super) fn root_for(&self, path: &Path) -> Option<(u32, SmolStr)> {
        self.roots
            .iter()
            .filter_map(|(id, r)| Some((r.dir.components().count(), *id, r.below(path)?)))
            .max_by_key(|(depth, _, _)| *depth)
            .map(|(_, id, rel)| (id, rel))
    }

    /// The root of a document and its path there; made where there is none.
    pub(super) fn home(&mut self, key: &Key) -> (u32, SmolStr) {
        match key {
            Key::Other(uri) => {
                let rel = SmolStr::from(format!(
                    "{}.pump",
                    uri.rsplit(['/', ':']).next().unwrap_or("unsaved")
                ));
                let have = self
                    .roots
                    .iter()
                    .find(|(_, r)| r.origin == Origin::Unsaved(uri.clone()))
                    .map(|(id, _)| *id);
                let id = have
                    .unwrap_or_else(|| self.add_root(PathBuf::new(), Origin::Unsaved(uri.clone())));
                (id, rel)
            }
            Key::Path(path) => {
                if let Some(at) = self.root_for(path) {
                    return at;
                }
                let folder = path.parent().unwrap_or(path);
                let dir = project_of(folder).unwrap_or_else(|| folder.to_path_buf());
                let id = self.add_root(dir.clone(), Origin::Loose);
                // Roots made earlier for files further in become part of it.
                let inner: Vec<u32> = self
                    .roots
                    .iter()
                    .filter(|(k, r)| {
                        **k != id && r.origin == Origin::Loose && r.dir.starts_with(&dir)
                    })
                    .map(|(k, _)| *k)
                    .collect();
                for k in inner {
                    self.roots.remove(&k);
                    self.orphans = true;
                }
                for (k, d) in &mut self.docs {
                    if k.path().is_some_and(|p| p.starts_with(&dir)) {
                        d.dirty = true;
                        d.announce = true;
                    }
                }
                self.root_for(path).unwrap_or((id, SmolStr::default()))
            }
        }
    }

    /// Roots made for documents end with the last of them.
    pub(super) fn drop_idle_roots(&mut self) {
        let busy: BTreeSet<u32> = {
            let keys: Vec<Key> = self.docs.keys().cloned().collect();
            keys.iter()
                .filter_map(|k| match k {
                    Key::Path(p) => self.root_for(p).map(|r| r.0),
                    Key::Other(u) => self
                        .roots
                        .iter()
                        .find(|(_, r)| r.origin == Origin::Unsaved(u.clone()))
                        .map(|(id, _)| *id),
                })
                .collect()
        };
        let before = self.roots.len();
        self.roots
            .retain(|id, r| r.origin == Origin::Workspace || busy.contains(id));
        self.orphans |= self.roots.len() != before;
    }
}
