//! Work that is put off until nothing is asked: settling, publishing, solving.
//!
//! Findings are sent where they changed, and for a document that was edited with every new version.

use super::*;

impl Session {
    /// Whether there is anything left to do when nothing is asked.
    pub fn has_work(&self) -> bool {
        self.is_unpublished() || self.roots.values().any(|r| r.unsolved && !r.faulty)
    }

    /// Whether findings are to be sent.
    pub fn is_unpublished(&self) -> bool {
        self.orphans || self.roots.values().any(|r| r.unpublished)
    }

    /// Brings the compiler's copies up to the documents, and what needs no solved duty up to date.
    pub(super) fn flush(&mut self) {
        if !self.docs.values().any(|d| d.dirty) && !self.roots.values().any(|r| r.dirty) {
            return;
        }
        let was_torn = std::mem::replace(&mut self.torn, true);
        let dirty: Vec<Key> = self
            .docs
            .iter()
            .filter(|(_, d)| d.dirty)
            .map(|(k, _)| k.clone())
            .collect();
        for key in dirty {
            let special = key
                .path()
                .is_some_and(|p| is_settings(p) || standard::library_path(p).is_some());
            if !special {
                let (id, rel) = self.home(&key);
                if let (Some(r), Some(d)) = (self.roots.get_mut(&id), self.docs.get(&key)) {
                    r.db.set_file(&rel, d.text.as_str());
                    r.touch();
                }
            }
            if let Some(d) = self.docs.get_mut(&key) {
                d.dirty = false;
            }
        }
        for r in self.roots.values_mut().filter(|r| r.dirty) {
            if r.dir.as_os_str().is_empty() {
                // Nothing on disk belongs to it.
            } else if !r.db.wanted_files().is_empty() {
                r.db.load_used(&Disk::new(&r.dir) as &dyn World);
            }
            // Only what waits for a solved duty stays pending.
            let _ = r.db.settle(false, None);
            r.dirty = false;
        }
        self.torn = was_torn;
    }

    /// Settles what needs no solved duty, and sends the findings that changed.
    pub fn publish(&mut self) {
        self.flush();
        // A day may have ended since: acceptances end with it.
        let today = cutwater_compiler::world::today();
        for r in self.roots.values_mut().filter(|r| r.db.today() != today) {
            r.db.set_today(today);
            r.unpublished = true;
        }
        let ids: Vec<u32> = self
            .roots
            .iter()
            .filter(|(_, r)| r.unpublished)
            .map(|(id, _)| *id)
            .collect();
        for id in ids {
            self.publish_root(id);
            if let Some(r) = self.roots.get_mut(&id) {
                r.unpublished = false;
                r.unsolved = r.db.is_pending();
            }
            let open = self.docs.keys().filter_map(Key::path);
            let here = open.filter(|p| self.root_for(p).is_some_and(|r| r.0 == id));
            self.stale_hints |= here.count() > 1;
        }
        if std::mem::take(&mut self.stale_hints) {
            self.refresh_hints();
        }
        if std::mem::take(&mut self.orphans) {
            let gone: Vec<String> = self
                .published
                .iter()
                .filter(|(_, p)| !self.roots.contains_key(&p.root))
                .map(|(k, _)| k.clone())
                .collect();
            for k in gone {
                self.withdraw(&k);
            }
        }
    }

    /// Solves duties until done or told to stop, and sends the findings that changed.
    pub fn solve(&mut self, interrupt: &Arc<AtomicBool>) {
        let ids: Vec<u32> = self
            .roots
            .iter()
            .filter(|(_, r)| r.unsolved && !r.faulty)
            .map(|(id, _)| *id)
            .collect();
        for id in ids {
            let Some(r) = self.roots.get_mut(&id) else {
                continue;
            };
            self.torn = true;
            let done = r.db.settle(true, Some(interrupt.clone())).is_ok();
            self.torn = false;
            if !done {
                return;
            }
            r.unsolved = false;
            // Never findings of a text that is known to be out of date.
            if interrupt.load(Ordering::Relaxed) {
                r.unpublished = true;
                return;
            }
            self.publish_root(id);
            self.refresh_hints();
        }
    }

    pub(super) fn publish_root(&mut self, id: u32) {
        let Some(root) = self.roots.get(&id) else {
            return;
        };
        let db = &root.db;
        let uri = |f: FileId| self.uri_of(Some(id), db, f);
        let convert = Converter {
            db,
            encoding: self.encoding,
            related: self.can.related,
            uri: &uri,
        };
        // The documents just edited come first: someone is looking at them.
        let mut files: Vec<(bool, FileId, Uri, Option<i32>, bool)> = db
            .files()
            .filter_map(|f| {
                let doc = self.doc_of(root, db.path(f));
                let uri = uri(f)?;
                Some((
                    !doc.is_some_and(|d| d.announce),
                    f,
                    uri,
                    doc.map(|d| d.version),
                    doc.is_some_and(|d| d.announce),
                ))
            })
            .collect();
        files.sort_by_key(|a| (a.0, a.1));
        let mut now: BTreeSet<String> = BTreeSet::new();
        let mut sent: Vec<(Uri, Vec<Diagnostic>)> = Vec::new();
        for (_, f, uri, version, announce) in files {
            let list = convert.diagnostics(f);
            now.insert(uri.as_str().to_owned());
            if self.is_news(&uri, &list, announce) {
                self.send(Message::Publish(uri.clone(), list.clone(), version));
                sent.push((uri, list));
            } else if let Some(p) = self.published.get(uri.as_str())
                && p.root != id
            {
                sent.push((uri, list));
            }
        }
        if let Some((uri, list)) = &root.settings_trouble {
            now.insert(uri.as_str().to_owned());
            if self.is_news(uri, list, false) {
                let version = self.docs.get(&Key::of(uri)).map(|d| d.version);
                self.send(Message::Publish(uri.clone(), list.clone(), version));
            }
            sent.push((uri.clone(), list.clone()));
        }
        for (uri, list) in sent {
            let key = uri.as_str().to_owned();
            self.published.insert(
                key,
                Published {
                    uri,
                    list,
                    root: id,
                },
            );
        }
        let gone: Vec<String> = self
            .published
            .iter()
            .filter(|(k, p)| p.root == id && !now.contains(*k))
            .map(|(k, _)| k.clone())
            .collect();
        for k in gone {
            self.withdraw(&k);
        }
        let root_dir = self.roots[&id].dir.clone();
        for (k, d) in &mut self.docs {
            let here = match k {
                Key::Path(p) => p.starts_with(&root_dir) && !root_dir.as_os_str().is_empty(),
                Key::Other(_) => root_dir.as_os_str().is_empty(),
            };
            if here && now.contains(d.uri.as_str()) {
                d.announce = false;
            }
        }
    }

    /// Whether the client does not show this already.
    pub(super) fn is_news(&self, uri: &Uri, list: &[Diagnostic], announce: bool) -> bool {
        announce
            || match self.published.get(uri.as_str()) {
                Some(p) => p.list != list,
                None => !list.is_empty(),
            }
    }

    /// Takes back what the client shows for a file.
    pub(super) fn withdraw(&mut self, key: &str) {
        if let Some(p) = self.published.remove(key)
            && !p.list.is_empty()
        {
            self.send(Message::Publish(p.uri, Vec::new(), None));
        }
    }

    pub(super) fn doc_of(&self, root: &Root, path: &str) -> Option<&Doc> {
        match &root.origin {
            Origin::Unsaved(uri) => self.docs.get(&Key::Other(uri.clone())),
            _ => self
                .docs
                .get(&Key::Path(root.dir.join(path)))
                .or_else(|| self.docs.get(&Key::Path(root.real.join(path)))),
        }
    }

    /// The URI of a file: as the client wrote it where it is open, else made from its path. The library's files are
    /// written out to be looked at.
    pub(super) fn uri_of(&self, root: Option<u32>, db: &Db, file: FileId) -> Option<Uri> {
        if db.is_library(file) {
            return Uri::from_file_path(standard::copy_of(db.path(file))?);
        }
        let root = self.roots.get(&root?)?;
        self.doc_of(root, db.path(file))
            .map(|d| d.uri.clone())
            .or_else(|| root.uri_on_disk(db.path(file)))
    }
}
