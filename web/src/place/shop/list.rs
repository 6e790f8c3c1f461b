//! The list: sections in walking order, then what was not to be had, what is got, and what is no longer needed.

use std::collections::HashSet;
use std::rc::Rc;

use trug_replica::id::LineId;
use yew::prelude::*;

use super::row::{Act, LineRow};
use super::scene::{Group, Item, Part, Stop, section_name, stops};
use super::seen::Seen;
use crate::later;
use crate::look::{Disclosure, Empty, Section, Shape, icon};
use crate::words::t;

/// Which rows are shown.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Filter {
    /// Words of the food.
    pub(super) query: String,
    /// Leave out what somebody else takes.
    pub(super) mine: bool,
    /// The store that the person is in: what is for another store stands apart.
    pub(super) store: Option<String>,
}

/// What the list shows.
#[derive(Clone, PartialEq)]
pub(super) struct Shows {
    pub(super) seen: Rc<Seen>,
    /// Rows that were got a moment ago, and stay where they are for another.
    pub(super) lingering: Rc<HashSet<LineId>>,
    pub(super) filter: Filter,
    /// What is got is left out.
    pub(super) hide: bool,
    /// It was begun on this device's own account, and nobody else fills it.
    pub(super) own: bool,
}

impl Shows {
    /// The rows that the search and the filter leave.
    fn fitting(&self) -> impl Iterator<Item = &Rc<Item>> {
        let folded = folding();
        let words = folded(&self.filter.query);
        self.seen.items.iter().filter(move |item| {
            let found = words.is_empty() || folded(&item.row.food).contains(&words);
            let others = item.taker.is_some_and(|taker| taker != self.seen.who.me);
            found && !(self.filter.mine && others)
        })
    }

    /// The rows of a group; what was got a moment ago counts as where it was.
    fn of(&self, group: Group) -> Vec<&Rc<Item>> {
        let stands = |item: &Item| match item.group {
            Group::Got if self.lingering.contains(&item.id) => Group::ToGet,
            group => group,
        };
        self.fitting().filter(|item| stands(item) == group).collect()
    }

    /// Whether a row is for another store than the one that the person is in.
    fn is_elsewhere(&self, item: &Item) -> bool {
        let here = self.filter.store.as_deref();
        here.is_some_and(|here| item.store.as_deref().is_some_and(|store| store != here))
    }
}

/// How words are compared in a search: as the catalogue does, once it is here.
fn folding() -> fn(&str) -> String {
    later::here().map_or(|text| text.trim().to_ascii_lowercase(), |later| later.fold)
}

#[derive(Properties, PartialEq)]
pub(super) struct ListProps {
    pub(super) shows: Shows,
    pub(super) on_act: Callback<Act>,
}

#[component]
pub(super) fn List(props: &ListProps) -> Html {
    let shows = &props.shows;
    let (elsewhere, here): (Vec<_>, Vec<_>) =
        shows.of(Group::ToGet).into_iter().partition(|item| shows.is_elsewhere(item));
    let (here, elsewhere) = (stops(here), stops(elsewhere));
    let named = here.iter().filter(|stop| stop.store.is_some()).count() > 1 || shows.filter.store.is_some();
    let look = shows.of(Group::Look);
    html! { <>
        if !look.is_empty() {
            <Section title={t!("shop.look")} count={AttrValue::from(look.len().to_string())}>{ rows(props, &look) }</Section>
        }
        { nothing(shows, here.is_empty() && elsewhere.is_empty() && look.is_empty()) }
        { for here.iter().map(|stop| html! { <>
            if let Some(store) = stop.store.filter(|_| named) { <p class="shop-store">{ store }</p> }
            { for stop.parts.iter().map(|part| section(props, stop, part)) }
        </> }) }
        { for elsewhere.iter().map(|stop| other_store(props, stop)) }
        { nowhere(props) }
        if !shows.hide { <Folded title={t!("shop.got_group")} group={Group::Got} shows={shows.clone()} on_act={props.on_act.clone()} /> }
        <Folded title={t!("shop.no_longer")} group={Group::Gone} shows={shows.clone()} on_act={props.on_act.clone()} />
    </> }
}

fn rows(props: &ListProps, items: &[&Rc<Item>]) -> Html {
    let still = props.shows.seen.read_only;
    html! { { for items.iter().map(|item| html! {
        <LineRow key={item.id.as_str()} row={item.row.clone()} on_act={props.on_act.clone()} {still} />
    }) } }
}

/// Nothing is to get: because all is got, because nothing fits, or because there is nothing yet.
fn nothing(shows: &Shows, none: bool) -> Html {
    if !none {
        return Html::default();
    }
    let seen = &shows.seen;
    if !shows.filter.query.trim().is_empty() {
        return html! { <p class="shop-none">{ t!("common.nothing_found", words = shows.filter.query) }</p> };
    }
    match (seen.items.is_empty(), seen.count(Group::ToGet)) {
        (true, _) => {
            let text = if shows.own { t!("shop.blank_own") } else { t!("shop.blank_text") };
            html! { <Empty title={t!("shop.blank")} {text} icon={Shape::Basket} /> }
        }
        (false, 0) => {
            html! { <p class="shop-none">{ icon(Shape::Tick) }<span>{ t!("shop.all_got") }</span></p> }
        }
        (false, _) => html! { <p class="shop-none">{ t!("shop.others_rest") }</p> },
    }
}

/// A section, with what is left in it, who takes it, and the caution that belongs to it.
fn section(props: &ListProps, stop: &Stop<'_>, part: &Part<'_>) -> Html {
    let seen = &props.shows.seen;
    let left = part.items.iter().filter(|item| item.group == Group::ToGet).count();
    let mut count =
        if left == 0 { t!("shop.all_got").to_string() } else { t!("shop.left_in", count = left).to_string() };
    if let Some(taker) = seen.section_taker(part.section) {
        count = format!("{count} · {}", t!("shop.takes", who = seen.who.person(taker)));
    }
    let key = format!("{}/{}", stop.store.unwrap_or_default(), part.section);
    html! {
        <Section {key} title={section_name(part.section)} count={AttrValue::from(count)} rows={part.items.len()}>
            { caution(part) }
            { rows(props, &part.items) }
        </Section>
    }
}

fn caution(part: &Part<'_>) -> Html {
    let hint =
        |shape: Shape, text: AttrValue| html! { <p class="shop-caution">{ icon(shape) }<span>{ text }</span></p> };
    if part.items.iter().any(|item| item.raw) {
        return hint(Shape::Care, t!("shop.raw_apart"));
    }
    // Most of it is cold: what is a hint in the dairy is noise beside one chilled herb.
    let cold = part.items.iter().filter(|item| item.cold).count();
    if cold * 2 > part.items.len() { hint(Shape::Cold, t!("shop.last_picked")) } else { Html::default() }
}

/// What is for another store, folded.
fn other_store(props: &ListProps, stop: &Stop<'_>) -> Html {
    let store = stop.store.unwrap_or_default();
    html! {
        <Disclosure key={format!("other/{store}")} title={t!("shop.other_store", store = store)} count={t!("shop.left_in", count = stop.len())}>
            { for stop.parts.iter().map(|part| section(props, stop, part)) }
        </Disclosure>
    }
}

fn nowhere(props: &ListProps) -> Html {
    let items = props.shows.of(Group::Nowhere);
    if items.is_empty() {
        return Html::default();
    }
    html! { <Section title={t!("shop.none")} count={AttrValue::from(items.len().to_string())}>{ rows(props, &items) }</Section> }
}

#[derive(Properties, PartialEq)]
struct FoldedProps {
    title: AttrValue,
    group: Group,
    shows: Shows,
    on_act: Callback<Act>,
}

/// A group that is folded until somebody wants to see it; its rows are made only then.
#[component]
fn Folded(props: &FoldedProps) -> Html {
    let open = use_state(|| false);
    let items = props.shows.of(props.group);
    if items.is_empty() {
        return Html::default();
    }
    let on_turn = {
        let open = open.setter();
        Callback::from(move |on| open.set(on))
    };
    let list = ListProps { shows: props.shows.clone(), on_act: props.on_act.clone() };
    html! {
        <div class="shop-folded no-paper">
            <Disclosure title={props.title.clone()} count={AttrValue::from(items.len().to_string())} {on_turn}>
                if *open { <div class="part-body" role="group" aria-label={props.title.clone()}>{ rows(&list, &items) }</div> }
            </Disclosure>
        </div>
    }
}
