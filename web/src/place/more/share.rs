//! Letting somebody into one document, and out again.

use trug_device::{DocId, Entry};
use trug_provision::kitchen::PantryId;
use trug_seal::{DocumentKind, Invitation, Role, WebAddress};
use wasm_bindgen_futures::spawn_local;
use yew::prelude::*;

use super::page::{Outcome, Page, Saying};
use super::relay::{self, Chosen, RelayFields, RelaySees, use_relay_here};
use super::sealed::SendSealed;
use crate::app::use_going;
use crate::desk::{Desk, use_desk};
use crate::look::{Announce, Button, Confirm, Empty, Field, Kind, Notice, Section, Shape, Tone, use_id};
use crate::platform::{address, share};
use crate::words::{say, t};

/// What was not sent when access is withdrawn still comes in for so long, in milliseconds: a helper may be in a cellar
/// without a signal.
const GRACE: u64 = 2 * 60 * 60 * 1000;

/// As what somebody is invited.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Guest {
    /// Shops.
    Helper,
    /// Counts at home.
    Client,
    /// The chef's own second device.
    Device,
    /// Another device of somebody who was invited here.
    Again,
}

impl Guest {
    fn of(entry: &Entry) -> Self {
        match entry.kind {
            DocumentKind::Book => Self::Device,
            _ if !entry.owned => Self::Again,
            DocumentKind::Run => Self::Helper,
            DocumentKind::Pantry => Self::Client,
        }
    }

    const fn role(self) -> Role {
        match self {
            Self::Helper => Role::Helper,
            Self::Client => Role::Client,
            Self::Device | Self::Again => Role::OwnDevice,
        }
    }

    fn title(self) -> AttrValue {
        say(match self {
            Self::Helper => "share.helper",
            Self::Client => "share.client",
            Self::Device => "share.device",
            Self::Again => "share.again",
        })
    }

    fn sees(self) -> AttrValue {
        say(match self {
            Self::Helper => "share.helper_sees",
            Self::Client => "share.client_sees",
            Self::Device => "share.device_sees",
            Self::Again => "share.again_sees",
        })
    }
}

/// What a document is called in a list of them; a client's pantry is called after the household.
pub(super) fn title_of(desk: &Desk, entry: &Entry) -> AttrValue {
    match entry.kind {
        DocumentKind::Book => t!("share.device"),
        DocumentKind::Run if entry.title.is_empty() => t!("shop.title"),
        DocumentKind::Run => entry.title.clone().into(),
        DocumentKind::Pantry => pantry_title(desk, entry),
    }
}

fn pantry_title(desk: &Desk, entry: &Entry) -> AttrValue {
    let now = desk.kitchen().and_then(Result::ok);
    let kitchen = now.as_ref().map(|now| &now.kitchen);
    let id = entry.id.as_str().strip_prefix("pantry/").unwrap_or(&entry.title);
    let is_it = |own: &Option<PantryId>| own.as_ref().is_some_and(|own| own.as_str() == id);
    let household = kitchen.and_then(|kitchen| kitchen.households.values().find(|household| is_it(&household.pantry)));
    match household {
        Some(household) => t!("share.pantry_of", who = household.name),
        None if kitchen.is_some_and(|kitchen| is_it(&kitchen.kit)) => t!("pantry.kit"),
        None if entry.title.is_empty() => t!("common.pantries"),
        None => entry.title.clone().into(),
    }
}

/// Who can open a document: the names of those who were invited and not shut out.
pub(super) fn names(desk: &Desk, id: &DocId) -> Vec<String> {
    let helpers = desk.read(|device| device.helpers_of(id));
    helpers.into_iter().filter(|(_, helper)| !helper.withdrawn).map(|(_, helper)| helper.name).collect()
}

/// A link that was made, for one person. As secret as the document.
#[derive(Clone, PartialEq)]
struct Made {
    who: String,
    link: String,
    /// Side of the code's drawing, and its path; none where no code holds the link.
    code: Option<(usize, String)>,
}

impl Made {
    fn of(who: &str, invitation: &Invitation) -> Option<Self> {
        let app: WebAddress = address::app()?.parse().ok()?;
        let code = invitation.qr(&app).ok().map(|code| (code.extent(), code.path().to_string()));
        Some(Self { who: who.to_owned(), link: invitation.link(&app).to_string(), code })
    }
}

#[derive(Properties, PartialEq)]
pub(super) struct SharePageProps {
    /// Which document.
    pub(super) id: DocId,
}

/// The page of one document.
#[component]
pub(super) fn SharePage(props: &SharePageProps) -> Html {
    let desk = use_desk();
    let Some(entry) = desk.entries().into_iter().find(|entry| entry.id == props.id) else {
        return html! {
            <Page title={t!("share.title")}><Empty title={t!("error.not_found")} icon={Shape::Note} /></Page>
        };
    };
    let guest = Guest::of(&entry);
    let title = title_of(&desk, &entry);
    html! {
        <Page title={t!("share.title")} key={entry.id.as_str()}>
            if guest != Guest::Device { <p class="big">{ title.clone() }</p> }
            <Section title={guest.title()} bare=true>
                <div class="stack">
                    <p>{ guest.sees() }</p>
                    <Inviting id={entry.id.clone()} {guest} />
                </div>
            </Section>
            if entry.owned || guest == Guest::Device { <Access id={entry.id.clone()} book={guest == Guest::Device} /> }
            <Section title={t!("share.file_title")} bare=true>
                <div class="stack">
                    <p>{ t!("share.file_text") }</p>
                    <SendSealed id={entry.id.clone()} name={title} />
                </div>
            </Section>
            if guest == Guest::Again { <Leave id={entry.id.clone()} /> }
            <RelaySees />
        </Page>
    }
}

#[derive(Properties, PartialEq)]
struct InvitingProps {
    id: DocId,
    guest: Guest,
}

/// Asks for the person's name, and for the relay where there is none yet; makes the link.
#[component]
fn Inviting(props: &InvitingProps) -> Html {
    let desk = use_desk();
    let here = use_relay_here();
    let name = use_state(String::new);
    let typed = use_state(|| None::<Chosen>);
    let made = use_state(|| None::<Made>);
    let wrong = use_state(|| None::<AttrValue>);
    let guest = props.guest;
    let lacks_relay = guest != Guest::Again && desk.read(|device| device.relay().is_none());
    let chosen = (*typed).clone().unwrap_or_else(|| Chosen { address: here.unwrap_or_default(), ..Chosen::default() });
    let needs_name = matches!(guest, Guest::Helper | Guest::Client);
    let make = {
        let (desk, id, name, chosen) = (desk.clone(), props.id.clone(), name.clone(), chosen.clone());
        let (made, wrong) = (made.setter(), wrong.setter());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            let who = match name.trim() {
                "" if needs_name => return wrong.set(Some(t!("share.who_needed"))),
                "" => guest.title().to_string(),
                who => who.to_owned(),
            };
            let relay = lacks_relay.then_some(&chosen);
            match invited(&desk, &id, guest, &who, relay) {
                Ok(link) => {
                    made.set(Some(link));
                    wrong.set(None);
                    name.set(String::new());
                }
                Err(why) => wrong.set(Some(why.into())),
            }
        })
    };
    let set = {
        let name = name.setter();
        Callback::from(move |text: String| name.set(text))
    };
    let on_change = {
        let typed = typed.setter();
        Callback::from(move |chosen| typed.set(Some(chosen)))
    };
    html! { <>
        <form class="welcome-form" onsubmit={make}>
            <Field label={t!("share.who")} value={(*name).clone()} on_input={set} error={(*wrong).clone()} />
            if lacks_relay {
                <p>{ t!("share.relay_first") }</p>
                <RelayFields {chosen} {on_change} />
            }
            <div class="strip"><Button label={t!("share.make_link")} kind={Kind::Main} icon={Shape::Link} submit=true /></div>
        </form>
        // Always there, so that the link that comes is read out.
        <div aria-live="polite">
            if let Some(made) = &*made { <Link made={made.clone()} /> }
        </div>
    </> }
}

fn invited(desk: &Desk, id: &DocId, guest: Guest, who: &str, relay: Option<&Chosen>) -> Result<Made, String> {
    if let Some(chosen) = relay {
        relay::set(desk, chosen)?;
    }
    let invitation = desk
        .act(|device, now, out| device.invite(now, id, guest.role(), who, out))
        .map_err(|error| error.to_string())?;
    Made::of(who, &invitation).ok_or_else(|| t!("error.not_found").to_string())
}

#[derive(Properties, PartialEq)]
struct LinkProps {
    made: Made,
}

/// The link: to copy, to send, to scan.
#[component]
fn Link(props: &LinkProps) -> Html {
    let id = use_id();
    let outcome = use_state(|| None::<Outcome>);
    let copy = {
        let (link, outcome) = (props.made.link.clone(), outcome.setter());
        Callback::from(move |_: MouseEvent| {
            let (link, outcome) = (link.clone(), outcome.clone());
            spawn_local(async move {
                outcome.set(Some(match share::copy(&link).await {
                    Ok(()) => Outcome::Done(t!("common.copied")),
                    Err(_) => Outcome::Wrong(t!("share.copy_by_hand")),
                }));
            });
        })
    };
    let send = {
        let (link, outcome) = (props.made.link.clone(), outcome.setter());
        Callback::from(move |_: MouseEvent| {
            let (link, outcome) = (link.clone(), outcome.clone());
            spawn_local(async move {
                if share::give_link(&link, "Trug").await.is_err() {
                    outcome.set(Some(Outcome::Wrong(t!("share.send_by_copy"))));
                }
            });
        })
    };
    html! {
        <div class="card stack share-link">
            <h3>{ t!("share.link_for", who = props.made.who) }</h3>
            <p>{ t!("share.link_secret") }</p>
            <div class="field">
                <label class="field-label" for={&id}>{ t!("share.link") }</label>
                <textarea id={&id} class="input fixed share-text" readonly=true rows="4" value={props.made.link.clone()} />
            </div>
            <div class="strip">
                <Button label={t!("share.send")} icon={Shape::Send} kind={Kind::Main} on_press={send} />
                <Button label={t!("share.copy_link")} on_press={copy} />
            </div>
            <Saying outcome={(*outcome).clone()} />
            if let Some((side, path)) = &props.made.code {
                <svg
                    class="share-code"
                    role="img"
                    aria-label={t!("share.qr_of", who = props.made.who)}
                    viewBox={format!("0 0 {side} {side}")}
                    shape-rendering="crispEdges"
                >
                    <path fill="#fff" d={format!("M0 0h{side}v{side}H0z")} />
                    <path fill="#000" d={path.clone()} />
                </svg>
                <p class="soft">{ t!("share.qr_text") }</p>
            }
        </div>
    }
}

#[derive(Properties, PartialEq)]
struct AccessProps {
    id: DocId,
    book: bool,
}

/// Who can open the document, and shutting them out.
#[component]
fn Access(props: &AccessProps) -> Html {
    let desk = use_desk();
    let asking = use_state(|| false);
    let outcome = use_state(|| None::<Outcome>);
    let helpers = desk.read(|device| device.helpers_of(&props.id));
    let within = names(&desk, &props.id);
    let ask = |to: bool| {
        let asking = asking.setter();
        Callback::from(move |()| asking.set(to))
    };
    let withdraw = {
        let (desk, id, asking, outcome) = (desk.clone(), props.id.clone(), asking.setter(), outcome.setter());
        Callback::from(move |()| {
            asking.set(false);
            let done = desk.act(|device, now, out| device.withdraw(now, &id, GRACE, out));
            outcome.set(Some(match done {
                Ok(()) => Outcome::Done(t!("share.withdrawn_now")),
                Err(error) => Outcome::wrong(&error),
            }));
        })
    };
    html! {
        <Section title={t!("share.access")} bare=true>
            <div class="stack">
                if helpers.is_empty() {
                    <p>{ t!("share.access_none") }</p>
                } else {
                    <ul class="share-people">
                        { for helpers.iter().map(|(key, helper)| html! {
                            <li key={key.as_str()}>
                                <span class="strong">{ helper.name.clone() }</span>
                                <span class="soft">
                                    { if helper.withdrawn { t!("share.withdrawn") } else { t!("share.has_access") } }
                                </span>
                            </li>
                        }) }
                    </ul>
                }
                if props.book {
                    <p>{ t!("share.book_lost") }</p>
                } else if !within.is_empty() {
                    <div class="strip">
                        <Button label={t!("share.withdraw")} kind={Kind::Danger} on_press={ask(true).reform(|_: MouseEvent| ())} />
                    </div>
                }
                <Saying outcome={(*outcome).clone()} />
            </div>
            if *asking {
                <Confirm
                    title={t!("share.withdraw_ask", who = within.join(", "))}
                    text={t!("share.withdraw_text")}
                    deed={t!("share.withdraw")}
                    leave={t!("common.leave")}
                    danger=true
                    on_deed={withdraw}
                    on_leave={ask(false)}
                />
            }
        </Section>
    }
}

#[derive(Properties, PartialEq)]
struct LeaveProps {
    id: DocId,
}

/// Puts away what this device was invited to.
#[component]
fn Leave(props: &LeaveProps) -> Html {
    let (desk, going) = (use_desk(), use_going());
    let asking = use_state(|| false);
    let ask = |to: bool| {
        let asking = asking.setter();
        Callback::from(move |()| asking.set(to))
    };
    let leave = {
        let id = props.id.clone();
        Callback::from(move |()| {
            desk.act(|device, _, out| device.leave(&id, out));
            going.go.emit("more".to_owned());
        })
    };
    html! { <>
        <Notice tone={Tone::Plain} announce={Announce::No}>
            <p>{ t!("share.leave_text") }</p>
            <Button label={t!("share.leave")} on_press={ask(true).reform(|_: MouseEvent| ())} />
        </Notice>
        if *asking {
            <Confirm
                title={t!("share.leave_ask")}
                text={t!("share.leave_text")}
                deed={t!("share.leave")}
                leave={t!("common.leave")}
                danger=true
                on_deed={leave}
                on_leave={ask(false)}
            />
        }
    </> }
}
