//! What the editor knows inside a rule over every declaration of a kind.

use cutwater_compiler::Db;
use cutwater_editor::{completions, definition, hover};

const RING: &str = "ring intake {\n    form = labyrinth\n    bore = 5.502 in\n    runs_on = 5.497 in\n}\npump main { rating = 500 gpm at 150 psi }\n";

/// The text with the caret's `|` taken out, settled, and where the caret stood.
fn at(rule: &str) -> (Db, cutwater_finding::FileId, usize, String) {
    let text = format!("{RING}{rule}\n");
    let caret = text.find('|').expect("a caret");
    let text = text.replacen('|', "", 1);
    let mut db = Db::default();
    let file = db.set_file("a.pump", text.as_str());
    db.settle(true, None).expect("nothing stops it");
    (db, file, caret, text)
}

fn offered(rule: &str) -> Vec<String> {
    let (db, file, caret, _) = at(rule);
    completions(&db, file, caret)
        .1
        .into_iter()
        .map(|c| c.label)
        .collect()
}

#[test]
fn completion_offers_what_a_rule_can_say_next() {
    let has = |rule: &str, word: &str| offered(rule).iter().any(|l| l == word);
    assert!(has("require for every |", "ring"));
    assert!(!has("require for every |", "require"));
    assert!(has("require for every ring r: r.|", "clearance"));
    assert!(has("require for every ring r: r.cl|", "clearance"));
    assert!(has("require for every supply s: s.draft.|", "lift"));
    assert!(!has("require for every hose h: h.|", "clearance"));
    assert!(has("require for every ring r: |", "r"));
    assert!(has("require for every ring r where |", "r"));
    assert!(has(
        "require for every ring r where r.bore >= 1 in and |",
        "r"
    ));
    assert!(has("require for every ring r of |", "main"));
    assert!(has("require for every ring r: r.form is |", "labyrinth"));
    assert!(has("require for every ring r: r.form is not |", "plain"));
    assert!(has("require intake.form is |", "stepped"));
    assert!(has("require for every ring r: r.seat is |", "given"));
}

#[test]
fn hover_and_definition_follow_the_name_that_stands_for_each() {
    let (db, file, caret, text) = at("require for every ring r: r.clea|rance <= 0.01 in");
    let h = hover(&db, file, caret).expect("a hover");
    assert!(h.text.contains("**clearance** of ring"), "{}", h.text);
    let (db, file, caret, _) = at("require for every ring r: |r.clearance <= 0.01 in");
    let h = hover(&db, file, caret).expect("a hover");
    assert!(h.text.contains("each **ring** in turn"), "{}", h.text);
    let d = definition(&db, file, caret).expect("a definition");
    let name = d.name.span.slice(&text);
    assert_eq!(name, "r");
    assert!(text[..d.name.span.start as usize].ends_with("for every ring "));
}
