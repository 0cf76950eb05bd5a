//! The tree-sitter grammar is what is checked in, and reads whatever the compiler's own parser reads.

mod support;
#[path = "../../syntax/tests/common/writer.rs"]
mod writer;

use proptest::prelude::*;
use support::{first_error, is_well_formed, parse, pump_files};

/// Cases for each law; `CUTWATER_CASES` asks for more.
fn cases() -> u32 {
    std::env::var("CUTWATER_CASES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(2000)
}

/// What tree-sitter cannot read of a text that the parser reads.
fn disagreement(text: &str) -> Option<String> {
    if !is_well_formed(text) {
        return None;
    }
    first_error(&parse(text), text)
}

#[test]
fn the_generated_parser_is_current() {
    if std::env::var_os("CUTWATER_UPDATE").is_some() {
        support::generate(&support::folder()).unwrap();
    }
    let behind = support::behind().unwrap();
    assert!(
        behind.is_empty(),
        "{behind:?} is behind src/grammar.json; \
         run `cargo run -p cutwater-grammars --example tree_sitter` and read the difference"
    );
}

#[test]
fn every_file_of_the_project_is_read() {
    let mut wrong = Vec::new();
    let mut read = 0;
    for folder in [
        "examples",
        "demo-data",
        "crates/compiler/src/std",
        "crates/syntax/tests/data",
    ] {
        for (path, text) in pump_files(folder) {
            assert!(is_well_formed(&text), "{} has a slip", path.display());
            read += 1;
            wrong.extend(disagreement(&text).map(|why| format!("{}: {why}", path.display())));
        }
    }
    assert!(read > 30, "only {read} files were found");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_example_of_a_finding_is_read() {
    let mut wrong = Vec::new();
    let mut read = 0;
    for code in cutwater_compiler::codes::all() {
        for text in [code.fires, code.silent] {
            read += usize::from(is_well_formed(text));
            wrong.extend(disagreement(text).map(|why| format!("{}: {why}", code.id)));
        }
    }
    assert!(read > 150, "only {read} examples are well formed");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(), max_shrink_iters: 4000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn good_files_are_read(text in writer::good_files()) {
        prop_assert!(is_well_formed(&text));
        prop_assert_eq!(disagreement(&text), None, "{}", text);
    }

    #[test]
    fn harmed_files_are_read_where_the_compiler_reads_them(text in writer::harmed_files()) {
        prop_assert_eq!(disagreement(&text), None, "{}", text);
    }
}
