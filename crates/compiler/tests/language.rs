//! The language itself: long ways round, long lines of descent, names across files, order.

use cutwater_compiler::{Db, results};
use std::fmt::Write;

fn settled(files: &[(&str, &str)]) -> Db {
    let mut db = Db::default();
    for (path, text) in files {
        db.set_file(path, *text);
    }
    db.settle(true, None).expect("nothing stops it");
    db
}

fn messages(db: &Db, path: &str) -> Vec<String> {
    let file = db.file(path).expect("the file is there");
    db.findings(file).into_iter().map(|f| f.message).collect()
}

fn shown(db: &Db, path: &str, name: &str) -> String {
    let file = db.file(path).expect("the file is there");
    results::of_file(db, file)
        .into_iter()
        .find(|r| r.path == name)
        .unwrap_or_else(|| panic!("no {name}"))
        .value
        .text()
        .to_owned()
}

#[test]
fn a_long_circle_is_one_finding_told_by_its_ends() {
    let mut text = String::new();
    for k in 0..2000 {
        let _ = writeln!(text, "let a{k} = a{} + 1 in", (k + 1) % 2000);
    }
    assert_eq!(
        messages(&settled(&[("a.pump", &text)]), "a.pump"),
        [
            "`a0` needs itself: `a0` needs `a1` needs `a2` needs 1996 others, of which `a1999` needs `a0`"
        ]
    );
}

#[test]
fn a_chain_of_a_hundred_thousand_values_does_not_exhaust_the_stack() {
    let mut text = String::new();
    for k in 0..100_000 {
        let _ = writeln!(text, "let a{k} = a{} + 1 in", k + 1);
    }
    text.push_str("let a100000 = 1 in\n");
    let db = settled(&[("a.pump", &text)]);
    assert_eq!(messages(&db, "a.pump"), Vec::<String>::new());
    // 100 001 in; a length of more than 4 ft is shown in ft.
    assert!(
        shown(&db, "a.pump", "a0").starts_with("100001"),
        "{}",
        shown(&db, "a.pump", "a0")
    );
}

#[test]
fn fields_come_down_a_long_line_of_descent() {
    let mut text = String::new();
    for k in 0..200 {
        let _ = writeln!(
            text,
            "impeller w{k} like w{} {{ mass = {} lb }}",
            k + 1,
            k + 1
        );
    }
    text.push_str("impeller w200 { outside_diameter = 3 in }\nlet d = w0.outside_diameter\n");
    let db = settled(&[("a.pump", &text)]);
    assert_eq!(messages(&db, "a.pump"), Vec::<String>::new());
    assert_eq!(shown(&db, "a.pump", "d"), "3.0000 in");
}

#[test]
fn two_parts_of_one_drawing_vary_on_their_own() {
    // The same part twice over is two variables; one part used twice is one.
    let text = "impeller a { outside_diameter = 9 in ± 0.004 }\nimpeller b like a { mass = 3 lb }\nlet own = a.outside_diameter - a.outside_diameter\nlet other = a.outside_diameter - b.outside_diameter\n";
    let db = settled(&[("a.pump", text)]);
    assert_eq!(messages(&db, "a.pump"), Vec::<String>::new());
    assert!(
        !shown(&db, "a.pump", "own").contains(".."),
        "{}",
        shown(&db, "a.pump", "own")
    );
    // By hand: ±0.004 and ±0.004 make ±0.008 at worst.
    assert!(
        shown(&db, "a.pump", "other").contains("-0.0080 .. 0.0080 in"),
        "{}",
        shown(&db, "a.pump", "other")
    );
}

#[test]
fn names_reach_across_files_and_order_does_not_matter() {
    let rig =
        "let gap = parts.seal.bore - hub\nlet hub = 5.497 in\nuse \"parts/ring.pump\" as parts\n";
    let parts = "ring seal {\n    bore    = 5.502 in\n    runs_on = 5.497 in\n}\n";
    let db = settled(&[("rig.pump", rig), ("parts/ring.pump", parts)]);
    assert_eq!(messages(&db, "rig.pump"), Vec::<String>::new());
    assert_eq!(shown(&db, "rig.pump", "gap"), "0.0050 in");
    // The same with the files the other way round.
    let db = settled(&[("parts/ring.pump", parts), ("rig.pump", rig)]);
    assert_eq!(shown(&db, "rig.pump", "gap"), "0.0050 in");
}

#[test]
fn surroundings_come_from_a_file_that_is_used() {
    let district = "site { altitude = 5000 ft }\nwater { temperature = 62 degF }\n";
    let rig = "use \"district.pump\" as district\nsupply deep {\n    draft { lift = 30 ft }\n}\n";
    let db = settled(&[("rig.pump", rig), ("district.pump", district)]);
    // 1976 standard atmosphere at 5000 ft: 12.228 psi, 28.2 ft of water; 30 ft cannot be drawn there.
    let found = messages(&db, "rig.pump");
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(
        found[0].starts_with("a lift of 30.00 ft cannot be drawn"),
        "{found:?}"
    );
}
