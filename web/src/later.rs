//! What the first screen does not need, in a second module of WebAssembly.
//!
//! The list can be used when the first module is there: the desk, the kit, the list itself. Everything else is reached
//! through [`Later`] and comes after the first drawing: the week, the pantries, what is behind More, whatever is laid over
//! the list, and reading the kitchen folder. The build takes it out of the first module (feature `apart`); without the
//! feature it is all one, as in tests.

use std::borrow::Cow;
use std::cell::Cell;
use std::rc::Rc;

use thiserror::Error;
use trug_catalog::{Catalog, RawKind};
use trug_device::{Device, Unsettled};
use trug_provision::kitchen::Kitchen;
use wasm_bindgen_futures::spawn_local;
use yew::prelude::*;

use crate::desk::Desk;
use crate::look::{Button, Notice, Tone};
use crate::place::shop::{Aside, Hands, OverList, behind, trips};
use crate::place::standing::Standing;
use crate::place::{more, pantries, week, welcome};
use crate::words::{rest, t};

/// A kitchen, and what of its stock is not counted; or what is wrong in it, for a person.
pub type Reading = Result<(Kitchen, Vec<Unsettled>), Rc<str>>;

/// What can be asked of the second module.
#[derive(Clone, Copy)]
pub struct Later {
    draw: fn(&Scene) -> Html,
    /// Reads the kitchen of a device.
    pub kitchen: fn(&Device) -> Reading,
    /// Brings trips up to date with their plans.
    pub follow: fn(&Desk),
    /// Whether a food is raw meat, poultry or fish, by its name in the catalogue.
    pub is_raw: fn(&str) -> bool,
    /// Text as names are looked up by: without case, accents and endings.
    pub fold: fn(&str) -> String,
    /// The words of what is drawn here, by language and key.
    pub words: fn(&str, &str) -> Option<Cow<'static, str>>,
    /// What the list asks.
    pub(crate) shop: Aside,
}

/// Something that the second module draws.
#[derive(Clone, PartialEq)]
pub enum Scene {
    /// A place, and where in it.
    Week(AttrValue),
    /// A place, and where in it.
    Pantries(AttrValue),
    /// A place, and where in it.
    More(AttrValue),
    /// All shopping trips.
    Trips,
    /// What lies over the list, or has to be decided on it.
    OverList(Rc<OverList>),
    /// That a trip is behind its plan.
    Behind(Hands),
    /// First open.
    Welcome,
    /// What concerns every screen.
    Standing,
    /// The mark of the demo kitchen.
    DemoMark,
    /// Handing over what this browser keeps, as it is.
    RawExport,
}

/// The second module did not come: no network, and it was not kept before.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("the second module did not come")]
pub struct Missing;

#[cfg(feature = "apart")]
impl From<wasm_split_helpers::SplitLoaderError> for Missing {
    fn from(_: wasm_split_helpers::SplitLoaderError) -> Self {
        Self
    }
}

thread_local! {
    static HERE: Cell<Option<Later>> = const { Cell::new(None) };
}

/// The second module, once it is here.
#[must_use]
pub fn here() -> Option<Later> {
    HERE.with(Cell::get)
}

/// The second module, as soon as it is here.
///
/// # Errors
/// [`Missing`]; asking again tries again.
pub async fn load() -> Result<Later, Missing> {
    if let Some(later) = here() {
        return Ok(later);
    }
    #[cfg(feature = "apart")]
    let later = apart().await?;
    #[cfg(not(feature = "apart"))]
    let later = apart()?;
    HERE.with(|here| here.set(Some(later)));
    Ok(later)
}

/// Where the second module begins: what is reached from here alone goes into it.
#[cfg_attr(feature = "apart", wasm_split_helpers::wasm_split(later, fallible))]
#[allow(clippy::unnecessary_wraps, reason = "apart from the rest, it may fail to come")]
fn apart() -> Result<Later, Missing> {
    Ok(Later {
        draw,
        kitchen: |device| device.kitchen().map_err(|error| error.to_string().into()),
        follow: Desk::follow_plans,
        is_raw,
        fold: trug_catalog::fold,
        words: rest::translate,
        shop: Aside::here(),
    })
}

fn is_raw(food: &str) -> bool {
    let catalog = Catalog::builtin();
    let kind = catalog.find(food).and_then(|found| catalog.get(found.food).raw);
    kind.is_some_and(|kind| kind != RawKind::Egg)
}

fn draw(scene: &Scene) -> Html {
    match scene {
        Scene::Week(rest) => html! { <week::Week {rest} /> },
        Scene::Pantries(rest) => html! { <pantries::Pantries {rest} /> },
        Scene::More(rest) => html! { <more::More {rest} /> },
        Scene::Trips => trips(),
        Scene::OverList(over) => over.draw(),
        Scene::Behind(hands) => behind(hands),
        Scene::Welcome => html! { <welcome::Welcome /> },
        Scene::Standing => html! { <Standing /> },
        Scene::DemoMark => html! { <more::DemoMark /> },
        Scene::RawExport => html! { <more::RawExport /> },
    }
}

/// Fetches the second module, and has everything drawn anew when it is here.
pub fn fetch(desk: &Desk) {
    let desk = desk.clone();
    spawn_local(async move {
        // Where it does not come, whatever is drawn of it says so.
        if load().await.is_ok() {
            desk.changed();
        }
    });
}

/// What is drawn.
#[derive(Properties, PartialEq)]
pub struct InTimeProps {
    /// What.
    pub scene: Scene,
    /// What stands there until then.
    #[prop_or_else(opening)]
    pub meanwhile: Html,
    /// Nothing is said where it does not come: something else on the screen will say so, once it is asked for.
    #[prop_or_default]
    pub quiet: bool,
}

/// That something is coming. The status is the word on sync alone, so this is none.
pub fn opening() -> Html {
    html! { <p class="opening" aria-live="polite">{ t!("common.opening") }</p> }
}

/// A scene of the second module, as soon as that is here; needs no desk.
#[component]
pub fn InTime(props: &InTimeProps) -> Html {
    let missing = use_state(|| false);
    let redraw = use_force_update();
    let ask = {
        let missing = missing.setter();
        Callback::from(move |()| {
            let (missing, redraw) = (missing.clone(), redraw.clone());
            spawn_local(async move {
                let loaded = load().await;
                missing.set(loaded.is_err());
                redraw.force_update();
            });
        })
    };
    {
        let ask = ask.clone();
        use_effect_with((), move |()| {
            if here().is_none() {
                ask.emit(());
            }
        });
    }
    if let Some(later) = here() {
        return (later.draw)(&props.scene);
    }
    if !*missing || props.quiet {
        return props.meanwhile.clone();
    }
    html! {
        <Notice tone={Tone::Trouble} title={t!("error.part_missing")}>
            <Button label={t!("error.again")} on_press={ask.reform(|_: MouseEvent| ())} />
        </Notice>
    }
}
