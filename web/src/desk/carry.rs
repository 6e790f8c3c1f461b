//! Carrying out what the device asks for: writing, sending, watching, waiting.

use std::rc::Rc;

use gloo::timers::callback::Timeout;
use trug_device::sync::wire::{self, Request};
use trug_device::{CallId, Effect, Event};
use wasm_bindgen_futures::spawn_local;

use super::{Desk, Queued, Write, now};
use crate::platform::storage::StorageError;
use crate::platform::tabs::{Message, Tag};
use crate::platform::{address, http};

/// How long a relay may take to answer, in milliseconds: a page of some MiB over a poor signal.
const PATIENCE: u32 = 60_000;
/// Between two looks whether everything is stored, in milliseconds.
const SOON: u32 = 250;

impl Desk {
    pub(super) fn carry_out(&self, effects: Vec<Effect>) {
        let mut shown = false;
        for effect in effects {
            match effect {
                Effect::Store { ticket, key, bytes } => {
                    self.0.queue.borrow_mut().push(Queued::Put(Some(ticket), key, bytes));
                }
                Effect::Delete(key) => self.0.queue.borrow_mut().push(Queued::Delete(key)),
                Effect::Send(call, request) => self.send(call, request),
                Effect::Watch { relay, log, bearer } => self.watch(&relay, log, bearer),
                Effect::SetTimer(at) => self.set_alarm(at.0),
                Effect::Tell(id, note) => {
                    shown = true;
                    self.hear(id, note);
                }
            }
        }
        self.flush();
        if shown {
            self.changed();
        }
    }

    fn set_alarm(&self, at: u64) {
        let wait = u32::try_from(at.saturating_sub(now().0)).unwrap_or(u32::MAX);
        let weak = Rc::downgrade(&self.0);
        self.0.alarm.set(wait, move || {
            if let Some(inner) = weak.upgrade() {
                Desk(inner).tell(Event::Time);
            }
        });
    }

    fn send(&self, call: CallId, request: Request) {
        let desk = self.clone();
        spawn_local(async move {
            let answer = exchange(request).await;
            desk.tell(Event::Answer(call, answer));
        });
    }

    /// Loads the page anew once everything is stored; as long as something cannot be, the page stays as it is.
    pub fn reload_once_stored(&self) {
        let waits = self.0.writing.get() || !self.0.queue.borrow().is_empty() || self.status().saving > 0;
        if !waits && self.storage_trouble().is_none() {
            return address::reload();
        }
        let desk = self.clone();
        Timeout::new(SOON, move || desk.reload_once_stored()).forget();
    }

    /// Writes all that waits as one batch; what comes meanwhile is the next. One batch at a time: a later record never
    /// becomes durable before an earlier one.
    pub(super) fn flush(&self) {
        if self.0.writing.get() || self.0.queue.borrow().is_empty() {
            return;
        }
        self.0.writing.set(true);
        let desk = self.clone();
        spawn_local(async move {
            let batch = std::mem::take(&mut *desk.0.queue.borrow_mut());
            let written = desk.write(&batch).await;
            desk.0.writing.set(false);
            let durable = written.is_ok();
            desk.written(batch, written);
            // A disk that is full is not asked again at once: the device does, after a pause, and what nobody asks for again
            // goes with that.
            if durable {
                desk.flush();
            }
        });
    }

    async fn write(&self, batch: &[Queued]) -> Result<(), StorageError> {
        let Some(store) = &self.0.store else {
            return Err(StorageError::Refused(String::new()));
        };
        let writes = batch.iter().map(|queued| match queued {
            Queued::Put(_, key, bytes) => Write::Put(key.clone(), bytes.clone()),
            Queued::Delete(key) => Write::Delete(key.clone()),
        });
        store.write(writes.collect()).await
    }

    fn written(&self, batch: Vec<Queued>, written: Result<(), StorageError>) {
        let durable = written.is_ok();
        let before = self.0.trouble.replace(written.err());
        if before.is_some() != self.0.trouble.borrow().is_some() {
            self.changed();
        }
        let (mut told, mut again) = (Vec::new(), Vec::new());
        for queued in batch {
            match queued {
                Queued::Put(Some(ticket), key, bytes) => {
                    self.tell(if durable { Event::Stored(ticket) } else { Event::NotStored(ticket) });
                    told.push((key, bytes));
                }
                Queued::Put(None, key, bytes) if durable => told.push((key, bytes)),
                Queued::Delete(_) if durable => {}
                queued => again.push(queued),
            }
        }
        self.0.queue.borrow_mut().splice(0..0, again);
        if durable && !told.is_empty() {
            self.tell_tabs(told);
        }
    }

    fn tell_tabs(&self, records: Vec<(String, Vec<u8>)>) {
        if let Some(tabs) = &*self.0.tabs.borrow() {
            // A tab that does not hear it reads the database when it starts.
            let _ = tabs.send(&Message { tag: Tag::Stored, records });
        }
    }
}

/// Sends a request; no answer is `None`.
async fn exchange(request: Request) -> Option<wire::Response> {
    let headers: Vec<(&str, &str)> = request.headers.iter().map(|(name, value)| (*name, value.as_str())).collect();
    let answer = http::send(request.method.name(), &request.url, &headers, request.body, PATIENCE).await.ok()?;
    Some(wire::Response {
        status: answer.status,
        head: answer.header(wire::HEAD),
        chain: answer.header(wire::CHAIN),
        chain_at: answer.header(wire::CHAIN_AT),
        body: answer.body,
    })
}
