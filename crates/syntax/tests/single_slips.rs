//! One slip in a good file: few findings, all at the slip, and nothing else lost.
//!
//! The good files are the one that uses every construct and whatever the project ships: the examples, the demo and
//! the standard library. At each token of them it is taken out, cut short or doubled, or the rest of its line is left
//! unwritten; each line is taken out. The shipped files are sampled; `CUTWATER_CASES` takes every token of them.

mod common;

use common::{EVERY_CONSTRUCT, Leaf, item_meaning, leaves, parse_file};
use cutwater_syntax::split::{Chunk, resplit, split};
use cutwater_syntax::token::{Raw, T, lex};
use cutwater_syntax::{Parsed, parse_chunk};
use cutwater_text::Span;
use std::collections::HashMap;
use std::ops::Range;

/// What is done to a good file.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Slip {
    /// The token is missing.
    Missing,
    /// The last character of the token is missing.
    Short,
    /// The token stands twice.
    Doubled,
    /// The token and the rest of its line are not written yet.
    HalfTyped,
    /// The token's line is missing. Done for the first token of each line.
    NoLine,
}

impl Slip {
    /// The bytes that go and what comes in their place; `None` where this slip cannot be made here.
    fn edit(self, text: &str, raw: &[Raw], i: usize) -> Option<(Range<usize>, String)> {
        let at = raw[i].span.range();
        let line_start = text[..at.start].rfind('\n').map_or(0, |n| n + 1);
        let line_end = text[at.start..]
            .find('\n')
            .map_or(text.len(), |n| at.start + n);
        match self {
            Slip::Missing => Some((at, String::new())),
            Slip::Short => {
                let last = text[at.clone()].chars().next_back()?.len_utf8();
                // A token of one character that is cut short is missing.
                (last < at.len()).then(|| (at.end - last..at.end, String::new()))
            }
            Slip::Doubled => Some((at.end..at.end, format!(" {}", &text[at]))),
            Slip::HalfTyped => Some((at.start..line_end, String::new())),
            Slip::NoLine => text[line_start..at.start]
                .trim()
                .is_empty()
                .then(|| (line_start..(line_end + 1).min(text.len()), String::new())),
        }
    }
}

/// A good file and what it says.
struct Good {
    name: String,
    text: String,
    raw: Vec<Raw>,
    chunks: Vec<Chunk>,
    items: Vec<Item>,
}

struct Item {
    means: String,
    leaves: Vec<Leaf>,
}

impl Good {
    fn new(name: String, text: String) -> Self {
        let chunks = split(&text);
        let items = parse_file(&text)
            .into_iter()
            .map(|(source, parsed)| {
                assert_eq!(parsed.errors, vec![], "{name}: {source}");
                Item {
                    means: item_meaning(&parsed.item.kind),
                    leaves: leaves(source, &parsed.item.kind),
                }
            })
            .collect();
        Self {
            name,
            raw: lex(&text),
            chunks,
            items,
            text,
        }
    }

    /// What is wrong with how the parser takes a slip at the token `i`; `None` where it takes it well.
    fn complaint(
        &self,
        slip: Slip,
        i: usize,
        seen: &mut HashMap<String, Parsed>,
    ) -> Option<Outcome> {
        let (gone, put) = slip.edit(&self.text, &self.raw, i)?;
        let mut changed = self.text.clone();
        changed.replace_range(gone.clone(), &put);
        let after = resplit(
            &self.chunks,
            self.text.len(),
            &changed,
            Span::new(gone.start, gone.end),
            Span::new(gone.start, gone.start + put.len()),
        );
        let delta = changed.len() as i64 - self.text.len() as i64;
        // The chunk that was hit: the one its token is in.
        let token = self.raw[i].span.start;
        let hit = self.chunks.partition_point(|c| c.span.end <= token);
        let place = self.chunks[hit].span;
        // The item begins behind the blank lines and comments before it.
        let (front, back) = (after.kept_front, after.chunks.len() - after.kept_back);
        let fresh: Vec<(u32, &str)> = after.chunks[front..back]
            .iter()
            .map(|c| (c.span.start, c.span.slice(&changed)))
            .collect();
        for (_, source) in &fresh {
            if !seen.contains_key(*source) {
                seen.insert((*source).to_owned(), parse_chunk(source));
            }
        }
        let mut wrong = Vec::new();
        let mut errors = Vec::new();
        for (start, source) in &fresh {
            for e in &seen[*source].errors {
                errors.push(format!("[{}] {}", e.span.slice(source), e.message));
                let (from, to) = (start + e.span.start, start + e.span.end);
                if from < place.start || i64::from(to) > i64::from(place.end) + delta {
                    wrong.push("a finding stands in another item".to_owned());
                }
            }
        }
        // Each other item is there as it was. Notes before an item that is gone fall to the next.
        let kept_back = self.chunks.len() - after.kept_back;
        let whole: Vec<String> = fresh
            .iter()
            .map(|(_, s)| item_meaning(&seen[*s].item.kind))
            .collect();
        for other in (front..kept_back).filter(|o| *o != hit) {
            if !whole.contains(&self.items[other].means) {
                wrong.push(format!(
                    "another item was lost: {}",
                    self.chunks[other].span.slice(&self.text).trim()
                ));
            }
        }
        let kept: Vec<Leaf> = fresh
            .iter()
            .flat_map(|(_, s)| leaves(s, &seen[*s].item.kind))
            .collect();
        // Without the kind of its declaration an entry says nothing; that much is said once.
        let first = self.raw[..i]
            .iter()
            .rev()
            .take_while(|r| r.span.start >= place.start)
            .all(|r| r.kind.is_trivia());
        let headless = first && errors.len() == 1;
        let lost = self.lost(slip, hit, &gone, token as usize, &kept);
        if !lost.is_empty() && !headless {
            wrong.push(format!("entries were lost: {lost:?}"));
        }
        if errors.is_empty() {
            // What is left is good text with a meaning of its own: nothing was to be recovered.
            wrong.clear();
        }
        Some(Outcome { errors, wrong })
    }

    /// Entries of the item `hit` that are gone though the slip did not touch them; one neighbour may go.
    fn lost(
        &self,
        slip: Slip,
        hit: usize,
        gone: &Range<usize>,
        token: usize,
        kept: &[Leaf],
    ) -> Vec<String> {
        let start = self.chunks[hit].span.start as usize;
        let source = self.chunks[hit].span.slice(&self.text);
        let all = &self.items[hit].leaves;
        let line_of = |at: usize| {
            source[..at.saturating_sub(start).min(source.len())]
                .matches('\n')
                .count()
        };
        let line = line_of(token);
        let touched = |l: &Leaf| l.lines.0 <= line && line <= l.lines.1;
        // Rows say nothing without their table's head, nor fields without their group's name.
        let table = all
            .iter()
            .position(touched)
            .is_some_and(|h| all[h].means.contains("table "));
        let removes = slip != Slip::Doubled;
        let groups: Vec<String> = if removes {
            lex(&self.text[token..gone.end.max(token + 1)])
                .iter()
                .take(1)
                .filter(|r| r.kind == T::Word)
                .map(|_| format!("{}/", word_at(&self.text[token..])))
                .collect()
        } else {
            Vec::new()
        };
        let lost: Vec<&Leaf> = all
            .iter()
            .filter(|l| {
                !(touched(l)
                    || groups.iter().any(|g| l.means.contains(g))
                    || table && l.means.contains(" row "))
            })
            .filter(|l| !kept.iter().any(|k| same(k, l)))
            .collect();
        let near = |l: &Leaf| {
            let at = all.iter().position(|a| a == l).unwrap_or(0);
            at > 0 && touched(&all[at - 1]) || all.get(at + 1).is_some_and(touched)
        };
        if lost.len() > 1 || lost.iter().any(|l| !near(l)) {
            lost.iter().map(|l| l.means.clone()).collect()
        } else {
            Vec::new()
        }
    }
}

/// How a slip was taken.
struct Outcome {
    errors: Vec<String>,
    wrong: Vec<String>,
}

/// The word at the start of `text`.
fn word_at(text: &str) -> &str {
    let end = text.find(|c: char| !(c.is_alphanumeric() || c == '_'));
    &text[..end.unwrap_or(text.len())]
}

/// Whether two leaves say the same; the block they stand in may have lost its name.
fn same(a: &Leaf, b: &Leaf) -> bool {
    let tail = |l: &Leaf| {
        let end = l.means.find([' ', '"']).unwrap_or(l.means.len());
        let start = l.means[..end].rfind('/').map_or(0, |s| s + 1);
        l.means[start..].to_owned()
    };
    tail(a) == tail(b)
}

/// The shipped files.
fn shipped() -> Vec<Good> {
    common::shipped()
        .into_iter()
        .map(|(name, text)| Good::new(name, text))
        .collect()
}

/// Makes `slip` at every token of which the number leaves no rest by `step`; fails where one is taken badly.
fn each(files: &[Good], slip: Slip, step: usize, most: usize) {
    let mut counts = [0usize; 8];
    let mut wrong = Vec::new();
    for good in files {
        let mut seen = HashMap::new();
        for i in (0..good.raw.len()).filter(|i| i % step == 0) {
            if good.raw[i].kind.is_trivia() {
                continue;
            }
            let Some(outcome) = good.complaint(slip, i, &mut seen) else {
                continue;
            };
            counts[outcome.errors.len().min(7)] += 1;
            let mut said = outcome.wrong;
            if outcome.errors.len() > most {
                said.insert(0, format!("{} findings", outcome.errors.len()));
            }
            if said.is_empty() {
                continue;
            }
            let start = good.raw[i].span.start as usize;
            let line = good.text[..start].matches('\n').count();
            wrong.push(format!(
                "{slip:?} `{}` in {} line {} `{}`: {}\n  findings: {:#?}",
                good.raw[i].span.slice(&good.text),
                good.name,
                line + 1,
                good.text.lines().nth(line).unwrap_or("").trim(),
                said.join("; "),
                outcome.errors
            ));
        }
    }
    assert!(
        wrong.is_empty(),
        "{} cases are taken badly of those with 0, 1, 2, … findings {counts:?}:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}

fn step() -> usize {
    if std::env::var_os("CUTWATER_CASES").is_some() {
        1
    } else {
        7
    }
}

fn own() -> Vec<Good> {
    vec![Good::new(
        "every_construct.pump".to_owned(),
        EVERY_CONSTRUCT.to_owned(),
    )]
}

#[test]
fn a_missing_token_stays_local() {
    each(&own(), Slip::Missing, 1, 2);
}

#[test]
fn a_doubled_token_stays_local() {
    each(&own(), Slip::Doubled, 1, 2);
}

#[test]
fn a_short_token_stays_local() {
    each(&own(), Slip::Short, 1, 2);
}

#[test]
fn a_half_typed_line_stays_local() {
    each(&own(), Slip::HalfTyped, 1, 2);
}

#[test]
fn a_missing_line_stays_local() {
    each(&own(), Slip::NoLine, 1, 2);
}

#[test]
fn a_missing_token_in_shipped_files_stays_local() {
    each(&shipped(), Slip::Missing, step(), 2);
}

#[test]
fn a_doubled_token_in_shipped_files_stays_local() {
    each(&shipped(), Slip::Doubled, step(), 2);
}

#[test]
fn a_short_token_in_shipped_files_stays_local() {
    each(&shipped(), Slip::Short, step(), 2);
}

#[test]
fn a_half_typed_line_in_shipped_files_stays_local() {
    each(&shipped(), Slip::HalfTyped, step(), 2);
}

#[test]
fn a_missing_line_in_shipped_files_stays_local() {
    each(&shipped(), Slip::NoLine, step(), 2);
}
