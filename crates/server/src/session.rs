//! Everything the server knows: open documents, workspace roots, and what the client was told.
//!
//! Documents are the truth: an edit changes the document first, and the compiler's copy is made from it when
//! something is about to be asked or published. Should the compiler fail, its copy is made again from the texts.
//!
//! A *root* is a folder with one set of settings and one [`Db`]. Roots are the workspace folders, each widened to the
//! nearest folder above with a `cutwater.toml`; folders below that hold a `cutwater.toml` of their own; the folder of a file
//! opened from elsewhere; and one for each document that is no file. A file belongs to the innermost root that holds it.

use crate::convert::{Converter, Lines, SOURCE};
use crate::outgoing::{Message, Outgoing};
use crate::places::{Found, Key, below, is_settings, is_spec, project_of, scan, would_find};
use crate::standard;
use cutwater_compiler::world::{Disk, Found as At, World, read_path};
use cutwater_compiler::{Db, Settings, settings};
use cutwater_editor::HintKind;
use cutwater_finding::FileId;
use cutwater_text::{Encoding, LineIndex, Span};
use smol_str::SmolStr;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use tower_lsp::ls_types::{
    Diagnostic, DiagnosticSeverity, FileChangeType, FileEvent, MessageType, Registration,
    TextDocumentContentChangeEvent, Uri,
};

/// What the client can do, as far as it matters here.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct ClientCan {
    /// Show places that belong to a finding.
    pub related: bool,
    /// Watch files when asked to.
    pub watch: bool,
    /// Ask for inlay hints again when told to.
    pub refresh_hints: bool,
    /// Show where a definition was asked from.
    pub links: bool,
    /// Show symbols as a tree.
    pub tree: bool,
}

/// What the client says at the start.
#[derive(Debug, Default)]
pub(crate) struct Start {
    pub can: ClientCan,
    pub encoding: Encoding,
    pub folders: Vec<Uri>,
    pub options: serde_json::Value,
}

/// An open document.
struct Doc {
    uri: Uri,
    text: String,
    version: i32,
    index: Option<LineIndex>,
    /// The compiler's copy is older.
    dirty: bool,
    /// Its findings are to be sent whether or not they changed, as its version did.
    announce: bool,
}

impl Doc {
    fn lines(&mut self, encoding: Encoding) -> Lines<'_> {
        let index = self.index.get_or_insert_with(|| LineIndex::new(&self.text));
        Lines {
            text: &self.text,
            index,
            encoding,
        }
    }

    fn apply(&mut self, change: TextDocumentContentChangeEvent, encoding: Encoding) {
        match change.range {
            Some(range) => {
                let span = self.lines(encoding).span(range);
                self.text.replace_range(span.range(), &change.text);
            }
            None => self.text = change.text,
        }
        self.index = None;
    }
}

/// How a root came to be.
#[derive(Clone, PartialEq, Eq, Debug)]
enum Origin {
    /// Found in a workspace folder.
    Workspace,
    /// Made for files opened from elsewhere.
    Loose,
    /// Made for a document that is no file.
    Unsaved(String),
}

struct Root {
    /// Its folder as the client writes it; empty for a document that is no file.
    dir: PathBuf,
    /// The same without links, where it differs.
    real: PathBuf,
    origin: Origin,
    db: Db,
    /// What is wrong with its project file.
    settings_trouble: Option<(Uri, Diagnostic)>,
    /// Something changed since it was last settled.
    dirty: bool,
    /// Something changed since its findings were last sent.
    unpublished: bool,
    /// It is not known to be settled in full.
    unsolved: bool,
    /// Solving failed by a fault; not tried again before the next edit.
    faulty: bool,
}

impl Root {
    fn below(&self, path: &Path) -> Option<SmolStr> {
        if self.dir.as_os_str().is_empty() {
            return None;
        }
        below(&self.dir, path).or_else(|| below(&self.real, path))
    }

    fn touch(&mut self) {
        self.dirty = true;
        self.unpublished = true;
        self.unsolved = true;
        self.faulty = false;
    }

    /// The URI of one of its files, where no open document gives one.
    fn uri_on_disk(&self, path: &str) -> Option<Uri> {
        if self.dir.as_os_str().is_empty() {
            return None;
        }
        Uri::from_file_path(self.dir.join(path))
    }
}

/// What the client shows for a file.
struct Published {
    uri: Uri,
    list: Vec<Diagnostic>,
    root: u32,
}

/// What the owner's thread owns.
pub(crate) struct Session {
    out: Option<Outgoing>,
    can: ClientCan,
    encoding: Encoding,
    hints: [bool; 4],
    folders: Vec<PathBuf>,
    roots: BTreeMap<u32, Root>,
    next_root: u32,
    docs: HashMap<Key, Doc>,
    published: HashMap<String, Published>,
    /// Some of `published` belongs to roots that are gone.
    orphans: bool,
    /// Hints of documents other than the one edited may have changed.
    stale_hints: bool,
    /// The compiler's copies are being changed: a fault leaves them in no state to go on from.
    torn: bool,
    /// The compiler's copies are lost and must be made again from disk and documents.
    lost: bool,
    /// The user was told of a fault already.
    told: bool,
    /// The library by itself, for its files when no root is there to ask.
    library: Option<Db>,
}

/// Where a document is: its root, and its file there.
pub(crate) struct Here<'s> {
    pub db: &'s Db,
    pub file: FileId,
    pub encoding: Encoding,
    session: &'s Session,
    root: Option<u32>,
}

impl Here<'_> {
    /// Runs `f` with the text's lines.
    pub fn lines<T>(&self, f: impl FnOnce(Lines<'_>) -> T) -> T {
        let index = self.db.lines(self.file);
        f(Lines {
            text: self.db.text(self.file),
            index: &index,
            encoding: self.encoding,
        })
    }

    /// Runs `f` with what turns places into locations.
    pub fn converter<T>(&self, f: impl FnOnce(&Converter<'_>) -> T) -> T {
        let uri = |file: FileId| self.session.uri_of(self.root, self.db, file);
        f(&Converter {
            db: self.db,
            encoding: self.encoding,
            related: self.session.can.related,
            uri: &uri,
        })
    }
}

impl Session {
    /// Nothing is known yet.
    pub fn new() -> Self {
        Self {
            out: None,
            can: ClientCan::default(),
            encoding: Encoding::default(),
            hints: [true; 4],
            folders: Vec::new(),
            roots: BTreeMap::new(),
            next_root: 0,
            docs: HashMap::new(),
            published: HashMap::new(),
            orphans: false,
            stale_hints: false,
            torn: false,
            lost: false,
            told: false,
            library: None,
        }
    }

    /// Where messages to the client go.
    pub fn connect(&mut self, out: Outgoing) {
        self.out = Some(out);
    }

    fn send(&self, m: Message) {
        if let Some(out) = &self.out {
            out.send(m);
        }
    }

    fn log(&self, kind: MessageType, text: impl Into<String>) {
        if let Some(out) = &self.out {
            out.log(kind, text);
        }
    }

    // ---- life ------------------------------------------------------------------------------------

    /// Takes in what the client says of itself.
    pub fn start(&mut self, start: Start) {
        self.can = start.can;
        self.encoding = start.encoding;
        self.configure(&start.options);
        self.folders = start
            .folders
            .iter()
            .filter_map(|u| Key::of(u).path().map(Path::to_path_buf))
            .collect();
    }

    /// Looks through the workspace, and asks the client to watch it.
    pub fn begin(&mut self, watch: Vec<Registration>) {
        if self.can.watch {
            self.send(Message::Register(watch));
        }
        self.rescan();
        // Nothing was shown yet.
        self.stale_hints = false;
    }

    /// Takes the switches of inlay hints from the client's settings; what they do not name stays.
    pub fn configure(&mut self, options: &serde_json::Value) {
        let own = options.get(SOURCE).unwrap_or(options);
        let Some(hints) = own.get("inlayHints") else {
            return;
        };
        for (k, kind) in HintKind::ALL.into_iter().enumerate() {
            if let Some(on) = hints
                .as_bool()
                .or_else(|| hints.get(kind.word())?.as_bool())
            {
                self.hints[k] = on;
            }
        }
    }

    /// The client's settings changed.
    pub fn reconfigure(&mut self, options: &serde_json::Value) {
        self.configure(options);
        self.refresh_hints();
    }

    /// Whether hints of a kind are wanted.
    pub fn wants(&self, kind: HintKind) -> bool {
        HintKind::ALL
            .iter()
            .position(|k| *k == kind)
            .is_none_or(|k| self.hints[k])
    }

    fn refresh_hints(&self) {
        if self.can.refresh_hints {
            self.send(Message::RefreshHints);
        }
    }

    /// What the client can do.
    pub fn client(&self) -> ClientCan {
        self.can
    }

    // ---- documents -------------------------------------------------------------------------------

    /// A document was opened.
    pub fn open(&mut self, uri: Uri, text: String, version: i32) {
        let key = Key::of(&uri);
        self.docs.insert(
            key.clone(),
            Doc {
                uri,
                text,
                version,
                index: None,
                dirty: true,
                announce: true,
            },
        );
        self.document_changed(&key);
    }

    /// A document was edited.
    pub fn change(
        &mut self,
        uri: &Uri,
        version: i32,
        changes: Vec<TextDocumentContentChangeEvent>,
    ) {
        let key = Key::of(uri);
        let encoding = self.encoding;
        let Some(doc) = self.docs.get_mut(&key) else {
            self.log(
                MessageType::WARNING,
                format!("{} was edited but never opened", uri.as_str()),
            );
            return;
        };
        for c in changes {
            doc.apply(c, encoding);
        }
        doc.version = version;
        doc.dirty = true;
        doc.announce = true;
        self.document_changed(&key);
    }

    /// A document was closed: what is on disk holds again.
    pub fn close(&mut self, uri: &Uri) {
        let key = Key::of(uri);
        if self.docs.remove(&key).is_none() {
            return;
        }
        match &key {
            Key::Path(p) if is_settings(p) => self.rescan(),
            Key::Path(p) if standard::library_path(p).is_some() => {}
            Key::Path(p) => {
                let p = p.clone();
                self.take_from_disk(&p);
                self.drop_idle_roots();
            }
            Key::Other(_) => self.drop_idle_roots(),
        }
    }

    fn document_changed(&mut self, key: &Key) {
        if std::mem::take(&mut self.lost) {
            self.rescan();
        }
        match key {
            Key::Path(p) if is_settings(p) => self.rescan(),
            Key::Path(p) if standard::library_path(p).is_some() => {}
            key => {
                let (root, _) = self.home(key);
                if let Some(r) = self.roots.get_mut(&root) {
                    r.touch();
                }
            }
        }
    }

    // ---- files -----------------------------------------------------------------------------------

    /// The client saw files change on disk.
    pub fn watched(&mut self, events: Vec<FileEvent>) {
        let mut scan = false;
        for e in events {
            let Key::Path(p) = Key::of(&e.uri) else {
                continue;
            };
            if is_settings(&p) {
                scan |= !self.docs.contains_key(&Key::Path(p));
            } else if e.typ == FileChangeType::DELETED {
                self.remove_from_disk(&p);
            } else if is_spec(&p) {
                self.take_from_disk(&p);
            }
        }
        if scan {
            self.rescan();
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
    fn take_from_disk(&mut self, path: &Path) {
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
    fn remove_from_disk(&mut self, path: &Path) {
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

    fn touch_root(&mut self, id: u32) {
        if let Some(r) = self.roots.get_mut(&id) {
            r.touch();
        }
    }

    // ---- roots -----------------------------------------------------------------------------------

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
    fn rescan(&mut self) {
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

    fn add_root(&mut self, dir: PathBuf, origin: Origin) -> u32 {
        let id = self.next_root;
        self.next_root += 1;
        let real = dir.canonicalize().unwrap_or_else(|_| dir.clone());
        let (settings, settings_trouble) = self.settings_of(&dir);
        self.roots.insert(
            id,
            Root {
                dir,
                real,
                origin,
                db: Db::new(settings),
                settings_trouble,
                dirty: true,
                unpublished: true,
                unsolved: true,
                faulty: false,
            },
        );
        id
    }

    /// A root's settings, from the open document or the disk; what is wrong with them.
    fn settings_of(&mut self, dir: &Path) -> (Settings, Option<(Uri, Diagnostic)>) {
        let none = (Settings::default(), None);
        if dir.as_os_str().is_empty() {
            return none;
        }
        let path = dir.join(settings::FILE_NAME);
        let key = Key::Path(path.clone());
        let Some(uri) = self
            .docs
            .get(&key)
            .map(|d| d.uri.clone())
            .or_else(|| Uri::from_file_path(&path))
        else {
            return none;
        };
        let text = match self.docs.get(&key) {
            Some(d) => d.text.clone(),
            None => match read_path(&path) {
                At::Text(t) => t.to_string(),
                At::Missing => return none,
                At::Trouble(_) => {
                    let d = Diagnostic {
                        severity: Some(DiagnosticSeverity::ERROR),
                        source: Some(SOURCE.to_owned()),
                        message: format!(
                            "`{}` cannot be read as text; the default settings are used",
                            settings::FILE_NAME
                        ),
                        ..Diagnostic::default()
                    };
                    return (Settings::default(), Some((uri, d)));
                }
            },
        };
        match Settings::parse(&text) {
            Ok(s) => (s, None),
            Err(e) => {
                let span = e.span.map_or(Span::default(), Span::from);
                let range = Lines {
                    text: &text,
                    index: &LineIndex::new(&text),
                    encoding: self.encoding,
                }
                .range(span);
                let d = Diagnostic {
                    range,
                    severity: Some(DiagnosticSeverity::ERROR),
                    source: Some(SOURCE.to_owned()),
                    message: format!(
                        "{}\nhelp: the default settings are used meanwhile",
                        e.message
                    ),
                    ..Diagnostic::default()
                };
                (Settings::default(), Some((uri, d)))
            }
        }
    }

    /// The innermost root that holds a path, and the path in it.
    fn root_for(&self, path: &Path) -> Option<(u32, SmolStr)> {
        self.roots
            .iter()
            .filter_map(|(id, r)| Some((r.dir.components().count(), *id, r.below(path)?)))
            .max_by_key(|(depth, _, _)| *depth)
            .map(|(_, id, rel)| (id, rel))
    }

    /// The root of a document and its path there; made where there is none.
    fn home(&mut self, key: &Key) -> (u32, SmolStr) {
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
    fn drop_idle_roots(&mut self) {
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

    // ---- work ------------------------------------------------------------------------------------

    /// Whether there is anything left to do when nothing is asked.
    pub fn has_work(&self) -> bool {
        self.is_unpublished() || self.roots.values().any(|r| r.unsolved && !r.faulty)
    }

    /// Whether findings are to be sent.
    pub fn is_unpublished(&self) -> bool {
        self.orphans || self.roots.values().any(|r| r.unpublished)
    }

    /// Brings the compiler's copies up to the documents, and what needs no solved duty up to date.
    fn flush(&mut self) {
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

    fn publish_root(&mut self, id: u32) {
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
        if let Some((uri, d)) = &root.settings_trouble {
            now.insert(uri.as_str().to_owned());
            let list = vec![d.clone()];
            if self.is_news(uri, &list, false) {
                self.send(Message::Publish(uri.clone(), list.clone(), None));
            }
            sent.push((uri.clone(), list));
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
    fn is_news(&self, uri: &Uri, list: &[Diagnostic], announce: bool) -> bool {
        announce
            || match self.published.get(uri.as_str()) {
                Some(p) => p.list != list,
                None => !list.is_empty(),
            }
    }

    /// Takes back what the client shows for a file.
    fn withdraw(&mut self, key: &str) {
        if let Some(p) = self.published.remove(key)
            && !p.list.is_empty()
        {
            self.send(Message::Publish(p.uri, Vec::new(), None));
        }
    }

    fn doc_of(&self, root: &Root, path: &str) -> Option<&Doc> {
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
    fn uri_of(&self, root: Option<u32>, db: &Db, file: FileId) -> Option<Uri> {
        if db.is_library(file) {
            return Uri::from_file_path(standard::copy_of(db.path(file))?);
        }
        let root = self.roots.get(&root?)?;
        self.doc_of(root, db.path(file))
            .map(|d| d.uri.clone())
            .or_else(|| root.uri_on_disk(db.path(file)))
    }

    // ---- looking ---------------------------------------------------------------------------------

    /// Answers a question about a document from what is known now; `None` where it is not known at all.
    pub fn look<T>(&mut self, uri: &Uri, f: impl FnOnce(&Here<'_>) -> T) -> Option<T> {
        self.flush();
        let key = Key::of(uri);
        if let Some(path) = key.path().and_then(standard::library_path) {
            let db = self.library.get_or_insert_with(Db::default);
            let file = db.file(&path)?;
            let library = std::mem::take(&mut self.library)?;
            let answer = f(&Here {
                db: &library,
                file,
                encoding: self.encoding,
                session: self,
                root: None,
            });
            self.library = Some(library);
            return Some(answer);
        }
        let (id, rel) = match &key {
            Key::Path(p) => self.root_for(p)?,
            Key::Other(_) if self.docs.contains_key(&key) => self.home(&key),
            Key::Other(_) => return None,
        };
        let root = self.roots.get(&id)?;
        let file = root.db.file(&rel)?;
        Some(f(&Here {
            db: &root.db,
            file,
            encoding: self.encoding,
            session: self,
            root: Some(id),
        }))
    }

    /// The text of an open spec.
    pub fn text_of(&mut self, uri: &Uri) -> Option<(&str, &LineIndex, Encoding)> {
        let encoding = self.encoding;
        let key = Key::of(uri);
        if key.path().is_some_and(is_settings) {
            return None;
        }
        let doc = self.docs.get_mut(&key)?;
        doc.lines(encoding);
        let index = doc.index.as_ref()?;
        Some((&doc.text, index, encoding))
    }

    // ---- faults ----------------------------------------------------------------------------------

    /// After a fault: says so, and where the compiler's copies may be torn, makes them again from the texts.
    pub fn recover(&mut self, job: &str, fault: &str, changing: bool) {
        self.log(
            MessageType::ERROR,
            format!("a fault inside the server while working on `{job}`: {fault}"),
        );
        if !std::mem::replace(&mut self.told, true) {
            self.send(Message::Show(
                MessageType::ERROR,
                format!(
                    "Cutwater failed inside while working on `{job}` and goes on; findings may be missing until the next edit. Please report it with the server's log."
                ),
            ));
        }
        if !std::mem::take(&mut self.torn) && !changing {
            return;
        }
        for id in self.roots.keys().copied().collect::<Vec<_>>() {
            let Some(r) = self.roots.get(&id) else {
                continue;
            };
            let texts: Vec<(SmolStr, Arc<str>)> =
                r.db.files()
                    .map(|f| {
                        let path = r.db.path(f).clone();
                        let text = match self.doc_of(r, &path) {
                            Some(d) => Arc::from(d.text.as_str()),
                            None => r.db.text(f).clone(),
                        };
                        (path, text)
                    })
                    .collect();
            let mut db = Db::new((**r.db.settings()).clone());
            for (path, text) in texts {
                db.set_file(&path, text);
            }
            if let Some(r) = self.roots.get_mut(&id) {
                r.db = db;
                // What the syntax says is known without settling; the rest waits for the next edit, as it may
                // be what failed.
                r.dirty = false;
                r.unpublished = true;
                r.unsolved = false;
                r.faulty = true;
            }
            self.publish_root(id);
            if let Some(r) = self.roots.get_mut(&id) {
                r.unpublished = false;
            }
        }
    }

    /// Even recovering failed: nothing more is done before the next edit, which begins anew.
    pub fn give_up(&mut self) {
        self.roots.clear();
        self.orphans = false;
        self.torn = false;
        self.lost = true;
        for d in self.docs.values_mut() {
            d.dirty = false;
        }
        self.log(
            MessageType::ERROR,
            "the server could not recover from a fault; it begins anew with the next edit",
        );
    }
}
