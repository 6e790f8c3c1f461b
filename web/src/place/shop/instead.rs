//! What may stand in for a food: judged against everybody on the line, and said in words.

use std::collections::BTreeSet;

use trug_catalog::{Catalog, FoodIx, Regime};
use trug_device::DocId;
use trug_provision::guard::{ConflictKind, Meets, meets};
use trug_provision::kitchen::{HouseholdId, Kitchen};
use trug_replica::id::Alias;
use trug_replica::run::PlanLine;
use yew::AttrValue;

use super::who::Who;
use crate::desk::Desk;
use crate::words::{say_kind, t};

/// The most foods that a field suggests.
const MOST_SUGGESTED: usize = 8;

/// A wish of somebody on the line.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Wish {
    /// An allergy, a dislike or a diet.
    pub(super) kind: ConflictKind,
    /// In the chef's words.
    pub(super) what: String,
    /// Whose: a diner's or a household's name.
    pub(super) who: String,
}

/// How a food meets one wish.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Verdict {
    /// The wish.
    pub(super) wish: Wish,
    /// How it meets it; never [`Meets::Unmet`].
    pub(super) meets: Meets,
}

impl Verdict {
    /// Taking the food would put what somebody is allergic to on the table.
    pub(super) const fn is_alert(&self) -> bool {
        matches!(self.wish.kind, ConflictKind::Allergy) && matches!(self.meets, Meets::Contains | Meets::ByName)
    }

    /// In words.
    pub(super) fn text(&self, food: &str) -> AttrValue {
        let (who, what) = (&self.wish.who, say_kind(&self.wish.what));
        match (self.meets, self.wish.kind) {
            (Meets::Contains, ConflictKind::Allergy) => t!("shop.sub_contains", food = food, what = what, who = who),
            (Meets::ByName, ConflictKind::Allergy) => t!("shop.sub_by_name", food = food, what = what, who = who),
            (Meets::Contains, _) => t!("shop.sub_unwanted", who = who, what = what),
            (Meets::ByName, _) => t!("shop.sub_unwanted_by_name", who = who, what = what),
            (Meets::NotRecorded | Meets::Unmet, _) => t!("shop.sub_unknown", who = who, what = what),
        }
    }
}

/// The foods that are known here, and whose list of allergens holds.
pub(super) struct Foods<'a> {
    pub(super) catalog: &'a Catalog,
    pub(super) regime: Regime,
}

impl<'a> Foods<'a> {
    /// A helper knows the foods that are built in.
    pub(super) fn builtin() -> Self {
        Self { catalog: Catalog::builtin(), regime: Regime::Us }
    }

    /// The chef's.
    pub(super) fn of(kitchen: &'a Kitchen) -> Self {
        Self { catalog: &kitchen.catalog, regime: kitchen.regime }
    }

    /// The food that somebody's words name, with or without an amount.
    fn find(&self, words: &str) -> Option<FoodIx> {
        let plain = self.catalog.find(words).map(|found| found.food);
        plain.or_else(|| self.catalog.read(words).found.map(|found| found.food))
    }

    /// Judges a food by somebody's words against wishes: alerts first, then what is not recorded, then the rest.
    pub(super) fn judge(&self, words: &str, wishes: &BTreeSet<Wish>) -> Vec<Verdict> {
        if words.trim().is_empty() {
            return Vec::new();
        }
        // Of a food that nobody has described only the name is known.
        let mut unknown = Catalog::default();
        let (catalog, food) = match self.find(words) {
            Some(food) => (self.catalog, food),
            None => {
                let food = unknown.add_undescribed("sub", words.trim());
                (&unknown, food)
            }
        };
        let judged = wishes.iter().map(|wish| Verdict {
            wish: wish.clone(),
            meets: meets(catalog, self.regime, wish.kind, &wish.what, food),
        });
        let told = |verdict: &Verdict| match verdict.meets {
            Meets::Contains | Meets::ByName => true,
            Meets::NotRecorded => verdict.wish.kind == ConflictKind::Allergy,
            Meets::Unmet => false,
        };
        let mut verdicts: Vec<Verdict> = judged.filter(told).collect();
        verdicts.sort_by_key(|verdict| (!verdict.is_alert(), verdict.wish.kind));
        verdicts
    }

    /// Foods whose name begins with, then those that have, what somebody is writing.
    pub(super) fn suggest(&self, written: &str) -> Vec<AttrValue> {
        let written = written.trim().to_lowercase();
        if written.chars().count() < 2 {
            return Vec::new();
        }
        let mut first = Vec::new();
        let mut then = Vec::new();
        for (_, food) in self.catalog.foods().filter(|(_, food)| !food.name.is_empty()) {
            let name = food.name.to_lowercase();
            if name.starts_with(&written) {
                first.push(food.name.as_str());
            } else if name.split(' ').any(|word| word.starts_with(&written)) {
                then.push(food.name.as_str());
            }
        }
        first.sort_by_key(|name| name.len());
        let names = first.into_iter().chain(then).take(MOST_SUGGESTED);
        names.map(|name| AttrValue::from(name.to_owned())).collect()
    }

    /// The section of a store where a food usually stands.
    pub(super) fn section(&self, words: &str) -> Option<String> {
        let section = self.catalog.get(self.find(words)?).section.clone();
        (!section.is_empty()).then_some(section)
    }
}

/// What everybody on a line must not have, as far as this device may know it: for the chef all wishes of the diners, for
/// a helper the allergies that the trip names.
pub(super) fn wishes(desk: &Desk, id: &DocId, line: &PlanLine, who: &Who) -> BTreeSet<Wish> {
    let mut wishes: BTreeSet<Wish> = line
        .must_not
        .iter()
        .map(|must_not| Wish {
            kind: ConflictKind::Allergy,
            what: must_not.what.clone(),
            who: who.table(&must_not.alias).to_owned(),
        })
        .collect();
    if let Some(Ok(now)) = desk.kitchen() {
        let aliases = desk.read(|device| device.aliases(id, &now.kitchen));
        let own = line.shares.iter().filter_map(|share| aliases.get(&share.alias).map(|id| (&share.alias, id)));
        wishes.extend(own.flat_map(|(alias, id)| diners(&now.kitchen, id, alias, who)));
    }
    wishes
}

/// The wishes of a household's diners beyond their allergies, which the line names already.
fn diners(kitchen: &Kitchen, id: &HouseholdId, alias: &Alias, who: &Who) -> Vec<Wish> {
    let table = who.table(alias);
    let mut wishes = Vec::new();
    for diner in kitchen.households.get(id).into_iter().flat_map(|household| &household.diners) {
        let whose = format!("{} ({table})", diner.name);
        for (kind, words) in [(ConflictKind::Avoid, &diner.avoid), (ConflictKind::Diet, &diner.diet)] {
            wishes.extend(words.iter().map(|what| Wish { kind, what: what.clone(), who: whose.clone() }));
        }
    }
    wishes
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wish(kind: ConflictKind, what: &str) -> BTreeSet<Wish> {
        BTreeSet::from([Wish { kind, what: what.to_owned(), who: "BK4".to_owned() }])
    }

    #[test]
    fn a_sub_is_judged_by_what_it_is() {
        use ConflictKind::{Allergy, Avoid, Diet};
        let table = [
            ("almond milk", Allergy, "tree nuts", Some(Meets::Contains)),
            ("whole milk", Allergy, "milk", Some(Meets::Contains)),
            ("2 cups whole milk", Allergy, "milk", Some(Meets::Contains)),
            ("peanut brittle of the house", Allergy, "peanuts", Some(Meets::ByName)),
            ("grandmother's paste", Allergy, "peanuts", Some(Meets::NotRecorded)),
            ("grandmother's paste", Avoid, "peanuts", None),
            ("carrot", Allergy, "peanuts", None),
            ("bacon", Diet, "vegetarian", Some(Meets::Contains)),
            ("", Allergy, "peanuts", None),
        ];
        for (words, kind, what, expected) in table {
            let verdicts = Foods::builtin().judge(words, &wish(kind, what));
            assert_eq!(verdicts.first().map(|verdict| verdict.meets), expected, "{words} for {what}");
        }
    }

    #[test]
    fn an_allergy_comes_first() {
        let both: BTreeSet<Wish> =
            wish(ConflictKind::Diet, "vegan").into_iter().chain(wish(ConflictKind::Allergy, "milk")).collect();
        let verdicts = Foods::builtin().judge("butter", &both);
        assert_eq!(verdicts.iter().map(Verdict::is_alert).collect::<Vec<_>>(), [true, false]);
    }

    #[test]
    fn what_is_being_written_is_suggested() {
        let foods = Foods::builtin();
        let names = foods.suggest("oni");
        assert!(names.iter().any(|name| name.contains("onion")), "{names:?}");
        assert!(foods.suggest("o").is_empty());
        assert!(foods.section("onion").is_some());
    }
}
