//! From a duty to a solved network and back.
//!
//! A lay's chains become a `Graph`: points joined by hose, appliances and nozzles, each with its place in the
//! text. A duty adds the pump's curve and the supply, states what is held, and gives the whole to the network
//! solver. What comes back is kept by name: pumps, stations, hoses, with residuals.
//!
//! Pressures at stations are total pressures above the atmosphere; heights are measured from the pump.

use crate::db::{Cx, Local};
use crate::eval::Ev;
use crate::kinds::lay::{LAY_DEAD_END, LAY_HEIGHT, LAY_LOOSE, LAY_STATION};
use crate::kinds::surroundings::{nameless, water_at};
use crate::kinds::{line, supply};
use crate::reuse;
use crate::schema::{Sign, Type};
use crate::show;
use crate::slots::{decl_of, lineage};
use crate::value::{Origin, Quantity, Value};
use crate::{DeclId, Eval, Halt, codes};
use cutwater_finding::{Finding, FixTier};
use cutwater_hydraulics::network::{
    Held, HoldId, Infeasible, Law, LinkId, LinkState, Network, NodeId, Options, Rise, SolveError,
    SpeedEnd,
};
use cutwater_hydraulics::nozzle::Nozzle;
use cutwater_hydraulics::pump::PumpCurve;
use cutwater_hydraulics::supply::{HYDRANT_EXPONENT, Hydrant};
use cutwater_quantity::Kind;
use cutwater_syntax::ast::{EntryKind, Expr, Name, Path, Segment};
use cutwater_text::Span;
use rustc_hash::FxHashMap;
use smol_str::SmolStr;
use std::sync::Arc;

// ---- surroundings ------------------------------------------------------------------------------

/// The air and water a computation is made in.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Surroundings {
    /// Pressure of the air, Pa absolute.
    pub atmospheric: f64,
    /// Vapour pressure of the water, Pa absolute.
    pub vapour: f64,
    /// Density of the water, kg/m³.
    pub density: f64,
    /// Dynamic viscosity of the water, Pa·s.
    pub viscosity: f64,
    /// Assumed where the spec has no `site` or no `water`.
    pub origin: Origin,
}

/// The surroundings of a declaration: `site` and `water` of its file or of a file it uses, else sea level and
/// water of 60 °F. `None` where what is stated cannot be computed with (reported there).
pub(crate) fn surroundings(cx: &mut Cx<'_>, d: DeclId) -> Eval<Option<Surroundings>> {
    let mut origin = Origin::Computed;
    let atmospheric = match nameless(cx, d, "site")? {
        Some(site) => {
            let Some(p) = cx.si(site, "atmospheric_pressure")? else {
                return Ok(None);
            };
            p
        }
        None => {
            origin = Origin::Assumed;
            101_325.0
        }
    };
    let (water, relative) = match nameless(cx, d, "water")? {
        Some(w) => {
            let Some((water, o)) = water_at(cx, w)? else {
                return Ok(None);
            };
            let Some(r) = cx.si(w, "relative_density")? else {
                return Ok(None);
            };
            origin = origin.max(o);
            (water, r)
        }
        None => {
            origin = Origin::Assumed;
            // 60 °F.
            match cutwater_hydraulics::water::Water::at(288.705_555_555_555_6, 101_325.0) {
                Ok(w) => (w, 1.0),
                Err(_) => return Ok(None),
            }
        }
    };
    Ok(Some(Surroundings {
        atmospheric,
        vapour: water.vapour_pressure,
        density: water.density * relative,
        viscosity: water.viscosity,
        origin,
    }))
}

// ---- the lay -----------------------------------------------------------------------------------

/// What a station is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum StationKind {
    /// An appliance.
    Appliance,
    /// A nozzle.
    Nozzle,
}

/// A named or nameless appliance or nozzle.
#[derive(Clone, Debug)]
pub(crate) struct Station {
    label: Option<SmolStr>,
    kind: StationKind,
    decl: DeclId,
    inlet: usize,
    outlet: usize,
    span: Span,
}

/// A length of hose.
#[derive(Clone, Debug)]
pub(crate) struct Run {
    hose: DeclId,
    length: f64,
    lines: u32,
    from: usize,
    to: usize,
    span: Span,
}

/// A pump of a lay.
#[derive(Clone, Debug)]
pub(crate) struct PumpSite {
    pump: DeclId,
    /// What it goes by here: the name in front of it, or its own.
    name: SmolStr,
    intake: usize,
    discharge: usize,
    /// Whether a chain of the lay leads to its intake; else the duty's supply feeds it.
    fed: bool,
    span: Span,
}

/// A supply that a lay names.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Source {
    supply: DeclId,
    /// Where its water comes out.
    point: usize,
}

/// A lay as points and what joins them.
#[derive(Clone, Debug)]
pub(crate) struct Graph {
    lay: DeclId,
    /// Height of each point above the first pump, m.
    heights: Vec<f64>,
    stations: Vec<Station>,
    runs: Vec<Run>,
    /// Pumps, in the order they are named.
    pumps: Vec<PumpSite>,
    sources: Vec<Source>,
}

impl Graph {
    /// Whether a pump has no chain to its intake, so that the duty says what feeds it.
    pub(crate) fn asks_for_supply(&self) -> bool {
        self.pumps.iter().any(|p| !p.fed)
    }

    /// Which points water can come to from a point without passing a pump.
    fn reach(&self, from: usize) -> Vec<bool> {
        let mut seen = vec![false; self.heights.len()];
        let mut todo = vec![from];
        while let Some(p) = todo.pop() {
            if std::mem::replace(&mut seen[p], true) {
                continue;
            }
            let runs = self.runs.iter().map(|r| (r.from, r.to));
            let stations = self.stations.iter().map(|s| (s.inlet, s.outlet));
            for (a, b) in runs.chain(stations) {
                if a == p {
                    todo.push(b);
                }
                if b == p {
                    todo.push(a);
                }
            }
        }
        seen
    }
}

struct Builder<'c, 'a> {
    cx: &'c mut Cx<'a>,
    owner: DeclId,
    ok: bool,
    /// Parent of each point (points that are one).
    parent: Vec<usize>,
    /// Joins with a known difference of height: from, to, rise, place.
    steps: Vec<(usize, usize, f64, Span)>,
    stations: Vec<Station>,
    runs: Vec<Run>,
    pumps: Vec<Site>,
    sources: Vec<Source>,
    labels: FxHashMap<SmolStr, usize>,
    /// Names put in front of pumps.
    pump_names: Vec<(DeclId, SmolStr, Span)>,
}

/// A pump while its lay is read.
struct Site {
    pump: DeclId,
    intake: usize,
    discharge: usize,
    fed: bool,
    feeds: bool,
    span: Span,
}

/// A side of a pump.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Side {
    /// Where water comes in.
    Intake,
    /// Where it leaves.
    Discharge,
}

/// The side of a pump that a path of a chain ends with, and the name of the pump before it.
pub(crate) fn side(path: &Path) -> Option<(&Name, Side)> {
    match path.names.as_slice() {
        [.., pump, side] if side.text == "discharge" => Some((pump, Side::Discharge)),
        [.., pump, side] if side.text == "intake" => Some((pump, Side::Intake)),
        _ => None,
    }
}

impl Builder<'_, '_> {
    fn point(&mut self) -> usize {
        self.parent.push(self.parent.len());
        self.parent.len() - 1
    }

    fn root(&self, mut p: usize) -> usize {
        while self.parent[p] != p {
            p = self.parent[p];
        }
        p
    }

    fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.root(a), self.root(b));
        if a != b {
            self.parent[b] = a;
        }
    }

    fn fault(&mut self, span: Span, message: String, here: &str, help: &str) {
        self.ok = false;
        let place = Local::Span(self.owner, span);
        let mut f = Finding::new(&LAY_STATION, place, message).here(here);
        if !help.is_empty() {
            f = f.help(help);
        }
        self.cx.report(f);
    }

    /// The declaration a path of the lay means, if it is one.
    fn decl(&mut self, p: &Path) -> Eval<Option<DeclId>> {
        let owner = self.owner;
        Ok(match (Ev { cx: self.cx, owner }).path(p, true)? {
            Value::Decl(d) if self.cx.kind(d).is_some() => Some(d),
            Value::Unknown => None,
            other => {
                let what = other.describe();
                self.fault(
                    p.span,
                    format!(
                        "`{}` is {what}, not hose, an appliance or a nozzle",
                        p.text()
                    ),
                    "does not belong in a lay",
                    "",
                );
                None
            }
        })
    }

    /// First pass: stations that are given a name.
    fn name_stations(&mut self, chain: &[Segment]) -> Eval<()> {
        for s in chain {
            let Some(label) = &s.label else { continue };
            if s.amount.is_some() {
                self.fault(
                    label.span,
                    format!(
                        "`{}` names a length of hose; only appliances and nozzles are named",
                        label.text
                    ),
                    "on hose",
                    "take the name off, or name what follows the hose",
                );
                continue;
            }
            let taken = self.labels.get(&label.text).map(|k| self.stations[*k].span);
            let side = side(&s.what);
            let taken = taken.or_else(|| {
                let named = self.pump_names.iter().find(|n| n.1 == label.text);
                named.map(|n| n.2)
            });
            if let Some(at) = taken {
                self.ok = false;
                let (place, other) = (
                    Local::Span(self.owner, label.span),
                    Local::Span(self.owner, at),
                );
                self.cx.report(
                    Finding::new(
                        &codes::DUPLICATE_NAME,
                        place,
                        format!("`{}` names two stations of this lay", label.text),
                    )
                    .here("the second time")
                    .label(other, "the first time"),
                );
                continue;
            }
            if side.is_some() {
                let Some(d) = self.pump_of(&s.what)? else {
                    self.ok = false;
                    continue;
                };
                if let Some((_, first, at)) = self.pump_names.iter().find(|n| n.0 == d) {
                    let message = format!(
                        "pump `{}` goes by `{first}` in this lay already",
                        self.cx.name(d)
                    );
                    let (place, at) = (
                        Local::Span(self.owner, label.span),
                        Local::Span(self.owner, *at),
                    );
                    self.ok = false;
                    self.cx.report(
                        Finding::new(&LAY_STATION, place, message)
                            .here("a second name")
                            .label(at, "the first")
                            .help("one name will do for both of its sides; take this one off"),
                    );
                    continue;
                }
                self.pump_names.push((d, label.text.clone(), label.span));
                continue;
            }
            let Some(d) = self.decl(&s.what)? else {
                self.ok = false;
                continue;
            };
            let kind = match self.cx.kind_word(d) {
                "appliance" => StationKind::Appliance,
                "nozzle" => StationKind::Nozzle,
                word => {
                    let word = show::article(word);
                    self.fault(
                        s.what.span,
                        format!(
                            "`{}` is {word}; a name stands before an appliance, a nozzle or a side of a pump",
                            s.what.text()
                        ),
                        &word,
                        "",
                    );
                    continue;
                }
            };
            let k = self.station(Some(label.text.clone()), kind, d, s.span);
            self.labels.insert(label.text.clone(), k);
        }
        Ok(())
    }

    fn station(
        &mut self,
        label: Option<SmolStr>,
        kind: StationKind,
        decl: DeclId,
        span: Span,
    ) -> usize {
        let inlet = self.point();
        let outlet = match kind {
            StationKind::Appliance => {
                let o = self.point();
                self.steps.push((inlet, o, 0.0, span));
                o
            }
            StationKind::Nozzle => inlet,
        };
        self.stations.push(Station {
            label,
            kind,
            decl,
            inlet,
            outlet,
            span,
        });
        self.stations.len() - 1
    }

    /// The pump whose side a path names; reports what is none.
    fn pump_of(&mut self, path: &Path) -> Eval<Option<DeclId>> {
        let (port, front) = match path.names.split_last() {
            Some((port, front)) if !front.is_empty() => (port, front),
            _ => return Ok(None),
        };
        let owner = Path {
            names: front.to_vec(),
            span: front[0].span.join(front[front.len() - 1].span),
        };
        let Some(d) = self.decl(&owner)? else {
            return Ok(None);
        };
        let word = self.cx.kind_word(d);
        if word != "pump" {
            self.fault(
                path.span,
                format!(
                    "`{}` is {}; only a pump has a `{}`",
                    owner.text(),
                    show::article(word),
                    port.text
                ),
                "no pump",
                "",
            );
            return Ok(None);
        }
        Ok(Some(d))
    }

    /// A pump's place among those of the lay.
    fn site(&mut self, pump: DeclId, span: Span) -> usize {
        if let Some(k) = self.pumps.iter().position(|p| p.pump == pump) {
            return k;
        }
        let (intake, discharge) = (self.point(), self.point());
        self.steps.push((intake, discharge, 0.0, span));
        self.pumps.push(Site {
            pump,
            intake,
            discharge,
            fed: false,
            feeds: false,
            span,
        });
        self.pumps.len() - 1
    }

    /// Where the water of a supply comes out. Hydrants and tanks have one outlet; each suction line into open water
    /// stands by itself.
    fn source(&mut self, supply: DeclId) -> Eval<usize> {
        let drafts = supply::source(self.cx, supply)? == Some("draft");
        let known = self.sources.iter().find(|s| s.supply == supply);
        if let Some(s) = known.filter(|_| !drafts) {
            return Ok(s.point);
        }
        let point = self.point();
        self.sources.push(Source { supply, point });
        Ok(point)
    }

    fn chain(&mut self, chain: &[Segment]) -> Eval<()> {
        let mut at: Option<usize> = None;
        for (k, s) in chain.iter().enumerate() {
            let last = k + 1 == chain.len();
            if s.amount.is_some() {
                let Some(from) = at else {
                    self.fault(s.span, "a chain begins at a pump's `discharge`, at a supply or at a named station, not with hose".to_owned(), "hose comes second", "write `main.discharge -> …`, with the pump's name");
                    return Ok(());
                };
                let Some(to) = self.run(s, from)? else {
                    return Ok(());
                };
                at = Some(to);
                if last {
                    self.dead_end(s.span);
                }
                continue;
            }
            if let Some(m) = s.modifiers.first() {
                self.fault(
                    m.word.span,
                    format!("`{}` belongs behind a length of hose", m.word.text),
                    "not behind hose",
                    "write `300 ft of NAME rise 8 ft`",
                );
            }
            if let Some((_, side)) = side(&s.what) {
                let Some(d) = self.pump_of(&s.what)? else {
                    self.ok = false;
                    return Ok(());
                };
                let k2 = self.site(d, s.what.span);
                match (side, at) {
                    (Side::Discharge, Some(_)) => {
                        self.fault(
                            s.what.span,
                            "a pump's `discharge` begins a chain; nothing leads to it".to_owned(),
                            "begins a chain",
                            "what feeds a pump leads to its `intake`",
                        );
                        return Ok(());
                    }
                    (Side::Discharge, None) => {
                        self.pumps[k2].feeds = true;
                        at = Some(self.pumps[k2].discharge);
                    }
                    (Side::Intake, None) => {
                        self.fault(
                            s.what.span,
                            "a pump's `intake` ends a chain; nothing begins at it".to_owned(),
                            "ends a chain",
                            "what leaves a pump begins at its `discharge`",
                        );
                        return Ok(());
                    }
                    (Side::Intake, Some(from)) => {
                        self.pumps[k2].fed = true;
                        let intake = self.pumps[k2].intake;
                        self.join(from, intake);
                        if !last {
                            self.fault(
                                chain[k + 1].span,
                                format!(
                                    "nothing follows a pump's `intake`: what leaves the pump begins a chain of its own, at `{}.discharge`",
                                    s.what.names[..s.what.names.len() - 1].iter().map(|n| n.text.as_str()).collect::<Vec<_>>().join(".")
                                ),
                                "behind an intake",
                                "",
                            );
                        }
                        return Ok(());
                    }
                }
                continue;
            }
            // A station by its name here, by its name elsewhere, or a nameless appliance or nozzle.
            let key = s
                .label
                .as_ref()
                .map(|l| &l.text)
                .or(match s.what.names.as_slice() {
                    [one] => Some(&one.text),
                    _ => None,
                });
            if let Some(station) = key.and_then(|k| self.labels.get(k)).copied() {
                let (inlet, outlet, kind) = {
                    let st = &self.stations[station];
                    (st.inlet, st.outlet, st.kind)
                };
                if let Some(from) = at {
                    self.join(from, inlet);
                }
                if kind == StationKind::Nozzle && !last {
                    self.fault(
                        chain[k + 1].span,
                        "nothing follows a nozzle: it ends its chain".to_owned(),
                        "behind a nozzle",
                        "",
                    );
                    return Ok(());
                }
                at = Some(outlet);
                continue;
            }
            if s.label.is_some() {
                // Named, but not understood; reported in the first pass.
                return Ok(());
            }
            let Some(d) = self.unnamed(s)? else {
                self.ok = false;
                return Ok(());
            };
            let word = self.cx.kind_word(d);
            let kind = match word {
                "appliance" => StationKind::Appliance,
                "nozzle" => StationKind::Nozzle,
                "pump" => {
                    self.fault(
                        s.what.span,
                        format!(
                            "say which side of the pump: `{}.{}`",
                            s.what.text(),
                            if at.is_some() { "intake" } else { "discharge" }
                        ),
                        "a pump",
                        "",
                    );
                    return Ok(());
                }
                "supply" => {
                    if at.is_some() || last {
                        let (message, here) = match at {
                            Some(_) => (
                                "a supply begins a chain; nothing leads to it",
                                "begins a chain",
                            ),
                            None => ("a supply alone feeds nothing", "nothing follows"),
                        };
                        let help = format!(
                            "write `{} -> main.intake`, with the pump's name",
                            s.what.text()
                        );
                        self.fault(s.what.span, message.to_owned(), here, &help);
                        return Ok(());
                    }
                    at = Some(self.source(d)?);
                    continue;
                }
                "hose" => {
                    self.fault(
                        s.what.span,
                        format!(
                            "say how much of `{}` there is: `50 ft of {}`",
                            s.what.text(),
                            s.what.text()
                        ),
                        "hose without a length",
                        "",
                    );
                    return Ok(());
                }
                word => {
                    let word = show::article(word);
                    self.fault(
                        s.what.span,
                        format!(
                            "`{}` is {word}, not hose, an appliance or a nozzle",
                            s.what.text()
                        ),
                        &word,
                        "",
                    );
                    return Ok(());
                }
            };
            let Some(from) = at else {
                self.fault(
                    s.span,
                    "a chain begins at a pump's `discharge`, at a supply or at a named station"
                        .to_owned(),
                    "not a named station",
                    "name it: `y1: …`, or begin with `main.discharge`",
                );
                return Ok(());
            };
            let k2 = self.station(None, kind, d, s.span);
            let (inlet, outlet) = (self.stations[k2].inlet, self.stations[k2].outlet);
            self.join(from, inlet);
            if kind == StationKind::Nozzle && !last {
                self.fault(
                    chain[k + 1].span,
                    "nothing follows a nozzle: it ends its chain".to_owned(),
                    "behind a nozzle",
                    "",
                );
                return Ok(());
            }
            if kind == StationKind::Appliance && last {
                self.dead_end(s.span);
            }
            at = Some(outlet);
        }
        Ok(())
    }

    /// A nameless appliance or nozzle; a plain word may be a slip for a station's name.
    fn unnamed(&mut self, s: &Segment) -> Eval<Option<DeclId>> {
        let before = self.cx.findings.len();
        let d = self.decl(&s.what)?;
        if d.is_none()
            && let [one] = s.what.names.as_slice()
        {
            let labels: Vec<SmolStr> = self.labels.keys().cloned().collect();
            let near = show::near_names(&one.text, labels.iter().map(SmolStr::as_str));
            if let Some(best) = near.first() {
                self.cx.findings.truncate(before);
                let place = Local::Span(self.owner, one.span);
                self.cx.report(
                    Finding::new(
                        &codes::UNKNOWN_NAME,
                        place,
                        format!(
                            "no station of this lay is called `{}`; did you mean `{best}`?",
                            one.text
                        ),
                    )
                    .here("no such station")
                    .help(format!("write `{best}`"))
                    .fix(
                        format!("write `{best}`"),
                        FixTier::NeedsALook,
                        place,
                        best.clone(),
                    ),
                );
            }
        }
        Ok(d)
    }

    fn dead_end(&mut self, span: Span) {
        let place = Local::Span(self.owner, span);
        self.cx.report(
            Finding::new(
                &LAY_DEAD_END,
                place,
                "this line ends here without a nozzle: no water leaves it".to_owned(),
            )
            .here("a closed end")
            .help("end it with a nozzle, or lead it to a named station"),
        );
    }

    fn run(&mut self, s: &Segment, from: usize) -> Eval<Option<usize>> {
        let owner = self.owner;
        let Some(amount) = &s.amount else {
            return Ok(None);
        };
        let length = (Ev { cx: self.cx, owner }).store(
            Type::Quantity(Kind::Length, Sign::Positive),
            amount,
            "length of hose",
        )?;
        let hose = self.decl(&s.what)?;
        let mut rise = 0.0;
        let mut lines = 1u32;
        for m in &s.modifiers {
            let word = m.word.text.as_str();
            let mut number = |ty: Type, value: &Expr| -> Eval<Option<f64>> {
                Ok((Ev { cx: self.cx, owner })
                    .store(ty, value, word)?
                    .quantity()
                    .map(Quantity::si))
            };
            match word {
                "lines" => match number(Type::Count(1, 12), &m.value)? {
                    Some(n) => lines = n as u32,
                    None => self.ok = false,
                },
                _ => match number(Type::Quantity(Kind::Length, Sign::Any), &m.value)? {
                    Some(h) => rise += if word == "fall" { -h } else { h },
                    None => self.ok = false,
                },
            }
        }
        let (Value::Quantity(length), Some(hose)) = (length, hose) else {
            self.ok = false;
            return Ok(None);
        };
        let word = self.cx.kind_word(hose);
        if word != "hose" {
            let word = show::article(word);
            self.fault(
                s.what.span,
                format!("`{}` is {word}; a length is of hose", s.what.text()),
                &word,
                "",
            );
            return Ok(None);
        }
        if rise.abs() > length.si() {
            let settings = self.cx.settings();
            let (h, l) = (
                show::si(rise.abs(), Kind::Length, length.unit.as_ref(), &settings),
                show::quantity(&length, &settings),
            );
            self.fault(
                s.span,
                format!("this hose climbs {h} but is only {l} long"),
                "longer than it is",
                "check the rise and the length",
            );
            return Ok(None);
        }
        let to = self.point();
        self.steps.push((from, to, rise, s.span));
        self.runs.push(Run {
            hose,
            length: length.si(),
            lines,
            from,
            to,
            span: s.span,
        });
        Ok(Some(to))
    }

    /// What each pump goes by; reports two that go by the same name.
    fn names_of_pumps(&mut self) -> Vec<SmolStr> {
        let mut names: Vec<SmolStr> = Vec::with_capacity(self.pumps.len());
        for k in 0..self.pumps.len() {
            let (pump, span) = (self.pumps[k].pump, self.pumps[k].span);
            let given = self.pump_names.iter().find(|n| n.0 == pump);
            let name = given.map_or_else(|| self.cx.name(pump), |n| n.1.clone());
            let station = self.labels.get(&name).map(|s| self.stations[*s].span);
            let other = names.iter().position(|n| *n == name);
            if let Some(at) = other.map(|o| self.pumps[o].span).or(station) {
                self.ok = false;
                let (place, at) = (Local::Span(self.owner, span), Local::Span(self.owner, at));
                self.cx.report(
                    Finding::new(
                        &codes::DUPLICATE_NAME,
                        place,
                        format!("this pump goes by `{name}`, as another part of this lay does"),
                    )
                    .here("the second time")
                    .label(at, "the first time")
                    .help("put a name of its own in front: `relay: engine_2.main.intake`"),
                );
            }
            names.push(name);
        }
        names
    }

    /// Heights of all points from the first pump; reports points that are not reached and ways that disagree.
    fn heights(&mut self) -> Vec<f64> {
        let n = self.parent.len();
        let roots: Vec<usize> = (0..n).map(|p| self.root(p)).collect();
        let mut height: Vec<Option<f64>> = vec![None; n];
        let mut next: Vec<Vec<(usize, f64, Span)>> = vec![Vec::new(); n];
        for (a, b, rise, span) in &self.steps {
            next[roots[*a]].push((roots[*b], *rise, *span));
            next[roots[*b]].push((roots[*a], -*rise, *span));
        }
        let mut todo = Vec::new();
        let mut clash: Option<(Span, f64)> = None;
        // Pumps that nothing joins stand level.
        for site in &self.pumps {
            let p = roots[site.discharge];
            if height[p].is_none() {
                height[p] = Some(0.0);
                todo.push(p);
            }
            while let Some(p) = todo.pop() {
                let h = height[p].unwrap_or(0.0);
                for (q, rise, span) in next[p].clone() {
                    match height[q] {
                        None => {
                            height[q] = Some(h + rise);
                            todo.push(q);
                        }
                        Some(have) if (have - h - rise).abs() > 1e-6 => {
                            clash.get_or_insert((span, (have - h - rise).abs()));
                        }
                        Some(_) => {}
                    }
                }
            }
        }
        if let Some((span, by)) = clash {
            self.ok = false;
            let settings = self.cx.settings();
            let by = show::si(by, Kind::Length, None, &settings);
            let place = Local::Span(self.owner, span);
            self.cx.report(
                Finding::new(
                    &LAY_HEIGHT,
                    place,
                    format!("two ways to the end of this line give it heights that differ by {by}"),
                )
                .here("one of the ways")
                .help("make the `rise` and `fall` along both ways agree"),
            );
        }
        let loose = self
            .stations
            .iter()
            .map(|s| (roots[s.inlet], s.span))
            .chain(self.runs.iter().map(|r| (roots[r.from], r.span)))
            .find(|(p, _)| height[*p].is_none());
        if let Some((_, span)) = loose {
            self.ok = false;
            let place = Local::Span(self.owner, span);
            self.cx.report(
                Finding::new(
                    &LAY_LOOSE,
                    place,
                    "no chain leads here from a pump's `discharge`".to_owned(),
                )
                .here("not joined to a pump")
                .help("lead a chain to it, as `main.discharge -> 100 ft of NAME -> …`"),
            );
        }
        roots.iter().map(|r| height[*r].unwrap_or(0.0)).collect()
    }
}

/// The graph of a lay; reports what does not fit. `None` where it cannot be solved.
pub(crate) fn graph(cx: &mut Cx<'_>, lay: DeclId) -> Eval<Option<Graph>> {
    // Whoever asks: parameters of a pattern are those that this lay fills in.
    let subject = std::mem::replace(&mut cx.scope.subject, lay);
    let g = graph_of(cx, lay);
    cx.scope.subject = subject;
    g
}

fn graph_of(cx: &mut Cx<'_>, lay: DeclId) -> Eval<Option<Graph>> {
    // Chains are taken over whole from what the lay is like, where it has none of its own.
    for (owner, parsed) in lineage(cx, lay)? {
        let Some(decl) = decl_of(&parsed.item) else {
            return Ok(None);
        };
        let chains: Vec<&Vec<Segment>> = decl
            .entries
            .iter()
            .filter_map(|e| match &e.kind {
                EntryKind::Chain(c) => Some(c),
                _ => None,
            })
            .collect();
        if chains.is_empty() && decl.like.is_some() {
            continue;
        }
        let before = cx.findings.len();
        let broken = !parsed.errors.is_empty();
        let mut b = Builder {
            cx,
            owner,
            ok: !broken,
            parent: Vec::new(),
            steps: Vec::new(),
            stations: Vec::new(),
            runs: Vec::new(),
            pumps: Vec::new(),
            sources: Vec::new(),
            labels: FxHashMap::default(),
            pump_names: Vec::new(),
        };
        for c in &chains {
            b.name_stations(c)?;
        }
        for c in &chains {
            b.chain(c)?;
        }
        if b.pumps.is_empty() && b.ok {
            b.ok = false;
            let place = Local::Head(lay);
            b.cx.report(
                Finding::new(
                    &LAY_LOOSE,
                    place,
                    format!(
                        "no chain of lay `{}` begins at a pump's `discharge`",
                        b.cx.name(lay)
                    ),
                )
                .here("no pump")
                .help("begin one with the pump's name, as `main.discharge -> …`"),
            );
        }
        let idle = b.pumps.iter().find(|p| !p.feeds);
        if let Some((pump, span)) = idle.filter(|_| b.ok).map(|p| (p.pump, p.span)) {
            b.ok = false;
            let name = b.cx.name(pump);
            let place = Local::Span(b.owner, span);
            b.cx.report(
                Finding::new(
                    &LAY_LOOSE,
                    place,
                    format!(
                        "water is led to pump `{name}`, but no chain begins at its `discharge`"
                    ),
                )
                .here("nothing leads on")
                .help("begin a chain there, as `main.discharge -> …`"),
            );
        }
        let names = b.names_of_pumps();
        let heights = if b.ok { b.heights() } else { Vec::new() };
        // A named appliance from which nothing leads on is a closed end.
        if b.ok {
            let leads: Vec<usize> = b
                .runs
                .iter()
                .map(|r| b.root(r.from))
                .chain(b.stations.iter().map(|s| b.root(s.inlet)))
                .chain(b.pumps.iter().map(|p| b.root(p.intake)))
                .collect();
            let ends: Vec<Span> = b
                .stations
                .iter()
                .filter(|s| {
                    s.kind == StationKind::Appliance
                        && s.label.is_some()
                        && !leads.contains(&b.root(s.outlet))
                })
                .map(|s| s.span)
                .collect();
            for span in ends {
                b.dead_end(span);
            }
        }
        let graph = Graph {
            lay: owner,
            heights,
            stations: b
                .stations
                .iter()
                .map(|s| Station {
                    inlet: b.root(s.inlet),
                    outlet: b.root(s.outlet),
                    ..s.clone()
                })
                .collect(),
            runs: b
                .runs
                .iter()
                .map(|r| Run {
                    from: b.root(r.from),
                    to: b.root(r.to),
                    ..r.clone()
                })
                .collect(),
            pumps: b
                .pumps
                .iter()
                .zip(names)
                .map(|(p, name)| PumpSite {
                    pump: p.pump,
                    name,
                    intake: b.root(p.intake),
                    discharge: b.root(p.discharge),
                    fed: p.fed,
                    span: p.span,
                })
                .collect(),
            sources: b
                .sources
                .iter()
                .map(|s| Source {
                    point: b.root(s.point),
                    ..*s
                })
                .collect(),
        };
        let ok = b.ok;
        if broken {
            // A chain of which a part is lost leads nowhere; what is lost is told already.
            cx.findings.truncate(before);
        }
        if owner != lay && cx.scope.blank.is_none() {
            if cx.me == lay {
                let texts = reuse::texts_of_chains(decl);
                let texts: Vec<&Expr> = texts.iter().collect();
                reuse::differences(cx, lay, owner, before, &texts, |cx| {
                    graph_of(cx, lay).map(drop)
                })?;
            } else {
                cx.findings.truncate(before);
            }
        }
        return Ok(ok.then_some(graph));
    }
    Ok(None)
}

// ---- the duty ----------------------------------------------------------------------------------

/// A pump at work, SI units.
#[derive(Clone, PartialEq, Debug)]
pub struct PumpPoint {
    /// Which.
    pub pump: DeclId,
    /// What it goes by in the lay.
    pub name: SmolStr,
    /// Whether a chain of the lay leads to its intake.
    pub fed: bool,
    /// Whether its water comes from another pump.
    pub relayed: bool,
    /// Speed, rad/s.
    pub speed: f64,
    /// Flow, m³/s.
    pub flow: f64,
    /// Net pressure, Pa.
    pub rise: f64,
    /// Total pressure at its intake, Pa gauge.
    pub intake: f64,
    /// Total pressure at its discharge, Pa gauge.
    pub discharge: f64,
    /// Shaft power, W, where the curve tells it at this flow.
    pub power: Option<f64>,
    /// Net positive suction head available, m.
    pub npsh_available: f64,
    /// Net positive suction head required, m, where the curve tells it at this flow.
    pub npsh_required: Option<f64>,
    /// On a rising stretch of its curve.
    pub unstable: bool,
    /// Its place in the lay.
    pub span: Span,
}

/// A station at work, SI units.
#[derive(Clone, PartialEq, Debug)]
pub struct StationPoint {
    /// Its name, where it has one.
    pub label: Option<SmolStr>,
    /// A nozzle, or an appliance.
    pub nozzle: bool,
    /// Its declaration.
    pub decl: DeclId,
    /// Total pressure where the water enters, Pa gauge.
    pub pressure: f64,
    /// Flow through it, m³/s.
    pub flow: f64,
    /// Reaction of a nozzle, N.
    pub reaction: Option<f64>,
    /// Where a nozzle works, in words, when not simply open.
    pub state: Option<&'static str>,
    /// Its place in the lay.
    pub span: Span,
}

/// A run of hose at work, SI units.
#[derive(Clone, PartialEq, Debug)]
pub struct RunPoint {
    /// What it is made of.
    pub hose: DeclId,
    /// Flow through each of its lines, m³/s.
    pub flow: f64,
    /// Loss by friction, Pa.
    pub loss: f64,
    /// Higher of the total pressures at its ends, Pa gauge.
    pub highest: f64,
    /// Lower of them.
    pub lowest: f64,
    /// Whether it leads from open water below to a pump: suction hose.
    pub suction: bool,
    /// Velocity, m/s, where the bore is known.
    pub velocity: Option<f64>,
    /// Its place in the lay.
    pub span: Span,
}

/// A solved duty: every number converged, with its proof.
#[derive(Clone, PartialEq, Debug)]
pub struct Solution {
    /// The lay solved.
    pub lay: DeclId,
    /// Pumps.
    pub pumps: Vec<PumpPoint>,
    /// Stations, in the order they are written.
    pub stations: Vec<StationPoint>,
    /// Hoses, in the order they are written.
    pub runs: Vec<RunPoint>,
    /// Largest imbalance of flow at a junction, relative to the largest flow.
    pub residual_mass: f64,
    /// Largest departure from a loss law, relative to the largest pressure.
    pub residual_energy: f64,
    /// Newton steps.
    pub iterations: usize,
    /// Whether surroundings or curve were assumed.
    pub origin: Origin,
}

/// What is held by a duty, read from its `hold` lines. Pumps count as in the lay.
#[derive(Clone, Copy)]
enum Hold {
    Speed(usize, f64),
    Discharge(usize, f64),
    Rise(usize, f64),
    Station(usize, f64),
    Flow(usize, f64),
}

impl Hold {
    /// The pump it names; a station's pressure or flow is held by whichever pump is free for it.
    fn pump(&self) -> Option<usize> {
        match self {
            Self::Speed(p, _) | Self::Discharge(p, _) | Self::Rise(p, _) => Some(*p),
            Self::Station(..) | Self::Flow(..) => None,
        }
    }
}

/// A pump of a duty.
struct AtWork {
    pump: DeclId,
    name: SmolStr,
    curve: Arc<PumpCurve>,
    origin: Origin,
    limit: Option<SpeedLimit>,
    /// What its speed serves.
    hold: (Hold, Span),
}

impl AtWork {
    /// The held speed over the tested one, or the speed to start from.
    fn ratio(&self) -> f64 {
        match self.hold.0 {
            Hold::Speed(_, w) => w / self.curve.tested_speed(),
            _ => 1.0,
        }
    }
}

/// Why a duty has no solution: reported, or nothing to say (something else is wrong and said).
pub(crate) struct Unsolved;

struct Job<'c, 'a> {
    cx: &'c mut Cx<'a>,
    duty: DeclId,
}

/// Builds and solves a duty. `Err(Unsolved)` where it has no solution; why is reported.
pub(crate) fn solve(cx: &mut Cx<'_>, duty: DeclId) -> Eval<Result<Solution, Unsolved>> {
    Job { cx, duty }.run()
}

impl Job<'_, '_> {
    fn report(&mut self, f: Finding<Local>) {
        self.cx.report(f);
    }

    fn run(&mut self) -> Eval<Result<Solution, Unsolved>> {
        let duty = self.duty;
        let Some(lay) = self.cx.reference(duty, "lay")? else {
            return Ok(Err(Unsolved));
        };
        let before = self.cx.findings.len();
        let graph = graph(self.cx, lay)?;
        self.cx.findings.truncate(before);
        let (Some(graph), Some(air)) = (graph, surroundings(self.cx, duty)?) else {
            return Ok(Err(Unsolved));
        };
        let Some(source) = self.source_of(&graph)? else {
            return Ok(Err(Unsolved));
        };
        let Some(pumps) = self.pumps(&graph)? else {
            return Ok(Err(Unsolved));
        };
        // Regulated nozzles give their flow where the pressure suffices; those that it does not suffice for are fixed
        // openings. Which are which is found by trying, at most once more than there are of them.
        let mut kept: Vec<Option<(f64, f64)>> = Vec::with_capacity(graph.stations.len());
        for s in &graph.stations {
            kept.push(match s.kind {
                StationKind::Nozzle => line::kept_flow(self.cx, s.decl)?,
                StationKind::Appliance => None,
            });
        }
        let mut starved = vec![false; kept.len()];
        let (solution, built, links, held) = loop {
            let once = self.solve_once(&graph, &pumps, source, &air, &kept, &starved)?;
            let Ok(Once {
                solution,
                built,
                links,
                held,
            }) = once
            else {
                return Ok(Err(Unsolved));
            };
            let mut more = false;
            for (k, s) in graph.stations.iter().enumerate() {
                let p = solution.pressure(built.nodes[&s.inlet]);
                if kept[k].is_some_and(|(_, least)| p < least) && !starved[k] {
                    starved[k] = true;
                    more = true;
                }
            }
            if !more {
                break (solution, built, links, held);
            }
        };
        // One that was given up while others still took their flow may have enough in the end.
        let wrong = graph.stations.iter().enumerate().position(|(k, s)| {
            let p = solution.pressure(built.nodes[&s.inlet]);
            starved[k] && kept[k].is_some_and(|(_, least)| p > least * (1.0 + 1e-9))
        });
        if let Some(k) = wrong {
            use crate::kinds::duty::DUTY_NOT_CONVERGED;
            let s = &graph.stations[k];
            let name = s.label.clone().unwrap_or_else(|| self.cx.name(s.decl));
            let message = format!(
                "duty `{}` was not solved: nozzle `{name}` has too little pressure for its flow with others giving theirs, and too much once they do not, so no numbers are given",
                self.cx.name(duty)
            );
            self.report(
                Finding::new(&DUTY_NOT_CONVERGED, Local::Head(duty), message)
                    .here("not solved")
                    .label(Local::Span(graph.lay, s.span), "this nozzle")
                    .help("hold a higher pressure, or ask for less flow"),
            );
            return Ok(Err(Unsolved));
        }
        if !self.column_holds(&solution, &graph, &built, &air) {
            return Ok(Err(Unsolved));
        }
        let mut points = Vec::with_capacity(pumps.len());
        for (k, p) in pumps.iter().enumerate() {
            let ratio = held[k]
                .and_then(|h| solution.control.get(h.index()).copied())
                .unwrap_or_else(|| p.ratio());
            let speed = ratio * p.curve.tested_speed();
            points.push(self.pump_point(&solution, &graph, k, links[k], p, speed, &built, &air)?);
        }
        let mut stations = Vec::with_capacity(graph.stations.len());
        for (k, s) in graph.stations.iter().enumerate() {
            let link = built.stations[k];
            let flow = match (link, kept[k]) {
                (Some(l), _) => solution.flow(l),
                (None, kept) => kept.map_or(0.0, |k| k.0),
            };
            let pressure = solution.pressure(built.nodes[&s.inlet]);
            let law = built.nozzles[k];
            stations.push(StationPoint {
                label: s.label.clone(),
                nozzle: s.kind == StationKind::Nozzle,
                decl: s.decl,
                pressure,
                flow,
                reaction: law.and_then(|n| n.reaction(flow, pressure.max(0.0), air.density).ok()),
                state: match link.and_then(|l| solution.state(l)) {
                    Some(LinkState::Dry) => Some("dry"),
                    _ if starved[k] => Some("below the pressure it keeps its flow from"),
                    Some(LinkState::Shut) => Some("shut"),
                    Some(LinkState::BelowHolding) => {
                        Some("below the flows it holds its pressure over")
                    }
                    Some(LinkState::AboveHolding) => {
                        Some("above the flows it holds its pressure over")
                    }
                    Some(LinkState::Holding) => Some("holding its pressure"),
                    _ => None,
                },
                span: s.span,
            });
        }
        let suction = self.behind_drafts(&graph)?;
        let mut runs = Vec::with_capacity(graph.runs.len());
        for (k, r) in graph.runs.iter().enumerate() {
            let links = &built.runs[k];
            let total: f64 = links.iter().map(|l| solution.flow(*l)).sum();
            let flow = total / f64::from(r.lines);
            let area = self
                .cx
                .si(r.hose, "diameter")?
                .map(|d| std::f64::consts::FRAC_PI_4 * d * d);
            let ends = [r.from, r.to].map(|p| solution.pressure(built.nodes[&p]));
            runs.push(RunPoint {
                hose: r.hose,
                flow,
                loss: links
                    .first()
                    .and_then(|l| solution.link_loss.get(l.index()))
                    .copied()
                    .unwrap_or(0.0),
                highest: ends[0].max(ends[1]),
                lowest: ends[0].min(ends[1]),
                suction: suction[r.from],
                velocity: area.map(|a| flow.abs() / a),
                span: r.span,
            });
        }
        let origin = if air.origin == Origin::Assumed {
            Origin::Assumed
        } else {
            Origin::Computed
        };
        let curves = pumps.iter().map(|p| p.origin).max();
        Ok(Ok(Solution {
            lay: graph.lay,
            pumps: points,
            stations,
            runs,
            residual_mass: solution.residual_mass_relative,
            residual_energy: solution.residual_energy_relative,
            iterations: solution.iterations,
            origin: origin
                .max(curves.unwrap_or(Origin::Computed))
                .max(Origin::Computed),
        }))
    }

    /// Builds and solves the network once, with the regulated nozzles of `starved` as fixed openings.
    fn solve_once(
        &mut self,
        graph: &Graph,
        pumps: &[AtWork],
        source: Option<DeclId>,
        air: &Surroundings,
        kept: &[Option<(f64, f64)>],
        starved: &[bool],
    ) -> Eval<Result<Once, Unsolved>> {
        let Ok(mut net) = Network::new(air.density) else {
            return Ok(Err(Unsolved));
        };
        let Some(built) = self.build(&mut net, graph, source, air, kept, starved)? else {
            return Ok(Err(Unsolved));
        };
        let Some((links, held)) = self.join_pumps(&mut net, graph, &built, pumps) else {
            return Ok(Err(Unsolved));
        };
        let holds: Vec<(HoldId, usize)> = held
            .iter()
            .enumerate()
            .filter_map(|(k, h)| Some(((*h)?, k)))
            .collect();
        let flag = self.cx.cancel_flag();
        let poll = move || {
            flag.as_ref()
                .is_some_and(|f| f.load(std::sync::atomic::Ordering::Relaxed))
        };
        let options = Options {
            cancel: Some(&poll),
            ..Options::default()
        };
        let solved = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| net.solve(&options)));
        let solution = match solved {
            Ok(Ok(s)) => s,
            Ok(Err(SolveError::Cancelled { .. })) => return Err(Halt::Cancelled),
            Ok(Err(SolveError::Infeasible(why))) => {
                self.infeasible(&why, pumps, &links, &holds, source)?;
                return Ok(Err(Unsolved));
            }
            Ok(Err(e)) => {
                self.not_solved(Some(&e));
                return Ok(Err(Unsolved));
            }
            Err(_) => {
                self.not_solved(None);
                return Ok(Err(Unsolved));
            }
        };
        Ok(Ok(Once {
            solution,
            built,
            links,
            held,
        }))
    }

    /// Which points water comes to from a `draft` supply of the lay without passing a pump.
    fn behind_drafts(&mut self, graph: &Graph) -> Eval<Vec<bool>> {
        let mut all = vec![false; graph.heights.len()];
        for s in &graph.sources {
            if supply::source(self.cx, s.supply)? == Some("draft") {
                let reach = graph.reach(s.point);
                all.iter_mut().zip(reach).for_each(|(a, r)| *a |= r);
            }
        }
        Ok(all)
    }

    /// The supply of the pump that no chain feeds: the inner `None` where every pump is fed, the outer one where
    /// something is missing or too much (reported).
    fn source_of(&mut self, graph: &Graph) -> Eval<Option<Option<DeclId>>> {
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
    fn pumps(&mut self, graph: &Graph) -> Eval<Option<Vec<AtWork>>> {
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
            if let (Hold::Speed(_, w), Some(l)) = (hold.0, &limit)
                && w > l.speed * (1.0 + 1e-9)
            {
                let settings = self.cx.settings();
                let text = |w| show::si(w, Kind::RotationalSpeed, None, &settings);
                let place = Local::Span(duty, hold.1);
                let message = format!(
                    "a pump speed of {} is above {}, {}",
                    text(w),
                    text(l.speed),
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
            out.push(AtWork {
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

    /// Puts the pumps into the network with what they hold; `None` where the network refuses.
    fn join_pumps(
        &mut self,
        net: &mut Network,
        graph: &Graph,
        built: &Built,
        pumps: &[AtWork],
    ) -> Option<(Vec<LinkId>, Vec<Option<HoldId>>)> {
        let mut links = Vec::with_capacity(pumps.len());
        for (site, p) in graph.pumps.iter().zip(pumps) {
            let (intake, discharge) = (built.nodes[&site.intake], built.nodes[&site.discharge]);
            let rise = Rise::Table(p.curve.clone());
            links.push(net.pump(intake, discharge, rise, p.ratio(), 0).ok()?);
        }
        let mut held = Vec::with_capacity(pumps.len());
        for (p, link) in pumps.iter().zip(&links) {
            let what = match p.hold.0 {
                Hold::Speed(..) => {
                    held.push(None);
                    continue;
                }
                Hold::Discharge(k, pressure) => Held::NodePressure {
                    node: built.nodes[&graph.pumps[k].discharge],
                    pressure,
                },
                Hold::Station(k, pressure) => Held::NodePressure {
                    node: built.nodes[&graph.stations[k].inlet],
                    pressure,
                },
                Hold::Flow(k, flow) => Held::LinkFlow {
                    link: built.stations[k]?,
                    flow,
                },
                Hold::Rise(k, rise) => Held::PumpRise {
                    pump: links[k],
                    rise,
                },
            };
            let most = p
                .limit
                .as_ref()
                .map_or(MOST_SPEED_RATIO, |l| l.speed / p.curve.tested_speed());
            let (least, most) = (most.min(LEAST_SPEED_RATIO), most.max(LEAST_SPEED_RATIO));
            held.push(Some(net.hold(what, *link, least, most).ok()?));
        }
        Some((links, held))
    }

    /// Reports that the solver gave nothing, without or with its reason.
    fn not_solved(&mut self, why: Option<&SolveError>) {
        use crate::kinds::duty::{DUTY_FORM, DUTY_NOT_CONVERGED};
        let duty = self.duty;
        let name = self.cx.name(duty);
        let place = Local::Head(duty);
        self.report(match why {
            Some(SolveError::NotConverged { iterations, .. }) => Finding::new(
                &DUTY_NOT_CONVERGED,
                place,
                format!("duty `{name}` was not solved: no convergence after {iterations} steps, so no numbers are given"),
            )
            .here("not solved")
            .help("check the curve, the coefficients and the lengths for slips of a factor; if they are right, report this spec"),
            Some(e) => Finding::new(
                &DUTY_FORM,
                place,
                format!("duty `{name}` cannot be solved: {e}"),
            )
            .here("cannot be solved"),
            None => Finding::new(
                &DUTY_NOT_CONVERGED,
                place,
                format!("the solver failed on duty `{name}`; this is a fault of the tool, please report this spec"),
            )
            .here("a fault of the tool"),
        });
    }

    /// Whether the water stays in one piece. Below absolute vapour pressure the column has parted: the network knows
    /// no such thing.
    fn column_holds(
        &mut self,
        solution: &cutwater_hydraulics::network::Solution,
        graph: &Graph,
        built: &Built,
        air: &Surroundings,
    ) -> bool {
        let duty = self.duty;
        let Some((node, lowest)) = solution
            .lowest_pressure()
            .filter(|(_, p)| p + air.atmospheric < air.vapour)
        else {
            return true;
        };
        let settings = self.cx.settings();
        let at = |p: &usize| built.nodes.get(p) == Some(&node);
        let station = graph.stations.iter().find(|s| at(&s.inlet));
        let run = graph.runs.iter().find(|r| at(&r.to));
        let pump = graph.pumps.iter().find(|p| at(&p.intake));
        let place = match self.cx.get(duty, "supply") {
            Ok(Value::Decl(_)) => self.cx.place(duty, "supply"),
            _ => self.cx.place(duty, "lay"),
        };
        let mut f = Finding::new(
            &crate::kinds::duty::DUTY_UNMET,
            place,
            format!(
                "duty `{}` cannot be met: the pressure would fall to {}, below the vapour pressure of the water, which parts there",
                self.cx.name(duty),
                show::si(lowest + air.atmospheric, Kind::AbsolutePressure, None, &settings)
            ),
        )
        .here("the supply cannot give this flow")
        .help("lower the lift, use larger or more suction hose, or ask for less flow");
        let span = station.map(|s| s.span).or(run.map(|r| r.span));
        if let Some(span) = span.or(pump.filter(|p| p.fed).map(|p| p.span)) {
            f = f.label(Local::Span(graph.lay, span), "lowest pressure here");
        }
        self.report(f);
        false
    }

    #[allow(clippy::too_many_arguments)]
    fn pump_point(
        &mut self,
        solution: &cutwater_hydraulics::network::Solution,
        graph: &Graph,
        k: usize,
        link: LinkId,
        p: &AtWork,
        speed: f64,
        built: &Built,
        air: &Surroundings,
    ) -> Eval<PumpPoint> {
        use crate::kinds::pump::curve_with;
        let position = self.cx.choice(self.duty, "position")?;
        let site = &graph.pumps[k];
        let reach = graph.reach(site.intake);
        let flow = solution.flow(link);
        let intake = solution.pressure(built.nodes[&site.intake]);
        let discharge = solution.pressure(built.nodes[&site.discharge]);
        let power = curve_with(self.cx, p.pump, position, "power")?
            .and_then(|(c, _)| c.power(flow, speed).ok());
        let npsh_required = curve_with(self.cx, p.pump, position, "npshr")?
            .and_then(|(c, _)| c.npshr(flow, speed).ok());
        Ok(PumpPoint {
            pump: p.pump,
            name: p.name.clone(),
            fed: site.fed,
            relayed: graph.pumps.iter().any(|o| reach[o.discharge]),
            speed,
            flow,
            rise: discharge - intake,
            intake,
            discharge,
            power,
            npsh_available: (intake + air.atmospheric - air.vapour)
                / (air.density * cutwater_hydraulics::STANDARD_GRAVITY),
            npsh_required,
            unstable: solution.state(link) == Some(LinkState::RisingCurve),
            span: site.span,
        })
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
                let kind = match what {
                    Target::Speed(_) | Target::Engine(..) => Kind::RotationalSpeed,
                    Target::Discharge(_) | Target::Pressure(_) => Kind::GaugePressure,
                    Target::Net(_) => Kind::Pressure,
                    Target::Flow(_) => Kind::Flow,
                };
                let text = target.text();
                let before = self.cx.findings.len();
                let v = (Ev { cx: self.cx, owner }).store(
                    Type::Quantity(kind, Sign::Positive),
                    value,
                    &text,
                )?;
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
                let si = q.si();
                let hold = match what {
                    Target::Speed(p) => Hold::Speed(p, si),
                    Target::Engine(p, drive) => match self.cx.si(drive, "gear_ratio")? {
                        Some(r) => Hold::Speed(p, si * r),
                        None => {
                            ok = false;
                            continue;
                        }
                    },
                    Target::Discharge(p) => Hold::Discharge(p, si),
                    Target::Net(p) => Hold::Rise(p, si),
                    Target::Pressure(k) => Hold::Station(k, si),
                    Target::Flow(k) => Hold::Flow(k, si),
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
    fn drive_of(&mut self, pump: DeclId, alone: bool) -> Eval<Option<DeclId>> {
        crate::kinds::duty::drive_of(self.cx, self.duty, pump, alone)
    }

    /// The highest pump speed allowed and what says so.
    fn speed_limit(&mut self, pump: DeclId, alone: bool) -> Eval<Option<SpeedLimit>> {
        let mut best: Option<SpeedLimit> = None;
        if let Some(drive) = self.drive_of(pump, alone)?
            && let (Some(g), Some(r)) = (
                self.cx.si(drive, "governed_speed")?,
                self.cx.si(drive, "gear_ratio")?,
            )
        {
            best = Some(SpeedLimit {
                speed: g * r,
                what: "the pump's speed at the engine's governed speed",
                place: self.cx.place(drive, "governed_speed"),
            });
        }
        if let Some(m) = self.cx.si(pump, "maximum_speed")?
            && best.as_ref().is_none_or(|b| m < b.speed)
        {
            best = Some(SpeedLimit {
                speed: m,
                what: "the pump's maximum speed",
                place: self.cx.place(pump, "maximum_speed"),
            });
        }
        Ok(best)
    }

    fn build(
        &mut self,
        net: &mut Network,
        graph: &Graph,
        source: Option<DeclId>,
        air: &Surroundings,
        kept: &[Option<(f64, f64)>],
        starved: &[bool],
    ) -> Eval<Option<Built>> {
        let mut nodes: FxHashMap<usize, NodeId> = FxHashMap::default();
        let mut points: Vec<usize> = graph
            .stations
            .iter()
            .flat_map(|s| [s.inlet, s.outlet])
            .chain(graph.runs.iter().flat_map(|r| [r.from, r.to]))
            .chain(graph.pumps.iter().flat_map(|p| [p.intake, p.discharge]))
            .chain(graph.sources.iter().map(|s| s.point))
            .collect();
        points.sort_unstable();
        points.dedup();
        for p in points {
            let Ok(n) = net.junction(graph.heights[p], 0.0) else {
                return Ok(None);
            };
            nodes.insert(p, n);
        }
        let unfed = graph.pumps.iter().filter(|p| !p.fed);
        let own = source.into_iter().zip(unfed.map(|p| p.intake));
        let named = graph.sources.iter().map(|s| (s.supply, s.point));
        for (s, point) in own.chain(named) {
            if !self.supply(net, s, nodes[&point], graph.heights[point], air)? {
                return Ok(None);
            }
        }
        let mut stations = Vec::with_capacity(graph.stations.len());
        let mut nozzles = Vec::with_capacity(graph.stations.len());
        let mut taken: FxHashMap<usize, f64> = FxHashMap::default();
        for (k, s) in graph.stations.iter().enumerate() {
            match s.kind {
                StationKind::Nozzle => {
                    let Some(law) = line::nozzle_law(self.cx, s.decl)? else {
                        return Ok(None);
                    };
                    if let Some((flow, _)) = kept[k].filter(|_| !starved[k]) {
                        let all = taken.entry(s.inlet).or_insert(0.0);
                        *all += flow;
                        if net.set_demand(nodes[&s.inlet], *all).is_err() {
                            return Ok(None);
                        }
                        stations.push(None);
                        nozzles.push(Some(law));
                        continue;
                    }
                    let Ok(l) = net.nozzle(nodes[&s.inlet], law, 0) else {
                        return Ok(None);
                    };
                    stations.push(Some(l));
                    nozzles.push(Some(law));
                }
                StationKind::Appliance => {
                    let Some(resistance) = line::appliance_law(self.cx, s.decl, air.density)?
                    else {
                        return Ok(None);
                    };
                    let law = Law::Quadratic { resistance };
                    let (a, b) = (nodes[&s.inlet], nodes[&s.outlet]);
                    let one_way = self.cx.choice(s.decl, "one_way")? == Some("yes");
                    let l = if one_way {
                        net.check_valve(a, b, law, 0)
                    } else {
                        net.link(a, b, law, 0)
                    };
                    let Ok(l) = l else { return Ok(None) };
                    stations.push(Some(l));
                    nozzles.push(None);
                }
            }
        }
        let mut runs = Vec::with_capacity(graph.runs.len());
        for r in &graph.runs {
            let Some(law) = line::hose_law(self.cx, r.hose, r.length, air.density, air.viscosity)?
            else {
                return Ok(None);
            };
            let mut links = Vec::with_capacity(r.lines as usize);
            for _ in 0..r.lines {
                let Ok(l) = net.link(nodes[&r.from], nodes[&r.to], law.clone(), 0) else {
                    return Ok(None);
                };
                links.push(l);
            }
            runs.push(links);
        }
        Ok(Some(Built {
            nodes,
            stations,
            nozzles,
            runs,
        }))
    }

    /// Joins a supply to a pump's intake, or to where its chain begins, which lies `height` above the first pump;
    /// `false` where something is missing or unknown (reported there).
    fn supply(
        &mut self,
        net: &mut Network,
        s: DeclId,
        intake: NodeId,
        height: f64,
        air: &Surroundings,
    ) -> Eval<bool> {
        let Some(source) = supply::source(self.cx, s)? else {
            return Ok(false);
        };
        let lines = self.cx.si(s, &format!("{source}.lines"))?.unwrap_or(1.0) as u32;
        let piece = |cx: &mut Cx<'_>, name: &str| -> Eval<Result<Option<Law>, ()>> {
            Ok(match cx.get(s, name)? {
                Value::Absent => Ok(None),
                Value::Piece(p) => {
                    match line::hose_law(cx, p.of, p.length.si(), air.density, air.viscosity)? {
                        Some(l) => Ok(Some(l)),
                        None => Err(()),
                    }
                }
                _ => Err(()),
            })
        };
        match source {
            "draft" => {
                let Some(lift) = self.cx.si(s, "draft.lift")? else {
                    return Ok(false);
                };
                let Ok(hose) = piece(self.cx, "draft.suction")? else {
                    return Ok(false);
                };
                let strainer = match self.cx.get(s, "draft.strainer")? {
                    Value::Absent => None,
                    Value::Decl(a) => match line::appliance_law(self.cx, a, air.density)? {
                        Some(r) => Some(r),
                        None => return Ok(false),
                    },
                    _ => return Ok(false),
                };
                let Ok(surface) = net.fixed(height - lift, 0.0) else {
                    return Ok(false);
                };
                for _ in 0..lines {
                    let Ok(foot) = net.junction(height - lift, 0.0) else {
                        return Ok(false);
                    };
                    let r = strainer.unwrap_or(0.0);
                    let law = hose.clone().unwrap_or(Law::Quadratic { resistance: 0.0 });
                    if net
                        .link(surface, foot, Law::Quadratic { resistance: r }, 0)
                        .is_err()
                        || net.link(foot, intake, law, 0).is_err()
                    {
                        return Ok(false);
                    }
                }
                Ok(true)
            }
            "hydrant" => {
                let (Some(p0), Some(p1), Some(q1), Some(z)) = (
                    self.cx.si(s, "hydrant.static_pressure")?,
                    self.cx.part(s, "hydrant.residual", "pressure")?,
                    self.cx.part(s, "hydrant.residual", "flow")?,
                    self.cx.si(s, "hydrant.elevation")?,
                ) else {
                    return Ok(false);
                };
                let Ok(h) = Hydrant::new(p0, p1, q1, HYDRANT_EXPONENT) else {
                    return Ok(false);
                };
                let Ok(hose) = piece(self.cx, "hydrant.hose")? else {
                    return Ok(false);
                };
                let (Ok(main), Ok(outlet)) =
                    (net.fixed(height + z, p0), net.junction(height + z, 0.0))
                else {
                    return Ok(false);
                };
                if net.link(main, outlet, h.law(), 0).is_err() {
                    return Ok(false);
                }
                for _ in 0..lines {
                    let law = hose.clone().unwrap_or(Law::Quadratic { resistance: 0.0 });
                    if net.link(outlet, intake, law, 0).is_err() {
                        return Ok(false);
                    }
                    if hose.is_none() {
                        break;
                    }
                }
                Ok(true)
            }
            _ => {
                let (Some(level), Some(p), Some(q)) = (
                    self.cx.si(s, "tank.level")?,
                    self.cx.part(s, "tank.loss", "pressure")?,
                    self.cx.part(s, "tank.loss", "flow")?,
                ) else {
                    return Ok(false);
                };
                let Ok(surface) = net.fixed(height + level, 0.0) else {
                    return Ok(false);
                };
                Ok(net
                    .link(
                        surface,
                        intake,
                        Law::Quadratic {
                            resistance: p / (q * q),
                        },
                        0,
                    )
                    .is_ok())
            }
        }
    }

    fn infeasible(
        &mut self,
        why: &Infeasible,
        pumps: &[AtWork],
        links: &[LinkId],
        holds: &[(HoldId, usize)],
        source: Option<DeclId>,
    ) -> Eval<()> {
        use crate::kinds::duty::DUTY_UNMET;
        let duty = self.duty;
        let settings = self.cx.settings();
        let name = self.cx.name(duty);
        // The pump it is about.
        let about = match why {
            Infeasible::SpeedLimit { hold, .. }
            | Infeasible::HoldNotUnique { hold }
            | Infeasible::HoldJumps { hold, .. } => {
                holds.iter().find(|h| h.0 == *hold).map(|h| h.1)
            }
            Infeasible::PumpOffCurve { link, .. } => links.iter().position(|l| l == link),
            _ => None,
        };
        let it = &pumps[about.unwrap_or(0)];
        let (hold, limit, pump) = (&it.hold, it.limit.as_ref(), it.pump);
        let place = Local::Span(duty, hold.1);
        let speed = |ratio: f64| {
            let w = ratio * it.curve.tested_speed();
            let text = show::si(w, Kind::RotationalSpeed, None, &settings);
            match pumps.len() {
                1 => text,
                _ => format!("{text} of `{}`", it.name),
            }
        };
        let flow = |q: f64| show::si(q, Kind::Flow, None, &settings);
        let kind = match hold.0 {
            Hold::Speed(..) => Kind::RotationalSpeed,
            Hold::Discharge(..) | Hold::Station(..) => Kind::GaugePressure,
            Hold::Flow(..) => Kind::Flow,
            Hold::Rise(..) => Kind::Pressure,
        };
        let amount = |v: f64| show::si(v, kind, None, &settings);
        let pump_name = it.name.clone();
        let f = match why {
            Infeasible::SpeedLimit { end: SpeedEnd::Largest, ratio, reached, wanted, .. } => {
                let by = limit.map_or("as far as affinity is trusted from the tested speed", |l| l.what);
                let mut f = Finding::new(
                    &DUTY_UNMET,
                    place,
                    format!("duty `{name}` cannot be met: at {}, {by}, it reaches {}, not {}", speed(*ratio), amount(*reached), amount(*wanted)),
                )
                .here("cannot be held")
                .help("shorten or enlarge the hose, ask for less, or use a drive with a higher ratio within its limits");
                if let Some(l) = limit {
                    f = f.label(l.place, l.what);
                }
                f
            }
            Infeasible::SpeedLimit { ratio, reached, wanted, .. } => Finding::new(
                &DUTY_UNMET,
                place,
                format!("duty `{name}` cannot be met: even at {} it is {}, more than {}", speed(*ratio), amount(*reached), amount(*wanted)),
            )
            .here("cannot be held")
            .help("the supply alone gives more; throttle it, or hold a higher value"),
            Infeasible::PumpOffCurve { flow: q, lowest, highest, .. } => {
                let (what, help) = if q > highest {
                    ("more", "use smaller tips or longer lines, or extend the tested curve to larger flows")
                } else {
                    ("less", "open more lines, or extend the tested curve to smaller flows")
                };
                Finding::new(
                    &DUTY_UNMET,
                    place,
                    format!("duty `{name}` asks {what} of pump `{pump_name}` than was tested: its curve covers {} to {} at this speed", flow(*lowest), flow(*highest)),
                )
                .here("off the tested curve")
                .label(Local::Head(pump), "its tested curve")
                .help(help)
            }
            Infeasible::SupplyCannotGive { wanted, can_give, .. } => {
                let supply = source.map_or_else(|| "a supply".to_owned(), |s| format!("supply `{}`", self.cx.name(s)));
                let f = Finding::new(
                    &DUTY_UNMET,
                    place,
                    format!("{supply} cannot give duty `{name}` {}: {} is the most", flow(*wanted), flow(*can_give)),
                )
                .here("too much for the supply");
                match source {
                    Some(s) => f.label(Local::Head(s), "the supply"),
                    None => f,
                }
            }
            Infeasible::NothingFlows => Finding::new(
                &DUTY_UNMET,
                place,
                format!("nothing flows in duty `{name}`: no pressure reaches any nozzle"),
            )
            .here("no flow")
            .help("check the rises of the lay and that its lines end in nozzles"),
            Infeasible::Disconnected { .. } | Infeasible::CutOff { .. } => Finding::new(
                &DUTY_UNMET,
                place,
                format!("part of the lay of duty `{name}` is cut off by valves that stay shut"),
            )
            .here("cut off"),
            Infeasible::NotUnique { .. } => Finding::new(
                &DUTY_UNMET,
                place,
                format!("duty `{name}` has no single answer: two ways without any loss lie side by side"),
            )
            .here("not determined")
            .help("give each way its hose or appliance with a loss"),
            Infeasible::HoldNotUnique { .. } => Finding::new(
                &DUTY_UNMET,
                place,
                format!("what duty `{name}` holds does not settle the pump's speed"),
            )
            .here("does not depend on the speed")
            .help("hold a pressure at a nozzle, the discharge pressure or the speed itself"),
            Infeasible::HoldJumps { ratio, .. } => Finding::new(
                &DUTY_UNMET,
                place,
                format!("duty `{name}` cannot be held: near {} the held value jumps over the one wanted", speed(*ratio)),
            )
            .here("jumps")
            .label(Local::Head(pump), "its curve may rise here, or a valve opens"),
        };
        self.report(f);
        Ok(())
    }
}

struct SpeedLimit {
    speed: f64,
    what: &'static str,
    place: Local,
}

/// A network once solved, with what its parts became in it.
struct Once {
    solution: cutwater_hydraulics::network::Solution,
    built: Built,
    /// Of each pump.
    links: Vec<LinkId>,
    /// What each pump holds, where that is not its speed.
    held: Vec<Option<HoldId>>,
}

struct Built {
    nodes: FxHashMap<usize, NodeId>,
    /// The link of each station; none where a flow is taken out as it is.
    stations: Vec<Option<LinkId>>,
    nozzles: Vec<Option<Nozzle>>,
    runs: Vec<Vec<LinkId>>,
}

/// Lowest speed looked at for a held condition, as a share of the tested speed.
const LEAST_SPEED_RATIO: f64 = 0.05;

/// Highest speed looked at where nothing limits it: beyond that the affinity laws are not to be trusted.
const MOST_SPEED_RATIO: f64 = 1.6;
