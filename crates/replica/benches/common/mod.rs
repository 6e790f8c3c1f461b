//! What the benches of the documents share: the same work for this crate and for general-purpose libraries under Node,
//! side by side in one run. Each document is a base, and what several devices then wrote apart, one change an edit.
#![allow(clippy::expect_used, clippy::panic, reason = "a bench that cannot run says so and stops")]

#[path = "../../../../tests/js/installed.rs"]
mod node;

use std::fmt::Write as _;
use std::fs;
use std::io::Write as _;
use std::process::{Command, Stdio};
use std::sync::LazyLock;
use std::thread::sleep;
use std::time::{Duration, Instant};

use automerge::legacy::{Key, ObjectId, OpType};
use automerge::{Change, ScalarValue};
use serde_json::json;
use trug_catalog::Keep;
use trug_measure::{Amount, Currency, Exact, Money, Unit};
use trug_replica::gate::{Gate, Limits};
use trug_replica::id::{Alias, DeviceId, Entropy, LineId, NoEntropy, Stamp};
use trug_replica::run::{MustNot, Pack, Pick, PlanLine, Quantity, Share, Taken};
use trug_replica::{Document, Kind, LocalChange};

/// Numbers from a seed (xorshift64*, Vigna 2016): every run measures the same work.
#[derive(Debug, Clone)]
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) const fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    const fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    pub(crate) const fn below(&mut self, bound: u64) -> i64 {
        ((self.next() >> 33) % bound) as i64
    }
}

impl Entropy for Dice {
    fn fill(&mut self, buffer: &mut [u8]) -> Result<(), NoEntropy> {
        buffer.fill_with(|| (self.next() >> 56) as u8);
        Ok(())
    }
}

const FOODS: [&str; 20] = [
    "yellow onions",
    "carrots",
    "celery",
    "flat-leaf parsley",
    "garlic",
    "chicken thighs, skin on",
    "brown lentils",
    "whole milk",
    "unsalted butter",
    "plain yogurt",
    "russet potatoes",
    "lemons",
    "canned tomatoes",
    "olive oil",
    "short-grain rice",
    "salmon fillet",
    "baby spinach",
    "eggs",
    "smoked paprika",
    "rolled oats",
];
const SECTIONS: [&str; 6] = ["produce", "dairy", "meat", "fish", "dry goods", "spices"];
const STORES: [&str; 3] = ["Harbour Street Market", "Fenwick Wholesale", "Corner Grocery"];
const ALIASES: [&str; 5] = ["BD2", "KT7", "ZR4", "GM3", "PV8"];

pub(crate) fn grams(value: i64) -> Amount {
    Amount::new(Exact::whole(value), Unit::GRAM)
}

fn dollars(minor: i64) -> Money {
    Money { minor, currency: Currency::USD }
}

fn pick_of<T: Copy>(dice: &mut Dice, of: &[T]) -> T {
    *of.get(dice.below(of.len() as u64) as usize).expect("not past its end")
}

/// The id of a line as the salt's hash gives it: twelve letters and digits that nothing compresses.
fn line_id(dice: &mut Dice) -> LineId {
    const LETTERS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";
    let id: String = (0..12).map(|_| char::from(pick_of(dice, LETTERS))).collect();
    LineId::new(&id).expect("an id")
}

/// A plan of so many lines, as a week's list becomes one.
pub(crate) fn plan(dice: &mut Dice, lines: usize) -> Vec<PlanLine> {
    let line = |at: usize| {
        let want = Some(grams(50 + dice.below(2950)));
        let aliases: Vec<Alias> =
            (0..=dice.below(3)).map(|_| Alias::new(pick_of(dice, &ALIASES)).expect("an alias")).collect();
        let must_not = aliases.iter().filter(|_| dice.below(4) == 0).cloned();
        let must_not = must_not.map(|alias| MustNot { alias, what: "peanuts".to_owned(), alert: false }).collect();
        PlanLine {
            id: line_id(dice),
            rank: at as u32,
            food: format!("{} {at}", pick_of(dice, &FOODS)),
            text: format!("{} bags", 1 + dice.below(5)),
            section: pick_of(dice, &SECTIONS).to_owned(),
            store: Some(pick_of(dice, &STORES).to_owned()),
            keep: pick_of(dice, &[Keep::Ambient, Keep::Chilled, Keep::Frozen]),
            want,
            takes: want,
            packs: vec![Pack { count: 1 + dice.below(4) as u64, size: format!("{} g", 100 * (1 + dice.below(9))) }],
            cost: Some(dollars(99 + dice.below(1500))),
            shares: aliases.into_iter().map(|alias| Share { alias, need: Some(grams(dice.below(900))) }).collect(),
            separate: None,
            contains: Vec::new(),
            read_label: dice.below(5) == 0,
            must_not,
            subs: Vec::new(),
            ask: false,
            check: false,
            optional: false,
        }
    };
    (0..lines).map(line).collect()
}

/// A pick with values that vary, some minutes after the one before.
pub(crate) fn pick(dice: &mut Dice, line: &LineId, clock: &mut i64) -> Pick {
    *clock += dice.below(120_000);
    let packs = vec![Pack { count: 1 + dice.below(4) as u64, size: format!("{} g", 100 * (1 + dice.below(9))) }];
    let amount = Quantity::Part(Some(grams(50 + dice.below(2950))));
    let price = Some(dollars(99 + dice.below(1900)));
    Pick {
        line: line.clone(),
        what: Taken::Got { amount, packs, price },
        at: Stamp(*clock),
        store: Some(pick_of(dice, &STORES).to_owned()),
        aliases: Vec::new(),
        label: None,
    }
}

/// A document's work: what every device begins with, and what each then writes apart.
#[derive(Debug)]
pub(crate) struct Work {
    kind: Kind,
    saved: Vec<u8>,
    base: Vec<LocalChange>,
    devices: Vec<Vec<LocalChange>>,
}

impl Work {
    /// Writes it: `base` on one device, then `apart` on as many devices as are asked for, by their numbers, with what
    /// the base made known.
    pub(crate) fn of<D: Document, T>(
        dice: &mut Dice,
        devices: usize,
        base: impl FnOnce(&mut D, &mut Dice) -> T,
        mut apart: impl FnMut(&mut D, &T, usize, &mut Dice),
    ) -> Self {
        let device = DeviceId::draw(dice).expect("randomness");
        let mut first = D::create(device, dice).expect("a document");
        let known = base(&mut first, dice);
        let saved = first.save();
        let devices = (0..devices).map(|at| {
            let device = DeviceId::draw(dice).expect("randomness");
            let mut document = D::load(&saved, device, dice).expect("what was saved");
            apart(&mut document, &known, at, dice);
            document.take_local()
        });
        let devices = devices.collect();
        Self { kind: D::KIND, base: first.take_local(), saved, devices }
    }

    fn changes(&self) -> impl Iterator<Item = &LocalChange> {
        self.devices.iter().flatten()
    }

    /// The same work for a library that knows maps, keys and texts.
    fn plain(&self) -> serde_json::Value {
        let maps: &[&str] = match self.kind {
            Kind::Run => &["meta", "lines", "picks", "strikes", "withdrawn", "claims", "notes", "people", "receipts"],
            Kind::Pantry => &["meta", "lots", "moves", "counts", "par", "strikes", "people"],
            Kind::Book => &["meta", "files", "roots", "settings", "helpers"],
        };
        let puts = |change: &LocalChange| -> Vec<[String; 3]> {
            let change = Change::from_bytes(change.bytes.clone()).expect("a change").decode();
            let put = |op: automerge::legacy::Op| match (op.obj, op.key, op.action) {
                (ObjectId::Id(map), Key::Map(key), OpType::Put(ScalarValue::Str(text))) => {
                    let map = maps.get(map.counter() as usize - 1).expect("a map of the first version");
                    [(*map).to_owned(), key.to_string(), text.to_string()]
                }
                other => panic!("no edit writes {other:?}"),
            };
            change.operations.into_iter().map(put).collect()
        };
        let all = |changes: &[LocalChange]| changes.iter().map(puts).collect::<Vec<_>>();
        let devices: Vec<_> = self.devices.iter().map(|changes| all(changes)).collect();
        json!({ "maps": maps, "base": all(&self.base), "devices": devices })
    }
}

/// One library's figures over all documents of a bench.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Figures {
    pub(crate) name: String,
    pub(crate) merge: f64,
    pub(crate) saved: u64,
    pub(crate) load: Option<f64>,
}

/// What a document of this crate can do in a bench.
pub(crate) trait Measured {
    /// Merges all devices' changes; how long that took, and the bytes saved.
    fn merge(&self, through_gate: bool) -> (Duration, Vec<u8>);
    /// Opens and reads every value.
    fn load(&self, saved: &[u8]) -> Duration;
}

impl Measured for Work {
    fn merge(&self, through_gate: bool) -> (Duration, Vec<u8>) {
        match self.kind {
            Kind::Run => merge::<trug_replica::run::Run>(self, through_gate),
            Kind::Pantry => merge::<trug_replica::pantry::Pantry>(self, through_gate),
            Kind::Book => merge::<trug_replica::book::Book>(self, through_gate),
        }
    }

    fn load(&self, saved: &[u8]) -> Duration {
        match self.kind {
            Kind::Run => load::<trug_replica::run::Run>(saved, |run| run.view().lines.len()),
            Kind::Pantry => load::<trug_replica::pantry::Pantry>(saved, |pantry| pantry.view().lots.len()),
            Kind::Book => load::<trug_replica::book::Book>(saved, |book| book.files().len()),
        }
    }
}

fn merge<D: Document>(work: &Work, through_gate: bool) -> (Duration, Vec<u8>) {
    if !through_gate {
        let mut document = automerge::Automerge::load(&work.saved).expect("what was saved");
        let bytes: Vec<Vec<u8>> = work.changes().map(|change| change.bytes.clone()).collect();
        let (time, ()) = timed(|| {
            let changes = bytes.into_iter().map(|bytes| Change::from_bytes(bytes).expect("a change"));
            document.apply_changes(changes).expect("they apply");
        });
        return (time, document.save());
    }
    let mut dice = Dice::new(1);
    let device = DeviceId::draw(&mut dice).expect("randomness");
    let document = D::load(&work.saved, device, &mut dice).expect("what was saved");
    let mut gate = Gate::new(document, Limits::default());
    // One entry a device, as each packs its day when it comes back.
    let entries = work.devices.iter().map(|changes| changes.iter().flat_map(|change| change.bytes.clone()).collect());
    let attempts: Vec<_> = entries.map(|entry| gate.attempt(entry).expect("not held")).collect();
    let (time, admitted) = timed(|| gate.admit_all(attempts));
    assert_eq!((admitted.applied.len(), admitted.quarantined), (work.changes().count(), 0), "all came in");
    (time, gate.document().save())
}

fn load<D: Document>(saved: &[u8], read: impl Fn(&D) -> usize) -> Duration {
    let mut dice = Dice::new(1);
    let device = DeviceId::draw(&mut dice).expect("randomness");
    let opened = || read(&D::load(saved, device, &mut dice).expect("what was saved"));
    let (time, values) = timed(opened);
    assert!(values > 0, "something is in it");
    time
}

static STARTED: LazyLock<Instant> = LazyLock::new(Instant::now);

/// How long this thread has been on a processor, so that a busy machine does not change what is measured; where that
/// cannot be had, the clock. The pause makes the kernel bring its figure up to date.
fn on_cpu() -> Duration {
    sleep(Duration::from_millis(1));
    let figures = fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let nanoseconds = figures.split(' ').next().and_then(|figure| figure.parse().ok());
    nanoseconds.map_or_else(|| STARTED.elapsed(), Duration::from_nanos)
}

/// What a piece of work takes, and what comes of it.
fn timed<T>(work: impl FnOnce() -> T) -> (Duration, T) {
    let start = on_cpu();
    let done = work();
    (on_cpu().saturating_sub(start), done)
}

fn median(times: &mut [Duration]) -> f64 {
    times.sort_unstable();
    times.get(times.len() / 2).map_or(f64::NAN, Duration::as_secs_f64) * 1e3
}

fn ours(name: &str, works: &[Work], rounds: usize, through_gate: bool) -> Figures {
    let (mut merges, mut loads, mut all_saved) = (Vec::new(), Vec::new(), Vec::new());
    for round in 0..=rounds {
        let merged: Vec<_> = works.iter().map(|work| work.merge(through_gate)).collect();
        let time = merged.iter().map(|(time, _)| *time).sum();
        all_saved = merged.into_iter().map(|(_, saved)| saved).collect::<Vec<_>>();
        let load = works.iter().zip(&all_saved).map(|(work, saved)| work.load(saved)).sum();
        if round > 0 {
            merges.push(time);
            loads.push(load);
        }
    }
    let saved = all_saved.iter().map(|saved| saved.len() as u64).sum();
    let load = through_gate.then(|| median(&mut loads));
    Figures { name: name.to_owned(), merge: median(&mut merges), saved, load }
}

/// Measures all libraries and prints a table; the first row is ours, the others follow as they were told.
pub(crate) fn measure(works: &[Work], rounds: usize) -> Vec<Figures> {
    let ours = |name, through_gate| ours(name, works, rounds, through_gate);
    let mut all = vec![ours("trug, through its gate", true), ours("automerge in Rust, bare", false)];
    match peers(works, rounds) {
        Ok(figures) => all.extend(figures),
        Err(why) => println!("not run here: the libraries under Node ({why})"),
    }
    print_table(&all, rounds);
    all
}

fn print_table(all: &[Figures], rounds: usize) {
    let Some(first) = all.first() else { return };
    let ratio = |theirs: f64, ours: f64| format!("{:.1}x", theirs / ours);
    println!("{:<26}{:>11}{:>8}{:>14}{:>8}{:>11}{:>8}", "", "merge", "", "saved", "", "load", "");
    for row in all {
        let mut line = format!("{:<26}{:>8.2} ms", row.name, row.merge);
        let _ = write!(line, "{:>8}{:>12} B", ratio(row.merge, first.merge), row.saved);
        let _ = write!(line, "{:>8}", ratio(row.saved as f64, first.saved as f64));
        if let (Some(load), Some(ours)) = (row.load, first.load) {
            let _ = write!(line, "{load:>8.2} ms{:>8}", ratio(load, ours));
        }
        println!("{line}");
    }
    println!("medians of {rounds} rounds, time on the processor; the ratios are to the first row");
}

/// The libraries' figures from Node, installed as the lock file says.
fn peers(works: &[Work], rounds: usize) -> Result<Vec<Figures>, String> {
    let at = node::installed("peers", &["documents.mjs"], &["ci", "--no-audit", "--no-fund"])?;
    let documents: Vec<_> = works.iter().map(Work::plain).collect();
    let question = json!({ "rounds": rounds, "documents": documents }).to_string();
    let mut node = Command::new("node");
    node.arg("documents.mjs").current_dir(&at).stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut child = node.spawn().map_err(|error| format!("Node does not start: {error}"))?;
    let mut input = child.stdin.take().ok_or("no pipe")?;
    input.write_all(question.as_bytes()).map_err(|error| error.to_string())?;
    drop(input);
    let output = child.wait_with_output().map_err(|error| error.to_string())?;
    if !output.status.success() {
        return Err("the script failed".to_owned());
    }
    String::from_utf8_lossy(&output.stdout).lines().map(|line| figures(line).ok_or_else(|| line.to_owned())).collect()
}

fn figures(line: &str) -> Option<Figures> {
    let [name, merge, saved, load] = line.split('\t').collect::<Vec<_>>().try_into().ok()?;
    let load = if load.is_empty() { None } else { Some(load.parse().ok()?) };
    Some(Figures { name: name.to_owned(), merge: merge.parse().ok()?, saved: saved.parse().ok()?, load })
}
