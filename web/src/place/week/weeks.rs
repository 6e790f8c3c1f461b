//! The weeks, the latest first.

use std::rc::Rc;

use trug_provision::kitchen::{Kitchen, Service, Week, WeekId};
use yew::prelude::*;

use super::form::{day, joined, monday, moved, today, week_id, week_name, week_start};
use super::hand::use_hand;
use super::page::{Page, Tab, Wrong};
use crate::app::use_going;
use crate::desk::kitchen::KitchenNow;
use crate::look::{Button, Empty, Field, Input, Kind, Section, Shape, Sheet};
use crate::place::links::{Row, Way};
use crate::words::t;

#[derive(Properties, PartialEq)]
pub(super) struct WeeksProps {
    pub(super) now: Rc<KitchenNow>,
}

/// The weeks.
#[component]
pub(super) fn Weeks(props: &WeeksProps) -> Html {
    let adding = use_state(|| false);
    let kitchen = &props.now.kitchen;
    let open = {
        let adding = adding.setter();
        Callback::from(move |_: MouseEvent| adding.set(true))
    };
    let close = {
        let adding = adding.setter();
        Callback::from(move |()| adding.set(false))
    };
    let new = html! { <Button label={t!("week.new_week")} icon={Shape::Plus} kind={Kind::Main} on_press={open} /> };
    let over = if *adding {
        html! { <NewWeek now={props.now.clone()} on_close={close} /> }
    } else {
        Html::default()
    };
    let row = |(id, week): (&WeekId, &Week)| {
        html! {
            <Row
                key={id.as_str()}
                to={format!("week/{id}")}
                name={week_name(id.as_str())}
                text={summary(kitchen, week)}
            />
        }
    };
    html! {
        <Page title={t!("week.title")} tab={Tab::Weeks} {over}>
            if kitchen.weeks.is_empty() {
                <Empty title={t!("week.none_title")} text={t!("week.empty_text")} icon={Shape::Week}>{ new }</Empty>
            } else {
                <div class="strip">{ new }</div>
                <Section title={t!("week.weeks")}>{ for kitchen.weeks.iter().rev().map(row) }</Section>
            }
            <div class="strip no-paper"><Way to="week/files" words={t!("files.title")} kind={Kind::Quiet} /></div>
        </Page>
    }
}

/// The days of shopping, and for whom.
fn summary(kitchen: &Kitchen, week: &Week) -> AttrValue {
    let mut days: Vec<_> = week.services.iter().map(|service| service.shop).collect();
    days.sort_unstable();
    days.dedup();
    let mut tables: Vec<&str> = Vec::new();
    for service in &week.services {
        let household = kitchen.households.get(&service.household);
        let name = household.map_or(service.household.as_str(), |one| one.short.as_deref().unwrap_or(&one.name));
        if !tables.contains(&name) {
            tables.push(name);
        }
    }
    if tables.is_empty() {
        return t!("week.empty_title");
    }
    let days: Vec<AttrValue> = days.into_iter().map(day).collect();
    format!("{} {} · {}", t!("week.shop_on"), joined(&days), tables.join(", ")).into()
}

#[derive(Properties, PartialEq)]
struct NewWeekProps {
    now: Rc<KitchenNow>,
    on_close: Callback<()>,
}

/// A new week: empty, or as the last one was.
#[component]
fn NewWeek(props: &NewWeekProps) -> Html {
    let (hand, going) = (use_hand(), use_going());
    let first = use_memo(props.now.clone(), |now| after_last(&now.kitchen).to_string());
    let date = use_state(|| (*first).clone());
    let wrong = use_state(|| None::<AttrValue>);
    let make = |copy: bool| {
        let (hand, going, date, wrong) = (hand.clone(), going.clone(), date.clone(), wrong.clone());
        Callback::from(move |_: MouseEvent| {
            let Ok(day) = date.parse() else { return wrong.set(Some(t!("error.wrong_date", read = *date))) };
            let id = week_id(day);
            let saved = hand.save(week_name(&id), |kitchen| {
                let services = if copy { last_services(kitchen, monday(day)) } else { Vec::new() };
                kitchen.weeks.entry(WeekId::new(&id)).or_insert(Week { services });
                Ok(())
            });
            match saved {
                Ok(()) => going.go.emit(format!("week/{id}")),
                Err(error) => wrong.set(Some(error)),
            }
        })
    };
    let on_input = {
        let date = date.setter();
        Callback::from(move |text| date.set(text))
    };
    let foot = html! { <>
        <Button label={t!("week.new_week")} kind={Kind::Main} on_press={make(false)} />
        if !props.now.kitchen.weeks.is_empty() { <Button label={t!("week.copy_week")} on_press={make(true)} /> }
    </> };
    html! {
        <Sheet title={t!("week.new_week")} close={t!("common.close")} on_close={props.on_close.clone()} {foot}>
            <div class="stack">
                <Wrong text={(*wrong).clone()} />
                <Field label={t!("week.first_day")} input={Input::Date} value={(*date).clone()} {on_input} />
            </div>
        </Sheet>
    }
}

/// The Monday after the last week that there is, or of this week where that is later.
fn after_last(kitchen: &Kitchen) -> chrono::NaiveDate {
    let this = monday(today());
    let last = kitchen.weeks.keys().filter_map(|id| week_start(id.as_str())).max();
    last.map_or(this, |last| moved(last, 7).max(this))
}

/// The last week's services, moved to the week that begins on that day, each on its own day of the week.
fn last_services(kitchen: &Kitchen, start: chrono::NaiveDate) -> Vec<Service> {
    let dated = kitchen.weeks.iter().filter_map(|(id, week)| Some((week_start(id.as_str())?, week)));
    let Some((was, week)) = dated.max_by_key(|(was, _)| *was) else { return Vec::new() };
    let days = (start - was).num_days();
    let service = |service: &Service| Service {
        shop: moved(service.shop, days),
        cook: moved(service.cook, days),
        ..service.clone()
    };
    week.services.iter().map(service).collect()
}
