//! The project file's JSON schema and reference section, made from the table of its keys.

use cutwater_compiler::codes;
use cutwater_compiler::settings::FILE_NAME;
use cutwater_compiler::settings::keys::{Key, Stands, Takes, keys};
use serde_json::{Map, Value, json};
use std::fmt::Write;

/// The JSON schema (draft 2020-12) of `cutwater.toml`, for editors that check TOML with one.
pub fn schema() -> Value {
    let mut out = table(false);
    out["$schema"] = "https://json-schema.org/draft/2020-12/schema".into();
    out["title"] = FILE_NAME.into();
    out["description"] = "The project file of a Cutwater workspace.".into();
    out
}

/// A table with the keys that may stand at the top or in a `[[folder]]`.
fn table(folder: bool) -> Value {
    let properties: Map<String, Value> = keys(folder)
        .map(|k| (k.name.to_owned(), property(k)))
        .collect();
    let required: Vec<&str> = keys(folder)
        .filter(|k| k.required)
        .map(|k| k.name)
        .collect();
    let mut out = json!({
        "type": "object",
        "properties": properties,
        "additionalProperties": false,
    });
    if !required.is_empty() {
        out["required"] = json!(required);
    }
    out
}

fn property(k: &Key) -> Value {
    let mut out = match k.takes {
        Takes::Units | Takes::Level => json!({ "type": "string", "enum": k.takes.words() }),
        Takes::File | Takes::Folder => json!({ "type": "string", "minLength": 1 }),
        Takes::Files => {
            json!({ "type": "array", "items": { "type": "string", "minLength": 1 } })
        }
        Takes::Levels => levels(&k.takes.words()),
        Takes::Folders => json!({ "type": "array", "items": table(true) }),
    };
    out["description"] = k.doc.into();
    if !k.default.is_empty() {
        out["default"] = k.default.into();
    }
    out
}

/// A table of findings by code, name and group.
fn levels(words: &[&str]) -> Value {
    let mut properties = Map::new();
    let mut groups: Vec<&str> = Vec::new();
    for c in codes::all() {
        let own = json!({ "enum": words, "description": c.summary, "default": c.level.word() });
        properties.insert(c.id.to_owned(), own.clone());
        properties.insert(c.name.to_owned(), own);
        if let Some(group) = c.id.get(..4)
            && groups.last() != Some(&group)
        {
            groups.push(group);
        }
    }
    for g in groups {
        let all = format!("All findings whose codes begin with {g}.");
        properties.insert(g.to_owned(), json!({ "enum": words, "description": all }));
    }
    json!({ "type": "object", "properties": properties, "additionalProperties": false })
}

/// The section on the project file in the reference.
pub(crate) fn markdown(out: &mut String) {
    let _ = write!(
        out,
        "\n## The project file\n\n`{FILE_NAME}` stands in the root of a workspace and is written in TOML. \
         `cutwater settings PATH` shows what holds for a path and where it is said; \
         [cutwater-toml.schema.json](cutwater-toml.schema.json) is its JSON schema.\n\n\
         | key | where | takes | without it | meaning |\n| --- | --- | --- | --- | --- |\n"
    );
    let mut all: Vec<&Key> = keys(false).collect();
    all.extend(keys(true).filter(|k| !k.stands.allows(false)));
    for k in all {
        let place = match k.stands {
            Stands::Top => "top",
            Stands::Folder => "`[[folder]]`",
            Stands::Both => "top, `[[folder]]`",
        };
        let without = match (k.required, k.default) {
            (true, _) => "must be given".to_owned(),
            (false, "") => String::new(),
            (false, d) => format!("`\"{d}\"`"),
        };
        let _ = writeln!(
            out,
            "| `{}` | {place} | {} | {without} | {} |",
            k.name,
            k.takes.says(),
            k.doc
        );
    }
    out.push_str(
        "\nA later `[[folder]]` comes before an earlier one, `--config key=value` on the command line before both. \
         In one table a single finding comes before its group. A folder with a project file of its own is a workspace of its own.\n",
    );
}
