//! A lay's chains as a graph: points, and the hose, appliances, nozzles and pumps that join them.
//!
//! Invariants: every part keeps its place in the text; heights are measured from the first pump; a graph is given only
//! where every chain could be followed. What does not fit is reported here, once, at the lay.

use crate::db::{Cx, Local};
use crate::eval::Ev;
use crate::kinds::lay::{LAY_DEAD_END, LAY_HEIGHT, LAY_LOOSE, LAY_STATION};
use crate::kinds::supply;
use crate::reuse;
use crate::schema::{Sign, Type};
use crate::show;
use crate::slots::{decl_of, lineage};
use crate::value::Value;
use crate::{DeclId, Eval, codes};
use cutwater_finding::{Finding, FixTier};
use cutwater_quantity::{Kind, Tol};
use cutwater_syntax::ast::{EntryKind, Expr, Name, Path, Segment};
use cutwater_text::Span;
use rustc_hash::FxHashMap;
use smol_str::SmolStr;

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
    pub(super) label: Option<SmolStr>,
    pub(super) kind: StationKind,
    pub(super) decl: DeclId,
    pub(super) inlet: usize,
    pub(super) outlet: usize,
    pub(super) span: Span,
}

/// A length of hose.
#[derive(Clone, Debug)]
pub(crate) struct Run {
    pub(super) hose: DeclId,
    pub(super) length: Tol,
    pub(super) lines: u32,
    pub(super) from: usize,
    pub(super) to: usize,
    pub(super) span: Span,
}

/// A pump of a lay.
#[derive(Clone, Debug)]
pub(crate) struct PumpSite {
    pub(super) pump: DeclId,
    /// What it goes by here: the name in front of it, or its own.
    pub(super) name: SmolStr,
    pub(super) intake: usize,
    pub(super) discharge: usize,
    /// Whether a chain of the lay leads to its intake; else the duty's supply feeds it.
    pub(super) fed: bool,
    pub(super) span: Span,
}

/// A supply that a lay names.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Source {
    pub(super) supply: DeclId,
    /// Where its water comes out.
    pub(super) point: usize,
}

/// A lay as points and what joins them.
#[derive(Clone, Debug)]
pub(crate) struct Graph {
    pub(super) lay: DeclId,
    /// Height of each point above the first pump, m.
    pub(super) heights: Vec<Tol>,
    pub(super) stations: Vec<Station>,
    pub(super) runs: Vec<Run>,
    /// Pumps, in the order they are named.
    pub(super) pumps: Vec<PumpSite>,
    pub(super) sources: Vec<Source>,
}

impl Graph {
    /// Whether a pump has no chain to its intake, so that the duty says what feeds it.
    pub(crate) fn asks_for_supply(&self) -> bool {
        self.pumps.iter().any(|p| !p.fed)
    }

    /// Which points water can come to from a point without passing a pump.
    pub(super) fn reach(&self, from: usize) -> Vec<bool> {
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
    /// The lay that is meant; its chains may stand in what it is like.
    lay: DeclId,
    owner: DeclId,
    ok: bool,
    /// Parent of each point (points that are one).
    parent: Vec<usize>,
    /// Joins with a known difference of height: from, to, rise, place.
    steps: Vec<(usize, usize, Tol, Span)>,
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
                self.steps.push((inlet, o, Tol::exact(0.0), span));
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
        self.steps.push((intake, discharge, Tol::exact(0.0), span));
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
                let Some(to) = self.run(s, chain.get(k + 1), from)? else {
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

    /// A length of hose; `next` is what it leads to.
    fn run(&mut self, s: &Segment, next: Option<&Segment>, from: usize) -> Eval<Option<usize>> {
        let owner = self.owner;
        let Some(amount) = &s.amount else {
            return Ok(None);
        };
        let length = (Ev { cx: self.cx, owner }).store(
            Type::Quantity(Kind::Length, Sign::Positive),
            amount,
            "length of hose",
        )?;
        let varied = next.and_then(|n| self.cx.pinned(self.lay, &length_part(n)));
        let length = varied.unwrap_or(length);
        let hose = self.decl(&s.what)?;
        let mut rise = Tol::exact(0.0);
        let mut lines = 1u32;
        for m in &s.modifiers {
            let word = m.word.text.as_str();
            let mut number = |ty: Type, value: &Expr| -> Eval<Option<Tol>> {
                Ok((Ev { cx: self.cx, owner })
                    .store(ty, value, word)?
                    .quantity()
                    .map(|q| q.value.clone()))
            };
            match word {
                "lines" => match number(Type::Count(1, 12), &m.value)? {
                    Some(n) => lines = n.nominal() as u32,
                    None => self.ok = false,
                },
                _ => match number(Type::Quantity(Kind::Length, Sign::Any), &m.value)? {
                    Some(h) if word == "fall" => rise = rise.sub(&h),
                    Some(h) => rise = rise.add(&h),
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
        if rise.nominal().abs() > length.si() {
            let settings = self.cx.settings();
            let (h, l) = (
                show::si(
                    rise.nominal().abs(),
                    Kind::Length,
                    length.unit.as_ref(),
                    &settings,
                ),
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
            length: length.value.clone(),
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
    fn heights(&mut self) -> Vec<Tol> {
        let n = self.parent.len();
        let roots: Vec<usize> = (0..n).map(|p| self.root(p)).collect();
        let mut height: Vec<Option<Tol>> = vec![None; n];
        let mut next: Vec<Vec<(usize, Tol, Span)>> = vec![Vec::new(); n];
        for (a, b, rise, span) in &self.steps {
            next[roots[*a]].push((roots[*b], rise.clone(), *span));
            next[roots[*b]].push((roots[*a], rise.neg(), *span));
        }
        let mut todo = Vec::new();
        let mut clash: Option<(Span, f64)> = None;
        // Pumps that nothing joins stand level.
        for site in &self.pumps {
            let p = roots[site.discharge];
            if height[p].is_none() {
                height[p] = Some(Tol::exact(0.0));
                todo.push(p);
            }
            while let Some(p) = todo.pop() {
                let h = height[p].clone().unwrap_or_else(|| Tol::exact(0.0));
                for (q, rise, span) in next[p].clone() {
                    let here = h.add(&rise);
                    match &height[q] {
                        None => {
                            height[q] = Some(here);
                            todo.push(q);
                        }
                        Some(have) => {
                            let off = (have.nominal() - here.nominal()).abs();
                            if off > 1e-6 {
                                clash.get_or_insert((span, off));
                            }
                        }
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
        let level = || Tol::exact(0.0);
        roots
            .iter()
            .map(|r| height[*r].clone().unwrap_or_else(level))
            .collect()
    }
}

/// What the hose before a segment is called where its length is varied: `left.length`.
fn length_part(next: &Segment) -> SmolStr {
    let name = next.label.as_ref().map(|l| l.text.to_string());
    SmolStr::from(format!(
        "{}.length",
        name.unwrap_or_else(|| next.what.text())
    ))
}

/// What is written in a lay of what its hoses lead to.
pub(crate) fn lengths(cx: &mut Cx<'_>, lay: DeclId) -> Eval<Vec<String>> {
    let mut names = Vec::new();
    for (_, parsed) in lineage(cx, lay)? {
        let Some(decl) = decl_of(&parsed.item) else {
            break;
        };
        for e in &decl.entries {
            let EntryKind::Chain(c) = &e.kind else {
                continue;
            };
            let hose = c
                .windows(2)
                .filter(|w| w[0].amount.is_some() && w[1].amount.is_none());
            names.extend(hose.map(|w| length_part(&w[1]).trim_end_matches(".length").to_owned()));
        }
        if !names.is_empty() {
            break;
        }
    }
    Ok(names)
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
            lay,
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
