//! What a run found and computed, in forms that outlive the compiler's own tables.
//!
//! [`outcome`] gathers findings and results of a run with the texts they speak of; [`json`] is the JSON
//! document made from it, whose schema is `schema/report-1.json`; [`page`] holds the reference pages behind
//! `cutwater explain`; [`project_file`] describes `cutwater.toml`; [`sweep`] works out results at several values of an
//! input; [`samples`] writes how results spread over samples.
//!
//! Invariants: the order is that of paths, then of places; nothing depends on the order in which files were
//! named or read, on the number of cores, or on the clock.
//!
//! Not here: the compiler's work, drawing for a terminal, and any writing to files or streams.

pub mod json;
pub mod outcome;
pub mod page;
pub mod project_file;
pub mod reference;
pub mod samples;
pub mod sweep;

pub use json::{Document, FORMAT_VERSION};
pub use outcome::{At, Collector, FileOutcome, Outcome, Source, Summary};
