//! What is asked about a document, as the protocol shows it.

use crate::client::{Client, Folder, able};
use serde_json::{Value, json};

const TEXT: &str = "\
//! Invented numbers.
site { altitude = 820 ft }

/// Two lands.
let gap = 5.502 in ± 0.0005 - 5.497 in
let same = gap
hose h {
    diameter = 45 mm
    loss = 15.5 psi per 100 ft at 100 gpm
}
duty d {
    supply = s
    lay = l
}
";

fn place(text: &str, what: &str) -> (u32, u32) {
    let at = text.find(what).unwrap();
    let line = text[..at].matches('\n').count();
    let start = text[..at].rfind('\n').map_or(0, |n| n + 1);
    (line as u32, text[start..at].encode_utf16().count() as u32)
}

fn hover(c: &mut Client, uri: &str, what: &str) -> String {
    let (l, ch) = place(TEXT, what);
    c.ask_at("textDocument/hover", uri, l, ch)["contents"]["value"]
        .as_str()
        .unwrap_or_default()
        .to_owned()
}

#[test]
fn hover_explains_names_values_units_and_results() {
    let mut c = Client::start(&[]);
    let uri = "untitled:hover";
    c.open(uri, TEXT);
    let h = hover(&mut c, uri, "altitude");
    assert!(
        h.contains("Height above sea level") && h.contains("**820.00 ft**"),
        "{h}"
    );
    let h = hover(&mut c, uri, "ft }");
    assert!(h.contains("feet") && h.contains("0.3048"), "{h}");
    // 5.502 ± 0.0005 less 5.497 is 0.005 with the same width: 0.0045 to 0.0055.
    let h = hover(&mut c, uri, "gap\nhose");
    assert!(h.contains("Two lands."), "{h}");
    assert!(h.contains("worst case: 0.0045 .. 0.0055 in"), "{h}");
    assert!(h.contains("root-sum-square: 0.0045 .. 0.0055 in"), "{h}");
    let h = hover(&mut c, uri, "site");
    assert!(h.contains("`altitude`") || h.contains("atmosph"), "{h}");
    let h = hover(&mut c, uri, "hose h");
    assert!(h.contains("Hose or pipe"), "{h}");
    assert_eq!(hover(&mut c, uri, "\n/// Two"), "", "nothing stands there");
    assert_eq!(c.finish(), 0);
}

#[test]
fn hints_show_results_and_each_sort_can_be_switched_off() {
    let all = |uri: &str| json!({ "textDocument": { "uri": uri }, "range": { "start": { "line": 0, "character": 0 }, "end": { "line": 99, "character": 0 } } });
    let labels = |v: Value| -> Vec<String> {
        v.as_array()
            .unwrap()
            .iter()
            .map(|h| h["label"].as_str().unwrap().to_owned())
            .collect()
    };
    let uri = "untitled:hints";
    let mut c = Client::start(&[]);
    c.open(uri, TEXT);
    let got = labels(c.ask("textDocument/inlayHint", all(uri)));
    // The pressure of the standard atmosphere at 820 ft is 14.27 psi (U.S. Standard Atmosphere 1976).
    assert!(
        got.iter()
            .any(|l| l.starts_with("atmospheric pressure 14.")),
        "{got:?}"
    );
    assert!(got.iter().any(|l| l.starts_with("= 0.0050 in")), "{got:?}");
    assert!(
        got.iter()
            .any(|l| l.starts_with("= 1.772 in") || l.starts_with("= 1.7717 in")),
        "{got:?}"
    );
    // Within the range asked for alone.
    let some = json!({ "textDocument": { "uri": uri }, "range": { "start": { "line": 0, "character": 0 }, "end": { "line": 2, "character": 0 } } });
    assert_eq!(labels(c.ask("textDocument/inlayHint", some)).len(), 1);
    for (off, gone) in [
        ("results", "atmospheric"),
        ("values", "= 0.0050"),
        ("units", "= 1.77"),
    ] {
        c.tell(
            "workspace/didChangeConfiguration",
            json!({ "settings": { "cutwater": { "inlayHints": { off: false } } } }),
        );
        let now = labels(c.ask("textDocument/inlayHint", all(uri)));
        assert!(now.iter().all(|l| !l.starts_with(gone)), "{off}: {now:?}");
    }
    assert!(labels(c.ask("textDocument/inlayHint", all(uri))).is_empty());
    assert_eq!(c.finish(), 0);
    let (mut c, _) = Client::start_with(&[], able(), json!({ "inlayHints": false }));
    c.open(uri, TEXT);
    assert!(labels(c.ask("textDocument/inlayHint", all(uri))).is_empty());
    assert_eq!(c.finish(), 0);
}

#[test]
fn symbols_are_a_tree_or_a_list_as_the_client_can() {
    let uri = "untitled:symbols";
    let of = json!({ "textDocument": { "uri": uri } });
    let mut c = Client::start(&[]);
    c.open(uri, TEXT);
    let tree = c.ask("textDocument/documentSymbol", of.clone());
    let names: Vec<&str> = tree
        .as_array()
        .unwrap()
        .iter()
        .map(|s| s["name"].as_str().unwrap())
        .collect();
    assert_eq!(names, ["site", "gap", "same", "h", "d"]);
    assert_eq!(tree[3]["children"][0]["name"], "diameter");
    assert_eq!(tree[3]["children"][0]["detail"], "45 mm");
    assert_eq!(c.finish(), 0);
    let (mut c, _) = Client::start_with(&[], json!({}), Value::Null);
    c.open(uri, TEXT);
    let list = c.ask("textDocument/documentSymbol", of);
    let diameter = list
        .as_array()
        .unwrap()
        .iter()
        .find(|s| s["name"] == "diameter")
        .unwrap();
    assert_eq!(diameter["containerName"], "h");
    assert_eq!(diameter["location"]["range"]["start"]["line"], 7);
    assert_eq!(c.finish(), 0);
}

/// Applies edits as a client does: all against the text as it was.
fn apply(text: &str, edits: &Value) -> String {
    let offset = |p: &Value| {
        let (l, c) = (
            p["line"].as_u64().unwrap() as usize,
            p["character"].as_u64().unwrap() as usize,
        );
        let start: usize = text.split_inclusive('\n').take(l).map(str::len).sum();
        let mut units = 0;
        for (at, ch) in text[start..].char_indices() {
            if units >= c {
                return start + at;
            }
            units += ch.len_utf16();
        }
        text.len()
    };
    let mut list: Vec<(usize, usize, &str)> = edits
        .as_array()
        .unwrap()
        .iter()
        .map(|e| {
            (
                offset(&e["range"]["start"]),
                offset(&e["range"]["end"]),
                e["newText"].as_str().unwrap(),
            )
        })
        .collect();
    list.sort_by_key(|e| std::cmp::Reverse(e.0));
    let mut out = text.to_owned();
    for (a, b, new) in list {
        out.replace_range(a..b, new);
    }
    out
}

#[test]
fn formatting_gives_small_edits_that_lead_to_the_layout() {
    let mut c = Client::start(&[]);
    let uri = "untitled:format";
    let options = json!({ "textDocument": { "uri": uri }, "options": { "tabSize": 8, "insertSpaces": false } });
    let text =
        "let a = 1 in // 🚒\r\n\r\n\r\n\r\nsite{altitude=820 ft // µ\r\n}\r\nlet b    = 2 in\r\n";
    c.open(uri, text);
    let edits = c.ask("textDocument/formatting", options.clone());
    let done = apply(text, &edits);
    assert!(
        done.starts_with("let a = 1 in  // 🚒\r\n\r\nsite"),
        "{done:?}"
    );
    assert!(done.contains("    altitude = 820 ft  // µ\r\n"), "{done:?}");
    assert!(done.ends_with("let b = 2 in\r\n"), "{done:?}");
    assert!(!done.replace("\r\n", "").contains(['\r', '\n']), "{done:?}");
    c.set(uri, 2, &done);
    assert_eq!(c.ask("textDocument/formatting", options), json!([]));
    assert_eq!(c.finish(), 0);
}

#[test]
fn formatting_a_range_leaves_the_rest() {
    let mut c = Client::start(&[]);
    let uri = "untitled:range";
    let text = "let a = 1 in // 🚒\r\nring r {\r\n  note=\"🚒 配管\"//µ\r\n  form=plain // 🚒🚒\r\n\r\n\r\n  bore=5 in // µ\r\n}\r\nlet b=2 in\r\n";
    c.open(uri, text);
    let options = json!({ "tabSize": 8, "insertSpaces": false });
    let ask = |c: &mut Client, from: (u32, u32), to: (u32, u32)| {
        c.ask(
            "textDocument/rangeFormatting",
            json!({ "textDocument": { "uri": uri }, "options": options, "range": {
                "start": { "line": from.0, "character": from.1 },
                "end": { "line": to.0, "character": to.1 } } }),
        )
    };
    // Behind the wide letters of the line, in the protocol's units.
    let done = apply(text, &ask(&mut c, (2, 14), (2, 17)));
    assert_eq!(
        done,
        "let a = 1 in // 🚒\r\nring r {\r\n    note = \"🚒 配管\"  //µ\r\n    form = plain      // 🚒🚒\r\n\r\n  bore=5 in // µ\r\n}\r\nlet b=2 in\r\n"
    );
    // A range that ends where a line begins does not touch it; one that is turned round is the same range.
    let blank = ask(&mut c, (6, 0), (4, 0));
    assert_eq!(
        apply(text, &blank),
        text.replace("\r\n\r\n\r\n", "\r\n\r\n")
    );
    // Far off the text is its end.
    let far = ask(&mut c, (8, 0), (99, 99));
    assert_eq!(apply(text, &far), text.replace("b=2", "b = 2"));
    c.set(uri, 2, &done);
    assert_eq!(ask(&mut c, (2, 0), (3, 0)), json!([]), "a second time");
    // All lines are the whole.
    let all = apply(&done, &ask(&mut c, (0, 0), (99, 0)));
    let whole = c.ask(
        "textDocument/formatting",
        json!({ "textDocument": { "uri": uri }, "options": options }),
    );
    assert_eq!(all, apply(&done, &whole));
    assert_eq!(c.finish(), 0);
}

#[test]
fn definitions_lead_across_files_and_into_the_library() {
    let f = Folder::new(&[
        (
            "parts/rings.pump",
            "// one line\nlet bore = 5.5 in\nhose attack { diameter = 1.75 in }\n",
        ),
        ("main.pump", ""),
    ]);
    let text = "use \"parts/rings.pump\" as rings\nlet x = rings.bore\nlet y = rings.attack.diameter\nsupply s {\n    draft {\n        lift = 9 ft\n        suction = 20 ft of std.suction_6\n        strainer = std.barrel_6\n    }\n}\n";
    let mut c = Client::start(&[&f]);
    let main = f.uri("main.pump");
    c.open(&main, text);
    let mut go = |what: &str, into: usize| {
        let (l, ch) = place(text, what);
        let d = c.ask_at("textDocument/definition", &main, l, ch + into as u32);
        let start = &d["range"]["start"];
        (
            d["uri"].as_str().unwrap_or("none").to_owned(),
            start["line"].as_u64(),
            start["character"].as_u64(),
        )
    };
    let parts = f.uri("parts/rings.pump");
    assert_eq!(go("rings.bore", 7), (parts.clone(), Some(1), Some(4)));
    assert_eq!(go("rings.bore", 1), (parts.clone(), Some(0), Some(0)));
    assert_eq!(go("rings.pump", 1), (parts.clone(), Some(0), Some(0)));
    assert_eq!(go("attack.diameter", 1), (parts.clone(), Some(2), Some(5)));
    assert_eq!(go("attack.diameter", 8), (parts, Some(2), Some(14)));
    let (uri, line, _) = go("std.suction_6", 5);
    let copy = std::path::PathBuf::from(uri.strip_prefix("file://").unwrap());
    assert!(copy.starts_with(c.cache()), "{uri}");
    let copied = std::fs::read_to_string(&copy).unwrap();
    let at = copied.lines().nth(line.unwrap() as usize).unwrap();
    assert!(at.contains("suction_6"), "{at}");
    // The copy is no spec of the user's: it can be opened and read, and nothing is said against it.
    c.open(&uri, &copied);
    let h = c.ask_at("textDocument/hover", &uri, line.unwrap() as u32, 0);
    assert!(
        h["contents"]["value"].as_str().unwrap().contains("hose"),
        "{h}"
    );
    assert!(!c.shown.contains_key(&uri));
    assert_eq!(c.finish(), 0);
}

#[test]
fn fixes_are_offered_and_mend_the_finding() {
    let mut c = Client::start(&[]);
    let uri = "untitled:fix";
    let text = "let gap = 5 in\nlet same = gpa\nsite { altitud = 820 ft }\n";
    c.open(uri, text);
    let list = c.findings(uri, 1);
    assert_eq!(list.len(), 2, "{list:#?}");
    assert_eq!(list[0]["source"], "cutwater");
    assert_eq!(list[0]["data"]["name"], "unknown-name");
    assert!(
        list[0]["message"].as_str().unwrap().contains("\nhelp: "),
        "{list:#?}"
    );
    let mut now = text.to_owned();
    for d in list {
        let actions = c.ask(
            "textDocument/codeAction",
            json!({ "textDocument": { "uri": uri }, "range": d["range"], "context": { "diagnostics": [d], "only": ["quickfix"] } }),
        );
        let edits = actions[0]["edit"]["changes"][uri].clone();
        assert_eq!(actions[0]["diagnostics"][0]["message"], d["message"]);
        now = apply(&now, &edits);
    }
    c.set(uri, 2, &now);
    assert!(c.findings(uri, 2).is_empty(), "{now}");
    let none = c.ask(
        "textDocument/codeAction",
        json!({ "textDocument": { "uri": uri }, "range": { "start": { "line": 0, "character": 0 }, "end": { "line": 0, "character": 1 } }, "context": { "diagnostics": [], "only": ["refactor"] } }),
    );
    assert_eq!(none, json!([]));
    assert_eq!(c.finish(), 0);
}

#[test]
fn completion_knows_kinds_fields_units_words_and_members() {
    let mut c = Client::start(&[]);
    let uri = "untitled:complete";
    let mut version = 1;
    c.open(uri, "");
    let mut at = |text: &str| -> Vec<String> {
        let cursor = text.find('|').unwrap();
        let clean = text.replace('|', "");
        version += 1;
        c.set(uri, version, &clean);
        let line = clean[..cursor].matches('\n').count();
        let column = cursor - clean[..cursor].rfind('\n').map_or(0, |n| n + 1);
        let list = c.ask_at("textDocument/completion", uri, line as u32, column as u32);
        list.as_array()
            .unwrap()
            .iter()
            .map(|i| i["label"].as_str().unwrap().to_owned())
            .collect()
    };
    let has = |list: &[String], want: &[&str], not: &[&str]| {
        for w in want {
            assert!(list.iter().any(|l| l == w), "no `{w}` in {list:?}");
        }
        for w in not {
            assert!(list.iter().all(|l| l != w), "`{w}` in {list:?}");
        }
    };
    has(&at("|"), &["pump", "hose", "use", "let"], &["diameter"]);
    has(&at("let a = 5 in\n\nho|"), &["hose"], &["in"]);
    has(
        &at("hose h {\n    |\n}\n"),
        &["diameter", "loss"],
        &["pump"],
    );
    has(
        &at("hose h {\n    diameter = 2 in\n    |\n}\n"),
        &["loss"],
        &["diameter"],
    );
    has(&at("hose h { diameter = 2 |"), &["in", "mm"], &["psi"]);
    has(
        &at("ring r {\n    form = |\n}\n"),
        &["plain", "labyrinth"],
        &["in"],
    );
    has(
        &at("let gap = 5 in\nlet b = |\n"),
        &["gap", "min", "std"],
        &["b"],
    );
    has(
        &at("impeller w { hub_diameter = 5 in }\nlet b = w.|\n"),
        &["hub_diameter", "mass"],
        &["w"],
    );
    has(&at("let b = std.|\n"), &["suction_6"], &["let"]);
    has(
        &at("supply s {\n    draft {\n        |\n    }\n}\n"),
        &["lift", "suction"],
        &["draft"],
    );
    assert!(at("let a = \"te|").is_empty(), "nothing inside a text");
    assert!(
        at("let a = 5 in // note |").is_empty(),
        "nothing inside a comment"
    );
    assert_eq!(c.finish(), 0);
}
