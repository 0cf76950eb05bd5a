//! Everything the server knows: open documents, workspace roots, and what the client was told.
//!
//! Documents are the truth: an edit changes the document first, and the compiler's copy is made from it when
//! something is about to be asked or published. Should the compiler fail, its copy is made again from the texts.
//!
//! A *root* is a folder with one set of settings and one [`Db`]. Roots are the workspace folders, each widened to the
//! nearest folder above with a `cutwater.toml`; folders below that hold a `cutwater.toml` of their own; the folder of a file
//! opened from elsewhere; and one for each document that is no file. A file belongs to the innermost root that holds it.

mod faults;
mod files;
mod project;
mod roots;
mod work;

use crate::convert::{Converter, Lines, SOURCE};
use crate::outgoing::{Message, Outgoing};
use crate::places::{Found, Key, below, is_settings, is_spec, project_of, scan, would_find};
use crate::standard;
use cutwater_compiler::world::{Disk, Found as At, World, read_path};
use cutwater_compiler::{Db, ProjectSettings};
use cutwater_editor::HintKind;
use cutwater_finding::FileId;
use cutwater_text::{Encoding, LineIndex, Span};
use smol_str::SmolStr;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use tower_lsp::ls_types::{
    Diagnostic, FileChangeType, FileEvent, MessageType, Registration,
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
    /// Take code actions that are no commands.
    pub literal_actions: bool,
    /// Ask for the edits of a code action when it is chosen.
    pub lazy_edits: bool,
    /// Take edits that name the version of the document they are for.
    pub versioned_edits: bool,
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
    settings_trouble: Option<(Uri, Vec<Diagnostic>)>,
    /// The file of known findings that its settings name.
    baseline_path: Option<PathBuf>,
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

    /// The version of a file's document; none where it is not open.
    pub fn version(&self, file: FileId) -> Option<i32> {
        let root = self.session.roots.get(&self.root?)?;
        let doc = self.session.doc_of(root, self.db.path(file))?;
        Some(doc.version)
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
            Key::Path(p) if is_settings(p) => {
                let p = p.clone();
                self.settings_changed(&p);
            }
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
            Key::Path(p) if is_settings(p) => {
                let p = p.clone();
                self.settings_changed(&p);
            }
            Key::Path(p) if standard::library_path(p).is_some() => {}
            key => {
                let (root, _) = self.home(key);
                if let Some(r) = self.roots.get_mut(&root) {
                    r.touch();
                }
            }
        }
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
}
