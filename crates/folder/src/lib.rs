//! The kitchen folder: plain files in, a kitchen with every name looked up out, and back again.
//!
//! Nothing in here touches a disk but [`read_dir`] and [`write_dir`] (feature `fs`); [`read`] and [`write()`] work on
//! [`Files`] in memory, so that a phone reads an archive with the same code.
//!
//! A folder is read as a whole, and everything that is wrong with it is told at once: each [`Problem`] names the file,
//! the line, what was read and what would be right. Nothing that cannot be read is left out or guessed.

mod circle;
mod csv;
mod dish;
#[cfg(feature = "fs")]
mod disk;
mod files;
mod foods;
mod households;
mod kitchen;
mod lists;
mod near;
mod page;
mod problem;
mod read;
mod stores;
mod swaps;
mod table;
mod weeks;
mod write;

pub use dish::{read_dish, read_json_ld};
#[cfg(feature = "fs")]
pub use disk::{DiskError, read_dir, write_dir};
pub use files::{BadPath, Files, is_id};
pub use near::Near;
pub use problem::{Problem, Problems, What};
pub use read::read;
pub use write::{write, write_dish};
