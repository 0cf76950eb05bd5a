//! `cutwater explain`: reference pages, offline.

use crate::args::{Color, Explain, PageFormat};
use crate::exit;
use crate::failure::Failure;
use crate::output::Output;
use cutwater_report::page;

/// Runs the command.
///
/// # Errors
/// There is no page on the topic.
pub fn run(a: &Explain) -> Result<u8, Failure> {
    let found = match &a.topic {
        None => page::findings(),
        Some(topic) => page::find(topic.trim()).map_err(|near| {
            let f = Failure::new(format!("there is no page on `{topic}`"));
            match near.first() {
                Some(_) => f.help(format!(
                    "did you mean {}?",
                    near.iter()
                        .map(|n| format!("`{n}`"))
                        .collect::<Vec<_>>()
                        .join(" or ")
                )),
                None => f.help(
                    "a topic is a finding's code or name, a kind, a field (ring.bore), a word such as like, a function or a unit; `cutwater explain` lists them",
                ),
            }
        })?,
    };
    let text = match a.format {
        PageFormat::Text => found.text(),
        PageFormat::Json => {
            serde_json::to_string_pretty(&found)
                .map_err(|e| Failure::new(format!("the JSON document could not be made: {e}")))?
                + "\n"
        }
    };
    let mut out = Output::new(Color::Never);
    out.write(&text);
    out.finish()?;
    Ok(exit::CLEAN)
}
