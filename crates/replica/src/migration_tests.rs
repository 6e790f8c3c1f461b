//! A second version of a run's shape, for tests alone: that an old document opens in a newer program, that devices which
//! migrate apart merge, and that an older program keeps what a newer one writes.

use crate::document::{Arrived, Document, document};
use crate::gate::{Gate, Limits};
use crate::id::DeviceId;
use crate::replica::{Mode, Put, Replica};
use crate::run::{HandLine, Run};
use crate::schema::{Map, MapAt, RUN, Rule, Schema, Version};

/// Made by `Schema::regenerate`, as a real version's constant is.
const NEXT_2: &[u8] = b"\
\x85\x6f\x4a\x83\x24\x5d\x85\x29\x01\x6c\x01\x95\xe5\x8c\x5f\xeb\x5e\xd2\x5a\x35\xdb\x1c\xb5\xc4\x32\xb4\xa8\x49\
\xc4\xb7\x6a\xad\xa9\x35\x08\x5f\x15\xe9\xe9\x87\xd7\x3d\x41\x08\x74\x72\x75\x67\x2d\x72\x75\x6e\x02\x0b\x00\x00\
\x00\x0a\x01\x04\x02\x04\x15\x11\x34\x01\x42\x03\x56\x03\x57\x01\x70\x03\x71\x02\x73\x02\x00\x01\x7f\x00\x00\x01\
\x7f\x01\x7e\x08\x74\x61\x73\x74\x69\x6e\x67\x73\x06\x73\x63\x68\x65\x6d\x61\x02\x7e\x00\x01\x7e\x00\x13\x02\x7e\
\x00\x01\x7f\x00\x7f\x0a\
";

const RUN_1: Version = RUN.versions[0];

static NEXT: Schema = Schema {
    kind: RUN.kind,
    versions: &[RUN_1, Version { maps: &[Map { name: "tastings", rule: Rule::Fact }], bytes: NEXT_2 }],
    most_value: RUN.most_value,
};

const TASTINGS: MapAt = MapAt(RUN_1.maps.len());

#[derive(Debug)]
struct Next {
    replica: Replica,
}

document!(Next, String, NEXT);

fn explain(_: &Next, _: &Replica, arrived: &[Arrived]) -> Vec<String> {
    arrived.iter().map(|one| one.key.clone()).collect()
}

/// Bytes that differ from call to call, the same in every run of the test.
fn entropy(seed: u8) -> impl FnMut(&mut [u8]) {
    let mut next = seed;
    move |buffer: &mut [u8]| {
        for byte in buffer {
            next = next.wrapping_mul(31).wrapping_add(seed | 1);
            *byte = next;
        }
    }
}

fn old_run() -> Run {
    let mut entropy = entropy(1);
    let mut run = Run::create(DeviceId::draw(&mut entropy).unwrap(), &mut entropy).unwrap();
    let line =
        |food: &str| HandLine { food: food.to_owned(), text: String::new(), section: String::new(), alias: None };
    run.add_line(&line("candles")).unwrap();
    run.add_line(&line("matches")).unwrap();
    run
}

fn next(saved: &[u8], seed: u8) -> Next {
    let mut entropy = entropy(seed);
    Next::load(saved, DeviceId::draw(&mut entropy).unwrap(), &mut entropy).unwrap()
}

fn taste(next: &mut Next, key: &str) {
    next.replica.edit(&[Put::new(TASTINGS, key, "salt".to_owned())]).unwrap();
}

fn entry(document: &impl Document) -> Vec<u8> {
    document.all_changes().into_iter().flat_map(|change| change.bytes).collect()
}

#[test]
fn the_constant_is_what_it_was_made_as() {
    assert_eq!(NEXT.regenerate(1).as_deref(), Some(NEXT_2), "{}", NEXT.regenerate(1).unwrap().escape_ascii());
}

#[test]
fn an_old_document_opens_in_a_newer_program() {
    let old = old_run();
    let mut new = next(&old.save(), 2);
    assert_eq!((new.mode(), new.replica.version()), (Mode::Writable, 2));
    let local = new.take_local();
    assert_eq!(local.iter().map(|change| change.bytes.as_slice()).collect::<Vec<_>>(), [NEXT_2], "it has to travel");
    taste(&mut new, "soup");
    assert_eq!(new.replica.get(TASTINGS, "soup").as_deref(), Some("salt"));
    let lines = MapAt(1);
    assert_eq!(new.replica.entries(lines), old_run().save_and_read(lines));
    let mut again = next(&new.save(), 3);
    assert_eq!(again.take_local(), [], "it is not migrated twice");
}

impl Run {
    fn save_and_read(&self, map: MapAt) -> Vec<(String, crate::replica::Held)> {
        crate::document::sealed::Inner::replica(self).entries(map)
    }
}

#[test]
fn devices_that_migrate_apart_merge() {
    let old = old_run();
    let (mut a, mut b) = (next(&old.save(), 4), next(&old.save(), 5));
    taste(&mut a, "soup");
    taste(&mut b, "stew");
    let (mut a, mut b) = (Gate::new(a, Limits::default()), Gate::new(b, Limits::default()));
    a.merge(b.document());
    b.merge(a.document());
    assert_eq!((a.quarantine(), b.quarantine()), (&[][..], &[][..]));
    assert_eq!(a.document().heads(), b.document().heads());
    assert_eq!(a.document().canonical(), b.document().canonical());
    assert_eq!(a.document().replica.entries(TASTINGS).len(), 2);
}

#[test]
fn a_new_document_has_every_version() {
    let mut entropy = entropy(6);
    let mut new = Next::create(DeviceId::draw(&mut entropy).unwrap(), &mut entropy).unwrap();
    assert_eq!((new.replica.version(), new.take_local().len()), (2, 1));
}

#[test]
fn an_older_program_keeps_what_a_newer_one_writes() {
    let old = old_run();
    let mut new = next(&old.save(), 7);
    taste(&mut new, "soup");
    let mut gate = Gate::new(old, Limits::default());
    let attempt = gate.attempt(entry(&new)).unwrap();
    gate.admit(attempt);
    assert_eq!(gate.quarantine(), []);
    assert_eq!(gate.document().mode(), Mode::ReadOnly { found: 2 });
    // What it saves, the newer program reads in full.
    let back = next(&gate.checked_save().unwrap(), 8);
    assert_eq!(back.heads(), new.heads());
    assert_eq!(back.replica.get(TASTINGS, "soup").as_deref(), Some("salt"));
}

#[test]
fn edits_of_the_older_shape_merge_into_the_newer() {
    let mut old = old_run();
    let saved = old.save();
    let mut new = Gate::new(next(&saved, 9), Limits::default());
    taste(new.document_mut(), "soup");
    old.take_local();
    old.set_title("Friday").unwrap();
    let bytes = old.take_local().into_iter().flat_map(|change| change.bytes).collect();
    let attempt = new.attempt(bytes).unwrap();
    assert_eq!(new.admit(attempt).changes, ["title"]);
}
