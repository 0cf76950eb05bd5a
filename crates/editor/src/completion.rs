//! What may be written at an offset.
//!
//! The text there is usually broken, so this looks at the tokens before the offset, not at the tree: which block
//! they stand in, and what the last of them wants.

use crate::at::{Target, item_at, parameters, resolve};
use crate::hover::{short, signature, type_text};
use cutwater_compiler::schema::{ColumnType, FieldDef, KindDef, Slot, Type, kind, kinds};
use cutwater_compiler::value::Value;
use cutwater_compiler::{Db, DeclId, eval, library};
use cutwater_finding::FileId;
use cutwater_quantity::{Kind, units, units_for};
use cutwater_syntax::ast::{ItemKind, Name, Path};
use cutwater_syntax::token::{Raw, T, lex};
use cutwater_text::Span;
use smol_str::SmolStr;

/// What a completion is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum CompletionKind {
    /// The word that begins an item or entry.
    Keyword,
    /// A field, block, table or column.
    Field,
    /// A computed property.
    Computed,
    /// A declaration.
    Declaration,
    /// A file brought in by `use`.
    File,
    /// A unit.
    Unit,
    /// A word of a choice.
    Word,
    /// A function.
    Function,
}

/// One thing that may be written.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Completion {
    /// Shown and written.
    pub label: String,
    /// Written instead of the label, where that is more.
    pub insert: Option<String>,
    /// A few words.
    pub detail: String,
    /// Markdown.
    pub doc: String,
    /// What it is.
    pub kind: CompletionKind,
}

/// What may be written at an offset, and the bytes of the word it replaces.
pub fn completions(db: &Db, file: FileId, offset: usize) -> (Span, Vec<Completion>) {
    let text = db.text(file);
    let mut offset = offset.min(text.len());
    while !text.is_char_boundary(offset) {
        offset -= 1;
    }
    let none = (Span::at(offset), Vec::new());
    let Some(decl) = item_at(db, file, offset) else {
        return none;
    };
    let start = db.chunk(decl).start as usize;
    let before = &text[start..offset];
    let mut tokens: Vec<Raw> = lex(before);
    if let Some(t) = tokens.last()
        && (matches!(t.kind, T::OpenText) || t.kind.is_trivia() && t.kind != T::Newline)
    {
        return none;
    }
    // The word being written.
    let mut prefix = Span::at(offset);
    if let Some(t) = tokens.last()
        && t.kind == T::Word
        && t.span.end as usize == before.len()
    {
        prefix = t.span.shift(start as u32);
        tokens.pop();
    }
    let look = Look {
        db,
        file,
        decl,
        text: before,
        tokens,
    };
    let mut out = look.all();
    out.sort_by(|a, b| (a.kind as u8, &a.label).cmp(&(b.kind as u8, &b.label)));
    out.dedup_by(|a, b| a.label == b.label);
    (prefix, out)
}

struct Look<'a> {
    db: &'a Db,
    file: FileId,
    decl: DeclId,
    text: &'a str,
    tokens: Vec<Raw>,
}

fn plain(label: &str, kind: CompletionKind, detail: String, doc: &str) -> Completion {
    Completion {
        label: label.to_owned(),
        insert: None,
        detail,
        doc: doc.to_owned(),
        kind,
    }
}

impl Look<'_> {
    fn word(&self, t: &Raw) -> &str {
        t.span.slice(self.text)
    }

    fn all(&self) -> Vec<Completion> {
        let last = self
            .tokens
            .iter()
            .rposition(|t| !t.kind.is_trivia() || t.kind == T::Newline);
        let last = last.map(|i| (i, self.tokens[i]));
        if let Some((i, t)) = last
            && t.kind == T::Dot
        {
            return self.after_dot(i);
        }
        let open = self.open_blocks();
        let begins = last.is_none_or(|(_, t)| {
            matches!(t.kind, T::Newline | T::Semicolon | T::LBrace) || t.kind.is_trivia()
        });
        let kind_def = self.kind_of_item();
        if begins {
            return match (open.as_slice(), kind_def) {
                ([], _) => items(),
                ([_], Some(k)) => self.entries(k),
                ([_, group], Some(k)) => self.group_fields(k, group),
                _ => Vec::new(),
            };
        }
        let Some((i, t)) = last else {
            return Vec::new();
        };
        let field = self.field_of_line(i, &open, kind_def);
        match t.kind {
            T::Number | T::Fraction => self.units(field),
            T::Equals => self.values(field),
            T::Colon if open.is_empty() => self.rule_values(),
            T::Arrow | T::Colon => self.names(&["hose", "nozzle", "appliance", "pump"], true),
            T::Word => match self.word(&t) {
                "of" if self.each().is_some() => self.names(&[], false),
                "of" => match field.map(|f| f.ty) {
                    Some(Type::Piece(kinds)) => self.names(kinds, true),
                    _ => self.names(&["hose", "pump"], true),
                },
                "like" => kind_def.map_or_else(Vec::new, |k| {
                    let mut out = self.names(&[k.word], true);
                    out.extend(self.patterns(k.word));
                    out
                }),
                "every" if open.is_empty() => kinds()
                    .iter()
                    .filter(|k| k.is_part())
                    .map(|k| plain(k.word, CompletionKind::Keyword, String::new(), k.doc))
                    .collect(),
                "is" if open.is_empty() => self.asked_words(i),
                "not" if open.is_empty() => self.tokens[..i]
                    .iter()
                    .rposition(|t| t.kind == T::Word && self.word(t) == "is")
                    .map_or_else(Vec::new, |is| self.asked_words(is)),
                "require" | "within" | "where" | "and" if open.is_empty() => self.rule_values(),
                "require" | "within" => self.values(None),
                _ => Vec::new(),
            },
            T::LParen | T::Comma if open.len() == 1 && self.in_columns(i).is_some() => {
                let name = self.in_columns(i).unwrap_or_default();
                let table = kind_def.and_then(|k| k.tables.iter().find(|t| t.name == name));
                table.map_or_else(Vec::new, |t| {
                    t.columns
                        .iter()
                        .map(|c| plain(c.name, CompletionKind::Field, column(c.ty), c.doc))
                        .collect()
                })
            }
            T::LParen
            | T::Comma
            | T::LBracket
            | T::Plus
            | T::Minus
            | T::Star
            | T::Slash
            | T::Caret
            | T::DotDot => self.values(field),
            _ => Vec::new(),
        }
    }

    /// The kind of the item being written, from its first word.
    fn kind_of_item(&self) -> Option<&'static KindDef> {
        if let Some((k, _)) = self.db.kind(self.decl) {
            return Some(k);
        }
        let first = self.tokens.iter().find(|t| t.kind == T::Word)?;
        kind(self.word(first)).map(|k| k.0)
    }

    /// Names before the `{` that are open here, outermost first.
    fn open_blocks(&self) -> Vec<String> {
        let mut open: Vec<String> = Vec::new();
        let mut word = String::new();
        for t in &self.tokens {
            match t.kind {
                T::Word => word = self.word(t).to_owned(),
                T::LBrace => open.push(std::mem::take(&mut word)),
                T::RBrace => {
                    open.pop();
                }
                _ => {}
            }
        }
        open
    }

    /// The field whose value is being written at the token `i`.
    fn field_of_line(
        &self,
        i: usize,
        open: &[String],
        kind: Option<&'static KindDef>,
    ) -> Option<&'static FieldDef> {
        let kind = kind?;
        let at = self.tokens[..=i]
            .iter()
            .rposition(|t| matches!(t.kind, T::Equals | T::Newline | T::Semicolon | T::LBrace))?;
        if self.tokens[at].kind != T::Equals {
            return None;
        }
        let name = self.word(self.tokens.get(at.checked_sub(1)?)?);
        match open {
            [_] => kind.fields.iter().find(|f| f.name == name),
            [_, g] => kind
                .groups
                .iter()
                .find(|x| x.name == g)?
                .fields
                .iter()
                .find(|f| f.name == name),
            _ => None,
        }
    }

    /// The table whose columns are being written at the token `i`.
    fn in_columns(&self, i: usize) -> Option<String> {
        let open = self.tokens[..=i]
            .iter()
            .rposition(|t| t.kind == T::LParen)?;
        let line = self.tokens[..open]
            .iter()
            .rposition(|t| matches!(t.kind, T::Newline | T::LBrace | T::Semicolon | T::RBrace))
            .map_or(0, |x| x + 1);
        let first = self.tokens.get(line)?;
        let equals = self.tokens[line..open].iter().any(|t| t.kind == T::Equals);
        (first.kind == T::Word && !equals).then(|| self.word(first).to_owned())
    }

    fn after_dot(&self, dot: usize) -> Vec<Completion> {
        // The names before the dot, in order.
        let mut names: Vec<Name> = Vec::new();
        let mut i = dot;
        while let Some(t) = i.checked_sub(1).and_then(|k| self.tokens.get(k)) {
            if t.kind != T::Word {
                break;
            }
            names.insert(
                0,
                Name {
                    text: SmolStr::new(self.word(t)),
                    span: t.span,
                },
            );
            match i.checked_sub(2).and_then(|k| self.tokens.get(k)) {
                Some(d) if d.kind == T::Dot => i -= 2,
                _ => break,
            }
        }
        let Some(last) = names.len().checked_sub(1) else {
            return Vec::new();
        };
        let path = Path {
            span: names[0].span.join(names[last].span),
            names,
        };
        if let Some((k, name)) = self.each()
            && name == path.names[0].text
        {
            return match path.names.as_slice() {
                [_] => self.kind_members(k),
                [_, group] => self.group_fields_of(k, &group.text),
                _ => Vec::new(),
            };
        }
        match resolve(self.db, self.decl, &path, last, false) {
            Some(Target::Library) => self
                .db
                .library_names()
                .map(|(n, d)| self.declaration(n, d, ""))
                .collect(),
            Some(Target::File(f)) => self
                .db
                .names_in(f)
                .filter(|n| !n.0.starts_with('@'))
                .map(|(n, d)| self.declaration(n, d, ""))
                .collect(),
            Some(Target::Item(d)) => self.members(d),
            Some(Target::Slot(d, slot)) => match self.db.settled(d, slot) {
                Some(v) => self.value_members(v),
                None => Vec::new(),
            },
            Some(Target::Part(Some(v))) => self.value_members(&v),
            Some(Target::Group(_, g)) => g
                .fields
                .iter()
                .map(|f| plain(f.name, CompletionKind::Field, type_text(f.ty), f.doc))
                .collect(),
            Some(Target::Station(_, _, Some(v))) => self.value_members(&v),
            Some(Target::Each(_, _, k)) => self.kind_members(k),
            Some(
                Target::Station(..)
                | Target::Part(None)
                | Target::EachSlot(..)
                | Target::Parameter(..),
            )
            | None => Vec::new(),
        }
    }

    fn value_members(&self, v: &Value) -> Vec<Completion> {
        let part = |n: &str| plain(n, CompletionKind::Field, String::new(), "");
        match v {
            Value::Decl(d) => self.members(*d),
            Value::Piece(p) => {
                let mut out = self.members(p.of);
                out.push(part("length"));
                out
            }
            Value::Phrase(parts) => parts.iter().map(|p| part(p.0)).collect(),
            Value::Record(r) => r.fields.iter().map(|f| part(&f.0)).collect(),
            Value::Range(_) => vec![part("low"), part("high")],
            _ => Vec::new(),
        }
    }

    /// The fields, blocks and computed properties of an item.
    fn members(&self, d: DeclId) -> Vec<Completion> {
        let Some((k, _)) = self.db.kind(d) else {
            return Vec::new();
        };
        if k.word == cutwater_compiler::kinds::LET.word {
            return self
                .db
                .settled(d, 0)
                .map_or_else(Vec::new, |v| self.value_members(v));
        }
        let mut out = self.kind_members(k);
        for name in crate::at::named_parts(self.db, d) {
            out.push(plain(&name, CompletionKind::Field, String::new(), ""));
        }
        out
    }

    /// The fields, blocks and computed properties of a kind.
    fn kind_members(&self, k: &'static KindDef) -> Vec<Completion> {
        let Some((_, slots)) = kind(k.word) else {
            return Vec::new();
        };
        let mut out: Vec<Completion> = k
            .groups
            .iter()
            .map(|g| plain(g.name, CompletionKind::Field, "block".to_owned(), g.doc))
            .collect();
        for (name, slot) in &slots.list {
            match slot {
                Slot::Field(f) => {
                    out.push(plain(name, CompletionKind::Field, type_text(f.ty), f.doc));
                }
                Slot::Computed(c) => out.push(plain(
                    name,
                    CompletionKind::Computed,
                    c.formula.to_owned(),
                    c.doc,
                )),
                Slot::GroupField(..) | Slot::Table(_) => {}
            }
        }
        out
    }

    /// The fields of a block.
    fn group_fields_of(&self, k: &'static KindDef, group: &str) -> Vec<Completion> {
        let fields = k.groups.iter().filter(|g| g.name == group);
        fields
            .flat_map(|g| g.fields)
            .map(|f| plain(f.name, CompletionKind::Field, type_text(f.ty), f.doc))
            .collect()
    }

    /// The kind and the name of the rule being written, where it is one over every declaration of a kind.
    fn each(&self) -> Option<(&'static KindDef, &str)> {
        let words: Vec<&Raw> = self
            .tokens
            .iter()
            .filter(|t| !t.kind.is_trivia())
            .take(5)
            .collect();
        let [require, for_, every, k, name] = words.as_slice() else {
            return None;
        };
        let begins = [(require, "require"), (for_, "for"), (every, "every")];
        if begins.iter().any(|(t, w)| self.word(t) != *w) || name.kind != T::Word {
            return None;
        }
        let (k, _) = kind(self.word(k)).filter(|k| k.0.is_part())?;
        Some((k, self.word(name)))
    }

    /// What may stand in a rule where a value begins: as everywhere, and the name that stands for each.
    fn rule_values(&self) -> Vec<Completion> {
        let mut out = self.values(None);
        if let Some((k, name)) = self.each() {
            let detail = format!("each {} in turn", k.word);
            out.push(plain(name, CompletionKind::Declaration, detail, k.doc));
        }
        out
    }

    /// The words that a value before `is` or `is not` may be.
    fn asked_words(&self, is: usize) -> Vec<Completion> {
        let mut out = vec![plain(
            "given",
            CompletionKind::Word,
            String::new(),
            "It has a value.",
        )];
        let field = is
            .checked_sub(1)
            .and_then(|i| self.tokens[..=i].iter().rfind(|t| !t.kind.is_trivia()))
            .filter(|t| t.kind == T::Word)
            .map(|t| self.word(t));
        let types = kinds().iter().flat_map(|k| {
            let fields = k.fields.iter().map(|f| (f.name, f.ty));
            fields.chain(k.computed.iter().map(|c| (c.name, c.ty)))
        });
        for (name, ty) in types {
            if Some(name) != field {
                continue;
            }
            match ty {
                Type::Choice(words) => out.extend(
                    words
                        .iter()
                        .map(|(w, doc)| plain(w, CompletionKind::Word, String::new(), doc)),
                ),
                Type::Truth => out.extend(
                    ["yes", "no"].map(|w| plain(w, CompletionKind::Word, String::new(), "")),
                ),
                Type::Ref(kinds) => out.extend(self.names(kinds, true)),
                _ => {}
            }
        }
        out
    }

    fn entries(&self, k: &'static KindDef) -> Vec<Completion> {
        let parsed = self.db.parsed(self.decl);
        let has = |name: &str| crate::at::written(&parsed, name).is_some();
        let mut out = Vec::new();
        for f in k
            .fields
            .iter()
            .filter(|f| !has(f.name) && self.goes(k, f.name))
        {
            out.push(field(f));
        }
        for g in k.groups.iter().filter(|g| self.goes(k, g.name)) {
            out.push(Completion {
                insert: Some(format!("{} {{", g.name)),
                ..plain(g.name, CompletionKind::Field, "block".to_owned(), g.doc)
            });
        }
        for t in k
            .tables
            .iter()
            .filter(|t| !has(t.name) && self.goes(k, t.name))
        {
            out.push(plain(
                t.name,
                CompletionKind::Field,
                "table".to_owned(),
                t.doc,
            ));
        }
        if k.holds {
            out.push(plain(
                "hold",
                CompletionKind::Keyword,
                "hold path = value".to_owned(),
                "What is held at a value, such as a nozzle's pressure.",
            ));
        }
        if k.chains {
            out.extend(self.names(&["pump", "hose", "appliance", "nozzle"], true));
        }
        out
    }

    /// Whether a field goes with the choice made; where none is made, all do.
    fn goes(&self, k: &'static KindDef, name: &str) -> bool {
        let Some(only) = k.only_of(name) else {
            return true;
        };
        let slot = self
            .db
            .kind(self.decl)
            .and_then(|(_, s)| s.find(only.field));
        match slot.and_then(|s| self.db.settled(self.decl, s)) {
            Some(Value::Choice(w)) => only.words.contains(w),
            _ => true,
        }
    }

    fn group_fields(&self, k: &'static KindDef, group: &str) -> Vec<Completion> {
        let parsed = self.db.parsed(self.decl);
        k.groups
            .iter()
            .filter(|g| g.name == group)
            .flat_map(|g| g.fields)
            .filter(|f| crate::at::written(&parsed, &format!("{group}.{}", f.name)).is_none())
            .map(field)
            .collect()
    }

    fn units(&self, field: Option<&'static FieldDef>) -> Vec<Completion> {
        let make = |u: &cutwater_quantity::Unit| {
            plain(u.symbol, CompletionKind::Unit, u.plural.to_owned(), u.doc)
        };
        let wanted: Option<Kind> = match field.map(|f| f.ty) {
            Some(Type::Quantity(k, _) | Type::Range(k)) => Some(k),
            Some(Type::Piece(_)) => Some(Kind::Length),
            Some(Type::Phrase(parts)) => {
                return parts
                    .iter()
                    .flat_map(|p| units_for(p.kind))
                    .map(make)
                    .collect();
            }
            _ => None,
        };
        match wanted {
            Some(k) => units_for(k).map(make).collect(),
            None => units().iter().map(make).collect(),
        }
    }

    /// What may stand where a value is wanted.
    fn values(&self, field: Option<&'static FieldDef>) -> Vec<Completion> {
        match field.map(|f| f.ty) {
            Some(Type::Choice(words)) => words
                .iter()
                .map(|(w, doc)| plain(w, CompletionKind::Word, String::new(), doc))
                .collect(),
            Some(Type::Ref(kinds) | Type::RefList(kinds)) => self.names(kinds, true),
            Some(Type::Text | Type::Date) => Vec::new(),
            _ => {
                let mut out = self.names(&[], false);
                if let Some((k, slots)) = self.db.kind(self.decl) {
                    for (name, slot) in &slots.list {
                        if k.word == cutwater_compiler::kinds::LET.word {
                            break;
                        }
                        if let Slot::Field(f) = slot
                            && Some(f.name) != field.map(|x| x.name)
                        {
                            out.push(plain(name, CompletionKind::Field, type_text(f.ty), f.doc));
                        }
                    }
                }
                out.extend(self.functions());
                out.extend(self.parameters());
                for (name, form, doc) in eval::FUNCTIONS {
                    out.push(Completion {
                        insert: Some(format!("{name}(")),
                        ..plain(name, CompletionKind::Function, (*form).to_owned(), doc)
                    });
                }
                out
            }
        }
    }

    /// Names of the file, of these kinds where some are given; files; and the library's, where `std`.
    fn names(&self, wanted: &[&str], std: bool) -> Vec<Completion> {
        let fits = |d: DeclId| {
            // Neither a pattern nor a function is a part or a value.
            if self.db.is_pattern(d) || self.db.is_function(d) {
                return false;
            }
            wanted.is_empty()
                || self
                    .db
                    .kind(d)
                    .is_some_and(|(k, _)| wanted.contains(&k.word))
        };
        let mut out = vec![plain(
            library::NAME,
            CompletionKind::File,
            "the standard library".to_owned(),
            "",
        )];
        for (n, d) in self.db.names_in(self.file) {
            let is_use = matches!(self.db.parsed(d).item.kind, ItemKind::Use { .. });
            if !n.starts_with('@') && (is_use || d != self.decl && fits(d)) {
                out.push(self.declaration(n, d, ""));
            }
        }
        if std {
            for (n, d) in self.db.library_names().filter(|(_, d)| fits(*d)) {
                out.push(self.declaration(n, d, "std."));
            }
        }
        out
    }

    /// Patterns of a kind that may be filled in here, with what they must be given.
    fn patterns(&self, word: &str) -> Vec<Completion> {
        let fits = |d: DeclId| {
            d != self.decl
                && self.db.is_pattern(d)
                && self.db.kind(d).is_some_and(|k| k.0.word == word)
        };
        let mut out = Vec::new();
        for (n, d) in self.db.names_in(self.file) {
            if fits(d) {
                out.push(self.declaration(n, d, ""));
            }
            // Those of a file that is brought in go by its name.
            if let Some(f) = crate::at::used_file(self.db, d) {
                for (inner, x) in self.db.names_in(f).filter(|i| fits(i.1)) {
                    out.push(self.declaration(inner, x, &format!("{n}.")));
                }
            }
        }
        for (n, d) in self.db.library_names().filter(|i| fits(i.1)) {
            out.push(self.declaration(n, d, "std."));
        }
        out
    }

    /// Functions of the file, and of those it brings in.
    fn functions(&self) -> Vec<Completion> {
        let mut out = Vec::new();
        for (n, d) in self.db.names_in(self.file) {
            if self.db.is_function(d) && d != self.decl {
                out.push(self.declaration(n, d, ""));
            }
            if let Some(f) = crate::at::used_file(self.db, d) {
                for (inner, x) in self.db.names_in(f).filter(|i| self.db.is_function(i.1)) {
                    out.push(self.declaration(inner, x, &format!("{n}.")));
                }
            }
        }
        out
    }

    /// Parameters of the item being written.
    fn parameters(&self) -> Vec<Completion> {
        let parsed = self.db.parsed(self.decl);
        parameters(&parsed)
            .iter()
            .map(|p| plain(&p.0.text, CompletionKind::Field, "parameter".to_owned(), ""))
            .collect()
    }

    fn declaration(&self, name: &str, d: DeclId, before: &str) -> Completion {
        let parsed = self.db.parsed(d);
        let detail = short(self.db, self.db.file_of(d), name).unwrap_or_default();
        let kind = match parsed.item.kind {
            ItemKind::Use { .. } => CompletionKind::File,
            _ if self.db.is_function(d) => CompletionKind::Function,
            _ => CompletionKind::Declaration,
        };
        let label = format!("{before}{name}");
        if self.db.is_function(d) {
            return Completion {
                insert: Some(format!("{label}(")),
                ..plain(&label, kind, signature(&parsed, name), &parsed.item.doc)
            };
        }
        if self.db.is_pattern(d) {
            let needed: Vec<String> = parameters(&parsed)
                .iter()
                .filter(|p| p.1.is_none())
                .map(|p| format!("{} = ", p.0.text))
                .collect();
            return Completion {
                insert: Some(format!("{label}({}", needed.first().map_or("", |n| n))),
                ..plain(&label, kind, signature(&parsed, name), &parsed.item.doc)
            };
        }
        plain(&label, kind, detail, &parsed.item.doc)
    }
}

fn column(ty: ColumnType) -> String {
    match ty {
        ColumnType::Quantity(k) | ColumnType::Signed(k) => k.name().into_owned(),
        ColumnType::Text => "text".to_owned(),
    }
}

fn field(f: &FieldDef) -> Completion {
    Completion {
        insert: Some(format!("{} = ", f.name)),
        ..plain(f.name, CompletionKind::Field, type_text(f.ty), f.doc)
    }
}

/// The words that begin an item.
fn items() -> Vec<Completion> {
    let mut out: Vec<Completion> = kinds()
        .iter()
        .map(|k| plain(k.word, CompletionKind::Keyword, String::new(), k.doc))
        .collect();
    out.push(plain(
        "use",
        CompletionKind::Keyword,
        "use \"parts/hose.pump\" as stock".to_owned(),
        "Brings in another file.",
    ));
    out
}
