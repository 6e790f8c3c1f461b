//! The documents that merge: the chef's book, a place's pantry, a shopping trip's run.
//!
//! Each is an Automerge document of flat maps from ids to short texts. Every public edit is one small change. What
//! happens in the shop or at the shelf is recorded as facts which are written once; what they come to is computed.
//!
//! - [`run`]: lines, picks, and the states that follow from them; bringing a run up to date with a changed plan.
//! - [`pantry`]: lots, moves and counts, and the levels that follow.
//! - [`book`]: the kitchen folder's own texts, and the roots of the other documents.
//! - [`gate`]: what everything from elsewhere passes.
//! - [`schema`]: the fixed changes with which each document begins, and how a shape gets a new version.
//!
//! ```
//! use trug_replica::gate::{Gate, Limits};
//! use trug_replica::id::{DeviceId, LineId, Stamp};
//! use trug_replica::run::{Pick, Quantity, Run, Taken};
//! use trug_replica::Document;
//!
//! // The caller brings the randomness; a device uses `id::OsEntropy`.
//! let mut byte = 0_u8;
//! let mut entropy = |buffer: &mut [u8]| buffer.fill_with(|| { byte = byte.wrapping_add(1); byte });
//! let (wren, kit) = (DeviceId::draw(&mut entropy)?, DeviceId::draw(&mut entropy)?);
//! let mut chef = Run::create(wren, &mut entropy)?;
//! let mut helper = Gate::new(Run::create(kit, &mut entropy)?, Limits::default());
//!
//! let what = Taken::Got { amount: Quantity::Whole(None), packs: Vec::new(), price: None };
//! let line = LineId::new("onions")?;
//! chef.pick(&Pick { line, what, at: Stamp(0), store: None, aliases: Vec::new(), label: None })?;
//!
//! // One entry as it travels; the other side lets it through its gate, and is told what changed.
//! let entry = chef.take_local().into_iter().flat_map(|change| change.bytes).collect();
//! let attempt = helper.attempt(entry)?;
//! let admitted = helper.admit(attempt);
//! assert_eq!(admitted.changes.len(), 1);
//! assert_eq!(helper.document().heads(), chef.heads());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! **Deliberately absent:** a clock and randomness of its own (the caller gives both), I/O, and any way for bytes from
//! elsewhere into a document except through the gate.

pub mod book;
mod document;
pub mod gate;
pub mod gather;
pub mod hex;
pub mod id;
#[cfg(test)]
mod migration_tests;
pub mod pantry;
mod record;
mod replica;
pub mod run;
pub mod schema;
mod text;

pub use document::Document;
pub use record::Unreadable;
pub use replica::{EditError, LocalChange, Mode, OpenError};
pub use schema::Kind;
