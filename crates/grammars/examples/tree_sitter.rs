//! Makes the tree-sitter parser from `grammar/tree-sitter/grammar.js`; needs Node, for that file is JavaScript.
//!
//! `cargo run -p cutwater-grammars --example tree_sitter` renews what is generated; with `--check` it only says what is
//! behind, and ends with 1 where something is; with `--library FILE` it compiles the parser for an editor.

#[path = "../tests/support/mod.rs"]
mod support;

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let done = match arguments.as_slice() {
        [] => support::renew_from_js(),
        ["--check"] => support::check_js(),
        ["--library", file] => support::library(Path::new(file)),
        _ => Err("usage: tree_sitter [--check | --library FILE]".to_owned()),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            let _ = writeln!(std::io::stderr(), "{why}");
            ExitCode::FAILURE
        }
    }
}
