//! Random histories of several devices against a plain model of a run, which shares no code with it: it knows sets of
//! facts, whole grams, and rules written down a second time.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic is a failed check")]

mod common;

use std::collections::{BTreeMap, BTreeSet};

use common::*;
use proptest::prelude::*;
use trug_replica::Document;
use trug_replica::gate::{Gate, Limits};
use trug_replica::id::{PickId, Stamp};
use trug_replica::run::{LineState, Quantity, Run, Taken};

const FOODS: [&str; 4] = ["onions", "leeks", "flour", "cod"];

#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Fact {
    /// Device, its number for the fact, line, kind, grams (none for "there was none").
    Picked {
        device: usize,
        number: usize,
        line: &'static str,
        kind: char,
        grams: i64,
    },
    Struck {
        device: usize,
        number: usize,
    },
    /// A plan that was followed: its count, and what it wants of which line.
    Planned {
        count: u64,
        wants: Vec<(&'static str, i64)>,
    },
}

/// What one device knows.
#[derive(Debug, Clone, Default)]
struct Model {
    facts: BTreeSet<Fact>,
}

impl Model {
    fn latest(&self) -> Option<(u64, Vec<(&'static str, i64)>)> {
        let plans = self.facts.iter().filter_map(|fact| match fact {
            Fact::Planned { count, wants } => Some((*count, wants.clone())),
            _ => None,
        });
        plans.max()
    }

    fn plan(&mut self, count: u64, wants: &[(&'static str, i64)]) {
        if self.latest().is_none_or(|(latest, _)| latest <= count) {
            self.facts.insert(Fact::Planned { count, wants: wants.to_vec() });
        }
    }

    /// The picks that stand: device, number, line, kind, grams.
    fn standing(&self) -> Vec<(usize, usize, &'static str, char, i64)> {
        let picks = self.facts.iter().filter_map(|fact| match fact {
            Fact::Picked { device, number, line, kind, grams } => Some((*device, *number, *line, *kind, *grams)),
            _ => None,
        });
        picks
            .filter(|(device, number, ..)| !self.facts.contains(&Fact::Struck { device: *device, number: *number }))
            .collect()
    }

    fn lines(&self) -> BTreeSet<&'static str> {
        let listed = self.facts.iter().filter_map(|fact| match fact {
            Fact::Planned { wants, .. } => Some(wants.iter().map(|(line, _)| *line)),
            _ => None,
        });
        let picked = self.facts.iter().filter_map(|fact| match fact {
            Fact::Picked { line, .. } => Some(*line),
            _ => None,
        });
        listed.flatten().chain(picked).collect()
    }

    fn state(&self, line: &str) -> &'static str {
        let picks: Vec<_> = self.standing().into_iter().filter(|pick| pick.2 == line).collect();
        let bought = picks.iter().any(|pick| pick.3 == 'g' || pick.3 == 's');
        let Some(want) = self.latest().and_then(|(_, wants)| wants.into_iter().find(|(of, _)| *of == line)) else {
            return if bought { "withdrawn but bought" } else { "withdrawn" };
        };
        let took: Vec<_> = picks.iter().filter(|pick| pick.3 != 'n').collect();
        let enough = |grams: i64| grams * 100 >= want.1 * 95;
        if want.1 == 0 {
            // Only to make sure that there is some.
            let buyers: BTreeSet<usize> = took.iter().filter(|pick| pick.3 != 'h').map(|pick| pick.0).collect();
            return match (took.is_empty(), buyers.len()) {
                (true, _) if picks.is_empty() => "to get",
                (true, _) => "not to be had",
                (false, 0 | 1) => "got",
                (false, _) => "bought twice",
            };
        }
        let buyers: BTreeSet<usize> =
            took.iter().filter(|pick| pick.3 != 'h' && enough(pick.4)).map(|pick| pick.0).collect();
        let sum: i64 = took.iter().map(|pick| pick.4).sum();
        match (enough(sum), took.is_empty()) {
            (true, _) if buyers.len() > 1 => "bought twice",
            (true, _) => "got",
            (false, false) => "part",
            (false, true) if picks.is_empty() => "to get",
            (false, true) => "not to be had",
        }
    }
}

fn word(state: LineState) -> &'static str {
    match state {
        LineState::ToGet => "to get",
        LineState::Part => "part",
        LineState::Got => "got",
        LineState::BoughtTwice => "bought twice",
        LineState::NotToBeHad => "not to be had",
        LineState::WithdrawnButBought => "withdrawn but bought",
        LineState::Withdrawn => "withdrawn",
    }
}

struct World {
    gates: Vec<Gate<Run>>,
    models: Vec<Model>,
    ids: BTreeMap<(usize, usize), PickId>,
    count: u64,
}

impl World {
    fn new(dice: &mut Dice, devices: usize) -> Self {
        let gates = (0..devices).map(|_| Gate::new(new_run(dice), Limits::default())).collect();
        Self { gates, models: vec![Model::default(); devices], ids: BTreeMap::new(), count: 0 }
    }

    fn step(&mut self, dice: &mut Dice) {
        let at = dice.below(self.gates.len());
        match dice.below(10) {
            0 | 1 => self.plan(dice, at),
            2 => self.strike(dice, at),
            3 | 4 => self.meet(at, dice.below(self.gates.len())),
            _ => self.pick(dice, at),
        }
    }

    fn plan(&mut self, dice: &mut Dice, at: usize) {
        // Sometimes a device comes with a plan that is older than others'. No two plans have one count.
        self.count += 4;
        let count = self.count - dice.below(3) as u64;
        let wants: Vec<_> = FOODS.iter().filter(|_| !dice.one_in(3)).map(|food| (*food, 0)).collect();
        let wants: Vec<_> = wants.into_iter().map(|(food, _)| (food, dice.below(4) as i64 * 500)).collect();
        self.follow(at, count, &wants);
    }

    fn follow(&mut self, at: usize, count: u64, wants: &[(&'static str, i64)]) {
        let want = |of: i64| (of > 0).then(|| grams(of));
        let plan: Vec<_> = wants.iter().map(|(food, of)| plan_line(food, want(*of))).collect();
        self.gates[at].document_mut().bring_up_to_date(count, &plan).unwrap();
        self.models[at].plan(count, wants);
    }

    fn pick(&mut self, dice: &mut Dice, at: usize) {
        let line = *dice.pick(&FOODS);
        let amount = *dice.pick(&[100, 474, 475, 500, 950, 1000, 1500]);
        let kind = *dice.pick(&['g', 'g', 's', 'h', 'n']);
        let quantity = if dice.one_in(2) { Quantity::Whole } else { Quantity::Part }(Some(grams(amount)));
        let what = match kind {
            'g' => got(quantity),
            's' => Taken::Sub { instead: "other".to_owned(), amount: quantity, packs: vec![], price: None },
            'h' => Taken::AtHome { amount: quantity },
            _ => Taken::NoneThere,
        };
        let id = self.gates[at].document_mut().pick(&pick(line, what)).unwrap();
        let number = self.ids.len();
        assert_eq!(self.ids.insert((at, number), id), None);
        self.models[at].facts.insert(Fact::Picked { device: at, number, line, kind, grams: amount });
    }

    fn strike(&mut self, dice: &mut Dice, at: usize) {
        let known = self.models[at].standing();
        if known.is_empty() {
            return;
        }
        let (device, number, ..) = *dice.pick(&known);
        self.gates[at].document_mut().strike(self.ids[&(device, number)], Stamp(0)).unwrap();
        self.models[at].facts.insert(Fact::Struck { device, number });
    }

    /// `to` hears all that `from` knows.
    fn meet(&mut self, from: usize, to: usize) {
        if from == to {
            return;
        }
        let (from_document, hears) = (everything(self.gates[from].document()), &mut self.gates[to]);
        let attempt = hears.attempt(from_document).unwrap();
        hears.admit(attempt);
        assert_eq!(hears.quarantine(), []);
        let facts = self.models[from].facts.clone();
        self.models[to].facts.extend(facts);
        self.check_picks(to);
    }

    /// At any time: all picks that a device has heard of are there, each once, and just the struck ones are struck.
    fn check_picks(&self, at: usize) {
        let view = self.gates[at].document().view();
        assert!(view.unreadable.is_empty());
        let mut found: Vec<PickId> = view.lines.iter().flat_map(|line| line.picks.iter().map(|(id, _)| *id)).collect();
        let mut expected: Vec<PickId> =
            self.models[at].standing().iter().map(|(device, number, ..)| self.ids[&(*device, *number)]).collect();
        found.sort_unstable();
        expected.sort_unstable();
        assert_eq!(found, expected);
        // No line is listed twice, and none with a purchase is hidden.
        let names: Vec<&str> = view.lines.iter().map(|line| line.id.as_str()).collect();
        let distinct: BTreeSet<&str> = names.iter().copied().collect();
        assert_eq!(distinct.len(), names.len());
        assert_eq!(distinct, self.models[at].lines().into_iter().collect());
        // What the latest plan wants is never hidden, whatever an earlier one withdrew at the same time.
        let wanted: Vec<_> = self.models[at].latest().map(|(_, wants)| wants).unwrap_or_default();
        for line in &view.lines {
            assert!(!line.withdrawn || wanted.iter().all(|(name, _)| *name != line.id.as_str()), "{line:?}");
        }
    }

    /// All meet, whoever has the latest plan brings the run up to date, and all meet again.
    fn come_together(&mut self) {
        let all = self.gates.len();
        for at in 0..all {
            self.meet(at, 0);
        }
        if let Some((count, wants)) = self.models[0].latest() {
            self.follow(0, count, &wants);
        }
        for at in 1..all {
            self.meet(0, at);
            assert_eq!(self.gates[at].document().heads(), self.gates[0].document().heads());
            assert_eq!(self.gates[at].document().canonical(), self.gates[0].document().canonical());
        }
        assert_eq!(self.gates[0].document().conflicts(), []);
        for line in self.gates[0].document().view().lines {
            assert_eq!(word(line.standing.state), self.models[0].state(line.id.as_str()), "{line:#?}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(100) })]

    #[test]
    fn a_run_is_what_the_model_says(seed in any::<u64>(), devices in 2_usize..6, steps in 10_usize..120) {
        let mut dice = Dice::new(seed);
        let mut world = World::new(&mut dice, devices);
        for _ in 0..steps {
            world.step(&mut dice);
        }
        world.come_together();
        for _ in 0..steps / 3 {
            world.step(&mut dice);
        }
        world.come_together();
    }
}
