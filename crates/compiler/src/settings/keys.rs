//! The keys of the project file, each defined once: its name, what it takes, its default and its meaning.
//!
//! Reading (`super::read`), the nearest right name in a message, the JSON schema, the reference page and
//! `cutwater settings` are all made from [`KEYS`]. A key is added here and nowhere else; what a new sort of
//! value is for is said in [`Takes`].

use cutwater_finding::Level;
use cutwater_quantity::UnitSystem;

/// The systems of units and their words.
pub static UNIT_SYSTEMS: &[(&str, UnitSystem)] = &[
    ("us", UnitSystem::Us),
    ("imperial", UnitSystem::Imperial),
    ("metric", UnitSystem::Metric),
];

/// The levels, the gravest first.
pub static LEVELS: &[Level] = &[Level::Error, Level::Warning, Level::Advice];

/// The word that switches a finding off.
pub const OFF: &str = "off";

/// What a key takes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Takes {
    /// The word of a system of units.
    Units,
    /// The word of a level.
    Level,
    /// A table: a finding or a group of findings, with the word of a level or `off`.
    Levels,
    /// The path of a file of the workspace.
    File,
    /// A list of paths of files of the workspace.
    Files,
    /// A path or pattern of folders of the workspace.
    Folder,
    /// Tables with keys of their own.
    Folders,
}

impl Takes {
    /// The words it takes, where it takes one of a few.
    pub fn words(self) -> Vec<&'static str> {
        match self {
            Takes::Units => UNIT_SYSTEMS.iter().map(|u| u.0).collect(),
            Takes::Level => LEVELS.iter().map(|l| l.word()).collect(),
            Takes::Levels => LEVELS.iter().map(|l| l.word()).chain([OFF]).collect(),
            Takes::File | Takes::Files | Takes::Folder | Takes::Folders => Vec::new(),
        }
    }

    /// What it takes, in words.
    pub fn says(self) -> String {
        match self {
            Takes::Units | Takes::Level => one_of(&self.words()),
            Takes::Levels => format!("a table of findings, each with {}", one_of(&self.words())),
            Takes::File => "the path of a file in the workspace, from its root".to_owned(),
            Takes::Files => "a list of paths of files in the workspace, from its root".to_owned(),
            Takes::Folder => {
                "a folder of the workspace from its root, or a pattern of folders".to_owned()
            }
            Takes::Folders => "tables, each with a `path`".to_owned(),
        }
    }
}

/// `"us", "imperial" or "metric"`.
pub(super) fn one_of(words: &[&str]) -> String {
    let quoted: Vec<String> = words.iter().map(|w| format!("\"{w}\"")).collect();
    match quoted.split_last() {
        Some((last, front)) if !front.is_empty() => format!("{} or {last}", front.join(", ")),
        Some((last, _)) => last.clone(),
        None => String::new(),
    }
}

/// Where a key may stand.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Stands {
    /// At the top of the project file only.
    Top,
    /// In a `[[folder]]` only.
    Folder,
    /// In both.
    Both,
}

impl Stands {
    /// Whether it may stand at the top (`folder` false) or in a `[[folder]]`.
    pub fn allows(self, folder: bool) -> bool {
        match self {
            Stands::Both => true,
            Stands::Top => !folder,
            Stands::Folder => folder,
        }
    }
}

/// A key of the project file.
#[derive(Debug)]
pub struct Key {
    /// Its name.
    pub name: &'static str,
    /// What it takes.
    pub takes: Takes,
    /// Where it may stand.
    pub stands: Stands,
    /// Whether it must be given where it may stand.
    pub required: bool,
    /// What holds where it is not given; empty where nothing does.
    pub default: &'static str,
    /// What it is for.
    pub doc: &'static str,
    /// A line that uses it.
    pub example: &'static str,
}

/// `units`: the system of units.
pub static UNITS: Key = Key {
    name: "units",
    takes: Takes::Units,
    stands: Stands::Both,
    required: false,
    default: "us",
    doc: "The system of units in which values are shown that have no unit of their own.",
    example: "units = \"us\"",
};

/// `fail_at`: what makes a check fail.
pub static FAIL_AT: Key = Key {
    name: "fail_at",
    takes: Takes::Level,
    stands: Stands::Both,
    required: false,
    default: "error",
    doc: "The lowest level of a finding that makes `cutwater check` and `cutwater solve` exit with 1.",
    example: "fail_at = \"warning\"",
};

/// `baseline`: the file of known findings.
pub static BASELINE: Key = Key {
    name: "baseline",
    takes: Takes::File,
    stands: Stands::Top,
    required: false,
    default: "",
    doc: "The file of findings that are known already and do not make a check fail; `cutwater check --write-baseline` writes it.",
    example: "baseline = \"cutwater-baseline.json\"",
};

/// `rules`: the files of house rules.
pub static RULES: Key = Key {
    name: "rules",
    takes: Takes::Files,
    stands: Stands::Both,
    required: false,
    default: "",
    doc: "Files of house rules: what their `require for every …` lines ask of every declaration of a kind holds in every file, each judged by itself. A `[[folder]]` with rules of its own has these in place of those at the top.",
    example: "rules = [\"rules/house.pump\"]",
};

/// `levels`: the levels of findings.
pub static LEVEL_TABLE: Key = Key {
    name: "levels",
    takes: Takes::Levels,
    stands: Stands::Both,
    required: false,
    default: "",
    doc: "Levels of findings by code (`CW0502`), name (`requirement-within-tolerance`) or group, which is the first two digits of a code (`CW17`). A single finding comes before its group.",
    example: "levels = { CW0502 = \"error\", CW17 = \"advice\" }",
};

/// `folder`: other settings for a part of the workspace.
pub static FOLDER: Key = Key {
    name: "folder",
    takes: Takes::Folders,
    stands: Stands::Top,
    required: false,
    default: "",
    doc: "Settings for the files in a folder and below it, in place of those at the top; where several `[[folder]]` hold for a file, the last one wins.",
    example: "folder = [{ path = \"old-fleet\", fail_at = \"error\" }]",
};

/// `path`: which folders a `[[folder]]` is about.
pub static PATH: Key = Key {
    name: "path",
    takes: Takes::Folder,
    stands: Stands::Folder,
    required: true,
    default: "",
    doc: "The folder these settings hold for, from the root of the workspace. In a pattern `*` and `?` stand for characters of one name, `**` for any number of folders, `[ab]` and `{a,b}` for a choice.",
    example: "path = \"old-fleet\"",
};

/// Every key there is.
pub static KEYS: &[&Key] = &[
    &UNITS,
    &FAIL_AT,
    &BASELINE,
    &RULES,
    &LEVEL_TABLE,
    &FOLDER,
    &PATH,
];

/// The keys that may stand at the top (`folder` false) or in a `[[folder]]`.
pub fn keys(folder: bool) -> impl Iterator<Item = &'static Key> {
    KEYS.iter()
        .copied()
        .filter(move |k| k.stands.allows(folder))
}

/// The word for a system of units.
pub fn units_word(units: UnitSystem) -> &'static str {
    UNIT_SYSTEMS
        .iter()
        .find(|u| u.1 == units)
        .map_or("", |u| u.0)
}

/// The word for a level, or that for none.
pub fn level_word(level: Option<Level>) -> &'static str {
    level.map_or(OFF, Level::word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_read_as_a_sentence() {
        assert_eq!(Takes::Units.says(), "\"us\", \"imperial\" or \"metric\"");
        assert_eq!(one_of(&["a"]), "\"a\"");
    }

    #[test]
    fn defaults_are_words_of_their_keys() {
        for k in KEYS {
            let words = k.takes.words();
            assert!(
                k.default.is_empty() || words.contains(&k.default),
                "{}",
                k.name
            );
            assert!(k.doc.ends_with('.'), "{}", k.name);
        }
    }
}
