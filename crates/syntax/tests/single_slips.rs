//! One token missing or doubled in a good file: at most two findings, and nothing after it lost.

mod common;

use common::{EVERY_CONSTRUCT, Leaf, leaves, meaning, parse_file};
use cutwater_syntax::token::lex;

#[test]
fn the_good_file_is_good() {
    for (source, parsed) in parse_file(EVERY_CONSTRUCT) {
        assert_eq!(parsed.errors, vec![], "{source}");
    }
}

/// What is wrong with how the parser took a slip; empty where it did well.
fn complaints(slip: &str, removed: bool, hit: usize, changed: &str) -> Vec<String> {
    let mut out = Vec::new();
    let before = parse_file(EVERY_CONSTRUCT);
    let after = parse_file(changed);
    let errors: Vec<String> = after
        .iter()
        .flat_map(|(s, p)| {
            p.errors
                .iter()
                .map(|e| format!("[{}] {}", e.span.slice(s), e.message))
        })
        .collect();
    if errors.len() > 2 {
        out.push(format!("{} findings: {errors:#?}", errors.len()));
    }
    let whole: Vec<String> = after
        .iter()
        .filter(|(_, p)| p.errors.is_empty())
        .map(|(_, p)| meaning(p))
        .collect();
    let mut at = 0;
    for (source, parsed) in &before {
        let start = at;
        at += source.len();
        if !(start..at).contains(&hit) {
            if !whole.contains(&meaning(parsed)) {
                out.push(format!("another item was lost: {}", source.trim()));
            }
            continue;
        }
        let line = source[..hit - start].matches('\n').count();
        let kept: Vec<Leaf> = after
            .iter()
            .flat_map(|(s, p)| leaves(s, &p.item.kind))
            .collect();
        let all = leaves(source, &parsed.item.kind);
        let head_hit = |l: &Leaf| l.lines.0 <= line && line <= l.lines.1;
        // Rows say nothing without their table's head, nor fields without their group's name.
        let table = all
            .iter()
            .position(head_hit)
            .is_some_and(|h| all[h].means.contains("table "));
        let group = match hit_word(&source[hit - start..]) {
            name if removed && !name.is_empty() => format!("{name}/"),
            _ => "no such group".to_owned(),
        };
        let lost: Vec<&Leaf> = all
            .iter()
            .filter(|l| {
                !(head_hit(l) || l.means.contains(&group) || table && l.means.contains(" row "))
            })
            .filter(|l| !kept.iter().any(|k| same(k, l)))
            .collect();
        let near = |l: &Leaf| {
            let at = all.iter().position(|a| a == l).unwrap_or(0);
            at > 0 && head_hit(&all[at - 1]) || all.get(at + 1).is_some_and(head_hit)
        };
        if lost.len() > 1 || lost.iter().any(|l| !near(l)) {
            out.push(format!(
                "entries were lost: {:?}\nfindings: {errors:#?}",
                lost.iter().map(|l| &l.means).collect::<Vec<_>>()
            ));
        }
    }
    for c in &mut out {
        *c = format!("{slip}: {c}");
    }
    out
}

/// The word at the start of `text`.
fn hit_word(text: &str) -> &str {
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

fn each_token(change: impl Fn(&mut String, std::ops::Range<usize>)) -> Vec<String> {
    let mut out = Vec::new();
    for raw in lex(EVERY_CONSTRUCT) {
        if raw.kind.is_trivia() {
            continue;
        }
        let mut changed = EVERY_CONSTRUCT.to_owned();
        change(&mut changed, raw.span.range());
        let start = raw.span.start as usize;
        let line = EVERY_CONSTRUCT[..start].matches('\n').count() + 1;
        let text = EVERY_CONSTRUCT.lines().nth(line - 1).unwrap_or("").trim();
        let slip = format!(
            "`{}` in line {line} `{text}`",
            raw.span.slice(EVERY_CONSTRUCT)
        );
        out.extend(complaints(
            &slip,
            changed.len() < EVERY_CONSTRUCT.len(),
            start,
            &changed,
        ));
    }
    out
}

#[test]
fn a_missing_token_stays_local() {
    let wrong = each_token(|text, at| text.replace_range(at, ""));
    assert!(
        wrong.is_empty(),
        "{} cases:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}

#[test]
fn a_doubled_token_stays_local() {
    let wrong = each_token(|text, at| {
        let twice = format!(" {}", &text[at.clone()]);
        text.insert_str(at.end, &twice);
    });
    assert!(
        wrong.is_empty(),
        "{} cases:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}
