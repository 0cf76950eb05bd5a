//! One test for each rule of the second pass and of the grammar.

mod common;

use common::{expr, meaning};
use cutwater_syntax::ast::{EntryKind, ExprKind, ItemKind};
use cutwater_syntax::parse_chunk;
use cutwater_syntax::prepare::prepare;
use cutwater_syntax::token::{T, lex};

fn prepared(text: &str) -> Vec<(T, &str)> {
    let mut errors = Vec::new();
    let toks = prepare(text, &lex(text), &mut errors).expect("not too deep");
    assert_eq!(errors, vec![], "{text}");
    toks.iter().map(|t| (t.kind, t.text)).collect()
}

#[track_caller]
fn value(text: &str) -> String {
    let chunk = format!("let x = {text}");
    let parsed = parse_chunk(&chunk);
    assert_eq!(parsed.errors, vec![], "{text}");
    match &parsed.item.kind {
        ItemKind::Let { value, .. } => expr(value),
        other => panic!("{other:?}"),
    }
}

#[track_caller]
fn item(text: &str) -> String {
    let parsed = parse_chunk(text);
    assert_eq!(parsed.errors, vec![], "{text}");
    meaning(&parsed)
}

#[test]
fn a_number_takes_the_unit_on_its_line() {
    assert_eq!(
        prepared("5 oz*in 5ft/s 5 lbf/in^2 5 m^-1 5 1/degF 5 %"),
        [
            (T::Number, "5"),
            (T::Unit, "oz*in"),
            (T::Number, "5"),
            (T::Unit, "ft/s"),
            (T::Number, "5"),
            (T::Unit, "lbf/in^2"),
            (T::Number, "5"),
            (T::Unit, "m^-1"),
            (T::Number, "5"),
            (T::Unit, "1/degF"),
            (T::Number, "5"),
            (T::Unit, "%"),
        ]
    );
    assert_eq!(prepared("t (grows 1/degF)")[3], (T::Unit, "1/degF"));
    // Blanks end a unit, and so does a line end.
    assert_eq!(prepared("5 ft * a")[2], (T::Star, "*"));
    assert_eq!(prepared("5\nft")[1], (T::Word, "ft"));
}

#[test]
fn joining_words_are_never_units() {
    for word in cutwater_syntax::words::joining() {
        assert_eq!(prepared(&format!("5 {word}"))[1].0, T::Word, "{word}");
    }
    assert_eq!(prepared("5 atm")[1].0, T::Unit);
}

#[test]
fn a_word_before_an_equals_sign_is_a_field() {
    assert_eq!(prepared("bore = 5")[0].0, T::Field);
    assert_eq!(prepared("a.b = 5")[2].0, T::Word);
    // It is never part of the value before it.
    assert_eq!(
        prepared("lift = 9 ft suction = 2")[4],
        (T::Field, "suction")
    );
    assert_eq!(
        item("supply s { lift = 9 ft   suction = 20 ft of h }"),
        item("supply s {\nlift = 9 ft\nsuction = 20 ft of h\n}"),
    );
}

#[test]
fn line_ends_count_in_tables_only() {
    let newlines = |text: &str| prepared(text).iter().filter(|t| t.0 == T::Newline).count();
    assert_eq!(newlines("ring a {\n b = 1\n}\n"), 0);
    assert_eq!(newlines("pump p {\n t (a)\n {\n 1\n 2\n }\n}\n"), 3);
}

#[test]
fn the_second_pass_leaves_balanced_brackets_and_no_strangers() {
    for text in [
        "((",
        ")))",
        "{[(",
        "ring a { b = [1, (2 }",
        "} a {",
        "@ { \" ]",
        "ring a\n b = 1 )\n}}",
    ] {
        let mut errors = Vec::new();
        let toks = prepare(text, &lex(text), &mut errors).expect("not too deep");
        let mut open = Vec::new();
        for t in toks {
            match t.kind {
                T::LBrace => open.push(T::RBrace),
                T::LParen => open.push(T::RParen),
                T::LBracket => open.push(T::RBracket),
                T::RBrace | T::RParen | T::RBracket => {
                    assert_eq!(open.pop(), Some(t.kind), "{text}")
                }
                T::Unknown | T::OpenText => panic!("{text}"),
                _ => assert!(!matches!(t.kind, T::Comment | T::Doc | T::FileDoc)),
            }
        }
        assert!(open.is_empty(), "{text}");
        assert!(!errors.is_empty(), "{text}");
    }
}

#[test]
fn a_minus_is_a_sign_where_no_value_stands_before_it() {
    assert_eq!(value("-5 in"), "-5 Some(\"in\") None");
    assert_eq!(value("- 5 in"), "(-5 Some(\"in\") None)");
    assert_eq!(value("7-5"), "(7 None None - 5 None None)");
    assert_eq!(value("a -5"), "(a - 5 None None)");
    assert_eq!(value("a\n    -5"), "(a - 5 None None)");
    assert_eq!(
        value("2 psi at -5 psi"),
        "(2 Some(\"psi\") None at -5 Some(\"psi\") None)"
    );
    assert_eq!(value("--a"), "a");
    assert_eq!(value("---a"), "(-a)");
    // In a table a blank before it makes it a sign.
    let row = |cells: &str| item(&format!("pump p {{ t (a) {{ {cells} }} }}"));
    assert_eq!(row("1 -5"), row("1   -5"));
    assert_ne!(row("1 -5"), row("1 - 5"));
    assert_eq!(row("1 −5"), row("1 -5"));
    assert_eq!(row("+5"), row("5"));
}

#[test]
fn numbers_as_the_trade_writes_them() {
    assert_eq!(value("2-1/2 in"), "2.5 Some(\"in\") None");
    assert_eq!(value("3/4"), "0.75 None None");
    assert_eq!(value("1_250.5"), "1250.5 None None");
    assert_eq!(value(".005"), "0.005 None None");
    assert_eq!(value("5e-3"), "0.005 None None");
}

#[test]
fn tolerances() {
    assert_eq!(
        value("5 in ± 0.1"),
        "5 Some(\"in\") Some((0.1, -0.1, None))"
    );
    assert_eq!(
        value("5 in +- 1 %"),
        "5 Some(\"in\") Some((1.0, -1.0, Some(\"%\")))"
    );
    assert_eq!(
        value("5 in +/- 1/64"),
        "5 Some(\"in\") Some((0.015625, -0.015625, None))"
    );
    assert_eq!(
        value("5 in (+0.1/-0.2)"),
        "5 Some(\"in\") Some((0.1, -0.2, None))"
    );
    // Written upside down it stays so: to refuse it is left to who knows what the number means.
    assert_eq!(
        value("5 in (-0.2/+0.1 in)"),
        "5 Some(\"in\") Some((-0.2, 0.1, Some(\"in\")))"
    );
}

#[test]
fn sums_products_and_powers_bind_as_usual() {
    assert_eq!(value("a + b * c - d / e"), "(a + (b * c) - (d / e))");
    assert_eq!(value("a * b ^ 2"), "(a * (b ^ 2 None None))");
    assert_eq!(value("-a ^ 2"), "(-(a ^ 2 None None))");
    assert_eq!(value("-5 ^ 2"), "(-(5 None None ^ 2 None None))");
    assert_eq!(value("2 ^ -3"), "(2 None None ^ -3 None None)");
    assert_eq!(value("2 ^ -a"), "(2 None None ^ (-a))");
    assert_eq!(value("(a + b) * c"), "((a + b) * c)");
    assert_eq!(value("5 in ^ 2"), "(5 Some(\"in\") None ^ 2 None None)");
    assert_eq!(value("5 in^2"), "5 Some(\"in^2\") None");
}

#[test]
fn ranges_phrases_calls_lists_texts_and_dates() {
    assert_eq!(value("a + 1 .. b"), "((a + 1 None None) .. b)");
    assert_eq!(
        value("20 ft of std.suction_6"),
        "(20 Some(\"ft\") None of std.suction_6)"
    );
    assert_eq!(
        value("3 hp per 100 rpm at 5 psi"),
        "(3 Some(\"hp\") None per 100 Some(\"rpm\") None at 5 Some(\"psi\") None)"
    );
    assert_eq!(
        value("max(a, -b, [1, 2,],)"),
        "max(a, (-b), [1 None None, 2 None None])"
    );
    assert_eq!(value("[]"), "[]");
    assert_eq!(value("\"a \\ b\""), "\"a \\\\ b\"");
    assert_eq!(value("2026-05-14"), "2026-5-14");
}

#[test]
fn items() {
    assert!(item("use \"a/b.pump\" as stock").ends_with("use \"a/b.pump\" as stock"));
    assert!(item("require a >= b because \"c\"").ends_with("require a >= b because Some(\"c\")"));
    assert!(item("require a ≤ 5 in").ends_with("require a <= 5 Some(\"in\") None because None"));
    assert!(
        item("require a within 1 .. 2")
            .ends_with("within (1 None None .. 2 None None) because None")
    );
    assert!(
        item("pump x like a.b of c.d {}")
            .ends_with("pump Some(\"x\") like Some(\"a.b\") of Some(\"c.d\") {}")
    );
    assert!(item("site {}").ends_with("site None like None of None {}"));
    assert!(item("// nothing\n").ends_with("nothing"));
}

#[test]
fn chains() {
    let text = "lay l {\n  a.b -> 300 ft of s.t rise 8 ft lines 2 -> y: std.wye\n    -> z\n}";
    assert!(
        item(text).ends_with(
            "{\"\" None: None of a.b [] -> None: Some(\"300 Some(\\\"ft\\\") None\") of s.t \
             [rise 8 Some(\"ft\") None, lines 2 None None] -> Some(\"y\"): None of std.wye [] -> None: None of z []}"
        ),
        "{}",
        item(text)
    );
}

#[test]
fn tables() {
    let text =
        "pump p { curve at 3300 rpm (flow gpm, gear, net ft*lbf) { 1 - \"a b\"; x 2-1/2 −\n 3 } }";
    assert!(
        item(text).ends_with(
            "table curve at Some(\"3300 Some(\\\"rpm\\\") None\") (flow Some(\"gpm\"), gear None, net Some(\"ft*lbf\")) \
             {Number(1.0) Absent Text(\"a b\"); Word(\"x\") Number(2.5) Absent; Number(3.0)}}"
        ),
        "{}",
        item(text)
    );
}

#[test]
fn notes_belong_to_what_follows() {
    let text = "//! file\n/// about a\n///\n/// more\nring a {\n  // no note\n  /// the bore\n  bore = 1\n  land = 2\n  draft {\n    /// lift\n    lift = 3 }\n}\n";
    let parsed = parse_chunk(text);
    assert_eq!(parsed.file_doc, "file");
    assert_eq!(parsed.item.doc, "about a\n\nmore");
    let ItemKind::Decl(d) = &parsed.item.kind else {
        panic!("a declaration");
    };
    let docs: Vec<&str> = d.entries.iter().map(|e| e.doc.as_str()).collect();
    assert_eq!(docs, ["the bore", "", ""]);
    let EntryKind::Group { entries, .. } = &d.entries[2].kind else {
        panic!("a group");
    };
    assert_eq!(entries[0].doc, "lift");
}

#[test]
fn spans_cover_what_they_name() {
    let text = "  ring a {\n  bore = -5 in ± 0.1 + µ ^ 2\n  t (x) { 1 2 }\n}";
    let parsed = parse_chunk(text);
    assert_eq!(parsed.item.span.slice(text), text.trim());
    let ItemKind::Decl(d) = &parsed.item.kind else {
        panic!("a declaration");
    };
    assert_eq!(d.kind.span.slice(text), "ring");
    assert!(d.body.slice(text).starts_with('{') && d.body.slice(text).ends_with('}'));
    assert_eq!(d.entries[0].span.slice(text), "bore = -5 in ± 0.1 + µ ^ 2");
    let EntryKind::Field { value, .. } = &d.entries[0].kind else {
        panic!("a field");
    };
    assert_eq!(value.span.slice(text), "-5 in ± 0.1 + µ ^ 2");
    let ExprKind::Sum(first, rest) = &value.kind else {
        panic!("a sum");
    };
    assert_eq!(first.span.slice(text), "-5 in ± 0.1");
    assert_eq!(rest[0].1.span.slice(text), "µ ^ 2");
    let EntryKind::Table(t) = &d.entries[1].kind else {
        panic!("a table");
    };
    assert_eq!(t.head.slice(text), "(x)");
    assert_eq!(t.body.slice(text), "{ 1 2 }");
    assert_eq!(t.rows[0].span.slice(text), "1 2");
    assert_eq!(t.rows[0].cells[1].span.slice(text), "2");
}

#[test]
fn a_chunk_that_only_moved_is_equal() {
    let text = "ring a { bore = 5 in }";
    let file = format!("ring z {{}}\n{text}");
    let chunks = common::parse_file(&file);
    assert_eq!(chunks[1].1, parse_chunk(text));
}
