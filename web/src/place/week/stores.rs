//! The stores, and in which order one walks through each.

use std::rc::Rc;

use trug_provision::kitchen::{Kitchen, Store, StoreId};
use yew::prelude::*;

use super::form::fresh_id;
use super::hand::use_hand;
use super::page::{Gone, Page, Tab, Wrong};
use crate::app::use_going;
use crate::desk::kitchen::KitchenNow;
use crate::look::{Button, Empty, Field, Kind, Section, Shape};
use crate::place::links::Row;
use crate::words::{say_name, t};

/// Where food stands in a store that nobody has described: dry goods first, cold and frozen last, so that they go home
/// coldest. [practice]
const USUAL: [&str; 15] = [
    "produce",
    "bakery",
    "snacks",
    "beverages",
    "canned",
    "condiments",
    "oils",
    "spices",
    "baking",
    "nuts",
    "grains",
    "meat",
    "seafood",
    "dairy",
    "frozen",
];

#[derive(Properties, PartialEq)]
pub(super) struct StoresProps {
    pub(super) now: Rc<KitchenNow>,
}

/// The stores.
#[component]
pub(super) fn Stores(props: &StoresProps) -> Html {
    let (hand, going) = (use_hand(), use_going());
    let name = use_state(String::new);
    let wrong = use_state(|| None::<AttrValue>);
    let kitchen = &props.now.kitchen;
    let on_add = {
        let (name, wrong, now) = (name.clone(), wrong.clone(), props.now.clone());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            let id = fresh_id(&name, "store", |id| now.kitchen.stores.contains_key(id));
            let saved = hand.save(t!("store.saved"), |kitchen| add(kitchen, &id, name.trim()));
            match saved {
                Ok(()) => going.go.emit(format!("week/store/{id}")),
                Err(error) => wrong.set(Some(error)),
            }
        })
    };
    let on_input = {
        let name = name.setter();
        Callback::from(move |text| name.set(text))
    };
    let usual = |id: &StoreId| kitchen.usual_store.as_ref() == Some(id);
    html! {
        <Page title={t!("store.title")} tab={Tab::Stores}>
            if kitchen.stores.is_empty() {
                <Empty title={t!("store.empty_title")} text={t!("store.empty_text")} icon={Shape::Basket} />
            } else {
                <Section title={t!("store.title")}>
                    { for kitchen.stores.iter().map(|(id, store)| html! {
                        <Row key={id.as_str()} to={format!("week/store/{id}")} name={store.name.clone()} text={if usual(id) { t!("settings.store_usual") } else { AttrValue::default() }} />
                    }) }
                </Section>
            }
            <form class="card stack" onsubmit={on_add}>
                <Wrong text={(*wrong).clone()} />
                <Field label={t!("store.new")} value={(*name).clone()} {on_input} needed={t!("error.needed")} />
                <div class="strip"><Button label={t!("common.add")} icon={Shape::Plus} submit=true /></div>
            </form>
        </Page>
    }
}

/// A store with the usual walk; the first is the usual store.
fn add(kitchen: &mut Kitchen, id: &str, name: &str) -> Result<(), String> {
    if name.is_empty() {
        return Err(format!("{}: {}", t!("common.name"), t!("error.needed")));
    }
    let sections = USUAL.into_iter().map(str::to_owned).collect();
    kitchen.stores.insert(StoreId::new(id), Store { name: name.to_owned(), sections, shelf: Vec::new() });
    kitchen.usual_store.get_or_insert_with(|| StoreId::new(id));
    Ok(())
}

#[derive(Properties, PartialEq)]
pub(super) struct StorePageProps {
    pub(super) now: Rc<KitchenNow>,
    pub(super) id: AttrValue,
}

/// One store: its sections in the order of the walk.
#[component]
pub(super) fn StorePage(props: &StorePageProps) -> Html {
    let hand = use_hand();
    let wrong = use_state(|| None::<AttrValue>);
    let section = use_state(String::new);
    let kitchen = &props.now.kitchen;
    let Some(store) = kitchen.stores.get(props.id.as_str()) else { return html! { <Gone tab={Tab::Stores} /> } };
    let change = {
        let (id, wrong) = (props.id.clone(), wrong.clone());
        Callback::from(move |change: Change| {
            let saved = hand.save(t!("store.saved"), |kitchen| change.make(kitchen, &id));
            wrong.set(saved.err());
        })
    };
    let on_add = {
        let (change, section) = (change.clone(), section.clone());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            change.emit(Change::Add(section.trim().to_owned()));
            section.set(String::new());
        })
    };
    let on_input = {
        let section = section.setter();
        Callback::from(move |text| section.set(text))
    };
    let on_name = change.reform(Change::Name);
    let usual = kitchen.usual_store.as_ref().is_some_and(|usual| usual.as_str() == props.id.as_str());
    let last = store.sections.len().saturating_sub(1);
    let row = |(at, name): (usize, &String)| {
        let words = say_name("section", name);
        let button = |label: AttrValue, to: Change, disabled: bool| {
            let named = AttrValue::from(format!("{label}: {words}"));
            let on_press = change.reform(move |_: MouseEvent| to.clone());
            html! { <Button {label} name={Some(named)} kind={Kind::Quiet} {disabled} {on_press} /> }
        };
        html! {
            <li key={name.as_str()} class="strip-between">
                <span class="strong">{ words.clone() }</span>
                <span class="strip">
                    { button(t!("store.earlier"), Change::Swap(at, at.wrapping_sub(1)), at == 0) }
                    { button(t!("store.later"), Change::Swap(at, at + 1), at == last) }
                    { button(t!("common.remove"), Change::Remove(at), false) }
                </span>
            </li>
        }
    };
    html! {
        <Page title={store.name.clone()} tab={Tab::Stores} up={AttrValue::from("week/stores")}>
            <Wrong text={(*wrong).clone()} />
            <div class="card stack">
                <Field label={t!("common.name")} value={store.name.clone()} on_done={on_name} />
                if usual {
                    <p>{ t!("settings.store_usual") }</p>
                } else {
                    <div class="strip"><Button label={t!("store.make_usual")} on_press={change.reform(|_: MouseEvent| Change::Usual)} /></div>
                }
            </div>
            <Section title={t!("store.walk")}>
                <ol class="week-lines">{ for store.sections.iter().enumerate().map(row) }</ol>
            </Section>
            <p class="small soft">{ t!("safety.cold_last") }</p>
            <form class="card stack" onsubmit={on_add}>
                <Field label={t!("store.new_section")} value={(*section).clone()} {on_input} needed={t!("error.needed")} />
                <div class="strip"><Button label={t!("common.add")} icon={Shape::Plus} submit=true /></div>
            </form>
        </Page>
    }
}

/// A change of one store.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Change {
    Name(String),
    Usual,
    Swap(usize, usize),
    Remove(usize),
    Add(String),
}

impl Change {
    fn make(&self, kitchen: &mut Kitchen, id: &str) -> Result<(), String> {
        if *self == Self::Usual {
            kitchen.usual_store = Some(StoreId::new(id));
            return Ok(());
        }
        let store = kitchen.stores.get_mut(id).ok_or_else(|| t!("error.not_found").to_string())?;
        let count = store.sections.len();
        match self {
            Self::Name(name) if name.trim().is_empty() => {
                return Err(format!("{}: {}", t!("common.name"), t!("error.needed")));
            }
            Self::Name(name) => name.trim().clone_into(&mut store.name),
            Self::Swap(one, other) if *one < count && *other < count => store.sections.swap(*one, *other),
            Self::Remove(at) if *at < count => drop(store.sections.remove(*at)),
            Self::Add(name) if !name.is_empty() && !store.sections.contains(name) => store.sections.push(name.clone()),
            Self::Usual | Self::Swap(..) | Self::Remove(_) | Self::Add(_) => {}
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sections_are_put_in_order() {
        let mut files = trug_folder::Files::new();
        files.insert("kitchen.toml", b"name = \"K\"\n".to_vec()).unwrap();
        files.insert("stores/s.toml", b"name = \"S\"\nsections = [\"a\", \"b\"]\n".to_vec()).unwrap();
        let kitchen = trug_folder::read(&files).unwrap();
        for (change, want) in [
            (Change::Swap(0, 1), vec!["b", "a"]),
            (Change::Swap(0, usize::MAX), vec!["a", "b"]),
            (Change::Swap(1, 2), vec!["a", "b"]),
            (Change::Remove(0), vec!["b"]),
            (Change::Remove(9), vec!["a", "b"]),
            (Change::Add("c".to_owned()), vec!["a", "b", "c"]),
            (Change::Add("a".to_owned()), vec!["a", "b"]),
        ] {
            let mut kitchen = kitchen.clone();
            change.make(&mut kitchen, "s").unwrap();
            assert_eq!(kitchen.stores["s"].sections, want, "{change:?}");
        }
        assert!(Change::Name(" ".to_owned()).make(&mut kitchen.clone(), "s").is_err());
        assert!(Change::Remove(0).make(&mut kitchen.clone(), "t").is_err());
    }
}
