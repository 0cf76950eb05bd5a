//! Writes files for the laws that hold for any text: well-formed ones that use whatever the language allows, and harmed
//! ones. Shared with the tests of the grammars for other readers.

use proptest::prelude::*;

const EVERY: &str = include_str!("../data/every_construct.pump");

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
                "/// note on what follows",
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
        if self.choices.pick(10) == 9 {
            let class = self
                .choices
                .one(&[" mm H7", " mm  js6", "in p6", " in\tJS7"]);
            self.put(class);
            return;
        }
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
            _ => {}
        }
    }

    fn expr(&mut self, depth: usize) {
        match if depth == 0 {
            self.choices.pick(4)
        } else {
            self.choices.pick(13)
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
                let function = self.choices.one(&["max(", "gap(", "parts.gap("]);
                self.put(function);
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
            11 => self.element(depth),
            _ => self.operand(depth - 1),
        }
    }

    /// An element of a list, and what is behind it.
    fn element(&mut self, depth: usize) {
        self.path();
        for _ in 0..=self.choices.pick(2) {
            self.put("[");
            self.expr(depth - 1);
            self.put("]");
            let member = self.choices.one(&["", ".mass", " . at"]);
            self.put(member);
        }
    }

    /// A value and what must hold of it.
    fn condition(&mut self) {
        self.operand(1);
        let rule = self
            .choices
            .one(&[" >= ", " ≤ ", " < ", " within ", " is ", " is not "]);
        self.put(rule);
        self.odd();
        self.operand(1);
    }

    fn acceptance(&mut self) {
        let accept = self.choices.one(&[
            "accept CW1203 because \"old casting\"",
            "accept  CW1203  on  clearance.x  because  \"a\"",
            "accept CW0001 on y1 because \"\" until 2027-03-31",
            "accept x because \"is not\" until  2027-03-31",
        ]);
        self.put(accept);
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
            4 => self.acceptance(),
            5 => {
                let name = self.choices.one(&["draft", "finish", "site"]);
                self.put(name);
                self.gap();
                self.block(depth - 1);
            }
            _ => self.table(),
        }
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
        match self.choices.pick(9) {
            0 => {
                let head = self.choices.one(&[
                    "ring a",
                    "site",
                    "pump spare like stock.main",
                    "test t of main",
                    "pump  x  like  y  of  z.w",
                    "ring w(hub, gap = 0.005 in)",
                    "ring w ( gap=1/8in ,hub , )",
                    "ring v()",
                    "ring b like w(hub = first.hub_diameter, gap = -1 thou,)",
                    "pump  x  like  s.y ( a=[1,2] )  of  z.w",
                ]);
                self.put(head);
                self.gap();
                self.block(2);
            }
            1 => {
                let name =
                    self.choices
                        .one(&["let gap", "let gap", "let f(bore, hub)", "let g ( x ,)"]);
                self.put(name);
                self.gap();
                self.put("=");
                self.odd();
                self.value();
            }
            2 | 5 => {
                self.put("require ");
                if self.choices.pick(3) == 2 {
                    let every = self.choices.one(&[
                        "for every ring r",
                        "for every hose h of stock.rack",
                        "for  every  ring  r  of  main",
                    ]);
                    self.put(every);
                    for n in 0..self.choices.pick(3) {
                        self.put(if n == 0 { " where " } else { " and " });
                        self.condition();
                    }
                    self.gap();
                    self.put(":");
                    self.gap();
                }
                self.condition();
                let reason =
                    self.choices
                        .one(&["", " because \"of a -> because \"", "  because   \"x\""]);
                self.put(reason);
            }
            3 => self.put("use  \"parts/hose.pump\" as stock"),
            4 => self.acceptance(),
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

/// Well-formed files.
pub fn good_files() -> impl Strategy<Value = String> {
    prop::collection::vec(any::<u8>(), 0..400).prop_map(|choices| {
        Writer {
            choices: Choices(choices),
            out: String::new(),
            further: 0,
        }
        .file()
    })
}

/// Pieces of text that matter to the lexer, and others.
pub fn pieces() -> impl Strategy<Value = String> {
    prop_oneof![
        "[ -~]{0,6}",
        "\\PC{0,3}",
        prop::sample::select(vec![
            "{", "}", "(", ")", "[", "]", "\n", "\r", "\r\n", "\"", "//", "///", "=", "->", ";",
            "..", ".", "-", "5", "in", "ring a {", "}\n", "let x =", "\u{feff}", "\t", "\u{2028}",
            "of", "@", "±", ",", "^",
        ])
        .prop_map(str::to_owned),
    ]
}

/// A good file with a few pieces cut out or put in.
pub fn harmed_files() -> impl Strategy<Value = String> {
    let base = prop_oneof![3 => good_files(), 1 => Just(EVERY.to_owned())];
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
