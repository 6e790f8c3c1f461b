//! Putting away what is left of a trip: into the pantry where it is kept from now on.

use std::rc::Rc;

use trug_catalog::Keep;
use trug_device::{DocId, Entry};
use trug_measure::{Amount, Exact, MassUnit, System, Unit, VolumeUnit};
use trug_replica::pantry::{Counted, Lot};
use trug_replica::run::{Line, LineState, LineView, PlanLine, Taken};
use yew::prelude::*;

use super::board::Board;
use super::form::keep_of;
use super::hands::Hands;
use super::measure::{Draft, Said, units};
use super::parts::DraftField;
use super::say;
use crate::desk::Desk;
use crate::look::{Button, Kind, Notice, Pick, Section, Select, Shape, Sheet, Toggle, Tone};
use crate::words::t;

/// Something that was bought.
#[derive(Debug, Clone, PartialEq)]
struct Bought {
    food: String,
    /// How it is kept, where the line says so.
    keep: Option<Keep>,
    /// How much was bought.
    there: Option<Amount>,
    /// How much more than was needed.
    extra: Option<Amount>,
}

/// What was bought on a trip.
fn bought(lines: &[LineView]) -> Vec<Bought> {
    lines.iter().filter_map(one_bought).collect()
}

fn one_bought(view: &LineView) -> Option<Bought> {
    let bought = view.picks.iter().find(|(_, pick)| pick.what.is_purchase())?;
    let line = view.line.as_deref();
    let there = view.standing.there.filter(|there| there.value.is_positive());
    let planned = match line {
        Some(Line::Planned(plan)) => Some(&**plan),
        _ => None,
    };
    match &bought.1.what {
        Taken::Sub { instead, .. } => Some(Bought { food: instead.clone(), keep: None, there: None, extra: None }),
        _ => Some(Bought {
            food: line?.food().to_owned(),
            keep: planned.map(|plan| plan.keep),
            there,
            extra: extra(planned, view, there),
        }),
    }
}

/// All of what nobody needs any more; else what the packs hold beyond the need.
fn extra(plan: Option<&PlanLine>, view: &LineView, there: Option<Amount>) -> Option<Amount> {
    if view.standing.state == LineState::WithdrawnButBought {
        return there;
    }
    let plan = plan.filter(|_| matches!(view.standing.state, LineState::Got | LineState::BoughtTwice))?;
    let (want, takes) = (plan.want?, plan.takes?);
    let more = takes.to_unit(want.unit)?.value - want.value;
    more.is_positive().then(|| Amount::new(more, want.unit))
}

/// In a unit that the reader would weigh or measure in.
fn readable(amount: Amount, system: System) -> Amount {
    let large = |unit: Unit| amount.to_unit(unit).filter(|amount| amount.value >= Exact::ONE);
    let (big, small) = match (amount.unit, system) {
        (Unit::Mass(_), System::Us) => (Unit::Mass(MassUnit::Pound), Unit::Mass(MassUnit::Ounce)),
        (Unit::Mass(_), System::Metric) => (Unit::Mass(MassUnit::Kilogram), Unit::GRAM),
        (Unit::Volume(_), System::Us) => (Unit::Volume(VolumeUnit::Cup), Unit::Volume(VolumeUnit::FluidOunce)),
        (Unit::Volume(_), System::Metric) => (Unit::Volume(VolumeUnit::Liter), Unit::ML),
        _ => return amount,
    };
    large(big).or_else(|| amount.to_unit(small)).unwrap_or(amount)
}

/// A line of the sheet.
#[derive(Clone, PartialEq)]
struct Choice {
    bought: Bought,
    on: bool,
    draft: Draft,
    wrong: Option<AttrValue>,
}

fn choice(bought: Bought, system: System) -> Choice {
    let much = bought.extra.or(bought.there).map(|amount| readable(amount, system));
    let draft = much.map_or_else(|| Draft::empty(Unit::Each), Draft::of);
    Choice { on: bought.extra.is_some(), draft, wrong: None, bought }
}

/// The sheet.
#[derive(Properties, PartialEq)]
pub(super) struct PutAwayProps {
    /// The hands for the pantry.
    pub(super) hands: Hands,
    /// The pantry.
    pub(super) board: Rc<Board>,
    /// The reader's units.
    pub(super) system: System,
    /// Told when it is done with or left.
    pub(super) on_close: Callback<()>,
}

/// Which trip, what of it, and how much.
#[component]
pub(super) fn PutAway(props: &PutAwayProps) -> Html {
    let desk = &props.hands.desk;
    let trips = finished(desk);
    let trip = use_state(|| trips.first().map(|entry| entry.id.clone()));
    let choices = use_state(|| trip.as_ref().map(|id| choices_of(props, id)).unwrap_or_default());
    let choose = {
        let (trip, choices, hands, system) = (trip.setter(), choices.setter(), props.hands.clone(), props.system);
        Callback::from(move |id: AttrValue| {
            let id = DocId::from(id.as_str());
            choices.set(choices_in(&hands, &id, system));
            trip.set(Some(id));
        })
    };
    let submit = {
        let (hands, board, choices, close) =
            (props.hands.clone(), props.board.clone(), choices.clone(), props.on_close.clone());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            let checked: Vec<Choice> = choices.iter().map(checked).collect();
            if checked.iter().all(|one| one.wrong.is_none()) {
                put(&hands, &board, &checked);
                close.emit(());
            } else {
                choices.set(checked);
            }
        })
    };
    let options =
        trips.iter().map(|entry| Pick::new(entry.id.as_str().to_owned(), entry.title.clone())).collect::<Vec<_>>();
    let value = trip.as_ref().map(|id| id.as_str().to_owned()).unwrap_or_default();
    let change = {
        let choices = choices.clone();
        Callback::from(move |(at, next): (usize, Choice)| {
            let mut all = (*choices).clone();
            if let Some(one) = all.get_mut(at) {
                *one = next;
            }
            choices.set(all);
        })
    };
    html! {
        <Sheet title={t!("pantry.put_away")} close={t!("common.close")} on_close={props.on_close.clone()}>
            <form class="stack" onsubmit={submit}>
                <Select label={t!("pantry.which_trip")} {options} {value} on_choose={choose} />
                <Notice tone={Tone::Care}>{ t!("pantry.put_away_text") }</Notice>
                if choices.is_empty() {
                    <p class="soft">{ t!("pantry.nothing_bought") }</p>
                } else {
                    <Section title={t!("pantry.bought")}>
                        { for choices.iter().enumerate().map(|(at, one)| html! {
                            <ChoiceRow key={at} {at} choice={one.clone()} system={props.system} on_change={change.clone()} />
                        }) }
                    </Section>
                }
                <div class="strip">
                    <Button label={t!("pantry.put_away")} kind={Kind::Main} icon={Shape::Tick} submit=true disabled={!choices.iter().any(|one| one.on)} />
                    <Button label={t!("common.cancel")} on_press={props.on_close.reform(|_: MouseEvent| ())} />
                </div>
            </form>
        </Sheet>
    }
}

/// The trips that are over, the latest first: their plan no longer takes anything off them that is put away here.
pub(super) fn finished(desk: &Desk) -> Vec<Entry> {
    desk.read(|device| device.trips().into_iter().filter(|trip| device.is_finished(&trip.id)).collect())
}

fn choices_of(props: &PutAwayProps, trip: &DocId) -> Vec<Choice> {
    choices_in(&props.hands, trip, props.system)
}

fn choices_in(hands: &Hands, trip: &DocId, system: System) -> Vec<Choice> {
    let lines = hands.desk.read(|device| device.run(trip).map(|run| run.view().lines)).unwrap_or_default();
    bought(&lines).into_iter().map(|one| choice(one, system)).collect()
}

#[derive(Properties, PartialEq)]
struct ChoiceRowProps {
    at: usize,
    choice: Choice,
    system: System,
    on_change: Callback<(usize, Choice)>,
}

#[component]
fn ChoiceRow(props: &ChoiceRowProps) -> Html {
    let (at, one) = (props.at, &props.choice);
    let turn = {
        let (one, tell) = (one.clone(), props.on_change.clone());
        Callback::from(move |on| tell.emit((at, Choice { on, wrong: None, ..one.clone() })))
    };
    let change = {
        let (one, tell) = (one.clone(), props.on_change.clone());
        Callback::from(move |draft| tell.emit((at, Choice { draft, wrong: None, ..one.clone() })))
    };
    let there = one
        .bought
        .there
        .map(|much| t!("pantry.bought_much", amount = say::amount(readable(much, props.system), props.system)));
    let extra = one
        .bought
        .extra
        .map(|much| t!("pantry.extra_much", amount = say::amount(readable(much, props.system), props.system)));
    let hint: Vec<AttrValue> = there.into_iter().chain(extra).collect();
    html! {
        <div class="put-row">
            <Toggle label={one.bought.food.clone()} on={one.on} hint={(!hint.is_empty()).then(|| hint.join(" · "))} on_change={turn} />
            if one.on {
                <DraftField
                    label={t!("pantry.amount_of", food = one.bought.food)}
                    draft={one.draft.clone()}
                    units={units(Some(one.draft.unit), props.system)}
                    error={one.wrong.clone()}
                    on_change={change}
                />
            }
        </div>
    }
}

fn checked(one: &Choice) -> Choice {
    let wrong = match one.draft.read() {
        _ if !one.on => None,
        Ok(Said::Much(_)) => None,
        Ok(Said::Empty | Said::Nothing) => Some(t!("pantry.amount_needed")),
        Err(wrong) => Some(say::wrong(&wrong)),
    };
    Choice { wrong, ..one.clone() }
}

fn put(hands: &Hands, board: &Board, choices: &[Choice]) {
    let mut facts = Vec::new();
    for one in choices.iter().filter(|one| one.on) {
        let Ok(Said::Much(amount)) = one.draft.read() else { continue };
        let keep = one.bought.keep.unwrap_or_else(|| keep_of(&hands.desk, &one.bought.food));
        let lot = Lot { food: one.bought.food.clone(), keep, use_by: None };
        facts.extend(hands.put(board, &lot, Counted::Amount(amount), &t!("pantry.why_bought")));
    }
    if !facts.is_empty() {
        hands.say_done(t!("pantry.put_away_done", count = facts.len()), facts);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amounts_are_in_the_readers_units() {
        let table = [
            ("907.18474 g", System::Us, "2 lb"),
            ("28.349523125 g", System::Us, "1 oz"),
            ("1500 g", System::Metric, "1.5 kg"),
            ("200 g", System::Metric, "200 g"),
            ("3 can", System::Us, "3 can"),
        ];
        for (amount, system, expected) in table {
            assert_eq!(readable(amount.parse().unwrap(), system), expected.parse().unwrap(), "{amount}");
        }
    }
}
