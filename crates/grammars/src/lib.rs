//! What other readers of the language need, made from the compiler's own tables: word lists, the reference grammar, the
//! TextMate grammar, and the lists that the tree-sitter grammar and its queries hold.
//!
//! [`files`] names each file and what it must hold; the tests compare, and `CUTWATER_UPDATE=1` renews. Nothing here
//! reads or writes files. The tree-sitter grammar itself is `grammar/tree-sitter/grammar.js`; the tests here generate,
//! compile and run it.

pub mod queries;
pub mod textmate;
pub mod words;

/// The files made from the tables, by their paths under `grammar/`, but for the lists inside queries.
pub fn files() -> Vec<(&'static str, String)> {
    let words = words::words();
    vec![
        ("words.json", words.json()),
        ("tree-sitter/src/joining.h", words.joining_h()),
        (
            "textmate/cutwater.tmLanguage.json",
            textmate::grammar(&words),
        ),
        (
            "cutwater.ebnf",
            cutwater_syntax::grammar::ebnf(&words.kinds, &words.functions),
        ),
    ]
}
