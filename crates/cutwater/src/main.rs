//! The cutwater command: checks, solves and formats pump specs.
fn main() {}
