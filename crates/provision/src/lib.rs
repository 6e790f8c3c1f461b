//! Menus, pantries and prices in; the list, its costs and its explanation out.
//!
//! Pure functions: no clock, no files, no randomness. The same kitchen gives the same list, to the byte, on a phone and
//! on the command line.

pub mod check;
pub mod convert;
pub mod demand;
pub mod guard;
pub mod kitchen;
pub mod list;
pub mod names;
pub mod need;
pub mod packs;
pub mod plan;
pub mod price;
pub mod stock;
pub mod text;
pub mod why;

pub use plan::{Options, PlanError, Workings, list};
