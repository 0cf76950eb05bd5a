//! The layout of a part: what is asked for is laid out, all else is left, and nothing is lost.

mod common;
#[path = "common/writer.rs"]
mod writer;

use common::{EVERY_CONSTRUCT, cases, meanings, parse_file, said, shipped};
use cutwater_syntax::token::{Raw, T, lex};
use cutwater_syntax::{TextEdit, format, format_range};
use cutwater_text::Span;
use proptest::prelude::*;
use writer::{good_files, harmed_files, pieces};

fn apply(text: &str, edits: &[TextEdit]) -> String {
    let mut out = String::new();
    let mut at = 0;
    for e in edits {
        assert!(e.span.range().start >= at, "edits overlap: {edits:?}");
        out.push_str(&text[at..e.span.range().start]);
        out.push_str(&e.text);
        at = e.span.range().end;
    }
    out.push_str(&text[at..]);
    out
}

/// Lays out what stands between `«` and `»`.
fn lay(marked: &str) -> String {
    let start = marked.find('«').expect("a mark where the range begins");
    let end = marked.find('»').expect("a mark where the range ends") - '«'.len_utf8();
    let text = marked.replace(['«', '»'], "");
    apply(&text, &format_range(&text, Span::new(start, end)))
}

#[track_caller]
fn becomes(marked: &str, wanted: &str) {
    assert_eq!(lay(marked), wanted, "from {marked}");
    check(&marked.replace(['«', '»'], ""), 0, usize::MAX);
}

/// Tokens and comments, comments without the blanks behind them.
fn kept(text: &str) -> Vec<Raw> {
    let mut out = lex(text);
    out.retain(|r| !matches!(r.kind, T::Newline | T::Semicolon));
    for r in &mut out {
        let len = r.span.slice(text).trim_end().len();
        r.span = Span::new(r.span.range().start, r.span.range().start + len);
    }
    out
}

/// The line a token stands on, without its line end.
fn line_of(text: &str, at: u32) -> Span {
    let at = at as usize;
    let start = text[..at].rfind(['\n', '\r']).map_or(0, |n| n + 1);
    let end = text[at..].find(['\n', '\r']).map_or(text.len(), |n| at + n);
    Span::new(start, end)
}

/// Checks all that holds for any range of any text.
fn check(text: &str, from: usize, to: usize) {
    let laid = format(text);
    let span = Span::new(from.min(text.len()), to.min(text.len()));
    let edits = format_range(text, span);
    let done = apply(text, &edits);
    for e in &edits {
        assert_ne!(e.span.slice(text), e.text, "an edit that changes nothing");
        for at in [e.span.start as usize, e.span.end as usize] {
            assert!(
                !(text[..at].ends_with('\r') && text[at..].starts_with('\n')),
                "a line end is cut in {text:?}: {e:?}"
            );
        }
    }
    for pair in edits.windows(2) {
        assert!(pair[0].span.end < pair[1].span.start, "{edits:?}");
    }
    if span == Span::new(0, text.len()) {
        assert_eq!(done, laid, "the whole");
    }
    assert_eq!(said(&done), said(text), "something was lost in {text:?}");
    assert_eq!(format(&done), laid, "the rest is another from {text:?}");

    // The lines asked for are those of the layout.
    let (old, part, new) = (kept(text), kept(&done), kept(&laid));
    let touched: Vec<usize> = (0..old.len())
        .filter(|k| {
            let line = line_of(text, old[*k].span.start);
            line.end >= span.start && line.start < span.end
                || span.is_empty() && line.touches(span.range().start)
        })
        .collect();
    for &k in &touched {
        let is = line_of(&done, part[k].span.start);
        let wanted = line_of(&laid, new[k].span.start);
        assert_eq!(
            is.slice(&done),
            wanted.slice(&laid),
            "{span:?} of {text:?} gave {done:?}"
        );
    }

    // The second time there is nothing left to do.
    if let (Some(first), Some(last)) = (touched.first(), touched.last()) {
        let again = part[*first].span.join(part[*last].span);
        assert_eq!(
            format_range(&done, again),
            vec![],
            "not the same the second time: {span:?} of {text:?} gave {done:?}"
        );
    } else {
        let gap = old.partition_point(|t| t.span.end <= span.start);
        let lines = |text, toks: &[Raw]| {
            let gap: &str = before(text, toks, gap);
            gap.replace("\r\n", "\n").matches(['\n', '\r']).count()
        };
        assert_eq!(
            lines(&done, &part),
            lines(&laid, &new),
            "{span:?} of {text:?} gave {done:?}"
        );
    }
}

/// What stands before a token.
fn before<'t>(text: &'t str, toks: &[Raw], k: usize) -> &'t str {
    let start = k.checked_sub(1).map_or(0, |b| toks[b].span.range().end);
    let end = toks.get(k).map_or(text.len(), |t| t.span.range().start);
    &text[start..end]
}

fn check_good(text: &str, from: usize, to: usize) {
    let span = Span::new(from.min(text.len()), to.min(text.len()));
    let done = apply(text, &format_range(text, span));
    assert_eq!(meanings(&done), meanings(text), "{text:?} became {done:?}");
    for (source, parsed) in parse_file(&done) {
        assert_eq!(parsed.errors, vec![], "{source:?} in {done:?}");
    }
    check(text, from, to);
}

#[test]
fn a_line_is_laid_out_and_its_neighbours_are_not() {
    becomes(
        "let a=1 in\n«let b=2 in»\nlet c=3 in\n",
        "let a=1 in\nlet b = 2 in\nlet c=3 in\n",
    );
    // An empty range is the line it stands on; a range that ends where a line begins does not touch that.
    becomes(
        "let a=1 in\nlet b«»=2 in\nlet c=3 in\n",
        "let a=1 in\nlet b = 2 in\nlet c=3 in\n",
    );
    becomes(
        "let a=1 in\n«let b=2 in\n»let c=3 in\n",
        "let a=1 in\nlet b = 2 in\nlet c=3 in\n",
    );
    becomes(
        "let a=1 in\nlet b=«2 in\nl»et c=3 in\n",
        "let a=1 in\nlet b = 2 in\nlet c = 3 in\n",
    );
}

#[test]
fn a_head_is_laid_out_without_its_block() {
    becomes(
        "«pump   main{ »\n  form=plain\n\n  x=1 in\n}\n",
        "pump main {\n  form=plain\n\n  x=1 in\n}\n",
    );
}

#[test]
fn fields_with_a_common_column_are_taken_together() {
    becomes(
        "ring a {\n  bore=5 in\n  «land_length=1 in»\n\n  form=plain\n}\n",
        "ring a {\n    bore        = 5 in\n    land_length = 1 in\n\n  form=plain\n}\n",
    );
}

#[test]
fn comments_with_a_common_column_are_taken_together() {
    becomes(
        "pump p {\nform=x // one\n«hold a.b=2 in // two»\nhold c.d=3 in\n}\n",
        "pump p {\n    form = x         // one\n    hold a.b = 2 in  // two\nhold c.d=3 in\n}\n",
    );
}

#[test]
fn a_table_is_taken_whole() {
    becomes(
        "pump p {\n  form=plain\n\n  curve(flow gpm,net psi){\n  0 231\n  // half\n  «1250 5»\n\n  1300 4\n  }\n\n  x=1 in\n}\n",
        "pump p {\n  form=plain\n\n    curve (flow gpm, net psi) {\n        0  231\n        // half\n        1250  5\n\n        1300  4\n    }\n\n  x=1 in\n}\n",
    );
}

#[test]
fn an_entry_on_several_lines_is_taken_whole() {
    becomes(
        "ring a {\n  bore =\n       «5 in»\n           + 1 in\n\n  form=plain\n}\n",
        "ring a {\n    bore = 5 in + 1 in\n\n  form=plain\n}\n",
    );
    becomes(
        "let a=\n\n«\n»\n  5 in\nlet b=1 in\n",
        "let a = 5 in\nlet b=1 in\n",
    );
    let reason = "w".repeat(90);
    becomes(
        &format!("let a=1 in\nrequire a>=5 psi be«»cause   \"{reason}\"\nlet b=1 in\n"),
        &format!("let a=1 in\nrequire a >= 5 psi\n    because \"{reason}\"\nlet b=1 in\n"),
    );
    becomes(
        "let a = // odd\n          5 in «+» 6 in\nlet b=1 in\n",
        "let a =  // odd\n    5 in + 6 in\nlet b=1 in\n",
    );
}

#[test]
fn a_block_on_one_line_opens_where_it_must() {
    becomes(
        "let a=1 in\nring «»r{bore=1 in;form=plain}\nlet b=1 in\n",
        "let a=1 in\nring r {\n    bore = 1 in\n    form = plain\n}\nlet b=1 in\n",
    );
    becomes(
        "let a=1 in\nring «»r{bore=1 in}\nlet b=1 in\n",
        "let a=1 in\nring r { bore = 1 in }\nlet b=1 in\n",
    );
}

#[test]
fn blank_lines_alone_are_laid_out_alone() {
    becomes(
        "let a=1 in\n\n«\n»\n\nlet b=2 in\n",
        "let a=1 in\n\nlet b=2 in\n",
    );
    becomes("let a=1 in \n«\n\n»\n", "let a=1 in \n");
    becomes("«\n\n»\n let a=1 in\n", " let a=1 in\n");
    becomes(
        "ring a {\n  x=1 in \n«\n»\n\n  y=1 in\n\n}\n",
        "ring a {\n  x=1 in \n\n  y=1 in\n\n}\n",
    );
    becomes("«\n\n»\n", "");
}

#[test]
fn signs_are_spelled_one_way() {
    becomes(
        "let a = 5 in +- 1\n«let b = 5 in+/-1 − 2 in·3»\n",
        "let a = 5 in +- 1\nlet b = 5 in ± 1 - 2 in * 3\n",
    );
}

#[test]
fn line_ends_are_those_of_the_first_line_where_asked_for() {
    becomes(
        "let a=1 in\r\nlet b=2 in\n«let c=3 in\nlet d=4 in»\nlet e=5 in\n",
        "let a=1 in\r\nlet b=2 in\r\nlet c = 3 in\r\nlet d = 4 in\r\nlet e=5 in\n",
    );
    becomes(
        "let a=1 in\r\n\r\n\r\n«let b=2 in»\r\n\r\n\r\nlet c=3 in\r\n",
        "let a=1 in\r\n\r\nlet b = 2 in\r\n\r\nlet c=3 in\r\n",
    );
    // With the first line's end that of all lines would change.
    becomes("«let a=1 in»\rlet b=2 in\r", "let a = 1 in\nlet b=2 in\r");
}

#[test]
fn wide_letters_count_as_they_show() {
    becomes(
        "let a=1 in\nring r {\n«note=\"配管\" // w»\nform=plain // µ\n}\n",
        "let a=1 in\nring r {\n    note = \"配管\"  // w\n    form = plain   // µ\n}\n",
    );
}

#[test]
fn what_cannot_be_read_is_left() {
    let broken = "let a=1 in\nring b {\n      bore  =\n  form=x\n}\nlet c=2 in\n";
    becomes(
        &broken
            .replace("      bore", "   «   bore")
            .replace("=x", "=x»"),
        broken,
    );
    // Its neighbours are laid out all the same.
    becomes(
        "«let a=1 in\nring b {\n      bore  =\n  form=x\n}\nlet c=2 in»\nlet d=2 in\n",
        "let a = 1 in\nring b {\n      bore  =\n  form=x\n}\nlet c = 2 in\nlet d=2 in\n",
    );
}

#[test]
fn more_is_taken_where_the_rest_would_be_read_otherwise() {
    // An acceptance further in than the `let` before it would belong to that.
    becomes(
        "   «let a=5»\n   accept CW0501 because \"x\"\n   let b=1\n",
        "let a = 5\naccept CW0501 because \"x\"\n   let b=1\n",
    );
}

#[test]
fn an_edit_is_no_longer_than_what_differs() {
    let text = "ring a {\n  bore  = 5 in\n}\n";
    let edits = format_range(text, Span::new(0, text.len()));
    assert_eq!(
        edits,
        vec![
            TextEdit {
                span: Span::at(11),
                text: "  ".to_owned()
            },
            TextEdit {
                span: Span::new(16, 17),
                text: String::new()
            }
        ]
    );
}

#[test]
fn a_line_end_is_put_in_whole() {
    // A `\n` put behind a `\r` that ends a line would be a line of its own to an editor.
    let text = "let a = 1 in\r\nlet b = 1 in\rlet c = 1 in\r\n";
    assert_eq!(
        format_range(text, Span::new(0, text.len())),
        vec![TextEdit {
            span: Span::new(26, 27),
            text: "\r\n".to_owned()
        }]
    );
}

#[test]
fn a_range_outside_the_text_is_taken_as_its_end() {
    let text = "let a=1 in\nlet µ=2 in";
    for (from, to) in [(99, 999), (text.len(), text.len()), (17, 16), (16, 16)] {
        assert_eq!(
            apply(text, &format_range(text, Span::new(from, to))),
            "let a=1 in\nlet µ = 2 in\n"
        );
    }
    assert_eq!(format_range("", Span::new(5, 9)), vec![]);
}

#[test]
fn each_line_of_the_file_with_every_construct_can_be_laid_out_alone() {
    let loose = EVERY_CONSTRUCT.replace("    ", "\t").replace(" = ", "=");
    let mut at = 0;
    for line in loose.split_inclusive('\n') {
        check_good(&loose, at, at + line.len());
        at += line.len();
    }
}

/// Of a shipped file whose blanks were spoiled, a line that is laid out takes with it no more than what stands
/// between two blank lines.
#[test]
fn what_is_laid_out_stays_local() {
    for (name, text) in shipped() {
        let loose = text.replace("    ", "  ").replace(" = ", "  =  ");
        let mut at = 0;
        for line in loose.split_inclusive('\n') {
            let span = Span::new(at, at + line.len());
            at += line.len();
            let from = loose[..span.range().start]
                .rfind("\n\n")
                .map_or(0, |n| n + 1);
            let to = loose[span.range().end - 1..]
                .find("\n\n")
                .map_or(loose.len(), |n| span.range().end + n + 1);
            for e in format_range(&loose, span) {
                assert!(
                    Span::new(from, to).covers(e.span),
                    "{e:?} for {line:?} of {name}"
                );
            }
        }
    }
}

/// All line ends of one sort.
fn with_line_ends(text: &str, end: &str) -> String {
    text.replace("\r\n", "\n")
        .replace('\r', "\n")
        .replace('\n', end)
}

/// A text with its line ends as they are or all of one sort, and a range in it, given by two parts of its length.
fn ranged(texts: impl Strategy<Value = String>) -> impl Strategy<Value = (String, usize, usize)> {
    let ends = prop::sample::select(vec!["", "\n", "\r\n"]);
    let at = any::<prop::sample::Index>;
    (texts, ends, at(), at(), 0..4u8).prop_map(|(text, end, a, b, how)| {
        let text = if end.is_empty() {
            text
        } else {
            with_line_ends(&text, end)
        };
        let (a, b) = (a.index(text.len() + 1), b.index(text.len() + 1));
        let (from, to) = match how {
            0 => (0, text.len()),
            1 => (a, a),
            2 => (a, (a + b % 40).min(text.len())),
            _ => (a.min(b), a.max(b)),
        };
        (text, from, to)
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(), max_shrink_iters: 4000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn parts_of_good_files_are_laid_out_without_loss((text, from, to) in ranged(good_files())) {
        check_good(&text, from, to);
    }

    #[test]
    fn parts_of_harmed_files_are_laid_out_without_loss((text, from, to) in ranged(harmed_files())) {
        check(&text, from, to);
    }

    #[test]
    fn parts_of_any_text_are_laid_out_without_loss(
        (text, from, to) in ranged(prop::collection::vec(pieces(), 0..40).prop_map(|p| p.concat()))
    ) {
        check(&text, from, to);
    }
}
