//! Standard output, and standard error where that holds something else: a reader who leaves early is no error.

use crate::args::Color;
use crate::failure::{Failure, no_color};
use crate::render::Style;
use std::io::{ErrorKind, IsTerminal, Write};

/// What goes to standard output, or beside it.
pub struct Output {
    style: Style,
    /// Goes to standard error.
    aside: bool,
    /// Set when the reader is gone, or with why writing failed.
    ended: Option<Option<String>>,
}

impl Output {
    /// Standard output, coloured as asked.
    pub fn new(color: Color) -> Self {
        Self::to(color, false, std::io::stdout().is_terminal())
    }

    /// Standard error, coloured as asked: for a report while standard output holds a spec.
    pub fn aside(color: Color) -> Self {
        Self::to(color, true, std::io::stderr().is_terminal())
    }

    fn to(color: Color, aside: bool, terminal: bool) -> Self {
        let color = match color {
            Color::Always => true,
            Color::Never => false,
            Color::Auto => terminal && !no_color(),
        };
        Self {
            style: Style { color },
            aside,
            ended: None,
        }
    }

    /// How text is drawn on it.
    pub fn style(&self) -> Style {
        self.style
    }

    /// Writes a text.
    pub fn write(&mut self, text: &str) {
        if self.ended.is_none() && !text.is_empty() {
            let mut out: Box<dyn Write> = if self.aside {
                Box::new(std::io::stderr().lock())
            } else {
                Box::new(std::io::stdout().lock())
            };
            if let Err(e) = out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
                self.ended = Some((e.kind() != ErrorKind::BrokenPipe).then(|| e.to_string()));
            }
        }
    }

    /// Ends the output.
    ///
    /// # Errors
    /// Where writing failed, but not where the reader left (`| head`).
    pub fn finish(self) -> Result<(), Failure> {
        match self.ended {
            Some(Some(why)) => Err(Failure::new(format!(
                "standard {} could not be written: {why}",
                if self.aside { "error" } else { "output" }
            ))),
            _ => Ok(()),
        }
    }
}
