//! The standard library: ordinary `.pump` files shipped in the binary, under the name `std`.

/// The name it goes by in a path.
pub const NAME: &str = "std";

/// What its files' paths begin with. No path of a workspace holds `//`, so none can be taken for one of these.
pub const PREFIX: &str = "std://";

/// Its files: name and text.
pub static FILES: &[(&str, &str)] = &[
    ("hose.pump", include_str!("std/hose.pump")),
    ("nozzle.pump", include_str!("std/nozzle.pump")),
    ("appliance.pump", include_str!("std/appliance.pump")),
    ("suction.pump", include_str!("std/suction.pump")),
    ("material.pump", include_str!("std/material.pump")),
    ("procedure.pump", include_str!("std/procedure.pump")),
];
