//! Values of slots and expressions.
//!
//! `Unknown` means that something is wrong and has been reported where it is wrong: whatever depends on it is
//! unknown too and says nothing more. `Absent` means that an optional fact was not given.

use crate::DeclId;
use crate::hydraulic::Solution;
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

    /// The date, in UTC, so many days after 1970-01-01 (Gregorian calendar); `None` beyond the year 65535.
    pub fn after_1970(days: u64) -> Option<Self> {
        // Years are counted from March, so that the odd day of a leap year is the last; 400 years have
        // 146 097 days. 1970-01-01 is day 719 468 after 0000-03-01.
        let days = days.checked_add(719_468)?;
        let (era, day) = (days / 146_097, days % 146_097);
        let year = (day - day / 1460 + day / 36_524 - day / 146_096) / 365;
        let day = day - (365 * year + year / 4 - year / 100);
        let month = (5 * day + 2) / 153;
        let date = day - (153 * month + 2) / 5 + 1;
        let (month, carry) = if month < 10 {
            (month + 3, 0)
        } else {
            (month - 9, 1)
        };
        Self::new(
            u16::try_from(year + era * 400 + carry).ok()?,
            u8::try_from(month).ok()?,
            u8::try_from(date).ok()?,
        )
    }
}

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
            assert_eq!(Date::after_1970(n), d, "day {n}");
            d = d.and_then(|d| {
                Date::new(d.year, d.month, d.day + 1)
                    .or_else(|| Date::new(d.year, d.month + 1, 1))
                    .or_else(|| Date::new(d.year + 1, 1, 1))
            });
        }
        // POSIX gives 2000-03-01T00:00:00Z as 951 868 800 seconds (from memory).
        assert_eq!(
            Date::after_1970(951_868_800 / 86_400),
            Date::new(2000, 3, 1)
        );
        assert_eq!(Date::after_1970(u64::MAX), None);
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
