//! The tolerance budget of a value: what each toleranced dimension contributes, whether limits are kept nominally, by
//! root-sum-square and in the worst case, and by how much the tolerances would have to shrink for that.
//!
//! Invariants: [`Budget::of`] is arithmetic on one [`Tol`] and depends on nothing else; places of contributors are symbolic.
//! Shares and shrinking go by the slopes at the middle of all limits, so they are exact for linear expressions, as fits and
//! stacks of lengths are, and near it for others.
//! Not here: the bounds themselves (`cutwater_quantity::Tol`), and which findings there are.
//!
//! Source: the two ways of adding tolerances are those of textbooks on dimensioning, worst case and root-sum-square (JCGM
//! 100:2008, 5.1.2, for the latter); shrinking all tolerances in one proportion or a single one is arithmetic from these.

use crate::db::{Cx, Db, Local};
use crate::settings::Settings;
use crate::show;
use crate::value::{Quantity, Value};
use crate::{DeclId, Eval, kinds};
use cutwater_finding::{FileId, Finding};
use cutwater_quantity::{CompoundUnit, InputId, Kind, Tol};
use std::sync::Arc;

/// A tolerance shrunk to less than this part of its width is none: it is what rounding leaves.
const LEAST: f64 = 1e-6;
/// Most contributors that get a label of their own.
const MOST_LABELS: usize = 4;
/// Most contributors of which it is said how far they alone would have to shrink.
const MOST_ALONE: usize = 2;

/// Limits a value is to keep; an end may be infinite.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Window {
    /// Lower limit, SI.
    pub low: f64,
    /// Upper limit, SI.
    pub high: f64,
    /// Whether the limits themselves are outside.
    pub strict: bool,
    /// How far a value may lie beyond a limit and still keep it: what rounding can have done.
    pub slack: f64,
}

impl Window {
    fn holds(&self, value: f64) -> bool {
        if self.strict {
            value > self.low && value < self.high
        } else {
            value >= self.low - self.slack && value <= self.high + self.slack
        }
    }
}

/// What keeps the limits, in order of gravity.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Verdict {
    /// Every combination of the parts keeps them.
    Holds,
    /// Only the worst case does not.
    WorstCase,
    /// The root-sum-square range does not either.
    Spread,
    /// The nominal value itself does not.
    Nominal,
}

/// How far something lies beyond the limits, SI, never negative.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Excess {
    /// Below the lower limit.
    pub below: f64,
    /// Above the upper limit.
    pub above: f64,
}

impl Excess {
    fn of(window: &Window, low: f64, high: f64) -> Self {
        let beyond = |by: f64, holds: bool| if holds { 0.0 } else { by.max(0.0) };
        Self {
            below: beyond(window.low - low, window.holds(low)),
            above: beyond(high - window.high, window.holds(high)),
        }
    }

    /// The larger of the two.
    pub fn largest(&self) -> f64 {
        self.below.max(self.above)
    }
}

/// One toleranced dimension in a value.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Part {
    /// Which.
    pub input: InputId,
    /// Half the width of its limits, SI.
    pub half_width: f64,
    /// Its share of the worst case's width, 0 to 1.
    pub worst_share: f64,
    /// Its share of the sum of squares, 0 to 1.
    pub spread_share: f64,
    /// Half the width at which the worst case holds with the others as they are; `None` where it alone cannot do it or
    /// nothing has to be done.
    pub alone_worst: Option<f64>,
    /// The same for the root-sum-square range.
    pub alone_spread: Option<f64>,
}

/// The budget of a value within limits.
#[derive(Clone, PartialEq, Debug)]
pub struct Budget {
    /// What fails.
    pub verdict: Verdict,
    /// The nominal value's excess.
    pub nominal: Excess,
    /// The root-sum-square range's excess.
    pub spread: Excess,
    /// The worst case's excess.
    pub worst: Excess,
    /// The part of their width to which all tolerances together would have to shrink for the worst case to hold, 0 to 1;
    /// `None` where no shrinking helps, as the middle of the range is at the limit or beyond.
    pub shrink_worst: Option<f64>,
    /// The same for the root-sum-square range.
    pub shrink_spread: Option<f64>,
    /// The contributors, largest first.
    pub parts: Vec<Part>,
}

impl Budget {
    /// The budget of `value` within `window`.
    pub fn of(value: &Tol, window: &Window) -> Self {
        let rss = value.rss();
        let centre = value.centre();
        let nominal = Excess::of(window, value.nominal(), value.nominal());
        let spread = Excess::of(window, rss.low, rss.high);
        let worst = Excess::of(window, value.lo(), value.hi());
        let verdict = if !window.holds(value.nominal()) {
            Verdict::Nominal
        } else if !(window.holds(rss.low) && window.holds(rss.high)) {
            Verdict::Spread
        } else if !(window.holds(value.lo()) && window.holds(value.hi())) {
            Verdict::WorstCase
        } else {
            Verdict::Holds
        };
        // What is left on each side of the middle, and what is taken.
        let room = (centre - window.low, window.high - centre);
        let reach = (centre - value.lo(), value.hi() - centre);
        let factor = |room: f64, reach: f64, fails: bool| {
            if !fails || reach <= 0.0 {
                1.0
            } else {
                room / reach
            }
        };
        let all = |a: f64, b: f64| {
            let factor = a.min(b);
            (factor > LEAST).then_some(factor.min(1.0))
        };
        let shrink_worst = all(
            factor(room.0, reach.0, worst.below > 0.0),
            factor(room.1, reach.1, worst.above > 0.0),
        );
        let shrink_spread = all(
            factor(room.0, rss.half_width, spread.below > 0.0),
            factor(room.1, rss.half_width, spread.above > 0.0),
        );
        let contributions = value.contributors();
        let sum: f64 = contributions.iter().map(|c| c.effect).sum();
        let parts = contributions
            .iter()
            .map(|c| {
                // Where the value is not linear, one side reaches farther than the effects add up to; each effect is taken
                // to be larger in the same proportion.
                let alone = |excess: f64, reach: f64| {
                    let effect = c.effect * (reach / sum).max(1.0);
                    (effect - excess > LEAST * effect)
                        .then(|| c.half_width * (effect - excess) / effect)
                };
                let alone_worst = match (worst.below > 0.0, worst.above > 0.0) {
                    (false, false) => None,
                    (true, false) => alone(worst.below, reach.0),
                    (false, true) => alone(worst.above, reach.1),
                    (true, true) => alone(worst.below, reach.0)
                        .zip(alone(worst.above, reach.1))
                        .map(|(a, b)| a.min(b)),
                };
                let room = room.0.min(room.1);
                let rest = (rss.half_width.powi(2) - c.effect.powi(2)).max(0.0);
                let left = room.powi(2) - rest;
                let alone_spread = (spread.largest() > 0.0 && room > 0.0 && left > 0.0)
                    .then(|| c.half_width * (left.sqrt() / c.effect).min(1.0))
                    .filter(|half| *half > LEAST * c.half_width);
                Part {
                    input: c.input,
                    half_width: c.half_width,
                    worst_share: if sum > 0.0 { c.effect / sum } else { 0.0 },
                    spread_share: c.share,
                    alone_worst,
                    alone_spread,
                }
            })
            .collect();
        Self {
            verdict,
            nominal,
            spread,
            worst,
            shrink_worst,
            shrink_spread,
            parts,
        }
    }
}

/// The parts with their names, largest first; equal ones by name and file. (The order of ids is that in which the texts came,
/// which must not show.)
fn in_order(db: &Db, parts: Vec<(Part, Named)>) -> Vec<(Part, Named)> {
    let mut out = parts;
    // Shares that differ by rounding only are equal.
    let rank = |part: &Part| (part.worst_share * 1e9).round();
    out.sort_by(|(a, x), (b, y)| {
        rank(b)
            .total_cmp(&rank(a))
            .then_with(|| x.name.cmp(&y.name))
            .then_with(|| db.path(x.file).cmp(db.path(y.file)))
    });
    out
}

/// A contributor in words.
#[derive(Clone, PartialEq, Debug)]
struct Named {
    /// `seal.bore`, with its file where that is another than the one it is spoken of in.
    name: String,
    /// The file it is written in.
    file: FileId,
    /// Where it is written; `None` for a number in the rule itself.
    place: Option<Local>,
    /// In what its width is shown; `None` where the dimension stands in an expression and is not known by itself.
    shown: Option<(Kind, Option<Arc<CompoundUnit>>)>,
}

impl Named {
    /// Who an input belongs to. `value_of` gives a slot's value.
    fn of(db: &Db, input: InputId, value: Option<&Value>, from: FileId) -> Self {
        let (decl, slot, nth) = crate::db::written_in(input);
        let owner = db.name(decl).map(|n| n.trim_start_matches('@').to_owned());
        let kind = db.kind(decl);
        let is_rule = is_rule(db, decl);
        let name = match (owner, kind) {
            _ if is_rule => "a number in this rule".to_owned(),
            (Some(owner), Some((k, _))) if k.word == kinds::LET.word => format!("`{owner}`"),
            (Some(owner), Some((_, slots))) => match slots.list.get(usize::from(slot)) {
                Some((field, _)) => format!("`{owner}.{field}`"),
                None => format!("`{owner}`"),
            },
            _ => "an unnamed dimension".to_owned(),
        };
        // A slot that holds this one dimension and nothing else shows what unit and kind it has.
        let alone = match value {
            Some(Value::Quantity(q)) => {
                let mut of = q.value.contributors().into_iter();
                let only = of
                    .next()
                    .filter(|c| c.input == input && (c.sensitivity.abs() - 1.0).abs() < 1e-12);
                only.filter(|_| of.next().is_none()).map(|_| q)
            }
            _ => None,
        };
        let file = db.file_of(decl);
        let mut name = name;
        if nth > 1 {
            name.push_str(&format!(" (tolerance {nth})"));
        }
        if file != from {
            name.push_str(&format!(" of {}", db.path(file)));
        }
        Self {
            name,
            file,
            place: (!is_rule).then_some(Local::Value(decl, slot)),
            shown: alone.map(|q| difference(q.kind, q.unit.as_ref())),
        }
    }

    /// The width of its limits in words, where it is known by itself.
    fn width(&self, half_width: f64, settings: &Settings) -> Option<String> {
        let (kind, unit) = self.shown.as_ref()?;
        Some(show::si(2.0 * half_width, *kind, unit.as_ref(), settings))
    }
}

fn is_rule(db: &Db, decl: DeclId) -> bool {
    db.kind(decl)
        .is_some_and(|k| k.0.word == kinds::REQUIRE.word)
}

/// The kind of a difference of two values, and the unit it is shown in: a scale's degrees are no difference.
fn difference(kind: Kind, unit: Option<&Arc<CompoundUnit>>) -> (Kind, Option<Arc<CompoundUnit>>) {
    (
        kind.sub(kind).unwrap_or(kind),
        unit.filter(|_| !kind.is_point()).cloned(),
    )
}

/// The path a spec would use for a toleranced input, as it is spoken of in `file`.
pub fn path_of(db: &Db, input: InputId, file: FileId) -> String {
    Named::of(db, input, None, file).name.replace('`', "")
}

/// What one toleranced dimension contributes to a value.
#[derive(Clone, PartialEq, Debug)]
pub struct Contributor {
    /// The path a spec would use, `seal.bore`; with `(tolerance 2)` behind it for the second of several in one expression.
    pub path: String,
    /// The width of its limits in words; `None` where it stands in an expression with others.
    pub width: Option<String>,
    /// Its share of the worst case's width, 0 to 1.
    pub worst_share: f64,
    /// Its share of the sum of squares, 0 to 1.
    pub spread_share: f64,
}

impl Contributor {
    /// `0.0040 in wide, 67 % of the worst case, 80 % of the root-sum-square`.
    pub fn text(&self) -> String {
        shares(self.worst_share, self.spread_share, self.width.as_deref())
    }
}

/// The contributors of a settled value, largest first, as they are spoken of in `file`: in its settings' units, and those
/// written in another file followed by that file's name.
pub fn contributors(db: &Db, value: &Tol, file: FileId) -> Vec<Contributor> {
    let everything = Window {
        low: f64::NEG_INFINITY,
        high: f64::INFINITY,
        strict: false,
        slack: 0.0,
    };
    let parts = Budget::of(value, &everything)
        .parts
        .into_iter()
        .map(|part| {
            let (decl, slot, _) = crate::db::written_in(part.input);
            (
                part,
                Named::of(db, part.input, db.settled(decl, slot), file),
            )
        })
        .collect();
    in_order(db, parts)
        .iter()
        .map(|(part, named)| Contributor {
            path: named.name.replace('`', ""),
            width: named.width(part.half_width, db.settings_of(file)),
            worst_share: part.worst_share,
            spread_share: part.spread_share,
        })
        .collect()
}

fn shares(worst: f64, spread: f64, width: Option<&str>) -> String {
    let width = width.map_or(String::new(), |w| format!("{w} wide, "));
    format!(
        "{width}{} of the worst case, {} of the root-sum-square",
        percent(worst),
        percent(spread)
    )
}

fn percent(share: f64) -> String {
    match 100.0 * share {
        p if p > 0.0 && p < 0.5 => "under 1 %".to_owned(),
        p => format!("{p:.0} %"),
    }
}

/// Rounded down, so that what is kept to is enough.
fn percent_down(share: f64) -> String {
    match 100.0 * share {
        p if p < 1.0 => "under 1 %".to_owned(),
        p => format!("{:.0} %", (p + 1e-9).floor()),
    }
}

/// A width in words that is not above the width: rounded down at the usual resolution, with more digits where that would
/// leave nothing.
fn down(si: f64, kind: Kind, unit: Option<&Arc<CompoundUnit>>, settings: &Settings) -> String {
    let (value, symbol) = show::shown_in(si, kind, unit, settings);
    let usual = show::si(si, kind, unit, settings);
    let number = usual.split(' ').next().unwrap_or("");
    let usual_places = number.split_once('.').map_or(0, |(_, d)| d.len());
    // A value of ordinary size has no digits beyond these.
    (usual_places..=usual_places + 6)
        .map(|places| {
            let scale = 10f64.powi(i32::try_from(places).unwrap_or(0));
            ((value * scale + 1e-6).floor() / scale, places)
        })
        .find(|(floor, _)| *floor > 0.0)
        .map_or(usual, |(floor, places)| {
            format!("{floor:.places$} {symbol}").trim_end().to_owned()
        })
}

/// What a finding about a value in limits says of its tolerances.
pub(crate) struct Advice {
    /// How to mend it.
    pub help: Option<String>,
    /// Places of the main contributors, and what each contributes.
    pub labels: Vec<(Local, String)>,
}

/// Advice on a value that does not keep its limits. `kind` and `unit` are those of the value.
pub(crate) fn advice(
    cx: &mut Cx<'_>,
    value: &Tol,
    kind: Kind,
    unit: Option<&Arc<CompoundUnit>>,
    window: &Window,
    budget: &Budget,
) -> Eval<Advice> {
    let settings = cx.settings();
    let (kind, unit) = difference(kind, unit);
    let amount = |si: f64| show::si(si, kind, unit.as_ref(), &settings);
    let from = cx.file_of(cx.me);
    let mut named = Vec::with_capacity(budget.parts.len());
    for part in &budget.parts {
        let (decl, slot, _) = crate::db::written_in(part.input);
        // A number written in a rule is no one's value, and the rule is being looked at just now.
        let value = match is_rule(cx.db(), decl) {
            true => None,
            false => Some(cx.slot(decl, slot)?),
        };
        let named_part = Named::of(cx.db(), part.input, value.as_ref(), from);
        named.push((*part, named_part));
    }
    let parts = in_order(cx.db(), named);
    let labels = parts
        .iter()
        .filter_map(|(part, named)| {
            let place = named.place?;
            Some((place, {
                let width = named.width(part.half_width, &settings);
                let text = shares(part.worst_share, part.spread_share, width.as_deref());
                format!("{}: {text}", named.name)
            }))
        })
        .take(MOST_LABELS)
        .collect();
    let sentence = |goal: &str, factor: Option<f64>, alone: fn(&Part) -> Option<f64>| {
        let factor = factor?;
        let mut out = format!(
            "{goal}shrink every tolerance to {} of its width",
            percent_down(factor)
        );
        if let [(part, named)] = parts.as_slice() {
            out = match alone(part).zip(named.shown.as_ref()) {
                Some((half, (kind, unit))) => format!(
                    "{goal}shrink the tolerance of {} to {} of its width, {}",
                    named.name,
                    percent_down(half / part.half_width),
                    down(2.0 * half, *kind, unit.as_ref(), &settings)
                ),
                None => format!(
                    "{goal}shrink the tolerance of {} to {} of its width",
                    named.name,
                    percent_down(factor)
                ),
            };
            return Some(out);
        }
        let mut able = 0;
        for (part, named) in &parts {
            let Some(half) = alone(part) else { continue };
            able += 1;
            if able > MOST_ALONE {
                continue;
            }
            let to = match &named.shown {
                Some((kind, unit)) => format!(
                    "from {} to {}",
                    show::si(2.0 * part.half_width, *kind, unit.as_ref(), &settings),
                    down(2.0 * half, *kind, unit.as_ref(), &settings)
                ),
                None => format!("to {}", percent_down(half / part.half_width)),
            };
            out.push_str(&format!(", or that of {} alone {to}", named.name));
        }
        if able == 0 {
            out.push_str("; no single one is wide enough to do it alone");
        }
        Some(out)
    };
    let direction = |excess: &Excess| {
        if excess.below > 0.0 { "up" } else { "down" }
    };
    let width = value.hi() - value.lo();
    let fits = width <= window.high - window.low + 2.0 * window.slack;
    let help = match budget.verdict {
        Verdict::Holds => None,
        Verdict::Nominal => {
            let by = budget.nominal.largest();
            let mut out = if by > 0.0 {
                format!(
                    "no tolerance helps here: move the nominal value {} by {}",
                    direction(&budget.nominal),
                    amount(by)
                )
            } else {
                "the nominal value must be beyond the limit, not at it".to_owned()
            };
            if value.is_toleranced() {
                if fits {
                    out.push_str(&format!(
                        ", or by {} for the worst case to hold as well",
                        amount(budget.worst.largest())
                    ));
                } else {
                    out.push_str(&format!(
                        "; the tolerances together are {} wide, wider than the range of {}, so they must shrink as well",
                        amount(width),
                        amount(window.high - window.low)
                    ));
                }
            } else if by > 0.0 {
                // Without tolerances there is nothing to weigh: the amount says it all.
                out = format!(
                    "it would have to be {} {}",
                    amount(by),
                    if budget.nominal.below > 0.0 {
                        "more"
                    } else {
                        "less"
                    }
                );
            }
            Some(out)
        }
        _ if budget.verdict != Verdict::Nominal && budget.worst.largest() == 0.0 => Some(
            "an end of its range lies exactly at the limit, which is not enough here".to_owned(),
        ),
        Verdict::Spread | Verdict::WorstCase => {
            // Of a single tolerance both are one.
            let spread = (budget.verdict == Verdict::Spread && budget.parts.len() > 1)
                .then(|| {
                    sentence(
                        "to keep it by root-sum-square, ",
                        budget.shrink_spread,
                        |p| p.alone_spread,
                    )
                })
                .flatten();
            let worst = sentence("to keep it in the worst case, ", budget.shrink_worst, |p| {
                p.alone_worst
            });
            let mut parts: Vec<String> = [spread, worst].into_iter().flatten().collect();
            if parts.is_empty() {
                parts.push(format!(
                    "no shrinking helps, as the middle of its range, where parts will lie, is at the limit or beyond: move the nominal value {} by {}{}",
                    direction(&budget.worst),
                    amount(budget.worst.largest()),
                    if fits { "" } else { " and shrink the tolerances" }
                ));
            } else if fits {
                parts.push(format!(
                    "or leave {} and move the nominal value {} by {}",
                    if budget.parts.len() == 1 {
                        "the tolerance"
                    } else {
                        "the tolerances"
                    },
                    direction(&budget.worst),
                    amount(budget.worst.largest())
                ));
            }
            Some(parts.join("; "))
        }
    };
    Ok(Advice { help, labels })
}

/// Adds the numbers of a toleranced value to a finding: root-sum-square and worst-case ends, and the shrinking needed.
pub(crate) fn with_numbers(
    mut f: Finding<Local>,
    value: &Tol,
    kind: Kind,
    unit: Option<&Arc<CompoundUnit>>,
    budget: &Budget,
    settings: &Settings,
) -> Finding<Local> {
    if !value.is_toleranced() {
        return f;
    }
    let rss = value.rss();
    for (what, si) in [
        ("worst case low", value.lo()),
        ("worst case high", value.hi()),
        ("root-sum-square low", rss.low),
        ("root-sum-square high", rss.high),
    ] {
        f = kinds::rotor::with_number(f, what, si, kind, unit, settings);
    }
    for (what, factor) in [
        ("shrink all for the root-sum-square", budget.shrink_spread),
        ("shrink all for the worst case", budget.shrink_worst),
    ] {
        if let Some(factor) = factor.filter(|factor| *factor < 1.0) {
            f = f.number(what, 100.0 * factor, "%");
        }
    }
    f
}

/// A range in words, with as many digits as its width needs and as tell its ends from the limits they are compared with.
fn ends(
    (low, high): (f64, f64),
    window: &Window,
    kind: Kind,
    unit: Option<&Arc<CompoundUnit>>,
    settings: &Settings,
) -> String {
    let apart = [(low, window.low), (high, window.high)]
        .map(|(end, limit)| (end, limit, (end - limit).abs() > window.slack));
    show::resolved(low, high, &apart, kind, unit, settings)
}

/// A toleranced value with its worst case, told from the limits it is compared with: `0.0050 in (0.0035 .. 0.0065 in)`.
pub(crate) fn given(q: &Quantity, window: &Window, settings: &Settings) -> String {
    let nominal = show::quantity(q, settings);
    if !q.value.is_toleranced() {
        return nominal;
    }
    let worst = (q.value.lo(), q.value.hi());
    format!(
        "{nominal} ({})",
        ends(worst, window, q.kind, q.unit.as_ref(), settings)
    )
}

/// The root-sum-square range of a value in words, told from the limits it is compared with.
pub(crate) fn spread(q: &Quantity, window: &Window, settings: &Settings) -> String {
    let rss = q.value.rss();
    ends(
        (rss.low, rss.high),
        window,
        q.kind,
        q.unit.as_ref(),
        settings,
    )
}
