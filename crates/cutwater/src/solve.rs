//! Results as text: a block for each declaration, or a line for each result.
//!
//! A value with a tolerance is shown with both its limits: worst case, which holds for every part within its
//! tolerance, and root sum square, which holds for most when the parts vary independently. The last word of
//! a row says where the value comes from.

use crate::render::Style;
use cutwater_compiler::results::{Row, Shown};
use cutwater_report::outcome::{DeclOutcome, Outcome};
use cutwater_report::page::columns;
use std::fmt::Write;

/// A block for each declaration, below the name of its file. Named values in a row share a block.
pub fn blocks(outcome: &Outcome, style: Style) -> String {
    let mut out = String::new();
    for file in outcome.files.iter().filter(|f| !f.decls.is_empty()) {
        let _ = writeln!(out, "{}\n", style.bold(&file.source.path, 36));
        let mut at = 0;
        while at < file.decls.len() {
            let is_let = |d: &DeclOutcome| d.kind == "let";
            let many = if is_let(&file.decls[at]) {
                file.decls[at..].iter().take_while(|d| is_let(d)).count()
            } else {
                1
            };
            let decls = &file.decls[at..at + many];
            let head = format!("{} {}", decls[0].kind, decls[0].name);
            let head = if is_let(&decls[0]) {
                "let"
            } else {
                head.trim_end()
            };
            let _ = writeln!(out, "{}", style.bold(head, 0));
            let rows: Vec<Vec<String>> = decls
                .iter()
                .flat_map(|d| d.rows.iter().map(move |r| cells(d, r)))
                .collect();
            out.push_str(&columns(&without_empty(rows), 4));
            out.push('\n');
            at += many;
        }
    }
    out
}

/// A line for each result: `a.pump:3: ring.clearance = 0.0050 in (worst 0.0045 .. 0.0065 in, rss 0.0048 .. 0.0062 in)
/// [computed]`.
pub fn lines(outcome: &Outcome) -> String {
    let mut out = String::new();
    for file in &outcome.files {
        for d in &file.decls {
            let line = d.at.source.position(d.at.span.start as usize).line + 1;
            for r in &d.rows {
                let value = match parts(&r.value) {
                    (nominal, Some(worst), Some(rss)) => {
                        format!("{nominal} (worst {worst}, rss {rss})")
                    }
                    _ => r.value.text().to_owned(),
                };
                let _ = writeln!(
                    out,
                    "{}:{line}: {} = {value} [{}]",
                    file.source.path, r.path, r.origin
                );
            }
        }
    }
    out
}

fn cells(d: &DeclOutcome, r: &Row) -> Vec<String> {
    let owner = if d.name.is_empty() { d.kind } else { &d.name };
    let name = r
        .path
        .strip_prefix(owner)
        .and_then(|rest| rest.strip_prefix('.'))
        .unwrap_or(&r.path);
    let (value, worst, rss) = parts(&r.value);
    vec![
        name.to_owned(),
        value,
        worst.map_or_else(String::new, |w| format!("worst {w}")),
        rss.map_or_else(String::new, |w| format!("rss {w}")),
        r.origin.to_owned(),
    ]
}

/// The nominal value, the worst-case limits and the root-sum-square limits, in words.
fn parts(v: &Shown) -> (String, Option<String>, Option<String>) {
    let text = v.text();
    let Shown::Number {
        limits: Some(_),
        spread,
        unit,
        ..
    } = v
    else {
        return (text.to_owned(), None, None);
    };
    // `0.0050 in (0.0035 .. 0.0065 in)`: the limits stand in the brackets at the end.
    let Some((nominal, limits)) = text
        .split_once(" (")
        .and_then(|(a, b)| Some((a, b.strip_suffix(')')?)))
    else {
        return (text.to_owned(), None, None);
    };
    let digits = decimals(limits);
    let rss = spread.map(|(low, high)| {
        format!("{} .. {} {unit}", fixed(low, digits), fixed(high, digits))
            .trim_end()
            .to_owned()
    });
    (nominal.to_owned(), Some(limits.to_owned()), rss)
}

/// The most digits after the point among the numbers of a text.
fn decimals(text: &str) -> usize {
    text.split_whitespace()
        .filter(|w| w.starts_with(|c: char| c.is_ascii_digit() || c == '-' || c == '−'))
        .filter_map(|w| w.split_once('.'))
        .map(|(_, d)| d.chars().take_while(char::is_ascii_digit).count())
        .max()
        .unwrap_or(0)
}

fn fixed(v: f64, digits: usize) -> String {
    let s = format!("{v:.digits$}");
    match s.strip_prefix('-') {
        // No minus before a zero.
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_owned(),
        _ => s,
    }
}

/// Takes out the columns in which no row has anything.
fn without_empty(rows: Vec<Vec<String>>) -> Vec<Vec<String>> {
    let width = rows.iter().map(Vec::len).max().unwrap_or(0);
    let used: Vec<bool> = (0..width)
        .map(|k| rows.iter().any(|r| r.get(k).is_some_and(|c| !c.is_empty())))
        .collect();
    rows.into_iter()
        .map(|r| {
            r.into_iter()
                .zip(&used)
                .filter_map(|(c, u)| u.then_some(c))
                .collect()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use cutwater_compiler::Settings;
    use cutwater_report::outcome::of_texts;

    #[test]
    fn limits_of_both_sorts_are_shown_at_one_resolution() {
        let out = of_texts(
            Settings::default(),
            &[(
                "a.pump",
                "let bore = 5.502 in ± 0.0005\nlet gap = bore - 5.497 in (+0/-0.001)\nlet n = 3\n",
            )],
            true,
        );
        let text = blocks(&out, Style::default());
        // 0.005 with -0.0005 and +0.0015 at worst. The hub's middle is half a thousandth low, so the middle of
        // the gap is 0.0055, and its spread sqrt(0.5² + 0.5²) thousandths.
        let row = text.lines().find(|l| l.contains("gap")).unwrap();
        assert!(row.contains("worst 0.0045 .. 0.0065 in"), "{text}");
        assert!(row.contains("rss 0.0048 .. 0.0062 in"), "{text}");
        assert!(row.ends_with("computed"), "{text}");
        assert!(text.starts_with("a.pump\n\nlet\n    bore"), "{text}");
    }

    #[test]
    fn every_result_has_a_line() {
        let out = of_texts(Settings::default(), &[("a.pump", "let n = 3 in\n")], true);
        assert_eq!(lines(&out), "a.pump:1: n = 3.0000 in [stated]\n");
    }

    #[test]
    fn no_minus_before_a_zero() {
        assert_eq!(fixed(-0.0001, 2), "0.00");
        assert_eq!(fixed(-0.01, 2), "-0.01");
        assert_eq!(decimals("0.0045 .. 0.0065 in"), 4);
        assert_eq!(decimals("12 .. 13 ft"), 0);
    }
}
