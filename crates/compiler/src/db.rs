//! The incremental heart: files, declarations, and a query engine over their slots.
//!
//! Inputs are items (one per chunk), names in files and files by path. Everything else is a *node*: the
//! value of a slot, or the checks of a declaration. A node remembers what it read. An edit replaces the
//! items of the chunks it touched and marks what may depend on them; [`Db::settle`] then brings exactly
//! those up to date, and stops early where a recomputed value turns out equal. Work is therefore
//! proportional to what an edit can reach, not to the size of the fleet.
//!
//! Why not a ready query engine: here every node is an `(item, slot)` pair with a dense number, an edit
//! knows which nodes it reaches, and cycles must be reported with their whole path as a user's mistake.
//! Some two hundred lines do that; a differential test holds them equal to a check from scratch.
//!
//! Cycles: a node that is asked for while it is being computed closes a cycle. All its members become
//! unknown; the finding is made afterwards from the recorded graph, so that it does not depend on which
//! member was asked for first.

use crate::baseline::Baseline;
use crate::check;
use crate::codes;
use crate::kinds;
use crate::mend;
use crate::paths;
use crate::reuse;
use crate::schema::{KindDef, Slot, Slots, kind};
use crate::settings::{ProjectSettings, Settings};
use crate::slots;
use crate::value::{Date, Quantity, Value};
use cutwater_finding::{Code, FileId, Finding, Place};
use cutwater_quantity::InputId;
use cutwater_syntax::ast::{Decl, ItemKind};
use cutwater_syntax::split::{Chunk, resplit, split};
use cutwater_syntax::token::{Raw, T, lex};
use cutwater_syntax::{Parsed, parse_chunk, parse_tokens};
use cutwater_text::{LineIndex, Span};
use rustc_hash::{FxHashMap, FxHashSet};
use smallvec::SmallVec;
use smol_str::SmolStr;
use std::sync::Arc;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};

/// A declaration (or any other item) known to the compiler. Stays the same while its text is edited.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct DeclId(pub u32);

/// Why an evaluation stopped without a value.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Halt {
    /// It needs a solved duty and solving is left for later.
    Deferred,
    /// A newer edit arrived.
    Cancelled,
}

/// The result of an evaluation that may be stopped.
pub type Eval<T> = Result<T, Halt>;

/// A place that stays right when declarations move or are edited elsewhere.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Local {
    /// Bytes of an item, from its chunk's start. Only for places in the item being checked.
    Span(DeclId, Span),
    /// A field, group or table of a declaration, by slot; its name where it is not written.
    Slot(DeclId, u16),
    /// The value of such a field.
    Value(DeclId, u16),
    /// A declaration's kind and name.
    Head(DeclId),
    /// Bytes of a file.
    File(FileId, Span),
    /// In a fix: an entry of the item being checked, with its line. The edit takes it out.
    Entry(DeclId, Span),
    /// In a fix: an item with its line. The edit takes it out.
    Item(DeclId),
    /// In a fix: room for one more entry at the end of the block with these braces, in the item being checked.
    NewEntry(DeclId, Span),
    /// In a fix: the rows of a table, by slot. The edit puts them in the order of the first column.
    Rows(DeclId, u16),
}

/// What a node holds.
#[derive(Clone, PartialEq, Debug)]
pub struct Out {
    /// Its value.
    pub value: Value,
    /// What it found.
    pub findings: Vec<Finding<Local>>,
}

#[derive(Clone, PartialEq, Eq, Debug)]
enum Key {
    Item(DeclId),
    Name(FileId, SmolStr),
    Names(FileId),
    Begins(FileId, SmolStr),
    Path(SmolStr),
    /// The declarations of a kind in a file, in order; of no kind for the empty word.
    OfKind(FileId, &'static str),
    Slot(DeclId, u16),
    Check(DeclId),
    /// What the house rules find in a declaration.
    House(DeclId),
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum State {
    Input,
    Clean,
    Maybe,
    Dirty,
    Busy,
}

struct Node {
    key: Key,
    state: State,
    out: Option<Arc<Out>>,
    deps: SmallVec<[u32; 6]>,
    rdeps: Vec<u32>,
    changed_at: u64,
    verified_at: u64,
    /// Needs a solved duty: left for later while the user types.
    solved: bool,
}

const NONE: u32 = u32::MAX;

/// Most members of a circle that are told one by one.
const MOST_SHOWN: usize = 8;

/// One item of a file.
struct DeclData {
    file: FileId,
    chunk: Span,
    parsed: OnceLock<Arc<Parsed>>,
    kind: Option<(&'static KindDef, &'static Slots)>,
    name: Option<SmolStr>,
    /// See [`ItemHead::nameless`].
    nameless: bool,
    /// Takes values: a function, or a pattern for other declarations. Part of what the item is, like its kind.
    takes: bool,
    /// How the parameters it fills in are called, in the order of their slots: for messages alone.
    filled: Vec<SmolStr>,
    input: u32,
    check: u32,
    house: u32,
    slots: Vec<u32>,
    /// The names that begin its dotted paths, each once.
    begins: Vec<SmolStr>,
    live: bool,
}

/// One file.
struct FileData {
    path: SmolStr,
    text: Arc<str>,
    lines: OnceLock<Arc<LineIndex>>,
    chunks: Vec<Chunk>,
    decls: Vec<DeclId>,
    names: FxHashMap<SmolStr, SmallVec<[DeclId; 1]>>,
    /// How many items have dotted paths that begin with a name.
    begins: FxHashMap<SmolStr, u32>,
    /// The nodes of its lists of declarations, by the kind's word.
    lists: Vec<(&'static str, u32)>,
    std: bool,
    live: bool,
    /// What kept the file from being read as text.
    trouble: Option<(&'static Code, String, String)>,
    /// What holds for it.
    settings: Arc<Settings>,
}

struct Frame {
    node: u32,
    deps: SmallVec<[u32; 6]>,
}

/// Why a file could not be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FileTrouble {
    /// Its bytes are not UTF-8; the offset of the first that is not.
    NotUtf8(usize),
    /// Larger than [`MAX_FILE`].
    TooBig(usize),
    /// It is there but cannot be read; why.
    Unreadable(String),
}

impl FileTrouble {
    /// The finding that says so of a file: its code, its message, and how to mend it.
    pub fn describe(&self, path: &str) -> (&'static Code, String, String) {
        match self {
            FileTrouble::NotUtf8(at) => (
                &codes::NOT_UTF8,
                format!("`{path}` is not UTF-8 text: byte {at} belongs to no character"),
                "save it as UTF-8; most editors offer that under the file's encoding".to_owned(),
            ),
            FileTrouble::TooBig(n) => (
                &codes::FILE_TOO_BIG,
                format!(
                    "`{path}` has {:.1} MB; files up to {} MB are read",
                    *n as f64 / f64::from(1 << 20),
                    MAX_FILE >> 20
                ),
                "split it into several files and join them with `use`".to_owned(),
            ),
            FileTrouble::Unreadable(why) => (
                &codes::FILE_UNREADABLE,
                format!("`{path}` cannot be read: {why}"),
                "check the file's permissions".to_owned(),
            ),
        }
    }
}

/// Largest file read, in bytes. A fleet's specs are thousands of lines; this is hundreds of thousands.
pub const MAX_FILE: usize = 32 << 20;

/// All that is known of a workspace.
pub struct Db {
    files: Vec<FileData>,
    by_path: FxHashMap<SmolStr, FileId>,
    decls: Vec<DeclData>,
    nodes: Vec<Node>,
    free_nodes: Vec<u32>,
    free_decls: Vec<DeclId>,
    graveyard: Vec<u32>,
    dead_decls: Vec<DeclId>,
    names: FxHashMap<(FileId, SmolStr), u32>,
    paths: FxHashMap<SmolStr, u32>,
    name_sets: FxHashMap<FileId, u32>,
    begins: FxHashMap<(FileId, SmolStr), u32>,
    std_names: FxHashMap<SmolStr, DeclId>,
    stack: Vec<Frame>,
    cyclic: FxHashSet<u32>,
    pending: FxHashSet<DeclId>,
    rev: u64,
    solving: bool,
    cancel: Option<Arc<AtomicBool>>,
    settings: ProjectSettings,
    today: Option<Date>,
    baseline: Option<Arc<Baseline>>,
    /// Values put in place of what the spec says, by declaration and part.
    pins: FxHashMap<(DeclId, SmolStr), Value>,
    computed: u64,
}

impl Default for Db {
    fn default() -> Self {
        Self::new(ProjectSettings::default())
    }
}

impl Db {
    /// An empty workspace with the standard library.
    pub fn new(settings: impl Into<ProjectSettings>) -> Self {
        let mut db = Self {
            files: Vec::new(),
            by_path: FxHashMap::default(),
            decls: Vec::new(),
            nodes: Vec::new(),
            free_nodes: Vec::new(),
            free_decls: Vec::new(),
            graveyard: Vec::new(),
            dead_decls: Vec::new(),
            names: FxHashMap::default(),
            paths: FxHashMap::default(),
            name_sets: FxHashMap::default(),
            begins: FxHashMap::default(),
            std_names: FxHashMap::default(),
            stack: Vec::new(),
            cyclic: FxHashSet::default(),
            pending: FxHashSet::default(),
            rev: 1,
            solving: true,
            cancel: None,
            settings: settings.into(),
            today: None,
            baseline: None,
            pins: FxHashMap::default(),
            computed: 0,
        };
        for (name, text) in crate::library::FILES {
            let path = SmolStr::from(format!("{}{name}", crate::library::PREFIX));
            let file = db.add_file(path, Arc::from(*text), true);
            for d in db.files[file.0 as usize].decls.clone() {
                if let Some(n) = &db.decls[d.0 as usize].name {
                    db.std_names.insert(n.clone(), d);
                }
            }
        }
        db.pending.clear();
        db
    }

    // ---- files -------------------------------------------------------------------------------

    fn add_file(&mut self, path: SmolStr, text: Arc<str>, std: bool) -> FileId {
        let id = FileId(self.files.len() as u32);
        let settings = self.settings_for(&path, std);
        self.files.push(FileData {
            settings,
            path: path.clone(),
            text: Arc::from(""),
            lines: OnceLock::new(),
            chunks: Vec::new(),
            decls: Vec::new(),
            names: FxHashMap::default(),
            begins: FxHashMap::default(),
            lists: Vec::new(),
            std,
            live: true,
            trouble: None,
        });
        self.by_path.insert(path, id);
        let chunks = split(&text);
        self.replace_chunks(id, text, chunks, 0, 0);
        id
    }

    /// Adds a file or replaces its text; only what changed is looked at again. `path` is relative to the
    /// workspace root, with `/` between its parts.
    pub fn set_file(&mut self, path: &str, text: impl Into<Arc<str>>) -> FileId {
        let text = text.into();
        self.rev += 1;
        if text.len() > MAX_FILE {
            return self.set_trouble(path, &FileTrouble::TooBig(text.len()));
        }
        match self.by_path.get(path).copied() {
            None => {
                let id = self.add_file(SmolStr::new(path), text, false);
                self.touch_path(path);
                id
            }
            Some(id) => {
                let f = &mut self.files[id.0 as usize];
                let was_live = std::mem::replace(&mut f.live, true) && f.trouble.take().is_none();
                f.trouble = None;
                if f.text != text {
                    let (old_range, new_range) = changed_range(&f.text, &text);
                    let r = resplit(&f.chunks, f.text.len(), &text, old_range, new_range);
                    self.replace_chunks(id, text, r.chunks, r.kept_front, r.kept_back);
                }
                if !was_live {
                    self.touch_path(path);
                }
                id
            }
        }
    }

    /// Says that a file is there but cannot be read as text.
    pub fn set_trouble(&mut self, path: &str, trouble: &FileTrouble) -> FileId {
        self.rev += 1;
        let id = match self.by_path.get(path).copied() {
            Some(id) => {
                self.replace_chunks(id, Arc::from(""), split(""), 0, 0);
                id
            }
            None => self.add_file(SmolStr::new(path), Arc::from(""), false),
        };
        let f = &mut self.files[id.0 as usize];
        f.live = true;
        f.trouble = Some(trouble.describe(path));
        self.touch_path(path);
        id
    }

    /// Takes a file out of the workspace.
    pub fn remove_file(&mut self, path: &str) {
        if let Some(id) = self.by_path.get(path).copied()
            && self.files[id.0 as usize].live
        {
            self.rev += 1;
            self.replace_chunks(id, Arc::from(""), Vec::new(), 0, 0);
            let f = &mut self.files[id.0 as usize];
            f.live = false;
            f.trouble = None;
            self.touch_path(path);
        }
    }

    fn touch_path(&mut self, path: &str) {
        if let Some(ix) = self.paths.get(path).copied() {
            self.mark(ix);
        }
    }

    fn replace_chunks(
        &mut self,
        file: FileId,
        text: Arc<str>,
        chunks: Vec<Chunk>,
        kept_front: usize,
        kept_back: usize,
    ) {
        let lists = self.files[file.0 as usize].lists.clone();
        let listed: Vec<Vec<DeclId>> = lists.iter().map(|l| self.listed(file, l.0)).collect();
        let f = &mut self.files[file.0 as usize];
        let std = f.std;
        let old_decls = std::mem::take(&mut f.decls);
        let old_middle = old_decls[kept_front..old_decls.len() - kept_back].to_vec();
        f.text = text.clone();
        f.lines = OnceLock::new();
        let middle = kept_front..chunks.len() - kept_back;
        let mut decls: Vec<DeclId> = Vec::with_capacity(chunks.len());
        decls.extend(&old_decls[..kept_front]);
        // Items keep their identity by kind and name, or else by order.
        let mut spare: Vec<DeclId> = old_middle;
        let mut fresh: Vec<(DeclId, Option<DeclId>)> = Vec::new();
        let mut turned: FxHashMap<SmolStr, i64> = FxHashMap::default();
        for d in &spare {
            for n in &self.decls[d.0 as usize].begins {
                *turned.entry(n.clone()).or_default() -= 1;
            }
        }
        let mut heads: Vec<(Arc<Parsed>, ItemHead, Vec<SmolStr>)> = if std {
            Vec::new()
        } else {
            let parts: Vec<&str> = chunks[middle.clone()]
                .iter()
                .map(|c| c.span.slice(&text))
                .collect();
            parse_all(&parts)
                .into_iter()
                .map(|(p, begins)| {
                    let head = ItemHead::of(&p);
                    (p, head, begins)
                })
                .collect()
        };
        for (k, c) in chunks[middle.clone()].iter().enumerate() {
            let (parsed, head, begins) = match heads.get_mut(k) {
                Some((p, h, b)) => (Some(p.clone()), h.clone(), std::mem::take(b)),
                None => (None, ItemHead::quick(c.span.slice(&text)), Vec::new()),
            };
            for n in &begins {
                *turned.entry(n.clone()).or_default() += 1;
            }
            let same = spare.iter().position(|d| {
                let data = &self.decls[d.0 as usize];
                data.name == head.name
                    && data.kind.map(|x| x.0.word) == head.kind.map(|x| x.0.word)
                    && data.takes == head.takes
            });
            let reuse = same.map(|at| spare.remove(at));
            let id = match reuse {
                Some(id) => id,
                None => self.new_decl(file),
            };
            let data = &mut self.decls[id.0 as usize];
            let old_parsed = data.parsed.take();
            let changed = reuse.is_none()
                || match (&old_parsed, &parsed) {
                    (Some(a), Some(b)) => a != b,
                    _ => true,
                };
            data.parsed = OnceLock::new();
            if let Some(p) = parsed {
                let _ = data.parsed.set(p);
            }
            data.kind = head.kind;
            data.name = head.name;
            data.begins = begins;
            data.nameless = head.nameless;
            data.takes = head.takes;
            // Behind the kind's slots there may be those of parameters that are filled in.
            let least = head.kind.map_or(1, |k| k.1.list.len());
            if data.slots.len() < least {
                data.slots.resize(least, NONE);
            }
            if changed {
                fresh.push((id, reuse));
            }
            decls.push(id);
        }
        decls.extend(&old_decls[old_decls.len() - kept_back..]);
        for (d, c) in decls.iter().zip(&chunks) {
            self.decls[d.0 as usize].chunk = c.span;
        }
        for d in &spare {
            self.bury(*d);
        }
        // Names: compare the old table with the new one, and mark the names that differ.
        let mut names: FxHashMap<SmolStr, SmallVec<[DeclId; 1]>> = FxHashMap::default();
        for d in &decls {
            let data = &self.decls[d.0 as usize];
            if let Some(n) = &data.name {
                names.entry(n.clone()).or_default().push(*d);
            }
            if data.nameless {
                names.entry(NAMELESS.into()).or_default().push(*d);
            }
        }
        let f = &mut self.files[file.0 as usize];
        f.chunks = chunks;
        f.decls = decls;
        let old_names = std::mem::replace(&mut f.names, names);
        let mut marks: Vec<u32> = Vec::new();
        let f = &self.files[file.0 as usize];
        for (n, ds) in &old_names {
            if f.names.get(n) != Some(ds)
                && let Some(ix) = self.names.get(&(file, n.clone()))
            {
                marks.push(*ix);
            }
        }
        for n in f.names.keys() {
            if !old_names.contains_key(n)
                && let Some(ix) = self.names.get(&(file, n.clone()))
            {
                marks.push(*ix);
            }
        }
        for (n, by) in turned.into_iter().filter(|t| t.1 != 0) {
            let count = self.files[file.0 as usize]
                .begins
                .entry(n.clone())
                .or_default();
            let before = *count > 0;
            *count = u32::try_from(i64::from(*count) + by).unwrap_or(0);
            let after = *count > 0;
            if !after {
                self.files[file.0 as usize].begins.remove(&n);
            }
            if before != after
                && let Some(ix) = self.begins.get(&(file, n))
            {
                marks.push(*ix);
            }
        }
        let f = &self.files[file.0 as usize];
        let same_set =
            old_names.len() == f.names.len() && old_names.keys().all(|n| f.names.contains_key(n));
        if !same_set && let Some(ix) = self.name_sets.get(&file) {
            marks.push(*ix);
        }
        for ((word, ix), old) in lists.into_iter().zip(listed) {
            if self.listed(file, word) != old {
                marks.push(ix);
            }
        }
        for ix in marks {
            self.mark(ix);
        }
        for (id, _) in fresh {
            if !std {
                self.pending.insert(id);
            }
            let ix = self.decls[id.0 as usize].input;
            self.mark(ix);
        }
    }

    fn new_decl(&mut self, file: FileId) -> DeclId {
        let data = DeclData {
            file,
            chunk: Span::default(),
            parsed: OnceLock::new(),
            kind: None,
            name: None,
            nameless: false,
            takes: false,
            filled: Vec::new(),
            input: NONE,
            check: NONE,
            house: NONE,
            slots: Vec::new(),
            begins: Vec::new(),
            live: true,
        };
        let id = match self.free_decls.pop() {
            Some(id) => {
                self.decls[id.0 as usize] = data;
                id
            }
            None => {
                self.decls.push(data);
                DeclId(self.decls.len() as u32 - 1)
            }
        };
        let ix = self.new_node(Key::Item(id), State::Input);
        self.decls[id.0 as usize].input = ix;
        id
    }

    /// Takes an item out: whatever read it must be looked at again; its nodes are freed when nothing does.
    fn bury(&mut self, d: DeclId) {
        let data = &mut self.decls[d.0 as usize];
        data.live = false;
        let mut ixs: Vec<u32> = data.slots.iter().copied().filter(|n| *n != NONE).collect();
        ixs.push(data.input);
        ixs.extend([data.check, data.house].into_iter().filter(|n| *n != NONE));
        for ix in ixs {
            self.mark(ix);
            self.unlink(ix);
            self.cyclic.remove(&ix);
            let n = &mut self.nodes[ix as usize];
            n.state = State::Dirty;
            n.out = None;
            n.changed_at = self.rev;
            self.graveyard.push(ix);
        }
        self.pending.remove(&d);
        self.dead_decls.push(d);
    }

    fn unlink(&mut self, ix: u32) {
        let deps = std::mem::take(&mut self.nodes[ix as usize].deps);
        for dep in &deps {
            let r = &mut self.nodes[*dep as usize].rdeps;
            if let Some(at) = r.iter().position(|x| *x == ix) {
                r.swap_remove(at);
            }
        }
    }

    // ---- the engine ----------------------------------------------------------------------------

    fn new_node(&mut self, key: Key, state: State) -> u32 {
        let node = Node {
            key,
            state,
            out: None,
            deps: SmallVec::new(),
            rdeps: Vec::new(),
            changed_at: self.rev,
            verified_at: 0,
            solved: false,
        };
        match self.free_nodes.pop() {
            Some(ix) => {
                self.nodes[ix as usize] = node;
                ix
            }
            None => {
                self.nodes.push(node);
                self.nodes.len() as u32 - 1
            }
        }
    }

    /// Says that node `ix` changed: what may depend on it is to be verified.
    fn mark(&mut self, ix: u32) {
        self.nodes[ix as usize].changed_at = self.rev;
        let mut todo: Vec<u32> = self.nodes[ix as usize].rdeps.clone();
        while let Some(n) = todo.pop() {
            if self.nodes[n as usize].state == State::Clean {
                let state = if self.cyclic.contains(&n) {
                    State::Dirty
                } else {
                    State::Maybe
                };
                let node = &mut self.nodes[n as usize];
                node.state = state;
                todo.extend(&node.rdeps);
                if let Key::Slot(d, _) | Key::Check(d) | Key::House(d) = node.key
                    && !self.files[self.decls[d.0 as usize].file.0 as usize].std
                {
                    self.pending.insert(d);
                }
            }
        }
    }

    fn record(&mut self, ix: u32) {
        if let Some(frame) = self.stack.last_mut()
            && frame.deps.last() != Some(&ix)
        {
            frame.deps.push(ix);
        }
    }

    fn get(&mut self, ix: u32) -> Eval<Arc<Out>> {
        self.record(ix);
        self.ensure(ix)
    }

    fn ensure(&mut self, ix: u32) -> Eval<Arc<Out>> {
        match self.nodes[ix as usize].state {
            State::Input => Ok(unknown()),
            State::Clean => Ok(self.nodes[ix as usize].out.clone().unwrap_or_else(unknown)),
            State::Busy => {
                let at = self.stack.iter().position(|f| f.node == ix).unwrap_or(0);
                for k in at..self.stack.len() {
                    let n = self.stack[k].node;
                    self.cyclic.insert(n);
                }
                Ok(unknown())
            }
            State::Maybe | State::Dirty if !self.solving && self.nodes[ix as usize].solved => {
                Err(Halt::Deferred)
            }
            State::Maybe | State::Dirty => {
                stacker::maybe_grow(96 * 1024, 2 * 1024 * 1024, || self.refresh(ix))
            }
        }
    }

    fn cancelled(&self) -> bool {
        self.cancel
            .as_ref()
            .is_some_and(|c| c.load(Ordering::Relaxed))
    }

    fn refresh(&mut self, ix: u32) -> Eval<Arc<Out>> {
        if self.cancelled() {
            return Err(Halt::Cancelled);
        }
        if self.nodes[ix as usize].state == State::Maybe {
            self.nodes[ix as usize].state = State::Busy;
            self.stack.push(Frame {
                node: ix,
                deps: SmallVec::new(),
            });
            let deps = self.nodes[ix as usize].deps.clone();
            let verified_at = self.nodes[ix as usize].verified_at;
            let mut changed = false;
            let mut halt = None;
            for dep in deps {
                if let Err(h) = self.ensure(dep) {
                    halt = Some(h);
                    break;
                }
                if self.nodes[dep as usize].changed_at > verified_at {
                    changed = true;
                    break;
                }
            }
            self.stack.pop();
            if let Some(h) = halt {
                self.nodes[ix as usize].state = State::Maybe;
                return Err(h);
            }
            if !changed && !self.cyclic.contains(&ix) {
                let n = &mut self.nodes[ix as usize];
                n.state = State::Clean;
                n.verified_at = self.rev;
                return Ok(n.out.clone().unwrap_or_else(unknown));
            }
        }
        self.cyclic.remove(&ix);
        self.nodes[ix as usize].state = State::Busy;
        self.stack.push(Frame {
            node: ix,
            deps: SmallVec::new(),
        });
        self.computed += 1;
        let result = self.compute(ix);
        let frame = self.stack.pop();
        let mut out = match result {
            Ok(out) => out,
            Err(h) => {
                self.nodes[ix as usize].state = State::Dirty;
                return Err(h);
            }
        };
        if self.cyclic.contains(&ix) {
            out.value = Value::Unknown;
        }
        let mut deps = frame.map(|f| f.deps).unwrap_or_default();
        if deps.len() > 1 {
            let mut seen = FxHashSet::default();
            deps.retain(|d| seen.insert(*d));
        }
        if self.nodes[ix as usize].deps != deps {
            self.unlink(ix);
            for d in &deps {
                self.nodes[*d as usize].rdeps.push(ix);
            }
            self.nodes[ix as usize].deps = deps;
        }
        let rev = self.rev;
        let n = &mut self.nodes[ix as usize];
        let same = n.out.as_ref().is_some_and(|o| o.value == out.value);
        if !same {
            n.changed_at = rev;
        }
        n.verified_at = rev;
        n.state = State::Clean;
        let out = Arc::new(out);
        n.out = Some(out.clone());
        Ok(out)
    }

    fn compute(&mut self, ix: u32) -> Eval<Out> {
        match self.nodes[ix as usize].key.clone() {
            Key::Item(_)
            | Key::Name(..)
            | Key::Names(_)
            | Key::Begins(..)
            | Key::Path(_)
            | Key::OfKind(..) => Ok((*unknown()).clone()),
            Key::Slot(d, s) => {
                if let Some(value) = self.pinned_slot(d, s) {
                    return Ok(Out {
                        value,
                        findings: Vec::new(),
                    });
                }
                let mut cx = Cx::new(self, d);
                cx.slot = s;
                let value = slots::eval(&mut cx, d, s)?;
                reuse::tell_inherited(&mut cx, d)?;
                Ok(Out {
                    value,
                    findings: cx.findings,
                })
            }
            Key::Check(d) => {
                let mut cx = Cx::new(self, d);
                check::check(&mut cx, d)?;
                reuse::tell_inherited(&mut cx, d)?;
                Ok(Out {
                    value: Value::Absent,
                    findings: cx.findings,
                })
            }
            Key::House(d) => {
                let mut cx = Cx::new(self, d);
                kinds::every::house(&mut cx, d)?;
                Ok(Out {
                    value: Value::Absent,
                    findings: cx.findings,
                })
            }
        }
    }

    fn pinned_slot(&self, d: DeclId, slot: u16) -> Option<Value> {
        if self.pins.is_empty() {
            return None;
        }
        let name = &self.kind(d)?.1.list.get(slot as usize)?.0;
        self.pins.get(&(d, SmolStr::new(name))).cloned()
    }

    fn slot_node(&mut self, d: DeclId, slot: u16) -> u32 {
        let at = slot as usize;
        if self.decls[d.0 as usize].slots.len() <= at {
            self.decls[d.0 as usize].slots.resize(at + 1, NONE);
        }
        let have = self.decls[d.0 as usize].slots[at];
        if have != NONE {
            return have;
        }
        let ix = self.new_node(Key::Slot(d, slot), State::Dirty);
        self.nodes[ix as usize].solved = self.decls[d.0 as usize].kind.is_some_and(
            |(_, s)| matches!(s.list.get(at), Some((_, Slot::Computed(c))) if c.solved),
        );
        self.decls[d.0 as usize].slots[at] = ix;
        ix
    }

    fn check_node(&mut self, d: DeclId) -> u32 {
        if self.decls[d.0 as usize].check == NONE {
            let ix = self.new_node(Key::Check(d), State::Dirty);
            self.decls[d.0 as usize].check = ix;
        }
        self.decls[d.0 as usize].check
    }

    /// The node of what the house rules find in a declaration; `None` where there are no such rules, or the item
    /// is no declaration.
    fn house_node(&mut self, d: DeclId) -> Option<u32> {
        let data = &self.decls[d.0 as usize];
        if !data.kind.is_some_and(|k| k.0.is_part())
            // Rules that hold no more are told so, once.
            || data.house == NONE && self.settings_of(data.file).rules().is_empty()
        {
            return None;
        }
        if data.house == NONE {
            let ix = self.new_node(Key::House(d), State::Dirty);
            self.decls[d.0 as usize].house = ix;
        }
        Some(self.decls[d.0 as usize].house)
    }

    /// The declarations of a kind in a file, in order and without patterns; items of no kind for the empty word.
    fn listed(&self, file: FileId, word: &str) -> Vec<DeclId> {
        let decls = self.files[file.0 as usize].decls.iter().copied();
        decls
            .filter(|d| {
                let data = &self.decls[d.0 as usize];
                data.kind.map_or("", |k| k.0.word) == word && !data.takes
            })
            .collect()
    }

    /// Brings everything up to date that an edit can have reached. With `solve` false, what needs a solved
    /// duty is left as it was and counted as pending. Gives `Err(Cancelled)` when told to stop.
    pub fn settle(&mut self, solve: bool, cancel: Option<Arc<AtomicBool>>) -> Eval<()> {
        self.solving = solve;
        self.cancel = cancel;
        self.stack.clear();
        let mut todo: Vec<DeclId> = self.pending.iter().copied().collect();
        todo.sort_unstable();
        let mut result = Ok(());
        for d in todo {
            match self.settle_decl(d) {
                Ok(()) => {
                    self.pending.remove(&d);
                }
                Err(Halt::Deferred) => {}
                Err(Halt::Cancelled) => {
                    result = Err(Halt::Cancelled);
                    break;
                }
            }
        }
        self.cancel = None;
        if result.is_ok() {
            self.sweep();
        }
        result
    }

    /// Whether something waits for a solved duty.
    pub fn is_pending(&self) -> bool {
        !self.pending.is_empty()
    }

    fn settle_decl(&mut self, d: DeclId) -> Eval<()> {
        if !self.decls[d.0 as usize].live {
            return Ok(());
        }
        let mut deferred = false;
        let mut step = |r: Eval<Arc<Out>>| match r {
            Ok(_) => Ok(()),
            Err(Halt::Deferred) => {
                deferred = true;
                Ok(())
            }
            Err(h) => Err(h),
        };
        let check = self.check_node(d);
        step(self.ensure(check))?;
        if let Some(house) = self.house_node(d) {
            step(self.ensure(house))?;
        }
        for slot in slots::written_or_computed(self, d) {
            let ix = self.slot_node(d, slot);
            step(self.ensure(ix))?;
        }
        // What was written once and is no more: its old findings go.
        for k in 0..self.decls[d.0 as usize].slots.len() {
            let ix = self.decls[d.0 as usize].slots[k];
            if ix != NONE {
                step(self.ensure(ix))?;
            }
        }
        if deferred {
            Err(Halt::Deferred)
        } else {
            Ok(())
        }
    }

    /// Frees the nodes of items that are gone.
    fn sweep(&mut self) {
        let graveyard = std::mem::take(&mut self.graveyard);
        for ix in graveyard {
            if self.nodes[ix as usize].rdeps.is_empty() {
                self.free_nodes.push(ix);
            } else {
                self.graveyard.push(ix);
            }
        }
        if self.graveyard.is_empty() {
            self.free_decls.append(&mut self.dead_decls);
        }
    }

    /// Number of nodes computed since the start: what a test of incrementality counts.
    pub fn computed_nodes(&self) -> u64 {
        self.computed
    }

    /// Number of nodes kept.
    pub fn kept_nodes(&self) -> usize {
        self.nodes.len() - self.free_nodes.len()
    }

    // ---- settings --------------------------------------------------------------------------------

    /// Other settings from now on. Where only levels change, nothing is evaluated again; where the units or the
    /// house rules of some files change, only what is in those files. Says whether anything is to be settled.
    pub fn set_settings(&mut self, settings: impl Into<ProjectSettings>) -> bool {
        let before = std::mem::replace(&mut self.settings, settings.into());
        self.rev += 1;
        let mut other: FxHashSet<FileId> = FxHashSet::default();
        for k in 0..self.files.len() {
            let f = &self.files[k];
            let new = self.settings_for(&f.path, f.std);
            // A file that is one of house rules judges nothing by itself.
            let house = |s: &ProjectSettings| s.rules().contains(&&f.path);
            if (new.units, new.rules()) != (f.settings.units, f.settings.rules())
                || house(&before) != house(&self.settings)
            {
                other.insert(FileId(k as u32));
            }
            self.files[k].settings = new;
        }
        let mut touched = false;
        if !other.is_empty() {
            for file in other.iter().map(|f| &self.files[f.0 as usize]) {
                if !file.std && !file.settings.rules().is_empty() {
                    self.pending.extend(file.decls.iter().copied());
                    touched = true;
                }
            }
            for ix in 0..self.nodes.len() as u32 {
                let n = &self.nodes[ix as usize];
                if let Key::Slot(d, _) | Key::Check(d) | Key::House(d) = n.key
                    && matches!(n.state, State::Clean | State::Maybe)
                    && self.decls[d.0 as usize].live
                    && other.contains(&self.decls[d.0 as usize].file)
                {
                    self.retry(ix);
                    touched = true;
                }
            }
        }
        touched
    }

    /// Has a node computed anew; what read it is verified, and computed only if its value changes.
    fn retry(&mut self, ix: u32) {
        let changed_at = self.nodes[ix as usize].changed_at;
        self.mark(ix);
        let n = &mut self.nodes[ix as usize];
        n.changed_at = changed_at;
        n.state = State::Dirty;
        if let Key::Slot(d, _) | Key::Check(d) | Key::House(d) = n.key
            && !self.files[self.decls[d.0 as usize].file.0 as usize].std
        {
            self.pending.insert(d);
        }
    }

    /// Puts a value in place of a slot, or of a part of a declaration's text that asks [`Cx::pinned`] by `part`; takes it
    /// out with `None`. See [`crate::vary`].
    pub(crate) fn pin(&mut self, d: DeclId, part: &str, value: Option<Value>) {
        self.rev += 1;
        let key = (d, SmolStr::new(part));
        match value {
            Some(v) => self.pins.insert(key, v),
            None => self.pins.remove(&key),
        };
        match self.kind(d).and_then(|(_, s)| s.find(part)) {
            Some(slot) => {
                let ix = self.slot_node(d, slot);
                self.retry(ix);
            }
            None => {
                let ix = self.decls[d.0 as usize].input;
                self.mark(ix);
            }
        }
    }

    /// What day it is, for acceptances that end on a day; `None`, as at the start, ends none. Nothing is
    /// evaluated again.
    pub fn set_today(&mut self, today: Option<Date>) {
        self.today = today;
    }

    /// What day it is, as far as was said.
    pub fn today(&self) -> Option<Date> {
        self.today
    }

    /// The findings that are known already; `None`, as at the start, knows none. Nothing is evaluated again.
    pub fn set_baseline(&mut self, baseline: Option<Arc<Baseline>>) {
        self.baseline = baseline;
    }

    /// The findings that are known already.
    pub fn baseline(&self) -> Option<&Arc<Baseline>> {
        self.baseline.as_ref()
    }

    fn settings_for(&self, path: &str, std: bool) -> Arc<Settings> {
        // The library's files are no part of the workspace's folders.
        if std {
            self.settings.base().clone()
        } else {
            self.settings.at(path)
        }
    }

    /// All settings of the workspace.
    pub fn project_settings(&self) -> &ProjectSettings {
        &self.settings
    }

    /// The settings in force at the workspace's root.
    pub fn settings(&self) -> &Arc<Settings> {
        self.settings.base()
    }

    /// The settings in force for a file.
    pub fn settings_of(&self, file: FileId) -> &Arc<Settings> {
        &self.files[file.0 as usize].settings
    }

    // ---- looking ---------------------------------------------------------------------------------

    /// The file at a path.
    pub fn file(&self, path: &str) -> Option<FileId> {
        self.by_path
            .get(path)
            .copied()
            .filter(|f| self.files[f.0 as usize].live)
    }

    /// All files of the workspace, the standard library's apart.
    pub fn files(&self) -> impl Iterator<Item = FileId> + '_ {
        self.files
            .iter()
            .enumerate()
            .filter(|(_, f)| f.live && !f.std)
            .map(|(i, _)| FileId(i as u32))
    }

    /// The files of the standard library.
    pub fn library_files(&self) -> impl Iterator<Item = FileId> + '_ {
        self.files
            .iter()
            .enumerate()
            .filter(|(_, f)| f.std)
            .map(|(i, _)| FileId(i as u32))
    }

    /// A file's path.
    pub fn path(&self, file: FileId) -> &SmolStr {
        &self.files[file.0 as usize].path
    }

    /// Whether a file belongs to the standard library.
    pub fn is_library(&self, file: FileId) -> bool {
        self.files[file.0 as usize].std
    }

    /// A file's text.
    pub fn text(&self, file: FileId) -> &Arc<str> {
        &self.files[file.0 as usize].text
    }

    /// A file's line index.
    pub fn lines(&self, file: FileId) -> Arc<LineIndex> {
        let f = &self.files[file.0 as usize];
        f.lines
            .get_or_init(|| Arc::new(LineIndex::new(&f.text)))
            .clone()
    }

    /// The items of a file in order.
    pub fn decls(&self, file: FileId) -> &[DeclId] {
        &self.files[file.0 as usize].decls
    }

    /// The file an item stands in.
    pub fn file_of(&self, d: DeclId) -> FileId {
        self.decls[d.0 as usize].file
    }

    /// The bytes of an item's chunk in its file.
    pub fn chunk(&self, d: DeclId) -> Span {
        self.decls[d.0 as usize].chunk
    }

    /// An item, parsed.
    pub fn parsed(&self, d: DeclId) -> Arc<Parsed> {
        let data = &self.decls[d.0 as usize];
        data.parsed
            .get_or_init(|| {
                let text = &self.files[data.file.0 as usize].text;
                Arc::new(parse_chunk(data.chunk.slice(text)))
            })
            .clone()
    }

    /// An item's kind, if it is a declaration of a known one.
    pub fn kind(&self, d: DeclId) -> Option<(&'static KindDef, &'static Slots)> {
        self.decls[d.0 as usize].kind
    }

    /// An item's name. A nameless declaration goes by `@` and its kind.
    pub fn name(&self, d: DeclId) -> Option<&SmolStr> {
        self.decls[d.0 as usize].name.as_ref()
    }

    /// Whether an item is a function: a `let` that takes values.
    pub fn is_function(&self, d: DeclId) -> bool {
        let data = &self.decls[d.0 as usize];
        data.takes && data.kind.is_some_and(|k| k.0.word == kinds::LET.word)
    }

    /// Whether an item is a pattern: a declaration that takes values and is no part itself.
    pub fn is_pattern(&self, d: DeclId) -> bool {
        let data = &self.decls[d.0 as usize];
        data.takes && data.kind.is_some_and(|k| k.0.word != kinds::LET.word)
    }

    /// The name of a parameter that an item fills in, by its place behind the kind's slots.
    pub(crate) fn filled(&self, d: DeclId, nth: usize) -> Option<&SmolStr> {
        self.decls[d.0 as usize].filled.get(nth)
    }

    /// Turns a place of the compiler into a place in a file.
    pub fn resolve(&self, local: &Local) -> Place {
        let at = |d: DeclId, span: Span| Place {
            file: self.file_of(d),
            span: span.shift(self.chunk(d).start),
        };
        match *local {
            Local::Span(d, span) | Local::Entry(d, span) | Local::NewEntry(d, span) => at(d, span),
            Local::Item(d) => at(d, self.parsed(d).item.span),
            Local::Head(d) => at(d, slots::head_span(&self.parsed(d).item)),
            Local::Slot(d, s) | Local::Rows(d, s) => at(d, slots::slot_span(self, d, s, false)),
            Local::Value(d, s) => at(d, slots::slot_span(self, d, s, true)),
            Local::File(file, span) => Place { file, span },
        }
    }

    /// Everything found in a file by what is settled, each with its places as the compiler has them, its own
    /// before those of its labels, in no order and with levels as declared.
    pub(crate) fn raw_findings(&self, file: FileId) -> Vec<(Finding<Place>, Vec<Local>)> {
        let mut out: Vec<(Finding<Place>, Vec<Local>)> = Vec::new();
        let mut push = |x: &Finding<Local>| {
            let places = std::iter::once(x.place).chain(x.labels.iter().map(|l| l.place));
            out.push((mend::finding(self, x), places.collect()));
        };
        let f = &self.files[file.0 as usize];
        if let Some((code, message, help)) = &f.trouble {
            let at = Local::File(file, Span::default());
            push(&Finding::new(code, at, message.clone()).help(help.clone()));
        }
        let rules = if f.std { &[][..] } else { f.settings.rules() };
        for path in rules.iter().filter(|p| self.file(p).is_none()) {
            let at = Local::File(file, Span::default());
            let message = format!(
                "the house rules `{path}`, which the settings name, are not there: this file was not judged by them"
            );
            push(
                &Finding::new(&kinds::every::RULES_MISSING, at, message)
                    .here("not judged by them")
                    .help(format!(
                        "mend `rules` in {}, or put the file there",
                        crate::settings::FILE_NAME
                    )),
            );
        }
        for d in &f.decls {
            let data = &self.decls[d.0 as usize];
            if !f.std || data.parsed.get().is_some() {
                for e in &self.parsed(*d).errors {
                    push(&check::syntax_finding(*d, e));
                }
            }
            let ixs = [data.check, data.house].into_iter();
            let ixs = ixs.chain(data.slots.iter().copied());
            for ix in ixs.filter(|ix| *ix != NONE) {
                if let Some(o) = &self.nodes[ix as usize].out {
                    o.findings.iter().for_each(&mut push);
                }
            }
        }
        if !self.cyclic.is_empty() {
            for x in self.cycle_findings() {
                if self.resolve(&x.place).file == file {
                    push(&x);
                }
            }
        }
        out
    }

    /// Whether something about an item waits to be looked at again, perhaps for a solved duty.
    pub fn waits(&self, d: DeclId) -> bool {
        self.pending.contains(&d)
    }

    /// One finding for each set of values that need each other, with the shortest way round.
    fn cycle_findings(&self) -> Vec<Finding<Local>> {
        let mut out = Vec::new();
        let mut done: FxHashSet<u32> = FxHashSet::default();
        let mut seeds: Vec<(String, Place, u32)> = self
            .cyclic
            .iter()
            .filter_map(|ix| self.node_key(*ix))
            .collect();
        seeds.sort();
        for (_, _, seed) in seeds {
            if done.contains(&seed) {
                continue;
            }
            // The circle is told from its first member by name, whoever was asked for first.
            let component = self.component(seed);
            let Some((_, _, seed)) = component.iter().filter_map(|ix| self.node_key(*ix)).min()
            else {
                continue;
            };
            done.extend(component);
            let Some(way) = self.way_back(seed) else {
                continue;
            };
            let names: Vec<String> = way.iter().filter_map(|ix| self.node_name(*ix)).collect();
            let shown = |k: usize| names.get(k).cloned().unwrap_or_default();
            // A long way round is told by its ends.
            let mut text = match names.len() {
                n if n > MOST_SHOWN => format!(
                    "{}` needs {} others, of which `{}",
                    names[..3].join("` needs `"),
                    n - 4,
                    shown(n - 1)
                ),
                _ => names.join("` needs `"),
            };
            text.push_str("` needs `");
            text.push_str(&shown(0));
            let Some(place) = self.node_place(seed) else {
                continue;
            };
            let mut f = Finding::new(
                &codes::CYCLE,
                place,
                format!("`{}` needs itself: `{text}`", shown(0)),
            )
            .here("needs itself")
            .help("give one of them a value of its own");
            for (k, ix) in way.iter().enumerate().skip(1).take(MOST_SHOWN) {
                if let Some(p) = self.node_place(*ix) {
                    let next = if k + 1 < names.len() { k + 1 } else { 0 };
                    f = f.label(p, format!("`{}` needs `{}`", shown(k), shown(next)));
                }
            }
            out.push(f);
        }
        out
    }

    fn node_name(&self, ix: u32) -> Option<String> {
        let Key::Slot(d, s) = &self.nodes[ix as usize].key else {
            return None;
        };
        Some(slots::slot_name(self, *d, *s))
    }

    /// Name and place of a slot's node: an order that does not depend on how the workspace came to be.
    fn node_key(&self, ix: u32) -> Option<(String, Place, u32)> {
        let place = self.resolve(&self.node_place(ix)?);
        Some((self.node_name(ix)?, place, ix))
    }

    fn node_place(&self, ix: u32) -> Option<Local> {
        let Key::Slot(d, s) = &self.nodes[ix as usize].key else {
            return None;
        };
        Some(Local::Value(*d, *s))
    }

    fn next_slots(&self, ix: u32) -> Vec<u32> {
        let mut next: Vec<(String, Place, u32)> = self.nodes[ix as usize]
            .deps
            .iter()
            .filter_map(|d| self.node_key(*d))
            .collect();
        next.sort();
        next.into_iter().map(|n| n.2).collect()
    }

    /// The shortest way from a node back to itself, by names where there are several.
    fn way_back(&self, start: u32) -> Option<Vec<u32>> {
        let mut from: FxHashMap<u32, u32> = FxHashMap::default();
        let mut queue = std::collections::VecDeque::from([start]);
        while let Some(n) = queue.pop_front() {
            for next in self.next_slots(n) {
                if next == start {
                    let mut way = vec![n];
                    while let Some(p) = from.get(&way[way.len() - 1]) {
                        way.push(*p);
                    }
                    way.reverse();
                    if way[0] != start {
                        way.insert(0, start);
                    }
                    way.dedup();
                    return Some(way);
                }
                if next != start && !from.contains_key(&next) {
                    from.insert(next, n);
                    queue.push_back(next);
                }
            }
        }
        None
    }

    /// All nodes that reach `seed` and are reached from it.
    fn component(&self, seed: u32) -> FxHashSet<u32> {
        let reach = |forward: bool| {
            let mut seen = FxHashSet::from_iter([seed]);
            let mut todo = vec![seed];
            while let Some(n) = todo.pop() {
                let node = &self.nodes[n as usize];
                let next: &[u32] = if forward { &node.deps } else { &node.rdeps };
                for x in next {
                    if seen.insert(*x) {
                        todo.push(*x);
                    }
                }
            }
            seen
        };
        let back = reach(false);
        reach(true).intersection(&back).copied().collect()
    }

    /// The settled value of a slot; `None` before it was computed.
    pub fn settled(&self, d: DeclId, slot: u16) -> Option<&Value> {
        let ix = *self.decls[d.0 as usize].slots.get(slot as usize)?;
        if ix == NONE {
            return None;
        }
        self.nodes[ix as usize].out.as_ref().map(|o| &o.value)
    }

    /// Looks into the workspace with an evaluation context: names, members, values. Solves what it needs.
    pub fn with<R>(&mut self, d: DeclId, f: impl FnOnce(&mut Cx<'_>) -> R) -> R {
        self.solving = true;
        self.stack.clear();
        let mut cx = Cx::new(self, d);
        f(&mut cx)
    }

    /// The declaration a plain name means in a file, or in the standard library for `std`.
    pub fn lookup(&self, file: FileId, name: &str) -> Option<DeclId> {
        self.files[file.0 as usize]
            .names
            .get(name)?
            .first()
            .copied()
    }

    /// A declaration of the standard library.
    pub fn library(&self, name: &str) -> Option<DeclId> {
        self.std_names.get(name).copied()
    }

    /// Names of a file's items.
    pub fn names_in(&self, file: FileId) -> impl Iterator<Item = (&SmolStr, DeclId)> {
        self.files[file.0 as usize]
            .names
            .iter()
            .filter(|(n, _)| n.as_str() != NAMELESS)
            .filter_map(|(n, d)| Some((n, *d.first()?)))
    }

    /// Names of the standard library.
    pub fn library_names(&self) -> impl Iterator<Item = (&SmolStr, DeclId)> {
        self.std_names.iter().map(|(n, d)| (n, *d))
    }

    /// Paths, relative to the root, that `use` lines of the workspace or its settings name and that are not loaded.
    pub fn wanted_files(&self) -> Vec<SmolStr> {
        let rules = self.settings.rules().into_iter();
        let mut out: Vec<SmolStr> = rules.filter(|p| self.file(p).is_none()).cloned().collect();
        for f in self.files.iter().filter(|f| f.live && !f.std) {
            for d in &f.decls {
                let data = &self.decls[d.0 as usize];
                let Some(p) = data.parsed.get() else { continue };
                if let ItemKind::Use { path, .. } = &p.item.kind
                    && let Ok(full) = paths::join(&f.path, &path.text)
                    && self.file(&full).is_none()
                {
                    out.push(full);
                }
            }
        }
        out.sort();
        out.dedup();
        out
    }
}

fn unknown() -> Arc<Out> {
    static UNKNOWN: OnceLock<Arc<Out>> = OnceLock::new();
    UNKNOWN
        .get_or_init(|| {
            Arc::new(Out {
                value: Value::Unknown,
                findings: Vec::new(),
            })
        })
        .clone()
}

/// Parses chunks, on all cores where there are many.
fn parse_all(parts: &[&str]) -> Vec<(Arc<Parsed>, Vec<SmolStr>)> {
    use rayon::prelude::*;
    let one = |p: &&str| {
        let raw = lex(p);
        (Arc::new(parse_tokens(p, &raw)), begins(p, &raw))
    };
    if parts.len() > 64 && rayon::current_thread_index().is_none() {
        parts.par_iter().map(one).collect()
    } else {
        parts.iter().map(one).collect()
    }
}

/// The words that stand before a dot and behind none, or behind `of`: whatever the grammar makes of them, nothing is taken
/// from a file otherwise.
fn begins(text: &str, raw: &[Raw]) -> Vec<SmolStr> {
    let mut out: Vec<SmolStr> = raw
        .iter()
        .enumerate()
        .filter(|(n, r)| {
            let before = n.checked_sub(1).and_then(|n| raw.get(n));
            let of = before.is_some_and(|b| b.kind == T::Word && b.span.slice(text) == "of");
            let dot = raw.get(n + 1).is_some_and(|b| b.kind == T::Dot);
            r.kind == T::Word && (of || dot && before.is_none_or(|b| b.kind != T::Dot))
        })
        .map(|(_, r)| SmolStr::new(r.span.slice(text)))
        .collect();
    out.sort_unstable();
    out.dedup();
    out
}

/// Stands in a file's table of names for every item whose name could not be read. No name is written like this.
const NAMELESS: &str = "@?";

/// What identifies an item.
#[derive(Clone)]
struct ItemHead {
    kind: Option<(&'static KindDef, &'static Slots)>,
    name: Option<SmolStr>,
    /// It has parameters.
    takes: bool,
    /// Its name could not be read, or is missing: a name that is not found may be its.
    nameless: bool,
}

impl ItemHead {
    fn of(parsed: &Parsed) -> Self {
        let (kind, name) = match &parsed.item.kind {
            ItemKind::Use { alias, .. } => (None, Some(alias.text.clone())),
            ItemKind::Let { name, .. } => (kind(kinds::LET.word), Some(name.text.clone())),
            ItemKind::Require(_) => (kind(kinds::REQUIRE.word), None),
            ItemKind::Decl(d) => (
                decl_kind(d),
                match &d.name {
                    Some(n) => Some(n.text.clone()),
                    None => Some(SmolStr::from(format!("@{}", d.kind.text))),
                },
            ),
            ItemKind::Accept(_) | ItemKind::Empty => (None, None),
        };
        let nameless = match &parsed.item.kind {
            ItemKind::Empty => !parsed.errors.is_empty(),
            ItemKind::Decl(d) => d.name.is_none() && kind.is_none_or(|k| !k.0.unnamed),
            _ => false,
        };
        Self {
            kind,
            name,
            takes: match &parsed.item.kind {
                ItemKind::Let { parameters, .. } => parameters.is_some(),
                ItemKind::Decl(d) => d.parameters.is_some(),
                _ => false,
            },
            nameless,
        }
    }

    /// Kind and name from the first words, without parsing: enough for the standard library.
    fn quick(text: &str) -> Self {
        let mut words = lex(text)
            .into_iter()
            .filter(|t| !t.kind.is_trivia())
            .map(|t| SmolStr::new(t.span.slice(text)));
        let k = words.next().unwrap_or_default();
        let name = words.next();
        Self {
            kind: kind(&k),
            name,
            nameless: false,
            takes: words.next().is_some_and(|w| w == "("),
        }
    }
}

fn decl_kind(d: &Decl) -> Option<(&'static KindDef, &'static Slots)> {
    if d.kind.text == kinds::LET.word || d.kind.text == kinds::REQUIRE.word {
        return None;
    }
    kind(&d.kind.text)
}

/// The bytes in which two texts differ: what is left when the common front and back are taken off.
fn changed_range(old: &str, new: &str) -> (Span, Span) {
    let (a, b) = (old.as_bytes(), new.as_bytes());
    let most = a.len().min(b.len());
    let mut front = common_prefix(a, b);
    while !old.is_char_boundary(front) || !new.is_char_boundary(front) {
        front -= 1;
    }
    let mut back = 0;
    while back < most - front && a[a.len() - 1 - back] == b[b.len() - 1 - back] {
        back += 1;
    }
    while !old.is_char_boundary(a.len() - back) || !new.is_char_boundary(b.len() - back) {
        back -= 1;
    }
    (
        Span::new(front, a.len() - back),
        Span::new(front, b.len() - back),
    )
}

fn common_prefix(a: &[u8], b: &[u8]) -> usize {
    // Whole blocks first: comparing slices is far faster than byte by byte.
    const BLOCK: usize = 256;
    let most = a.len().min(b.len());
    let mut at = 0;
    while at + BLOCK <= most && a[at..at + BLOCK] == b[at..at + BLOCK] {
        at += BLOCK;
    }
    while at < most && a[at] == b[at] {
        at += 1;
    }
    at
}

/// The declaration, slot and place in that slot's text (from 1) in which a toleranced number is written.
pub(crate) fn written_in(input: InputId) -> (DeclId, u16, u16) {
    // What `Cx::next_input` put together.
    let InputId(id) = input;
    (
        DeclId((id >> 32) as u32),
        (id >> 16 & 0xFFFF) as u16,
        (id & 0xFFFF) as u16,
    )
}

/// Whether an input was read outside of any slot: from what has none, when a database was looked into.
pub(crate) fn is_loose(input: InputId) -> bool {
    written_in(input).1 == u16::MAX
}

/// What an evaluation sees: the workspace through the item being evaluated, with every read recorded.
pub struct Cx<'a> {
    db: &'a mut Db,
    /// The item being evaluated.
    pub me: DeclId,
    /// What was found so far.
    pub findings: Vec<Finding<Local>>,
    /// Names that stand for one declaration after the other, in a rule over every one of a kind.
    pub(crate) bound: Vec<(SmolStr, DeclId)>,
    /// The item the node belongs to; `me` is another one while a house rule is looked at.
    home: DeclId,
    slot: u16,
    inputs: u16,
    /// Where names that are given from outside come from.
    pub(crate) scope: Scope,
}

/// What a text sees besides the names of its file: the values a function is given, or those of a pattern.
#[derive(Clone, Debug)]
pub(crate) struct Scope {
    /// The declaration whose parameters are meant where a pattern's text is read.
    pub subject: DeclId,
    /// The values the function being computed was given, by name.
    pub given: Option<Arc<[(SmolStr, Value)]>>,
    /// The functions being computed, outermost first.
    pub calls: Vec<DeclId>,
    /// How many calls were made for this value.
    pub made: u32,
    /// The pattern whose parameters are taken as unknown: to see what is wrong with it whatever they are.
    pub blank: Option<DeclId>,
}

impl<'a> Cx<'a> {
    fn new(db: &'a mut Db, me: DeclId) -> Self {
        Self {
            db,
            me,
            findings: Vec::new(),
            bound: Vec::new(),
            home: me,
            slot: u16::MAX,
            inputs: 0,
            scope: Scope {
                subject: me,
                given: None,
                calls: Vec::new(),
                made: 0,
                blank: None,
            },
        }
    }

    /// An id for the next toleranced number of this slot: the same wherever the text stands.
    pub fn next_input(&mut self) -> InputId {
        self.inputs = self.inputs.wrapping_add(1);
        InputId(u64::from(self.me.0) << 32 | u64::from(self.slot) << 16 | u64::from(self.inputs))
    }

    /// The slot being evaluated.
    pub(crate) fn my_slot(&self) -> u16 {
        self.slot
    }

    /// The item's text as parsed.
    pub fn item(&mut self, d: DeclId) -> Arc<Parsed> {
        let ix = self.db.decls[d.0 as usize].input;
        self.db.record(ix);
        self.db.parsed(d)
    }

    /// A declaration's kind; not a recorded read (whoever holds the id read the name that led to it).
    pub fn kind(&self, d: DeclId) -> Option<(&'static KindDef, &'static Slots)> {
        self.db.kind(d)
    }

    /// The word of a declaration's kind, or what else it is.
    pub fn kind_word(&self, d: DeclId) -> &'static str {
        self.db.kind(d).map_or("item", |k| k.0.word)
    }

    /// Whether an item is a function; like its kind, not a recorded read.
    pub fn is_function(&self, d: DeclId) -> bool {
        self.db.is_function(d)
    }

    /// Whether an item is a pattern for others; like its kind, not a recorded read.
    pub fn is_pattern(&self, d: DeclId) -> bool {
        self.db.is_pattern(d)
    }

    /// Notes what the parameters are called that an item fills in.
    pub(crate) fn note_filled(&mut self, d: DeclId, names: Vec<SmolStr>) {
        self.db.decls[d.0 as usize].filled = names;
    }

    /// A declaration's name for messages.
    pub fn name(&self, d: DeclId) -> SmolStr {
        match self.db.name(d) {
            Some(n) => n.trim_start_matches('@').into(),
            None => SmolStr::new_static("(unnamed)"),
        }
    }

    /// The file of a declaration.
    pub fn file_of(&self, d: DeclId) -> FileId {
        self.db.file_of(d)
    }

    /// The settings in force for the file that is told what is found.
    pub fn settings(&self) -> Arc<Settings> {
        self.db.settings_of(self.db.file_of(self.home)).clone()
    }

    /// The value of a slot by number.
    pub fn slot(&mut self, d: DeclId, slot: u16) -> Eval<Value> {
        if !self.db.decls[d.0 as usize].live {
            return Ok(Value::Unknown);
        }
        let ix = self.db.slot_node(d, slot);
        Ok(self.db.get(ix)?.value.clone())
    }

    /// The value of a slot by name (`bore`, `draft.lift`); `Absent` where the kind has no such slot.
    pub fn get(&mut self, d: DeclId, name: &str) -> Eval<Value> {
        match self.db.kind(d).and_then(|(_, s)| s.find(name)) {
            Some(slot) => self.slot(d, slot),
            None => Ok(Value::Absent),
        }
    }

    /// A quantity by name; `None` where it is absent or unknown.
    pub fn quantity(&mut self, d: DeclId, name: &str) -> Eval<Option<Quantity>> {
        Ok(match self.get(d, name)? {
            Value::Quantity(q) => Some(q),
            _ => None,
        })
    }

    /// A quantity's nominal value in SI units.
    pub fn si(&mut self, d: DeclId, name: &str) -> Eval<Option<f64>> {
        Ok(self.quantity(d, name)?.map(|q| q.si()))
    }

    /// One quantity of a phrase, nominal, in SI units.
    pub fn part(&mut self, d: DeclId, name: &str, part: &str) -> Eval<Option<f64>> {
        Ok(match self.get(d, name)? {
            Value::Phrase(parts) => parts.iter().find(|p| p.0 == part).map(|p| p.1.si()),
            _ => None,
        })
    }

    /// A word of a choice.
    pub fn choice(&mut self, d: DeclId, name: &str) -> Eval<Option<&'static str>> {
        Ok(match self.get(d, name)? {
            Value::Choice(w) => Some(w),
            _ => None,
        })
    }

    /// The declaration a field names.
    pub fn reference(&mut self, d: DeclId, name: &str) -> Eval<Option<DeclId>> {
        Ok(match self.get(d, name)? {
            Value::Decl(d) => Some(d),
            _ => None,
        })
    }

    /// The declarations a list field names.
    pub fn references(&mut self, d: DeclId, name: &str) -> Eval<Vec<DeclId>> {
        Ok(match self.get(d, name)? {
            Value::List(items) => items
                .iter()
                .filter_map(|v| match v {
                    Value::Decl(d) => Some(*d),
                    _ => None,
                })
                .collect(),
            Value::Decl(d) => vec![d],
            _ => Vec::new(),
        })
    }

    /// A table's content.
    pub fn table(&mut self, d: DeclId, name: &str) -> Eval<Option<Arc<crate::value::Table>>> {
        Ok(match self.get(d, name)? {
            Value::Table(t) => Some(t),
            _ => None,
        })
    }

    /// The place of a slot: the field as written, or the declaration's head where it is not written.
    pub fn place(&self, d: DeclId, name: &str) -> Local {
        match self.db.kind(d).and_then(|(_, s)| s.find(name)) {
            Some(slot) => Local::Value(d, slot),
            None => Local::Head(d),
        }
    }

    /// The value put in place of a part of a declaration's text, whose item was read with [`Cx::item`].
    pub(crate) fn pinned(&self, d: DeclId, part: &str) -> Option<Value> {
        if self.db.pins.is_empty() {
            return None;
        }
        self.db.pins.get(&(d, SmolStr::new(part))).cloned()
    }

    /// Reports a finding.
    pub fn report(&mut self, f: Finding<Local>) {
        self.findings.push(f);
    }

    /// Looks a name up in a file, recording that it was looked up.
    pub fn lookup(&mut self, file: FileId, name: &str) -> Option<DeclId> {
        if !self.db.files[file.0 as usize].std {
            let key = (file, SmolStr::new(name));
            let ix = match self.db.names.get(&key) {
                Some(ix) => *ix,
                None => {
                    let ix = self
                        .db
                        .new_node(Key::Name(file, key.1.clone()), State::Input);
                    self.db.names.insert(key, ix);
                    ix
                }
            };
            self.db.record(ix);
        }
        self.db.lookup(file, name)
    }

    /// Whether an item of the file, whose name could not be read, may be the one that `name` means: then nothing is
    /// said about the name, as what is wrong is said at the item.
    pub fn may_be_damaged(&mut self, file: FileId, name: &str) -> bool {
        self.lookup(file, NAMELESS).is_some() || self.lookup(file, &format!("@{name}")).is_some()
    }

    /// The names of a file's items, sorted, recording that they were read: for "did you mean".
    pub fn names_in(&mut self, file: FileId) -> Vec<SmolStr> {
        if !self.db.files[file.0 as usize].std {
            let ix = match self.db.name_sets.get(&file) {
                Some(ix) => *ix,
                None => {
                    let ix = self.db.new_node(Key::Names(file), State::Input);
                    self.db.name_sets.insert(file, ix);
                    ix
                }
            };
            self.db.record(ix);
        }
        let mut names: Vec<SmolStr> = self.db.names_in(file).map(|n| n.0.clone()).collect();
        names.sort();
        names
    }

    /// Whether a dotted path of a file begins with a name, recording that it was asked.
    pub fn begins_a_path(&mut self, file: FileId, name: &str) -> bool {
        let key = (file, SmolStr::new(name));
        let ix = match self.db.begins.get(&key) {
            Some(ix) => *ix,
            None => {
                let ix = self
                    .db
                    .new_node(Key::Begins(file, key.1.clone()), State::Input);
                self.db.begins.insert(key, ix);
                ix
            }
        };
        self.db.record(ix);
        self.db.files[file.0 as usize].begins.contains_key(name)
    }

    /// The declarations of a kind in a file, in order and without patterns, recording that they were listed; for
    /// the empty word the items that are no declarations of a known kind, `use` lines among them.
    pub fn of_kind(&mut self, file: FileId, word: &'static str) -> Vec<DeclId> {
        if !self.db.files[file.0 as usize].std {
            let lists = &self.db.files[file.0 as usize].lists;
            let ix = match lists.iter().find(|l| l.0 == word) {
                Some((_, ix)) => *ix,
                None => {
                    let ix = self.db.new_node(Key::OfKind(file, word), State::Input);
                    self.db.files[file.0 as usize].lists.push((word, ix));
                    ix
                }
            };
            self.db.record(ix);
        }
        self.db.listed(file, word)
    }

    /// Looks a file up by its path from the root, recording that it was.
    pub fn lookup_file(&mut self, path: &str) -> Option<FileId> {
        let ix = match self.db.paths.get(path) {
            Some(ix) => *ix,
            None => {
                let ix = self
                    .db
                    .new_node(Key::Path(SmolStr::new(path)), State::Input);
                self.db.paths.insert(SmolStr::new(path), ix);
                ix
            }
        };
        self.db.record(ix);
        self.db.file(path)
    }

    /// The workspace, for looks that need no recording (names for "did you mean").
    pub fn db(&self) -> &Db {
        self.db
    }

    /// Whether a newer edit has made this work pointless.
    pub fn cancelled(&self) -> bool {
        self.db.cancelled()
    }

    /// The flag that says so, for the solver to poll.
    pub fn cancel_flag(&self) -> Option<Arc<AtomicBool>> {
        self.db.cancel.clone()
    }
}
