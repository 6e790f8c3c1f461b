//! Week: services with their menus and budgets, the list that they come to, dishes, households, and what else a kitchen
//! is made of. Every edit is written at once, and the shopping trips that follow the plan are brought up to date.

mod dish;
mod dishes;
mod files;
mod foods;
mod form;
mod guarded;
mod hand;
mod household;
mod list;
mod page;
mod plan;
mod prices;
mod reading;
mod recipe;
pub(super) mod save;
mod service;
mod stores;
mod swaps;
mod tidy;
mod trip;
mod weeks;

pub use trip::trip_title;

use std::rc::Rc;

use yew::prelude::*;

use crate::desk::kitchen::KitchenNow;
use crate::desk::use_desk;
use crate::words::t;

use dish::DishPage;
use dishes::Dishes;
use files::Files;
use foods::{FoodPage, Foods};
use hand::WithHand;
use household::{HouseholdPage, Households};
use list::ListPage;
use page::{Gone, Page, Tab};
use plan::WeekPage;
use prices::Prices;
use recipe::RecipePage;
use service::ServicePage;
use stores::{StorePage, Stores};
use weeks::Weeks;

/// The screen. `rest` is what follows the place's name in the address.
#[derive(Properties, PartialEq)]
pub struct WeekProps {
    /// Where in the place.
    #[prop_or_default]
    pub rest: AttrValue,
}

/// The screen.
#[component]
pub fn Week(props: &WeekProps) -> Html {
    let desk = use_desk();
    let screen = match desk.kitchen() {
        _ if props.rest == "files" => html! { <Files problem={None::<AttrValue>} /> },
        Some(Ok(now)) => screen(&props.rest, &now),
        // Nobody is locked out: what is wrong is said, and the texts can be put right here.
        Some(Err(problem)) => html! { <Files problem={Some(AttrValue::from(problem))} /> },
        None => html! { <Page title={t!("week.title")} tab={Tab::Weeks}>{ t!("error.not_found") }</Page> },
    };
    html! { <WithHand>{ screen }</WithHand> }
}

fn screen(rest: &str, now: &Rc<KitchenNow>) -> Html {
    let now = now.clone();
    let parts: Vec<&str> = rest.split('/').collect();
    let own = |text: &str| AttrValue::from(text.to_owned());
    match *parts.as_slice() {
        [""] => html! { <Weeks {now} /> },
        ["list", id] => html! { <ListPage {now} id={own(id)} key={id} /> },
        ["service", id, at] => match at.parse::<usize>() {
            Ok(at) => html! { <ServicePage {now} id={own(id)} {at} key={rest} /> },
            Err(_) => html! { <Gone tab={Tab::Weeks} /> },
        },
        ["dishes"] => html! { <Dishes {now} /> },
        ["dishes", "new"] => html! { <RecipePage {now} id={None::<AttrValue>} key="new" /> },
        ["dish", id] => html! { <DishPage {now} id={own(id)} key={id} /> },
        ["dish", id, "edit"] => html! { <RecipePage {now} id={Some(own(id))} key={id} /> },
        ["households"] => html! { <Households {now} /> },
        ["households", "new"] => html! { <HouseholdPage {now} id={None::<AttrValue>} key="new" /> },
        ["household", id] => html! { <HouseholdPage {now} id={Some(own(id))} key={id} /> },
        ["foods"] => html! { <Foods {now} /> },
        ["food", ref name @ ..] => {
            let name = AttrValue::from(name.join("/"));
            html! { <FoodPage {now} name={name.clone()} key={name.as_str()} /> }
        }
        ["prices"] => html! { <Prices {now} /> },
        ["stores"] => html! { <Stores {now} /> },
        ["store", id] => html! { <StorePage {now} id={own(id)} key={id} /> },
        [id] => html! { <WeekPage {now} id={own(id)} key={id} /> },
        _ => html! { <Gone tab={Tab::Weeks} /> },
    }
}
