//! Values of slots and expressions.
//!
//! `Unknown` means that something is wrong and has been reported where it is wrong: whatever depends on it is
//! unknown too and says nothing more. `Absent` means that an optional fact was not given.

use crate::DeclId;
use crate::hydraulic::Solution;
use crate::schema::ColumnType;
use cutwater_mechanics::iso286;
use cutwater_quantity::{CompoundUnit, Gallon, Kind, Tol};
use smol_str::SmolStr;
use std::sync::Arc;

/// Where a number comes from; shown with every result.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Origin {
    /// Written in the spec.
    Stated,
    /// Read from an instrument in a test or inspection.
    Measured,
    /// Computed from stated or measured facts.
    Computed,
    /// Computed with at least one assumed default.
    Assumed,
    /// Predicted from geometry, with scatter.
    Predicted,
}

impl Origin {
    /// The word used in output.
    pub fn word(self) -> &'static str {
        match self {
            Origin::Stated => "stated",
            Origin::Measured => "measured",
            Origin::Computed => "computed",
            Origin::Assumed => "assumed",
            Origin::Predicted => "predicted",
        }
    }

    /// The origin of what is computed from both.
    #[must_use]
    pub fn with(self, other: Self) -> Self {
        self.max(other).max(Origin::Computed)
    }
}

/// A size written with a tolerance class: `45 mm H7`.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Fit {
    /// The class.
    pub class: iso286::Class,
    /// The nominal size as written, in SI units: the name of the size, which may lie outside its limits, as with `45 mm f7`.
    /// What is computed from the size starts from the middle of the limits.
    pub nominal: f64,
}

/// A number with its kind.
#[derive(Clone, PartialEq, Debug)]
pub struct Quantity {
    /// What it is.
    pub kind: Kind,
    /// Its value in SI units, with tolerance.
    pub value: Tol,
    /// The unit it was written in, where it was.
    pub unit: Option<Arc<CompoundUnit>>,
    /// Where it comes from.
    pub origin: Origin,
    /// Which gallon it was written in, where it was.
    pub gallon: Option<Gallon>,
    /// The tolerance class it was written with, where it was; what is computed from it has none.
    pub fit: Option<Fit>,
}

impl Quantity {
    /// A computed number without tolerance.
    pub fn computed(kind: Kind, si: f64) -> Self {
        Self::from_tol(kind, Tol::exact(si))
    }

    /// A computed number.
    pub fn from_tol(kind: Kind, value: Tol) -> Self {
        Self {
            kind,
            value,
            unit: None,
            origin: Origin::Computed,
            gallon: None,
            fit: None,
        }
    }

    /// The same with another origin.
    #[must_use]
    pub fn origin(mut self, origin: Origin) -> Self {
        self.origin = origin;
        self
    }

    /// Nominal value in SI units.
    pub fn si(&self) -> f64 {
        self.value.nominal()
    }
}

/// A range with both ends.
#[derive(Clone, PartialEq, Debug)]
pub struct Range {
    /// What it is.
    pub kind: Kind,
    /// Lower end in SI units.
    pub low: f64,
    /// Upper end in SI units.
    pub high: f64,
    /// The unit it was written in.
    pub unit: Option<Arc<CompoundUnit>>,
}

/// A length of something.
#[derive(Clone, PartialEq, Debug)]
pub struct Piece {
    /// How long, m.
    pub length: Quantity,
    /// Of what.
    pub of: DeclId,
}

/// A column: its name, the unit it was written in, and its cells.
pub type TableColumn = (&'static str, Option<Arc<CompoundUnit>>, Vec<Cell>);

/// A table's content in SI units.
#[derive(Clone, PartialEq, Debug)]
pub struct Table {
    /// What `at` says.
    pub at: Option<Quantity>,
    /// By column name: the unit it was written in and the cells (`None`: not given).
    pub columns: Vec<TableColumn>,
    /// What the cells of each column are, in the same order.
    pub types: Vec<ColumnType>,
    /// Number of rows.
    pub rows: usize,
}

/// A cell's value.
#[derive(Clone, PartialEq, Debug)]
pub enum Cell {
    /// Not given.
    Absent,
    /// A number in SI units.
    Number(f64),
    /// A text.
    Text(SmolStr),
}

impl Table {
    /// The numbers of a column; `None` where the column is not there or a cell is missing.
    pub fn numbers(&self, column: &str) -> Option<Vec<f64>> {
        let cells = &self.columns.iter().find(|c| c.0 == column)?.2;
        cells
            .iter()
            .map(|c| match c {
                Cell::Number(v) => Some(*v),
                _ => None,
            })
            .collect()
    }

    /// One number; `None` where the column is not there or the cell is missing.
    pub fn number(&self, row: usize, column: &str) -> Option<f64> {
        match self.columns.iter().find(|c| c.0 == column)?.2.get(row)? {
            Cell::Number(v) => Some(*v),
            _ => None,
        }
    }

    /// One text; `None` where the column is not there or the cell is missing.
    pub fn text(&self, row: usize, column: &str) -> Option<SmolStr> {
        match self.columns.iter().find(|c| c.0 == column)?.2.get(row)? {
            Cell::Text(v) => Some(v.clone()),
            _ => None,
        }
    }

    /// A cell as a value; `None` where there is no such column or row.
    pub fn cell(&self, row: usize, column: usize) -> Option<Value> {
        let (_, unit, cells) = self.columns.get(column)?;
        Some(match (cells.get(row)?, self.types.get(column)?) {
            (Cell::Absent, _) => Value::Absent,
            (Cell::Text(t), _) => Value::Text(t.clone()),
            (Cell::Number(si), ColumnType::Quantity(kind) | ColumnType::Signed(kind)) => {
                Value::Quantity(Quantity {
                    kind: *kind,
                    value: Tol::exact(*si),
                    gallon: unit.as_ref().and_then(|u| u.gallon()),
                    unit: unit.clone(),
                    origin: Origin::Stated,
                    fit: None,
                })
            }
            (Cell::Number(v), ColumnType::Text) => Value::Text(crate::show::number_text(*v).into()),
        })
    }

    /// A row as a named set of values.
    pub fn row(&self, row: usize) -> Record {
        Record {
            what: "row",
            fields: (0..self.columns.len())
                .filter_map(|k| Some((SmolStr::new_static(self.columns[k].0), self.cell(row, k)?)))
                .collect(),
        }
    }

    /// What a name of it means: a column's cells from top to bottom, those not given left out; or what `at` says.
    pub fn part(&self, name: &str) -> Option<Value> {
        match self.columns.iter().position(|c| c.0 == name) {
            Some(k) => {
                let cells = (0..self.rows).filter_map(|r| self.cell(r, k));
                let given: Vec<Value> = cells.filter(|v| *v != Value::Absent).collect();
                Some(Value::List(given.into()))
            }
            None if name == "at" => self.at.clone().map(Value::Quantity),
            None => None,
        }
    }

    /// Whether the column is there.
    pub fn has(&self, column: &str) -> bool {
        self.columns.iter().any(|c| c.0 == column)
    }
}

/// A named set of values.
#[derive(Clone, PartialEq, Debug)]
pub struct Record {
    /// What it is, for messages: "station", "point".
    pub what: &'static str,
    /// Its fields.
    pub fields: Vec<(SmolStr, Value)>,
}

impl Record {
    /// What it goes by: its field `name`, where it has one.
    pub fn name(&self) -> Option<&SmolStr> {
        self.fields.iter().find_map(|(n, v)| match v {
            Value::Text(t) if n == "name" => Some(t),
            _ => None,
        })
    }
}

/// The value of a slot or an expression.
#[derive(Clone, PartialEq, Debug)]
pub enum Value {
    /// Something is wrong and was reported.
    Unknown,
    /// Not given.
    Absent,
    /// A number with its kind.
    Quantity(Quantity),
    /// A range.
    Range(Range),
    /// A text.
    Text(SmolStr),
    /// A date.
    Date(Date),
    /// The days from a first to a last one, both counted in.
    Period(Date, Date),
    /// A word of a choice.
    Choice(&'static str),
    /// True or false.
    Truth(bool),
    /// A declaration.
    Decl(DeclId),
    /// A list.
    List(Arc<[Value]>),
    /// A length of something.
    Piece(Arc<Piece>),
    /// A phrase's parts by name.
    Phrase(Arc<[(&'static str, Quantity)]>),
    /// A table.
    Table(Arc<Table>),
    /// A named set.
    Record(Arc<Record>),
    /// A solved duty.
    Solution(Arc<Solution>),
}

impl Value {
    /// What it is, in words for messages.
    pub fn describe(&self) -> String {
        match self {
            Value::Unknown => "something unknown".to_owned(),
            Value::Absent => "nothing".to_owned(),
            Value::Quantity(q) => crate::show::article(&q.kind.name()),
            Value::Range(r) => format!("a range of {}", r.kind.name()),
            Value::Text(_) => "a text".to_owned(),
            Value::Date(_) => "a date".to_owned(),
            Value::Period(..) => "a range of dates".to_owned(),
            Value::Choice(w) => format!("the word `{w}`"),
            Value::Truth(_) => "a yes or no".to_owned(),
            Value::Decl(_) => "a declaration".to_owned(),
            Value::List(_) => "a list".to_owned(),
            Value::Piece(_) => "a length of hose".to_owned(),
            Value::Phrase(_) => "a value with `at`".to_owned(),
            Value::Table(_) => "a table".to_owned(),
            Value::Record(r) => crate::show::article(r.what),
            Value::Solution(_) => "a solution".to_owned(),
        }
    }

    /// The quantity, if it is one.
    pub fn quantity(&self) -> Option<&Quantity> {
        match self {
            Value::Quantity(q) => Some(q),
            _ => None,
        }
    }
}

/// A calendar date.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Date {
    /// Year.
    pub year: u16,
    /// Month, 1 to 12.
    pub month: u8,
    /// Day of the month.
    pub day: u8,
}

impl Date {
    /// A date that exists (Gregorian calendar).
    pub fn new(year: u16, month: u8, day: u8) -> Option<Self> {
        let leap = year.is_multiple_of(4) && !year.is_multiple_of(100) || year.is_multiple_of(400);
        let most = match month {
            1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
            4 | 6 | 9 | 11 => 30,
            2 if leap => 29,
            2 => 28,
            _ => return None,
        };
        (day >= 1 && day <= most).then_some(Self { year, month, day })
    }

    /// A date written year-month-day, `2026-05-14`; `None` where it is no such day.
    pub fn parse(text: &str) -> Option<Self> {
        let mut parts = text.split('-');
        let (y, m, d) = (parts.next()?, parts.next()?, parts.next()?);
        let formed = parts.next().is_none() && (y.len(), m.len(), d.len()) == (4, 2, 2);
        let number = |t: &str| {
            t.bytes()
                .all(|b| b.is_ascii_digit())
                .then(|| t.parse::<u16>().ok())?
        };
        if !formed {
            return None;
        }
        Self::new(
            number(y)?,
            u8::try_from(number(m)?).ok()?,
            u8::try_from(number(d)?).ok()?,
        )
    }

    /// The day's number, counted from 1970-01-01 as 0 (proleptic Gregorian calendar).
    pub fn number(self) -> i64 {
        // Years counted from March, so that the leap day is the last of its year: then the days before a
        // month follow one line, and 400 years have 146 097 days.
        let (y, m) = (i64::from(self.year), i64::from(self.month));
        let (y, m) = if m > 2 { (y, m - 3) } else { (y - 1, m + 9) };
        let (era, in_era) = (y.div_euclid(400), y.rem_euclid(400));
        let in_year = (153 * m + 2) / 5 + i64::from(self.day) - 1;
        era * 146_097 + in_era * 365 + in_era / 4 - in_era / 100 + in_year - DAYS_TO_1970
    }

    /// The day of a number, the inverse of [`Date::number`]; `None` outside the years 1 to 9999.
    pub fn from_number(number: i64) -> Option<Self> {
        let n = number.checked_add(DAYS_TO_1970)?;
        let (era, in_era) = (n.div_euclid(146_097), n.rem_euclid(146_097));
        let year = (in_era - in_era / 1460 + in_era / 36_524 - in_era / 146_096) / 365;
        let in_year = in_era - (365 * year + year / 4 - year / 100);
        let m = (5 * in_year + 2) / 153;
        let day = in_year - (153 * m + 2) / 5 + 1;
        let month = if m < 10 { m + 3 } else { m - 9 };
        let year = era * 400 + year + i64::from(month <= 2);
        if !(1..=9999).contains(&year) {
            return None;
        }
        Self::new(
            u16::try_from(year).ok()?,
            u8::try_from(month).ok()?,
            u8::try_from(day).ok()?,
        )
    }
}

/// Days from 0000-03-01 to 1970-01-01.
const DAYS_TO_1970: i64 = 719_468;

impl std::fmt::Display for Date {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_counted_as_the_calendar_does() {
        // Counted by walking the calendar day by day.
        let mut d = Date::new(1970, 1, 1);
        for n in 0..200_000 {
            assert_eq!(Date::from_number(n), d, "day {n}");
            d = d.and_then(|d| {
                Date::new(d.year, d.month, d.day + 1)
                    .or_else(|| Date::new(d.year, d.month + 1, 1))
                    .or_else(|| Date::new(d.year + 1, 1, 1))
            });
        }
        // POSIX gives 2000-03-01T00:00:00Z as 951 868 800 seconds (from memory).
        assert_eq!(
            Date::from_number(951_868_800 / 86_400),
            Date::new(2000, 3, 1)
        );
        assert_eq!(Date::from_number(i64::MAX), None);
    }

    #[test]
    fn dates_are_read_in_one_form() {
        assert_eq!(Date::parse("2026-05-14"), Date::new(2026, 5, 14));
        for bad in [
            "2026-5-14",
            "2026-02-30",
            "14.05.2026",
            "",
            "2026-05-14-1",
            "+026-05-14",
        ] {
            assert_eq!(Date::parse(bad), None, "{bad}");
        }
    }
}
