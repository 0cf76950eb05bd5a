//! What the water goes through: `hose`, `nozzle`, `appliance`.

use crate::codes::codes;
use crate::schema::short::{default, optional, positive};
use crate::schema::{BLANK, KindDef, PartDef, Type};
use cutwater_quantity::Kind;

codes! {}

/// `15.5 psi per 100 ft at 100 gpm`.
pub static LOSS_PER_LENGTH: &[PartDef] = &[
    PartDef {
        word: "",
        name: "pressure",
        kind: Kind::Pressure,
        optional: false,
    },
    PartDef {
        word: "per",
        name: "length",
        kind: Kind::Length,
        optional: false,
    },
    PartDef {
        word: "at",
        name: "flow",
        kind: Kind::Flow,
        optional: false,
    },
];

/// `10 psi at 350 gpm`.
pub static LOSS_AT_FLOW: &[PartDef] = &[
    PartDef {
        word: "",
        name: "pressure",
        kind: Kind::Pressure,
        optional: false,
    },
    PartDef {
        word: "at",
        name: "flow",
        kind: Kind::Flow,
        optional: false,
    },
];

/// Hose or pipe.
pub static HOSE: KindDef = KindDef {
    word: "hose",
    doc: "Hose or pipe of one sort: its bore, how it loses pressure, what it may carry. One loss law is stated: the fireground coefficient, Hazen–Williams, or roughness.",
    fields: &[
        optional("diameter", positive(Kind::Length), "Inside diameter."),
        optional(
            "loss",
            Type::Phrase(LOSS_PER_LENGTH),
            "Fireground coefficient: loss for a length at a flow, as `2 psi per 100 ft at 100 gpm`; it grows with the square of the flow.",
        ),
        optional(
            "hazen_williams",
            positive(Kind::Ratio),
            "Hazen–Williams roughness coefficient C.",
        ),
        optional(
            "roughness",
            positive(Kind::Length),
            "Absolute roughness of the wall, for Darcy–Weisbach with Colebrook's friction factor.",
        ),
        optional(
            "test_pressure",
            positive(Kind::Pressure),
            "Service-test pressure marked on the hose; a relief valve is set no higher than 90 % of it (NFPA 1962).",
        ),
        optional(
            "length",
            positive(Kind::Length),
            "Length of one section as stocked.",
        ),
    ],
    ..BLANK
};

/// A nozzle.
pub static NOZZLE: KindDef = KindDef {
    word: "nozzle",
    doc: "A nozzle: how its flow goes with its pressure.",
    fields: &[
        crate::schema::short::required(
            "form",
            Type::Choice(&[
                (
                    "smooth",
                    "Smooth bore: flow with the square of the tip's diameter and the root of the pressure.",
                ),
                (
                    "fog",
                    "Fog of a fixed opening: a rated flow at a rated pressure.",
                ),
                (
                    "holding",
                    "Fog that holds its rated pressure between two flows by moving its opening.",
                ),
            ]),
            "How it makes its stream.",
        ),
        optional(
            "tip",
            positive(Kind::Length),
            "Diameter of a smooth bore's tip.",
        ),
        default(
            "discharge_coefficient",
            positive(Kind::Ratio),
            "0.995",
            "29.7 d² √p of the trade against 29.84 d² √p of theory",
            "Discharge coefficient of a smooth bore.",
        ),
        optional(
            "rated",
            Type::Phrase(super::pump::FLOW_AT_PRESSURE),
            "Rated flow and pressure of a fog, as `150 gpm at 100 psi`; for `holding` the pressure it holds.",
        ),
        optional(
            "flow_range",
            Type::Range(Kind::Flow),
            "Flows between which a `holding` fog holds its pressure.",
        ),
        optional(
            "crew",
            Type::Count(1, 12),
            "Firefighters on it, to judge its reaction.",
        ),
    ],
    ..BLANK
};

/// An appliance.
pub static APPLIANCE: KindDef = KindDef {
    word: "appliance",
    doc: "A wye, siamese, valve, monitor, strainer or any other fitting: its loss at a stated flow, growing with the square of the flow, or its loss coefficient.",
    fields: &[
        optional(
            "loss",
            Type::Phrase(LOSS_AT_FLOW),
            "Loss at a flow, as `10 psi at 350 gpm`.",
        ),
        optional(
            "loss_coefficient",
            positive(Kind::Ratio),
            "Loss in velocity heads (K) at `diameter`.",
        ),
        optional(
            "diameter",
            positive(Kind::Length),
            "Diameter the loss coefficient belongs to.",
        ),
        default(
            "one_way",
            Type::Choice(&[
                ("yes", "It has a check valve."),
                ("no", "Water passes both ways."),
            ]),
            "no",
            "an open fitting",
            "Whether it lets water back.",
        ),
    ],
    ..BLANK
};
