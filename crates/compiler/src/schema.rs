//! The one definition of kinds: fields, groups, tables and computed properties.
//!
//! Checking, evaluation, completion, hover, the reference pages, the grammars' word lists and the JSON
//! schema of results are all made from the tables here and in [`crate::kinds`]. A kind is a `static
//! KindDef`; adding one means writing that table, its formulas and its checks in one file and naming it in
//! [`kinds`].
//!
//! Every field, group field, table and computed property of a kind has a *slot*: a small number that keys
//! its value in the query engine.

use crate::db::Cx;
use crate::value::Value;
use crate::{DeclId, Eval};
use cutwater_quantity::Kind;
use rustc_hash::FxHashMap;
use std::sync::OnceLock;

/// Looks up a name that is not a slot.
pub type Member = fn(&mut Cx<'_>, DeclId, &str) -> Eval<Option<Value>>;

/// Lists the names that are not slots.
pub type MemberNames = fn(&mut Cx<'_>, DeclId) -> Eval<Vec<String>>;

/// A kind of declaration.
#[derive(Debug)]
pub struct KindDef {
    /// The word that begins the declaration.
    pub word: &'static str,
    /// What it is, in one or two sentences.
    pub doc: &'static str,
    /// May be declared without a name, once in a file.
    pub unnamed: bool,
    /// Kinds that may stand after `of` (empty: no `of`).
    pub of: &'static [&'static str],
    /// Its fields.
    pub fields: &'static [FieldDef],
    /// Its blocks of fields.
    pub groups: &'static [GroupDef],
    /// Its tables.
    pub tables: &'static [TableDef],
    /// What is computed from it.
    pub computed: &'static [ComputedDef],
    /// Fields, blocks and tables that go with a choice alone.
    pub only: &'static [Only],
    /// Whether it holds chains (`a -> b`).
    pub chains: bool,
    /// Whether it holds `hold x = value` lines.
    pub holds: bool,
    /// Names that are not slots: the stations of a lay seen through a duty.
    pub member: Option<Member>,
    /// All names that `member` would answer.
    pub member_names: Option<MemberNames>,
    /// Checks of the declaration as a whole that need no solution. Findings go to `cx.report`.
    pub check: Option<fn(&mut Cx<'_>, DeclId) -> Eval<()>>,
}

impl KindDef {
    /// Whether it declares a part, a piece of gear, a test …: anything but a named value or a rule.
    pub fn is_part(&self) -> bool {
        self.word != crate::kinds::LET.word && self.word != crate::kinds::REQUIRE.word
    }
}

/// An empty kind, for `..BLANK` in the tables.
pub const BLANK: KindDef = KindDef {
    word: "",
    doc: "",
    unnamed: false,
    of: &[],
    fields: &[],
    groups: &[],
    tables: &[],
    computed: &[],
    only: &[],
    chains: false,
    holds: false,
    member: None,
    member_names: None,
    check: None,
};

/// Fields, blocks and tables that a declaration has only where a field of it is one of some words.
#[derive(Debug)]
pub struct Only {
    /// Their names.
    pub names: &'static [&'static str],
    /// The field that decides; a [`Type::Choice`].
    pub field: &'static str,
    /// The words with which they are there.
    pub words: &'static [&'static str],
}

impl Only {
    /// What must be written for them to be there: "`form = labyrinth`".
    pub fn wanted(&self) -> String {
        let all: Vec<String> = self
            .words
            .iter()
            .map(|w| format!("`{} = {w}`", self.field))
            .collect();
        all.join(" or ")
    }
}

impl KindDef {
    /// With which choice a field, block or table is there; `None` where it always is.
    pub fn only_of(&self, name: &str) -> Option<&'static Only> {
        self.only.iter().find(|o| o.names.contains(&name))
    }
}

/// A field.
#[derive(Debug)]
pub struct FieldDef {
    /// Its name.
    pub name: &'static str,
    /// What it takes.
    pub ty: Type,
    /// Whether it must be there.
    pub need: Need,
    /// A fact of one piece, which `like` does not take over (a filled-in pattern does: it is the piece's text).
    pub own: bool,
    /// What it means.
    pub doc: &'static str,
}

/// What is said of a field that `like` does not take over.
pub const OWN: &str = "of this one piece, not taken over by `like`";

/// A block of fields; its slots are named `group.field`.
#[derive(Debug)]
pub struct GroupDef {
    /// Its name.
    pub name: &'static str,
    /// What it means.
    pub doc: &'static str,
    /// Its fields. `Required` means: if the group is there.
    pub fields: &'static [FieldDef],
}

/// A table.
#[derive(Debug)]
pub struct TableDef {
    /// Its name.
    pub name: &'static str,
    /// What it means.
    pub doc: &'static str,
    /// Whether it must be there.
    pub required: bool,
    /// What `at …` before the columns says, and whether it must be there.
    pub at: Option<(&'static str, Kind, bool)>,
    /// Its columns; the first is the one the rows go by.
    pub columns: &'static [ColumnDef],
    /// The first column must rise from row to row.
    pub rising: bool,
    /// Fewest rows that make sense.
    pub least_rows: usize,
}

/// A column of a table.
#[derive(Debug)]
pub struct ColumnDef {
    /// Its name.
    pub name: &'static str,
    /// What its cells are.
    pub ty: ColumnType,
    /// Whether it must be there.
    pub required: bool,
    /// What it means.
    pub doc: &'static str,
}

/// What a column's cells are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ColumnType {
    /// Numbers in a unit of this kind, not below zero.
    Quantity(Kind),
    /// Numbers in a unit of this kind, of either sign.
    Signed(Kind),
    /// Texts or names.
    Text,
}

/// What a field takes.
#[derive(Clone, Copy, Debug)]
pub enum Type {
    /// A quantity of this kind, with a sign that is allowed.
    Quantity(Kind, Sign),
    /// A range `lo .. hi` of this kind.
    Range(Kind),
    /// A whole number from `least` to `most`.
    Count(u32, u32),
    /// A text.
    Text,
    /// A date.
    Date,
    /// One of these words, each with its meaning.
    Choice(&'static [(&'static str, &'static str)]),
    /// The name of a declaration of one of these kinds.
    Ref(&'static [&'static str]),
    /// A list of names of declarations of one of these kinds.
    RefList(&'static [&'static str]),
    /// `20 ft of std.suction_6`: a length of a declaration of one of these kinds.
    Piece(&'static [&'static str]),
    /// `1250 gpm at 150 psi`: quantities joined by prepositions.
    Phrase(&'static [PartDef]),
    /// Any expression (what a `let` holds).
    Any,
    /// True or false, of a computed property.
    Truth,
    /// A named set of values (a station of a duty, a row of a verdict), of a computed property.
    Record,
}

/// One quantity of a phrase.
#[derive(Debug)]
pub struct PartDef {
    /// The word before it; empty for the first.
    pub word: &'static str,
    /// Its name, for `rating.pressure`.
    pub name: &'static str,
    /// Its kind.
    pub kind: Kind,
    /// May be left out.
    pub optional: bool,
}

/// Which signs a quantity may have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sign {
    /// Above zero.
    Positive,
    /// Zero or above.
    NotNegative,
    /// Any.
    Any,
}

/// Whether a field must be there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// It must.
    Required,
    /// It need not; what depends on it is then not computed.
    Optional,
    /// It need not; this text stands in for it, for this reason. Shown as *assumed* wherever it counts.
    Default(&'static str, &'static str),
}

/// A computed property.
#[derive(Debug)]
pub struct ComputedDef {
    /// Its name.
    pub name: &'static str,
    /// What it is.
    pub ty: Type,
    /// What it means.
    pub doc: &'static str,
    /// The formula, in words and signs, with the names of fields.
    pub formula: &'static str,
    /// Where the formula comes from.
    pub source: &'static str,
    /// Whether it needs a solved duty (then it is computed behind the keystroke).
    pub solved: bool,
    /// Shown beside the declaration in an editor.
    pub hint: bool,
    /// Computes it.
    pub eval: fn(&mut Cx<'_>, DeclId) -> Eval<Value>,
}

/// What a slot is.
#[derive(Clone, Copy, Debug)]
pub enum Slot {
    /// A field of the kind.
    Field(&'static FieldDef),
    /// A field of a group.
    GroupField(&'static GroupDef, &'static FieldDef),
    /// A table.
    Table(&'static TableDef),
    /// A computed property.
    Computed(&'static ComputedDef),
}

impl Slot {
    /// What it means.
    pub fn doc(self) -> &'static str {
        match self {
            Slot::Field(f) | Slot::GroupField(_, f) => f.doc,
            Slot::Table(t) => t.doc,
            Slot::Computed(c) => c.doc,
        }
    }
}

/// The slots of one kind, by number and by name (`bore`, `draft.lift`, `curve`, `clearance`).
#[derive(Debug, Default)]
pub struct Slots {
    /// In order: fields, group fields, tables, computed.
    pub list: Vec<(String, Slot)>,
    by_name: FxHashMap<String, u16>,
}

impl Slots {
    /// The number of a slot.
    pub fn find(&self, name: &str) -> Option<u16> {
        self.by_name.get(name).copied()
    }
}

fn slots_of(kind: &'static KindDef) -> Slots {
    let mut s = Slots::default();
    let mut push = |name: String, slot: Slot| {
        s.by_name.insert(name.clone(), s.list.len() as u16);
        s.list.push((name, slot));
    };
    for f in kind.fields {
        push(f.name.to_owned(), Slot::Field(f));
    }
    for g in kind.groups {
        for f in g.fields {
            push(format!("{}.{}", g.name, f.name), Slot::GroupField(g, f));
        }
    }
    for t in kind.tables {
        push(t.name.to_owned(), Slot::Table(t));
    }
    for c in kind.computed {
        push(c.name.to_owned(), Slot::Computed(c));
    }
    s
}

/// All kinds, in the order the reference shows them.
pub fn kinds() -> &'static [&'static KindDef] {
    crate::kinds::ALL
}

/// The kind a word begins, and its index in [`kinds`].
pub fn kind(word: &str) -> Option<(&'static KindDef, &'static Slots)> {
    static TABLE: OnceLock<FxHashMap<&'static str, (&'static KindDef, Slots)>> = OnceLock::new();
    let table = TABLE.get_or_init(|| {
        kinds()
            .iter()
            .map(|k| (k.word, (*k, slots_of(k))))
            .collect()
    });
    table.get(word).map(|(k, s)| (*k, s))
}

/// Shorthands for the tables in [`crate::kinds`].
pub mod short {
    use super::{ColumnDef, ColumnType, FieldDef, Need, Sign, Type};
    use cutwater_quantity::Kind;

    /// A field that must be there.
    pub const fn required(name: &'static str, ty: Type, doc: &'static str) -> FieldDef {
        FieldDef {
            name,
            ty,
            need: Need::Required,
            own: false,
            doc,
        }
    }

    /// A field that need not be there.
    pub const fn optional(name: &'static str, ty: Type, doc: &'static str) -> FieldDef {
        FieldDef {
            name,
            ty,
            need: Need::Optional,
            own: false,
            doc,
        }
    }

    /// A field with a stand-in and its source.
    pub const fn default(
        name: &'static str,
        ty: Type,
        text: &'static str,
        source: &'static str,
        doc: &'static str,
    ) -> FieldDef {
        FieldDef {
            name,
            ty,
            need: Need::Default(text, source),
            own: false,
            doc,
        }
    }

    /// The same field as a fact of one piece.
    pub const fn own(f: FieldDef) -> FieldDef {
        FieldDef { own: true, ..f }
    }

    /// A quantity above zero.
    pub const fn positive(kind: Kind) -> Type {
        Type::Quantity(kind, Sign::Positive)
    }

    /// A quantity of zero or above.
    pub const fn not_negative(kind: Kind) -> Type {
        Type::Quantity(kind, Sign::NotNegative)
    }

    /// A quantity of any sign.
    pub const fn signed(kind: Kind) -> Type {
        Type::Quantity(kind, Sign::Any)
    }

    /// A column that must be there.
    pub const fn column(name: &'static str, kind: Kind, doc: &'static str) -> ColumnDef {
        ColumnDef {
            name,
            ty: ColumnType::Quantity(kind),
            required: true,
            doc,
        }
    }

    /// A column that need not be there.
    pub const fn extra_column(name: &'static str, kind: Kind, doc: &'static str) -> ColumnDef {
        ColumnDef {
            name,
            ty: ColumnType::Quantity(kind),
            required: false,
            doc,
        }
    }
}
