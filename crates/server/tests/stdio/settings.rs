//! The project file, acceptances and the baseline, as an editor sees them.

use crate::client::{Client, Folder};
use serde_json::{Value, json};

fn watched(c: &mut Client, uri: &str, kind: u32) {
    c.tell(
        "workspace/didChangeWatchedFiles",
        json!({ "changes": [{ "uri": uri, "type": kind }] }),
    );
}

fn list<'c>(c: &'c Client, uri: &str) -> &'c [Value] {
    c.shown.get(uri).map_or(&[], |s| &s.1)
}

#[test]
fn every_mistake_is_shown_with_code_level_and_place() {
    let f = Folder::new(&[
        (
            "cutwater.toml",
            "# µ\nunit = \"us\"\n[levels]\nCW0604 = \"warning\"\nunknown-unit = \"of\"\nCW0301 = \"off\"\nunknown-unit-x = \"off\"\n",
        ),
        ("x.pump", "let a = 5 inn\n"),
    ]);
    let mut c = Client::start(&[&f]);
    let (toml, x) = (f.uri("cutwater.toml"), f.uri("x.pump"));
    c.until("all of them are shown", |c| list(c, &toml).len() == 3);
    assert_eq!(c.codes(&toml), ["CW0602", "CW0604", "CW0605"]);
    let of = list(&c, &toml)
        .iter()
        .find(|d| d["code"] == "CW0604")
        .unwrap();
    assert_eq!(of["severity"], 2, "as the file itself says: {of}");
    assert_eq!(of["range"]["start"], json!({ "line": 4, "character": 15 }));
    // What was understood holds: the finding is off.
    assert!(c.codes(&x).is_empty());
    // Edited, it is read again, and published for that version.
    c.open(&toml, "unit = \"us\"\n");
    c.until("the edited one holds", |c| {
        c.codes(&x) == ["CW0301"] && list(c, &toml).len() == 1
    });
    c.set(&toml, 2, "[levels]\nCW03 = \"warning\"\n");
    c.until("the level is set", |c| {
        list(c, &toml).is_empty() && list(c, &x).iter().any(|d| d["severity"] == 2)
    });
    assert_eq!(c.finish(), 0);
}

#[test]
fn folders_have_settings_of_their_own() {
    let spec = "let a = 3.001 in ± 0.002\nrequire a >= 3 in\nlet b = a * a\n";
    let f = Folder::new(&[
        ("cutwater.toml", ""),
        ("new/x.pump", spec),
        ("old/x.pump", spec),
    ]);
    let mut c = Client::start(&[&f]);
    let (toml, new, old) = (
        f.uri("cutwater.toml"),
        f.uri("new/x.pump"),
        f.uri("old/x.pump"),
    );
    c.open(&old, spec);
    c.until("both are checked", |c| {
        c.codes(&new) == ["CW0502"] && c.codes(&old) == ["CW0502"]
    });
    let shown = c.ask_at("textDocument/hover", &old, 2, 4).to_string();
    assert!(shown.contains("in²"), "{shown}");
    f.write(
        "cutwater.toml",
        "[[folder]]\npath = \"old\"\nunits = \"metric\"\nlevels = { CW05 = \"off\" }\n",
    );
    watched(&mut c, &toml, 2);
    c.until("the folder's hold", |c| c.codes(&old).is_empty());
    assert_eq!(c.codes(&new), ["CW0502"]);
    let hints = c.ask(
        "textDocument/inlayHint",
        json!({ "textDocument": { "uri": old }, "range": { "start": { "line": 0, "character": 0 }, "end": { "line": 9, "character": 0 } } }),
    );
    assert!(hints.to_string().contains("mm²"), "{hints}");
    assert_eq!(c.finish(), 0);
}

#[test]
fn what_is_accepted_is_not_shown_and_a_useless_line_is() {
    let f = Folder::new(&[]);
    let mut c = Client::start(&[&f]);
    let uri = f.uri("x.pump");
    let line = "accept CW0502 because \"each is measured\"\n";
    c.open(
        &uri,
        &format!("let a = 3.001 in ± 0.002\nrequire a >= 3 in\n{line}"),
    );
    assert!(c.findings(&uri, 1).is_empty());
    c.set(
        &uri,
        2,
        &format!("let a = 3.003 in ± 0.002\nrequire a >= 3 in\n{line}"),
    );
    c.findings(&uri, 2);
    assert_eq!(c.codes(&uri), ["CW0704"]);
    let actions = c.ask(
        "textDocument/codeAction",
        json!({
            "textDocument": { "uri": uri },
            "range": { "start": { "line": 2, "character": 0 }, "end": { "line": 2, "character": 5 } },
            "context": { "diagnostics": [] }
        }),
    );
    assert_eq!(actions[0]["title"], "Take the line out", "{actions}");
    assert_eq!(c.finish(), 0);
}

#[test]
fn known_findings_are_hints_and_follow_the_baseline() {
    let known = "{\n  \"version\": 1,\n  \"findings\": [\n    {\"file\": \"x.pump\", \"code\": \"CW0301\", \"subject\": \"a\", \"count\": 1}\n  ]\n}\n";
    let f = Folder::new(&[
        ("cutwater.toml", "baseline = \"cutwater-baseline.json\"\n"),
        ("x.pump", "let a = 5 inn\nlet b = 5 inn\n"),
    ]);
    let mut c = Client::start(&[&f]);
    let (toml, x, base) = (
        f.uri("cutwater.toml"),
        f.uri("x.pump"),
        f.uri("cutwater-baseline.json"),
    );
    c.until("it is missing", |c| {
        c.codes(&toml) == ["CW0610"] && list(c, &x).len() == 2
    });
    assert!(list(&c, &x).iter().all(|d| d["severity"] == 1));
    f.write("cutwater-baseline.json", known);
    watched(&mut c, &base, 1);
    c.until("one is known", |c| {
        list(c, &toml).is_empty()
            && list(c, &x)
                .iter()
                .map(|d| d["severity"].as_u64())
                .collect::<Vec<_>>()
                == [Some(4), Some(1)]
    });
    assert!(
        list(&c, &x)[0]["message"]
            .as_str()
            .unwrap()
            .starts_with("known: ")
    );
    f.write("cutwater-baseline.json", "{\n");
    watched(&mut c, &base, 2);
    c.until("it is broken", |c| c.codes(&toml) == ["CW0610"]);
    let d = list(&c, &toml)[0].clone();
    assert!(
        d["message"].as_str().unwrap().contains("is no baseline"),
        "{d}"
    );
    assert_eq!(d["range"]["start"], json!({ "line": 0, "character": 11 }));
    assert_eq!(c.finish(), 0);
}
