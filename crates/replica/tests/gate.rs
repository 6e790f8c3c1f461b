//! The gate: any order, any damage, any forgery.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic is a failed check")]

mod common;

use std::num::NonZeroU64;
use std::time::Instant;

use automerge::legacy::{ElementId, Key, ObjectId, Op, OpId, OpType};
use automerge::{ActorId, Change as RawChange, ChangeHash, ExpandedChange, ObjType, ScalarValue};
use common::*;
use proptest::prelude::*;
use sha2::{Digest, Sha256};
use trug_replica::gate::{EntryId, Gate, Limits, Refusal, UNPROVEN};
use trug_replica::id::{DeviceId, Stamp};
use trug_replica::pantry::Pantry;
use trug_replica::run::{Change, Quantity, Run};
use trug_replica::{Document, LocalChange, Mode};

const MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];
/// The actor of a run's fixed change, and the operations that make its maps.
const SCHEMA_ACTOR: &[u8] = b"trug-run";
const META: u64 = 1;
const LINES: u64 = 2;
const PICKS: u64 = 3;

fn gate(seed: u64) -> Gate<Run> {
    Gate::new(new_run(&mut Dice::new(seed)), Limits::default())
}

fn admit(gate: &mut Gate<Run>, bytes: Vec<u8>) -> trug_replica::gate::Admitted<Change> {
    let attempt = gate.attempt(bytes).unwrap();
    gate.admit(attempt)
}

fn number(mut value: u64) -> Vec<u8> {
    let mut bytes = Vec::new();
    while value > 0x7f {
        bytes.push((value & 0x7f) as u8 | 0x80);
        value >>= 7;
    }
    bytes.push(value as u8);
    bytes
}

/// A chunk with a right checksum, whatever is in it.
fn chunk(kind: u8, data: &[u8], summed: Option<(u8, &[u8])>) -> Vec<u8> {
    let (summed_kind, summed) = summed.unwrap_or((kind, data));
    let head = [vec![summed_kind], number(summed.len() as u64)].concat();
    let digest = Sha256::new().chain_update(head).chain_update(summed).finalize();
    [&MAGIC[..], &digest[..4], &[kind], &number(data.len() as u64), data].concat()
}

/// What follows the head of an uncompressed chunk.
fn data_of(bytes: &[u8]) -> &[u8] {
    let length = bytes[9..].iter().position(|byte| byte & 0x80 == 0).unwrap() + 1;
    &bytes[9 + length..]
}

fn deflate(data: &[u8]) -> Vec<u8> {
    use std::io::Read;
    let mut out = Vec::new();
    flate2::bufread::DeflateEncoder::new(data, flate2::Compression::best()).read_to_end(&mut out).unwrap();
    out
}

/// A run's history by several devices that meet now and then: all of its changes.
fn history(seed: u64, devices: usize, edits: usize) -> Vec<LocalChange> {
    let mut dice = Dice::new(seed);
    let mut gates: Vec<_> = (0..devices).map(|_| Gate::new(new_run(&mut dice), Limits::default())).collect();
    let mut picks = Vec::new();
    for edit in 0..edits {
        let at = dice.below(devices);
        let food = format!("food {}", dice.below(6));
        let run = gates[at].document_mut();
        match dice.below(6) {
            0 => drop(run.bring_up_to_date(edit as u64, &[plan_line(&food, Some(grams(edit as i64 + 1)))]).unwrap()),
            1 if !picks.is_empty() => drop(run.strike(*dice.pick(&picks), Stamp(edit as i64))),
            2 => drop(run.set_name(&format!("name {edit}")).unwrap()),
            _ => picks.push(run.pick(&got_all(&food, Some(grams(10)))).unwrap()),
        }
        if dice.one_in(4) {
            let other = dice.below(devices);
            let bytes = everything(gates[at].document());
            let attempt = gates[other].attempt(bytes).unwrap();
            gates[other].admit(attempt);
        }
    }
    let mut last = Gate::new(new_run(&mut dice), Limits::default());
    for gate in &gates {
        last.merge(gate.document());
        assert_eq!(gate.quarantine(), []);
    }
    assert_eq!(last.quarantine(), []);
    last.document().all_changes()
}

fn with_all(changes: &[LocalChange]) -> Gate<Run> {
    let mut gate = gate(99);
    admit(&mut gate, entry(changes));
    gate
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(48) })]

    #[test]
    fn any_order_duplication_and_gaps_give_the_same(seed in any::<u64>()) {
        let changes = history(seed, 3, 60);
        let expected = with_all(&changes);
        let mut dice = Dice::new(seed ^ 1);
        let mut sent: Vec<_> = changes.iter().chain(changes.iter().filter(|_| true)).cloned().collect();
        dice.shuffle(&mut sent);
        let mut gate = gate(7);
        let mut applied = 0;
        while !sent.is_empty() {
            let some = sent.split_off(sent.len().saturating_sub(1 + dice.below(9)));
            applied += admit(&mut gate, entry(&some)).applied.len();
        }
        prop_assert_eq!(gate.quarantine(), []);
        prop_assert_eq!(gate.waiting().count(), 0);
        prop_assert_eq!(applied, changes.len());
        prop_assert_eq!(gate.document().heads(), expected.document().heads());
        prop_assert_eq!(gate.document().canonical(), expected.document().canonical());
    }

    #[test]
    fn a_gap_is_waited_for_and_named(seed in any::<u64>()) {
        let changes = history(seed, 2, 40);
        let at = Dice::new(seed).below(changes.len());
        let mut without = changes.clone();
        let missing = without.remove(at);
        let mut gate = gate(8);
        admit(&mut gate, entry(&without));
        prop_assert_eq!(gate.quarantine(), []);
        prop_assert!(gate.missing().iter().all(|hash| *hash == missing.hash));
        admit(&mut gate, missing.bytes);
        prop_assert_eq!(gate.document().canonical(), with_all(&changes).document().canonical());
        prop_assert_eq!(gate.missing(), []);
    }

    #[test]
    fn a_saved_document_is_a_parcel_of_changes(seed in any::<u64>()) {
        let changes = history(seed, 3, 60);
        let whole = with_all(&changes);
        let mut gate = gate(9);
        admit(&mut gate, entry(&changes[..changes.len() / 2]));
        let saved = whole.document().save();
        admit(&mut gate, saved);
        prop_assert_eq!(gate.quarantine(), []);
        prop_assert_eq!(gate.document().canonical(), whole.document().canonical());
        prop_assert_eq!(gate.document().heads(), whole.document().heads());
    }
}

#[test]
fn a_deflated_change_is_read() {
    let mut gate = gate(1);
    let mut other = new_run(&mut Dice::new(2));
    other.set_title(&"long ".repeat(200)).unwrap();
    let change = other.take_local().remove(0);
    let data = data_of(&change.bytes);
    admit(&mut gate, chunk(2, &deflate(data), Some((1, data))));
    assert_eq!(gate.document().title(), other.title());
}

/// What the forger knows of a run: one pick by an honest device.
struct Scene {
    gate: Gate<Run>,
    first: ChangeHash,
    pick: RawChange,
    key: String,
}

fn scene() -> Scene {
    let mut gate = gate(20);
    let mut honest = new_run(&mut Dice::new(21));
    honest.bring_up_to_date(1, &[plan_line("onions", Some(grams(5)))]).unwrap();
    let key = honest.pick(&got_all("onions", Some(grams(5)))).unwrap().to_string();
    let changes = honest.take_local();
    admit(&mut gate, entry(&changes));
    assert_eq!(gate.quarantine(), []);
    let first = RawChange::from_bytes(changes[0].bytes.clone()).unwrap().deps()[0];
    Scene { gate, first, pick: RawChange::from_bytes(changes[1].bytes.clone()).unwrap(), key }
}

fn map_op(map: u64, key: &str, action: OpType, pred: Vec<OpId>) -> Op {
    let obj = ObjectId::Id(OpId::new(map, &ActorId::from(SCHEMA_ACTOR)));
    Op { action, obj, key: Key::Map(key.into()), pred: pred.into(), insert: false }
}

fn text(text: &str) -> OpType {
    OpType::Put(ScalarValue::Str(text.into()))
}

impl Scene {
    /// A well-formed change after the pick, by another device.
    fn forged(&self, operations: Vec<Op>) -> ExpandedChange {
        ExpandedChange {
            operations,
            actor_id: ActorId::from(&[7_u8; 16][..]),
            hash: None,
            seq: 1,
            start_op: NonZeroU64::new(self.pick.max_op() + 1).unwrap(),
            time: 0,
            message: None,
            deps: vec![self.pick.hash()],
            extra_bytes: Vec::new(),
            author: None,
        }
    }

    fn pick_op(&self) -> OpId {
        OpId::new(self.pick.max_op(), self.pick.actor_id())
    }
}

fn bytes_of(change: &ExpandedChange) -> Vec<u8> {
    RawChange::from(change.clone()).raw_bytes().to_vec()
}

type Forgery = (&'static str, fn(&Scene) -> ExpandedChange, fn(&Refusal) -> bool);

#[test]
fn forgeries_are_refused_with_their_reason_and_nothing_changes() {
    let cases: Vec<Forgery> = vec![
        (
            "begins a document of its own",
            |s| ExpandedChange { deps: vec![], ..s.forged(vec![map_op(PICKS, "k", text("x"), vec![])]) },
            |r| *r == Refusal::OtherBeginning,
        ),
        (
            "operations numbered too low",
            |s| ExpandedChange { start_op: NonZeroU64::MIN, ..s.forged(vec![map_op(PICKS, "k", text("x"), vec![])]) },
            |r| *r == Refusal::StartOperation,
        ),
        (
            "operations numbered too high",
            |s| ExpandedChange {
                start_op: NonZeroU64::new(1000).unwrap(),
                ..s.forged(vec![map_op(PICKS, "k", text("x"), vec![])])
            },
            |r| *r == Refusal::StartOperation,
        ),
        (
            "operations numbered out of range",
            |s| ExpandedChange {
                start_op: NonZeroU64::new(u64::from(u32::MAX)).unwrap(),
                ..s.forged(vec![map_op(PICKS, "k", text("x"), vec![])])
            },
            |r| *r == Refusal::TooManyOperations,
        ),
        (
            "a gap in the sequence",
            |s| ExpandedChange { seq: 2, ..s.forged(vec![map_op(PICKS, "k", text("x"), vec![])]) },
            |r| *r == Refusal::Sequence,
        ),
        (
            "sequence number nothing",
            |s| ExpandedChange { seq: 0, ..s.forged(vec![map_op(PICKS, "k", text("x"), vec![])]) },
            |r| *r == Refusal::ActorTwice,
        ),
        (
            "another's place",
            |s| ExpandedChange {
                actor_id: s.pick.actor_id().clone(),
                seq: 2,
                deps: vec![s.first],
                start_op: NonZeroU64::new(11).unwrap(),
                ..s.forged(vec![map_op(PICKS, "k", text("x"), vec![])])
            },
            |r| *r == Refusal::ActorTwice,
        ),
        (
            "another's next place, without having seen the one before",
            |s| ExpandedChange {
                actor_id: s.pick.actor_id().clone(),
                seq: 3,
                deps: vec![s.first],
                start_op: NonZeroU64::new(11).unwrap(),
                ..s.forged(vec![map_op(PICKS, "k", text("x"), vec![])])
            },
            |r| *r == Refusal::ActorTwice,
        ),
        (
            "a fixed change that is none",
            |s| ExpandedChange {
                actor_id: ActorId::from(SCHEMA_ACTOR),
                seq: 1,
                ..s.forged(vec![map_op(PICKS, "k", text("x"), vec![])])
            },
            |r| matches!(r, Refusal::ActorTwice | Refusal::NotTheFixedChange),
        ),
        (
            "replaces a pick",
            |s| s.forged(vec![map_op(PICKS, &s.key, text("x"), vec![s.pick_op()])]),
            |r| *r == Refusal::ChangesFact,
        ),
        (
            "deletes a pick",
            |s| s.forged(vec![map_op(PICKS, &s.key, OpType::Delete, vec![s.pick_op()])]),
            |r| *r == Refusal::ChangesFact,
        ),
        (
            "deletes the picks",
            |s| {
                s.forged(vec![Op {
                    obj: ObjectId::Root,
                    ..map_op(META, "picks", OpType::Delete, vec![OpId::new(PICKS, &ActorId::from(SCHEMA_ACTOR))])
                }])
            },
            |r| matches!(r, Refusal::Shape(_)),
        ),
        (
            "a map of its own",
            |s| s.forged(vec![map_op(LINES, "k", OpType::Make(ObjType::Map), vec![])]),
            |r| matches!(r, Refusal::Shape(_)),
        ),
        (
            "a list element",
            |s| {
                s.forged(vec![Op {
                    key: Key::Seq(ElementId::Head),
                    insert: true,
                    ..map_op(LINES, "", text("x"), vec![])
                }])
            },
            |r| matches!(r, Refusal::Shape(_)),
        ),
        (
            "an object that is none",
            |s| s.forged(vec![map_op(500, "k", text("x"), vec![])]),
            |r| matches!(r, Refusal::Shape(_)),
        ),
        (
            "a number",
            |s| s.forged(vec![map_op(LINES, "k", OpType::Put(ScalarValue::Int(4)), vec![])]),
            |r| matches!(r, Refusal::Shape(_)),
        ),
        (
            "the document's version",
            |s| s.forged(vec![map_op(META, "schema", text("9"), vec![])]),
            |r| matches!(r, Refusal::Shape(_)),
        ),
        (
            "one key twice",
            |s| s.forged(vec![map_op(LINES, "k", text("x"), vec![]), map_op(LINES, "k", text("y"), vec![])]),
            |r| matches!(r, Refusal::Shape(_)),
        ),
        (
            "a key that is too long",
            |s| s.forged(vec![map_op(LINES, &"k".repeat(300), text("x"), vec![])]),
            |r| matches!(r, Refusal::Shape(_)),
        ),
        (
            "a text that is too long",
            |s| s.forged(vec![map_op(LINES, "k", text(&"x".repeat(9000)), vec![])]),
            |r| *r == Refusal::TooLarge { most: 8192 },
        ),
        (
            "replaces what was not there",
            |s| s.forged(vec![map_op(LINES, "onions", text("x"), vec![OpId::new(2, s.pick.actor_id())])]),
            |r| *r == Refusal::Replaces,
        ),
        (
            "replaces what nobody made",
            |s| {
                s.forged(vec![map_op(LINES, "onions", text("x"), vec![OpId::new(12, &ActorId::from(&[9_u8; 16][..]))])])
            },
            |r| *r == Refusal::Replaces,
        ),
        (
            "deletes a line",
            |s| {
                s.forged(vec![map_op(
                    LINES,
                    "onions",
                    OpType::Delete,
                    vec![OpId::new(s.pick.max_op() - 1, s.pick.actor_id())],
                )])
            },
            |r| *r == Refusal::Erases,
        ),
        (
            "deletes nothing",
            |s| s.forged(vec![map_op(LINES, "onions", OpType::Delete, vec![])]),
            |r| matches!(r, Refusal::Shape(_)),
        ),
    ];
    for (name, forge, is_expected) in cases {
        let mut scene = scene();
        let before = (scene.gate.document().heads(), scene.gate.document().canonical());
        let bytes = bytes_of(&forge(&scene));
        let admitted = admit(&mut scene.gate, bytes.clone());
        let held = scene.gate.quarantine();
        assert_eq!((held.len(), admitted.applied.len(), admitted.quarantined), (1, 0, 1), "{name}: {held:?}");
        assert!(is_expected(&held[0].reason), "{name}: {:?}", held[0].reason);
        assert_eq!((scene.gate.document().heads(), scene.gate.document().canonical()), before, "{name}");
        assert_eq!(scene.gate.attempt(bytes), Err(held[0].reason.clone()), "{name}");
    }
}

#[test]
fn a_forged_second_value_of_a_pick_hides_nothing() {
    let mut scene = scene();
    let mine = "none|lonions|t0";
    let bytes = bytes_of(&scene.forged(vec![map_op(PICKS, &scene.key.clone(), text(mine), vec![])]));
    admit(&mut scene.gate, bytes);
    let view = scene.gate.document().view();
    assert_eq!(view.lines[0].picks.len(), 2, "both are believed");
    assert_eq!(scene.gate.document().conflicts().len(), 1, "and a person is told");
}

#[test]
fn the_good_changes_of_an_entry_are_taken_and_the_bad_named() {
    let mut scene = scene();
    let bad = bytes_of(&scene.forged(vec![map_op(PICKS, &scene.key.clone(), OpType::Delete, vec![scene.pick_op()])]));
    let good = ExpandedChange {
        actor_id: ActorId::from(&[8_u8; 16][..]),
        ..scene.forged(vec![map_op(META, "title", text("Friday"), vec![])])
    };
    let mut broken = bytes_of(&good);
    *broken.last_mut().unwrap() ^= 1;
    let bytes = [bad.clone(), broken.clone(), bytes_of(&good), b"rubbish".to_vec()].concat();
    let admitted = admit(&mut scene.gate, bytes.clone());
    assert_eq!((admitted.changes, admitted.quarantined), (vec![Change::Titled], 3));
    let held: Vec<_> = scene.gate.quarantine().iter().map(|held| held.bytes.clone()).collect();
    assert!(held.contains(&bad) && held.contains(&broken) && held.contains(&b"rubbish".to_vec()));
    assert!(scene.gate.quarantine().iter().all(|held| held.entry == EntryId::of(&bytes)));
}

#[test]
fn quarantine_is_exported_imported_and_retried() {
    let mut scene = scene();
    let title = bytes_of(&scene.forged(vec![map_op(META, "title", text("Friday"), vec![])]));
    // The program stopped while it tried this, for whatever reason.
    scene.gate.blame(title.clone());
    assert_eq!(scene.gate.attempt(title.clone()), Err(Refusal::Stopped));
    let exported = scene.gate.export();
    let mut later = scene_gate_with(&scene);
    later.import(&exported).unwrap();
    assert_eq!(later.quarantine().len(), 1);
    assert!(later.attempt(title.clone()).is_err());
    let attempts = later.release(EntryId::of(&title));
    assert_eq!((attempts.len(), later.quarantine().len()), (1, 0));
    let changes: Vec<_> = attempts.into_iter().flat_map(|attempt| later.admit(attempt).changes).collect();
    assert_eq!(changes, [Change::Titled]);
    assert!(later.import("quarantined|ezz").is_err());
}

fn scene_gate_with(scene: &Scene) -> Gate<Run> {
    with_all(&scene.gate.document().all_changes())
}

#[test]
fn bombs_are_small_in_memory() {
    let zeros = deflate(&vec![0_u8; 64 << 20]);
    let limits = Limits { change: 1 << 20, document: 4 << 20, ..Limits::default() };
    let run = new_run(&mut Dice::new(30));
    // 2^55 operations in a dozen bytes: an action column that is one endless run.
    let endless = [0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 1, 1];
    let head: Vec<u8> = [&[0][..], &[1, 7], &[1, 1, 0, 0, 0]].concat();
    let operations = [&head[..], &[1, 0x42, endless.len() as u8], &endless].concat();
    let document_column = |specification: u8, column: &[u8]| {
        [&[0, 0, 0, 1, specification][..], &number(column.len() as u64), column].concat()
    };
    let cases = [
        ("deflated change", chunk(2, &zeros, None)),
        ("endless operations", chunk(1, &operations, None)),
        ("deflated column", chunk(0, &document_column(0x4a, &zeros), None)),
        ("endless column", chunk(0, &document_column(0x42, &endless), None)),
        ("a length that is not there", [&MAGIC[..], &[0; 4], &[1], &number(u64::MAX)].concat()),
    ];
    let mut gate = Gate::new(run, limits);
    for (name, bytes) in cases {
        let attempt = gate.attempt(bytes).unwrap();
        let started = Instant::now();
        let admitted = gate.admit(attempt);
        assert_eq!((admitted.quarantined, admitted.applied.len()), (1, 0), "{name}");
        let reason = &gate.quarantine().last().unwrap().reason;
        assert!(!matches!(reason, Refusal::NotTaken(_) | Refusal::Checksum), "{name}: {reason:?}");
        assert!(started.elapsed().as_secs() < 5, "{name}");
    }
}

#[test]
fn what_waits_is_bounded() {
    let changes = history(31, 2, 60);
    let limits = Limits { waiting: 5, ..Limits::default() };
    let mut gate = Gate::new(new_run(&mut Dice::new(32)), limits);
    let attempt = gate.attempt(entry(&changes[1..])).unwrap();
    let admitted = gate.admit(attempt);
    assert!(admitted.waiting <= 5);
    let full = |held: &&trug_replica::gate::Quarantined| matches!(held.reason, Refusal::Full(_));
    assert!(gate.quarantine().iter().filter(full).count() > 0);
    // With what was missing, and a retry, all is there.
    let first = gate.attempt(changes[0].bytes.clone()).unwrap();
    gate.admit(first);
    for _ in 0..60 {
        for attempt in gate.release(EntryId::of(&entry(&changes[1..]))) {
            gate.admit(attempt);
        }
    }
    assert_eq!(gate.document().canonical(), with_all(&changes).document().canonical());
}

#[test]
fn another_kind_of_document_is_refused() {
    let mut dice = Dice::new(33);
    let device = DeviceId::draw(&mut dice).unwrap();
    let mut pantry = Pantry::create(device, &mut dice).unwrap();
    pantry.set_title("the kit").unwrap();
    let mut gate = gate(34);
    let admitted = admit(&mut gate, entry(&pantry.take_local()));
    assert_eq!((admitted.waiting, admitted.applied.len()), (1, 0), "its beginning never comes");
    admit(&mut gate, pantry.save());
    assert!(gate.quarantine().iter().all(|held| held.reason == Refusal::OtherBeginning), "{:?}", gate.quarantine());
    assert_eq!(gate.document().canonical(), new_run(&mut dice).canonical());
}

/// A newer program's change to the shape: a map more, and its number.
fn newer_shape(first: ChangeHash) -> ExpandedChange {
    let actor = ActorId::from(SCHEMA_ACTOR);
    let make = Op { obj: ObjectId::Root, ..map_op(META, "tastings", OpType::Make(ObjType::List), vec![]) };
    let number = map_op(META, "schema", OpType::Put(ScalarValue::Uint(2)), vec![OpId::new(10, &actor)]);
    ExpandedChange {
        operations: vec![make, number],
        actor_id: actor,
        hash: None,
        seq: 2,
        start_op: NonZeroU64::new(11).unwrap(),
        time: 0,
        message: None,
        deps: vec![first],
        extra_bytes: Vec::new(),
        author: None,
    }
}

#[test]
fn a_newer_document_is_read_only_and_loses_nothing() {
    let mut scene = scene();
    let newer = newer_shape(scene.first);
    let made = RawChange::from(newer.clone());
    admit(&mut scene.gate, bytes_of(&newer));
    assert_eq!(scene.gate.quarantine(), []);
    assert_eq!(scene.gate.document().mode(), Mode::ReadOnly { found: 2 });
    // A list element and a counter: nothing that this program's own edits make.
    let list = ObjectId::Id(OpId::new(11, &ActorId::from(SCHEMA_ACTOR)));
    let start = scene.pick.max_op().max(made.max_op()) + 1;
    let element =
        Op { obj: list, key: Key::Seq(ElementId::Head), insert: true, ..map_op(0, "", text("salt it"), vec![]) };
    let counter = map_op(META, "tasted", OpType::Put(ScalarValue::counter(3)), vec![]);
    let mut deps = vec![scene.pick.hash(), made.hash()];
    deps.sort_unstable();
    let theirs =
        ExpandedChange { start_op: NonZeroU64::new(start).unwrap(), deps, ..scene.forged(vec![element, counter]) };
    let admitted = admit(&mut scene.gate, bytes_of(&theirs));
    assert_eq!((admitted.applied.len(), scene.gate.quarantine()), (1, &[][..]));
    // Nothing is written, everything is shown and kept.
    let run = scene.gate.document_mut();
    let refused = run.pick(&got_all("onions", None));
    assert!(refused.unwrap_err().to_string().contains("update Trug"));
    assert_eq!(run.take_local(), []);
    let saved = scene.gate.checked_save().unwrap();
    let mut dice = Dice::new(40);
    let again = Run::load(&saved, DeviceId::draw(&mut dice).unwrap(), &mut dice).unwrap();
    assert_eq!((again.heads(), again.mode()), (scene.gate.document().heads(), Mode::ReadOnly { found: 2 }));
    assert_eq!(again.view().lines[0].picks.len(), 1);
    assert!(again.has_change(&RawChange::from(theirs).hash()));
}

#[test]
fn one_change_that_automerge_stumbles_over_takes_no_other_with_it() {
    let mut scene = scene();
    let newer = newer_shape(scene.first);
    let made = RawChange::from(newer.clone());
    let start = scene.pick.max_op().max(made.max_op()) + 1;
    let (pick, template) = (scene.pick.hash(), scene.forged(vec![]));
    let base = |operation: Op| ExpandedChange { operations: vec![operation], ..template.clone() };
    let by = |actor: u8, operation: Op| ExpandedChange {
        actor_id: ActorId::from(&[actor; 16][..]),
        start_op: NonZeroU64::new(start).unwrap(),
        deps: vec![pick, made.hash()],
        ..base(operation)
    };
    let nowhere = ObjectId::Id(OpId::new(4, &ActorId::from(&[9_u8; 16][..])));
    let entry = [
        bytes_of(&newer),
        bytes_of(&by(1, map_op(META, "title", text("Friday"), vec![]))),
        bytes_of(&by(2, Op { obj: nowhere, ..map_op(META, "x", text("x"), vec![]) })),
        bytes_of(&by(3, map_op(META, "motto", text("salt"), vec![]))),
    ];
    let admitted = quietly(|| admit(&mut scene.gate, entry.concat()));
    let held: Vec<_> = scene.gate.quarantine().iter().map(|held| held.bytes.clone()).collect();
    assert_eq!((admitted.applied.len(), held), (3, vec![entry[2].clone()]));
    assert_eq!(scene.gate.document().title().as_deref(), Some("Friday"));
    // What builds on the bad one waits for it, and nothing else is held up.
    let after = ExpandedChange {
        start_op: NonZeroU64::new(start + 1).unwrap(),
        deps: vec![RawChange::from_bytes(entry[2].clone()).unwrap().hash()],
        ..by(4, map_op(META, "y", text("y"), vec![]))
    };
    assert_eq!(admit(&mut scene.gate, bytes_of(&after)).waiting, 1);
    opens(&mut scene.gate);
}

/// Where in a change a mutation is made, with what.
fn mutate(dice: &mut Dice, data: &mut Vec<u8>) {
    for _ in 0..=dice.below(3) {
        let at = dice.below(data.len());
        match dice.below(5) {
            0 => data[at] ^= 1 << dice.below(8),
            1 => data[at] = *dice.pick(&[0, 1, 0x7f, 0x80, 0xff]),
            2 => drop(data.remove(at)),
            3 => data.insert(at, dice.next() as u8),
            _ => data.truncate(at + 1),
        }
        if data.is_empty() {
            data.push(0);
        }
    }
}

fn opens(gate: &mut Gate<Run>) {
    let saved = gate.checked_save().unwrap();
    let mut dice = Dice::new(1);
    let again = Run::load(&saved, DeviceId::draw(&mut dice).unwrap(), &mut dice).unwrap();
    assert_eq!(again.canonical(), gate.document().canonical());
}

/// Quiet about the panics that the gate catches.
fn quietly<T>(work: impl FnOnce() -> T) -> T {
    let hook = std::panic::take_hook();
    if std::env::var_os("LOUD").is_none() {
        std::panic::set_hook(Box::new(|_| {}));
    }
    let done = std::panic::catch_unwind(std::panic::AssertUnwindSafe(work));
    std::panic::set_hook(hook);
    done.unwrap_or_else(|panic| std::panic::resume_unwind(panic))
}

#[test]
fn mutated_changes_with_mended_checksums() {
    let changes = history(50, 3, 60);
    let (mut taken, mut refused) = (0, 0);
    quietly(|| {
        for seed in 0..2000 {
            let mut dice = Dice::new(seed);
            let at = dice.below(changes.len());
            let mut gate = with_all(&changes[..at]);
            let mut data = data_of(&changes[at].bytes).to_vec();
            mutate(&mut dice, &mut data);
            let admitted = admit(&mut gate, chunk(1, &data, None));
            taken += admitted.applied.len();
            refused += admitted.quarantined;
            if seed % 10 == 0 || !admitted.applied.is_empty() {
                opens(&mut gate);
            }
        }
    });
    println!("of 2000 mutated changes {taken} were harmless and taken, {refused} refused");
    assert!(refused > 1500);
}

#[test]
fn mutated_changes_of_a_newer_document() {
    let scene = scene();
    let newer = newer_shape(scene.first);
    let base = scene.gate.document().all_changes();
    let start = scene.pick.max_op().max(RawChange::from(newer.clone()).max_op()) + 1;
    let (mut taken, mut held) = (0, std::collections::BTreeMap::<String, usize>::new());
    quietly(|| {
        for seed in 0..2000 {
            let mut dice = Dice::new(seed);
            let mut gate = with_all(&base);
            admit(&mut gate, bytes_of(&newer));
            let theirs = ExpandedChange {
                start_op: NonZeroU64::new(start).unwrap(),
                deps: vec![scene.pick.hash(), RawChange::from(newer.clone()).hash()],
                ..scene.forged((0..=dice.below(3)).map(|at| wild_op(&mut dice, start + at as u64)).collect())
            };
            let admitted = admit(&mut gate, bytes_of(&theirs));
            taken += admitted.applied.len();
            for one in gate.quarantine() {
                let reason = format!("{:?}", one.reason);
                *held.entry(reason.split('(').next().unwrap().to_owned()).or_default() += 1;
            }
            opens(&mut gate);
        }
    });
    println!("of 2000 wild changes to a newer document {taken} were taken; refused: {held:?}");
}

/// Any operation that can be written down, also on objects, elements and values that are not there.
fn wild_op(dice: &mut Dice, own: u64) -> Op {
    let actors = [ActorId::from(SCHEMA_ACTOR), ActorId::from(&[7_u8; 16][..]), ActorId::from(&[9_u8; 16][..])];
    let id = |dice: &mut Dice| OpId::new(1 + dice.below(own as usize + 1) as u64, dice.pick(&actors));
    let obj = if dice.one_in(4) { ObjectId::Root } else { ObjectId::Id(id(dice)) };
    let key = match dice.below(4) {
        0 => Key::Seq(ElementId::Head),
        1 => Key::Seq(ElementId::Id(id(dice))),
        2 => Key::Map("picks".into()),
        _ => Key::Map("key".into()),
    };
    let action = match dice.below(7) {
        0 => OpType::Make(ObjType::Map),
        1 => OpType::Make(ObjType::List),
        2 => OpType::Make(ObjType::Text),
        3 => OpType::Delete,
        4 => OpType::Increment(5),
        5 => OpType::Put(ScalarValue::counter(1)),
        _ => text("x"),
    };
    let pred: Vec<OpId> = (0..dice.below(3)).map(|_| id(dice)).collect();
    let insert = matches!(key, Key::Seq(_)) && dice.one_in(2);
    Op { action, obj, key, pred: pred.into(), insert }
}

#[test]
fn mutated_documents_with_mended_checksums() {
    let changes = history(51, 3, 60);
    let saved = with_all(&changes).document().save();
    let mut taken = 0;
    quietly(|| {
        for seed in 0..1500 {
            let mut dice = Dice::new(seed);
            let mut data = data_of(&saved).to_vec();
            mutate(&mut dice, &mut data);
            let mut gate = with_all(&changes[..10]);
            taken += usize::from(!admit(&mut gate, chunk(0, &data, None)).applied.is_empty());
            if seed % 10 == 0 {
                opens(&mut gate);
            }
        }
    });
    println!("of 1500 mutated documents {taken} were taken in part or whole");
}

#[test]
fn truncated_and_random_entries() {
    let changes = history(52, 2, 30);
    let whole = entry(&changes);
    for cut in 0..whole.len() {
        let mut gate = gate(53);
        if cut % 7 == 0 {
            admit(&mut gate, whole[..cut].to_vec());
            assert!(gate.quarantine().len() <= 1);
        }
    }
    let mut dice = Dice::new(54);
    let mut gate = gate(55);
    for _ in 0..2000 {
        let bytes: Vec<u8> = (0..1 + dice.below(60)).map(|_| dice.next() as u8).collect();
        let bytes = if dice.one_in(2) { [&MAGIC[..], &bytes].concat() } else { bytes };
        if let Ok(attempt) = gate.attempt(bytes) {
            assert!(gate.admit(attempt).applied.is_empty());
        }
    }
    opens(&mut gate);
}

#[test]
fn a_careful_gate_takes_the_same() {
    let changes = history(56, 2, 40);
    let mut careful = gate(57);
    careful.be_careful();
    for change in &changes {
        admit(&mut careful, change.bytes.clone());
    }
    assert_eq!(careful.document().canonical(), with_all(&changes).document().canonical());
}

#[test]
fn merging_two_thousand_picks_is_timed() {
    let mut runs: Vec<Run> = (0..8).map(|device| new_run(&mut Dice::new(60 + device))).collect();
    let mut dice = Dice::new(61);
    let plan: Vec<_> = (0..400).map(|at| plan_line(&format!("food {at:03}"), Some(grams(500)))).collect();
    runs[0].bring_up_to_date(1, &plan).unwrap();
    let base = runs[0].take_local();
    let mut gates: Vec<_> = runs.into_iter().map(|run| Gate::new(run, Limits::default())).collect();
    for gate in &mut gates[1..] {
        admit(gate, entry(&base));
    }
    let picked: Vec<_> = gates
        .iter_mut()
        .flat_map(|gate| {
            for _ in 0..250 {
                let food = format!("food {:03}", dice.below(400));
                let amount = Quantity::Part(Some(grams(dice.below(900) as i64 + 1)));
                let price = Some(dollars(dice.below(2000) as i64));
                let what = trug_replica::run::Taken::Got { amount, packs: vec![], price };
                let at = Stamp(1_772_600_000_000 + dice.below(10_000_000) as i64);
                gate.document_mut().pick(&trug_replica::run::Pick { at, ..pick(&food, what) }).unwrap();
            }
            gate.document_mut().take_local()
        })
        .collect();
    assert_eq!(picked.len(), 2000);
    let mut all = gate(62);
    admit(&mut all, entry(&base));
    let started = Instant::now();
    let attempt = all.attempt(entry(&picked)).unwrap();
    let admitted = all.admit(attempt);
    let together = started.elapsed();
    assert_eq!((admitted.applied.len(), admitted.changes.len()), (2000, 2000));
    let saved = all.checked_save().unwrap();
    let mut single = gate(63);
    admit(&mut single, entry(&base));
    let started = Instant::now();
    for change in &picked {
        let attempt = single.attempt(change.bytes.clone()).unwrap();
        single.admit(attempt);
    }
    let apart = started.elapsed();
    let started = Instant::now();
    let view = all.document().view();
    println!(
        "2,000 picks on 400 lines through the gate: {together:?} as one entry, {apart:?} as 2,000 entries, one by one; \
         saved {} bytes; the view of {} lines {:?}; proof every {UNPROVEN}",
        saved.len(),
        view.lines.len(),
        started.elapsed(),
    );
    assert_eq!(single.document().canonical(), all.document().canonical());
}
