//! What was not let in, and why: kept, shown, exported, and tried again when a person or a newer program says so.

use std::fmt;
use std::str::FromStr;

use sha2::{Digest, Sha256};

use super::Refusal;
use crate::hex::{hex, unhex};
use crate::record::{Reader, Unreadable, Writer};

/// An entry by the SHA-256 of its bytes: the same entry from a relay and from a file is the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct EntryId(pub [u8; 32]);

impl EntryId {
    /// The id of an entry's bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }
}

impl fmt::Display for EntryId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&hex(&self.0))
    }
}

impl FromStr for EntryId {
    type Err = Unreadable;

    fn from_str(text: &str) -> Result<Self, Unreadable> {
        let bytes = unhex(text).and_then(|bytes| bytes.try_into().ok());
        bytes.map(Self).ok_or_else(|| Unreadable::Key(text.to_owned()))
    }
}

/// Something that was not let in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Quarantined {
    /// The entry in which it came.
    pub entry: EntryId,
    /// Why.
    pub reason: Refusal,
    /// The bytes: one change of the entry, or all that could not be taken apart.
    pub bytes: Vec<u8>,
}

/// Writes what is held, one record a line, with the bytes in hexadecimal: for a file that a person can send on.
pub(super) fn export(held: &[Quarantined]) -> String {
    let lines = held.iter().map(|one| {
        let record = Writer::new("quarantined").put('e', &one.entry.to_string()).put('r', &one.reason.to_string());
        record.put('b', &hex(&one.bytes)).finish().replace('\n', " ") + "\n"
    });
    lines.collect()
}

/// Reads what [`export`] wrote. The reasons are kept as texts.
pub(super) fn import(text: &str) -> Result<Vec<Quarantined>, Unreadable> {
    let read = |line: &str| {
        let record = Reader::new(line)?;
        let entry = record.parse('e', "entry", |text| text.parse().ok())?;
        let bytes = record.parse('b', "bytes", unhex)?;
        Ok(Quarantined { entry, reason: Refusal::Earlier(record.need('r', "reason")?.to_owned()), bytes })
    };
    text.lines().filter(|line| !line.is_empty()).map(read).collect()
}
