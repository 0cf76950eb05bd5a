//! What stands at an offset, and where a path leads.
//!
//! [`spot`] goes from a file and an offset to the innermost named thing there: item, then entry, then
//! expression, then one name of a path. [`resolve`] says what a name of a path means, by the rules the evaluation
//! follows, but looking only at settled values: it computes nothing.

use cutwater_compiler::schema::{GroupDef, KindDef, Slot, Slots, TableDef, Type};
use cutwater_compiler::value::Value;
use cutwater_compiler::{Db, DeclId, kinds, library, paths, schema};
use cutwater_finding::{FileId, Place};
use cutwater_quantity::{Kind, parse_unit};
use cutwater_syntax::Parsed;
use cutwater_syntax::ast::{
    Accept, Access, Condition, Decl, Entry, EntryKind, Every, Expr, ExprKind, ItemKind, Name,
    Number, Path, Rule, Segment, Table,
};
use cutwater_text::Span;
use std::sync::Arc;

/// The item at an offset and what of it is there.
#[derive(Clone, Debug)]
pub struct Spot {
    /// The item.
    pub decl: DeclId,
    /// The field, group field or table it stands in, if any.
    pub slot: Option<u16>,
    /// What is there.
    pub thing: Thing,
    /// Its bytes, in the file.
    pub span: Span,
}

/// A named thing of a text.
#[derive(Clone, Debug)]
pub enum Thing {
    /// The word of a kind, `pump`; also `let`, `require` and `use`.
    KindWord(String),
    /// The name an item is declared by.
    DeclName,
    /// The name of a field where it is written.
    Field(String),
    /// The name of a block of fields.
    Group(String),
    /// The name of a table.
    Table(String),
    /// The name of a column, and its table.
    Column(String, String),
    /// A unit as written.
    Unit(String),
    /// A number, with its unit and tolerance.
    Number,
    /// A tolerance class as written, and the size it stands behind, in metres, where that is a length.
    Class(String, Option<f64>),
    /// A date or a text.
    Literal,
    /// The name with this index in a path. `decls`: the path is looked up among declarations alone.
    Name {
        /// The whole path; its spans count from the chunk's start.
        path: Path,
        /// Which of its names.
        index: usize,
        /// Whether fields of the item itself are no candidates.
        decls: bool,
    },
    /// A name behind an element of a list: the list, and the steps up to and with that name.
    Element {
        /// The path to the list.
        list: Path,
        /// The steps behind it.
        steps: Vec<Access>,
    },
    /// A word of a choice field.
    Choice(String),
    /// A built-in function.
    Function(String),
    /// A parameter where a function or pattern declares it.
    Parameter(String),
    /// A parameter where it is filled in behind `like`.
    Argument(String),
    /// The path of a `use` line.
    UsePath(String),
    /// The name a chain gives to a station.
    Station(String),
    /// A word after a station of a chain: `rise`, `fall`, `lines`.
    Modifier(String),
}

/// The item whose chunk holds an offset.
pub fn item_at(db: &Db, file: FileId, offset: usize) -> Option<DeclId> {
    let decls = db.decls(file);
    let after = decls.partition_point(|d| db.chunk(*d).start as usize <= offset);
    decls.get(after.checked_sub(1)?).copied()
}

/// The innermost named thing at an offset.
pub fn spot(db: &Db, file: FileId, offset: usize) -> Option<Spot> {
    let offset = offset.min(db.text(file).len());
    let decl = item_at(db, file, offset)?;
    let chunk = db.chunk(decl);
    let parsed = db.parsed(decl);
    let mut find = Find {
        kind: db.kind(decl),
        at: u32::try_from(offset)
            .unwrap_or(u32::MAX)
            .saturating_sub(chunk.start),
        slot: None,
        text: chunk.slice(db.text(file)),
    };
    let (mut thing, span) = find.item(&parsed)?;
    // A function of the file's goes before the built-in one.
    if let Thing::Function(name) = &thing
        && db.lookup(file, name).is_some_and(|d| db.is_function(d))
    {
        let text = name.as_str().into();
        let names = vec![Name { text, span }];
        thing = Thing::Name {
            path: Path { names, span },
            index: 0,
            decls: true,
        };
    }
    Some(Spot {
        decl,
        slot: find.slot,
        thing,
        span: span.shift(chunk.start),
    })
}

type Got = Option<(Thing, Span)>;

struct Find<'t> {
    kind: Option<(&'static KindDef, &'static Slots)>,
    at: u32,
    slot: Option<u16>,
    text: &'t str,
}

impl Find<'_> {
    fn on(&self, span: Span) -> bool {
        span.touches(self.at as usize)
    }

    fn name(&self, n: &Name, thing: impl FnOnce(String) -> Thing) -> Got {
        self.on(n.span).then(|| (thing(n.text.to_string()), n.span))
    }

    fn find_slot(&self, name: &str) -> Option<u16> {
        self.kind.and_then(|(_, s)| s.find(name))
    }

    /// The word at the start of an item, where no tree node holds it.
    fn first_word(&self, item: Span) -> Got {
        let text = item.slice(self.text);
        let len = text.find(|c: char| !c.is_alphanumeric() && c != '_')?;
        let span = Span::new(item.start as usize, item.start as usize + len);
        self.on(span)
            .then(|| (Thing::KindWord(text[..len].to_owned()), span))
    }

    fn item(&mut self, parsed: &Arc<Parsed>) -> Got {
        let item = &parsed.item;
        match &item.kind {
            ItemKind::Use { path, alias } => {
                if self.on(path.span) {
                    return Some((Thing::UsePath(path.text.to_string()), path.span));
                }
                self.name(alias, |_| Thing::DeclName)
                    .or_else(|| self.first_word(item.span))
            }
            ItemKind::Let {
                name,
                value,
                parameters,
            } => {
                if let Some(got) = self.name(name, |_| Thing::DeclName) {
                    return Some(got);
                }
                let mut list = parameters.iter().flatten();
                if let Some(got) = list.find_map(|p| self.name(p, Thing::Parameter)) {
                    return Some(got);
                }
                if self.on(value.span) {
                    self.slot = Some(0);
                    return self.expr(value, false);
                }
                self.first_word(item.span)
            }
            ItemKind::Require(r) => r
                .every
                .as_ref()
                .and_then(|e| self.every(e))
                .or_else(|| self.condition(&r.condition))
                .or_else(|| self.first_word(item.span)),
            ItemKind::Accept(a) => self.accept(a).or_else(|| self.first_word(item.span)),
            ItemKind::Decl(d) => self.decl(d),
            ItemKind::Empty => None,
        }
    }

    fn condition(&self, c: &Condition) -> Got {
        self.expr(&c.value, false).or_else(|| match &c.rule {
            Rule::Compare(_, e) | Rule::Within(e) | Rule::Is { value: e, .. } => {
                self.expr(e, false)
            }
            Rule::Error => None,
        })
    }

    fn every(&self, e: &Every) -> Got {
        let one = |n: &Name| Thing::Name {
            path: Path {
                names: vec![n.clone()],
                span: n.span,
            },
            index: 0,
            decls: false,
        };
        self.name(&e.kind, Thing::KindWord)
            .or_else(|| self.name(&e.name, |_| one(&e.name)))
            .or_else(|| e.of.as_ref().and_then(|p| self.path(p, true)))
            .or_else(|| e.filters.iter().find_map(|c| self.condition(c)))
    }

    fn accept(&self, a: &Accept) -> Got {
        let literal = |span: Span| self.on(span).then_some((Thing::Literal, span));
        a.because
            .as_ref()
            .and_then(|b| literal(b.span))
            .or_else(|| a.until.as_ref().and_then(|u| literal(u.span)))
    }

    fn decl(&mut self, d: &Decl) -> Got {
        if let Some(got) = self.name(&d.kind, Thing::KindWord) {
            return Some(got);
        }
        if let Some(got) = d
            .name
            .as_ref()
            .and_then(|n| self.name(n, |_| Thing::DeclName))
        {
            return Some(got);
        }
        for p in [&d.like, &d.of].into_iter().flatten() {
            if let Some(got) = self.path(p, true) {
                return Some(got);
            }
        }
        let mut list = d.parameters.iter().flatten();
        if let Some(got) = list.find_map(|p| self.name(&p.name, Thing::Parameter)) {
            return Some(got);
        }
        let mut list = d.arguments.iter().flatten();
        if let Some(got) = list.find_map(|a| self.name(&a.name, Thing::Argument)) {
            return Some(got);
        }
        let defaults = d
            .parameters
            .iter()
            .flatten()
            .filter_map(|p| p.value.as_ref());
        let arguments = d.arguments.iter().flatten().map(|a| &a.value);
        if let Some(got) = defaults.chain(arguments).find_map(|e| self.expr(e, false)) {
            return Some(got);
        }
        self.entries(&d.entries, "")
    }

    fn entries(&mut self, entries: &[Entry], group: &str) -> Got {
        let after = entries.partition_point(|e| e.span.start <= self.at);
        // The entry that begins last before the offset, and the one before it where they touch.
        for e in entries[..after].iter().rev().take(2) {
            if self.on(e.span)
                && let Some(got) = self.entry(e, group)
            {
                return Some(got);
            }
        }
        None
    }

    fn entry(&mut self, e: &Entry, group: &str) -> Got {
        let full = |n: &str| {
            if group.is_empty() {
                n.to_owned()
            } else {
                format!("{group}.{n}")
            }
        };
        match &e.kind {
            EntryKind::Field { name, value } => {
                let full = full(&name.text);
                self.slot = self.find_slot(&full);
                self.name(name, |_| Thing::Field(full))
                    .or_else(|| self.field_value(value))
            }
            EntryKind::Group { name, entries, .. } => self
                .name(name, Thing::Group)
                .or_else(|| self.entries(entries, &name.text)),
            EntryKind::Table(t) => {
                self.slot = self.find_slot(&t.name.text);
                self.table(t)
            }
            EntryKind::Chain(segments) => segments
                .iter()
                .rfind(|s| self.at >= s.span.start)
                .and_then(|s| self.segment(s)),
            EntryKind::Hold { target, value } => {
                self.path(target, false).or_else(|| self.expr(value, false))
            }
            EntryKind::Accept(a) => self.accept(a),
            EntryKind::Error => None,
        }
    }

    fn field_value(&mut self, value: &Expr) -> Got {
        let got = self.expr(value, false)?;
        let ty = self.slot.and_then(|s| {
            let (_, slots) = self.kind?;
            match slots.list.get(s as usize)?.1 {
                Slot::Field(f) | Slot::GroupField(_, f) => Some(f.ty),
                _ => None,
            }
        });
        Some(match (got, ty) {
            ((Thing::Name { path, .. }, span), Some(Type::Choice(_))) if path.names.len() == 1 => {
                (Thing::Choice(path.names[0].text.to_string()), span)
            }
            ((Thing::Name { path, index, .. }, span), Some(Type::Ref(_) | Type::RefList(_))) => (
                Thing::Name {
                    path,
                    index,
                    decls: true,
                },
                span,
            ),
            (got, _) => got,
        })
    }

    fn table(&mut self, t: &Table) -> Got {
        if let Some(got) = self.name(&t.name, Thing::Table) {
            return Some(got);
        }
        if let Some(at) = &t.at
            && let Some(got) = self.expr(at, false)
        {
            return Some(got);
        }
        for c in &t.columns {
            if let Some(got) = self.name(&c.name, |n| Thing::Column(t.name.text.to_string(), n)) {
                return Some(got);
            }
            if let Some(got) = c.unit.as_ref().and_then(|u| self.name(u, Thing::Unit)) {
                return Some(got);
            }
        }
        if !self.on(t.body) {
            return None;
        }
        t.rows.iter().filter(|r| self.on(r.span)).find_map(|r| {
            let k = r.cells.iter().position(|c| self.on(c.span))?;
            let column = t.columns.get(k)?;
            Some((
                Thing::Column(t.name.text.to_string(), column.name.text.to_string()),
                r.cells[k].span,
            ))
        })
    }

    fn segment(&mut self, s: &Segment) -> Got {
        if let Some(got) = s.label.as_ref().and_then(|l| self.name(l, Thing::Station)) {
            return Some(got);
        }
        if let Some(got) = s.amount.as_ref().and_then(|a| self.expr(a, false)) {
            return Some(got);
        }
        if let Some(got) = self.path(&s.what, true) {
            return Some(got);
        }
        for m in &s.modifiers {
            if let Some(got) = self.name(&m.word, Thing::Modifier) {
                return Some(got);
            }
            if let Some(got) = self.expr(&m.value, false) {
                return Some(got);
            }
        }
        None
    }

    fn path(&self, p: &Path, decls: bool) -> Got {
        let index = p.names.iter().position(|n| self.on(n.span))?;
        Some((
            Thing::Name {
                path: p.clone(),
                index,
                decls,
            },
            p.names[index].span,
        ))
    }

    fn expr(&self, e: &Expr, decls: bool) -> Got {
        if !self.on(e.span) {
            return None;
        }
        match &e.kind {
            ExprKind::Number(n) => self.number(n, e.span),
            ExprKind::Date { .. } | ExprKind::Text(_) => Some((Thing::Literal, e.span)),
            ExprKind::Path(p) => self.path(p, decls),
            ExprKind::Call {
                function,
                arguments,
            } => self
                .function(function)
                .or_else(|| arguments.iter().find_map(|a| self.expr(a, false))),
            ExprKind::Element(list, steps) => self.path(list, decls).or_else(|| {
                steps.iter().enumerate().find_map(|(k, s)| match s {
                    Access::Index(x) => self.expr(x, false),
                    Access::Member(n) if self.on(n.span) => Some((
                        Thing::Element {
                            list: list.clone(),
                            steps: steps[..=k].to_vec(),
                        },
                        n.span,
                    )),
                    Access::Member(_) => None,
                })
            }),
            ExprKind::List(items) => items.iter().find_map(|x| self.expr(x, decls)),
            ExprKind::Negative(x) => self.expr(x, false),
            ExprKind::Sum(first, rest) | ExprKind::Product(first, rest) => self
                .expr(first, false)
                .or_else(|| rest.iter().find_map(|(_, x)| self.expr(x, false))),
            ExprKind::Power(a, b) | ExprKind::Range(a, b) => {
                self.expr(a, false).or_else(|| self.expr(b, false))
            }
            ExprKind::Of(amount, what) => {
                self.expr(amount, false).or_else(|| self.path(what, true))
            }
            ExprKind::Phrase(first, rest) => self
                .expr(first, false)
                .or_else(|| rest.iter().find_map(|(_, x)| self.expr(x, false))),
            ExprKind::Error => None,
        }
    }

    fn function(&self, p: &Path) -> Got {
        match p.names.as_slice() {
            [one] => self.name(one, Thing::Function),
            _ => self.path(p, true),
        }
    }

    fn number(&self, n: &Number, span: Span) -> Got {
        if let Some(class) = &n.class
            && self.on(class.span)
        {
            let unit = n.unit.as_ref().and_then(|u| parse_unit(&u.text).ok());
            let size = unit
                .filter(|u| u.kind() == Kind::Length)
                .map(|u| u.to_si(n.value));
            return Some((Thing::Class(class.text.to_string(), size), class.span));
        }
        let in_tolerance = n.tolerance.as_ref().and_then(|t| t.unit.as_ref());
        for unit in [n.unit.as_ref(), in_tolerance].into_iter().flatten() {
            // The digits win where both touch: `5in` asked at the `5`.
            if self.on(unit.span) && !(n.digits.touches(self.at as usize)) {
                return Some((Thing::Unit(unit.text.to_string()), unit.span));
            }
        }
        Some((Thing::Number, span))
    }
}

/// What a name of a path means.
#[derive(Clone, Debug)]
pub enum Target {
    /// An item.
    Item(DeclId),
    /// A field, group field, table or computed property of an item.
    Slot(DeclId, u16),
    /// A block of fields of an item.
    Group(DeclId, &'static GroupDef),
    /// A file brought in by `use`.
    File(FileId),
    /// The standard library as such.
    Library,
    /// A station of a lay: the lay, the bytes of its name in the lay's chunk, and its values where a duty was
    /// asked and is solved.
    Station(DeclId, Span, Option<Value>),
    /// A part of a value: its value where settled.
    Part(Option<Value>),
    /// The name that stands for each declaration of a kind in turn: the rule, the bytes of the name in the rule's
    /// chunk, and the kind.
    Each(DeclId, Span, &'static KindDef),
    /// A field or computed property of each declaration of a kind.
    EachSlot(&'static KindDef, u16),
    /// A parameter of a function or pattern, and the bytes of its name in that item's chunk.
    Parameter(DeclId, Span),
}

/// The parameters of a function or pattern: the name of each, and its default's bytes where it has one.
pub fn parameters(parsed: &Parsed) -> Vec<(&Name, Option<Span>)> {
    match &parsed.item.kind {
        ItemKind::Let { parameters, .. } => {
            parameters.iter().flatten().map(|n| (n, None)).collect()
        }
        ItemKind::Decl(d) => d
            .parameters
            .iter()
            .flatten()
            .map(|p| (&p.name, p.value.as_ref().map(|v| v.span)))
            .collect(),
        _ => Vec::new(),
    }
}

/// A parameter of an item by name.
pub fn parameter(db: &Db, d: DeclId, name: &str) -> Option<Target> {
    let parsed = db.parsed(d);
    let list = parameters(&parsed);
    let (n, _) = list.iter().find(|p| p.0.text == name)?;
    Some(Target::Parameter(d, n.span))
}

/// The declaration that an item is `like`.
pub fn like_base(db: &Db, d: DeclId) -> Option<DeclId> {
    let parsed = db.parsed(d);
    let ItemKind::Decl(x) = &parsed.item.kind else {
        return None;
    };
    let like = x.like.as_ref()?;
    match resolve_from(db, d, like, like.names.len() - 1, true)? {
        Target::Item(b) if b != d => Some(b),
        _ => None,
    }
}

/// What the name `index` of a path in an item leads to, as far as that is settled.
pub fn resolve(db: &Db, owner: DeclId, path: &Path, index: usize, decls: bool) -> Option<Target> {
    if let Some(t) = parameter(db, owner, &path.names.first()?.text) {
        // What is behind a parameter is not known before it is filled in.
        return (index == 0).then_some(t);
    }
    resolve_from(db, owner, path, index, decls)
}

fn resolve_from(db: &Db, owner: DeclId, path: &Path, index: usize, decls: bool) -> Option<Target> {
    let file = db.file_of(owner);
    let first = path.names.first()?;
    let mut at = 0;
    let own = if decls {
        None
    } else {
        db.kind(owner)
            .and_then(|(k, s)| own_target(owner, k, s, path))
    };
    let mut target = if let Some(t) = each(db, owner, &first.text) {
        t
    } else if let Some((t, used)) = own {
        if index < used {
            return Some(match t {
                Target::Slot(..) if used == 2 && index == 0 => {
                    let (k, _) = db.kind(owner)?;
                    Target::Group(owner, k.groups.iter().find(|g| g.name == first.text)?)
                }
                t => t,
            });
        }
        at = used - 1;
        t
    } else if let Some(span) = station(db, owner, &first.text) {
        Target::Station(owner, span, None)
    } else if first.text == library::NAME {
        Target::Library
    } else if let Some(d) = find_item(db, file, &first.text) {
        item_target(db, d)
    } else {
        // A station seen from a duty.
        member(db, &Target::Item(owner), path, 0)?.0
    };
    while at < index {
        let (next, used) = member(db, &target, path, at + 1)?;
        if at + used > index {
            // In the middle of `group.field`.
            if let (Target::Slot(d, _), 2) = (&next, used) {
                let (k, _) = db.kind(*d)?;
                let name = &path.names[index].text;
                return Some(Target::Group(*d, k.groups.iter().find(|g| g.name == name)?));
            }
            return Some(next);
        }
        target = next;
        at += used;
    }
    Some(target)
}

/// The name of a rule over every declaration of a kind.
fn each(db: &Db, rule: DeclId, name: &str) -> Option<Target> {
    let parsed = db.parsed(rule);
    let ItemKind::Require(r) = &parsed.item.kind else {
        return None;
    };
    let every = r.every.as_ref().filter(|e| e.name.text == name)?;
    let (kind, _) = schema::kind(&every.kind.text).filter(|k| k.0.is_part())?;
    Some(Target::Each(rule, every.name.span, kind))
}

fn own_target(
    owner: DeclId,
    kind: &'static KindDef,
    slots: &'static Slots,
    path: &Path,
) -> Option<(Target, usize)> {
    let first = path.names.first()?.text.as_str();
    if let Some(slot) = slots.find(first) {
        let table = matches!(slots.list[slot as usize].1, Slot::Table(_));
        // A `let` has a slot of its own, which no path of it means.
        let plain = kind.word == kinds::LET.word || kind.word == kinds::REQUIRE.word;
        return (!table && !plain).then_some((Target::Slot(owner, slot), 1));
    }
    kind.groups.iter().find(|g| g.name == first)?;
    let second = path.names.get(1)?;
    let slot = slots.find(&format!("{first}.{}", second.text))?;
    Some((Target::Slot(owner, slot), 2))
}

/// The item a name means in a file; the word of a kind means the nameless declaration of it.
pub fn find_item(db: &Db, file: FileId, name: &str) -> Option<DeclId> {
    db.lookup(file, name).or_else(|| {
        let (kind, _) = schema::kind(name)?;
        kind.unnamed
            .then(|| db.lookup(file, &format!("@{name}")))
            .flatten()
    })
}

/// The item itself, or the file where it is a `use` line.
fn item_target(db: &Db, d: DeclId) -> Target {
    match used_file(db, d) {
        Some(f) => Target::File(f),
        None => Target::Item(d),
    }
}

/// The file a `use` line brings in, if it is there.
pub fn used_file(db: &Db, d: DeclId) -> Option<FileId> {
    match &db.parsed(d).item.kind {
        ItemKind::Use { path, .. } => {
            let full = paths::join(db.path(db.file_of(d)), &path.text).ok()?;
            db.file(&full)
        }
        _ => None,
    }
}

/// The place of a station's name in a lay, from its chunk's start: where it is given.
fn station(db: &Db, lay: DeclId, name: &str) -> Option<Span> {
    let (kind, _) = db.kind(lay)?;
    if !kind.chains {
        return None;
    }
    let parsed = db.parsed(lay);
    let ItemKind::Decl(d) = &parsed.item.kind else {
        return None;
    };
    d.entries.iter().find_map(|e| match &e.kind {
        EntryKind::Chain(segments) => segments
            .iter()
            .filter_map(|s| s.label.as_ref())
            .find(|l| l.text == name)
            .map(|l| l.span),
        _ => None,
    })
}

/// One step along a path: what the name at `index` is within `target`, and how many names that took.
fn member(db: &Db, target: &Target, path: &Path, index: usize) -> Option<(Target, usize)> {
    let name = path.names.get(index)?;
    match target {
        Target::Library => Some((Target::Item(db.library(&name.text)?), 1)),
        Target::File(f) => Some((Target::Item(db.lookup(*f, &name.text)?), 1)),
        Target::Item(d) => {
            let (kind, slots) = db.kind(*d)?;
            if kind.word == kinds::LET.word {
                return value_member(db, db.settled(*d, 0)?, path, index);
            }
            if let Some(slot) = slots.find(&name.text) {
                return Some((Target::Slot(*d, slot), 1));
            }
            if let Some(g) = kind.groups.iter().find(|g| g.name == name.text) {
                return Some(match path.names.get(index + 1) {
                    Some(second) => match slots.find(&format!("{}.{}", g.name, second.text)) {
                        Some(slot) => (Target::Slot(*d, slot), 2),
                        None => (Target::Group(*d, g), 1),
                    },
                    None => (Target::Group(*d, g), 1),
                });
            }
            // A station of this lay, or of the lay that a field of this item names.
            if let Some(span) = station(db, *d, &name.text) {
                return Some((Target::Station(*d, span, None), 1));
            }
            let settled = |k: usize| db.settled(*d, k as u16);
            let record = (0..slots.list.len())
                .filter_map(settled)
                .find_map(|v| named_record(v, &name.text));
            let place = (0..slots.list.len()).filter_map(settled).find_map(|v| {
                let Value::Decl(lay) = v else { return None };
                Some((*lay, station(db, *lay, &name.text)?))
            });
            match place {
                Some((lay, span)) => Some((Target::Station(lay, span, record), 1)),
                None => Some((Target::Part(Some(record?)), 1)),
            }
        }
        Target::Slot(d, slot) => match db.settled(*d, *slot)? {
            Value::Decl(other) => member(db, &Target::Item(*other), path, index),
            v => value_member(db, v, path, index),
        },
        Target::Part(Some(v)) => value_member(db, v, path, index),
        Target::Station(_, _, Some(v)) => value_member(db, v, path, index),
        Target::Station(_, _, None) => Some((Target::Part(None), 1)),
        Target::Each(_, _, k) => {
            let (_, slots) = schema::kind(k.word)?;
            if let Some(slot) = slots.find(&name.text) {
                return Some((Target::EachSlot(k, slot), 1));
            }
            let second = path.names.get(index + 1)?;
            let slot = slots.find(&format!("{}.{}", name.text, second.text))?;
            Some((Target::EachSlot(k, slot), 2))
        }
        Target::Group(..) | Target::Part(None) | Target::EachSlot(..) | Target::Parameter(..) => {
            None
        }
    }
}

/// The record of this name in a list of named records.
fn named_record(v: &Value, name: &str) -> Option<Value> {
    let Value::List(items) = v else { return None };
    items
        .iter()
        .find(|item| match item {
            Value::Record(r) => r
                .fields
                .iter()
                .any(|(n, v)| n == "name" && matches!(v, Value::Text(t) if t == name)),
            _ => false,
        })
        .cloned()
}

/// The names of an item that are no slots of it: stations of a lay, records of a result.
pub(crate) fn named_parts(db: &Db, d: DeclId) -> Vec<String> {
    let Some((_, slots)) = db.kind(d) else {
        return Vec::new();
    };
    let mut out = Vec::new();
    for v in (0..slots.list.len()).filter_map(|k| db.settled(d, k as u16)) {
        let Value::List(items) = v else { continue };
        for item in items.iter() {
            if let Value::Record(r) = item {
                out.extend(r.name().map(ToString::to_string));
            }
        }
    }
    out
}

/// What a name behind an element of a list means.
pub fn resolve_element(db: &Db, owner: DeclId, list: &Path, steps: &[Access]) -> Option<Target> {
    let mut target = resolve(db, owner, list, list.names.len() - 1, false)?;
    let mut k = 0;
    while k < steps.len() {
        match &steps[k] {
            Access::Index(e) => {
                let ExprKind::Number(n) = &e.kind else {
                    return None;
                };
                let nth = (n.value as usize).checked_sub(1)?;
                let value = match &target {
                    Target::Item(d) => db.settled(*d, 0)?.clone(),
                    Target::Slot(d, s) => db.settled(*d, *s)?.clone(),
                    Target::Part(Some(v)) => v.clone(),
                    _ => return None,
                };
                target = match value {
                    Value::List(items) => match items.get(nth)? {
                        Value::Decl(d) => Target::Item(*d),
                        v => Target::Part(Some(v.clone())),
                    },
                    Value::Table(t) if nth < t.rows => {
                        Target::Part(Some(Value::Record(Arc::new(t.row(nth)))))
                    }
                    _ => return None,
                };
                k += 1;
            }
            Access::Member(_) => {
                let names: Vec<Name> = steps[k..]
                    .iter()
                    .map_while(|s| match s {
                        Access::Member(n) => Some(n.clone()),
                        Access::Index(_) => None,
                    })
                    .collect();
                let span = names.first()?.span;
                let (next, used) = member(db, &target, &Path { names, span }, 0)?;
                target = next;
                k += used;
            }
        }
    }
    Some(target)
}

fn value_member(db: &Db, value: &Value, path: &Path, index: usize) -> Option<(Target, usize)> {
    let name = path.names.get(index)?.text.as_str();
    let part = match value {
        Value::Phrase(parts) => parts
            .iter()
            .find(|p| p.0 == name)
            .map(|p| Value::Quantity(p.1.clone())),
        Value::Record(r) => r.fields.iter().find(|f| f.0 == name).map(|f| f.1.clone()),
        Value::Piece(p) if name == "length" => Some(Value::Quantity(p.length.clone())),
        Value::Piece(p) => return member(db, &Target::Item(p.of), path, index),
        Value::Decl(d) => return member(db, &Target::Item(*d), path, index),
        Value::Table(t) => t.part(name),
        Value::Range(_) if matches!(name, "low" | "high") => None,
        _ => return None,
    };
    Some((Target::Part(part), 1))
}

/// The bytes of an item's name, in its file; of its kind's word where it has none.
pub fn name_place(db: &Db, d: DeclId) -> Place {
    let parsed = db.parsed(d);
    let span = match &parsed.item.kind {
        ItemKind::Use { alias, .. } => alias.span,
        ItemKind::Let { name, .. } => name.span,
        ItemKind::Require(r) => r.condition.value.span,
        ItemKind::Accept(a) => a.code.span,
        ItemKind::Decl(x) => x.name.as_ref().map_or(x.kind.span, |n| n.span),
        ItemKind::Empty => parsed.item.span,
    };
    Place {
        file: db.file_of(d),
        span: span.shift(db.chunk(d).start),
    }
}

/// The bytes of an item from its first to its last token, in its file.
pub fn item_place(db: &Db, d: DeclId) -> Place {
    Place {
        file: db.file_of(d),
        span: db.parsed(d).item.span.shift(db.chunk(d).start),
    }
}

/// The entry that writes a field (`bore`, `draft.lift`) or table of an item.
pub fn written<'p>(parsed: &'p Parsed, slot_name: &str) -> Option<&'p Entry> {
    fn among<'e>(entries: &'e [Entry], name: &str) -> Option<&'e Entry> {
        entries.iter().find(|e| match &e.kind {
            EntryKind::Field { name: n, .. } => n.text == name,
            EntryKind::Table(t) => t.name.text == name,
            _ => false,
        })
    }
    let ItemKind::Decl(d) = &parsed.item.kind else {
        return None;
    };
    match slot_name.split_once('.') {
        None => among(&d.entries, slot_name),
        Some((group, field)) => d.entries.iter().find_map(|e| match &e.kind {
            EntryKind::Group { name, entries, .. } if name.text == group => among(entries, field),
            _ => None,
        }),
    }
}

/// The declaration that a field, block or table of an item is inherited from; `None` where it is its own or nobody's.
pub fn inherited(db: &Db, d: DeclId, slot_name: &str) -> Option<DeclId> {
    if written(&db.parsed(d), slot_name).is_some() {
        return None;
    }
    let mut line = vec![d];
    while let Some(b) = line.last().and_then(|x| like_base(db, *x)) {
        if line.contains(&b) || db.kind(b).map(|k| k.0.word) != db.kind(d).map(|k| k.0.word) {
            return None;
        }
        if written(&db.parsed(b), slot_name).is_some() {
            return Some(b);
        }
        line.push(b);
    }
    None
}

/// The table's definition behind a slot.
pub fn table_of(
    kind: Option<(&'static KindDef, &'static Slots)>,
    name: &str,
) -> Option<&'static TableDef> {
    kind?.0.tables.iter().find(|t| t.name == name)
}
