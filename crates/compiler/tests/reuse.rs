//! Reuse: functions of one's own, patterns, what is inherited, elements of lists, fields that go with a choice.
//!
//! Numbers are sums and differences done by hand beside each check.

use cutwater_compiler::{Db, results};

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
    db.findings(file)
        .into_iter()
        .map(|f| format!("{} {}", f.code.id, f.message))
        .collect()
}

fn one(text: &str) -> Vec<String> {
    messages(&settled(&[("a.pump", text)]), "a.pump")
}

fn shown(db: &Db, name: &str) -> String {
    let file = db.file("a.pump").expect("the file is there");
    results::of_file(db, file)
        .into_iter()
        .find(|r| r.path == name)
        .unwrap_or_else(|| panic!("no {name}"))
        .value
        .text()
        .to_owned()
}

/// The texts at a finding's place and at its labels.
fn places(text: &str, code: &str) -> Vec<String> {
    let db = settled(&[("a.pump", text)]);
    let file = db.file("a.pump").expect("the file is there");
    let f = db
        .findings(file)
        .into_iter()
        .find(|f| f.code.id == code)
        .unwrap_or_else(|| panic!("no {code}"));
    std::iter::once(f.place)
        .chain(f.labels.iter().map(|l| l.place))
        .map(|p| p.span.slice(text).to_owned())
        .collect()
}

const SEAL: &str =
    "ring seal(hub, play = 0.005 in) {\n    bore    = hub + play\n    runs_on = hub\n}\n";

// ---- functions ----------------------------------------------------------------------------------------

#[test]
fn a_value_given_twice_to_a_function_stays_one_variable() {
    let text = "let hub = 5.497 in ± 0.001\nlet gap(bore, wheel) = (bore - wheel) / 2\nlet none = gap(hub, hub)\nlet some = gap(5.507 in, hub)\n";
    let db = settled(&[("a.pump", text)]);
    assert_eq!(messages(&db, "a.pump"), Vec::<String>::new());
    // hub − hub has no width; (5.507 − 5.497 ± 0.001) / 2 = 0.005 ± 0.0005.
    assert_eq!(shown(&db, "none"), "0.0000 in");
    assert_eq!(shown(&db, "some"), "0.0050 in (0.0045 .. 0.0055 in)");
}

#[test]
fn functions_are_called_across_files_and_in_each_other() {
    let parts = "let half(x) = x / 2\nlet gap(bore, hub) = half(bore - hub)\n";
    let text = "use \"parts.pump\" as parts\nlet a = parts.gap(5.502 in, 5.497 in)\nlet b = parts.gapp(1 in, 2 in)\nlet c = part.gap(1 in, 2 in)\nlet d = std.gap(1 in)\n";
    let db = settled(&[("a.pump", text), ("parts.pump", parts)]);
    assert_eq!(shown(&db, "a"), "0.0025 in");
    assert_eq!(
        messages(&db, "a.pump"),
        [
            "CW0202 there is no function `parts.gapp`; did you mean `gap`?",
            "CW0202 `part` is no file that is brought in here; did you mean `parts`?",
            "CW0202 there is no function `std.gap`",
        ]
    );
    assert_eq!(messages(&db, "parts.pump"), Vec::<String>::new());
}

#[test]
fn a_fault_of_the_body_is_said_there_and_one_of_the_values_at_the_call() {
    let text = "let f(x) = x + nothing\nlet g(x) = x + 1 in\nlet a = f(2 in)\nlet b = f(3 in)\nlet c = g(3 psi)\n";
    let found = one(text);
    assert_eq!(found.len(), 2, "{found:?}");
    assert_eq!(found[0], "CW0202 nothing here is called `nothing`");
    assert!(
        found[1].starts_with("CW0304 `g` does not take what it is given here: cannot add"),
        "{found:?}"
    );
    assert_eq!(places(text, "CW0304")[..2], ["g(3 psi)", "x + 1 in"]);
}

#[test]
fn a_function_does_not_see_the_fields_of_whoever_calls_it() {
    let text = "let f(x) = x + bore\nring r {\n    bore    = 5.502 in\n    runs_on = f(1 in)\n}\n";
    assert_eq!(one(text), ["CW0202 nothing here is called `bore`"]);
}

#[test]
fn circles_of_functions_are_one_finding_with_the_way() {
    let text =
        "let f(x) = g(x)\nlet g(x) = h(x) + f(x)\nlet h(x) = x\nlet a = g(1)\nlet b = f(1)\n";
    assert_eq!(
        one(text),
        ["CW0210 the function `f` calls itself: `f` calls `g` calls `f`"]
    );
    let alone = "let f(x) = f(x - 1)\n";
    assert_eq!(
        one(alone),
        ["CW0210 the function `f` calls itself: `f` calls `f`"]
    );
}

#[test]
fn calls_that_double_at_each_step_end() {
    let mut text = "let f0(x) = x\n".to_owned();
    for k in 1..60 {
        text.push_str(&format!("let f{k}(x) = f{}(x) + f{}(x)\n", k - 1, k - 1));
    }
    text.push_str("let a = f59(1 in)\n");
    let found = one(&text);
    assert!(
        found
            .iter()
            .any(|m| m.starts_with("CW0407 more than 10000 calls")),
        "{found:?}"
    );
}

#[test]
fn what_a_function_takes_is_checked() {
    let text = "let gap(bore, hub) = bore - hub\nlet a = gap(1 in)\nlet b = gap\nlet c = sqrt(1, 2)\nlet w = 3 in\nlet d = w(2)\nlet e = meen(1, 2)\nlet f = max([])\n";
    assert_eq!(
        one(text),
        [
            "CW0221 `gap` takes 2 values, `gap(bore, hub)`, not 1",
            "CW0222 `gap` is a function: it has a value only where it is called, `gap(bore, hub)`",
            "CW0221 `sqrt` takes one value, not 2: `sqrt(a)`",
            "CW0306 `w` is no function to call: it is a value",
            "CW0202 there is no function `meen`; did you mean `mean`?",
            "CW0407 `max` is asked of an empty list: it needs one value or more",
        ]
    );
}

#[test]
fn sums_medians_and_counts() {
    let text = "let all = [3 in, 5 in ± 0.1, 4 in, 9 in]\nlet s = sum(all)\nlet m = median(all)\nlet odd = median(9 in, 1 in, 3 in)\nlet n = count(all, 2 in)\nlet t = sum(60 degF, 70 degF)\n";
    let db = settled(&[("a.pump", text)]);
    // 3 + 5 + 4 + 9 = 21; the middle two of 3 4 5 9 are 4 and 5 ± 0.1.
    assert_eq!(shown(&db, "s"), "21.0000 in (20.9000 .. 21.1000 in)");
    assert_eq!(shown(&db, "m"), "4.5000 in (4.4500 .. 4.5500 in)");
    assert_eq!(shown(&db, "odd"), "3.0000 in");
    assert_eq!(shown(&db, "n"), "5");
    let found = messages(&db, "a.pump");
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].starts_with("CW0304"), "{found:?}");
}

// ---- patterns -----------------------------------------------------------------------------------------

#[test]
fn a_parameter_used_twice_is_one_variable() {
    let text = format!(
        "{SEAL}ring intake like seal(hub = 5.497 in ± 0.001) {{ land_length = 0.75 in }}\n"
    );
    let db = settled(&[("a.pump", &text)]);
    assert_eq!(messages(&db, "a.pump"), Vec::<String>::new());
    // bore − runs_on = hub + 0.005 − hub.
    assert_eq!(shown(&db, "intake.clearance"), "0.0050 in");
    let file = db.file("a.pump").expect("the file is there");
    assert!(
        results::of_file(&db, file)
            .iter()
            .all(|r| !r.path.starts_with("seal")),
        "a pattern has results"
    );
}

#[test]
fn patterns_of_patterns_and_of_other_files() {
    let parts =
        format!("{SEAL}ring tight(hub) like seal(hub = hub, play = 0.003 in) {{ form = plain }}\n");
    let text = "use \"parts.pump\" as parts\nimpeller w {\n    outside_diameter = 9 in\n    hub_diameter     = 5.497 in ± 0.001\n}\nring a like parts.tight(hub = w.hub_diameter) { }\nring b like parts.seal(hub = 6 in, play = 0.006 in) { }\n";
    let db = settled(&[("a.pump", text), ("parts.pump", &parts)]);
    assert_eq!(messages(&db, "a.pump"), Vec::<String>::new());
    assert_eq!(messages(&db, "parts.pump"), Vec::<String>::new());
    assert_eq!(shown(&db, "a.clearance"), "0.0030 in");
    assert_eq!(shown(&db, "b.clearance"), "0.0060 in");
}

#[test]
fn what_fills_a_pattern_is_checked() {
    let text = format!(
        "{SEAL}ring a like seal {{ }}\nring b like seal(hubb = 5 in) {{ }}\nring c like seal(hub = 5 in, hub = 6 in) {{ }}\nring d like c(hub = 5 in) {{ }}\npump p {{\n    rating = 500 gpm at 150 psi\n    rings  = [seal]\n}}\nlet x = seal.clearance\n"
    );
    let found: Vec<String> = one(&text)
        .into_iter()
        .filter(|m| !m.starts_with("CW13"))
        .collect();
    assert_eq!(
        found,
        [
            "CW0221 `a` does not say `hub` to `seal`",
            "CW0221 `b` does not say `hub` to `seal`",
            "CW0221 `seal` takes no `hubb`; did you mean `hub`?",
            "CW0205 `hub` is given twice",
            "CW0221 `c` takes no values: it has no parameters to fill in",
            "CW0222 `seal` is a pattern for rings, not a ring itself",
            "CW0222 `seal` is a pattern for rings, not a ring itself",
        ]
    );
}

#[test]
fn a_value_of_another_kind_is_said_where_it_is_given() {
    let text = "ring seal(hub, width) {\n    bore        = 5.502 in\n    runs_on     = hub\n    land_length = width\n}\nring a like seal(hub = 5.497 in, width = 3 psi) { }\n";
    let found = one(text);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(
        found[0].starts_with(
            "CW0303 `seal` does not take what `a` fills in: `land_length` is a length"
        ),
        "{found:?}"
    );
    assert_eq!(places(text, "CW0303")[..2], ["3 psi", "width"]);
}

#[test]
fn a_middle_pattern_says_its_own_faults_once() {
    let text = "ring seal(hub, width) {\n    bore        = hub + 0.005 in\n    runs_on     = hub\n    land_length = width\n}\nring middle(hub) like seal(hub = hub, width = 3 psi) { }\nring a like middle(hub = 5 in) { }\nring b like middle(hub = 6 in) { }\n";
    let found = one(text);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(
        found[0].starts_with("CW0303 `seal` does not take what `middle` fills in: `land_length`"),
        "{found:?}"
    );
    // What shows only once the hub is known is said where it becomes known.
    let text = format!(
        "{SEAL}ring middle(hub) like seal(hub = hub, play = 2 psi) {{ }}\nring a like middle(hub = 5 in) {{ }}\n"
    );
    let found = one(&text);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(
        found[0].starts_with("CW0304 `seal` does not take what `a` fills in"),
        "{found:?}"
    );
}

#[test]
fn a_pattern_is_read_for_its_own_slips() {
    let text = "ring seal(hub, spare) {\n    bore        = hub + nothing\n    runs_on     = hub\n    land_length = 3 psi\n    widht       = 2 in\n}\n";
    let found = one(text);
    assert_eq!(found.len(), 4, "{found:?}");
    for code in ["CW0202", "CW0204", "CW0223", "CW0303"] {
        assert!(
            found.iter().any(|m| m.starts_with(code)),
            "{code}: {found:?}"
        );
    }
}

#[test]
fn words_and_names_may_be_parameters() {
    let text = "ring seal(hub, shape, metal) {\n    form     = shape\n    bore     = hub + 0.005 in\n    runs_on  = hub\n    material = metal\n}\nring a like seal(hub = 5 in, shape = labyrinth, metal = std.bronze_c90300) { gaps = 3 }\nring b like seal(hub = 5 in, shape = round, metal = a) { }\n";
    let found = one(text);
    assert_eq!(
        found,
        [
            "CW0307 `shape` is one of `plain`, `stepped`, `labyrinth`, not `round`",
            "CW0306 `seal` does not take what `b` fills in: `material` takes a material, but `metal` is a ring",
        ]
    );
}

#[test]
fn lays_and_duties_may_be_patterns() {
    let pump = "pump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi, power hp) {\n          0   200   30\n        300   180   60\n        600   140   90\n    }\n}\nsupply s { draft { lift = 5 ft } }\n";
    let text = format!(
        "{pump}lay one(up, tip) {{ p.discharge -> 50 ft of std.attack_1_3_4 rise up -> n: tip }}\nlay good like one(up = 8 ft, tip = std.fog_150_100) {{ }}\nlay bad like one(tip = std.fog_150_100, up = 8 psi) {{ }}\nlay worse like one(up = 8 ft, tip = p) {{ }}\nduty any(l, aim) {{\n    supply = s\n    lay    = l\n    hold n.pressure = aim\n}}\nduty held like any(l = good, aim = 100 psi) {{ }}\nduty wrong like any(l = good, aim = 100 gpm) {{ }}\n"
    );
    let found: Vec<String> = one(&text);
    let begins = [
        "CW0303 `one` does not take what `bad` fills in: `rise` is a length",
        "`one` does not take what `worse` fills in: ",
        "CW0303 `any` does not take what `wrong` fills in: `n.pressure` is a gauge pressure",
    ];
    assert_eq!(found.len(), begins.len(), "{found:?}");
    for (m, b) in found.iter().zip(begins) {
        assert!(m.contains(b), "{m}");
    }
    assert_eq!(places(&text, "CW0303")[..2], ["8 psi", "up"]);
    // The same lay and hold written out give the same flow.
    let plain = format!(
        "{pump}lay good {{ p.discharge -> 50 ft of std.attack_1_3_4 rise 8 ft -> n: std.fog_150_100 }}\nduty held {{\n    supply = s\n    lay    = good\n    hold n.pressure = 100 psi\n}}\n"
    );
    let (a, b) = (
        settled(&[("a.pump", &text)]),
        settled(&[("a.pump", &plain)]),
    );
    for name in ["held.speed", "held.flow", "held.discharge_pressure"] {
        assert_eq!(shown(&a, name), shown(&b, name));
    }
    // A slip in the chains of a pattern is said in it.
    let slip = format!(
        "{pump}lay one(up) {{ p.discharge -> 50 ft of std.attack_1_3_5 rise up -> n: std.fog_150_100 }}\n"
    );
    let found = one(&slip);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].starts_with("CW0202"), "{found:?}");
}

// ---- like ---------------------------------------------------------------------------------------------

#[test]
fn a_finding_about_an_inherited_value_leads_to_where_it_is_written() {
    let text = "ring first {\n    runs_on         = 5.497 in\n    bore            = 5.502 in\n    clearance_limit = 0.003 .. 0.007 in\n}\nring second like first { runs_on = 5.490 in }\n";
    let found = one(text);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(
        found[0].ends_with("(inherited: `bore` and `clearance_limit` from `first`)"),
        "{found:?}"
    );
    let at = places(text, "CW1213");
    assert_eq!(at[0], "ring second");
    assert!(at.contains(&"5.502 in".to_owned()), "{at:?}");
    assert!(at.contains(&"0.003 .. 0.007 in".to_owned()), "{at:?}");
}

#[test]
fn saying_again_what_is_inherited_is_advice() {
    let text = "impeller a {\n    outside_diameter = 9 in\n    vanes            = 6\n}\nimpeller b like a {\n    outside_diameter = 9.0 in\n    vanes            = 5\n}\n";
    assert_eq!(
        one(text),
        ["CW0227 `outside_diameter` is the same as in `a`, which `b` is like"]
    );
    // Equal by way of another part: the two may part again.
    let text = "impeller a {\n    outside_diameter = 9 in\n    eye_diameter     = 5 in\n}\nlet eye = 5 in\nimpeller b like a { eye_diameter = eye }\n";
    assert_eq!(one(text), Vec::<String>::new());
}

// ---- elements -----------------------------------------------------------------------------------------

#[test]
fn elements_rows_and_columns() {
    let text = "impeller w { outside_diameter = 9 in }\nimpeller v { outside_diameter = 8 in }\npump p {\n    rating = 500 gpm at 150 psi\n    stages = [w, v]\n    curve at 3000 rpm (flow gpm, net psi, power hp) {\n          0   200   30\n        300   180   60\n        600   140    -\n    }\n}\nlet a = p.stages[2].outside_diameter\nlet b = p.curve[2].net\nlet c = max(p.curve.power)\nlet d = p.curve.at\nlet e = sum(p.stages.outside_diameter)\nlet f = p.stages.outside_diameter[1]\nlet n = count(p.curve)\n";
    let db = settled(&[("a.pump", text)]);
    let found: Vec<String> = messages(&db, "a.pump")
        .into_iter()
        .filter(|m| m.starts_with("CW0"))
        .collect();
    assert_eq!(found, Vec::<String>::new());
    assert_eq!(shown(&db, "a"), "8.0000 in");
    assert_eq!(shown(&db, "b"), "180.0 psi");
    assert_eq!(shown(&db, "c"), "60.0 hp");
    assert_eq!(shown(&db, "d"), "3000 rpm");
    assert_eq!(shown(&db, "e"), "17.0000 in");
    assert_eq!(shown(&db, "f"), "9.0000 in");
    assert_eq!(shown(&db, "n"), "3");
}

#[test]
fn elements_that_are_not_there() {
    let text = "let all = [2 in, 3 in]\nlet none = []\nlet a = all[0]\nlet b = all[3]\nlet c = all[1.5]\nlet d = all[1 in]\nlet e = none[1]\nlet f = a[1]\nlet g = b[1]\nlet h = all[1][1]\n";
    assert_eq!(
        one(text),
        [
            "CW0225 `all` has 2 elements, counted from 1: there is no element 0",
            "CW0225 `all` has 2 elements, counted from 1: there is no element 3",
            "CW0225 `all` has 2 elements, counted by whole numbers: there is no element 1.5",
            "CW0225 an element of `all` is named by a whole number, counted from 1, not by a length",
            "CW0225 `none` has no elements: there is no element 1",
            "CW0306 `all[1]` is a length, no list to take an element of",
        ]
    );
}

// ---- choices ------------------------------------------------------------------------------------------

#[test]
fn a_field_of_another_choice_is_told_with_the_choice() {
    let text = "ring a {\n    form    = plain\n    runs_on = 5.497 in\n    bore    = 5.502 in\n    gaps    = 4\n}\nring b {\n    runs_on = 5.497 in\n    bore    = 5.502 in\n    gaps    = 4\n}\n";
    assert_eq!(
        one(text),
        [
            "CW0226 `gaps` belongs to rings with `form = labyrinth`; `a` is plain",
            "CW0226 `gaps` belongs to rings with `form = labyrinth`; `b` states no `form`",
        ]
    );
    assert_eq!(places(text, "CW0226"), ["gaps", "plain"]);
}

#[test]
fn what_does_not_go_with_the_choice_is_not_inherited() {
    let text = "ring a {\n    form        = labyrinth\n    runs_on     = 5.497 in\n    bore        = 5.502 in\n    land_length = 0.25 in\n    gaps        = 4\n}\nring b like a { form = plain }\nlet x = b.gaps\n";
    let db = settled(&[("a.pump", text)]);
    let found = messages(&db, "a.pump");
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(
        found[0].starts_with("CW0408 `b.gaps` has no value"),
        "{found:?}"
    );
    // Four gaps of 0.25 in, and one.
    assert_eq!(shown(&db, "a.path_length"), "1.0000 in");
    assert_eq!(shown(&db, "b.path_length"), "0.2500 in");
}

#[test]
fn every_rule_about_a_choice_names_what_there_is() {
    use cutwater_compiler::schema::{Slot, Type, kind, kinds};
    for k in kinds() {
        let (_, slots) = kind(k.word).expect("a kind");
        for only in k.only {
            let slot = slots.find(only.field).expect("the field is there");
            let (_, Slot::Field(f)) = &slots.list[slot as usize] else {
                panic!("{} is no field of {}", only.field, k.word);
            };
            let Type::Choice(words) = f.ty else {
                panic!("{} is no choice", only.field);
            };
            for w in only.words {
                assert!(words.iter().any(|x| x.0 == *w), "{w}");
            }
            for n in only.names {
                let there = slots.find(n).is_some() || k.groups.iter().any(|g| g.name == *n);
                assert!(there, "{} has no {n}", k.word);
            }
        }
    }
}
