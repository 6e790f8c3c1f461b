//! Pantries: moves add up, counts take the place of what they knew, two phones at one shelf.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic is a failed check")]

mod common;

use common::*;
use trug_catalog::Keep;
use trug_measure::{Amount, Exact, Unit};
use trug_replica::gate::{Gate, Limits};
use trug_replica::id::{DeviceId, LotId, Stamp};
use trug_replica::pantry::{Change, Counted, Counts, Happened, Level, Lot, LotView, Move, Pantry};
use trug_replica::{Document, EditError};

fn gates() -> (Gate<Pantry>, Gate<Pantry>) {
    let mut dice = Dice::new(1);
    let mut gate = || {
        let device = DeviceId::draw(&mut dice).unwrap();
        Gate::new(Pantry::create(device, &mut dice).unwrap(), Limits::default())
    };
    (gate(), gate())
}

fn meet(a: &mut Gate<Pantry>, b: &mut Gate<Pantry>) -> Vec<Change> {
    let told = a.merge(b.document()).changes;
    b.merge(a.document());
    assert!(a.quarantine().is_empty() && b.quarantine().is_empty());
    assert_eq!(a.document().canonical(), b.document().canonical());
    told
}

fn lot() -> LotId {
    LotId::new("rice").unwrap()
}

fn by(value: i64) -> Move {
    Move { lot: lot(), by: grams(value), why: String::new(), at: Stamp(0) }
}

fn view(pantry: &Pantry) -> LotView {
    pantry.view().lots.remove(0)
}

fn level(gate: &Gate<Pantry>) -> Level {
    view(gate.document()).level
}

#[test]
fn moves_by_two_devices_add_up() {
    let (mut a, mut b) = gates();
    a.document_mut().move_stock(&by(1000)).unwrap();
    b.document_mut().move_stock(&by(-300)).unwrap();
    meet(&mut a, &mut b);
    assert_eq!(level(&a), Level::Amount(grams(700)));
}

#[test]
fn a_count_takes_the_place_of_what_it_knew_and_of_nothing_else() {
    let (mut a, mut b) = gates();
    a.document_mut().move_stock(&by(1000)).unwrap();
    meet(&mut a, &mut b);
    // B takes some while A counts: the count did not know of it, whatever the clocks say.
    b.document_mut().move_stock(&by(-100)).unwrap();
    a.document_mut().count(&lot(), Counted::Amount(grams(800)), Stamp(i64::MAX)).unwrap();
    meet(&mut a, &mut b);
    assert_eq!(level(&b), Level::Amount(grams(700)));
    b.document_mut().count(&lot(), Counted::Amount(grams(650)), Stamp(i64::MIN)).unwrap();
    b.document_mut().move_stock(&by(50)).unwrap();
    meet(&mut a, &mut b);
    assert_eq!(level(&a), Level::Amount(grams(700)));
    assert_eq!(view(a.document()).counts.len(), 1);
}

#[test]
fn two_phones_that_count_one_shelf_are_both_kept_and_the_difference_shown() {
    let (mut a, mut b) = gates();
    a.document_mut().move_stock(&by(1000)).unwrap();
    meet(&mut a, &mut b);
    a.document_mut().count(&lot(), Counted::Amount(grams(800)), Stamp(1)).unwrap();
    b.document_mut().count(&lot(), Counted::Amount(grams(900)), Stamp(2)).unwrap();
    let told = meet(&mut a, &mut b);
    assert!(matches!(told[..], [Change::Counted { .. }]));
    let disputed = view(a.document());
    assert!(disputed.disputed && disputed.counts.len() == 2);
    // Somebody counts again, and the dispute is over.
    a.document_mut().count(&lot(), Counted::Amount(grams(850)), Stamp(3)).unwrap();
    meet(&mut a, &mut b);
    let settled = view(b.document());
    assert_eq!((settled.disputed, settled.level), (false, Level::Amount(grams(850))));
}

#[test]
fn two_phones_that_count_the_same_agree() {
    let (mut a, mut b) = gates();
    a.document_mut().count(&lot(), Counted::Plenty, Stamp(1)).unwrap();
    b.document_mut().count(&lot(), Counted::Plenty, Stamp(2)).unwrap();
    meet(&mut a, &mut b);
    let seen = view(a.document());
    assert_eq!((seen.disputed, seen.level, seen.counts.len()), (false, Level::Plenty, 2));
}

#[test]
fn levels() {
    let each = |value| Amount::new(Exact::whole(value), Unit::Each);
    let cases: Vec<(&str, Option<Counted>, Vec<Move>, Level)> = vec![
        ("plenty stays plenty", Some(Counted::Plenty), vec![by(-500)], Level::Plenty),
        ("some stays some", Some(Counted::Some), vec![by(-500)], Level::Some),
        ("out, then bought", Some(Counted::Out), vec![by(500)], Level::Amount(grams(500))),
        ("out", Some(Counted::Out), vec![], Level::Out),
        ("all used", Some(Counted::Amount(grams(500))), vec![by(-500)], Level::Out),
        ("more used than counted", Some(Counted::Amount(grams(500))), vec![by(-600)], Level::Amount(grams(-100))),
        ("never counted", None, vec![by(20)], Level::Amount(grams(20))),
        ("units that do not add up", Some(Counted::Amount(each(3))), vec![by(-5)], Level::Some),
        (
            "another unit of mass",
            Some(Counted::Amount("2 kg".parse().unwrap())),
            vec![by(-500)],
            Level::Amount("1.5 kg".parse().unwrap()),
        ),
    ];
    for (name, counted, moves, expected) in cases {
        let (mut a, _) = gates();
        if let Some(seen) = counted {
            a.document_mut().count(&lot(), seen, Stamp(0)).unwrap();
        }
        for one in moves {
            a.document_mut().move_stock(&one).unwrap();
        }
        assert_eq!(level(&a), expected, "{name}");
    }
}

#[test]
fn strikes_give_back_what_stood() {
    let (mut a, _) = gates();
    let pantry = a.document_mut();
    let moved = pantry.move_stock(&by(1000)).unwrap();
    let first = pantry.count(&lot(), Counted::Amount(grams(10)), Stamp(0)).unwrap();
    assert_eq!(pantry.strike(first, Stamp(1)), Ok(true));
    assert_eq!(view(pantry).level, Level::Amount(grams(1000)), "the count was a slip");
    let second = pantry.count(&lot(), Counted::Amount(grams(900)), Stamp(2)).unwrap();
    pantry.count(&lot(), Counted::Amount(grams(800)), Stamp(3)).unwrap();
    pantry.strike(second, Stamp(4)).unwrap();
    assert_eq!(view(pantry).level, Level::Amount(grams(800)), "a later count knew of it already");
    assert_eq!(pantry.strike(moved, Stamp(5)), Ok(true));
    assert_eq!(pantry.strike(moved, Stamp(6)), Ok(false));
    let unknown = trug_replica::id::FactId { counter: 3, ..moved };
    assert!(matches!(pantry.strike(unknown, Stamp(7)), Err(EditError::Unknown { .. })));
}

#[test]
fn the_history_keeps_what_no_longer_counts() {
    let (mut gate, _) = gates();
    let pantry = gate.document_mut();
    let taken = pantry.move_stock(&by(-300)).unwrap();
    let first = pantry.count(&lot(), Counted::Some, Stamp(1)).unwrap();
    let second = pantry.count(&lot(), Counted::Plenty, Stamp(2)).unwrap();
    pantry.move_stock(&Move { lot: LotId::new("salt").unwrap(), ..by(5) }).unwrap();
    let told = |pantry: &Pantry| pantry.history(&lot()).iter().map(|past| (past.id, past.counts)).collect::<Vec<_>>();
    assert_eq!(told(pantry), [(second, Counts::Now), (first, Counts::Before), (taken, Counts::Before)]);
    pantry.strike(second, Stamp(3)).unwrap();
    assert_eq!(told(pantry), [(second, Counts::Struck), (first, Counts::Now), (taken, Counts::Before)]);
    assert!(matches!(&pantry.history(&lot())[2].what, Happened::Moved(moved) if moved.at == Stamp(0)));
}

#[test]
fn lots_par_and_names_travel_and_conflicts_are_read() {
    let (mut a, mut b) = gates();
    let rice = Lot { food: "rice | long".to_owned(), keep: Keep::Ambient, use_by: Some("2026-05-01".to_owned()) };
    a.document_mut().describe(&lot(), &rice).unwrap();
    a.document_mut().set_par(&lot(), Some(grams(500))).unwrap();
    a.document_mut().set_title("the kit").unwrap();
    let own = a.document_mut().add_lot(&Lot { food: "salt".to_owned(), keep: Keep::Ambient, use_by: None }).unwrap();
    b.document_mut().describe(&lot(), &Lot { use_by: None, ..rice.clone() }).unwrap();
    let told = b.merge(a.document()).changes;
    for change in [Change::Lot(lot()), Change::Par(lot()), Change::Titled, Change::Lot(own.clone())] {
        assert!(told.contains(&change), "{change:?}");
    }
    let conflicts = b.document().conflicts();
    assert_eq!((conflicts.len(), conflicts[0].key.as_str(), conflicts[0].values.len()), (1, "rice", 2));
    b.document_mut().describe(&lot(), &rice).unwrap();
    meet(&mut a, &mut b);
    assert_eq!(a.document().conflicts(), []);
    let lots = a.document().view().lots;
    let found = lots.iter().find(|view| view.id == lot()).unwrap();
    assert_eq!((found.lot.as_ref(), found.par), (Some(&rice), Some(grams(500))));
    assert_eq!(lots.len(), 2);
}
