//! What others did, and what changed at home, in a sentence.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use trug_device::Told;
use trug_replica::id::{DeviceId, LineId};
use trug_replica::run::Change;
use yew::AttrValue;

use super::seen::Seen;
use crate::words::t;

/// What was heard.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Heard {
    /// What to say, politely.
    pub(super) text: Option<AttrValue>,
    /// Lines that say something else now, with what they said before; empty where they are new.
    pub(super) changed: HashMap<LineId, String>,
}

/// Sums up what was told. `before` is the reading before.
pub(super) fn heard(told: &[Told], seen: &Seen, before: &Seen) -> Heard {
    let changes: Vec<&Change> = told
        .iter()
        .filter_map(|told| match told {
            Told::Run(change) => Some(change),
            Told::Book(_) | Told::Pantry(_) => None,
        })
        .collect();
    let mut said = picks(&changes, seen);
    let changed = changed(&changes, seen, before);
    said.extend(plan(&changes, &changed, seen));
    let text = (!said.is_empty()).then(|| AttrValue::from(said.join(" ")));
    Heard { text, changed }
}

fn food(seen: &Seen, id: &LineId) -> Option<String> {
    seen.line(id)?.line.as_ref().map(|line| line.food().to_owned())
}

/// `Jo got onions and 2 more.`
fn picks(changes: &[&Change], seen: &Seen) -> Vec<String> {
    let mut by_person: BTreeMap<DeviceId, Vec<String>> = BTreeMap::new();
    let mut undone: BTreeSet<String> = BTreeSet::new();
    for change in changes {
        match change {
            Change::Picked { pick, line } if pick.device != seen.who.me => {
                by_person.entry(pick.device).or_default().extend(food(seen, line));
            }
            Change::Struck { line: Some(line), .. } => undone.extend(food(seen, line)),
            _ => {}
        }
    }
    let mut said = Vec::new();
    for (person, foods) in by_person {
        let who = seen.who.person(person);
        match foods.as_slice() {
            [] => {}
            [one] => said.push(t!("shop.picked_by", who = who, food = one).to_string()),
            [one, rest @ ..] => {
                said.push(t!("shop.picked_by_more", count = rest.len(), who = who, food = one).to_string());
            }
        }
    }
    let undone: Vec<String> = undone.into_iter().collect();
    if !undone.is_empty() {
        said.push(t!("shop.undone_by_others", food = undone.join(", ")).to_string());
    }
    said
}

/// Lines that are new or say something else.
fn changed(changes: &[&Change], seen: &Seen, before: &Seen) -> HashMap<LineId, String> {
    let take = |seen: &Seen, id: &LineId| seen.line(id).map(|view| super::scene::take(view).to_string());
    let one = |change: &&Change| match change {
        Change::LineNew(id) | Change::LineWanted(id) => Some((id.clone(), String::new())),
        Change::LineChanged(id) => {
            let was = take(before, id)?;
            (take(seen, id).as_ref() != Some(&was) && !was.is_empty()).then(|| (id.clone(), was))
        }
        _ => None,
    };
    changes.iter().filter_map(one).collect()
}

/// `The list changed at home: 2 new, 1 no longer needed.`
fn plan(changes: &[&Change], changed: &HashMap<LineId, String>, seen: &Seen) -> Option<String> {
    let foods = |ids: &BTreeSet<&LineId>| {
        let names: Vec<String> = ids.iter().filter_map(|id| food(seen, id)).collect();
        names.join(", ")
    };
    let gone: BTreeSet<&LineId> = changes
        .iter()
        .filter_map(|change| match change {
            Change::LineWithdrawn(id) => Some(id),
            _ => None,
        })
        .collect();
    let new: BTreeSet<&LineId> = changed.iter().filter(|(_, was)| was.is_empty()).map(|(id, _)| id).collect();
    let other: BTreeSet<&LineId> = changed.iter().filter(|(_, was)| !was.is_empty()).map(|(id, _)| id).collect();
    let mut parts = Vec::new();
    // A few are named; of many the number says enough, and the rows carry a mark.
    for (ids, some, many) in [
        (&new, "shop.plan_new", "shop.plan_new_count"),
        (&other, "shop.plan_other", "shop.plan_other_count"),
        (&gone, "shop.plan_gone", "shop.plan_gone_count"),
    ] {
        match ids.len() {
            0 => {}
            1..=3 => parts.push(crate::words::say_with(some, &["food"], &[foods(ids)]).to_string()),
            count => parts.push(crate::words::say_with(many, &["count"], &[count.to_string()]).to_string()),
        }
    }
    (!parts.is_empty()).then(|| t!("shop.plan_changed", what = parts.join("; ")).to_string())
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use trug_measure::System;
    use trug_replica::Document as _;
    use trug_replica::id::{FactId, Stamp};
    use trug_replica::run::{HandLine, Line, Pick, Run, Taken};

    use super::*;
    use crate::place::shop::sample::device;
    use crate::place::shop::scene::Raw;
    use crate::place::shop::seen::Knows;
    use crate::words::{Language, speak};

    #[test]
    fn what_others_did_is_told_in_a_sentence() {
        speak(Language::English);
        let mut entropy = |buffer: &mut [u8]| buffer.fill(9);
        let mut run = Run::create(device(1), &mut entropy).unwrap();
        let add = |food: &str, text: &str| HandLine {
            food: food.to_owned(),
            text: text.to_owned(),
            section: "produce".to_owned(),
            alias: None,
        };
        let onions = run.add_line(&add("Onions", "3 bunches")).unwrap();
        let rice = run.add_line(&add("Rice", "2 bunches")).unwrap();
        let what = Taken::NoneThere;
        let pick = Pick { line: rice.clone(), what, at: Stamp(1), store: None, aliases: Vec::new(), label: None };
        run.pick(&pick).unwrap();
        let raw = Raw::default();
        let knows = || Knows { tables: BTreeMap::new(), units: System::Us, changed: HashMap::new(), raw: &raw };
        let before = Seen::of(&run, knows(), None);
        run.settle_line(&onions, &Line::ByHand(add("Onions", "2 bunches"))).unwrap();
        let seen = Seen::of(&run, knows(), None);
        let by = |number: u8, line: &LineId| {
            let pick = FactId { device: device(number), counter: 3 };
            Told::Run(Change::Picked { pick, line: line.clone() })
        };
        let table: [(Vec<Told>, Option<&str>, usize); 5] = [
            (vec![by(1, &onions)], None, 0),
            (vec![by(2, &onions)], Some("somebody got Onions."), 0),
            (vec![by(2, &onions), by(2, &rice)], Some("somebody got Onions and 1 more."), 0),
            (vec![Told::Run(Change::LineChanged(rice.clone()))], None, 0),
            (
                vec![Told::Run(Change::LineChanged(onions)), Told::Run(Change::LineNew(rice))],
                Some("The list changed at home: new: Rice; changed: Onions."),
                2,
            ),
        ];
        for (told, text, changed) in table {
            let heard = heard(&told, &seen, &before);
            assert_eq!(heard.text.as_deref(), text);
            assert_eq!(heard.changed.len(), changed);
        }
    }
}
