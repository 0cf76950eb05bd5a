//! Checks of one item as a whole: its kind, its names, what is written twice or not at all.

use crate::accept;
use crate::codes;
use crate::db::{Cx, Local};
use crate::eval::Ev;
use crate::kinds::{self, REQUIRE};
use crate::paths::{self, PathError};
use crate::remedy;
use crate::reuse;
use crate::schema::{KindDef, Need, kind, kinds as all_kinds};
use crate::show::{article, near_names, pick_nearest};
use crate::slots::{decl_of, has_group, is_damaged, like_base, lineage};
use crate::value::Value;
use crate::{DeclId, Eval};
use cutwater_finding::{FileId, Finding, FixTier};
use cutwater_quantity::preferred_unit;
use cutwater_syntax::ast::{Decl, Entry, EntryKind, ItemKind, Name};
use cutwater_syntax::{SyntaxError, SyntaxErrorKind};
use cutwater_text::Span;
use smol_str::SmolStr;

/// A syntax error as a finding.
pub(crate) fn syntax_finding(d: DeclId, e: &SyntaxError) -> Finding<Local> {
    let code = match e.kind {
        SyntaxErrorKind::Unclosed | SyntaxErrorKind::Stray => &codes::BRACKET,
        SyntaxErrorKind::TooDeep => &codes::TOO_DEEP,
        SyntaxErrorKind::Unexpected | SyntaxErrorKind::Character | SyntaxErrorKind::OpenText => {
            &codes::SYNTAX
        }
    };
    let mut f = Finding::new(code, Local::Span(d, e.span), e.message.clone());
    if let Some(h) = &e.help {
        f = f.help(h.clone());
    }
    if let Some((span, text)) = &e.related {
        f = f.label(Local::Span(d, *span), text.clone());
    }
    if let Some((span, text)) = &e.fix {
        let title = if text.is_empty() {
            "take it out".to_owned()
        } else if !span.is_empty() {
            format!("write `{}`", text.trim())
        } else {
            format!("put in `{}`", text.trim())
        };
        f = f.fix(
            title,
            FixTier::NeedsALook,
            Local::Span(d, *span),
            text.clone(),
        );
    }
    f
}

/// Checks an item.
pub(crate) fn check(cx: &mut Cx<'_>, d: DeclId) -> Eval<()> {
    let parsed = cx.item(d);
    match &parsed.item.kind {
        ItemKind::Empty => Ok(()),
        ItemKind::Accept(a) => {
            accept::check(cx, d, a);
            Ok(())
        }
        ItemKind::Use { path, alias } => {
            name_form(cx, d, alias);
            duplicate(cx, d, alias);
            check_use(cx, d, &path.text, path.span, alias);
            Ok(())
        }
        ItemKind::Let {
            name,
            parameters,
            value,
        } => {
            name_form(cx, d, name);
            duplicate(cx, d, name);
            if let Some(p) = parameters {
                reuse::check_function(cx, d, p, value);
            }
            Ok(())
        }
        ItemKind::Require(_) => Ok(()),
        ItemKind::Decl(decl) => check_decl(cx, d, decl),
    }
}

fn check_use(cx: &mut Cx<'_>, d: DeclId, path: &str, span: Span, alias: &Name) {
    let from = cx.db().path(cx.file_of(d)).clone();
    let place = Local::Span(d, span);
    match paths::join(&from, path) {
        Ok(full) => {
            if cx.lookup_file(&full).is_none() {
                cx.report(
                    Finding::new(&codes::FILE_NOT_FOUND, place, format!("there is no file `{full}` in the workspace"))
                        .here("not found")
                        .help("paths are taken from the file that says `use`; check the folder and the spelling"),
                );
            } else if full == from {
                cx.report(
                    Finding::new(
                        &codes::CYCLE,
                        place,
                        "this file brings in itself".to_owned(),
                    )
                    .here("itself")
                    .help("names of the same file need no `use`"),
                );
            } else {
                check_used(cx, d, &full, span, alias);
            }
        }
        Err(PathError::Empty) => cx.report(
            Finding::new(
                &codes::FILE_NOT_FOUND,
                place,
                "this `use` names no file".to_owned(),
            )
            .here("no file")
            .help("write a path, as \"parts/hose.pump\""),
        ),
        Err(PathError::Absolute | PathError::Outside) => cx.report(
            Finding::new(
                &codes::OUTSIDE,
                place,
                format!("`{path}` leads out of the workspace"),
            )
            .here("outside the workspace")
            .help("keep the file inside the workspace and give its path from here; the workspace begins at the folder that holds `cutwater.toml`"),
        ),
    }
}

/// Whether a file has a rule for every declaration of a kind, which reads all files that are used.
fn asks_for_every(cx: &mut Cx<'_>, file: FileId) -> bool {
    cx.of_kind(file, REQUIRE.word)
        .into_iter()
        .any(|r| matches!(&cx.item(r).item.kind, ItemKind::Require(r) if r.every.is_some()))
}

/// A `use` is needed where its name begins a path, where a rule asks for every declaration of a kind, or where it
/// brings in surroundings that hold without being named.
fn check_used(cx: &mut Cx<'_>, d: DeclId, full: &str, span: Span, alias: &Name) {
    let file = cx.file_of(d);
    if cx.lookup(file, &alias.text) != Some(d) || cx.begins_a_path(file, &alias.text) {
        return;
    }
    if asks_for_every(cx, file) {
        return;
    }
    let Some(target) = cx.lookup_file(full) else {
        return;
    };
    for k in all_kinds().iter().filter(|k| k.unnamed) {
        if cx.lookup(target, &format!("@{}", k.word)).is_some() {
            return;
        }
    }
    let f = Finding::new(
        &codes::UNUSED_USE,
        Local::Span(d, span),
        format!(
            "nothing in this file is taken from `{full}`: no path begins with `{}`",
            alias.text
        ),
    )
    .here("not needed")
    .help(format!(
        "take the line out, or name something in it, as `{}.…`",
        alias.text
    ));
    // What is written about it would be left behind.
    let mended = cx
        .item(d)
        .item
        .doc
        .is_empty()
        .then(|| remedy::use_taken_out(d));
    cx.report(remedy::with(f, mended));
}

fn name_form(cx: &mut Cx<'_>, d: DeclId, name: &Name) {
    let place = Local::Span(d, name.span);
    let first = name.text.chars().next().unwrap_or('_');
    let plain = (first.is_ascii_alphabetic() || first == '_')
        && name
            .text
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || c == '_');
    if !plain {
        cx.report(
            Finding::new(
                &codes::NAME_FORM,
                place,
                format!(
                    "`{}` is no name: names are letters, digits and `_`, and begin with a letter",
                    name.text
                ),
            )
            .here("no name"),
        );
    } else if name.text == crate::library::NAME {
        cx.report(
            Finding::new(
                &codes::NAME_FORM,
                place,
                "`std` is the name of the standard library; choose another".to_owned(),
            )
            .here("taken"),
        );
    }
}

fn duplicate(cx: &mut Cx<'_>, d: DeclId, name: &Name) {
    let file = cx.file_of(d);
    if let Some(first) = cx.lookup(file, &name.text)
        && first != d
    {
        cx.report(
            Finding::new(
                &codes::DUPLICATE_NAME,
                Local::Span(d, name.span),
                format!("`{}` is declared twice in this file", name.text),
            )
            .here("the second time")
            .label(Local::Head(first), "the first time")
            .help("give one of them another name"),
        );
    }
}

/// Says that a word is no kind, and which is near.
pub(crate) fn no_such_kind(d: DeclId, word: &Name) -> Finding<Local> {
    let place = Local::Span(d, word.span);
    let words = || {
        all_kinds()
            .iter()
            .map(|k| k.word)
            .filter(|w| *w != kinds::LET.word && *w != REQUIRE.word)
    };
    let mut f = Finding::new(
        &codes::UNKNOWN_KIND,
        place,
        format!("there is no kind `{}`", word.text),
    )
    .here("no such kind");
    let items = cutwater_syntax::words::of_sort(cutwater_syntax::words::Sort::Item);
    if let Some(n) = pick_nearest(&word.text, words().chain(items)) {
        f = remedy::meant(f, place, n);
    } else {
        let mut list: Vec<&str> = words().collect();
        list.sort_unstable();
        f = f.help(format!("the kinds are {}", list.join(", ")));
    }
    f
}

fn check_decl(cx: &mut Cx<'_>, d: DeclId, decl: &Decl) -> Eval<()> {
    let Some((def, _)) =
        kind(&decl.kind.text).filter(|k| k.0.word != kinds::LET.word && k.0.word != REQUIRE.word)
    else {
        let f = no_such_kind(d, &decl.kind);
        cx.report(f);
        return Ok(());
    };
    match &decl.name {
        Some(n) => {
            name_form(cx, d, n);
            duplicate(cx, d, n);
        }
        None if def.unnamed => {
            let key = format!("@{}", def.word);
            let file = cx.file_of(d);
            if let Some(first) = cx.lookup(file, &key)
                && first != d
            {
                cx.report(
                    Finding::new(
                        &codes::DUPLICATE_NAME,
                        Local::Span(d, decl.kind.span),
                        format!("this file already has a `{}`", def.word),
                    )
                    .here("the second one")
                    .label(Local::Head(first), "the first one")
                    .help("give the second a name, or take it out"),
                );
            }
        }
        None => cx.report(
            Finding::new(
                &codes::NAME_FORM,
                Local::Span(d, decl.kind.span),
                format!("this {} has no name", def.word),
            )
            .here("a name is missing after it")
            .help(format!("write `{} some_name {{ … }}`", def.word)),
        ),
    }
    check_like(cx, d, decl, def)?;
    check_of(cx, d, decl, def)?;
    entries(cx, d, def, None, &decl.entries);
    reuse::check_pattern(cx, d, decl, def)?;
    reuse::check_arguments(cx, d, decl)?;
    reuse::check_same(cx, d, decl)?;
    if decl.parameters.is_some() {
        // A pattern is no part: what is missing in it may be given where it is filled in.
        reuse::check_defaults(cx, d)?;
        // Chains are read for their own slips.
        return match def.check.filter(|_| def.chains) {
            Some(read) => read(cx, d),
            None => Ok(()),
        };
    }
    reuse::check_only(cx, d, decl, def)?;
    // What must be there, here or where it is taken from; nothing is missing for sure while a part cannot be read.
    let line = lineage(cx, d)?;
    let whole = !is_damaged(&line);
    let written = |name: &str| {
        line.iter()
            .any(|(_, p)| decl_of(&p.item).is_some_and(|x| crate::slots::find(x, name).is_some()))
    };
    for f in def.fields.iter().filter(|f| f.need == Need::Required) {
        if whole && !written(f.name) {
            missing(cx, d, decl, def.word, f, Some(decl.body));
        }
    }
    for t in def.tables.iter().filter(|t| t.required) {
        if whole && !written(t.name) {
            let f = Finding::new(
                &codes::MISSING_FIELD,
                Local::Head(d),
                format!(
                    "{} `{}` has no table `{}`: {}",
                    def.word,
                    cx.name(d),
                    t.name,
                    t.doc
                ),
            )
            .here(format!("no `{}`", t.name));
            let mended = remedy::table_put_in(cx, d, decl.body, t);
            cx.report(remedy::with(f, mended));
        }
    }
    for g in def.groups {
        let there = line
            .iter()
            .any(|(_, p)| decl_of(&p.item).is_some_and(|x| has_group(x, g.name)));
        if there {
            for f in g.fields.iter().filter(|f| f.need == Need::Required) {
                if whole && !written(&format!("{}.{}", g.name, f.name)) {
                    let body = decl.entries.iter().find_map(|e| match &e.kind {
                        EntryKind::Group { name, body, .. } if name.text == g.name => Some(*body),
                        _ => None,
                    });
                    missing(cx, d, decl, g.name, f, body);
                }
            }
        }
    }
    if let Some(extra) = def.check {
        extra(cx, d)?;
    }
    Ok(())
}

/// Says that a field is missing; it belongs between the braces of `body`, if they are written here.
pub(crate) fn missing(
    cx: &mut Cx<'_>,
    d: DeclId,
    decl: &Decl,
    owner: &str,
    f: &crate::schema::FieldDef,
    body: Option<Span>,
) {
    use crate::schema::Type;
    let name = cx.name(d);
    let what = if owner == decl.kind.text.as_str() {
        format!("{owner} `{name}`")
    } else {
        format!("the block `{owner}` of `{name}`")
    };
    let units = cx.settings().units;
    let unit = |k| preferred_unit(k, units).map_or("", |u| u.ascii);
    let example = match f.ty {
        Type::Quantity(k, _) => format!("{} = … {}", f.name, unit(k)),
        Type::Range(k) => format!("{} = … .. … {}", f.name, unit(k)),
        Type::Ref(kinds) => format!("{} = name of {}", f.name, article(&kinds.join(" or "))),
        Type::Date => format!("{} = 2026-05-14", f.name),
        Type::Phrase(parts) => {
            let parts: Vec<String> = parts
                .iter()
                .filter(|p| !p.optional)
                .map(|p| format!("{} … {}", p.word, unit(p.kind)).trim().to_owned())
                .collect();
            format!("{} = {}", f.name, parts.join(" "))
        }
        _ => format!("{} = …", f.name),
    };
    let said = Finding::new(
        &codes::MISSING_FIELD,
        Local::Head(d),
        format!("{what} needs `{}`: {}", f.name, lower_first(f.doc)),
    )
    .here(format!("`{}` is missing", f.name))
    .help(format!("add `{}`", example.trim_end()));
    let mended = body.and_then(|b| remedy::field_put_in(cx, d, b, f));
    cx.report(remedy::with(said, mended));
}

fn lower_first(s: &str) -> String {
    let s = s.trim_end_matches('.');
    // Only the first sentence, so that the message stays one line.
    let s = s.split(". ").next().unwrap_or(s);
    let mut c = s.chars();
    match c.next() {
        Some(f) if c.as_str().chars().next().is_some_and(char::is_lowercase) => {
            f.to_lowercase().collect::<String>() + c.as_str()
        }
        _ => s.to_owned(),
    }
}

fn check_like(cx: &mut Cx<'_>, d: DeclId, decl: &Decl, def: &KindDef) -> Eval<()> {
    let Some(path) = &decl.like else {
        return Ok(());
    };
    let base = Ev { cx, owner: d }.base(path)?;
    match base {
        Value::Decl(b) => {
            let word = cx.kind_word(b);
            if b == d {
                cx.report(
                    Finding::new(
                        &codes::CYCLE,
                        Local::Span(d, path.span),
                        format!("`{}` is like itself", cx.name(d)),
                    )
                    .here("itself"),
                );
            } else if word != def.word {
                cx.report(
                    Finding::new(
                        &codes::WRONG_TYPE,
                        Local::Span(d, path.span),
                        format!(
                            "{} can only be like another, but `{}` is {}",
                            article(def.word),
                            path.text(),
                            article(word)
                        ),
                    )
                    .here(article(word))
                    .label(Local::Head(b), "declared here"),
                );
            } else {
                // Round in a circle?
                let mut way = vec![d];
                let mut at = d;
                while way.len() <= crate::slots::MAX_LIKE {
                    let parsed = cx.item(at);
                    match like_base(cx, at, &parsed)? {
                        Some(b) if b == d => {
                            let names: Vec<String> =
                                way.iter().map(|x| format!("`{}`", cx.name(*x))).collect();
                            cx.report(
                                Finding::new(
                                    &codes::CYCLE,
                                    Local::Span(d, path.span),
                                    format!(
                                        "{} is like itself, by way of {}",
                                        names[0],
                                        names.join(", ")
                                    ),
                                )
                                .here("comes back to itself"),
                            );
                            break;
                        }
                        Some(b) if !way.contains(&b) => {
                            way.push(b);
                            at = b;
                        }
                        _ => break,
                    }
                }
            }
        }
        Value::Unknown => {}
        other => {
            cx.report(
                Finding::new(
                    &codes::WRONG_TYPE,
                    Local::Span(d, path.span),
                    format!(
                        "`like` takes the name of {}, not {}",
                        article(def.word),
                        other.describe()
                    ),
                )
                .here(other.describe()),
            );
        }
    }
    Ok(())
}

fn check_of(cx: &mut Cx<'_>, d: DeclId, decl: &Decl, def: &KindDef) -> Eval<()> {
    let wanted = def.of.join(" or ");
    match &decl.of {
        None if def.of.is_empty() || decl.like.is_some() || decl.parameters.is_some() => {}
        None => {
            let f = Finding::new(
                &codes::MISSING_FIELD,
                Local::Head(d),
                format!("this {} does not say what it belongs to", def.word),
            )
            .here("of what?")
            .help(format!(
                "write `{} {} of NAME`, with the name of {}",
                def.word,
                cx.name(d),
                article(&wanted)
            ));
            let mended = match &decl.name {
                Some(n) => remedy::of_the_only(cx, d, def.of, n.span),
                None => None,
            };
            cx.report(remedy::with(f, mended));
        }
        Some(p) if def.of.is_empty() => cx.report(
            Finding::new(
                &codes::WRONG_TYPE,
                Local::Span(d, p.span),
                format!("{} takes no `of`", article(def.word)),
            )
            .here("not wanted"),
        ),
        Some(p) => {
            let target = Ev { cx, owner: d }.path(p, true)?;
            match target {
                Value::Decl(t) if def.of.contains(&cx.kind_word(t)) => {}
                Value::Decl(t) if cx.kind(t).is_some() => {
                    let word = cx.kind_word(t);
                    cx.report(
                        Finding::new(
                            &codes::WRONG_TYPE,
                            Local::Span(d, p.span),
                            format!(
                                "{} is of {}, but `{}` is {}",
                                article(def.word),
                                article(&wanted),
                                p.text(),
                                article(word)
                            ),
                        )
                        .here(article(word))
                        .label(Local::Head(t), "declared here"),
                    );
                }
                _ => {}
            }
        }
    }
    Ok(())
}

/// Entries of a declaration or of one of its groups: known, fitting, and once each.
fn entries(
    cx: &mut Cx<'_>,
    d: DeclId,
    def: &'static KindDef,
    group: Option<&'static crate::schema::GroupDef>,
    list: &[Entry],
) {
    let mut seen: Vec<(SmolStr, Span)> = Vec::new();
    let owner = match group {
        None => article(def.word),
        Some(g) => format!("the block `{}`", g.name),
    };
    let fields = group.map_or(def.fields, |g| g.fields);
    let (groups, tables): (&[crate::schema::GroupDef], &[crate::schema::TableDef]) = match group {
        None => (def.groups, def.tables),
        Some(_) => (&[], &[]),
    };
    for e in list {
        let name = match &e.kind {
            EntryKind::Field { name, .. } => {
                if !fields.iter().any(|f| f.name == name.text) {
                    unknown_entry(cx, d, def, group, &owner, e, name, "field");
                    continue;
                }
                name
            }
            EntryKind::Table(t) => {
                if !tables.iter().any(|x| x.name == t.name.text) {
                    unknown_entry(cx, d, def, group, &owner, e, &t.name, "table");
                    continue;
                }
                &t.name
            }
            EntryKind::Group {
                name,
                entries: inner,
                ..
            } => {
                match groups.iter().find(|g| g.name == name.text) {
                    Some(g) => entries(cx, d, def, Some(g), inner),
                    None => {
                        unknown_entry(cx, d, def, group, &owner, e, name, "block");
                        continue;
                    }
                }
                name
            }
            EntryKind::Chain(_) => {
                if !def.chains || group.is_some() {
                    cx.report(
                        Finding::new(
                            &codes::UNKNOWN_FIELD,
                            Local::Span(d, e.span),
                            format!("{owner} takes no `->` lines"),
                        )
                        .here("belongs in a `lay`"),
                    );
                }
                continue;
            }
            EntryKind::Hold { .. } => {
                if !def.holds || group.is_some() {
                    cx.report(
                        Finding::new(
                            &codes::UNKNOWN_FIELD,
                            Local::Span(d, e.span),
                            format!("{owner} takes no `hold`"),
                        )
                        .here("belongs in a `duty`"),
                    );
                }
                continue;
            }
            EntryKind::Accept(a) => {
                accept::check(cx, d, a);
                continue;
            }
            EntryKind::Error => continue,
        };
        if let Some((_, first)) = seen.iter().find(|s| s.0 == name.text) {
            let f = Finding::new(
                &codes::DUPLICATE_FIELD,
                Local::Span(d, name.span),
                format!("`{}` is given twice", name.text),
            )
            .here("the second time; not used")
            .label(Local::Span(d, *first), "the first time")
            .help("keep the right one");
            cx.report(remedy::with(
                f,
                without_doc(e)
                    .and_then(|e| remedy::entry_taken_out(d, e.span, "take out the second one")),
            ));
        } else {
            seen.push((name.text.clone(), name.span));
        }
    }
}

/// An entry that may be taken out: what is written about it would be left behind and told of the next.
fn without_doc(e: &Entry) -> Option<&Entry> {
    e.doc.is_empty().then_some(e)
}

#[allow(clippy::too_many_arguments)] // What is said of one entry needs all that is known of it.
fn unknown_entry(
    cx: &mut Cx<'_>,
    d: DeclId,
    def: &'static KindDef,
    group: Option<&'static crate::schema::GroupDef>,
    owner: &str,
    entry: &Entry,
    name: &Name,
    form: &str,
) {
    let place = Local::Span(d, name.span);
    let fields: Vec<&'static str> = group
        .map_or(def.fields, |g| g.fields)
        .iter()
        .map(|f| f.name)
        .collect();
    let mut known = fields.clone();
    if group.is_none() {
        known.extend(def.groups.iter().map(|g| g.name));
        known.extend(def.tables.iter().map(|t| t.name));
    }
    let computed = group.is_none() && def.computed.iter().any(|c| c.name == name.text);
    let other_form = known.contains(&name.text.as_str());
    let mut f = if computed {
        let f = Finding::new(
            &codes::UNKNOWN_FIELD,
            place,
            format!("`{}` is computed, not given", name.text),
        )
        .here("computed")
        .help("take the line out, or put the rule in a `require`");
        remedy::with(
            f,
            without_doc(entry)
                .and_then(|e| remedy::entry_taken_out(d, e.span, "take the line out")),
        )
    } else if other_form {
        let right = if def.tables.iter().any(|t| t.name == name.text) {
            format!("a table: `{} (…) {{ … }}`", name.text)
        } else if def.groups.iter().any(|g| g.name == name.text) {
            format!("a block: `{} {{ … }}`", name.text)
        } else {
            format!("a field: `{} = …`", name.text)
        };
        Finding::new(
            &codes::UNKNOWN_FIELD,
            place,
            format!("`{}` is not a {form} of {owner} but {right}", name.text),
        )
        .here(format!("not a {form}"))
    } else {
        Finding::new(
            &codes::UNKNOWN_FIELD,
            place,
            format!("{owner} has no {form} `{}`", name.text),
        )
        .here(format!("no such {form}"))
    };
    if !computed && !other_form {
        let near = near_names(&name.text, known.iter().copied());
        if let Some(n) = near.first() {
            f = remedy::meant(f, place, n);
        } else {
            // Perhaps it belongs to one of the blocks.
            let inside = group
                .is_none()
                .then(|| {
                    def.groups
                        .iter()
                        .find(|g| g.fields.iter().any(|x| x.name == name.text))
                })
                .flatten();
            if let Some(g) = inside {
                f = f.help(format!("it belongs in the block `{} {{ … }}`", g.name));
            } else {
                known.sort_unstable();
                f = f.help(format!("{owner} has {}", known.join(", ")));
            }
        }
    }
    cx.report(f);
}
