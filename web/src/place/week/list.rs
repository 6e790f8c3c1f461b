//! What a week comes to on the list, before anybody shops: the lines, what is on hand already, and the cost.

use std::rc::Rc;

use trug_provision::kitchen::{HouseholdId, Kitchen};
use trug_provision::list::{Alert, List, ListLine, Warning};
use trug_provision::plan::list_name;
use trug_provision::text::{household_name, line_text};
use yew::prelude::*;

use super::form::{joined, money, week_name};
use super::page::{Gone, Page, Tab};
use super::plan::{budget_words, sums, total, use_seen};
use super::trip::StartTrip;
use crate::desk::kitchen::KitchenNow;
use crate::look::{AllergyAlert, Badge, Button, Disclosure, Empty, Kind, Section, Shape};
use crate::words::{say_kind, say_name, t};

#[derive(Properties, PartialEq)]
pub(super) struct ListPageProps {
    pub(super) now: Rc<KitchenNow>,
    pub(super) id: AttrValue,
}

/// The week's list.
#[component]
pub(super) fn ListPage(props: &ListPageProps) -> Html {
    let seen = use_seen(&props.now, &props.id);
    let starting = use_state(|| false);
    let kitchen = &props.now.kitchen;
    let Some(seen) = &*seen else { return html! { <Gone tab={Tab::Weeks} /> } };
    let list = &seen.list;
    let open = {
        let starting = starting.setter();
        Callback::from(move |_: MouseEvent| starting.set(true))
    };
    let close = {
        let starting = starting.setter();
        Callback::from(move |()| starting.set(false))
    };
    let over = if *starting {
        html! { <StartTrip now={props.now.clone()} id={props.id.clone()} on_close={close} /> }
    } else {
        Html::default()
    };
    let print = Callback::from(|_: MouseEvent| {
        // A browser that prints nothing says so itself.
        let _ = gloo::utils::window().print();
    });
    html! {
        <Page
            title={format!("{} · {}", t!("week.list"), week_name(&props.id))}
            tab={Tab::Weeks}
            up={AttrValue::from(format!("week/{}", props.id))}
            below={sums(list)}
            {over}
        >
            if list.lines.is_empty() {
                <Empty title={t!("week.list_empty")} icon={Shape::Basket} />
            } else {
                <div class="strip no-paper">
                    <Button label={t!("week.start_trip")} icon={Shape::Basket} kind={Kind::Main} on_press={open} />
                    <Button label={t!("common.print")} icon={Shape::Print} on_press={print} />
                </div>
                <Disclosure title={t!("week.budget")} count={money(list.total)}>{ for budgets(kitchen, list) }</Disclosure>
                { for sections(&list.lines).into_iter().map(|(section, lines)| html! {
                    <Section key={section} title={section_name(section)} count={lines.len().to_string()}>
                        <ul class="week-lines week-boxes">{ for lines.into_iter().map(|line| html! { <Line row={Shown::of(kitchen, line)} /> }) }</ul>
                    </Section>
                }) }
            }
            if !list.covered.is_empty() {
                <Disclosure title={t!("shop.already_group")} count={list.covered.len().to_string()}>
                    <ul class="week-lines">{ for list.covered.iter().map(|line| html! { <Line row={Shown::of(kitchen, line)} /> }) }</ul>
                </Disclosure>
            }
            <p class="small soft">{ t!("safety.never_free") }{ " " }{ t!("safety.label") }</p>
        </Page>
    }
}

fn budgets(kitchen: &Kitchen, list: &List) -> Vec<Html> {
    let one = |household: &HouseholdId| {
        html! {
            <div class="week-budget">
                <p class="strong">{ household_name(kitchen, household).to_owned() }</p>
                { budget_words(total(list, household)) }
            </div>
        }
    };
    list.households.iter().map(|total| one(&total.household)).collect()
}

/// The lines by section, in the order of the walk.
fn sections(lines: &[ListLine]) -> Vec<(&str, Vec<&ListLine>)> {
    let mut found: Vec<(&str, Vec<&ListLine>)> = Vec::new();
    for line in lines {
        match found.iter_mut().find(|(section, _)| *section == line.section) {
            Some((_, lines)) => lines.push(line),
            None => found.push((&line.section, vec![line])),
        }
    }
    found
}

fn section_name(section: &str) -> AttrValue {
    if section.is_empty() { t!("section.other") } else { say_name("section", section) }
}

/// What one line says.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Shown {
    food: AttrValue,
    take: AttrValue,
    cost: Option<AttrValue>,
    whom: AttrValue,
    separate: Option<AttrValue>,
    contains: Option<AttrValue>,
    not_recorded: bool,
    alerts: Vec<AttrValue>,
}

impl Shown {
    fn of(kitchen: &Kitchen, line: &ListLine) -> Self {
        let mut whom: Vec<&str> = line.demands.iter().map(|need| short(kitchen, &need.household)).collect();
        whom.dedup();
        let contains: Vec<AttrValue> = line.contains.iter().map(|word| say_kind(word)).collect();
        Self {
            food: list_name(&kitchen.catalog, line.food).into(),
            take: if line.need.is_none() { t!("shop.make_sure") } else { line_text(kitchen, line).into() },
            cost: line.buy.cost.map(money),
            whom: t!("common.for_whom", whom = joined(&whom)),
            separate: line.separate.as_ref().map(|id| t!("shop.separate", whom = household_name(kitchen, id))),
            contains: (!contains.is_empty()).then(|| t!("common.contains", what = joined(&contains))),
            not_recorded: line.warnings.contains(&Warning::AllergensNotRecorded),
            alerts: line.alerts.iter().map(|alert| alert_words(kitchen, line, alert)).collect(),
        }
    }
}

fn short<'k>(kitchen: &'k Kitchen, id: &'k HouseholdId) -> &'k str {
    let household = kitchen.households.get(id);
    household.map_or(id.as_str(), |one| one.short.as_deref().unwrap_or(&one.name))
}

fn alert_words(kitchen: &Kitchen, line: &ListLine, alert: &Alert) -> AttrValue {
    let dish = kitchen.dishes.get(&alert.dish).map_or(alert.dish.as_str(), |dish| dish.title.as_str());
    let food = list_name(&kitchen.catalog, line.food);
    let text = t!("week.conflict_allergy", diner = alert.diner, what = say_kind(&alert.what), dish = dish, food = food);
    if alert.by_name { format!("{text} {}", t!("week.by_name")).into() } else { text }
}

#[derive(Properties, PartialEq)]
struct LineProps {
    row: Shown,
}

/// One line.
#[component]
fn Line(props: &LineProps) -> Html {
    let row = &props.row;
    html! {
        <li>
            <div class="strip-between">
                <span><span class="strong">{ &row.food }</span>{ " " }<span>{ &row.take }</span></span>
                if let Some(cost) = &row.cost { <span class="whole">{ cost }</span> }
            </div>
            <div class="strip small soft">
                <span>{ &row.whom }</span>
                if let Some(words) = &row.separate { <Badge text={words.clone()} /> }
                if let Some(words) = &row.contains { <span>{ words }</span> }
                if row.not_recorded { <span>{ t!("common.not_recorded") }</span> }
            </div>
            { for row.alerts.iter().map(|text| html! { <AllergyAlert title={t!("common.allergy_alert")} text={text.clone()} /> }) }
        </li>
    }
}
