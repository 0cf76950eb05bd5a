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
    Held, Infeasible, Law, LinkId, LinkState, Network, NodeId, Options, Rise, SolveError, SpeedEnd,
};
use cutwater_hydraulics::nozzle::Nozzle;
use cutwater_hydraulics::pump::PumpCurve;
use cutwater_hydraulics::supply::{HYDRANT_EXPONENT, Hydrant};
use cutwater_quantity::Kind;
use cutwater_syntax::ast::{EntryKind, Expr, Path, Segment};
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

/// A lay as points and what joins them.
#[derive(Clone, Debug)]
pub(crate) struct Graph {
    lay: DeclId,
    /// Height of each point above the pump, m.
    heights: Vec<f64>,
    stations: Vec<Station>,
    runs: Vec<Run>,
    /// Pumps and the point of their discharge.
    pumps: Vec<(DeclId, usize, Span)>,
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
    pumps: Vec<(DeclId, usize, Span)>,
    labels: FxHashMap<SmolStr, usize>,
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
            if let Some(first) = self.labels.get(&label.text) {
                let at = self.stations[*first].span;
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
                            "`{}` is {word}; a named station is an appliance or a nozzle",
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

    fn chain(&mut self, chain: &[Segment]) -> Eval<()> {
        let mut at: Option<usize> = None;
        for (k, s) in chain.iter().enumerate() {
            let last = k + 1 == chain.len();
            if s.amount.is_some() {
                let Some(from) = at else {
                    self.fault(s.span, "a chain begins at a pump's `discharge` or at a named station, not with hose".to_owned(), "hose comes second", "write `main.discharge -> …`, with the pump's name");
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
            if let [.., port] = s.what.names.as_slice()
                && matches!(port.text.as_str(), "discharge" | "intake")
                && s.what.names.len() > 1
            {
                let owner_path = Path {
                    names: s.what.names[..s.what.names.len() - 1].to_vec(),
                    span: s.what.names[0]
                        .span
                        .join(s.what.names[s.what.names.len() - 2].span),
                };
                let Some(d) = self.decl(&owner_path)? else {
                    self.ok = false;
                    return Ok(());
                };
                let word = self.cx.kind_word(d);
                if word != "pump" {
                    self.fault(
                        s.what.span,
                        format!(
                            "`{}` is {}; only a pump has a `{}`",
                            owner_path.text(),
                            show::article(word),
                            port.text
                        ),
                        "no pump",
                        "",
                    );
                    return Ok(());
                }
                if port.text == "intake" {
                    self.fault(s.what.span, "a lay begins at a pump's `discharge`; what feeds its intake is the duty's `supply`".to_owned(), "an intake", "");
                    return Ok(());
                }
                if at.is_some() {
                    self.fault(
                        s.what.span,
                        "a pump's `discharge` begins a chain; nothing leads to it".to_owned(),
                        "begins a chain",
                        "",
                    );
                    return Ok(());
                }
                let p = match self.pumps.iter().find(|p| p.0 == d) {
                    Some(p) => p.1,
                    None => {
                        let p = self.point();
                        self.pumps.push((d, p, s.what.span));
                        p
                    }
                };
                at = Some(p);
                continue;
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
                        format!("say which side of the pump: `{}.discharge`", s.what.text()),
                        "a pump",
                        "",
                    );
                    return Ok(());
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
                    "a chain begins at a pump's `discharge` or at a named station".to_owned(),
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
        for (_, p, _) in &self.pumps {
            if height[roots[*p]].is_none() {
                height[roots[*p]] = Some(0.0);
                todo.push(roots[*p]);
            }
        }
        let mut clash: Option<(Span, f64)> = None;
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
            labels: FxHashMap::default(),
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
        let heights = if b.ok { b.heights() } else { Vec::new() };
        // A named appliance from which nothing leads on is a closed end.
        if b.ok {
            let leads: Vec<usize> = b
                .runs
                .iter()
                .map(|r| b.root(r.from))
                .chain(b.stations.iter().map(|s| b.root(s.inlet)))
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
            pumps: b.pumps.iter().map(|p| (p.0, b.root(p.1), p.2)).collect(),
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

/// What is held by a duty, read from its `hold` lines.
enum Hold {
    Speed(f64),
    Node(usize, f64),
    Flow(usize, f64),
    Rise(f64),
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
        use crate::kinds::duty::{DUTY_FORM, DUTY_NOT_CONVERGED};
        let duty = self.duty;
        let (Some(lay), Some(source)) = (
            self.cx.reference(duty, "lay")?,
            self.cx.reference(duty, "supply")?,
        ) else {
            return Ok(Err(Unsolved));
        };
        let before = self.cx.findings.len();
        let graph = graph(self.cx, lay)?;
        self.cx.findings.truncate(before);
        let (Some(graph), Some(air)) = (graph, surroundings(self.cx, duty)?) else {
            return Ok(Err(Unsolved));
        };
        let [(pump, discharge, _)] = graph.pumps.as_slice() else {
            let names: Vec<String> = graph
                .pumps
                .iter()
                .map(|p| format!("`{}`", self.cx.name(p.0)))
                .collect();
            let place = self.cx.place(duty, "lay");
            self.report(
                Finding::new(
                    &DUTY_FORM,
                    place,
                    format!(
                        "lay `{}` starts from {} pumps ({}); a duty is of one",
                        self.cx.name(lay),
                        names.len(),
                        names.join(", ")
                    ),
                )
                .here("more than one pump")
                .help("write a lay and a duty for each pump"),
            );
            return Ok(Err(Unsolved));
        };
        let (pump, discharge) = (*pump, *discharge);
        let position = self.cx.choice(duty, "position")?;
        let Some((curve, curve_origin)) = crate::kinds::pump::curve_for(self.cx, pump, position)?
        else {
            let place = self.cx.place(duty, "lay");
            self.report(
                Finding::new(&DUTY_FORM, place, format!("pump `{}` has no tested curve to solve this duty with", self.cx.name(pump)))
                    .here(format!("starts from `{}`", self.cx.name(pump)))
                    .label(Local::Head(pump), "no usable `curve`")
                    .help("add the pump's `curve at … rpm (flow gpm, net psi) { … }`, or mend the one it has"),
            );
            return Ok(Err(Unsolved));
        };
        let tested = curve.tested_speed();
        let Some(holds) = self.holds(pump, &graph)? else {
            return Ok(Err(Unsolved));
        };
        let hold = match holds.as_slice() {
            [one] => one,
            [] => {
                self.report(
                    Finding::new(&DUTY_FORM, Local::Head(duty), format!("duty `{}` does not say what is held", self.cx.name(duty)))
                        .here("nothing is held")
                        .help("add one line, as `hold left.pressure = 100 psi`, `hold discharge.pressure = 150 psi` or `hold speed = 3000 rpm`"),
                );
                return Ok(Err(Unsolved));
            }
            [_, second, ..] => {
                let place = Local::Span(duty, second.1);
                self.report(
                    Finding::new(
                        &DUTY_FORM,
                        place,
                        "one pump's speed can hold one thing; this is a second".to_owned(),
                    )
                    .here("a second thing held")
                    .label(Local::Span(duty, holds[0].1), "the first")
                    .help("keep one, and check the other with `require`"),
                );
                return Ok(Err(Unsolved));
            }
        };
        let limit = self.speed_limit(pump)?;

        let Ok(mut net) = Network::new(air.density) else {
            return Ok(Err(Unsolved));
        };
        let built = self.build(&mut net, &graph, discharge, source, &air)?;
        let Some(built) = built else {
            return Ok(Err(Unsolved));
        };
        let curve = Arc::new(curve);
        let ratio = match hold.0 {
            Hold::Speed(w) => w / tested,
            _ => 1.0,
        };
        let Ok(link) = net.pump(
            built.intake,
            built.nodes[&discharge],
            Rise::Table(curve.clone()),
            ratio,
            0,
        ) else {
            return Ok(Err(Unsolved));
        };
        let most = limit
            .as_ref()
            .map_or(MOST_SPEED_RATIO, |l| l.speed / tested);
        let held = match hold.0 {
            Hold::Speed(_) => None,
            Hold::Node(p, pressure) => Some(Held::NodePressure {
                node: built.nodes[&p],
                pressure,
            }),
            Hold::Flow(k, flow) => Some(Held::LinkFlow {
                link: built.stations[k],
                flow,
            }),
            Hold::Rise(rise) => Some(Held::PumpRise { pump: link, rise }),
        };
        if let Some(held) = held
            && net
                .hold(
                    held,
                    link,
                    most.min(LEAST_SPEED_RATIO),
                    most.max(LEAST_SPEED_RATIO),
                )
                .is_err()
        {
            return Ok(Err(Unsolved));
        }
        if let (Hold::Speed(w), Some(l)) = (&hold.0, &limit)
            && *w > l.speed * (1.0 + 1e-9)
        {
            let settings = self.cx.settings();
            let (a, b) = (
                show::si(*w, Kind::RotationalSpeed, None, &settings),
                show::si(l.speed, Kind::RotationalSpeed, None, &settings),
            );
            let place = Local::Span(duty, hold.1);
            self.report(
                Finding::new(
                    &crate::kinds::duty::DUTY_UNMET,
                    place,
                    format!("a pump speed of {a} is above {b}, {}", l.what),
                )
                .here("too fast")
                .label(l.place, l.what)
                .help("hold a lower speed; overspeed damages pump and engine"),
            );
            return Ok(Err(Unsolved));
        }
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
            Ok(Err(SolveError::NotConverged { iterations, .. })) => {
                self.report(
                    Finding::new(&DUTY_NOT_CONVERGED, Local::Head(duty), format!("duty `{}` was not solved: no convergence after {iterations} steps, so no numbers are given", self.cx.name(duty)))
                        .here("not solved")
                        .help("check the curve, the coefficients and the lengths for slips of a factor; if they are right, report this spec"),
                );
                return Ok(Err(Unsolved));
            }
            Ok(Err(SolveError::Infeasible(why))) => {
                self.infeasible(&why, hold, pump, &curve, limit.as_ref(), source)?;
                return Ok(Err(Unsolved));
            }
            Ok(Err(SolveError::Input(e))) => {
                self.report(
                    Finding::new(
                        &DUTY_FORM,
                        Local::Head(duty),
                        format!("duty `{}` cannot be solved: {e}", self.cx.name(duty)),
                    )
                    .here("cannot be solved"),
                );
                return Ok(Err(Unsolved));
            }
            Err(_) => {
                self.report(
                    Finding::new(&DUTY_NOT_CONVERGED, Local::Head(duty), format!("the solver failed on duty `{}`; this is a fault of the tool, please report this spec", self.cx.name(duty)))
                        .here("a fault of the tool"),
                );
                return Ok(Err(Unsolved));
            }
        };
        // Below absolute vapour pressure the water column has parted: the network knows no such thing.
        if let Some((node, lowest)) = solution.lowest_pressure()
            && lowest + air.atmospheric < air.vapour
        {
            let settings = self.cx.settings();
            let station = graph
                .stations
                .iter()
                .find(|s| built.nodes.get(&s.inlet) == Some(&node));
            let run = graph
                .runs
                .iter()
                .find(|r| built.nodes.get(&r.to) == Some(&node));
            let place = self.cx.place(duty, "supply");
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
            if let Some(span) = station.map(|s| s.span).or(run.map(|r| r.span)) {
                f = f.label(Local::Span(graph.lay, span), "lowest pressure here");
            }
            self.report(f);
            return Ok(Err(Unsolved));
        }
        let ratio = solution.control.first().copied().unwrap_or(ratio);
        let speed = ratio * tested;
        let flow = solution.flow(link);
        let intake = solution.pressure(built.intake);
        let power = match crate::kinds::pump::curve_with(self.cx, pump, position, "power")? {
            Some((c, _)) => c.power(flow, speed).ok(),
            None => None,
        };
        let npsh_required = match crate::kinds::pump::curve_with(self.cx, pump, position, "npshr")?
        {
            Some((c, _)) => c.npshr(flow, speed).ok(),
            None => None,
        };
        let point = PumpPoint {
            pump,
            speed,
            flow,
            rise: solution.pressure(built.nodes[&discharge]) - intake,
            intake,
            discharge: solution.pressure(built.nodes[&discharge]),
            power,
            npsh_available: (intake + air.atmospheric - air.vapour)
                / (air.density * cutwater_hydraulics::STANDARD_GRAVITY),
            npsh_required,
            unstable: solution.state(link) == Some(LinkState::RisingCurve),
        };
        let mut stations = Vec::with_capacity(graph.stations.len());
        for (k, s) in graph.stations.iter().enumerate() {
            let link = built.stations[k];
            let flow = solution.flow(link);
            let pressure = solution.pressure(built.nodes[&s.inlet]);
            let law = built.nozzles[k];
            stations.push(StationPoint {
                label: s.label.clone(),
                nozzle: s.kind == StationKind::Nozzle,
                decl: s.decl,
                pressure,
                flow,
                reaction: law.and_then(|n| n.reaction(flow, pressure.max(0.0), air.density).ok()),
                state: match solution.state(link) {
                    Some(LinkState::Dry) => Some("dry"),
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
        let mut runs = Vec::with_capacity(graph.runs.len());
        for (k, r) in graph.runs.iter().enumerate() {
            let links = &built.runs[k];
            let total: f64 = links.iter().map(|l| solution.flow(*l)).sum();
            let flow = total / f64::from(r.lines);
            let area = self
                .cx
                .si(r.hose, "diameter")?
                .map(|d| std::f64::consts::FRAC_PI_4 * d * d);
            runs.push(RunPoint {
                hose: r.hose,
                flow,
                loss: links
                    .first()
                    .and_then(|l| solution.link_loss.get(l.index()))
                    .copied()
                    .unwrap_or(0.0),
                highest: solution
                    .pressure(built.nodes[&r.from])
                    .max(solution.pressure(built.nodes[&r.to])),
                velocity: area.map(|a| flow.abs() / a),
                span: r.span,
            });
        }
        let origin = if air.origin == Origin::Assumed {
            Origin::Assumed
        } else {
            Origin::Computed
        };
        Ok(Ok(Solution {
            lay: graph.lay,
            pumps: vec![point],
            stations,
            runs,
            residual_mass: solution.residual_mass_relative,
            residual_energy: solution.residual_energy_relative,
            iterations: solution.iterations,
            origin: origin.max(curve_origin).max(Origin::Computed),
        }))
    }

    /// What the `hold` lines say; `None` where one is not understood (reported).
    fn holds(&mut self, pump: DeclId, graph: &Graph) -> Eval<Option<Vec<(Hold, Span)>>> {
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
                let pump_name = self.cx.name(pump);
                let label = |n: &str| {
                    graph
                        .stations
                        .iter()
                        .position(|s| s.label.as_deref() == Some(n))
                };
                enum Target {
                    Speed,
                    Engine(DeclId),
                    Discharge,
                    Net,
                    Pressure(usize),
                    Flow(usize),
                }
                let what = match names.as_slice() {
                    ["speed"] => Some(Target::Speed),
                    [p, "speed"] if *p == pump_name => Some(Target::Speed),
                    ["engine"] | ["engine", "speed"] => {
                        self.cx.reference(duty, "drive")?.map(Target::Engine)
                    }
                    ["discharge" | "discharge_pressure"] | ["discharge", "pressure"] => {
                        Some(Target::Discharge)
                    }
                    [p, "discharge"] | [p, "discharge", "pressure"] if *p == pump_name => {
                        Some(Target::Discharge)
                    }
                    ["net_pressure"] => Some(Target::Net),
                    [p, "net_pressure"] if *p == pump_name => Some(Target::Net),
                    [l, "pressure"] => label(l).map(Target::Pressure),
                    [l, "flow"] => label(l).map(Target::Flow),
                    _ => None,
                };
                let Some(what) = what else {
                    ok = false;
                    let mut stations: Vec<&str> = graph
                        .stations
                        .iter()
                        .filter_map(|s| s.label.as_deref())
                        .collect();
                    stations.sort_unstable();
                    let mut f = Finding::new(
                        &DUTY_HOLD,
                        Local::Span(owner, target.span),
                        format!("`{}` is nothing that can be held", target.text()),
                    )
                    .here("cannot be held")
                    .help(format!(
                        "hold `speed`, `engine.speed` (with a `drive`), `discharge.pressure`, `net_pressure`, or a station's `pressure` or `flow`; stations: {}",
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
                    if owner == duty {
                        self.report(f);
                    } else if filled_in {
                        let f = reuse::in_pattern(self.cx, duty, owner, &[], f)?;
                        self.report(f);
                    }
                    continue;
                };
                let kind = match what {
                    Target::Speed | Target::Engine(_) => Kind::RotationalSpeed,
                    Target::Discharge | Target::Pressure(_) => Kind::GaugePressure,
                    Target::Net => Kind::Pressure,
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
                    Target::Speed => Hold::Speed(si),
                    Target::Engine(drive) => match self.cx.si(drive, "gear_ratio")? {
                        Some(r) => Hold::Speed(si * r),
                        None => {
                            ok = false;
                            continue;
                        }
                    },
                    Target::Discharge => Hold::Node(graph.pumps[0].1, si),
                    Target::Net => Hold::Rise(si),
                    Target::Pressure(k) => Hold::Node(graph.stations[k].inlet, si),
                    Target::Flow(k) => Hold::Flow(k, si),
                };
                out.push((hold, target.span.join(value.span)));
            }
            break;
        }
        Ok(ok.then_some(out))
    }

    /// The highest pump speed allowed and what says so.
    fn speed_limit(&mut self, pump: DeclId) -> Eval<Option<SpeedLimit>> {
        let mut best: Option<SpeedLimit> = None;
        if let Some(drive) = self.cx.reference(self.duty, "drive")?
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
        discharge: usize,
        source: DeclId,
        air: &Surroundings,
    ) -> Eval<Option<Built>> {
        let mut nodes: FxHashMap<usize, NodeId> = FxHashMap::default();
        let mut points: Vec<usize> = graph
            .stations
            .iter()
            .flat_map(|s| [s.inlet, s.outlet])
            .chain(graph.runs.iter().flat_map(|r| [r.from, r.to]))
            .chain([discharge])
            .collect();
        points.sort_unstable();
        points.dedup();
        for p in points {
            let Ok(n) = net.junction(graph.heights[p], 0.0) else {
                return Ok(None);
            };
            nodes.insert(p, n);
        }
        let Ok(intake) = net.junction(0.0, 0.0) else {
            return Ok(None);
        };
        if !self.supply(net, source, intake, air)? {
            return Ok(None);
        }
        let mut stations = Vec::with_capacity(graph.stations.len());
        let mut nozzles = Vec::with_capacity(graph.stations.len());
        for s in &graph.stations {
            match s.kind {
                StationKind::Nozzle => {
                    let Some(law) = line::nozzle_law(self.cx, s.decl)? else {
                        return Ok(None);
                    };
                    let Ok(l) = net.nozzle(nodes[&s.inlet], law, 0) else {
                        return Ok(None);
                    };
                    stations.push(l);
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
                    stations.push(l);
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
            intake,
            stations,
            nozzles,
            runs,
        }))
    }

    /// Joins the supply to the pump's intake; `false` where something is missing or unknown (reported there).
    fn supply(
        &mut self,
        net: &mut Network,
        s: DeclId,
        intake: NodeId,
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
                let Ok(surface) = net.fixed(-lift, 0.0) else {
                    return Ok(false);
                };
                for _ in 0..lines {
                    let Ok(foot) = net.junction(-lift, 0.0) else {
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
                let (Ok(main), Ok(outlet)) = (net.fixed(z, p0), net.junction(z, 0.0)) else {
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
                let Ok(surface) = net.fixed(level, 0.0) else {
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

    #[allow(clippy::too_many_arguments)]
    fn infeasible(
        &mut self,
        why: &Infeasible,
        hold: &(Hold, Span),
        pump: DeclId,
        curve: &PumpCurve,
        limit: Option<&SpeedLimit>,
        source: DeclId,
    ) -> Eval<()> {
        use crate::kinds::duty::DUTY_UNMET;
        let duty = self.duty;
        let settings = self.cx.settings();
        let name = self.cx.name(duty);
        let place = Local::Span(duty, hold.1);
        let speed = |ratio: f64| {
            show::si(
                ratio * curve.tested_speed(),
                Kind::RotationalSpeed,
                None,
                &settings,
            )
        };
        let flow = |q: f64| show::si(q, Kind::Flow, None, &settings);
        let kind = match hold.0 {
            Hold::Speed(_) => Kind::RotationalSpeed,
            Hold::Node(..) => Kind::GaugePressure,
            Hold::Flow(..) => Kind::Flow,
            Hold::Rise(_) => Kind::Pressure,
        };
        let amount = |v: f64| show::si(v, kind, None, &settings);
        let pump_name = self.cx.name(pump);
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
            Infeasible::SupplyCannotGive { wanted, can_give, .. } => Finding::new(
                &DUTY_UNMET,
                place,
                format!("supply `{}` cannot give duty `{name}` {}: {} is the most", self.cx.name(source), flow(*wanted), flow(*can_give)),
            )
            .here("too much for the supply")
            .label(Local::Head(source), "the supply"),
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

struct Built {
    nodes: FxHashMap<usize, NodeId>,
    intake: NodeId,
    stations: Vec<LinkId>,
    nozzles: Vec<Option<Nozzle>>,
    runs: Vec<Vec<LinkId>>,
}

/// Lowest speed looked at for a held condition, as a share of the tested speed.
const LEAST_SPEED_RATIO: f64 = 0.05;

/// Highest speed looked at where nothing limits it: beyond that the affinity laws are not to be trusted.
const MOST_SPEED_RATIO: f64 = 1.6;
