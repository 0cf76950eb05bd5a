//! The command line's contract: exit codes, choice of files, formats, the same output every time.

use cutwater_compiler::codes;
use cutwater_tests::{Folder, Ran, binary, check};
use serde_json::Value;
use std::io::{BufRead, BufReader, Read};
use std::process::{Command, Stdio};

const BAD: &str = "let x = 3 inn\n";
const GOOD: &str = "let x = 3 in\n";

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

fn json(ran: &Ran) -> Value {
    serde_json::from_str(&ran.out).unwrap_or_else(|e| panic!("{e}: {}", ran.out))
}

// ---- exit codes ----------------------------------------------------------------------------------

#[test]
fn exit_code_0_where_nothing_is_found() {
    let ran = check(GOOD);
    assert_eq!(
        (ran.code, ran.out.as_str(), ran.err.as_str()),
        (0, "no findings in 1 file\n", "")
    );
}

#[test]
fn exit_code_1_where_something_at_the_failing_level_is_found() {
    assert_eq!(check(BAD).code, 1);
    // A requirement that holds nominally but not at worst: 3.001 - 0.002 < 3.
    let warning = "let a = 3.001 in ± 0.002\nrequire a >= 3 in\n";
    let folder = Folder::new(&[("spec.pump", warning)]);
    let ran = folder.run(&["check"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(ran.out.contains("1 warning in 1 file"), "{}", ran.out);
    folder.write("cutwater.toml", b"fail_at = \"warning\"\n");
    assert_eq!(folder.run(&["check"]).code, 1);
    let strict = folder.run(&["check", "--config", "fail_at=error"]);
    assert_eq!(strict.code, 0, "the command line comes before the file");
    let off = ["check", "--config", "levels.CW0502=off"];
    assert!(folder.run(&off).out.starts_with("no findings"));
}

#[test]
fn exit_code_2_where_the_work_could_not_be_done() {
    let folder = Folder::new(&[("spec.pump", GOOD), ("docs/readme.txt", "")]);
    for (args, says) in [
        (
            vec!["check", "none.pump"],
            "there is no file or folder `none.pump`",
        ),
        (vec!["check", "docs"], "there is no .pump file in `docs`"),
        (vec!["check", "--no-such-flag"], "--no-such-flag"),
        (
            vec!["check", "--config", "fail_at"],
            "there is no `=` in it",
        ),
        (
            vec!["check", "--config", "fail_at=never"],
            "\"error\", \"warning\" or \"advice\"",
        ),
        (
            vec!["check", "--config", "fail=error"],
            "the project file has no setting `fail`; did you mean `fail_at`?",
        ),
        (
            vec!["explain", "unknow-unit"],
            "did you mean `unknown-unit`",
        ),
        (vec!["explain", "zzzzzzzz"], "`cutwater explain` lists them"),
        (
            vec!["format", "none.pump"],
            "there is no file or folder `none.pump`",
        ),
        (vec!["frobnicate"], "frobnicate"),
        (vec![], "Usage"),
    ] {
        let ran = folder.run(&args);
        assert_eq!(ran.code, 2, "{args:?}: {ran:?}");
        assert_eq!(ran.out, "", "{args:?}");
        assert!(ran.err.contains(says), "{args:?}: {}", ran.err);
    }
}

#[test]
fn exit_code_3_where_a_duty_cannot_be_met() {
    let folder = Folder::new(&[("spec.pump", UNMET)]);
    for args in [&["check"][..], &["solve"], &["solve", "--format", "json"]] {
        let ran = folder.run(args);
        assert_eq!(ran.code, 3, "{ran:?}");
        assert!(ran.out.contains("CW1612"), "{}", ran.out);
    }
    // Still 3 with an ordinary error beside it.
    folder.write("other.pump", BAD.as_bytes());
    assert_eq!(folder.run(&["check"]).code, 3);
    let solved = folder.run(&["solve", "--format", "json", "spec.pump"]);
    let rows = json(&solved)["results"].as_array().unwrap().clone();
    assert!(
        !rows
            .iter()
            .any(|r| r["path"].as_str().unwrap().starts_with("attack.")),
        "no numbers of a duty without a solution"
    );
}

#[cfg(unix)]
#[test]
fn exit_code_130_on_an_interrupt() {
    let folder = Folder::new(&[]);
    let mut child = Command::new(binary())
        .args(["check", "-"])
        .current_dir(folder.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    // Standard input is held open, so the command waits until it is interrupted. It is ready once the system
    // lists it as catching SIGINT (bit 1 of SigCgt; proc(5)).
    let status = format!("/proc/{}/status", child.id());
    if std::path::Path::new(&status).exists() {
        loop {
            let text = std::fs::read_to_string(&status).unwrap();
            let mask = text
                .lines()
                .find_map(|l| l.strip_prefix("SigCgt:"))
                .unwrap();
            if u64::from_str_radix(mask.trim(), 16).unwrap() & 0b10 != 0 {
                break;
            }
            assert!(child.try_wait().unwrap().is_none(), "it ended by itself");
            std::thread::yield_now();
        }
        let killed = Command::new("kill")
            .args(["-INT", &child.id().to_string()])
            .status()
            .unwrap();
        assert!(killed.success());
        assert_eq!(child.wait().unwrap().code(), Some(130));
    } else {
        child.kill().unwrap();
        child.wait().unwrap();
    }
}

#[test]
fn help_and_version_are_no_failures() {
    let folder = Folder::new(&[]);
    let ran = folder.run(&["--version"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    assert!(ran.out.starts_with("cutwater 0."), "{}", ran.out);
    for args in [&["--help"][..], &["check", "--help"], &["format", "--help"]] {
        let ran = folder.run(args);
        assert_eq!(ran.code, 0, "{args:?}");
        assert!(ran.out.contains("Usage: cutwater"), "{}", ran.out);
    }
}

// ---- which files ---------------------------------------------------------------------------------

fn files_of(ran: &Ran) -> Vec<String> {
    let mut out: Vec<String> = json(ran)["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| f["file"].as_str().unwrap().to_owned())
        .collect();
    out.dedup();
    out
}

#[test]
fn folders_are_searched_and_ignore_files_obeyed() {
    let folder = Folder::new(&[
        ("a.pump", BAD),
        ("sub/b.pump", BAD),
        ("sub/c.txt", BAD),
        ("old/d.pump", BAD),
        ("drafts/e.pump", BAD),
        ("drafts/keep.pump", BAD),
        (".hidden/f.pump", BAD),
        (".gitignore", "old/\n"),
        (".ignore", "drafts/*\n!drafts/keep.pump\n"),
    ]);
    let all = folder.run(&["check", "--format", "json"]);
    assert_eq!(files_of(&all), ["a.pump", "drafts/keep.pump", "sub/b.pump"]);
    // What is named itself is taken whatever its ending, and even if it is ignored.
    let named = folder.run(&["check", "--format", "json", "sub/c.txt", "old/d.pump"]);
    assert_eq!(files_of(&named), ["old/d.pump", "sub/c.txt"]);
}

#[test]
fn a_file_named_twice_is_checked_once() {
    let folder = Folder::new(&[("a.pump", BAD), ("sub/b.pump", GOOD)]);
    let ran = folder.run(&["check", "a.pump", "./a.pump", ".", "sub/../a.pump"]);
    assert!(ran.out.ends_with("1 error in 2 files\n"), "{}", ran.out);
}

#[test]
fn paths_are_shown_from_the_current_folder() {
    let folder = Folder::new(&[
        ("cutwater.toml", ""),
        ("specs/a.pump", BAD),
        ("here/x.txt", ""),
    ]);
    let mut c = folder.command(&["check", "--format", "concise", "../specs"]);
    let out = c.current_dir(folder.path().join("here")).output().unwrap();
    let text = String::from_utf8(out.stdout).unwrap();
    assert!(text.starts_with("../specs/a.pump:1:11: "), "{text}");
}

#[test]
fn the_workspace_is_the_folder_of_the_nearest_project_file() {
    let folder = Folder::new(&[
        ("cutwater.toml", ""),
        ("parts/hose.pump", "let length = 50 ft\n"),
        (
            "rigs/e1.pump",
            "use \"../parts/hose.pump\" as p\nlet x = p.length\n",
        ),
        ("elsewhere.txt", ""),
    ]);
    // From the rig's own folder the part is reached because the project file stands above both.
    let ran = folder.run(&["check", "rigs/e1.pump"]);
    assert_eq!((ran.code, ran.out.as_str()), (0, "no findings in 1 file\n"));
    std::fs::remove_file(folder.path().join("cutwater.toml")).unwrap();
    let ran = folder.run(&["check", "rigs/e1.pump"]);
    assert!(ran.out.contains("outside-workspace"), "{}", ran.out);
    // Two paths without a project file: what they have in common.
    let ran = folder.run(&["check", "rigs", "parts"]);
    assert_eq!(ran.code, 0, "{ran:?}");
    // A path outside the first one's workspace is refused.
    let two = Folder::new(&[
        ("a/cutwater.toml", ""),
        ("a/x.pump", GOOD),
        ("b/y.pump", GOOD),
    ]);
    let ran = two.run(&["check", "a/x.pump", "b/y.pump"]);
    assert_eq!(ran.code, 2);
    assert!(
        ran.err
            .contains("`b/y.pump` lies outside the workspace `a`"),
        "{}",
        ran.err
    );
    // A project file below the root is not in force, and that is said.
    let ran = two.run(&["check"]);
    assert_eq!(ran.code, 0);
    assert!(
        ran.out.contains("a/cutwater.toml is not in force here"),
        "{}",
        ran.out
    );
}

#[test]
fn findings_of_files_brought_in_are_not_lost_silently() {
    let folder = Folder::new(&[
        ("parts/x.pump", "let length = 50 ft\nlet bad = 3 inn\n"),
        ("e1.pump", "use \"parts/x.pump\" as p\nlet l = p.length\n"),
    ]);
    let ran = folder.run(&["check", "e1.pump"]);
    assert_eq!(ran.code, 0);
    assert_eq!(
        ran.out,
        "no findings in 1 file\nnote: 1 file brought in by `use` has findings of its own: parts/x.pump\n"
    );
    let doc = json(&folder.run(&["check", "e1.pump", "--format", "json"]));
    assert_eq!(
        doc["summary"]["brought_in_with_findings"][0],
        "parts/x.pump"
    );
    assert_eq!(folder.run(&["check"]).code, 1);
}

#[test]
fn standard_input_goes_by_the_name_given() {
    let folder = Folder::new(&[
        ("parts/x.pump", "let length = 50 ft\n"),
        ("rigs/e.pump", BAD),
    ]);
    let ran = folder.run_with(&["check", "-", "--format", "concise"], BAD);
    assert_eq!(ran.code, 1);
    assert!(ran.out.starts_with("stdin.pump:1:11: "), "{}", ran.out);
    folder.write("cutwater.toml", b"");
    let text = "use \"../parts/x.pump\" as p\nlet l = p.length\nlet m = 3 inn\n";
    let args = [
        "check",
        "-",
        "--stdin-name",
        "rigs/e.pump",
        "--format",
        "concise",
    ];
    let ran = folder.run_with(&args, text);
    // It stands in for the file of that name, which has its error in line 1.
    assert!(ran.out.starts_with("rigs/e.pump:3:11: "), "{}", ran.out);
    assert!(ran.out.ends_with("1 error in 1 file\n"), "{}", ran.out);
    let both = folder.run_with(&["check", ".", "-", "--stdin-name", "rigs/e.pump"], GOOD);
    assert_eq!(both.out, "no findings in 2 files\n");
}

#[test]
fn a_folder_of_the_librarys_name_is_an_ordinary_folder() {
    let folder = Folder::new(&[
        ("cutwater.toml", ""),
        ("std/hose.pump", BAD),
        (
            "a.pump",
            "lay l { }\nhose h like std.supply_3 { length = 100 ft }\n",
        ),
    ]);
    let ran = folder.run(&["check", "--format", "concise"]);
    assert!(ran.out.contains("std/hose.pump:"), "{}", ran.out);
    assert!(!ran.out.contains("supply_3"), "{}", ran.out);
}

#[cfg(unix)]
#[test]
fn what_is_no_ordinary_file_is_read_all_the_same() {
    let folder = Folder::new(&[("spec.txt", BAD)]);
    let ran = Command::new(binary())
        .args(["check", "/dev/stdin"])
        .current_dir(folder.path())
        .stdin(std::fs::File::open(folder.path().join("spec.txt")).unwrap())
        .output()
        .unwrap();
    assert_eq!(ran.status.code(), Some(1), "{ran:?}");
    let mut child = Command::new(binary())
        .args(["check", "/dev/stdin"])
        .current_dir(folder.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    std::io::Write::write_all(&mut child.stdin.take().unwrap(), BAD.as_bytes()).unwrap();
    let out = child.wait_with_output().unwrap();
    assert_eq!(out.status.code(), Some(1), "{out:?}");
    // A device without an end is read no further than the largest file.
    let ran = folder.run(&["check", "/dev/zero"]);
    assert_eq!(ran.code, 1);
    assert!(ran.out.contains("file-too-big"), "{}", ran.out);
}

// ---- what is written -----------------------------------------------------------------------------

#[test]
fn output_does_not_depend_on_the_order_of_files_or_on_the_run() {
    let mut files: Vec<(String, String)> =
        vec![("common.pump".to_owned(), "let a = 2 in ± 0.01\n".to_owned())];
    for k in 0..60 {
        let text = format!(
            "use \"{}\" as c\nlet w{k} = {k} in ± 0.002\nlet bad{k} = w{k} + 1 psi\nlet c1 = c2 + 1 in\nlet c2 = c1\n// {}\n",
            if k % 3 == 0 {
                "common.pump".to_owned()
            } else {
                format!("f{}.pump", k - 1)
            },
            "x".repeat(3000)
        );
        files.push((format!("f{k}.pump"), text));
    }
    let files: Vec<(&str, &str)> = files
        .iter()
        .map(|(a, b)| (a.as_str(), b.as_str()))
        .collect();
    let folder = Folder::new(&files);
    for format in ["text", "concise", "json"] {
        let mut names: Vec<&str> = files.iter().map(|f| f.0).collect();
        let run = |names: &[&str]| folder.run(&[&["solve", "--format", format], names].concat());
        let first = run(&names);
        assert_eq!(first.code, 1);
        names.reverse();
        assert_eq!(run(&names), first, "{format}");
        names.rotate_left(17);
        assert_eq!(run(&names), first, "{format}");
        assert_eq!(run(&["."]), first, "{format}");
        for threads in ["1", "3"] {
            let mut c = folder.command(&["solve", "--format", format]);
            let out = c.env("RAYON_NUM_THREADS", threads).output().unwrap();
            assert_eq!(String::from_utf8_lossy(&out.stdout), first.out, "{format}");
        }
    }
}

#[test]
fn a_file_has_the_same_findings_alone_and_among_others() {
    let common = "let a = 2 in ± 0.01\n";
    let mut files = vec![("common.pump".to_owned(), common.to_owned())];
    for k in 0..40 {
        files.push((
            format!("f{k}.pump"),
            format!(
                "use \"common.pump\" as c\nlet x = c.a + {k} psi\nlet y = c.b\n// {}\n",
                "x".repeat(8000)
            ),
        ));
    }
    let files: Vec<(&str, &str)> = files
        .iter()
        .map(|(a, b)| (a.as_str(), b.as_str()))
        .collect();
    let folder = Folder::new(&files);
    let all = folder.run(&["check", "--format", "concise"]).out;
    for k in [0, 7, 39] {
        let name = format!("f{k}.pump");
        let alone = folder.run(&["check", "--format", "concise", &name]).out;
        let lines = |text: &str| -> Vec<String> {
            text.lines()
                .filter(|l| l.starts_with(&format!("{name}:")))
                .map(str::to_owned)
                .collect()
        };
        assert_eq!(lines(&all), lines(&alone));
        assert_eq!(lines(&alone).len(), 2, "{alone}");
    }
}

#[test]
fn json_is_valid_by_the_published_schema() {
    let schema: Value =
        serde_json::from_str(include_str!("../../crates/report/schema/report-1.json")).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let demo = concat!(env!("CARGO_MANIFEST_DIR"), "/../demo-data");
    let folder = Folder::new(&[
        ("a.pump", BAD),
        ("b.pump", UNMET),
        (
            "c.pump",
            "let a = 2 in ± 0.001\nlet b = a * 2\nrequire b >= 4 in because \"Ø µ 𝄞\"\nlet a = 1\n",
        ),
        ("d.pump", ""),
    ]);
    for args in [
        ["check", "--format", "json", "."],
        ["solve", "--format", "json", "."],
        ["check", "--format", "json", demo],
        ["solve", "--format", "json", demo],
    ] {
        let doc = json(&folder.run(&args));
        let errors: Vec<String> = validator
            .iter_errors(&doc)
            .map(|e| format!("{}: {e}", e.instance_path))
            .collect();
        assert!(errors.is_empty(), "{args:?}: {}", errors.join("\n"));
        assert_eq!(doc["version"], 1);
        assert_eq!(doc["command"], args[0]);
        assert_eq!(doc["results"].is_array(), args[0] == "solve");
    }
    // The schema is one that can say no.
    let mut doc = json(&folder.run(&["check", "--format", "json"]));
    doc["findings"][0]["level"] = "fatal".into();
    assert!(!validator.is_valid(&doc));
}

#[test]
fn json_places_cut_the_text_they_name() {
    let text = "// Ø µ 𝄞\nlet gap = 3 inn // µ\n";
    let folder = Folder::new(&[("a.pump", text)]);
    let doc = json(&folder.run(&["check", "--format", "json"]));
    let f = &doc["findings"][0];
    let at = |k: &str| usize::try_from(f[k].as_u64().unwrap()).unwrap();
    assert_eq!(&text[at("byte_start")..at("byte_end")], "inn");
    assert_eq!((at("line"), at("column")), (2, 13));
    assert_eq!((at("end_line"), at("end_column")), (2, 16));
    let edit = &f["fix"]["edits"][0];
    assert_eq!(edit["text"], "in");
    assert_eq!(edit["byte_start"], f["byte_start"]);
}

#[test]
fn solve_shows_values_with_their_limits_and_origin() {
    // Worst case 0.005 + 0.0015 and - 0.0005 by hand; the spread by root sum square from the middle 0.0055.
    let folder = Folder::new(&[(
        "a.pump",
        "let bore = 5.502 in ± 0.0005\nlet hub = 5.497 in (+0/-0.001)\nlet gap = bore - hub\n",
    )]);
    let ran = folder.run(&["solve"]);
    assert_eq!(ran.code, 0);
    let row = ran
        .out
        .lines()
        .find(|l| l.trim_start().starts_with("gap"))
        .unwrap();
    let words: Vec<&str> = row.split_whitespace().collect();
    assert_eq!(
        words.join(" "),
        "gap 0.0050 in worst 0.0045 .. 0.0065 in rss 0.0048 .. 0.0062 in computed"
    );
    let concise = folder.run(&["solve", "--format", "concise"]).out;
    assert!(concise.contains("a.pump:3: gap = 0.0050 in"), "{concise}");
    // `require` and `check` do not print results.
    assert_eq!(folder.run(&["check"]).out, "no findings in 1 file\n");
}

#[test]
fn colour_is_for_terminals_or_for_who_asks() {
    let folder = Folder::new(&[("a.pump", BAD)]);
    assert!(!folder.run(&["check"]).out.contains('\u{1b}'));
    assert!(
        folder
            .run(&["check", "--color", "always"])
            .out
            .contains('\u{1b}')
    );
    assert!(
        !folder
            .run(&["check", "--color", "never"])
            .out
            .contains('\u{1b}')
    );
    assert!(!folder.run(&["check", "none"]).err.contains('\u{1b}'));
}

#[test]
fn a_limit_says_what_it_leaves_out() {
    let folder = Folder::new(&[
        ("a.pump", &BAD.replace('x', "a")),
        ("b.pump", BAD),
        ("c.pump", BAD),
    ]);
    let ran = folder.run(&["check", "--limit", "2"]);
    assert_eq!(ran.code, 1);
    assert!(ran.out.contains("3 errors in 3 files"), "{}", ran.out);
    assert!(
        ran.out.contains("only the first 2 of 3 findings are shown"),
        "{}",
        ran.out
    );
    assert_eq!(ran.out.matches("error[").count(), 2);
}

#[test]
fn a_reader_who_leaves_early_is_no_failure() {
    let text: String = (0..20_000)
        .map(|k| format!("let a{k} = {k} in + 1 psi\n"))
        .collect();
    let folder = Folder::new(&[("a.pump", &text)]);
    let mut child = Command::new(binary())
        .args(["check", "--format", "concise"])
        .current_dir(folder.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // What `head -1` does: one line is read, then the pipe is closed while there is far more than it holds.
    let mut reader = BufReader::new(child.stdout.take().unwrap());
    let mut line = String::new();
    reader.read_line(&mut line).unwrap();
    assert!(line.starts_with("a.pump:1:"), "{line}");
    drop(reader);
    let mut err = String::new();
    child
        .stderr
        .take()
        .unwrap()
        .read_to_string(&mut err)
        .unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(1));
    assert_eq!(err, "");
}

// ---- format --------------------------------------------------------------------------------------

const LOOSE: &str = "ring r {\nbore=5.502 in\n   runs_on = 5.497 in\n}\n";

#[test]
fn format_writes_the_canonical_layout_once() {
    let folder = Folder::new(&[("a.pump", LOOSE), ("b.pump", GOOD)]);
    let ran = folder.run(&["format", "--check"]);
    assert_eq!(ran.code, 1);
    assert_eq!(
        ran.out,
        "a.pump\n1 file not in the canonical layout, 1 file in order\n"
    );
    assert_eq!(folder.read("a.pump"), LOOSE, "--check changes nothing");
    let ran = folder.run(&["format", "--diff"]);
    assert_eq!(ran.code, 0);
    assert!(ran.out.contains("-bore=5.502 in\n"), "{}", ran.out);
    assert!(ran.out.contains("+    bore    = 5.502 in\n"), "{}", ran.out);
    assert_eq!(folder.read("a.pump"), LOOSE, "--diff changes nothing");
    let before = std::fs::metadata(folder.path().join("b.pump"))
        .unwrap()
        .modified()
        .unwrap();
    let ran = folder.run(&["format"]);
    assert_eq!(
        (ran.code, ran.out.as_str()),
        (0, "1 file laid out, 1 file in order\n")
    );
    assert_eq!(
        folder.read("a.pump"),
        "ring r {\n    bore    = 5.502 in\n    runs_on = 5.497 in\n}\n"
    );
    let after = std::fs::metadata(folder.path().join("b.pump"))
        .unwrap()
        .modified()
        .unwrap();
    assert_eq!(before, after, "a file in order is not touched");
    assert_eq!(folder.run(&["format", "--check"]).code, 0);
    assert_eq!(folder.run(&["format"]).out, "2 files in order\n");
    let left: Vec<_> = std::fs::read_dir(folder.path())
        .unwrap()
        .map(|e| e.unwrap().file_name())
        .collect();
    assert_eq!(left.len(), 2, "nothing is left behind: {left:?}");
}

#[cfg(unix)]
#[test]
fn format_keeps_permissions_and_links() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let folder = Folder::new(&[("real/a.pump", LOOSE)]);
    let real = folder.path().join("real/a.pump");
    std::fs::set_permissions(&real, std::fs::Permissions::from_mode(0o640)).unwrap();
    symlink("real/a.pump", folder.path().join("link.pump")).unwrap();
    assert_eq!(folder.run(&["format", "link.pump"]).code, 0);
    assert_eq!(
        std::fs::metadata(&real).unwrap().permissions().mode() & 0o777,
        0o640
    );
    assert!(folder.path().join("link.pump").is_symlink());
    assert_ne!(folder.read("real/a.pump"), LOOSE);
    std::fs::write(&real, LOOSE).unwrap();
    std::fs::set_permissions(&real, std::fs::Permissions::from_mode(0o440)).unwrap();
    let ran = folder.run(&["format", "real/a.pump"]);
    assert_eq!(ran.code, 2, "{ran:?}");
    assert!(ran.err.contains("read-only"), "{}", ran.err);
    assert_eq!(folder.read("real/a.pump"), LOOSE);
}

#[test]
fn format_passes_standard_input_through() {
    let folder = Folder::new(&[]);
    let ran = folder.run_with(&["format", "-"], LOOSE);
    assert_eq!(ran.code, 0);
    assert_eq!(
        ran.out,
        "ring r {\n    bore    = 5.502 in\n    runs_on = 5.497 in\n}\n"
    );
    let ran = folder.run_with(&["format", "-", "--check", "--stdin-name", "x.pump"], LOOSE);
    assert_eq!(ran.code, 1);
    assert!(ran.out.starts_with("x.pump\n"), "{}", ran.out);
}

#[test]
fn format_leaves_what_it_cannot_read_and_says_so() {
    let folder = Folder::new(&[("a.pump", LOOSE)]);
    folder.write("b.pump", b"let x = 20\xb0\n");
    let ran = folder.run(&["format"]);
    assert_eq!(ran.code, 2);
    assert!(
        ran.err.contains("`b.pump` is not UTF-8 text: byte 10"),
        "{}",
        ran.err
    );
    assert_ne!(
        folder.read("a.pump"),
        LOOSE,
        "the others are laid out all the same"
    );
    // A text that is not well formed is kept, word for word.
    let broken = "let a =\n\nring r {\n  bore = = 5 in\n";
    let ran = folder.run_with(&["format", "-"], broken);
    assert_eq!(ran.code, 0);
    let words = |t: &str| t.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
    assert_eq!(words(&ran.out), words(broken));
}

#[test]
fn format_lays_some_lines_out_and_leaves_the_rest() {
    let text = "let a=1 in\nring r {\nbore=5.502 in\n   runs_on = 5.497 in\n\n  form=plain\n}\n";
    let laid =
        "let a=1 in\nring r {\n    bore    = 5.502 in\n    runs_on = 5.497 in\n\n  form=plain\n}\n";
    let folder = Folder::new(&[("a.pump", text)]);
    let ran = folder.run(&["format", "--check", "--lines", "3", "a.pump"]);
    assert_eq!(
        (ran.code, ran.out.as_str()),
        (1, "a.pump\nline 3 not in the canonical layout\n")
    );
    let ran = folder.run(&["format", "--diff", "--lines", "3", "a.pump"]);
    assert!(ran.out.contains("+    bore    = 5.502 in\n"), "{}", ran.out);
    assert!(!ran.out.contains("-let a=1 in\n"), "{}", ran.out);
    assert_eq!(folder.read("a.pump"), text, "nothing is written");
    let ran = folder.run_with(&["format", "--lines", "2..3", "-"], text);
    assert_eq!((ran.code, ran.out.as_str()), (0, laid));
    let ran = folder.run(&["format", "--lines", "3..4"]);
    assert_eq!((ran.code, ran.out.as_str()), (0, "lines 3..4 laid out\n"));
    assert_eq!(folder.read("a.pump"), laid);
    let ran = folder.run(&["format", "--lines", "3..4", "a.pump"]);
    assert_eq!((ran.code, ran.out.as_str()), (0, "lines 3..4 in order\n"));

    folder.write("b.pump", b"");
    for (args, says) in [
        (
            &["--lines", "0..3", "a.pump"][..],
            "lines are counted from 1",
        ),
        (
            &["--lines", "9..2", "a.pump"],
            "the first line comes after the last; write 2..9",
        ),
        (
            &["--lines", "3..", "a.pump"],
            "a line's number is missing; write it as 10..20, or as 10",
        ),
        (
            &["--lines", "3-4", "a.pump"],
            "`3-4` is no line's number; write the lines as 10..20, or as 10",
        ),
        (&["--lines", "-3", "a.pump"], "`-3` is no line's number"),
        (
            &["--lines", "6..8", "a.pump"],
            "--lines asks for lines 6..8, and `a.pump` has 7 lines",
        ),
        (
            &["--lines", "1", "b.pump"],
            "--lines asks for line 1, and `b.pump` has 0 lines",
        ),
        (
            &["--lines", "1"],
            "--lines asks for line 1 of one file, and 2 files are given",
        ),
    ] {
        let ran = folder.run(&[&["format"], args].concat());
        assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{args:?}: {ran:?}");
        assert!(ran.err.contains(says), "{args:?}: {}", ran.err);
    }
    assert_eq!(folder.read("a.pump"), laid);
}

// ---- explain -------------------------------------------------------------------------------------

#[test]
fn explain_has_a_page_for_every_finding() {
    let folder = Folder::new(&[]);
    let list = folder.run(&["explain"]);
    assert_eq!((list.code, list.err.as_str()), (0, ""));
    let all = codes::all();
    // Each by its id or its name in turn, so that both ways are walked without starting the command twice for each.
    for (k, code) in all.iter().enumerate() {
        let row = list
            .out
            .lines()
            .find(|l| l.contains(code.id))
            .unwrap_or_else(|| panic!("{} is not listed", code.id));
        assert!(row.trim_start().starts_with(code.name), "{row}");
        let topic = if k % 2 == 0 { code.id } else { code.name };
        let page = folder.run(&["explain", topic]);
        assert_eq!(page.code, 0, "{topic}");
        assert!(
            page.out
                .starts_with(&format!("{} {} (", code.id, code.name)),
            "{}",
            page.out
        );
        for line in code
            .fires
            .lines()
            .chain(code.silent.lines())
            .filter(|l| !l.is_empty())
        {
            assert!(
                page.out.contains(&format!("    {line}\n")),
                "{topic}: {line}"
            );
        }
    }
    let names: Vec<&str> = list
        .out
        .lines()
        .skip(2)
        .take(all.len())
        .filter_map(|l| l.split_whitespace().next())
        .collect();
    assert!(names.is_sorted(), "{names:?}");
}

#[test]
fn explain_knows_kinds_fields_units_and_json() {
    let folder = Folder::new(&[]);
    for (topic, says) in [
        ("ring", "clearance_limit"),
        ("ring.bore", "ring.bore: a field"),
        ("gpm", "US gallon per minute"),
        ("oz*in", "unbalance"),
        ("lbf*in/s^2", "A unit made of others"),
        ("units", "gauge pressure"),
        ("kinds", "impeller"),
    ] {
        let ran = folder.run(&["explain", topic]);
        assert_eq!(ran.code, 0, "{topic}: {}", ran.err);
        assert!(ran.out.contains(says), "{topic}: {}", ran.out);
        let doc = json(&folder.run(&["explain", topic, "--format", "json"]));
        assert!(doc["page"].is_string(), "{topic}: {doc}");
    }
    let doc = json(&folder.run(&["explain", "CW0301", "--format", "json"]));
    assert_eq!(doc["name"], "unknown-unit");
    assert_eq!(doc["fires"], BAD);
    assert_eq!(doc["silent"], GOOD);
    let doc = json(&folder.run(&["explain", "--format", "json"]));
    assert_eq!(
        doc["findings"].as_array().unwrap().len(),
        codes::all().len()
    );
}
