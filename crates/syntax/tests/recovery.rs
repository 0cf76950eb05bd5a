//! What is said about small broken blocks, where, and what is kept of them.

mod common;

use common::{leaves, meaning, parse_file};
use cutwater_syntax::ast::ItemKind;
use cutwater_syntax::{SyntaxErrorKind, parse_chunk};

/// Text of the place and message of each error, over all chunks.
fn errors(text: &str) -> Vec<(String, String)> {
    parse_file(text)
        .iter()
        .flat_map(|(source, parsed)| {
            parsed
                .errors
                .iter()
                .map(|e| (e.span.slice(source).to_owned(), e.message.clone()))
        })
        .collect()
}

#[track_caller]
fn one(text: &str, place: &str, message: &str) {
    assert_eq!(
        errors(text),
        vec![(place.to_owned(), message.to_owned())],
        "{text}"
    );
}

/// What the entries of the only declaration say.
fn kept(text: &str) -> Vec<String> {
    let parsed = parse_chunk(text);
    leaves(text, &parsed.item.kind)
        .into_iter()
        .map(|l| l.means)
        .collect()
}

/// The text after the first error's own fix.
fn mended(text: &str) -> String {
    let parsed = parse_chunk(text);
    let (span, new) = parsed.errors[0].fix.clone().expect("a fix");
    let mut out = text.to_owned();
    out.replace_range(span.range(), &new);
    out
}

#[test]
fn a_missing_value_is_reported_at_its_sign() {
    let text = "ring a {\n    bore =\n    land = 5 in\n}\n";
    one(text, "=", "expected a value after `=`, but the line ends");
    assert_eq!(kept(text), ["bore = ?", "land = 5 Some(\"in\") None"]);
    let text = "ring a {\n    bore =\n    draft { x = 1 }\n}\n";
    one(text, "=", "expected a value after `=`, but the line ends");
    assert_eq!(kept(text), ["bore = ?", "draft/x = 1 None None"]);
}

#[test]
fn two_values_side_by_side_are_reported_at_the_second() {
    let text = "ring b {\n    bore = 5 in 6\n    land = 3 in\n}\n";
    one(
        text,
        "6",
        "expected an operator or the end of the line after `in`, but `6` stands here",
    );
    assert_eq!(
        kept(text),
        ["bore = 5 Some(\"in\") None", "land = 3 Some(\"in\") None"]
    );
}

#[test]
fn a_forgotten_equals_sign_has_a_fix() {
    let text = "ring c {\n    bore 5 in\n    land = 3 in\n}\n";
    one(
        text,
        "bore",
        "expected `=` after `bore`, but `5` stands there",
    );
    assert_eq!(kept(text), ["bore = ?", "land = 3 Some(\"in\") None"]);
    assert_eq!(errors(&mended(text)), vec![]);
}

#[test]
fn a_tolerance_without_its_number() {
    one(
        "ring d {\n    bore = 5 in ±\n    land = 3 in\n}\n",
        "±",
        "expected a number after `±`, but the line ends",
    );
    one(
        "ring d { bore = 5 in (+0.1 -0.2) }",
        "-",
        "expected `/` between the two deviations after `0.1`, but `-` stands here",
    );
    one(
        "ring d { bore = 5 in ± -1 }",
        "-1",
        "expected a number after `±`, but `-1` stands here",
    );
}

#[test]
fn an_open_bracket_ends_where_the_next_field_begins() {
    let text = "ring e {\n    bore = (1 + 2\n    land = 3 in\n}\n";
    one(
        text,
        "(",
        "this `(` is not closed: expected `)`, but `land` comes next",
    );
    assert_eq!(
        kept(text),
        [
            "bore = (1 None None + 2 None None)",
            "land = 3 Some(\"in\") None"
        ]
    );
    assert_eq!(errors(&mended(text)), vec![]);
}

#[test]
fn an_open_text_ends_with_its_line() {
    let text = "ring f {\n    note = \"open\n    land = 3 in\n}\n";
    one(text, "\"open", "this text has no closing quote on its line");
    assert_eq!(
        kept(text),
        ["note = \"open\"", "land = 3 Some(\"in\") None"]
    );
    assert_eq!(errors(&mended(text)), vec![]);
}

#[test]
fn a_strange_character_is_left_out() {
    let text = "ring g {\n    bore = 5 @ in\n    land = 3 in\n}\n";
    one(text, "@", "`@` means nothing here");
    assert_eq!(
        kept(text),
        ["bore = 5 Some(\"in\") None", "land = 3 Some(\"in\") None"]
    );
    // Nothing more is said about its line.
    one(
        "ring g {\n    bore = @\n    land = 3 in\n}\n",
        "@",
        "`@` means nothing here",
    );
}

#[test]
fn a_table_head_without_a_comma() {
    let text = "pump h {\n    curve (flow gpm net psi) {\n        1 2\n    }\n    trim = 1\n}\n";
    one(
        text,
        "net",
        "expected `,` or `)` after `gpm`, but `net` stands here",
    );
    assert_eq!(kept(text), ["?", "trim = 1 None None"]);
}

#[test]
fn a_bad_row_costs_that_row() {
    let text = "pump i {\n    curve (a, b) {\n        1 2\n        3 = 4\n        5 6\n    }\n    trim = 1\n}\n";
    one(
        text,
        "=",
        "expected a number, a name, a text or `-` after `3`, but `=` stands here",
    );
    assert_eq!(
        kept(text),
        [
            "table curve None a None, b None",
            "curve row Number(1.0) Number(2.0)",
            "curve row Number(5.0) Number(6.0)",
            "trim = 1 None None"
        ]
    );
}

#[test]
fn an_inner_block_that_is_not_closed() {
    let text = "supply j {\n    draft {\n        lift = 9 ft\n    tank = 4\n}\n";
    one(
        text,
        "{",
        "this `{` is not closed: expected `}`, but `tank` comes next",
    );
    assert_eq!(
        kept(text),
        ["draft/lift = 9 Some(\"ft\") None", "tank = 4 None None"]
    );
    assert_eq!(errors(&mended(text)), vec![]);
    let text = "pump j {\n    curve (a) {\n        1\n    output (b) {\n        2\n    }\n}\n";
    one(
        text,
        "{",
        "this `{` is not closed: expected `}`, but `output` comes next",
    );
    assert_eq!(kept(text).len(), 4);
}

#[test]
fn a_chain_without_a_joint() {
    let text = "lay k {\n    a -> 300 ft std.supply -> b\n    b -> c\n}\n";
    one(
        text,
        "std",
        "expected `of` and what it is after `ft`, but `std` stands here",
    );
    assert_eq!(kept(text).len(), 2);
    // The lines a chain goes on with fall with it.
    let text = "lay k {\n    a\n        -> 300 ft std.supply\n        -> b\n    b -> c\n}\n";
    one(
        text,
        "std",
        "expected `of` and what it is after `ft`, but `std` stands here",
    );
    assert_eq!(kept(text).len(), 2);
    one(
        "lay k {\n    a b -> c\n}\n",
        "b",
        "expected `->` after `a`, but `b` stands here",
    );
    one(
        "lay k {\n    a -> b: c d\n}\n",
        "d",
        "expected `->`, `:` or the end of the line after `c`, but `d` stands here",
    );
    one(
        "lay k { a -> }",
        "}",
        "expected what comes next in the lay after `->`, but `}` stands here",
    );
}

#[test]
fn a_path_is_held_not_set() {
    let text = "duty l {\n    left.pressure = 100 psi\n    lay = k\n}\n";
    one(
        text,
        "left.pressure",
        "expected a plain name before `=`, but a path stands here",
    );
    assert_eq!(kept(text), ["?", "lay = k"]);
}

#[test]
fn numbers_and_calls_that_cannot_be() {
    let text = "ring m {\n    bore = 1/0 in\n    land = a.b.c(3)\n    form = x\n}\n";
    assert_eq!(
        errors(text),
        vec![
            (
                "1/0".to_owned(),
                "expected a number that can be computed, but `1/0` stands here".to_owned()
            ),
            (
                "a".to_owned(),
                "expected a function's name, or a file's and a function's, before `(`, but `a` stands here".to_owned()
            ),
        ]
    );
    assert_eq!(kept(text), ["bore = ?", "land = ?", "form = x"]);
    one(
        "let x = 1e999",
        "1e999",
        "expected a number that can be computed, but `1e999` stands here",
    );
    one(
        "let x = 2 ^ 3 ^ 4",
        "^",
        "expected the end of the line, but `^` stands here",
    );
}

#[test]
fn the_head_of_a_declaration_is_skipped_to_its_block() {
    let text = "test n on main {\n    lift = 7 ft\n}\n";
    one(
        text,
        "on",
        "expected `like`, `of` or `{` after `n`, but `on` stands here",
    );
    assert_eq!(kept(text), ["lift = 7 Some(\"ft\") None"]);
    let text = "pump n like {\n    lift = 7 ft\n}\n";
    one(
        text,
        "{",
        "expected a name after `like`, but `{` stands here",
    );
    assert_eq!(kept(text), ["lift = 7 Some(\"ft\") None"]);
}

#[test]
fn a_missing_opening_brace_is_put_in() {
    let text = "ring o\n    bore = 5 in\n    draft { x = 1 }\n    land = 2 in\n}\n";
    one(text, "o", "expected `{` after `o`, but `bore` comes next");
    assert_eq!(kept(text).len(), 3);
    assert_eq!(errors(&mended(text)), vec![]);
    let text = "supply o {\n    draft\n        lift = 9 ft\n    }\n    tank = 4\n}\n";
    one(
        text,
        "draft",
        "expected `{` after `draft`, but `lift` comes next",
    );
    assert_eq!(
        kept(text),
        ["draft/lift = 9 Some(\"ft\") None", "tank = 4 None None"]
    );
    let text = "pump o {\n    curve (a)\n        1\n        2\n    }\n    trim = 4\n}\n";
    one(text, ")", "expected `{` after `)`, but `1` comes next");
    assert_eq!(kept(text).len(), 4);
}

#[test]
fn a_brace_too_many_is_left_out() {
    let text = "ring p {\n    bore = 5 in }\n    land = 3 in\n}\n";
    one(text, "}", "`}` closes nothing: no `{` is open here");
    assert_eq!(
        kept(text),
        ["bore = 5 Some(\"in\") None", "land = 3 Some(\"in\") None"]
    );
    assert_eq!(errors(&mended(text)), vec![]);
    let text = "ring p { {\n    bore = 5 in\n}\n";
    one(text, "{", "`{` is opened twice here but closed once");
    assert_eq!(kept(text), ["bore = 5 Some(\"in\") None"]);
    assert_eq!(errors(&mended(text)), vec![]);
}

#[test]
fn a_run_of_brackets_is_one_finding_on_one_line() {
    one(
        "ring a {}\n}\n}\n",
        "}\n}",
        "`} }` close nothing: no bracket is open here",
    );
    one(
        "let x = ((((5 in)\n",
        "(((",
        "`(` is opened more often here than closed",
    );
    assert_eq!(errors(&mended("let x = ((((5 in)\n")), vec![]);
    one("let x = 5 @ @ in\n", "@ @", "`@ @` means nothing here");
}

#[test]
fn a_block_without_its_head_is_one_finding_apart_from_its_neighbours() {
    for before in [
        "ring a {\n    bore = 5 in\n}\n",
        "ring a { bore = 5 in }\n",
        "",
    ] {
        let text = format!(
            "{before}    land = 3 in\n    draft {{\n        x = 1\n    }}\n    t (a) {{\n        1\n    }}\n}}\nring b {{}}\n"
        );
        one(
            &text,
            "land",
            "`land` stands in no block: expected a declaration and its `{` before it",
        );
        let chunks = parse_file(&text);
        assert_eq!(
            chunks.len(),
            if before.is_empty() { 2 } else { 3 },
            "{text}"
        );
    }
}

#[test]
fn rows_without_a_table_are_one_finding() {
    let text =
        "pump p {\n    curve at 3300 rpm\n        1 2\n        3 4\n    }\n    trim = 1\n}\n";
    one(
        text,
        "rpm",
        "expected a table's columns after `rpm`, but `1` comes next",
    );
    assert!(kept(text).contains(&"trim = 1 None None".to_owned()));
    let text = "pump p {\n    volute = double\n        1 2\n        -3 4\n    }\n    trim = 1\n}\n";
    one(
        text,
        "1",
        "`1` stands in no table: expected a table's head before it",
    );
    assert_eq!(kept(text), ["volute = double", "trim = 1 None None"]);
    let text = "pump p {\n    t (a in, b\n        1 2\n        3 4\n    }\n    trim = 1\n}\n";
    assert_eq!(errors(text).len(), 2);
    assert_eq!(kept(text).len(), 4);
}

#[test]
fn what_is_named_keeps_its_name() {
    let means = |text: &str| meaning(&parse_chunk(text));
    assert!(means("let gap 5 in\n").ends_with("let gap = 5 Some(\"in\") None"));
    assert!(means("use \"a.pump\" b\n").ends_with("use \"a.pump\" as b"));
    assert_eq!(errors("let gap 5 in\n").len(), 1);
    assert_eq!(errors("use \"a.pump\" b\n").len(), 1);
}

#[test]
fn lines_that_are_no_item() {
    one(
        "use stock\n",
        "stock",
        "expected a file's path in quotes after `use`, but `stock` stands here",
    );
    one(
        "use \"a\" stock\n",
        "stock",
        "expected `as` and the name it goes by here after `\"a\"`, but `stock` stands here",
    );
    one(
        "let = 5\n",
        "let",
        "expected a name after `let`, but `=` stands there",
    );
    one(
        "let q 5\n",
        "5",
        "expected `=` after `q`, but `5` stands here",
    );
    one(
        "require a >\n",
        ">",
        "expected a value after `>`, but the line ends",
    );
    one(
        "require a\n",
        "a",
        "expected a comparison such as `>=` or `within` after `a`, but the line ends",
    );
    one(
        "require a > 5 because\n",
        "because",
        "expected the reason in quotes after `because`, but the line ends",
    );
    one(
        "junk\n",
        "junk",
        "expected a name, `like`, `of` or `{` after `junk`, but the line ends",
    );
    one(
        "5 in\n",
        "5",
        "expected a declaration, `use`, `let`, `require` or `accept`, but `5` stands here",
    );
}

#[test]
fn a_forgotten_let_or_require_has_a_fix() {
    for (text, fixed) in [
        ("r = 5 in\n", "let r = 5 in\n"),
        ("a.b > 5\n", "require a.b > 5\n"),
    ] {
        let first = &text[..1];
        one(
            text,
            first,
            &format!(
                "expected a declaration, `use`, `let`, `require` or `accept`, but `{first}` stands here"
            ),
        );
        assert_eq!(mended(text), fixed);
        assert_eq!(errors(fixed), vec![]);
    }
}

#[test]
fn a_broken_item_keeps_what_was_understood() {
    let kind = |text: &str| meaning(&parse_chunk(text));
    assert!(kind("let x =\n").ends_with("let x = ?"));
    assert!(kind("require a.b\n").contains("require a.b ? because None"));
    assert!(kind("require a.b because \"x\"\n").contains("require a.b ? because Some(\"x\")"));
    assert!(kind("duty d { hold a.b = }\n").contains("hold a.b = ?"));
    assert!(matches!(parse_chunk("junk").item.kind, ItemKind::Empty));
    assert!(matches!(
        parse_chunk("pump main").item.kind,
        ItemKind::Decl(_)
    ));
}

#[test]
fn errors_have_their_sort_and_stand_in_order() {
    let kinds = |text: &str| -> Vec<SyntaxErrorKind> {
        parse_chunk(text).errors.iter().map(|e| e.kind).collect()
    };
    use SyntaxErrorKind::{Character, OpenText, Stray, TooDeep, Unclosed, Unexpected};
    assert_eq!(
        kinds("ring a {\n  a = 1 2\n  b = @ 1\n  c = ]\n  d = \"x\n"),
        [Unclosed, Unexpected, Character, Stray, OpenText]
    );
    assert_eq!(kinds(&format!("let x = {}", "(1 + ".repeat(50))), [TooDeep]);
}

#[test]
fn layout_is_not_judged_where_brackets_match() {
    for text in [
        "supply s {\n        draft {\n  lift = 9 ft\n        }\n  tank = 4\n}\n",
        "supply s {\ndraft {\nlift = 9 ft\n}\ntank = 4\n}\n",
        "supply s\n{\n    draft\n    {\n    lift = 9 ft }\n    tank = 4 }\n",
        "pump p {\n    curve (a, b)\n    {\n1 2\n-3 4 }\n  trim = 1 }\n",
        "lay l {\n  a\n  -> b\n  -> c\n}\n",
    ] {
        assert_eq!(errors(text), vec![], "{text}");
    }
}

#[test]
fn half_typed_rules_acceptances_patterns_and_functions_are_read_aloud() {
    for (text, place, message) in [
        (
            "accept\n",
            "accept",
            "expected a finding's code such as `CW1203` after `accept`, but the line ends",
        ),
        (
            "ring a {\n    accept\n    bore = 5 in\n}\n",
            "accept",
            "expected a finding's code such as `CW1203` after `accept`, but the line ends",
        ),
        (
            "accept because \"x\"\n",
            "because",
            "expected a finding's code such as `CW1203` after `accept`, but `because` stands here",
        ),
        (
            "accept CW1203\n",
            "CW1203",
            "expected `on` and a name or `because` and the reason in quotes after `CW1203`, but the line ends",
        ),
        (
            "accept CW1203 on a.b\n",
            "b",
            "expected `because` and the reason in quotes after `b`, but the line ends",
        ),
        (
            "accept CW1203 because \"x\" until 2027\n",
            "2027",
            "expected a date such as `2026-05-14` after `until`, but `2027` stands here",
        ),
        (
            "require for\n",
            "for",
            "expected `every` and a kind after `for`, but the line ends",
        ),
        (
            "require for every ring\n",
            "ring",
            "expected the name it goes by here after `ring`, but the line ends",
        ),
        (
            "require for every ring r of\n",
            "of",
            "expected a name after `of`, but the line ends",
        ),
        (
            "require for every ring r where r.form\n",
            "form",
            "expected a comparison such as `>=` or `within` after `form`, but the line ends",
        ),
        (
            "require for every ring r where r.form is a\n",
            "a",
            "expected `:` after `a`, but the line ends",
        ),
        (
            "require for every ring r: r.bore >\n",
            ">",
            "expected a value after `>`, but the line ends",
        ),
        (
            "require x is not\n",
            "not",
            "expected a value after `not`, but the line ends",
        ),
        (
            "require x == 5\n",
            "x",
            "expected a comparison such as `>=` or `within` after `x`, but `=` stands there",
        ),
        (
            "ring a like w(5 in) {}\n",
            "5",
            "expected a parameter's name and `=` after `(`, but `5` stands here",
        ),
        (
            "ring a like w(hub 5 in) {}\n",
            "hub",
            "expected `=` and a value after `hub`",
        ),
        (
            "ring a like w(hub {\n    bore = 5 in\n}\n",
            "(",
            "this `(` is not closed: expected `)`, but `{` comes next",
        ),
        (
            "let f(x = 5) = x\n",
            "x",
            "expected `,` or `)` after `x`, but `=` stands there",
        ),
        (
            "let f(x)\n",
            ")",
            "expected `=` after `)`, but the line ends",
        ),
        (
            "let y = x[]\n",
            "]",
            "expected a value after `[`, but `]` stands here",
        ),
        (
            "let y = x[1].\n",
            ".",
            "expected a name after `.`, but the line ends",
        ),
    ] {
        one(text, place, message);
    }
}
