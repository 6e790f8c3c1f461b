//! Whether what was taken meets what somebody on the line must not have. What is not recorded is never taken as absent.

use std::collections::BTreeSet;

use serde_json::{Value, json};
use trug_catalog::{Catalog, FoodIx, Regime, fold};
use trug_provision::guard::{ConflictKind, Meets, meets};
use trug_provision::kitchen::Kitchen;
use trug_replica::id::Alias;
use trug_replica::run::MustNot;

/// Something to say about what was taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Alert {
    alias: Alias,
    what: String,
    meets: Meets,
    kind: ConflictKind,
    text: String,
}

impl Alert {
    /// In words.
    pub(crate) fn text(&self) -> &str {
        &self.text
    }

    /// As data.
    pub(crate) fn json(&self) -> Value {
        let how = match self.meets {
            Meets::Contains => "contains",
            Meets::ByName => "by name",
            Meets::NotRecorded => "not recorded",
            Meets::Unmet => "unmet",
        };
        json!({ "alias": self.alias.as_str(), "what": self.what, "kind": self.kind.name(), "how": how, "text": self.text })
    }
}

/// Where foods are looked up: the chef's kitchen, or, on a helper's device, the catalogue alone.
pub(crate) struct Judge<'k> {
    catalog: &'k Catalog,
    regimes: &'static [Regime],
}

impl<'k> Judge<'k> {
    /// By a kitchen, where there is one. A helper's device does not know whose list of allergens holds, so both are
    /// asked.
    pub(crate) fn of(kitchen: Option<&'k Kitchen>) -> Self {
        match kitchen {
            Some(kitchen) if kitchen.regime == Regime::Us => Self { catalog: &kitchen.catalog, regimes: &[Regime::Us] },
            Some(kitchen) => Self { catalog: &kitchen.catalog, regimes: &[Regime::Eu] },
            None => Self { catalog: Catalog::builtin(), regimes: &[Regime::Us, Regime::Eu] },
        }
    }

    /// What is to be said of a food for those who must not have something.
    pub(crate) fn allergies<'m>(&self, food: &str, must_not: impl IntoIterator<Item = &'m MustNot>) -> Vec<Alert> {
        let asked: BTreeSet<(&Alias, &str)> = must_not.into_iter().map(|one| (&one.alias, one.what.as_str())).collect();
        self.all(food, asked.into_iter().map(|(alias, what)| (alias, ConflictKind::Allergy, what)))
    }

    /// What is to be said of a food for wishes of one kind.
    pub(crate) fn all<'m>(
        &self,
        food: &str,
        wishes: impl Iterator<Item = (&'m Alias, ConflictKind, &'m str)>,
    ) -> Vec<Alert> {
        let mut wishes = wishes.peekable();
        if wishes.peek().is_none() {
            return Vec::new();
        }
        // A food that the catalogue has not is judged by its name.
        let (own, ix);
        let catalog = match self.catalog.find(food) {
            Some(found) => {
                ix = found.food;
                self.catalog
            }
            None => {
                let mut with = self.catalog.clone();
                ix = with.add_undescribed(&fold(food).replace(' ', "-"), food);
                own = with;
                &own
            }
        };
        wishes.filter_map(|(alias, kind, what)| self.one(catalog, ix, food, alias, kind, what)).collect()
    }

    fn one(
        &self,
        catalog: &Catalog,
        ix: FoodIx,
        food: &str,
        alias: &Alias,
        kind: ConflictKind,
        what: &str,
    ) -> Option<Alert> {
        let found =
            self.regimes.iter().map(|regime| meets(catalog, *regime, kind, what, ix)).min_by_key(|one| rank(*one))?;
        let name = &catalog.get(ix).name;
        let known = if fold(name) == fold(food) { String::new() } else { format!(" (judged as {name})") };
        let text = match (kind, found) {
            (ConflictKind::Allergy, Meets::Contains) => {
                format!("ALLERGY ALERT: {food}{known} contains {what}, which {alias} must not have")
            }
            (ConflictKind::Allergy, Meets::ByName) => {
                format!(
                    "ALLERGY ALERT: {food} may contain {what} by its name, and {alias} must not have it: read the label"
                )
            }
            (ConflictKind::Allergy, Meets::NotRecorded) => {
                format!(
                    "read the label: what {food}{known} contains is not recorded in full, and {alias} must not have {what}"
                )
            }
            (ConflictKind::Allergy, Meets::Unmet) => {
                format!("the label comes first: {alias} must not have {what}")
            }
            (ConflictKind::Avoid, Meets::Contains | Meets::ByName) => format!("{alias} avoids {what}: {food}{known}"),
            (ConflictKind::Diet, Meets::Contains | Meets::ByName) => format!("{alias} is {what}: {food}{known}"),
            (ConflictKind::Avoid | ConflictKind::Diet, _) => return None,
        };
        Some(Alert { alias: alias.clone(), what: what.to_owned(), meets: found, kind, text })
    }
}

/// The worst first.
const fn rank(meets: Meets) -> u8 {
    match meets {
        Meets::Contains => 0,
        Meets::ByName => 1,
        Meets::NotRecorded => 2,
        Meets::Unmet => 3,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sub_is_judged_by_what_it_is() {
        let judge = Judge::of(None);
        let must_not = |what: &str| MustNot { alias: Alias::new("BC2").unwrap(), what: what.to_owned(), alert: false };
        for (food, what, said) in [
            ("peanut butter", "peanuts", "ALLERGY ALERT: peanut butter contains peanuts"),
            ("almonds", "tree nuts", "ALLERGY ALERT: almonds"),
            ("whole milk", "dairy", "ALLERGY ALERT: whole milk"),
            ("granny's peanut dust", "peanuts", "may contain peanuts by its name"),
            ("granny's secret", "peanuts", "not recorded"),
            ("carrot", "peanuts", "the label comes first"),
        ] {
            let alerts = judge.allergies(food, &[must_not(what)]);
            let text = alerts.first().map(Alert::text).unwrap_or_default();
            assert!(text.contains(said) && text.contains("BC2"), "{food} / {what}: {text}");
            assert!(!text.contains("free"), "{text}");
        }
        assert!(judge.allergies("peanut butter", &[]).is_empty());
    }
}
