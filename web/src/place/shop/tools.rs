//! Everything about the trip as a whole.

use std::rc::Rc;

use yew::prelude::*;

use super::hands::Hands;
use super::over::Over;
use super::seen::Seen;
use super::trip::{HIDE, SLEEP, is_set};
use crate::app::use_going;
use crate::look::{Confirm, Leads, Section, Shape, Sheet, Toggle};
use crate::platform::share;
use crate::words::t;

#[derive(Properties, PartialEq)]
pub(super) struct ToolsProps {
    pub(super) hands: Hands,
    pub(super) seen: Rc<Seen>,
    pub(super) on_close: Callback<()>,
    pub(super) on_open: Callback<Over>,
}

#[component]
pub(super) fn Tools(props: &ToolsProps) -> Html {
    let going = use_going();
    let asked = use_state(|| false);
    let desk = &props.hands.desk;
    let remember = |name: &'static str, turned: bool| {
        let desk = desk.clone();
        Callback::from(move |on: bool| desk.prefer(name, if on == turned { "no" } else { "yes" }))
    };
    let leads = |shape: Shape, name: AttrValue, over: Over| {
        let on_press = props.on_open.reform(move |_: MouseEvent| over.clone());
        html! { <Leads icon={Some(shape)} {name} {on_press} /> }
    };
    let on_print = {
        let on_close = props.on_close.clone();
        Callback::from(move |_: MouseEvent| {
            on_close.emit(());
            print_soon();
        })
    };
    let chef = desk.is_chef();
    let over = desk.read(|device| device.is_finished(&props.hands.id));
    let joined = props.hands.id.as_str().starts_with("joined/");
    let ask = {
        let asked = asked.setter();
        Callback::from(move |_: MouseEvent| asked.set(true))
    };
    html! {
        <Sheet title={t!("shop.tools")} close={t!("common.close")} on_close={props.on_close.clone()}>
            <Toggle label={t!("shop.hide_got")} on={is_set(desk, HIDE)} on_change={remember(HIDE, false)} />
            <Toggle label={t!("shop.wake_on")} on={!is_set(desk, SLEEP)} on_change={remember(SLEEP, true)} />
            <Section title={t!("shop.title")}>
                { leads(Shape::People, t!("shop.split"), Over::Split) }
                { leads(Shape::Basket, t!("shop.store_switch"), Over::Stores) }
                { leads(Shape::Note, t!("shop.receipts"), Over::Till) }
                if chef { { leads(Shape::Note, t!("shop.money"), Over::Purse) } }
                <Leads icon={Some(Shape::Send)} name={t!("shop.share")} on_press={going.to(format!("more/share/{}", props.hands.id))} />
                <Leads icon={Some(Shape::Print)} name={t!("common.print")} on_press={on_print} />
                <Leads icon={Some(Shape::Basket)} name={t!("shop.trips")} on_press={going.to("shop/trips")} />
                if chef && !joined && !over { { leads(Shape::Tick, t!("shop.trip_done"), Over::Finish) } }
                if over { <Leads icon={Some(Shape::Undo)} name={t!("shop.trip_again")} on_press={reopen(props)} /> }
                if joined || over { <Leads icon={Some(Shape::Remove)} name={t!("shop.put_away")} on_press={ask} /> }
            </Section>
            if *asked { <PutAway hands={props.hands.clone()} on_leave={let asked = asked.setter(); Callback::from(move |()| asked.set(false))} /> }
        </Sheet>
    }
}

/// Once the dialog is gone from the page.
fn print_soon() {
    gloo::timers::callback::Timeout::new(150, || {
        // A browser without a printer does nothing.
        let _ = share::print();
    })
    .forget();
}

fn reopen(props: &ToolsProps) -> Callback<MouseEvent> {
    let (hands, on_close) = (props.hands.clone(), props.on_close.clone());
    Callback::from(move |_: MouseEvent| {
        // A book that cannot be written says so under More.
        let _ = hands.desk.act(|device, now, out| device.set_finished(now, &hands.id, false, out));
        on_close.emit(());
    })
}

#[derive(Properties, PartialEq)]
struct PutAwayProps {
    hands: Hands,
    on_leave: Callback<()>,
}

/// A trip that is over, or that this device was invited to, can be taken off it.
#[component]
fn PutAway(props: &PutAwayProps) -> Html {
    let going = use_going();
    let on_deed = {
        let (hands, go) = (props.hands.clone(), going.go.clone());
        Callback::from(move |()| {
            hands.desk.act(|device, now, out| {
                if hands.id.as_str().starts_with("joined/") {
                    device.leave(&hands.id, out);
                } else {
                    // A book that cannot be written keeps the trip.
                    let _ = device.put_away(now, &hands.id, out);
                }
            });
            go.emit("shop/trips".to_owned());
        })
    };
    html! {
        <Confirm
            title={t!("shop.put_away_ask")}
            text={t!("shop.put_away_text")}
            deed={t!("shop.put_away")}
            leave={t!("common.cancel")}
            danger=true
            {on_deed}
            on_leave={props.on_leave.clone()}
        />
    }
}

#[derive(Properties, PartialEq)]
pub(super) struct FinishProps {
    pub(super) hands: Hands,
    pub(super) left: usize,
    pub(super) on_close: Callback<()>,
}

/// The chef says that the trip is over.
#[component]
pub(super) fn Finish(props: &FinishProps) -> Html {
    let on_deed = {
        let (hands, on_close) = (props.hands.clone(), props.on_close.clone());
        Callback::from(move |()| {
            // A book that cannot be written says so under More.
            let _ = hands.desk.act(|device, now, out| device.set_finished(now, &hands.id, true, out));
            on_close.emit(());
        })
    };
    let left = (props.left > 0).then(|| t!("shop.trip_done_text", count = props.left));
    html! {
        <Confirm
            title={t!("shop.trip_done")}
            text={left.unwrap_or_default()}
            deed={t!("shop.trip_done")}
            leave={t!("common.cancel")}
            {on_deed}
            on_leave={props.on_close.clone()}
        >
            <p>{ t!("shop.trip_done_plan") }</p>
        </Confirm>
    }
}
