//! A root's project file and baseline: read, checked, and followed as they change.
//!
//! A change of the project file reaches only its own root, and nothing is evaluated again but what shows numbers
//! in other units. Only where a root begins or ends are all of them made anew.

use super::*;
use crate::convert::severity;
use cutwater_compiler::baseline::Baseline;
use cutwater_compiler::settings;
use cutwater_finding::Finding;
use tower_lsp::ls_types::{DiagnosticRelatedInformation, Location, NumberOrString};

/// What a root's project file says.
#[derive(Default)]
pub(super) struct Loaded {
    pub settings: ProjectSettings,
    /// What is wrong with it.
    pub trouble: Option<(Uri, Vec<Diagnostic>)>,
    pub baseline: Option<Arc<Baseline>>,
    /// Where its baseline is, whether or not it is there.
    pub baseline_path: Option<PathBuf>,
}

impl Session {
    /// A root's settings, from the open document or the disk; what is wrong with them; and its baseline.
    pub(super) fn settings_of(&mut self, dir: &Path) -> Loaded {
        if dir.as_os_str().is_empty() {
            return Loaded::default();
        }
        let path = dir.join(settings::FILE_NAME);
        let key = Key::Path(path.clone());
        let Some(uri) = self
            .docs
            .get(&key)
            .map(|d| d.uri.clone())
            .or_else(|| Uri::from_file_path(&path))
        else {
            return Loaded::default();
        };
        let mut found: Vec<Finding<Span>> = Vec::new();
        let text: Arc<str> = match self.docs.get(&key) {
            Some(d) => Arc::from(d.text.as_str()),
            None => match read_path(&path) {
                At::Text(t) => t,
                At::Missing => return Loaded::default(),
                At::Trouble(t) => {
                    let (code, message, help) = t.describe(settings::FILE_NAME);
                    found.push(Finding::new(code, Span::default(), message).help(help));
                    Arc::from("")
                }
            },
        };
        let read = settings::read(&text).with_folders(|p| dir.join(p).exists());
        found.extend(read.leveled(&read.settings));
        let mut out = Loaded {
            settings: read.settings,
            ..Loaded::default()
        };
        if let Some((rel, origin)) = out.settings.baseline() {
            let file = dir.join(rel.as_str());
            let place = match origin {
                settings::Origin::File(span) => *span,
                _ => Span::default(),
            };
            match baseline(&file, rel) {
                Ok(b) => out.baseline = Some(Arc::new(b)),
                Err(why) => {
                    let code = &settings::SETTINGS_BASELINE;
                    if let Some(level) = out.settings.base().level(code) {
                        let mut f = Finding::new(code, place, why).help(
                            "every finding counts as new meanwhile; `cutwater check --write-baseline` writes it",
                        );
                        f.level = level;
                        found.push(f);
                    }
                }
            }
            out.baseline_path = Some(file);
        }
        if !found.is_empty() {
            let index = LineIndex::new(&text);
            let lines = Lines {
                text: &text,
                index: &index,
                encoding: self.encoding,
            };
            let list = found
                .iter()
                .map(|f| diagnostic(f, lines, &uri, self.can.related))
                .collect();
            out.trouble = Some((uri, list));
        }
        out
    }

    /// A project file changed, in a document or on disk.
    pub(super) fn settings_changed(&mut self, path: &Path) {
        let there = self.docs.contains_key(&Key::Path(path.to_path_buf())) || path.is_file();
        let own = self
            .roots
            .iter()
            .find(|(_, r)| Some(r.dir.as_path()) == path.parent())
            .map(|(id, _)| *id);
        match own {
            Some(id) if there => self.reload_settings(id),
            // A root begins or ends with it.
            _ => self.rescan(),
        }
    }

    /// Whether a path is the baseline of some root; then it is read again.
    pub(super) fn baseline_changed(&mut self, path: &Path) -> bool {
        let ids: Vec<u32> = self
            .roots
            .iter()
            .filter(|(_, r)| r.baseline_path.as_deref() == Some(path))
            .map(|(id, _)| *id)
            .collect();
        for id in &ids {
            self.reload_settings(*id);
        }
        !ids.is_empty()
    }

    /// Reads a root's project file and baseline again.
    fn reload_settings(&mut self, id: u32) {
        let Some(dir) = self.roots.get(&id).map(|r| r.dir.clone()) else {
            return;
        };
        let loaded = self.settings_of(&dir);
        let Some(r) = self.roots.get_mut(&id) else {
            return;
        };
        r.settings_trouble = loaded.trouble;
        r.baseline_path = loaded.baseline_path;
        r.db.set_baseline(loaded.baseline);
        if r.db.set_settings(loaded.settings) {
            r.touch();
        }
        r.unpublished = true;
        self.stale_hints = true;
    }
}

fn baseline(file: &Path, name: &str) -> Result<Baseline, String> {
    match read_path(file) {
        At::Text(t) => {
            Baseline::parse(&t).map_err(|e| format!("`{name}` is no baseline: {}", e.why))
        }
        At::Missing => Err(format!("there is no baseline `{name}`")),
        At::Trouble(t) => Err(t.describe(name).1),
    }
}

/// A finding about the project file as a diagnostic.
fn diagnostic(f: &Finding<Span>, lines: Lines<'_>, uri: &Uri, related: bool) -> Diagnostic {
    let mut message = f.message.clone();
    if let Some(h) = &f.help {
        message.push_str("\nhelp: ");
        message.push_str(h);
    }
    let others: Vec<DiagnosticRelatedInformation> = f
        .labels
        .iter()
        .map(|l| DiagnosticRelatedInformation {
            location: Location::new(uri.clone(), lines.range(l.place)),
            message: l.text.clone(),
        })
        .collect();
    Diagnostic {
        range: lines.range(f.place),
        severity: Some(severity(f.level)),
        code: Some(NumberOrString::String(f.code.id.to_owned())),
        source: Some(SOURCE.to_owned()),
        message,
        related_information: (related && !others.is_empty()).then_some(others),
        ..Diagnostic::default()
    }
}
