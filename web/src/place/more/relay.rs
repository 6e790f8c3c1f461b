//! The relay of the chef's documents: which, and what it can and cannot see.

use trug_seal::WebAddress;
use wasm_bindgen_futures::spawn_local;
use yew::prelude::*;

use super::page::{Outcome, Page, Saying};
use crate::desk::{Desk, use_desk};
use crate::look::{Button, Confirm, Disclosure, Field, Input, Kind, Notice, Tone};
use crate::place::welcome::absolute;
use crate::platform::http;
use crate::words::t;

/// How long a relay may take to say that it is there, in milliseconds.
const PATIENCE: u32 = 8_000;

/// What somebody chose: an address, and the passcode that the relay wants of whoever begins a document there.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Chosen {
    pub(super) address: String,
    pub(super) passcode: String,
}

/// Sets the relay of all of the chef's documents; an empty address is none.
///
/// # Errors
/// What is wrong with the address, for a person.
pub(super) fn set(desk: &Desk, chosen: &Chosen) -> Result<(), String> {
    let address = match chosen.address.trim() {
        "" => None,
        text => Some(text.parse::<WebAddress>().map_err(|error| error.to_string())?),
    };
    desk.act(|device, now, out| {
        if let Some(address) = &address {
            device.set_passcode(address, chosen.passcode.trim(), out);
        }
        if device.relay() == address.as_ref() {
            return Ok(());
        }
        device.set_relay(now, address.as_ref(), out).map_err(|error| error.to_string())
    })
}

/// The address that the app came from, once it is known to be a relay as well.
#[hook]
pub(super) fn use_relay_here() -> Option<String> {
    let found = use_state(|| None::<String>);
    {
        let found = found.setter();
        use_effect_with((), move |()| {
            spawn_local(async move {
                if answers(&absolute("healthz")).await {
                    found.set(Some(absolute("").trim_end_matches('/').to_owned()));
                }
            });
        });
    }
    (*found).clone()
}

/// Whether a relay lives there. A host of files answers anything it does not know with a page.
async fn answers(health: &str) -> bool {
    match http::send("GET", health, &[], None, PATIENCE).await {
        Ok(answer) => answer.status == 200 && answer.body.starts_with(b"ok"),
        Err(_) => false,
    }
}

/// The fields.
#[derive(Properties, PartialEq)]
pub(super) struct RelayFieldsProps {
    pub(super) chosen: Chosen,
    pub(super) on_change: Callback<Chosen>,
}

/// Where the relay is, and its passcode.
#[component]
pub(super) fn RelayFields(props: &RelayFieldsProps) -> Html {
    let on_address = props.on_change.reform({
        let chosen = props.chosen.clone();
        move |address: String| Chosen { address, ..chosen.clone() }
    });
    let on_passcode = props.on_change.reform({
        let chosen = props.chosen.clone();
        move |passcode: String| Chosen { passcode, ..chosen.clone() }
    });
    let plain = props.chosen.address.trim().starts_with("http://");
    html! { <>
        <Field
            label={t!("share.relay")}
            hint={Some(t!("share.relay_hint"))}
            input={Input::Address}
            value={props.chosen.address.clone()}
            on_input={on_address}
        />
        if plain { <Notice tone={Tone::Care}>{ t!("share.relay_plain") }</Notice> }
        <Field
            label={t!("share.passcode")}
            hint={Some(t!("share.passcode_hint"))}
            value={props.chosen.passcode.clone()}
            on_input={on_passcode}
        />
    </> }
}

/// What a relay sees and what it does not, unfolded on every page that has to do with one.
#[component]
pub(super) fn RelaySees() -> Html {
    html! {
        <Disclosure title={t!("share.relay_sees_title")}>
            <div class="stack">
                <p>{ t!("share.relay_sees") }</p>
                <p>{ t!("share.relay_sees_not") }</p>
                <p>{ t!("share.relay_keeps") }</p>
            </div>
        </Disclosure>
    }
}

/// The page: changing the relay, or doing without.
#[component]
pub(super) fn RelayPage() -> Html {
    let desk = use_desk();
    let here = use_relay_here();
    let now = desk.read(|device| device.relay().map(ToString::to_string));
    let typed = use_state(|| None::<Chosen>);
    let outcome = use_state(|| None::<Outcome>);
    let asking = use_state(|| false);
    let first = Chosen { address: now.clone().or(here).unwrap_or_default(), passcode: String::new() };
    let chosen = (*typed).clone().unwrap_or(first);
    let on_change = {
        let typed = typed.setter();
        Callback::from(move |chosen| typed.set(Some(chosen)))
    };
    let apply = {
        let (desk, outcome, typed) = (desk.clone(), outcome.setter(), typed.setter());
        Callback::from(move |chosen: Chosen| {
            outcome.set(Some(match set(&desk, &chosen) {
                Ok(()) if chosen.address.trim().is_empty() => Outcome::Done(t!("share.relay_none")),
                Ok(()) => Outcome::Done(t!("share.relay_set")),
                Err(why) => Outcome::Wrong(why.into()),
            }));
            typed.set(None);
        })
    };
    let submit = {
        let (apply, chosen) = (apply.clone(), chosen.clone());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            apply.emit(chosen.clone());
        })
    };
    let ask = |to: bool| {
        let asking = asking.setter();
        Callback::from(move |()| asking.set(to))
    };
    let without = {
        let asking = asking.setter();
        Callback::from(move |()| {
            asking.set(false);
            apply.emit(Chosen::default());
        })
    };
    html! {
        <Page title={t!("share.relay")}>
            <p>{ t!("share.relay_text") }</p>
            <p class="strong">{ now.as_ref().map_or_else(|| t!("share.relay_none"), |at| t!("share.relay_now", at = at)) }</p>
            <Saying outcome={(*outcome).clone()} />
            <form class="welcome-form" onsubmit={submit}>
                <RelayFields {chosen} {on_change} />
                <div class="strip">
                    <Button label={t!("share.relay_use")} kind={Kind::Main} submit=true />
                    if now.is_some() {
                        <Button label={t!("share.relay_stop")} on_press={ask(true).reform(|_: MouseEvent| ())} />
                    }
                </div>
            </form>
            <RelaySees />
            if *asking {
                <Confirm
                    title={t!("share.relay_stop_ask")}
                    text={t!("share.relay_stop_text")}
                    deed={t!("share.relay_stop")}
                    leave={t!("common.leave")}
                    on_deed={without}
                    on_leave={ask(false)}
                />
            }
        </Page>
    }
}
