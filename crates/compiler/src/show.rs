//! Numbers and names in messages.

use crate::settings::Settings;
use crate::value::{Quantity, Range};
use cutwater_quantity::{CompoundUnit, Kind, Tol, display, format_usual, unit_for};
use std::sync::Arc;

/// A plain number without needless digits.
pub fn number_text(v: f64) -> String {
    if v == 0.0 {
        return "0".to_owned();
    }
    let s = format!("{v}");
    if s.len() <= 12 { s } else { format!("{v:.6}") }
}

/// A number to be written into a spec: seven digits that count, which is finer than any instrument of the trade.
pub(crate) fn significant(v: f64) -> String {
    if v == 0.0 || !v.is_finite() {
        return number_text(v);
    }
    let places = (6 - v.abs().log10().floor() as i32).clamp(0, 12) as usize;
    let s = format!("{v:.places$}");
    if s.contains('.') {
        s.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        s
    }
}

/// A noun with its article: `a ring`, `an impeller`.
pub fn article(noun: &str) -> String {
    let vowel = matches!(noun.chars().next(), Some('a' | 'e' | 'i' | 'o'));
    format!("{} {noun}", if vowel { "an" } else { "a" })
}

/// A value in SI units in words: in `unit` where there is one, else as the settings prefer.
pub fn si(value: f64, kind: Kind, unit: Option<&Arc<CompoundUnit>>, settings: &Settings) -> String {
    match unit {
        Some(u) if u.kind().dimension() == kind.dimension() && !kind.is_dimensionless() => {
            format_usual(value, u)
        }
        _ => display(value, kind, settings.units).to_string(),
    }
}

/// A quantity's nominal value in words; with its tolerance class, where it was written with one: `45.000 mm H7`.
pub fn quantity(q: &Quantity, settings: &Settings) -> String {
    let in_words = |value: f64| si(value, q.kind, q.unit.as_ref(), settings);
    match &q.fit {
        Some(fit) => format!("{} {}", in_words(fit.nominal), fit.class),
        None => in_words(q.si()),
    }
}

/// A value with its worst-case limits: `0.0050 in (0.0035 .. 0.0065 in)`, `45.000 mm H7 (45.000 .. 45.025 mm)`.
pub fn with_limits(q: &Quantity, settings: &Settings) -> String {
    let nominal = quantity(q, settings);
    if !q.value.is_toleranced() {
        return nominal;
    }
    format!(
        "{nominal} ({})",
        limits(&q.value, q.kind, q.unit.as_ref(), settings)
    )
}

/// Worst-case limits in words, with as many digits as their width needs.
pub fn limits(
    v: &Tol,
    kind: Kind,
    unit: Option<&Arc<CompoundUnit>>,
    settings: &Settings,
) -> String {
    resolved(v.lo(), v.hi(), &[], kind, unit, settings)
}

/// Root-sum-square limits in words, with as many digits as their width needs.
pub fn spread(
    v: &Tol,
    kind: Kind,
    unit: Option<&Arc<CompoundUnit>>,
    settings: &Settings,
) -> String {
    let rss = v.rss();
    resolved(rss.low, rss.high, &[], kind, unit, settings)
}

/// Two ends in words, at the usual resolution or finer: the width gets two digits (a bore of 140 mm is shown to the
/// micrometre), and an end that is not its limit does not look like it. `apart`: end, limit, whether they differ.
pub(crate) fn resolved(
    low: f64,
    high: f64,
    apart: &[(f64, f64, bool)],
    kind: Kind,
    unit: Option<&Arc<CompoundUnit>>,
    settings: &Settings,
) -> String {
    /// More digits than these say nothing of a part.
    const MOST_MORE: usize = 4;
    let usual = ends(low, high, kind, unit, settings);
    let larger = if low.abs() > high.abs() { low } else { high };
    let (_, symbol) = shown_in(larger, kind, unit, settings);
    let convert = |si: f64| shown_as(si, larger, kind, unit, settings);
    let places = usual
        .split_whitespace()
        .filter_map(|word| word.split_once('.'))
        .map(|(_, digits)| digits.chars().take_while(char::is_ascii_digit).count())
        .max()
        .unwrap_or(0);
    let width = convert(high) - convert(low);
    let for_width = format!("{width:.1e}")
        .split_once('e')
        .and_then(|(_, exponent)| exponent.parse::<i32>().ok())
        .filter(|_| width.is_finite() && width > 0.0)
        .and_then(|exponent| usize::try_from(1 - exponent).ok())
        .unwrap_or(0);
    let alike = |places: usize| {
        apart.iter().any(|(end, limit, differ)| {
            *differ
                && limit.is_finite()
                && format!("{:.places$}", convert(*end)) == format!("{:.places$}", convert(*limit))
        })
    };
    let most = places + MOST_MORE;
    let enough = for_width.clamp(places, most);
    let needed = (enough..=most)
        .find(|places| !alike(*places))
        .unwrap_or(enough);
    // Very large and very small numbers are written with an exponent; those stay as they are.
    let exponential = usual
        .split_whitespace()
        .any(|word| word.contains('e') && word.ends_with(|c: char| c.is_ascii_digit()));
    if needed == places || exponential {
        return usual;
    }
    let text = |si: f64| {
        let text = format!("{:.needed$}", convert(si));
        match text.strip_prefix('-') {
            Some(rest) if rest.chars().all(|c| matches!(c, '0' | '.')) => rest.to_owned(),
            _ => text,
        }
    };
    format!("{} .. {} {symbol}", text(low), text(high))
        .trim_end()
        .to_owned()
}

/// A range in words.
pub fn range(r: &Range, settings: &Settings) -> String {
    ends(r.low, r.high, r.kind, r.unit.as_ref(), settings)
}

fn ends(
    low: f64,
    high: f64,
    kind: Kind,
    unit: Option<&Arc<CompoundUnit>>,
    settings: &Settings,
) -> String {
    let low = si(low, kind, unit, settings);
    let high = si(high, kind, unit, settings);
    match (low.rsplit_once(' '), high.rsplit_once(' ')) {
        (Some((number, a)), Some((_, b))) if a == b => format!("{number} .. {high}"),
        _ => format!("{low} .. {high}"),
    }
}

/// A number in the unit in which `like`, a value of the same kind, is shown.
pub(crate) fn shown_as(
    si: f64,
    like: f64,
    kind: Kind,
    unit: Option<&Arc<CompoundUnit>>,
    settings: &Settings,
) -> f64 {
    match unit {
        Some(u) if u.kind().dimension() == kind.dimension() => u.from_si(si),
        _ => unit_for(like, kind, settings.units).map_or(si, |u| u.from_si(si)),
    }
}

/// A number for a finding, in the unit it is shown in, with that unit's symbol.
pub(crate) fn shown_in(
    si: f64,
    kind: Kind,
    unit: Option<&Arc<CompoundUnit>>,
    settings: &Settings,
) -> (f64, String) {
    match unit {
        Some(u) if u.kind().dimension() == kind.dimension() => {
            (u.from_si(si), u.symbol().to_owned())
        }
        _ => match unit_for(si, kind, settings.units) {
            Some(u) => (u.from_si(si), u.symbol.to_owned()),
            None => (si, String::new()),
        },
    }
}

/// Names similar to `name`, best first.
pub fn near_names<'a>(name: &str, known: impl Iterator<Item = &'a str>) -> Vec<String> {
    let mut scored: Vec<(usize, &str)> = known
        .filter(|k| !k.starts_with('@') && *k != name)
        .filter_map(|k| {
            let d = distance(name, k);
            let longer = name.chars().count().max(k.chars().count());
            // A name of one letter is near no other: nothing of it would be kept.
            let most = (longer / 3).max(1).min(longer.saturating_sub(1));
            (d <= most).then_some((d, k))
        })
        .collect();
    scored.sort();
    scored.dedup();
    scored.into_iter().take(3).map(|s| s.1.to_owned()).collect()
}

/// The most similar of some fixed names.
pub fn pick_nearest(name: &str, known: impl Iterator<Item = &'static str>) -> Option<&'static str> {
    let known: Vec<&'static str> = known.collect();
    let best = near_names(name, known.iter().copied()).into_iter().next()?;
    known.into_iter().find(|k| *k == best)
}

/// Damerau–Levenshtein distance (optimal string alignment), in characters; long names are not compared.
fn distance(a: &str, b: &str) -> usize {
    let a: Vec<char> = a.chars().take(48).collect();
    let b: Vec<char> = b.chars().take(48).collect();
    let w = b.len() + 1;
    let mut d = vec![0usize; (a.len() + 1) * w];
    for i in 0..=a.len() {
        d[i * w] = i;
    }
    for (j, cell) in d.iter_mut().enumerate().take(w) {
        *cell = j;
    }
    for i in 1..=a.len() {
        for j in 1..=b.len() {
            let cost = usize::from(a[i - 1] != b[j - 1]);
            let mut best = (d[(i - 1) * w + j] + 1)
                .min(d[i * w + j - 1] + 1)
                .min(d[(i - 1) * w + j - 1] + cost);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                best = best.min(d[(i - 2) * w + j - 2] + 1);
            }
            d[i * w + j] = best;
        }
    }
    d[a.len() * w + b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_names_find_usual_slips() {
        let known = ["bore", "land_length", "clearance_limit", "seat"];
        assert_eq!(near_names("boer", known.into_iter()), ["bore"]);
        assert_eq!(
            near_names("land_lenght", known.into_iter()),
            ["land_length"]
        );
        assert!(near_names("zebra", known.into_iter()).is_empty());
        assert!(near_names("p", ["c", "q"].into_iter()).is_empty());
        assert_eq!(near_names("aa", ["a", "zz"].into_iter()), ["a"]);
    }

    #[test]
    fn plain_numbers_have_no_needless_digits() {
        assert_eq!(number_text(0.1), "0.1");
        assert_eq!(number_text(-3.0), "-3");
        assert_eq!(number_text(1.0 / 3.0), "0.333333");
    }
}
