//! What arrives from the log: checked against the chain, stored, and only then counted as read.

use std::collections::BTreeSet;

use trug_seal::EntryKind;

use crate::document::Document;
use crate::engine::{Engine, Out, ParcelState, Purpose, broken};
use crate::message::{Effect, Failure, Page, Tell, Ticket};
use crate::record::{Chain, Cursor, EntryId, Key, write_entry};

/// A page that is being stored, and the cursor behind it.
pub(crate) struct Storing {
    left: BTreeSet<Ticket>,
    next: Cursor,
    new: Vec<EntryId>,
    head: u64,
    /// A snapshot took the place of everything known.
    afresh: bool,
}

/// Whether the log is still the one that was read.
enum Verdict {
    Same,
    /// A snapshot has swallowed the cursor's place: what lies in the log is known from the snapshot alone.
    Swallowed,
    Other,
}

impl<D: Document> Engine<D> {
    /// Takes a page in.
    ///
    /// # Errors
    /// Where it makes no sense.
    pub(crate) fn take_page(&mut self, page: Page, out: &mut Out<D::Told>) -> Result<(), Failure> {
        let verdict = if broken!(self, TrustsTheLog) { Verdict::Same } else { self.judge(&page) };
        let (mut next, afresh) = match verdict {
            Verdict::Same => (self.cursor.clone(), false),
            Verdict::Swallowed => (Cursor { chain: None, ..Cursor::START }, true),
            Verdict::Other => {
                self.new_history(out);
                return Ok(());
            }
        };
        next.chain = next.chain.or(page.chain_at.filter(|_| !afresh));
        let mut kept = true;
        for (seq, kind, sealed) in &page.entries {
            advance(&mut next, *seq, *kind, EntryId::of(sealed)).ok_or(Failure::Later)?;
            if *kind == EntryKind::Snapshot {
                next.promise = Some((page.head, page.chain));
            }
            kept &= keeps_promise(&mut next);
        }
        if !kept {
            self.new_history(out);
            return Ok(());
        }
        if next.seq >= page.head && !broken!(self, TrustsTheLog) {
            match next.chain {
                Some(chain) if chain != page.chain => {
                    self.new_history(out);
                    return Ok(());
                }
                _ => {
                    next.chain = Some(page.chain);
                    next.promise = None;
                }
            }
        }
        self.store_page(page, next, afresh, out);
        Ok(())
    }

    fn judge(&self, page: &Page) -> Verdict {
        if page.head < self.cursor.seq || self.cursor.promise.is_some_and(|(head, _)| page.head < head) {
            return Verdict::Other;
        }
        let Some(known) = self.cursor.chain else { return Verdict::Same };
        let snapshot = matches!(page.entries.first(), Some((_, EntryKind::Snapshot, _)));
        let at_head = (page.head == self.cursor.seq).then_some(page.chain);
        match page.chain_at.or(at_head) {
            Some(at) if at == known => Verdict::Same,
            Some(_) => Verdict::Other,
            None if snapshot => Verdict::Swallowed,
            None if self.cursor.seq == 0 => Verdict::Same,
            None => Verdict::Other,
        }
    }

    fn store_page(&mut self, page: Page, next: Cursor, afresh: bool, out: &mut Out<D::Told>) {
        let (mut left, mut new) = (BTreeSet::new(), Vec::new());
        for (_, kind, sealed) in page.entries {
            let id = EntryId::of(&sealed);
            let key = Key::Entry(id);
            if self.held.contains_key(&id) {
                continue;
            }
            let held = self.unseal(key, kind, &sealed);
            if let Some(why) = &held.shut {
                out.push(Effect::Tell(Tell::Quarantined(id, why.clone())));
            }
            self.held.insert(id, held);
            new.push(id);
            left.insert(self.store(key, write_entry(kind, &sealed), Purpose::Page, out));
        }
        if broken!(self, CursorFirst) {
            out.retain(|effect| !matches!(effect, Effect::Store { ticket, .. } if left.contains(ticket)));
            self.pending.retain(|ticket, _| !left.contains(ticket));
            left.clear();
        }
        self.page = Some(Storing { left, next, new, head: page.head, afresh });
        self.page_done(out);
    }

    pub(crate) fn page_stored(&mut self, ticket: Ticket, out: &mut Out<D::Told>) {
        if let Some(page) = &mut self.page {
            page.left.remove(&ticket);
        }
        self.page_done(out);
    }

    /// Once everything of it is durable, the cursor moves.
    fn page_done(&mut self, out: &mut Out<D::Told>) {
        if self.page.as_ref().is_none_or(|page| !page.left.is_empty()) {
            return;
        }
        let Some(page) = self.page.take() else { return };
        if page.afresh {
            self.logged.clear();
            self.recount = true;
        }
        let moved = page.next != self.cursor;
        self.cursor = page.next;
        for held in self.cursor.entries.iter().filter_map(|id| self.held.get(id)) {
            self.logged.extend(&held.hashes);
        }
        let open = |id: &EntryId| self.held.get(id).is_some_and(|held| held.shut.is_none());
        self.untried.extend(page.new.into_iter().filter(open));
        if moved {
            self.store(Key::Cursor(self.process), self.cursor.write(), Purpose::Else, out);
        }
        self.close_parcels(out);
        self.at_head(page.head);
    }

    /// What is to be done once everything was read.
    fn at_head(&mut self, head: u64) {
        self.fetch = self.cursor.seq < head;
        if self.fetch {
            return;
        }
        self.caught_up = true;
        // Acknowledged, and yet not there: the log was put back to before it.
        for parcel in &mut self.outbox {
            if matches!(parcel.state, ParcelState::Acknowledged(_)) {
                parcel.state = ParcelState::Ready;
            }
        }
        if self.recount {
            self.recount = false;
            self.recount_lacking();
        }
    }

    /// The log is not the one that was read: nothing is known of what lies in it.
    pub(crate) fn new_history(&mut self, out: &mut Out<D::Told>) {
        out.push(Effect::Tell(Tell::WentBack));
        self.logged.clear();
        self.cursor = Cursor::START;
        self.caught_up = false;
        self.fetch = true;
        self.recount = true;
        for parcel in &mut self.outbox {
            if matches!(parcel.state, ParcelState::Acknowledged(_)) {
                parcel.state = ParcelState::Ready;
            }
        }
        self.store(Key::Cursor(self.process), self.cursor.write(), Purpose::Else, out);
    }

    /// The relay has a parcel. Where it comes right behind what was read, it need not be fetched.
    pub(crate) fn appended(&mut self, id: EntryId, seq: u64, head: u64, chain: Chain, out: &mut Out<D::Told>) {
        let Some(parcel) = self.outbox.iter_mut().find(|parcel| parcel.id == id) else { return };
        parcel.state = ParcelState::Acknowledged(seq);
        let sealed = parcel.sealed.clone();
        let mut next = self.cursor.clone();
        let follows = self.page.is_none() && self.caught_up && seq == head;
        let joined = follows && advance(&mut next, seq, EntryKind::Entry, id).is_some() && next.chain == Some(chain);
        if !joined {
            self.fetch = true;
            return;
        }
        let page = Page { entries: vec![(seq, EntryKind::Entry, sealed)], head, chain, chain_at: None };
        self.store_page(page, next, false, out);
    }
}

/// Whether the chain, once it can be reckoned, is at the promised place what it was said to be.
fn keeps_promise(cursor: &mut Cursor) -> bool {
    match (cursor.promise, cursor.chain) {
        (Some((head, promised)), Some(chain)) if cursor.seq == head => {
            cursor.promise = None;
            chain == promised
        }
        _ => true,
    }
}

/// The cursor behind one entry more; `None` where it does not follow.
fn advance(cursor: &mut Cursor, seq: u64, kind: EntryKind, id: EntryId) -> Option<()> {
    match kind {
        EntryKind::Entry if seq == cursor.seq.checked_add(1)? => {
            cursor.chain = cursor.chain.map(|chain| chain.then(id));
            cursor.entries.push(id);
        }
        EntryKind::Snapshot if seq > cursor.seq => {
            cursor.chain = None;
            cursor.entries.push(id);
            cursor.snapshot = seq;
        }
        _ => return None,
    }
    cursor.seq = seq;
    Some(())
}
