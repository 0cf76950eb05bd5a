//! Service tests: `procedure`, `instrument`, `test`.

use crate::codes::codes;
use crate::schema::short::{extra_column, optional, positive, required, signed};
use crate::schema::{BLANK, ColumnDef, ColumnType, KindDef, TableDef, Type};
use cutwater_quantity::Kind;

codes! {}

/// A test procedure.
pub static PROCEDURE: KindDef = KindDef {
    word: "procedure",
    doc: "A test's points, holds and limits, as shares of a pump's rating. The standard library holds the usual ones; a house or another country writes its own beside them.",
    fields: &[
        required(
            "source",
            Type::Choice(&[
                ("draft", "From open water below the pump."),
                ("pressurised", "From a hydrant or another pump."),
            ]),
            "Where the test's water comes from.",
        ),
        optional("basis", Type::Text, "The standard and edition it follows."),
        optional(
            "most_lift",
            positive(Kind::Length),
            "Greatest lift allowed.",
        ),
        optional(
            "least_barometer",
            positive(Kind::BarometricPressure),
            "Least barometer reading allowed, corrected to sea level.",
        ),
        optional(
            "water_temperature",
            Type::Range(Kind::Temperature),
            "Water temperatures allowed.",
        ),
    ],
    tables: &[TableDef {
        name: "points",
        doc: "The points in their order.",
        required: true,
        at: None,
        columns: &[
            ColumnDef {
                name: "point",
                ty: ColumnType::Text,
                required: true,
                doc: "Its name.",
            },
            ColumnDef {
                name: "capacity",
                ty: ColumnType::Quantity(Kind::Ratio),
                required: true,
                doc: "Share of the rated flow, in %.",
            },
            ColumnDef {
                name: "net",
                ty: ColumnType::Quantity(Kind::Pressure),
                required: true,
                doc: "Least net pressure.",
            },
            ColumnDef {
                name: "hold",
                ty: ColumnType::Quantity(Kind::Time),
                required: true,
                doc: "How long it is held.",
            },
            ColumnDef {
                name: "from",
                ty: ColumnType::Quantity(Kind::Flow),
                required: false,
                doc: "Asked only of pumps rated for this flow or more; `-` for all.",
            },
        ],
        rising: false,
        least_rows: 1,
    }],
    ..BLANK
};

/// A measuring instrument.
pub static INSTRUMENT: KindDef = KindDef {
    word: "instrument",
    doc: "A gauge, meter or tachometer: its span and accuracy, for the uncertainty of what it reads.",
    fields: &[
        optional("span", positive(Kind::Pressure), "Full scale of a gauge."),
        required(
            "accuracy",
            positive(Kind::Ratio),
            "Greatest error: of the span where one is given, else of the reading.",
        ),
        optional("calibrated", Type::Date, "Date of its last calibration."),
    ],
    ..BLANK
};

/// A test as carried out.
pub static TEST: KindDef = KindDef {
    word: "test",
    doc: "A service test as carried out: conditions and readings. Net pressures, corrections and verdicts are computed.",
    of: &["pump"],
    fields: &[
        required(
            "procedure",
            Type::Ref(&["procedure"]),
            "The procedure followed.",
        ),
        required("date", Type::Date, "The day."),
        optional(
            "lift",
            signed(Kind::Length),
            "Height of the pump's intake above the water.",
        ),
        optional(
            "suction",
            Type::Piece(&["hose"]),
            "Suction hose used; its loss counts where no vacuum was read.",
        ),
        optional("strainer", Type::Ref(&["appliance"]), "Strainer used."),
        optional(
            "drive",
            Type::Ref(&["drive"]),
            "What turned the pump; engine speeds become pump speeds by its ratio.",
        ),
        optional(
            "water_temperature",
            signed(Kind::Temperature),
            "Temperature of the water.",
        ),
        optional(
            "gauge_height",
            signed(Kind::Length),
            "Height of the discharge gauge above the intake gauge.",
        ),
        optional(
            "discharge_gauge",
            Type::Ref(&["instrument"]),
            "The gauge at the discharge.",
        ),
        optional(
            "intake_gauge",
            Type::Ref(&["instrument"]),
            "The gauge at the intake.",
        ),
        optional(
            "flow_meter",
            Type::Ref(&["instrument"]),
            "What read the flow.",
        ),
        optional(
            "before",
            Type::Ref(&["test"]),
            "An earlier test to compare with.",
        ),
    ],
    tables: &[TableDef {
        name: "readings",
        doc: "One row for each point of the procedure, in its order.",
        required: true,
        at: None,
        columns: &[
            ColumnDef {
                name: "flow",
                ty: ColumnType::Quantity(Kind::Flow),
                required: true,
                doc: "Flow read.",
            },
            ColumnDef {
                name: "discharge",
                ty: ColumnType::Quantity(Kind::GaugePressure),
                required: true,
                doc: "Discharge gauge.",
            },
            extra_column("intake_vacuum", Kind::Vacuum, "Vacuum at the intake."),
            ColumnDef {
                name: "intake",
                ty: ColumnType::Signed(Kind::GaugePressure),
                required: false,
                doc: "Intake gauge, from a pressurised source.",
            },
            extra_column("engine", Kind::RotationalSpeed, "Engine speed."),
            extra_column("pump", Kind::RotationalSpeed, "Pump speed."),
            extra_column("held", Kind::Time, "How long it was held."),
        ],
        rising: false,
        least_rows: 1,
    }],
    ..BLANK
};
