//! Functions, patterns, what is inherited and elements of lists, as an editor asks for them.

use cutwater_compiler::Db;
use cutwater_editor::{completion::completions, definition::definition, hover::hover};

const TEXT: &str = "let gap(bore, hub) = (bore - hub) / 2\nimpeller wheel {\n    outside_diameter = 9 in\n}\nring seal(hub, play = 0.005 in) {\n    bore    = hub + play\n    runs_on = hub\n}\nring front like seal(hub = 5.497 in) { form = plain }\nring rear like front { land_length = 0.75 in }\npump main {\n    rating = 500 gpm at 150 psi\n    stages = [wheel]\n}\nlet a = gap(front.bore, front.runs_on)\nlet d = main.stages[1].outside_diameter\nring new like \n";

fn db() -> Db {
    let mut db = Db::default();
    db.set_file("a.pump", TEXT);
    db.settle(true, None).expect("nothing stops it");
    db
}

/// The offset just behind the start of `part` within the first place where `whole` stands.
fn at(whole: &str, part: &str) -> usize {
    let from = TEXT.find(whole).expect("it stands there");
    from + whole.find(part).expect("and in it") + 1
}

fn hovered(whole: &str, part: &str) -> String {
    let db = db();
    let file = db.file("a.pump").expect("a file");
    hover(&db, file, at(whole, part)).map_or_else(String::new, |h| h.text)
}

fn defined(whole: &str, part: &str) -> &'static str {
    let db = db();
    let file = db.file("a.pump").expect("a file");
    let d = definition(&db, file, at(whole, part)).expect("a definition");
    d.whole.span.slice(TEXT)
}

#[test]
fn hover_tells_functions_patterns_and_where_values_come_from() {
    let gap = hovered("gap(front", "gap");
    assert!(
        gap.contains("let gap(bore, hub) = (bore - hub) / 2"),
        "{gap}"
    );
    assert!(hovered("ring seal", "seal").contains("A pattern, and no part itself"));
    assert!(hovered("play = 0.005", "play").contains("otherwise `0.005 in`"));
    assert!(hovered("like seal(hub = 5.497", "hub").contains("a parameter of the pattern"));
    let rear = hovered("ring rear", "rear");
    assert!(
        rear.contains("Inherits `form` from ring `front`."),
        "{rear}"
    );
    assert!(
        rear.contains("Inherits `runs_on`, `bore` from ring `seal`."),
        "{rear}"
    );
    assert!(hovered("[1].outside_diameter", "outside").contains("9.0000 in"));
}

#[test]
fn definition_follows_calls_parameters_elements_and_what_is_inherited() {
    assert_eq!(
        defined("gap(front", "gap"),
        "let gap(bore, hub) = (bore - hub) / 2"
    );
    assert_eq!(defined("(bore - hub) / 2", "hub"), "hub");
    assert_eq!(defined("hub + play", "play"), "play");
    assert_eq!(defined("like seal(hub = 5.497", "hub"), "hub");
    assert_eq!(
        defined("[1].outside_diameter", "outside"),
        "outside_diameter = 9 in"
    );
    assert_eq!(defined("front.bore", "bore"), "bore    = hub + play");
}

#[test]
fn completion_offers_patterns_after_like_alone_and_functions_among_values() {
    let db = db();
    let file = db.file("a.pump").expect("a file");
    let labels = |offset: usize| -> Vec<(String, Option<String>)> {
        let (_, list) = completions(&db, file, offset);
        list.into_iter().map(|c| (c.label, c.insert)).collect()
    };
    let like =
        labels(TEXT.find("ring new like ").expect("it stands there") + "ring new like ".len());
    assert!(
        like.contains(&("seal".to_owned(), Some("seal(hub = ".to_owned()))),
        "{like:?}"
    );
    assert!(like.iter().any(|l| l.0 == "front"), "{like:?}");
    let value = labels(TEXT.find("let a = ").expect("it stands there") + "let a = ".len());
    assert!(
        value.contains(&("gap".to_owned(), Some("gap(".to_owned()))),
        "{value:?}"
    );
    assert!(value.iter().all(|l| l.0 != "seal"), "{value:?}");
    // A plain ring has no gaps.
    let fields = labels(TEXT.find("form = plain").expect("it stands there"));
    assert!(fields.iter().any(|l| l.0 == "land_length"), "{fields:?}");
    assert!(fields.iter().all(|l| l.0 != "gaps"), "{fields:?}");
}
