//! Trying what arrived: written down first, so that what stops the program is found and named at the next start.

use std::collections::BTreeMap;

use automerge::ChangeHash;

use crate::document::Document;
use crate::engine::{Engine, Out, Purpose, broken, journals, write_journal};
use crate::message::{Effect, Tell};
use crate::record::{EntryId, Key};

/// How often the program may stop on an entry that is tried alone.
const STOPS: u8 = 2;

impl<D: Document> Engine<D> {
    /// At the start: what was being tried when a program stopped. A battery that ran out is no fault of the entry's, so it
    /// is tried again alone, and only blamed when the program has stopped on it [`STOPS`] times more.
    pub(crate) fn take_journal(&mut self, records: &BTreeMap<Key, Vec<u8>>, out: &mut Out<D::Told>) {
        let blamed = records.keys().filter_map(|key| if let Key::Blamed(id) = key { Some(*id) } else { None });
        let mut blamed: Vec<EntryId> = blamed.collect();
        let heeded = !broken!(self, TriesAgain);
        for (key, stops, entries) in journals(records).filter(|_| heeded) {
            if !self.settings.alone {
                // Whether another process is trying these or one has stopped on them cannot be told from here. Tried with
                // all the others, what stops the program would stop it again and again before the process that was there
                // first comes to try it alone.
                self.suspect(entries, stops);
            } else if let ([id], STOPS..) = (entries.as_slice(), stops) {
                blamed.push(*id);
                // The journal goes once the blame is durable.
                self.store(Key::Blamed(*id), Vec::new(), Purpose::Compacted(vec![key]), out);
            } else {
                self.suspect(entries, stops);
                // In this process's name, until its first trial takes the place; writing it down again is no trial.
                let most = self.suspects.values().max().copied().unwrap_or_default();
                let bytes = write_journal(most.saturating_sub(1), self.suspects.keys());
                self.store(Key::Trying(self.process), bytes, Purpose::Compacted(vec![key]), out);
            }
        }
        for id in blamed {
            self.untried.retain(|untried| *untried != id);
            let Some(held) = self.held.get(&id) else { continue };
            self.document.blame(held.content.clone());
            out.push(Effect::Tell(Tell::Quarantined(id, "the program stopped while it was being tried".to_owned())));
        }
    }

    /// What a journal names is tried alone: the program has stopped on it once more than the journal says.
    fn suspect(&mut self, entries: Vec<EntryId>, stops: u8) {
        for id in entries {
            let known = self.suspects.entry(id).or_default();
            *known = (*known).max(stops.saturating_add(1));
        }
    }

    /// Writes down what is tried next.
    pub(crate) fn start_trial(&mut self, out: &mut Out<D::Told>) {
        if self.trying.is_some() || self.untried.is_empty() {
            return;
        }
        let alone = self.untried.iter().position(|id| self.suspects.contains_key(id));
        let batch: Vec<EntryId> = match alone {
            Some(at) => self.untried.remove(at).into_iter().collect(),
            None => self.untried.drain(..).collect(),
        };
        let stops = alone.and_then(|_| self.suspects.get(batch.first()?).copied()).unwrap_or_default();
        let bytes = write_journal(stops, &batch);
        self.trying = Some(batch);
        self.store(Key::Trying(self.process), bytes, Purpose::Journal, out);
    }

    pub(crate) fn run_trial(&mut self, out: &mut Out<D::Told>) {
        let Some(batch) = self.trying.take() else { return };
        let contents = batch.iter().filter_map(|id| self.held.get(id)).map(|held| held.content.clone());
        let contents: Vec<Vec<u8>> = contents.collect();
        let (before, whole) = (self.document.quarantined(), batch.first().copied());
        let tried = self.document.admit(contents);
        out.push(Effect::Delete(Key::Trying(self.process)));
        for id in &batch {
            self.suspects.remove(id);
            // What is in the document needs no second copy in memory.
            let document = &self.document;
            let held = self.held.get_mut(id);
            // A log that went back meanwhile may have lost the entry; then nobody else has what is let in now.
            let lost = |hash: &ChangeHash| document.has(hash) && !self.logged.contains(hash);
            self.recount |= held.as_ref().is_some_and(|held| held.hashes.iter().any(lost));
            if let Some(held) = held.filter(|held| held.counted && held.hashes.iter().all(|hash| document.has(hash))) {
                held.content = Vec::new();
            }
        }
        if !tried.told.is_empty() {
            out.push(Effect::Tell(Tell::Merged(tried.told)));
        }
        if let Some(id) = whole.filter(|_| self.document.quarantined() > before) {
            let why = format!("{} parts of what arrived were not let in", tried.quarantined);
            out.push(Effect::Tell(Tell::Quarantined(id, why)));
        }
    }

    pub(crate) fn retry(&mut self, id: EntryId, out: &mut Out<D::Told>) {
        let Some(held) = self.held.get(&id).filter(|held| held.shut.is_none() && !held.content.is_empty()) else {
            return;
        };
        self.document.release(&held.content);
        self.suspects.insert(id, STOPS);
        self.untried.push_back(id);
        out.push(Effect::Delete(Key::Blamed(id)));
    }
}
