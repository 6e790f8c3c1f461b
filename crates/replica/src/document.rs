//! What the gate, the sync engine and the simulation ask of any of the three documents.

use automerge::{ChangeHash, ReadDoc as _};

use crate::id::{DeviceId, Entropy};
use crate::replica::{LocalChange, Mode, OpenError, Replica};
use crate::schema::{Kind, MapAt};

/// A value that came from elsewhere: for a document to say what it means.
#[allow(unreachable_pub, reason = "the sealed half of a public trait names it, and nobody else can")]
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Arrived {
    pub(crate) map: MapAt,
    pub(crate) key: String,
    pub(crate) value: Option<String>,
}

pub(crate) mod sealed {
    use super::{Arrived, Replica};

    /// What only this crate may do to a document.
    #[allow(unreachable_pub, reason = "a public trait builds on it, so that nobody else can implement that")]
    pub trait Inner: Sized {
        fn replica(&self) -> &Replica;
        fn replica_mut(&mut self) -> &mut Replica;
        /// What arrived, in words of the trade; `before` is the document without it.
        fn explain(&self, before: &Replica, arrived: &[Arrived]) -> Vec<<Self as super::Document>::Change>
        where
            Self: super::Document;
    }
}

/// A document that merges.
pub trait Document: sealed::Inner {
    /// What a merge can change, for the screen to show.
    type Change: Clone + std::fmt::Debug + PartialEq;

    /// Which document it is.
    const KIND: Kind;

    /// A new document: on every device the same until its first edit, so that devices which start apart merge. It
    /// writes with a fresh actor from its first edit on.
    ///
    /// # Errors
    /// Where there is no randomness.
    fn create(device: DeviceId, entropy: &mut impl Entropy) -> Result<Self, OpenError>;

    /// Opens what [`save`](Self::save) gave, with a fresh actor. A document of an older shape is brought to this one's;
    /// one of a newer shape opens read-only (see [`mode`](Self::mode)).
    ///
    /// # Errors
    /// Where the bytes are damaged or another kind of document, or there is no randomness.
    fn load(bytes: &[u8], device: DeviceId, entropy: &mut impl Entropy) -> Result<Self, OpenError>;

    /// The whole document as bytes. Before they replace anything, [`Gate::checked_save`](crate::gate::Gate::checked_save)
    /// makes sure that they open again.
    fn save(&self) -> Vec<u8> {
        self.replica().save()
    }

    /// Whether it can be written.
    fn mode(&self) -> Mode {
        self.replica().mode()
    }

    /// The device that it is on.
    fn device(&self) -> DeviceId {
        self.replica().device()
    }

    /// The changes that this device has made since it last asked, in order: to be stored, then sent.
    fn take_local(&mut self) -> Vec<LocalChange> {
        self.replica_mut().take_local()
    }

    /// The hashes of the changes that no other change builds on, sorted: equal heads, equal history.
    fn heads(&self) -> Vec<ChangeHash> {
        self.replica().heads()
    }

    /// Everything that the document says, as one text: the same for the same history, in whatever order, with whatever
    /// duplicates and gaps it came. Saved bytes may differ where this does not.
    fn canonical(&self) -> String {
        self.replica().canonical()
    }

    /// Every change in the document but the fixed first one, as uncompressed chunks, in an order in which they apply.
    fn all_changes(&self) -> Vec<LocalChange> {
        let first = self.replica().schema.fixed().first().map(automerge::Change::hash);
        let changes = self.replica().doc.get_changes(&[]);
        let own = changes.iter().filter(|change| Some(change.hash()) != first);
        own.map(|change| LocalChange { hash: change.hash(), bytes: change.raw_bytes().to_vec() }).collect()
    }

    /// A number that grows with everything that a device has seen of the document: how many changes it holds. Who knows all
    /// that another knows and more besides has the greater one.
    fn extent(&self) -> u64 {
        self.replica().doc.stats().num_changes
    }

    /// Whether it holds a change.
    fn has_change(&self, hash: &ChangeHash) -> bool {
        self.replica().doc.get_change_meta_by_hash(hash).is_some()
    }
}

/// Makes a document's wrapper; what is named last are fields that begin empty.
macro_rules! document {
    ($name:ident, $change:ty, $schema:expr $(, $memo:ident)*) => {
        impl crate::document::sealed::Inner for $name {
            fn replica(&self) -> &crate::replica::Replica {
                &self.replica
            }

            fn replica_mut(&mut self) -> &mut crate::replica::Replica {
                &mut self.replica
            }

            fn explain(&self, before: &crate::replica::Replica, arrived: &[crate::document::Arrived]) -> Vec<$change> {
                explain(self, before, arrived)
            }
        }

        impl crate::document::Document for $name {
            type Change = $change;
            const KIND: crate::schema::Kind = $schema.kind;

            fn create(
                device: crate::id::DeviceId,
                entropy: &mut impl crate::id::Entropy,
            ) -> Result<Self, crate::replica::OpenError> {
                let replica = crate::replica::Replica::create(&$schema, device, entropy)?;
                Ok(Self { replica $(, $memo: Default::default())* })
            }

            fn load(
                bytes: &[u8],
                device: crate::id::DeviceId,
                entropy: &mut impl crate::id::Entropy,
            ) -> Result<Self, crate::replica::OpenError> {
                let replica = crate::replica::Replica::load(&$schema, bytes, device, entropy)?;
                Ok(Self { replica $(, $memo: Default::default())* })
            }
        }
    };
}
pub(crate) use document;
