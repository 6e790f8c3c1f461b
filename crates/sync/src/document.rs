//! What the engine asks of a document: nothing of its meaning, only its changes.

use automerge::ChangeHash;
use sha2::{Digest, Sha256};
use trug_replica::gate::Gate;

/// What came of trying entries.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tried<T> {
    /// What changed, for the screen.
    pub told: Vec<T>,
    /// How many parts of the entries were not let in; the document keeps them with their reasons.
    pub quarantined: usize,
}

/// A document as the engine sees it: a set of changes with a gate before it. A change is one uncompressed Automerge
/// chunk; an entry's content is one or more of them, one behind the other.
pub trait Document {
    /// What a merge can change, for the screen.
    type Told: Clone + std::fmt::Debug;

    /// Tries contents of entries in order. What waits for dependencies is kept and counts as neither.
    fn admit(&mut self, contents: Vec<Vec<u8>>) -> Tried<Self::Told>;
    /// Quarantines a content during whose trial the program stopped, without trying it.
    fn blame(&mut self, content: Vec<u8>);
    /// Takes a content out of quarantine, for another trial.
    fn release(&mut self, content: &[u8]);
    /// The changes that this process has made since it last asked, in order.
    fn take_local(&mut self) -> Vec<(ChangeHash, Vec<u8>)>;
    /// Every change there is, also what waits for others, in an order in which they apply.
    fn all(&self) -> Vec<(ChangeHash, Vec<u8>)>;
    /// Whether the change is applied.
    fn has(&self, hash: &ChangeHash) -> bool;
    /// How many changes wait for others.
    fn waiting(&self) -> usize;
    /// How many parts are in quarantine.
    fn quarantined(&self) -> usize;
    /// The whole document (without what waits) as bytes that were seen to open again.
    ///
    /// # Errors
    /// Why they do not; then nothing stored may be replaced.
    fn checked_save(&mut self) -> Result<Vec<u8>, String>;
}

impl<D: trug_replica::Document> Document for Gate<D> {
    type Told = D::Change;

    fn admit(&mut self, contents: Vec<Vec<u8>>) -> Tried<D::Change> {
        // A content that is held whole already would only be held again.
        let attempts: Vec<_> = contents.into_iter().filter_map(|content| self.attempt(content).ok()).collect();
        let admitted = self.admit_all(attempts);
        Tried { told: admitted.changes, quarantined: admitted.quarantined }
    }

    fn blame(&mut self, content: Vec<u8>) {
        Self::blame(self, content);
    }

    fn release(&mut self, content: &[u8]) {
        drop(Self::release(self, trug_replica::gate::EntryId::of(content)));
    }

    fn take_local(&mut self) -> Vec<(ChangeHash, Vec<u8>)> {
        let local = self.document_mut().take_local();
        local.into_iter().map(|change| (change.hash, change.bytes)).collect()
    }

    fn all(&self) -> Vec<(ChangeHash, Vec<u8>)> {
        let applied = self.document().all_changes().into_iter().map(|change| (change.hash, change.bytes));
        let waiting = Self::waiting(self).map(|(hash, bytes)| (hash, bytes.to_vec()));
        applied.chain(waiting).collect()
    }

    fn has(&self, hash: &ChangeHash) -> bool {
        self.document().has_change(hash)
    }

    fn waiting(&self) -> usize {
        Self::waiting(self).count()
    }

    fn quarantined(&self) -> usize {
        self.quarantine().len()
    }

    fn checked_save(&mut self) -> Result<Vec<u8>, String> {
        Self::checked_save(self).map_err(|refusal| refusal.to_string())
    }
}

/// How every chunk begins (automerge's binary format).
const MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];
/// The chunk type of an uncompressed change.
const CHANGE: u8 = 1;

/// The hash that an uncompressed change goes by: SHA-256 of all behind its checksum, whose first bytes the checksum is
/// (automerge's binary format). `None` for anything else: such a chunk can be tried, but what it holds is not counted
/// as lying in the log, so that the engine would rather give back too much.
#[must_use]
pub fn change_hash(chunk: &[u8]) -> Option<ChangeHash> {
    let (magic, rest) = chunk.split_first_chunk::<4>()?;
    let (checksum, body) = rest.split_first_chunk::<4>()?;
    if *magic != MAGIC || body.first() != Some(&CHANGE) || !is_whole(body) {
        return None;
    }
    let hash: [u8; 32] = Sha256::digest(body).into();
    hash.starts_with(checksum).then_some(ChangeHash(hash))
}

/// Whether the length behind the type is that of all the rest: nothing may hide behind a change.
fn is_whole(body: &[u8]) -> bool {
    let mut len: u64 = 0;
    for (at, byte) in body.iter().skip(1).enumerate().take(9) {
        len |= u64::from(byte & 0x7f) << (7 * at);
        if byte & 0x80 == 0 {
            return (body.len() as u64).checked_sub(at as u64 + 2) == Some(len);
        }
    }
    false
}
