//! The shape of the three documents, and the fixed changes that give every device the same one.
//!
//! A document begins with one change that is the same bytes on every device; it makes the top-level maps. Devices that
//! start apart therefore write into the same maps. Each later version of a shape is one more fixed change, whose only
//! dependency is the fixed change before it, so that it fits any document whatever else has happened there.
//!
//! The bytes are constants in `schema/fixed.rs`. They are made by `regenerate` in the tests below with a fixed actor at
//! time 0, and a test checks that they still come out the same. A constant is never edited: a document that began with
//! other bytes would never merge again.

use automerge::{ActorId, Change};

mod fixed;

/// Which document.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// The chef's own book.
    Book,
    /// One place's pantry.
    Pantry,
    /// One shopping trip.
    Run,
}

/// How the values of a map behave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Rule {
    /// Written once under an id of its own, and never changed or deleted.
    Fact,
    /// Set again at will; what was set apart is a conflict.
    Register,
}

/// One top-level map.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Map {
    pub(crate) name: &'static str,
    pub(crate) rule: Rule,
}

/// A map by its place among its document's; typed constants stand beside each document.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) struct MapAt(pub(crate) usize);

/// What one version added: its maps and the fixed change that makes them.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Version {
    pub(crate) maps: &'static [Map],
    pub(crate) bytes: &'static [u8],
}

/// A document's shape: every version up to this program's.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Schema {
    pub(crate) kind: Kind,
    pub(crate) versions: &'static [Version],
    /// The most bytes of one value.
    pub(crate) most_value: usize,
}

/// The map that every document begins with; the schema's number stands in it.
pub(crate) const META: MapAt = MapAt(0);
/// The key of the schema's number in [`META`].
pub(crate) const SCHEMA_KEY: &str = "schema";

const fn fact(name: &'static str) -> Map {
    Map { name, rule: Rule::Fact }
}

const fn register(name: &'static str) -> Map {
    Map { name, rule: Rule::Register }
}

const BOOK_MAPS: &[Map] =
    &[register("meta"), register("files"), register("roots"), register("settings"), register("helpers")];

const PANTRY_MAPS: &[Map] = &[
    register("meta"),
    register("lots"),
    fact("moves"),
    fact("counts"),
    register("par"),
    fact("strikes"),
    register("people"),
];

const RUN_MAPS: &[Map] = &[
    register("meta"),
    register("lines"),
    fact("picks"),
    fact("strikes"),
    register("withdrawn"),
    register("claims"),
    fact("notes"),
    register("people"),
    fact("receipts"),
];

pub(crate) static BOOK: Schema = Schema {
    kind: Kind::Book,
    versions: &[Version { maps: BOOK_MAPS, bytes: fixed::BOOK_1 }],
    // A recipe may have 1 MiB, and prices.csv grows for years.
    most_value: 4 << 20,
};

pub(crate) static PANTRY: Schema = Schema {
    kind: Kind::Pantry,
    versions: &[Version { maps: PANTRY_MAPS, bytes: fixed::PANTRY_1 }],
    // A count names the moves since the count before: some thousands of them fit.
    most_value: 64 << 10,
};

pub(crate) static RUN: Schema =
    Schema { kind: Kind::Run, versions: &[Version { maps: RUN_MAPS, bytes: fixed::RUN_1 }], most_value: 8 << 10 };

impl Kind {
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Book => "book",
            Self::Pantry => "pantry",
            Self::Run => "run",
        }
    }

    /// The actor of a kind's fixed changes; an actor that a device draws has 16 bytes, so none is like it.
    pub(crate) fn schema_actor(self) -> ActorId {
        ActorId::from(format!("trug-{}", self.name()).as_bytes())
    }
}

impl Schema {
    /// This program's version of the shape.
    pub(crate) const fn version(&self) -> u64 {
        self.versions.len() as u64
    }

    pub(crate) fn maps(&self) -> impl Iterator<Item = (MapAt, Map)> {
        self.versions.iter().flat_map(|version| version.maps).copied().enumerate().map(|(at, map)| (MapAt(at), map))
    }

    /// The operation that makes a map. Maps are found by it and not by their name, so that nothing which is written
    /// over a name at the root can hide one.
    pub(crate) fn operation(&self, map: MapAt) -> u64 {
        let mut before = 0;
        for (at, version) in self.versions.iter().enumerate() {
            if map.0 < before + version.maps.len() {
                // Each earlier version's change also sets the schema's number: one operation more.
                return (map.0 + at + 1) as u64;
            }
            before += version.maps.len();
        }
        0
    }

    pub(crate) fn map_of(&self, operation: u64) -> Option<(MapAt, Map)> {
        self.maps().find(|(at, _)| self.operation(*at) == operation)
    }

    /// The fixed changes, as automerge has them. The constants are tested to be readable.
    pub(crate) fn fixed(&self) -> Vec<Change> {
        self.versions.iter().filter_map(|version| Change::from_bytes(version.bytes.to_vec()).ok()).collect()
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use std::num::NonZeroU64;

    use automerge::legacy::{Key, ObjectId, Op, OpId, OpType, SortedVec};
    use automerge::{ExpandedChange, ObjType, ScalarValue};

    use super::*;

    impl Schema {
        /// Makes a version's fixed change anew, from the versions before it.
        fn make(&self, version: usize) -> Option<Change> {
            let this = self.versions.get(version)?;
            let actor = self.kind.schema_actor();
            let earlier = self.versions.get(..version)?;
            let start = 1 + earlier.iter().map(|version| version.maps.len() as u64 + 1).sum::<u64>();
            let deps: Vec<automerge::ChangeHash> = match version.checked_sub(1) {
                Some(before) => vec![self.make(before)?.hash()],
                None => Vec::new(),
            };
            let make = |map: &Map| op(ObjectId::Root, map.name, OpType::Make(ObjType::Map), None);
            let mut operations: Vec<Op> = this.maps.iter().map(make).collect();
            let meta = ObjectId::Id(OpId::new(1, &actor));
            let number = ScalarValue::Uint(version as u64 + 1);
            // The number before stands at the end of the change before.
            let before = (version > 0).then(|| OpId::new(start - 1, &actor));
            operations.push(op(meta, SCHEMA_KEY, OpType::Put(number), before));
            Some(Change::from(ExpandedChange {
                operations,
                actor_id: actor,
                hash: None,
                seq: version as u64 + 1,
                start_op: NonZeroU64::new(start)?,
                time: 0,
                message: None,
                deps,
                extra_bytes: Vec::new(),
                author: None,
            }))
        }

        /// The bytes that a version's constant must have.
        pub(crate) fn regenerate(&self, version: usize) -> Option<Vec<u8>> {
            Some(self.make(version)?.raw_bytes().to_vec())
        }
    }

    fn op(obj: ObjectId, key: &str, action: OpType, before: Option<OpId>) -> Op {
        let pred: SortedVec<OpId> = before.into_iter().collect();
        Op { action, obj, key: Key::Map(key.into()), pred, insert: false }
    }

    /// Prints `schema/fixed.rs` as it must be. Run it only to add a version:
    /// `cargo test -p trug-replica regenerate -- --ignored --nocapture`.
    #[test]
    #[ignore = "prints the constants for a new version"]
    fn regenerate() {
        for schema in [&BOOK, &PANTRY, &RUN] {
            for version in 0..schema.versions.len() {
                let name = format!("{}_{}", schema.kind.name().to_uppercase(), version + 1);
                println!("/// The fixed change of version {} of a {}.", version + 1, schema.kind.name());
                println!("pub(super) const {name}: &[u8] = b\"\\");
                for row in schema.regenerate(version).unwrap().chunks(28) {
                    println!("{}\\", row.iter().map(|byte| format!("\\x{byte:02x}")).collect::<String>());
                }
                println!("\";\n");
            }
        }
    }

    #[test]
    fn the_constants_are_what_they_were_made_as() {
        for schema in [&BOOK, &PANTRY, &RUN] {
            for (at, version) in schema.versions.iter().enumerate() {
                assert_eq!(schema.regenerate(at).as_deref(), Some(version.bytes), "{:?} {}", schema.kind, at + 1);
            }
            assert_eq!(schema.fixed().len(), schema.versions.len());
        }
    }

    #[test]
    fn maps_are_found_by_their_operations() {
        for schema in [&BOOK, &PANTRY, &RUN] {
            for (at, map) in schema.maps() {
                assert_eq!(schema.map_of(schema.operation(at)), Some((at, map)));
            }
            assert_eq!(schema.map_of(0), None);
            assert_eq!(schema.map_of(1000), None);
        }
    }
}
