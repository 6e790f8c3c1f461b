//! A trip as a person reads it and as data.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Map, Value, json};
use trug_device::Entry;
use trug_measure::{Amount, Money, System};
use trug_provision::kitchen::{HouseholdId, Kitchen};
use trug_replica::id::{Alias, DeviceId, PickId};
use trug_replica::run::{About, Claimed, Line, LineState, LineView, MustNot, Pack, Pick, Quantity, Run, Taken, View};
use trug_seal::Role;

use super::find;
use super::home::Home;
use super::judge::Judge;

/// An amount as data: one decimal.
pub(crate) fn amount_json(amount: Option<Amount>) -> Value {
    amount.map_or(Value::Null, |amount| json!({ "amount": amount.value.to_decimals(1), "unit": amount.unit.symbol() }))
}

fn money_json(money: Option<Money>) -> Value {
    money.map_or(Value::Null, |money| json!(money.to_string()))
}

/// The word for a state.
pub(crate) const fn state_word(state: LineState) -> &'static str {
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

/// What stands before a line.
const fn mark(state: LineState) -> &'static str {
    match state {
        LineState::ToGet => "[ ]",
        LineState::Part => "[~]",
        LineState::Got => "[x]",
        LineState::BoughtTwice => "[2]",
        LineState::NotToBeHad => "[-]",
        LineState::WithdrawnButBought => "[!]",
        LineState::Withdrawn => "[/]",
    }
}

/// For whom a line is.
pub(crate) fn aliases_of(line: &LineView) -> Vec<String> {
    match line.line.as_deref() {
        Some(Line::Planned(plan)) => plan.shares.iter().map(|share| share.alias.to_string()).collect(),
        Some(Line::ByHand(hand)) => hand.alias.iter().map(ToString::to_string).collect(),
        None => Vec::new(),
    }
}

/// Whether a line is for a household.
pub(crate) fn is_for(line: &LineView, alias: &Alias) -> bool {
    aliases_of(line).iter().any(|one| one == alias.as_str())
}

/// A trip with what is needed to show it.
pub(crate) struct Shown<'h> {
    pub(crate) entry: &'h Entry,
    pub(crate) run: &'h Run,
    pub(crate) view: View,
    people: BTreeMap<DeviceId, String>,
    claims: BTreeMap<Claimed, DeviceId>,
    /// Lines about which plans say different things.
    disputed: BTreeSet<String>,
    /// Whose alias is whose; on the chef's devices alone.
    households: BTreeMap<Alias, (HouseholdId, String)>,
    week: Option<String>,
    role: &'static str,
    to_send: usize,
    units: System,
    judge: Judge<'h>,
}

impl<'h> Shown<'h> {
    /// A trip of this device. `kitchen` is the chef's, where there is one.
    pub(crate) fn of(home: &'h Home, entry: &'h Entry, kitchen: Option<&'h Kitchen>) -> Option<Self> {
        let run = home.device.run(&entry.id)?;
        let about_line = |about| if let About::Line(id) = about { Some(id.as_str().to_owned()) } else { None };
        Some(Self {
            entry,
            run,
            view: run.view(),
            people: run.people(),
            claims: run.claims(),
            disputed: run.conflicts().into_iter().filter_map(|conflict| about_line(conflict.about)).collect(),
            households: kitchen.map(|kitchen| households(home, entry, kitchen)).unwrap_or_default(),
            week: home.device.follows(&entry.id).map(|plan| plan.week),
            role: role_word(home, entry),
            to_send: home.device.shelf(&entry.id).map_or(0, |shelf| shelf.status().to_send),
            // A helper's device does not know the kitchen's units; the list is written in the kitchen's words either way.
            units: kitchen.map_or(System::Us, |kitchen| kitchen.units),
            // As every other device of the trip judges, so that all show the same.
            judge: Judge::of(None),
        })
    }

    fn name(&self, device: DeviceId) -> Option<&str> {
        self.people.get(&device).map(String::as_str).filter(|name| !name.is_empty())
    }

    fn name_or_letters(&self, device: DeviceId) -> String {
        self.name(device).map_or_else(|| device.to_string(), str::to_owned)
    }

    /// What a household is called here: the chef reads its name beside the alias.
    fn whom(&self, alias: &Alias) -> String {
        self.households.get(alias).map_or_else(|| alias.to_string(), |(_, name)| format!("{alias} ({name})"))
    }

    /// Lines still to get.
    pub(crate) fn left(&self) -> usize {
        let is_left = |line: &&LineView| {
            matches!(line.standing.state, LineState::ToGet | LineState::Part | LineState::NotToBeHad)
        };
        self.view.lines.iter().filter(is_left).count()
    }

    /// What the picks cost, where they say so in one currency.
    fn spent(&self) -> Option<Money> {
        let prices = self.view.lines.iter().flat_map(|line| &line.picks).filter_map(|(_, pick)| pick.what.price());
        prices.reduce(|sum, one| if sum.currency == one.currency { sum + one } else { sum })
    }

    /// As data. See `trug run --help`.
    pub(crate) fn json(&self) -> Value {
        let by = |device: &DeviceId| json!({ "by": device.to_string(), "name": self.name(*device) });
        let claims = self.claims.iter().map(|(what, device)| {
            let (kind, of) = match what {
                Claimed::Line(id) => ("line", id.as_str()),
                Claimed::Section(name) => ("section", name.as_str()),
                Claimed::Store(name) => ("store", name.as_str()),
            };
            merge(json!({ "what": kind, "of": of }), by(device))
        });
        let notes = self.run.notes().into_iter().map(|(id, note)| {
            let line = note.line.as_ref().map(|line| line.as_str().to_owned());
            merge(json!({ "id": id.to_string(), "text": note.text, "line": line, "at": note.at.0 }), by(&id.device))
        });
        let receipts = self.run.receipts().into_iter().map(|(id, receipt)| {
            let alias = receipt.alias.as_ref().map(|alias| alias.as_str().to_owned());
            let paid = json!({
                "id": id.to_string(), "store": receipt.store, "total": receipt.total.to_string(),
                "currency": receipt.total.currency.code(), "for": alias, "at": receipt.at.0,
            });
            merge(paid, by(&id.device))
        });
        let mut all = json!({
            "schema": 1,
            "trip": {
                "id": find::short(&self.entry.id, self.entry.log), "title": self.entry.title, "role": self.role,
                "week": self.week, "relay": self.entry.relay.as_ref().map(ToString::to_string), "to_send": self.to_send,
            },
            "lines": self.view.lines.iter().map(|line| self.line_json(line)).collect::<Vec<_>>(),
            "people": self.people.iter().map(|(id, name)| (id.to_string(), json!(name))).collect::<Map<_, _>>(),
            "claims": claims.collect::<Vec<_>>(),
            "notes": notes.collect::<Vec<_>>(),
            "receipts": receipts.collect::<Vec<_>>(),
            "left": self.left(),
            "spent": money_json(self.spent()),
            "unreadable": self.view.unreadable.len(),
        });
        if !self.households.is_empty() {
            let households = self
                .households
                .iter()
                .map(|(alias, (id, name))| (alias.to_string(), json!({ "id": id.as_str(), "name": name })));
            all = merge(all, json!({ "households": households.collect::<Map<_, _>>() }));
        }
        all
    }

    fn line_json(&self, line: &LineView) -> Value {
        let standing = &line.standing;
        let claimed = self
            .claims
            .get(&Claimed::Line(line.id.clone()))
            .map(|device| json!({ "by": device.to_string(), "name": self.name(*device) }));
        let must_not = self.must_not(line);
        let pick = |(id, pick): &(PickId, Pick)| self.pick_json(*id, pick, &must_not);
        let of_all = json!({
            "id": line.id.as_str(),
            "state": state_word(standing.state),
            "there": amount_json(standing.there),
            "left": amount_json(standing.left),
            "none_said": standing.none_said,
            "unclear": standing.unclear,
            "withdrawn": line.withdrawn,
            "claimed": claimed,
            "conflict": self.disputed.contains(line.id.as_str()),
            "picks": line.picks.iter().map(pick).collect::<Vec<_>>(),
            "struck": line.struck.iter().map(pick).collect::<Vec<_>>(),
            "must_not": must_not.iter().map(must_not_json).collect::<Vec<_>>(),
        });
        merge(line.line.as_deref().map_or_else(missing_json, said_json), of_all)
    }

    fn pick_json(&self, id: PickId, pick: &Pick, must_not: &[MustNot]) -> Value {
        let (what, instead) = match &pick.what {
            Taken::Got { .. } => ("got", None),
            Taken::AtHome { .. } => ("home", None),
            Taken::Sub { instead, .. } => ("sub", Some(instead)),
            Taken::NoneThere => ("none", None),
        };
        let packs: &[Pack] = match &pick.what {
            Taken::Got { packs, .. } | Taken::Sub { packs, .. } => packs,
            Taken::AtHome { .. } | Taken::NoneThere => &[],
        };
        let alerts = instead.map(|food| self.judge.allergies(food, must_not)).unwrap_or_default();
        json!({
            "id": id.to_string(),
            "by": id.device.to_string(),
            "name": self.name(id.device),
            "what": what,
            "amount": amount_json(pick.what.quantity().and_then(Quantity::amount)),
            "whole": pick.what.quantity().map(|quantity| matches!(quantity, Quantity::Whole(_))),
            "packs": packs_json(packs),
            "price": money_json(pick.what.price()),
            "currency": pick.what.price().map(|price| price.currency.code().to_owned()),
            "instead": instead,
            "for": pick.aliases.iter().map(Alias::as_str).collect::<Vec<_>>(),
            "store": pick.store,
            "label": pick.label.as_ref().map(|label| json!({ "product": label.product, "says": label.says })),
            "alerts": alerts.iter().map(super::judge::Alert::json).collect::<Vec<_>>(),
            "at": pick.at.0,
        })
    }

    /// What nobody on a line may have; where plans differ, by all of them.
    pub(crate) fn must_not(&self, line: &LineView) -> Vec<MustNot> {
        let mut found: Vec<MustNot> = match line.line.as_deref() {
            Some(Line::Planned(_)) => {
                self.run.line_values(&line.id).iter().flat_map(|line| must_not_of(line).to_vec()).collect()
            }
            Some(Line::ByHand(hand)) => self.of_household(hand.alias.as_ref()),
            None => Vec::new(),
        };
        found.sort();
        found.dedup();
        found
    }

    /// What a household must not have, as far as the trip's lines say.
    pub(crate) fn of_household(&self, alias: Option<&Alias>) -> Vec<MustNot> {
        let all = self.view.lines.iter().filter_map(|line| line.line.as_deref()).flat_map(must_not_of);
        let of = all.filter(|one| alias.is_some_and(|alias| one.alias == *alias));
        of.map(|one| MustNot { alert: false, ..one.clone() }).collect()
    }

    /// As a person reads it.
    pub(crate) fn text(&self) -> Vec<String> {
        let letters = find::short(&self.entry.id, self.entry.log);
        let spent = self.spent().map(|spent| format!(", {spent} {} spent", spent.currency)).unwrap_or_default();
        let left = match self.left() {
            0 => "nothing left to get".to_owned(),
            left => format!("{left} of {} to get", self.view.lines.iter().filter(|line| !line.withdrawn).count()),
        };
        let mut text = vec![format!("{} ({letters}): {left}{spent}; {}", self.entry.title, self.sync_word())];
        let mut head = None;
        for line in &self.view.lines {
            let (section, store) = place(line);
            if head.as_ref() != Some(&(section.clone(), store.clone())) {
                text.push(String::new());
                let at = store.as_ref().map(|store| format!(" ({store})")).unwrap_or_default();
                let claims = [Some(Claimed::Section(section.clone())), store.clone().map(Claimed::Store)];
                let taken = claims.iter().flatten().find_map(|what| self.claims.get(what));
                let taken =
                    taken.map(|device| format!(", taken by {}", self.name_or_letters(*device))).unwrap_or_default();
                text.push(format!("{section}{at}{taken}"));
                head = Some((section, store));
            }
            self.line_text(line, &mut text);
        }
        self.rest_text(&mut text);
        text
    }

    fn sync_word(&self) -> String {
        match (&self.entry.relay, self.to_send) {
            (None, _) => "on this device".to_owned(),
            (Some(_), 0) => "sent".to_owned(),
            (Some(_), more) => format!("{more} to send"),
        }
    }

    fn line_text(&self, line: &LineView, text: &mut Vec<String>) {
        let state = line.standing.state;
        let word = match state {
            LineState::ToGet | LineState::Got => String::new(),
            LineState::Withdrawn => " [no longer needed]".to_owned(),
            LineState::WithdrawnButBought => " [no longer needed, but bought]".to_owned(),
            other => format!(" [{}]", state_word(other)),
        };
        let (food, said) = match line.line.as_deref() {
            Some(Line::Planned(plan)) => (plan.food.clone(), plan.text.clone()),
            Some(Line::ByHand(hand)) => (hand.food.clone(), hand.text.clone()),
            None => ("a line that is not on this device".to_owned(), String::new()),
        };
        let said = if said.is_empty() { String::new() } else { format!(": {said}") };
        text.push(format!("  {} {food}{said}{word} [{}]", mark(state), find::line_letters(&self.view, line)));
        let mut below = |more: String| text.push(format!("        {more}"));
        if let Some(left) = line.standing.left.filter(|_| state == LineState::Part) {
            below(format!("still to get: {}", left.show(self.units)));
        }
        self.details(line).into_iter().for_each(&mut below);
        line.picks.iter().map(|(id, pick)| self.pick_text(*id, pick, line, "")).for_each(&mut below);
        line.struck.iter().map(|(id, pick)| self.pick_text(*id, pick, line, "undone: ")).for_each(&mut below);
    }

    /// For whom, what it must not contain, and what may stand in for it.
    fn details(&self, line: &LineView) -> Vec<String> {
        let mut details = Vec::new();
        match line.line.as_deref() {
            Some(Line::Planned(plan)) => {
                let shares = plan.shares.iter().map(|share| match share.need {
                    Some(need) => format!("{} {}", self.whom(&share.alias), need.show(self.units)),
                    None => self.whom(&share.alias),
                });
                details.push(format!("for {}", shares.collect::<Vec<_>>().join(", ")));
                if plan.check {
                    details.push("make sure we have".to_owned());
                }
                if plan.optional {
                    details.push("may be left out".to_owned());
                }
                if !plan.contains.is_empty() {
                    details.push(format!("contains {}", plan.contains.join(", ")));
                }
                if plan.read_label {
                    details.push("read the label: its allergens are not recorded in full".to_owned());
                }
                if plan.ask {
                    details.push("no sub, ask".to_owned());
                } else if !plan.subs.is_empty() {
                    details.push(format!("cleared subs: {}", plan.subs.join("; ")));
                }
            }
            Some(Line::ByHand(hand)) => {
                details.extend(hand.alias.as_ref().map(|alias| format!("for {}", self.whom(alias))));
                details.push("added by hand".to_owned());
            }
            None => {}
        }
        let must_not = self.must_not(line);
        let (alerts, plain): (Vec<_>, Vec<_>) = must_not.iter().partition(|one| one.alert);
        for alert in alerts {
            details.push(format!("ALLERGY ALERT: {} must not have {}", self.whom(&alert.alias), alert.what));
        }
        if !plain.is_empty() {
            let what = plain.iter().map(|one| format!("{} ({})", one.what, one.alias)).collect::<Vec<_>>().join(", ");
            details.push(format!("must not contain {what}"));
        }
        if self.disputed.contains(line.id.as_str()) {
            details.push("two plans say different things of it: bring the trip up to date again".to_owned());
        }
        let claimed = self.claims.get(&Claimed::Line(line.id.clone()));
        details.extend(claimed.map(|device| format!("taken by {}", self.name_or_letters(*device))));
        details
    }

    fn pick_text(&self, id: PickId, pick: &Pick, line: &LineView, before: &str) -> String {
        let who = self.name_or_letters(id.device);
        let alerts = match &pick.what {
            Taken::Sub { instead, .. } => self.judge.allergies(instead, &self.must_not(line)),
            _ => Vec::new(),
        };
        let alerts: Vec<&str> = alerts.iter().map(super::judge::Alert::text).collect();
        let alerts = if alerts.is_empty() { String::new() } else { format!("; {}", alerts.join("; ")) };
        format!("{before}{who} {}{alerts} <{}>", taken_text(pick), find::pick_letters(&self.view, id))
    }

    fn rest_text(&self, text: &mut Vec<String>) {
        let notes = self.run.notes();
        if !notes.is_empty() {
            text.push(String::new());
        }
        for (id, note) in notes {
            let line = note.line.as_ref().and_then(|line| self.view.lines.iter().find(|one| one.id == *line));
            let about = line
                .and_then(|line| line.line.as_deref())
                .map(|line| format!(" ({})", line.food()))
                .unwrap_or_default();
            text.push(format!("{}{about}: {}", self.name_or_letters(id.device), note.text));
        }
        for (id, receipt) in self.run.receipts() {
            let whom = receipt.alias.as_ref().map(|alias| format!(" for {}", self.whom(alias))).unwrap_or_default();
            let (total, currency) = (receipt.total, receipt.total.currency);
            text.push(format!(
                "{} paid {total} {currency} at {}{whom}",
                self.name_or_letters(id.device),
                receipt.store
            ));
        }
        if !self.view.unreadable.is_empty() {
            text.push(format!(
                "{} records here cannot be read by this version; they are kept: update trug to see them",
                self.view.unreadable.len()
            ));
        }
    }

    /// What the chef calls a household that is named by its id, its name or its alias.
    pub(crate) fn alias(&self, asked: &str) -> Result<Alias, super::DeviceError> {
        let low = asked.trim().to_lowercase();
        let chef = self.households.iter().find(|(alias, (id, name))| {
            alias.as_str().to_lowercase() == low || id.as_str() == low || name.to_lowercase() == low
        });
        if let Some((alias, _)) = chef {
            return Ok(alias.clone());
        }
        let known: BTreeSet<String> = self.view.lines.iter().flat_map(aliases_of).collect();
        let found = known.iter().find(|alias| alias.to_lowercase() == low).and_then(|alias| Alias::new(alias).ok());
        found.ok_or_else(|| {
            let known: Vec<String> = known.into_iter().collect();
            super::DeviceError::Asked(format!(
                "no household of this trip is called `{asked}`; there is {}",
                known.join(", ")
            ))
        })
    }

    /// The household behind an alias, on the chef's devices.
    pub(crate) fn household(&self, alias: &Alias) -> Option<&HouseholdId> {
        self.households.get(alias).map(|(id, _)| id)
    }
}

fn role_word(home: &Home, entry: &Entry) -> &'static str {
    match home.device.role(&entry.id) {
        _ if entry.owned => "chef",
        Some(Role::Helper) | None => "helper",
        Some(Role::Client) => "client",
        Some(Role::OwnDevice) => "own device",
    }
}

fn households(home: &Home, entry: &Entry, kitchen: &Kitchen) -> BTreeMap<Alias, (HouseholdId, String)> {
    let name = |id: &HouseholdId| kitchen.households.get(id).map_or_else(String::new, |one| one.name.clone());
    home.device.aliases(&entry.id, kitchen).into_iter().map(|(alias, id)| (alias, (id.clone(), name(&id)))).collect()
}

fn must_not_of(line: &Line) -> &[MustNot] {
    match line {
        Line::Planned(plan) => &plan.must_not,
        Line::ByHand(_) => &[],
    }
}

fn place(line: &LineView) -> (String, Option<String>) {
    match line.line.as_deref() {
        Some(Line::Planned(plan)) => (plan.section.clone(), plan.store.clone()),
        Some(Line::ByHand(hand)) => (format!("{} (by hand)", hand.section), None),
        None => ("bought, but on no list here".to_owned(), None),
    }
}

/// What a pick says, in words.
pub(crate) fn taken_text(pick: &Pick) -> String {
    let how_much = |quantity: &Quantity| match quantity {
        Quantity::Whole(_) => "it".to_owned(),
        Quantity::Part(Some(amount)) => amount.as_written(),
        Quantity::Part(None) => "some".to_owned(),
    };
    let paid =
        |price: &Option<Money>| price.map(|price| format!(" for {price} {}", price.currency)).unwrap_or_default();
    let mut text = match &pick.what {
        Taken::Got { amount, price, .. } => format!("got {}{}", how_much(amount), paid(price)),
        Taken::AtHome { amount } => format!("found {} at home", how_much(amount)),
        Taken::Sub { instead, amount: Quantity::Whole(_), price, .. } => {
            format!("took {instead} instead{}", paid(price))
        }
        Taken::Sub { instead, amount, price, .. } => {
            format!("took {instead} instead of {}{}", how_much(amount), paid(price))
        }
        Taken::NoneThere => "found none".to_owned(),
    };
    if !pick.aliases.is_empty() {
        let whom: Vec<&str> = pick.aliases.iter().map(Alias::as_str).collect();
        text.push_str(&format!(", for {} alone", whom.join(", ")));
    }
    text.push_str(&pick.store.as_ref().map(|store| format!(" at {store}")).unwrap_or_default());
    text.push_str(&pick.label.as_ref().map(|label| format!("; the label says: {}", label.says)).unwrap_or_default());
    text
}

fn must_not_json(one: &MustNot) -> Value {
    json!({ "alias": one.alias.as_str(), "what": one.what, "alert": one.alert })
}

fn packs_json(packs: &[Pack]) -> Vec<Value> {
    packs.iter().map(|pack| json!({ "count": pack.count, "size": pack.size })).collect()
}

fn said_json(line: &Line) -> Value {
    match line {
        Line::Planned(plan) => json!({
            "by_hand": false,
            "food": plan.food, "text": plan.text, "section": plan.section, "store": plan.store, "keep": plan.keep.name(),
            "want": amount_json(plan.want), "packs": packs_json(&plan.packs), "cost": money_json(plan.cost),
            "for": plan.shares.iter().map(|share| json!({ "alias": share.alias.as_str(), "need": amount_json(share.need) })).collect::<Vec<_>>(),
            "separate": plan.separate.as_ref().map(Alias::as_str),
            "contains": plan.contains, "read_label": plan.read_label,
            "subs": plan.subs, "ask": plan.ask, "check": plan.check, "optional": plan.optional,
        }),
        Line::ByHand(hand) => merge(
            missing_json(),
            json!({
                "by_hand": true, "food": hand.food, "text": hand.text, "section": hand.section,
                "for": hand.alias.iter().map(|alias| json!({ "alias": alias.as_str(), "need": null })).collect::<Vec<_>>(),
            }),
        ),
    }
}

/// A line that picks name and that is not here.
fn missing_json() -> Value {
    json!({
        "by_hand": false, "food": null, "text": null, "section": null, "store": null, "keep": null, "want": null,
        "packs": [], "cost": null, "for": [], "separate": null, "contains": [], "read_label": false,
        "subs": [], "ask": false, "check": false, "optional": false,
    })
}

/// The members of both; the second's where both have one.
pub(crate) fn merge(first: Value, second: Value) -> Value {
    match (first, second) {
        (Value::Object(mut first), Value::Object(second)) => {
            first.extend(second);
            Value::Object(first)
        }
        (_, second) => second,
    }
}
