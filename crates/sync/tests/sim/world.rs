//! Devices, their disks and processes, the network between them and the relay, and what goes wrong.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::panic::{AssertUnwindSafe, catch_unwind};

use automerge::transaction::{CommitOptions, Transactable};
use automerge::{ActorId, Automerge, ROOT, ReadDoc};
use trug_seal::{DocumentKind, EntryKind, Place, Root, pack};
use trug_sync::{
    Answer, Call, ChangeHash, Effect, Engine, EntryId, Event, Failure, Instant, Key, Keys, RequestId, Sabotage,
    Settings, Ticket,
};

use super::Dice;
use super::document::{Fact, Model, POISON, Stopped, Trip};
use super::relay::Relay;

enum Write {
    Store(Ticket, Key, Vec<u8>),
    Delete(Key),
}

struct Process {
    engine: Engine<Trip>,
    writes: VecDeque<Write>,
    calls: Vec<(RequestId, Call)>,
    answers: Vec<(RequestId, Result<Answer, Failure>)>,
    online: bool,
    due: Option<u64>,
    /// Facts by the change that says them, until it is durable.
    said: BTreeMap<ChangeHash, Fact>,
}

struct Device {
    name: usize,
    keys: Keys,
    disk: BTreeMap<Key, Vec<u8>>,
    /// The parcels that were ever durable; another process may have done away with one that it read in the log.
    posted: BTreeSet<EntryId>,
    processes: Vec<Option<Process>>,
    /// Its clock is so far from the true time.
    clock: i64,
}

pub struct World {
    dice: Dice,
    root: Root,
    now: u64,
    relay: Relay,
    backups: Vec<Relay>,
    devices: Vec<Device>,
    model: Model,
    sabotage: Option<Sabotage>,
    /// Envelopes of paper instead of sealed ones.
    paper: bool,
    evil: bool,
    counter: usize,
    stops: usize,
    calm: bool,
    pub edits: usize,
}

/// What a seed found.
pub type Verdict = Result<usize, String>;

fn trace(device: usize, process: usize, what: &str, about: &impl std::fmt::Display) {
    if std::env::var("TRUG_SIM_SHOW").is_ok() {
        println!("{device}.{process} {what} {about:.50}");
    }
}

/// The changes of a record.
fn changes_of(mut record: &[u8]) -> Vec<ChangeHash> {
    let mut hashes = Vec::new();
    while let Some((len, rest)) = record.split_first_chunk() {
        let (change, rest) = rest.split_at(u64::from_be_bytes(*len) as usize);
        hashes.push(automerge::Change::try_from(change).unwrap().hash());
        record = rest;
    }
    hashes
}

const START: u64 = 30 * 86_400_000;

impl World {
    pub fn new(seed: u64, sabotage: Option<Sabotage>, paper: bool) -> Self {
        let mut dice = Dice::new(seed);
        let bytes = std::array::from_fn(|_| dice.next() as u8);
        let root = Root::from_bytes(bytes);
        let count = 2 + dice.below(7);
        let evil = dice.percent(30);
        let mut world = Self {
            dice,
            root,
            now: START,
            relay: Relay::default(),
            backups: Vec::new(),
            devices: Vec::new(),
            model: Model::default(),
            sabotage,
            paper,
            evil,
            counter: 0,
            stops: 0,
            calm: false,
            edits: 0,
        };
        for name in 0..count {
            world.add_device(name);
        }
        world
    }

    fn add_device(&mut self, name: usize) {
        let share = self.root.share_secret();
        let keys = match name {
            0 | 1 => Keys::owner(&self.root, DocumentKind::Run),
            _ => Keys::writer(self.root.log_id(), &share, DocumentKind::Run),
        };
        let keys = if self.paper { keys.on_paper(self.dice.next()) } else { keys };
        let processes = (0..if self.dice.percent(20) { 2 } else { 1 }).map(|_| None).collect();
        let days = self.dice.below(11) as i64 - 5;
        self.devices.push(Device {
            name,
            keys,
            disk: BTreeMap::new(),
            posted: BTreeSet::new(),
            processes,
            clock: days * 86_400_000,
        });
    }

    /// A day with everything that can go wrong, then calm; then all must agree.
    pub fn run(mut self) -> Verdict {
        for _ in 0..(200 + self.dice.below(200)) {
            self.step()?;
        }
        self.settle()?;
        self.check()?;
        let newcomer = self.devices.len();
        self.add_device(newcomer);
        self.settle()?;
        self.check()?;
        Ok(self.edits)
    }

    fn step(&mut self) -> Result<(), String> {
        let at = self.dice.below(self.devices.len());
        let process = self.dice.below(self.devices[at].processes.len());
        let running = self.devices[at].processes[process].is_some();
        match self.dice.below(100) {
            _ if !running => self.start(at, process)?,
            0..22 => self.edit(at, process)?,
            22..42 => self.write_some(at, process)?,
            42..70 => self.exchange(at, process)?,
            70..76 => self.toggle(at, process)?,
            76..80 => self.crash(at, process),
            80..82 => self.backup_or_restore(),
            82..85 => self.mischief(),
            85..87 => self.devices[at].clock += (self.dice.below(7) as i64 - 3) * 86_400_000,
            _ => {
                self.now += 1 << self.dice.below(17);
                self.tick(at, process)?;
            }
        }
        Ok(())
    }

    fn clock(&self, at: usize) -> Instant {
        Instant((self.now as i64 + self.devices[at].clock) as u64)
    }

    fn start(&mut self, at: usize, process: usize) -> Result<(), String> {
        let device = &self.devices[at];
        let settings = Settings {
            seed: self.dice.next(),
            alone: device.processes.iter().all(Option::is_none),
            snapshot_every: 4 + self.dice.below(8) as u64,
            compact_at: 6 + self.dice.below(10),
            parcel: 200 + self.dice.below(2000),
            sabotage: self.sabotage,
        };
        let records = device.disk.iter().map(|(key, bytes)| (*key, bytes.clone())).collect();
        let (mut effects, dice) = (Vec::new(), &mut self.dice);
        let keys = device.keys.clone();
        let engine = Engine::open(keys, settings, records, |saved| Trip::open(saved, dice), &mut effects);
        let engine = engine.ok_or("a device does not open its records")?;
        self.devices[at].processes[process] = Some(Process {
            engine,
            writes: VecDeque::new(),
            calls: Vec::new(),
            answers: Vec::new(),
            online: false,
            due: None,
            said: BTreeMap::new(),
        });
        self.carry_out(at, process, effects)?;
        self.tell(at, process, Event::Time)
    }

    fn crash(&mut self, at: usize, process: usize) {
        self.devices[at].processes[process] = None;
        trace(at, process, "crashes", &"");
    }

    fn tell(&mut self, at: usize, process: usize, event: Event) -> Result<(), String> {
        let now = self.clock(at);
        let Some(running) = &mut self.devices[at].processes[process] else { return Ok(()) };
        let mut effects = Vec::new();
        let handled = catch_unwind(AssertUnwindSafe(|| running.engine.handle(now, event, &mut effects)));
        match handled {
            Ok(()) => self.carry_out(at, process, effects),
            Err(why) if why.is::<Stopped>() => {
                // A program that stops takes its tabs along.
                self.stops += 1;
                self.devices[at].processes.fill_with(|| None);
                if self.stops > 400 { Err("a device stops again and again".to_owned()) } else { Ok(()) }
            }
            Err(why) => std::panic::resume_unwind(why),
        }
    }

    fn carry_out(&mut self, at: usize, process: usize, effects: Vec<Effect<()>>) -> Result<(), String> {
        let device = &mut self.devices[at];
        let clock = (self.now as i64 + device.clock) as u64;
        let Some(running) = &mut device.processes[process] else { return Ok(()) };
        for effect in effects {
            match effect {
                Effect::Store { ticket, key, bytes } => running.writes.push_back(Write::Store(ticket, key, bytes)),
                Effect::Delete(key) => running.writes.push_back(Write::Delete(key)),
                Effect::Send(request, call) => {
                    if let Call::Append(sealed) = &call
                        && !device.posted.contains(&EntryId::of(sealed))
                    {
                        return Err("something was sent that was not durable as it was sent".to_owned());
                    }
                    running.calls.push((request, call));
                }
                Effect::SetTimer(Instant(due)) => running.due = Some(self.now + due.saturating_sub(clock)),
                Effect::Watch(_) | Effect::Tell(_) => {}
            }
        }
        Ok(())
    }

    fn edit(&mut self, at: usize, process: usize) -> Result<(), String> {
        let lines = 6;
        self.counter += 1;
        let (name, line, count) = (self.devices[at].name, self.dice.below(lines), self.counter);
        let Some(running) = &mut self.devices[at].processes[process] else { return Ok(()) };
        let facts = running.engine.document().facts();
        let picks: Vec<&String> = facts.keys().filter(|key| key.starts_with("pick:")).collect();
        let fact = match self.dice.below(10) {
            0..2 => (format!("line:{count}"), "3".to_owned()),
            2 if !picks.is_empty() => {
                let pick = picks[self.dice.below(picks.len())];
                (pick.replace("pick:", "strike:"), String::new())
            }
            3 => (format!("withdrawn:{line}"), String::new()),
            _ => (format!("pick:{name}-{count}"), format!("{line} {}", 1 + self.dice.below(4))),
        };
        let missing = (0..lines).map(|line| format!("line:{line}")).find(|key| !facts.contains_key(key));
        let fact = if name == 0 { missing.map_or(fact, |key| (key, "3".to_owned())) } else { fact };
        if facts.contains_key(&fact.0) {
            return Ok(());
        }
        let hash = running.engine.document_mut().write(&fact);
        trace(at, process, "says", &format!("{} {hash}", fact.0));
        running.said.insert(hash, fact);
        self.edits += 1;
        self.tell(at, process, Event::Edited)
    }

    /// Makes some writes durable, in order; now and then one fails.
    fn write_some(&mut self, at: usize, process: usize) -> Result<(), String> {
        for _ in 0..=self.dice.below(4) {
            let device = &mut self.devices[at];
            let Some(running) = &mut device.processes[process] else { return Ok(()) };
            match running.writes.pop_front() {
                None => return Ok(()),
                Some(Write::Delete(key)) => {
                    trace(device.name, process, "deletes", &key);
                    drop(device.disk.remove(&key));
                }
                Some(Write::Store(ticket, ..)) if !self.calm && self.dice.percent(1) => {
                    self.tell(at, process, Event::NotStored(ticket))?;
                }
                Some(Write::Store(ticket, key, bytes)) => {
                    device.disk.insert(key, bytes.clone());
                    trace(device.name, process, "keeps", &key);
                    if let Key::Outbox(id) = key {
                        device.posted.insert(id);
                    }
                    if matches!(key, Key::Change(_)) {
                        let said = changes_of(&bytes).into_iter().filter_map(|hash| running.said.remove(&hash));
                        self.model.facts.extend(said);
                    }
                    self.tell(at, process, Event::Stored(ticket))?;
                    if matches!(key, Key::Change(_) | Key::Entry(_)) && self.dice.percent(70) {
                        for other in (0..self.devices[at].processes.len()).filter(|other| *other != process) {
                            self.tell(at, other, Event::Found(vec![(key, bytes.clone())]))?;
                        }
                    }
                }
            }
        }
        Ok(())
    }

    /// Some calls reach the relay, some answers the device; in any order, doubled, or lost.
    fn exchange(&mut self, at: usize, process: usize) -> Result<(), String> {
        let device = &mut self.devices[at];
        let is_owner = device.keys.is_owner();
        let Some(running) = &mut device.processes[process] else { return Ok(()) };
        if !running.online {
            running.calls.clear();
            return Ok(());
        }
        if !running.calls.is_empty() {
            let (request, call) = running.calls.remove(self.dice.below(running.calls.len()));
            let luck = if self.calm { 99 } else { self.dice.below(100) };
            if luck >= 8 {
                let answer = if luck < 12 { Err(Failure::Later) } else { self.relay.call(is_owner, &call) };
                if luck >= 18 {
                    running.answers.push((request, answer.clone()));
                }
                if (18..24).contains(&luck) {
                    running.answers.push((request, answer));
                    running.calls.push((request, call));
                }
            }
        }
        if !running.answers.is_empty() {
            let (request, answer) = running.answers.remove(self.dice.below(running.answers.len()));
            self.tell(at, process, Event::Answer(request, answer))?;
        }
        if self.relay.exists() && self.dice.percent(40) {
            self.tell(at, process, Event::Head(self.relay.head()))?;
        }
        Ok(())
    }

    fn toggle(&mut self, at: usize, process: usize) -> Result<(), String> {
        let chance = if self.calm { 100 } else { 65 };
        let Some(running) = &mut self.devices[at].processes[process] else { return Ok(()) };
        running.online = !running.online || self.dice.percent(chance);
        let event = if running.online { Event::Online } else { Event::Offline };
        self.tell(at, process, event)
    }

    fn tick(&mut self, at: usize, process: usize) -> Result<(), String> {
        let due = self.devices[at].processes[process].as_ref().and_then(|running| running.due);
        if due.is_some_and(|due| due <= self.now) {
            self.tell(at, process, Event::Time)?;
        }
        Ok(())
    }

    fn backup_or_restore(&mut self) {
        if self.backups.is_empty() || self.dice.percent(50) {
            self.backups.push(self.relay.clone());
        } else {
            let backup = self.backups.swap_remove(self.dice.below(self.backups.len()));
            self.relay = backup;
        }
    }

    /// A helper who has the keys writes what nobody should.
    fn mischief(&mut self) {
        if !self.evil {
            return;
        }
        let garbage: Vec<u8> = (0..40).map(|_| self.dice.next() as u8).collect();
        let bytes = match self.dice.below(5) {
            0 => garbage,
            1 => self.seal(&garbage),
            2 => self.seal(&pack(&[&garbage]).unwrap()),
            3 => {
                let poison = self.forged(POISON);
                self.seal(&pack(&[&poison]).unwrap())
            }
            _ => {
                let forged = self.forged("a word");
                self.seal(&pack(&[&forged, &garbage]).unwrap())
            }
        };
        let _ = self.relay.call(false, &Call::Append(bytes));
    }

    fn seal(&mut self, content: &[u8]) -> Vec<u8> {
        if self.paper {
            let body = [&[0; 8][..], &self.dice.next().to_be_bytes(), &[0], content].concat();
            return [&EntryId::of(&body).0[..], &body].concat();
        }
        let place = Place { log: self.root.log_id(), document: DocumentKind::Run, entry: EntryKind::Entry };
        self.root.share_secret().sealing_key().seal(&place, content).unwrap()
    }

    fn forged(&mut self, message: &str) -> Vec<u8> {
        self.counter += 1;
        let mut doc = Automerge::new();
        doc.set_actor(ActorId::from(self.dice.next().to_be_bytes().to_vec()));
        let mut edit = doc.transaction();
        edit.put(ROOT, format!("evil:{}", self.counter), message).unwrap();
        let hash = edit.commit_with(CommitOptions::default().with_time(0).with_message(message)).0.unwrap();
        trace(99, 0, "forges", &format!("evil:{} {hash}", self.counter));
        doc.get_change_by_hash(&hash).unwrap().raw_bytes().to_vec()
    }

    /// No more trouble: everybody runs, is online, and has time.
    fn settle(&mut self) -> Result<(), String> {
        self.calm = true;
        let mut quiet = 0;
        for round in 0..400 {
            let head = self.relay.head();
            for at in 0..self.devices.len() {
                for process in 0..self.devices[at].processes.len() {
                    self.calm_round(at, process)?;
                }
            }
            if (2..26).contains(&round) {
                self.people_try_again(round)?;
            }
            // Quiet twice: everybody has heard of the last entry by then.
            quiet = if round > 26 && self.is_settled() && head == self.relay.head() { quiet + 1 } else { 0 };
            if quiet == 2 {
                return Ok(());
            }
            self.now += 20_000;
        }
        let _ = self.check();
        Err(self.unrest())
    }

    /// Somebody looks at what a program stopped on, one after the other, and gives each a few rounds before the next: a
    /// battery that ran out three times on one entry is no fault of its.
    fn people_try_again(&mut self, round: usize) -> Result<(), String> {
        for at in 0..self.devices.len() {
            let keys = self.devices[at].disk.keys();
            let blamed: Vec<EntryId> =
                keys.filter_map(|key| if let Key::Blamed(id) = key { Some(*id) } else { None }).collect();
            if !blamed.is_empty() {
                let one = blamed[(round / 3) % blamed.len()];
                self.tell(at, 0, Event::Retry(one))?;
            }
        }
        Ok(())
    }

    fn calm_round(&mut self, at: usize, process: usize) -> Result<(), String> {
        match &self.devices[at].processes[process] {
            None => self.start(at, process)?,
            Some(running) if !running.online => self.toggle(at, process)?,
            Some(_) => {}
        }
        for _ in 0..6 {
            self.write_some(at, process)?;
            self.exchange(at, process)?;
        }
        if self.relay.exists() {
            self.tell(at, process, Event::Head(self.relay.head()))?;
        }
        self.tell(at, process, Event::Time)
    }

    /// Who does not come to rest.
    fn unrest(&self) -> String {
        let all = self.devices.iter().flat_map(|device| device.processes.iter().map(move |one| (device.name, one)));
        let restless = all.filter_map(|(name, running)| {
            let running = running.as_ref()?;
            (!running.engine.is_settled()).then(|| format!("{name}: {}", running.engine.unrest()))
        });
        format!("the devices do not come to rest: {} stops; {}", self.stops, restless.collect::<Vec<_>>().join("; "))
    }

    fn is_settled(&self) -> bool {
        let all = self.devices.iter().flat_map(|device| &device.processes);
        let head = self.relay.head();
        let quiet = |running: &Process| {
            running.engine.is_settled() && running.engine.read_to() == head && running.writes.is_empty()
        };
        all.into_iter().all(|running| running.as_ref().is_some_and(quiet))
    }

    fn check(&self) -> Result<(), String> {
        if std::env::var("TRUG_SIM_SHOW").is_ok() {
            for device in &self.devices {
                for running in device.processes.iter().flatten() {
                    let facts = running.engine.document().facts();
                    let lost: Vec<_> = self.model.facts.keys().filter(|key| !facts.contains_key(*key)).collect();
                    println!("evil {:?}", facts.keys().filter(|key| key.starts_with("evil:")).collect::<Vec<_>>());
                    let trip = running.engine.document();
                    println!(
                        "device {} of {}: lost {lost:?}, waiting {}, held {}",
                        device.name,
                        device.processes.len(),
                        trug_sync::Document::waiting(trip),
                        trug_sync::Document::quarantined(trip)
                    );
                    println!(
                        "   {:?}",
                        device.disk.keys().map(|key| key.to_string()[..11].to_owned()).collect::<Vec<_>>()
                    );
                }
            }
        }
        let all =
            self.devices.iter().flat_map(|device| device.processes.iter().flatten().map(move |one| (device, one)));
        let mut heads = None;
        for (device, running) in all {
            let (name, trip) = (device.name, running.engine.document());
            let found = (trip.heads(), trip.facts());
            let mine: BTreeMap<_, _> = found.1.iter().filter(|(key, _)| !key.starts_with("evil:")).collect();
            let expected: BTreeMap<_, _> = self.model.facts.iter().collect();
            if mine != expected {
                let lost: Vec<_> = expected.keys().filter(|key| !mine.contains_key(*key)).collect();
                let extra: Vec<_> = mine.keys().filter(|key| !expected.contains_key(*key)).collect();
                return Err(format!("device {name}: lost {lost:?}, never durable {extra:?}"));
            }
            if trip.states() != self.model.states() {
                return Err(format!("device {name}: the states differ from the model's"));
            }
            if *heads.get_or_insert_with(|| found.clone()) != found {
                let blamed = device.disk.keys().filter(|key| matches!(key, Key::Blamed(_))).count();
                let ours: BTreeSet<_> = found.1.keys().collect();
                let first = heads.as_ref().map(|(_, facts)| facts.keys().collect::<BTreeSet<_>>()).unwrap_or_default();
                let differ: Vec<_> = ours.symmetric_difference(&first).collect();
                return Err(format!("device {name}: other heads than the first device: {differ:?}, {blamed} blamed"));
            }
        }
        Ok(())
    }
}
