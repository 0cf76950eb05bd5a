//! Applying fixes: to one finding, to a file, or to many files until none is left.
//!
//! The command line and the server both go through here, so both apply the same edits. What is guarded:
//!
//! - an item that was well formed stays so, and a fix of the syntax leaves fewer slips than there were;
//! - every comment is still there (rows that change places take theirs along; nothing else moves one);
//! - a text that was in the canonical layout is in it again: alignment follows a longer name;
//! - the standard library is never changed, nor a file the caller keeps closed.
//!
//! A fix that does not keep to this is left, and its finding stays. Nothing is read from disk or written to it here.

use crate::format::{TextEdit, edits as difference};
use cutwater_compiler::{Db, DeclId, codes};
use cutwater_finding::{Draft, Edit, FileId, Finding, FixTier, Left, Place, Round, apply, round};
use cutwater_syntax::parse_chunk;
use cutwater_syntax::split::{Chunk, split};
use cutwater_syntax::token::{T, lex};
use cutwater_text::Span;
use smol_str::SmolStr;
use std::collections::{BTreeMap, BTreeSet};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::ops::Range;

/// Most rounds of applying fixes and looking again. A round mends all that does not overlap, so real texts take two
/// or three.
pub const MOST_ROUNDS: usize = 32;

/// A fix that was applied.
#[derive(Clone, PartialEq, Debug)]
pub struct Applied {
    /// The path of the file whose finding it mended.
    pub path: SmolStr,
    /// The finding, in places of the text as it was in that round.
    pub finding: Finding<Place>,
}

/// What applying fixes to many files did.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Mended {
    /// What was applied, round by round.
    pub applied: Vec<Applied>,
    /// The findings that still have a fix, and why it was not applied.
    pub left: Vec<(Finding<Place>, Left)>,
    /// The texts that changed, by path.
    pub texts: BTreeMap<SmolStr, String>,
    /// How many rounds changed something.
    pub rounds: usize,
}

impl Mended {
    /// How many fixes are left that need a look.
    pub fn to_look_at(&self) -> usize {
        let look = |f: &Finding<Place>| {
            f.fix
                .as_ref()
                .is_some_and(|x| x.tier == FixTier::NeedsALook)
        };
        self.left.iter().filter(|(f, _)| look(f)).count()
    }
}

/// The edits of the fix of one finding, by file; `None` where it has none that can be applied. The edits of a file are in order
/// and apart from each other.
pub fn fix_of(db: &Db, finding: &Finding<Place>) -> Option<Vec<(FileId, Vec<TextEdit>)>> {
    let done = one_round(
        db,
        std::slice::from_ref(finding),
        FixTier::NeedsALook,
        |_| true,
    );
    (!done.texts.is_empty()).then(|| as_edits(db, done))
}

/// The edits of all fixes of a file's findings that are safe and go together, as far as they stay in the file.
pub fn fix_file(db: &Db, file: FileId) -> Vec<TextEdit> {
    let done = one_round(db, &db.findings(file), FixTier::Safe, |f| f == file);
    as_edits(db, done)
        .into_iter()
        .find(|(f, _)| *f == file)
        .map(|(_, e)| e)
        .unwrap_or_default()
}

fn as_edits(db: &Db, done: Round) -> Vec<(FileId, Vec<TextEdit>)> {
    done.texts
        .into_iter()
        .map(|(f, new)| (f, difference(db.text(f), &new)))
        .collect()
}

/// Applies the fixes of the findings of `files` that may be trusted as far as `most`, looks again by `recheck`, and goes on
/// until there is nothing more to apply. The texts in `db` are then the mended ones; `open` says which files may be changed.
pub fn mend(
    db: &mut Db,
    files: &[FileId],
    most: FixTier,
    open: impl Fn(&Db, FileId) -> bool,
    mut recheck: impl FnMut(&mut Db),
) -> Mended {
    let mut out = Mended::default();
    let mut seen = BTreeSet::new();
    // How often each fix was offered in the round before, and those that were applied and did not mend.
    let mut offered: BTreeMap<Offer, usize> = BTreeMap::new();
    let mut vain: BTreeSet<Offer> = BTreeSet::new();
    let mut last: BTreeSet<Offer> = BTreeSet::new();
    loop {
        let findings: Vec<Finding<Place>> = files.iter().flat_map(|f| db.findings(*f)).collect();
        let mut now: BTreeMap<Offer, usize> = BTreeMap::new();
        for f in &findings {
            *now.entry(offer(db, f)).or_default() += 1;
        }
        vain.extend(
            last.iter()
                .filter(|o| now.get(*o) >= offered.get(*o))
                .cloned(),
        );
        offered = now;
        // What did not mend is not tried a second time.
        let mut tried = findings.clone();
        let mut held = Vec::new();
        for (k, f) in tried.iter_mut().enumerate() {
            if vain.contains(&offer(db, f)) && f.fix.as_ref().is_some_and(|x| x.tier <= most) {
                f.fix = None;
                held.push((k, Left::Refused));
            }
        }
        let mut done = one_round(db, &tried, most, |f| open(db, f));
        done.left.extend(held);
        last = done
            .applied
            .iter()
            .map(|k| offer(db, &findings[*k]))
            .collect();
        let mut state = DefaultHasher::new();
        for (f, new) in &done.texts {
            (f, new).hash(&mut state);
        }
        // Two fixes that undo each other would go on for ever.
        let again = !seen.insert(state.finish()) || out.rounds == MOST_ROUNDS;
        if done.texts.is_empty() || again {
            let stopped = done.applied.iter().map(|k| (*k, Left::Refused));
            let mut left: Vec<(usize, Left)> = done.left.iter().copied().chain(stopped).collect();
            left.sort_unstable();
            out.left
                .extend(left.into_iter().map(|(k, why)| (findings[k].clone(), why)));
            return out;
        }
        out.rounds += 1;
        for k in &done.applied {
            let finding = findings[*k].clone();
            out.applied.push(Applied {
                path: db.path(finding.place.file).clone(),
                finding,
            });
        }
        for (f, new) in done.texts {
            let path = db.path(f).clone();
            db.set_file(&path, new.as_str());
            out.texts.insert(path, new);
        }
        recheck(db);
    }
}

/// What a fix is known by from round to round: the item, the code, what the finding says and what the fix does.
type Offer = (FileId, Option<DeclId>, &'static str, String, String);

fn offer(db: &Db, f: &Finding<Place>) -> Offer {
    let title = f.fix.as_ref().map_or_else(String::new, |x| x.title.clone());
    let items = db.decls(f.place.file);
    let at = items.partition_point(|d| db.chunk(*d).start <= f.place.span.start);
    let item = at.checked_sub(1).map(|k| items[k]);
    (f.place.file, item, f.code.id, f.message.clone(), title)
}

fn one_round(
    db: &Db,
    findings: &[Finding<Place>],
    most: FixTier,
    open: impl Fn(FileId) -> bool,
) -> Round {
    round(
        findings,
        most,
        |f| (!db.is_library(f) && open(f)).then(|| db.text(f).clone()),
        accept,
    )
}

/// The text that may stand for a draft; `None` where the draft breaks or loses something.
fn accept(d: Draft<'_>) -> Option<String> {
    let chunks = split(d.old);
    let mut expected: Vec<&str> = Vec::new();
    let mut pieces: Vec<String> = Vec::new();
    let groups = touched(&chunks, d.edits);
    for g in &groups {
        pieces.push(apply_within(d.old, &chunks, g, d.edits));
    }
    let mut at = 0;
    for (g, new) in groups.iter().zip(&pieces) {
        expected.extend(chunks[at..g.start].iter().map(|c| c.span.slice(d.old)));
        at = g.end;
        let parts: Vec<&str> = split(new).iter().map(|c| c.span.slice(new)).collect();
        let span = span_of(&chunks, g);
        let old_slips: usize = chunks[g.clone()]
            .iter()
            .map(|c| slips(c.span.slice(d.old)))
            .sum();
        let new_slips: usize = parts.iter().map(|p| slips(p)).sum();
        let mending = d.findings.iter().filter(|f| mends_syntax(f, d.file, span));
        if new_slips + mending.count() > old_slips {
            return None;
        }
        if !keeps_comments(span.slice(d.old), new) {
            return None;
        }
        expected.extend(parts.into_iter().filter(|p| !p.is_empty()));
    }
    expected.extend(chunks[at..].iter().map(|c| c.span.slice(d.old)));
    // What was not touched must be cut as it was. Where it is not, the text as a whole has no more slips than before.
    let new_chunks = split(&d.new);
    let same = new_chunks.len() == expected.len()
        && new_chunks
            .iter()
            .zip(&expected)
            .all(|(c, e)| c.span.slice(&d.new) == *e);
    if !same {
        let count = |text: &str, list: &[Chunk]| -> usize {
            list.iter().map(|c| slips(c.span.slice(text))).sum()
        };
        if count(&d.new, &new_chunks) > count(d.old, &chunks) {
            return None;
        }
    }
    Some(laid_out_like(d.old, d.new))
}

/// Runs of neighbouring chunks that edits touch, in order, apart from each other.
fn touched(chunks: &[Chunk], edits: &[Edit<Place>]) -> Vec<Range<usize>> {
    let mut out: Vec<Range<usize>> = Vec::new();
    let last = chunks.len().saturating_sub(1);
    for e in edits {
        let Span { start, end } = e.place.span;
        let from = chunks.partition_point(|c| c.span.end <= start).min(last);
        let to = chunks
            .partition_point(|c| c.span.end < end)
            .min(last)
            .max(from);
        match out.last_mut() {
            Some(g) if from < g.end => g.end = g.end.max(to + 1),
            _ => out.push(from..to + 1),
        }
    }
    out
}

fn span_of(chunks: &[Chunk], group: &Range<usize>) -> Span {
    let of = &chunks[group.clone()];
    match (of.first(), of.last()) {
        (Some(a), Some(b)) => a.span.join(b.span),
        _ => Span::default(),
    }
}

/// The text of some chunks with the edits in them.
fn apply_within(
    text: &str,
    chunks: &[Chunk],
    group: &Range<usize>,
    edits: &[Edit<Place>],
) -> String {
    let whole = span_of(chunks, group);
    let own: Vec<Edit<Place>> = edits
        .iter()
        .filter(|e| whole.start <= e.place.span.start && e.place.span.end <= whole.end)
        .map(|e| Edit {
            place: Place {
                file: e.place.file,
                span: Span {
                    start: e.place.span.start - whole.start,
                    end: e.place.span.end - whole.start,
                },
            },
            text: e.text.clone(),
        })
        .collect();
    apply(whole.slice(text), &own)
}

/// How many slips of syntax a chunk has.
fn slips(chunk: &str) -> usize {
    parse_chunk(chunk).errors.len()
}

/// Whether a finding is about the syntax and its fix changes something in these bytes.
fn mends_syntax(f: &Finding<Place>, file: FileId, span: Span) -> bool {
    [&codes::SYNTAX, &codes::BRACKET, &codes::TOO_DEEP].contains(&f.code)
        && f.fix.as_ref().is_some_and(|x| {
            x.edits
                .iter()
                .any(|e| e.place.file == file && span.covers(e.place.span))
        })
}

/// Whether every comment of the old text is in the new one.
fn keeps_comments(old: &str, new: &str) -> bool {
    let count = |text: &str| {
        let mut out: BTreeMap<String, usize> = BTreeMap::new();
        for r in lex(text) {
            if matches!(r.kind, T::Comment | T::Doc | T::FileDoc) {
                let comment = r.span.slice(text).trim_end().to_owned();
                *out.entry(comment).or_default() += 1;
            }
        }
        out
    };
    let new = count(new);
    count(old)
        .into_iter()
        .all(|(c, n)| new.get(&c).is_some_and(|m| *m >= n))
}

/// The new text, laid out where the old one was. A byte order mark is not part of the layout.
fn laid_out_like(old: &str, new: String) -> String {
    const MARK: &str = "\u{feff}";
    let body = old.trim_start_matches(MARK);
    if cutwater_syntax::format(body) != body {
        return new;
    }
    let new_body = new.trim_start_matches(MARK);
    let mark = &new[..new.len() - new_body.len()];
    format!("{mark}{}", cutwater_syntax::format(new_body))
}
