//! x
#[allow(clippy::print_stdout)]
fn main() {
    let good = std::fs::read_to_string("crates/syntax/tests/data/every_construct.pump").unwrap_or_default();
    for double in [false, true] {
        for r in cutwater_syntax::token::lex(&good) {
            if r.kind.is_trivia() { continue; }
            let mut t = good.clone();
            let tok = r.span.slice(&good);
            if double { t.insert_str(r.span.end as usize, &format!(" {tok}")); } else { t.replace_range(r.span.range(), ""); }
            let line = good[..r.span.start as usize].matches('\n').count();
            println!("{} `{tok}`: {}", if double {"TWICE"} else {"WITHOUT"}, t.lines().nth(line).unwrap_or("").trim());
            let mut any = false;
            for c in cutwater_syntax::split::split(&t) {
                let s = c.span.slice(&t);
                for e in cutwater_syntax::parse_chunk(s).errors {
                    any = true;
                    println!("      [{}] {} {}", e.span.slice(s), e.message, e.help.unwrap_or_default());
                }
            }
            if !any { println!("      ok"); }
        }
    }
}
