//! Choosing and applying fixes: which go together, and what the texts are after them.
//!
//! Nothing is known here of any language. Whether a text with some fixes in it may stand is asked of the caller, who
//! may also give a better laid out text in its place. Fixes are taken in the order of the findings. Those whose
//! edits meet the edits of one taken before are left for the next round, when the findings have been made again; so
//! is a fix that the caller refuses. A fix is applied whole, in all its files, or not at all.

use crate::{Edit, FileId, Finding, Fix, FixTier, Place};
use cutwater_text::Span;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Why a fix was not applied.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Left {
    /// It may be trusted less far than was asked for.
    Tier,
    /// It changes what another fix changes too.
    Overlap,
    /// It changes a file that is not to be written.
    Closed,
    /// The text would not be well formed, or would lose a comment.
    Refused,
}

/// A file's text with some fixes in it.
#[derive(Debug)]
pub struct Draft<'a> {
    /// The file.
    pub file: FileId,
    /// The text as it was.
    pub old: &'a str,
    /// The edits, in order, apart from each other, in places of the text as it was.
    pub edits: &'a [Edit<Place>],
    /// The text with them.
    pub new: String,
    /// The findings whose fixes these are.
    pub findings: &'a [&'a Finding<Place>],
}

/// What one round did.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Round {
    /// Which findings were mended, by their index.
    pub applied: Vec<usize>,
    /// Which fixes were left, and why.
    pub left: Vec<(usize, Left)>,
    /// The texts that changed.
    pub texts: BTreeMap<FileId, String>,
}

/// Applies the fixes of findings that may be trusted as far as `most` and go together.
///
/// `text` gives a file's text, or nothing where the file is not to be written. `accept` gives the text that may stand
/// for a draft, or nothing where the draft is to be refused.
pub fn round(
    findings: &[Finding<Place>],
    most: FixTier,
    text: impl Fn(FileId) -> Option<Arc<str>>,
    mut accept: impl FnMut(Draft<'_>) -> Option<String>,
) -> Round {
    let mut out = Round::default();
    let mut olds: BTreeMap<FileId, Option<Arc<str>>> = BTreeMap::new();
    // What could be applied if it stood alone.
    let mut sound: Vec<(usize, &Fix<Place>)> = Vec::new();
    for (k, f) in findings.iter().enumerate() {
        let Some(fix) = &f.fix else { continue };
        if fix.tier > most.min(FixTier::NeedsALook) {
            out.left.push((k, Left::Tier));
            continue;
        }
        let mut why = None;
        for (n, e) in fix.edits.iter().enumerate() {
            let old = olds
                .entry(e.place.file)
                .or_insert_with(|| text(e.place.file));
            match old {
                None => why = Some(Left::Closed),
                Some(t) if !stands(e, t) || fix.edits[..n].iter().any(|x| meets(x, e)) => {
                    why = why.or(Some(Left::Refused));
                }
                Some(_) => {}
            }
        }
        match why {
            Some(why) => out.left.push((k, why)),
            None => sound.push((k, fix)),
        }
    }
    let mut texts = |taken: &Taken, of: &[usize]| {
        let mut done = BTreeMap::new();
        for (file, edits) in taken {
            let old = olds.get(file)?.as_ref()?;
            let findings: Vec<&Finding<Place>> = of
                .iter()
                .map(|k| &findings[*k])
                .filter(|f| touches(f, *file))
                .collect();
            let new = apply(old, edits);
            let draft = Draft {
                file: *file,
                old,
                edits,
                new,
                findings: &findings,
            };
            done.insert(*file, accept(draft)?);
        }
        Some(done)
    };
    // All at once, as they seldom spoil anything.
    let mut taken = Taken::new();
    let mut overlaps = Vec::new();
    for (k, fix) in &sound {
        if add(&mut taken, fix) {
            out.applied.push(*k);
        } else {
            overlaps.push((*k, Left::Overlap));
        }
    }
    match texts(&taken, &out.applied) {
        Some(done) => {
            out.texts = done;
            out.left.extend(overlaps);
        }
        None => {
            // One of them does: one by one. What meets only a refused one has its turn, too.
            out.applied.clear();
            let mut kept = Taken::new();
            for (k, fix) in sound {
                let mut with = kept.clone();
                if !add(&mut with, fix) {
                    out.left.push((k, Left::Overlap));
                    continue;
                }
                out.applied.push(k);
                match texts(&with, &out.applied) {
                    Some(done) => {
                        out.texts = done;
                        kept = with;
                    }
                    None => {
                        out.applied.pop();
                        out.left.push((k, Left::Refused));
                    }
                }
            }
        }
    }
    out.texts
        .retain(|file, new| olds.get(file).and_then(|o| o.as_deref()) != Some(new.as_str()));
    out.left.sort_unstable();
    out
}

/// The edits taken so far, by file, in order.
type Taken = BTreeMap<FileId, Vec<Edit<Place>>>;

/// Takes the edits of a fix in; not where one of them meets another that is not the same.
fn add(taken: &mut Taken, fix: &Fix<Place>) -> bool {
    let meets_one = |e: &Edit<Place>| {
        taken
            .get(&e.place.file)
            .is_some_and(|list| list.iter().any(|x| meets(x, e) && x != e))
    };
    if fix.edits.iter().any(meets_one) {
        return false;
    }
    for e in &fix.edits {
        insert(taken.entry(e.place.file).or_default(), e);
    }
    true
}

/// Whether an edit's place lies in a text.
fn stands(e: &Edit<Place>, text: &str) -> bool {
    let Span { start, end } = e.place.span;
    start <= end && text.get(start as usize..end as usize).is_some()
}

/// Whether two edits of one file touch each other.
fn meets(a: &Edit<Place>, b: &Edit<Place>) -> bool {
    let (x, y) = (a.place, b.place);
    x.file == y.file && x.span.start <= y.span.end && y.span.start <= x.span.end
}

fn touches(f: &Finding<Place>, file: FileId) -> bool {
    f.fix
        .as_ref()
        .is_some_and(|x| x.edits.iter().any(|e| e.place.file == file))
}

/// Puts an edit in its place among others; one that is there already is the same edit.
fn insert(list: &mut Vec<Edit<Place>>, e: &Edit<Place>) {
    let at = list.partition_point(|x| x.place.span < e.place.span);
    if list.get(at) != Some(e) {
        list.insert(at, e.clone());
    }
}

/// The text with edits that are in order and apart from each other. Lines that are put in end as those of the text do.
pub fn apply(text: &str, edits: &[Edit<Place>]) -> String {
    let long = text
        .find(['\n', '\r'])
        .is_some_and(|at| text[at..].starts_with("\r\n"));
    let mut out = String::with_capacity(text.len() + 64);
    let mut at = 0;
    for e in edits {
        let span = e.place.span.range();
        out.push_str(text.get(at..span.start).unwrap_or_default());
        if long && e.text.contains('\n') {
            out.push_str(&e.text.replace("\r\n", "\n").replace('\n', "\r\n"));
        } else {
            out.push_str(&e.text);
        }
        at = span.end;
    }
    out.push_str(text.get(at..).unwrap_or_default());
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Code, Level, Sample};

    static CODE: Code = Code {
        id: "CW9999",
        name: "for-a-test",
        level: Level::Error,
        since: "0.1.0",
        summary: "",
        page: "",
        sample: Sample::Spec,
        fires: "",
        silent: "",
        fixes: &[FixTier::Safe],
    };

    fn at(file: u32, start: usize, end: usize) -> Place {
        Place {
            file: FileId(file),
            span: Span::new(start, end),
        }
    }

    fn finding(tier: FixTier, edits: &[(Place, &str)]) -> Finding<Place> {
        Finding::new(&CODE, edits[0].0, "it is wrong").edits(
            "mend it",
            tier,
            edits.iter().map(|(p, t)| (*p, (*t).to_owned())),
        )
    }

    fn run(list: &[Finding<Place>], most: FixTier, files: &[&str]) -> Round {
        round(
            list,
            most,
            |f| files.get(f.0 as usize).map(|t| Arc::from(*t)),
            // No text with a `!` may stand.
            |d| (!d.new.contains('!')).then_some(d.new),
        )
    }

    #[test]
    fn fixes_apart_from_each_other_go_together_and_others_wait() {
        let list = [
            finding(FixTier::Safe, &[(at(0, 0, 1), "A")]),
            finding(FixTier::Safe, &[(at(0, 1, 2), "X")]),
            finding(FixTier::Safe, &[(at(0, 2, 3), "C")]),
            finding(FixTier::NeedsALook, &[(at(0, 4, 5), "E")]),
        ];
        let done = run(&list, FixTier::Safe, &["abcde"]);
        assert_eq!(done.applied, [0, 2]);
        assert_eq!(done.left, [(1, Left::Overlap), (3, Left::Tier)]);
        assert_eq!(done.texts[&FileId(0)], "AbCde");
        let all = run(&list, FixTier::NeedsALook, &["abcde"]);
        assert_eq!(all.texts[&FileId(0)], "AbCdE");
    }

    #[test]
    fn a_fix_is_applied_in_all_its_files_or_in_none() {
        let both = finding(FixTier::Safe, &[(at(0, 0, 1), "A"), (at(1, 0, 1), "B")]);
        let done = run(std::slice::from_ref(&both), FixTier::Safe, &["a", "b"]);
        assert_eq!(done.texts[&FileId(0)], "A");
        assert_eq!(done.texts[&FileId(1)], "B");
        let closed = run(std::slice::from_ref(&both), FixTier::Safe, &["a"]);
        assert_eq!(closed.left, [(0, Left::Closed)]);
        assert!(closed.texts.is_empty());
        // The first would spoil a file, so the second, which meets it, has its turn.
        let spoilt = finding(FixTier::Safe, &[(at(0, 0, 1), "X"), (at(1, 0, 1), "!")]);
        let done = run(&[spoilt, both], FixTier::Safe, &["a", "b"]);
        assert_eq!(done.left, [(0, Left::Refused)]);
        assert_eq!(done.texts[&FileId(0)], "A");
    }

    #[test]
    fn a_fix_that_is_refused_takes_no_other_with_it() {
        let list = [
            finding(FixTier::Safe, &[(at(0, 0, 1), "A")]),
            finding(FixTier::Safe, &[(at(0, 2, 3), "!")]),
            finding(FixTier::Safe, &[(at(0, 4, 5), "E")]),
        ];
        let done = run(&list, FixTier::Safe, &["abcde"]);
        assert_eq!(done.applied, [0, 2]);
        assert_eq!(done.left, [(1, Left::Refused)]);
        assert_eq!(done.texts[&FileId(0)], "AbcdE");
    }

    #[test]
    fn edits_outside_the_text_or_across_each_other_are_refused() {
        let list = [
            finding(FixTier::Safe, &[(at(0, 3, 9), "x")]),
            finding(FixTier::Safe, &[(at(0, 1, 2), "x")]),
            finding(FixTier::Safe, &[(at(0, 0, 3), "x"), (at(0, 2, 3), "y")]),
        ];
        let done = run(&list, FixTier::Safe, &["µa"]);
        assert_eq!(done.left.len(), 3, "{done:?}");
        assert!(done.left.iter().all(|l| l.1 == Left::Refused));
    }

    #[test]
    fn hints_are_never_applied_and_equal_edits_count_once() {
        let list = [
            finding(FixTier::ShowOnly, &[(at(0, 0, 1), "A")]),
            finding(FixTier::Safe, &[(at(0, 1, 1), "x")]),
            finding(FixTier::Safe, &[(at(0, 1, 1), "x")]),
        ];
        let done = run(&list, FixTier::ShowOnly, &["ab"]);
        assert_eq!(done.left, [(0, Left::Tier)]);
        assert_eq!(done.applied, [1, 2]);
        assert_eq!(done.texts[&FileId(0)], "axb");
    }

    #[test]
    fn lines_put_in_end_as_those_of_the_text() {
        let e = [Edit {
            place: at(0, 3, 3),
            text: "b\nc\n".to_owned(),
        }];
        assert_eq!(apply("a\r\nd\r\n", &e), "a\r\nb\r\nc\r\nd\r\n");
        assert_eq!(apply("a\n\nd", &e), "a\n\nb\nc\nd");
    }
}
