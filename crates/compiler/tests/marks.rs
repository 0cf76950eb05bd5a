//! The shipped demo and examples give exactly the findings that are marked in place: every finding stands on a line
//! with `// finds: CODE`, and every mark is found.

use cutwater_compiler::{Db, ProjectSettings, settings, world::Disk};
use cutwater_text::Encoding;
use std::path::{Path, PathBuf};

fn pump_files(folder: &Path, out: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> = std::fs::read_dir(folder)
        .expect("the folder is part of the project")
        .map(|e| e.expect("an entry").path())
        .collect();
    entries.sort();
    for e in entries {
        if e.is_dir() {
            pump_files(&e, out);
        } else if e.extension().is_some_and(|x| x == "pump") {
            out.push(e);
        }
    }
}

fn check(folder: &str) -> usize {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../..")
        .join(folder);
    let settings = match std::fs::read_to_string(root.join("cutwater.toml")) {
        Ok(t) => {
            let read = settings::read(&t);
            assert!(read.findings.is_empty(), "{:?}", read.findings);
            read.settings
        }
        Err(_) => ProjectSettings::default(),
    };
    let mut db = Db::new(settings);
    let world = Disk::new(&root);
    let mut files = Vec::new();
    pump_files(&root, &mut files);
    for f in &files {
        let path = f
            .strip_prefix(&root)
            .expect("below the root")
            .to_string_lossy()
            .replace('\\', "/");
        assert!(db.load(&world, &path), "{path}");
    }
    db.load_used(&world);
    db.settle(true, None).unwrap();
    let mut wrong = Vec::new();
    let mut marks = 0;
    for file in db.files().collect::<Vec<_>>() {
        let path = db.path(file).clone();
        let text = db.text(file).clone();
        let lines = db.lines(file);
        let mut found: Vec<(u32, String)> = db
            .findings(file)
            .iter()
            .map(|f| {
                (
                    lines
                        .position(&text, f.place.span.start as usize, Encoding::Utf8)
                        .line,
                    f.code.id.to_owned(),
                )
            })
            .collect();
        let mut marked: Vec<(u32, String)> = Vec::new();
        for (k, line) in text.lines().enumerate() {
            if let Some((_, codes)) = line.split_once("// finds:") {
                marked.extend(
                    codes
                        .split([',', ' '])
                        .filter(|c| c.starts_with("CW"))
                        .map(|c| (k as u32, c.to_owned())),
                );
            }
        }
        found.sort();
        marked.sort();
        marks += marked.len();
        for f in found.iter().filter(|f| !marked.contains(f)) {
            wrong.push(format!(
                "{path}:{}: {} is found but not marked",
                f.0 + 1,
                f.1
            ));
        }
        for m in marked.iter().filter(|m| !found.contains(m)) {
            wrong.push(format!(
                "{path}:{}: {} is marked but not found",
                m.0 + 1,
                m.1
            ));
        }
        assert_eq!(
            *cutwater_syntax::format(&text),
            *text,
            "{path} is not in the canonical layout"
        );
    }
    assert!(wrong.is_empty(), "{folder}:\n{}", wrong.join("\n"));
    marks
}

#[test]
fn the_demo_gives_exactly_its_marked_findings() {
    assert_eq!(check("demo-data"), 7);
}

#[test]
fn the_examples_give_exactly_their_marked_findings() {
    assert!(check("examples") >= 10);
}
