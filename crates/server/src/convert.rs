//! From the compiler's places and findings to the protocol's, and back.

use cutwater_compiler::{Db, Found, Standing};
use cutwater_finding::{FileId, Finding, FixTier, Level, Place};
use cutwater_text::{Encoding, LineIndex, Position as Pos, Span};
use serde_json::json;
use tower_lsp::ls_types::{
    Diagnostic, DiagnosticRelatedInformation, DiagnosticSeverity, Location, NumberOrString,
    Position, PositionEncodingKind, Range, TextEdit, Uri,
};

/// Most findings sent for one file; a last line says how many more there are.
pub(crate) const MOST_FINDINGS: usize = 2000;

/// The name under which findings are shown.
pub(crate) const SOURCE: &str = "cutwater";

/// The encoding to use with a client that offers these: bytes where it can, as they cost nothing; else UTF-16,
/// which every client must know.
pub(crate) fn choose(offered: Option<&[PositionEncodingKind]>) -> (Encoding, PositionEncodingKind) {
    let offered = offered.unwrap_or_default();
    let has = |k: &PositionEncodingKind| offered.contains(k);
    if has(&PositionEncodingKind::UTF8) {
        (Encoding::Utf8, PositionEncodingKind::UTF8)
    } else if has(&PositionEncodingKind::UTF16) || !has(&PositionEncodingKind::UTF32) {
        (Encoding::Utf16, PositionEncodingKind::UTF16)
    } else {
        (Encoding::Utf32, PositionEncodingKind::UTF32)
    }
}

/// A text with what is needed to turn its offsets into positions.
#[derive(Clone, Copy)]
pub(crate) struct Lines<'t> {
    pub text: &'t str,
    pub index: &'t LineIndex,
    pub encoding: Encoding,
}

impl Lines<'_> {
    /// Offset to position.
    pub fn position(self, offset: usize) -> Position {
        let p = self.index.position(self.text, offset, self.encoding);
        Position::new(p.line, p.column)
    }

    /// Span to range.
    pub fn range(self, span: Span) -> Range {
        Range::new(
            self.position(span.start as usize),
            self.position(span.end as usize),
        )
    }

    /// Position to offset, clamped to the text.
    pub fn offset(self, p: Position) -> usize {
        let pos = Pos {
            line: p.line,
            column: p.character,
        };
        self.index.offset(self.text, pos, self.encoding)
    }

    /// Range to span, clamped; an inverted range is turned round.
    pub fn span(self, r: Range) -> Span {
        let (a, b) = (self.offset(r.start), self.offset(r.end));
        Span::new(a.min(b), a.max(b))
    }
}

/// A level as the protocol knows it.
pub(crate) fn severity(level: Level) -> DiagnosticSeverity {
    match level {
        Level::Error => DiagnosticSeverity::ERROR,
        Level::Warning => DiagnosticSeverity::WARNING,
        Level::Advice => DiagnosticSeverity::INFORMATION,
    }
}

/// A fix in the protocol's places.
pub(crate) struct Mend {
    /// What it does.
    pub title: String,
    /// How far it may be trusted.
    pub tier: FixTier,
    /// Its edits, by file.
    pub edits: Vec<(Uri, TextEdit)>,
}

/// What turns a file's findings into diagnostics.
pub(crate) struct Converter<'a> {
    pub db: &'a Db,
    pub encoding: Encoding,
    /// The client shows related places.
    pub related: bool,
    /// The URI of a file of `db`.
    pub uri: &'a dyn Fn(FileId) -> Option<Uri>,
}

impl Converter<'_> {
    /// The range of a place.
    pub fn range(&self, p: Place) -> Range {
        let index = self.db.lines(p.file);
        Lines {
            text: self.db.text(p.file),
            index: &index,
            encoding: self.encoding,
        }
        .range(p.span)
    }

    /// The location of a place; `None` where its file has no URI.
    pub fn location(&self, p: Place) -> Option<Location> {
        Some(Location::new((self.uri)(p.file)?, self.range(p)))
    }

    /// The edits of a finding's fix, by file; `None` where it has none that can be applied.
    pub fn fix(&self, f: &Finding<Place>) -> Option<Mend> {
        let fix = f.fix.as_ref().filter(|x| x.tier != FixTier::ShowOnly)?;
        let edits = fix
            .edits
            .iter()
            .map(|e| {
                let at = self.location(e.place)?;
                Some((at.uri, TextEdit::new(at.range, e.text.clone())))
            })
            .collect::<Option<Vec<_>>>()?;
        Some(Mend {
            title: fix.title.clone(),
            tier: fix.tier,
            edits,
        })
    }

    /// A finding as a diagnostic.
    fn diagnostic(&self, f: &Finding<Place>) -> Diagnostic {
        let mut message = f.message.clone();
        if let Some(h) = &f.help {
            message.push_str("\nhelp: ");
            message.push_str(h);
        }
        if let Some(s) = &f.source {
            message.push_str("\nlimit from: ");
            message.push_str(s);
        }
        let related: Vec<DiagnosticRelatedInformation> = if self.related {
            f.labels
                .iter()
                .filter_map(|l| {
                    Some(DiagnosticRelatedInformation {
                        location: self.location(l.place)?,
                        message: l.text.clone(),
                    })
                })
                .collect()
        } else {
            Vec::new()
        };
        let fix = self.fix(f).map(|Mend { title, tier, edits }| {
            let edits: Vec<_> = edits
                .into_iter()
                .map(|(uri, e)| json!({ "uri": uri, "range": e.range, "newText": e.new_text }))
                .collect();
            json!({ "title": title, "safe": tier == FixTier::Safe, "edits": edits })
        });
        let mut data = json!({ "name": f.code.name });
        if let Some(fix) = fix {
            data["fix"] = fix;
        }
        Diagnostic {
            range: self.range(f.place),
            severity: Some(severity(f.level)),
            code: Some(NumberOrString::String(f.code.id.to_owned())),
            source: Some(SOURCE.to_owned()),
            message,
            related_information: (!related.is_empty()).then_some(related),
            data: Some(data),
            ..Diagnostic::default()
        }
    }

    /// A finding as it is shown: a known one as a hint.
    pub fn shown(&self, f: &Found) -> Diagnostic {
        let mut d = self.diagnostic(&f.finding);
        if f.standing == Standing::Known {
            d.severity = Some(DiagnosticSeverity::HINT);
            d.message = format!("known: {}", d.message);
        }
        d
    }

    /// The diagnostics of a file: what counts, and as hints what the baseline knows. Someone who works on an old
    /// spec should see what is known there, without its hiding what is new.
    pub fn diagnostics(&self, file: FileId) -> Vec<Diagnostic> {
        let mut findings = self.db.found(file);
        findings.retain(|f| !matches!(f.standing, Standing::Accepted(_)));
        let mut out: Vec<Diagnostic> = findings
            .iter()
            .take(MOST_FINDINGS)
            .map(|f| self.shown(f))
            .collect();
        if findings.len() > MOST_FINDINGS {
            out.push(Diagnostic {
                range: Range::default(),
                severity: Some(DiagnosticSeverity::INFORMATION),
                source: Some(SOURCE.to_owned()),
                message: format!(
                    "{} more findings are not shown; `cutwater check` lists them all",
                    findings.len() - MOST_FINDINGS
                ),
                ..Diagnostic::default()
            });
        }
        out
    }
}
