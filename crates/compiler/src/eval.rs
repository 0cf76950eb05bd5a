//! Expressions: from the tree to values, with units, kinds and tolerances checked on the way.
//!
//! A value is typed by what it is made of; where a field expects something, `Ev::store` compares the two
//! and says what was likely meant. Whatever went wrong is reported once, and what depends on it is unknown.

use crate::codes;
use crate::db::{Cx, Local};
use crate::remedy;
use crate::reuse;
use crate::schema::{PartDef, Sign, Slot, Type};
use crate::show::{article, near_names, number_text, pick_nearest};
use crate::slots::{decl_of, head_is_damaged};
use crate::value::{Date, Fit, Origin, Piece, Quantity, Range, Value};
use crate::{DeclId, Eval};
use cutwater_finding::{Finding, FixTier};
use cutwater_mechanics::iso286::{Class, Iso286Error};
use cutwater_quantity::{
    Accept, CompoundUnit, Direction, Kind, LikelySlip, Mismatch, Tol, UnitError, parse_unit,
    preferred_unit,
};
use cutwater_syntax::ast::{Access, Expr, ExprKind, ItemKind, Name, Number, Path};
use cutwater_text::Span;
use smol_str::SmolStr;
use std::sync::Arc;

/// Evaluation of the expressions of one item.
pub(crate) struct Ev<'c, 'a> {
    pub cx: &'c mut Cx<'a>,
    /// The item the text stands in: whose file gives the names, whose bytes the places are.
    pub owner: DeclId,
}

/// What to write for a fit.
const FIT_HELP: &str = "a fit is two sizes, each with its class; their difference is the clearance: `45 mm H7 - 45 mm g6`";

/// The named functions: name, how many values, what they do.
pub const FUNCTIONS: &[(&str, &str, &str)] = &[
    (
        "min",
        "min(a, b, …)",
        "The smallest of its values, all of one kind.",
    ),
    (
        "max",
        "max(a, b, …)",
        "The largest of its values, all of one kind.",
    ),
    (
        "mean",
        "mean(a, b, …)",
        "The arithmetic mean of its values, all of one kind.",
    ),
    (
        "sqrt",
        "sqrt(a)",
        "The square root; the unit's exponents are halved.",
    ),
    ("abs", "abs(a)", "The size without the sign."),
    (
        "sum",
        "sum(a, b, …)",
        "The sum of its values, all of one kind. Temperatures and other points have none.",
    ),
    (
        "median",
        "median(a, b, …)",
        "The middle one of its values in order, all of one kind; of an even number the mean of the middle two.",
    ),
    (
        "count",
        "count(a, b, …)",
        "How many there are: elements of lists, rows of tables, and single values.",
    ),
];

/// Whether a built-in function takes one value alone.
fn takes_one(form: &str) -> bool {
    !form.contains('…')
}

/// What a function's name means.
enum Function {
    /// One of [`FUNCTIONS`].
    BuiltIn(usize),
    /// One of the user's.
    Own(DeclId),
}

impl Ev<'_, '_> {
    fn at(&self, span: Span) -> Local {
        Local::Span(self.owner, span)
    }

    /// The value of an expression. `want` is the kind a bare literal is read for, where that matters.
    pub fn expr(&mut self, e: &Expr, want: Option<Kind>) -> Eval<Value> {
        Ok(match &e.kind {
            ExprKind::Error => Value::Unknown,
            ExprKind::Number(n) => self.number(n, e.span, want),
            ExprKind::Date { year, month, day } => match Date::new(*year, *month, *day) {
                Some(d) => Value::Date(d),
                None => {
                    let place = self.at(e.span);
                    let f = Finding::new(
                        &codes::BAD_DATE,
                        place,
                        format!("{year:04}-{month:02}-{day:02} is not a day of the calendar"),
                    )
                    .here("no such day")
                    .help("write year-month-day, as 2026-05-14");
                    self.cx
                        .report(remedy::with(f, remedy::month_and_day_turned(self.owner, e)));
                    Value::Unknown
                }
            },
            ExprKind::Text(t) => Value::Text(t.clone()),
            ExprKind::Path(p) => self.path(p, false)?,
            ExprKind::Element(list, steps) => self.element(list, steps)?,
            ExprKind::Call {
                function,
                arguments,
            } => self.call(function, arguments, e.span)?,
            ExprKind::List(items) => {
                let mut out = Vec::with_capacity(items.len());
                for i in items {
                    out.push(self.expr(i, want)?);
                }
                Value::List(out.into())
            }
            ExprKind::Negative(a) => {
                let v = self.expr(a, want)?;
                let Some(q) = self.operand(v, a.span) else {
                    return Ok(Value::Unknown);
                };
                match q.kind.neg() {
                    Ok(kind) => Value::Quantity(Quantity {
                        kind,
                        value: q.value.neg(),
                        fit: None,
                        ..q
                    }),
                    Err(m) => self.mismatch(e.span, &m, &[]),
                }
            }
            ExprKind::Sum(first, rest) => {
                let mut acc = self.expr(first, want)?;
                let mut so_far = first.span;
                for (n, (minus, b)) in rest.iter().enumerate() {
                    let right = self.expr(b, want)?;
                    let left = if n == 0 { first.as_ref() } else { b };
                    acc = self.add(acc, so_far, right, b.span, *minus, &[left, b]);
                    so_far = so_far.join(b.span);
                }
                acc
            }
            ExprKind::Product(first, rest) => {
                let mut acc = self.expr(first, None)?;
                let mut so_far = first.span;
                for (divide, b) in rest {
                    let right = self.expr(b, None)?;
                    acc = self.multiply(acc, so_far, right, b.span, *divide);
                    so_far = so_far.join(b.span);
                }
                acc
            }
            ExprKind::Power(base, exponent) => self.power(base, exponent, e.span)?,
            ExprKind::Range(lo, hi) => self.range(lo, hi, want)?,
            ExprKind::Of(amount, what) => {
                let length = self.expr(amount, Some(Kind::Length))?;
                let of = self.path(what, true)?;
                match (length, of) {
                    (Value::Quantity(length), Value::Decl(of)) => {
                        Value::Piece(Arc::new(Piece { length, of }))
                    }
                    _ => Value::Unknown,
                }
            }
            ExprKind::Phrase(head, parts) => {
                let word = parts.first().map_or("at", |p| p.0.text.as_str());
                let place = self.at(e.span);
                self.cx.report(
                    Finding::new(
                        &codes::WRONG_TYPE,
                        place,
                        format!("a value with `{word}` belongs only in a field that takes one, such as `rating = 1250 gpm at 150 psi`"),
                    )
                    .here("not wanted here"),
                );
                let _ = self.expr(head, want)?;
                Value::Unknown
            }
        })
    }

    // ---- literals ------------------------------------------------------------------------------

    /// Reads a unit; reports and gives `None` where there is no such unit.
    pub fn unit(&mut self, unit: &Name, want: Option<Kind>) -> Option<CompoundUnit> {
        match parse_unit(&unit.text) {
            Ok(u) => Some(u),
            Err(_) if self.class_for_unit(unit) => None,
            Err(err) => {
                let (offset, len) = err.place();
                let start = unit.span.start as usize + offset;
                let span = Span::new(start, start + len);
                let place = self.at(if span.is_empty() { unit.span } else { span });
                let f = match &err {
                    UnitError::Unknown { name, nearest, .. } => {
                        let mut f = Finding::new(
                            &codes::UNKNOWN_UNIT,
                            place,
                            format!("`{name}` is not a unit"),
                        )
                        .here("no such unit");
                        let preferred = want.and_then(|k| {
                            preferred_unit(k, self.cx.settings().units).map(|u| u.ascii)
                        });
                        let fitting: Vec<&str> = nearest
                            .iter()
                            .copied()
                            .filter(|n| {
                                want.is_none_or(|k| {
                                    parse_unit(n).is_ok_and(|u| u.accepted_by(k).is_yes())
                                })
                            })
                            .collect();
                        let best = if fitting.is_empty() {
                            nearest.as_slice()
                        } else {
                            &fitting
                        };
                        // Where nothing but small and capital letters differ, and one unit fits, it is that one.
                        let mut same = best.iter().filter(|b| b.eq_ignore_ascii_case(name));
                        let sure = same.next() == best.first()
                            && same.next().is_none()
                            && want.is_some()
                            && !fitting.is_empty();
                        match (best.first(), preferred) {
                            (Some(b), _) => {
                                f.message.push_str(&format!("; did you mean `{b}`?"));
                                f = f.help(format!("write `{b}`")).fix(
                                    format!("write `{b}`"),
                                    if sure {
                                        FixTier::Safe
                                    } else {
                                        FixTier::NeedsALook
                                    },
                                    place,
                                    *b,
                                );
                            }
                            (None, Some(p)) => {
                                f = f.help(format!(
                                    "{} is written in `{p}`, for one; to multiply by a value put blanks round the `*`",
                                    want.map(|k| article(&k.name())).unwrap_or_default()
                                ));
                            }
                            (None, None) => {
                                f = f
                                    .help("to multiply by a value put blanks round the `*` or `/`");
                            }
                        }
                        f
                    }
                    other => Finding::new(
                        &codes::UNKNOWN_UNIT,
                        place,
                        format!("`{}` is not a unit: {other}", unit.text),
                    )
                    .here("not a unit"),
                };
                self.cx.report(f);
                None
            }
        }
    }

    /// Says what is wrong where a tolerance class stands in a unit's place; `false` where none does.
    fn class_for_unit(&mut self, unit: &Name) -> bool {
        let place = self.at(unit.span);
        let text = unit.text.as_str();
        let is_class = |text: &str| text.parse::<Class>().is_ok();
        let f = Finding::new(&codes::UNKNOWN_CLASS, place, String::new()).source("ISO 286-1");
        // `45 mmH7`: the blank is missing.
        let letters = text.char_indices().map(|(at, _)| at).skip(1);
        let joined = letters
            .map(|at| text.split_at(at))
            .find(|(head, tail)| parse_unit(head).is_ok() && is_class(tail));
        let mut f = if is_class(text) {
            f.here("a class, not a unit").help(
                "a size has a class or limits of its own, not both: `45 mm H7` or `45 mm ± 0.1`",
            )
        } else if let Some((head, tail)) = joined {
            let mended = format!("{head} {tail}");
            let title = format!("write `{mended}`");
            f.here("no blank before the class").help(title.clone()).fix(
                title,
                FixTier::Safe,
                place,
                mended,
            )
        } else if text.contains('/') && text.split('/').all(is_class) {
            f.here("two classes").help(FIT_HELP)
        } else {
            return false;
        };
        f.message = match &f.fix {
            Some(_) => format!("`{text}` is a unit and a tolerance class without a blank between"),
            None if text.contains('/') => {
                format!("`{text}` names the classes of a hole and a shaft, and a size has one")
            }
            None => format!("`{text}` is a tolerance class and stands where a unit should"),
        };
        self.cx.report(f);
        true
    }

    fn number(&mut self, n: &Number, span: Span, want: Option<Kind>) -> Value {
        let unit = match &n.unit {
            // `45 H7`: what stands where the unit should be is a class.
            Some(u) if parse_unit(&u.text).is_err() && u.text.parse::<Class>().is_ok() => {
                let as_class = Number {
                    unit: None,
                    class: Some(u.clone()),
                    ..n.clone()
                };
                return self.literal(&as_class, None, span, want);
            }
            Some(u) => match self.unit(u, want) {
                Some(u) => Some(u),
                None => return Value::Unknown,
            },
            None => None,
        };
        self.literal(n, unit, span, want)
    }

    /// A literal whose unit is known.
    fn literal(
        &mut self,
        n: &Number,
        unit: Option<CompoundUnit>,
        span: Span,
        want: Option<Kind>,
    ) -> Value {
        let si = |v: f64| unit.as_ref().map_or(v, |u| u.to_si(v));
        let nominal = si(n.value);
        let mut fit = None;
        let value = match &n.tolerance {
            None if n.class.is_some() => match self.class(n, unit.as_ref(), nominal, span) {
                Some((with_class, value)) => {
                    fit = Some(with_class);
                    value
                }
                None => return Value::Unknown,
            },
            None => Tol::exact(nominal),
            Some(t) => {
                let (below, above) = match &t.unit {
                    None => (si(n.value + t.minus), si(n.value + t.plus)),
                    Some(u) if u.text == "%" => {
                        let share = |p: f64| si(n.value + n.value.abs() * p / 100.0);
                        (share(t.minus), share(t.plus))
                    }
                    Some(u) => {
                        let Some(tu) = self.unit(u, None) else {
                            return Value::Unknown;
                        };
                        let base = unit.as_ref().map_or(Kind::Number, CompoundUnit::kind);
                        if tu.kind().dimension() != base.dimension() {
                            let place = self.at(u.span);
                            let f = Finding::new(
                                &codes::WRONG_UNIT,
                                place,
                                format!(
                                    "the tolerance is {}, but the value is {}",
                                    article(&tu.kind().name()),
                                    article(&base.name())
                                ),
                            )
                            .here(article(&tu.kind().name()))
                            .help(if unit.is_none() {
                                "write the unit behind the value; the tolerance takes it from there"
                            } else {
                                "leave the unit out to take the value's own"
                            });
                            let mended = remedy::unit_moved(self.cx, self.owner, n, t, u, want);
                            self.cx.report(remedy::with(f, mended));
                            return Value::Unknown;
                        }
                        (
                            nominal + tu.step_to_si(t.minus),
                            nominal + tu.step_to_si(t.plus),
                        )
                    }
                };
                let id = self.cx.next_input();
                if t.plus < t.minus {
                    let place = self.at(t.span);
                    let (p, m) = (number_text(t.plus), number_text(t.minus));
                    let f = Finding::new(
                        &codes::BAD_TOLERANCE,
                        place,
                        format!("the upper deviation, {p}, is below the lower one, {m}"),
                    )
                    .here("upside down")
                    .help("write the upper deviation first: `5.497 in (+0/-0.001)`");
                    let mended = remedy::deviations_turned(self.cx, self.owner, t);
                    self.cx.report(remedy::with(f, mended));
                    return Value::Unknown;
                }
                match Tol::with_limits(id, nominal, below.min(above), below.max(above)) {
                    Ok(v) => v,
                    Err(e) => return self.not_computable(t.span, &e.to_string()),
                }
            }
        };
        if !nominal.is_finite() {
            let place = self.at(span);
            self.cx.report(
                Finding::new(
                    &codes::NOT_COMPUTABLE,
                    place,
                    "this number is too large to compute with".to_owned(),
                )
                .here("too large"),
            );
            return Value::Unknown;
        }
        Value::Quantity(Quantity {
            kind: unit.as_ref().map_or(Kind::Number, CompoundUnit::kind),
            value,
            gallon: unit.as_ref().and_then(CompoundUnit::gallon),
            fit,
            unit: unit.map(Arc::new),
            origin: Origin::Stated,
        })
    }

    /// The limits of a size with a tolerance class. The class is that of the size in millimetres, whatever it is written in.
    fn class(
        &mut self,
        n: &Number,
        unit: Option<&CompoundUnit>,
        nominal: f64,
        span: Span,
    ) -> Option<(Fit, Tol)> {
        let written = n.class.as_ref()?;
        let place = self.at(written.span);
        let size = self.at(span);
        let class = match written.text.parse::<Class>() {
            Ok(class) => class,
            Err(e) => {
                let mut f = Finding::new(&codes::UNKNOWN_CLASS, place, e.to_string())
                    .here("no such class")
                    .source("ISO 286-1");
                let here = nominal * 1000.0;
                match Class::meant_by(&written.text).filter(|c| c.micrometres(here).is_ok()) {
                    Some(meant) => {
                        f = remedy::meant(f, place, &meant.to_string());
                    }
                    None => {
                        f = f.help(match &e {
                            Iso286Error::Letter { .. } => {
                                "the letters are A to ZC for holes and a to zc for shafts; I, L, O, Q and W are not among them"
                            }
                            _ => "a hole is written as `45 mm H7`, a shaft as `45 mm g6`; limits of your own as `45 mm (+0.025/-0)`",
                        });
                    }
                }
                self.cx.report(f);
                return None;
            }
        };
        let shown = || match &n.unit {
            Some(u) => format!("{} {}", number_text(n.value), u.text),
            None => number_text(n.value),
        };
        let Some(unit) = unit.filter(|u| u.kind() == Kind::Length) else {
            let (message, help) = match unit {
                Some(u) => (
                    format!(
                        "`{class}` is a tolerance class for lengths, and {} is {}",
                        shown(),
                        article(&u.kind().name())
                    ),
                    "give it limits of its own, as `± 0.5`",
                ),
                None => (
                    format!(
                        "`{class}` is a tolerance class for lengths, and {} has no unit",
                        shown()
                    ),
                    "write the size's unit between the two, as `45 mm H7`",
                ),
            };
            self.cx.report(
                Finding::new(&codes::CLASS_NOT_FOR_SIZE, place, message)
                    .here("for lengths only")
                    .label(size, "what it stands behind")
                    .help(help)
                    .source("ISO 286-1"),
            );
            return None;
        };
        let deviations = match class.deviations(nominal) {
            Ok(deviations) => deviations,
            Err(e) => {
                let size_mm = nominal * 1000.0;
                // The size in millimetres, with no digits that conversion made.
                let rounded = number_text((size_mm * 1e6).round() / 1e6);
                let in_mm = if unit.symbol() == "mm" {
                    String::new()
                } else {
                    format!(" ({rounded} mm)")
                };
                let (message, help) = match &e {
                    Iso286Error::NotForSize { reason, .. } => {
                        let near: Vec<String> = class
                            .near(size_mm)
                            .iter()
                            .take(2)
                            .map(|c| format!("`{c}`"))
                            .collect();
                        (
                            format!("`{class}` is not defined for {}{in_mm}: {reason}", shown()),
                            if near.is_empty() {
                                "write limits of your own, as `(+0.025/-0)`".to_owned()
                            } else {
                                format!(
                                    "at this size there are {}; or write limits of your own, as `(+0.025/-0)`",
                                    near.join(" and ")
                                )
                            },
                        )
                    }
                    _ => (
                        format!(
                            "`{class}` is tabled for sizes above 0 up to 500 mm, not for {}{in_mm}",
                            shown()
                        ),
                        "write limits of your own, as `(+0.070/-0)`".to_owned(),
                    ),
                };
                self.cx.report(
                    Finding::new(&codes::CLASS_NOT_FOR_SIZE, place, message)
                        .here("not for this size")
                        .label(size, "the size")
                        .help(help)
                        .source("ISO 286-1, tables 1 to 5")
                        .number("size", size_mm, "mm"),
                );
                return None;
            }
        };
        let id = self.cx.next_input();
        let (lower, upper) = (nominal + deviations.lower, nominal + deviations.upper);
        // The nominal size is the name of the size and often outside its limits (f7, s6). Taking it where it happens to lie
        // inside (H7, h6) and the middle elsewhere would make the difference of a hole and a shaft neither; so it is the middle.
        match Tol::with_limits(id, f64::midpoint(lower, upper), lower, upper) {
            Ok(value) => Some((Fit { class, nominal }, value)),
            Err(e) => {
                self.not_computable(span, &e.to_string());
                None
            }
        }
    }

    fn range(&mut self, lo: &Expr, hi: &Expr, want: Option<Kind>) -> Eval<Value> {
        for end in [lo, hi] {
            if let ExprKind::Number(n) = &end.kind
                && let Some(span) = n
                    .tolerance
                    .as_ref()
                    .map(|t| t.span)
                    .or(n.class.as_ref().map(|c| c.span))
            {
                let place = self.at(span);
                self.cx.report(
                    Finding::new(
                        &codes::BAD_TOLERANCE,
                        place,
                        "the end of a range has no tolerance of its own".to_owned(),
                    )
                    .here("not wanted here")
                    .help("write the range alone, `0.003 .. 0.007 in`, or one size with its tolerance, `45 mm H7`"),
                );
                return Ok(Value::Unknown);
            }
        }
        // `0.003 .. 0.007 in`: the first takes the second's unit.
        let high = self.expr(hi, want)?;
        let low = match (&lo.kind, &high) {
            (ExprKind::Number(n), Value::Quantity(q)) if n.unit.is_none() && q.unit.is_some() => {
                let unit = q.unit.as_ref().map(|u| (**u).clone());
                self.literal(n, unit, lo.span, want)
            }
            _ => self.expr(lo, want)?,
        };
        if matches!(low, Value::Date(_)) || matches!(high, Value::Date(_)) {
            return Ok(self.period(&low, lo.span, &high, hi.span));
        }
        let (Some(a), Some(b)) = (self.operand(low, lo.span), self.operand(high, hi.span)) else {
            return Ok(Value::Unknown);
        };
        if let Err(m) = a.kind.comparable(b.kind) {
            return Ok(self.mismatch(lo.span.join(hi.span), &m, &[lo.span, hi.span]));
        }
        if a.si() > b.si() {
            let place = self.at(lo.span.join(hi.span));
            let f = Finding::new(
                &codes::BAD_RANGE,
                place,
                "the lower end of this range is above its upper end".to_owned(),
            )
            .here("upside down")
            .help("write the smaller value first: `0.003 .. 0.007 in`");
            let mended = remedy::ends_turned(self.cx, self.owner, lo, hi);
            self.cx.report(remedy::with(f, mended));
            return Ok(Value::Unknown);
        }
        Ok(Value::Range(Range {
            kind: b.kind,
            low: a.si(),
            high: b.si(),
            unit: b.unit.or(a.unit),
        }))
    }

    /// A range of dates, both ends counted in.
    fn period(&mut self, low: &Value, sa: Span, high: &Value, sb: Span) -> Value {
        let place = self.at(sa.join(sb));
        let finding = match (low, high) {
            (Value::Unknown, _) | (_, Value::Unknown) => return Value::Unknown,
            (Value::Date(a), Value::Date(b)) if a <= b => return Value::Period(*a, *b),
            (Value::Date(a), Value::Date(b)) => {
                let text = format!("{b} .. {a}");
                Finding::new(
                    &codes::BAD_RANGE,
                    place,
                    format!("the first day of this range, {a}, is after its last one, {b}"),
                )
                .here("upside down")
                .help(format!("write the earlier day first: `{text}`"))
                .fix(format!("write `{text}`"), FixTier::NeedsALook, place, text)
            }
            (a, b) => Finding::new(
                &codes::WRONG_TYPE,
                place,
                format!(
                    "a range of dates has a date at both ends, but this goes from {} to {}",
                    a.describe(),
                    b.describe()
                ),
            )
            .here("dates and something else")
            .help("write both ends as dates: `2025-05-14 .. 2026-05-14`"),
        };
        self.cx.report(finding);
        Value::Unknown
    }

    // ---- operators -----------------------------------------------------------------------------

    /// A sum or difference with a date in it: two dates are some time apart, and a date moves by whole days.
    fn add_dates(&mut self, a: &Value, sa: Span, b: &Value, sb: Span, minus: bool) -> Value {
        const DAY: f64 = 86_400.0;
        let span = sa.join(sb);
        let place = self.at(span);
        let say = |me: &mut Self, code, message: String, here: &str, help: &str| {
            me.cx
                .report(Finding::new(code, place, message).here(here).help(help));
            Value::Unknown
        };
        let (day, time) = match (a, b) {
            (Value::Unknown, _) | (_, Value::Unknown) => return Value::Unknown,
            (Value::Date(a), Value::Date(b)) if minus => {
                let mut q = Quantity::computed(Kind::Time, (a.number() - b.number()) as f64 * DAY);
                q.unit = parse_unit("day").ok().map(Arc::new);
                return Value::Quantity(q);
            }
            (Value::Date(_), Value::Date(_)) => {
                return say(
                    self,
                    &codes::WRONG_TYPE,
                    "two dates cannot be added".to_owned(),
                    "two dates",
                    "subtract them for the time between, or add a time: `2026-05-14 + 30 day`",
                );
            }
            (Value::Date(day), Value::Quantity(q)) => (*day, q),
            (Value::Quantity(q), Value::Date(day)) if !minus => (*day, q),
            (Value::Quantity(_), Value::Date(_)) => {
                return say(
                    self,
                    &codes::WRONG_TYPE,
                    "a date cannot be taken from a time".to_owned(),
                    "upside down",
                    "write the date first: `2026-05-14 - 365 day`",
                );
            }
            (a, b) => {
                let other = if matches!(a, Value::Date(_)) { b } else { a };
                let message = format!(
                    "a date can be moved by a time, but not by {}",
                    other.describe()
                );
                let help = "write a time in days: `2026-05-14 - 365 day`";
                return say(self, &codes::WRONG_TYPE, message, "no time", help);
            }
        };
        if time.kind != Kind::Time {
            let message = format!(
                "a date can be moved by a time, but not by {}",
                article(&time.kind.name())
            );
            let help = "write a time in days: `2026-05-14 - 365 day`";
            return say(self, &codes::WRONG_TYPE, message, "no time", help);
        }
        let days = time.si() / DAY;
        if time.value.is_toleranced() || (days - days.round()).abs() > 1e-9 {
            let message = format!(
                "a date moves by whole days, and this time is {} days",
                if time.value.is_toleranced() {
                    "not an exact number of".to_owned()
                } else {
                    number_text(days)
                }
            );
            let help = "write whole days, as `365 day`; a `year` is 365.25 days";
            return say(self, &codes::WRONG_TYPE, message, "no whole days", help);
        }
        let step = if minus { -days } else { days };
        let moved = (step.abs() < 1e7)
            .then(|| Date::from_number(day.number() + step.round() as i64))
            .flatten();
        match moved {
            Some(d) => Value::Date(d),
            None => say(
                self,
                &codes::NOT_COMPUTABLE,
                "this day is outside the years 1 to 9999".to_owned(),
                "no such year",
                "check the number of days",
            ),
        }
    }

    /// A number to compute with; reports what is none.
    fn operand(&mut self, v: Value, span: Span) -> Option<Quantity> {
        match v {
            Value::Quantity(q) => Some(q),
            Value::Unknown => None,
            other => {
                let place = self.at(span);
                self.cx.report(
                    Finding::new(
                        &codes::WRONG_TYPE,
                        place,
                        format!("{} is no number to compute with", other.describe()),
                    )
                    .here(other.describe()),
                );
                None
            }
        }
    }

    fn mismatch(&mut self, span: Span, m: &Mismatch, parts: &[Span]) -> Value {
        let place = self.at(span);
        let mut f = Finding::new(&codes::WRONG_KIND, place, m.to_string());
        if let [a, b] = parts {
            let (pa, pb) = (self.at(*a), self.at(*b));
            f = f
                .label(pa, m.expected.name().into_owned())
                .label(pb, m.given.name().into_owned());
        }
        self.cx.report(f);
        Value::Unknown
    }

    /// Whether two numbers count in one gallon; `texts` are the two as written.
    fn gallons(&mut self, a: &Quantity, b: &Quantity, span: Span, texts: &[&Expr; 2]) -> bool {
        match (a.gallon, b.gallon) {
            (Some(x), Some(y)) if x != y => {
                let place = self.at(span);
                let f = Finding::new(
                    &codes::MIXED_GALLONS,
                    place,
                    "US and imperial gallons are mixed in one expression".to_owned(),
                )
                .here("US and imperial gallons")
                .help("write both in one of them; 1 imperial gallon is 1.20095 US gallons");
                let mended = remedy::same_gallon(self.owner, texts[1], b, a)
                    .or_else(|| remedy::same_gallon(self.owner, texts[0], a, b));
                self.cx.report(remedy::with(f, mended));
                false
            }
            _ => true,
        }
    }

    fn add(
        &mut self,
        a: Value,
        sa: Span,
        b: Value,
        sb: Span,
        minus: bool,
        texts: &[&Expr; 2],
    ) -> Value {
        if matches!(a, Value::Date(_)) || matches!(b, Value::Date(_)) {
            return self.add_dates(&a, sa, &b, sb, minus);
        }
        let (Some(a), Some(b)) = (self.operand(a, sa), self.operand(b, sb)) else {
            return Value::Unknown;
        };
        let span = sa.join(sb);
        if !self.gallons(&a, &b, span, texts) {
            return Value::Unknown;
        }
        let kind = if minus {
            a.kind.sub(b.kind)
        } else {
            a.kind.add(b.kind)
        };
        match kind {
            Ok(kind) => {
                let value = if minus {
                    a.value.sub(&b.value)
                } else {
                    a.value.add(&b.value)
                };
                self.finite(
                    Quantity {
                        kind,
                        value,
                        unit: if kind.dimension() == a.kind.dimension() && !a.kind.is_point() {
                            a.unit
                        } else {
                            None
                        },
                        origin: a.origin.with(b.origin),
                        gallon: a.gallon.or(b.gallon),
                        fit: None,
                    },
                    span,
                )
            }
            Err(m) => self.mismatch(span, &m, &[sa, sb]),
        }
    }

    fn multiply(&mut self, a: Value, sa: Span, b: Value, sb: Span, divide: bool) -> Value {
        let (Some(a), Some(b)) = (self.operand(a, sa), self.operand(b, sb)) else {
            return Value::Unknown;
        };
        let span = sa.join(sb);
        let kind = if divide {
            a.kind.div(b.kind)
        } else {
            a.kind.mul(b.kind)
        };
        match kind {
            Ok(kind) => {
                let value = if divide {
                    match a.value.div(&b.value) {
                        Ok(v) => v,
                        Err(_) => {
                            let place = self.at(sb);
                            self.cx.report(
                                Finding::new(
                                    &codes::NOT_COMPUTABLE,
                                    place,
                                    "this divisor may be zero".to_owned(),
                                )
                                .here("may be zero"),
                            );
                            return Value::Unknown;
                        }
                    }
                } else {
                    a.value.mul(&b.value)
                };
                let unit = if b.kind.is_dimensionless() {
                    a.unit
                } else if a.kind.is_dimensionless() && !divide {
                    b.unit
                } else {
                    None
                };
                self.finite(
                    Quantity {
                        kind,
                        value,
                        unit,
                        origin: a.origin.with(b.origin),
                        gallon: a.gallon.or(b.gallon),
                        fit: None,
                    },
                    span,
                )
            }
            Err(m) => self.mismatch(span, &m, &[sa, sb]),
        }
    }

    fn power(&mut self, base: &Expr, exponent: &Expr, span: Span) -> Eval<Value> {
        let b = self.expr(base, None)?;
        let x = self.expr(exponent, None)?;
        let (Some(b), Some(x)) = (self.operand(b, base.span), self.operand(x, exponent.span))
        else {
            return Ok(Value::Unknown);
        };
        if !x.kind.is_dimensionless() || x.value.is_toleranced() {
            let place = self.at(exponent.span);
            self.cx.report(
                Finding::new(
                    &codes::WRONG_TYPE,
                    place,
                    "an exponent is a plain number".to_owned(),
                )
                .here(x.kind.name().into_owned()),
            );
            return Ok(Value::Unknown);
        }
        let e = x.si();
        let kind = if b.kind.is_dimensionless() {
            Ok(b.kind)
        } else {
            let den = (1..=6).find(|d| {
                let n = e * f64::from(*d);
                (n - n.round()).abs() < 1e-12
            });
            match den {
                Some(d) if e.abs() < 1e3 => b.kind.pow((e * f64::from(d)).round() as i32, d),
                _ => b.kind.pow(1, 7),
            }
        };
        Ok(match kind {
            Ok(kind) => match b.value.pow(e) {
                Ok(value) => self.finite(
                    Quantity {
                        kind,
                        value,
                        unit: None,
                        origin: b.origin.with(x.origin),
                        gallon: None,
                        fit: None,
                    },
                    span,
                ),
                Err(err) => self.not_computable(span, &err.to_string()),
            },
            Err(m) => self.mismatch(span, &m, &[]),
        })
    }

    fn not_computable(&mut self, span: Span, why: &str) -> Value {
        let place = self.at(span);
        self.cx.report(
            Finding::new(
                &codes::NOT_COMPUTABLE,
                place,
                format!("this cannot be computed: {why}"),
            )
            .here("cannot be computed"),
        );
        Value::Unknown
    }

    fn finite(&mut self, q: Quantity, span: Span) -> Value {
        if q.value.is_finite() {
            Value::Quantity(q)
        } else {
            self.not_computable(span, "the result is too large or not a number")
        }
    }

    fn call(&mut self, function: &Path, arguments: &[Expr], span: Span) -> Eval<Value> {
        let mut given = Vec::with_capacity(arguments.len());
        for a in arguments {
            given.push(self.expr(a, None)?);
        }
        match self.function(function)? {
            Some(Function::Own(f)) => self.call_own(f, function, &given, span),
            Some(Function::BuiltIn(k)) => self.call_built_in(k, given, arguments, span),
            None => Ok(Value::Unknown),
        }
    }

    /// The function that a name means; reports where there is none.
    fn function(&mut self, path: &Path) -> Eval<Option<Function>> {
        let name = path.names.last().unwrap_or(&path.names[0]);
        let file = self.cx.file_of(self.owner);
        let (found, in_file) = match path.names.as_slice() {
            [first, _] if first.text == crate::library::NAME => {
                (self.cx.db().library(&name.text), None)
            }
            [first, _] => {
                let target = match self.cx.lookup(file, &first.text) {
                    Some(d) => self.used_file(d, file),
                    None => None,
                };
                match target {
                    Some(Some(f)) => (self.cx.lookup(f, &name.text), Some(f)),
                    // Reported at the `use` line.
                    Some(None) => return Ok(None),
                    None => {
                        let names = self.cx.names_in(file);
                        let message =
                            format!("`{}` is no file that is brought in here", first.text);
                        self.no_such(first, message, &names);
                        return Ok(None);
                    }
                }
            }
            _ => (self.cx.lookup(file, &name.text), Some(file)),
        };
        if let Some(d) = found.filter(|d| self.cx.is_function(*d)) {
            return Ok(Some(Function::Own(d)));
        }
        let plain = path.names.len() == 1;
        if plain && let Some(k) = FUNCTIONS.iter().position(|f| f.0 == name.text) {
            return Ok(Some(Function::BuiltIn(k)));
        }
        let place = self.at(path.span);
        if let Some(d) = found {
            let word = match self.cx.kind(d) {
                Some((k, _)) if k.word == crate::kinds::LET.word => "a value",
                Some((k, _)) => k.word,
                None => "a file",
            };
            let mut f = Finding::new(
                &codes::WRONG_TYPE,
                place,
                format!(
                    "`{}` is no function to call: it is {}",
                    path.text(),
                    if word.starts_with("a ") {
                        word.to_owned()
                    } else {
                        article(word)
                    }
                ),
            )
            .here("no function")
            .label(Local::Head(d), "declared here");
            if self.cx.is_pattern(d) {
                f = f.help(format!(
                    "a pattern is filled in by a declaration: `{word} name like {}(…) {{ … }}`",
                    path.text()
                ));
            }
            self.cx.report(f);
            return Ok(None);
        }
        let mut known: Vec<SmolStr> = match in_file {
            Some(f) => {
                let mut names = self.cx.names_in(f);
                names.retain(|n| match self.cx.lookup(f, n) {
                    Some(d) => {
                        // A value may become a function under the same name.
                        self.cx.item(d);
                        self.cx.is_function(d)
                    }
                    None => false,
                });
                names
            }
            None => Vec::new(),
        };
        if plain {
            known.extend(FUNCTIONS.iter().map(|f| SmolStr::new_static(f.0)));
        }
        let mut f = Finding::new(
            &codes::UNKNOWN_NAME,
            place,
            format!("there is no function `{}`", path.text()),
        )
        .here("no such function");
        if let Some(n) = near_names(&name.text, known.iter().map(SmolStr::as_str)).first() {
            let at = self.at(name.span);
            f.message.push_str(&format!("; did you mean `{n}`?"));
            f = f.help(format!("write `{n}`")).fix(
                format!("write `{n}`"),
                FixTier::NeedsALook,
                at,
                n.clone(),
            );
        } else if !known.is_empty() {
            let list: Vec<&str> = known.iter().map(SmolStr::as_str).collect();
            f = f.help(format!("there are {}", list.join(", ")));
        }
        self.cx.report(f);
        Ok(None)
    }

    /// Calls a function of the user's. What is wrong with it whatever it is given is said in its own text.
    fn call_own(&mut self, f: DeclId, path: &Path, given: &[Value], span: Span) -> Eval<Value> {
        let Some((parameters, value)) = reuse::function_of(self.cx, f) else {
            return Ok(Value::Unknown);
        };
        let place = self.at(span);
        if parameters.len() != given.len() {
            let form = reuse::call_form(&path.text(), &parameters);
            let n = parameters.len();
            self.cx.report(
                Finding::new(
                    &codes::ARGUMENTS,
                    place,
                    format!(
                        "`{}` takes {n} {}, `{form}`, not {}",
                        path.text(),
                        if n == 1 { "value" } else { "values" },
                        given.len()
                    ),
                )
                .here(format!("{} given", given.len()))
                .label(Local::Head(f), "the function")
                .help(format!("write `{form}`")),
            );
            return Ok(Value::Unknown);
        }
        if self.cx.scope.calls.contains(&f) {
            reuse::recursion(self.cx, f);
            return Ok(Value::Unknown);
        }
        self.cx.scope.made += 1;
        if self.cx.scope.made > reuse::MOST_CALLS {
            if self.cx.scope.made == reuse::MOST_CALLS + 1 {
                let head = Local::Value(self.cx.me, self.cx.my_slot());
                let most = reuse::MOST_CALLS;
                self.cx.report(
                    Finding::new(
                        &codes::NOT_COMPUTABLE,
                        head,
                        format!("more than {most} calls of functions are needed for this value"),
                    )
                    .here("too many calls")
                    .help("name parts of it with `let`, so that each is computed once"),
                );
            }
            return Ok(Value::Unknown);
        }
        let outermost = self.cx.scope.calls.is_empty() || self.cx.scope.calls == [self.cx.me];
        let before = self.cx.findings.len();
        let v = reuse::body(self.cx, f, &parameters, &value, given)?;
        if !outermost || self.cx.findings.len() == before {
            return Ok(v);
        }
        let (told, found): (Vec<_>, Vec<_>) = self
            .cx
            .findings
            .split_off(before)
            .into_iter()
            .partition(|x| !matches!(x.place, Local::Span(..)));
        let unknown = vec![Value::Unknown; given.len()];
        reuse::body(self.cx, f, &parameters, &value, &unknown)?;
        let common = self.cx.findings.split_off(before);
        self.cx.findings.extend(told);
        for x in found.into_iter().filter(|x| !common.contains(x)) {
            let lead = format!("`{}` does not take what it is given here", path.text());
            self.cx
                .report(reuse::at_the_values(x, lead, place, "called here"));
        }
        Ok(v)
    }

    fn call_built_in(
        &mut self,
        which: usize,
        given: Vec<Value>,
        arguments: &[Expr],
        span: Span,
    ) -> Eval<Value> {
        let (name, form, _) = FUNCTIONS[which];
        let one = takes_one(form);
        if given.is_empty() || one && given.len() != 1 {
            let place = self.at(span);
            self.cx.report(
                Finding::new(
                    &codes::ARGUMENTS,
                    place,
                    format!(
                        "`{name}` takes {}, not {}: `{form}`",
                        if one {
                            "one value"
                        } else {
                            "one value or more"
                        },
                        given.len()
                    ),
                )
                .here(format!("{} given", given.len()))
                .help(format!("write `{form}`")),
            );
            return Ok(Value::Unknown);
        }
        if name == "count" {
            let mut n = 0;
            for v in &given {
                n += match v {
                    Value::Unknown => return Ok(Value::Unknown),
                    Value::List(items) => items.len(),
                    Value::Table(t) => t.rows,
                    _ => 1,
                };
            }
            return Ok(Value::Quantity(Quantity::computed(Kind::Count, n as f64)));
        }
        let mut values = Vec::with_capacity(given.len());
        let mut bad = false;
        for (v, s) in given.into_iter().zip(arguments) {
            match v {
                // A list counts as its elements: `mean([a, b])`.
                Value::List(items) if !one => {
                    for v in items.iter() {
                        match self.operand(v.clone(), s.span) {
                            Some(q) => values.push((q, s)),
                            None => bad = true,
                        }
                    }
                }
                v => match self.operand(v, s.span) {
                    Some(q) => values.push((q, s)),
                    None => bad = true,
                },
            }
        }
        if bad {
            return Ok(Value::Unknown);
        }
        let Some((first, first_text)) = values.first().cloned() else {
            let place = self.at(span);
            self.cx.report(
                Finding::new(
                    &codes::NOT_COMPUTABLE,
                    place,
                    format!("`{name}` is asked of an empty list: it needs one value or more"),
                )
                .here("an empty list")
                .help("check what the list is made of"),
            );
            return Ok(Value::Unknown);
        };
        let first_span = first_text.span;
        for (q, text) in &values[1..] {
            let s = text.span;
            if let Err(m) = first.kind.comparable(q.kind) {
                return Ok(self.mismatch(first_span.join(s), &m, &[first_span, s]));
            }
            if !self.gallons(&first, q, first_span.join(s), &[first_text, text]) {
                return Ok(Value::Unknown);
            }
        }
        let origin = values
            .iter()
            .fold(Origin::Computed, |o, v| o.with(v.0.origin));
        let mut acc = first.value.clone();
        let mut kind = first.kind;
        match name {
            "min" => values[1..]
                .iter()
                .for_each(|(q, _)| acc = acc.min(&q.value)),
            "max" => values[1..]
                .iter()
                .for_each(|(q, _)| acc = acc.max(&q.value)),
            "mean" | "sum" => {
                // A mean works for points too: that of two temperatures is a temperature.
                if name == "sum" && values.len() > 1 {
                    match kind.add(values[1].0.kind) {
                        Ok(k) => kind = k,
                        Err(m) => return Ok(self.mismatch(span, &m, &[])),
                    }
                }
                values[1..]
                    .iter()
                    .for_each(|(q, _)| acc = acc.add(&q.value));
                if name == "mean" {
                    acc = acc.scale(1.0 / values.len() as f64);
                }
            }
            "median" => {
                // The middle rises with each value, so its bounds are those of all lower and all upper ends.
                let all: Vec<(&Tol, Direction)> = values
                    .iter()
                    .map(|(q, _)| (&q.value, Direction::Rising))
                    .collect();
                let middle = |v: &[f64]| {
                    let mut v = v.to_vec();
                    v.sort_by(f64::total_cmp);
                    let half = v.len() / 2;
                    Ok::<f64, std::convert::Infallible>(if v.len().is_multiple_of(2) {
                        0.5 * (v[half - 1] + v[half])
                    } else {
                        v[half]
                    })
                };
                let Ok(v) = Tol::monotone("median", &all, middle);
                acc = v;
            }
            "abs" => acc = acc.abs(),
            _ => match (acc.sqrt(), kind.pow(1, 2)) {
                (Ok(v), Ok(k)) => {
                    acc = v;
                    kind = k;
                }
                (Err(e), _) => return Ok(self.not_computable(span, &e.to_string())),
                (_, Err(m)) => return Ok(self.mismatch(span, &m, &[])),
            },
        }
        Ok(self.finite(
            Quantity {
                kind,
                value: acc,
                unit: if name == "sqrt" { None } else { first.unit },
                origin,
                gallon: first.gallon,
                fit: None,
            },
            span,
        ))
    }

    // ---- elements ------------------------------------------------------------------------------

    /// An element of a list or a row of a table, and what is behind it.
    fn element(&mut self, list: &Path, steps: &[Access]) -> Eval<Value> {
        let mut value = self.path(list, false)?;
        let mut so_far = list.span;
        let mut k = 0;
        while k < steps.len() {
            match &steps[k] {
                Access::Index(e) => {
                    let index = self.expr(e, Some(Kind::Count))?;
                    value = self.index(value, so_far, index, e.span)?;
                    so_far = self.to_bracket(so_far.join(e.span));
                    k += 1;
                }
                Access::Member(_) => {
                    let names: Vec<Name> = steps[k..]
                        .iter()
                        .map_while(|s| match s {
                            Access::Member(n) => Some(n.clone()),
                            Access::Index(_) => None,
                        })
                        .collect();
                    let (v, used) = self.member(value, &names, so_far)?;
                    so_far = so_far.join(names[used - 1].span);
                    value = v;
                    k += used;
                }
            }
            if value == Value::Absent {
                let text = self.source(so_far);
                let place = self.at(so_far);
                self.cx.report(
                    Finding::new(
                        &codes::NOT_GIVEN,
                        place,
                        format!("`{text}` has no value: it, or something it is computed from, is not given"),
                    )
                    .here("no value")
                    .help("give what is missing where it belongs, or use another value here"),
                );
                value = Value::Unknown;
            }
        }
        Ok(value)
    }

    /// One element, counted from 1.
    fn index(&mut self, list: Value, list_span: Span, index: Value, span: Span) -> Eval<Value> {
        let text = self.source(list_span);
        let (count, what) = match &list {
            Value::List(items) => (items.len(), "element"),
            Value::Table(t) => (t.rows, "row"),
            Value::Unknown => return Ok(Value::Unknown),
            other => {
                let place = self.at(list_span);
                self.cx.report(
                    Finding::new(
                        &codes::WRONG_TYPE,
                        place,
                        format!(
                            "`{text}` is {}, no list to take an element of",
                            other.describe()
                        ),
                    )
                    .here(other.describe())
                    .help("leave the brackets out"),
                );
                return Ok(Value::Unknown);
            }
        };
        let at = match &index {
            Value::Unknown => return Ok(Value::Unknown),
            Value::Quantity(q) if q.kind.is_dimensionless() && !q.value.is_toleranced() => q.si(),
            other => {
                let given = match other {
                    Value::Quantity(q) if q.kind.is_dimensionless() => {
                        "a number with a tolerance".to_owned()
                    }
                    v => v.describe(),
                };
                let place = self.at(span);
                self.cx.report(
                    Finding::new(
                        &codes::ELEMENT,
                        place,
                        format!("an element of `{text}` is named by a whole number, counted from 1, not by {given}"),
                    )
                    .here(given)
                    .help(format!("write `{text}[1]` for the first")),
                );
                return Ok(Value::Unknown);
            }
        };
        if at.fract() != 0.0 || at < 1.0 || at > count as f64 {
            let place = self.at(span);
            let has = match count {
                0 => format!("`{text}` has no {what}s"),
                1 => format!("`{text}` has one {what}"),
                n => format!("`{text}` has {n} {what}s"),
            };
            let shown = number_text(at);
            let message = if count == 0 {
                format!("{has}: there is no {what} {shown}")
            } else if at.fract() != 0.0 {
                format!("{has}, counted by whole numbers: there is no {what} {shown}")
            } else {
                format!("{has}, counted from 1: there is no {what} {shown}")
            };
            let mut f =
                Finding::new(&codes::ELEMENT, place, message).here(format!("no such {what}"));
            f = match count {
                0 => f.help("fill the list, or take the line out"),
                1 => f.help(format!("write `{text}[1]`")),
                n => f.help(format!("write a whole number from 1 to {n}")),
            };
            self.cx.report(f);
            return Ok(Value::Unknown);
        }
        let at = at as usize - 1;
        Ok(match list {
            Value::List(items) => items[at].clone(),
            Value::Table(t) => Value::Record(Arc::new(t.row(at))),
            _ => Value::Unknown,
        })
    }

    /// The span as far as the bracket that closes behind it.
    fn to_bracket(&self, span: Span) -> Span {
        let db = self.cx.db();
        let whole = db.chunk(self.owner).slice(db.text(db.file_of(self.owner)));
        let behind = whole.get(span.end as usize..).unwrap_or_default();
        match behind.find(']') {
            Some(n) => Span::new(span.start as usize, span.end as usize + n + 1),
            None => span,
        }
    }

    /// The text of the owner at a span.
    fn source(&self, span: Span) -> String {
        let db = self.cx.db();
        let whole = db.chunk(self.owner).slice(db.text(db.file_of(self.owner)));
        whole.get(span.range()).unwrap_or_default().to_owned()
    }

    // ---- names ---------------------------------------------------------------------------------

    /// The value a path leads to. `decl_only`: the first name is looked up among declarations alone. What is
    /// not given is reported.
    pub fn path(&mut self, p: &Path, decl_only: bool) -> Eval<Value> {
        let value = self.find(p, decl_only)?;
        if value != Value::Absent {
            return Ok(value);
        }
        if let Some(x) = self.bound(p) {
            crate::kinds::every::not_given(self.cx, self.owner, x, p);
            return Ok(Value::Unknown);
        }
        let place = self.at(p.span);
        let each = self.of_each_pump(p)?;
        if let Some(first) = each.first() {
            let message = format!(
                "`{}` is of one pump, and this duty has {}: say which, as `{first}`",
                p.text(),
                each.len()
            );
            let f = Finding::new(&codes::NOT_GIVEN, place, message).here("of which pump?");
            self.cx
                .report(f.help(format!("write one of: {}", each.join(", "))));
            return Ok(Value::Unknown);
        }
        self.cx.report(
            Finding::new(
                &codes::NOT_GIVEN,
                place,
                format!(
                    "`{}` has no value here: it, or something it is computed from, is not given",
                    p.text()
                ),
            )
            .here("no value")
            .help("give what is missing where it belongs, or use another value here"),
        );
        Ok(Value::Unknown)
    }

    /// How to ask each of several pumps of a duty for what a path asks the duty itself for.
    fn of_each_pump(&mut self, p: &Path) -> Eval<Vec<String>> {
        let Some((last, front)) = p.names.split_last().filter(|x| !x.1.is_empty()) else {
            return Ok(Vec::new());
        };
        let duty = Path {
            names: front.to_vec(),
            span: front[0].span.join(front[front.len() - 1].span),
        };
        let before = self.cx.findings.len();
        let found = self.find(&duty, false)?;
        self.cx.findings.truncate(before);
        let Value::Decl(d) = found else {
            return Ok(Vec::new());
        };
        if self.cx.kind_word(d) != crate::kinds::duty::DUTY.word {
            return Ok(Vec::new());
        }
        let Value::List(pumps) = self.cx.get(d, "pumps")? else {
            return Ok(Vec::new());
        };
        let names = pumps.iter().filter_map(|v| match v {
            Value::Record(r) if r.fields.iter().any(|f| f.0 == last.text) => r.name(),
            _ => None,
        });
        Ok(names
            .map(|name| format!("{}.{name}.{}", duty.text(), last.text))
            .collect())
    }

    /// The declaration a path's first name stands for in turn, in a rule over every one of a kind.
    fn bound(&self, p: &Path) -> Option<DeclId> {
        if self.owner != self.cx.me {
            return None;
        }
        let bound = self.cx.bound.iter().rev();
        bound.filter(|b| b.0 == p.names[0].text).map(|b| b.1).next()
    }

    /// The value a path leads to; `Absent` where it, or something on the way, is not given.
    pub fn find(&mut self, p: &Path, decl_only: bool) -> Eval<Value> {
        self.follow(p, decl_only, false)
    }

    /// What a declaration may be like: a declaration or a pattern; parameters are no candidates.
    pub(crate) fn base(&mut self, p: &Path) -> Eval<Value> {
        self.follow(p, true, true)
    }

    /// What a name means as a parameter of the function or pattern whose text this is.
    fn parameter(&mut self, name: &str) -> Eval<Option<Value>> {
        if let Some(given) = &self.cx.scope.given {
            return Ok(given.iter().find(|g| g.0 == name).map(|g| g.1.clone()));
        }
        if self.cx.is_pattern(self.owner) {
            return reuse::parameter_value(self.cx, self.owner, name);
        }
        Ok(None)
    }

    fn follow(&mut self, p: &Path, decl_only: bool, for_like: bool) -> Eval<Value> {
        let first = &p.names[0];
        let file = self.cx.file_of(self.owner);
        let mut next = 1;
        let parameter = match for_like {
            true => None,
            false => self.parameter(&first.text)?,
        };
        let bound = self.bound(p);
        let own =
            if decl_only || bound.is_some() || parameter.is_some() || self.cx.scope.given.is_some()
            {
                None
            } else {
                self.cx
                    .kind(self.cx.me)
                    .filter(|k| k.0.word != crate::kinds::REQUIRE.word)
                    .and_then(|(k, s)| own_slot(k, s, p, &mut next))
            };
        let mut value = if let Some(x) = bound {
            Value::Decl(x)
        } else if let Some(v) = parameter {
            v
        } else if let Some(slot) = own {
            self.cx.slot(self.cx.me, slot)?
        } else if first.text == crate::library::NAME {
            let Some(second) = p.names.get(1) else {
                let place = self.at(first.span);
                self.cx.report(
                    Finding::new(
                        &codes::UNKNOWN_NAME,
                        place,
                        "`std` is the standard library; name something in it, as `std.suction_6`"
                            .to_owned(),
                    )
                    .here("the library itself"),
                );
                return Ok(Value::Unknown);
            };
            next = 2;
            match self.cx.db().library(&second.text) {
                Some(d) if self.no_part(d, second.span, for_like) => return Ok(Value::Unknown),
                Some(d) => Value::Decl(d),
                None => {
                    let names: Vec<SmolStr> =
                        self.cx.db().library_names().map(|n| n.0.clone()).collect();
                    return Ok(self.no_such(
                        second,
                        format!("the standard library has no `{}`", second.text),
                        &names,
                    ));
                }
            }
        } else if let Some(d) = self.find_item(file, &first.text) {
            // Only what is no declaration of a known kind is read for its path, so that an edit inside a
            // declaration does not touch those who merely name it.
            match self.used_file(d, file) {
                Some(target) => {
                    let Some(target) = target else {
                        // Reported at the `use` line.
                        return Ok(Value::Unknown);
                    };
                    let Some(second) = p.names.get(1) else {
                        let place = self.at(first.span);
                        self.cx.report(
                            Finding::new(
                                &codes::UNKNOWN_NAME,
                                place,
                                format!("`{}` is a file; name something in it", first.text),
                            )
                            .here("a file"),
                        );
                        return Ok(Value::Unknown);
                    };
                    next = 2;
                    match self.cx.lookup(target, &second.text) {
                        Some(d) => match self.no_part(d, second.span, for_like) {
                            true => return Ok(Value::Unknown),
                            false => self.item_value(d)?,
                        },
                        None if self.cx.may_be_damaged(target, &second.text) => {
                            return Ok(Value::Unknown);
                        }
                        None => {
                            let names: Vec<SmolStr> = self.cx.names_in(target);
                            let shown = self.cx.db().path(target).clone();
                            return Ok(self.no_such(
                                second,
                                format!("`{shown}` declares no `{}`", second.text),
                                &names,
                            ));
                        }
                    }
                }
                None if self.no_part(d, first.span, for_like) => return Ok(Value::Unknown),
                None => self.item_value(d)?,
            }
        } else if self.cx.may_be_damaged(file, &first.text)
            || head_is_damaged(&self.cx.item(self.owner))
        {
            return Ok(Value::Unknown);
        } else {
            let mut names: Vec<SmolStr> = self.cx.names_in(file);
            names.extend(self.cx.bound.iter().map(|b| b.0.clone()));
            if let Some(given) = &self.cx.scope.given {
                names.extend(given.iter().map(|g| g.0.clone()));
            } else if self.cx.is_pattern(self.owner)
                && let Some(x) = decl_of(&self.cx.item(self.owner).item)
            {
                let own = x.parameters.iter().flatten();
                names.extend(own.map(|p| p.name.text.clone()));
            }
            if let Some((k, s)) = self.cx.kind(self.cx.me)
                && !decl_only
                && self.cx.scope.given.is_none()
                && k.word != crate::kinds::REQUIRE.word
            {
                names.extend(s.list.iter().map(|n| SmolStr::new(&n.0)));
            }
            // `45 mm H7/g6`; but `b1` beside a `b2` is more likely a slip of the pen.
            if let Ok(class) = first.text.parse::<Class>()
                && near_names(&first.text, names.iter().map(SmolStr::as_str)).is_empty()
            {
                let place = self.at(first.span);
                self.cx.report(
                    Finding::new(
                        &codes::UNKNOWN_NAME,
                        place,
                        format!("nothing here is called `{class}`; as a tolerance class it stands behind a size, as `45 mm {class}`"),
                    )
                    .here("no size before it")
                    .help(FIT_HELP),
                );
                return Ok(Value::Unknown);
            }
            let in_std = self.cx.db().library(&first.text).is_some();
            let message = format!("nothing here is called `{}`", first.text);
            if in_std {
                let place = self.at(first.span);
                let text = format!("std.{}", first.text);
                self.cx.report(
                    Finding::new(
                        &codes::UNKNOWN_NAME,
                        place,
                        format!("{message}; the standard library has it: write `{text}`"),
                    )
                    .here("not declared in this file")
                    .help(format!("write `{text}`"))
                    .fix(format!("write `{text}`"), FixTier::Safe, place, text),
                );
                return Ok(Value::Unknown);
            }
            return Ok(self.no_such(first, message, &names));
        };
        let mut so_far = p.names[..next]
            .last()
            .map_or(p.span, |n| p.names[0].span.join(n.span));
        while next < p.names.len() {
            let (v, used) = self.member(value, &p.names[next..], so_far)?;
            if matches!(v, Value::Unknown | Value::Absent) {
                return Ok(v);
            }
            so_far = so_far.join(p.names[next + used - 1].span);
            next += used;
            value = v;
        }
        Ok(value)
    }

    /// The item a name means in a file; the word of a kind means the nameless declaration of it.
    fn find_item(&mut self, file: cutwater_finding::FileId, name: &str) -> Option<DeclId> {
        if let Some(d) = self.cx.lookup(file, name) {
            return Some(d);
        }
        let (kind, _) = crate::schema::kind(name)?;
        if !kind.unnamed {
            return None;
        }
        self.cx.lookup(file, &format!("@{name}"))
    }

    /// The file that an item brings in, if it is a `use` line; `Some(None)` where that is not there.
    fn used_file(
        &mut self,
        d: DeclId,
        from: cutwater_finding::FileId,
    ) -> Option<Option<cutwater_finding::FileId>> {
        if self.cx.kind(d).is_some() {
            return None;
        }
        let parsed = self.cx.item(d);
        let ItemKind::Use { path, .. } = &parsed.item.kind else {
            return None;
        };
        let from = self.cx.db().path(from).clone();
        let full = crate::paths::join(&from, &path.text).ok();
        Some(full.and_then(|full| self.cx.lookup_file(&full)))
    }

    /// Whether an item is a function or, unless for `like`, a pattern: reported, for neither is a part or a value.
    fn no_part(&mut self, d: DeclId, span: Span, for_like: bool) -> bool {
        let (function, pattern) = (self.cx.is_function(d), self.cx.is_pattern(d));
        if !function && (!pattern || for_like) {
            return false;
        }
        let name = self.cx.name(d);
        let place = self.at(span);
        let f = if function {
            let form = match reuse::function_of(self.cx, d) {
                Some((parameters, _)) => reuse::call_form(&name, &parameters),
                None => format!("{name}(…)"),
            };
            Finding::new(
                &codes::PATTERN_AS_PART,
                place,
                format!("`{name}` is a function: it has a value only where it is called, `{form}`"),
            )
            .here("a function")
            .help(format!("write `{form}`"))
        } else {
            let word = self.cx.kind_word(d);
            Finding::new(
                &codes::PATTERN_AS_PART,
                place,
                format!(
                    "`{name}` is a pattern for {word}s, not {} itself",
                    article(word)
                ),
            )
            .here("a pattern")
            .help(format!(
                "declare one that fills it in, `{word} … like {name}(…) {{ }}`, and name that here"
            ))
        };
        self.cx
            .report(f.label(Local::Head(d), "declared with parameters"));
        true
    }

    fn item_value(&mut self, d: DeclId) -> Eval<Value> {
        if self.cx.kind_word(d) == crate::kinds::LET.word {
            self.cx.slot(d, 0)
        } else {
            Ok(Value::Decl(d))
        }
    }

    /// One step along a path: the value and how many names it took.
    fn member(&mut self, value: Value, names: &[Name], so_far: Span) -> Eval<(Value, usize)> {
        let name = &names[0];
        let no_parts = |me: &mut Self, what: String| {
            let place = me.at(name.span);
            let left = me.at(so_far);
            me.cx.report(
                Finding::new(
                    &codes::UNKNOWN_NAME,
                    place,
                    format!("{what} has no part called `{}`", name.text),
                )
                .here("no such part")
                .label(left, what),
            );
            Ok((Value::Unknown, 1))
        };
        match value {
            Value::Decl(d) => {
                let Some((kind, slots)) = self.cx.kind(d) else {
                    return Ok((Value::Unknown, 1));
                };
                if let Some(slot) = slots.find(&name.text) {
                    return Ok((self.cx.slot(d, slot)?, 1));
                }
                if kind.groups.iter().any(|g| g.name == name.text) {
                    if let Some(field) = names.get(1)
                        && let Some(slot) = slots.find(&format!("{}.{}", name.text, field.text))
                    {
                        return Ok((self.cx.slot(d, slot)?, 2));
                    }
                    return no_parts(self, format!("the block `{}`", name.text));
                }
                if let Some(member) = kind.member
                    && let Some(v) = member(self.cx, d, &name.text)?
                {
                    return Ok((v, 1));
                }
                if kind.member.is_some() && !self.cx.item(d).errors.is_empty() {
                    // It may be named where the text cannot be read.
                    return Ok((Value::Unknown, 1));
                }
                let mut known: Vec<SmolStr> =
                    slots.list.iter().map(|s| SmolStr::new(&s.0)).collect();
                if let Some(f) = kind.member_names {
                    known.extend(f(self.cx, d)?.into_iter().map(SmolStr::from));
                }
                let message = format!("{} `{}` has no `{}`", kind.word, self.cx.name(d), name.text);
                Ok((self.no_such(name, message, &known), 1))
            }
            Value::Phrase(parts) => match parts.iter().find(|p| p.0 == name.text) {
                Some((_, q)) => Ok((Value::Quantity(q.clone()), 1)),
                None => {
                    let known: Vec<SmolStr> =
                        parts.iter().map(|p| SmolStr::new_static(p.0)).collect();
                    let message = format!("this value has no part called `{}`", name.text);
                    Ok((self.no_such(name, message, &known), 1))
                }
            },
            Value::Record(r) => match r.fields.iter().find(|f| f.0 == name.text) {
                Some((_, v)) => Ok((v.clone(), 1)),
                None => {
                    let known: Vec<SmolStr> = r.fields.iter().map(|f| f.0.clone()).collect();
                    let message = format!("{} has no `{}`", article(r.what), name.text);
                    Ok((self.no_such(name, message, &known), 1))
                }
            },
            Value::Range(r) => {
                let q = |si| Value::Quantity(Quantity::computed(r.kind, si).origin(Origin::Stated));
                match name.text.as_str() {
                    "low" => Ok((q(r.low), 1)),
                    "high" => Ok((q(r.high), 1)),
                    _ => no_parts(self, "a range".to_owned()),
                }
            }
            Value::Piece(p) => match name.text.as_str() {
                "length" => Ok((Value::Quantity(p.length.clone()), 1)),
                _ => {
                    let of = Value::Decl(p.of);
                    self.member(of, names, so_far)
                }
            },
            Value::Table(t) => match t.part(&name.text) {
                Some(v) => Ok((v, 1)),
                None => {
                    let known: Vec<SmolStr> =
                        t.columns.iter().map(|c| SmolStr::new_static(c.0)).collect();
                    let message = format!("this table has no column `{}`", name.text);
                    Ok((self.no_such(name, message, &known), 1))
                }
            },
            // What a list is asked for, each of its elements is.
            Value::List(items) => {
                let mut out = Vec::with_capacity(items.len());
                let mut used = 1;
                for (k, item) in items.iter().enumerate() {
                    let (v, n) = self.member(item.clone(), names, so_far)?;
                    used = n;
                    match v {
                        Value::Unknown => return Ok((Value::Unknown, n)),
                        Value::Absent => {
                            let whose = match item {
                                Value::Decl(d) => format!("`{}`", self.cx.name(*d)),
                                _ => format!("element {}", k + 1),
                            };
                            let place = self.at(name.span);
                            let mut f = Finding::new(
                                &codes::NOT_GIVEN,
                                place,
                                format!("{whose} of this list has no `{}`: it, or something it is computed from, is not given", name.text),
                            )
                            .here("not every element has it")
                            .help("give what is missing where it belongs, or name the elements one by one");
                            if let Value::Decl(d) = item {
                                f = f.label(Local::Head(*d), format!("no `{}`", name.text));
                            }
                            self.cx.report(f);
                            return Ok((Value::Unknown, n));
                        }
                        v => out.push(v),
                    }
                }
                Ok((Value::List(out.into()), used))
            }
            Value::Unknown => Ok((Value::Unknown, 1)),
            other => no_parts(self, other.describe()),
        }
    }

    pub fn no_such(&mut self, name: &Name, message: String, known: &[SmolStr]) -> Value {
        let place = self.at(name.span);
        let mut f = Finding::new(&codes::UNKNOWN_NAME, place, message).here("no such name");
        let near = near_names(&name.text, known.iter().map(SmolStr::as_str));
        if let Some(best) = near.first() {
            f = remedy::meant(f, place, best);
        } else if !known.is_empty() && known.len() <= 12 {
            let mut list: Vec<&str> = known
                .iter()
                .map(SmolStr::as_str)
                .filter(|n| !n.starts_with('@'))
                .collect();
            list.sort_unstable();
            if !list.is_empty() {
                f = f.help(format!("there are: {}", list.join(", ")));
            }
        }
        self.cx.report(f);
        Value::Unknown
    }

    // ---- storing -------------------------------------------------------------------------------

    /// Evaluates the expression of a field of type `ty` and compares it with what the field takes.
    pub fn store(&mut self, ty: Type, e: &Expr, field: &str) -> Eval<Value> {
        match ty {
            Type::Quantity(kind, sign) => {
                let v = self.expr(e, Some(kind))?;
                // `5.49 .. 5.51 in` in a field for one value states its limits.
                let v = match v {
                    Value::Range(r) => {
                        let id = self.cx.next_input();
                        match Tol::with_limits(id, 0.5 * (r.low + r.high), r.low, r.high) {
                            Ok(value) => Value::Quantity(Quantity {
                                kind: r.kind,
                                value,
                                gallon: r.unit.as_ref().and_then(|u| u.gallon()),
                                fit: None,
                                unit: r.unit,
                                origin: Origin::Stated,
                            }),
                            Err(err) => self.not_computable(e.span, &err.to_string()),
                        }
                    }
                    v => v,
                };
                self.store_quantity(kind, sign, v, e, field)
            }
            Type::Range(kind) => match self.expr(e, Some(kind))? {
                Value::Range(r) => match self.accept(kind, r.kind, r.unit.as_deref(), e, field) {
                    true => Ok(Value::Range(Range { kind, ..r })),
                    false => Ok(Value::Unknown),
                },
                Value::Unknown => Ok(Value::Unknown),
                other => Ok(self.wrong(
                    e.span,
                    field,
                    &format!("a range of {}, as `0.003 .. 0.007 in`", kind.name()),
                    &other,
                )),
            },
            Type::Count(least, most) => {
                let v = self.expr(e, Some(Kind::Count))?;
                let Value::Quantity(q) = v else {
                    return Ok(self.wrong(e.span, field, "a whole number", &v));
                };
                let n = q.si();
                let bounds = if most == u32::MAX {
                    format!("a whole number of at least {least}")
                } else {
                    format!("a whole number from {least} to {most}")
                };
                if !q.kind.is_dimensionless()
                    || n.fract() != 0.0
                    || n < f64::from(least)
                    || n > f64::from(most)
                {
                    let place = self.at(e.span);
                    let given = if q.kind.is_dimensionless() {
                        number_text(n)
                    } else {
                        q.kind.name().into_owned()
                    };
                    let f = Finding::new(
                        &codes::OUT_OF_RANGE,
                        place,
                        format!("`{field}` is {bounds}, not {given}"),
                    )
                    .here(bounds);
                    let mended = match &e.kind {
                        ExprKind::Number(n)
                            if n.value.fract() == 0.0
                                && (f64::from(least)..=f64::from(most)).contains(&n.value) =>
                        {
                            remedy::unit_taken_out(self.owner, n)
                        }
                        _ => None,
                    };
                    self.cx.report(remedy::with(f, mended));
                    return Ok(Value::Unknown);
                }
                Ok(Value::Quantity(Quantity {
                    kind: Kind::Count,
                    ..q
                }))
            }
            Type::Text => match self.expr(e, None)? {
                v @ (Value::Text(_) | Value::Unknown) => Ok(v),
                other => Ok(self.wrong(e.span, field, "a text in double quotes", &other)),
            },
            Type::Date => match self.expr(e, None)? {
                v @ (Value::Date(_) | Value::Unknown) => Ok(v),
                other => Ok(self.wrong(e.span, field, "a date, as 2026-05-14", &other)),
            },
            Type::Choice(words) => {
                // A word that a pattern takes from outside.
                if let ExprKind::Path(p) = &e.kind
                    && let [one] = p.names.as_slice()
                    && let Some(v) = self.parameter(&one.text)?
                {
                    return Ok(match v {
                        Value::Choice(w) if words.iter().any(|x| x.0 == w) => v,
                        v => {
                            let list: Vec<String> =
                                words.iter().map(|w| format!("`{}`", w.0)).collect();
                            let expected = format!("one of the words {}", list.join(", "));
                            self.wrong(e.span, field, &expected, &v)
                        }
                    });
                }
                Ok(self.choice(words, e, field))
            }
            Type::Ref(kinds) => self.reference(kinds, e, field),
            Type::RefList(kinds) => {
                let items: &[Expr] = match &e.kind {
                    ExprKind::List(items) => items,
                    _ => std::slice::from_ref(e),
                };
                let mut out = Vec::with_capacity(items.len());
                let mut bad = false;
                for i in items {
                    match self.reference_or_list(kinds, i, field)? {
                        Value::Unknown => bad = true,
                        Value::List(more) => out.extend(more.iter().cloned()),
                        v => out.push(v),
                    }
                }
                Ok(if bad {
                    Value::Unknown
                } else {
                    Value::List(out.into())
                })
            }
            Type::Piece(kinds) => self.piece(kinds, e, field),
            Type::Phrase(parts) => self.phrase(parts, e, field),
            Type::Any | Type::Truth | Type::Record => self.expr(e, None),
        }
    }

    fn wrong(&mut self, span: Span, field: &str, expected: &str, given: &Value) -> Value {
        if *given == Value::Unknown {
            return Value::Unknown;
        }
        let place = self.at(span);
        self.cx.report(
            Finding::new(
                &codes::WRONG_TYPE,
                place,
                format!("`{field}` takes {expected}, not {}", given.describe()),
            )
            .here(given.describe()),
        );
        Value::Unknown
    }

    /// Compares a kind with the one expected; reports where it does not fit.
    fn accept(
        &mut self,
        expected: Kind,
        given: Kind,
        unit: Option<&CompoundUnit>,
        e: &Expr,
        field: &str,
    ) -> bool {
        let answer = match unit {
            Some(u) if u.kind() == given => u.accepted_by(expected),
            _ => expected.accepts(given),
        };
        let Accept::No(m) = answer else {
            return true;
        };
        let place = self.at(e.span);
        let literal = match &e.kind {
            ExprKind::Number(n) => Some(n),
            ExprKind::Range(_, hi) => match &hi.kind {
                ExprKind::Number(n) => Some(n),
                _ => None,
            },
            _ => None,
        };
        let missing = matches!(given, Kind::Number | Kind::Ratio) && !expected.is_dimensionless();
        let preferred = preferred_unit(expected, self.cx.settings().units).map(|u| u.ascii);
        let mut f = if missing {
            let example = preferred
                .map(|p| format!(", as {}", unit_example(expected, p)))
                .unwrap_or_default();
            Finding::new(
                &codes::UNIT_MISSING,
                place,
                format!(
                    "`{field}` is {}: its number needs a unit{example}",
                    article(&expected.name())
                ),
            )
            .here("no unit")
        } else {
            let code = if expected.dimension() == given.dimension() {
                &codes::WRONG_KIND
            } else {
                &codes::WRONG_UNIT
            };
            let mut f = Finding::new(
                code,
                place,
                format!(
                    "`{field}` is {}, but this is {}",
                    article(&expected.name()),
                    article(&given.name())
                ),
            )
            .here(given.name().into_owned());
            if let Some(slip) = m.slip {
                f.message.push_str(": ");
                f.message.push_str(slip.text());
            } else if let Some(gap) = &m.gap {
                f = f.help(format!("the value {gap}"));
            }
            f
        };
        let unit_name = literal.and_then(|n| n.unit.as_ref());
        if let (Some(r), Some(u)) = (m.replacement, unit_name) {
            let at = self.at(u.span);
            f = f
                .help(format!("write `{r}` if that is what was meant"))
                .fix(format!("write `{r}`"), FixTier::NeedsALook, at, r);
        } else if missing && let (Some(n), Some(p)) = (literal, preferred) {
            let at = self.at(Span::at(n.digits.end as usize));
            f = f.help(format!("write the unit, perhaps `{p}`")).fix(
                format!("put in `{p}`"),
                FixTier::NeedsALook,
                at,
                format!(" {p}"),
            );
        } else if f.help.is_none()
            && let Some(p) = preferred
        {
            f = f.help(format!(
                "{} is written in `{p}`, for one",
                article(&expected.name())
            ));
        }
        if f.fix.is_none() {
            let mended = match (m.slip, unit, &e.kind) {
                (
                    Some(LikelySlip::VacuumForGauge | LikelySlip::GaugeForVacuum),
                    Some(u),
                    ExprKind::Number(_),
                ) => {
                    let settings = self.cx.settings();
                    remedy::sign_turned(self.owner, e, expected, u, &settings)
                }
                (Some(LikelySlip::UnitNotWanted), _, ExprKind::Number(n)) => {
                    remedy::unit_taken_out(self.owner, n)
                }
                _ => None,
            };
            f = remedy::with(f, mended);
        }
        self.cx.report(f);
        false
    }

    fn store_quantity(
        &mut self,
        kind: Kind,
        sign: Sign,
        v: Value,
        e: &Expr,
        field: &str,
    ) -> Eval<Value> {
        let Value::Quantity(q) = v else {
            return Ok(self.wrong(e.span, field, &article(&kind.name()), &v));
        };
        if !self.accept(kind, q.kind, q.unit.as_deref(), e, field) {
            return Ok(Value::Unknown);
        }
        let bad = match sign {
            Sign::Any => None,
            Sign::Positive if q.si() <= 0.0 => Some("above zero"),
            Sign::NotNegative if q.si() < 0.0 => Some("zero or above"),
            _ => None,
        };
        if let Some(bound) = bad {
            let place = self.at(e.span);
            let shown = crate::show::quantity(&q, &self.cx.settings());
            self.cx.report(
                Finding::new(
                    &codes::OUT_OF_RANGE,
                    place,
                    format!("`{field}` must be {bound}, but it is {shown}"),
                )
                .here(format!("must be {bound}"))
                .help("check the sign and the digits"),
            );
            return Ok(Value::Unknown);
        }
        if sign == Sign::Positive && q.value.lo() <= 0.0 && q.value.is_toleranced() {
            let place = self.at(e.span);
            self.cx.report(
                Finding::new(
                    &codes::BAD_TOLERANCE,
                    place,
                    format!("the tolerance of `{field}` reaches to zero or below"),
                )
                .here("wider than the value")
                .help("check the tolerance's unit and digits"),
            );
            return Ok(Value::Unknown);
        }
        // An absolute temperature below zero kelvin, or a ratio: nothing else is bounded here.
        if kind == Kind::Temperature && q.si() < 0.0 {
            let place = self.at(e.span);
            self.cx.report(
                Finding::new(
                    &codes::OUT_OF_RANGE,
                    place,
                    format!("`{field}` is below absolute zero"),
                )
                .here("below absolute zero"),
            );
            return Ok(Value::Unknown);
        }
        Ok(Value::Quantity(Quantity { kind, ..q }))
    }

    fn choice(
        &mut self,
        words: &'static [(&'static str, &'static str)],
        e: &Expr,
        field: &str,
    ) -> Value {
        let list = || {
            words
                .iter()
                .map(|w| format!("`{}`", w.0))
                .collect::<Vec<_>>()
                .join(", ")
        };
        if let ExprKind::Path(p) = &e.kind
            && let [one] = p.names.as_slice()
        {
            if let Some(w) = words.iter().find(|w| w.0 == one.text) {
                return Value::Choice(w.0);
            }
            if head_is_damaged(&self.cx.item(self.owner)) {
                // Perhaps a parameter.
                return Value::Unknown;
            }
            let place = self.at(e.span);
            let mut f = Finding::new(
                &codes::UNKNOWN_WORD,
                place,
                format!("`{field}` is one of {}, not `{}`", list(), one.text),
            )
            .here("not one of them");
            if let Some(n) = pick_nearest(&one.text, words.iter().map(|w| w.0)) {
                f = f.help(format!("write `{n}`")).fix(
                    format!("write `{n}`"),
                    FixTier::NeedsALook,
                    place,
                    n,
                );
            }
            self.cx.report(f);
            return Value::Unknown;
        }
        if e.kind == ExprKind::Error {
            return Value::Unknown;
        }
        let place = self.at(e.span);
        let f = Finding::new(
            &codes::UNKNOWN_WORD,
            place,
            format!("`{field}` is one of the words {}", list()),
        )
        .here("not one of them");
        let quoted = match &e.kind {
            ExprKind::Text(t) => words.iter().find(|w| w.0 == t.trim()),
            _ => None,
        };
        let mended = quoted.and_then(|w| remedy::quotes_taken_off(self.owner, e, w.0));
        self.cx.report(match quoted {
            Some(w) => remedy::with(f.help(format!("write `{}`, without quotes", w.0)), mended),
            None => f,
        });
        Value::Unknown
    }

    fn reference(&mut self, kinds: &'static [&'static str], e: &Expr, field: &str) -> Eval<Value> {
        let wanted = kinds.join(" or ");
        Ok(match self.reference_or_list(kinds, e, field)? {
            v @ Value::List(_) => {
                let expected = format!("the name of {}", article(&wanted));
                self.wrong(e.span, field, &expected, &v)
            }
            v => v,
        })
    }

    /// What a name or an element of a list leads to; a parameter may stand for a list of declarations.
    fn reference_or_list(
        &mut self,
        kinds: &'static [&'static str],
        e: &Expr,
        field: &str,
    ) -> Eval<Value> {
        let wanted = kinds.join(" or ");
        let (v, text) = match &e.kind {
            ExprKind::Path(p) => (self.path(p, true)?, p.text()),
            ExprKind::Element(p, steps) => (self.element(p, steps)?, self.source(e.span)),
            ExprKind::Error => return Ok(Value::Unknown),
            _ => {
                let place = self.at(e.span);
                self.cx.report(
                    Finding::new(
                        &codes::WRONG_TYPE,
                        place,
                        format!("`{field}` takes the name of {}", article(&wanted)),
                    )
                    .here(format!("not the name of {}", article(&wanted))),
                );
                return Ok(Value::Unknown);
            }
        };
        let all = match &v {
            Value::List(items) => items.to_vec(),
            one => vec![one.clone()],
        };
        for one in all {
            match one {
                Value::Decl(d) => {
                    let word = self.cx.kind_word(d);
                    if kinds.contains(&word) {
                        continue;
                    }
                    // Where its own declaration is not understood, that is reported there.
                    if self.cx.kind(d).is_some() {
                        let place = self.at(e.span);
                        self.cx.report(
                            Finding::new(
                                &codes::WRONG_TYPE,
                                place,
                                format!(
                                    "`{field}` takes {}, but `{text}` is {}",
                                    article(&wanted),
                                    article(word)
                                ),
                            )
                            .here(article(word))
                            .label(Local::Head(d), "declared here"),
                        );
                    }
                    return Ok(Value::Unknown);
                }
                other => {
                    let expected = format!("the name of {}", article(&wanted));
                    return Ok(self.wrong(e.span, field, &expected, &other));
                }
            }
        }
        Ok(v)
    }

    fn piece(&mut self, kinds: &'static [&'static str], e: &Expr, field: &str) -> Eval<Value> {
        let wanted = kinds.join(" or ");
        let ExprKind::Of(amount, what) = &e.kind else {
            if e.kind == ExprKind::Error {
                return Ok(Value::Unknown);
            }
            let place = self.at(e.span);
            self.cx.report(
                Finding::new(
                    &codes::WRONG_TYPE,
                    place,
                    format!("`{field}` takes a length of {wanted}, as `20 ft of std.suction_6`"),
                )
                .here("no length of anything"),
            );
            return Ok(Value::Unknown);
        };
        let length = self.store(Type::Quantity(Kind::Length, Sign::Positive), amount, field)?;
        let what = Expr {
            kind: ExprKind::Path(what.clone()),
            span: what.span,
        };
        let of = self.reference(kinds, &what, field)?;
        Ok(match (length, of) {
            (Value::Quantity(length), Value::Decl(of)) => {
                Value::Piece(Arc::new(Piece { length, of }))
            }
            _ => Value::Unknown,
        })
    }

    fn phrase(&mut self, parts: &'static [PartDef], e: &Expr, field: &str) -> Eval<Value> {
        let pattern = || {
            parts
                .iter()
                .map(|p| {
                    let unit = preferred_unit(p.kind, self_units()).map_or("…", |u| u.ascii);
                    if p.word.is_empty() {
                        format!("… {unit}")
                    } else {
                        format!("{} … {unit}", p.word)
                    }
                })
                .collect::<Vec<_>>()
                .join(" ")
        };
        let empty = Vec::new();
        let (head, rest) = match &e.kind {
            ExprKind::Phrase(h, r) => (&**h, r),
            ExprKind::Error => return Ok(Value::Unknown),
            _ => (e, &empty),
        };
        let mut out: Vec<(&'static str, Quantity)> = Vec::new();
        let mut bad = false;
        for (k, def) in parts.iter().enumerate() {
            let given = if k == 0 {
                Some(head)
            } else {
                rest.iter().find(|r| r.0.text == def.word).map(|r| &r.1)
            };
            match given {
                Some(x) => {
                    let label = format!("{field}.{}", def.name);
                    match self.store(Type::Quantity(def.kind, Sign::Positive), x, &label)? {
                        Value::Quantity(q) => out.push((def.name, q)),
                        _ => bad = true,
                    }
                }
                None if def.optional => {}
                None => {
                    let place = self.at(e.span);
                    self.cx.report(
                        Finding::new(
                            &codes::WRONG_TYPE,
                            place,
                            format!(
                                "`{field}` is written `{}`: `{} …` is missing",
                                pattern(),
                                def.word
                            ),
                        )
                        .here(format!("`{} …` is missing", def.word)),
                    );
                    bad = true;
                }
            }
        }
        for (word, x) in rest {
            if !parts.iter().any(|p| p.word == word.text) {
                let place = self.at(word.span.join(x.span));
                self.cx.report(
                    Finding::new(
                        &codes::WRONG_TYPE,
                        place,
                        format!(
                            "`{field}` is written `{}`: there is no `{}` in it",
                            pattern(),
                            word.text
                        ),
                    )
                    .here("not wanted"),
                );
                bad = true;
            }
        }
        Ok(if bad {
            Value::Unknown
        } else {
            Value::Phrase(out.into())
        })
    }
}

/// The unit to name in a message; a length may be a clearance or a hose.
fn unit_example(kind: Kind, preferred: &str) -> String {
    match (kind, preferred) {
        (Kind::Length, "in") => "`in` or `ft`".to_owned(),
        (Kind::Length, "mm") => "`mm` or `m`".to_owned(),
        _ => format!("`{preferred}`"),
    }
}

fn self_units() -> cutwater_quantity::UnitSystem {
    cutwater_quantity::UnitSystem::Us
}

/// The own field a path begins with, and how many names that took.
fn own_slot(
    kind: &'static crate::schema::KindDef,
    slots: &'static crate::schema::Slots,
    p: &Path,
    used: &mut usize,
) -> Option<u16> {
    let first = p.names[0].text.as_str();
    if let Some(slot) = slots.find(first) {
        return (!matches!(slots.list[slot as usize].1, Slot::Table(_))).then_some(slot);
    }
    if kind.groups.iter().any(|g| g.name == first)
        && let Some(second) = p.names.get(1)
        && let Some(slot) = slots.find(&format!("{first}.{}", second.text))
    {
        *used = 2;
        return Some(slot);
    }
    None
}
