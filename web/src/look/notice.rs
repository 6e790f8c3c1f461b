//! What is said on the side: notices, allergy alerts, badges, how far along.

use yew::prelude::*;

use super::icon::{Shape, icon};

/// What a notice is about; its shape says it as well as its tint.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Tone {
    /// For knowing.
    #[default]
    Plain,
    /// It is well.
    Well,
    /// Look before going on.
    Care,
    /// It did not work, or must not go on.
    Trouble,
}

impl Tone {
    fn of(self, part: &'static str) -> Option<String> {
        let tail = match self {
            Self::Plain => return None,
            Self::Well => "well",
            Self::Care => "care",
            Self::Trouble => "trouble",
        };
        Some(format!("{part}-{tail}"))
    }

    fn shape(self) -> Shape {
        match self {
            Self::Plain => Shape::Note,
            Self::Well => Shape::Tick,
            Self::Care | Self::Trouble => Shape::Care,
        }
    }
}

/// Whether a notice that appears is read out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Announce {
    /// It stands there and is found on the way.
    #[default]
    No,
    /// Read out when the person pauses. The part must already be on the page when its words change.
    Politely,
    /// Read out at once: it cannot wait.
    AtOnce,
}

impl Announce {
    /// `status` is kept for the word on sync, so a polite notice is a live note.
    fn role(self) -> &'static str {
        match self {
            Self::No | Self::Politely => "note",
            Self::AtOnce => "alert",
        }
    }

    fn live(self) -> Option<&'static str> {
        (self == Self::Politely).then_some("polite")
    }
}

/// A notice.
#[derive(Properties, PartialEq)]
pub struct NoticeProps {
    /// What it is about.
    #[prop_or_default]
    pub tone: Tone,
    /// In a few words.
    #[prop_or_default]
    pub title: AttrValue,
    /// Whether it is read out when it appears.
    #[prop_or_default]
    pub announce: Announce,
    /// The rest, and what can be done.
    #[prop_or_default]
    pub children: Html,
}

/// A shape, words, and what can be done about it.
#[component]
pub fn Notice(props: &NoticeProps) -> Html {
    html! {
        <div
            class={classes!("notice", props.tone.of("notice"))}
            role={props.announce.role()}
            aria-live={props.announce.live()}
        >
            { icon(props.tone.shape()) }
            <div class="notice-words">
                if !props.title.is_empty() { <p class="notice-title">{ &props.title }</p> }
                { props.children.clone() }
            </div>
        </div>
    }
}

/// An allergy alert.
#[derive(Properties, PartialEq)]
pub struct AllergyAlertProps {
    /// The words `Allergy alert`, in the person's language.
    pub title: AttrValue,
    /// Who must not have what, in which food.
    pub text: AttrValue,
    /// It came up just now, by something the person did: it is read out at once.
    #[prop_or_default]
    pub urgent: bool,
    /// What can be done.
    #[prop_or_default]
    pub children: Html,
}

/// The one part that is an octagon on dark red. Never a footnote: it stands where the food stands.
#[component]
pub fn AllergyAlert(props: &AllergyAlertProps) -> Html {
    allergy_alert(props)
}

/// The same within a component that has many.
pub fn allergy_alert(props: &AllergyAlertProps) -> Html {
    html! {
        <div class="allergy" role={if props.urgent { "alert" } else { "note" }}>
            { icon(Shape::Allergy) }
            <div class="allergy-words">
                <span class="allergy-title">{ &props.title }</span>
                <span>{ " " }{ &props.text }</span>
                { props.children.clone() }
            </div>
        </div>
    }
}

/// A word in a frame.
#[derive(Properties, PartialEq)]
pub struct BadgeProps {
    /// The word.
    pub text: AttrValue,
    /// What it is about.
    #[prop_or_default]
    pub tone: Tone,
    /// A drawing before the word.
    #[prop_or_default]
    pub icon: Option<Shape>,
}

/// A word in a frame, for a state or a kind.
#[component]
pub fn Badge(props: &BadgeProps) -> Html {
    badge(props)
}

/// The same within a component that has many.
pub fn badge(props: &BadgeProps) -> Html {
    html! {
        <span class={classes!("badge", props.tone.of("badge"))}>
            if let Some(shape) = props.icon { { icon(shape) } }
            <span>{ &props.text }</span>
        </span>
    }
}

/// How far along: a bar, and the words that say the same. `text` is how far, such as `12 of 40`.
pub fn progress(label: AttrValue, text: AttrValue, done: usize, of: usize) -> Html {
    html! {
        <div class="far">
            <div class="far-words"><span>{ &label }</span><span>{ text }</span></div>
            <progress aria-label={label} value={done.to_string()} max={of.max(1).to_string()}></progress>
        </div>
    }
}
