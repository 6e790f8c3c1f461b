//! What every screen of the place stands in, and the parts that several of them use.

use yew::prelude::*;

use super::hand::use_hand;
use crate::app::{Frame, use_going};
use crate::look::{Announce, Empty, Kind, Notice, Shape, Tone};
use crate::place::links::{Way, followed};
use crate::platform::address;
use crate::words::t;

/// The parts of the place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Tab {
    Weeks,
    Dishes,
    Households,
    Foods,
    Prices,
    Stores,
}

impl Tab {
    const ALL: [Self; 6] = [Self::Weeks, Self::Dishes, Self::Households, Self::Foods, Self::Prices, Self::Stores];

    fn place(self) -> &'static str {
        match self {
            Self::Weeks => "week",
            Self::Dishes => "week/dishes",
            Self::Households => "week/households",
            Self::Foods => "week/foods",
            Self::Prices => "week/prices",
            Self::Stores => "week/stores",
        }
    }

    fn words(self) -> AttrValue {
        match self {
            Self::Weeks => t!("week.weeks"),
            Self::Dishes => t!("dish.title"),
            Self::Households => t!("household.title"),
            Self::Foods => t!("food.title"),
            Self::Prices => t!("price.title"),
            Self::Stores => t!("store.title"),
        }
    }
}

/// A screen.
#[derive(Properties, PartialEq)]
pub(super) struct PageProps {
    /// Its name.
    pub(super) title: AttrValue,
    /// Which part of the place it belongs to.
    pub(super) tab: Tab,
    /// Where it leads back to; none at the top of a part, which shows the parts instead.
    #[prop_or_default]
    pub(super) up: Option<AttrValue>,
    #[prop_or_default]
    pub(super) actions: Html,
    #[prop_or_default]
    pub(super) below: Html,
    #[prop_or_default]
    pub(super) over: Html,
    #[prop_or_default]
    pub(super) children: Html,
}

/// The frame, with the parts of the place or the way back, and the messages.
#[component]
pub(super) fn Page(props: &PageProps) -> Html {
    let (hand, going) = (use_hand(), use_going());
    let back = props.up.as_ref().map(|up| {
        let up = up.clone();
        html! { <Way to={up} words={t!("common.back")} icon={Shape::Back} kind={Kind::Quiet} /> }
    });
    let part = |tab: Tab| {
        let on_press = followed(going.go.clone(), tab.place());
        let current = (tab == props.tab).then_some("true");
        html! {
            <li><a class="week-part" href={address::href(tab.place())} aria-current={current} onclick={on_press}>
                { tab.words() }
            </a></li>
        }
    };
    let below = html! { <>
        if props.up.is_none() {
            <ul class="week-parts" aria-label={t!("week.parts")}>{ for Tab::ALL.into_iter().map(part) }</ul>
        }
        { props.below.clone() }
    </> };
    html! {
        <Frame
            place="week"
            title={props.title.clone()}
            back={html! { <>{ for back }</> }}
            actions={props.actions.clone()}
            {below}
            over={props.over.clone()}
            toasts={hand.toasts()}
            on_gone={hand.on_gone()}
        >
            <div class="stack">{ props.children.clone() }</div>
        </Frame>
    }
}

/// Something that is not here.
#[derive(Properties, PartialEq)]
pub(super) struct GoneProps {
    pub(super) tab: Tab,
}

/// Says that something is not here any more.
#[component]
pub(super) fn Gone(props: &GoneProps) -> Html {
    html! {
        <Page title={props.tab.words()} tab={props.tab}>
            <Empty title={t!("error.not_found")} icon={Shape::Note} />
        </Page>
    }
}

/// What was wrong with the last edit.
#[derive(Properties, PartialEq)]
pub(super) struct WrongProps {
    pub(super) text: Option<AttrValue>,
}

/// Says what was wrong, one thing a line; nothing where nothing was.
#[component]
pub(super) fn Wrong(props: &WrongProps) -> Html {
    let Some(text) = &props.text else { return Html::default() };
    html! {
        <Notice tone={Tone::Trouble} title={t!("week.not_saved")} announce={Announce::AtOnce}>
            { for text.lines().map(|line| html! { <p>{ line.to_owned() }</p> }) }
        </Notice>
    }
}
