//! Questions at every place of the demo's files, whole and mutilated: never a panic, never a place outside the text.

use cutwater_compiler::Db;
use cutwater_editor::{completions, definition, format_edits, hints, hover, symbols};
use cutwater_finding::FileId;
use cutwater_text::Span;
use proptest::prelude::*;
use std::path::{Path, PathBuf};

/// The demo and the examples: path from their root, and text.
fn specs() -> Vec<(String, String)> {
    fn walk(dir: &Path, out: &mut Vec<PathBuf>) {
        for e in std::fs::read_dir(dir).unwrap() {
            let p = e.unwrap().path();
            if p.is_dir() {
                walk(&p, out);
            } else if p.extension().is_some_and(|x| x == "pump") {
                out.push(p);
            }
        }
    }
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let mut out = Vec::new();
    for folder in ["demo-data", "examples"] {
        let mut paths = Vec::new();
        walk(&top.join(folder), &mut paths);
        paths.sort();
        for p in paths {
            let name = p.strip_prefix(&top).unwrap().to_str().unwrap().to_owned();
            out.push((name, std::fs::read_to_string(p).unwrap()));
        }
    }
    assert!(out.len() > 5, "the demo is not where it was");
    out
}

fn loaded(files: &[(String, String)]) -> Db {
    let mut db = Db::default();
    for (path, text) in files {
        db.set_file(path, text.as_str());
    }
    db.settle(true, None).unwrap();
    db
}

fn inside(text: &str, span: Span) {
    assert!(
        span.end as usize <= text.len(),
        "{span:?} in {} bytes",
        text.len()
    );
    assert!(text.is_char_boundary(span.start as usize) && text.is_char_boundary(span.end as usize));
}

fn ask_everywhere(db: &Db, file: FileId, step: usize) -> usize {
    let text = db.text(file).clone();
    let mut hovers = 0;
    for at in (0..=text.len() + 3).step_by(step) {
        if let Some(h) = hover(db, file, at) {
            inside(&text, h.span);
            assert!(h.span.touches(at.min(text.len())));
            assert!(!h.text.trim().is_empty());
            hovers += 1;
        }
        if let Some(d) = definition(db, file, at) {
            inside(&text, d.origin);
            inside(db.text(d.name.file), d.name.span);
            inside(db.text(d.whole.file), d.whole.span);
            assert!(d.whole.span.covers(d.name.span));
        }
        let (span, _) = completions(db, file, at);
        inside(&text, span);
    }
    for h in hints(db, file, Span::new(0, text.len()), |_| true) {
        inside(&text, Span::at(h.offset));
        assert!(!h.label.is_empty());
    }
    let mut todo = symbols(db, file);
    while let Some(s) = todo.pop() {
        inside(&text, s.whole);
        assert!(s.whole.covers(s.name) && !s.text.is_empty());
        for c in &s.children {
            assert!(s.whole.covers(c.whole), "{} outside {}", c.text, s.text);
        }
        todo.extend(s.children);
    }
    let mut last = 0;
    for e in format_edits(&text) {
        inside(&text, e.span);
        assert!(e.span.start >= last);
        last = e.span.end;
    }
    hovers
}

#[test]
fn every_place_of_the_demo_can_be_asked_about() {
    let files = specs();
    let db = loaded(&files);
    for f in db.files().collect::<Vec<_>>() {
        let places = db.text(f).len() / 3;
        let hovers = ask_everywhere(&db, f, 3);
        // Comments, signs and blanks have nothing to say; names, numbers and units do.
        assert!(hovers * 8 > places, "{}: {hovers} of {places}", db.path(f));
    }
}

#[test]
fn every_name_in_a_path_of_the_demo_leads_somewhere() {
    let files = specs();
    let db = loaded(&files);
    for f in db.files().collect::<Vec<_>>() {
        let text = db.text(f).clone();
        for (at, _) in text.match_indices("std.") {
            let line = &text[text[..at].rfind('\n').map_or(0, |n| n + 1)..at];
            if line.contains("//") {
                continue;
            }
            let d = definition(&db, f, at + 5);
            assert!(
                d.is_some_and(|d| db.is_library(d.name.file)),
                "{}: {}",
                db.path(f),
                &text[at..at + 20]
            );
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn mutilated_texts_can_be_asked_about(
        which in any::<prop::sample::Index>(),
        cuts in proptest::collection::vec((any::<prop::sample::Index>(), 0usize..40, "[{}()\\[\\]=.,;\"a-z0-9 µ\n\r-]{0,6}"), 1..6),
    ) {
        let mut files = specs();
        let k = which.index(files.len());
        let mut text = files[k].1.clone();
        for (at, len, new) in cuts {
            let floor = |mut n: usize, t: &str| { n = n.min(t.len()); while !t.is_char_boundary(n) { n -= 1; } n };
            let from = floor(at.index(text.len() + 1), &text);
            let to = floor(from + len, &text);
            text.replace_range(from..to.max(from), &new);
        }
        files[k].1 = text;
        let db = loaded(&files);
        let file = db.file(&files[k].0).unwrap();
        ask_everywhere(&db, file, 7);
    }
}
