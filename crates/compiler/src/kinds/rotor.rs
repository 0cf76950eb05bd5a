//! The rotor and its seals: `impeller`, `ring`.
//!
//! Everything here is geometry and keeps its tolerances. Invariants: a clearance is diametral unless its name says
//! radial; a nominal size outside its limits is an error, a worst case outside them a warning.
//!
//! What it does not do: leakage, stress and growth of rings, wear (see the kinds that use them), prediction of head.

use crate::budget::{self, Budget, Verdict, Window};
use crate::codes::codes;
use crate::db::{Cx, Local};
use crate::eval::Ev;
use crate::remedy::{self, Remedy};
use crate::schema::short::{optional, positive, required};
use crate::schema::{BLANK, ComputedDef, KindDef, Only, Sign, Type};
use crate::settings::Settings;
use crate::show;
use crate::slots::{decl_of, find, lineage};
use crate::value::{Origin, Quantity, Range, Value};
use crate::{DeclId, Eval};
use cutwater_finding::Finding;
use cutwater_quantity::{CompoundUnit, Direction, Kind, Tol, Truth, parse_unit};
use cutwater_syntax::ast::{EntryKind, ExprKind, Number, Path};
use std::convert::Infallible;
use std::f64::consts::PI;
use std::sync::Arc;

codes! {
    /// Raised by `impeller`.
    EYE_SIZE = "CW1201" "eye-size" Error, "The eye or the ring's surface is not smaller than the impeller.",
        "Water enters at the eye and leaves at the outside diameter: the eye, and the surface the wear ring runs on, are smaller than the outside diameter. Perhaps two diameters are exchanged, or one is in another unit.",
        fires "impeller wheel {\n    outside_diameter = 9.25 in\n    eye_diameter = 9.5 in\n}\n", silent "impeller wheel {\n    outside_diameter = 9.25 in\n    eye_diameter = 5 in\n}\n";
    /// Raised by `impeller`.
    HUB_SIZE = "CW1202" "hub-size" Warning, "The surface the wear ring runs on is not larger than the eye.",
        "The wear ring runs on the outside of the wall round the eye, so `hub_diameter` is larger than `eye_diameter` by twice that wall. Perhaps the two are exchanged.",
        fires "impeller wheel {\n    outside_diameter = 9.25 in\n    hub_diameter = 4.9 in\n    eye_diameter = 5 in\n}\n", silent "impeller wheel {\n    outside_diameter = 9.25 in\n    hub_diameter = 5.5 in\n    eye_diameter = 5 in\n}\n";
    /// Raised by `impeller`.
    EXIT_WIDTH = "CW1203" "exit-width" Warning, "An exit width out of proportion to the diameter.",
        "Radial wheels have an exit width of roughly 2 to 25 % of their outside diameter (texts on centrifugal pumps, from memory); here 1.5 to 30 % passes. Outside it a digit or a unit is likely wrong: check whether it was meant in mm.",
        fires "impeller wheel {\n    outside_diameter = 9.25 in\n    exit_width = 8.6 in\n}\n", silent "impeller wheel {\n    outside_diameter = 9.25 in\n    exit_width = 0.86 in\n}\n";
    /// Raised by `impeller`.
    EXIT_BLOCKED = "CW1204" "exit-blocked" Error, "The vanes leave no room at the exit.",
        "Each vane takes its thickness divided by the sine of its angle out of the circumference. Together they take all of it: check the thickness, its unit, and the angle, which is measured from the tangent.",
        fires "impeller wheel {\n    outside_diameter = 9.25 in\n    exit_width = 0.86 in\n    vanes = 6\n    vane_exit_angle = 24 deg\n    vane_thickness = 2.5 in\n}\n",
        silent "impeller wheel {\n    outside_diameter = 9.25 in\n    exit_width = 0.86 in\n    vanes = 6\n    vane_exit_angle = 24 deg\n    vane_thickness = 0.25 in\n}\n";
    /// Raised by `impeller`.
    VANE_ANGLE = "CW1205" "vane-angle" Advice, "A vane exit angle out of the ordinary.",
        "Measured from the tangent, the exit angle of a radial wheel is usually 17 to 30°, most often 22.5 to 25° (texts on centrifugal pumps, from memory); here 15 to 40° passes. An angle measured from the radius is 90° less it.",
        fires "impeller wheel {\n    outside_diameter = 9.25 in\n    vane_exit_angle = 66 deg\n}\n", silent "impeller wheel {\n    outside_diameter = 9.25 in\n    vane_exit_angle = 24 deg\n}\n";
    /// Raised by `impeller`.
    VANE_COUNT = "CW1206" "vane-count" Advice, "A number of vanes out of the ordinary.",
        "Radial wheels for clean water usually have 5 to 7 vanes (texts on centrifugal pumps, from memory). Fewer leave the water badly guided, more block the eye.",
        fires "impeller wheel {\n    outside_diameter = 9.25 in\n    vanes = 12\n}\n", silent "impeller wheel {\n    outside_diameter = 9.25 in\n    vanes = 6\n}\n";
    /// Raised by `ring`.
    RING_TOUCHES = "CW1211" "ring-touches" Error, "A ring with no clearance: it touches what it runs on.",
        "A running ring needs a gap. Parts that touch at speed gall, seize, and may break: they are not to be assembled so. Check which diameter is which, and the digits.",
        fires "ring seal {\n    runs_on = 5.502 in\n    bore = 5.497 in\n}\n", silent "ring seal {\n    runs_on = 5.497 in\n    bore = 5.502 in\n}\n", fixes NeedsALook;
    /// Raised by `ring`.
    RING_MAY_TOUCH = "CW1212" "ring-may-touch" Warning, "Within their tolerances, ring and mating part may touch.",
        "The nominal sizes leave a gap, but parts at the ends of their tolerances do not. Tighten the part that contributes most, or open the nominal clearance.",
        fires "ring seal {\n    runs_on = 5.497 in ± 0.003\n    bore = 5.502 in ± 0.003\n}\n", silent "ring seal {\n    runs_on = 5.497 in ± 0.001\n    bore = 5.502 in ± 0.001\n}\n";
    /// Raised by `ring`.
    CLEARANCE_LIMIT = "CW1213" "clearance-limit" Error, "A ring's nominal clearance is outside its limits.",
        "The diametral clearance is the bore less the diameter it runs on. Too little, and the ring may touch; too much, and water leaks from discharge to suction, which costs flow, pressure and power. Change the bore or the limit.",
        fires "ring seal {\n    runs_on = 5.497 in\n    bore = 5.512 in\n    clearance_limit = 0.003 .. 0.007 in\n}\n", silent "ring seal {\n    runs_on = 5.497 in\n    bore = 5.502 in\n    clearance_limit = 0.003 .. 0.007 in\n}\n", fixes NeedsALook;
    /// Raised by `ring`.
    CLEARANCE_TIGHT = "CW1214" "clearance-within-tolerance" Warning, "A ring's clearance is inside its limits nominally but not over the whole tolerance.",
        "The nominal clearance keeps the limits, but parts at the ends of their tolerances do not. The finding shows by how much, the root-sum-square spread (what is likely where the sizes are independent), and which dimension contributes most: tighten that one first.",
        fires "ring seal {\n    runs_on = 5.497 in ± 0.001\n    bore = 5.502 in ± 0.002\n    clearance_limit = 0.003 .. 0.007 in\n}\n", silent "ring seal {\n    runs_on = 5.497 in ± 0.001\n    bore = 5.502 in ± 0.0005\n    clearance_limit = 0.003 .. 0.007 in\n}\n", fixes NeedsALook | ShowOnly;
    /// Raised by `ring`.
    CLEARANCE_UNUSUAL = "CW1215" "clearance-unusual" Advice, "A ring without stated limits whose clearance is out of the ordinary.",
        "Bronze rings of fire pumps are commonly set to 0.003 to 0.007 in on the diameter. That is common practice, for which no published support was found; running-clearance tables for process pumps ask for far more (0.017 in at 5 to 6 in diameter). The limits of the pump's maker go before both: state them as `clearance_limit`.",
        fires "ring seal {\n    runs_on = 5.497 in\n    bore = 5.514 in\n}\n", silent "ring seal {\n    runs_on = 5.497 in\n    bore = 5.502 in\n}\n";
    /// Raised by `ring`.
    RING_LOOSE = "CW1216" "ring-loose" Error, "A ring that is loose in its seat.",
        "A ring is held by being larger than its seat: 0.002 to 0.003 in on the diameter is a published shop rule, with pins or tack welds besides. A loose ring turns with the water, wears its seat and can come out.",
        fires "ring seal {\n    runs_on = 5.497 in\n    bore = 5.502 in\n    outside_diameter = 6.124 in\n    seat = 6.125 in\n}\n", silent "ring seal {\n    runs_on = 5.497 in\n    bore = 5.502 in\n    outside_diameter = 6.1285 in\n    seat = 6.125 in\n}\n";
    /// Raised by `ring`.
    RING_MAY_BE_LOOSE = "CW1217" "ring-may-be-loose" Warning, "Within its tolerances a ring may be loose in its seat.",
        "The nominal sizes press, but parts at the ends of their tolerances do not. Tighten the part that contributes most, or raise the nominal interference.",
        fires "ring seal {\n    runs_on = 5.497 in\n    bore = 5.502 in\n    outside_diameter = 6.127 in ± 0.002\n    seat = 6.125 in ± 0.001\n}\n", silent "ring seal {\n    runs_on = 5.497 in\n    bore = 5.502 in\n    outside_diameter = 6.127 in ± 0.0005\n    seat = 6.125 in ± 0.0005\n}\n";
    /// Raised by `ring`.
    RING_THICKNESS = "CW1218" "ring-thickness" Error, "A ring whose outside diameter is not larger than its bore.",
        "Nothing is left of such a ring. Perhaps two diameters are exchanged.",
        fires "ring seal {\n    runs_on = 5.497 in\n    bore = 5.502 in\n    outside_diameter = 5.4 in\n}\n", silent "ring seal {\n    runs_on = 5.497 in\n    bore = 5.502 in\n    outside_diameter = 6.1285 in\n}\n";
}

// ---- what the kinds share ---------------------------------------------------------------------------

/// A quantity that another value needs. `Err` holds what that value then is: `Unknown` or `Absent`.
pub(crate) fn need(cx: &mut Cx<'_>, d: DeclId, name: &str) -> Eval<Result<Quantity, Value>> {
    Ok(match cx.get(d, name)? {
        Value::Quantity(q) => Ok(q),
        Value::Unknown => Err(Value::Unknown),
        _ => Err(Value::Absent),
    })
}

/// Takes the value out of an `Eval<Result<T, Value>>`, or gives back what the property is without it.
macro_rules! given {
    ($e:expr) => {
        match $e? {
            Ok(v) => v,
            Err(v) => return Ok(v),
        }
    };
}
pub(crate) use given;

pub(crate) use crate::show::shown_in;

/// A finding with a number in the unit it is shown in.
pub(crate) fn with_number(
    f: Finding<Local>,
    what: &str,
    si: f64,
    kind: Kind,
    unit: Option<&Arc<CompoundUnit>>,
    settings: &Settings,
) -> Finding<Local> {
    let (value, symbol) = shown_in(si, kind, unit, settings);
    f.number(what, value, symbol)
}

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
            "Width between the shrouds at the vane exit; of a wheel with two eyes both sides together.",
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
        optional(
            "eyes",
            Type::Count(1, 2),
            "How many eyes it draws through: 2 for a double-suction wheel. One where it is not said.",
        ),
        optional(
            "vane_inlet_angle",
            positive(Kind::Angle),
            "Angle of the vane at its inlet, from the tangent.",
        ),
        optional(
            "vane_inlet_diameter",
            positive(Kind::Length),
            "Diameter at which the vanes begin, in the middle of the passage. That of the eye where it is not said.",
        ),
        optional(
            "inlet_width",
            positive(Kind::Length),
            "Width between the shrouds where the vanes begin, of each side of the wheel. Where it is not said, as wide as gives the eye's own area there.",
        ),
        optional("mass", positive(Kind::Mass), "Mass."),
        optional("material", Type::Ref(&["material"]), "What it is made of."),
    ],
    computed: &[
        ComputedDef {
            name: "exit_area",
            ty: Type::Quantity(Kind::Area, Sign::Positive),
            doc: "Area the water leaves through, round the wheel. Less what the vanes take, where `vane_thickness` is given.",
            formula: "(π · outside_diameter − vanes · vane_thickness / sin(vane_exit_angle)) · exit_width",
            source: "geometry",
            solved: false,
            hint: false,
            eval: exit_area,
        },
        ComputedDef {
            name: "eye_area",
            ty: Type::Quantity(Kind::Area, Sign::Positive),
            doc: "Area of the eye as a full circle, without a shaft through it.",
            formula: "π / 4 · eye_diameter²",
            source: "geometry",
            solved: false,
            hint: false,
            eval: eye_area,
        },
        ComputedDef {
            name: "diameter_ratio",
            ty: Type::Quantity(Kind::Ratio, Sign::Positive),
            doc: "Diameter of the eye as a share of the outside diameter.",
            formula: "eye_diameter / outside_diameter",
            source: "geometry",
            solved: false,
            hint: false,
            eval: diameter_ratio,
        },
    ],
    check: Some(check_impeller),
    ..BLANK
};

fn exit_area(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let outside = given!(need(cx, d, "outside_diameter"));
    let width = given!(need(cx, d, "exit_width"));
    let mut around = outside.value.scale(PI);
    let mut origin = outside.origin.with(width.origin);
    match need(cx, d, "vane_thickness")? {
        Err(Value::Absent) => {}
        Err(v) => return Ok(v),
        Ok(thickness) => {
            let vanes = given!(need(cx, d, "vanes"));
            let angle = given!(need(cx, d, "vane_exit_angle"));
            // The sine rises to a right angle and falls beyond it.
            let way = if angle.value.hi() <= 0.5 * PI {
                Direction::Rising
            } else if angle.value.lo() >= 0.5 * PI && angle.value.hi() < PI {
                Direction::Falling
            } else if angle.value.hi() < PI && !angle.value.is_toleranced() {
                Direction::Rising
            } else {
                return Ok(Value::Absent);
            };
            let Ok(sine) = Tol::monotone("sine", &[(&angle.value, way)], |v| {
                Ok::<f64, Infallible>(v.iter().map(|a| a.sin()).sum())
            });
            let Ok(taken) = thickness.value.mul(&vanes.value).div(&sine) else {
                return Ok(Value::Absent);
            };
            around = around.sub(&taken);
            origin = origin
                .with(thickness.origin)
                .with(vanes.origin)
                .with(angle.origin);
        }
    }
    if around.nominal() <= 0.0 {
        let place = cx.place(d, "vane_thickness");
        let settings = cx.settings();
        let whole = show::si(
            PI * outside.si(),
            Kind::Length,
            outside.unit.as_ref(),
            &settings,
        );
        let taken = PI * outside.si() - around.nominal();
        let taken = show::si(taken, Kind::Length, outside.unit.as_ref(), &settings);
        let other = cx.place(d, "vane_exit_angle");
        cx.report(
            Finding::new(
                &EXIT_BLOCKED,
                place,
                format!(
                    "the vanes of `{}` take {taken} of the circumference at the exit, which is {whole}",
                    cx.name(d)
                ),
            )
            .here("leaves no room for the water")
            .label(other, "thickness is divided by the sine of this angle")
            .help("check the thickness and its unit, and that the angle is from the tangent"),
        );
        return Ok(Value::Unknown);
    }
    Ok(Value::Quantity(
        Quantity::from_tol(Kind::Area, around.mul(&width.value)).origin(origin),
    ))
}

fn eye_area(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let eye = given!(need(cx, d, "eye_diameter"));
    let area = eye.value.mul(&eye.value).scale(0.25 * PI);
    Ok(Value::Quantity(
        Quantity::from_tol(Kind::Area, area).origin(eye.origin.with(eye.origin)),
    ))
}

fn diameter_ratio(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let eye = given!(need(cx, d, "eye_diameter"));
    let outside = given!(need(cx, d, "outside_diameter"));
    Ok(match eye.value.div(&outside.value) {
        Ok(r) => Value::Quantity(
            Quantity::from_tol(Kind::Ratio, r).origin(eye.origin.with(outside.origin)),
        ),
        Err(_) => Value::Unknown,
    })
}

fn check_impeller(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    let settings = cx.settings();
    let name = cx.name(d);
    let outside = cx.quantity(d, "outside_diameter")?;
    let eye = cx.quantity(d, "eye_diameter")?;
    let hub = cx.quantity(d, "hub_diameter")?;
    let say = |q: &Quantity| show::quantity(q, &settings);
    if let Some(outside) = &outside {
        for (field, what, q) in [
            ("eye_diameter", "eye", &eye),
            ("hub_diameter", "surface the ring runs on", &hub),
        ] {
            if let Some(q) = q
                && q.si() >= outside.si()
            {
                let place = cx.place(d, field);
                let other = cx.place(d, "outside_diameter");
                let f = Finding::new(
                    &EYE_SIZE,
                    place,
                    format!(
                        "the {what} of `{name}` is {}, not smaller than its outside diameter of {}",
                        say(q),
                        say(outside)
                    ),
                )
                .here("not smaller than the outside diameter")
                .label(other, format!("outside: {}", say(outside)))
                .help("check whether the two are exchanged, and their units");
                let unit = outside.unit.as_ref();
                let f = with_number(f, field, q.si(), Kind::Length, unit, &settings);
                let f = with_number(
                    f,
                    "outside_diameter",
                    outside.si(),
                    Kind::Length,
                    unit,
                    &settings,
                );
                cx.report(f);
            }
        }
        if let Some(width) = cx.quantity(d, "exit_width")? {
            let share = width.si() / outside.si();
            if !(0.015..=0.30).contains(&share) {
                let place = cx.place(d, "exit_width");
                let other = cx.place(d, "outside_diameter");
                cx.report(
                    Finding::new(
                        &EXIT_WIDTH,
                        place,
                        format!(
                            "the exit of `{name}` is {} wide, {:.1} % of its diameter of {}; 2 to 25 % is usual",
                            say(&width),
                            100.0 * share,
                            say(outside)
                        ),
                    )
                    .here("out of proportion")
                    .label(other, format!("outside: {}", say(outside)))
                    .help("check the digits and the unit")
                    .source("texts on centrifugal pumps (from memory)")
                    .number("width over diameter", 100.0 * share, "%"),
                );
            }
        }
    }
    if let (Some(hub), Some(eye)) = (&hub, &eye)
        && hub.si() <= eye.si()
    {
        let place = cx.place(d, "hub_diameter");
        let other = cx.place(d, "eye_diameter");
        let unit = hub.unit.as_ref();
        let f = Finding::new(
            &HUB_SIZE,
            place,
            format!(
                "the surface the ring runs on is {} in `{name}`, not larger than the eye of {}: no wall is left between them",
                say(hub),
                say(eye)
            ),
        )
        .here("not larger than the eye")
        .label(other, format!("eye: {}", say(eye)))
        .help("check whether the two are exchanged");
        let f = with_number(f, "hub_diameter", hub.si(), Kind::Length, unit, &settings);
        let f = with_number(f, "eye_diameter", eye.si(), Kind::Length, unit, &settings);
        cx.report(f);
    }
    if let Some(angle) = cx.quantity(d, "vane_exit_angle")? {
        let degrees = angle.si().to_degrees();
        // Decimal degrees turned to radians and back may miss a bound by rounding.
        if !(15.0 - 1e-9..=40.0 + 1e-9).contains(&degrees) {
            let place = cx.place(d, "vane_exit_angle");
            let mut f = Finding::new(
                &VANE_ANGLE,
                place,
                format!(
                    "the vanes of `{name}` leave at {} from the tangent; 17 to 30° is usual, and 15 to 40° passes here",
                    say(&angle)
                ),
            )
            .here("out of the ordinary")
            .source("texts on centrifugal pumps (from memory)")
            .number("vane_exit_angle", degrees, "°");
            if (15.0..=40.0).contains(&(90.0 - degrees)) {
                f = f.help(format!(
                    "if it was measured from the radius, it is {:.1}° from the tangent",
                    90.0 - degrees
                ));
            }
            cx.report(f);
        }
    }
    if let Some(vanes) = cx.quantity(d, "vanes")?
        && !(5.0..=7.0).contains(&vanes.si())
    {
        let place = cx.place(d, "vanes");
        cx.report(
            Finding::new(
                &VANE_COUNT,
                place,
                format!(
                    "`{name}` has {} {}; 5 to 7 is usual",
                    vanes.si(),
                    if vanes.si() == 1.0 { "vane" } else { "vanes" }
                ),
            )
            .here("out of the ordinary")
            .source("texts on centrifugal pumps (from memory)")
            .number("vanes", vanes.si(), ""),
        );
    }
    Ok(())
}

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
            "Axial length of the gap; of each gap where there are several.",
        ),
        optional(
            "gaps",
            Type::Count(2, 40),
            "How many gaps a labyrinth has in a row.",
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
    computed: &[
        ComputedDef {
            name: "clearance",
            ty: Type::Quantity(Kind::Length, Sign::Any),
            doc: "Diametral running clearance, new and cold: twice the gap on each side.",
            formula: "bore − runs_on",
            source: "geometry",
            solved: false,
            hint: true,
            eval: clearance,
        },
        ComputedDef {
            name: "radial_clearance",
            ty: Type::Quantity(Kind::Length, Sign::Any),
            doc: "Gap on each side with the rotor in the middle.",
            formula: "(bore − runs_on) / 2",
            source: "geometry",
            solved: false,
            hint: false,
            eval: radial_clearance,
        },
        ComputedDef {
            name: "interference",
            ty: Type::Quantity(Kind::Length, Sign::Any),
            doc: "Diametral interference of the ring in its seat, before pressing; below zero it is loose.",
            formula: "outside_diameter − seat",
            source: "geometry",
            solved: false,
            hint: false,
            eval: interference,
        },
        ComputedDef {
            name: "path_length",
            ty: Type::Quantity(Kind::Length, Sign::Positive),
            doc: "Length of all gaps together that the leak passes.",
            formula: "land_length · gaps; of a plain ring one gap, of a stepped ring two",
            source: "geometry",
            solved: false,
            hint: false,
            eval: path_length,
        },
    ],
    only: &[Only {
        names: &["gaps"],
        field: "form",
        words: &["labyrinth"],
    }],
    check: Some(check_ring),
    ..BLANK
};

/// The difference of two lengths, in the unit the first was written in.
fn difference(
    cx: &mut Cx<'_>,
    d: DeclId,
    larger: &str,
    smaller: &str,
) -> Eval<Result<Quantity, Value>> {
    let a = match need(cx, d, larger)? {
        Ok(q) => q,
        Err(v) => return Ok(Err(v)),
    };
    let b = match need(cx, d, smaller)? {
        Ok(q) => q,
        Err(v) => return Ok(Err(v)),
    };
    Ok(Ok(Quantity {
        kind: Kind::Length,
        value: a.value.sub(&b.value),
        unit: a.unit.or(b.unit),
        origin: a.origin.with(b.origin),
        gallon: None,
        fit: None,
    }))
}

fn clearance(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    Ok(Value::Quantity(given!(difference(
        cx, d, "bore", "runs_on"
    ))))
}

fn radial_clearance(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let q = given!(difference(cx, d, "bore", "runs_on"));
    let value = q.value.scale(0.5);
    Ok(Value::Quantity(Quantity { value, ..q }))
}

fn interference(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    Ok(Value::Quantity(given!(difference(
        cx,
        d,
        "outside_diameter",
        "seat"
    ))))
}

fn path_length(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let land = given!(need(cx, d, "land_length"));
    let (gaps, origin) = match cx.choice(d, "form")? {
        Some("plain") => (1.0, land.origin),
        Some("stepped") => (2.0, land.origin),
        Some(_) => {
            let gaps = given!(need(cx, d, "gaps"));
            (gaps.si(), land.origin.with(gaps.origin))
        }
        None => return Ok(Value::Absent),
    };
    Ok(Value::Quantity(Quantity {
        value: land.value.scale(gaps),
        origin: origin.with(Origin::Computed),
        ..land
    }))
}

/// How a field is written where it is a plain path (`first.hub_diameter`), and the place of what it names.
fn written_path(cx: &mut Cx<'_>, d: DeclId, field: &str) -> Eval<Option<(String, Option<Local>)>> {
    for (owner, parsed) in lineage(cx, d)? {
        let Some(entry) = decl_of(&parsed.item).and_then(|x| find(x, field)) else {
            continue;
        };
        let EntryKind::Field { value, .. } = &entry.kind else {
            return Ok(None);
        };
        let ExprKind::Path(path) = &value.kind else {
            return Ok(None);
        };
        let mut place = None;
        if let Some((last, front @ [first, ..])) = path.names.split_last() {
            let before = cx.findings.len();
            let of = Path {
                names: front.to_vec(),
                span: first.span,
            };
            let target = Ev { cx, owner }.path(&of, true)?;
            cx.findings.truncate(before);
            if let Value::Decl(t) = target
                && cx
                    .kind(t)
                    .is_some_and(|(_, s)| s.find(&last.text).is_some())
            {
                place = Some(cx.place(t, &last.text));
            }
        }
        return Ok(Some((path.text().to_string(), place)));
    }
    Ok(None)
}

/// Two parts of a fit and how they are called in messages.
struct Fit {
    /// The difference.
    gap: Quantity,
    /// The larger diameter of a running fit, the ring's of a press fit.
    ours: Quantity,
    our_field: &'static str,
    our_name: String,
    our_place: Local,
    their_field: &'static str,
    their_name: String,
    their_place: Local,
    /// Where the other diameter is written itself.
    target: Option<Local>,
}

impl Fit {
    fn read(
        cx: &mut Cx<'_>,
        d: DeclId,
        our_field: &'static str,
        their_field: &'static str,
    ) -> Eval<Option<Self>> {
        let (Ok(gap), Some(ours)) = (
            difference(cx, d, our_field, their_field)?,
            cx.quantity(d, our_field)?,
        ) else {
            return Ok(None);
        };
        let me = cx.name(d);
        let (their_name, target) = match written_path(cx, d, their_field)? {
            Some((text, place)) => (text, place),
            None => (format!("{me}.{their_field}"), None),
        };
        Ok(Some(Self {
            gap,
            ours,
            our_field,
            our_name: format!("{me}.{our_field}"),
            our_place: cx.place(d, our_field),
            their_field,
            their_name,
            their_place: cx.place(d, their_field),
            target,
        }))
    }

    /// The finding with both diameters labelled and the numbers of the difference.
    fn labelled(&self, mut f: Finding<Local>, what: &str, settings: &Settings) -> Finding<Local> {
        let ours = show::with_limits(&self.ours, settings);
        if f.place != self.our_place {
            f = f.label(self.our_place, format!("{}: {ours}", self.our_field));
        }
        f = f.label(
            self.their_place,
            match self.their_field {
                "runs_on" => "what it runs on",
                _ => "the other part of the fit",
            },
        );
        if let Some(t) = self.target {
            f = f.label(t, format!("`{}`", self.their_name));
        }
        let unit = self.gap.unit.as_ref();
        f = with_number(f, what, self.gap.si(), Kind::Length, unit, settings);
        if self.gap.value.is_toleranced() {
            let (lo, hi) = (self.gap.value.lo(), self.gap.value.hi());
            f = with_number(f, "worst case low", lo, Kind::Length, unit, settings);
            f = with_number(f, "worst case high", hi, Kind::Length, unit, settings);
        }
        f
    }

    /// In words, the root-sum-square spread with the dimension that contributes most, that share alone, and its name.
    fn spread(&self, settings: &Settings) -> Option<(String, String, String)> {
        let v = &self.gap.value;
        let most = v.contributors().into_iter().next()?;
        let name = if self.ours.value.depends_on(most.input) {
            self.our_name.clone()
        } else {
            self.their_name.clone()
        };
        let rss = v.rss();
        let range = show::range(
            &Range {
                kind: Kind::Length,
                low: rss.low,
                high: rss.high,
                unit: self.gap.unit.clone(),
            },
            settings,
        );
        let share = format!("{:.0} % of it from `{name}`", 100.0 * most.share);
        Some((format!("root-sum-square {range}, {share}"), share, name))
    }
}

/// Rounding that decimal sizes in binary can make; a size this close to a limit keeps it.
fn slack(gap: &Tol, limit: f64) -> f64 {
    4.0 * gap.rounding() + 1e-12 * limit.abs()
}

fn check_ring(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    if let Some(fit) = Fit::read(cx, d, "bore", "runs_on")? {
        check_clearance(cx, d, &fit)?;
    }
    if let Some(fit) = Fit::read(cx, d, "outside_diameter", "seat")? {
        check_press(cx, d, &fit);
    }
    if let (Some(outside), Some(bore)) =
        (cx.quantity(d, "outside_diameter")?, cx.quantity(d, "bore")?)
        && outside.si() <= bore.si()
    {
        let settings = cx.settings();
        let place = cx.place(d, "outside_diameter");
        let other = cx.place(d, "bore");
        let unit = outside.unit.as_ref();
        let f = Finding::new(
            &RING_THICKNESS,
            place,
            format!(
                "`{}` has an outside diameter of {} and a bore of {}: nothing is left of it",
                cx.name(d),
                show::quantity(&outside, &settings),
                show::quantity(&bore, &settings)
            ),
        )
        .here("not larger than the bore")
        .label(other, format!("bore: {}", show::quantity(&bore, &settings)))
        .help("check whether the two are exchanged");
        let f = with_number(
            f,
            "outside_diameter",
            outside.si(),
            Kind::Length,
            unit,
            &settings,
        );
        let f = with_number(f, "bore", bore.si(), Kind::Length, unit, &settings);
        cx.report(f);
    }
    Ok(())
}

fn check_clearance(cx: &mut Cx<'_>, d: DeclId, fit: &Fit) -> Eval<()> {
    let settings = cx.settings();
    let name = cx.name(d);
    let gap = &fit.gap.value;
    let unit = fit.gap.unit.as_ref();
    let shown = show::with_limits(&fit.gap, &settings);
    let length = |si: f64| show::si(si, Kind::Length, unit, &settings);
    let zero = slack(gap, 0.0);
    let limit = match cx.get(d, "clearance_limit")? {
        Value::Range(r) => Some(r),
        Value::Absent => None,
        _ => return Ok(()),
    };
    if gap.nominal() <= zero {
        let f = Finding::new(
            &RING_TOUCHES,
            fit.our_place,
            if gap.nominal() < -zero {
                format!(
                    "`{name}` is {} smaller than what it runs on: it cannot run",
                    length(-gap.nominal())
                )
            } else {
                format!("`{name}` has no clearance to what it runs on: it touches")
            },
        )
        .here("not larger than what it runs on")
        .help("bore the ring larger, or check which diameter is which")
        .source("a running joint needs a gap");
        let f = fit.labelled(f, "clearance", &settings);
        let mended = limit.and_then(|l| bored_to_the_middle(cx, d, gap, &l));
        cx.report(remedy::with(f, mended));
        return Ok(());
    }
    let may_touch = gap.lo() <= zero;
    let spread = fit.spread(&settings);
    let likely = spread
        .as_ref()
        .map_or(String::new(), |s| format!("; {}", s.0));
    let Some(limit) = limit else {
        if may_touch {
            let mut f = Finding::new(
                &RING_MAY_TOUCH,
                fit.our_place,
                format!(
                    "`{name}` runs with {shown} of diametral clearance: within the tolerances it may touch{likely}"
                ),
            )
            .here("may touch within its tolerance")
            .source("a running joint needs a gap");
            if let Some((_, _, most)) = &spread {
                f = f.help(format!(
                    "tighten `{most}` first, or open the nominal clearance"
                ));
            }
            cx.report(fit.labelled(f, "clearance", &settings));
        } else {
            unusual(cx, d, fit);
        }
        return Ok(());
    };
    let limits = show::range(&limit, &settings);
    let limit_place = cx.place(d, "clearance_limit");
    let (below, above) = (
        limit.low - slack(gap, limit.low),
        limit.high + slack(gap, limit.high),
    );
    let window = Window {
        low: limit.low,
        high: limit.high,
        strict: false,
        slack: slack(gap, limit.high),
    };
    let budget = Budget::of(gap, &window);
    let advice = budget::advice(cx, gap, Kind::Length, unit, &window, &budget)?;
    let shown = budget::given(&fit.gap, &window, &settings);
    let numbered = |f: Finding<Local>| {
        let f = f.label(limit_place, format!("the limit: {limits}"));
        let f = fit.labelled(f, "clearance", &settings);
        let f = with_number(f, "lower limit", limit.low, Kind::Length, unit, &settings);
        with_number(f, "upper limit", limit.high, Kind::Length, unit, &settings)
    };
    if gap.nominal() < below || gap.nominal() > above {
        let (by, side, cure) = if gap.nominal() < below {
            (limit.low - gap.nominal(), "below", "bore the ring larger")
        } else {
            (gap.nominal() - limit.high, "above", "bore the ring smaller")
        };
        let touch = if may_touch { ", and it may touch" } else { "" };
        let f = Finding::new(
            &CLEARANCE_LIMIT,
            fit.our_place,
            format!(
                "`{name}` runs with {shown} of diametral clearance, {} {side} its limits of {limits}{touch}",
                length(by)
            ),
        )
        .here(format!("{} {side} the limit", length(by)))
        .help(match advice.help {
            Some(help) => format!("{cure}; {help}"),
            None => cure.to_owned(),
        })
        .source("`clearance_limit` of this ring");
        let mended = bored_to_the_middle(cx, d, gap, &limit);
        cx.report(remedy::with(numbered(f), mended));
        return Ok(());
    }
    let mut sides = Vec::new();
    if gap.lo() < below {
        sides.push(format!(
            "{} below the lower limit",
            length(limit.low - gap.lo())
        ));
    }
    if gap.hi() > above {
        sides.push(format!(
            "{} above the upper limit",
            length(gap.hi() - limit.high)
        ));
    }
    if sides.is_empty() {
        return Ok(());
    }
    let sides = sides.join(" and ");
    let touch = if may_touch { ", where it touches" } else { "" };
    let most = spread
        .as_ref()
        .map_or(String::new(), |(_, share, _)| format!(", {share}"));
    let likely = budget::spread(&fit.gap, &window, &settings);
    let message = if budget.verdict == Verdict::Spread {
        format!(
            "`{name}` runs with {shown} of diametral clearance: within {limits} nominally, but not by root-sum-square ({likely}{most}); its worst case is {sides}{touch}"
        )
    } else {
        format!(
            "`{name}` runs with {shown} of diametral clearance: within {limits} nominally and by root-sum-square ({likely}{most}), but its worst case is {sides}{touch}"
        )
    };
    let mut f = Finding::new(&CLEARANCE_TIGHT, fit.our_place, message)
        .here(sides)
        .source("`clearance_limit` of this ring");
    f.help = advice.help;
    let rss = gap.rss();
    let f = numbered(f);
    let f = with_number(
        f,
        "root-sum-square low",
        rss.low,
        Kind::Length,
        unit,
        &settings,
    );
    let f = with_number(
        f,
        "root-sum-square high",
        rss.high,
        Kind::Length,
        unit,
        &settings,
    );
    let mended = if gap.hi() - gap.lo() <= limit.high - limit.low {
        bored_to_the_middle(cx, d, gap, &limit)
    } else {
        limit_widened(cx, d, gap, &limit)
    };
    cx.report(remedy::with(f, mended));
    Ok(())
}

/// The number a field of this ring is, where it is written here as one with a unit.
fn written_number(cx: &mut Cx<'_>, d: DeclId, field: &str) -> Option<Number> {
    let parsed = cx.item(d);
    let entry = decl_of(&parsed.item).and_then(|x| find(x, field))?;
    match &entry.kind {
        EntryKind::Field { value, .. } => match &value.kind {
            ExprKind::Number(n) if n.unit.is_some() => Some((**n).clone()),
            _ => None,
        },
        _ => None,
    }
}

/// Bores the ring so that the worst cases of its clearance lie as far inside one limit as inside the other.
fn bored_to_the_middle(cx: &mut Cx<'_>, d: DeclId, gap: &Tol, limit: &Range) -> Option<Remedy> {
    let n = written_number(cx, d, "bore")?;
    let unit = parse_unit(&n.unit.as_ref()?.text).ok()?;
    let by = 0.5 * (limit.low + limit.high) - 0.5 * (gap.lo() + gap.hi());
    let bore = unit.from_si(unit.to_si(n.value) + by);
    // As fine as it is written, and finer only where the limits ask for it.
    let written = remedy::decimals(cx, d, &n);
    let inside = |text: &str| {
        text.parse::<f64>().is_ok_and(|v| {
            let gap = gap.nominal() + unit.to_si(v) - unit.to_si(n.value);
            v > 0.0 && gap >= limit.low && gap <= limit.high
        })
    };
    let new = (written..written + 4)
        .map(|places| format!("{bore:.places$}"))
        .find(|t| inside(t))?;
    if new.parse() == Ok(n.value) {
        return None;
    }
    Some(Remedy::look(
        format!(
            "bore the ring to `{new} {}`, in the middle of its limits",
            n.unit.as_ref()?.text
        ),
        vec![(Local::Span(d, n.digits), new)],
    ))
}

/// The limits that would hold over the whole tolerance. A hint alone: limits are the maker's and not made to fit a part.
fn limit_widened(cx: &mut Cx<'_>, d: DeclId, gap: &Tol, limit: &Range) -> Option<Remedy> {
    let unit = limit.unit.as_ref()?;
    let (low, high) = (
        unit.from_si(limit.low.min(gap.lo())),
        unit.from_si(limit.high.max(gap.hi())),
    );
    // Outwards, to a tenth of the usual step of the unit; rounding of the sizes themselves is no reason to widen.
    let step = 10f64.powi(-(significant_places(unit)));
    let low = (low / step + 1e-6).floor() * step;
    let high = (high / step - 1e-6).ceil() * step;
    let places = significant_places(unit) as usize;
    let new = format!("{low:.places$} .. {high:.places$} {}", unit.ascii());
    Some(Remedy::hint(
        format!("widen the limits to `{new}`, if the ring's maker agrees"),
        vec![(cx.place(d, "clearance_limit"), new)],
    ))
}

/// How many decimals a clearance has in a unit: a ten-thousandth of an inch, about a micrometre.
fn significant_places(unit: &CompoundUnit) -> i32 {
    (5.6 + unit.step_to_si(1.0).log10()).round().clamp(0.0, 9.0) as i32
}

/// Compares a ring without limits with common practice.
fn unusual(cx: &mut Cx<'_>, d: DeclId, fit: &Fit) {
    // 0.003 to 0.007 in on the diameter: common practice for bronze rings of fire pumps, no published support found.
    const LOW: f64 = 0.003 * 0.0254;
    const HIGH: f64 = 0.007 * 0.0254;
    let gap = &fit.gap.value;
    if gap.nominal() >= LOW - slack(gap, LOW) && gap.nominal() <= HIGH + slack(gap, HIGH) {
        return;
    }
    let settings = cx.settings();
    let unit = fit.gap.unit.as_ref();
    let usual = show::range(
        &Range {
            kind: Kind::Length,
            low: LOW,
            high: HIGH,
            unit: fit.gap.unit.clone(),
        },
        &settings,
    );
    let f = Finding::new(
        &CLEARANCE_UNUSUAL,
        fit.our_place,
        format!(
            "`{}` runs with {} of diametral clearance; bronze rings of fire pumps are commonly set to {usual}, and this ring states no limits of its own",
            cx.name(d),
            show::with_limits(&fit.gap, &settings)
        ),
    )
    .here("out of the ordinary")
    .help(format!(
        "state the maker's limits: `clearance_limit = {}`",
        "… .. …"
    ))
    .source("common practice of the fire service; no published support found");
    let f = fit.labelled(f, "clearance", &settings);
    let f = with_number(f, "usual from", LOW, Kind::Length, unit, &settings);
    let f = with_number(f, "usual to", HIGH, Kind::Length, unit, &settings);
    cx.report(f);
}

fn check_press(cx: &mut Cx<'_>, d: DeclId, fit: &Fit) {
    let settings = cx.settings();
    let name = cx.name(d);
    let gap = &fit.gap.value;
    let unit = fit.gap.unit.as_ref();
    let source = "a ring is held by interference; 0.002 to 0.003 in on the diameter, pinned besides, is a published shop rule";
    match Tol::exact(0.0).less_than(gap) {
        Truth::Yes => {}
        _ if gap.nominal() <= slack(gap, 0.0) => {
            let f = Finding::new(
                &RING_LOOSE,
                fit.our_place,
                if gap.nominal() < -slack(gap, 0.0) {
                    format!(
                        "`{name}` is {} smaller than its seat: it is loose",
                        show::si(-gap.nominal(), Kind::Length, unit, &settings)
                    )
                } else {
                    format!("`{name}` is no larger than its seat: it is loose")
                },
            )
            .here("not larger than the seat")
            .help("make the ring larger or the seat smaller, so that the body grips it")
            .source(source);
            cx.report(fit.labelled(f, "interference", &settings));
        }
        _ => {
            let spread = fit.spread(&settings);
            let likely = spread
                .as_ref()
                .map_or(String::new(), |s| format!("; {}", s.0));
            let mut f = Finding::new(
                &RING_MAY_BE_LOOSE,
                fit.our_place,
                format!(
                    "`{name}` has {} of interference in its seat: within the tolerances it may be loose{likely}",
                    show::with_limits(&fit.gap, &settings)
                ),
            )
            .here("may be loose within its tolerance")
            .source(source);
            if let Some((_, _, most)) = &spread {
                f = f.help(format!(
                    "tighten `{most}` first, or raise the nominal interference"
                ));
            }
            cx.report(fit.labelled(f, "interference", &settings));
        }
    }
}
