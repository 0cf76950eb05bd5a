//! The real server, spoken to over its real standard input and output.

mod actions;
mod client;
mod edits;
mod life;
mod queries;
mod settings;
mod workspace;
