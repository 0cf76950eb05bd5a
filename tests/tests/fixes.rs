//! `check --fix` and `--diff`, end to end.

use cutwater_tests::{Folder, Ran};

const SLIPS: &str = "//! A rig.\n\nuse \"parts.pump\" as parts\n\n/// Cold water.\nsite { altitude = 820 FT }  // surveyed\n\nring r {\n    bore    = 5.502 ± 0.0005 in  // turned\n    runs_on = 5.497 in (-0.001/+0)\n    frm     = plain\n}\n";

const SAFE: &str = "//! A rig.\n\n/// Cold water.\nsite { altitude = 820 ft }  // surveyed\n\nring r {\n    bore    = 5.502 in ± 0.0005  // turned\n    runs_on = 5.497 in (+0/-0.001)\n    frm     = plain\n}\n";

const ALL: &str = "//! A rig.\n\n/// Cold water.\nsite { altitude = 820 ft }  // surveyed\n\nring r {\n    bore    = 5.502 in ± 0.0005  // turned\n    runs_on = 5.497 in (+0/-0.001)\n    form    = plain\n}\n";

const PARTS: &str = "let spare = 1 in\n";

fn rig() -> Folder {
    Folder::new(&[("a.pump", SLIPS), ("parts.pump", PARTS)])
}

fn last_lines(r: &Ran, n: usize) -> Vec<&str> {
    let lines: Vec<&str> = r.out.lines().collect();
    lines[lines.len().saturating_sub(n)..].to_vec()
}

#[test]
fn safe_fixes_are_applied_and_what_is_left_is_reported() {
    let f = rig();
    let r = f.run(&["check", "--fix", "--format", "concise"]);
    assert_eq!(f.read("a.pump"), SAFE);
    assert_eq!(f.read("parts.pump"), PARTS);
    assert_eq!(r.code, 1, "{r:?}");
    assert_eq!(r.err, "");
    assert!(
        r.out.starts_with("a.pump:9:5: error[CW0204 unknown-field]"),
        "{}",
        r.out
    );
    assert_eq!(
        last_lines(&r, 2),
        [
            "1 error in 2 files",
            "note: fixed 4 findings in 1 file; 1 more has a fix that needs a look: `--fix=all` applies it",
        ]
    );
    // A second run has nothing to do.
    let again = f.run(&["check", "--fix", "--format", "concise"]);
    assert!(
        again.out.contains("note: fixed nothing; 1 more"),
        "{}",
        again.out
    );
    assert_eq!(f.read("a.pump"), SAFE);
    let all = f.run(&["check", "--fix=all"]);
    assert_eq!(all.code, 0, "{all:?}");
    assert_eq!(f.read("a.pump"), ALL);
    assert!(all.out.contains("read what they changed"), "{}", all.out);
}

#[test]
fn a_difference_is_shown_and_nothing_is_written() {
    let f = rig();
    let r = f.run(&["check", "--diff", "a.pump"]);
    assert_eq!(r.code, 1, "{r:?}");
    assert_eq!(f.read("a.pump"), SLIPS);
    assert!(
        r.out.starts_with("--- a.pump\n+++ a.pump (mended)\n"),
        "{}",
        r.out
    );
    assert!(
        r.out.contains("-use \"parts.pump\" as parts\n"),
        "{}",
        r.out
    );
    assert!(
        r.out.contains("+site { altitude = 820 ft }  // surveyed\n"),
        "{}",
        r.out
    );
    assert!(!r.out.contains("form"), "{}", r.out);
    // Standard output is a difference alone; the report is beside it, of the files as they are.
    assert!(!r.out.contains("CW0"), "{}", r.out);
    assert!(
        r.err.contains("CW0303") && r.err.contains("would fix 4 findings in 1 file"),
        "{}",
        r.err
    );
    let all = f.run(&["check", "--fix=all", "--diff", "a.pump"]);
    assert!(all.out.contains("+    form    = plain\n"), "{}", all.out);
    assert_eq!(f.read("a.pump"), SLIPS);
    let clean = Folder::new(&[("b.pump", PARTS)]).run(&["check", "--diff"]);
    assert_eq!((clean.code, clean.out.as_str()), (0, ""));
    let json = f.run(&["check", "--diff", "--format", "json"]);
    assert_eq!(json.code, 2);
    assert!(
        json.err.contains("cannot be written as JSON"),
        "{}",
        json.err
    );
}

#[test]
fn standard_input_is_mended_to_standard_output() {
    let f = rig();
    let r = f.run_with(&["check", "--fix", "-", "--stdin-name", "a.pump"], SLIPS);
    assert_eq!(r.out, SAFE);
    assert_eq!(r.code, 1);
    assert!(r.err.contains("CW0204"), "{}", r.err);
    assert_eq!(
        f.read("a.pump"),
        SLIPS,
        "the file of that name is not touched"
    );
    let all = f.run_with(
        &["check", "--fix=all", "-", "--stdin-name", "a.pump"],
        SLIPS,
    );
    assert_eq!((all.code, all.out.as_str()), (0, ALL));
    // What needs no fix passes through as it is.
    let same = f.run_with(&["check", "--fix", "-"], "let a  = 5 in");
    assert_eq!(same.out, "let a  = 5 in");
    let diff = f.run_with(&["check", "--fix", "--diff", "-"], "let a = 5 in (-1/+1)\n");
    assert!(diff.out.contains("+let a = 5 in (+1/-1)\n"), "{}", diff.out);
}

#[test]
fn json_holds_what_is_left_and_says_what_was_done() {
    let f = rig();
    let r = f.run(&["check", "--fix", "--format", "json"]);
    let v: serde_json::Value = serde_json::from_str(&r.out).unwrap();
    let findings = v["findings"].as_array().unwrap();
    assert_eq!(findings.len(), 1, "{v:#}");
    assert_eq!(findings[0]["fix"]["trust"], "needs-a-look");
    assert_eq!(findings[0]["fix"]["edits"][0]["text"], "form");
    assert!(r.out.contains("fixed 4 findings in 1 file"), "{v:#}");
}

#[test]
fn line_ends_marks_and_permissions_are_kept() {
    let text = format!("\u{feff}{}", SLIPS.replace('\n', "\r\n"));
    let f = Folder::new(&[("a.pump", &text), ("parts.pump", PARTS)]);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let mode = std::fs::Permissions::from_mode(0o640);
        std::fs::set_permissions(f.path().join("a.pump"), mode).unwrap();
    }
    f.run(&["check", "--fix=all"]);
    assert_eq!(
        f.read("a.pump"),
        format!("\u{feff}{}", ALL.replace('\n', "\r\n"))
    );
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let mode = std::fs::metadata(f.path().join("a.pump"))
            .unwrap()
            .permissions()
            .mode();
        assert_eq!(mode & 0o777, 0o640);
    }
    // Nothing is left lying about.
    assert_eq!(std::fs::read_dir(f.path()).unwrap().count(), 2);
}

#[test]
fn a_file_that_cannot_be_written_is_named_and_the_others_are_mended() {
    let f = Folder::new(&[
        ("a.pump", "let a = 5 in (-1/+1)\n"),
        ("b.pump", "let a = 5 in (-1/+1)\n"),
    ]);
    let path = f.path().join("a.pump");
    let mut p = std::fs::metadata(&path).unwrap().permissions();
    p.set_readonly(true);
    std::fs::set_permissions(&path, p).unwrap();
    let r = f.run(&["check", "--fix", "--format", "concise"]);
    assert_eq!(r.code, 2, "{r:?}");
    assert!(
        r.err
            .contains("`a.pump` cannot be written: it is read-only"),
        "{}",
        r.err
    );
    assert_eq!(f.read("a.pump"), "let a = 5 in (-1/+1)\n");
    assert_eq!(f.read("b.pump"), "let a = 5 in (+1/-1)\n");
    assert!(r.out.contains("a.pump:1:14: error[CW0402"), "{}", r.out);
    assert!(
        r.out.contains("note: fixed 1 finding in 1 file"),
        "{}",
        r.out
    );
}

#[cfg(unix)]
#[test]
fn a_link_that_leads_out_of_the_workspace_is_not_written_through() {
    let outside = Folder::new(&[("x.pump", "let a = 5 in (-1/+1)\n")]);
    let f = Folder::new(&[("cutwater.toml", "")]);
    std::os::unix::fs::symlink(outside.path().join("x.pump"), f.path().join("x.pump")).unwrap();
    let r = f.run(&["check", "--fix", "x.pump", "--format", "concise"]);
    assert_eq!(outside.read("x.pump"), "let a = 5 in (-1/+1)\n");
    assert_eq!(r.code, 1, "{r:?}");
    assert!(
        r.out
            .contains("note: `x.pump` is not written: it leads out of the workspace"),
        "{}",
        r.out
    );
    // A link inside it is kept, and what it leads to is mended.
    f.write("y.pump", b"let a = 5 in (-1/+1)\n");
    std::os::unix::fs::symlink("y.pump", f.path().join("z.pump")).unwrap();
    f.run(&["check", "--fix", "z.pump"]);
    assert_eq!(f.read("y.pump"), "let a = 5 in (+1/-1)\n");
    assert!(f.path().join("z.pump").is_symlink());
}

#[test]
fn only_files_that_were_named_are_mended() {
    let f = Folder::new(&[
        (
            "a.pump",
            "use \"parts.pump\" as parts\nlet a = parts.spare (-1/+1)\n",
        ),
        ("parts.pump", "let spare = 5 in (-1/+1)\n"),
    ]);
    f.run(&["check", "--fix", "a.pump"]);
    assert_eq!(f.read("parts.pump"), "let spare = 5 in (-1/+1)\n");
}

#[test]
fn wrong_words_are_told() {
    let f = rig();
    let r = f.run(&["check", "--fix=some"]);
    assert_eq!(r.code, 2);
    assert!(r.err.contains("safe") && r.err.contains("all"), "{}", r.err);
    let solve = f.run(&["solve", "--fix"]);
    assert_eq!(solve.code, 2, "{solve:?}");
    assert_eq!(f.read("a.pump"), SLIPS);
}

#[test]
fn explain_says_whether_a_finding_has_a_fix() {
    let f = Folder::new(&[]);
    let said = |code: &str| f.run(&["explain", code]).out;
    assert!(said("CW0220").contains("Fix: safe;"), "{}", said("CW0220"));
    assert!(said("CW0406").contains("--fix=all"), "{}", said("CW0406"));
    assert!(said("CW0210").contains("Fix: none"), "{}", said("CW0210"));
    let json = f.run(&["explain", "CW0402", "--format", "json"]).out;
    let v: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(v["fixes"], serde_json::json!(["safe", "needs-a-look"]));
}
