//! First open: starting empty, with the demo, from a folder, or by somebody's link.

mod empty;

use std::collections::BTreeMap;

use trug_device::sync::Instant;
use trug_device::{Device, Effect, KitchenError, Plan};
use trug_folder::Files;
use wasm_bindgen_futures::spawn_local;
use yew::prelude::*;

use crate::app::use_going;
use crate::desk::{Desk, use_desk};
use crate::look::{Button, Kind, Notice, Shape, Shell, Tone};
use crate::place::more::Join;
use crate::place::more::folder::BringIn;
use crate::platform::http;
use crate::words::t;

pub use empty::{Beginning, first_files};

/// The week that the demo's trip is for.
const DEMO_WEEK: &str = "2026-W10";
/// How long the demo's file may take, in milliseconds: a request that hangs is given up soon, a slow one is waited for.
const PATIENCE: [u32; 2] = [8_000, 30_000];

/// The screen. `rest` is what follows the place's name in the address.
#[derive(Properties, PartialEq)]
pub struct WelcomeProps {
    /// Where in the place.
    #[prop_or_default]
    pub rest: AttrValue,
}

/// What is being done on this screen.
#[derive(Clone, PartialEq)]
enum Doing {
    Choosing,
    Naming,
    Working,
    Wrong(String),
}

/// First open.
#[component]
pub fn Welcome(_: &WelcomeProps) -> Html {
    let (desk, going) = (use_desk(), use_going());
    let doing = use_state(|| Doing::Choosing);
    if going.invited.is_some() || going.at.starts_with("join") {
        return html! { <Join /> };
    }
    let demo = {
        let (desk, doing, go) = (desk.clone(), doing.setter(), going.go.clone());
        Callback::from(move |_: MouseEvent| {
            let (desk, doing, go) = (desk.clone(), doing.clone(), go.clone());
            doing.set(Doing::Working);
            spawn_local(async move {
                match bring_in_demo(&desk).await {
                    Ok(()) => go.emit("shop".to_owned()),
                    Err(wrong) => doing.set(Doing::Wrong(wrong)),
                }
            });
        })
    };
    let name = {
        let doing = doing.setter();
        Callback::from(move |_: MouseEvent| doing.set(Doing::Naming))
    };
    let back = {
        let doing = doing.setter();
        Callback::from(move |()| doing.set(Doing::Choosing))
    };
    let working = *doing == Doing::Working;
    let inner = match &*doing {
        Doing::Naming => html! { <Beginning on_back={back} /> },
        _ => html! { <>
            <p class="welcome-lead">{ t!("start.text") }</p>
            if let Doing::Wrong(wrong) = &*doing {
                <Notice tone={Tone::Trouble}>{ wrong.clone() }</Notice>
            }
            <div class="welcome-choices">
                <Choosing label={t!("start.empty")} text={t!("start.empty_text")} icon={Some(Shape::Week)} on_press={name} />
                <Choosing label={t!("start.demo")} text={t!("start.demo_text")} icon={Some(Shape::Basket)} busy={working} on_press={demo} />
                <BringIn first=true />
            </div>
            <div class="welcome-else">
                <Button label={t!("start.link")} kind={Kind::Quiet} on_press={going.to("join")} />
                <Button label={t!("start.recover")} kind={Kind::Quiet} on_press={going.to("join/recover")} />
            </div>
        </> },
    };
    html! { <Shell title={t!("start.title")}><div class="welcome">{ inner }</div></Shell> }
}

/// One of the ways to begin.
#[derive(Properties, PartialEq)]
pub struct ChoosingProps {
    /// What it does.
    pub label: AttrValue,
    /// What that comes to.
    pub text: AttrValue,
    /// Its drawing.
    #[prop_or_default]
    pub icon: Option<Shape>,
    /// It is at work.
    #[prop_or_default]
    pub busy: bool,
    /// Told when it is chosen.
    pub on_press: Callback<MouseEvent>,
}

/// A way to begin, with what it comes to beneath.
#[component]
pub fn Choosing(props: &ChoosingProps) -> Html {
    html! {
        <div class="welcome-choice">
            <Button
                label={props.label.clone()}
                kind={Kind::Main}
                wide=true
                icon={props.icon}
                busy={props.busy}
                on_press={props.on_press.clone()}
            />
            <p>{ props.text.clone() }</p>
        </div>
    }
}

/// A file's texts, as the demo has them.
fn files_of(texts: BTreeMap<String, String>) -> Files {
    let mut files = Files::new();
    for (path, text) in texts {
        // The demo is our own; a path that leads out of it would be found when it is read.
        let _ = files.insert(&path, text.into_bytes());
    }
    files
}

/// What the page says under a name.
pub(crate) fn page_says(name: &str) -> Option<String> {
    let element = gloo::utils::document().query_selector(&format!("meta[name=\"{name}\"]")).ok()??;
    element.get_attribute("content")
}

async fn bring_in_demo(desk: &Desk) -> Result<(), String> {
    let address = page_says("trug-demo").ok_or_else(|| t!("error.not_found").to_string())?;
    let [soon, at_last] = PATIENCE;
    let answer = match fetch(&address, soon).await {
        Ok(answer) => answer,
        Err(_) => fetch(&address, at_last).await.map_err(|error| error.to_string())?,
    };
    take_demo_in(desk, &answer.body)
}

async fn fetch(address: &str, patience: u32) -> Result<http::Response, http::NetError> {
    http::send("GET", &absolute(address), &[], None, patience).await
}

/// Takes the demo in, from its file; else says what is wrong, for a person.
fn take_demo_in(desk: &Desk, file: &[u8]) -> Result<(), String> {
    let texts: BTreeMap<String, String> =
        serde_json::from_slice(file).map_err(|_| t!("error.not_found").to_string())?;
    desk.act(|device, now, out| demo_in(device, now, &files_of(texts), out)).map_err(|error| error.to_string())?;
    desk.prefer("demo", "1");
    Ok(())
}

/// The address of a file that came with the app.
pub(crate) fn absolute(address: &str) -> String {
    let base = crate::platform::address::app().unwrap_or_default();
    let folder = base.rsplit_once('/').map_or("", |(folder, _)| folder);
    format!("{folder}/{}", address.trim_start_matches("./"))
}

/// The demo kitchen, with a trip to look at.
fn demo_in(device: &mut Device, now: Instant, files: &Files, out: &mut Vec<Effect>) -> Result<(), KitchenError> {
    device.import(now, files, out)?;
    let (kitchen, _) = device.kitchen()?;
    let plan = Plan { week: DEMO_WEEK.to_owned(), households: Vec::new(), store: None };
    // A demo without a trip is a demo all the same.
    let _ = device.start_trip(now, &kitchen, &plan, &crate::place::week::trip_title(&kitchen, DEMO_WEEK), out);
    Ok(())
}
