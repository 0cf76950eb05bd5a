//! One slip in a good file gives few findings in the whole workspace: what is damaged is said once, and nothing that
//! hangs on it is reported again. `CUTWATER_CASES` takes every token of the files, not a sample.

use cutwater_compiler::{Db, ProjectSettings, settings, world::Disk};
use cutwater_syntax::token::lex;
use std::collections::HashMap;
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

fn workspace(folder: &str) -> Db {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../..")
        .join(folder);
    let settings = match std::fs::read_to_string(root.join("cutwater.toml")) {
        Ok(t) => settings::read(&t).settings,
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
    db
}

/// Every finding of the workspace as one line, with how often it is there.
fn findings(db: &Db) -> HashMap<String, usize> {
    let mut out = HashMap::new();
    for f in db.files() {
        for x in db.findings(f) {
            *out.entry(format!("{} {} {}", db.path(f), x.code.id, x.message))
                .or_default() += 1;
        }
    }
    out
}

/// How many findings each slip adds, and the slips that add more than `most`.
struct Counts {
    added: Vec<usize>,
    /// The most that a slip adds which leaves text that cannot be read; text that can be read but says another thing
    /// may well break limits in many places.
    in_broken_text: usize,
    worst: Vec<(usize, String)>,
}

fn slips(folder: &str, step: usize, counts: &mut Counts) {
    let mut db = workspace(folder);
    db.settle(true, None).expect("nothing cancels");
    let good = findings(&db);
    let files: Vec<_> = db.files().collect();
    let mut n = 0;
    for file in files {
        let path = db.path(file).to_string();
        let text = db.text(file).to_string();
        for raw in lex(&text) {
            if raw.kind.is_trivia() {
                continue;
            }
            n += 1;
            if n % step != 0 {
                continue;
            }
            let mut changed = text.clone();
            changed.replace_range(raw.span.range(), "");
            db.set_file(&path, changed);
            db.settle(false, None).expect("nothing cancels");
            let added: Vec<String> = findings(&db)
                .into_iter()
                .filter(|(f, n)| *n > good.get(f).copied().unwrap_or(0))
                .map(|(f, _)| f)
                .collect();
            counts.added.push(added.len());
            if added.iter().any(|a| a.contains(" CW01")) {
                counts.in_broken_text = counts.in_broken_text.max(added.len());
            }
            let line = text[..raw.span.start as usize].matches('\n').count();
            counts.worst.push((
                added.len(),
                format!(
                    "without `{}` in {path} line {} `{}`:\n  {}",
                    raw.span.slice(&text),
                    line + 1,
                    text.lines().nth(line).unwrap_or("").trim(),
                    added.join("\n  ")
                ),
            ));
            // Findings that wait for a solved duty stand as they were until it is solved.
            db.set_file(&path, text.clone());
            db.settle(true, None).expect("nothing cancels");
        }
        let again = findings(&db);
        let only = |a: &HashMap<String, usize>, b: &HashMap<String, usize>| -> Vec<String> {
            a.iter()
                .filter(|(f, n)| b.get(*f) != Some(n))
                .map(|(f, _)| f.clone())
                .collect()
        };
        assert_eq!(
            (only(&again, &good), only(&good, &again)),
            (vec![], vec![]),
            "{path} as it was"
        );
    }
}

#[test]
fn a_missing_token_gives_few_findings() {
    let all = std::env::var_os("CUTWATER_CASES").is_some();
    let mut counts = Counts {
        added: Vec::new(),
        in_broken_text: 0,
        worst: Vec::new(),
    };
    for folder in ["examples", "demo-data"] {
        slips(folder, if all { 1 } else { 23 }, &mut counts);
    }
    counts.added.sort_unstable();
    counts.worst.sort_by_key(|w| std::cmp::Reverse(w.0));
    let at = |share: f64| counts.added[((counts.added.len() - 1) as f64 * share) as usize];
    let summary = format!(
        "{} slips: median {}, 95 % {}, 99 % {}, most {}, most in broken text {}",
        counts.added.len(),
        at(0.5),
        at(0.95),
        at(0.99),
        at(1.0),
        counts.in_broken_text
    );
    let worst: Vec<&str> = counts.worst.iter().take(60).map(|w| w.1.as_str()).collect();
    assert!(
        at(0.5) <= 1 && at(0.95) <= 2 && at(0.99) <= 3 && counts.in_broken_text <= 5,
        "{summary}\n{}",
        worst.join("\n")
    );
}
