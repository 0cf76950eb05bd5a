//! The `drive`: engine, gears and governor.

use crate::codes::codes;
use crate::schema::short::{column, default, optional, positive, required};
use crate::schema::{BLANK, KindDef, TableDef, Type};
use cutwater_quantity::Kind;

codes! {}

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
    ..BLANK
};
