//! What holds other parts: sections, things to unfold, and a place with nothing in it yet.

use web_sys::HtmlDetailsElement;
use yew::prelude::*;

use super::icon::{Shape, icon};
use super::id::use_id;

/// A group with a head.
#[derive(Properties, PartialEq)]
pub struct SectionProps {
    /// Its name.
    pub title: AttrValue,
    /// What is left in it, in words.
    #[prop_or_default]
    pub count: AttrValue,
    /// It has so many rows, of which the browser need not lay out those that are far from the screen.
    #[prop_or_default]
    pub rows: usize,
    /// Its parts stand by themselves instead of as rows on one card.
    #[prop_or_default]
    pub bare: bool,
    /// What is in it.
    #[prop_or_default]
    pub children: Html,
}

/// A group named by its heading; the head stays in sight while its rows pass under it.
#[component]
pub fn Section(props: &SectionProps) -> Html {
    let id = use_id();
    html! {
        <section
            class={classes!("part", props.bare.then_some("part-bare"))}
            role="group"
            aria-labelledby={&id}
        >
            <div class="part-head">
                <h2 id={&id}>{ &props.title }</h2>
                if !props.count.is_empty() { <span class="part-count">{ &props.count }</span> }
            </div>
            <div class={classes!("part-body", about(props.rows))}>{ props.children.clone() }</div>
        </section>
    }
}

/// How high a body of rows is until it is laid out, so that the page is about as long as it will be.
fn about(rows: usize) -> Option<&'static str> {
    Some(match rows {
        0 => return None,
        1..=3 => "about-2",
        4..=6 => "about-5",
        7..=12 => "about-9",
        13..=24 => "about-18",
        25..=50 => "about-36",
        51..=100 => "about-72",
        101..=200 => "about-144",
        _ => "about-288",
    })
}

/// Something to unfold.
#[derive(Properties, PartialEq)]
pub struct DisclosureProps {
    /// What is in it.
    pub title: AttrValue,
    /// How many, in words.
    #[prop_or_default]
    pub count: AttrValue,
    /// Whether it is open at first.
    #[prop_or_default]
    pub open: bool,
    /// Told when it is opened or shut.
    #[prop_or_default]
    pub on_turn: Callback<bool>,
    /// What is unfolded.
    #[prop_or_default]
    pub children: Html,
}

/// Words with more underneath.
#[component]
pub fn Disclosure(props: &DisclosureProps) -> Html {
    let ontoggle = props
        .on_turn
        .reform(|event: Event| event.target_dyn_into::<HtmlDetailsElement>().is_some_and(|details| details.open()));
    html! {
        <details class="more" open={props.open} {ontoggle}>
            <summary>
                { icon(Shape::Onward) }
                <span>{ &props.title }</span>
                if !props.count.is_empty() { <span class="more-count">{ &props.count }</span> }
            </summary>
            <div class="more-body">{ props.children.clone() }</div>
        </details>
    }
}

/// A place with nothing in it yet.
#[derive(Properties, PartialEq)]
pub struct EmptyProps {
    /// What would be here.
    pub title: AttrValue,
    /// How it comes to be here.
    #[prop_or_default]
    pub text: AttrValue,
    /// A drawing of the place.
    pub icon: Shape,
    /// What to do first.
    #[prop_or_default]
    pub children: Html,
}

/// Nothing here yet, why, and what to do first.
#[component]
pub fn Empty(props: &EmptyProps) -> Html {
    html! {
        <div class="empty">
            { icon(props.icon) }
            <div class="empty-words">
                <h2>{ &props.title }</h2>
                if !props.text.is_empty() { <p>{ &props.text }</p> }
            </div>
            <div class="strip">{ props.children.clone() }</div>
        </div>
    }
}
