//! Joining by a link, a code on another screen, or the recovery code on paper.

use std::rc::Rc;

use trug_device::DocId;
use trug_seal::{DocumentKind, Invitation, InvitationError, RecoveryCode, RecoveryError, WebAddress};
use yew::prelude::*;

use super::scan::Scan;
use crate::app::{Going, use_going};
use crate::desk::{Desk, use_desk};
use crate::look::{Button, Field, Kind, Notice, Shell, TextArea, Tone};
use crate::place::shop;
use crate::platform::{address, install, share};
use crate::words::{say, t};

/// Joining: what came with the address, or what is pasted or scanned here.
#[component]
pub fn Join() -> Html {
    let going = use_going();
    let text = use_state(|| going.invited.clone());
    if going.at.ends_with("join/recover") {
        return html! { <Page title={t!("start.recover")}><Recover /></Page> };
    }
    let read = {
        let text = text.setter();
        Callback::from(move |read: String| text.set(Some(Rc::from(read))))
    };
    let inner = match text.as_deref().map(Invitation::find) {
        Some(Ok(invitation)) => html! { <Offer invitation={Rc::new(Shown(invitation))} /> },
        Some(Err(error)) => html! { <>
            <Notice tone={Tone::Trouble}>{ wrong(&error) }</Notice>
            <Ask on_read={read} />
        </> },
        None => html! { <Ask on_read={read} /> },
    };
    html! { <Page title={t!("join.title")}>{ inner }</Page> }
}

fn wrong(error: &InvitationError) -> String {
    match error {
        InvitationError::Nothing => t!("join.bad_link").to_string(),
        other => other.to_string(),
    }
}

#[derive(Properties, PartialEq)]
struct PageProps {
    title: AttrValue,
    children: Html,
}

/// A page outside the places: there may be none yet.
#[component]
fn Page(props: &PageProps) -> Html {
    let (desk, going) = (use_desk(), use_going());
    let back = leaving(&desk, &going);
    html! {
        <Shell title={props.title.clone()}>
            <div class="welcome">
                { props.children.clone() }
                <Button label={t!("common.cancel")} kind={Kind::Quiet} on_press={back} />
            </div>
        </Shell>
    }
}

fn leaving(desk: &Desk, going: &Going) -> Callback<MouseEvent> {
    let (going, place) = (going.clone(), if desk.entries().is_empty() { "" } else { "shop" });
    Callback::from(move |_| {
        going.answered.emit(());
        going.go.emit(place.to_owned());
    })
}

#[derive(Properties, PartialEq)]
struct AskProps {
    on_read: Callback<String>,
}

/// Asks for a link: pasted, typed or scanned.
#[component]
fn Ask(props: &AskProps) -> Html {
    let typed = use_state(String::new);
    let set = {
        let typed = typed.setter();
        Callback::from(move |text: String| typed.set(text))
    };
    let open = {
        let (typed, on_read) = (typed.clone(), props.on_read.clone());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            on_read.emit((*typed).clone());
        })
    };
    let paste = {
        let (typed, on_read) = (typed.setter(), props.on_read.clone());
        Callback::from(move |_: MouseEvent| {
            let (typed, on_read) = (typed.clone(), on_read.clone());
            wasm_bindgen_futures::spawn_local(async move {
                // Where the browser does not give the clipboard, the field is there to paste into.
                if let Ok(text) = share::pasted().await {
                    typed.set(text.clone());
                    on_read.emit(text);
                }
            });
        })
    };
    html! {
        <form class="welcome-form" onsubmit={open}>
            <TextArea label={t!("start.paste")} value={(*typed).clone()} on_input={set} rows={3} />
            <Button label={t!("join.join")} kind={Kind::Main} wide=true submit=true disabled={typed.trim().is_empty()} />
            <Button label={t!("common.paste")} on_press={paste} />
            <Scan on_read={props.on_read.clone()} />
        </form>
    }
}

/// An invitation, for a property: invitations differ by their log and role.
struct Shown(Invitation);

impl PartialEq for Shown {
    fn eq(&self, other: &Self) -> bool {
        self.0.log() == other.0.log() && self.0.role() == other.0.role()
    }
}

#[derive(Properties, PartialEq)]
struct OfferProps {
    invitation: Rc<Shown>,
}

/// What somebody is invited to, in plain words, before anything is joined.
#[component]
fn Offer(props: &OfferProps) -> Html {
    let (desk, going) = (use_desk(), use_going());
    let name = use_state(|| desk.read(|device| device.name().to_owned()));
    let refused = use_state(|| Option::<String>::None);
    let set = {
        let name = name.setter();
        Callback::from(move |text: String| name.set(text))
    };
    let join = {
        let (desk, going, name) = (desk.clone(), going.clone(), name.clone());
        let (invitation, refused) = (props.invitation.clone(), refused.setter());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            match joined(&desk, &invitation.0, &name) {
                Ok(id) => {
                    going.answered.emit(());
                    going.go.emit(place_of(invitation.0.document(), &id));
                }
                Err(why) => refused.set(Some(why)),
            }
        })
    };
    let invitation = &props.invitation.0;
    html! {
        <form class="welcome-form" onsubmit={join}>
            <p class="welcome-lead">{ asked(invitation.document()) }</p>
            <p>{ sees(invitation.document()) }</p>
            <p>{ t!("join.they_see") }</p>
            if let Some(why) = &*refused {
                <Notice tone={Tone::Trouble}>{ why.clone() }</Notice>
            }
            if !desk.network() {
                <Notice tone={Tone::Plain}>{ t!("join.offline") }</Notice>
            }
            if install::is_ios() && !install::standalone() {
                <Notice tone={Tone::Plain}>{ t!("join.ios") }</Notice>
            }
            <Field label={t!("join.your_name")} value={(*name).clone()} on_input={set} />
            <Button label={t!("join.join")} kind={Kind::Main} wide=true submit=true />
            <p class="quiet">{ t!("join.history") }</p>
        </form>
    }
}

fn joined(desk: &Desk, invitation: &Invitation, name: &str) -> Result<DocId, String> {
    desk.act(|device, now, out| {
        if !name.trim().is_empty() {
            device.set_name(now, name.trim(), out);
        }
        device.join(now, invitation, out)
    })
    .map_err(|error| error.to_string())
}

fn place_of(kind: DocumentKind, id: &DocId) -> String {
    match kind {
        DocumentKind::Run => shop::place_of(id.as_str()),
        DocumentKind::Pantry => format!("pantries/{id}"),
        DocumentKind::Book => "week".to_owned(),
    }
}

fn asked(kind: DocumentKind) -> AttrValue {
    say(match kind {
        DocumentKind::Run => "join.run",
        DocumentKind::Pantry => "join.pantry",
        DocumentKind::Book => "join.book",
    })
}

/// Another device of a helper's or a client's own sees what the first one does; only the book is everything.
fn sees(kind: DocumentKind) -> AttrValue {
    say(match kind {
        DocumentKind::Book => "join.device_sees",
        DocumentKind::Run => "join.helper_sees",
        DocumentKind::Pantry => "join.client_sees",
    })
}

/// Takes a recovery code, and the relay from which the book comes back.
#[component]
fn Recover() -> Html {
    let (desk, going) = (use_desk(), use_going());
    let code = use_state(String::new);
    let relay = use_state(|| address::app().unwrap_or_default());
    let wrong = use_state(|| Option::<String>::None);
    let set = |state: &UseStateHandle<String>| {
        let state = state.setter();
        Callback::from(move |text: String| state.set(text))
    };
    let recover = {
        let (desk, code, relay, wrong) = (desk.clone(), code.clone(), relay.clone(), wrong.setter());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            match recovered(&desk, &code, relay.trim()) {
                Ok(()) => going.go.emit("more/recovery".to_owned()),
                Err(why) => wrong.set(Some(why)),
            }
        })
    };
    html! {
        <form class="welcome-form" onsubmit={recover}>
            <p>{ t!("join.recover_needs") }</p>
            if let Some(why) = &*wrong {
                <Notice tone={Tone::Trouble}>{ why.clone() }</Notice>
            }
            <TextArea label={t!("share.recovery")} hint={Some(t!("join.recover_hint"))} value={(*code).clone()} on_input={set(&code)} rows={7} />
            <Field label={t!("share.relay")} hint={Some(t!("share.relay_hint"))} value={(*relay).clone()} on_input={set(&relay)} />
            <Button label={t!("join.recover_now")} kind={Kind::Main} wide=true submit=true />
        </form>
    }
}

fn recovered(desk: &Desk, code: &str, relay: &str) -> Result<(), String> {
    let root = RecoveryCode::read(code).map_err(|error| recovery_wrong(&error))?;
    let relay = match relay {
        "" => None,
        text => Some(text.parse::<WebAddress>().map_err(|error| error.to_string())?),
    };
    desk.act(|device, now, out| device.recover(now, root, relay, out)).map_err(|error| error.to_string())
}

fn recovery_wrong(error: &RecoveryError) -> String {
    error.to_string()
}
