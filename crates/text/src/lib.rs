//! Byte spans, the line index and position encodings.
//!
//! Inside the tool every place is a byte offset into UTF-8 text. Lines and columns exist only at the
//! edges: a terminal counts characters, an editor counts UTF-16 units (or bytes, or scalar values).
//! [`LineIndex`] does both conversions and never trusts what it is given: every position is clamped
//! to the text and to a character boundary.
//!
//! Lines end at `\n`, `\r\n` or a lone `\r`, as the Language Server Protocol counts them.

use std::fmt;
use std::ops::Range;

/// A half-open range of bytes in a text, `start <= end`.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default)]
pub struct Span {
    /// First byte.
    pub start: u32,
    /// One past the last byte.
    pub end: u32,
}

impl Span {
    /// A span from byte offsets; an inverted range is taken as empty at `start`.
    pub fn new(start: usize, end: usize) -> Self {
        let start = clamp_u32(start);
        Self {
            start,
            end: clamp_u32(end).max(start),
        }
    }

    /// An empty span at one offset.
    pub fn at(offset: usize) -> Self {
        Self::new(offset, offset)
    }

    /// Length in bytes.
    pub fn len(self) -> usize {
        (self.end - self.start) as usize
    }

    /// Whether the span covers no bytes.
    pub fn is_empty(self) -> bool {
        self.start == self.end
    }

    /// The same span as a `usize` range, for slicing.
    pub fn range(self) -> Range<usize> {
        self.start as usize..self.end as usize
    }

    /// The part of `text` covered; empty when the span does not fit the text.
    pub fn slice(self, text: &str) -> &str {
        text.get(self.range()).unwrap_or("")
    }

    /// The smallest span that covers both.
    pub fn join(self, other: Self) -> Self {
        Self {
            start: self.start.min(other.start),
            end: self.end.max(other.end),
        }
    }

    /// The span moved later by `by` bytes.
    pub fn shift(self, by: u32) -> Self {
        Self {
            start: self.start.saturating_add(by),
            end: self.end.saturating_add(by),
        }
    }

    /// Whether `offset` lies inside, or touches either end (what an editor cursor means).
    pub fn touches(self, offset: usize) -> bool {
        self.start as usize <= offset && offset <= self.end as usize
    }

    /// Whether `other` lies wholly inside.
    pub fn covers(self, other: Self) -> bool {
        self.start <= other.start && other.end <= self.end
    }
}

fn clamp_u32(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

impl fmt::Debug for Span {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}..{}", self.start, self.end)
    }
}

impl From<Range<usize>> for Span {
    fn from(r: Range<usize>) -> Self {
        Self::new(r.start, r.end)
    }
}

/// How columns are counted in a [`Position`].
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Encoding {
    /// Bytes of UTF-8.
    Utf8,
    /// Units of UTF-16, the Language Server Protocol's default.
    #[default]
    Utf16,
    /// Unicode scalar values; what a person counts in a terminal.
    Utf32,
}

/// A zero-based line and column; the unit of `column` is given by an [`Encoding`].
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug, Default)]
pub struct Position {
    /// Zero-based line.
    pub line: u32,
    /// Zero-based column in the units of the encoding in use.
    pub column: u32,
}

/// The line starts of one text, for conversion between offsets and positions.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LineIndex {
    starts: Vec<u32>,
    ascii: bool,
}

impl LineIndex {
    /// Indexes `text` (at most 4 GiB; later bytes are not addressable).
    pub fn new(text: &str) -> Self {
        let bytes = text.as_bytes();
        let mut starts = vec![0];
        let mut i = 0;
        while i < bytes.len() {
            match bytes[i] {
                b'\n' => starts.push(clamp_u32(i + 1)),
                b'\r' if bytes.get(i + 1) != Some(&b'\n') => starts.push(clamp_u32(i + 1)),
                _ => {}
            }
            i += 1;
        }
        Self {
            starts,
            ascii: text.is_ascii(),
        }
    }

    /// Number of lines; a text that ends in a line break has an empty last line.
    pub fn lines(&self) -> usize {
        self.starts.len()
    }

    /// Zero-based line that holds `offset` (clamped).
    pub fn line_of(&self, offset: usize) -> u32 {
        let offset = clamp_u32(offset);
        clamp_u32(self.starts.partition_point(|s| *s <= offset).max(1) - 1)
    }

    /// The bytes of a line without its line break; `None` past the last line.
    pub fn line_span(&self, text: &str, line: u32) -> Option<Span> {
        let start = *self.starts.get(line as usize)? as usize;
        let next = self
            .starts
            .get(line as usize + 1)
            .map_or(text.len(), |s| *s as usize);
        let body = text.get(start..next)?;
        let trimmed = body
            .strip_suffix("\r\n")
            .or_else(|| body.strip_suffix(['\n', '\r']))
            .unwrap_or(body);
        Some(Span::new(start, start + trimmed.len()))
    }

    /// Offset to position. An offset past the end, inside a character, or between the two bytes of a line end is
    /// moved back to a boundary.
    pub fn position(&self, text: &str, offset: usize, encoding: Encoding) -> Position {
        let mut offset = offset.min(text.len());
        while !text.is_char_boundary(offset) {
            offset -= 1;
        }
        let line = self.line_of(offset);
        let start = self.starts[line as usize] as usize;
        if text.as_bytes()[start..offset].last() == Some(&b'\r') {
            offset -= 1;
        }
        let before = text.get(start..offset).unwrap_or("");
        let column = if self.ascii {
            before.len()
        } else {
            match encoding {
                Encoding::Utf8 => before.len(),
                Encoding::Utf16 => before.chars().map(char::len_utf16).sum(),
                Encoding::Utf32 => before.chars().count(),
            }
        };
        Position {
            line,
            column: clamp_u32(column),
        }
    }

    /// Position to offset. A line past the end gives the end of the text; a column past the end of its
    /// line gives the end of the line; a column inside a character gives that character's start.
    pub fn offset(&self, text: &str, position: Position, encoding: Encoding) -> usize {
        let Some(span) = self.line_span(text, position.line) else {
            return text.len();
        };
        let line = span.slice(text);
        let want = position.column as usize;
        if self.ascii {
            return span.start as usize + want.min(line.len());
        }
        let mut units = 0;
        for (at, ch) in line.char_indices() {
            let width = match encoding {
                Encoding::Utf8 => ch.len_utf8(),
                Encoding::Utf16 => ch.len_utf16(),
                Encoding::Utf32 => 1,
            };
            if units + width > want {
                return span.start as usize + at;
            }
            units += width;
        }
        span.end as usize
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ENCODINGS: [Encoding; 3] = [Encoding::Utf8, Encoding::Utf16, Encoding::Utf32];

    #[test]
    fn spans_join_shift_and_slice() {
        let (a, b) = (Span::new(2, 4), Span::new(6, 9));
        assert_eq!(a.join(b), Span::new(2, 9));
        assert_eq!(b.join(a), Span::new(2, 9));
        assert_eq!(a.shift(3), Span::new(5, 7));
        assert_eq!(
            Span::new(1, 2).shift(u32::MAX),
            Span::new(u32::MAX as usize, u32::MAX as usize)
        );
        assert!(a.join(b).covers(a) && !a.covers(b) && a.covers(a));
        assert!(a.touches(2) && a.touches(4) && !a.touches(5));
        assert_eq!(
            (a.len(), a.is_empty(), Span::at(7).is_empty()),
            (2, false, true)
        );
        assert_eq!(Span::new(5, 3), Span::at(5));
        assert_eq!(Span::new(usize::MAX, usize::MAX).start, u32::MAX);
    }

    #[test]
    fn a_span_off_the_text_or_inside_a_character_is_empty() {
        assert_eq!(Span::new(1, 3).slice("abcd"), "bc");
        assert_eq!(Span::new(1, 9).slice("abcd"), "");
        assert_eq!(Span::new(0, 1).slice("µ"), "");
    }

    #[test]
    fn lines_end_as_the_protocol_counts_them() {
        let text = "a\nb\r\nc\rd\u{2028}e\n";
        let index = LineIndex::new(text);
        let lines: Vec<&str> = (0..index.lines() as u32)
            .filter_map(|l| index.line_span(text, l))
            .map(|s| s.slice(text))
            .collect();
        assert_eq!(lines, ["a", "b", "c", "d\u{2028}e", ""]);
        assert_eq!(index.line_span(text, 5), None);
        assert_eq!(LineIndex::new("").lines(), 1);
        assert_eq!(
            (index.line_of(0), index.line_of(2), index.line_of(999)),
            (0, 1, 4)
        );
    }

    #[test]
    fn between_the_bytes_of_a_line_end_is_the_line_s_end() {
        let text = "ab\r\ncd";
        let index = LineIndex::new(text);
        for encoding in ENCODINGS {
            let p = index.position(text, 3, encoding);
            assert_eq!(p, Position { line: 0, column: 2 });
            assert_eq!(index.offset(text, p, encoding), 2);
        }
    }

    fn texts() -> impl Strategy<Value = String> {
        prop::collection::vec(
            prop_oneof![
                Just("a"),
                Just("é"),
                Just("€"),
                Just("𝄞"),
                Just("\n"),
                Just("\r"),
                Just("\r\n"),
                Just("\t"),
            ],
            0..40,
        )
        .prop_map(|v| v.concat())
    }

    proptest! {
        #[test]
        fn every_offset_goes_to_a_position_and_back(text in texts(), any in 0usize..200) {
            let index = LineIndex::new(&text);
            for encoding in ENCODINGS {
                let mut before = Position::default();
                for (at, _) in text.char_indices() {
                    let p = index.position(&text, at, encoding);
                    prop_assert!(p >= before);
                    before = p;
                    let inside_line_end = text[..at].ends_with('\r') && text[at..].starts_with('\n');
                    let back = index.offset(&text, p, encoding);
                    prop_assert_eq!(back, at - usize::from(inside_line_end));
                }
                // Wherever it points, the answer is a boundary in the text that gives the same position again.
                let p = index.position(&text, any, encoding);
                let at = index.offset(&text, p, encoding);
                prop_assert!(text.is_char_boundary(at));
                prop_assert_eq!(index.position(&text, at, encoding), p);
            }
        }

        #[test]
        fn every_position_is_clamped_to_a_boundary(text in texts(), line in 0u32..60, column in 0u32..60) {
            let index = LineIndex::new(&text);
            for encoding in ENCODINGS {
                let asked = Position { line, column };
                let at = index.offset(&text, asked, encoding);
                prop_assert!(text.is_char_boundary(at));
                let p = index.position(&text, at, encoding);
                prop_assert!(p <= asked);
                if (line as usize) < index.lines() {
                    prop_assert_eq!(p.line, line);
                }
            }
        }

        #[test]
        fn lines_tile_the_text(text in texts()) {
            let index = LineIndex::new(&text);
            let whole: String = (0..index.lines() as u32)
                .filter_map(|l| index.line_span(&text, l))
                .map(|s| s.slice(&text))
                .collect();
            prop_assert_eq!(whole, text.replace(['\r', '\n'], ""));
        }
    }

    #[test]
    fn positions_round_trip_in_every_encoding() {
        let text = "a = 5 µm\r\n𝄞 x\rend\n";
        let index = LineIndex::new(text);
        assert_eq!(index.lines(), 4);
        for encoding in [Encoding::Utf8, Encoding::Utf16, Encoding::Utf32] {
            for (at, _) in text
                .char_indices()
                .filter(|(_, c)| *c != '\n' && *c != '\r')
            {
                let p = index.position(text, at, encoding);
                assert_eq!(index.offset(text, p, encoding), at, "{encoding:?} {at}");
            }
        }
        let clef_end = text.find(" x").unwrap();
        assert_eq!(index.position(text, clef_end, Encoding::Utf16).column, 2);
        assert_eq!(index.position(text, clef_end, Encoding::Utf32).column, 1);
        assert_eq!(index.position(text, clef_end, Encoding::Utf8).column, 4);
    }

    #[test]
    fn positions_outside_the_text_are_clamped() {
        let text = "ab\n𝄞";
        let index = LineIndex::new(text);
        let far = Position {
            line: 99,
            column: 4,
        };
        assert_eq!(index.offset(text, far, Encoding::Utf16), text.len());
        let past = Position { line: 0, column: 9 };
        assert_eq!(index.offset(text, past, Encoding::Utf16), 2);
        let inside = Position { line: 1, column: 1 };
        assert_eq!(index.offset(text, inside, Encoding::Utf16), 3);
        assert_eq!(index.position(text, 5, Encoding::Utf16).column, 0);
        assert_eq!(index.position(text, 500, Encoding::Utf8).line, 1);
    }
}
