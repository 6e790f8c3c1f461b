//! Describing a lot: one that was found, or one that is there already.

use trug_catalog::{Catalog, Keep, fold};
use trug_measure::{Amount, System, Unit};
use trug_replica::id::LotId;
use trug_replica::pantry::{Counted, Lot};
use yew::prelude::*;

use super::board::{Board, KEEPS, Row};
use super::hands::Hands;
use super::measure::{Draft, Said, units};
use super::parts::DraftField;
use super::say;
use crate::desk::Desk;
use crate::look::{Button, Choice, Field, Input, Kind, Notice, Pick, Shape, Sheet};
use crate::place::fields::change;
use crate::words::t;

/// So many foods are offered while one is written.
const OFFERED: usize = 8;

/// What the form holds.
#[derive(Clone, PartialEq)]
struct Form {
    food: String,
    /// How it is kept; `None` until somebody says so, and then what the catalogue says.
    keep: Option<Keep>,
    use_by: String,
    much: Draft,
    /// There is plenty: no amount is needed.
    level: AttrValue,
    par: Draft,
    wrong_food: Option<AttrValue>,
    wrong_much: Option<AttrValue>,
    wrong_par: Option<AttrValue>,
}

impl Form {
    fn empty(system: System) -> Self {
        let unit = match system {
            System::Us => Unit::Each,
            System::Metric => Unit::GRAM,
        };
        Self {
            food: String::new(),
            keep: None,
            use_by: String::new(),
            much: Draft::empty(unit),
            level: "amount".into(),
            par: Draft::empty(unit),
            wrong_food: None,
            wrong_much: None,
            wrong_par: None,
        }
    }

    fn of(row: &Row, system: System) -> Self {
        let par = match (row.par, &row.level) {
            (Some(par), _) => Draft::of(par),
            (None, trug_replica::pantry::Level::Amount(amount)) => Draft::empty(amount.unit),
            (None, _) => Self::empty(system).par,
        };
        Self {
            food: row.food.clone(),
            keep: Some(row.keep),
            use_by: row.use_by.clone().unwrap_or_default(),
            par,
            ..Self::empty(system)
        }
    }

    fn lot(&self, keep: Keep) -> Lot {
        let use_by = self.use_by.trim();
        Lot { food: self.food.trim().to_owned(), keep, use_by: (!use_by.is_empty()).then(|| use_by.to_owned()) }
    }

    fn seen(&self) -> Result<Counted, AttrValue> {
        match self.level.as_str() {
            "plenty" => return Ok(Counted::Plenty),
            "some" => return Ok(Counted::Some),
            _ => {}
        }
        match self.much.read() {
            Ok(Said::Much(amount)) => Ok(Counted::Amount(amount)),
            Ok(Said::Empty | Said::Nothing) => Err(t!("pantry.amount_needed")),
            Err(wrong) => Err(say::wrong(&wrong)),
        }
    }

    fn par(&self) -> Result<Option<Amount>, AttrValue> {
        match self.par.read() {
            Ok(Said::Much(amount)) => Ok(Some(amount)),
            Ok(Said::Empty | Said::Nothing) => Ok(None),
            Err(wrong) => Err(say::wrong(&wrong)),
        }
    }

    fn right(&self) -> bool {
        self.wrong_food.is_none() && self.wrong_much.is_none() && self.wrong_par.is_none()
    }
}

/// A form's sheet.
#[derive(Properties, PartialEq)]
pub(super) struct LotFormProps {
    /// The hands for the pantry.
    pub(super) hands: Hands,
    /// The pantry.
    pub(super) board: std::rc::Rc<Board>,
    /// The lot to describe anew; `None` is one that was found.
    #[prop_or_default]
    pub(super) lot: Option<LotId>,
    /// How a lot that is found is kept, where one stands at a shelf.
    #[prop_or_default]
    pub(super) keep: Option<Keep>,
    /// The reader's units.
    pub(super) system: System,
    /// Told when it is done with or left.
    pub(super) on_close: Callback<()>,
}

/// The sheet.
#[component]
pub(super) fn LotForm(props: &LotFormProps) -> Html {
    let row = props.lot.as_ref().and_then(|id| props.board.row(id));
    let form = use_state(|| match row {
        Some(row) => Form::of(row, props.system),
        None => Form { keep: props.keep, ..Form::empty(props.system) },
    });
    let offers = use_memo(form.food.clone(), |food| offers(&props.hands.desk, food));
    let keep = form.keep.or(offers.keep).unwrap_or_default();
    let submit = {
        let (form, hands, board) = (form.clone(), props.hands.clone(), props.board.clone());
        let (lot, close) = (props.lot.clone(), props.on_close.clone());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            let checked = checked(&form, lot.is_some());
            if !checked.right() {
                form.set(checked);
            } else if save(&hands, &board, &checked, keep, lot.as_ref()) {
                close.emit(());
            }
        })
    };
    let title = if props.lot.is_some() { t!("pantry.edit_lot") } else { t!("pantry.add_lot") };
    html! {
        <Sheet {title} close={t!("common.close")} on_close={props.on_close.clone()}>
            <form class="stack" onsubmit={submit}>
                { about(&form, &offers.names, keep) }
                { much(&form, props) }
                if keep == Keep::Frozen { <Notice>{ t!("pantry.frozen_note") }</Notice> }
                <p class="soft small">{ t!("pantry.label_first") }</p>
                <div class="strip">
                    <Button label={t!("common.save")} kind={Kind::Main} submit=true icon={Shape::Tick} />
                    <Button label={t!("common.cancel")} on_press={props.on_close.reform(|_: MouseEvent| ())} />
                </div>
            </form>
        </Sheet>
    }
}

fn about(form: &UseStateHandle<Form>, names: &[AttrValue], keep: Keep) -> Html {
    let keeps = KEEPS.into_iter().map(|keep| Pick::new(keep.name(), say::place(keep))).collect::<Vec<_>>();
    html! { <>
        <Field
            label={t!("pantry.food")}
            value={form.food.clone()}
            needed={t!("error.needed")}
            suggestions={names.to_vec()}
            error={form.wrong_food.clone()}
            on_input={change(form, |form, food| { form.food = food; form.wrong_food = None; })}
        />
        <Choice
            label={t!("pantry.kept")}
            options={keeps}
            value={keep.name()}
            on_choose={change(form, |form, word: AttrValue| form.keep = word.parse().ok())}
        />
        <Field
            label={t!("pantry.use_by")}
            input={Input::Date}
            value={form.use_by.clone()}
            hint={Some(t!("pantry.use_by_hint"))}
            on_input={change(form, |form, day| form.use_by = day)}
        />
    </> }
}

fn much(form: &UseStateHandle<Form>, props: &LotFormProps) -> Html {
    if props.lot.is_some() {
        return html! { <>
            <DraftField
                label={t!("pantry.par")}
                draft={form.par.clone()}
                units={units(Some(form.par.unit), props.system)}
                error={form.wrong_par.clone()}
                on_change={change(form, |form, par| { form.par = par; form.wrong_par = None; })}
            />
            <p class="soft small">{ t!("pantry.par_hint") }</p>
        </> };
    }
    let levels = vec![
        Pick::new("amount", t!("pantry.an_amount")),
        Pick::new("plenty", t!("pantry.plenty")),
        Pick::new("some", t!("pantry.some")),
    ];
    html! { <>
        <Choice
            label={t!("pantry.how_much_there")}
            options={levels}
            value={form.level.clone()}
            on_choose={change(form, |form, level| { form.level = level; form.wrong_much = None; })}
        />
        if form.level == "amount" {
            <DraftField
                label={t!("common.amount")}
                draft={form.much.clone()}
                units={units(Some(form.much.unit), props.system)}
                error={form.wrong_much.clone()}
                on_change={change(form, |form, much| { form.much = much; form.wrong_much = None; })}
            />
        }
    </> }
}

fn checked(form: &Form, is_edit: bool) -> Form {
    Form {
        wrong_food: form.food.trim().is_empty().then(|| t!("error.needed")),
        wrong_much: if is_edit { None } else { form.seen().err() },
        wrong_par: if is_edit { form.par().err() } else { None },
        ..form.clone()
    }
}

/// Writes it; whether it was taken.
fn save(hands: &Hands, board: &Board, form: &Form, keep: Keep, lot: Option<&LotId>) -> bool {
    let described = form.lot(keep);
    match (lot, form.seen(), form.par()) {
        (Some(id), _, Ok(par)) => {
            let saved = hands.edit(|pantry| {
                pantry.describe(id, &described)?;
                pantry.set_par(id, par)
            });
            if saved.is_some() {
                hands.say(t!("pantry.lot_saved", food = described.food));
            }
            saved.is_some()
        }
        (None, Ok(seen), _) => found(hands, board, &described, seen),
        _ => false,
    }
}

fn found(hands: &Hands, board: &Board, lot: &Lot, seen: Counted) -> bool {
    let Some(fact) = hands.put(board, lot, seen, &t!("pantry.why_found")) else { return false };
    hands.say_done(t!("pantry.added", food = lot.food), vec![fact]);
    true
}

/// What the catalogue offers for what is written.
#[derive(PartialEq, Default)]
struct Offers {
    names: Vec<AttrValue>,
    /// How the food is kept whose name was written in full.
    keep: Option<Keep>,
}

fn offers(desk: &Desk, written: &str) -> Offers {
    match desk.kitchen() {
        Some(Ok(now)) => offers_of(&now.kitchen.catalog, written),
        _ => offers_of(Catalog::builtin(), written),
    }
}

/// How the catalogue keeps a food; dry where it does not know it.
pub(super) fn keep_of(desk: &Desk, food: &str) -> Keep {
    let known = |catalog: &Catalog| catalog.find(food).map(|found| catalog.get(found.food).keep);
    match desk.kitchen() {
        Some(Ok(now)) => known(&now.kitchen.catalog),
        _ => known(Catalog::builtin()),
    }
    .unwrap_or_default()
}

/// Names that begin with what is written, then those that have a word that does.
fn offers_of(catalog: &Catalog, written: &str) -> Offers {
    let wanted = fold(written);
    if wanted.chars().count() < 2 {
        return Offers::default();
    }
    let keep = catalog.find(written).map(|found| catalog.get(found.food).keep);
    let mut names: Vec<(bool, &str)> = Vec::new();
    for (_, food) in catalog.foods() {
        let folded = fold(&food.name);
        let first = folded.starts_with(&wanted);
        if first || folded.split(' ').any(|word| word.starts_with(&wanted)) {
            names.push((!first, &food.name));
        }
    }
    names.sort_unstable();
    Offers { names: names.into_iter().take(OFFERED).map(|(_, name)| AttrValue::from(name.to_owned())).collect(), keep }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn foods_are_offered_by_how_they_begin() {
        let offers = offers_of(Catalog::builtin(), "carr");
        assert!(offers.names.first().is_some_and(|name| fold(name).starts_with("carr")), "{:?}", offers.names);
        assert!(offers_of(Catalog::builtin(), "c").names.is_empty());
    }

    #[test]
    fn a_known_food_says_how_it_is_kept() {
        let table = [("milk", Some(Keep::Chilled)), ("frozen peas", Some(Keep::Frozen)), ("xyzzy", None)];
        for (food, keep) in table {
            assert_eq!(offers_of(Catalog::builtin(), food).keep, keep, "{food}");
        }
    }
}
