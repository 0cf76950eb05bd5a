//! The `pump`: rating, stages, tested curves.
//!
//! A pump's curve is one of its tables, or follows from the curve of one stage by how the stages are joined
//! ([`curve_for`]). Invariants: nothing is read outside the tested flows; power and NPSH required are read from
//! those rows alone that give them.
//!
//! What it does not do: predict a curve from the impeller's dimensions, wear, or a pump's work in a lay.

use crate::codes::codes;
use crate::db::Cx;
use crate::schema::short::{column, extra_column, optional, positive, required};
use crate::schema::{BLANK, ColumnDef, KindDef, PartDef, TableDef, Type};
use crate::value::{Cell, Origin, Table, Value};
use crate::{DeclId, Eval};
use cutwater_hydraulics::pump::{PumpCurve, PumpPoints};
use cutwater_quantity::Kind;
use std::sync::Arc;

codes! {}

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
    ],
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
    origin: Origin,
}

/// The tables that may hold a curve.
const CURVES: [&str; 4] = ["curve", "stage_curve", "series_curve", "parallel_curve"];

/// What a pump's curve is read from in a position of its changeover valve. `Err` holds what its reader is worth:
/// `Unknown` where a table is faulty (reported there), `Absent` where no table fits.
fn source(cx: &mut Cx<'_>, pump: DeclId, position: Option<&str>) -> Eval<Result<Source, Value>> {
    let connection = match cx.get(pump, "connection")? {
        Value::Choice(w) => Some(w),
        Value::Unknown => return Ok(Err(Value::Unknown)),
        _ => None,
    };
    let mut tables: [Option<Arc<Table>>; 4] = [const { None }; 4];
    for (k, name) in CURVES.into_iter().enumerate() {
        match cx.get(pump, name)? {
            Value::Table(t) => tables[k] = Some(t),
            Value::Unknown => return Ok(Err(Value::Unknown)),
            _ => {}
        }
    }
    let [whole, stage, series, parallel] = tables;
    // Two curves by position say themselves that the pump changes over.
    let changes = connection == Some("changeover")
        || connection.is_none() && (series.is_some() || parallel.is_some());
    let mut origin = Origin::Measured;
    let way = if changes {
        match position {
            Some(p) => p,
            None => {
                origin = Origin::Assumed;
                "parallel"
            }
        }
    } else {
        connection.or(position).unwrap_or("single")
    };
    let tested = match way {
        "series" => series.map(|t| ("series_curve", t)),
        "parallel" => parallel.map(|t| ("parallel_curve", t)),
        _ => None,
    };
    let tested = tested.or(whole.filter(|_| !changes).map(|t| ("curve", t)));
    if let Some((name, table)) = tested {
        return Ok(Ok(Source {
            name,
            table,
            join: Join::AsTested,
            origin,
        }));
    }
    let Some(table) = stage else {
        return Ok(Err(Value::Absent));
    };
    let join = if way == "single" {
        Join::AsTested
    } else {
        let stages = match cx.get(pump, "stages")? {
            Value::Unknown => return Ok(Err(Value::Unknown)),
            Value::List(l) => l.len() as u32,
            Value::Decl(_) => 1,
            _ => 0,
        };
        match (way, stages) {
            // Reported by the check: how many stages is not known.
            (_, 0) => return Ok(Err(Value::Absent)),
            ("series", n) => Join::Series(n),
            (_, n) => Join::Parallel(n),
        }
    };
    if join != Join::AsTested {
        origin = origin.with(Origin::Computed);
    }
    Ok(Ok(Source {
        name: "stage_curve",
        table,
        join,
        origin,
    }))
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
    match source.join {
        Join::AsTested => Some(curve),
        Join::Series(n) => curve.in_series(n).ok(),
        Join::Parallel(n) => curve.in_parallel(n).ok(),
    }
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
