//! Acceptances: what they cover, when they end, and that they are told when they cover nothing.

use cutwater_compiler::value::Date;
use cutwater_compiler::{Db, Found, Standing, settings};
use cutwater_finding::{FixTier, Place};

/// A ring that is tighter than its limit (CW1213) and thinner than usual. Invented numbers.
const RING: &str = "ring r {
    bore            = 5.498 in
    runs_on         = 5.497 in
    clearance_limit = 0.003 .. 0.007 in
}
";

fn today() -> Option<Date> {
    Date::new(2026, 6, 1)
}

fn found_in(files: &[(&str, &str)], which: &str) -> Vec<Found> {
    let mut db = Db::default();
    db.set_today(today());
    for (path, text) in files {
        db.set_file(path, *text);
    }
    db.settle(true, None).unwrap();
    db.found(db.file(which).unwrap())
}

fn found(text: &str) -> Vec<Found> {
    found_in(&[("a.pump", text)], "a.pump")
}

/// The codes that count, and the codes that are accepted.
fn codes(found: &[Found]) -> (Vec<&'static str>, Vec<&'static str>) {
    let is_accepted = |f: &&Found| matches!(f.standing, Standing::Accepted(_));
    let ids = |l: Vec<&Found>| l.iter().map(|f| f.finding.code.id).collect();
    let (accepted, open) = found.iter().partition(is_accepted);
    (ids(open), ids(accepted))
}

fn with(line: &str) -> String {
    RING.replace("}\n", &format!("    {line}\n}}\n"))
}

#[test]
fn the_ring_alone_has_the_finding() {
    assert!(
        codes(&found(RING)).0.contains(&"CW1213"),
        "{:?}",
        found(RING)
    );
}

#[test]
fn a_line_in_a_block_covers_that_declaration_only() {
    let one = with("accept CW1213 because \"old casting\"");
    let (open, accepted) = codes(&found(&one));
    assert!(
        !open.contains(&"CW1213") && accepted == ["CW1213"],
        "{open:?}"
    );
    let two = format!("{one}{}", RING.replace("ring r", "ring s"));
    let (open, accepted) = codes(&found(&two));
    assert!(
        open.contains(&"CW1213") && accepted == ["CW1213"],
        "{open:?}"
    );
    let f = found(&one);
    let Some(Standing::Accepted(a)) = f
        .iter()
        .map(|f| &f.standing)
        .find(|s| **s != Standing::Open)
    else {
        panic!("accepted")
    };
    assert_eq!((a.reason.as_str(), a.until), ("old casting", None));
}

#[test]
fn on_narrows_to_a_field_a_group_or_a_path_below() {
    let all = found(RING);
    let f = all.iter().find(|f| f.finding.code.id == "CW1213").unwrap();
    let field = f.subject.strip_prefix("r.").unwrap_or("").to_owned();
    // The limit is not where it stands, but what it speaks of, too.
    for (on, covers) in [
        (field.as_str(), true),
        ("clearance_limit", true),
        ("land_length", false),
    ] {
        let t = with(&format!("accept CW1213 on {on} because \"x\""));
        assert_eq!(codes(&found(&t)).1 == ["CW1213"], covers, "{on}");
    }
}

#[test]
fn a_line_at_the_top_covers_rules_and_not_declarations() {
    let rules = "let a = 3.001 in ± 0.002\nlet b = a\nrequire a >= 3 in\nrequire b >= 3 in\n";
    let (open, accepted) = codes(&found(&format!(
        "{rules}accept CW0502 on a because \"measured\"\n"
    )));
    assert_eq!((open, accepted), (vec!["CW0502"], vec!["CW0502"]));
    let (open, accepted) = codes(&found(&format!(
        "{rules}accept CW0502 because \"measured\"\n"
    )));
    assert_eq!((open, accepted), (vec!["CW0706"], vec!["CW0502"; 2]));
    let (open, accepted) = codes(&found(&format!("{RING}accept CW1213 because \"x\"\n")));
    assert!(open.contains(&"CW1213") && open.contains(&"CW0704") && accepted.is_empty());
}

#[test]
fn a_path_before_what_is_spoken_of_covers_it() {
    let text = "impeller w {\n    outside_diameter = 9.25 in ± 0.01\n}\nrequire w.outside_diameter >= 9.245 in\n";
    for on in ["w", "w.outside_diameter"] {
        let (open, accepted) = codes(&found(&format!(
            "{text}accept CW0502 on {on} because \"x\"\n"
        )));
        assert_eq!((open, accepted), (vec![], vec!["CW0502"]), "{on}");
    }
}

#[test]
fn past_its_day_a_line_no_longer_covers() {
    let line = |day: &str| {
        with(&format!(
            "accept CW1213 because \"till the rebuild\" until {day}"
        ))
    };
    // The last day still counts.
    assert_eq!(codes(&found(&line("2026-06-01"))).1, ["CW1213"]);
    let past = found(&line("2026-05-31"));
    let (open, accepted) = codes(&past);
    assert!(open.contains(&"CW1213") && open.contains(&"CW0705") && accepted.is_empty());
    let f = past.iter().find(|f| f.finding.code.id == "CW1213").unwrap();
    assert!(
        f.finding
            .labels
            .iter()
            .any(|l| l.text.contains("2026-05-31")),
        "{:?}",
        f.finding.labels
    );
    // Without a clock no line is past its day.
    let mut db = Db::default();
    let file = db.set_file("a.pump", line("2001-01-01"));
    db.settle(true, None).unwrap();
    assert!(db.findings(file).iter().all(|f| f.code.id != "CW0705"));
}

#[test]
fn a_line_that_is_wrong_covers_nothing() {
    for (line, says) in [
        ("accept CW1123 because \"x\"", "CW0701"),
        ("accept CW1213 because \" \"", "CW0703"),
        ("accept CW1213 because \"x\" until 2027-02-30", "CW0404"),
        ("accept CW1213", "CW0101"),
        ("accept CW0206 because \"x\"", "CW0702"),
        ("accept CW1613 because \"x\"", "CW0702"),
        ("accept CW0704 because \"x\"", "CW0702"),
    ] {
        let (open, accepted) = codes(&found(&with(line)));
        assert!(
            open.contains(&"CW1213") && open.contains(&says) && accepted.is_empty(),
            "{line}: {open:?} {accepted:?}"
        );
        assert!(
            !open.contains(&"CW0704") || says == "CW0704",
            "{line}: {open:?}"
        );
    }
}

/// Takes a finding's fix.
fn fixed(text: &str, code: &str) -> (String, FixTier) {
    let all = found(text);
    let f = all.iter().find(|f| f.finding.code.id == code).unwrap();
    let fix = f.finding.fix.clone().expect("a fix");
    let mut out = text.to_owned();
    for e in &fix.edits {
        let Place { span, .. } = e.place;
        out.replace_range(span.range(), &e.text);
    }
    (out, fix.tier)
}

#[test]
fn what_accepts_nothing_is_told_and_taken_out() {
    let good = RING.replace("5.498", "5.502");
    for (line, rest) in [
        ("    accept CW1213 because \"x\"\n", ""),
        ("    accept CW1213 because \"x\" // why\n", "     // why\n"),
    ] {
        let text = good.replace("}\n", &format!("{line}}}\n"));
        let (mended, tier) = fixed(&text, "CW0704");
        assert_eq!(tier, FixTier::Safe);
        assert_eq!(mended, good.replace("}\n", &format!("{rest}}}\n")));
    }
    let top = format!("{good}accept CW0502 because \"x\"\n");
    assert_eq!(fixed(&top, "CW0704").0, good);
    // A second line for the same finding.
    let two = with("accept CW1213 because \"x\"\n    accept CW1213 because \"y\"");
    let (mended, _) = fixed(&two, "CW0704");
    assert_eq!(mended, with("accept CW1213 because \"x\""));
}

#[test]
fn a_misspelt_name_after_on_is_told() {
    let text = with("accept CW1213 on clearence_limit because \"x\"");
    let (mended, tier) = fixed(&text, "CW0704");
    assert_eq!(mended, text.replace("clearence", "clearance"));
    assert_eq!(tier, FixTier::NeedsALook);
    // The right name of the wrong field: where the finding is.
    let text = with("accept CW1213 on land_length because \"x\"");
    assert_eq!(
        fixed(&text, "CW0704").0,
        text.replace("land_length", "bore")
    );
    let text = "let a = 2 in\nlet b = 1 in\nrequire a >= 3 in\naccept CW0501 on b because \"x\"\n";
    assert_eq!(fixed(text, "CW0704").0, text.replace("on b", "on a"));
}

#[test]
fn nothing_is_said_while_what_it_hangs_on_is_wrong() {
    for broken in [
        RING.replace("5.498 in", "5.498 inn"),
        RING.replace("5.497 in", "w.hub"),
        format!("let x = 3 inn\n{}", RING.replace("5.497 in", "x")),
    ] {
        let text = broken.replace("}\n", "    accept CW1213 because \"x\"\n}\n");
        let (open, _) = codes(&found(&text));
        assert!(!open.contains(&"CW0704"), "{text}: {open:?}");
    }
    // Nor before a duty is solved.
    let text = "supply s { tank { level = 4 ft   loss = 4 psi at 500 gpm } }\npump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi, power hp) {\n        0 200 30\n        300 180 60\n        600 140 90\n    }\n}\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100 }\nduty d1 {\n    supply = s\n    lay = l\n    hold n.pressure = 100 psi\n    accept CW1618 because \"a stand\"\n}\n";
    let mut db = Db::default();
    let file = db.set_file("a.pump", text);
    db.settle(false, None).unwrap();
    let unused = |db: &Db| db.findings(file).iter().any(|f| f.code.id == "CW0704");
    assert!(db.is_pending() && !unused(&db));
    db.settle(true, None).unwrap();
    assert!(unused(&db), "{:?}", db.found(file));
}

#[test]
fn a_pattern_hands_its_lines_on_and_plain_likeness_does_not() {
    let base = with("accept CW1213 because \"old casting\"");
    let like = format!("{base}ring s like r {{ land_length = 0.75 in }}\n");
    let (open, accepted) = codes(&found(&like));
    assert!(
        open.contains(&"CW1213") && accepted == ["CW1213"],
        "{open:?}"
    );
    // A pattern's line goes for whoever fills it in, here and in other files, and is never called useless.
    let pattern = "ring wear(hub) {\n    runs_on = hub\n    bore = hub\n    accept CW1213 on clearance_limit because \"old casting\"\n}\n";
    // Filled in whole, nothing of the part is written where it stands.
    let whole = "ring wear(hub) {\n    runs_on = hub\n    bore = hub + 0.001 in\n    clearance_limit = 0.003 .. 0.007 in\n    accept CW1213 on clearance_limit because \"old casting\"\n}\nring r like wear(hub = 5.497 in) { }\n";
    let (open, accepted) = codes(&found(whole));
    assert!(
        !open.contains(&"CW1213") && accepted == ["CW1213"],
        "{open:?}"
    );
    let other = found(&whole.replace("on clearance_limit", "on land_length"));
    assert!(codes(&other).0.contains(&"CW1213"));
    let part = |base: &str| {
        RING.replace(
            "ring r {",
            &format!("ring r like {base}(hub = 5.497 in) {{"),
        )
    };
    let here = found(&format!("{pattern}{}", part("wear")));
    let (open, accepted) = codes(&here);
    assert!(
        !open.contains(&"CW1213") && !open.contains(&"CW0704") && accepted == ["CW1213"],
        "{open:?}"
    );
    let used = format!("use \"parts/p.pump\" as p\n{}", part("p.wear"));
    let files = [("parts/p.pump", pattern), ("a.pump", used.as_str())];
    let (open, accepted) = codes(&found_in(&files, "a.pump"));
    assert!(
        !open.contains(&"CW1213") && accepted == ["CW1213"],
        "{open:?}"
    );
    let (open, _) = codes(&found_in(&files, "parts/p.pump"));
    assert!(!open.contains(&"CW0704"), "{open:?}");
}

#[test]
fn levels_do_not_make_a_line_useless() {
    let mut db = Db::new(settings::read("[levels]\nCW1213 = \"off\"\n").settings);
    let file = db.set_file("a.pump", with("accept CW1213 because \"x\""));
    db.settle(true, None).unwrap();
    assert!(db.found(file).iter().all(|f| f.finding.code.id != "CW0704"));
}
