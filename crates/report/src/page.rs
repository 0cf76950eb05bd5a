//! Reference pages: a finding, a kind, a field, a unit, and the lists of them.
//!
//! Everything is read from the tables the compiler itself works by, so a page cannot fall behind. A page can
//! be written as text for a terminal ([`Page::text`]) or as JSON (it is `Serialize`).

use crate::json::Trust;
use cutwater_compiler::codes;
use cutwater_compiler::eval::FUNCTIONS;
use cutwater_compiler::schema::{
    ColumnType, ComputedDef, FieldDef, KindDef, Need, Sign, TableDef, Type, kinds,
};
use cutwater_compiler::show::{article, near_names};
use cutwater_finding::{Code, Sample};
use cutwater_quantity::{Kind, System, Unit, parse_unit, unit, units};
use cutwater_syntax::words::WORDS;
use serde::Serialize;
use std::fmt::Write;

/// Width of running text, in columns.
const WIDTH: usize = 88;

/// One page.
#[derive(Clone, Debug, Serialize)]
#[serde(tag = "page", rename_all = "kebab-case")]
pub enum Page {
    /// All findings.
    Findings {
        /// By code.
        findings: Vec<CodeLine>,
        /// The words of all kinds.
        kinds: Vec<&'static str>,
    },
    /// One finding.
    Finding(CodePage),
    /// All kinds.
    Kinds {
        /// In the order of the reference.
        kinds: Vec<KindLine>,
    },
    /// One kind.
    Kind(KindPage),
    /// One field, table or computed property of a kind.
    Member {
        /// The kind's word.
        kind: &'static str,
        /// The member.
        member: Member,
    },
    /// All units.
    Units {
        /// By subject.
        units: Vec<UnitPage>,
    },
    /// One unit.
    Unit(UnitPage),
    /// All words of the grammar.
    Words {
        /// In the order of the table.
        words: Vec<WordPage>,
    },
    /// One word of the grammar.
    Word(WordPage),
    /// All functions.
    Functions {
        /// In the order of the table.
        functions: Vec<WordPage>,
    },
    /// One function.
    Function(WordPage),
}

/// A word of the grammar, or a function.
#[derive(Clone, Debug, Serialize)]
pub struct WordPage {
    /// As written.
    pub word: &'static str,
    /// With what belongs to it.
    pub form: &'static str,
    /// What it means.
    pub doc: &'static str,
}

/// A finding in a list.
#[derive(Clone, Debug, Serialize)]
pub struct CodeLine {
    /// `CW0301`.
    pub code: &'static str,
    /// `unknown-unit`.
    pub name: &'static str,
    /// Its level unless settings say otherwise.
    pub level: &'static str,
    /// What it says, in one line.
    pub summary: &'static str,
}

/// A finding's page.
#[derive(Clone, Debug, Serialize)]
pub struct CodePage {
    /// Code, name, level, summary.
    #[serde(flatten)]
    pub line: CodeLine,
    /// The version it first appeared in.
    pub since: &'static str,
    /// How far its fixes may be trusted, in the words of findings as JSON; empty where it has none.
    pub fixes: Vec<Trust>,
    /// What is wrong, why it matters, what to do.
    pub text: &'static str,
    /// Whether a spec may accept it.
    pub acceptable: bool,
    /// Whether the two texts below are project files; else they are specs.
    pub in_project_file: bool,
    /// A text in which it is found; null where no text alone can show it.
    pub fires: Option<&'static str>,
    /// The text mended.
    pub silent: &'static str,
}

/// A kind in a list.
#[derive(Clone, Debug, Serialize)]
pub struct KindLine {
    /// The word that begins it.
    pub kind: &'static str,
    /// What it is.
    pub doc: &'static str,
}

/// A kind's page.
#[derive(Clone, Debug, Serialize)]
pub struct KindPage {
    /// The word that begins it.
    pub kind: &'static str,
    /// What it is.
    pub doc: &'static str,
    /// How its declaration begins.
    pub form: String,
    /// Fields.
    pub fields: Vec<Member>,
    /// Blocks of fields.
    pub blocks: Vec<Block>,
    /// Tables.
    pub tables: Vec<Member>,
    /// Computed properties.
    pub computed: Vec<Member>,
}

/// A block of fields.
#[derive(Clone, Debug, Serialize)]
pub struct Block {
    /// Its name.
    pub name: &'static str,
    /// What it means.
    pub doc: &'static str,
    /// Its fields; `required` means: if the block is there.
    pub fields: Vec<Member>,
}

/// A field, table or computed property.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Member {
    /// Its name: `bore`, `draft.lift`.
    pub name: String,
    /// `field`, `table` or `computed`.
    pub sort: &'static str,
    /// What it takes or gives, in words.
    pub takes: String,
    /// `required`, `optional`, `default`; empty for a computed property.
    pub need: &'static str,
    /// What stands in for a field that is not written, where something does.
    pub default: Option<&'static str>,
    /// What it means.
    pub doc: &'static str,
    /// The words a field takes, or the columns a table has, each with its meaning.
    pub parts: Vec<Part>,
    /// The formula of a computed property.
    pub formula: Option<&'static str>,
    /// Where the formula or the stand-in comes from.
    pub source: Option<&'static str>,
    /// The choice it goes with alone, where there is one: "`form = labyrinth`".
    #[serde(skip_serializing_if = "Option::is_none")]
    pub only: Option<String>,
}

/// A word of a choice or a column of a table.
#[derive(Clone, Debug, Serialize)]
pub struct Part {
    /// The word or name.
    pub name: &'static str,
    /// What a column holds; empty for a word.
    pub takes: String,
    /// Its meaning.
    pub doc: &'static str,
}

/// A unit's page.
#[derive(Clone, Debug, Serialize)]
pub struct UnitPage {
    /// How it is written in ASCII.
    pub unit: String,
    /// Its printed symbol.
    pub symbol: String,
    /// Its name in words.
    pub name: String,
    /// What it measures.
    pub measures: String,
    /// Other spellings that are read.
    pub also: Vec<&'static str>,
    /// The SI value of one unit.
    pub factor: f64,
    /// The SI value at zero of the unit; not 0 only for temperatures on a scale.
    pub offset: f64,
    /// `us`, `imperial`, `metric`; empty for a unit of every system, and for one made of others.
    pub system: &'static str,
    /// What it is.
    pub doc: String,
    /// Where the definition comes from.
    pub source: String,
}

/// Finds the page on a topic: a finding's code or name, a kind's word, `kind.member`, a word of the grammar, a
/// function, a unit, or one of `findings`, `kinds`, `units`, `words` and `functions`.
///
/// # Errors
/// The topics with the nearest names, best first, where there is no such topic; perhaps none.
pub fn find(topic: &str) -> Result<Page, Vec<String>> {
    match topic {
        "findings" => return Ok(findings()),
        "units" => {
            return Ok(Page::Units {
                units: units().iter().map(unit_page).collect(),
            });
        }
        "kinds" => {
            return Ok(Page::Kinds {
                kinds: kinds()
                    .iter()
                    .map(|k| KindLine {
                        kind: k.word,
                        doc: k.doc,
                    })
                    .collect(),
            });
        }
        "words" => {
            return Ok(Page::Words {
                words: words().collect(),
            });
        }
        "functions" => {
            return Ok(Page::Functions {
                functions: functions().collect(),
            });
        }
        _ => {}
    }
    if let Some(c) = codes::find(topic) {
        return Ok(Page::Finding(code_page(c)));
    }
    if let Some(k) = kinds().iter().find(|k| k.word == topic) {
        return Ok(Page::Kind(kind_page(k)));
    }
    if let Some((word, name)) = topic.split_once('.')
        && let Some(k) = kinds().iter().find(|k| k.word == word)
    {
        let members = members(k);
        if let Some(m) = members.iter().find(|m| m.name == name) {
            return Ok(Page::Member {
                kind: k.word,
                member: m.clone(),
            });
        }
        let near = near_names(name, members.iter().map(|m| m.name.as_str()));
        return Err(near.iter().map(|n| format!("{word}.{n}")).collect());
    }
    if let Some(w) = words().find(|w| w.word == topic) {
        return Ok(Page::Word(w));
    }
    // `min` is minutes; the function is `min()`.
    let called = topic.split_once('(').map(|t| t.0);
    if unit(topic).is_none()
        && let Some(f) = functions().find(|f| f.word == called.unwrap_or(topic))
    {
        return Ok(Page::Function(f));
    }
    if let Some(u) = unit(topic) {
        return Ok(Page::Unit(unit_page(u)));
    }
    if let Ok(u) = parse_unit(topic) {
        return Ok(Page::Unit(UnitPage {
            unit: topic.to_owned(),
            symbol: u.symbol().to_owned(),
            name: u.symbol().to_owned(),
            measures: u.kind().name().into_owned(),
            also: Vec::new(),
            factor: u.to_si(1.0) - u.to_si(0.0),
            offset: u.to_si(0.0),
            system: "",
            doc: "A unit made of others.".to_owned(),
            source: String::new(),
        }));
    }
    let all = codes::all();
    let known = all
        .iter()
        .flat_map(|c| [c.name, c.id])
        .chain(kinds().iter().map(|k| k.word))
        .chain(words().map(|w| w.word))
        .chain(functions().map(|f| f.word))
        .chain(["findings", "kinds", "units", "words", "functions"]);
    Err(near_names(topic, known))
}

/// The words of the grammar that stand somewhere; what is a kind too has that kind's page.
pub(crate) fn words() -> impl Iterator<Item = WordPage> {
    WORDS
        .iter()
        .filter(|w| !w.form.is_empty())
        .map(|w| WordPage {
            word: w.text,
            form: w.form,
            doc: w.doc,
        })
}

/// The functions that are built in.
pub(crate) fn functions() -> impl Iterator<Item = WordPage> {
    FUNCTIONS
        .iter()
        .map(|(word, form, doc)| WordPage { word, form, doc })
}

fn word_text(w: &WordPage) -> String {
    format!("{}\n{}", w.form, wrapped(w.doc, 4))
}

/// The page that lists all findings.
pub fn findings() -> Page {
    Page::Findings {
        findings: codes::all().into_iter().map(code_line).collect(),
        kinds: kinds().iter().map(|k| k.word).collect(),
    }
}

fn code_line(c: &'static Code) -> CodeLine {
    CodeLine {
        code: c.id,
        name: c.name,
        level: c.level.word(),
        summary: c.summary,
    }
}

/// Whether a finding has a fix, and who may apply it.
fn fix_words(fixes: &[Trust]) -> &'static str {
    let has = |t| fixes.contains(&t);
    match (
        has(Trust::Safe),
        has(Trust::NeedsALook),
        has(Trust::ShowOnly),
    ) {
        (true, false, _) => "Fix: safe; `cutwater check --fix` and editors apply it.",
        (true, true, _) => {
            "Fix: safe where there is one possible meaning, then `cutwater check --fix` applies it; else one that needs a look, which `--fix=all` applies. Editors offer both."
        }
        (false, true, false) => {
            "Fix: one that needs a look, where the text says what was meant; editors offer it, and `cutwater check --fix=all` applies it."
        }
        (false, true, true) => {
            "Fix: one that needs a look, where the text says what was meant; editors offer it, and `cutwater check --fix=all` applies it. Else a hint that is shown and never applied."
        }
        (false, false, true) => "Fix: a hint that is shown and never applied.",
        (false, false, false) => "Fix: none; what is right must be found out and written.",
    }
}

fn code_page(c: &'static Code) -> CodePage {
    CodePage {
        line: code_line(c),
        since: c.since,
        fixes: c.fixes.iter().map(|t| Trust::from(*t)).collect(),
        text: c.page,
        acceptable: codes::may_be_accepted(c),
        in_project_file: c.sample == Sample::Settings,
        fires: (!c.fires.is_empty()).then_some(c.fires),
        silent: c.silent,
    }
}

fn kind_page(k: &'static KindDef) -> KindPage {
    let mut form = k.word.to_owned();
    match k.word {
        "let" => form.push_str(" NAME = VALUE\nlet NAME(PARAMETER, …) = VALUE"),
        "require" => form.push_str(
            " A >= B because \"why\"\nrequire for every KIND NAME where CONDITION: A >= B because \"why\"",
        ),
        _ => {
            form.push_str(if k.unnamed { " [NAME]" } else { " NAME" });
            if !k.of.is_empty() {
                let _ = write!(form, " of {}", k.of.join("|").to_uppercase());
            }
            form.push_str(" { … }");
        }
    }
    let only = |name: &str| k.only_of(name).map(|o| o.wanted());
    KindPage {
        kind: k.word,
        doc: k.doc,
        form,
        fields: k
            .fields
            .iter()
            .map(|f| Member {
                only: only(f.name),
                ..field(f.name, f)
            })
            .collect(),
        blocks: k
            .groups
            .iter()
            .map(|g| Block {
                name: g.name,
                doc: g.doc,
                fields: g
                    .fields
                    .iter()
                    .map(|f| Member {
                        only: only(g.name),
                        ..field(&format!("{}.{}", g.name, f.name), f)
                    })
                    .collect(),
            })
            .collect(),
        tables: k
            .tables
            .iter()
            .map(|t| Member {
                only: only(t.name),
                ..table(t)
            })
            .collect(),
        computed: k.computed.iter().map(computed).collect(),
    }
}

fn members(k: &'static KindDef) -> Vec<Member> {
    let page = kind_page(k);
    let mut out = page.fields;
    out.extend(page.blocks.into_iter().flat_map(|b| b.fields));
    out.extend(page.tables);
    out.extend(page.computed);
    out
}

fn field(name: &str, f: &'static FieldDef) -> Member {
    let (need, default, source) = match f.need {
        Need::Required => ("required", None, None),
        Need::Optional => ("optional", None, None),
        Need::Default(text, source) => ("default", Some(text), Some(source)),
    };
    let parts = match f.ty {
        Type::Choice(words) => words
            .iter()
            .map(|(w, doc)| Part {
                name: w,
                takes: String::new(),
                doc,
            })
            .collect(),
        _ => Vec::new(),
    };
    Member {
        name: name.to_owned(),
        sort: "field",
        takes: if f.own {
            format!("{}; {}", takes(f.ty), cutwater_compiler::schema::OWN)
        } else {
            takes(f.ty)
        },
        need,
        default,
        doc: f.doc,
        parts,
        formula: None,
        source,
        only: None,
    }
}

fn table(t: &'static TableDef) -> Member {
    let mut words = "rows".to_owned();
    if t.least_rows > 1 {
        let _ = write!(words, ", at least {}", t.least_rows);
    }
    if t.rising {
        words.push_str(", the first column rising");
    }
    if let Some((what, kind, must)) = t.at {
        let _ = write!(
            words,
            "; {} `at` {what} ({})",
            if must { "with" } else { "perhaps with" },
            kind.name()
        );
    }
    Member {
        name: t.name.to_owned(),
        sort: "table",
        takes: words,
        need: if t.required { "required" } else { "optional" },
        default: None,
        doc: t.doc,
        parts: t
            .columns
            .iter()
            .map(|c| Part {
                name: c.name,
                takes: format!(
                    "{}{}",
                    match c.ty {
                        ColumnType::Quantity(k) => k.name().into_owned(),
                        ColumnType::Signed(k) => format!("{} of either sign", k.name()),
                        ColumnType::Text => "text or name".to_owned(),
                    },
                    if c.required { "" } else { ", may be left out" }
                ),
                doc: c.doc,
            })
            .collect(),
        formula: None,
        source: None,
        only: None,
    }
}

fn computed(c: &'static ComputedDef) -> Member {
    Member {
        name: c.name.to_owned(),
        sort: "computed",
        takes: takes(c.ty),
        need: "",
        default: None,
        doc: c.doc,
        parts: Vec::new(),
        formula: (!c.formula.is_empty()).then_some(c.formula),
        source: (!c.source.is_empty()).then_some(c.source),
        only: None,
    }
}

fn or_list(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [front @ .., last] => format!("{} or {last}", front.join(", ")),
    }
}

fn takes(ty: Type) -> String {
    let with_kinds = |kinds: &[&str]| {
        or_list(
            &kinds
                .iter()
                .map(|k| article(k))
                .collect::<Vec<_>>()
                .iter()
                .map(String::as_str)
                .collect::<Vec<_>>(),
        )
    };
    match ty {
        Type::Quantity(k, sign) => format!(
            "{}{}",
            k.name(),
            match sign {
                // A point on a scale is not bounded by its own zero, and most quantities are above it: say
                // only what a reader would not expect.
                Sign::Positive => "",
                Sign::NotNegative => ", zero or above",
                Sign::Any if k.is_point() => "",
                Sign::Any => ", of either sign",
            }
        ),
        Type::Range(k) => format!("range of {}, as `low .. high`", k.name()),
        Type::Count(least, most) => format!("whole number, {least} to {most}"),
        Type::Text => "text in quotes".to_owned(),
        Type::Date => "date, as 2026-05-14".to_owned(),
        Type::Choice(words) => or_list(&words.iter().map(|w| w.0).collect::<Vec<_>>()),
        Type::Ref(kinds) => format!("name of {}", with_kinds(kinds)),
        Type::RefList(kinds) => format!("list of names, each of {}", with_kinds(kinds)),
        Type::Piece(kinds) => format!("length of {}, as `20 ft of NAME`", with_kinds(kinds)),
        Type::Phrase(parts) => {
            let mut out = String::new();
            for p in parts {
                let kind = p.kind.name();
                let piece = match (p.word, p.optional) {
                    ("", _) => kind.into_owned(),
                    (w, false) => format!(" `{w}` {kind}"),
                    (w, true) => format!(" [`{w}` {kind}]"),
                };
                out.push_str(&piece);
            }
            out
        }
        Type::Any => "any value".to_owned(),
        Type::Truth => "yes or no".to_owned(),
        Type::Record => "set of values".to_owned(),
    }
}

fn unit_page(u: &'static Unit) -> UnitPage {
    UnitPage {
        unit: u.ascii.to_owned(),
        symbol: u.symbol.to_owned(),
        name: u.name.to_owned(),
        measures: u.kind.name().into_owned(),
        also: u.aliases.to_vec(),
        factor: u.factor,
        offset: u.offset,
        system: match u.system {
            System::Us => "us",
            System::Imperial => "imperial",
            System::Si => "metric",
            System::Any => "",
        },
        doc: u.doc.to_owned(),
        source: u.source.to_owned(),
    }
}

// ---- text ----------------------------------------------------------------------------------------

/// Lays rows out in columns two blanks apart; the last column is not padded.
pub fn columns(rows: &[Vec<String>], indent: usize) -> String {
    let mut widths: Vec<usize> = Vec::new();
    for row in rows {
        for (k, cell) in row.iter().enumerate() {
            if k >= widths.len() {
                widths.push(0);
            }
            widths[k] = widths[k].max(cell.chars().count());
        }
    }
    let mut out = String::new();
    for row in rows {
        let mut line = " ".repeat(indent);
        for (k, cell) in row.iter().enumerate() {
            line.push_str(cell);
            let pad = widths[k] - cell.chars().count() + 2;
            line.push_str(&" ".repeat(pad));
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }
    out
}

/// Running text in lines of at most 88 columns.
pub fn wrapped(text: &str, indent: usize) -> String {
    let mut out = String::new();
    for paragraph in text.lines() {
        let mut line = String::new();
        for word in paragraph.split_whitespace() {
            if !line.is_empty() && indent + line.chars().count() + 1 + word.chars().count() > WIDTH
            {
                let _ = writeln!(out, "{}{line}", " ".repeat(indent));
                line.clear();
            }
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
        if line.is_empty() {
            out.push('\n');
        } else {
            let _ = writeln!(out, "{}{line}", " ".repeat(indent));
        }
    }
    out
}

fn indented(text: &str) -> String {
    text.lines()
        .map(|l| {
            if l.is_empty() {
                "\n".to_owned()
            } else {
                format!("    {l}\n")
            }
        })
        .collect()
}

impl Page {
    /// The page for a terminal.
    pub fn text(&self) -> String {
        match self {
            Page::Findings { findings, kinds } => {
                let mut by_name = findings.clone();
                by_name.sort_by_key(|c| c.name);
                let rows: Vec<Vec<String>> = by_name
                    .iter()
                    .map(|c| {
                        [c.name, c.code, c.level, c.summary]
                            .map(str::to_owned)
                            .to_vec()
                    })
                    .collect();
                let mut out = format!("{} findings, by name\n\n", findings.len());
                out.push_str(&columns(&rows, 2));
                out.push_str("\nKinds of declarations\n\n");
                out.push_str(&wrapped(&kinds.join(", "), 2));
                out.push_str(
                    "\n`cutwater explain NAME` gives the page of a finding, a kind, a field (ring.bore), a word of the\ngrammar (like), a function (max) or a unit (gpm); `cutwater explain` with `kinds`, `words`, `functions` or\n`units` lists those.\n",
                );
                out
            }
            Page::Finding(c) => {
                let mut out = format!(
                    "{} {} ({}, since {})\n{}\n\n",
                    c.line.code, c.line.name, c.line.level, c.since, c.line.summary
                );
                out.push_str(&wrapped(c.text, 0));
                out.push('\n');
                out.push_str(&wrapped(fix_words(&c.fixes), 0));
                let whose = if c.in_project_file {
                    " this cutwater.toml"
                } else {
                    ""
                };
                if let Some(fires) = c.fires {
                    let _ = write!(out, "\nFound in{whose}:\n\n{}", indented(fires));
                }
                let _ = write!(out, "\nNot found in{whose}:\n\n{}", indented(c.silent));
                let _ = write!(
                    out,
                    "\nIts level can be set in cutwater.toml:\n\n    [levels]\n    {} = \"{}\"   # error, warning, advice or off\n",
                    c.line.name, c.line.level
                );
                if c.acceptable {
                    let _ = write!(
                        out,
                        "\nA spec may accept it, in the block it is about or at the top of the file:\n\n    accept {} because \"why it may stay so\" until 2027-03-31\n",
                        c.line.code
                    );
                }
                out
            }
            Page::Kinds { kinds } => {
                let mut out = String::new();
                for k in kinds {
                    let _ = write!(out, "{}\n{}", k.kind, wrapped(k.doc, 4));
                }
                out
            }
            Page::Kind(k) => kind_text(k),
            Page::Member { kind, member } => {
                let mut out = format!("{kind}.{}: a {}\n", member.name, sort_words(member.sort));
                out.push_str(&member_text(member, 2));
                out
            }
            Page::Units { units } => units_text(units),
            Page::Unit(u) => unit_text(u),
            Page::Words { words: list } | Page::Functions { functions: list } => {
                list.iter().map(word_text).collect()
            }
            Page::Word(w) | Page::Function(w) => word_text(w),
        }
    }
}

fn sort_words(sort: &str) -> &'static str {
    match sort {
        "table" => "table",
        "computed" => "computed property",
        _ => "field",
    }
}

fn kind_text(k: &KindPage) -> String {
    let mut out = format!(
        "{}\n{}\n    {}\n",
        k.kind,
        wrapped(k.doc, 0),
        k.form.replace('\n', "\n    ")
    );
    let mut section = |title: &str, members: &[Member]| {
        if !members.is_empty() {
            let _ = write!(out, "\n{title}\n");
            for m in members {
                let _ = writeln!(out, "\n  {}", m.name);
                out.push_str(&member_text(m, 6));
            }
        }
    };
    section("Fields", &k.fields);
    for b in &k.blocks {
        section(&format!("Block `{}`: {}", b.name, b.doc), &b.fields);
    }
    section("Tables", &k.tables);
    section("Computed", &k.computed);
    out
}

fn member_text(m: &Member, indent: usize) -> String {
    let mut out = String::new();
    let mut first = m.takes.clone();
    match (m.need, m.default) {
        ("required", _) => first.push_str("; required"),
        ("optional", _) => first.push_str("; may be left out"),
        (_, Some(text)) => {
            let _ = write!(first, "; {text} where not given (then shown as assumed)");
        }
        _ => {}
    }
    if let Some(only) = &m.only {
        let _ = write!(first, "; only with {only}");
    }
    out.push_str(&wrapped(&first, indent));
    out.push_str(&wrapped(m.doc, indent));
    if !m.parts.is_empty() {
        let rows: Vec<Vec<String>> = m
            .parts
            .iter()
            .map(|p| {
                let mut row = vec![p.name.to_owned()];
                if !p.takes.is_empty() {
                    row.push(p.takes.clone());
                }
                row.push(p.doc.to_owned());
                row
            })
            .collect();
        out.push_str(&columns(&rows, indent + 2));
    }
    if let Some(f) = m.formula {
        out.push_str(&wrapped(&format!("formula: {f}"), indent));
    }
    if let Some(s) = m.source {
        out.push_str(&wrapped(&format!("source: {s}"), indent));
    }
    out
}

fn units_text(units: &[UnitPage]) -> String {
    let mut out = String::from(
        "Units, by what they measure. Compound units are written without blanks: oz*in, ft/s.\n",
    );
    let mut kinds: Vec<&str> = Vec::new();
    for u in units {
        if !kinds.contains(&u.measures.as_str()) {
            kinds.push(&u.measures);
        }
    }
    for k in kinds {
        let _ = write!(out, "\n{k}\n");
        let rows: Vec<Vec<String>> = units
            .iter()
            .filter(|u| u.measures == k)
            .map(|u| {
                let mut also: Vec<&str> = Vec::new();
                if u.symbol != u.unit {
                    also.push(&u.symbol);
                }
                also.extend(&u.also);
                vec![u.unit.clone(), u.name.clone(), also.join(", ")]
            })
            .collect();
        out.push_str(&columns(&rows, 2));
    }
    out
}

fn unit_text(u: &UnitPage) -> String {
    let mut rows = vec![vec!["measures".to_owned(), u.measures.clone()]];
    if u.symbol != u.unit {
        rows.push(vec!["printed".to_owned(), u.symbol.clone()]);
    }
    if !u.also.is_empty() {
        rows.push(vec!["also written".to_owned(), u.also.join(", ")]);
    }
    let si = si_words(&u.measures);
    rows.push(vec![
        "one of it".to_owned(),
        format!("{} {si}", u.factor).trim_end().to_owned(),
    ]);
    if u.offset != 0.0 {
        rows.push(vec![
            "zero of it".to_owned(),
            format!("{} {si}", u.offset).trim_end().to_owned(),
        ]);
    }
    if !u.source.is_empty() {
        rows.push(vec!["source".to_owned(), u.source.clone()]);
    }
    let title = if u.name == u.unit {
        format!("{}: a unit\n", u.unit)
    } else {
        format!("{}: {}\n", u.unit, u.name)
    };
    title + &wrapped(&u.doc, 0) + &columns(&rows, 2)
}

/// The coherent SI unit of a kind.
fn si_words(kind: &str) -> String {
    match Kind::by_name(kind).map(|k| k.dimension().si_symbol()) {
        Some(s) if s == "1" => String::new(),
        Some(s) => s,
        None => "in SI base units".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn topics_are_found_by_code_name_kind_member_and_unit() {
        let sort = |t: &str| match find(t) {
            Ok(Page::Finding(c)) => format!("finding {}", c.line.code),
            Ok(Page::Kind(k)) => format!("kind {}", k.kind),
            Ok(Page::Member { kind, member }) => format!("member {kind} {}", member.name),
            Ok(Page::Unit(u)) => format!("unit {}", u.unit),
            Ok(Page::Word(w)) => format!("word {}", w.word),
            Ok(Page::Function(f)) => format!("function {}", f.word),
            Ok(_) => "list".to_owned(),
            Err(near) => format!("no {}", near.join(" ")),
        };
        assert_eq!(sort("CW0301"), "finding CW0301");
        assert_eq!(sort("cw0301"), "finding CW0301");
        assert_eq!(sort("unknown-unit"), "finding CW0301");
        assert_eq!(sort("ring"), "kind ring");
        assert_eq!(sort("ring.bore"), "member ring bore");
        assert_eq!(sort("gpm"), "unit gpm");
        assert_eq!(sort("units"), "list");
        assert_eq!(sort("like"), "word like");
        assert_eq!(sort("max"), "function max");
        assert_eq!(sort("min"), "unit min");
        assert_eq!(sort("min()"), "function min");
        assert_eq!(sort("functions"), "list");
        assert_eq!(sort("lik"), "no like");
        assert!(sort("unknow-unit").starts_with("no unknown-unit"));
        assert_eq!(sort("ring.boer"), "no ring.bore");
    }

    #[test]
    fn no_topic_has_two_pages() {
        for k in kinds() {
            assert!(codes::find(k.word).is_none(), "{}", k.word);
            assert!(unit(k.word).is_none(), "{}", k.word);
        }
        for c in codes::all() {
            assert!(unit(c.name).is_none(), "{}", c.name);
        }
        for w in words() {
            assert!(codes::find(w.word).is_none(), "{}", w.word);
            assert!(unit(w.word).is_none(), "{}", w.word);
        }
    }

    #[test]
    fn every_page_can_be_written() {
        let mut topics: Vec<String> = codes::all().iter().map(|c| c.id.to_owned()).collect();
        topics.extend(kinds().iter().map(|k| k.word.to_owned()));
        topics.extend(units().iter().map(|u| u.ascii.to_owned()));
        for k in kinds() {
            topics.extend(members(k).iter().map(|m| format!("{}.{}", k.word, m.name)));
        }
        topics.extend(words().map(|w| w.word.to_owned()));
        topics.extend(functions().map(|f| format!("{}()", f.word)));
        let lists = ["findings", "kinds", "units", "words", "functions"];
        topics.extend(lists.map(str::to_owned));
        for t in topics {
            let page = find(&t).unwrap_or_else(|near| panic!("{t}: no page, near {near:?}"));
            let text = page.text();
            assert!(text.lines().count() >= 2, "{t}: {text}");
            assert!(!text.contains("  \n") && !text.contains("{}"), "{t}");
            assert!(serde_json::to_value(&page).unwrap()["page"].is_string());
        }
    }

    #[test]
    fn running_text_stays_within_its_width() {
        let text = "word ".repeat(60);
        assert!(
            wrapped(&text, 4)
                .lines()
                .all(|l| l.chars().count() <= WIDTH)
        );
    }
}
