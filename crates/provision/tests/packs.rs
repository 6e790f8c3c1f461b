//! The choice of packs against an integer-programming solver (microlp, from the registry) and against every choice
//! tried in turn.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic here is a failed check")]

use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOutcome};
use proptest::prelude::*;
use trug_measure::Exact;
use trug_provision::packs::{Choice, ENOUGH, LooseOffer, PackOffer, Surplus, cheapest, least_surplus};

/// A small generator of whole numbers, the same on every machine for the same seed (SplitMix64).
struct Seeded(u64);

impl Seeded {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    fn between(&mut self, low: i64, high: i64) -> i64 {
        low + (self.next() % (high - low + 1) as u64) as i64
    }
}

#[derive(Debug)]
struct Case {
    need: i64,
    packs: Vec<(i64, i64)>,
    loose: Vec<(i64, i64)>,
    surplus: Surplus,
}

impl Case {
    /// Sizes of a shop's packs in grams, prices in cents, a need of up to some twenty packs.
    fn seeded(seed: u64) -> Self {
        let mut rng = Seeded(seed);
        let packs = (0..rng.between(1, 5)).map(|_| (rng.between(20, 2500), rng.between(49, 2999))).collect();
        let loose = (0..rng.between(-1, 1)).map(|_| (rng.between(4, 6), rng.between(1, 12))).collect();
        let surplus = if rng.between(0, 3) == 0 { Surplus::AtMostNeed } else { Surplus::Any };
        Self { need: rng.between(10, 9000), packs, loose, surplus }
    }

    fn offers(&self) -> (Vec<PackOffer>, Vec<LooseOffer>) {
        let (whole, offers) = (Exact::whole, self.packs.iter());
        let packs = offers.map(|(holds, price)| PackOffer { holds: whole(*holds), price: whole(*price) }).collect();
        let loose =
            self.loose.iter().map(|(holds, price)| LooseOffer { holds: whole(*holds), price: whole(*price) }).collect();
        (packs, loose)
    }

    fn ours(&self) -> Option<Choice> {
        let (packs, loose) = self.offers();
        cheapest(Exact::whole(self.need), &packs, &loose, self.surplus)
    }

    /// The least cost by the solver: packs alone at 95 %, or packs with one loose offer in full.
    fn solvers(&self) -> Option<f64> {
        let ways = std::iter::once(None).chain(self.loose.iter().map(Some));
        let solve = |surplus: Surplus| {
            let costs = ways.clone().filter_map(|loose| self.solve(loose, surplus));
            costs.min_by(f64::total_cmp)
        };
        match self.surplus {
            Surplus::AtMostNeed => solve(Surplus::AtMostNeed).or_else(|| solve(Surplus::Any)),
            Surplus::Any => solve(Surplus::Any),
        }
    }

    fn solve(&self, loose: Option<&(i64, i64)>, surplus: Surplus) -> Option<f64> {
        let mut problem = Problem::new(OptimizationDirection::Minimize);
        let count = |problem: &mut Problem, (holds, price): (i64, i64), least: i32| {
            let most = i32::try_from(self.need / holds + 2).unwrap();
            (problem.add_integer_var(price as f64, (least, most)), holds as f64)
        };
        let mut terms: Vec<_> = self.packs.iter().map(|pack| count(&mut problem, *pack, 0)).collect();
        terms.extend(loose.map(|loose| count(&mut problem, *loose, 1)));
        // In twentieths, so that 95 % is a whole number too.
        let scaled: Vec<_> = terms.iter().map(|(var, holds)| (*var, holds * 20.0)).collect();
        let least = if loose.is_some() { self.need * 20 } else { self.need * 19 };
        problem.add_constraint(scaled.as_slice(), ComparisonOp::Ge, least as f64);
        if surplus == Surplus::AtMostNeed {
            problem.add_constraint(scaled.as_slice(), ComparisonOp::Le, (self.need * 40) as f64);
        }
        match problem.solve() {
            Ok(SolveOutcome::Solution(solution)) => Some(solution.objective()),
            Ok(SolveOutcome::Interrupted(_)) => panic!("no limit is set"),
            Err(_) => None,
        }
    }
}

#[test]
fn a_thousand_seeded_cases_cost_what_the_solver_says() {
    for seed in 0..1000 {
        let case = Case::seeded(seed);
        let ours = case.ours().expect("something is offered").cost.to_f64();
        let theirs = case.solvers().expect("something is offered");
        // Costs are whole cents; the solver's integers are whole to its own tolerance.
        assert_eq!(ours, theirs.round(), "seed {seed}: {case:?}");
    }
}

/// Every choice of packs that is enough and has none too many, by trying all counts.
fn all_choices(case: &Case) -> Vec<(i64, i64, i64, Vec<u64>)> {
    fn fill(case: &Case, at: usize, counts: &mut Vec<u64>, found: &mut Vec<(i64, i64, i64, Vec<u64>)>) {
        let sum = |of: fn(&(i64, i64)) -> i64| -> i64 {
            case.packs.iter().zip(counts.iter()).map(|(pack, count)| of(pack) * *count as i64).sum()
        };
        let (held, cost) = (sum(|pack| pack.0), sum(|pack| pack.1));
        if held * 20 >= case.need * 19 {
            found.push((cost, (held - case.need).max(0), counts.iter().sum::<u64>() as i64, counts.clone()));
            return;
        }
        for next in at..case.packs.len() {
            counts[next] += 1;
            fill(case, next, counts, found);
            counts[next] -= 1;
        }
    }
    let mut found = Vec::new();
    fill(case, 0, &mut vec![0; case.packs.len()], &mut found);
    found
}

fn few_packs() -> impl Strategy<Value = Case> {
    // Few distinct sizes and prices, so that there are ties to break.
    let pack = (1_i64..=6, 1_i64..=6).prop_map(|(holds, price)| (holds * 50, price * 50));
    (1_i64..=18, prop::collection::vec(pack, 1..=4)).prop_map(|(need, packs)| Case {
        need: need * 47,
        packs,
        loose: Vec::new(),
        surplus: Surplus::Any,
    })
}

proptest! {
    #[test]
    fn ties_go_to_the_least_surplus_then_to_the_fewest_packs(case in few_packs()) {
        let best = all_choices(&case).into_iter().map(|(cost, surplus, packs, _)| (cost, surplus, packs)).min().unwrap();
        let ours = case.ours().unwrap();
        let packs: u64 = ours.counts.iter().sum();
        let surplus = (ours.holds - Exact::whole(case.need)).max(Exact::ZERO);
        prop_assert_eq!((ours.cost, surplus, packs as i64), (Exact::whole(best.0), Exact::whole(best.1), best.2));
    }

    #[test]
    fn chilled_food_leaves_no_more_than_is_needed_where_that_can_be_had(case in few_packs()) {
        let case = Case { surplus: Surplus::AtMostNeed, ..case };
        let all = all_choices(&case);
        let modest = all.iter().filter(|(_, surplus, ..)| *surplus <= case.need);
        let least = |choices: &mut dyn Iterator<Item = &(i64, i64, i64, Vec<u64>)>| choices.map(|c| (c.0, c.1, c.2)).min();
        let best = least(&mut modest.clone()).or_else(|| least(&mut all.iter())).unwrap();
        let ours = case.ours().unwrap();
        prop_assert_eq!(ours.cost, Exact::whole(best.0));
    }

    #[test]
    fn without_prices_the_surplus_is_least_then_the_packs_are_fewest(case in few_packs()) {
        let best = all_choices(&case).into_iter().map(|(_, surplus, packs, _)| (surplus, packs)).min().unwrap();
        let sizes: Vec<Exact> = case.packs.iter().map(|(holds, _)| Exact::whole(*holds)).collect();
        let ours = least_surplus(Exact::whole(case.need), &sizes).unwrap();
        let surplus = (ours.holds - Exact::whole(case.need)).max(Exact::ZERO);
        let packs: u64 = ours.counts.iter().sum();
        prop_assert_eq!((surplus, packs as i64), (Exact::whole(best.0), best.1));
    }

    #[test]
    fn more_demand_never_costs_less(seed in 0_u64..5000, more in 0_i64..3000) {
        let less = Case { surplus: Surplus::Any, ..Case::seeded(seed) };
        let cost = less.ours().unwrap().cost;
        let more = Case { need: less.need + more, ..less };
        prop_assert!(more.ours().unwrap().cost >= cost);
    }

    #[test]
    fn what_is_taken_is_enough_and_the_cost_is_its_price(seed in 0_u64..5000) {
        let case = Case::seeded(seed);
        let (packs, loose) = case.offers();
        let ours = case.ours().unwrap();
        let least = if ours.loose.is_some() { Exact::ONE } else { ENOUGH };
        prop_assert!(ours.holds >= Exact::whole(case.need) * least);
        let counts = ours.counts.iter().map(|count| Exact::whole(*count as i64));
        let mut cost: Exact = counts.zip(&packs).map(|(count, pack)| count * pack.price).sum();
        if let Some((at, steps)) = ours.loose {
            cost = cost + Exact::whole(steps as i64) * loose[at].price;
        }
        prop_assert_eq!(ours.cost, cost);
    }
}

#[test]
fn nothing_offered_or_nothing_needed_is_no_choice() {
    let pack = PackOffer { holds: Exact::ONE, price: Exact::ONE };
    assert_eq!(cheapest(Exact::ONE, &[], &[], Surplus::Any), None);
    assert_eq!(cheapest(Exact::ZERO, &[pack], &[], Surplus::Any), None);
    assert_eq!(cheapest(Exact::ONE, &[PackOffer { holds: Exact::ZERO, ..pack }], &[], Surplus::Any), None);
}

#[test]
fn packs_of_one_value_in_large_numbers_are_still_quick() {
    // 1, 2, 3, 5 and 7 at one price by weight, ten thousand wanted: every order costs the same.
    let packs: Vec<PackOffer> =
        [1, 2, 3, 5, 7].map(|n| PackOffer { holds: Exact::whole(n), price: Exact::whole(n * 100) }).to_vec();
    let choice = cheapest(Exact::whole(10_000), &packs, &[], Surplus::Any).unwrap();
    assert_eq!(choice.cost, Exact::whole(950_000));
}
