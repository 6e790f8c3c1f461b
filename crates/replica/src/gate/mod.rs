//! The gate before a document: everything that comes from elsewhere passes here, one change at a time.
//!
//! Forged or damaged changes can be refused by automerge as a whole batch, can make it panic, can be accepted and then
//! no longer load, and can inflate without bound; and a panic aborts a WebAssembly program. So, in this order:
//!
//! 1. **Bounds.** Chunks are framed and inflated here, with a limit; columns are counted before they are read.
//! 2. **Form.** A change is decoded by this crate and encoded again by automerge; unless the bytes come out the same, it
//!    is refused. Saved documents are taken apart into their changes, and each is judged as if it had come alone.
//! 3. **Order.** Its first operation is one more than the greatest of its dependencies, its sequence number the actor's
//!    next, its actor's change before among its ancestors. What waits for a dependency waits here, not in automerge.
//! 4. **Meaning.** It sets texts in this document's maps, replaces only what stood there when it was written, changes
//!    no fact and erases nothing. (In a document that a newer program has written to, only form and order are judged.)
//! 5. **Trial.** It is applied to a copy, where a panic is caught; and before [`UNPROVEN`] plain changes have piled up,
//!    or at once for a newer program's, the copy must save and load again. Then the copy takes the document's place.
//!
//! Where a batch fails the trial, its changes are tried one by one, each with the proof, so that only the guilty stay
//! out. What stays out is quarantined with its reason.
//!
//! In WebAssembly nothing catches a panic. There the caller writes down [`Attempt::entry`] before it calls
//! [`Gate::admit`], and strikes it out after; what it finds written down at its next start, it gives to [`Gate::blame`].

use std::collections::BTreeMap;

use automerge::ChangeHash;

use crate::document::{Arrived, Document};
use crate::record::Unreadable;
use crate::replica::{Replica, guarded};

mod bytes;
mod change;
mod chunk;
mod judge;
mod quarantine;

use change::Parsed;
use chunk::Raw;
use judge::{History, Shape};
pub use quarantine::{EntryId, Quarantined};

/// How many plain changes may be let in before the document must prove that it saves and loads again. Their form is
/// automerge's own by then; the proof is for what nobody has thought of, and costs as much as a save and a load.
pub const UNPROVEN: usize = 256;

/// The bounds of what is let in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// The most bytes of one change, inflated.
    pub change: usize,
    /// The most operations of one change.
    pub operations: u64,
    /// The most bytes of a saved document's columns together, inflated.
    pub document: usize,
    /// The most items of one of a saved document's columns.
    pub document_operations: u64,
    /// The most changes that wait for others.
    pub waiting: usize,
    /// The most bytes of changes that wait for others.
    pub waiting_bytes: usize,
    /// The most changes of the whole document.
    pub changes: usize,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            change: 16 << 20,
            operations: 50_000,
            document: 128 << 20,
            document_operations: 4_000_000,
            waiting: 50_000,
            waiting_bytes: 64 << 20,
            changes: 1_000_000,
        }
    }
}

/// Why something was not let in.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// The bytes are not in the format.
    #[error("damaged: {0}")]
    Malformed(&'static str),
    /// A checksum differs from what it sums.
    #[error("damaged: the checksum differs")]
    Checksum,
    /// A kind of chunk that nobody sends.
    #[error("it is a chunk of kind {0}, which is not read here")]
    ChunkKind(u8),
    /// A column that none of our documents has.
    #[error("it has a column {0:#x}, which is not read here")]
    Column(u64),
    /// An action that none of our documents has.
    #[error("it has an action {0}, which is not read here")]
    Action(u64),
    /// It is, or inflates to, more than is let in.
    #[error("it is larger than {most} bytes")]
    TooLarge {
        /// The limit.
        most: usize,
    },
    /// It has more operations than are let in.
    #[error("it has too many operations")]
    TooManyOperations,
    /// It is not written as automerge writes it.
    #[error("it is not written in the one form that it should have")]
    NotCanonical,
    /// It begins a document of its own.
    #[error("it does not build on this document's beginning")]
    OtherBeginning,
    /// The number of its first operation does not follow from what it builds on.
    #[error("its operations are not numbered after those that it builds on")]
    StartOperation,
    /// Its sequence number leaves a gap.
    #[error("its sequence number leaves a gap")]
    Sequence,
    /// Two different changes of one actor claim the same place: the actor was used twice, or forged.
    #[error("its writer has written something else in the same place")]
    ActorTwice,
    /// It claims to be a fixed change, and is not.
    #[error("it claims to be a fixed change of this document's shape, and is not")]
    NotTheFixedChange,
    /// It writes where, or what, no edit writes.
    #[error("no edit looks like this: {0}")]
    Shape(&'static str),
    /// It changes what is written once.
    #[error("it changes a fact that is written once")]
    ChangesFact,
    /// It erases a value.
    #[error("it erases what stands there")]
    Erases,
    /// It replaces what did not stand there.
    #[error("it replaces something that was not there")]
    Replaces,
    /// Automerge did not take it.
    #[error("it could not be taken in: {0}")]
    NotTaken(String),
    /// With it, the document would not open again.
    #[error("with it the document would not open again: {0}")]
    Unsound(String),
    /// The program stopped while it tried the entry.
    #[error("the program stopped while it was being tried")]
    Stopped,
    /// Too much is waiting for what it builds on, or the document is full.
    #[error("too much is there already: {0}")]
    Full(&'static str),
    /// The reason was read from an export.
    #[error("{0}")]
    Earlier(String),
}

/// An entry that is about to be tried.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Attempt {
    entry: EntryId,
    bytes: Vec<u8>,
}

impl Attempt {
    /// What to write down before the attempt is made.
    #[must_use]
    pub const fn entry(&self) -> EntryId {
        self.entry
    }
}

/// What came of an attempt.
#[derive(Debug, Clone, PartialEq)]
pub struct Admitted<C> {
    /// What changed, for the screen.
    pub changes: Vec<C>,
    /// The changes that are in the document now and were not before, in the order in which they were applied. Also what
    /// had been waiting is among them.
    pub applied: Vec<ChangeHash>,
    /// How many changes of the entry were there before.
    pub known: usize,
    /// How many changes still wait for others.
    pub waiting: usize,
    /// How many parts of the entry, or of what had been waiting, were quarantined.
    pub quarantined: usize,
}

/// A change that waits for what it builds on.
#[derive(Debug, Clone)]
struct Waiting {
    parsed: Parsed,
    entry: EntryId,
}

/// A document behind its gate. Its own edits go past the gate, through [`document_mut`](Self::document_mut).
#[derive(Debug)]
pub struct Gate<D> {
    document: D,
    limits: Limits,
    history: History,
    /// By first operation, then hash: dependencies come before what builds on them.
    waiting: BTreeMap<(u64, ChangeHash), Waiting>,
    waiting_bytes: usize,
    quarantine: Vec<Quarantined>,
    unproven: usize,
    careful: bool,
}

/// A batch that is tried on a copy of the document.
#[derive(Debug)]
struct Trial {
    replica: Replica,
    batch: Vec<Waiting>,
    /// What the copy holds beyond the document, in order.
    applied: Vec<Waiting>,
    newer: bool,
    /// Whether a newer program has written to the copy as it is now, once that was asked: asking costs as much as the rest
    /// of judging a change.
    of_newer: Option<bool>,
}

impl<D: Document> Gate<D> {
    /// Puts a gate before a document.
    #[must_use]
    pub fn new(document: D, limits: Limits) -> Self {
        let mut history = History::default();
        history.catch_up(document.replica());
        Self {
            document,
            limits,
            history,
            waiting: BTreeMap::new(),
            waiting_bytes: 0,
            quarantine: Vec::new(),
            unproven: 0,
            careful: false,
        }
    }

    /// From now on, every batch must prove itself: for reading a document anew from its stored changes, one by one,
    /// after [`checked_save`](Self::checked_save) has failed.
    pub const fn be_careful(&mut self) {
        self.careful = true;
    }

    /// The document.
    pub const fn document(&self) -> &D {
        &self.document
    }

    /// The document, for this device's own edits.
    pub const fn document_mut(&mut self) -> &mut D {
        &mut self.document
    }

    /// Takes the gate away; what waits and what is quarantined is lost with it.
    #[must_use]
    pub fn into_document(self) -> D {
        self.document
    }

    /// Prepares an attempt, or says that this entry is quarantined whole and will not be tried again by itself.
    ///
    /// # Errors
    /// The reason for which it is held.
    pub fn attempt(&self, bytes: Vec<u8>) -> Result<Attempt, Refusal> {
        let entry = EntryId::of(&bytes);
        match self.quarantine.iter().find(|held| held.entry == entry && held.bytes == bytes) {
            Some(held) => Err(held.reason.clone()),
            None => Ok(Attempt { entry, bytes }),
        }
    }

    /// Tries an entry: one or more chunks, one after the other.
    pub fn admit(&mut self, attempt: Attempt) -> Admitted<D::Change> {
        self.admit_all([attempt])
    }

    /// Tries many entries on one copy of the document: for a device that comes back after a day. Where the caller keeps a
    /// journal of attempts, it writes down all of them; what it finds there after a stop, it tries again one by one.
    pub fn admit_all(&mut self, attempts: impl IntoIterator<Item = Attempt>) -> Admitted<D::Change> {
        self.history.catch_up(self.document.replica());
        let (held, mut known) = (self.quarantine.len(), 0);
        for attempt in attempts {
            known += self.receive(attempt.entry, &attempt.bytes);
        }
        let (changes, applied) = self.settle();
        let quarantined = self.quarantine.len().saturating_sub(held);
        Admitted { changes, applied, known, waiting: self.waiting.len(), quarantined }
    }

    /// Takes another document's changes, through the gate like any others.
    pub fn merge(&mut self, other: &D) -> Admitted<D::Change> {
        let here = self.document.replica();
        let missing = here.doc.get_changes_added(&other.replica().doc);
        let entry: Vec<u8> = missing.iter().flat_map(|change| change.raw_bytes().iter().copied()).collect();
        let id = EntryId::of(&entry);
        self.admit(Attempt { entry: id, bytes: entry })
    }

    /// Names an entry during whose trial the program stopped: it is quarantined, and not tried again by itself.
    pub fn blame(&mut self, bytes: Vec<u8>) {
        let entry = EntryId::of(&bytes);
        self.hold(entry, Refusal::Stopped, bytes);
    }

    /// What was not let in.
    pub fn quarantine(&self) -> &[Quarantined] {
        &self.quarantine
    }

    /// What was not let in, as a text for a file: one record a line.
    #[must_use]
    pub fn export(&self) -> String {
        quarantine::export(&self.quarantine)
    }

    /// Takes back what [`export`](Self::export) wrote, without trying it.
    ///
    /// # Errors
    /// Where a line is no record of an export; then nothing is taken.
    pub fn import(&mut self, text: &str) -> Result<(), Unreadable> {
        for held in quarantine::import(text)? {
            self.hold(held.entry, held.reason, held.bytes);
        }
        Ok(())
    }

    /// Takes everything of an entry out of quarantine and makes attempts of it, each to be written down and tried.
    pub fn release(&mut self, entry: EntryId) -> Vec<Attempt> {
        let of_entry = |held: &mut Quarantined| held.entry == entry;
        let released = self.quarantine.extract_if(.., of_entry);
        released.map(|held| Attempt { entry, bytes: held.bytes }).collect()
    }

    /// The changes that wait for others, as uncompressed chunks.
    pub fn waiting(&self) -> impl Iterator<Item = (ChangeHash, &[u8])> {
        self.waiting.values().map(|waiting| (waiting.parsed.hash(), waiting.parsed.raw.bytes.as_slice()))
    }

    /// The changes for which others wait, sorted: what to ask for.
    #[must_use]
    pub fn missing(&self) -> Vec<ChangeHash> {
        let waits = |hash: &ChangeHash| self.waiting.keys().any(|(_, waiting)| waiting == hash);
        let deps = self.waiting.values().flat_map(|waiting| waiting.parsed.deps());
        let mut missing: Vec<ChangeHash> = deps.copied().filter(|dep| !self.history.has(dep) && !waits(dep)).collect();
        missing.sort_unstable();
        missing.dedup();
        missing
    }

    /// The document's bytes, after they were opened again: only these may replace anything that was stored.
    ///
    /// # Errors
    /// Where they do not open again as the same document. Then read the document anew from its stored changes behind a
    /// gate that is [careful](Self::be_careful): it finds the change that does it.
    pub fn checked_save(&mut self) -> Result<Vec<u8>, Refusal> {
        self.document.replica().proves().map_err(Refusal::Unsound)?;
        self.unproven = 0;
        Ok(self.document.save())
    }

    /// Takes an entry apart; its changes wait to be tried. Returns how many were known.
    fn receive(&mut self, entry: EntryId, bytes: &[u8]) -> usize {
        let (mut rest, mut known) = (bytes, 0);
        while !rest.is_empty() {
            let all = rest;
            match chunk::next(&mut rest) {
                Err(refusal) => {
                    self.hold(entry, refusal, all.to_vec());
                    break;
                }
                Ok(chunk) => match chunk.changes(&self.limits) {
                    Err(refusal) => self.hold(entry, refusal, chunk.whole.to_vec()),
                    Ok(changes) => known += changes.into_iter().filter(|raw| !self.enqueue(entry, raw)).count(),
                },
            }
        }
        known
    }

    /// Puts a change among those that wait; false where it is there already.
    fn enqueue(&mut self, entry: EntryId, raw: &Raw) -> bool {
        if self.history.has(&raw.hash) {
            return false;
        }
        let parsed = match change::parse(raw.clone(), &self.limits) {
            Ok(parsed) => parsed,
            Err(refusal) => {
                self.hold(entry, refusal, raw.bytes.clone());
                return true;
            }
        };
        let key = (parsed.start(), parsed.hash());
        if self.waiting.contains_key(&key) {
            return false;
        }
        if self.waiting.len() >= self.limits.waiting || self.waiting_bytes >= self.limits.waiting_bytes {
            self.hold(entry, Refusal::Full("too many changes wait for others"), raw.bytes.clone());
            return true;
        }
        self.wait(Waiting { parsed, entry });
        true
    }

    fn hold(&mut self, entry: EntryId, reason: Refusal, bytes: Vec<u8>) {
        if !self.quarantine.iter().any(|held| held.entry == entry && held.bytes == bytes) {
            self.quarantine.push(Quarantined { entry, reason, bytes });
        }
    }

    /// Tries everything whose dependencies are there.
    fn settle(&mut self) -> (Vec<D::Change>, Vec<ChangeHash>) {
        let mut trial: Option<Trial> = None;
        // In order of first operations: what a change builds on comes before it, so one pass is enough.
        for (key, waiting) in std::mem::take(&mut self.waiting) {
            if !self.has_all(waiting.parsed.deps()) {
                self.waiting.insert(key, waiting);
                continue;
            }
            self.waiting_bytes = self.waiting_bytes.saturating_sub(waiting.parsed.raw.bytes.len());
            let trial = trial.get_or_insert_with(|| Trial::on(self.document.replica()));
            self.consider(trial, waiting);
        }
        let Some(mut trial) = trial else { return (Vec::new(), Vec::new()) };
        self.flush(&mut trial);
        self.prove(&mut trial);
        self.accept(trial)
    }

    /// Judges one change, and puts it into the batch.
    fn consider(&mut self, trial: &mut Trial, waiting: Waiting) {
        match self.judge(trial, &waiting.parsed) {
            Ok(()) if self.has_all(waiting.parsed.deps()) => {
                self.history.expect(&waiting.parsed);
                let shapes = waiting.parsed.expanded.actor_id == trial.replica.schema_actor;
                trial.batch.push(waiting);
                if shapes {
                    // What follows a change of the shape is judged by the new one.
                    self.flush(trial);
                }
            }
            Ok(()) => self.wait(waiting),
            Err(refusal) => self.hold(waiting.entry, refusal, waiting.parsed.raw.bytes),
        }
    }

    fn has_all(&self, deps: &[ChangeHash]) -> bool {
        deps.iter().all(|dep| self.history.has(dep))
    }

    fn wait(&mut self, waiting: Waiting) {
        self.waiting_bytes += waiting.parsed.raw.bytes.len();
        self.waiting.insert((waiting.parsed.start(), waiting.parsed.hash()), waiting);
    }

    fn judge(&mut self, trial: &mut Trial, parsed: &Parsed) -> Result<(), Refusal> {
        if self.history.len() >= self.limits.changes {
            return Err(Refusal::Full("the document has as many changes as it can hold"));
        }
        self.history.check_order(parsed)?;
        let of_newer = *trial.of_newer.get_or_insert_with(|| judge::is_newer(&trial.replica));
        let shape = judge::judge(&trial.replica, of_newer, parsed)?;
        if shape == (Shape::Plain { adds_only: true }) {
            return Ok(());
        }
        // Lookups need what it builds on in the copy.
        self.flush(trial);
        if !self.has_all(parsed.deps()) {
            // Something that it builds on has just been refused: it will wait for it.
            return Ok(());
        }
        if shape == Shape::Newer {
            trial.newer = true;
            return Ok(());
        }
        judge::check_replaced(&trial.replica, parsed)
    }

    /// Applies the batch to the copy; where that fails, one change at a time.
    fn flush(&mut self, trial: &mut Trial) {
        let batch = std::mem::take(&mut trial.batch);
        if batch.is_empty() {
            return;
        }
        trial.of_newer = None;
        if apply(&mut trial.replica, &batch).is_ok() {
            trial.applied.extend(batch);
            return;
        }
        // Whatever the copy is now, it is thrown away; what it held before is known to apply.
        trial.replica = self.document.replica().clone();
        let earlier = std::mem::take(&mut trial.applied);
        if apply(&mut trial.replica, &earlier).is_ok() {
            trial.applied = earlier;
            self.one_by_one(trial, batch);
        } else {
            trial.replica = self.document.replica().clone();
            self.one_by_one(trial, earlier.into_iter().chain(batch).collect());
        }
    }

    /// Applies changes to the copy one at a time, each with the proof that the copy opens again.
    fn one_by_one(&mut self, trial: &mut Trial, batch: Vec<Waiting>) {
        // What was expected of the batch is not there yet.
        self.history = History::default();
        self.history.catch_up(&trial.replica);
        for waiting in batch {
            if !self.has_all(waiting.parsed.deps()) {
                self.wait(waiting);
                continue;
            }
            let mut copy = trial.replica.clone();
            let applied = apply(&mut copy, std::slice::from_ref(&waiting));
            let sound = applied.map_err(Refusal::NotTaken).and_then(|()| copy.proves().map_err(Refusal::Unsound));
            match sound {
                Ok(()) => {
                    trial.replica = copy;
                    self.history.expect(&waiting.parsed);
                    trial.applied.push(waiting);
                }
                Err(refusal) => self.hold(waiting.entry, refusal, waiting.parsed.raw.bytes),
            }
        }
        self.history.stands_at(trial.replica.heads());
    }

    /// Has the copy prove itself where it must.
    fn prove(&mut self, trial: &mut Trial) {
        let due = self.careful || trial.newer || self.unproven + trial.applied.len() > UNPROVEN;
        if !due {
            self.unproven += trial.applied.len();
            return;
        }
        self.unproven = 0;
        // Where the document itself does not prove, no change of this batch is to blame: `checked_save` will say so.
        if trial.replica.proves().is_err() && self.document.replica().proves().is_ok() {
            let all = std::mem::take(&mut trial.applied);
            trial.replica = self.document.replica().clone();
            self.one_by_one(trial, all);
        }
    }

    /// The copy takes the document's place.
    fn accept(&mut self, trial: Trial) -> (Vec<D::Change>, Vec<ChangeHash>) {
        let Trial { mut replica, applied, .. } = trial;
        if applied.is_empty() {
            return (Vec::new(), Vec::new());
        }
        let arrived: Vec<Arrived> = applied.iter().flat_map(|waiting| judge::said(&replica, &waiting.parsed)).collect();
        replica.note_merge();
        std::mem::swap(self.document.replica_mut(), &mut replica);
        let changes = self.document.explain(&replica, &arrived);
        self.history.stands_at(self.document.heads());
        (changes, applied.iter().map(|waiting| waiting.parsed.hash()).collect())
    }
}

impl Trial {
    fn on(replica: &Replica) -> Self {
        Self { replica: replica.clone(), batch: Vec::new(), applied: Vec::new(), newer: false, of_newer: None }
    }
}

/// Applies changes, and makes sure that they are there.
fn apply(replica: &mut Replica, changes: &[Waiting]) -> Result<(), String> {
    guarded(|| {
        let all: Vec<automerge::Change> = changes.iter().map(|waiting| waiting.parsed.change.clone()).collect();
        replica.doc.apply_changes(all).map_err(|error| error.to_string())?;
        let is_there = |waiting: &Waiting| replica.doc.get_change_meta_by_hash(&waiting.parsed.hash()).is_some();
        if changes.iter().all(is_there) { Ok(()) } else { Err("it was put aside".to_owned()) }
    })
}
