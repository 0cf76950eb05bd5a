//! The `supply`: draft, hydrant or tank, and the most each can give.

use super::pump::{curve_for, curve_with};
use crate::codes::codes;
use crate::db::{Cx, Local};
use crate::schema::short::{default, not_negative, optional, positive, required, signed};
use crate::schema::{BLANK, ComputedDef, GroupDef, KindDef, PartDef, Sign, Type};
use crate::value::{Origin, Quantity, Value};
use crate::{DeclId, Eval, show};
use cutwater_finding::Finding;
use cutwater_hydraulics::STANDARD_GRAVITY;
use cutwater_hydraulics::friction::velocity;
use cutwater_hydraulics::pump::PumpCurve;
use cutwater_hydraulics::supply::{HYDRANT_EXPONENT, Hydrant};
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
    /// Raised by `supply`.
    DRAFT_SHORT = "CW1506" "draft-below-rating" Advice, "At this lift and with this hose the pump cannot draw its rated flow.",
        "A draft that names the pump it `feeds` is held against the pump's rating: atmospheric less vapour pressure, less the lift and the losses of strainer and hose, must leave the NPSH the pump requires at its rated flow and speed (without a tested NPSH, must leave the water in one piece). Lower the lift, lay larger or more suction hose, or ask for less from this water.",
        fires "pump p {\n    rating = 1000 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi, npshr ft) {\n        0 190 5\n        1000 152 12\n        1400 117 17\n    }\n}\nsupply pond {\n    feeds = p\n    draft {\n        lift    = 22 ft\n        suction = 20 ft of std.suction_5\n    }\n}\n",
        silent "pump p {\n    rating = 1000 gpm at 150 psi\n    curve at 3000 rpm (flow gpm, net psi, npshr ft) {\n        0 190 5\n        1000 152 12\n        1400 117 17\n    }\n}\nsupply pond {\n    feeds = p\n    draft {\n        lift    = 8 ft\n        suction = 20 ft of std.suction_5\n    }\n}\n";
    /// Raised by `supply`.
    HYDRANT_WEAK = "CW1507" "hydrant-below-20-psi" Advice, "A hydrant that never has 20 psi.",
        "20 psi is the residual by which hydrants are rated (NFPA 291) and which is left in a main as usual, so that it is not sucked flat or polluted (common practice). A static pressure of 20 psi or less leaves nothing that may be drawn so.",
        fires "supply h {\n    hydrant {\n        static_pressure = 18 psi\n        residual = 9 psi at 300 gpm\n    }\n}\n", silent "supply h {\n    hydrant {\n        static_pressure = 60 psi\n        residual = 45 psi at 900 gpm\n    }\n}\n";
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
    fields: &[optional(
        "feeds",
        Type::Ref(&["pump"]),
        "The pump it is judged for, so that the most it can give is shown.",
    )],
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
    computed: &[
        ComputedDef {
            name: "greatest_lift",
            ty: Type::Quantity(Kind::Length, Sign::Positive),
            doc: "Of a draft: how high the air could press this water at no flow. A pump in good order dependably draws about two thirds of it (common practice).",
            formula: "(atmosphere − vapour pressure) / (ρ g)",
            source: "hydrostatics; IAPWS-IF97; U.S. Standard Atmosphere 1976",
            solved: false,
            hint: false,
            eval: greatest_lift,
        },
        ComputedDef {
            name: "most_flow",
            ty: Type::Quantity(Kind::Flow, Sign::Positive),
            doc: "Of a draft or tank that names the pump it `feeds`: the largest flow before the pump cavitates at its rated speed, within its tested curve; without NPSH required in the curve, before the water parts. `most_flow_limit` says what ends it.",
            formula: "the flow q with NPSH available(q) = NPSH required(q)",
            source: "energy from the water's surface to the intake, with strainer and suction hose or the tank's plumbing",
            solved: false,
            hint: true,
            eval: most_flow,
        },
        ComputedDef {
            name: "most_flow_limit",
            ty: Type::Text,
            doc: "What ends `most_flow`. At the end of the tested curve it gives at least that much.",
            formula: "which comes first",
            source: "as `most_flow`",
            solved: false,
            hint: false,
            eval: most_flow_limit,
        },
        ComputedDef {
            name: "most_lift",
            ty: Type::Quantity(Kind::Length, Sign::Any),
            doc: "Of a draft that names the pump it `feeds`: the highest lift at which the pump can draw its rated flow at its rated speed.",
            formula: "the lift with NPSH available(rated flow) = NPSH required(rated flow)",
            source: "energy from the water's surface to the intake, with strainer and suction hose",
            solved: false,
            hint: true,
            eval: most_lift,
        },
        ComputedDef {
            name: "flow_at_20_psi",
            ty: Type::Quantity(Kind::Flow, Sign::Positive),
            doc: "Of a hydrant: the flow that leaves 20 psi in the main, the usual figure to rate it by.",
            formula: "Q_test · ((static − 20 psi) / (static − residual))^0.54",
            source: "NFPA 291 (from memory); the 0.54 of Hazen–Williams",
            solved: false,
            hint: true,
            eval: flow_at_20_psi,
        },
        ComputedDef {
            name: "suction_velocity",
            ty: Type::Quantity(Kind::Speed, Sign::Positive),
            doc: "Of a draft or hydrant with hose that names the pump it `feeds`: the velocity in each line of that hose at the pump's rated flow.",
            formula: "rated flow / lines / (π/4 · diameter²)",
            source: "continuity",
            solved: false,
            hint: false,
            eval: suction_velocity,
        },
        ComputedDef {
            name: "gravity_flow",
            ty: Type::Quantity(Kind::Flow, Sign::NotNegative),
            doc: "Of a tank: the flow at which its plumbing takes all of the water's height, so that the pump's intake stands at the pressure of the air; for more the pump draws a vacuum.",
            formula: "Q_loss · √(ρ g level / loss)",
            source: "Bernoulli from the water's surface to the intake; square-law plumbing",
            solved: false,
            hint: false,
            eval: gravity_flow,
        },
        ComputedDef {
            name: "lasts",
            ty: Type::Quantity(Kind::Time, Sign::Positive),
            doc: "Of a tank that states its `capacity` and names the pump it `feeds`: how long it lasts at the pump's rated flow, if all of it can be drawn.",
            formula: "capacity / rated flow",
            source: "volume over flow",
            solved: false,
            hint: false,
            eval: lasts,
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
            let most = (s.atmospheric - s.vapour) / (s.density * STANDARD_GRAVITY);
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
        } else if s.si() <= TWENTY_PSI {
            cx.report(
                Finding::new(
                    &HYDRANT_WEAK,
                    other,
                    format!("a static pressure of {b} leaves no 20 psi with any water drawn"),
                )
                .here("no flow at 20 psi")
                .help("use another hydrant, or draw no more than local orders allow")
                .source("NFPA 291: rated at 20 psi; common practice"),
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
    check_draft(cx, d)
}

fn greatest_lift(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let Some(lift) = cx.quantity(d, "draft.lift")? else {
        return Ok(Value::Absent);
    };
    Ok(match crate::hydraulic::surroundings(cx, d)? {
        Some(s) => {
            let most = (s.atmospheric - s.vapour) / (s.density * STANDARD_GRAVITY);
            let mut q = Quantity::computed(Kind::Length, most).origin(s.origin);
            q.unit = lift.unit;
            Value::Quantity(q)
        }
        None => Value::Unknown,
    })
}

/// The pump a supply is judged for.
struct Judged {
    pump: DeclId,
    /// Its speed at its rating, rad/s.
    speed: f64,
    /// Its rated flow, m³/s.
    flow: f64,
    /// Its curve of NPSH required, where that was tested.
    npshr: Option<PumpCurve>,
    /// Its tested curve.
    curve: PumpCurve,
    origin: Origin,
}

fn judged(cx: &mut Cx<'_>, d: DeclId) -> Eval<Option<Judged>> {
    let Some(pump) = cx.reference(d, "feeds")? else {
        return Ok(None);
    };
    let position = Some("parallel");
    let (Some(speed), Some(flow), Some((curve, origin))) = (
        cx.quantity(pump, "rated_speed")?,
        cx.part(pump, "rating", "flow")?,
        curve_for(cx, pump, position)?,
    ) else {
        return Ok(None);
    };
    let npshr = curve_with(cx, pump, position, "npshr")?.map(|c| c.0);
    Ok(Some(Judged {
        pump,
        speed: speed.si(),
        flow,
        npshr,
        curve,
        origin: origin.with(speed.origin),
    }))
}

impl Judged {
    /// NPSH required, m, at a flow up to the end of the curve; without a tested one nothing but that the water stays
    /// whole. Below the least flow it was tested at, it is taken as there: it rises with the flow.
    fn needs(&self, flow: f64) -> Option<f64> {
        let Some(c) = &self.npshr else {
            return Some(0.0);
        };
        let (least, _) = c.domain(self.speed).ok()?;
        c.npshr(flow.max(least), self.speed).ok()
    }
}

/// The last of two numbers between which a condition is lost; 60 halvings.
fn last(mut good: f64, mut bad: f64, keeps: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..60 {
        let middle = f64::midpoint(good, bad);
        if keeps(middle) {
            good = middle;
        } else {
            bad = middle;
        }
    }
    good
}

/// The most that a pump can draw.
struct Most {
    pump: DeclId,
    /// Its rated flow, m³/s.
    rated: f64,
    /// m³/s; `None` where even the least flow of the curve is too much.
    flow: Option<f64>,
    limit: &'static str,
    origin: Origin,
}

/// The residual by which hydrants are rated (NFPA 291), Pa gauge.
const TWENTY_PSI: f64 = 20.0 * 6_894.757_293_168;

/// One US gpm, m³/s: 231 in³ in a minute.
const GPM: f64 = 231.0 * 0.0254 * 0.0254 * 0.0254 / 60.0;

/// What ends the flow: the suction head that a pump requires.
const BY_NPSH: &str = "the NPSH required";

/// What ends the flow where no suction head required was tested.
const BY_PARTING: &str = "the water parts";

/// The most that the pump a draft or tank feeds can draw; `None` where that cannot be told.
fn most(cx: &mut Cx<'_>, d: DeclId) -> Eval<Option<Most>> {
    if !matches!(source(cx, d)?, Some("draft" | "tank")) {
        return Ok(None);
    }
    let air = crate::hydraulic::surroundings(cx, d)?;
    let (Some(pump), Some(giving), Some(air)) =
        (judged(cx, d)?, crate::hydraulic::giving(cx, d)?, air)
    else {
        return Ok(None);
    };
    let curve = pump.npshr.as_ref().unwrap_or(&pump.curve);
    let (Ok((low, _)), Ok((_, high))) = (pump.curve.domain(pump.speed), curve.domain(pump.speed))
    else {
        return Ok(None);
    };
    let keeps = |q: f64| {
        let left = giving.npsh(q, None).zip(pump.needs(q));
        left.is_some_and(|(have, need)| have >= need)
    };
    // Looked for from the lowest flow on: the first that is too much.
    const STEPS: u32 = 64;
    let at = |k: u32| low + (high - low) * f64::from(k) / f64::from(STEPS);
    let first = (0..=STEPS).find(|k| !keeps(at(*k)));
    let limit = match (first, &pump.npshr) {
        (None, _) => "the end of the tested curve",
        (_, Some(_)) => BY_NPSH,
        (_, None) => BY_PARTING,
    };
    Ok(Some(Most {
        pump: pump.pump,
        rated: pump.flow,
        flow: match first {
            Some(0) => None,
            Some(k) => Some(last(at(k - 1), at(k), keeps)),
            // All that was tested.
            None => Some(high),
        },
        limit,
        origin: pump.origin.with(air.origin),
    }))
}

fn most_flow(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    Ok(match most(cx, d)? {
        Some(Most {
            flow: Some(q),
            pump,
            origin,
            ..
        }) => flow_value(cx, pump, q, origin)?,
        _ => Value::Absent,
    })
}

fn most_flow_limit(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    Ok(match most(cx, d)? {
        Some(m) => Value::Text(m.limit.into()),
        None => Value::Absent,
    })
}

/// A flow in the unit that a pump's rating is written in.
fn flow_value(cx: &mut Cx<'_>, pump: DeclId, si: f64, origin: Origin) -> Eval<Value> {
    let mut q = Quantity::computed(Kind::Flow, si).origin(origin);
    if let Value::Phrase(parts) = cx.get(pump, "rating")?
        && let Some((_, rated)) = parts.iter().find(|p| p.0 == "flow")
    {
        q.unit = rated.unit.clone();
        q.gallon = rated.gallon;
    }
    Ok(Value::Quantity(q))
}

/// Tells of a draft from which its pump cannot draw its rated flow.
fn check_draft(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    if source(cx, d)? != Some("draft") {
        return Ok(());
    }
    let Some(m) = most(cx, d)? else {
        return Ok(());
    };
    if m.flow.is_some_and(|q| q >= m.rated * (1.0 - 1e-9)) {
        return Ok(());
    }
    // A curve that ends before the rating says nothing of the supply.
    if m.flow.is_some() && ![BY_NPSH, BY_PARTING].contains(&m.limit) {
        return Ok(());
    }
    let settings = cx.settings();
    let rated = flow_value(cx, m.pump, m.rated, m.origin)?;
    let text = |v: &Value| {
        v.quantity()
            .map_or(String::new(), |q| show::quantity(q, &settings))
    };
    let draws = match m.flow {
        Some(q) => {
            let q = flow_value(cx, m.pump, q, m.origin)?;
            format!("no more than {}", text(&q))
        }
        None => "nothing".to_owned(),
    };
    let by = match m.limit {
        BY_PARTING => "beyond that the water parts",
        _ => "beyond that it cavitates",
    };
    let message = format!(
        "from supply `{}` pump `{}` draws {draws}, less than its rated {}: {by}",
        cx.name(d),
        cx.name(m.pump),
        text(&rated)
    );
    let place = cx.place(d, "draft.lift");
    let mut f = Finding::new(&DRAFT_SHORT, place, message)
        .here("too high for the rated flow")
        .label(Local::Head(m.pump), "this pump")
        .help("lower the lift, use larger or shorter suction hose, more lines, or a strainer that loses less")
        .source("the pump's NPSH required against atmosphere, vapour pressure, lift and losses")
        .number("rated flow", m.rated / GPM, "gpm");
    if let Some(q) = m.flow {
        f = f.number("most flow", q / GPM, "gpm");
    }
    cx.report(f);
    Ok(())
}

fn most_lift(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let Some(lift) = cx.quantity(d, "draft.lift")? else {
        return Ok(Value::Absent);
    };
    let air = crate::hydraulic::surroundings(cx, d)?;
    let (Some(pump), Some(giving), Some(air)) =
        (judged(cx, d)?, crate::hydraulic::giving(cx, d)?, air)
    else {
        return Ok(Value::Absent);
    };
    let Some(need) = pump.needs(pump.flow) else {
        return Ok(Value::Absent);
    };
    // Every foot of lift takes a foot of suction head.
    let Some(have) = giving.npsh(pump.flow, Some(0.0)) else {
        return Ok(Value::Absent);
    };
    let origin = pump.origin.with(air.origin);
    let mut q = Quantity::computed(Kind::Length, have - need).origin(origin);
    q.unit = lift.unit;
    Ok(Value::Quantity(q))
}

fn suction_velocity(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (Some(source @ ("draft" | "hydrant")), Some(pump)) =
        (source(cx, d)?, cx.reference(d, "feeds")?)
    else {
        return Ok(Value::Absent);
    };
    let field = if source == "draft" {
        "draft.suction"
    } else {
        "hydrant.hose"
    };
    let Value::Piece(piece) = cx.get(d, field)? else {
        return Ok(Value::Absent);
    };
    let (Some(flow), Some(lines), Some(bore)) = (
        cx.part(pump, "rating", "flow")?,
        cx.si(d, &format!("{source}.lines"))?,
        cx.si(piece.of, "diameter")?,
    ) else {
        return Ok(Value::Absent);
    };
    let v = velocity(flow / lines, bore).ok();
    Ok(v.map_or(Value::Absent, |v| {
        Value::Quantity(Quantity::computed(Kind::Speed, v))
    }))
}

fn gravity_flow(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (Some(level), Some(p), Value::Phrase(parts)) = (
        cx.si(d, "tank.level")?,
        cx.part(d, "tank.loss", "pressure")?,
        cx.get(d, "tank.loss")?,
    ) else {
        return Ok(Value::Absent);
    };
    let (Some((_, flow)), Some(air)) = (
        parts.iter().find(|p| p.0 == "flow"),
        crate::hydraulic::surroundings(cx, d)?,
    ) else {
        return Ok(Value::Absent);
    };
    let si = flow.si() * (air.density * STANDARD_GRAVITY * level / p).sqrt();
    if !si.is_finite() {
        return Ok(Value::Absent);
    }
    let mut q = Quantity::computed(Kind::Flow, si).origin(flow.origin.with(air.origin));
    q.unit = flow.unit.clone();
    q.gallon = flow.gallon;
    Ok(Value::Quantity(q))
}

fn flow_at_20_psi(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (Some(p0), Value::Phrase(parts)) = (
        cx.si(d, "hydrant.static_pressure")?,
        cx.get(d, "hydrant.residual")?,
    ) else {
        return Ok(Value::Absent);
    };
    let part = |name: &str| parts.iter().find(|p| p.0 == name).map(|p| &p.1);
    let (Some(p1), Some(q1)) = (part("pressure"), part("flow")) else {
        return Ok(Value::Absent);
    };
    let hydrant = Hydrant::new(p0, p1.si(), q1.si(), HYDRANT_EXPONENT);
    let most = hydrant.ok().filter(|_| p0 > TWENTY_PSI);
    Ok(match most.and_then(|h| h.most(TWENTY_PSI).ok()) {
        Some(si) => {
            let mut q = Quantity::computed(Kind::Flow, si);
            q.unit = q1.unit.clone();
            q.gallon = q1.gallon;
            Value::Quantity(q)
        }
        None => Value::Absent,
    })
}

fn lasts(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let Some(pump) = cx.reference(d, "feeds")? else {
        return Ok(Value::Absent);
    };
    let (Some(volume), Some(flow)) = (cx.si(d, "tank.capacity")?, cx.part(pump, "rating", "flow")?)
    else {
        return Ok(Value::Absent);
    };
    Ok(match flow > 0.0 {
        true => Value::Quantity(Quantity::computed(Kind::Time, volume / flow)),
        false => Value::Absent,
    })
}
