//! One service: for whom, when, and its menu. Every change is written at once; the estimate follows.

use std::rc::Rc;

use chrono::NaiveDate;
use trug_catalog::fold;
use trug_measure::Exact;
use trug_provision::demand::{eats, portions};
use trug_provision::kitchen::{Dish, DishId, HouseholdId, Kitchen, Service, ServiceDish, ServingSize};
use trug_provision::text::household_name;
use yew::prelude::*;

use super::form::{in_field, monday, moved, number, shown, today, week_start};
use super::guarded::{Against, Concerns, of_all_dishes, of_service};
use super::hand::use_hand;
use super::page::{Gone, Page, Tab, Wrong};
use super::plan::{budget_words, total, use_seen};
use super::swaps::{SwapText, Swaps, read as read_swaps, use_food_names};
use crate::app::use_going;
use crate::desk::kitchen::KitchenNow;
use crate::look::{
    Amount, Button, Choice, Disclosure, Empty, Field, Input, Kind, Notice, Pick, Section, Select, Shape, Sheet, Toggle,
    Tone, icon, use_id,
};
use crate::place::links::Way;
use crate::words::t;

/// A service for the first household that has none in that week, on the days of the week's last service.
pub(super) fn fresh(kitchen: &Kitchen, week: &str) -> Option<Service> {
    let services = kitchen.weeks.get(week).map(|week| week.services.as_slice()).unwrap_or_default();
    let served = |id: &&HouseholdId| services.iter().any(|service| service.household == **id);
    let household = kitchen.households.keys().find(|id| !served(id)).or_else(|| kitchen.households.keys().next())?;
    let start = week_start(week).unwrap_or_else(|| monday(today()));
    let (shop, cook) =
        services.last().map_or((moved(start, 2), moved(start, 3)), |service| (service.shop, service.cook));
    Some(Service { household: household.clone(), shop, cook, dishes: Vec::new() })
}

/// Where a service is.
#[derive(Clone, PartialEq)]
struct At {
    week: AttrValue,
    service: usize,
}

impl At {
    fn of<'k>(&self, kitchen: &'k Kitchen) -> Option<&'k Service> {
        kitchen.weeks.get(self.week.as_str())?.services.get(self.service)
    }

    fn change(&self, kitchen: &mut Kitchen, change: impl FnOnce(&mut Service)) -> Result<(), String> {
        let week = kitchen.weeks.get_mut(self.week.as_str());
        let service = week.and_then(|week| week.services.get_mut(self.service));
        service.map(change).ok_or_else(|| t!("error.not_found").to_string())
    }
}

#[derive(Properties, PartialEq)]
pub(super) struct ServicePageProps {
    pub(super) now: Rc<KitchenNow>,
    pub(super) id: AttrValue,
    pub(super) at: usize,
}

/// Writes changes of one service, and keeps what was wrong with the last one.
#[hook]
fn use_change(at: &At) -> (Tell, Option<AttrValue>) {
    let hand = use_hand();
    let wrong = use_state(|| None::<AttrValue>);
    let at = at.clone();
    let tell = {
        let wrong = wrong.clone();
        Callback::from(move |(words, change): (AttrValue, ServiceChange)| {
            wrong.set(hand.save(words, |kitchen| (change.0)(kitchen, &at)).err());
        })
    };
    (tell, (*wrong).clone())
}

/// What is to be changed of a service.
#[derive(Clone)]
struct ServiceChange(Rc<Changing>);

/// Changes the kitchen at a service, or says why not.
type Changing = dyn Fn(&mut Kitchen, &At) -> Result<(), String>;

impl ServiceChange {
    fn new(change: impl Fn(&mut Service) + 'static) -> Self {
        Self(Rc::new(move |kitchen, at| at.change(kitchen, &change)))
    }

    fn dish(which: usize, change: impl Fn(&mut ServiceDish) + 'static) -> Self {
        Self::new(move |service| service.dishes.get_mut(which).into_iter().for_each(&change))
    }
}

/// What changes a service, with the words that say what was done.
type Tell = Callback<(AttrValue, ServiceChange)>;

/// One service.
#[component]
pub(super) fn ServicePage(props: &ServicePageProps) -> Html {
    let at = At { week: props.id.clone(), service: props.at };
    let seen = use_seen(&props.now, &props.id);
    let concerns = use_memo((props.now.clone(), at.clone()), |(now, at)| {
        at.of(&now.kitchen).map(|service| of_service(&now.kitchen, service)).unwrap_or_default()
    });
    let (change, wrong) = use_change(&at);
    let picking = use_state(|| false);
    let foods = use_food_names(&props.now);
    let kitchen = &props.now.kitchen;
    let (Some(service), Some(seen)) = (at.of(kitchen), &*seen) else {
        return html! { <Gone tab={Tab::Weeks} /> };
    };
    let name = household_name(kitchen, &service.household).to_owned();
    let open = {
        let picking = picking.setter();
        Callback::from(move |_: MouseEvent| picking.set(true))
    };
    let close = {
        let picking = picking.setter();
        Callback::from(move |()| picking.set(false))
    };
    let over = if *picking {
        let household = AttrValue::from(service.household.to_string());
        html! { <PickDish now={props.now.clone()} {household} change={change.clone()} on_close={close} /> }
    } else {
        Html::default()
    };
    let add = html! { <Button label={t!("week.add_dish")} icon={Shape::Plus} kind={Kind::Main} on_press={open} /> };
    let card = |(which, dish): (usize, &ServiceDish)| {
        html! {
            <DishCard
                key={format!("{which}/{}", dish.dish)}
                now={props.now.clone()}
                household={AttrValue::from(service.household.to_string())}
                {which}
                dish={dish.clone()}
                concerns={concerns.get(&dish.dish).cloned().unwrap_or_default()}
                change={change.clone()}
                foods={foods.clone()}
            />
        }
    };
    html! {
        <Page title={name} tab={Tab::Weeks} up={AttrValue::from(format!("week/{}", props.id))} {over}
            below={html! { <div aria-live="polite">{ budget_words(total(&seen.list, &service.household)) }</div> }}
        >
            <Wrong text={wrong} />
            <When now={props.now.clone()} service={service.clone()} change={change.clone()} />
            if service.dishes.is_empty() {
                <Empty title={t!("week.menu_empty")} icon={Shape::Note}>{ add.clone() }</Empty>
            } else {
                <Section title={t!("week.menu")} count={t!("week.dishes", count = service.dishes.len())} bare=true>
                    { for service.dishes.iter().enumerate().map(card) }
                </Section>
                <div class="strip">{ add }<Way to={format!("week/list/{}", props.id)} words={t!("week.list")} /></div>
            }
            <RemoveService week={props.id.clone()} at={props.at} />
        </Page>
    }
}

#[derive(Properties, PartialEq)]
struct WhenProps {
    now: Rc<KitchenNow>,
    service: Service,
    change: Tell,
}

/// For whom, and on which days.
#[component]
fn When(props: &WhenProps) -> Html {
    let kitchen = &props.now.kitchen;
    let service = &props.service;
    let options = kitchen.households.iter();
    let options: Vec<Pick> = options.map(|(id, one)| Pick::new(id.to_string(), one.name.clone())).collect();
    let on_choose = props.change.reform(|id: AttrValue| {
        let id = HouseholdId::new(&id);
        let change = ServiceChange::new(move |service| {
            // Who eats it is by the diners' names, which another table does not have.
            service.household = id.clone();
            service.dishes.iter_mut().for_each(|dish| dish.diners = None);
        });
        (t!("week.service_changed"), change)
    });
    let day = |put: fn(&mut Service, NaiveDate)| {
        let tell = props.change.clone();
        Callback::from(move |text: String| {
            if let Ok(day) = text.parse::<NaiveDate>() {
                tell.emit((t!("week.service_changed"), ServiceChange::new(move |service| put(service, day))));
            }
        })
    };
    let on_shop = day(|service, day| service.shop = day);
    let on_cook = day(|service, day| service.cook = day);
    let early = service.cook < service.shop;
    html! {
        <div class="card stack">
            <Select label={t!("household.one")} {options} value={service.household.to_string()} {on_choose} />
            <div class="week-fields">
                <Field label={t!("week.shop_on")} input={Input::Date} value={service.shop.to_string()} on_done={on_shop} />
                <Field label={t!("week.cook_on")} input={Input::Date} value={service.cook.to_string()} on_done={on_cook}
                    error={early.then(|| t!("week.cook_before_shop"))} />
            </div>
        </div>
    }
}

#[derive(Properties, PartialEq)]
struct DishCardProps {
    now: Rc<KitchenNow>,
    household: AttrValue,
    which: usize,
    dish: ServiceDish,
    concerns: Concerns,
    change: Tell,
    foods: Rc<Vec<AttrValue>>,
}

/// One dish of the menu: what speaks against it, how much of it, who eats it, and its swaps.
#[component]
fn DishCard(props: &DishCardProps) -> Html {
    let kitchen = &props.now.kitchen;
    let dish = &props.dish;
    let title = dish_title(kitchen, &dish.dish);
    let household = kitchen.households.get(props.household.as_str());
    let count = household.map(|household| portions(household, dish));
    let remove = {
        let (which, words) = (props.which, t!("week.dish_removed", dish = title));
        props.change.reform(move |_: MouseEvent| {
            let remove = ServiceChange::new(move |service| {
                if which < service.dishes.len() {
                    service.dishes.remove(which);
                }
            });
            (words.clone(), remove)
        })
    };
    let nobody = count.is_some_and(|count| !count.is_positive());
    html! {
        <div class="card stack">
            <div class="strip-between">
                <h3>{ title.clone() }</h3>
                if let Some(count) = count { <span class="soft">{ t!("week.portions", count = shown(count)) }</span> }
            </div>
            <Against now={props.now.clone()} dish={dish.dish.to_string()} concerns={props.concerns.clone()} />
            if nobody { <Notice tone={Tone::Care}><p>{ t!("week.nobody_eats") }</p></Notice> }
            <HowMuch which={props.which} title={title.clone()} size={dish.size} change={props.change.clone()} />
            <Eaters now={props.now.clone()} household={props.household.clone()} which={props.which} dish={dish.clone()} change={props.change.clone()} />
            <DishSwaps now={props.now.clone()} which={props.which} dish={dish.clone()} change={props.change.clone()} foods={props.foods.clone()} />
            <div class="strip">
                <Way to={format!("week/dish/{}", dish.dish)} words={t!("dish.open")} name={Some(AttrValue::from(format!("{}: {title}", t!("dish.open"))))} kind={Kind::Quiet} />
                <Button label={t!("common.remove")} name={Some(AttrValue::from(format!("{}: {title}", t!("common.remove"))))} kind={Kind::Quiet} icon={Shape::Remove} on_press={remove} />
            </div>
        </div>
    }
}

fn dish_title(kitchen: &Kitchen, id: &DishId) -> String {
    kitchen.dishes.get(id).map_or_else(|| id.to_string(), |dish| dish.title.clone())
}

#[derive(Properties, PartialEq)]
struct HowMuchProps {
    which: usize,
    title: String,
    size: ServingSize,
    change: Tell,
}

/// At how many meals, or how many portions in all.
#[component]
fn HowMuch(props: &HowMuchProps) -> Html {
    let wrong = use_state(|| None::<AttrValue>);
    let (kind, value) = match props.size {
        ServingSize::Meals(value) => ("meals", value),
        ServingSize::Portions(value) => ("portions", value),
    };
    let sized = |kind: &str, value: Exact| match kind {
        "meals" => ServingSize::Meals(value),
        _ => ServingSize::Portions(value),
    };
    let set = {
        let (tell, which) = (props.change.clone(), props.which);
        let words = t!("week.dish_changed", dish = props.title);
        move |size: ServingSize| tell.emit((words.clone(), ServiceChange::dish(which, move |dish| dish.size = size)))
    };
    let on_choose = {
        let set = set.clone();
        Callback::from(move |kind: AttrValue| set(sized(&kind, value)))
    };
    let step = |by: i64| {
        let set = set.clone();
        Callback::from(move |_: MouseEvent| {
            let next = value + Exact::whole(by);
            set(sized(kind, if next.is_positive() { next } else { value }));
        })
    };
    let on_done = {
        let (set, wrong) = (set.clone(), wrong.clone());
        Callback::from(move |text: String| match number(&text) {
            Some(value) => {
                wrong.set(None);
                set(sized(kind, value));
            }
            None => wrong.set(Some(t!("error.wrong_amount", read = text))),
        })
    };
    let options = vec![Pick::new("meals", t!("week.meals")), Pick::new("portions", t!("week.portions_label"))];
    let label = if kind == "meals" { t!("week.meals_of") } else { t!("week.portions_of") };
    html! {
        <div class="week-fields">
            <Choice label={t!("week.how_much")} {options} value={kind} {on_choose} />
            <Amount
                {label}
                value={in_field(value)}
                less={AttrValue::from(format!("{}: {}", t!("common.less"), props.title))}
                more={AttrValue::from(format!("{}: {}", t!("common.more_of"), props.title))}
                on_less={step(-1)}
                on_more={step(1)}
                least={value <= Exact::ONE}
                {on_done}
                error={(*wrong).clone()}
            />
        </div>
    }
}

#[derive(Properties, PartialEq)]
struct EatersProps {
    now: Rc<KitchenNow>,
    household: AttrValue,
    which: usize,
    dish: ServiceDish,
    change: Tell,
}

/// Who eats it.
#[component]
fn Eaters(props: &EatersProps) -> Html {
    let Some(household) = props.now.kitchen.households.get(props.household.as_str()) else { return Html::default() };
    if household.diners.len() < 2 {
        return Html::default();
    }
    let all: Vec<String> = household.diners.iter().map(|diner| diner.name.clone()).collect();
    let toggle = |name: &String| {
        let (tell, which) = (props.change.clone(), props.which);
        let (all, name, dish) = (all.clone(), name.clone(), props.dish.clone());
        let words = t!("week.dish_changed", dish = dish_title(&props.now.kitchen, &dish.dish));
        Callback::from(move |on: bool| {
            let eats_now = |one: &&String| if **one == name { on } else { eats(&dish, one) };
            let chosen: Vec<String> = all.iter().filter(eats_now).cloned().collect();
            // A dish that nobody eats is taken off the menu, not kept for nobody.
            if chosen.is_empty() {
                return;
            }
            let chosen = (chosen.len() < all.len()).then_some(chosen);
            tell.emit((words.clone(), ServiceChange::dish(which, move |dish| dish.diners = chosen.clone())));
        })
    };
    let who = match &props.dish.diners {
        None => t!("week.for_all"),
        Some(names) => names.join(", ").into(),
    };
    let only = all.iter().filter(|name| eats(&props.dish, name)).count() == 1;
    html! {
        <Disclosure title={t!("week.for")} count={who}>
            <fieldset>
                <legend class="unseen">{ t!("week.for") }</legend>
                { for all.iter().map(|name| {
                    let on = eats(&props.dish, name);
                    html! { <Toggle key={name.as_str()} label={name.clone()} {on} disabled={on && only} on_change={toggle(name)} /> }
                }) }
            </fieldset>
        </Disclosure>
    }
}

#[derive(Properties, PartialEq)]
struct DishSwapsProps {
    now: Rc<KitchenNow>,
    which: usize,
    dish: ServiceDish,
    change: Tell,
    foods: Rc<Vec<AttrValue>>,
}

/// What is swapped in this dish alone.
#[component]
fn DishSwaps(props: &DishSwapsProps) -> Html {
    let open = use_state(|| false);
    let swaps: Vec<SwapText> = props.dish.swaps.iter().map(SwapText::of).collect();
    let on_change = {
        let which = props.which;
        let words = t!("week.dish_changed", dish = dish_title(&props.now.kitchen, &props.dish.dish));
        props.change.reform(move |texts: Vec<SwapText>| {
            let write = move |kitchen: &mut Kitchen, at: &At| {
                let swaps = read_swaps(kitchen, &texts)?;
                let set = |service: &mut Service| {
                    if let Some(dish) = service.dishes.get_mut(which) {
                        dish.swaps = swaps;
                    }
                };
                at.change(kitchen, set)
            };
            (words.clone(), ServiceChange(Rc::new(write)))
        })
    };
    let count = if swaps.is_empty() { AttrValue::default() } else { swaps.len().to_string().into() };
    let on_turn = {
        let open = open.setter();
        Callback::from(move |now| open.set(now))
    };
    html! {
        <Disclosure title={t!("week.swap")} {count} open={*open} {on_turn}>
            if *open { <Swaps {swaps} {on_change} foods={props.foods.clone()} /> }
        </Disclosure>
    }
}

#[derive(Properties, PartialEq)]
struct PickDishProps {
    now: Rc<KitchenNow>,
    household: AttrValue,
    change: Tell,
    on_close: Callback<()>,
}

/// Chooses a dish: what speaks against each at this table stands with it, and an allergy is asked about.
#[component]
fn PickDish(props: &PickDishProps) -> Html {
    let search = use_state(String::new);
    let asked = use_state(|| None::<DishId>);
    let concerns = use_memo((props.now.clone(), props.household.clone()), |(now, household)| {
        of_all_dishes(&now.kitchen, &HouseholdId::new(household))
    });
    let kitchen = &props.now.kitchen;
    let choose = {
        let (tell, close) = (props.change.clone(), props.on_close.clone());
        Callback::from(move |(id, title): (DishId, String)| {
            let dish = ServiceDish { dish: id, size: ServingSize::Meals(Exact::ONE), diners: None, swaps: Vec::new() };
            let add = ServiceChange::new(move |service| service.dishes.push(dish.clone()));
            tell.emit((t!("week.dish_added", dish = title), add));
            close.emit(());
        })
    };
    if let Some(id) = &*asked {
        let concerns = concerns.get(id).cloned().unwrap_or_default();
        let back = asked.setter();
        return html! {
            <Sheet title={t!("week.add_dish")} close={t!("common.close")} on_close={props.on_close.clone()}>
                <AskFirst now={props.now.clone()} id={id.to_string()} {concerns} on_choose={choose} on_leave={Callback::from(move |()| back.set(None))} />
            </Sheet>
        };
    }
    let wanted = fold(&search);
    let matches = |(_, dish): &(&DishId, &Dish)| fold(&dish.title).contains(&wanted);
    let row = |(id, dish): (&DishId, &Dish)| {
        let found = concerns.get(id).cloned().unwrap_or_default();
        let (asked, choose, id_, title) = (asked.setter(), choose.clone(), id.clone(), dish.title.clone());
        let alert = found.has_alert();
        let on_press = Callback::from(move |_: MouseEvent| match alert {
            true => asked.set(Some(id_.clone())),
            false => choose.emit((id_.clone(), title.clone())),
        });
        html! { <Candidate key={id.as_str()} now={props.now.clone()} id={id.to_string()} title={dish.title.clone()} concerns={found.conflicts_only()} {on_press} /> }
    };
    let mut found: Vec<(&DishId, &Dish)> = kitchen.dishes.iter().filter(matches).collect();
    found.sort_by_cached_key(|(_, dish)| fold(&dish.title));
    let found: Vec<Html> = found.into_iter().map(row).collect();
    let on_input = {
        let search = search.setter();
        Callback::from(move |text| search.set(text))
    };
    html! {
        <Sheet title={t!("week.add_dish")} close={t!("common.close")} on_close={props.on_close.clone()}>
            <div class="stack">
                <Field label={t!("dish.search")} input={Input::Search} value={(*search).clone()} {on_input} />
                if found.is_empty() {
                    <p>{ t!("common.nothing_found", words = *search) }</p>
                    <Way to="week/dishes/new" words={t!("dish.new")} icon={Shape::Plus} />
                }
                <div class="week-candidates">{ for found }</div>
            </div>
        </Sheet>
    }
}

#[derive(Properties, PartialEq)]
struct CandidateProps {
    now: Rc<KitchenNow>,
    id: AttrValue,
    title: AttrValue,
    concerns: Concerns,
    on_press: Callback<MouseEvent>,
}

/// One dish that can be chosen.
#[component]
fn Candidate(props: &CandidateProps) -> Html {
    let id = use_id();
    html! {
        <div class="week-candidate">
            <button type="button" class="leads" aria-describedby={&id} onclick={props.on_press.clone()}>
                <span class="leads-words"><span class="leads-name">{ &props.title }</span></span>
                { icon(Shape::Plus) }
            </button>
            <div id={&id} class="week-against">
                <Against now={props.now.clone()} dish={props.id.clone()} concerns={props.concerns.clone()} />
            </div>
        </div>
    }
}

#[derive(Properties, PartialEq)]
struct AskFirstProps {
    now: Rc<KitchenNow>,
    id: AttrValue,
    concerns: Concerns,
    on_choose: Callback<(DishId, String)>,
    on_leave: Callback<()>,
}

/// An allergy stands in the way: it is asked about before the dish is on the menu.
#[component]
fn AskFirst(props: &AskFirstProps) -> Html {
    let id = DishId::new(&props.id);
    let title = dish_title(&props.now.kitchen, &id);
    let choose = {
        let title = title.clone();
        props.on_choose.reform(move |_: MouseEvent| (id.clone(), title.clone()))
    };
    html! {
        <div class="stack">
            <h3>{ title }</h3>
            <Against now={props.now.clone()} dish={props.id.clone()} concerns={props.concerns.clone()} urgent=true />
            <p>{ t!("week.ask_first") }</p>
            <div class="strip">
                <Button label={t!("common.leave")} kind={Kind::Main} on_press={props.on_leave.reform(|_: MouseEvent| ())} />
                <Button label={t!("week.add_anyway")} kind={Kind::Danger} on_press={choose} />
            </div>
        </div>
    }
}

#[derive(Properties, PartialEq)]
struct RemoveServiceProps {
    week: AttrValue,
    at: usize,
}

/// Takes the service out and goes back to the week; it can be undone.
#[component]
fn RemoveService(props: &RemoveServiceProps) -> Html {
    let (hand, going) = (use_hand(), use_going());
    let wrong = use_state(|| None::<AttrValue>);
    let on_press = {
        let (week, at, wrong) = (props.week.clone(), props.at, wrong.clone());
        Callback::from(move |_: MouseEvent| {
            let saved = hand.save(t!("week.service_removed"), |kitchen| {
                if let Some(week) = kitchen.weeks.get_mut(week.as_str()).filter(|week| at < week.services.len()) {
                    week.services.remove(at);
                }
                Ok(())
            });
            match saved {
                Ok(()) => going.go.emit(format!("week/{week}")),
                Err(error) => wrong.set(Some(error)),
            }
        })
    };
    html! { <>
        <Wrong text={(*wrong).clone()} />
        <div class="strip">
            <Button label={t!("week.remove_service")} kind={Kind::Danger} icon={Shape::Remove} {on_press} />
        </div>
    </> }
}
