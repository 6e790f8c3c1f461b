//! How many ingredient lines are read in a second on one core, lookup included.

use std::hint::black_box;
use std::time::{Duration, Instant};

use trug_catalog::Catalog;

/// Lines as cooks write them: raw lines of the corpus that the tests check.
const CORPUS: &str = include_str!("../tests/lines.tsv");

fn main() {
    let catalog = Catalog::builtin();
    let lines: Vec<&str> =
        CORPUS.lines().filter(|row| !row.starts_with('#')).filter_map(|row| row.split('\t').next()).collect();
    if lines.is_empty() {
        return;
    }
    let mut best = 0.0_f64;
    for _ in 0..5 {
        let start = Instant::now();
        let mut read = 0_u32;
        while start.elapsed() < Duration::from_millis(300) {
            for line in &lines {
                black_box(catalog.read(black_box(line)));
            }
            read += u32::try_from(lines.len()).unwrap_or(u32::MAX);
        }
        best = best.max(f64::from(read) / start.elapsed().as_secs_f64());
    }
    println!("{best:.0} ingredient lines read a second, best of 5 ({} different lines)", lines.len());
}
