//! What is round the pump and what it is made of: `site`, `water`, `material`.

use super::rotor::with_number;
use crate::codes::codes;
use crate::db::Cx;
use crate::schema::short::{default, not_negative, optional, positive, required, signed};
use crate::schema::{BLANK, ComputedDef, KindDef, Type};
use crate::value::{Origin, Quantity, Value};
use crate::{DeclId, Eval};
use cutwater_finding::{FileId, Finding};
use cutwater_hydraulics::atmosphere::pressure_at_altitude;
use cutwater_hydraulics::water::{Water, WaterError};
use cutwater_quantity::{Direction, Kind, Tol};

codes! {
    /// Raised by `water`.
    WATER_RANGE = "CW1101" "water-temperature" Error, "Water that is not liquid, or outside the formulas.",
        "Properties of water are computed for liquid water from 0 to 100 °C. A fire pump's test water is 35 to 90 °F (NFPA 1901, from memory; check the edition in force).",
        fires "water { temperature = 250 degF }\n", silent "water { temperature = 62 degF }\n";
    /// Raised by `site`.
    SITE_RANGE = "CW1102" "site-altitude" Error, "An altitude outside the standard atmosphere's formula.",
        "Atmospheric pressure is computed by the 1976 standard atmosphere's lowest layer, from 5 km below to 11 km above sea level. A barometer reading, where given, wins.",
        fires "site { altitude = 90000 ft }\n", silent "site { altitude = 820 ft }\n";
    /// Raised by `site`.
    BAROMETER = "CW1103" "barometer-corrected" Warning, "Barometer and altitude do not go together.",
        "The standard atmosphere falls by about 1 inHg for each 1000 ft of the first few thousand. Weather moves a barometer by less than 2 inHg; more than that against the altitude means that the reading is corrected to sea level, as weather reports are, or that one of the two is wrong. The field takes the pressure at the site itself, not corrected.",
        fires "site {\n    altitude = 5280 ft\n    barometer = 29.9 inHg\n}\n", silent "site {\n    altitude = 5280 ft\n    barometer = 24.6 inHg\n}\n";
}

/// Where the pump stands.
pub static SITE: KindDef = KindDef {
    word: "site",
    doc: "Where the rig stands: altitude or barometer, and the air's temperature. Without a name it holds for the whole file.",
    unnamed: true,
    fields: &[
        default(
            "altitude",
            signed(Kind::Length),
            "0 ft",
            "sea level",
            "Height above sea level.",
        ),
        optional(
            "barometer",
            positive(Kind::BarometricPressure),
            "Reading of a barometer at the site, not corrected to sea level. It wins over the altitude.",
        ),
        optional(
            "air_temperature",
            signed(Kind::Temperature),
            "Temperature of the air.",
        ),
    ],
    computed: &[ComputedDef {
        name: "atmospheric_pressure",
        ty: Type::Quantity(Kind::AbsolutePressure, crate::schema::Sign::Positive),
        doc: "Pressure of the air at the site.",
        formula: "barometer, else 101325 Pa · (1 − 0.0065 K/m · H / 288.15 K)^5.2559",
        source: "U.S. Standard Atmosphere 1976 (ISO 2533)",
        solved: false,
        hint: true,
        eval: atmospheric_pressure,
    }],
    check: Some(check_site),
    ..BLANK
};

/// Compares a barometer reading with the altitude, where both are stated.
fn check_site(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    // How far weather moves a barometer, generously; record highs and lows apart (from memory).
    const WEATHER: f64 = 2.0 * INCH_OF_MERCURY;
    const INCH_OF_MERCURY: f64 = 3_386.389;
    let (Some(barometer), Some(altitude)) =
        (cx.quantity(d, "barometer")?, cx.quantity(d, "altitude")?)
    else {
        return Ok(());
    };
    if altitude.origin == Origin::Assumed {
        return Ok(());
    }
    let (Ok(standard), Ok(sea)) = (
        pressure_at_altitude(altitude.si()),
        pressure_at_altitude(0.0),
    ) else {
        // An altitude outside the formula: the barometer wins, and nothing can be compared.
        return Ok(());
    };
    let off = barometer.si() - standard;
    if off.abs() <= WEATHER {
        return Ok(());
    }
    let settings = cx.settings();
    let unit = barometer.unit.as_ref();
    let text = |si: f64| crate::show::si(si, Kind::BarometricPressure, unit, &settings);
    let place = cx.place(d, "barometer");
    let other = cx.place(d, "altitude");
    let corrected = (barometer.si() - sea).abs() <= WEATHER;
    let f = Finding::new(
        &BAROMETER,
        place,
        format!(
            "the barometer reads {}, {} {} the standard atmosphere's {} at {}{}",
            text(barometer.si()),
            text(off.abs()),
            if off > 0.0 { "above" } else { "below" },
            text(standard),
            crate::show::quantity(&altitude, &settings),
            if corrected {
                ": it is likely corrected to sea level"
            } else {
                ""
            }
        ),
    )
    .here(if corrected {
        "likely corrected to sea level"
    } else {
        "does not go with the altitude"
    })
    .label(other, format!("here the standard is {}", text(standard)))
    .help(if corrected {
        format!(
            "read the barometer at the site without correction; this one would read about {}",
            text(barometer.si() * standard / sea)
        )
    } else {
        "check both, and their units".to_owned()
    })
    .source("U.S. Standard Atmosphere 1976; weather moves a barometer by less than 2 inHg (from memory)");
    let f = with_number(
        f,
        "barometer",
        barometer.si(),
        Kind::BarometricPressure,
        unit,
        &settings,
    );
    let f = with_number(
        f,
        "standard",
        standard,
        Kind::BarometricPressure,
        unit,
        &settings,
    );
    cx.report(f);
    Ok(())
}

fn atmospheric_pressure(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    if let Some(b) = cx.quantity(d, "barometer")? {
        return Ok(Value::Quantity(Quantity::from_tol(
            Kind::AbsolutePressure,
            b.value,
        )));
    }
    let Some(z) = cx.quantity(d, "altitude")? else {
        return Ok(Value::Unknown);
    };
    let falls = [(&z.value, Direction::Falling)];
    match Tol::monotone("atmosphere", &falls, |x| pressure_at_altitude(x[0])) {
        Ok(p) => Ok(Value::Quantity(
            Quantity::from_tol(Kind::AbsolutePressure, p).origin(computed_from(&z)),
        )),
        Err(e) => {
            let place = cx.place(d, "altitude");
            cx.report(
                Finding::new(
                    &SITE_RANGE,
                    place,
                    format!("the atmosphere's pressure at this altitude cannot be computed: {e}"),
                )
                .here("outside the formula")
                .help("give a `barometer` reading instead"),
            );
            Ok(Value::Unknown)
        }
    }
}

/// The water pumped.
pub static WATER: KindDef = KindDef {
    word: "water",
    doc: "The water pumped. Without a name it holds for the whole file.",
    unnamed: true,
    fields: &[
        default(
            "temperature",
            signed(Kind::Temperature),
            "60 degF",
            "the temperature to which the trade's constants belong",
            "Its temperature.",
        ),
        default(
            "relative_density",
            positive(Kind::Ratio),
            "1",
            "plain water",
            "Its density against that of plain water at the same temperature; above 1 with some additives.",
        ),
    ],
    computed: &[
        ComputedDef {
            name: "density",
            ty: Type::Quantity(Kind::Density, crate::schema::Sign::Positive),
            doc: "Mass per volume, at atmospheric pressure.",
            formula: "relative_density · ρ(temperature)",
            source: "IAPWS-IF97",
            solved: false,
            hint: true,
            eval: density,
        },
        ComputedDef {
            name: "vapour_pressure",
            ty: Type::Quantity(Kind::AbsolutePressure, crate::schema::Sign::Positive),
            doc: "Pressure at which it boils at this temperature.",
            formula: "p_sat(temperature)",
            source: "IAPWS-IF97, saturation line",
            solved: false,
            hint: false,
            eval: vapour_pressure,
        },
        ComputedDef {
            name: "viscosity",
            ty: Type::Quantity(Kind::DynamicViscosity, crate::schema::Sign::Positive),
            doc: "Dynamic viscosity.",
            formula: "µ(temperature)",
            source: "IAPWS R12-08",
            solved: false,
            hint: false,
            eval: viscosity,
        },
        ComputedDef {
            name: "sound_speed",
            ty: Type::Quantity(Kind::Speed, crate::schema::Sign::Positive),
            doc: "Speed of sound in it; pressure waves in hose are slower.",
            formula: "c(temperature)",
            source: "IAPWS-IF97",
            solved: false,
            hint: false,
            eval: sound_speed,
        },
    ],
    ..BLANK
};

/// Properties of the water at its temperature and standard atmospheric pressure; `None` where there are none (reported by
/// the density).
pub(crate) fn water_at(cx: &mut Cx<'_>, d: DeclId) -> Eval<Option<(Water, Origin)>> {
    let Some(t) = cx.quantity(d, "temperature")? else {
        return Ok(None);
    };
    let water = Water::at(t.si(), 101_325.0).ok();
    Ok(water.map(|w| (w, computed_from(&t))))
}

fn density(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (Some(t), Some(r)) = (
        cx.quantity(d, "temperature")?,
        cx.quantity(d, "relative_density")?,
    ) else {
        return Ok(Value::Unknown);
    };
    // Water is densest at 4 °C; limits on both sides of that are looked past, as the density differs by less than 1 part
    // in 100 000 there.
    let way = match (t.value.lo() >= DENSEST, t.value.hi() <= DENSEST) {
        (true, _) => Some(Direction::Falling),
        (_, true) => Some(Direction::Rising),
        _ => None,
    };
    match of_temperature(&t, "density", way, |w| w.density) {
        Ok(w) => Ok(Value::Quantity(
            Quantity::from_tol(Kind::Density, w.mul(&r.value)).origin(computed_from(&t)),
        )),
        Err(e) => {
            let place = cx.place(d, "temperature");
            cx.report(
                Finding::new(
                    &WATER_RANGE,
                    place,
                    format!("this water's properties cannot be computed: {e}"),
                )
                .here("no liquid water"),
            );
            Ok(Value::Unknown)
        }
    }
}

/// Where water is densest, K: 3.98 °C (IAPWS-IF97).
const DENSEST: f64 = 277.13;

/// Where a value computed from another comes from.
fn computed_from(q: &Quantity) -> Origin {
    match q.origin {
        Origin::Assumed => Origin::Assumed,
        _ => Origin::Computed,
    }
}

/// A property of water at a temperature, within the limits of that; without a direction at its nominal alone.
fn of_temperature(
    t: &Quantity,
    name: &'static str,
    way: Option<Direction>,
    of: fn(&Water) -> f64,
) -> Result<Tol, WaterError> {
    let at = |t: f64| Water::at(t, 101_325.0).map(|w| of(&w));
    match way {
        Some(way) => Tol::monotone(name, &[(&t.value, way)], |x| at(x[0])),
        None => at(t.si()).map(Tol::exact),
    }
}

fn property(
    cx: &mut Cx<'_>,
    d: DeclId,
    kind: Kind,
    name: &'static str,
    way: Option<Direction>,
    of: fn(&Water) -> f64,
) -> Eval<Value> {
    let Some(t) = cx.quantity(d, "temperature")? else {
        return Ok(Value::Unknown);
    };
    // What is wrong with it is said by the density.
    Ok(match of_temperature(&t, name, way, of) {
        Ok(v) => Value::Quantity(Quantity::from_tol(kind, v).origin(computed_from(&t))),
        Err(_) => Value::Unknown,
    })
}

fn vapour_pressure(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let way = Some(Direction::Rising);
    property(cx, d, Kind::AbsolutePressure, "vapour pressure", way, |w| {
        w.vapour_pressure
    })
}

fn viscosity(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let way = Some(Direction::Falling);
    property(cx, d, Kind::DynamicViscosity, "viscosity", way, |w| {
        w.viscosity
    })
}

fn sound_speed(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    // It rises with temperature to 74 °C and falls above.
    property(cx, d, Kind::Speed, "sound speed", None, |w| w.sound_speed)
}

/// What a part is made of.
pub static MATERIAL: KindDef = KindDef {
    word: "material",
    doc: "What a part is made of. The standard library holds the usual bronzes, irons and steels with their sources.",
    fields: &[
        required("density", positive(Kind::Density), "Mass per volume."),
        optional("modulus", positive(Kind::Stress), "Modulus of elasticity."),
        optional("poisson_ratio", positive(Kind::Ratio), "Poisson's ratio."),
        optional(
            "expansion",
            signed(Kind::Expansion),
            "Coefficient of linear thermal expansion.",
        ),
        optional("yield_strength", positive(Kind::Stress), "Yield strength."),
        optional(
            "tensile_strength",
            positive(Kind::Stress),
            "Ultimate tensile strength.",
        ),
        optional(
            "elongation",
            not_negative(Kind::Ratio),
            "Elongation at break.",
        ),
        optional("hardness", positive(Kind::Hardness), "Brinell hardness."),
    ],
    ..BLANK
};

/// The surroundings that hold for a declaration: the nameless `site` and `water` of its file, else of the one
/// file it uses that has them; `None` where there are none.
pub(crate) fn nameless(cx: &mut Cx<'_>, d: DeclId, word: &str) -> Eval<Option<DeclId>> {
    let file: FileId = cx.file_of(d);
    let key = format!("@{word}");
    if let Some(found) = cx.lookup(file, &key) {
        return Ok(Some(found));
    }
    // Files brought in, in the order of their names: the first that says it.
    let uses = cx.names_in(file);
    for name in uses {
        let Some(u) = cx.lookup(file, &name) else {
            continue;
        };
        if cx.kind(u).is_some() {
            continue;
        }
        if let cutwater_syntax::ast::ItemKind::Use { path, .. } = &cx.item(u).item.kind {
            let from = cx.db().path(file).clone();
            if let Ok(full) = crate::paths::join(&from, &path.text)
                && let Some(target) = cx.lookup_file(&full)
                && let Some(found) = cx.lookup(target, &key)
            {
                return Ok(Some(found));
            }
        }
    }
    Ok(None)
}
