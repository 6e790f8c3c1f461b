//! The line to the relay: one call at a time, growing pauses, and what each refusal means.

use trug_seal::{EntryKind, pack};

use crate::document::Document;
use crate::engine::{Engine, Out, ParcelState, Purpose, Retiring, broken};
use crate::message::{Answer, Call, Effect, Failure, Halt, Instant, RequestId, Tell, Ticket};
#[cfg(any(test, feature = "sabotage"))]
use crate::record::write_listed;
use crate::record::{EntryId, Key};

/// How long an answer may take.
const PATIENCE: u64 = 30_000;
/// The first pause after a failure; it doubles from there, up to [`LONGEST`].
const FIRST: u64 = 500;
const LONGEST: u64 = 300_000;
/// How often the log is looked at while the live channel is silent.
const POLL: u64 = 60_000;

/// What a call was about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum About {
    Create,
    Append(EntryId),
    Fetch,
    Snapshot(u64),
    ReadOnly,
    Delete,
}

/// The line's phase.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Line {
    Offline,
    Idle { since: Instant },
    Asking { request: RequestId, about: About, since: Instant },
    Pausing { since: Instant, until: Instant },
    Halted,
}

/// Whether a span is over. A clock that went back ends it: better a call too early than none for days.
fn is_over(now: Instant, since: Instant, span: u64) -> bool {
    now < since || now.0 >= since.0.saturating_add(span)
}

impl<D: Document> Engine<D> {
    pub(crate) fn online(&mut self, out: &mut Out<D::Told>) {
        self.relay = true;
        self.line = Line::Idle { since: Instant(0) };
        self.tries = 0;
        self.caught_up = false;
        self.fetch = true;
        // Who was invited was invited to something. An owner may be the first to come to the relay, and asked for a log that
        // is not there a relay refuses; one that is there is not changed by being created again.
        self.known |= !self.keys.is_owner() || self.cursor.seq > 0;
        self.create |= !self.known;
        if self.known {
            out.push(Effect::Watch(true));
        }
    }

    pub(crate) fn offline(&mut self, out: &mut Out<D::Told>) {
        if !matches!(self.line, Line::Offline) {
            out.push(Effect::Watch(false));
        }
        self.line = Line::Offline;
        self.caught_up = false;
    }

    pub(crate) fn time(&mut self, now: Instant, out: &mut Out<D::Told>) {
        for ticket in std::mem::take(&mut self.failed) {
            self.store_again(ticket, out);
        }
        match self.line {
            Line::Pausing { since, until } if now >= until || now < since => {
                self.line = Line::Idle { since: now };
            }
            Line::Asking { since, .. } if is_over(now, since, PATIENCE) => self.pause(now, Failure::Later, out),
            Line::Idle { since } if is_over(now, since, POLL) => self.fetch = true,
            _ => {}
        }
    }

    pub(crate) fn not_stored(&mut self, now: Instant, ticket: Ticket, out: &mut Out<D::Told>) {
        if self.pending.contains_key(&ticket) {
            self.failed.push(ticket);
            out.push(Effect::Tell(Tell::NotSaving));
            out.push(Effect::SetTimer(Instant(now.0.saturating_add(FIRST))));
        }
    }

    fn store_again(&mut self, ticket: Ticket, out: &mut Out<D::Told>) {
        if let Some(pending) = self.pending.get(&ticket) {
            out.push(Effect::Store { ticket, key: pending.key, bytes: pending.bytes.clone() });
        }
    }

    /// Makes the next call, where one is due and none is under way.
    pub(crate) fn call(&mut self, now: Instant, out: &mut Out<D::Told>) {
        if !matches!(self.line, Line::Idle { .. }) || self.compacting {
            return;
        }
        let Some((about, call)) = self.next_call(now, out) else {
            let Line::Idle { since } = self.line else { return };
            if since == Instant(0) || now < since {
                self.line = Line::Idle { since: now };
            }
            return out.push(Effect::SetTimer(self.next_look(now)));
        };
        self.next += 1;
        let request = RequestId(self.next);
        self.line = Line::Asking { request, about, since: now };
        out.push(Effect::Send(request, call));
        out.push(Effect::SetTimer(Instant(now.0.saturating_add(PATIENCE))));
    }

    fn next_look(&self, now: Instant) -> Instant {
        let poll = now.0.saturating_add(POLL);
        let due =
            self.retiring.map(|retiring| if retiring.read_only { retiring.delete_at } else { retiring.read_only_at });
        Instant(due.map_or(poll, |due| due.0.clamp(now.0.saturating_add(1), poll)))
    }

    fn next_call(&mut self, now: Instant, out: &mut Out<D::Told>) -> Option<(About, Call)> {
        if self.create {
            return Some((About::Create, Call::Create));
        }
        if self.fetch && self.page.is_none() {
            return Some((About::Fetch, Call::Fetch { after: self.cursor.seq }));
        }
        if let Some(due) = self.retiring_call(now) {
            return Some(due);
        }
        if let Some(snapshot) = self.snapshot_call() {
            return Some(snapshot);
        }
        let is_ready = |state| state == ParcelState::Ready;
        if self.caught_up
            && !self.lacking.is_empty()
            && self.outbox.iter().all(|parcel| matches!(parcel.state, ParcelState::Acknowledged(_)))
        {
            self.make_parcel(out);
        }
        let at = self.outbox.iter().position(|parcel| is_ready(parcel.state))?;
        #[cfg(any(test, feature = "sabotage"))]
        if self.broken(crate::Sabotage::SealsAgain) {
            self.seal_again(at, out);
        }
        let parcel = self.outbox.get(at)?;
        Some((About::Append(parcel.id), Call::Append(parcel.sealed.clone())))
    }

    /// What must never be done; only a test asks for it.
    #[cfg(any(test, feature = "sabotage"))]
    fn seal_again(&mut self, at: usize, out: &mut Out<D::Told>) {
        let all = self.document.all();
        let Some(parcel) = self.outbox.get_mut(at) else { return };
        let changes: Vec<&[u8]> =
            all.iter().filter(|(hash, _)| parcel.hashes.contains(hash)).map(|(_, bytes)| bytes.as_slice()).collect();
        let sealed = pack(&changes).ok().and_then(|content| self.keys.seal(EntryKind::Entry, &content).ok());
        let Some(sealed) = sealed else { return };
        parcel.id = EntryId::of(&sealed);
        parcel.sealed = sealed;
        let (key, bytes) = (Key::Outbox(parcel.id), write_listed(parcel.hashes.iter(), &parcel.sealed));
        self.store(key, bytes, Purpose::Else, out);
    }

    pub(crate) fn answered(
        &mut self,
        now: Instant,
        request: RequestId,
        answer: Result<Answer, Failure>,
        out: &mut Out<D::Told>,
    ) {
        let Line::Asking { request: asked, about, .. } = self.line else { return };
        if asked != request {
            return;
        }
        self.line = Line::Idle { since: now };
        let taken = answer.and_then(|answer| self.take(about, answer, out));
        match taken {
            // That reading works says nothing of a log that takes no entries.
            Ok(()) if about == About::Fetch && !self.outbox.is_empty() => {}
            Ok(()) => self.tries = 0,
            Err(failure) => self.refused(now, about, failure, out),
        }
    }

    fn take(&mut self, about: About, answer: Answer, out: &mut Out<D::Told>) -> Result<(), Failure> {
        match (about, answer) {
            (About::Create, Answer::Done) => {
                self.create = false;
                self.known = true;
                out.push(Effect::Watch(true));
                // Whatever lay in the log that was known here, this is another.
                if self.cursor.seq > 0 {
                    self.new_history(out);
                }
                self.fetch = true;
            }
            (About::Append(id), Answer::Appended { seq, head, chain }) => {
                self.full = false;
                self.appended(id, seq, head, chain, out);
            }
            (About::Fetch, Answer::Page(page)) => self.take_page(page, out)?,
            (About::Snapshot(through), Answer::Done) => {
                self.cursor.snapshot = through;
                self.full = false;
            }
            (About::ReadOnly, Answer::Done) => {
                self.fetch = true;
                self.caught_up = false;
                if let Some(retiring) = &mut self.retiring {
                    retiring.read_only = true;
                }
            }
            (About::Delete, Answer::Done) => self.halt(Halt::Gone, out),
            _ => return Err(Failure::Later),
        }
        Ok(())
    }

    fn refused(&mut self, now: Instant, about: About, failure: Failure, out: &mut Out<D::Told>) {
        match (failure, about) {
            (Failure::Gone, _) => self.halt(Halt::Gone, out),
            (Failure::NotFound, _) if self.keys.is_owner() => {
                self.known = false;
                self.create = true;
            }
            // Somebody else's: asked for it, the relay says so.
            (Failure::Conflict, About::Create) => {
                self.create = false;
                self.fetch = true;
            }
            (Failure::Conflict | Failure::ChainDiffers | Failure::NoChain, _) => {
                self.no_snapshot = failure == Failure::NoChain;
                self.caught_up = false;
                self.fetch = true;
            }
            (Failure::TooLarge, About::Append(id)) => self.split_parcel(id, out),
            (Failure::TooLarge | Failure::Full, About::Snapshot(_)) => {
                self.no_snapshot = true;
                out.push(Effect::Tell(Tell::Trouble(failure)));
            }
            (Failure::Full | Failure::Forbidden, About::Append(_)) => {
                // Reading goes on; an owner makes room with a snapshot.
                self.full = failure == Failure::Full;
                self.fetch = true;
                self.pause(now, failure, out);
            }
            (Failure::Unauthorized | Failure::Forbidden, _) => self.halt(Halt::Refused(failure), out),
            _ => self.pause(now, failure, out),
        }
    }

    fn halt(&mut self, halt: Halt, out: &mut Out<D::Told>) {
        self.line = Line::Halted;
        out.push(Effect::Watch(false));
        out.push(Effect::Tell(Tell::Halted(halt)));
    }

    /// Waits between half and the whole of a span that doubles each time, so that devices do not come back all at once.
    fn pause(&mut self, now: Instant, failure: Failure, out: &mut Out<D::Told>) {
        if failure != Failure::Later {
            out.push(Effect::Tell(Tell::Trouble(failure)));
        }
        let span = FIRST.saturating_mul(1 << self.tries.min(12)).min(LONGEST);
        self.tries = self.tries.saturating_add(1);
        let until = Instant(now.0.saturating_add(span / 2 + self.draw() % (span / 2 + 1)));
        self.line = Line::Pausing { since: now, until };
        out.push(Effect::SetTimer(until));
    }

    /// A snapshot, where all that lies in the log was opened and applied, and nothing waits or is in quarantine.
    fn snapshot_call(&mut self) -> Option<(About, Call)> {
        let grown = self.cursor.seq.saturating_sub(self.cursor.snapshot) >= self.settings.snapshot_every;
        let due = (grown || self.full && self.cursor.seq > self.cursor.snapshot) && !self.no_snapshot;
        let tried = self.page.is_none() && self.untried.is_empty() && self.trying.is_none();
        if !self.keys.is_owner() || !due || !self.caught_up || self.retiring.is_some() {
            return None;
        }
        // What is not durable here must not be sent; the next event is soon.
        let whole = tried && self.is_whole() || broken!(self, SnapshotsAnyway);
        if !self.saving.is_empty() || !whole {
            return None;
        }
        let all = self.document.all().into_iter();
        let applied: Vec<Vec<u8>> = all.filter(|(hash, _)| self.document.has(hash)).map(|(_, bytes)| bytes).collect();
        let changes: Vec<&[u8]> = applied.iter().map(Vec::as_slice).collect();
        let content = pack(&changes).ok()?;
        let sealed = self.keys.seal(EntryKind::Snapshot, &content).ok();
        self.no_snapshot = sealed.is_none();
        let through = self.cursor.seq;
        Some((About::Snapshot(through), Call::Snapshot { through, chain: self.cursor.chain?, sealed: sealed? }))
    }

    fn is_whole(&self) -> bool {
        let open = self.held.values().all(|held| held.shut.is_none());
        open && self.document.waiting() == 0
            && self.document.quarantined() == 0
            && self.logged.iter().all(|hash| self.document.has(hash))
    }

    pub(crate) fn retire(&mut self, read_only_at: Instant, delete_at: Instant, out: &mut Out<D::Told>) {
        if self.keys.is_owner() {
            let bytes = [read_only_at.0.to_be_bytes(), delete_at.0.to_be_bytes()].concat();
            self.store(Key::Retiring, bytes, Purpose::Else, out);
            self.retiring = Some(Retiring { read_only_at, delete_at, read_only: false });
        }
    }

    pub(crate) fn take_retiring(&mut self, bytes: &[u8]) -> bool {
        let Some((read_only_at, rest)) = bytes.split_first_chunk() else { return false };
        let Ok(delete_at) = rest.try_into() else { return false };
        self.retiring = Some(Retiring {
            read_only_at: Instant(u64::from_be_bytes(*read_only_at)),
            delete_at: Instant(u64::from_be_bytes(delete_at)),
            read_only: false,
        });
        true
    }

    /// Read-only after the grace; deleted only when everything in it was read and tried here.
    fn retiring_call(&self, now: Instant) -> Option<(About, Call)> {
        let retiring = self.retiring?;
        if !retiring.read_only {
            return (now >= retiring.read_only_at).then_some((About::ReadOnly, Call::ReadOnly));
        }
        let read = self.caught_up && self.page.is_none() && self.untried.is_empty() && self.trying.is_none();
        (now >= retiring.delete_at && read).then_some((About::Delete, Call::Delete))
    }
}
