//! The pump with everything closed: how fast its water heats, and the least flow that keeps it cool.
//!
//! A shut pump turns all of its shaft power into heat. Hot water scalds, flashes to steam where it is let out, and spoils
//! seals: what is computed here is a caution, never leave to run a pump shut.
//!
//! Invariants: power is only read where it was tested down to no flow; the metal and the air take no heat here, so that the
//! real water heats more slowly, if anything.
//!
//! What it does not do: circulation lines, least flow for quiet running (a share of the best flow that is the maker's to say).

use super::super::rotor::{given, need, with_number};
use super::super::surroundings::{nameless, water_at};
use super::{Source, joined, source};
use crate::codes::codes;
use crate::db::Cx;
use crate::schema::ComputedDef;
use crate::schema::short::positive;
use crate::value::{Origin, Quantity, Value};
use crate::{DeclId, Eval, show};
use cutwater_finding::Finding;
use cutwater_hydraulics::affinity;
use cutwater_hydraulics::pump::PumpCurve;
use cutwater_hydraulics::water::Water;
use cutwater_quantity::Kind;

codes! {
    /// Raised by `pump`.
    CLOSED_HEATS = "CW1317" "closed-pump-heats" Advice, "With everything closed the water in the pump is soon scalding.",
        "All the power a shut pump takes goes into the little water it holds: 30 hp into 10 gal gives 15 °F a minute. At 140 °F (60 °C) water burns skin in 6 s (published), and above 212 °F (100 °C) it flashes to steam where it is let out. Keep water moving: open a discharge, the tank-to-pump circulation or a bleeder, as the pump's maker and local procedure say. Where a pump ran shut, let the water out to a drain away from hands and faces, and slowly.\n\nThe time given is for the speed of the curve; heat taken by metal and air is left out.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    water_volume = 8 gal\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    water_volume = 60 gal\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n";
}

/// Where water burns skin in 6 s, K: 140 °F (published, consumer-safety wording).
const SCALDS: f64 = 333.15;

/// A pump that scalds sooner than this when shut is spoken of, s. Ten minutes are soon gone on a fireground; common practice
/// is not to leave a pump shut for more than a few.
const SOON: f64 = 600.0;

pub(super) const SHUTOFF_POWER: ComputedDef = ComputedDef {
    name: "shutoff_power",
    ty: positive(Kind::Power),
    doc: "Power taken with all discharges shut, at the speed of the curve; of a changeover pump in series (pressure). All of it heats the water.",
    formula: "power at no flow",
    source: "the tested row with no flow",
    solved: false,
    hint: false,
    eval: shutoff_power,
};

pub(super) const HEATING_PER_MINUTE: ComputedDef = ComputedDef {
    name: "heating_per_minute",
    ty: positive(Kind::TemperatureDifference),
    doc: "How much its water heats in one minute with everything closed, at the speed of the curve; heat taken by metal and air is left out. It can scald: keep water moving.",
    formula: "shutoff_power · 60 s / (water_volume · density · specific heat)",
    source: "heat balance",
    solved: false,
    hint: false,
    eval: heating_per_minute,
};

pub(super) const SCALD_TIME: ComputedDef = ComputedDef {
    name: "scald_time",
    ty: positive(Kind::Time),
    doc: "How long it may be closed, at the speed of the curve, until its water is at 140 °F (60 °C), which burns skin in 6 s. A caution, not an allowance.",
    formula: "(140 °F − temperature of the water) / heating_per_minute",
    source: "heat balance; 140 °F in 6 s from consumer-safety wording (published)",
    solved: false,
    hint: false,
    eval: scald_time,
};

pub(super) const MINIMUM_FLOW: ComputedDef = ComputedDef {
    name: "minimum_flow",
    ty: positive(Kind::Flow),
    doc: "Least flow that keeps the water from heating by more than temperature_rise_limit on its way through, at the speed of the curve; of a changeover pump in series. For quiet running makers ask for more, often a quarter to a half of the best flow (common practice).",
    formula: "the flow q with q = power(q) / (density · (specific heat · temperature_rise_limit + g · head(q)))",
    source: "heat balance",
    solved: false,
    hint: false,
    eval: minimum_flow,
};

/// A pump with a changeover valve is looked at in series, where its power and pressure at no flow are highest.
const SHUT: Option<&str> = Some("series");

/// The water pumped, how much denser it is than plain water, and whether it was stated.
fn water(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<(Water, f64, Origin), Value>> {
    let Some(w) = nameless(cx, d, "water")? else {
        const SIXTY_FAHRENHEIT: f64 = (60.0 + 459.67) / 1.8;
        return Ok(Water::at(SIXTY_FAHRENHEIT, 101_325.0)
            .map(|w| (w, 1.0, Origin::Assumed))
            .map_err(|_| Value::Unknown));
    };
    Ok(match (water_at(cx, w)?, cx.si(w, "relative_density")?) {
        (Some((water, origin)), Some(relative)) => Ok((water, relative, origin)),
        _ => Err(Value::Unknown),
    })
}

/// The curve with power, where that was tested.
fn with_power(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<(PumpCurve, Source), Value>> {
    let source = match source(cx, d, SHUT)? {
        Ok(s) if s.table.has("power") => s,
        Ok(_) => return Ok(Err(Value::Absent)),
        Err(v) => return Ok(Err(v)),
    };
    Ok(joined(&source, Some("power"))
        .map(|c| (c, source))
        .ok_or(Value::Absent))
}

fn shutoff_power(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (curve, source) = given!(with_power(cx, d));
    Ok(match curve.power(0.0, curve.tested_speed()) {
        // A row without power is reported.
        Ok(p) if p > 0.0 => Value::Quantity(source.read(Kind::Power, p, "power")),
        _ => Value::Absent,
    })
}

fn heating_per_minute(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let volume = given!(need(cx, d, "water_volume"));
    let power = given!(need(cx, d, "shutoff_power"));
    let (water, relative, origin) = given!(water(cx, d));
    let mass = volume.si() * water.density * relative;
    let rate = affinity::shut_off_heating(power.si(), mass, water.specific_heat, 0.0, 0.0);
    Ok(match rate {
        Ok(rate) => Value::Quantity(
            Quantity::computed(Kind::TemperatureDifference, 60.0 * rate)
                .origin(power.origin.with(volume.origin).with(origin)),
        ),
        Err(_) => Value::Unknown,
    })
}

fn scald_time(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let heating = given!(need(cx, d, "heating_per_minute"));
    let (water, _, _) = given!(water(cx, d));
    let rise = SCALDS - water.temperature;
    if rise <= 0.0 {
        return Ok(Value::Absent);
    }
    Ok(Value::Quantity(
        Quantity::computed(Kind::Time, 60.0 * rise / heating.si()).origin(heating.origin),
    ))
}

fn minimum_flow(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (curve, source) = given!(with_power(cx, d));
    let limit = given!(need(cx, d, "temperature_rise_limit"));
    let (water, relative, origin) = given!(water(cx, d));
    let speed = curve.tested_speed();
    let density = water.density * relative;
    // How much flow is missing where it falls short.
    let short = |q: f64| {
        let power = curve.power(q, speed).ok().filter(|p| *p > 0.0)?;
        let head = affinity::head_of_pressure(curve.rise(q, speed).ok()?.max(0.0), density).ok()?;
        let least =
            affinity::least_flow_for_heating(power, head, limit.si(), density, water.specific_heat);
        Some(least.ok()? - q)
    };
    let Ok((low, high)) = curve.domain(speed) else {
        return Ok(Value::Absent);
    };
    let (mut a, mut b) = (low, high);
    match (short(a), short(b)) {
        (Some(x), Some(y)) if x > 0.0 && y <= 0.0 => {}
        // The least flow lies off the tested flows.
        _ => return Ok(Value::Absent),
    }
    for _ in 0..100 {
        let mid = 0.5 * (a + b);
        match short(mid) {
            Some(x) if x > 0.0 => a = mid,
            Some(_) => b = mid,
            None => return Ok(Value::Absent),
        }
    }
    let mut q = source.read(Kind::Flow, b, "flow");
    q.origin = q.origin.with(origin).with(limit.origin);
    Ok(Value::Quantity(q))
}

/// Says so where a shut pump scalds soon.
pub(super) fn check_closed(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    let (Ok(time), Ok(power), Ok(heating), Ok(volume)) = (
        need(cx, d, "scald_time")?,
        need(cx, d, "shutoff_power")?,
        need(cx, d, "heating_per_minute")?,
        need(cx, d, "water_volume")?,
    ) else {
        return Ok(());
    };
    let (Ok((curve, source)), Ok((water, _, _))) = (with_power(cx, d)?, water(cx, d)?) else {
        return Ok(());
    };
    if time.si() >= SOON {
        return Ok(());
    }
    let settings = cx.settings();
    let speed_unit = source.table.at.as_ref().and_then(|a| a.unit.clone());
    let speed = show::si(
        curve.tested_speed(),
        Kind::RotationalSpeed,
        speed_unit.as_ref(),
        &settings,
    );
    let place = cx.place(d, "water_volume");
    let at_table = cx.place(d, source.name);
    let temperature = |t: f64| show::si(t, Kind::Temperature, None, &settings);
    let f = Finding::new(
        &CLOSED_HEATS,
        place,
        format!(
            "with everything closed at {speed}, {} heat the {} in `{}` by {} a minute: from {} to a scalding {} in {:.1} min",
            show::quantity(&power, &settings),
            show::quantity(&volume, &settings),
            cx.name(d),
            show::quantity(&heating, &settings),
            temperature(water.temperature),
            temperature(SCALDS),
            time.si() / 60.0
        ),
    )
    .here("heats fast when shut")
    .label(at_table, format!("{} at no flow", show::quantity(&power, &settings)))
    .help("keep water moving: open a discharge, a bleeder or the circulation to the tank; let hot water out to a drain, away from people")
    .source("heat balance; 140 °F burns skin in 6 s (published)")
    .number("time to scalding", time.si() / 60.0, "min");
    let f = with_number(
        f,
        "heating in a minute",
        heating.si(),
        Kind::TemperatureDifference,
        None,
        &settings,
    );
    cx.report(f);
    Ok(())
}
