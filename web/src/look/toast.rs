//! Short messages with a way back.

use gloo::timers::callback::Timeout;
use yew::prelude::*;

use super::button::{Button, Kind};
use super::icon::Shape;

/// How long a message stays. Whatever it offers can also be done elsewhere, so that nobody has to hurry.
const STAYS_MS: u32 = 10_000;

/// A short message.
#[derive(Clone, Debug, PartialEq)]
pub struct Toast {
    /// Tells it from the others.
    pub id: u32,
    /// What happened.
    pub text: AttrValue,
    /// The way back: what it is called, and whom to tell.
    pub undo: Option<(AttrValue, Callback<()>)>,
}

/// The messages there are.
#[derive(Properties, PartialEq)]
pub struct ToastsProps {
    /// The messages, oldest first.
    pub items: Vec<Toast>,
    /// What the place is called, for a screen reader.
    pub label: AttrValue,
    /// What the button that puts a message away is called.
    pub close: AttrValue,
    /// Told which message has had its time or was put away.
    pub on_gone: Callback<u32>,
}

/// Messages above the places, read out politely. Keep this part on the page while it is empty: a live region has to be
/// there before what it is to read.
#[component]
pub fn Toasts(props: &ToastsProps) -> Html {
    html! {
        <div class="toasts" role="log" aria-live="polite" aria-label={&props.label}>
            { for props.items.iter().map(|toast| html! {
                <One key={toast.id} toast={toast.clone()} close={&props.close} on_gone={props.on_gone.clone()} />
            }) }
        </div>
    }
}

#[derive(Properties, PartialEq)]
struct OneProps {
    toast: Toast,
    close: AttrValue,
    on_gone: Callback<u32>,
}

/// One message. Its time stands still while a pointer or the focus is on it.
#[component]
fn One(props: &OneProps) -> Html {
    let held = use_state(|| false);
    let id = props.toast.id;
    let gone = props.on_gone.reform(move |()| id);
    use_effect_with((*held, id), {
        let gone = gone.clone();
        move |(held, _)| {
            let timer = (!held).then(|| Timeout::new(STAYS_MS, move || gone.emit(())));
            move || drop(timer)
        }
    });
    let hold = |on: bool| {
        let held = held.clone();
        move || held.set(on)
    };
    let (enter, leave, focus, blur) = (hold(true), hold(false), hold(true), hold(false));
    let undo = props.toast.undo.as_ref().map(|(label, tell)| {
        let (tell, gone) = (tell.clone(), gone.clone());
        let on_press = Callback::from(move |_: MouseEvent| {
            tell.emit(());
            gone.emit(());
        });
        html! { <Button {label} {on_press} icon={Shape::Undo} /> }
    });
    html! {
        <div
            class="toast"
            onpointerenter={move |_| enter()}
            onpointerleave={move |_| leave()}
            onfocusin={move |_| focus()}
            onfocusout={move |_| blur()}
        >
            <span class="toast-words">{ &props.toast.text }</span>
            <span class="toast-acts">
                { for undo }
                <Button label={&props.close} bare=true icon={Shape::Close} kind={Kind::Quiet} on_press={gone.reform(|_: MouseEvent| ())} />
            </span>
        </div>
    }
}
