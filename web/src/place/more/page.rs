//! What every screen of the place stands in.

use yew::prelude::*;

use crate::app::{Frame, use_going};
use crate::look::{Announce, Icon, Kind, LinkButton, Notice, Shape, Tone};
use crate::platform::address;
use crate::words::t;

/// A screen.
#[derive(Properties, PartialEq)]
pub(super) struct PageProps {
    /// Its name.
    pub(super) title: AttrValue,
    /// It is the first of the place, which leads nowhere back.
    #[prop_or_default]
    pub(super) top: bool,
    #[prop_or_default]
    pub(super) over: Html,
    #[prop_or_default]
    pub(super) children: Html,
}

/// The frame, with the way back.
#[component]
pub(super) fn Page(props: &PageProps) -> Html {
    let going = use_going();
    let back = html! {
        if !props.top {
            <LinkButton
                label={t!("common.back")}
                href={address::href("more")}
                kind={Kind::Quiet}
                icon={Shape::Back}
                on_press={followed(going.go, "more")}
            />
        }
    };
    html! {
        <Frame place="more" title={props.title.clone()} {back} over={props.over.clone()}>
            <div class="stack-wide narrow">{ props.children.clone() }</div>
        </Frame>
    }
}

/// Follows a link within the app; one that is to open elsewhere is left to the browser.
pub(super) fn followed(go: Callback<String>, to: &str) -> Callback<MouseEvent> {
    let to = to.to_owned();
    Callback::from(move |event: MouseEvent| {
        if event.button() == 0 && !(event.ctrl_key() || event.meta_key() || event.shift_key() || event.alt_key()) {
            event.prevent_default();
            go.emit(to.clone());
        }
    })
}

/// A row that leads to another screen.
#[derive(Properties, PartialEq)]
pub(super) struct RowProps {
    pub(super) to: AttrValue,
    pub(super) name: AttrValue,
    #[prop_or_default]
    pub(super) text: AttrValue,
    pub(super) icon: Shape,
}

/// A row that is a link.
#[component]
pub(super) fn Row(props: &RowProps) -> Html {
    let going = use_going();
    html! {
        <a class="leads" href={address::href(&props.to)} onclick={followed(going.go, &props.to)}>
            <Icon shape={props.icon} />
            <span class="leads-words">
                <span class="leads-name">{ &props.name }</span>
                if !props.text.is_empty() { <span class="leads-more">{ &props.text }</span> }
            </span>
            <Icon shape={Shape::Onward} />
        </a>
    }
}

/// What came of the last thing done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Outcome {
    Done(AttrValue),
    Wrong(AttrValue),
}

impl Outcome {
    pub(super) fn wrong(error: &impl ToString) -> Self {
        Self::Wrong(error.to_string().into())
    }
}

/// Says it, one thing a line.
#[derive(Properties, PartialEq)]
pub(super) struct SayingProps {
    pub(super) outcome: Option<Outcome>,
}

/// The place where an outcome is said; nothing where there is none.
#[component]
pub(super) fn Saying(props: &SayingProps) -> Html {
    let (tone, announce, text) = match &props.outcome {
        None => return Html::default(),
        Some(Outcome::Done(text)) => (Tone::Well, Announce::Politely, text),
        Some(Outcome::Wrong(text)) => (Tone::Trouble, Announce::AtOnce, text),
    };
    html! {
        <Notice {tone} {announce}>{ for text.lines().map(|line| html! { <p>{ line.to_owned() }</p> }) }</Notice>
    }
}
