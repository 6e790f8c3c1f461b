//! One lot: how much there is and who saw it, what was taken and put there, and what happened to it.

use std::rc::Rc;

use trug_measure::{Amount, System, Unit};
use trug_replica::Document as _;
use trug_replica::id::LotId;
use trug_replica::pantry::{Counted, Counts, Happened, Level, Move, Past};
use yew::prelude::*;

use super::board::{Board, Doubt, Row};
use super::hands::Hands;
use super::measure::{Draft, Said, alike, units};
use super::parts::{DraftField, Saw};
use super::say;
use crate::desk::stamp;
use crate::look::{Badge, Button, Choice, Disclosure, Field, Kind, Notice, Pick, Section, Shape, Sheet, Tone};
use crate::words::t;

/// A lot's sheet.
#[derive(Properties, PartialEq)]
pub(super) struct LotSheetProps {
    /// The hands for the pantry.
    pub(super) hands: Hands,
    /// The pantry.
    pub(super) board: Rc<Board>,
    /// The lot.
    pub(super) lot: LotId,
    /// The reader's units.
    pub(super) system: System,
    /// Told when it is to be described anew.
    pub(super) on_edit: Callback<LotId>,
    /// Told when it is closed.
    pub(super) on_close: Callback<()>,
}

/// The sheet.
#[component]
pub(super) fn LotSheet(props: &LotSheetProps) -> Html {
    let Some(row) = props.board.row(&props.lot) else {
        return html! {
            <Sheet title={t!("error.not_found")} close={t!("common.close")} on_close={props.on_close.clone()} short=true />
        };
    };
    // The message with its way back lies under an open sheet, so whatever is recorded closes it.
    let on_saw = {
        let (hands, id, food) = (props.hands.clone(), row.id.clone(), row.food.clone());
        let close = props.on_close.clone();
        Callback::from(move |seen| {
            hands.count_said(&id, &food, seen);
            close.emit(());
        })
    };
    let edit = {
        let id = row.id.clone();
        props.on_edit.reform(move |_: MouseEvent| id.clone())
    };
    html! {
        <Sheet title={row.food.clone()} close={t!("common.close")} on_close={props.on_close.clone()}>
            { facts(row, props.system) }
            if let Some(doubt) = row.doubt {
                <Notice tone={Tone::Care} title={t!("pantry.count_again")}>
                    <p>{ say::doubt(doubt) }</p>
                    if doubt == Doubt::Disputed { { disputed(row, props) } }
                </Notice>
            }
            if row.apart { <Notice tone={Tone::Care} title={t!("pantry.apart")}>{ t!("pantry.apart_text") }</Notice> }
            <Section title={t!("pantry.how_much_there")} bare=true>
                <Saw
                    key={row.id.as_str()}
                    food={row.food.clone()}
                    level={row.level.clone()}
                    par={row.par}
                    now={now_of(&row.level)}
                    system={props.system}
                    {on_saw}
                />
            </Section>
            <Section title={t!("pantry.move")} bare=true>
                <MoveForm hands={props.hands.clone()} row={row.clone()} system={props.system} on_done={props.on_close.clone()} />
            </Section>
            <div class="strip"><Button label={t!("pantry.edit_lot")} icon={Shape::Edit} on_press={edit} /></div>
            <History hands={props.hands.clone()} lot={row.id.clone()} system={props.system} />
        </Sheet>
    }
}

/// What the buttons show as said already.
fn now_of(level: &Level) -> Option<Counted> {
    match level {
        Level::Plenty => Some(Counted::Plenty),
        Level::Some => Some(Counted::Some),
        Level::Out => Some(Counted::Out),
        Level::Amount(amount) => amount.value.is_positive().then_some(Counted::Amount(*amount)),
    }
}

fn facts(row: &Row, system: System) -> Html {
    let due = say::date_word(row).unwrap_or_else(|| t!("pantry.no_date"));
    html! {
        <div class="stack">
            <p class="big">{ say::level(&row.level, system) }</p>
            <div class="strip">
                <Badge text={say::place(row.keep)} icon={say::keep_icon(row.keep)} />
                <Badge text={due} tone={due_tone(row)} />
                if let Some(par) = row.par { <Badge text={t!("pantry.par_of", amount = say::amount(par, system))} /> }
                if let Some(short) = say::short(row, system) { <Badge text={short} tone={Tone::Care} /> }
            </div>
            if row.is_first() { <p class="soft small">{ t!("pantry.label_first") }</p> }
        </div>
    }
}

fn due_tone(row: &Row) -> Tone {
    use super::board::Due;
    match row.due {
        Due::Past(_) => Tone::Trouble,
        Due::Soon(_) => Tone::Care,
        Due::Later | Due::Never => Tone::Plain,
    }
}

/// What each of them saw.
fn disputed(row: &Row, props: &LotSheetProps) -> Html {
    let one = |seen: &super::board::Seen| {
        let who = say::who(&props.hands.desk, &props.hands.doc, seen.who);
        html! { <li>{ t!("pantry.saw", who = who, what = say::seen(seen.what, props.system), when = say::ago(seen.at)) }</li> }
    };
    html! { <ul class="saw-each">{ for row.seen.iter().map(one) }</ul> }
}

#[derive(Properties, PartialEq)]
struct MoveFormProps {
    hands: Hands,
    row: Row,
    system: System,
    on_done: Callback<()>,
}

/// Taking out and putting in, with why.
#[component]
fn MoveForm(props: &MoveFormProps) -> Html {
    let (units, unit) = movable(&props.row.level, props.row.par, props.system);
    let draft = use_state(|| Draft::empty(unit));
    let way = use_state(|| AttrValue::from("out"));
    let why = use_state(String::new);
    let wrong = use_state(|| Option::<AttrValue>::None);
    if matches!(props.row.level, Level::Plenty | Level::Some) {
        return html! { <p class="soft">{ t!("pantry.move_uncounted") }</p> };
    }
    let now = if units.contains(&draft.unit) { (*draft).clone() } else { draft.with_unit(unit) };
    let submit = {
        let (hands, row, now) = (props.hands.clone(), props.row.clone(), now.clone());
        let (why, way, wrong, done) = (why.clone(), way.clone(), wrong.setter(), props.on_done.clone());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            match moved(&row, &now, *way == "out", &why) {
                Ok(moved) => {
                    hands.move_said(&moved, &row.food);
                    done.emit(());
                }
                Err(text) => wrong.set(Some(text)),
            }
        })
    };
    let change = {
        let (draft, wrong) = (draft.setter(), wrong.setter());
        Callback::from(move |next| {
            wrong.set(None);
            draft.set(next);
        })
    };
    let turn = {
        let way = way.setter();
        Callback::from(move |next| way.set(next))
    };
    let write = {
        let why = why.setter();
        Callback::from(move |text| why.set(text))
    };
    let ways = vec![Pick::new("out", t!("pantry.take")), Pick::new("in", t!("pantry.put"))];
    html! {
        <form class="stack" onsubmit={submit}>
            <Choice label={t!("pantry.which_way")} hide_label=true options={ways} value={(*way).clone()} on_choose={turn} />
            <DraftField label={t!("common.amount")} draft={now} {units} error={(*wrong).clone()} on_change={change} />
            <Field label={t!("pantry.why")} value={(*why).clone()} suggestions={reasons(*way == "out")} on_input={write} />
            <div class="strip"><Button label={t!("pantry.move_save")} submit=true icon={Shape::Tick} /></div>
        </form>
    }
}

/// The units that what is there can be moved in: those that add up with it.
fn movable(level: &Level, par: Option<Amount>, system: System) -> (Vec<Unit>, Unit) {
    match level {
        Level::Amount(amount) => (alike(amount.unit, system), amount.unit),
        _ => {
            let unit = par.map_or(Unit::Each, |par| par.unit);
            (units(Some(unit), system), unit)
        }
    }
}

fn reasons(out: bool) -> Vec<AttrValue> {
    if out {
        vec![t!("pantry.why_used"), t!("pantry.why_thrown"), t!("pantry.why_given")]
    } else {
        vec![t!("pantry.why_bought"), t!("pantry.why_back"), t!("pantry.why_found")]
    }
}

/// The move that a form says, or what is wrong with it.
fn moved(row: &Row, draft: &Draft, out: bool, why: &str) -> Result<Move, AttrValue> {
    let amount = match draft.read() {
        Ok(Said::Much(amount)) => amount,
        Ok(Said::Empty | Said::Nothing) => return Err(t!("error.needed")),
        Err(wrong) => return Err(say::wrong(&wrong)),
    };
    // A unit written with the figure may be any.
    if let Level::Amount(there) = &row.level
        && amount.to_unit(there.unit).is_none()
    {
        return Err(t!("pantry.unlike", unit = there.unit.symbol()));
    }
    let by = if out { Amount::new(-amount.value, amount.unit) } else { amount };
    Ok(Move { lot: row.id.clone(), by, why: why.trim().to_owned(), at: stamp() })
}

#[derive(Properties, PartialEq)]
struct HistoryProps {
    hands: Hands,
    lot: LotId,
    system: System,
}

/// What happened to the lot, the latest first.
#[component]
fn History(props: &HistoryProps) -> Html {
    let (desk, doc) = (&props.hands.desk, &props.hands.doc);
    let heads = desk.read(|device| device.pantry(doc).map(|pantry| pantry.heads()));
    let past = use_memo((props.lot.clone(), heads), |(lot, _)| {
        desk.read(|device| device.pantry(doc).map(|pantry| pantry.history(lot)).unwrap_or_default())
    });
    html! {
        <Disclosure title={t!("pantry.history")} count={past.len().to_string()}>
            if past.is_empty() { <p class="soft">{ t!("pantry.no_history") }</p> }
            <ul class="lot-past">{ for past.iter().map(|one| past_row(props, one)) }</ul>
        </Disclosure>
    }
}

fn past_row(props: &HistoryProps, one: &Past) -> Html {
    let who = say::who(&props.hands.desk, &props.hands.doc, one.id.device);
    let what = happened(&one.what, props.system);
    let when = say::ago(one.what.at());
    let undo = {
        let (hands, fact) = (props.hands.clone(), one.id);
        Callback::from(move |_: MouseEvent| hands.strike_said(&[fact]))
    };
    let mark = match one.counts {
        Counts::Now => None,
        Counts::Before => Some(t!("pantry.counted_since")),
        Counts::Struck => Some(t!("common.undone")),
    };
    html! {
        <li key={one.id.to_string()} class="lot-past-one">
            <span class="lot-past-words">
                <span class={(one.counts == Counts::Now).then_some("strong")}>{ what.clone() }</span>
                <span class="soft small">{ t!("pantry.who_when", who = who, when = when) }</span>
            </span>
            if let Some(mark) = mark {
                <Badge text={mark} />
            } else {
                <Button label={t!("common.undo")} name={format!("{}: {what}", t!("common.undo"))} icon={Shape::Undo} kind={Kind::Quiet} on_press={undo} />
            }
        </li>
    }
}

/// One thing that happened, in words.
fn happened(what: &Happened, system: System) -> AttrValue {
    match what {
        Happened::Counted(count) => t!("pantry.counted_as", what = say::seen(count.seen, system)),
        Happened::Moved(moved) => {
            let size =
                Amount::new(if moved.by.value.is_positive() { moved.by.value } else { -moved.by.value }, moved.by.unit);
            let much = say::amount(size, system);
            let text = match moved.by.value.is_positive() {
                true => t!("pantry.put_much", amount = much),
                false => t!("pantry.took_much", amount = much),
            };
            if moved.why.is_empty() { text } else { format!("{text}: {}", moved.why).into() }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_moved_adds_up_with_what_is_there() {
        let pounds: Amount = "2 lb".parse().unwrap();
        let (units, unit) = movable(&Level::Amount(pounds), None, System::Us);
        assert_eq!(unit, pounds.unit);
        assert!(units.iter().all(|other| pounds.to_unit(*other).is_some()), "{units:?}");
        let par = Some("3 can".parse().unwrap());
        assert_eq!(movable(&Level::Out, par, System::Us).1, "can".parse().unwrap());
    }
}
