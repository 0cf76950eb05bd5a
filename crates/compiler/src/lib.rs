//! The compiler: from the texts of a workspace to findings and results.
//!
//! The life of an edit: [`Db::set_file`] cuts the new text into chunks and parses those that changed
//! (`cutwater-syntax`); what may depend on them is marked; [`Db::settle`] evaluates again just that
//! ([`slots`], [`eval`]), first what needs no solved duty, then the duties ([`hydraulic`]);
//! [`Db::findings`] gives what was found, in places of files.
//!
//! Kinds, fields and computed properties are defined once, in [`schema`] and [`kinds`]. The compiler never
//! prints and never reads files: its host gives it texts.

mod accept;
pub mod baseline;
pub mod budget;
mod check;
pub mod codes;
mod db;
pub mod eval;
pub mod found;
pub mod hydraulic;
pub mod kinds;
pub mod library;
mod mend;
pub mod paths;
mod remedy;
pub mod results;
mod reuse;
pub mod schema;
pub mod settings;
pub mod show;
pub mod slots;
pub mod value;
pub mod vary;
pub mod world;

/// Tolerance classes, for those who show them.
pub use cutwater_mechanics::iso286;
pub use db::{Cx, Db, DeclId, Eval, FileTrouble, Halt, Local, MAX_FILE};
pub use found::{Acceptance, Found, Standing};
pub use settings::{ProjectSettings, Settings};
