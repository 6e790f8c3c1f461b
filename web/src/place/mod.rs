//! The screens, by the place that they belong to.

pub mod more;
pub mod pantries;
pub mod shop;
pub mod week;
pub mod welcome;
