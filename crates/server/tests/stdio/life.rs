//! How the server begins and ends.

use crate::client::{Client, Folder, able};
use serde_json::{Value, json};

#[test]
fn the_handshake_names_what_is_there_and_nothing_else() {
    let (mut c, said) = Client::start_with(&[], able(), Value::Null);
    let can = said["capabilities"].as_object().unwrap();
    assert_eq!(can["positionEncoding"], "utf-16");
    assert_eq!(can["textDocumentSync"]["change"], 2);
    assert_eq!(said["serverInfo"]["name"], "cutwater");
    // Each thing advertised is asked for once; none may be unknown to the server.
    let doc = "untitled:one";
    c.open(doc, "let a = 5 in\n");
    let place =
        json!({ "textDocument": { "uri": doc }, "position": { "line": 0, "character": 4 } });
    let all =
        json!({ "start": { "line": 0, "character": 0 }, "end": { "line": 9, "character": 0 } });
    let of = json!({ "uri": doc });
    let questions = [
        ("hoverProvider", "hover", place.clone()),
        ("definitionProvider", "definition", place.clone()),
        ("completionProvider", "completion", place),
        (
            "documentSymbolProvider",
            "documentSymbol",
            json!({ "textDocument": of }),
        ),
        (
            "documentFormattingProvider",
            "formatting",
            json!({ "textDocument": of, "options": { "tabSize": 4, "insertSpaces": true } }),
        ),
        (
            "documentRangeFormattingProvider",
            "rangeFormatting",
            json!({ "textDocument": of, "range": all, "options": { "tabSize": 4, "insertSpaces": true } }),
        ),
        (
            "inlayHintProvider",
            "inlayHint",
            json!({ "textDocument": of, "range": all }),
        ),
        (
            "codeActionProvider",
            "codeAction",
            json!({ "textDocument": of, "range": all, "context": { "diagnostics": [] } }),
        ),
    ];
    for (provider, method, params) in &questions {
        assert!(can.contains_key(*provider), "{provider}");
        c.ask(&format!("textDocument/{method}"), params.clone());
    }
    let known = ["positionEncoding", "textDocumentSync", "workspace"];
    for k in can.keys() {
        assert!(
            known.contains(&k.as_str()) || questions.iter().any(|q| q.0 == k),
            "`{k}` is advertised but not tested"
        );
    }
    assert_eq!(c.finish(), 0);
}

#[test]
fn a_client_that_does_not_wait_for_the_handshake_is_served() {
    let mut c = Client::spawn();
    let id = c.post(
        "initialize",
        json!({ "processId": null, "capabilities": able() }),
    );
    c.tell("initialized", json!({}));
    c.open("untitled:quick", "let a = 5 inn\n");
    assert!(c.answer(id).get("result").is_some());
    assert_eq!(c.findings("untitled:quick", 1).len(), 1);
    assert_eq!(c.finish(), 0);
}

#[test]
fn every_encoding_is_agreed_on() {
    for (offered, chosen) in [
        (json!(["utf-32"]), "utf-32"),
        (json!(["utf-16", "utf-8"]), "utf-8"),
        (json!(["utf-32", "utf-16"]), "utf-16"),
        (json!(["nonsense"]), "utf-16"),
        (json!([]), "utf-16"),
    ] {
        let mut can = able();
        can["general"]["positionEncodings"] = offered;
        let (c, said) = Client::start_with(&[], can, Value::Null);
        assert_eq!(said["capabilities"]["positionEncoding"], chosen);
        assert_eq!(c.finish(), 0);
    }
}

#[test]
fn exit_after_shutdown_gives_0_with_the_input_still_open() {
    assert_eq!(Client::start(&[]).finish(), 0);
}

#[test]
fn exit_without_shutdown_gives_1_with_the_input_still_open() {
    let mut c = Client::start(&[]);
    c.tell("exit", Value::Null);
    assert_eq!(c.wait(), 1);
}

#[test]
fn exit_before_the_handshake_gives_1() {
    let mut c = Client::spawn();
    c.tell("exit", Value::Null);
    assert_eq!(c.wait(), 1);
}

#[test]
fn the_end_of_the_input_ends_the_server() {
    let mut c = Client::start(&[]);
    c.hang_up();
    assert_eq!(c.wait(), 1);
    let mut c = Client::start(&[]);
    c.ask("shutdown", Value::Null);
    c.hang_up();
    assert_eq!(c.wait(), 0);
}

#[test]
fn shutdown_and_exit_sent_at_once_still_answer_the_shutdown() {
    let mut c = Client::start(&[]);
    let id = c.post("shutdown", Value::Null);
    c.tell("exit", Value::Null);
    assert_eq!(c.wait(), 0);
    assert!(c.answer(id).get("error").is_none());
}

#[test]
fn requests_after_shutdown_are_refused() {
    let mut c = Client::start(&[]);
    c.ask("shutdown", Value::Null);
    let id = c.post(
        "textDocument/documentSymbol",
        json!({ "textDocument": { "uri": "untitled:x" } }),
    );
    assert_eq!(c.answer(id)["error"]["code"], -32600);
    c.tell("exit", Value::Null);
    assert_eq!(c.wait(), 0);
}

#[test]
fn requests_before_the_handshake_are_refused() {
    let mut c = Client::spawn();
    let id = c.post(
        "textDocument/documentSymbol",
        json!({ "textDocument": { "uri": "untitled:x" } }),
    );
    assert_eq!(c.answer(id)["error"]["code"], -32002);
}

#[cfg(unix)]
#[test]
fn the_server_ends_when_the_process_that_started_it_is_gone() {
    let mut editor = std::process::Command::new("sleep")
        .arg("1000")
        .spawn()
        .unwrap();
    let mut c = Client::spawn();
    c.ask(
        "initialize",
        json!({ "processId": editor.id(), "capabilities": able() }),
    );
    c.tell("initialized", json!({}));
    c.open("untitled:x", "let a = 5 in\n");
    c.findings("untitled:x", 1);
    // Dead, but not waited for: it is still listed, and gone all the same.
    editor.kill().unwrap();
    assert_eq!(c.wait(), 1);
    editor.wait().unwrap();
}

#[test]
fn what_is_no_message_is_answered_and_survived() {
    let mut c = Client::start(&[]);
    c.raw(b"Content-Length: 5\r\n\r\n{nono");
    c.raw(b"Content-Length: 2\r\n\r\n[]");
    let unknown = c.post("textDocument/nothing", json!({}));
    assert_eq!(c.answer(unknown)["error"]["code"], -32601);
    let wrong = c.post("textDocument/hover", json!({ "textDocument": 7 }));
    assert_eq!(c.answer(wrong)["error"]["code"], -32602);
    c.tell("$/nothing", json!({}));
    c.tell("textDocument/didChange", json!({ "nonsense": true }));
    c.tell(
        "textDocument/didChange",
        json!({ "textDocument": { "uri": "untitled:never", "version": 2 }, "contentChanges": [] }),
    );
    c.open("untitled:x", "let a = 5 inn\n");
    assert_eq!(c.findings("untitled:x", 1).len(), 1);
    c.unread.sort_unstable();
    assert_eq!(c.unread, [-32700, -32600]);
    assert_eq!(c.finish(), 0);
}

#[test]
fn the_client_is_asked_to_watch_specs_and_project_files_alone() {
    let f = Folder::new(&[]);
    let mut c = Client::start(&[&f]);
    c.until("the client is asked", |c| !c.requests.is_empty());
    let (method, params) = c.requests[0].clone();
    assert_eq!(method, "client/registerCapability");
    let r = &params["registrations"][0];
    assert_eq!(r["method"], "workspace/didChangeWatchedFiles");
    let globs: Vec<&str> = r["registerOptions"]["watchers"]
        .as_array()
        .unwrap()
        .iter()
        .map(|w| w["globPattern"].as_str().unwrap())
        .collect();
    assert_eq!(
        globs,
        ["**/*.pump", "**/cutwater.toml", "**/cutwater-baseline.json"]
    );
    assert_eq!(c.finish(), 0);
}
