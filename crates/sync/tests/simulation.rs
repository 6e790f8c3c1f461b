//! Whole kitchens in one thread, from a seed: partitions, crashes, a relay put back to old backups, a malicious helper.
//!
//! `TRUG_SIM_SEEDS` says how many seeds (1,000 by itself), `TRUG_SIM_SEED` runs one again, `TRUG_SIM_SHOW` tells what happens
//! in it. Envelopes are of paper, with numbers for nonces, so that a seed gives the same bytes each time; a smaller number of
//! seeds is run with those of `trug_seal`.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    unreachable_pub,
    reason = "all of it is a test, though clippy sees that of the test functions alone"
)]

mod sim;

use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};

use sim::world::World;
use trug_sync::Sabotage;

fn number(name: &str) -> Option<u64> {
    std::env::var(name).ok()?.parse().ok()
}

/// Runs seeds on two threads until one fails; the first failure found, and how many edits there were.
fn run(seeds: u64, sabotage: Option<Sabotage>, paper: bool) -> (Option<(u64, String)>, usize) {
    let (next, edits) = (AtomicU64::new(0), AtomicUsize::new(0));
    let failure: Mutex<Option<(u64, String)>> = Mutex::new(None);
    let work = || {
        while failure.lock().unwrap().is_none() {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed >= seeds {
                return;
            }
            match World::new(seed, sabotage, paper).run() {
                Ok(made) => drop(edits.fetch_add(made, Ordering::Relaxed)),
                Err(why) => drop(failure.lock().unwrap().get_or_insert((seed, why)).0),
            }
        }
    };
    std::thread::scope(|scope| {
        scope.spawn(work);
        scope.spawn(work);
    });
    (failure.into_inner().unwrap(), edits.into_inner())
}

fn must_agree(seeds: u64, paper: bool) {
    let start = std::time::Instant::now();
    let (failure, edits) = run(seeds, None, paper);
    if let Some((seed, why)) = failure {
        panic!("TRUG_SIM_SEED={seed}: {why}");
    }
    println!("{seeds} seeds, {edits} edits, {:.1} s", start.elapsed().as_secs_f32());
}

/// So many seeds, or the one that is asked for.
fn all_or_one(seeds: u64, paper: bool) {
    match number("TRUG_SIM_SEED") {
        Some(seed) => drop(World::new(seed, None, paper).run().unwrap()),
        None => must_agree(seeds, paper),
    }
}

#[test]
fn devices_that_have_met_agree_and_nothing_durable_is_lost() {
    all_or_one(number("TRUG_SIM_SEEDS").unwrap_or(1000), true);
}

#[test]
fn they_agree_with_sealed_envelopes_as_well() {
    all_or_one(number("TRUG_SIM_SEEDS").unwrap_or(1000) / 10, false);
}

/// Every seed here passes when nothing is broken: what is found is what was broken.
#[test]
fn the_simulation_finds_an_engine_that_was_broken_on_purpose() {
    for sabotage in [
        Sabotage::SendsBeforeDurable,
        Sabotage::CursorFirst,
        Sabotage::TrustsTheLog,
        Sabotage::SnapshotsAnyway,
        Sabotage::TriesAgain,
        Sabotage::SealsAgain,
    ] {
        let (failure, _) = run(400, Some(sabotage), true);
        let (seed, why) = failure.unwrap_or_else(|| panic!("nobody noticed {sabotage:?}"));
        println!("{sabotage:?}: seed {seed}: {why}");
    }
}
