//! What is pressed.

use yew::prelude::*;

use super::icon::{Shape, icon};

/// How much a button asks to be pressed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Kind {
    /// The one thing to do next; at most one on a screen.
    Main,
    /// Something that can be done.
    #[default]
    Plain,
    /// Something on the side; underlined words.
    Quiet,
    /// Something that takes away.
    Danger,
}

impl Kind {
    fn class(self) -> &'static str {
        match self {
            Self::Main => "btn-main",
            Self::Plain => "btn-plain",
            Self::Quiet => "btn-quiet",
            Self::Danger => "btn-danger",
        }
    }
}

/// A button.
#[derive(Properties, PartialEq)]
pub struct ButtonProps {
    /// The words on it. With `bare`, they are its name but are not seen.
    pub label: AttrValue,
    /// What a screen reader says instead of the label, where several buttons share one (`Part` becomes
    /// `Part: broccoli`). It begins with the label, so that speech control finds it.
    #[prop_or_default]
    pub name: Option<AttrValue>,
    /// Told when it is pressed.
    #[prop_or_default]
    pub on_press: Callback<MouseEvent>,
    /// How it looks.
    #[prop_or_default]
    pub kind: Kind,
    /// A drawing before the words.
    #[prop_or_default]
    pub icon: Option<Shape>,
    /// The drawing alone, on a square.
    #[prop_or_default]
    pub bare: bool,
    /// As wide as what it stands in.
    #[prop_or_default]
    pub wide: bool,
    /// It cannot be pressed now. Say why beside it.
    #[prop_or_default]
    pub disabled: bool,
    /// It was pressed and is at work: it keeps the focus, and presses go unheard.
    #[prop_or_default]
    pub busy: bool,
    /// For a button that is on or off.
    #[prop_or_default]
    pub pressed: Option<bool>,
    /// For a button that opens and shuts something.
    #[prop_or_default]
    pub expanded: Option<bool>,
    /// It sends the form it stands in.
    #[prop_or_default]
    pub submit: bool,
    /// To reach the element, for the focus.
    #[prop_or_default]
    pub node: NodeRef,
}

fn truth(value: Option<bool>) -> Option<&'static str> {
    value.map(|on| if on { "true" } else { "false" })
}

/// A button with words on it, or with a drawing and a name.
#[component]
pub fn Button(props: &ButtonProps) -> Html {
    button(props)
}

/// The same for a component that has many of them, without a component for each.
pub fn button(props: &ButtonProps) -> Html {
    let class =
        classes!("btn", props.kind.class(), props.wide.then_some("btn-wide"), props.bare.then_some("btn-square"),);
    let onclick = (!props.busy).then(|| props.on_press.clone());
    let name = props.name.clone().or_else(|| props.bare.then(|| props.label.clone()));
    html! {
        <button
            ref={props.node.clone()}
            type={if props.submit && !props.busy { "submit" } else { "button" }}
            {class}
            {onclick}
            disabled={props.disabled}
            aria-label={name}
            aria-disabled={props.busy.then_some("true")}
            aria-busy={props.busy.then_some("true")}
            aria-pressed={truth(props.pressed)}
            aria-expanded={truth(props.expanded)}
        >
            if props.busy {
                <span class="turning" aria-hidden="true"></span>
            } else if let Some(shape) = props.icon {
                { icon(shape) }
            }
            if !props.bare { <span>{ &props.label }</span> }
        </button>
    }
}

/// A link that looks like a button: it leads to another place.
#[derive(Properties, PartialEq)]
pub struct LinkButtonProps {
    /// The words on it.
    pub label: AttrValue,
    /// Where it leads.
    pub href: AttrValue,
    /// What a screen reader says instead; it begins with the label.
    #[prop_or_default]
    pub name: Option<AttrValue>,
    /// Told when it is followed; calls `prevent_default` to lead there itself.
    #[prop_or_default]
    pub on_press: Callback<MouseEvent>,
    /// How it looks.
    #[prop_or_default]
    pub kind: Kind,
    /// A drawing before the words.
    #[prop_or_default]
    pub icon: Option<Shape>,
    /// As wide as what it stands in.
    #[prop_or_default]
    pub wide: bool,
    /// The name of the file it saves, for a link to bytes made here.
    #[prop_or_default]
    pub download: Option<AttrValue>,
}

/// A link with the face of a button.
#[component]
pub fn LinkButton(props: &LinkButtonProps) -> Html {
    let class = classes!("btn", props.kind.class(), props.wide.then_some("btn-wide"));
    html! {
        <a
            {class}
            href={&props.href}
            onclick={props.on_press.clone()}
            aria-label={props.name.clone()}
            download={props.download.clone()}
        >
            if let Some(shape) = props.icon { { icon(shape) } }
            <span>{ &props.label }</span>
        </a>
    }
}
