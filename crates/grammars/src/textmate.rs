//! The TextMate grammar, `grammar/textmate/cutwater.tmLanguage.json`, for editors that colour by regular expressions.
//!
//! It sees one line at a time, so it knows less than the parser; what it must not do is run on: a text ends with its line,
//! and a table that was not closed ends where a line in the first column begins an item. Scope names are those that
//! themes know (`keyword`, `storage.type`, `entity.name`, `variable.other`, `constant.numeric`, `keyword.other.unit` …).

use crate::words::{Words, pretty};
use serde_json::{Value, json};

/// A word's first character and what may follow it, as in the lexer.
const FIRST: &str = "[A-Za-z_%°µμ℃℉Δ]";
const FURTHER: &str = "[A-Za-z0-9_°µμ²³⁴⁻¹]";
const NUMBER: &str = r"(?:(?:[0-9]+-)?[0-9]+/[0-9]+|(?:[0-9][0-9_]*(?:\.[0-9][0-9_]*)?|\.[0-9][0-9_]*)(?:[eE][+-]?[0-9]+)?)";
const DATE: &str = "[0-9]{4}-[0-9]{2}-[0-9]{2}";
const BLANKS: &str = r"[ \t\x{A0}\x{FEFF}]*";

/// One of these words, whole.
fn one_of(words: &[&str]) -> String {
    format!("(?<!{FURTHER})(?:{})(?!{FURTHER})", words.join("|"))
}

fn matching(name: &str, pattern: &str) -> Value {
    json!({ "name": format!("{name}.pump"), "match": pattern })
}

fn capturing(pattern: &str, captures: &[(usize, &str)]) -> Value {
    let map: serde_json::Map<String, Value> = captures
        .iter()
        .map(|(n, name)| (n.to_string(), json!({ "name": format!("{name}.pump") })))
        .collect();
    json!({ "match": pattern, "captures": map })
}

fn include(names: &[&str]) -> Value {
    names
        .iter()
        .map(|n| json!({ "include": format!("#{n}") }))
        .collect()
}

/// The grammar with the words of these lists.
pub fn grammar(words: &Words) -> String {
    let word = format!("{FIRST}{FURTHER}*");
    let name = format!("(?<!{FURTHER}){word}");
    let joining = words.grammar.joining.join("|");
    let not_joining = format!("(?!(?:{joining})(?!{FURTHER}))");
    let unit = format!(
        "(?:1/)?{not_joining}{word}(?:[*·⋅×/]{word}|\\^[-−]?[0-9][0-9_]*(?:\\.[0-9][0-9_]*)?)*(?!{FURTHER})(?!{BLANKS}=)"
    );
    let kinds = words.kinds.join("|");
    let unnamed = words.unnamed.join("|");
    let items = words.grammar.items.join("|");
    let choices = words.choices.join("|");
    // A line that begins an item whatever stands open before it.
    let item_begins = format!(
        "^(?=(?:(?:{items})(?!{FURTHER})(?!{BLANKS}[={{])|(?:{unnamed}){BLANKS}\\{{|{word}[ \\t]+{word}{BLANKS}[{{(]|{word}[ \\t]+{word}[ \\t]+(?:like|of)(?!{FURTHER})))"
    );

    // Where an entry can begin, with the blanks before it.
    let entry_begins = format!("(?:^|(?<=[{{}};])){BLANKS}");

    let repository = json!({
        "comments": { "patterns": [
            matching("comment.line.documentation.file", "//!.*$"),
            matching("comment.line.documentation", "///.*$"),
            matching("comment.line.double-slash", "//.*$"),
        ]},
        "texts": { "patterns": [
            matching("string.quoted.double", "\"[^\"\\r\\n]*\""),
            matching("string.quoted.double.unclosed", "\"[^\"\\r\\n]*$"),
        ]},
        "items": { "patterns": [
            capturing(
                &format!("^{BLANKS}(use)(?={BLANKS}\")"),
                &[(1, "keyword.control.import")],
            ),
            capturing(
                &format!("(?<!{FURTHER})(as)[ \\t]+({word})"),
                &[(1, "keyword.control.import"), (2, "entity.name.namespace")],
            ),
            capturing(
                &format!("^{BLANKS}(let)[ \\t]+({word}){BLANKS}(?=\\()"),
                &[(1, "keyword.declaration"), (2, "entity.name.function")],
            ),
            capturing(
                &format!("^{BLANKS}(let)[ \\t]+({word}){BLANKS}(=)"),
                &[(1, "keyword.declaration"), (2, "variable.other.constant"), (3, "keyword.operator.assignment")],
            ),
            capturing(
                &format!("^{BLANKS}(let)(?!{FURTHER})(?!{BLANKS}[={{])"),
                &[(1, "keyword.declaration")],
            ),
            capturing(
                &format!("^{BLANKS}(require)(?!{FURTHER})(?!{BLANKS}[={{])"),
                &[(1, "keyword.control.rule")],
            ),
            capturing(
                &format!("(?<!{FURTHER})(for)[ \\t]+(every)[ \\t]+({word})(?:[ \\t]+{not_joining}({word}))?"),
                &[(1, "keyword.control.rule"), (2, "keyword.control.rule"), (3, "storage.type"), (4, "variable.parameter")],
            ),
            capturing(
                &format!("{entry_begins}(accept)[ \\t]+({word})(?:[ \\t]+(on)(?!{FURTHER}))?"),
                &[(1, "keyword.control.accept"), (2, "constant.other.code"), (3, "keyword.other.link")],
            ),
        ]},
        "declarations": { "patterns": [
            // A known kind, wherever an item can begin; an unknown one in the first column alone.
            capturing(
                &format!("(?:^{BLANKS}|(?<=\\}}){BLANKS})({kinds})[ \\t]+{not_joining}({word})(?={BLANKS}[{{(]|[ \\t]+(?:like|of)(?!{FURTHER}))"),
                &[(1, "storage.type"), (2, "entity.name.type")],
            ),
            capturing(
                &format!("^({kinds})(?={BLANKS}\\{{|[ \\t]+(?:like|of)(?!{FURTHER}))"),
                &[(1, "storage.type")],
            ),
            capturing(
                &format!("^{not_joining}({word})[ \\t]+{not_joining}({word})(?={BLANKS}[{{(]|[ \\t]+(?:like|of)(?!{FURTHER}))"),
                &[(1, "storage.type.unknown"), (2, "entity.name.type")],
            ),
            capturing(
                &format!("(?<!{FURTHER})(like)[ \\t]+({word}(?:\\.{word})*)"),
                &[(1, "keyword.other.link"), (2, "entity.other.inherited-class")],
            ),
        ]},
        "tables": { "patterns": [{
            "begin": format!("({name})(?={BLANKS}(?:(?<={FURTHER})[ \\t]+at(?!{FURTHER})[^{{}}\\r\\n]*)?\\([^()=\\r\\n]*\\){BLANKS}\\{{)"),
            "beginCaptures": { "1": { "name": "entity.name.section.table.pump" } },
            "end": format!("(\\}})|{item_begins}"),
            "endCaptures": { "1": { "name": "punctuation.section.block.end.pump" } },
            "name": "meta.table.pump",
            "patterns": [
                { "include": "#comments" },
                {
                    "begin": format!("\\((?=[^()=\\r\\n]*\\){BLANKS}\\{{)"),
                    "beginCaptures": { "0": { "name": "punctuation.section.parens.begin.pump" } },
                    "end": "\\)|$",
                    "endCaptures": { "0": { "name": "punctuation.section.parens.end.pump" } },
                    "patterns": [
                        capturing(&format!("({word})(?:[ \\t]+({unit}))?"), &[(1, "variable.parameter.column"), (2, "keyword.other.unit")]),
                        matching("punctuation.separator", ","),
                    ],
                },
                {
                    "begin": "\\{",
                    "beginCaptures": { "0": { "name": "punctuation.section.block.begin.pump" } },
                    "end": format!("(?=\\}})|{item_begins}"),
                    "name": "meta.rows.pump",
                    "patterns": [
                        { "include": "#comments" },
                        { "include": "#texts" },
                        matching("constant.numeric", &format!("(?<!{FURTHER})[-−+]?{NUMBER}")),
                        matching("constant.language.absent", "[-−]"),
                        matching("constant.other.cell", &word),
                        matching("punctuation.separator.row", ";"),
                    ],
                },
                { "include": "#values" },
            ],
        }]},
        "entries": { "patterns": [
            capturing(
                &format!("({name}){BLANKS}(=)"),
                &[(1, "variable.other.property"), (2, "keyword.operator.assignment")],
            ),
            capturing(
                &format!("{entry_begins}(hold)[ \\t]+(?={FIRST})"),
                &[(1, "keyword.control.hold")],
            ),
            capturing(
                &format!("{entry_begins}{not_joining}({word})(?={BLANKS}\\{{)"),
                &[(1, "entity.name.section.group")],
            ),
            capturing(
                &format!("({name}){BLANKS}(:)"),
                &[(1, "entity.name.label"), (2, "punctuation.separator.label")],
            ),
        ]},
        "values": { "patterns": [
            matching("constant.other.date", &format!("(?<!{FURTHER}){DATE}(?!{FURTHER})")),
            capturing(
                &format!("(?<!{FURTHER})({NUMBER})(?:{BLANKS}({unit})(?:[ \\t]+([A-Za-z]{{1,2}}[0-9]{{1,2}})(?!{FURTHER})(?!{BLANKS}=))?)?"),
                &[(1, "constant.numeric"), (2, "keyword.other.unit"), (3, "constant.other.tolerance-class")],
            ),
            capturing(
                &format!("(?<==){BLANKS}({choices})(?={BLANKS}(?:$|//|[;}},)]))"),
                &[(1, "support.constant.choice")],
            ),
            capturing(
                &format!("(?<!{FURTHER})(is)(?:[ \\t]+(not))?(?:[ \\t]+({choices})(?!{FURTHER}|\\.))?(?!{FURTHER})"),
                &[(1, "keyword.operator.word"), (2, "keyword.operator.word"), (3, "support.constant.choice")],
            ),
            matching("support.function", &format!("{}(?={BLANKS}\\()", one_of(&words.functions))),
            capturing(
                &format!("(?<!{FURTHER}){not_joining}({word})(?=\\()"),
                &[(1, "entity.name.function")],
            ),
            capturing(
                &format!("(\\.){BLANKS}({word})(?=\\()"),
                &[(1, "punctuation.accessor"), (2, "entity.name.function")],
            ),
            capturing(
                &format!("(\\.){BLANKS}({word})"),
                &[(1, "punctuation.accessor"), (2, "variable.other.member")],
            ),
            matching("keyword.operator.word", &one_of(&words.grammar.rules)),
            matching("keyword.other.preposition", &one_of(&words.grammar.prepositions)),
            matching("keyword.other.modifier", &one_of(&words.grammar.modifiers)),
            matching("keyword.other.link", &one_of(&links(words))),
            matching("support.module", &format!("(?<!{FURTHER})std(?=\\.)")),
            matching("keyword.operator.tolerance", r"±|\+-|\+/-"),
            matching("keyword.operator.arrow", "->|→"),
            matching("keyword.operator.range", r"\.\."),
            matching("keyword.operator.comparison", ">=|<=|[<>≥≤]"),
            matching("keyword.operator.assignment", "="),
            matching("keyword.operator.arithmetic", "[-+*/^−·⋅×]"),
            matching("punctuation.section.block", "[{}]"),
            matching("punctuation.section.parens", "[()]"),
            matching("punctuation.section.brackets", r"[\[\]]"),
            matching("punctuation.separator", "[,;:]"),
            matching("variable.other", &name),
        ]},
    });

    pretty(&json!({
        "$comment": words.note,
        "name": "Pump spec",
        "scopeName": "source.pump",
        "fileTypes": ["pump"],
        "patterns": include(&["comments", "texts", "items", "declarations", "tables", "entries", "values"]),
        "repository": repository,
    }))
}

/// Linking words that are always words of the grammar: those that join.
fn links(words: &Words) -> Vec<&'static str> {
    let links = words.grammar.links.iter().copied();
    links
        .filter(|w| words.grammar.joining.contains(w))
        .collect()
}
