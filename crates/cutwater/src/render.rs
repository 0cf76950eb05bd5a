//! Findings as text: with the lines they speak of, drawn by `ariadne`, or one line for each.
//!
//! Every finding is shown, whatever it is about: where `ariadne` cannot draw it well (an empty file, a line
//! that fills screens, line breaks that the two count differently) or fails, a plainer drawing takes its
//! place.

use ariadne::{Cache, Color, Config, IndexType, Label, Report, ReportKind};
use cutwater_finding::{Finding, Level};
use cutwater_report::outcome::{At, Outcome, Source};
use std::collections::HashMap;
use std::fmt::{self, Write};
use std::ops::Range;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

/// Longest line, in bytes, that is drawn as a whole.
const LONG_LINE: usize = 400;

/// Most lines between the places of one finding for which they are drawn together: the work grows with them.
const FAR_APART: u32 = 500;

/// How much of a longer line is shown on each side of the place, in characters.
const AROUND: usize = 40;

/// How text is drawn.
#[derive(Clone, Copy, Debug, Default)]
pub struct Style {
    /// With colour.
    pub color: bool,
}

impl Style {
    /// Bold, in a colour of the terminal's own (31 red, 33 yellow, 36 cyan), or as it is.
    pub fn bold(self, text: &str, color: u8) -> String {
        if self.color {
            format!("\u{1b}[1;{color}m{text}\u{1b}[0m")
        } else {
            text.to_owned()
        }
    }
}

fn level_color(level: Level) -> u8 {
    match level {
        Level::Error => 31,
        Level::Warning => 33,
        Level::Advice => 36,
    }
}

/// The findings to show, each with whether the baseline knows it.
fn shown(outcome: &Outcome, limit: usize) -> impl Iterator<Item = (&Finding<At>, bool)> {
    let most = if limit == 0 { usize::MAX } else { limit };
    outcome.listed().take(most)
}

/// What a level is called in a header.
fn level_text(f: &Finding<At>, known: bool) -> String {
    format!("{}{}", if known { "known " } else { "" }, f.level)
}

/// The findings, each with the lines it speaks of; at most `limit`, or all if that is 0.
pub fn findings(outcome: &Outcome, style: Style, limit: usize) -> String {
    let mut sources = Sources::default();
    let mut out = String::new();
    for (f, known) in shown(outcome, limit) {
        out.push_str(&finding(f, known, style, &mut sources));
        out.push('\n');
    }
    out
}

/// The findings, one line for each; at most `limit`, or all if that is 0.
pub fn concise(outcome: &Outcome, limit: usize) -> String {
    let mut out = String::new();
    for (f, known) in shown(outcome, limit) {
        let _ = writeln!(
            out,
            "{}: {}[{} {}] {}",
            place(&f.place),
            level_text(f, known),
            f.code.id,
            f.code.name,
            one_line(&f.message)
        );
    }
    out
}

/// The line that closes the output, and what else is to be said.
pub fn summary(outcome: &Outcome, limit: usize) -> String {
    let mut out = format!("{}\n", outcome.summary());
    let all = outcome.listed().count();
    if limit > 0 && all > limit {
        let _ = writeln!(
            out,
            "note: only the first {limit} of {all} findings are shown; `--limit 0` shows all"
        );
    }
    for n in outcome.all_notes() {
        let _ = writeln!(out, "note: {n}");
    }
    out
}

fn place(at: &At) -> String {
    let p = at.source.position(at.span.start as usize);
    format!("{}:{}:{}", at.source.path, p.line + 1, p.column + 1)
}

fn one_line(text: &str) -> String {
    text.split('\n')
        .map(str::trim)
        .collect::<Vec<_>>()
        .join(" ")
}

fn header(f: &Finding<At>, known: bool, style: Style) -> String {
    let head = format!("{}[{} {}]:", level_text(f, known), f.code.id, f.code.name);
    format!("{} {}", style.bold(&head, level_color(f.level)), f.message)
}

/// What goes below the lines: the source of a limit and the fix.
fn remarks(f: &Finding<At>) -> Vec<(&'static str, String)> {
    let mut out = Vec::new();
    if let Some(s) = &f.source {
        out.push(("source", s.clone()));
    }
    // Help that names what the fix writes says it already.
    let told = |text: &str| {
        f.help
            .as_ref()
            .is_some_and(|h| h.contains(&format!("`{}`", text.trim())))
    };
    if let Some(x) = &f.fix
        && !x.edits.iter().all(|e| told(&e.text))
        && f.help.as_ref() != Some(&x.title)
    {
        out.push(("fix", x.title.clone()));
    }
    out
}

fn finding(f: &Finding<At>, known: bool, style: Style, sources: &mut Sources) -> String {
    let drawn = if sources.drawable(f) {
        // A fault of the drawing must not lose the finding.
        catch_unwind(AssertUnwindSafe(|| draw(f, known, style, sources)))
            .ok()
            .flatten()
    } else {
        None
    };
    drawn.unwrap_or_else(|| plain(f, known, style))
}

/// Drawn by `ariadne`; `None` where it failed.
fn draw(f: &Finding<At>, known: bool, style: Style, sources: &mut Sources) -> Option<String> {
    let config = Config::new()
        .with_index_type(IndexType::Byte)
        .with_color(style.color);
    let primary = Mark::of(&f.place, sources);
    let mut labels = vec![(
        primary.clone(),
        f.here.as_str(),
        match f.level {
            Level::Error => Color::Red,
            Level::Warning => Color::Yellow,
            Level::Advice => Color::Cyan,
        },
        1,
    )];
    for l in &f.labels {
        labels.push((Mark::of(&l.place, sources), l.text.as_str(), Color::Blue, 0));
    }
    // Places of the finding's own file first, from top to bottom; then other files.
    labels.sort_by_key(|(m, ..)| (m.source != primary.source, m.source, m.span.start));
    let mut report = Report::build(ReportKind::Error, primary).with_config(config);
    for (order, (mark, text, color, priority)) in labels.into_iter().enumerate() {
        // A label without words is not drawn at all where its place is empty.
        let text = if text.is_empty() { "here" } else { text };
        report = report.with_label(
            Label::new(mark)
                .with_message(text)
                .with_color(color)
                .with_priority(priority)
                .with_order(i32::try_from(order).unwrap_or(i32::MAX)),
        );
    }
    if let Some(h) = &f.help {
        report = report.with_help(h);
    }
    let notes: Vec<String> = remarks(f)
        .into_iter()
        .map(|(what, text)| format!("{what}: {text}"))
        .collect();
    if !notes.is_empty() {
        report = report.with_note(notes.join("\n"));
    }
    let mut bytes = Vec::new();
    report.finish().write_for_stdout(sources, &mut bytes).ok()?;
    let text = String::from_utf8(bytes).ok()?;
    // The first line is ariadne's own header; ours names the code, the way settings and `explain` do.
    let (_, body) = text.split_once('\n')?;
    let mut out = header(f, known, style);
    out.push('\n');
    for line in body.lines() {
        out.push_str(line.trim_end());
        out.push('\n');
    }
    Some(out)
}

/// Drawn without help: the place, a piece of its line, and what belongs to it.
fn plain(f: &Finding<At>, known: bool, style: Style) -> String {
    let mut out = header(f, known, style);
    let _ = write!(out, "\n  --> {}", place(&f.place));
    if !f.here.is_empty() {
        let _ = write!(out, ": {}", f.here);
    }
    out.push('\n');
    if let Some((line, column, width)) = excerpt(&f.place) {
        let _ = writeln!(out, "      {line}");
        let _ = writeln!(
            out,
            "      {}{}",
            " ".repeat(column),
            style.bold(&"^".repeat(width), level_color(f.level))
        );
    }
    for l in &f.labels {
        let _ = writeln!(out, "   at {}: {}", place(&l.place), l.text);
    }
    let help = f.help.iter().map(|h| ("help", h.clone()));
    for (what, text) in help.chain(remarks(f)) {
        let _ = writeln!(out, "   {what}: {text}");
    }
    out
}

/// A piece of the line a place begins in, the place's column in it, and its width there, all in characters.
/// Looks at the neighbourhood of the place only: a line may be as long as a file.
fn excerpt(at: &At) -> Option<(String, usize, usize)> {
    let source = &at.source;
    let text: &str = &source.text;
    let line = source
        .lines()
        .line_span(text, source.lines().line_of(at.span.start as usize))?
        .range();
    let boundary = |k: u32| {
        let mut k = (k as usize).clamp(line.start, line.end);
        while !text.is_char_boundary(k) {
            k -= 1;
        }
        k
    };
    if line.is_empty() {
        return None;
    }
    let (start, end) = (boundary(at.span.start), boundary(at.span.end));
    let before: Vec<char> = text[line.start..start].chars().rev().take(AROUND).collect();
    let after: Vec<char> = text[start..line.end].chars().take(AROUND).collect();
    let whole_before = before.iter().map(|c| c.len_utf8()).sum::<usize>() == start - line.start;
    let whole_after = after.iter().map(|c| c.len_utf8()).sum::<usize>() == line.end - start;
    let width = text[start..end.max(start)]
        .chars()
        .take(after.len())
        .count();
    // Blanks stand for tabs and other characters without a width of one, so that the mark stays below its place.
    let calm = |c: &char| if c.is_control() { ' ' } else { *c };
    let mut piece = String::new();
    if !whole_before {
        piece.push('…');
    }
    piece.extend(before.iter().rev().map(calm));
    let column = piece.chars().count();
    piece.extend(after.iter().map(calm));
    if !whole_after {
        piece.push('…');
    }
    Some((piece, column, width.max(1)))
}

/// The texts that findings speak of, as `ariadne` keeps them.
#[derive(Default)]
struct Sources {
    by_address: HashMap<usize, usize>,
    list: Vec<Entry>,
}

struct Entry {
    source: Arc<Source>,
    /// Whether its line breaks are those ariadne counts, and it has any text.
    plain_lines: bool,
    drawn: Option<ariadne::Source<Arc<str>>>,
}

impl Sources {
    fn index(&mut self, source: &Arc<Source>) -> usize {
        let address = Arc::as_ptr(source) as usize;
        if let Some(ix) = self.by_address.get(&address) {
            return *ix;
        }
        let odd = ['\u{b}', '\u{c}', '\u{85}', '\u{2028}', '\u{2029}'];
        self.list.push(Entry {
            source: source.clone(),
            plain_lines: !source.text.is_empty() && !source.text.contains(odd),
            drawn: None,
        });
        self.by_address.insert(address, self.list.len() - 1);
        self.list.len() - 1
    }

    fn drawable(&mut self, f: &Finding<At>) -> bool {
        let mut lines: HashMap<usize, (u32, u32)> = HashMap::new();
        for at in std::iter::once(&f.place).chain(f.labels.iter().map(|l| &l.place)) {
            let ix = self.index(&at.source);
            if !self.list[ix].plain_lines || !fits(at) {
                return false;
            }
            let first = at.source.lines().line_of(at.span.start as usize);
            let last = at.source.lines().line_of(at.span.end as usize);
            let seen = lines.entry(ix).or_insert((first, last));
            *seen = (seen.0.min(first), seen.1.max(last));
        }
        lines.values().all(|(a, b)| b - a <= FAR_APART)
    }
}

/// Whether the lines a place begins and ends in are of a length a screen can show.
fn fits(at: &At) -> bool {
    let source = &at.source;
    [at.span.start, at.span.end].into_iter().all(|offset| {
        let line = source.lines().line_of(offset as usize);
        source
            .lines()
            .line_span(&source.text, line)
            .is_some_and(|s| s.len() <= LONG_LINE)
    })
}

impl Cache<usize> for &mut Sources {
    type Storage = Arc<str>;

    fn fetch(&mut self, id: &usize) -> Result<&ariadne::Source<Arc<str>>, impl fmt::Debug> {
        match self.list.get_mut(*id) {
            Some(e) => Ok(e
                .drawn
                .get_or_insert_with(|| ariadne::Source::from(e.source.text.clone()))),
            None => Err("no such text"),
        }
    }

    fn display<'a>(&self, id: &'a usize) -> Option<impl fmt::Display + 'a> {
        self.list.get(*id).map(|e| e.source.path.clone())
    }
}

/// A place as `ariadne` takes it.
#[derive(Clone)]
struct Mark {
    source: usize,
    span: Range<usize>,
}

impl Mark {
    /// Put onto whole characters inside the text, without the line break it may end with: what `ariadne`
    /// would otherwise slice in two.
    fn of(at: &At, sources: &mut Sources) -> Self {
        let source = sources.index(&at.source);
        let text: &str = &at.source.text;
        let boundary = |mut k: usize| {
            k = k.min(text.len());
            while !text.is_char_boundary(k) {
                k -= 1;
            }
            k
        };
        let mut start = boundary(at.span.start as usize);
        let mut end = boundary(at.span.end as usize).max(start);
        while end > start && text[..end].ends_with(['\n', '\r']) {
            end -= 1;
        }
        while start == end
            && start > 0
            && start == text.len()
            && text[..start].ends_with(['\n', '\r'])
        {
            start -= 1;
            end -= 1;
        }
        Self {
            source,
            span: start..end,
        }
    }
}

impl ariadne::Span for Mark {
    type SourceId = usize;

    fn source(&self) -> &usize {
        &self.source
    }

    fn start(&self) -> usize {
        self.span.start
    }

    fn end(&self) -> usize {
        self.span.end
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use cutwater_compiler::Settings;
    use cutwater_compiler::codes::{BRACKET, UNKNOWN_UNIT};
    use cutwater_report::outcome::of_texts;
    use cutwater_text::Span;

    const NO_COLOR: Style = Style { color: false };

    fn at(source: &Arc<Source>, start: usize, end: usize) -> At {
        At {
            source: source.clone(),
            span: Span::new(start, end),
        }
    }

    fn one(f: &Finding<At>) -> String {
        finding(f, false, NO_COLOR, &mut Sources::default())
    }

    #[test]
    fn a_mark_stands_below_its_place_after_wide_bytes() {
        let out = of_texts(
            Settings::default(),
            &[("a.pump", "/// Ø 5 µm\nlet gap = 3 inn // µµ\n")],
            false,
        );
        let text = findings(&out, NO_COLOR, 0);
        assert!(text.starts_with("error[CW0301 unknown-unit]: "), "{text}");
        assert!(text.contains("a.pump:2:13"), "{text}");
        let lines: Vec<&str> = text.lines().collect();
        let at = lines.iter().position(|l| l.contains("let gap")).unwrap();
        let column = |l: &str, s: &str| l.find(s).map(|b| l[..b].chars().count());
        assert_eq!(
            column(lines[at], "inn"),
            column(lines[at + 1], "─").or(column(lines[at + 1], "┬")),
            "{text}"
        );
    }

    #[test]
    fn places_in_two_files_are_both_drawn() {
        let a = Arc::new(Source::new("a.pump", "let x = 3 inn\n"));
        let b = Arc::new(Source::new("b.pump", "let y = 4 in\n"));
        let f = Finding::new(&UNKNOWN_UNIT, at(&a, 10, 13), "no unit")
            .here("here")
            .label(at(&b, 8, 12), "there")
            .help("write `in`")
            .source("a standard");
        let text = one(&f);
        for part in [
            "a.pump:1:11",
            "b.pump:1:9",
            "here",
            "there",
            "Help: write `in`",
            "source: a standard",
        ] {
            assert!(text.contains(part), "{part}: {text}");
        }
        assert!(!text.contains('\u{1b}'), "{text}");
        let coloured = finding(&f, false, Style { color: true }, &mut Sources::default());
        assert!(coloured.contains("\u{1b}[1;31m"), "{coloured}");
    }

    #[test]
    fn every_place_can_be_drawn() {
        let texts = [
            "",
            "\n",
            "a",
            "µ",
            "a\r\nb\r\n",
            "x\n\n",
            "tab\there\n",
            "a\u{2028}b",
            "𝄞\u{301}\n",
        ];
        for t in texts {
            let s = Arc::new(Source::new("t.pump", t));
            for start in 0..=t.len() + 2 {
                for end in start..=t.len() + 2 {
                    let f = Finding::new(&BRACKET, at(&s, start, end), "it is wrong")
                        .here("here")
                        .label(at(&s, 0, t.len()), "all of it")
                        .help("mend it");
                    let text = one(&f);
                    assert!(
                        text.contains("it is wrong") && text.contains("mend it"),
                        "{text}"
                    );
                    assert!(text.contains("t.pump:"), "{t:?} {start}..{end}: {text}");
                }
            }
        }
    }

    #[test]
    fn a_line_that_fills_screens_is_shown_in_part() {
        let s = Arc::new(Source::new("t.pump", "[".repeat(100_000)));
        let f = Finding::new(&BRACKET, at(&s, 50_000, 50_001), "too many").here("this one");
        let text = one(&f);
        assert!(text.len() < 500, "{}", text.len());
        assert!(text.contains("t.pump:1:50001: this one"), "{text}");
        assert!(text.contains('^') && text.contains('…'), "{text}");
    }

    #[test]
    fn one_line_for_each_finding() {
        let out = of_texts(
            Settings::default(),
            &[("a.pump", "let x = 3 inn\nlet y = zz\n")],
            false,
        );
        let text = concise(&out, 0);
        assert_eq!(text.lines().count(), 2, "{text}");
        assert!(
            text.starts_with("a.pump:1:11: error[CW0301 unknown-unit] "),
            "{text}"
        );
        assert_eq!(concise(&out, 1).lines().count(), 1);
        assert!(
            summary(&out, 1).contains("only the first 1 of 2"),
            "{}",
            summary(&out, 1)
        );
    }
}
