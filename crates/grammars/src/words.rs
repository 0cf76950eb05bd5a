//! The word lists, from the tables of syntax, schema, functions and units: `grammar/words.json` and what is made of it.
//!
//! Lists keep the order of their tables and hold no word twice.

use cutwater_compiler::eval::FUNCTIONS;
use cutwater_compiler::schema::{self, FieldDef, KindDef, Type};
use cutwater_quantity::{Unit, units};
use cutwater_syntax::words::{Sort, begins_item, joining, of_sort};
use serde::Serialize;

/// All lists.
#[derive(Clone, Debug, Serialize)]
pub struct Words {
    /// What the file is.
    pub note: &'static str,
    /// Words of the grammar itself.
    pub grammar: Grammar,
    /// Words that begin declarations.
    pub kinds: Vec<&'static str>,
    /// Those of them that may stand without a name.
    pub unnamed: Vec<&'static str>,
    /// Fields of kinds and of their blocks.
    pub fields: Vec<&'static str>,
    /// Blocks of fields.
    pub groups: Vec<&'static str>,
    /// Tables.
    pub tables: Vec<&'static str>,
    /// Columns of tables.
    pub columns: Vec<&'static str>,
    /// Computed properties.
    pub computed: Vec<&'static str>,
    /// Fields that take one of a few words.
    pub choice_fields: Vec<&'static str>,
    /// Those words.
    pub choices: Vec<&'static str>,
    /// Functions.
    pub functions: Vec<&'static str>,
    /// Names of units, in all spellings.
    pub units: Vec<&'static str>,
}

/// Words of the grammar, by what they do.
#[derive(Clone, Debug, Serialize)]
pub struct Grammar {
    /// They begin items.
    pub items: Vec<&'static str>,
    /// They begin entries of blocks.
    pub entries: Vec<&'static str>,
    /// They join parts of a value.
    pub prepositions: Vec<&'static str>,
    /// They say more about a station of a chain.
    pub modifiers: Vec<&'static str>,
    /// They say what must hold.
    pub rules: Vec<&'static str>,
    /// They link the parts of an item.
    pub links: Vec<&'static str>,
    /// Never a unit, and no name but a field's or a member's.
    pub joining: Vec<&'static str>,
}

fn once(words: impl IntoIterator<Item = &'static str>) -> Vec<&'static str> {
    let mut out: Vec<&'static str> = Vec::new();
    for w in words {
        if !w.is_empty() && !out.contains(&w) {
            out.push(w);
        }
    }
    out
}

/// Kinds of declarations. The schema also describes `let` and `require`, whose words are the grammar's own.
fn kinds() -> impl Iterator<Item = &'static KindDef> {
    let all = schema::kinds().iter().copied();
    all.filter(|k| !begins_item(k.word))
}

fn all_fields() -> impl Iterator<Item = &'static FieldDef> {
    kinds().flat_map(|k| {
        k.fields
            .iter()
            .chain(k.groups.iter().flat_map(|g| g.fields))
    })
}

/// The lists as the tables have them now.
pub fn words() -> Words {
    let choices = |ty: Type| match ty {
        Type::Choice(of) => of,
        _ => &[],
    };
    Words {
        note: "Made from the compiler's own tables; do not edit.",
        grammar: Grammar {
            items: once(of_sort(Sort::Item)),
            entries: once(of_sort(Sort::Entry)),
            prepositions: once(of_sort(Sort::Preposition)),
            modifiers: once(of_sort(Sort::Modifier)),
            rules: once(of_sort(Sort::Rule)),
            links: once(of_sort(Sort::Link)),
            joining: once(joining()),
        },
        kinds: once(kinds().map(|k| k.word)),
        unnamed: once(kinds().filter(|k| k.unnamed).map(|k| k.word)),
        fields: once(all_fields().map(|f| f.name)),
        groups: once(kinds().flat_map(|k| k.groups).map(|g| g.name)),
        tables: once(kinds().flat_map(|k| k.tables).map(|t| t.name)),
        columns: once(
            kinds()
                .flat_map(|k| k.tables)
                .flat_map(|t| t.columns)
                .map(|c| c.name),
        ),
        computed: once(kinds().flat_map(|k| k.computed).map(|c| c.name)),
        choice_fields: once(
            all_fields()
                .filter(|f| matches!(f.ty, Type::Choice(_)))
                .map(|f| f.name),
        ),
        choices: once(
            all_fields()
                .flat_map(|f| choices(f.ty))
                .chain(kinds().flat_map(|k| k.computed).flat_map(|c| choices(c.ty)))
                .map(|(word, _)| *word),
        ),
        functions: once(FUNCTIONS.iter().map(|f| f.0)),
        units: once(units().iter().flat_map(spellings)),
    }
}

fn spellings(u: &'static Unit) -> impl Iterator<Item = &'static str> {
    [u.ascii, u.symbol]
        .into_iter()
        .chain(u.aliases.iter().copied())
}

impl Words {
    /// The list of this name, for the queries of tree-sitter.
    pub fn list(&self, name: &str) -> Option<&[&'static str]> {
        Some(match name {
            "kinds" => &self.kinds,
            "choices" => &self.choices,
            "choice_fields" => &self.choice_fields,
            "functions" => &self.functions,
            _ => return None,
        })
    }

    /// `grammar/words.json`.
    pub fn json(&self) -> String {
        pretty(&serde_json::to_value(self).unwrap_or_default())
    }

    /// `grammar/tree-sitter/src/joining.h`.
    pub fn joining_h(&self) -> String {
        let quoted: Vec<String> = self
            .grammar
            .joining
            .iter()
            .map(|w| format!("\"{w}\""))
            .collect();
        format!(
            "// Words that join what stands before them, and so are never units.\n\
             // Made from the compiler's own table; do not edit.\n\
             static const char *const JOINING[] = {{{}}};\n",
            quoted.join(", ")
        )
    }
}

/// JSON for people: indented by two, lists of words wrapped.
pub fn pretty(value: &serde_json::Value) -> String {
    let mut out = String::new();
    write_value(value, 0, &mut out);
    out.push('\n');
    out
}

fn write_value(value: &serde_json::Value, indent: usize, out: &mut String) {
    use serde_json::Value;
    let pad = |n: usize| "  ".repeat(n);
    match value {
        Value::Object(map) if !map.is_empty() => {
            out.push_str("{\n");
            for (k, (key, v)) in map.iter().enumerate() {
                if k > 0 {
                    out.push_str(",\n");
                }
                out.push_str(&format!(
                    "{}{}: ",
                    pad(indent + 1),
                    Value::from(key.as_str())
                ));
                write_value(v, indent + 1, out);
            }
            out.push_str(&format!("\n{}}}", pad(indent)));
        }
        Value::Array(items) if items.iter().any(|v| v.is_object() || v.is_array()) => {
            out.push_str("[\n");
            for (k, v) in items.iter().enumerate() {
                if k > 0 {
                    out.push_str(",\n");
                }
                out.push_str(&pad(indent + 1));
                write_value(v, indent + 1, out);
            }
            out.push_str(&format!("\n{}]", pad(indent)));
        }
        Value::Array(items) if !items.is_empty() => {
            out.push('[');
            let mut line = String::new();
            for (k, v) in items.iter().enumerate() {
                let word = format!("{v}{}", if k + 1 < items.len() { "," } else { "" });
                if k == 0 || line.chars().count() + word.chars().count() > 110 {
                    out.push_str(&line);
                    line = format!("\n{}{word}", pad(indent + 1));
                } else {
                    line.push(' ');
                    line.push_str(&word);
                }
            }
            out.push_str(&line);
            out.push_str(&format!("\n{}]", pad(indent)));
        }
        other => out.push_str(&other.to_string()),
    }
}
