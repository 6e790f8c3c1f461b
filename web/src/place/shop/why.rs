//! Why a line says what it says, for the chef: the dishes, the pantries, the packs.

use std::rc::Rc;

use trug_device::DocId;
use trug_measure::{Exact, kitchen_number};
use trug_provision::kitchen::{DishId, HouseholdId, Kitchen, PantryId, StoreId, WeekId};
use trug_provision::list::ListLine;
use trug_provision::why::{Asked, WhyLine, why};
use trug_provision::{Options, text};
use trug_replica::id::LineId;
use yew::prelude::*;

use super::figures::money;
use super::hands::Hands;
use super::seen::Seen;
use crate::desk::Desk;
use crate::look::Disclosure;
use crate::words::t;

#[derive(Properties, PartialEq)]
pub(super) struct WhyProps {
    pub(super) hands: Hands,
    pub(super) seen: Rc<Seen>,
    pub(super) line: LineId,
    pub(super) food: AttrValue,
}

/// Worked out when it is unfolded.
#[component]
pub(super) fn Why(props: &WhyProps) -> Html {
    let open = use_state(|| false);
    let on_turn = {
        let open = open.setter();
        Callback::from(move |on| open.set(on))
    };
    let lines = if *open { reasons(&props.hands.desk, &props.hands.id, &props.line) } else { Some(Vec::new()) };
    html! {
        <Disclosure title={t!("shop.why_title", food = props.food)} {on_turn}>
            { match lines {
                Some(lines) => html! { <ul class="shop-why">{ for lines.iter().map(|line| html! { <li>{ line }</li> }) }</ul> },
                None => html! { <p>{ t!("shop.why_none") }</p> },
            } }
        </Disclosure>
    }
}

/// The reasons; `None` where the plan as it is now does not have the line.
fn reasons(desk: &Desk, id: &DocId, line: &LineId) -> Option<Vec<AttrValue>> {
    let now = desk.kitchen()?.ok()?;
    let (planned, plan) = desk.read(|device| Some((device.planned(id, &now.kitchen).ok()?, device.follows(id)?)))?;
    let at = planned.lines.iter().position(|planned| planned.id == *line)?;
    let on_list = planned.list.lines.get(at)?;
    let options = Options { household: None, store: plan.store.as_deref().map(StoreId::new) };
    let all = why(&planned.kitchen, &WeekId::new(&plan.week), on_list.food, &options).ok()?;
    let found = all.into_iter().find(|why| why.line.tally == on_list.tally && why.line.separate == on_list.separate)?;
    Some(told(&planned.kitchen, &found))
}

fn told(kitchen: &Kitchen, why: &WhyLine<'_>) -> Vec<AttrValue> {
    let line = &why.line;
    let amount = |value: Exact| text::amount_text(kitchen, line, value);
    let mut told: Vec<AttrValue> = why.asked.iter().flat_map(|asked| asked_for(kitchen, asked)).collect();
    if let Some(need) = line.need {
        told.push(t!("shop.why_need", amount = amount(need)));
    }
    for (_, taking) in &why.takings {
        let whose = pantry(kitchen, taking.pantry);
        told.push(t!("shop.already_have", amount = amount(taking.amount), whose = whose));
    }
    if let Some(to_buy) = line.to_buy.filter(|to_buy| to_buy.is_positive()) {
        told.push(t!("shop.why_buy", amount = amount(to_buy)));
        told.push(t!("shop.packs_first", packs = text::line_text(kitchen, line)));
    }
    told.extend(paid(kitchen, line));
    told
}

fn asked_for(kitchen: &Kitchen, asked: &Asked<'_>) -> Vec<AttrValue> {
    let dish = match &asked.via {
        Some(via) => format!("{}, {}", dish(kitchen, &asked.dish), dish(kitchen, via)),
        None => dish(kitchen, &asked.dish),
    };
    let whom = table(kitchen, &asked.household);
    let portions = kitchen_number(asked.portions);
    let mut told = vec![t!("shop.why_asked", dish = dish, whom = whom, portions = portions, raw = asked.raw)];
    told.extend(asked.swapped.map(|swap| t!("shop.why_swapped", to = swap.to.text, from = swap.from.text)));
    told
}

fn paid(kitchen: &Kitchen, line: &ListLine) -> Vec<AttrValue> {
    let extra = line.buy.surplus.filter(|surplus| surplus.is_positive());
    let extra = extra.map(|surplus| t!("shop.extra", amount = text::amount_text(kitchen, line, surplus)));
    let cost = line.buy.cost.map(|cost| t!("shop.estimate", sum = money(cost)));
    let shares = line.shares.iter().filter(|_| line.shares.len() > 1);
    let shares: Vec<String> = shares.map(|(id, share)| format!("{} {}", table(kitchen, id), money(*share))).collect();
    let shares = (!shares.is_empty()).then(|| AttrValue::from(shares.join(", ")));
    [extra, cost, shares].into_iter().flatten().collect()
}

fn dish(kitchen: &Kitchen, id: &DishId) -> String {
    kitchen.dishes.get(id).map_or_else(|| id.to_string(), |dish| dish.title.clone())
}

fn table(kitchen: &Kitchen, id: &HouseholdId) -> String {
    let household = kitchen.households.get(id);
    household.map_or_else(|| id.to_string(), |one| one.short.clone().unwrap_or_else(|| one.name.clone()))
}

fn pantry(kitchen: &Kitchen, id: &PantryId) -> AttrValue {
    if kitchen.kit.as_ref() == Some(id) {
        return t!("pantry.whose_kit");
    }
    let owner = kitchen.households.iter().find(|(_, household)| household.pantry.as_ref() == Some(id));
    t!("pantry.whose", whose = owner.map_or_else(|| id.to_string(), |(id, _)| table(kitchen, id)))
}
