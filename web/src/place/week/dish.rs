//! One dish: its ingredients as they were read, scaled, what it contains, its method.

use std::collections::BTreeSet;
use std::rc::Rc;

use trug_catalog::{Allergens, FoodIx};
use trug_measure::{Amount as Quantity, Exact, System};
use trug_provision::demand::scale;
use trug_provision::guard::contains;
use trug_provision::kitchen::{Dish, DishId, DishSource, Ingredient, Item, Kitchen};
use yew::prelude::*;

use super::dishes::made;
use super::form::{in_field, joined, number};
use super::hand::use_hand;
use super::page::{Gone, Page, Tab};
use crate::app::use_going;
use crate::desk::kitchen::KitchenNow;
use crate::look::{Amount, Button, Confirm, Kind, Notice, Section, Shape, Tone};
use crate::place::links::Way;
use crate::words::{say_kind, t};

/// Dishes within dishes: deeper than any kitchen goes.
const DEEPEST: u8 = 16;

#[derive(Properties, PartialEq)]
pub(super) struct DishPageProps {
    pub(super) now: Rc<KitchenNow>,
    pub(super) id: AttrValue,
}

/// One dish.
#[component]
pub(super) fn DishPage(props: &DishPageProps) -> Html {
    let kitchen = &props.now.kitchen;
    let own = kitchen.dishes.get(props.id.as_str()).and_then(|dish| dish.serves).unwrap_or(Exact::ONE);
    let portions = use_state(|| own);
    let removing = use_state(|| false);
    let Some(dish) = kitchen.dishes.get(props.id.as_str()) else { return html! { <Gone tab={Tab::Dishes} /> } };
    let id = DishId::new(&props.id);
    let used = uses(kitchen, &id);
    let ask = {
        let removing = removing.setter();
        Callback::from(move |_: MouseEvent| removing.set(true))
    };
    let leave = {
        let removing = removing.setter();
        Callback::from(move |()| removing.set(false))
    };
    let over = if *removing {
        html! { <RemoveDish id={props.id.clone()} on_leave={leave} /> }
    } else {
        Html::default()
    };
    let factor = if dish.serves.is_some() { scale(dish, *portions) } else { Some(*portions) };
    let set = {
        let portions = portions.setter();
        Callback::from(move |count| portions.set(count))
    };
    html! {
        <Page title={dish.title.clone()} tab={Tab::Dishes} up={AttrValue::from("week/dishes")} {over}>
            <p>{ made(dish) }</p>
            <Contents now={props.now.clone()} id={props.id.clone()} />
            { for dish.notes.iter().filter(|(key, _)| !key.eq_ignore_ascii_case("keeps")).map(|(key, value)| html! {
                <p><span class="strong">{ note_name(key) }{ ": " }</span>{ value }</p>
            }) }
            <Scale serves={dish.serves.is_some()} portions={*portions} on_set={set} />
            { for dish.parts.iter().map(|part| html! {
                <Section title={part.heading.clone().map_or_else(|| t!("dish.ingredients"), AttrValue::from)}>
                    <ul class="week-lines">{ for part.lines.iter().map(|one| html! {
                        <li>{ scaled(one, factor.unwrap_or(Exact::ONE), kitchen.units) }</li>
                    }) }</ul>
                </Section>
            }) }
            if !dish.method.trim().is_empty() {
                <Section title={t!("dish.method")}><div class="week-method">{ for steps(&dish.method).into_iter().map(|step| html! { <p>{ step }</p> }) }</div></Section>
            }
            <p class="small soft">{ if used == 0 { t!("dish.unused") } else { t!("dish.used", count = used) } }</p>
            <div class="strip no-paper">
                <Way to={format!("week/dish/{}/edit", props.id)} words={t!("dish.edit")} icon={Shape::Edit} />
                if used == 0 {
                    <Button label={t!("dish.delete")} kind={Kind::Danger} icon={Shape::Remove} on_press={ask} />
                }
            </div>
        </Page>
    }
}

fn note_name(key: &str) -> AttrValue {
    match key.to_lowercase().as_str() {
        "reheat" => t!("dish.reheat"),
        "station" => t!("dish.station"),
        _ => key.to_owned().into(),
    }
}

/// The method step by step. A line that stops short of the end of its sentence goes on in the next one: it was broken
/// where a page or an editor was full.
fn steps(method: &str) -> Vec<String> {
    let mut steps: Vec<String> = Vec::new();
    let mut goes_on = false;
    for line in method.lines().map(str::trim) {
        match steps.last_mut().filter(|_| goes_on && !begins_step(line)) {
            _ if line.is_empty() => {}
            Some(step) => {
                step.push(' ');
                step.push_str(line);
            }
            None => steps.push(line.to_owned()),
        }
        goes_on = !line.is_empty() && !line.ends_with(['.', '!', '?', ':', ';', ')']);
    }
    steps
}

/// `2. Fold in the flour`, `- Fold in the flour`.
fn begins_step(line: &str) -> bool {
    let numbered = line.trim_start_matches(|letter: char| letter.is_ascii_digit());
    line.starts_with(['-', '*', '#']) || (numbered.len() < line.len() && numbered.starts_with(['.', ')']))
}

/// In how many services and other dishes it is used.
fn uses(kitchen: &Kitchen, id: &DishId) -> usize {
    let services = kitchen.weeks.values().flat_map(|week| &week.services);
    let served = services.filter(|service| service.dishes.iter().any(|dish| dish.dish == *id)).count();
    let within =
        |dish: &&Dish| ingredients(dish).any(|one| matches!(&one.item, Some(Item::Dish(inner)) if inner == id));
    served + kitchen.dishes.values().filter(within).count()
}

fn ingredients(dish: &Dish) -> impl Iterator<Item = &Ingredient> {
    dish.parts.iter().flat_map(|part| &part.lines)
}

/// A line with its amount scaled. What fills a pot is not scaled, and a line without an amount stays as it is.
fn scaled(ingredient: &Ingredient, factor: Exact, units: System) -> String {
    let line = &ingredient.line;
    let (Some(range), Some(unit), None) = (line.amount, line.unit, &line.fills) else { return line.raw.clone() };
    if factor == Exact::ONE {
        return line.raw.clone();
    }
    let show = |value: Exact| {
        let amount = Quantity::new(value * factor, unit);
        if unit.is_count() { amount.as_written() } else { amount.show(units) }
    };
    let amount = if range.low == range.high {
        show(range.high)
    } else {
        format!("{} – {}", show(range.low), show(range.high))
    };
    let size = line.size.map(|size| format!(" ({})", size.as_written())).unwrap_or_default();
    let prep = if line.prep.is_empty() { String::new() } else { format!(", {}", line.prep) };
    format!("{amount}{size} {}{prep}", line.food)
}

#[derive(Properties, PartialEq)]
struct ScaleProps {
    serves: bool,
    portions: Exact,
    on_set: Callback<Exact>,
}

/// For how many the amounts are shown.
#[component]
fn Scale(props: &ScaleProps) -> Html {
    let wrong = use_state(|| None::<AttrValue>);
    let portions = props.portions;
    let step = |by: i64| {
        let tell = props.on_set.clone();
        Callback::from(move |_: MouseEvent| {
            let next = portions + Exact::whole(by);
            if next.is_positive() {
                tell.emit(next);
            }
        })
    };
    let on_done = {
        let (tell, wrong) = (props.on_set.clone(), wrong.clone());
        Callback::from(move |text: String| match number(&text) {
            Some(count) => {
                wrong.set(None);
                tell.emit(count);
            }
            None => wrong.set(Some(t!("error.wrong_amount", read = text))),
        })
    };
    html! {
        <Amount
            label={t!("dish.scale_to")}
            value={in_field(portions)}
            unit={if props.serves { t!("dish.portions_unit") } else { t!("dish.times_unit") }}
            less={t!("common.less")}
            more={t!("common.more_of")}
            on_less={step(-1)}
            on_more={step(1)}
            least={portions <= Exact::ONE}
            {on_done}
            error={(*wrong).clone()}
        />
    }
}

/// What a dish contains, and the foods of which that is not recorded, those of dishes within it among them.
#[derive(Default)]
struct Found {
    contains: BTreeSet<String>,
    not_recorded: BTreeSet<String>,
    vary: BTreeSet<String>,
}

fn gather(kitchen: &Kitchen, id: &DishId, depth: u8, found: &mut Found) {
    let Some(dish) = kitchen.dishes.get(id).filter(|_| depth < DEEPEST) else { return };
    for ingredient in ingredients(dish) {
        match &ingredient.item {
            Some(Item::Dish(inner)) => gather(kitchen, inner, depth + 1, found),
            Some(Item::Food(food)) => judge(kitchen, food.food, found),
            None => {}
        }
    }
}

fn judge(kitchen: &Kitchen, ix: FoodIx, found: &mut Found) {
    let food = kitchen.catalog.get(ix);
    found.contains.extend(contains(food, kitchen.regime));
    match food.allergens {
        Allergens::NotRecorded => drop(found.not_recorded.insert(food.name.clone())),
        Allergens::Recorded { vary: true, .. } => drop(found.vary.insert(food.name.clone())),
        Allergens::Recorded { .. } => {}
    }
}

#[derive(Properties, PartialEq)]
struct ContentsProps {
    now: Rc<KitchenNow>,
    id: AttrValue,
}

/// The allergens, as far as they are recorded; never more than that.
#[component]
fn Contents(props: &ContentsProps) -> Html {
    let mut found = Found::default();
    gather(&props.now.kitchen, &DishId::new(&props.id), 0, &mut found);
    let list = |words: &BTreeSet<String>| joined(&words.iter().collect::<Vec<_>>());
    let contains: Vec<AttrValue> = found.contains.iter().map(|word| say_kind(word)).collect();
    html! {
        <Notice tone={Tone::Care}>
            if contains.is_empty() {
                <p>{ t!("dish.contains_nothing_recorded") }</p>
            } else {
                <p class="strong">{ t!("common.contains", what = joined(&contains)) }</p>
            }
            if !found.not_recorded.is_empty() { <p>{ t!("dish.not_recorded", foods = list(&found.not_recorded)) }</p> }
            if !found.vary.is_empty() { <p>{ t!("dish.vary", foods = list(&found.vary)) }</p> }
            <p class="small">{ t!("safety.label") }</p>
        </Notice>
    }
}

#[derive(Properties, PartialEq)]
struct RemoveDishProps {
    id: AttrValue,
    on_leave: Callback<()>,
}

/// Asks, and takes the dish out.
#[component]
fn RemoveDish(props: &RemoveDishProps) -> Html {
    let (hand, going) = (use_hand(), use_going());
    let on_deed = {
        let id = props.id.clone();
        Callback::from(move |()| {
            let removed = hand.save(t!("dish.removed"), |kitchen| {
                kitchen.dishes.remove(id.as_str());
                Ok(())
            });
            match removed {
                Ok(()) => going.go.emit("week/dishes".to_owned()),
                Err(error) => hand.say(error),
            }
        })
    };
    html! {
        <Confirm
            title={t!("dish.delete")}
            deed={t!("common.delete")}
            leave={t!("common.leave")}
            danger=true
            {on_deed}
            on_leave={props.on_leave.clone()}
        />
    }
}

/// A dish's text in the kitchen folder's form, whatever it was saved as.
pub(super) fn as_text(dish: &Dish, kitchen: &Kitchen) -> String {
    let dish = Dish { source: DishSource::Text, ..dish.clone() };
    trug_folder::write_dish(&dish, &kitchen.catalog)
}

#[cfg(test)]
mod tests {
    use super::super::swaps::names_of;
    use super::*;

    #[test]
    fn a_line_that_stops_short_goes_on_in_the_next() {
        for (method, want) in [
            ("Potatoes for the\nlast 45 minutes.\nCool.", vec!["Potatoes for the last 45 minutes.", "Cool."]),
            ("1. Mix\n2. Bake", vec!["1. Mix", "2. Bake"]),
            ("- Mix\n- Bake", vec!["- Mix", "- Bake"]),
            ("Mix\n\nBake", vec!["Mix", "Bake"]),
            ("", vec![]),
        ] {
            assert_eq!(steps(method), want, "{method}");
        }
    }

    #[test]
    fn amounts_are_scaled_in_kitchen_units() {
        let mut files = trug_folder::Files::new();
        files.insert("kitchen.toml", b"name = \"K\"\n".to_vec()).unwrap();
        let mut names = names_of(&trug_folder::read(&files).unwrap());
        for (line, factor, want) in [
            ("2 carrots, peeled", Exact::new(3, 2), "3 carrots, peeled"),
            ("1 lb carrots", Exact::new(1, 2), "8 oz carrots"),
            ("1 tsp salt", Exact::whole(3), "1 tbsp salt"),
            ("2 to 3 carrots", Exact::whole(2), "4 – 6 carrots"),
            ("salt, to taste", Exact::whole(9), "salt, to taste"),
            ("1 (14.5-oz) can diced tomatoes", Exact::ONE, "1 (14.5-oz) can diced tomatoes"),
        ] {
            let read = names.ingredients(line).remove(0);
            assert_eq!(scaled(&read, factor, System::Us), want, "{line}");
        }
    }
}
