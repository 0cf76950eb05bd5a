//! The JSON document of `cutwater check --format json` and `cutwater solve --format json`.
//!
//! A reader may rely on this: a document with the same `version` never loses a field and never changes the
//! meaning of one; fields may be added. Bytes are counted from 0 in the UTF-8 text; lines and columns from 1,
//! columns in characters (Unicode scalar values). A span ends before its end. Numbers are finite. The schema
//! is `schema/report-1.json`, made from these types.

use crate::outcome::{Aside, At, FileOutcome, Outcome};
use cutwater_compiler::results::{Row, Shown};
use cutwater_finding::{FixTier, Level};
use serde::{Deserialize, Serialize};

/// The `version` of the documents written here.
pub const FORMAT_VERSION: u32 = 1;

/// What a run found and computed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Document {
    /// The version of this form: 1.
    pub version: u32,
    /// What wrote it.
    pub tool: Tool,
    /// The command that ran: `check` or `solve`.
    pub command: String,
    /// How many findings there are.
    pub summary: Counts,
    /// Things to know about the run, in plain sentences.
    pub notes: Vec<String>,
    /// What was found, by file and place. One with `accepted` or `known` does not count.
    pub findings: Vec<Finding>,
    /// What was computed, by file and place. Only in the document of `solve`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub results: Option<Vec<ResultRow>>,
    /// Results at several values of inputs. Only where `--sweep` asks for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sweep: Option<crate::sweep::Sweep>,
    /// How results of duties spread over samples. Only where `--samples` asks for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub samples: Option<Vec<crate::samples::Samples>>,
}

/// The tool that wrote a document.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Tool {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
}

/// How many findings there are.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Counts {
    /// Files that were named.
    pub files: usize,
    /// Errors in them.
    pub errors: usize,
    /// Warnings in them.
    pub warnings: usize,
    /// Pieces of advice in them.
    pub advice: usize,
    /// Findings that the specs accept; not counted above.
    pub accepted: usize,
    /// Findings that the baseline knows; not counted above.
    pub known: usize,
    /// Files that were not named but brought in by `use` and have findings of their own, which are not listed.
    pub brought_in_with_findings: Vec<String>,
}

/// A place in a file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Place {
    /// The file, relative to the folder the command ran in where possible. A path that begins with `std/` and
    /// belongs to no file of the workspace is in the standard library.
    pub file: String,
    /// First byte, from 0.
    pub byte_start: u32,
    /// One past the last byte.
    pub byte_end: u32,
    /// Line of the first byte, from 1.
    pub line: u32,
    /// Column of the first byte in characters, from 1.
    pub column: u32,
    /// Line of the end, from 1.
    pub end_line: u32,
    /// Column of the end in characters, from 1.
    pub end_column: u32,
}

impl Place {
    fn of(at: &At) -> Self {
        let from = at.source.position(at.span.start as usize);
        let to = at.source.position(at.span.end as usize);
        Self {
            file: at.source.path.clone(),
            byte_start: at.span.start,
            byte_end: at.span.end,
            line: from.line + 1,
            column: from.column + 1,
            end_line: to.line + 1,
            end_column: to.column + 1,
        }
    }
}

/// How grave a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum LevelWord {
    /// Wrong, or a limit not kept.
    Error,
    /// Likely wrong, or wrong in service.
    Warning,
    /// Worth knowing.
    Advice,
}

impl From<Level> for LevelWord {
    fn from(l: Level) -> Self {
        match l {
            Level::Error => LevelWord::Error,
            Level::Warning => LevelWord::Warning,
            Level::Advice => LevelWord::Advice,
        }
    }
}

/// How far a fix may be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Trust {
    /// Keeps the meaning, or restores the only possible one.
    Safe,
    /// Probably what was meant; a person should look.
    NeedsALook,
    /// A hint only.
    ShowOnly,
}

impl From<FixTier> for Trust {
    fn from(t: FixTier) -> Self {
        match t {
            FixTier::Safe => Trust::Safe,
            FixTier::NeedsALook => Trust::NeedsALook,
            FixTier::ShowOnly => Trust::ShowOnly,
        }
    }
}

/// One finding.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Finding {
    /// Stable code: `CW0301`.
    pub code: String,
    /// Stable name: `unknown-unit`.
    pub name: String,
    /// Its level under the settings in force.
    pub level: LevelWord,
    /// Where it is.
    #[serde(flatten)]
    pub place: Place,
    /// What is wrong, in one line.
    pub message: String,
    /// A few words for the place itself; may be empty.
    pub here: String,
    /// Other places that belong to it.
    pub labels: Vec<Label>,
    /// How to mend it.
    pub help: Option<String>,
    /// Where the limit comes from.
    pub source: Option<String>,
    /// The numbers that were compared.
    pub numbers: Vec<Number>,
    /// An edit that mends it.
    pub fix: Option<Fix>,
    /// Why it is accepted; only where the spec accepts it. Such a finding does not count.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub accepted: Option<AcceptedFor>,
    /// Whether the baseline knows it; only written where it does. Such a finding does not count.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub known: bool,
}

/// Why and how long a finding is accepted.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct AcceptedFor {
    /// The reason given.
    pub reason: String,
    /// The last day on which it is accepted, year-month-day; null where it does not end.
    pub until: Option<String>,
}

/// Another place that belongs to a finding.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Label {
    /// Where.
    #[serde(flatten)]
    pub place: Place,
    /// What is there.
    pub text: String,
}

/// A number that was compared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Number {
    /// What it is: `clearance`, `limit`.
    pub what: String,
    /// Its value in `unit`; null where it is beyond all numbers.
    pub value: Option<f64>,
    /// The unit's symbol; empty for a count or ratio.
    pub unit: String,
}

/// An edit that mends a finding.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Fix {
    /// What it does.
    pub title: String,
    /// How far it may be trusted.
    pub trust: Trust,
    /// The changes of text; they do not overlap.
    pub edits: Vec<Edit>,
}

/// One change of text.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Edit {
    /// What is replaced.
    #[serde(flatten)]
    pub place: Place,
    /// By what.
    pub text: String,
}

/// A value: a number in the row's unit, or a word.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(untagged)]
pub enum Scalar {
    /// A number.
    Number(f64),
    /// A word, text, date, or yes or no.
    Word(String),
}

/// A toleranced dimension that a result comes from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Contributor {
    /// The path a spec would use: `intake_ring.bore`; where it is written in another file, followed by that file's name.
    pub path: String,
    /// The width of its limits in words, with the unit; null where it stands in an expression with others.
    pub width: Option<String>,
    /// Its share of the worst case's width, 0 to 1.
    pub worst_share: f64,
    /// Its share of the root-sum-square's sum of squares, 0 to 1.
    pub rss_share: f64,
}

/// One computed result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ResultRow {
    /// The path a spec would use: `intake_ring.clearance`.
    pub path: String,
    /// The file of the declaration.
    pub file: String,
    /// The line of the declaration, from 1.
    pub line: u32,
    /// The kind of the declaration: `ring`.
    pub kind: String,
    /// The nominal value in `unit`, or a word.
    pub value: Option<Scalar>,
    /// The unit's symbol; null for a count, a ratio or a word.
    pub unit: Option<String>,
    /// Worst-case low limit in `unit`, where the value has a tolerance.
    pub low: Option<f64>,
    /// Worst-case high limit in `unit`.
    pub high: Option<f64>,
    /// Root-sum-square low limit in `unit`, where the value has a tolerance.
    pub rss_low: Option<f64>,
    /// Root-sum-square high limit in `unit`.
    pub rss_high: Option<f64>,
    /// The ISO 286 tolerance class the value was written with, as `H7`; null where it has none. `value` is then the size
    /// the class belongs to, which may lie outside `low` to `high`; results start from the middle of these.
    #[serde(default)]
    pub class: Option<String>,
    /// The toleranced dimensions it comes from, largest share first; empty where there are fewer than two.
    #[serde(default)]
    pub contributors: Vec<Contributor>,
    /// The whole in words, at its usual resolution.
    pub text: String,
    /// Where the value comes from: `stated`, `measured`, `computed`, `assumed` or `predicted`.
    pub origin: String,
    /// What it means.
    pub doc: String,
    /// The formula; null for a named value.
    pub formula: Option<String>,
    /// Where the formula comes from.
    pub source: Option<String>,
}

fn finite(v: f64) -> Option<f64> {
    v.is_finite().then_some(v)
}

fn some(text: &str) -> Option<String> {
    (!text.is_empty()).then(|| text.to_owned())
}

impl Finding {
    fn of(f: &cutwater_finding::Finding<At>, aside: Option<&Aside>) -> Self {
        Self {
            accepted: match aside {
                Some(Aside::Accepted { reason, until }) => Some(AcceptedFor {
                    reason: reason.clone(),
                    until: until.clone(),
                }),
                _ => None,
            },
            known: aside == Some(&Aside::Known),
            code: f.code.id.to_owned(),
            name: f.code.name.to_owned(),
            level: f.level.into(),
            place: Place::of(&f.place),
            message: f.message.clone(),
            here: f.here.clone(),
            labels: f
                .labels
                .iter()
                .map(|l| Label {
                    place: Place::of(&l.place),
                    text: l.text.clone(),
                })
                .collect(),
            help: f.help.clone(),
            source: f.source.clone(),
            numbers: f
                .numbers
                .iter()
                .map(|n| Number {
                    what: n.what.clone(),
                    value: finite(n.value),
                    unit: n.unit.clone(),
                })
                .collect(),
            fix: f.fix.as_ref().map(|x| Fix {
                title: x.title.clone(),
                trust: x.tier.into(),
                edits: x
                    .edits
                    .iter()
                    .map(|e| Edit {
                        place: Place::of(&e.place),
                        text: e.text.clone(),
                    })
                    .collect(),
            }),
        }
    }
}

impl ResultRow {
    fn of(row: &Row, kind: &str, file: &FileOutcome) -> Self {
        let line = file.source.position(row.place.span.start as usize).line + 1;
        let mut out = Self {
            path: row.path.clone(),
            file: file.source.path.clone(),
            line,
            kind: kind.to_owned(),
            value: None,
            unit: None,
            low: None,
            high: None,
            rss_low: None,
            rss_high: None,
            class: row.class.clone(),
            contributors: row
                .contributors
                .iter()
                .map(|c| Contributor {
                    path: c.path.clone(),
                    width: c.width.clone(),
                    worst_share: c.worst_share,
                    rss_share: c.spread_share,
                })
                .collect(),
            text: row.value.text().to_owned(),
            origin: row.origin.to_owned(),
            doc: row.doc.to_owned(),
            formula: some(row.formula),
            source: some(row.source),
        };
        match &row.value {
            Shown::Number {
                value,
                unit,
                limits,
                spread,
                ..
            } => {
                out.value = finite(*value).map(Scalar::Number);
                out.unit = some(unit);
                if let Some((low, high)) = limits {
                    out.low = finite(*low);
                    out.high = finite(*high);
                }
                if let Some((low, high)) = spread {
                    out.rss_low = finite(*low);
                    out.rss_high = finite(*high);
                }
            }
            Shown::Word(w) => out.value = Some(Scalar::Word(w.clone())),
        }
        out
    }
}

impl Document {
    /// The document of an outcome. `results` says whether the command computes results (`solve`).
    pub fn of(outcome: &Outcome, command: &str, version: &str, results: bool) -> Self {
        let s = outcome.summary();
        Self {
            sweep: None,
            samples: None,
            version: FORMAT_VERSION,
            tool: Tool {
                name: "cutwater".to_owned(),
                version: version.to_owned(),
            },
            command: command.to_owned(),
            summary: Counts {
                files: s.files,
                errors: s.errors,
                warnings: s.warnings,
                advice: s.advice,
                accepted: s.accepted,
                known: s.known,
                brought_in_with_findings: outcome.brought_in.keys().cloned().collect(),
            },
            notes: outcome.notes.clone(),
            findings: outcome
                .all_files()
                .flat_map(FileOutcome::all)
                .map(|(f, aside)| Finding::of(f, aside))
                .collect(),
            results: results.then(|| {
                outcome
                    .files
                    .iter()
                    .flat_map(|f| {
                        f.decls.iter().flat_map(move |d| {
                            d.rows.iter().map(move |r| ResultRow::of(r, d.kind, f))
                        })
                    })
                    .collect()
            }),
        }
    }

    /// The document as text, indented, with a line break at its end.
    ///
    /// # Errors
    /// None in practice: every number is finite and every key a text.
    pub fn to_text(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self).map(|t| t + "\n")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outcome::of_texts;
    use cutwater_compiler::Settings;

    #[test]
    fn places_are_bytes_from_zero_and_characters_from_one() {
        let text = "// Ø µ\nlet gap = 3 inn\n";
        let out = of_texts(Settings::default(), &[("a.pump", text)], false);
        let doc = Document::of(&out, "check", "0.1.0", false);
        let f = &doc.findings[0];
        assert_eq!(f.code, "CW0301");
        assert_eq!(
            &text[f.place.byte_start as usize..f.place.byte_end as usize],
            "inn"
        );
        assert_eq!((f.place.line, f.place.column), (2, 13));
        assert_eq!((f.place.end_line, f.place.end_column), (2, 16));
        assert!(doc.results.is_none());
    }

    #[test]
    fn results_carry_limits_in_the_unit_shown() {
        let text = "let a = 5.5 in ± 0.002\nlet b = a - 5.49 in ± 0.001\n";
        let out = of_texts(Settings::default(), &[("a.pump", text)], true);
        let doc = Document::of(&out, "solve", "0.1.0", true);
        let rows = doc.results.unwrap();
        let b = rows.iter().find(|r| r.path == "b").unwrap();
        assert_eq!(b.unit.as_deref(), Some("in"));
        let near = |a: Option<f64>, b: f64| a.is_some_and(|a| (a - b).abs() < 1e-9);
        // 0.010 with 0.002 and 0.001: 0.003 at worst, sqrt(5) thousandths by root sum square.
        assert!(near(b.low, 0.007) && near(b.high, 0.013), "{b:?}");
        let rss = 5f64.sqrt() / 1000.0;
        assert!(
            near(b.rss_low, 0.010 - rss) && near(b.rss_high, 0.010 + rss),
            "{b:?}"
        );
    }

    #[test]
    fn results_say_their_class_and_what_contributes() {
        let text = "let bore = 45 mm H7\nlet pin = 45 mm f7\nlet gap = bore - pin\n";
        let out = of_texts(Settings::default(), &[("a.pump", text)], true);
        let rows = Document::of(&out, "solve", "0.1.0", true).results.unwrap();
        let of = |path: &str| rows.iter().find(|r| r.path == path).unwrap();
        // 45 f7 is 44.950 to 44.975 (Narayana, Machine Drawing, table 15.2): the size is outside its own limits.
        let pin = of("pin");
        assert_eq!(pin.class.as_deref(), Some("f7"));
        assert_eq!(pin.value, Some(Scalar::Number(45.0)));
        assert!(pin.high.is_some_and(|v| (v - 44.975).abs() < 1e-9));
        assert!(pin.contributors.is_empty());
        // Both are 25 µm wide: half and half.
        let gap = of("gap");
        assert_eq!(gap.class, None);
        let parts: Vec<(&str, Option<&str>)> = gap
            .contributors
            .iter()
            .map(|c| (c.path.as_str(), c.width.as_deref()))
            .collect();
        assert_eq!(
            parts,
            [("bore", Some("0.025 mm")), ("pin", Some("0.025 mm"))]
        );
        assert!(
            gap.contributors
                .iter()
                .all(|c| (c.worst_share - 0.5).abs() < 1e-9)
        );
        // A document of before these fields still reads.
        let old = r#"{"path":"a","file":"a.pump","line":1,"kind":"let","value":1.0,"unit":null,"low":null,"high":null,"rss_low":null,"rss_high":null,"text":"1","origin":"stated","doc":"","formula":null,"source":null}"#;
        let row: ResultRow = serde_json::from_str(old).unwrap();
        assert!(row.class.is_none() && row.contributors.is_empty());
    }

    #[test]
    fn a_document_reads_back_as_it_was() {
        let out = of_texts(
            Settings::default(),
            &[("a.pump", "let a = 2 in\nlet a = 3 inn\n")],
            true,
        );
        let doc = Document::of(&out, "solve", "0.1.0", true);
        let back: Document = serde_json::from_str(&doc.to_text().unwrap()).unwrap();
        assert_eq!(back, doc);
    }

    #[test]
    fn the_published_schema_is_the_one_of_these_types() {
        let made = serde_json::to_string_pretty(&schemars::schema_for!(Document)).unwrap() + "\n";
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/schema/report-1.json");
        if std::env::var_os("CUTWATER_WRITE_SCHEMA").is_some() {
            std::fs::write(path, &made).unwrap();
        }
        let kept = std::fs::read_to_string(path).unwrap_or_default();
        assert!(
            kept == made,
            "schema/report-1.json is behind the types; run this test with CUTWATER_WRITE_SCHEMA=1"
        );
    }
}
