//! A year of use: 52 shopping trips of 300 lines with plans that change, picks and strikes on two devices; a pantry that
//! is counted every week; the book with 52 weeks. All documents merged, saved and opened, beside general-purpose
//! libraries that do the same under Node, with the same keys and texts.
#![allow(clippy::expect_used, reason = "a bench that cannot run says so and stops")]

mod common;

use common::{Dice, Work, grams, measure, pick, plan};
use trug_catalog::Keep;
use trug_replica::book::Book;
use trug_replica::id::{LotId, Stamp};
use trug_replica::pantry::{Counted, Lot, Move, Pantry};
use trug_replica::run::Run;

const WEEKS: i64 = 52;
const LINES: usize = 300;
const WEEK: i64 = 7 * 86_400_000;
const NEW_YEAR: i64 = 1_767_225_600_000;

fn main() {
    let mut dice = Dice::new(52);
    let runs: Vec<Work> = (0..WEEKS).map(|week| trip(&mut dice, week)).collect();
    part("52 trips of 300 lines", &runs, 3);
    part("one trip of them", runs.get(..1).expect("52"), 9);
    part("a pantry's year: 60 lots, 40 moves and 30 counts a week", &[pantry(&mut dice)], 3);
    part("the book's year: 8 households, 60 dishes, 52 weeks", &[book(&mut dice)], 3);
}

fn part(what: &str, works: &[Work], rounds: usize) {
    println!("\n{what}");
    measure(works, rounds);
}

/// The chef changes the plan three times and picks half; a helper picks the other half.
fn trip(dice: &mut Dice, week: i64) -> Work {
    let mut lines = plan(dice, LINES + 45);
    let spare = lines.split_off(LINES);
    let first = lines.clone();
    let base = |run: &mut Run, _: &mut Dice| {
        run.set_title(&format!("Week {week}")).expect("writable");
        run.bring_up_to_date(1, &first).expect("writable");
    };
    let mut spare = spare.chunks(15);
    let apart = |run: &mut Run, (): &(), device: usize, dice: &mut Dice| {
        let mut clock = NEW_YEAR + week * WEEK;
        run.set_name(["Wren", "Kit"].get(device).expect("two")).expect("writable");
        for at in (device..LINES).step_by(2) {
            let changes = device == 0 && at % 100 == 50;
            if let Some(new) = changes.then(|| spare.next()).flatten() {
                let from = dice.below(LINES as u64 - 15) as usize;
                lines.splice(from..from + 15, new.iter().cloned());
                run.bring_up_to_date(2 + at as u64, &lines).expect("writable");
            }
            let line = lines.get(at).expect("one of the plan").id.clone();
            let id = run.pick(&pick(dice, &line, &mut clock)).expect("writable");
            if dice.below(20) == 0 {
                run.strike(id, Stamp(clock)).expect("there");
            }
        }
    };
    Work::of(dice, 2, base, apart)
}

/// The chef takes and puts back; the client who lives there counts.
fn pantry(dice: &mut Dice) -> Work {
    let base = |pantry: &mut Pantry, _: &mut Dice| -> Vec<LotId> {
        let lot = |at| Lot { food: format!("food {at}"), keep: Keep::Ambient, use_by: None };
        (0..60).map(|at| pantry.add_lot(&lot(at)).expect("writable")).collect()
    };
    let apart = |pantry: &mut Pantry, lots: &Vec<LotId>, device: usize, dice: &mut Dice| {
        for week in 0..WEEKS {
            let at = Stamp(NEW_YEAR + week * WEEK + device as i64);
            for _ in 0..[40, 30].get(device).copied().expect("two") {
                let lot = lots.get(dice.below(60) as usize).expect("one of 60").clone();
                if device == 0 {
                    let by = grams(dice.below(2000) - 1000);
                    pantry.move_stock(&Move { lot, by, why: String::new(), at }).expect("writable");
                } else {
                    pantry.count(&lot, Counted::Amount(grams(dice.below(3000))), at).expect("writable");
                }
            }
        }
    };
    Work::of(dice, 2, base, apart)
}

/// One device writes the weeks, the other mends dishes.
fn book(dice: &mut Dice) -> Work {
    let words = |dice: &mut Dice, count: i64| -> String {
        let lines = (0..count).map(|_| format!("- {} g food {}\n", 10 + dice.below(990), dice.below(400)));
        lines.collect()
    };
    let base = |book: &mut Book, dice: &mut Dice| {
        let dishes = (0..60).map(|at| (format!("dishes/dish-{at}.md"), format!("# Dish {at}\n\n{}", words(dice, 15))));
        let mut files: Vec<(String, String)> = dishes.collect();
        files.extend((0..8).map(|at| (format!("households/home-{at}.toml"), words(dice, 6))));
        files.push(("prices.csv".to_owned(), words(dice, 300)));
        book.import(files.iter().map(|(path, text)| (path.as_str(), text.as_str()))).expect("writable");
    };
    let apart = |book: &mut Book, (): &(), device: usize, dice: &mut Dice| {
        for week in 0..WEEKS {
            for _ in 0..5 {
                let path = match device {
                    0 => format!("weeks/2026-W{:02}.toml", week + 1),
                    _ => format!("dishes/dish-{}.md", dice.below(60)),
                };
                book.set_file(&path, &words(dice, 25)).expect("writable");
            }
        }
    };
    Work::of(dice, 2, base, apart)
}
