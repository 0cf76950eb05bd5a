//! Splits a file into chunks: one top-level item each, with the blank lines and comments before it.
//!
//! Chunks tile the file. Each is parsed and checked alone, so one broken item never hides another, and
//! each is the unit of re-parsing after an edit. An item ends with its block or where the next begins:
//! - a line that starts in the first column and looks like an item (`ring seal {`, `use "…"`, `let x =`)
//!   begins a chunk whatever the brackets before it say. This is a *strong* start: it depends on nothing
//!   before its own line, which is what lets [`resplit`] lex again only what lies between two of them;
//! - where no bracket is open, a line that is not further in than the item before it, and either looks like an
//!   item or cannot go on with what stands before it, begins a chunk;
//! - what is further in, or stands on the same line, must look wholly like an item.
//!
//! - where a head is missing, what would have stood in its block is a chunk of its own, apart from the item before it.
//!
//! So a `}` too many inside a block does not cut the rest of the block off.

use crate::token::{Raw, T, lex};
use crate::words::{begins_item, joins};
use cutwater_text::Span;

/// Kinds that may be declared without a name, known here only to find where items begin.
const UNNAMED: &[&str] = &["site", "water"];

/// One top-level item's place in the file.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Chunk {
    /// All bytes of the chunk, comments before it included.
    pub span: Span,
    /// Whether its item begins in a way that holds whatever comes before.
    pub strong: bool,
}

/// The chunks of a whole file. An empty file, or one of comments alone, is one chunk.
pub fn split(text: &str) -> Vec<Chunk> {
    split_tokens(text, &lex(text))
}

fn column_zero(text: &str, at: u32) -> bool {
    let before = &text.as_bytes()[..at as usize];
    matches!(before, [] | [.., b'\n' | b'\r']) || before == "\u{feff}".as_bytes()
}

/// Whether an item certainly begins at the token `i`, judged from the next few tokens alone.
fn is_strong(text: &str, raw: &[Raw], i: usize) -> bool {
    let t = raw[i];
    if t.kind != T::Word || !column_zero(text, t.span.start) {
        return false;
    }
    let word = t.span.slice(text);
    let kind = |n: usize| raw.get(i + n).map_or(T::Newline, |r| r.kind);
    let text_of = |n: usize| raw.get(i + n).map_or("", |r| r.span.slice(text));
    match word {
        "use" => matches!(kind(1), T::Text | T::OpenText),
        "let" => kind(1) == T::Word && matches!(kind(2), T::Equals | T::LParen),
        "require" => !matches!(kind(1), T::Equals | T::LBrace),
        // It may also stand in a block.
        "accept" => false,
        _ if UNNAMED.contains(&word) && kind(1) == T::LBrace => true,
        _ => {
            kind(1) == T::Word
                && (kind(2) == T::LBrace
                    || kind(2) == T::LParen && !joins(text_of(1))
                    || kind(2) == T::Word && matches!(text_of(2), "like" | "of"))
        }
    }
}

/// What stands before a token that may begin an item, within its chunk.
#[derive(Clone, Copy)]
struct Before {
    /// Column of the chunk's item.
    column: u32,
    /// The item is a declaration.
    declares: bool,
    /// A block has closed, and no bracket is open.
    closed: bool,
    /// The `}` that closed it stands where it belongs: below the item's first column, or on the line of its `{`.
    shut: bool,
    /// A `(` or `[` is open.
    inside: bool,
    /// Kind of the last token.
    last: T,
}

/// Whether a line that begins with the token `i` in the column `column` is the inside of a block whose head is
/// missing: it stands further in than any item should and looks like none.
fn lacks_head(text: &str, raw: &[Raw], i: usize, column: u32) -> bool {
    let kind = |n: usize| raw.get(i + n).map_or(T::Newline, |r| r.kind);
    let text_of = |n: usize| raw.get(i + n).map_or("", |r| r.span.slice(text));
    let word = text_of(0);
    if column < 2 || kind(0) != T::Word || joins(word) {
        return false;
    }
    match kind(1) {
        T::Equals => true,
        _ if begins_item(word) => false,
        T::LBrace => !UNNAMED.contains(&word),
        T::Word => text_of(1) == "at" || word == "hold",
        T::LParen | T::Dot | T::Colon | T::Arrow => true,
        _ => false,
    }
}

/// Where a chunk holds the inside of a block whose head is missing: the place of its first token.
pub(crate) fn headless(text: &str, raw: &[Raw]) -> Option<Span> {
    let mut line_start = 0;
    for (i, t) in raw.iter().enumerate() {
        if t.kind == T::Newline {
            line_start = t.span.end;
        } else if !t.kind.is_trivia() {
            return lacks_head(text, raw, i, t.span.start - line_start).then_some(t.span);
        }
    }
    None
}

/// Whether an item may begin at the token `i`, given that no block is open.
fn is_weak(text: &str, raw: &[Raw], i: usize, first: Option<u32>, before: Before) -> bool {
    let t = raw[i];
    if matches!(t.kind, T::RBrace | T::RParen | T::RBracket) {
        return false;
    }
    let word = t.span.slice(text);
    let kind = |n: usize| raw.get(i + n).map_or(T::Newline, |r| r.kind);
    let text_of = |n: usize| raw.get(i + n).map_or("", |r| r.span.slice(text));
    let is_word = t.kind == T::Word;
    // The whole shape of an item's beginning.
    let shaped = is_word
        && match word {
            "use" => kind(1) == T::Text,
            "let" => kind(1) == T::Word && matches!(kind(2), T::Equals | T::LParen),
            "accept" => kind(1) == T::Word,
            "require" => matches!(kind(1), T::Word | T::Number | T::Minus | T::LParen),
            _ => {
                kind(1) == T::Word
                    && (kind(2) == T::LBrace
                        || kind(2) == T::LParen && !joins(text_of(1))
                        || kind(2) == T::Word && matches!(text_of(2), "like" | "of"))
            }
        };
    if before.inside {
        // Two words side by side are no value, so whatever is open was left open.
        return shaped && first.is_some_and(|column| column <= before.column);
    }
    match first {
        // A blank too many before it changes nothing.
        Some(column) if column <= before.column + 1 => {
            if before.closed || shaped {
                return true;
            }
            // Two values never stand side by side.
            let apart = column <= 1
                && matches!(
                    before.last,
                    T::Word
                        | T::Number
                        | T::Fraction
                        | T::Date
                        | T::Text
                        | T::OpenText
                        | T::RParen
                        | T::RBracket
                );
            match t.kind {
                T::Word if joins(word) => false,
                T::Word => {
                    apart || begins_item(word) || matches!(kind(1), T::Word | T::LBrace | T::Text)
                }
                T::Text | T::LParen => apart,
                T::LBrace => apart && !before.declares,
                _ => false,
            }
        }
        // What stands in no block after all is said apart from the item before it. `accept` may stand in a block.
        Some(column) => {
            // What is set or opened belongs to no `let` or `require`.
            let apart = !before.declares && matches!(kind(1), T::Equals | T::LBrace | T::Arrow);
            (before.shut || apart) && lacks_head(text, raw, i, column) || shaped && word != "accept"
        }
        None => before.closed && (shaped || is_word && kind(1) == T::LBrace),
    }
}

fn split_tokens(text: &str, raw: &[Raw]) -> Vec<Chunk> {
    let mut chunks = Vec::new();
    let mut start = 0u32; // of the current chunk
    let mut strong = false; // of the current chunk
    let mut begun = false; // has the current chunk seen its item's first token
    let mut closed = false; // has a block closed to depth zero in it
    let mut shut = false; // and did it close in its place
    let mut headless = false; // does its item lack its head
    let mut depth = 0usize;
    let mut blocks = 0usize; // how many of the open brackets are braces
    let mut on_head = false; // does the first of them stand on the line its item begins on
    let mut head_line = 0u32; // start of that line
    let mut column = 0u32; // of its item
    let mut declares = false; // whether its item may have a block
    let mut last = T::Newline; // kind of its last token
    let mut line_first = true;
    let mut line_start = 0u32;
    let mut boundary = 0u32; // where the next chunk would start: after the line of the last token of the item
    let mut pending_line_end = false;
    for (i, t) in raw.iter().enumerate() {
        if t.kind == T::Newline {
            line_first = true;
            line_start = t.span.end;
            if pending_line_end {
                boundary = t.span.end;
                pending_line_end = false;
            }
            continue;
        }
        if t.kind.is_trivia() {
            continue;
        }
        let first = std::mem::replace(&mut line_first, false);
        let sure = first && is_strong(text, raw, i);
        let here = t.span.start - line_start;
        let before = Before {
            column,
            declares,
            closed,
            shut,
            inside: depth > 0,
            last,
        };
        if begun && (sure || blocks == 0 && is_weak(text, raw, i, first.then_some(here), before)) {
            let cut = if pending_line_end {
                t.span.start
            } else {
                boundary
            };
            chunks.push(Chunk {
                span: Span { start, end: cut },
                strong,
            });
            start = cut;
            begun = false;
        }
        if !begun {
            begun = true;
            strong = sure;
            closed = false;
            shut = false;
            on_head = false;
            depth = 0;
            blocks = 0;
            headless = first && lacks_head(text, raw, i, here);
            // What is further in than the head would be stays together.
            column = if headless { 0 } else { here };
            head_line = line_start;
            declares = !begins_item(t.span.slice(text));
        }
        match t.kind {
            T::LBrace => {
                depth += 1;
                if blocks == 0 {
                    on_head = line_start == head_line;
                }
                blocks += 1;
            }
            T::LParen | T::LBracket => depth += 1,
            T::RBrace | T::RParen | T::RBracket => {
                depth = depth.saturating_sub(1);
                if t.kind == T::RBrace {
                    blocks = blocks.saturating_sub(1);
                }
                blocks = blocks.min(depth);
                if depth == 0 && t.kind == T::RBrace {
                    closed = true;
                    shut =
                        first && here <= column || !headless && on_head && line_start == head_line;
                }
            }
            _ => {}
        }
        last = t.kind;
        pending_line_end = true;
    }
    chunks.push(Chunk {
        span: Span::new(start as usize, text.len()),
        strong,
    });
    chunks
}

/// What [`resplit`] kept of the old chunks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Resplit {
    /// All chunks of the new text.
    pub chunks: Vec<Chunk>,
    /// That many chunks at the front are byte for byte the old ones.
    pub kept_front: usize,
    /// That many chunks at the back are byte for byte the old ones (moved).
    pub kept_back: usize,
}

/// Splits `new`, which differs from a text whose chunks are `old` in the bytes `old_range` → `new_range`,
/// lexing only round the change. Gives exactly what [`split`] gives.
pub fn resplit(
    old: &[Chunk],
    old_len: usize,
    new: &str,
    old_range: Span,
    new_range: Span,
) -> Resplit {
    let delta = new.len() as i64 - old_len as i64;
    // A chunk's end is decided by the first line of the next one, so keep only chunks whose successor is untouched too.
    let untouched = old.partition_point(|c| c.span.end < old_range.start);
    let mut front = untouched.saturating_sub(1);
    // Begin at a line start: a chunk that shares its first line with another depends on it.
    while front > 0 && !column_zero(new, old[front].span.start) {
        front -= 1;
    }
    let from = old.get(front).map_or(0, |c| c.span.start as usize);
    // At the back: chunk j and its successor both begin strongly and lie behind the change.
    let behind = old.partition_point(|c| c.span.start <= old_range.end);
    let keep_from = (behind..old.len().saturating_sub(1))
        .find(|j| old[*j].strong && old[*j + 1].strong)
        .map(|j| j + 1);
    let to = keep_from.map_or(new.len(), |k| {
        (old[k].span.start as i64 + delta).max(0) as usize
    });
    debug_assert!(new_range.end as usize <= new.len());
    let mut chunks: Vec<Chunk> = old[..front].to_vec();
    let middle = &new[from..to];
    // The middle chunks are split as if the text ended there; the chunk after begins strongly, so it would be cut there anyway.
    for c in split_tokens(middle, &lex(middle)) {
        if c.span.is_empty() && keep_from.is_some() {
            continue;
        }
        chunks.push(Chunk {
            span: c.span.shift(from as u32),
            strong: c.strong,
        });
    }
    let kept_back = keep_from.map_or(0, |k| old.len() - k);
    if let Some(k) = keep_from {
        chunks.extend(old[k..].iter().map(|c| Chunk {
            span: Span::new(
                (c.span.start as i64 + delta) as usize,
                (c.span.end as i64 + delta) as usize,
            ),
            strong: c.strong,
        }));
    }
    Resplit {
        chunks,
        kept_front: front,
        kept_back,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn parts(text: &str) -> Vec<&str> {
        split(text).iter().map(|c| c.span.slice(text)).collect()
    }

    #[test]
    fn items_and_their_comments_stay_together() {
        let text = "//! file\n\n/// seal\nring a {\n  bore = 5 in\n} // end\n// about b\nring b {}\nlet x = 1 in\n  + 2 in\nrequire a.bore > x\n";
        assert_eq!(
            parts(text),
            vec![
                "//! file\n\n/// seal\nring a {\n  bore = 5 in\n} // end\n",
                "// about b\nring b {}\n",
                "let x = 1 in\n  + 2 in\n",
                "require a.bore > x\n",
            ]
        );
    }

    #[test]
    fn an_open_brace_does_not_swallow_the_next_item() {
        assert_eq!(
            parts("ring a {\n  bore = 5 in\n\nring b {\n}\nuse \"x\" as y\n").len(),
            3
        );
    }

    fn lines() -> impl Strategy<Value = String> {
        let line = prop_oneof![
            Just("ring a {"),
            Just("  bore = 5 in"),
            Just("}"),
            Just(""),
            Just("/// doc"),
            Just("// c"),
            Just("let x = 1"),
            Just("  + 2"),
            Just("use \"p\" as q"),
            Just("require a > b"),
            Just("  draft { lift = 2 ft }"),
            Just("site { altitude = 1 ft }"),
            Just("pump p like q {"),
            Just("junk"),
            Just("  hold a.b = 2"),
            Just("  curve (a) { 1 }"),
            Just("\"open"),
            Just("("),
            Just("ring b {} ring c {}"),
            Just("  ring d {"),
            Just("} }"),
            Just("    draft {"),
            Just("    }"),
            Just("  bore = 5 in }"),
            Just("ring e"),
            Just("gap = 5"),
            Just("a.b > 3"),
            Just("let"),
            Just("  -> c"),
            Just("ring f(hub, gap = 1 in) {"),
            Just("ring g like f(hub = 2 in) {"),
            Just("let f(x) = x"),
            Just("accept CW1203 because \"w\""),
            Just("  accept CW1203 because \"w\""),
            Just("require for every ring r: r.gap < 2"),
        ];
        prop::collection::vec(line, 0..24).prop_map(|v| v.join("\n"))
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 3000, failure_persistence: None, ..ProptestConfig::default() })]
        #[test]
        fn resplit_equals_split(old in lines(), insert in lines(), a in 0usize..400, b in 0usize..40) {
            let a = a.min(old.len());
            let b = (a + b).min(old.len());
            let mut new = old.clone();
            new.replace_range(a..b, &insert);
            let r = resplit(&split(&old), old.len(), &new, Span::new(a, b), Span::new(a, a + insert.len()));
            prop_assert_eq!(&r.chunks, &split(&new), "old {:?} new {:?}", old, new);
            let old_chunks = split(&old);
            for (o, n) in old_chunks.iter().zip(&r.chunks).take(r.kept_front) {
                prop_assert_eq!(o.span.slice(&old), n.span.slice(&new));
            }
            for k in 0..r.kept_back {
                let (o, n) = (old_chunks[old_chunks.len() - 1 - k], r.chunks[r.chunks.len() - 1 - k]);
                prop_assert_eq!(o.span.slice(&old), n.span.slice(&new));
            }
        }

        #[test]
        fn chunks_tile_the_text(text in lines()) {
            let mut at = 0;
            for c in split(&text) {
                prop_assert_eq!(c.span.start, at);
                at = c.span.end;
            }
            prop_assert_eq!(at as usize, text.len());
        }
    }
}
