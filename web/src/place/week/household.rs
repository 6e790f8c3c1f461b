//! The people cooked for: who eats, what must not be in it, and how their food is bought.

use std::rc::Rc;

use trug_measure::{Exact, Money};
use trug_provision::kitchen::{Diner, Household, HouseholdId, Kitchen, PantryId};
use yew::prelude::*;

use super::form::{fresh_id, in_field, joined, money, number, words};
use super::hand::{Hand, use_hand};
use super::page::{Gone, Page, Tab, Wrong};
use super::swaps::{SwapText, Swaps, read as read_swaps, use_food_names};
use crate::app::use_going;
use crate::desk::kitchen::KitchenNow;
use crate::look::{
    AllergyAlert, Button, Confirm, Empty, Field, Input, Kind, Notice, Section, Shape, TextArea, Toggle, Tone,
};
use crate::place::links::{Row, Way};
use crate::words::{say_kind, t};

#[derive(Properties, PartialEq)]
pub(super) struct HouseholdsProps {
    pub(super) now: Rc<KitchenNow>,
}

/// The households.
#[component]
pub(super) fn Households(props: &HouseholdsProps) -> Html {
    let kitchen = &props.now.kitchen;
    let new =
        html! { <Way to="week/households/new" words={t!("household.new")} icon={Shape::Plus} kind={Kind::Main} /> };
    let row = |(id, one): (&HouseholdId, &Household)| {
        let allergies = allergies_of(one);
        html! {
            <Row key={id.as_str()} to={format!("week/household/{id}")} name={one.name.clone()} text={summary(one)}>
                if allergies.is_empty() {
                    <span class="small soft">{ t!("household.no_allergies") }</span>
                } else {
                    <AllergyAlert title={t!("common.allergy_alert")} text={allergies.join(" · ")} />
                }
            </Row>
        }
    };
    html! {
        <Page title={t!("household.title")} tab={Tab::Households}>
            if kitchen.households.is_empty() {
                <Empty title={t!("household.empty_title")} text={t!("household.empty_text")} icon={Shape::People}>{ new }</Empty>
            } else {
                <div class="strip">{ new }</div>
                <Section title={t!("household.title")}>{ for kitchen.households.iter().map(row) }</Section>
            }
        </Page>
    }
}

fn summary(one: &Household) -> AttrValue {
    let diners = t!("household.diners_count", count = one.diners.len());
    match one.budget {
        Some(budget) => format!("{diners} · {} {}", t!("week.budget"), money(budget)).into(),
        None => diners,
    }
}

/// Each diner with allergies, in words.
fn allergies_of(one: &Household) -> Vec<String> {
    let allergic = one.diners.iter().filter(|diner| !diner.allergies.is_empty());
    let words = |diner: &Diner| {
        let kinds: Vec<AttrValue> = diner.allergies.iter().map(|kind| say_kind(kind)).collect();
        format!("{}: {}", diner.name, joined(&kinds))
    };
    allergic.map(words).collect()
}

/// A household as it is written into fields.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct Written {
    name: String,
    short: String,
    budget: String,
    pantry: bool,
    separate: bool,
    swaps: Vec<SwapText>,
    diners: Vec<DinerText>,
}

/// A diner as written into fields; `was` is the name that menus know.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct DinerText {
    was: Option<String>,
    name: String,
    portion: String,
    allergies: String,
    avoid: String,
    diet: String,
}

impl Written {
    fn fresh() -> Self {
        let diner = DinerText { portion: "1".to_owned(), ..DinerText::default() };
        Self { pantry: true, diners: vec![diner], ..Self::default() }
    }

    fn of(one: &Household) -> Self {
        let diner = |diner: &Diner| DinerText {
            was: Some(diner.name.clone()),
            name: diner.name.clone(),
            portion: in_field(diner.portion),
            allergies: diner.allergies.join("\n"),
            avoid: diner.avoid.join(", "),
            diet: diner.diet.join(", "),
        };
        Self {
            name: one.name.clone(),
            short: one.short.clone().unwrap_or_default(),
            budget: one.budget.map(|budget| budget.to_string()).unwrap_or_default(),
            pantry: one.pantry.is_some(),
            separate: one.separate,
            swaps: one.swaps.iter().map(SwapText::of).collect(),
            diners: one.diners.iter().map(diner).collect(),
        }
    }

    /// The household that the fields say, with its pantry under that id.
    fn read(&self, kitchen: &Kitchen, pantry: &str) -> Result<Household, String> {
        if self.name.trim().is_empty() {
            return Err(format!("{}: {}", t!("common.name"), t!("error.needed")));
        }
        let text = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
        let budget = text(&self.budget).map(|text| {
            Money::parse(&text, kitchen.currency).map_err(|_| t!("error.wrong_price", read = text).to_string())
        });
        let diners: Vec<Diner> =
            self.diners.iter().filter(|diner| !diner.is_empty()).map(DinerText::read).collect::<Result<_, String>>()?;
        if diners.is_empty() {
            return Err(t!("household.needs_diner").to_string());
        }
        Ok(Household {
            name: self.name.trim().to_owned(),
            short: text(&self.short),
            budget: budget.transpose()?,
            pantry: self.pantry.then(|| PantryId::new(pantry)),
            separate: self.separate,
            swaps: read_swaps(kitchen, &self.swaps)?,
            diners,
        })
    }
}

impl DinerText {
    fn is_empty(&self) -> bool {
        [&self.name, &self.allergies, &self.avoid, &self.diet].iter().all(|text| text.trim().is_empty())
    }

    fn read(&self) -> Result<Diner, String> {
        if self.name.trim().is_empty() {
            return Err(format!("{}: {}", t!("household.diner"), t!("error.needed")));
        }
        let portion = if self.portion.trim().is_empty() { Some(Exact::ONE) } else { number(&self.portion) };
        Ok(Diner {
            name: self.name.trim().to_owned(),
            portion: portion.ok_or_else(|| t!("error.wrong_amount", read = self.portion).to_string())?,
            allergies: words(&self.allergies),
            avoid: words(&self.avoid),
            diet: words(&self.diet),
        })
    }
}

/// Puts a household in, and has the menus follow its diners' new names. A dish for somebody who is gone is for the others
/// it was for; where there is none, for everybody.
fn put(kitchen: &mut Kitchen, id: &HouseholdId, one: Household, written: &Written) {
    let now_called = |name: &String| {
        let found = written.diners.iter().find(|diner| diner.was.as_ref() == Some(name) && !diner.is_empty());
        found.map(|diner| diner.name.trim().to_owned())
    };
    let services = kitchen.weeks.values_mut().flat_map(|week| &mut week.services);
    for dish in services.filter(|service| service.household == *id).flat_map(|service| &mut service.dishes) {
        if let Some(names) = &dish.diners {
            let names: Vec<String> = names.iter().filter_map(now_called).collect();
            dish.diners = (!names.is_empty()).then_some(names);
        }
    }
    if let Some(pantry) = &one.pantry {
        kitchen.pantries.entry(pantry.clone()).or_default();
    }
    kitchen.households.insert(id.clone(), one);
}

fn save(hand: &Hand, id: Option<&str>, written: &Written) -> Result<String, AttrValue> {
    let desk = hand.desk();
    let now = desk.kitchen().ok_or_else(|| t!("error.not_found"))??;
    let kitchen = &now.kitchen;
    let taken = |id: &str| kitchen.households.contains_key(id) || kitchen.pantries.contains_key(id);
    let own = id.map_or_else(|| fresh_id(&written.name, "household", taken), str::to_owned);
    let known = kitchen.households.get(own.as_str()).and_then(|one| one.pantry.clone());
    let pantry = known.map_or_else(|| own.clone(), |pantry| pantry.to_string());
    hand.save(t!("household.saved"), |kitchen| {
        let one = written.read(kitchen, &pantry)?;
        put(kitchen, &HouseholdId::new(&own), one, written);
        Ok(())
    })?;
    Ok(own)
}

#[derive(Properties, PartialEq)]
pub(super) struct HouseholdPageProps {
    pub(super) now: Rc<KitchenNow>,
    /// `None` for a new one.
    pub(super) id: Option<AttrValue>,
}

/// One household, in fields.
#[component]
pub(super) fn HouseholdPage(props: &HouseholdPageProps) -> Html {
    let (hand, going) = (use_hand(), use_going());
    let kitchen = &props.now.kitchen;
    let one = props.id.as_ref().map(|id| kitchen.households.get(id.as_str()));
    let written = use_state(|| one.flatten().map_or_else(Written::fresh, Written::of));
    let wrong = use_state(|| None::<AttrValue>);
    let foods = use_food_names(&props.now);
    if matches!(one, Some(None)) {
        return html! { <Gone tab={Tab::Households} /> };
    }
    let on_save = {
        let (id, written, wrong) = (props.id.clone(), written.clone(), wrong.clone());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            match save(&hand, id.as_deref(), &written) {
                Ok(_) => going.go.emit("week/households".to_owned()),
                Err(error) => wrong.set(Some(error)),
            }
        })
    };
    let set = Setting(written.clone());
    let title = one.flatten().map_or_else(|| t!("household.new"), |one| one.name.clone().into());
    let diner = |(at, diner): (usize, &DinerText)| {
        html! { <DinerFields key={at} {at} diner={diner.clone()} on_change={set.diner(at)} on_remove={set.no_diner(at)} alone={written.diners.len() < 2} /> }
    };
    html! {
        <Page {title} tab={Tab::Households} up={AttrValue::from("week/households")}>
            <form class="stack-wide" onsubmit={on_save}>
                <Wrong text={(*wrong).clone()} />
                <div class="card stack">
                    <Field label={t!("common.name")} value={written.name.clone()} on_input={set.text(|all, text| all.name = text)} needed={t!("error.needed")} />
                    <Field label={t!("household.short")} hint={Some(t!("household.short_hint"))} value={written.short.clone()} on_input={set.text(|all, text| all.short = text)} />
                    <Field label={t!("household.budget")} input={Input::Decimal} value={written.budget.clone()} on_input={set.text(|all, text| all.budget = text)}>
                        <span>{ kitchen.currency.code().to_owned() }</span>
                    </Field>
                    <Toggle label={t!("household.own_pantry")} on={written.pantry} on_change={set.flag(|all, on| all.pantry = on)} />
                    <Toggle label={t!("household.separate")} hint={Some(t!("household.separate_hint"))} on={written.separate} on_change={set.flag(|all, on| all.separate = on)} />
                </div>
                <Section title={t!("household.diners")} count={t!("household.diners_count", count = written.diners.len())} bare=true>
                    { for written.diners.iter().enumerate().map(diner) }
                    <div class="strip"><Button label={t!("household.add_diner")} icon={Shape::Plus} on_press={set.add_diner()} /></div>
                    <Notice tone={Tone::Plain}><p>{ t!("safety.allergy") }{ " " }{ t!("safety.at_risk") }</p></Notice>
                </Section>
                <Section title={t!("household.swaps")} bare=true>
                    <Swaps swaps={written.swaps.clone()} on_change={set.swaps()} {foods} />
                </Section>
                <div class="strip"><Button label={t!("common.save")} kind={Kind::Main} submit=true /></div>
            </form>
            if let Some(id) = &props.id { <Removal now={props.now.clone()} id={id.clone()} /> }
        </Page>
    }
}

/// Sets what is written.
struct Setting(UseStateHandle<Written>);

impl Setting {
    fn change<T: 'static>(&self, change: impl Fn(&mut Written, T) + 'static) -> Callback<T> {
        let written = self.0.clone();
        Callback::from(move |value: T| {
            let mut next = (*written).clone();
            change(&mut next, value);
            written.set(next);
        })
    }

    fn text(&self, put: fn(&mut Written, String)) -> Callback<String> {
        self.change(put)
    }

    fn flag(&self, put: fn(&mut Written, bool)) -> Callback<bool> {
        self.change(put)
    }

    fn swaps(&self) -> Callback<Vec<SwapText>> {
        self.change(|all, swaps: Vec<SwapText>| all.swaps = swaps)
    }

    fn diner(&self, at: usize) -> Callback<DinerText> {
        self.change(move |all, diner: DinerText| {
            all.diners.get_mut(at).into_iter().for_each(|place| *place = diner.clone())
        })
    }

    fn no_diner(&self, at: usize) -> Callback<MouseEvent> {
        self.change(move |all, _: MouseEvent| {
            if at < all.diners.len() {
                all.diners.remove(at);
            }
        })
    }

    fn add_diner(&self) -> Callback<MouseEvent> {
        self.change(|all, _: MouseEvent| all.diners.push(DinerText { portion: "1".to_owned(), ..DinerText::default() }))
    }
}

#[derive(Properties, PartialEq)]
struct DinerFieldsProps {
    at: usize,
    diner: DinerText,
    on_change: Callback<DinerText>,
    on_remove: Callback<MouseEvent>,
    /// Nobody else eats there.
    alone: bool,
}

/// One diner.
#[component]
fn DinerFields(props: &DinerFieldsProps) -> Html {
    let diner = &props.diner;
    let set = |put: fn(&mut DinerText, String)| {
        let was = diner.clone();
        props.on_change.reform(move |text: String| {
            let mut next = was.clone();
            put(&mut next, text);
            next
        })
    };
    let name: AttrValue = match diner.name.trim() {
        "" => format!("{} {}", t!("household.diner"), props.at + 1).into(),
        name => name.to_owned().into(),
    };
    html! {
        <fieldset class="card stack">
            <legend class="unseen">{ name.clone() }</legend>
            <div class="week-fields">
                <Field label={t!("household.diner")} value={diner.name.clone()} on_input={set(|diner, text| diner.name = text)} />
                <Field label={t!("household.portion")} hint={Some(t!("household.portion_hint"))} input={Input::Decimal} value={diner.portion.clone()} on_input={set(|diner, text| diner.portion = text)} />
            </div>
            <TextArea label={t!("household.allergies")} hint={Some(t!("household.allergies_hint"))} rows={2} value={diner.allergies.clone()} on_input={set(|diner, text| diner.allergies = text)} />
            <Field label={t!("household.dislikes")} hint={Some(t!("household.words_hint"))} value={diner.avoid.clone()} on_input={set(|diner, text| diner.avoid = text)} />
            <Field label={t!("household.diets")} hint={Some(t!("household.words_hint"))} value={diner.diet.clone()} on_input={set(|diner, text| diner.diet = text)} suggestions={diets()} />
            if !props.alone {
                <div class="strip"><Button label={t!("common.remove")} name={Some(AttrValue::from(format!("{}: {name}", t!("common.remove"))))} kind={Kind::Quiet} icon={Shape::Remove} on_press={props.on_remove.clone()} /></div>
            }
        </fieldset>
    }
}

/// The diets that the guard knows by these words.
fn diets() -> Vec<AttrValue> {
    ["vegetarian", "vegan", "pescatarian"].into_iter().map(AttrValue::from).collect()
}

#[derive(Properties, PartialEq)]
struct RemovalProps {
    now: Rc<KitchenNow>,
    id: AttrValue,
}

/// Takes a household out that has no service in any week.
#[component]
fn Removal(props: &RemovalProps) -> Html {
    let (hand, going) = (use_hand(), use_going());
    let asking = use_state(|| false);
    let services = props.now.kitchen.weeks.values().flat_map(|week| &week.services);
    let served = services.filter(|service| service.household.as_str() == props.id.as_str()).count();
    if served > 0 {
        return html! { <p class="small soft">{ t!("household.served", count = served) }</p> };
    }
    let ask = {
        let asking = asking.setter();
        Callback::from(move |_: MouseEvent| asking.set(true))
    };
    let on_leave = {
        let asking = asking.setter();
        Callback::from(move |()| asking.set(false))
    };
    let on_deed = {
        let id = props.id.clone();
        Callback::from(move |()| {
            let removed = hand.save(t!("household.removed"), |kitchen| {
                kitchen.households.remove(id.as_str());
                Ok(())
            });
            match removed {
                Ok(()) => going.go.emit("week/households".to_owned()),
                Err(error) => hand.say(error),
            }
        })
    };
    html! { <>
        <div class="strip"><Button label={t!("household.delete")} kind={Kind::Danger} icon={Shape::Remove} on_press={ask} /></div>
        if *asking {
            <Confirm title={t!("household.delete")} text={t!("household.delete_text")} deed={t!("common.delete")} leave={t!("common.leave")} danger=true {on_deed} {on_leave} />
        }
    </> }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kitchen() -> Kitchen {
        let mut files = trug_folder::Files::new();
        let texts = [
            ("kitchen.toml", "name = \"K\"\n"),
            ("households/a.toml", "name = \"A\"\n[[diner]]\nname = \"Ada\"\n[[diner]]\nname = \"Bo\"\n"),
            ("dishes/d.md", "# D\n\nServes 2\n\n## Ingredients\n\n- 2 leeks\n"),
            (
                "weeks/2026-W10.toml",
                "[[service]]\nhousehold = \"a\"\nshop = 2026-03-04\ncook = 2026-03-05\n[[service.dish]]\ndish = \"d\"\nmeals = \
                 1\nfor = [\"Bo\"]\n",
            ),
        ];
        for (path, text) in texts {
            files.insert(path, text.as_bytes().to_vec()).unwrap();
        }
        trug_folder::read(&files).unwrap()
    }

    #[test]
    fn what_is_written_reads_as_it_was() {
        let kitchen = kitchen();
        let one = &kitchen.households["a"];
        assert_eq!(Written::of(one).read(&kitchen, "a").as_ref(), Ok(one));
    }

    #[test]
    fn what_is_wrong_is_said() {
        let kitchen = kitchen();
        let good = Written::of(&kitchen.households["a"]);
        for bad in [
            Written { name: " ".to_owned(), ..good.clone() },
            Written { budget: "lots".to_owned(), ..good.clone() },
            Written { diners: Vec::new(), ..good.clone() },
            Written {
                diners: vec![DinerText { allergies: "milk".to_owned(), ..DinerText::default() }],
                ..good.clone()
            },
            Written { diners: vec![DinerText { portion: "big".to_owned(), ..good.diners[0].clone() }], ..good },
        ] {
            assert!(bad.read(&kitchen, "a").is_err(), "{bad:?}");
        }
    }

    #[test]
    fn menus_follow_a_diners_new_name() {
        let id = HouseholdId::new("a");
        for (change, want) in [
            (Some("Beau"), Some(vec!["Beau".to_owned()])),
            // Whoever it was for is gone: it is for all who are left.
            (None, None),
        ] {
            let mut kitchen = kitchen();
            let mut written = Written::of(&kitchen.households["a"]);
            match change {
                Some(name) => written.diners[1].name = name.to_owned(),
                None => drop(written.diners.remove(1)),
            }
            let one = written.read(&kitchen, "a").unwrap();
            put(&mut kitchen, &id, one, &written);
            assert_eq!(kitchen.weeks["2026-W10"].services[0].dishes[0].diners, want);
        }
    }
}
