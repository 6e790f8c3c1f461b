//! What stands on the page: opening the desk, going from place to place, and what goes around every screen.

use std::rc::Rc;

use trug_device::sync::Status;
use wasm_bindgen_futures::spawn_local;
use yew::prelude::*;

use crate::desk::{self, Desk, OnDesk, StartError, use_desk};
use crate::later::{self, InTime, Scene};
use crate::look::{Button, Kind, Notice, Place, Shape, Shell, Toast, Toasts, Tone, Word};
use crate::place::shop::Shop;
use crate::platform::online::Watch;
use crate::platform::{address, locale};
use crate::words::{Language, speak, t};

/// Puts the app onto the page, in place of what was there while it loaded.
pub fn start() {
    let root = gloo::utils::document().get_element_by_id("app");
    match root {
        Some(root) => {
            root.set_inner_html("");
            yew::Renderer::<App>::with_root(root).render()
        }
        None => yew::Renderer::<App>::new().render(),
    };
}

/// Where one is, and how one goes elsewhere.
#[derive(Clone, PartialEq)]
pub struct Going {
    /// The place and what follows it: `shop/trip/0a1b`.
    pub at: AttrValue,
    /// Goes there.
    pub go: Callback<String>,
    /// An invitation's text that came with the address, until somebody has answered it.
    pub invited: Option<Rc<str>>,
    /// Takes it away.
    pub answered: Callback<()>,
}

impl Going {
    /// A callback that goes to a place.
    pub fn to<E: 'static>(&self, place: impl Into<String>) -> Callback<E> {
        let (go, place) = (self.go.clone(), place.into());
        Callback::from(move |_| go.emit(place.clone()))
    }
}

/// Where one is.
#[hook]
pub fn use_going() -> Going {
    use_context::<Going>().unwrap_or_else(|| Going {
        at: AttrValue::default(),
        go: Callback::noop(),
        invited: None,
        answered: Callback::noop(),
    })
}

/// What opening the desk has come to.
#[derive(Clone, PartialEq)]
enum Opening {
    Waiting,
    Open(Desk),
    Failed(StartError),
}

/// The whole app.
#[component]
pub fn App() -> Html {
    let opening = use_state(|| Opening::Waiting);
    {
        let opening = opening.setter();
        use_effect_with((), move |()| {
            spawn_local(async move {
                opening.set(match desk::open().await {
                    Ok(desk) => {
                        speak_preferred(&desk);
                        Opening::Open(desk)
                    }
                    Err(error) => Opening::Failed(error),
                });
            });
        });
    }
    match &*opening {
        Opening::Waiting => html! { <p class="opening" role="status">{ t!("common.opening") }</p> },
        Opening::Failed(error) => html! { <Failed text={error.to_string()} /> },
        Opening::Open(desk) => html! { <OnDesk desk={desk.clone()}><Places /></OnDesk> },
    }
}

/// The language that was chosen, or the first of the browser's that the app speaks.
fn speak_preferred(desk: &Desk) {
    let chosen = desk.preference("language").and_then(|tag| Language::of_tag(&tag));
    let preferred = locale::preferred();
    let language = chosen.unwrap_or_else(|| Language::best(preferred.iter().map(String::as_str)));
    apply_language(language);
    apply_scheme(desk.preference("scheme").as_deref());
}

/// Speaks a language, on the page as well.
pub fn apply_language(language: Language) {
    speak(language);
    if let Some(page) = gloo::utils::document().document_element() {
        // The page keeps its language where the browser will not change it.
        let _ = page.set_attribute("lang", language.tag());
    }
}

/// Light, dark, or as the phone has it.
pub fn apply_scheme(scheme: Option<&str>) {
    let Some(page) = gloo::utils::document().document_element() else { return };
    let _ = match scheme {
        Some(scheme @ ("light" | "dark")) => page.set_attribute("data-scheme", scheme),
        _ => page.remove_attribute("data-scheme"),
    };
}

#[derive(Properties, PartialEq)]
struct FailedProps {
    text: String,
}

/// The desk did not open: nothing is overwritten, and the data can be handed over as it is.
#[component]
fn Failed(props: &FailedProps) -> Html {
    let again = Callback::from(|_: MouseEvent| address::reload());
    html! {
        <main class="failed">
            <h1>{ t!("error.not_open") }</h1>
            <Notice tone={Tone::Trouble}>{ props.text.clone() }</Notice>
            <p>{ t!("error.nothing_lost") }</p>
            <Button label={t!("error.again")} kind={Kind::Main} on_press={again} />
            <InTime scene={Scene::RawExport} />
        </main>
    }
}

/// Goes from place to place by the address.
#[component]
fn Places() -> Html {
    let desk = use_desk();
    let at = use_state(|| AttrValue::from(address::place()));
    let invited = use_state(|| address::take_fragment().map(Rc::from));
    let held = use_mut_ref(Vec::<Watch>::new);
    {
        let desk = desk.clone();
        // Effects run once the page is drawn: the second module does not keep the first screen waiting.
        use_effect_with((), move |()| later::fetch(&desk));
    }
    {
        let (at, invited) = (at.setter(), invited.setter());
        use_effect_with((), move |()| {
            held.borrow_mut().push(address::on_change(move |place| at.set(place.into())));
            held.borrow_mut().push(address::on_fragment(move |text| invited.set(Some(text.into()))));
            move || held.borrow_mut().clear()
        });
    }
    let go = {
        let at = at.setter();
        use_callback((), move |place: String, ()| {
            address::go(&place);
            at.set(place.into());
        })
    };
    let answered = {
        let invited = invited.setter();
        use_callback((), move |(), ()| invited.set(None))
    };
    let going = Going { at: (*at).clone(), go, invited: (*invited).clone(), answered };
    html! {
        <ContextProvider<Going> context={going.clone()}>{ screen(&desk, &going) }</ContextProvider<Going>>
    }
}

fn screen(desk: &Desk, going: &Going) -> Html {
    if going.invited.is_some() || desk.entries().is_empty() {
        // The same as the page has while the app is loading.
        let lead = html! { <div class="welcome"><p class="welcome-lead">{ t!("start.text") }</p></div> };
        let meanwhile = html! { <Shell title={t!("start.title")}>{ lead }{ later::opening() }</Shell> };
        return html! { <InTime scene={Scene::Welcome} {meanwhile} /> };
    }
    let (place, rest) = going.at.split_once('/').unwrap_or((&going.at, ""));
    let rest = AttrValue::from(rest.to_owned());
    match place {
        "week" if desk.is_chef() => in_time(Scene::Week(rest), "week", t!("common.week")),
        "pantries" => in_time(Scene::Pantries(rest), "pantries", t!("common.pantries")),
        "more" => in_time(Scene::More(rest), "more", t!("common.more")),
        "" if desk.is_chef() && desk.read(|device| device.trips().is_empty()) => {
            in_time(Scene::Week(rest), "week", t!("common.week"))
        }
        _ => html! { <Shop {rest} /> },
    }
}

/// A place of the second module; until that is here, what goes around it.
fn in_time(scene: Scene, place: &'static str, title: AttrValue) -> Html {
    let meanwhile = html! { <Frame {place} {title}>{ later::opening() }</Frame> };
    html! { <InTime {scene} {meanwhile} /> }
}

/// What goes around a screen.
#[derive(Properties, PartialEq)]
pub struct FrameProps {
    /// The place: `week`, `pantries`, `shop` or `more`.
    pub place: AttrValue,
    /// The name of the screen.
    pub title: AttrValue,
    /// A way back, before the title.
    #[prop_or_default]
    pub back: Html,
    /// Buttons at the end of the head.
    #[prop_or_default]
    pub actions: Html,
    /// What stays in sight under the title.
    #[prop_or_default]
    pub below: Html,
    /// The screen.
    #[prop_or_default]
    pub children: Html,
    /// Dialogs.
    #[prop_or_default]
    pub over: Html,
    /// Messages of the screen's own, with their undo.
    #[prop_or_default]
    pub toasts: Vec<Toast>,
    /// One of them has been seen.
    #[prop_or_default]
    pub on_gone: Callback<u32>,
}

/// The shell with the places, the honest word on sync, and what others did.
#[component]
pub fn Frame(props: &FrameProps) -> Html {
    let (desk, going) = (use_desk(), use_going());
    let (status, word) = sync_word(&desk);
    let on_go = {
        let go = going.go.clone();
        Callback::from(move |place: AttrValue| go.emit(place.to_string()))
    };
    html! {
        <Shell
            title={props.title.clone()}
            {status}
            {word}
            back={props.back.clone()}
            actions={props.actions.clone()}
            below={props.below.clone()}
            places={places(&desk)}
            current={props.place.clone()}
            places_label={t!("common.places")}
            skip={t!("common.skip")}
            {on_go}
            scene={going.at.clone()}
            over={html! { <>
                { props.over.clone() }
                <Toasts items={props.toasts.clone()} label={t!("common.messages")} close={t!("common.close")} on_gone={props.on_gone.clone()} />
            </> }}
        >
            <InTime scene={Scene::Standing} meanwhile={Html::default()} quiet=true />
            if matches!(going.at.as_str(), "" | "week") && is_demo(&desk) {
                <InTime scene={Scene::DemoMark} meanwhile={Html::default()} quiet=true />
            }
            { props.children.clone() }
        </Shell>
    }
}

/// Whether the kitchen is the demo.
pub(crate) fn is_demo(desk: &Desk) -> bool {
    desk.preference("demo").is_some_and(|demo| !demo.is_empty())
}

fn places(desk: &Desk) -> Vec<Place> {
    let place =
        |id: &'static str, label: AttrValue, icon| Place { id: id.into(), href: address::href(id).into(), label, icon };
    let mut places = Vec::new();
    if desk.is_chef() {
        places.push(place("week", t!("common.week"), Shape::Week));
    }
    places.push(place("pantries", t!("common.pantries"), Shape::Shelf));
    places.push(place("shop", t!("common.shop"), Shape::Basket));
    places.push(place("more", t!("common.more"), Shape::More));
    places
}

/// The one honest word on sync: what this phone still has to do, and no promise beyond it.
#[must_use]
pub fn sync_word(desk: &Desk) -> (AttrValue, Word) {
    if desk.storage_trouble().is_some() {
        return (t!("common.not_saving"), Word::Trouble);
    }
    match desk.status() {
        Status { saving: 1.., .. } => (t!("common.saving"), Word::Saving),
        Status { relay: false, .. } => (t!("common.on_this_phone"), Word::Here),
        Status { to_send: 0, .. } => (t!("common.sent"), Word::Sent),
        Status { to_send, .. } => (t!("common.to_send", count = to_send), Word::Waiting),
    }
}
