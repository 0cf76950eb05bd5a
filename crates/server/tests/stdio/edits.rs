//! Edits: none lost, none out of order, whatever the positions.

use crate::client::{Client, Folder, able};
use serde_json::{Value, json};

/// The findings without what differs between two documents.
fn plain(list: &[Value]) -> Vec<Value> {
    list.iter()
        .map(|d| json!([d["range"], d["code"], d["message"], d["severity"]]))
        .collect()
}

/// What a document that never was edited shows for a text.
fn fresh(c: &mut Client, text: &str) -> Vec<Value> {
    let uri = format!("untitled:fresh-{}", c.published.len());
    c.open(&uri, text);
    let list = c.findings(&uri, 1);
    plain(&list)
}

/// The document's text as the server has it: laid out, by its own edits applied to what the test believes it is.
fn outline(c: &mut Client, uri: &str) -> Vec<String> {
    let list = c.ask(
        "textDocument/documentSymbol",
        json!({ "textDocument": { "uri": uri } }),
    );
    list.as_array()
        .unwrap()
        .iter()
        .map(|s| {
            format!(
                "{} = {}",
                s["name"].as_str().unwrap(),
                s["detail"].as_str().unwrap_or("")
            )
        })
        .collect()
}

#[test]
fn two_hundred_edits_sent_without_waiting_are_all_applied_in_order() {
    let mut c = Client::start(&[]);
    let uri = "untitled:burst";
    let mut text = String::from("let first = 1 in\n");
    c.open(uri, &text);
    // Each edit depends on the one before: a digit is put after the last digit, or a line after the last line.
    let mut lines = 1;
    for k in 0..200_i64 {
        let (at, new) = if k % 5 == 4 {
            let at = json!({ "line": lines, "character": 0 });
            lines += 1;
            (
                at,
                format!(
                    "let n{k} = first + {k} {}\n",
                    if k % 3 == 0 { "psi" } else { "in" }
                ),
            )
        } else {
            (json!({ "line": 0, "character": 13 }), format!("{}", k % 10))
        };
        match k % 5 {
            4 => text.push_str(&new),
            _ => text.insert_str(13, &new),
        }
        c.change(
            uri,
            k + 2,
            json!([{ "range": { "start": at, "end": at }, "text": new }]),
        );
    }
    let got = c.findings(uri, 201);
    let got = plain(&got);
    assert!(!got.is_empty(), "lengths plus pressures are mistakes");
    assert_eq!(got, fresh(&mut c, &text));
    // The outline shows the first sixty characters of a value; the newest digits come first in it.
    let want: Vec<String> = text
        .lines()
        .map(|l| l.trim_start_matches("let "))
        .map(|l| match l.char_indices().nth("first = ".len() + 60) {
            Some((at, _)) => format!("{}…", &l[..at]),
            None => l.to_owned(),
        })
        .collect();
    assert_eq!(outline(&mut c, uri), want);
    assert_eq!(c.finish(), 0);
}

#[test]
fn several_changes_in_one_message_are_applied_one_after_the_other() {
    let mut c = Client::start(&[]);
    let uri = "untitled:several";
    c.open(uri, "let a = 1 in\n");
    let at = |l: u32, a: u32, b: u32| json!({ "start": { "line": l, "character": a }, "end": { "line": l, "character": b } });
    c.change(
        uri,
        2,
        json!([
            { "range": at(0, 0, 0), "text": "let b = 2 in\n" },
            { "range": at(1, 4, 5), "text": "long_name" },
            { "range": at(1, 16, 17), "text": "7" },
        ]),
    );
    assert_eq!(outline(&mut c, uri), ["b = 2 in", "long_name = 7 in"]);
    c.change(
        uri,
        3,
        json!([{ "text": "let c = 3 in\n" }, { "range": at(0, 4, 5), "text": "d" }]),
    );
    assert_eq!(outline(&mut c, uri), ["d = 3 in"]);
    assert_eq!(c.finish(), 0);
}

#[test]
fn positions_are_counted_as_agreed() {
    for (encoding, count) in [
        ("utf-8", (|s: &str| s.len()) as fn(&str) -> usize),
        ("utf-16", |s| s.encode_utf16().count()),
        ("utf-32", |s| s.chars().count()),
    ] {
        let mut can = able();
        can["general"]["positionEncodings"] = json!([encoding]);
        let (mut c, _) = Client::start_with(&[], can, Value::Null);
        let uri = "untitled:wide";
        let text = "// 🚒 ° µ\nsite { altitude = 820 °F } // 🚒\nlet t = \"🚒°\"   // µ\nlet gap = 5 psi + 3 in // 🚒\n";
        c.open(uri, text);
        let list = c.findings(uri, 1);
        let line = |n: usize| text.lines().nth(n).unwrap();
        let altitude = line(1).find("820").unwrap();
        let on_site: Vec<&Value> = list
            .iter()
            .filter(|d| d["range"]["start"]["line"] == 1)
            .collect();
        assert_eq!(on_site.len(), 1, "{list:#?}");
        assert_eq!(
            on_site[0]["range"]["start"]["character"],
            count(&line(1)[..altitude]),
            "{encoding}"
        );
        // An edit behind the wide signs of a line lands where it should.
        let at = count(&line(2)[..line(2).find("\"   //").unwrap()]);
        let p = json!({ "line": 2, "character": at });
        c.change(
            uri,
            2,
            json!([{ "range": { "start": p, "end": p }, "text": "X" }]),
        );
        assert!(outline(&mut c, uri).contains(&"t = \"🚒°X\"".to_owned()));
        // Inside a sign that takes several units: its start is meant.
        if encoding != "utf-32" {
            let inside = count(&line(2)[..line(2).find('🚒').unwrap()]) + 1;
            let p = json!({ "line": 2, "character": inside });
            c.change(
                uri,
                3,
                json!([{ "range": { "start": p, "end": p }, "text": "Y" }]),
            );
            assert!(outline(&mut c, uri).contains(&"t = \"Y🚒°X\"".to_owned()));
        }
        assert_eq!(c.finish(), 0);
    }
}

#[test]
fn absurd_positions_are_clamped() {
    let mut c = Client::start(&[]);
    let uri = "untitled:absurd";
    c.open(uri, "let a = 1 in\nlet b = 2 in\n");
    let edge = u32::MAX;
    let range = |a: (u32, u32), b: (u32, u32)| json!({ "start": { "line": a.0, "character": a.1 }, "end": { "line": b.0, "character": b.1 } });
    // Past the end of the text: at its end. Past the end of a line: at the line's end. Turned round: as if it were not.
    c.change(
        uri,
        2,
        json!([{ "range": range((edge, edge), (edge, edge)), "text": "let c = 3 in" }]),
    );
    c.change(
        uri,
        3,
        json!([{ "range": range((0, edge), (0, edge)), "text": "ch" }]),
    );
    c.change(
        uri,
        4,
        json!([{ "range": range((1, 5), (1, 4)), "text": "z" }]),
    );
    assert_eq!(outline(&mut c, uri), ["a = 1 inch", "z = 2 in", "c = 3 in"]);
    for (line, character) in [(0, edge), (edge, 0), (edge, edge), (2, 1)] {
        for method in ["hover", "definition", "completion"] {
            c.ask_at(&format!("textDocument/{method}"), uri, line, character);
        }
    }
    for r in [range((edge, 0), (0, 0)), range((0, 0), (edge, edge))] {
        c.ask(
            "textDocument/inlayHint",
            json!({ "textDocument": { "uri": uri }, "range": r }),
        );
        c.ask(
            "textDocument/codeAction",
            json!({ "textDocument": { "uri": uri }, "range": r, "context": { "diagnostics": [] } }),
        );
    }
    assert_eq!(c.finish(), 0);
}

#[test]
fn line_ends_of_every_sort_are_counted_as_the_protocol_counts_them() {
    let mut c = Client::start(&[]);
    let uri = "untitled:ends";
    c.open(
        uri,
        "let a = 1 in\r\nlet b = 2 psi + 3 in\r\n\r\nlet c = 4 in\r\n",
    );
    let list = c.findings(uri, 1);
    assert!(
        !list.is_empty() && list.iter().all(|d| d["range"]["start"]["line"] == 1),
        "{list:#?}"
    );
    let at = |l: u32, a: u32, b: u32| json!({ "start": { "line": l, "character": a }, "end": { "line": l, "character": b } });
    c.change(
        uri,
        2,
        json!([{ "range": at(1, 14, 99), "text": "" }, { "range": at(3, 8, 9), "text": "5" }]),
    );
    assert_eq!(outline(&mut c, uri), ["a = 1 in", "b = 2 psi", "c = 5 in"]);
    // A line end of two characters may be cut in two by an edit and put together again.
    let r =
        json!({ "start": { "line": 0, "character": 12 }, "end": { "line": 1, "character": 0 } });
    c.change(uri, 3, json!([{ "range": r, "text": "\n" }]));
    assert_eq!(outline(&mut c, uri), ["a = 1 in", "b = 2 psi", "c = 5 in"]);
    assert_eq!(c.finish(), 0);
}

#[test]
fn five_hundred_requests_among_edits_are_each_answered_once() {
    let f = Folder::new(&[
        ("a.pump", "let a = 1 in\n"),
        ("b.pump", "use \"a.pump\" as a\nlet b = a.a\n"),
    ]);
    let mut c = Client::start(&[&f]);
    let (a, b) = (f.uri("a.pump"), f.uri("b.pump"));
    c.open(&a, "let a = 1 in\n");
    c.open(&b, "use \"a.pump\" as a\nlet b = a.a\n");
    let all =
        json!({ "start": { "line": 0, "character": 0 }, "end": { "line": 9, "character": 0 } });
    let mut ids = Vec::new();
    let mut version = 1;
    for k in 0..500 {
        if k % 3 == 0 {
            version += 1;
            c.set(
                &a,
                version,
                &format!("let a = {k} {}\n", if k % 2 == 0 { "inn" } else { "in" }),
            );
        }
        let uri = if k % 2 == 0 { &a } else { &b };
        let place = json!({ "textDocument": { "uri": uri }, "position": { "line": k % 3, "character": k % 14 } });
        let of = json!({ "textDocument": { "uri": uri } });
        let (method, params) = match k % 8 {
            0 => ("hover", place),
            1 => ("definition", place),
            2 => ("completion", place),
            3 => ("documentSymbol", of),
            4 => (
                "formatting",
                json!({ "textDocument": { "uri": uri }, "options": { "tabSize": 4, "insertSpaces": true } }),
            ),
            5 => (
                "rangeFormatting",
                json!({ "textDocument": { "uri": uri }, "range": all, "options": { "tabSize": 4, "insertSpaces": true } }),
            ),
            6 => (
                "inlayHint",
                json!({ "textDocument": { "uri": uri }, "range": all }),
            ),
            _ => (
                "codeAction",
                json!({ "textDocument": { "uri": uri }, "range": all, "context": { "diagnostics": [] } }),
            ),
        };
        let id = c.post(&format!("textDocument/{method}"), params);
        ids.push(id);
        if k % 50 == 49 {
            c.tell("$/cancelRequest", json!({ "id": id }));
        }
    }
    for id in ids {
        let answer = c.answer(id);
        let code = answer.get("error").map(|e| e["code"].as_i64().unwrap());
        // Withdrawn in time, or answered.
        assert!(matches!(code, None | Some(-32800)), "{answer}");
    }
    let last = c.findings(&a, version);
    assert_eq!(last.len(), 1, "the last edit, at 498, is wrong: {last:#?}");
    assert_eq!(c.finish(), 0);
}

#[test]
fn a_question_after_an_edit_sees_the_edit() {
    let mut c = Client::start(&[]);
    let uri = "untitled:sees";
    c.open(uri, "let a = 1 in\n");
    for k in 2..60 {
        c.set(uri, k, &format!("let a = {k} in\n"));
        assert_eq!(outline(&mut c, uri), [format!("a = {k} in")]);
    }
    assert_eq!(c.finish(), 0);
}

#[test]
fn findings_are_never_published_for_an_older_text_after_a_newer_one() {
    // The client itself refuses versions that go back; here it gets many.
    let mut c = Client::start(&[]);
    let uri = "untitled:versions";
    c.open(uri, "let a = 1 in\n");
    for k in 2..120 {
        c.set(
            uri,
            k,
            &format!("let a = {k} {}\n", if k % 2 == 0 { "inn" } else { "in" }),
        );
        if k % 7 == 0 {
            c.findings(uri, k);
        }
    }
    assert!(c.findings(uri, 119).is_empty());
    assert_eq!(c.finish(), 0);
}

/// Many duties, each to be solved by itself.
fn duties(n: usize, held: &str) -> String {
    let mut out = String::from(
        "pump main {\n    rating = 1000 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi, power hp) {\n           0  188   66\n         400  182   92\n         800  165  120\n        1000  152  132\n        1200  136  142\n        1400  117  150\n    }\n}\nsupply tank {\n    tank {\n        level = 4 ft\n        loss = 4 psi at 500 gpm\n    }\n}\n",
    );
    for k in 0..n {
        out.push_str(&format!(
            "lay l{k} {{ main.discharge -> {} ft of std.attack_1_3_4 -> tip: std.smooth_7_8 }}\nduty d{k} {{\n    supply = tank\n    lay = l{k}\n    hold tip.pressure = {held}\n}}\nrequire d{k}.tip.flow >= 1 gpm\n",
            100 + k
        ));
    }
    out
}

#[test]
fn solving_gives_way_to_edits_and_ends_with_what_a_fresh_check_finds() {
    let mut c = Client::start(&[]);
    let uri = "untitled:duties";
    c.open(uri, &duties(150, "50 psi"));
    // Edits come while duties are being solved, each changing what must be solved again.
    for k in 2..40 {
        c.set(uri, k, &duties(150, &format!("{} psi", 30 + k)));
        if k % 5 == 0 {
            // A question in between is answered without waiting for the solver.
            outline(&mut c, uri);
        }
    }
    let last = duties(150, "50 inn");
    c.set(uri, 40, &last);
    let wrong = |c: &Client, uri: &str| c.codes(uri).iter().filter(|x| *x == "CW0301").count();
    c.until("every duty shows its wrong unit", |c| wrong(c, uri) == 150);
    assert_eq!(c.shown[uri].0, Some(40));
    let other = "untitled:fresh";
    c.open(other, &last);
    c.until("a fresh check shows as many", |c| wrong(c, other) == 150);
    // And mended: all is solved, and nothing is left of what was found on the way.
    c.set(uri, 41, &duties(150, "50 psi"));
    c.until("nothing is wrong any more", |c| {
        c.shown[uri] == (Some(41), Vec::new())
    });
    assert_eq!(c.finish(), 0);
}

#[test]
fn solved_findings_come_without_being_asked_for_and_go_with_the_edit_that_mends_them() {
    let mut c = Client::start(&[]);
    let uri = "untitled:solved";
    let text = duties(1, "50 psi").replace(">= 1 gpm", ">= 9000 gpm");
    c.open(uri, &text);
    c.until("the rule is found broken", |c| {
        c.codes(uri).contains(&"CW0501".to_owned())
    });
    c.set(uri, 2, &text.replace("9000", "10"));
    c.until("it is mended", |c| {
        !c.codes(uri).contains(&"CW0501".to_owned())
    });
    // Hints of the solved duty are there, and the client is told to ask again.
    let hints = json!({ "textDocument": { "uri": uri }, "range": { "start": { "line": 0, "character": 0 }, "end": { "line": 99, "character": 0 } } });
    let list = c.ask("textDocument/inlayHint", hints);
    let labels: Vec<&str> = list
        .as_array()
        .unwrap()
        .iter()
        .map(|h| h["label"].as_str().unwrap())
        .collect();
    assert!(
        labels
            .iter()
            .any(|l| l.contains("gpm") && l.contains("rpm")),
        "{labels:?}"
    );
    c.until("the client is told to ask again", |c| {
        c.requests
            .iter()
            .any(|r| r.0 == "workspace/inlayHint/refresh")
    });
    assert_eq!(c.finish(), 0);
}
