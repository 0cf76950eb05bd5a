//! Code actions: the fixes of findings.

use crate::convert::Mend;
use crate::session::Here;
use cutwater_compiler::Standing;
use cutwater_finding::FixTier;
use cutwater_text::Span;
use std::collections::HashMap;
use tower_lsp::ls_types::{
    CodeAction, CodeActionKind, CodeActionOrCommand, Range, TextEdit, Uri, WorkspaceEdit,
};

/// The kind under which all safe fixes of a file are offered as one.
pub(crate) fn fix_all() -> CodeActionKind {
    CodeActionKind::from("source.fixAll.cutwater".to_owned())
}

/// Whether a client that asks for these kinds wants this one: kinds are dotted, and a shorter one covers longer ones.
fn wanted(only: Option<&[CodeActionKind]>, kind: &CodeActionKind) -> bool {
    only.is_none_or(|list| {
        list.iter().any(|k| {
            kind.as_str() == k.as_str()
                || kind
                    .as_str()
                    .strip_prefix(k.as_str())
                    .is_some_and(|rest| rest.starts_with('.'))
        })
    })
}

/// The fixes of the findings that touch a range; and, where asked for by name, all safe ones of the file as one.
pub(crate) fn actions(
    here: &Here<'_>,
    range: Range,
    only: Option<&[CodeActionKind]>,
) -> Vec<CodeActionOrCommand> {
    let span = here.lines(|l| l.span(range));
    let mut findings = here.db.found(here.file);
    findings.retain(|f| !matches!(f.standing, Standing::Accepted(_)));
    let mut out = Vec::new();
    here.converter(|c| {
        if wanted(only, &CodeActionKind::QUICKFIX) {
            for f in &findings {
                let at = f.finding.place.span;
                if at.start > span.end || span.start > at.end {
                    continue;
                }
                let Some(Mend { title, tier, edits }) = c.fix(&f.finding) else {
                    continue;
                };
                out.push(CodeActionOrCommand::CodeAction(CodeAction {
                    title: capital(&title),
                    kind: Some(CodeActionKind::QUICKFIX),
                    diagnostics: Some(vec![c.shown(f)]),
                    edit: Some(edit(edits)),
                    is_preferred: Some(tier == FixTier::Safe),
                    ..CodeAction::default()
                }));
            }
        }
        if only.is_some() && wanted(only, &fix_all()) {
            // In order, and apart from each other: what overlaps waits for the next round.
            let mut taken: Vec<Span> = Vec::new();
            let mut all = Vec::new();
            for f in findings.iter().map(|f| &f.finding) {
                let Some(fix) = f.fix.as_ref().filter(|x| x.tier == FixTier::Safe) else {
                    continue;
                };
                let spans: Vec<Span> = fix.edits.iter().map(|e| e.place.span).collect();
                let own = fix.edits.iter().all(|e| e.place.file == here.file);
                let free = spans
                    .iter()
                    .all(|s| taken.iter().all(|t| s.end < t.start || t.end < s.start));
                if own
                    && free
                    && let Some(mend) = c.fix(f)
                {
                    taken.extend(spans);
                    all.extend(mend.edits);
                }
            }
            if !all.is_empty() {
                out.push(CodeActionOrCommand::CodeAction(CodeAction {
                    title: "Apply all safe fixes".to_owned(),
                    kind: Some(fix_all()),
                    edit: Some(edit(all)),
                    ..CodeAction::default()
                }));
            }
        }
    });
    out
}

fn edit(edits: Vec<(Uri, TextEdit)>) -> WorkspaceEdit {
    let mut changes: HashMap<Uri, Vec<TextEdit>> = HashMap::new();
    for (uri, e) in edits {
        changes.entry(uri).or_default().push(e);
    }
    WorkspaceEdit::new(changes)
}

fn capital(title: &str) -> String {
    let mut c = title.chars();
    match c.next() {
        Some(first) => first.to_uppercase().chain(c).collect(),
        None => String::new(),
    }
}
