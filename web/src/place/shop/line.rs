//! Everything that can be done with one line besides ticking it.

use std::rc::Rc;

use trug_measure::{Currency, Money, MoneyError};
use trug_replica::id::{Alias, LineId, PickId};
use trug_replica::run::{Claimed, Label, Line, LineState, LineView, Pack, Pick, PlanLine, Quantity, Taken};
use yew::prelude::*;

use super::amounts::{self, Unclear, only_pack};
use super::figures::{money, time};
use super::hands::{Hands, planned};
use super::seen::Seen;
use super::sub::Sub;
use super::why::Why;
use crate::look::{
    AllergyAlert, Badge, Button, Choice, Disclosure, Field, Kind, Notice, Pick as Option_, Section, Shape, Sheet,
    Toggle, Tone, icon,
};
use crate::place::fields::change;
use crate::words::t;

/// What was done, for the message that says it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Done {
    pub(super) text: AttrValue,
    /// What undoing it strikes.
    pub(super) picks: Vec<PickId>,
}

#[derive(Clone, Properties, PartialEq)]
pub(super) struct LineSheetProps {
    pub(super) hands: Hands,
    pub(super) seen: Rc<Seen>,
    pub(super) line: LineId,
    pub(super) on_close: Callback<()>,
    pub(super) on_done: Callback<Done>,
}

/// What somebody writes about what was taken.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Form {
    amount: String,
    price: String,
    product: String,
    says: String,
    read: bool,
    whom: AttrValue,
    note: String,
}

/// What is wrong in the form.
#[derive(Debug, Clone, Default, PartialEq)]
struct Wrong {
    amount: Option<AttrValue>,
    price: Option<AttrValue>,
    other: Option<AttrValue>,
}

impl Form {
    /// What this device noted already can be written again, with a price or a label added.
    fn of(view: &LineView, seen: &Seen) -> Self {
        let Some((_, pick)) = own_purchase(view, seen) else { return Self::default() };
        let amount = match pick.what.quantity() {
            Some(Quantity::Part(Some(part))) => part.show(seen.who.units),
            _ => String::new(),
        };
        let label = pick.label.clone();
        Self {
            amount,
            price: pick.what.price().map(|price| price.to_string()).unwrap_or_default(),
            read: label.is_some(),
            product: label.as_ref().map(|label| label.product.clone()).unwrap_or_default(),
            says: label.map(|label| label.says).unwrap_or_default(),
            whom: pick.aliases.first().map(|alias| alias.to_string().into()).unwrap_or_default(),
            note: String::new(),
        }
    }

    fn label(&self) -> Option<Label> {
        let (product, says) = (self.product.trim(), self.says.trim());
        let any = self.read || !product.is_empty() || !says.is_empty();
        any.then(|| Label { product: product.to_owned(), says: says.to_owned() })
    }

    fn alias(&self) -> Option<Alias> {
        Alias::new(&self.whom).ok()
    }

    /// How much: what is written, or all of it, or all that the one household needs.
    fn quantity(&self, view: &LineView) -> Result<(Quantity, Vec<Pack>), Unclear> {
        let plan = planned(view);
        if !self.amount.trim().is_empty() {
            let part = amounts::read(&self.amount, plan)?;
            return Ok((Quantity::Part(Some(part.amount)), part.packs));
        }
        if let Some(alias) = self.alias() {
            let share = plan.and_then(|line| line.shares.iter().find(|share| share.alias == alias));
            return Ok((Quantity::Part(share.and_then(|share| share.need)), Vec::new()));
        }
        let packs = plan.map(|line| line.packs.clone()).unwrap_or_default();
        Ok((Quantity::Whole(view.line.as_deref().and_then(Line::want)), packs))
    }
}

/// Reads a price as people write it: `3.49`, `$3.49`, `3,49`.
pub(super) fn read_price(text: &str, currency: Currency) -> Result<Option<Money>, MoneyError> {
    let plain = text.trim().trim_matches(|letter: char| !letter.is_ascii_digit() && letter != '.' && letter != '-');
    if text.trim().is_empty() {
        return Ok(None);
    }
    let decimal = if plain.contains('.') { plain.replace(',', "") } else { plain.replace(',', ".") };
    Money::parse(&decimal, currency).map(Some)
}

fn unclear_text(read: &str, unclear: Unclear) -> AttrValue {
    match unclear {
        Unclear::NoAmount => t!("error.wrong_amount", read = read),
        Unclear::NoUnit => t!("shop.wrong_unit", read = read),
    }
}

/// What the buttons at the foot say happened.
#[derive(Debug, Clone, PartialEq)]
enum Deed {
    Got,
    AtHome,
    NoneThere,
    Instead(String),
}

/// Makes the pick that a form and a button come to.
fn made(props: &LineSheetProps, view: &LineView, form: &Form, deed: &Deed) -> Result<Pick, Wrong> {
    let wrong_amount = |unclear| Wrong { amount: Some(unclear_text(&form.amount, unclear)), ..Wrong::default() };
    let quantity = || form.quantity(view).map_err(wrong_amount);
    let currency = props.seen.currency();
    let price = || {
        let wrong = |_| Wrong { price: Some(t!("error.wrong_price", read = form.price)), ..Wrong::default() };
        read_price(&form.price, currency).map_err(wrong)
    };
    let what = match deed {
        Deed::Got => {
            let (amount, packs) = quantity()?;
            Taken::Got { amount, packs, price: price()? }
        }
        Deed::AtHome => Taken::AtHome { amount: quantity()?.0 },
        Deed::NoneThere => Taken::NoneThere,
        Deed::Instead(instead) => {
            let amount = quantity()?.0;
            Taken::Sub { instead: instead.clone(), amount, packs: Vec::new(), price: price()? }
        }
    };
    let mut pick = props.hands.now(view, what);
    pick.aliases = form.alias().into_iter().collect();
    pick.label = form.label().filter(|_| matches!(deed, Deed::Got | Deed::Instead(_)));
    Ok(pick)
}

/// What a press of a button works with.
#[derive(Clone)]
struct Hand {
    props: LineSheetProps,
    view: LineView,
    food: AttrValue,
    form: UseStateHandle<Form>,
    wrong: UseStateSetter<Wrong>,
    /// This device's purchase, which saving writes again.
    again: Option<PickId>,
}

impl Hand {
    fn press(&self, deed: &Deed) {
        let pick = match made(&self.props, &self.view, &self.form, deed) {
            Ok(pick) => pick,
            Err(problem) => return self.wrong.set(problem),
        };
        let of = if *deed == Deed::Got { self.again.as_slice() } else { &[] };
        match self.props.hands.pick_instead(&pick, of) {
            Ok(id) => {
                let text = t!("shop.said", who = self.food, text = self.props.seen.who.pick(&pick));
                // What took the place of another pick is not undone by striking it alone.
                let picks = if of.is_empty() { vec![id] } else { Vec::new() };
                self.props.on_done.emit(Done { text, picks });
            }
            Err(error) => self.wrong.set(Wrong { other: Some(error.to_string().into()), ..Wrong::default() }),
        }
    }
}

#[component]
pub(super) fn LineSheet(props: &LineSheetProps) -> Html {
    let view = props.seen.line(&props.line);
    let form = use_state(|| view.map(|view| Form::of(view, &props.seen)).unwrap_or_default());
    let wrong = use_state(Wrong::default);
    let Some(view) = view else { return Html::default() };
    let food = view.line.as_deref().map_or_else(|| t!("shop.unknown_line"), |line| line.food().to_owned().into());
    let hand = Hand {
        props: props.clone(),
        view: view.clone(),
        food: food.clone(),
        form: form.clone(),
        wrong: wrong.setter(),
        again: own_purchase(view, &props.seen).map(|(id, _)| *id),
    };
    let button = |label: AttrValue, kind: Kind, deed: Deed| {
        let hand = hand.clone();
        let on_press = Callback::from(move |_: MouseEvent| hand.press(&deed));
        html! { <Button {label} {kind} {on_press} disabled={props.seen.read_only} /> }
    };
    let got = if hand.again.is_none() { t!("shop.got") } else { t!("common.save") };
    let foot = html! { <>
        { button(got, Kind::Main, Deed::Got) }
        { button(t!("shop.at_home"), Kind::Plain, Deed::AtHome) }
        { button(t!("shop.none"), Kind::Plain, Deed::NoneThere) }
    </> };
    let on_sub = {
        let hand = hand.clone();
        Callback::from(move |instead: String| hand.press(&Deed::Instead(instead)))
    };
    html! {
        <Sheet title={food.clone()} close={t!("common.close")} on_close={props.on_close.clone()} {foot}>
            { facts(props, &food) }
            if let Some(text) = &wrong.other { <Notice tone={Tone::Trouble}>{ text }</Notice> }
            { taken(props, view, &form, &wrong) }
            if let Some(line) = planned(view) {
                <Sub hands={props.hands.clone()} seen={props.seen.clone()} line={Rc::new(line.clone())} {on_sub} />
            }
            <Claim hands={props.hands.clone()} seen={props.seen.clone()} line={props.line.clone()} />
            { remark(props, &form) }
            if props.hands.desk.is_chef() && planned(view).is_some() {
                <Why hands={props.hands.clone()} seen={props.seen.clone()} line={props.line.clone()} {food} />
            }
            { history(props, view) }
        </Sheet>
    }
}

/// This device's one purchase, where nothing is left to get: writing it again adds what was forgotten.
fn own_purchase<'a>(view: &'a LineView, seen: &Seen) -> Option<&'a (PickId, Pick)> {
    use LineState::{BoughtTwice, Got, WithdrawnButBought};
    let mut own = view.picks.iter().filter(|(id, pick)| id.device == seen.who.me && pick.what.is_purchase());
    let done = matches!(view.standing.state, Got | BoughtTwice | WithdrawnButBought);
    own.next().filter(|_| done && own.next().is_none())
}

/// What the row says, at length.
fn facts(props: &LineSheetProps, food: &str) -> Html {
    let Some(item) = props.seen.items.iter().find(|item| item.id == props.line) else { return Html::default() };
    let row = &item.row;
    let cost = props.seen.line(&props.line).and_then(planned).and_then(|line| line.cost);
    html! {
        <div class="shop-facts">
            { for row.alerts.iter().map(|text| html! { <AllergyAlert title={t!("common.allergy_alert")} {text} /> }) }
            if !row.take.is_empty() { <p class="shop-take">{ &row.take }</p> }
            if let Some(text) = &row.must_not {
                <p class="shop-must-not">{ icon(Shape::Allergy) }<span>{ text }</span></p>
            }
            { for row.lines.iter().map(|line| html! { <p>{ line }</p> }) }
            if let Some(cost) = cost.filter(|_| props.hands.desk.is_chef()) {
                <p>{ t!("shop.estimate", sum = money(cost)) }</p>
            }
            if !row.marks.is_empty() {
                <p class="strip">{ for row.marks.iter().map(|(text, tone)| html! { <Badge {text} tone={*tone} /> }) }</p>
            }
            if let Some(ask) = &row.ask {
                <Notice tone={Tone::Care} title={ask.title.clone()}>{ &ask.text }</Notice>
            }
            <p class="unseen">{ food }</p>
        </div>
    }
}

/// How much, for whom, at what price, and what the label says.
fn taken(props: &LineSheetProps, view: &LineView, form: &UseStateHandle<Form>, wrong: &Wrong) -> Html {
    let plan = planned(view);
    let on_whom = change(form, |form, whom| form.whom = whom);
    let on_read = {
        let form = form.clone();
        Callback::from(move |read| form.set(Form { read, ..(*form).clone() }))
    };
    let whose = plan.map(|line| whose(line, props)).unwrap_or_default();
    html! { <>
        if whose.len() > 2 {
            <Choice label={t!("shop.for_one")} options={whose} value={form.whom.clone()} on_choose={on_whom} />
        }
        { parts(plan, form) }
        <Field
            label={t!("shop.how_much")}
            hint={Some(t!("shop.how_much_hint"))}
            value={form.amount.clone()}
            error={wrong.amount.clone()}
            on_input={change(form, |form, text| form.amount = text)}
        />
        <Field
            label={t!("shop.price_paid")}
            input={crate::look::Input::Decimal}
            value={form.price.clone()}
            error={wrong.price.clone()}
            on_input={change(form, |form, text| form.price = text)}
        />
        <Disclosure title={t!("shop.label")} open={form.read}>
            <Field
                label={t!("shop.product")}
                hint={Some(t!("shop.product_hint"))}
                value={form.product.clone()}
                on_input={change(form, |form, text| form.product = text)}
            />
            <Toggle label={t!("shop.label_read")} on={form.read} on_change={on_read} />
            <Field
                label={t!("shop.label_says")}
                hint={Some(t!("shop.label_hint"))}
                value={form.says.clone()}
                on_input={change(form, |form, text| form.says = text)}
            />
            <p class="shop-hint">{ t!("safety.label") }</p>
        </Disclosure>
    </> }
}

/// All households, then each.
fn whose(line: &PlanLine, props: &LineSheetProps) -> Vec<Option_> {
    let all = Option_::new("", t!("shop.for_all"));
    let each = line
        .shares
        .iter()
        .map(|share| Option_::new(share.alias.to_string(), props.seen.who.table(&share.alias).to_owned()));
    std::iter::once(all).chain(each).collect()
}

/// The most packs for which each number has a button.
const MOST_BUTTONS: u64 = 6;

/// Buttons for some of the packs.
fn parts(plan: Option<&PlanLine>, form: &UseStateHandle<Form>) -> Html {
    let pack = plan.and_then(only_pack).filter(|pack| (2..=MOST_BUTTONS).contains(&pack.count));
    let Some(pack) = pack else { return Html::default() };
    let mut options = vec![Option_::new("", t!("common.all"))];
    options.extend(
        (1..pack.count)
            .map(|count| Option_::new(count.to_string(), t!("shop.some_of", done = count, all = pack.count))),
    );
    let on_choose = change(form, |form, amount: AttrValue| form.amount = amount.to_string());
    html! { <Choice label={t!("shop.part")} {options} value={form.amount.clone()} {on_choose} /> }
}

#[derive(Properties, PartialEq)]
struct ClaimProps {
    hands: Hands,
    seen: Rc<Seen>,
    line: LineId,
}

/// Who takes the line, or all of its section.
#[component]
fn Claim(props: &ClaimProps) -> Html {
    let item = props.seen.items.iter().find(|item| item.id == props.line);
    let Some(item) = item else { return Html::default() };
    let me = props.seen.who.me;
    let claim = |what: Claimed, who| {
        let hands = props.hands.clone();
        Callback::from(move |_: MouseEvent| {
            // A trip that cannot be written says so at its top.
            let _ = hands.claim(std::slice::from_ref(&what), who);
        })
    };
    let section = Claimed::Section(item.section.clone());
    let name = super::scene::section_name(&item.section);
    let taken = props.seen.section_taker(&item.section);
    html! {
        <div class="strip">
            { match item.taker {
                Some(taker) => html! { <>
                    <span>{ t!("shop.takes", who = props.seen.who.person(taker)) }</span>
                    if props.seen.beside.claims.contains_key(&Claimed::Line(item.id.clone())) {
                        <Button label={t!("shop.give_back")} on_press={claim(Claimed::Line(item.id.clone()), None)} />
                    }
                </> },
                None => html! {
                    <Button label={t!("shop.take_this")} on_press={claim(Claimed::Line(item.id.clone()), Some(me))} />
                },
            } }
            if taken == Some(me) {
                <Button label={t!("shop.give_section", section = name)} on_press={claim(section, None)} />
            } else {
                <Button label={t!("shop.take_section", section = name)} on_press={claim(section, Some(me))} />
            }
        </div>
    }
}

/// A word to everybody on the trip.
fn remark(props: &LineSheetProps, form: &UseStateHandle<Form>) -> Html {
    let on_press = {
        let (hands, line, form) = (props.hands.clone(), props.line.clone(), form.clone());
        Callback::from(move |_: MouseEvent| {
            let text = form.note.trim();
            if !text.is_empty() && hands.note(Some(line.clone()), text).is_ok() {
                form.set(Form { note: String::new(), ..(*form).clone() });
            }
        })
    };
    html! {
        <Field label={t!("shop.note")} value={form.note.clone()} on_input={change(form, |form, text| form.note = text)}>
            <Button label={t!("shop.note_send")} {on_press} />
        </Field>
    }
}

/// Everything that happened to the line, with undo.
fn history(props: &LineSheetProps, view: &LineView) -> Html {
    if view.picks.is_empty() && view.struck.is_empty() {
        return Html::default();
    }
    let standing = view.picks.iter().map(|(id, pick)| (*id, pick, true));
    let struck = view.struck.iter().map(|(id, pick)| (*id, pick, false));
    let mut all: Vec<_> = standing.chain(struck).collect();
    all.sort_by_key(|(id, pick, _)| (pick.at, *id));
    html! {
        <Section title={t!("shop.history")}>
            { for all.into_iter().map(|(id, pick, stands)| one(props, id, pick, stands)) }
        </Section>
    }
}

fn one(props: &LineSheetProps, id: PickId, pick: &Pick, stands: bool) -> Html {
    let who = &props.seen.who;
    let mut words = vec![who.pick(pick)];
    words.extend(pick.what.price().map(money));
    words.extend(pick.store.clone());
    words.push(time(pick.at.0));
    let on_undo = {
        let hands = props.hands.clone();
        Callback::from(move |_: MouseEvent| {
            // A trip that cannot be written says so at its top.
            let _ = hands.strike(&[id]);
        })
    };
    html! {
        <div class="shop-past" key={id.to_string()}>
            <div>
                <p class="shop-past-first">{ who.person(id.device) }{ ": " }{ words.join(" · ") }</p>
                if let Some(label) = &pick.label {
                    <p>{ t!("shop.label_read_by", who = who.person(id.device), product = label.product) }{ " " }{ &label.says }</p>
                }
                if !stands { <p>{ t!("common.undone") }</p> }
            </div>
            if stands {
                <Button
                    label={t!("shop.strike")}
                    name={Some(AttrValue::from(format!("{}: {}", t!("shop.strike"), words.join(", "))))}
                    icon={Shape::Undo}
                    on_press={on_undo}
                />
            }
        </div>
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::place::shop::sample::{share, usd, view};

    #[test]
    fn a_price_is_read_as_people_write_it() {
        let table = [
            ("3.49", Some(Some("3.49"))),
            ("$3.49", Some(Some("3.49"))),
            ("3,49", Some(Some("3.49"))),
            ("1,203.49", Some(Some("1203.49"))),
            ("", Some(None)),
            ("3.499", None),
            ("-2", None),
            ("cheap", None),
        ];
        for (text, expected) in table {
            let read = read_price(text, Currency::USD).ok();
            assert_eq!(read, expected.map(|price| price.map(usd)), "{text}");
        }
    }

    #[test]
    fn nothing_written_is_all_of_it_or_all_for_one_household() {
        let mut rice = super::super::sample::planned("Rice");
        rice.want = "3 lb".parse().ok();
        rice.shares = vec![share("BK4", "1 lb"), share("RT5", "2 lb")];
        let view = view(Line::Planned(Box::new(rice)), vec![]);
        let table = [
            ("", "", Ok(Quantity::Whole("3 lb".parse().ok()))),
            ("", "RT5", Ok(Quantity::Part("2 lb".parse().ok()))),
            ("0.5 lb", "RT5", Ok(Quantity::Part("0.5 lb".parse().ok()))),
            ("2", "", Err(Unclear::NoUnit)),
        ];
        for (amount, whom, expected) in table {
            let form = Form { amount: amount.to_owned(), whom: whom.into(), ..Form::default() };
            assert_eq!(form.quantity(&view).map(|(quantity, _)| quantity), expected, "{amount} for {whom}");
        }
    }
}
