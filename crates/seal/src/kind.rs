//! The kinds of documents and of sealed bytes, with the byte that stands for each.

/// Which kind of document a log holds. Bound into every seal, so that bytes of one kind never open as another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum DocumentKind {
    /// The chef's own book: households, dishes, weeks, prices, and the roots of all other documents.
    Book,
    /// One place's pantry: lots, moves and counts.
    Pantry,
    /// One shopping trip.
    Run,
}

/// Which kind of sealed bytes lies in a log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum EntryKind {
    /// Changes, as a device made them.
    Entry,
    /// The whole document up to a sequence number, in place of the entries before.
    Snapshot,
}

impl DocumentKind {
    /// All kinds, in the order of their bytes.
    pub const ALL: [Self; 3] = [Self::Book, Self::Pantry, Self::Run];

    /// The byte that stands for this kind in associated data, invitations and files: 1, 2 or 3.
    #[must_use]
    pub const fn byte(self) -> u8 {
        match self {
            Self::Book => 1,
            Self::Pantry => 2,
            Self::Run => 3,
        }
    }

    /// The kind a byte stands for, if this program knows it.
    #[must_use]
    pub fn from_byte(byte: u8) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.byte() == byte)
    }
}

impl std::fmt::Display for DocumentKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Book => "book",
            Self::Pantry => "pantry",
            Self::Run => "shopping trip",
        })
    }
}

impl EntryKind {
    /// Both kinds, in the order of their bytes.
    pub const ALL: [Self; 2] = [Self::Entry, Self::Snapshot];

    /// The byte that stands for this kind, in associated data as in the relay's framing: 0 or 1.
    #[must_use]
    pub const fn byte(self) -> u8 {
        match self {
            Self::Entry => 0,
            Self::Snapshot => 1,
        }
    }

    /// The kind a byte stands for, if this program knows it.
    #[must_use]
    pub fn from_byte(byte: u8) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.byte() == byte)
    }

    /// How many sealed bytes there may be: 1 MiB for an entry (the relay takes no more), 64 MiB for a snapshot.
    #[must_use]
    pub const fn limit(self) -> usize {
        match self {
            Self::Entry => 1 << 20,
            Self::Snapshot => 64 << 20,
        }
    }
}
