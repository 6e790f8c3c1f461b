//! Dialogs: the browser's own `<dialog>`, which keeps the focus inside and the rest of the page out of reach.

use gloo::events::EventListener;
use wasm_bindgen::JsCast;
use web_sys::{HtmlDialogElement, HtmlElement};
use yew::prelude::*;

use super::button::{Button, Kind};
use super::icon::Shape;
use super::id::use_id;

/// A dialog. It is open for as long as it is on the page: the parent leaves it out to close it.
#[derive(Properties, PartialEq)]
pub struct SheetProps {
    /// Its name.
    pub title: AttrValue,
    /// What the button with the cross is called. Without a name there is none: then a button at the foot closes.
    #[prop_or_default]
    pub close: AttrValue,
    /// Told when the person wants it closed, by the cross, the Escape key or the phone's way back.
    pub on_close: Callback<()>,
    /// No higher than what is in it, at the bottom of a small screen, for a question or a few buttons.
    #[prop_or_default]
    pub short: bool,
    /// It is printed, instead of being left out on paper.
    #[prop_or_default]
    pub on_paper: bool,
    /// What is in it.
    #[prop_or_default]
    pub children: Html,
    /// Buttons that stay in reach at its foot; the main one first, it stands nearest to the thumb.
    #[prop_or_default]
    pub foot: Html,
}

/// All of a small screen, a card on a large one. The focus comes back to where it was when it closes.
#[component]
pub fn Sheet(props: &SheetProps) -> Html {
    let id = use_id();
    let node = use_node_ref();
    use_modal(&node, &props.on_close);
    let on_cross = props.on_close.reform(|_: MouseEvent| ());
    html! {
        <dialog
            ref={node}
            class={classes!("sheet", props.short.then_some("sheet-short"), props.on_paper.then_some("on-paper"))}
            aria-labelledby={&id}
        >
            <div class="sheet-inner">
                <div class="sheet-head">
                    <h2 id={&id} tabindex="-1" autofocus=true>{ &props.title }</h2>
                    if !props.close.is_empty() {
                        <Button label={&props.close} bare=true icon={Shape::Close} kind={Kind::Quiet} on_press={on_cross} />
                    }
                </div>
                <div class="sheet-body">{ props.children.clone() }</div>
                if props.foot != Html::default() { <div class="sheet-foot">{ props.foot.clone() }</div> }
            </div>
        </dialog>
    }
}

/// Opens the dialog once it stands on the page, hears of its closing, and gives the focus back.
#[hook]
fn use_modal(node: &NodeRef, on_close: &Callback<()>) {
    // The dialog is opened once; whom to tell may change while it is open.
    let tell = use_mut_ref(|| on_close.clone());
    tell.replace(on_close.clone());
    let node = node.clone();
    use_effect_with((), move |()| {
        let before = focused();
        let dialog = node.cast::<HtmlDialogElement>();
        let heard = dialog.as_ref().map(|dialog| {
            // The browser refuses only what is not on the page or open already.
            let _ = dialog.show_modal();
            EventListener::new(dialog, "close", move |_| {
                let tell = tell.borrow().clone();
                tell.emit(());
            })
        });
        move || {
            drop(heard);
            if let Some(dialog) = dialog {
                dialog.close();
            }
            if let Some(before) = before {
                let _ = before.focus();
            }
        }
    });
}

fn focused() -> Option<HtmlElement> {
    gloo::utils::document().active_element().and_then(|element| element.dyn_into().ok())
}

/// A question with two answers.
#[derive(Properties, PartialEq)]
pub struct ConfirmProps {
    /// The question.
    pub title: AttrValue,
    /// What will happen.
    #[prop_or_default]
    pub text: AttrValue,
    /// What the button that does it is called: the deed, not `yes`.
    pub deed: AttrValue,
    /// What the button that leaves everything as it is is called.
    pub leave: AttrValue,
    /// It takes something away.
    #[prop_or_default]
    pub danger: bool,
    /// Told when it is to be done.
    pub on_deed: Callback<()>,
    /// Told when it is not.
    pub on_leave: Callback<()>,
    /// More about what will happen.
    #[prop_or_default]
    pub children: Html,
}

/// Asks before something that cannot be undone.
#[component]
pub fn Confirm(props: &ConfirmProps) -> Html {
    let deed = props.on_deed.reform(|_: MouseEvent| ());
    let leave = props.on_leave.reform(|_: MouseEvent| ());
    let kind = if props.danger { Kind::Danger } else { Kind::Main };
    let foot = html! {
        <>
            <Button label={&props.deed} {kind} on_press={deed} />
            <Button label={&props.leave} on_press={leave} />
        </>
    };
    html! {
        <Sheet title={&props.title} on_close={props.on_leave.clone()} short=true {foot}>
            if !props.text.is_empty() { <p>{ &props.text }</p> }
            { props.children.clone() }
        </Sheet>
    }
}
