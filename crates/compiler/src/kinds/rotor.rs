//! The rotor and its seals: `impeller`, `ring`.

use crate::codes::codes;
use crate::schema::short::{optional, positive, required};
use crate::schema::{BLANK, KindDef, Type};
use cutwater_quantity::Kind;

codes! {}

/// An impeller.
pub static IMPELLER: KindDef = KindDef {
    word: "impeller",
    doc: "A centrifugal impeller: the wheel that gives the water its energy.",
    fields: &[
        required(
            "outside_diameter",
            positive(Kind::Length),
            "Diameter over the vanes.",
        ),
        optional(
            "hub_diameter",
            positive(Kind::Length),
            "Diameter of the surface the wear ring runs on.",
        ),
        optional(
            "eye_diameter",
            positive(Kind::Length),
            "Diameter of the eye, where the water enters.",
        ),
        optional(
            "exit_width",
            positive(Kind::Length),
            "Width between the shrouds at the vane exit.",
        ),
        optional("vanes", Type::Count(1, 24), "Number of vanes."),
        optional(
            "vane_exit_angle",
            positive(Kind::Angle),
            "Angle of the vane at its exit, from the tangent.",
        ),
        optional(
            "vane_thickness",
            positive(Kind::Length),
            "Thickness of a vane at its exit, along its normal.",
        ),
        optional("mass", positive(Kind::Mass), "Mass."),
        optional("material", Type::Ref(&["material"]), "What it is made of."),
    ],
    ..BLANK
};

/// A wear ring.
pub static RING: KindDef = KindDef {
    word: "ring",
    doc: "A wear ring: the renewable ring at the running joint between impeller and body, which holds back the water that would leak from discharge to suction.",
    fields: &[
        optional(
            "form",
            Type::Choice(&[
                ("plain", "One straight cylindrical gap."),
                (
                    "stepped",
                    "Two gaps with a face turned at right angles between them.",
                ),
                ("labyrinth", "Several gaps in a row."),
            ]),
            "The way of the leak through it.",
        ),
        required(
            "runs_on",
            positive(Kind::Length),
            "Diameter it runs on, as `first.hub_diameter`.",
        ),
        required(
            "bore",
            positive(Kind::Length),
            "Inside diameter, as it runs (after pressing).",
        ),
        optional(
            "land_length",
            positive(Kind::Length),
            "Axial length of the gap.",
        ),
        optional(
            "outside_diameter",
            positive(Kind::Length),
            "Outside diameter, before pressing.",
        ),
        optional(
            "seat",
            positive(Kind::Length),
            "Bore of the seat in the body that holds it.",
        ),
        optional(
            "clearance_limit",
            Type::Range(Kind::Length),
            "Limits of the diametral clearance, new.",
        ),
        optional("material", Type::Ref(&["material"]), "What it is made of."),
    ],
    ..BLANK
};
