//! Parts that several screens of this place share: a lot's row, an amount's field, and the buttons for what is seen.

use trug_measure::{Amount, System, Unit};
use trug_replica::id::LotId;
use trug_replica::pantry::{Counted, Level};
use yew::prelude::*;

use super::board::{Par, Row};
use super::measure::{Draft, Said, units};
use super::say;
use crate::look::{self, Badge, Button, Disclosure, Kind, Leads, Pick, Section, Select, Shape, Tone};
use crate::words::t;

/// So many of those to be used first are seen at once.
const FIRST: usize = 6;

/// What is to be used first: the first few, the rest folded up. What can still be used and what is past its date are
/// counted apart.
pub(super) fn first_few(mut rows: Vec<Html>, past: usize) -> Html {
    let all = rows.len();
    if all == 0 {
        return Html::default();
    }
    let rest = rows.split_off(all.min(FIRST));
    let due = all.saturating_sub(past);
    let counts = [(due, t!("pantry.count_due", count = due)), (past, t!("pantry.count_past", count = past))];
    let counts: Vec<AttrValue> = counts.into_iter().filter(|(count, _)| *count > 0).map(|(_, words)| words).collect();
    html! {
        <Section title={t!("pantry.due_first")} count={counts.join(" · ")}>
            { for rows }
            if !rest.is_empty() {
                <Disclosure title={t!("pantry.more_first", count = rest.len())}>{ for rest }</Disclosure>
            }
            <p class="soft small part-note">{ t!("pantry.label_first") }</p>
        </Section>
    }
}

/// A lot's row.
#[derive(Properties, PartialEq)]
pub(super) struct LotRowProps {
    /// The lot.
    pub(super) row: Row,
    /// The reader's units.
    pub(super) system: System,
    /// A word more about it: whose it is.
    #[prop_or_default]
    pub(super) whose: AttrValue,
    /// Told which lot is to be opened.
    pub(super) on_open: Callback<LotId>,
}

/// The food, how much, and its date; what is amiss stands in a frame.
#[component]
pub(super) fn LotRow(props: &LotRowProps) -> Html {
    let row = &props.row;
    let on_press = {
        let id = row.id.clone();
        props.on_open.reform(move |_: MouseEvent| id.clone())
    };
    let words = [Some(say::level(&row.level, props.system)), say::date_word(row), Some(props.whose.clone())];
    let text = words.into_iter().flatten().filter(|word| !word.is_empty()).collect::<Vec<_>>().join(" · ");
    html! {
        <Leads name={row.food.clone()} {text} {on_press}>
            <span class="lot-marks">{ marks(row) }</span>
        </Leads>
    }
}

fn marks(row: &Row) -> Html {
    let due = match row.due {
        super::board::Due::Past(_) if row.is_there() => Some((t!("pantry.past"), Tone::Trouble)),
        super::board::Due::Soon(_) if row.is_there() => Some((t!("pantry.soon"), Tone::Care)),
        _ => None,
    };
    let short = match row.short {
        Par::Well => None,
        Par::Short(_) => Some((t!("pantry.below_par"), Tone::Care)),
        Par::Unclear => Some((t!("pantry.par_look"), Tone::Care)),
    };
    let doubt = row.doubt.map(|_| (t!("pantry.look"), Tone::Care));
    let apart = row.apart.then(|| (t!("pantry.apart"), Tone::Care));
    let badge = |(text, tone): (AttrValue, Tone)| html! { <Badge {text} {tone} /> };
    html! { <>{ for [due, short, doubt, apart].into_iter().flatten().map(badge) }</> }
}

/// A field for an amount.
#[derive(Properties, PartialEq)]
pub(super) struct DraftFieldProps {
    /// What it asks for.
    pub(super) label: AttrValue,
    /// What stands in it.
    pub(super) draft: Draft,
    /// The units to choose from.
    pub(super) units: Vec<Unit>,
    /// Told what it is now.
    pub(super) on_change: Callback<Draft>,
    /// What is wrong with it.
    #[prop_or_default]
    pub(super) error: Option<AttrValue>,
}

/// Less, the figure, more, and the unit.
#[component]
pub(super) fn DraftField(props: &DraftFieldProps) -> Html {
    let change = |make: fn(&Draft) -> Draft| {
        let (draft, tell) = (props.draft.clone(), props.on_change.clone());
        Callback::from(move |_: MouseEvent| tell.emit(make(&draft)))
    };
    let on_input = {
        let draft = props.draft.clone();
        props.on_change.reform(move |text: String| draft.with_text(text))
    };
    let on_choose = {
        let (draft, tell) = (props.draft.clone(), props.on_change.clone());
        Callback::from(move |word: AttrValue| {
            if let Ok(unit) = word.parse() {
                tell.emit(draft.with_unit(unit));
            }
        })
    };
    let options: Vec<Pick> = props.units.iter().map(|unit| Pick::new(unit.symbol(), unit_word(*unit))).collect();
    html! {
        <div class="much">
            <look::Amount
                label={&props.label}
                value={props.draft.text.clone()}
                less={t!("pantry.step_less", what = props.label)}
                more={t!("pantry.step_more", what = props.label)}
                least={props.draft.is_least()}
                error={props.error.clone()}
                {on_input}
                on_less={change(|draft| draft.stepped(false))}
                on_more={change(|draft| draft.stepped(true))}
            />
            <Select label={t!("common.unit")} {options} value={props.draft.unit.symbol()} {on_choose} />
        </div>
    }
}

/// What a unit is called in a list of them.
fn unit_word(unit: Unit) -> AttrValue {
    match (unit, unit.symbol()) {
        (Unit::Each, _) => t!("pantry.pieces"),
        (_, "floz") => "fl oz".into(),
        (_, word) => word.into(),
    }
}

/// What is seen of a lot.
#[derive(Properties, PartialEq)]
pub(super) struct SawProps {
    /// The food, for the names of the buttons.
    pub(super) food: AttrValue,
    /// How much there was, for the amount to begin with.
    pub(super) level: Level,
    /// How much there should be, for the unit where nothing else says one.
    #[prop_or_default]
    pub(super) par: Option<Amount>,
    /// What was said already.
    #[prop_or_default]
    pub(super) now: Option<Counted>,
    /// The reader's units.
    pub(super) system: System,
    /// Told what is seen.
    pub(super) on_saw: Callback<Counted>,
}

/// Four large buttons; the fourth opens the amount. Key it by the lot: each lot begins with the buttons.
#[component]
pub(super) fn Saw(props: &SawProps) -> Html {
    let draft = use_state(|| Option::<Draft>::None);
    let wrong = use_state(|| Option::<AttrValue>::None);
    if let Some(now) = &*draft {
        let change = {
            let (draft, wrong) = (draft.setter(), wrong.setter());
            Callback::from(move |next: Draft| {
                wrong.set(None);
                draft.set(Some(next));
            })
        };
        let save = {
            let (now, draft, wrong, tell) = (now.clone(), draft.setter(), wrong.setter(), props.on_saw.clone());
            Callback::from(move |event: SubmitEvent| {
                event.prevent_default();
                match read(&now) {
                    Ok(seen) => {
                        draft.set(None);
                        tell.emit(seen);
                    }
                    Err(why) => wrong.set(Some(why)),
                }
            })
        };
        let back = {
            let draft = draft.setter();
            Callback::from(move |_: MouseEvent| draft.set(None))
        };
        return html! {
            <form class="saw-much" onsubmit={save}>
                <DraftField
                    label={t!("common.amount")}
                    draft={now.clone()}
                    units={units(Some(now.unit), props.system)}
                    on_change={change}
                    error={(*wrong).clone()}
                />
                <div class="strip">
                    <Button label={t!("pantry.save_amount")} kind={Kind::Main} submit=true icon={Shape::Tick} />
                    <Button label={t!("common.cancel")} on_press={back} />
                </div>
            </form>
        };
    }
    let open = {
        let (draft, begin) = (draft.setter(), begin(props));
        Callback::from(move |_: MouseEvent| draft.set(Some(begin.clone())))
    };
    let one = |label: AttrValue, seen: Counted| {
        let on_press = props.on_saw.reform(move |_: MouseEvent| seen);
        let name = format!("{label}: {}", props.food);
        html! { <Button {label} {name} {on_press} wide=true pressed={props.now == Some(seen)} /> }
    };
    let amount_said = matches!(props.now, Some(Counted::Amount(_)));
    let label = match props.now {
        Some(Counted::Amount(much)) => say::amount(much, props.system).into(),
        _ => t!("pantry.an_amount"),
    };
    html! {
        <div class="saw" role="group" aria-label={t!("pantry.how_much", food = props.food)}>
            { one(t!("pantry.plenty"), Counted::Plenty) }
            { one(t!("pantry.some"), Counted::Some) }
            { one(t!("pantry.out"), Counted::Out) }
            <Button name={format!("{label}: {}", props.food)} {label} on_press={open} wide=true pressed={amount_said} />
        </div>
    }
}

fn begin(props: &SawProps) -> Draft {
    let said = match props.now {
        Some(Counted::Amount(amount)) => Some(amount),
        _ => None,
    };
    match (said, &props.level, props.par) {
        (Some(amount), ..) => Draft::of(amount),
        (None, Level::Amount(amount), _) => Draft::of(*amount),
        (None, _, Some(par)) => Draft::empty(par.unit),
        (None, _, None) => Draft::empty(Unit::Each),
    }
}

fn read(draft: &Draft) -> Result<Counted, AttrValue> {
    match draft.read() {
        Ok(Said::Much(amount)) => Ok(Counted::Amount(amount)),
        Ok(Said::Nothing) => Ok(Counted::Out),
        Ok(Said::Empty) => Err(t!("error.needed")),
        Err(wrong) => Err(say::wrong(&wrong)),
    }
}
