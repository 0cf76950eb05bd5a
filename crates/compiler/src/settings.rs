//! The project file `cutwater.toml`: display units, levels, what fails, and other settings for some folders.
//!
//! ```toml
//! units    = "us"             # us, imperial or metric: for values without a unit of their own
//! fail_at  = "error"          # error, warning or advice: what makes `check` fail
//! baseline = "cutwater-baseline.json"
//! rules    = ["rules.pump"]   # their `require for every …` hold in every file
//!
//! [levels]                    # a finding by code or name, or a group: error, warning, advice or off
//! unused-name = "off"
//! CW17        = "warning"
//!
//! [[folder]]                  # other settings for a part of the workspace
//! path  = "old-fleet"
//! units = "metric"
//! ```
//!
//! [`keys`] holds the keys; [`read`] takes a text and gives what was understood together with findings about
//! the rest. A [`ProjectSettings`] is a list of layers: the top of the file, each `[[folder]]`, and what the
//! command line gave, the later over the earlier. [`ProjectSettings::at`] lays those that hold for a path over
//! each other and gives the [`Settings`] there.
//!
//! Invariants: reading never fails; a key that was not understood has a finding and changes nothing; paths are
//! inside the workspace; what holds for a path depends on the path and the texts alone.
//!
//! Not here: where the file is found, and how it is read from disk.

pub mod keys;
mod read;

pub(crate) use read::nearest_code;
pub use read::{CODES, Read, SETTINGS_BASELINE, read};

use crate::paths::{self, PathError};
use cutwater_finding::{Code, Level};
use cutwater_quantity::UnitSystem;
use cutwater_text::Span;
use globset::{GlobBuilder, GlobSet, GlobSetBuilder};
use keys::{Key, Takes};
use smol_str::SmolStr;
use std::collections::BTreeMap;
use std::sync::Arc;

/// The project file's name.
pub const FILE_NAME: &str = "cutwater.toml";

/// What holds for one file.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// The unit system results are shown in where the spec names no unit.
    pub units: UnitSystem,
    /// The lowest level that makes a check fail.
    pub fail_at: Level,
    /// Levels by code id; `None` is off.
    levels: BTreeMap<&'static str, Option<Level>>,
    /// The files of house rules, by their paths from the root.
    rules: Vec<SmolStr>,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            units: UnitSystem::Us,
            fail_at: Level::Error,
            levels: BTreeMap::new(),
            rules: Vec::new(),
        }
    }
}

impl Settings {
    /// The files of house rules, by their paths from the root: what they require of every declaration of a kind
    /// holds in every file.
    pub fn rules(&self) -> &[SmolStr] {
        &self.rules
    }

    /// The level of a finding here; `None` where it is off.
    pub fn level(&self, code: &'static Code) -> Option<Level> {
        self.levels
            .get(code.id)
            .copied()
            .unwrap_or(Some(code.level))
    }
}

/// Which findings a level is for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Which {
    /// One.
    Code(&'static Code),
    /// All whose id begins so: `CW17`.
    Group(SmolStr),
}

impl Which {
    /// Whether a finding is among them.
    pub fn covers(&self, code: &Code) -> bool {
        match self {
            Which::Code(c) => *c == code,
            Which::Group(g) => code.id.starts_with(g.as_str()),
        }
    }
}

/// What a key was given.
#[derive(Clone, Debug, PartialEq)]
pub enum Given {
    /// A system of units.
    Units(UnitSystem),
    /// What makes a check fail.
    FailAt(Level),
    /// The baseline's path from the root.
    Baseline(SmolStr),
    /// The files of house rules, by their paths from the root.
    Rules(Vec<SmolStr>),
    /// The level of some findings; `None` is off.
    Level(Which, Option<Level>),
}

impl Given {
    /// The key it is for.
    fn key(&self) -> &'static Key {
        match self {
            Given::Units(_) => &keys::UNITS,
            Given::FailAt(_) => &keys::FAIL_AT,
            Given::Baseline(_) => &keys::BASELINE,
            Given::Rules(_) => &keys::RULES,
            Given::Level(..) => &keys::LEVEL_TABLE,
        }
    }

    /// The value as the project file writes it, without quotes.
    fn text(&self) -> String {
        match self {
            Given::Units(u) => keys::units_word(*u).to_owned(),
            Given::FailAt(l) => l.word().to_owned(),
            Given::Baseline(p) => p.to_string(),
            Given::Rules(p) => p.join(", "),
            Given::Level(_, l) => keys::level_word(*l).to_owned(),
        }
    }
}

/// Where a value comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Origin {
    /// It is what holds where nothing is said.
    BuiltIn,
    /// The project file, at these bytes.
    File(Span),
    /// The command line: the whole `key=value`.
    Command(String),
}

/// Settings that hold together, for all files or for some.
#[derive(Clone, Debug)]
struct Layer {
    /// The files they hold for; `None` is all.
    files: Option<GlobSet>,
    given: Vec<(Given, Origin)>,
}

/// All settings of a workspace.
#[derive(Clone, Debug, Default)]
pub struct ProjectSettings {
    /// The later over the earlier.
    layers: Vec<Layer>,
    base: Arc<Settings>,
}

impl From<Settings> for ProjectSettings {
    /// The same settings for every file.
    fn from(s: Settings) -> Self {
        let mut given = vec![
            (Given::Units(s.units), Origin::BuiltIn),
            (Given::FailAt(s.fail_at), Origin::BuiltIn),
            (Given::Rules(s.rules.clone()), Origin::BuiltIn),
        ];
        for code in crate::codes::all() {
            if let Some(level) = s.levels.get(code.id) {
                given.push((Given::Level(Which::Code(code), *level), Origin::BuiltIn));
            }
        }
        Self {
            layers: vec![Layer { files: None, given }],
            base: Arc::new(s),
        }
    }
}

impl ProjectSettings {
    fn new(layers: Vec<Layer>) -> Self {
        let mut out = Self {
            layers,
            base: Arc::default(),
        };
        // What holds where no `[[folder]]` does.
        out.base = Arc::new(build(out.layers.iter().filter(|l| l.files.is_none())));
        out
    }

    fn holding(&self, path: &str) -> impl Iterator<Item = &Layer> {
        self.layers
            .iter()
            .filter(move |l| l.files.as_ref().is_none_or(|g| g.is_match(path)))
    }

    /// What holds for a file or folder. `path` is from the root, with `/`.
    pub fn at(&self, path: &str) -> Arc<Settings> {
        let some = |l: &Layer| l.files.as_ref().is_some_and(|g| g.is_match(path));
        if self.layers.iter().any(some) {
            Arc::new(build(self.holding(path)))
        } else {
            self.base.clone()
        }
    }

    /// What holds at the root.
    pub fn base(&self) -> &Arc<Settings> {
        &self.base
    }

    /// The baseline's path from the root, and where it is said.
    pub fn baseline(&self) -> Option<(&SmolStr, &Origin)> {
        self.layers
            .iter()
            .rev()
            .flat_map(|l| l.given.iter().rev())
            .find_map(|(g, o)| match g {
                Given::Baseline(p) => Some((p, o)),
                _ => None,
            })
    }

    /// The files of house rules that hold anywhere, each once.
    pub fn rules(&self) -> Vec<&SmolStr> {
        let mut out: Vec<&SmolStr> = Vec::new();
        for (given, _) in self.layers.iter().flat_map(|l| &l.given) {
            if let Given::Rules(paths) = given {
                for p in paths
                    .iter()
                    .filter(|p| !out.contains(p))
                    .collect::<Vec<_>>()
                {
                    out.push(p);
                }
            }
        }
        out
    }

    /// Every value that holds for a path with its origin: those of single keys in the order of the table of
    /// keys, then the levels that were set, by code.
    pub fn explained(&self, path: &str) -> Explained {
        let single = |k: &&&'static Key| {
            matches!(
                k.takes,
                Takes::Units | Takes::Level | Takes::File | Takes::Files
            )
        };
        let mut values: Vec<Explanation> = keys::KEYS
            .iter()
            .filter(single)
            .map(|key| Explanation {
                key,
                value: (!key.default.is_empty()).then(|| key.default.to_owned()),
                origin: Origin::BuiltIn,
            })
            .collect();
        let mut levels = BTreeMap::new();
        for (given, origin) in self.holding(path).flat_map(|l| in_order(&l.given)) {
            match given {
                Given::Level(which, level) => {
                    for c in crate::codes::all().into_iter().filter(|c| which.covers(c)) {
                        levels.insert(c.id, (c, *level, origin.clone()));
                    }
                }
                other => {
                    let key = other.key();
                    if let Some(v) = values.iter_mut().find(|v| v.key.name == key.name) {
                        v.value = Some(other.text());
                        v.origin = origin.clone();
                    }
                }
            }
        }
        Explained { values, levels }
    }

    /// Lays `key=value` from the command line over everything else.
    ///
    /// # Errors
    /// What is wrong with it, in one line.
    pub fn set(&mut self, given: &str) -> Result<(), String> {
        let Some((key, value)) = given.split_once('=') else {
            return Err("there is no `=` in it".to_owned());
        };
        let value = value.trim();
        // A word needs no quotes on a command line.
        let bare = value.trim_matches('"');
        let quoted = toml::Value::String(bare.to_owned());
        let text = format!("{} = {quoted}\n", key.trim());
        let read = read(&text);
        if let Some(f) = read.findings.first() {
            return Err(f.message.clone());
        }
        let given: Vec<(Given, Origin)> = read
            .settings
            .layers
            .into_iter()
            .flat_map(|l| l.given)
            .map(|(g, _)| (g, Origin::Command(given.to_owned())))
            .collect();
        if given.is_empty() {
            return Err("it sets nothing".to_owned());
        }
        let mut layers = std::mem::take(&mut self.layers);
        layers.push(Layer { files: None, given });
        *self = Self::new(layers);
        Ok(())
    }
}

/// The value of a key, and where it is said.
#[derive(Clone, Debug)]
pub struct Explanation {
    /// The key.
    pub key: &'static Key,
    /// Its value as the project file would write it, without quotes.
    pub value: Option<String>,
    /// Where it is said.
    pub origin: Origin,
}

/// What holds for a path, each with where it is said.
#[derive(Clone, Debug)]
pub struct Explained {
    /// The values of single keys.
    pub values: Vec<Explanation>,
    /// The levels that were set, by code.
    pub levels: BTreeMap<&'static str, (&'static Code, Option<Level>, Origin)>,
}

/// A layer's values in the order in which they are laid over each other: groups before single findings.
fn in_order(given: &[(Given, Origin)]) -> impl Iterator<Item = &(Given, Origin)> {
    let is_group = |g: &Given| matches!(g, Given::Level(Which::Group(_), _));
    let (groups, others): (Vec<_>, Vec<_>) = given.iter().partition(|(g, _)| is_group(g));
    groups.into_iter().chain(others)
}

fn build<'a>(layers: impl Iterator<Item = &'a Layer>) -> Settings {
    let mut out = Settings::default();
    for layer in layers {
        for (given, _) in in_order(&layer.given) {
            match given {
                Given::Units(u) => out.units = *u,
                Given::FailAt(l) => out.fail_at = *l,
                Given::Baseline(_) => {}
                Given::Rules(r) => out.rules = r.clone(),
                Given::Level(which, level) => match which {
                    Which::Code(c) => {
                        out.levels.insert(c.id, *level);
                    }
                    Which::Group(_) => {
                        for c in crate::codes::all().into_iter().filter(|c| which.covers(c)) {
                            out.levels.insert(c.id, *level);
                        }
                    }
                },
            }
        }
    }
    out
}

/// Why a pattern of folders cannot be used.
#[derive(Clone, Debug, PartialEq, Eq)]
enum BadPattern {
    Outside,
    /// It names the root itself.
    Root,
    Form(String),
}

/// The files in the folders a pattern names, and below.
fn folder_pattern(pattern: &str) -> Result<GlobSet, BadPattern> {
    let plain = match paths::join(FILE_NAME, pattern) {
        Ok(p) => p,
        Err(PathError::Empty) => return Err(BadPattern::Root),
        Err(PathError::Absolute | PathError::Outside) => return Err(BadPattern::Outside),
    };
    let mut set = GlobSetBuilder::new();
    for p in [plain.to_string(), format!("{plain}/**")] {
        let glob = GlobBuilder::new(&p)
            .literal_separator(true)
            .backslash_escape(false)
            .build()
            .map_err(|e| BadPattern::Form(e.kind().to_string()))?;
        set.add(glob);
    }
    set.build()
        .map_err(|e| BadPattern::Form(e.kind().to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::codes::UNKNOWN_UNIT;
    use crate::kinds::duty::checks::CAVITATION;

    fn sound(text: &str) -> ProjectSettings {
        let read = read(text);
        assert!(read.findings.is_empty(), "{:?}", read.findings);
        read.settings
    }

    #[test]
    fn levels_and_units_are_read() {
        let s = sound(
            "units = \"metric\"\nfail_at = \"warning\"\n[levels]\nunknown-unit = \"off\"\nCW0302 = \"advice\"\n",
        );
        let here = s.at("a.pump");
        assert_eq!(here.units, UnitSystem::Metric);
        assert_eq!(here.fail_at, Level::Warning);
        assert_eq!(here.level(&UNKNOWN_UNIT), None);
        assert_eq!(here.level(&crate::codes::UNIT_MISSING), Some(Level::Advice));
    }

    #[test]
    fn a_finding_comes_before_its_group_in_either_order() {
        for text in [
            "[levels]\nCW16 = \"off\"\ncavitation = \"warning\"\n",
            "[levels]\ncavitation = \"warning\"\nCW16 = \"off\"\n",
        ] {
            let here = sound(text).at("a.pump");
            assert_eq!(here.level(&CAVITATION), Some(Level::Warning));
            assert_eq!(here.level(&crate::kinds::duty::DUTY_UNMET), None);
            assert_eq!(here.level(&UNKNOWN_UNIT), Some(Level::Error));
        }
    }

    #[test]
    fn a_folder_has_its_own_and_the_last_one_wins() {
        let s = sound(
            "fail_at = \"advice\"\n[levels]\nCW03 = \"warning\"\n[[folder]]\npath = \"old\"\nunits = \"metric\"\nlevels = { CW0301 = \"off\" }\n[[folder]]\npath = \"old/*/new\"\nunits = \"imperial\"\n",
        );
        let units = |p: &str| s.at(p).units;
        assert_eq!(units("a.pump"), UnitSystem::Us);
        assert_eq!(units("older/a.pump"), UnitSystem::Us);
        assert_eq!(units("old/a.pump"), UnitSystem::Metric);
        assert_eq!(units("old"), UnitSystem::Metric);
        assert_eq!(units("old/x/y/new/a.pump"), UnitSystem::Metric);
        assert_eq!(units("old/x/new/a.pump"), UnitSystem::Imperial);
        assert_eq!(units("old/x/new/deep/er/a.pump"), UnitSystem::Imperial);
        let there = s.at("old/x/new/a.pump");
        assert_eq!(there.level(&UNKNOWN_UNIT), None);
        assert_eq!(
            there.level(&crate::codes::UNIT_MISSING),
            Some(Level::Warning)
        );
        assert_eq!(there.fail_at, Level::Advice);
    }

    #[test]
    fn the_command_line_comes_before_all() {
        let mut s = sound(
            "[[folder]]\npath = \"old\"\nunits = \"metric\"\nlevels = { CW0301 = \"off\" }\n",
        );
        s.set("units=imperial").unwrap();
        s.set("levels.CW03 = \"advice\"").unwrap();
        let here = s.at("old/a.pump");
        assert_eq!(here.units, UnitSystem::Imperial);
        assert_eq!(here.level(&UNKNOWN_UNIT), Some(Level::Advice));
        assert_eq!(
            s.explained("old/a.pump").values[0].origin,
            Origin::Command("units=imperial".to_owned())
        );
        for (given, says) in [
            ("units", "no `=`"),
            ("units=metrics", "\"us\", \"imperial\" or \"metric\""),
            ("fail=error", "did you mean `fail_at`?"),
            ("=x", "not TOML"),
            ("folder=x", "tables"),
            ("levels=off", "a table"),
            ("levels.CW=off", "no finding"),
            ("baseline=../x.json", "outside the workspace"),
            ("units=us\nfail_at=error", "\"us\""),
        ] {
            let e = s.set(given).unwrap_err();
            assert!(e.contains(says), "{given}: {e}");
        }
    }

    #[test]
    fn settings_for_every_file_are_kept_as_they_are() {
        let s = sound("units = \"metric\"\n[levels]\nCW03 = \"off\"\n");
        let again = ProjectSettings::from((**s.base()).clone());
        assert_eq!(again.at("x/y.pump"), s.at("x/y.pump"));
    }
}
