//! The project file `cutwater.toml`: display units, levels, what fails.
//!
//! ```toml
//! units   = "us"              # us, imperial or metric: for values without a unit of their own
//! fail_at = "error"           # error, warning or advice: what makes `check` fail
//! rules   = ["rules.pump"]    # their `require for every …` hold in every file
//!
//! [levels]                    # by code or name: error, warning, advice or off
//! unused-name = "off"
//! ```

use cutwater_finding::{Code, Level};
use cutwater_quantity::UnitSystem;
use serde::Deserialize;
use smol_str::SmolStr;
use std::collections::BTreeMap;

/// The project file's name.
pub const FILE_NAME: &str = "cutwater.toml";

/// What a project file says.
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

/// What is wrong with a project file, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SettingsError {
    /// One line.
    pub message: String,
    /// Bytes of the file, where known.
    pub span: Option<std::ops::Range<usize>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    units: Option<toml::Spanned<String>>,
    fail_at: Option<toml::Spanned<String>>,
    #[serde(default)]
    rules: Vec<toml::Spanned<String>>,
    #[serde(default)]
    levels: BTreeMap<String, toml::Spanned<String>>,
}

impl Settings {
    /// Reads a project file.
    ///
    /// # Errors
    /// The first thing that is wrong, with its place: an unknown key, word or code.
    pub fn parse(text: &str) -> Result<Self, SettingsError> {
        let raw: Raw = toml::from_str(text).map_err(|e| SettingsError {
            message: e.message().replace('\n', " "),
            span: e.span(),
        })?;
        let mut out = Self::default();
        if let Some(u) = raw.units {
            out.units = unit_system(u.get_ref()).ok_or_else(|| SettingsError {
                message: format!(
                    "`units` is \"us\", \"imperial\" or \"metric\", not \"{}\"",
                    u.get_ref()
                ),
                span: Some(u.span()),
            })?;
        }
        if let Some(f) = raw.fail_at {
            out.fail_at = Level::from_word(f.get_ref()).ok_or_else(|| SettingsError {
                message: format!(
                    "`fail_at` is \"error\", \"warning\" or \"advice\", not \"{}\"",
                    f.get_ref()
                ),
                span: Some(f.span()),
            })?;
        }
        for path in raw.rules {
            let given = path.get_ref();
            let full = crate::paths::join(FILE_NAME, given).map_err(|_| SettingsError {
                message: format!(
                    "`rules` names files of the workspace by their paths from {FILE_NAME}, and `{given}` leads nowhere in it"
                ),
                span: Some(path.span()),
            })?;
            if !out.rules.contains(&full) {
                out.rules.push(full);
            }
        }
        for (key, level) in raw.levels {
            let span = Some(level.span());
            let Some(code) = crate::codes::find(&key) else {
                return Err(SettingsError {
                    message: format!(
                        "[levels]: there is no finding `{key}`; `cutwater explain` lists them"
                    ),
                    span,
                });
            };
            let word = level.into_inner();
            let set = if word == "off" {
                None
            } else {
                Some(Level::from_word(&word).ok_or_else(|| SettingsError {
                    message: format!("[levels] {key}: a level is \"error\", \"warning\", \"advice\" or \"off\", not \"{word}\""),
                    span,
                })?)
            };
            out.levels.insert(code.id, set);
        }
        Ok(out)
    }

    /// The files of house rules, by their paths from the root: what they require of every declaration of a kind
    /// holds in every file.
    pub fn rules(&self) -> &[SmolStr] {
        &self.rules
    }

    /// The level of a finding here; `None` where it is off.
    pub fn level(&self, code: &'static Code, _path: &str) -> Option<Level> {
        self.levels
            .get(code.id)
            .copied()
            .unwrap_or(Some(code.level))
    }
}

/// The word for a unit system.
pub fn unit_system(word: &str) -> Option<UnitSystem> {
    match word {
        "us" => Some(UnitSystem::Us),
        "imperial" => Some(UnitSystem::Imperial),
        "metric" => Some(UnitSystem::Metric),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_and_units_are_read() {
        let s = Settings::parse("units = \"metric\"\nfail_at = \"warning\"\n[levels]\nunknown-unit = \"off\"\nCW0301 = \"advice\"\n").unwrap();
        assert_eq!(s.units, UnitSystem::Metric);
        assert_eq!(s.fail_at, Level::Warning);
        assert_eq!(s.level(&crate::codes::UNKNOWN_UNIT, "a.pump"), None);
    }

    #[test]
    fn what_is_wrong_is_named_with_its_place() {
        let text = "units = \"metrics\"";
        let e = Settings::parse(text).unwrap_err();
        assert!(
            e.message.contains("\"us\", \"imperial\" or \"metric\""),
            "{e:?}"
        );
        assert_eq!(e.span.map(|r| &text[r]), Some("\"metrics\""));
        let e = Settings::parse("unit = \"us\"").unwrap_err();
        assert!(e.message.contains("unknown field `unit`"), "{e:?}");
        let e = Settings::parse("[levels]\nnonsense = \"off\"").unwrap_err();
        assert!(e.message.contains("no finding `nonsense`"), "{e:?}");
    }
}
