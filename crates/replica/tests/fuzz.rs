//! Foreign bytes and foreign texts, in all three documents: nothing panics, what was there stays, the document opens
//! again, and no more memory is taken than a stated bound.
//!
//! `TRUG_FUZZ=20 cargo test -p trug-replica --test fuzz` runs twenty times as many cases. A failure names its seed.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic is a failed check")]

mod common;

use std::num::NonZeroU64;
use std::sync::{Mutex, MutexGuard, PoisonError};

use automerge::legacy::{Key, ObjectId, Op, OpId, OpType};
use automerge::{ActorId, Change as RawChange, ExpandedChange, ScalarValue};
use common::*;
use peak_alloc::PeakAlloc;
use sha2::{Digest, Sha256};
use trug_catalog::Keep;
use trug_replica::Document;
use trug_replica::book::{Book, Helper, Root};
use trug_replica::gate::{Gate, Limits};
use trug_replica::id::{DeviceId, LotId, Stamp};
use trug_replica::pantry::{Counted, Lot, Move, Pantry};
use trug_replica::run::{Claimed, HandLine, Note, Quantity, Receipt, Run, Taken};

#[global_allocator]
static MEMORY: PeakAlloc = PeakAlloc;

/// One test at a time, since the allocator counts for all of them.
static ALONE: Mutex<()> = Mutex::new(());

fn alone() -> MutexGuard<'static, ()> {
    ALONE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The most bytes taken at once during the work, beyond those that were held before it.
fn peak<T>(work: impl FnOnce() -> T) -> (T, usize) {
    let before = MEMORY.current_usage();
    MEMORY.reset_peak_usage();
    let done = work();
    (done, MEMORY.peak_usage().saturating_sub(before))
}

fn seeds(cases: u64) -> std::ops::Range<u64> {
    let times = std::env::var("TRUG_FUZZ").ok().and_then(|times| times.parse().ok()).unwrap_or(1);
    0..cases * times
}

/// Quiet about the panics that the gate catches.
fn quietly<T>(work: impl FnOnce() -> T) -> T {
    let hook = std::panic::take_hook();
    std::panic::set_hook(Box::new(|_| {}));
    let done = std::panic::catch_unwind(std::panic::AssertUnwindSafe(work));
    std::panic::set_hook(hook);
    done.unwrap_or_else(|panic| panic!("{}", panic.downcast_ref::<String>().map_or("no reason given", String::as_str)))
}

// --- Documents with something of everything -------------------------------------------------------------------------

/// What the fuzzing asks of a document beyond the trait: something to write, and reading all of it.
trait Fuzzed: Document {
    const MAPS: u64;
    fn write(&mut self, edit: usize, dice: &mut Dice);
    /// Everything that a screen could ask for.
    fn read(&self) -> String;
}

impl Fuzzed for Run {
    const MAPS: u64 = 9;

    fn write(&mut self, edit: usize, dice: &mut Dice) {
        let at = Stamp(edit as i64);
        let food = format!("food {}", dice.below(5));
        match edit % 8 {
            0 => drop(self.bring_up_to_date(edit as u64, &[plan_line(&food, Some(grams(edit as i64 + 1)))]).unwrap()),
            1 => drop(self.set_title(&food).unwrap()),
            2 => {
                drop(self.add_line(&HandLine { food, text: String::new(), section: "s".into(), alias: None }).unwrap())
            }
            3 => drop(self.claim(&Claimed::Section(food), Some(self.device())).unwrap()),
            4 => drop(self.note(&Note { line: None, text: food, at }).unwrap()),
            5 => drop(self.pay(&Receipt { store: food, total: dollars(5), alias: None, at }).unwrap()),
            6 => {
                let id = self.pick(&pick(&food, Taken::NoneThere)).unwrap();
                self.strike(id, at).unwrap();
            }
            _ => drop(self.pick(&pick(&food, got(Quantity::Part(Some(grams(3)))))).unwrap()),
        }
    }

    fn read(&self) -> String {
        let facts = (self.view(), self.conflicts(), self.people(), self.claims(), self.notes(), self.receipts());
        let values: Vec<_> = facts.0.lines.iter().map(|line| self.line_values(&line.id)).collect();
        format!("{facts:?}{values:?}{:?}{:?}", self.revision(), self.title())
    }
}

impl Fuzzed for Pantry {
    const MAPS: u64 = 7;

    fn write(&mut self, edit: usize, dice: &mut Dice) {
        let (at, lot) = (Stamp(edit as i64), LotId::new(&format!("lot {}", dice.below(4))).unwrap());
        match edit % 5 {
            0 => drop(self.add_lot(&Lot { food: "rice".into(), keep: Keep::Ambient, use_by: None }).unwrap()),
            1 => drop(self.count(&lot, Counted::Amount(grams(edit as i64)), at).unwrap()),
            2 => drop(self.set_par(&lot, Some(grams(9))).unwrap()),
            3 => {
                let id = self.count(&lot, Counted::Plenty, at).unwrap();
                self.strike(id, at).unwrap();
            }
            _ => drop(self.move_stock(&Move { lot, by: grams(-4), why: "soup".into(), at }).unwrap()),
        }
    }

    fn read(&self) -> String {
        format!("{:?}{:?}{:?}{:?}", self.view(), self.conflicts(), self.people(), self.title())
    }
}

impl Fuzzed for Book {
    const MAPS: u64 = 5;

    fn write(&mut self, edit: usize, dice: &mut Dice) {
        let name = format!("name {}", dice.below(4));
        let root = Root {
            kind: trug_replica::Kind::Run,
            title: name.clone(),
            secret: "s".into(),
            salt: Some("00".into()),
            relay: None,
        };
        match edit % 4 {
            0 => drop(self.set_file(&format!("dishes/{name}.md"), &"# Soup\n".repeat(1 + edit)).unwrap()),
            1 => drop(self.set_root(&name, &root).unwrap()),
            2 => drop(self.set_setting(&name, &edit.to_string()).unwrap()),
            _ => {
                let helper = Helper { name: name.clone(), document: name.clone(), withdrawn: edit.is_multiple_of(3) };
                self.set_helper(&name, &helper).unwrap();
            }
        }
    }

    fn read(&self) -> String {
        format!("{:?}{:?}{:?}{:?}", self.files(), self.roots(), self.helpers(), self.conflicts())
    }
}

fn new<D: Document>(dice: &mut Dice) -> D {
    let device = DeviceId::draw(dice).unwrap();
    D::create(device, dice).unwrap()
}

fn gate_with<D: Document>(changes: &[trug_replica::LocalChange]) -> Gate<D> {
    let mut gate = Gate::new(new::<D>(&mut Dice::new(99)), Limits::default());
    let attempt = gate.attempt(entry(changes)).unwrap();
    gate.admit(attempt);
    gate
}

fn history<D: Fuzzed>(seed: u64, edits: usize) -> Vec<trug_replica::LocalChange> {
    let mut dice = Dice::new(seed);
    let (mut a, mut b) = (Gate::new(new::<D>(&mut dice), Limits::default()), new::<D>(&mut dice));
    for edit in 0..edits {
        a.document_mut().write(edit, &mut dice);
        b.write(edit + 3, &mut dice);
        if edit % 7 == 0 {
            a.merge(&b);
        }
    }
    a.merge(&b);
    a.document().all_changes()
}

fn opens<D: Fuzzed>(gate: &mut Gate<D>, seed: u64) {
    let saved = gate.checked_save().unwrap_or_else(|why| panic!("seed {seed}: {why}"));
    let mut dice = Dice::new(1);
    let device = DeviceId::draw(&mut dice).unwrap();
    let again = D::load(&saved, device, &mut dice).unwrap_or_else(|why| panic!("seed {seed}: {why}"));
    assert_eq!(again.canonical(), gate.document().canonical(), "seed {seed}");
    drop(again.read());
}

/// Every row of a canonical text that was there before is there after: a fact, or one of several values.
fn keeps_facts(before: &str, after: &str, seed: u64) {
    let facts = ["picks\t", "strikes\t", "moves\t", "counts\t", "notes\t", "receipts\t"];
    let key = |row: &str| row.split('\t').take(2).collect::<Vec<_>>().join("\t");
    let after: std::collections::BTreeMap<String, &str> = after.lines().map(|row| (key(row), row)).collect();
    for row in before.lines().filter(|row| facts.iter().any(|fact| row.starts_with(fact))) {
        let value = row.split('\t').nth(2).unwrap();
        let now = after.get(&key(row)).unwrap_or_else(|| panic!("seed {seed}: {row} is gone"));
        assert!(now.contains(value), "seed {seed}: {row} became {now}");
    }
}

// --- Bytes ------------------------------------------------------------------------------------------------------------

const MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];

fn number(mut value: u64) -> Vec<u8> {
    let mut bytes = Vec::new();
    while value > 0x7f {
        bytes.push((value & 0x7f) as u8 | 0x80);
        value >>= 7;
    }
    bytes.push(value as u8);
    bytes
}

/// A chunk with a right checksum, whatever is in it. Of a deflated change, the checksum is that of what it inflates to.
fn chunk(kind: u8, data: &[u8], summed: Option<&[u8]>) -> Vec<u8> {
    let (summed_kind, summed) = summed.map_or((kind, data), |summed| (1, summed));
    let head = [vec![summed_kind], number(summed.len() as u64)].concat();
    let digest = Sha256::new().chain_update(head).chain_update(summed).finalize();
    [&MAGIC[..], &digest[..4], &[kind], &number(data.len() as u64), data].concat()
}

/// What follows the head of a chunk.
fn data_of(bytes: &[u8]) -> &[u8] {
    let length = bytes[9..].iter().position(|byte| byte & 0x80 == 0).unwrap() + 1;
    &bytes[9 + length..]
}

fn deflate(data: &[u8]) -> Vec<u8> {
    use std::io::Read;
    let mut out = Vec::new();
    flate2::bufread::DeflateEncoder::new(data, flate2::Compression::best()).read_to_end(&mut out).unwrap();
    out
}

fn mutate(dice: &mut Dice, data: &mut Vec<u8>) {
    for _ in 0..=dice.below(4) {
        let at = dice.below(data.len());
        match dice.below(6) {
            0 => data[at] ^= 1 << dice.below(8),
            1 => data[at] = *dice.pick(&[0, 1, 0x7f, 0x80, 0xff]),
            2 => drop(data.remove(at)),
            3 => data.insert(at, dice.next() as u8),
            4 => {
                let from = dice.below(data.len());
                let part = data[from..(from + 1 + dice.below(12)).min(data.len())].to_vec();
                drop(data.splice(at..at, part));
            }
            _ => data.truncate(at + 1),
        }
        if data.is_empty() {
            data.push(0);
        }
    }
}

/// The most that admitting a few hundred foreign bytes to a small document may take: copies of the document, its proof,
/// and what automerge and the inflater keep at hand. What bombs inflate to is bounded by `Limits`, and they are tested by
/// themselves below.
const FOREIGN_BYTES: usize = 16 << 20;

fn mutated_bytes<D: Fuzzed>(cases: u64) {
    let _alone = alone();
    let changes = history::<D>(5, 24);
    let saved = gate_with::<D>(&changes).checked_save().unwrap();
    let (mut taken, mut refused) = (0, 0);
    quietly(|| {
        for seed in seeds(cases) {
            let mut dice = Dice::new(seed);
            let at = dice.below(changes.len());
            let mut gate = gate_with::<D>(&changes[..at]);
            let before = gate.document().canonical();
            let document = dice.one_in(4);
            let mut data = data_of(if document { &saved } else { &changes[at].bytes }).to_vec();
            mutate(&mut dice, &mut data);
            let bytes = match (document, dice.one_in(3)) {
                (true, _) => chunk(0, &data, None),
                (false, true) => chunk(2, &deflate(&data), Some(&data)),
                (false, false) => chunk(1, &data, None),
            };
            // The entry goes on with a change that is good: it is taken whatever stands before it.
            let good = &changes[at];
            let attempt = gate.attempt([bytes, good.bytes.clone()].concat()).unwrap();
            let (admitted, most) = peak(|| gate.admit(attempt));
            assert!(most < FOREIGN_BYTES, "seed {seed}: {most} bytes");
            // Unless what was damaged is still a change, and took the writer's next place.
            let whole = gate.document().has_change(&good.hash) || !admitted.applied.is_empty();
            assert!(whole, "seed {seed}: the good change was lost");
            taken += admitted.applied.len();
            refused += admitted.quarantined;
            keeps_facts(&before, &gate.document().canonical(), seed);
            drop(gate.document().read());
            if seed % 8 == 0 || admitted.quarantined == 0 {
                opens(&mut gate, seed);
            }
            let loaded = D::load(&chunk(0, &data, None), gate.document().device(), &mut dice);
            drop(loaded.map(|document| document.read()));
        }
    });
    println!("{taken} changes were taken, {refused} parts refused");
    assert!(refused > 0);
}

#[test]
fn mutated_bytes_at_a_run() {
    mutated_bytes::<Run>(250);
}

#[test]
fn mutated_bytes_at_a_pantry() {
    mutated_bytes::<Pantry>(250);
}

#[test]
fn mutated_bytes_at_a_book() {
    mutated_bytes::<Book>(250);
}

// --- Texts ------------------------------------------------------------------------------------------------------------

/// Texts that are nearly records: the right words in the wrong places, numbers at the edges, and noise.
fn wild_text(dice: &mut Dice, known: &[String]) -> String {
    const PARTS: [&str; 26] = [
        "got",
        "line",
        "hand",
        "home",
        "sub",
        "none",
        "strike",
        "note",
        "receipt",
        "move",
        "count",
        "lot",
        "run",
        "|",
        "|l",
        "|w",
        "|q",
        "|c",
        "|p",
        "|t",
        "\\",
        "\\p",
        "170141183460469231731687303715884105727/3 g",
        "-1/0 oz",
        "9223372036854775807 USD",
        "99999999999999999999 \u{1f96c}",
    ];
    let mut text = if dice.one_in(3) { String::new() } else { dice.pick(known).clone() };
    for _ in 0..dice.below(4) {
        let mut at = dice.below(text.len() + 1);
        while !text.is_char_boundary(at) {
            at -= 1;
        }
        match dice.below(3) {
            0 => text.truncate(at),
            _ => text.insert_str(at, PARTS[dice.below(PARTS.len())]),
        }
    }
    text
}

fn texts_of(changes: &[trug_replica::LocalChange]) -> Vec<(String, String)> {
    let operations =
        changes.iter().flat_map(|change| RawChange::from_bytes(change.bytes.clone()).unwrap().decode().operations);
    let texts = operations.filter_map(|op| match (op.key, op.action) {
        (Key::Map(key), OpType::Put(ScalarValue::Str(text))) => Some((key.to_string(), text.to_string())),
        _ => None,
    });
    texts.collect()
}

/// Well-formed changes by somebody who was invited, with any text under any key of any map.
fn wild_texts<D: Fuzzed>(cases: u64) {
    let _alone = alone();
    let changes = history::<D>(6, 24);
    let (keys, known): (Vec<String>, Vec<String>) = texts_of(&changes).into_iter().unzip();
    let base = gate_with::<D>(&changes);
    let before = base.document().canonical();
    let schema = ActorId::from(format!("trug-{}", base.document().canonical().split(' ').next().unwrap()).as_bytes());
    let last = changes.iter().map(|change| RawChange::from_bytes(change.bytes.clone()).unwrap());
    let start = last.map(|change| change.max_op()).max().unwrap() + 1;
    let mut taken = 0;
    for seed in seeds(cases) {
        let mut dice = Dice::new(seed);
        let operation = |_| {
            let obj = ObjectId::Id(OpId::new(1 + dice.below(D::MAPS as usize) as u64, &schema));
            let key = if dice.one_in(4) { wild_text(&mut dice, &keys) } else { dice.pick(&keys).clone() };
            let key = Key::Map(key.into());
            let action = OpType::Put(ScalarValue::Str(wild_text(&mut dice, &known).into()));
            Op { action, obj, key, pred: Vec::new().into(), insert: false }
        };
        let operations: Vec<Op> = (0..6).map(operation).collect();
        let mut forged = ExpandedChange {
            operations,
            actor_id: ActorId::from(&[7_u8; 16][..]),
            hash: None,
            seq: 1,
            start_op: NonZeroU64::new(start).unwrap(),
            time: 0,
            message: None,
            deps: base.document().heads(),
            extra_bytes: Vec::new(),
            author: None,
        };
        // Each alone, so that one that is refused takes no other along.
        let entry: Vec<u8> = std::mem::take(&mut forged.operations)
            .into_iter()
            .zip(10_u8..)
            .flat_map(|(op, actor)| {
                let actor_id = ActorId::from(&[actor; 16][..]);
                let alone = ExpandedChange { operations: vec![op], actor_id, ..forged.clone() };
                RawChange::from(alone).raw_bytes().to_vec()
            })
            .collect();
        let mut gate = gate_with::<D>(&changes);
        let attempt = gate.attempt(entry).unwrap();
        let (admitted, most) = peak(|| gate.admit(attempt));
        assert!(most < FOREIGN_BYTES, "seed {seed}: {most} bytes");
        taken += admitted.applied.len();
        keeps_facts(&before, &gate.document().canonical(), seed);
        drop(gate.document().read());
        // Who reads such texts can go on writing, and settle them.
        gate.document_mut().write(seed as usize, &mut dice);
        drop(gate.document().read());
        if seed % 8 == 0 {
            opens(&mut gate, seed);
        }
    }
    assert!(taken > 0, "some texts were taken");
}

#[test]
fn wild_texts_in_a_run() {
    wild_texts::<Run>(200);
}

#[test]
fn wild_texts_in_a_pantry() {
    wild_texts::<Pantry>(200);
}

#[test]
fn wild_texts_in_a_book() {
    wild_texts::<Book>(200);
}

// --- Bombs, and the quarantine's own file -----------------------------------------------------------------------------

#[test]
fn bombs_take_no_more_memory_than_the_limits_say() {
    let _alone = alone();
    let zeros = deflate(&vec![0_u8; 256 << 20]);
    let limits = Limits { change: 1 << 20, document: 4 << 20, ..Limits::default() };
    let column = |specification: u8, column: &[u8]| {
        [&[0, 0, 0, 1, specification][..], &number(column.len() as u64), column].concat()
    };
    // Many columns, each of which inflates to less than the limit, which all of them together must keep.
    let some = deflate(&vec![0_u8; 3 << 20]);
    let heads: Vec<u8> =
        (0..60_u8).flat_map(|at| [vec![(at << 4) | 0xa, 1], number(some.len() as u64)].concat()).collect();
    let many = [&[0, 0, 0, 60][..], &heads, &some.repeat(60)].concat();
    // 2^55 operations in a dozen bytes: an action column that is one endless run.
    let endless = [0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 1, 1];
    let head: Vec<u8> = [&[0][..], &[1, 7], &[1, 1, 0, 0, 0]].concat();
    let operations = [&head[..], &[1, 0x42, endless.len() as u8], &endless].concat();
    let deep = chunk(2, &deflate(&zeros), Some(&zeros));
    let cases = [
        ("a deflated change", chunk(2, &zeros, None)),
        ("a bomb in a bomb", deep),
        ("many of them", chunk(2, &zeros, None).repeat(8)),
        ("a deflated column", chunk(0, &column(0x4a, &zeros), None)),
        ("many deflated columns", chunk(0, &many, None)),
        ("endless operations", chunk(1, &operations, None)),
        ("an endless column", chunk(0, &column(0x42, &endless), None)),
        ("a length that is not there", [&MAGIC[..], &[0; 4], &[1], &number(u64::MAX)].concat()),
        ("a count that is not there", chunk(1, &number(u64::MAX >> 1), None)),
    ];
    let mut gate = Gate::new(new::<Run>(&mut Dice::new(30)), limits);
    for (name, bytes) in cases {
        // What is read once and kept in quarantine once; what inflates, in a buffer that grows by doubling, so that for
        // a moment there is an old one of the limit beside a new one of twice that.
        let bound = 4 * bytes.len() + 3 * limits.document + (1 << 20);
        let attempt = gate.attempt(bytes).unwrap();
        let (admitted, most) = peak(|| gate.admit(attempt));
        assert!(admitted.applied.is_empty() && admitted.quarantined > 0, "{name}");
        assert!(most < bound, "{name}: {most} bytes at once, {bound} are the bound");
    }
    opens(&mut gate, 0);
}

#[test]
fn what_is_held_is_bounded_by_what_was_sent() {
    let _alone = alone();
    let mut gate = gate_with::<Run>(&history::<Run>(7, 16));
    let mut sent = 0;
    let ((), most) = peak(|| {
        for seed in seeds(300) {
            let mut dice = Dice::new(seed);
            let noise: Vec<u8> = (0..200).map(|_| dice.next() as u8).collect();
            let bytes = chunk(dice.below(5) as u8, &noise, None);
            sent += bytes.len();
            if let Ok(attempt) = gate.attempt(bytes) {
                gate.admit(attempt);
            }
        }
    });
    let held: usize = gate.quarantine().iter().map(|held| held.bytes.len()).sum();
    assert!(held <= sent, "{held} bytes are held of {sent}");
    assert!(most < 8 * sent + (4 << 20), "{most} bytes at once for {sent} sent");
    opens(&mut gate, 0);
}

#[test]
fn any_text_is_an_export_or_refused() {
    let _alone = alone();
    let mut gate = gate_with::<Run>(&history::<Run>(8, 16));
    let attempt = gate.attempt(chunk(1, &[7; 40], None)).unwrap();
    gate.admit(attempt);
    let export = gate.export();
    for seed in seeds(1500) {
        let mut dice = Dice::new(seed);
        let mut bytes = export.repeat(1 + dice.below(2)).into_bytes();
        mutate(&mut dice, &mut bytes);
        let text = String::from_utf8_lossy(&bytes);
        let mut other = Gate::new(new::<Run>(&mut Dice::new(9)), Limits::default());
        let (taken, most) = peak(|| other.import(&text).is_ok());
        assert!(most < 64 * text.len() + (1 << 16), "seed {seed}: {most} bytes");
        assert_eq!(taken, !other.quarantine().is_empty() || text.trim().is_empty(), "seed {seed}: {text}");
    }
}
