//! Why the work could not be done: shown on standard error with `miette`, and the exit code is 2.
//!
//! A user's mistake in a spec is a finding, not a failure.

use miette::{
    Diagnostic, GraphicalReportHandler, GraphicalTheme, NamedSource, SourceCode, SourceSpan,
};
use std::fmt;
use std::io::{IsTerminal, Write};
use std::ops::Range;

/// What kept the tool from its work.
#[derive(Debug)]
pub struct Failure {
    message: String,
    help: Option<String>,
    place: Option<(NamedSource<String>, SourceSpan)>,
}

impl Failure {
    /// A failure in one line.
    pub fn new(message: impl Into<String>) -> Self {
        Self {
            message: message.into(),
            help: None,
            place: None,
        }
    }

    /// How to mend it.
    #[must_use]
    pub fn help(mut self, text: impl Into<String>) -> Self {
        self.help = Some(text.into());
        self
    }

    /// Where in which text.
    #[must_use]
    pub fn at(mut self, name: &str, text: &str, span: Range<usize>) -> Self {
        let start = span.start.min(text.len());
        let len = span.end.min(text.len()).saturating_sub(start);
        self.place = Some((
            NamedSource::new(name, text.to_owned()),
            SourceSpan::from((start, len)),
        ));
        self
    }

    /// Shows it on standard error.
    pub fn show(&self) {
        let err = std::io::stderr();
        let plain = !err.is_terminal() || no_color();
        let theme = if plain {
            GraphicalTheme::unicode_nocolor()
        } else {
            GraphicalTheme::unicode()
        };
        let mut text = String::new();
        let handler = GraphicalReportHandler::new_themed(theme)
            .with_links(false)
            .with_wrap_lines(false);
        if handler.render_report(&mut text, self).is_err() {
            text = format!("{self}\n");
        }
        // When standard error itself is gone there is nobody left to tell.
        let _ = err.lock().write_all(text.as_bytes());
    }
}

/// Whether the user wants no colour anywhere (no-color.org: set and not empty).
pub fn no_color() -> bool {
    std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty())
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Failure {}

impl Diagnostic for Failure {
    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        self.help
            .as_ref()
            .map(|h| Box::new(h) as Box<dyn fmt::Display>)
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.place.as_ref().map(|p| &p.0 as &dyn SourceCode)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = miette::LabeledSpan> + '_>> {
        let span = self.place.as_ref()?.1;
        Some(Box::new(std::iter::once(miette::LabeledSpan::underline(
            span,
        ))))
    }
}
