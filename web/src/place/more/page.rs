//! What every screen of the place stands in.

use yew::prelude::*;

use crate::app::Frame;
use crate::look::{Announce, Kind, Notice, Shape, Tone};
use crate::place::links::Way;
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
    let back = html! {
        if !props.top {
            <Way to="more" words={t!("common.back")} kind={Kind::Quiet} icon={Shape::Back} />
        }
    };
    html! {
        <Frame place="more" title={props.title.clone()} {back} over={props.over.clone()}>
            <div class="stack-wide narrow">{ props.children.clone() }</div>
        </Frame>
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
