//! Prints the findings and the values of files: a debugging aid.
use cutwater_compiler::{Db, schema::Slot};
#[allow(clippy::print_stdout)]
fn main() {
    let mut db = Db::default();
    for p in std::env::args().skip(1) {
        let text = std::fs::read_to_string(&p).unwrap_or_default();
        db.set_file(&p, text);
    }
    db.settle(true, None).ok();
    let files: Vec<_> = db.files().collect();
    for f in files {
        for x in db.findings(f) {
            let p = db.lines(f).position(
                db.text(f),
                x.place.span.start as usize,
                cutwater_text::Encoding::Utf32,
            );
            println!(
                "{}:{}:{} {}[{}] {}",
                db.path(f),
                p.line + 1,
                p.column + 1,
                x.level,
                x.code.id,
                x.message
            );
            if let Some(h) = &x.help {
                println!("    help: {h}");
            }
            for l in &x.labels {
                println!("    at {:?}: {}", l.place.span, l.text);
            }
        }
        for d in db.decls(f).to_vec() {
            let Some((_, slots)) = db.kind(d) else {
                continue;
            };
            for (k, (name, slot)) in slots.list.iter().enumerate() {
                if let Slot::Computed(_) = slot
                    && let Some(v) = db.settled(d, k as u16)
                {
                    println!(
                        "  {}.{name} = {}",
                        db.name(d).map_or("-", |n| n.as_str()),
                        match v.quantity() {
                            Some(q) => format!(
                                "{} [{}]",
                                cutwater_compiler::show::with_limits(q, db.settings()),
                                q.origin.word()
                            ),
                            None => format!("{v:?}"),
                        }
                    );
                }
            }
        }
    }
}
