//! One week: its services with their menus and budgets, what speaks against a dish, and what to look at.

use std::collections::BTreeMap;
use std::rc::Rc;

use trug_catalog::Keep;
use trug_measure::Money;
use trug_provision::convert::Missing;
use trug_provision::demand::{DishDoubt, portions};
use trug_provision::kitchen::{DishId, HouseholdId, Kitchen, Service, ServiceDish, WeekId};
use trug_provision::list::{List, ListLine, Warning};
use trug_provision::plan::list_name;
use trug_provision::text::household_name;
use trug_provision::{Options, Workings};
use yew::prelude::*;

use super::form::{day, money, shown, week_name};
use super::guarded::{Against, Concerns, of_service};
use super::hand::use_hand;
use super::page::{Gone, Page, Tab, Wrong};
use super::trip::{StartTrip, trips_of};
use crate::app::use_going;
use crate::desk::kitchen::KitchenNow;
use crate::look::{Button, Confirm, Disclosure, Empty, Kind, Notice, Section, Shape, Tone};
use crate::place::links::{Row, Way};
use crate::words::t;

/// A week's list, and what raw food is kept too long for it.
#[derive(Debug, PartialEq)]
pub(super) struct Seen {
    pub(super) list: List,
    raw: Vec<AttrValue>,
}

/// Plans the week; `None` where there is none.
#[hook]
pub(super) fn use_seen(now: &Rc<KitchenNow>, week: &str) -> Rc<Option<Seen>> {
    use_memo((now.clone(), week.to_owned()), |(now, week)| see(&now.kitchen, &WeekId::new(week)))
}

fn see(kitchen: &Kitchen, week: &WeekId) -> Option<Seen> {
    let workings = Workings::of(kitchen, week, &Options::default()).ok()?;
    let raw = raw_keeping(kitchen, &workings);
    Some(Seen { list: workings.into_list(), raw })
}

/// Raw food that is bought longer before it is cooked than it keeps, each once.
fn raw_keeping(kitchen: &Kitchen, workings: &Workings<'_>) -> Vec<AttrValue> {
    let mut found = Vec::new();
    for demand in &workings.demands {
        let food = kitchen.catalog.get(demand.food);
        let (Some(raw), Some(service)) = (food.raw, workings.service(demand.service)) else { continue };
        let days = (service.cook - service.shop).num_days();
        if days <= i64::from(raw.days_raw()) || food.keep == Keep::Frozen {
            continue;
        }
        let text = t!(
            "week.raw_too_long",
            food = list_name(&kitchen.catalog, demand.food),
            days = days,
            who = household_name(kitchen, &service.household),
            most = raw.days_raw(),
        );
        if !found.contains(&text) {
            found.push(text);
        }
    }
    found
}

#[derive(Properties, PartialEq)]
pub(super) struct WeekPageProps {
    pub(super) now: Rc<KitchenNow>,
    pub(super) id: AttrValue,
}

/// What is open over the week.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Over {
    Trip,
    Removal,
}

/// One week.
#[component]
pub(super) fn WeekPage(props: &WeekPageProps) -> Html {
    let seen = use_seen(&props.now, &props.id);
    let over = use_state(|| None::<Over>);
    let kitchen = &props.now.kitchen;
    let (Some(week), Some(seen)) = (kitchen.weeks.get(props.id.as_str()), &*seen) else {
        return html! { <Gone tab={Tab::Weeks} /> };
    };
    let open = |what: Over| {
        let over = over.setter();
        Callback::from(move |_: MouseEvent| over.set(Some(what)))
    };
    let close = {
        let over = over.setter();
        Callback::from(move |()| over.set(None))
    };
    let dialog = match *over {
        Some(Over::Trip) => html! { <StartTrip now={props.now.clone()} id={props.id.clone()} on_close={close} /> },
        Some(Over::Removal) => html! { <RemoveWeek now={props.now.clone()} id={props.id.clone()} on_close={close} /> },
        None => Html::default(),
    };
    let add = html! { <AddService now={props.now.clone()} id={props.id.clone()} /> };
    let empty = week.services.is_empty();
    let list_to = format!("week/list/{}", props.id);
    html! {
        <Page
            title={week_name(&props.id)}
            tab={Tab::Weeks}
            up={AttrValue::from("week")}
            over={dialog}
            below={if empty { Html::default() } else { sums(&seen.list) }}
        >
            if empty {
                <Empty title={t!("week.empty_title")} text={t!("week.empty_text")} icon={Shape::Week}>{ add.clone() }</Empty>
            } else {
                <div class="strip no-paper">
                    <Button label={t!("week.start_trip")} icon={Shape::Basket} kind={Kind::Main} on_press={open(Over::Trip)} />
                    <Way to={list_to} words={t!("week.list")} />
                    { add }
                </div>
                <TripRows id={props.id.clone()} />
                { for week.services.iter().enumerate().map(|(at, service)| html! {
                    <ServiceCard key={at} now={props.now.clone()} id={props.id.clone()} {at} service={service.clone()} total={total(&seen.list, &service.household)} />
                }) }
                <ToLookAt now={props.now.clone()} seen={Findings::of(kitchen, seen)} />
            }
            <div class="strip no-paper">
                <Button label={t!("week.remove_week")} kind={Kind::Danger} icon={Shape::Remove} on_press={open(Over::Removal)} />
            </div>
        </Page>
    }
}

/// What the week comes to: lines, cost, what has no price.
pub(super) fn sums(list: &List) -> Html {
    html! {
        <p class="strip-between" aria-live="polite">
            <span>{ t!("week.list_lines", count = list.lines.len()) }{ " · " }{ t!("week.covered", count = list.covered.len()) }</span>
            <span class="strong">
                { t!("week.cost") }{ " " }{ money(list.total) }
                if !list.unpriced.is_empty() { { ", " }{ t!("shop.unpriced", count = list.unpriced.len()) } }
            </span>
        </p>
    }
}

/// What one household's groceries come to, against its budget.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Total {
    pub(super) estimate: Money,
    pub(super) budget: Option<Money>,
    pub(super) unpriced: usize,
}

pub(super) fn total(list: &List, household: &HouseholdId) -> Option<Total> {
    let found = list.households.iter().find(|total| total.household == *household)?;
    Some(Total { estimate: found.estimate, budget: found.budget, unpriced: found.unpriced.len() })
}

impl Total {
    /// The sum against the budget, in words.
    pub(super) fn words(self) -> AttrValue {
        match self.budget {
            Some(budget) => t!("week.within", sum = money(self.estimate), budget = money(budget)),
            None => format!("{} · {}", t!("shop.estimate", sum = money(self.estimate)), t!("week.no_budget")).into(),
        }
    }

    /// By how much it is over, where it is.
    pub(super) fn over(self) -> Option<Money> {
        let budget = self.budget?;
        let over = self.estimate.minor.saturating_sub(budget.minor);
        (over > 0).then_some(Money { minor: over, ..budget })
    }
}

/// A table's estimate against its budget.
pub(super) fn budget_words(total: Option<Total>) -> Html {
    let Some(total) = total else { return Html::default() };
    html! { <>
        <p>
            <span class="strong">{ t!("week.budget") }{ ": " }</span>{ total.words() }
            if total.unpriced > 0 { { " · " }{ t!("shop.unpriced", count = total.unpriced) } }
        </p>
        if let Some(over) = total.over() {
            <Notice tone={Tone::Trouble}><p>{ t!("week.over", sum = money(over)) }</p></Notice>
        }
    </> }
}

#[derive(Properties, PartialEq)]
struct TripRowsProps {
    id: AttrValue,
}

/// The shopping trips that follow this week.
#[component]
fn TripRows(props: &TripRowsProps) -> Html {
    let desk = crate::desk::use_desk();
    let trips = trips_of(&desk, &props.id);
    if trips.is_empty() {
        return Html::default();
    }
    html! {
        <Section title={t!("shop.trips")}>
            { for trips.into_iter().map(|(id, title)| html! { <Row key={id.as_str()} to={format!("shop/trip/{id}")} name={title} /> }) }
        </Section>
    }
}

#[derive(Properties, PartialEq)]
struct ServiceCardProps {
    now: Rc<KitchenNow>,
    id: AttrValue,
    at: usize,
    service: Service,
    total: Option<Total>,
}

/// One service: for whom, when, what, and what speaks against it.
#[component]
fn ServiceCard(props: &ServiceCardProps) -> Html {
    let kitchen = &props.now.kitchen;
    let service = &props.service;
    let concerns = use_memo((props.now.clone(), service.clone()), |(now, service)| of_service(&now.kitchen, service));
    let name = household_name(kitchen, &service.household);
    let edit = format!("week/service/{}/{}", props.id, props.at);
    html! {
        <Section title={name.to_owned()} count={t!("week.dishes", count = service.dishes.len())}>
            <div class="week-card">
                <p>{ t!("week.shop_on") }{ " " }{ day(service.shop) }{ " · " }{ t!("week.cook_on") }{ " " }{ day(service.cook) }</p>
                if service.cook < service.shop {
                    <Notice tone={Tone::Trouble}><p>{ t!("week.cook_before_shop") }</p></Notice>
                }
                { budget_words(props.total) }
                <ul class="week-menu">{ for service.dishes.iter().map(|dish| menu_line(&props.now, service, dish, &concerns)) }</ul>
                <div class="strip no-paper">
                    <Way to={edit} words={t!("week.edit_service")} name={Some(AttrValue::from(format!("{}: {name}", t!("week.edit_service"))))} icon={Shape::Edit} />
                </div>
            </div>
        </Section>
    }
}

fn menu_line(
    now: &Rc<KitchenNow>,
    service: &Service,
    dish: &ServiceDish,
    concerns: &BTreeMap<DishId, Concerns>,
) -> Html {
    let kitchen = &now.kitchen;
    let title = kitchen.dishes.get(&dish.dish).map_or(dish.dish.as_str(), |one| one.title.as_str());
    let count = kitchen.households.get(&service.household).map(|household| portions(household, dish));
    html! {
        <li>
            <div class="strip-between">
                <span class="strong">{ title.to_owned() }</span>
                if let Some(count) = count { <span class="soft">{ t!("week.portions", count = shown(count)) }</span> }
            </div>
            if let Some(concerns) = concerns.get(&dish.dish) {
                <Against now={now.clone()} dish={dish.dish.as_str().to_owned()} concerns={concerns.clone()} />
            }
        </li>
    }
}

#[derive(Properties, PartialEq)]
struct AddServiceProps {
    now: Rc<KitchenNow>,
    id: AttrValue,
}

/// Adds a service, for the first household without one, and goes there.
#[component]
fn AddService(props: &AddServiceProps) -> Html {
    let (hand, going) = (use_hand(), use_going());
    let wrong = use_state(|| None::<AttrValue>);
    if props.now.kitchen.households.is_empty() {
        return html! { <Way to="week/households/new" words={t!("household.new")} icon={Shape::Plus} kind={Kind::Main} /> };
    }
    let on_press = {
        let (now, id, wrong) = (props.now.clone(), props.id.clone(), wrong.clone());
        Callback::from(move |_: MouseEvent| {
            let at = now.kitchen.weeks.get(id.as_str()).map_or(0, |week| week.services.len());
            let saved = hand.save(t!("week.service_added"), |kitchen| {
                let Some(service) = super::service::fresh(kitchen, &id) else { return Ok(()) };
                if let Some(week) = kitchen.weeks.get_mut(id.as_str()) {
                    week.services.push(service);
                }
                Ok(())
            });
            match saved {
                Ok(()) => going.go.emit(format!("week/service/{id}/{at}")),
                Err(error) => wrong.set(Some(error)),
            }
        })
    };
    html! { <>
        <Button label={t!("week.add_service")} icon={Shape::Plus} {on_press} />
        <Wrong text={(*wrong).clone()} />
    </> }
}

#[derive(Properties, PartialEq)]
struct RemoveWeekProps {
    now: Rc<KitchenNow>,
    id: AttrValue,
    on_close: Callback<()>,
}

/// Asks, and takes the week out.
#[component]
fn RemoveWeek(props: &RemoveWeekProps) -> Html {
    let (hand, going) = (use_hand(), use_going());
    let on_deed = {
        let id = props.id.clone();
        Callback::from(move |()| {
            let saved = hand.save(t!("week.week_removed"), |kitchen| {
                kitchen.weeks.remove(id.as_str());
                Ok(())
            });
            match saved {
                Ok(()) => going.go.emit("week".to_owned()),
                Err(error) => hand.say(error),
            }
        })
    };
    html! {
        <Confirm
            title={t!("week.remove_week")}
            text={t!("week.remove_week_text")}
            deed={t!("common.remove")}
            leave={t!("common.leave")}
            danger=true
            {on_deed}
            on_leave={props.on_close.clone()}
        />
    }
}

/// What to look at in a week, in words.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Findings {
    raw: Vec<AttrValue>,
    rest: Vec<AttrValue>,
    unknown: Vec<String>,
}

impl Findings {
    pub(super) fn of(kitchen: &Kitchen, seen: &Seen) -> Self {
        let list = &seen.list;
        let mut found = Self { raw: seen.raw.clone(), ..Self::default() };
        for (household, diner, word) in &list.guarded.unknown_words {
            let who = format!("{diner} ({})", household_name(kitchen, household));
            found.add(t!("week.unknown_word", word = word, who = who));
        }
        for doubt in &list.doubts {
            found.add(doubt_words(kitchen, doubt));
        }
        for line in list.lines.iter().chain(&list.covered) {
            found.line(kitchen, line);
        }
        for lot in &list.expired {
            let food = list_name(&kitchen.catalog, lot.food);
            found.add(t!("week.expired", food = food, date = day(lot.use_by)));
        }
        found
    }

    fn add(&mut self, text: AttrValue) {
        if !self.rest.contains(&text) {
            self.rest.push(text);
        }
    }

    fn line(&mut self, kitchen: &Kitchen, line: &ListLine) {
        let food = &kitchen.catalog.get(line.food).name;
        for warning in &line.warnings {
            match warning {
                Warning::Undescribed => {
                    if !self.unknown.contains(food) {
                        self.unknown.push(food.clone());
                    }
                }
                Warning::Missing(figure) => self.add(missing_words(food, *figure)),
                Warning::PriceUnusable => self.add(t!("week.price_unusable", food = food)),
                Warning::MoreThanEnough => self.add(t!("week.more_than_enough", food = food)),
                Warning::Slip { raw } => self.add(t!("dish.slip", raw = raw, food = food)),
                Warning::AmountsDiffer { raw } => self.add(t!("dish.amounts_differ", raw = raw)),
                Warning::AmountOutOfRange { raw } => self.add(t!("dish.out_of_range", raw = raw)),
                // Said at the dish and on the line.
                Warning::AllergensNotRecorded | Warning::AllergensVary => {}
            }
        }
    }

    fn count(&self) -> usize {
        self.raw.len() + self.rest.len() + self.unknown.len()
    }
}

/// A figure that is missing, in words.
pub(super) fn missing_words(food: &str, missing: Missing) -> AttrValue {
    match missing {
        Missing::Weight(unit) => match unit.symbol() {
            "each" => t!("dish.miss_piece", food = food),
            unit => t!("dish.miss_weight", food = food, unit = unit),
        },
        Missing::CookedYield => t!("dish.miss_cooked", food = food),
        Missing::DrainedWeight => t!("dish.miss_drained", food = food),
        Missing::Refuse => t!("dish.miss_refuse", food = food),
    }
}

fn doubt_words(kitchen: &Kitchen, doubt: &DishDoubt) -> AttrValue {
    let title = kitchen.dishes.get(doubt.dish()).map_or(doubt.dish().as_str(), |dish| dish.title.as_str());
    match doubt {
        DishDoubt::NoServings { .. } => t!("dish.no_servings", dish = title),
        DishDoubt::NoShare { line, .. } => t!("dish.no_share", dish = title, line = line),
        DishDoubt::Unread { line, .. } => t!("dish.unread", dish = title, line = line),
    }
}

#[derive(Properties, PartialEq)]
struct ToLookAtProps {
    now: Rc<KitchenNow>,
    seen: Findings,
}

/// Raw food first, in the open; the rest on demand.
#[component]
fn ToLookAt(props: &ToLookAtProps) -> Html {
    let seen = &props.seen;
    if seen.count() == 0 {
        return Html::default();
    }
    html! { <>
        if !seen.raw.is_empty() {
            <Notice tone={Tone::Care} title={t!("week.raw_title")}>
                { for seen.raw.iter().map(|text| html! { <p>{ text }</p> }) }
                <p class="small">{ t!("week.raw_source") }{ " " }{ t!("safety.first") }</p>
            </Notice>
        }
        if !(seen.rest.is_empty() && seen.unknown.is_empty()) {
            <Disclosure title={t!("week.warnings")} count={(seen.rest.len() + seen.unknown.len()).to_string()}>
                <ul class="week-findings">
                    { for seen.unknown.iter().map(|food| html! {
                        <li>
                            <span>{ t!("dish.unknown_food", food = food) }</span>{ " " }
                            <Way to={format!("week/food/{food}")} words={t!("food.describe")} name={Some(AttrValue::from(format!("{}: {food}", t!("food.describe"))))} kind={Kind::Quiet} />
                        </li>
                    }) }
                    { for seen.rest.iter().map(|text| html! { <li>{ text }</li> }) }
                </ul>
            </Disclosure>
        }
    </> }
}
