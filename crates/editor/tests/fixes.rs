//! Laws of fixes, over every example there is and over texts spoilt at random:
//!
//! - what was well formed stays so;
//! - every comment is still there, in order unless rows were put in order;
//! - no fix that was applied is offered again, and applying once more changes nothing;
//! - safe fixes change no value that could be computed before;
//! - a text in the canonical layout is in it afterwards;
//! - the page of a code speaks of the fixes its findings have.

use cutwater_compiler::{Db, codes, results};
use cutwater_editor::{Mended, fix_file, fix_of, mend};
use cutwater_finding::{Code, FileId, FixTier, Left, Sample};
use cutwater_syntax::token::{T, lex};
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

/// The files of one workspace, by path.
type Files = BTreeMap<String, String>;

fn db_of(files: &Files) -> Db {
    let mut db = Db::default();
    for (path, text) in files {
        db.set_file(path, text.as_str());
    }
    db.settle(true, None).unwrap();
    db
}

fn mended(files: &Files, most: FixTier) -> (Db, Mended) {
    let mut db = db_of(files);
    let all: Vec<FileId> = db.files().collect();
    let done = mend(
        &mut db,
        &all,
        most,
        |_, _| true,
        |db| db.settle(true, None).unwrap(),
    );
    (db, done)
}

fn comments(text: &str) -> Vec<String> {
    lex(text)
        .iter()
        .filter(|r| matches!(r.kind, T::Comment | T::Doc | T::FileDoc))
        .map(|r| r.span.slice(text).trim_end().to_owned())
        .collect()
}

fn slips(db: &Db, file: FileId) -> usize {
    db.decls(file)
        .iter()
        .map(|d| db.parsed(*d).errors.len())
        .sum()
}

/// What can be computed, by path; what is said twice is left out.
fn values(db: &Db) -> BTreeMap<(String, String), String> {
    let mut out: BTreeMap<(String, String), Vec<String>> = BTreeMap::new();
    for f in db.files().collect::<Vec<_>>() {
        for r in results::of_file(db, f) {
            out.entry((db.path(f).to_string(), r.path.clone()))
                .or_default()
                .push(format!("{} [{}]", r.value.text(), r.origin));
        }
    }
    out.into_iter()
        .filter_map(|(k, mut v)| (v.len() == 1).then(|| (k, v.remove(0))))
        .collect()
}

/// Says which law does not hold.
fn laws(files: &Files) -> Result<(), String> {
    let before = db_of(files);
    for f in before.files().collect::<Vec<_>>() {
        for x in before.findings(f) {
            if let Some(fix) = &x.fix
                && !x.code.fixes.contains(&fix.tier)
            {
                return Err(format!(
                    "the page of {} does not speak of {:?}",
                    x.code.id, fix
                ));
            }
            // What an editor applies one by one keeps to the same laws.
            if let Some(edits) = fix_of(&before, &x) {
                for (file, edits) in edits {
                    let text = before.text(file);
                    let mut at = 0;
                    for e in &edits {
                        if (e.span.start as usize) < at || text.get(e.span.range()).is_none() {
                            return Err(format!("edits overlap: {edits:?}"));
                        }
                        at = e.span.end as usize;
                    }
                }
            }
        }
        fix_file(&before, f);
    }
    for most in [FixTier::Safe, FixTier::NeedsALook] {
        let (db, done) = mended(files, most);
        let moved = done
            .applied
            .iter()
            .any(|a| a.finding.code == &codes::NOT_RISING);
        let story = |what: &str| {
            format!(
                "{what} ({most:?})\napplied: {:#?}\nleft: {:#?}\n{files:#?}\n{:#?}",
                done.applied
                    .iter()
                    .map(|a| (a.finding.code.id, &a.finding.fix))
                    .collect::<Vec<_>>(),
                done.left
                    .iter()
                    .map(|l| (l.0.code.id, &l.0.fix, l.1))
                    .collect::<Vec<_>>(),
                done.texts
            )
        };
        for (path, old) in files {
            let file = db.file(path).unwrap();
            let new = db.text(file).to_string();
            let (was, is) = (slips(&before, before.file(path).unwrap()), slips(&db, file));
            if is > was {
                return Err(story("it is less well formed"));
            }
            let (mut a, mut b) = (comments(old), comments(&new));
            if moved || was > 0 {
                a.sort();
                b.sort();
            }
            let lost = a.iter().any(|c| !b.contains(c));
            if lost || was == 0 && a != b {
                return Err(story("comments are not what they were"));
            }
            if cutwater_syntax::format(old) == *old && cutwater_syntax::format(&new) != new {
                return Err(story("it is not laid out any more"));
            }
        }
        // Nothing more is offered but what was left for a reason.
        for (f, why) in &done.left {
            if *why == Left::Overlap {
                return Err(story("a fix was left that overlaps nothing"));
            }
            if *why == Left::Refused
                && done.applied.iter().any(|a| a.finding.fix == f.fix)
                && f.code != &codes::SYNTAX
                && f.code != &codes::BRACKET
            {
                return Err(story("a fix is offered again"));
            }
        }
        let now: Files = files
            .keys()
            .map(|p| {
                let file = db.file(p).unwrap();
                (p.clone(), db.text(file).to_string())
            })
            .collect();
        let (_, again) = mended(&now, most);
        if !again.texts.is_empty() {
            return Err(story("applying again changes the text"));
        }
        if most == FixTier::Safe {
            let (old, new) = (values(&before), values(&db));
            for (k, v) in &old {
                if let Some(n) = new.get(k)
                    && n != v
                {
                    return Err(story(&format!("{k:?} was {v} and is {n}")));
                }
            }
        }
    }
    Ok(())
}

fn pump_files(folder: &Path, out: &mut Vec<PathBuf>) {
    for e in std::fs::read_dir(folder).expect("the folder is part of the project") {
        let e = e.expect("an entry").path();
        if e.is_dir() {
            pump_files(&e, out);
        } else if e.extension().is_some_and(|x| x == "pump") {
            out.push(e);
        }
    }
}

fn folder(name: &str) -> Files {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../..")
        .join(name);
    let mut paths = Vec::new();
    pump_files(&root, &mut paths);
    paths
        .iter()
        .map(|p| {
            let key = p.strip_prefix(&root).expect("below it").to_string_lossy();
            (
                key.replace('\\', "/"),
                std::fs::read_to_string(p).expect("a spec"),
            )
        })
        .collect()
}

fn parts() -> (String, String) {
    ("parts.pump".to_owned(), "let spare = 1 in\n".to_owned())
}

fn alone(text: &str) -> Files {
    [("example.pump".to_owned(), text.to_owned()), parts()].into()
}

/// The codes whose examples are specs.
fn specs() -> impl Iterator<Item = &'static Code> {
    codes::all()
        .into_iter()
        .filter(|c| c.sample == Sample::Spec)
}

/// Workspaces to spoil, and which of their files.
fn corpus() -> &'static [(Files, String)] {
    static ALL: OnceLock<Vec<(Files, String)>> = OnceLock::new();
    ALL.get_or_init(|| {
        let mut out = Vec::new();
        for c in specs() {
            for text in [c.fires, c.silent] {
                // What nests too deep is nothing to spoil.
                if text.len() < 4000 && c.id != "CW0103" {
                    out.push((alone(text), "example.pump".to_owned()));
                }
            }
        }
        for name in ["demo-data", "examples"] {
            let files = folder(name);
            for path in files.keys() {
                for _ in 0..4 {
                    out.push((files.clone(), path.clone()));
                }
            }
        }
        out
    })
}

#[test]
fn the_laws_hold_for_every_example() {
    let mut wrong = Vec::new();
    for (files, path) in corpus() {
        if path == "example.pump"
            && let Err(e) = laws(files)
        {
            wrong.push(e);
        }
    }
    for name in ["demo-data", "examples"] {
        wrong.extend(laws(&folder(name)).err());
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
}

/// A spec, how far fixes may be trusted, and the spec mended as far as that goes.
const MENDED: &[(&str, FixTier, &str)] = &[
    // Spelling: kinds, fields, names, units, words, functions, columns.
    (
        "rnig r {\n    boer    = 5.502 in\n    runs_on = 5.497 in\n}\n",
        FixTier::NeedsALook,
        "ring r {\n    bore    = 5.502 in\n    runs_on = 5.497 in\n}\n",
    ),
    (
        "requre 3 in >= 2 in\nlett a = 2 in\n",
        FixTier::NeedsALook,
        "require 3 in >= 2 in\nlet a = 2 in\n",
    ),
    (
        "let aa = 5 inn\nlet b  = mx(a, 2 in)\n",
        FixTier::NeedsALook,
        "let aa = 5 in\nlet b  = max(aa, 2 in)\n",
    ),
    // A longer name moves its neighbours' signs along.
    (
        "ring r {\n    bore    = 5.502 in\n    runs_on = 5.497 in\n    clearance_limt = 0.003 .. 0.007 in\n}\n",
        FixTier::NeedsALook,
        "ring r {\n    bore    = 5.502 in\n    runs_on = 5.497 in\n    clearance_limit = 0.003 .. 0.007 in\n}\n",
    ),
    (
        "ring r {\n    bore           = 5.502 in\n    runs_on        = 5.497 in\n    clearance_limt = 0.003 .. 0.007 in\n}\n",
        FixTier::NeedsALook,
        "ring r {\n    bore            = 5.502 in\n    runs_on         = 5.497 in\n    clearance_limit = 0.003 .. 0.007 in\n}\n",
    ),
    (
        "ring r {\n    bore    = 5.502 in\n    runs_on = 5.497 in\n    form    = labyrnth\n}\n",
        FixTier::NeedsALook,
        "ring r {\n    bore    = 5.502 in\n    runs_on = 5.497 in\n    form    = labyrinth\n}\n",
    ),
    (
        "pump p { rating = 500 gpm at 150 psi }\ndrive d {\n    turns      = p\n    gear_ratio = 2.0\n    output (sped rpm, power hp) {\n        1200  190\n        1600  262\n    }\n}\n",
        FixTier::NeedsALook,
        "pump p { rating = 500 gpm at 150 psi }\ndrive d {\n    turns      = p\n    gear_ratio = 2.0\n    output (speed rpm, power hp) {\n        1200  190\n        1600  262\n    }\n}\n",
    ),
    // One possible meaning: safe.
    (
        "site { altitude = 820 FT }\n",
        FixTier::Safe,
        "site { altitude = 820 ft }\n",
    ),
    (
        "site { altitude = 820 fft }\n",
        FixTier::Safe,
        "site { altitude = 820 fft }\n",
    ),
    (
        "ring r {\n    bore    = 5.502 in\n    runs_on = 5.497 in\n    form    = \"plain\"\n}\n",
        FixTier::Safe,
        "ring r {\n    bore    = 5.502 in\n    runs_on = 5.497 in\n    form    = plain\n}\n",
    ),
    (
        "let m = supply_3.diameter\n",
        FixTier::Safe,
        "let m = std.supply_3.diameter\n",
    ),
    // Tolerances: signs say which deviation is the upper one; the unit stands behind the value.
    (
        "let a = 5 in (-0.001/+0.002)\nlet b = 5 in (-0.0010/0 in)\n",
        FixTier::Safe,
        "let a = 5 in (+0.002/-0.001)\nlet b = 5 in (+0/-0.0010 in)\n",
    ),
    (
        "let a = 5 in (+0.001/+0.002)\n",
        FixTier::Safe,
        "let a = 5 in (+0.001/+0.002)\n",
    ),
    (
        "let a = 5 in (-0.002/-0.001)\n",
        FixTier::NeedsALook,
        "let a = 5 in (-0.001/-0.002)\n",
    ),
    (
        "ring r {\n    bore    = 5.502 ± 0.0005 in // turned\n    runs_on = 5.497 (+0/-0.001 in)\n}\n",
        FixTier::Safe,
        "ring r {\n    bore    = 5.502 in ± 0.0005 // turned\n    runs_on = 5.497 in (+0/-0.001)\n}\n",
    ),
    (
        "let a = 5.502 ± 0.0005 in\n",
        FixTier::NeedsALook,
        "let a = 5.502 in ± 0.0005\n",
    ),
    // Ranges: the same slip may be one of a digit.
    (
        "let a = 0.007 .. 0.003 in\n",
        FixTier::Safe,
        "let a = 0.007 .. 0.003 in\n",
    ),
    (
        "let a = 0.007 .. 0.003 in\nlet b = 1 in .. 2 mm\n",
        FixTier::NeedsALook,
        "let a = 0.003 .. 0.007 in\nlet b = 2 mm .. 1 in\n",
    ),
    // Units: the same flow in the other's gallon (1 imperial gallon is 4.54609 L, a US gallon 231 in³), the same vacuum
    // as gauge pressure (1 inHg is 0.49115420 psi), a unit that is missing or not wanted.
    (
        "let a = 500 gpm + 100 igpm\nlet b = max(10 igpm, 1 gpm)\nrequire 100 gpm >= 10 igpm\n",
        FixTier::NeedsALook,
        "let a = 500 gpm + 120.095 gpm\nlet b = max(10 igpm, 0.8326742 igpm)\nrequire 100 gpm >= 12.0095 gpm\n",
    ),
    (
        "site { altitude = 820 }\n",
        FixTier::NeedsALook,
        "site { altitude = 820 in }\n",
    ),
    (
        "impeller i {\n    outside_diameter = 9.25 in\n    vanes            = 5 in\n}\n",
        FixTier::NeedsALook,
        "impeller i {\n    outside_diameter = 9.25 in\n    vanes            = 5\n}\n",
    ),
    (
        "water { temperature = 62 delta_degF }\nsupply s { hydrant { static_pressure = 11 inHg_vac } }\n",
        FixTier::NeedsALook,
        "water { temperature = 62 degF }\nsupply s { hydrant {\n    static_pressure = -5.402696 psi\n    residual = 0 psi at 0 gpm\n} }\n",
    ),
    // Dates with day and month the other way round.
    (
        "let d = 2026-14-05\n",
        FixTier::NeedsALook,
        "let d = 2026-05-14\n",
    ),
    (
        "let d = 2026-02-30\n",
        FixTier::NeedsALook,
        "let d = 2026-02-30\n",
    ),
    // What must be given is put in as what is a finding itself: never an invented fact.
    (
        "material bronze {}\n",
        FixTier::NeedsALook,
        "material bronze {\n    density = 0 lb/ft^3\n}\n",
    ),
    (
        "pump main { rating = 500 gpm at 150 psi }\ndrive d { gear_ratio = 2 }\n",
        FixTier::NeedsALook,
        "pump main { rating = 500 gpm at 150 psi }\ndrive d {\n    gear_ratio = 2\n    turns      = main\n}\n",
    ),
    (
        "pump p {\n    maximum_speed = 3000 rpm // of the shaft\n    // nothing more is known\n}\n",
        FixTier::NeedsALook,
        "pump p {\n    maximum_speed = 3000 rpm // of the shaft\n    // nothing more is known\n    rating = 0 gpm at 0 psi\n}\n",
    ),
    (
        "supply s { draft { } }\n",
        FixTier::NeedsALook,
        "supply s { draft {\n    lift = to_be_given\n} }\n",
    ),
    // Given twice, computed, not needed: the line goes, a comment behind it stays.
    (
        "site {\n    altitude = 820 ft\n    altitude = 900 ft // surveyed\n}\n",
        FixTier::NeedsALook,
        "site {\n    altitude = 820 ft\n    // surveyed\n}\n",
    ),
    (
        "site { altitude = 820 ft; altitude = 900 ft }\n",
        FixTier::NeedsALook,
        "site { altitude = 820 ft }\n",
    ),
    (
        "site {\n    altitude = 820 ft\n    /// Surveyed.\n    altitude = 900 ft\n}\n",
        FixTier::NeedsALook,
        "site {\n    altitude = 820 ft\n    /// Surveyed.\n    altitude = 900 ft\n}\n",
    ),
    (
        "ring r {\n    bore      = 5.502 in\n    runs_on   = 5.497 in\n    clearance = 0.005 in\n}\n",
        FixTier::NeedsALook,
        "ring r {\n    bore    = 5.502 in\n    runs_on = 5.497 in\n}\n",
    ),
    (
        "//! A rig.\n\nuse \"parts.pump\" as parts\n\nlet x = 1 in\n",
        FixTier::Safe,
        "//! A rig.\n\nlet x = 1 in\n",
    ),
    (
        "//! Not in the layout.\nuse \"parts.pump\" as parts\n\nlet x  = 1 in\n",
        FixTier::Safe,
        "//! Not in the layout.\n\nlet x  = 1 in\n",
    ),
    (
        "let y  = 1 in\n\nuse \"parts.pump\" as parts\n\nlet x  = 1 in\n",
        FixTier::Safe,
        "let y  = 1 in\n\nlet x  = 1 in\n",
    ),
    (
        "use \"parts.pump\" as parts // for later\nlet x = 1 in\n",
        FixTier::Safe,
        "// for later\nlet x = 1 in\n",
    ),
    // Rows in order, each with its comments.
    (
        "pump p { rating = 500 gpm at 150 psi }\ndrive d {\n    turns      = p\n    gear_ratio = 2.0\n    output (speed rpm, power hp) {\n        // the whole load\n        2000  300 // read twice\n        1200  190\n        // half way\n        1600  262 // noisy\n    }\n}\n",
        FixTier::NeedsALook,
        "pump p { rating = 500 gpm at 150 psi }\ndrive d {\n    turns      = p\n    gear_ratio = 2.0\n    output (speed rpm, power hp) {\n        1200  190\n        // half way\n        1600  262 // noisy\n        // the whole load\n        2000  300 // read twice\n    }\n}\n",
    ),
    (
        "pump p { rating = 500 gpm at 150 psi }\ndrive d { turns = p; gear_ratio = 2.0; output (speed rpm, power hp) { 1600 262; 1200 190 } }\n",
        FixTier::NeedsALook,
        "pump p { rating = 500 gpm at 150 psi }\ndrive d { turns = p; gear_ratio = 2.0; output (speed rpm, power hp) { 1200 190; 1600 262 } }\n",
    ),
    // The bore moves to the middle of the limits.
    (
        "ring r {\n    bore            = 5.5070 in ± 0.0005\n    runs_on         = 5.4970 in\n    clearance_limit = 0.003 .. 0.007 in\n}\n",
        FixTier::NeedsALook,
        "ring r {\n    bore            = 5.5020 in ± 0.0005\n    runs_on         = 5.4970 in\n    clearance_limit = 0.003 .. 0.007 in\n}\n",
    ),
    (
        "ring r {\n    bore            = 139.75 mm\n    runs_on         = 139.75 mm\n    clearance_limit = 0.08 .. 0.18 mm\n}\n",
        FixTier::NeedsALook,
        "ring r {\n    bore            = 139.88 mm\n    runs_on         = 139.75 mm\n    clearance_limit = 0.08 .. 0.18 mm\n}\n",
    ),
    (
        "ring r {\n    bore            = 5.5005 in ± 0.0008\n    runs_on         = 5.4970 in\n    clearance_limit = 0.003 .. 0.007 in\n}\n",
        FixTier::NeedsALook,
        "ring r {\n    bore            = 5.5020 in ± 0.0008\n    runs_on         = 5.4970 in\n    clearance_limit = 0.003 .. 0.007 in\n}\n",
    ),
    // A point of a procedure.
    (
        "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date      = 2026-05-14\n    readings (point, flow gpm, discharge psi, intake_vacuum inHg, held min) { capcity 500 155 8 20 }\n}\n",
        FixTier::NeedsALook,
        "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date      = 2026-05-14\n    readings (point, flow gpm, discharge psi, intake_vacuum inHg, held min) { capacity 500 155 8 20 }\n}\n",
    ),
    // An acceptance: what it speaks of is misspelt; it accepts nothing any more.
    (
        "let width = 3.001 in ± 0.002\nrequire width >= 3 in\naccept CW0502 on widht because \"measured each time\"\n",
        FixTier::NeedsALook,
        "let width = 3.001 in ± 0.002\nrequire width >= 3 in\naccept CW0502 on width because \"measured each time\"\n",
    ),
    (
        "let width = 3.003 in ± 0.002\nrequire width >= 3 in\naccept CW0502 on width because \"measured each time\"\n",
        FixTier::Safe,
        "let width = 3.003 in ± 0.002\nrequire width >= 3 in\n",
    ),
    // A parameter of a pattern; a word where a text is.
    (
        "ring seal(hub) {\n    bore    = hub + 0.005 in\n    runs_on = hub\n}\nring intake like seal(hbu = 5.497 in) {}\n",
        FixTier::NeedsALook,
        "ring seal(hub) {\n    bore    = hub + 0.005 in\n    runs_on = hub\n}\nring intake like seal(hub = 5.497 in) {}\n",
    ),
    (
        "let t = \"bronze\"\nrequire t is bronze\n",
        FixTier::NeedsALook,
        "let t = \"bronze\"\nrequire t is \"bronze\"\n",
    ),
    // Limits are never widened by a fix.
    (
        "ring r {\n    bore            = 5.5020 in ± 0.003\n    runs_on         = 5.4970 in\n    clearance_limit = 0.003 .. 0.007 in\n}\n",
        FixTier::ShowOnly,
        "ring r {\n    bore            = 5.5020 in ± 0.003\n    runs_on         = 5.4970 in\n    clearance_limit = 0.003 .. 0.007 in\n}\n",
    ),
    // Syntax.
    (
        "require 3 in >= 2 in \"so it is\"\nsite { altitude 820 ft }\n",
        FixTier::NeedsALook,
        "require 3 in >= 2 in because \"so it is\"\nsite { altitude = 820 ft }\n",
    ),
    (
        "site { altitude = 820 ft\n",
        FixTier::NeedsALook,
        "site {\n    altitude = 820 ft\n}\n",
    ),
    // Line ends and the byte order mark stay as they are.
    (
        "\u{feff}material bronze {\r\n    // cast\r\n}\r\n",
        FixTier::NeedsALook,
        "\u{feff}material bronze {\r\n    // cast\r\n    density = 0 lb/ft^3\r\n}\r\n",
    ),
];

#[test]
fn fixes_mend_what_they_say() {
    let mut wrong = Vec::new();
    for (text, most, expected) in MENDED {
        let (db, done) = mended(&alone(text), *most);
        let new = db.text(db.file("example.pump").unwrap());
        if **new != **expected {
            wrong.push(format!(
                "{text}\nis mended to\n{new}\nand not to\n{expected}\n{:#?}",
                done.left
            ));
        }
        wrong.extend(laws(&alone(text)).err());
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
}

#[test]
fn every_tier_a_page_speaks_of_is_offered_somewhere_and_no_other() {
    let mut offered: BTreeMap<&str, Vec<FixTier>> = BTreeMap::new();
    let texts = specs().map(|c| c.fires);
    for text in texts.chain(MENDED.iter().map(|m| m.0)) {
        let db = db_of(&alone(text));
        for f in db.findings(db.file("example.pump").unwrap()) {
            if let Some(fix) = f.fix {
                offered.entry(f.code.id).or_default().push(fix.tier);
            }
        }
    }
    let mut wrong = Vec::new();
    for c in specs() {
        let has = offered.get(c.id).map_or(&[][..], Vec::as_slice);
        for t in c.fixes.iter().filter(|t| !has.contains(t)) {
            wrong.push(format!(
                "{} is said to have a fix ({t:?}) and has none",
                c.id
            ));
        }
        for t in has.iter().filter(|t| !c.fixes.contains(t)) {
            wrong.push(format!(
                "the page of {} says nothing of its fix ({t:?})",
                c.id
            ));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

// ---- texts spoilt at random ----------------------------------------------------------------------------------------

#[derive(Clone, Debug)]
enum Spoil {
    /// A word loses, doubles or turns letters.
    Word(usize, u8),
    /// A word is written in capitals.
    Capitals(usize),
    /// A word is replaced by a unit.
    Unit(usize, usize),
    /// Two neighbouring lines change places.
    Swap(usize),
    Drop(usize),
    Double(usize),
    /// A comment behind a line.
    Comment(usize),
    /// A comment on a line of its own.
    Above(usize),
    /// A number turns its sign.
    Sign(usize),
    /// A number or unit goes.
    Token(usize),
    /// A piece is put in before a token.
    Insert(usize, usize),
    /// All lines end in another way.
    LineEnds,
    Mark,
}

const UNITS: &[&str] = &[
    "in", "mm", "inn", "psi", "psia", "psig", "inHg", "gpm", "igpm", "ft", "PSI", "Gpm", "degF",
    "lb", "lbf", "%", "rpm", "Hz",
];

const PIECES: &[&str] = &[
    "5 in (-0.001/+0.002) ",
    "(-0.001/+0.002 in) ",
    "± 0.001 in ",
    ".. 0.001 in ",
    "\"plain\" ",
    "= ",
    "{ ",
    "} ",
    "\" ",
    "\nuse \"parts.pump\" as parts\n",
    "\nlet q = 100 gpm + 5 igpm\n",
    "\nring z { bore = 5 in }\n",
    "\nring z { }\n",
    "\nring z { bore = 5 in; bore = 6 in; form = plane }\n",
    "\nlet t = 2026-14-05\n",
    "; ",
    "supply_3 ",
];

fn spoil() -> impl Strategy<Value = Spoil> {
    let n = || 0usize..4000;
    prop_oneof![
        4 => (n(), 0u8..4).prop_map(|(a, b)| Spoil::Word(a, b)),
        1 => n().prop_map(Spoil::Capitals),
        2 => (n(), 0..UNITS.len()).prop_map(|(a, b)| Spoil::Unit(a, b)),
        3 => n().prop_map(Spoil::Swap),
        3 => n().prop_map(Spoil::Drop),
        2 => n().prop_map(Spoil::Double),
        4 => n().prop_map(Spoil::Comment),
        2 => n().prop_map(Spoil::Above),
        1 => n().prop_map(Spoil::Sign),
        1 => n().prop_map(Spoil::Token),
        2 => (n(), 0..PIECES.len()).prop_map(|(a, b)| Spoil::Insert(a, b)),
        1 => Just(Spoil::LineEnds),
        1 => Just(Spoil::Mark),
    ]
}

fn spoilt(text: &str, how: &[Spoil]) -> String {
    let mut text = text.to_owned();
    for (k, s) in how.iter().enumerate() {
        let tokens = lex(&text);
        let pick = |kinds: &[T], n: usize| {
            let list: Vec<_> = tokens.iter().filter(|t| kinds.contains(&t.kind)).collect();
            (!list.is_empty()).then(|| list[n % list.len()].span.range())
        };
        let lines = || -> Vec<String> { text.split('\n').map(str::to_owned).collect() };
        match s {
            Spoil::Word(n, way) => {
                if let Some(at) = pick(&[T::Word], *n) {
                    let mut w: Vec<char> = text[at.clone()].chars().collect();
                    let p = n % w.len();
                    match way {
                        0 if w.len() > 1 => {
                            w.remove(p);
                        }
                        1 => w.insert(p, w[p]),
                        2 if p + 1 < w.len() => w.swap(p, p + 1),
                        _ => w.push('x'),
                    }
                    text.replace_range(at, &w.into_iter().collect::<String>());
                }
            }
            Spoil::Capitals(n) => {
                if let Some(at) = pick(&[T::Word], *n) {
                    let w = text[at.clone()].to_ascii_uppercase();
                    text.replace_range(at, &w);
                }
            }
            Spoil::Unit(n, u) => {
                if let Some(at) = pick(&[T::Word], *n) {
                    text.replace_range(at, UNITS[*u]);
                }
            }
            Spoil::Swap(n) => {
                let mut l = lines();
                if l.len() > 1 {
                    let p = n % (l.len() - 1);
                    l.swap(p, p + 1);
                }
                text = l.join("\n");
            }
            Spoil::Drop(n) => {
                let mut l = lines();
                let p = n % l.len();
                l.remove(p);
                text = l.join("\n");
            }
            Spoil::Double(n) => {
                let mut l = lines();
                let p = n % l.len();
                l.insert(p, l[p].clone());
                text = l.join("\n");
            }
            Spoil::Comment(n) => {
                let mut l = lines();
                let p = n % l.len();
                let end = l[p].trim_end_matches('\r').len();
                l[p].insert_str(end, &format!(" // c{k}"));
                text = l.join("\n");
            }
            Spoil::Above(n) => {
                let mut l = lines();
                let p = n % l.len();
                l.insert(p, format!("    /// d{k}").split_off(k % 2));
                text = l.join("\n");
            }
            Spoil::Sign(n) => {
                if let Some(at) = pick(&[T::Number], *n) {
                    text.insert(at.start, '-');
                }
            }
            Spoil::Token(n) => {
                if let Some(at) = pick(
                    &[
                        T::Number,
                        T::Word,
                        T::Equals,
                        T::LBrace,
                        T::RBrace,
                        T::Text,
                        T::Star,
                    ],
                    *n,
                ) {
                    text.replace_range(at, "");
                }
            }
            Spoil::Insert(n, p) => {
                let at = match tokens.get(n % (tokens.len() + 1)) {
                    Some(t) => t.span.start as usize,
                    None => text.len(),
                };
                text.insert_str(at, PIECES[*p]);
            }
            Spoil::LineEnds => text = text.replace("\r\n", "\n").replace('\n', "\r\n"),
            Spoil::Mark => {
                if !text.starts_with('\u{feff}') {
                    text.insert(0, '\u{feff}');
                }
            }
        }
    }
    text
}

proptest! {
    #![proptest_config(ProptestConfig { cases: std::env::var("CUTWATER_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(200), max_shrink_iters: 400, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn the_laws_hold_for_spoilt_texts(which in any::<prop::sample::Index>(), how in prop::collection::vec(spoil(), 1..7)) {
        let (files, path) = &corpus()[which.index(corpus().len())];
        // Files that have no part in it cost time and show nothing.
        let mut files = files.clone();
        if files.len() > 2 && how.len() % 3 != 0 {
            let text = files[path].clone();
            let named = |p: &String| p == path || text.contains(p.rsplit('/').next().unwrap_or(p));
            files.retain(|p, _| named(p));
        }
        let text = spoilt(&files[path], &how);
        files.insert(path.clone(), text);
        if let Err(e) = laws(&files) {
            return Err(TestCaseError::fail(e));
        }
    }
}
