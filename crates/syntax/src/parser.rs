//! The grammar of one chunk, in `chumsky`, over prepared tokens.
//!
//! Recovery is by entry: an entry that cannot be read is reported once and skipped to the next line or
//! field; everything else in its block stands. Brackets already balance when the tokens get here, so
//! skipping never runs past a block. The error type is our own and small; words are put together only
//! when an error is shown.

use crate::ast::*;
use crate::prepare::{JOINING, Tok, prepare};
use crate::token::{Raw, T, lex};
use crate::{Parsed, SyntaxError, SyntaxErrorKind};
use chumsky::error::{Error, LabelError};
use chumsky::input::{Input, ValueInput};
use chumsky::prelude::*;
use chumsky::util::MaybeRef;
use chumsky::{DefaultExpected, select};
use cutwater_text::Span;
use smol_str::SmolStr;

/// Our own parse error: where, what was found, and what would have been welcome.
#[derive(Clone, Debug)]
pub struct PErr {
    span: SimpleSpan,
    found: Option<(T, bool)>,
    expected: Vec<&'static str>,
}

impl<'t, 's: 't, I: Input<'t, Token = Tok<'s>, Span = SimpleSpan>> Error<'t, I> for PErr {
    fn merge(mut self, other: Self) -> Self {
        for e in other.expected {
            if !self.expected.contains(&e) {
                self.expected.push(e);
            }
        }
        self
    }
}

impl<'t, 's: 't, I: Input<'t, Token = Tok<'s>, Span = SimpleSpan>>
    LabelError<'t, I, DefaultExpected<'t, Tok<'s>>> for PErr
{
    fn expected_found<E: IntoIterator<Item = DefaultExpected<'t, Tok<'s>>>>(
        _expected: E,
        found: Option<MaybeRef<'t, Tok<'s>>>,
        span: SimpleSpan,
    ) -> Self {
        PErr {
            span,
            found: found.map(|f| (f.kind, f.first)),
            expected: Vec::new(),
        }
    }
}

impl<'t, 's: 't, I: Input<'t, Token = Tok<'s>, Span = SimpleSpan>> LabelError<'t, I, &'static str>
    for PErr
{
    fn expected_found<E: IntoIterator<Item = &'static str>>(
        expected: E,
        found: Option<MaybeRef<'t, Tok<'s>>>,
        span: SimpleSpan,
    ) -> Self {
        PErr {
            span,
            found: found.map(|f| (f.kind, f.first)),
            expected: expected.into_iter().collect(),
        }
    }

    fn label_with(&mut self, label: &'static str) {
        self.expected = vec![label];
    }
}

type Ex = extra::Err<PErr>;

fn span(s: SimpleSpan) -> Span {
    Span::new(s.start, s.end)
}

fn tok<'t, 's: 't, I>(kind: T, label: &'static str) -> impl Parser<'t, I, Tok<'s>, Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    any()
        .filter(move |t: &Tok<'s>| t.kind == kind)
        .labelled(label)
}

fn name_of(t: Tok<'_>) -> Name {
    Name {
        text: SmolStr::new(t.text),
        span: t.span,
    }
}

/// A word that is not one of `JOINING`.
fn word<'t, 's: 't, I>(label: &'static str) -> impl Parser<'t, I, Name, Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    any()
        .filter(|t: &Tok<'s>| t.kind == T::Word && !JOINING.contains(&t.text))
        .map(name_of)
        .labelled(label)
}

fn keyword<'t, 's: 't, I>(
    text: &'static str,
    label: &'static str,
) -> impl Parser<'t, I, Tok<'s>, Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    any()
        .filter(move |t: &Tok<'s>| t.kind == T::Word && t.text == text)
        .labelled(label)
}

/// Reads a number as written; `None` for a division by zero in a fraction or digits too long for a float.
pub fn parse_number(text: &str) -> Option<f64> {
    let (sign, body) = match text.strip_prefix('-') {
        Some(rest) => (-1.0, rest),
        None => (1.0, text.strip_prefix('+').unwrap_or(text)),
    };
    let plain = |s: &str| -> Option<f64> { s.replace('_', "").parse().ok() };
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

fn number_value(t: Tok<'_>) -> Result<f64, PErr> {
    parse_number(t.text).ok_or(PErr {
        span: SimpleSpan::from(t.span.range()),
        found: Some((t.kind, t.first)),
        expected: vec!["a number that can be computed"],
    })
}

fn any_number<'t, 's: 't, I>() -> impl Parser<'t, I, (f64, Span), Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    any()
        .filter(|t: &Tok<'s>| matches!(t.kind, T::Number | T::Fraction))
        .labelled("a number")
        .try_map(|t, _| Ok((number_value(t)?, t.span)))
}

fn unit<'t, 's: 't, I>() -> impl Parser<'t, I, Name, Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    tok(T::Unit, "a unit").map(name_of)
}

fn path<'t, 's: 't, I>(label: &'static str) -> impl Parser<'t, I, Path, Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    word(label)
        .then(
            tok(T::Dot, "`.`")
                .ignore_then(
                    any()
                        .filter(|t: &Tok<'s>| matches!(t.kind, T::Word | T::Field | T::Unit) && !t.first)
                        .map(name_of)
                        .labelled("a name after the `.`"),
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

fn tolerance<'t, 's: 't, I>() -> impl Parser<'t, I, Tolerance, Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    let plus_minus = tok(T::PlusMinus, "a tolerance")
        .ignore_then(any_number())
        .then(unit().or_not())
        .map_with(|((value, _), unit), e| Tolerance {
            plus: value,
            minus: -value,
            unit,
            span: span(e.span()),
        });
    let signed = tok(T::Plus, "`+`").or_not().ignore_then(any_number());
    let pair = tok(T::LParen, "a tolerance")
        .ignore_then(signed.clone())
        .then_ignore(tok(T::Slash, "`/` between the two deviations"))
        .then(signed)
        .then(unit().or_not())
        .then_ignore(tok(T::RParen, "`)`"))
        .map_with(|(((a, _), (b, _)), unit), e| Tolerance {
            plus: a.max(b),
            minus: a.min(b),
            unit,
            span: span(e.span()),
        });
    plus_minus.or(pair)
}

fn literal<'t, 's: 't, I>() -> impl Parser<'t, I, Expr, Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    any_number()
        .then(unit().or_not())
        .then(tolerance().or_not())
        .map_with(|(((value, digits), unit), tolerance), e| Expr {
            kind: ExprKind::Number(Number {
                value,
                digits,
                unit,
                tolerance,
            }),
            span: span(e.span()),
        })
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

/// Sums and below; no ranges.
fn sum<'t, 's: 't, I>(
    whole: impl Parser<'t, I, Expr, Ex> + Clone + 't,
) -> impl Parser<'t, I, Expr, Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    let list = whole
        .clone()
        .separated_by(tok(T::Comma, "`,`"))
        .allow_trailing()
        .collect::<Vec<_>>()
        .delimited_by(tok(T::LBracket, "`[`"), tok(T::RBracket, "`]`"))
        .map(ExprKind::List);
    let arguments = whole
        .clone()
        .separated_by(tok(T::Comma, "`,`"))
        .allow_trailing()
        .collect::<Vec<_>>()
        .delimited_by(tok(T::LParen, "`(`"), tok(T::RParen, "`)`"));
    let named = path("a name").then(arguments.or_not()).try_map(|(p, args), s| match args {
        None => Ok(ExprKind::Path(p)),
        Some(arguments) => {
            let mut names = p.names;
            match (names.pop(), names.is_empty()) {
                (Some(function), true) => Ok(ExprKind::Call {
                    function,
                    arguments,
                }),
                _ => Err(PErr {
                    span: s,
                    found: None,
                    expected: vec!["a function's plain name before `(`"],
                }),
            }
        }
    });
    let paren = whole.delimited_by(tok(T::LParen, "`(`"), tok(T::RParen, "`)`"));
    let other = choice((
        list,
        tok(T::Date, "a date").map(|t: Tok<'s>| date_of(t.text)),
        tok(T::Text, "a text").map(|t: Tok<'s>| ExprKind::Text(SmolStr::new(t.text.trim_matches('"')))),
        named,
    ))
    .map_with(|kind, e| Expr {
        kind,
        span: span(e.span()),
    });
    let atom = literal().or(paren).or(other).boxed();
    let signed = tok(T::Minus, "a value")
        .map(|t: Tok<'s>| t.span.start)
        .repeated()
        .collect::<Vec<_>>()
        .then(
            atom.clone().then(
                tok(T::Caret, "`^`")
                    .ignore_then(tok(T::Minus, "`-`").or_not().then(atom))
                    .or_not(),
            ),
        )
        .map(|(minuses, (base, power))| {
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
    let product = flat(
        signed,
        select! { Tok { kind: T::Star, .. } => false, Tok { kind: T::Slash, .. } => true }
            .labelled("an operator"),
        ExprKind::Product,
    )
    .boxed();
    flat(
        product,
        select! { Tok { kind: T::Plus, .. } => false, Tok { kind: T::Minus, .. } => true }
            .labelled("an operator"),
        ExprKind::Sum,
    )
    .boxed()
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

fn flat<'t, 's: 't, I>(
    operand: impl Parser<'t, I, Expr, Ex> + Clone,
    operator: impl Parser<'t, I, bool, Ex> + Clone,
    make: fn(Box<Expr>, Vec<(bool, Expr)>) -> ExprKind,
) -> impl Parser<'t, I, Expr, Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
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
}

fn expr<'t, 's: 't, I>() -> impl Parser<'t, I, Expr, Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    recursive(|whole| {
        let sum = sum(whole);
        sum.clone()
            .then(
                tok(T::DotDot, "`..`")
                    .ignore_then(sum)
                    .or_not(),
            )
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
    .labelled("a value")
    .boxed()
}

/// A field's value: an expression, `20 ft of hose`, or `1250 gpm at 150 psi`.
fn value<'t, 's: 't, I>() -> impl Parser<'t, I, Expr, Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    let e = expr();
    let of = keyword("of", "`of`").ignore_then(path("a name after `of`"));
    let phrase = any()
        .filter(|t: &Tok<'s>| t.kind == T::Word && matches!(t.text, "at" | "per"))
        .map(name_of)
        .labelled("`at`")
        .then(e.clone())
        .repeated()
        .at_least(1)
        .collect::<Vec<_>>();
    enum Tail {
        Of(Path),
        Phrase(Vec<(Name, Expr)>),
    }
    e.then(of.map(Tail::Of).or(phrase.map(Tail::Phrase)).or_not())
        .map_with(|(head, tail), x| match tail {
            None => head,
            Some(tail) => Expr {
                kind: match tail {
                    Tail::Of(p) => ExprKind::Of(Box::new(head), p),
                    Tail::Phrase(parts) => ExprKind::Phrase(Box::new(head), parts),
                },
                span: span(x.span()),
            },
        })
        .boxed()
}

fn cell<'t, 's: 't, I>() -> impl Parser<'t, I, Cell, Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    any_number()
        .map(|(v, _)| CellKind::Number(v))
        .or(tok(T::Plus, "a number")
            .ignore_then(any_number())
            .map(|(v, _)| CellKind::Number(v)))
        .or(tok(T::Minus, "`-` for no value").map(|_| CellKind::Absent))
        .or(tok(T::Text, "a text").map(|t: Tok<'s>| CellKind::Text(SmolStr::new(t.text.trim_matches('"')))))
        .or(tok(T::Word, "a name").map(|t: Tok<'s>| CellKind::Word(SmolStr::new(t.text))))
        .labelled("a cell")
        .map_with(|kind, e| Cell {
            kind,
            span: span(e.span()),
        })
}

/// Anything up to the next line, field or row end, whole blocks at a time. Takes at least one token.
fn skip<'t, 's: 't, I>() -> impl Parser<'t, I, (), Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    let opens = |k: T| matches!(k, T::LBrace | T::LParen | T::LBracket);
    let closes = |k: T| matches!(k, T::RBrace | T::RParen | T::RBracket);
    let tree = recursive(move |tree| {
        let block = any()
            .filter(move |t: &Tok<'s>| opens(t.kind))
            .then(tree.repeated())
            .then(any().filter(move |t: &Tok<'s>| closes(t.kind)))
            .ignored();
        block.or(any()
            .filter(move |t: &Tok<'s>| !opens(t.kind) && !closes(t.kind))
            .ignored())
    })
    .boxed();
    let stops = any().filter(|t: &Tok<'s>| t.first || matches!(t.kind, T::Field | T::Semicolon));
    tree.clone()
        .then(stops.not().rewind().ignore_then(tree).repeated())
        .ignored()
}

fn table<'t, 's: 't, I>() -> impl Parser<'t, I, EntryKind, Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    let column = word("a column's name")
        .then(unit().or_not())
        .map(|(name, unit)| Column { name, unit });
    let head = column
        .separated_by(tok(T::Comma, "`,` between columns"))
        .allow_trailing()
        .collect::<Vec<_>>()
        .delimited_by(
            tok(T::LParen, "`(` and the table's columns"),
            tok(T::RParen, "`)` after the last column"),
        )
        .map_with(|c, e| (c, span(e.span())));
    let separator = any()
        .filter(|t: &Tok<'s>| matches!(t.kind, T::Newline | T::Semicolon))
        .labelled("the end of the row");
    let bad_cell = any()
        .filter(|t: &Tok<'s>| !matches!(t.kind, T::Newline | T::Semicolon | T::RBrace))
        .ignored()
        .repeated()
        .at_least(1);
    let row = cell()
        .repeated()
        .at_least(1)
        .collect::<Vec<_>>()
        .then_ignore(separator.clone().ignored().or(tok(T::RBrace, "`}`").ignored()).rewind())
        .map_with(|cells, e| {
            Some(Row {
                cells,
                span: span(e.span()),
            })
        })
        .recover_with(via_parser(bad_cell.map(|()| None)))
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
        .delimited_by(tok(T::LBrace, "`{` and the table's rows"), tok(T::RBrace, "`}`"))
        .map_with(|r, e| (r, span(e.span())));
    word("a table's name")
        .then(keyword("at", "`at`").ignore_then(expr()).or_not())
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
}

fn chain<'t, 's: 't, I>() -> impl Parser<'t, I, EntryKind, Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    let modifier = any()
        .filter(|t: &Tok<'s>| t.kind == T::Word && matches!(t.text, "rise" | "fall" | "lines"))
        .map(name_of)
        .labelled("`rise`, `fall` or `lines`")
        .then(expr())
        .map(|(word, value)| Modifier { word, value });
    let segment = word("a name")
        .then_ignore(tok(T::Colon, "`:`"))
        .or_not()
        .then(literal().then_ignore(keyword("of", "`of` and what it is")).or_not())
        .then(path("what comes next in the lay"))
        .then(modifier.repeated().collect::<Vec<_>>())
        .map_with(|(((label, amount), what), modifiers), e| Segment {
            label,
            amount,
            what,
            modifiers,
            span: span(e.span()),
        })
        .boxed();
    segment
        .clone()
        .then_ignore(tok(T::Arrow, "`->`"))
        .then(
            segment
                .separated_by(tok(T::Arrow, "`->`"))
                .at_least(1)
                .collect::<Vec<_>>(),
        )
        .map(|(first, mut rest)| {
            rest.insert(0, first);
            EntryKind::Chain(rest)
        })
}

fn entries<'t, 's: 't, I>() -> impl Parser<'t, I, (Vec<Entry>, Span), Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    recursive(|block| {
        let field = tok(T::Field, "a field")
            .map(name_of)
            .then_ignore(tok(T::Equals, "`=`"))
            .then(value().map(Some).recover_with(via_parser(missing_value())))
            .map(|(name, v)| EntryKind::Field {
                value: v.unwrap_or(Expr {
                    kind: ExprKind::Error,
                    span: Span::at(name.span.end as usize),
                }),
                name,
            });
        let hold = keyword("hold", "`hold`")
            .ignore_then(
                path("what is held").or(tok(T::Field, "what is held").map(|t: Tok<'s>| Path {
                    names: vec![name_of(t)],
                    span: t.span,
                })),
            )
            .then_ignore(tok(T::Equals, "`=`"))
            .then(value())
            .map(|(target, value)| EntryKind::Hold { target, value });
        let group = word("a name")
            .then(block)
            .map(|(name, (entries, body))| EntryKind::Group {
                name,
                entries,
                body,
            });
        let entry = field
            .or(hold)
            .or(chain())
            .or(table())
            .or(group)
            .labelled("a field, a table or a block")
            .recover_with(via_parser(skip().map(|()| EntryKind::Error)))
            .map_with(|kind, e| Entry {
                doc: SmolStr::default(),
                kind,
                span: span(e.span()),
            })
            .boxed();
        let separator = tok(T::Semicolon, "`;`").repeated();
        separator
            .clone()
            .ignore_then(entry.then_ignore(separator).repeated().collect::<Vec<_>>())
            .delimited_by(tok(T::LBrace, "`{`"), tok(T::RBrace, "`}`"))
            .map_with(|entries, e| (entries, span(e.span())))
            .boxed()
    })
}

/// A value that is not there: takes nothing when a new line or field follows, else skips to it.
fn missing_value<'t, 's: 't, I>() -> impl Parser<'t, I, Option<Expr>, Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    let ends = any()
        .filter(|t: &Tok<'s>| t.first || matches!(t.kind, T::Field | T::Semicolon | T::RBrace))
        .rewind()
        .ignored();
    ends.or(skip()).map(|()| None)
}

fn item<'t, 's: 't, I>() -> impl Parser<'t, I, ItemKind, Ex> + Clone
where
    I: ValueInput<'t, Token = Tok<'s>, Span = SimpleSpan>,
{
    let quoted = |label: &'static str| {
        tok(T::Text, label).map(|t: Tok<'s>| Text {
            text: SmolStr::new(t.text.trim_matches('"')),
            span: t.span,
        })
    };
    let use_ = keyword("use", "`use`")
        .ignore_then(quoted("a file's path in quotes, as \"parts/hose.pump\""))
        .then_ignore(keyword("as", "`as` and the name it goes by here"))
        .then(word("the name it goes by here"))
        .map(|(path, alias)| ItemKind::Use { path, alias });
    let let_ = keyword("let", "`let`")
        .ignore_then(tok(T::Field, "a name and `=`").map(name_of))
        .then_ignore(tok(T::Equals, "`=`"))
        .then(value())
        .map(|(name, value)| ItemKind::Let { name, value });
    let comparison = select! {
        Tok { kind: T::AtLeast, .. } => Comparison::AtLeast,
        Tok { kind: T::AtMost, .. } => Comparison::AtMost,
        Tok { kind: T::Above, .. } => Comparison::Above,
        Tok { kind: T::Below, .. } => Comparison::Below,
    }
    .labelled("`>=`, `<=`, `>`, `<` or `within lo .. hi`");
    let rule = comparison
        .then(expr())
        .map(|(c, e)| Rule::Compare(c, e))
        .or(keyword("within", "`within`")
            .ignore_then(expr())
            .map(Rule::Within));
    let require = keyword("require", "`require`")
        .ignore_then(expr())
        .then(rule)
        .then(
            keyword("because", "`because` and the reason in quotes")
                .ignore_then(quoted("the reason in quotes"))
                .or_not(),
        )
        .map(|((value, rule), because)| {
            ItemKind::Require(Require {
                value,
                rule,
                because,
            })
        });
    let decl = any()
        .filter(|t: &Tok<'s>| {
            t.kind == T::Word && !crate::split::ITEM_WORDS.contains(&t.text) && !JOINING.contains(&t.text)
        })
        .map(name_of)
        .labelled("a declaration, `use`, `let` or `require`")
        .then(word("its name").or_not())
        .then(keyword("like", "`like`").ignore_then(path("the declaration it takes after")).or_not())
        .then(keyword("of", "`of`").ignore_then(path("what it belongs to")).or_not())
        .then(entries())
        .map(|((((kind, name), like), of), (entries, body))| {
            ItemKind::Decl(Decl {
                kind,
                name,
                like,
                of,
                entries,
                body,
            })
        });
    use_.or(let_).or(require).or(decl).boxed()
}

/// Parses one chunk. Never fails: what cannot be read is reported and left out.
pub fn parse_chunk(text: &str) -> Parsed {
    let raw = lex(text);
    let mut errors = Vec::new();
    let toks = prepare(text, &raw, &mut errors);
    let file_doc = doc_text(text, &raw, T::FileDoc, 0, text.len() as u32);
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
    let input: Vec<(Tok<'_>, SimpleSpan)> = toks
        .iter()
        .map(|t| (*t, SimpleSpan::from(t.span.range())))
        .collect();
    let eoi = SimpleSpan::from(whole.end as usize..whole.end as usize);
    let (kind, errs) = item()
        .parse(input.as_slice().split_token_span(eoi))
        .into_output_errors();
    for e in errs {
        push_error(&mut parsed.errors, &toks, &e);
    }
    parsed.item.kind = kind.unwrap_or(ItemKind::Empty);
    parsed.item.span = whole;
    attach_docs(text, &raw, &mut parsed.item);
    parsed.errors.sort_by_key(|e| (e.span.start, e.span.end));
    parsed
}

fn push_error(out: &mut Vec<SyntaxError>, toks: &[Tok<'_>], e: &PErr) {
    let at = Span::new(e.span.start, e.span.end);
    // A value missing at a line's end is best shown where it is missing, not on the next line.
    let index = toks.iter().position(|t| t.span.start >= at.start && t.span.end >= at.end);
    let previous = match index {
        Some(i) => i.checked_sub(1).map(|p| toks[p]),
        None => toks.last().copied(),
    };
    let next_line = e.found.is_none_or(|(k, first)| first || matches!(k, T::RBrace | T::Newline));
    let span = match previous {
        Some(p) if next_line => Span::new(p.span.start as usize, p.span.end as usize),
        _ => at,
    };
    let mut expected: Vec<&str> = e.expected.clone();
    // `a value` says all that a value may begin with.
    if expected.contains(&"a value") {
        expected.retain(|x| !matches!(*x, "a number" | "a name" | "a date" | "a text" | "`[`" | "`(`"));
    }
    expected.retain(|x| !matches!(*x, "an operator" | "a unit" | "a tolerance" | "`.`" | "`^`" | "`(`" | "`..`"));
    if expected.len() > 1 {
        expected.retain(|x| !matches!(*x, "`of`" | "`at`" | "`;`"));
    }
    // A line of two words is a field whose sign was forgotten.
    if let (Some(p), Some(T::Word | T::Number | T::Fraction | T::Text | T::Date)) = (previous, e.found.map(|f| f.0))
        && p.first
        && p.kind == T::Word
        && expected.contains(&"`->`")
    {
        out.push(SyntaxError {
            kind: SyntaxErrorKind::Unexpected,
            span: p.span,
            message: format!("expected `=` after `{}`", p.text),
            help: Some(format!("write `{} = …`", p.text)),
            related: None,
            fix: Some((Span::at(p.span.end as usize), " =".to_owned())),
        });
        return;
    }
    expected.truncate(3);
    let wanted = match expected.as_slice() {
        [] => "something else".to_owned(),
        [a] => (*a).to_owned(),
        [a, b] => format!("{a} or {b}"),
        [a, b, c, ..] => format!("{a}, {b} or {c}"),
    };
    let message = match (e.found, previous) {
        (Some((kind, false)), _) if !next_line => {
            let shown = at_text(toks, at);
            if matches!(kind, T::Word | T::Number | T::Fraction | T::Unit | T::Field | T::Date) && !shown.is_empty() {
                format!("expected {wanted}, but `{shown}` stands here")
            } else {
                format!("expected {wanted}, but {} stands here", kind.describe())
            }
        }
        (_, Some(p)) if !p.text.is_empty() => format!("expected {wanted} after `{}`", p.text),
        _ => format!("expected {wanted}"),
    };
    // One slip, one finding: a bracket reported in the same place says it already.
    let repeats = out.iter().any(|o| {
        o.span == span || matches!(o.kind, SyntaxErrorKind::Unclosed) && o.related.as_ref().is_some_and(|r| r.0.touches(at.start as usize))
    });
    if repeats {
        return;
    }
    out.push(SyntaxError {
        kind: SyntaxErrorKind::Unexpected,
        span,
        message,
        help: None,
        related: None,
        fix: None,
    });
}

fn at_text<'s>(toks: &[Tok<'s>], at: Span) -> &'s str {
    toks.iter()
        .find(|t| t.span.start == at.start)
        .map_or("", |t| t.text)
}

/// The doc lines of one kind between two offsets, joined.
fn doc_text(text: &str, raw: &[Raw], kind: T, from: u32, to: u32) -> String {
    let mut out = String::new();
    for r in raw {
        if r.kind == kind && r.span.start >= from && r.span.end <= to {
            let line = r.span.slice(text);
            let line = line.get(3..).unwrap_or("");
            if !out.is_empty() {
                out.push('\n');
            }
            out.push_str(line.strip_prefix(' ').unwrap_or(line).trim_end());
        }
    }
    out
}

/// Gives each item and entry the `///` lines right before it.
fn attach_docs(text: &str, raw: &[Raw], item: &mut Item) {
    if !raw.iter().any(|r| r.kind == T::Doc) {
        return;
    }
    item.doc = doc_text(text, raw, T::Doc, 0, item.span.start).into();
    if let ItemKind::Decl(d) = &mut item.kind {
        entry_docs(text, raw, d.body.start, &mut d.entries);
    }
}

fn entry_docs(text: &str, raw: &[Raw], mut from: u32, entries: &mut [Entry]) {
    for e in entries {
        e.doc = doc_text(text, raw, T::Doc, from, e.span.start).into();
        from = e.span.end;
        if let EntryKind::Group { entries, body, .. } = &mut e.kind {
            entry_docs(text, raw, body.start, entries);
        }
    }
}
