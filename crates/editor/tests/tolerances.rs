//! What hover and inlay hints say of toleranced values and of tolerance classes.

use cutwater_compiler::Db;
use cutwater_editor::{HintKind, hints, hover};
use cutwater_text::Span;

const TEXT: &str = "\
let sleeve = 45 mm H7
let pin = 45 mm f7
let gap = sleeve - pin
ring seal {
    runs_on = 5.497 in ± 0.001
    bore    = 1.5 in p6 + 4 in ± 0.002
}
let odd = 45 mm Q7
let far = 600 mm H7 // too far
";

fn at(what: &str) -> String {
    let mut db = Db::default();
    db.set_file("a.pump", TEXT);
    db.settle(true, None).unwrap();
    let file = db.file("a.pump").unwrap();
    let offset = TEXT.find(what).unwrap();
    hover(&db, file, offset).map_or(String::new(), |h| h.text)
}

#[test]
fn a_size_with_a_class_shows_its_limits() {
    // H7 over 30 up to 50 mm is +25/0 µm, f7 is -25/-50 (Narayana, Machine Drawing, tables 15.2 and 15.3).
    for what in ["sleeve =", "45 mm H7"] {
        let h = at(what);
        assert!(h.contains("**45.000 mm H7** = 45.000 .. 45.025 mm"), "{h}");
    }
    let h = at("pin =");
    assert!(h.contains("**45.000 mm f7** = 44.950 .. 44.975 mm"), "{h}");
}

#[test]
fn a_class_explains_itself() {
    let h = at("H7\nlet pin");
    assert!(h.contains("holes") && h.contains("IT7"), "{h}");
    assert!(h.contains("For 45.000 mm: +25 / 0 µm"), "{h}");
    // 1.5 in is 38.1 mm; p6 over 30 up to 50 mm is +42/+26 µm.
    let h = at("p6 + 4");
    assert!(h.contains("shafts") && h.contains("IT6"), "{h}");
    assert!(h.contains("For 38.100 mm: +42 / +26 µm"), "{h}");
    // No such class; and a class without limits at that size: nothing is made up.
    assert_eq!(at("Q7"), "");
    let h = at("H7 //");
    assert!(h.contains("holes") && !h.contains('µ'), "{h}");
}

#[test]
fn both_ranges_and_what_contributes() {
    // By hand: +25/0 less -25/-50 is 25 to 75 µm; the middle 50 ± √2 · 12.5 = 32.3 to 67.7.
    let h = at("gap =");
    assert!(h.contains("worst case: 0.025 .. 0.075 mm"), "{h}");
    assert!(h.contains("root-sum-square: 0.032 .. 0.068 mm"), "{h}");
    for part in ["`sleeve`", "`pin`"] {
        assert!(
            h.contains(&format!(
                "- {part}: 0.025 mm wide, 50 % of the worst case, 50 % of the root-sum-square"
            )),
            "{h}"
        );
    }
    // Two tolerances in one expression are told apart.
    let h = at("bore ");
    assert!(h.contains("`seal.bore (tolerance 2)`"), "{h}");
}

#[test]
fn limits_stand_beside_a_size_with_a_class() {
    let text = "let sleeve = 45 mm H7\nlet plain = 45 mm\nimpeller w {\n    outside_diameter = 9.25 in\n    hub_diameter = 140 mm f7\n}\nring r {\n    bore = 140 mm H8\n    runs_on = w.hub_diameter\n}\n";
    let mut db = Db::default();
    db.set_file("a.pump", text);
    db.settle(true, None).unwrap();
    let file = db.file("a.pump").unwrap();
    let all = hints(&db, file, Span::new(0, text.len()), |k| {
        k == HintKind::Values
    });
    let shown: Vec<(&str, &str)> = all
        .iter()
        .map(|h| {
            (
                text[..h.offset].rsplit('\n').next().unwrap().trim(),
                h.label.as_str(),
            )
        })
        .collect();
    // H7 at 45 mm +25/0, f7 at 140 mm -43/-83, H8 at 140 mm +63/0 (the tables named above).
    assert_eq!(
        shown,
        [
            ("let sleeve = 45 mm H7", "= 45.000 .. 45.025 mm"),
            ("hub_diameter = 140 mm f7", "= 139.917 .. 139.957 mm"),
            ("bore = 140 mm H8", "= 140.000 .. 140.063 mm"),
        ]
    );
}
