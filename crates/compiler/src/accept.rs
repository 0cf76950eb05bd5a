//! Acceptances: `accept CW1203 on clearance_limit because "old casting" until 2027-03-31`.
//!
//! In a block a line accepts findings about the declaration or group it stands in; `on` narrows it to a field,
//! table, group or station there. At the top of a file it accepts findings of the items that are no
//! declarations, and `on` narrows it to those that speak of a path. One in a pattern goes for every part that
//! fills the pattern in; `like` otherwise hands nothing on, as an acceptance is about one part.
//!
//! What is wrong with a line as it is written is checked with its item ([`check`]). What it accepts, and
//! whether it still accepts anything, is settled when a file's findings are asked for ([`apply`]).
//!
//! Invariants: what may not be accepted never is; a line that is wrong accepts nothing; that a line accepts
//! nothing is said only where everything it could accept has been looked at.

use crate::codes::{self, codes};
use crate::db::{Cx, Db, DeclId, Local};
use crate::found::{Acceptance, Found, Standing};
use crate::kinds::every::{NOT_JUDGED, RULES_MISSING};
use crate::paths;
use crate::remedy;
use crate::settings::nearest_code;
use crate::show::near_names;
use crate::slots::MAX_LIKE;
use crate::value::{Date, Value};
use cutwater_finding::{Code, Edit, FileId, Finding, Fix, FixTier, Level, Place};
use cutwater_syntax::ast::{Accept, Entry, EntryKind, ExprKind, ItemKind, Path};
use cutwater_text::Span;
use smol_str::SmolStr;

codes! {
    ACCEPT_UNKNOWN = "CW0701" "accept-unknown-finding" Error, "An acceptance of a finding there is not.",
        "An acceptance names the code of a finding, `CW0502`. `cutwater explain findings` lists them.",
        fires "let a = 3.001 in ± 0.002\nrequire a >= 3 in\naccept CW0520 because \"measured each time\"\n",
        silent "let a = 3.001 in ± 0.002\nrequire a >= 3 in\naccept CW0502 because \"measured each time\"\n", fixes NeedsALook;
    ACCEPT_NEVER = "CW0702" "accept-not-allowed" Error, "An acceptance of a finding that cannot be accepted.",
        "A judgement may be accepted, such as a limit that is not kept. What makes a text or its numbers meaningless may not: mistakes of the language, sizes that cannot be, a law without its numbers, tables that do not match, a duty without a solution, and findings about acceptances and settings.",
        fires "let gap = 3 inn\naccept CW0301 because \"we say inn\"\n",
        silent "let gap = 3 in\n";
    ACCEPT_REASON = "CW0703" "accept-no-reason" Error, "An acceptance without a reason.",
        "Whoever reads the spec later must be able to judge whether the reason still holds.",
        fires "let a = 3.001 in ± 0.002\nrequire a >= 3 in\naccept CW0502 because \"\"\n",
        silent "let a = 3.001 in ± 0.002\nrequire a >= 3 in\naccept CW0502 because \"measured each time\"\n";
    ACCEPT_UNUSED = "CW0704" "accept-unused" Warning, "An acceptance that accepts nothing.",
        "What was accepted is mended, or the line stands in the wrong place. Left in, it would hide the same finding when it comes back. It is not said while something the findings hang on is wrong.",
        fires "let a = 4 in\nrequire a >= 3 in\naccept CW0502 because \"measured each time\"\n",
        silent "let a = 3.001 in ± 0.002\nrequire a >= 3 in\naccept CW0502 because \"measured each time\"\n", fixes Safe | NeedsALook;
    ACCEPT_EXPIRED = "CW0705" "accept-expired" Warning, "An acceptance whose last day is past.",
        "The findings it accepted count again. Mend what they are about, or judge them anew and give a new day.",
        fires "let a = 3.001 in ± 0.002\nrequire a >= 3 in\naccept CW0502 because \"measured each time\" until 2001-01-01\n",
        silent "let a = 3.001 in ± 0.002\nrequire a >= 3 in\naccept CW0502 because \"measured each time\" until 2999-01-01\n";
    ACCEPT_MANY = "CW0706" "accept-many" Advice, "An acceptance of findings about several things.",
        "An acceptance is a judgement of one thing. With `on` it accepts only what was looked at, and not what comes later.",
        fires "let a = 3.001 in ± 0.002\nlet b = 4.001 in ± 0.002\nrequire a >= 3 in\nrequire b >= 4 in\naccept CW0502 because \"measured each time\"\n",
        silent "let a = 3.001 in ± 0.002\nlet b = 4.001 in ± 0.002\nrequire a >= 3 in\nrequire b >= 4 in\naccept CW0502 on a because \"measured each time\"\naccept CW0502 on b because \"measured each time\"\n";
}

/// The code a line names, if it may be accepted.
fn code_of(a: &Accept) -> Option<&'static Code> {
    codes::find(&a.code.text).filter(|c| codes::may_be_accepted(c))
}

/// The last day of a line; `Err` where what stands there is no day.
fn last_day(a: &Accept) -> Result<Option<Date>, ()> {
    match a.until.as_ref().map(|u| &u.kind) {
        None => Ok(None),
        Some(ExprKind::Date { year, month, day }) => {
            Date::new(*year, *month, *day).map(Some).ok_or(())
        }
        Some(_) => Err(()),
    }
}

/// Checks a line as it is written.
pub(crate) fn check(cx: &mut Cx<'_>, d: DeclId, a: &Accept) {
    let place = Local::Span(d, a.code.span);
    match codes::find(&a.code.text) {
        None => {
            let mut f = Finding::new(
                &ACCEPT_UNKNOWN,
                place,
                format!("there is no finding `{}` to accept", a.code.text),
            )
            .here("no such finding");
            if let Some(n) = nearest_code(&a.code.text, codes::may_be_accepted) {
                f = remedy::meant(f, place, &n);
            } else {
                f = f.help("`cutwater explain findings` lists them");
            }
            cx.report(f);
        }
        Some(code) if !codes::may_be_accepted(code) => cx.report(
            Finding::new(
                &ACCEPT_NEVER,
                place,
                format!("{} {} cannot be accepted: {}", code.id, code.name, lower(code.summary)),
            )
            .here("cannot be accepted")
            .help("mend what it is about; only a judgement can be accepted, such as a limit that is not kept"),
        ),
        Some(_) => {}
    }
    if let Some(b) = &a.because
        && b.text.trim().is_empty()
    {
        cx.report(
            Finding::new(
                &ACCEPT_REASON,
                Local::Span(d, b.span),
                format!("the acceptance of `{}` gives no reason", a.code.text),
            )
            .here("no reason")
            .help("say why it may stay so, as because \"old casting, measured each spring\""),
        );
    }
    if let Some(u) = &a.until
        && !matches!(u.kind, ExprKind::Error)
        && last_day(a).is_err()
    {
        cx.report(
            Finding::new(
                &codes::BAD_DATE,
                Local::Span(d, u.span),
                "an acceptance ends on a day that exists".to_owned(),
            )
            .here("no such day")
            .help("write year-month-day, as 2027-03-31"),
        );
    }
}

fn lower(summary: &str) -> String {
    let mut c = summary.trim_end_matches('.').chars();
    c.next().map_or(String::new(), |f| {
        f.to_lowercase().collect::<String>() + c.as_str()
    })
}

/// A line that can accept something.
struct Line {
    item: DeclId,
    /// The line from its item's start.
    span: Span,
    /// Whether it stands in a declaration.
    block: bool,
    /// The declaration's groups it stands in, and what `on` says, with dots.
    on: SmolStr,
    has_on: bool,
    /// It has `///` lines, which would be left behind.
    documented: bool,
    code: &'static Code,
    reason: SmolStr,
    until: Option<Date>,
    /// It is in a pattern, and may be used by parts in any file.
    pattern: bool,
}

/// What a line did.
#[derive(Default)]
struct Did {
    /// Subjects of what it accepted, or would accept were it not past its day.
    subjects: Vec<SmolStr>,
    count: usize,
    /// An earlier line accepts what it would have.
    behind: Option<usize>,
}

/// Marks what is accepted among a file's findings, and adds findings about the lines that accept. `places` are
/// the findings' places as the compiler has them, one for each.
pub(crate) fn apply(db: &Db, file: FileId, found: &mut Vec<Found>, places: &[Vec<Local>]) {
    // Looking would parse all of the library, which accepts nothing.
    if db.is_library(file) {
        return;
    }
    // A quick look first: most files have neither word, and a server asks often.
    let text = db.text(file);
    let mut lines: Vec<Line> = Vec::new();
    if text.contains("accept") {
        for d in db.decls(file) {
            lines_of(db, *d, &mut lines);
        }
    }
    let own = lines.len();
    let mut patterns: Vec<DeclId> = Vec::new();
    let likes = text.contains("like");
    for d in db.decls(file).iter().filter(|_| likes) {
        for p in patterns_of(db, *d) {
            if db.file_of(p) != file && !patterns.contains(&p) {
                patterns.push(p);
                lines_of(db, p, &mut lines);
            }
        }
    }
    if lines.is_empty() {
        return;
    }
    let past = |l: &Line| matches!((l.until, db.today()), (Some(u), Some(t)) if u < t);
    let mut did: Vec<Did> = lines.iter().map(|_| Did::default()).collect();
    for (f, at) in found.iter_mut().zip(places) {
        let Some(d) = item_of(at) else { continue };
        let fitting: Vec<usize> = (0..lines.len())
            .filter(|k| fits(db, &lines[*k], d, f, at))
            .collect();
        // The first line that is not past its day, else the first.
        let Some(&taken) = fitting
            .iter()
            .find(|k| !past(&lines[**k]))
            .or(fitting.first())
        else {
            continue;
        };
        for k in fitting {
            if k != taken {
                did[k].behind.get_or_insert(taken);
            }
        }
        let (line, did) = (&lines[taken], &mut did[taken]);
        did.count += 1;
        if !did.subjects.contains(&f.subject) {
            did.subjects.push(f.subject.clone());
        }
        let place = place_of(db, line);
        if past(line) {
            let day = line.until.map_or(String::new(), |u| u.to_string());
            let text = format!("accepted here until {day}, which is past");
            f.finding
                .labels
                .push(cutwater_finding::Label { place, text });
        } else {
            f.standing = Standing::Accepted(Acceptance {
                reason: line.reason.clone(),
                until: line.until,
                place,
            });
        }
    }
    let sound = !found
        .iter()
        .any(|f| f.finding.code.level == Level::Error && f.standing == Standing::Open);
    for (k, line) in lines[..own].iter().enumerate() {
        let did = &did[k];
        let finding = if did.count > 0 && past(line) {
            expired(db, line, did)
        } else if did.count > 0 {
            match many(db, line, did) {
                Some(f) => f,
                None => continue,
            }
        } else if line.pattern || !all_is_known(db, line, found, places) {
            continue;
        } else {
            let before = did.behind.map(|b| &lines[b]);
            unused(db, line, before, elsewhere(db, line, found, places), sound)
        };
        found.push(Found {
            subject: db.subject(&Local::Span(line.item, line.span)),
            finding,
            standing: Standing::Open,
        });
    }
}

/// The item a finding is in, by its places.
fn item_of(places: &[Local]) -> Option<DeclId> {
    match *places.first()? {
        Local::Span(d, _)
        | Local::Slot(d, _)
        | Local::Value(d, _)
        | Local::Head(d)
        | Local::Entry(d, _)
        | Local::NewEntry(d, _)
        | Local::Rows(d, _)
        | Local::Item(d) => Some(d),
        Local::File(..) => None,
    }
}

fn place_of(db: &Db, line: &Line) -> Place {
    db.resolve(&Local::Span(line.item, line.span))
}

/// The lines of an item that can accept something.
fn lines_of(db: &Db, d: DeclId, out: &mut Vec<Line>) {
    if db.is_library(db.file_of(d)) {
        return;
    }
    let parsed = db.parsed(d);
    let mut add =
        |a: &Accept, span: Span, within: Option<&str>, documented: bool, pattern: bool| {
            let (Some(code), Some(because), Ok(until)) = (code_of(a), &a.because, last_day(a))
            else {
                return;
            };
            if because.text.trim().is_empty() {
                return;
            }
            let on = a.on.as_ref().map(Path::text);
            out.push(Line {
                item: d,
                span,
                block: within.is_some(),
                on: dotted(
                    within.unwrap_or_default(),
                    on.as_deref().unwrap_or_default(),
                ),
                has_on: on.is_some(),
                documented,
                code,
                reason: because.text.clone(),
                until,
                pattern,
            });
        };
    match &parsed.item.kind {
        ItemKind::Accept(a) => {
            add(
                a,
                parsed.item.span,
                None,
                !parsed.item.doc.is_empty(),
                false,
            );
        }
        ItemKind::Decl(decl) => {
            let pattern = decl.parameters.is_some();
            walk(&decl.entries, "", &mut |a, e, group| {
                add(a, e.span, Some(group), !e.doc.is_empty(), pattern);
            });
        }
        _ => {}
    }
}

fn walk(entries: &[Entry], group: &str, f: &mut impl FnMut(&Accept, &Entry, &str)) {
    for e in entries {
        match &e.kind {
            EntryKind::Accept(a) => f(a, e, group),
            EntryKind::Group { name, entries, .. } => {
                walk(entries, &dotted(group, &name.text), f);
            }
            _ => {}
        }
    }
}

fn dotted(a: &str, b: &str) -> SmolStr {
    if a.is_empty() || b.is_empty() {
        SmolStr::from(format!("{a}{b}"))
    } else {
        SmolStr::from(format!("{a}.{b}"))
    }
}

/// The patterns with `accept` lines that an item fills in, the nearest first.
fn patterns_of(db: &Db, d: DeclId) -> Vec<DeclId> {
    let mut out = Vec::new();
    let mut at = d;
    for _ in 0..MAX_LIKE {
        let Some(base) = base_of(db, at) else { break };
        if out.contains(&base) {
            break;
        }
        match &db.parsed(base).item.kind {
            ItemKind::Decl(x) if x.parameters.is_some() => out.push(base),
            _ => break,
        }
        at = base;
    }
    out
}

/// The declaration an item is `like`, by its name here or in a file brought in.
fn base_of(db: &Db, d: DeclId) -> Option<DeclId> {
    let parsed = db.parsed(d);
    let ItemKind::Decl(decl) = &parsed.item.kind else {
        return None;
    };
    let file = db.file_of(d);
    match decl.like.as_ref()?.names.as_slice() {
        [one] => db.lookup(file, &one.text),
        [first, second] => {
            let used = db.lookup(file, &first.text)?;
            let ItemKind::Use { path, .. } = &db.parsed(used).item.kind else {
                return None;
            };
            let full = paths::join(db.path(file), &path.text).ok()?;
            db.lookup(db.file(&full)?, &second.text)
        }
        _ => None,
    }
}

/// Whether a line covers a finding about item `d`.
fn fits(db: &Db, line: &Line, d: DeclId, f: &Found, at: &[Local]) -> bool {
    if f.finding.code != line.code {
        return false;
    }
    if !line.block {
        if matches!(db.parsed(d).item.kind, ItemKind::Decl(_))
            || db.file_of(d) != db.file_of(line.item)
        {
            return false;
        }
        // `require a b` and plain names: any of the paths spoken of.
        return !line.has_on || f.subject.split(' ').any(|p| within(p, &line.on));
    }
    let mine = d == line.item || line.pattern && patterns_of(db, d).contains(&line.item);
    let rest = &tail(db, d, &f.subject);
    // A limit that is not kept stands at the value, and the limit is what it also speaks of.
    mine && (within(rest, &line.on)
        || line.has_on && also_on(db, d, at).iter().any(|p| within(p, &line.on)))
}

/// The fields, with dots, that the labels of a finding about item `d` point at: its own, and those it takes from
/// what it is like, which labels show where they are written.
fn also_on(db: &Db, d: DeclId, at: &[Local]) -> Vec<SmolStr> {
    let mut line = vec![d];
    for _ in 0..MAX_LIKE {
        match line.last().and_then(|x| base_of(db, *x)) {
            Some(b) if !line.contains(&b) => line.push(b),
            _ => break,
        }
    }
    at.iter()
        .skip(1)
        .filter_map(|p| Some((p, item_of(std::slice::from_ref(p))?)))
        .filter(|(_, x)| line.contains(x))
        .map(|(p, x)| tail(db, x, &db.subject(p)))
        .filter(|p| !p.is_empty())
        .collect()
}

/// What is behind an item's name in a subject.
fn tail(db: &Db, d: DeclId, subject: &SmolStr) -> SmolStr {
    let head = db.head_of(d);
    match subject.strip_prefix(head.as_str()) {
        Some(r) => r.strip_prefix('.').unwrap_or(r).into(),
        None => subject.clone(),
    }
}

/// Whether a path is another or lies below it.
fn within(path: &str, top: &str) -> bool {
    match path.strip_prefix(top) {
        Some(rest) => top.is_empty() || rest.is_empty() || rest.starts_with('.'),
        None => false,
    }
}

/// Whether everything the line could accept has been looked at: nothing waits, and nothing it hangs on is
/// wrong, as far as values tell.
fn all_is_known(db: &Db, line: &Line, found: &[Found], places: &[Vec<Local>]) -> bool {
    let items: Vec<DeclId> = if line.block {
        vec![line.item]
    } else {
        db.decls(db.file_of(line.item))
            .iter()
            .copied()
            .filter(|d| !matches!(db.parsed(*d).item.kind, ItemKind::Decl(_)))
            .collect()
    };
    let broken = |d: DeclId| {
        let slots = db.kind(d).map_or(1, |(_, s)| s.list.len()) as u16;
        (0..slots).any(|s| matches!(db.settled(d, s), Some(Value::Unknown)))
            || !db.parsed(d).errors.is_empty()
    };
    let wrong = |d: DeclId| {
        found.iter().zip(places).any(|(f, p)| {
            item_of(p) == Some(d)
                && f.finding.code.level == Level::Error
                && !codes::may_be_accepted(f.finding.code)
                && !CODES.contains(&f.finding.code)
        })
    };
    // A declaration is judged by rules of other files, too.
    let unjudged = found.iter().any(|f| f.finding.code == &RULES_MISSING);
    !unjudged
        && !items
            .iter()
            .any(|d| db.waits(*d) || broken(*d) || wrong(*d))
}

fn what(line: &Line) -> String {
    format!("{} {}", line.code.id, line.code.name)
}

/// Where the finding that a line with `on` misses stands, in the words `on` would take.
fn elsewhere(db: &Db, line: &Line, found: &[Found], places: &[Vec<Local>]) -> Option<SmolStr> {
    if !line.has_on {
        return None;
    }
    found
        .iter()
        .zip(places)
        .filter(|(f, _)| f.finding.code == line.code && f.standing == Standing::Open)
        .filter_map(|(f, p)| Some((f, item_of(p)?)))
        .filter(|(_, d)| match line.block {
            true => *d == line.item,
            false => !matches!(db.parsed(*d).item.kind, ItemKind::Decl(_)),
        })
        .map(|(f, d)| match line.block {
            true => tail(db, d, &f.subject),
            false => f
                .subject
                .split(' ')
                .find(|w| *w != "require")
                .unwrap_or("")
                .into(),
        })
        .find(|p| !p.is_empty())
}

fn unused(
    db: &Db,
    line: &Line,
    before: Option<&Line>,
    elsewhere: Option<SmolStr>,
    sound: bool,
) -> Finding<Place> {
    let place = place_of(db, line);
    let mut message = format!(
        "this accepts {}, but nothing here has that finding",
        what(line)
    );
    let mut help = "take the line out".to_owned();
    let mut rename = None;
    if let Some(b) = before {
        message = format!(
            "this accepts {}, which another line accepts already",
            what(line)
        );
        let f = Finding::new(&ACCEPT_UNUSED, place, message)
            .here("accepts nothing more")
            .label(place_of(db, b), "accepted here")
            .help(help);
        return removable(db, line, f, sound);
    }
    if line.has_on
        && let Some(known) = unknown_subject(db, line)
    {
        message = format!(
            "this accepts {} on `{}`, and there is nothing of that name here",
            what(line),
            line.on
        );
        // Of one or two letters everything is near.
        let long = line.on.len() > 2;
        let near = near_names(&line.on, known.iter().map(String::as_str));
        if let Some(n) = near.first().filter(|_| long) {
            message.push_str(&format!("; did you mean `{n}`?"));
            help = format!("write `{n}`");
            rename = Some(n.clone());
        }
    }
    if let (Some(there), None) = (elsewhere, &rename) {
        message = format!(
            "this accepts {} on `{}`, but here that finding is on `{there}`",
            what(line),
            line.on
        );
        help = format!("write `{there}` if that is meant, or take the line out");
        rename = Some(there.to_string());
    }
    let f = Finding::new(&ACCEPT_UNUSED, place, message)
        .here("accepts nothing")
        .help(help);
    // In a group `on` says only what is behind the group's name.
    let whole = |at: &Place| at.span.slice(db.text(at.file)) == line.on;
    match rename.and_then(|n| Some((on_place(db, line).filter(whole)?, n))) {
        Some((at, n)) => f.fix(format!("write `{n}`"), FixTier::NeedsALook, at, n),
        None => removable(db, line, f, sound),
    }
}

/// The place of the path after `on`.
fn on_place(db: &Db, line: &Line) -> Option<Place> {
    let parsed = db.parsed(line.item);
    let mut span = None;
    match &parsed.item.kind {
        ItemKind::Accept(a) => span = a.on.as_ref().map(|p| p.span),
        ItemKind::Decl(decl) => walk(&decl.entries, "", &mut |a, e, _| {
            if e.span == line.span {
                span = a.on.as_ref().map(|p| p.span);
            }
        }),
        _ => {}
    }
    Some(db.resolve(&Local::Span(line.item, span?)))
}

/// The names `on` might have meant, where there is nothing of the name it says.
fn unknown_subject(db: &Db, line: &Line) -> Option<Vec<String>> {
    let mut known: Vec<String> = Vec::new();
    if line.block {
        let decl = db.parsed(line.item);
        let ItemKind::Decl(decl) = &decl.item.kind else {
            return None;
        };
        if let Some((k, slots)) = db.kind(line.item) {
            known.extend(slots.list.iter().map(|s| s.0.to_string()));
            known.extend(k.groups.iter().map(|g| g.name.to_owned()));
        }
        crate::found::entry_names(&decl.entries, "", &mut known);
    } else {
        for d in db.decls(db.file_of(line.item)) {
            if !matches!(
                db.parsed(*d).item.kind,
                ItemKind::Decl(_) | ItemKind::Accept(_)
            ) {
                let head = db.head_of(*d);
                let names = head.split(' ').filter(|w| *w != "require");
                known.extend(names.map(str::to_owned));
            }
        }
    }
    (!known.iter().any(|k| within(k, &line.on))).then_some(known)
}

/// With the fix that takes the line out: a safe one where nothing else is wrong that might hide a finding.
fn removable(db: &Db, line: &Line, mut f: Finding<Place>, sound: bool) -> Finding<Place> {
    let place = place_of(db, line);
    let text = db.text(place.file);
    let (start, end) = (place.span.start as usize, place.span.end as usize);
    let before = text[..start].trim_end_matches([' ', '\t']);
    let rest = &text[end..];
    let after = rest.trim_start_matches([' ', '\t', '\r']);
    let alone = before.is_empty() || before.ends_with('\n');
    let span = if alone && (after.is_empty() || after.starts_with('\n')) {
        // The whole line with its end.
        let close = rest.find('\n').map_or(text.len(), |k| end + k + 1);
        Span::new(before.len(), close)
    } else if alone {
        place.span
    } else {
        Span::new(before.len(), end)
    };
    // Rules from other files may be broken there for a while.
    let by_rule = [&codes::REQUIRE_FAILS, &codes::REQUIRE_TIGHT, &NOT_JUDGED];
    let by_rule = line.block && by_rule.contains(&line.code);
    let tier = if sound && !line.documented && !by_rule {
        FixTier::Safe
    } else {
        FixTier::NeedsALook
    };
    f.fix = Some(Fix {
        title: "take the line out".to_owned(),
        tier,
        edits: vec![Edit {
            place: Place {
                file: place.file,
                span,
            },
            text: String::new(),
        }],
    });
    f
}

fn expired(db: &Db, line: &Line, did: &Did) -> Finding<Place> {
    let day = line.until.map_or(String::new(), |u| u.to_string());
    Finding::new(
        &ACCEPT_EXPIRED,
        place_of(db, line),
        format!(
            "{} was accepted until {day}, which is past: {} again",
            what(line),
            if did.count == 1 {
                "it counts".to_owned()
            } else {
                format!("{} findings count", did.count)
            }
        ),
    )
    .here("past its last day")
    .help(format!(
        "mend what it is about, or judge it anew and give a new day; the reason given was \"{}\"",
        line.reason
    ))
}

fn many(db: &Db, line: &Line, did: &Did) -> Option<Finding<Place>> {
    if did.subjects.len() < 2 || line.pattern {
        return None;
    }
    let head = db.head_of(line.item);
    let mut narrower: Vec<String> = Vec::new();
    for s in &did.subjects {
        let name = if line.block {
            s.strip_prefix(head.as_str())
                .and_then(|r| r.strip_prefix('.'))
                .unwrap_or("")
        } else {
            s.split(' ').find(|w| *w != "require").unwrap_or("")
        };
        // Only names that leave something out can narrow it.
        if !name.is_empty() && name != line.on && !narrower.iter().any(|n| n == name) {
            narrower.push(name.to_owned());
        }
    }
    narrower.truncate(3);
    if narrower.is_empty() {
        return None;
    }
    let names: Vec<String> = narrower.iter().map(|n| format!("`on {n}`")).collect();
    Some(
        Finding::new(
            &ACCEPT_MANY,
            place_of(db, line),
            format!(
                "this accepts {} of {} things at once",
                what(line),
                did.subjects.len()
            ),
        )
        .here("more than one")
        .help(format!("say which is meant: {}", names.join(" or "))),
    )
}
