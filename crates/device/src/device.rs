//! The device itself: opening it, routing events to engines and their effects to the shell.

use std::collections::{BTreeMap, VecDeque};

use litemap::LiteMap;
use trug_replica::book::{self, Book, Root as BookRoot};
use trug_replica::gather;
use trug_replica::hex::hex;
use trug_replica::id::{DeviceId, NoEntropy, OsEntropy};
use trug_replica::pantry::{self, Pantry};
use trug_replica::run::{self, Run};
use trug_replica::{Document, EditError, Kind, Mode};
use trug_seal::{DocumentKind, LogId, NoRandomness, Root, WebAddress, Zeroizing};
use trug_sync::wire::{self, Request, Response};
use trug_sync::{
    Call, Effect as EngineEffect, Event as EngineEvent, Failure, Instant, Key, RequestId, Settings, Status, Tell,
    Ticket,
};

use crate::member::{DocId, Entry, Itself, Member, Right, unhex};
use crate::shelf::{AnyDocument, Effects, Shelf};

/// A trip that is over is brought together in one record once it lies in this many.
const FEW: usize = 16;
/// How long after a failure the device's own records are written again, in milliseconds.
const PAUSE: u64 = 500;
/// Where the device keeps what it knows of itself.
const ITSELF: &str = "device/self";
/// Before the log's id, where it keeps what opens a document.
const MEMBER: &str = "member/";

/// One call of the whole device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CallId(pub u64);

/// What others did, in any document.
#[derive(Debug, Clone, PartialEq)]
pub enum Told {
    /// In the book.
    Book(book::Change),
    /// In a pantry.
    Pantry(pantry::Change),
    /// In a shopping trip.
    Run(run::Change),
}

/// What happened.
#[derive(Debug)]
pub enum Event {
    /// A write is durable.
    Stored(Ticket),
    /// A write failed.
    NotStored(Ticket),
    /// Another tab or process of this device says that it stored these.
    Found(Vec<(String, Vec<u8>)>),
    /// The relay answered, or (`None`) did not.
    Answer(CallId, Option<Response>),
    /// The live channel said where a log's head is.
    Head(LogId, u64),
    /// Time has passed.
    Time,
    /// The network may be there.
    Online,
    /// It is not, or another process does the syncing.
    Offline,
}

/// What the shell is to do, in this order.
#[derive(Debug)]
pub enum Effect {
    /// Write, and say [`Event::Stored`] once it is durable.
    Store {
        /// To be named then.
        ticket: Ticket,
        /// Under what.
        key: String,
        /// What.
        bytes: Vec<u8>,
    },
    /// Delete. May be lost in a crash.
    Delete(String),
    /// Send, and say [`Event::Answer`].
    Send(CallId, Request),
    /// Watch a log on a relay's live channel with a token, or (`None`) stop.
    Watch {
        /// The relay.
        relay: WebAddress,
        /// The log.
        log: LogId,
        /// The bearer token.
        bearer: Option<Zeroizing<String>>,
    },
    /// Say [`Event::Time`] then. A later timer replaces an earlier one.
    SetTimer(Instant),
    /// Tell the screen.
    Tell(DocId, Note),
}

/// Something for the screen, about one document.
#[derive(Debug)]
pub enum Note {
    /// What its engine says.
    Engine(Tell<Told>),
    /// The document is on this device now.
    Opened,
    /// It is not any more: its log was withdrawn.
    Left,
}

/// Why a device cannot be opened.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum OpenError {
    /// No randomness.
    #[error("this device gives no random numbers; without them nothing can be kept safely")]
    NoRandomness,
    /// What it knows of itself is damaged.
    #[error("what this device knows of itself (`device/self`) cannot be read: {0}")]
    Damaged(String),
}

impl From<NoEntropy> for OpenError {
    fn from(_: NoEntropy) -> Self {
        Self::NoRandomness
    }
}

/// Why an edit was not made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Refused {
    /// The document is not here, or is of another kind.
    #[error("there is no such document on this device: {0}")]
    NotHere(DocId),
    /// The document does not take the edit.
    #[error(transparent)]
    Edit(#[from] EditError),
    /// No randomness.
    #[error("this device gives no random numbers")]
    NoRandomness,
}

impl From<NoRandomness> for Refused {
    fn from(_: NoRandomness) -> Self {
        Self::NoRandomness
    }
}

/// A kind of document that can be edited.
pub trait Edit: Document {
    /// The document on a shelf, where it is of this kind.
    fn on(shelf: &mut Shelf) -> Option<&mut Self>;
}

impl Edit for Book {
    fn on(shelf: &mut Shelf) -> Option<&mut Self> {
        if let AnyDocument::Book(gate) = shelf.held_mut() { Some(gate.document_mut()) } else { None }
    }
}

impl Edit for Pantry {
    fn on(shelf: &mut Shelf) -> Option<&mut Self> {
        if let AnyDocument::Pantry(gate) = shelf.held_mut() { Some(gate.document_mut()) } else { None }
    }
}

impl Edit for Run {
    fn on(shelf: &mut Shelf) -> Option<&mut Self> {
        if let AnyDocument::Run(gate) = shelf.held_mut() { Some(gate.document_mut()) } else { None }
    }
}

/// A document that is open.
pub(crate) struct Held {
    pub(crate) id: DocId,
    pub(crate) right: Right,
    pub(crate) relay: Option<WebAddress>,
    pub(crate) shelf: Shelf,
    /// The log that takes this one's place: everything that still comes in here goes there as well.
    pub(crate) heir: Option<LogId>,
}

/// A trip that is over, before it is opened.
struct Asleep {
    id: DocId,
    title: String,
    root: Root,
    relay: Option<WebAddress>,
}

/// One device. See the crate's page.
pub struct Device {
    itself: Itself,
    id: DeviceId,
    random: u64,
    alone: bool,
    online: bool,
    next: u64,
    pub(crate) held: LiteMap<LogId, Held>,
    pub(crate) members: LiteMap<LogId, Member>,
    /// Trips that are over wait here at the start, until [`wake_next`](Self::wake_next) opens them.
    asleep: VecDeque<Asleep>,
    /// They may wait.
    in_part: bool,
    /// Records of documents that nothing opens yet.
    loose: LiteMap<LogId, Vec<(Key, Vec<u8>)>>,
    tickets: LiteMap<Ticket, (LogId, Ticket)>,
    /// The device's own records that are being written.
    writing: LiteMap<Ticket, (String, Vec<u8>)>,
    /// Those that could not be, and when they are tried again.
    unwritten: LiteMap<String, Vec<u8>>,
    again: Option<Instant>,
    calls: LiteMap<CallId, (LogId, RequestId, Call)>,
    timers: LiteMap<LogId, Instant>,
}

impl Device {
    /// Opens a device from all its records, or begins one where there are none. `seed` is random, fresh for each start of
    /// the program; `alone` says that no other process of this device has its documents open.
    ///
    /// # Errors
    /// [`OpenError`].
    pub fn open(
        records: Vec<(String, Vec<u8>)>,
        seed: u64,
        alone: bool,
        now: Instant,
        out: &mut Vec<Effect>,
    ) -> Result<Self, OpenError> {
        Self::from_records(records, seed, alone, false, now, out)
    }

    /// The same, but trips that are over stay closed until [`wake_next`](Self::wake_next) or [`wake`](Self::wake) opens
    /// them: after a year there are fifty of them, and nobody opens the app for those.
    ///
    /// # Errors
    /// [`OpenError`].
    pub fn open_in_part(
        records: Vec<(String, Vec<u8>)>,
        seed: u64,
        alone: bool,
        now: Instant,
        out: &mut Vec<Effect>,
    ) -> Result<Self, OpenError> {
        Self::from_records(records, seed, alone, true, now, out)
    }

    fn from_records(
        records: Vec<(String, Vec<u8>)>,
        seed: u64,
        alone: bool,
        in_part: bool,
        now: Instant,
        out: &mut Vec<Effect>,
    ) -> Result<Self, OpenError> {
        let mut itself = None;
        let (mut members, mut loose) = (LiteMap::new(), LiteMap::<LogId, Vec<_>>::new());
        for (key, bytes) in records {
            if key == ITSELF {
                itself = Some(serde_json::from_slice(&bytes).map_err(|error| OpenError::Damaged(error.to_string()))?);
            } else if let Some(log) = key.strip_prefix(MEMBER).and_then(|log| log.parse().ok()) {
                members.extend(Member::read(&bytes).map(|member: Member| (log, member)));
            } else if let Some((log, key)) = split_key(&key) {
                loose.entry(log).or_default().push((key, bytes));
            }
        }
        let is_new = itself.is_none();
        let itself: Itself = match itself {
            Some(itself) => itself,
            None => Itself {
                id: DeviceId::draw(&mut OsEntropy)?.to_string(),
                name: String::new(),
                passcodes: BTreeMap::new(),
            },
        };
        let id = itself.device().ok_or_else(|| OpenError::Damaged(format!("`{}` is no device's id", itself.id)))?;
        let mut device = Self {
            itself,
            id,
            random: seed,
            alone,
            online: false,
            next: 0,
            held: LiteMap::new(),
            members,
            asleep: VecDeque::new(),
            in_part,
            loose,
            tickets: LiteMap::new(),
            writing: LiteMap::new(),
            unwritten: LiteMap::new(),
            again: None,
            calls: LiteMap::new(),
            timers: LiteMap::new(),
        };
        if is_new {
            device.write_itself(out);
        }
        device.open_members(now, out);
        device.follow_book(now, out);
        Ok(device)
    }

    fn write_itself(&mut self, out: &mut Vec<Effect>) {
        let bytes = serde_json::to_vec(&self.itself).unwrap_or_default();
        self.write(ITSELF.to_owned(), bytes, out);
    }

    /// A write of the device's own. It is tried again until it is durable, or something newer is under the key.
    pub(crate) fn write(&mut self, key: String, bytes: Vec<u8>, out: &mut Vec<Effect>) {
        self.next += 1;
        self.unwritten.remove(&key);
        self.writing.insert(Ticket(self.next), (key.clone(), bytes.clone()));
        out.push(Effect::Store { ticket: Ticket(self.next), key, bytes });
    }

    pub(crate) fn write_member(&mut self, log: LogId, member: Member, out: &mut Vec<Effect>) {
        let bytes = member.write().to_vec();
        self.members.insert(log, member);
        self.write(format!("{MEMBER}{log}"), bytes, out);
    }

    pub(crate) fn forget_member(&mut self, log: LogId, out: &mut Vec<Effect>) {
        if self.members.remove(&log).is_some() {
            out.push(Effect::Delete(format!("{MEMBER}{log}")));
        }
    }

    /// This device's id.
    #[must_use]
    pub const fn id(&self) -> DeviceId {
        self.id
    }

    /// What its person is called; empty where nobody has said.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.itself.name
    }

    /// Says what its person is called, here and in every document that names its people.
    pub fn set_name(&mut self, now: Instant, name: &str, out: &mut Vec<Effect>) {
        name.clone_into(&mut self.itself.name);
        self.write_itself(out);
        let logs: Vec<LogId> = self.held.keys().copied().collect();
        for log in logs {
            self.sign(now, log, out);
        }
    }

    /// Writes the person's name into a document that has another.
    pub(crate) fn sign(&mut self, now: Instant, log: LogId, out: &mut Vec<Effect>) {
        let (name, id) = (self.itself.name.clone(), self.id);
        let Some(held) = self.held.get_mut(&log).filter(|held| held.heir.is_none() && !name.is_empty()) else { return };
        // A name that cannot be written is no reason not to shop.
        let written = match held.shelf.held_mut() {
            AnyDocument::Book(_) => false,
            AnyDocument::Pantry(gate) => {
                let pantry = gate.document_mut();
                pantry.people().get(&id) != Some(&name) && pantry.set_name(&name).unwrap_or(false)
            }
            AnyDocument::Run(gate) => {
                let run = gate.document_mut();
                run.people().get(&id) != Some(&name) && run.set_name(&name).unwrap_or(false)
            }
        };
        if written {
            self.pass(now, log, EngineEvent::Edited, out);
        }
    }

    /// What a relay wants of whoever creates a log there.
    pub fn set_passcode(&mut self, relay: &WebAddress, passcode: &str, out: &mut Vec<Effect>) {
        if passcode.is_empty() {
            self.itself.passcodes.remove(&relay.to_string());
        } else {
            self.itself.passcodes.insert(relay.to_string(), passcode.to_owned());
        }
        self.write_itself(out);
    }

    /// Opens the documents that it has records of its own for.
    pub(crate) fn open_members(&mut self, now: Instant, out: &mut Vec<Effect>) {
        let missing: Vec<(LogId, Member)> = self
            .members
            .iter()
            .filter(|(log, _)| !self.held.contains_key(log))
            .map(|(log, member)| (*log, member.clone()))
            .collect();
        for (log, member) in missing {
            let id = if member.kind == DocumentKind::Book { DocId::book() } else { DocId::joined(log) };
            self.open_shelf(now, id, member.kind, member.right, member.relay, None, out);
        }
    }

    /// Opens what the book has roots for, and takes up a document's new log where its root has changed.
    pub(crate) fn follow_book(&mut self, now: Instant, out: &mut Vec<Effect>) {
        let Some(book) = self.book() else { return };
        let (roots, _) = book.roots();
        let own: Vec<(String, BookRoot, Root)> = roots
            .into_iter()
            .filter_map(|(key, root)| unhex(&root.secret).map(|bytes| (key, root, Root::from_bytes(*bytes))))
            .collect();
        let logs = gather::map(own.iter().map(|(key, _, root)| (key.clone(), root.log_id())));
        self.asleep.clear();
        for (key, root, secret) in own {
            let log = secret.log_id();
            let relay: Option<WebAddress> = root.relay.as_deref().and_then(|text| text.parse().ok());
            let heir =
                key.strip_prefix(OLD).and_then(|rest| rest.rsplit_once('/')).and_then(|(of, _)| logs.get(of)).copied();
            if self.held.contains_key(&log) {
                self.change_place(now, log, relay, heir, out);
                continue;
            }
            let kind = match root.kind {
                Kind::Book => continue,
                Kind::Pantry => DocumentKind::Pantry,
                Kind::Run => DocumentKind::Run,
            };
            let id = DocId::of_root(&key);
            if self.in_part && self.is_finished(&id) {
                self.asleep.push_back(Asleep { id, title: root.title, root: secret, relay });
                continue;
            }
            self.open_shelf(now, id, kind, Right::Owner(secret), relay, heir, out);
        }
        self.drop_unlisted(&logs, out);
        self.hand_on(now, out);
    }

    /// Opens one more trip that is over, the latest first. False once there is none left.
    pub fn wake_next(&mut self, now: Instant, out: &mut Vec<Effect>) -> bool {
        if let Some(asleep) = self.asleep.pop_back() {
            self.wake_up(now, asleep, out);
        }
        self.in_part = !self.asleep.is_empty();
        self.in_part
    }

    /// Opens a trip that is over because somebody wants to see it. False where it is not one that waits.
    pub fn wake(&mut self, now: Instant, id: &DocId, out: &mut Vec<Effect>) -> bool {
        let at = self.asleep.iter().position(|asleep| asleep.id == *id);
        let Some(asleep) = at.and_then(|at| self.asleep.remove(at)) else { return false };
        self.wake_up(now, asleep, out);
        true
    }

    fn wake_up(&mut self, now: Instant, asleep: Asleep, out: &mut Vec<Effect>) {
        let Asleep { id, root, relay, .. } = asleep;
        self.open_shelf(now, id, DocumentKind::Run, Right::Owner(root), relay, None, out);
    }

    /// Documents whose root the book no longer has: another of the chef's devices has put them away.
    fn drop_unlisted(&mut self, logs: &BTreeMap<String, LogId>, out: &mut Vec<Effect>) {
        let listed: Vec<LogId> = logs.values().copied().collect();
        let gone: Vec<LogId> =
            self.held.keys().filter(|log| !listed.contains(log) && !self.members.contains_key(log)).copied().collect();
        for log in gone {
            self.close(log, out);
        }
    }

    pub(crate) fn close(&mut self, log: LogId, out: &mut Vec<Effect>) {
        if let Some(held) = self.held.remove(&log) {
            self.timers.remove(&log);
            if let Some(relay) = held.relay {
                out.push(Effect::Watch { relay, log, bearer: None });
            }
            out.push(Effect::Tell(held.id, Note::Left));
        }
    }

    /// A root may say another relay than before, and a document become the one before another.
    fn change_place(
        &mut self,
        now: Instant,
        log: LogId,
        relay: Option<WebAddress>,
        heir: Option<LogId>,
        out: &mut Vec<Effect>,
    ) {
        let Some(held) = self.held.get_mut(&log) else { return };
        if let Some(heir) = heir {
            held.heir = Some(heir);
            held.id = DocId::from(format!("{OLD}{log}").as_str());
        }
        if held.relay == relay {
            return;
        }
        held.relay = relay;
        self.pass(now, log, EngineEvent::Offline, out);
        self.go_online(now, log, out);
    }

    #[allow(clippy::too_many_arguments, reason = "everything that a document is opened with, once")]
    pub(crate) fn open_shelf(
        &mut self,
        now: Instant,
        id: DocId,
        kind: DocumentKind,
        right: Right,
        relay: Option<WebAddress>,
        heir: Option<LogId>,
        out: &mut Vec<Effect>,
    ) {
        let log = right.log();
        let records = self.loose.remove(&log).unwrap_or_default();
        let mut settings =
            Settings { seed: trug_sync::mix(&mut self.random), alone: self.alone, ..Settings::default() };
        if self.is_finished(&id) {
            // Nobody will add to it: what lies there in pieces is brought together once, so that it is read quickly.
            settings.compact_at = FEW;
        }
        let mut made = Effects::new();
        let shelf = Shelf::open(kind, right.keys(kind), self.id, settings, records, &mut made);
        let Some(shelf) = shelf else { return };
        self.held.insert(log, Held { id: id.clone(), right, relay, shelf, heir });
        out.push(Effect::Tell(id, Note::Opened));
        self.carry_out(now, log, made, out);
        // What was stored and never tried, such as what came by a sealed file, is tried without waiting for anything else.
        self.pass(now, log, EngineEvent::Time, out);
        self.go_online(now, log, out);
        self.sign(now, log, out);
    }

    fn go_online(&mut self, now: Instant, log: LogId, out: &mut Vec<Effect>) {
        let reachable = self.held.get(&log).is_some_and(|held| held.relay.is_some());
        if self.online && reachable {
            self.pass(now, log, EngineEvent::Online, out);
        }
    }

    /// Takes what happened, and says what is to be done.
    pub fn handle(&mut self, now: Instant, event: Event, out: &mut Vec<Effect>) {
        match event {
            Event::Stored(ticket) => {
                self.own_stored(now, ticket, true, out);
                self.stored(now, ticket, EngineEvent::Stored, out);
            }
            Event::NotStored(ticket) => {
                self.own_stored(now, ticket, false, out);
                self.stored(now, ticket, EngineEvent::NotStored, out);
            }
            Event::Found(records) => self.found(now, records, out),
            Event::Answer(call, response) => self.answered(now, call, response.as_ref(), out),
            Event::Head(log, head) => self.pass(now, log, EngineEvent::Head(head), out),
            Event::Time => self.time(now, out),
            Event::Online => {
                self.online = true;
                let logs: Vec<LogId> = self.held.keys().copied().collect();
                logs.into_iter().for_each(|log| self.go_online(now, log, out));
            }
            Event::Offline => {
                self.online = false;
                let logs: Vec<LogId> = self.held.keys().copied().collect();
                logs.into_iter().for_each(|log| self.pass(now, log, EngineEvent::Offline, out));
            }
        }
    }

    fn stored(&mut self, now: Instant, ticket: Ticket, event: fn(Ticket) -> EngineEvent, out: &mut Vec<Effect>) {
        if let Some((log, own)) = self.tickets.remove(&ticket) {
            self.pass(now, log, event(own), out);
        }
    }

    /// Whether one of the device's own records is durable now.
    fn own_stored(&mut self, now: Instant, ticket: Ticket, durable: bool, out: &mut Vec<Effect>) {
        let Some((key, bytes)) = self.writing.remove(&ticket) else { return };
        if durable || self.writing.values().any(|(newer, _)| *newer == key) {
            return;
        }
        self.unwritten.insert(key, bytes);
        self.again = Some(Instant(now.0.saturating_add(PAUSE)));
        self.set_timer(out);
    }

    fn write_again(&mut self, now: Instant, out: &mut Vec<Effect>) {
        if self.again.is_some_and(|again| again <= now) {
            self.again = None;
            for (key, bytes) in std::mem::take(&mut self.unwritten) {
                self.write(key, bytes, out);
            }
        }
    }

    /// Another tab's records. A document that it joined is opened here as well.
    fn found(&mut self, now: Instant, records: Vec<(String, Vec<u8>)>, out: &mut Vec<Effect>) {
        let mut by_log: LiteMap<LogId, Vec<(Key, Vec<u8>)>> = LiteMap::new();
        for (key, bytes) in records {
            if let Some(log) = key.strip_prefix(MEMBER).and_then(|log| log.parse().ok()) {
                self.members.extend(Member::read(&bytes).map(|member| (log, member)));
            } else if key == ITSELF {
                self.itself = serde_json::from_slice(&bytes).unwrap_or_else(|_| Itself {
                    id: self.itself.id.clone(),
                    name: self.itself.name.clone(),
                    passcodes: self.itself.passcodes.clone(),
                });
            } else if let Some((log, key)) = split_key(&key) {
                by_log.entry(log).or_default().push((key, bytes));
            }
        }
        for (log, records) in by_log {
            if self.held.contains_key(&log) {
                self.pass(now, log, EngineEvent::Found(records), out);
            } else {
                self.loose.entry(log).or_default().extend(records);
            }
        }
        self.open_members(now, out);
        self.follow_book(now, out);
    }

    fn answered(&mut self, now: Instant, call: CallId, response: Option<&Response>, out: &mut Vec<Effect>) {
        let Some((log, request, asked)) = self.calls.remove(&call) else { return };
        let answer = response.map_or(Err(Failure::Later), |response| wire::answer(&asked, response));
        self.pass(now, log, EngineEvent::Answer(request, answer), out);
    }

    fn time(&mut self, now: Instant, out: &mut Vec<Effect>) {
        let due: Vec<LogId> = self.timers.iter().filter(|(_, at)| **at <= now).map(|(log, _)| *log).collect();
        for log in due {
            self.timers.remove(&log);
            self.pass(now, log, EngineEvent::Time, out);
        }
        self.write_again(now, out);
        self.set_timer(out);
    }

    fn set_timer(&self, out: &mut Vec<Effect>) {
        out.extend(self.timers.values().copied().chain(self.again).min().map(Effect::SetTimer));
    }

    /// Gives an engine an event, and carries out what it asks for.
    pub(crate) fn pass(&mut self, now: Instant, log: LogId, event: EngineEvent, out: &mut Vec<Effect>) {
        let Some(held) = self.held.get_mut(&log) else { return };
        let mut made = Effects::new();
        held.shelf.handle(now, event, &mut made);
        self.carry_out(now, log, made, out);
    }

    fn carry_out(&mut self, now: Instant, log: LogId, made: Effects, out: &mut Vec<Effect>) {
        let (mut merged, mut gone) = (false, false);
        for effect in made {
            merged |= matches!(effect, EngineEffect::Tell(Tell::Merged(_)));
            gone |= matches!(effect, EngineEffect::Tell(Tell::Halted(trug_sync::Halt::Gone)));
            self.one_effect(log, effect, out);
        }
        if merged {
            self.merged(now, log, out);
        }
        if gone {
            self.log_gone(now, log, out);
        }
    }

    fn one_effect(&mut self, log: LogId, effect: EngineEffect<Told>, out: &mut Vec<Effect>) {
        let Some(held) = self.held.get(&log) else { return };
        match effect {
            EngineEffect::Store { ticket, key, bytes } => {
                self.next += 1;
                let mine = Ticket(self.next);
                self.tickets.insert(mine, (log, ticket));
                out.push(Effect::Store { ticket: mine, key: format!("{log}/{key}"), bytes });
            }
            EngineEffect::Delete(key) => out.push(Effect::Delete(format!("{log}/{key}"))),
            EngineEffect::Send(request, call) => {
                let Some(relay) = &held.relay else { return };
                let passcode = self.itself.passcodes.get(&relay.to_string());
                let keys = held.right.keys(held.shelf.kind());
                let asked = wire::request(relay, &keys, passcode.map(String::as_str), &call);
                self.next += 1;
                let id = CallId(self.next);
                self.calls.insert(id, (log, request, call));
                out.push(Effect::Send(id, asked));
            }
            EngineEffect::Watch(on) => {
                let Some(relay) = held.relay.clone() else { return };
                let bearer = on.then(|| held.right.keys(held.shelf.kind()).bearer());
                out.push(Effect::Watch { relay, log, bearer });
            }
            EngineEffect::SetTimer(at) => {
                self.timers.insert(log, at);
                self.set_timer(out);
            }
            EngineEffect::Tell(tell) => out.push(Effect::Tell(held.id.clone(), Note::Engine(tell))),
        }
    }

    fn merged(&mut self, now: Instant, log: LogId, out: &mut Vec<Effect>) {
        let Some(held) = self.held.get(&log) else { return };
        if held.id == DocId::book() {
            self.follow_book(now, out);
        }
        self.hand_on(now, out);
    }

    /// What came into a withdrawn log goes on into the one that took its place.
    pub(crate) fn hand_on(&mut self, now: Instant, out: &mut Vec<Effect>) {
        let pairs: Vec<(LogId, LogId)> =
            self.held.iter().filter_map(|(log, held)| held.heir.map(|heir| (*log, heir))).collect();
        for (old, heir) in pairs {
            let (Some(from), Some(to)) = (self.held.get(&old), self.held.get(&heir)) else { continue };
            let late = to.shelf.lacking(from.shelf.all_changes());
            if !late.is_empty() {
                self.pass(now, heir, EngineEvent::Carried(late), out);
            }
        }
    }

    /// A withdrawn log that is gone has done its work; its root goes from the book. What somebody else withdrew stays to be
    /// read.
    fn log_gone(&mut self, now: Instant, log: LogId, out: &mut Vec<Effect>) {
        let Some(held) = self.held.get(&log) else { return };
        if held.heir.is_none() {
            return;
        }
        self.hand_on(now, out);
        let key = self.book().and_then(|book| {
            let (roots, _) = book.roots();
            roots.into_iter().find(|(key, root)| {
                key.starts_with(OLD)
                    && unhex(&root.secret).is_some_and(|bytes| Root::from_bytes(*bytes).log_id() == log)
            })
        });
        if let Some((key, _)) = key {
            // Read-only or not, the engine has stopped; a root that stays listed does no harm.
            let _ = self.edit(now, &DocId::book(), |book: &mut Book| book.remove_root(&key), out);
        }
        self.close(log, out);
    }

    /// Edits a document: what `edit` writes is stored before anything else happens with it.
    ///
    /// # Errors
    /// [`Refused`] where there is no such document, or it does not take the edit.
    pub fn edit<D: Edit, R>(
        &mut self,
        now: Instant,
        id: &DocId,
        edit: impl FnOnce(&mut D) -> Result<R, EditError>,
        out: &mut Vec<Effect>,
    ) -> Result<R, Refused> {
        let log = self.log_of(id).ok_or_else(|| Refused::NotHere(id.clone()))?;
        let held = self.held.get_mut(&log).ok_or_else(|| Refused::NotHere(id.clone()))?;
        let document = D::on(&mut held.shelf).ok_or_else(|| Refused::NotHere(id.clone()))?;
        let edited = edit(document);
        self.pass(now, log, EngineEvent::Edited, out);
        if *id == DocId::book() {
            self.follow_book(now, out);
        }
        Ok(edited?)
    }

    /// The log of a document.
    #[must_use]
    pub fn log_of(&self, id: &DocId) -> Option<LogId> {
        self.held.iter().find(|(_, held)| held.id == *id).map(|(log, _)| *log)
    }

    pub(crate) fn held(&self, id: &DocId) -> Option<&Held> {
        self.held.values().find(|held| held.id == *id)
    }

    /// A document with its engine.
    #[must_use]
    pub fn shelf(&self, id: &DocId) -> Option<&Shelf> {
        self.held(id).map(|held| &held.shelf)
    }

    /// The book.
    #[must_use]
    pub fn book(&self) -> Option<&Book> {
        self.shelf(&DocId::book())?.book()
    }

    /// A shopping trip.
    #[must_use]
    pub fn run(&self, id: &DocId) -> Option<&Run> {
        self.shelf(id)?.run()
    }

    /// A pantry.
    #[must_use]
    pub fn pantry(&self, id: &DocId) -> Option<&Pantry> {
        self.shelf(id)?.pantry()
    }

    /// Everything on the device but what is only waited out.
    #[must_use]
    pub fn entries(&self) -> Vec<Entry> {
        let current = self.held.iter().filter(|(_, held)| held.heir.is_none());
        let current = current.map(|(log, held)| self.entry(*log, held));
        let asleep = self.asleep.iter().map(|asleep| Entry {
            id: asleep.id.clone(),
            kind: DocumentKind::Run,
            title: asleep.title.clone(),
            owned: true,
            log: asleep.root.log_id(),
            relay: asleep.relay.clone(),
        });
        gather::ordered(current.chain(asleep), |a, b| a.id < b.id)
    }

    fn entry(&self, log: LogId, held: &Held) -> Entry {
        let own = held.shelf.title();
        let listed = || {
            let (roots, _) = self.book()?.roots();
            roots.get(held.id.as_str()).map(|root| root.title.clone())
        };
        Entry {
            id: held.id.clone(),
            kind: held.shelf.kind(),
            title: if own.is_empty() { listed().unwrap_or_default() } else { own },
            owned: matches!(held.right, Right::Owner(_)),
            log,
            relay: held.relay.clone(),
        }
    }

    /// How far this device's work has got in all documents together.
    #[must_use]
    pub fn status(&self) -> Status {
        let own = Status { saving: self.writing.len() + self.unwritten.len(), ..Status::default() };
        let all = self.held.values().map(|held| held.shelf.status()).fold(own, |all, one| Status {
            saving: all.saving + one.saving,
            to_send: all.to_send + if one.relay { one.to_send } else { 0 },
            relay: all.relay || one.relay,
        });
        // What is not open yet may have something to send: nothing more is promised than what is known.
        let known = self.asleep.iter().all(|asleep| asleep.relay.is_none());
        Status { relay: all.relay && (known || all.to_send > 0), ..all }
    }

    /// Whether every document that has a relay is stored, sent and read.
    #[must_use]
    pub fn is_settled(&self) -> bool {
        self.held.values().filter(|held| held.relay.is_some()).all(|held| held.shelf.is_settled())
    }

    /// The documents of which not everything is stored, sent and read, though they have a relay.
    #[must_use]
    pub fn unsettled(&self) -> Vec<DocId> {
        let left = self.held.values().filter(|held| held.relay.is_some() && !held.shelf.is_settled());
        left.map(|held| held.id.clone()).collect()
    }

    /// Whether a document can be written; a plain word for a person where not.
    #[must_use]
    pub fn mode(&self, id: &DocId) -> Option<Mode> {
        Some(self.shelf(id)?.mode())
    }

    /// Begins a book, where there is none.
    ///
    /// # Errors
    /// Where there is no randomness.
    pub fn begin_book(
        &mut self,
        now: Instant,
        relay: Option<WebAddress>,
        out: &mut Vec<Effect>,
    ) -> Result<(), Refused> {
        if self.book().is_some() {
            return Ok(());
        }
        let root = Root::generate()?;
        let log = root.log_id();
        let member = Member { kind: DocumentKind::Book, right: Right::Owner(root), relay, role: None };
        self.write_member(log, member, out);
        self.open_members(now, out);
        Ok(())
    }

    /// Begins a document of the chef's own: its root goes into the book, and it opens empty.
    ///
    /// # Errors
    /// [`Refused`].
    pub(crate) fn begin(
        &mut self,
        now: Instant,
        key: &str,
        kind: Kind,
        title: &str,
        salt: Option<String>,
        out: &mut Vec<Effect>,
    ) -> Result<DocId, Refused> {
        let root = Root::generate()?;
        let relay = self.held(&DocId::book()).and_then(|held| held.relay.as_ref()).map(ToString::to_string);
        let listed = BookRoot { kind, title: title.to_owned(), secret: hex(root.expose()), salt, relay };
        self.edit(now, &DocId::book(), |book: &mut Book| book.set_root(key, &listed), out)?;
        Ok(DocId::of_root(key))
    }

    /// Says over which relay the chef's documents are synced, all of them; `None` is over none.
    ///
    /// # Errors
    /// [`Refused`] where the book cannot be written.
    pub fn set_relay(
        &mut self,
        now: Instant,
        relay: Option<&WebAddress>,
        out: &mut Vec<Effect>,
    ) -> Result<(), Refused> {
        let Some(log) = self.log_of(&DocId::book()) else { return Ok(()) };
        if let Some(member) = self.members.get(&log).cloned() {
            self.write_member(log, Member { relay: relay.cloned(), ..member }, out);
            self.change_place(now, log, relay.cloned(), None, out);
        }
        let text = relay.map(ToString::to_string);
        let (roots, _) = self.book().map(Book::roots).unwrap_or_default();
        for (key, root) in roots {
            let root = BookRoot { relay: text.clone(), ..root };
            self.edit(now, &DocId::book(), |book: &mut Book| book.set_root(&key, &root), out)?;
        }
        Ok(())
    }

    /// The relay of the chef's documents.
    #[must_use]
    pub fn relay(&self) -> Option<&WebAddress> {
        self.held(&DocId::book()).and_then(|held| held.relay.as_ref())
    }
}

/// Before the keys of roots whose log was withdrawn: `old/` the document's key `/` the log.
pub(crate) const OLD: &str = "old/";

/// A record's key as the store has it.
fn split_key(key: &str) -> Option<(LogId, Key)> {
    let (log, key) = key.split_once('/')?;
    Some((log.parse().ok()?, key.parse().ok()?))
}
