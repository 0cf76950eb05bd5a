//! The `pump`: rating, stages, tested curves.
//!
//! A pump's curve is one of its tables, or follows from the curve of one stage by how the stages are joined
//! (`curve_for`). Invariants: nothing is read outside the tested flows; power and NPSH required are read from
//! those rows alone that give them.
//!
//! What it does not do: predict a curve from the impeller's dimensions, wear, or a pump's work in a lay.

use super::rotor::{given, need, with_number};
use super::surroundings::nameless;
use crate::codes::{TABLE_SHAPE, codes};
use crate::db::{Cx, Local};
use crate::schema::short::{column, extra_column, optional, positive, required, signed};
use crate::schema::{BLANK, ColumnDef, ComputedDef, KindDef, PartDef, Sign, TableDef, Type};
use crate::show;
use crate::slots::{decl_of, find};
use crate::value::{Cell, Origin, Quantity, Table, Value};
use crate::{DeclId, Eval};
use cutwater_finding::Finding;
use cutwater_hydraulics::affinity;
use cutwater_hydraulics::pump::{PumpCurve, PumpPoints};
use cutwater_hydraulics::water::Water;
use cutwater_quantity::{CompoundUnit, Gallon, Kind, Tol};
use cutwater_syntax::ast::EntryKind;
use cutwater_text::Span;
use std::f64::consts::PI;
use std::sync::Arc;

codes! {
    /// Raised by `pump`.
    CURVE_RISES = "CW1301" "curve-rises" Warning, "A pump curve that rises with flow.",
        "Where the net pressure climbs with the flow, two flows share one pressure and the pump may hunt between them. Some pumps do so near shut-off; a single high row is more often a misread gauge or a slip of digits. Check the row, or throttle so that the pump works on the falling branch.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 215\n         625 222\n        1250 176\n        1500 141\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n";
    /// Raised by `pump`.
    EFFICIENCY = "CW1302" "efficiency-impossible" Error, "A row of a curve with an efficiency no such pump has.",
        "Efficiency is water power (flow times net pressure) over shaft power. Fire pumps reach 68 to 75 % (published), the best centrifugal pumps of any size about 90 % (texts, from memory). More than 90 % means a unit or a digit is wrong: kW written as hp makes it 1.34 times too high, and the engine's power is not the shaft's.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  39\n         625 222  88\n        1250 176 127\n        1500 141 135\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power kW) {\n           0 231  39\n         625 222  88\n        1250 176 127\n        1500 141 135\n    }\n}\n";
    /// Raised by `pump`.
    POWER_ZERO = "CW1303" "power-zero" Error, "A row of a curve with no power.",
        "A turning pump takes power at every flow, at shut-off too, where all of it heats the water. Where the power was not measured write `-`.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231   0\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231   -\n         625 222 118\n        1250 176 170\n        1500 141 181\n    }\n}\n";
    /// Raised by `pump`.
    CURVE_GALLONS = "CW1304" "curve-gallons" Warning, "Rating and curve are in different gallons.",
        "An imperial gallon is 1.20095 US gallons. The values are converted rightly, but one of the two is more likely a slip. Write both in the same gallon.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow igpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n";
    /// Raised by `pump`.
    STAGES_JOIN = "CW1305" "stages-join" Error, "Stages, connection and curves of a pump do not agree.",
        "`connection` says how the stages are joined: `single` has one stage, the others two or more. A changeover pump needs its curve in both positions: `series_curve` and `parallel_curve`, or `stage_curve` from which both follow.",
        fires "impeller wheel { outside_diameter = 9.25 in }\npump main {\n    rating = 1250 gpm at 150 psi\n    stages = [wheel, wheel]\n    connection = single\n}\n",
        silent "impeller wheel { outside_diameter = 9.25 in }\npump main {\n    rating = 1250 gpm at 150 psi\n    stages = [wheel, wheel]\n    connection = series\n}\n";
    /// Raised by `pump`.
    RATING_BEYOND = "CW1306" "rating-beyond-curve" Warning, "The rating lies outside the tested flows.",
        "The rating is carried to the curve by the affinity laws: flow with the speed, pressure with its square. There it lies beyond the first or last tested flow, and nothing is read outside the tested flows: speed, power and efficiency at the rating are not known. Test further, or check the rating.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n         900 205\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n";
    /// Raised by `pump`.
    RATING_NOT_MADE = "CW1307" "rating-not-made" Error, "The curve never reaches the rated pressure.",
        "At the speed it was tested at the pump makes less than its rated pressure at every flow. Either the curve was taken at a low speed, and the pump may turn faster (then say how fast with `maximum_speed`), or a unit is wrong: a net pressure in bar under a head that says psi, or a head in metres.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 131\n         625 122\n        1250 106\n        1500  91\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    maximum_speed = 4200 rpm\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 131\n         625 122\n        1250 106\n        1500  91\n    }\n}\n";
    /// Raised by `pump`.
    OVER_SPEED = "CW1308" "over-maximum-speed" Error, "The rating needs more than the highest speed allowed.",
        "By the affinity laws the pump must turn faster than `maximum_speed` to make its rating. A wheel turned too fast can burst: the limit of the maker holds. Check the curve's speed, or rate the pump lower.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    maximum_speed = 3000 rpm\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    maximum_speed = 3600 rpm\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n";
    /// Raised by `pump`.
    NO_CURVE = "CW1309" "no-curve" Advice, "A pump without a curve.",
        "Without a tested curve only geometry is known of the pump: no speed, power or efficiency at its rating, and no duty can be solved with it. Give the curve as tested: `curve at 3300 rpm (flow gpm, net psi, power hp) { … }`.",
        fires "pump main { rating = 1250 gpm at 150 psi }\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n";
    /// Raised by `pump`.
    BEST_AT_END = "CW1310" "best-at-end" Advice, "The efficiency is still rising where the test ends.",
        "The best efficiency lies beyond the last tested flow, so it and the specific speed are not known. Test at larger flows to find it.",
        fires "pump main {\n    rating = 750 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1000 200 150\n    }\n}\n",
        silent "pump main {\n    rating = 750 gpm at 150 psi\n    curve at 3300 rpm (flow gpm, net psi, power hp) {\n           0 231  52\n         625 222 118\n        1000 200 150\n        1250 176 170\n        1500 141 181\n    }\n}\n";
    /// Raised by `pump`.
    LEAK_UNKNOWN = "CW1312" "leakage-unknown" Error, "What other rings than the tested ones cost cannot be computed.",
        "A pump whose `rings` are not its `tested_rings` gives less, or more, than its curve: what leaks back through them is computed from the first stage's outside diameter and, of each ring, the diameter it runs on, its clearance, `land_length` and, of a labyrinth, `gaps`. Something of that is missing, so the curve cannot be moved and nothing is computed from it.",
        fires "impeller wheel {\n    outside_diameter = 10 in\n}\nring new {\n    bore        = 5.505 in\n    runs_on     = 5.500 in\n}\nring worn like new { bore = 5.520 in }\npump main {\n    rating = 500 gpm at 150 psi\n    stages = [wheel]\n    rings  = [worn]\n    tested_rings = [new]\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 185\n        700 150\n    }\n}\n",
        silent "impeller wheel {\n    outside_diameter = 10 in\n}\nring new {\n    bore        = 5.505 in\n    runs_on     = 5.500 in\n    land_length = 0.75 in\n}\nring worn like new { bore = 5.520 in }\npump main {\n    rating = 500 gpm at 150 psi\n    stages = [wheel]\n    rings  = [worn]\n    tested_rings = [new]\n    curve at 3000 rpm (flow gpm, net psi) {\n        0 200\n        300 185\n        700 150\n    }\n}\n";
    /// Raised by `pump`.
    CURVE_UNUSED = "CW1311" "curve-unused" Warning, "A curve that is not used with this connection.",
        "`connection` says how the stages are joined, and this table belongs to another way. Take it out, or change the connection.",
        fires "pump main {\n    rating = 1250 gpm at 150 psi\n    connection = single\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n    series_curve at 3300 rpm (flow gpm, net psi) {\n           0 462\n         625 444\n        1250 352\n    }\n}\n",
        silent "pump main {\n    rating = 1250 gpm at 150 psi\n    connection = single\n    curve at 3300 rpm (flow gpm, net psi) {\n           0 231\n         625 222\n        1250 176\n        1500 141\n    }\n}\n";
}

/// `1250 gpm at 150 psi`.
pub static FLOW_AT_PRESSURE: &[PartDef] = &[
    PartDef {
        word: "",
        name: "flow",
        kind: Kind::Flow,
        optional: false,
    },
    PartDef {
        word: "at",
        name: "pressure",
        kind: Kind::Pressure,
        optional: false,
    },
];

static CURVE_COLUMNS: &[ColumnDef] = &[
    column("flow", Kind::Flow, "Flow delivered."),
    column(
        "net",
        Kind::Pressure,
        "Net pressure: discharge less intake, with elevations and velocity heads.",
    ),
    extra_column("power", Kind::Power, "Power taken at the pump shaft."),
    extra_column("npshr", Kind::Head, "Net positive suction head required."),
];

const fn curve(name: &'static str, doc: &'static str) -> TableDef {
    TableDef {
        name,
        doc,
        required: false,
        at: Some(("speed", Kind::RotationalSpeed, true)),
        columns: CURVE_COLUMNS,
        rising: true,
        least_rows: 3,
    }
}

/// A pump.
pub static PUMP: KindDef = KindDef {
    word: "pump",
    doc: "A centrifugal fire pump: what it is rated for, its stages and rings, and its curve as tested.",
    fields: &[
        required(
            "rating",
            Type::Phrase(FLOW_AT_PRESSURE),
            "Rated capacity and the net pressure it belongs to, as `1250 gpm at 150 psi`.",
        ),
        optional(
            "stages",
            Type::RefList(&["impeller"]),
            "Its impellers, in the order the water passes them.",
        ),
        optional("rings", Type::RefList(&["ring"]), "Its wear rings."),
        optional(
            "tested_rings",
            Type::RefList(&["ring"]),
            "The wear rings its curve was tested with, where those of `rings` are others now: worn, or new. The curve then counts what leaks more, or less.",
        ),
        optional(
            "connection",
            Type::Choice(&[
                ("single", "One stage."),
                ("series", "Each stage adds its pressure."),
                ("parallel", "Each stage adds its flow."),
                (
                    "changeover",
                    "Series or parallel, by a changeover (transfer) valve.",
                ),
            ]),
            "How its stages are joined.",
        ),
        optional(
            "volute",
            Type::Choice(&[
                (
                    "single",
                    "One volute: side load on the shaft away from the best flow.",
                ),
                (
                    "double",
                    "Two volutes half a turn apart: side loads nearly cancel.",
                ),
            ]),
            "The passage round the impeller.",
        ),
        optional(
            "suction_diameter",
            positive(Kind::Length),
            "Inside diameter where the intake gauge is tapped.",
        ),
        optional(
            "discharge_diameter",
            positive(Kind::Length),
            "Inside diameter where the discharge gauge is tapped.",
        ),
        optional(
            "maximum_speed",
            positive(Kind::RotationalSpeed),
            "Highest speed of the pump shaft allowed.",
        ),
    ],
    tables: &[
        curve("curve", "The curve as tested, at one speed."),
        curve(
            "stage_curve",
            "The curve of one stage as tested; series and parallel follow from it.",
        ),
        curve(
            "series_curve",
            "The curve in series (pressure position) as tested.",
        ),
        curve(
            "parallel_curve",
            "The curve in parallel (volume position) as tested.",
        ),
    ],
    computed: &[
        ComputedDef {
            name: "ring_leakage",
            ty: positive(Kind::Flow),
            doc: "Water that runs back through all its wear rings at the speed of its curve, rotor in the middle.",
            formula: "each ring: ρ V²/2 · (0.5 + f L/c + 1.0) over its gaps = ¾ ρ (u₂² − u_ring²) / 2, V · area",
            source: "head across a ring after Stepanoff (1957), from memory; entrance and exit 0.5 and 1.0 velocity heads (published); friction by Blasius with the shaft's turning after Hirs (1973)",
            solved: false,
            hint: false,
            eval: ring_leakage,
        },
        ComputedDef {
            name: "extra_leakage",
            ty: signed(Kind::Flow),
            doc: "How much more runs back through `rings` than through `tested_rings`, by which the tested curve moves.",
            formula: "ring_leakage − the same of tested_rings",
            source: "first-order model: the impeller passes what is delivered and what leaks back",
            solved: false,
            hint: false,
            eval: extra_leakage,
        },
        ComputedDef {
            name: "wear_loss",
            ty: signed(Kind::Pressure),
            doc: "Net pressure that other rings than the tested ones cost at the rated flow, at the speed of the curve.",
            formula: "tested net at rating.flow − net at rating.flow with extra_leakage",
            source: "first-order model: the impeller passes what is delivered and what leaks back",
            solved: false,
            hint: false,
            eval: wear_loss,
        },
        ComputedDef {
            name: "water_power",
            ty: Type::Quantity(Kind::Power, Sign::Positive),
            doc: "Power in the water at the rating.",
            formula: "rating.flow · rating.pressure",
            source: "definition; in the trade's units gpm · psi / 1714 hp",
            solved: false,
            hint: true,
            eval: water_power,
        },
        ComputedDef {
            name: "rated_speed",
            ty: Type::Quantity(Kind::RotationalSpeed, Sign::Positive),
            doc: "Speed of the pump shaft at which the tested curve makes the rating; of a changeover pump in parallel (volume).",
            formula: "the tested point (q, p) with p / q² = rating.pressure / rating.flow², then n = tested speed · rating.flow / q",
            source: "affinity laws: flow with the speed, pressure with its square",
            solved: false,
            hint: true,
            eval: rated_speed,
        },
        ComputedDef {
            name: "rated_shaft_power",
            ty: Type::Quantity(Kind::Power, Sign::Positive),
            doc: "Power at the pump shaft at the rating.",
            formula: "tested power at q · (rated_speed / tested speed)³",
            source: "affinity laws",
            solved: false,
            hint: false,
            eval: rated_shaft_power,
        },
        ComputedDef {
            name: "rated_efficiency",
            ty: Type::Quantity(Kind::Ratio, Sign::Positive),
            doc: "Efficiency at the rating.",
            formula: "water_power / rated_shaft_power",
            source: "definition",
            solved: false,
            hint: false,
            eval: rated_efficiency,
        },
        ComputedDef {
            name: "rated_npshr",
            ty: Type::Quantity(Kind::Head, Sign::Positive),
            doc: "Net positive suction head required at the rating. The law is good near the tested speed and less far from it.",
            formula: "tested NPSH required at q · (rated_speed / tested speed)²",
            source: "affinity laws; scaling of NPSH from memory of Hydraulic Institute practice",
            solved: false,
            hint: false,
            eval: rated_npshr,
        },
        ComputedDef {
            name: "best_efficiency",
            ty: Type::Quantity(Kind::Ratio, Sign::Positive),
            doc: "Best efficiency inside the tested flows; not given where it still rises at the last one.",
            formula: "largest flow · net / power",
            source: "definition, on the shape-preserving curve through the tested rows",
            solved: false,
            hint: true,
            eval: best_efficiency,
        },
        ComputedDef {
            name: "best_flow",
            ty: Type::Quantity(Kind::Flow, Sign::Positive),
            doc: "Flow of the best efficiency, at the speed of the curve.",
            formula: "flow where flow · net / power is largest",
            source: "definition, on the shape-preserving curve through the tested rows",
            solved: false,
            hint: false,
            eval: best_flow,
        },
        ComputedDef {
            name: "shutoff_pressure",
            ty: Type::Quantity(Kind::Pressure, Sign::Positive),
            doc: "Net pressure with all discharges shut, at the speed of the curve; of a changeover pump in series (pressure), where it is highest. Intake pressure comes on top. Do not run a pump shut for long: the water heats and can scald.",
            formula: "net at no flow",
            source: "the tested row with no flow",
            solved: false,
            hint: false,
            eval: shutoff_pressure,
        },
        ComputedDef {
            name: "specific_speed",
            ty: Type::Quantity(Kind::Number, Sign::Positive),
            doc: "Specific speed of one stage at its best efficiency, in US units: rpm, gpm, ft.",
            formula: "n · √Q / H^0.75, Q and H of one stage at best efficiency",
            source: "Hydraulic Institute definition",
            solved: false,
            hint: false,
            eval: specific_speed,
        },
        ComputedDef {
            name: "type_number",
            ty: Type::Quantity(Kind::Number, Sign::Positive),
            doc: "Type number K of one stage at its best efficiency, without dimension: the US specific speed over 2733.",
            formula: "ω · √Q / (g · H)^0.75, Q and H of one stage at best efficiency",
            source: "ISO 9906 definition",
            solved: false,
            hint: false,
            eval: type_number,
        },
        ComputedDef {
            name: "tip_speed",
            ty: Type::Quantity(Kind::Speed, Sign::Positive),
            doc: "Speed of the first stage's outside diameter at the rating.",
            formula: "rated_speed · outside_diameter / 2",
            source: "geometry",
            solved: false,
            hint: false,
            eval: tip_speed,
        },
        ComputedDef {
            name: "exit_velocity",
            ty: Type::Quantity(Kind::Speed, Sign::Positive),
            doc: "Mean velocity of the water out of the first stage at the rating, in the meridian (without whirl) and without the leak through the rings.",
            formula: "flow of one stage at the rating / exit_area",
            source: "continuity",
            solved: false,
            hint: false,
            eval: exit_velocity,
        },
        ComputedDef {
            name: "vane_pass_frequency",
            ty: Type::Quantity(Kind::Frequency, Sign::Positive),
            doc: "How often a vane of the first stage passes the cutwater, at the rating.",
            formula: "vanes · rated_speed / one turn",
            source: "geometry",
            solved: false,
            hint: false,
            eval: vane_pass_frequency,
        },
    ],
    check: Some(check_pump),
    ..BLANK
};

/// How the pump's curve follows from one of its tables.
#[derive(Clone, Copy, PartialEq, Debug)]
enum Join {
    /// The table is the pump's own curve.
    AsTested,
    /// The table is that of one stage; this many add their pressures.
    Series(u32),
    /// The table is that of one stage; this many add their flows.
    Parallel(u32),
}

/// The table a pump's curve comes from.
struct Source {
    name: &'static str,
    table: Arc<Table>,
    join: Join,
    /// How many stages add their pressures in the joined curve; `None` where that is not known.
    in_series: Option<u32>,
    /// How many stages add their flows in it; `None` where that is not known.
    in_parallel: Option<u32>,
    origin: Origin,
    /// Water that runs back through the rings beyond what did in the test, m³/s through the whole pump.
    leak: f64,
}

impl Source {
    /// The unit a column was written in.
    fn unit(&self, column: &str) -> Option<Arc<CompoundUnit>> {
        self.table.columns.iter().find(|c| c.0 == column)?.1.clone()
    }

    /// A value read from the curve, in the unit of a column.
    fn read(&self, kind: Kind, si: f64, column: &str) -> Quantity {
        let mut q = Quantity::computed(kind, si).origin(self.origin.with(Origin::Computed));
        q.unit = self.unit(column);
        q.gallon = q.unit.as_ref().and_then(|u| u.gallon());
        q
    }
}

/// The tables that may hold a curve.
const CURVES: [&str; 4] = ["curve", "stage_curve", "series_curve", "parallel_curve"];

/// How a pump's stages are joined, as far as it says.
struct Layout {
    connection: Option<&'static str>,
    /// How many stages; zero where they are not given.
    stages: u32,
    tables: [Option<Arc<Table>>; 4],
}

impl Layout {
    fn read(cx: &mut Cx<'_>, pump: DeclId) -> Eval<Result<Self, Value>> {
        let connection = match cx.get(pump, "connection")? {
            Value::Choice(w) => Some(w),
            Value::Unknown => return Ok(Err(Value::Unknown)),
            _ => None,
        };
        let stages = match cx.get(pump, "stages")? {
            Value::List(l) => l.len() as u32,
            Value::Unknown => return Ok(Err(Value::Unknown)),
            _ => 0,
        };
        let mut tables: [Option<Arc<Table>>; 4] = [const { None }; 4];
        for (k, name) in CURVES.into_iter().enumerate() {
            match cx.get(pump, name)? {
                Value::Table(t) => tables[k] = Some(t),
                Value::Unknown => return Ok(Err(Value::Unknown)),
                _ => {}
            }
        }
        Ok(Ok(Self {
            connection,
            stages,
            tables,
        }))
    }

    /// Whether it has a changeover valve. Curves by position say so themselves.
    fn changes(&self) -> bool {
        let by_position = self.tables[2].is_some() || self.tables[3].is_some();
        self.connection == Some("changeover") || self.connection.is_none() && by_position
    }

    /// What the curve is read from in a position; `None` where no table fits.
    fn source(&self, position: Option<&str>) -> Option<Source> {
        let mut origin = Origin::Measured;
        let way = if self.changes() {
            position.unwrap_or_else(|| {
                origin = Origin::Assumed;
                "parallel"
            })
        } else {
            self.connection
                .unwrap_or(if self.stages > 1 { "unsaid" } else { "single" })
        };
        let known = (self.stages > 0).then_some(self.stages);
        let (in_series, in_parallel) = match way {
            "single" => (Some(1), Some(1)),
            "series" => (known, Some(1)),
            "parallel" => (Some(1), known),
            _ => (None, None),
        };
        let [whole, stage, series, parallel] = &self.tables;
        let tested = match way {
            "series" => series.as_ref().map(|t| ("series_curve", t)),
            "parallel" => parallel.as_ref().map(|t| ("parallel_curve", t)),
            _ => None,
        };
        let whole = whole.as_ref().filter(|_| !self.changes());
        let tested = tested.or(whole.map(|t| ("curve", t)));
        if let Some((name, table)) = tested {
            return Some(Source {
                name,
                table: table.clone(),
                join: Join::AsTested,
                in_series,
                in_parallel,
                origin,
                leak: 0.0,
            });
        }
        let join = match (way, known) {
            ("single", _) => Join::AsTested,
            ("series", Some(n)) => Join::Series(n),
            ("parallel", Some(n)) => Join::Parallel(n),
            // How many stages, or how they are joined, is not known; the check says so.
            _ => return None,
        };
        if join != Join::AsTested {
            origin = origin.with(Origin::Computed);
        }
        Some(Source {
            name: "stage_curve",
            table: stage.clone()?,
            join,
            in_series,
            in_parallel,
            origin,
            leak: 0.0,
        })
    }
}

/// What a pump's curve is read from in a position of its changeover valve. `Err` holds what its reader is worth:
/// `Unknown` where a table is faulty (reported there), `Absent` where no table fits.
fn source(cx: &mut Cx<'_>, pump: DeclId, position: Option<&str>) -> Eval<Result<Source, Value>> {
    let mut source = match tested_source(cx, pump, position)? {
        Ok(s) => s,
        Err(v) => return Ok(Err(v)),
    };
    match cx.get(pump, "extra_leakage")? {
        Value::Quantity(q) if q.si() != 0.0 => {
            source.leak = q.si();
            source.origin = source.origin.with(Origin::Predicted);
            Ok(Ok(source))
        }
        // Told where it could not be computed.
        Value::Unknown => Ok(Err(Value::Unknown)),
        _ => Ok(Ok(source)),
    }
}

/// [`source`] with the rings of the test.
fn tested_source(
    cx: &mut Cx<'_>,
    pump: DeclId,
    position: Option<&str>,
) -> Eval<Result<Source, Value>> {
    Ok(match Layout::read(cx, pump)? {
        Ok(layout) => layout.source(position).ok_or(Value::Absent),
        Err(v) => Err(v),
    })
}

/// The rows of a table that give `net` and, where one is named, `column`.
fn points(table: &Table, column: Option<&str>) -> Option<PumpPoints> {
    let column_of = |name: &str| table.columns.iter().find(|c| c.0 == name).map(|c| &c.2);
    let number = |name: &str, row: usize| match column_of(name)?.get(row)? {
        Cell::Number(v) => Some(*v),
        _ => None,
    };
    let rows: Vec<usize> = (0..table.rows)
        .filter(|r| number("net", *r).is_some() && column.is_none_or(|c| number(c, *r).is_some()))
        .collect();
    let all = |name: &str| {
        rows.iter()
            .map(|r| number(name, *r))
            .collect::<Option<Vec<f64>>>()
    };
    Some(PumpPoints {
        tested_speed: table.at.as_ref()?.si(),
        flow: all("flow")?,
        rise: all("net")?,
        power: all("power"),
        npshr: all("npshr"),
    })
}

fn joined(source: &Source, column: Option<&str>) -> Option<PumpCurve> {
    let curve = PumpCurve::new(points(&source.table, column)?).ok()?;
    let curve = match source.join {
        Join::AsTested => curve,
        Join::Series(n) => curve.in_series(n).ok()?,
        Join::Parallel(n) => curve.in_parallel(n).ok()?,
    };
    if source.leak == 0.0 {
        return Some(curve);
    }
    // Stages in series share the rings: each passes the same water and leaks its part.
    curve
        .with_leak(source.leak / f64::from(source.in_series.unwrap_or(1).max(1)))
        .ok()
}

/// The pump's curve and what it rests on.
///
/// `position` is that of a changeover valve, `series` or `parallel`; it is not looked at for other pumps. A
/// changeover pump without a position is taken in parallel (volume), and the curve is then `Assumed`. Power is in
/// it where every row gives it, and NPSH required likewise; with gaps, see [`curve_with`].
///
/// `None` where no table fits, or where one is faulty; both are reported at the pump.
pub(crate) fn curve_for(
    cx: &mut Cx<'_>,
    pump: DeclId,
    position: Option<&str>,
) -> Eval<Option<(PumpCurve, Origin)>> {
    let source = source(cx, pump, position)?;
    Ok(source
        .ok()
        .and_then(|s| Some((joined(&s, None)?, s.origin))))
}

/// The pump's curve through those rows alone that give `column` (`power` or `npshr`): what that quantity is read
/// from where some rows leave it out. Its tested flows may be fewer than those of [`curve_for`].
pub(crate) fn curve_with(
    cx: &mut Cx<'_>,
    pump: DeclId,
    position: Option<&str>,
    column: &str,
) -> Eval<Option<(PumpCurve, Origin)>> {
    let source = source(cx, pump, position)?;
    Ok(source
        .ok()
        .filter(|s| s.table.has(column))
        .and_then(|s| Some((joined(&s, Some(column))?, s.origin))))
}

// ---- computed properties -----------------------------------------------------------------------------

/// The position of a changeover valve in which a pump makes its rating: rated capacity is made in volume.
/// Common practice; the changeover is to pressure for small flows at high pressures.
const RATED: Option<&str> = Some("parallel");

/// Flow and pressure of the rating.
fn rating(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<(Quantity, Quantity), Value>> {
    Ok(match cx.get(d, "rating")? {
        Value::Phrase(parts) => {
            let part = |name: &str| parts.iter().find(|p| p.0 == name).map(|p| p.1.clone());
            match (part("flow"), part("pressure")) {
                (Some(q), Some(p)) if q.si() > 0.0 && p.si() > 0.0 => Ok((q, p)),
                _ => Err(Value::Unknown),
            }
        }
        Value::Unknown => Err(Value::Unknown),
        _ => Err(Value::Absent),
    })
}

/// What runs back through rings at a shaft speed (rad/s), m³/s; the inner error names what is not given, with its place.
fn leak_of(
    cx: &mut Cx<'_>,
    d: DeclId,
    rings: &[DeclId],
    speed: f64,
) -> Eval<Result<Option<f64>, (Local, String)>> {
    use cutwater_mechanics::leakage::{Conditions, FrictionLaw, Gap, Rotation, chain_leakage};
    let Some(air) = crate::hydraulic::surroundings(cx, d)? else {
        return Ok(Ok(None));
    };
    let stage = match cx.get(d, "stages")? {
        Value::List(l) => l.iter().find_map(|v| match v {
            Value::Decl(i) => Some(*i),
            _ => None,
        }),
        Value::Unknown => return Ok(Ok(None)),
        _ => None,
    };
    let Some(stage) = stage else {
        return Ok(Err((Local::Head(d), "`stages` is not given".to_owned())));
    };
    let at = Conditions {
        density: air.density,
        kinematic_viscosity: air.viscosity / air.density,
        speed,
    };
    let mut sum = 0.0;
    for &ring in rings {
        let mut of = |decl: DeclId, field: &str| -> Eval<Result<f64, Option<(Local, String)>>> {
            Ok(match cx.get(decl, field)? {
                Value::Quantity(q) => Ok(q.si()),
                Value::Absent => Err(Some((
                    Local::Head(decl),
                    format!("`{field}` of `{}` is not given", cx.name(decl)),
                ))),
                _ => Err(None),
            })
        };
        let mut numbers = [0.0; 4];
        let wanted = [
            (stage, "outside_diameter"),
            (ring, "runs_on"),
            (ring, "clearance"),
            (ring, "land_length"),
        ];
        for (n, (decl, field)) in numbers.iter_mut().zip(wanted) {
            match of(decl, field)? {
                Ok(v) => *n = v,
                Err(None) => return Ok(Ok(None)),
                Err(Some(why)) => return Ok(Err(why)),
            }
        }
        let [outside, diameter, clearance, length] = numbers;
        let gaps = match cx.choice(ring, "form")? {
            Some("stepped") => 2,
            Some("labyrinth") => match cx.si(ring, "gaps")? {
                Some(n) => n as usize,
                None => {
                    let why = format!("`gaps` of `{}` is not given", cx.name(ring));
                    return Ok(Err((Local::Head(ring), why)));
                }
            },
            _ => 1,
        };
        let gap = Gap {
            diameter,
            clearance,
            length,
            inlet_loss: 0.5,
            exit_loss: 1.0,
            roughness: 0.0,
        };
        let (tip, here) = (0.5 * speed * outside, 0.5 * speed * diameter);
        let pressure = 0.75 * 0.5 * air.density * (tip * tip - here * here);
        let gaps = vec![gap; gaps.max(1)];
        let turns = vec![0.0; gaps.len() - 1];
        let leak = chain_leakage(
            &gaps,
            &turns,
            pressure,
            &at,
            FrictionLaw::Blasius,
            Rotation::BulkFlow,
        );
        match leak {
            Ok(q) => sum += q,
            Err(e) => {
                return Ok(Err((
                    Local::Head(ring),
                    format!("`{}`: {e}", cx.name(ring)),
                )));
            }
        }
    }
    Ok(Ok(Some(sum)))
}

/// The rings of a field, and the speed of the curve they are looked at with.
fn rings_of(cx: &mut Cx<'_>, d: DeclId, field: &str) -> Eval<Result<(Vec<DeclId>, f64), Value>> {
    let list = match cx.get(d, field)? {
        Value::List(l) => l,
        Value::Unknown => return Ok(Err(Value::Unknown)),
        _ => return Ok(Err(Value::Absent)),
    };
    let rings = list.iter().filter_map(|v| match v {
        Value::Decl(r) => Some(*r),
        _ => None,
    });
    let rings: Vec<DeclId> = rings.collect();
    let source = match tested_source(cx, d, RATED)? {
        Ok(s) => s,
        Err(v) => return Ok(Err(v)),
    };
    Ok(match source.table.at.as_ref() {
        Some(at) => Ok((rings, at.si())),
        None => Err(Value::Absent),
    })
}

fn ring_leakage(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (rings, speed) = given!(rings_of(cx, d, "rings"));
    if rings.is_empty() {
        return Ok(Value::Absent);
    }
    Ok(match leak_of(cx, d, &rings, speed)? {
        Ok(Some(q)) => Value::Quantity(Quantity::computed(Kind::Flow, q).origin(Origin::Predicted)),
        Ok(None) => Value::Unknown,
        // Only a comparison with the test needs it.
        Err(_) => Value::Absent,
    })
}

fn extra_leakage(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (tested, speed) = given!(rings_of(cx, d, "tested_rings"));
    let now = match rings_of(cx, d, "rings")? {
        Ok((r, _)) => r,
        Err(Value::Absent) => Vec::new(),
        Err(v) => return Ok(v),
    };
    let mut flows = [0.0; 2];
    for (q, rings) in flows.iter_mut().zip([&now, &tested]) {
        let why = match leak_of(cx, d, rings, speed)? {
            Ok(Some(leak)) => {
                *q = leak;
                continue;
            }
            Ok(None) => return Ok(Value::Unknown),
            Err(why) => why,
        };
        let place = cx.place(d, "tested_rings");
        let message = format!(
            "what the rings of `{}` cost against those of its test cannot be computed: {}",
            cx.name(d),
            why.1
        );
        cx.report(
            Finding::new(&LEAK_UNKNOWN, place, message)
                .here("compared with these")
                .label(why.0, "not enough is given here")
                .help(
                    "give it, or leave `tested_rings` out: then the curve counts as it was tested",
                ),
        );
        return Ok(Value::Unknown);
    }
    let [now, then] = flows;
    Ok(Value::Quantity(
        Quantity::computed(Kind::Flow, now - then).origin(Origin::Predicted),
    ))
}

fn wear_loss(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    if let Value::Absent = cx.get(d, "extra_leakage")? {
        return Ok(Value::Absent);
    }
    let (flow, _) = given!(rating(cx, d));
    let (tested, now) = (
        given!(tested_source(cx, d, RATED)),
        given!(source(cx, d, RATED)),
    );
    let net = |s: &Source| {
        let curve = joined(s, None)?;
        curve.rise(flow.si(), curve.tested_speed()).ok()
    };
    Ok(match (net(&tested), net(&now)) {
        (Some(a), Some(b)) => {
            let mut q = now.read(Kind::Pressure, a - b, "net");
            q.origin = q.origin.with(Origin::Predicted);
            Value::Quantity(q)
        }
        _ => Value::Absent,
    })
}

fn water_power(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (flow, pressure) = given!(rating(cx, d));
    let mut q = Quantity::from_tol(Kind::Power, flow.value.mul(&pressure.value))
        .origin(flow.origin.with(pressure.origin));
    q.unit = source(cx, d, RATED)?.ok().and_then(|s| s.unit("power"));
    Ok(Value::Quantity(q))
}

fn rated_speed(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (flow, pressure) = given!(rating(cx, d));
    let source = given!(source(cx, d, RATED));
    // What is wrong where there is none is said by the check.
    let Some(curve) = joined(&source, None) else {
        return Ok(Value::Absent);
    };
    let Ok(Some(speed)) = curve.speed_for(flow.si(), pressure.si()) else {
        return Ok(Value::Absent);
    };
    let mut q = Quantity::computed(Kind::RotationalSpeed, speed)
        .origin(source.origin.with(flow.origin).with(pressure.origin));
    q.unit = source.table.at.as_ref().and_then(|a| a.unit.clone());
    Ok(Value::Quantity(q))
}

/// A quantity of the curve at the rating: `column` is where it is given.
fn at_rating(
    cx: &mut Cx<'_>,
    d: DeclId,
    column: &str,
    kind: Kind,
    read: fn(&PumpCurve, f64, f64) -> Option<f64>,
) -> Eval<Result<Quantity, Value>> {
    let (flow, _) = match rating(cx, d)? {
        Ok(r) => r,
        Err(v) => return Ok(Err(v)),
    };
    let speed = match need(cx, d, "rated_speed")? {
        Ok(q) => q,
        Err(v) => return Ok(Err(v)),
    };
    let source = match source(cx, d, RATED)? {
        Ok(s) => s,
        Err(v) => return Ok(Err(v)),
    };
    if !source.table.has(column) {
        return Ok(Err(Value::Absent));
    }
    let value = joined(&source, Some(column)).and_then(|c| read(&c, flow.si(), speed.si()));
    Ok(value
        .map(|v| source.read(kind, v, column))
        .ok_or(Value::Absent))
}

fn rated_shaft_power(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let q = given!(at_rating(cx, d, "power", Kind::Power, |c, q, n| {
        c.power(q, n).ok().filter(|p| *p > 0.0)
    }));
    Ok(Value::Quantity(q))
}

fn rated_efficiency(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let shaft = given!(need(cx, d, "rated_shaft_power"));
    let water = given!(need(cx, d, "water_power"));
    Ok(match water.value.div(&shaft.value) {
        Ok(eta) => Value::Quantity(
            Quantity::from_tol(Kind::Ratio, eta).origin(shaft.origin.with(water.origin)),
        ),
        Err(_) => Value::Absent,
    })
}

fn rated_npshr(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let q = given!(at_rating(cx, d, "npshr", Kind::Head, |c, q, n| {
        c.npshr(q, n).ok()
    }));
    Ok(Value::Quantity(q))
}

/// The best efficiency of radial pumps of any size, about 90 %: texts, from memory.
const MOST_EFFICIENT: f64 = 0.90;

/// The best point of a curve at its tested speed.
#[derive(Clone, Copy)]
struct Best {
    flow: f64,
    rise: f64,
    efficiency: f64,
    /// It lies at the last tested flow: the true best may lie beyond.
    at_end: bool,
}

/// Looks for the best efficiency: on a grid, then by golden section between the neighbours of the best point.
fn best_point(curve: &PumpCurve) -> Option<Best> {
    const STEPS: u32 = 512;
    let speed = curve.tested_speed();
    let (low, high) = curve.domain(speed).ok()?;
    let eta = |q: f64| curve.efficiency(q, speed).unwrap_or(f64::NEG_INFINITY);
    let flow = |k: u32| low + (high - low) * f64::from(k) / f64::from(STEPS);
    let at = (0..=STEPS).max_by(|a, b| eta(flow(*a)).total_cmp(&eta(flow(*b))))?;
    let (mut a, mut b) = (flow(at.saturating_sub(1)), flow((at + 1).min(STEPS)));
    let part = 0.5 * (5.0_f64.sqrt() - 1.0);
    for _ in 0..100 {
        let (c, d) = (b - part * (b - a), a + part * (b - a));
        if eta(c) < eta(d) {
            a = c;
        } else {
            b = d;
        }
    }
    let mut best = 0.5 * (a + b);
    for end in [low, high] {
        if eta(end) >= eta(best) {
            best = end;
        }
    }
    let efficiency = eta(best);
    (efficiency > 0.0).then_some(Best {
        flow: best,
        rise: curve.rise(best, speed).ok()?,
        efficiency,
        at_end: high - best <= 1e-9 * high,
    })
}

/// The best point of the curve with power, where it lies inside the tested flows.
fn best(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<(Best, PumpCurve, Source), Value>> {
    let source = match source(cx, d, RATED)? {
        Ok(s) if s.table.has("power") => s,
        Ok(_) => return Ok(Err(Value::Absent)),
        Err(v) => return Ok(Err(v)),
    };
    let found = joined(&source, Some("power")).and_then(|c| Some((best_point(&c)?, c)));
    Ok(match found {
        // An impossible row is reported; nothing is made of it.
        Some((b, _)) if b.efficiency > MOST_EFFICIENT => Err(Value::Unknown),
        Some((b, c)) if !b.at_end => Ok((b, c, source)),
        _ => Err(Value::Absent),
    })
}

fn best_efficiency(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (best, _, source) = given!(best(cx, d));
    Ok(Value::Quantity(
        Quantity::computed(Kind::Ratio, best.efficiency)
            .origin(source.origin.with(Origin::Computed)),
    ))
}

fn best_flow(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let (best, _, source) = given!(best(cx, d));
    Ok(Value::Quantity(source.read(Kind::Flow, best.flow, "flow")))
}

fn shutoff_pressure(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let source = given!(source(cx, d, Some("series")));
    let Some(curve) = joined(&source, None) else {
        return Ok(Value::Absent);
    };
    Ok(match curve.rise(0.0, curve.tested_speed()) {
        Ok(p) => Value::Quantity(source.read(Kind::Pressure, p, "net")),
        Err(_) => Value::Absent,
    })
}

/// The density of the water pumped: that of the file's `water`, else of plain water at 60 °F, assumed.
fn density(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<(f64, Origin), Value>> {
    if let Some(w) = nameless(cx, d, "water")? {
        return Ok(need(cx, w, "density")?.map(|q| (q.si(), q.origin)));
    }
    const SIXTY_FAHRENHEIT: f64 = (60.0 + 459.67) / 1.8;
    Ok(Water::at(SIXTY_FAHRENHEIT, 101_325.0)
        .map(|w| (w.density, Origin::Assumed))
        .map_err(|_| Value::Unknown))
}

/// Specific speed of one stage by one of the definitions.
fn by_stage(cx: &mut Cx<'_>, d: DeclId, number: fn(f64, f64, f64) -> Option<f64>) -> Eval<Value> {
    let (best, curve, source) = given!(best(cx, d));
    let (density, origin) = given!(density(cx, d));
    let (Some(series), Some(parallel)) = (source.in_series, source.in_parallel) else {
        return Ok(Value::Absent);
    };
    let Ok(head) = affinity::head_of_pressure(best.rise / f64::from(series), density) else {
        return Ok(Value::Absent);
    };
    let flow = best.flow / f64::from(parallel);
    Ok(match number(curve.tested_speed(), flow, head) {
        Some(v) => {
            Value::Quantity(Quantity::computed(Kind::Number, v).origin(source.origin.with(origin)))
        }
        None => Value::Absent,
    })
}

fn specific_speed(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    by_stage(cx, d, |n, q, h| affinity::us_specific_speed(n, q, h).ok())
}

fn type_number(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    by_stage(cx, d, |n, q, h| affinity::type_number(n, q, h).ok())
}

/// The impeller of the first stage.
fn first_stage(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<DeclId, Value>> {
    if cx.get(d, "stages")? == Value::Unknown {
        return Ok(Err(Value::Unknown));
    }
    Ok(cx
        .references(d, "stages")?
        .first()
        .copied()
        .ok_or(Value::Absent))
}

fn tip_speed(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let wheel = given!(first_stage(cx, d));
    let diameter = given!(need(cx, wheel, "outside_diameter"));
    let speed = given!(need(cx, d, "rated_speed"));
    let value = diameter.value.mul(&speed.value).scale(0.5);
    Ok(Value::Quantity(
        Quantity::from_tol(Kind::Speed, value).origin(diameter.origin.with(speed.origin)),
    ))
}

fn exit_velocity(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let wheel = given!(first_stage(cx, d));
    let area = given!(need(cx, wheel, "exit_area"));
    let (flow, _) = given!(rating(cx, d));
    let layout = given!(Layout::read(cx, d));
    let share = match layout.connection {
        Some("parallel" | "changeover") => layout.stages.max(1),
        None if layout.changes() => layout.stages.max(1),
        None if layout.stages > 1 => return Ok(Value::Absent),
        _ => 1,
    };
    let share = Tol::exact(f64::from(share));
    Ok(
        match flow.value.div(&share).and_then(|q| q.div(&area.value)) {
            Ok(v) => Value::Quantity(
                Quantity::from_tol(Kind::Speed, v).origin(flow.origin.with(area.origin)),
            ),
            Err(_) => Value::Absent,
        },
    )
}

fn vane_pass_frequency(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let wheel = given!(first_stage(cx, d));
    let vanes = given!(need(cx, wheel, "vanes"));
    let speed = given!(need(cx, d, "rated_speed"));
    Ok(Value::Quantity(
        Quantity::from_tol(
            Kind::Frequency,
            vanes.value.mul(&speed.value).scale(0.5 / PI),
        )
        .origin(vanes.origin.with(speed.origin)),
    ))
}

// ---- checks ------------------------------------------------------------------------------------------

/// The rows of a table as written in a declaration itself; `None` where it is taken over from another.
pub(crate) fn own_rows(cx: &mut Cx<'_>, d: DeclId, table: &str) -> Option<Vec<Span>> {
    let parsed = cx.item(d);
    match &find(decl_of(&parsed.item)?, table)?.kind {
        EntryKind::Table(t) => Some(t.rows.iter().map(|r| r.span).collect()),
        _ => None,
    }
}

/// Reports rows that leave out a cell which every row needs.
pub(crate) fn check_gaps(
    cx: &mut Cx<'_>,
    d: DeclId,
    name: &str,
    table: &Table,
    column: &str,
    rows: &[Span],
) {
    for (row, span) in rows.iter().enumerate() {
        if table.number(row, column).is_none() {
            cx.report(
                Finding::new(
                    &TABLE_SHAPE,
                    Local::Span(d, *span),
                    format!("each row of `{name}` needs its {column}"),
                )
                .here(format!("no {column}"))
                .help("give the value, or take the row out"),
            );
        }
    }
}

fn check_pump(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    let Ok(layout) = Layout::read(cx, d)? else {
        return Ok(());
    };
    let rating = rating(cx, d)?.ok();
    for (k, name) in CURVES.into_iter().enumerate() {
        if let Some(table) = &layout.tables[k] {
            // A table taken over from another pump is judged there.
            if let Some(rows) = own_rows(cx, d, name) {
                check_table(cx, d, name, table, &rows);
            }
            if let Some((flow, _)) = &rating {
                check_gallons(cx, d, name, table, flow);
            }
        }
    }
    check_joining(cx, d, &layout)?;
    if layout.tables.iter().all(Option::is_none) {
        cx.report(
            Finding::new(
                &NO_CURVE,
                Local::Head(d),
                format!(
                    "`{}` has no curve: only its geometry is known, not its speed, power or efficiency",
                    cx.name(d)
                ),
            )
            .here("no curve")
            .help("give it as tested: `curve at … rpm (flow gpm, net psi, power hp) { … }`"),
        );
        return Ok(());
    }
    if let (Some((flow, pressure)), Some(source)) = (&rating, layout.source(RATED)) {
        check_rating(cx, d, &source, flow, pressure)?;
        check_best(cx, d, &source);
    }
    Ok(())
}

fn check_table(cx: &mut Cx<'_>, d: DeclId, name: &'static str, table: &Table, rows: &[Span]) {
    let settings = cx.settings();
    let pump = cx.name(d);
    check_gaps(cx, d, name, table, "net", rows);
    let unit = |column: &str| {
        table
            .columns
            .iter()
            .find(|c| c.0 == column)
            .and_then(|c| c.1.clone())
    };
    let (flow_unit, net_unit, power_unit) = (unit("flow"), unit("net"), unit("power"));
    let flow_text = |si: f64| show::si(si, Kind::Flow, flow_unit.as_ref(), &settings);
    let net_text = |si: f64| show::si(si, Kind::Pressure, net_unit.as_ref(), &settings);
    let row_of = |flow: f64| (0..table.rows).find(|r| table.number(*r, "flow") == Some(flow));
    let curve = points(table, None).and_then(|p| PumpCurve::new(p).ok());
    if let Some(curve) = &curve {
        let rise = curve.rise_curve();
        for (from, to) in rise.rising_stretches() {
            let (Ok(a), Ok(b)) = (rise.value(from), rise.value(to)) else {
                continue;
            };
            let place = row_of(to)
                .and_then(|r| rows.get(r))
                .map_or(cx.place(d, name), |s| Local::Span(d, *s));
            let mut f = Finding::new(
                &CURVE_RISES,
                place,
                format!(
                    "the {} of `{pump}` rises between {} and {}, from {} to {}: two flows share a pressure there, and the pump may hunt",
                    name.replace('_', " "),
                    flow_text(from),
                    flow_text(to),
                    net_text(a),
                    net_text(b)
                ),
            )
            .here("higher than at the smaller flow")
            .help("check the readings; where they are right, throttle so that the pump works beyond this flow")
            .source("pump theory: a rising branch is unstable");
            if let Some(s) = row_of(from).and_then(|r| rows.get(r)) {
                f = f.label(Local::Span(d, *s), net_text(a));
            }
            let f = with_number(
                f,
                "net at the smaller flow",
                a,
                Kind::Pressure,
                net_unit.as_ref(),
                &settings,
            );
            let f = with_number(
                f,
                "net at the larger flow",
                b,
                Kind::Pressure,
                net_unit.as_ref(),
                &settings,
            );
            cx.report(f);
        }
    }
    for (row, span) in rows.iter().enumerate() {
        let Some(power) = table.number(row, "power") else {
            continue;
        };
        let place = Local::Span(d, *span);
        if power <= 0.0 {
            cx.report(
                Finding::new(
                    &POWER_ZERO,
                    place,
                    format!("a row of the {} of `{pump}` has no power: a turning pump always takes some", name.replace('_', " ")),
                )
                .here("no power")
                .help("write `-` where the power was not measured")
                .source("at shut-off too the pump churns the water and heats it"),
            );
            continue;
        }
        let (Some(flow), Some(net)) = (table.number(row, "flow"), table.number(row, "net")) else {
            continue;
        };
        let water = affinity::water_power(flow, net);
        let eta = water / power;
        if eta > MOST_EFFICIENT {
            let mut f = Finding::new(
                &EFFICIENCY,
                place,
                format!(
                    "at {} and {} `{pump}` would be {:.0} % efficient with {} at the shaft: no pump of this class is",
                    flow_text(flow),
                    net_text(net),
                    100.0 * eta,
                    show::si(power, Kind::Power, power_unit.as_ref(), &settings)
                ),
            )
            .here(format!("{:.0} % efficient", 100.0 * eta))
            .source("fire pumps reach 68 to 75 % (published), the best radial pumps about 90 % (from memory)")
            .number("efficiency", 100.0 * eta, "%")
            .number("limit", 100.0 * MOST_EFFICIENT, "%");
            // 1 kW is 1.341 hp.
            const KILOWATT_IN_HP: f64 = 1000.0 / 745.699_871_582_270_2;
            let in_hp = power_unit.as_ref().is_some_and(|u| u.ascii() == "hp");
            f = f.help(if in_hp && eta / KILOWATT_IN_HP <= MOST_EFFICIENT {
                format!(
                    "check the units: were the powers in kW, it would be {:.0} %",
                    100.0 * eta / KILOWATT_IN_HP
                )
            } else {
                "check the units and digits of flow, net pressure and power".to_owned()
            });
            cx.report(f);
        }
    }
}

fn check_gallons(cx: &mut Cx<'_>, d: DeclId, name: &str, table: &Table, flow: &Quantity) {
    let theirs = table
        .columns
        .iter()
        .find(|c| c.0 == "flow")
        .and_then(|c| c.1.as_ref()?.gallon());
    let (Some(ours), Some(theirs)) = (flow.gallon, theirs) else {
        return;
    };
    if ours == theirs {
        return;
    }
    let word = |g: Gallon| match g {
        Gallon::Us => "US gallons",
        Gallon::Imperial => "imperial gallons",
        Gallon::Mixed => "mixed gallons",
    };
    let place = cx.place(d, name);
    let other = cx.place(d, "rating");
    cx.report(
        Finding::new(
            &CURVE_GALLONS,
            place,
            format!(
                "the {} of `{}` is in {}, its rating in {}",
                name.replace('_', " "),
                cx.name(d),
                word(theirs),
                word(ours)
            ),
        )
        .here(word(theirs))
        .label(other, word(ours))
        .help("write both in one of them; 1 imperial gallon is 1.20095 US gallons")
        .source("an imperial gallon is 4.54609 L, a US gallon 231 in³"),
    );
}

fn check_joining(cx: &mut Cx<'_>, d: DeclId, layout: &Layout) -> Eval<()> {
    let name = cx.name(d);
    let connection = layout.connection;
    let stages = layout.stages;
    let at_connection = match connection {
        Some(_) => cx.place(d, "connection"),
        None => Local::Head(d),
    };
    let at_stages = cx.place(d, "stages");
    let plural = if stages == 1 { "stage" } else { "stages" };
    let wrong = |cx: &mut Cx<'_>, place, message: String, here: &str, help: &str, label: bool| {
        let mut f = Finding::new(&STAGES_JOIN, place, message)
            .here(here)
            .help(help);
        if label {
            f = f.label(at_stages, format!("{stages} {plural}"));
        }
        cx.report(f.number("stages", f64::from(stages), ""));
    };
    match connection {
        Some("single") if stages > 1 => wrong(
            cx,
            at_connection,
            format!("`{name}` has {stages} stages, but its connection is `single`"),
            "one stage",
            "write `series`, `parallel` or `changeover`, or list one stage",
            true,
        ),
        Some(word) if word != "single" && stages == 1 => wrong(
            cx,
            at_connection,
            format!(
                "`{name}` has one stage, but its connection is `{word}`, which joins two or more"
            ),
            "two or more stages",
            "list every stage in `stages`, the same impeller twice where they are alike, or write `single`",
            true,
        ),
        None if stages > 1 && !layout.changes() => wrong(
            cx,
            at_stages,
            format!("`{name}` has {stages} stages and does not say how they are joined"),
            "joined how?",
            "add `connection = series`, `parallel` or `changeover`",
            false,
        ),
        _ => {}
    }
    let unused: &[usize] = match connection {
        Some("single") => &[2, 3],
        Some("series") => &[3],
        Some("parallel") => &[2],
        Some("changeover") => &[0],
        _ if layout.changes() => &[0],
        _ => &[],
    };
    for k in unused {
        if layout.tables[*k].is_some() {
            let place = cx.place(d, CURVES[*k]);
            let way = match connection {
                Some(w) => format!("its connection is `{w}`"),
                None => "it has curves by position".to_owned(),
            };
            cx.report(
                Finding::new(
                    &CURVE_UNUSED,
                    place,
                    format!("`{}` of `{name}` is not used: {way}", CURVES[*k]),
                )
                .here("not used")
                .label(at_connection, way)
                .help(if *k == 0 {
                    "name it `series_curve`, `parallel_curve` or `stage_curve`, as it was tested"
                } else {
                    "take it out, or change the connection"
                }),
            );
        }
    }
    if layout.tables.iter().all(Option::is_none) {
        return Ok(());
    }
    let positions: &[&str] = if layout.changes() {
        &["series", "parallel"]
    } else {
        &[connection.unwrap_or("single")]
    };
    for position in positions {
        // Stages that do not say how they are joined are reported above.
        if layout.source(Some(position)).is_some() || connection.is_none() && !layout.changes() {
            continue;
        }
        let from_stage = layout.tables[1].is_some() && stages == 0;
        let (message, help) = if from_stage {
            (
                format!(
                    "the curve of `{name}` in {position} follows from its `stage_curve` and the number of stages, which is not given"
                ),
                "list the impellers: `stages = [first, second]`".to_owned(),
            )
        } else {
            (
                format!("no table gives the curve of `{name}` in {position}"),
                format!("add `{position}_curve`, or `stage_curve` with `stages`"),
            )
        };
        wrong(
            cx,
            at_connection,
            message,
            &format!("no curve in {position}"),
            &help,
            false,
        );
        if from_stage {
            break;
        }
    }
    Ok(())
}

fn check_rating(
    cx: &mut Cx<'_>,
    d: DeclId,
    source: &Source,
    flow: &Quantity,
    pressure: &Quantity,
) -> Eval<()> {
    let Some(curve) = joined(source, None) else {
        return Ok(());
    };
    let settings = cx.settings();
    let name = cx.name(d);
    let at_rating = cx.place(d, "rating");
    let at_table = cx.place(d, source.name);
    let at_limit = cx.place(d, "maximum_speed");
    let speed_unit = source.table.at.as_ref().and_then(|a| a.unit.clone());
    let speed_text = |si: f64| show::si(si, Kind::RotationalSpeed, speed_unit.as_ref(), &settings);
    let net_text = |si: f64| show::si(si, Kind::Pressure, pressure.unit.as_ref(), &settings);
    let flow_text = |si: f64| show::si(si, Kind::Flow, flow.unit.as_ref(), &settings);
    let rated = format!("{} at {}", flow_text(flow.si()), net_text(pressure.si()));
    let needs = curve.speed_for(flow.si(), pressure.si()).ok().flatten();
    let limit = match cx.get(d, "maximum_speed")? {
        Value::Quantity(q) => Some(q),
        Value::Absent => None,
        _ => return Ok(()),
    };
    let tested = curve.tested_speed();
    let (first, last) = curve.rise_curve().domain();
    let peak = curve.rise_curve().peak().1;
    match (needs, &limit) {
        (Some(n), Some(most)) => {
            let over = n > most.value.hi() * (1.0 + 1e-9);
            if over {
                let f = Finding::new(
                    &OVER_SPEED,
                    at_rating,
                    format!(
                        "`{name}` must turn at {} to make {rated}, above its highest speed of {}",
                        speed_text(n),
                        show::quantity(most, &settings)
                    ),
                )
                .here(format!("needs {}", speed_text(n)))
                .label(at_limit, "the highest speed allowed")
                .label(at_table, format!("the curve, at {}", speed_text(tested)))
                .help("rate the pump lower, or check the curve and its speed; a wheel turned too fast can burst")
                .source("`maximum_speed` of this pump; affinity laws");
                let unit = speed_unit.as_ref();
                let f = with_number(f, "speed needed", n, Kind::RotationalSpeed, unit, &settings);
                let f = with_number(
                    f,
                    "maximum_speed",
                    most.si(),
                    Kind::RotationalSpeed,
                    unit,
                    &settings,
                );
                cx.report(f);
            }
        }
        _ if peak < pressure.si() => {
            let at_flow = match curve.rise(flow.si(), tested) {
                Ok(p) => format!(", and {} at {}", net_text(p), flow_text(flow.si())),
                Err(_) => String::new(),
            };
            let by_law = match needs {
                Some(n) => format!("; by the affinity laws the rating needs {}", speed_text(n)),
                None => String::new(),
            };
            let f = Finding::new(
                &RATING_NOT_MADE,
                at_rating,
                format!(
                    "at the {} of its curve `{name}` makes {} at most{at_flow}: less than its rating of {rated}{by_law}",
                    speed_text(tested),
                    net_text(peak)
                ),
            )
            .here("more than the curve makes")
            .label(at_table, format!("{} at most", net_text(peak)))
            .help("where the pump may turn so fast, say it with `maximum_speed`; else check the units of the curve")
            .source("the curve as tested; affinity laws");
            let unit = pressure.unit.as_ref();
            let f = with_number(
                f,
                "highest net pressure",
                peak,
                Kind::Pressure,
                unit,
                &settings,
            );
            let f = with_number(
                f,
                "rated pressure",
                pressure.si(),
                Kind::Pressure,
                unit,
                &settings,
            );
            cx.report(f);
        }
        (None, _) => {
            // Carried to the rated pressure by the affinity laws, the tested flows end short of the rating.
            let c = pressure.si() / (flow.si() * flow.si());
            let carried = |q: f64| {
                let p = curve.rise(q, tested).ok().filter(|p| *p > 0.0)?;
                Some(q * (pressure.si() / p).sqrt())
            };
            let too_low = curve
                .rise(first, tested)
                .is_ok_and(|p| p < c * first * first);
            let (word, verb, end) = if too_low {
                ("before", "begin", carried(first))
            } else {
                ("beyond", "reach only", carried(last))
            };
            let reach = match end {
                Some(q) => format!(
                    ": at {} they {verb} {}",
                    net_text(pressure.si()),
                    flow_text(q)
                ),
                None => String::new(),
            };
            let mut f = Finding::new(
                &RATING_BEYOND,
                at_rating,
                format!("the rating of `{name}`, {rated}, lies {word} the tested flows{reach}"),
            )
            .here(format!("{word} the tested flows"))
            .label(
                at_table,
                format!("{} to {} at {}", flow_text(first), flow_text(last), speed_text(tested)),
            )
            .help("test the pump further, or check the rating; nothing is read outside the tested flows")
            .source("the curve as tested; affinity laws");
            let unit = flow.unit.as_ref();
            f = with_number(f, "rated flow", flow.si(), Kind::Flow, unit, &settings);
            if let Some(q) = end {
                f = with_number(
                    f,
                    "tested flow at the rated pressure",
                    q,
                    Kind::Flow,
                    unit,
                    &settings,
                );
            }
            cx.report(f);
        }
        _ => {}
    }
    Ok(())
}

fn check_best(cx: &mut Cx<'_>, d: DeclId, source: &Source) {
    if !source.table.has("power") {
        return;
    }
    let Some(best) = joined(source, Some("power")).and_then(|c| best_point(&c)) else {
        return;
    };
    if !best.at_end || own_rows(cx, d, source.name).is_none() {
        return;
    }
    let settings = cx.settings();
    let place = cx.place(d, source.name);
    let unit = source.unit("flow");
    let flow = show::si(best.flow, Kind::Flow, unit.as_ref(), &settings);
    cx.report(
        Finding::new(
            &BEST_AT_END,
            place,
            format!(
                "the efficiency of `{}` still rises at its last tested flow of {flow}, {:.1} %: its best point is not known",
                cx.name(d),
                100.0 * best.efficiency
            ),
        )
        .here("ends before the best efficiency")
        .help("test at larger flows to find it; specific speed follows from it")
        .number("efficiency at the last flow", 100.0 * best.efficiency, "%"),
    );
}
