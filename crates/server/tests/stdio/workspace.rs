//! Files and folders: what is on disk, what is open, and what one file sees of another.

use crate::client::{Client, Folder};
use serde_json::json;

/// `0`: made, `1`: changed, `2`: deleted.
fn watched(c: &mut Client, uri: &str, what: usize) {
    c.tell(
        "workspace/didChangeWatchedFiles",
        json!({ "changes": [{ "uri": uri, "type": what + 1 }] }),
    );
}

const PARTS: &str = "let bore = 5.5 in\n";
const MAIN: &str = "use \"parts/rings.pump\" as rings\n\nlet twice = 2 * rings.bore\n";

#[test]
fn files_nobody_opened_are_checked() {
    let f = Folder::new(&[
        ("deep/er/bad.pump", "let a = 5 inn\n"),
        ("good.pump", "let a = 5 in\n"),
        (".gitignore", "old/\n"),
        ("old/bad.pump", "let a = 5 inn\n"),
    ]);
    let mut c = Client::start(&[&f]);
    let bad = f.uri("deep/er/bad.pump");
    c.until("the file is checked", |c| c.shown.contains_key(&bad));
    assert_eq!(c.shown[&bad].0, None, "no version of what is not open");
    c.ask("shutdown", serde_json::Value::Null);
    assert_eq!(
        c.shown.len(),
        1,
        "nothing on good or ignored files: {:?}",
        c.shown
    );
}

#[test]
fn an_importer_sees_the_unsaved_text_of_what_it_imports() {
    let f = Folder::new(&[("parts/rings.pump", PARTS), ("main.pump", MAIN)]);
    let mut c = Client::start(&[&f]);
    let (main, parts) = (f.uri("main.pump"), f.uri("parts/rings.pump"));
    c.open(&main, MAIN);
    assert!(c.findings(&main, 1).is_empty());
    c.open(&parts, "let born = 5.5 in\n");
    c.until("the importer shows the missing name", |c| {
        c.codes(&main) == ["CW0202"]
    });
    c.set(&parts, 2, PARTS);
    c.until("the importer is well again", |c| c.codes(&main).is_empty());
    // Closing without saving: what is on disk holds.
    c.set(&parts, 3, "let born = 5.5 in\n");
    c.until("the importer shows it again", |c| {
        c.codes(&main) == ["CW0202"]
    });
    c.tell(
        "textDocument/didClose",
        json!({ "textDocument": { "uri": parts } }),
    );
    c.until("the disk holds again", |c| c.codes(&main).is_empty());
    assert_eq!(c.finish(), 0);
}

#[test]
fn a_file_that_is_deleted_renamed_or_made_is_noticed() {
    let f = Folder::new(&[("parts/rings.pump", PARTS), ("main.pump", MAIN)]);
    let mut c = Client::start(&[&f]);
    let (main, parts, other) = (
        f.uri("main.pump"),
        f.uri("parts/rings.pump"),
        f.uri("parts/seals.pump"),
    );
    c.open(&main, MAIN);
    assert!(c.findings(&main, 1).is_empty());
    std::fs::remove_file(f.path("parts/rings.pump")).unwrap();
    watched(&mut c, &parts, 2);
    c.until("the file is missed", |c| c.codes(&main) == ["CW0207"]);
    f.write("parts/rings.pump", PARTS);
    watched(&mut c, &parts, 0);
    c.until("the file is back", |c| c.codes(&main).is_empty());
    f.write("parts/rings.pump", "let born = 5.5 in\n");
    watched(&mut c, &parts, 1);
    c.until("the change is seen", |c| c.codes(&main) == ["CW0202"]);
    // Renamed in the editor.
    f.write("parts/rings.pump", PARTS);
    std::fs::rename(f.path("parts/rings.pump"), f.path("parts/seals.pump")).unwrap();
    c.tell(
        "workspace/didRenameFiles",
        json!({ "files": [{ "oldUri": parts, "newUri": other }] }),
    );
    c.until("the old name is missed", |c| c.codes(&main) == ["CW0207"]);
    c.set(&main, 2, &MAIN.replace("rings.pump", "seals.pump"));
    c.until("the new name is found", |c| c.codes(&main).is_empty());
    // A whole folder.
    std::fs::remove_dir_all(f.path("parts")).unwrap();
    c.tell(
        "workspace/didDeleteFiles",
        json!({ "files": [{ "uri": f.uri("parts") }] }),
    );
    c.until("the folder is missed", |c| c.codes(&main) == ["CW0207"]);
    assert_eq!(c.finish(), 0);
}

#[test]
fn an_open_document_wins_over_the_disk() {
    let f = Folder::new(&[("a.pump", "let a = 5 in\n")]);
    let mut c = Client::start(&[&f]);
    let a = f.uri("a.pump");
    c.open(&a, "let a = 5 inn\n");
    assert_eq!(c.findings(&a, 1).len(), 1);
    f.write("a.pump", "let a = 6 in\n");
    watched(&mut c, &a, 1);
    c.set(&a, 2, "let a = 5 inn // still\n");
    assert_eq!(c.findings(&a, 2).len(), 1);
    std::fs::remove_file(f.path("a.pump")).unwrap();
    watched(&mut c, &a, 2);
    c.set(&a, 3, "let a = 5 inn // and still\n");
    assert_eq!(c.findings(&a, 3).len(), 1);
    // Closed and gone: nothing is shown any more.
    c.tell(
        "textDocument/didClose",
        json!({ "textDocument": { "uri": a } }),
    );
    c.until("its findings are taken back", |c| c.codes(&a).is_empty());
    assert_eq!(c.finish(), 0);
}

#[test]
fn two_roots_have_their_own_settings_and_names() {
    let bad = "let a = 5 inn\n";
    let one = Folder::new(&[
        ("cutwater.toml", "[levels]\nunknown-unit = \"warning\"\n"),
        ("x.pump", bad),
    ]);
    let two = Folder::new(&[
        ("x.pump", bad),
        ("sub/cutwater.toml", "[levels]\nunknown-unit = \"off\"\n"),
        ("sub/y.pump", bad),
    ]);
    let mut c = Client::start(&[&one, &two]);
    let (x1, x2, y) = (one.uri("x.pump"), two.uri("x.pump"), two.uri("sub/y.pump"));
    c.open(&y, bad);
    assert!(
        c.findings(&y, 1).is_empty(),
        "switched off in its own folder"
    );
    c.until("both are checked", |c| {
        c.shown.contains_key(&x1) && c.shown.contains_key(&x2)
    });
    assert_eq!(c.shown[&x1].1[0]["severity"], 2);
    assert_eq!(c.shown[&x2].1[0]["severity"], 1);
    // A folder is taken out of the workspace, and put in again.
    let event = |added: serde_json::Value, removed: serde_json::Value| json!({ "event": { "added": added, "removed": removed } });
    let folder = json!([{ "uri": crate::client::uri(two.0.path()), "name": "two" }]);
    c.tell(
        "workspace/didChangeWorkspaceFolders",
        event(json!([]), folder.clone()),
    );
    c.until("its findings are taken back", |c| c.codes(&x2).is_empty());
    assert_eq!(c.codes(&x1).len(), 1);
    c.tell(
        "workspace/didChangeWorkspaceFolders",
        event(folder, json!([])),
    );
    c.until("its findings are back", |c| c.codes(&x2).len() == 1);
    assert_eq!(c.finish(), 0);
}

#[test]
fn the_project_file_is_checked_and_obeyed_as_it_changes() {
    let f = Folder::new(&[
        ("cutwater.toml", "units = \"metrics\"\n"),
        ("x.pump", "let a = 5 inn\n"),
    ]);
    let mut c = Client::start(&[&f]);
    let (toml, x) = (f.uri("cutwater.toml"), f.uri("x.pump"));
    c.until("the mistake is shown", |c| {
        c.shown.contains_key(&toml) && c.shown.contains_key(&x)
    });
    let d = c.shown[&toml].1[0].clone();
    assert!(d["message"].as_str().unwrap().contains("metric"), "{d}");
    assert_eq!(d["range"]["start"], json!({ "line": 0, "character": 8 }));
    f.write("cutwater.toml", "[levels]\nunknown-unit = \"off\"\n");
    watched(&mut c, &toml, 1);
    c.until("it is mended and obeyed", |c| {
        c.codes(&x).is_empty() && c.shown[&toml].1.is_empty()
    });
    // Unsaved, it wins over the disk as any document does.
    c.open(&toml, "fail_at = 3\n");
    c.until("the unsaved one holds", |c| {
        c.codes(&x).len() == 1 && c.shown[&toml].1.len() == 1
    });
    let options = json!({ "textDocument": { "uri": toml }, "options": { "tabSize": 4, "insertSpaces": true } });
    let layout = c.ask("textDocument/formatting", options);
    assert!(layout.is_null(), "it is no spec");
    let options = json!({ "textDocument": { "uri": toml }, "options": { "tabSize": 4, "insertSpaces": true }, "range": { "start": { "line": 0, "character": 0 }, "end": { "line": 1, "character": 0 } } });
    let layout = c.ask("textDocument/rangeFormatting", options);
    assert!(layout.is_null(), "no part of it either");
    c.tell(
        "textDocument/didClose",
        json!({ "textDocument": { "uri": toml } }),
    );
    c.until("the saved one holds", |c| {
        c.codes(&x).is_empty() && c.shown[&toml].1.is_empty()
    });
    std::fs::remove_file(f.path("cutwater.toml")).unwrap();
    watched(&mut c, &toml, 2);
    c.until("the defaults hold", |c| c.codes(&x).len() == 1);
    assert_eq!(c.finish(), 0);
}

#[test]
fn a_file_from_elsewhere_is_checked_with_what_it_uses() {
    let f = Folder::new(&[("parts/rings.pump", PARTS), ("main.pump", MAIN)]);
    let other = Folder::new(&[]);
    let mut c = Client::start(&[&other]);
    let (main, parts) = (f.uri("main.pump"), f.uri("parts/rings.pump"));
    // The inner one first: it must still be seen by the outer one.
    c.open(&parts, PARTS);
    c.open(&main, MAIN);
    assert!(c.findings(&main, 1).is_empty());
    c.set(&parts, 2, "let born = 5.5 in\n");
    c.until("the importer shows it", |c| c.codes(&main) == ["CW0202"]);
    for uri in [&main, &parts] {
        c.tell(
            "textDocument/didClose",
            json!({ "textDocument": { "uri": uri } }),
        );
    }
    c.until("its findings are taken back", |c| c.codes(&main).is_empty());
    assert_eq!(c.finish(), 0);
}

#[test]
fn unreadable_files_are_findings_not_failures() {
    let f = Folder::new(&[("main.pump", "use \"latin.pump\" as l\nlet a = l.b\n")]);
    std::fs::write(f.path("latin.pump"), b"let b = \xb5 in\n").unwrap();
    let mut c = Client::start(&[&f]);
    let latin = f.uri("latin.pump");
    c.until("it is said", |c| c.codes(&latin) == ["CW0104"]);
    f.write("latin.pump", "let b = 5 in\n");
    watched(&mut c, &latin, 1);
    c.until("it is mended", |c| c.codes(&latin).is_empty());
    assert_eq!(c.finish(), 0);
}

#[test]
fn names_of_files_may_hold_any_character() {
    let f = Folder::new(&[]);
    let mut c = Client::start(&[&f]);
    f.write("a b/µ+%.pump", "let a = 5 inn\n");
    let sent = format!("{}/a%20b/%C2%B5%2B%25.pump", crate::client::uri(f.0.path()));
    watched(&mut c, &sent, 0);
    c.until("it is checked", |c| {
        c.shown.values().any(|s| s.1.len() == 1)
    });
    c.open(&sent, "let a = 5 in\n");
    assert!(c.findings(&sent, 1).is_empty());
    c.until("no other name of it is left", |c| {
        c.shown.values().all(|s| s.1.is_empty())
    });
    assert_eq!(c.finish(), 0);
}
