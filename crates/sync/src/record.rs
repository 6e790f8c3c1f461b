//! What the engine keeps on the device: records under keys, written once each but for the cursor and the journal.
//!
//! No record is ever replaced by one that knows less, so that two processes on one device need no lock to be safe (one
//! saves work): a process deletes only what it has read itself and holds in a newer save.

use std::fmt;
use std::str::FromStr;

use automerge::ChangeHash;
use sha2::{Digest, Sha256};
use trug_replica::hex::unhex;
use trug_seal::EntryKind;

/// An entry by the SHA-256 of its sealed bytes, as the chain has it; other records by that of their own bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct EntryId(pub [u8; 32]);

impl EntryId {
    /// The id of bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }
}

/// The chain of a log at one place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Chain(pub [u8; 32]);

impl Chain {
    /// Before the first entry.
    pub const START: Self = Self([0; 32]);

    /// With one entry more: SHA-256(chain ‖ SHA-256(entry)).
    #[must_use]
    pub fn then(self, entry: EntryId) -> Self {
        Self(Sha256::new().chain_update(self.0).chain_update(entry.0).finalize().into())
    }
}

/// Under what a record is kept. Its text is `kind/lower-case hexadecimal`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Key {
    /// Changes that this device made, by the hash of the first: each with its length (u64 BE) before it.
    Change(ChangeHash),
    /// An entry that lay in the log, sealed.
    Entry(EntryId),
    /// Changes that came another way: by file, or from the log before this one.
    Carried(EntryId),
    /// A sealed entry that waits to lie in the log.
    Outbox(EntryId),
    /// A whole document.
    Save(EntryId),
    /// How far a process has read.
    Cursor(u64),
    /// What a process is trying.
    Trying(u64),
    /// An entry during whose trial a program stopped.
    Blamed(EntryId),
    /// That the log is being withdrawn, and when.
    Retiring,
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (kind, bytes): (&str, &[u8]) = match self {
            Self::Change(ChangeHash(hash)) => ("change", hash),
            Self::Entry(id) => ("entry", &id.0),
            Self::Carried(id) => ("carried", &id.0),
            Self::Outbox(id) => ("outbox", &id.0),
            Self::Save(id) => ("save", &id.0),
            Self::Blamed(id) => ("blamed", &id.0),
            Self::Cursor(process) => return write!(f, "cursor/{process:016x}"),
            Self::Trying(process) => return write!(f, "trying/{process:016x}"),
            Self::Retiring => return f.write_str("retiring/"),
        };
        write!(f, "{kind}/")?;
        bytes.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

/// A key that the engine would not have written.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not the key of a record; one looks like `change/` and 64 hexadecimal digits")]
pub struct BadKey(pub String);

impl FromStr for Key {
    type Err = BadKey;

    fn from_str(text: &str) -> Result<Self, BadKey> {
        let bad = || BadKey(text.to_owned());
        let (kind, rest) = text.split_once('/').ok_or_else(bad)?;
        if !rest.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f')) {
            return Err(bad());
        }
        let process = || match rest.len() {
            16 => u64::from_str_radix(rest, 16).map_err(|_| bad()),
            _ => Err(bad()),
        };
        let hash = || unhex(rest).and_then(|bytes| bytes.try_into().ok()).ok_or_else(bad);
        Ok(match kind {
            "change" => Self::Change(ChangeHash(hash()?)),
            "entry" => Self::Entry(EntryId(hash()?)),
            "carried" => Self::Carried(EntryId(hash()?)),
            "outbox" => Self::Outbox(EntryId(hash()?)),
            "save" => Self::Save(EntryId(hash()?)),
            "blamed" => Self::Blamed(EntryId(hash()?)),
            "cursor" => Self::Cursor(process()?),
            "trying" => Self::Trying(process()?),
            "retiring" if rest.is_empty() => Self::Retiring,
            _ => return Err(bad()),
        })
    }
}

/// How far the log has been read, and what this device knows to lie in it up to there: the changes of `save` but those
/// which it says are lacking, and those of the `entries`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Cursor {
    pub(crate) seq: u64,
    /// The chain at `seq`; not known behind a snapshot until the next answer says it.
    pub(crate) chain: Option<Chain>,
    /// The sequence number of the last snapshot seen.
    pub(crate) snapshot: u64,
    /// Head and chain as they were said with a snapshot, while the chain behind it cannot be reckoned: when the reading
    /// gets there, they must be met, or it went on in another log.
    pub(crate) promise: Option<(u64, Chain)>,
    pub(crate) save: Option<EntryId>,
    pub(crate) entries: Vec<EntryId>,
}

impl Cursor {
    pub(crate) const START: Self =
        Self { seq: 0, chain: Some(Chain::START), snapshot: 0, promise: None, save: None, entries: Vec::new() };

    pub(crate) fn write(&self) -> Vec<u8> {
        let promised = self.promise.map_or(0, |(head, _)| head);
        let mut bytes = [self.seq.to_be_bytes(), self.snapshot.to_be_bytes(), promised.to_be_bytes()].concat();
        let promise = self.promise.map(|(_, chain)| chain.0);
        for hash in [self.chain.map(|chain| chain.0), promise, self.save.map(|save| save.0)] {
            bytes.push(u8::from(hash.is_some()));
            bytes.extend_from_slice(&hash.unwrap_or_default());
        }
        bytes.extend(self.entries.iter().flat_map(|id| id.0));
        bytes
    }

    pub(crate) fn read(bytes: &[u8]) -> Option<Self> {
        let (seq, rest) = bytes.split_first_chunk()?;
        let (snapshot, rest) = rest.split_first_chunk()?;
        let (promised, rest) = rest.split_first_chunk()?;
        let (chain, rest) = read_option(rest)?;
        let (promise, rest) = read_option(rest)?;
        let (save, rest) = read_option(rest)?;
        let entries = read_hashes(rest)?.into_iter().map(EntryId).collect();
        Some(Self {
            seq: u64::from_be_bytes(*seq),
            snapshot: u64::from_be_bytes(*snapshot),
            promise: promise.map(|chain| (u64::from_be_bytes(*promised), Chain(chain))),
            chain: chain.map(Chain),
            save: save.map(EntryId),
            entries,
        })
    }
}

fn read_option(bytes: &[u8]) -> Option<(Option<[u8; 32]>, &[u8])> {
    let (is_some, rest) = bytes.split_first()?;
    let (hash, rest) = rest.split_first_chunk::<32>()?;
    Some(((*is_some == 1).then_some(*hash), rest))
}

pub(crate) fn read_hashes(bytes: &[u8]) -> Option<Vec<[u8; 32]>> {
    let (hashes, []) = bytes.as_chunks::<32>() else { return None };
    Some(hashes.to_vec())
}

/// Hashes with something behind them: a parcel's changes and its sealed bytes; what a save's log lacks and its document.
pub(crate) fn write_listed<'h>(hashes: impl ExactSizeIterator<Item = &'h ChangeHash>, body: &[u8]) -> Vec<u8> {
    let mut bytes = (hashes.len() as u64).to_be_bytes().to_vec();
    bytes.extend(hashes.flat_map(|hash| hash.0));
    bytes.extend_from_slice(body);
    bytes
}

pub(crate) fn read_listed(bytes: &[u8]) -> Option<(Vec<ChangeHash>, &[u8])> {
    let (count, rest) = bytes.split_first_chunk()?;
    let len = usize::try_from(u64::from_be_bytes(*count)).ok()?.checked_mul(32)?;
    let (hashes, body) = rest.split_at_checked(len)?;
    Some((read_hashes(hashes)?.into_iter().map(ChangeHash).collect(), body))
}

pub(crate) fn write_entry(kind: EntryKind, sealed: &[u8]) -> Vec<u8> {
    [&[kind.byte()], sealed].concat()
}

pub(crate) fn read_entry(bytes: &[u8]) -> Option<(EntryKind, &[u8])> {
    let (kind, sealed) = bytes.split_first()?;
    Some((EntryKind::from_byte(*kind)?, sealed))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_read_as_they_were_written() {
        let id = EntryId::of(b"x");
        let keys = [
            Key::Change(ChangeHash(id.0)),
            Key::Entry(id),
            Key::Carried(id),
            Key::Outbox(id),
            Key::Save(id),
            Key::Blamed(id),
            Key::Cursor(7),
            Key::Trying(u64::MAX),
            Key::Retiring,
        ];
        for key in keys {
            assert_eq!(key.to_string().parse(), Ok(key));
        }
        for bad in
            ["", "change", "change/", "change/zz", "cursor/1", "retiring/00", "other/00", "cursor/+00000000000001"]
        {
            assert_eq!(bad.parse::<Key>(), Err(BadKey(bad.to_owned())), "{bad}");
        }
    }

    #[test]
    fn records_are_read_as_they_were_written_and_cut_off_never() {
        let id = EntryId::of(b"x");
        for (chain, save) in [(None, None), (Some(Chain::START.then(id)), Some(id))] {
            let cursor = Cursor {
                seq: 9,
                chain,
                snapshot: 3,
                promise: chain.map(|chain| (12, chain)),
                save,
                entries: vec![id, EntryId::of(b"y")],
            };
            let bytes = cursor.write();
            assert_eq!(Cursor::read(&bytes), Some(cursor));
            assert!((0..bytes.len()).all(|len| len == 123 || len == 155 || Cursor::read(&bytes[..len]).is_none()));
        }
        let hashes = [ChangeHash(id.0)];
        let bytes = write_listed(hashes.iter(), b"body");
        assert_eq!(read_listed(&bytes), Some((hashes.to_vec(), &b"body"[..])));
        assert!((0..40).all(|len| read_listed(&bytes[..len]).is_none()));
        assert_eq!(read_listed(&[0xff; 40]), None);
    }
}
