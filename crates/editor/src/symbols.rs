//! The outline of a file.

use cutwater_compiler::Db;
use cutwater_finding::FileId;
use cutwater_syntax::ast::{Entry, EntryKind, ItemKind};
use cutwater_text::Span;

/// What a symbol is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SymbolKind {
    /// A file brought in by `use`.
    File,
    /// A named value.
    Value,
    /// A rule.
    Rule,
    /// A declaration.
    Declaration,
    /// A field.
    Field,
    /// A block of fields.
    Group,
    /// A table.
    Table,
    /// A station of a lay.
    Station,
}

/// A named part of a file. Spans are in the file; `name` lies inside `whole`.
#[derive(Clone, PartialEq, Debug)]
pub struct Symbol {
    /// Its name.
    pub text: String,
    /// A word or two on it: the kind of a declaration, the value of a field as written.
    pub detail: String,
    /// What it is.
    pub kind: SymbolKind,
    /// All of it.
    pub whole: Span,
    /// Its name's place.
    pub name: Span,
    /// What is inside.
    pub children: Vec<Symbol>,
}

/// The outline of a file, in its order.
pub fn symbols(db: &Db, file: FileId) -> Vec<Symbol> {
    let mut out = Vec::new();
    for d in db.decls(file) {
        let chunk = db.chunk(*d);
        let source = chunk.slice(db.text(file));
        let parsed = db.parsed(*d);
        let item = &parsed.item;
        let make = |text: String, detail: String, kind, name: Span, children| Symbol {
            text,
            detail,
            kind,
            whole: item.span.join(name).shift(chunk.start),
            name: name.shift(chunk.start),
            children,
        };
        let symbol = match &item.kind {
            ItemKind::Use { path, alias } => make(
                alias.text.to_string(),
                path.text.to_string(),
                SymbolKind::File,
                alias.span,
                Vec::new(),
            ),
            ItemKind::Let { name, value, .. } => make(
                name.text.to_string(),
                one_line(value.span.slice(source)),
                SymbolKind::Value,
                name.span,
                Vec::new(),
            ),
            ItemKind::Require(r) => make(
                one_line(r.condition.value.span.slice(source)),
                "require".to_owned(),
                SymbolKind::Rule,
                r.condition.value.span,
                Vec::new(),
            ),
            ItemKind::Decl(x) => {
                let mut children = Vec::new();
                entries(&x.entries, source, chunk.start, &mut children);
                let name = x.name.as_ref().unwrap_or(&x.kind);
                make(
                    name.text.to_string(),
                    x.kind.text.to_string(),
                    SymbolKind::Declaration,
                    name.span,
                    children,
                )
            }
            ItemKind::Accept(_) | ItemKind::Empty => continue,
        };
        // A name that recovery left empty has nothing to show.
        if !symbol.text.trim().is_empty() {
            out.push(symbol);
        }
    }
    out
}

fn entries(list: &[Entry], source: &str, shift: u32, out: &mut Vec<Symbol>) {
    for e in list {
        let mut push = |text: &str, detail: String, kind, name: Span, whole: Span, children| {
            if !text.trim().is_empty() {
                out.push(Symbol {
                    text: text.to_owned(),
                    detail,
                    kind,
                    whole: whole.join(name).shift(shift),
                    name: name.shift(shift),
                    children,
                });
            }
        };
        match &e.kind {
            EntryKind::Field { name, value } => push(
                &name.text,
                one_line(value.span.slice(source)),
                SymbolKind::Field,
                name.span,
                e.span,
                Vec::new(),
            ),
            EntryKind::Group {
                name, entries: x, ..
            } => {
                let mut children = Vec::new();
                entries(x, source, shift, &mut children);
                push(
                    &name.text,
                    String::new(),
                    SymbolKind::Group,
                    name.span,
                    e.span,
                    children,
                );
            }
            EntryKind::Table(t) => push(
                &t.name.text,
                format!("{} rows", t.rows.len()),
                SymbolKind::Table,
                t.name.span,
                e.span,
                Vec::new(),
            ),
            EntryKind::Chain(segments) => {
                for s in segments {
                    if let Some(l) = &s.label {
                        push(
                            &l.text,
                            s.what.text(),
                            SymbolKind::Station,
                            l.span,
                            s.span,
                            Vec::new(),
                        );
                    }
                }
            }
            EntryKind::Hold { target, value } => push(
                &format!("hold {}", target.text()),
                one_line(value.span.slice(source)),
                SymbolKind::Field,
                target.span,
                e.span,
                Vec::new(),
            ),
            EntryKind::Accept(_) | EntryKind::Error => {}
        }
    }
}

/// A piece of text on one line, shortened where it is long.
fn one_line(text: &str) -> String {
    const MOST: usize = 60;
    let flat: Vec<&str> = text.split_whitespace().collect();
    let flat = flat.join(" ");
    match flat.char_indices().nth(MOST) {
        Some((at, _)) => format!("{}…", &flat[..at]),
        None => flat,
    }
}
