//! What an editor asks of a workspace, in byte offsets and strings.
//!
//! One file for each query; each takes a [`cutwater_compiler::Db`], a file and perhaps an offset, and gives plain data. No
//! protocol type is known here: the server turns offsets into the client's positions. Queries look at what is
//! settled already and never solve, so they are quick even while a duty is still being worked out; what is not
//! settled is left out.
//!
//! No query trusts its offset: one outside the text is taken as its end.

pub mod at;
pub mod completion;
pub mod definition;
pub mod fixes;
pub mod format;
pub mod hints;
pub mod hover;
pub mod symbols;

pub use completion::{Completion, CompletionKind, completions};
pub use definition::definition;
pub use fixes::{Applied, MOST_ROUNDS, Mended, fix_file, fix_of, mend};
pub use format::{TextEdit, format_edits, format_range};
pub use hints::{Hint, HintKind, hints};
pub use hover::{Hover, hover};
pub use symbols::{Symbol, SymbolKind, symbols};
