//! What `require` asks of values that are no quantities: `is` and `is not`, and dates.
//!
//! A word of a choice is compared with a word that the choice has, a declaration with a declaration, a text with
//! a text, yes or no with `yes` or `no`; `is given` asks whether an optional field is there. Dates are compared
//! with dates and with ranges of them. Nothing here compares across these: whatever is mixed is a finding.

use super::every::source_text;
use crate::codes;
use crate::db::{Cx, Local};
use crate::eval::Ev;
use crate::schema::{self, Slot, Type};
use crate::show::{article, pick_nearest};
use crate::value::{Date, Value};
use crate::{DeclId, Eval};
use cutwater_finding::{Finding, FixTier};
use cutwater_syntax::ast::{Comparison, Expr, ExprKind, Path, Require, Rule};
use cutwater_text::Span;
use smol_str::SmolStr;

/// The word that asks whether a field is given.
pub(super) const GIVEN: &str = "given";

/// The words of yes and no.
static YES_NO: &[(&str, &str)] = &[("yes", "It is so."), ("no", "It is not so.")];

/// Judges `value is other` and `value is not other`.
pub(super) fn is(cx: &mut Cx<'_>, d: DeclId, r: &Require, not: bool, other: &Expr) -> Eval<Value> {
    let left = &r.condition.value;
    if word_of(other) == Some(GIVEN) {
        let value = match &left.kind {
            ExprKind::Path(p) => Ev { cx, owner: d }.find(p, false)?,
            _ => Ev { cx, owner: d }.expr(left, None)?,
        };
        if value == Value::Unknown {
            return Ok(Value::Unknown);
        }
        let given = value != Value::Absent;
        let said = if given { "given" } else { "not given" };
        let asked = if not { "must not be" } else { "must be" };
        return Ok(verdict(
            cx,
            d,
            r,
            given != not,
            |text| format!("`{text}` is {said}, and it {asked}"),
            &format!("is {said}"),
        ));
    }
    let value = Ev { cx, owner: d }.expr(left, None)?;
    let (same, given, asked) = match &value {
        Value::Unknown => {
            // The other side is looked at all the same, where it is no word.
            if word_of(other).is_none() {
                Ev { cx, owner: d }.expr(other, None)?;
            }
            return Ok(Value::Unknown);
        }
        Value::Choice(is) => {
            let words = words_of(cx, d, left, is)?;
            let Some(word) = one_of(cx, d, left, other, words) else {
                return Ok(Value::Unknown);
            };
            (word == *is, format!("`{is}`"), format!("`{word}`"))
        }
        Value::Truth(is) => {
            let Some(word) = one_of(cx, d, left, other, YES_NO) else {
                return Ok(Value::Unknown);
            };
            let is = if *is { "yes" } else { "no" };
            (word == is, format!("`{is}`"), format!("`{word}`"))
        }
        Value::Text(is) => match text(cx, d, r, other)? {
            Some(t) => (t == *is, format!("\"{is}\""), format!("\"{t}\"")),
            None => return Ok(Value::Unknown),
        },
        Value::Decl(is) => {
            let given = match &other.kind {
                ExprKind::Path(p) => Ev { cx, owner: d }.path(p, true)?,
                _ => Ev { cx, owner: d }.expr(other, None)?,
            };
            match given {
                Value::Decl(o) => {
                    let (a, b) = (cx.kind_word(*is), cx.kind_word(o));
                    if a != b {
                        let message = format!(
                            "`{}` is {}, and `{}` is {}: they are never the same",
                            source_text(cx, d, left.span),
                            article(a),
                            source_text(cx, d, other.span),
                            article(b)
                        );
                        cx.report(
                            Finding::new(&codes::WRONG_TYPE, Local::Span(d, other.span), message)
                                .here(article(b))
                                .label(Local::Head(o), "declared here")
                                .help(format!("name {} here", article(a))),
                        );
                        return Ok(Value::Unknown);
                    }
                    let shown = |x| format!("`{}`", cx.name(x));
                    (*is == o, shown(*is), shown(o))
                }
                v => return Ok(mixed(cx, d, r, &value, other.span, &v)),
            }
        }
        Value::Date(is) => match (Ev { cx, owner: d }).expr(other, None)? {
            Value::Date(o) => (*is == o, is.to_string(), o.to_string()),
            v => return Ok(mixed(cx, d, r, &value, other.span, &v)),
        },
        Value::Quantity(q) if q.kind.is_dimensionless() && !q.value.is_toleranced() => {
            match (Ev { cx, owner: d }).expr(other, Some(q.kind))? {
                Value::Quantity(o) if o.kind.is_dimensionless() && !o.value.is_toleranced() => {
                    let settings = cx.settings();
                    let shown = |x| crate::show::quantity(x, &settings);
                    (q.si() == o.si(), shown(q), shown(&o))
                }
                v => return Ok(mixed(cx, d, r, &value, other.span, &v)),
            }
        }
        other => {
            let message = format!(
                "`is` asks for a word, a text, a declaration, a date or a count, and this is {}",
                other.describe()
            );
            let help = if matches!(other, Value::Quantity(_)) {
                "compare measured and computed numbers with `>=`, `<=` or `within`: two of them are never exactly equal"
            } else {
                "ask about one of its parts"
            };
            cx.report(
                Finding::new(&codes::WRONG_TYPE, Local::Span(d, left.span), message)
                    .here(other.describe())
                    .help(help),
            );
            return Ok(Value::Unknown);
        }
    };
    Ok(verdict(
        cx,
        d,
        r,
        same != not,
        |text| match not {
            false => format!("`{text}` is {given}, not {asked}"),
            true => format!("`{text}` is {given}, which it must not be"),
        },
        &format!("is {given}"),
    ))
}

/// Judges a date by a comparison or a range of dates.
pub(super) fn dates(cx: &mut Cx<'_>, d: DeclId, r: &Require, day: Date) -> Eval<Value> {
    let left = Value::Date(day);
    let days = |n: i64, what: &str| format!("{n} day{} {what}", if n == 1 { "" } else { "s" });
    match &r.condition.rule {
        Rule::Error | Rule::Is { .. } => Ok(Value::Unknown),
        Rule::Compare(sign, e) => match (Ev { cx, owner: d }).expr(e, None)? {
            Value::Date(limit) => {
                let ok = match sign {
                    Comparison::AtLeast => day >= limit,
                    Comparison::AtMost => day <= limit,
                    Comparison::Above => day > limit,
                    Comparison::Below => day < limit,
                };
                let asked = match sign {
                    Comparison::AtLeast => format!("{limit} or later"),
                    Comparison::AtMost => format!("{limit} or earlier"),
                    Comparison::Above => format!("after {limit}"),
                    Comparison::Below => format!("before {limit}"),
                };
                let gap = (day.number() - limit.number()).abs();
                let way = match sign {
                    Comparison::AtLeast | Comparison::Above => "too early",
                    Comparison::AtMost | Comparison::Below => "too late",
                };
                let here = if gap == 0 {
                    "on the very day".to_owned()
                } else {
                    days(gap, way)
                };
                Ok(verdict(
                    cx,
                    d,
                    r,
                    ok,
                    |text| format!("`{text}` is {day}, not {asked}"),
                    &here,
                ))
            }
            v => Ok(mixed(cx, d, r, &left, e.span, &v)),
        },
        Rule::Within(e) => match (Ev { cx, owner: d }).expr(e, None)? {
            Value::Period(from, to) => {
                let here = if day < from {
                    days(from.number() - day.number(), "too early")
                } else {
                    days(day.number() - to.number(), "too late")
                };
                Ok(verdict(
                    cx,
                    d,
                    r,
                    day >= from && day <= to,
                    |text| format!("`{text}` is {day}, not within {from} .. {to}"),
                    &here,
                ))
            }
            v => Ok(mixed(cx, d, r, &left, e.span, &v)),
        },
    }
}

/// Says that the two sides of a condition are not of one sort; `Unknown` where that is said elsewhere. `left` is
/// what stands before the sign, `span` where the other side stands.
pub(super) fn mixed(
    cx: &mut Cx<'_>,
    d: DeclId,
    r: &Require,
    left: &Value,
    span: Span,
    right: &Value,
) -> Value {
    if matches!(right, Value::Unknown) {
        return Value::Unknown;
    }
    let what = |cx: &Cx<'_>, v: &Value| match v {
        Value::Decl(x) => article(cx.kind_word(*x)),
        v => v.describe(),
    };
    let (is, given) = (what(cx, left), what(cx, right));
    let within = matches!(r.condition.rule, Rule::Within(_));
    let help = match left {
        Value::Date(_) if within => {
            "write a range of dates, as `2025-05-14 .. 2026-05-14`".to_owned()
        }
        Value::Date(_) => "write a date, as `2026-05-14`".to_owned(),
        Value::Quantity(_) if within => format!("write a range from {is} to another"),
        Value::Decl(_) => format!("write the name of {is}"),
        _ => format!("write {is}"),
    };
    let text = source_text(cx, d, r.condition.value.span);
    cx.report(
        Finding::new(
            &codes::WRONG_TYPE,
            Local::Span(d, span),
            if within {
                format!("`{text}` is {is} and cannot lie within {given}")
            } else {
                format!("`{text}` is {is} and cannot be compared with {given}")
            },
        )
        .here(given)
        .help(help),
    );
    Value::Unknown
}

/// Reports the rule where it does not hold. `message` makes the sentence from the left side's text.
fn verdict(
    cx: &mut Cx<'_>,
    d: DeclId,
    r: &Require,
    ok: bool,
    message: impl Fn(&str) -> String,
    here: &str,
) -> Value {
    if !ok {
        let span = r.condition.value.span;
        let mut message = message(&source_text(cx, d, span));
        if let Some(b) = &r.because {
            message.push_str(&format!(" ({})", b.text));
        }
        let f = Finding::new(&codes::REQUIRE_FAILS, Local::Span(d, span), message).here(here);
        cx.report(match &r.because {
            Some(b) => f
                .label(Local::Span(d, b.span), "the reason given")
                .source("a rule of this spec"),
            None => f.source("a rule of this spec, without a reason"),
        });
    }
    Value::Truth(ok)
}

/// The single name an expression is.
pub(super) fn word_of(e: &Expr) -> Option<&str> {
    match &e.kind {
        ExprKind::Path(p) => match p.names.as_slice() {
            [one] => Some(one.text.as_str()),
            _ => None,
        },
        _ => None,
    }
}

type Words = &'static [(&'static str, &'static str)];

/// The word an expression is, of those there are; reports what is none of them.
pub(super) fn one_of(
    cx: &mut Cx<'_>,
    d: DeclId,
    left: &Expr,
    other: &Expr,
    words: Words,
) -> Option<&'static str> {
    let written = match &other.kind {
        ExprKind::Error => return None,
        ExprKind::Text(t) => Some(t.clone()),
        _ => word_of(other).map(SmolStr::new),
    };
    let plain = !matches!(other.kind, ExprKind::Text(_));
    let known = written
        .as_ref()
        .and_then(|w| words.iter().find(|x| x.0 == w.as_str()));
    if let (Some(k), true) = (known, plain) {
        return Some(k.0);
    }
    let list: Vec<String> = words.iter().map(|w| format!("`{}`", w.0)).collect();
    let text = source_text(cx, d, left.span);
    let place = Local::Span(d, other.span);
    let message = match &written {
        Some(w) if known.is_some() => {
            format!("`{text}` is a word: write `{w}` without quotes")
        }
        Some(w) => format!("`{text}` is one of {}, never `{w}`", list.join(", ")),
        None => format!("`{text}` is one of the words {}", list.join(", ")),
    };
    let mut f = Finding::new(&codes::UNKNOWN_WORD, place, message).here("not one of them");
    let near = known
        .map(|k| k.0)
        .or_else(|| pick_nearest(written.as_deref()?, words.iter().map(|w| w.0)))
        .or_else(|| match written.as_deref() {
            Some("true") if words == YES_NO => Some("yes"),
            Some("false") if words == YES_NO => Some("no"),
            _ => None,
        });
    if let Some(n) = near {
        f = f.help(format!("write `{n}`")).fix(
            format!("write `{n}`"),
            FixTier::NeedsALook,
            place,
            n,
        );
    }
    cx.report(f);
    None
}

/// A text to compare a text with; reports what is none.
fn text(cx: &mut Cx<'_>, d: DeclId, r: &Require, other: &Expr) -> Eval<Option<SmolStr>> {
    if let Some(w) = word_of(other)
        && cx.lookup(cx.file_of(d), w).is_none()
    {
        let place = Local::Span(d, other.span);
        let text = format!("\"{w}\"");
        let message = format!(
            "`{}` is a text: write {text} in double quotes",
            source_text(cx, d, r.condition.value.span)
        );
        cx.report(
            Finding::new(&codes::WRONG_TYPE, place, message)
                .here("no text")
                .help(format!("write `{text}`"))
                .fix(format!("write `{text}`"), FixTier::NeedsALook, place, text),
        );
        return Ok(None);
    }
    Ok(match (Ev { cx, owner: d }).expr(other, None)? {
        Value::Text(t) => Some(t),
        v => {
            let left = Value::Text(SmolStr::default());
            mixed(cx, d, r, &left, other.span, &v);
            None
        }
    })
}

/// The words of the choice that an expression leads to; `is` is the one it has.
fn words_of(cx: &mut Cx<'_>, d: DeclId, e: &Expr, is: &'static str) -> Eval<Words> {
    if let ExprKind::Path(p) = &e.kind {
        // The declaration before the last name, or before the block and the last name.
        for behind in 1..p.names.len().min(3) {
            let (front, last) = p.names.split_at(p.names.len() - behind);
            let (Some(a), Some(b)) = (front.first(), front.last()) else {
                continue;
            };
            let before = cx.findings.len();
            let span = a.span.join(b.span);
            let names = front.to_vec();
            let owner = Ev { cx, owner: d }.path(&Path { names, span }, false)?;
            cx.findings.truncate(before);
            let Value::Decl(x) = owner else { continue };
            let last: Vec<&str> = last.iter().map(|n| n.text.as_str()).collect();
            let slot = cx.kind(x).and_then(|(_, s)| {
                let k = s.find(&last.join("."))?;
                s.list.get(k as usize)
            });
            let ty = match slot {
                Some((_, Slot::Field(f) | Slot::GroupField(_, f))) => f.ty,
                Some((_, Slot::Computed(c))) => c.ty,
                _ => continue,
            };
            if let Type::Choice(words) = ty {
                return Ok(words);
            }
        }
    }
    // Behind a `let` or in a record: a choice that has this very word.
    Ok(schema::kinds()
        .iter()
        .flat_map(|k| {
            let fields = k.fields.iter().map(|f| f.ty);
            let inner = k.groups.iter().flat_map(|g| g.fields.iter().map(|f| f.ty));
            fields.chain(inner).chain(k.computed.iter().map(|c| c.ty))
        })
        .find_map(|ty| match ty {
            Type::Choice(words) => words.iter().any(|w| w.0 == is).then_some(words),
            _ => None,
        })
        .unwrap_or(&[]))
}
