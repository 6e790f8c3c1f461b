//! Who takes which section, and which store somebody is in.

use std::rc::Rc;

use trug_device::Plan;
use trug_provision::kitchen::Kitchen;
use trug_replica::id::DeviceId;
use trug_replica::run::Claimed;
use yew::prelude::*;

use super::hands::Hands;
use super::scene::{Group, section_name};
use super::seen::Seen;
use crate::look::{Button, Choice, Notice, Pick, Select, Sheet, Tone};
use crate::words::t;

#[derive(Properties, PartialEq)]
pub(super) struct SplitProps {
    pub(super) hands: Hands,
    pub(super) seen: Rc<Seen>,
    pub(super) on_close: Callback<()>,
}

/// A section with what decides who takes it.
struct Side<'a> {
    section: &'a str,
    left: usize,
    cold: bool,
}

/// The sections in walking order.
fn sides(seen: &Seen) -> Vec<Side<'_>> {
    let mut sides: Vec<Side<'_>> = Vec::new();
    for item in seen.items.iter().filter(|item| item.group != Group::Gone) {
        let left = usize::from(item.group == Group::ToGet);
        match sides.iter_mut().find(|side| side.section == item.section) {
            Some(side) => {
                side.left += left;
                side.cold |= item.cold;
            }
            None => sides.push(Side { section: &item.section, left, cold: item.cold }),
        }
    }
    sides
}

/// Each section goes to one person.
#[component]
pub(super) fn Split(props: &SplitProps) -> Html {
    let seen = &props.seen;
    let sides = sides(seen);
    let people = seen.people();
    let mut options = vec![Pick::new("", t!("shop.nobody"))];
    options.extend(people.iter().map(|device| Pick::new(device.to_string(), seen.who.person(*device))));
    let cold: Vec<Claimed> = claims(sides.iter().filter(|side| side.cold));
    let warm: Vec<Claimed> = claims(sides.iter().filter(|side| !side.cold));
    let other = people.iter().copied().find(|device| *device != seen.who.me);
    let quick = |label: AttrValue, mine: Vec<Claimed>, theirs: Vec<Claimed>| {
        let (hands, me) = (props.hands.clone(), seen.who.me);
        let on_press = Callback::from(move |_: MouseEvent| {
            // A trip that cannot be written says so at its top.
            let _ = hands.claim(&mine, Some(me));
            let _ = other.map(|other| hands.claim(&theirs, Some(other)));
        });
        html! { <Button {label} {on_press} /> }
    };
    html! {
        <Sheet title={t!("shop.split")} close={t!("common.close")} on_close={props.on_close.clone()}>
            <p>{ t!("shop.split_text") }</p>
            if other.is_none() { <Notice>{ t!("shop.split_alone") }</Notice> }
            <div class="strip">
                { quick(t!("shop.take_cold_me"), cold.clone(), warm.clone()) }
                if let Some(other) = other {
                    { quick(t!("shop.take_cold", who = seen.who.person(other)), warm, cold) }
                }
            </div>
            { for sides.iter().map(|side| one(props, side, &options)) }
        </Sheet>
    }
}

fn claims<'a>(sides: impl Iterator<Item = &'a Side<'a>>) -> Vec<Claimed> {
    sides.map(|side| Claimed::Section(side.section.to_owned())).collect()
}

fn one(props: &SplitProps, side: &Side<'_>, options: &[Pick]) -> Html {
    let taker = props.seen.section_taker(side.section);
    let on_choose = {
        let (hands, what) = (props.hands.clone(), Claimed::Section(side.section.to_owned()));
        Callback::from(move |value: AttrValue| {
            // A trip that cannot be written says so at its top.
            let _ = hands.claim(std::slice::from_ref(&what), value.parse::<DeviceId>().ok());
        })
    };
    html! {
        <Select
            key={side.section}
            label={section_name(side.section)}
            hint={Some(t!("shop.left_in", count = side.left))}
            options={options.to_vec()}
            value={taker.map(|device| device.to_string()).unwrap_or_default()}
            {on_choose}
        />
    }
}

#[derive(Properties, PartialEq)]
pub(super) struct StoresProps {
    pub(super) hands: Hands,
    pub(super) seen: Rc<Seen>,
    pub(super) on_close: Callback<()>,
    /// Told in which store the person is now; `None` is all of them.
    pub(super) on_here: Callback<Option<String>>,
}

/// In which store somebody is, and for the chef, buying all of it elsewhere.
#[component]
pub(super) fn Stores(props: &StoresProps) -> Html {
    let wrong = use_state(|| None::<AttrValue>);
    let kitchen = props.hands.desk.kitchen().and_then(Result::ok);
    let mut names: Vec<String> = props.seen.stores().into_iter().map(str::to_owned).collect();
    for store in kitchen.iter().flat_map(|now| now.kitchen.stores.values()) {
        if !names.contains(&store.name) {
            names.push(store.name.clone());
        }
    }
    let mut options = vec![Pick::new("", t!("shop.stores_all"))];
    options.extend(names.into_iter().map(|name| Pick::new(name.clone(), name)));
    let on_here = props.on_here.reform(|value: AttrValue| (!value.is_empty()).then(|| value.to_string()));
    let follows = props.hands.desk.read(|device| device.follows(&props.hands.id));
    html! {
        <Sheet title={t!("shop.store_switch")} close={t!("common.close")} on_close={props.on_close.clone()}>
            <Choice
                label={t!("shop.store_here")}
                hint={Some(t!("shop.store_here_hint"))}
                {options}
                value={props.hands.store.clone().unwrap_or_default()}
                on_choose={on_here}
            />
            if let Some((now, plan)) = kitchen.as_ref().zip(follows) {
                { elsewhere(props, &now.kitchen, &plan, &wrong) }
            }
            if let Some(text) = &*wrong { <Notice tone={Tone::Trouble}>{ text }</Notice> }
        </Sheet>
    }
}

/// The chef may have everything that is still to get planned for another store.
fn elsewhere(props: &StoresProps, kitchen: &Kitchen, plan: &Plan, wrong: &UseStateHandle<Option<AttrValue>>) -> Html {
    let mut options = vec![Pick::new("", t!("shop.stores_cheapest"))];
    options.extend(kitchen.stores.iter().map(|(id, store)| Pick::new(id.to_string(), store.name.clone())));
    let on_choose = {
        let (hands, plan, wrong) = (props.hands.clone(), plan.clone(), wrong.setter());
        Callback::from(move |value: AttrValue| {
            let plan = Plan { store: (!value.is_empty()).then(|| value.to_string()), ..plan.clone() };
            let Some(Ok(now)) = hands.desk.kitchen() else { return };
            let done = hands.desk.act(|device, at, out| device.follow(at, &hands.id, &plan, &now.kitchen, out));
            wrong.set(done.err().map(|error| error.to_string().into()));
        })
    };
    html! {
        <Choice
            label={t!("shop.store_plan")}
            hint={Some(t!("shop.store_plan_hint"))}
            {options}
            value={plan.store.clone().unwrap_or_default()}
            {on_choose}
        />
    }
}
