//! The standard library: every file reads without findings, every declaration has a doc that says how sure its figures
//! are, and the figures are those of the sources named beside each check.
//!
//! Not here: what is computed from the figures (that is tested where it is computed).

use cutwater_compiler::schema::Slot;
use cutwater_compiler::value::Value;
use cutwater_compiler::{Db, DeclId, library};
use cutwater_finding::FileId;
use cutwater_syntax::ast::ItemKind;

const PSI: f64 = 6_894.757_293_168;
/// US gallon per minute, m³/s: 231 in³ in 60 s.
const GPM: f64 = 231.0 * INCH * INCH * INCH / 60.0;
const FT: f64 = 0.3048;
const INCH: f64 = 0.0254;
/// Conventional foot of water, Pa.
const FT_H2O: f64 = 2_989.066_92;

/// The files this test holds to account.
const OWN: &[&str] = &[
    "hose.pump",
    "nozzle.pump",
    "appliance.pump",
    "suction.pump",
    "material.pump",
];

fn close(got: f64, want: f64, what: &str) {
    assert!(
        (got - want).abs() <= 1e-9 * want.abs(),
        "{what}: {got} is not {want}"
    );
}

fn named(db: &Db, name: &str) -> DeclId {
    db.library(name)
        .unwrap_or_else(|| panic!("the library has no `{name}`"))
}

fn file(db: &Db, name: &str) -> FileId {
    db.library_files()
        .find(|f| db.path(*f).ends_with(name))
        .unwrap_or_else(|| panic!("the library has no file `{name}`"))
}

/// Names declared in a file of the library.
fn names_in(db: &Db, name: &str) -> Vec<String> {
    db.decls(file(db, name))
        .iter()
        .filter_map(|d| db.name(*d).map(ToString::to_string))
        .collect()
}

fn part(db: &mut Db, name: &str, field: &str, part: &str) -> f64 {
    let d = named(db, name);
    db.with(d, |cx| cx.part(d, field, part))
        .expect("not stopped")
        .unwrap_or_else(|| panic!("`{name}` has no `{field}` with `{part}`"))
}

fn si(db: &mut Db, name: &str, field: &str) -> Option<f64> {
    let d = named(db, name);
    db.with(d, |cx| cx.si(d, field)).expect("not stopped")
}

fn given(db: &mut Db, name: &str, field: &str) -> f64 {
    si(db, name, field).unwrap_or_else(|| panic!("`{name}` gives no `{field}`"))
}

/// Loss of a hose over a length or of an appliance, in pascal, by the square of the flow.
fn loss(db: &mut Db, name: &str, gpm: f64, feet: Option<f64>) -> f64 {
    let p = part(db, name, "loss", "pressure");
    let q = part(db, name, "loss", "flow");
    let share = match feet {
        Some(feet) => feet * FT / part(db, name, "loss", "length"),
        None => 1.0,
    };
    p * share * (gpm * GPM / q).powi(2)
}

fn messages(db: &Db, f: FileId) -> Vec<String> {
    db.findings(f).iter().map(|x| x.message.clone()).collect()
}

#[test]
fn every_library_file_reads_without_findings_where_it_stands() {
    let mut db = Db::default();
    let mut seen = 0;
    for f in db.library_files().collect::<Vec<_>>() {
        for d in db.decls(f).to_vec() {
            let Some((_, slots)) = db.kind(d) else {
                continue;
            };
            for slot in 0..slots.list.len() as u16 {
                db.with(d, |cx| cx.slot(d, slot)).expect("not stopped");
            }
            seen += 1;
        }
        let found = messages(&db, f);
        assert!(found.is_empty(), "{}: {found:#?}", db.path(f));
    }
    assert!(seen > 60, "only {seen} declarations were looked at");
}

#[test]
fn every_library_file_passes_all_checks_as_a_file_of_a_workspace() {
    let mut db = Db::default();
    for (name, text) in library::FILES {
        db.set_file(name, *text);
    }
    db.settle(true, None).expect("not stopped");
    for f in db.files().collect::<Vec<_>>() {
        let found = messages(&db, f);
        assert!(found.is_empty(), "{}: {found:#?}", db.path(f));
    }
}

#[test]
fn library_files_stand_in_the_canonical_layout() {
    for (name, text) in library::FILES {
        if OWN.contains(name) {
            assert_eq!(cutwater_syntax::format(text), *text, "{name}");
        }
    }
}

#[test]
fn every_file_says_what_it_is_and_every_declaration_how_sure_it_is() {
    for (name, text) in library::FILES {
        if OWN.contains(name) {
            assert!(text.starts_with("//! "), "{name} does not say what it is");
        }
    }
    let db = Db::default();
    let mut seen = 0;
    for f in OWN {
        for d in db.decls(file(&db, f)) {
            let item = &db.parsed(*d).item;
            if !matches!(item.kind, ItemKind::Decl(_)) {
                continue;
            }
            let doc = item.doc.to_lowercase();
            let name = db.name(*d).cloned().unwrap_or_default();
            assert!(
                ["published", "memory", "common practice", "derived"]
                    .iter()
                    .any(|flag| doc.contains(flag)),
                "{f}: the doc of `{name}` does not say how sure its figures are: {doc}"
            );
            seen += 1;
        }
    }
    assert!(seen > 60, "only {seen} declarations");
}

#[test]
fn no_name_stands_twice_in_the_library() {
    let db = Db::default();
    let mut names: Vec<String> = library::FILES
        .iter()
        .flat_map(|(f, _)| names_in(&db, f))
        .collect();
    let all = names.len();
    names.sort();
    names.dedup();
    assert_eq!(names.len(), all);
}

/// Coefficients C of `FL = C (Q/100)² (L/100)` and bores, from the fireground tables named in `hose.pump`: training table,
/// county module, city slides, city class. Where they disagree the figure is the one the doc says was taken. Test pressures:
/// NFPA 1962-2018, 4.8: attack hose 300 psi, supply hose 200 psi, at the least.
#[test]
fn hose_has_the_coefficients_of_the_published_tables() {
    let table: &[(&str, f64, f64, Option<f64>)] = &[
        ("booster_3_4", 0.75, 1100.0, None),
        ("booster_1", 1.0, 150.0, None),
        ("booster_1_1_4", 1.25, 80.0, None),
        ("attack_1_1_2", 1.5, 24.0, Some(300.0)),
        ("attack_1_3_4", 1.75, 15.5, Some(300.0)),
        ("attack_2", 2.0, 8.0, Some(300.0)),
        ("attack_2_1_2", 2.5, 2.0, Some(300.0)),
        ("supply_2_1_2", 2.5, 2.0, Some(200.0)),
        ("supply_3", 3.0, 0.8, Some(200.0)),
        ("supply_3_1_2", 3.5, 0.34, Some(200.0)),
        ("supply_4", 4.0, 0.2, Some(200.0)),
        ("supply_4_1_2", 4.5, 0.1, Some(200.0)),
        ("supply_5", 5.0, 0.08, Some(200.0)),
        ("supply_6", 6.0, 0.05, Some(200.0)),
    ];
    let mut db = Db::default();
    for (name, bore, c, test) in table {
        close(loss(&mut db, name, 100.0, Some(100.0)), c * PSI, name);
        close(given(&mut db, name, "diameter"), bore * INCH, name);
        match (si(&mut db, name, "test_pressure"), test) {
            (Some(p), Some(t)) => close(p, t * PSI, name),
            (p, t) => assert!(p.is_none() && t.is_none(), "{name}: {p:?} {t:?}"),
        }
    }
    for name in names_in(&db, "hose.pump") {
        assert!(
            name.starts_with("pipe_") || table.iter().any(|t| t.0 == name),
            "`{name}` is not checked"
        );
    }
}

/// Worked examples of the city slides and department cards: 200 gpm through 400 ft of 2-1/2 in, 32 psi; 5 in at 1000 and
/// 2000 gpm, 8 and 32 psi per 100 ft; and of the training page: 60 gpm through 100 ft of 1 in, 54 psi.
#[test]
fn hose_gives_the_published_worked_examples() {
    let mut db = Db::default();
    for (name, gpm, feet, psi) in [
        ("attack_2_1_2", 200.0, 400.0, 32.0),
        ("supply_5", 1000.0, 100.0, 8.0),
        ("supply_5", 2000.0, 100.0, 32.0),
        ("booster_1", 60.0, 100.0, 54.0),
    ] {
        close(loss(&mut db, name, gpm, Some(feet)), psi * PSI, name);
    }
}

/// Friction and entrance loss of 20 ft of suction hose with strainer, ft of water (NFPA 1901 and 1911 table, memory), within
/// its rounding of 0.1 ft; and the brackets of the same table for each further 10 ft. The 4-1/2 in entry at 500 gpm, 3.6 ft,
/// is left out: it does not follow the square of the flow, and `suction.pump` says so.
#[test]
fn suction_hose_and_strainer_give_the_table_back() {
    let mut db = Db::default();
    for (size, gpm, feet, further) in [
        ("4", 500.0, 5.0, Some(1.3)),
        ("4_1_2", 750.0, 7.0, None),
        ("4_1_2", 1000.0, 12.5, None),
        ("5", 500.0, 2.1, None),
        ("5", 750.0, 4.7, Some(0.9)),
        ("5", 1000.0, 8.4, Some(1.6)),
        ("5", 1250.0, 13.0, Some(2.4)),
        ("6", 500.0, 0.9, None),
        ("6", 750.0, 1.9, Some(0.4)),
        ("6", 1000.0, 3.4, Some(0.6)),
        ("6", 1250.0, 5.2, Some(0.9)),
        ("6", 1500.0, 7.6, Some(1.4)),
    ] {
        let ten = loss(&mut db, &format!("suction_{size}"), gpm, Some(10.0)) / FT_H2O;
        let strainer = loss(&mut db, &format!("barrel_{size}"), gpm, None) / FT_H2O;
        let all = 2.0 * ten + strainer;
        assert!(
            (all - feet).abs() < 0.1,
            "{size} in at {gpm} gpm: {all} ft, the table has {feet}"
        );
        if let Some(f) = further {
            assert!(
                (ten - f).abs() < 0.1,
                "{size} in at {gpm} gpm: {ten} ft per 10 ft, the table has {f}"
            );
        }
    }
}

/// Tips by the diameters in their names; flows as printed on the cards, rounded there to the next 5 or 10 gpm or more:
/// 29.7 d² √p comes within 7 % of each.
#[test]
fn smooth_bores_flow_what_the_cards_print() {
    let mut db = Db::default();
    for (name, tip, psi, printed) in [
        ("smooth_7_8", 0.875, 50.0, 160.0),
        ("smooth_15_16", 0.9375, 50.0, 180.0),
        ("smooth_1", 1.0, 50.0, 210.0),
        ("smooth_1_1_8", 1.125, 50.0, 250.0),
        ("smooth_1_1_4", 1.25, 50.0, 325.0),
        ("master_1_1_4", 1.25, 80.0, 400.0),
        ("master_1_1_2", 1.5, 80.0, 600.0),
        ("master_1_3_4", 1.75, 80.0, 800.0),
        ("master_1_7_8", 1.875, 80.0, 900.0),
        ("master_2", 2.0, 80.0, 1000.0),
    ] {
        let d = given(&mut db, name, "tip");
        close(d, tip * INCH, name);
        let flow = 29.7 * (d / INCH).powi(2) * f64::sqrt(psi);
        assert!(
            (flow / printed - 1.0).abs() < 0.07,
            "{name}: {flow} gpm, printed {printed}"
        );
    }
    close(
        given(&mut db, "master_1_3_8", "tip"),
        1.375 * INCH,
        "master_1_3_8",
    );
}

/// A fog nozzle is what its name says. Pressures published: fog 100 psi, low-pressure fog 50 or 75 psi.
#[test]
fn fog_nozzles_are_what_their_names_say() {
    let mut db = Db::default();
    let mut seen = 0;
    for name in names_in(&db, "nozzle.pump") {
        let numbers: Vec<f64> = name.split('_').filter_map(|p| p.parse().ok()).collect();
        if !name.contains("fog_") && !name.starts_with("holding_") {
            continue;
        }
        let pressure = *numbers.last().expect("a pressure in the name");
        assert!([50.0, 75.0, 100.0].contains(&pressure), "{name}");
        close(
            part(&mut db, &name, "rated", "pressure"),
            pressure * PSI,
            &name,
        );
        if name.contains("fog_") {
            close(
                part(&mut db, &name, "rated", "flow"),
                numbers[0] * GPM,
                &name,
            );
        } else {
            let d = named(&db, &name);
            let value = db
                .with(d, |cx| cx.get(d, "flow_range"))
                .expect("not stopped");
            let Value::Range(r) = value else {
                panic!("`{name}` has no range of flows");
            };
            close(r.low, numbers[0] * GPM, &name);
            close(r.high, numbers[1] * GPM, &name);
        }
        seen += 1;
    }
    assert!(seen >= 14, "only {seen} fog nozzles");
}

/// Reactions as the docs print them against the trade's rules, 1.57 d² p and 0.0505 Q √p lbf (county driver module), and
/// against the figures published for 150, 200 and 250 gpm at 100 psi: 75, 100 and 125 lb.
#[test]
fn reactions_in_the_docs_are_those_of_the_rules() {
    let mut db = Db::default();
    let mut seen = 0;
    for name in names_in(&db, "nozzle.pump") {
        if name.starts_with("holding_") {
            continue;
        }
        let doc = db.parsed(named(&db, &name)).item.doc.replace('\n', " ");
        let printed: f64 = doc
            .split("reaction ")
            .nth(1)
            .and_then(|after| after.split_whitespace().next())
            .and_then(|n| n.parse().ok())
            .unwrap_or_else(|| panic!("the doc of `{name}` prints no reaction: {doc}"));
        let rule = match si(&mut db, &name, "tip") {
            Some(tip) => {
                let psi = if name.starts_with("master_") {
                    80.0
                } else {
                    50.0
                };
                1.57 * (tip / INCH).powi(2) * psi
            }
            None => {
                let q = part(&mut db, &name, "rated", "flow") / GPM;
                let p = part(&mut db, &name, "rated", "pressure") / PSI;
                0.0505 * q * p.sqrt()
            }
        };
        assert!(
            (printed - rule).abs() < 0.051,
            "`{name}`: the doc prints {printed} lbf, the rule gives {rule}"
        );
        let published = match name.as_str() {
            "fog_150_100" => Some(75.0),
            "fog_200_100" => Some(100.0),
            "fog_250_100" => Some(125.0),
            _ => None,
        };
        if let Some(pounds) = published {
            assert!((printed - pounds).abs() < 1.5, "{name}: {printed}");
        }
        seen += 1;
    }
    assert!(seen >= 20, "only {seen} nozzles");
}

/// Allowances of the study cards, city class and formula cards: 10 psi at 350 gpm for wyes and small appliances, 25 psi for
/// monitors, aerial waterways and standpipes, at the flows the docs name.
#[test]
fn appliances_have_the_published_allowances() {
    let mut db = Db::default();
    for (name, psi, gpm, one_way) in [
        ("wye", 10.0, 350.0, "no"),
        ("gated_wye", 10.0, 350.0, "no"),
        ("water_thief", 10.0, 350.0, "no"),
        ("siamese", 10.0, 350.0, "yes"),
        ("gate_valve", 10.0, 350.0, "no"),
        ("check_valve", 10.0, 350.0, "yes"),
        ("large_manifold", 10.0, 1000.0, "no"),
        ("portable_monitor", 25.0, 500.0, "no"),
        ("monitor", 25.0, 1000.0, "no"),
        ("aerial_waterway", 25.0, 1000.0, "no"),
        ("standpipe", 25.0, 500.0, "no"),
    ] {
        close(loss(&mut db, name, gpm, None), psi * PSI, name);
        let d = named(&db, name);
        let way = db
            .with(d, |cx| cx.choice(d, "one_way"))
            .expect("not stopped");
        assert_eq!(way, Some(one_way), "{name}");
    }
}

/// Bores of schedule 40 pipe (ASME B36.10M, memory: outside diameter less twice the wall) and the roughness of commercial
/// steel (Moody 1944, memory).
#[test]
fn pipes_have_the_bore_their_walls_leave() {
    let mut db = Db::default();
    for (name, outside, wall) in [
        ("pipe_2_1_2", 2.875, 0.203),
        ("pipe_3", 3.5, 0.216),
        ("pipe_4", 4.5, 0.237),
        ("pipe_6", 6.625, 0.28),
    ] {
        let bore = (outside - 2.0 * wall) * INCH;
        close(given(&mut db, name, "diameter"), bore, name);
        close(given(&mut db, name, "roughness"), 0.000_15 * FT, name);
    }
}

/// Least strengths of the foundry table of ASTM minima (bronzes) and of ASTM A48, A536 and A564 (memory), ksi and percent; the
/// C90300 sheet's metric figures: 8.80 g/cm³, 96.5 GPa, 18.0e-6/K.
#[test]
fn alloys_have_the_strengths_of_their_standards() {
    let ksi = 1000.0 * PSI;
    let mut db = Db::default();
    for (name, tensile, yielding, elongation) in [
        ("bronze_c90300", 40.0, Some(18.0), Some(20.0)),
        ("bronze_c92200", 34.0, Some(16.0), Some(24.0)),
        ("bronze_c83600", 30.0, Some(14.0), Some(20.0)),
        ("bronze_c90500", 40.0, Some(18.0), Some(20.0)),
        ("bronze_c93200", 30.0, Some(14.0), Some(15.0)),
        ("bronze_c95400", 75.0, Some(30.0), Some(12.0)),
        ("iron_class_30", 30.0, None, None),
        ("ductile_65_45_12", 65.0, Some(45.0), Some(12.0)),
        ("stainless_17_4ph_h1025", 155.0, Some(145.0), Some(12.0)),
        ("stainless_17_4ph_h1150", 135.0, Some(105.0), Some(16.0)),
        ("stainless_416", 110.0, Some(85.0), None),
        ("steel_4140", 125.0, Some(105.0), None),
    ] {
        close(
            given(&mut db, name, "tensile_strength"),
            tensile * ksi,
            name,
        );
        for (field, want) in [
            ("yield_strength", yielding.map(|y: f64| y * ksi)),
            ("elongation", elongation.map(|e: f64| e / 100.0)),
        ] {
            match (si(&mut db, name, field), want) {
                (Some(got), Some(want)) => close(got, want, name),
                (got, want) => assert_eq!(got, want, "{name}.{field}"),
            }
        }
    }
    for (field, want) in [
        ("density", 8800.0),
        ("modulus", 96.5e9),
        ("expansion", 18.0e-6),
    ] {
        let got = given(&mut db, "bronze_c90300", field);
        assert!((got / want - 1.0).abs() < 0.001, "{field}: {got}");
    }
}

/// What holds in every handbook: bronze grows more than iron and steel, and a metal's Poisson's ratio, density and modulus lie
/// where those of pump metals lie. A 7 in bronze ring in iron, 50 Δ°F warmer, closes or opens by 0.0014 in (handbook example,
/// 10.0 against 6.0 millionths per °F).
#[test]
fn alloys_are_where_pump_metals_are() {
    let mut db = Db::default();
    let bronze = given(&mut db, "bronze_c90300", "expansion");
    for iron in [
        "iron_class_30",
        "ductile_65_45_12",
        "steel_4140",
        "stainless_416",
    ] {
        assert!(given(&mut db, iron, "expansion") < bronze, "{iron}");
    }
    let iron = given(&mut db, "iron_class_30", "expansion");
    let growth = 7.0 * (bronze - iron) * 50.0 / 1.8;
    assert!((growth - 0.0014).abs() < 0.000_05, "{growth} in");
    for name in names_in(&db, "material.pump") {
        let nu = given(&mut db, &name, "poisson_ratio");
        assert!((0.2..0.4).contains(&nu), "{name}: {nu}");
        let rho = given(&mut db, &name, "density");
        assert!((7000.0..9000.0).contains(&rho), "{name}: {rho} kg/m³");
        let e = given(&mut db, &name, "modulus");
        assert!((85e9..215e9).contains(&e), "{name}: {e} Pa");
    }
}

/// A field renamed in its kind must not turn a check above into one of nothing.
#[test]
fn the_fields_named_here_exist() {
    let db = Db::default();
    for (name, fields) in [
        (
            "supply_5",
            &["diameter", "loss", "test_pressure", "roughness"][..],
        ),
        ("fog_150_100", &["form", "tip", "rated", "flow_range"]),
        ("wye", &["loss", "one_way"]),
        (
            "bronze_c90300",
            &["tensile_strength", "yield_strength", "elongation"],
        ),
    ] {
        let (_, slots) = db.kind(named(&db, name)).expect("a kind");
        for f in fields {
            let slot = slots.find(f).map(|s| slots.list[s as usize].1);
            assert!(matches!(slot, Some(Slot::Field(_))), "{name}.{f}");
        }
    }
}
