//! Fields of one piece of gear in a fleet: what it is known by, its age, whether it is in service, its last test.
//!
//! The same definitions serve hose, nozzles, appliances and instruments. They are facts of one piece: a
//! declaration that is `like` another does not take them over, or an untested length would pass for a tested
//! one. The list follows what a hose record holds by NFPA 1962 (from memory: identification, dates of purchase,
//! of going into service and of each service test, removal from service); check the edition in force.
//!
//! Not here: how often a piece is to be tested. That is a rule of the house or of a standard, and is written as
//! one: `require for every hose h where h.in_service is yes: h.tested within …`.

use crate::codes::codes;
use crate::db::{Cx, Local};
use crate::schema::short::{default, optional, own};
use crate::schema::{FieldDef, Type};
use crate::value::{Date, Value};
use crate::{DeclId, Eval};
use cutwater_finding::Finding;

codes! {
    /// Raised by hose, nozzles and appliances.
    GEAR_DATES = "CW1404" "gear-dates" Warning, "Dates of a piece of gear that cannot be in this order.",
        "A piece is made before it goes into service, and is tested after it was made. One of the dates is mistyped, or belongs to another piece; a test date that belongs to another piece hides an untested one.",
        fires "hose h {\n    loss = 2 psi per 100 ft at 100 gpm\n    made = 2024-03-01\n    tested = 2023-09-02\n}\n",
        silent "hose h {\n    loss = 2 psi per 100 ft at 100 gpm\n    made = 2023-03-01\n    tested = 2023-09-02\n}\n";
}

/// What one piece is known by.
pub const SERIAL: FieldDef = own(optional(
    "serial",
    Type::Text,
    "What this piece is known by: the number stamped or marked on it (hose: identification number, NFPA 1962, from memory).",
));

/// When it was made.
pub const MADE: FieldDef = own(optional("made", Type::Date, "The day it was made."));

/// When it went into service.
pub const PLACED_IN_SERVICE: FieldDef = own(optional(
    "placed_in_service",
    Type::Date,
    "The day it first went into service.",
));

/// Whether it is in service.
pub const IN_SERVICE: FieldDef = own(default(
    "in_service",
    Type::Choice(&[
        ("yes", "It rides, or is ready to."),
        (
            "no",
            "It is out of service: in repair, condemned or in store.",
        ),
    ]),
    "yes",
    "common practice: what is listed is in service unless it is tagged",
    "Whether it is in service.",
));

/// When it was tested last.
pub const TESTED: FieldDef = own(optional(
    "tested",
    Type::Date,
    "The day of its last service test. A service test holds stored pressure: it is run by trained people, away from the line of the hose, under local codes.",
));

/// Compares the dates of a piece with each other.
pub(crate) fn check(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    let Some(made) = date(cx, d, MADE.name)? else {
        return Ok(());
    };
    for (field, said) in [
        (PLACED_IN_SERVICE.name, "went into service on"),
        (TESTED.name, "was tested on"),
    ] {
        let Some(day) = date(cx, d, field)? else {
            continue;
        };
        if day < made {
            let place = cx.place(d, field);
            let other: Local = cx.place(d, MADE.name);
            let message = format!(
                "{} `{}` {said} {day}, before it was made on {made}",
                cx.kind_word(d),
                cx.name(d)
            );
            cx.report(
                Finding::new(&GEAR_DATES, place, message)
                    .here("before it was made")
                    .label(other, "made")
                    .help("look the dates up in its record and mend the wrong one"),
            );
        }
    }
    Ok(())
}

fn date(cx: &mut Cx<'_>, d: DeclId, field: &str) -> Eval<Option<Date>> {
    Ok(match cx.get(d, field)? {
        Value::Date(day) => Some(day),
        _ => None,
    })
}
