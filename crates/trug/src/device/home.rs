//! A device on this machine: its store, its documents, and the loop that carries out what they ask for.
//!
//! Every edit is durable before a command says that it is done; what is sent is sent by [`Home::sync`] and
//! [`Home::stay`] alone.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant as Moment, SystemTime};

use trug_device::sync::{Failure as Refusal, Halt, Instant, Tell, Ticket};
use trug_device::{Device, DocId, Effect, Event, Note, OpenError, Told};

use super::net::{Net, News};
use super::store::{Store, StoreError, Write};

/// So many calls in a row without a useful answer, and the relay is taken to be out of reach.
const TRIES: u32 = 3;
/// A document that the relay refused so often is left for a person to look at.
const REFUSALS: u32 = 2;

/// Why a device cannot be had, or cannot keep what it should.
#[derive(Debug, thiserror::Error)]
pub(crate) enum HomeError {
    /// Its store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// What it knows of itself.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// There is no randomness.
    #[error("this machine gives no random numbers; without them nothing can be kept safely")]
    NoRandomness,
    /// There is no folder to keep it in.
    #[error("no folder to keep this device in: name one with --home, or in the variable TRUG_HOME")]
    Nowhere,
}

/// How far syncing once came.
#[derive(Debug, Default)]
pub(crate) struct Synced {
    /// Documents that are not done, and why where that is known.
    pub(crate) left: Vec<(DocId, Option<String>)>,
    /// Why the relay could not be reached, where it could not.
    pub(crate) unreached: Option<String>,
    /// What others did, in the order in which it came.
    pub(crate) told: Vec<(DocId, Vec<Told>)>,
    /// What went wrong on the way, for a person.
    pub(crate) troubles: Vec<(DocId, String)>,
}

/// Why staying in sync ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Left {
    /// Another process wants the device.
    Wanted,
    /// Somebody stopped the program.
    Stopped,
}

/// A device that is open.
pub(crate) struct Home {
    pub(crate) device: Device,
    store: Store,
    net: Option<Net>,
    timer: Option<Instant>,
    /// It listens to the live channel, rather than fetching once.
    stays: bool,
    told: Vec<(DocId, Vec<Told>)>,
    troubles: Vec<(DocId, String)>,
    /// Documents that wait for a person, with the reason.
    halted: BTreeMap<DocId, String>,
    refusals: BTreeMap<DocId, u32>,
    /// Calls in a row without a useful answer, and the last reason.
    missed: u32,
    reason: Option<String>,
    unsaved: Option<StoreError>,
}

/// The folder of the device: what was asked for, else where this platform keeps such data.
pub(crate) fn folder(asked: Option<&Path>) -> Result<PathBuf, HomeError> {
    if let Some(asked) = asked {
        return Ok(asked.to_owned());
    }
    let variable = |name: &str| std::env::var_os(name).filter(|value| !value.is_empty()).map(PathBuf::from);
    let user = || variable("HOME").or_else(|| variable("USERPROFILE"));
    let data = if cfg!(windows) {
        variable("LOCALAPPDATA")
    } else if cfg!(target_os = "macos") {
        user().map(|user| user.join("Library/Application Support"))
    } else {
        // The XDG base directories say that a relative path is to be ignored. [published: freedesktop.org, 0.8]
        variable("XDG_DATA_HOME")
            .filter(|path| path.is_absolute())
            .or_else(|| user().map(|user| user.join(".local/share")))
    };
    data.map(|data| data.join("trug")).ok_or(HomeError::Nowhere)
}

/// The moment, by this machine's clock.
pub(crate) fn now() -> Instant {
    let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
    Instant(u64::try_from(since.as_millis()).unwrap_or(u64::MAX))
}

impl Home {
    /// Opens the device in a folder, or begins one there.
    pub(crate) fn open(folder: &Path) -> Result<Self, HomeError> {
        let store = Store::open(folder)?;
        let mut seed = [0; 8];
        getrandom::fill(&mut seed).map_err(|_| HomeError::NoRandomness)?;
        let mut out = Vec::new();
        let device = Device::open(store.all()?, u64::from_be_bytes(seed), true, now(), &mut out)?;
        let mut home = Self {
            device,
            store,
            net: None,
            timer: None,
            stays: false,
            told: Vec::new(),
            troubles: Vec::new(),
            halted: BTreeMap::new(),
            refusals: BTreeMap::new(),
            missed: 0,
            reason: None,
            unsaved: None,
        };
        home.carry_out(out);
        // What was stored before is no news.
        home.told.clear();
        home.saved()?;
        Ok(home)
    }

    /// Does something with the device, and makes all of it durable.
    pub(crate) fn act<R>(
        &mut self,
        act: impl FnOnce(&mut Device, Instant, &mut Vec<Effect>) -> R,
    ) -> Result<R, HomeError> {
        let mut out = Vec::new();
        let done = act(&mut self.device, now(), &mut out);
        self.carry_out(out);
        self.saved()?;
        Ok(done)
    }

    /// What others did since this was last asked.
    pub(crate) fn take_told(&mut self) -> Vec<(DocId, Vec<Told>)> {
        std::mem::take(&mut self.told)
    }

    fn saved(&mut self) -> Result<(), HomeError> {
        self.unsaved.take().map_or(Ok(()), |error| Err(error.into()))
    }

    /// Carries out effects and what follows from them, until there is nothing left to do but wait.
    fn carry_out(&mut self, mut effects: Vec<Effect>) {
        while !effects.is_empty() {
            let (mut writes, mut tickets, mut next) = (Vec::new(), Vec::new(), Vec::new());
            let mut others = Vec::new();
            for effect in effects {
                match effect {
                    Effect::Store { ticket, key, bytes } => {
                        tickets.push(ticket);
                        writes.push(Write::Put(key, bytes));
                    }
                    Effect::Delete(key) => writes.push(Write::Delete(key)),
                    other => others.push(other),
                }
            }
            self.write(&writes, tickets, &mut next);
            others.into_iter().for_each(|other| self.one_effect(other));
            effects = next;
        }
    }

    /// One commit for all writes that were asked for together.
    fn write(&mut self, writes: &[Write], tickets: Vec<Ticket>, next: &mut Vec<Effect>) {
        let outcome: fn(Ticket) -> Event = match self.store.write(writes) {
            Ok(()) => Event::Stored,
            Err(error) => {
                self.unsaved = Some(error);
                Event::NotStored
            }
        };
        for ticket in tickets {
            self.device.handle(now(), outcome(ticket), next);
        }
    }

    fn one_effect(&mut self, effect: Effect) {
        match (effect, &mut self.net) {
            (Effect::Send(call, request), Some(net)) => net.send(call, request),
            (Effect::Watch { relay, log, bearer }, Some(net)) if self.stays => net.watch(&relay, log, bearer),
            (Effect::SetTimer(at), _) => self.timer = Some(at),
            (Effect::Tell(id, note), _) => self.note(id, note),
            _ => {}
        }
    }

    fn note(&mut self, id: DocId, note: Note) {
        let Note::Engine(tell) = note else { return };
        let trouble = match tell {
            Tell::Merged(told) => return self.told.push((id, told)),
            Tell::Status(_) => return,
            Tell::Quarantined(_, why) => format!("something that came was not let in: {why}"),
            Tell::WentBack => "the relay has gone back to an earlier state; what it lacks is given back".to_owned(),
            Tell::Halted(halt) => {
                let why = match halt {
                    Halt::Gone => Refusal::Gone.to_string(),
                    Halt::Refused(refusal) => refusal.to_string(),
                };
                self.halted.insert(id, why);
                return;
            }
            Tell::Trouble(refusal) => return self.refused(id, refusal),
            Tell::Unsendable(_) => "a change is too large for the relay; it stays on this device".to_owned(),
            Tell::NotSaving => return,
            Tell::Damaged(key) => format!("a record on this device is damaged and left alone: {key}"),
            Tell::Unsound(why) => format!("it does not prove that it opens again, and nothing was replaced: {why}"),
        };
        self.troubles.push((id, trouble));
    }

    fn refused(&mut self, id: DocId, refusal: Refusal) {
        let count = self.refusals.entry(id.clone()).or_default();
        *count += 1;
        if *count >= REFUSALS {
            self.halted.insert(id, refusal.to_string());
        }
    }

    fn handle(&mut self, event: Event) {
        let mut out = Vec::new();
        self.device.handle(now(), event, &mut out);
        self.carry_out(out);
    }

    /// Takes the next piece of news, or lets time pass.
    fn step(&mut self, patience: Duration) {
        let due = self.timer.map(|at| Duration::from_millis(at.0.saturating_sub(now().0)));
        let patience = due.map_or(patience, |due| due.min(patience));
        match self.net.as_mut().and_then(|net| net.next(patience)) {
            Some(News::Answer(call, answer)) => {
                self.keep_count(&answer);
                self.handle(Event::Answer(call, answer.ok()));
            }
            Some(News::Head(log, head)) => self.handle(Event::Head(log, head)),
            None => {}
        }
        if self.timer.is_some_and(|at| at <= now()) {
            self.timer = None;
            self.handle(Event::Time);
        }
    }

    fn keep_count(&mut self, answer: &Result<trug_device::sync::wire::Response, String>) {
        let reason = match answer {
            Ok(response) if response.status == 429 || response.status >= 500 && response.status != 507 => {
                Some(format!("it answered {}", response.status))
            }
            Ok(_) => None,
            Err(why) => Some(why.clone()),
        };
        self.missed = if reason.is_some() { self.missed + 1 } else { 0 };
        self.reason = reason.or_else(|| self.reason.take());
    }

    fn go_online(&mut self) -> Result<(), HomeError> {
        self.net.get_or_insert_with(Net::new);
        self.handle(Event::Online);
        self.saved()
    }

    /// Sends and fetches until all is done, or nothing more can be.
    pub(crate) fn sync(&mut self, patience: Duration) -> Result<Synced, HomeError> {
        self.go_online()?;
        let until = Moment::now() + patience;
        let is_busy = |home: &Self| home.net.as_ref().is_some_and(|net| net.in_flight() > 0);
        while (is_busy(self) || !self.left().is_empty()) && self.missed < TRIES && Moment::now() < until {
            self.step(Duration::from_millis(200));
            self.saved()?;
        }
        let left = self.device.unsettled().into_iter().map(|id| (id.clone(), self.halted.get(&id).cloned())).collect();
        Ok(Synced {
            left,
            unreached: (self.missed > 0).then(|| self.reason.take()).flatten(),
            told: std::mem::take(&mut self.told),
            troubles: std::mem::take(&mut self.troubles),
        })
    }

    /// Documents that are not done and do not wait for a person.
    fn left(&self) -> Vec<DocId> {
        self.device.unsettled().into_iter().filter(|id| !self.halted.contains_key(id)).collect()
    }

    /// Stays in sync until the program is stopped or another process wants the device. `watch` is told everything.
    pub(crate) fn stay<E>(
        &mut self,
        stop: &AtomicBool,
        mut watch: impl FnMut(&mut Self, Happened) -> Result<(), E>,
    ) -> Result<Result<Left, E>, HomeError> {
        self.stays = true;
        self.go_online()?;
        loop {
            for happened in self.happened() {
                if let Err(error) = watch(self, happened) {
                    return Ok(Err(error));
                }
            }
            if self.store.is_wanted() {
                return Ok(Ok(Left::Wanted));
            }
            if stop.load(Ordering::Relaxed) {
                return Ok(Ok(Left::Stopped));
            }
            self.step(Duration::from_millis(100));
        }
    }

    fn happened(&mut self) -> Vec<Happened> {
        let told = std::mem::take(&mut self.told).into_iter().map(|(id, told)| Happened::Told(id, told));
        let troubles = std::mem::take(&mut self.troubles).into_iter().map(|(id, why)| Happened::Trouble(id, why));
        let halted = std::mem::take(&mut self.halted).into_iter().map(|(id, why)| Happened::Trouble(id, why));
        // A disk that is full now may have room later; the engine asks again.
        let unsaved = self.unsaved.take().map(|error| Happened::Unsaved(error.to_string()));
        told.chain(troubles).chain(halted).chain(unsaved).chain([Happened::Status]).collect()
    }
}

/// Something to show while staying in sync.
#[derive(Debug)]
pub(crate) enum Happened {
    /// What others did.
    Told(DocId, Vec<Told>),
    /// Something about one document.
    Trouble(DocId, String),
    /// The disk takes nothing.
    Unsaved(String),
    /// How far it has got may have changed.
    Status,
}
