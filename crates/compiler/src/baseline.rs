//! The baseline: findings that are known already, so that an old fleet can be checked for what is new.
//!
//! An entry says how many findings of one code a file has about one subject (`main.curve`, `require
//! attack.left.flow`). Neither lines nor numbers are in it, so it stays right while text moves and values
//! change. Of more findings with the same entry than it counts, the first ones by place are the known ones.
//!
//! The file is JSON with one entry on a line, sorted, so that two versions compare well line by line. It has a
//! version; a later one is refused, as its meaning is not known here.
//!
//! Invariants: [`Baseline::to_text`] and [`Baseline::parse`] are each other's inverse; a count is never 0.
//!
//! Not here: reading and writing files.

use crate::codes::codes;
use crate::found::{Found, Standing};
use cutwater_text::Span;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::fmt::Write;

codes! {
    OUTDATED = "CW0751" "baseline-outdated" Advice, "The baseline knows findings that are found no more.",
        "They are mended, or what they were about has another name now. Left in, they would hide the same findings when they come back. `cutwater check --prune-baseline` takes them out.",
        fires "", silent "let x = 1\n";
}

/// The version of the file's form.
pub const VERSION: u32 = 1;

/// The usual name of the file.
pub const FILE_NAME: &str = "cutwater-baseline.json";

/// What findings are known by in one file: their code's id and their subject.
type About = (String, String);

/// The findings that are known.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Baseline {
    files: BTreeMap<String, BTreeMap<About, usize>>,
}

/// One entry: some findings of one code about one subject of one file.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Entry {
    /// The file's path from the workspace's root.
    pub file: String,
    /// The code's id.
    pub code: String,
    /// What they are about; empty for the file as a whole.
    pub subject: String,
    /// How many.
    pub count: usize,
}

/// Why a text is no baseline.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoBaseline {
    /// In one line.
    pub why: String,
    /// The line it goes wrong on.
    pub span: Span,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawEntry {
    file: String,
    code: String,
    subject: String,
    count: usize,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    #[serde(rename = "version")]
    _version: u32,
    findings: Vec<RawEntry>,
}

#[derive(Deserialize)]
struct Head {
    version: u32,
}

impl Baseline {
    /// Reads a baseline.
    ///
    /// # Errors
    /// Why the text is no baseline, and the line it goes wrong on.
    pub fn parse(text: &str) -> Result<Self, NoBaseline> {
        let wrong = |e: serde_json::Error| {
            let told = e.to_string();
            let what = told.split_once(" at line ").map_or(&*told, |t| t.0);
            let mut lines = text.split_inclusive('\n');
            let before = lines.by_ref().take(e.line().saturating_sub(1));
            let start: usize = before.map(str::len).sum();
            let len = lines.next().map_or(0, |l| l.trim_end().len());
            NoBaseline {
                why: format!("line {}: {what}", e.line()),
                span: Span::new(start, start + len),
            }
        };
        let head: Head = serde_json::from_str(text).map_err(wrong)?;
        if head.version != VERSION {
            return Err(NoBaseline {
                why: format!(
                    "it is of version {}, and this cutwater reads version {VERSION}",
                    head.version
                ),
                span: Span::default(),
            });
        }
        let raw: Raw = serde_json::from_str(text).map_err(wrong)?;
        let mut out = Self::default();
        for e in raw.findings {
            if e.count > 0 {
                let n = out
                    .files
                    .entry(e.file)
                    .or_default()
                    .entry((e.code, e.subject))
                    .or_default();
                *n = n.saturating_add(e.count);
            }
        }
        Ok(out)
    }

    /// The text of the file.
    pub fn to_text(&self) -> String {
        let mut out = format!("{{\n  \"version\": {VERSION},\n  \"findings\": [");
        let quoted = |s: &str| serde_json::Value::from(s).to_string();
        for (k, e) in self.entries().enumerate() {
            let comma = if k == 0 { "" } else { "," };
            let _ = write!(
                out,
                "{comma}\n    {{\"file\": {}, \"code\": {}, \"subject\": {}, \"count\": {}}}",
                quoted(&e.file),
                quoted(&e.code),
                quoted(&e.subject),
                e.count
            );
        }
        out.push_str(if self.files.is_empty() {
            "]\n}\n"
        } else {
            "\n  ]\n}\n"
        });
        out
    }

    /// Every entry, by file, code and subject.
    pub fn entries(&self) -> impl Iterator<Item = Entry> {
        self.files.iter().flat_map(|(file, list)| {
            list.iter().map(|((code, subject), count)| Entry {
                file: file.clone(),
                code: code.clone(),
                subject: subject.clone(),
                count: *count,
            })
        })
    }

    /// The files it has entries of.
    pub fn files(&self) -> impl Iterator<Item = &str> {
        self.files.keys().map(String::as_str)
    }

    /// How many findings it knows.
    pub fn known(&self) -> usize {
        self.files.values().flat_map(BTreeMap::values).sum()
    }

    /// Marks those findings of a file that are known. They are in the order of their places.
    pub fn apply(&self, file: &str, found: &mut [Found]) {
        let Some(list) = self.files.get(file) else {
            return;
        };
        let mut left = list.clone();
        for f in found.iter_mut().filter(|f| f.standing == Standing::Open) {
            if let Some(n) = left.get_mut(&about(f))
                && *n > 0
            {
                *n -= 1;
                f.standing = Standing::Known;
            }
        }
    }

    /// What it knows of a file and is found no more; `found` is marked by [`Baseline::apply`].
    pub fn outdated(&self, file: &str, found: &[Found]) -> Vec<Entry> {
        let Some(list) = self.files.get(file) else {
            return Vec::new();
        };
        let mut left = list.clone();
        for f in found.iter().filter(|f| f.standing == Standing::Known) {
            if let Some(n) = left.get_mut(&about(f)) {
                *n = n.saturating_sub(1);
            }
        }
        left.into_iter()
            .filter(|(_, n)| *n > 0)
            .map(|((code, subject), count)| Entry {
                file: file.to_owned(),
                code,
                subject,
                count,
            })
            .collect()
    }

    /// Makes a file's findings, those that are accepted apart, the ones it knows.
    pub fn record(&mut self, file: &str, found: &[Found]) {
        let mut list: BTreeMap<About, usize> = BTreeMap::new();
        for f in found {
            if !matches!(f.standing, Standing::Accepted(_)) {
                *list.entry(about(f)).or_default() += 1;
            }
        }
        if list.is_empty() {
            self.files.remove(file);
        } else {
            self.files.insert(file.to_owned(), list);
        }
    }

    /// Takes in another baseline; of a file that both know, what the other knows.
    pub fn extend(&mut self, other: Self) {
        self.files.extend(other.files);
    }

    /// Forgets a file.
    pub fn forget(&mut self, file: &str) {
        self.files.remove(file);
    }

    /// Every entry of a file.
    pub fn entries_of(&self, file: &str) -> Vec<Entry> {
        self.outdated(file, &[])
    }

    /// Takes out what an entry counts.
    pub fn remove(&mut self, entry: &Entry) {
        let Some(list) = self.files.get_mut(&entry.file) else {
            return;
        };
        let about = (entry.code.clone(), entry.subject.clone());
        if let Some(n) = list.get_mut(&about) {
            *n = n.saturating_sub(entry.count);
            if *n == 0 {
                list.remove(&about);
            }
        }
        if list.is_empty() {
            self.files.remove(&entry.file);
        }
    }
}

/// The bytes of the line an entry stands on in the text of a baseline; `None` where the text is laid out
/// otherwise.
pub fn place_of(text: &str, entry: &Entry) -> Option<Span> {
    let mut start = 0;
    for line in text.split_inclusive('\n') {
        let bare = line.trim().trim_end_matches(',');
        if bare.starts_with("{\"file\"")
            && let Ok(e) = serde_json::from_str::<RawEntry>(bare)
            && (&e.file, &e.code, &e.subject) == (&entry.file, &entry.code, &entry.subject)
        {
            let from = start + line.find('{').unwrap_or(0);
            return Some(Span::new(from, from + bare.len()));
        }
        start += line.len();
    }
    None
}

fn about(f: &Found) -> About {
    (f.finding.code.id.to_owned(), f.subject.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Db;
    use std::sync::Arc;

    fn found(text: &str, baseline: Option<&Baseline>) -> Vec<Found> {
        let mut db = Db::default();
        let file = db.set_file("a.pump", text);
        db.set_baseline(baseline.map(|b| Arc::new(b.clone())));
        db.settle(true, None).unwrap();
        db.found(file)
    }

    fn open(found: &[Found]) -> Vec<&str> {
        found
            .iter()
            .filter(|f| f.standing == Standing::Open)
            .map(|f| f.subject.as_str())
            .collect()
    }

    const OLD: &str = "let gap = 3 inn\nsite { altitude = 820 }\nrequire 2 in >= 3 in\n";

    #[test]
    fn known_findings_are_known_wherever_they_move() {
        let mut b = Baseline::default();
        b.record("a.pump", &found(OLD, None));
        assert_eq!(b.known(), 3);
        assert!(open(&found(OLD, Some(&b))).is_empty());
        let moved = "// a line more\n\nrequire 1 in >= 3 in\nsite {\n    altitude = 900\n}\nlet gap = 4 inn\n";
        assert!(open(&found(moved, Some(&b))).is_empty());
        // One more of the same subject is new, and so is another subject.
        let more = format!("{OLD}require 1 in >= 3 in\nlet width = 3 inn\n");
        assert_eq!(open(&found(&more, Some(&b))), ["require", "width"]);
    }

    #[test]
    fn what_is_mended_is_outdated_and_can_be_taken_out() {
        let mut b = Baseline::default();
        b.record("a.pump", &found(OLD, None));
        let now = found("let gap = 3 inn\n", Some(&b));
        let old = b.outdated("a.pump", &now);
        assert_eq!(
            old.iter().map(|e| e.code.as_str()).collect::<Vec<_>>(),
            ["CW0302", "CW0501"]
        );
        for e in &old {
            b.remove(e);
        }
        assert_eq!(b.known(), 1);
        assert!(
            b.outdated("a.pump", &found("let gap = 3 inn\n", Some(&b)))
                .is_empty()
        );
    }

    #[test]
    fn the_text_reads_back_and_has_an_entry_on_a_line() {
        let mut b = Baseline::default();
        assert_eq!(Baseline::parse(&b.to_text()), Ok(b.clone()));
        b.record("a.pump", &found(OLD, None));
        b.record("odd \"name\"\n.pump", &found("let x = 3 inn\n", None));
        let text = b.to_text();
        assert_eq!(Baseline::parse(&text), Ok(b.clone()));
        assert_eq!(text.lines().filter(|l| l.contains("\"code\"")).count(), 4);
    }

    #[test]
    fn what_is_no_baseline_is_refused_with_the_reason() {
        for (text, says) in [
            ("", "line 1: EOF"),
            ("{}", "missing field `version`"),
            ("{\"version\": 2, \"anything\": []}", "version 2"),
            ("{\"version\": 1}", "missing field `findings`"),
            (
                "{\"version\": 1,\n\"findings\": [{\"file\": 3}]}",
                "line 2: invalid type",
            ),
            ("<<<<<<< ours\n", "line 1: expected value"),
            (
                "{\"version\": 1, \"findings\": [], \"more\": 1}",
                "unknown field `more`",
            ),
        ] {
            let e = Baseline::parse(text).unwrap_err();
            assert!(e.why.contains(says), "{text}: {e:?}");
            assert!(e.span.end as usize <= text.len(), "{text}: {e:?}");
        }
    }
}
