//! The shop: the trips, and the list of one of them.
//!
//! Everything about a trip is read from its own document, so that a helper, who has nothing else, shops as the chef does.
//! `seen` reads it once for each change; `scene` says what each row says and where it stands; the rest draws.

mod amounts;
mod aside;
mod cold;
mod decide;
mod figures;
mod hand;
mod hands;
mod heard;
mod instead;
mod line;
mod list;
mod over;
mod purse;
mod row;
#[cfg(test)]
mod sample;
mod scene;
mod seen;
mod split;
mod sub;
mod sums;
mod till;
mod tools;
mod trip;
mod trips;
mod who;
mod why;

use yew::prelude::*;

pub(crate) use aside::Aside;
pub use hands::Hands;
pub use over::OverList;
pub(crate) use over::behind;
pub(crate) use trips::trips;

use crate::app::Frame;
use crate::desk::use_desk;
use crate::later::{self, InTime, Scene};
use crate::words::t;
use trip::Trip;

/// Where a trip is shown, by its document's id.
#[must_use]
pub fn place_of(id: &str) -> String {
    format!("shop/trip/{id}")
}

/// The screen. `rest` is what follows the place's name in the address: nothing for the latest trip, `trips` for all of
/// them, `trip/` and a document's id for one.
#[derive(Properties, PartialEq)]
pub struct ShopProps {
    /// Where in the place.
    #[prop_or_default]
    pub rest: AttrValue,
}

/// The screen.
#[component]
pub fn Shop(props: &ShopProps) -> Html {
    let desk = use_desk();
    if let Some(id) = props.rest.strip_prefix("trip/") {
        return html! { <Trip key={id} id={id.to_owned()} /> };
    }
    let latest = desk.read(|device| {
        let trips = device.trips();
        // What is over is not what somebody opens the shop for.
        let open = trips.iter().find(|trip| !device.is_finished(&trip.id));
        open.or(trips.first()).map(|trip| trip.id.to_string())
    });
    match latest {
        Some(id) if props.rest.is_empty() => html! { <Trip key={id.as_str()} id={id.clone()} /> },
        _ => {
            let meanwhile = html! { <Frame place="shop" title={t!("shop.trips")}>{ later::opening() }</Frame> };
            html! { <InTime scene={Scene::Trips} {meanwhile} /> }
        }
    }
}
