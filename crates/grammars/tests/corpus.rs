//! The corpus of the tree-sitter grammar: texts with their trees, in the format of tree-sitter's own command.
//!
//! `CUTWATER_UPDATE=1` writes the trees that are given now; read the difference before it is kept.

mod support;

use std::path::{Path, PathBuf};
use support::{folder, parse};
use tree_sitter::{Node, TreeCursor};

/// One text with its tree.
struct Case {
    name: String,
    /// `:error`: the text has a slip, which the tree shows.
    broken: bool,
    text: String,
    want: String,
}

fn files() -> Vec<PathBuf> {
    let mut out: Vec<PathBuf> = std::fs::read_dir(folder().join("test/corpus"))
        .unwrap()
        .map(|e| e.unwrap().path())
        .collect();
    out.sort();
    out
}

fn is_bar(line: &str, sign: char) -> bool {
    line.len() >= 3 && line.chars().all(|c| c == sign)
}

fn read(path: &Path) -> Vec<Case> {
    let whole = std::fs::read_to_string(path).unwrap();
    let lines: Vec<&str> = whole.lines().collect();
    let mut cases = Vec::new();
    let mut at = 0;
    while at < lines.len() {
        if lines[at].is_empty() {
            at += 1;
            continue;
        }
        assert!(
            is_bar(lines[at], '='),
            "{}:{}: expected a bar of =",
            path.display(),
            at + 1
        );
        let head_end = at
            + 1
            + lines[at + 1..]
                .iter()
                .position(|l| is_bar(l, '='))
                .expect("the head ends with a bar");
        let text_end = head_end
            + lines[head_end..]
                .iter()
                .position(|l| is_bar(l, '-'))
                .expect("the text ends with a bar");
        let next = lines[text_end..]
            .iter()
            .position(|l| is_bar(l, '='))
            .map_or(lines.len(), |n| text_end + n);
        let head = &lines[at + 1..head_end];
        cases.push(Case {
            name: head[0].to_owned(),
            broken: head[1..].contains(&":error"),
            text: lines[head_end + 2..text_end - 1].join("\n"),
            want: lines[text_end + 1..next].join("\n").trim().to_owned(),
        });
        at = next;
    }
    cases
}

/// The tree as lines, with the names of fields, of named nodes alone.
fn shown(root: Node<'_>) -> String {
    fn node(cursor: &mut TreeCursor<'_>, depth: usize, out: &mut String) {
        let n = cursor.node();
        if n.is_named() {
            if depth > 0 {
                out.push('\n');
            }
            out.push_str(&"  ".repeat(depth));
            if let Some(field) = cursor.field_name() {
                out.push_str(field);
                out.push_str(": ");
            }
            out.push('(');
            if n.is_missing() {
                out.push_str("MISSING ");
            }
            out.push_str(n.kind());
        } else if n.is_missing() {
            out.push_str(&format!("\n{}(MISSING {:?})", "  ".repeat(depth), n.kind()));
        }
        if cursor.goto_first_child() {
            loop {
                node(cursor, depth + 1, out);
                if !cursor.goto_next_sibling() {
                    break;
                }
            }
            cursor.goto_parent();
        }
        if n.is_named() {
            out.push(')');
        }
    }
    let mut out = String::new();
    node(&mut root.walk(), 0, &mut out);
    out
}

#[test]
fn each_text_has_its_tree() {
    let update = std::env::var_os("CUTWATER_UPDATE").is_some();
    let mut wrong = Vec::new();
    let mut count = 0;
    for path in files() {
        let mut renewed = Vec::new();
        for case in read(&path) {
            count += 1;
            let tree = parse(&case.text);
            let have = shown(tree.root_node());
            if tree.root_node().has_error() != case.broken {
                wrong.push(format!(
                    "{}: has an error or should have one:\n{have}",
                    case.name
                ));
            }
            if support::is_well_formed(&case.text) == case.broken {
                wrong.push(format!(
                    "{}: the compiler's parser thinks otherwise",
                    case.name
                ));
            }
            if have != case.want && !update {
                wrong.push(format!(
                    "{}\nhave:\n{have}\nwant:\n{}",
                    case.name, case.want
                ));
            }
            let bar = "=".repeat(case.name.chars().count().max(20));
            let error = if case.broken { ":error\n" } else { "" };
            renewed.push(format!(
                "{bar}\n{}\n{error}{bar}\n\n{}\n\n---\n\n{have}\n",
                case.name, case.text
            ));
        }
        if update {
            std::fs::write(&path, renewed.join("\n")).unwrap();
        }
    }
    assert!(count > 40, "only {count} cases were found");
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
}
