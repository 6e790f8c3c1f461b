//! Rows: one to tick, and one that leads on.

use web_sys::HtmlInputElement;
use yew::prelude::*;

use super::choice::ticked;
use super::icon::{Shape, icon};
use super::id::{together, use_id};

/// How much of a row is done.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Ticked {
    /// Nothing yet.
    #[default]
    No,
    /// A part; say which in the row's further lines.
    Part,
    /// All of it.
    Yes,
}

impl Ticked {
    fn word(self) -> &'static str {
        match self {
            Self::No => "open",
            Self::Part => "part",
            Self::Yes => "got",
        }
    }
}

/// A row with a box to tick.
#[derive(Properties, PartialEq)]
pub struct TickRowProps {
    /// The food; the box's name begins with it.
    pub name: AttrValue,
    /// What to take from the shelf.
    #[prop_or_default]
    pub take: AttrValue,
    /// Whether it is done.
    #[prop_or_default]
    pub state: Ticked,
    /// Told what it is to be now.
    #[prop_or_default]
    pub on_tick: Callback<bool>,
    /// Further lines: the weight, for whom. Read out after the name.
    #[prop_or_default]
    pub lines: Vec<AttrValue>,
    /// Badges after the lines.
    #[prop_or_default]
    pub badges: Html,
    /// What is done with the row besides ticking: buttons at its end.
    #[prop_or_default]
    pub side: Html,
    /// What must not be overlooked, across the row: allergy alerts, notices.
    #[prop_or_default]
    pub under: Html,
    /// It cannot be ticked.
    #[prop_or_default]
    pub disabled: bool,
}

/// A row at least 56 px high; all of its words tick it.
///
/// The box is a real checkbox. Its name is the food and what to take; the further lines describe it.
#[component]
pub fn TickRow(props: &TickRowProps) -> Html {
    use_tick_row(props)
}

/// The same drawn by a component that is a row itself: a list of hundreds has one component for each, not two.
#[hook]
pub fn use_tick_row(props: &TickRowProps) -> Html {
    let id = use_id();
    let node = use_node_ref();
    use_half(&node, props.state);
    let onchange = props.on_tick.reform(|event: Event| ticked(&event));
    let more = !props.lines.is_empty();
    // What must not be overlooked is read out with the box, too.
    let warned = props.under != Html::default();
    html! {
        <div class="tick" data-state={props.state.word()}>
            <label class="tick-main">
                <input
                    ref={node}
                    type="checkbox"
                    class="box"
                    checked={props.state == Ticked::Yes}
                    disabled={props.disabled}
                    aria-labelledby={format!("{id}-n {id}-t")}
                    aria-describedby={together(&[(more, &id, "-m"), (warned, &id, "-u")])}
                    {onchange}
                />
                <span class="tick-words">
                    <span class="tick-first">
                        <span class="tick-name" id={format!("{id}-n")}>{ &props.name }</span>
                        <span class="tick-take" id={format!("{id}-t")}>{ &props.take }</span>
                    </span>
                    if more {
                        <span class="tick-more" id={format!("{id}-m")}>
                            { for props.lines.iter().map(|line| html! { <span>{ line }</span> }) }
                        </span>
                    }
                    if props.badges != Html::default() { <span class="strip">{ props.badges.clone() }</span> }
                </span>
            </label>
            if props.side != Html::default() { <div class="tick-side">{ props.side.clone() }</div> }
            if warned { <div class="tick-under" id={format!("{id}-u")}>{ props.under.clone() }</div> }
        </div>
    }
}

/// `indeterminate` is a property that no attribute sets, and a press clears it.
#[hook]
fn use_half(node: &NodeRef, state: Ticked) {
    let node = node.clone();
    use_effect(move || {
        if let Some(field) = node.cast::<HtmlInputElement>() {
            field.set_indeterminate(state == Ticked::Part);
        }
    });
}

/// A row that leads on.
#[derive(Properties, PartialEq)]
pub struct LeadsProps {
    /// What it leads to.
    pub name: AttrValue,
    /// A line about it.
    #[prop_or_default]
    pub text: AttrValue,
    /// Told when it is pressed.
    #[prop_or_default]
    pub on_press: Callback<MouseEvent>,
    /// What stands at its end: a badge, a sum.
    #[prop_or_default]
    pub children: Html,
    /// A drawing before the words.
    #[prop_or_default]
    pub icon: Option<Shape>,
    /// It is the one shown beside the list.
    #[prop_or_default]
    pub current: bool,
}

/// A row that is a button and opens what it names.
#[component]
pub fn Leads(props: &LeadsProps) -> Html {
    html! {
        <button type="button" class="leads" onclick={props.on_press.clone()} aria-current={props.current.then_some("true")}>
            if let Some(shape) = props.icon { { icon(shape) } }
            <span class="leads-words">
                <span class="leads-name">{ &props.name }</span>
                if !props.text.is_empty() { <span class="leads-more">{ &props.text }</span> }
            </span>
            { props.children.clone() }
            { icon(Shape::Onward) }
        </button>
    }
}
