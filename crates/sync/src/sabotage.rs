//! Ways to break the engine on purpose, and envelopes that a simulation can foretell.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use sha2::{Digest, Sha256};
use trug_seal::EntryKind;

/// Numbered envelopes: number, kind, content, and SHA-256 of them all.
#[derive(Debug, Clone)]
pub(crate) struct Envelopes {
    seed: u64,
    next: Arc<AtomicU64>,
}

impl Envelopes {
    pub(crate) fn new(seed: u64) -> Self {
        Self { seed, next: Arc::default() }
    }

    pub(crate) fn seal(&self, kind: EntryKind, content: &[u8]) -> Vec<u8> {
        let number = self.next.fetch_add(1, Ordering::Relaxed);
        let body = [&self.seed.to_be_bytes()[..], &number.to_be_bytes(), &[kind.byte()], content].concat();
        [&Sha256::digest(&body)[..], &body].concat()
    }

    #[allow(clippy::unused_self, reason = "beside its other half")]
    pub(crate) fn open(&self, kind: EntryKind, sealed: &[u8]) -> Option<Vec<u8>> {
        let (sum, body) = sealed.split_first_chunk::<32>()?;
        let (_, rest) = body.split_first_chunk::<16>()?;
        let (found, content) = rest.split_first()?;
        (*found == kind.byte() && *sum == *Sha256::digest(body)).then(|| content.to_vec())
    }
}

/// What is broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sabotage {
    /// Parcels are sent before they are durable.
    SendsBeforeDurable,
    /// The cursor moves before what arrived is durable.
    CursorFirst,
    /// A log that went back or aside is not noticed.
    TrustsTheLog,
    /// Snapshots are taken although something is waiting or in quarantine.
    SnapshotsAnyway,
    /// What a program stopped on is tried again.
    TriesAgain,
    /// Parcels are sealed anew for each attempt.
    SealsAgain,
}
