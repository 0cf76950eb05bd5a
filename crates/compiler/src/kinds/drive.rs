//! The `drive`: engine, gears and governor.
//!
//! What the pump asks for at its rating is laid against what the engine gives through the gears. Invariants: the gear
//! ratio is pump turns per engine turn; the engine's output is read by straight lines and never outside its table.
//!
//! The output is taken down for altitude and air temperature by the rule that the spec states, and by none of its own.
//!
//! What it does not do: slip of a torque converter, transients, an engine maker's own map (state that as the output).

pub(crate) mod points;

use super::pump::{check_gaps, curve_for, curve_with, own_rows};
use super::rotor::{given, need, with_number};
use crate::codes::{OUT_OF_RANGE, codes};
use crate::db::{Cx, Local};
use crate::kinds::surroundings::nameless;
use crate::schema::short::{column, default, optional, positive, required, signed};
use crate::schema::{BLANK, ComputedDef, KindDef, PartDef, Sign, TableDef, Type};
use crate::settings::Settings;
use crate::show;
use crate::value::{Origin, Quantity, Value};
use crate::{DeclId, Eval};
use cutwater_finding::Finding;
use cutwater_hydraulics::drive::{Drive, Engine, Margins, Reading};
use cutwater_quantity::{CompoundUnit, Kind};
use std::sync::Arc;

codes! {
    /// Raised by `drive`.
    GOVERNOR = "CW1321" "governor-limit" Error, "The rating needs more than the governed engine speed.",
        "Engine speed is pump speed over the gear ratio. In pump tests the engine is not to pass its no-load governed speed (NFPA 1901 and 1911, from memory; check the edition in force). The help names the ratios with which the rating is made.",
        fires "drive engine {\n    turns = main\n    gear_ratio = 1.4\n    governed_speed = 2200 rpm\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n",
        silent "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    governed_speed = 2200 rpm\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n";
    /// Raised by `drive`.
    POWER_SHORT = "CW1322" "power-short" Error, "The engine cannot carry the rating.",
        "At the engine speed the rating asks for, the engine's power less the losses of gears and shafts is less than the pump takes. Another ratio may bring the engine to a better speed; the help names those that do.",
        fires "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    governed_speed = 2200 rpm\n    output (speed rpm, power hp) {\n        1200 100\n        1600 120\n        2200 140\n    }\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n",
        silent "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    governed_speed = 2200 rpm\n    output (speed rpm, power hp) {\n        1200 190\n        1600 262\n        2200 305\n    }\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n";
    /// Raised by `drive`.
    OVERLOAD = "CW1323" "overload-short" Warning, "The drive makes the rating but not the overload point.",
        "Pumps of 750 gpm and more, rated at 150 psi, are also tested at full capacity and 165 psi, which asks for about 10 % more power: the spare the rating is to have.",
        fires "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    governed_speed = 2200 rpm\n    output (speed rpm, power hp) {\n        1200 140\n        1600 160\n        2200 170\n    }\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n",
        silent "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    governed_speed = 2200 rpm\n    output (speed rpm, power hp) {\n        1200 190\n        1600 262\n        2200 305\n    }\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n";
    /// Raised by `drive`.
    GOVERNED_OUTSIDE = "CW1324" "governed-outside-output" Warning, "The governed speed is far from the engine's output table.",
        "A no-load governed speed lies a few per cent above the last speed of the full-load output (the governor's droop; up to 10 % passes, common practice). Further off, or below the first speed, one of the two is likely wrong, or is meant at the pump and not at the engine.",
        fires "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    governed_speed = 3300 rpm\n    output (speed rpm, power hp) {\n        1200 190\n        2200 305\n    }\n}\npump main { rating = 500 gpm at 150 psi }\n",
        silent "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    governed_speed = 2350 rpm\n    output (speed rpm, power hp) {\n        1200 190\n        2200 305\n    }\n}\npump main { rating = 500 gpm at 150 psi }\n";
    /// Raised by `drive`.
    RATED_OUTSIDE = "CW1325" "rating-outside-output" Warning, "At the rating the engine's output is not known.",
        "The engine speed at the rating lies outside the output table, and nothing is read outside a table: the margins of power and torque are not known. Extend the table, or check the ratio.",
        fires "drive engine {\n    turns = main\n    gear_ratio = 3\n    output (speed rpm, power hp) {\n        1200 190\n        2200 305\n    }\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n",
        silent "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    output (speed rpm, power hp) {\n        1200 190\n        2200 305\n    }\n}\npump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n";
    /// Raised by `drive`.
    RATIO_SENSE = "CW1326" "ratio-sense" Advice, "A gear ratio out of the ordinary: which way round is it?",
        "Here a ratio is pump turns per engine turn, as the fire pump trade quotes it (1.96 means that the pump turns 1.96 times for one turn of the engine). Texts on gearboxes quote the inverse. Midship pumps are stepped up between 1 and 4.",
        fires "drive engine {\n    turns = main\n    gear_ratio = 0.495\n}\npump main { rating = 500 gpm at 150 psi }\n",
        silent "drive engine {\n    turns = main\n    gear_ratio = 2.02\n}\npump main { rating = 500 gpm at 150 psi }\n";
    /// Raised by `drive`.
    RATIO_OFFERED = "CW1327" "another-ratio" Warning, "The chosen gear ratio misses a rated point that another of those offered makes.",
        "Every rated point counts: all of the capacity at the rated pressure and, of pumps rated at 150 psi, 70 % of it at 200 psi, 50 % at 250 psi and, from 750 gpm on, all of it at 165 psi. `ratio_table` shows for each ratio on offer what it leaves.",
        fires "drive engine {\n    turns = main\n    gear_ratio = 1.55\n    governed_speed = 2200 rpm\n    ratios (ratio) {\n        1.55\n        2.02\n    }\n}\npump main {\n    rating = 1000 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0  231\n         500  222\n        1000  160\n        1300  141\n    }\n}\n",
        silent "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    governed_speed = 2200 rpm\n    ratios (ratio) {\n        1.55\n        2.02\n    }\n}\npump main {\n    rating = 1000 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0  231\n         500  222\n        1000  160\n        1300  141\n    }\n}\n";
    /// Raised by `drive`.
    NO_RATIO = "CW1328" "no-ratio" Warning, "None of the gear ratios on offer makes every rated point.",
        "A higher ratio helps where the governor stands in the way, a lower one where the engine lacks power at its higher load; where each fails at something, the engine or the rating has to change.",
        fires "drive engine {\n    turns = main\n    gear_ratio = 1.55\n    governed_speed = 2200 rpm\n    ratios (ratio) {\n        1.40\n        1.55\n    }\n}\npump main {\n    rating = 1000 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0  231\n         500  222\n        1000  160\n        1300  141\n    }\n}\n",
        silent "drive engine {\n    turns = main\n    gear_ratio = 2.02\n    governed_speed = 2200 rpm\n    ratios (ratio) {\n        1.55\n        2.02\n    }\n}\npump main {\n    rating = 1000 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0  231\n         500  222\n        1000  160\n        1300  141\n    }\n}\n";
    /// Raised by `drive`.
    NO_DERATING = "CW1329" "no-derating" Advice, "The site lies high, and no derating of the engine is stated.",
        "Thin air takes power from an engine: texts speak of 3 to 3.5 % for each 1000 ft of one without a turbocharger, and of little or none of one with. A pumper's certificate holds to 2000 ft (published guide); above that the purchaser states the altitude and the rating must be met there. State the rule of the engine's maker: `derating = 3 % per 1000 ft`, and `derating_above` where it begins; `derating = 0 % per 1000 ft` says that there is none.",
        fires "site { altitude = 6200 ft }\ndrive engine {\n    turns = main\n    gear_ratio = 2.02\n    output (speed rpm, power hp) {\n        1200 190\n        2200 305\n    }\n}\npump main { rating = 500 gpm at 150 psi }\n",
        silent "site { altitude = 6200 ft }\ndrive engine {\n    turns = main\n    gear_ratio = 2.02\n    derating = 3 % per 1000 ft\n    output (speed rpm, power hp) {\n        1200 190\n        2200 305\n    }\n}\npump main { rating = 500 gpm at 150 psi }\n";
    /// Raised by `drive`.
    DERATING_UNKNOWN = "CW1330" "derating-unknown" Error, "An engine's derating cannot be computed.",
        "The rule asks for what the `site` does not say (the air's temperature), or leaves no power at all. Every margin rests on it, so none is given.",
        fires "site { altitude = 2000 ft }\ndrive engine {\n    turns = main\n    gear_ratio = 2.02\n    heat_derating = 1 % per 10 delta_degF\n    output (speed rpm, power hp) {\n        1200 190\n        2200 305\n    }\n}\npump main { rating = 500 gpm at 150 psi }\n",
        silent "site {\n    altitude = 2000 ft\n    air_temperature = 95 degF\n}\ndrive engine {\n    turns = main\n    gear_ratio = 2.02\n    heat_derating = 1 % per 10 delta_degF\n    output (speed rpm, power hp) {\n        1200 190\n        2200 305\n    }\n}\npump main { rating = 500 gpm at 150 psi }\n";
}

/// A drive.
pub static DRIVE: KindDef = KindDef {
    word: "drive",
    doc: "What turns a pump: an engine's output, the ratio of the gears between, and the governed speed.",
    fields: &[
        required("turns", Type::Ref(&["pump"]), "The pump it turns."),
        required(
            "gear_ratio",
            positive(Kind::Ratio),
            "Turns of the pump for one turn of the engine.",
        ),
        default(
            "efficiency",
            positive(Kind::Ratio),
            "0.95",
            "common practice: 0.90 to 0.95 from engine to pump shaft",
            "Share of the engine's power that reaches the pump shaft.",
        ),
        optional(
            "governed_speed",
            positive(Kind::RotationalSpeed),
            "No-load governed speed of the engine.",
        ),
        optional(
            "derating",
            Type::Phrase(SHARE_PER_HEIGHT),
            "How much of the engine's power thin air takes: `3 % per 1000 ft` of altitude. Without it the output is taken as it is.",
        ),
        default(
            "derating_above",
            signed(Kind::Length),
            "0 ft",
            "from sea level on",
            "The altitude from which `derating` counts.",
        ),
        optional(
            "heat_derating",
            Type::Phrase(SHARE_PER_HEAT),
            "How much of the engine's power warm air takes: `1 % per 10 delta_degF`.",
        ),
        default(
            "heat_derating_above",
            signed(Kind::Temperature),
            "85 degF",
            "published for engines of both kinds",
            "The temperature of the air from which `heat_derating` counts.",
        ),
    ],
    tables: &[
        TableDef {
            name: "ratios",
            doc: "Gear ratios on offer: which of them make every rated point is shown.",
            required: false,
            at: None,
            columns: &[column(
                "ratio",
                Kind::Ratio,
                "Turns of the pump for one turn of the engine.",
            )],
            rising: true,
            least_rows: 1,
        },
        TableDef {
            name: "output",
            doc: "The engine's output against its speed.",
            required: false,
            at: None,
            columns: &[
                column("speed", Kind::RotationalSpeed, "Engine speed."),
                column(
                    "power",
                    Kind::Power,
                    "Power at that speed, at full throttle.",
                ),
            ],
            rising: true,
            least_rows: 2,
        },
    ],
    computed: &[
        ComputedDef {
            name: "governed_pump_speed",
            ty: Type::Quantity(Kind::RotationalSpeed, Sign::Positive),
            doc: "Highest speed of the pump shaft the governor allows.",
            formula: "governed_speed · gear_ratio",
            source: "gearing",
            solved: false,
            hint: true,
            eval: governed_pump_speed,
        },
        ComputedDef {
            name: "rated_engine_speed",
            ty: Type::Quantity(Kind::RotationalSpeed, Sign::Positive),
            doc: "Engine speed at which the pump makes its rating.",
            formula: "turns.rated_speed / gear_ratio",
            source: "gearing; affinity laws",
            solved: false,
            hint: true,
            eval: rated_engine_speed,
        },
        ComputedDef {
            name: "spare_speed",
            ty: Type::Quantity(Kind::RotationalSpeed, Sign::Any),
            doc: "Engine speed left at the rating; below zero the governor does not allow the rating.",
            formula: "governed_speed − rated_engine_speed",
            source: "gearing",
            solved: false,
            hint: false,
            eval: spare_speed,
        },
        ComputedDef {
            name: "power_margin",
            ty: Type::Quantity(Kind::Power, Sign::Any),
            doc: "Power at the pump shaft left at the rating, with the output taken down for altitude and air where a rule is stated; below zero the engine cannot carry it.",
            formula: "efficiency · derating_factor · output at rated_engine_speed − turns.rated_shaft_power",
            source: "balance of power at the pump shaft",
            solved: false,
            hint: false,
            eval: power_margin,
        },
        ComputedDef {
            name: "torque_margin",
            ty: Type::Quantity(Kind::Torque, Sign::Any),
            doc: "Engine torque left at the rating.",
            formula: "(output at rated_engine_speed − turns.rated_shaft_power / efficiency) / rated_engine_speed",
            source: "torque is power over speed",
            solved: false,
            hint: false,
            eval: torque_margin,
        },
        ComputedDef {
            name: "derating_factor",
            ty: Type::Quantity(Kind::Ratio, Sign::Positive),
            doc: "Share of the engine's power that the air at the site leaves, where a rule is stated.",
            formula: "(1 − derating · (altitude − derating_above)) · (1 − heat_derating · (air_temperature − heat_derating_above)), nothing counted below where a rule begins",
            source: "the rule of the engine's maker, as stated",
            solved: false,
            hint: false,
            eval: points::derating_factor,
        },
        ComputedDef {
            name: "points",
            ty: Type::Any,
            doc: "What the drive leaves at each rated point of its pump: all of the capacity at the rated pressure and, of pumps rated at 150 psi, at 165 psi (from 750 gpm on), 70 % at 200 psi and 50 % at 250 psi. A changeover pump makes each in the position that needs less speed. What is not known is left out.",
            formula: "engine speed = pump speed / gear_ratio; power_margin = efficiency · output − shaft power; torque_margin = (output − shaft power / efficiency) / engine speed",
            source: "affinity laws, gearing; points of US practice (published)",
            solved: false,
            hint: false,
            eval: points::points_list,
        },
        ComputedDef {
            name: "ratio_table",
            ty: Type::Any,
            doc: "Of each gear ratio on offer: whether every rated point is made with it, which it misses first and why, and the least that is left of speed and power.",
            formula: "points, with each ratio",
            source: "affinity laws, gearing",
            solved: false,
            hint: false,
            eval: points::ratio_table,
        },
    ],
    check: Some(check_drive),
    ..BLANK
};

/// `3 % per 1000 ft`.
static SHARE_PER_HEIGHT: &[PartDef] = &[
    PartDef {
        word: "",
        name: "share",
        kind: Kind::Ratio,
        optional: false,
    },
    PartDef {
        word: "per",
        name: "height",
        kind: Kind::Length,
        optional: false,
    },
];

/// `1 % per 10 delta_degF`.
static SHARE_PER_HEAT: &[PartDef] = &[
    PartDef {
        word: "",
        name: "share",
        kind: Kind::Ratio,
        optional: false,
    },
    PartDef {
        word: "per",
        name: "difference",
        kind: Kind::TemperatureDifference,
        optional: false,
    },
];

/// The share of the engine's power that the air at the site leaves; `Ok(None)` where no rule is stated, `Err` where a rule
/// cannot be computed with (reported by the check).
fn derating(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<Option<f64>, ()>> {
    let (height, heat) = (cx.get(d, "derating")?, cx.get(d, "heat_derating")?);
    if height == Value::Unknown || heat == Value::Unknown {
        return Ok(Err(()));
    }
    if height == Value::Absent && heat == Value::Absent {
        return Ok(Ok(None));
    }
    let site = nameless(cx, d, "site")?;
    let mut factor = 1.0;
    if let (Some(share), Some(per)) = (
        cx.part(d, "derating", "share")?,
        cx.part(d, "derating", "height")?,
    ) {
        let Some(from) = cx.si(d, "derating_above")? else {
            return Ok(Err(()));
        };
        let altitude = match site {
            Some(s) => altitude(cx, s)?,
            None => Some(0.0),
        };
        let Some(z) = altitude else {
            return Ok(Err(()));
        };
        factor *= 1.0 - share * ((z - from) / per).max(0.0);
    }
    if let (Some(share), Some(per)) = (
        cx.part(d, "heat_derating", "share")?,
        cx.part(d, "heat_derating", "difference")?,
    ) {
        let air = match site {
            Some(s) => cx.si(s, "air_temperature")?,
            None => None,
        };
        let (Some(t), Some(from)) = (air, cx.si(d, "heat_derating_above")?) else {
            return Ok(Err(()));
        };
        factor *= 1.0 - share * ((t - from) / per).max(0.0);
    }
    Ok(match factor > 0.0 && factor.is_finite() {
        true => Ok(Some(factor)),
        false => Err(()),
    })
}

/// The altitude of a site, m: as stated, or that at which the standard atmosphere has the pressure of its barometer.
fn altitude(cx: &mut Cx<'_>, site: DeclId) -> Eval<Option<f64>> {
    let altitude = cx.quantity(site, "altitude")?;
    let barometer = cx.si(site, "barometer")?;
    Ok(match (altitude, barometer) {
        (Some(z), None) => Some(z.si()),
        (Some(z), _) if z.origin != Origin::Assumed => Some(z.si()),
        // The lowest layer of the 1976 standard atmosphere, turned round.
        (_, Some(p)) => Some(288.15 / 0.0065 * (1.0 - (p / 101_325.0).powf(1.0 / 5.255_88))),
        (None, None) => None,
    })
}

/// Says where a rule of derating is missing or cannot be computed with.
fn check_derating(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    // A pumper's certificate holds to 2000 ft (guide on NFPA 19 of a certifying laboratory, published).
    const HIGH: f64 = 2000.0 * 0.3048;
    let settings = cx.settings();
    let site = nameless(cx, d, "site")?;
    let height = match site {
        Some(s) => altitude(cx, s)?,
        None => None,
    };
    let name = cx.name(d);
    match derating(cx, d)? {
        Ok(None) => {
            if let (Some(z), Some(s)) = (height.filter(|z| *z > HIGH * (1.0 + 1e-9)), site)
                && cx.get(d, "output")? != Value::Absent
            {
                let place = cx.place(d, "output");
                let said = show::si(z, Kind::Length, None, &settings);
                cx.report(
                    Finding::new(
                        &NO_DERATING,
                        place,
                        format!("the output of `{name}` is taken as given at {said}: no derating is stated"),
                    )
                    .here("as at sea level")
                    .label(Local::Head(s), format!("{said} up"))
                    .help("state the maker's rule, as `derating = 3 % per 1000 ft` with `derating_above`, or `derating = 0 % per 1000 ft` if the output holds here")
                    .source("a pumper's certificate holds to 2000 ft (published guide); 3 to 3.5 % for each 1000 ft without a turbocharger (texts)"),
                );
            }
        }
        Err(()) if matches!(cx.get(d, "heat_derating")?, Value::Phrase(_)) => {
            let air = match site {
                Some(s) => cx.get(s, "air_temperature")?,
                None => Value::Absent,
            };
            if air == Value::Absent {
                let place = cx.place(d, "heat_derating");
                cx.report(
                    Finding::new(
                        &DERATING_UNKNOWN,
                        place,
                        format!("the heat derating of `{name}` needs the temperature of the air, and no `site` here says it"),
                    )
                    .here("of what temperature?")
                    .help("add `air_temperature = 95 degF` to the `site`"),
                );
            }
        }
        Err(()) if matches!(cx.get(d, "derating")?, Value::Phrase(_)) && height.is_some() => {
            let place = cx.place(d, "derating");
            cx.report(
                Finding::new(
                    &DERATING_UNKNOWN,
                    place,
                    format!("this derating leaves `{name}` no power at the site's altitude"),
                )
                .here("too much")
                .help("texts speak of 3 to 3.5 % for each 1000 ft"),
            );
        }
        _ => {}
    }
    Ok(())
}

/// Says so where the chosen ratio misses a rated point and another on offer makes them all, or none does.
fn check_offers(cx: &mut Cx<'_>, d: DeclId, ratio: f64) -> Eval<()> {
    let offers = points::offers(cx, d)?;
    // What cannot be told is said elsewhere.
    if offers.is_empty() || offers.iter().any(|o| matches!(&o.misses, Some((_, None)))) {
        return Ok(());
    }
    let number = show::number_text;
    let good: Vec<String> = (offers.iter().filter(|o| o.misses.is_none()))
        .map(|o| number(o.ratio))
        .collect();
    let why = |o: &points::Offer| match &o.misses {
        Some((point, Some(why))) => format!("with {}, {point} {why}", number(o.ratio)),
        _ => String::new(),
    };
    let place = cx.place(d, "gear_ratio");
    let table = cx.place(d, "ratios");
    let name = cx.name(d);
    if good.is_empty() {
        let whys: Vec<String> = offers.iter().map(why).collect();
        cx.report(
            Finding::new(
                &NO_RATIO,
                table,
                format!("none of the ratios on offer for `{name}` makes every rated point: {}", whys.join("; ")),
            )
            .here("none does")
            .help("a higher ratio helps against the governor, a lower one where power lacks; else the engine or the rating has to change"),
        );
        return Ok(());
    }
    let chosen = offers
        .iter()
        .find(|o| (o.ratio - ratio).abs() <= 1e-9 * ratio);
    if let Some(c) = chosen.filter(|o| o.misses.is_some()) {
        let of = match good.as_slice() {
            [one] => format!("{one} makes them all"),
            many => format!("{} make them all", many.join(" and ")),
        };
        cx.report(
            Finding::new(
                &RATIO_OFFERED,
                place,
                format!("`{name}` misses a rated point: {}; {of}", why(c)),
            )
            .here("misses a rated point")
            .label(table, "the ratios on offer")
            .help(format!("choose {}", good.join(" or "))),
        );
    }
    Ok(())
}

fn governed_pump_speed(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let governed = given!(need(cx, d, "governed_speed"));
    let ratio = given!(need(cx, d, "gear_ratio"));
    let mut q = Quantity::from_tol(Kind::RotationalSpeed, governed.value.mul(&ratio.value))
        .origin(governed.origin.with(ratio.origin));
    q.unit = governed.unit;
    Ok(Value::Quantity(q))
}

/// The pump it turns.
fn pump(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<DeclId, Value>> {
    Ok(match cx.get(d, "turns")? {
        Value::Decl(p) => Ok(p),
        Value::Unknown => Err(Value::Unknown),
        _ => Err(Value::Absent),
    })
}

fn rated_engine_speed(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let pump = given!(pump(cx, d));
    let speed = given!(need(cx, pump, "rated_speed"));
    let ratio = given!(need(cx, d, "gear_ratio"));
    let Ok(value) = speed.value.div(&ratio.value) else {
        return Ok(Value::Unknown);
    };
    let mut q =
        Quantity::from_tol(Kind::RotationalSpeed, value).origin(speed.origin.with(ratio.origin));
    q.unit = speed.unit;
    Ok(Value::Quantity(q))
}

fn spare_speed(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let governed = given!(need(cx, d, "governed_speed"));
    let rated = given!(need(cx, d, "rated_engine_speed"));
    let mut q = Quantity::from_tol(Kind::RotationalSpeed, governed.value.sub(&rated.value))
        .origin(governed.origin.with(rated.origin));
    q.unit = governed.unit.or(rated.unit);
    Ok(Value::Quantity(q))
}

/// The engine's output as a table of speeds (rad/s) and powers (W), with the unit of power.
struct Output {
    speeds: Vec<f64>,
    powers: Vec<f64>,
    unit: Option<Arc<CompoundUnit>>,
}

impl Output {
    fn engine(&self) -> Option<Engine> {
        Engine::new(self.speeds.clone(), self.powers.clone(), Reading::Straight).ok()
    }
}

/// The output table; `Unknown` also where a cell is missing, which the check reports.
fn output(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<Output, Value>> {
    Ok(match cx.get(d, "output")? {
        Value::Table(t) => match (t.numbers("speed"), t.numbers("power")) {
            (Some(speeds), Some(powers)) => match derating(cx, d)? {
                Err(()) => Err(Value::Unknown),
                Ok(factor) => Ok(Output {
                    speeds,
                    powers,
                    unit: t
                        .columns
                        .iter()
                        .find(|c| c.0 == "power")
                        .and_then(|c| c.1.clone()),
                }
                .derated(factor.unwrap_or(1.0))),
            },
            _ => Err(Value::Unknown),
        },
        Value::Unknown => Err(Value::Unknown),
        _ => Err(Value::Absent),
    })
}

/// What the drive leaves at the rating, what that rests on, and the unit of the output.
struct Left {
    margins: Margins,
    origin: Origin,
    unit: Option<Arc<CompoundUnit>>,
}

fn margins(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<Left, Value>> {
    macro_rules! part {
        ($e:expr) => {
            match $e? {
                Ok(v) => v,
                Err(v) => return Ok(Err(v)),
            }
        };
    }
    let pump = part!(pump(cx, d));
    let speed = part!(need(cx, pump, "rated_speed"));
    let shaft = part!(need(cx, pump, "rated_shaft_power"));
    let ratio = part!(need(cx, d, "gear_ratio"));
    let efficiency = part!(need(cx, d, "efficiency"));
    let output = part!(output(cx, d));
    // The governed speed counts for none of the margins read here.
    let found = output
        .engine()
        .and_then(|e| Drive::new(e, ratio.si(), efficiency.si(), f64::MAX).ok())
        .and_then(|x| x.margins(speed.si(), shaft.si()).ok());
    let origin = speed
        .origin
        .with(shaft.origin)
        .with(ratio.origin)
        .with(efficiency.origin);
    Ok(found
        .map(|margins| Left {
            margins,
            origin,
            unit: output.unit,
        })
        .ok_or(Value::Absent))
}

fn power_margin(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let left = given!(margins(cx, d));
    let mut q = Quantity::computed(Kind::Power, left.margins.power).origin(left.origin);
    q.unit = left.unit;
    Ok(Value::Quantity(q))
}

fn torque_margin(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let left = given!(margins(cx, d));
    Ok(Value::Quantity(
        Quantity::computed(Kind::Torque, left.margins.torque).origin(left.origin),
    ))
}

// ---- checks ------------------------------------------------------------------------------------------

/// What a point of the pump asks for.
#[derive(Clone, Copy)]
struct Demand {
    /// Pump speed, rad/s.
    speed: f64,
    /// Power at the pump shaft, W, where the curve gives it.
    power: Option<f64>,
}

/// Ranges of the gear ratio, rising, with which a demand is met: the engine turns no faster than `governed` and
/// brings the power. Without an output only the speed counts, and the range has no upper end.
fn ratios(
    demand: Demand,
    output: Option<&Output>,
    efficiency: f64,
    governed: Option<f64>,
) -> Vec<(f64, f64)> {
    let most = governed.unwrap_or(f64::INFINITY);
    let (Some(output), Some(power)) = (output, demand.power) else {
        return match governed {
            Some(g) => vec![(demand.speed / g, f64::INFINITY)],
            None => Vec::new(),
        };
    };
    // Engine speeds at which the power is there: on each straight piece of the table one stretch.
    let needed = power / efficiency;
    let mut speeds: Vec<(f64, f64)> = Vec::new();
    for (x, y) in output.speeds.windows(2).zip(output.powers.windows(2)) {
        let (a, b) = (y[0] - needed, y[1] - needed);
        let cross = x[0] + (x[1] - x[0]) * a / (a - b);
        let (from, to) = match (a >= 0.0, b >= 0.0) {
            (true, true) => (x[0], x[1]),
            (true, false) => (x[0], cross),
            (false, true) => (cross, x[1]),
            (false, false) => continue,
        };
        let to = to.min(most);
        if from > to {
            continue;
        }
        match speeds.last_mut() {
            Some(last) if last.1 >= from => last.1 = to,
            _ => speeds.push((from, to)),
        }
    }
    speeds
        .iter()
        .rev()
        .map(|(from, to)| (demand.speed / to, demand.speed / from))
        .collect()
}

/// Ranges of ratios in words, rounded inwards so that each number said is good; `None` where there is none.
fn ratios_text(ranges: &[(f64, f64)]) -> Option<String> {
    let said: Vec<String> = ranges
        .iter()
        .filter_map(|(low, high)| {
            let low = (low * 100.0 - 1e-9).ceil() / 100.0;
            if high.is_infinite() {
                return Some(format!("{low:.2} or more"));
            }
            let high = (high * 100.0 + 1e-9).floor() / 100.0;
            match low.total_cmp(&high) {
                std::cmp::Ordering::Less => Some(format!("{low:.2} to {high:.2}")),
                std::cmp::Ordering::Equal => Some(format!("{low:.2}")),
                std::cmp::Ordering::Greater => None,
            }
        })
        .collect();
    (!said.is_empty()).then(|| said.join(", or "))
}

/// All the checks look at.
struct Facts {
    pump: DeclId,
    ratio: Quantity,
    efficiency: Quantity,
    governed: Option<Quantity>,
    output: Option<Output>,
    settings: Arc<Settings>,
}

impl Facts {
    fn speed(&self, si: f64, unit: Option<&Arc<CompoundUnit>>) -> String {
        show::si(si, Kind::RotationalSpeed, unit, &self.settings)
    }

    fn power(&self, si: f64) -> String {
        let unit = self.output.as_ref().and_then(|o| o.unit.as_ref());
        show::si(si, Kind::Power, unit, &self.settings)
    }

    /// Power at the pump shaft at an engine speed; `None` outside the output.
    fn available(&self, engine_speed: f64) -> Option<f64> {
        let engine = self.output.as_ref()?.engine()?;
        Some(engine.power(engine_speed).ok()? * self.efficiency.si())
    }

    fn ratios_text(&self, demand: Demand) -> Option<String> {
        ratios_text(&ratios(
            demand,
            self.output.as_ref(),
            self.efficiency.si(),
            self.governed.as_ref().map(Quantity::si),
        ))
    }
}

fn check_drive(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    let settings = cx.settings();
    if let Some(table) = cx.table(d, "output")?
        && let Some(rows) = own_rows(cx, d, "output")
    {
        check_gaps(cx, d, "output", &table, "power", &rows);
    }
    let ratio = cx.quantity(d, "gear_ratio")?;
    if let Some(ratio) = &ratio {
        check_ratio(cx, d, ratio);
    }
    let efficiency = cx.quantity(d, "efficiency")?;
    if let Some(e) = &efficiency
        && e.si() > 1.0
    {
        let place = cx.place(d, "efficiency");
        cx.report(
            Finding::new(
                &OUT_OF_RANGE,
                place,
                format!(
                    "`efficiency` is the share of the engine's power that reaches the pump, at most 1 (100 %), not {}",
                    show::quantity(e, &settings)
                ),
            )
            .here("more than all of it")
            .help("write 0.95 or 95 %")
            .number("efficiency", e.si(), ""),
        );
        return Ok(());
    }
    check_derating(cx, d)?;
    let governed = match cx.get(d, "governed_speed")? {
        Value::Quantity(q) => Some(q),
        Value::Absent => None,
        _ => return Ok(()),
    };
    let output = match output(cx, d)? {
        Ok(o) => Some(o),
        Err(Value::Absent) => None,
        Err(_) => return Ok(()),
    };
    if let (Some(g), Some(o)) = (&governed, &output) {
        check_governed(cx, d, g, o);
    }
    let (Some(ratio), Some(efficiency), Ok(pump)) = (ratio, efficiency, pump(cx, d)?) else {
        return Ok(());
    };
    let facts = Facts {
        pump,
        ratio,
        efficiency,
        governed,
        output,
        settings,
    };
    let before = cx.findings.len();
    check_demands(cx, d, &facts)?;
    // What is wrong with the rating is told already, with every ratio that mends it.
    if cx.findings.len() == before {
        check_offers(cx, d, facts.ratio.si())?;
    }
    Ok(())
}

fn check_ratio(cx: &mut Cx<'_>, d: DeclId, ratio: &Quantity) {
    if (1.0..=4.0).contains(&ratio.si()) {
        return;
    }
    let place = cx.place(d, "gear_ratio");
    let mut f = Finding::new(
        &RATIO_SENSE,
        place,
        format!(
            "with this `gear_ratio` the pump turns {:.4} times for one turn of the engine; 1 to 4 is usual",
            ratio.si()
        ),
    )
    .here("pump turns per engine turn")
    .source("the trade quotes pump turns per engine turn, gearbox texts the inverse (common practice)")
    .number("gear_ratio", ratio.si(), "");
    let inverse = 1.0 / ratio.si();
    if (1.0..=4.0).contains(&inverse) {
        f = f.help(format!(
            "if engine turns per pump turn were meant, write {inverse:.3}"
        ));
    }
    cx.report(f);
}

fn check_governed(cx: &mut Cx<'_>, d: DeclId, governed: &Quantity, output: &Output) {
    // Droop of a governor from full load to no load: up to about 10 %, common practice.
    const DROOP: f64 = 1.10;
    let (Some(first), Some(last)) = (output.speeds.first(), output.speeds.last()) else {
        return;
    };
    if governed.si() >= *first && governed.si() <= last * DROOP * (1.0 + 1e-12) {
        return;
    }
    let settings = cx.settings();
    let place = cx.place(d, "governed_speed");
    let other = cx.place(d, "output");
    let unit = governed.unit.as_ref();
    let text = |si: f64| show::si(si, Kind::RotationalSpeed, unit, &settings);
    let f = Finding::new(
        &GOVERNED_OUTSIDE,
        place,
        format!(
            "`{}` is governed at {}, but its output is given from {} to {}",
            cx.name(d),
            text(governed.si()),
            text(*first),
            text(*last)
        ),
    )
    .here("far from the output table")
    .label(other, format!("{} to {}", text(*first), text(*last)))
    .help("both are engine speeds; extend the output, or check the governed speed")
    .source("a no-load speed up to 10 % above the last full-load speed passes (common practice)");
    let f = with_number(
        f,
        "governed_speed",
        governed.si(),
        Kind::RotationalSpeed,
        unit,
        &settings,
    );
    let f = with_number(
        f,
        "first speed",
        *first,
        Kind::RotationalSpeed,
        unit,
        &settings,
    );
    let f = with_number(
        f,
        "last speed",
        *last,
        Kind::RotationalSpeed,
        unit,
        &settings,
    );
    cx.report(f);
}

fn check_demands(cx: &mut Cx<'_>, d: DeclId, facts: &Facts) -> Eval<()> {
    let Some(rated) = cx.quantity(facts.pump, "rated_speed")? else {
        return Ok(());
    };
    let power = cx.si(facts.pump, "rated_shaft_power")?;
    let demand = Demand {
        speed: rated.si(),
        power,
    };
    let unit = rated.unit.as_ref();
    let engine_speed = demand.speed / facts.ratio.si();
    let (me, pump) = (cx.name(d), cx.name(facts.pump));
    let at_ratio = cx.place(d, "gear_ratio");
    let at_governed = cx.place(d, "governed_speed");
    let at_output = cx.place(d, "output");
    let at_rating = cx.place(facts.pump, "rating");
    let ratio = show::number_text(facts.ratio.si());
    let cure = |none: &str| match facts.ratios_text(demand) {
        Some(r) => format!("a ratio of {r} makes the rating"),
        None => none.to_owned(),
    };
    if let Some(g) = &facts.governed
        && engine_speed > g.value.hi() * (1.0 + 1e-9)
    {
        let f = Finding::new(
            &GOVERNOR,
            at_ratio,
            format!(
                "the rating of `{pump}` needs {} of the pump and, at a ratio of {ratio}, {} of `{me}`, above its governed {}",
                facts.speed(demand.speed, unit),
                facts.speed(engine_speed, unit),
                show::quantity(g, &facts.settings)
            ),
        )
        .here(format!("needs {} of the engine", facts.speed(engine_speed, unit)))
        .label(at_governed, "the governed speed")
        .label(at_rating, "the rating")
        .help(cure("no ratio makes the rating with this engine within its governed speed"))
        .source("engine speed in pump tests is not to pass the no-load governed speed (NFPA 1901 and 1911, from memory)");
        let f = with_number(
            f,
            "engine speed at the rating",
            engine_speed,
            Kind::RotationalSpeed,
            unit,
            &facts.settings,
        );
        let f = with_number(
            f,
            "governed_speed",
            g.si(),
            Kind::RotationalSpeed,
            unit,
            &facts.settings,
        );
        cx.report(f);
        return Ok(());
    }
    let (Some(power), Some(output)) = (power, &facts.output) else {
        return check_overload(cx, d, facts, demand);
    };
    let Some(available) = facts.available(engine_speed) else {
        if let (Some(first), Some(last)) = (output.speeds.first(), output.speeds.last()) {
            let range = format!(
                "{} to {}",
                facts.speed(*first, unit),
                facts.speed(*last, unit)
            );
            let f = Finding::new(
                &RATED_OUTSIDE,
                at_ratio,
                format!(
                    "at the rating of `{pump}` `{me}` turns at {}, outside its output of {range}: its margins are not known",
                    facts.speed(engine_speed, unit)
                ),
            )
            .here(format!("{} at the rating", facts.speed(engine_speed, unit)))
            .label(at_output, range)
            .label(at_rating, "the rating")
            .help(cure("no ratio makes the rating within the output as given; extend the table"))
            .source("nothing is read outside a table");
            let f = with_number(
                f,
                "engine speed at the rating",
                engine_speed,
                Kind::RotationalSpeed,
                unit,
                &facts.settings,
            );
            cx.report(f);
        }
        return Ok(());
    };
    if available < power * (1.0 - 1e-9) {
        let short = facts.power(power - available);
        let f = Finding::new(
            &POWER_SHORT,
            at_ratio,
            format!(
                "at the rating of `{pump}` the pump takes {} and `{me}`, turning at {}, brings {} to it: {short} short",
                facts.power(power),
                facts.speed(engine_speed, unit),
                facts.power(available)
            ),
        )
        .here(format!("{short} short"))
        .label(at_output, "the engine's output")
        .label(at_rating, "the rating")
        .help(cure("no ratio makes the rating: the engine is too weak within its governed speed"))
        .source("balance of power at the pump shaft, with the drive's efficiency");
        let unit = output.unit.as_ref();
        let f = with_number(f, "power taken", power, Kind::Power, unit, &facts.settings);
        let f = with_number(
            f,
            "power brought",
            available,
            Kind::Power,
            unit,
            &facts.settings,
        );
        cx.report(f);
        return Ok(());
    }
    check_overload(cx, d, facts, demand)
}

/// Full capacity at 165 psi, for pumps of 750 gpm and more that are rated at 150 psi.
fn check_overload(cx: &mut Cx<'_>, d: DeclId, facts: &Facts, rated: Demand) -> Eval<()> {
    const PSI: f64 = 6_894.757_293_168;
    const GPM: f64 = 231.0 * 1.638_706_4e-5 / 60.0;
    let position = Some("parallel");
    let (Some(flow), Some(pressure)) = (
        cx.part(facts.pump, "rating", "flow")?,
        cx.part(facts.pump, "rating", "pressure")?,
    ) else {
        return Ok(());
    };
    if flow < 750.0 * GPM * (1.0 - 1e-9) || (pressure / PSI - 150.0).abs() > 0.5 {
        return Ok(());
    }
    let Some((curve, _)) = curve_for(cx, facts.pump, position)? else {
        return Ok(());
    };
    let Ok(Some(speed)) = curve.speed_for(flow, 165.0 * PSI) else {
        return Ok(());
    };
    let power = match rated.power {
        Some(_) => curve_with(cx, facts.pump, position, "power")?
            .and_then(|(c, _)| c.power(flow, speed).ok()),
        None => None,
    };
    let demand = Demand { speed, power };
    let engine_speed = speed / facts.ratio.si();
    let speed_unit = facts.governed.as_ref().and_then(|g| g.unit.clone());
    let unit = speed_unit.as_ref();
    let too_fast = facts
        .governed
        .as_ref()
        .filter(|g| engine_speed > g.value.hi() * (1.0 + 1e-9));
    let what = if let Some(g) = too_fast {
        format!(
            "needs {} of the engine, above its governed {}",
            facts.speed(engine_speed, unit),
            show::quantity(g, &facts.settings)
        )
    } else {
        let (Some(power), Some(available)) = (power, facts.available(engine_speed)) else {
            return Ok(());
        };
        if available >= power * (1.0 - 1e-9) {
            return Ok(());
        }
        format!(
            "takes {} at {} of the engine, which brings {}: {} short",
            facts.power(power),
            facts.speed(engine_speed, unit),
            facts.power(available),
            facts.power(power - available)
        )
    };
    let at_ratio = cx.place(d, "gear_ratio");
    let at_rating = cx.place(facts.pump, "rating");
    let at_output = cx.place(d, "output");
    let f = Finding::new(
        &OVERLOAD,
        at_ratio,
        format!(
            "`{}` makes its rating, but its overload point, full capacity at 165 psi, {what}",
            cx.name(facts.pump)
        ),
    )
    .here("the overload point is not made")
    .label(at_rating, "the rating")
    .label(at_output, "the engine's output")
    .help(match facts.ratios_text(demand) {
        Some(r) => format!("a ratio of {r} makes the overload point"),
        None => "no ratio makes it with this engine".to_owned(),
    })
    .source("overload of 100 % at 165 psi for pumps of 750 gpm and more (NFPA 1901; published in trade texts, which differ at exactly 750 gpm)");
    let f = with_number(
        f,
        "engine speed",
        engine_speed,
        Kind::RotationalSpeed,
        unit,
        &facts.settings,
    );
    let f = match power {
        Some(p) => with_number(
            f,
            "power taken",
            p,
            Kind::Power,
            facts.output.as_ref().and_then(|o| o.unit.as_ref()),
            &facts.settings,
        ),
        None => f,
    };
    cx.report(f);
    Ok(())
}
