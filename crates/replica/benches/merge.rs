//! Eight devices' offline day: 400 lines, 250 picks each with values that vary, one change a pick, merged on one device.
//! Beside general-purpose libraries that do the same under Node, with the same keys and texts.
#![allow(clippy::expect_used, reason = "a bench that cannot run says so and stops")]

mod common;

use common::{Dice, Work, measure, pick, plan};
use trug_replica::id::LineId;
use trug_replica::run::Run;

const MORNING: i64 = 1_772_600_000_000;

fn main() {
    let mut dice = Dice::new(8);
    let lines = plan(&mut dice, 400);
    let ids: Vec<&LineId> = lines.iter().map(|line| &line.id).collect();
    let base = |run: &mut Run, _: &mut Dice| drop(run.bring_up_to_date(1, &lines).expect("writable"));
    let day = |run: &mut Run, (): &(), _: usize, dice: &mut Dice| {
        let mut clock = MORNING;
        for _ in 0..250 {
            let line = ids.get(dice.below(400) as usize).expect("one of 400");
            run.pick(&pick(dice, line, &mut clock)).expect("writable");
        }
    };
    let work = Work::of(&mut dice, 8, base, day);
    let figures = measure(&[work], 9);
    let (Some(ours), Some(yjs)) = (figures.first(), figures.iter().find(|row| row.name == "yjs")) else { return };
    budget("merged faster than Yjs", ours.merge < yjs.merge);
    budget("saved in an eighth of Yjs' bytes", ours.saved * 8 <= yjs.saved);
}

fn budget(what: &str, met: bool) {
    println!("budget {}: {what}", if met { "met" } else { "MISSED" });
}
