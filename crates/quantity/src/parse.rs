//! Reading of unit text: `psi`, `oz*in`, `ft/s`, `lb/ft³`, `1/°F`, `psi/100ft`.
//!
//! Purpose: turn the text after a number into a factor, an offset and a kind, and say exactly where and why it cannot.
//! Invariants: positions in errors are byte offsets into the text given, on character boundaries; nothing panics whatever
//! the text; a unit in the table wins over reading the same text as a product of parts.
//! Not here: where a unit begins and ends in a source file; that is the language's business.
//!
//! Grammar, after the signs are brought to one form by [`SIGNS`]:
//! ```text
//! unit   = factor { ("*" | "/") factor }          left to right, so a/b/c is a/(b*c)
//! factor = base [ "^" power ]
//! base   = name | number [ base ] | "(" unit ")"  100ft is a hundred feet
//! power  = [ "-" ] number | "(" [ "-" ] number [ "/" number ] ")"
//! ```
//! Inside a product a temperature or pressure reading counts as its difference: `1/degF` is per Fahrenheit degree.

use std::borrow::Cow;
use std::fmt;
use std::sync::Arc;

use crate::dimension::superscript;
use crate::kind::{Accept, Kind, Mismatch};
use crate::unit::{Gallon, System, Unit, unit, units};

/// How signs are brought to one ASCII form before anything is looked up. Superscripts become `^` and digits, which is
/// done beside this table because a run of them shares one `^`.
pub static SIGNS: &[(char, &str)] = &[
    ('\u{B5}', "u"),   // micro sign
    ('\u{3BC}', "u"),  // Greek mu, which keyboards give instead
    ('\u{B0}', "deg"), // degree sign
    ('\u{2103}', "degC"),
    ('\u{2109}', "degF"),
    ('\u{394}', "delta_"),  // Greek capital delta
    ('\u{2206}', "delta_"), // increment sign
    ('\u{B7}', "*"),        // middle dot
    ('\u{22C5}', "*"),      // dot operator
    ('\u{2219}', "*"),      // bullet operator
    ('\u{D7}', "*"),        // multiplication sign
    ('\u{2215}', "/"),      // division slash
    ('\u{2044}', "/"),      // fraction slash
    ('\u{2212}', "-"),      // minus sign
    ('\u{2082}', "2"),      // subscript two, as in H₂O
];

/// Superscript characters and what they stand for.
static SUPERSCRIPTS: &[(char, char)] = &[
    ('⁰', '0'),
    ('¹', '1'),
    ('²', '2'),
    ('³', '3'),
    ('⁴', '4'),
    ('⁵', '5'),
    ('⁶', '6'),
    ('⁷', '7'),
    ('⁸', '8'),
    ('⁹', '9'),
    ('⁻', '-'),
];

/// Longest unit text that is read, in bytes; longer is a mistake and is refused early.
const MAX_TEXT: usize = 200;
/// Deepest nesting of parentheses.
const MAX_DEPTH: usize = 16;

/// One character of normal form and the byte range of the text it came from.
struct Mark {
    ch: char,
    start: usize,
    end: usize,
}

fn marks(text: &str) -> Vec<Mark> {
    let mut out = Vec::with_capacity(text.len());
    let mut raised = false;
    for (start, ch) in text.char_indices() {
        let end = start + ch.len_utf8();
        let mut push = |ch| out.push(Mark { ch, start, end });
        if let Some((_, plain)) = SUPERSCRIPTS.iter().find(|(from, _)| *from == ch) {
            if !raised {
                push('^');
            }
            push(*plain);
            raised = true;
            continue;
        }
        raised = false;
        match SIGNS.iter().find(|(from, _)| *from == ch) {
            Some((_, to)) => to.chars().for_each(push),
            None => push(ch),
        }
    }
    out
}

/// The normal form of a unit's spelling: ASCII, `*` for a product, `^` for a power.
pub(crate) fn normalise(text: &str) -> String {
    marks(text).iter().map(|mark| mark.ch).collect()
}

/// Why a unit could not be read. Positions are byte offsets into the text given to [`parse_unit`].
#[derive(Clone, PartialEq, Debug)]
pub enum UnitError {
    /// A name that is not a unit.
    Unknown {
        /// The name as written.
        name: String,
        /// Where it starts, bytes.
        offset: usize,
        /// How long it is, bytes.
        len: usize,
        /// Spellings of units with a similar name, best first; may be empty.
        nearest: Vec<&'static str>,
    },
    /// The text is not built like a unit.
    Syntax {
        /// What was expected, one line.
        message: &'static str,
        /// Where, bytes.
        offset: usize,
        /// How much of the text it concerns, bytes.
        len: usize,
    },
    /// The parts do not combine to a physical unit.
    Combination {
        /// Why.
        reason: Mismatch,
        /// Where the part starts, bytes.
        offset: usize,
        /// How long it is, bytes.
        len: usize,
    },
}

impl UnitError {
    /// Byte range it concerns: offset and length.
    pub fn place(&self) -> (usize, usize) {
        match self {
            Self::Unknown { offset, len, .. }
            | Self::Syntax { offset, len, .. }
            | Self::Combination { offset, len, .. } => (*offset, *len),
        }
    }
}

impl fmt::Display for UnitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unknown { name, nearest, .. } => {
                write!(f, "`{name}` is not a unit")?;
                match nearest.split_first() {
                    None => Ok(()),
                    Some((first, rest)) => {
                        write!(f, "; did you mean `{first}`")?;
                        for other in rest {
                            write!(f, " or `{other}`")?;
                        }
                        f.write_str("?")
                    }
                }
            }
            Self::Syntax { message, .. } => f.write_str(message),
            Self::Combination { reason, .. } => write!(f, "this is not a physical unit: {reason}"),
        }
    }
}

impl std::error::Error for UnitError {}

/// A unit as written after a number: one from the table, or a product of several. Cheap to clone.
#[derive(Clone, PartialEq, Debug)]
pub struct CompoundUnit(Inner);

#[derive(Clone, PartialEq, Debug)]
enum Inner {
    Named(&'static Unit),
    Built(Arc<Built>),
}

#[derive(PartialEq, Debug)]
struct Built {
    symbol: String,
    ascii: String,
    factor: f64,
    kind: Kind,
    gallon: Option<Gallon>,
}

impl From<&'static Unit> for CompoundUnit {
    fn from(unit: &'static Unit) -> Self {
        Self(Inner::Named(unit))
    }
}

impl CompoundUnit {
    /// The table's unit, when the text is one.
    pub fn unit(&self) -> Option<&'static Unit> {
        match &self.0 {
            Inner::Named(unit) => Some(unit),
            Inner::Built(_) => None,
        }
    }

    /// The usual printed form: `lb/ft³`.
    pub fn symbol(&self) -> &str {
        match &self.0 {
            Inner::Named(unit) => unit.symbol,
            Inner::Built(built) => &built.symbol,
        }
    }

    /// The ASCII form: `lb/ft^3`.
    pub fn ascii(&self) -> &str {
        match &self.0 {
            Inner::Named(unit) => unit.ascii,
            Inner::Built(built) => &built.ascii,
        }
    }

    /// The kind of quantity a literal in this unit has.
    pub fn kind(&self) -> Kind {
        match &self.0 {
            Inner::Named(unit) => unit.kind,
            Inner::Built(built) => built.kind,
        }
    }

    /// SI value of one unit of difference.
    pub fn factor(&self) -> f64 {
        match &self.0 {
            Inner::Named(unit) => unit.factor,
            Inner::Built(built) => built.factor,
        }
    }

    /// SI value at zero of the unit; not 0 only for temperatures on a scale.
    pub fn offset(&self) -> f64 {
        self.unit().map_or(0.0, |unit| unit.offset)
    }

    /// Which gallon it is built on, if any; [`Gallon::Mixed`] when it holds both.
    pub fn gallon(&self) -> Option<Gallon> {
        match &self.0 {
            Inner::Named(unit) => unit.gallon,
            Inner::Built(built) => built.gallon,
        }
    }

    /// The system of units it belongs to; `None` for a product of several units.
    pub fn system(&self) -> Option<System> {
        self.unit().map(|unit| unit.system)
    }

    /// SI value of `value` in this unit.
    pub fn to_si(&self, value: f64) -> f64 {
        value * self.factor() + self.offset()
    }

    /// Value in this unit of an SI value.
    pub fn from_si(&self, si: f64) -> f64 {
        (si - self.offset()) / self.factor()
    }

    /// SI size of a step or tolerance of `value` in this unit (`± 2` after `62 degF` is a difference of 2 Fahrenheit degrees).
    pub fn step_to_si(&self, value: f64) -> f64 {
        value * self.factor()
    }

    /// Size in this unit of an SI step or tolerance.
    pub fn step_from_si(&self, si: f64) -> f64 {
        si / self.factor()
    }

    /// Whether a literal in this unit may stand where `expected` is wanted. A refusal carries the unit to write instead,
    /// where one is likely.
    pub fn accepted_by(&self, expected: Kind) -> Accept {
        match expected.accepts(self.kind()) {
            Accept::No(mut mismatch) => {
                mismatch.replacement = mismatch
                    .slip
                    .and_then(|slip| slip.replacement(expected, self.ascii()))
                    .filter(|offer| {
                        unit(offer).is_some_and(|unit| expected.accepts(unit.kind).is_yes())
                    });
                Accept::No(mismatch)
            }
            yes => yes,
        }
    }
}

impl fmt::Display for CompoundUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

/// Reads unit text.
///
/// # Errors
/// [`UnitError`] with the place in `text` and, for an unknown name, the nearest known ones.
///
/// ```
/// use cutwater_quantity::{Kind, parse_unit};
/// let density = parse_unit("lb/ft³").unwrap();
/// assert_eq!(density.kind(), Kind::Density);
/// assert!((density.to_si(62.4) - 999.552_114_536).abs() < 1e-6);
/// assert!(parse_unit("gpn").unwrap_err().to_string().contains("gpm"));
/// ```
pub fn parse_unit(text: &str) -> Result<CompoundUnit, UnitError> {
    if let Some(found) = unit(text) {
        return Ok(found.into());
    }
    if text.len() > MAX_TEXT {
        return Err(UnitError::Syntax {
            message: "this is too long for a unit",
            offset: 0,
            len: text.len(),
        });
    }
    let tokens = tokens(text)?;
    let joined: String = tokens.iter().map(|token| token.text.as_ref()).collect();
    let mut parser = Parser {
        tokens: &tokens,
        next: 0,
        end: text.len(),
        depth: 0,
    };
    let part = parser.unit()?;
    if let Some(extra) = parser.tokens.get(parser.next) {
        return Err(UnitError::Syntax {
            message: match extra.sort {
                Sort::Name | Sort::Number | Sort::Open => {
                    "put `*` or `/` between the parts of a unit"
                }
                _ => "this does not belong in a unit",
            },
            offset: extra.start,
            len: extra.end - extra.start,
        });
    }
    if !part.named {
        return Err(UnitError::Syntax {
            message: "expected a unit, found only a number",
            offset: 0,
            len: text.len(),
        });
    }
    // The same unit with spaces around its signs is still the table's unit. Parsing came first, so names that merely
    // stand side by side are not glued together.
    if let Some(found) = unit(&joined) {
        return Ok(found.into());
    }
    if let Some(only) = part.only {
        return Ok(only.into());
    }
    if !(part.factor.is_finite() && part.factor > 0.0) {
        return Err(UnitError::Syntax {
            message: "the numbers in this unit are too large or too small",
            offset: 0,
            len: text.len(),
        });
    }
    Ok(CompoundUnit(Inner::Built(Arc::new(Built {
        symbol: part.symbol,
        ascii: part.ascii,
        factor: part.factor,
        kind: part.kind,
        gallon: part.gallon,
    }))))
}

#[derive(Copy, Clone, PartialEq, Eq, Debug)]
enum Sort {
    Name,
    Number,
    Times,
    Over,
    Raise,
    Minus,
    Open,
    Close,
}

struct Token<'a> {
    sort: Sort,
    text: Cow<'a, str>,
    start: usize,
    end: usize,
}

fn tokens(text: &str) -> Result<Vec<Token<'static>>, UnitError> {
    let marks = marks(text);
    let mut out = Vec::new();
    let mut i = 0;
    while let Some(mark) = marks.get(i) {
        let first = i;
        i += 1;
        let sort = match mark.ch {
            c if c.is_whitespace() => continue,
            '*' => Sort::Times,
            '/' => Sort::Over,
            '^' => Sort::Raise,
            '-' => Sort::Minus,
            '(' => Sort::Open,
            ')' => Sort::Close,
            c if c.is_ascii_digit() || c == '.' => {
                while marks
                    .get(i)
                    .is_some_and(|m| m.ch.is_ascii_digit() || m.ch == '.')
                {
                    i += 1;
                }
                Sort::Number
            }
            c if c.is_alphabetic() || c == '%' || c == '_' => {
                while marks
                    .get(i)
                    .is_some_and(|m| m.ch.is_alphanumeric() || m.ch == '_')
                {
                    i += 1;
                }
                Sort::Name
            }
            _ => {
                return Err(UnitError::Syntax {
                    message: "this sign does not belong in a unit",
                    offset: mark.start,
                    len: mark.end - mark.start,
                });
            }
        };
        let end = marks.get(i - 1).map_or(mark.end, |last| last.end);
        out.push(Token {
            sort,
            text: Cow::Owned(marks[first..i].iter().map(|m| m.ch).collect()),
            start: mark.start,
            end,
        });
    }
    Ok(out)
}

/// A part of a unit while it is being read.
struct Part {
    symbol: String,
    ascii: String,
    factor: f64,
    kind: Kind,
    gallon: Option<Gallon>,
    /// True once a unit's name has been seen, not only numbers.
    named: bool,
    /// Set while the part is one unit from the table and nothing else.
    only: Option<&'static Unit>,
    /// Whether the symbol must be put in parentheses before a power or below a fraction line.
    loose: bool,
    start: usize,
    end: usize,
}

struct Parser<'a> {
    tokens: &'a [Token<'a>],
    next: usize,
    end: usize,
    depth: usize,
}

/// Kind inside a product: points count as their differences.
fn inside(kind: Kind) -> Kind {
    kind.step()
}

fn both(a: Option<Gallon>, b: Option<Gallon>) -> Option<Gallon> {
    match (a, b) {
        (None, other) | (other, None) => other,
        (Some(a), Some(b)) if a == b => Some(a),
        _ => Some(Gallon::Mixed),
    }
}

impl<'a> Parser<'a> {
    fn peek(&self) -> Option<Sort> {
        self.tokens.get(self.next).map(|token| token.sort)
    }

    fn take(&mut self, sort: Sort) -> Option<&'a Token<'a>> {
        let token = self.tokens.get(self.next)?;
        (token.sort == sort).then(|| {
            self.next += 1;
            token
        })
    }

    fn expected(&self, message: &'static str) -> UnitError {
        let (offset, len) = self.tokens.get(self.next).map_or((self.end, 0), |token| {
            (token.start, token.end - token.start)
        });
        UnitError::Syntax {
            message,
            offset,
            len,
        }
    }

    fn unit(&mut self) -> Result<Part, UnitError> {
        let mut left = self.factor()?;
        loop {
            let over = match self.peek() {
                Some(Sort::Times) => false,
                Some(Sort::Over) => true,
                _ => return Ok(left),
            };
            self.next += 1;
            let right = self.factor()?;
            let (a, b) = (inside(left.kind), inside(right.kind));
            let kind = if over { a.div(b) } else { a.mul(b) };
            let (start, end) = (left.start, right.end);
            let kind = kind.map_err(|reason| UnitError::Combination {
                reason,
                offset: start,
                len: end - start,
            })?;
            let wrap = |text: String, loose: bool| {
                if over && loose {
                    format!("({text})")
                } else {
                    text
                }
            };
            let symbol_right = wrap(right.symbol, right.loose);
            let ascii_right = wrap(right.ascii, right.loose);
            let (sign, ascii_sign) = if over { ('/', '/') } else { ('·', '*') };
            left = Part {
                symbol: format!("{}{sign}{symbol_right}", left.symbol),
                ascii: format!("{}{ascii_sign}{ascii_right}", left.ascii),
                factor: if over {
                    left.factor / right.factor
                } else {
                    left.factor * right.factor
                },
                kind,
                gallon: both(left.gallon, right.gallon),
                named: left.named || right.named,
                only: None,
                loose: true,
                start,
                end,
            };
        }
    }

    fn factor(&mut self) -> Result<Part, UnitError> {
        let base = self.base()?;
        if self.take(Sort::Raise).is_none() {
            return Ok(base);
        }
        let (num, den) = self.power()?;
        let end = self
            .tokens
            .get(self.next.saturating_sub(1))
            .map_or(base.end, |token| token.end);
        let kind = inside(base.kind)
            .pow(num, den)
            .map_err(|reason| UnitError::Combination {
                reason,
                offset: base.start,
                len: end - base.start,
            })?;
        let wrap = |text: &str| {
            if base.loose {
                format!("({text})")
            } else {
                text.to_owned()
            }
        };
        let (raised, ascii_raised) = if den == 1 {
            (superscript(num), format!("^{num}"))
        } else {
            (format!("^({num}/{den})"), format!("^({num}/{den})"))
        };
        Ok(Part {
            symbol: wrap(&base.symbol) + &raised,
            ascii: wrap(&base.ascii) + &ascii_raised,
            factor: match (num, den) {
                (n, 1) => base.factor.powi(n),
                (n, 2) => base.factor.sqrt().powi(n),
                (n, d) => base.factor.powf(f64::from(n) / f64::from(d)),
            },
            kind,
            only: None,
            loose: false,
            end,
            ..base
        })
    }

    fn base(&mut self) -> Result<Part, UnitError> {
        let Some(token) = self.tokens.get(self.next) else {
            return Err(self.expected("expected a unit here"));
        };
        match token.sort {
            Sort::Name => {
                self.next += 1;
                let Some(found) = unit(&token.text) else {
                    return Err(UnitError::Unknown {
                        name: token.text.to_string(),
                        offset: token.start,
                        len: token.end - token.start,
                        nearest: nearest(&token.text),
                    });
                };
                Ok(Part {
                    symbol: found.symbol.to_owned(),
                    ascii: found.ascii.to_owned(),
                    factor: found.factor,
                    kind: found.kind,
                    gallon: found.gallon,
                    named: true,
                    only: Some(found),
                    loose: !found.is_word(),
                    start: token.start,
                    end: token.end,
                })
            }
            Sort::Number => {
                self.next += 1;
                let value = token.text.parse::<f64>().ok().filter(|v| *v > 0.0);
                let Some(value) = value else {
                    return Err(UnitError::Syntax {
                        message: "a number inside a unit must be a plain number above zero",
                        offset: token.start,
                        len: token.end - token.start,
                    });
                };
                let number = Part {
                    symbol: token.text.to_string(),
                    ascii: token.text.to_string(),
                    factor: value,
                    kind: Kind::Number,
                    gallon: None,
                    named: false,
                    only: None,
                    loose: false,
                    start: token.start,
                    end: token.end,
                };
                // `100ft`: the number belongs to the name right behind it.
                if self.peek() != Some(Sort::Name) {
                    return Ok(number);
                }
                let right = self.base()?;
                Ok(Part {
                    symbol: number.symbol + &right.symbol,
                    ascii: number.ascii + &right.ascii,
                    factor: value * right.factor,
                    kind: inside(right.kind),
                    only: None,
                    // `(100gpm)²` needs its parentheses, `psi/100ft` does not.
                    loose: false,
                    start: number.start,
                    ..right
                })
            }
            Sort::Open => {
                if self.depth >= MAX_DEPTH {
                    return Err(self.expected("too many parentheses for a unit"));
                }
                self.next += 1;
                self.depth += 1;
                let inner = self.unit()?;
                self.depth -= 1;
                if self.take(Sort::Close).is_none() {
                    return Err(self.expected("expected `)` here"));
                }
                Ok(Part {
                    start: token.start,
                    loose: inner.loose || inner.only.is_none() || !inner.named,
                    ..inner
                })
            }
            _ => Err(self.expected("expected the name of a unit here")),
        }
    }

    /// A power as a fraction in lowest terms.
    fn power(&mut self) -> Result<(i32, i32), UnitError> {
        let in_parentheses = self.take(Sort::Open).is_some();
        let minus = self.take(Sort::Minus).is_some();
        let (mut num, mut den) = self.exponent_number()?;
        if in_parentheses {
            if self.take(Sort::Over).is_some() {
                let (n, d) = self.exponent_number()?;
                num *= d;
                den *= n;
            }
            if self.take(Sort::Close).is_none() {
                return Err(self.expected("expected `)` here"));
            }
        }
        let common = gcd(num, den);
        let sign = if minus { -1 } else { 1 };
        Ok((sign * num / common, den / common))
    }

    /// A positive number of at most three digits, as a fraction.
    fn exponent_number(&mut self) -> Result<(i32, i32), UnitError> {
        let before = self.expected("expected a power such as 2, -1, 0.5 or (1/2)");
        let Some(token) = self.take(Sort::Number) else {
            return Err(before);
        };
        let (whole, broken) = token.text.split_once('.').unwrap_or((&token.text, ""));
        if whole.len() + broken.len() > 3 {
            return Err(before);
        }
        let digits = format!("{whole}{broken}");
        match digits.parse::<i32>() {
            Ok(n) if n > 0 => Ok((n, 10_i32.pow(u32::try_from(broken.len()).unwrap_or(0)))),
            _ => Err(before),
        }
    }
}

fn gcd(a: i32, b: i32) -> i32 {
    if b == 0 {
        a.abs().max(1)
    } else {
        gcd(b, a % b)
    }
}

/// ASCII spellings of up to three units whose spelling or name is like `name`, best first.
pub fn nearest(name: &str) -> Vec<&'static str> {
    const LONGEST: usize = 40;
    if name.chars().count() > LONGEST {
        return Vec::new();
    }
    let wanted: Vec<char> = normalise(name).to_lowercase().chars().collect();
    // One slip in a short name, one in three letters of a long one.
    let limit = (wanted.len() / 3).max(1);
    let mut found: Vec<(usize, usize, &'static str)> = Vec::new();
    for (place, unit) in units().iter().enumerate() {
        let words = unit
            .spellings()
            .chain(unit.also_written.iter().copied())
            .chain([unit.name, unit.plural]);
        let best = words
            .map(|word| {
                let candidate: Vec<char> = normalise(word).to_lowercase().chars().collect();
                distance(&wanted, &candidate)
            })
            .min();
        if let Some(best) = best
            // In a one-letter name every letter would be near every other.
            && best <= limit
            && best < wanted.len()
        {
            found.push((best, place, unit.ascii));
        }
    }
    found.sort_unstable();
    // A name that differs only in case or is a known misspelling needs no rivals.
    if found.first().is_some_and(|first| first.0 == 0) {
        found.retain(|item| item.0 == 0);
    }
    found.into_iter().take(3).map(|item| item.2).collect()
}

/// Number of single letters to insert, drop or change to turn one word into the other.
fn distance(a: &[char], b: &[char]) -> usize {
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.iter().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let change = diagonal + usize::from(x != y);
            diagonal = row[j + 1];
            row[j + 1] = change.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}
