//! The mark of the demo kitchen, and throwing it away.

use wasm_bindgen_futures::spawn_local;
use yew::prelude::*;

use super::page::{Outcome, Saying};
use super::settings::erased;
use crate::app::is_demo;
use crate::desk::use_desk;
use crate::look::{Button, Confirm, Notice, Tone};
use crate::words::t;

/// Says that this is the demo, where it is, with the way out of it.
#[component]
pub fn DemoMark() -> Html {
    let desk = use_desk();
    let asking = use_state(|| false);
    let outcome = use_state(|| None::<Outcome>);
    if !is_demo(&desk) {
        return Html::default();
    }
    let ask = |to: bool| {
        let asking = asking.setter();
        Callback::from(move |()| asking.set(to))
    };
    let throw = {
        let (asking, outcome) = (asking.setter(), outcome.setter());
        Callback::from(move |()| {
            asking.set(false);
            let (desk, outcome) = (desk.clone(), outcome.clone());
            spawn_local(async move { outcome.set(erased(&desk).await) });
        })
    };
    html! { <>
        <Notice tone={Tone::Plain} title={t!("common.demo_mark")}>
            <p>{ t!("start.demo_banner") }</p>
            <Button label={t!("start.demo_throw")} on_press={ask(true).reform(|_: MouseEvent| ())} />
        </Notice>
        <Saying outcome={(*outcome).clone()} />
        if *asking {
            <Confirm
                title={t!("start.demo_throw_ask")}
                text={t!("start.demo_throw_text")}
                deed={t!("start.demo_throw")}
                leave={t!("common.leave")}
                danger=true
                on_deed={throw}
                on_leave={ask(false)}
            />
        }
    </> }
}
