//! The `lay`: hose and appliances, written as chains.

use crate::codes::codes;
use crate::schema::{BLANK, KindDef};

codes! {}

/// A hose lay.
pub static LAY: KindDef = KindDef {
    word: "lay",
    doc: "A hose lay, written as chains of stations joined by `->`: `main.discharge -> 300 ft of stock.supply_3 rise 8 ft -> y1: std.gated_wye`, then `y1 -> … -> left: std.fog_150_100`. A name before `:` names the station, so that other chains and duties can speak of it.",
    chains: true,
    ..BLANK
};
