//! Records that a disk damaged, and a relay that answers what it likes: nothing panics, no memory is taken beyond a
//! stated bound, the document opens again, and what this device wrote stays.
//!
//! `TRUG_FUZZ=20 cargo test -p trug-sync --test fuzz` runs twenty times as many cases. A failure names its seed.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic is a failed check")]

use std::collections::{BTreeMap, VecDeque};
use std::sync::{Mutex, MutexGuard, PoisonError};

use peak_alloc::PeakAlloc;
use trug_replica::gate::{Gate, Limits};
use trug_replica::id::{DeviceId, Entropy, LineId, NoEntropy, Stamp};
use trug_replica::run::{Pick, Quantity, Run, Taken};
use trug_replica::{Document as _, LocalChange};
use trug_seal::{DocumentKind, EntryKind, Place, Root, pack};
use trug_sync::{
    Answer, Call, Chain, Effect, Engine, EntryId, Event, Failure, Instant, Key, Keys, Page, RequestId, Settings,
};

#[global_allocator]
static MEMORY: PeakAlloc = PeakAlloc;

/// One test at a time, since the allocator counts for all of them.
static ALONE: Mutex<()> = Mutex::new(());

fn alone() -> MutexGuard<'static, ()> {
    ALONE.lock().unwrap_or_else(PoisonError::into_inner)
}

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

/// Numbers from a seed (xorshift64*, Vigna 2016).
struct Dice(u64);

impl Dice {
    const fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    const fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    const fn below(&mut self, bound: usize) -> usize {
        (self.next() >> 33) as usize % if bound == 0 { 1 } else { bound }
    }

    fn bytes(&mut self, most: usize) -> Vec<u8> {
        (0..self.below(most)).map(|_| (self.next() >> 56) as u8).collect()
    }
}

impl Entropy for Dice {
    fn fill(&mut self, buffer: &mut [u8]) -> Result<(), NoEntropy> {
        buffer.fill_with(|| (self.next() >> 56) as u8);
        Ok(())
    }
}

fn damage(dice: &mut Dice, bytes: &mut Vec<u8>) {
    for _ in 0..=dice.below(3) {
        let at = dice.below(bytes.len());
        match dice.below(4) {
            0 if at < bytes.len() => bytes[at] ^= 1 << dice.below(8),
            1 if at < bytes.len() => drop(bytes.remove(at)),
            2 if at < bytes.len() => bytes.truncate(at),
            _ => bytes.insert(at, (dice.next() >> 56) as u8),
        }
    }
}

type Records = BTreeMap<Key, Vec<u8>>;
type Effects = Vec<Effect<trug_replica::run::Change>>;

fn root() -> Root {
    Root::from_bytes([9; 32])
}

fn open(records: Records, seed: u64) -> (Engine<Gate<Run>>, Effects) {
    let mut dice = Dice::new(seed ^ 0xf0f0);
    let mut out = Vec::new();
    let opened = |saved: Option<&[u8]>| {
        let device = DeviceId::draw(&mut dice).ok()?;
        let run = match saved {
            Some(saved) => Run::load(saved, device, &mut dice).ok()?,
            None => Run::create(device, &mut dice).ok()?,
        };
        Some(Gate::new(run, Limits::default()))
    };
    let settings = Settings { seed, compact_at: 8, ..Settings::default() };
    let keys = Keys::owner(&root(), DocumentKind::Run);
    let engine = Engine::open(keys, settings, records.into_iter().collect(), opened, &mut out);
    (engine.unwrap_or_else(|| panic!("seed {seed}: a document that is damaged is begun anew")), out)
}

fn pick(engine: &mut Engine<Gate<Run>>, at: i64) -> String {
    let what = Taken::Got { amount: Quantity::Whole(None), packs: Vec::new(), price: None };
    let line = LineId::new(&format!("line {}", at % 5)).unwrap();
    let pick = Pick { line, what, at: Stamp(at), store: None, aliases: Vec::new(), label: None };
    engine.document_mut().document_mut().pick(&pick).unwrap().to_string()
}

/// A shell whose storage never fails, and whose relay answers as it is told.
struct Shell<'r> {
    engine: Engine<Gate<Run>>,
    records: Records,
    now: u64,
    relay: &'r mut dyn FnMut(&Call) -> Result<Answer, Failure>,
}

impl Shell<'_> {
    /// Until nothing happens any more, or for so many events.
    fn go(&mut self, first: impl IntoIterator<Item = Event>, most: usize) {
        let mut events: VecDeque<Event> = first.into_iter().collect();
        for _ in 0..most {
            let Some(event) = events.pop_front() else { return };
            self.now += 1;
            let mut out = Vec::new();
            self.engine.handle(Instant(self.now), event, &mut out);
            self.carry_out(out, &mut events);
        }
    }

    fn carry_out(&mut self, effects: Effects, events: &mut VecDeque<Event>) {
        for effect in effects {
            match effect {
                Effect::Store { ticket, key, bytes } => {
                    self.records.insert(key, bytes);
                    events.push_back(Event::Stored(ticket));
                }
                Effect::Delete(key) => drop(self.records.remove(&key)),
                Effect::Send(request, call) => events.push_back(Event::Answer(request, (self.relay)(&call))),
                // Pauses are over at once.
                Effect::SetTimer(at) => self.now = self.now.max(at.0.min(self.now + 120_000)),
                Effect::Watch(_) | Effect::Tell(_) => {}
            }
        }
    }
}

/// A log that behaves.
#[derive(Default)]
struct Log {
    entries: Vec<(u64, EntryKind, Vec<u8>)>,
    chain: Vec<Chain>,
}

impl Log {
    fn chain_at(&self, seq: u64) -> Chain {
        if seq == 0 { Chain::START } else { self.chain[seq as usize - 1] }
    }

    fn append(&mut self, sealed: &[u8]) -> u64 {
        let head = self.entries.len() as u64;
        if let Some((seq, ..)) = self.entries.iter().find(|(_, _, known)| known == sealed) {
            return *seq;
        }
        self.chain.push(self.chain_at(head).then(EntryId::of(sealed)));
        self.entries.push((head + 1, EntryKind::Entry, sealed.to_vec()));
        head + 1
    }

    fn answer(&mut self, call: &Call) -> Result<Answer, Failure> {
        Ok(match call {
            Call::Append(sealed) => {
                let seq = self.append(sealed);
                let head = self.entries.len() as u64;
                Answer::Appended { seq, head, chain: self.chain_at(head) }
            }
            Call::Fetch { after } => {
                let head = self.entries.len() as u64;
                let entries = self.entries.iter().filter(|(seq, ..)| seq > after).cloned().collect();
                let chain_at = (*after <= head).then(|| self.chain_at((*after).min(head)));
                Answer::Page(Page { entries, head, chain: self.chain_at(head), chain_at })
            }
            _ => Answer::Done,
        })
    }
}

/// The records of a device that has picked, synced, met another's entries, and left some unsent; with its own picks.
fn a_device() -> (Records, Vec<String>, Log) {
    let mut log = Log::default();
    for change in foreign(3) {
        log.append(&sealed(&pack(&[&change.bytes]).unwrap()));
    }
    let mut relay = |call: &Call| log.answer(call);
    let (engine, out) = open(Records::new(), 1);
    let mut shell = Shell { engine, records: Records::new(), now: 0, relay: &mut relay };
    let mut events = VecDeque::new();
    shell.carry_out(out, &mut events);
    let mut picks = Vec::new();
    for at in 0..12 {
        picks.push(pick(&mut shell.engine, at));
        shell.go(events.drain(..).chain([Event::Edited]), 1000);
        match at {
            2 | 7 => shell.go([Event::Online], 1000),
            4 | 8 => shell.go([Event::Offline], 1000),
            _ => {}
        }
    }
    let records = shell.records;
    (records, picks, log)
}

fn foreign(count: i64) -> Vec<LocalChange> {
    let mut dice = Dice::new(77);
    let device = DeviceId::draw(&mut dice).unwrap();
    let mut other = Run::create(device, &mut dice).unwrap();
    for at in 0..count {
        other.set_title(&format!("title {at}")).unwrap();
    }
    other.take_local()
}

fn sealed(content: &[u8]) -> Vec<u8> {
    let place = Place { log: root().log_id(), document: DocumentKind::Run, entry: EntryKind::Entry };
    root().share_secret().sealing_key().seal(&place, content).unwrap()
}

fn has(engine: &Engine<Gate<Run>>, pick: &str) -> bool {
    engine.document().document().canonical().contains(pick)
}

fn is_sound(engine: &mut Engine<Gate<Run>>, seed: u64) {
    let saved = engine.document_mut().checked_save().unwrap_or_else(|why| panic!("seed {seed}: {why}"));
    let mut dice = Dice::new(seed);
    let device = DeviceId::draw(&mut dice).unwrap();
    let again = Run::load(&saved, device, &mut dice).unwrap_or_else(|why| panic!("seed {seed}: {why}"));
    assert_eq!(again.canonical(), engine.document().document().canonical(), "seed {seed}");
}

/// The bound for some kilobytes of records: copies of the document, its proof, and what automerge, the unsealing and
/// the inflater keep at hand.
const RECORDS: usize = 16 << 20;

/// One record is damaged, or its bytes stand under another's key, or it is gone, or it is noise.
fn wreck(dice: &mut Dice, records: &mut Records) -> Key {
    let keys: Vec<Key> = records.keys().copied().collect();
    let key = keys[dice.below(keys.len())];
    match dice.below(5) {
        0 => drop(records.remove(&key)),
        1 => {
            let other = records[&keys[dice.below(keys.len())]].clone();
            records.insert(key, other);
        }
        2 => drop(records.insert(key, dice.bytes(400))),
        _ => damage(dice, records.get_mut(&key).unwrap()),
    }
    key
}

#[test]
fn damaged_records_are_left_alone_and_the_rest_is_there() {
    let _alone = alone();
    let (records, picks, _) = a_device();
    assert!(records.keys().any(|key| matches!(key, Key::Save(_))), "something was brought together");
    for seed in seeds(250) {
        let mut dice = Dice::new(seed);
        let mut wrecked = records.clone();
        let key = wreck(&mut dice, &mut wrecked);
        let ((mut engine, out), most) = peak(|| open(wrecked.clone(), seed));
        assert!(most < RECORDS, "seed {seed}: {most} bytes at once");
        // What does not stand in the record that was damaged is there.
        if !matches!(key, Key::Save(_) | Key::Change(_)) {
            for pick in &picks {
                assert!(has(&engine, pick), "seed {seed}: {key} was damaged, and {pick} is gone");
            }
        }
        let own = pick(&mut engine, 100);
        let mut log = Log::default();
        let mut relay = |call: &Call| log.answer(call);
        let mut shell = Shell { engine, records: wrecked, now: 0, relay: &mut relay };
        let mut events = VecDeque::new();
        shell.carry_out(out, &mut events);
        shell.go(events.into_iter().chain([Event::Edited, Event::Online]), 3000);
        assert!(has(&shell.engine, &own), "seed {seed}");
        is_sound(&mut shell.engine, seed);
        assert!(!log.entries.is_empty(), "seed {seed}: what is there goes on to the log");
    }
}

#[test]
fn records_of_noise_under_any_key() {
    let _alone = alone();
    for seed in seeds(250) {
        let mut dice = Dice::new(seed);
        let mut records = Records::new();
        for _ in 0..1 + dice.below(12) {
            let id = EntryId(EntryId::of(&dice.next().to_be_bytes()).0);
            let key = match dice.below(9) {
                0 => Key::Change(trug_sync::ChangeHash(id.0)),
                1 => Key::Entry(id),
                2 => Key::Carried(id),
                3 => Key::Outbox(id),
                4 => Key::Save(id),
                5 => Key::Blamed(id),
                6 => Key::Cursor(dice.next()),
                7 => Key::Trying(dice.next()),
                _ => Key::Retiring,
            };
            // Half of them begin with a length or a number of hashes that is not there.
            let head = if dice.below(2) == 0 { u64::MAX >> dice.below(64) } else { 1 };
            records.insert(key, [head.to_be_bytes().to_vec(), dice.bytes(300)].concat());
        }
        let ((mut engine, _), most) = peak(|| open(records, seed));
        assert!(most < RECORDS, "seed {seed}: {most} bytes at once");
        let own = pick(&mut engine, 1);
        assert!(has(&engine, &own));
        is_sound(&mut engine, seed);
    }
}

/// Answers by a relay that makes things up, some sealed by somebody who holds the key.
fn made_up(dice: &mut Dice, log: &mut Log, call: &Call) -> Result<Answer, Failure> {
    let chain = |dice: &mut Dice| Chain(EntryId::of(&dice.next().to_be_bytes()).0);
    let right = log.answer(call);
    Ok(match (dice.below(8), right?) {
        (0, _) => {
            let all = [
                Failure::NotFound,
                Failure::Conflict,
                Failure::ChainDiffers,
                Failure::TooLarge,
                Failure::NoChain,
                Failure::Full,
                Failure::Later,
            ];
            return Err(all[dice.below(all.len())]);
        }
        (1, Answer::Page(page)) => {
            let chain_at = (dice.below(2) == 0).then(|| chain(dice));
            Answer::Page(Page { head: dice.next() >> dice.below(64), chain: chain(dice), chain_at, ..page })
        }
        (2..5, Answer::Page(mut page)) => {
            let changes = foreign(4);
            let at = dice.below(page.entries.len() + 1);
            let mut change = changes[dice.below(4)].bytes.clone();
            damage(dice, &mut change);
            let bytes = match dice.below(3) {
                0 => dice.bytes(600),
                1 => sealed(&dice.bytes(300)),
                _ => sealed(&pack(&[if change.is_empty() { b"x" } else { &change }]).unwrap()),
            };
            let seq = if dice.below(2) == 0 { at as u64 + 1 } else { dice.next() >> dice.below(64) };
            let kind = if dice.below(3) == 0 { EntryKind::Snapshot } else { EntryKind::Entry };
            page.entries.insert(at, (seq, kind, bytes));
            Answer::Page(page)
        }
        (5, Answer::Page(mut page)) => {
            page.entries.reverse();
            Answer::Page(page)
        }
        (1..4, Answer::Appended { .. }) => Answer::Appended { seq: dice.next(), head: dice.next(), chain: chain(dice) },
        (6, _) => Answer::Done,
        (_, right) => right,
    })
}

#[test]
fn a_relay_that_makes_things_up() {
    let _alone = alone();
    for seed in seeds(120) {
        let (mut dice, mut log) = (Dice::new(seed), Log::default());
        let (mut lies, mut left) = (Dice::new(seed ^ 1), 40);
        // It lies for a while, then a right one takes its place.
        let mut relay = |call: &Call| {
            left -= i32::from(left > 0);
            if left > 0 { made_up(&mut lies, &mut log, call) } else { log.answer(call) }
        };
        let (engine, out) = open(Records::new(), seed);
        let mut shell = Shell { engine, records: Records::new(), now: 0, relay: &mut relay };
        let mut events = VecDeque::new();
        shell.carry_out(out, &mut events);
        events.push_back(Event::Online);
        let mut picks = Vec::new();
        let ((), most) = peak(|| {
            for at in 0..30 {
                picks.push(pick(&mut shell.engine, at));
                let odd = match dice.below(6) {
                    0 => Event::Head(dice.next()),
                    1 => Event::Answer(RequestId(dice.next() >> dice.below(64)), Ok(Answer::Done)),
                    2 => Event::Stored(trug_sync::Ticket(dice.next() >> dice.below(64))),
                    3 => Event::Carried(vec![dice.bytes(80)]),
                    _ => Event::Time,
                };
                shell.go(events.drain(..).chain([Event::Edited, odd, Event::Online]), 400);
            }
            shell.go([Event::Online, Event::Head(u64::MAX), Event::Time], 4000);
        });
        assert!(most < 2 * RECORDS, "seed {seed}: {most} bytes at once");
        for pick in &picks {
            assert!(has(&shell.engine, pick), "seed {seed}: {pick} is gone");
        }
        is_sound(&mut shell.engine, seed);
        // All of it is durable, and there again after a start.
        let records = std::mem::take(&mut shell.records);
        let (engine, _) = open(records, seed);
        for pick in &picks {
            assert!(has(&engine, pick), "seed {seed}: {pick} is gone after a start");
        }
    }
}

#[test]
fn keys_have_one_spelling() {
    let text = format!("change/{}", "0a".repeat(32));
    for seed in seeds(5000) {
        let mut dice = Dice::new(seed);
        let mut bytes = match dice.below(4) {
            0 => b"cursor/0123456789abcdef".to_vec(),
            1 => b"retiring/".to_vec(),
            _ => text.clone().into_bytes(),
        };
        if seed % 5 > 0 {
            damage(&mut dice, &mut bytes);
        }
        let text = String::from_utf8_lossy(&bytes);
        if let Ok(key) = text.parse::<Key>() {
            assert_eq!(key.to_string(), text, "seed {seed}");
        }
    }
}
