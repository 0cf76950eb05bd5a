//! Parse, check and edit times of the compiler on generated files. Run with `cargo bench -p cutwater-compiler`.

use criterion::{BatchSize, Criterion, Throughput, criterion_group, criterion_main};
use cutwater_compiler::Db;
use cutwater_compiler::hydraulic::sample::{Distribution, Plan, sample};
use std::fmt::Write;
use std::hint::black_box;
use std::sync::atomic::AtomicBool;

/// A file of about `lines` lines: impellers, rings, requirements; every fortieth block a pump with a solved duty.
fn spec(lines: usize) -> String {
    let mut t = String::from("site  { altitude = 820 ft }\nwater { temperature = 62 degF }\n\n");
    let mut n = 3;
    let mut k = 0;
    while n < lines {
        let before = t.len();
        if k % 8 == 7 {
            let _ = write!(
                t,
                "pump p{k} {{\n    rating = 1250 gpm at 150 psi\n    stages = [w{j}]\n    rings  = [r{j}]\n    curve at 3300 rpm (flow gpm, net psi, power hp, npshr ft) {{\n           0  231   52   6.1\n         625  222  118   8.1\n        1250  176  170  14.9\n        1500  141  181  20.2\n    }}\n}}\nsupply s{k} {{\n    draft {{\n        lift     = 9 ft\n        suction  = 20 ft of std.suction_6\n        strainer = std.barrel_6\n    }}\n}}\nlay l{k} {{\n    p{k}.discharge -> 200 ft of std.supply_3 -> y: std.gated_wye\n    y -> 150 ft of std.attack_1_3_4 -> left: std.fog_150_100\n    y -> 150 ft of std.attack_1_3_4 -> right: std.fog_150_100\n}}\nduty d{k} {{\n    supply = s{k}\n    lay    = l{k}\n    hold left.pressure = 100 psi\n}}\nrequire d{k}.right.flow >= 145 gpm\n\n",
                j = k - 1
            );
        } else {
            let _ = write!(
                t,
                "/// Wheel {k}.\nimpeller w{k} {{\n    outside_diameter = 9.250 in ± 0.004\n    hub_diameter     = 5.4970 in (+0.0000/-0.0010)\n    exit_width       = 0.86 in\n    vanes            = 5\n    mass             = 17.2 lb\n}}\nring r{k} {{\n    runs_on         = w{k}.hub_diameter\n    bore            = 5.502 in ± 0.0005\n    land_length     = 0.75 in\n    clearance_limit = 0.003 .. 0.007 in\n}}\nrequire r{k}.bore - w{k}.hub_diameter within 0.003 .. 0.007 in\n\n"
            );
        }
        n += t[before..].matches('\n').count();
        k += 1;
    }
    t
}

fn edit(db: &mut Db, text: &str, digit: char, solve: bool) {
    let at = text.len() / 2;
    let at = at + text[at..].find("5.502 in").unwrap_or(0) + 4;
    let mut t = text.to_owned();
    t.replace_range(at..at + 1, &digit.to_string());
    let file = db.set_file("a.pump", t);
    let _ = db.settle(solve, None);
    black_box(db.findings(file));
}

fn benches(c: &mut Criterion) {
    let mut g = c.benchmark_group("cold");
    g.sample_size(20);
    for lines in [100, 2_000, 20_000] {
        let text = spec(lines);
        g.throughput(Throughput::Bytes(text.len() as u64));
        g.bench_function(format!("check {lines} lines"), |b| {
            b.iter_batched(
                Db::default,
                |mut db| {
                    let file = db.set_file("a.pump", text.as_str());
                    let _ = db.settle(true, None);
                    black_box(db.findings(file));
                    db
                },
                BatchSize::LargeInput,
            );
        });
    }
    g.finish();
    let mut g = c.benchmark_group("edit");
    for lines in [100, 2_000, 20_000] {
        let text = spec(lines);
        for (name, solve) in [("findings", false), ("and duties", true)] {
            let mut db = Db::default();
            db.set_file("a.pump", text.as_str());
            let _ = db.settle(true, None);
            let mut k = 0u32;
            g.bench_function(format!("{name} {lines} lines"), |b| {
                b.iter(|| {
                    k += 1;
                    edit(
                        &mut db,
                        &text,
                        char::from_digit(k % 10, 10).unwrap_or('2'),
                        solve,
                    );
                });
            });
        }
        // The edit that moves a duty: a pump's curve.
        let mut db = Db::default();
        db.set_file("a.pump", text.as_str());
        let _ = db.settle(true, None);
        let mut k = 0u32;
        g.bench_function(format!("solved duty {lines} lines"), |b| {
            b.iter(|| {
                k += 1;
                let t = text.replacen("1250  176", &format!("1250  {}", 170 + k % 9), 1);
                let file = db.set_file("a.pump", t);
                let _ = db.settle(true, None);
                black_box(db.findings(file));
            });
        });
    }
    g.finish();
    // The demo's main duty with its tolerances, all cores.
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo-data");
    let mut db = Db::default();
    let read = |path: &str| std::fs::read_to_string(format!("{root}/{path}")).unwrap_or_default();
    let file = db.set_file("rigs/engine_1.pump", read("rigs/engine_1.pump"));
    db.load_used(&cutwater_compiler::world::Disk::new(std::path::Path::new(
        root,
    )));
    let _ = db.settle(true, None);
    let mut g = c.benchmark_group("samples");
    g.sample_size(10);
    if let Some(duty) = db.lookup(file, "attack") {
        let plan = Plan {
            samples: 10_000,
            seed: 1,
            distribution: Distribution::Even,
        };
        g.throughput(Throughput::Elements(plan.samples));
        g.bench_function("10 000 of the demo's attack", |b| {
            b.iter(|| {
                black_box(sample(
                    &mut db,
                    duty,
                    plan,
                    &|_| {},
                    &AtomicBool::new(false),
                ))
            });
        });
    }
    g.finish();
    c.bench_function("start: the standard library, unread", |b| {
        b.iter(|| black_box(Db::default()))
    });
}

criterion_group!(all, benches);
criterion_main!(all);
