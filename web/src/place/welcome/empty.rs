//! A kitchen of one's own, from its name on.

use trug_folder::Files;
use wasm_bindgen_futures::spawn_local;
use yew::prelude::*;

use crate::app::use_going;
use crate::desk::use_desk;
use crate::look::{Button, Choice, Field, Kind, Notice, Pick, Tone};
use crate::platform::persist;
use crate::words::t;

/// The form.
#[derive(Properties, PartialEq)]
pub struct BeginningProps {
    /// Told when the person would rather choose again.
    pub on_back: Callback<()>,
}

/// Asks for the kitchen's name and measures, and begins it.
#[component]
pub fn Beginning(props: &BeginningProps) -> Html {
    let (desk, going) = (use_desk(), use_going());
    let kitchen = use_state(String::new);
    let person = use_state(String::new);
    let units = use_state(|| AttrValue::from("us"));
    let wrong = use_state(|| Option::<String>::None);
    let begin = {
        let (kitchen, person, units, wrong) = (kitchen.clone(), person.clone(), units.clone(), wrong.setter());
        let go = going.go.clone();
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            let files = first_files(&kitchen, &units);
            let begun = desk.act(|device, now, out| {
                device.set_name(now, person.trim(), out);
                device.import(now, &files, out)
            });
            match begun {
                Ok(()) => {
                    // There is something worth keeping now.
                    spawn_local(async {
                        persist::ask().await;
                    });
                    go.emit("week".to_owned());
                }
                Err(error) => wrong.set(Some(error.to_string())),
            }
        })
    };
    let set = |state: &UseStateHandle<String>| {
        let state = state.setter();
        Callback::from(move |text: String| state.set(text))
    };
    let choose = {
        let units = units.setter();
        Callback::from(move |chosen| units.set(chosen))
    };
    let back = {
        let on_back = props.on_back.clone();
        Callback::from(move |_: MouseEvent| on_back.emit(()))
    };
    let measures = vec![Pick::new("us", t!("settings.units_us")), Pick::new("metric", t!("settings.units_metric"))];
    html! {
        <form class="welcome-form" onsubmit={begin}>
            if let Some(wrong) = &*wrong {
                <Notice tone={Tone::Trouble}>{ wrong.clone() }</Notice>
            }
            <Field label={t!("start.kitchen_name")} value={(*kitchen).clone()} on_input={set(&kitchen)} />
            <Field label={t!("start.your_name")} value={(*person).clone()} on_input={set(&person)} />
            <Choice label={t!("settings.units")} options={measures} value={(*units).clone()} on_choose={choose} />
            <Button label={t!("start.go")} kind={Kind::Main} wide=true submit=true />
            <Button label={t!("common.back")} kind={Kind::Quiet} on_press={back} />
        </form>
    }
}

/// The files of a kitchen that holds nothing yet but a shop to walk.
#[must_use]
pub fn first_files(name: &str, units: &str) -> Files {
    let name = name.trim();
    let name = if name.is_empty() { "My kitchen" } else { name };
    let metric = units == "metric";
    let (currency, allergens) = if metric { ("EUR", "eu") } else { ("USD", "us") };
    let kitchen = format!(
        "name = {}\ncurrency = \"{currency}\"\nunits = \"{}\"\nallergens = \"{allergens}\"\nkit = \"kit\"\nstore = \"shop\"\n",
        quoted(name),
        if metric { "metric" } else { "us" },
    );
    let shop = "name = \"Shop\"\nsections = [\n  \"produce\", \"bakery\", \"grains\", \"canned\", \"condiments\", \
                \"oils\", \"spices\", \"baking\", \"nuts\", \"deli\", \"meat\", \"seafood\", \"dairy\", \"frozen\",\n]\n";
    let mut files = Files::new();
    for (path, text) in [
        ("kitchen.toml", kitchen.as_str()),
        ("stores/shop.toml", shop),
        ("pantries/kit.csv", "food,amount,keep,use_by\n"),
    ] {
        // Paths of our own making stay inside.
        let _ = files.insert(path, text.as_bytes().to_vec());
    }
    files
}

/// A text as TOML writes it.
fn quoted(text: &str) -> String {
    let plain: String = text.chars().filter(|letter| !letter.is_control()).collect();
    format!("\"{}\"", plain.replace('\\', "\\\\").replace('"', "\\\""))
}

#[cfg(test)]
mod tests {
    use super::first_files;

    #[test]
    fn a_first_kitchen_can_be_read_whatever_its_name() {
        for (name, units) in [("", "us"), ("Anna \"A\" \\ Sons", "metric"), ("Küche\n7", "us")] {
            let kitchen = trug_folder::read(&first_files(name, units));
            assert!(kitchen.is_ok(), "{name:?}: {:?}", kitchen.err().map(|problems| problems.to_string()));
        }
    }
}
