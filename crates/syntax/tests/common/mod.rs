//! What several tests share: the file with every construct, and views of a tree without its places.

#![allow(dead_code)]

use cutwater_syntax::ast::*;
use cutwater_syntax::split::split;
use cutwater_syntax::token::{T, lex};
use cutwater_syntax::{Parsed, parse_chunk};
use std::path::{Path as FilePath, PathBuf};

/// A file that uses every construct once; its numbers are invented.
pub const EVERY_CONSTRUCT: &str = include_str!("../data/every_construct.pump");

/// The chunks of a file with what they parse to.
pub fn parse_file(text: &str) -> Vec<(&str, Parsed)> {
    split(text)
        .iter()
        .map(|c| {
            let source = c.span.slice(text);
            (source, parse_chunk(source))
        })
        .collect()
}

/// Tokens and comments in order, with one spelling for signs that have several.
pub fn said(text: &str) -> Vec<String> {
    lex(text)
        .iter()
        .filter(|r| !matches!(r.kind, T::Newline | T::Semicolon))
        .map(|r| match r.kind {
            T::PlusMinus => "±".to_owned(),
            T::Arrow => "->".to_owned(),
            T::Minus => "-".to_owned(),
            T::Star => "*".to_owned(),
            T::AtLeast => ">=".to_owned(),
            T::AtMost => "<=".to_owned(),
            _ => r.span.slice(text).trim_end().to_owned(),
        })
        // A unit keeps its signs; elsewhere they are spelled one way.
        .map(|t| t.replace(['·', '⋅', '×'], "*"))
        .collect()
}

/// What each chunk of a file says.
pub fn meanings(text: &str) -> Vec<String> {
    parse_file(text).iter().map(|(_, p)| meaning(p)).collect()
}

/// Cases for each law; `CUTWATER_CASES` asks for more.
pub fn cases() -> u32 {
    std::env::var("CUTWATER_CASES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(1500)
}

fn pump_files(folder: &FilePath, out: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> = std::fs::read_dir(folder)
        .expect("the folder is part of the project")
        .map(|e| e.expect("an entry").path())
        .collect();
    entries.sort();
    for e in entries {
        if e.is_dir() {
            pump_files(&e, out);
        } else if e.extension().is_some_and(|x| x == "pump") {
            out.push(e);
        }
    }
}

/// Name and text of each file the project ships: the examples, the demo and the library.
pub fn shipped() -> Vec<(String, String)> {
    let root = FilePath::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let mut files = Vec::new();
    for folder in ["examples", "demo-data", "crates/compiler/src/std"] {
        pump_files(&root.join(folder), &mut files);
    }
    assert!(files.len() > 20);
    files
        .into_iter()
        .map(|f| {
            let text = std::fs::read_to_string(&f).expect("a file of the project");
            let name = f.strip_prefix(&root).expect("below the root");
            (name.display().to_string(), text)
        })
        .collect()
}

/// One part of a block: a field, a chain, a table's head, a row, or what could not be read.
#[derive(Clone, Debug, PartialEq)]
pub struct Leaf {
    /// What it says, without places and blanks.
    pub means: String,
    /// Lines of the chunk it stands on, first and last.
    pub lines: (usize, usize),
}

/// All leaves of a declaration in order.
pub fn leaves(source: &str, item: &ItemKind) -> Vec<Leaf> {
    let mut out = Vec::new();
    if let ItemKind::Decl(d) = item {
        block_leaves(source, "", &d.entries, &mut out);
    }
    out
}

fn line(source: &str, offset: u32) -> usize {
    source[..offset as usize].matches('\n').count()
}

fn block_leaves(source: &str, inside: &str, entries: &[Entry], out: &mut Vec<Leaf>) {
    for e in entries {
        let lines = (line(source, e.span.start), line(source, e.span.end));
        let mut leaf = |means: String| {
            out.push(Leaf {
                means: format!("{inside}{means}"),
                lines,
            });
        };
        match &e.kind {
            EntryKind::Group { name, entries, .. } => {
                block_leaves(source, &format!("{inside}{}/", name.text), entries, out);
            }
            EntryKind::Table(t) => {
                let head = (lines.0, line(source, t.head.end));
                let means = format!(
                    "{inside}table {} {:?} {}",
                    t.name.text,
                    t.at.as_ref().map(expr),
                    columns(t)
                );
                out.push(Leaf { means, lines: head });
                for r in &t.rows {
                    out.push(Leaf {
                        means: format!("{inside}{} row {}", t.name.text, row(r)),
                        lines: (line(source, r.span.start), line(source, r.span.end)),
                    });
                }
            }
            EntryKind::Error => leaf("?".to_owned()),
            other => leaf(entry(other)),
        }
    }
}

/// What an item says, without places: two texts that say the same give the same.
pub fn meaning(parsed: &Parsed) -> String {
    let kind = item_meaning(&parsed.item.kind);
    format!("{:?} {:?} {kind}", parsed.file_doc, parsed.item.doc)
}

/// What an item says, without places and without the notes before it.
pub fn item_meaning(kind: &ItemKind) -> String {
    match kind {
        ItemKind::Use { path, alias } => format!("use {:?} as {}", path.text, alias.text),
        ItemKind::Let {
            name,
            parameters,
            value,
        } => {
            let parameters: Option<Vec<&str>> = parameters
                .as_ref()
                .map(|p| p.iter().map(|n| n.text.as_str()).collect());
            let parameters = parameters.map_or(String::new(), |p| format!("({})", p.join(", ")));
            format!("let {}{parameters} = {}", name.text, expr(value))
        }
        ItemKind::Require(r) => format!(
            "require {}{} because {:?}",
            r.every.as_ref().map_or(String::new(), |e| format!(
                "every {} {} of {:?} where {:?}: ",
                e.kind.text,
                e.name.text,
                e.of.as_ref().map(Path::text),
                e.filters.iter().map(condition).collect::<Vec<_>>()
            )),
            condition(&r.condition),
            r.because.as_ref().map(|b| &b.text)
        ),
        ItemKind::Decl(d) => format!(
            "{} {:?}{} like {:?}{} of {:?} {}",
            d.kind.text,
            d.name.as_ref().map(|n| &n.text),
            listed(&d.parameters, |p| format!(
                "{} = {:?}",
                p.name.text,
                p.value.as_ref().map(expr)
            )),
            d.like.as_ref().map(Path::text),
            listed(&d.arguments, |a| format!(
                "{} = {}",
                a.name.text,
                expr(&a.value)
            )),
            d.of.as_ref().map(Path::text),
            block(&d.entries)
        ),
        ItemKind::Accept(a) => accept(a),
        ItemKind::Empty => "nothing".to_owned(),
    }
}

/// A list in parentheses, or nothing where there is none.
fn listed<T>(items: &Option<Vec<T>>, show: impl Fn(&T) -> String) -> String {
    let all = |i: &Vec<T>| i.iter().map(&show).collect::<Vec<_>>().join(", ");
    items
        .as_ref()
        .map_or(String::new(), |i| format!("({})", all(i)))
}

fn condition(c: &Condition) -> String {
    let rule = match &c.rule {
        Rule::Compare(sign, e) => format!("{} {}", sign.sign(), expr(e)),
        Rule::Within(e) => format!("within {}", expr(e)),
        Rule::Is { not, value } => format!("is {not} {}", expr(value)),
        Rule::Error => "?".to_owned(),
    };
    format!("{} {rule}", expr(&c.value))
}

fn accept(a: &Accept) -> String {
    format!(
        "accept {} on {:?} because {:?} until {:?}",
        a.code.text,
        a.on.as_ref().map(Path::text),
        a.because.as_ref().map(|b| &b.text),
        a.until.as_ref().map(expr)
    )
}

fn block(entries: &[Entry]) -> String {
    let parts: Vec<String> = entries
        .iter()
        .map(|e| format!("{:?} {}", e.doc, entry(&e.kind)))
        .collect();
    format!("{{{}}}", parts.join("; "))
}

fn columns(t: &Table) -> String {
    let parts: Vec<String> = t
        .columns
        .iter()
        .map(|c| format!("{} {:?}", c.name.text, c.unit.as_ref().map(|u| &u.text)))
        .collect();
    parts.join(", ")
}

fn row(r: &Row) -> String {
    let parts: Vec<String> = r.cells.iter().map(|c| format!("{:?}", c.kind)).collect();
    parts.join(" ")
}

fn entry(kind: &EntryKind) -> String {
    match kind {
        EntryKind::Field { name, value } => format!("{} = {}", name.text, expr(value)),
        EntryKind::Group { name, entries, .. } => format!("{} {}", name.text, block(entries)),
        EntryKind::Table(t) => {
            let rows: Vec<String> = t.rows.iter().map(row).collect();
            format!(
                "table {} at {:?} ({}) {{{}}}",
                t.name.text,
                t.at.as_ref().map(expr),
                columns(t),
                rows.join("; ")
            )
        }
        EntryKind::Chain(segments) => {
            let parts: Vec<String> = segments
                .iter()
                .map(|s| {
                    let modifiers: Vec<String> = s
                        .modifiers
                        .iter()
                        .map(|m| format!("{} {}", m.word.text, expr(&m.value)))
                        .collect();
                    format!(
                        "{:?}: {:?} of {} [{}]",
                        s.label.as_ref().map(|l| &l.text),
                        s.amount.as_ref().map(expr),
                        s.what.text(),
                        modifiers.join(", ")
                    )
                })
                .collect();
            parts.join(" -> ")
        }
        EntryKind::Hold { target, value } => format!("hold {} = {}", target.text(), expr(value)),
        EntryKind::Accept(a) => accept(a),
        EntryKind::Error => "?".to_owned(),
    }
}

fn list(items: &[Expr]) -> String {
    let parts: Vec<String> = items.iter().map(expr).collect();
    parts.join(", ")
}

/// An expression in prefix form.
pub fn expr(e: &Expr) -> String {
    let flat = |first: &Expr, rest: &[(bool, Expr)], one: &str, other: &str| {
        let mut out = format!("({}", expr(first));
        for (second, e) in rest {
            out.push_str(if *second { other } else { one });
            out.push_str(&expr(e));
        }
        out + ")"
    };
    match &e.kind {
        ExprKind::Number(n) => {
            let unit = n.unit.as_ref().map(|u| u.text.as_str());
            let tolerance = n
                .tolerance
                .as_ref()
                .map(|t| (t.plus, t.minus, t.unit.as_ref().map(|u| u.text.as_str())));
            let class = n
                .class
                .as_ref()
                .map_or(String::new(), |c| format!(" {}", c.text));
            format!("{} {unit:?} {tolerance:?}{class}", n.value)
        }
        ExprKind::Date { year, month, day } => format!("{year}-{month}-{day}"),
        ExprKind::Text(t) => format!("{t:?}"),
        ExprKind::Path(p) => p.text(),
        ExprKind::Call {
            function,
            arguments,
        } => format!("{}({})", function.text(), list(arguments)),
        ExprKind::Element(p, steps) => {
            let mut out = p.text();
            for s in steps {
                match s {
                    Access::Index(e) => out += &format!("[{}]", expr(e)),
                    Access::Member(n) => out += &format!(".{}", n.text),
                }
            }
            out
        }
        ExprKind::List(items) => format!("[{}]", list(items)),
        ExprKind::Negative(a) => format!("(-{})", expr(a)),
        ExprKind::Sum(a, rest) => flat(a, rest, " + ", " - "),
        ExprKind::Product(a, rest) => flat(a, rest, " * ", " / "),
        ExprKind::Power(a, b) => format!("({} ^ {})", expr(a), expr(b)),
        ExprKind::Range(a, b) => format!("({} .. {})", expr(a), expr(b)),
        ExprKind::Of(a, p) => format!("({} of {})", expr(a), p.text()),
        ExprKind::Phrase(a, rest) => {
            let parts: Vec<String> = rest
                .iter()
                .map(|(w, e)| format!("{} {}", w.text, expr(e)))
                .collect();
            format!("({} {})", expr(a), parts.join(" "))
        }
        ExprKind::Error => "?".to_owned(),
    }
}
