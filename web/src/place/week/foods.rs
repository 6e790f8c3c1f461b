//! Foods of the chef's own: describing one that nobody has described yet.

use std::collections::BTreeSet;
use std::rc::Rc;

use trug_catalog::{Allergen, Allergens, Catalog, Food, FoodId, Keep, Measure, RawKind, fold};
use trug_measure::{Amount, Exact, Unit};
use trug_provision::kitchen::Kitchen;
use yew::prelude::*;

use super::form::{fresh_id, in_field, number};
use super::hand::use_hand;
use super::page::{Page, Tab, Wrong};
use crate::app::use_going;
use crate::desk::kitchen::KitchenNow;
use crate::look::{Button, Choice, Disclosure, Empty, Field, Input, Kind, Pick, Section, Select, Shape, Toggle};
use crate::place::fields::change;
use crate::place::links::Row;
use crate::words::{say_name, t};

/// The most rows of foods that are drawn; a search finds the others.
const MOST: usize = 40;

#[derive(Properties, PartialEq)]
pub(super) struct FoodsProps {
    pub(super) now: Rc<KitchenNow>,
}

/// The foods: those to describe, the chef's own, and the catalogue's by search.
#[component]
pub(super) fn Foods(props: &FoodsProps) -> Html {
    let search = use_state(String::new);
    let lists = use_memo(props.now.clone(), |now| Lists::of(&now.kitchen));
    let found = use_memo(((*search).clone(), props.now.clone()), |(search, now)| look_for(&now.kitchen, search));
    let on_input = {
        let search = search.setter();
        Callback::from(move |text| search.set(text))
    };
    let row =
        |name: &String| html! { <Row key={name.as_str()} to={format!("week/food/{name}")} name={name.clone()} /> };
    let searched = !search.trim().is_empty();
    html! {
        <Page title={t!("food.title")} tab={Tab::Foods}>
            <Field label={t!("food.search")} hint={Some(t!("food.search_hint"))} input={Input::Search} value={(*search).clone()} {on_input} />
            if searched {
                <Section title={t!("food.found")} count={found.len().to_string()}>
                    { for found.iter().map(row) }
                    <Row to={format!("week/food/{}", search.trim())} name={t!("food.describe_one", food = search.trim())} />
                </Section>
            } else {
                if lists.unknown.is_empty() && lists.own.is_empty() {
                    <Empty title={t!("food.empty_title")} text={t!("food.empty_text")} icon={Shape::Note} />
                }
                if !lists.unknown.is_empty() {
                    <Section title={t!("food.unknown")} count={lists.unknown.len().to_string()}>{ for lists.unknown.iter().map(row) }</Section>
                }
                if !lists.own.is_empty() {
                    <Section title={t!("food.own")} count={lists.own.len().to_string()}>{ for lists.own.iter().map(row) }</Section>
                }
            }
        </Page>
    }
}

#[derive(Debug, PartialEq, Eq)]
struct Lists {
    unknown: Vec<String>,
    own: Vec<String>,
}

impl Lists {
    fn of(kitchen: &Kitchen) -> Self {
        let names = |wanted: fn(&Food) -> bool| {
            let foods = kitchen.catalog.foods().map(|(_, food)| food).filter(|food| wanted(food));
            foods.map(|food| food.name.clone()).collect::<BTreeSet<_>>().into_iter().collect()
        };
        Self { unknown: names(|food| !food.described), own: names(|food| food.own) }
    }
}

fn look_for(kitchen: &Kitchen, search: &str) -> Vec<String> {
    let wanted = fold(search);
    let has =
        |food: &Food| [&food.name, &food.plural].into_iter().chain(&food.also).any(|name| fold(name).contains(&wanted));
    if wanted.is_empty() {
        return Vec::new();
    }
    let foods = kitchen.catalog.foods().filter(|(_, food)| food.described && has(food));
    foods.take(MOST).map(|(_, food)| food.name.clone()).collect()
}

#[derive(Properties, PartialEq)]
pub(super) struct FoodPageProps {
    pub(super) now: Rc<KitchenNow>,
    pub(super) name: AttrValue,
}

/// One food.
#[component]
pub(super) fn FoodPage(props: &FoodPageProps) -> Html {
    let going = use_going();
    let on_done = going.to("week/foods");
    html! {
        <Page title={props.name.clone()} tab={Tab::Foods} up={AttrValue::from("week/foods")}>
            <DescribeFood now={props.now.clone()} name={props.name.clone()} {on_done} />
        </Page>
    }
}

/// A food as it is written into fields.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct Written {
    name: String,
    section: String,
    keep: String,
    recorded: bool,
    allergens: BTreeSet<Allergen>,
    others: String,
    raw: String,
    cup: String,
    each: String,
    refuse: String,
    packs: String,
}

/// The food that a name stands for, where somebody has described it.
fn known<'k>(kitchen: &'k Kitchen, name: &str) -> Option<&'k Food> {
    let found = kitchen.catalog.find_as_written(name).filter(|found| found.part.is_none())?;
    Some(kitchen.catalog.get(found.food)).filter(|food| food.described)
}

fn cup() -> Option<Unit> {
    "cup".parse().ok()
}

fn grams_of(food: &Food, unit: Option<Unit>) -> String {
    let plain = food.measures.iter().find(|measure| Some(measure.unit) == unit && measure.words.is_empty());
    plain.map(|measure| in_field(measure.grams)).unwrap_or_default()
}

impl Written {
    fn fresh(name: &str) -> Self {
        Self { name: name.to_owned(), keep: Keep::Ambient.name().to_owned(), ..Self::default() }
    }

    fn of(food: &Food) -> Self {
        Self {
            name: food.name.clone(),
            section: food.section.clone(),
            keep: food.keep.name().to_owned(),
            recorded: matches!(food.allergens, Allergens::Recorded { .. }),
            allergens: food.allergens.kinds().iter().copied().collect(),
            others: food.other_allergens.join(", "),
            raw: food.raw.map(|raw| raw.name().to_owned()).unwrap_or_default(),
            cup: grams_of(food, cup()),
            each: grams_of(food, Some(Unit::Each)),
            refuse: food.refuse.map(|refuse| refuse.to_string()).unwrap_or_default(),
            packs: food.packs.iter().map(|pack| pack.as_written()).collect::<Vec<_>>().join(", "),
        }
    }

    /// The food that the fields say, begun from what was known of it.
    fn read(&self, base: Food) -> Result<Food, String> {
        let mut food = base;
        food.own = true;
        food.described = true;
        self.name.trim().clone_into(&mut food.name);
        if food.name.is_empty() {
            return Err(format!("{}: {}", t!("common.name"), t!("error.needed")));
        }
        if fold(&food.plural) != fold(&food.name) && food.measures.is_empty() {
            food.plural = food.name.clone();
        }
        self.section.trim().clone_into(&mut food.section);
        food.keep = self.keep.parse().unwrap_or_default();
        food.raw = self.raw.parse::<RawKind>().ok().or(food.raw);
        set_grams(&mut food, cup(), figure(&self.cup)?);
        set_grams(&mut food, Some(Unit::Each), figure(&self.each)?);
        // A trim loss of nothing is a figure too.
        if self.refuse.trim() == "0" {
            food.refuse = Some(Exact::ZERO);
        } else if let Some(refuse) = figure(&self.refuse)? {
            food.refuse = Some(refuse);
        }
        food.packs = super::form::words(&self.packs).iter().map(|text| pack(text)).collect::<Result<_, String>>()?;
        if self.recorded {
            let vary = matches!(food.allergens, Allergens::Recorded { vary: true, .. });
            food.allergens = Allergens::Recorded { kinds: self.allergens.iter().copied().collect(), vary };
            food.other_allergens = super::form::words(&self.others);
            food.settle_groups();
        }
        Ok(food)
    }
}

fn figure(text: &str) -> Result<Option<Exact>, String> {
    match text.trim() {
        "" => Ok(None),
        text => number(text).map(Some).ok_or_else(|| t!("error.wrong_amount", read = text).to_string()),
    }
}

fn pack(text: &str) -> Result<Amount, String> {
    text.parse().map_err(|_| t!("error.wrong_amount", read = text).to_string())
}

fn set_grams(food: &mut Food, unit: Option<Unit>, grams: Option<Exact>) {
    let (Some(unit), Some(grams)) = (unit, grams) else { return };
    match food.measures.iter_mut().find(|measure| measure.unit == unit && measure.words.is_empty()) {
        Some(measure) => measure.grams = grams,
        None => food.measures.push(Measure { unit, words: Vec::new(), grams }),
    }
}

/// Puts a food among the chef's own.
fn put(kitchen: &mut Kitchen, name: &str, written: &Written) -> Result<(), String> {
    let base = known(kitchen, name).cloned();
    let taken = |id: &str| kitchen.catalog.by_id(id).is_some();
    let base = base.unwrap_or_else(|| {
        let id = fresh_id(&written.name, "food", taken);
        Food::named(FoodId::new(&id), written.name.trim())
    });
    let food = written.read(base)?;
    let mut own: Vec<Food> = kitchen
        .catalog
        .foods()
        .map(|(_, food)| food)
        .filter(|other| other.own && other.id != food.id)
        .cloned()
        .collect();
    own.push(food);
    kitchen.catalog = Catalog::builtin().with_own(own);
    Ok(())
}

#[derive(Properties, PartialEq)]
pub(super) struct DescribeFoodProps {
    pub(super) now: Rc<KitchenNow>,
    pub(super) name: AttrValue,
    pub(super) on_done: Callback<()>,
}

/// Describes a food.
#[component]
pub(super) fn DescribeFood(props: &DescribeFoodProps) -> Html {
    let hand = use_hand();
    let kitchen = &props.now.kitchen;
    let written = use_state(|| known(kitchen, &props.name).map_or_else(|| Written::fresh(&props.name), Written::of));
    let wrong = use_state(|| None::<AttrValue>);
    let set = |put: fn(&mut Written, String)| change(&written, put);
    let on_save = {
        let (name, written, wrong, done) = (props.name.clone(), written.clone(), wrong.clone(), props.on_done.clone());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            match hand.save(t!("food.saved"), |kitchen| put(kitchen, &name, &written)) {
                Ok(()) => done.emit(()),
                Err(error) => wrong.set(Some(error)),
            }
        })
    };
    let keeps = [("ambient", t!("common.dry")), ("chilled", t!("common.cold")), ("frozen", t!("common.frozen"))];
    let keeps = keeps.into_iter().map(|(value, label)| Pick::new(value, label)).collect::<Vec<_>>();
    let raws = std::iter::once(Pick::new("", t!("food.raw_none")))
        .chain(RawKind::ALL.into_iter().map(|kind| Pick::new(kind.name(), kind.name().replace('-', " "))));
    let choose = |put: fn(&mut Written, String)| set(put).reform(|value: AttrValue| value.to_string());
    html! {
        <form class="stack" onsubmit={on_save}>
            <Wrong text={(*wrong).clone()} />
            <Field label={t!("common.name")} value={written.name.clone()} on_input={set(|food, text| food.name = text)} needed={t!("error.needed")} />
            <Select label={t!("food.section")} options={sections(kitchen, &written.section)} value={written.section.clone()} on_choose={choose(|food, text| food.section = text)} />
            <Choice label={t!("food.keep")} options={keeps} value={written.keep.clone()} on_choose={choose(|food, text| food.keep = text)} />
            <Select label={t!("food.raw")} options={raws.collect::<Vec<_>>()} value={written.raw.clone()} on_choose={choose(|food, text| food.raw = text)} />
            <Contents written={written.clone()} />
            <div class="week-fields">
                <Field label={t!("food.cup")} input={Input::Decimal} value={written.cup.clone()} on_input={set(|food, text| food.cup = text)} />
                <Field label={t!("food.each")} input={Input::Decimal} value={written.each.clone()} on_input={set(|food, text| food.each = text)} />
                <Field label={t!("food.refuse")} input={Input::Decimal} value={written.refuse.clone()} on_input={set(|food, text| food.refuse = text)} />
            </div>
            <Field label={t!("food.packs")} hint={Some(t!("food.packs_hint"))} value={written.packs.clone()} on_input={set(|food, text| food.packs = text)} />
            <div class="strip"><Button label={t!("common.save")} kind={Kind::Main} submit=true /></div>
        </form>
    }
}

/// The sections that there are, in any store or food.
fn sections(kitchen: &Kitchen, own: &str) -> Vec<Pick> {
    let of_foods = kitchen.catalog.foods().map(|(_, food)| food.section.as_str());
    let of_stores = kitchen.stores.values().flat_map(|store| &store.sections).map(String::as_str);
    let all: BTreeSet<&str> = of_foods.chain(of_stores).chain([own]).filter(|section| !section.is_empty()).collect();
    let named = all.into_iter().map(|section| Pick::new(section.to_owned(), say_name("section", section)));
    std::iter::once(Pick::new("", t!("section.other"))).chain(named).collect()
}

#[derive(Properties, PartialEq)]
struct ContentsProps {
    written: UseStateHandle<Written>,
}

/// What it contains: nothing is recorded until somebody has read the label and says so.
#[component]
fn Contents(props: &ContentsProps) -> Html {
    let written = &props.written;
    let on_recorded = {
        let written = written.clone();
        Callback::from(move |on: bool| written.set(Written { recorded: on, ..(*written).clone() }))
    };
    let toggle = |kind: Allergen| {
        let written = written.clone();
        Callback::from(move |on: bool| {
            let mut next = (*written).clone();
            if on {
                next.allergens.insert(kind)
            } else {
                next.allergens.remove(&kind)
            };
            written.set(next);
        })
    };
    let on_others = {
        let written = written.clone();
        Callback::from(move |others: String| written.set(Written { others, ..(*written).clone() }))
    };
    let count = written.allergens.len();
    html! {
        <div class="stack">
            <Toggle label={t!("food.recorded")} hint={Some(t!("food.recorded_hint"))} on={written.recorded} on_change={on_recorded} />
            if written.recorded {
                <Disclosure title={t!("food.contains")} count={count.to_string()} open=true>
                    <fieldset class="week-kinds">
                        <legend class="unseen">{ t!("food.contains") }</legend>
                        { for Allergen::ALL.into_iter().map(|kind| html! {
                            <Toggle key={kind.name()} label={say_name("allergen", kind.name())} on={written.allergens.contains(&kind)} on_change={toggle(kind)} />
                        }) }
                    </fieldset>
                    <Field label={t!("food.contains_other")} hint={Some(t!("household.words_hint"))} value={written.others.clone()} on_input={on_others} />
                </Disclosure>
            } else {
                <p class="small">{ t!("common.not_recorded") }</p>
            }
        </div>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kitchen() -> Kitchen {
        let mut files = trug_folder::Files::new();
        files.insert("kitchen.toml", b"name = \"K\"\n".to_vec()).unwrap();
        trug_folder::read(&files).unwrap()
    }

    fn after(kitchen: &Kitchen, name: &str, written: &Written) -> Kitchen {
        let mut kitchen = kitchen.clone();
        put(&mut kitchen, name, written).unwrap();
        trug_folder::read(&trug_folder::write(&kitchen)).unwrap()
    }

    #[test]
    fn a_food_is_described() {
        let written = Written {
            section: "produce".to_owned(),
            keep: "chilled".to_owned(),
            cup: "30".to_owned(),
            packs: "5 oz, 1 lb".to_owned(),
            recorded: true,
            allergens: BTreeSet::from([Allergen::Sesame]),
            ..Written::fresh("zorblatt leaves")
        };
        let kitchen = after(&kitchen(), "zorblatt leaves", &written);
        let food = known(&kitchen, "zorblatt leaves").unwrap();
        assert!(food.own);
        assert_eq!(Written::of(food), written);
    }

    #[test]
    fn what_is_not_recorded_stays_so() {
        let kitchen = after(&kitchen(), "zorblatt", &Written::fresh("zorblatt"));
        assert_eq!(known(&kitchen, "zorblatt").unwrap().allergens, Allergens::NotRecorded);
    }

    #[test]
    fn a_food_of_the_catalogue_keeps_what_is_not_said() {
        let before = kitchen();
        let carrot = known(&before, "carrot").unwrap().clone();
        let written = Written { packs: "2 lb".to_owned(), ..Written::of(&carrot) };
        let kitchen = after(&before, "carrot", &written);
        let own = known(&kitchen, "carrot").unwrap();
        assert_eq!((&own.id, &own.measures, &own.allergens), (&carrot.id, &carrot.measures, &carrot.allergens));
        assert_eq!(own.packs.len(), 1);
    }
}
