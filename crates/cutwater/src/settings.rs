//! The project file read from disk, with `--config` laid over it; and `cutwater settings`, which shows what holds
//! for a path and where each value comes from.
//!
//! What is wrong with the project file is a finding of the run; what is wrong with `--config` is a failure, as
//! any other wrong argument.

use crate::args::{Color, PageFormat, SettingsCommand};
use crate::exit;
use crate::failure::Failure;
use crate::output::Output;
use crate::project::{place, shown};
use crate::render;
use cutwater_compiler::settings::{self, Explained, FILE_NAME, Origin, Read, keys};
use cutwater_compiler::world::{Found, read_path};
use cutwater_compiler::{FileTrouble, ProjectSettings, Settings};
use cutwater_finding::Finding;
use cutwater_report::outcome::counted;
use cutwater_report::{At, FileOutcome, Outcome, Source};
use cutwater_text::Span;
use serde_json::json;
use std::fmt::Write;
use std::path::Path;
use std::sync::Arc;

/// Reads the project file at a root; gives it, too, where something is wrong with it.
///
/// # Errors
/// A `--config` that is wrong.
pub fn load(
    root: &Path,
    here: &Path,
    overrides: &[String],
) -> Result<(ProjectSettings, Option<FileOutcome>), Failure> {
    let (source, read, trouble) = read(root, here);
    let mut settings = read.settings.clone();
    for given in overrides {
        settings.set(given).map_err(|why| {
            Failure::new(format!("--config {given}: {why}"))
                .help("write key=value, as fail_at=warning or levels.CW17=off")
        })?;
    }
    let at = |span: Span| At {
        source: source.clone(),
        span,
    };
    let mut findings: Vec<Finding<At>> = read
        .leveled(&settings)
        .iter()
        .map(|f| f.map(|s| at(*s)))
        .collect();
    if let Some(t) = trouble {
        let (code, message, help) = t.describe(&source.path);
        findings.push(Finding::new(code, at(Span::default()), message).help(help));
    }
    let fail_at = settings.base().fail_at;
    let file = (!findings.is_empty()).then(|| FileOutcome::new(source, findings, fail_at));
    Ok((settings, file))
}

/// The project file of a root, read as far as it can be.
fn read(root: &Path, here: &Path) -> (Arc<Source>, Read, Option<FileTrouble>) {
    let path = root.join(FILE_NAME);
    let (text, trouble) = match read_path(&path) {
        Found::Text(t) => (t, None),
        Found::Missing => (Arc::from(""), None),
        Found::Trouble(t) => (Arc::from(""), Some(t)),
    };
    let read = settings::read(&text).with_folders(|p| root.join(p).exists());
    (
        Arc::new(Source::new(shown(here, &path), text)),
        read,
        trouble,
    )
}

/// Runs `cutwater settings`.
///
/// # Errors
/// The path is not there, or a `--config` is wrong.
pub fn run(a: &SettingsCommand) -> Result<u8, Failure> {
    let (root, here, key) = place(&a.path)?;
    let (source, _, _) = read(&root, &here);
    let (settings, wrong) = load(&root, &here, &a.config)?;
    let of = View {
        path: shown(&here, &root.join(&key)),
        file: shown(&here, &root.join(FILE_NAME)),
        there: root.join(FILE_NAME).is_file(),
        root: shown(&here, &root),
        source,
        explained: settings.explained(&key),
    };
    let outcome = Outcome {
        project: wrong,
        ..Outcome::default()
    };
    let mut out = Output::new(Color::Auto);
    match a.format {
        PageFormat::Text => {
            let style = out.style();
            out.write(&render::findings(&outcome, style, 0));
            out.write(&of.text());
        }
        PageFormat::Json => {
            let wrong: Vec<_> = outcome.findings().map(|f| f.message.clone()).collect();
            let text = serde_json::to_string_pretty(&of.json(&wrong))
                .map_err(|e| Failure::new(format!("the JSON document could not be made: {e}")))?;
            out.write(&(text + "\n"));
        }
    }
    out.finish()?;
    Ok(if outcome.fails() {
        exit::FINDINGS
    } else {
        exit::CLEAN
    })
}

/// What holds for a path, to be written.
struct View {
    path: String,
    root: String,
    file: String,
    there: bool,
    source: Arc<Source>,
    explained: Explained,
}

impl View {
    fn origin(&self, o: &Origin) -> String {
        match o {
            Origin::BuiltIn => "built in".to_owned(),
            Origin::File(span) => format!("{}:{}", self.file, self.line(*span)),
            Origin::Command(given) => format!("--config {given}"),
        }
    }

    fn line(&self, span: Span) -> u32 {
        self.source.position(span.start as usize).line + 1
    }

    fn text(&self) -> String {
        let mut out = format!("settings for {}\nworkspace    {}", self.path, self.root);
        let _ = writeln!(
            out,
            "\nproject file {}\n",
            if self.there {
                self.file.as_str()
            } else {
                "none"
            }
        );
        let mut rows: Vec<[String; 3]> = Vec::new();
        for e in &self.explained.values {
            let value = match &e.value {
                Some(v) => format!("= \"{v}\""),
                None => "= none".to_owned(),
            };
            rows.push([e.key.name.to_owned(), value, self.origin(&e.origin)]);
        }
        table(&mut out, &rows);
        let levels = &self.explained.levels;
        if levels.is_empty() {
            out.push_str(
                "\nlevels: every finding has its own, as `cutwater explain findings` lists them\n",
            );
            return out;
        }
        let _ = writeln!(
            out,
            "\nlevels: {} set, every other finding has its own",
            counted(levels.len(), "finding")
        );
        let rows: Vec<[String; 3]> = levels
            .values()
            .map(|(code, level, origin)| {
                [
                    format!("{} {}", code.id, code.name),
                    format!("= \"{}\"", keys::level_word(*level)),
                    self.origin(origin),
                ]
            })
            .collect();
        table(&mut out, &rows);
        out
    }

    fn json(&self, wrong: &[String]) -> serde_json::Value {
        let from = |o: &Origin| match o {
            Origin::BuiltIn => json!({ "kind": "built-in" }),
            Origin::File(span) => {
                json!({ "kind": "file", "file": self.file, "line": self.line(*span) })
            }
            Origin::Command(given) => json!({ "kind": "command-line", "given": given }),
        };
        let mut values = serde_json::Map::new();
        for e in &self.explained.values {
            values.insert(
                e.key.name.to_owned(),
                json!({ "value": e.value, "from": from(&e.origin) }),
            );
        }
        // Every finding, so that a program need not know which were set.
        let own = Origin::BuiltIn;
        let levels: Vec<_> = cutwater_compiler::codes::all()
            .into_iter()
            .map(|c| {
                let (level, origin) = match self.explained.levels.get(c.id) {
                    Some((_, level, origin)) => (*level, origin),
                    None => (Settings::default().level(c), &own),
                };
                json!({ "code": c.id, "name": c.name, "level": keys::level_word(level), "from": from(origin) })
            })
            .collect();
        json!({
            "version": 1,
            "path": self.path,
            "workspace": self.root,
            "project_file": self.there.then_some(&self.file),
            "problems": wrong,
            "settings": values,
            "levels": levels,
        })
    }
}

/// Rows with their columns below each other.
fn table(out: &mut String, rows: &[[String; 3]]) {
    let width = |k: usize| {
        rows.iter()
            .map(|r| r[k].chars().count())
            .max()
            .unwrap_or_default()
    };
    let (a, b) = (width(0), width(1));
    for [x, y, z] in rows {
        let _ = writeln!(out, "  {x:a$} {y:b$}  {z}");
    }
}
