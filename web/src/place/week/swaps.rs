//! Foods that stand in for others: at a table always, or in one dish.

use std::collections::BTreeSet;
use std::rc::Rc;

use trug_measure::Exact;
use trug_provision::kitchen::{Kitchen, Named, Swap};
use trug_provision::names::{DishKind, Names};
use yew::prelude::*;

use super::form::{in_field, number};
use crate::desk::kitchen::KitchenNow;
use crate::look::{Button, Field, Input, Kind, Shape};
use crate::place::fields::change;
use crate::words::t;

/// A swap as it is written into fields.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct SwapText {
    pub(super) from: String,
    pub(super) to: String,
    pub(super) ratio: String,
}

impl SwapText {
    pub(super) fn of(swap: &Swap) -> Self {
        Self { from: swap.from.text.clone(), to: swap.to.text.clone(), ratio: in_field(swap.ratio) }
    }
}

/// Names as the kitchen knows them: its dishes first, then foods.
pub(super) fn names_of(kitchen: &Kitchen) -> Names {
    let mut names = Names::new(kitchen.catalog.clone());
    for (id, dish) in &kitchen.dishes {
        let kind = if dish.makes.is_some() { DishKind::Makes } else { DishKind::Serves };
        names.add_dish(id, &dish.title, kind);
    }
    names
}

/// One name, looked up.
pub(super) fn named(kitchen: &Kitchen, text: &str) -> Named {
    names_of(kitchen).named(text)
}

/// Reads swaps; empty rows are none.
pub(super) fn read(kitchen: &Kitchen, texts: &[SwapText]) -> Result<Vec<Swap>, String> {
    let mut names = names_of(kitchen);
    let filled = texts.iter().filter(|text| !(text.from.trim().is_empty() && text.to.trim().is_empty()));
    let swap = |text: &SwapText| {
        if text.from.trim().is_empty() || text.to.trim().is_empty() {
            return Err(t!("week.swap_both").to_string());
        }
        let ratio = if text.ratio.trim().is_empty() { Some(Exact::ONE) } else { number(&text.ratio) };
        let ratio = ratio.ok_or_else(|| t!("error.wrong_amount", read = text.ratio).to_string())?;
        Ok(Swap { from: names.named(&text.from), to: names.named(&text.to), ratio })
    };
    filled.map(swap).collect()
}

/// The names of foods, to offer while writing.
#[hook]
pub(super) fn use_food_names(now: &Rc<KitchenNow>) -> Rc<Vec<AttrValue>> {
    use_memo(now.clone(), |now| {
        let names: BTreeSet<&str> = now.kitchen.catalog.foods().map(|(_, food)| food.name.as_str()).collect();
        names.into_iter().map(|name| AttrValue::from(name.to_owned())).collect()
    })
}

/// The most names that are offered at once.
const OFFERED: usize = 12;

/// The names to offer for what was written so far: those that begin with it first, then those that have it.
pub(super) fn offered(foods: &[AttrValue], written: &str) -> Vec<AttrValue> {
    let wanted = written.trim().to_lowercase();
    if wanted.len() < 2 {
        return Vec::new();
    }
    let begins = foods.iter().filter(|name| name.starts_with(&wanted));
    let has = foods.iter().filter(|name| !name.starts_with(&wanted) && name.contains(&wanted));
    begins.chain(has).take(OFFERED).cloned().collect()
}

#[derive(Properties, PartialEq)]
pub(super) struct SwapsProps {
    pub(super) swaps: Vec<SwapText>,
    /// Told all of them when one is added or taken out.
    pub(super) on_change: Callback<Vec<SwapText>>,
    pub(super) foods: Rc<Vec<AttrValue>>,
}

/// The swaps there are, and fields for one more.
#[component]
pub(super) fn Swaps(props: &SwapsProps) -> Html {
    let fresh = use_state(SwapText::default);
    let wrong = use_state(|| None::<AttrValue>);
    let set = |put: fn(&mut SwapText, String)| change(&fresh, put);
    let on_add = {
        let (fresh, wrong) = (fresh.clone(), wrong.clone());
        let (all, tell) = (props.swaps.clone(), props.on_change.clone());
        Callback::from(move |_: MouseEvent| {
            if fresh.from.trim().is_empty() || fresh.to.trim().is_empty() {
                return wrong.set(Some(t!("week.swap_both")));
            }
            if !fresh.ratio.trim().is_empty() && number(&fresh.ratio).is_none() {
                return wrong.set(Some(t!("error.wrong_amount", read = fresh.ratio)));
            }
            let mut all = all.clone();
            all.push((*fresh).clone());
            fresh.set(SwapText::default());
            wrong.set(None);
            tell.emit(all);
        })
    };
    let row = |(at, swap): (usize, &SwapText)| {
        let (all, tell) = (props.swaps.clone(), props.on_change.clone());
        let on_press = Callback::from(move |_: MouseEvent| {
            let kept = all.iter().enumerate().filter(|(other, _)| *other != at).map(|(_, swap)| swap.clone());
            tell.emit(kept.collect());
        });
        let words = format!("{} → {}", swap.from, swap.to);
        let ratio = (swap.ratio != "1" && !swap.ratio.is_empty()).then(|| format!(" × {}", swap.ratio));
        html! {
            <li class="strip-between">
                <span>{ &words }{ for ratio }</span>
                <Button label={t!("common.remove")} name={Some(AttrValue::from(format!("{}: {words}", t!("common.remove"))))} kind={Kind::Quiet} {on_press} />
            </li>
        }
    };
    html! {
        <div class="stack">
            if !props.swaps.is_empty() {
                <ul class="week-plain">{ for props.swaps.iter().enumerate().map(row) }</ul>
            }
            <div class="week-fields">
                <Field label={t!("week.swap_from")} value={fresh.from.clone()} on_input={set(|swap, text| swap.from = text)} suggestions={offered(&props.foods, &fresh.from)} error={(*wrong).clone()} />
                <Field label={t!("week.swap_to")} value={fresh.to.clone()} on_input={set(|swap, text| swap.to = text)} suggestions={offered(&props.foods, &fresh.to)} />
                <Field label={t!("week.swap_ratio")} value={fresh.ratio.clone()} on_input={set(|swap, text| swap.ratio = text)} input={Input::Decimal} />
            </div>
            <div class="strip"><Button label={t!("week.swap_add")} icon={Shape::Plus} on_press={on_add} /></div>
        </div>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kitchen() -> Kitchen {
        let mut files = trug_folder::Files::new();
        files.insert("kitchen.toml", b"name = \"K\"\n".to_vec()).unwrap();
        trug_folder::read(&files).unwrap()
    }

    #[test]
    fn names_that_begin_so_are_offered_first() {
        let foods: Vec<AttrValue> = ["almond milk", "milk", "oat"].into_iter().map(AttrValue::from).collect();
        assert_eq!(offered(&foods, " Mil"), ["milk", "almond milk"].map(AttrValue::from));
        assert!(offered(&foods, "m").is_empty());
    }

    #[test]
    fn swaps_are_read() {
        let text = |from: &str, to: &str, ratio: &str| SwapText {
            from: from.to_owned(),
            to: to.to_owned(),
            ratio: ratio.to_owned(),
        };
        let kitchen = kitchen();
        let read_one = |swap: SwapText| read(&kitchen, &[swap]);
        assert_eq!(read_one(text("", "", "")).unwrap().len(), 0);
        assert_eq!(read_one(text("cream", "coconut milk", "")).unwrap()[0].ratio, Exact::ONE);
        assert_eq!(read_one(text("cream", "coconut milk", "1/2")).unwrap()[0].ratio, Exact::new(1, 2));
        assert!(read_one(text("cream", "", "1")).is_err());
        assert!(read_one(text("cream", "milk", "lots")).is_err());
    }
}
