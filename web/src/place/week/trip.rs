//! Starting a shopping trip from a week's services.

use std::collections::BTreeSet;
use std::rc::Rc;

use trug_device::Plan;
use trug_provision::kitchen::{Kitchen, Week};
use trug_provision::text::household_name;
use yew::prelude::*;

use super::form::day;
use super::hand::use_hand;
use super::page::Wrong;
use crate::app::use_going;
use crate::desk::Desk;
use crate::desk::kitchen::KitchenNow;
use crate::look::{Button, Field, Kind, Notice, Pick, Select, Sheet, Toggle, Tone};
use crate::place::shop::place_of;
use crate::words::t;

/// The trips that follow a week, the latest first: their ids and titles.
pub(super) fn trips_of(desk: &Desk, week: &str) -> Vec<(AttrValue, AttrValue)> {
    desk.read(|device| {
        let trips = device.trips().into_iter();
        let own = trips.filter(|trip| device.follows(&trip.id).is_some_and(|plan| plan.week == week));
        own.map(|trip| (AttrValue::from(trip.id.to_string()), AttrValue::from(trip.title))).collect()
    })
}

/// The households that have a service in a week, in its order, each once, with the days of shopping.
fn tables(kitchen: &Kitchen, week: &Week) -> Vec<(String, AttrValue, AttrValue)> {
    let mut found: Vec<(String, AttrValue, AttrValue)> = Vec::new();
    for service in &week.services {
        let id = service.household.to_string();
        if !found.iter().any(|(other, ..)| *other == id) {
            let name = household_name(kitchen, &service.household).to_owned();
            found.push((id, name.into(), day(service.shop)));
        }
    }
    found
}

#[derive(Properties, PartialEq)]
pub(super) struct StartTripProps {
    pub(super) now: Rc<KitchenNow>,
    pub(super) id: AttrValue,
    pub(super) on_close: Callback<()>,
}

/// What a trip for a week is called: after its first day of shopping.
#[must_use]
pub fn trip_title(kitchen: &Kitchen, week: &str) -> String {
    let shop = kitchen.weeks.get(week).and_then(|week| week.services.iter().map(|service| service.shop).min());
    shop.map_or_else(String::new, |shop| t!("shop.trip_of", date = day(shop)).to_string())
}

/// For which households, at which store, under which name.
#[component]
pub(super) fn StartTrip(props: &StartTripProps) -> Html {
    let (hand, going) = (use_hand(), use_going());
    let kitchen = &props.now.kitchen;
    let week = kitchen.weeks.get(props.id.as_str());
    let left_out = use_state(BTreeSet::<String>::new);
    let store = use_state(AttrValue::default);
    let title = use_state(|| trip_title(kitchen, &props.id));
    let wrong = use_state(|| None::<AttrValue>);
    let all = week.map(|week| tables(kitchen, week)).unwrap_or_default();
    let chosen: Vec<String> = all.iter().map(|(id, ..)| id.clone()).filter(|id| !left_out.contains(id)).collect();
    let start = {
        let (hand, wrong, title, store) = (hand, wrong.clone(), title.clone(), store.clone());
        let (week, now) = (props.id.to_string(), props.now.clone());
        let (chosen, everybody) = (chosen.clone(), chosen.len() == all.len());
        Callback::from(move |_: MouseEvent| {
            let plan = Plan {
                week: week.clone(),
                households: if everybody { Vec::new() } else { chosen.clone() },
                store: (!store.is_empty()).then(|| store.to_string()),
            };
            let started =
                hand.desk().act(|device, at, out| device.start_trip(at, &now.kitchen, &plan, title.trim(), out));
            match started {
                Ok(id) => going.go.emit(place_of(id.as_str())),
                Err(error) => wrong.set(Some(error.to_string().into())),
            }
        })
    };
    let toggle = |id: &String| {
        let (left_out, id) = (left_out.clone(), id.clone());
        Callback::from(move |on: bool| {
            let mut next = (*left_out).clone();
            if on {
                next.remove(&id)
            } else {
                next.insert(id.clone())
            };
            left_out.set(next);
        })
    };
    let stores = kitchen.stores.iter().map(|(id, store)| Pick::new(id.to_string(), store.name.clone()));
    let options: Vec<Pick> = std::iter::once(Pick::new("", t!("week.any_store"))).chain(stores).collect();
    let choose_store = {
        let store = store.setter();
        Callback::from(move |id| store.set(id))
    };
    let on_title = {
        let title = title.setter();
        Callback::from(move |text| title.set(text))
    };
    let foot = html! {
        <Button label={t!("week.start_trip")} kind={Kind::Main} disabled={chosen.is_empty()} on_press={start} />
    };
    html! {
        <Sheet title={t!("week.start_trip")} close={t!("common.close")} on_close={props.on_close.clone()} {foot}>
            <div class="stack">
                <Wrong text={(*wrong).clone()} />
                <fieldset>
                    <legend class="choice-label">{ t!("week.start_which") }</legend>
                    { for all.iter().map(|(id, name, shop)| html! {
                        <Toggle key={id.as_str()} label={name.clone()} hint={Some(AttrValue::from(format!("{} {shop}", t!("week.shop_on"))))} on={!left_out.contains(id)} on_change={toggle(id)} />
                    }) }
                </fieldset>
                if chosen.is_empty() { <Notice tone={Tone::Care}><p>{ t!("week.start_none") }</p></Notice> }
                if kitchen.stores.len() > 1 {
                    <Select label={t!("shop.store")} {options} value={(*store).clone()} on_choose={choose_store} />
                }
                <Field label={t!("common.name")} value={(*title).clone()} on_input={on_title} />
                <p class="small soft">{ t!("safety.cold_last") }{ " " }{ t!("safety.raw_apart") }</p>
            </div>
        </Sheet>
    }
}
