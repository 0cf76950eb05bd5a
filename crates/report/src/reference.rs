//! The reference as one Markdown page, made from the same tables as `cutwater explain`.

use crate::page::{Member, Page, find, words};
use crate::project_file;
use cutwater_compiler::codes;
use cutwater_compiler::eval::FUNCTIONS;
use cutwater_compiler::schema::kinds;
use std::fmt::Write;

/// The page: kinds with their fields and computed properties, functions, units, the project file, findings.
pub fn markdown() -> String {
    let mut out = String::from(
        "# Reference of the language\n\nMade from the compiler's own tables; do not edit. `cutwater explain` shows the same.\n\
         The grammar is in [cutwater.ebnf](cutwater.ebnf).\n\n## Kinds\n",
    );
    for k in kinds() {
        let Ok(Page::Kind(p)) = find(k.word) else {
            continue;
        };
        let _ = write!(
            out,
            "\n### `{}`\n\n{}\n\n```\n{}\n```\n",
            p.kind, p.doc, p.form
        );
        members(&mut out, "Fields", &p.fields);
        for b in &p.blocks {
            let _ = write!(out, "\nBlock `{}`: {}\n", b.name, b.doc);
            members(&mut out, "Its fields", &b.fields);
        }
        members(&mut out, "Tables", &p.tables);
        members(&mut out, "Computed", &p.computed);
    }
    out.push_str(
        "\n## Words\n\n| word | how it is written | what it means |\n| --- | --- | --- |\n",
    );
    for w in words() {
        let _ = writeln!(out, "| `{}` | `{}` | {} |", w.word, w.form, cell(w.doc));
    }
    out.push_str("\n## Functions\n\n| function | what it gives |\n| --- | --- |\n");
    for (_, form, doc) in FUNCTIONS {
        let _ = writeln!(out, "| `{form}` | {} |", cell(doc));
    }
    if let Ok(Page::Units { units }) = find("units") {
        out.push_str("\n## Units\n\n| unit | also written | measures | in SI | source |\n| --- | --- | --- | --- | --- |\n");
        for u in &units {
            let mut also: Vec<String> = Vec::new();
            if u.symbol != u.unit {
                also.push(format!("`{}`", u.symbol));
            }
            also.extend(u.also.iter().map(|a| format!("`{a}`")));
            let offset = if u.offset == 0.0 {
                String::new()
            } else {
                format!(" + {}", u.offset)
            };
            let _ = writeln!(
                out,
                "| `{}` | {} | {} | {}{offset} | {} |",
                u.unit,
                also.join(" "),
                u.measures,
                u.factor,
                cell(&u.source)
            );
        }
    }
    project_file::markdown(&mut out);
    out.push_str(
        "\n## Findings\n\nThose marked with * may be accepted in a spec.\n\n| code | name | level | what it says |\n| --- | --- | --- | --- |\n",
    );
    for c in codes::all() {
        let _ = writeln!(
            out,
            "| {}{} | `{}` | {} | {} |",
            c.id,
            if codes::may_be_accepted(c) { " *" } else { "" },
            c.name,
            c.level,
            cell(c.summary)
        );
    }
    out
}

fn members(out: &mut String, title: &str, list: &[Member]) {
    if list.is_empty() {
        return;
    }
    let _ = write!(
        out,
        "\n{title}:\n\n| name | takes or gives | meaning |\n| --- | --- | --- |\n"
    );
    for m in list {
        let mut need = match (m.need, m.default) {
            ("required", _) => "; required".to_owned(),
            (_, Some(text)) => format!("; `{text}` where not given ({})", m.source.unwrap_or("")),
            _ => String::new(),
        };
        if let Some(only) = &m.only {
            let _ = write!(need, "; only with {only}");
        }
        let mut meaning = m.doc.to_owned();
        for p in &m.parts {
            let takes = if p.takes.is_empty() {
                String::new()
            } else {
                format!(" ({})", p.takes)
            };
            let _ = write!(meaning, "<br>`{}`{takes}: {}", p.name, p.doc);
        }
        if let Some(f) = m.formula.filter(|f| !f.is_empty()) {
            let _ = write!(meaning, "<br>Formula: {f}.");
            if let Some(s) = m.source.filter(|s| !s.is_empty()) {
                let _ = write!(meaning, " Source: {s}.");
            }
        }
        let _ = writeln!(
            out,
            "| `{}` | {}{} | {} |",
            m.name,
            cell(&m.takes),
            cell(&need),
            cell(&meaning)
        );
    }
}

fn cell(text: &str) -> String {
    text.replace('|', "\\|").replace('\n', " ")
}
