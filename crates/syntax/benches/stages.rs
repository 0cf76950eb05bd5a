//! Bytes in a second for each stage, on a generated file of about one megabyte that reads like real specs.
//!
//! All numbers in the generated file are invented.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use cutwater_syntax::split::split;
use cutwater_syntax::token::lex;
use cutwater_syntax::{format, parse_chunk};
use std::fmt::Write as _;
use std::hint::black_box;

fn spec(bytes: usize) -> String {
    let mut out =
        String::from("//! A fleet of invented pumps.\nuse \"parts/hose.pump\" as stock\n\n");
    let mut n = 0usize;
    while out.len() < bytes {
        n += 1;
        let d = 9.0 + (n % 37) as f64 / 16.0;
        let _ = write!(
            out,
            "/// Closed impeller {n}, five vanes.\n\
             impeller wheel_{n} {{\n    outside_diameter = {d:.3} in ± 0.004\n    hub_diameter     = 5.4970 in (+0.0000/-0.0010)\n    \
             eye_diameter     = 5.00 in\n    exit_width       = 7/8 in\n    vanes            = 5\n    vane_exit_angle  = 24 deg // measured\n    \
             mass             = 17.2 lb\n    material         = std.bronze_c90300\n}}\n\n\
             ring seal_{n} {{\n    form            = labyrinth\n    runs_on         = wheel_{n}.hub_diameter\n    \
             bore            = 5.502 in ± 0.0005\n    land_length     = 0.75 in\n    clearance_limit = 0.003 .. 0.007 in\n}}\n\n\
             pump unit_{n} {{\n    rating = {flow} gpm at 150 psi\n    stages = [wheel_{n}]\n    rings  = [seal_{n}]\n    volute = double\n    \
             curve at 3300 rpm (flow gpm, net psi, power hp, npshr ft) {{\n           0  231   52     -\n         625  222  118   8.1\n        \
             1250  176  170  14.9\n        1500  141  181  20.2\n    }}\n}}\n\n\
             lay lines_{n} {{\n    unit_{n}.discharge -> 300 ft of stock.supply_3 rise 8 ft -> y1: std.gated_wye\n    \
             y1 -> 150 ft of stock.attack_1_75 -> left: std.fog_150_100\n}}\n\n\
             duty attack_{n} {{\n    supply = pond\n    lay    = lines_{n}\n    hold left.pressure = 100 psi // the solver finds the speed\n}}\n\n\
             let gap_{n} = (wheel_{n}.eye_diameter - 2 * wheel_{n}.exit_width) / 4 + max(1 in, 2 in)\n\
             require attack_{n}.left.flow >= 145 gpm because \"two firefighters on each line\"\n\n",
            flow = 1000 + n % 9 * 125,
        );
    }
    out
}

fn stages(c: &mut Criterion) {
    let text = spec(1_000_000);
    let chunks = split(&text);
    for chunk in &chunks {
        assert!(parse_chunk(chunk.span.slice(&text)).errors.is_empty());
    }
    let mut group = c.benchmark_group("stages");
    group.throughput(Throughput::Bytes(text.len() as u64));
    group.sample_size(10);
    group.bench_function("lex", |b| b.iter(|| lex(black_box(&text)).len()));
    group.bench_function("split", |b| b.iter(|| split(black_box(&text)).len()));
    group.bench_function("parse", |b| {
        b.iter(|| {
            split(black_box(&text))
                .iter()
                .map(|chunk| parse_chunk(chunk.span.slice(&text)).errors.len())
                .sum::<usize>()
        });
    });
    group.bench_function("format", |b| b.iter(|| format(black_box(&text)).len()));
    group.finish();
}

criterion_group!(benches, stages);
criterion_main!(benches);
