//! Rules of the user's own: over every declaration of a kind, of words, of dates, and of a whole house.

mod common;

use common::*;
use cutwater_compiler::value::{Date, Value};
use cutwater_compiler::{Db, ProjectSettings, settings};
use cutwater_finding::{Finding, Level, Place};

const RINGS: &str = "ring tight {\n    form = labyrinth\n    runs_on = 5.497 in\n    bore = 5.502 in\n    land_length = 0.75 in\n    clearance_limit = 0.003 .. 0.007 in\n}\nring worn like tight { bore = 5.520 in }\nring flat like tight { form = plain }\n";

const HOSE: &str = "    diameter = 1.75 in\n    loss = 15.5 psi per 100 ft at 100 gpm\n";

fn of(db: &Db, path: &str) -> Vec<Finding<Place>> {
    db.findings(db.file(path).expect("the file is there"))
}

/// The settings of a project file that has nothing wrong with it.
fn sound(text: &str) -> ProjectSettings {
    let read = settings::read(text);
    assert!(read.findings.is_empty(), "{:?}", read.findings);
    read.settings
}

fn workspace(settings: &str, files: &[(&str, &str)]) -> Db {
    let mut db = Db::new(sound(settings));
    for (path, text) in files {
        db.set_file(path, *text);
    }
    db.settle(true, None).expect("nothing stops it");
    db
}

fn messages(db: &Db, id: &str) -> Vec<String> {
    findings(db)
        .into_iter()
        .filter(|f| f.code.id == id)
        .map(|f| f.message)
        .collect()
}

// ---- what a rule is about ----------------------------------------------------------------------

#[test]
fn each_declaration_that_fails_is_told_at_its_own_line_with_the_rule_as_a_label() {
    let text = format!(
        "{RINGS}require for every ring r: r.clearance within r.clearance_limit because \"as the shop sets them\"\n"
    );
    let db = settled(&text);
    let f = the(&db, "CW0501");
    assert_eq!(
        f.message,
        "`worn.clearance` is 0.0230 in, not within 0.0030 .. 0.0070 in (as the shop sets them)"
    );
    assert_eq!(covered(&text, f.place), "ring worn");
    let labels: Vec<&str> = f.labels.iter().map(|l| covered(&text, l.place)).collect();
    assert!(labels.contains(&"r.clearance"), "{labels:?}");
    assert!(labels.contains(&"\"as the shop sets them\""), "{labels:?}");
}

#[test]
fn a_field_that_is_written_is_the_place() {
    let text = format!("{RINGS}require for every ring r: r.bore <= 5.51 in\n");
    let f = the(&settled(&text), "CW0501");
    assert_eq!(covered(&text, f.place), "5.520 in");
}

#[test]
fn where_leaves_out_what_the_rule_is_not_about() {
    let text = format!(
        "{RINGS}require for every ring r where r.form is labyrinth and r.bore <= 5.51 in: r.land_length >= 1 in\n"
    );
    assert_eq!(
        messages(&settled(&text), "CW0501"),
        ["`tight.land_length` is 0.7500 in, not >= 1.0000 in"]
    );
}

#[test]
fn a_tolerance_that_reaches_over_the_limit_is_told_of_each() {
    let text = "ring a {\n    bore = 5.502 in ± 0.002\n    runs_on = 5.497 in\n}\nrequire for every ring r: r.clearance within 0.004 .. 0.006 in\n";
    let db = settled(text);
    let f = the(&db, "CW0502");
    assert!(
        f.message.starts_with("`a.clearance` is 0.0050 in"),
        "{}",
        f.message
    );
    assert!(!fires(&db, "CW0501"));
}

#[test]
fn the_files_that_are_used_count_and_what_they_use_in_turn() {
    let db = workspace(
        "",
        &[
            (
                "main.pump",
                "use \"a.pump\" as a\nrequire for every hose h: h.length >= 50 ft because \"our beds\"\n",
            ),
            (
                "a.pump",
                &format!("use \"b.pump\" as b\nhose long {{\n{HOSE}    length = 100 ft\n}}\n"),
            ),
            (
                "b.pump",
                &format!("use \"a.pump\" as a\nhose short {{\n{HOSE}    length = 25 ft\n}}\n"),
            ),
            (
                "c.pump",
                &format!("hose other {{\n{HOSE}    length = 10 ft\n}}\n"),
            ),
        ],
    );
    let found = of(&db, "main.pump");
    assert_eq!(found.len(), 1, "{found:#?}");
    assert_eq!(
        found[0].message,
        "`short.length` is 25.00 ft, not >= 50.00 ft (our beds); `short` is declared in `b.pump`"
    );
    // The finding belongs to the rule's file; the declaration is a label.
    assert_eq!(db.path(found[0].place.file), "main.pump");
    let there = found[0]
        .labels
        .iter()
        .find(|l| db.path(l.place.file) == "b.pump")
        .expect("a label at the declaration");
    assert_eq!(there.place.span.slice(db.text(there.place.file)), "25 ft");
    // It takes nothing by name from what it uses, and has no rule of its own.
    let there = of(&db, "b.pump");
    assert!(
        there.iter().all(|f| f.code.name == "unused-use"),
        "{there:#?}"
    );
}

#[test]
fn of_narrows_to_a_file_a_list_a_declaration_and_what_is_declared_of_it() {
    let gear = format!("hose in_stock {{\n{HOSE}}}\n");
    let text = format!(
        "use \"stock.pump\" as stock\n{RINGS}hose ours {{\n{HOSE}}}\npump main {{\n    rating = 500 gpm at 150 psi\n    rings = [tight, flat]\n}}\npump other {{ rating = 500 gpm at 150 psi }}\nprocedure c {{\n    source = pressurised\n    decision = indicated\n    points (point, capacity %, net psi, hold min) {{ capacity 100 150 20 }}\n}}\ntest good of main {{\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake psi, held min) {{ 500 185 30 20 }}\n}}\ntest elsewhere of other {{\n    procedure = c\n    date = 2020-05-14\n    readings (flow gpm, discharge psi, intake psi, held min) {{ 500 185 30 20 }}\n}}\nlay l {{ main.discharge -> 50 ft of ours -> n: std.fog_150_100 }}\n"
    );
    let about = |rule: &str| {
        let db = workspace(
            "",
            &[
                ("a.pump", &format!("{text}{rule}\n")),
                ("stock.pump", &gear),
            ],
        );
        let mut names: Vec<String> = of(&db, "a.pump")
            .iter()
            .filter(|f| f.code.id == "CW0501")
            .map(|f| f.message.split(['`', '.']).nth(1).unwrap_or("").to_owned())
            .collect();
        names.sort();
        names.dedup();
        names
    };
    let no = "require for every";
    assert_eq!(
        about(&format!("{no} hose h: h.serial is given")),
        ["in_stock", "ours"]
    );
    assert_eq!(
        about(&format!("{no} hose h of stock: h.serial is given")),
        ["in_stock"]
    );
    assert_eq!(
        about(&format!("{no} hose h of l: h.serial is given")),
        ["ours"]
    );
    assert_eq!(
        about(&format!("{no} ring r of main: r.form is stepped")),
        ["flat", "tight"]
    );
    assert_eq!(
        about(&format!("{no} ring r of main.rings: r.form is stepped")),
        ["flat", "tight"]
    );
    assert_eq!(
        about(&format!("{no} test t of main: t.date >= 2027-01-01")),
        ["good"]
    );
    assert_eq!(
        about(&format!("{no} test t: t.verdict is pass")),
        Vec::<String>::new()
    );
    assert_eq!(
        about(&format!("{no} test t: t.verdict is fail")),
        ["elsewhere", "good"]
    );
    // The standard library counts where it is named.
    let std = about(&format!("{no} appliance x of std: x.serial is given"));
    assert!(std.contains(&"gated_wye".to_owned()), "{std:?}");
}

#[test]
fn a_pattern_is_no_part() {
    let text = format!(
        "{RINGS}ring wear_ring(hub) {{\n    bore = hub\n    runs_on = 1 in\n}}\nrequire for every ring r: r.bore <= 5.6 in\n"
    );
    let db = settled(&text);
    assert!(messages(&db, "CW0501").is_empty(), "{:#?}", findings(&db));
    let only = "ring wear_ring(hub) { bore = hub }\nrequire for every ring r: r.bore <= 5.6 in\n";
    assert_eq!(the(&settled(only), "CW0510").level, Level::Advice);
}

#[test]
fn a_rule_that_looks_at_nothing_says_so() {
    let f = the(
        &settled("require for every hose h: h.length >= 50 ft\n"),
        "CW0510",
    );
    assert_eq!(
        f.message,
        "this rule looks at nothing: there is no hose in this file or in those it uses"
    );
    let text = format!(
        "{RINGS}pump p {{\n    rating = 500 gpm at 150 psi\n    rings = [tight]\n}}\nrequire for every impeller i of p: i.mass >= 1 lb\n"
    );
    assert_eq!(
        the(&settled(&text), "CW0510").message,
        "this rule looks at nothing: `p` has no impeller"
    );
}

#[test]
fn words_that_are_no_kind_no_field_and_no_name_are_told_once() {
    let text = format!("{RINGS}require for every rign r: r.bore >= 1 in\n");
    let f = the(&settled(&text), "CW0201");
    assert!(f.message.ends_with("did you mean `ring`?"), "{}", f.message);
    assert_eq!(covered(&text, f.place), "rign");
    let text = format!("{RINGS}require for every ring r: r.clearence >= 1 in\n");
    let f = the(&settled(&text), "CW0202");
    assert_eq!(
        f.message,
        "a ring has no `clearence`; did you mean `clearance`?"
    );
    // A mismatch of units is the rule's own mistake: once, not for each ring.
    let text = format!("{RINGS}require for every ring r: r.bore >= 1 psi\n");
    assert_eq!(
        covered(&text, the(&settled(&text), "CW0304").place),
        "r.bore >= 1 psi"
    );
    let text = format!("{RINGS}require for every ring tight: tight.bore >= 1 in\n");
    assert!(fires(&settled(&text), "CW0203"));
    let text = format!("{RINGS}let least = 1 in\nrequire for every ring r: least <= 2 in\n");
    let f = the(&settled(&text), "CW0511");
    assert_eq!(covered(&text, f.place), "r");
}

#[test]
fn what_is_not_given_is_never_passed_over() {
    let text = format!(
        "hose a {{\n{HOSE}}}\nhose b {{\n{HOSE}    tested = 2025-09-02\n}}\nrequire for every hose h: h.tested within 2025-05-14 .. 2026-05-14 because \"a year between service tests\"\n"
    );
    let f = the(&settled(&text), "CW0512");
    assert_eq!(
        f.message,
        "hose `a` cannot be judged by `h.tested within 2025-05-14 .. 2026-05-14`: `tested` is not given (a year between service tests)"
    );
    assert_eq!(covered(&text, f.place), "hose a");
    // Nor in a filter: nobody knows whether the rule is about it.
    let text = format!(
        "hose a {{\n{HOSE}}}\nrequire for every hose h where h.tested >= 2025-05-14: h.diameter >= 1 in\n"
    );
    assert!(fires(&settled(&text), "CW0512"));
    // Unless the rule says whom it is about.
    let text = text.replace("h.tested >= 2025-05-14:", "h.tested is given:");
    assert!(findings(&settled(&text)).is_empty());
    // What is wrong elsewhere is told there alone.
    let text = format!(
        "hose a {{\n{HOSE}    tested = 2025-02-30\n}}\nrequire for every hose h: h.tested >= 2025-05-14\n"
    );
    let found: Vec<&str> = findings(&settled(&text))
        .iter()
        .map(|f| f.code.id)
        .collect();
    assert_eq!(found, ["CW0404"]);
}

#[test]
fn a_rule_follows_what_is_added_renamed_and_taken_out() {
    let rule = "require for every ring r: r.bore <= 5.51 in\n";
    let mut db = Db::default();
    let count = |db: &mut Db, text: &str| {
        db.set_file("a.pump", text);
        db.settle(true, None).unwrap();
        findings(db)
            .iter()
            .filter(|f| f.code.id == "CW0501")
            .count()
    };
    let tight = "ring tight { bore = 5.502 in }\n";
    assert_eq!(count(&mut db, &format!("{tight}{rule}")), 0);
    let worn = "ring worn { bore = 5.52 in }\n";
    assert_eq!(count(&mut db, &format!("{tight}{worn}{rule}")), 1);
    assert_eq!(
        count(
            &mut db,
            &format!("{tight}{}{rule}", worn.replace("worn", "old"))
        ),
        1
    );
    assert!(messages(&db, "CW0501")[0].starts_with("`old.bore`"));
    assert_eq!(
        count(
            &mut db,
            &format!("{tight}{}{rule}", worn.replace("worn {", "worn(x) {"))
        ),
        0
    );
    assert_eq!(count(&mut db, &format!("{tight}{rule}")), 0);
}

#[test]
fn rules_over_duties_wait_for_the_solution() {
    let text = "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi, power hp) {\n        0 200 30\n        300 180 60\n        600 140 90\n    }\n}\nsupply s { draft { lift = 5 ft } }\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100 }\nduty d {\n    supply = s\n    lay = l\n    hold n.pressure = 100 psi\n}\nrequire for every duty q: q.n.flow >= 160 gpm because \"two on the line\"\n";
    let mut db = Db::default();
    db.set_file("a.pump", text);
    db.settle(false, None).unwrap();
    assert!(!fires(&db, "CW0501") && db.is_pending());
    db.settle(true, None).unwrap();
    // 150 gpm at 100 psi is what the nozzle is rated for.
    assert!(
        the(&db, "CW0501")
            .message
            .starts_with("`d.n.flow` is 150.0 gpm, not >= 160.0 gpm")
    );
}

// ---- is ------------------------------------------------------------------------------------------

#[test]
fn is_compares_words_declarations_texts_and_yes_or_no() {
    let base = format!(
        "{RINGS}hose a {{\n{HOSE}    serial = \"A-1\"\n    in_service = no\n}}\npump p {{\n    rating = 500 gpm at 150 psi\n    stages = [w]\n}}\nimpeller w {{\n    outside_diameter = 9 in\n    vanes = 5\n    material = std.bronze_c90300\n}}\n"
    );
    let holds = |rule: &str| {
        let db = settled(&format!("{base}require {rule}\n"));
        let found: Vec<_> = findings(&db)
            .into_iter()
            .filter(|f| f.level == Level::Error && f.code.id != "CW1213")
            .collect();
        match found.as_slice() {
            [] => true,
            [f] if f.code.id == "CW0501" => false,
            other => panic!("{rule}: {other:#?}"),
        }
    };
    for (rule, expected) in [
        ("tight.form is labyrinth", true),
        ("tight.form is plain", false),
        ("tight.form is not plain", true),
        ("tight.form is not labyrinth", false),
        ("a.in_service is no", true),
        ("a.in_service is yes", false),
        ("a.serial is \"A-1\"", true),
        ("a.serial is not \"A-1\"", false),
        ("w.material is std.bronze_c90300", true),
        ("w.material is not std.bronze_c90300", false),
        ("w.material is std.bronze_c93200", false),
        ("w.vanes is 5", true),
        ("w.vanes is not 5", false),
        ("a.tested is given", false),
        ("a.tested is not given", true),
        ("a.serial is given", true),
        ("tight.clearance is given", true),
    ] {
        assert_eq!(holds(rule), expected, "{rule}");
    }
}

#[test]
fn is_says_what_was_likely_meant() {
    let with = |rule: &str| {
        settled(&format!(
            "{RINGS}hose a {{\n{HOSE}    serial = \"A-1\"\n}}\nrequire {rule}\n"
        ))
    };
    let f = the(&with("tight.form is labyrint"), "CW0307");
    assert_eq!(
        f.message,
        "`tight.form` is one of `plain`, `stepped`, `labyrinth`, never `labyrint`"
    );
    assert_eq!(f.help.as_deref(), Some("write `labyrinth`"));
    let f = the(&with("tight.form is \"labyrinth\""), "CW0307");
    assert!(f.message.contains("without quotes"), "{}", f.message);
    let f = the(&with("a.serial is A1"), "CW0306");
    assert!(f.message.contains("double quotes"), "{}", f.message);
    let f = the(&with("tight.bore is 5.502 in"), "CW0306");
    assert!(f.help.expect("help").contains("never exactly equal"));
    let f = the(&with("a is tight"), "CW0306");
    assert_eq!(
        f.message,
        "`a` is a hose, and `tight` is a ring: they are never the same"
    );
    let f = the(&with("a.in_service is true"), "CW0307");
    assert!(f.message.contains("`yes`, `no`"), "{}", f.message);
    let f = the(&with("tight.form >= plain"), "CW0306");
    assert!(f.help.expect("help").contains("`is`"));
}

// ---- dates -----------------------------------------------------------------------------------------

#[test]
fn days_are_counted_by_the_gregorian_calendar() {
    // Days since 1970-01-01 as POSIX time counts them: 951 782 400 s is 2000-02-29 00:00 UTC, 1 000 000 000 s is
    // 2001-09-09, 2 147 483 647 s is 2038-01-19 (the well-known end of 32-bit time).
    for (y, m, d, seconds) in [
        (1970, 1, 1, 0i64),
        (1969, 12, 31, -86_400),
        (2000, 2, 29, 951_782_400),
        (2001, 9, 9, 1_000_000_000),
        (2038, 1, 19, 2_147_483_647),
    ] {
        let day = Date::new(y, m, d).expect("a day");
        assert_eq!(day.number(), seconds.div_euclid(86_400), "{day}");
    }
    // Each day of twelve hundred years follows the one before, and comes back from its number.
    let mut n = Date::new(1600, 1, 1).expect("a day").number();
    for year in 1600..2800u16 {
        for month in 1..=12 {
            for day in 1..=31 {
                let Some(date) = Date::new(year, month, day) else {
                    continue;
                };
                assert_eq!(date.number(), n);
                assert_eq!(Date::from_number(n), Some(date));
                n += 1;
            }
        }
    }
    assert_eq!(Date::from_number(i64::MAX), None);
    assert_eq!(Date::from_number(-1_000_000), None);
}

#[test]
fn dates_are_compared_and_moved_by_days() {
    let value_of = |text: &str| value(&settled(&format!("let x = {text}\n")), "x.value");
    let date = |y, m, d| Value::Date(Date::new(y, m, d).expect("a day"));
    assert_eq!(value_of("2026-05-14 - 365 d"), date(2025, 5, 14));
    assert_eq!(value_of("2026-02-28 + 1 day"), date(2026, 3, 1));
    assert_eq!(value_of("2 day + 2028-02-28"), date(2028, 3, 1));
    assert_eq!(value_of("2026-05-14 - 48 h"), date(2026, 5, 12));
    let db = settled("let x = 2026-05-14 - 2025-05-14\nlet w = x / 7\n");
    close(measured_in(&db, "x.value", "day"), 365.0, 1e-9);
    assert_eq!(
        value_of("2026-05-14 - 365 d .. 2026-05-14"),
        Value::Period(
            Date::new(2025, 5, 14).expect("a day"),
            Date::new(2026, 5, 14).expect("a day")
        )
    );
    let holds = |rule: &str| {
        let db = settled(&format!(
            "let day = 2026-05-14\nlet season = 2026-04-01 .. 2026-10-31\nrequire {rule}\n"
        ));
        !fires(&db, "CW0501")
    };
    for (rule, expected) in [
        ("day >= 2026-05-14", true),
        ("day > 2026-05-14", false),
        ("day <= 2026-05-13", false),
        ("day < 2026-05-15", true),
        ("day within season", true),
        ("day within 2026-05-14 .. 2026-05-14", true),
        ("day within 2026-05-15 .. 2026-05-16", false),
        ("day - 2025-05-14 <= 365 day", true),
        ("day - 2025-05-14 <= 364 day", false),
        ("day is 2026-05-14", true),
        ("day is not 2026-05-14", false),
    ] {
        assert_eq!(holds(rule), expected, "{rule}");
    }
}

#[test]
fn mistakes_with_dates_are_named() {
    let message = |rule: &str, id: &str| {
        the(
            &settled(&format!("let day = 2026-05-14\nrequire {rule}\n")),
            id,
        )
        .message
    };
    assert_eq!(
        message("day >= 3 in", "CW0306"),
        "`day` is a date and cannot be compared with a length"
    );
    assert_eq!(
        message("day within 2026-05-14", "CW0306"),
        "`day` is a date and cannot lie within a date"
    );
    assert_eq!(
        message("day >= 2026-05-14 - 1 year", "CW0306"),
        "a date moves by whole days, and this time is 365.25 days"
    );
    assert_eq!(
        message("day >= 2026-05-14 + 2026-05-14", "CW0306"),
        "two dates cannot be added"
    );
    assert_eq!(
        message("day within 2026-05-14 .. 2025-05-14", "CW0403"),
        "the first day of this range, 2026-05-14, is after its last one, 2025-05-14"
    );
    assert_eq!(
        message("3 in >= day", "CW0306"),
        "`3 in` is a length and cannot be compared with a date"
    );
    assert!(message("day >= 2026-05-14 + 9999999 day", "CW0407").contains("years 1 to 9999"));
}

// ---- gear --------------------------------------------------------------------------------------------

#[test]
fn like_does_not_take_over_the_facts_of_one_piece() {
    let text = format!(
        "hose a {{\n{HOSE}    serial = \"A-1\"\n    tested = 2025-09-02\n    in_service = no\n}}\nhose b like a {{}}\nhose c like b {{ tested = 2026-01-05 }}\n"
    );
    let db = settled(&text);
    assert_eq!(value(&db, "b.diameter"), value(&db, "a.diameter"));
    assert_eq!(value(&db, "a.in_service"), Value::Choice("no"));
    let db = settled(&format!(
        "{text}require b.tested is not given\nrequire b.serial is not given\nrequire b.in_service is yes\nrequire c.tested >= 2026-01-01\n"
    ));
    assert!(findings(&db).is_empty(), "{:#?}", findings(&db));
}

#[test]
fn dates_of_a_piece_in_an_impossible_order_are_found() {
    for kind in [
        format!("hose g {{\n{HOSE}"),
        "nozzle g {\n    form = smooth\n    tip = 1 in\n".to_owned(),
        "appliance g {\n    loss = 10 psi at 350 gpm\n".to_owned(),
    ] {
        let text = format!("{kind}    made = 2024-03-01\n    placed_in_service = 2024-02-01\n}}\n");
        let f = the(&settled(&text), "CW1404");
        assert!(
            f.message
                .ends_with("went into service on 2024-02-01, before it was made on 2024-03-01"),
            "{}",
            f.message
        );
        assert_eq!(covered(&text, f.place), "2024-02-01");
    }
}

// ---- house rules -----------------------------------------------------------------------------------

const HOUSE: &str = "let most = 0.007 in\nrequire for every ring r: r.clearance <= most because \"as the shop sets them\"\nrequire for every hose h where h.in_service is yes: h.tested >= 2025-05-14 because \"a year\"\n";

#[test]
fn house_rules_hold_for_every_file_and_are_told_there() {
    let hose = format!("hose h1 {{\n{HOSE}}}\nhose h2 {{\n{HOSE}    in_service = no\n}}\n");
    let db = workspace(
        "rules = [\"rules/house.pump\"]",
        &[
            ("rigs/a.pump", RINGS),
            ("parts/hose.pump", &hose),
            ("rules/house.pump", HOUSE),
        ],
    );
    let found = of(&db, "rigs/a.pump");
    assert_eq!(
        found.iter().filter(|f| f.code.id == "CW0501").count(),
        1,
        "{found:#?}"
    );
    let f = found.iter().find(|f| f.code.id == "CW0501").expect("told");
    assert!(
        f.message
            .starts_with("`worn.clearance` is 0.0230 in, not <= 0.0070 in"),
        "{}",
        f.message
    );
    assert_eq!(db.path(f.place.file), "rigs/a.pump");
    assert_eq!(
        f.source.as_deref(),
        Some("a house rule, in rules/house.pump")
    );
    assert!(
        f.labels
            .iter()
            .any(|l| db.path(l.place.file) == "rules/house.pump")
    );
    let found: Vec<String> = of(&db, "parts/hose.pump")
        .into_iter()
        .map(|f| f.message)
        .collect();
    assert_eq!(
        found,
        ["hose `h1` cannot be judged by `h.tested >= 2025-05-14`: `tested` is not given (a year)"]
    );
    // In their own file they look at nothing else, and that is no fault.
    assert!(
        of(&db, "rules/house.pump").is_empty(),
        "{:#?}",
        of(&db, "rules/house.pump")
    );
}

#[test]
fn house_rules_are_followed_while_they_are_written() {
    let mut db = workspace(
        "rules = [\"house.pump\"]",
        &[
            (
                "a.pump",
                "ring worn {\n    bore = 5.52 in\n    runs_on = 5.497 in\n    clearance_limit = 0.01 .. 0.03 in\n}\n",
            ),
            ("house.pump", HOUSE),
        ],
    );
    assert_eq!(of(&db, "a.pump").len(), 1);
    let wider = HOUSE.replace("0.007", "0.030");
    db.set_file("house.pump", wider.as_str());
    db.settle(true, None).unwrap();
    assert!(of(&db, "a.pump").is_empty());
    // A rule with a slip is told where it stands, and nothing is judged by it.
    let slip = HOUSE.replace("r.clearance", "r.clearence");
    db.set_file("house.pump", slip.as_str());
    db.settle(true, None).unwrap();
    assert!(of(&db, "a.pump").is_empty());
    assert_eq!(of(&db, "house.pump")[0].code.id, "CW0202");
    // So is one whose limit has another unit than what it looks at.
    let units = HOUSE.replace("<= most", "<= 3 psi");
    db.set_file("house.pump", units.as_str());
    db.settle(true, None).unwrap();
    assert!(of(&db, "a.pump").is_empty());
    let found = of(&db, "house.pump");
    assert!(
        found[0]
            .message
            .starts_with("cannot compare length with pressure difference"),
        "{found:#?}"
    );
    // What fits some declarations only is told of those that it cannot judge.
    let some = HOUSE.replace(
        "r.clearance <= most",
        "r.clearance / (r.bore - 5.52 in) <= 1",
    );
    db.set_file("house.pump", some.as_str());
    db.settle(true, None).unwrap();
    let found = of(&db, "a.pump");
    assert!(
        found[0]
            .message
            .starts_with("ring `worn` cannot be judged by a house rule: "),
        "{found:#?}"
    );
    db.remove_file("house.pump");
    db.settle(true, None).unwrap();
    assert_eq!(of(&db, "a.pump")[0].code.id, "CW0513");
    db.set_file("house.pump", wider.as_str());
    db.settle(true, None).unwrap();
    assert!(of(&db, "a.pump").is_empty());
}

#[test]
fn house_rules_are_loaded_though_nobody_uses_them_and_stay_inside_the_workspace() {
    let mut db = Db::new(sound("rules = [\"./rules/house.pump\"]"));
    db.set_file("a.pump", RINGS);
    assert_eq!(db.wanted_files(), ["rules/house.pump"]);
    for bad in ["../house.pump", "/etc/house.pump", ""] {
        let text = format!("rules = [\"{bad}\"]");
        let read = settings::read(&text);
        let [f] = read.findings.as_slice() else {
            panic!("{bad:?}: {:?}", read.findings);
        };
        assert_eq!(f.place.slice(&text), format!("\"{bad}\""));
        assert!(read.settings.rules().is_empty());
    }
}

#[test]
fn rules_of_a_folder_stand_in_place_of_those_at_the_top_and_follow_the_settings() {
    let both = "rules = [\"house.pump\"]\n[[folder]]\npath = \"old\"\nrules = []\n";
    let house =
        "require for every ring r: r.clearance within 0.003 in .. 0.007 in because \"house\"\n";
    let files = [
        ("a.pump", RINGS),
        ("old/b.pump", RINGS),
        ("house.pump", house),
    ];
    let mut db = workspace(both, &files);
    let failed = |db: &Db, path: &str| {
        let all = of(db, path);
        all.iter().filter(|f| f.code.id == "CW0501").count()
    };
    assert_eq!((failed(&db, "a.pump"), failed(&db, "old/b.pump")), (1, 0));
    for (text, want) in [
        ("", (0, 0)),
        ("rules = [\"house.pump\"]", (1, 1)),
        (both, (1, 0)),
    ] {
        db.set_settings(sound(text));
        db.settle(true, None).unwrap();
        assert_eq!(
            (failed(&db, "a.pump"), failed(&db, "old/b.pump")),
            want,
            "{text}"
        );
    }
}

#[test]
fn a_house_file_named_for_one_folder_alone_looks_at_nothing_by_itself() {
    let only = "[[folder]]\npath = \"old\"\nrules = [\"house.pump\"]\n";
    let mut db = workspace(only, &[("old/b.pump", RINGS), ("house.pump", HOUSE)]);
    assert!(
        of(&db, "house.pump").is_empty(),
        "{:#?}",
        of(&db, "house.pump")
    );
    assert!(of(&db, "old/b.pump").iter().any(|f| f.code.id == "CW0501"));
    // Named by no settings it is a file as any other.
    assert!(db.set_settings(sound("")));
    db.settle(true, None).unwrap();
    assert_eq!(of(&db, "house.pump")[0].code.id, "CW0510");
    assert!(!of(&db, "old/b.pump").iter().any(|f| f.code.id == "CW0501"));
}

#[test]
fn numbers_of_a_house_rule_are_shown_in_the_units_of_the_file_that_is_judged() {
    let text = "units = \"metric\"\nrules = [\"rules/house.pump\"]\n[[folder]]\npath = \"rules\"\nunits = \"us\"\n";
    let pump = "pump p { rating = 1250 gpm at 150 psi }\n";
    let rule = "require for every pump q: q.rating.flow * 2 / 2 * 1 / 1000 L/min * 1000 L/min <= 1000 gpm\n";
    let read = |text: &str| {
        let db = workspace(text, &[("a.pump", pump), ("rules/house.pump", rule)]);
        let found = of(&db, "a.pump");
        let f = found.iter().find(|f| f.code.id == "CW0501").expect("told");
        f.message.clone()
    };
    assert!(read(text).contains(" is 4732 L/min"), "{}", read(text));
}

#[test]
fn a_rule_over_several_lines_is_told_on_one() {
    let text = format!(
        "{RINGS}hose a {{\n{HOSE}}}\nrequire for every ring r where r.form is plain:\n    r.bore  // as bored\n    - r.runs_on <= 0.001 in\n    because \"a test\"\nrequire for every hose h:\n    h.tested within 2025-05-14\n    .. 2026-05-14\n"
    );
    let db = settled(&text);
    for f in findings(&db) {
        assert!(!f.message.contains(['\n', '/']), "{}", f.message);
    }
    assert!(
        the(&db, "CW0501")
            .message
            .starts_with("`flat.bore - flat.runs_on` is 0.0050 in"),
        "{:#?}",
        findings(&db)
    );
    assert!(
        the(&db, "CW0512")
            .message
            .contains("`h.tested within 2025-05-14 .. 2026-05-14`"),
        "{:#?}",
        findings(&db)
    );
}
