//! The invented kitchen that comes with the program.
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, reason = "a panic here is a failed check")]

mod common;

use common::{demo, difference, meaning};
use trug_folder::{read, write};

#[test]
fn the_demo_reads_without_a_problem() {
    let kitchen = read(&demo()).unwrap_or_else(|problems| panic!("{problems}"));
    assert!(kitchen.dishes.len() >= 40);
    assert_eq!(kitchen.households.len(), 5);
    assert_eq!(kitchen.weeks.len(), 3);
}

#[test]
fn what_is_written_means_the_same() {
    let first = read(&demo()).unwrap_or_else(|problems| panic!("{problems}"));
    let files = write(&first);
    let second = read(&files).unwrap_or_else(|problems| panic!("{problems}"));
    assert_eq!(difference(&meaning(&first), &meaning(&second)), "");
    assert_eq!(write(&second), files, "writing has one form");
}
