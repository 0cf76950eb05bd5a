//! The demonstration workspace and the examples: they read without syntax errors, stand in the canonical layout, say what
//! they are, and their README pages name every file and every finding that is marked in place (`// finds: CODE`).
//!
//! Not here: whether what is marked is found.

use cutwater_syntax::ast::ItemKind;
use std::path::{Path, PathBuf};

/// Every `.pump` file below a folder of the project, with its path from there, sorted.
fn specs(folder: &str) -> Vec<(String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../..")
        .join(folder);
    let mut todo: Vec<PathBuf> = vec![root.clone()];
    let mut out = Vec::new();
    while let Some(at) = todo.pop() {
        for entry in std::fs::read_dir(&at).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                todo.push(path);
            } else if path.extension().is_some_and(|e| e == "pump") {
                let name = path.strip_prefix(&root).expect("below the folder");
                let name = name.to_string_lossy().replace('\\', "/");
                out.push((name, std::fs::read_to_string(&path).expect("a text")));
            }
        }
    }
    out.sort();
    assert!(out.len() >= 9, "{folder}: only {} files", out.len());
    out
}

fn readme(folder: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../..")
        .join(folder)
        .join("README.md");
    std::fs::read_to_string(path).expect("a README.md")
}

/// Marks of a text: line and code.
fn marks(text: &str) -> Vec<(usize, String)> {
    let mut out = Vec::new();
    for (k, line) in text.lines().enumerate() {
        if let Some((_, codes)) = line.split_once("// finds: ") {
            for code in codes.split([',', ' ']).filter(|c| !c.is_empty()) {
                out.push((k + 1, code.to_owned()));
            }
        }
    }
    out
}

#[test]
fn files_read_without_syntax_errors_and_stand_in_the_canonical_layout() {
    for folder in ["demo-data", "examples"] {
        for (name, text) in specs(folder) {
            for chunk in cutwater_syntax::split::split(&text) {
                let parsed = cutwater_syntax::parse_chunk(chunk.span.slice(&text));
                assert!(
                    parsed.errors.is_empty(),
                    "{folder}/{name}: {:?}",
                    parsed.errors
                );
            }
            assert_eq!(cutwater_syntax::format(&text), text, "{folder}/{name}");
        }
    }
}

#[test]
fn files_say_what_they_are_and_that_their_numbers_are_invented() {
    for folder in ["demo-data", "examples"] {
        for (name, text) in specs(folder) {
            let head: String = text
                .lines()
                .take_while(|l| l.starts_with("//!"))
                .collect::<Vec<_>>()
                .join(" ")
                .to_lowercase();
            assert!(
                head.contains("invented"),
                "{folder}/{name} does not say so: {head}"
            );
        }
        assert!(readme(folder).contains("invented"), "{folder}/README.md");
    }
}

#[test]
fn examples_are_short() {
    for (name, text) in specs("examples") {
        let lines = text.lines().count();
        assert!(lines <= 110, "{name} has {lines} lines");
    }
}

#[test]
fn readme_pages_name_every_file_and_every_marked_finding() {
    for folder in ["demo-data", "examples"] {
        let page = readme(folder);
        for (name, _) in specs(folder) {
            assert!(
                page.contains(&format!("`{name}`")),
                "{folder}/README.md does not name {name}"
            );
        }
    }
    let page = readme("demo-data");
    let mut marked: Vec<(String, String)> = Vec::new();
    for (name, text) in specs("demo-data") {
        marked.extend(
            marks(&text)
                .into_iter()
                .map(|(_, code)| (name.clone(), code)),
        );
    }
    let mut listed: Vec<(String, String)> = page
        .lines()
        .filter_map(|l| {
            let cells: Vec<&str> = l.split('|').map(str::trim).collect();
            let code = cells.get(2).filter(|c| c.starts_with("CW"))?;
            Some((cells[1].trim_matches('`').to_owned(), (*code).to_owned()))
        })
        .collect();
    marked.sort();
    listed.sort();
    assert_eq!(marked, listed);
    assert!(!marked.is_empty());
}

#[test]
fn marked_findings_exist() {
    for folder in ["demo-data", "examples"] {
        for (name, text) in specs(folder) {
            for (line, code) in marks(&text) {
                assert!(
                    code.len() == 6
                        && code.starts_with("CW")
                        && code[2..].bytes().all(|b| b.is_ascii_digit()),
                    "{folder}/{name}:{line}: `{code}` is no code"
                );
            }
        }
    }
}

/// What the library offers is used somewhere: an example or the demonstration names at least one hose, nozzle, appliance,
/// suction hose, alloy and procedure of it.
#[test]
fn the_library_is_shown_at_work() {
    let all: String = ["demo-data", "examples"]
        .into_iter()
        .flat_map(specs)
        .map(|s| s.1)
        .collect();
    for name in [
        "std.attack_2_1_2",
        "std.supply_5",
        "std.suction_6",
        "std.barrel_6",
        "std.gated_wye",
        "std.monitor",
        "std.smooth_1",
        "std.fog_150_75",
        "std.bronze_c90300",
        "std.annual_draft",
    ] {
        assert!(all.contains(name), "nothing uses {name}");
    }
}

#[test]
fn declarations_of_the_demonstration_have_names_of_their_own() {
    for (name, text) in specs("demo-data") {
        let mut names: Vec<String> = cutwater_syntax::split::split(&text)
            .iter()
            .filter_map(
                |c| match cutwater_syntax::parse_chunk(c.span.slice(&text)).item.kind {
                    ItemKind::Decl(d) => d.name.map(|n| n.text.to_string()),
                    ItemKind::Let { name, .. } => Some(name.text.to_string()),
                    _ => None,
                },
            )
            .collect();
        let all = names.len();
        names.sort();
        names.dedup();
        assert_eq!(names.len(), all, "{name}");
    }
}
