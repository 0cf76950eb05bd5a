//! Service tests: `procedure`, `instrument`, `test`.
//!
//! This file holds the tables of the three kinds, their findings' pages and the computed properties;
//! `reading` turns the readings of a test into net pressures, uncertainties and outcomes, `checks` compares
//! them with what the procedure asks.
//!
//! Invariants: nothing is judged against a limit that the procedure does not state; a net pressure is only given
//! where everything it is made of was read or stated; standard uncertainties are only given where every gauge that
//! was read has an `instrument`.
//!
//! Not here: any procedure (they are declarations, see the standard library), and any certificate: a verdict is a
//! calculation from readings, for the person who signs.

mod checks;
mod reading;

use crate::codes::codes;
use crate::db::Cx;
use crate::schema::Slot;
use crate::schema::short::{
    default, extra_column, not_negative, optional, own, positive, required, signed,
};
use crate::schema::{
    BLANK, ColumnDef, ColumnType, ComputedDef, GroupDef, KindDef, Only, PartDef, Sign, TableDef,
    Type,
};
use crate::value::{Origin, Quantity, Record, Value};
use crate::{DeclId, Eval};
use cutwater_quantity::{Kind, Tol};
use std::sync::Arc;

codes! {
    /// Raised by `test`.
    POINT_MISSED = "CW1701" "test-point-missed" Error, "A point of a service test did not make its net pressure.",
        "The net pump pressure at this point lies below what the procedure asks (with a guard band where instruments are given: below it by more than the band). Before the pump is blamed, read the gauges again, look at strainer, suction hose and their joints, and see whether the engine reached its speed. What follows from a missed point (retest, a lower rating, out of service) is for the authority having jurisdiction to say.\n\nNet pressure at draft is discharge gauge plus intake vacuum plus the height between the gauges; by lift it is discharge gauge plus lift plus suction loss; from a pressurised source it is discharge less intake.\n\nTests are run by trained people under local codes and the makers' manuals: hose and capped outlets hold stored pressure, valves are moved slowly, nobody stands in line with a test line's end. A verdict here is a calculation, not a certificate; acceptance belongs to licensed or qualified practice.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 140 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 148 8 20 }\n}\n";
    /// Raised by `test`.
    TOO_CLOSE = "CW1702" "test-too-close" Warning, "A point too close to its limit for these instruments.",
        "The net pressure differs from what is needed by less than the guard band, 1.645 standard uncertainties (95 % one-sided; ISO 14253-1 and JCGM 106:2012, 8.3). With these gauges nobody can tell whether the point was made. Read it again with a gauge of smaller span or better grade, repeat the reading, or state `decision = indicated` in a procedure of your own if the rule agreed on is simple acceptance (common practice in fire-pump tests).\n\nDo not raise the engine beyond its governed speed to gain a margin. Tests are run by trained people under local codes; acceptance belongs to licensed or qualified practice.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ninstrument g {\n    span = 400 psi\n    accuracy = 1 %\n}\ninstrument v {\n    span = 30 inHg\n    accuracy = 1 %\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    discharge_gauge = g\n    intake_gauge = v\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 148 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ninstrument g {\n    span = 400 psi\n    accuracy = 1 %\n}\ninstrument v {\n    span = 30 inHg\n    accuracy = 1 %\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    discharge_gauge = g\n    intake_gauge = v\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n";
    /// Raised by `test`.
    FLOW_SHORT = "CW1703" "test-flow-short" Error, "A point was read at less than its flow.",
        "Each point has a flow, a share of the rated capacity. A reading more than the procedure's `flow_tolerance` below it does not show the point. Open the test line or change the tip, and read again. Readings above the flow count.\n\nFlow lines and tips react and whip: tie them down, move valves slowly. Tests are run by trained people under local codes and licensed practice.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 480 155 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 498 155 8 20 }\n}\n";
    /// Raised by `test`.
    HOLD_SHORT = "CW1704" "test-hold-short" Error, "A point was not held long enough.",
        "The procedure says how long each point is held, because heat, packing and cooling show only with time. The point counts as incomplete.\n\nWatch engine heat, pump heat and carbon monoxide over the whole hold. Tests are run by trained people under local codes and licensed practice.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 15 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n";
    /// Raised by `test`.
    POINTS = "CW1705" "test-points" Error, "Readings that do not match the procedure's points.",
        "Every point the procedure asks of this pump needs a row, and every row a point. Without a `point` column the rows go to the points in order, and where there are fewer or more rows than points, to those whose flow and pressure are nearest. With a `point` column each row names its point.\n\nPoints asked only of larger pumps (column `from` of the procedure) may be there or not.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) {\n        capacity 100 150 20\n        half 50 250 10\n    }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) {\n        capacity 100 150 20\n        half 50 250 10\n    }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) {\n        500 155 8 20\n        250 252 6 10\n    }\n}\n", fixes NeedsALook;
    /// Raised by `test`.
    LIFT = "CW1706" "test-lift" Error, "The lift is above what the procedure allows.",
        "A test at draft is run at no more than a stated lift, often less for large pumps. Above it the pump may fail for want of suction and not for its own condition.\n\nAt the water's edge mind the ground under the rig and wear flotation. Tests are run by trained people under local codes and licensed practice.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    most_lift = 10 ft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    lift = 12 ft\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 13 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    most_lift = 10 ft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    lift = 9 ft\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 10 20 }\n}\n";
    /// Raised by `test`.
    CONDITIONS = "CW1707" "test-conditions" Warning, "Water, air or barometer outside the procedure's limits.",
        "Warm water boils sooner at the pump's eye, a low barometer leaves less to lift with, and cold freezes gauge lines. Outside the procedure's limits the result says little about the pump. Test on another day, or say why the result stands.\n\nTests are run by trained people under local codes and licensed practice.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    water_temperature = 35 .. 90 degF\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    water_temperature = 95 degF\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    water_temperature = 35 .. 90 degF\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    water_temperature = 65 degF\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n";
    /// Raised by `test`.
    INTAKE_DISAGREES = "CW1708" "test-intake-disagrees" Advice, "Vacuum and lift do not agree.",
        "At draft the intake vacuum is the lift plus the loss of strainer and suction hose plus, at the gauge's tap, the velocity head. Where the gauge shows less, it may read low or be tapped elsewhere; where it shows more, the strainer or hose may be partly blocked, a lining may be coming off, or the lift was measured wrongly. An air leak shows as a vacuum that falls off. The allowance of 1.5 ft is common practice.\n\nTests are run by trained people under local codes and licensed practice.",
        fires "pump p { rating = 500 gpm at 150 psi }\nhose s { loss = 0.4 psi per 10 ft at 500 gpm }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    lift = 8 ft\n    suction = 20 ft of s\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 14 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nhose s { loss = 0.4 psi per 10 ft at 500 gpm }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    lift = 8 ft\n    suction = 20 ft of s\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8.7 20 }\n}\n";
    /// Raised by `test`.
    INTAKE = "CW1709" "test-intake" Error, "The intake side of a reading is missing or cannot be right.",
        "The net pressure needs both sides of the pump. At draft that is `intake_vacuum`, or `lift` with `suction` (and `strainer`); from a pressurised source it is `intake`. A vacuum cannot be deeper than the atmosphere's pressure, and at draft the intake cannot be above it.\n\nTests are run by trained people under local codes and licensed practice.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = pressurised\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = pressurised\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake psi, held min) { 500 185 30 20 }\n}\n";
    /// Raised by `test`.
    INDICATED = "CW1710" "test-by-indicated-values" Advice, "The verdict is by indicated values.",
        "Without instruments the readings are taken as they stand: simple acceptance, as fire-pump tests are usually judged (common practice). At the limit such a verdict is wrong as often as right. Name `discharge_gauge` and `intake_gauge` to see the uncertainty of each net pressure, or state `decision = indicated` in the procedure where that is the rule agreed on.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    decision = indicated\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n";
    /// Raised by `test`.
    CALIBRATION = "CW1711" "instrument-calibration" Warning, "An instrument was not calibrated in time for the test.",
        "A procedure may ask that gauges are calibrated within some time before the test (60 days in NFPA 1911, from memory; check the edition in force). Calibrate it, or use another.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    calibrated_within = 60 day\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ninstrument g {\n    span = 400 psi\n    accuracy = 1 %\n    calibrated = 2026-01-10\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    discharge_gauge = g\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    calibrated_within = 60 day\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ninstrument g {\n    span = 400 psi\n    accuracy = 1 %\n    calibrated = 2026-04-10\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    discharge_gauge = g\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n";
    /// Raised by `test`.
    OVERSPEED = "CW1712" "test-overspeed" Error, "The engine or pump ran faster than it may.",
        "In a service test the engine is not driven past its no-load governed speed (NFPA 1911, from memory; check the edition in force), and the pump not past its highest speed allowed. A point reached only beyond it was not made. Rotating parts burst from overspeed: throttle down, and find out why so much speed was needed.\n\nTests are run by trained people under local codes and licensed practice.",
        fires "pump p { rating = 500 gpm at 150 psi }\ndrive e {\n    turns = p\n    gear_ratio = 2.0\n    governed_speed = 2000 rpm\n}\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    drive = e\n    readings (flow gpm, discharge psi, intake_vacuum inHg, engine rpm, held min) { 500 155 8 2100 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\ndrive e {\n    turns = p\n    gear_ratio = 2.0\n    governed_speed = 2000 rpm\n}\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    drive = e\n    readings (flow gpm, discharge psi, intake_vacuum inHg, engine rpm, held min) { 500 155 8 1900 20 }\n}\n";
    /// Raised by `test`.
    TREND = "CW1713" "test-trend" Warning, "Net pressure at equal speed has fallen since an earlier test.",
        "Both tests are brought to one pump speed by the affinity laws, and to one flow by the slope of the earlier test's own points. A fall of more than 5 % (common practice) says that something changed, not what: worn wear rings, a blocked strainer or impeller, an air leak, a changeover or relief valve that passes water, or a gauge or tachometer that reads otherwise than before. Check instruments and suction first; they cost least.\n\nTests are run by trained people under local codes and licensed practice; nobody opens a pump before it is shut down, relieved of pressure and locked out.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest a of p {\n    procedure = c\n    date = 2025-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, pump rpm, held min) { 500 165 8 3000 20 }\n}\ntest b of p {\n    procedure = c\n    date = 2026-05-14\n    before = a\n    readings (flow gpm, discharge psi, intake_vacuum inHg, pump rpm, held min) { 500 152 8 3000 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest a of p {\n    procedure = c\n    date = 2025-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, pump rpm, held min) { 500 165 8 3000 20 }\n}\ntest b of p {\n    procedure = c\n    date = 2026-05-14\n    before = a\n    readings (flow gpm, discharge psi, intake_vacuum inHg, pump rpm, held min) { 500 162 8 3000 20 }\n}\n";
    /// Raised by `test`.
    BEFORE = "CW1714" "test-before" Error, "The earlier test is not an earlier test of this pump.",
        "`before` names a test of the same pump with an earlier date.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest a of p {\n    procedure = c\n    date = 2026-06-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\ntest b of p {\n    procedure = c\n    date = 2026-05-14\n    before = a\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest a of p {\n    procedure = c\n    date = 2025-06-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\ntest b of p {\n    procedure = c\n    date = 2026-05-14\n    before = a\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n";
    /// Raised by `test`.
    VACUUM = "CW1715" "test-vacuum" Error, "The vacuum test was not passed.",
        "With intakes capped and discharges open the primer draws a vacuum, and the loss over some minutes shows leaks in packing, valves and piping. Above some altitude less vacuum is asked, where the procedure says so.\n\nA capped intake under vacuum is pressed in hard: keep hands off caps until air is let in. Tests are run by trained people under local codes and licensed practice.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    vacuum {\n        least = 22 inHg\n        most_loss = 10 inHg\n        time = 5 min\n    }\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    vacuum {\n        reached = 20 inHg\n        loss = 4 inHg\n        time = 5 min\n    }\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    vacuum {\n        least = 22 inHg\n        most_loss = 10 inHg\n        time = 5 min\n    }\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    vacuum {\n        reached = 23 inHg\n        loss = 4 inHg\n        time = 5 min\n    }\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n";
    /// Raised by `test`.
    PRIMING = "CW1716" "test-priming" Error, "Priming took too long.",
        "The time from starting the primer to water at the discharge. A slow prime points to an air leak, a worn primer or a low battery.\n\nA pump runs dry while it primes: stop within the maker's limit. Tests are run by trained people under local codes and licensed practice.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    priming (rated gpm, time s) { 0 30 }\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    priming_time = 41 s\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    priming (rated gpm, time s) { 0 30 }\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    priming_time = 21 s\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n";
    /// Raised by `test`.
    PRESSURE_RISE = "CW1717" "test-pressure-rise" Error, "The pressure rose too far when the discharges were shut.",
        "The relief valve or governor holds the pressure when lines are shut, to protect the crews on the others. Until it is mended, the pump can hurt people at the nozzle.\n\nTests are run by trained people under local codes and licensed practice.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    pressure_control { most_rise = 30 psi }\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n    pressure_control (before psi, after psi) { 150 190 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    pressure_control { most_rise = 30 psi }\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n    pressure_control (before psi, after psi) { 150 172 }\n}\n";
    /// Raised by `test`.
    CLOSING = "CW1718" "test-closing-time" Warning, "The discharges were shut faster or slower than the procedure asks.",
        "Shut too slowly the trial shows nothing; shut too fast it makes a water hammer that can burst hose and hurt people. The usual time is 3 to 10 s (NFPA 1901 and 1911, from memory; check the edition in force).\n\nTests are run by trained people under local codes and licensed practice.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    pressure_control {\n        most_rise = 30 psi\n        closing_time = 3 .. 10 s\n    }\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n    pressure_control (before psi, after psi, closing s) { 150 172 1 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    pressure_control {\n        most_rise = 30 psi\n        closing_time = 3 .. 10 s\n    }\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n    pressure_control (before psi, after psi, closing s) { 150 172 5 }\n}\n";
    /// Raised by `test`.
    TANK_FLOW = "CW1719" "test-tank-flow" Error, "The tank gave too little to the pump.",
        "The rig's tank is to feed the pump at a stated flow until most of its water is out. Too little flow points to a small or blocked line, a check valve that sticks, or a tank without enough vent.\n\nTests are run by trained people under local codes and licensed practice.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    tank_share = 80 %\n    tank_to_pump (tank gal, flow gpm) { 0 250 }\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    tank_to_pump {\n        capacity = 300 gal\n        flow = 220 gpm\n        discharged = 250 gal\n    }\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    tank_share = 80 %\n    tank_to_pump (tank gal, flow gpm) { 0 250 }\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    tank_to_pump {\n        capacity = 300 gal\n        flow = 260 gpm\n        discharged = 250 gal\n    }\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n";
    /// Raised by `test`.
    PANEL_GAUGE = "CW1720" "test-panel-gauge" Warning, "A gauge of the rig's panel reads too far off.",
        "The rig's own gauges are compared with a test gauge. One that is off by more than the procedure allows is recalibrated, mended or replaced (10 psi in NFPA 1911, from memory; check the edition in force).",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    most_gauge_error = 10 psi\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n    gauge_check (reference psi, panel psi) { 150 165 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    most_gauge_error = 10 psi\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n    gauge_check (reference psi, panel psi) { 150 153 }\n}\n";
    /// Raised by `test`.
    GOVERNED_SPEED = "CW1721" "test-governed-speed" Warning, "The no-load governed speed is not what it was when new.",
        "Before a test the engine's no-load governed speed is compared with the one recorded when new (within 50 rpm in NFPA 1911, from memory; check the edition in force). A governor that has drifted hides or feigns a loss in the pump.",
        fires "pump p { rating = 500 gpm at 150 psi }\ndrive e {\n    turns = p\n    gear_ratio = 2.0\n    governed_speed = 2200 rpm\n}\nprocedure c {\n    source = draft\n    governed_speed_band = 50 rpm\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    drive = e\n    governed_speed = 2110 rpm\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\ndrive e {\n    turns = p\n    gear_ratio = 2.0\n    governed_speed = 2200 rpm\n}\nprocedure c {\n    source = draft\n    governed_speed_band = 50 rpm\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    drive = e\n    governed_speed = 2180 rpm\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n";
    /// Raised by `test`.
    NOT_RECORDED = "CW1722" "test-not-recorded" Advice, "The test does not record all that the procedure asks for.",
        "What a procedure states as a limit can only be judged where the test records it. The verdict is of what is recorded. Add what was measured; where a part of the procedure does not apply, write a procedure of your own without it.\n\nTests are run by trained people under local codes and licensed practice.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    priming (rated gpm, time s) { 0 30 }\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    priming (rated gpm, time s) { 0 30 }\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    priming_time = 21 s\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n";
    /// Raised by `instrument`.
    ACCURACY = "CW1723" "instrument-accuracy" Error, "An accuracy that no instrument is sold with.",
        "A share of 20 % and more is nearly always a forgotten `%`: gauges of the trade have 0.1 to 5 % of span (ASME B40.100, from memory).",
        fires "instrument g {\n    span = 400 psi\n    accuracy = 1\n}\n", silent "instrument g {\n    span = 400 psi\n    accuracy = 1 %\n}\n", fixes NeedsALook;
    /// Raised by `procedure`.
    PROCEDURE_POINTS = "CW1724" "procedure-points" Error, "Points of a procedure that cannot be right.",
        "Each point has a name of its own, a share of the rated flow above zero and not above 200 %, a net pressure and a hold. A share of 100 without `%` is ten thousand per cent: write the unit in the column's head, `capacity %`.",
        fires "procedure c {\n    source = draft\n    points (point, capacity, net psi, hold min) { capacity 100 150 20 }\n}\n", silent "procedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\n";
    /// Raised by `test`.
    GAUGE_SPAN = "CW1725" "gauge-span" Error, "A reading that the named instrument cannot have shown.",
        "The reading lies beyond the gauge's full scale, so the gauge, its span or the reading is wrong. A flow meter has no span of pressure: its accuracy is of the flow read.",
        fires "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ninstrument g {\n    span = 100 psi\n    accuracy = 1 %\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    discharge_gauge = g\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ninstrument g {\n    span = 400 psi\n    accuracy = 1 %\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    discharge_gauge = g\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n";
    /// Raised by `test`.
    TEST_DRIVE = "CW1726" "test-drive" Error, "Speeds and drive of a test do not go together.",
        "The drive of a test turns the pump tested, and where engine and pump speed are both read, their ratio is the drive's gear ratio within 2 % (common practice for tachometers). A larger gap means another gear, a slipping clutch or a tachometer that reads wrong.",
        fires "pump p { rating = 500 gpm at 150 psi }\ndrive e {\n    turns = p\n    gear_ratio = 2.0\n}\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    drive = e\n    readings (flow gpm, discharge psi, intake_vacuum inHg, engine rpm, pump rpm, held min) { 500 155 8 1500 3300 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\ndrive e {\n    turns = p\n    gear_ratio = 2.0\n}\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    drive = e\n    readings (flow gpm, discharge psi, intake_vacuum inHg, engine rpm, pump rpm, held min) { 500 155 8 1500 3005 20 }\n}\n";
    /// Raised by `test`.
    RATING = "CW1727" "test-rating" Warning, "The procedure asks another pressure at full capacity than the pump is rated for.",
        "A pump rated at 120 psi is not tested at 150 psi. Check the rating plate, and take the procedure that belongs to the pump's rating; older ratings (from before 1957) used 120, 200 and 250 psi.",
        fires "pump p { rating = 500 gpm at 120 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n";
    /// Raised by `test`.
    SUCTION_SET = "CW1728" "test-suction" Warning, "More or larger suction hose than the procedure allows for this rating.",
        "A procedure may say with how many suction lines of which size a pump of a rating makes its capacity. With more or larger hose the test is easier than asked.\n\nTests are run by trained people under local codes and licensed practice.",
        fires "pump p { rating = 500 gpm at 150 psi }\nhose s {\n    diameter = 6 in\n    loss = 0.4 psi per 10 ft at 500 gpm\n}\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n    suction (rated gpm, most_diameter in, most_lines, most_lift ft) { 0 4 1 10 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    suction = 20 ft of s\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n",
        silent "pump p { rating = 500 gpm at 150 psi }\nhose s {\n    diameter = 4 in\n    loss = 0.4 psi per 10 ft at 500 gpm\n}\nprocedure c {\n    source = draft\n    points (point, capacity %, net psi, hold min) { capacity 100 150 20 }\n    suction (rated gpm, most_diameter in, most_lines, most_lift ft) { 0 4 1 10 }\n}\ntest t of p {\n    procedure = c\n    date = 2026-05-14\n    suction = 20 ft of s\n    readings (flow gpm, discharge psi, intake_vacuum inHg, held min) { 500 155 8 20 }\n}\n";
}

const fn text_column(name: &'static str, required: bool, doc: &'static str) -> ColumnDef {
    ColumnDef {
        name,
        ty: ColumnType::Text,
        required,
        doc,
    }
}

const fn column(name: &'static str, kind: Kind, doc: &'static str) -> ColumnDef {
    crate::schema::short::column(name, kind, doc)
}

/// `1 inHg per 1000 ft`.
static ALTITUDE_ALLOWANCE: &[PartDef] = &[
    PartDef {
        word: "",
        name: "vacuum",
        kind: Kind::Pressure,
        optional: false,
    },
    PartDef {
        word: "per",
        name: "height",
        kind: Kind::Length,
        optional: false,
    },
];

/// A test procedure.
pub static PROCEDURE: KindDef = KindDef {
    word: "procedure",
    doc: "A test's points, holds and limits, as shares of a pump's rating. The standard library holds the usual ones; a house or another country writes its own beside them. Only what a procedure states is asked of a test.",
    fields: &[
        required(
            "source",
            Type::Choice(&[
                ("draft", "From open water below the pump."),
                ("pressurised", "From a hydrant or another pump."),
            ]),
            "Where the test's water comes from.",
        ),
        optional("basis", Type::Text, "The standard and edition it follows."),
        default(
            "decision",
            Type::Choice(&[
                (
                    "guarded",
                    "With a guard band of 1.645 standard uncertainties where the instruments are known: pass above it, fail below it, else too close to call.",
                ),
                (
                    "indicated",
                    "By indicated values: simple acceptance, without regard to uncertainty.",
                ),
            ]),
            "guarded",
            "ISO 14253-1, 95 % conformance (from memory)",
            "How a reading is judged against its limit.",
        ),
        default(
            "flow_tolerance",
            not_negative(Kind::Ratio),
            "1 %",
            "common practice: the reading error of test meters and tips",
            "How far a flow read may fall short of the flow needed.",
        ),
        optional(
            "most_lift",
            positive(Kind::Length),
            "Greatest lift allowed.",
        ),
        optional(
            "least_barometer",
            positive(Kind::BarometricPressure),
            "Least barometer reading allowed, corrected to sea level.",
        ),
        optional(
            "water_temperature",
            Type::Range(Kind::Temperature),
            "Water temperatures allowed.",
        ),
        optional(
            "air_temperature",
            Type::Range(Kind::Temperature),
            "Air temperatures allowed.",
        ),
        optional(
            "calibrated_within",
            positive(Kind::Time),
            "Instruments are calibrated no longer than this before the test.",
        ),
        optional(
            "priming_allowance",
            positive(Kind::Time),
            "Added to the priming time where a large auxiliary intake pipe is to be emptied too.",
        ),
        optional(
            "tank_share",
            positive(Kind::Ratio),
            "Share of the rig's tank that must reach the pump at the full tank-to-pump flow.",
        ),
        optional(
            "most_gauge_error",
            positive(Kind::Pressure),
            "Greatest error of the rig's own gauges.",
        ),
        optional(
            "governed_speed_band",
            positive(Kind::RotationalSpeed),
            "How far the no-load governed speed may differ from the one recorded when new.",
        ),
    ],
    only: &[Only {
        names: &["most_lift", "suction"],
        field: "source",
        words: &["draft"],
    }],
    groups: &[
        GroupDef {
            name: "vacuum",
            doc: "The vacuum test: intakes capped, discharges open.",
            fields: &[
                required("least", positive(Kind::Vacuum), "Vacuum to be reached."),
                required(
                    "most_loss",
                    positive(Kind::Pressure),
                    "Greatest loss of vacuum in the time.",
                ),
                required(
                    "time",
                    positive(Kind::Time),
                    "How long the loss is watched.",
                ),
                optional(
                    "altitude_allowance",
                    Type::Phrase(ALTITUDE_ALLOWANCE),
                    "Vacuum forgiven at altitude, as `1 inHg per 1000 ft`.",
                ),
                default(
                    "allowance_above",
                    signed(Kind::Length),
                    "0 ft",
                    "from sea level",
                    "Altitude from which the allowance is counted.",
                ),
            ],
        },
        GroupDef {
            name: "pressure_control",
            doc: "The trials of relief valve or governor: all discharges are shut and the pressure's rise is read.",
            fields: &[
                required("most_rise", positive(Kind::Pressure), "Greatest rise."),
                optional("trials", Type::Count(1, 20), "How many trials are made."),
                optional(
                    "closing_time",
                    Type::Range(Kind::Time),
                    "How fast the discharges are shut.",
                ),
            ],
        },
    ],
    tables: &[
        TableDef {
            name: "points",
            doc: "The points in their order.",
            required: true,
            at: None,
            columns: &[
                text_column("point", true, "Its name."),
                column("capacity", Kind::Ratio, "Share of the rated flow, in %."),
                column("net", Kind::Pressure, "Least net pressure."),
                column("hold", Kind::Time, "How long it is held."),
                extra_column(
                    "from",
                    Kind::Flow,
                    "Asked only of pumps rated for this flow or more; `-` for all.",
                ),
            ],
            rising: false,
            least_rows: 1,
        },
        TableDef {
            name: "priming",
            doc: "Longest priming time by the pump's rating; each row holds from its rating up.",
            required: false,
            at: None,
            columns: &[
                column("rated", Kind::Flow, "From this rated flow up."),
                column(
                    "time",
                    Kind::Time,
                    "Longest time to water at the discharge.",
                ),
            ],
            rising: true,
            least_rows: 1,
        },
        TableDef {
            name: "suction",
            doc: "Suction hose and lift with which a pump makes its capacity, by its rating; each row holds from its rating up.",
            required: false,
            at: None,
            columns: &[
                column("rated", Kind::Flow, "From this rated flow up."),
                column("most_diameter", Kind::Length, "Largest suction hose."),
                column("most_lines", Kind::Count, "Most lines side by side."),
                column("most_lift", Kind::Length, "Greatest lift."),
            ],
            rising: true,
            least_rows: 1,
        },
        TableDef {
            name: "tank_to_pump",
            doc: "Least flow from the rig's tank to the pump, by the tank's capacity; each row holds from its capacity up.",
            required: false,
            at: None,
            columns: &[
                column("tank", Kind::Volume, "From this capacity up."),
                column("flow", Kind::Flow, "Least flow."),
            ],
            rising: true,
            least_rows: 1,
        },
    ],
    check: Some(checks::procedure),
    ..BLANK
};

/// A measuring instrument.
pub static INSTRUMENT: KindDef = KindDef {
    word: "instrument",
    doc: "A gauge, meter or tachometer: its span and accuracy, for the uncertainty of what it reads.",
    fields: &[
        optional("span", positive(Kind::Pressure), "Full scale of a gauge."),
        required(
            "accuracy",
            positive(Kind::Ratio),
            "Greatest error: of the span where one is given, else of the reading.",
        ),
        optional(
            "reading_error",
            positive(Kind::Pressure),
            "How closely its needle or digits can be read, to either side: half a graduation, or more where it swings.",
        ),
        own(optional(
            "calibrated",
            Type::Date,
            "Date of its last calibration.",
        )),
        super::gear::SERIAL,
        super::gear::IN_SERVICE,
    ],
    computed: &[ComputedDef {
        name: "standard_uncertainty",
        ty: Type::Quantity(Kind::Pressure, Sign::Positive),
        doc: "Standard uncertainty of one reading of a gauge with a span.",
        formula: "√((accuracy · span)²/3 + reading_error²/3)",
        source: "JCGM 100:2008, 4.3.7 (rectangular distributions) and 5.1.2",
        solved: false,
        hint: true,
        eval: standard_uncertainty,
    }],
    check: Some(checks::instrument),
    ..BLANK
};

fn standard_uncertainty(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let Some(i) = reading::instrument(cx, d)? else {
        return Ok(Value::Unknown);
    };
    if i.span.is_none() {
        return Ok(Value::Absent);
    }
    let mut q = Quantity::computed(Kind::Pressure, i.standard(0.0));
    q.unit = cx.quantity(d, "span")?.and_then(|s| s.unit);
    Ok(Value::Quantity(q))
}

/// What may be said of a point or a test.
static VERDICTS: &[(&str, &str)] = &[
    ("pass", "All that was asked was made."),
    ("fail", "Something that was asked was missed."),
    (
        "too_close",
        "Nothing was missed for certain, but these instruments cannot tell whether all was made.",
    ),
    (
        "incomplete",
        "Nothing was missed, but a point or a part of it is not there.",
    ),
];

/// A test as carried out.
pub static TEST: KindDef = KindDef {
    word: "test",
    doc: "A service test as carried out: conditions and readings. Net pressures, corrections and verdicts are computed. Each point can be used by its name, as `annual_2026.overload.net`.",
    of: &["pump"],
    fields: &[
        required(
            "procedure",
            Type::Ref(&["procedure"]),
            "The procedure followed.",
        ),
        required("date", Type::Date, "The day."),
        optional(
            "lift",
            signed(Kind::Length),
            "Height of the pump's intake above the water.",
        ),
        optional(
            "suction",
            Type::Piece(&["hose"]),
            "Suction hose used; its loss counts where no vacuum was read.",
        ),
        optional(
            "strainer",
            Type::Ref(&["appliance"]),
            "Strainer used; one on each line.",
        ),
        default(
            "lines",
            Type::Count(1, 8),
            "1",
            "one line",
            "Number of such suction lines side by side.",
        ),
        optional(
            "drive",
            Type::Ref(&["drive"]),
            "What turned the pump; engine speeds become pump speeds by its ratio.",
        ),
        optional(
            "water_temperature",
            signed(Kind::Temperature),
            "Temperature of the water. Without it the file's `water` holds.",
        ),
        optional(
            "air_temperature",
            signed(Kind::Temperature),
            "Temperature of the air.",
        ),
        optional(
            "sea_level_barometer",
            positive(Kind::BarometricPressure),
            "Barometer corrected to sea level, as weather reports give it.",
        ),
        default(
            "gauge_height",
            signed(Kind::Length),
            "0 ft",
            "both gauges at one height, as on most panels (common practice)",
            "Height of the discharge gauge above the intake gauge; by lift, above the pump's intake. A tolerance on it counts in the uncertainty.",
        ),
        optional(
            "discharge_gauge",
            Type::Ref(&["instrument"]),
            "The gauge at the discharge.",
        ),
        optional(
            "intake_gauge",
            Type::Ref(&["instrument"]),
            "The gauge at the intake.",
        ),
        optional(
            "flow_meter",
            Type::Ref(&["instrument"]),
            "What read the flow; its accuracy is of the flow read. A pitot gauge is stated with the accuracy of the flow it gives.",
        ),
        optional(
            "priming_time",
            positive(Kind::Time),
            "Time from starting the primer to water at the discharge.",
        ),
        default(
            "auxiliary_intake",
            Type::Choice(&[
                ("yes", "There is one, and it was emptied too."),
                ("no", "There is none, or it was shut off."),
            ]),
            "no",
            "none",
            "Whether a large auxiliary intake pipe was primed too (4 in or larger, 1 ft³ or more; NFPA 1901, from memory).",
        ),
        optional(
            "governed_speed",
            positive(Kind::RotationalSpeed),
            "No-load governed speed of the engine as read.",
        ),
        optional(
            "before",
            Type::Ref(&["test"]),
            "An earlier test to compare with.",
        ),
    ],
    groups: &[
        GroupDef {
            name: "vacuum",
            doc: "The vacuum test as carried out.",
            fields: &[
                required("reached", positive(Kind::Vacuum), "Vacuum reached."),
                required(
                    "loss",
                    not_negative(Kind::Pressure),
                    "Vacuum lost in the time.",
                ),
                required("time", positive(Kind::Time), "How long it was watched."),
            ],
        },
        GroupDef {
            name: "tank_to_pump",
            doc: "The flow from the rig's own tank.",
            fields: &[
                required(
                    "capacity",
                    positive(Kind::Volume),
                    "Certified capacity of the tank.",
                ),
                required("flow", positive(Kind::Flow), "Flow held."),
                optional(
                    "discharged",
                    positive(Kind::Volume),
                    "Water out of the tank while the flow was held.",
                ),
            ],
        },
    ],
    tables: &[
        TableDef {
            name: "readings",
            doc: "One row for each point of the procedure, in its order; or in any order with a `point` column.",
            required: true,
            at: None,
            columns: &[
                text_column("point", false, "The procedure's point it belongs to."),
                column("flow", Kind::Flow, "Flow read."),
                ColumnDef {
                    name: "discharge",
                    ty: ColumnType::Quantity(Kind::GaugePressure),
                    required: true,
                    doc: "Discharge gauge.",
                },
                extra_column("intake_vacuum", Kind::Vacuum, "Vacuum at the intake."),
                ColumnDef {
                    name: "intake",
                    ty: ColumnType::Signed(Kind::GaugePressure),
                    required: false,
                    doc: "Intake gauge, from a pressurised source; a compound gauge at draft reads below zero.",
                },
                extra_column("engine", Kind::RotationalSpeed, "Engine speed."),
                extra_column("pump", Kind::RotationalSpeed, "Pump speed."),
                extra_column("held", Kind::Time, "How long it was held."),
                extra_column(
                    "scatter",
                    Kind::Pressure,
                    "Standard deviation of repeated readings of the discharge gauge; the row gives their mean.",
                ),
                extra_column("repeats", Kind::Count, "How many readings `scatter` is of."),
            ],
            rising: false,
            least_rows: 1,
        },
        TableDef {
            name: "pressure_control",
            doc: "Trials of relief valve or governor, one row each.",
            required: false,
            at: None,
            columns: &[
                column("before", Kind::GaugePressure, "Discharge pressure before."),
                column(
                    "after",
                    Kind::GaugePressure,
                    "Highest discharge pressure after all discharges were shut.",
                ),
                extra_column("closing", Kind::Time, "How long shutting them took."),
            ],
            rising: false,
            least_rows: 1,
        },
        TableDef {
            name: "gauge_check",
            doc: "The rig's own discharge gauge against a test gauge.",
            required: false,
            at: None,
            columns: &[
                column("reference", Kind::GaugePressure, "The test gauge."),
                column("panel", Kind::GaugePressure, "The rig's gauge."),
            ],
            rising: false,
            least_rows: 1,
        },
    ],
    computed: &[
        ComputedDef {
            name: "points",
            ty: Type::Record,
            doc: "Each point as read: flow and net pressure needed and read, margin, pump speed, standard uncertainty, verdict. `corrected_net` and `corrected_speed` carry the reading to exactly the flow needed by the affinity laws (flow with speed, pressure with its square), where the pump's speed is known and the flow is within 5 %: for comparing, not for the verdict.",
            formula: "at draft: discharge + intake_vacuum + ρ g gauge_height + ρ(v_d² − v_s²)/2 (the last where the pump states both diameters), without a vacuum reading discharge + ρ g (lift + gauge_height) + suction loss; from a pressurised source: discharge − intake + ρ g gauge_height + ρ(v_d² − v_s²)/2",
            source: "net pressure: ISO 9906 total head and NFPA 1911 (from memory), by lift the trade's correction table; uncertainty: JCGM 100:2008; guard band: JCGM 106:2012, 8.3",
            solved: false,
            hint: false,
            eval: points,
        },
        ComputedDef {
            name: "verdict",
            ty: Type::Choice(VERDICTS),
            doc: "The outcome of all that the procedure asks of this pump and the test records. A calculation from the readings, not a certificate.",
            formula: "fail if any part failed, else incomplete if any is incomplete, else too_close if any is, else pass",
            source: "the procedure; simple acceptance by indicated values is common practice in fire-pump tests",
            solved: false,
            hint: true,
            eval: verdict,
        },
        ComputedDef {
            name: "least_margin",
            ty: Type::Quantity(Kind::Pressure, Sign::Any),
            doc: "Smallest margin of net pressure over all points asked of this pump.",
            formula: "least of net − net needed",
            source: "the procedure",
            solved: false,
            hint: true,
            eval: least_margin,
        },
        ComputedDef {
            name: "trend",
            ty: Type::Record,
            doc: "For each point also made in the test `before`: its net pressure then, this test's carried to the speed and flow of then, and the change.",
            formula: "net · (n₀/n)² + b (Q² (n₀/n)² − Q₀²), b from a fit p/n² = a − b (Q/n)² to the earlier test",
            source: "affinity laws",
            solved: false,
            hint: false,
            eval: trend,
        },
    ],
    member: Some(member),
    member_names: Some(member_names),
    check: Some(checks::test),
    ..BLANK
};

fn list(records: Vec<Record>) -> Value {
    Value::List(
        records
            .into_iter()
            .map(|r| Value::Record(Arc::new(r)))
            .collect(),
    )
}

fn points(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    Ok(match reading::analyse(cx, d)? {
        Some(a) => list(a.records()),
        None => Value::Unknown,
    })
}

fn verdict(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let Some(a) = reading::analyse(cx, d)? else {
        return Ok(Value::Unknown);
    };
    // Where something that was written cannot be read, what it would have said is not known: no verdict.
    for part in [d, a.procedure] {
        let Some((_, slots)) = cx.kind(part) else {
            continue;
        };
        for (n, (_, slot)) in slots.list.iter().enumerate() {
            if !matches!(slot, Slot::Computed(_)) && cx.slot(part, n as u16)? == Value::Unknown {
                return Ok(Value::Unknown);
            }
        }
    }
    let mut parts: Vec<reading::Outcome> = a
        .judged
        .iter()
        .zip(&a.points)
        .filter(|(_, p)| p.required)
        .map(|(j, _)| j.outcome)
        .collect();
    let before = cx.findings.len();
    parts.extend(checks::other_parts(cx, d, &a)?);
    // They are reported by the check of the declaration; here only their outcomes count.
    cx.findings.truncate(before);
    Ok(Value::Choice(
        parts
            .into_iter()
            .max()
            .unwrap_or(reading::Outcome::Incomplete)
            .word(),
    ))
}

fn least_margin(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let Some(a) = reading::analyse(cx, d)? else {
        return Ok(Value::Unknown);
    };
    let least = a
        .judged
        .iter()
        .zip(&a.points)
        .filter(|(_, p)| p.required)
        .filter_map(|(j, p)| Some((j.net.as_ref()?.value - p.net, j.net.as_ref()?.origin)))
        .min_by(|x, y| x.0.total_cmp(&y.0));
    Ok(match least {
        Some((v, origin)) => Value::Quantity(pressure(v, &a, origin)),
        None => Value::Absent,
    })
}

fn pressure(v: f64, a: &reading::Analysis, origin: Origin) -> Quantity {
    Quantity {
        kind: Kind::Pressure,
        value: Tol::exact(v),
        unit: a.pressure_unit.clone(),
        origin,
        gallon: None,
        fit: None,
    }
}

fn trend(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    Ok(match reading::trend(cx, d)? {
        Some(changes) if !changes.is_empty() => {
            list(changes.iter().map(reading::Change::record).collect())
        }
        _ => Value::Absent,
    })
}

fn member(cx: &mut Cx<'_>, d: DeclId, name: &str) -> Eval<Option<Value>> {
    Ok(match cx.get(d, "points")? {
        Value::List(items) => items
            .iter()
            .find(|v| reading::record_name(v).is_some_and(|n| n == name))
            .cloned(),
        // Wrong elsewhere and reported there: whatever is asked of it is unknown too.
        Value::Unknown => Some(Value::Unknown),
        _ => None,
    })
}

fn member_names(cx: &mut Cx<'_>, d: DeclId) -> Eval<Vec<String>> {
    Ok(match cx.get(d, "points")? {
        Value::List(items) => items
            .iter()
            .filter_map(|v| reading::record_name(v).map(|n| n.to_string()))
            .collect(),
        _ => Vec::new(),
    })
}
