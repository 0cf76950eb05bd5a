//! Inputs that are varied: a value put in place of what a spec says, and everything that follows from it.
//!
//! An [`Input`] is a field, a named value, a computed property that needs no solved duty, what a duty holds, or the
//! length of hose before a station of a lay. [`Db::vary`] puts a value in its place; the next [`Db::settle`] works out
//! again only what depends on it, and taking the pin out brings back what the spec says. The texts stay as they are.
//!
//! Invariants: a pinned value passes the same checks of unit, kind and sign as one that is written; findings about the
//! text that it replaces are silent while it holds.
//! Not here: which results are shown (that is the host's), and how inputs with tolerances are drawn
//! ([`crate::hydraulic::sample`]).

use crate::db::{Cx, Db};
use crate::eval::Ev;
use crate::hydraulic;
use crate::schema::{ComputedDef, Sign, Slot, Type};
use crate::show;
use crate::value::{Quantity, Value};
use crate::{DeclId, Halt};
use cutwater_finding::FileId;
use cutwater_quantity::{Kind, Tol};
use cutwater_syntax::ast::{Expr, ItemKind};
use cutwater_syntax::parser::parse_chunk;
use smol_str::SmolStr;

/// Most values one input is given.
pub const MOST_VALUES: usize = 1000;

/// Something that can be varied.
#[derive(Clone, Debug)]
pub struct Input {
    /// The path it was asked for by.
    pub path: String,
    decl: DeclId,
    /// The slot's name, or what of the declaration's entries is meant.
    part: SmolStr,
    ty: Type,
}

/// Why something cannot be varied, and how to mend that.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// What is wrong.
    pub message: String,
    /// What to write.
    pub help: String,
}

fn problem<T>(message: impl Into<String>, help: impl Into<String>) -> Result<T, Problem> {
    Err(Problem {
        message: message.into(),
        help: help.into(),
    })
}

/// The declaration that the front of a path names in one of `files`, and the rest of the path.
///
/// # Errors
/// No declaration of that name, or several.
pub fn declaration<'p>(
    db: &Db,
    files: &[FileId],
    path: &'p str,
) -> Result<(DeclId, &'p str), Problem> {
    let (first, rest) = path.split_once('.').unwrap_or((path, ""));
    if first == "std" {
        let (name, rest) = rest.split_once('.').unwrap_or((rest, ""));
        return match db.library(name) {
            Some(d) => Ok((d, rest)),
            None => problem(
                format!("the standard library has no `{name}`"),
                "`cutwater explain` lists what it has",
            ),
        };
    }
    let found: Vec<DeclId> = files
        .iter()
        .filter_map(|f| db.lookup(*f, first))
        .filter(|d| db.kind(*d).is_some())
        .collect();
    match found.as_slice() {
        [one] => Ok((*one, rest)),
        [] => {
            let names = files.iter().flat_map(|f| db.names_in(*f));
            let names = names.filter(|(_, d)| db.kind(*d).is_some());
            let near = show::near_names(first, names.map(|(n, _)| n.as_str()));
            problem(
                format!("no declaration is called `{first}` in these files"),
                match near.first() {
                    Some(n) => format!("did you mean `{n}`?"),
                    None => "write a path as in a spec: `pond.draft.lift`, `attack.left.pressure`"
                        .to_owned(),
                },
            )
        }
        [a, b, ..] => problem(
            format!(
                "`{first}` is declared in `{}` and in `{}`",
                db.path(db.file_of(*a)),
                db.path(db.file_of(*b))
            ),
            "name one file alone",
        ),
    }
}

impl Input {
    /// The input that a path means in one of `files`.
    ///
    /// # Errors
    /// Nothing is called that, or it is nothing that can be given a value.
    pub fn find(db: &mut Db, files: &[FileId], path: &str) -> Result<Self, Problem> {
        let (decl, rest) = declaration(db, files, path)?;
        let Some((kind, slots)) = db.kind(decl) else {
            return problem(
                format!("`{path}` is nothing that has a value"),
                "name a field",
            );
        };
        let input = |part: &str, ty: Type| Input {
            path: path.to_owned(),
            decl,
            part: part.into(),
            ty,
        };
        if kind.holds {
            let holds = db.with(decl, |cx| hydraulic::held(cx, decl));
            if let Some((text, kind)) = holds.unwrap_or_default().into_iter().find(|h| h.0 == rest)
            {
                return Ok(input(&text, Type::Quantity(kind, Sign::Positive)));
            }
        }
        if let Some(station) = rest.strip_suffix(".length")
            && kind.word == "lay"
        {
            let names = db.with(decl, |cx| hydraulic::lengths(cx, decl));
            let names = names.unwrap_or_default();
            if names.iter().any(|n| n == station) {
                return Ok(input(rest, Type::Quantity(Kind::Length, Sign::Positive)));
            }
            return problem(
                format!(
                    "no hose leads straight to `{station}` in lay `{}`",
                    decl_name(db, decl)
                ),
                format!("hose leads to: {}", names.join(", ")),
            );
        }
        let part = if rest.is_empty() { "value" } else { rest };
        let Some(slot) = slots.find(part) else {
            let known = slots.list.iter().map(|s| s.0.as_str());
            let near = show::near_names(part, known);
            return problem(
                match rest {
                    "" => format!(
                        "`{path}` is {}; one of its values is varied, not the whole",
                        show::article(kind.word)
                    ),
                    _ => format!("{} has no `{part}`", show::article(kind.word)),
                },
                match near.first() {
                    Some(n) => format!("did you mean `{n}`?"),
                    None => format!("`cutwater explain {}` lists its fields", kind.word),
                },
            );
        };
        let ty = match slots.list[slot as usize].1 {
            Slot::Field(f) | Slot::GroupField(_, f) => f.ty,
            Slot::Computed(ComputedDef { solved: true, .. }) => {
                return problem(
                    format!("`{path}` is a result of the solved duty"),
                    "vary what the duty holds, or a field that it depends on",
                );
            }
            Slot::Computed(c) => c.ty,
            Slot::Table(_) => {
                return problem(
                    format!("`{path}` is a table; single values are varied"),
                    "give what is to vary a name with `let`, and use that in the table",
                );
            }
        };
        let ty = match (ty, db.with(decl, |cx| cx.slot(decl, slot))) {
            // A named value is of the kind it has now.
            (Type::Any, Ok(Value::Quantity(q))) => Type::Quantity(q.kind, Sign::Any),
            (ty, _) => ty,
        };
        match ty {
            Type::Quantity(..) | Type::Count(..) | Type::Choice(_) | Type::Ref(_) => {
                Ok(input(part, ty))
            }
            _ => problem(
                format!("`{path}` is no single value"),
                "quantities, counts, words of a choice and names of declarations can be varied",
            ),
        }
    }

    /// The declaration it belongs to.
    pub fn decl(&self) -> DeclId {
        self.decl
    }

    /// The values that a text asks for: `5 ft .. 20 ft in 7`, `0 psi .. 30 psi by 5 psi`, or `5 ft, 10 ft, 15 ft`.
    ///
    /// # Errors
    /// What is wrong with the text, or with a value for this input.
    pub fn values(&self, db: &mut Db, text: &str) -> Result<Vec<Value>, Problem> {
        let forms = "write `5 ft .. 20 ft in 7` (values, both ends among them), `5 ft .. 20 ft by 2.5 ft`, or single values with commas between them";
        let word = |w: &str| {
            text.rfind(w)
                .map(|at| (&text[..at], text[at + w.len()..].trim()))
        };
        let Some((low, _)) = text.split_once("..") else {
            let parts = split_list(text);
            if parts.len() > MOST_VALUES {
                return problem(
                    format!("{} values are too many", parts.len()),
                    format!("give at most {MOST_VALUES}"),
                );
            }
            return parts.into_iter().map(|p| self.value(db, p)).collect();
        };
        if low.trim().is_empty() {
            return problem(format!("`{text}` does not say where it begins"), forms);
        }
        let (range, count, step) = match (word(" in "), word(" by ")) {
            (Some((range, n)), None) => {
                let n = n.trim_end_matches("values").trim();
                match n.parse::<usize>() {
                    Ok(n) if (2..=MOST_VALUES).contains(&n) => (range, n, None),
                    _ => {
                        return problem(
                            format!("`{n}` is no number of values from 2 to {MOST_VALUES}"),
                            forms,
                        );
                    }
                }
            }
            (None, Some((range, step))) => (range, 0, Some(step)),
            (None, None) => (text, 11, None),
            (Some(_), Some(_)) => {
                return problem("`in` and `by` do not go together", forms);
            }
        };
        let Value::Quantity(q) = self.value(db, range.trim())? else {
            return problem(format!("`{}` takes no range", self.path), forms);
        };
        let (low, high) = (q.value.lo(), q.value.hi());
        let count = match step {
            None => count,
            Some(step) => {
                let step = self.step(db, step, &q)?;
                let n = ((high - low) / step * (1.0 + 1e-12)).floor();
                if !(0.0..MOST_VALUES as f64).contains(&n) {
                    return problem(
                        format!("this step makes more than {MOST_VALUES} values"),
                        "take a larger one",
                    );
                }
                let at = |k: usize| low + k as f64 * step;
                return Ok((0..=n as usize).map(|k| with_si(&q, at(k))).collect());
            }
        };
        let at = |k: usize| low + (high - low) * (k as f64 / (count - 1) as f64);
        let mut out: Vec<Value> = (0..count).map(|k| with_si(&q, at(k))).collect();
        if let Type::Count(..) = self.ty {
            out.retain(|v| v.quantity().is_some_and(|q| q.si().fract() == 0.0));
        }
        out.dedup();
        Ok(out)
    }

    /// A step, in the SI unit of the input.
    fn step(&self, db: &mut Db, text: &str, q: &Quantity) -> Result<f64, Problem> {
        let (value, findings) =
            self.evaluate(db, text, |cx, owner, e| Ev { cx, owner }.expr(e, None))?;
        let step = match value {
            Value::Quantity(s) if s.kind.dimension() == q.kind.dimension() => s.si(),
            Value::Unknown => return problem(findings, "write a step as `by 2.5 ft`"),
            other => {
                return problem(
                    format!(
                        "the step `{text}` is {}, and `{}` is {}",
                        other.describe(),
                        self.path,
                        show::article(&q.kind.name())
                    ),
                    "write a step in a unit of the same sort",
                );
            }
        };
        if q.kind == Kind::Temperature {
            return problem(
                "a step of temperature cannot be told from a reading",
                "say how many values, as `in 7`",
            );
        }
        match step > 0.0 && step.is_finite() {
            true => Ok(step),
            false => problem(
                format!("the step `{text}` does not lead up"),
                "write a step above zero",
            ),
        }
    }

    /// One value.
    fn value(&self, db: &mut Db, text: &str) -> Result<Value, Problem> {
        let (value, findings) = self.evaluate(db, text, |cx, owner, e| {
            Ev { cx, owner }.store(self.ty, e, &self.path)
        })?;
        match value {
            Value::Unknown | Value::Absent if findings.is_empty() => problem(
                format!("`{text}` has no value"),
                "write a number with its unit",
            ),
            Value::Unknown | Value::Absent => problem(findings, "write a value as in a spec"),
            value => Ok(value),
        }
    }

    /// Reads a text as an expression of a spec where the input stands, and evaluates it; with it what was found.
    fn evaluate(
        &self,
        db: &mut Db,
        text: &str,
        of: impl FnOnce(&mut Cx<'_>, DeclId, &Expr) -> Result<Value, Halt>,
    ) -> Result<(Value, String), Problem> {
        let parsed = parse_chunk(&format!("let varied = {text}\n"));
        if let Some(e) = parsed.errors.first() {
            return problem(
                format!("`{text}` is no value: {}", e.message),
                "write a number with its unit",
            );
        }
        let ItemKind::Let { value, .. } = &parsed.item.kind else {
            return problem(
                format!("`{text}` is no value"),
                "write a number with its unit",
            );
        };
        db.with(self.decl, |cx| {
            let v = of(cx, self.decl, value).unwrap_or(Value::Unknown);
            let said = cx.findings.first().map(|f| f.message.clone());
            Ok((v, said.unwrap_or_default()))
        })
    }
}

/// The same quantity at another value.
fn with_si(q: &Quantity, si: f64) -> Value {
    Value::Quantity(Quantity {
        value: Tol::exact(si),
        ..q.clone()
    })
}

/// Parts with commas between them, brackets kept together.
fn split_list(text: &str) -> Vec<&str> {
    let mut parts = Vec::new();
    let (mut depth, mut from) = (0, 0);
    for (at, c) in text.char_indices() {
        match c {
            '(' | '[' => depth += 1,
            ')' | ']' => depth -= 1,
            ',' if depth == 0 => {
                parts.push(text[from..at].trim());
                from = at + 1;
            }
            _ => {}
        }
    }
    parts.push(text[from..].trim());
    parts
}

fn decl_name(db: &Db, d: DeclId) -> SmolStr {
    db.name(d).cloned().unwrap_or_default()
}

impl Db {
    /// Puts a value in place of an input, or takes it out again.
    pub fn vary(&mut self, input: &Input, value: Option<Value>) {
        self.pin(input.decl, &input.part, value);
    }
}
