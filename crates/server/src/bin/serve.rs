//! The server alone: what the language server command of `cutwater` runs. The tests of this crate speak to it.

fn main() {
    std::process::exit(cutwater_server::run_stdio());
}
