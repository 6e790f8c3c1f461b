//! One device: the book, the pantries and the shopping trips it holds, each with its sync engine, over one flat store
//! of records and one network. The command line and the phone app are shells around it.
//!
//! Like an engine, a [`Device`] does no I/O: [`Device::handle`] takes what happened and says what is to be done. Every
//! edit goes through [`Device::edit`], which makes it durable before anything else happens with it.
//!
//! **Deliberately absent:** I/O, a clock, and any thinking about what to buy that is not in `provision`.

mod device;
mod kitchen;
mod member;
mod share;
mod shelf;
mod trip;

pub use device::{CallId, Device, Edit, Effect, Event, Note, OpenError, Refused, Told};
pub use kitchen::{KitchenError, OnHand, Unsettled};
pub use member::{DocId, Entry};
pub use share::{FileMerged, JoinError, ShareError};
pub use shelf::Shelf;
pub use trip::{Plan, Planned, TripError};
pub use trug_sync as sync;
