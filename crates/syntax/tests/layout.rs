//! The canonical layout: unchanged when laid out again, the same meaning, nothing lost.

mod common;
#[path = "common/writer.rs"]
mod writer;

use common::{EVERY_CONSTRUCT, cases, meanings, parse_file, said, shipped};
use cutwater_syntax::format;
use cutwater_syntax::token::{T, lex};
use proptest::prelude::*;
use writer::{good_files, harmed_files, pieces};

/// Checks all that holds for any text, broken or not; gives the layout.
fn check_any(text: &str) -> String {
    let once = format(text);
    assert_eq!(
        format(&once),
        once,
        "not the same the second time, from {text:?}"
    );
    assert_eq!(
        said(&once),
        said(text),
        "something was lost or moved in {text:?}"
    );
    for (source, parsed) in parse_file(text.trim_start_matches('\u{feff}')) {
        if !parsed.errors.is_empty() {
            let kept = source.replace("\r\n", "\n").replace('\r', "\n");
            let whole = once.replace("\r\n", "\n");
            assert!(
                whole.contains(kept.trim_end_matches('\n')),
                "a broken item was touched: {source:?} in {whole:?}"
            );
        }
    }
    if once.contains("\r\n") {
        assert!(!once.replace("\r\n", "").contains('\n'), "mixed line ends");
    }
    once
}

/// Checks what holds for a text without errors.
fn check_good(text: &str) {
    for (source, parsed) in parse_file(text) {
        assert_eq!(parsed.errors, vec![], "{source:?} in {text:?}");
    }
    let once = check_any(text);
    assert_eq!(
        meanings(&once),
        meanings(text),
        "{text}\n-- became --\n{once}"
    );
    let plain = once.replace("\r\n", "\n");
    assert!(!plain.contains('\r'), "a lone return is left");
    assert!(!plain.starts_with('\n') && !plain.contains("\n\n\n") && !plain.ends_with("\n\n"));
    let lines: Vec<&str> = plain.lines().collect();
    for pair in lines.windows(2) {
        let opens = lex(pair[0])
            .iter()
            .rev()
            .find(|r| !r.kind.is_trivia())
            .is_some_and(|r| r.kind == T::LBrace);
        assert!(
            !(opens && pair[1].is_empty()),
            "blank after a brace: {plain}"
        );
        assert!(
            !(pair[0].is_empty() && pair[1].trim_start().starts_with('}')),
            "blank before a brace: {plain}"
        );
    }
    for line in lines {
        assert_eq!(line, line.trim_end(), "blanks at a line's end: {plain}");
    }
}

#[test]
fn the_file_with_every_construct_is_laid_out() {
    check_good(EVERY_CONSTRUCT);
}

#[test]
fn one_fact_stands_on_each_line_and_columns_align() {
    let loose = "ring   a{bore=5.502in+-0.0005;land_length =  0.75 in // short\n   form= labyrinth// long\n}\npump p {\ncurve at 3300rpm(flow gpm,net psi){0 231;1250   -5}\n}\n";
    let neat = "ring a {\n    bore        = 5.502 in ± 0.0005\n    land_length = 0.75 in  // short\n    form        = labyrinth  // long\n}\n";
    let table = "pump p {\n    curve at 3300 rpm (flow gpm, net psi) {\n           0  231\n        1250   -5\n    }\n}\n";
    let got = format(loose);
    assert!(got.ends_with(table), "{got}");
    assert_eq!(
        got.trim_end_matches(table),
        neat.replace("0.75 in  // short", "0.75 in    // short"),
    );
}

#[test]
fn blank_lines_are_few() {
    let loose = "\n\n// top\n\n\n\nring a {\n\n\n  bore = 1 in\n\n\n  form = x\n\n}\n\n\n\nring b { // note\n\n  bore = 2 in\n  // last\n\n}\n\n\n";
    let neat = "// top\n\nring a {\n    bore = 1 in\n\n    form = x\n}\n\nring b {  // note\n    bore = 2 in\n    // last\n}\n";
    assert_eq!(format(loose), neat);
}

#[test]
fn a_comment_before_the_closing_brace_stays_inside() {
    let text = "supply s {\n    draft {\n        lift = 9 ft\n        // last inside\n    }\n    // last\n}\n";
    assert_eq!(format(text), text);
    let empty = "ring a {\n    // nothing yet\n}\n";
    assert_eq!(format(empty), empty);
}

#[test]
fn line_ends_follow_the_first_line() {
    assert_eq!(
        format("ring a {\r\n}\nring b {}\n"),
        "ring a {}\r\nring b {}\r\n"
    );
    assert_eq!(
        format("ring a {\n}\r\nring b {}\r\n"),
        "ring a {}\nring b {}\n"
    );
    assert_eq!(format("ring a {}\rring b {}"), "ring a {}\nring b {}\n");
    // A broken item keeps its text; only its line ends follow.
    assert_eq!(
        format("ring a {}\r\nring b {\n  bore  =\n}\n"),
        "ring a {}\r\nring b {\r\n  bore  =\r\n}\r\n"
    );
}

#[test]
fn a_byte_order_mark_is_left_out() {
    assert_eq!(format("\u{feff}ring a {}\n"), "ring a {}\n");
    assert_eq!(format("\u{feff}"), "");
}

#[test]
fn blanks_that_carry_meaning_stay() {
    // A square of a length is not an area's unit, an opposite is not a negative number, and two numbers with a
    // stroke between blanks are no fraction.
    for text in [
        "let a = 5 in ^ 2\n",
        "let a = 5 in^2\n",
        "let a = - 5^2\n",
        "let a = b - 5\n",
        "let a = 1 / 2\n",
        "let a = 5 in (2 / 1)\n",
        "let a = 5 in (+2/-1)\n",
    ] {
        assert_eq!(format(text), text);
        check_good(text);
    }
}

#[test]
fn a_typographic_minus_is_a_minus() {
    assert_eq!(
        format("pump p { curve (a, b) { −5 −; 3 − 4 } }\n"),
        "pump p {\n    curve (a, b) {\n        -5  -\n         3  -  4\n    }\n}\n"
    );
}

#[test]
fn long_lines_break_where_they_can() {
    let far = "a_rather_long_name.discharge -> 300 ft of stock.supply_number_3 rise 8 ft -> y1: std.gated_wye";
    let text = format!("lay l {{\n{far} -> end: std.nozzle\n}}\n");
    let got = format(&text);
    assert!(
        got.contains("\n        -> y1: std.gated_wye\n        -> end: std.nozzle\n}\n"),
        "{got}"
    );
    let reason = "w".repeat(90);
    let got = format(&format!("require a.b >= 5 psi because \"{reason}\""));
    assert_eq!(
        got,
        format!("require a.b >= 5 psi\n    because \"{reason}\"\n")
    );
    check_good(&got);
}

/// Each must come out as it is.
#[track_caller]
fn is_laid_out(text: &str) {
    assert_eq!(format(text), text);
    check_good(text);
    for line in text.lines() {
        assert!(line.chars().count() <= format::WIDTH, "{line}");
    }
}

#[test]
fn rules_for_every_part_break_behind_the_colon_and_before_conditions_and_the_reason() {
    is_laid_out(
        "require for every ring r of main where r.form is labyrinth and r.land_length >= 0.5 in:\n    r.clearance within r.clearance_limit\n",
    );
    is_laid_out(
        "require for every ring r of main where r.form is labyrinth and r.land_length >= 0.5 in: r.gap < 2 in\n    because \"worn rings leak\"\n",
    );
    is_laid_out(
        "require for every impeller wheel_of_it of engine_3.main\n    where wheel_of_it.outside_diameter >= 9.25 in\n    and wheel_of_it.hub_diameter is not 5.497 in\n    and wheel_of_it.vanes within 5 .. 7:\n    wheel_of_it.exit_width <= 7/8 in\n    because \"the bought ones are wider\"\n",
    );
}

#[test]
fn acceptances_break_before_their_reason() {
    is_laid_out(
        "accept CW1203 on intake_ring.clearance\n    because \"an old casting whose bore was opened by the last owner and is left so\" until 2027-03-31\n",
    );
    is_laid_out(
        "accept CW1203 on intake_ring.clearance\n    because \"an old casting whose bore was opened by the last owner of it and is left as it is\"\n    until 2027-03-31\n",
    );
}

#[test]
fn sums_and_lists_fill_their_lines() {
    is_laid_out(
        "ring a {\n    bore = first_part_of_the_sum.outside_diameter + second_part_of_the_sum.outside_diameter\n        - third_part_of_the_sum.outside_diameter * 2 + fourth_part_of_the_sum.outside_diameter\n        + 5 in\n    form = plain\n}\n",
    );
    is_laid_out(
        "let all = [first_of_the_list, second_of_the_list, third_of_the_list, fourth_of_the_list, fifth_one,\n    sixth_of_the_list, max(5 in, 6 in)]\n",
    );
    // The sum first, then what is still too long in it.
    is_laid_out(
        "let all = 2 in\n    + max(first_of_the_list, second_of_the_list, third_of_the_list, fourth_of_the_list, fifth_one,\n    sixth_of_the_list)\n    - 3 in\n",
    );
}

#[test]
fn parameters_and_arguments_fill_their_lines() {
    is_laid_out(
        "ring wear_ring(hub_diameter, radial_gap = 0.0025 in, land_length = 0.75 in, number_of_grooves = 4,\n    material = std.bronze_c93200) {\n    bore = hub_diameter + 2 * radial_gap\n}\n",
    );
    is_laid_out(
        "ring intake like wear_ring(hub_diameter = first.hub_diameter, radial_gap = 4 thou,\n    land_length = 1 in, number_of_grooves = 4) { form = plain }\n",
    );
    is_laid_out(
        "test annual of main {\n    readings (flow gpm, discharge psi, intake_vacuum inHg, engine rpm, held min,\n        room_temperature degF, water_temperature degF) {\n        1  2  3  4  5  6  7\n    }\n}\n",
    );
}

#[test]
fn columns_are_those_of_a_display() {
    // A wide letter takes two columns, a mark that combines none.
    assert_eq!(
        format(
            "ring a {\nnote=\"配管\" // w\nform=plain // n\nmark=\"e\u{301}e\u{301}\" // c\n}\n"
        ),
        "ring a {\n    note = \"配管\"  // w\n    form = plain   // n\n    mark = \"e\u{301}e\u{301}\"    // c\n}\n"
    );
    assert_eq!(
        format("pump p { t (a, b) { \"配管\" 1; \"ab\" 2 } }\n"),
        "pump p {\n    t (a, b) {\n        \"配管\"  1\n          \"ab\"  2\n    }\n}\n"
    );
}

#[test]
fn a_broken_item_is_left_and_its_neighbours_are_laid_out() {
    let text = "ring a{bore=1in}\nring b {\n      bore  =\n  form=x\n}\nring c{bore=2in}\n";
    assert_eq!(
        format(text),
        "ring a { bore = 1 in }\nring b {\n      bore  =\n  form=x\n}\nring c { bore = 2 in }\n"
    );
}

#[test]
fn without_any_one_token_nothing_else_is_lost() {
    for (name, text) in shipped() {
        let raw = lex(&text);
        // Some of each, so that no file is left out; `CUTWATER_CASES` asks for all.
        let step = if std::env::var_os("CUTWATER_CASES").is_some() {
            1
        } else {
            5
        };
        for r in raw.iter().filter(|r| !r.kind.is_trivia()).step_by(step) {
            let mut harmed = text.clone();
            harmed.replace_range(r.span.range(), "");
            let once = format(&harmed);
            let at = || {
                format!(
                    "without {:?} at {} of {name}",
                    r.span.slice(&text),
                    r.span.start
                )
            };
            assert_eq!(said(&once), said(&harmed), "something was lost {}", at());
            assert_eq!(format(&once), once, "not the same the second time {}", at());
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(), max_shrink_iters: 4000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn good_files_are_laid_out_without_loss(text in good_files()) {
        check_good(&text);
    }

    #[test]
    fn harmed_files_are_laid_out_without_loss(text in harmed_files()) {
        check_any(&text);
    }

    #[test]
    fn any_text_is_laid_out_without_loss(text in prop::collection::vec(pieces(), 0..40)) {
        check_any(&text.concat());
    }
}
