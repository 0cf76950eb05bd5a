//! Code actions: the fixes of findings.
//!
//! Which fixes there are is taken from the compiler each time, never from the diagnostics a client sends along: those may be of
//! an older text. Edits are made by `cutwater-editor`, as those of the command line are. A client that can
//! asks for them later (`codeAction/resolve`); if the text has changed by then, it is told so and nothing is edited.

use crate::session::{ClientCan, Here};
use cutwater_compiler::{Found, Standing};
use cutwater_editor::{self as editor, TextEdit as Edit};
use cutwater_finding::{FileId, Finding, FixTier, Place};
use serde::{Deserialize, Serialize};
use serde_json::json;
use std::collections::HashMap;
use tower_lsp::ls_types::{
    CodeAction, CodeActionKind, CodeActionOrCommand, DocumentChanges, OneOf,
    OptionalVersionedTextDocumentIdentifier, Range, TextDocumentEdit, TextEdit, Uri, WorkspaceEdit,
};

/// The kind under which all safe fixes of a file are offered as one.
pub(crate) fn fix_all() -> CodeActionKind {
    CodeActionKind::from("source.fixAll.cutwater".to_owned())
}

/// What an action is known by until its edits are asked for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Wanted {
    /// The document.
    pub uri: Uri,
    /// Its version when the action was offered; none where it is not open.
    version: Option<i32>,
    /// The finding; none for all safe fixes of the file.
    finding: Option<Known>,
}

/// What a finding is known by as long as its text is the same.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Known {
    code: String,
    start: u32,
    end: u32,
    message: String,
}

impl Known {
    fn of(f: &Finding<Place>) -> Self {
        Self {
            code: f.code.id.to_owned(),
            start: f.place.span.start,
            end: f.place.span.end,
            message: f.message.clone(),
        }
    }
}

/// Whether a client that asks for these kinds wants this one: kinds are dotted, a shorter one covers longer ones, and the
/// empty one all.
fn wanted(only: Option<&[CodeActionKind]>, kind: &CodeActionKind) -> bool {
    only.is_none_or(|list| {
        list.iter().any(|k| {
            k.as_str().is_empty()
                || kind.as_str() == k.as_str()
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
    uri: &Uri,
    range: Range,
    only: Option<&[CodeActionKind]>,
    can: ClientCan,
) -> Vec<CodeActionOrCommand> {
    if !can.literal_actions {
        // It knows commands alone, and there are none.
        return Vec::new();
    }
    let span = here.lines(|l| l.span(range));
    let mut findings = here.db.found(here.file);
    findings.retain(|f| !matches!(f.standing, Standing::Accepted(_)));
    let mut out = Vec::new();
    let mut offer = |title: String,
                     kind: CodeActionKind,
                     about: Option<&Found>,
                     preferred: Option<bool>,
                     edits: &dyn Fn() -> Option<WorkspaceEdit>| {
        let (edit, data) = if can.lazy_edits {
            let data = Wanted {
                uri: uri.clone(),
                version: here.version(here.file),
                finding: about.map(|f| Known::of(&f.finding)),
            };
            (None, Some(json!(data)))
        } else {
            match edits() {
                Some(e) => (Some(e), None),
                None => return,
            }
        };
        out.push(CodeActionOrCommand::CodeAction(CodeAction {
            title,
            kind: Some(kind),
            diagnostics: about.map(|f| vec![here.converter(|c| c.shown(f))]),
            edit,
            data,
            is_preferred: preferred,
            ..CodeAction::default()
        }));
    };
    if wanted(only, &CodeActionKind::QUICKFIX) {
        for found in &findings {
            let f = &found.finding;
            let at = f.place.span;
            if at.start > span.end || span.start > at.end {
                continue;
            }
            let Some(fix) = f.fix.as_ref().filter(|x| x.tier != FixTier::ShowOnly) else {
                continue;
            };
            offer(
                capital(&fix.title),
                CodeActionKind::QUICKFIX,
                Some(found),
                Some(fix.tier == FixTier::Safe),
                &|| edit(here, editor::fix_of(here.db, f)?, can),
            );
        }
    }
    let safe = |f: &Found| {
        f.finding
            .fix
            .as_ref()
            .is_some_and(|x| x.tier == FixTier::Safe)
    };
    if only.is_some() && wanted(only, &fix_all()) && findings.iter().any(safe) {
        offer(
            "Apply all safe fixes".to_owned(),
            fix_all(),
            None,
            None,
            &|| all(here, can),
        );
    }
    out
}

/// The edits of an action that was offered; `None` where the text is not any more what it was offered for.
pub(crate) fn resolve(here: &Here<'_>, asked: &Wanted, can: ClientCan) -> Option<WorkspaceEdit> {
    if here.version(here.file) != asked.version {
        return None;
    }
    match &asked.finding {
        None => all(here, can),
        Some(known) => {
            let findings = here.db.findings(here.file);
            let f = findings.iter().find(|f| Known::of(f) == *known)?;
            edit(here, editor::fix_of(here.db, f)?, can)
        }
    }
}

fn all(here: &Here<'_>, can: ClientCan) -> Option<WorkspaceEdit> {
    let edits = editor::fix_file(here.db, here.file);
    if edits.is_empty() {
        return None;
    }
    edit(here, vec![(here.file, edits)], can)
}

/// Edits by file in the form the client takes; `None` where one of the files has no URI.
fn edit(here: &Here<'_>, files: Vec<(FileId, Vec<Edit>)>, can: ClientCan) -> Option<WorkspaceEdit> {
    let mut changes: HashMap<Uri, Vec<TextEdit>> = HashMap::new();
    let mut versioned = Vec::new();
    for (file, edits) in files {
        let edits: Vec<(Uri, TextEdit)> = here.converter(|c| {
            edits
                .into_iter()
                .map(|e| {
                    let at = c.location(Place { file, span: e.span })?;
                    Some((at.uri, TextEdit::new(at.range, e.text)))
                })
                .collect::<Option<_>>()
        })?;
        let Some((uri, _)) = edits.first().cloned() else {
            continue;
        };
        let edits: Vec<TextEdit> = edits.into_iter().map(|e| e.1).collect();
        if can.versioned_edits {
            versioned.push(TextDocumentEdit {
                text_document: OptionalVersionedTextDocumentIdentifier {
                    uri,
                    version: here.version(file),
                },
                edits: edits.into_iter().map(OneOf::Left).collect(),
            });
        } else {
            changes.entry(uri).or_default().extend(edits);
        }
    }
    Some(if can.versioned_edits {
        WorkspaceEdit {
            document_changes: Some(DocumentChanges::Edits(versioned)),
            ..WorkspaceEdit::default()
        }
    } else {
        WorkspaceEdit::new(changes)
    })
}

fn capital(title: &str) -> String {
    let mut c = title.chars();
    match c.next() {
        Some(first) => first.to_uppercase().chain(c).collect(),
        None => String::new(),
    }
}
