//! Bad input: each gives a located finding that says what is wrong and how to mend it, and the contract's
//! exit code. The rendered messages are kept as snapshots, to be read aloud when they change.

use cutwater_tests::{Folder, Ran, check};

/// Checks one spec and holds that its one finding has this code and place.
fn found(name: &str, text: &str, code: &str, place: &str) {
    let ran = check(text);
    held(name, &ran, code, &format!("spec.pump:{place}"));
}

/// The same for a warning, which does not fail the run.
fn warned(name: &str, text: &str, code: &str, place: &str) {
    let ran = check(text);
    said(
        name,
        &ran,
        "warning",
        0,
        code,
        &format!("spec.pump:{place}"),
    );
}

fn held(name: &str, ran: &Ran, code: &str, place: &str) {
    said(name, ran, "error", 1, code, place);
}

fn said(name: &str, ran: &Ran, level: &str, exit: i32, code: &str, place: &str) {
    assert_eq!(ran.code, exit, "{name}: {ran:?}");
    assert_eq!(ran.err, "", "{name}");
    assert!(
        ran.out.starts_with(&format!("{level}[{code}]: ")),
        "{name}: {}",
        ran.out
    );
    assert!(ran.out.contains(place), "{name}: {}", ran.out);
    assert!(
        ran.out.contains(&format!("1 {level} in 1 file")),
        "{name}: {}",
        ran.out
    );
    insta::with_settings!({ snapshot_path => "../snapshots", prepend_module_to_snapshot => false, omit_expression => true }, {
        insta::assert_snapshot!(name, ran.out);
    });
}

#[test]
fn unknown_unit() {
    found(
        "unknown-unit",
        "let x = 3 inn\n",
        "CW0301 unknown-unit",
        "1:11",
    );
}

#[test]
fn wrong_dimension() {
    found(
        "wrong-dimension",
        "site { altitude = 820 psi }\n",
        "CW0303 wrong-dimension",
        "1:19",
    );
}

#[test]
fn unit_missing() {
    found(
        "unit-missing",
        "site { altitude = 820 }\n",
        "CW0302 unit-missing",
        "1:19",
    );
}

#[test]
fn gauge_for_absolute() {
    found(
        "gauge-for-absolute",
        "site { barometer = 14.7 psig }\n",
        "CW0304 wrong-kind",
        "1:20",
    );
}

#[test]
fn us_for_imperial_gallon() {
    found(
        "us-for-imperial-gallon",
        "let a = 500 gpm + 100 igpm\n",
        "CW0305 mixed-gallons",
        "1:9",
    );
}

#[test]
fn misspelt_field() {
    found(
        "misspelt-field",
        "ring r {\n    bore = 5.502 in\n    runs_on = 5.497 in\n    land_lenght = 0.75 in\n}\n",
        "CW0204 unknown-field",
        "4:5",
    );
}

#[test]
fn misspelt_name() {
    found(
        "misspelt-name",
        "let bore = 5.502 in\nlet gap = boer - 5.497 in\n",
        "CW0202 unknown-name",
        "2:11",
    );
}

#[test]
fn misspelt_kind() {
    found(
        "misspelt-kind",
        "pmup main { }\n",
        "CW0201 unknown-kind",
        "1:1",
    );
}

#[test]
fn misspelt_word() {
    found(
        "misspelt-word",
        "ring r {\n    form = plane\n    bore = 5.502 in\n    runs_on = 5.497 in\n}\n",
        "CW0307 unknown-word",
        "2:12",
    );
}

#[test]
fn missing_required_field() {
    found(
        "missing-required-field",
        "material bronze { }\n",
        "CW0206 missing-field",
        "1:1",
    );
}

#[test]
fn duplicate_name() {
    found(
        "duplicate-name",
        "let a = 2 in\nlet b = 1 in\nlet a = 3 in\n",
        "CW0203 duplicate-name",
        "3:5",
    );
}

#[test]
fn cycle() {
    found(
        "cycle",
        "let a = b + 1 in\nlet b = c * 2\nlet c = a - 1 in\n",
        "CW0210 cycle",
        "1:9",
    );
}

/// A drive and its pump around the rows of `output`. Invented numbers.
fn drive(rows: &str) -> String {
    format!(
        "drive d {{
    turns = p
    gear_ratio = 2.0
    output (speed rpm, power hp) {{
{rows}    }}
}}
pump p {{
    rating = 500 gpm at 150 psi
    curve at 3000 rpm (flow gpm, net psi, power hp) {{
          0 190 40
        500 150 65
        800 110 75
    }}
}}
"
    )
}

#[test]
fn wrong_number_of_cells() {
    found(
        "wrong-number-of-cells",
        &drive("        1200 190\n        1600\n"),
        "CW0405 table-shape",
        "6:9",
    );
}

#[test]
fn table_that_does_not_rise() {
    found(
        "table-that-does-not-rise",
        &drive("        1600 262\n        1200 190\n"),
        "CW0406 not-rising",
        "6:9",
    );
}

#[test]
fn negative_length() {
    found(
        "negative-length",
        "hose h {\n    diameter = -2.5 in\n    loss = 2 psi per 100 ft at 100 gpm\n}\n",
        "CW0401 out-of-range",
        "2:16",
    );
}

#[test]
fn impossible_tolerance() {
    found(
        "impossible-tolerance",
        "let a = 5 in (-0.001/+0.002)\n",
        "CW0402 bad-tolerance",
        "1:",
    );
}

#[test]
fn backward_range() {
    found(
        "backward-range",
        "let a = 0.007 .. 0.003 in\n",
        "CW0403 bad-range",
        "1:9",
    );
}

#[test]
fn text_that_is_not_well_formed() {
    found("syntax", "let gap = \n", "CW0101 syntax", "1:");
}

#[test]
fn bracket_left_open() {
    found(
        "bracket-left-open",
        "site { altitude = 820 ft\n",
        "CW0102 bracket",
        "1:6",
    );
}

#[test]
fn requirement_not_met() {
    found(
        "requirement-not-met",
        "let a = 2 in\nrequire a >= 3 in because \"it must fit\"\n",
        "CW0501 requirement-not-met",
        "2:9",
    );
}

#[test]
fn requirement_not_met_by_root_sum_square() {
    warned(
        "requirement-within-spread",
        "let bore = 5.502 in ± 0.002\nlet hub = 5.497 in ± 0.001\nrequire bore - hub within 0.003 .. 0.007 in because \"it must run\"\n",
        "CW0503 requirement-within-spread",
        "3:9",
    );
}

#[test]
fn requirement_not_met_in_the_worst_case() {
    warned(
        "requirement-within-tolerance",
        "let bore = 45 mm H7\nlet pin = 45 mm g6\nrequire bore - pin <= 0.045 mm\n",
        "CW0502 requirement-within-tolerance",
        "3:9",
    );
}

#[test]
fn tolerance_class_that_is_none() {
    found(
        "unknown-class",
        "let bore = 45 mm H77\n",
        "CW0409 unknown-class",
        "1:18",
    );
}

#[test]
fn tolerance_class_not_for_the_size() {
    found(
        "class-not-for-size",
        "let bore = 20.5 in H7\n",
        "CW0410 class-not-for-size",
        "1:20",
    );
}

#[test]
fn file_that_is_not_there() {
    found(
        "file-not-found",
        "use \"parts/none.pump\" as none\nlet x = none.y\n",
        "CW0207 file-not-found",
        "1:5",
    );
}

#[test]
fn path_outside_the_workspace() {
    found(
        "path-outside-the-workspace",
        "use \"../../other.pump\" as other\nlet x = other.y\n",
        "CW0208 outside-workspace",
        "1:5",
    );
}

#[test]
fn a_link_out_of_the_workspace_is_not_followed() {
    #[cfg(unix)]
    {
        let secret = Folder::new(&[("secret.pump", "let x = 3 inn\n")]);
        let folder = Folder::new(&[("spec.pump", "use \"s.pump\" as s\nlet y = s.x\n")]);
        std::os::unix::fs::symlink(
            secret.path().join("secret.pump"),
            folder.path().join("s.pump"),
        )
        .unwrap();
        let ran = folder.run(&["check"]);
        assert_eq!(ran.code, 1, "{ran:?}");
        assert!(ran.out.contains("file-not-found"), "{}", ran.out);
        assert!(!ran.out.contains("inn"), "{}", ran.out);
    }
}

#[test]
fn file_that_is_not_utf8() {
    let folder = Folder::new(&[]);
    folder.write("spec.pump", b"let x = 3 in // 20\xb0\n");
    let ran = folder.run(&["check", "spec.pump"]);
    held("not-utf8", &ran, "CW0104 not-utf8", "spec.pump:1:1");
    assert!(ran.out.contains("byte 18"), "{}", ran.out);
}

#[test]
fn file_larger_than_what_is_read() {
    let folder = Folder::new(&[]);
    // A file with a hole: it has the size and takes no room.
    let f = std::fs::File::create(folder.path().join("spec.pump")).unwrap();
    f.set_len((32 << 20) + 1).unwrap();
    let ran = folder.run(&["check"]);
    held("file-too-big", &ran, "CW0105 file-too-big", "spec.pump:1:1");
}

#[test]
fn large_file_is_checked_to_its_end() {
    let remark =
        "// remarks that fill a large file with harmless text, line after line after line\n";
    let lines = 10_000_000 / remark.len() + 1;
    let text = remark.repeat(lines) + "let x = 3 inn\n";
    let ran = check(&text);
    assert_eq!(ran.code, 1);
    assert!(
        ran.out.contains(&format!("spec.pump:{}:11", lines + 1)),
        "{}",
        ran.out
    );
    assert!(ran.out.len() < 1000, "{}", ran.out.len());
}

#[test]
fn empty_file_is_in_order() {
    let ran = check("");
    assert_eq!((ran.code, ran.out.as_str()), (0, "no findings in 1 file\n"));
}

#[test]
fn nesting_without_end() {
    let deep = "(".repeat(100_000) + "1" + &")".repeat(100_000);
    let ran = check(&format!("let x = {deep}\nlet y = 3 inn\n"));
    assert_eq!(ran.code, 1);
    assert!(ran.out.contains("error[CW0103 too-deep]"), "{}", ran.out);
    // One broken declaration does not hide another.
    assert!(ran.out.contains("spec.pump:2:11"), "{}", ran.out);
    assert!(ran.out.len() < 2000, "{}", ran.out.len());
    for open in ["(", "[", "{", "site {\n", "let x = -"] {
        let ran = Folder::new(&[("spec.pump", &open.repeat(20_000))])
            .run(&["check", "--format", "concise", "--limit", "5"]);
        assert_eq!(ran.code, 1, "{open}");
        assert_eq!(ran.err, "", "{open}");
        assert!(ran.out.starts_with("spec.pump:"), "{open}: {}", ran.out);
    }
}

#[test]
fn any_bytes_are_answered() {
    // Pieces of real specs put together in wrong ways, and characters from everywhere.
    let pieces = [
        "ring r {",
        "}",
        "=",
        "5.502 in",
        "±",
        "(+0/-",
        "..",
        "\u{feff}",
        "\r",
        "\0",
        "𝄞",
        "use \"",
        "\"\n",
        "->",
        "curve at (",
        "let let let\n",
        "- - -",
        "///",
        "\u{2028}",
        "1e999 in",
        "5-1/2",
        "of of",
        "<=",
    ];
    let mut state = 1u32;
    for round in 0..40 {
        let mut text = String::new();
        for _ in 0..60 {
            // A linear congruential generator (constants from Numerical Recipes): the same texts in every run.
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            text.push_str(pieces[(state >> 16) as usize % pieces.len()]);
            if state & 0x1_0000 == 0 {
                text.push(' ');
            }
        }
        let ran = check(&text);
        assert!(
            matches!(ran.code, 0 | 1),
            "round {round}: {ran:?}\n{text:?}"
        );
        assert_eq!(ran.err, "", "round {round}: {text:?}");
    }
}
