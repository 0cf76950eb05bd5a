//! From a duty to a solved network and back.
//!
//! `lay` follows a lay's chains into a graph; `hold` finds what each pump's speed serves; `reading` reads the parts, each
//! number with its tolerance; `system` builds and solves the network. So reading is apart from solving: one reading
//! serves the nominal solution kept here and any number of others. What comes back is kept by name: pumps, stations,
//! hoses, with residuals; why a duty has no solution is told here.
//!
//! Pressures at stations are total pressures above the atmosphere; heights are measured from the pump.

mod hold;
mod lay;
mod reading;
pub mod sample;
mod system;

pub(crate) use hold::held;
pub(crate) use lay::{graph, lengths, side};
pub(crate) use system::{N, Numbers};

use crate::db::{Cx, Local};
use crate::kinds::drive::points::engine_model;
use crate::kinds::duty::{DUTY_FORM, DUTY_NOT_CONVERGED, DUTY_UNMET};
use crate::kinds::surroundings::nameless;
use crate::settings::Settings;
use crate::show;
use crate::value::{Origin, Value};
use crate::{DeclId, Eval, Halt};
use cutwater_finding::Finding;
use cutwater_hydraulics::network::{Infeasible, NodeId, Options, SolveError, SpeedEnd};
use cutwater_quantity::{Kind, Tol};
use cutwater_text::Span;
use lay::Graph;
use smol_str::SmolStr;
use std::sync::Arc;
pub(crate) use system::AtPoint;
use system::{AirAndWater, AirPressure, Curves, Failure, Giving, System, Waterless, Wired};

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
    let mut numbers = Numbers::default();
    let Some((air, origin)) = air_and_water(cx, d, &mut numbers)? else {
        return Ok(None);
    };
    Ok(air.at(&numbers.nominals()).map(|a| Surroundings {
        atmospheric: a.atmospheric,
        vapour: a.vapour,
        density: a.density,
        viscosity: a.viscosity,
        origin,
    }))
}

/// What the surroundings of a declaration are worked out from, and whether anything was assumed. What cannot be computed
/// with is reported at the `site` or the `water`.
fn air_and_water(
    cx: &mut Cx<'_>,
    d: DeclId,
    numbers: &mut Numbers,
) -> Eval<Option<(AirAndWater, Origin)>> {
    let mut origin = Origin::Computed;
    let pressure = match nameless(cx, d, "site")? {
        Some(site) => match (
            cx.quantity(site, "barometer")?,
            cx.quantity(site, "altitude")?,
        ) {
            (Some(b), _) => AirPressure::Barometer(numbers.keep(b.value)),
            (None, Some(z)) => AirPressure::Altitude(numbers.keep(z.value)),
            (None, None) => return Ok(None),
        },
        None => {
            origin = Origin::Assumed;
            AirPressure::Barometer(numbers.keep(Tol::exact(101_325.0)))
        }
    };
    let (temperature, relative) = match nameless(cx, d, "water")? {
        Some(w) => {
            let (Some(t), Some(r)) = (
                cx.quantity(w, "temperature")?,
                cx.quantity(w, "relative_density")?,
            ) else {
                return Ok(None);
            };
            if t.origin == Origin::Assumed {
                origin = Origin::Assumed;
            }
            (t.value, r.value)
        }
        None => {
            origin = Origin::Assumed;
            // 60 °F.
            (Tol::exact(288.705_555_555_555_6), Tol::exact(1.0))
        }
    };
    let air = AirAndWater {
        pressure,
        temperature: numbers.keep(temperature),
        relative_density: numbers.keep(relative),
    };
    Ok(Some((air, origin)))
}

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
    /// How much the water warms on its way through, K, where the curve tells the power at this flow.
    pub heating: Option<f64>,
    /// Net positive suction head available, m.
    pub npsh_available: f64,
    /// Net positive suction head required, m, where the curve tells it at this flow.
    pub npsh_required: Option<f64>,
    /// On a rising stretch of its curve.
    pub unstable: bool,
    /// Its place in the lay.
    pub span: Span,
}

/// The state of a station that a shut gate cuts off.
pub const CUT_OFF: &str = "cut off by a shut gate";

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
    /// What a gauge on the side reads there, Pa gauge, where the bore is known: less by the velocity head.
    pub gauge: Option<f64>,
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

/// A supply at work, SI units.
#[derive(Clone, PartialEq, Debug)]
pub struct FeedPoint {
    /// Which.
    pub supply: DeclId,
    /// Water that comes from it, m³/s; below zero where it runs back.
    pub flow: f64,
    /// Its hose, where it names one.
    pub hose: Option<DeclId>,
    /// Velocity in each line of that hose, m/s, where its bore is known.
    pub velocity: Option<f64>,
}

/// A solved duty: every number converged, with its proof.
#[derive(Clone, PartialEq, Debug)]
pub struct Solution {
    /// Supplies: that of the duty first, then those that the lay names.
    pub feeds: Vec<FeedPoint>,
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

/// Why a duty has no solution: reported, or nothing to say (something else is wrong and said).
pub(crate) struct Unsolved;

/// A duty while it is read.
struct Job<'c, 'a> {
    cx: &'c mut Cx<'a>,
    duty: DeclId,
    numbers: Numbers,
}

/// A system and what is told with its solution.
pub(crate) struct Read {
    pub(crate) system: System,
    /// The supply of the pump that no chain feeds.
    source: Option<DeclId>,
    pub(crate) origin: Origin,
}

/// A supply by itself; `None` where something of it is missing or unknown (reported there).
pub(crate) fn giving(cx: &mut Cx<'_>, supply: DeclId) -> Eval<Option<Giving>> {
    let mut numbers = Numbers::default();
    let Some((air, _)) = air_and_water(cx, supply, &mut numbers)? else {
        return Ok(None);
    };
    let mut job = Job {
        cx,
        duty: supply,
        numbers,
    };
    let source = job.source(supply)?;
    Ok(source.map(|source| Giving {
        source,
        air,
        x: job.numbers.nominals(),
    }))
}

/// Reads a duty. `Err(Unsolved)` where something is missing or wrong; what, is reported.
pub(crate) fn read(cx: &mut Cx<'_>, duty: DeclId) -> Eval<Result<Read, Unsolved>> {
    let numbers = Numbers::default();
    let mut job = Job { cx, duty, numbers };
    Ok(job.read()?.ok_or(Unsolved))
}

/// Reads and solves a duty. `Err(Unsolved)` where it has no solution; why is reported.
pub(crate) fn solve(cx: &mut Cx<'_>, duty: DeclId) -> Eval<Result<Solution, Unsolved>> {
    let read = match read(cx, duty)? {
        Ok(r) => r,
        Err(e) => return Ok(Err(e)),
    };
    let numbers = Numbers::default();
    Job { cx, duty, numbers }.solve(&read)
}

/// The most that a duty of one pump can hold below what it holds so that `keeps` is true of it, in words: `left.pressure` of
/// 83 psi. `None` where it has several pumps, or nothing lower keeps it.
pub(crate) fn most_held(
    cx: &mut Cx<'_>,
    duty: DeclId,
    keeps: &dyn Fn(&AtPoint) -> bool,
) -> Eval<Option<String>> {
    let before = cx.findings.len();
    let read = read(cx, duty)?;
    cx.findings.truncate(before);
    let Ok(read) = read else { return Ok(None) };
    let settings = cx.settings();
    Ok(most_in_words(&read.system, &settings, keeps))
}

fn most_in_words(
    system: &System,
    settings: &Settings,
    keeps: &dyn Fn(&AtPoint) -> bool,
) -> Option<String> {
    let x = system.numbers.nominals();
    let most = system.most_held(&x, &Options::default(), keeps)?;
    let hold = system.lone_hold()?;
    Some(format!(
        "`{}` of {}",
        hold.text(&system.graph),
        show::si(most, hold.kind(), None, settings)
    ))
}

impl Job<'_, '_> {
    fn report(&mut self, f: Finding<Local>) {
        self.cx.report(f);
    }

    /// The whole system; `None` where something is missing or wrong (reported).
    fn read(&mut self) -> Eval<Option<Read>> {
        let duty = self.duty;
        let Some(lay) = self.cx.reference(duty, "lay")? else {
            return Ok(None);
        };
        let before = self.cx.findings.len();
        let graph = graph(self.cx, lay)?;
        self.cx.findings.truncate(before);
        let air = air_and_water(self.cx, duty, &mut self.numbers)?;
        let (Some(graph), Some((air, origin))) = (graph, air) else {
            return Ok(None);
        };
        if air.at(&self.numbers.nominals()).is_none() {
            return Ok(None);
        }
        let Some(source) = self.source_of(&graph)? else {
            return Ok(None);
        };
        let Some(pumps) = self.pumps(&graph)? else {
            return Ok(None);
        };
        let Some(parts) = self.parts(&graph, source)? else {
            return Ok(None);
        };
        let mut curves = Vec::with_capacity(pumps.len());
        let mut wear = Vec::with_capacity(pumps.len());
        let mut engines = Vec::with_capacity(pumps.len());
        let position = self.cx.choice(duty, "position")?;
        for p in &pumps {
            use crate::kinds::pump::{curve_with, wear::wear as wear_of};
            let power = curve_with(self.cx, p.pump, position, "power")?;
            let npshr = curve_with(self.cx, p.pump, position, "npshr")?;
            curves.push(Curves {
                rise: p.curve.clone(),
                power: power.map(|c| Arc::new(c.0)),
                npshr: npshr.map(|c| Arc::new(c.0)),
            });
            let drive = self.drive_of(p.pump, pumps.len() == 1)?;
            engines.push(match drive {
                Some(drive) => engine_model(self.cx, drive)?,
                None => None,
            });
            wear.push(wear_of(self.cx, p.pump, position, &mut self.numbers)?);
        }
        let lay_name = self.cx.name(lay);
        let n = &mut self.numbers;
        let rise = || format!("a rise of {lay_name}");
        let heights = (graph.heights.iter())
            .map(|h| n.keep_as(h.clone(), rise))
            .collect();
        let origin = pumps.iter().map(|p| p.origin).fold(origin, Ord::max);
        let (feeds, stations, runs) = parts;
        Ok(Some(Read {
            system: System {
                numbers: std::mem::take(&mut self.numbers),
                graph,
                air,
                heights,
                feeds,
                stations,
                runs,
                pumps,
                curves,
                wear,
                engines,
            },
            source,
            origin,
        }))
    }

    fn solve(&mut self, read: &Read) -> Eval<Result<Solution, Unsolved>> {
        let system = &read.system;
        let x = system.numbers.nominals();
        let flag = self.cx.cancel_flag();
        let poll = move || {
            flag.as_ref()
                .is_some_and(|f| f.load(std::sync::atomic::Ordering::Relaxed))
        };
        let options = Options {
            cancel: Some(&poll),
            ..Options::default()
        };
        let run = || system.settle(&x, &options);
        let settled = match std::panic::catch_unwind(std::panic::AssertUnwindSafe(run)) {
            Ok(Ok(s)) => s,
            Ok(Err(Failure::Network(SolveError::Cancelled { .. }, _))) => {
                return Err(Halt::Cancelled);
            }
            Ok(Err(why)) => {
                self.failed(read, &why)?;
                return Ok(Err(Unsolved));
            }
            Err(_) => {
                self.not_solved(None);
                return Ok(Err(Unsolved));
            }
        };
        let proof = &settled.solution;
        Ok(Ok(Solution {
            lay: system.graph.lay,
            pumps: system.pumps_at_work(&x, &settled),
            stations: system.stations_at_work(&x, &settled),
            runs: system.runs_at_work(&x, &settled),
            feeds: system.feeds_at_work(&x, &settled),
            residual_mass: proof.residual_mass_relative,
            residual_energy: proof.residual_energy_relative,
            iterations: proof.iterations,
            origin: read.origin,
        }))
    }

    /// Reports why a system has no solution.
    fn failed(&mut self, read: &Read, why: &Failure) -> Eval<()> {
        match why {
            // What the network refuses was said where it is written.
            Failure::Parts => Ok(()),
            Failure::Network(SolveError::Infeasible(why), wired) => {
                self.infeasible(why, &read.system, wired, read.source)
            }
            Failure::Network(why, _) => {
                self.not_solved(Some(why));
                Ok(())
            }
            Failure::CutOff { gates, what } => {
                self.cut_off(&read.system.graph, gates, *what);
                Ok(())
            }
            Failure::Undecided { station } => {
                self.undecided(&read.system.graph, *station);
                Ok(())
            }
            Failure::Parted {
                node,
                pressure,
                wired,
            } => {
                self.parted(&read.system, wired, *node, *pressure);
                Ok(())
            }
        }
    }

    /// Reports what shut gates leave without water.
    fn cut_off(&mut self, graph: &Graph, gates: &[usize], what: Waterless) {
        let duty = self.duty;
        let stations = &graph.stations;
        let called = |cx: &Cx<'_>, k: usize| {
            let s = &stations[k];
            s.label.clone().unwrap_or_else(|| cx.name(s.decl))
        };
        let (dry, span) = match what {
            Waterless::Pump(k) => {
                let p = &graph.pumps[k];
                (format!("pump `{}` has no water", p.name), Some(p.span))
            }
            Waterless::Held(k) if gates.contains(&k) => (
                format!("what `{}` passes cannot be held", called(self.cx, k)),
                Some(stations[k].span),
            ),
            Waterless::Held(k) => (
                format!("`{}`, which is held, has no water", called(self.cx, k)),
                Some(stations[k].span),
            ),
            Waterless::Nozzles => ("no nozzle has water".to_owned(), None),
        };
        let names: Vec<String> = gates
            .iter()
            .map(|k| format!("`{}`", called(self.cx, *k)))
            .collect();
        let by = match names.as_slice() {
            [] => "the gate of its supply is shut".to_owned(),
            [one] => format!("gate {one} is shut"),
            more => format!("gates {} are shut", more.join(", ")),
        };
        let name = self.cx.name(duty);
        let message = format!("duty `{name}` cannot be met: {by}, and {dry}");
        let place = self.cx.place(duty, "lay");
        let mut f = Finding::new(&DUTY_UNMET, place, message)
            .here("cut off")
            .help("open the gate, or hold something that has water");
        for k in gates {
            f = f.label(Local::Span(graph.lay, stations[*k].span), "shut");
        }
        if let Some(span) = span.filter(|s| gates.iter().all(|k| stations[*k].span != *s)) {
            f = f.label(Local::Span(graph.lay, span), "without water");
        }
        self.report(f);
    }

    /// Reports a regulated nozzle that can neither give its flow nor not.
    fn undecided(&mut self, graph: &Graph, station: usize) {
        let duty = self.duty;
        let s = &graph.stations[station];
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
    }

    /// Reports that the water parts where its pressure (Pa absolute) is lowest.
    fn parted(&mut self, system: &System, wired: &Wired, node: NodeId, pressure: f64) {
        let (duty, graph) = (self.duty, &system.graph);
        let settings = self.cx.settings();
        let at = |p: &usize| wired.nodes[*p] == Some(node);
        let station = graph.stations.iter().find(|s| at(&s.inlet));
        let run = graph.runs.iter().find(|r| at(&r.to));
        let pump = graph.pumps.iter().find(|p| at(&p.intake));
        let place = match self.cx.get(duty, "supply") {
            Ok(Value::Decl(_)) => self.cx.place(duty, "supply"),
            _ => self.cx.place(duty, "lay"),
        };
        let mut f = Finding::new(
            &DUTY_UNMET,
            place,
            format!(
                "duty `{}` cannot be met: the pressure would fall to {}, below the vapour pressure of the water, which parts there",
                self.cx.name(duty),
                show::si(pressure, Kind::AbsolutePressure, None, &settings)
            ),
        )
        .here("the supply cannot give this flow")
        .help("lower the lift, use larger or more suction hose, or ask for less flow");
        let span = station.map(|s| s.span).or(run.map(|r| r.span));
        if let Some(span) = span.or(pump.filter(|p| p.fed).map(|p| p.span)) {
            f = f.label(Local::Span(graph.lay, span), "lowest pressure here");
        }
        if let Some(most) = most_in_words(system, &settings, &|_| true) {
            f.message.push_str(&format!("; at most it can have {most}"));
        }
        self.report(f);
    }

    /// Reports that the solver gave nothing, without or with its reason.
    fn not_solved(&mut self, why: Option<&SolveError>) {
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

    fn infeasible(
        &mut self,
        why: &Infeasible,
        system: &System,
        wired: &Wired,
        source: Option<DeclId>,
    ) -> Eval<()> {
        let duty = self.duty;
        let pumps = &system.pumps;
        let settings = self.cx.settings();
        let name = self.cx.name(duty);
        // The pump it is about.
        let about = match why {
            Infeasible::SpeedLimit { hold, .. }
            | Infeasible::HoldNotUnique { hold }
            | Infeasible::HoldJumps { hold, .. } => {
                wired.held.iter().position(|h| *h == Some(*hold))
            }
            Infeasible::PumpOffCurve { link, .. } => wired.pumps.iter().position(|l| l == link),
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
        let kind = hold.0.kind();
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
                let most = match q > highest {
                    true => most_in_words(system, &settings, &|_| true),
                    false => None,
                };
                let most = most.map_or(String::new(), |m| format!("; at most it can have {m}"));
                Finding::new(
                    &DUTY_UNMET,
                    place,
                    format!("duty `{name}` asks {what} of pump `{pump_name}` than was tested: its curve covers {} to {} at this speed{most}", flow(*lowest), flow(*highest)),
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
