//! Links from one screen to another: real ones, so that they can be opened in a tab of their own.

use yew::prelude::*;

use crate::app::use_going;
use crate::look::{Kind, LinkButton, Shape, icon, is_plain};
use crate::platform::address;

/// Follows a link within the app; one that is to open elsewhere is left to the browser.
pub(super) fn followed(go: Callback<String>, to: &str) -> Callback<MouseEvent> {
    let to = to.to_owned();
    Callback::from(move |event: MouseEvent| {
        if is_plain(&event) {
            event.prevent_default();
            go.emit(to.clone());
        }
    })
}

/// A way to another screen, with the face of a button.
#[derive(Properties, PartialEq)]
pub(super) struct WayProps {
    pub(super) to: AttrValue,
    pub(super) words: AttrValue,
    #[prop_or_default]
    pub(super) name: Option<AttrValue>,
    #[prop_or_default]
    pub(super) kind: Kind,
    #[prop_or_default]
    pub(super) icon: Option<Shape>,
}

/// A link that looks like a button.
#[component]
pub(super) fn Way(props: &WayProps) -> Html {
    let going = use_going();
    html! {
        <LinkButton
            label={props.words.clone()}
            name={props.name.clone()}
            href={address::href(&props.to)}
            kind={props.kind}
            icon={props.icon}
            on_press={followed(going.go, &props.to)}
        />
    }
}

/// A row that leads to another screen.
#[derive(Properties, PartialEq)]
pub(super) struct RowProps {
    pub(super) to: AttrValue,
    pub(super) name: AttrValue,
    #[prop_or_default]
    pub(super) text: AttrValue,
    /// A drawing before the words.
    #[prop_or_default]
    pub(super) icon: Option<Shape>,
    /// What stands under the words.
    #[prop_or_default]
    pub(super) children: Html,
}

/// A row that is a link.
#[component]
pub(super) fn Row(props: &RowProps) -> Html {
    let going = use_going();
    html! {
        <a class="leads" href={address::href(&props.to)} onclick={followed(going.go, &props.to)}>
            if let Some(shape) = props.icon { { icon(shape) } }
            <span class="leads-words">
                <span class="leads-name">{ &props.name }</span>
                if !props.text.is_empty() { <span class="leads-more">{ &props.text }</span> }
                { props.children.clone() }
            </span>
            { icon(Shape::Onward) }
        </a>
    }
}
