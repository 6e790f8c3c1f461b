//! What a log allows, and how its numbers and chain go on. Pure: no database, no clock.

use super::{Appended, Created, ENTRY_OVERHEAD, Head, Notice, Refusal, Role, Room};
use crate::ids::{Chain, LogId, TokenHash};

/// A log as its row says.
#[derive(Debug, Clone)]
pub(crate) struct LogRow {
    pub owner: TokenHash,
    /// The writer that was named last, also when the log is read-only for it.
    pub writer: TokenHash,
    pub read_only: bool,
    pub deleted: bool,
    pub epoch: u64,
    pub head: Head,
    /// The number of the last snapshot, 0 when there is none.
    pub snapshot: u64,
    /// Bytes of the last snapshot and the entries after it, with their overhead.
    pub live: u64,
    /// Bytes of what snapshots replaced and is still kept.
    pub replaced: u64,
}

/// What a token may be wanted for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Wish {
    Read,
    Append,
    Own,
}

impl LogRow {
    /// A log that was just made.
    pub(crate) fn new(owner: TokenHash, writer: TokenHash) -> Self {
        Self {
            owner,
            writer,
            read_only: false,
            deleted: false,
            epoch: 1,
            head: Head { seq: 0, chain: Chain::START },
            snapshot: 0,
            live: 0,
            replaced: 0,
        }
    }

    /// What a token makes of its bearer. Both hashes are always compared, so that time tells nothing.
    pub(crate) fn role(&self, token: &TokenHash) -> Result<Role, Refusal> {
        if self.deleted {
            return Err(Refusal::Gone);
        }
        let (owner, writer) = (self.owner.matches(token), self.writer.matches(token));
        match (owner, writer, self.read_only) {
            (true, _, _) => Ok(Role::Owner),
            (_, true, false) => Ok(Role::Writer),
            (_, true, true) => Ok(Role::Reader),
            (false, false, _) => Err(Refusal::Token),
        }
    }

    /// The role, when it is enough for what is wanted.
    pub(crate) fn allow(&self, token: &TokenHash, wish: Wish) -> Result<Role, Refusal> {
        match (self.role(token)?, wish) {
            (Role::Writer | Role::Reader, Wish::Own) => Err(Refusal::OwnerOnly),
            (Role::Reader, Wish::Append) => Err(Refusal::ReadOnly),
            (role, _) => Ok(role),
        }
    }

    /// Whose the log is, for somebody who wants to make it.
    pub(crate) fn owned(&self, owner: &TokenHash) -> Result<Created, Refusal> {
        match (self.deleted, self.owner.matches(owner)) {
            (true, _) => Err(Refusal::Gone),
            (false, true) => Ok(Created::Mine),
            (false, false) => Ok(Created::NotMine),
        }
    }

    /// The row after one more entry.
    pub(crate) fn append(
        &mut self,
        role: Role,
        room: &Room,
        length: u64,
        hash: &[u8; 32],
    ) -> Result<Appended, Refusal> {
        let live = self.live.saturating_add(charge(length));
        if live > self.room_for(role, room) {
            return Err(Refusal::Full);
        }
        self.live = live;
        self.head = Head { seq: self.head.seq + 1, chain: self.head.chain.then(hash) };
        Ok(Appended { seq: self.head.seq, new: true, head: self.head })
    }

    fn room_for(&self, role: Role, room: &Room) -> u64 {
        match role {
            Role::Owner => room.log.saturating_add(room.reserve),
            Role::Writer | Role::Reader => room.log,
        }
    }

    /// Whether a snapshot may reach through this number.
    pub(crate) fn snapshot_range(&self, through: u64) -> Result<(), Refusal> {
        let from = self.snapshot.max(1);
        if through < from || through > self.head.seq {
            return Err(Refusal::Range { through, from, head: self.head.seq });
        }
        Ok(())
    }

    /// The row after a snapshot of `length` bytes, which replaces `swallowed` bytes (overhead included).
    pub(crate) fn take_snapshot(
        &mut self,
        room: &Room,
        through: u64,
        length: u64,
        swallowed: u64,
    ) -> Result<(), Refusal> {
        let live = self.live.saturating_sub(swallowed).saturating_add(charge(length));
        if live > room.log.saturating_add(room.reserve) {
            return Err(Refusal::Full);
        }
        let replaced = self.replaced.saturating_add(swallowed);
        if replaced > room.replaced {
            return Err(Refusal::ReplacedFull);
        }
        (self.live, self.replaced, self.snapshot) = (live, replaced, through);
        Ok(())
    }

    /// What those who watch need to know.
    pub(crate) fn notice(&self, log: LogId) -> Notice {
        Notice { log, head: self.head.seq, epoch: self.epoch }
    }
}

/// What a record of `length` bytes counts against its log.
pub(crate) fn charge(length: u64) -> u64 {
    length.saturating_add(ENTRY_OVERHEAD)
}

#[cfg(test)]
mod tests {
    use super::*;

    const OWNER: TokenHash = TokenHash([1; 32]);
    const WRITER: TokenHash = TokenHash([2; 32]);
    const STRANGER: TokenHash = TokenHash([3; 32]);

    #[test]
    fn tokens_allow_what_they_should() {
        use Refusal::{Gone, OwnerOnly, ReadOnly, Token};
        let cases = [
            // token, read-only, deleted, what for reading, appending, owning
            (OWNER, false, false, [None, None, None]),
            (OWNER, true, false, [None, None, None]),
            (WRITER, false, false, [None, None, Some(OwnerOnly)]),
            (WRITER, true, false, [None, Some(ReadOnly), Some(OwnerOnly)]),
            (STRANGER, false, false, [Some(Token); 3]),
            (STRANGER, true, false, [Some(Token); 3]),
            (OWNER, false, true, [Some(Gone); 3]),
            (STRANGER, false, true, [Some(Gone); 3]),
        ];
        for (token, read_only, deleted, expected) in cases {
            let row = LogRow { read_only, deleted, ..LogRow::new(OWNER, WRITER) };
            let got = [Wish::Read, Wish::Append, Wish::Own].map(|wish| row.allow(&token, wish).err());
            assert_eq!(got, expected, "{token:?} read_only={read_only} deleted={deleted}");
        }
    }

    #[test]
    fn the_owner_keeps_a_reserve() {
        let room = Room { log: 1000, reserve: 500, replaced: 10_000 };
        let mut row = LogRow::new(OWNER, WRITER);
        row.append(Role::Writer, &room, 872, &[0; 32]).expect("fills the log to the byte");
        assert_eq!(row.append(Role::Writer, &room, 1, &[1; 32]), Err(Refusal::Full));
        row.append(Role::Owner, &room, 100, &[1; 32]).expect("the owner's reserve");
        assert_eq!(row.append(Role::Owner, &room, 200, &[2; 32]), Err(Refusal::Full));
        assert_eq!(row.head.seq, 2, "a refused entry takes no number");
        row.take_snapshot(&room, 2, 300, row.live).expect("a full log can be snapshotted");
        assert_eq!((row.live, row.replaced), (428, 1228));
    }

    #[test]
    fn snapshots_reach_from_the_last_to_the_head() {
        let mut row = LogRow::new(OWNER, WRITER);
        assert!(
            row.snapshot_range(0).is_err() && row.snapshot_range(1).is_err(),
            "an empty log has nothing to replace"
        );
        (row.head.seq, row.snapshot) = (9, 4);
        for (through, allowed) in [(0, false), (3, false), (4, true), (9, true), (10, false), (u64::MAX, false)] {
            assert_eq!(row.snapshot_range(through).is_ok(), allowed, "{through}");
        }
    }
}
