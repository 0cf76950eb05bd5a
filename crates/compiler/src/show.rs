//! Numbers and names in messages.

use crate::settings::Settings;
use crate::value::{Quantity, Range};
use cutwater_quantity::{CompoundUnit, Kind, Tol, display, format_usual};
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

/// A quantity's nominal value in words.
pub fn quantity(q: &Quantity, settings: &Settings) -> String {
    si(q.si(), q.kind, q.unit.as_ref(), settings)
}

/// A value with its worst-case limits: `0.0050 in (0.0035 .. 0.0065)`.
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

/// Worst-case limits in words.
pub fn limits(
    v: &Tol,
    kind: Kind,
    unit: Option<&Arc<CompoundUnit>>,
    settings: &Settings,
) -> String {
    ends(v.lo(), v.hi(), kind, unit, settings)
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
