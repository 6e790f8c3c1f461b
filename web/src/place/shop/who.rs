//! Who is who on a trip: households by the names that this device may know, and the people with their phones.

use std::collections::BTreeMap;

use trug_measure::{Amount, System};
use trug_provision::kitchen::{HouseholdId, Kitchen};
use trug_replica::gather;
use trug_replica::id::{Alias, DeviceId};
use trug_replica::run::{Pick, Quantity, Share, Taken};

use crate::words::t;

/// Who is who, and in which units this device reads.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Who {
    /// The units.
    pub(super) units: System,
    /// The chef's names of the households; a helper knows the aliases alone.
    pub(super) tables: BTreeMap<Alias, String>,
    /// The people, by their devices.
    pub(super) people: BTreeMap<DeviceId, String>,
    /// This device.
    pub(super) me: DeviceId,
}

/// The chef's names for the aliases of a trip.
pub(super) fn tables(kitchen: &Kitchen, aliases: &BTreeMap<Alias, HouseholdId>) -> BTreeMap<Alias, String> {
    let name = |id: &HouseholdId| {
        let household = kitchen.households.get(id)?;
        Some(household.short.clone().unwrap_or_else(|| household.name.clone()))
    };
    gather::map(aliases.iter().filter_map(|(alias, id)| Some((alias.clone(), name(id)?))))
}

impl Who {
    /// A household as this device may name it.
    pub(super) fn table<'a>(&'a self, alias: &'a Alias) -> &'a str {
        self.tables.get(alias).map_or(alias.as_str(), String::as_str)
    }

    /// A person.
    pub(super) fn person(&self, device: DeviceId) -> String {
        if device == self.me {
            return t!("common.you").to_string();
        }
        self.people.get(&device).cloned().unwrap_or_else(|| t!("common.somebody").to_string())
    }

    /// An amount in the reader's units.
    pub(super) fn amount(&self, amount: Amount) -> String {
        amount.show(self.units)
    }

    /// Households, joined.
    pub(super) fn tables_of<'a>(&'a self, aliases: impl IntoIterator<Item = &'a Alias>) -> String {
        let mut names: Vec<&str> = aliases.into_iter().map(|alias| self.table(alias)).collect();
        names.dedup();
        names.join(", ")
    }

    /// For whom a line is, with the amounts where there are several.
    pub(super) fn shares(&self, shares: &[Share]) -> Option<String> {
        let one = |share: &Share| match share.need {
            Some(need) if shares.len() > 1 => format!("{} {}", self.table(&share.alias), self.amount(need)),
            _ => self.table(&share.alias).to_owned(),
        };
        let names: Vec<String> = shares.iter().map(one).collect();
        (!names.is_empty()).then(|| t!("common.for_whom", whom = names.join(", ")).to_string())
    }

    /// A pick in words: what, and for whom where it was not for everybody.
    pub(super) fn pick(&self, pick: &Pick) -> String {
        let what = match &pick.what {
            Taken::Got { amount, .. } => self.got(*amount),
            Taken::AtHome { amount } => match amount {
                Quantity::Part(Some(part)) => t!("shop.at_home_amount", amount = self.amount(*part)).to_string(),
                Quantity::Whole(None) => t!("shop.made_sure").to_string(),
                _ => t!("shop.at_home").to_string(),
            },
            Taken::Sub { instead, .. } => t!("shop.sub_taken", food = instead).to_string(),
            Taken::NoneThere => t!("shop.none").to_string(),
        };
        if pick.aliases.is_empty() {
            return what;
        }
        let whom = t!("common.for_whom", whom = self.tables_of(&pick.aliases));
        format!("{what}, {whom}")
    }

    fn got(&self, amount: Quantity) -> String {
        match amount {
            Quantity::Whole(_) => t!("shop.got").to_string(),
            Quantity::Part(Some(part)) => t!("shop.got_amount", amount = self.amount(part)).to_string(),
            Quantity::Part(None) => t!("shop.part").to_string(),
        }
    }
}
