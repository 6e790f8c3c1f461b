//! All pantries: the kit and each client's, and what is due first in any of them.

use std::rc::Rc;

use trug_device::DocId;
use trug_measure::System;
use trug_provision::kitchen::{Kitchen, PantryId};
use trug_replica::Document as _;
use trug_replica::id::LotId;
use yew::prelude::*;

use super::board::Board;
use super::hands::{board_of, today};
use super::parts::{LotRow, first_few};
use super::{say, way};
use crate::app::{Frame, use_going};
use crate::desk::{Desk, use_desk};
use crate::look::{Badge, Button, Empty, Field, Kind, Leads, Notice, Pick, Section, Select, Shape, Sheet, Tone};
use crate::words::t;

/// The pantries with what they come to.
type Boards = Rc<Vec<(say::Pantry, Board)>>;

/// Reads all pantries, anew when one of them has changed.
#[hook]
fn use_boards(desk: &Desk) -> Boards {
    let (today, pantries) = (today(), say::pantries(desk));
    let heads: Vec<_> =
        desk.read(|device| pantries.iter().map(|one| device.pantry(&one.doc).map(|pantry| pantry.heads())).collect());
    use_memo((pantries, heads, today), |(pantries, _, today)| {
        let board = |doc: &DocId| desk.read(|device| device.pantry(doc).map(|pantry| board_of(pantry, *today)));
        pantries.iter().map(|one| (one.clone(), board(&one.doc).unwrap_or_default())).collect()
    })
}

/// The screen.
#[component]
pub(super) fn Overview() -> Html {
    let desk = use_desk();
    let boards = use_boards(&desk);
    let adding = use_state(|| false);
    let system = say::system(&desk);
    let add = {
        let adding = adding.setter();
        Callback::from(move |_: MouseEvent| adding.set(true))
    };
    let close = {
        let adding = adding.setter();
        Callback::from(move |()| adding.set(false))
    };
    let over = if *adding {
        html! { <NewPantry on_close={close} /> }
    } else {
        Html::default()
    };
    html! {
        <Frame place="pantries" title={t!("pantry.title")} {over}>
            if let Some(Err(why)) = desk.kitchen() {
                <Notice tone={Tone::Care} title={t!("pantry.no_kitchen")}><p class="kept-lines">{ why.to_string() }</p></Notice>
            }
            if boards.is_empty() {
                <Empty title={t!("pantry.none_title")} text={if desk.is_chef() { t!("pantry.none_text") } else { t!("pantry.none_guest") }} icon={Shape::Shelf} />
            }
            <div class="beside pantry">
                <div class="pantry-aside">
                    { first(&boards, system) }
                    { not_counted(&boards, system) }
                </div>
                <div>
                    if !boards.is_empty() {
                        <Section title={t!("pantry.all")} count={t!("pantry.places", count = boards.len())}>
                            { for boards.iter().map(|(pantry, board)| html! {
                                <PantryRow key={pantry.doc.as_str()} pantry={pantry.clone()} facts={Facts::of(board)} />
                            }) }
                        </Section>
                    }
                    if desk.is_chef() {
                        <div class="strip pantry-acts">
                            <Button label={t!("pantry.new")} icon={Shape::Plus} kind={if boards.is_empty() { Kind::Main } else { Kind::Plain }} on_press={add} />
                        </div>
                    }
                </div>
            </div>
        </Frame>
    }
}

/// What a pantry's row says.
#[derive(Clone, Copy, PartialEq, Default)]
struct Facts {
    lots: usize,
    first: usize,
    below: usize,
    doubtful: usize,
}

impl Facts {
    fn of(board: &Board) -> Self {
        Self {
            lots: board.there(),
            first: board.first().len(),
            below: board.below().len(),
            doubtful: board.doubtful().len(),
        }
    }
}

#[derive(Properties, PartialEq)]
struct PantryRowProps {
    pantry: say::Pantry,
    facts: Facts,
}

#[component]
fn PantryRow(props: &PantryRowProps) -> Html {
    let going = use_going();
    let facts = props.facts;
    let text = if facts.lots == 0 { t!("pantry.empty_title") } else { t!("pantry.lots", count = facts.lots) };
    let some = |count: usize, text: AttrValue| (count > 0).then(|| html! { <Badge {text} tone={Tone::Care} /> });
    html! {
        <Leads name={props.pantry.name.clone()} {text} on_press={going.to(way::one(&props.pantry.doc))}>
            <span class="lot-marks">
                { some(facts.first, t!("pantry.count_first", count = facts.first)) }
                { some(facts.below, t!("pantry.count_below", count = facts.below)) }
                { some(facts.doubtful, t!("pantry.count_doubtful", count = facts.doubtful)) }
            </span>
        </Leads>
    }
}

/// What is due first in any of the pantries.
fn first(boards: &Boards, system: System) -> Html {
    let mut due: Vec<_> =
        boards.iter().flat_map(|(pantry, board)| board.first().into_iter().map(move |row| (pantry, row))).collect();
    due.sort_by_key(|(_, row)| row.due.rank());
    let past = due.iter().filter(|(_, row)| row.is_past()).count();
    first_few(due.into_iter().map(|(pantry, row)| lot_row(pantry, row, system)).collect(), past)
}

/// What the list does not count, and why.
fn not_counted(boards: &Boards, system: System) -> Html {
    let doubtful: Vec<_> =
        boards.iter().flat_map(|(pantry, board)| board.doubtful().into_iter().map(move |row| (pantry, row))).collect();
    if doubtful.is_empty() {
        return Html::default();
    }
    html! {
        <Section title={t!("pantry.not_counted")} count={t!("pantry.lots", count = doubtful.len())}>
            <p class="soft part-note">{ t!("pantry.not_counted_text") }</p>
            { for doubtful.into_iter().map(|(pantry, row)| lot_row(pantry, row, system)) }
        </Section>
    }
}

fn lot_row(pantry: &say::Pantry, row: &super::board::Row, system: System) -> Html {
    html! { <Elsewhere key={format!("{}/{}", pantry.doc, row.id)} pantry={pantry.clone()} row={row.clone()} {system} /> }
}

#[derive(Properties, PartialEq)]
struct ElsewhereProps {
    pantry: say::Pantry,
    row: super::board::Row,
    system: System,
}

/// A lot of some pantry, which leads there.
#[component]
fn Elsewhere(props: &ElsewhereProps) -> Html {
    let on_open: Callback<LotId> = use_going().to(way::lot(&props.pantry.doc, &props.row.id));
    html! { <LotRow row={props.row.clone()} system={props.system} whose={props.pantry.name.clone()} {on_open} /> }
}

#[derive(Properties, PartialEq)]
struct NewPantryProps {
    on_close: Callback<()>,
}

/// A pantry for the kit, for a household that names one, or for another place.
#[component]
fn NewPantry(props: &NewPantryProps) -> Html {
    let (desk, going) = (use_desk(), use_going());
    let named = missing(&desk);
    let choice = use_state(|| named.first().map_or_else(AttrValue::default, |(id, _)| id.clone()));
    let title = use_state(String::new);
    let wrong = use_state(|| Option::<AttrValue>::None);
    let submit = {
        let (desk, going, choice, title, wrong) = (desk.clone(), going, choice.clone(), title.clone(), wrong.setter());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            match begin(&desk, &choice, title.trim()) {
                Ok(doc) => going.go.emit(way::one(&doc)),
                Err(why) => wrong.set(Some(why)),
            }
        })
    };
    let choose = {
        let choice = choice.setter();
        Callback::from(move |next| choice.set(next))
    };
    let write = {
        let (title, wrong) = (title.setter(), wrong.setter());
        Callback::from(move |next| {
            wrong.set(None);
            title.set(next);
        })
    };
    let other = Pick::new("", t!("pantry.other_place"));
    let options: Vec<Pick> =
        named.iter().map(|(id, name)| Pick::new(id.clone(), name.clone())).chain([other]).collect();
    html! {
        <Sheet title={t!("pantry.new")} close={t!("common.close")} on_close={props.on_close.clone()} short=true>
            <form class="stack" onsubmit={submit}>
                if !named.is_empty() { <Select label={t!("pantry.whose_pantry")} {options} value={(*choice).clone()} on_choose={choose} /> }
                if choice.is_empty() {
                    <Field label={t!("common.name")} value={(*title).clone()} hint={Some(t!("pantry.new_hint"))} error={(*wrong).clone()} needed={t!("error.needed")} on_input={write} />
                } else if let Some(why) = &*wrong {
                    <Notice tone={Tone::Trouble}>{ why.clone() }</Notice>
                }
                <div class="strip"><Button label={t!("pantry.new_save")} kind={Kind::Main} submit=true /></div>
            </form>
        </Sheet>
    }
}

/// The pantries that the kitchen names and nobody has begun, with what they are called.
fn missing(desk: &Desk) -> Vec<(AttrValue, AttrValue)> {
    let Some(Ok(now)) = desk.kitchen() else { return Vec::new() };
    let here = desk.read(|device| device.pantries());
    missing_of(&now.kitchen, |id| here.contains_key(id))
}

fn missing_of(kitchen: &Kitchen, is_here: impl Fn(&str) -> bool) -> Vec<(AttrValue, AttrValue)> {
    let owned = kitchen.households.values().filter_map(|household| household.pantry.as_ref());
    let mut ids: Vec<&str> = kitchen.kit.iter().chain(owned).map(PantryId::as_str).collect();
    ids.dedup();
    let free = ids.into_iter().filter(|id| !is_here(id));
    free.map(|id| (AttrValue::from(id.to_owned()), say::name_of(Some(kitchen), id))).collect()
}

fn begin(desk: &Desk, id: &str, title: &str) -> Result<DocId, AttrValue> {
    if id.is_empty() && title.is_empty() {
        return Err(t!("error.needed"));
    }
    let taken = desk.read(|device| device.pantries());
    let key = if id.is_empty() { way::id_of(title, |id| taken.contains_key(id)) } else { id.to_owned() };
    let refused = |why: trug_device::Refused| t!("pantry.refused", why = why);
    let doc = desk.act(|device, now, out| device.need_pantry(now, &key, out)).map_err(refused)?;
    if id.is_empty() {
        desk.edit(&doc, |pantry: &mut trug_replica::pantry::Pantry| pantry.set_title(title)).map_err(refused)?;
    }
    Ok(doc)
}
