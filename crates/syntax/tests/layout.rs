//! The canonical layout: unchanged when laid out again, the same meaning, nothing lost.

mod common;

use common::{EVERY_CONSTRUCT, meaning, parse_file};
use cutwater_syntax::format;
use cutwater_syntax::token::{T, lex};
use proptest::prelude::*;

/// Tokens and comments in order, with one spelling for signs that have several.
fn said(text: &str) -> Vec<String> {
    lex(text)
        .iter()
        .filter(|r| !matches!(r.kind, T::Newline | T::Semicolon))
        .map(|r| match r.kind {
            T::PlusMinus => "±".to_owned(),
            T::Arrow => "->".to_owned(),
            T::Minus => "-".to_owned(),
            T::Star => "*".to_owned(),
            T::AtLeast => ">=".to_owned(),
            T::AtMost => "<=".to_owned(),
            _ => r.span.slice(text).trim_end().to_owned(),
        })
        // A unit keeps its signs; elsewhere they are spelled one way.
        .map(|t| t.replace(['·', '⋅', '×'], "*"))
        .collect()
}

fn meanings(text: &str) -> Vec<String> {
    parse_file(text).iter().map(|(_, p)| meaning(p)).collect()
}

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

/// Choices for the writer below, taken one after another; when they run out the plainest is taken.
struct Choices(Vec<u8>);

impl Choices {
    fn pick(&mut self, of: usize) -> usize {
        self.0.pop().map_or(0, |b| b as usize % of.max(1))
    }

    fn one<'a>(&mut self, of: &[&'a str]) -> &'a str {
        of[self.pick(of.len())]
    }
}

/// Writes a well-formed file with blanks, comments and line ends wherever the language allows them.
struct Writer {
    choices: Choices,
    out: String,
    further: usize,
}

impl Writer {
    fn put(&mut self, text: &str) {
        self.out.push_str(text);
    }

    /// Blanks that may be none.
    fn gap(&mut self) {
        let gap = self.choices.one(&[" ", "", "  ", "\t"]);
        self.put(gap);
    }

    /// Blanks of which there is one at least.
    fn blank(&mut self) {
        let gap = self.choices.one(&[" ", "  ", " \t", "\u{a0}"]);
        self.put(gap);
    }

    fn line_end(&mut self) {
        let end = self.choices.one(&["\n", "\n", "\n", "\r\n", "\r"]);
        self.put(end);
    }

    /// A place inside an entry where a line may end; what follows stands far in.
    fn odd(&mut self) {
        if self.choices.pick(12) == 11 {
            let comment = self
                .choices
                .one(&["", "// odd — place", "/// odd note", "//"]);
            self.put(comment);
            self.line_end();
            // Further in each time, so that it is further in than the line it goes on from.
            self.further += 1;
            let blanks = " ".repeat(20 + self.further);
            self.put(&blanks);
        } else {
            self.gap();
        }
    }

    /// Between entries of a block.
    fn between(&mut self, one_line: bool) {
        if one_line {
            let sign = self.choices.one(&[";", " ; ", ";;"]);
            self.put(sign);
            return;
        }
        let note = self
            .choices
            .one(&["", "", "", " // tråiling {", "  //x", ";"]);
        self.put(note);
        self.line_end();
        self.lines_between();
    }

    fn lines_between(&mut self) {
        for _ in 0..self.choices.pick(4) {
            let extra = self.choices.one(&[
                "",
                "   ",
                "/// note on what follows 配管 e\u{301}",
                "  // a line }",
                "//! about the file",
            ]);
            self.put(extra);
            self.line_end();
        }
    }

    fn name(&mut self) {
        let name = self.choices.one(&[
            "bore",
            "x",
            "land_length",
            "Δp",
            "µ_factor",
            "hold_time",
            "a1",
            "use",
            "let",
        ]);
        self.put(name);
    }

    fn path(&mut self) {
        let name = self.choices.one(&["first", "main", "stock", "y1"]);
        self.put(name);
        for _ in 0..self.choices.pick(3) {
            let dot = self.choices.one(&[".", ".", " . "]);
            self.put(dot);
            let part = self
                .choices
                .one(&["flow", "rise", "hub_diameter", "at", "in"]);
            self.put(part);
        }
    }

    fn number(&mut self) {
        let number = self.choices.one(&[
            "5", "-5", "3/4", "2-1/2", ".005", "1_250", "5e-3", "12.50", "−7",
        ]);
        self.put(number);
    }

    fn unit(&mut self) {
        if self.choices.pick(2) == 0 {
            return;
        }
        let gap = self.choices.one(&[" ", "  ", ""]);
        let unit = self.choices.one(&[
            "in", "ft/s", "oz*in", "oz·in", "lbf/in^2", "°F", "%", "µm", "mm²", "m^-1",
        ]);
        self.put(gap);
        self.put(unit);
    }

    fn literal(&mut self) {
        self.number();
        self.unit();
        match self.choices.pick(8) {
            5 => {
                self.gap();
                let sign = self.choices.one(&["±", "+-", "+/-"]);
                self.put(sign);
                self.odd();
                let value = self.choices.one(&["0.004", "1 %", "1/64", "2"]);
                self.put(value);
            }
            6 => {
                let pair = self.choices.one(&[
                    "(+0.1/-0.2)",
                    " ( +2 / 1 )",
                    "(0/-0.001 in)",
                    " (+0.0 /-0.001in )",
                    "(1 / -2)",
                ]);
                self.put(pair);
            }
            // A class needs a unit before it, or it is one.
            7 if self.out.ends_with(['n', 'm', 's']) => {
                let class = self.choices.one(&[" H7", "  p6", " js6"]);
                self.put(class);
            }
            _ => {}
        }
    }

    fn expr(&mut self, depth: usize) {
        match if depth == 0 {
            self.choices.pick(4)
        } else {
            self.choices.pick(14)
        } {
            0 | 1 => self.literal(),
            2 => self.path(),
            3 => {
                let text =
                    self.choices
                        .one(&["\"a -> b // \\ { ; ×\"", "\"\"", "2026-05-14", "[]"]);
                self.put(text);
            }
            4 => {
                self.expr(depth - 1);
                for _ in 0..=self.choices.pick(3) {
                    let sign = self
                        .choices
                        .one(&[" + ", " - ", " * ", " / ", " × ", " − ", " + - "]);
                    self.put(sign);
                    self.odd();
                    self.operand(depth - 1);
                }
            }
            5 => {
                self.put("(");
                self.odd();
                self.expr(depth - 1);
                self.odd();
                self.put(")");
            }
            6 => {
                self.put("max(");
                self.items(depth);
                self.put(")");
            }
            7 => {
                self.put("[");
                self.items(depth);
                self.put("]");
            }
            8 => {
                let sign = self.choices.one(&["-", "- ", "- - "]);
                self.put(sign);
                self.operand(depth - 1);
            }
            9 => {
                self.operand(0);
                let sign = self.choices.one(&[" ^ ", " ^", " ^  - ", " ^ -"]);
                self.put(sign);
                self.number();
            }
            10 => {
                self.operand(depth - 1);
                self.put(" .. ");
                self.odd();
                self.operand(depth - 1);
            }
            11 => {
                let path = self.choices.one(&["main.stages[", "gaps [ ", "first . x["]);
                self.put(path);
                self.odd();
                self.expr(depth - 1);
                let rest = self.choices.one(&["]", " ].flow", "][2].a . b"]);
                self.put(rest);
            }
            12 => {
                // Long enough to be broken.
                let sign = self.choices.one(&[" + ", " - ", ", ", " * "]);
                let open = if sign == ", " { "[" } else { "" };
                self.put(open);
                for n in 0..6 + self.choices.pick(12) {
                    if n > 0 {
                        self.put(sign);
                    }
                    let part = self.choices.one(&[
                        "a_rather_long_name_for_a_part.outside_diameter",
                        "max(another_long_name, 2.5 in - 1/8 in, 3 * (b + c))",
                        "\"a text, with + signs - of 配管 e\u{301}\"",
                        "[first, second, third, fourth]",
                        "(some_name.with_a_member + 5.25 in ± 0.01 - 3)",
                        "5 in",
                    ]);
                    self.put(part);
                }
                self.put(if open.is_empty() { "" } else { "]" });
            }
            _ => self.operand(depth - 1),
        }
    }

    /// A part of a sum, in brackets where it is more than a literal or a path.
    fn operand(&mut self, depth: usize) {
        match self.choices.pick(3) {
            0 => self.literal(),
            1 => self.path(),
            _ => {
                self.put("(");
                self.expr(depth);
                self.put(")");
            }
        }
    }

    fn items(&mut self, depth: usize) {
        for n in 0..self.choices.pick(4) {
            if n > 0 {
                self.gap();
                self.put(",");
                self.odd();
            }
            self.expr(depth - 1);
        }
    }

    fn value(&mut self) {
        self.expr(2);
        match self.choices.pick(8) {
            6 => {
                self.blank();
                self.put("of");
                self.blank();
                self.path();
            }
            7 => {
                let word = self.choices.one(&[" at ", " per "]);
                self.put(word);
                self.expr(1);
            }
            _ => {}
        }
    }

    fn station(&mut self) {
        match self.choices.pick(3) {
            0 => self.path(),
            1 => {
                let label = self.choices.one(&["y1:", "left : "]);
                self.put(label);
                self.gap();
                self.path();
            }
            _ => {
                self.put("300 ft");
                self.blank();
                self.put("of");
                self.blank();
                self.path();
            }
        }
        if self.choices.pick(3) == 2 {
            let more =
                self.choices
                    .one(&[" rise 8 ft", " fall (2 + 3) ft", " lines 2", " rise -x"]);
            // A value in brackets takes no unit.
            self.put(&more.replace(") ft", ")"));
        }
    }

    fn entry(&mut self, depth: usize, one_line: bool) {
        match self.choices.pick(if depth == 0 { 5 } else { 7 }) {
            0 | 1 => {
                self.name();
                self.gap();
                self.put("=");
                self.odd();
                self.value();
            }
            2 => {
                self.put("hold ");
                self.path();
                self.gap();
                self.put("=");
                self.gap();
                self.value();
            }
            3 => {
                self.path();
                for _ in 0..=self.choices.pick(6) {
                    let gap = self.choices.one(&[" ", "  "]);
                    self.put(gap);
                    if !one_line && self.choices.pick(6) == 5 {
                        self.line_end();
                        self.put("                ");
                    }
                    let arrow = self.choices.one(&["->", "→"]);
                    self.put(arrow);
                    self.odd();
                    self.station();
                }
            }
            4 => self.accept(),
            5 => {
                let name = self.choices.one(&["draft", "finish", "site"]);
                self.put(name);
                self.gap();
                self.block(depth - 1);
            }
            _ => self.table(),
        }
    }

    fn accept(&mut self) {
        let what = self
            .choices
            .one(&["accept CW1203", "accept  CW1203  on  first.bore"]);
        self.put(what);
        let reason = self.choices.one(&[
            " because \"old casting\"",
            "  because  \"an old casting, whose bore was opened by the last owner and cannot be put back as it was drawn\"",
        ]);
        self.put(reason);
        let until = self.choices.one(&["", " until 2027-03-31"]);
        self.put(until);
    }

    /// Names with values, of a pattern or of what fills it in.
    fn named(&mut self) {
        for n in 0..self.choices.pick(7) {
            if n > 0 {
                self.put(",");
                self.odd();
            }
            let name = self.choices.one(&["hub", "gap_of_a_long_name", "x"]);
            self.put(name);
            self.gap();
            self.put("=");
            self.gap();
            self.operand(1);
        }
    }

    fn every(&mut self) {
        let head = self.choices.one(&[
            "for every ring r",
            "for  every  hose  h  of  main.parts",
            "for every ring r of main",
        ]);
        self.put(head);
        for n in 0..self.choices.pick(4) {
            self.put(if n == 0 { " where " } else { " and " });
            self.operand(1);
            self.rule();
        }
        let colon = self.choices.one(&[": ", " :  ", ":"]);
        self.put(colon);
        self.odd();
    }

    fn rule(&mut self) {
        let rule = self
            .choices
            .one(&[" >= ", " ≤ ", " < ", " within ", " is ", " is  not "]);
        self.put(rule);
        self.operand(1);
    }

    fn table(&mut self) {
        let head = self.choices.one(&[
            "curve at 3300 rpm (flow gpm, net psi)",
            "output(speed rpm ,gear, note,)",
            "readings at (2 + x) (a)",
            "runs ()",
        ]);
        self.put(head);
        self.gap();
        self.put("{");
        self.gap();
        if self.choices.pick(3) == 1 {
            self.between(false);
        }
        for n in 0..self.choices.pick(4) {
            if n > 0 {
                let one_line = self.choices.pick(3) == 0;
                self.between(one_line);
            }
            for k in 0..=self.choices.pick(4) {
                if k > 0 {
                    self.blank();
                }
                let cell = self.choices.one(&[
                    "0",
                    "-",
                    "-5",
                    "+5",
                    "12.5",
                    "\"low -> x\"",
                    "idle",
                    "3/4",
                    "−",
                    "lines",
                    "−2",
                ]);
                self.put(cell);
            }
        }
        if self.choices.pick(2) == 0 {
            self.between(false);
        }
        self.put(" }");
    }

    fn block(&mut self, depth: usize) {
        let one_line = self.choices.pick(3) == 0;
        self.put("{");
        if one_line {
            self.gap();
        } else {
            self.between(false);
        }
        for n in 0..self.choices.pick(4) {
            if n > 0 {
                self.between(one_line);
            }
            if !one_line {
                self.put("        ");
            }
            self.entry(depth, one_line);
        }
        if !one_line {
            self.between(false);
        }
        self.gap();
        self.put("}");
    }

    fn item(&mut self) {
        match self.choices.pick(10) {
            0 => {
                let head = self.choices.one(&[
                    "ring a",
                    "site",
                    "pump spare like stock.main",
                    "test t of main",
                    "pump  x  like  y  of  z.w",
                ]);
                self.put(head);
                self.gap();
                self.block(2);
            }
            1 => {
                self.put("let gap");
                self.gap();
                self.put("=");
                self.odd();
                self.value();
            }
            2 => {
                self.put("require ");
                if self.choices.pick(2) == 1 {
                    self.every();
                }
                self.operand(1);
                self.rule();
                let reason =
                    self.choices
                        .one(&["", " because \"of a -> because \"", "  because   \"x\""]);
                self.put(reason);
            }
            3 => self.put("use  \"parts/hose.pump\" as stock"),
            4 => self.accept(),
            5 => {
                self.put("ring wear_ring (");
                let first = self.choices.one(&["", "hub, ", "hub , gap,"]);
                self.put(first);
                self.named();
                self.put(") ");
                self.block(1);
            }
            6 => {
                self.put("ring b  like  wear.ring(");
                self.named();
                self.put(")");
                let of = self.choices.one(&["", " of main"]);
                self.put(of);
                self.block(1);
            }
            7 => {
                let head = self
                    .choices
                    .one(&["let f(x) ", "let  f ( x,y ,z, ) ", "let f(x, y)"]);
                self.put(head);
                self.put("=");
                self.odd();
                self.value();
            }
            _ => {
                self.put("ring b ");
                self.block(1);
            }
        }
    }

    fn file(mut self) -> String {
        let begin = self
            .choices
            .one(&["", "\n\n", "// top\n", "//! about\n\n", "  \n"]);
        self.put(begin);
        for _ in 0..=self.choices.pick(4) {
            self.item();
            let note = self.choices.one(&["", "", " // tråiling {", "//x"]);
            self.put(note);
            self.line_end();
            self.lines_between();
        }
        if self.choices.pick(4) == 3 {
            self.put("// the end");
        }
        self.out
    }
}

fn good_files() -> impl Strategy<Value = String> {
    prop::collection::vec(any::<u8>(), 0..400).prop_map(|choices| {
        Writer {
            choices: Choices(choices),
            out: String::new(),
            further: 0,
        }
        .file()
    })
}

fn pieces() -> impl Strategy<Value = String> {
    prop_oneof![
        "[ -~]{0,6}",
        "\\PC{0,3}",
        prop::sample::select(vec![
            "{",
            "}",
            "(",
            ")",
            "[",
            "]",
            "\n",
            "\r",
            "\r\n",
            "\"",
            "//",
            "///",
            "=",
            "->",
            ";",
            "accept CW1 because \"\"",
            "require for every a b:",
            "like w(",
            "配管",
            "e\u{301}",
            "..",
            ".",
            "-",
            "5",
            "in",
            "ring a {",
            "}\n",
            "let x =",
            "\u{feff}",
            "\t",
            "\u{2028}",
            "of",
            "@",
            "±",
            ",",
            "^",
        ])
        .prop_map(str::to_owned),
    ]
}

/// A good file with a few pieces cut out or put in.
fn harmed_files() -> impl Strategy<Value = String> {
    let base = prop_oneof![3 => good_files(), 1 => Just(EVERY_CONSTRUCT.to_owned())];
    let edits = prop::collection::vec((any::<prop::sample::Index>(), 0usize..12, pieces()), 1..5);
    (base, edits).prop_map(|(mut text, edits)| {
        for (at, cut, put) in edits {
            let mut from = at.index(text.len() + 1);
            while !text.is_char_boundary(from) {
                from -= 1;
            }
            let mut to = (from + cut).min(text.len());
            while !text.is_char_boundary(to) {
                to += 1;
            }
            text.replace_range(from..to, &put);
        }
        text
    })
}

/// Cases for each law; `CUTWATER_CASES` asks for more.
fn cases() -> u32 {
    std::env::var("CUTWATER_CASES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(1500)
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
