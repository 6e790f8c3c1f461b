//! What every screen stands in: a head, the places, and what is in one of them.

use web_sys::HtmlElement;
use yew::prelude::*;

use super::icon::{Shape, icon};
use super::id::use_id;

/// How far what was done has come. The word says it; the mark before it is open, half or full.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Word {
    /// Not safe yet.
    #[default]
    Saving,
    /// Safe on this phone.
    Here,
    /// Safe on this phone, and more to send.
    Waiting,
    /// Sent.
    Sent,
    /// It could not be saved or sent, and something has to be done.
    Trouble,
}

impl Word {
    fn class(self) -> &'static str {
        match self {
            Self::Saving => "word-saving",
            Self::Here => "word-here",
            Self::Waiting => "word-waiting",
            Self::Sent => "word-sent",
            Self::Trouble => "word-trouble",
        }
    }
}

/// One of the places.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// What the app calls it.
    pub id: AttrValue,
    /// Where it is; a link to it can be opened in a tab of its own.
    pub href: AttrValue,
    /// What a person reads.
    pub label: AttrValue,
    /// Its drawing.
    pub icon: Shape,
}

/// The shell.
#[derive(Properties, PartialEq)]
pub struct ShellProps {
    /// The name of the screen.
    pub title: AttrValue,
    /// The honest word on sync, in words.
    #[prop_or_default]
    pub status: AttrValue,
    /// The same as a shape.
    #[prop_or_default]
    pub word: Word,
    /// A way back, before the title.
    #[prop_or_default]
    pub back: Html,
    /// Buttons at the end of the head.
    #[prop_or_default]
    pub actions: Html,
    /// What stays in sight under the title: what is left, what is spent.
    #[prop_or_default]
    pub below: Html,
    /// The places, in their order. None on first open.
    #[prop_or_default]
    pub places: Vec<Place>,
    /// The place one is in.
    #[prop_or_default]
    pub current: AttrValue,
    /// What the places are called together.
    #[prop_or_default]
    pub places_label: AttrValue,
    /// What the link that leads past them is called.
    #[prop_or_default]
    pub skip: AttrValue,
    /// Told which place to go to. Links opened in another tab are left to the browser.
    #[prop_or_default]
    pub on_go: Callback<AttrValue>,
    /// Changes with the screen: the new one starts at its top.
    #[prop_or_default]
    pub scene: AttrValue,
    /// What is in the place.
    #[prop_or_default]
    pub children: Html,
    /// Dialogs and messages, outside of what scrolls.
    #[prop_or_default]
    pub over: Html,
}

/// Head, places, and the one part that scrolls. On a phone the places are at the bottom, under the thumb; from 900 px on
/// they are at the side.
#[component]
pub fn Shell(props: &ShellProps) -> Html {
    let id = use_id();
    let main = use_node_ref();
    use_top(&main, &props.scene);
    let on_skip = {
        let main = main.clone();
        Callback::from(move |event: MouseEvent| {
            event.prevent_default();
            if let Some(main) = main.cast::<HtmlElement>() {
                let _ = main.focus();
            }
        })
    };
    html! {
        <div class="shell">
            if !props.skip.is_empty() { <a class="skip" href={format!("#{id}")} onclick={on_skip}>{ &props.skip }</a> }
            <header class="top">
                <div class="top-row">
                    { props.back.clone() }
                    <h1>{ &props.title }</h1>
                    <span class={classes!("word", props.word.class())}>
                        if !props.status.is_empty() { <span class="word-mark" aria-hidden="true"></span> }
                        <span role="status">{ &props.status }</span>
                    </span>
                    <span class="top-acts">{ props.actions.clone() }</span>
                </div>
                if props.below != Html::default() { <div class="top-below">{ props.below.clone() }</div> }
            </header>
            if !props.places.is_empty() { <Places
                places={props.places.clone()}
                current={&props.current}
                label={&props.places_label}
                on_go={props.on_go.clone()}
            /> }
            <main class="main" id={&id} tabindex="-1" ref={main}>
                <div class="main-inner">{ props.children.clone() }</div>
            </main>
            { props.over.clone() }
        </div>
    }
}

/// A new screen starts at its top, whatever the last one was scrolled to.
#[hook]
fn use_top(main: &NodeRef, scene: &AttrValue) {
    let main = main.clone();
    use_effect_with(scene.clone(), move |_| {
        if let Some(main) = main.cast::<HtmlElement>() {
            main.set_scroll_top(0);
            // In a low window it is not `main` that scrolls, but what the shell stands in.
            if let Some(around) = main.closest(".shell").ok().flatten().and_then(|shell| shell.parent_element()) {
                around.set_scroll_top(0);
            }
        }
    });
}

#[derive(Properties, PartialEq)]
struct PlacesProps {
    places: Vec<Place>,
    current: AttrValue,
    label: AttrValue,
    on_go: Callback<AttrValue>,
}

#[component]
fn Places(props: &PlacesProps) -> Html {
    let one = |place: &Place| {
        let id = place.id.clone();
        let on_go = props.on_go.clone();
        let onclick = Callback::from(move |event: MouseEvent| {
            if is_plain(&event) {
                event.prevent_default();
                on_go.emit(id.clone());
            }
        });
        html! {
            <li key={place.id.as_str()}>
                <a
                    class="place"
                    href={&place.href}
                    aria-current={(place.id == props.current).then_some("page")}
                    {onclick}
                >
                    { icon(place.icon) }
                    <span>{ &place.label }</span>
                </a>
            </li>
        }
    };
    html! {
        <nav class="places" aria-label={&props.label}>
            <ul class="places-list">{ for props.places.iter().map(one) }</ul>
        </nav>
    }
}

/// Whether a press means `go there`, and not `open it in another tab or window`.
#[must_use]
pub fn is_plain(event: &MouseEvent) -> bool {
    event.button() == 0 && !(event.ctrl_key() || event.meta_key() || event.shift_key() || event.alt_key())
}
