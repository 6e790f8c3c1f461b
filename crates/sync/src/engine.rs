//! The engine's state, its start from storage, and the way of every event.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use automerge::ChangeHash;
use litemap::LiteMap;
use trug_replica::gather;
use trug_seal::{EntryKind, UnpackLimit, unpack};

use crate::document::{Document, change_hash};
use crate::line::Line;
use crate::message::{Effect, Event, Instant, Keys, Status, Tell, Ticket};
use crate::record::{Cursor, EntryId, Key, read_entry, read_hashes, read_listed};

/// How the engine behaves.
#[derive(Debug, Clone, Copy)]
pub struct Settings {
    /// A random number, fresh for every start of the program: it names the process and jitters the pauses.
    pub seed: u64,
    /// No other process of this device has the document open, so that a journal left behind means a crash.
    pub alone: bool,
    /// An owner's device puts a snapshot in place of this many entries.
    pub snapshot_every: u64,
    /// This many stored records are brought together in one.
    pub compact_at: usize,
    /// The most bytes of changes in one parcel, before they are deflated.
    pub parcel: usize,
    /// How the engine is broken, for a test to see whether anybody notices.
    #[cfg(any(test, feature = "sabotage"))]
    pub sabotage: Option<crate::Sabotage>,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            seed: 0,
            alone: true,
            snapshot_every: 256,
            compact_at: 256,
            parcel: 512 << 10,
            #[cfg(any(test, feature = "sabotage"))]
            sabotage: None,
        }
    }
}

/// What a write is for.
#[derive(Debug, Clone)]
pub(crate) enum Purpose {
    Changes(Vec<(ChangeHash, Vec<u8>)>),
    Parcel(EntryId),
    Page,
    Journal,
    Carried(EntryId),
    Save { id: EntryId, covers: Vec<Key> },
    Compacted(Vec<Key>),
    Else,
}

/// A write that is not durable yet.
pub(crate) struct Pending {
    pub(crate) key: Key,
    pub(crate) bytes: Vec<u8>,
    pub(crate) purpose: Purpose,
}

/// A sealed entry on its way into the log.
pub(crate) struct Parcel {
    pub(crate) id: EntryId,
    pub(crate) hashes: Vec<ChangeHash>,
    pub(crate) sealed: Vec<u8>,
    pub(crate) state: ParcelState,
}

/// How far a parcel has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum ParcelState {
    Storing,
    Ready,
    /// The relay said it has this number. Only what is read back counts as lying in the log.
    Acknowledged(u64),
}

/// What arrived, by its record.
pub(crate) struct Held {
    pub(crate) key: Key,
    pub(crate) hashes: Vec<ChangeHash>,
    /// Every part of it is among `hashes`.
    pub(crate) counted: bool,
    /// Kept until it was tried, and on while any of it is not in the document.
    pub(crate) content: Vec<u8>,
    /// Why it did not open.
    pub(crate) shut: Option<String>,
}

/// What is being withdrawn, and how far that has come.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Retiring {
    pub(crate) read_only_at: Instant,
    pub(crate) delete_at: Instant,
    pub(crate) read_only: bool,
}

/// One document's sync on one device. See the crate's page for the control loop.
pub struct Engine<D: Document> {
    pub(crate) keys: Keys,
    pub(crate) settings: Settings,
    pub(crate) document: D,
    pub(crate) random: u64,
    pub(crate) process: u64,
    pub(crate) next: u64,
    pub(crate) pending: LiteMap<Ticket, Pending>,
    pub(crate) failed: Vec<Ticket>,
    pub(crate) cursor: Cursor,
    /// What lies in the log, as it was read up to the cursor.
    pub(crate) logged: BTreeSet<ChangeHash>,
    /// Local changes that are not durable yet.
    pub(crate) saving: BTreeSet<ChangeHash>,
    /// Those of them whose write has not been asked for yet.
    pub(crate) queue: Vec<(ChangeHash, Vec<u8>)>,
    /// A write of local changes is under way.
    pub(crate) writing: bool,
    /// Durable changes that are neither in the log nor in a parcel.
    pub(crate) lacking: Vec<(ChangeHash, Vec<u8>)>,
    /// `lacking` has to be worked out from the whole document once the log's head was reached.
    pub(crate) recount: bool,
    pub(crate) outbox: VecDeque<Parcel>,
    pub(crate) unsendable: BTreeSet<ChangeHash>,
    pub(crate) held: BTreeMap<EntryId, Held>,
    /// Stored changes of this device, by the first of each record.
    pub(crate) changes: BTreeMap<ChangeHash, Vec<ChangeHash>>,
    pub(crate) saves: BTreeSet<EntryId>,
    pub(crate) compacting: bool,
    /// Entries of a page that is being stored, with the cursor behind them.
    pub(crate) page: Option<crate::pull::Storing>,
    pub(crate) untried: VecDeque<EntryId>,
    pub(crate) trying: Option<Vec<EntryId>>,
    /// What a journal left behind names is tried alone; how often the program has stopped on it.
    pub(crate) suspects: LiteMap<EntryId, u8>,
    pub(crate) line: Line,
    pub(crate) relay: bool,
    pub(crate) caught_up: bool,
    pub(crate) fetch: bool,
    /// The relay has the log, as far as this device has heard: before that there is nothing to read or to watch there.
    pub(crate) known: bool,
    pub(crate) create: bool,
    pub(crate) full: bool,
    pub(crate) no_snapshot: bool,
    pub(crate) tries: u32,
    pub(crate) retiring: Option<Retiring>,
    pub(crate) told: Option<Status>,
}

/// Effects, where they are collected.
pub(crate) type Out<T> = Vec<Effect<T>>;

impl<D: Document> Engine<D> {
    /// Opens a document from its records. `open` gives a new document, or the one that was saved as these bytes; where it
    /// fails, the record is told to be damaged and left alone.
    pub fn open(
        keys: Keys,
        settings: Settings,
        records: Vec<(Key, Vec<u8>)>,
        mut open: impl FnMut(Option<&[u8]>) -> Option<D>,
        out: &mut Vec<Effect<D::Told>>,
    ) -> Option<Self> {
        let records = gather::map(records);
        let cursor = best_cursor(&records);
        let base = cursor.save.and_then(|id| records.get(&Key::Save(id))).and_then(|bytes| read_listed(bytes));
        let opened = base.as_ref().and_then(|(_, saved)| open(Some(saved)));
        let cursor = if opened.is_none() && cursor.save.is_some() { Cursor::START } else { cursor };
        let saves = records.iter().filter(|(key, _)| matches!(key, Key::Save(id) if Some(*id) != cursor.save));
        let (document, others) = match opened {
            Some(document) => (document, saves.collect()),
            None => open_first(saves.collect(), &mut open, out)?,
        };
        let mut engine = Self::empty(keys, settings, document, cursor);
        if let Some((lacking, _)) = base.filter(|_| engine.cursor.save.is_some()) {
            engine.logged.extend(engine.document.all().into_iter().map(|(hash, _)| hash));
            for hash in lacking {
                engine.logged.remove(&hash);
            }
        }
        engine.saves.extend(engine.cursor.save);
        engine.take_saves(others, out);
        engine.take_records(records, out);
        Some(engine)
    }

    fn empty(keys: Keys, settings: Settings, document: D, cursor: Cursor) -> Self {
        let mut engine = Self {
            keys,
            settings,
            document,
            random: settings.seed,
            process: 0,
            next: 0,
            pending: LiteMap::new(),
            failed: Vec::new(),
            cursor,
            logged: BTreeSet::new(),
            saving: BTreeSet::new(),
            queue: Vec::new(),
            writing: false,
            lacking: Vec::new(),
            recount: true,
            outbox: VecDeque::new(),
            unsendable: BTreeSet::new(),
            held: BTreeMap::new(),
            changes: BTreeMap::new(),
            saves: BTreeSet::new(),
            compacting: false,
            page: None,
            untried: VecDeque::new(),
            trying: None,
            suspects: LiteMap::new(),
            line: Line::Offline,
            relay: false,
            caught_up: false,
            fetch: false,
            known: false,
            create: false,
            full: false,
            no_snapshot: false,
            tries: 0,
            retiring: None,
            told: None,
        };
        engine.process = engine.draw();
        engine
    }

    /// Takes other processes' saves in. Only one that is wholly in the document may be replaced by a newer one.
    fn take_saves(&mut self, saves: Records<'_>, out: &mut Out<D::Told>) {
        for (key, bytes) in saves {
            let before = self.document.quarantined();
            let saved = read_listed(bytes).map(|(_, saved)| saved.to_vec());
            let is_read = saved.map(|saved| self.document.admit(vec![saved])).is_some();
            let whole = is_read && self.document.quarantined() == before && self.document.waiting() == 0;
            match key {
                Key::Save(id) if whole => drop(self.saves.insert(*id)),
                _ => out.push(Effect::Tell(Tell::Damaged(*key))),
            }
        }
    }

    /// Takes in everything but the saves.
    fn take_records(&mut self, records: BTreeMap<Key, Vec<u8>>, out: &mut Out<D::Told>) {
        let mut own = Vec::new();
        for (key, bytes) in &records {
            let known = match key {
                Key::Change(hash) => self.take_changes(*hash, bytes, &mut own),
                Key::Entry(id) | Key::Carried(id) => self.take_held(*id, *key, bytes),
                Key::Outbox(id) => self.take_parcel(*id, bytes),
                Key::Retiring => self.take_retiring(bytes),
                Key::Save(_) | Key::Cursor(_) | Key::Trying(_) | Key::Blamed(_) => true,
            };
            if !known {
                out.push(Effect::Tell(Tell::Damaged(*key)));
            }
        }
        let entries = self.cursor.entries.clone();
        for held in entries.iter().filter_map(|id| self.held.get(id)) {
            self.logged.extend(&held.hashes);
        }
        self.document.admit(own);
        self.untried = self.held.iter().filter(|(_, held)| held.shut.is_none()).map(|(id, _)| *id).collect();
        self.take_journal(&records, out);
        let cursors: Vec<Key> = records.keys().filter(|key| matches!(key, Key::Cursor(_))).copied().collect();
        if self.settings.alone && !cursors.is_empty() {
            // Kept until this process has one of its own.
            self.store(Key::Cursor(self.process), self.cursor.write(), Purpose::Compacted(cursors), out);
        }
        self.recount_lacking();
    }

    fn take_changes(&mut self, first: ChangeHash, bytes: &[u8], contents: &mut Vec<Vec<u8>>) -> bool {
        let Some(parts) = read_framed(bytes) else { return false };
        let held = hold(Key::Change(first), &parts);
        self.changes.insert(first, held.hashes);
        contents.push(held.content);
        true
    }

    fn take_held(&mut self, id: EntryId, key: Key, bytes: &[u8]) -> bool {
        let held = match key {
            Key::Entry(_) => read_entry(bytes).map(|(kind, sealed)| self.unseal(key, kind, sealed)),
            _ => read_framed(bytes).map(|parts| hold(key, &parts)),
        };
        let Some(held) = held else { return false };
        self.held.insert(id, held);
        true
    }

    fn take_parcel(&mut self, id: EntryId, bytes: &[u8]) -> bool {
        let Some((hashes, sealed)) = read_listed(bytes) else { return false };
        self.outbox.push_back(Parcel { id, hashes, sealed: sealed.to_vec(), state: ParcelState::Ready });
        true
    }

    /// Opens an entry or a snapshot. What does not open is kept with the reason.
    pub(crate) fn unseal(&self, key: Key, kind: EntryKind, sealed: &[u8]) -> Held {
        let limit = match kind {
            EntryKind::Entry => UnpackLimit::default(),
            EntryKind::Snapshot => UnpackLimit { bytes: 128 << 20, changes: 1_000_000 },
        };
        let unpacked = self
            .keys
            .unseal(kind, sealed)
            .and_then(|content| unpack(&content, limit).map_err(|error| error.to_string()));
        match unpacked {
            Ok(unpacked) => hold(key, &unpacked.changes().collect::<Vec<_>>()),
            Err(why) => Held { key, hashes: Vec::new(), counted: false, content: Vec::new(), shut: Some(why) },
        }
    }

    /// The document.
    pub const fn document(&self) -> &D {
        &self.document
    }

    /// The document, for edits; [`Event::Edited`] must follow.
    pub const fn document_mut(&mut self) -> &mut D {
        &mut self.document
    }

    /// The number of the last entry that was read.
    pub const fn read_to(&self) -> u64 {
        self.cursor.seq
    }

    /// Whether nothing is left to do but wait: everything read, tried, stored, sent and read back.
    #[must_use]
    pub fn is_settled(&self) -> bool {
        let idle = self.pending.is_empty() && self.page.is_none() && self.untried.is_empty() && self.trying.is_none();
        idle && self.caught_up && self.outbox.is_empty() && self.lacking.is_empty() && !self.recount
    }

    /// What is left to do, for whoever looks for a fault.
    #[must_use]
    pub fn unrest(&self) -> String {
        let caught_up = if self.caught_up { "" } else { "not " };
        format!(
            "{} writes, {} untried, {} parcels, {} lacking, {caught_up}caught up at {}, {:?}",
            self.pending.len(),
            self.untried.len() + self.trying.as_ref().map_or(0, Vec::len),
            self.outbox.len(),
            self.lacking.len(),
            self.cursor.seq,
            self.line
        )
    }

    /// How far this device's work has got.
    #[must_use]
    pub fn status(&self) -> Status {
        let waiting = self.outbox.iter().filter(|parcel| !matches!(parcel.state, ParcelState::Acknowledged(_)));
        let parcels: usize = waiting.map(|parcel| parcel.hashes.len()).sum();
        Status {
            saving: self.saving.len(),
            to_send: parcels + self.lacking.len() + self.unsendable.len(),
            relay: self.relay,
        }
    }

    /// Takes what happened, and says what is to be done.
    pub fn handle(&mut self, now: Instant, event: Event, out: &mut Vec<Effect<D::Told>>) {
        match event {
            Event::Edited => self.edited(out),
            Event::Stored(ticket) => self.stored(ticket, out),
            Event::NotStored(ticket) => self.not_stored(now, ticket, out),
            Event::Found(records) => self.found(records),
            Event::Carried(changes) => self.carried(&changes, out),
            Event::Answer(request, answer) => self.answered(now, request, answer, out),
            Event::Head(head) => self.fetch |= head != self.cursor.seq,
            Event::Time => self.time(now, out),
            Event::Online => self.online(out),
            Event::Offline => self.offline(out),
            Event::Retry(id) => self.retry(id, out),
            Event::Retire { read_only_at, delete_at } => self.retire(read_only_at, delete_at, out),
        }
        self.drive(now, out);
        let status = self.status();
        if self.told != Some(status) {
            self.told = Some(status);
            out.push(Effect::Tell(Tell::Status(status)));
        }
    }

    /// Starts whatever can be started.
    fn drive(&mut self, now: Instant, out: &mut Out<D::Told>) {
        self.start_trial(out);
        self.recount_now();
        self.compact(out);
        self.call(now, out);
    }

    /// What came another way than through the log is sent on as soon as it is in the document, not at the next look at
    /// the log, which may be a minute away.
    fn recount_now(&mut self) {
        let tried = self.untried.is_empty() && self.trying.is_none();
        if self.recount && tried && self.caught_up && !self.fetch && self.page.is_none() {
            self.recount = false;
            self.recount_lacking();
        }
    }

    pub(crate) fn store(&mut self, key: Key, bytes: Vec<u8>, purpose: Purpose, out: &mut Out<D::Told>) -> Ticket {
        self.next += 1;
        let ticket = Ticket(self.next);
        self.pending.insert(ticket, Pending { key, bytes: bytes.clone(), purpose });
        out.push(Effect::Store { ticket, key, bytes });
        ticket
    }

    fn stored(&mut self, ticket: Ticket, out: &mut Out<D::Told>) {
        let Some(Pending { purpose, key, bytes }) = self.pending.remove(&ticket) else { return };
        match purpose {
            Purpose::Changes(changes) => self.are_durable(changes, out),
            Purpose::Parcel(id) => self.parcel_stored(id),
            Purpose::Page => self.page_stored(ticket, out),
            Purpose::Journal => self.run_trial(out),
            Purpose::Carried(id) => {
                self.take_held(id, key, &bytes);
                self.untried.push_back(id);
                self.recount = true;
            }
            Purpose::Save { id, covers } => self.saved(id, covers, out),
            Purpose::Compacted(covers) => out.extend(covers.into_iter().map(Effect::Delete)),
            Purpose::Else => {}
        }
    }

    /// Another process's records: what they hold is durable already.
    fn found(&mut self, records: Vec<(Key, Vec<u8>)>) {
        for (key, bytes) in records {
            match key {
                Key::Change(hash) if !self.changes.contains_key(&hash) => {
                    let mut contents = Vec::new();
                    self.take_changes(hash, &bytes, &mut contents);
                    self.document.admit(contents);
                    self.recount = true;
                }
                Key::Entry(id) | Key::Carried(id) if !self.held.contains_key(&id) => {
                    let opens = |held: &Held| held.shut.is_none();
                    let is_open = self.take_held(id, key, &bytes) && self.held.get(&id).is_some_and(opens);
                    self.untried.extend(is_open.then_some(id));
                    self.recount |= is_open;
                }
                _ => {}
            }
        }
    }

    pub(crate) const fn draw(&mut self) -> u64 {
        mix(&mut self.random)
    }

    #[cfg(any(test, feature = "sabotage"))]
    pub(crate) fn broken(&self, sabotage: crate::Sabotage) -> bool {
        self.settings.sabotage == Some(sabotage)
    }
}

/// The next number after a seed (splitmix64): good enough to jitter pauses and to tell two processes apart. No secret may
/// come from it.
#[must_use]
pub const fn mix(seed: &mut u64) -> u64 {
    *seed = seed.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut mixed = *seed;
    mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    mixed ^ (mixed >> 31)
}

/// Whether the engine is broken in this way; never, in what ships.
macro_rules! broken {
    ($engine:expr, $way:ident) => {{
        #[cfg(any(test, feature = "sabotage"))]
        let broken = $engine.broken(crate::Sabotage::$way);
        #[cfg(not(any(test, feature = "sabotage")))]
        let broken = false;
        broken
    }};
}
pub(crate) use broken;

pub(crate) fn hold(key: Key, parts: &[&[u8]]) -> Held {
    let hashes: Vec<ChangeHash> = parts.iter().filter_map(|part| change_hash(part)).collect();
    Held { key, counted: hashes.len() == parts.len(), hashes, content: parts.concat(), shut: None }
}

/// Changes as one record: each with its length before it.
pub(crate) fn write_framed<'p>(parts: impl IntoIterator<Item = &'p Vec<u8>>) -> Vec<u8> {
    parts
        .into_iter()
        .flat_map(|part| (part.len() as u64).to_be_bytes().into_iter().chain(part.iter().copied()))
        .collect()
}

fn read_framed(mut bytes: &[u8]) -> Option<Vec<&[u8]>> {
    let mut parts = Vec::new();
    while !bytes.is_empty() {
        let (len, rest) = bytes.split_first_chunk()?;
        let (part, rest) = rest.split_at_checked(usize::try_from(u64::from_be_bytes(*len)).ok()?)?;
        parts.push(part);
        bytes = rest;
    }
    Some(parts)
}

/// The cursor that has come furthest of those whose records are all there; another process may have deleted some.
fn best_cursor(records: &BTreeMap<Key, Vec<u8>>) -> Cursor {
    let cursors = records.iter().filter(|(key, _)| matches!(key, Key::Cursor(_)));
    let whole = |cursor: &Cursor| {
        cursor.save.is_none_or(|id| records.contains_key(&Key::Save(id)))
            && cursor.entries.iter().all(|id| records.contains_key(&Key::Entry(*id)))
    };
    let read = cursors.filter_map(|(_, bytes)| Cursor::read(bytes)).filter(whole);
    read.max_by_key(|cursor| cursor.seq).unwrap_or(Cursor::START)
}

type Records<'r> = Vec<(&'r Key, &'r Vec<u8>)>;

/// Opens with the first save that opens, or new.
fn open_first<'r, D: Document>(
    saves: Records<'r>,
    open: &mut impl FnMut(Option<&[u8]>) -> Option<D>,
    out: &mut Out<D::Told>,
) -> Option<(D, Records<'r>)> {
    let mut saves = saves.into_iter();
    for (key, bytes) in saves.by_ref() {
        match read_listed(bytes).and_then(|(_, saved)| open(Some(saved))) {
            Some(document) => return Some((document, saves.collect())),
            None => out.push(Effect::Tell(Tell::Damaged(*key))),
        }
    }
    Some((open(None)?, Vec::new()))
}

/// The journals of processes: how often the program had stopped on these entries before, and which they are.
pub(crate) fn journals(records: &BTreeMap<Key, Vec<u8>>) -> impl Iterator<Item = (Key, u8, Vec<EntryId>)> {
    let journals = records.iter().filter(|(key, _)| matches!(key, Key::Trying(_)));
    journals.filter_map(|(key, bytes)| {
        let (stops, entries) = bytes.split_first()?;
        Some((*key, *stops, read_hashes(entries)?.into_iter().map(EntryId).collect()))
    })
}

pub(crate) fn write_journal<'i>(stops: u8, entries: impl IntoIterator<Item = &'i EntryId>) -> Vec<u8> {
    std::iter::once(stops).chain(entries.into_iter().flat_map(|id| id.0)).collect()
}
