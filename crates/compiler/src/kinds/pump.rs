//! The `pump`: rating, stages, tested curves.
//!
//! A pump's curve is one of its tables, or follows from the curve of one stage by how the stages are joined
//! (`curve_for`). Invariants: nothing is read outside the tested flows; power and NPSH required are read from
//! those rows alone that give them.
//!
//! What it does not do: what is wrong with a pump (see `checks`), what its wear rings cost (see `wear`), or a pump's work
//! in a lay.

pub mod changeover;
pub mod checks;
pub mod heat;
pub mod prediction;
pub mod trim;
pub mod wear;

pub(crate) use changeover::RATED_SHARES;

use super::rotor::{given, need};
use super::surroundings::nameless;
use crate::db::Cx;
use crate::schema::short::{column, default, extra_column, optional, positive, required, signed};
use crate::schema::{BLANK, ColumnDef, ComputedDef, KindDef, PartDef, Sign, TableDef, Type};
use crate::value::{Cell, Origin, Quantity, Table, Value};
use crate::{DeclId, Eval};
use checks::check_pump;
pub(crate) use checks::{check_gaps, own_rows};
use cutwater_hydraulics::affinity;
use cutwater_hydraulics::pump::{PumpCurve, PumpPoints};
use cutwater_hydraulics::water::Water;
use cutwater_quantity::{CompoundUnit, Kind, Tol};
use std::f64::consts::PI;
use std::sync::Arc;
use wear::{extra_leakage, ring_leakage, wear_loss};

/// `1250 gpm at 150 psi`.
pub static FLOW_AT_PRESSURE: &[PartDef] = &[
    PartDef {
        word: "",
        name: "flow",
        kind: Kind::Flow,
        optional: false,
    },
    PartDef {
        word: "at",
        name: "pressure",
        kind: Kind::Pressure,
        optional: false,
    },
];

static CURVE_COLUMNS: &[ColumnDef] = &[
    column("flow", Kind::Flow, "Flow delivered."),
    column(
        "net",
        Kind::Pressure,
        "Net pressure: discharge less intake, with elevations and velocity heads.",
    ),
    extra_column("power", Kind::Power, "Power taken at the pump shaft."),
    extra_column("npshr", Kind::Head, "Net positive suction head required."),
];

const fn curve(name: &'static str, doc: &'static str) -> TableDef {
    TableDef {
        name,
        doc,
        required: false,
        at: Some(("speed", Kind::RotationalSpeed, true)),
        columns: CURVE_COLUMNS,
        rising: true,
        least_rows: 3,
    }
}

/// A pump.
pub static PUMP: KindDef = KindDef {
    word: "pump",
    doc: "A centrifugal fire pump: what it is rated for, its stages and rings, and its curve as tested.",
    fields: &[
        required(
            "rating",
            Type::Phrase(FLOW_AT_PRESSURE),
            "Rated capacity and the net pressure it belongs to, as `1250 gpm at 150 psi`.",
        ),
        optional(
            "stages",
            Type::RefList(&["impeller"]),
            "Its impellers, in the order the water passes them.",
        ),
        optional("rings", Type::RefList(&["ring"]), "Its wear rings."),
        optional(
            "tested_rings",
            Type::RefList(&["ring"]),
            "The wear rings its curve was tested with, where those of `rings` are others now: worn, or new. The curve then counts what leaks more, or less.",
        ),
        optional(
            "connection",
            Type::Choice(&[
                ("single", "One stage."),
                ("series", "Each stage adds its pressure."),
                ("parallel", "Each stage adds its flow."),
                (
                    "changeover",
                    "Series or parallel, by a changeover (transfer) valve.",
                ),
            ]),
            "How its stages are joined.",
        ),
        optional(
            "volute",
            Type::Choice(&[
                (
                    "single",
                    "One volute: side load on the shaft away from the best flow.",
                ),
                (
                    "double",
                    "Two volutes half a turn apart: side loads nearly cancel.",
                ),
            ]),
            "The passage round the impeller.",
        ),
        optional(
            "suction_diameter",
            positive(Kind::Length),
            "Inside diameter where the intake gauge is tapped.",
        ),
        optional(
            "discharge_diameter",
            positive(Kind::Length),
            "Inside diameter where the discharge gauge is tapped.",
        ),
        optional(
            "maximum_speed",
            positive(Kind::RotationalSpeed),
            "Highest speed of the pump shaft allowed.",
        ),
        optional(
            "tested_diameter",
            positive(Kind::Length),
            "Outside diameter its impellers had when its curve was tested, where they are turned down to less now. The curve then counts what that takes, by the law of trim.",
        ),
        optional(
            "throat_area",
            positive(Kind::Area),
            "Area of the volute's throat, where it is narrowest past the cutwater, of one stage; of a double volute both throats together.",
        ),
        optional(
            "water_volume",
            positive(Kind::Volume),
            "Water that stays in the pump with everything closed.",
        ),
        default(
            "temperature_rise_limit",
            positive(Kind::TemperatureDifference),
            "15 delta_degF",
            "a custom of boiler-feed pumps, on the safe side for cold water (published)",
            "How much warmer the water may come out than it went in.",
        ),
    ],
    groups: &[prediction::ASKED, wear::MEASURED],
    tables: &[
        curve("curve", "The curve as tested, at one speed."),
        curve(
            "stage_curve",
            "The curve of one stage as tested; series and parallel follow from it.",
        ),
        curve(
            "series_curve",
            "The curve in series (pressure position) as tested.",
        ),
        curve(
            "parallel_curve",
            "The curve in parallel (volume position) as tested.",
        ),
    ],
    computed: &[
        ComputedDef {
            name: "ring_leakage",
            ty: positive(Kind::Flow),
            doc: "Water that runs back through all its wear rings at the speed of its curve, rotor in the middle.",
            formula: "each ring: ρ V²/2 · (0.5 + f L/c + 1.0) over its gaps = ¾ ρ (u₂² − u_ring²) / 2, V · area",
            source: "head across a ring after Stepanoff (1957), from memory; entrance and exit 0.5 and 1.0 velocity heads (published); friction by Blasius with the shaft's turning after Hirs (1973)",
            solved: false,
            hint: false,
            eval: ring_leakage,
        },
        ComputedDef {
            name: "extra_leakage",
            ty: signed(Kind::Flow),
            doc: "How much more runs back through `rings` than through `tested_rings`, by which the tested curve moves.",
            formula: "ring_leakage − the same of tested_rings",
            source: "first-order model: the impeller passes what is delivered and what leaks back",
            solved: false,
            hint: false,
            eval: extra_leakage,
        },
        ComputedDef {
            name: "wear_loss",
            ty: signed(Kind::Pressure),
            doc: "Net pressure that other rings than the tested ones cost at the rated flow, at the speed of the curve.",
            formula: "tested net at rating.flow − net at rating.flow with extra_leakage",
            source: "first-order model: the impeller passes what is delivered and what leaks back",
            solved: false,
            hint: false,
            eval: wear_loss,
        },
        wear::EXPLAINING_OPENING,
        wear::EXPLAINING_CLEARANCE,
        trim::TRIM_RATIO,
        trim::TRIM_LOSS,
        trim::PRESENT_CURVE,
        ComputedDef {
            name: "water_power",
            ty: Type::Quantity(Kind::Power, Sign::Positive),
            doc: "Power in the water at the rating.",
            formula: "rating.flow · rating.pressure",
            source: "definition; in the trade's units gpm · psi / 1714 hp",
            solved: false,
            hint: true,
            eval: water_power,
        },
        ComputedDef {
            name: "rated_speed",
            ty: Type::Quantity(Kind::RotationalSpeed, Sign::Positive),
            doc: "Speed of the pump shaft at which the tested curve makes the rating; of a changeover pump in parallel (volume).",
            formula: "the tested point (q, p) with p / q² = rating.pressure / rating.flow², then n = tested speed · rating.flow / q",
            source: "affinity laws: flow with the speed, pressure with its square",
            solved: false,
            hint: true,
            eval: rated_speed,
        },
        ComputedDef {
            name: "rated_shaft_power",
            ty: Type::Quantity(Kind::Power, Sign::Positive),
            doc: "Power at the pump shaft at the rating.",
            formula: "tested power at q · (rated_speed / tested speed)³",
            source: "affinity laws",
            solved: false,
            hint: false,
            eval: rated_shaft_power,
        },
        ComputedDef {
            name: "rated_efficiency",
            ty: Type::Quantity(Kind::Ratio, Sign::Positive),
            doc: "Efficiency at the rating.",
            formula: "water_power / rated_shaft_power",
            source: "definition",
            solved: false,
            hint: false,
            eval: rated_efficiency,
        },
        ComputedDef {
            name: "rated_npshr",
            ty: Type::Quantity(Kind::Head, Sign::Positive),
            doc: "Net positive suction head required at the rating. The law is good near the tested speed and less far from it.",
            formula: "tested NPSH required at q · (rated_speed / tested speed)²",
            source: "affinity laws; scaling of NPSH from memory of Hydraulic Institute practice",
            solved: false,
            hint: false,
            eval: rated_npshr,
        },
        ComputedDef {
            name: "best_efficiency",
            ty: Type::Quantity(Kind::Ratio, Sign::Positive),
            doc: "Best efficiency inside the tested flows; not given where it still rises at the last one.",
            formula: "largest flow · net / power",
            source: "definition, on the shape-preserving curve through the tested rows",
            solved: false,
            hint: true,
            eval: best_efficiency,
        },
        ComputedDef {
            name: "best_flow",
            ty: Type::Quantity(Kind::Flow, Sign::Positive),
            doc: "Flow of the best efficiency, at the speed of the curve.",
            formula: "flow where flow · net / power is largest",
            source: "definition, on the shape-preserving curve through the tested rows",
            solved: false,
            hint: false,
            eval: best_flow,
        },
        ComputedDef {
            name: "shutoff_pressure",
            ty: Type::Quantity(Kind::Pressure, Sign::Positive),
            doc: "Net pressure with all discharges shut, at the speed of the curve; of a changeover pump in series (pressure), where it is highest. Intake pressure comes on top. Do not run a pump shut for long: the water heats and can scald.",
            formula: "net at no flow",
            source: "the tested row with no flow",
            solved: false,
            hint: false,
            eval: shutoff_pressure,
        },
        ComputedDef {
            name: "specific_speed",
            ty: Type::Quantity(Kind::Number, Sign::Positive),
            doc: "Specific speed of one stage at its best efficiency, in US units: rpm, gpm, ft.",
            formula: "n · √Q / H^0.75, Q and H of one stage at best efficiency",
            source: "Hydraulic Institute definition",
            solved: false,
            hint: false,
            eval: specific_speed,
        },
        ComputedDef {
            name: "type_number",
            ty: Type::Quantity(Kind::Number, Sign::Positive),
            doc: "Type number K of one stage at its best efficiency, without dimension: the US specific speed over 2733.",
            formula: "ω · √Q / (g · H)^0.75, Q and H of one stage at best efficiency",
            source: "ISO 9906 definition",
            solved: false,
            hint: false,
            eval: type_number,
        },
        ComputedDef {
            name: "suction_specific_speed",
            ty: Type::Quantity(Kind::Number, Sign::Positive),
            doc: "Suction specific speed at the best efficiency, in US units: rpm, gpm, ft, with the flow of one eye. Above about 11 000 (published; an older figure is 8500) a pump gets choosy: it recirculates, shakes and wears over more of its flows below the best.",
            formula: "n · √(Q of one eye) / NPSHr^0.75 at best efficiency",
            source: "Hydraulic Institute definition",
            solved: false,
            hint: false,
            eval: suction_specific_speed,
        },
        ComputedDef {
            name: "tip_speed",
            ty: Type::Quantity(Kind::Speed, Sign::Positive),
            doc: "Speed of the first stage's outside diameter at the rating.",
            formula: "rated_speed · outside_diameter / 2",
            source: "geometry",
            solved: false,
            hint: false,
            eval: tip_speed,
        },
        ComputedDef {
            name: "exit_velocity",
            ty: Type::Quantity(Kind::Speed, Sign::Positive),
            doc: "Mean velocity of the water out of the first stage at the rating, in the meridian (without whirl) and without the leak through the rings.",
            formula: "flow of one stage at the rating / exit_area",
            source: "continuity",
            solved: false,
            hint: false,
            eval: exit_velocity,
        },
        ComputedDef {
            name: "vane_pass_frequency",
            ty: Type::Quantity(Kind::Frequency, Sign::Positive),
            doc: "How often a vane of the first stage passes the cutwater, at the rating.",
            formula: "vanes · rated_speed / one turn",
            source: "geometry",
            solved: false,
            hint: false,
            eval: vane_pass_frequency,
        },
        heat::SHUTOFF_POWER,
        heat::HEATING_PER_MINUTE,
        heat::SCALD_TIME,
        heat::MINIMUM_FLOW,
        changeover::CROSSOVER_FLOW,
        changeover::CROSSOVER_PRESSURE,
        changeover::RATED_POINTS,
        prediction::PREDICTED_PRESSURE,
        prediction::PREDICTED_POWER,
        prediction::PREDICTED_EFFICIENCY,
        prediction::PREDICTED_BEST_FLOW,
        prediction::PREDICTED_BEST_EFFICIENCY,
        prediction::PREDICTED_SHUTOFF_PRESSURE,
        prediction::PREDICTED_CURVE,
        prediction::PREDICTED_LOSSES,
        prediction::TRACE,
    ],
    check: Some(check_pump),
    ..BLANK
};

/// How the pump's curve follows from one of its tables.
#[derive(Clone, Copy, PartialEq, Debug)]
enum Join {
    /// The table is the pump's own curve.
    AsTested,
    /// The table is that of one stage; this many add their pressures.
    Series(u32),
    /// The table is that of one stage; this many add their flows.
    Parallel(u32),
}

/// The table a pump's curve comes from.
struct Source {
    name: &'static str,
    table: Arc<Table>,
    join: Join,
    /// How many stages add their pressures in the joined curve; `None` where that is not known.
    in_series: Option<u32>,
    /// How many stages add their flows in it; `None` where that is not known.
    in_parallel: Option<u32>,
    origin: Origin,
    /// Outside diameter of the impellers now over that in the test.
    trim: f64,
    /// Water that runs back through the rings beyond what did in the test, m³/s through the whole pump.
    leak: f64,
}

impl Source {
    /// The unit a column was written in.
    fn unit(&self, column: &str) -> Option<Arc<CompoundUnit>> {
        self.table.columns.iter().find(|c| c.0 == column)?.1.clone()
    }

    /// A value read from the curve, in the unit of a column.
    fn read(&self, kind: Kind, si: f64, column: &str) -> Quantity {
        let mut q = Quantity::computed(kind, si).origin(self.origin.with(Origin::Computed));
        q.unit = self.unit(column);
        q.gallon = q.unit.as_ref().and_then(|u| u.gallon());
        q
    }
}

/// The tables that may hold a curve.
const CURVES: [&str; 4] = ["curve", "stage_curve", "series_curve", "parallel_curve"];

/// How a pump's stages are joined, as far as it says.
struct Layout {
    connection: Option<&'static str>,
    /// How many stages; zero where they are not given.
    stages: u32,
    tables: [Option<Arc<Table>>; 4],
    /// Outside diameter of the impellers now over that in the test.
    trim: f64,
}

impl Layout {
    fn read(cx: &mut Cx<'_>, pump: DeclId) -> Eval<Result<Self, Value>> {
        let connection = match cx.get(pump, "connection")? {
            Value::Choice(w) => Some(w),
            Value::Unknown => return Ok(Err(Value::Unknown)),
            _ => None,
        };
        let stages = match cx.get(pump, "stages")? {
            Value::List(l) => l.len() as u32,
            Value::Unknown => return Ok(Err(Value::Unknown)),
            _ => 0,
        };
        let mut tables: [Option<Arc<Table>>; 4] = [const { None }; 4];
        for (k, name) in CURVES.into_iter().enumerate() {
            match cx.get(pump, name)? {
                Value::Table(t) => tables[k] = Some(t),
                Value::Unknown => return Ok(Err(Value::Unknown)),
                _ => {}
            }
        }
        let trim = match cx.get(pump, "trim_ratio")? {
            Value::Quantity(q) => q.si(),
            // Told where it could not be computed.
            Value::Unknown => return Ok(Err(Value::Unknown)),
            _ => 1.0,
        };
        Ok(Ok(Self {
            connection,
            stages,
            tables,
            trim,
        }))
    }

    /// Whether it has a changeover valve. Curves by position say so themselves.
    fn changes(&self) -> bool {
        let by_position = self.tables[2].is_some() || self.tables[3].is_some();
        self.connection == Some("changeover") || self.connection.is_none() && by_position
    }

    /// What the curve is read from in a position; `None` where no table fits.
    fn source(&self, position: Option<&str>) -> Option<Source> {
        let mut origin = if self.trim == 1.0 {
            Origin::Measured
        } else {
            Origin::Predicted
        };
        let way = if self.changes() {
            position.unwrap_or_else(|| {
                origin = origin.max(Origin::Assumed);
                "parallel"
            })
        } else {
            self.connection
                .unwrap_or(if self.stages > 1 { "unsaid" } else { "single" })
        };
        let known = (self.stages > 0).then_some(self.stages);
        let (in_series, in_parallel) = match way {
            "single" => (Some(1), Some(1)),
            "series" => (known, Some(1)),
            "parallel" => (Some(1), known),
            _ => (None, None),
        };
        let [whole, stage, series, parallel] = &self.tables;
        let tested = match way {
            "series" => series.as_ref().map(|t| ("series_curve", t)),
            "parallel" => parallel.as_ref().map(|t| ("parallel_curve", t)),
            _ => None,
        };
        let whole = whole.as_ref().filter(|_| !self.changes());
        let tested = tested.or(whole.map(|t| ("curve", t)));
        if let Some((name, table)) = tested {
            return Some(Source {
                name,
                table: table.clone(),
                join: Join::AsTested,
                in_series,
                in_parallel,
                origin,
                trim: self.trim,
                leak: 0.0,
            });
        }
        let join = match (way, known) {
            ("single", _) => Join::AsTested,
            ("series", Some(n)) => Join::Series(n),
            ("parallel", Some(n)) => Join::Parallel(n),
            // How many stages, or how they are joined, is not known; the check says so.
            _ => return None,
        };
        if join != Join::AsTested {
            origin = origin.with(Origin::Computed);
        }
        Some(Source {
            name: "stage_curve",
            table: stage.clone()?,
            join,
            in_series,
            in_parallel,
            origin,
            trim: self.trim,
            leak: 0.0,
        })
    }
}

/// What a pump's curve is read from in a position of its changeover valve. `Err` holds what its reader is worth:
/// `Unknown` where a table is faulty (reported there), `Absent` where no table fits.
fn source(cx: &mut Cx<'_>, pump: DeclId, position: Option<&str>) -> Eval<Result<Source, Value>> {
    let mut source = match tested_source(cx, pump, position)? {
        Ok(s) => s,
        Err(v) => return Ok(Err(v)),
    };
    match cx.get(pump, "extra_leakage")? {
        Value::Quantity(q) if q.si() != 0.0 => {
            source.leak = q.si();
            source.origin = source.origin.with(Origin::Predicted);
            Ok(Ok(source))
        }
        // Told where it could not be computed.
        Value::Unknown => Ok(Err(Value::Unknown)),
        _ => Ok(Ok(source)),
    }
}

/// [`source`] with the rings of the test.
fn tested_source(
    cx: &mut Cx<'_>,
    pump: DeclId,
    position: Option<&str>,
) -> Eval<Result<Source, Value>> {
    Ok(match Layout::read(cx, pump)? {
        Ok(layout) => layout.source(position).ok_or(Value::Absent),
        Err(v) => Err(v),
    })
}

/// The rows of a table that give `net` and, where one is named, `column`.
fn points(table: &Table, column: Option<&str>) -> Option<PumpPoints> {
    let column_of = |name: &str| table.columns.iter().find(|c| c.0 == name).map(|c| &c.2);
    let number = |name: &str, row: usize| match column_of(name)?.get(row)? {
        Cell::Number(v) => Some(*v),
        _ => None,
    };
    let rows: Vec<usize> = (0..table.rows)
        .filter(|r| number("net", *r).is_some() && column.is_none_or(|c| number(c, *r).is_some()))
        .collect();
    let all = |name: &str| {
        rows.iter()
            .map(|r| number(name, *r))
            .collect::<Option<Vec<f64>>>()
    };
    Some(PumpPoints {
        tested_speed: table.at.as_ref()?.si(),
        flow: all("flow")?,
        rise: all("net")?,
        power: all("power"),
        npshr: all("npshr"),
    })
}

fn joined(source: &Source, column: Option<&str>) -> Option<PumpCurve> {
    let curve = PumpCurve::new(points(&source.table, column)?).ok()?;
    let curve = match source.join {
        Join::AsTested => curve,
        Join::Series(n) => curve.in_series(n).ok()?,
        Join::Parallel(n) => curve.in_parallel(n).ok()?,
    };
    let curve = if source.trim == 1.0 {
        curve
    } else {
        curve.trimmed(source.trim).ok()?
    };
    if source.leak == 0.0 {
        return Some(curve);
    }
    // Stages in series share the rings: each passes the same water and leaks its part.
    curve
        .with_leak(source.leak / f64::from(source.in_series.unwrap_or(1).max(1)))
        .ok()
}

/// The pump's curve and what it rests on.
///
/// `position` is that of a changeover valve, `series` or `parallel`; it is not looked at for other pumps. A
/// changeover pump without a position is taken in parallel (volume), and the curve is then `Assumed`. Power is in
/// it where every row gives it, and NPSH required likewise; with gaps, see [`curve_with`].
///
/// `None` where no table fits, or where one is faulty; both are reported at the pump.
pub(crate) fn curve_for(
    cx: &mut Cx<'_>,
    pump: DeclId,
    position: Option<&str>,
) -> Eval<Option<(PumpCurve, Origin)>> {
    let source = source(cx, pump, position)?;
    Ok(source
        .ok()
        .and_then(|s| Some((joined(&s, None)?, s.origin))))
}

/// The pump's curve through those rows alone that give `column` (`power` or `npshr`): what that quantity is read
/// from where some rows leave it out. Its tested flows may be fewer than those of [`curve_for`].
pub(crate) fn curve_with(
    cx: &mut Cx<'_>,
    pump: DeclId,
    position: Option<&str>,
    column: &str,
) -> Eval<Option<(PumpCurve, Origin)>> {
    let source = source(cx, pump, position)?;
    Ok(source
        .ok()
        .filter(|s| s.table.has(column))
        .and_then(|s| Some((joined(&s, Some(column))?, s.origin))))
}

// ---- computed properties -----------------------------------------------------------------------------

/// The position of a changeover valve in which a pump makes its rating: rated capacity is made in volume.
/// Common practice; the changeover is to pressure for small flows at high pressures.
const RATED: Option<&str> = Some("parallel");

/// Flow and pressure of the rating.
fn rating(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<(Quantity, Quantity), Value>> {
    Ok(match cx.get(d, "rating")? {
        Value::Phrase(parts) => {
            let part = |name: &str| parts.iter().find(|p| p.0 == name).map(|p| p.1.clone());
            match (part("flow"), part("pressure")) {
                (Some(q), Some(p)) if q.si() > 0.0 && p.si() > 0.0 => Ok((q, p)),
                _ => Err(Value::Unknown),
            }
        }
        Value::Unknown => Err(Value::Unknown),
        _ => Err(Value::Absent),
    })
}

fn water_power(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (flow, pressure) = given!(rating(cx, d));
    let mut q = Quantity::from_tol(Kind::Power, flow.value.mul(&pressure.value))
        .origin(flow.origin.with(pressure.origin));
    q.unit = source(cx, d, RATED)?.ok().and_then(|s| s.unit("power"));
    Ok(Value::Quantity(q))
}

fn rated_speed(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (flow, pressure) = given!(rating(cx, d));
    let source = given!(source(cx, d, RATED));
    // What is wrong where there is none is said by the check.
    let Some(curve) = joined(&source, None) else {
        return Ok(Value::Absent);
    };
    let Ok(Some(speed)) = curve.speed_for(flow.si(), pressure.si()) else {
        return Ok(Value::Absent);
    };
    let mut q = Quantity::computed(Kind::RotationalSpeed, speed)
        .origin(source.origin.with(flow.origin).with(pressure.origin));
    q.unit = source.table.at.as_ref().and_then(|a| a.unit.clone());
    Ok(Value::Quantity(q))
}

/// A quantity of the curve at the rating: `column` is where it is given.
fn at_rating(
    cx: &mut Cx<'_>,
    d: DeclId,
    column: &str,
    kind: Kind,
    read: fn(&PumpCurve, f64, f64) -> Option<f64>,
) -> Eval<Result<Quantity, Value>> {
    let (flow, _) = match rating(cx, d)? {
        Ok(r) => r,
        Err(v) => return Ok(Err(v)),
    };
    let speed = match need(cx, d, "rated_speed")? {
        Ok(q) => q,
        Err(v) => return Ok(Err(v)),
    };
    let source = match source(cx, d, RATED)? {
        Ok(s) => s,
        Err(v) => return Ok(Err(v)),
    };
    if !source.table.has(column) {
        return Ok(Err(Value::Absent));
    }
    let value = joined(&source, Some(column)).and_then(|c| read(&c, flow.si(), speed.si()));
    Ok(value
        .map(|v| source.read(kind, v, column))
        .ok_or(Value::Absent))
}

fn rated_shaft_power(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let q = given!(at_rating(cx, d, "power", Kind::Power, |c, q, n| {
        c.power(q, n).ok().filter(|p| *p > 0.0)
    }));
    Ok(Value::Quantity(q))
}

fn rated_efficiency(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let shaft = given!(need(cx, d, "rated_shaft_power"));
    let water = given!(need(cx, d, "water_power"));
    Ok(match water.value.div(&shaft.value) {
        Ok(eta) => Value::Quantity(
            Quantity::from_tol(Kind::Ratio, eta).origin(shaft.origin.with(water.origin)),
        ),
        Err(_) => Value::Absent,
    })
}

fn rated_npshr(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let q = given!(at_rating(cx, d, "npshr", Kind::Head, |c, q, n| {
        c.npshr(q, n).ok()
    }));
    Ok(Value::Quantity(q))
}

/// The best efficiency of radial pumps of any size, about 90 %: texts, from memory.
const MOST_EFFICIENT: f64 = 0.90;

/// The best point of a curve at its tested speed.
#[derive(Clone, Copy)]
struct Best {
    flow: f64,
    rise: f64,
    efficiency: f64,
    /// It lies at the last tested flow: the true best may lie beyond.
    at_end: bool,
}

/// Looks for the best efficiency: on a grid, then by golden section between the neighbours of the best point.
fn best_point(curve: &PumpCurve) -> Option<Best> {
    const STEPS: u32 = 512;
    let speed = curve.tested_speed();
    let (low, high) = curve.domain(speed).ok()?;
    let eta = |q: f64| curve.efficiency(q, speed).unwrap_or(f64::NEG_INFINITY);
    let flow = |k: u32| low + (high - low) * f64::from(k) / f64::from(STEPS);
    let at = (0..=STEPS).max_by(|a, b| eta(flow(*a)).total_cmp(&eta(flow(*b))))?;
    let (mut a, mut b) = (flow(at.saturating_sub(1)), flow((at + 1).min(STEPS)));
    let part = 0.5 * (5.0_f64.sqrt() - 1.0);
    for _ in 0..100 {
        let (c, d) = (b - part * (b - a), a + part * (b - a));
        if eta(c) < eta(d) {
            a = c;
        } else {
            b = d;
        }
    }
    let mut best = 0.5 * (a + b);
    for end in [low, high] {
        if eta(end) >= eta(best) {
            best = end;
        }
    }
    let efficiency = eta(best);
    (efficiency > 0.0).then_some(Best {
        flow: best,
        rise: curve.rise(best, speed).ok()?,
        efficiency,
        at_end: high - best <= 1e-9 * high,
    })
}

/// The best point of the curve with power, where it lies inside the tested flows.
fn best(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<(Best, PumpCurve, Source), Value>> {
    let source = match source(cx, d, RATED)? {
        Ok(s) if s.table.has("power") => s,
        Ok(_) => return Ok(Err(Value::Absent)),
        Err(v) => return Ok(Err(v)),
    };
    let found = joined(&source, Some("power")).and_then(|c| Some((best_point(&c)?, c)));
    Ok(match found {
        // An impossible row is reported; nothing is made of it.
        Some((b, _)) if b.efficiency > MOST_EFFICIENT => Err(Value::Unknown),
        Some((b, c)) if !b.at_end => Ok((b, c, source)),
        _ => Err(Value::Absent),
    })
}

fn best_efficiency(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (best, _, source) = given!(best(cx, d));
    Ok(Value::Quantity(
        Quantity::computed(Kind::Ratio, best.efficiency)
            .origin(source.origin.with(Origin::Computed)),
    ))
}

fn best_flow(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (best, _, source) = given!(best(cx, d));
    Ok(Value::Quantity(source.read(Kind::Flow, best.flow, "flow")))
}

fn shutoff_pressure(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let source = given!(source(cx, d, Some("series")));
    let Some(curve) = joined(&source, None) else {
        return Ok(Value::Absent);
    };
    Ok(match curve.rise(0.0, curve.tested_speed()) {
        Ok(p) => Value::Quantity(source.read(Kind::Pressure, p, "net")),
        Err(_) => Value::Absent,
    })
}

/// The density of the water pumped: that of the file's `water`, else of plain water at 60 °F, assumed.
fn density(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<(f64, Origin), Value>> {
    if let Some(w) = nameless(cx, d, "water")? {
        return Ok(need(cx, w, "density")?.map(|q| (q.si(), q.origin)));
    }
    const SIXTY_FAHRENHEIT: f64 = (60.0 + 459.67) / 1.8;
    Ok(Water::at(SIXTY_FAHRENHEIT, 101_325.0)
        .map(|w| (w.density, Origin::Assumed))
        .map_err(|_| Value::Unknown))
}

/// Specific speed of one stage by one of the definitions.
fn by_stage(cx: &mut Cx<'_>, d: DeclId, number: fn(f64, f64, f64) -> Option<f64>) -> Eval<Value> {
    let (best, curve, source) = given!(best(cx, d));
    let (density, origin) = given!(density(cx, d));
    let (Some(series), Some(parallel)) = (source.in_series, source.in_parallel) else {
        return Ok(Value::Absent);
    };
    let Ok(head) = affinity::head_of_pressure(best.rise / f64::from(series), density) else {
        return Ok(Value::Absent);
    };
    let flow = best.flow / f64::from(parallel);
    Ok(match number(curve.tested_speed(), flow, head) {
        Some(v) => {
            Value::Quantity(Quantity::computed(Kind::Number, v).origin(source.origin.with(origin)))
        }
        None => Value::Absent,
    })
}

fn specific_speed(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    by_stage(cx, d, |n, q, h| affinity::us_specific_speed(n, q, h).ok())
}

fn type_number(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    by_stage(cx, d, |n, q, h| affinity::type_number(n, q, h).ok())
}

/// How many eyes a wheel draws through.
fn eyes(cx: &mut Cx<'_>, wheel: DeclId) -> Eval<Result<u32, Value>> {
    Ok(match need(cx, wheel, "eyes")? {
        Ok(q) => Ok(q.si() as u32),
        Err(Value::Absent) => Ok(1),
        Err(v) => Err(v),
    })
}

fn suction_specific_speed(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (best, curve, source) = given!(best(cx, d));
    if !source.table.has("npshr") {
        return Ok(Value::Absent);
    }
    let eyes = match first_stage(cx, d)? {
        Ok(wheel) => given!(eyes(cx, wheel)),
        Err(Value::Absent) => 1,
        Err(v) => return Ok(v),
    };
    let (Some(parallel), Some(with_npshr)) = (source.in_parallel, joined(&source, Some("npshr")))
    else {
        return Ok(Value::Absent);
    };
    let speed = curve.tested_speed();
    let flow = best.flow / f64::from(parallel) / f64::from(eyes);
    let number = with_npshr
        .npshr(best.flow, speed)
        .ok()
        .and_then(|head| affinity::us_specific_speed(speed, flow, head).ok());
    Ok(match number {
        Some(v) => Value::Quantity(
            Quantity::computed(Kind::Number, v).origin(source.origin.with(Origin::Computed)),
        ),
        // Not tested at the best flow.
        None => Value::Absent,
    })
}

/// The impeller of the first stage.
fn first_stage(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<DeclId, Value>> {
    if cx.get(d, "stages")? == Value::Unknown {
        return Ok(Err(Value::Unknown));
    }
    Ok(cx
        .references(d, "stages")?
        .first()
        .copied()
        .ok_or(Value::Absent))
}

fn tip_speed(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let wheel = given!(first_stage(cx, d));
    let diameter = given!(need(cx, wheel, "outside_diameter"));
    let speed = given!(need(cx, d, "rated_speed"));
    let value = diameter.value.mul(&speed.value).scale(0.5);
    Ok(Value::Quantity(
        Quantity::from_tol(Kind::Speed, value).origin(diameter.origin.with(speed.origin)),
    ))
}

fn exit_velocity(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let wheel = given!(first_stage(cx, d));
    let area = given!(need(cx, wheel, "exit_area"));
    let (flow, _) = given!(rating(cx, d));
    let layout = given!(Layout::read(cx, d));
    let share = match layout.connection {
        Some("parallel" | "changeover") => layout.stages.max(1),
        None if layout.changes() => layout.stages.max(1),
        None if layout.stages > 1 => return Ok(Value::Absent),
        _ => 1,
    };
    let share = Tol::exact(f64::from(share));
    Ok(
        match flow.value.div(&share).and_then(|q| q.div(&area.value)) {
            Ok(v) => Value::Quantity(
                Quantity::from_tol(Kind::Speed, v).origin(flow.origin.with(area.origin)),
            ),
            Err(_) => Value::Absent,
        },
    )
}

fn vane_pass_frequency(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let wheel = given!(first_stage(cx, d));
    let vanes = given!(need(cx, wheel, "vanes"));
    let speed = given!(need(cx, d, "rated_speed"));
    Ok(Value::Quantity(
        Quantity::from_tol(
            Kind::Frequency,
            vanes.value.mul(&speed.value).scale(0.5 / PI),
        )
        .origin(vanes.origin.with(speed.origin)),
    ))
}
