//! The files made from the compiler's tables are the ones checked in. `CUTWATER_UPDATE=1` renews them; read the difference.

use std::path::{Path, PathBuf};

fn grammar_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../grammar")
}

/// Compares a file with what it must hold, or renews it; says what is behind.
fn held(path: &Path, want: &str) -> Option<String> {
    let have = std::fs::read_to_string(path).unwrap_or_default();
    if have == want {
        return None;
    }
    if std::env::var_os("CUTWATER_UPDATE").is_some() {
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, want).unwrap();
        return None;
    }
    Some(format!(
        "{} is behind the tables; run the tests with CUTWATER_UPDATE=1 and read the difference",
        path.display()
    ))
}

#[test]
fn files_made_from_the_tables_are_current() {
    let behind: Vec<String> = cutwater_grammars::files()
        .into_iter()
        .filter_map(|(name, want)| held(&grammar_folder().join(name), &want))
        .collect();
    assert!(behind.is_empty(), "{}", behind.join("\n"));
}

#[test]
fn the_lists_inside_the_queries_are_current() {
    let words = cutwater_grammars::words::words();
    let folder = grammar_folder().join("tree-sitter/queries");
    let mut lists = 0;
    let mut behind = Vec::new();
    for entry in std::fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        let have = std::fs::read_to_string(&path).unwrap();
        lists += have.matches("; words: ").count();
        match cutwater_grammars::queries::renew(&have, &words) {
            Ok(want) => behind.extend(held(&path, &want)),
            Err(why) => behind.push(format!("{}: {why}", path.display())),
        }
    }
    assert!(behind.is_empty(), "{}", behind.join("\n"));
    assert!(lists >= 2, "no lists were found in {}", folder.display());
}
