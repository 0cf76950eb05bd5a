//! What is wrong with a pump: its curves row by row, how its stages are joined, its rating against its curve.
//!
//! Invariants: a table taken over from another pump is judged there; nothing here changes a number.
//!
//! What it does not do: solved duties (see the `duty`), wear rings (see `wear`).

use super::super::rotor::with_number;
use super::changeover::check_position;
use super::heat::check_closed;
use super::prediction::check_prediction;
use super::{CURVES, Layout, MOST_EFFICIENT, RATED, Source, best_point, joined, points, rating};
use crate::codes::{TABLE_SHAPE, codes};
use crate::db::{Cx, Local};
use crate::slots::{decl_of, find};
use crate::value::{Quantity, Table, Value};
use crate::{DeclId, Eval, show};
use cutwater_finding::Finding;
use cutwater_hydraulics::affinity;
use cutwater_hydraulics::pump::PumpCurve;
use cutwater_quantity::{Gallon, Kind};
use cutwater_syntax::ast::EntryKind;
use cutwater_text::Span;

codes! {
    /// Raised by `pump`.
    CURVE_RISES = "CW1301" "curve-rises" Warning, "A pump curve that rises with flow.",
        "Where the net pressure climbs with the flow, two flows share one pressure and the pump may hunt between them. Some pumps do so near shut-off; a single high row is more often a misread gauge or a slip of digits. Check the row, or throttle so that the pump works on the falling branch.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 215\n         625 222\n        1250 176\n        1500 141\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n";
    /// Raised by `pump`.
    EFFICIENCY = "CW1302" "efficiency-impossible" Error, "A row of a curve with an efficiency no such pump has.",
        "Efficiency is water power (flow times net pressure) over shaft power. Fire pumps reach 68 to 75 % (published), the best centrifugal pumps of any size about 90 % (texts, from memory). More than 90 % means a unit or a digit is wrong: kW written as hp makes it 1.34 times too high, and the engine's power is not the shaft's.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  39\n         625 222  88\n        1250 176 127\n        1500 141 135\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power kW) {\n           0 231  39\n         625 222  88\n        1250 176 127\n        1500 141 135\n    }\n}\n";
    /// Raised by `pump`.
    POWER_ZERO = "CW1303" "power-zero" Error, "A row of a curve with no power.",
        "A turning pump takes power at every flow, at shut-off too, where all of it heats the water. Where the power was not measured write `-`.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231   0\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231   -\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n";
    /// Raised by `pump`.
    CURVE_GALLONS = "CW1304" "curve-gallons" Warning, "Rating and curve are in different gallons.",
        "An imperial gallon is 1.20095 US gallons. The values are converted rightly, but one of the two is more likely a slip. Write both in the same gallon.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow igpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n";
    /// Raised by `pump`.
    STAGES_JOIN = "CW1305" "stages-join" Error, "Stages, connection and curves of a pump do not agree.",
        "`connection` says how the stages are joined: `single` has one stage, the others two or more. A changeover pump needs its curve in both positions: `series_curve` and `parallel_curve`, or `stage_curve` from which both follow.",
        fires "impeller wheel { outside_diameter = 9.25 in }\npump main {\n    rating = 1250 gpm at 150 psi\n    stages = [wheel, wheel]\n    connection = single\n}\n",
        silent "impeller wheel { outside_diameter = 9.25 in }\npump main {\n    rating = 1250 gpm at 150 psi\n    stages = [wheel, wheel]\n    connection = series\n}\n";
    /// Raised by `pump`.
    RATING_BEYOND = "CW1306" "rating-beyond-curve" Warning, "The rating lies outside the tested flows.",
        "The rating is carried to the curve by the affinity laws: flow with the speed, pressure with its square. There it lies beyond the first or last tested flow, and nothing is read outside the tested flows: speed, power and efficiency at the rating are not known. Test further, or check the rating.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n         900 205\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n";
    /// Raised by `pump`.
    RATING_NOT_MADE = "CW1307" "rating-not-made" Error, "The curve never reaches the rated pressure.",
        "At the speed it was tested at the pump makes less than its rated pressure at every flow. Either the curve was taken at a low speed, and the pump may turn faster (then say how fast with `maximum_speed`), or a unit is wrong: a net pressure in bar under a head that says psi, or a head in metres.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 131\n         625 122\n        1250 106\n        1500  91\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    maximum_speed = 4200 rpm\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 131\n         625 122\n        1250 106\n        1500  91\n    }\n}\n";
    /// Raised by `pump`.
    OVER_SPEED = "CW1308" "over-maximum-speed" Error, "The rating needs more than the highest speed allowed.",
        "By the affinity laws the pump must turn faster than `maximum_speed` to make its rating. A wheel turned too fast can burst: the limit of the maker holds. Check the curve's speed, or rate the pump lower.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    maximum_speed = 3000 rpm\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    maximum_speed = 3600 rpm\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n";
    /// Raised by `pump`.
    NO_CURVE = "CW1309" "no-curve" Advice, "A pump without a curve.",
        "Without a tested curve only geometry is known of the pump: no speed, power or efficiency at its rating, and no duty can be solved with it; a `prediction` from geometry does not stand in for it. Give the curve as tested: `curve at 3300 rpm (flow gpm, net psi, power hp) { … }`.",
        fires "pump main { rating = 1250 gpm at 150 psi }\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n";
    /// Raised by `pump`.
    BEST_AT_END = "CW1310" "best-at-end" Advice, "The efficiency is still rising where the test ends.",
        "The best efficiency lies beyond the last tested flow, so it and the specific speed are not known. Test at larger flows to find it.",
        fires "pump main {\n    rating = 750 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1000 200 150\n    }\n}\n",
        silent "pump main {\n    rating = 750 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1000 200 150\n        1250 176 170\n        1500 141 181\n    }\n}\n";
    /// Raised by `pump`.
    CURVE_UNUSED = "CW1311" "curve-unused" Warning, "A curve that is not used with this connection.",
        "`connection` says how the stages are joined, and this table belongs to another way. Take it out, or change the connection.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    connection = single\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n    series_curve at 3300 rpm (flow gpm, net psi) {\n           0 462\n         625 444\n        1250 352\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    connection = single\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n";
}

/// The rows of a table as written in a declaration itself; `None` where it is taken over from another.
pub(crate) fn own_rows(cx: &mut Cx<'_>, d: DeclId, table: &str) -> Option<Vec<Span>> {
    let parsed = cx.item(d);
    match &find(decl_of(&parsed.item)?, table)?.kind {
        EntryKind::Table(t) => Some(t.rows.iter().map(|r| r.span).collect()),
        _ => None,
    }
}

/// Reports rows that leave out a cell which every row needs.
pub(crate) fn check_gaps(
    cx: &mut Cx<'_>,
    d: DeclId,
    name: &str,
    table: &Table,
    column: &str,
    rows: &[Span],
) {
    for (row, span) in rows.iter().enumerate() {
        if table.number(row, column).is_none() {
            cx.report(
                Finding::new(
                    &TABLE_SHAPE,
                    Local::Span(d, *span),
                    format!("each row of `{name}` needs its {column}"),
                )
                .here(format!("no {column}"))
                .help("give the value, or take the row out"),
            );
        }
    }
}

pub(super) fn check_pump(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    let Ok(layout) = Layout::read(cx, d)? else {
        return Ok(());
    };
    let rating = rating(cx, d)?.ok();
    for (k, name) in CURVES.into_iter().enumerate() {
        if let Some(table) = &layout.tables[k] {
            // A table taken over from another pump is judged there.
            if let Some(rows) = own_rows(cx, d, name) {
                check_table(cx, d, name, table, &rows);
            }
            if let Some((flow, _)) = &rating {
                check_gallons(cx, d, name, table, flow);
            }
        }
    }
    check_joining(cx, d, &layout)?;
    check_prediction(cx, d)?;
    check_closed(cx, d)?;
    check_position(cx, d)?;
    if layout.tables.iter().all(Option::is_none) {
        let known = match cx.get(d, "prediction.slip")? {
            Value::Absent => "only its geometry is known, not its speed, power or efficiency",
            _ => "what its geometry should give is no test, and no duty can be solved with it",
        };
        cx.report(
            Finding::new(
                &NO_CURVE,
                Local::Head(d),
                format!("`{}` has no curve: {known}", cx.name(d)),
            )
            .here("no curve")
            .help("give it as tested: `curve at … rpm (flow gpm, net psi, power hp) { … }`"),
        );
        return Ok(());
    }
    if let (Some((flow, pressure)), Some(source)) = (&rating, layout.source(RATED)) {
        check_rating(cx, d, &source, flow, pressure)?;
        check_best(cx, d, &source);
    }
    Ok(())
}

fn check_table(cx: &mut Cx<'_>, d: DeclId, name: &'static str, table: &Table, rows: &[Span]) {
    let settings = cx.settings();
    let pump = cx.name(d);
    check_gaps(cx, d, name, table, "net", rows);
    let unit = |column: &str| {
        table
            .columns
            .iter()
            .find(|c| c.0 == column)
            .and_then(|c| c.1.clone())
    };
    let (flow_unit, net_unit, power_unit) = (unit("flow"), unit("net"), unit("power"));
    let flow_text = |si: f64| show::si(si, Kind::Flow, flow_unit.as_ref(), &settings);
    let net_text = |si: f64| show::si(si, Kind::Pressure, net_unit.as_ref(), &settings);
    let row_of = |flow: f64| (0..table.rows).find(|r| table.number(*r, "flow") == Some(flow));
    let curve = points(table, None).and_then(|p| PumpCurve::new(p).ok());
    if let Some(curve) = &curve {
        let rise = curve.rise_curve();
        for (from, to) in rise.rising_stretches() {
            let (Ok(a), Ok(b)) = (rise.value(from), rise.value(to)) else {
                continue;
            };
            let place = row_of(to)
                .and_then(|r| rows.get(r))
                .map_or(cx.place(d, name), |s| Local::Span(d, *s));
            let mut f = Finding::new(
                &CURVE_RISES,
                place,
                format!(
                    "the {} of `{pump}` rises between {} and {}, from {} to {}: two flows share a pressure there, and the pump may hunt",
                    name.replace('_', " "),
                    flow_text(from),
                    flow_text(to),
                    net_text(a),
                    net_text(b)
                ),
            )
            .here("higher than at the smaller flow")
            .help("check the readings; where they are right, throttle so that the pump works beyond this flow")
            .source("pump theory: a rising branch is unstable");
            if let Some(s) = row_of(from).and_then(|r| rows.get(r)) {
                f = f.label(Local::Span(d, *s), net_text(a));
            }
            let f = with_number(
                f,
                "net at the smaller flow",
                a,
                Kind::Pressure,
                net_unit.as_ref(),
                &settings,
            );
            let f = with_number(
                f,
                "net at the larger flow",
                b,
                Kind::Pressure,
                net_unit.as_ref(),
                &settings,
            );
            cx.report(f);
        }
    }
    for (row, span) in rows.iter().enumerate() {
        let Some(power) = table.number(row, "power") else {
            continue;
        };
        let place = Local::Span(d, *span);
        if power <= 0.0 {
            cx.report(
                Finding::new(
                    &POWER_ZERO,
                    place,
                    format!("a row of the {} of `{pump}` has no power: a turning pump always takes some", name.replace('_', " ")),
                )
                .here("no power")
                .help("write `-` where the power was not measured")
                .source("at shut-off too the pump churns the water and heats it"),
            );
            continue;
        }
        let (Some(flow), Some(net)) = (table.number(row, "flow"), table.number(row, "net")) else {
            continue;
        };
        let water = affinity::water_power(flow, net);
        let eta = water / power;
        if eta > MOST_EFFICIENT {
            let mut f = Finding::new(
                &EFFICIENCY,
                place,
                format!(
                    "at {} and {} `{pump}` would be {:.0} % efficient with {} at the shaft: no pump of this class is",
                    flow_text(flow),
                    net_text(net),
                    100.0 * eta,
                    show::si(power, Kind::Power, power_unit.as_ref(), &settings)
                ),
            )
            .here(format!("{:.0} % efficient", 100.0 * eta))
            .source("fire pumps reach 68 to 75 % (published), the best radial pumps about 90 % (from memory)")
            .number("efficiency", 100.0 * eta, "%")
            .number("limit", 100.0 * MOST_EFFICIENT, "%");
            // 1 kW is 1.341 hp.
            const KILOWATT_IN_HP: f64 = 1000.0 / 745.699_871_582_270_2;
            let in_hp = power_unit.as_ref().is_some_and(|u| u.ascii() == "hp");
            f = f.help(if in_hp && eta / KILOWATT_IN_HP <= MOST_EFFICIENT {
                format!(
                    "check the units: were the powers in kW, it would be {:.0} %",
                    100.0 * eta / KILOWATT_IN_HP
                )
            } else {
                "check the units and digits of flow, net pressure and power".to_owned()
            });
            cx.report(f);
        }
    }
}

fn check_gallons(cx: &mut Cx<'_>, d: DeclId, name: &str, table: &Table, flow: &Quantity) {
    let theirs = table
        .columns
        .iter()
        .find(|c| c.0 == "flow")
        .and_then(|c| c.1.as_ref()?.gallon());
    let (Some(ours), Some(theirs)) = (flow.gallon, theirs) else {
        return;
    };
    if ours == theirs {
        return;
    }
    let word = |g: Gallon| match g {
        Gallon::Us => "US gallons",
        Gallon::Imperial => "imperial gallons",
        Gallon::Mixed => "mixed gallons",
    };
    let place = cx.place(d, name);
    let other = cx.place(d, "rating");
    cx.report(
        Finding::new(
            &CURVE_GALLONS,
            place,
            format!(
                "the {} of `{}` is in {}, its rating in {}",
                name.replace('_', " "),
                cx.name(d),
                word(theirs),
                word(ours)
            ),
        )
        .here(word(theirs))
        .label(other, word(ours))
        .help("write both in one of them; 1 imperial gallon is 1.20095 US gallons")
        .source("an imperial gallon is 4.54609 L, a US gallon 231 in³"),
    );
}

fn check_joining(cx: &mut Cx<'_>, d: DeclId, layout: &Layout) -> Eval<()> {
    let name = cx.name(d);
    let connection = layout.connection;
    let stages = layout.stages;
    let at_connection = match connection {
        Some(_) => cx.place(d, "connection"),
        None => Local::Head(d),
    };
    let at_stages = cx.place(d, "stages");
    let plural = if stages == 1 { "stage" } else { "stages" };
    let wrong = |cx: &mut Cx<'_>, place, message: String, here: &str, help: &str, label: bool| {
        let mut f = Finding::new(&STAGES_JOIN, place, message)
            .here(here)
            .help(help);
        if label {
            f = f.label(at_stages, format!("{stages} {plural}"));
        }
        cx.report(f.number("stages", f64::from(stages), ""));
    };
    match connection {
        Some("single") if stages > 1 => wrong(
            cx,
            at_connection,
            format!("`{name}` has {stages} stages, but its connection is `single`"),
            "one stage",
            "write `series`, `parallel` or `changeover`, or list one stage",
            true,
        ),
        Some(word) if word != "single" && stages == 1 => wrong(
            cx,
            at_connection,
            format!(
                "`{name}` has one stage, but its connection is `{word}`, which joins two or more"
            ),
            "two or more stages",
            "list every stage in `stages`, the same impeller twice where they are alike, or write `single`",
            true,
        ),
        None if stages > 1 && !layout.changes() => wrong(
            cx,
            at_stages,
            format!("`{name}` has {stages} stages and does not say how they are joined"),
            "joined how?",
            "add `connection = series`, `parallel` or `changeover`",
            false,
        ),
        _ => {}
    }
    let unused: &[usize] = match connection {
        Some("single") => &[2, 3],
        Some("series") => &[3],
        Some("parallel") => &[2],
        Some("changeover") => &[0],
        _ if layout.changes() => &[0],
        _ => &[],
    };
    for k in unused {
        if layout.tables[*k].is_some() {
            let place = cx.place(d, CURVES[*k]);
            let way = match connection {
                Some(w) => format!("its connection is `{w}`"),
                None => "it has curves by position".to_owned(),
            };
            cx.report(
                Finding::new(
                    &CURVE_UNUSED,
                    place,
                    format!("`{}` of `{name}` is not used: {way}", CURVES[*k]),
                )
                .here("not used")
                .label(at_connection, way)
                .help(if *k == 0 {
                    "name it `series_curve`, `parallel_curve` or `stage_curve`, as it was tested"
                } else {
                    "take it out, or change the connection"
                }),
            );
        }
    }
    if layout.tables.iter().all(Option::is_none) {
        return Ok(());
    }
    let positions: &[&str] = if layout.changes() {
        &["series", "parallel"]
    } else {
        &[connection.unwrap_or("single")]
    };
    for position in positions {
        // Stages that do not say how they are joined are reported above.
        if layout.source(Some(position)).is_some() || connection.is_none() && !layout.changes() {
            continue;
        }
        let from_stage = layout.tables[1].is_some() && stages == 0;
        let (message, help) = if from_stage {
            (
                format!(
                    "the curve of `{name}` in {position} follows from its `stage_curve` and the number of stages, which is not given"
                ),
                "list the impellers: `stages = [first, second]`".to_owned(),
            )
        } else {
            (
                format!("no table gives the curve of `{name}` in {position}"),
                format!("add `{position}_curve`, or `stage_curve` with `stages`"),
            )
        };
        wrong(
            cx,
            at_connection,
            message,
            &format!("no curve in {position}"),
            &help,
            false,
        );
        if from_stage {
            break;
        }
    }
    Ok(())
}

fn check_rating(
    cx: &mut Cx<'_>,
    d: DeclId,
    source: &Source,
    flow: &Quantity,
    pressure: &Quantity,
) -> Eval<()> {
    let Some(curve) = joined(source, None) else {
        return Ok(());
    };
    let settings = cx.settings();
    let name = cx.name(d);
    let at_rating = cx.place(d, "rating");
    let at_table = cx.place(d, source.name);
    let at_limit = cx.place(d, "maximum_speed");
    let speed_unit = source.table.at.as_ref().and_then(|a| a.unit.clone());
    let speed_text = |si: f64| show::si(si, Kind::RotationalSpeed, speed_unit.as_ref(), &settings);
    let net_text = |si: f64| show::si(si, Kind::Pressure, pressure.unit.as_ref(), &settings);
    let flow_text = |si: f64| show::si(si, Kind::Flow, flow.unit.as_ref(), &settings);
    let rated = format!("{} at {}", flow_text(flow.si()), net_text(pressure.si()));
    let needs = curve.speed_for(flow.si(), pressure.si()).ok().flatten();
    let limit = match cx.get(d, "maximum_speed")? {
        Value::Quantity(q) => Some(q),
        Value::Absent => None,
        _ => return Ok(()),
    };
    let tested = curve.tested_speed();
    let (first, last) = curve.rise_curve().domain();
    let peak = curve.rise_curve().peak().1;
    match (needs, &limit) {
        (Some(n), Some(most)) => {
            let over = n > most.value.hi() * (1.0 + 1e-9);
            if over {
                let f = Finding::new(
                    &OVER_SPEED,
                    at_rating,
                    format!(
                        "`{name}` must turn at {} to make {rated}, above its highest speed of {}",
                        speed_text(n),
                        show::quantity(most, &settings)
                    ),
                )
                .here(format!("needs {}", speed_text(n)))
                .label(at_limit, "the highest speed allowed")
                .label(at_table, format!("the curve, at {}", speed_text(tested)))
                .help("rate the pump lower, or check the curve and its speed; a wheel turned too fast can burst")
                .source("`maximum_speed` of this pump; affinity laws");
                let unit = speed_unit.as_ref();
                let f = with_number(f, "speed needed", n, Kind::RotationalSpeed, unit, &settings);
                let f = with_number(
                    f,
                    "maximum_speed",
                    most.si(),
                    Kind::RotationalSpeed,
                    unit,
                    &settings,
                );
                cx.report(f);
            }
        }
        _ if peak < pressure.si() => {
            let at_flow = match curve.rise(flow.si(), tested) {
                Ok(p) => format!(", and {} at {}", net_text(p), flow_text(flow.si())),
                Err(_) => String::new(),
            };
            let by_law = match needs {
                Some(n) => format!("; by the affinity laws the rating needs {}", speed_text(n)),
                None => String::new(),
            };
            let f = Finding::new(
                &RATING_NOT_MADE,
                at_rating,
                format!(
                    "at the {} of its curve `{name}` makes {} at most{at_flow}: less than its rating of {rated}{by_law}",
                    speed_text(tested),
                    net_text(peak)
                ),
            )
            .here("more than the curve makes")
            .label(at_table, format!("{} at most", net_text(peak)))
            .help("where the pump may turn so fast, say it with `maximum_speed`; else check the units of the curve")
            .source("the curve as tested; affinity laws");
            let unit = pressure.unit.as_ref();
            let f = with_number(
                f,
                "highest net pressure",
                peak,
                Kind::Pressure,
                unit,
                &settings,
            );
            let f = with_number(
                f,
                "rated pressure",
                pressure.si(),
                Kind::Pressure,
                unit,
                &settings,
            );
            cx.report(f);
        }
        (None, _) => {
            // Carried to the rated pressure by the affinity laws, the tested flows end short of the rating.
            let c = pressure.si() / (flow.si() * flow.si());
            let carried = |q: f64| {
                let p = curve.rise(q, tested).ok().filter(|p| *p > 0.0)?;
                Some(q * (pressure.si() / p).sqrt())
            };
            let too_low = curve
                .rise(first, tested)
                .is_ok_and(|p| p < c * first * first);
            let (word, verb, end) = if too_low {
                ("before", "begin", carried(first))
            } else {
                ("beyond", "reach only", carried(last))
            };
            let reach = match end {
                Some(q) => format!(
                    ": at {} they {verb} {}",
                    net_text(pressure.si()),
                    flow_text(q)
                ),
                None => String::new(),
            };
            let mut f = Finding::new(
                &RATING_BEYOND,
                at_rating,
                format!("the rating of `{name}`, {rated}, lies {word} the tested flows{reach}"),
            )
            .here(format!("{word} the tested flows"))
            .label(
                at_table,
                format!("{} to {} at {}", flow_text(first), flow_text(last), speed_text(tested)),
            )
            .help("test the pump further, or check the rating; nothing is read outside the tested flows")
            .source("the curve as tested; affinity laws");
            let unit = flow.unit.as_ref();
            f = with_number(f, "rated flow", flow.si(), Kind::Flow, unit, &settings);
            if let Some(q) = end {
                f = with_number(
                    f,
                    "tested flow at the rated pressure",
                    q,
                    Kind::Flow,
                    unit,
                    &settings,
                );
            }
            cx.report(f);
        }
        _ => {}
    }
    Ok(())
}

fn check_best(cx: &mut Cx<'_>, d: DeclId, source: &Source) {
    if !source.table.has("power") {
        return;
    }
    let Some(best) = joined(source, Some("power")).and_then(|c| best_point(&c)) else {
        return;
    };
    if !best.at_end || own_rows(cx, d, source.name).is_none() {
        return;
    }
    let settings = cx.settings();
    let place = cx.place(d, source.name);
    let unit = source.unit("flow");
    let flow = show::si(best.flow, Kind::Flow, unit.as_ref(), &settings);
    cx.report(
        Finding::new(
            &BEST_AT_END,
            place,
            format!(
                "the efficiency of `{}` still rises at its last tested flow of {flow}, {:.1} %: its best point is not known",
                cx.name(d),
                100.0 * best.efficiency
            ),
        )
        .here("ends before the best efficiency")
        .help("test at larger flows to find it; specific speed follows from it")
        .number("efficiency at the last flow", 100.0 * best.efficiency, "%"),
    );
}
