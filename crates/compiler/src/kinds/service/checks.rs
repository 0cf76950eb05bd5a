//! What a test, its procedure and its instruments are checked for, in words.
//!
//! Invariants: each limit comes from the procedure (its `basis` is the source shown), except the few rules named in
//! the constants below, which say where they come from. Findings stand at the row or field they are about.
//!
//! Not here: the physics (`reading`).

use super::reading::{Analysis, Gauge, Outcome, Suction, Trouble};
use super::*;
use crate::db::Local;
use crate::kinds::surroundings::{WATER_RANGE, nameless};
use crate::settings::Settings;
use crate::show::{self, near_names};
use crate::slots::{decl_of, find, of_target};
use crate::value::{Date, Table};
use cutwater_finding::{Finding, FixTier};
use cutwater_hydraulics::STANDARD_GRAVITY;
use cutwater_hydraulics::service::Verdict;
use cutwater_hydraulics::water::Water;
use cutwater_quantity::{CompoundUnit, unit_for};
use cutwater_syntax::ast::{Entry, EntryKind};
use reading::reaches;
use std::fmt::Write as _;

/// From this share on an accuracy is taken for a forgotten `%`.
const LARGE_ACCURACY: f64 = 0.2;

/// Largest share of the rated flow a point may have.
const LARGEST_SHARE: f64 = 2.0;

/// How far vacuum may differ from lift and loss, m of water: 1.5 ft, common practice.
const VACUUM_ALLOWANCE: f64 = 0.4572;

/// Fall of net pressure at equal speed that is worth a word. Common practice.
const FALL: f64 = 0.05;

/// How far two tachometers may differ. Common practice.
const TACHOMETERS: f64 = 0.02;

const CHECK_EDITION: &str = "from memory; check the edition in force";

type Unit = Option<Arc<CompoundUnit>>;

/// Text of an SI value in a unit.
fn say(si: f64, kind: Kind, unit: &Unit, settings: &Settings) -> String {
    show::si(si, kind, unit.as_ref(), settings)
}

/// Adds a compared number in the unit it is shown in.
fn compared(
    f: Finding<Local>,
    what: &str,
    si: f64,
    kind: Kind,
    unit: &Unit,
    settings: &Settings,
) -> Finding<Local> {
    match unit {
        Some(u) => f.number(what, u.from_si(si), u.symbol()),
        None => match unit_for(si, kind, settings.units) {
            Some(u) => f.number(what, u.from_si(si), u.symbol),
            None => f.number(what, si, ""),
        },
    }
}

/// The place of a cell of one of the item's own tables; the table's where it is taken from another declaration.
fn cell(cx: &mut Cx<'_>, d: DeclId, table: &str, row: usize, column: &str) -> Local {
    let parsed = cx.item(d);
    if let Some(decl) = decl_of(&parsed.item)
        && let Some(Entry {
            kind: EntryKind::Table(t),
            ..
        }) = find(decl, table)
        && let Some(r) = t.rows.get(row)
    {
        let at = t
            .columns
            .iter()
            .position(|c| c.name.text == column)
            .and_then(|k| r.cells.get(k));
        return Local::Span(d, at.map_or(r.span, |c| c.span));
    }
    cx.place(d, table)
}

/// Where the limits come from.
fn basis(cx: &mut Cx<'_>, procedure: DeclId) -> Eval<String> {
    Ok(match cx.get(procedure, "basis")? {
        Value::Text(t) => t.to_string(),
        _ => format!("procedure `{}`", cx.name(procedure)),
    })
}

fn names(list: &[String]) -> String {
    let quoted: Vec<String> = list.iter().map(|n| format!("`{n}`")).collect();
    joined(&quoted)
}

fn joined(list: &[String]) -> String {
    match list {
        [] => String::new(),
        [one] => one.clone(),
        [front @ .., last] => format!("{} and {last}", front.join(", ")),
    }
}

fn plural(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

// ---- instrument and procedure ------------------------------------------------------------------

/// Checks an instrument.
pub(super) fn instrument(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    let Some(a) = cx.si(d, "accuracy")? else {
        return Ok(());
    };
    if a >= LARGE_ACCURACY {
        let place = cx.place(d, "accuracy");
        let mut f = Finding::new(
            &ACCURACY,
            place,
            format!(
                "`accuracy` of `{}` is {} %; gauges have 0.1 to 5 %",
                cx.name(d),
                show::number_text(a * 100.0)
            ),
        )
        .here("a forgotten `%`?")
        .source("grades of ASME B40.100, from memory")
        .number("accuracy", a * 100.0, "%");
        if a <= 10.0 {
            let text = format!("{} %", show::number_text(a));
            f = f.help(format!("write `{text}` if that is meant")).fix(
                format!("write `{text}`"),
                FixTier::NeedsALook,
                place,
                text,
            );
        }
        cx.report(f);
    }
    Ok(())
}

/// Whether the points of a procedure can be used.
pub(super) fn sound_points(t: &Table) -> bool {
    (0..t.rows).all(|r| row_trouble(t, r).is_none())
}

/// What is wrong with a row of a procedure's points: its column, and in words.
fn row_trouble(t: &Table, r: usize) -> Option<(&'static str, String)> {
    let Some(name) = t.text(r, "point") else {
        return Some(("point", "this point has no name".to_owned()));
    };
    if (0..r).any(|q| t.text(q, "point").as_ref() == Some(&name)) {
        return Some(("point", format!("a second point is called `{name}`")));
    }
    let above_zero = |column: &'static str, what: &str| match t.number(r, column) {
        Some(v) if v > 0.0 => None,
        _ => Some((column, format!("`{name}` has no {what} above zero"))),
    };
    if let Some(x) = above_zero("capacity", "share of the rated flow")
        .or_else(|| above_zero("net", "net pressure"))
        .or_else(|| above_zero("hold", "hold"))
    {
        return Some(x);
    }
    let share = t.number(r, "capacity")?;
    (share > LARGEST_SHARE).then(|| {
        (
            "capacity",
            format!(
                "`{name}` asks {} % of the rated flow",
                show::number_text(share * 100.0)
            ),
        )
    })
}

/// Checks a procedure.
pub(super) fn procedure(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    let Some(t) = cx.table(d, "points")? else {
        return Ok(());
    };
    for r in 0..t.rows {
        let Some((column, message)) = row_trouble(&t, r) else {
            continue;
        };
        let place = cell(cx, d, "points", r, column);
        let mut f = Finding::new(
            &PROCEDURE_POINTS,
            place,
            format!("procedure `{}`: {message}", cx.name(d)),
        )
        .here("cannot be used");
        f = if column == "capacity" && t.number(r, "capacity").is_some_and(|v| v > LARGEST_SHARE) {
            f.help("write the unit in the column's head, `capacity %`")
        } else if column == "point" {
            f.help("give each point a name of its own")
        } else {
            f.help("write a number above zero")
        };
        cx.report(f);
        // One is enough: a missing `%` makes every row wrong alike.
        break;
    }
    Ok(())
}

// ---- test --------------------------------------------------------------------------------------

/// Checks a test.
pub(super) fn test(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    test_water(cx, d)?;
    check_before(cx, d)?;
    let Some(a) = reading::analyse(cx, d)? else {
        return Ok(());
    };
    let settings = cx.settings();
    let source = basis(cx, a.procedure)?;
    let t = Test {
        d,
        a: &a,
        settings: &settings,
        source: &source,
    };
    t.rating(cx);
    t.assignment(cx)?;
    t.conditions(cx)?;
    t.suction_set(cx)?;
    t.instruments(cx)?;
    t.speeds(cx)?;
    for k in 0..a.points.len() {
        t.point(cx, k)?;
    }
    t.vacuum_and_lift(cx);
    other_parts(cx, d, &a)?;
    t.panel(cx)?;
    t.trend(cx)?;
    t.not_recorded(cx)
}

/// Water whose properties cannot be computed, stated by the test itself.
fn test_water(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    if let Some(t) = cx.si(d, "water_temperature")?
        && let Err(e) = Water::at(t, 101_325.0)
    {
        let place = cx.place(d, "water_temperature");
        cx.report(
            Finding::new(
                &WATER_RANGE,
                place,
                format!("the water of this test cannot be computed: {e}"),
            )
            .here("no liquid water"),
        );
    }
    Ok(())
}

/// Whether two tests can be compared: not one and the same, of one pump, in the order of their dates.
pub(super) fn may_compare(cx: &mut Cx<'_>, d: DeclId, before: DeclId) -> Eval<bool> {
    Ok(incomparable(cx, d, before)?.is_none())
}

fn incomparable(cx: &mut Cx<'_>, d: DeclId, before: DeclId) -> Eval<Option<String>> {
    let name = cx.name(before);
    if d == before {
        return Ok(Some(format!("test `{name}` is compared with itself")));
    }
    if let (Some(p), Some(q)) = (of_target(cx, d)?, of_target(cx, before)?)
        && p != q
    {
        return Ok(Some(format!(
            "test `{name}` is of pump `{}`, not of `{}`",
            cx.name(q),
            cx.name(p)
        )));
    }
    if let (Value::Date(this), Value::Date(then)) = (cx.get(d, "date")?, cx.get(before, "date")?)
        && then > this
    {
        return Ok(Some(format!(
            "test `{name}` is of {then}, after this test of {this}"
        )));
    }
    Ok(None)
}

fn check_before(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    let Some(before) = cx.reference(d, "before")? else {
        return Ok(());
    };
    if let Some(message) = incomparable(cx, d, before)? {
        let place = cx.place(d, "before");
        let there = cx.place(before, "date");
        let mut f = Finding::new(&BEFORE, place, message)
            .here("not an earlier test of this pump")
            .help("name an earlier test of the same pump, or correct the dates");
        if before != d {
            f = f.label(there, "that test");
        }
        cx.report(f);
    }
    Ok(())
}

/// Days since 1 March of year 0 in the Gregorian calendar (only differences of it are used).
fn day_number(d: Date) -> i64 {
    // Years begin in March here, so that the leap day is the last of its year; the months' lengths then follow a line.
    let (y, m) = (i64::from(d.year), i64::from(d.month));
    let y = if m <= 2 { y - 1 } else { y };
    let m = (m + 9) % 12;
    365 * y + y.div_euclid(4) - y.div_euclid(100)
        + y.div_euclid(400)
        + (153 * m + 2) / 5
        + i64::from(d.day)
}

struct Test<'a> {
    d: DeclId,
    a: &'a Analysis,
    settings: &'a Settings,
    source: &'a str,
}

impl Test<'_> {
    fn pressure(&self, si: f64) -> String {
        say(si, Kind::Pressure, &self.a.pressure_unit, self.settings)
    }

    fn flow(&self, si: f64) -> String {
        say(si, Kind::Flow, &self.a.flow_unit, self.settings)
    }

    fn speed(&self, si: f64) -> String {
        say(si, Kind::RotationalSpeed, &self.a.speed_unit, self.settings)
    }

    fn time(&self, si: f64) -> String {
        say(si, Kind::Time, &self.a.time_unit, self.settings)
    }

    fn with_pressure(&self, f: Finding<Local>, what: &str, si: f64) -> Finding<Local> {
        compared(
            f,
            what,
            si,
            Kind::Pressure,
            &self.a.pressure_unit,
            self.settings,
        )
    }

    /// The procedure's pressure at full capacity against the rating's.
    fn rating(&self, cx: &mut Cx<'_>) {
        let a = self.a;
        let full: Vec<f64> = a
            .points
            .iter()
            .filter(|p| (p.flow / a.rated_flow - 1.0).abs() < 1e-3)
            .map(|p| p.net)
            .collect();
        let fits = |p: &f64| (p / a.rated_pressure - 1.0).abs() < 5e-3;
        if let Some(asked) = full.first()
            && !full.iter().any(fits)
        {
            let place = cx.place(self.d, "procedure");
            let rated = cx.place(a.pump, "rating");
            let f = Finding::new(
                &RATING,
                place,
                format!(
                    "procedure `{}` asks {} net at full capacity, but pump `{}` is rated at {}",
                    cx.name(a.procedure),
                    self.pressure(*asked),
                    cx.name(a.pump),
                    self.pressure(a.rated_pressure)
                ),
            )
            .here("for another rating")
            .label(rated, "the rating")
            .help("check the rating plate, and use the procedure that belongs to this rating")
            .source(self.source);
            let f = self.with_pressure(f, "asked", *asked);
            cx.report(self.with_pressure(f, "rated", a.rated_pressure));
        }
    }

    /// Rows against points.
    fn assignment(&self, cx: &mut Cx<'_>) -> Eval<()> {
        let (d, a) = (self.d, self.a);
        let points = cx.place(a.procedure, "points");
        let missing: Vec<String> = a
            .points
            .iter()
            .zip(&a.assignment.row_of)
            .filter(|(p, r)| p.required && r.is_none())
            .map(|(p, _)| p.name.to_string())
            .collect();
        if !missing.is_empty() {
            let place = cx.place(d, "readings");
            let needs: Vec<String> = a
                .points
                .iter()
                .filter(|p| missing.iter().any(|m| *m == p.name))
                .map(|p| {
                    format!(
                        "`{}`: {} at {} net for {}",
                        p.name,
                        self.flow(p.flow),
                        self.pressure(p.net),
                        self.time(p.hold)
                    )
                })
                .collect();
            cx.report(
                Finding::new(
                    &POINTS,
                    place,
                    format!(
                        "test `{}` has no row for {}, which procedure `{}` asks of this pump",
                        cx.name(d),
                        names(&missing),
                        cx.name(a.procedure)
                    ),
                )
                .here(format!("{} missing", plural(missing.len(), "row", "rows")))
                .label(points, "the points asked")
                .help(format!("add the missing reading ({})", needs.join("; ")))
                .source(self.source),
            );
        }
        if let Some(first) = a.assignment.extra.first() {
            let place = cell(cx, d, "readings", *first, "flow");
            let n = a.assignment.extra.len();
            cx.report(
                Finding::new(
                    &POINTS,
                    place,
                    format!(
                        "test `{}` has {} than procedure `{}` has points",
                        cx.name(d),
                        plural(n, "row more", "rows more"),
                        cx.name(a.procedure)
                    ),
                )
                .here("belongs to no point")
                .label(points, "the points asked")
                .help("take out what is no point, or name the points in a `point` column")
                .source(self.source),
            );
        }
        for r in &a.assignment.unknown {
            let place = cell(cx, d, "readings", *r, "point");
            let known: Vec<String> = a.points.iter().map(|p| p.name.to_string()).collect();
            let f = match a.rows.get(*r).and_then(|x| x.name.clone()) {
                None => Finding::new(
                    &POINTS,
                    place,
                    format!("a row of test `{}` does not say its point", cx.name(d)),
                )
                .here("which point?"),
                Some(n) => {
                    let mut f = Finding::new(
                        &POINTS,
                        place,
                        format!("procedure `{}` has no point `{n}`", cx.name(a.procedure)),
                    )
                    .here("no such point");
                    if let Some(best) = near_names(&n, known.iter().map(String::as_str)).first() {
                        f.message.push_str(&format!("; did you mean `{best}`?"));
                        f = f.fix(
                            format!("write `{best}`"),
                            FixTier::NeedsALook,
                            place,
                            best.clone(),
                        );
                    }
                    f
                }
            };
            cx.report(
                f.label(points, "the points asked")
                    .help(format!("its points are {}", names(&known))),
            );
        }
        for r in &a.assignment.again {
            let place = cell(cx, d, "readings", *r, "point");
            let n = a
                .rows
                .get(*r)
                .and_then(|x| x.name.clone())
                .unwrap_or_default();
            cx.report(
                Finding::new(
                    &POINTS,
                    place,
                    format!("`{n}` has two rows; the first counts"),
                )
                .here("the second time; not used")
                .help("keep the row that counts"),
            );
        }
        Ok(())
    }

    /// Lift, water, air and barometer against the procedure's limits.
    fn conditions(&self, cx: &mut Cx<'_>) -> Eval<()> {
        let (d, p) = (self.d, self.a.procedure);
        // Water: the test's own temperature, else the file's where it is stated.
        let mut water = cx.quantity(d, "water_temperature")?;
        let mut place = cx.place(d, "water_temperature");
        if water.is_none()
            && let Some(w) = nameless(cx, d, "water")?
        {
            water = cx
                .quantity(w, "temperature")?
                .filter(|t| t.origin != Origin::Assumed);
            place = cx.place(d, "procedure");
        }
        self.within(cx, water, place, "water_temperature", "water")?;
        let mut air = cx.quantity(d, "air_temperature")?;
        let mut place = cx.place(d, "air_temperature");
        if air.is_none()
            && let Some(s) = nameless(cx, d, "site")?
        {
            air = cx.quantity(s, "air_temperature")?;
            place = cx.place(d, "procedure");
        }
        self.within(cx, air, place, "air_temperature", "air")?;
        if let (Some(least), Some(read)) = (
            cx.quantity(p, "least_barometer")?,
            cx.quantity(d, "sea_level_barometer")?,
        ) && !reaches(read.si(), least.si())
        {
            let place = cx.place(d, "sea_level_barometer");
            let limit = cx.place(p, "least_barometer");
            let kind = Kind::BarometricPressure;
            let (given, asked) = (
                say(read.si(), kind, &read.unit, self.settings),
                say(least.si(), kind, &read.unit, self.settings),
            );
            let f = Finding::new(
                &CONDITIONS,
                place,
                format!(
                    "the barometer stood at {given} (sea level); procedure `{}` asks {asked} or more",
                    cx.name(p)
                ),
            )
            .here("too low")
            .label(limit, "the limit")
            .help("test on a day of higher pressure, or say why the result stands")
            .source(self.source);
            let f = compared(f, "barometer", read.si(), kind, &read.unit, self.settings);
            cx.report(compared(
                f,
                "limit",
                least.si(),
                kind,
                &read.unit,
                self.settings,
            ));
        }
        Ok(())
    }

    fn within(
        &self,
        cx: &mut Cx<'_>,
        read: Option<Quantity>,
        place: Local,
        limit: &str,
        what: &str,
    ) -> Eval<()> {
        let p = self.a.procedure;
        let (Some(read), Value::Range(r)) = (read, cx.get(p, limit)?) else {
            return Ok(());
        };
        // Temperatures are written to a tenth of a degree; a conversion must not put one over a limit.
        const SLACK: f64 = 1e-6;
        if read.si() >= r.low - SLACK && read.si() <= r.high + SLACK {
            return Ok(());
        }
        let at = cx.place(p, limit);
        let f = Finding::new(
            &CONDITIONS,
            place,
            format!(
                "the {what} has {}; procedure `{}` allows {}",
                show::quantity(&read, self.settings),
                cx.name(p),
                show::range(&r, self.settings)
            ),
        )
        .here("outside the limits")
        .label(at, "the limits")
        .help("test under other conditions, or say why the result stands")
        .source(self.source);
        let unit = read.unit.clone().or(r.unit.clone());
        let f = compared(f, what, read.si(), Kind::Temperature, &unit, self.settings);
        let f = compared(
            f,
            "lower limit",
            r.low,
            Kind::Temperature,
            &unit,
            self.settings,
        );
        cx.report(compared(
            f,
            "upper limit",
            r.high,
            Kind::Temperature,
            &unit,
            self.settings,
        ));
        Ok(())
    }

    /// Lift and suction hose against the procedure's limits for this rating.
    fn suction_set(&self, cx: &mut Cx<'_>) -> Eval<()> {
        let (d, a, p) = (self.d, self.a, self.a.procedure);
        let table = cx.table(p, "suction")?;
        let row = table
            .as_ref()
            .and_then(|t| Some((t, reading::from_up(t, "rated", a.rated_flow)?)));
        let of_table = |column: &str| row.and_then(|(t, r)| t.number(r, column));
        let lift = cx.quantity(d, "lift")?;
        let stated = cx.si(p, "most_lift")?;
        let by_size = of_table("most_lift");
        // The stricter of the two holds.
        let limit = match (stated, by_size) {
            (Some(s), Some(b)) if b < s => Some((b, "suction")),
            (Some(s), _) => Some((s, "most_lift")),
            (None, b) => b.map(|b| (b, "suction")),
        };
        if a.draft
            && let (Some(lift), Some((most, field))) = (&lift, limit)
            && !reaches(most, lift.si())
        {
            let place = cx.place(d, "lift");
            let there = cx.place(p, field);
            let kind = Kind::Length;
            let f = Finding::new(
                &LIFT,
                place,
                format!(
                    "the lift is {}; procedure `{}` allows {} for this pump",
                    show::quantity(lift, self.settings),
                    cx.name(p),
                    say(most, kind, &lift.unit, self.settings)
                ),
            )
            .here("too high")
            .label(there, "the limit")
            .help("set the rig lower or nearer to the water and test again")
            .source(self.source);
            let f = compared(f, "lift", lift.si(), kind, &lift.unit, self.settings);
            cx.report(compared(f, "limit", most, kind, &lift.unit, self.settings));
        }
        let there = cx.place(p, "suction");
        if let (Some(bore), Some(most)) = (a.site.hose_bore, of_table("most_diameter"))
            && !reaches(most * 1.001, bore)
        {
            let place = cx.place(d, "suction");
            let kind = Kind::Length;
            let f = Finding::new(
                &SUCTION_SET,
                place,
                format!(
                    "the suction hose has {}; procedure `{}` allows up to {} for a pump of {}",
                    say(bore, kind, &None, self.settings),
                    cx.name(p),
                    say(most, kind, &None, self.settings),
                    say(a.rated_flow, Kind::Flow, &a.rated_flow_unit, self.settings)
                ),
            )
            .here("larger than allowed")
            .label(there, "the hose allowed")
            .source(self.source);
            let f = compared(f, "diameter", bore, kind, &None, self.settings);
            cx.report(compared(f, "limit", most, kind, &None, self.settings));
        }
        if let Some(most) = of_table("most_lines")
            && !reaches(most, a.site.lines)
        {
            let place = cx.place(d, "lines");
            cx.report(
                Finding::new(
                    &SUCTION_SET,
                    place,
                    format!(
                        "the test used {} suction lines; procedure `{}` allows {} for a pump of {}",
                        a.site.lines,
                        cx.name(p),
                        show::number_text(most),
                        say(a.rated_flow, Kind::Flow, &a.rated_flow_unit, self.settings)
                    ),
                )
                .here("more than allowed")
                .label(there, "the lines allowed")
                .source(self.source)
                .number("lines", a.site.lines, "")
                .number("limit", most, ""),
            );
        }
        Ok(())
    }

    /// Instruments: named, calibrated, and able to show what was read.
    fn instruments(&self, cx: &mut Cx<'_>) -> Eval<()> {
        let (d, a) = (self.d, self.a);
        let within = cx.quantity(a.procedure, "calibrated_within")?;
        for field in ["discharge_gauge", "intake_gauge", "flow_meter"] {
            let Some(i) = cx.reference(d, field)? else {
                continue;
            };
            self.calibration(cx, field, i, within.as_ref())?;
        }
        if let Some(meter) = cx.reference(d, "flow_meter")?
            && cx.quantity(meter, "span")?.is_some()
        {
            let place = cx.place(d, "flow_meter");
            let there = cx.place(meter, "span");
            cx.report(
                Finding::new(
                    &GAUGE_SPAN,
                    place,
                    format!(
                        "`{}` has a span of pressure, so it cannot be the meter that read the flow",
                        cx.name(meter)
                    ),
                )
                .here("not a flow meter")
                .label(there, "its span")
                .help("state a pitot gauge by the accuracy of the flow it gives, without `span`"),
            );
        }
        for (gauge, field, columns) in [
            (
                &a.site.discharge_gauge,
                "discharge_gauge",
                ["discharge"].as_slice(),
            ),
            (
                &a.site.intake_gauge,
                "intake_gauge",
                ["intake_vacuum", "intake"].as_slice(),
            ),
        ] {
            let Gauge::Known(i) = gauge else { continue };
            let Some(span) = i.span else { continue };
            let beyond = a.rows.iter().enumerate().find_map(|(r, row)| {
                columns.iter().find_map(|c| {
                    let v = match *c {
                        "discharge" => row.discharge,
                        "intake_vacuum" => row.vacuum,
                        _ => row.intake,
                    }?;
                    (!reaches(span, v.abs())).then_some((r, *c, v))
                })
            });
            if let Some((r, column, v)) = beyond
                && let Some(g) = cx.reference(d, field)?
            {
                let place = cell(cx, d, "readings", r, column);
                let there = cx.place(g, "span");
                let kind = if column == "intake_vacuum" {
                    Kind::Vacuum
                } else {
                    Kind::GaugePressure
                };
                let (read, most) = (
                    say(v, kind, &None, self.settings),
                    say(span, kind, &None, self.settings),
                );
                let f = Finding::new(
                    &GAUGE_SPAN,
                    place,
                    format!("{read} was read, but `{}` ends at {most}", cx.name(g)),
                )
                .here("beyond the scale")
                .label(there, "its span")
                .help("check the reading, the instrument named and its `span`");
                let f = compared(f, "reading", v, kind, &None, self.settings);
                cx.report(compared(f, "span", span, kind, &None, self.settings));
            }
        }
        // Which gauges would be needed for the uncertainty.
        if a.guarded {
            let mut missing = Vec::new();
            if matches!(a.site.discharge_gauge, Gauge::NotNamed) {
                missing.push("`discharge_gauge`".to_owned());
            }
            let reads_intake = !a.draft
                || a.rows
                    .iter()
                    .any(|r| r.vacuum.is_some() || r.intake.is_some());
            if reads_intake && matches!(a.site.intake_gauge, Gauge::NotNamed) {
                missing.push("`intake_gauge`".to_owned());
            }
            if !missing.is_empty() {
                cx.report(
                    Finding::new(
                        &INDICATED,
                        Local::Head(d),
                        format!(
                            "the verdict of test `{}` is by indicated values: {} not named",
                            cx.name(d),
                            if missing.len() == 1 {
                                format!("{} is", missing[0])
                            } else {
                                format!("{} are", joined(&missing))
                            }
                        ),
                    )
                    .here("simple acceptance")
                    .help("name an `instrument` for each gauge to see how sure the verdict is")
                    .source("common practice in fire-pump tests: indicated values"),
                );
            }
        }
        Ok(())
    }

    fn calibration(
        &self,
        cx: &mut Cx<'_>,
        field: &str,
        i: DeclId,
        within: Option<&Quantity>,
    ) -> Eval<()> {
        let (Value::Date(done), Value::Date(test)) =
            (cx.get(i, "calibrated")?, cx.get(self.d, "date")?)
        else {
            return Ok(());
        };
        let days = day_number(test) - day_number(done);
        let most = within.map(|q| q.si() / 86_400.0);
        let message = if days < 0 {
            format!(
                "`{}` was calibrated on {done}, after the test of {test}",
                cx.name(i)
            )
        } else if let Some(most) = most
            && days as f64 > most
        {
            format!(
                "`{}` was calibrated on {done}, {} before the test; procedure `{}` allows {}",
                cx.name(i),
                plural(usize::try_from(days).unwrap_or(0), "day", "days"),
                cx.name(self.a.procedure),
                plural(most as usize, "day", "days")
            )
        } else {
            return Ok(());
        };
        let place = cx.place(self.d, field);
        let there = cx.place(i, "calibrated");
        let mut f = Finding::new(&CALIBRATION, place, message)
            .here("not calibrated in time")
            .label(there, "last calibrated")
            .help("calibrate it and repeat the test, or use a gauge that is in date")
            .source(self.source)
            .number("age", days as f64, "day");
        if let Some(most) = most {
            f = f.number("limit", most, "day");
        }
        cx.report(f);
        Ok(())
    }

    /// The drive, and speeds against their limits.
    fn speeds(&self, cx: &mut Cx<'_>) -> Eval<()> {
        let (d, a) = (self.d, self.a);
        let drive = cx.reference(d, "drive")?;
        let mut ratio = None;
        let mut governed = None;
        if let Some(e) = drive {
            ratio = cx.si(e, "gear_ratio")?;
            governed = cx.quantity(e, "governed_speed")?;
            if let Some(other) = cx.reference(e, "turns")?
                && other != a.pump
            {
                let place = cx.place(d, "drive");
                let there = cx.place(e, "turns");
                cx.report(
                    Finding::new(
                        &TEST_DRIVE,
                        place,
                        format!(
                            "drive `{}` turns `{}`, not `{}`",
                            cx.name(e),
                            cx.name(other),
                            cx.name(a.pump)
                        ),
                    )
                    .here("another pump's drive")
                    .label(there, "what it turns")
                    .help("name the drive that turns the pump tested"),
                );
                return Ok(());
            }
        }
        let highest = cx.quantity(a.pump, "maximum_speed")?;
        let mut told = false;
        for (r, row) in a.rows.iter().enumerate() {
            if let (Some(engine), Some(pump), Some(ratio), false) =
                (row.engine, row.pump, ratio, told)
                && engine > 0.0
                && (pump / (engine * ratio) - 1.0).abs() > TACHOMETERS
            {
                told = true;
                let place = cell(cx, d, "readings", r, "pump");
                let there = drive.map(|e| cx.place(e, "gear_ratio"));
                let mut f = Finding::new(
                    &TEST_DRIVE,
                    place,
                    format!(
                        "the pump turned {:.3} times for one turn of the engine, but the gear ratio is {}",
                        pump / engine,
                        show::number_text(ratio)
                    ),
                )
                .here("does not fit the engine's speed")
                .help("check the gear used and both tachometers")
                .source("common practice: tachometers agree within 2 %")
                .number("read", pump / engine, "")
                .number("gear ratio", ratio, "");
                if let Some(p) = there {
                    f = f.label(p, "the gear ratio");
                }
                cx.report(f);
            }
            if let Some(most) = &governed
                && let Some(engine) = row.engine.or_else(|| Some(row.pump? / ratio?))
                && !reaches(most.si(), engine)
            {
                let column = if row.engine.is_some() {
                    "engine"
                } else {
                    "pump"
                };
                let place = cell(cx, d, "readings", r, column);
                let there = drive.map_or(Local::Head(d), |e| cx.place(e, "governed_speed"));
                let f = Finding::new(
                    &OVERSPEED,
                    place,
                    format!(
                        "the engine ran at {}, above its no-load governed speed of {}",
                        self.speed(engine),
                        self.speed(most.si())
                    ),
                )
                .here("above the governed speed")
                .label(there, "governed speed")
                .help("throttle down; a point that needs more speed was not made")
                .source(format!("NFPA 1911, {CHECK_EDITION}"));
                let f = self.with_speed(f, "engine", engine);
                cx.report(self.with_speed(f, "governed speed", most.si()));
            }
            if let Some(most) = &highest
                && let Some(pump) = row.pump.or_else(|| Some(row.engine? * ratio?))
                && !reaches(most.si(), pump)
            {
                let column = if row.pump.is_some() { "pump" } else { "engine" };
                let place = cell(cx, d, "readings", r, column);
                let there = cx.place(a.pump, "maximum_speed");
                let f = Finding::new(
                    &OVERSPEED,
                    place,
                    format!(
                        "the pump ran at {}, above its highest speed allowed of {}",
                        self.speed(pump),
                        self.speed(most.si())
                    ),
                )
                .here("above the highest speed")
                .label(there, "highest speed")
                .help("throttle down; a point that needs more speed was not made")
                .source(format!("pump `{}`", cx.name(a.pump)));
                let f = self.with_speed(f, "pump", pump);
                cx.report(self.with_speed(f, "highest speed", most.si()));
            }
        }
        // The governor against its record.
        if let (Some(band), Some(read), Some(new)) = (
            cx.si(a.procedure, "governed_speed_band")?,
            cx.quantity(d, "governed_speed")?,
            &governed,
        ) && !reaches(band, (read.si() - new.si()).abs())
        {
            let place = cx.place(d, "governed_speed");
            let there = drive.map_or(Local::Head(d), |e| cx.place(e, "governed_speed"));
            let f = Finding::new(
                &GOVERNED_SPEED,
                place,
                format!(
                    "the engine's no-load governed speed is {}; when new it was {}, and procedure `{}` allows ± {}",
                    show::quantity(&read, self.settings),
                    show::quantity(new, self.settings),
                    cx.name(a.procedure),
                    self.speed(band)
                ),
            )
            .here("differs too far")
            .label(there, "recorded speed")
            .help("have the governor seen to before the pump is judged")
            .source(self.source);
            let f = self.with_speed(f, "governed speed", read.si());
            cx.report(self.with_speed(f, "when new", new.si()));
        }
        Ok(())
    }

    fn with_speed(&self, f: Finding<Local>, what: &str, si: f64) -> Finding<Local> {
        compared(
            f,
            what,
            si,
            Kind::RotationalSpeed,
            &self.a.speed_unit,
            self.settings,
        )
    }

    /// One point: its intake, flow, hold and net pressure.
    fn point(&self, cx: &mut Cx<'_>, k: usize) -> Eval<()> {
        let (d, a) = (self.d, self.a);
        let (p, j) = (&a.points[k], &a.judged[k]);
        let Some(r) = j.row else { return Ok(()) };
        if let Some(t) = &j.trouble {
            self.trouble(cx, p, r, t);
            return Ok(());
        }
        // What is not asked of this pump is shown in its record, and not judged.
        let (Some(net), true) = (&j.net, p.required) else {
            return Ok(());
        };
        let asked = cx.place(a.procedure, "points");
        let rated = cx.place(a.pump, "rating");
        if !j.flow_reached
            && let Some(flow) = a.rows[r].flow
        {
            let place = cell(cx, d, "readings", r, "flow");
            let f = Finding::new(
                &FLOW_SHORT,
                place,
                format!(
                    "`{}` was read at {}; {} is needed",
                    p.name,
                    self.flow(flow),
                    self.flow(p.flow)
                ),
            )
            .here(format!("{:.1} % short", 100.0 * (1.0 - flow / p.flow)))
            .label(asked, "the points asked")
            .label(rated, "the rating")
            .help("open the test line or change the tip, and read the point again")
            .source(format!(
                "{}; flow may fall short by {} %",
                self.source,
                show::number_text(100.0 * a.flow_tolerance)
            ));
            let unit = &a.flow_unit;
            let f = compared(f, "flow", flow, Kind::Flow, unit, self.settings);
            cx.report(compared(
                f,
                "needed",
                p.flow,
                Kind::Flow,
                unit,
                self.settings,
            ));
        }
        if !j.held
            && let Some(held) = a.rows[r].held
        {
            let place = cell(cx, d, "readings", r, "held");
            let f = Finding::new(
                &HOLD_SHORT,
                place,
                format!(
                    "`{}` was held for {}; {} is asked",
                    p.name,
                    self.time(held),
                    self.time(p.hold)
                ),
            )
            .here("too short")
            .label(asked, "the points asked")
            .help("run the point again for its whole time")
            .source(self.source);
            let unit = &a.time_unit;
            let f = compared(f, "held", held, Kind::Time, unit, self.settings);
            cx.report(compared(
                f,
                "asked",
                p.hold,
                Kind::Time,
                unit,
                self.settings,
            ));
        }
        let margin = net.value - p.net;
        let (code, message, here, help) = match j.by_net {
            Some(Verdict::Fail) => (
                &POINT_MISSED,
                format!(
                    "`{}` of test `{}` made {} net; {} is needed, {} more",
                    p.name,
                    cx.name(d),
                    self.pressure(net.value),
                    self.pressure(p.net),
                    self.pressure(-margin)
                ),
                format!("{} net", self.pressure(net.value)),
                "check gauges, strainer, suction hose and engine speed before the pump is blamed; what follows is for the authority having jurisdiction",
            ),
            Some(Verdict::TooClose) => (
                &TOO_CLOSE,
                format!(
                    "`{}` of test `{}` made {} net where {} is needed: within {} of the limit, these instruments cannot tell",
                    p.name,
                    cx.name(d),
                    self.pressure(net.value),
                    self.pressure(p.net),
                    self.pressure(j.guard)
                ),
                format!("{} net, too close to call", self.pressure(net.value)),
                "read it again with a finer gauge or several times over; the chance shown counts the gauges alone",
            ),
            _ => return Ok(()),
        };
        let place = cell(cx, d, "readings", r, "discharge");
        let mut message = message;
        if let Some(u) = net.uncertainty {
            let _ = write!(message, " (standard uncertainty {}", self.pressure(u));
            match a.probability(k) {
                // Where the agreed rule is simple acceptance, this is a miss: it must not hide behind the band.
                Some(chance) if code == &TOO_CLOSE && !reaches(net.value, p.net) => {
                    let _ = write!(
                        message,
                        ", {:.1} % chance of being below); by indicated values it is missed by {}",
                        100.0 * (1.0 - chance),
                        self.pressure(-margin)
                    );
                }
                Some(chance) if code == &TOO_CLOSE => {
                    let _ = write!(
                        message,
                        ", {:.1} % chance of being below)",
                        100.0 * (1.0 - chance)
                    );
                }
                _ => message.push(')'),
            }
        }
        let mut source = self.source.to_owned();
        if j.guard > 0.0 {
            source.push_str("; guard band 1.645 standard uncertainties, ISO 14253-1 (from memory) and JCGM 106:2012, 8.3");
        }
        let f = Finding::new(code, place, message)
            .here(here)
            .label(asked, "the points asked")
            .label(rated, "the rating")
            .help(help)
            .source(source);
        let f = self.with_pressure(f, "net", net.value);
        let f = self.with_pressure(f, "needed", p.net);
        let mut f = self.with_pressure(f, "margin", margin);
        if let Some(u) = net.uncertainty {
            f = self.with_pressure(f, "standard uncertainty", u);
        }
        if j.guard > 0.0 {
            f = self.with_pressure(f, "guard band", j.guard);
        }
        cx.report(f);
        Ok(())
    }

    /// A reading without a net pressure.
    fn trouble(&self, cx: &mut Cx<'_>, p: &reading::Point, r: usize, t: &Trouble) {
        let d = self.d;
        let name = &p.name;
        let (code, column, message, here, help) = match t {
            Trouble::Unknown => return,
            Trouble::NotRead(column) => (
                &POINTS,
                *column,
                format!("`{name}` has no {column} reading"),
                "not read",
                "write what was read",
            ),
            Trouble::NoIntake => (
                &INTAKE,
                "intake_vacuum",
                format!(
                    "the net pressure of `{name}` cannot be told: no intake vacuum was read, and lift and suction hose are not both given"
                ),
                "nothing about the intake",
                "add a column `intake_vacuum inHg`, or `lift`, `suction` and `strainer`",
            ),
            Trouble::NoIntakePressure => (
                &INTAKE,
                "intake",
                format!(
                    "the net pressure of `{name}` cannot be told: from a pressurised source the intake pressure is needed"
                ),
                "nothing about the intake",
                "add a column `intake psi`",
            ),
            Trouble::VacuumPressurised => (
                &INTAKE,
                "intake_vacuum",
                format!(
                    "`{name}` has an intake vacuum, but procedure `{}` is from a pressurised source",
                    cx.name(self.a.procedure)
                ),
                "a vacuum from a pressurised source",
                "use a procedure at draft, or read `intake` (a compound gauge below zero is written with a minus sign)",
            ),
            Trouble::Both => (
                &INTAKE,
                "intake",
                format!("`{name}` has both an intake vacuum and an intake pressure"),
                "one of the two",
                "write `-` for the one that was not read",
            ),
            Trouble::AboveAtmosphere(v) => (
                &INTAKE,
                "intake",
                format!(
                    "`{name}` has an intake pressure of {} above the atmosphere, but procedure `{}` is at draft",
                    self.pressure(*v),
                    cx.name(self.a.procedure)
                ),
                "not at draft",
                "write a compound gauge below zero with a minus sign, or use a procedure from a pressurised source",
            ),
            Trouble::TooDeep(v) => (
                &INTAKE,
                if self.a.rows.get(r).is_some_and(|x| x.vacuum.is_some()) {
                    "intake_vacuum"
                } else {
                    "intake"
                },
                format!(
                    "`{name}` has a vacuum of {}, deeper than the atmosphere's pressure",
                    say(*v, Kind::Vacuum, &None, self.settings)
                ),
                "no such vacuum",
                "check the reading and its unit: vacuum is read in inHg or kPa below the atmosphere",
            ),
            Trouble::NoLoss(h) => (
                &INTAKE,
                "intake_vacuum",
                format!(
                    "the net pressure of `{name}` cannot be told: `{}` states no loss",
                    cx.name(*h)
                ),
                "by lift and suction loss",
                "state its loss, or read `intake_vacuum`",
            ),
            Trouble::Input(e) => (
                &INTAKE,
                "discharge",
                format!("the net pressure of `{name}` cannot be computed: {e}"),
                "not computable",
                "check the readings of this row",
            ),
        };
        let place = cell(cx, d, "readings", r, column);
        let mut f = Finding::new(code, place, message).here(here).help(help);
        f = match t {
            Trouble::VacuumPressurised | Trouble::AboveAtmosphere(_) => {
                let there = cx.place(self.a.procedure, "source");
                f.label(there, "the source")
            }
            Trouble::NoLoss(h) => f.label(Local::Head(*h), "its loss is not stated"),
            _ => f,
        };
        cx.report(f);
    }

    /// Vacuum against lift and losses: the row where they differ most.
    fn vacuum_and_lift(&self, cx: &mut Cx<'_>) {
        let a = self.a;
        let gamma = a.water.density * STANDARD_GRAVITY;
        let (true, Some((lift, _))) = (a.draft, a.site.lift) else {
            return;
        };
        let mut worst: Option<(usize, f64, f64, f64)> = None;
        for (r, row) in a.rows.iter().enumerate() {
            let (Some(flow), Some(read)) = (row.flow, row.vacuum.or(row.intake.map(|p| -p))) else {
                continue;
            };
            // Without a known loss only too little vacuum can be told.
            let (low, high) = match (&a.site.suction, a.site.expected_vacuum(flow, &a.water)) {
                (_, Some(e)) => e,
                (Suction::NotNamed, None) => (lift * gamma, f64::INFINITY),
                _ => continue,
            };
            let off = if read < low {
                read - low
            } else if read > high {
                read - high
            } else {
                0.0
            };
            if off.abs() > VACUUM_ALLOWANCE * gamma && worst.is_none_or(|w| off.abs() > w.1.abs()) {
                worst = Some((r, off, read, if off < 0.0 { low } else { high }));
            }
        }
        let Some((r, off, read, expected)) = worst else {
            return;
        };
        let column = if a.rows[r].vacuum.is_some() {
            "intake_vacuum"
        } else {
            "intake"
        };
        let place = cell(cx, self.d, "readings", r, column);
        let lift_place = cx.place(self.d, "lift");
        let head = |p: f64| say(p / gamma, Kind::Head, &None, self.settings);
        let made_of = match a.site.suction {
            Suction::NotNamed => "the lift alone makes",
            _ => "lift and suction loss make",
        };
        let f = Finding::new(
            &INTAKE_DISAGREES,
            place,
            format!(
                "the intake vacuum is {} of water, but {made_of} {}",
                head(read),
                head(expected)
            ),
        )
        .here(format!(
            "{} too {}",
            head(off.abs()),
            if off < 0.0 { "little" } else { "much" }
        ))
        .label(lift_place, "the lift")
        .help(if off < 0.0 {
            "check the intake gauge, its line and the lift; the net pressure is taken from the gauge"
        } else {
            "check strainer, suction hose and joints, the gauge and the lift; the net pressure is taken from the gauge"
        })
        .source("lift, suction loss and velocity head; allowance 1.5 ft, common practice");
        let f = compared(f, "vacuum", read / gamma, Kind::Head, &None, self.settings);
        cx.report(compared(
            f,
            "expected",
            expected / gamma,
            Kind::Head,
            &None,
            self.settings,
        ));
    }

    /// The rig's own gauges against a test gauge.
    fn panel(&self, cx: &mut Cx<'_>) -> Eval<()> {
        let (d, a) = (self.d, self.a);
        let (Some(most), Some(t)) = (
            cx.si(a.procedure, "most_gauge_error")?,
            cx.table(d, "gauge_check")?,
        ) else {
            return Ok(());
        };
        for r in 0..t.rows {
            let (Some(truth), Some(panel)) = (t.number(r, "reference"), t.number(r, "panel"))
            else {
                continue;
            };
            if reaches(most, (panel - truth).abs()) {
                continue;
            }
            let place = cell(cx, d, "gauge_check", r, "panel");
            let there = cx.place(a.procedure, "most_gauge_error");
            let f = Finding::new(
                &PANEL_GAUGE,
                place,
                format!(
                    "the rig's gauge reads {} at {}: {} off, where procedure `{}` allows {}",
                    self.pressure(panel),
                    self.pressure(truth),
                    self.pressure((panel - truth).abs()),
                    cx.name(a.procedure),
                    self.pressure(most)
                ),
            )
            .here("too far off")
            .label(there, "the limit")
            .help("have the gauge recalibrated, mended or replaced; until then pump operators are misled")
            .source(self.source);
            let f = self.with_pressure(f, "error", panel - truth);
            cx.report(self.with_pressure(f, "limit", most));
        }
        Ok(())
    }

    /// The change since an earlier test.
    fn trend(&self, cx: &mut Cx<'_>) -> Eval<()> {
        let d = self.d;
        let Some(changes) = reading::trend(cx, d)? else {
            return Ok(());
        };
        let fallen: Vec<_> = changes.iter().filter(|c| c.share() < -FALL).collect();
        let Some(worst) = fallen.iter().min_by(|x, y| x.share().total_cmp(&y.share())) else {
            return Ok(());
        };
        let Some(before) = cx.reference(d, "before")? else {
            return Ok(());
        };
        let place = match worst.row {
            Some(r) => cell(cx, d, "readings", r, "discharge"),
            None => cx.place(d, "readings"),
        };
        let there = cx.place(before, "readings");
        let mut message = format!(
            "at equal speed and flow the net pressure of `{}` fell by {:.1} % since test `{}`, from {} to {} at {} of the pump",
            worst.name,
            -100.0 * worst.share(),
            cx.name(before),
            self.pressure(worst.then),
            self.pressure(worst.now),
            self.speed(worst.speed)
        );
        if fallen.len() > 1 {
            let _ = write!(
                message,
                "; {} of {} points fell by more than {:.0} %",
                fallen.len(),
                changes.len(),
                100.0 * FALL
            );
        }
        let f = Finding::new(&TREND, place, message)
            .here(format!("{:.1} %", 100.0 * worst.share()))
            .label(there, "the earlier readings")
            .help("look first at gauges, tachometer and suction, then at what wears: rings, impeller, valves that leak; the numbers do not say which")
            .source("affinity laws; a fall of more than 5 % is worth a look, common practice");
        let f = self.with_pressure(f, "then", worst.then);
        let f = self.with_pressure(f, "now", worst.now);
        cx.report(f.number("change", 100.0 * worst.share(), "%"));
        Ok(())
    }

    /// What the procedure states and the test does not record.
    fn not_recorded(&self, cx: &mut Cx<'_>) -> Eval<()> {
        let (d, a, p) = (self.d, self.a, self.a.procedure);
        let mut missing: Vec<String> = Vec::new();
        let absent = |cx: &mut Cx<'_>, x: DeclId, name: &str| -> Eval<bool> {
            Ok(cx.get(x, name)? == Value::Absent)
        };
        let short = |r: &reading::Judged| r.row.is_some_and(|r| a.rows[r].held.is_none());
        if a.judged.iter().any(short) {
            missing.push("how long the points were held (column `held`)".to_owned());
        }
        if a.draft {
            let by_size = cx.table(p, "suction")?.is_some();
            if (by_size || !absent(cx, p, "most_lift")?) && absent(cx, d, "lift")? {
                missing.push("the lift (`lift`)".to_owned());
            }
        }
        if !absent(cx, p, "water_temperature")?
            && absent(cx, d, "water_temperature")?
            && nameless(cx, d, "water")?.is_none()
        {
            missing.push("the water's temperature (`water_temperature`)".to_owned());
        }
        if !absent(cx, p, "air_temperature")? && absent(cx, d, "air_temperature")? {
            let site = nameless(cx, d, "site")?;
            let there = match site {
                Some(s) => !absent(cx, s, "air_temperature")?,
                None => false,
            };
            if !there {
                missing.push("the air's temperature (`air_temperature`)".to_owned());
            }
        }
        if !absent(cx, p, "least_barometer")? && absent(cx, d, "sea_level_barometer")? {
            missing.push("the barometer (`sea_level_barometer`)".to_owned());
        }
        if !absent(cx, p, "vacuum.least")? && absent(cx, d, "vacuum.reached")? {
            missing.push("the vacuum test (block `vacuum`)".to_owned());
        }
        if let Some(t) = cx.table(p, "priming")?
            && reading::from_up(&t, "rated", a.rated_flow).is_some()
            && absent(cx, d, "priming_time")?
        {
            missing.push("the priming time (`priming_time`)".to_owned());
        }
        if !absent(cx, p, "pressure_control.most_rise")? {
            let asked = cx.si(p, "pressure_control.trials")?.unwrap_or(1.0);
            match cx.get(d, "pressure_control")? {
                Value::Absent => {
                    missing.push("the pressure control (table `pressure_control`)".to_owned());
                }
                Value::Table(t) if (t.rows as f64) < asked => missing.push(format!(
                    "{} of the pressure control",
                    plural(asked as usize - t.rows, "trial", "trials")
                )),
                _ => {}
            }
        }
        if !absent(cx, p, "most_gauge_error")? && absent(cx, d, "gauge_check")? {
            missing.push("the check of the rig's gauges (table `gauge_check`)".to_owned());
        }
        if !absent(cx, p, "governed_speed_band")? && absent(cx, d, "governed_speed")? {
            missing.push("the no-load governed speed (`governed_speed`)".to_owned());
        }
        if !missing.is_empty() {
            let there = Local::Head(p);
            cx.report(
                Finding::new(
                    &NOT_RECORDED,
                    Local::Head(d),
                    format!(
                        "procedure `{}` also asks for what test `{}` does not record: {}",
                        cx.name(p),
                        cx.name(d),
                        joined(&missing)
                    ),
                )
                .here("the verdict is of what is recorded")
                .label(there, "the procedure")
                .help("add what was measured")
                .source(self.source),
            );
        }
        Ok(())
    }
}

// ---- the parts beside the points ---------------------------------------------------------------

/// Vacuum, priming, pressure control and tank flow: reports what is wrong and gives the outcome of each part recorded.
pub(super) fn other_parts(cx: &mut Cx<'_>, d: DeclId, a: &Analysis) -> Eval<Vec<Outcome>> {
    let source = basis(cx, a.procedure)?;
    let mut out = Vec::new();
    out.extend(vacuum(cx, d, a, &source)?);
    out.extend(priming(cx, d, a, &source)?);
    out.extend(pressure_control(cx, d, a, &source)?);
    out.extend(tank(cx, d, a, &source)?);
    Ok(out)
}

fn vacuum(cx: &mut Cx<'_>, d: DeclId, a: &Analysis, source: &str) -> Eval<Option<Outcome>> {
    let (p, settings) = (a.procedure, cx.settings());
    let (Some(reached), Some(loss), Some(time)) = (
        cx.quantity(d, "vacuum.reached")?,
        cx.quantity(d, "vacuum.loss")?,
        cx.quantity(d, "vacuum.time")?,
    ) else {
        return Ok(None);
    };
    let (Some(least), Some(most_loss), Some(whole)) = (
        cx.si(p, "vacuum.least")?,
        cx.si(p, "vacuum.most_loss")?,
        cx.si(p, "vacuum.time")?,
    ) else {
        return Ok(None);
    };
    let mut outcome = Outcome::Pass;
    // Less is asked at altitude, where the procedure says so and the file says how high it is.
    let mut needed = least;
    let mut forgiven = String::new();
    if let (Some(v), Some(per), Some(above), Some(site)) = (
        cx.part(p, "vacuum.altitude_allowance", "vacuum")?,
        cx.part(p, "vacuum.altitude_allowance", "height")?,
        cx.si(p, "vacuum.allowance_above")?,
        nameless(cx, d, "site")?,
    ) && let Some(altitude) = cx.quantity(site, "altitude")?
        && altitude.si() > above
    {
        needed = (least - v * (altitude.si() - above) / per).max(0.0);
        forgiven = format!(" at {}", show::quantity(&altitude, &settings));
    }
    let unit = &reached.unit;
    let kind = Kind::Vacuum;
    if !reaches(reached.si(), needed) {
        outcome = Outcome::Fail;
        let place = cx.place(d, "vacuum.reached");
        let there = cx.place(p, "vacuum.least");
        let f = Finding::new(
            &VACUUM,
            place,
            format!(
                "the vacuum reached {}; procedure `{}` asks {}{forgiven}",
                show::quantity(&reached, &settings),
                cx.name(p),
                say(needed, kind, unit, &settings)
            ),
        )
        .here("too little")
        .label(there, "the vacuum asked")
        .help("look for open drains and leaking valves, packing and caps; check the primer")
        .source(source);
        let f = compared(f, "vacuum", reached.si(), kind, unit, &settings);
        cx.report(compared(f, "asked", needed, kind, unit, &settings));
    }
    // The loss lasts no longer than the vacuum itself.
    if loss.si() > reached.si() * (1.0 + 1e-9) {
        outcome = Outcome::Fail;
        let place = cx.place(d, "vacuum.loss");
        cx.report(
            Finding::new(
                &VACUUM,
                place,
                format!(
                    "the vacuum lost {}, more than the {} there was",
                    say(loss.si(), kind, unit, &settings),
                    show::quantity(&reached, &settings)
                ),
            )
            .here("more than there was")
            .help("`loss` is how far the reading fell, not what was left"),
        );
    } else if !reaches(most_loss, loss.si()) {
        outcome = Outcome::Fail;
        let place = cx.place(d, "vacuum.loss");
        let there = cx.place(p, "vacuum.most_loss");
        let f = Finding::new(
            &VACUUM,
            place,
            format!(
                "the vacuum lost {} in {}; procedure `{}` allows {} in {}",
                say(loss.si(), kind, unit, &settings),
                show::quantity(&time, &settings),
                cx.name(p),
                say(most_loss, kind, unit, &settings),
                say(whole, Kind::Time, &time.unit, &settings)
            ),
        )
        .here("too much")
        .label(there, "the loss allowed")
        .help("find the leak: packing, valves, drains, gaskets, gauge lines")
        .source(source);
        let f = compared(f, "loss", loss.si(), kind, unit, &settings);
        cx.report(compared(f, "limit", most_loss, kind, unit, &settings));
    }
    if !reaches(time.si(), whole) {
        outcome = outcome.max(Outcome::Incomplete);
        let place = cx.place(d, "vacuum.time");
        let there = cx.place(p, "vacuum.time");
        let f = Finding::new(
            &VACUUM,
            place,
            format!(
                "the vacuum was watched for {}; procedure `{}` asks {}",
                show::quantity(&time, &settings),
                cx.name(p),
                say(whole, Kind::Time, &time.unit, &settings)
            ),
        )
        .here("too short")
        .label(there, "the time asked")
        .help("repeat it for the whole time")
        .source(source);
        let f = compared(f, "time", time.si(), Kind::Time, &time.unit, &settings);
        cx.report(compared(
            f,
            "asked",
            whole,
            Kind::Time,
            &time.unit,
            &settings,
        ));
    }
    Ok(Some(outcome))
}

fn priming(cx: &mut Cx<'_>, d: DeclId, a: &Analysis, source: &str) -> Eval<Option<Outcome>> {
    let (p, settings) = (a.procedure, cx.settings());
    let (Some(time), Some(t)) = (cx.quantity(d, "priming_time")?, cx.table(p, "priming")?) else {
        return Ok(None);
    };
    let Some(mut most) =
        reading::from_up(&t, "rated", a.rated_flow).and_then(|r| t.number(r, "time"))
    else {
        return Ok(None);
    };
    if cx.choice(d, "auxiliary_intake")? == Some("yes") {
        most += cx.si(p, "priming_allowance")?.unwrap_or(0.0);
    }
    if reaches(most, time.si()) {
        return Ok(Some(Outcome::Pass));
    }
    let place = cx.place(d, "priming_time");
    let there = cx.place(p, "priming");
    let f = Finding::new(
        &PRIMING,
        place,
        format!(
            "priming took {}; procedure `{}` allows {} for a pump of {}",
            show::quantity(&time, &settings),
            cx.name(p),
            say(most, Kind::Time, &time.unit, &settings),
            say(a.rated_flow, Kind::Flow, &a.rated_flow_unit, &settings)
        ),
    )
    .here("too long")
    .label(there, "the time allowed")
    .help("look for air leaks; check primer, its oil or vanes, and the battery")
    .source(source);
    let f = compared(f, "time", time.si(), Kind::Time, &time.unit, &settings);
    cx.report(compared(
        f,
        "limit",
        most,
        Kind::Time,
        &time.unit,
        &settings,
    ));
    Ok(Some(Outcome::Fail))
}

fn pressure_control(
    cx: &mut Cx<'_>,
    d: DeclId,
    a: &Analysis,
    source: &str,
) -> Eval<Option<Outcome>> {
    let (p, settings) = (a.procedure, cx.settings());
    let (Some(most), Some(t)) = (
        cx.si(p, "pressure_control.most_rise")?,
        cx.table(d, "pressure_control")?,
    ) else {
        return Ok(None);
    };
    let closing = match cx.get(p, "pressure_control.closing_time")? {
        Value::Range(r) => Some(r),
        _ => None,
    };
    let mut outcome = Outcome::Pass;
    let unit = a.pressure_unit.clone();
    let kind = Kind::Pressure;
    for r in 0..t.rows {
        let (Some(before), Some(after)) = (t.number(r, "before"), t.number(r, "after")) else {
            outcome = outcome.max(Outcome::Incomplete);
            continue;
        };
        let rise = after - before;
        if !reaches(most, rise) {
            outcome = Outcome::Fail;
            let place = cell(cx, d, "pressure_control", r, "after");
            let there = cx.place(p, "pressure_control.most_rise");
            let f = Finding::new(
                &PRESSURE_RISE,
                place,
                format!(
                    "the pressure rose by {} from {} when the discharges were shut; procedure `{}` allows {}",
                    say(rise, kind, &unit, &settings),
                    say(before, kind, &unit, &settings),
                    cx.name(p),
                    say(most, kind, &unit, &settings)
                ),
            )
            .here("rose too far")
            .label(there, "the rise allowed")
            .help("have relief valve or governor seen to before the rig goes back to service")
            .source(source);
            let f = compared(f, "rise", rise, kind, &unit, &settings);
            cx.report(compared(f, "limit", most, kind, &unit, &settings));
        }
        if let (Some(range), Some(took)) = (&closing, t.number(r, "closing"))
            && !(reaches(took, range.low) && reaches(range.high, took))
        {
            let place = cell(cx, d, "pressure_control", r, "closing");
            let there = cx.place(p, "pressure_control.closing_time");
            let f = Finding::new(
                &CLOSING,
                place,
                format!(
                    "the discharges were shut in {}; procedure `{}` asks {}",
                    say(took, Kind::Time, &range.unit, &settings),
                    cx.name(p),
                    show::range(range, &settings)
                ),
            )
            .here(if took < range.low {
                "too fast"
            } else {
                "too slow"
            })
            .label(there, "the time asked")
            .help(if took < range.low {
                "close valves slowly: a water hammer bursts hose"
            } else {
                "repeat the trial; so slow a closing shows little"
            })
            .source(source);
            cx.report(compared(
                f,
                "closing time",
                took,
                Kind::Time,
                &range.unit,
                &settings,
            ));
        }
    }
    Ok(Some(outcome))
}

fn tank(cx: &mut Cx<'_>, d: DeclId, a: &Analysis, source: &str) -> Eval<Option<Outcome>> {
    let (p, settings) = (a.procedure, cx.settings());
    let (Some(capacity), Some(flow)) = (
        cx.quantity(d, "tank_to_pump.capacity")?,
        cx.quantity(d, "tank_to_pump.flow")?,
    ) else {
        return Ok(None);
    };
    let Some(t) = cx.table(p, "tank_to_pump")? else {
        return Ok(None);
    };
    let Some(least) = reading::from_up(&t, "tank", capacity.si()).and_then(|r| t.number(r, "flow"))
    else {
        return Ok(None);
    };
    let mut outcome = Outcome::Pass;
    let there = cx.place(p, "tank_to_pump");
    if !reaches(flow.si(), least) {
        outcome = Outcome::Fail;
        let place = cx.place(d, "tank_to_pump.flow");
        let f = Finding::new(
            &TANK_FLOW,
            place,
            format!(
                "the tank gave {}; procedure `{}` asks {} from a tank of {}",
                show::quantity(&flow, &settings),
                cx.name(p),
                say(least, Kind::Flow, &flow.unit, &settings),
                show::quantity(&capacity, &settings)
            ),
        )
        .here("too little")
        .label(there, "the flow asked")
        .help("check the tank's valve, check valve and vent")
        .source(source);
        let f = compared(f, "flow", flow.si(), Kind::Flow, &flow.unit, &settings);
        cx.report(compared(
            f,
            "asked",
            least,
            Kind::Flow,
            &flow.unit,
            &settings,
        ));
    }
    let Some(share) = cx.si(p, "tank_share")? else {
        return Ok(Some(outcome));
    };
    let needed = share * capacity.si();
    match cx.quantity(d, "tank_to_pump.discharged")? {
        None => outcome = outcome.max(Outcome::Incomplete),
        Some(out) if !reaches(out.si(), needed) => {
            outcome = Outcome::Fail;
            let place = cx.place(d, "tank_to_pump.discharged");
            let f = Finding::new(
                &TANK_FLOW,
                place,
                format!(
                    "the flow was held until {} were out; procedure `{}` asks {}, {} % of the tank",
                    show::quantity(&out, &settings),
                    cx.name(p),
                    say(needed, Kind::Volume, &out.unit, &settings),
                    show::number_text(100.0 * share)
                ),
            )
            .here("too little")
            .label(there, "what is asked")
            .help("look for a vortex plate that is missing, or a sump that does not drain")
            .source(source);
            let f = compared(
                f,
                "discharged",
                out.si(),
                Kind::Volume,
                &out.unit,
                &settings,
            );
            cx.report(compared(
                f,
                "asked",
                needed,
                Kind::Volume,
                &out.unit,
                &settings,
            ));
        }
        Some(_) => {}
    }
    Ok(Some(outcome))
}
