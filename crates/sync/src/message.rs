//! What goes into the engine and what comes out of it.

use std::fmt;

use automerge::ChangeHash;
use trug_seal::{
    DocumentKind, EntryKind, LogId, OwnerToken, Place, Root, SealError, SealingKey, ShareSecret, WriterHash,
    WriterToken, Zeroizing,
};

use crate::record::{Chain, EntryId, Key};

/// Milliseconds by the shell's clock. Used for pauses and for the grace of a withdrawal, never to order anything. A clock
/// that jumps makes a pause end early or at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Instant(pub u64);

/// One write that the shell was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Ticket(pub u64);

/// One call to the relay.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RequestId(pub u64);

/// What this device holds of a log's secrets.
#[derive(Debug, Clone)]
pub struct Keys {
    /// The log.
    pub log: LogId,
    /// What kind of document lies in it.
    pub document: DocumentKind,
    sealing: SealingKey,
    /// Envelopes from a counter, so that a simulation is replayed to the byte.
    #[cfg(any(test, feature = "sabotage"))]
    seeded: Option<crate::sabotage::Envelopes>,
    writer: WriterToken,
    owner: Option<OwnerToken>,
}

impl Keys {
    /// A chef's device, which has the root.
    #[must_use]
    pub fn owner(root: &Root, document: DocumentKind) -> Self {
        let share = root.share_secret();
        Self { owner: Some(root.owner_token()), ..Self::writer(root.log_id(), &share, document) }
    }

    /// A device that was invited.
    #[must_use]
    pub fn writer(log: LogId, share: &ShareSecret, document: DocumentKind) -> Self {
        Self {
            log,
            document,
            sealing: share.sealing_key(),
            #[cfg(any(test, feature = "sabotage"))]
            seeded: None,
            writer: share.writer_token(),
            owner: None,
        }
    }

    /// The same keys with envelopes of paper: nothing is hidden, and the same seed gives the same bytes. For simulations.
    #[cfg(any(test, feature = "sabotage"))]
    #[must_use]
    pub fn on_paper(self, seed: u64) -> Self {
        Self { seeded: Some(crate::sabotage::Envelopes::new(seed)), ..self }
    }

    const fn place(&self, entry: EntryKind) -> Place {
        Place { log: self.log, document: self.document, entry }
    }

    pub(crate) fn seal(&self, kind: EntryKind, content: &[u8]) -> Result<Vec<u8>, SealError> {
        #[cfg(any(test, feature = "sabotage"))]
        if let Some(paper) = &self.seeded {
            return Ok(paper.seal(kind, content));
        }
        self.sealing.seal(&self.place(kind), content)
    }

    /// Opens what lies in the log as an entry or a snapshot.
    pub(crate) fn unseal(&self, kind: EntryKind, sealed: &[u8]) -> Result<Zeroizing<Vec<u8>>, String> {
        #[cfg(any(test, feature = "sabotage"))]
        if let Some(paper) = &self.seeded {
            return paper.open(kind, sealed).map(Zeroizing::new).ok_or_else(|| "did not open".to_owned());
        }
        self.sealing.open(&self.place(kind), sealed).map_err(|error| error.to_string())
    }

    /// Whether this device owns the log.
    #[must_use]
    pub const fn is_owner(&self) -> bool {
        self.owner.is_some()
    }

    /// The bearer token for every call and for watching: the owner's where there is one.
    #[must_use]
    pub fn bearer(&self) -> Zeroizing<String> {
        self.owner.as_ref().map_or_else(|| self.writer.bearer(), OwnerToken::bearer)
    }

    /// What creating the log tells the relay.
    #[must_use]
    pub fn writer_hash(&self) -> WriterHash {
        self.writer.hash()
    }
}

/// What happened.
#[derive(Debug, Clone)]
pub enum Event {
    /// The document was edited on this device, through [`Engine::document_mut`](crate::Engine::document_mut).
    Edited,
    /// A write is durable.
    Stored(Ticket),
    /// A write failed; the engine asks for it again after a pause.
    NotStored(Ticket),
    /// Another process on this device says that it stored these.
    Found(Vec<(Key, Vec<u8>)>),
    /// Changes that came another way than through this log: from a file, or from the log before this one.
    Carried(Vec<Vec<u8>>),
    /// The relay answered, or did not.
    Answer(RequestId, Result<Answer, Failure>),
    /// The relay says on the live channel where the log's head is.
    Head(u64),
    /// Time has passed: a timer, or anything.
    Time,
    /// The relay may be reached.
    Online,
    /// It may not; also for a process that leaves syncing to another.
    Offline,
    /// A person wants an entry out of quarantine tried again.
    Retry(EntryId),
    /// Access is withdrawn: the log becomes read-only at the first moment and is deleted at the second. Owner only.
    Retire {
        /// Until then, picks that were not sent yet still come in.
        read_only_at: Instant,
        /// From then on the log is gone.
        delete_at: Instant,
    },
}

/// What the shell is to do, in this order. Writes and deletions of one key take effect in order.
#[derive(Debug, Clone)]
pub enum Effect<T> {
    /// Write, and say [`Event::Stored`] once it is durable, not before.
    Store {
        /// To be named then.
        ticket: Ticket,
        /// Under what.
        key: Key,
        /// What.
        bytes: Vec<u8>,
    },
    /// Delete. May be lost in a crash.
    Delete(Key),
    /// Call the relay, with the bearer of [`Keys::bearer`].
    Send(RequestId, Call),
    /// Watch the log on the live channel, or stop.
    Watch(bool),
    /// Say [`Event::Time`] then. A later timer replaces an earlier one.
    SetTimer(Instant),
    /// Tell the screen.
    Tell(Tell<T>),
}

/// A call to the relay.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Call {
    /// `PUT /logs/{log}` with the writer's hash.
    Create,
    /// `POST /logs/{log}/entries`.
    Append(Vec<u8>),
    /// `GET /logs/{log}/entries?after=`.
    Fetch {
        /// The last sequence number that is not wanted.
        after: u64,
    },
    /// `PUT /logs/{log}/snapshot?through=` with `Trug-Chain`.
    Snapshot {
        /// The last entry that it replaces.
        through: u64,
        /// The chain there.
        chain: Chain,
        /// The snapshot.
        sealed: Vec<u8>,
    },
    /// `PUT /logs/{log}/writer` with `null`.
    ReadOnly,
    /// `DELETE /logs/{log}`.
    Delete,
}

/// What the relay answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answer {
    /// 200 or 201 to an append.
    Appended {
        /// The entry's number.
        seq: u64,
        /// `Trug-Head`.
        head: u64,
        /// `Trug-Chain`.
        chain: Chain,
    },
    /// 200 to a fetch.
    Page(Page),
    /// 2xx to anything else.
    Done,
}

/// Entries of the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Page {
    /// The entries, in order.
    pub entries: Vec<(u64, EntryKind, Vec<u8>)>,
    /// `Trug-Head`.
    pub head: u64,
    /// `Trug-Chain`.
    pub chain: Chain,
    /// `Trug-Chain-At`, where there is one.
    pub chain_at: Option<Chain>,
}

/// Why there was no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Failure {
    /// 401.
    #[error("the relay does not know this device's token")]
    Unauthorized,
    /// 403.
    #[error("the relay does not allow this: access was withdrawn, or it wants a passcode")]
    Forbidden,
    /// 404.
    #[error("the relay does not know this log")]
    NotFound,
    /// 409.
    #[error("the snapshot does not fit the log")]
    Conflict,
    /// 410.
    #[error("the log was deleted: access has been withdrawn, ask for a new invitation")]
    Gone,
    /// 412.
    #[error("the log's chain differs")]
    ChainDiffers,
    /// 413.
    #[error("the relay takes no entry this large")]
    TooLarge,
    /// 428.
    #[error("the relay wants to know the chain")]
    NoChain,
    /// 507.
    #[error("the log is full")]
    Full,
    /// 429, 5xx, a timeout, no connection, an answer that makes no sense: later perhaps.
    #[error("the relay cannot be reached just now")]
    Later,
}

/// How far this device's own work has got: the data of one honest word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Status {
    /// Changes that are not durable on this device yet.
    pub saving: usize,
    /// Durable changes that the log has not acknowledged.
    pub to_send: usize,
    /// Whether there has been a relay to send to since the program started.
    pub relay: bool,
}

impl fmt::Display for Status {
    /// `saving`, `on this phone`, `3 to send` or `sent`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self { saving: 1.., .. } => f.write_str("saving"),
            Self { relay: false, .. } => f.write_str("on this phone"),
            Self { to_send: 0, .. } => f.write_str("sent"),
            Self { to_send, .. } => write!(f, "{to_send} to send"),
        }
    }
}

/// Why the engine waits for a person.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Halt {
    /// The log is gone for good.
    Gone,
    /// The relay refuses this device. Going online again asks once more.
    Refused(Failure),
}

/// Something for the screen.
#[derive(Debug, Clone)]
pub enum Tell<T> {
    /// How far this device's work has got.
    Status(Status),
    /// What others did.
    Merged(Vec<T>),
    /// An entry was not let in, whole or in part. It is kept.
    Quarantined(EntryId, String),
    /// The log has gone back or aside; it is read again, and gets back what it lacks.
    WentBack,
    /// Nothing more is asked of the relay until a person did something.
    Halted(Halt),
    /// Something is wrong, and is tried again later.
    Trouble(Failure),
    /// A change cannot be sent, for it is too large for the relay. It stays on this device.
    Unsendable(ChangeHash),
    /// This device's storage takes nothing just now.
    NotSaving,
    /// A record on this device is damaged; it is left alone.
    Damaged(Key),
    /// The document does not prove that it opens again; nothing stored is replaced.
    Unsound(String),
}
