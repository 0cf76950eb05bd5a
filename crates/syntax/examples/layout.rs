//! Prints a file in the canonical layout.
#[allow(clippy::print_stdout)]
fn main() {
    let text = std::fs::read_to_string(std::env::args().nth(1).unwrap_or_default()).unwrap_or_default();
    let f = cutwater_syntax::format(&text);
    print!("{f}");
    assert_eq!(cutwater_syntax::format(&f), f, "not idempotent");
}
