//! The kinds, each defined once: its table, formulas and checks in one file.

mod compare;
pub mod drive;
pub mod duty;
pub(crate) mod every;
pub mod gear;
pub mod lay;
pub mod line;
pub mod pump;
pub mod rotor;
pub mod rule;
pub mod service;
pub mod supply;
pub mod surroundings;

use crate::schema::KindDef;
use cutwater_finding::Code;

pub(crate) use every::source_text as rule_text;
pub use rule::{LET, REQUIRE};

/// All kinds, in the order the reference shows them.
pub static ALL: &[&KindDef] = &[
    &surroundings::SITE,
    &surroundings::WATER,
    &surroundings::MATERIAL,
    &rotor::IMPELLER,
    &rotor::RING,
    &pump::PUMP,
    &drive::DRIVE,
    &supply::SUPPLY,
    &line::HOSE,
    &line::NOZZLE,
    &line::APPLIANCE,
    &lay::LAY,
    &duty::DUTY,
    &service::PROCEDURE,
    &service::INSTRUMENT,
    &service::TEST,
    &LET,
    &REQUIRE,
];

/// The findings declared in the kinds' files.
pub static CODES: &[&[&Code]] = &[
    rule::CODES,
    every::CODES,
    surroundings::CODES,
    rotor::CODES,
    pump::checks::CODES,
    pump::wear::CODES,
    pump::trim::CODES,
    pump::heat::CODES,
    pump::changeover::CODES,
    pump::prediction::CODES,
    drive::CODES,
    line::CODES,
    gear::CODES,
    supply::CODES,
    lay::CODES,
    duty::CODES,
    duty::checks::CODES,
    service::CODES,
];
