//! The `drive`: engine, gears and governor.
//!
//! What the pump asks for at its rating is laid against what the engine gives through the gears. Invariants: the gear
//! ratio is pump turns per engine turn; the engine's output is read by straight lines and never outside its table.
//!
//! What it does not do: derating for altitude and air temperature, slip of a torque converter, transients.

use super::pump::{check_gaps, curve_for, curve_with, own_rows};
use super::rotor::{given, need, with_number};
use crate::codes::{OUT_OF_RANGE, codes};
use crate::db::Cx;
use crate::schema::short::{column, default, optional, positive, required};
use crate::schema::{BLANK, ComputedDef, KindDef, Sign, TableDef, Type};
use crate::settings::Settings;
use crate::show;
use crate::value::{Origin, Quantity, Value};
use crate::{DeclId, Eval};
use cutwater_finding::Finding;
use cutwater_hydraulics::drive::{Drive, Engine, Margins, Reading};
use cutwater_quantity::{CompoundUnit, Kind};
use std::sync::Arc;

codes! {
    /// Raised by `drive`.
    GOVERNOR = "CW1321" "governor-limit" Error, "The rating needs more than the governed engine speed.",
        "Engine speed is pump speed over the gear ratio. In pump tests the engine is not to pass its no-load governed speed (NFPA 1901 and 1911, from memory; check the edition in force). The help names the ratios with which the rating is made.",
        fires "drive engine {\n    turns = main\n    gear_ratio = 1.4\n    governed_speed = 2200 rpm\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n",
        silent "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    governed_speed = 2200 rpm\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n";
    /// Raised by `drive`.
    POWER_SHORT = "CW1322" "power-short" Error, "The engine cannot carry the rating.",
        "At the engine speed the rating asks for, the engine's power less the losses of gears and shafts is less than the pump takes. Another ratio may bring the engine to a better speed; the help names those that do.",
        fires "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    governed_speed = 2200 rpm\n    output (speed rpm, power hp) {\n        1200 100\n        1600 120\n        2200 140\n    }\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n",
        silent "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    governed_speed = 2200 rpm\n    output (speed rpm, power hp) {\n        1200 190\n        1600 262\n        2200 305\n    }\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n";
    /// Raised by `drive`.
    OVERLOAD = "CW1323" "overload-short" Warning, "The drive makes the rating but not the overload point.",
        "Pumps of 750 gpm and more, rated at 150 psi, are also tested at full capacity and 165 psi, which asks for about 10 % more power: the spare the rating is to have.",
        fires "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    governed_speed = 2200 rpm\n    output (speed rpm, power hp) {\n        1200 140\n        1600 160\n        2200 170\n    }\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n",
        silent "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    governed_speed = 2200 rpm\n    output (speed rpm, power hp) {\n        1200 190\n        1600 262\n        2200 305\n    }\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n";
    /// Raised by `drive`.
    GOVERNED_OUTSIDE = "CW1324" "governed-outside-output" Warning, "The governed speed is far from the engine's output table.",
        "A no-load governed speed lies a few per cent above the last speed of the full-load output (the governor's droop; up to 10 % passes, common practice). Further off, or below the first speed, one of the two is likely wrong, or is meant at the pump and not at the engine.",
        fires "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    governed_speed = 3300 rpm\n    output (speed rpm, power hp) {\n        1200 190\n        2200 305\n    }\n}\npump main { rating = 500 gpm at 150 psi }\n",
        silent "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    governed_speed = 2350 rpm\n    output (speed rpm, power hp) {\n        1200 190\n        2200 305\n    }\n}\npump main { rating = 500 gpm at 150 psi }\n";
    /// Raised by `drive`.
    RATED_OUTSIDE = "CW1325" "rating-outside-output" Warning, "At the rating the engine's output is not known.",
        "The engine speed at the rating lies outside the output table, and nothing is read outside a table: the margins of power and torque are not known. Extend the table, or check the ratio.",
        fires "drive engine {\n    turns = main\n    gear_ratio = 3\n    output (speed rpm, power hp) {\n        1200 190\n        2200 305\n    }\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n",
        silent "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    output (speed rpm, power hp) {\n        1200 190\n        2200 305\n    }\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n";
    /// Raised by `drive`.
    RATIO_SENSE = "CW1326" "ratio-sense" Advice, "A gear ratio out of the ordinary: which way round is it?",
        "Here a ratio is pump turns per engine turn, as the fire pump trade quotes it (1.96 means that the pump turns 1.96 times for one turn of the engine). Texts on gearboxes quote the inverse. Midship pumps are stepped up between 1 and 4.",
        fires "drive engine {\n    turns = main\n    gear_ratio = 0.495\n}\npump main { rating = 500 gpm at 150 psi }\n",
        silent "drive engine {\n    turns = main\n    gear_ratio = 2.02\n}\npump main { rating = 500 gpm at 150 psi }\n";
}

/// A drive.
pub static DRIVE: KindDef = KindDef {
    word: "drive",
    doc: "What turns a pump: an engine's output, the ratio of the gears between, and the governed speed.",
    fields: &[
        required("turns", Type::Ref(&["pump"]), "The pump it turns."),
        required(
            "gear_ratio",
            positive(Kind::Ratio),
            "Turns of the pump for one turn of the engine.",
        ),
        default(
            "efficiency",
            positive(Kind::Ratio),
            "0.95",
            "common practice: 0.90 to 0.95 from engine to pump shaft",
            "Share of the engine's power that reaches the pump shaft.",
        ),
        optional(
            "governed_speed",
            positive(Kind::RotationalSpeed),
            "No-load governed speed of the engine.",
        ),
    ],
    tables: &[TableDef {
        name: "output",
        doc: "The engine's output against its speed.",
        required: false,
        at: None,
        columns: &[
            column("speed", Kind::RotationalSpeed, "Engine speed."),
            column(
                "power",
                Kind::Power,
                "Power at that speed, at full throttle.",
            ),
        ],
        rising: true,
        least_rows: 2,
    }],
    computed: &[
        ComputedDef {
            name: "governed_pump_speed",
            ty: Type::Quantity(Kind::RotationalSpeed, Sign::Positive),
            doc: "Highest speed of the pump shaft the governor allows.",
            formula: "governed_speed · gear_ratio",
            source: "gearing",
            solved: false,
            hint: true,
            eval: governed_pump_speed,
        },
        ComputedDef {
            name: "rated_engine_speed",
            ty: Type::Quantity(Kind::RotationalSpeed, Sign::Positive),
            doc: "Engine speed at which the pump makes its rating.",
            formula: "turns.rated_speed / gear_ratio",
            source: "gearing; affinity laws",
            solved: false,
            hint: true,
            eval: rated_engine_speed,
        },
        ComputedDef {
            name: "spare_speed",
            ty: Type::Quantity(Kind::RotationalSpeed, Sign::Any),
            doc: "Engine speed left at the rating; below zero the governor does not allow the rating.",
            formula: "governed_speed − rated_engine_speed",
            source: "gearing",
            solved: false,
            hint: false,
            eval: spare_speed,
        },
        ComputedDef {
            name: "power_margin",
            ty: Type::Quantity(Kind::Power, Sign::Any),
            doc: "Power at the pump shaft left at the rating; below zero the engine cannot carry it. No derating for altitude or air.",
            formula: "efficiency · output at rated_engine_speed − turns.rated_shaft_power",
            source: "balance of power at the pump shaft",
            solved: false,
            hint: false,
            eval: power_margin,
        },
        ComputedDef {
            name: "torque_margin",
            ty: Type::Quantity(Kind::Torque, Sign::Any),
            doc: "Engine torque left at the rating.",
            formula: "(output at rated_engine_speed − turns.rated_shaft_power / efficiency) / rated_engine_speed",
            source: "torque is power over speed",
            solved: false,
            hint: false,
            eval: torque_margin,
        },
    ],
    check: Some(check_drive),
    ..BLANK
};

fn governed_pump_speed(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let governed = given!(need(cx, d, "governed_speed"));
    let ratio = given!(need(cx, d, "gear_ratio"));
    let mut q = Quantity::from_tol(Kind::RotationalSpeed, governed.value.mul(&ratio.value))
        .origin(governed.origin.with(ratio.origin));
    q.unit = governed.unit;
    Ok(Value::Quantity(q))
}

/// The pump it turns.
fn pump(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<DeclId, Value>> {
    Ok(match cx.get(d, "turns")? {
        Value::Decl(p) => Ok(p),
        Value::Unknown => Err(Value::Unknown),
        _ => Err(Value::Absent),
    })
}

fn rated_engine_speed(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let pump = given!(pump(cx, d));
    let speed = given!(need(cx, pump, "rated_speed"));
    let ratio = given!(need(cx, d, "gear_ratio"));
    let Ok(value) = speed.value.div(&ratio.value) else {
        return Ok(Value::Unknown);
    };
    let mut q =
        Quantity::from_tol(Kind::RotationalSpeed, value).origin(speed.origin.with(ratio.origin));
    q.unit = speed.unit;
    Ok(Value::Quantity(q))
}

fn spare_speed(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let governed = given!(need(cx, d, "governed_speed"));
    let rated = given!(need(cx, d, "rated_engine_speed"));
    let mut q = Quantity::from_tol(Kind::RotationalSpeed, governed.value.sub(&rated.value))
        .origin(governed.origin.with(rated.origin));
    q.unit = governed.unit.or(rated.unit);
    Ok(Value::Quantity(q))
}

/// The engine's output as a table of speeds (rad/s) and powers (W), with the unit of power.
struct Output {
    speeds: Vec<f64>,
    powers: Vec<f64>,
    unit: Option<Arc<CompoundUnit>>,
}

impl Output {
    fn engine(&self) -> Option<Engine> {
        Engine::new(self.speeds.clone(), self.powers.clone(), Reading::Straight).ok()
    }
}

/// The output table; `Unknown` also where a cell is missing, which the check reports.
fn output(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<Output, Value>> {
    Ok(match cx.get(d, "output")? {
        Value::Table(t) => match (t.numbers("speed"), t.numbers("power")) {
            (Some(speeds), Some(powers)) => Ok(Output {
                speeds,
                powers,
                unit: t
                    .columns
                    .iter()
                    .find(|c| c.0 == "power")
                    .and_then(|c| c.1.clone()),
            }),
            _ => Err(Value::Unknown),
        },
        Value::Unknown => Err(Value::Unknown),
        _ => Err(Value::Absent),
    })
}

/// What the drive leaves at the rating, what that rests on, and the unit of the output.
struct Left {
    margins: Margins,
    origin: Origin,
    unit: Option<Arc<CompoundUnit>>,
}

fn margins(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<Left, Value>> {
    macro_rules! part {
        ($e:expr) => {
            match $e? {
                Ok(v) => v,
                Err(v) => return Ok(Err(v)),
            }
        };
    }
    let pump = part!(pump(cx, d));
    let speed = part!(need(cx, pump, "rated_speed"));
    let shaft = part!(need(cx, pump, "rated_shaft_power"));
    let ratio = part!(need(cx, d, "gear_ratio"));
    let efficiency = part!(need(cx, d, "efficiency"));
    let output = part!(output(cx, d));
    // The governed speed counts for none of the margins read here.
    let found = output
        .engine()
        .and_then(|e| Drive::new(e, ratio.si(), efficiency.si(), f64::MAX).ok())
        .and_then(|x| x.margins(speed.si(), shaft.si()).ok());
    let origin = speed
        .origin
        .with(shaft.origin)
        .with(ratio.origin)
        .with(efficiency.origin);
    Ok(found
        .map(|margins| Left {
            margins,
            origin,
            unit: output.unit,
        })
        .ok_or(Value::Absent))
}

fn power_margin(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let left = given!(margins(cx, d));
    let mut q = Quantity::computed(Kind::Power, left.margins.power).origin(left.origin);
    q.unit = left.unit;
    Ok(Value::Quantity(q))
}

fn torque_margin(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let left = given!(margins(cx, d));
    Ok(Value::Quantity(
        Quantity::computed(Kind::Torque, left.margins.torque).origin(left.origin),
    ))
}

// ---- checks ------------------------------------------------------------------------------------------

/// What a point of the pump asks for.
#[derive(Clone, Copy)]
struct Demand {
    /// Pump speed, rad/s.
    speed: f64,
    /// Power at the pump shaft, W, where the curve gives it.
    power: Option<f64>,
}

/// Ranges of the gear ratio, rising, with which a demand is met: the engine turns no faster than `governed` and
/// brings the power. Without an output only the speed counts, and the range has no upper end.
fn ratios(
    demand: Demand,
    output: Option<&Output>,
    efficiency: f64,
    governed: Option<f64>,
) -> Vec<(f64, f64)> {
    let most = governed.unwrap_or(f64::INFINITY);
    let (Some(output), Some(power)) = (output, demand.power) else {
        return match governed {
            Some(g) => vec![(demand.speed / g, f64::INFINITY)],
            None => Vec::new(),
        };
    };
    // Engine speeds at which the power is there: on each straight piece of the table one stretch.
    let needed = power / efficiency;
    let mut speeds: Vec<(f64, f64)> = Vec::new();
    for (x, y) in output.speeds.windows(2).zip(output.powers.windows(2)) {
        let (a, b) = (y[0] - needed, y[1] - needed);
        let cross = x[0] + (x[1] - x[0]) * a / (a - b);
        let (from, to) = match (a >= 0.0, b >= 0.0) {
            (true, true) => (x[0], x[1]),
            (true, false) => (x[0], cross),
            (false, true) => (cross, x[1]),
            (false, false) => continue,
        };
        let to = to.min(most);
        if from > to {
            continue;
        }
        match speeds.last_mut() {
            Some(last) if last.1 >= from => last.1 = to,
            _ => speeds.push((from, to)),
        }
    }
    speeds
        .iter()
        .rev()
        .map(|(from, to)| (demand.speed / to, demand.speed / from))
        .collect()
}

/// Ranges of ratios in words, rounded inwards so that each number said is good; `None` where there is none.
fn ratios_text(ranges: &[(f64, f64)]) -> Option<String> {
    let said: Vec<String> = ranges
        .iter()
        .filter_map(|(low, high)| {
            let low = (low * 100.0 - 1e-9).ceil() / 100.0;
            if high.is_infinite() {
                return Some(format!("{low:.2} or more"));
            }
            let high = (high * 100.0 + 1e-9).floor() / 100.0;
            match low.total_cmp(&high) {
                std::cmp::Ordering::Less => Some(format!("{low:.2} to {high:.2}")),
                std::cmp::Ordering::Equal => Some(format!("{low:.2}")),
                std::cmp::Ordering::Greater => None,
            }
        })
        .collect();
    (!said.is_empty()).then(|| said.join(", or "))
}

/// All the checks look at.
struct Facts {
    pump: DeclId,
    ratio: Quantity,
    efficiency: Quantity,
    governed: Option<Quantity>,
    output: Option<Output>,
    settings: Arc<Settings>,
}

impl Facts {
    fn speed(&self, si: f64, unit: Option<&Arc<CompoundUnit>>) -> String {
        show::si(si, Kind::RotationalSpeed, unit, &self.settings)
    }

    fn power(&self, si: f64) -> String {
        let unit = self.output.as_ref().and_then(|o| o.unit.as_ref());
        show::si(si, Kind::Power, unit, &self.settings)
    }

    /// Power at the pump shaft at an engine speed; `None` outside the output.
    fn available(&self, engine_speed: f64) -> Option<f64> {
        let engine = self.output.as_ref()?.engine()?;
        Some(engine.power(engine_speed).ok()? * self.efficiency.si())
    }

    fn ratios_text(&self, demand: Demand) -> Option<String> {
        ratios_text(&ratios(
            demand,
            self.output.as_ref(),
            self.efficiency.si(),
            self.governed.as_ref().map(Quantity::si),
        ))
    }
}

fn check_drive(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    let settings = cx.settings();
    if let Some(table) = cx.table(d, "output")?
        && let Some(rows) = own_rows(cx, d, "output")
    {
        check_gaps(cx, d, "output", &table, "power", &rows);
    }
    let ratio = cx.quantity(d, "gear_ratio")?;
    if let Some(ratio) = &ratio {
        check_ratio(cx, d, ratio);
    }
    let efficiency = cx.quantity(d, "efficiency")?;
    if let Some(e) = &efficiency
        && e.si() > 1.0
    {
        let place = cx.place(d, "efficiency");
        cx.report(
            Finding::new(
                &OUT_OF_RANGE,
                place,
                format!(
                    "`efficiency` is the share of the engine's power that reaches the pump, at most 1 (100 %), not {}",
                    show::quantity(e, &settings)
                ),
            )
            .here("more than all of it")
            .help("write 0.95 or 95 %")
            .number("efficiency", e.si(), ""),
        );
        return Ok(());
    }
    let governed = match cx.get(d, "governed_speed")? {
        Value::Quantity(q) => Some(q),
        Value::Absent => None,
        _ => return Ok(()),
    };
    let output = match output(cx, d)? {
        Ok(o) => Some(o),
        Err(Value::Absent) => None,
        Err(_) => return Ok(()),
    };
    if let (Some(g), Some(o)) = (&governed, &output) {
        check_governed(cx, d, g, o);
    }
    let (Some(ratio), Some(efficiency), Ok(pump)) = (ratio, efficiency, pump(cx, d)?) else {
        return Ok(());
    };
    let facts = Facts {
        pump,
        ratio,
        efficiency,
        governed,
        output,
        settings,
    };
    check_demands(cx, d, &facts)
}

fn check_ratio(cx: &mut Cx<'_>, d: DeclId, ratio: &Quantity) {
    if (1.0..=4.0).contains(&ratio.si()) {
        return;
    }
    let place = cx.place(d, "gear_ratio");
    let mut f = Finding::new(
        &RATIO_SENSE,
        place,
        format!(
            "with this `gear_ratio` the pump turns {:.4} times for one turn of the engine; 1 to 4 is usual",
            ratio.si()
        ),
    )
    .here("pump turns per engine turn")
    .source("the trade quotes pump turns per engine turn, gearbox texts the inverse (common practice)")
    .number("gear_ratio", ratio.si(), "");
    let inverse = 1.0 / ratio.si();
    if (1.0..=4.0).contains(&inverse) {
        f = f.help(format!(
            "if engine turns per pump turn were meant, write {inverse:.3}"
        ));
    }
    cx.report(f);
}

fn check_governed(cx: &mut Cx<'_>, d: DeclId, governed: &Quantity, output: &Output) {
    // Droop of a governor from full load to no load: up to about 10 %, common practice.
    const DROOP: f64 = 1.10;
    let (Some(first), Some(last)) = (output.speeds.first(), output.speeds.last()) else {
        return;
    };
    if governed.si() >= *first && governed.si() <= last * DROOP * (1.0 + 1e-12) {
        return;
    }
    let settings = cx.settings();
    let place = cx.place(d, "governed_speed");
    let other = cx.place(d, "output");
    let unit = governed.unit.as_ref();
    let text = |si: f64| show::si(si, Kind::RotationalSpeed, unit, &settings);
    let f = Finding::new(
        &GOVERNED_OUTSIDE,
        place,
        format!(
            "`{}` is governed at {}, but its output is given from {} to {}",
            cx.name(d),
            text(governed.si()),
            text(*first),
            text(*last)
        ),
    )
    .here("far from the output table")
    .label(other, format!("{} to {}", text(*first), text(*last)))
    .help("both are engine speeds; extend the output, or check the governed speed")
    .source("a no-load speed up to 10 % above the last full-load speed passes (common practice)");
    let f = with_number(
        f,
        "governed_speed",
        governed.si(),
        Kind::RotationalSpeed,
        unit,
        &settings,
    );
    let f = with_number(
        f,
        "first speed",
        *first,
        Kind::RotationalSpeed,
        unit,
        &settings,
    );
    let f = with_number(
        f,
        "last speed",
        *last,
        Kind::RotationalSpeed,
        unit,
        &settings,
    );
    cx.report(f);
}

fn check_demands(cx: &mut Cx<'_>, d: DeclId, facts: &Facts) -> Eval<()> {
    let Some(rated) = cx.quantity(facts.pump, "rated_speed")? else {
        return Ok(());
    };
    let power = cx.si(facts.pump, "rated_shaft_power")?;
    let demand = Demand {
        speed: rated.si(),
        power,
    };
    let unit = rated.unit.as_ref();
    let engine_speed = demand.speed / facts.ratio.si();
    let (me, pump) = (cx.name(d), cx.name(facts.pump));
    let at_ratio = cx.place(d, "gear_ratio");
    let at_governed = cx.place(d, "governed_speed");
    let at_output = cx.place(d, "output");
    let at_rating = cx.place(facts.pump, "rating");
    let ratio = show::number_text(facts.ratio.si());
    let cure = |none: &str| match facts.ratios_text(demand) {
        Some(r) => format!("a ratio of {r} makes the rating"),
        None => none.to_owned(),
    };
    if let Some(g) = &facts.governed
        && engine_speed > g.value.hi() * (1.0 + 1e-9)
    {
        let f = Finding::new(
            &GOVERNOR,
            at_ratio,
            format!(
                "the rating of `{pump}` needs {} of the pump and, at a ratio of {ratio}, {} of `{me}`, above its governed {}",
                facts.speed(demand.speed, unit),
                facts.speed(engine_speed, unit),
                show::quantity(g, &facts.settings)
            ),
        )
        .here(format!("needs {} of the engine", facts.speed(engine_speed, unit)))
        .label(at_governed, "the governed speed")
        .label(at_rating, "the rating")
        .help(cure("no ratio makes the rating with this engine within its governed speed"))
        .source("engine speed in pump tests is not to pass the no-load governed speed (NFPA 1901 and 1911, from memory)");
        let f = with_number(
            f,
            "engine speed at the rating",
            engine_speed,
            Kind::RotationalSpeed,
            unit,
            &facts.settings,
        );
        let f = with_number(
            f,
            "governed_speed",
            g.si(),
            Kind::RotationalSpeed,
            unit,
            &facts.settings,
        );
        cx.report(f);
        return Ok(());
    }
    let (Some(power), Some(output)) = (power, &facts.output) else {
        return check_overload(cx, d, facts, demand);
    };
    let Some(available) = facts.available(engine_speed) else {
        if let (Some(first), Some(last)) = (output.speeds.first(), output.speeds.last()) {
            let range = format!(
                "{} to {}",
                facts.speed(*first, unit),
                facts.speed(*last, unit)
            );
            let f = Finding::new(
                &RATED_OUTSIDE,
                at_ratio,
                format!(
                    "at the rating of `{pump}` `{me}` turns at {}, outside its output of {range}: its margins are not known",
                    facts.speed(engine_speed, unit)
                ),
            )
            .here(format!("{} at the rating", facts.speed(engine_speed, unit)))
            .label(at_output, range)
            .label(at_rating, "the rating")
            .help(cure("no ratio makes the rating within the output as given; extend the table"))
            .source("nothing is read outside a table");
            let f = with_number(
                f,
                "engine speed at the rating",
                engine_speed,
                Kind::RotationalSpeed,
                unit,
                &facts.settings,
            );
            cx.report(f);
        }
        return Ok(());
    };
    if available < power * (1.0 - 1e-9) {
        let short = facts.power(power - available);
        let f = Finding::new(
            &POWER_SHORT,
            at_ratio,
            format!(
                "at the rating of `{pump}` the pump takes {} and `{me}`, turning at {}, brings {} to it: {short} short",
                facts.power(power),
                facts.speed(engine_speed, unit),
                facts.power(available)
            ),
        )
        .here(format!("{short} short"))
        .label(at_output, "the engine's output")
        .label(at_rating, "the rating")
        .help(cure("no ratio makes the rating: the engine is too weak within its governed speed"))
        .source("balance of power at the pump shaft, with the drive's efficiency");
        let unit = output.unit.as_ref();
        let f = with_number(f, "power taken", power, Kind::Power, unit, &facts.settings);
        let f = with_number(
            f,
            "power brought",
            available,
            Kind::Power,
            unit,
            &facts.settings,
        );
        cx.report(f);
        return Ok(());
    }
    check_overload(cx, d, facts, demand)
}

/// Full capacity at 165 psi, for pumps of 750 gpm and more that are rated at 150 psi.
fn check_overload(cx: &mut Cx<'_>, d: DeclId, facts: &Facts, rated: Demand) -> Eval<()> {
    const PSI: f64 = 6_894.757_293_168;
    const GPM: f64 = 231.0 * 1.638_706_4e-5 / 60.0;
    let position = Some("parallel");
    let (Some(flow), Some(pressure)) = (
        cx.part(facts.pump, "rating", "flow")?,
        cx.part(facts.pump, "rating", "pressure")?,
    ) else {
        return Ok(());
    };
    if flow < 750.0 * GPM * (1.0 - 1e-9) || (pressure / PSI - 150.0).abs() > 0.5 {
        return Ok(());
    }
    let Some((curve, _)) = curve_for(cx, facts.pump, position)? else {
        return Ok(());
    };
    let Ok(Some(speed)) = curve.speed_for(flow, 165.0 * PSI) else {
        return Ok(());
    };
    let power = match rated.power {
        Some(_) => curve_with(cx, facts.pump, position, "power")?
            .and_then(|(c, _)| c.power(flow, speed).ok()),
        None => None,
    };
    let demand = Demand { speed, power };
    let engine_speed = speed / facts.ratio.si();
    let speed_unit = facts.governed.as_ref().and_then(|g| g.unit.clone());
    let unit = speed_unit.as_ref();
    let too_fast = facts
        .governed
        .as_ref()
        .filter(|g| engine_speed > g.value.hi() * (1.0 + 1e-9));
    let what = if let Some(g) = too_fast {
        format!(
            "needs {} of the engine, above its governed {}",
            facts.speed(engine_speed, unit),
            show::quantity(g, &facts.settings)
        )
    } else {
        let (Some(power), Some(available)) = (power, facts.available(engine_speed)) else {
            return Ok(());
        };
        if available >= power * (1.0 - 1e-9) {
            return Ok(());
        }
        format!(
            "takes {} at {} of the engine, which brings {}: {} short",
            facts.power(power),
            facts.speed(engine_speed, unit),
            facts.power(available),
            facts.power(power - available)
        )
    };
    let at_ratio = cx.place(d, "gear_ratio");
    let at_rating = cx.place(facts.pump, "rating");
    let at_output = cx.place(d, "output");
    let f = Finding::new(
        &OVERLOAD,
        at_ratio,
        format!(
            "`{}` makes its rating, but its overload point, full capacity at 165 psi, {what}",
            cx.name(facts.pump)
        ),
    )
    .here("the overload point is not made")
    .label(at_rating, "the rating")
    .label(at_output, "the engine's output")
    .help(match facts.ratios_text(demand) {
        Some(r) => format!("a ratio of {r} makes the overload point"),
        None => "no ratio makes it with this engine".to_owned(),
    })
    .source("overload of 100 % at 165 psi for pumps of 750 gpm and more (NFPA 1901; published in trade texts, which differ at exactly 750 gpm)");
    let f = with_number(
        f,
        "engine speed",
        engine_speed,
        Kind::RotationalSpeed,
        unit,
        &facts.settings,
    );
    let f = match power {
        Some(p) => with_number(
            f,
            "power taken",
            p,
            Kind::Power,
            facts.output.as_ref().and_then(|o| o.unit.as_ref()),
            &facts.settings,
        ),
        None => f,
    };
    cx.report(f);
    Ok(())
}
