//! Kitchen folders that somebody damaged, or made up: every one is read, or its problems are told; none makes it panic,
//! takes ages, or takes more memory than a stated bound. What is read is written and read again.
//!
//! `TRUG_FUZZ=20 cargo test -p trug-folder --test fuzz` runs twenty times as many cases. A failure names its seed.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic here is a failed check")]

use std::path::Path;
use std::time::Duration;

use peak_alloc::PeakAlloc;
use trug_folder::{Files, read, read_dir};

#[global_allocator]
static MEMORY: PeakAlloc = PeakAlloc;

fn seeds(cases: u64) -> std::ops::Range<u64> {
    let times = std::env::var("TRUG_FUZZ").ok().and_then(|times| times.parse().ok()).unwrap_or(1);
    0..cases * times
}

/// Numbers from a seed (xorshift64*, Vigna 2016).
struct Dice(u64);

impl Dice {
    const fn below(&mut self, bound: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) as usize % if bound == 0 { 1 } else { bound }
    }
}

/// Whatever a folder's formats give a meaning to, and what they should not.
const PARTS: [&str; 34] = [
    "\n",
    "\r\n",
    "\"",
    "'",
    "[",
    "]",
    "[[diner]]\n",
    "[[service]]\n",
    "=",
    ",",
    "{",
    "}",
    "#",
    "## Ingredients\n",
    "- ",
    "Serves 6\n",
    "Serves 0\n",
    "Makes 1e9 cups\n",
    "1/0 cup",
    "99999999999999999999999 kg flour",
    "-3 onions",
    "\u{feff}",
    "\u{0}",
    "\u{301}",
    "\u{1f96c}",
    "9999-99-99",
    "2026-02-30",
    "null",
    "\\",
    "\"@type\": \"Recipe\"",
    "portion = 1e308\n",
    "0.0000000000000000000000001",
    "budget = \"-1.00\"\n",
    "½ ⅓ 1½",
];

fn mutate(dice: &mut Dice, bytes: &mut Vec<u8>) {
    for _ in 0..=dice.below(5) {
        let at = dice.below(bytes.len() + 1);
        match dice.below(6) {
            0 if at < bytes.len() => bytes[at] ^= 1 << dice.below(8),
            1 if at < bytes.len() => drop(bytes.drain(at..(at + 1 + dice.below(30)).min(bytes.len()))),
            2 => {
                let from = dice.below(bytes.len());
                let part = bytes[from..(from + dice.below(60)).min(bytes.len())].to_vec();
                drop(bytes.splice(at..at, part));
            }
            3 => bytes.truncate(at),
            _ => drop(bytes.splice(at..at, PARTS[dice.below(PARTS.len())].bytes())),
        }
    }
}

fn demo() -> Vec<(String, Vec<u8>)> {
    let files = read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-data")).unwrap();
    files.iter().map(|(path, bytes)| (path.to_owned(), bytes.to_vec())).collect()
}

/// A few of a kitchen's files, some of them damaged, one perhaps under another's path.
fn damaged(dice: &mut Dice, demo: &[(String, Vec<u8>)]) -> Files {
    let mut files = Files::new();
    let all = dice.below(4) > 0;
    for (path, bytes) in demo.iter().filter(|(path, _)| all || path == "kitchen.toml") {
        files.insert(path, bytes.clone()).unwrap();
    }
    for _ in 0..=dice.below(4) {
        let (path, bytes) = &demo[dice.below(demo.len())];
        let mut bytes = bytes.clone();
        mutate(dice, &mut bytes);
        let path = if dice.below(5) == 0 { &demo[dice.below(demo.len())].0 } else { path };
        files.insert(path, bytes).unwrap();
    }
    files
}

/// How long this thread has been on a processor, so that a busy machine fails no check; nothing where that cannot be had.
/// The pause makes the kernel bring its figure up to date.
fn on_cpu() -> Duration {
    std::thread::sleep(Duration::from_millis(1));
    let figures = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let nanoseconds = figures.split(' ').next().and_then(|figure| figure.parse().ok());
    nanoseconds.map_or(Duration::ZERO, Duration::from_nanos)
}

/// The catalogue's copy for each kitchen and what the demonstration kitchen itself takes, several times over.
const BOUND: usize = 64 << 20;

#[test]
fn damaged_folders_are_read_or_their_problems_told() {
    let demo = demo();
    let (mut well, mut ill) = (0, 0);
    for seed in seeds(150) {
        let mut dice = Dice(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        let files = damaged(&mut dice, &demo);
        let before = MEMORY.current_usage();
        MEMORY.reset_peak_usage();
        let started = on_cpu();
        let outcome = read(&files);
        let most = MEMORY.peak_usage().saturating_sub(before);
        assert!(most < BOUND, "seed {seed}: {most} bytes at once");
        let time = on_cpu().saturating_sub(started);
        assert!(time < Duration::from_secs(5), "seed {seed}: {time:?}");
        match outcome {
            Err(problems) => {
                ill += 1;
                assert!(!problems.to_string().is_empty(), "seed {seed}");
            }
            Ok(kitchen) => {
                well += 1;
                let again = trug_folder::write(&kitchen);
                if let Err(problems) = read(&again) {
                    panic!("seed {seed}: what was read and written is not read again: {problems}");
                }
            }
        }
    }
    assert!(well > 10 && ill > 10, "{well} were read, {ill} were not");
}
