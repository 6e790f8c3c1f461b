//! A document's first way to a relay: its log is made there before it is read or watched, by its owner alone.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic is a failed check")]

use std::collections::{BTreeMap, VecDeque};

use trug_replica::Document as _;
use trug_replica::gate::{Gate, Limits};
use trug_replica::id::{DeviceId, OsEntropy};
use trug_replica::run::Run;
use trug_seal::{DocumentKind, Root};
use trug_sync::{Answer, Call, Chain, Effect, Engine, EntryId, Event, Failure, Halt, Instant, Key, Keys, Page, Tell};
use trug_sync::{RequestId, Settings};

fn root() -> Root {
    Root::from_bytes([3; 32])
}

fn owner() -> Keys {
    Keys::owner(&root(), DocumentKind::Run)
}

fn helper() -> Keys {
    Keys::writer(root().log_id(), &root().share_secret(), DocumentKind::Run)
}

/// A device whose storage never fails. What it asks of the relay is written down; nothing is answered by itself.
struct Shell {
    engine: Engine<Gate<Run>>,
    records: BTreeMap<Key, Vec<u8>>,
    asked: VecDeque<(RequestId, Call)>,
    /// What it did to the relay and on the live channel, and that it gave up, in order.
    did: Vec<&'static str>,
}

impl Shell {
    fn open(keys: Keys, records: BTreeMap<Key, Vec<u8>>) -> Self {
        let run = |saved: Option<&[u8]>| {
            let device = DeviceId::draw(&mut OsEntropy).ok()?;
            let run = match saved {
                Some(saved) => Run::load(saved, device, &mut OsEntropy),
                None => Run::create(device, &mut OsEntropy),
            };
            Some(Gate::new(run.ok()?, Limits::default()))
        };
        let mut out = Vec::new();
        let stored = records.clone().into_iter().collect();
        let engine = Engine::open(keys, Settings::default(), stored, run, &mut out).unwrap();
        let mut shell = Self { engine, records, asked: VecDeque::new(), did: Vec::new() };
        shell.carry_out(out);
        shell
    }

    fn tell(&mut self, event: Event) {
        let mut out = Vec::new();
        self.engine.handle(Instant(1), event, &mut out);
        self.carry_out(out);
    }

    fn carry_out(&mut self, effects: Vec<Effect<trug_replica::run::Change>>) {
        for effect in effects {
            match effect {
                Effect::Store { ticket, key, bytes } => {
                    self.records.insert(key, bytes);
                    self.tell(Event::Stored(ticket));
                }
                Effect::Delete(key) => drop(self.records.remove(&key)),
                Effect::Send(request, call) => {
                    self.did.push(name(&call));
                    self.asked.push_back((request, call));
                }
                Effect::Watch(on) => self.did.push(if on { "watch" } else { "leave" }),
                Effect::Tell(Tell::Halted(Halt::Refused(_))) => self.did.push("give up"),
                Effect::SetTimer(_) | Effect::Tell(_) => {}
            }
        }
    }

    /// What was done since the last answer, which the relay now gives to the oldest call.
    fn answer(&mut self, answer: Result<Answer, Failure>) -> Vec<&'static str> {
        let did = std::mem::take(&mut self.did);
        let (request, _) = self.asked.pop_front().unwrap_or_else(|| panic!("nothing was asked: {did:?}"));
        self.tell(Event::Answer(request, answer));
        did
    }

    fn online(keys: Keys) -> Self {
        let mut shell = Self::open(keys, BTreeMap::new());
        shell.tell(Event::Online);
        shell
    }
}

const fn name(call: &Call) -> &'static str {
    match call {
        Call::Create => "create",
        Call::Append(_) => "append",
        Call::Fetch { .. } => "fetch",
        Call::Snapshot { .. } => "snapshot",
        Call::ReadOnly => "close",
        Call::Delete => "delete",
    }
}

/// The log as it is read while nothing lies in it.
fn nothing() -> Answer {
    Answer::Page(Page { entries: Vec::new(), head: 0, chain: Chain::START, chain_at: Some(Chain::START) })
}

/// The relay has taken what was sent as the first entry.
fn taken(shell: &Shell) -> Answer {
    match shell.asked.front() {
        Some((_, Call::Append(sealed))) => {
            Answer::Appended { seq: 1, head: 1, chain: Chain::START.then(EntryId::of(sealed)) }
        }
        other => panic!("something is sent, not {other:?}"),
    }
}

#[test]
fn an_owner_makes_the_log_before_it_is_read_or_watched() {
    let mut chef = Shell::online(owner());
    assert_eq!(chef.answer(Ok(Answer::Done)), ["create"]);
    assert_eq!(chef.answer(Ok(nothing())), ["watch", "fetch"]);
    // Going away and coming back in the same program, it is known to be there.
    chef.did.clear();
    chef.asked.clear();
    chef.tell(Event::Offline);
    chef.tell(Event::Online);
    assert_eq!(chef.did, ["leave", "watch", "fetch"]);
}

#[test]
fn a_log_in_which_something_was_read_is_not_made_again_by_the_next_start() {
    let mut chef = Shell::online(owner());
    chef.answer(Ok(Answer::Done));
    chef.engine.document_mut().document_mut().set_title("Saturday").unwrap();
    chef.tell(Event::Edited);
    chef.answer(Ok(nothing()));
    let appended = taken(&chef);
    assert_eq!(chef.answer(Ok(appended)), ["append"]);
    assert_eq!(chef.engine.read_to(), 1);
    let mut again = Shell::open(owner(), chef.records);
    again.tell(Event::Online);
    assert_eq!(again.did, ["watch", "fetch"]);
}

#[test]
fn a_log_that_the_relay_lost_is_watched_again_once_it_is_made_anew() {
    let mut chef = Shell::online(owner());
    chef.answer(Ok(Answer::Done));
    assert_eq!(chef.answer(Err(Failure::NotFound)), ["watch", "fetch"]);
    assert_eq!(chef.answer(Ok(Answer::Done)), ["create"]);
    assert_eq!(chef.did, ["watch", "fetch"]);
}

#[test]
fn who_was_invited_makes_nothing() {
    let mut helper = Shell::online(helper());
    assert_eq!(helper.answer(Err(Failure::NotFound)), ["watch", "fetch"]);
    assert_eq!(helper.did, [""; 0], "it asks again after a pause");
}

#[test]
fn a_log_that_somebody_else_made_is_given_up() {
    let mut chef = Shell::online(owner());
    assert_eq!(chef.answer(Err(Failure::Conflict)), ["create"]);
    assert_eq!(chef.answer(Err(Failure::Unauthorized)), ["fetch"]);
    assert_eq!(chef.did, ["leave", "give up"]);
}
