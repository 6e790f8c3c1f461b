//! One of a few, and yes or no.

use web_sys::HtmlInputElement;
use yew::prelude::*;

use super::id::use_id;

/// One thing that can be chosen.
#[derive(Clone, Debug, PartialEq)]
pub struct Pick {
    /// What the app calls it.
    pub value: AttrValue,
    /// What a person reads.
    pub label: AttrValue,
}

impl Pick {
    /// A value and its words.
    pub fn new(value: impl Into<AttrValue>, label: impl Into<AttrValue>) -> Self {
        Self { value: value.into(), label: label.into() }
    }
}

/// One of a few.
#[derive(Properties, PartialEq)]
pub struct ChoiceProps {
    /// What is asked.
    pub label: AttrValue,
    /// What can be chosen.
    pub options: Vec<Pick>,
    /// The value chosen; none of them is chosen where it is not among them.
    pub value: AttrValue,
    /// Told the value that was chosen.
    #[prop_or_default]
    pub on_choose: Callback<AttrValue>,
    /// How to choose.
    #[prop_or_default]
    pub hint: Option<AttrValue>,
    /// The label is heard but not seen.
    #[prop_or_default]
    pub hide_label: bool,
    /// It cannot be changed now.
    #[prop_or_default]
    pub disabled: bool,
}

/// Radio buttons side by side, each as large as a button.
#[component]
pub fn Choice(props: &ChoiceProps) -> Html {
    let id = use_id();
    let one = |pick: &Pick| {
        let value = pick.value.clone();
        let onchange = props.on_choose.reform(move |_: Event| value.clone());
        html! {
            <label class="choice-one" key={pick.value.as_str()}>
                <input
                    type="radio"
                    name={&id}
                    value={&pick.value}
                    checked={pick.value == props.value}
                    disabled={props.disabled}
                    {onchange}
                />
                <span class="choice-face">{ &pick.label }</span>
            </label>
        }
    };
    let legend = if props.hide_label { "unseen" } else { "choice-label" };
    let described = props.hint.is_some().then(|| AttrValue::from(format!("{id}-h")));
    html! {
        <fieldset aria-describedby={described.clone()}>
            <legend class={legend}>{ &props.label }</legend>
            <div class="choice">
                if let Some(hint) = &props.hint { <span class="choice-hint" id={described}>{ hint }</span> }
                <div class="choice-row">{ for props.options.iter().map(one) }</div>
            </div>
        </fieldset>
    }
}

/// Yes or no.
#[derive(Properties, PartialEq)]
pub struct ToggleProps {
    /// What is so when it is ticked.
    pub label: AttrValue,
    /// Whether it is.
    pub on: bool,
    /// Told what it was changed to.
    #[prop_or_default]
    pub on_change: Callback<bool>,
    /// More about it.
    #[prop_or_default]
    pub hint: Option<AttrValue>,
    /// It cannot be changed now.
    #[prop_or_default]
    pub disabled: bool,
}

/// A box to tick, with its words.
#[component]
pub fn Toggle(props: &ToggleProps) -> Html {
    let id = use_id();
    let onchange = props.on_change.reform(|event: Event| ticked(&event));
    let hint = format!("{id}-h");
    html! {
        <label class="toggle">
            <input
                type="checkbox"
                class="box"
                checked={props.on}
                disabled={props.disabled}
                aria-labelledby={format!("{id}-l")}
                aria-describedby={props.hint.is_some().then(|| hint.clone())}
                {onchange}
            />
            <span class="toggle-words">
                <span id={format!("{id}-l")}>{ &props.label }</span>
                if let Some(words) = &props.hint { <span class="field-hint" id={hint}>{ words }</span> }
            </span>
        </label>
    }
}

/// Whether the box that an event comes from is ticked.
pub(super) fn ticked(event: &Event) -> bool {
    event.target_dyn_into::<HtmlInputElement>().is_some_and(|field| field.checked())
}
