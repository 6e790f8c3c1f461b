//! One pantry: what to use first, what is below par, and everything by the place where it is kept.

use std::rc::Rc;

use trug_catalog::Keep;
use trug_device::DocId;
use trug_measure::System;
use trug_replica::id::LotId;
use yew::prelude::*;

use super::board::{Board, KEEPS, Row};
use super::form::LotForm;
use super::hands::{Hands, use_board, use_hands};
use super::lot::LotSheet;
use super::parts::{LotRow, first_few};
use super::put_away::{PutAway, finished};
use super::{say, way};
use crate::app::{Frame, use_going};
use crate::look::{Button, Disclosure, Empty, Field, Kind, Notice, Section, Shape, Sheet, Tone};
use crate::words::t;

/// What lies over the shelves.
#[derive(Clone, PartialEq)]
enum Over {
    Nothing,
    Lot(LotId),
    Edit(LotId),
    Add,
    Title,
    PutAway,
}

/// One pantry.
#[derive(Properties, PartialEq)]
pub(super) struct ShelvesProps {
    /// The pantry.
    pub(super) doc: DocId,
    /// The lot to open.
    #[prop_or_default]
    pub(super) lot: Option<LotId>,
    /// There are other pantries to go back to.
    pub(super) among_others: bool,
}

/// The screen.
#[component]
pub(super) fn Shelves(props: &ShelvesProps) -> Html {
    let going = use_going();
    let (hands, toasts, on_gone) = use_hands(&props.doc);
    let board = use_board(&props.doc);
    let over = use_state(|| Over::Nothing);
    let set = {
        let over = over.setter();
        use_callback((), move |next: Over, ()| over.set(next))
    };
    use_effect_with((props.lot.clone(), set.clone()), |(lot, set)| {
        set.emit(lot.clone().map_or(Over::Nothing, Over::Lot));
    });
    let system = say::system(&hands.desk);
    let pantry = say::pantries(&hands.desk).into_iter().find(|one| one.doc == props.doc);
    let open = use_callback(set.clone(), |lot: LotId, set| set.emit(Over::Lot(lot)));
    let (Some(board), Some(pantry)) = (board, pantry) else { return not_here(&going) };
    let actions = title_button(&pantry, &set);
    let on_close = closing(props, &set, &going);
    let back = if props.among_others { super::back_to(&going, "pantries") } else { Html::default() };
    html! {
        <Frame
            place="pantries"
            title={pantry.name.clone()}
            {back}
            {actions}
            over={over_of(&over, &set, on_close, &hands, &board, system, &pantry.name)}
            {toasts}
            {on_gone}
        >
            <FirstButtons doc={props.doc.clone()} any={!board.rows.is_empty()} set={set.clone()} />
            if board.rows.is_empty() {
                <Empty title={t!("pantry.empty_title")} text={t!("pantry.empty_text")} icon={Shape::Shelf} />
            }
            <div class="beside pantry">
                <div class="pantry-aside">
                    { aside(&board, system, &open) }
                    { client_link(&pantry, &going) }
                </div>
                <div>{ shelves(&props.doc, &board, system, &open) }</div>
            </div>
        </Frame>
    }
}

/// Who was invited reads the name and does not change it.
fn title_button(pantry: &say::Pantry, set: &Callback<Over>) -> Html {
    if !pantry.owned {
        return Html::default();
    }
    let on_press = set.reform(|_: MouseEvent| Over::Title);
    html! { <Button label={t!("pantry.title_edit")} bare=true icon={Shape::Edit} kind={Kind::Quiet} {on_press} /> }
}

/// Closes what lies over the shelves; a lot that the address names goes from there too.
fn closing(props: &ShelvesProps, set: &Callback<Over>, going: &crate::app::Going) -> Callback<()> {
    let (set, go, to) = (set.clone(), going.go.clone(), props.lot.as_ref().map(|_| way::one(&props.doc)));
    Callback::from(move |()| {
        set.emit(Over::Nothing);
        if let Some(to) = &to {
            go.emit(to.clone());
        }
    })
}

fn not_here(going: &crate::app::Going) -> Html {
    html! {
        <Frame place="pantries" title={t!("pantry.title")} back={super::back_to(going, "pantries")}>
            <Empty title={t!("error.not_found")} icon={Shape::Shelf}>
                <Button label={t!("pantry.all")} kind={Kind::Main} on_press={going.to("pantries")} />
            </Empty>
        </Frame>
    }
}

#[derive(Properties, PartialEq)]
struct FirstButtonsProps {
    doc: DocId,
    any: bool,
    set: Callback<Over>,
}

/// Count, add, put away.
#[component]
fn FirstButtons(props: &FirstButtonsProps) -> Html {
    let (desk, going) = (crate::desk::use_desk(), use_going());
    let add = props.set.reform(|_: MouseEvent| Over::Add);
    let put = props.set.reform(|_: MouseEvent| Over::PutAway);
    let trips = desk.is_chef() && !finished(&desk).is_empty();
    html! {
        <div class="strip pantry-acts">
            if props.any {
                <Button label={t!("pantry.count")} kind={Kind::Main} icon={Shape::Tick} on_press={going.to(way::count(&props.doc, None))} />
            }
            <Button label={t!("pantry.add_lot")} kind={if props.any { Kind::Plain } else { Kind::Main }} icon={Shape::Plus} on_press={add} />
            if trips { <Button label={t!("pantry.put_away")} icon={Shape::Basket} on_press={put} /> }
        </div>
    }
}

fn aside(board: &Board, system: System, open: &Callback<LotId>) -> Html {
    let (first, below, doubtful) = (board.first(), board.below(), board.doubtful());
    html! { <>
        { first_few(first.iter().map(|row| lot_row(row, system, open)).collect(), first.iter().filter(|row| row.is_past()).count()) }
        if !doubtful.is_empty() {
            <Section title={t!("pantry.not_counted")} count={lots(doubtful.len())}>
                <p class="soft part-note">{ t!("pantry.not_counted_text") }</p>
                { rows(&doubtful, system, open) }
            </Section>
        }
        if !below.is_empty() {
            <Section title={t!("pantry.below_par")} count={lots(below.len())}>
                { for below.iter().map(|row| html! {
                    <LotRow key={row.id.as_str()} row={(*row).clone()} {system} whose={say::short(row, system).unwrap_or_default()} on_open={open.clone()} />
                }) }
            </Section>
        }
        if board.unreadable > 0 {
            <Notice tone={Tone::Care} title={t!("pantry.unreadable", count = board.unreadable)}>{ t!("pantry.unreadable_text") }</Notice>
        }
    </> }
}

fn lots(count: usize) -> AttrValue {
    t!("pantry.lots", count = count)
}

fn rows(rows: &[&Row], system: System, open: &Callback<LotId>) -> Html {
    html! { <>{ for rows.iter().map(|row| lot_row(row, system, open)) }</> }
}

fn lot_row(row: &Row, system: System, open: &Callback<LotId>) -> Html {
    html! { <LotRow key={row.id.as_str()} row={row.clone()} {system} on_open={open.clone()} /> }
}

fn shelves(doc: &DocId, board: &Board, system: System, open: &Callback<LotId>) -> Html {
    let gone = board.gone();
    html! { <>
        { for KEEPS.into_iter().map(|keep| shelf(doc, board, keep, system, open)) }
        if !gone.is_empty() {
            <Disclosure title={t!("pantry.gone")} count={gone.len().to_string()}>
                <div class="card-rows">{ rows(&gone, system, open) }</div>
            </Disclosure>
        }
        if !board.rows.is_empty() {
            <Disclosure title={t!("pantry.safety_title")}>
                <ul class="plain-list">
                    <li>{ t!("pantry.safety_label") }</li>
                    <li>{ t!("pantry.safety_cold") }</li>
                    <li>{ t!("pantry.safety_open") }</li>
                    <li>{ t!("pantry.frozen_note") }</li>
                </ul>
            </Disclosure>
        }
    </> }
}

fn shelf(doc: &DocId, board: &Board, keep: Keep, system: System, open: &Callback<LotId>) -> Html {
    let kept = board.kept(keep);
    if kept.is_empty() {
        return Html::default();
    }
    html! {
        <Section title={say::place(keep)} count={lots(kept.len())} key={keep.name()}>
            { rows(&kept, system, open) }
            <CountShelf doc={doc.clone()} place={say::place(keep)} way={way::count(doc, Some(keep))} />
        </Section>
    }
}

#[derive(Properties, PartialEq)]
struct CountShelfProps {
    doc: DocId,
    place: AttrValue,
    way: String,
}

/// Counts one place alone.
#[component]
fn CountShelf(props: &CountShelfProps) -> Html {
    let going = use_going();
    html! {
        <Button label={t!("pantry.count_place", place = props.place)} kind={Kind::Quiet} on_press={going.to(props.way.clone())} />
    }
}

fn client_link(pantry: &say::Pantry, going: &crate::app::Going) -> Html {
    if !pantry.owned || pantry.is_kit {
        return Html::default();
    }
    html! {
        <Section title={t!("pantry.client")} bare=true>
            <p class="soft">{ t!("pantry.client_link_text") }</p>
            <div class="strip">
                <Button label={t!("pantry.client_link")} icon={Shape::Link} on_press={going.to(format!("more/share/{}", pantry.doc))} />
            </div>
        </Section>
    }
}

fn over_of(
    over: &Over,
    set: &Callback<Over>,
    on_close: Callback<()>,
    hands: &Hands,
    board: &Rc<Board>,
    system: System,
    name: &AttrValue,
) -> Html {
    let (hands, board) = (hands.clone(), board.clone());
    match over.clone() {
        Over::Nothing => Html::default(),
        Over::Lot(lot) => {
            html! { <LotSheet {hands} {board} {lot} {system} on_edit={set.reform(Over::Edit)} {on_close} /> }
        }
        Over::Edit(lot) => html! { <LotForm {hands} {board} lot={Some(lot)} {system} {on_close} /> },
        Over::Add => html! { <LotForm {hands} {board} {system} {on_close} /> },
        Over::Title => html! { <TitleForm {hands} name={name.clone()} {on_close} /> },
        Over::PutAway => html! { <PutAway {hands} {board} {system} {on_close} /> },
    }
}

#[derive(Properties, PartialEq)]
struct TitleFormProps {
    hands: Hands,
    name: AttrValue,
    on_close: Callback<()>,
}

/// What the pantry is called.
#[component]
fn TitleForm(props: &TitleFormProps) -> Html {
    let text = use_state(|| props.name.to_string());
    let wrong = use_state(|| Option::<AttrValue>::None);
    let submit = {
        let (hands, text, wrong, close) = (props.hands.clone(), text.clone(), wrong.setter(), props.on_close.clone());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            let title = text.trim().to_owned();
            if title.is_empty() {
                wrong.set(Some(t!("error.needed")));
            } else if hands.edit(|pantry| pantry.set_title(&title)).is_some() {
                close.emit(());
            }
        })
    };
    let write = {
        let (text, wrong) = (text.setter(), wrong.setter());
        Callback::from(move |next| {
            wrong.set(None);
            text.set(next);
        })
    };
    html! {
        <Sheet title={t!("pantry.title_edit")} close={t!("common.close")} on_close={props.on_close.clone()} short=true>
            <form class="stack" onsubmit={submit}>
                <Field
                    label={t!("common.name")}
                    value={(*text).clone()}
                    hint={Some(t!("pantry.title_hint"))}
                    error={(*wrong).clone()}
                    needed={t!("error.needed")}
                    on_input={write}
                />
                <div class="strip"><Button label={t!("common.save")} kind={Kind::Main} submit=true /></div>
            </form>
        </Sheet>
    }
}
