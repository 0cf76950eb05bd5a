//! The project file by the command: what is wrong with it, what holds where, acceptances, and the baseline.

use cutwater_tests::{Folder, Ran};
use proptest::prelude::*;
use serde_json::Value;

const GOOD: &str = "let x = 3 in\n";
const BAD: &str = "let x = 3 inn\n";
/// Holds nominally and not at worst: a warning. 3.001 - 0.002 < 3.
const TIGHT: &str = "let a = 3.001 in ± 0.002\nrequire a >= 3 in\n";

/// A duty whose hold lies far above what the pump makes. Invented numbers.
const UNMET: &str = "pump main {
    rating = 1000 gpm at 150 psi
    curve at 3000 rpm (flow gpm, net psi, power hp) {
           0  188   66
         400  182   92
        1000  152  132
        1400  117  150
    }
}
supply tank { tank { level = 4 ft   loss = 4 psi at 500 gpm } }
lay one { main.discharge -> 200 ft of std.attack_2_1_2 -> tip: std.smooth_15_16 }
duty attack {
    supply = tank
    lay    = one
    hold tip.pressure = 900 psi
}
";

fn snapshot(name: &str, ran: &Ran) {
    assert_eq!(ran.err, "", "a finding is no failure");
    insta::with_settings!({ snapshot_path => "../snapshots", prepend_module_to_snapshot => false, omit_expression => true }, {
        insta::assert_snapshot!(name, ran.out);
    });
}

fn json(ran: &Ran) -> Value {
    serde_json::from_str(&ran.out).unwrap_or_else(|e| panic!("{e}: {ran:?}"))
}

// ---- what is wrong with it -----------------------------------------------------------------------

#[test]
fn every_mistake_in_the_project_file_is_a_finding_with_its_place() {
    let folder = Folder::new(&[
        ("spec.pump", GOOD),
        (
            "cutwater.toml",
            "# ours\nfail_on = \"warning\"\nunits = \"metrics\"\nfail_at = 3\nbaseline = \"../known.json\"\n\n[levels]\nunknown-units = \"off\"\nCW99 = \"off\"\nCW0502 = \"of\"\nCW0301 = \"off\"\nunknown-unit = \"error\"\n\n[[folder]]\nunits = \"us\"\n\n[[folder]]\npath = \"old[\"\n",
        ),
    ]);
    let ran = folder.run(&["check"]);
    assert_eq!(ran.code, 1);
    snapshot("settings-mistakes", &ran);
}

#[test]
fn what_was_understood_of_a_broken_project_file_holds() {
    let folder = Folder::new(&[
        ("spec.pump", TIGHT),
        (
            "cutwater.toml",
            "fail_at = warning\n[levels]\nCW0502 = \"off\"\n",
        ),
    ]);
    let ran = folder.run(&["check"]);
    assert_eq!(ran.code, 1);
    assert!(
        ran.out.contains("CW0601") && !ran.out.contains("CW0502"),
        "{}",
        ran.out
    );
    // The exit code follows the findings: here they are warnings.
    folder.write(
        "cutwater.toml",
        b"unit = \"us\"\n[levels]\nCW06 = \"warning\"\n",
    );
    assert_eq!(folder.run(&["check"]).code, 0);
    let doc = json(&folder.run(&["check", "--format", "json"]));
    let f = &doc["findings"][0];
    assert_eq!(
        (&f["code"], &f["file"], &f["line"]),
        (&"CW0602".into(), &"cutwater.toml".into(), &1.into())
    );
    assert_eq!(doc["summary"]["files"], 1, "specs alone are counted");
}

#[test]
fn a_project_file_that_is_no_text_is_a_finding() {
    let folder = Folder::new(&[("spec.pump", GOOD)]);
    folder.write("cutwater.toml", b"units = \"\xff\"\n");
    let ran = folder.run(&["check"]);
    assert_eq!(ran.code, 1);
    assert!(ran.out.contains("is not UTF-8 text: byte 9"), "{}", ran.out);
    // Laying out needs no settings.
    assert_eq!(folder.run(&["format", "--check"]).code, 0);
}

#[test]
fn the_published_schema_and_the_command_judge_alike() {
    let path = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../grammar/cutwater-toml.schema.json"
    );
    let schema: Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    let schema = jsonschema::validator_for(&schema).unwrap();
    let folder = Folder::new(&[("a/spec.pump", GOOD)]);
    for (text, sound) in [
        ("", true),
        ("units = \"us\"\nfail_at = \"error\"\n", true),
        ("units = \"metrics\"\n", false),
        ("unit = \"us\"\n", false),
        ("fail_at = 3\n", false),
        ("baseline = \"\"\n", false),
        (
            "[levels]\nCW0301 = \"off\"\nunknown-unit2 = \"off\"\n",
            false,
        ),
        ("[levels]\nCW17 = \"off\"\ncavitation = \"error\"\n", true),
        ("[levels]\nCW17 = \"of\"\n", false),
        ("levels = \"off\"\n", false),
        (
            "[[folder]]\npath = \"a\"\nunits = \"us\"\n[folder.levels]\nCW03 = \"off\"\n",
            true,
        ),
        ("[[folder]]\nunits = \"us\"\n", false),
        ("[[folder]]\npath = \"a\"\nbaseline = \"x\"\n", false),
        ("[folder]\npath = \"a\"\n", false),
    ] {
        let value: toml::Table = text.parse().unwrap();
        let value = serde_json::to_value(value).unwrap();
        assert_eq!(schema.is_valid(&value), sound, "schema: {text}");
        folder.write("cutwater.toml", text.as_bytes());
        let ran = folder.run(&["check"]);
        assert_eq!(ran.code == 0, sound, "check: {text}: {}", ran.out);
    }
}

#[test]
fn a_folder_that_is_not_there_is_told() {
    let folder = Folder::new(&[
        ("old-fleet/a.pump", GOOD),
        (
            "cutwater.toml",
            "[[folder]]\npath = \"old-flet\"\nunits = \"metric\"\n[[folder]]\npath = \"./old-fleet/\"\n[[folder]]\npath = \"*/later\"\n",
        ),
    ]);
    let ran = folder.run(&["check", "--format", "concise"]);
    assert_eq!(ran.code, 0);
    let says = "cutwater.toml:2:8: warning[CW0611 settings-no-folder] there is no folder `old-flet` in the workspace";
    assert!(ran.out.starts_with(says), "{}", ran.out);
    assert!(ran.out.contains("1 warning in 1 file"), "{}", ran.out);
}

// ---- what holds where ----------------------------------------------------------------------------

#[test]
fn a_folder_has_levels_units_and_a_failing_level_of_its_own() {
    let folder = Folder::new(&[
        ("new/a.pump", TIGHT),
        ("old/a.pump", TIGHT),
        (
            "cutwater.toml",
            "fail_at = \"warning\"\n[[folder]]\npath = \"old\"\nfail_at = \"error\"\n",
        ),
    ]);
    assert_eq!(folder.run(&["check"]).code, 1);
    assert_eq!(folder.run(&["check", "old"]).code, 0);
    assert_eq!(folder.run(&["check", "new"]).code, 1);
    assert_eq!(
        folder
            .run(&["check", "--config", "fail_at=warning", "old"])
            .code,
        1
    );
    folder.write(
        "cutwater.toml",
        b"[[folder]]\npath = \"old\"\nlevels = { CW05 = \"off\" }\nunits = \"metric\"\n",
    );
    let ran = folder.run(&["check", "--format", "concise"]);
    assert!(
        ran.out.contains("new/a.pump") && !ran.out.contains("old/a.pump"),
        "{}",
        ran.out
    );
    let area = "let a = 2 in\nlet b = a * a * a / a\nlet c = b / a * 1 m\n";
    folder.write("new/b.pump", area.as_bytes());
    folder.write("old/b.pump", area.as_bytes());
    let doc = json(&folder.run(&["solve", "--format", "json"]));
    let unit = |file: &str| {
        let rows = doc["results"].as_array().unwrap();
        let row = rows.iter().find(|r| r["file"] == file && r["path"] == "b");
        row.map(|r| r["unit"].clone())
    };
    assert_eq!(unit("new/b.pump"), Some("in²".into()));
    assert_eq!(unit("old/b.pump"), Some("mm²".into()));
}

#[test]
fn effective_settings_are_shown_with_their_origins() {
    let folder = Folder::new(&[
        ("old/a.pump", GOOD),
        (
            "cutwater.toml",
            "units = \"imperial\"\n\n[levels]\nCW05 = \"error\"\n\n[[folder]]\npath = \"old\"\nunits = \"metric\"\nlevels = { requirement-within-tolerance = \"off\" }\n",
        ),
    ]);
    let ran = folder.run(&["settings", "old/a.pump", "--config", "fail_at=advice"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    snapshot("settings-shown", &ran);
    let doc = json(&folder.run(&["settings", "old", "--format", "json"]));
    assert_eq!(doc["settings"]["units"]["value"], "metric");
    assert_eq!(doc["settings"]["units"]["from"]["line"], 8);
    let level = |code: &str| {
        let list = doc["levels"].as_array().unwrap();
        list.iter()
            .find(|l| l["code"] == code)
            .map(|l| l["level"].clone())
    };
    assert_eq!(level("CW0502"), Some("off".into()));
    assert_eq!(level("CW0501"), Some("error".into()));
    assert_eq!(level("CW1205"), Some("advice".into()));
    assert_eq!(
        json(&folder.run(&["settings", "--format", "json"]))["settings"]["units"]["value"],
        "imperial"
    );
    assert_eq!(folder.run(&["settings", "none"]).code, 2);
    folder.write("cutwater.toml", b"unit = 3\n");
    let ran = folder.run(&["settings"]);
    assert_eq!(ran.code, 1);
    assert!(
        ran.out.contains("CW0602") && ran.out.contains("built in"),
        "{}",
        ran.out
    );
}

// ---- acceptances ---------------------------------------------------------------------------------

#[test]
fn an_accepted_finding_is_counted_and_does_not_fail() {
    let text = format!("{TIGHT}accept CW0502 on a because \"each is measured\" until 2027-03-31\n");
    let folder = Folder::new(&[
        ("spec.pump", &text),
        ("cutwater.toml", "fail_at = \"advice\"\n"),
    ]);
    let ran = folder.run(&["check", "--today", "2027-03-31"]);
    assert_eq!(
        (ran.code, ran.out.as_str()),
        (0, "no findings in 1 file; 1 accepted\n")
    );
    let doc = json(&folder.run(&["check", "--today", "2027-03-31", "--format", "json"]));
    assert_eq!(doc["summary"]["accepted"], 1);
    assert_eq!(doc["summary"]["warnings"], 0);
    assert_eq!(
        doc["findings"][0]["accepted"],
        serde_json::json!({ "reason": "each is measured", "until": "2027-03-31" })
    );
    let ran = folder.run(&["check", "--today", "2027-04-01"]);
    assert_eq!(ran.code, 1);
    snapshot("acceptance-expired", &ran);
    let ran = folder.run(&["check", "--today", "2027-02-30"]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("2026-05-14"), "{}", ran.err);
}

#[test]
fn acceptances_that_are_wrong_are_told() {
    let folder = Folder::new(&[(
        "spec.pump",
        "let a = 3.001 in ± 0.002
let b = 4.001 in ± 0.002
require a >= 3 in
require b >= 4 in
accept CW0502 because \"each is measured\"
accept CW0520 because \"a slip\"
accept CW0301 because \"we say inn\"
accept CW0501 because \"  \"
accept CW0501 on c because \"no such rule\"

impeller wheel {
    outside_diameter = 9.25 in
    accept CW1203 on exit_widht because \"old pattern\"
}
",
    )]);
    let ran = folder.run(&["check"]);
    assert_eq!(ran.code, 1);
    snapshot("acceptances-wrong", &ran);
}

#[test]
fn a_duty_without_a_solution_cannot_be_accepted() {
    let ran = cutwater_tests::check(&UNMET.replace(
        "900 psi\n",
        "900 psi\n    accept CW1612 because \"a wish\"\n",
    ));
    assert_eq!(ran.code, 3);
    assert!(
        ran.out.contains("CW1612") && ran.out.contains("CW0702"),
        "{}",
        ran.out
    );
}

// ---- the baseline --------------------------------------------------------------------------------

#[test]
fn an_old_fleet_fails_only_on_what_is_new() {
    let folder = Folder::new(&[
        ("a.pump", BAD),
        ("sub/b.pump", "site { altitude = 820 }\n"),
        ("cutwater.toml", "baseline = \"known.json\"\n"),
    ]);
    // Named and not there yet.
    let ran = folder.run(&["check"]);
    assert_eq!(ran.code, 2);
    assert!(
        ran.err.contains("there is no baseline `known.json`")
            && ran.err.contains("--write-baseline"),
        "{}",
        ran.err
    );
    let ran = folder.run(&["check", "--write-baseline"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    assert_eq!(
        ran.out,
        "no findings in 2 files; 2 known\nnote: 2 findings are known now: known.json\n"
    );
    assert_eq!(
        folder.read("known.json"),
        "{\n  \"version\": 1,\n  \"findings\": [\n    {\"file\": \"a.pump\", \"code\": \"CW0301\", \"subject\": \"x\", \"count\": 1},\n    {\"file\": \"sub/b.pump\", \"code\": \"CW0302\", \"subject\": \"site.altitude\", \"count\": 1}\n  ]\n}\n"
    );
    assert_eq!(folder.run(&["check"]).code, 0);
    assert_eq!(folder.run(&["solve"]).code, 0);
    assert_eq!(folder.run(&["check", "--no-baseline"]).code, 1);
    // Moved, and with another number: known still.
    folder.write("a.pump", "// a line more\n\nlet x = 4.5 inn\n".as_bytes());
    assert_eq!(folder.run(&["check"]).code, 0);
    // New: fails, and only it is shown.
    folder.write("a.pump", "let x = 4.5 inn\nlet y = 2 inn\n".as_bytes());
    let ran = folder.run(&["check", "--format", "concise"]);
    assert_eq!(ran.code, 1);
    assert!(
        ran.out
            .starts_with("a.pump:2:11: error[CW0301 unknown-unit]"),
        "{}",
        ran.out
    );
    assert!(
        ran.out.ends_with("1 error in 2 files; 2 known\n"),
        "{}",
        ran.out
    );
    let shown = folder.run(&["check", "--show-known", "--format", "concise"]);
    assert!(
        shown.out.starts_with("a.pump:1:13: known error[CW0301"),
        "{}",
        shown.out
    );
    let doc = json(&folder.run(&["check", "--format", "json"]));
    assert_eq!(doc["findings"][0]["known"], true);
    assert_eq!(doc["findings"][1].get("known"), None);
    // Mended: told, and taken out on demand.
    folder.write("a.pump", GOOD.as_bytes());
    std::fs::remove_file(folder.path().join("sub/b.pump")).unwrap();
    let ran = folder.run(&["check"]);
    assert_eq!(ran.code, 0);
    snapshot("baseline-outdated", &ran);
    assert_eq!(folder.run(&["check", "--config", "fail_at=advice"]).code, 1);
    let ran = folder.run(&["check", "--prune-baseline"]);
    assert_eq!(
        (ran.code, ran.out.as_str()),
        (
            0,
            "no findings in 1 file\nnote: 2 findings taken out of known.json\n"
        )
    );
    assert_eq!(folder.run(&["check", "--config", "fail_at=advice"]).code, 0);
}

#[test]
fn only_entries_of_files_looked_at_are_replaced() {
    let folder = Folder::new(&[("a.pump", BAD), ("b.pump", BAD)]);
    assert_eq!(folder.run(&["check", "--write-baseline"]).code, 0);
    folder.write("a.pump", GOOD.as_bytes());
    let ran = folder.run(&["check", "a.pump", "--write-baseline"]);
    assert!(ran.out.contains("0 findings are known now"), "{}", ran.out);
    assert!(
        ran.out.contains("1 of files not looked at stays in it"),
        "{}",
        ran.out
    );
    assert!(
        ran.out.contains("--baseline cutwater-baseline.json"),
        "{}",
        ran.out
    );
    let known = folder.read("cutwater-baseline.json");
    assert!(
        known.contains("b.pump") && !known.contains("a.pump"),
        "{known}"
    );
    let with = ["check", "--baseline", "cutwater-baseline.json"];
    assert_eq!(folder.run(&with).code, 0);
    // A duty without a solution can be known as anything else; one that is new has its own exit code.
    folder.write("duty.pump", UNMET.as_bytes());
    assert_eq!(folder.run(&with).code, 3);
    assert_eq!(folder.run(&["check", "--write-baseline"]).code, 0);
    assert_eq!(folder.run(&with).code, 0);
    // What is accepted is not written down.
    let text = format!("{TIGHT}accept CW0502 because \"measured\"\n");
    folder.write("a.pump", text.as_bytes());
    folder.run(&["check", "--write-baseline"]);
    assert!(!folder.read("cutwater-baseline.json").contains("CW0502"));
}

#[test]
fn a_broken_baseline_is_told_and_never_written_over() {
    let folder = Folder::new(&[
        ("a.pump", BAD),
        ("cutwater.toml", "baseline = \"known.json\"\n"),
    ]);
    for (text, says) in [
        ("<<<<<<< ours\n", "line 1: expected value"),
        ("{\"version\": 9, \"findings\": []}\n", "version 9"),
        (
            "{\n  \"version\": 1,\n  \"findings\": [\n    {\"file\": \"a.pump\"}\n  ]\n}\n",
            "line 4: missing field",
        ),
        ("let x = 3 in\n", "line 1: expected value"),
    ] {
        folder.write("known.json", text.as_bytes());
        for args in [
            &["check"][..],
            &["solve"],
            &["check", "--write-baseline"],
            &["check", "--prune-baseline"],
        ] {
            let ran = folder.run(args);
            assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{args:?}: {ran:?}");
            assert!(
                ran.err.contains("`known.json` is no baseline") && ran.err.contains(says),
                "{}",
                ran.err
            );
        }
        assert_eq!(folder.read("known.json"), text);
    }
    folder.write("known.json", b"\xff\xfe");
    assert!(folder.run(&["check"]).err.contains("is not UTF-8"));
    for (args, says) in [
        (
            &["check", "--no-baseline", "--prune-baseline"][..],
            "cannot be used with",
        ),
        (
            &["check", "--baseline", "none.json"],
            "there is no baseline `none.json`",
        ),
        (&["check", "--baseline", "."], "is a folder"),
        (
            &["check", "--write-baseline=no/such/x.json"],
            "cannot be written",
        ),
    ] {
        let ran = folder.run(args);
        assert_eq!(ran.code, 2, "{args:?}: {ran:?}");
        assert!(ran.err.contains(says), "{args:?}: {}", ran.err);
    }
    let bare = Folder::new(&[("a.pump", GOOD)]);
    let ran = bare.run(&["check", "--prune-baseline"]);
    assert_eq!(ran.code, 2);
    assert!(
        ran.err.contains("there is no baseline to prune"),
        "{}",
        ran.err
    );
}

/// Broken specs, each with at least one error of its own.
const BROKEN: &[(&str, &str)] = &[
    ("unit.pump", "let x = 3 inn\nlet y = 4 inn\n"),
    ("bare.pump", "site { altitude = 820 }\n"),
    (
        "syntax.pump",
        "let gap = \nimpeller w {\n    outside_diameter = = 9 in\n}\n",
    ),
    ("cycle.pump", "let a = b + 1 in\nlet b = a + 1 in\n"),
    ("twice.pump", "let a = 2 in\nlet a = 3 in\n"),
    ("use.pump", "use \"none.pump\" as none\nlet q = none.x\n"),
    (
        "rule.pump",
        "let a = 2 in\nrequire a >= 3 in because \"it must\"\nrequire a >= 4 in\n",
    ),
    ("deep/er/kind.pump", "pmup main { }\npump p { }\n"),
    (
        "accept.pump",
        "accept CW0501 because \"\"\naccept CW9999 because \"x\"\n",
    ),
];

proptest! {
    #![proptest_config(ProptestConfig { cases: std::env::var("CUTWATER_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(12), failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn writing_a_baseline_makes_a_check_pass_and_anything_new_fail(
        some in prop::collection::btree_set(0..BROKEN.len(), 1..BROKEN.len()),
        extra in 0..BROKEN.len(),
    ) {
        let files: Vec<(&str, &str)> = some.iter().map(|k| BROKEN[*k]).collect();
        let folder = Folder::new(&files);
        folder.write("cutwater.toml", b"baseline = \"known.json\"\n");
        prop_assert_eq!(folder.run(&["check", "--no-baseline"]).code, 1);
        let ran = folder.run(&["check", "--write-baseline"]);
        prop_assert_eq!(ran.code, 0, "{:?}", ran);
        let ran = folder.run(&["check"]);
        prop_assert_eq!(ran.code, 0, "{:?}", ran);
        prop_assert!(!ran.out.contains("CW0751"), "{}", ran.out);
        // Written twice it is the same.
        let first = folder.read("known.json");
        folder.run(&["check", "--write-baseline"]);
        prop_assert_eq!(&first, &folder.read("known.json"));
        // The same text in another file, or one line more, is new.
        let (path, text) = BROKEN[extra];
        if some.contains(&extra) {
            folder.write(path, format!("{text}let brand_new = 9 zz\n").as_bytes());
        } else {
            folder.write(path, text.as_bytes());
        }
        let ran = folder.run(&["check"]);
        prop_assert_eq!(ran.code, 1, "{:?}", ran);
    }
}
