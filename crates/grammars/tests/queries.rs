//! The queries of the tree-sitter grammar: they fit the grammar, name no node twice, and say what they should.
//!
//! `test/highlight` holds texts with the colours expected under them, in the format of tree-sitter's own command:
//! `// <- name` speaks of the first column of the line above, `//   ^ name` of the column of the sign, `!` says "not".

mod support;
#[path = "../../syntax/tests/common/writer.rs"]
mod writer;

use cutwater_syntax::words::{Key, WORDS};
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::ops::Range;
use support::{folder, language, parse, pump_files};
use tree_sitter::{Query, QueryCursor, StreamingIterator};
use tree_sitter_tags::{TagsConfiguration, TagsContext};

fn source(name: &str) -> String {
    std::fs::read_to_string(folder().join("queries").join(name)).unwrap()
}

fn query(name: &str) -> Query {
    Query::new(&language(), &source(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// All captures of a query, by the bytes they cover.
fn captures(query: &Query, text: &str) -> Vec<(Range<usize>, String)> {
    let tree = parse(text);
    let mut cursor = QueryCursor::new();
    let mut found = cursor.captures(query, tree.root_node(), text.as_bytes());
    let mut out = Vec::new();
    while let Some((one, at)) = found.next() {
        let capture = one.captures()[*at];
        let name = query.capture_names()[capture.index as usize];
        // What is missing has no colour.
        if !name.starts_with('_') && !capture.node.byte_range().is_empty() {
            out.push((capture.node.byte_range(), name.to_owned()));
        }
    }
    out.sort_by_key(|(range, name)| (range.start, range.end, name.clone()));
    out
}

/// What is captured under two names.
fn captured_twice(query: &Query, text: &str) -> Vec<String> {
    let mut by_place: BTreeMap<(usize, usize), Vec<String>> = BTreeMap::new();
    for (range, name) in captures(query, text) {
        by_place
            .entry((range.start, range.end))
            .or_default()
            .push(name);
    }
    by_place
        .into_iter()
        .filter(|(_, names)| names.len() > 1)
        .map(|((start, end), names)| format!("{:?} is {}", &text[start..end], names.join(" and ")))
        .collect()
}

#[test]
fn every_query_fits_the_grammar() {
    let names: Vec<String> = std::fs::read_dir(folder().join("queries"))
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    for name in &names {
        query(name);
    }
    for name in [
        "highlights",
        "folds",
        "indents",
        "locals",
        "injections",
        "tags",
    ] {
        assert!(
            names.contains(&format!("{name}.scm")),
            "{name}.scm is missing"
        );
    }
}

#[test]
fn every_word_of_the_grammar_has_a_colour() {
    let highlights = source("highlights.scm");
    let language = language();
    for w in WORDS {
        // No rule takes it yet.
        if w.key == Key::To {
            continue;
        }
        assert!(
            language.id_for_node_kind(w.text, false) != 0,
            "grammar.js does not know {:?}",
            w.text
        );
        assert!(
            highlights.contains(&format!("  {:?}\n", w.text)),
            "highlights.scm does not name {:?}",
            w.text
        );
    }
    for id in 0..language.node_kind_count() {
        let id = u16::try_from(id).unwrap();
        let text = language.node_kind_for_id(id).unwrap_or_default();
        let word = text.chars().all(|c| c.is_ascii_lowercase());
        if !language.node_kind_is_named(id)
            && word
            && language.node_kind_is_visible(id)
            && text != "end"
        {
            assert!(
                Key::of(text) != Key::Other,
                "the parser does not know {text:?}, which grammar.js takes"
            );
        }
    }
}

#[test]
fn no_node_of_the_projects_files_has_two_colours() {
    let highlights = query("highlights.scm");
    for under in [
        "examples",
        "demo-data",
        "crates/compiler/src/std",
        "crates/syntax/tests/data",
    ] {
        for (path, text) in pump_files(under) {
            let twice = captured_twice(&highlights, &text);
            assert!(twice.is_empty(), "{}: {}", path.display(), twice.join("; "));
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_node_of_any_file_has_two_colours(text in writer::harmed_files()) {
        let twice = captured_twice(&query("highlights.scm"), &text);
        prop_assert!(twice.is_empty(), "{}", twice.join("; "));
    }
}

#[test]
fn colours_are_those_expected_under_them() {
    let highlights = query("highlights.scm");
    let mut wrong = Vec::new();
    let mut count = 0;
    for (path, text) in pump_files("grammar/tree-sitter/test/highlight") {
        assert!(support::is_well_formed(&text), "{}", path.display());
        let found = captures(&highlights, &text);
        let mut above = (0, 0);
        let mut start = 0;
        for (n, line) in text.split_inclusive('\n').enumerate() {
            let expected = expectation(line);
            match expected {
                None => above = (n, start),
                Some((column, not, name)) => {
                    count += 1;
                    let at = above.1 + column;
                    let have: Vec<&str> = found
                        .iter()
                        .filter(|(range, _)| range.contains(&at))
                        .map(|(_, name)| name.as_str())
                        .collect();
                    if have.contains(&name) == not {
                        wrong.push(format!(
                            "{}:{}: expected {}{name}, found {have:?}",
                            path.display(),
                            n + 1,
                            if not { "not " } else { "" }
                        ));
                    }
                }
            }
            start += line.len();
        }
    }
    assert!(count > 70, "only {count} colours were asked for");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A line that says what stands above: the byte's column, whether it is denied, the name.
fn expectation(line: &str) -> Option<(usize, bool, &str)> {
    let rest = line.trim_end().strip_prefix("//")?;
    let (column, name) = match rest.trim_start().strip_prefix("<- ") {
        Some(name) => (0, name),
        None => {
            let blanks = rest.len() - rest.trim_start().len();
            (2 + blanks, rest.trim_start().strip_prefix("^ ")?)
        }
    };
    Some(match name.strip_prefix('!') {
        Some(name) => (column, true, name),
        None => (column, false, name),
    })
}

const SAMPLE: &str = "\
//! About the file.
use \"parts/hose.pump\" as stock

/// Clearance.
/// Second line.
let gap(bore, hub) = bore - hub

/// A seal.
ring seal {
    bore = gap(5 in, least)
    rows (a, b) {
        1 2
    }
}
lay l {
    main.discharge -> y1: stock.wye
}
";

/// Lines, counted from 1, that a capture of this name covers.
fn lines(query: &str, name: &str) -> Vec<(usize, usize)> {
    let line = |at: usize| SAMPLE[..at].matches('\n').count() + 1;
    captures(&self::query(query), SAMPLE)
        .into_iter()
        .filter(|(_, n)| n == name)
        .map(|(range, _)| (line(range.start), line(range.end)))
        .filter(|(first, last)| first != last)
        .collect()
}

fn texts<'t>(query: &str, name: &str, text: &'t str) -> Vec<&'t str> {
    captures(&self::query(query), text)
        .into_iter()
        .filter(|(_, n)| n == name)
        .map(|(range, _)| &text[range])
        .collect()
}

#[test]
fn blocks_and_rows_fold() {
    assert_eq!(lines("folds.scm", "fold"), [(9, 14), (11, 13), (15, 17)]);
}

#[test]
fn brackets_indent_what_is_inside() {
    assert_eq!(
        lines("indents.scm", "indent.begin"),
        [(9, 14), (11, 13), (15, 17)]
    );
    assert_eq!(texts("indents.scm", "indent.end", SAMPLE), ["}", "}", "}"]);
}

#[test]
fn definitions_and_references_are_found() {
    let mut have = texts("locals.scm", "local.definition", SAMPLE);
    have.sort_unstable();
    assert_eq!(have, ["bore", "gap", "hub", "l", "seal", "stock", "y1"]);
    let mut have = texts("locals.scm", "local.reference", SAMPLE);
    have.sort_unstable();
    assert_eq!(have, ["bore", "gap", "hub", "least", "main", "stock"]);
}

#[test]
fn notes_are_injected() {
    let text = "//! a\n/// b\n// TODO c\nring d {}\n";
    assert_eq!(
        texts("injections.scm", "injection.content", text),
        ["//! a", "/// b", "// TODO c"]
    );
}

#[test]
fn tags_name_definitions_with_their_notes() {
    let config = TagsConfiguration::new(language(), &source("tags.scm"), "").unwrap();
    let mut context = TagsContext::new();
    let (tags, broken) = context
        .generate_tags(&config, SAMPLE.as_bytes(), None)
        .unwrap();
    assert!(!broken);
    let tags: Vec<(String, String, String)> = tags
        .map(|t| t.unwrap())
        .filter(|t| t.is_definition)
        .map(|t| {
            (
                config.syntax_type_name(t.syntax_type_id).to_owned(),
                SAMPLE[t.name_range].to_owned(),
                t.docs.unwrap_or_default(),
            )
        })
        .collect();
    let tag =
        |kind: &str, name: &str, doc: &str| (kind.to_owned(), name.to_owned(), doc.to_owned());
    assert_eq!(
        tags,
        [
            tag("module", "stock", ""),
            tag("function", "gap", "Clearance.\nSecond line."),
            tag("class", "seal", "A seal."),
            tag("class", "l", ""),
            tag("field", "y1", ""),
        ]
    );
}
