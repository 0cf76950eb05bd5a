//! Differential test: thousands of random edits applied one after the other give exactly the findings and
//! values of a check from scratch, whatever the edits break on the way.

use cutwater_compiler::value::Date;
use cutwater_compiler::{Db, ProjectSettings, results, settings};
use proptest::prelude::*;

/// Lines a file may be made of. Together they hold references forwards and backwards, across files, cycles,
/// duplicates, broken text, tolerances, a duty and a requirement.
const LINES: &[&str] = &[
    "site { altitude = 820 ft }",
    "water { temperature = 62 degF }",
    "let a = 2 in",
    "let a = b + 1 in",
    "let b = c * 2",
    "let b = 3 in ± 0.1",
    "let c = a / 2",
    "let c = w.outside_diameter",
    "let d = r.clearance",
    "let d = other.spare",
    "let g = 5 in (-0.001/+0.002)",
    "let g = 0.007 .. 0.003 in",
    "let g = 5 gpm + 4 igpm",
    "let e = other.b + a",
    "let f = other.w.outside_diameter - w.outside_diameter",
    "use \"other.pump\" as other",
    "use \"main.pump\" as other",
    "use \"none.pump\" as none",
    "impeller w {",
    "impeller w like v {",
    "impeller v {",
    "    outside_diameter = 9.25 in ± 0.004",
    "    outside_diameter = a * 2",
    "    hub_diameter = 5.497 in (+0/-0.001)",
    "    mass = 17 lb",
    "    vanes = 5",
    "ring r {",
    "    bore = 5.502 in ± 0.0005",
    "    bore = w.hub_diameter + 0.005 in",
    "    runs_on = w.hub_diameter",
    "    clearance_limit = 0.003 .. 0.007 in",
    "}",
    "",
    "// a comment",
    "/// a doc comment",
    "require r.clearance within 0.003 .. 0.007 in because \"it must\"",
    "require r.clearance within 0.0047 .. 0.0063 in",
    "require other.b - b within -0.15 .. 0.15 in",
    "    bore = 140 mm H7",
    "    runs_on = 140 mm f7",
    "let b = 3 in H7",
    "let e = 1.5 in p6 - 38 mm t6",
    "let g = 20 mm t6",
    "require a <= b",
    "accept CW0501 because \"as built\"",
    "accept CW0501 on d1.flow because \"a trial\" until 2026-01-01",
    "    accept CW1213 because \"old casting\"",
    "    accept CW1213 on clearance_limit because \"old casting\" until 2020-01-01",
    "    accept CW1618 on n because \"a stand\"",
    "require d1.flow >= 90 gpm",
    "pump p {",
    "    rating = 500 gpm at 150 psi",
    "    curve at 3000 rpm (flow gpm, net psi, power hp) {",
    "        0 200 30",
    "        300 180 60",
    "        600 140 90",
    "        450 160 70 // a comment of its own",
    "        // a comment on the next row",
    "    }",
    "supply s { draft { lift = 5 ft } }",
    "supply s { feeds = p draft { lift = 22 ft suction = 20 ft of std.suction_5 strainer = g } }",
    "    feeds = p2",
    "appliance g like std.gate_2_1_2 { opening = 0 % }",
    "appliance g like std.gate_2_1_2 { opening = a / 4 in }",
    "    opening = 10 %",
    "lay l { p.discharge -> g -> 50 ft of slow -> n: std.fog_150_100; p.discharge -> m: std.fog_150_100 }",
    "hose slow { diameter = a loss = 2 psi per 100 ft at 100 gpm velocity_limit = 5 ft/s wave_speed = 2000 ft/s test_pressure = 200 psi }",
    "    hold m.pressure = 100 psi",
    "supply s { tank { level = a loss = 6 psi at 500 gpm } }",
    "lay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100 }",
    "lay l { p.discharge -> 200 ft of std.attack_1_3_4 -> n: std.fog_95_100 }",
    "lay l { p.discharge -> 50 ft of std.attack_1_3_4 -> p2.intake; p2.discharge -> n: std.fog_150_100 }",
    "lay l { s -> p.intake; p.discharge -> n: std.fog_150_100; front: p2.discharge -> n }",
    "    hold p2.speed = 2500 rpm",
    "    hold front.discharge.pressure = 120 psi",
    "    drives = [dr]",
    "duty d1 {",
    "    supply = s",
    "    lay = l",
    "    hold n.pressure = 100 psi",
    "    hold speed = 3000 rpm",
    "let gap(bore, hub) = (bore - hub) / 2",
    "let gap(bore) = bore + a",
    "let gap(x, y) = other.half(x) + gap2(y)",
    "let gap2(x) = gap(x, x)",
    "let half(x) = x / 2",
    "let half(x) = x / 2 + nothing",
    "let g = gap(w.outside_diameter, a)",
    "let g = gap(3 psi, a)",
    "let g = other.half(a) + d",
    "let g = gap",
    "ring seal(hub, play = 0.005 in) {",
    "ring seal(hub) like other.seal(hub = hub, play = 0.002 in) {",
    "ring seal {",
    "    bore = hub + play",
    "    runs_on = hub",
    "    form = form_of",
    "    form = labyrinth",
    "    form = plain",
    "    gaps = 4",
    "ring r like seal(hub = w.hub_diameter) {",
    "ring r like other.seal(hub = 5 in ± 0.001, play = a / 500) {",
    "ring r like seal {",
    "ring r like seal(hub = 5 psi) {",
    "ring q(hub, form_of) {",
    "lay l like o(up = a) { }",
    "lay o(up) { p.discharge -> 50 ft of std.attack_1_3_4 rise up -> n: std.fog_150_100 }",
    "duty d1(aim) {",
    "duty d3 like d1(aim = 100 psi) { }",
    "    hold n.pressure = aim",
    "    rings = [r, seal]",
    "    stages = [w]",
    "let e1 = p.stages[1].outside_diameter",
    "let e2 = p.rings[2].clearance",
    "let e3 = max(p.curve.power) / p.curve[2].power",
    "let e4 = sum(p.rings.clearance)",
    "let e5 = [a, b, c]",
    "let e6 = e5[a / 1 in]",
    "((",
    "\"open",
    "    junk here",
    "require for every ring z: z.clearance within 0.003 .. 0.007 in because \"it must\"",
    "require for every impeller i where i.mass is given: i.outside_diameter >= a",
    "require for every ring x of p where x.bore >= 5 in: x.land_length >= 0.5 in",
    "require for every impeller i of other: i.mass >= 10 lb",
    "require for every hose h of d1: h.tested >= 2026-05-14 - 365 d because \"a year\"",
    "require for every duty q: q.flow >= 95 gpm",
    "    rings = [r]",
    "    stages = [w]",
    "ring r2 like r { land_length = 0.6 in }",
    "ring r3(hub = 5 in) { bore = hub }",
    "impeller x { mass = 12 lb }",
    "require w.mass is not given",
    "let a 2 in",
    "b = 3 in",
    "use \"other.pump\" other",
    "impeller {",
    "w {",
    "impeller w like {",
    "    = 5.502 in",
    "    bore 5.502 in",
    "    outside_diameter = ",
    "    eye_diameter = 4.8 in",
    "    exit_width = 0.85 in",
    "    vane_exit_angle = 24 deg",
    "    vane_inlet_angle = 20 deg",
    "    eyes = 2",
    "    land_length = 0.75 in",
    "    throat_area = 5 in^2",
    "    tested_diameter = 9.5 in",
    "    tested_diameter = 14 in",
    "    tested_rings = [r2]",
    "    connection = changeover",
    "    connection = series",
    "    water_volume = 5 gal",
    "    prediction { }",
    "    prediction { slip = stodola speed = 2500 rpm }",
    "    prediction { slip = stated slip_factor = a / 3 in }",
    "    measured { point = 300 gpm at 170 psi ± 3 psi speed = 3000 rpm }",
    "    measured { point = 300 gpm at 195 psi speed = p.rated_speed }",
    "require p3.predicted_pressure >= 100 psi",
    "require p3.trace.vane_exit.whirl >= 50 ft/s",
    "require p3.explaining_clearance <= 0.02 in",
    "drive dr {",
    "    turns = p",
    "    gear_ratio = 2",
    "    governed_speed = 2000 rpm",
    "    derating = 3 % per 1000 ft",
    "    derating_above = a * 1000",
    "    heat_derating = 1 % per 10 delta_degF",
    "    output (speed rpm, power hp) {",
    "        800 60",
    "        2200 150",
    "    ratios (ratio) {",
    "        2",
    "        2.5",
    "site { altitude = 6000 ft air_temperature = 95 degF }",
    "require dr.points[1].spare_speed >= 10 rpm",
    "appliance ga like std.gate_2_1_2 { opening = 50 % }",
    "appliance ga like std.gate_2_1_2 { opening = 0 % }",
    "appliance ga { diameter = a opening = 10 % }",
    "lay l { p.discharge -> ga: ga -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100 }",
    "supply s { feeds = p draft { lift = 5 ft suction = a * 100 of std.suction_5 } }",
    "require s.most_flow >= 300 gpm",
    "require d1.temperature_rise <= 1 delta_degF",
    "    temperature_rise_limit = 0.2 delta_degF",
    "    drive = dr",
];

#[derive(Clone, Debug)]
enum Edit {
    Insert(usize, usize, usize),
    Delete(usize, usize),
    Replace(usize, usize, usize),
    Character(usize, usize, char),
    Remove(usize),
    Restore(usize),
    Settings(usize),
}

/// Project files: display units for all or for one file, and levels.
const SETTINGS: &[&str] = &[
    "",
    "units = \"metric\"\n",
    "[levels]\nCW12 = \"off\"\n",
    "[[folder]]\npath = \"other.pump\"\nunits = \"metric\"\n",
    "rules = [\"other.pump\", \"main.pump\"]\n",
    "rules = [\"other.pump\"]\n[[folder]]\npath = \"other.pump\"\nunits = \"metric\"\n",
    "[[folder]]\npath = \"other.pump\"\nrules = [\"main.pump\"]\n",
    "rules = [\"none.pump\"]\n",
];

fn edit() -> impl Strategy<Value = Edit> {
    prop_oneof![
        4 => (0usize..2, 0usize..60, 0..LINES.len()).prop_map(|(f, at, l)| Edit::Insert(f, at, l)),
        2 => (0usize..2, 0usize..60).prop_map(|(f, at)| Edit::Delete(f, at)),
        4 => (0usize..2, 0usize..60, 0..LINES.len()).prop_map(|(f, at, l)| Edit::Replace(f, at, l)),
        2 => (0usize..2, 0usize..900, prop::sample::select(vec!['x', '{', '}', '=', '\n', '5', ' ', 'µ', '"', '.']))
            .prop_map(|(f, at, c)| Edit::Character(f, at, c)),
        1 => (0usize..2).prop_map(Edit::Remove),
        1 => (0usize..2).prop_map(Edit::Restore),
        1 => (0..SETTINGS.len()).prop_map(Edit::Settings),
    ]
}

const FILES: [&str; 2] = ["main.pump", "other.pump"];

fn outcome(db: &Db) -> String {
    let mut out = String::new();
    for path in FILES {
        let Some(f) = db.file(path) else { continue };
        for found in db.found(f) {
            let x = &found.finding;
            out.push_str(&format!(
                "{path} {} {:?} {:?} {} {} {} {:?} {:?} {:?}\n",
                found.subject,
                found.standing,
                x.place.span,
                x.code.id,
                x.message,
                x.here,
                x.labels
                    .iter()
                    .map(|l| (db.path(l.place.file), l.place.span, &l.text))
                    .collect::<Vec<_>>(),
                x.help,
                x.fix.as_ref().map(|f| {
                    let edits = f.edits.iter();
                    let edits = edits.map(|e| (db.path(e.place.file), e.place.span, &e.text));
                    (&f.title, f.tier, edits.collect::<Vec<_>>())
                })
            ));
        }
        for r in results::of_file(db, f) {
            out.push_str(&format!(
                "{path} {} = {} [{}] {:?} {:?}\n",
                r.path,
                r.value.text(),
                r.origin,
                r.place.span,
                r.contributors
                    .iter()
                    .map(|c| (&c.path, c.text()))
                    .collect::<Vec<_>>()
            ));
        }
    }
    out
}

/// The lines that stand in one outcome only.
fn difference(edited: &str, fresh: &str) -> String {
    let (a, b): (Vec<&str>, Vec<&str>) = (edited.lines().collect(), fresh.lines().collect());
    let only = |x: &[&str], y: &[&str], sign: &str| {
        x.iter()
            .filter(|l| !y.contains(l))
            .map(|l| format!("{sign}{l}\n"))
            .collect::<String>()
    };
    only(&a, &b, "edited:  ") + &only(&b, &a, "scratch: ")
}

fn start() -> [String; 2] {
    let whole = "site { altitude = 820 ft }\nuse \"other.pump\" as other\nimpeller w {\n    outside_diameter = 9.25 in ± 0.004\n    hub_diameter = 5.497 in (+0/-0.001)\n}\nring r {\n    bore = 5.502 in ± 0.0005\n    runs_on = w.hub_diameter\n    clearance_limit = 0.003 .. 0.007 in\n}\nlet a = 2 in\nlet d = r.clearance\nrequire a <= b\npump p {\n    rating = 500 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi, power hp) {\n        0 200 30\n        300 180 60\n        600 140 90\n    }\n}\nsupply s { draft { lift = 5 ft } }\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100 }\nduty d1 {\n    supply = s\n    lay = l\n    hold n.pressure = 100 psi\n}\nrequire d1.flow >= 90 gpm\nrequire for every ring every_ring: every_ring.clearance within 0.003 .. 0.007 in because \"stock\"\nrequire for every impeller i where i.mass is given: i.mass <= 12 lb\nring r2 like other.seal(hub = w.hub_diameter) {\n    land_length = 0.75 in\n}\nlet gap(bore, hub) = other.half(bore - hub)\nlet g = gap(r.bore, w.hub_diameter)\nlet half_way = other.half(r2.bore)\npump p2 like p {\n    rings = [r, r2]\n}\nlet e4 = sum(p2.rings.clearance)\nlet e1 = p2.rings[2].bore\nimpeller w3 like w {\n    eye_diameter = 5 in\n    exit_width = 0.85 in\n    vanes = 6\n    vane_exit_angle = 24 deg\n    vane_inlet_angle = 20 deg\n}\nring r3 like r {\n    land_length = 0.75 in\n}\npump p3 like p {\n    stages = [w3]\n    rings = [r3]\n    tested_diameter = 9.5 in\n    water_volume = 6 gal\n    throat_area = 5 in^2\n    prediction { }\n    measured {\n        point = 300 gpm at 160 psi\n        speed = 3000 rpm\n    }\n}\n";
    [
        whole.to_owned(),
        "let b = 3 in ± 0.1\nimpeller w { outside_diameter = 8 in }\nrequire for every impeller i: i.outside_diameter >= 8.5 in\nlet half(x) = x / 2\nring seal(hub, play = 0.005 in) {\n    bore = hub + play\n    runs_on = hub\n}\n".to_owned(),
    ]
}

fn apply(texts: &mut [String; 2], live: &mut [bool; 2], e: &Edit) -> usize {
    let lines = |t: &String| t.split('\n').map(str::to_owned).collect::<Vec<_>>();
    let file = match e {
        Edit::Insert(f, at, l) => {
            let mut v = lines(&texts[*f]);
            let at = (*at).min(v.len());
            v.insert(at, LINES[*l].to_owned());
            texts[*f] = v.join("\n");
            *f
        }
        Edit::Delete(f, at) => {
            let mut v = lines(&texts[*f]);
            if !v.is_empty() {
                let at = at % v.len();
                v.remove(at);
            }
            texts[*f] = v.join("\n");
            *f
        }
        Edit::Replace(f, at, l) => {
            let mut v = lines(&texts[*f]);
            if !v.is_empty() {
                let at = at % v.len();
                v[at] = LINES[*l].to_owned();
            }
            texts[*f] = v.join("\n");
            *f
        }
        Edit::Character(f, at, c) => {
            let mut at = (*at).min(texts[*f].len());
            while !texts[*f].is_char_boundary(at) {
                at -= 1;
            }
            texts[*f].insert(at, *c);
            *f
        }
        Edit::Remove(f) => {
            live[*f] = false;
            *f
        }
        Edit::Restore(f) => {
            live[*f] = true;
            *f
        }
        Edit::Settings(_) => 0,
    };
    if matches!(
        e,
        Edit::Insert(..) | Edit::Delete(..) | Edit::Replace(..) | Edit::Character(..)
    ) {
        live[file] = true;
    }
    file
}

fn put(db: &mut Db, k: usize, texts: &[String; 2], live: &[bool; 2]) {
    if live[k] {
        db.set_file(FILES[k], texts[k].as_str());
    } else {
        db.remove_file(FILES[k]);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: std::env::var("CUTWATER_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(150), max_shrink_iters: 2000, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn edits_give_what_a_check_from_scratch_gives(edits in prop::collection::vec((edit(), any::<bool>()), 1..40), house in any::<bool>()) {
        let mut texts = start();
        let mut live = [true, true];
        let mut settings = if house {
            settings::read("rules = [\"other.pump\", \"main.pump\"]").settings
        } else {
            ProjectSettings::default()
        };
        let today = Date::new(2026, 6, 1);
        let mut db = Db::new(settings.clone());
        db.set_today(today);
        for k in 0..2 {
            put(&mut db, k, &texts, &live);
        }
        db.settle(true, None).unwrap();
        for (e, fast_first) in &edits {
            if let Edit::Settings(k) = e {
                settings = settings::read(SETTINGS[*k]).settings;
                db.set_settings(settings.clone());
            }
            let k = apply(&mut texts, &mut live, e);
            put(&mut db, k, &texts, &live);
            if *fast_first {
                db.settle(false, None).unwrap();
            }
            db.settle(true, None).unwrap();
            prop_assert!(!db.is_pending());
            let mut fresh = Db::new(settings.clone());
            fresh.set_today(today);
            for k in 0..2 {
                put(&mut fresh, k, &texts, &live);
            }
            fresh.settle(true, None).unwrap();
            prop_assert!(outcome(&db) == outcome(&fresh), "after {:?}\n{}\n{}\n{}", e, difference(&outcome(&db), &outcome(&fresh)), texts[0], texts[1]);
        }
    }
}

#[test]
fn an_edit_computes_only_what_depends_on_it() {
    let mut text = String::new();
    for k in 0..400 {
        text.push_str(&format!("impeller w{k} {{\n    outside_diameter = 9.25 in\n    hub_diameter = 5.497 in (+0/-0.001)\n}}\nring r{k} {{\n    bore = 5.502 in\n    runs_on = w{k}.hub_diameter\n}}\n"));
    }
    let mut db = Db::default();
    db.set_file("a.pump", text.as_str());
    db.settle(true, None).unwrap();
    let all = db.computed_nodes();
    let edited = text.replacen(
        "impeller w200 {\n    outside_diameter = 9.25 in\n    hub_diameter = 5.497 in",
        "impeller w200 {\n    outside_diameter = 9.25 in\n    hub_diameter = 5.498 in",
        1,
    );
    db.set_file("a.pump", edited.as_str());
    db.settle(true, None).unwrap();
    let one = db.computed_nodes() - all;
    assert!(one * 100 < all, "{one} of {all} nodes were computed anew");
    // A comment changes no value: nothing that depends on the impeller is computed again.
    let before = db.computed_nodes();
    let commented = edited.replacen("impeller w200 {", "// seen\nimpeller w200 {", 1);
    db.set_file("a.pump", commented.as_str());
    db.settle(true, None).unwrap();
    let comment = db.computed_nodes() - before;
    assert!(
        comment < one,
        "{comment} after a comment, {one} after a change"
    );
}

#[test]
fn settings_compute_only_what_shows_numbers_in_other_units() {
    let mut db = Db::default();
    let text = "ring r {\n    bore = 5.502 in\n    runs_on = 5.497 in\n    clearance_limit = 0.006 .. 0.007 in\n}\n";
    db.set_file("a.pump", text);
    db.set_file("old/b.pump", text);
    db.settle(true, None).unwrap();
    let all = db.computed_nodes();
    assert!(
        !db.set_settings(
            settings::read("fail_at = \"advice\"\n[levels]\nCW12 = \"off\"\n").settings
        )
    );
    db.settle(true, None).unwrap();
    assert_eq!(db.computed_nodes(), all, "levels compute nothing");
    assert!(db.findings(db.file("a.pump").unwrap()).is_empty());
    assert!(
        db.set_settings(
            settings::read("[[folder]]\npath = \"old\"\nunits = \"metric\"\n").settings
        )
    );
    db.settle(true, None).unwrap();
    let anew = db.computed_nodes() - all;
    assert!(
        anew > 0 && anew <= all / 2,
        "{anew} of {all}, for one of two files"
    );
}

#[test]
fn nodes_do_not_pile_up_over_many_edits() {
    let mut db = Db::default();
    let text = |k: usize| format!("let a{k} = 2 in\nlet b = a{k} + 1 in\nrequire b >= 1 in\n");
    db.set_file("a.pump", text(0).as_str());
    db.settle(true, None).unwrap();
    let mut most = 0;
    for k in 1..500 {
        db.set_file("a.pump", text(k).as_str());
        db.settle(true, None).unwrap();
        most = most.max(db.kept_nodes());
    }
    assert!(db.kept_nodes() < 700, "{} nodes kept", db.kept_nodes());
}

#[test]
fn a_list_of_functions_follows_a_function_that_becomes_a_value() {
    let text = |half: &str| format!("{half}\nlet g = zzzzzz(1 in)\n");
    let mut db = Db::default();
    let file = db.set_file("a.pump", text("let half(a) = a / 2"));
    db.settle(true, None).unwrap();
    let help = |db: &Db| {
        let all = db.findings(file);
        let f = all.iter().find(|f| f.code.id == "CW0202").unwrap();
        f.help.clone().unwrap_or_default()
    };
    assert!(help(&db).contains("half"), "{}", help(&db));
    db.set_file("a.pump", text("let half = 2"));
    db.settle(true, None).unwrap();
    assert!(!help(&db).contains("half"), "{}", help(&db));
}
