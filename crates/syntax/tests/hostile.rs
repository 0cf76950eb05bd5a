//! Text made to hurt: everything ends, nothing panics, and no stack overflows on a thread of the usual size.

mod common;

use common::{meaning, parse_file};
use cutwater_syntax::{MAX_NESTING, Parsed, SyntaxErrorKind, format, parse_chunk};
use proptest::prelude::*;

/// Runs on a thread with the stack that spawned threads get by default.
fn on_a_small_stack<R: Send + 'static>(work: impl FnOnce() -> R + Send + 'static) -> R {
    std::thread::Builder::new()
        .stack_size(2 * 1024 * 1024)
        .spawn(work)
        .expect("a thread can be spawned")
        .join()
        .expect("the work does not panic")
}

/// Splits, parses, clones, compares, lays out and drops; gives the number of errors.
fn survive(text: String) -> usize {
    on_a_small_stack(move || {
        let parsed: Vec<Parsed> = parse_file(&text).into_iter().map(|(_, p)| p).collect();
        let copy = parsed.clone();
        assert!(parsed == copy);
        drop(copy);
        let laid_out = format(&text);
        assert_eq!(format(&laid_out), laid_out);
        parsed.iter().map(|p| p.errors.len()).sum()
    })
}

fn around(open: &str, inner: &str, close: &str, times: usize) -> String {
    format!("{}{inner}{}", open.repeat(times), close.repeat(times))
}

#[test]
fn nesting_without_end_is_one_finding() {
    for (open, close) in [
        ("(", ")"),
        ("[", "]"),
        ("{", "}"),
        ("max(", ")"),
        ("a {", "}"),
        ("(1 + ", ")"),
    ] {
        for text in [
            format!("let x = {}", open.repeat(100_000)),
            format!("ring a {{ bore = {} }}", around(open, "1", close, 100_000)),
            format!("ring a {{ {}", around(open, "", close, 100_000)),
        ] {
            let found = on_a_small_stack(move || parse_chunk(&text).errors);
            assert!(matches!(found.len(), 1 | 2), "{open}: {}", found.len());
        }
        survive(around(open, "", close, 100_000));
    }
}

#[test]
fn closers_without_end_are_one_finding() {
    for close in [")", "]", "}", "} ", "}\n", ")]}"] {
        assert_eq!(survive(close.repeat(30_000)), 1, "{close:?}");
        let found = survive(format!("ring a {{ bore = 1 in {}", close.repeat(30_000)));
        assert!(found <= 2, "{close:?}: {found}");
    }
    assert_eq!(survive("@ ".repeat(30_000)), 1);
}

#[test]
fn the_deepest_allowed_nesting_fits_the_stack() {
    let depth = MAX_NESTING;
    let cases = [
        format!("let x = {}", around("(", "1 in", ")", depth)),
        format!("let x = {}", around("[", "1 in", "]", depth)),
        format!("let x = {}", around("max(1, ", "1 in", ")", depth)),
        format!("let x = {}", around("-(1 + 2 * ", "a", ") ^ 2 .. 3", depth)),
        format!("ring {}", around("a { ", "bore = 1 in", "}", depth)),
        format!("ring a {{ x = {} }}", around("(", "1 in", ")", depth - 1)),
        format!(
            "ring {}",
            around(
                "a { ",
                &format!("x = {}", around("[", "1", "]", depth / 2)),
                "}",
                depth / 2
            )
        ),
    ];
    for text in cases {
        assert_eq!(survive(text.clone()), 0, "{text}");
    }
    let too_deep = format!("let x = {}", around("(", "1 in", ")", depth + 1));
    let found = parse_chunk(&too_deep).errors;
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].kind, SyntaxErrorKind::TooDeep);
    assert_eq!(
        found[0].message,
        format!("more than {MAX_NESTING} brackets are open at once")
    );
}

#[test]
fn broken_text_at_the_deepest_nesting_is_survived() {
    for open in ["(", "[", "max(1, ", "-(1 + 2 * ", "f(g, ", "x = ("] {
        for junk in ["! !", "1 2", "=", "+", "..", "a b"] {
            let text = format!(
                "ring r {{ x = {} }}",
                around(open, junk, ")", MAX_NESTING - 1)
            );
            assert!(survive(text) > 0, "{open} {junk}");
        }
    }
    let text = format!("ring {}", around("a { ", "bore == 1 in", "}", MAX_NESTING));
    assert_eq!(survive(text), 1);
    let text = format!(
        "ring {}",
        around("a { b { x = } ", "bore = 1 in", "}", MAX_NESTING - 1)
    );
    assert_eq!(survive(text), MAX_NESTING - 1);
}

#[test]
fn long_runs_make_flat_trees() {
    let (n, many) = (10_000, 100_000);
    for (text, errors) in [
        (format!("let x = 1{}", "+1".repeat(many)), 0),
        (format!("let x = 1{}", " - 1".repeat(n)), 0),
        (format!("let x = a{}", " * b / c".repeat(n)), 0),
        (format!("let x = {}5", "-".repeat(3 * many)), 0),
        (format!("let x = {}a", "- ".repeat(3 * n)), 0),
        (format!("let x = a{}", ".b".repeat(n)), 0),
        (format!("let x = [{}]", "1,".repeat(n)), 0),
        (format!("let x = 5 psi{}", " at 5 psi".repeat(n)), 0),
        (format!("let x = 2{}", "^2".repeat(n)), 1),
        (format!("let x = 2{}", "..2".repeat(n)), 1),
        (format!("lay l {{ a {} }}", "-> b ".repeat(n)), 0),
        (format!("lay l {{ a {} }}", "-> b\n".repeat(n)), 0),
        (format!("lay l {{ a -> b {} }}", "rise 8 ft ".repeat(n)), 0),
        (format!("pump p {{ t (a) {{ {} }} }}", "1 ".repeat(n)), 0),
        (format!("pump p {{ t (a) {{ {} }} }}", "1;".repeat(n)), 0),
        (format!("pump p {{ t ({}) {{ }} }}", "a in,".repeat(n)), 0),
        (format!("ring a {{ {} }}", "x = 1 in ".repeat(n)), 0),
        (format!("ring a {{ {} }}", "/// d\nx = 1 in\n".repeat(n)), 0),
        (format!("ring a {{ {} }}", ";".repeat(n)), 0),
        ("// c\n".repeat(n), 0),
        ("\n".repeat(n), 0),
        (format!("ring a {{ x = 1 in{}}}", "\n".repeat(n)), 0),
    ] {
        let start: String = text.chars().take(40).collect();
        assert_eq!(survive(text), errors, "{start}");
    }
}

#[test]
fn long_single_lines_are_survived() {
    let (n, million) = (150_000, 1_000_000);
    for text in [
        format!("ring a {{ note = \"{}\" }}", "w".repeat(million)),
        format!("ring a {{ x = {}2 }}", "12 in + ".repeat(million / 8)),
        format!("// {}", "é".repeat(million / 2)),
        "µ".repeat(million / 2),
        format!("ring a {{ note = \"{}", "w".repeat(n)),
        format!("ring {} {{ }}", "w".repeat(n)),
        format!("let x = {}", "9".repeat(n)),
        format!("let x = 1-{}", "9".repeat(n)),
        format!("let x = 5 {}", "a/".repeat(n / 2)),
        "@".repeat(n),
        "@ ".repeat(n / 2),
        "\"".repeat(n),
        " ".repeat(n),
        "\u{a0} ".repeat(n / 2),
        "\u{feff}".repeat(n),
        "²".repeat(n),
        format!("ring a {{ x = 1 µ{} }}", "µ°".repeat(n)),
        format!("ring a {{ note = \"{}\" }}", "é".repeat(n)),
        "a".repeat(n),
        "a ".repeat(n / 2),
        "..".repeat(n / 2),
    ] {
        survive(text);
    }
}

#[test]
fn many_slips_are_survived() {
    let n = 10_000;
    for (text, at_least) in [
        (format!("ring a {{ {} }}", "x = ;".repeat(n)), n),
        (format!("ring a {{ {} }}", "x ;".repeat(n)), n),
        (format!("ring a {{ {} }}", "b b = \"x\" ".repeat(n)), n),
        (format!("ring a {{ {} }}", "x = 1 2\n".repeat(n)), n),
        (format!("ring a {{ {} }}", "x = (\n".repeat(n)), n),
        (format!("ring a {{ {} }}", "x = )\n".repeat(n)), n),
        (format!("ring a {{ {} }}", "b {\n x = 1\n".repeat(n)), 1),
        (format!("pump p {{ t (a) {{ {} }} }}", "1 = ;".repeat(n)), n),
        ("ring a {\n".repeat(n), n),
        ("ring a }\n".repeat(n), n),
        ("use \"\n".repeat(n), n),
        ("junk\n".repeat(n), n),
        ("require a >\n".repeat(n), n),
    ] {
        let start: String = text.chars().take(40).collect();
        let found = survive(text);
        assert!(found >= at_least, "{start}: {found}");
    }
}

#[test]
fn a_message_repeats_only_the_start_of_a_long_piece() {
    for text in [
        format!("let x = 1 {}", "\"w".repeat(50_000)),
        "@".repeat(100_000),
        format!("let x = 1 2{}", "9".repeat(100_000)),
    ] {
        for e in parse_chunk(&text).errors {
            assert!(e.message.chars().count() < 200, "{}", e.message.len());
        }
    }
}

#[test]
fn ten_megabytes_of_good_text_are_read() {
    let one = "/// Wear ring.\nring seal {\n    bore = 5.502 in ± 0.0005 // note\n    runs_on = first.hub\n    limit = 0.003 .. 0.007 in\n}\n\n";
    let times = 10_000_000 / one.len() + 1;
    let text = one.repeat(times);
    let (count, errors, same) = on_a_small_stack(move || {
        let chunks = parse_file(&text);
        let first = meaning(&chunks[0].1);
        let errors: usize = chunks.iter().map(|(_, p)| p.errors.len()).sum();
        // Each but the first has the blank line before it; what they say is the same.
        let same = chunks.iter().all(|(_, p)| meaning(p) == first);
        (chunks.len(), errors, same)
    });
    assert_eq!((count, errors, same), (times, 0, true));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn random_bytes_are_survived(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        let text = String::from_utf8_lossy(&bytes).into_owned();
        for (source, parsed) in parse_file(&text) {
            for e in &parsed.errors {
                prop_assert!(source.get(e.span.range()).is_some(), "a span off the text");
                if let Some((span, _)) = &e.fix {
                    prop_assert!(source.get(span.range()).is_some(), "a fix off the text");
                }
            }
        }
        let once = format(&text);
        prop_assert_eq!(format(&once), once);
    }
}
