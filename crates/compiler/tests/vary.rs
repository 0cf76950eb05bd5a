//! Inputs that are varied: a value put in place gives what the spec gives when it is written there, and taking it out
//! brings back what was.

use cutwater_compiler::results;
use cutwater_compiler::vary::Input;
use cutwater_compiler::{Db, Settings};
use std::collections::BTreeMap;

const SPEC: &str = "let play = 0.010 in
ring eye {
    bore        = hub + play
    runs_on     = hub
    land_length = 0.75 in
}
let hub = 5.497 in
impeller wheel {
    outside_diameter = 11.8 in
    hub_diameter     = hub
}
ring new_eye like eye { bore = 5.505 in }
pump p {
    rating       = 1000 gpm at 150 psi
    stages       = [wheel]
    rings        = [eye]
    tested_rings = [new_eye]
    curve at 3000 rpm (flow gpm, net psi, power hp, npshr ft) {
           0  190   66   8
         400  183   92   9
        1000  152  132  14
        1400  117  150  22
    }
}
hose line { loss = 2 psi per 100 ft at 100 gpm }
supply s { draft { lift = 8 ft } }
supply t like s { draft { lift = 3 ft } }
lay l {
    p.discharge -> 200 ft of line -> y: std.gated_wye
    y -> 100 ft of line -> left: std.fog_150_100
    y -> 150 ft of line -> right: std.fog_150_100
}
duty d {
    supply = s
    lay    = l
    hold left.pressure = 100 psi
}
require d.npsh_margin >= 5 ft
";

/// Every result and finding of a settled workspace.
type Seen = (BTreeMap<String, String>, Vec<(String, String)>);

fn seen(db: &Db) -> Seen {
    let file = db.file("a.pump").expect("the file is there");
    let rows = results::of_file(db, file);
    let found = db.findings(file);
    (
        // Far more digits than are shown: what is the same must be the same.
        rows.into_iter()
            .map(|r| (r.path, format!("{:?}", r.value)))
            .collect(),
        found
            .into_iter()
            .map(|f| (f.code.id.to_owned(), f.message))
            .collect(),
    )
}

fn opened(text: &str) -> Db {
    let mut db = Db::new(Settings::default());
    db.set_file("a.pump", text);
    db.settle(true, None).expect("not cancelled");
    db
}

/// Input, value, and what stands in the spec for the value to be written instead.
const CASES: [(&str, &str, &str, &str); 9] = [
    (
        "s.draft.lift",
        "14 ft",
        "supply s { draft { lift = 8 ft } }",
        "supply s { draft { lift = 14 ft } }",
    ),
    (
        "s.draft.lift",
        "40 ft",
        "supply s { draft { lift = 8 ft } }",
        "supply s { draft { lift = 40 ft } }",
    ),
    (
        "play",
        "0.030 in",
        "let play = 0.010 in",
        "let play = 0.030 in",
    ),
    (
        "hub",
        "5.480 in",
        "let hub = 5.497 in",
        "let hub = 5.480 in",
    ),
    ("line.loss", "", "", ""),
    (
        "d.left.pressure",
        "80 psi",
        "hold left.pressure = 100 psi",
        "hold left.pressure = 80 psi",
    ),
    (
        "l.right.length",
        "400 ft",
        "150 ft of line",
        "400 ft of line",
    ),
    ("d.supply", "t", "supply = s", "supply = t"),
    (
        "new_eye.bore",
        "5.510 in",
        "bore = 5.505 in",
        "bore = 5.510 in",
    ),
];

#[test]
fn a_varied_value_is_as_one_that_is_written() {
    let mut db = opened(SPEC);
    let before = seen(&db);
    assert!(before.0.contains_key("d.flow") && before.0.contains_key("p.wear_loss"));
    let files = [db.file("a.pump").unwrap()];
    for (path, value, old, new) in CASES {
        if value.is_empty() {
            // A phrase of several numbers is no single value.
            assert!(Input::find(&mut db, &files, path).is_err());
            continue;
        }
        assert!(SPEC.matches(old).count() == 1, "{old}");
        let written = seen(&opened(&SPEC.replace(old, new)));
        let input = Input::find(&mut db, &files, path).unwrap();
        let values = input.values(&mut db, value).unwrap();
        assert_eq!(values.len(), 1);
        db.vary(&input, Some(values[0].clone()));
        db.settle(true, None).unwrap();
        let now = seen(&db);
        assert!(now != before, "{path} changes nothing");
        // What is written in the place itself says where it comes from in its own words.
        for (name, value) in &written.0 {
            if name != path {
                assert_eq!(now.0.get(name), Some(value), "{name} with {path} = {value}");
            }
        }
        assert_eq!(now.1, written.1, "{path}");
        db.vary(&input, None);
        db.settle(true, None).unwrap();
        assert_eq!(seen(&db), before, "after {path}");
    }
}

/// A clearance is computed from two sizes; put in place it moves what depends on it and nothing before it.
#[test]
fn a_computed_property_can_be_put_in_place() {
    let mut db = opened(SPEC);
    let files = [db.file("a.pump").unwrap()];
    let input = Input::find(&mut db, &files, "eye.clearance").unwrap();
    let values = input.values(&mut db, "0.008 in .. 0.030 in in 3").unwrap();
    let mut loss = Vec::new();
    for v in values {
        db.vary(&input, Some(v));
        db.settle(true, None).unwrap();
        let rows = results::of_file(&db, files[0]);
        let row = rows.iter().find(|r| r.path == "p.wear_loss").unwrap();
        match row.value {
            results::Shown::Number { value, .. } => loss.push(value),
            results::Shown::Word(_) => panic!("no number"),
        }
    }
    // At the clearance of the test nothing is lost; then ever more.
    assert!(
        loss[0].abs() < 1e-9 && loss[1] > 0.1 && loss[2] > loss[1],
        "{loss:?}"
    );
}

#[test]
fn both_ends_of_a_series_are_in_it() {
    let mut db = opened(SPEC);
    let files = [db.file("a.pump").unwrap()];
    let input = Input::find(&mut db, &files, "s.draft.lift").unwrap();
    let mut si = |text: &str| -> Vec<f64> {
        let values = input.values(&mut db, text).unwrap();
        values
            .iter()
            .map(|v| v.quantity().unwrap().si() / 0.3048)
            .collect()
    };
    let near = |got: Vec<f64>, want: &[f64]| {
        assert_eq!(got.len(), want.len(), "{got:?}");
        assert!(
            got.iter().zip(want).all(|(a, b)| (a - b).abs() < 1e-12),
            "{got:?}"
        );
    };
    near(si("5 ft .. 20 ft in 4"), &[5.0, 10.0, 15.0, 20.0]);
    near(si("5 .. 20 ft by 6 ft"), &[5.0, 11.0, 17.0]);
    near(si("0 ft .. 0.3 ft by 0.1 ft"), &[0.0, 0.1, 0.2, 0.3]);
    near(si("60 in, 2 yd, 1 ft + 6 in"), &[5.0, 6.0, 1.5]);
    assert_eq!(si("1 ft .. 2 ft").len(), 11);
}

#[test]
fn what_cannot_be_varied_is_said() {
    let mut db = opened(SPEC);
    let files = [db.file("a.pump").unwrap()];
    let mut of = |path: &str| Input::find(&mut db, &files, path).err().map(|p| p.message);
    let cases = [
        ("d.flow", "`d.flow` is a result of the solved duty"),
        ("p.curve", "`p.curve` is a table; single values are varied"),
        ("x.lift", "no declaration is called `x` in these files"),
        ("s.draft.lft", "a supply has no `draft.lft`"),
        (
            "s",
            "`s` is a supply; one of its values is varied, not the whole",
        ),
        (
            "l.middle.length",
            "no hose leads straight to `middle` in lay `l`",
        ),
        ("std.nothing.loss", "the standard library has no `nothing`"),
        ("line.loss", "`line.loss` is no single value"),
    ];
    for (path, message) in cases {
        assert_eq!(of(path).as_deref(), Some(message), "{path}");
    }
    let input = Input::find(&mut db, &files, "s.draft.lift").unwrap();
    let mut of = |text: &str| input.values(&mut db, text).err().map(|p| p.message);
    let cases = [
        (
            "5 psi",
            "`s.draft.lift` is a length, but this is a pressure",
        ),
        ("5", "its number needs a unit"),
        (
            "5 ft .. 4 ft",
            "the lower end of this range is above its upper end",
        ),
        ("5 ft .. 9 ft by 0 ft", "the step `0 ft` does not lead up"),
        (
            "5 ft .. 9 ft by 1 psi",
            "the step `1 psi` is a pressure difference",
        ),
        (
            "5 ft .. 9 ft by 1 um",
            "this step makes more than 1000 values",
        ),
        (
            "5 ft .. 9 ft in 1",
            "`1` is no number of values from 2 to 1000",
        ),
        (
            "5 ft .. 9 ft by 1 ft in 3",
            "`in` and `by` do not go together",
        ),
        ("}", "`}` is no value"),
        ("5 ft,", "`` is no value"),
    ];
    for (text, message) in cases {
        let said = of(text).unwrap_or_default();
        assert!(said.contains(message), "{text}: {said}");
    }
}
