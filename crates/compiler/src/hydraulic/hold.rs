//! What a duty holds, and which pump's speed serves it.
//!
//! Invariants: each pump serves one thing; what does not come out even is reported and never guessed.

use super::Job;
use super::lay::{Graph, PumpSite};
use super::system::N;
use crate::db::{Cx, Local};
use crate::eval::Ev;
use crate::kinds::line;
use crate::reuse;
use crate::schema::{Sign, Type};
use crate::show;
use crate::slots::{decl_of, lineage};
use crate::value::{Origin, Value};
use crate::{DeclId, Eval};
use cutwater_finding::{Finding, FixTier};
use cutwater_hydraulics::pump::PumpCurve;
use cutwater_quantity::Kind;
use cutwater_syntax::ast::{EntryKind, Expr, Path};
use cutwater_text::Span;
use smol_str::SmolStr;
use std::sync::Arc;

/// What is held by a duty, read from its `hold` lines. Pumps count as in the lay.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Hold {
    Speed(usize, N),
    Discharge(usize, N),
    Rise(usize, N),
    Station(usize, N),
    Flow(usize, N),
}

impl Hold {
    /// The value held.
    pub(super) fn number(self) -> N {
        match self {
            Self::Speed(_, n)
            | Self::Discharge(_, n)
            | Self::Rise(_, n)
            | Self::Station(_, n)
            | Self::Flow(_, n) => n,
        }
    }

    /// What kind of quantity that is.
    pub(super) fn kind(self) -> Kind {
        match self {
            Self::Speed(..) => Kind::RotationalSpeed,
            Self::Discharge(..) | Self::Station(..) => Kind::GaugePressure,
            Self::Flow(..) => Kind::Flow,
            Self::Rise(..) => Kind::Pressure,
        }
    }

    /// What it is called in a lay.
    pub(super) fn text(self, graph: &Graph) -> String {
        let label = |k: usize| graph.stations[k].label.clone().unwrap_or_default();
        match self {
            Self::Speed(..) => "speed".to_owned(),
            Self::Discharge(..) => "discharge.pressure".to_owned(),
            Self::Rise(..) => "net_pressure".to_owned(),
            Self::Station(k, _) => format!("{}.pressure", label(k)),
            Self::Flow(k, _) => format!("{}.flow", label(k)),
        }
    }

    /// The pump it names; a station's pressure or flow is held by whichever pump is free for it.
    fn pump(&self) -> Option<usize> {
        match self {
            Self::Speed(p, _) | Self::Discharge(p, _) | Self::Rise(p, _) => Some(*p),
            Self::Station(..) | Self::Flow(..) => None,
        }
    }
}

/// A pump of a duty.
#[derive(Clone, Debug)]
pub(crate) struct AtWork {
    pub(super) pump: DeclId,
    pub(super) name: SmolStr,
    pub(super) curve: Arc<PumpCurve>,
    pub(super) origin: Origin,
    /// Whether its water comes from another pump.
    pub(super) relayed: bool,
    pub(super) limit: Option<SpeedLimit>,
    /// What its speed serves.
    pub(super) hold: (Hold, Span),
}

impl AtWork {
    /// The held speed over the tested one, or the speed to start from.
    pub(super) fn ratio(&self, x: &[f64]) -> f64 {
        match self.hold.0 {
            Hold::Speed(_, w) => w.of(x) / self.curve.tested_speed(),
            _ => 1.0,
        }
    }
}

/// The highest speed of a pump and what says so.
#[derive(Clone, Debug)]
pub(crate) struct SpeedLimit {
    pub(super) speed: N,
    pub(super) what: &'static str,
    pub(super) place: Local,
}

/// The kind of what a `hold` line says of a pump or of a station.
fn held_kind(names: &[&str]) -> Kind {
    match names.last() {
        Some(&("speed" | "engine")) => Kind::RotationalSpeed,
        Some(&"flow") => Kind::Flow,
        Some(&"net_pressure") => Kind::Pressure,
        _ => Kind::GaugePressure,
    }
}

/// What the `hold` lines of a duty name, with its kind.
pub(crate) fn held(cx: &mut Cx<'_>, duty: DeclId) -> Eval<Vec<(String, Kind)>> {
    for (_, parsed) in lineage(cx, duty)? {
        let Some(decl) = decl_of(&parsed.item) else {
            break;
        };
        let targets = decl.entries.iter().filter_map(|e| match &e.kind {
            EntryKind::Hold { target, .. } => Some(target),
            _ => None,
        });
        let kind = |t: &Path| {
            let names: Vec<&str> = t.names.iter().map(|n| n.text.as_str()).collect();
            held_kind(&names)
        };
        let all: Vec<(String, Kind)> = targets.map(|t| (t.text(), kind(t))).collect();
        if !all.is_empty() {
            return Ok(all);
        }
    }
    Ok(Vec::new())
}

impl Job<'_, '_> {
    /// The supply of the pump that no chain feeds: the inner `None` where every pump is fed, the outer one where
    /// something is missing or too much (reported).
    pub(super) fn source_of(&mut self, graph: &Graph) -> Eval<Option<Option<DeclId>>> {
        use crate::kinds::duty::DUTY_FORM;
        let duty = self.duty;
        let unfed: Vec<&PumpSite> = graph.pumps.iter().filter(|p| !p.fed).collect();
        let supply = match self.cx.get(duty, "supply")? {
            Value::Decl(s) => s,
            Value::Absent if unfed.is_empty() => return Ok(Some(None)),
            // Told where the field is missing or wrong.
            _ => return Ok(None),
        };
        let place = self.cx.place(duty, "supply");
        match unfed.as_slice() {
            [_] => Ok(Some(Some(supply))),
            [] => {
                let message = format!(
                    "the lay of duty `{}` feeds every pump itself, so that this supply feeds none",
                    self.cx.name(duty)
                );
                self.report(
                    Finding::new(&DUTY_FORM, place, message)
                        .here("feeds nothing")
                        .label(
                            Local::Span(graph.lay, graph.pumps[0].span),
                            "fed by the lay",
                        )
                        .help("take the line out, or the chain that leads to the pump's `intake`"),
                );
                Ok(None)
            }
            [first, second, ..] => {
                let s = self.cx.name(supply);
                let message = format!(
                    "`supply` feeds one pump, and in this lay no chain leads to `{}` nor to `{}`",
                    first.name, second.name
                );
                self.report(
                    Finding::new(&DUTY_FORM, place, message)
                        .here("one supply, several pumps")
                        .label(Local::Span(graph.lay, second.span), "fed by no chain")
                        .help(format!(
                            "lead a supply to each in the lay, as `{s} -> main.intake`, and leave `supply` out"
                        )),
                );
                Ok(None)
            }
        }
    }

    /// The pumps of the duty with their curves, limits and what each one's speed serves; `None` where something is
    /// missing (reported).
    pub(super) fn pumps(&mut self, graph: &Graph) -> Eval<Option<Vec<AtWork>>> {
        use crate::kinds::duty::{DUTY_FORM, DUTY_UNMET};
        let duty = self.duty;
        let position = self.cx.choice(duty, "position")?;
        let mut curves = Vec::with_capacity(graph.pumps.len());
        for site in &graph.pumps {
            let pump = site.pump;
            let found = crate::kinds::pump::curve_for(self.cx, pump, position)?;
            let Some((curve, origin)) = found else {
                let place = self.cx.place(duty, "lay");
                self.report(
                    Finding::new(&DUTY_FORM, place, format!("pump `{}` has no tested curve to solve this duty with", self.cx.name(pump)))
                        .here(format!("uses `{}`", site.name))
                        .label(Local::Head(pump), "no usable `curve`")
                        .help("add the pump's `curve at … rpm (flow gpm, net psi) { … }`, or mend the one it has"),
                );
                return Ok(None);
            };
            curves.push((Arc::new(curve), origin));
        }
        let Some(holds) = self.holds(graph)? else {
            return Ok(None);
        };
        let Some(serves) = self.share_out(graph, &holds) else {
            return Ok(None);
        };
        let mut out = Vec::with_capacity(curves.len());
        for ((site, (curve, origin)), hold) in graph.pumps.iter().zip(curves).zip(serves) {
            let limit = self.speed_limit(site.pump, graph.pumps.len() == 1)?;
            let nominal = |n| self.numbers.nominal(n);
            if let (Hold::Speed(_, w), Some(l)) = (hold.0, &limit)
                && let (w, most) = (nominal(w), nominal(l.speed))
                && w > most * (1.0 + 1e-9)
            {
                let settings = self.cx.settings();
                let text = |w| show::si(w, Kind::RotationalSpeed, None, &settings);
                let place = Local::Span(duty, hold.1);
                let message = format!(
                    "a pump speed of {} is above {}, {}",
                    text(w),
                    text(most),
                    l.what
                );
                self.report(
                    Finding::new(&DUTY_UNMET, place, message)
                        .here("too fast")
                        .label(l.place, l.what)
                        .help("hold a lower speed; overspeed damages pump and engine"),
                );
                return Ok(None);
            }
            let reach = graph.reach(site.intake);
            out.push(AtWork {
                relayed: graph.pumps.iter().any(|o| reach[o.discharge]),
                pump: site.pump,
                name: site.name.clone(),
                curve,
                origin,
                limit,
                hold,
            });
        }
        Ok(Some(out))
    }

    /// What each pump's speed serves, in the order of the pumps: what names a pump belongs to it, a station's pressure
    /// or flow to the one free pump from which water comes to it. `None` where that does not come out even (reported).
    fn share_out(&mut self, graph: &Graph, holds: &[(Hold, Span)]) -> Option<Vec<(Hold, Span)>> {
        use crate::kinds::duty::DUTY_FORM;
        let duty = self.duty;
        let alone = graph.pumps.len() == 1;
        let mut serves: Vec<Option<(Hold, Span)>> = vec![None; graph.pumps.len()];
        let too_many = |me: &mut Self, second: Span, first: Span, name: &str| {
            let message = match alone {
                true => "one pump's speed can hold one thing; this is a second".to_owned(),
                false => format!("the speed of `{name}` can hold one thing; this is a second"),
            };
            me.report(
                Finding::new(&DUTY_FORM, Local::Span(duty, second), message)
                    .here("a second thing held")
                    .label(Local::Span(duty, first), "the first")
                    .help("keep one, and check the other with `require`"),
            );
        };
        let (own, mut open): (Vec<_>, Vec<_>) = holds
            .iter()
            .copied()
            .partition(|h| alone || h.0.pump().is_some());
        for h in own {
            let p = h.0.pump().unwrap_or(0);
            if let Some(first) = serves[p] {
                too_many(self, h.1, first.1, &graph.pumps[p].name);
                return None;
            }
            serves[p] = Some(h);
        }
        let reach: Vec<Vec<bool>> = graph
            .pumps
            .iter()
            .map(|p| graph.reach(p.discharge))
            .collect();
        while !open.is_empty() {
            let free = |h: &Hold| -> Vec<usize> {
                let (Hold::Station(k, _) | Hold::Flow(k, _)) = h else {
                    return Vec::new();
                };
                let all = || (0..graph.pumps.len()).filter(|p| serves[*p].is_none());
                let near: Vec<usize> = all()
                    .filter(|p| reach[*p][graph.stations[*k].inlet])
                    .collect();
                // Where the pump before it holds something of its own, one further up may serve.
                if near.is_empty() {
                    all().collect()
                } else {
                    near
                }
            };
            let settled = open.iter().position(|h| free(&h.0).len() == 1);
            if let Some(k) = settled {
                let h = open.remove(k);
                let p = free(&h.0)[0];
                serves[p] = Some(h);
                continue;
            }
            let h = open[0];
            let candidates = free(&h.0);
            let names: Vec<&str> = candidates
                .iter()
                .map(|p| graph.pumps[*p].name.as_str())
                .collect();
            let (message, here, help) = match names.as_slice() {
                [] => (
                    "every pump's speed holds something already; this is one thing too many"
                        .to_owned(),
                    "one too many",
                    "keep as many as there are pumps, and check the rest with `require`".to_owned(),
                ),
                [one, ..] => (
                    format!(
                        "the speed of `{}` could each serve this",
                        names.join("` or `")
                    ),
                    "by which pump?",
                    format!(
                        "say what the others do, as `hold {one}.speed = 2500 rpm` or `hold {one}.discharge.pressure = 150 psi`"
                    ),
                ),
            };
            self.report(
                Finding::new(&DUTY_FORM, Local::Span(duty, h.1), message)
                    .here(here)
                    .help(help),
            );
            return None;
        }
        if let Some(p) = serves.iter().position(Option::is_none) {
            let name = self.cx.name(duty);
            let (message, help) = match alone {
                true => (
                    format!("duty `{name}` does not say what is held"),
                    "add one line, as `hold left.pressure = 100 psi`, `hold discharge.pressure = 150 psi` or `hold speed = 3000 rpm`".to_owned(),
                ),
                false => {
                    let pump = &graph.pumps[p].name;
                    (
                        format!("duty `{name}` does not say what pump `{pump}` holds"),
                        format!("add one line for each pump, as `hold {pump}.discharge.pressure = 150 psi` or `hold {pump}.speed = 3000 rpm`"),
                    )
                }
            };
            self.report(
                Finding::new(&DUTY_FORM, Local::Head(duty), message)
                    .here("nothing is held")
                    .help(help),
            );
            return None;
        }
        serves.into_iter().collect()
    }

    /// What the `hold` lines say; `None` where one is not understood (reported).
    fn holds(&mut self, graph: &Graph) -> Eval<Option<Vec<(Hold, Span)>>> {
        use crate::kinds::duty::DUTY_HOLD;
        let duty = self.duty;
        let mut out = Vec::new();
        let mut ok = true;
        let line = lineage(self.cx, duty)?;
        let filled_in = line.get(1).is_some_and(|b| self.cx.is_pattern(b.0));
        for (owner, parsed) in line {
            let Some(decl) = decl_of(&parsed.item) else {
                return Ok(None);
            };
            let lines: Vec<(&Path, &Expr)> = decl
                .entries
                .iter()
                .filter_map(|e| match &e.kind {
                    EntryKind::Hold { target, value } => Some((target, value)),
                    _ => None,
                })
                .collect();
            if lines.is_empty() {
                continue;
            }
            for (target, value) in lines {
                let names: Vec<&str> = target.names.iter().map(|n| n.text.as_str()).collect();
                let label = |n: &str| {
                    graph
                        .stations
                        .iter()
                        .position(|s| s.label.as_deref() == Some(n))
                };
                let pump = |n: &str| graph.pumps.iter().position(|p| p.name == n);
                // Without a name it is the one pump.
                let alone = (graph.pumps.len() == 1).then_some(0);
                enum Target {
                    Speed(usize),
                    Engine(usize, DeclId),
                    Discharge(usize),
                    Net(usize),
                    Pressure(usize),
                    Flow(usize),
                }
                let (which, rest) = match names.as_slice() {
                    [first, rest @ ..] if label(first).is_none() && pump(first).is_some() => {
                        (pump(first), rest)
                    }
                    all => (alone, all),
                };
                let what = match (rest, which) {
                    (["speed"], Some(p)) => Some(Target::Speed(p)),
                    (["engine"] | ["engine", "speed"], Some(p)) => self
                        .drive_of(graph.pumps[p].pump, alone.is_some())?
                        .map(|d| Target::Engine(p, d)),
                    (["discharge" | "discharge_pressure"] | ["discharge", "pressure"], Some(p)) => {
                        Some(Target::Discharge(p))
                    }
                    (["net_pressure"], Some(p)) => Some(Target::Net(p)),
                    ([l, "pressure"], _) => label(l).map(Target::Pressure),
                    ([l, "flow"], _) => label(l).map(Target::Flow),
                    _ => None,
                };
                if let Some(Target::Flow(k)) = what
                    && line::kept_flow(self.cx, graph.stations[k].decl)?.is_some()
                {
                    ok = false;
                    let message = format!(
                        "`{}` is what its regulator makes it, so no pump can hold it",
                        target.text()
                    );
                    let f = Finding::new(&DUTY_HOLD, Local::Span(owner, target.span), message)
                        .here("cannot be held")
                        .help("hold its pressure, or a pump's `speed` or `discharge.pressure`");
                    self.of_hold(f, owner, filled_in)?;
                    continue;
                }
                let Some(what) = what else {
                    ok = false;
                    let mut stations: Vec<&str> = graph
                        .stations
                        .iter()
                        .filter_map(|s| s.label.as_deref())
                        .collect();
                    stations.sort_unstable();
                    let pumps: Vec<&str> = graph.pumps.iter().map(|p| p.name.as_str()).collect();
                    let of = match alone {
                        Some(_) => "hold `speed`, `engine.speed` (with a `drive`), `discharge.pressure`, `net_pressure`".to_owned(),
                        None => format!(
                            "hold a pump's `speed`, `engine.speed` (with `drives`), `discharge.pressure` or `net_pressure`, as `{}.speed`; pumps: {}",
                            pumps[0],
                            pumps.join(", ")
                        ),
                    };
                    let mut f = Finding::new(
                        &DUTY_HOLD,
                        Local::Span(owner, target.span),
                        format!("`{}` is nothing that can be held", target.text()),
                    )
                    .here("cannot be held")
                    .help(format!(
                        "{of}, or a station's `pressure` or `flow`; stations: {}",
                        stations.join(", ")
                    ));
                    if let [l, part @ ("pressure" | "flow")] = names.as_slice()
                        && let Some(best) = show::near_names(l, stations.iter().copied()).first()
                    {
                        let at = Local::Span(owner, target.span);
                        f.message
                            .push_str(&format!("; did you mean `{best}.{part}`?"));
                        f = f.fix(
                            format!("write `{best}.{part}`"),
                            FixTier::NeedsALook,
                            at,
                            format!("{best}.{part}"),
                        );
                    }
                    self.of_hold(f, owner, filled_in)?;
                    continue;
                };
                let kind = held_kind(rest);
                let text = target.text();
                let before = self.cx.findings.len();
                let v = (Ev { cx: self.cx, owner }).store(
                    Type::Quantity(kind, Sign::Positive),
                    value,
                    &text,
                )?;
                let v = self.cx.pinned(duty, &text).unwrap_or(v);
                if owner != duty {
                    // A pattern is not solved: what is wrong in it shows only here.
                    for x in self.cx.findings.split_off(before) {
                        if filled_in {
                            let x = reuse::in_pattern(self.cx, duty, owner, &[value], x)?;
                            self.cx.report(x);
                        }
                    }
                }
                let Value::Quantity(q) = v else {
                    ok = false;
                    continue;
                };
                let held = q.value;
                let name = self.cx.name(duty);
                let mut keep = |v| {
                    self.numbers
                        .keep_as(v, || format!("{name}.{text}, as held"))
                };
                let hold = match what {
                    Target::Speed(p) => Hold::Speed(p, keep(held)),
                    Target::Engine(p, drive) => match self.cx.quantity(drive, "gear_ratio")? {
                        Some(r) => Hold::Speed(p, keep(held.mul(&r.value))),
                        None => {
                            ok = false;
                            continue;
                        }
                    },
                    Target::Discharge(p) => Hold::Discharge(p, keep(held)),
                    Target::Net(p) => Hold::Rise(p, keep(held)),
                    Target::Pressure(k) => Hold::Station(k, keep(held)),
                    Target::Flow(k) => Hold::Flow(k, keep(held)),
                };
                out.push((hold, target.span.join(value.span)));
            }
            break;
        }
        Ok(ok.then_some(out))
    }

    /// Reports what is wrong with a `hold` that stands in `owner`: there, or where its pattern is filled in. In what
    /// the duty is like it is told of that.
    fn of_hold(&mut self, f: Finding<Local>, owner: DeclId, filled_in: bool) -> Eval<()> {
        if owner == self.duty {
            self.report(f);
        } else if filled_in {
            let f = reuse::in_pattern(self.cx, self.duty, owner, &[], f)?;
            self.report(f);
        }
        Ok(())
    }

    /// What turns a pump in this duty.
    pub(super) fn drive_of(&mut self, pump: DeclId, alone: bool) -> Eval<Option<DeclId>> {
        crate::kinds::duty::drive_of(self.cx, self.duty, pump, alone)
    }

    /// The highest pump speed allowed and what says so.
    fn speed_limit(&mut self, pump: DeclId, alone: bool) -> Eval<Option<SpeedLimit>> {
        let mut best: Option<SpeedLimit> = None;
        if let Some(drive) = self.drive_of(pump, alone)?
            && let (Some(g), Some(r)) = (
                self.cx.quantity(drive, "governed_speed")?,
                self.cx.quantity(drive, "gear_ratio")?,
            )
        {
            best = Some(SpeedLimit {
                speed: self.numbers.keep(g.value.mul(&r.value)),
                what: "the pump's speed at the engine's governed speed",
                place: self.cx.place(drive, "governed_speed"),
            });
        }
        if let Some(m) = self.cx.quantity(pump, "maximum_speed")?
            && best
                .as_ref()
                .is_none_or(|b| m.si() < self.numbers.nominal(b.speed))
        {
            best = Some(SpeedLimit {
                speed: self.numbers.keep(m.value),
                what: "the pump's maximum speed",
                place: self.cx.place(pump, "maximum_speed"),
            });
        }
        Ok(best)
    }
}
