//! From the readings of a test to net pressures, uncertainties, outcomes and the change since an earlier test.
//!
//! Invariants: a net pressure is built from what was read or stated alone, and carries `assumed` where a default
//! counted (gauges at one height, water at 60 °F). A reading that cannot give one carries its [`Trouble`] instead.
//! Nothing here reports findings; `checks` words them.
//!
//! Not here: correction for viscosity or air in the water, and the uncertainty of a hose's stated loss (the trade's
//! tables give none).

use super::checks;
use crate::db::Cx;
use crate::kinds::line::{appliance_law, hose_law};
use crate::kinds::surroundings::nameless;
use crate::slots::of_target;
use crate::value::{Origin, Quantity, Record, Table, Value};
use crate::{DeclId, Eval};
use cutwater_hydraulics::STANDARD_GRAVITY;
use cutwater_hydraulics::affinity::Duty;
use cutwater_hydraulics::friction::velocity_pressure;
use cutwater_hydraulics::network::Law;
use cutwater_hydraulics::service::{
    Gauges, Limits, NetUncertainties, Taps, Verdict, combined_uncertainty, conformance_probability,
    net_pressure_from_lift, rectangular, to_rated_speed, verdict,
};
use cutwater_hydraulics::water::Water;
use cutwater_quantity::{CompoundUnit, Kind, Tol};
use smol_str::SmolStr;
use std::sync::Arc;

/// Guard band in standard uncertainties: 95 % of a normal distribution, one-sided. Source: ISO 14253-1:2017 (from
/// memory); the quantile 1.6449 is that of the normal distribution.
pub(super) const GUARD: f64 = 1.645;

/// A reading is carried to the flow needed by the affinity laws only within this share of it: beyond, the point should
/// be run again. Common practice (ISO 9906 allows more in speed, from memory).
const CORRECTABLE: f64 = 0.05;

/// How far two readings of one point may lie apart in flow per speed and still be compared.
const COMPARABLE: f64 = 0.10;

/// Share by which comparisons forgive rounding of the arithmetic.
const ROUNDING: f64 = 1e-9;

/// Temperature taken where no water is stated, K: 60 °F, to which the trade's constants belong.
const USUAL_WATER: f64 = 288.705_555_555_555_6;

/// The water of a test.
#[derive(Clone, Copy)]
pub(super) struct TestWater {
    /// kg/m³.
    pub density: f64,
    /// Pa·s.
    pub viscosity: f64,
    /// Whether it is assumed.
    pub origin: Origin,
}

/// The water of a test, by its own temperature, else by the file's `water`, else at 60 °F; `None` where it cannot be
/// told (the reason is reported by the check or where the water is declared).
pub(super) fn water(cx: &mut Cx<'_>, d: DeclId) -> Eval<Option<TestWater>> {
    let own = cx.get(d, "water_temperature")?;
    let at = |t: f64, origin: Origin| {
        Water::at(t, 101_325.0).ok().map(|w| TestWater {
            density: w.density,
            viscosity: w.viscosity,
            origin,
        })
    };
    match own {
        Value::Quantity(t) => return Ok(at(t.si(), Origin::Computed)),
        Value::Unknown => return Ok(None),
        _ => {}
    }
    let Some(w) = nameless(cx, d, "water")? else {
        return Ok(at(USUAL_WATER, Origin::Assumed));
    };
    let (Some(density), Some(viscosity)) =
        (cx.quantity(w, "density")?, cx.quantity(w, "viscosity")?)
    else {
        return Ok(None);
    };
    Ok(Some(TestWater {
        density: density.si(),
        viscosity: viscosity.si(),
        origin: density.origin,
    }))
}

/// An instrument's facts.
#[derive(Clone)]
pub(super) struct Instrument {
    /// Full scale, Pa.
    pub span: Option<f64>,
    /// Greatest error as a share of the span, or of the reading where there is no span.
    pub accuracy: f64,
    /// Greatest error of reading the dial, Pa.
    pub reading_error: f64,
}

impl Instrument {
    /// Standard uncertainty of one reading (Pa for a gauge): both errors rectangular, added in squares.
    pub fn standard(&self, reading: f64) -> f64 {
        let full = self.span.unwrap_or(reading.abs());
        rectangular(self.accuracy * full).hypot(rectangular(self.reading_error))
    }
}

/// Reads an instrument; `None` where its accuracy is missing or unknown.
pub(super) fn instrument(cx: &mut Cx<'_>, d: DeclId) -> Eval<Option<Instrument>> {
    let Some(accuracy) = cx.si(d, "accuracy")? else {
        return Ok(None);
    };
    Ok(Some(Instrument {
        span: cx.si(d, "span")?,
        accuracy,
        reading_error: cx.si(d, "reading_error")?.unwrap_or(0.0),
    }))
}

/// A point of the procedure for this pump.
#[derive(Clone, Debug)]
pub(super) struct Point {
    /// Its name.
    pub name: SmolStr,
    /// Flow needed, m³/s.
    pub flow: f64,
    /// Net pressure needed, Pa.
    pub net: f64,
    /// Hold needed, s.
    pub hold: f64,
    /// Whether it is asked of a pump of this rating.
    pub required: bool,
}

/// A row of readings, SI.
#[derive(Clone, Debug, Default)]
pub(super) struct Row {
    pub name: Option<SmolStr>,
    pub flow: Option<f64>,
    pub discharge: Option<f64>,
    pub vacuum: Option<f64>,
    pub intake: Option<f64>,
    pub engine: Option<f64>,
    pub pump: Option<f64>,
    pub held: Option<f64>,
    pub scatter: Option<f64>,
    pub repeats: Option<f64>,
}

/// Which row belongs to which point, and which to none.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Assignment {
    /// For each point its row.
    pub row_of: Vec<Option<usize>>,
    /// Rows that belong to no point.
    pub extra: Vec<usize>,
    /// Rows whose name is no point's.
    pub unknown: Vec<usize>,
    /// Rows that name a point a second time.
    pub again: Vec<usize>,
}

/// Assigns rows to points: by name where there is a `point` column, else in order, leaving out points (or rows, where
/// there are more) so that flows and pressures fit best.
pub(super) fn assign(points: &[Point], rows: &[Row], named: bool) -> Assignment {
    let mut out = Assignment {
        row_of: vec![None; points.len()],
        ..Assignment::default()
    };
    if named {
        for (r, row) in rows.iter().enumerate() {
            let at = row
                .name
                .as_ref()
                .and_then(|n| points.iter().position(|p| p.name == *n));
            match at {
                None => out.unknown.push(r),
                Some(p) if out.row_of[p].is_some() => out.again.push(r),
                Some(p) => out.row_of[p] = Some(r),
            }
        }
        return out;
    }
    let miss = |r: usize, p: usize| {
        let part = |read: Option<f64>, needed: f64| match read {
            Some(v) if needed > 0.0 => ((v - needed) / needed).abs().min(10.0),
            _ => 1.0,
        };
        part(rows[r].flow, points[p].flow) + part(rows[r].discharge, points[p].net)
    };
    let pairs = if rows.len() <= points.len() {
        // A point that is not asked of this pump is left out sooner than one that is.
        let skip = |p: usize| if points[p].required { 0.05 } else { 0.0 };
        in_order(rows.len(), points.len(), miss, skip)
    } else {
        in_order(points.len(), rows.len(), |p, r| miss(r, p), |_| 0.0)
            .into_iter()
            .map(|(p, r)| (r, p))
            .collect()
    };
    for (r, p) in pairs {
        out.row_of[p] = Some(r);
    }
    out.extra = (0..rows.len())
        .filter(|r| !out.row_of.contains(&Some(*r)))
        .collect();
    out
}

/// Pairs all of the `few` with an increasing choice of the `many` at the least sum of `cost` and of `skip` for those
/// left out. Very long lists are paired by their numbers.
fn in_order(
    few: usize,
    many: usize,
    cost: impl Fn(usize, usize) -> f64,
    skip: impl Fn(usize) -> f64,
) -> Vec<(usize, usize)> {
    if few == many || few.saturating_mul(many) > 1_000_000 {
        return (0..few).map(|i| (i, i)).collect();
    }
    let width = many + 1;
    // best[i][j]: least sum for the first i of the few among the first j of the many.
    let mut best = vec![f64::INFINITY; (few + 1) * width];
    best[0] = 0.0;
    for j in 1..=many {
        best[j] = best[j - 1] + skip(j - 1);
    }
    for i in 1..=few {
        for j in i..=many {
            let take = best[(i - 1) * width + j - 1] + cost(i - 1, j - 1);
            let leave = best[i * width + j - 1] + skip(j - 1);
            best[i * width + j] = take.min(leave);
        }
    }
    let (mut i, mut j) = (few, many);
    let mut out = Vec::with_capacity(few);
    while i > 0 && j > 0 {
        let leave = best[i * width + j - 1] + skip(j - 1);
        if j > i && leave <= best[i * width + j] {
            j -= 1;
        } else {
            out.push((i - 1, j - 1));
            i -= 1;
            j -= 1;
        }
    }
    out.reverse();
    out
}

/// Why a reading gives no net pressure.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Trouble {
    /// Flow or discharge is not given.
    NotRead(&'static str),
    /// At draft: no vacuum, and not both of lift and suction.
    NoIntake,
    /// From a pressurised source: no intake pressure.
    NoIntakePressure,
    /// A vacuum in a test from a pressurised source.
    VacuumPressurised,
    /// Vacuum and intake pressure in one row.
    Both,
    /// An intake above the atmosphere at draft, Pa.
    AboveAtmosphere(f64),
    /// A vacuum deeper than any atmosphere, Pa.
    TooDeep(f64),
    /// The suction hose or strainer states no loss that can be computed.
    NoLoss(DeclId),
    /// A number no formula can use.
    Input(String),
    /// Something unknown, reported elsewhere.
    Unknown,
}

/// The net pressure of a row.
#[derive(Clone, Debug)]
pub(super) struct Net {
    /// Pa.
    pub value: f64,
    /// Where it comes from.
    pub origin: Origin,
    /// Standard uncertainty, Pa, where all gauges read have an instrument.
    pub uncertainty: Option<f64>,
}

/// How a point or a part of a test came out; the graver the greater.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum Outcome {
    /// Made.
    Pass,
    /// Cannot be told with these instruments.
    TooClose,
    /// Not there, or not all of it.
    Incomplete,
    /// Missed.
    Fail,
}

impl Outcome {
    /// The word of the verdict.
    pub fn word(self) -> &'static str {
        match self {
            Outcome::Pass => "pass",
            Outcome::TooClose => "too_close",
            Outcome::Incomplete => "incomplete",
            Outcome::Fail => "fail",
        }
    }
}

/// A point with its reading.
#[derive(Clone, Debug)]
pub(super) struct Judged {
    /// Its row.
    pub row: Option<usize>,
    /// Its net pressure.
    pub net: Option<Net>,
    /// Why there is none.
    pub trouble: Option<Trouble>,
    /// Guard band, Pa.
    pub guard: f64,
    /// Pump speed, rad/s.
    pub speed: Option<f64>,
    /// How the net pressure compares.
    pub by_net: Option<Verdict>,
    /// Whether the flow reaches what is needed, within the tolerance.
    pub flow_reached: bool,
    /// Whether it was held long enough, as far as recorded.
    pub held: bool,
    /// All together.
    pub outcome: Outcome,
}

/// A test worked out.
pub(super) struct Analysis {
    pub pump: DeclId,
    pub procedure: DeclId,
    /// Rated flow, m³/s, and its unit.
    pub rated_flow: f64,
    pub rated_flow_unit: Option<Arc<CompoundUnit>>,
    /// Rated net pressure, Pa.
    pub rated_pressure: f64,
    pub draft: bool,
    pub guarded: bool,
    pub flow_tolerance: f64,
    pub points: Vec<Point>,
    pub rows: Vec<Row>,
    pub assignment: Assignment,
    pub judged: Vec<Judged>,
    pub water: TestWater,
    pub site: Site,
    pub pressure_unit: Option<Arc<CompoundUnit>>,
    pub flow_unit: Option<Arc<CompoundUnit>>,
    pub speed_unit: Option<Arc<CompoundUnit>>,
    pub time_unit: Option<Arc<CompoundUnit>>,
}

/// What holds for all rows of a test: lift, suction, gauges and instruments.
pub(super) struct Site {
    /// Lift with the half-width of its tolerance, m.
    pub lift: Option<(f64, f64)>,
    /// Loss of the suction side.
    pub suction: Suction,
    /// Height of the discharge gauge over the intake gauge with half-width, m, and its origin.
    height: (f64, f64, Origin),
    /// Bores at discharge and intake tap with half-widths, m.
    bores: Option<[(f64, f64); 2]>,
    /// Bore where the intake gauge is tapped, m; and that of the suction hose.
    intake_bore: Option<f64>,
    pub hose_bore: Option<f64>,
    pub lines: f64,
    pub discharge_gauge: Gauge,
    pub intake_gauge: Gauge,
    flow_meter: Gauge,
}

/// An instrument that is named, or not.
#[derive(Clone)]
pub(super) enum Gauge {
    /// None is named.
    NotNamed,
    /// Named, but unknown; reported elsewhere.
    Unknown,
    /// Named.
    Known(Instrument),
}

impl Gauge {
    fn known(&self) -> Option<&Instrument> {
        match self {
            Gauge::Known(i) => Some(i),
            _ => None,
        }
    }
}

/// Loss between the water and the pump's intake.
pub(super) enum Suction {
    /// No hose is named.
    NotNamed,
    /// Something about it is unknown; reported elsewhere.
    Unknown,
    /// A hose or strainer without a usable loss.
    NoLoss(DeclId),
    /// Hose and strainer of one line.
    Known {
        hose: Law,
        strainer: Option<f64>,
        lines: f64,
    },
}

impl Suction {
    /// Loss, Pa, of hose and strainer at the pump's flow, m³/s; `None` where none is known.
    pub fn loss(&self, flow: f64) -> Option<f64> {
        let Suction::Known {
            hose,
            strainer,
            lines,
        } = self
        else {
            return None;
        };
        let q = flow / lines;
        let hose = match hose {
            Law::Quadratic { resistance } => resistance * q * q,
            Law::Power {
                coefficient,
                exponent,
            } => coefficient * q.powf(*exponent),
            Law::Darcy(pipe) => pipe.loss(q).ok()?,
            Law::Pump { .. } => return None,
        };
        Some(hose + strainer.unwrap_or(0.0) * q * q)
    }
}

fn half_width(q: &Quantity) -> f64 {
    0.5 * (q.value.hi() - q.value.lo())
}

fn with_half_width(q: &Quantity) -> (f64, f64) {
    (q.si(), half_width(q))
}

fn gauge(cx: &mut Cx<'_>, d: DeclId, field: &str) -> Eval<Gauge> {
    Ok(match cx.get(d, field)? {
        Value::Absent => Gauge::NotNamed,
        Value::Decl(i) => match instrument(cx, i)? {
            Some(i) => Gauge::Known(i),
            None => Gauge::Unknown,
        },
        _ => Gauge::Unknown,
    })
}

fn suction(cx: &mut Cx<'_>, d: DeclId, water: &TestWater, lines: f64) -> Eval<Suction> {
    let piece = match cx.get(d, "suction")? {
        Value::Absent => return Ok(Suction::NotNamed),
        Value::Piece(p) => p,
        _ => return Ok(Suction::Unknown),
    };
    let (h, length) = (piece.of, piece.length.si());
    let Some(hose) = hose_law(cx, h, length, water.density, water.viscosity)? else {
        return Ok(Suction::NoLoss(h));
    };
    let strainer = match cx.get(d, "strainer")? {
        Value::Absent => None,
        Value::Decl(s) => match appliance_law(cx, s, water.density)? {
            Some(r) => Some(r),
            None => return Ok(Suction::NoLoss(s)),
        },
        _ => return Ok(Suction::Unknown),
    };
    Ok(Suction::Known {
        hose,
        strainer,
        lines,
    })
}

fn site(cx: &mut Cx<'_>, d: DeclId, pump: DeclId, water: &TestWater) -> Eval<Site> {
    let lines = cx.si(d, "lines")?.unwrap_or(1.0);
    let bore = |q: Option<Quantity>| q.map(|q| with_half_width(&q));
    let discharge_bore = bore(cx.quantity(pump, "discharge_diameter")?);
    let intake_bore = bore(cx.quantity(pump, "suction_diameter")?);
    let hose_bore = match cx.get(d, "suction")? {
        Value::Piece(p) => cx.si(p.of, "diameter")?,
        _ => None,
    };
    let height = match cx.quantity(d, "gauge_height")? {
        Some(h) => (h.si(), half_width(&h), h.origin),
        None => (0.0, 0.0, Origin::Assumed),
    };
    Ok(Site {
        lift: cx.quantity(d, "lift")?.map(|q| with_half_width(&q)),
        suction: suction(cx, d, water, lines)?,
        height,
        bores: discharge_bore.zip(intake_bore).map(|(a, b)| [a, b]),
        intake_bore: intake_bore.map(|b| b.0),
        hose_bore,
        lines,
        discharge_gauge: gauge(cx, d, "discharge_gauge")?,
        intake_gauge: gauge(cx, d, "intake_gauge")?,
        flow_meter: gauge(cx, d, "flow_meter")?,
    })
}

impl Site {
    /// Vacuum to be expected at the intake by lift and loss, Pa: without and with the velocity head at the gauge's tap.
    /// `None` where lift or loss is not known.
    pub fn expected_vacuum(&self, flow: f64, water: &TestWater) -> Option<(f64, f64)> {
        let still = self.lift?.0 * water.density * STANDARD_GRAVITY + self.suction.loss(flow)?;
        // Where the tap's bore is stated the velocity head is known; else the hose's bore bounds it.
        let moving = |bore: Option<f64>, q: f64| {
            bore.and_then(|b| velocity_pressure(q, b, water.density).ok())
        };
        Some(match moving(self.intake_bore, flow) {
            Some(v) => (still + v, still + v),
            None => {
                let most = moving(self.hose_bore, flow / self.lines).unwrap_or(0.0);
                (still, still + most)
            }
        })
    }

    /// Net pressure of a row.
    fn net(&self, row: &Row, draft: bool, water: &TestWater) -> Result<Net, Trouble> {
        let flow = row.flow.ok_or(Trouble::NotRead("flow"))?;
        let discharge = row.discharge.ok_or(Trouble::NotRead("discharge"))?;
        let gamma = water.density * STANDARD_GRAVITY;
        // The deepest vacuum there is: the highest air pressure ever read at sea level was about 108.5 kPa.
        const DEEPEST: f64 = 108_500.0;
        let intake = match (draft, row.vacuum, row.intake) {
            (false, Some(_), _) => return Err(Trouble::VacuumPressurised),
            (false, None, None) => return Err(Trouble::NoIntakePressure),
            (true, Some(_), Some(_)) => return Err(Trouble::Both),
            (true, None, Some(p)) if p > 0.0 => return Err(Trouble::AboveAtmosphere(p)),
            (true, Some(v), None) => Some(-v),
            (_, None, Some(p)) => Some(p),
            (true, None, None) => None,
        };
        if let Some(p) = intake
            && p < -DEEPEST
        {
            return Err(Trouble::TooDeep(-p));
        }
        let wrong = |e: cutwater_hydraulics::InputError| Trouble::Input(e.to_string());
        let u_gauge = self.discharge_gauge.known().map(|g| {
            let repeats = row.repeats.unwrap_or(1.0).max(1.0);
            g.standard(discharge)
                .hypot(row.scatter.unwrap_or(0.0) / repeats.sqrt())
        });
        // Without a meter's accuracy the flow is taken as read: it moves the net pressure only through velocity heads
        // and suction loss.
        let u_flow = self
            .flow_meter
            .known()
            .map_or(0.0, |m| rectangular(m.accuracy * flow));
        let mut origin = Origin::Computed.with(self.height.2);
        let mut density_counts = self.height.0 != 0.0;
        let (value, uncertainty) = match intake {
            Some(p) => {
                let gauges = Gauges {
                    discharge,
                    intake: p,
                    discharge_height: self.height.0,
                    intake_height: 0.0,
                    velocity: self.bores.map(|b| Taps {
                        flow,
                        discharge_bore: b[0].0,
                        intake_bore: b[1].0,
                    }),
                    density: water.density,
                    specific_weight: gamma,
                };
                density_counts |= self.bores.is_some();
                let value = gauges.net_pressure().map_err(wrong)?;
                let uncertainty = match (u_gauge, self.intake_gauge.known()) {
                    (Some(u), Some(g)) => Some(
                        gauges
                            .uncertainty(&NetUncertainties {
                                discharge: u,
                                intake: g.standard(p),
                                discharge_height: rectangular(self.height.1),
                                flow: u_flow,
                                discharge_bore: self.bores.map_or(0.0, |b| rectangular(b[0].1)),
                                intake_bore: self.bores.map_or(0.0, |b| rectangular(b[1].1)),
                                ..NetUncertainties::default()
                            })
                            .map_err(wrong)?,
                    ),
                    _ => None,
                };
                (value, uncertainty)
            }
            None => {
                let Some((lift, lift_half)) = self.lift else {
                    return Err(Trouble::NoIntake);
                };
                let loss = match &self.suction {
                    Suction::NotNamed => return Err(Trouble::NoIntake),
                    Suction::Unknown => return Err(Trouble::Unknown),
                    Suction::NoLoss(h) => return Err(Trouble::NoLoss(*h)),
                    known @ Suction::Known { .. } => known.loss(flow).ok_or(Trouble::Unknown)?,
                };
                density_counts = true;
                let value = net_pressure_from_lift(discharge, self.height.0, lift, loss, gamma)
                    .map_err(wrong)?;
                let uncertainty = match u_gauge {
                    Some(u) => Some(
                        combined_uncertainty(
                            &[
                                (1.0, u),
                                (gamma, rectangular(lift_half)),
                                (gamma, rectangular(self.height.1)),
                                (if flow > 0.0 { 2.0 * loss / flow } else { 0.0 }, u_flow),
                            ],
                            &[],
                        )
                        .map_err(wrong)?,
                    ),
                    None => None,
                };
                (value, uncertainty)
            }
        };
        if density_counts {
            origin = origin.with(water.origin);
        }
        if !value.is_finite() {
            return Err(Trouble::Input(
                "the net pressure is not a number".to_owned(),
            ));
        }
        Ok(Net {
            value,
            origin,
            uncertainty,
        })
    }
}

fn rows_of(t: &Table) -> Vec<Row> {
    (0..t.rows)
        .map(|r| Row {
            name: t.text(r, "point"),
            flow: t.number(r, "flow"),
            discharge: t.number(r, "discharge"),
            vacuum: t.number(r, "intake_vacuum"),
            intake: t.number(r, "intake"),
            engine: t.number(r, "engine"),
            pump: t.number(r, "pump"),
            held: t.number(r, "held"),
            scatter: t.number(r, "scatter"),
            repeats: t.number(r, "repeats"),
        })
        .collect()
}

/// The points of a procedure for a pump of this rated flow; `None` where a cell is missing (reported there).
fn points_of(t: &Table, rated: f64) -> Option<Vec<Point>> {
    (0..t.rows)
        .map(|r| {
            Some(Point {
                name: t.text(r, "point")?,
                flow: t.number(r, "capacity")? * rated,
                net: t.number(r, "net")?,
                hold: t.number(r, "hold")?,
                required: t
                    .number(r, "from")
                    .is_none_or(|from| rated >= from * (1.0 - ROUNDING)),
            })
        })
        .collect()
}

fn column_unit(t: &Table, column: &str) -> Option<Arc<CompoundUnit>> {
    t.columns.iter().find(|c| c.0 == column)?.1.clone()
}

/// Works a test out; `None` where something it needs is missing or unknown (reported where it is).
pub(super) fn analyse(cx: &mut Cx<'_>, d: DeclId) -> Eval<Option<Analysis>> {
    let Some(pump) = of_target(cx, d)?.filter(|p| cx.kind_word(*p) == "pump") else {
        return Ok(None);
    };
    let Some(procedure) = cx.reference(d, "procedure")? else {
        return Ok(None);
    };
    let Value::Phrase(rating) = cx.get(pump, "rating")? else {
        return Ok(None);
    };
    let part = |name: &str| rating.iter().find(|p| p.0 == name).map(|p| p.1.clone());
    let (Some(rated_flow), Some(rated_pressure)) = (part("flow"), part("pressure")) else {
        return Ok(None);
    };
    let (Some(readings), Some(asked)) = (cx.table(d, "readings")?, cx.table(procedure, "points")?)
    else {
        return Ok(None);
    };
    if !checks::sound_points(&asked) {
        return Ok(None);
    }
    let (Some(source), Some(water)) = (cx.choice(procedure, "source")?, water(cx, d)?) else {
        return Ok(None);
    };
    let Some(points) = points_of(&asked, rated_flow.si()) else {
        return Ok(None);
    };
    let draft = source == "draft";
    let guarded = cx.choice(procedure, "decision")? == Some("guarded");
    let flow_tolerance = cx.si(procedure, "flow_tolerance")?.unwrap_or(0.0);
    let ratio = match cx.reference(d, "drive")? {
        Some(drive) => cx.si(drive, "gear_ratio")?,
        None => None,
    };
    let site = site(cx, d, pump, &water)?;
    let rows = rows_of(&readings);
    let assignment = assign(&points, &rows, readings.has("point"));
    let judged = points
        .iter()
        .zip(&assignment.row_of)
        .map(|(p, r)| {
            let Some(row) = r.and_then(|r| rows.get(r)) else {
                return Judged {
                    row: None,
                    net: None,
                    trouble: None,
                    guard: 0.0,
                    speed: None,
                    by_net: None,
                    flow_reached: false,
                    held: false,
                    outcome: Outcome::Incomplete,
                };
            };
            let (net, trouble) = match site.net(row, draft, &water) {
                Ok(n) => (Some(n), None),
                Err(t) => (None, Some(t)),
            };
            judge(p, *r, row, net, trouble, guarded, flow_tolerance, ratio)
        })
        .collect();
    // Net pressures are shown in the unit of the discharge column, unless that says "gauge".
    let pressure_unit = column_unit(&readings, "discharge").filter(|u| u.kind() == Kind::Pressure);
    Ok(Some(Analysis {
        pump,
        procedure,
        rated_flow: rated_flow.si(),
        rated_flow_unit: rated_flow.unit.clone(),
        rated_pressure: rated_pressure.si(),
        draft,
        guarded,
        flow_tolerance,
        points,
        rows,
        assignment,
        judged,
        water,
        site,
        pressure_unit,
        flow_unit: column_unit(&readings, "flow"),
        speed_unit: column_unit(&readings, "engine").or_else(|| column_unit(&readings, "pump")),
        time_unit: column_unit(&readings, "held").or_else(|| column_unit(&asked, "hold")),
    }))
}

#[allow(clippy::too_many_arguments)] // one call; a struct for it would only rename them
fn judge(
    p: &Point,
    r: Option<usize>,
    row: &Row,
    net: Option<Net>,
    trouble: Option<Trouble>,
    guarded: bool,
    flow_tolerance: f64,
    ratio: Option<f64>,
) -> Judged {
    let guard = match &net {
        Some(Net {
            uncertainty: Some(u),
            ..
        }) if guarded => GUARD * u,
        _ => 0.0,
    };
    let by_net = net.as_ref().and_then(|n| {
        let limits = Limits {
            lower: Some(p.net),
            upper: None,
        };
        verdict(n.value + ROUNDING * p.net, limits, guard).ok()
    });
    let flow_reached = row
        .flow
        .is_some_and(|q| q >= p.flow * (1.0 - flow_tolerance) * (1.0 - ROUNDING));
    let held = row.held.is_none_or(|t| t >= p.hold * (1.0 - ROUNDING));
    let outcome = match by_net {
        None => Outcome::Incomplete,
        Some(_) if !flow_reached => Outcome::Fail,
        Some(Verdict::Fail) => Outcome::Fail,
        Some(_) if !held => Outcome::Incomplete,
        Some(Verdict::TooClose) => Outcome::TooClose,
        Some(Verdict::Pass) => Outcome::Pass,
    };
    Judged {
        row: r,
        speed: row.pump.or_else(|| Some(row.engine? * ratio?)),
        net,
        trouble,
        guard,
        by_net,
        flow_reached,
        held,
        outcome,
    }
}

impl Analysis {
    fn quantity(&self, kind: Kind, si: f64, origin: Origin) -> Value {
        let unit = match kind {
            Kind::Pressure | Kind::GaugePressure => &self.pressure_unit,
            Kind::Flow => &self.flow_unit,
            Kind::RotationalSpeed => &self.speed_unit,
            Kind::Time => &self.time_unit,
            _ => &None,
        };
        Value::Quantity(Quantity {
            kind,
            value: Tol::exact(si),
            unit: unit.clone(),
            origin,
            gallon: unit.as_ref().and_then(|u| u.gallon()),
            fit: None,
        })
    }

    /// Probability that the net pressure truly reaches what is needed; `None` without uncertainty.
    pub fn probability(&self, point: usize) -> Option<f64> {
        let net = self.judged.get(point)?.net.as_ref()?;
        let limits = Limits {
            lower: Some(self.points.get(point)?.net),
            upper: None,
        };
        conformance_probability(net.value, limits, net.uncertainty?).ok()
    }

    /// A reading carried to exactly the flow needed by the affinity laws: net pressure, Pa, and pump speed, rad/s.
    fn corrected(&self, point: usize) -> Option<(f64, f64)> {
        let j = &self.judged[point];
        let (needed, read) = (self.points[point].flow, self.rows.get(j.row?)?.flow?);
        if needed <= 0.0 || (read / needed - 1.0).abs() > CORRECTABLE {
            return None;
        }
        let speed = j.speed.filter(|n| *n > 0.0)?;
        let at = speed * needed / read;
        // A pressure scales as a head does.
        let duty = Duty {
            flow: read,
            head: j.net.as_ref()?.value,
            power: 0.0,
            npshr: 0.0,
        };
        let there = to_rated_speed(duty, speed, at).ok()?;
        Some((there.head, at))
    }

    /// The points as values.
    pub fn records(&self) -> Vec<Record> {
        (0..self.points.len())
            .map(|k| {
                let (p, j) = (&self.points[k], &self.judged[k]);
                let row = j.row.and_then(|r| self.rows.get(r));
                let mut fields: Vec<(SmolStr, Value)> =
                    vec![("name".into(), Value::Text(p.name.clone()))];
                let mut put = |name: &'static str, v: Option<Value>| {
                    fields.push((SmolStr::new_static(name), v.unwrap_or(Value::Absent)));
                };
                let computed = Origin::Computed;
                let read = |v: Option<f64>, kind: Kind| {
                    v.map(|v| self.quantity(kind, v, Origin::Measured))
                };
                put("asked", Some(Value::Truth(p.required)));
                put(
                    "flow_needed",
                    Some(self.quantity(Kind::Flow, p.flow, computed)),
                );
                put("flow", read(row.and_then(|r| r.flow), Kind::Flow));
                put(
                    "net_needed",
                    Some(self.quantity(Kind::Pressure, p.net, Origin::Stated)),
                );
                let net = j.net.as_ref();
                put(
                    "net",
                    net.map(|n| self.quantity(Kind::Pressure, n.value, n.origin)),
                );
                put(
                    "margin",
                    net.map(|n| self.quantity(Kind::Pressure, n.value - p.net, n.origin)),
                );
                put(
                    "uncertainty",
                    net.and_then(|n| Some(self.quantity(Kind::Pressure, n.uncertainty?, computed))),
                );
                put(
                    "pump_speed",
                    j.speed.map(|n| {
                        let measured = row.is_some_and(|r| r.pump.is_some());
                        let origin = if measured { Origin::Measured } else { computed };
                        self.quantity(Kind::RotationalSpeed, n, origin)
                    }),
                );
                let corrected = self.corrected(k);
                let origin = net.map_or(computed, |n| n.origin);
                put(
                    "corrected_net",
                    corrected.map(|c| self.quantity(Kind::Pressure, c.0, origin)),
                );
                put(
                    "corrected_speed",
                    corrected.map(|c| self.quantity(Kind::RotationalSpeed, c.1, computed)),
                );
                put("held", read(row.and_then(|r| r.held), Kind::Time));
                put("verdict", Some(Value::Choice(j.outcome.word())));
                Record {
                    what: "point",
                    fields,
                }
            })
            .collect()
    }
}

/// The name of a record.
pub(super) fn record_name(v: &Value) -> Option<&SmolStr> {
    match v {
        Value::Record(r) => r.fields.iter().find_map(|(n, v)| match v {
            Value::Text(t) if n == "name" => Some(t),
            _ => None,
        }),
        _ => None,
    }
}

/// How a point changed since an earlier test.
#[derive(Clone, Debug)]
pub(super) struct Change {
    /// The point.
    pub name: SmolStr,
    /// Its row in this test.
    pub row: Option<usize>,
    /// Net pressure then, Pa.
    pub then: f64,
    /// This test's at the speed and flow of then, Pa.
    pub now: f64,
    /// Pump speed then, rad/s.
    pub speed: f64,
    origin: Origin,
    pressure_unit: Option<Arc<CompoundUnit>>,
    speed_unit: Option<Arc<CompoundUnit>>,
}

impl Change {
    /// Change as a share of then's.
    pub fn share(&self) -> f64 {
        self.now / self.then - 1.0
    }

    /// As a value.
    pub fn record(&self) -> Record {
        let q = |kind: Kind, si: f64, unit: &Option<Arc<CompoundUnit>>, origin: Origin| {
            Value::Quantity(Quantity {
                kind,
                value: Tol::exact(si),
                unit: unit.clone(),
                origin,
                gallon: None,
                fit: None,
            })
        };
        Record {
            what: "change",
            fields: vec![
                ("name".into(), Value::Text(self.name.clone())),
                (
                    "speed".into(),
                    q(
                        Kind::RotationalSpeed,
                        self.speed,
                        &self.speed_unit,
                        Origin::Computed,
                    ),
                ),
                (
                    "net_before".into(),
                    q(Kind::Pressure, self.then, &self.pressure_unit, self.origin),
                ),
                (
                    "net".into(),
                    q(Kind::Pressure, self.now, &self.pressure_unit, self.origin),
                ),
                (
                    "change".into(),
                    q(Kind::Ratio, self.share(), &None, self.origin),
                ),
            ],
        }
    }
}

/// One reading for the comparison: flow, net pressure, pump speed.
#[derive(Clone, Copy)]
struct At {
    flow: f64,
    net: f64,
    speed: f64,
}

fn readings_with_speed(a: &Analysis) -> Vec<(SmolStr, Option<usize>, At, Origin)> {
    a.points
        .iter()
        .zip(&a.judged)
        .filter_map(|(p, j)| {
            let net = j.net.as_ref()?;
            Some((
                p.name.clone(),
                j.row,
                At {
                    flow: a.rows.get(j.row?)?.flow?,
                    net: net.value,
                    speed: j.speed.filter(|n| *n > 0.0)?,
                },
                net.origin,
            ))
        })
        .collect()
}

/// Slope b of p/n² = a − b (Q/n)² by least squares; `None` where the points do not spread in flow. A rising fit gives
/// zero: a slope of the wrong sign comes from scatter, and the carry then rests on the affinity laws alone.
fn fall(points: &[At]) -> Option<f64> {
    let xy: Vec<(f64, f64)> = points
        .iter()
        .map(|p| {
            let x = p.flow / p.speed;
            (x * x, p.net / (p.speed * p.speed))
        })
        .collect();
    let n = xy.len() as f64;
    let (mx, my) = (
        xy.iter().map(|p| p.0).sum::<f64>() / n,
        xy.iter().map(|p| p.1).sum::<f64>() / n,
    );
    let sxx: f64 = xy.iter().map(|p| (p.0 - mx) * (p.0 - mx)).sum();
    let sxy: f64 = xy.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum();
    (xy.len() > 1 && sxx > 1e-4 * mx * mx * n).then(|| (-sxy / sxx).max(0.0))
}

/// The changes since the test `before`, point by point; `None` where there is no such test or something is unknown.
pub(super) fn trend(cx: &mut Cx<'_>, d: DeclId) -> Eval<Option<Vec<Change>>> {
    let Some(before) = cx.reference(d, "before")? else {
        return Ok(None);
    };
    if !checks::may_compare(cx, d, before)? {
        return Ok(None);
    }
    let (Some(now), Some(then)) = (analyse(cx, d)?, analyse(cx, before)?) else {
        return Ok(None);
    };
    let new = readings_with_speed(&now);
    let old = readings_with_speed(&then);
    let slope = fall(&old.iter().map(|o| o.2).collect::<Vec<_>>());
    let mut out = Vec::new();
    for (name, row, a, origin) in new {
        let Some((_, _, b, origin_then)) = old.iter().find(|o| o.0 == name) else {
            continue;
        };
        if b.net <= 0.0 || b.flow <= 0.0 {
            continue;
        }
        // At the speed of then the flow is off by this share; without a slope only a small one may be overlooked.
        let ratio = b.speed / a.speed;
        let flow = a.flow * ratio;
        let off = (flow / b.flow - 1.0).abs();
        if off > if slope.is_some() { COMPARABLE } else { 0.02 } {
            continue;
        }
        let at_speed = a.net * ratio * ratio;
        let net = at_speed + slope.unwrap_or(0.0) * (flow * flow - b.flow * b.flow);
        out.push(Change {
            name,
            row,
            then: b.net,
            now: net,
            speed: b.speed,
            origin: origin.with(*origin_then),
            pressure_unit: now.pressure_unit.clone(),
            speed_unit: now.speed_unit.clone(),
        });
    }
    Ok(Some(out))
}

/// The last row whose `column` is not above `x`, of a table whose rows hold "from here up".
pub(super) fn from_up(t: &Table, column: &str, x: f64) -> Option<usize> {
    (0..t.rows).rev().find(|r| {
        t.number(*r, column)
            .is_some_and(|v| v <= x * (1.0 + ROUNDING))
    })
}

/// Whether `a` reaches `b`, forgiving rounding.
pub(super) fn reaches(a: f64, b: f64) -> bool {
    a >= b - ROUNDING * b.abs()
}
