//! What is written into.

use web_sys::{HtmlInputElement, HtmlSelectElement, HtmlTextAreaElement};
use yew::prelude::*;

use super::button::Button;
use super::choice::Pick;
use super::icon::{Shape, icon};
use super::id::{together, use_id};

/// What a field is for, which says which keyboard a phone brings up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Input {
    /// Words.
    #[default]
    Text,
    /// Whole numbers.
    Number,
    /// An amount or a price: `1.5`, `1 1/2`. Read by the app, not by the browser, which would refuse a fraction.
    Decimal,
    /// A day.
    Date,
    /// An address of a relay or an invitation.
    Address,
    /// Words to look for.
    Search,
}

impl Input {
    fn kind(self) -> &'static str {
        match self {
            // An address is read by the app as well: the browser says what is wrong with one in its own words.
            Self::Text | Self::Number | Self::Decimal | Self::Address => "text",
            Self::Date => "date",
            Self::Search => "search",
        }
    }

    fn mode(self) -> Option<&'static str> {
        match self {
            Self::Number => Some("numeric"),
            Self::Decimal => Some("decimal"),
            Self::Address => Some("url"),
            Self::Search => Some("search"),
            Self::Text | Self::Date => None,
        }
    }
}

/// A label, what it asks for, and what is wrong with what was written.
#[derive(Properties, PartialEq)]
struct AroundProps {
    id: AttrValue,
    label: AttrValue,
    hint: Option<AttrValue>,
    error: Option<AttrValue>,
    hidden: bool,
    children: Html,
}

#[component]
fn Around(props: &AroundProps) -> Html {
    let id = &props.id;
    let label = classes!(if props.hidden { "unseen" } else { "field-label" });
    html! {
        <div class="field">
            <label class={label} for={id.clone()}>{ &props.label }</label>
            if let Some(hint) = &props.hint {
                <span class="field-hint" id={format!("{id}-h")}>{ hint }</span>
            }
            { props.children.clone() }
            // Always there, so that a message that arrives is read out.
            <span id={format!("{id}-e")} aria-live="polite">
                if let Some(error) = &props.error {
                    <span class="field-error">{ icon(Shape::Care) }<span>{ error }</span></span>
                }
            </span>
        </div>
    }
}

fn described(id: &str, hint: bool, error: bool) -> Option<AttrValue> {
    together(&[(hint, id, "-h"), (error, id, "-e")])
}

/// A field of one line.
#[derive(Properties, PartialEq)]
pub struct FieldProps {
    /// What it asks for.
    pub label: AttrValue,
    /// What stands in it.
    #[prop_or_default]
    pub value: AttrValue,
    /// Told at every letter.
    #[prop_or_default]
    pub on_input: Callback<String>,
    /// Told when the person is done with it (the browser's `change`).
    #[prop_or_default]
    pub on_done: Callback<String>,
    /// What kind of field.
    #[prop_or_default]
    pub input: Input,
    /// How to fill it in.
    #[prop_or_default]
    pub hint: Option<AttrValue>,
    /// What is wrong with it, and what would be right.
    #[prop_or_default]
    pub error: Option<AttrValue>,
    /// The label is heard but not seen; only where the place makes it plain.
    #[prop_or_default]
    pub hide_label: bool,
    /// It must be filled in; what is said where it is not. Empty where it need not be.
    #[prop_or_default]
    pub needed: AttrValue,
    /// It cannot be written in now.
    #[prop_or_default]
    pub disabled: bool,
    /// What to offer while writing.
    #[prop_or_default]
    pub suggestions: Vec<AttrValue>,
    /// What stands beside it on the same line: a unit, a button.
    #[prop_or_default]
    pub children: Html,
    /// To reach the element, for the focus.
    #[prop_or_default]
    pub node: NodeRef,
}

/// A labelled field of one line.
#[component]
pub fn Field(props: &FieldProps) -> Html {
    let id = use_id();
    let lacks = use_state(|| false);
    let error = props.error.clone().or_else(|| lacks.then(|| props.needed.clone()));
    // A field whose label is not seen says in itself what it is for.
    let inside = props.hide_label.then(|| props.label.clone());
    let list = (!props.suggestions.is_empty()).then(|| AttrValue::from(format!("{id}-l")));
    let oninput = {
        let lacks = lacks.setter();
        props.on_input.reform(move |event: InputEvent| {
            lacks.set(false);
            text_of(&event)
        })
    };
    let onchange = props.on_done.reform(|event: Event| text_of(&event));
    let oninvalid = {
        let (lacks, is_needed) = (lacks.setter(), !props.needed.is_empty());
        // A date that is half written is the browser's to explain where nothing need be there.
        Callback::from(move |event: Event| {
            if is_needed {
                lacks.set(true);
                say_it_here(&event);
            }
        })
    };
    html! {
        <Around id={&id} label={&props.label} hint={props.hint.clone()} error={error.clone()} hidden={props.hide_label}>
            <div class="field-with">
                <input
                    ref={props.node.clone()}
                    id={&id}
                    class="input"
                    type={props.input.kind()}
                    inputmode={props.input.mode()}
                    value={&props.value}
                    list={list.clone()}
                    placeholder={inside}
                    autocomplete="off"
                    required={!props.needed.is_empty()}
                    autocapitalize={(props.input == Input::Address).then_some("none")}
                    spellcheck={(props.input == Input::Address).then_some("false")}
                    disabled={props.disabled}
                    aria-invalid={error.is_some().then_some("true")}
                    aria-describedby={described(&id, props.hint.is_some(), error.is_some())}
                    {oninput}
                    {onchange}
                    {oninvalid}
                />
                { props.children.clone() }
            </div>
            if let Some(list) = list {
                <datalist id={list}>
                    { for props.suggestions.iter().map(|one| html! { <option value={one} /> }) }
                </datalist>
            }
        </Around>
    }
}

/// The browser would say what is wrong in a bubble of its own, in its own language, and then take the reader to the first
/// such field; that is left to be done.
fn say_it_here(event: &Event) {
    event.prevent_default();
    let Some(field) = event.target_dyn_into::<HtmlInputElement>() else { return };
    let form = field.closest("form").ok().flatten();
    let first = form.and_then(|form| form.query_selector("input:invalid").ok().flatten());
    if first.is_none_or(|first| first == **field) {
        // One that cannot have the focus is not shown either.
        let _ = field.focus();
    }
}

fn text_of(event: &Event) -> String {
    event.target_dyn_into::<HtmlInputElement>().map(|field| field.value()).unwrap_or_default()
}

/// A field of several lines.
#[derive(Properties, PartialEq)]
pub struct TextAreaProps {
    /// What it asks for.
    pub label: AttrValue,
    /// What stands in it.
    #[prop_or_default]
    pub value: AttrValue,
    /// Told at every letter.
    #[prop_or_default]
    pub on_input: Callback<String>,
    /// How to fill it in.
    #[prop_or_default]
    pub hint: Option<AttrValue>,
    /// What is wrong with it, and what would be right.
    #[prop_or_default]
    pub error: Option<AttrValue>,
    /// How many lines it shows at first.
    #[prop_or(6)]
    pub rows: u32,
}

/// A labelled field of several lines.
#[component]
pub fn TextArea(props: &TextAreaProps) -> Html {
    let id = use_id();
    let oninput = props.on_input.reform(|event: InputEvent| {
        event.target_dyn_into::<HtmlTextAreaElement>().map(|field| field.value()).unwrap_or_default()
    });
    html! {
        <Around id={&id} label={&props.label} hint={props.hint.clone()} error={props.error.clone()} hidden={false}>
            <textarea
                id={&id}
                class={classes!("input", (props.rows < 4).then_some("input-low"))}
                rows={props.rows.to_string()}
                value={&props.value}
                autocomplete="off"
                aria-invalid={props.error.is_some().then_some("true")}
                aria-describedby={described(&id, props.hint.is_some(), props.error.is_some())}
                {oninput}
            />
        </Around>
    }
}

/// One of many, from a list that opens.
#[derive(Properties, PartialEq)]
pub struct SelectProps {
    /// What it asks for.
    pub label: AttrValue,
    /// What can be chosen.
    pub options: Vec<Pick>,
    /// The value chosen.
    pub value: AttrValue,
    /// Told the value that was chosen.
    #[prop_or_default]
    pub on_choose: Callback<AttrValue>,
    /// How to choose.
    #[prop_or_default]
    pub hint: Option<AttrValue>,
    /// What is wrong with it.
    #[prop_or_default]
    pub error: Option<AttrValue>,
    /// The label is heard but not seen.
    #[prop_or_default]
    pub hide_label: bool,
    /// It cannot be changed now.
    #[prop_or_default]
    pub disabled: bool,
}

/// A labelled list to choose one from. For up to four, take a `Choice`: everything is in sight there.
#[component]
pub fn Select(props: &SelectProps) -> Html {
    let id = use_id();
    let onchange = props.on_choose.reform(|event: Event| {
        event.target_dyn_into::<HtmlSelectElement>().map(|field| AttrValue::from(field.value())).unwrap_or_default()
    });
    html! {
        <Around id={&id} label={&props.label} hint={props.hint.clone()} error={props.error.clone()} hidden={props.hide_label}>
            <select
                id={&id}
                class="input"
                disabled={props.disabled}
                aria-invalid={props.error.is_some().then_some("true")}
                aria-describedby={described(&id, props.hint.is_some(), props.error.is_some())}
                {onchange}
            >
                { for props.options.iter().map(|one| html! {
                    <option value={&one.value} selected={one.value == props.value}>{ &one.label }</option>
                }) }
            </select>
        </Around>
    }
}

/// An amount with a button on either side.
#[derive(Properties, PartialEq)]
pub struct AmountProps {
    /// Of what it is the amount.
    pub label: AttrValue,
    /// The figure.
    pub value: AttrValue,
    /// The unit, beside it.
    #[prop_or_default]
    pub unit: AttrValue,
    /// What the button with the minus is called.
    pub less: AttrValue,
    /// What the button with the plus is called.
    pub more: AttrValue,
    /// Told at every figure written.
    #[prop_or_default]
    pub on_input: Callback<String>,
    /// Told when the person is done with it (the browser's `change`).
    #[prop_or_default]
    pub on_done: Callback<String>,
    /// Told when the minus is pressed.
    #[prop_or_default]
    pub on_less: Callback<MouseEvent>,
    /// Told when the plus is pressed.
    #[prop_or_default]
    pub on_more: Callback<MouseEvent>,
    /// There is no less than this.
    #[prop_or_default]
    pub least: bool,
    /// What is wrong with it.
    #[prop_or_default]
    pub error: Option<AttrValue>,
}

/// Less, the figure, more: for a thumb, with the keyboard as the other way.
#[component]
pub fn Amount(props: &AmountProps) -> Html {
    let id = use_id();
    let oninput = props.on_input.reform(|event: InputEvent| text_of(&event));
    let onchange = props.on_done.reform(|event: Event| text_of(&event));
    html! {
        <Around id={&id} label={&props.label} error={props.error.clone()} hint={None::<AttrValue>} hidden={false}>
            <div class="amount">
                <Button label={&props.less} bare=true icon={Shape::Minus} on_press={props.on_less.clone()} disabled={props.least} />
                <input
                    id={&id}
                    class="input"
                    type="text"
                    inputmode="decimal"
                    autocomplete="off"
                    value={&props.value}
                    aria-invalid={props.error.is_some().then_some("true")}
                    aria-describedby={together(&[(!props.unit.is_empty(), &id, "-u"), (props.error.is_some(), &id, "-e")])}
                    {oninput}
                    {onchange}
                />
                if !props.unit.is_empty() { <span id={format!("{id}-u")}>{ &props.unit }</span> }
                <Button label={&props.more} bare=true icon={Shape::Plus} on_press={props.on_more.clone()} />
            </div>
        </Around>
    }
}
