//! Code actions over the wire: each form a client may ask for, in both encodings, and what happens when the text moves on.

use crate::client::{Client, Folder, able};
use serde_json::{Value, json};

/// A client that asks for edits late and takes them with versions.
fn lazy() -> Value {
    let mut a = able();
    a["textDocument"]["codeAction"]["dataSupport"] = json!(true);
    a["textDocument"]["codeAction"]["resolveSupport"] = json!({ "properties": ["edit"] });
    a["workspace"]["workspaceEdit"]["documentChanges"] = json!(true);
    a
}

fn actions(c: &mut Client, uri: &str, range: Value, context: Value) -> Vec<Value> {
    c.ask(
        "textDocument/codeAction",
        json!({ "textDocument": { "uri": uri }, "range": range, "context": context }),
    )
    .as_array()
    .unwrap()
    .clone()
}

fn whole() -> Value {
    json!({ "start": { "line": 0, "character": 0 }, "end": { "line": 999, "character": 0 } })
}

/// Applies edits given in positions whose characters have this many units.
fn apply(text: &str, edits: &Value, units: fn(char) -> usize) -> String {
    let offset = |p: &Value| {
        let line = p["line"].as_u64().unwrap() as usize;
        let column = p["character"].as_u64().unwrap() as usize;
        let start: usize = text.split_inclusive('\n').take(line).map(str::len).sum();
        let mut used = 0;
        for (at, ch) in text[start..].char_indices() {
            if used >= column {
                return start + at;
            }
            used += units(ch);
        }
        text.len()
    };
    let mut list: Vec<(usize, usize, &str)> = edits
        .as_array()
        .unwrap()
        .iter()
        .map(|e| {
            let r = &e["range"];
            let new = e["newText"].as_str().unwrap();
            (offset(&r["start"]), offset(&r["end"]), new)
        })
        .collect();
    list.sort_by_key(|e| std::cmp::Reverse((e.0, e.1)));
    let mut out = text.to_owned();
    for (a, b, new) in list {
        out.replace_range(a..b, new);
    }
    out
}

#[test]
fn edits_are_given_when_they_are_asked_for_with_the_version_they_are_for() {
    let (mut c, said) = Client::start_with(&[], lazy(), json!(null));
    let provider = &said["capabilities"]["codeActionProvider"];
    assert_eq!(provider["resolveProvider"], true, "{provider}");
    let uri = "untitled:lazy";
    let text = "/// ± a doc\nsite {\n    altitud = 820 ft\n}\n";
    c.open(uri, text);
    c.findings(uri, 1);
    let list = actions(&mut c, uri, whole(), json!({ "diagnostics": [] }));
    assert_eq!(list.len(), 1, "{list:#?}");
    assert!(list[0].get("edit").is_none(), "{}", list[0]);
    assert_eq!(list[0]["kind"], "quickfix");
    assert_eq!(list[0]["isPreferred"], false);
    let full = c.ask("codeAction/resolve", list[0].clone());
    let change = &full["edit"]["documentChanges"][0];
    assert_eq!(change["textDocument"], json!({ "uri": uri, "version": 1 }));
    let new = apply(text, &change["edits"], char::len_utf16);
    assert_eq!(new, text.replace("altitud ", "altitude "));
    // The text moves on: what was offered for the older one is no more.
    c.set(uri, 2, &format!("// new\n{text}"));
    let late = c.post("codeAction/resolve", list[0].clone());
    assert_eq!(c.answer(late)["error"]["code"], -32801);
    let foreign = c.post(
        "codeAction/resolve",
        json!({ "title": "x", "data": { "a": 1 } }),
    );
    assert_eq!(c.answer(foreign)["error"]["code"], -32602);
    assert_eq!(c.finish(), 0);
}

#[test]
fn safe_fixes_are_preferred_and_go_together_when_asked_for_by_name() {
    let f = Folder::new(&[("parts.pump", "let spare = 1 in\n")]);
    let mut c = Client::start(&[&f]);
    let uri = f.uri("a.pump");
    let text = "use \"parts.pump\" as parts\nlet µ_gap = 5 in (-0.001/+0.002)\nsite { altitude = 820 FT }\nlet b = mx(1 in, 2 in)\n";
    c.open(&uri, text);
    c.findings(&uri, 1);
    let list = actions(
        &mut c,
        &uri,
        whole(),
        json!({ "diagnostics": [], "only": ["quickfix"] }),
    );
    let preferred: Vec<(&str, bool)> = list
        .iter()
        .map(|a| (a["title"].as_str().unwrap(), a["isPreferred"] == true))
        .collect();
    assert_eq!(
        preferred,
        [
            ("Take out this `use`", true),
            ("Write `(+0.002/-0.001)`", true),
            ("Write `ft`", true),
            ("Write `max`", false),
        ]
    );
    // Nothing of this file stands without being asked for by name.
    let plain = actions(&mut c, &uri, whole(), json!({ "diagnostics": [] }));
    assert_eq!(plain.len(), 4);
    for only in ["source", "source.fixAll", "source.fixAll.cutwater", ""] {
        let list = actions(
            &mut c,
            &uri,
            whole(),
            json!({ "diagnostics": [], "only": [only] }),
        );
        let all: Vec<&Value> = list
            .iter()
            .filter(|a| a["kind"] == "source.fixAll.cutwater")
            .collect();
        assert_eq!(all.len(), 1, "{only}: {list:#?}");
        assert_eq!(list.len(), if only.is_empty() { 5 } else { 1 });
        let new = apply(text, &all[0]["edit"]["changes"][&uri], char::len_utf16);
        assert_eq!(
            new,
            "let µ_gap = 5 in (+0.002/-0.001)\nsite { altitude = 820 ft }\nlet b = mx(1 in, 2 in)\n"
        );
    }
    let other = json!({ "diagnostics": [], "only": ["source.organizeImports", "refactor"] });
    assert!(actions(&mut c, &uri, whole(), other).is_empty());
    // What is safe is mended: there is nothing left to offer as one.
    c.set(&uri, 2, "let b = mx(1 in, 2 in)\n");
    let none = json!({ "diagnostics": [], "only": ["source.fixAll"] });
    assert!(actions(&mut c, &uri, whole(), none).is_empty());
    assert_eq!(c.finish(), 0);
}

#[test]
fn what_a_client_sends_along_is_not_trusted_and_its_units_are_kept() {
    let mut able = able();
    able["general"]["positionEncodings"] = json!(["utf-8"]);
    let (mut c, _) = Client::start_with(&[], able, json!(null));
    let uri = "untitled:bytes";
    let text = "let d = 5 µm (-1/+2) // µµ\n";
    c.open(uri, text);
    // A diagnostic of nobody's, with a fix of nobody's.
    let stale = json!({
        "range": whole(), "message": "old", "code": "CW0301", "source": "cutwater",
        "data": { "fix": { "title": "spoil it", "safe": true, "edits": [{ "uri": uri, "range": whole(), "newText": "" }] } }
    });
    let list = actions(&mut c, uri, whole(), json!({ "diagnostics": [stale] }));
    assert_eq!(list.len(), 1, "{list:#?}");
    assert_eq!(list[0]["title"], "Write `(+2/-1)`");
    let new = apply(text, &list[0]["edit"]["changes"][uri], char::len_utf8);
    assert_eq!(new, "let d = 5 µm (+2/-1) // µµ\n");
    assert_eq!(c.finish(), 0);
}

#[test]
fn a_client_that_knows_commands_alone_is_offered_nothing() {
    let mut old = able();
    old["textDocument"]
        .as_object_mut()
        .unwrap()
        .remove("codeAction");
    let (mut c, said) = Client::start_with(&[], old, json!(null));
    assert!(said["capabilities"].get("codeActionProvider").is_none());
    let uri = "untitled:old";
    c.open(uri, "let a = 5 inn\n");
    assert!(actions(&mut c, uri, whole(), json!({ "diagnostics": [] })).is_empty());
    assert_eq!(c.finish(), 0);
}

#[test]
fn a_fix_that_is_a_hint_alone_is_not_offered() {
    let mut c = Client::start(&[]);
    let uri = "untitled:hint";
    c.open(
        uri,
        "ring r {\n    bore = 5.5020 in ± 0.003\n    runs_on = 5.4970 in\n    clearance_limit = 0.003 .. 0.007 in\n}\n",
    );
    assert_eq!(c.findings(uri, 1).len(), 1);
    assert!(actions(&mut c, uri, whole(), json!({ "diagnostics": [] })).is_empty());
    assert_eq!(c.finish(), 0);
}
