//! What the water goes through: `hose`, `nozzle`, `appliance`.

use super::gear;
use crate::codes::codes;
use crate::db::{Cx, Local};
use crate::schema::short::{column, default, not_negative, optional, positive, required};
use crate::schema::{BLANK, ComputedDef, KindDef, Only, PartDef, Sign, TableDef, Type};
use crate::show;
use crate::value::{Origin, Quantity, Value};
use crate::{DeclId, Eval};
use cutwater_finding::Finding;
use cutwater_hydraulics::friction::{
    DarcyPipe, appliance_resistance, hazen_williams_coefficient, minor_resistance,
};
use cutwater_hydraulics::network::Law;
use cutwater_hydraulics::nozzle::Nozzle;
use cutwater_quantity::Kind;

codes! {
    /// Raised by `hose`.
    HOSE_LAW = "CW1401" "hose-loss-law" Error, "A hose states no loss law, or more than one.",
        "A hose loses pressure by exactly one law: `loss` (the fireground coefficient), `hazen_williams`, or `roughness`. The last two need its `diameter`.",
        fires "hose h { diameter = 2.5 in }\n", silent "hose h {\n    diameter = 2.5 in\n    loss = 2 psi per 100 ft at 100 gpm\n}\n";
    /// Raised by `nozzle`.
    NOZZLE_LAW = "CW1402" "nozzle-incomplete" Error, "A nozzle lacks what its form needs.",
        "A smooth bore needs its `tip`; a fog its `rated` flow and pressure; a holding fog also the `flow_range` over which it holds, a regulated one the flow it keeps and the least pressure for it, as its `rated`.",
        fires "nozzle n { form = smooth }\n", silent "nozzle n {\n    form = smooth\n    tip = 1 in\n}\n";
    /// Raised by `appliance`.
    APPLIANCE_LAW = "CW1403" "appliance-loss" Error, "An appliance states no loss, or two.",
        "State its `loss` at a flow, or its `loss_coefficient` with the `diameter` it belongs to, or of a gate the table `gate` of its loss coefficients.",
        fires "appliance a { one_way = yes }\n", silent "appliance a { loss = 10 psi at 350 gpm }\n";
    /// Raised by `appliance`.
    GATE_OPENING = "CW1405" "gate-opening" Error, "A gate stands where its table does not tell its loss.",
        "Between shut and the least opening of the table the loss is not known, and nothing is read outside a table. Without a table the `opening` says nothing.",
        fires "appliance g {\n    diameter = 2.5 in\n    opening = 10 %\n    gate (opening %, loss_coefficient) {\n        25 17\n        100 0.15\n    }\n}\n",
        silent "appliance g {\n    diameter = 2.5 in\n    opening = 50 %\n    gate (opening %, loss_coefficient) {\n        25 17\n        100 0.15\n    }\n}\n";
    /// Raised by `appliance`.
    GATE_TABLE = "CW1406" "gate-table" Error, "A gate's table of loss coefficients cannot be right.",
        "Openings go from above 0 to 100 %, coefficients are above 0 and fall, or stay, as the gate opens. Rows may have been changed round, or how far it is closed written for how far it is open.",
        fires "appliance g {\n    diameter = 2.5 in\n    opening = 50 %\n    gate (opening %, loss_coefficient) {\n        25 0.26\n        75 17\n    }\n}\n",
        silent "appliance g {\n    diameter = 2.5 in\n    opening = 50 %\n    gate (opening %, loss_coefficient) {\n        25 17\n        75 0.26\n    }\n}\n";
    /// Raised by `hose`.
    NOT_JUDGED = "CW1408" "hose-limit-not-judged" Warning, "A hose states what its water is to be judged by, and not what that needs.",
        "A velocity follows from the bore: without `diameter` neither a `velocity_limit` nor a `wave_speed` says anything. A surge is held against the service-test pressure, so that a `wave_speed` also needs a `test_pressure`.",
        fires "hose h {\n    loss = 2 psi per 100 ft at 100 gpm\n    velocity_limit = 15 ft/s\n}\n",
        silent "hose h {\n    diameter = 2.5 in\n    loss = 2 psi per 100 ft at 100 gpm\n    velocity_limit = 15 ft/s\n}\n";
}

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
            "velocity_limit",
            positive(Kind::Speed),
            "Highest velocity of the water that is wanted in it; a faster duty is told.",
        ),
        optional(
            "wave_speed",
            positive(Kind::Speed),
            "Speed of a pressure wave in the charged hose, by its maker or a measurement: with it the surge of a nozzle that is shut at once is judged. Soft hose is far slower than steel pipe's 4000 ft/s.",
        ),
        optional(
            "length",
            positive(Kind::Length),
            "Length of one section as stocked.",
        ),
        gear::SERIAL,
        gear::MADE,
        gear::PLACED_IN_SERVICE,
        gear::IN_SERVICE,
        gear::TESTED,
    ],
    computed: &[
        ComputedDef {
            name: "coefficient",
            ty: Type::Quantity(Kind::Number, Sign::Positive),
            doc: "The fireground coefficient C: psi lost in 100 ft at 100 gpm.",
            formula: "FL = C · (Q / 100 gpm)² · (L / 100 ft)",
            source: "driver/operator texts; handbook form of the fireground formula",
            solved: false,
            hint: true,
            eval: coefficient,
        },
        ComputedDef {
            name: "pressure_limit",
            ty: Type::Quantity(Kind::Pressure, Sign::Positive),
            doc: "Highest pressure it should see in service: 90 % of its service-test pressure.",
            formula: "0.9 · test_pressure",
            source: "NFPA 1962 (2018): relief valve not above 90 % of the service-test pressure",
            solved: false,
            hint: false,
            eval: pressure_limit,
        },
    ],
    check: Some(check_hose),
    ..BLANK
};

/// A nozzle.
pub static NOZZLE: KindDef = KindDef {
    word: "nozzle",
    doc: "A nozzle: how its flow goes with its pressure.",
    fields: &[
        required(
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
                (
                    "regulated",
                    "Any outlet with a regulator: it gives its rated flow at the rated pressure and at every higher one.",
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
            "Rated flow and pressure of a fog, as `150 gpm at 100 psi`; for `holding` the pressure it holds, for `regulated` the flow it keeps and the least pressure it needs for that.",
        ),
        optional(
            "flow_range",
            Type::Range(Kind::Flow),
            "Flows between which a `holding` fog holds its pressure.",
        ),
        optional(
            "inlet_diameter",
            positive(Kind::Length),
            "Bore of its base. With it a duty shows what a gauge there reads: less than the total pressure by the velocity head.",
        ),
        optional(
            "crew",
            Type::Count(1, 12),
            "Firefighters on it, to judge its reaction.",
        ),
        gear::SERIAL,
        gear::MADE,
        gear::PLACED_IN_SERVICE,
        gear::IN_SERVICE,
        gear::TESTED,
    ],
    computed: &[ComputedDef {
        name: "flow_coefficient",
        ty: Type::Quantity(Kind::FlowCoefficient, Sign::Positive),
        doc: "The K factor: flow for the root of the pressure, with water at 60 °F.",
        formula: "smooth: c_d · (π/4) d² · √(2/ρ); fog: Q_rated / √p_rated",
        source: "first principles (Bernoulli at the outlet)",
        solved: false,
        hint: true,
        eval: flow_coefficient,
    }],
    only: &[
        Only {
            names: &["tip", "discharge_coefficient"],
            field: "form",
            words: &["smooth"],
        },
        Only {
            names: &["rated"],
            field: "form",
            words: &["fog", "holding", "regulated"],
        },
        Only {
            names: &["flow_range"],
            field: "form",
            words: &["holding"],
        },
    ],
    check: Some(check_nozzle),
    ..BLANK
};

/// An appliance.
pub static APPLIANCE: KindDef = KindDef {
    word: "appliance",
    doc: "A wye, siamese, valve, monitor, strainer or any other fitting: its loss at a stated flow, growing with the square of the flow, its loss coefficient, or, of a gate, its loss coefficients at several openings.",
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
            "opening",
            not_negative(Kind::Ratio),
            "100 %",
            "wide open",
            "How far a gate is open, of those that have a table `gate`; at 0 % nothing passes.",
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
        gear::SERIAL,
        gear::MADE,
        gear::PLACED_IN_SERVICE,
        gear::IN_SERVICE,
        gear::TESTED,
    ],
    tables: &[TableDef {
        name: "gate",
        doc: "Loss coefficients of a gate at several openings, at `diameter`; between them the coefficient's logarithm goes in straight lines.",
        required: false,
        at: None,
        columns: &[
            column("opening", Kind::Ratio, "How far it is open, above 0."),
            column(
                "loss_coefficient",
                Kind::Ratio,
                "Loss in velocity heads (K).",
            ),
        ],
        rising: true,
        least_rows: 2,
    }],
    computed: &[ComputedDef {
        name: "present_coefficient",
        ty: Type::Quantity(Kind::Number, Sign::Positive),
        doc: "Loss coefficient of a gate as far as it is open.",
        formula: "exp of the straight line through ln K over the openings",
        source: "the gate's table",
        solved: false,
        hint: true,
        eval: present_coefficient,
    }],
    check: Some(check_appliance),
    ..BLANK
};

/// psi per (gpm)², per foot: the trade's coefficient of one.
fn trade_unit() -> f64 {
    // 1 psi = 6894.757293168 Pa, 1 gpm = 6.30901964e-5 m³/s (231 in³/min), 1 ft = 0.3048 m.
    let psi = 4.448_221_615_260_5 / (0.0254 * 0.0254);
    let gpm = 231.0 * 0.0254f64.powi(3) / 60.0;
    psi / ((100.0 * gpm).powi(2) * 100.0 * 0.3048)
}

fn coefficient(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    Ok(match square_law(cx, d)? {
        Some(per_metre) => {
            Value::Quantity(Quantity::computed(Kind::Number, per_metre / trade_unit()))
        }
        None => Value::Absent,
    })
}

/// Resistance for each metre, Pa/(m³/s)²/m, of a hose that states its fireground coefficient.
pub(crate) fn square_law(cx: &mut Cx<'_>, d: DeclId) -> Eval<Option<f64>> {
    let (Some(p), Some(l), Some(q)) = (
        cx.part(d, "loss", "pressure")?,
        cx.part(d, "loss", "length")?,
        cx.part(d, "loss", "flow")?,
    ) else {
        return Ok(None);
    };
    Ok(Some(p / (l * q * q)))
}

fn pressure_limit(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    Ok(match cx.quantity(d, "test_pressure")? {
        Some(q) => Value::Quantity(Quantity {
            value: q.value.scale(0.9),
            origin: q.origin.with(Origin::Computed),
            ..q
        }),
        None => Value::Absent,
    })
}

fn check_hose(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    gear::check(cx, d)?;
    check_judged(cx, d)?;
    let mut laws = Vec::new();
    for name in ["loss", "hazen_williams", "roughness"] {
        match cx.get(d, name)? {
            Value::Absent => {}
            // Told elsewhere.
            Value::Unknown => return Ok(()),
            _ => laws.push(name),
        }
    }
    let name = cx.name(d);
    match laws.as_slice() {
        [] => cx.report(
            Finding::new(&HOSE_LAW, Local::Head(d), format!("hose `{name}` does not say how it loses pressure"))
                .here("no loss law")
                .help("add `loss = … psi per 100 ft at 100 gpm`, `hazen_williams = …` or `roughness = … in`"),
        ),
        ["loss"] => {}
        [one] => {
            if cx.get(d, "diameter")? == Value::Absent {
                let place = cx.place(d, one);
                cx.report(
                    Finding::new(&HOSE_LAW, place, format!("`{one}` of hose `{name}` needs its inside diameter"))
                        .here("needs `diameter`")
                        .help("add `diameter = … in`"),
                );
            }
        }
        [first, second, ..] => {
            let place = cx.place(d, second);
            let other = cx.place(d, first);
            cx.report(
                Finding::new(&HOSE_LAW, place, format!("hose `{name}` states two loss laws, `{first}` and `{second}`"))
                    .here("a second law")
                    .label(other, "the first")
                    .help("keep the one that was measured"),
            );
        }
    }
    Ok(())
}

/// What a hose's water is judged by needs its bore, and a surge its service-test pressure.
fn check_judged(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    for (field, needs) in [
        ("velocity_limit", &["diameter"][..]),
        ("wave_speed", &["diameter", "test_pressure"]),
    ] {
        if cx.get(d, field)? == Value::Absent {
            continue;
        }
        let mut missing = Vec::new();
        for need in needs {
            if cx.get(d, need)? == Value::Absent {
                missing.push(format!("`{need}`"));
            }
        }
        if missing.is_empty() {
            continue;
        }
        let (place, name) = (cx.place(d, field), cx.name(d));
        let missing = missing.join(" and ");
        cx.report(
            Finding::new(
                &NOT_JUDGED,
                place,
                format!("`{field}` of hose `{name}` says nothing without its {missing}"),
            )
            .here("not judged")
            .help(format!("add {missing}, or take the line out")),
        );
    }
    Ok(())
}

/// The loss law of a length of hose or pipe, m; `None` where something is missing or unknown (reported there).
pub(crate) fn hose_law(
    cx: &mut Cx<'_>,
    hose: DeclId,
    length: f64,
    density: f64,
    viscosity: f64,
) -> Eval<Option<Law>> {
    if let Some(per_metre) = square_law(cx, hose)? {
        return Ok(Some(Law::Quadratic {
            resistance: per_metre * length,
        }));
    }
    let Some(diameter) = cx.si(hose, "diameter")? else {
        return Ok(None);
    };
    if let Some(c) = cx.si(hose, "hazen_williams")? {
        return Ok(hazen_williams_coefficient(diameter, length, c, density)
            .ok()
            .map(|coefficient| Law::Power {
                coefficient,
                exponent: 1.0 / 0.54,
            }));
    }
    if let Some(roughness) = cx.si(hose, "roughness")? {
        return Ok(
            DarcyPipe::new(diameter, length, roughness, density, viscosity, 0.0)
                .ok()
                .map(Law::Darcy),
        );
    }
    Ok(None)
}

/// The openings of a gate, rising, with the logarithms of its loss coefficients; `None` where it has no table, or that is
/// faulty (reported there).
pub(crate) fn gate(cx: &mut Cx<'_>, appliance: DeclId) -> Eval<Option<Vec<(f64, f64)>>> {
    let Some(t) = cx.table(appliance, "gate")? else {
        return Ok(None);
    };
    let (Some(at), Some(k)) = (t.numbers("opening"), t.numbers("loss_coefficient")) else {
        return Ok(None);
    };
    let sound = at.iter().all(|o| *o > 0.0 && *o <= 1.0) && k.iter().all(|k| *k > 0.0);
    Ok(sound.then(|| at.into_iter().zip(k.into_iter().map(f64::ln)).collect()))
}

/// A gate's loss coefficient at an opening; `None` outside its table.
pub(crate) fn gate_coefficient(gate: &[(f64, f64)], opening: f64) -> Option<f64> {
    gate.windows(2).find_map(|w| {
        let ((a, ka), (b, kb)) = (w[0], w[1]);
        let inside = (a..=b).contains(&opening);
        inside.then(|| (ka + (kb - ka) * (opening - a) / (b - a)).exp())
    })
}

fn present_coefficient(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (Some(gate), Some(opening)) = (gate(cx, d)?, cx.si(d, "opening")?) else {
        return Ok(Value::Absent);
    };
    Ok(match gate_coefficient(&gate, opening) {
        Some(k) => Value::Quantity(Quantity::computed(Kind::Number, k)),
        None => Value::Absent,
    })
}

/// An appliance's resistance, Pa/(m³/s)²; `None` where it is missing or unknown (reported there).
pub(crate) fn appliance_law(cx: &mut Cx<'_>, appliance: DeclId, density: f64) -> Eval<Option<f64>> {
    if let (Some(p), Some(q)) = (
        cx.part(appliance, "loss", "pressure")?,
        cx.part(appliance, "loss", "flow")?,
    ) {
        return Ok(appliance_resistance(p, q).ok());
    }
    if let Some(gate) = gate(cx, appliance)? {
        let (Some(o), Some(d)) = (cx.si(appliance, "opening")?, cx.si(appliance, "diameter")?)
        else {
            return Ok(None);
        };
        let k = gate_coefficient(&gate, o);
        return Ok(k.and_then(|k| minor_resistance(k, d, density).ok()));
    }
    let (Some(k), Some(d)) = (
        cx.si(appliance, "loss_coefficient")?,
        cx.si(appliance, "diameter")?,
    ) else {
        return Ok(None);
    };
    Ok(minor_resistance(k, d, density).ok())
}

/// A nozzle's law; `None` where something is missing or unknown (reported there).
pub(crate) fn nozzle_law(cx: &mut Cx<'_>, nozzle: DeclId) -> Eval<Option<Nozzle>> {
    let Some(form) = cx.choice(nozzle, "form")? else {
        return Ok(None);
    };
    let law = match form {
        "smooth" => {
            let (Some(diameter), Some(c)) = (
                cx.si(nozzle, "tip")?,
                cx.si(nozzle, "discharge_coefficient")?,
            ) else {
                return Ok(None);
            };
            Nozzle::SmoothBore {
                diameter,
                discharge_coefficient: c,
            }
        }
        _ => {
            let (Some(q), Some(p)) = (
                cx.part(nozzle, "rated", "flow")?,
                cx.part(nozzle, "rated", "pressure")?,
            ) else {
                return Ok(None);
            };
            if matches!(form, "fog" | "regulated") {
                // Below its least pressure a regulator is a fixed opening.
                Nozzle::Fog {
                    rated_flow: q,
                    rated_pressure: p,
                }
            } else {
                let Value::Range(r) = cx.get(nozzle, "flow_range")? else {
                    return Ok(None);
                };
                Nozzle::PressureHolding {
                    set_pressure: p,
                    least_flow: r.low,
                    largest_flow: r.high,
                }
            }
        }
    };
    Ok(law.check().is_ok().then_some(law))
}

/// The flow (m³/s) that a regulated nozzle keeps, and the least pressure (Pa) it needs for that; `None` for others.
pub(crate) fn kept_flow(cx: &mut Cx<'_>, nozzle: DeclId) -> Eval<Option<(f64, f64)>> {
    if cx.choice(nozzle, "form")? != Some("regulated") {
        return Ok(None);
    }
    let flow = cx.part(nozzle, "rated", "flow")?;
    Ok(flow.zip(cx.part(nozzle, "rated", "pressure")?))
}

fn flow_coefficient(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    // Water at 60 °F: 62.36 lb/ft³ (IAPWS-95), to which the trade's 29.84 belongs.
    const DENSITY_60F: f64 = 999.02;
    if kept_flow(cx, d)?.is_some() {
        return Ok(Value::Absent);
    }
    Ok(match nozzle_law(cx, d)? {
        Some(Nozzle::PressureHolding { .. }) | None => Value::Absent,
        Some(n) => match n.flow(1.0, DENSITY_60F) {
            Ok(k) => Value::Quantity(Quantity::computed(Kind::FlowCoefficient, k)),
            Err(_) => Value::Absent,
        },
    })
}

fn check_nozzle(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    gear::check(cx, d)?;
    let Some(form) = cx.choice(d, "form")? else {
        return Ok(());
    };
    let name = cx.name(d);
    let needs: &[(&str, &str)] = match form {
        "smooth" => &[("tip", "tip = 1 in")],
        "fog" | "regulated" => &[("rated", "rated = 150 gpm at 100 psi")],
        _ => &[
            ("rated", "rated = 200 gpm at 100 psi"),
            ("flow_range", "flow_range = 70 .. 200 gpm"),
        ],
    };
    for (field, example) in needs {
        if cx.get(d, field)? == Value::Absent {
            cx.report(
                Finding::new(
                    &NOZZLE_LAW,
                    Local::Head(d),
                    format!("nozzle `{name}` is {form}, so it needs `{field}`"),
                )
                .here(format!("`{field}` is missing"))
                .help(format!("add `{field}`, as `{example}`")),
            );
        }
    }
    if form == "smooth"
        && let Some(c) = cx.quantity(d, "discharge_coefficient")?
        && c.si() > 1.0
    {
        let place = cx.place(d, "discharge_coefficient");
        cx.report(
            Finding::new(
                &crate::codes::OUT_OF_RANGE,
                place,
                format!(
                    "`discharge_coefficient` of `{name}` is above 1: no tip gives more than theory"
                ),
            )
            .here("above 1")
            .help("usual tips have 0.96 to 0.995"),
        );
    }
    Ok(())
}

fn check_appliance(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    gear::check(cx, d)?;
    let mut laws = Vec::new();
    for field in ["loss", "loss_coefficient", "gate"] {
        match cx.get(d, field)? {
            Value::Absent => {}
            // Told elsewhere.
            Value::Unknown => return Ok(()),
            _ => laws.push(field),
        }
    }
    let k = laws.contains(&"loss_coefficient") || laws.contains(&"gate");
    let name = cx.name(d);
    if laws.len() != 1 {
        let (what, here) = match laws.as_slice() {
            [a, b, ..] => (format!("states two losses, `{a}` and `{b}`"), "two losses"),
            _ => ("does not say what pressure it loses".to_owned(), "no loss"),
        };
        cx.report(
            Finding::new(&APPLIANCE_LAW, Local::Head(d), format!("appliance `{name}` {what}"))
                .here(here)
                .help("keep one: `loss = 10 psi at 350 gpm`, or `loss_coefficient = 2` with `diameter = 2.5 in`; or, of a gate, the table `gate`"),
        );
    } else if k && cx.get(d, "diameter")? == Value::Absent {
        let place = cx.place(d, laws[0]);
        cx.report(
            Finding::new(
                &APPLIANCE_LAW,
                place,
                format!("the loss coefficient of `{name}` needs the diameter it belongs to"),
            )
            .here("at which diameter?")
            .help("add `diameter = … in`"),
        );
    }
    check_gate(cx, d)
}

/// A gate's table holds openings from above 0 to 1 and coefficients above 0, and its opening lies in it or is 0.
fn check_gate(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    let Some(o) = cx.quantity(d, "opening")? else {
        return Ok(());
    };
    let (settings, name) = (cx.settings(), cx.name(d));
    let place = cx.place(d, "opening");
    if cx.get(d, "gate")? == Value::Absent {
        if o.origin != Origin::Assumed {
            cx.report(
                Finding::new(
                    &GATE_OPENING,
                    place,
                    format!("`{name}` has no table `gate`, so its opening says nothing"),
                )
                .here("of which gate?")
                .help("add `gate (opening %, loss_coefficient) { 25 17 … 100 0.15 }` with its `diameter`, or take the line out"),
            );
        }
        return Ok(());
    }
    let table = cx.place(d, "gate");
    let Some(gate) = gate(cx, d)? else {
        // A row that cannot be read was told there.
        if let Value::Table(_) = cx.get(d, "gate")? {
            cx.report(
                Finding::new(
                    &GATE_TABLE,
                    table,
                    format!("the table of gate `{name}` needs openings above 0 up to 100 % and coefficients above 0 in every row"),
                )
                .here("not a gate's table")
                .help("shut needs no row: at `opening = 0 %` nothing passes"),
            );
        }
        return Ok(());
    };
    if let Some(w) = gate.windows(2).find(|w| w[1].1 > w[0].1) {
        let show = |v: f64| show::si(v, Kind::Ratio, None, &settings);
        let k = |(_, ln): (f64, f64)| show::number_text((ln.exp() * 1e6).round() / 1e6);
        cx.report(
            Finding::new(
                &GATE_TABLE,
                table,
                format!(
                    "gate `{name}` loses more as it opens: {} at {}, {} at {}",
                    k(w[0]),
                    show(w[0].0),
                    k(w[1]),
                    show(w[1].0)
                ),
            )
            .here("rises as the gate opens")
            .help("change the rows round; an opening of 25 % is a gate three quarters closed"),
        );
        return Ok(());
    }
    if o.si() != 0.0 && gate_coefficient(&gate, o.si()).is_none() {
        let end = |k: usize| show::si(gate[k].0, Kind::Ratio, None, &settings);
        let range = format!("{} to {}", end(0), end(gate.len() - 1));
        cx.report(
            Finding::new(
                &GATE_OPENING,
                place,
                format!(
                    "gate `{name}` is {} open, and its table tells its loss from {range} only",
                    show::quantity(&o, &settings)
                ),
            )
            .here("outside the table")
            .label(table, range)
            .help(
                if (1.0..=100.0).contains(&o.si()) && o.si() > gate[gate.len() - 1].0 {
                    format!(
                        "write `opening = {} %` if percent are meant",
                        show::number_text(o.si())
                    )
                } else {
                    "shut it (0 %), open it further, or measure it there".to_owned()
                },
            ),
        );
    }
    Ok(())
}
