//! What the tests share: randomness from a seed, devices, and a plan of invented food.
#![allow(
    dead_code,
    unreachable_pub,
    clippy::unwrap_used,
    reason = "each test file uses a part of it, and a panic is a failed check"
)]

use trug_catalog::Keep;
use trug_measure::{Amount, Currency, Exact, Money, Unit};
use trug_replica::id::{Alias, DeviceId, LineId, NoEntropy, Stamp};
use trug_replica::run::{Pack, Pick, PlanLine, Quantity, Run, Share, Taken};
use trug_replica::{Document, LocalChange};

/// Numbers from a seed (xorshift64*, Vigna 2016): the same on every machine.
#[derive(Debug, Clone)]
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    pub fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    pub fn below(&mut self, bound: usize) -> usize {
        (self.next() >> 33) as usize % bound.max(1)
    }

    pub fn one_in(&mut self, of: usize) -> bool {
        self.below(of) == 0
    }

    pub fn pick<'t, T>(&mut self, of: &'t [T]) -> &'t T {
        &of[self.below(of.len())]
    }

    pub fn shuffle<T>(&mut self, items: &mut [T]) {
        for at in (1..items.len()).rev() {
            items.swap(at, self.below(at + 1));
        }
    }
}

impl trug_replica::id::Entropy for Dice {
    fn fill(&mut self, buffer: &mut [u8]) -> Result<(), NoEntropy> {
        for byte in buffer {
            *byte = (self.next() >> 56) as u8;
        }
        Ok(())
    }
}

pub fn new_run(dice: &mut Dice) -> Run {
    let device = DeviceId::draw(dice).unwrap();
    Run::create(device, dice).unwrap()
}

pub fn grams(value: i64) -> Amount {
    Amount::new(Exact::whole(value), Unit::GRAM)
}

pub fn dollars(minor: i64) -> Money {
    Money { minor, currency: Currency::USD }
}

pub fn line_id(name: &str) -> LineId {
    LineId::new(name).unwrap()
}

pub fn alias(name: &str) -> Alias {
    Alias::new(name).unwrap()
}

pub fn plan_line(name: &str, want: Option<Amount>) -> PlanLine {
    PlanLine {
        id: line_id(name),
        rank: 0,
        food: name.to_owned(),
        text: "some".to_owned(),
        section: "produce".to_owned(),
        store: None,
        keep: Keep::Ambient,
        want,
        takes: want,
        packs: vec![Pack { count: 1, size: "1 bag".to_owned() }],
        cost: Some(dollars(249)),
        shares: vec![Share { alias: alias("BD2"), need: want }],
        separate: None,
        contains: Vec::new(),
        read_label: false,
        must_not: Vec::new(),
        subs: Vec::new(),
        ask: false,
        check: want.is_none(),
        optional: false,
    }
}

pub fn pick(line: &str, what: Taken) -> Pick {
    Pick { line: line_id(line), what, at: Stamp(1_772_600_000_000), store: None, aliases: Vec::new(), label: None }
}

pub fn got(amount: Quantity) -> Taken {
    Taken::Got { amount, packs: Vec::new(), price: None }
}

pub fn got_all(line: &str, want: Option<Amount>) -> Pick {
    pick(line, got(Quantity::Whole(want)))
}

/// One entry of many changes.
pub fn entry(changes: &[LocalChange]) -> Vec<u8> {
    changes.iter().flat_map(|change| change.bytes.clone()).collect()
}

/// Everything that a document holds, as one entry.
pub fn everything<D: Document>(document: &D) -> Vec<u8> {
    entry(&document.all_changes())
}
