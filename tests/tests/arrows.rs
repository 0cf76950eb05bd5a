//! The crates depend on each other in one direction only, as the architecture draws it.

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

/// What each crate may depend on among the project's own, and through those.
const MAY: &[(&str, &[&str])] = &[
    ("cutwater-text", &[]),
    ("cutwater-quantity", &[]),
    ("cutwater-hydraulics", &[]),
    ("cutwater-mechanics", &[]),
    ("cutwater-syntax", &["cutwater-text"]),
    ("cutwater-finding", &["cutwater-text"]),
    (
        "cutwater-compiler",
        &[
            "cutwater-text",
            "cutwater-quantity",
            "cutwater-syntax",
            "cutwater-finding",
            "cutwater-hydraulics",
            "cutwater-mechanics",
        ],
    ),
    ("cutwater-editor", &["cutwater-compiler"]),
    ("cutwater-report", &["cutwater-compiler"]),
    ("cutwater-grammars", &["cutwater-compiler"]),
    ("cutwater-server", &["cutwater-editor", "cutwater-report"]),
    (
        "cutwater",
        &["cutwater-editor", "cutwater-report", "cutwater-server"],
    ),
];

/// Crates that only these may name.
const RESERVED: &[(&str, &[&str])] = &[
    ("tower-lsp-server", &["cutwater-server"]),
    ("tokio", &["cutwater-server"]),
    ("clap", &["cutwater"]),
    ("ariadne", &["cutwater"]),
    ("miette", &["cutwater"]),
    ("chumsky", &["cutwater-syntax"]),
    ("logos", &["cutwater-syntax"]),
];

/// The dependencies of each crate of the workspace that are not for its tests alone.
fn dependencies() -> BTreeMap<String, BTreeSet<String>> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let out = std::process::Command::new(cargo)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args([
            "metadata",
            "--no-deps",
            "--offline",
            "--format-version",
            "1",
        ])
        .output()
        .expect("cargo runs");
    assert!(
        out.status.success(),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    let metadata: Value = serde_json::from_slice(&out.stdout).expect("metadata is JSON");
    let text = |v: &Value| v.as_str().unwrap_or_default().to_owned();
    metadata["packages"]
        .as_array()
        .expect("packages")
        .iter()
        .map(|p| {
            let deps = p["dependencies"].as_array().into_iter().flatten();
            let used = deps
                .filter(|d| d["kind"].as_str() != Some("dev"))
                .map(|d| text(&d["name"]))
                .collect();
            (text(&p["name"]), used)
        })
        .collect()
}

fn reachable(name: &str) -> BTreeSet<&'static str> {
    let mut seen = BTreeSet::new();
    let direct = |n: &str| MAY.iter().find(|m| m.0 == n).map_or(&[][..], |m| m.1);
    let mut todo: Vec<&'static str> = direct(name).to_vec();
    while let Some(n) = todo.pop() {
        if seen.insert(n) {
            todo.extend(direct(n));
        }
    }
    seen
}

#[test]
fn crates_depend_in_one_direction() {
    let all = dependencies();
    for (name, deps) in &all {
        if name == "cutwater-tests" {
            continue;
        }
        assert!(
            MAY.iter().any(|m| m.0 == name),
            "{name} has no place in the architecture: give it one in this test"
        );
        let may = reachable(name);
        for d in deps.iter().filter(|d| all.contains_key(*d)) {
            assert!(may.contains(d.as_str()), "{name} must not depend on {d}");
        }
    }
    for (name, _) in MAY {
        assert!(all.contains_key(*name), "there is no crate {name}");
    }
}

#[test]
fn some_libraries_are_known_to_one_crate_only() {
    for (name, deps) in dependencies() {
        for (library, owners) in RESERVED {
            assert!(
                !deps.contains(*library) || owners.contains(&name.as_str()),
                "{name} must not depend on {library}: only {} may",
                owners.join(", ")
            );
        }
    }
}
