//! x
use std::fmt::Write as _;
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
fn cpu() -> u64 { std::fs::read_to_string("/proc/thread-self/schedstat").unwrap().split(' ').next().unwrap().parse().unwrap() }
#[allow(clippy::print_stdout)]
fn main() {
    use cutwater_syntax::{format, parse_chunk, split::split, token::lex};
    let text = spec(1_000_000);
    let run = |name: &str, n: u32, f: &dyn Fn() -> usize| {
        let mut best = u64::MAX;
        for _ in 0..n { let a = cpu(); std::hint::black_box(f()); best = best.min(cpu() - a); }
        println!("{name} {:.1} MB/s (best CPU time of {n})", text.len() as f64 / best as f64 * 1e3);
    };
    run("lex", 5, &|| (0..50).map(|_| lex(&text).len()).sum()); run("split", 5, &|| (0..50).map(|_| split(&text).len()).sum());
    run("parse", 20, &|| split(&text).iter().map(|c| parse_chunk(c.span.slice(&text)).errors.len()).sum());
    run("format", 20, &|| format(&text).len());
}
