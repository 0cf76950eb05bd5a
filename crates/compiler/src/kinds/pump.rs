//! The `pump`: rating, stages, tested curves.

use crate::codes::codes;
use crate::schema::short::{column, extra_column, optional, positive, required};
use crate::schema::{BLANK, ColumnDef, KindDef, PartDef, TableDef, Type};
use cutwater_quantity::Kind;

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
