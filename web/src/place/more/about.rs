//! Which version this is, whether there is a newer one, and whose work is in it.

use serde_json::Value;
use wasm_bindgen_futures::spawn_local;
use yew::prelude::*;

use crate::look::{Button, Disclosure, Notice, Tone};
use crate::place::welcome::{absolute, page_says};
use crate::platform::http;
use crate::platform::updates::{self, Updates};
use crate::words::t;

/// How long the list of licences may take, in milliseconds.
const PATIENCE: u32 = 30_000;

/// Version, updates, licences.
#[component]
pub(super) fn About() -> Html {
    let version = page_says("trug-version").unwrap_or_default();
    html! {
        <div class="stack">
            <p>{ t!("settings.version", version = version) }</p>
            <Newer />
            <Licences />
        </div>
    }
}

/// Asks the server for a new version. Where one comes, the notice that stands on every screen offers it.
#[component]
fn Newer() -> Html {
    let watch = use_mut_ref(|| None::<Updates>);
    let looked = use_state(|| None::<bool>);
    {
        let watch = watch.clone();
        use_effect_with((), move |()| {
            // What it tells is told to the notice as well.
            *watch.borrow_mut() = updates::watch(|_| {});
            move || drop(watch.borrow_mut().take())
        });
    }
    let look = {
        let looked = looked.setter();
        Callback::from(move |_: MouseEvent| {
            let Some(updates) = watch.borrow_mut().take() else { return looked.set(Some(false)) };
            let (watch, looked) = (watch.clone(), looked.clone());
            spawn_local(async move {
                updates.check().await;
                looked.set(Some(updates.waiting()));
                watch.borrow_mut().replace(updates);
            });
        })
    };
    html! { <>
        <div class="strip"><Button label={t!("settings.update_check")} on_press={look} /></div>
        <p aria-live="polite">{ match *looked {
            Some(true) => t!("common.update_title"),
            Some(false) => t!("settings.update_none"),
            None => AttrValue::default(),
        } }</p>
    </> }
}

/// One of the works in the app.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Work {
    name: String,
    licence: String,
    /// Where its texts stand among the list's.
    texts: Vec<usize>,
}

/// Whose work is in the app, and under which licences.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct List {
    works: Vec<Work>,
    texts: Vec<String>,
}

/// Unfolds the list; it is fetched when somebody wants it, and is there without a network as everything else is.
#[component]
fn Licences() -> Html {
    let list = use_state(|| None::<Result<List, AttrValue>>);
    let fetch = {
        let list = list.clone();
        Callback::from(move |open: bool| {
            if open && !matches!(&*list, Some(Ok(_))) {
                let list = list.setter();
                spawn_local(async move { list.set(Some(fetched().await)) });
            }
        })
    };
    html! {
        <Disclosure title={t!("settings.licences")} on_turn={fetch}>
            <div class="stack">
                <p>{ t!("settings.licences_text") }</p>
                { match &*list {
                    None => html! { <p aria-live="polite">{ t!("common.loading") }</p> },
                    Some(Err(why)) => html! { <Notice tone={Tone::Trouble}>{ why.clone() }</Notice> },
                    Some(Ok(list)) => html! { <Works list={list.clone()} /> },
                } }
            </div>
        </Disclosure>
    }
}

#[derive(Properties, PartialEq)]
struct WorksProps {
    list: List,
}

/// The list; the texts of one work are drawn when it is unfolded, for they are long.
#[component]
fn Works(props: &WorksProps) -> Html {
    let open = use_state(|| None::<usize>);
    html! { <>
        { for props.list.works.iter().enumerate().map(|(at, work)| {
            let turn = {
                let open = open.setter();
                Callback::from(move |turned: bool| if turned { open.set(Some(at)) })
            };
            let texts = work.texts.iter().filter_map(|place| props.list.texts.get(*place));
            html! {
                <Disclosure key={at} title={work.name.clone()} count={work.licence.clone()} on_turn={turn}>
                    if *open == Some(at) {
                        { for texts.map(|text| html! { <pre class="licence">{ text.clone() }</pre> }) }
                    }
                </Disclosure>
            }
        }) }
    </> }
}

async fn fetched() -> Result<List, AttrValue> {
    let address = page_says("trug-licences").ok_or_else(|| t!("error.not_found"))?;
    let answer = http::send("GET", &absolute(&address), &[], None, PATIENCE).await;
    let answer = answer.map_err(|error| AttrValue::from(error.to_string()))?;
    read(&answer.body).ok_or_else(|| t!("error.not_found"))
}

/// Reads the list as the build writes it: `{"crates": [{"name", "version", "licence", "texts"}], "texts": []}`.
fn read(json: &[u8]) -> Option<List> {
    let value: Value = serde_json::from_slice(json).ok()?;
    let text = |value: &Value, name: &str| value.get(name).and_then(Value::as_str).unwrap_or_default().to_owned();
    let places = |value: &Value| -> Vec<usize> {
        let places = value.get("texts").and_then(Value::as_array).into_iter().flatten();
        places.filter_map(|place| usize::try_from(place.as_u64()?).ok()).collect()
    };
    let works = value.get("crates")?.as_array()?.iter().map(|work| Work {
        name: format!("{} {}", text(work, "name"), text(work, "version")),
        licence: text(work, "licence"),
        texts: places(work),
    });
    let texts = value.get("texts")?.as_array()?.iter().filter_map(|text| text.as_str().map(str::to_owned));
    Some(List { works: works.collect(), texts: texts.collect() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_is_read_as_the_build_writes_it() {
        let json = br#"{"crates":[{"name":"a","version":"1.0.0","licence":"MIT","texts":[0]}],"texts":["T"]}"#;
        let work = Work { name: "a 1.0.0".to_owned(), licence: "MIT".to_owned(), texts: vec![0] };
        assert_eq!(read(json), Some(List { works: vec![work], texts: vec!["T".to_owned()] }));
        for wrong in [&b"{}"[..], b"<!doctype html>", b""] {
            assert_eq!(read(wrong), None);
        }
    }
}
