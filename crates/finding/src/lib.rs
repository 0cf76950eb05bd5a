//! What the tool has to say about a spec: codes, levels, places and fixes.
//!
//! A [`Code`] is declared once, beside the check that raises it, with its level and a page that holds a
//! firing and a silent example. `explain`, the reference, editor links and machine outputs read the same
//! declaration. A [`Finding`] is one occurrence: a message that stands alone as one line, the place, the
//! other places that belong to it, the numbers compared, the source of the limit, help, and perhaps a
//! [`Fix`].
//!
//! Places are generic: while checking they are counted from a declaration's start, so a declaration that
//! moved keeps its findings; [`Finding::map`] turns them into places in files.

mod apply;

pub use apply::{Draft, Left, Round, apply, round};

use cutwater_text::Span;
use std::fmt;

/// How grave a finding is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Level {
    /// Worth knowing.
    Advice,
    /// Likely wrong, or wrong in service.
    Warning,
    /// Wrong, or a limit not kept.
    Error,
}

impl Level {
    /// The word used in output and settings.
    pub fn word(self) -> &'static str {
        match self {
            Level::Advice => "advice",
            Level::Warning => "warning",
            Level::Error => "error",
        }
    }

    /// Reads the word used in settings.
    pub fn from_word(word: &str) -> Option<Self> {
        [Level::Advice, Level::Warning, Level::Error]
            .into_iter()
            .find(|l| l.word() == word)
    }
}

impl fmt::Display for Level {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// What the examples of a [`Code`] are written in.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Sample {
    /// A spec.
    Spec,
    /// A project file, `cutwater.toml`.
    Settings,
}

/// The declaration of a kind of finding. Compared by its `id`.
#[derive(Debug)]
pub struct Code {
    /// Stable id, `CW0201`. Never reused.
    pub id: &'static str,
    /// Stable name, `unknown-unit`.
    pub name: &'static str,
    /// Level unless settings say otherwise.
    pub level: Level,
    /// Version it first appeared in.
    pub since: &'static str,
    /// One line: what it says.
    pub summary: &'static str,
    /// What is wrong, why it matters, what to do. Markdown.
    pub page: &'static str,
    /// What the two examples are written in.
    pub sample: Sample,
    /// A text in which it fires.
    pub fires: &'static str,
    /// The text mended: it does not fire.
    pub silent: &'static str,
    /// How far the fixes may be trusted that come with it where one is possible; empty where it has none.
    pub fixes: &'static [FixTier],
}

impl PartialEq for Code {
    fn eq(&self, other: &Self) -> bool {
        self.id == other.id
    }
}

impl Eq for Code {}

/// How far a fix may be trusted.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum FixTier {
    /// Keeps the meaning, or restores the only possible one: applied by `--fix`.
    Safe,
    /// Probably what was meant; a person should look.
    NeedsALook,
    /// A hint only.
    ShowOnly,
}

impl FixTier {
    /// What it means for who applies it, in a few words.
    pub fn word(self) -> &'static str {
        match self {
            FixTier::Safe => "safe",
            FixTier::NeedsALook => "needs a look",
            FixTier::ShowOnly => "a hint only",
        }
    }
}

/// One change of text.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct Edit<P> {
    /// What is replaced.
    pub place: P,
    /// By what.
    pub text: String,
}

/// Edits that mend a finding.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct Fix<P> {
    /// What it does, as a menu entry: "write `5.502 in`".
    pub title: String,
    /// How far it may be trusted.
    pub tier: FixTier,
    /// The edits; they do not overlap.
    pub edits: Vec<Edit<P>>,
}

/// Another place that belongs to a finding.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct Label<P> {
    /// Where.
    pub place: P,
    /// What is there.
    pub text: String,
}

/// A number that was compared, in the unit shown.
#[derive(Clone, PartialEq, Debug)]
pub struct Compared {
    /// What it is: "clearance", "limit".
    pub what: String,
    /// Its value in `unit`.
    pub value: f64,
    /// The unit's symbol; empty for a count or ratio.
    pub unit: String,
}

/// One occurrence of a [`Code`].
#[derive(Clone, PartialEq, Debug)]
pub struct Finding<P> {
    /// Which.
    pub code: &'static Code,
    /// Its level here, settings applied.
    pub level: Level,
    /// Where.
    pub place: P,
    /// What is wrong, complete in one line.
    pub message: String,
    /// A few words for the place itself.
    pub here: String,
    /// Other places that belong to it.
    pub labels: Vec<Label<P>>,
    /// How to mend it.
    pub help: Option<String>,
    /// Where the limit comes from.
    pub source: Option<String>,
    /// The numbers that were compared.
    pub numbers: Vec<Compared>,
    /// An edit that mends it.
    pub fix: Option<Fix<P>>,
}

impl<P> Finding<P> {
    /// A finding with its message; the rest is added by the methods below.
    pub fn new(code: &'static Code, place: P, message: impl Into<String>) -> Self {
        Self {
            code,
            level: code.level,
            place,
            message: message.into(),
            here: String::new(),
            labels: Vec::new(),
            help: None,
            source: None,
            numbers: Vec::new(),
            fix: None,
        }
    }

    /// Words for the place itself.
    #[must_use]
    pub fn here(mut self, text: impl Into<String>) -> Self {
        self.here = text.into();
        self
    }

    /// Another place that belongs to it.
    #[must_use]
    pub fn label(mut self, place: P, text: impl Into<String>) -> Self {
        self.labels.push(Label {
            place,
            text: text.into(),
        });
        self
    }

    /// How to mend it.
    #[must_use]
    pub fn help(mut self, text: impl Into<String>) -> Self {
        self.help = Some(text.into());
        self
    }

    /// Where the limit comes from.
    #[must_use]
    pub fn source(mut self, text: impl Into<String>) -> Self {
        self.source = Some(text.into());
        self
    }

    /// A number that was compared.
    #[must_use]
    pub fn number(mut self, what: impl Into<String>, value: f64, unit: impl Into<String>) -> Self {
        self.numbers.push(Compared {
            what: what.into(),
            value,
            unit: unit.into(),
        });
        self
    }

    /// An edit that mends it.
    #[must_use]
    pub fn fix(
        mut self,
        title: impl Into<String>,
        tier: FixTier,
        place: P,
        text: impl Into<String>,
    ) -> Self {
        self.fix = Some(Fix {
            title: title.into(),
            tier,
            edits: vec![Edit {
                place,
                text: text.into(),
            }],
        });
        self
    }

    /// Several edits that together mend it.
    #[must_use]
    pub fn edits(
        mut self,
        title: impl Into<String>,
        tier: FixTier,
        edits: impl IntoIterator<Item = (P, String)>,
    ) -> Self {
        self.fix = Some(Fix {
            title: title.into(),
            tier,
            edits: edits
                .into_iter()
                .map(|(place, text)| Edit { place, text })
                .collect(),
        });
        self
    }

    /// The same finding with its places turned into others.
    pub fn map<Q>(&self, f: impl Fn(&P) -> Q) -> Finding<Q> {
        Finding {
            code: self.code,
            level: self.level,
            place: f(&self.place),
            message: self.message.clone(),
            here: self.here.clone(),
            labels: self
                .labels
                .iter()
                .map(|l| Label {
                    place: f(&l.place),
                    text: l.text.clone(),
                })
                .collect(),
            help: self.help.clone(),
            source: self.source.clone(),
            numbers: self.numbers.clone(),
            fix: self.fix.as_ref().map(|x| Fix {
                title: x.title.clone(),
                tier: x.tier,
                edits: x
                    .edits
                    .iter()
                    .map(|e| Edit {
                        place: f(&e.place),
                        text: e.text.clone(),
                    })
                    .collect(),
            }),
        }
    }
}

/// A file known to the compiler.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct FileId(pub u32);

/// A place in a file.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Place {
    /// The file.
    pub file: FileId,
    /// The bytes.
    pub span: Span,
}
