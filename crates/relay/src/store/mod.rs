//! Where logs are kept: one small trait, with SQLite and PostgreSQL behind it.
//!
//! **Invariant:** what a log allows and how its numbers and chain go on is decided in `rules` alone. A store only
//! fetches a log's row, asks the rules, and writes what they say in the same transaction. So both stores agree.
//!
//! An operation answers only when its effect is durable. Every operation checks the caller's token again inside its
//! own transaction, so a token that was withdrawn a moment ago writes nothing.

pub(crate) mod postgres;
pub(crate) mod rules;
pub(crate) mod sqlite;

use async_trait::async_trait;
use bytes::Bytes;

pub use self::postgres::PostgresStore;
pub use self::sqlite::SqliteStore;
use crate::ids::{Chain, LogId, TokenHash};

/// Seconds that what a snapshot replaced stays restorable: 30 days.
pub const KEEP_REPLACED_SECONDS: u64 = 30 * 24 * 60 * 60;

/// Bytes counted against a log for each entry beside its own: about what a row and its index entries take on disk.
/// Without it, a log of one-byte entries would be a hundred times its limit.
pub const ENTRY_OVERHEAD: u64 = 128;

/// How much one log may hold, in bytes. A snapshot or an entry counts its length and [`ENTRY_OVERHEAD`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Room {
    /// What a log may hold before writers are refused.
    pub log: u64,
    /// What the owner may use on top, so that a full log can still be snapshotted.
    pub reserve: u64,
    /// What replaced entries and snapshots of the last 30 days may take beside that.
    pub replaced: u64,
}

/// What a caller's token makes of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// The chef's own devices: everything.
    Owner,
    /// Whoever was let in: reading and appending.
    Writer,
    /// Whoever was let in, after the owner made the log read-only.
    Reader,
}

/// Why a store did not do what was asked. Nothing was changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// No such log was ever made.
    #[error("no log of this id was ever made")]
    Unknown,
    /// The log was deleted.
    #[error("the log was deleted")]
    Gone,
    /// The token is neither the owner's nor the writer's.
    #[error("the token does not open this log")]
    Token,
    /// Only the owner may do this.
    #[error("only the owner of the log may do this")]
    OwnerOnly,
    /// The owner made the log read-only.
    #[error("the log is read-only")]
    ReadOnly,
    /// The log has reached its size.
    #[error("the log is full")]
    Full,
    /// What snapshots replaced in the last 30 days fills its own room.
    #[error("what was replaced in the last 30 days fills its room")]
    ReplacedFull,
    /// A snapshot's number is above the head, or below the last snapshot.
    #[error("a snapshot must reach from {from} to {head}, not through {through}")]
    Range {
        /// What was asked for.
        through: u64,
        /// The least number that can be snapshotted.
        from: u64,
        /// The greatest.
        head: u64,
    },
    /// A snapshot's chain is not the log's.
    #[error("the chain at {through} is another one")]
    ChainDiffers {
        /// The number that the chain was given for.
        through: u64,
    },
}

/// Why a store could not answer.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// It could, and the answer is no.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// The disk is full, the file read-only, the database away: nothing was acknowledged, trying later may help.
    #[error("the store is not available: {0}")]
    Unavailable(String),
    /// What is stored contradicts itself.
    #[error("the store is damaged: {0}")]
    Damaged(String),
}

/// Whether a log was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Created {
    /// It was, now.
    New,
    /// It was there and belongs to this owner. Its writer was left as it is.
    Mine,
    /// It was there and belongs to somebody else.
    NotMine,
}

/// Where a log stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Head {
    /// The number of the last entry, 0 when there is none.
    pub seq: u64,
    /// The chain there.
    pub chain: Chain,
}

/// What became of an entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Appended {
    /// Its number.
    pub seq: u64,
    /// Whether it is new, or was there before under this number.
    pub new: bool,
    /// Where the log stands now.
    pub head: Head,
}

/// What a record of a page is; its value is the byte on the wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub enum Kind {
    /// An entry.
    Entry = 0,
    /// A snapshot in place of every entry up to its number.
    Snapshot = 1,
}

/// One record of a log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// Its number.
    pub seq: u64,
    /// What it is.
    pub kind: Kind,
    /// The sealed bytes, as they were given.
    pub sealed: Bytes,
}

/// What to read of a log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// Records above this number.
    pub after: u64,
    /// At most so many records.
    pub limit: u64,
    /// Stop at so many sealed bytes; the first record is given whatever its length.
    pub bytes: u64,
}

/// Part of a log, read in one transaction.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Page {
    /// Where the log stands.
    pub head: Head,
    /// The chain at `after`; `None` when it lies above the head or a snapshot has swallowed it.
    pub chain_at: Option<Chain>,
    /// The records, by number.
    pub records: Vec<Record>,
}

/// What somebody who watches a log needs to know of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Notice {
    /// Which log.
    pub log: LogId,
    /// The number of its last entry.
    pub head: u64,
    /// Grows whenever the writer is changed or the log deleted: who watches must be looked at again.
    pub epoch: u64,
}

/// Where logs are kept. Times are seconds since 1970 (UTC); the caller tells them, so that tests can.
#[async_trait]
pub trait Store: Send + Sync + 'static {
    /// Makes a log, unless it is there.
    async fn create(&self, log: LogId, owner: TokenHash, writer: TokenHash, now: u64) -> Result<Created, StoreError>;

    /// Whose log it is, without making it: `None` when it was never made.
    async fn owned(&self, log: LogId, owner: TokenHash) -> Result<Option<Created>, StoreError>;

    /// What a token allows, and where the log stands.
    async fn look(&self, log: LogId, token: TokenHash) -> Result<(Role, Notice), StoreError>;

    /// Appends an entry, or finds the number that the same bytes have already.
    async fn append(&self, log: LogId, token: TokenHash, sealed: Bytes) -> Result<Appended, StoreError>;

    /// Reads part of a log.
    async fn read(&self, log: LogId, token: TokenHash, span: Span) -> Result<Page, StoreError>;

    /// Puts a snapshot in the place of every entry up to `through`, when `chain` is the log's chain there.
    async fn snapshot(
        &self,
        log: LogId,
        token: TokenHash,
        through: u64,
        chain: Chain,
        sealed: Bytes,
        now: u64,
    ) -> Result<Head, StoreError>;

    /// Names the only writer, or makes the log read-only for the one that was named last.
    async fn set_writer(&self, log: LogId, token: TokenHash, writer: Option<TokenHash>) -> Result<(), StoreError>;

    /// Deletes a log for good. Only its id stays, so that it is never made again.
    async fn delete(&self, log: LogId, token: TokenHash) -> Result<(), StoreError>;

    /// Takes back a log's last snapshot, so that what it replaced is there again; `Some` is its number. `None` when
    /// there is none, or what it replaced is more than 30 days old and was cleared away. For the operator alone: no
    /// call of the protocol reaches it.
    async fn restore(&self, log: LogId) -> Result<Option<u64>, StoreError>;

    /// Clears away what was replaced more than 30 days ago; the number of snapshots whose replaced part went.
    async fn tidy(&self, now: u64) -> Result<u64, StoreError>;

    /// What is new of the logs that somebody here watches, told to the [`Feed`](crate::Feed). A store that hears of
    /// nobody else's appends has nothing to do.
    async fn poll(&self) -> Result<(), StoreError>;

    /// Waits until everything acknowledged is in its final place, and lets go of files and connections.
    async fn close(&self);
}
