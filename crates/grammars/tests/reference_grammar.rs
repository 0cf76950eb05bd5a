//! The reference grammar and the parser agree, both ways: sentences written from the grammar are read without a slip, and
//! what is read without a slip is a sentence of the grammar. The tree-sitter grammar reads the sentences too.

#[path = "support/ebnf.rs"]
mod ebnf;
mod support;
#[path = "../../syntax/tests/common/writer.rs"]
mod writer;

use cutwater_syntax::prepare::prepare;
use cutwater_syntax::split::split;
use cutwater_syntax::token::{T, lex};
use ebnf::{Grammar, Recogniser, Sentences, names};
use proptest::prelude::*;
use std::collections::{BTreeSet, HashMap};
use std::sync::OnceLock;
use support::{first_error, is_well_formed, parse, pump_files};

/// Cases for each law; `CUTWATER_CASES` asks for more.
fn cases() -> u32 {
    std::env::var("CUTWATER_CASES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(1000)
}

fn grammar() -> &'static Grammar {
    static GRAMMAR: OnceLock<Grammar> = OnceLock::new();
    GRAMMAR.get_or_init(|| {
        let path = support::root().join("grammar/cutwater.ebnf");
        Grammar::read(&std::fs::read_to_string(path).unwrap()).unwrap()
    })
}

/// Whether each chunk is an item of the grammar, or empty.
fn is_sentence(grammar: &Grammar, text: &str) -> bool {
    split(text).iter().all(|c| {
        let source = c.span.slice(text);
        let mut errors = Vec::new();
        let Some(toks) = prepare(source, &lex(source), &mut errors) else {
            return false;
        };
        errors.is_empty() && (toks.is_empty() || Recogniser::new(grammar, &toks).accepts("item"))
    })
}

/// The chunks that only one of the two reads.
fn disagreement(grammar: &Grammar, text: &str) -> Option<String> {
    split(text)
        .iter()
        .map(|c| c.span.slice(text))
        .find(|source| is_well_formed(source) && !is_sentence(grammar, source))
        .map(str::to_owned)
}

/// The rules of the grammar that are for the reader alone: comments and blanks are no part of a sentence.
const BETWEEN_TOKENS: &[&str] = &["comment", "blank"];

#[test]
fn every_rule_is_used() {
    let grammar = grammar();
    let mut reached = BTreeSet::new();
    let mut ways = vec!["file".to_owned()];
    while let Some(name) = ways.pop() {
        if reached.insert(name.clone()) {
            ways.extend(names(&grammar.rules[&name]));
        }
    }
    let unused: Vec<&String> = grammar
        .order
        .iter()
        .filter(|n| !reached.contains(*n) && !BETWEEN_TOKENS.contains(&n.as_str()))
        .collect();
    assert!(unused.is_empty(), "nothing leads to {unused:?}");
}

#[test]
fn every_file_of_the_project_is_a_sentence() {
    let grammar = grammar();
    let mut wrong = Vec::new();
    for folder in [
        "examples",
        "demo-data",
        "crates/compiler/src/std",
        "crates/syntax/tests/data",
    ] {
        for (path, text) in pump_files(folder) {
            wrong.extend(disagreement(grammar, &text).map(|c| format!("{}: {c}", path.display())));
        }
    }
    for code in cutwater_compiler::codes::all() {
        for text in [code.fires, code.silent] {
            wrong.extend(disagreement(grammar, text).map(|c| format!("{}: {c}", code.id)));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn slips_are_no_sentences() {
    let grammar = grammar();
    for slip in [
        "ring { bore = }\n",
        "let a = 5 ft of\n",
        "let a = 1 2\n",
        "require a\n",
        "ring a like { }\n",
        "use \"x\"\n",
        "let a = b ^ c ^ d\n",
        "pump p { curve (a, b) { 1 in^2 } }\n",
        "accept CW0101\n",
        "require for every ring: a > b\n",
        "let a = f(b, , c)\n",
        "lay l { a -> }\n",
    ] {
        assert!(!is_well_formed(slip), "{slip:?} is read");
        assert!(!is_sentence(grammar, slip), "{slip:?} is a sentence");
    }
}

/// What the head of the grammar says in prose and the writer does not keep by its layout.
fn breaks_the_prose(text: &str) -> bool {
    // An entry that begins with a minus goes on with the value before it.
    let minus_first =
        |line: &str| line.trim_start().starts_with(['-', '−']) && line.contains(['>', '→']);
    text.lines().any(minus_first)
        || split(text).iter().any(|c| {
            let source = c.span.slice(text);
            let toks = prepare(source, &lex(source), &mut Vec::new()).unwrap_or_default();
            let kind = |i: usize| toks.get(i).map(|t| t.kind);
            // "not" after "is" is the word of the grammar.
            let not = toks
                .windows(3)
                .any(|w| w[0].text == "is" && w[1].text == "not" && !matches!(w[2].kind, T::Word));
            // A name right before "(" is a function's: `curve at x (a) {` is a call where columns were meant.
            let mut open: Vec<usize> = Vec::new();
            let call = (0..toks.len()).any(|i| match toks[i].kind {
                T::LBrace | T::LParen | T::LBracket => {
                    open.push(i);
                    false
                }
                T::RBrace | T::RParen | T::RBracket => {
                    let from = open.pop().unwrap_or(0);
                    toks[i].kind == T::RParen
                        && kind(i + 1) == Some(T::LBrace)
                        && !open.is_empty()
                        && kind(from.wrapping_sub(1)) == Some(T::Word)
                        && !toks[from - 1].first
                }
                _ => false,
            });
            not || call
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(), max_shrink_iters: 4000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn sentences_are_read_without_a_slip(choices in prop::collection::vec(any::<u8>(), 0..600)) {
        let grammar = grammar();
        let mut choices = choices.into_iter();
        let text = Sentences::new(grammar, |of| choices.next().map_or(0, |b| b as usize % of)).write("file");
        if !breaks_the_prose(&text) {
            for c in split(&text) {
                let source = c.span.slice(&text);
                prop_assert_eq!(cutwater_syntax::parse_chunk(source).errors, vec![], "{} in {}", source, text);
            }
            prop_assert!(is_sentence(grammar, &text), "{}", text);
            prop_assert_eq!(first_error(&parse(&text), &text), None, "{}", text);
        }
    }

    #[test]
    fn good_files_are_sentences(text in writer::good_files()) {
        prop_assert_eq!(disagreement(grammar(), &text), None);
    }

    #[test]
    fn harmed_files_are_sentences_where_the_parser_reads_them(text in writer::harmed_files()) {
        prop_assert_eq!(disagreement(grammar(), &text), None);
    }
}

#[test]
fn the_writer_uses_every_rule() {
    let grammar = grammar();
    let mut state = 7u64;
    let mut used: HashMap<String, usize> = HashMap::new();
    for _ in 0..400 {
        // A plain linear congruential generator (Knuth's constants, MMIX): the same sentences in every run.
        let mut sentences = Sentences::new(grammar, |of| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as usize % of
        });
        let text = sentences.write("file");
        assert!(breaks_the_prose(&text) || is_well_formed(&text), "{text}");
        for (name, n) in sentences.used {
            *used.entry(name).or_default() += n;
        }
    }
    let syntactic = [
        "item",
        "use",
        "let",
        "require",
        "every",
        "accept",
        "declaration",
        "parameters",
        "arguments",
        "hold",
        "table",
        "group",
        "chain",
        "modifier",
        "range",
        "element",
        "call",
        "list",
        "class",
        "tolerance",
        "deviation",
    ];
    for name in syntactic {
        assert!(
            name == "range" || used.contains_key(name),
            "{name} was never written"
        );
    }
}
