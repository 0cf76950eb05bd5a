//! The `lay`: hose and appliances, written as chains.

use crate::codes::codes;
use crate::db::Cx;
use crate::schema::{BLANK, KindDef};
use crate::{DeclId, Eval};

codes! {
    /// Raised by `lay`.
    LAY_STATION = "CW1601" "lay-station" Error, "A station of a lay that does not fit its place.",
        "A chain begins at a pump's `discharge`, at a supply or at a named station, and goes on through hose (`300 ft of NAME`), appliances and named stations; a nozzle or a pump's `intake` ends it.",
        fires "pump p { rating = 500 gpm at 150 psi }\nlay l { p.discharge -> n: std.fog_150_100 -> 50 ft of std.attack_1_3_4 -> m: std.fog_150_100 }\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nlay l { p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100 }\n";
    /// Raised by `lay`.
    LAY_LOOSE = "CW1602" "lay-not-joined" Error, "Part of a lay is joined to no pump.",
        "Every station must be reached from a pump's `discharge` along the chains.",
        fires "pump p { rating = 500 gpm at 150 psi }\nlay l {\n    p.discharge -> 50 ft of std.attack_1_3_4 -> n: std.fog_150_100\n    y: std.gated_wye -> 50 ft of std.attack_1_3_4 -> m: std.fog_150_100\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nlay l {\n    p.discharge -> 50 ft of std.attack_1_3_4 -> y: std.gated_wye\n    y -> 50 ft of std.attack_1_3_4 -> m: std.fog_150_100\n}\n";
    /// Raised by `lay`.
    LAY_HEIGHT = "CW1603" "lay-heights" Error, "Two ways to one station give it two heights.",
        "The rises and falls along two chains that meet must agree.",
        fires "pump p { rating = 500 gpm at 150 psi }\nlay l {\n    p.discharge -> 50 ft of std.supply_2_1_2 rise 5 ft -> s: std.siamese\n    p.discharge -> 50 ft of std.supply_2_1_2 -> s\n    s -> n: std.fog_150_100\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nlay l {\n    p.discharge -> 50 ft of std.supply_2_1_2 rise 5 ft -> s: std.siamese\n    p.discharge -> 50 ft of std.supply_2_1_2 rise 5 ft -> s\n    s -> n: std.fog_150_100\n}\n";
    /// Raised by `lay`.
    LAY_DEAD_END = "CW1604" "lay-dead-end" Warning, "A line that ends without a nozzle.",
        "Water flows only where it can leave. A chain that ends at hose or an appliance from which nothing leads on is a closed end.",
        fires "pump p { rating = 500 gpm at 150 psi }\nlay l {\n    p.discharge -> 50 ft of std.supply_2_1_2 -> y: std.gated_wye\n    y -> n: std.fog_150_100\n    y -> 50 ft of std.attack_1_3_4 -> z: std.gated_wye\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nlay l {\n    p.discharge -> 50 ft of std.supply_2_1_2 -> y: std.gated_wye\n    y -> n: std.fog_150_100\n}\n";
}

/// A hose lay.
pub static LAY: KindDef = KindDef {
    word: "lay",
    doc: "A hose lay, written as chains of stations joined by `->`: `main.discharge -> 300 ft of stock.supply_3 rise 8 ft -> y1: std.gated_wye`, then `y1 -> … -> left: std.fog_150_100`. A chain begins at a pump's `discharge`, at a named station or at a supply, and may end at another pump's `intake`: `source.discharge -> 900 ft of stock.supply_5 -> relay.intake`. A name before `:` names the station, or the pump, so that other chains and duties can speak of it. After a length of hose, `rise 8 ft` or `fall 8 ft` says how much higher or lower its far end is, and `lines 2` that two equal lines lie side by side.",
    chains: true,
    check: Some(check),
    ..BLANK
};

fn check(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    crate::hydraulic::graph(cx, d)?;
    Ok(())
}
