//! Choosing packs, beside an integer-programming solver (microlp, from the registry) on the same cases. Budget: at
//! least 100 times its speed.

#![allow(clippy::expect_used, reason = "a bench that cannot run has to stop")]

use std::hint::black_box;
use std::time::{Duration, Instant};

use microlp::{ComparisonOp, OptimizationDirection, Problem};
use trug_measure::Exact;
use trug_provision::packs::{PackOffer, Surplus, cheapest};

/// Packs of a shop in grams and cents, and a need.
type Case = (i64, Vec<(i64, i64)>);

fn cases() -> Vec<Case> {
    let mut state = 7_u64;
    let mut next = |low: i64, high: i64| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + ((state >> 33) as i64) % (high - low + 1)
    };
    let mut case = || {
        let packs = (0..next(2, 5)).map(|_| (next(20, 2500), next(49, 2999))).collect();
        (next(10, 9000), packs)
    };
    (0..1000).map(|_| case()).collect()
}

fn solver((need, packs): &Case) {
    let mut problem = Problem::new(OptimizationDirection::Minimize);
    let most = |holds: i64| i32::try_from(need / holds + 2).expect("a count");
    let terms: Vec<_> = packs
        .iter()
        .map(|(holds, price)| (problem.add_integer_var(*price as f64, (0, most(*holds))), *holds as f64))
        .collect();
    problem.add_constraint(terms.as_slice(), ComparisonOp::Ge, *need as f64 * 0.95);
    black_box(problem.solve().expect("a solution"));
}

fn ours((need, packs): &Case) {
    let offer = |(holds, price): &(i64, i64)| PackOffer { holds: Exact::whole(*holds), price: Exact::whole(*price) };
    let packs: Vec<PackOffer> = packs.iter().map(offer).collect();
    black_box(cheapest(Exact::whole(*need), &packs, &[], Surplus::Any));
}

fn time(cases: &[Case], run: fn(&Case)) -> Duration {
    let start = Instant::now();
    cases.iter().for_each(run);
    start.elapsed()
}

fn main() {
    let cases = cases();
    let mut rounds: Vec<(f64, f64)> =
        (0..7).map(|_| (time(&cases, ours).as_secs_f64(), time(&cases, solver).as_secs_f64())).collect();
    rounds.sort_by(|a, b| (a.1 / a.0).total_cmp(&(b.1 / b.0)));
    let (ours, theirs) = rounds[rounds.len() / 2];
    println!(
        "packs, 1,000 cases: {:.2} us each, the solver {:.1} us: {:.0} times its speed (budget 100)",
        ours * 1000.0,
        theirs * 1000.0,
        theirs / ours
    );
}
