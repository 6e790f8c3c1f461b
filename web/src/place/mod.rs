//! The screens, by the place that they belong to.

mod fields;
mod links;
pub mod more;
pub mod pantries;
pub mod shop;
pub(crate) mod standing;
pub mod week;
pub mod welcome;
