//! Settings: language, looks, the kitchen's measures, this device, storage, and what the app is made of.

use trug_catalog::Regime;
use trug_measure::System;
use wasm_bindgen_futures::spawn_local;
use yew::prelude::*;

use super::about::About;
use super::head::{self, Change};
use super::keep::{OfferInstall, Storage};
use super::page::{Outcome, Page, Saying};
use super::raw::RawExport;
use crate::app::{apply_language, apply_scheme};
use crate::desk::use_desk;
use crate::look::{Button, Choice, Confirm, Field, Kind, Pick, Section};
use crate::platform::address;
use crate::words::{Language, spoken, t};

/// The page.
#[component]
pub(super) fn SettingsPage() -> Html {
    let desk = use_desk();
    html! {
        <Page title={t!("settings.settings")}>
            <Section title={t!("settings.reading")} bare=true><Reading /></Section>
            <Section title={t!("settings.this_device")} bare=true><Person /></Section>
            if desk.is_chef() { <Section title={t!("settings.kitchen")} bare=true><KitchenHead /></Section> }
            <Section title={t!("settings.storage")} bare=true>
                <div class="stack">
                    <Storage />
                    <OfferInstall />
                    <RawExport />
                </div>
            </Section>
            <Section title={t!("settings.about")} bare=true><About /></Section>
            <Section title={t!("settings.wipe")} bare=true><Wipe /></Section>
        </Page>
    }
}

/// Language and scheme.
#[component]
fn Reading() -> Html {
    let desk = use_desk();
    let scheme = desk.preference("scheme").unwrap_or_default();
    let languages = Language::ALL.map(|language| Pick::new(language.tag(), language.own_name())).to_vec();
    let schemes = vec![
        Pick::new("", t!("settings.scheme_auto")),
        Pick::new("light", t!("settings.scheme_light")),
        Pick::new("dark", t!("settings.scheme_dark")),
    ];
    let speak = {
        let desk = desk.clone();
        Callback::from(move |tag: AttrValue| {
            if let Some(language) = Language::of_tag(&tag) {
                apply_language(language);
                desk.prefer("language", language.tag());
            }
        })
    };
    let shade = Callback::from(move |scheme: AttrValue| {
        apply_scheme(Some(&scheme));
        desk.prefer("scheme", &scheme);
    });
    html! {
        <div class="stack">
            <Choice label={t!("settings.language")} options={languages} value={spoken().tag()} on_choose={speak} />
            <p class="soft">{ t!("settings.food_names") }</p>
            <Choice label={t!("settings.scheme")} options={schemes} value={scheme} on_choose={shade} />
        </div>
    }
}

/// The person's name, as others see it.
#[component]
fn Person() -> Html {
    let desk = use_desk();
    let name = desk.read(|device| device.name().to_owned());
    let rename = Callback::from(move |name: String| {
        desk.act(|device, now, out| device.set_name(now, name.trim(), out));
    });
    html! { <Field label={t!("start.your_name")} value={name} on_done={rename} /> }
}

/// What the kitchen's own file says.
#[component]
fn KitchenHead() -> Html {
    let desk = use_desk();
    let outcome = use_state(|| None::<Outcome>);
    let Some(Ok(now)) = desk.kitchen() else { return html! { <p>{ t!("settings.kitchen_unread") }</p> } };
    let apply = {
        let outcome = outcome.setter();
        Callback::from(move |change: Change| {
            outcome.set(head::change(&desk, &change).err().map(|why| Outcome::Wrong(why.into())));
        })
    };
    let kitchen = &now.kitchen;
    let units = vec![Pick::new("us", t!("settings.units_us")), Pick::new("metric", t!("settings.units_metric"))];
    let laws = vec![Pick::new("us", t!("settings.allergen_us")), Pick::new("eu", t!("settings.allergen_eu"))];
    let on_units =
        apply.reform(|value: AttrValue| Change::Units(if value == "metric" { System::Metric } else { System::Us }));
    let on_law = apply.reform(|value: AttrValue| Change::Regime(if value == "eu" { Regime::Eu } else { Regime::Us }));
    html! {
        <div class="stack">
            <Saying outcome={(*outcome).clone()} />
            <Field label={t!("start.kitchen_name")} value={kitchen.name.clone()} on_done={apply.reform(Change::Name)} />
            <Choice
                label={t!("settings.units")}
                options={units}
                value={if kitchen.units == System::Metric { "metric" } else { "us" }}
                on_choose={on_units}
            />
            <Field
                label={t!("settings.currency")}
                hint={Some(t!("settings.currency_hint"))}
                value={kitchen.currency.code().to_owned()}
                on_done={apply.reform(Change::Currency)}
            />
            <Choice
                label={t!("settings.allergen_law")}
                options={laws}
                value={if kitchen.regime == Regime::Eu { "eu" } else { "us" }}
                on_choose={on_law}
            />
        </div>
    }
}

/// Clears everything of the app on this device.
#[component]
fn Wipe() -> Html {
    let desk = use_desk();
    let asking = use_state(|| false);
    let outcome = use_state(|| None::<Outcome>);
    let unsent = desk.status().to_send;
    let ask = |to: bool| {
        let asking = asking.setter();
        Callback::from(move |()| asking.set(to))
    };
    let wipe = {
        let (asking, outcome) = (asking.setter(), outcome.setter());
        Callback::from(move |()| {
            asking.set(false);
            let (desk, outcome) = (desk.clone(), outcome.clone());
            spawn_local(async move { outcome.set(erased(&desk).await) });
        })
    };
    html! {
        <div class="stack">
            <p>{ t!("settings.wipe_text") }</p>
            <div class="strip">
                <Button label={t!("settings.wipe")} kind={Kind::Danger} on_press={ask(true).reform(|_: MouseEvent| ())} />
            </div>
            <Saying outcome={(*outcome).clone()} />
            if *asking {
                <Confirm
                    title={t!("settings.wipe_ask")}
                    text={t!("settings.wipe_text")}
                    deed={t!("settings.wipe_now")}
                    leave={t!("common.leave")}
                    danger=true
                    on_deed={wipe}
                    on_leave={ask(false)}
                >
                    if unsent > 0 { <p class="strong">{ t!("settings.wipe_unsent", count = unsent) }</p> }
                </Confirm>
            }
        </div>
    }
}

/// Erases everything and begins anew at the first screen; what went wrong, where something did.
pub(super) async fn erased(desk: &crate::desk::Desk) -> Option<Outcome> {
    match desk.erase().await {
        Ok(()) => {
            address::replace("");
            address::reload();
            None
        }
        Err(error) => Some(Outcome::wrong(&error)),
    }
}
