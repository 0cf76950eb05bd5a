//! Findings and results of a run, each with the text it speaks of.
//!
//! A run may use several compiler databases; their outcomes are merged here. Files are kept in the order of
//! their paths.

use cutwater_compiler::baseline::{Baseline, Entry};
use cutwater_compiler::results::{self, Row};
use cutwater_compiler::schema::KindDef;
use cutwater_compiler::{Db, Found, ProjectSettings, Standing};
use cutwater_finding::{FileId, Finding, Level, Place};
use cutwater_text::{Encoding, LineIndex, Position, Span};
use std::cell::RefCell;
use std::collections::{BTreeMap, HashMap};
use std::fmt;
use std::sync::{Arc, OnceLock};

/// A text and the name it is shown by.
pub struct Source {
    /// The path as shown to people.
    pub path: String,
    /// The text; empty where the file could not be read as text.
    pub text: Arc<str>,
    lines: OnceLock<LineIndex>,
}

impl Source {
    /// A text by a name.
    pub fn new(path: impl Into<String>, text: impl Into<Arc<str>>) -> Self {
        Self {
            path: path.into(),
            text: text.into(),
            lines: OnceLock::new(),
        }
    }

    /// Its lines.
    pub fn lines(&self) -> &LineIndex {
        self.lines.get_or_init(|| LineIndex::new(&self.text))
    }

    /// Zero-based line and column, in characters, of a byte.
    pub fn position(&self, offset: usize) -> Position {
        self.lines().position(&self.text, offset, Encoding::Utf32)
    }
}

impl fmt::Debug for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Source").field("path", &self.path).finish()
    }
}

/// A place in a text.
#[derive(Clone, Debug)]
pub struct At {
    /// The text.
    pub source: Arc<Source>,
    /// The bytes.
    pub span: Span,
}

/// The results of one declaration.
#[derive(Clone, Debug)]
pub struct DeclOutcome {
    /// The word of its kind: `ring`, `let`.
    pub kind: &'static str,
    /// Its name; empty for a declaration that has none.
    pub name: String,
    /// The declaration's head.
    pub at: At,
    /// What was computed from it, in the order of its kind's table.
    pub rows: Vec<Row>,
}

/// Why a finding does not count.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Aside {
    /// The spec accepts it.
    Accepted {
        /// The reason given.
        reason: String,
        /// The last day on which it is accepted, year-month-day.
        until: Option<String>,
    },
    /// The baseline knows it.
    Known,
}

/// What was found in one file, and what was computed from it.
#[derive(Clone, Debug)]
pub struct FileOutcome {
    /// The file.
    pub source: Arc<Source>,
    /// Its findings that count, by place.
    pub findings: Vec<Finding<At>>,
    /// Those that do not, by place.
    pub aside: Vec<(Finding<At>, Aside)>,
    /// The lowest level of a finding that makes a check fail.
    pub fail_at: Level,
    /// Its declarations that have results, in the order of the text. Empty unless results were asked for.
    pub decls: Vec<DeclOutcome>,
}

impl FileOutcome {
    /// A file with findings that all count, and no results.
    pub fn new(source: Arc<Source>, findings: Vec<Finding<At>>, fail_at: Level) -> Self {
        Self {
            source,
            findings,
            aside: Vec::new(),
            fail_at,
            decls: Vec::new(),
        }
    }

    /// Every finding with why it does not count, if so, by place.
    pub fn all(&self) -> Vec<(&Finding<At>, Option<&Aside>)> {
        let mut out: Vec<(&Finding<At>, Option<&Aside>)> = self
            .findings
            .iter()
            .map(|f| (f, None))
            .chain(self.aside.iter().map(|(f, a)| (f, Some(a))))
            .collect();
        out.sort_by_key(|(f, _)| (f.place.span.start, f.place.span.end, f.code.id));
        out
    }

    /// Whether a finding is grave enough to make a check fail.
    pub fn fails(&self) -> bool {
        self.findings.iter().any(|f| f.level >= self.fail_at)
    }
}

/// How many findings there are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Summary {
    /// Files that were named and looked at.
    pub files: usize,
    /// Errors among their findings.
    pub errors: usize,
    /// Warnings.
    pub warnings: usize,
    /// Pieces of advice.
    pub advice: usize,
    /// Findings that the specs accept; not among the others.
    pub accepted: usize,
    /// Findings that the baseline knows; not among the others.
    pub known: usize,
}

impl Summary {
    /// Findings at or above a level.
    pub fn at_least(self, level: Level) -> usize {
        match level {
            Level::Error => self.errors,
            Level::Warning => self.errors + self.warnings,
            Level::Advice => self.errors + self.warnings + self.advice,
        }
    }

    fn add(&mut self, level: Level) {
        match level {
            Level::Error => self.errors += 1,
            Level::Warning => self.warnings += 1,
            Level::Advice => self.advice += 1,
        }
    }
}

/// `3 errors, 2 warnings, 1 advice in 12 files; 2 accepted, 14 known`.
impl fmt::Display for Summary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut parts = Vec::new();
        if self.errors > 0 {
            parts.push(counted(self.errors, "error"));
        }
        if self.warnings > 0 {
            parts.push(counted(self.warnings, "warning"));
        }
        if self.advice > 0 {
            // "Advice" has no plural.
            parts.push(format!("{} advice", self.advice));
        }
        if parts.is_empty() {
            parts.push("no findings".to_owned());
        }
        write!(f, "{} in {}", parts.join(", "), counted(self.files, "file"))?;
        let aside = [(self.accepted, "accepted"), (self.known, "known")];
        let aside: Vec<String> = aside
            .iter()
            .filter(|(n, _)| *n > 0)
            .map(|(n, word)| format!("{n} {word}"))
            .collect();
        if !aside.is_empty() {
            write!(f, "; {}", aside.join(", "))?;
        }
        Ok(())
    }
}

/// A number with its noun: `1 file`, `2 files`.
pub fn counted(n: usize, noun: &str) -> String {
    format!("{n} {noun}{}", if n == 1 { "" } else { "s" })
}

/// All that a run gives.
#[derive(Clone, Debug, Default)]
pub struct Outcome {
    /// The files that were named, by path.
    pub files: Vec<FileOutcome>,
    /// Files that were not named but brought in by `use`, with the findings they have of their own.
    pub brought_in: BTreeMap<String, Summary>,
    /// Things a reader of the outcome should know, in plain sentences.
    pub notes: Vec<String>,
    /// The project file, where there is something to say of it.
    pub project: Option<FileOutcome>,
    /// The baseline, where there is something to say of it.
    pub baseline: Option<FileOutcome>,
    /// The findings of the files that were named, as a baseline would know them.
    pub now: Baseline,
    /// What the baseline in force knows of the files that were named and is found no more.
    pub outdated: Vec<Entry>,
    /// Show those findings, too, that the baseline knows.
    pub show_known: bool,
}

impl Outcome {
    /// Takes in the outcome of another part of the same run. The order is left to [`Outcome::merge`].
    pub fn add(&mut self, other: Outcome) {
        self.files.extend(other.files);
        self.brought_in.extend(other.brought_in);
        self.notes.extend(other.notes);
        self.now.extend(other.now);
        self.outdated.extend(other.outdated);
    }

    /// Takes in the outcome of another part of the same run. The order is put right.
    pub fn merge(&mut self, other: Outcome) {
        self.add(other);
        self.outdated.sort();
        self.files.sort_by(|a, b| a.source.path.cmp(&b.source.path));
    }

    /// The project file, then the files that were named, then the baseline.
    pub fn all_files(&self) -> impl Iterator<Item = &FileOutcome> {
        self.project.iter().chain(&self.files).chain(&self.baseline)
    }

    /// Every finding that counts, file by file.
    pub fn findings(&self) -> impl Iterator<Item = &Finding<At>> {
        self.all_files().flat_map(|f| &f.findings)
    }

    /// Every finding that is to be shown as text, file by file; and whether the baseline knows it.
    pub fn listed(&self) -> impl Iterator<Item = (&Finding<At>, bool)> {
        self.all_files().flat_map(|f| {
            f.all().into_iter().filter_map(|(f, aside)| match aside {
                None => Some((f, false)),
                Some(Aside::Known) if self.show_known => Some((f, true)),
                Some(_) => None,
            })
        })
    }

    /// Whether a finding is grave enough, where it stands, to make a check fail.
    pub fn fails(&self) -> bool {
        self.all_files().any(FileOutcome::fails)
    }

    /// Makes every finding of the files that were named a known one.
    pub fn know_all(&mut self) {
        for f in &mut self.files {
            let new = std::mem::take(&mut f.findings);
            f.aside.extend(new.into_iter().map(|x| (x, Aside::Known)));
        }
        self.outdated.clear();
    }

    /// How many findings there are in the files that were named.
    pub fn summary(&self) -> Summary {
        let mut s = Summary {
            files: self.files.len(),
            ..Summary::default()
        };
        self.findings().for_each(|f| s.add(f.level));
        for (_, aside) in self.all_files().flat_map(|f| &f.aside) {
            match aside {
                Aside::Accepted { .. } => s.accepted += 1,
                Aside::Known => s.known += 1,
            }
        }
        s
    }

    /// The notes, with one on the files brought in that have findings of their own.
    pub fn all_notes(&self) -> Vec<String> {
        let mut out = self.notes.clone();
        if let Some(p) = &self.project {
            let (n, all) = (p.findings.len(), self.findings().count());
            out.push(format!(
                "{} {} in {}; what was understood of it holds",
                match n {
                    n if n == all => counted(n, "finding"),
                    n => format!("{n} of these findings"),
                },
                if n == 1 { "is" } else { "are" },
                p.source.path
            ));
        }
        if !self.brought_in.is_empty() {
            let names: Vec<&str> = self.brought_in.keys().map(String::as_str).collect();
            out.push(format!(
                "{} brought in by `use` {} findings of {} own: {}",
                counted(names.len(), "file"),
                if names.len() == 1 { "has" } else { "have" },
                if names.len() == 1 { "its" } else { "their" },
                names.join(", ")
            ));
        }
        out
    }
}

/// Takes findings and results out of a settled database.
pub struct Collector<'a> {
    db: &'a Db,
    shown: &'a dyn Fn(&str) -> String,
    sources: RefCell<HashMap<FileId, Arc<Source>>>,
}

impl<'a> Collector<'a> {
    /// From a database that is settled. `shown` turns a path from the workspace root into the one shown.
    pub fn new(db: &'a Db, shown: &'a dyn Fn(&str) -> String) -> Self {
        Self {
            db,
            shown,
            sources: RefCell::default(),
        }
    }

    /// One file's findings, and its results if `results` is set.
    pub fn file(&self, file: FileId, results: bool) -> FileOutcome {
        self.file_of(file, &self.db.found(file), results)
    }

    /// A named file's part of an outcome: its findings and results, and what a baseline knows of it.
    pub fn named(&self, file: FileId, results: bool) -> Outcome {
        let found = self.db.found(file);
        let path = self.db.path(file);
        let mut now = Baseline::default();
        now.record(path, &found);
        Outcome {
            files: vec![self.file_of(file, &found, results)],
            now,
            outdated: self
                .db
                .baseline()
                .map_or(Vec::new(), |b| b.outdated(path, &found)),
            ..Outcome::default()
        }
    }

    fn file_of(&self, file: FileId, found: &[Found], results: bool) -> FileOutcome {
        let (mut findings, mut aside) = (Vec::new(), Vec::new());
        for f in found {
            let x = f.finding.map(|p| self.at(*p));
            match &f.standing {
                Standing::Open => findings.push(x),
                Standing::Known => aside.push((x, Aside::Known)),
                Standing::Accepted(a) => aside.push((
                    x,
                    Aside::Accepted {
                        reason: a.reason.to_string(),
                        until: a.until.map(|d| d.to_string()),
                    },
                )),
            }
        }
        FileOutcome {
            source: self.source(file),
            findings,
            aside,
            fail_at: self.db.settings_of(file).fail_at,
            decls: if results {
                self.decls(file)
            } else {
                Vec::new()
            },
        }
    }

    /// How many findings of a file count.
    pub fn count(&self, file: FileId) -> Summary {
        let mut s = Summary {
            files: 1,
            ..Summary::default()
        };
        for f in self.db.found(file) {
            if f.standing == Standing::Open {
                s.add(f.finding.level);
            }
        }
        s
    }

    fn decls(&self, file: FileId) -> Vec<DeclOutcome> {
        self.db
            .decls(file)
            .iter()
            .filter_map(|d| {
                let rows = results::of_decl(self.db, *d);
                let first = rows.first()?;
                let kind: &'static KindDef = self.db.kind(*d)?.0;
                let name = self.db.name(*d).map_or("", |n| n.as_str());
                Some(DeclOutcome {
                    kind: kind.word,
                    name: if name.starts_with('@') { "" } else { name }.to_owned(),
                    at: self.at(first.place),
                    rows,
                })
            })
            .collect()
    }

    fn at(&self, p: Place) -> At {
        At {
            source: self.source(p.file),
            span: p.span,
        }
    }

    fn source(&self, file: FileId) -> Arc<Source> {
        self.sources
            .borrow_mut()
            .entry(file)
            .or_insert_with(|| {
                let path = self.db.path(file);
                // The standard library is in the binary: its paths are shown as they are.
                let shown = if self.db.is_library(file) {
                    path.to_string()
                } else {
                    (self.shown)(path)
                };
                Arc::new(Source::new(shown, self.db.text(file).clone()))
            })
            .clone()
    }
}

/// Checks texts held in memory, each a path and its text: what tests and documentation use.
pub fn of_texts(
    settings: impl Into<ProjectSettings>,
    texts: &[(&str, &str)],
    results: bool,
) -> Outcome {
    let mut db = Db::new(settings);
    for (path, text) in texts {
        db.set_file(path, *text);
    }
    // Nothing cancels this run.
    let _ = db.settle(true, None);
    let shown = |p: &str| p.to_owned();
    let collector = Collector::new(&db, &shown);
    let mut out = Outcome::default();
    for f in db.files() {
        out.merge(Outcome {
            files: vec![collector.file(f, results)],
            ..Outcome::default()
        });
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use cutwater_compiler::Settings;

    #[test]
    fn counts_read_as_a_sentence() {
        let s = |errors, warnings, advice, files| {
            Summary {
                files,
                errors,
                warnings,
                advice,
                ..Summary::default()
            }
            .to_string()
        };
        assert_eq!(s(3, 2, 1, 12), "3 errors, 2 warnings, 1 advice in 12 files");
        assert_eq!(s(1, 0, 0, 1), "1 error in 1 file");
        assert_eq!(s(0, 1, 0, 2), "1 warning in 2 files");
        assert_eq!(s(0, 0, 0, 2), "no findings in 2 files");
        let aside = Summary {
            files: 2,
            accepted: 2,
            known: 14,
            ..Summary::default()
        };
        assert_eq!(
            aside.to_string(),
            "no findings in 2 files; 2 accepted, 14 known"
        );
    }

    #[test]
    fn files_stand_in_the_order_of_their_paths() {
        let texts = [("b.pump", "let x = 3 inn\n"), ("a.pump", "let y = z\n")];
        let out = of_texts(Settings::default(), &texts, false);
        let paths: Vec<&str> = out.files.iter().map(|f| f.source.path.as_str()).collect();
        assert_eq!(paths, ["a.pump", "b.pump"]);
        assert_eq!(out.summary().errors, 2);
    }

    #[test]
    fn files_brought_in_are_named_in_a_note() {
        let mut out = Outcome::default();
        assert!(out.all_notes().is_empty());
        out.brought_in
            .insert("parts/x.pump".to_owned(), Summary::default());
        assert_eq!(
            out.all_notes(),
            ["1 file brought in by `use` has findings of its own: parts/x.pump"]
        );
        out.brought_in
            .insert("parts/y.pump".to_owned(), Summary::default());
        assert_eq!(
            out.all_notes(),
            ["2 files brought in by `use` have findings of their own: parts/x.pump, parts/y.pump"]
        );
    }
}
