//! The `supply`: draft, hydrant or tank.

use crate::codes::codes;
use crate::schema::short::{default, not_negative, optional, positive, required, signed};
use crate::schema::{BLANK, GroupDef, KindDef, Type};
use cutwater_quantity::Kind;

codes! {}

/// Where the water comes from.
pub static SUPPLY: KindDef = KindDef {
    word: "supply",
    doc: "Where a pump's water comes from: one of `draft`, `hydrant` or `tank`.",
    groups: &[
        GroupDef {
            name: "draft",
            doc: "Open water below the pump.",
            fields: &[
                required(
                    "lift",
                    signed(Kind::Length),
                    "Height of the pump's intake above the water.",
                ),
                optional(
                    "suction",
                    Type::Piece(&["hose"]),
                    "Suction hose, as `20 ft of std.suction_6`.",
                ),
                optional(
                    "strainer",
                    Type::Ref(&["appliance"]),
                    "Strainer and entrance.",
                ),
                default(
                    "lines",
                    Type::Count(1, 8),
                    "1",
                    "one line",
                    "Number of such lines side by side.",
                ),
            ],
        },
        GroupDef {
            name: "hydrant",
            doc: "A main, by a flow test.",
            fields: &[
                required(
                    "static_pressure",
                    positive(Kind::GaugePressure),
                    "Pressure with no water flowing.",
                ),
                required(
                    "residual",
                    Type::Phrase(PRESSURE_AT_FLOW),
                    "Pressure left at a flow, as `45 psi at 1000 gpm`.",
                ),
                optional(
                    "hose",
                    Type::Piece(&["hose"]),
                    "Hose from the hydrant to the pump.",
                ),
                default(
                    "lines",
                    Type::Count(1, 8),
                    "1",
                    "one line",
                    "Number of such lines side by side.",
                ),
                default(
                    "elevation",
                    signed(Kind::Length),
                    "0 ft",
                    "level with the pump",
                    "Height of the hydrant's gauge above the pump's intake.",
                ),
            ],
        },
        GroupDef {
            name: "tank",
            doc: "The rig's own tank.",
            fields: &[
                required(
                    "level",
                    not_negative(Kind::Length),
                    "Height of the water above the pump's intake.",
                ),
                required(
                    "loss",
                    Type::Phrase(super::line::LOSS_AT_FLOW),
                    "Loss of the tank's plumbing at a flow, as `6 psi at 500 gpm`.",
                ),
                optional("capacity", positive(Kind::Volume), "Water in the tank."),
            ],
        },
    ],
    ..BLANK
};

/// `45 psi at 1000 gpm`.
pub static PRESSURE_AT_FLOW: &[crate::schema::PartDef] = &[
    crate::schema::PartDef {
        word: "",
        name: "pressure",
        kind: Kind::GaugePressure,
        optional: false,
    },
    crate::schema::PartDef {
        word: "at",
        name: "flow",
        kind: Kind::Flow,
        optional: false,
    },
];
