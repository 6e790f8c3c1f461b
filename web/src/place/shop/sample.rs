//! Lines and picks for tests.

use trug_catalog::Keep;
use trug_measure::{Currency, Money};
use trug_replica::id::{Alias, DeviceId, FactId, LineId, Stamp};
use trug_replica::run::{Line, LineView, Pick, PlanLine, Quantity, Share, Taken, standing};

pub(super) fn alias(text: &str) -> Alias {
    Alias::new(text).unwrap()
}

pub(super) fn usd(text: &str) -> Money {
    Money::parse(text, Currency::USD).unwrap()
}

pub(super) fn device(number: u8) -> DeviceId {
    format!("0000000{number}").parse().unwrap()
}

pub(super) fn share(of: &str, need: &str) -> Share {
    Share { alias: alias(of), need: need.parse().ok() }
}

pub(super) fn planned(food: &str) -> PlanLine {
    PlanLine {
        id: LineId::new(food).unwrap(),
        rank: 0,
        food: food.to_owned(),
        text: String::new(),
        section: "produce".to_owned(),
        store: None,
        keep: Keep::Ambient,
        want: None,
        takes: None,
        packs: Vec::new(),
        cost: None,
        shares: Vec::new(),
        separate: None,
        contains: Vec::new(),
        read_label: false,
        must_not: Vec::new(),
        subs: Vec::new(),
        ask: false,
        check: false,
        optional: false,
    }
}

pub(super) fn pick(what: Taken) -> Pick {
    let line = LineId::new("x").unwrap();
    Pick { line, what, at: Stamp(1_000), store: None, aliases: Vec::new(), label: None }
}

pub(super) fn got(amount: Quantity, price: Option<&str>) -> Pick {
    pick(Taken::Got { amount, packs: Vec::new(), price: price.map(usd) })
}

/// A line with picks by device 1.
pub(super) fn view(line: Line, picks: Vec<Pick>) -> LineView {
    let devices = picks.into_iter().map(|pick| (1, pick)).collect();
    view_by(line, false, devices)
}

pub(super) fn view_by(line: Line, withdrawn: bool, picks: Vec<(u8, Pick)>) -> LineView {
    let id = LineId::new(line.food()).unwrap();
    let numbered = (0_u64..).zip(picks);
    let picks: Vec<(FactId, Pick)> =
        numbered.map(|(counter, (by, pick))| (FactId { device: device(by), counter }, pick)).collect();
    let by_id: Vec<(FactId, &Pick)> = picks.iter().map(|(id, pick)| (*id, pick)).collect();
    let standing = standing(line.want(), withdrawn, &by_id);
    LineView { id, line: Some(line.into()), withdrawn, standing, picks, struck: Vec::new() }
}
