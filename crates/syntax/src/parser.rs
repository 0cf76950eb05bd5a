//! The grammar of one chunk, in `chumsky`, over prepared tokens.
//!
//! The rules:
//! - an item is `use "path" as name`, `let name = value`, `let name(a, b) = value`, `accept CODE because "…"`,
//!   `require value sign value because "…"` with `for every kind name:` before the value or not, or a declaration,
//!   `kind name(parameters) like other(arguments) of owner { entries }`;
//! - entries begin on lines of their own, after a `;`, or with a name where one can stand;
//! - an entry is a field `name = value`, a group `name { … }`, a table `name at value (columns) { rows }`, a
//!   chain `a -> 50 ft of b -> c: d`, `hold path = value`, or `accept CODE because "…"`;
//! - a value is a range, sum, product or power of numbers, paths, calls, lists, texts and dates, with
//!   `of` and a path or `at` and `per` and more values after it. A power takes one exponent: `a ^ b ^ c` must
//!   say with parentheses which comes first, and `-5 ^ 2` is `-(5 ^ 2)`.
//!
//! Recovery is by entry: an entry that cannot be read is reported once and skipped to the next line or
//! field; everything else in its block stands. Brackets already balance when the tokens get here, so
//! skipping never runs past a block. In the head of a declaration what cannot be read is skipped to its `{`.
//!
//! The parser is built once in each thread. It owns nothing of the text: tokens are small copies, and the text
//! is looked up in the parser's state when a name is made. Its error is a place and a set of
//! expectations in one word; prose is put together only when an error is shown.

use crate::ast::*;
use crate::prepare::{Tok, prepare};
use crate::split::headless;
use crate::token::{Raw, T, lex};
use crate::words::{Key, Sort};
use crate::{Parsed, SyntaxError, SyntaxErrorKind};
use chumsky::DefaultExpected;
use chumsky::error::{Error, LabelError};
use chumsky::input::{MapExtra, Stream};
use chumsky::inspector::Inspector;
use chumsky::prelude::*;
use chumsky::util::MaybeRef;
use cutwater_text::{LineIndex, Span};
use smol_str::SmolStr;
use std::collections::HashSet;

/// A token as the grammar sees it. `prepare` leaves no `T::Unknown` in, so that kind marks the end here.
#[derive(Clone, Copy, Debug)]
struct Pt {
    kind: T,
    key: Key,
    first: bool,
    /// A word that begins a line of its block and is not further in than the entry before it: it begins the next
    /// entry, so that a value that was forgotten at a line's end does not take it.
    begins: bool,
    span: Span,
}

const END: T = T::Unknown;

impl Pt {
    /// Whether a token that begins a line goes on with the entry before it rather than beginning one.
    fn carries_on(self) -> bool {
        match self.kind {
            T::Word => self.key.joins(),
            T::Arrow
            | T::PlusMinus
            | T::Plus
            | T::Minus
            | T::Star
            | T::Slash
            | T::Caret
            | T::Comma
            | T::Colon
            | T::Dot
            | T::DotDot
            | T::Equals
            | T::AtLeast
            | T::AtMost
            | T::Above
            | T::Below
            | T::LBrace
            | T::LParen
            | T::LBracket => true,
            _ => false,
        }
    }
}

/// What could have stood in a place. The order is the order of mention; those from `Unit` on are always
/// possible after a value or a name and are mentioned only when nothing else was wanted.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[repr(u8)]
enum Want {
    Computable,
    FunctionName,
    Item,
    Entry,
    Name,
    Held,
    LetName,
    Alias,
    ColumnName,
    FilePath,
    As,
    Value,
    Number,
    Deviation,
    Station,
    Equals,
    Arrow,
    Comma,
    ColumnComma,
    RParen,
    HeadEnd,
    RBracket,
    Columns,
    Rows,
    Comparison,
    Reason,
    Block,
    LineEnd,
    Cell,
    RowEnd,
    StationOf,
    Code,
    Acceptance,
    EveryWord,
    KindWord,
    ParameterName,
    ArgumentName,
    EveryEnd,
    Date,
    RBrace,
    End,
    Unit,
    Tolerance,
    Power,
    Operator,
    DotDot,
    Dot,
    Call,
    Of,
    At,
    Colon,
    Semicolon,
    Modifier,
    Because,
    DeclName,
    Like,
    On,
    Until,
    Where,
    And,
    Is,
    Index,
}

const WANTS: [(Want, &str); 62] = [
    (Want::Computable, "a number that can be computed"),
    (
        Want::FunctionName,
        "a function's name, or a file's and a function's, before `(`",
    ),
    (
        Want::Item,
        "a declaration, `use`, `let`, `require` or `accept`",
    ),
    (Want::Entry, "a field, a table or a block"),
    (Want::Name, "a name"),
    (Want::Held, "what is held"),
    (Want::LetName, "a name and `=`"),
    (Want::Alias, "the name it goes by here"),
    (Want::ColumnName, "a column's name"),
    (Want::FilePath, "a file's path in quotes"),
    (Want::As, "`as` and the name it goes by here"),
    (Want::Value, "a value"),
    (Want::Number, "a number"),
    (Want::Deviation, "`/` between the two deviations"),
    (Want::Station, "what comes next in the lay"),
    (Want::Equals, "`=`"),
    (Want::Arrow, "`->`"),
    (Want::Comma, "`,`"),
    (Want::ColumnComma, "`,`"),
    (Want::RParen, "`)`"),
    (Want::HeadEnd, "`)`"),
    (Want::RBracket, "`]`"),
    (Want::Columns, "`(`"),
    (Want::Rows, "`{`"),
    (Want::Comparison, "a comparison such as `>=` or `within`"),
    (Want::Reason, "the reason in quotes"),
    (Want::Block, "`{`"),
    (Want::LineEnd, "the end of the line"),
    (Want::Cell, "a number, a name, a text or `-`"),
    (Want::RowEnd, "the end of the row"),
    (Want::StationOf, "`of` and what it is"),
    (Want::Code, "a finding's code such as `CW1203`"),
    (Want::Acceptance, "`because` and the reason in quotes"),
    (Want::EveryWord, "`every` and a kind"),
    (Want::KindWord, "a kind of declaration"),
    (Want::ParameterName, "a parameter's name"),
    (Want::ArgumentName, "a parameter's name and `=`"),
    (Want::EveryEnd, "`:`"),
    (Want::Date, "a date such as `2026-05-14`"),
    (Want::RBrace, "`}`"),
    (Want::End, "a new declaration on its own line"),
    (Want::Unit, "a unit"),
    (Want::Tolerance, "a tolerance"),
    (Want::Power, "`^`"),
    (Want::Operator, "an operator"),
    (Want::DotDot, "`..`"),
    (Want::Dot, "`.`"),
    (Want::Call, "`(`"),
    (Want::Of, "`of`"),
    (Want::At, "`at`"),
    (Want::Colon, "`:`"),
    (Want::Semicolon, "`;`"),
    (Want::Modifier, "`rise`, `fall` or `lines`"),
    (Want::Because, "`because` and the reason"),
    (Want::DeclName, "its name"),
    (Want::Like, "`like`"),
    (Want::On, "`on` and a name"),
    (Want::Until, "`until` and a date"),
    (Want::Where, "`where`"),
    (Want::And, "`and`"),
    (Want::Is, "`is`"),
    (Want::Index, "`[`"),
];

/// A set of [`Want`]s.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
struct Wants(u64);

impl Wants {
    const MINOR: Wants = Wants(!((1 << Want::Unit as u8) - 1));

    const fn one(want: Want) -> Self {
        Wants(1 << want as u8)
    }

    fn has(self, want: Want) -> bool {
        self.0 & Wants::one(want).0 != 0
    }

    fn without(self, other: Wants) -> Self {
        Wants(self.0 & !other.0)
    }

    fn texts(self) -> Vec<&'static str> {
        WANTS
            .iter()
            .filter(|(w, _)| self.has(*w))
            .map(|(_, t)| *t)
            .collect()
    }
}

/// The parser's own error: the token it stands at, and what would have been welcome there.
#[derive(Clone, Copy, Debug)]
struct PErr {
    at: usize,
    wants: Wants,
}

impl<'t> Error<'t, In> for PErr {
    fn merge(self, other: Self) -> Self {
        PErr {
            at: self.at,
            wants: Wants(self.wants.0 | other.wants.0),
        }
    }
}

impl<'t> LabelError<'t, In, DefaultExpected<'t, Pt>> for PErr {
    fn expected_found<E: IntoIterator<Item = DefaultExpected<'t, Pt>>>(
        _expected: E,
        _found: Option<MaybeRef<'t, Pt>>,
        span: SimpleSpan,
    ) -> Self {
        PErr {
            at: span.start,
            wants: Wants::default(),
        }
    }
}

impl<'t> LabelError<'t, In, Want> for PErr {
    fn expected_found<E: IntoIterator<Item = Want>>(
        expected: E,
        _found: Option<MaybeRef<'t, Pt>>,
        span: SimpleSpan,
    ) -> Self {
        PErr {
            at: span.start,
            wants: Wants(expected.into_iter().fold(0, |set, w| set | Wants::one(w).0)),
        }
    }

    fn label_with(&mut self, label: Want) {
        self.wants = Wants::one(label);
    }
}

/// What the parser looks things up in.
struct Source {
    text: String,
    toks: Vec<Pt>,
}

impl Source {
    fn text(&self, t: Pt) -> SmolStr {
        SmolStr::new(t.span.slice(&self.text))
    }

    /// From a range of tokens to bytes.
    fn span(&self, of: SimpleSpan) -> Span {
        let at = |i: usize| self.toks.get(i).map_or_else(Span::default, |t| t.span);
        if of.end <= of.start {
            return Span::at(at(of.start).start as usize);
        }
        at(of.start).join(at(of.end - 1))
    }
}

impl<'t> Inspector<'t, In> for Source {
    type Checkpoint = ();

    fn on_token(&mut self, _: &Pt) {}

    fn on_save<'p>(&self, _: &chumsky::input::Cursor<'t, 'p, In>) -> Self::Checkpoint {}

    fn on_rewind<'p>(&mut self, _: &chumsky::input::Checkpoint<'t, 'p, In, ()>) {}
}

type In = Stream<std::vec::IntoIter<Pt>>;
type Ex = extra::Full<PErr, Source, ()>;
type P<O> = Boxed<'static, 'static, In, O, Ex>;
type Extra<'p> = MapExtra<'static, 'p, In, Ex>;

/// One token for which `f` holds.
fn when<F>(want: Want, f: F) -> impl Parser<'static, In, Pt, Ex> + Clone
where
    F: Fn(Pt) -> bool + Clone + 'static,
{
    any().try_map(move |t: Pt, at: SimpleSpan| {
        if f(t) {
            Ok(t)
        } else {
            Err(PErr {
                at: at.start,
                wants: Wants::one(want),
            })
        }
    })
}

/// One token for which `f` holds, where nothing is said when it does not.
fn silently<F>(f: F) -> impl Parser<'static, In, Pt, Ex> + Clone
where
    F: Fn(Pt) -> bool + Clone + 'static,
{
    any().try_map(move |t: Pt, at: SimpleSpan| {
        if f(t) {
            Ok(t)
        } else {
            Err(PErr {
                at: at.start,
                wants: Wants::default(),
            })
        }
    })
}

fn tok(kind: T, want: Want) -> impl Parser<'static, In, Pt, Ex> + Clone {
    when(want, move |t| t.kind == kind)
}

fn keyword(key: Key, want: Want) -> impl Parser<'static, In, Pt, Ex> + Clone {
    when(want, move |t| t.kind == T::Word && t.key == key)
}

/// One token that is reported and taken as read where it is missing.
fn put_in(
    one: impl Parser<'static, In, Pt, Ex> + Clone + 'static,
) -> impl Parser<'static, In, (), Ex> + Clone {
    one.ignored().recover_with(via_parser(empty()))
}

fn name_of(t: Pt, e: &mut Extra<'_>) -> Name {
    Name {
        text: e.state().text(t),
        span: t.span,
    }
}

fn span_of(e: &mut Extra<'_>) -> Span {
    let s = e.span();
    e.state().span(s)
}

/// A path within an expression.
fn path_in_value() -> impl Parser<'static, In, Path, Ex> + Clone {
    silently(|t| !t.begins)
        .labelled(Want::Value)
        .rewind()
        .ignore_then(path(Want::Value))
}

/// A word that joins nothing.
fn word(want: Want) -> impl Parser<'static, In, Name, Ex> + Clone {
    when(want, |t| t.kind == T::Word && !t.key.joins()).map_with(name_of)
}

/// Reads a number as written; `None` for a division by zero in a fraction or digits too long for a float.
pub fn parse_number(text: &str) -> Option<f64> {
    let (sign, body) = match text.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (-1.0, rest),
        None => (1.0, text.strip_prefix('+').unwrap_or(text)),
    };
    let plain = |s: &str| -> Option<f64> {
        if s.contains('_') {
            s.replace('_', "").parse().ok()
        } else {
            s.parse().ok()
        }
    };
    let value = match body.split_once('/') {
        None => plain(body)?,
        Some((front, denominator)) => {
            let (whole, numerator) = match front.split_once('-') {
                Some((w, n)) => (plain(w)?, plain(n)?),
                None => (0.0, plain(front)?),
            };
            whole + numerator / plain(denominator)?
        }
    };
    value.is_finite().then_some(sign * value)
}

fn any_number(want: Want) -> impl Parser<'static, In, (f64, Span), Ex> + Clone {
    when(want, |t| matches!(t.kind, T::Number | T::Fraction)).try_map_with(
        |t, e| match parse_number(t.span.slice(&e.state().text)) {
            Some(value) => Ok((value, t.span)),
            None => Err(PErr {
                at: e.span().start,
                wants: Wants::one(Want::Computable),
            }),
        },
    )
}

/// A number after a sign: without one of its own.
fn unsigned_number(want: Want) -> impl Parser<'static, In, (f64, Span), Ex> + Clone {
    any_number(want).try_map_with(move |(value, span), e| {
        let digits = span.slice(&e.state().text);
        if digits.starts_with(['-', '\u{2212}']) {
            return Err(PErr {
                at: e.span().start,
                wants: Wants::one(want),
            });
        }
        Ok((value, span))
    })
}

fn unit() -> impl Parser<'static, In, Name, Ex> + Clone {
    tok(T::Unit, Want::Unit).map_with(name_of)
}

fn path(want: Want) -> impl Parser<'static, In, Path, Ex> + Clone {
    word(want)
        .then(
            tok(T::Dot, Want::Dot)
                .ignore_then(
                    when(Want::Name, |t| {
                        matches!(t.kind, T::Word | T::Field | T::Unit) && !t.first
                    })
                    .map_with(name_of),
                )
                .repeated()
                .collect::<Vec<_>>(),
        )
        .map(|(first, rest)| {
            let mut names = Vec::with_capacity(1 + rest.len());
            names.push(first);
            names.extend(rest);
            let span = names[0].span.join(names[names.len() - 1].span);
            Path { names, span }
        })
}

fn tolerance() -> impl Parser<'static, In, Tolerance, Ex> + Clone {
    let plus_minus = tok(T::PlusMinus, Want::Tolerance)
        .ignore_then(unsigned_number(Want::Number))
        .then(unit().or_not())
        .map_with(|((value, _), unit), e| Tolerance {
            plus: value,
            minus: -value,
            unit,
            span: span_of(e),
        });
    let signed = tok(T::Plus, Want::Number)
        .ignore_then(unsigned_number(Want::Number))
        .or(any_number(Want::Number));
    let pair = tok(T::LParen, Want::Tolerance)
        .ignore_then(signed.clone())
        .then_ignore(tok(T::Slash, Want::Deviation))
        .then(signed)
        .then(unit().or_not())
        .then_ignore(tok(T::RParen, Want::RParen))
        .map_with(|(((a, _), (b, _)), unit), e| Tolerance {
            plus: a,
            minus: b,
            unit,
            span: span_of(e),
        });
    plus_minus.or(pair)
}

/// Whether a word has the form of an ISO 286 class: one or two letters and a number, `H7`, `js6`.
pub fn looks_like_class(word: &str) -> bool {
    let letters = word.bytes().take_while(u8::is_ascii_alphabetic).count();
    let digits = word.len() - letters;
    matches!(letters, 1..=2)
        && matches!(digits, 1..=2)
        && word.bytes().skip(letters).all(|b| b.is_ascii_digit())
}

/// `H7` behind a size with a unit.
fn class() -> impl Parser<'static, In, Name, Ex> + Clone {
    any().try_map_with(|t: Pt, e| {
        let name = name_of(t, e);
        if t.kind == T::Word && !t.first && looks_like_class(&name.text) {
            Ok(name)
        } else {
            Err(PErr {
                at: e.span().start,
                wants: Wants::one(Want::Tolerance),
            })
        }
    })
}

fn literal() -> P<Expr> {
    enum Tail {
        Tolerance(Tolerance),
        Class(Name),
    }
    let tail = tolerance()
        .map(Tail::Tolerance)
        .or(class().map(Tail::Class));
    any_number(Want::Value)
        .then(unit().or_not())
        .then(tail.or_not())
        .map_with(|(((value, digits), unit), tail), e| {
            let (tolerance, class) = match tail {
                None => (None, None),
                Some(Tail::Tolerance(t)) => (Some(t), None),
                Some(Tail::Class(c)) => (None, Some(c)),
            };
            Expr {
                kind: ExprKind::Number(Box::new(Number {
                    value,
                    digits,
                    unit,
                    tolerance,
                    class,
                })),
                span: span_of(e),
            }
        })
        .boxed()
}

fn date_of(text: &str) -> ExprKind {
    let mut parts = text.split('-').map(|p| p.parse::<u16>().unwrap_or(0));
    let mut next = || parts.next().unwrap_or(0);
    let (year, month, day) = (next(), next(), next());
    ExprKind::Date {
        year,
        month: month.min(255) as u8,
        day: day.min(255) as u8,
    }
}

/// What stands between the quotes; the closing one may be missing.
fn unquoted(text: &str) -> SmolStr {
    let inner = text.strip_prefix('"').unwrap_or(text);
    SmolStr::new(inner.strip_suffix('"').unwrap_or(inner))
}

/// Sums and below; no ranges.
fn sum(whole: impl Parser<'static, In, Expr, Ex> + Clone + 'static, literal: P<Expr>) -> P<Expr> {
    let items = whole
        .clone()
        .separated_by(tok(T::Comma, Want::Comma))
        .allow_trailing()
        .collect::<Vec<_>>()
        .boxed();
    let list = items
        .clone()
        .delimited_by(
            tok(T::LBracket, Want::Value),
            tok(T::RBracket, Want::RBracket),
        )
        .map(ExprKind::List);
    let arguments = items.delimited_by(tok(T::LParen, Want::Call), tok(T::RParen, Want::RParen));
    enum Behind {
        Arguments(Vec<Expr>),
        Steps(Vec<Access>),
    }
    let index = when(Want::Index, |t| t.kind == T::LBracket && !t.first)
        .ignore_then(whole.clone())
        .then_ignore(tok(T::RBracket, Want::RBracket))
        .map(Access::Index);
    let member = tok(T::Dot, Want::Dot)
        .ignore_then(
            when(Want::Name, |t| {
                matches!(t.kind, T::Word | T::Field | T::Unit) && !t.first
            })
            .map_with(name_of),
        )
        .map(Access::Member);
    let steps = index
        .clone()
        .then(index.or(member).repeated().collect::<Vec<_>>())
        .map(|(first, mut rest)| {
            rest.insert(0, first);
            rest
        });
    let named = path_in_value()
        .then(
            arguments
                .map(Behind::Arguments)
                .or(steps.map(Behind::Steps))
                .or_not(),
        )
        .validate(|(path, behind), e, emitter| match behind {
            None => ExprKind::Path(path),
            Some(Behind::Steps(steps)) => ExprKind::Element(path, steps),
            Some(Behind::Arguments(arguments)) if path.names.len() <= 2 => ExprKind::Call {
                function: path,
                arguments,
            },
            Some(Behind::Arguments(_)) => {
                emitter.emit(PErr {
                    at: e.span().start,
                    wants: Wants::one(Want::FunctionName),
                });
                ExprKind::Error
            }
        });
    let paren = whole.delimited_by(tok(T::LParen, Want::Value), tok(T::RParen, Want::RParen));
    let other = choice((
        named,
        tok(T::Text, Want::Value)
            .map_with(|t, e| ExprKind::Text(unquoted(t.span.slice(&e.state().text)))),
        list,
        tok(T::Date, Want::Value).map_with(|t, e| date_of(t.span.slice(&e.state().text))),
    ))
    .map_with(|kind, e| Expr {
        kind,
        span: span_of(e),
    });
    let atom = literal.or(other).or(paren).boxed();
    let signed = tok(T::Minus, Want::Value)
        .map(|t| t.span.start)
        .repeated()
        .collect::<Vec<_>>()
        .then(
            atom.clone().then(
                tok(T::Caret, Want::Power)
                    .ignore_then(tok(T::Minus, Want::Value).or_not().then(atom))
                    .or_not(),
            ),
        )
        .map_with(|(minuses, (mut base, power)), x| {
            let mut minuses: Vec<u32> = minuses;
            // `-5 ^ 2` is the opposite of a square, though `-5` is a number.
            if power.is_some()
                && let ExprKind::Number(n) = &mut base.kind
                && n.value.is_sign_negative()
            {
                minuses.push(n.digits.start);
                let digits = n.digits.slice(&x.state().text);
                let sign = digits.len() - digits.trim_start_matches(['-', '\u{2212}']).len();
                n.digits.start += sign as u32;
                base.span.start = n.digits.start;
                n.value = -n.value;
                if let Some(t) = &mut n.tolerance {
                    (t.plus, t.minus) = (-t.minus, -t.plus);
                }
            }
            let mut e = match power {
                None => base,
                Some((minus, exponent)) => {
                    let exponent = match minus {
                        None => exponent,
                        Some(m) => negative(m.span.start, exponent),
                    };
                    let span = base.span.join(exponent.span);
                    Expr {
                        kind: ExprKind::Power(Box::new(base), Box::new(exponent)),
                        span,
                    }
                }
            };
            if let Some(first) = minuses.first() {
                if minuses.len() % 2 == 1 {
                    e = negative(*first, e);
                } else {
                    e.span.start = *first;
                }
            }
            e
        });
    let product = flat(signed.boxed(), T::Star, T::Slash, ExprKind::Product);
    flat(product, T::Plus, T::Minus, ExprKind::Sum)
}

fn negative(start: u32, e: Expr) -> Expr {
    let span = Span {
        start,
        end: e.span.end,
    };
    Expr {
        kind: ExprKind::Negative(Box::new(e)),
        span,
    }
}

/// Operands joined by two operators of one strength; the second is noted as `true`.
fn flat(
    operand: P<Expr>,
    one: T,
    other: T,
    make: fn(Box<Expr>, Vec<(bool, Expr)>) -> ExprKind,
) -> P<Expr> {
    let operator = when(Want::Operator, move |t| t.kind == one || t.kind == other)
        .map(move |t| t.kind == other);
    operand
        .clone()
        .then(operator.then(operand).repeated().collect::<Vec<_>>())
        .map(move |(first, rest)| match rest.last() {
            None => first,
            Some((_, last)) => {
                let span = first.span.join(last.span);
                Expr {
                    kind: make(Box::new(first), rest),
                    span,
                }
            }
        })
        .boxed()
}

fn expr(literal: P<Expr>) -> P<Expr> {
    recursive(|whole| {
        let sum = sum(whole, literal);
        sum.clone()
            .then(tok(T::DotDot, Want::DotDot).ignore_then(sum).or_not())
            .map(|(lo, hi)| match hi {
                None => lo,
                Some(hi) => {
                    let span = lo.span.join(hi.span);
                    Expr {
                        kind: ExprKind::Range(Box::new(lo), Box::new(hi)),
                        span,
                    }
                }
            })
    })
    .boxed()
}

/// A field's value: an expression, `20 ft of hose`, or `1250 gpm at 150 psi`.
fn value(e: P<Expr>) -> P<Expr> {
    enum Tail {
        Of(Path),
        Phrase(Vec<(Name, Expr)>),
    }
    let of = keyword(Key::Of, Want::Of).ignore_then(path(Want::Name));
    let phrase = when(Want::At, |t| {
        t.kind == T::Word && t.key.sort() == Some(Sort::Preposition)
    })
    .map_with(name_of)
    .then(e.clone())
    .repeated()
    .at_least(1)
    .collect::<Vec<_>>();
    e.then(of.map(Tail::Of).or(phrase.map(Tail::Phrase)).or_not())
        .map_with(|(head, tail), x| match tail {
            None => head,
            Some(tail) => Expr {
                kind: match tail {
                    Tail::Of(p) => ExprKind::Of(Box::new(head), p),
                    Tail::Phrase(parts) => ExprKind::Phrase(Box::new(head), parts),
                },
                span: span_of(x),
            },
        })
        .boxed()
}

fn cell() -> P<Cell> {
    let number = any_number(Want::Cell).map(|(v, _)| CellKind::Number(v));
    choice((
        number,
        tok(T::Minus, Want::Cell).to(CellKind::Absent),
        tok(T::Word, Want::Cell).map_with(|t, e| CellKind::Word(e.state().text(t))),
        tok(T::Text, Want::Cell)
            .map_with(|t, e| CellKind::Text(unquoted(t.span.slice(&e.state().text)))),
        tok(T::Plus, Want::Cell)
            .ignore_then(unsigned_number(Want::Cell).map(|(v, _)| CellKind::Number(v))),
    ))
    .map_with(|kind, e| Cell {
        kind,
        span: span_of(e),
    })
    .boxed()
}

/// A token, or a whole bracket with all that is in it.
fn tree() -> P<()> {
    let opens = |k: T| matches!(k, T::LBrace | T::LParen | T::LBracket);
    let closes = |k: T| matches!(k, T::RBrace | T::RParen | T::RBracket);
    recursive(move |tree| {
        let block = silently(move |t| opens(t.kind))
            .then(tree.repeated())
            .then(silently(move |t| closes(t.kind)))
            .ignored();
        silently(move |t| !opens(t.kind) && !closes(t.kind) && t.kind != END)
            .ignored()
            .or(block)
    })
    .boxed()
}

/// Anything up to a token for which `stop` holds, whole blocks at a time.
fn skip_to(
    tree: P<()>,
    stop: impl Fn(Pt) -> bool + Clone + 'static,
) -> impl Parser<'static, In, (), Ex> + Clone {
    silently(move |t| !stop(t))
        .rewind()
        .ignore_then(tree)
        .repeated()
}

/// Whether an entry ends before this token.
fn ends_entry(t: Pt) -> bool {
    t.first && !t.carries_on() || matches!(t.kind, T::Field | T::Semicolon | T::RBrace)
}

/// Anything up to the next line or field. Takes at least one token.
fn skip_entry(tree: P<()>) -> P<()> {
    tree.clone().ignore_then(skip_to(tree, ends_entry)).boxed()
}

fn table(e: P<Expr>, tree: P<()>) -> P<EntryKind> {
    let column = word(Want::ColumnName)
        .then(unit().or_not())
        .map(|(name, unit)| Column { name, unit });
    let head = column
        .separated_by(tok(T::Comma, Want::ColumnComma))
        .allow_trailing()
        .collect::<Vec<_>>()
        .delimited_by(tok(T::LParen, Want::Columns), tok(T::RParen, Want::HeadEnd))
        .map_with(|c, e| (c, span_of(e)));
    let ends_row = |t: Pt| matches!(t.kind, T::Newline | T::Semicolon);
    let separator = when(Want::RowEnd, ends_row).ignored();
    // Cells stand side by side. A comma between two is read past and reported.
    let comma = silently(|t| t.kind == T::Comma)
        .or_not()
        .validate(|got, e, emitter| {
            if got.is_some() {
                emitter.emit(PErr {
                    at: e.span().start,
                    wants: Wants::one(Want::RowEnd),
                });
            }
        });
    let row = cell()
        .then_ignore(comma)
        .repeated()
        .at_least(1)
        .collect::<Vec<_>>()
        .map_with(|cells, e| {
            Some(Row {
                cells,
                span: span_of(e),
            })
        })
        .then_ignore(when(Want::RowEnd, move |t| ends_row(t) || t.kind == T::RBrace).rewind())
        .recover_with(via_parser(
            tree.clone()
                .ignore_then(skip_to(tree, move |t| ends_row(t) || t.kind == T::RBrace))
                .to(None),
        ))
        .boxed();
    let rows = separator
        .clone()
        .repeated()
        .ignore_then(
            row.then_ignore(separator.repeated())
                .repeated()
                .collect::<Vec<_>>(),
        )
        .map(|rows| rows.into_iter().flatten().collect::<Vec<_>>())
        .delimited_by(tok(T::LBrace, Want::Rows), tok(T::RBrace, Want::RBrace))
        .map_with(|r, e| (r, span_of(e)));
    word(Want::Entry)
        .then(keyword(Key::At, Want::At).ignore_then(e).or_not())
        .then(head)
        .then(rows)
        .map(|(((name, at), (columns, head)), (rows, body))| {
            EntryKind::Table(Table {
                name,
                at,
                columns,
                head,
                rows,
                body,
            })
        })
        .boxed()
}

fn chain(e: P<Expr>, literal: P<Expr>) -> P<EntryKind> {
    let modifier = when(Want::Modifier, |t| {
        t.kind == T::Word && t.key.sort() == Some(Sort::Modifier)
    })
    .map_with(name_of)
    .then(e)
    .map(|(word, value)| Modifier { word, value });
    let segment = |want: Want| {
        word(want)
            .then_ignore(tok(T::Colon, Want::Colon))
            .or_not()
            .then(
                literal
                    .clone()
                    .labelled(want)
                    .then_ignore(keyword(Key::Of, Want::StationOf))
                    .or_not(),
            )
            .then(path(want))
            .then(modifier.clone().repeated().collect::<Vec<_>>())
            .map_with(|(((label, amount), what), modifiers), e| Segment {
                label,
                amount,
                what,
                modifiers,
                span: span_of(e),
            })
            .boxed()
    };
    segment(Want::Entry)
        .then_ignore(tok(T::Arrow, Want::Arrow))
        .then(
            segment(Want::Station)
                .separated_by(tok(T::Arrow, Want::Arrow))
                .at_least(1)
                .collect::<Vec<_>>(),
        )
        .map(|(first, mut rest)| {
            rest.insert(0, first);
            EntryKind::Chain(rest)
        })
        .boxed()
}

/// A value, or nothing where it cannot be read: then it is reported and skipped.
fn value_or_skip(value: P<Expr>, tree: P<()>) -> P<Expr> {
    value_or_skip_to(value, tree, ends_entry)
}

/// [`value_or_skip`] where a value ends otherwise than an entry does.
fn value_or_skip_to(
    value: P<Expr>,
    tree: P<()>,
    stop: impl Fn(Pt) -> bool + Clone + 'static,
) -> P<Expr> {
    value
        .recover_with(via_parser(skip_to(tree, stop).map_with(|(), e| {
            let at = e.span().start;
            let put = e
                .state()
                .toks
                .get(at.wrapping_sub(1))
                .map_or(0, |t| t.span.end);
            Expr {
                kind: ExprKind::Error,
                span: Span::at(put as usize),
            }
        })))
        .boxed()
}

fn quoted(want: Want) -> impl Parser<'static, In, Text, Ex> + Clone {
    tok(T::Text, want).map_with(|t, e| Text {
        text: unquoted(t.span.slice(&e.state().text)),
        span: t.span,
    })
}

fn accept() -> impl Parser<'static, In, Accept, Ex> + Clone {
    let date = tok(T::Date, Want::Date).map_with(|t, e| Expr {
        kind: date_of(t.span.slice(&e.state().text)),
        span: t.span,
    });
    keyword(Key::Accept, Want::Entry)
        .ignore_then(word(Want::Code))
        .then(
            keyword(Key::On, Want::On)
                .ignore_then(path(Want::Name))
                .or_not(),
        )
        .then(
            keyword(Key::Because, Want::Acceptance)
                .ignore_then(quoted(Want::Reason))
                .map(Some)
                .recover_with(via_parser(empty().to(None))),
        )
        .then(keyword(Key::Until, Want::Until).ignore_then(date).or_not())
        .map(|(((code, on), because), until)| Accept {
            code,
            on,
            because,
            until,
        })
}

fn entries(e: P<Expr>, value: P<Expr>, literal: P<Expr>, tree: P<()>) -> P<(Vec<Entry>, Span)> {
    let value = value_or_skip(value, tree.clone());
    let table = table(e.clone(), tree.clone());
    let chain = chain(e, literal);
    recursive(|block| {
        let field = tok(T::Field, Want::Entry)
            .map_with(name_of)
            .then_ignore(tok(T::Equals, Want::Equals))
            .then(value.clone())
            .map(|(name, value)| EntryKind::Field { name, value });
        let held = tok(T::Field, Want::Held).map_with(|t, e| {
            let name = name_of(t, e);
            Path {
                span: name.span,
                names: vec![name],
            }
        });
        let hold = keyword(Key::Hold, Want::Entry)
            .ignore_then(path(Want::Held).or(held))
            .then_ignore(tok(T::Equals, Want::Equals))
            .then(value)
            .map(|(target, value)| EntryKind::Hold { target, value });
        let make_group = |(name, (entries, body)): (Name, (Vec<Entry>, Span))| EntryKind::Group {
            name,
            entries,
            body,
        };
        let group = word(Want::Entry).then(block.clone()).map(make_group);
        // A word too many before a block does not cost the block.
        let wordy_group = word(Want::Entry)
            .then_ignore(
                silently(|t| t.kind == T::Word && !t.first)
                    .repeated()
                    .at_least(1),
            )
            .then(block)
            .map(make_group);
        // A name and a value without `=` between them: what is set is known.
        let unset = word(Want::Entry)
            .then_ignore(
                silently(|t| {
                    !t.first
                        && matches!(
                            t.kind,
                            T::Number | T::Fraction | T::Date | T::Text | T::LBracket
                        )
                })
                .rewind(),
            )
            .then(
                skip_to(tree.clone(), |t| {
                    ends_entry(t) || matches!(t.kind, T::LBrace | T::Arrow)
                })
                .map_with(|(), e| span_of(e)),
            )
            // With a block or an arrow further on it is a table or a lay.
            .then_ignore(silently(ends_entry).rewind())
            .map(|(name, span)| EntryKind::Field {
                name,
                value: Expr {
                    kind: ExprKind::Error,
                    span,
                },
            });
        let entry = choice((
            field,
            hold,
            accept().map(EntryKind::Accept),
            chain,
            table,
            group,
        ))
        .recover_with(via_parser(choice((
            wordy_group,
            unset,
            skip_entry(tree.clone()).to(EntryKind::Error),
        ))))
        .then_ignore(
            when(Want::LineEnd, |t| {
                ends_entry(t) || t.kind == T::Word && !t.key.joins()
            })
            .rewind()
            .ignored()
            .recover_with(via_parser(
                silently(|t| !t.first)
                    .rewind()
                    .ignore_then(skip_to(tree.clone(), ends_entry))
                    .or(empty()),
            )),
        )
        // With what was skipped behind it on its line, as that is told of this entry.
        .map_with(|kind, e| {
            let at = e.span().start;
            let first = e.state().toks.get(at).is_some_and(|t| t.first);
            let entry = Entry {
                doc: SmolStr::default(),
                kind,
                span: span_of(e),
            };
            (entry, first)
        })
        .then_ignore(
            silently(|t| t.kind == T::Word && !t.key.joins())
                .rewind()
                .ignored()
                .or(skip_to(tree, ends_entry)),
        )
        .boxed();
        let separator = tok(T::Semicolon, Want::Semicolon).repeated();
        separator
            .clone()
            .ignore_then(entry.then_ignore(separator).repeated().collect::<Vec<_>>())
            .map(|list| {
                let mut entries: Vec<Entry> = Vec::with_capacity(list.len());
                for (entry, first) in list {
                    if entry.kind == EntryKind::Error
                        && !first
                        && let Some(before) = entries.last_mut()
                    {
                        before.span = before.span.join(entry.span);
                    }
                    entries.push(entry);
                }
                entries
            })
            .delimited_by(tok(T::LBrace, Want::Block), tok(T::RBrace, Want::RBrace))
            .map_with(|entries, e| (entries, span_of(e)))
            .boxed()
    })
    .boxed()
}

fn item() -> P<ItemKind> {
    let tree = tree();
    let literal = literal();
    let e = expr(literal.clone());
    let value = value(e.clone());
    let entries = entries(e.clone(), value.clone(), literal, tree.clone());
    let rest = |tree: P<()>| skip_to(tree, |_| false);
    let use_ = keyword(Key::Use, Want::Item)
        .ignore_then(quoted(Want::FilePath))
        .then_ignore(put_in(keyword(Key::As, Want::As)))
        .then(word(Want::Alias))
        .map(|(path, alias)| ItemKind::Use { path, alias });
    let error_here = |e: &mut Extra<'_>| {
        let at = span_of(e).start as usize;
        Expr {
            kind: ExprKind::Error,
            span: Span::at(at),
        }
    };
    let let_ = keyword(Key::Let, Want::Item)
        .ignore_then(
            tok(T::Field, Want::LetName)
                .map_with(name_of)
                .or(word(Want::LetName)),
        )
        .then(
            word(Want::ParameterName)
                .separated_by(tok(T::Comma, Want::Comma))
                .allow_trailing()
                .collect::<Vec<_>>()
                .delimited_by(tok(T::LParen, Want::Call), tok(T::RParen, Want::RParen))
                .or_not(),
        )
        .then_ignore(put_in(tok(T::Equals, Want::Equals)))
        .then(value.recover_with(via_parser(
            rest(tree.clone()).map_with(move |(), e| error_here(e)),
        )))
        .map(|((name, parameters), value)| ItemKind::Let {
            name,
            parameters,
            value,
        });
    let comparison = when(Want::Comparison, |t| {
        matches!(t.kind, T::AtLeast | T::AtMost | T::Above | T::Below)
    })
    .map(|t| match t.kind {
        T::AtLeast => Comparison::AtLeast,
        T::AtMost => Comparison::AtMost,
        T::Above => Comparison::Above,
        _ => Comparison::Below,
    });
    let is = keyword(Key::Is, Want::Comparison)
        .ignore_then(keyword(Key::Not, Want::Is).or_not())
        .then(e.clone())
        .map(|(not, value)| Rule::Is {
            not: not.is_some(),
            value,
        });
    let rule = choice((
        comparison.then(e.clone()).map(|(c, e)| Rule::Compare(c, e)),
        keyword(Key::Within, Want::Comparison)
            .ignore_then(e.clone())
            .map(Rule::Within),
        is,
    ))
    .boxed();
    let to_reason = skip_to(tree.clone(), |t| t.kind == T::Word && t.key == Key::Because);
    let to_next = skip_to(tree.clone(), |t| {
        t.kind == T::Colon || t.kind == T::Word && matches!(t.key, Key::And | Key::Because)
    });
    let to_colon = skip_to(tree.clone(), |t| {
        t.kind == T::Colon || t.kind == T::Word && t.key == Key::Because
    });
    let filter = e
        .clone()
        .then(
            rule.clone()
                .recover_with(via_parser(to_next.to(Rule::Error))),
        )
        .map(|(value, rule)| Condition { value, rule });
    let every = keyword(Key::For, Want::Value)
        .ignore_then(keyword(Key::Every, Want::EveryWord))
        .ignore_then(word(Want::KindWord))
        .then(word(Want::Alias))
        .then(
            keyword(Key::Of, Want::Of)
                .ignore_then(path(Want::Name))
                .or_not(),
        )
        .then(
            keyword(Key::Where, Want::Where)
                .ignore_then(
                    filter
                        .separated_by(keyword(Key::And, Want::And))
                        .at_least(1)
                        .collect::<Vec<_>>(),
                )
                .or_not(),
        )
        .map_with(|(((kind, name), of), filters), e| Every {
            kind,
            name,
            of,
            filters: filters.unwrap_or_default(),
            span: span_of(e),
        })
        .then_ignore(
            tok(T::Colon, Want::EveryEnd)
                .ignored()
                .recover_with(via_parser(
                    to_colon
                        .then(tok(T::Colon, Want::EveryEnd))
                        .ignored()
                        .or(empty()),
                )),
        );
    let require = keyword(Key::Require, Want::Item)
        .ignore_then(every.or_not())
        .then(
            e.clone()
                .then(rule.recover_with(via_parser(to_reason.clone().to(Rule::Error))))
                .recover_with(via_parser(
                    to_reason.map_with(move |(), e| (error_here(e), Rule::Error)),
                )),
        )
        .then(
            keyword(Key::Because, Want::Because)
                .ignore_then(quoted(Want::Reason))
                .or_not(),
        )
        .map(|((every, (value, rule)), because)| {
            ItemKind::Require(Require {
                every,
                condition: Condition { value, rule },
                because,
            })
        });
    let filled_in = value_or_skip_to(e.clone(), tree.clone(), |t| {
        matches!(t.kind, T::Comma | T::LBrace)
    });
    // Between two commas, and what is lost there.
    let ends_one = |t: Pt| matches!(t.kind, T::Comma | T::LBrace);
    let lost = silently(move |t| !ends_one(t))
        .rewind()
        .ignore_then(tree.clone())
        .then(skip_to(tree.clone(), ends_one))
        .ignored();
    let next_one = || silently(|t| matches!(t.kind, T::Comma | T::RParen)).rewind();
    let comma = tok(T::Comma, Want::Comma)
        .ignored()
        .recover_with(via_parser(choice((
            silently(|t| matches!(t.kind, T::Word | T::Field) && !t.key.joins())
                .rewind()
                .ignored(),
            lost.clone()
                .then(tok(T::Comma, Want::Comma).or(next_one()))
                .ignored(),
        ))));
    let parameters = tok(T::Field, Want::ParameterName)
        .map_with(name_of)
        .then_ignore(tok(T::Equals, Want::Equals))
        .then(filled_in.clone().map(Some))
        .or(word(Want::ParameterName).map(|n| (n, None)))
        .map(|(name, value)| Some(Parameter { name, value }))
        .recover_with(via_parser(
            lost.clone()
                .or(silently(|t| t.kind == T::Comma).rewind().ignored())
                .to(None),
        ))
        .separated_by(comma.clone())
        .allow_trailing()
        .collect::<Vec<_>>()
        .map(|list| list.into_iter().flatten().collect())
        .delimited_by(tok(T::LParen, Want::Call), tok(T::RParen, Want::RParen))
        .boxed();
    let arguments = tok(T::Field, Want::ArgumentName)
        .map_with(name_of)
        .then_ignore(tok(T::Equals, Want::Equals))
        .then(filled_in)
        .map(|(name, value)| Some(Argument { name, value }))
        .recover_with(via_parser(
            lost.or(silently(|t| t.kind == T::Comma).rewind().ignored())
                .to(None),
        ))
        .separated_by(comma)
        .allow_trailing()
        .collect::<Vec<_>>()
        .map(|list| list.into_iter().flatten().collect())
        .delimited_by(tok(T::LParen, Want::Call), tok(T::RParen, Want::RParen))
        .boxed();
    let named_after = |key: Key, want: Want| {
        keyword(key, want).ignore_then(
            path(Want::Name)
                .map(Some)
                .recover_with(via_parser(empty().to(None))),
        )
    };
    let decl = when(Want::Item, |t| {
        t.kind == T::Word && !t.key.joins() && !matches!(t.key, Key::Use | Key::Let | Key::Require)
    })
    .map_with(name_of)
    // A pattern is filled in by its name.
    .then(word(Want::DeclName).then(parameters.or_not()).or_not())
    .then(
        named_after(Key::Like, Want::Like)
            .then(arguments.or_not())
            .or_not(),
    )
    .then(named_after(Key::Of, Want::Of).or_not())
    .then(entries.clone().map(Some).recover_with(via_parser(
        skip_to(tree.clone(), |t| t.kind == T::LBrace).ignore_then(entries.or_not()),
    )))
    .map_with(|((((kind, named), like), of), block), e| {
        let (name, parameters) = match named {
            Some((name, parameters)) => (Some(name), parameters),
            None => (None, None),
        };
        if block.is_none() && name.is_none() {
            return ItemKind::Empty;
        }
        let (entries, body) = block.unwrap_or_else(|| {
            let end = span_of(e).end as usize;
            (Vec::new(), Span::at(end))
        });
        let (like, arguments) = like.unwrap_or_default();
        ItemKind::Decl(Decl {
            kind,
            name,
            parameters,
            like,
            arguments,
            of: of.flatten(),
            entries,
            body,
        })
    });
    let end = tok(END, Want::End)
        .ignored()
        .recover_with(via_parser(rest(tree.clone()).then(any()).ignored()));
    // `accept` is tried first: its second word is no declaration's name.
    choice((accept().map(ItemKind::Accept), decl, require, let_, use_))
        .recover_with(via_parser(
            tree.clone().ignore_then(rest(tree)).to(ItemKind::Empty),
        ))
        .then_ignore(end)
        .boxed()
}

thread_local! {
    static ITEM: P<ItemKind> = item();
}

/// Parses one chunk. Never fails: what cannot be read is reported and left out.
pub fn parse_chunk(text: &str) -> Parsed {
    parse_tokens(text, &lex(text))
}

/// Parses one chunk whose tokens are known already; their spans count from the chunk's start.
pub fn parse_tokens(text: &str, raw: &[Raw]) -> Parsed {
    let mut errors = Vec::new();
    let headless = headless(text, raw);
    let toks = match headless {
        // Brackets and rows say nothing where nobody knows in what they stand.
        Some(first) => {
            errors.push(no_head(text, first));
            None
        }
        None => prepare(text, raw, &mut errors),
    };
    let file_doc = doc_text(text, raw.iter().filter(|r| r.kind == T::FileDoc));
    let mut parsed = Parsed {
        item: Item {
            doc: SmolStr::default(),
            kind: ItemKind::Empty,
            span: Span::at(text.len()),
        },
        file_doc,
        errors,
    };
    let Some(toks) = toks.filter(|t| !t.is_empty()) else {
        return parsed;
    };
    let whole = toks[0].span.join(toks[toks.len() - 1].span);
    let input = grammar_tokens(text, &toks, whole.end);
    let mut source = Source {
        text: text.to_owned(),
        toks: input.clone(),
    };
    let (kind, slips) = ITEM
        .with(|item| item.parse_with_state(Stream::from_iter(input), &mut source))
        .into_output_errors();
    parsed.item.kind = kind.unwrap_or(ItemKind::Empty);
    parsed.item.span = whole;
    attach_docs(text, raw, &mut parsed.item);
    if !slips.is_empty() {
        Report::new(text, &toks, &parsed.errors).all(&slips, &mut parsed.errors);
    }
    parsed.errors.sort_by_key(|e| (e.span.start, e.span.end));
    parsed
}

/// The one finding on lines that would be right in a block.
fn no_head(text: &str, first: Span) -> SyntaxError {
    let mut e = slip(
        first,
        format!(
            "{} stands in no block: expected a declaration and its `{{` before it",
            quote(first.slice(text))
        ),
    );
    e.help = Some(
        "move it into the block it belongs to, or write the head of one before it, such as `ring seal {`"
            .to_owned(),
    );
    e
}

fn grammar_tokens(text: &str, toks: &[Tok<'_>], end: u32) -> Vec<Pt> {
    let mut out: Vec<Pt> = Vec::with_capacity(toks.len() + 1);
    // For each open bracket, whether it is a block, and the column of its last entry.
    let mut line = column(text, toks[0].span.start);
    let mut open: Vec<(bool, u32)> = vec![(true, line)];
    for (n, t) in toks.iter().enumerate() {
        if t.first {
            line = column(text, t.span.start);
        } else if let Some((true, before @ u32::MAX)) = open.last_mut() {
            // The first entry stands on the line of the `{`.
            *before = line;
        }
        let key = if t.kind == T::Word {
            Key::of(t.text)
        } else {
            Key::Other
        };
        let mut begins = false;
        match t.kind {
            T::LBrace => open.push((true, u32::MAX)),
            T::LParen | T::LBracket => open.push((false, 0)),
            T::RBrace | T::RParen | T::RBracket => {
                open.pop();
            }
            _ if t.first && n > 0 => {
                if let Some((true, before)) = open.last_mut()
                    && line <= *before
                {
                    *before = line;
                    begins = t.kind == T::Word && !key.joins();
                }
            }
            _ => {}
        }
        out.push(Pt {
            kind: t.kind,
            key,
            first: t.first,
            begins,
            span: t.span,
        });
    }
    out.push(Pt {
        kind: END,
        key: Key::Other,
        first: true,
        begins: false,
        span: Span::at(end as usize),
    });
    out
}

/// How far the byte `at` is from its line's start.
fn column(text: &str, at: u32) -> u32 {
    let line = text.as_bytes()[..at as usize]
        .iter()
        .rev()
        .take_while(|b| !matches!(b, b'\n' | b'\r'));
    line.count() as u32
}

/// Longest piece of the text that a message repeats, in characters.
const QUOTED: usize = 40;

/// How many tokens of a line a message looks at for what the line was meant to be.
const LOOK: usize = 64;

/// A piece of the text for a message: in backticks, cut where it is long.
pub(crate) fn quote(text: &str) -> String {
    match text.char_indices().nth(QUOTED) {
        None => format!("`{text}`"),
        Some((cut, _)) => format!("`{}…`", &text[..cut]),
    }
}

/// Puts the parser's slips into words.
struct Report<'a> {
    text: &'a str,
    toks: &'a [Tok<'a>],
    lines: LineIndex,
    /// Lines that have a finding about a bracket, a quote or a strange character already.
    told: HashSet<u32>,
}

impl<'a> Report<'a> {
    fn new(text: &'a str, toks: &'a [Tok<'a>], before: &[SyntaxError]) -> Self {
        let lines = LineIndex::new(text);
        let mut told = HashSet::new();
        for e in before {
            told.insert(lines.line_of(e.span.start as usize));
            if let Some((put, _)) = &e.related {
                told.insert(lines.line_of(put.start as usize));
            }
        }
        Self {
            text,
            toks,
            lines,
            told,
        }
    }

    fn all(&self, slips: &[PErr], out: &mut Vec<SyntaxError>) {
        let mut last = None;
        for slip in slips {
            let e = self.say(*slip);
            // A slip and what follows from it on its line are one finding.
            if last != Some(e.span)
                && !self
                    .told
                    .contains(&self.lines.line_of(e.span.start as usize))
            {
                last = Some(e.span);
                out.push(e);
            }
        }
    }

    fn say(&self, e: PErr) -> SyntaxError {
        let found = self.toks.get(e.at).copied();
        let previous =
            e.at.checked_sub(1)
                .and_then(|p| self.toks.get(p).or_else(|| self.toks.last()))
                .copied();
        // Nothing more stands on the line: the slip is shown where something is missing, not on the next line.
        let ends = found.is_none_or(|f| f.first || f.kind == T::Newline || f.span.is_empty());
        let known = self
            .misspelt_word(e)
            .or_else(|| self.forgotten_because(e, found))
            .or_else(|| self.forgotten_word(e, found))
            .or_else(|| self.word_too_many(e))
            .or_else(|| self.misplaced_equals(e, found))
            .or_else(|| comma_in_row(e, found))
            .or_else(|| self.forgotten_equals(e, found, previous));
        if let Some(known) = known {
            return known;
        }
        let wanted = self.wanted(e.wants, found);
        // A line that begins wrongly is shown itself.
        let begins = e.wants.has(Want::Entry)
            || e.wants.has(Want::LineEnd) && ends
            || e.wants.has(Want::End)
            || e.wants.has(Want::Computable)
            || e.wants.has(Want::FunctionName);
        let there = found.filter(|f| !ends || begins && !f.span.is_empty() && f.kind != T::Newline);
        match (there, previous) {
            (Some(f), Some(p)) if !begins && !p.text.is_empty() => slip(
                f.span,
                format!(
                    "expected {wanted} after {}, but {} stands here",
                    shown(p),
                    shown(f)
                ),
            ),
            (Some(f), _) => slip(
                f.span,
                format!("expected {wanted}, but {} stands here", shown(f)),
            ),
            (None, Some(p)) => slip(
                p.span,
                format!("expected {wanted} after {}, but the line ends", shown(p)),
            ),
            (None, None) => slip(
                Span::at(self.text.len()),
                format!("expected {wanted}, but the text ends"),
            ),
        }
    }

    /// What was expected, as a list in words.
    fn wanted(&self, wants: Wants, found: Option<Tok<'_>>) -> String {
        let wants = if wants.has(Want::LineEnd) && found.is_some_and(|f| f.first) {
            Wants::one(Want::Entry)
        } else {
            wants
        };
        let alone = |w: Want| wants.has(w).then(|| Wants::one(w));
        let mut strong = wants.without(Wants::MINOR);
        if let Some(only) = alone(Want::Computable)
            .or(alone(Want::FunctionName))
            .or(alone(Want::Cell))
            .or(alone(Want::LineEnd))
            .or(alone(Want::Code))
            .or(alone(Want::EveryWord))
        {
            strong = only;
        }
        if strong.has(Want::Entry) {
            strong = strong.without(Wants::one(Want::RBrace));
        }
        let mut words = if strong == Wants::default() {
            wants.texts()
        } else {
            strong.texts()
        };
        if strong == Wants::one(Want::End) && found.is_some_and(|f| !f.first) {
            words = vec!["the end of the line"];
        }
        // Two values side by side.
        let side_by_side = found.is_some_and(|f| {
            matches!(
                f.kind,
                T::Word | T::Number | T::Fraction | T::LParen | T::Dot | T::Unit
            )
        });
        if side_by_side && wants.has(Want::Operator) {
            words.insert(0, "an operator");
        }
        if strong == Wants::one(Want::Acceptance) && wants.has(Want::On) {
            words.insert(0, "`on` and a name");
        }
        if strong == Wants::one(Want::Block) {
            // The head of a declaration may go on.
            let more = [
                (Want::DeclName, "a name"),
                (Want::Like, "`like`"),
                (Want::Of, "`of`"),
            ];
            let more = more.iter().filter(|(w, _)| wants.has(*w));
            words.splice(0..0, more.map(|(_, text)| *text));
        }
        words.dedup();
        match words.split_last() {
            None => "something else".to_owned(),
            Some((one, [])) => (*one).to_owned(),
            Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
        }
    }

    /// A line that begins with what is nearly `use`, `let` or `require`.
    fn misspelt_word(&self, e: PErr) -> Option<SyntaxError> {
        let begins = match e.at {
            0 => e.wants.has(Want::Item),
            1 => e.wants.has(Want::DeclName) && !self.toks.iter().any(|t| t.kind == T::LBrace),
            _ => false,
        };
        if !begins {
            return None;
        }
        let first = self.toks.first().filter(|t| t.kind == T::Word)?;
        let meant = crate::words::of_sort(Sort::Item).find(|w| one_slip_apart(first.text, w))?;
        let mut said = slip(
            first.span,
            format!(
                "expected a declaration, `use`, `let` or `require`, but {} stands here; did you mean `{meant}`?",
                shown(*first)
            ),
        );
        said.help = Some(format!("write `{meant}`"));
        said.fix = Some((first.span, meant.to_owned()));
        Some(said)
    }

    /// A reason right behind a rule.
    fn forgotten_because(&self, e: PErr, found: Option<Tok<'_>>) -> Option<SyntaxError> {
        let reason = found.filter(|f| f.kind == T::Text)?;
        let rule = self.toks.first().is_some_and(|t| t.text == "require");
        if !rule || !e.wants.has(Want::Because) {
            return None;
        }
        let mut said = slip(
            reason.span,
            format!("expected `because` before {}", shown(reason)),
        );
        said.help = Some("write `because` before the reason".to_owned());
        said.fix = Some((Span::at(reason.span.start as usize), "because ".to_owned()));
        Some(said)
    }

    /// A line that would be right with `let` or `require` before it, or that is nothing at all.
    fn forgotten_word(&self, e: PErr, found: Option<Tok<'_>>) -> Option<SyntaxError> {
        let first = *self.toks.first()?;
        let headless = e.at == 1
            && e.wants.has(Want::DeclName)
            && !crate::words::begins_item(first.text)
            && found.is_some()
            && !self.toks.iter().any(|t| t.kind == T::LBrace);
        if !(e.at == 0 && e.wants.has(Want::Item) || headless) {
            return None;
        }
        if first.kind == T::Field && crate::words::begins_item(first.text) {
            return Some(slip(
                first.span,
                format!(
                    "expected a name after {}, but `=` stands there",
                    shown(first)
                ),
            ));
        }
        let mut said = slip(
            first.span,
            format!(
                "expected a declaration, `use`, `let`, `require` or `accept`, but {} stands here",
                shown(first)
            ),
        );
        let add = if first.kind == T::Field {
            "let"
        } else if self.toks.iter().any(|t| {
            matches!(t.kind, T::AtLeast | T::AtMost | T::Above | T::Below) || t.text == "within"
        }) {
            "require"
        } else {
            return Some(said);
        };
        said.help = Some(format!("write `{add}` before it"));
        said.fix = Some((Span::at(first.span.start as usize), format!("{add} ")));
        Some(said)
    }

    /// A path where an entry would begin, but on a line that holds one already; or a path that is set like a field.
    fn word_too_many(&self, e: PErr) -> Option<SyntaxError> {
        if !e.wants.has(Want::Arrow) || e.wants.has(Want::Entry) {
            return None;
        }
        let mut at = e.at.checked_sub(1)?;
        while at >= 2 && self.toks.get(at - 1).is_some_and(|t| t.kind == T::Dot) {
            at -= 2;
        }
        let (word, before) = (*self.toks.get(at)?, *self.toks.get(at.checked_sub(1)?)?);
        if word.kind != T::Word {
            return None;
        }
        let begins = word.first || matches!(before.kind, T::LBrace | T::Semicolon);
        if begins {
            let set = self.toks.get(e.at).is_some_and(|t| t.kind == T::Equals);
            return (set && e.at > at + 1).then(|| {
                let mut said = slip(
                    word.span.join(self.toks[e.at - 1].span),
                    "expected a plain name before `=`, but a path stands here".to_owned(),
                );
                said.help = Some("in a duty, a path is held: write `hold` before it".to_owned());
                said
            });
        }
        if matches!(before.kind, T::RBrace | T::Colon | T::Arrow) || before.text == "of" {
            return None;
        }
        let line = self.toks[..at].iter().rev();
        let in_lay = line
            .take_while(|t| !t.first && t.kind != T::LBrace)
            .take(LOOK)
            .any(|t| t.kind == T::Arrow);
        let wanted = if in_lay {
            "`->`, `:` or the end of the line"
        } else {
            "an operator or the end of the line"
        };
        Some(slip(
            word.span,
            format!(
                "expected {wanted} after {}, but {} stands here",
                shown(before),
                shown(word)
            ),
        ))
    }

    /// A `=` where a rule compares or a function names its parameters, or none where an argument has its value.
    fn misplaced_equals(&self, e: PErr, found: Option<Tok<'_>>) -> Option<SyntaxError> {
        let f = found?;
        if f.kind == T::Field && e.wants.has(Want::Value) && self.toks.first()?.text == "require" {
            let mut said = slip(
                f.span,
                format!(
                    "expected a comparison such as `>=` or `within` after {}, but `=` stands there",
                    shown(f)
                ),
            );
            said.help = Some(format!(
                "a rule sets nothing: write `{0} within … .. …`, or `{0} is …` for a word or a count",
                f.text
            ));
            return Some(said);
        }
        if f.kind == T::Field && e.wants.has(Want::ParameterName) {
            let mut said = slip(
                f.span,
                format!(
                    "expected `,` or `)` after {}, but `=` stands there",
                    shown(f)
                ),
            );
            said.help =
                Some("a function is given each of its values where it is called".to_owned());
            return Some(said);
        }
        if f.kind == T::Word && e.wants.has(Want::ArgumentName) {
            let mut said = slip(
                f.span,
                format!("expected `=` and a value after {}", shown(f)),
            );
            said.help = Some(format!(
                "name the parameter and its value: `{} = …`",
                f.text
            ));
            return Some(said);
        }
        None
    }

    /// A line that begins with a name and goes on with a value is a field whose sign was forgotten.
    fn forgotten_equals(
        &self,
        e: PErr,
        found: Option<Tok<'_>>,
        previous: Option<Tok<'_>>,
    ) -> Option<SyntaxError> {
        let p = previous.filter(|p| p.kind == T::Word && !e.wants.has(Want::Code))?;
        let begins = p.first
            || e.at >= 2
                && self
                    .toks
                    .get(e.at - 2)
                    .is_some_and(|t| matches!(t.kind, T::LBrace | T::Semicolon));
        if !(begins && e.wants.has(Want::Arrow) && e.wants.has(Want::Block)) {
            return None;
        }
        let goes_on = found.filter(|f| !f.first && f.kind != T::RBrace && f.kind != T::Newline);
        let Some(f) = goes_on else {
            let mut said = slip(
                p.span,
                format!(
                    "expected `=` and a value after {}, but nothing follows",
                    shown(p)
                ),
            );
            said.help = Some(format!("write `{} = …`, or a block in `{{ }}`", p.text));
            return Some(said);
        };
        let rest = || {
            self.toks[e.at..]
                .iter()
                .take_while(|t| !t.first && t.kind != T::Semicolon)
                .take(LOOK)
        };
        if rest().any(|t| t.kind == T::Arrow) {
            return Some(slip(
                f.span,
                format!(
                    "expected `->` after {}, but {} stands here",
                    shown(p),
                    shown(f)
                ),
            ));
        }
        if rest().any(|t| t.kind == T::LBrace) {
            return Some(slip(
                f.span,
                format!(
                    "expected `at`, `(` or `{{` after {}, but {} stands here",
                    shown(p),
                    shown(f)
                ),
            ));
        }
        if f.kind == T::Field {
            return Some(slip(
                p.span,
                format!(
                    "expected `=` after {}, but {} stands there",
                    shown(p),
                    shown(f)
                ),
            ));
        }
        if !matches!(
            f.kind,
            T::Word | T::Number | T::Fraction | T::Text | T::Date | T::Minus | T::LBracket
        ) {
            return None;
        }
        let mut said = slip(
            p.span,
            format!(
                "expected `=` after {}, but {} stands there",
                shown(p),
                shown(f)
            ),
        );
        said.help = Some(format!("write `{} = …`", p.text));
        said.fix = Some((Span::at(p.span.end as usize), " =".to_owned()));
        Some(said)
    }
}

/// Whether two words differ by one letter too many, too few or another, or by two neighbours that changed places.
fn one_slip_apart(a: &str, b: &str) -> bool {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let front = a.iter().zip(&b).take_while(|(x, y)| x == y).count();
    let back = a[front..]
        .iter()
        .rev()
        .zip(b[front..].iter().rev())
        .take_while(|(x, y)| x == y)
        .count();
    match (&a[front..a.len() - back], &b[front..b.len() - back]) {
        ([] | [_], [_]) | ([_], []) => true,
        ([x, y], [u, v]) => x == v && y == u,
        _ => false,
    }
}

/// A comma between the cells of a row.
fn comma_in_row(e: PErr, found: Option<Tok<'_>>) -> Option<SyntaxError> {
    let comma = found.filter(|f| f.kind == T::Comma && e.wants.has(Want::RowEnd))?;
    let mut said = slip(
        comma.span,
        "the cells of a row stand side by side, without `,` between them".to_owned(),
    );
    said.help = Some("take the comma out".to_owned());
    said.fix = Some((comma.span, String::new()));
    Some(said)
}

fn slip(span: Span, message: String) -> SyntaxError {
    SyntaxError {
        kind: SyntaxErrorKind::Unexpected,
        span,
        message,
        help: None,
        related: None,
        fix: None,
    }
}

/// How a token is named in a message: as written, where that says more than its kind.
fn shown(t: Tok<'_>) -> String {
    if t.text.is_empty() {
        t.kind.describe().to_owned()
    } else {
        quote(t.text)
    }
}

/// Doc lines without their marks, joined.
fn doc_text<'r>(text: &str, lines: impl Iterator<Item = &'r Raw>) -> String {
    let mut out = String::new();
    for (n, r) in lines.enumerate() {
        let line = r.span.slice(text);
        let line = line.get(3..).unwrap_or("");
        if n > 0 {
            out.push('\n');
        }
        out.push_str(line.strip_prefix(' ').unwrap_or(line).trim_end());
    }
    out
}

/// Gives each item and entry the `///` lines right before it.
fn attach_docs(text: &str, raw: &[Raw], item: &mut Item) {
    let docs: Vec<Raw> = raw.iter().filter(|r| r.kind == T::Doc).copied().collect();
    if docs.is_empty() {
        return;
    }
    item.doc = docs_between(text, &docs, 0, item.span.start);
    if let ItemKind::Decl(d) = &mut item.kind {
        entry_docs(text, &docs, d.body.start, &mut d.entries);
    }
}

fn docs_between(text: &str, docs: &[Raw], from: u32, to: u32) -> SmolStr {
    let first = docs.partition_point(|r| r.span.start < from);
    let last = docs.partition_point(|r| r.span.end <= to);
    if first >= last {
        return SmolStr::default();
    }
    doc_text(text, docs[first..last].iter()).into()
}

fn entry_docs(text: &str, docs: &[Raw], mut from: u32, entries: &mut [Entry]) {
    for e in entries {
        e.doc = docs_between(text, docs, from, e.span.start);
        from = e.span.end;
        if let EntryKind::Group { entries, body, .. } = &mut e.kind {
            entry_docs(text, docs, body.start, entries);
        }
    }
}
