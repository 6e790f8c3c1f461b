//! The book: the kitchen folder's texts, roots, helpers; two devices that change one file.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic is a failed check")]

mod common;

use common::*;
use trug_replica::book::{Book, Change, Helper, Root};
use trug_replica::gate::{Gate, Limits};
use trug_replica::id::DeviceId;
use trug_replica::{Document, EditError, Kind};

fn gates() -> (Gate<Book>, Gate<Book>) {
    let mut dice = Dice::new(1);
    let mut gate = || {
        let device = DeviceId::draw(&mut dice).unwrap();
        Gate::new(Book::create(device, &mut dice).unwrap(), Limits::default())
    };
    (gate(), gate())
}

#[test]
fn an_import_is_one_change_and_only_what_differs() {
    let (mut a, _) = gates();
    let book = a.document_mut();
    book.import([("kitchen.toml", "name = \"K\""), ("prices.csv", "food"), ("empty.md", "")]).unwrap();
    assert_eq!(book.take_local().len(), 1);
    assert_eq!(book.import([("kitchen.toml", "name = \"K\""), ("prices.csv", "food")]), Ok(false));
    let before = book.extent();
    book.import([("kitchen.toml", "name = \"L\"")]).unwrap();
    assert!(book.extent() > before);
    assert_eq!(book.take_local().len(), 1);
    assert_eq!(book.files().into_iter().collect::<Vec<_>>(), [("kitchen.toml".to_owned(), "name = \"L\"".to_owned())]);
    assert_eq!(book.file("prices.csv"), None);
    assert!(matches!(book.remove_file("none.md"), Err(EditError::Unknown { .. })));
}

#[test]
fn a_file_changed_on_one_device_and_removed_on_another_is_a_conflict() {
    let (mut a, mut b) = gates();
    a.document_mut().set_file("dishes/soup.md", "# Soup").unwrap();
    b.merge(a.document());
    a.document_mut().set_file("dishes/soup.md", "# Leek soup").unwrap();
    b.document_mut().remove_file("dishes/soup.md").unwrap();
    assert_eq!(a.merge(b.document()).changes, [Change::File("dishes/soup.md".to_owned())]);
    b.merge(a.document());
    let conflicts = a.document().conflicts();
    assert_eq!(conflicts.len(), 1);
    assert_eq!(conflicts[0].values, ["", "# Leek soup"]);
    assert_eq!(a.document().canonical(), b.document().canonical());
    a.document_mut().set_file("dishes/soup.md", "# Leek soup").unwrap();
    b.merge(a.document());
    assert_eq!(b.document().conflicts(), []);
    assert_eq!(b.document().file("dishes/soup.md").as_deref(), Some("# Leek soup"));
}

/// The count of a plan is made of it: a plan that was made knowing two others' changes must hold against both.
#[test]
fn who_knows_what_two_others_know_has_the_greatest_extent() {
    let (mut a, mut b) = gates();
    a.document_mut().set_file("dishes/soup.md", "# Soup").unwrap();
    b.merge(a.document());
    a.document_mut().set_file("dishes/stew.md", "# Stew").unwrap();
    b.document_mut().set_file("dishes/slaw.md", "# Slaw").unwrap();
    let apart = [a.document().extent(), b.document().extent()];
    b.merge(a.document());
    assert!(apart.iter().all(|apart| b.document().extent() > *apart), "{apart:?}");
    let met = b.document().extent();
    b.merge(a.document());
    assert_eq!(b.document().extent(), met, "nothing new was seen");
}

#[test]
fn large_files_travel() {
    let (mut a, mut b) = gates();
    let text = "food,store,sold,size,price,on\n".repeat(50_000);
    a.document_mut().set_file("prices.csv", &text).unwrap();
    b.merge(a.document());
    assert_eq!(b.quarantine(), []);
    assert_eq!(b.document().file("prices.csv"), Some(text));
    let too_long = "x".repeat((4 << 20) + 1);
    assert!(matches!(a.document_mut().set_file("a", &too_long), Err(EditError::TooLong { .. })));
}

#[test]
fn roots_settings_and_helpers_come_back() {
    let (mut a, mut b) = gates();
    let root = Root {
        kind: Kind::Run,
        title: "Week 10".to_owned(),
        secret: "s3cret|".to_owned(),
        salt: Some("00ff".to_owned()),
        relay: None,
    };
    let helper = Helper { name: "Wren".to_owned(), document: "run-1".to_owned(), withdrawn: true };
    let book = a.document_mut();
    book.set_root("run-1", &root).unwrap();
    book.set_setting("units", "us").unwrap();
    book.set_helper("wren", &helper).unwrap();
    b.merge(a.document());
    let book = b.document();
    assert_eq!(book.roots().0.get("run-1"), Some(&root));
    assert_eq!(book.setting("units").as_deref(), Some("us"));
    assert_eq!(book.helpers().0.get("wren"), Some(&helper));
    assert!(!format!("{root:?}").contains("s3cret"), "secrets print nothing");
}
