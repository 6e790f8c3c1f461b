//! A run: states of lines, updates on two devices at once, conflicts, what a merge tells.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic is a failed check")]

mod common;

use common::*;
use trug_measure::{Amount, Exact, Unit};
use trug_replica::gate::{Gate, Limits};
use trug_replica::id::Stamp;
use trug_replica::run::{
    About, Change, Claimed, HandLine, Label, Line, LineState, Note, Pick, Quantity, Receipt, Run, Taken, Updated,
};
use trug_replica::{Document, EditError};

fn gates(seed: u64) -> (Gate<Run>, Gate<Run>) {
    let mut dice = Dice::new(seed);
    (Gate::new(new_run(&mut dice), Limits::default()), Gate::new(new_run(&mut dice), Limits::default()))
}

fn meet(a: &mut Gate<Run>, b: &mut Gate<Run>) -> (Vec<Change>, Vec<Change>) {
    let to_a = a.merge(b.document());
    let to_b = b.merge(a.document());
    assert!(a.quarantine().is_empty() && b.quarantine().is_empty(), "{:?} {:?}", a.quarantine(), b.quarantine());
    assert_eq!(a.document().heads(), b.document().heads());
    assert_eq!(a.document().canonical(), b.document().canonical());
    (to_a.changes, to_b.changes)
}

fn state(run: &Run, line: &str) -> LineState {
    run.view().lines.into_iter().find(|view| view.id.as_str() == line).unwrap().standing.state
}

/// Of two devices: which picks of the onions each makes, and how the line then stands.
type Case = (&'static str, Option<Amount>, Vec<Taken>, Vec<Taken>, LineState);

fn home(amount: Quantity) -> Taken {
    Taken::AtHome { amount }
}

fn sub(amount: Quantity) -> Taken {
    Taken::Sub { instead: "shallots".to_owned(), amount, packs: Vec::new(), price: Some(dollars(312)) }
}

#[test]
fn states_of_a_line() {
    let kilo = Some(grams(1000));
    let whole = || got(Quantity::Whole(kilo));
    let part = |amount| got(Quantity::Part(Some(grams(amount))));
    let pound = |value| got(Quantity::Part(Some(Amount::new(Exact::new(value, 10), "lb".parse().unwrap()))));
    let bunch = Some(Amount::new(Exact::ONE, "bunch".parse().unwrap()));
    let cases: Vec<Case> = vec![
        ("nothing picked", kilo, vec![], vec![], LineState::ToGet),
        ("all picked", kilo, vec![whole()], vec![], LineState::Got),
        ("both picked all", kilo, vec![whole()], vec![whole()], LineState::BoughtTwice),
        ("one device picked all twice", kilo, vec![whole(), whole()], vec![], LineState::Got),
        ("a part", kilo, vec![part(400)], vec![], LineState::Part),
        ("parts that add up", kilo, vec![part(400)], vec![part(600)], LineState::Got),
        ("parts that add up to too much", kilo, vec![part(900)], vec![part(900)], LineState::Got),
        ("parts of which each is enough", kilo, vec![part(950)], vec![part(960)], LineState::BoughtTwice),
        ("nearly enough is enough", kilo, vec![part(950)], vec![], LineState::Got),
        ("not quite nearly", kilo, vec![part(949)], vec![], LineState::Part),
        ("in another unit of mass", kilo, vec![pound(22)], vec![], LineState::Got),
        (
            "all of an older plan, in a unit that does not compare",
            kilo,
            vec![got(Quantity::Whole(bunch))],
            vec![],
            LineState::Part,
        ),
        ("all of an older, smaller plan", kilo, vec![got(Quantity::Whole(Some(grams(300))))], vec![], LineState::Part),
        ("a part without an amount", kilo, vec![got(Quantity::Part(None))], vec![], LineState::Part),
        ("none there", kilo, vec![Taken::NoneThere], vec![], LineState::NotToBeHad),
        ("none there, then found elsewhere", kilo, vec![Taken::NoneThere], vec![whole()], LineState::Got),
        ("none there, a part elsewhere", kilo, vec![Taken::NoneThere], vec![part(10)], LineState::Part),
        ("found at home", kilo, vec![home(Quantity::Whole(kilo))], vec![], LineState::Got),
        ("found at home and bought", kilo, vec![home(Quantity::Whole(kilo))], vec![whole()], LineState::Got),
        (
            "some at home, the rest bought",
            kilo,
            vec![home(Quantity::Part(Some(grams(500))))],
            vec![part(500)],
            LineState::Got,
        ),
        ("a sub for all", kilo, vec![sub(Quantity::Whole(kilo))], vec![], LineState::Got),
        ("a sub and the thing itself", kilo, vec![sub(Quantity::Whole(kilo))], vec![whole()], LineState::BoughtTwice),
        ("made sure", None, vec![got(Quantity::Part(None))], vec![], LineState::Got),
        (
            "both bought what was to be made sure of",
            None,
            vec![got(Quantity::Whole(None))],
            vec![got(Quantity::Whole(None))],
            LineState::BoughtTwice,
        ),
        ("nothing wanted any more", Some(grams(0)), vec![whole()], vec![], LineState::Got),
    ];
    for (name, want, first, second, expected) in cases {
        let (mut a, mut b) = gates(1);
        a.document_mut().bring_up_to_date(1, &[plan_line("onions", want)]).unwrap();
        meet(&mut a, &mut b);
        for (gate, picks) in [(&mut a, first), (&mut b, second)] {
            for what in picks {
                gate.document_mut().pick(&pick("onions", what)).unwrap();
            }
        }
        meet(&mut a, &mut b);
        assert_eq!(state(a.document(), "onions"), expected, "{name}");
    }
}

#[test]
fn totals_say_what_is_there_and_left() {
    let (mut a, _) = gates(2);
    let run = a.document_mut();
    run.bring_up_to_date(1, &[plan_line("onions", Some(grams(1000)))]).unwrap();
    run.pick(&pick("onions", got(Quantity::Part(Some(grams(300)))))).unwrap();
    run.pick(&pick("onions", Taken::NoneThere)).unwrap();
    let standing = run.view().lines[0].standing;
    assert_eq!((standing.there, standing.left), (Some(grams(300)), Some(grams(700))));
    assert!(standing.none_said && !standing.unclear);
    run.pick(&pick("onions", got(Quantity::Part(None)))).unwrap();
    assert!(run.view().lines[0].standing.unclear);
}

#[test]
fn a_strike_undoes_a_pick_and_keeps_it() {
    let (mut a, mut b) = gates(3);
    a.document_mut().bring_up_to_date(1, &[plan_line("leeks", Some(grams(500)))]).unwrap();
    let id = a.document_mut().pick(&got_all("leeks", Some(grams(500)))).unwrap();
    meet(&mut a, &mut b);
    assert_eq!(b.document_mut().strike(id, Stamp(5)), Ok(true));
    assert_eq!(b.document_mut().strike(id, Stamp(6)), Ok(false));
    let (to_a, _) = meet(&mut a, &mut b);
    assert_eq!(to_a, [Change::Struck { pick: id, line: Some(line_id("leeks")) }]);
    let view = &a.document().view().lines[0];
    assert_eq!((view.standing.state, view.picks.len(), view.struck.len()), (LineState::ToGet, 0, 1));
    let unknown = trug_replica::id::FactId { device: b.document().device(), counter: 7 };
    assert!(matches!(a.document_mut().strike(unknown, Stamp(0)), Err(EditError::Unknown { what: "pick", .. })));
}

#[test]
fn a_pick_comes_back_as_it_was_written() {
    let (mut a, mut b) = gates(4);
    let label =
        Label { product: "Tillerby | crackers".to_owned(), says: "Contains: wheat \\ may contain sesame".to_owned() };
    let picks = [
        pick("x", got(Quantity::Part(Some(Amount::new(Exact::new(1, 3), Unit::Each))))),
        pick("x", sub(Quantity::Whole(None))),
        pick("x", home(Quantity::Part(None))),
        pick("x", Taken::NoneThere),
        Pick {
            store: Some("Larkmere".to_owned()),
            aliases: vec![alias("BD2"), alias("KF 7")],
            label: Some(label),
            ..pick("x", sub(Quantity::Whole(Some(grams(12)))))
        },
    ];
    for one in &picks {
        a.document_mut().pick(one).unwrap();
    }
    meet(&mut a, &mut b);
    let view = b.document().view();
    let read: Vec<_> = view.lines[0].picks.iter().map(|(_, pick)| pick.clone()).collect();
    assert_eq!(read, picks);
    assert!(view.unreadable.is_empty());
    // No line of the plan, but bought: it stays visible.
    assert_eq!((view.lines[0].line.clone(), view.lines[0].standing.state), (None, LineState::WithdrawnButBought));
}

#[test]
fn a_plan_line_comes_back_as_it_was_written() {
    use trug_replica::run::MustNot;
    let (mut a, mut b) = gates(5);
    let line = trug_replica::run::PlanLine {
        store: Some("Brindlewick".to_owned()),
        keep: trug_catalog::Keep::Chilled,
        separate: Some(alias("BD2")),
        contains: vec!["milk".to_owned(), "tree nuts".to_owned()],
        read_label: true,
        must_not: vec![
            MustNot { alias: alias("BD 2"), what: "tree nuts".to_owned(), alert: true },
            MustNot { alias: alias("KF7"), what: "peanuts".to_owned(), alert: false },
        ],
        subs: vec!["2 x 5 oz goat cheese".to_owned()],
        ask: true,
        optional: true,
        ..plan_line("pesto | green", Some(Amount::new(Exact::new(1000, 3), Unit::ML)))
    };
    a.document_mut().bring_up_to_date(1, std::slice::from_ref(&line)).unwrap();
    meet(&mut a, &mut b);
    assert_eq!(b.document().line(&line.id), Some(Line::Planned(Box::new(line))));
}

#[test]
fn an_update_writes_only_what_differs() {
    let (mut a, _) = gates(6);
    let run = a.document_mut();
    let plan = [plan_line("onions", Some(grams(1000))), plan_line("leeks", Some(grams(300)))];
    run.bring_up_to_date(1, &plan).unwrap();
    assert_eq!(run.take_local().len(), 1);
    let again = run.bring_up_to_date(1, &plan).unwrap();
    assert!(matches!(again, Updated::Followed { new, changed, .. } if new.is_empty() && changed.is_empty()));
    assert_eq!(run.take_local().len(), 0);
    let fewer = [plan_line("onions", Some(grams(800)))];
    let Updated::Followed { new, changed, withdrawn, wanted } = run.bring_up_to_date(2, &fewer).unwrap() else {
        panic!("a later plan is followed")
    };
    assert_eq!((new, changed, withdrawn, wanted), (vec![], vec![line_id("onions")], vec![line_id("leeks")], vec![]));
    assert_eq!(state(run, "leeks"), LineState::Withdrawn);
    assert!(matches!(run.bring_up_to_date(1, &plan).unwrap(), Updated::Later(revision) if revision.count == 2));
    run.bring_up_to_date(3, &plan).unwrap();
    assert_eq!(state(run, "leeks"), LineState::ToGet);
}

#[test]
fn two_devices_that_update_at_once_from_one_plan_agree() {
    let (mut a, mut b) = gates(7);
    let plan: Vec<_> = (0..50).map(|at| plan_line(&format!("food {at}"), Some(grams(at + 1)))).collect();
    a.document_mut().bring_up_to_date(3, &plan).unwrap();
    b.document_mut().bring_up_to_date(3, &plan).unwrap();
    meet(&mut a, &mut b);
    assert_eq!(a.document().view().lines.len(), 50);
    assert_eq!(a.document().conflicts(), []);
    a.document_mut().take_local();
    a.document_mut().bring_up_to_date(3, &plan).unwrap();
    assert_eq!(a.document_mut().take_local(), [], "equal values set apart are nothing to settle");
}

#[test]
fn two_devices_that_update_at_once_from_different_plans_settle_on_the_later() {
    for counts in [(3, 4), (4, 3), (4, 4)] {
        let (mut a, mut b) = gates(8);
        a.document_mut()
            .bring_up_to_date(1, &[plan_line("onions", Some(grams(100))), plan_line("leeks", Some(grams(100)))])
            .unwrap();
        a.document_mut().pick(&got_all("leeks", Some(grams(100)))).unwrap();
        meet(&mut a, &mut b);
        let (plan_a, plan_b) = (
            [plan_line("onions", Some(grams(200)))],
            [plan_line("onions", Some(grams(300))), plan_line("leeks", Some(grams(100)))],
        );
        a.document_mut().bring_up_to_date(counts.0, &plan_a).unwrap();
        b.document_mut().bring_up_to_date(counts.1, &plan_b).unwrap();
        meet(&mut a, &mut b);
        let conflicts = a.document().conflicts();
        assert_eq!(conflicts.len(), 1, "{conflicts:?}");
        assert_eq!((&conflicts[0].about, conflicts[0].values.len()), (&About::Line(line_id("onions")), 2));
        assert_eq!(a.document().line_values(&line_id("onions")).len(), 2);
        // Both update again, apart and then together: the later plan holds, and neither writes for ever.
        for _ in 0..2 {
            a.document_mut().bring_up_to_date(counts.0, &plan_a).unwrap();
            b.document_mut().bring_up_to_date(counts.1, &plan_b).unwrap();
            meet(&mut a, &mut b);
        }
        assert_eq!(a.document().conflicts(), []);
        a.document_mut().take_local();
        b.document_mut().take_local();
        a.document_mut().bring_up_to_date(counts.0, &plan_a).unwrap();
        b.document_mut().bring_up_to_date(counts.1, &plan_b).unwrap();
        assert!(a.document_mut().take_local().is_empty() && b.document_mut().take_local().is_empty());
        let leeks = state(a.document(), "leeks");
        assert!(
            [LineState::Got, LineState::WithdrawnButBought].contains(&leeks),
            "a purchase is never hidden: {leeks:?}"
        );
    }
}

#[test]
fn a_later_plan_is_not_overruled_by_what_an_earlier_one_withdraws_at_the_same_time() {
    let both = [plan_line("onions", Some(grams(100))), plan_line("leeks", Some(grams(100)))];
    for (wanting, withdrawing, expected) in [(8, 7, LineState::ToGet), (7, 8, LineState::Withdrawn)] {
        let (mut a, mut b) = gates(16);
        a.document_mut().bring_up_to_date(1, &both).unwrap();
        meet(&mut a, &mut b);
        a.document_mut().bring_up_to_date(wanting, &both).unwrap();
        b.document_mut().bring_up_to_date(withdrawing, &both[..1]).unwrap();
        let (to_a, to_b) = meet(&mut a, &mut b);
        assert_eq!(state(a.document(), "leeks"), expected);
        let told = |changes: &[Change]| changes.contains(&Change::LineWithdrawn(line_id("leeks")));
        assert_eq!(told(&to_a), expected == LineState::Withdrawn);
        assert_eq!(to_b.contains(&Change::LineWanted(line_id("leeks"))), expected == LineState::ToGet);
    }
}

#[test]
fn a_person_settles_a_conflict() {
    for choice in 0..2 {
        let (mut a, mut b) = gates(9);
        a.document_mut().bring_up_to_date(1, &[plan_line("onions", Some(grams(100)))]).unwrap();
        b.document_mut().bring_up_to_date(1, &[plan_line("onions", Some(grams(200)))]).unwrap();
        meet(&mut a, &mut b);
        let chosen = a.document().line_values(&line_id("onions")).remove(choice);
        a.document_mut().settle_line(&line_id("onions"), &chosen).unwrap();
        let (_, to_b) = meet(&mut a, &mut b);
        assert_eq!(to_b, [Change::LineChanged(line_id("onions"))]);
        assert!(!b.document().conflicts().iter().any(|found| found.about == About::Line(line_id("onions"))));
        assert_eq!(b.document().line(&line_id("onions")), Some(chosen));
    }
}

#[test]
fn what_is_added_by_hand_is_neither_changed_nor_withdrawn_by_a_plan() {
    let (mut a, mut b) = gates(10);
    let by_hand =
        HandLine { food: "candles".to_owned(), text: "2 boxes".to_owned(), section: "home".to_owned(), alias: None };
    let id = a.document_mut().add_line(&by_hand).unwrap();
    a.document_mut().bring_up_to_date(9, &[plan_line("onions", None)]).unwrap();
    let (_, to_b) = meet(&mut a, &mut b);
    assert!(to_b.contains(&Change::LineNew(id.clone())));
    let view = b.document().view();
    assert_eq!(view.lines.iter().map(|line| line.id.as_str()).collect::<Vec<_>>(), ["onions", id.as_str()]);
    assert_eq!((&view.lines[1].line, view.lines[1].withdrawn), (&Some(Line::ByHand(by_hand).into()), false));
}

#[test]
fn claims_notes_names_and_receipts_travel() {
    let (mut a, mut b) = gates(11);
    let device = a.document().device();
    let run = a.document_mut();
    run.set_title("Tuesday").unwrap();
    run.set_name("Wren").unwrap();
    run.claim(&Claimed::Section("dairy".to_owned()), Some(device)).unwrap();
    run.claim(&Claimed::Line(line_id("onions")), Some(device)).unwrap();
    run.claim(&Claimed::Line(line_id("onions")), None).unwrap();
    let note = Note { line: None, text: "the fish counter closes at six".to_owned(), at: Stamp(4) };
    let note_id = run.note(&note).unwrap();
    let receipt =
        Receipt { store: "Larkmere".to_owned(), total: dollars(18_402), alias: Some(alias("BD2")), at: Stamp(9) };
    let receipt_id = run.pay(&receipt).unwrap();
    let (_, told) = meet(&mut a, &mut b);
    let run = b.document();
    assert_eq!(run.title().as_deref(), Some("Tuesday"));
    assert_eq!(run.people().get(&device).map(String::as_str), Some("Wren"));
    assert_eq!(run.claims().into_iter().collect::<Vec<_>>(), [(Claimed::Section("dairy".to_owned()), device)]);
    assert_eq!(run.notes(), [(note_id, note)]);
    assert_eq!(run.receipts(), [(receipt_id, receipt)]);
    for change in [Change::Titled, Change::Named(device), Change::Noted(note_id), Change::Paid(receipt_id)] {
        assert!(told.contains(&change), "{change:?} in {told:?}");
    }
}

#[test]
fn a_merge_tells_whose_pick_of_which_line() {
    let (mut a, mut b) = gates(12);
    a.document_mut().bring_up_to_date(1, &[plan_line("onions", None)]).unwrap();
    let id = a.document_mut().pick(&got_all("onions", None)).unwrap();
    let (_, told) = meet(&mut a, &mut b);
    assert_eq!(id.device, a.document().device());
    assert_eq!(
        told,
        [Change::PlanChanged, Change::LineNew(line_id("onions")), Change::Picked { pick: id, line: line_id("onions") }]
    );
    assert_eq!(b.merge(a.document()).changes, []);
}

#[test]
fn texts_that_are_too_long_are_refused_before_anything_is_written() {
    let (mut a, _) = gates(13);
    let long = "x".repeat(9000);
    let heads = a.document().heads();
    let refused = a.document_mut().note(&Note { line: None, text: long, at: Stamp(0) });
    assert!(matches!(refused, Err(EditError::TooLong { most: 8192, .. })), "{refused:?}");
    assert_eq!(a.document().heads(), heads);
}

#[test]
fn a_run_opens_again_with_a_fresh_actor() {
    let mut dice = Dice::new(14);
    let mut run = new_run(&mut dice);
    run.pick(&got_all("onions", None)).unwrap();
    let saved = run.save();
    // The last write is lost, and the document is opened twice from the same bytes: nobody's pick is lost.
    let mut first = Gate::new(Run::load(&saved, run.device(), &mut dice).unwrap(), Limits::default());
    let mut second = Gate::new(Run::load(&saved, run.device(), &mut dice).unwrap(), Limits::default());
    let ids = [
        run.pick(&got_all("leeks", None)).unwrap(),
        first.document_mut().pick(&got_all("leeks", None)).unwrap(),
        second.document_mut().pick(&got_all("leeks", None)).unwrap(),
    ];
    let mut third = Gate::new(run, Limits::default());
    meet(&mut first, &mut second);
    meet(&mut first, &mut third);
    let view = first.document().view();
    let leeks = view.lines.iter().find(|line| line.id.as_str() == "leeks").unwrap();
    let mut found: Vec<_> = leeks.picks.iter().map(|(id, _)| *id).collect();
    found.sort_unstable();
    let mut ids = ids.to_vec();
    ids.sort_unstable();
    assert_eq!(found, ids);
}

#[test]
fn what_is_no_run_does_not_open() {
    use trug_replica::OpenError;
    use trug_replica::pantry::Pantry;
    let mut dice = Dice::new(15);
    let run = new_run(&mut dice);
    let device = run.device();
    assert!(matches!(Pantry::load(&run.save(), device, &mut dice), Err(OpenError::OtherKind(_))));
    assert!(matches!(Run::load(b"nothing", device, &mut dice), Err(OpenError::Damaged { .. })));
    assert!(matches!(Run::load(&[], device, &mut dice), Err(OpenError::OtherKind(_))));
    let saved = run.save();
    for cut in 1..saved.len() {
        assert!(Run::load(&saved[..cut], device, &mut dice).is_err(), "{cut}");
    }
}
