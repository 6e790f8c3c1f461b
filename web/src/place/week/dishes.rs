//! The dishes, to look through.

use std::rc::Rc;

use trug_catalog::fold;
use trug_provision::kitchen::Dish;
use yew::prelude::*;

use super::form::shown;
use super::page::{Page, Tab};
use crate::desk::kitchen::KitchenNow;
use crate::look::{Empty, Field, Input, Kind, Section, Shape};
use crate::place::links::{Row, Way};
use crate::words::t;

#[derive(Properties, PartialEq)]
pub(super) struct DishesProps {
    pub(super) now: Rc<KitchenNow>,
}

/// The dishes.
#[component]
pub(super) fn Dishes(props: &DishesProps) -> Html {
    let search = use_state(String::new);
    let kitchen = &props.now.kitchen;
    let on_input = {
        let search = search.setter();
        Callback::from(move |text| search.set(text))
    };
    let new = html! { <Way to="week/dishes/new" words={t!("dish.new")} icon={Shape::Plus} kind={Kind::Main} /> };
    let wanted = fold(&search);
    let mut found: Vec<_> = kitchen.dishes.iter().filter(|(_, dish)| fold(&dish.title).contains(&wanted)).collect();
    found.sort_by_key(|(_, dish)| fold(&dish.title));
    html! {
        <Page title={t!("dish.title")} tab={Tab::Dishes}>
            if kitchen.dishes.is_empty() {
                <Empty title={t!("dish.empty_title")} text={t!("dish.empty_text")} icon={Shape::Note}>{ new }</Empty>
            } else {
                <div class="strip">{ new }</div>
                <Field label={t!("dish.search")} input={Input::Search} value={(*search).clone()} {on_input} />
                if found.is_empty() {
                    <p aria-live="polite">{ t!("common.nothing_found", words = *search) }</p>
                } else {
                    <Section title={t!("dish.title")} count={found.len().to_string()}>
                        { for found.into_iter().map(|(id, dish)| html! {
                            <Row key={id.as_str()} to={format!("week/dish/{id}")} name={dish.title.clone()} text={made(dish)} />
                        }) }
                    </Section>
                }
            }
        </Page>
    }
}

/// How much a dish makes, and how long it keeps.
pub(super) fn made(dish: &Dish) -> AttrValue {
    let serves = dish.serves.map(|serves| t!("dish.serves", count = shown(serves)));
    let makes = dish.makes.as_ref().map(|makes| {
        let amount = trug_measure::Amount::new(makes.value, makes.unit).as_written();
        t!("dish.makes", amount = format!("{amount} {}", makes.of).trim_end())
    });
    let keeps = dish.notes.iter().find(|(key, _)| key.eq_ignore_ascii_case("keeps"));
    let keeps = keeps.map(|(_, value)| AttrValue::from(format!("{}: {value}", t!("dish.keeps"))));
    let parts: Vec<AttrValue> = [serves, makes, keeps].into_iter().flatten().collect();
    parts.join(" · ").into()
}
