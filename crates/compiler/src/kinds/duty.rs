//! The `duty`: pump, supply and lay together, and what is held.

use crate::codes::codes;
use crate::schema::short::{optional, required};
use crate::schema::{BLANK, KindDef, Type};

codes! {}

/// A duty.
pub static DUTY: KindDef = KindDef {
    word: "duty",
    doc: "A pump at work: its supply, the lay it feeds, and what is held. The solver finds every pressure and flow.",
    fields: &[
        required(
            "supply",
            Type::Ref(&["supply"]),
            "Where the water comes from.",
        ),
        required("lay", Type::Ref(&["lay"]), "Where it goes."),
        optional(
            "drive",
            Type::Ref(&["drive"]),
            "What turns the pump; its limits then hold.",
        ),
        optional(
            "position",
            Type::Choice(&[
                ("series", "Pressure position of the changeover valve."),
                ("parallel", "Volume position of the changeover valve."),
            ]),
            "Position of a changeover pump.",
        ),
    ],
    holds: true,
    ..BLANK
};
