//! The sync engine: a state machine without I/O. Events go in, effects come out.
//!
//! The shell (the app, the command line, a simulation) owns storage, network and clock. It reads all records, opens an
//! [`Engine`] with them, and from then on calls [`Engine::handle`] with what happened; it carries out the effects it gets
//! back, in order, and reports their outcome as events:
//!
//! - after an edit through [`Engine::document_mut`], it says [`Event::Edited`];
//! - [`Effect::Store`] is answered by [`Event::Stored`] once the bytes are durable;
//! - [`Effect::Send`] is answered by [`Event::Answer`]; a late or doubled answer is ignored;
//! - [`Effect::SetTimer`] is answered by [`Event::Time`].
//!
//! The program may stop between any two effects. What it said to be durable, and nothing else, is there again when it
//! starts: an edit is stored before it is packed, packed changes are sealed once and stored before they are sent, what
//! arrives is stored before the cursor moves, and is written down as being tried before it is tried.
//!
//! **Deliberately absent:** I/O, a clock, threads, and randomness but what is handed in and the nonces that `trug_seal`
//! draws; any knowledge of what a document means.

mod document;
mod engine;
mod line;
mod local;
mod message;
mod pull;
mod record;
#[cfg(any(test, feature = "sabotage"))]
mod sabotage;
mod trial;
pub mod wire;

pub use automerge::ChangeHash;
pub use document::{Document, Tried, change_hash};
pub use engine::{Engine, Settings, mix};
pub use message::{Answer, Call, Effect, Event, Failure, Halt, Instant, Keys, Page, RequestId, Status, Tell, Ticket};
pub use record::{BadKey, Chain, EntryId, Key};
#[cfg(any(test, feature = "sabotage"))]
pub use sabotage::Sabotage;
