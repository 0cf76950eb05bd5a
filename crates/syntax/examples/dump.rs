//! Prints the tree and the syntax errors of a file.
use cutwater_syntax::{parse_chunk, split::split};
#[allow(clippy::print_stdout)]
fn main() {
    let text = std::fs::read_to_string(std::env::args().nth(1).unwrap_or_default()).unwrap_or_default();
    let v = std::env::args().nth(2).is_some();
    for c in split(&text) {
        let t = c.span.slice(&text);
        let p = parse_chunk(t);
        println!("--- {:?} strong={} errors={}", c.span, c.strong, p.errors.len());
        if v { println!("{:#?}", p.item); }
        for e in &p.errors {
            println!("  {:?} [{}] {} | {:?} {:?}", e.span, e.span.slice(t), e.message, e.help, e.fix);
        }
    }
}
