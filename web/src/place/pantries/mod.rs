//! What is on hand: the kit and each client's pantry, and counting them.
//!
//! - `board`: what a pantry comes to. `measure`: amounts as they are written. `way`: the addresses.
//! - `overview`, `shelves`, `count`: the screens. `lot`, `form`, `put_away`: what opens over them.
//! - `hands`: what is done to a pantry, with a way back. `say`: how it is put into words. `parts`: what they share.

mod board;
mod count;
mod form;
mod hands;
mod lot;
mod measure;
mod overview;
mod parts;
mod put_away;
mod say;
mod shelves;
mod way;

use yew::prelude::*;

use self::count::Counting;
use self::overview::Overview;
use self::shelves::Shelves;
use self::way::Way;
use crate::app::Going;
use crate::desk::use_desk;
use crate::look::{Button, Kind, Shape};
use crate::words::t;

/// The screen. `rest` is what follows the place's name in the address.
#[derive(Properties, PartialEq)]
pub struct PantriesProps {
    /// Where in the place.
    #[prop_or_default]
    pub rest: AttrValue,
}

/// The screen.
#[component]
pub fn Pantries(props: &PantriesProps) -> Html {
    let desk = use_desk();
    // Who counts at home has one pantry, and nothing to choose from.
    let only = if desk.is_chef() { None } else { only(&say::pantries(&desk)) };
    match (way::read(&props.rest), only) {
        (Way::Count(doc, keep), _) => html! { <Counting key={props.rest.as_str()} {doc} {keep} /> },
        (Way::Lot(doc, lot), only) => {
            html! { <Shelves key={doc.as_str()} doc={doc.clone()} lot={Some(lot)} among_others={only.is_none()} /> }
        }
        (Way::One(doc), only) => {
            html! { <Shelves key={doc.as_str()} doc={doc.clone()} among_others={only.is_none()} /> }
        }
        (Way::All, Some(doc)) => html! { <Shelves key={doc.as_str()} doc={doc.clone()} among_others=false /> },
        (Way::All, None) => html! { <Overview /> },
    }
}

fn only(pantries: &[say::Pantry]) -> Option<trug_device::DocId> {
    match pantries {
        [one] => Some(one.doc.clone()),
        _ => None,
    }
}

/// The way back to a place of the app.
fn back_to(going: &Going, place: &str) -> Html {
    html! { <Button label={t!("common.back")} bare=true icon={Shape::Back} kind={Kind::Quiet} on_press={going.to(place)} /> }
}
