//! All shopping trips.

use trug_device::{DocId, Entry};
use trug_replica::run::LineState;
use yew::prelude::*;

use super::figures::day;
use super::place_of;
use crate::app::{Frame, use_going};
use crate::desk::{Desk, use_desk};
use crate::look::{Badge, Button, Empty, Kind, Leads, Notice, Section, Shape, Tone};
use crate::platform::clock;
use crate::words::t;

/// Of so many trips it is worked out what is left; the others are long over.
const MOST_COUNTED: usize = 8;

/// All shopping trips.
pub(crate) fn trips() -> Html {
    html! { <Trips /> }
}

#[component]
fn Trips() -> Html {
    let (desk, going) = (use_desk(), use_going());
    let wrong = use_state(|| None::<AttrValue>);
    let trips = desk.read(|device| device.trips());
    let on_new = {
        let (desk, go, wrong) = (desk.clone(), going.go.clone(), wrong.setter());
        Callback::from(move |_: MouseEvent| {
            let title = t!("shop.trip_of", date = day(&clock::today()));
            match desk.act(|device, now, out| device.new_trip(now, &title, out)) {
                Ok(id) => go.emit(place_of(id.as_str())),
                Err(error) => wrong.set(Some(error.to_string().into())),
            }
        })
    };
    let chef = desk.is_chef();
    html! {
        <Frame place="shop" title={t!("shop.trips")}>
            if let Some(text) = &*wrong { <Notice tone={Tone::Trouble}>{ text }</Notice> }
            if trips.is_empty() {
                <Empty
                    title={t!("shop.empty_title")}
                    text={if chef { t!("shop.empty_text") } else { t!("shop.empty_helper") }}
                    icon={Shape::Basket}
                >
                    if chef { <Button label={t!("shop.go_week")} kind={Kind::Main} on_press={going.to("week")} /> }
                    if !chef { <Button label={t!("start.paste")} on_press={going.to("more/join")} /> }
                </Empty>
            } else {
                <Section title={t!("shop.trips")}>
                    { for trips.iter().enumerate().map(|(at, trip)| one(&desk, &going, trip, at)) }
                </Section>
            }
            if chef { <div class="shop-end"><Button label={t!("shop.new_hand")} icon={Shape::Plus} on_press={on_new} /></div> }
        </Frame>
    }
}

fn one(desk: &Desk, going: &crate::app::Going, trip: &Entry, at: usize) -> Html {
    let name = if trip.title.is_empty() { t!("shop.title") } else { trip.title.clone().into() };
    let over = desk.read(|device| device.is_finished(&trip.id));
    let text = if at < MOST_COUNTED { left(desk, &trip.id) } else { Default::default() };
    html! {
        <Leads key={trip.id.to_string()} {name} {text} icon={Some(Shape::Basket)} on_press={going.to(place_of(trip.id.as_str()))}>
            if over { <Badge text={t!("shop.over")} /> }
            if !trip.owned { <Badge text={t!("shop.joined")} icon={Some(Shape::People)} /> }
        </Leads>
    }
}

fn left(desk: &Desk, id: &DocId) -> AttrValue {
    let states: Vec<LineState> = desk.read(|device| {
        let lines = device.run(id).map(|run| run.view().lines).unwrap_or_default();
        lines.into_iter().map(|line| line.standing.state).collect()
    });
    let left = states.iter().filter(|state| matches!(state, LineState::ToGet | LineState::Part)).count();
    if left == 0 && !states.is_empty() { t!("shop.all_got") } else { t!("shop.left", count = left) }
}
