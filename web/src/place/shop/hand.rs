//! Adding something by hand: one field that suggests foods.

use trug_replica::id::Alias;
use trug_replica::run::HandLine;
use yew::prelude::*;

use super::hands::Hands;
use super::instead::Foods;
use super::seen::Seen;
use crate::look::{Button, Field, Kind, Notice, Pick, Select, Sheet, Tone};
use crate::words::t;

/// The section of what the catalogue does not know.
const ELSEWHERE: &str = "hand";

#[derive(Properties, PartialEq)]
pub(super) struct AddProps {
    pub(super) hands: Hands,
    pub(super) seen: std::rc::Rc<Seen>,
    pub(super) on_close: Callback<()>,
}

/// Splits what somebody wrote into the food and how much of it: `2 lb onions`, `onions, 2 lb`, `paper towels`.
fn split(written: &str, foods: &Foods<'_>) -> (String, String) {
    let written = written.trim();
    let line = foods.catalog.read(written);
    let has_food = line.found.is_some() && line.amount.is_some();
    let begins = written.chars().next().is_some_and(|letter| letter.is_ascii_digit());
    if has_food && begins && !line.food.is_empty() {
        let text = written.find(line.food.as_str()).map_or("", |at| written.get(..at).unwrap_or_default());
        if !text.trim().is_empty() {
            return (capital(&line.food), text.trim().to_owned());
        }
    }
    match written.rsplit_once(',') {
        Some((food, text)) if !food.trim().is_empty() => (capital(food.trim()), text.trim().to_owned()),
        _ => (capital(written), String::new()),
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[component]
pub(super) fn Add(props: &AddProps) -> Html {
    let written = use_state(String::new);
    let whom = use_state(AttrValue::default);
    let wrong = use_state(|| None::<AttrValue>);
    let last = use_state(AttrValue::default);
    let kitchen = props.hands.desk.kitchen().and_then(Result::ok);
    let suggest = |written: &str| match &kitchen {
        Some(now) => Foods::of(&now.kitchen).suggest(written),
        None => Foods::builtin().suggest(written),
    };
    let on_submit = {
        let (props_hands, written, whom, wrong) = (props.hands.clone(), written.clone(), whom.clone(), wrong.clone());
        let (last, kitchen) = (last.setter(), kitchen.clone());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            if written.trim().is_empty() {
                wrong.set(Some(t!("error.needed")));
                return;
            }
            let line = match &kitchen {
                Some(now) => hand_line(&written, &whom, &Foods::of(&now.kitchen)),
                None => hand_line(&written, &whom, &Foods::builtin()),
            };
            match props_hands.add(&line) {
                Ok(_) => {
                    last.set(t!("shop.added", food = line.food));
                    written.set(String::new());
                    wrong.set(None);
                }
                Err(error) => wrong.set(Some(error.to_string().into())),
            }
        })
    };
    let on_input = {
        let written = written.setter();
        Callback::from(move |text| written.set(text))
    };
    let on_whom = {
        let whom = whom.setter();
        Callback::from(move |value| whom.set(value))
    };
    let tables = tables(&props.seen);
    html! {
        <Sheet title={t!("shop.add_hand")} close={t!("common.close")} on_close={props.on_close.clone()}>
            <form class="shop-form" onsubmit={on_submit}>
                <Field
                    label={t!("shop.add_what")}
                    hint={Some(t!("shop.add_hand_hint"))}
                    value={(*written).clone()}
                    suggestions={suggest(&written)}
                    error={(*wrong).clone()}
                    {on_input}
                />
                if tables.len() > 1 {
                    <Select label={t!("shop.for_one")} options={tables} value={(*whom).clone()} on_choose={on_whom} />
                }
                <Button label={t!("common.add")} kind={Kind::Main} submit=true wide=true />
            </form>
            <p aria-live="polite">{ (*last).clone() }</p>
            <Notice tone={Tone::Care}>{ t!("shop.add_caution") }</Notice>
        </Sheet>
    }
}

/// The households that the trip names; the first choice is nobody's in particular.
fn tables(seen: &Seen) -> Vec<Pick> {
    let mut options = vec![Pick::new("", t!("shop.for_kit"))];
    let aliases: std::collections::BTreeSet<&Alias> = seen
        .lines
        .iter()
        .filter_map(super::hands::planned)
        .flat_map(|line| line.shares.iter().map(|share| &share.alias))
        .collect();
    options.extend(aliases.into_iter().map(|alias| Pick::new(alias.to_string(), seen.who.table(alias).to_owned())));
    options
}

fn hand_line(written: &str, whom: &str, foods: &Foods<'_>) -> HandLine {
    let (food, text) = split(written, foods);
    let section = foods.section(&food).unwrap_or_else(|| ELSEWHERE.to_owned());
    HandLine { food, text, section, alias: Alias::new(whom).ok() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_split_into_food_and_amount() {
        let table = [
            ("onions", ("Onions", "")),
            ("2 lb onions", ("Onions", "2 lb")),
            ("onions, 2 lb", ("Onions", "2 lb")),
            ("paper towels, two rolls", ("Paper towels", "two rolls")),
            ("  bay leaf ", ("Bay leaf", "")),
        ];
        for (written, (food, text)) in table {
            let read = split(written, &Foods::builtin());
            assert_eq!((read.0.as_str(), read.1.as_str()), (food, text), "{written}");
        }
    }
}
