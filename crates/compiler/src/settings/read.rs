//! From the text of a project file to settings and findings about it.
//!
//! The text is read as TOML with recovery, so that everything wrong is found at once and everything else
//! holds. Places are bytes of the text.

use super::keys::{self, Key, OFF, Takes};
use super::{BadPattern, Given, Layer, Origin, ProjectSettings, Which, folder_pattern};
use crate::codes::codes;
use crate::paths::{self, PathError};
use crate::show::{near_names, pick_nearest};
use cutwater_finding::{Code, Finding, FixTier, Level};
use cutwater_text::Span;
use smol_str::SmolStr;
use toml::de::{DeTable, DeValue};

codes! { settings:
    SETTINGS_SYNTAX = "CW0601" "settings-syntax" Error, "The project file is not TOML here.",
        "`cutwater.toml` is written in TOML: `key = \"value\"`, with tables as `[levels]`. Everything else in the file still holds.",
        fires "units = us\n", silent "units = \"us\"\n";
    SETTINGS_KEY = "CW0602" "settings-unknown-key" Error, "No such setting.",
        "A key nobody reads would change nothing without a word. `cutwater settings` lists the keys with what they take.",
        fires "fail_on = \"warning\"\n", silent "fail_at = \"warning\"\n", fixes NeedsALook;
    SETTINGS_TYPE = "CW0603" "settings-wrong-type" Error, "A setting takes another sort of value.",
        "Words stand in quotes; levels are a table, `[levels]`; each `[[folder]]` is a table of its own.",
        fires "fail_at = 3\n", silent "fail_at = \"warning\"\n";
    SETTINGS_WORD = "CW0604" "settings-unknown-word" Error, "Not one of the words a setting takes.",
        "The setting takes one of a few words, which the message lists.",
        fires "units = \"metrics\"\n", silent "units = \"metric\"\n", fixes NeedsALook;
    SETTINGS_FINDING = "CW0605" "settings-unknown-finding" Error, "A level for a finding there is not.",
        "Levels are set for a finding by its code (`CW0502`) or name, or for a group by the first two digits of its codes (`CW05`). `cutwater explain findings` lists them.",
        fires "[levels]\nunknown-units = \"warning\"\n", silent "[levels]\nunknown-unit = \"warning\"\n", fixes NeedsALook;
    SETTINGS_PATTERN = "CW0606" "settings-bad-pattern" Error, "A pattern of folders that cannot be used.",
        "In a pattern `*` and `?` stand for characters of one name, `**` for any number of folders, `[ab]` and `{a,b}` for a choice.",
        fires "[[folder]]\npath = \"old[\"\nunits = \"us\"\n", silent "[[folder]]\npath = \"old*\"\nunits = \"us\"\n";
    SETTINGS_OUTSIDE = "CW0607" "settings-outside-workspace" Error, "A path in the project file leaves the workspace.",
        "The project file speaks only of what lies in its own folder and below, so that it means the same on every machine.",
        fires "[[folder]]\npath = \"../old-fleet\"\nunits = \"us\"\n", silent "[[folder]]\npath = \"old-fleet\"\nunits = \"us\"\n";
    SETTINGS_INCOMPLETE = "CW0608" "settings-incomplete" Error, "A `[[folder]]` that does not say which folder.",
        "Each `[[folder]]` names the folder it is about with `path`.",
        fires "[[folder]]\nunits = \"us\"\n", silent "[[folder]]\npath = \"old-fleet\"\nunits = \"us\"\n";
    SETTINGS_TWICE = "CW0609" "settings-twice" Error, "The level of one finding is set twice.",
        "A code and a name may mean the same finding. The later one in the file holds.",
        fires "[levels]\nunknown-unit = \"off\"\nCW0301 = \"advice\"\n", silent "[levels]\nunknown-unit = \"off\"\n";
    SETTINGS_NOWHERE = "CW0611" "settings-no-folder" Warning, "A `[[folder]]` for a folder that is not there.",
        "Its settings hold nowhere. Paths are taken from the folder of the project file.",
        fires "", silent "[[folder]]\npath = \"old*\"\nunits = \"us\"\n";
    SETTINGS_BASELINE = "CW0610" "settings-baseline" Error, "The baseline that the project file names cannot be used.",
        "Without it every finding counts as new. An editor shows this; `cutwater check` does not run with a baseline it cannot read.",
        fires "baseline = \"none.json\"\n", silent "units = \"us\"\n";
}

/// What a project file says, as far as it was understood.
#[derive(Clone, Debug)]
pub struct Read {
    /// The settings.
    pub settings: ProjectSettings,
    /// What is wrong with the text, by place, with levels as declared; see [`Read::leveled`].
    pub findings: Vec<Finding<Span>>,
    /// The folders that `[[folder]]` names without signs of a pattern, from the root, and where.
    pub folders: Vec<(SmolStr, Span)>,
}

impl Read {
    /// What is wrong with the text, with the levels that these settings give it; what is off is left out.
    pub fn leveled(&self, settings: &ProjectSettings) -> Vec<Finding<Span>> {
        let mut out = self.findings.clone();
        out.retain_mut(|f| match settings.base().level(f.code) {
            Some(level) => {
                f.level = level;
                true
            }
            None => false,
        });
        out
    }

    /// Adds findings about folders that are not there; `there` says of a path from the root whether it is.
    #[must_use]
    pub fn with_folders(mut self, there: impl Fn(&str) -> bool) -> Self {
        for (path, at) in self.folders.iter().filter(|(p, _)| !there(p)) {
            let f = Finding::new(
                &SETTINGS_NOWHERE,
                *at,
                format!("there is no folder `{path}` in the workspace, so these settings hold nowhere"),
            )
            .here("not there")
            .help("paths are taken from the folder of this file; check the spelling, or take the `[[folder]]` out");
            self.findings.push(f);
        }
        self.findings
            .sort_by_key(|f| (f.place.start, f.place.end, f.code.id));
        self
    }
}

/// Reads a project file. Never fails: what is not understood has a finding and changes nothing.
pub fn read(text: &str) -> Read {
    let mut r = Reader {
        text,
        folders: Vec::new(),
        findings: Vec::new(),
        layers: vec![Layer {
            files: None,
            given: Vec::new(),
        }],
    };
    let (table, errors) = DeTable::parse_recoverable(text);
    for e in &errors {
        let span = e.span().map_or(Span::default(), Span::from);
        let message = e.message().replace('\n', " ");
        r.findings.push(
            Finding::new(
                &SETTINGS_SYNTAX,
                span,
                format!("this is not TOML: {}", message.trim()),
            )
            .here("not understood")
            .help(if message.contains("duplicate key") {
                "a key stands once; keep the right one"
            } else if message.contains("quoted") {
                "put the word in quotes, as `units = \"us\"`"
            } else {
                "the file is made of lines as `units = \"us\"`, and of tables that begin with a line as `[levels]`"
            }),
        );
    }
    r.table(table.get_ref(), None, &broken(text, &errors));
    let settings = ProjectSettings::new(r.layers);
    let mut findings = std::mem::take(&mut r.findings);
    findings.sort_by(|a, b| {
        (a.place.start, a.place.end, a.code.id, &a.message).cmp(&(
            b.place.start,
            b.place.end,
            b.code.id,
            &b.message,
        ))
    });
    Read {
        settings,
        findings,
        folders: r.folders,
    }
}

/// Where the text is no TOML: what recovery put there is not looked at. Below a broken head of a table nobody
/// knows whose the keys are.
fn broken(text: &str, errors: &[toml::de::Error]) -> Vec<Span> {
    errors
        .iter()
        .filter_map(toml::de::Error::span)
        .map(|at| {
            // An end that is missing is missed at the beginning of the next line.
            let before = text[..at.start]
                .strip_suffix('\n')
                .unwrap_or(&text[..at.start]);
            let before = if at.is_empty() {
                before
            } else {
                &text[..at.start]
            };
            let start = before.rfind('\n').map_or(0, |k| k + 1);
            if !text[start..].trim_start().starts_with('[') {
                return Span::from(at);
            }
            let end = text[start..]
                .match_indices('\n')
                .map(|(k, _)| start + k + 1)
                .find(|k| text[*k..].trim_start_matches([' ', '\t']).starts_with('['));
            Span::new(start, end.map_or(text.len(), |k| k - 1))
        })
        .collect()
}

/// The two digits of a group: `CW17`, in capitals; `None` where it is none or has no finding.
pub(crate) fn group_of(key: &str) -> Option<SmolStr> {
    let group = key.to_ascii_uppercase();
    let digits = group.strip_prefix("CW")?;
    let formed = digits.len() == 2 && digits.bytes().all(|b| b.is_ascii_digit());
    (formed && crate::codes::all().iter().any(|c| c.id.starts_with(&group)))
        .then(|| SmolStr::from(group))
}

fn sort_of(v: &DeValue<'_>) -> &'static str {
    match v {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

struct Reader<'t> {
    text: &'t str,
    folders: Vec<(SmolStr, Span)>,
    findings: Vec<Finding<Span>>,
    layers: Vec<Layer>,
}

impl Reader<'_> {
    /// A table: the file itself, or a `[[folder]]` with its place.
    fn table(&mut self, table: &DeTable<'_>, folder: Option<Span>, broken: &[Span]) {
        let in_folder = folder.is_some();
        let mut layer = Layer {
            files: None,
            given: Vec::new(),
        };
        let mut usable = true;
        for (name, value) in table {
            let at = Span::from(name.span());
            let place = Span::from(value.span());
            // What stands where the text is no TOML was reported, and may be anything.
            let touches = |s: &Span| s.start <= place.end && place.start <= s.end;
            let whole = !matches!(value.get_ref(), DeValue::Table(_));
            if broken.iter().any(|s| s.covers(at) || whole && touches(s)) {
                continue;
            }
            let Some(key) = keys::keys(in_folder).find(|k| k.name == name.get_ref().as_ref())
            else {
                self.unknown_key(name.get_ref(), at, in_folder);
                continue;
            };
            match (key.takes, value.get_ref()) {
                (Takes::Units, DeValue::String(word)) => {
                    match keys::UNIT_SYSTEMS.iter().find(|u| u.0 == word.as_ref()) {
                        Some((_, u)) => layer.given.push((Given::Units(*u), Origin::File(place))),
                        None => self.unknown_word(key.name, key.takes, word, place),
                    }
                }
                (Takes::Level, DeValue::String(word)) => match Level::from_word(word) {
                    Some(l) => layer.given.push((Given::FailAt(l), Origin::File(place))),
                    None => self.unknown_word(key.name, key.takes, word, place),
                },
                (Takes::Levels, DeValue::Table(levels)) => {
                    self.levels(levels, &mut layer.given, broken);
                }
                (Takes::File, DeValue::String(path)) => {
                    if let Some(p) = self.file(key, path, place) {
                        layer.given.push((Given::Baseline(p), Origin::File(place)));
                    }
                }
                (Takes::Files, DeValue::Array(list)) => {
                    let mut paths: Vec<SmolStr> = Vec::new();
                    for item in list.iter() {
                        let at = Span::from(item.span());
                        match item.get_ref() {
                            DeValue::String(path) => {
                                if let Some(p) = self.file(key, path, at)
                                    && !paths.contains(&p)
                                {
                                    paths.push(p);
                                }
                            }
                            other => {
                                let what = format!("each of `{}`", key.name);
                                self.wrong_type(&what, &Takes::File.says(), other, at);
                            }
                        }
                    }
                    layer.given.push((Given::Rules(paths), Origin::File(place)));
                }
                (Takes::Folder, DeValue::String(pattern)) => match folder_pattern(pattern) {
                    Ok(set) => {
                        // Whether a pattern with signs names anything is for the future to tell.
                        if let (false, Ok(p)) = (
                            pattern.contains(['*', '?', '[', '{']),
                            paths::join(super::FILE_NAME, pattern),
                        ) {
                            self.folders.push((p, place));
                        }
                        layer.files = Some(set);
                    }
                    Err(why) => {
                        usable = false;
                        self.bad_pattern(pattern, place, &why);
                    }
                },
                (Takes::Folders, DeValue::Array(list)) => {
                    for item in list.iter() {
                        let at = Span::from(item.span());
                        match item.get_ref() {
                            DeValue::Table(t) => self.table(t, Some(at), broken),
                            other => self.wrong_type("each `[[folder]]`", "a table", other, at),
                        }
                    }
                }
                (takes, other) => {
                    usable &= takes != Takes::Folder;
                    let name = format!("`{}`", key.name);
                    self.wrong_type(&name, &takes.says(), other, place);
                    let help = match (takes, other) {
                        (Takes::Folders, DeValue::Table(_)) => {
                            "each one begins with `[[folder]]`, in double brackets".to_owned()
                        }
                        _ => format!("write it as `{}`", key.example),
                    };
                    if let Some(f) = self.findings.last_mut() {
                        f.help = Some(help);
                    }
                }
            }
        }
        match folder {
            None => {
                if let Some(top) = self.layers.first_mut() {
                    top.given = layer.given;
                }
            }
            Some(at) => {
                let missing = keys::keys(true)
                    .find(|k| k.required && !table.keys().any(|n| n.get_ref() == k.name));
                if let Some(k) = missing {
                    self.findings.push(
                        Finding::new(
                            &SETTINGS_INCOMPLETE,
                            first_line(self.text, at),
                            format!("this `[[folder]]` has no `{}`, so it holds nowhere", k.name),
                        )
                        .here("which folder?")
                        .help(format!("add a line as `{}`", k.example)),
                    );
                } else if usable && layer.files.is_some() {
                    self.layers.push(layer);
                }
            }
        }
    }

    fn unknown_key(&mut self, name: &str, at: Span, in_folder: bool) {
        let whole = if in_folder {
            "a `[[folder]]`"
        } else {
            "the project file"
        };
        let known: Vec<&str> = keys::keys(in_folder).map(|k| k.name).collect();
        let mut f = Finding::new(
            &SETTINGS_KEY,
            at,
            format!("{whole} has no setting `{name}`"),
        )
        .here("no such setting");
        if keys::keys(!in_folder).any(|k| k.name == name) {
            let place = if in_folder {
                "it stands at the top of the file, before the first table"
            } else {
                "it stands in a `[[folder]]`"
            };
            f = f.help(place);
        } else if let Some(n) = nearest_key(name, in_folder) {
            f.message.push_str(&format!("; did you mean `{n}`?"));
            f = f.help(format!("write `{n}`")).fix(
                format!("write `{n}`"),
                FixTier::NeedsALook,
                at,
                n,
            );
        } else {
            f = f.help(format!("the settings here are {}", known.join(", ")));
        }
        self.findings.push(f);
    }

    fn unknown_word(&mut self, owner: &str, takes: Takes, word: &str, at: Span) {
        let words = takes.words();
        let mut f = Finding::new(
            &SETTINGS_WORD,
            at,
            format!("`{owner}` is {}, not \"{word}\"", keys::one_of(&words)),
        )
        .here("not one of them");
        if let Some(n) = pick_nearest(word, words.into_iter()) {
            f = f.help(format!("write `\"{n}\"`")).fix(
                format!("write \"{n}\""),
                FixTier::NeedsALook,
                at,
                format!("\"{n}\""),
            );
        }
        self.findings.push(f);
    }

    fn wrong_type(&mut self, what: &str, takes: &str, given: &DeValue<'_>, at: Span) {
        self.findings.push(
            Finding::new(
                &SETTINGS_TYPE,
                at,
                format!("{what} takes {takes}, not {}", sort_of(given)),
            )
            .here(sort_of(given)),
        );
    }

    fn levels(&mut self, levels: &DeTable<'_>, given: &mut Vec<(Given, Origin)>, broken: &[Span]) {
        // In the order of the text, so that the later of two is the later one.
        let mut list: Vec<_> = levels.iter().collect();
        list.sort_by_key(|(k, _)| k.span().start);
        let mut seen: Vec<(Which, Span)> = Vec::new();
        for (name, value) in list {
            let (at, place) = (Span::from(name.span()), Span::from(value.span()));
            if broken
                .iter()
                .any(|s| s.start <= place.end && place.start <= s.end)
            {
                continue;
            }
            let name = name.get_ref().as_ref();
            let which = match crate::codes::find(name) {
                Some(code) => Some(Which::Code(code)),
                None => group_of(name).map(Which::Group),
            };
            if which.is_none() {
                self.unknown_finding(name, at);
            }
            let DeValue::String(word) = value.get_ref() else {
                let takes = format!("one of {}", keys::one_of(&Takes::Levels.words()));
                self.wrong_type(
                    &format!("the level of `{name}`"),
                    &takes,
                    value.get_ref(),
                    place,
                );
                continue;
            };
            let level = match Level::from_word(word) {
                Some(l) => Some(l),
                None if word == OFF => None,
                None => {
                    let owner = format!("levels.{name}");
                    self.unknown_word(&owner, Takes::Levels, word, place);
                    continue;
                }
            };
            let Some(which) = which else { continue };
            if let Some((_, first)) = seen.iter().find(|(w, _)| *w == which) {
                let id = match &which {
                    Which::Code(c) => c.id,
                    Which::Group(g) => g.as_str(),
                };
                self.findings.push(
                    Finding::new(
                        &SETTINGS_TWICE,
                        at,
                        format!("the level of {id} is set twice; this one, \"{word}\", holds"),
                    )
                    .here("the second time")
                    .label(*first, "the first time")
                    .help("take one of them out"),
                );
            }
            seen.push((which.clone(), at));
            given.push((Given::Level(which, level), Origin::File(place)));
        }
    }

    fn unknown_finding(&mut self, name: &str, at: Span) {
        let mut f = Finding::new(
            &SETTINGS_FINDING,
            at,
            format!("there is no finding and no group of findings `{name}`"),
        )
        .here("no such finding");
        if let Some(n) = nearest_code(name, |_| true) {
            f.message.push_str(&format!("; did you mean `{n}`?"));
            f = f.help(format!("write `{n}`")).fix(
                format!("write `{n}`"),
                FixTier::NeedsALook,
                at,
                n,
            );
        } else {
            f = f.help("`cutwater explain findings` lists them");
        }
        self.findings.push(f);
    }

    fn file(&mut self, key: &Key, path: &str, at: Span) -> Option<SmolStr> {
        match paths::join(super::FILE_NAME, path) {
            Ok(p) => Some(p),
            Err(PathError::Empty) => {
                self.findings.push(
                    Finding::new(&SETTINGS_WORD, at, format!("`{}` names no file", key.name))
                        .here("no file")
                        .help(format!("write a path, as `{}`", key.example)),
                );
                None
            }
            Err(PathError::Absolute | PathError::Outside) => {
                self.outside(path, at);
                None
            }
        }
    }

    fn outside(&mut self, path: &str, at: Span) {
        self.findings.push(
            Finding::new(
                &SETTINGS_OUTSIDE,
                at,
                format!("`{path}` lies outside the workspace"),
            )
            .here("outside the workspace")
            .help("give a path from the folder of this file, without a leading `/` or `..`"),
        );
    }

    fn bad_pattern(&mut self, pattern: &str, at: Span, why: &BadPattern) {
        match why {
            BadPattern::Outside => self.outside(pattern, at),
            BadPattern::Root => self.findings.push(
                Finding::new(
                    &SETTINGS_PATTERN,
                    at,
                    match pattern {
                        "" => "this `path` is empty, so it names no folder".to_owned(),
                        p => format!("`{p}` is the whole workspace, not a folder in it"),
                    },
                )
                .here("no folder of the workspace")
                .help("settings for the whole workspace stand at the top of the file, outside every `[[folder]]`"),
            ),
            BadPattern::Form(why) => self.findings.push(
                Finding::new(
                    &SETTINGS_PATTERN,
                    at,
                    format!("`{pattern}` is no pattern of folders: {why}"),
                )
                .here("no pattern")
                .help("`*` and `?` stand for characters of one name, `**` for any number of folders, `[ab]` and `{a,b}` for a choice"),
            ),
        }
    }
}

/// The key a misspelt one is nearest to, or begins.
fn nearest_key(name: &str, in_folder: bool) -> Option<&'static str> {
    let names = || keys::keys(in_folder).map(|k| k.name);
    pick_nearest(name, names()).or_else(|| {
        names().find(|k| name.len() > 2 && (k.starts_with(name) || name.starts_with(k)))
    })
}

/// The id or name, as that was written, of the finding a misspelt one is nearest to, among those that `may` be
/// meant. Of ids the nearest is the one that begins alike: the first digits are the group.
pub(crate) fn nearest_code(name: &str, may: impl Fn(&Code) -> bool) -> Option<String> {
    let all: Vec<&Code> = crate::codes::all().into_iter().filter(|c| may(c)).collect();
    if name.get(..2).is_some_and(|p| p.eq_ignore_ascii_case("cw")) {
        let upper = name.to_ascii_uppercase();
        let number = |id: &str| id.get(4..).and_then(|n| n.parse::<i32>().ok());
        // Half a code is near to many.
        if upper.len() < 5 {
            return None;
        }
        let near = near_names(&upper, all.iter().map(|c| c.id));
        let group = upper.get(..4).unwrap_or(&upper);
        let in_group = all
            .iter()
            .filter(|c| c.id.starts_with(group))
            .min_by_key(|c| number(c.id).zip(number(&upper)).map(|(a, b)| (a - b).abs()));
        return in_group
            .map(|c| c.id.to_owned())
            .or_else(|| near.into_iter().next());
    }
    near_names(name, all.iter().map(|c| c.name))
        .into_iter()
        .next()
}

/// The part of a place on its first line.
fn first_line(text: &str, at: Span) -> Span {
    let part = at.slice(text);
    let end = part.find('\n').unwrap_or(part.len());
    Span::new(at.start as usize, at.start as usize + end)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(text: &str) -> Vec<(&'static str, String, String)> {
        read(text)
            .findings
            .iter()
            .map(|f| (f.code.id, f.place.slice(text).to_owned(), f.message.clone()))
            .collect()
    }

    #[test]
    fn everything_wrong_is_found_at_once_and_the_rest_holds() {
        let text = "fail_at = \"warning\"\nunit = \"us\"\nunits = 3\n[levels]\nCW0301 = \"of\"\nnonsense-here = \"off\"\nCW0302 = \"off\"\n[[folder]]\npath = \"/etc\"\n[[folder]]\nunits = \"us\"\n";
        let r = read(text);
        assert_eq!(
            r.findings.iter().map(|f| f.code.id).collect::<Vec<_>>(),
            ["CW0602", "CW0603", "CW0604", "CW0605", "CW0607", "CW0608"],
            "{:#?}",
            r.findings
        );
        let here = r.settings.at("a.pump");
        assert_eq!(here.fail_at, Level::Warning);
        assert_eq!(here.level(&crate::codes::UNIT_MISSING), None);
    }

    #[test]
    fn places_are_those_of_the_text() {
        assert_eq!(found("units = \"metrics\"")[0].1, "\"metrics\"");
        assert_eq!(found("unit = \"us\"")[0].1, "unit");
        assert_eq!(found("[levels]\nnonsense = \"off\"")[0].1, "nonsense");
        let no_path = found("# µ\n[[folder]]\nunits = \"us\"\n");
        assert_eq!(no_path[0].1, "[[folder]]", "{no_path:?}");
    }

    #[test]
    fn what_is_no_toml_hides_nothing_else() {
        let text = "units = us\nfail_at = \"never\"\n[levels\nCW0301 = \"off\"\n";
        let all = found(text);
        let ids: Vec<&str> = all.iter().map(|f| f.0).collect();
        assert!(
            ids.contains(&"CW0601") && ids.contains(&"CW0604"),
            "{all:?}"
        );
        assert!(
            all.iter().all(|f| f.0 != "CW0602"),
            "what recovery made up is not judged: {all:?}"
        );
    }

    #[test]
    fn the_file_sets_the_levels_of_its_own_findings() {
        let text = "unit = \"us\"\n[levels]\nCW0602 = \"warning\"\n";
        let r = read(text);
        assert_eq!(r.leveled(&r.settings)[0].level, Level::Warning);
        let mut over = r.settings.clone();
        over.set("levels.CW06=off").unwrap();
        assert!(r.leveled(&over).is_empty());
    }

    #[test]
    fn a_key_in_the_wrong_table_says_where_it_belongs() {
        let f = &read("[[folder]]\npath = \"a\"\nbaseline = \"b.json\"\n").findings[0];
        assert_eq!(f.code.id, "CW0602");
        assert!(f.help.as_deref().is_some_and(|h| h.contains("at the top")));
    }

    #[test]
    fn no_text_stops_the_reader() {
        let text = "units = \"us\"\n[levels]\nCW03 = \"off\"\n[[folder]]\npath = \"a\"\nlevels = { x = 1 }\n";
        for k in 0..text.len() {
            if !text.is_char_boundary(k) {
                continue;
            }
            let _ = read(&text[..k]);
            let _ = read(&text[k..]);
            for c in ['"', '[', '=', '\n', 'µ', '{'] {
                let mut t = text.to_owned();
                t.insert(k, c);
                for f in read(&t).findings {
                    assert!(
                        f.place.end as usize <= t.len()
                            && t.is_char_boundary(f.place.start as usize)
                    );
                }
            }
        }
    }
}
