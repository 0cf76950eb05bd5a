//! The tree of one chunk. Spans are bytes counted from the chunk's start, so a chunk that only moved is equal.
//!
//! The tree is total: what could not be understood is an `Error` node, and everything round it is kept.
//! Sums and products are flat lists and signs are counted, so that no text, however long, makes a deep
//! tree; brackets are limited in number by [`crate::MAX_NESTING`].

use cutwater_text::Span;
use smol_str::SmolStr;

/// A name with its place.
#[derive(Clone, PartialEq, Debug)]
pub struct Name {
    /// The text.
    pub text: SmolStr,
    /// Where it stands.
    pub span: Span,
}

/// A dotted path, `stock.supply_3`; never empty.
#[derive(Clone, PartialEq, Debug)]
pub struct Path {
    /// Its names in order.
    pub names: Vec<Name>,
    /// From the first to the last.
    pub span: Span,
}

impl Path {
    /// The path as written, with dots.
    pub fn text(&self) -> String {
        let parts: Vec<&str> = self.names.iter().map(|n| n.text.as_str()).collect();
        parts.join(".")
    }
}

/// A text in quotes.
#[derive(Clone, PartialEq, Debug)]
pub struct Text {
    /// Without the quotes.
    pub text: SmolStr,
    /// With the quotes.
    pub span: Span,
}

/// One chunk's content.
#[derive(Clone, PartialEq, Debug)]
pub struct Item {
    /// The `///` lines before it, without the slashes, joined by line ends.
    pub doc: SmolStr,
    /// What it is.
    pub kind: ItemKind,
    /// From its first to its last token.
    pub span: Span,
}

/// What an item is.
#[derive(Clone, PartialEq, Debug)]
pub enum ItemKind {
    /// `use "parts/hose.pump" as stock`
    Use {
        /// The file's path.
        path: Text,
        /// The name it goes by here.
        alias: Name,
    },
    /// `let gap = expr`, `let gap(bore, hub) = expr`
    Let {
        /// Its name.
        name: Name,
        /// What a function takes; `None` for a plain value.
        parameters: Option<Vec<Name>>,
        /// Its value.
        value: Expr,
    },
    /// `require expr >= expr because "…"`
    Require(Require),
    /// `accept CW0501 because "…"`
    Accept(Accept),
    /// `pump main { … }`
    Decl(Decl),
    /// Nothing there (a file of comments), or not understood (then a syntax error was reported).
    Empty,
}

/// A user's rule.
#[derive(Clone, PartialEq, Debug)]
pub struct Require {
    /// Over what it is asked, where it is asked of many.
    pub every: Option<Every>,
    /// What is looked at, and what must hold.
    pub condition: Condition,
    /// The reason given.
    pub because: Option<Text>,
}

/// `for every ring r of main where r.form is labyrinth and r.land_length >= 0.5 in`
#[derive(Clone, PartialEq, Debug)]
pub struct Every {
    /// The kind's word.
    pub kind: Name,
    /// The name each goes by in turn.
    pub name: Name,
    /// Among what.
    pub of: Option<Path>,
    /// Only those for which these hold.
    pub filters: Vec<Condition>,
    /// From `for` to the last token before `:`.
    pub span: Span,
}

/// A value, and what must hold of it.
#[derive(Clone, PartialEq, Debug)]
pub struct Condition {
    /// What is looked at.
    pub value: Expr,
    /// What must hold.
    pub rule: Rule,
}

/// An acceptance: `accept CW1203 on clearance_limit because "old casting" until 2027-03-31`.
#[derive(Clone, PartialEq, Debug)]
pub struct Accept {
    /// The finding's code, as written.
    pub code: Name,
    /// Where the finding stands, if that is narrowed.
    pub on: Option<Path>,
    /// The reason; missing only where that was reported.
    pub because: Option<Text>,
    /// The last day it holds.
    pub until: Option<Expr>,
}

/// What a rule asks.
#[derive(Clone, PartialEq, Debug)]
pub enum Rule {
    /// A comparison with another value.
    Compare(Comparison, Expr),
    /// `within lo .. hi`
    Within(Expr),
    /// `is labyrinth`, `is not labyrinth`
    Is {
        /// Whether `not` stands there.
        not: bool,
        /// The word or declaration it is compared with.
        value: Expr,
    },
    /// Not understood.
    Error,
}

/// A comparison sign.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Comparison {
    /// `>=`
    AtLeast,
    /// `<=`
    AtMost,
    /// `>`
    Above,
    /// `<`
    Below,
}

impl Comparison {
    /// The sign.
    pub fn sign(self) -> &'static str {
        match self {
            Comparison::AtLeast => ">=",
            Comparison::AtMost => "<=",
            Comparison::Above => ">",
            Comparison::Below => "<",
        }
    }
}

/// One parameter of a declaration: `hub`, `gap = 0.005 in`.
#[derive(Clone, PartialEq, Debug)]
pub struct Parameter {
    /// Its name.
    pub name: Name,
    /// What stands in for it where it is not given.
    pub value: Option<Expr>,
}

/// One argument: `hub = first.hub_diameter`.
#[derive(Clone, PartialEq, Debug)]
pub struct Argument {
    /// The parameter's name.
    pub name: Name,
    /// Its value.
    pub value: Expr,
}

/// A declaration: `kind name(parameters) like other(arguments) of another { entries }`.
#[derive(Clone, PartialEq, Debug)]
pub struct Decl {
    /// The kind's word.
    pub kind: Name,
    /// Its name; `site` and `water` need none.
    pub name: Option<Name>,
    /// What it takes, where it is a pattern for others and no part itself.
    pub parameters: Option<Vec<Parameter>>,
    /// The declaration it takes after.
    pub like: Option<Path>,
    /// What fills in the parameters of the pattern it takes after.
    pub arguments: Option<Vec<Argument>>,
    /// What it belongs to: `test annual of main`.
    pub of: Option<Path>,
    /// What is inside the braces.
    pub entries: Vec<Entry>,
    /// The braces and all between.
    pub body: Span,
}

/// One entry of a block.
#[derive(Clone, PartialEq, Debug)]
pub struct Entry {
    /// The `///` lines before it.
    pub doc: SmolStr,
    /// What it is.
    pub kind: EntryKind,
    /// From its first to its last token.
    pub span: Span,
}

/// What an entry is.
#[derive(Clone, PartialEq, Debug)]
pub enum EntryKind {
    /// `bore = 5.502 in ± 0.0005`
    Field {
        /// The field's name.
        name: Name,
        /// Its value.
        value: Expr,
    },
    /// `draft { lift = 9 ft }`
    Group {
        /// The group's name.
        name: Name,
        /// What is inside.
        entries: Vec<Entry>,
        /// The braces and all between.
        body: Span,
    },
    /// `curve at 3300 rpm (flow gpm, net psi) { … }`
    Table(Table),
    /// `main.discharge -> 300 ft of std.supply_3 -> y1: std.wye`
    Chain(Vec<Segment>),
    /// `accept CW1203 because "…"`
    Accept(Accept),
    /// `hold left.pressure = 100 psi`
    Hold {
        /// What is held.
        target: Path,
        /// At what.
        value: Expr,
    },
    /// Not understood.
    Error,
}

/// A table.
#[derive(Clone, PartialEq, Debug)]
pub struct Table {
    /// Its name.
    pub name: Name,
    /// What it was taken at.
    pub at: Option<Expr>,
    /// Its columns.
    pub columns: Vec<Column>,
    /// From `(` to `)`.
    pub head: Span,
    /// Its rows.
    pub rows: Vec<Row>,
    /// The braces and all between.
    pub body: Span,
}

/// One column of a table's head.
#[derive(Clone, PartialEq, Debug)]
pub struct Column {
    /// The column's name.
    pub name: Name,
    /// The unit of its cells, as written.
    pub unit: Option<Name>,
}

/// One row of a table.
#[derive(Clone, PartialEq, Debug)]
pub struct Row {
    /// Its cells.
    pub cells: Vec<Cell>,
    /// From the first to the last cell.
    pub span: Span,
}

/// One cell.
#[derive(Clone, PartialEq, Debug)]
pub struct Cell {
    /// What it holds.
    pub kind: CellKind,
    /// Where it stands.
    pub span: Span,
}

/// What a cell holds.
#[derive(Clone, PartialEq, Debug)]
pub enum CellKind {
    /// A number, in the column's unit.
    Number(f64),
    /// `-`: no value.
    Absent,
    /// A text.
    Text(SmolStr),
    /// A name.
    Word(SmolStr),
}

/// One station of a chain: `y1`, `y1: std.wye`, `300 ft of std.supply_3 rise 8 ft`.
#[derive(Clone, PartialEq, Debug)]
pub struct Segment {
    /// The name given to it here.
    pub label: Option<Name>,
    /// How much of it.
    pub amount: Option<Expr>,
    /// What it is.
    pub what: Path,
    /// `rise 8 ft`, `lines 2`, …
    pub modifiers: Vec<Modifier>,
    /// From its first to its last token.
    pub span: Span,
}

/// A word with a value after a station of a chain.
#[derive(Clone, PartialEq, Debug)]
pub struct Modifier {
    /// The word.
    pub word: Name,
    /// Its value.
    pub value: Expr,
}

/// An expression.
#[derive(Clone, PartialEq, Debug)]
pub struct Expr {
    /// What it is.
    pub kind: ExprKind,
    /// Where it stands.
    pub span: Span,
}

/// What an expression is.
#[derive(Clone, PartialEq, Debug)]
pub enum ExprKind {
    /// A number with what belongs to it. Boxed, as the parser's stack holds many values of this type at each
    /// level of nesting.
    Number(Box<Number>),
    /// `2026-05-14`
    Date {
        /// Year.
        year: u16,
        /// Month, 1 to 12 where right.
        month: u8,
        /// Day, 1 to 31 where right.
        day: u8,
    },
    /// `"text"`
    Text(SmolStr),
    /// `main.rating.flow`
    Path(Path),
    /// `main.stages[1].mass`: an element of a list, counted from 1, and what is behind it.
    Element(Path, Vec<Access>),
    /// `min(a, b)`, `parts.gap(a, b)`
    Call {
        /// The function: a plain name, or one behind the name of a file.
        function: Path,
        /// What it is given.
        arguments: Vec<Expr>,
    },
    /// `[a, b]`
    List(Vec<Expr>),
    /// `-a`
    Negative(Box<Expr>),
    /// `a + b - c`: the first, then each with its sign (`true` is minus).
    Sum(Box<Expr>, Vec<(bool, Expr)>),
    /// `a * b / c`: the first, then each with its sign (`true` is divide).
    Product(Box<Expr>, Vec<(bool, Expr)>),
    /// `a ^ 2`
    Power(Box<Expr>, Box<Expr>),
    /// `lo .. hi`
    Range(Box<Expr>, Box<Expr>),
    /// `20 ft of std.suction_6`
    Of(Box<Expr>, Path),
    /// `1250 gpm at 150 psi`: the head, then each preposition with its value.
    Phrase(Box<Expr>, Vec<(Name, Expr)>),
    /// Not there, or not understood.
    Error,
}

/// One step behind a list.
#[derive(Clone, PartialEq, Debug)]
pub enum Access {
    /// `[1]`
    Index(Expr),
    /// `.mass`
    Member(Name),
}

/// A number as written, with its unit and tolerance.
#[derive(Clone, PartialEq, Debug)]
pub struct Number {
    /// Its value in its own unit.
    pub value: f64,
    /// The digits.
    pub digits: Span,
    /// The unit as written.
    pub unit: Option<Name>,
    /// The tolerance as written.
    pub tolerance: Option<Tolerance>,
    /// The tolerance class as written, `H7`, in place of a tolerance.
    pub class: Option<Name>,
}

/// A tolerance as written; without a unit of its own it takes the number's.
#[derive(Clone, PartialEq, Debug)]
pub struct Tolerance {
    /// The upper deviation (signed), as written: the first of a pair.
    pub plus: f64,
    /// The lower deviation (signed: `-0.001`), the second of a pair.
    pub minus: f64,
    /// Its own unit, `%` included.
    pub unit: Option<Name>,
    /// Where it stands.
    pub span: Span,
}
