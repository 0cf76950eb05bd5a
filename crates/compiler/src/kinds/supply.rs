//! The `supply`: draft, hydrant or tank.

use crate::codes::codes;
use crate::db::{Cx, Local};
use crate::schema::short::{default, not_negative, optional, positive, required, signed};
use crate::schema::{BLANK, GroupDef, KindDef, PartDef, Type};
use crate::value::Value;
use crate::{DeclId, Eval, show};
use cutwater_finding::Finding;
use cutwater_quantity::Kind;

codes! {
    /// Raised by `supply`.
    SUPPLY_FORM = "CW1501" "supply-form" Error, "A supply names no source, or more than one.",
        "A supply is one of `draft { … }`, `hydrant { … }` or `tank { … }`.",
        fires "supply pond { }\n", silent "supply pond {\n    draft { lift = 9 ft }\n}\n";
    /// Raised by `supply`.
    SUPPLY_LIFT = "CW1502" "lift-too-high" Error, "A lift over which the air cannot press the water.",
        "Water at draft is pressed up by the air. Above atmospheric less vapour pressure, about 33.9 ft of water at sea level, it does not rise at all; a good pump and primer reach about 25 ft, and 14.7 ft is dependable (driver/operator texts; NWCG table 3.1).",
        fires "supply pond {\n    draft { lift = 36 ft }\n}\n", silent "supply pond {\n    draft { lift = 9 ft }\n}\n";
    /// Raised by `supply`.
    SUPPLY_DEEP = "CW1503" "lift-beyond-practice" Advice, "A lift beyond what is dependable.",
        "Texts give about 25 ft as the most a pump in good order lifts, and 22 ft as practical. Expect much less flow: about 60 % of the rating at 20 ft (driver/operator texts).",
        fires "supply pond {\n    draft { lift = 27 ft }\n}\n", silent "supply pond {\n    draft { lift = 9 ft }\n}\n";
    /// Raised by `supply`.
    HYDRANT_TEST = "CW1504" "hydrant-test" Error, "A hydrant test whose residual is not below its static pressure.",
        "Water flows from a main only where its pressure falls. Check which gauge is which.",
        fires "supply h {\n    hydrant {\n        static_pressure = 60 psi\n        residual = 65 psi at 900 gpm\n    }\n}\n", silent "supply h {\n    hydrant {\n        static_pressure = 60 psi\n        residual = 45 psi at 900 gpm\n    }\n}\n";
    /// Raised by `supply`.
    HYDRANT_DROP = "CW1505" "hydrant-drop-small" Advice, "A hydrant test with too small a drop to judge by.",
        "The drop in a flow test should be at least a tenth of the static pressure (NFPA 291, 4.4.6); with less, the flow at other pressures is a guess.",
        fires "supply h {\n    hydrant {\n        static_pressure = 60 psi\n        residual = 58 psi at 400 gpm\n    }\n}\n", silent "supply h {\n    hydrant {\n        static_pressure = 60 psi\n        residual = 45 psi at 900 gpm\n    }\n}\n";
}

/// `45 psi at 1000 gpm`.
pub static PRESSURE_AT_FLOW: &[PartDef] = &[
    PartDef {
        word: "",
        name: "pressure",
        kind: Kind::GaugePressure,
        optional: false,
    },
    PartDef {
        word: "at",
        name: "flow",
        kind: Kind::Flow,
        optional: false,
    },
];

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
    check: Some(check),
    ..BLANK
};

/// Which source a supply states, where it states exactly one.
pub(crate) fn source(cx: &mut Cx<'_>, d: DeclId) -> Eval<Option<&'static str>> {
    let mut found = None;
    for (group, field) in [
        ("draft", "draft.lift"),
        ("hydrant", "hydrant.static_pressure"),
        ("tank", "tank.level"),
    ] {
        if cx.get(d, field)? != Value::Absent {
            if found.is_some() {
                return Ok(None);
            }
            found = Some(group);
        }
    }
    Ok(found)
}

fn check(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    let mut stated = Vec::new();
    for (_, parsed) in crate::slots::lineage(cx, d)? {
        if let Some(decl) = crate::slots::decl_of(&parsed.item) {
            for g in ["draft", "hydrant", "tank"] {
                if crate::slots::has_group(decl, g) && !stated.contains(&g) {
                    stated.push(g);
                }
            }
        }
    }
    let name = cx.name(d);
    match stated.as_slice() {
        [_] => {}
        [] => cx.report(
            Finding::new(
                &SUPPLY_FORM,
                Local::Head(d),
                format!("supply `{name}` does not say where its water comes from"),
            )
            .here("no source")
            .help("add one of `draft { lift = … ft }`, `hydrant { … }` or `tank { … }`"),
        ),
        more => cx.report(
            Finding::new(
                &SUPPLY_FORM,
                Local::Head(d),
                format!(
                    "supply `{name}` has {} sources: {}",
                    more.len(),
                    more.join(", ")
                ),
            )
            .here("more than one source")
            .help("keep one; write another supply for the other"),
        ),
    }
    if let Some(lift) = cx.quantity(d, "draft.lift")? {
        let surroundings = crate::hydraulic::surroundings(cx, d)?;
        if let Some(s) = surroundings {
            let most =
                (s.atmospheric - s.vapour) / (s.density * cutwater_hydraulics::STANDARD_GRAVITY);
            let place = cx.place(d, "draft.lift");
            let settings = cx.settings();
            let shown = show::quantity(&lift, &settings);
            let most_shown = show::si(most, Kind::Length, lift.unit.as_ref(), &settings);
            if lift.si() >= most {
                cx.report(
                    Finding::new(&SUPPLY_LIFT, place, format!("a lift of {shown} cannot be drawn: the air presses this water up {most_shown} at the most"))
                        .here("too high")
                        .help("bring the pump nearer to the water")
                        .source("atmospheric less vapour pressure over the water's weight"),
                );
            } else if lift.si() > 25.0 * 0.3048 {
                cx.report(
                    Finding::new(&SUPPLY_DEEP, place, format!("a lift of {shown} is more than a pump in good order usually draws (about 25 ft)"))
                        .here("beyond practice")
                        .source("driver/operator texts; NWCG table 3.1 (common practice)"),
                );
            }
        }
    }
    if let (Some(s), Some(p)) = (
        cx.quantity(d, "hydrant.static_pressure")?,
        cx.part(d, "hydrant.residual", "pressure")?,
    ) {
        let place = cx.place(d, "hydrant.residual");
        let other = cx.place(d, "hydrant.static_pressure");
        let settings = cx.settings();
        let (a, b) = (
            show::si(p, Kind::GaugePressure, s.unit.as_ref(), &settings),
            show::quantity(&s, &settings),
        );
        if p >= s.si() {
            cx.report(
                Finding::new(
                    &HYDRANT_TEST,
                    place,
                    format!("the residual, {a}, is not below the static pressure, {b}"),
                )
                .here("not below the static pressure")
                .label(other, "static")
                .help("check which reading was taken with water flowing"),
            );
        } else if s.si() - p < 0.1 * s.si() {
            cx.report(
                Finding::new(&HYDRANT_DROP, place, format!("the pressure fell only from {b} to {a}, less than a tenth: flows at other pressures are a guess"))
                    .here("a small drop")
                    .label(other, "static")
                    .source("NFPA 291, 4.4.6"),
            );
        }
    }
    Ok(())
}
