//! Counting: walking along a shelf with the phone in one hand. One lot at a time, and large buttons under the thumb.

use std::collections::BTreeMap;
use std::rc::Rc;

use trug_catalog::Keep;
use trug_device::DocId;
use trug_measure::System;
use trug_replica::id::{FactId, LotId};
use trug_replica::pantry::Counted;
use yew::prelude::*;

use super::board::{Board, Row};
use super::form::LotForm;
use super::hands::{Hands, use_board, use_hands};
use super::parts::Saw;
use super::{say, way};
use crate::app::{Frame, use_going};
use crate::look::{Badge, Button, Empty, Kind, Leads, Section, Shape, Tone, progress};
use crate::words::t;

/// A walk along the shelves: the lots in an order that stays, and what was said of them.
#[derive(Debug, Clone, PartialEq, Default)]
struct Walk {
    lots: Vec<LotId>,
    at: usize,
    said: BTreeMap<LotId, (FactId, Counted)>,
    /// The lot that was counted last, for taking it back.
    last: Option<LotId>,
}

/// What happens on the way.
enum Step {
    Begin(Vec<LotId>),
    Go(usize),
    Said(LotId, FactId, Counted),
    TakeBack(LotId),
}

impl Reducible for Walk {
    type Action = Step;

    fn reduce(self: Rc<Self>, step: Step) -> Rc<Self> {
        let mut walk = (*self).clone();
        match step {
            Step::Begin(lots) => walk = Self { lots, ..Self::default() },
            Step::Go(at) => walk.at = at.min(walk.lots.len()),
            Step::Said(lot, fact, seen) => {
                walk.said.insert(lot.clone(), (fact, seen));
                walk.last = Some(lot);
                walk.at = walk.after();
            }
            Step::TakeBack(lot) => {
                walk.said.remove(&lot);
                walk.at = walk.lots.iter().position(|one| *one == lot).unwrap_or(walk.at);
                walk.last = None;
            }
        }
        Rc::new(walk)
    }
}

impl Walk {
    fn after(&self) -> usize {
        self.at.saturating_add(1).min(self.lots.len())
    }

    fn now(&self) -> Option<&LotId> {
        self.lots.get(self.at)
    }

    /// Those that nobody said anything of, with their place.
    fn skipped(&self) -> Vec<(usize, &LotId)> {
        self.lots.iter().enumerate().filter(|(_, lot)| !self.said.contains_key(*lot)).collect()
    }
}

/// Counting in a pantry.
#[derive(Properties, PartialEq)]
pub(super) struct CountingProps {
    /// The pantry.
    pub(super) doc: DocId,
    /// One place alone.
    pub(super) keep: Option<Keep>,
}

/// The screen.
#[component]
pub(super) fn Counting(props: &CountingProps) -> Html {
    let going = use_going();
    let (hands, toasts, on_gone) = use_hands(&props.doc);
    let board = use_board(&props.doc);
    let walk = use_walk(board.as_deref(), props.keep);
    let adding = use_state(|| false);
    let system = say::system(&hands.desk);
    let name = say::pantries(&hands.desk).into_iter().find(|one| one.doc == props.doc).map(|one| one.name);
    let board = board.unwrap_or_default();
    let of = props.keep.map(say::place).or(name).unwrap_or_else(|| t!("pantry.here"));
    let open = {
        let adding = adding.setter();
        Callback::from(move |_: MouseEvent| adding.set(true))
    };
    let close = {
        let adding = adding.setter();
        Callback::from(move |()| adding.set(false))
    };
    let keep = walk.now().and_then(|id| board.row(id)).map(|row| row.keep).or(props.keep);
    let over = if *adding {
        html! { <LotForm hands={hands.clone()} board={board.clone()} {keep} {system} on_close={close} /> }
    } else {
        Html::default()
    };
    html! {
        <Frame
            place="pantries"
            title={t!("pantry.counting")}
            back={super::back_to(&going, &way::one(&props.doc))}
            below={far(&walk, &of)}
            {over}
            {toasts}
            {on_gone}
        >
            { lap(&walk, &board, &hands, system, &open, going.to(way::one(&props.doc))) }
        </Frame>
    }
}

/// The order is that of the beginning, so that nothing moves away from under the thumb. Where there was nothing to walk
/// past, and then is, it begins anew.
#[hook]
fn use_walk(board: Option<&Board>, keep: Option<Keep>) -> UseReducerHandle<Walk> {
    let lots = || board.map(|board| board.walk(keep)).unwrap_or_default();
    let walk = use_reducer(|| Walk { lots: lots(), ..Walk::default() });
    let begin = if walk.lots.is_empty() { lots() } else { Vec::new() };
    let dispatcher = walk.dispatcher();
    use_effect_with(begin, move |lots| {
        if !lots.is_empty() {
            dispatcher.dispatch(Step::Begin(lots.clone()));
        }
    });
    walk
}

fn far(walk: &Walk, of: &AttrValue) -> Html {
    let (done, all) = (walk.said.len(), walk.lots.len());
    progress(of.clone(), t!("common.of", done = done, all = all), done, all)
}

fn lap(
    walk: &UseReducerHandle<Walk>,
    board: &Rc<Board>,
    hands: &Hands,
    system: System,
    add: &Callback<MouseEvent>,
    finish: Callback<MouseEvent>,
) -> Html {
    let add =
        html! { <Button label={t!("pantry.found")} icon={Shape::Plus} kind={Kind::Quiet} on_press={add.clone()} /> };
    let Some(id) = walk.now() else { return end(walk, board, hands, system, add, finish) };
    let Some(row) = board.row(id) else {
        return html! { <div class="count">{ steps(walk) }</div> };
    };
    let on_saw = {
        let (walk, hands, id) = (walk.dispatcher(), hands.clone(), id.clone());
        Callback::from(move |seen| {
            if let Some(fact) = hands.count(&id, seen) {
                walk.dispatch(Step::Said(id.clone(), fact, seen));
            }
        })
    };
    html! {
        <div class="count">
            { last(walk, board, hands, system) }
            <div class="count-lot card">{ lot(row, hands, system) }</div>
            <div class="count-deck">
                <Saw
                    key={id.as_str()}
                    food={row.food.clone()}
                    level={row.level.clone()}
                    par={row.par}
                    now={walk.said.get(id).map(|(_, seen)| *seen)}
                    {system}
                    {on_saw}
                />
                { steps(walk) }
                <div class="strip-between">{ add }<Button label={t!("pantry.finish_count")} kind={Kind::Quiet} on_press={finish} /></div>
            </div>
        </div>
    }
}

/// The lot that one stands before.
fn lot(row: &Row, hands: &Hands, system: System) -> Html {
    let before = row.seen.last().map(|seen| {
        let who = say::who(&hands.desk, &hands.doc, seen.who);
        t!("pantry.saw", who = who, what = say::seen(seen.what, system), when = say::ago(seen.at))
    });
    html! {
        <div class="stack" role="group" aria-label={row.food.clone()} aria-live="polite">
            <div class="strip"><Badge text={say::place(row.keep)} icon={say::keep_icon(row.keep)} /></div>
            <p class="count-food">{ row.food.clone() }</p>
            <p>{ t!("pantry.was", what = say::level(&row.level, system)) }</p>
            if let Some(due) = say::date_word(row) { <p class={row.is_first().then_some("strong")}>{ due }</p> }
            if let Some(par) = row.par { <p>{ t!("pantry.par_of", amount = say::amount(par, system)) }</p> }
            if row.seen.len() > 1 {
                <ul class="saw-each">{ for row.seen.iter().map(|seen| {
                    let who = say::who(&hands.desk, &hands.doc, seen.who);
                    html! { <li>{ t!("pantry.saw", who = who, what = say::seen(seen.what, system), when = say::ago(seen.at)) }</li> }
                }) }</ul>
            } else if let Some(before) = before {
                <p class="soft">{ before }</p>
            }
        </div>
    }
}

/// What was said last, with a way back. It stands above, where it lies on no button.
fn last(walk: &UseReducerHandle<Walk>, board: &Board, hands: &Hands, system: System) -> Html {
    let said = walk.last.as_ref().and_then(|id| Some((board.row(id)?, walk.said.get(id)?)));
    let Some((row, (fact, seen))) = said else {
        return html! { <p class="count-last soft" aria-live="polite">{ t!("pantry.count_how") }</p> };
    };
    let undo = {
        let (walk, hands, fact, id) = (walk.dispatcher(), hands.clone(), *fact, row.id.clone());
        Callback::from(move |_: MouseEvent| {
            if hands.strike(&[fact]) {
                walk.dispatch(Step::TakeBack(id.clone()));
            }
        })
    };
    html! {
        <div class="count-last" aria-live="polite">
            <span>{ t!("pantry.said", food = row.food, what = say::seen(*seen, system)) }</span>
            <Button label={t!("common.undo")} icon={Shape::Undo} kind={Kind::Quiet} on_press={undo} />
        </div>
    }
}

fn steps(walk: &UseReducerHandle<Walk>) -> Html {
    let go = |at: usize| {
        let walk = walk.dispatcher();
        Callback::from(move |_: MouseEvent| walk.dispatch(Step::Go(at)))
    };
    let counted = walk.now().is_some_and(|id| walk.said.contains_key(id));
    let onward = if counted { t!("common.next") } else { t!("pantry.skip") };
    html! {
        <div class="count-steps">
            <Button label={t!("common.back")} icon={Shape::Back} disabled={walk.at == 0} wide=true on_press={go(walk.at.saturating_sub(1))} />
            <Button label={onward} icon={Shape::Onward} wide=true on_press={go(walk.after())} />
        </div>
    }
}

/// The end of the shelf.
fn end(
    walk: &UseReducerHandle<Walk>,
    board: &Board,
    hands: &Hands,
    system: System,
    add: Html,
    finish: Callback<MouseEvent>,
) -> Html {
    if walk.lots.is_empty() {
        return html! {
            <Empty title={t!("pantry.empty_title")} text={t!("pantry.empty_text")} icon={Shape::Shelf}>
                { add }
                <Button label={t!("pantry.finish_count")} on_press={finish} />
            </Empty>
        };
    }
    let skipped = walk.skipped();
    let one = |(at, id): &(usize, &LotId)| {
        let (walk, at) = (walk.dispatcher(), *at);
        let row = board.row(id)?;
        let open = Callback::from(move |_: MouseEvent| walk.dispatch(Step::Go(at)));
        Some(
            html! { <Leads key={id.as_str()} name={row.food.clone()} text={say::level(&row.level, system)} on_press={open} /> },
        )
    };
    html! {
        <div class="stack">
            { last(walk, board, hands, system) }
            <p class="big">{ t!("pantry.end_of_shelf") }</p>
            <p>{ t!("pantry.counted_of", done = walk.said.len(), all = walk.lots.len()) }</p>
            <div class="strip">
                <Button label={t!("pantry.finish_count")} kind={Kind::Main} icon={Shape::Tick} on_press={finish} />
                { add }
            </div>
            if !skipped.is_empty() {
                <Section title={t!("pantry.skipped")} count={t!("pantry.lots", count = skipped.len())}>
                    { for skipped.iter().filter_map(one) }
                </Section>
            } else {
                <Badge text={t!("pantry.all_counted")} tone={Tone::Well} icon={Shape::Tick} />
            }
        </div>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn id(text: &str) -> LotId {
        LotId::new(text).unwrap()
    }

    fn fact() -> FactId {
        "01234567-0123456789ab".parse().unwrap()
    }

    fn walk(steps: Vec<Step>) -> Walk {
        let begun = Rc::new(Walk { lots: vec![id("a"), id("b"), id("c")], ..Walk::default() });
        (*steps.into_iter().fold(begun, |walk, step| walk.reduce(step))).clone()
    }

    #[test]
    fn one_goes_along_the_shelf() {
        let said = |lot| Step::Said(id(lot), fact(), Counted::Plenty);
        let table = [
            (vec![], Some("a"), 0),
            (vec![said("a")], Some("b"), 1),
            (vec![said("a"), Step::Go(2)], Some("c"), 1),
            (vec![said("a"), said("b"), said("c")], None, 3),
            (vec![said("a"), said("b"), Step::TakeBack(id("b"))], Some("b"), 1),
            (vec![Step::Go(9)], None, 0),
            (vec![said("a"), Step::Begin(vec![id("c")])], Some("c"), 0),
        ];
        for (at, (steps, now, counted)) in table.into_iter().enumerate() {
            let walk = walk(steps);
            assert_eq!(walk.now().map(LotId::as_str), now, "row {at}");
            assert_eq!(walk.said.len(), counted, "row {at}");
        }
    }

    #[test]
    fn what_was_skipped_is_known_at_the_end() {
        let walk = walk(vec![
            Step::Said(id("a"), fact(), Counted::Out),
            Step::Go(2),
            Step::Said(id("c"), fact(), Counted::Out),
        ]);
        assert_eq!(walk.skipped(), [(1, &id("b"))]);
    }
}
