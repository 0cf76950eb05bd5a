//! The canonical layout as a few small edits, so that an editor keeps its cursors and marks.

pub use cutwater_syntax::range::{TextEdit, format_range};

use cutwater_syntax::range::difference;

/// Most cells of the table that compares two runs of lines; above it the whole run is replaced.
const MOST_CELLS: usize = 1 << 22;

/// Edits that bring a text into the canonical layout; none where it has it. In order, apart from each other.
pub fn format_edits(text: &str) -> Vec<TextEdit> {
    edits(text, &cutwater_syntax::format(text))
}

/// Edits, by lines and then within lines, that turn `old` into `new`.
pub(crate) fn edits(old: &str, new: &str) -> Vec<TextEdit> {
    let a: Vec<&str> = old.split_inclusive('\n').collect();
    let b: Vec<&str> = new.split_inclusive('\n').collect();
    let front = a.iter().zip(&b).take_while(|(x, y)| x == y).count();
    let back = a[front..]
        .iter()
        .rev()
        .zip(b[front..].iter().rev())
        .take_while(|(x, y)| x == y)
        .count();
    let (a_mid, b_mid) = (&a[front..a.len() - back], &b[front..b.len() - back]);
    let start: usize = a[..front].iter().map(|l| l.len()).sum();
    let mut out = Vec::new();
    let mut at = start;
    for (old_lines, new_lines, same) in runs(a_mid, b_mid) {
        let len: usize = old_lines.iter().map(|l| l.len()).sum();
        if !same {
            if old_lines.len() == new_lines.len() {
                let mut line_at = at;
                for (x, y) in old_lines.iter().zip(new_lines) {
                    out.extend(difference(line_at, x, y));
                    line_at += x.len();
                }
            } else {
                out.extend(difference(at, &old_lines.concat(), &new_lines.concat()));
            }
        }
        at += len;
    }
    out
}

type Run<'a, 's> = (&'a [&'s str], &'a [&'s str], bool);

/// Cuts two lists of lines into runs that are the same and runs that differ (longest common subsequence).
fn runs<'a, 's>(a: &'a [&'s str], b: &'a [&'s str]) -> Vec<Run<'a, 's>> {
    if a.is_empty() && b.is_empty() {
        return Vec::new();
    }
    // Laying out mostly keeps the number of lines; then line answers to line.
    if a.len() == b.len() || a.len().saturating_mul(b.len()) > MOST_CELLS {
        return vec![(a, b, false)];
    }
    let w = b.len() + 1;
    let mut best = vec![0u32; (a.len() + 1) * w];
    for i in (0..a.len()).rev() {
        for j in (0..b.len()).rev() {
            // Lines that differ in blanks alone answer to each other too.
            best[i * w + j] = if a[i].split_whitespace().eq(b[j].split_whitespace()) {
                best[(i + 1) * w + j + 1] + 1
            } else {
                best[(i + 1) * w + j].max(best[i * w + j + 1])
            };
        }
    }
    let mut out = Vec::new();
    let (mut i, mut j) = (0, 0);
    while i < a.len() || j < b.len() {
        let (i0, j0) = (i, j);
        while i < a.len() && j < b.len() && a[i].split_whitespace().eq(b[j].split_whitespace()) {
            i += 1;
            j += 1;
        }
        if i > i0 {
            let same = a[i0..i] == b[j0..j];
            out.push((&a[i0..i], &b[j0..j], same));
            continue;
        }
        while i < a.len() || j < b.len() {
            let matched =
                i < a.len() && j < b.len() && a[i].split_whitespace().eq(b[j].split_whitespace());
            if matched {
                break;
            }
            if j == b.len() || i < a.len() && best[(i + 1) * w + j] >= best[i * w + j + 1] {
                i += 1;
            } else {
                j += 1;
            }
        }
        out.push((&a[i0..i], &b[j0..j], false));
    }
    out
}

/// Applies edits that are in order and apart from each other.
#[cfg(test)]
fn apply(text: &str, edits: &[TextEdit]) -> String {
    let mut out = String::new();
    let mut at = 0;
    for e in edits {
        assert!(e.span.start as usize >= at, "edits overlap");
        out.push_str(&text[at..e.span.start as usize]);
        out.push_str(&e.text);
        at = e.span.end as usize;
    }
    out.push_str(&text[at..]);
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use cutwater_text::Span;
    use proptest::prelude::*;

    #[test]
    fn only_what_differs_is_touched() {
        let text = "site { altitude = 820 ft }\nlet a  = 5 in  // µ\nlet b = 6 in\n";
        let e = format_edits(text);
        assert_eq!(apply(text, &e), cutwater_syntax::format(text));
        assert!(e.iter().all(|x| x.span.len() < 4), "{e:?}");
        // The range of all lines says the same.
        let all = format_range(text, Span::new(0, text.len()));
        assert_eq!(apply(text, &all), cutwater_syntax::format(text));
    }

    #[test]
    fn a_text_in_layout_needs_no_edit() {
        assert!(format_edits("let a = 5 in\n").is_empty());
        assert!(format_edits("").is_empty());
    }

    proptest! {
        #[test]
        fn edits_give_the_new_text(
            old in proptest::collection::vec("[ab µ]{0,3}(\r\n|\n)", 0..12),
            new in proptest::collection::vec("[ab µ]{0,3}(\r\n|\n)", 0..12),
        ) {
            let (old, new) = (old.concat(), new.concat());
            prop_assert_eq!(apply(&old, &edits(&old, &new)), new);
        }
    }
}
