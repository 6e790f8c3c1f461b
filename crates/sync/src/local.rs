//! This device's own changes on their way into the log, and bringing stored records together.

use automerge::ChangeHash;
use trug_replica::gather;
use trug_seal::{EntryKind, SealError, pack};

use crate::document::Document;
use crate::engine::{Engine, Out, Parcel, ParcelState, Purpose, broken, write_framed};
use crate::line::Line;
use crate::message::{Effect, Tell};
use crate::record::{EntryId, Key, write_listed};

impl<D: Document> Engine<D> {
    pub(crate) fn edited(&mut self, out: &mut Out<D::Told>) {
        let made = self.document.take_local();
        self.saving.extend(made.iter().map(|(hash, _)| *hash));
        self.queue.extend(made);
        self.write_local(out);
    }

    /// One write at a time, with all that came since the last: a change that is durable while one that it builds on was
    /// lost in a crash would wait for that one for ever, on every device.
    fn write_local(&mut self, out: &mut Out<D::Told>) {
        let first = self.queue.first().map(|(hash, _)| *hash);
        let Some(first) = first.filter(|_| !self.writing) else { return };
        let batch = std::mem::take(&mut self.queue);
        let bytes = write_framed(batch.iter().map(|(_, bytes)| bytes));
        self.writing = true;
        self.store(Key::Change(first), bytes, Purpose::Changes(batch), out);
    }

    pub(crate) fn are_durable(&mut self, changes: Vec<(ChangeHash, Vec<u8>)>, out: &mut Out<D::Told>) {
        self.writing = false;
        if let Some((first, _)) = changes.first() {
            self.changes.insert(*first, changes.iter().map(|(hash, _)| *hash).collect());
        }
        for (hash, bytes) in changes {
            self.saving.remove(&hash);
            let packed = self.outbox.iter().any(|parcel| parcel.hashes.contains(&hash));
            if !packed && !self.logged.contains(&hash) && !self.lacking.iter().any(|(known, _)| *known == hash) {
                self.lacking.push((hash, bytes));
            }
        }
        self.write_local(out);
    }

    /// Works out from the whole document what the log lacks: everything that was not read in it, others' changes as well.
    pub(crate) fn recount_lacking(&mut self) {
        let packed = gather::set(self.outbox.iter().flat_map(|parcel| &parcel.hashes));
        let not_there = |hash: &ChangeHash| {
            !self.logged.contains(hash)
                && !packed.contains(hash)
                && !self.saving.contains(hash)
                && !self.unsendable.contains(hash)
        };
        self.lacking = self.document.all().into_iter().filter(|(hash, _)| not_there(hash)).collect();
    }

    /// Packs and seals, once, as much of what the log lacks as goes into one entry. Only durable changes are there.
    pub(crate) fn make_parcel(&mut self, out: &mut Out<D::Told>) {
        let logged = &self.logged;
        self.lacking.retain(|(hash, _)| !logged.contains(hash));
        let mut size = 0;
        let fits = |(_, bytes): &&(ChangeHash, Vec<u8>)| {
            let first = size == 0;
            size += bytes.len();
            first || size <= self.settings.parcel
        };
        let count = self.lacking.iter().take_while(fits).count();
        let batch: Vec<_> = self.lacking.drain(..count).collect();
        let changes: Vec<&[u8]> = batch.iter().map(|(_, bytes)| bytes.as_slice()).collect();
        let Ok(content) = pack(&changes) else { return };
        let hashes: Vec<ChangeHash> = batch.iter().map(|(hash, _)| *hash).collect();
        match self.keys.seal(EntryKind::Entry, &content) {
            Ok(sealed) => self.put_in_outbox(hashes, sealed, out),
            Err(SealError::TooLarge { .. }) => self.too_large(batch, out),
            // No randomness just now: the next event tries again.
            Err(SealError::NoRandomness(_)) => self.lacking.splice(0..0, batch).for_each(drop),
        }
    }

    fn put_in_outbox(&mut self, hashes: Vec<ChangeHash>, sealed: Vec<u8>, out: &mut Out<D::Told>) {
        let id = EntryId::of(&sealed);
        let state = if broken!(self, SendsBeforeDurable) { ParcelState::Ready } else { ParcelState::Storing };
        self.store(Key::Outbox(id), write_listed(hashes.iter(), &sealed), Purpose::Parcel(id), out);
        self.outbox.push_back(Parcel { id, hashes, sealed, state });
    }

    /// Smaller parcels next time; a single change that does not fit stays here.
    pub(crate) fn too_large(&mut self, batch: Vec<(ChangeHash, Vec<u8>)>, out: &mut Out<D::Told>) {
        if let [(hash, _)] = batch.as_slice() {
            self.unsendable.insert(*hash);
            out.push(Effect::Tell(Tell::Unsendable(*hash)));
            return;
        }
        let size: usize = batch.iter().map(|(_, bytes)| bytes.len()).sum();
        self.settings.parcel = (size / 2).max(1);
        self.lacking.splice(0..0, batch).for_each(drop);
    }

    /// Takes a parcel apart that the relay does not take at its size.
    pub(crate) fn split_parcel(&mut self, id: EntryId, out: &mut Out<D::Told>) {
        let Some(at) = self.outbox.iter().position(|parcel| parcel.id == id) else { return };
        let Some(parcel) = self.outbox.remove(at) else { return };
        let all = self.document.all().into_iter();
        let batch: Vec<_> = all.filter(|(hash, _)| parcel.hashes.contains(hash)).collect();
        out.push(Effect::Delete(Key::Outbox(id)));
        self.too_large(batch, out);
    }

    pub(crate) fn parcel_stored(&mut self, id: EntryId) {
        for parcel in self.outbox.iter_mut().filter(|parcel| parcel.id == id && parcel.state == ParcelState::Storing) {
            parcel.state = ParcelState::Ready;
        }
    }

    /// Parcels whose changes were all read in the log have done their work.
    pub(crate) fn close_parcels(&mut self, out: &mut Out<D::Told>) {
        let logged = &self.logged;
        let is_done = |parcel: &Parcel| parcel.hashes.iter().all(|hash| logged.contains(hash));
        let done: Vec<EntryId> = self.outbox.iter().filter(|parcel| is_done(parcel)).map(|parcel| parcel.id).collect();
        self.outbox.retain(|parcel| !done.contains(&parcel.id));
        out.extend(done.into_iter().map(|id| Effect::Delete(Key::Outbox(id))));
    }

    pub(crate) fn carried(&mut self, changes: &[Vec<u8>], out: &mut Out<D::Told>) {
        let bytes = write_framed(changes);
        let id = EntryId::of(&bytes);
        if !changes.is_empty() && !self.held.contains_key(&id) {
            self.store(Key::Carried(id), bytes, Purpose::Carried(id), out);
        }
    }

    /// Brings stored records together in one save, once there are many. Only what the save holds is deleted then.
    pub(crate) fn compact(&mut self, out: &mut Out<D::Told>) {
        let busy = self.compacting || self.page.is_some() || self.trying.is_some() || !self.untried.is_empty();
        if busy || !self.saving.is_empty() || self.changes.len() + self.held.len() < self.settings.compact_at {
            return;
        }
        // A page that is on its way would be stored behind a cursor that names records which are about to go.
        if matches!(self.line, Line::Asking { .. }) {
            return;
        }
        let covers = self.covered();
        if covers.len() < self.settings.compact_at / 2 {
            return;
        }
        let saved = match self.document.checked_save() {
            Ok(saved) => saved,
            Err(why) => {
                self.settings.compact_at = self.settings.compact_at.saturating_mul(2);
                return out.push(Effect::Tell(Tell::Unsound(why)));
            }
        };
        let all = self.document.all();
        let lacking: Vec<ChangeHash> =
            all.into_iter().map(|(hash, _)| hash).filter(|hash| !self.logged.contains(hash)).collect();
        let bytes = write_listed(lacking.iter(), &saved);
        let id = EntryId::of(&bytes);
        // The same save again must not go with those that it takes the place of.
        let covers = covers.into_iter().filter(|key| *key != Key::Save(id)).collect();
        self.compacting = true;
        self.store(Key::Save(id), bytes, Purpose::Save { id, covers }, out);
    }

    fn covered(&self) -> Vec<Key> {
        let changes = self.changes.iter().filter(|(_, all)| all.iter().all(|hash| self.document.has(hash)));
        let changes = changes.map(|(first, _)| Key::Change(*first));
        let whole =
            |held: &&crate::engine::Held| held.counted && held.hashes.iter().all(|hash| self.document.has(hash));
        let held = self.held.values().filter(whole).map(|held| held.key);
        changes.chain(held).chain(self.saves.iter().map(|id| Key::Save(*id))).collect()
    }

    pub(crate) fn saved(&mut self, id: EntryId, covers: Vec<Key>, out: &mut Out<D::Told>) {
        for key in &covers {
            match key {
                Key::Change(hash) => drop(self.changes.remove(hash)),
                Key::Entry(id) | Key::Carried(id) => drop(self.held.remove(id)),
                Key::Save(id) => drop(self.saves.remove(id)),
                _ => {}
            }
        }
        self.saves.insert(id);
        self.compacting = false;
        // The line rested meanwhile, so that the save still says right what the log lacks.
        self.cursor.save = Some(id);
        self.cursor.entries.retain(|entry| !covers.contains(&Key::Entry(*entry)));
        self.store(Key::Cursor(self.process), self.cursor.write(), Purpose::Compacted(covers), out);
    }
}
