//! The changeover pump: where its two curves cross, and in which position it makes what it is rated for.
//!
//! Invariants: both curves are looked at at one speed, by the affinity laws, inside the flows tested of each.
//!
//! What it does not do: the loss of the changeover valve itself (it is in the tested curves), and turning it: a valve is
//! turned at low pressure, as the pump's maker says.

use super::super::rotor::with_number;
use super::{Layout, RATED, joined, rating, source};
use crate::codes::codes;
use crate::db::Cx;
use crate::schema::short::positive;
use crate::schema::{ComputedDef, Type};
use crate::value::{Quantity, Record, Value};
use crate::{DeclId, Eval, show};
use cutwater_finding::Finding;
use cutwater_hydraulics::pump::PumpCurve;
use cutwater_quantity::Kind;
use std::sync::Arc;

use super::super::rotor::given;

codes! {
    /// Raised by `pump`.
    POSITION = "CW1318" "changeover-position" Advice, "A changeover pump makes its rating at less speed in series.",
        "Rated capacity is taken as made in parallel (volume), and the `rated_…` values are those of that position (common practice). Here the rating lies below the flow where the two curves cross, so that in series (pressure) the pump makes it at a lower speed. Perhaps the curves of the two positions are exchanged; else change over for this rating. A changeover valve is turned at low pressure only, as the pump's maker says: at pressure it slams and hurts.",
        fires "pump main {\n    rating = 400 gpm at 250 psi\n    series_curve at 3000 rpm (flow gpm, net psi) {\n          0 400\n        300 370\n        600 280\n    }\n    parallel_curve at 3000 rpm (flow gpm, net psi) {\n           0 200\n         600 185\n        1200 140\n    }\n}\n",
        silent "pump main {\n    rating = 1000 gpm at 150 psi\n    series_curve at 3000 rpm (flow gpm, net psi) {\n          0 400\n        300 370\n        600 280\n    }\n    parallel_curve at 3000 rpm (flow gpm, net psi) {\n           0 200\n         600 185\n        1200 140\n    }\n}\n";
}

pub(super) const CROSSOVER_FLOW: ComputedDef = ComputedDef {
    name: "crossover_flow",
    ty: positive(Kind::Flow),
    doc: "Of a changeover pump, the flow above which parallel (volume) gives more pressure than series (pressure), at the speed of its curve in series. At another speed it goes with the speed.",
    formula: "the flow where net in series = net in parallel",
    source: "the tested curves, brought to one speed by the affinity laws",
    solved: false,
    hint: false,
    eval: crossover_flow,
};

pub(super) const CROSSOVER_PRESSURE: ComputedDef = ComputedDef {
    name: "crossover_pressure",
    ty: positive(Kind::Pressure),
    doc: "Net pressure at crossover_flow. At another speed it goes with the square of the speed.",
    formula: "net in series at crossover_flow",
    source: "the tested curves, brought to one speed by the affinity laws",
    solved: false,
    hint: false,
    eval: crossover_pressure,
};

pub(super) const RATED_POINTS: ComputedDef = ComputedDef {
    name: "rated_points",
    ty: Type::Any,
    doc: "Of a changeover pump, the points US fire pumps are rated by (all of the capacity at the rated pressure and at 1.1 times it, 70 % at 4/3 and 50 % at 5/3 of it: 150, 165, 200 and 250 psi), the speed each position needs for it, and the position that needs less. A speed is left out where the point lies off the flows tested in that position. Which points hold for a pump is for its standard and maker to say.",
    formula: "for each position the speed n with net(flow, n) = pressure",
    source: "affinity laws; points of NFPA practice (published)",
    solved: false,
    hint: false,
    eval: rated_points,
};

/// The points: share of the rated flow, and of the rated pressure. 100 % at 150 and 165 psi, 70 % at 200, 50 % at 250
/// (published).
pub(crate) const RATED_SHARES: [(f64, f64); 4] = [
    (1.0, 1.0),
    (1.0, 1.1),
    (0.7, 200.0 / 150.0),
    (0.5, 250.0 / 150.0),
];

/// How much less speed in series is worth speaking of.
const LESS: f64 = 0.97;

/// The curves in both positions, where the pump has a changeover valve, and what the values are shown in.
struct Both {
    series: PumpCurve,
    parallel: PumpCurve,
    source: super::Source,
}

impl Both {
    fn read(cx: &mut Cx<'_>, d: DeclId) -> Eval<Result<Self, Value>> {
        match Layout::read(cx, d)? {
            Ok(l) if l.changes() => {}
            Ok(_) => return Ok(Err(Value::Absent)),
            Err(v) => return Ok(Err(v)),
        }
        let series = match source(cx, d, Some("series"))? {
            Ok(s) => s,
            Err(v) => return Ok(Err(v)),
        };
        let parallel = match source(cx, d, Some("parallel"))? {
            Ok(s) => s,
            Err(v) => return Ok(Err(v)),
        };
        Ok(match (joined(&series, None), joined(&parallel, None)) {
            (Some(a), Some(b)) => Ok(Self {
                series: a,
                parallel: b,
                source: super::Source {
                    origin: series.origin.with(parallel.origin),
                    ..series
                },
            }),
            _ => Err(Value::Absent),
        })
    }

    /// Flow and pressure where the curves cross.
    fn crossing(&self) -> Option<(f64, f64)> {
        let speed = self.series.tested_speed();
        self.series.falls_below(&self.parallel, speed).ok()?
    }
}

fn crossover_flow(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let both = given!(Both::read(cx, d));
    Ok(match both.crossing() {
        Some((q, _)) => Value::Quantity(both.source.read(Kind::Flow, q, "flow")),
        None => Value::Absent,
    })
}

fn crossover_pressure(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let both = given!(Both::read(cx, d));
    Ok(match both.crossing() {
        Some((_, p)) => Value::Quantity(both.source.read(Kind::Pressure, p, "net")),
        None => Value::Absent,
    })
}

fn rated_points(cx: &mut Cx<'_>, d: DeclId) -> Eval<Value> {
    let both = given!(Both::read(cx, d));
    let (flow, pressure) = given!(rating(cx, d));
    let in_unit = |like: &Quantity, si: f64| Quantity {
        unit: like.unit.clone(),
        gallon: like.gallon,
        ..Quantity::computed(like.kind, si).origin(like.origin.with(like.origin))
    };
    let rows = RATED_SHARES.iter().map(|(share, times)| {
        let (q, p) = (share * flow.si(), times * pressure.si());
        let speeds = [&both.series, &both.parallel].map(|c| c.speed_for(q, p).ok().flatten());
        let mut fields = vec![
            ("flow".into(), Value::Quantity(in_unit(&flow, q))),
            ("pressure".into(), Value::Quantity(in_unit(&pressure, p))),
        ];
        for (name, speed) in ["series_speed", "parallel_speed"].into_iter().zip(speeds) {
            if let Some(n) = speed {
                let mut n = Quantity::computed(Kind::RotationalSpeed, n).origin(both.source.origin);
                n.unit = both.source.table.at.as_ref().and_then(|a| a.unit.clone());
                fields.push((name.into(), Value::Quantity(n)));
            }
        }
        let position = match speeds {
            [Some(a), Some(b)] => Some(if a < b { "series" } else { "parallel" }),
            [Some(_), None] => Some("series"),
            [None, Some(_)] => Some("parallel"),
            [None, None] => None,
        };
        if let Some(p) = position {
            fields.push(("position".into(), Value::Choice(p)));
        }
        Value::Record(Arc::new(Record {
            what: "rated point",
            fields,
        }))
    });
    Ok(Value::List(rows.collect()))
}

/// Says so where the rating is made at less speed in series.
pub(super) fn check_position(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    let (Ok(both), Ok((flow, pressure))) = (Both::read(cx, d)?, rating(cx, d)?) else {
        return Ok(());
    };
    let speed = |c: &PumpCurve| c.speed_for(flow.si(), pressure.si()).ok().flatten();
    let (Some(series), Some(parallel)) = (speed(&both.series), speed(&both.parallel)) else {
        return Ok(());
    };
    if series >= LESS * parallel {
        return Ok(());
    }
    let settings = cx.settings();
    let unit = both.source.table.at.as_ref().and_then(|a| a.unit.clone());
    let text = |n: f64| show::si(n, Kind::RotationalSpeed, unit.as_ref(), &settings);
    let place = cx.place(d, "rating");
    let at_series = cx.place(d, both.source.name);
    let mut f = Finding::new(
        &POSITION,
        place,
        format!(
            "`{}` makes {} at {} at {} in series and only at {} in parallel, in which it is taken to make its rating",
            cx.name(d),
            show::quantity(&flow, &settings),
            show::quantity(&pressure, &settings),
            text(series),
            text(parallel)
        ),
    )
    .here("less speed in series")
    .help("change over to series (pressure) for this rating, at low pressure only; or check whether the curves of the two positions are exchanged")
    .source("the curves as tested; affinity laws");
    let at_parallel = source(cx, d, RATED)?.map(|s| s.name);
    f = f.label(at_series, format!("in series: {}", text(series)));
    if let Ok(name) = at_parallel
        && name != both.source.name
    {
        f = f.label(
            cx.place(d, name),
            format!("in parallel: {}", text(parallel)),
        );
    }
    let f = with_number(
        f,
        "speed in series",
        series,
        Kind::RotationalSpeed,
        unit.as_ref(),
        &settings,
    );
    let f = with_number(
        f,
        "speed in parallel",
        parallel,
        Kind::RotationalSpeed,
        unit.as_ref(),
        &settings,
    );
    cx.report(f);
    Ok(())
}
