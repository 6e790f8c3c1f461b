//! Money: what tills took, and for the chef what the trip has cost against the budgets.

use std::collections::BTreeMap;
use std::rc::Rc;

use trug_device::Plan;
use trug_measure::Money;
use trug_provision::kitchen::{HouseholdId, Kitchen};
use trug_replica::id::Alias;
use trug_replica::run::Receipt;
use yew::prelude::*;

use super::figures::{money, time};
use super::hands::{Hands, planned};
use super::line::read_price;
use super::purse::{Purse, Table, against};
use super::seen::Seen;
use super::sums::spent;
use crate::desk::stamp;
use crate::look::{Button, Field, Input, Kind, Notice, Pick, Section, Select, Sheet, Tone};
use crate::place::fields::change;
use crate::words::t;

#[derive(Properties, PartialEq)]
pub(super) struct TillProps {
    pub(super) hands: Hands,
    pub(super) seen: Rc<Seen>,
    pub(super) on_close: Callback<()>,
}

/// What somebody writes of a receipt.
#[derive(Debug, Clone, Default, PartialEq)]
struct Form {
    store: String,
    total: String,
    whom: AttrValue,
    wrong: Option<AttrValue>,
}

/// The receipts, and one more.
#[component]
pub(super) fn Till(props: &TillProps) -> Html {
    let here = props.hands.store.clone().or_else(|| props.seen.stores().first().map(|store| (*store).to_owned()));
    let form = use_state(|| Form { store: here.unwrap_or_default(), ..Form::default() });
    let on_submit = {
        let (hands, seen, form) = (props.hands.clone(), props.seen.clone(), form.clone());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            form.set(pay(&hands, &seen, &form));
        })
    };
    let on_whom = change(&form, |form, whom| form.whom = whom);
    let stores = props.seen.stores().into_iter().map(|store| AttrValue::from(store.to_owned())).collect::<Vec<_>>();
    html! {
        <Sheet title={t!("shop.receipts")} close={t!("common.close")} on_close={props.on_close.clone()}>
            { paid(props) }
            <form class="shop-form" onsubmit={on_submit}>
                <Field
                    label={t!("shop.store")}
                    value={form.store.clone()}
                    suggestions={stores}
                    on_input={change(&form, |form, text| form.store = text)}
                />
                <Field
                    label={t!("shop.receipt_sum")}
                    input={Input::Decimal}
                    value={form.total.clone()}
                    error={form.wrong.clone()}
                    on_input={change(&form, |form, text| form.total = text)}
                />
                <Select label={t!("shop.for_one")} options={tables(&props.seen)} value={form.whom.clone()} on_choose={on_whom} />
                <Button label={t!("shop.receipt_add")} kind={Kind::Main} submit=true disabled={props.seen.read_only} />
            </form>
        </Sheet>
    }
}

fn tables(seen: &Seen) -> Vec<Pick> {
    let mut options = vec![Pick::new("", t!("shop.for_all"))];
    options
        .extend(aliases(seen).into_iter().map(|alias| Pick::new(alias.to_string(), seen.who.table(alias).to_owned())));
    options
}

/// The households that the trip names.
fn aliases(seen: &Seen) -> std::collections::BTreeSet<&Alias> {
    let lines = seen.lines.iter().filter_map(planned);
    lines.flat_map(|line| line.shares.iter().map(|share| &share.alias)).collect()
}

/// Writes the receipt down; what comes back is the form as it is then.
fn pay(hands: &Hands, seen: &Seen, form: &Form) -> Form {
    let wrong = |text: AttrValue| Form { wrong: Some(text), ..form.clone() };
    let total = match read_price(&form.total, seen.currency()) {
        Ok(Some(total)) => total,
        Ok(None) => return wrong(t!("error.needed")),
        Err(_) => return wrong(t!("error.wrong_price", read = form.total)),
    };
    let receipt =
        Receipt { store: form.store.trim().to_owned(), total, alias: Alias::new(&form.whom).ok(), at: stamp() };
    match hands.pay(&receipt) {
        Ok(()) => Form { store: form.store.clone(), whom: form.whom.clone(), ..Form::default() },
        Err(error) => wrong(error.to_string().into()),
    }
}

fn paid(props: &TillProps) -> Html {
    let seen = &props.seen;
    if seen.receipts.is_empty() {
        return html! { <p>{ t!("shop.receipts_none") }</p> };
    }
    let zero = Money::zero(seen.currency());
    let same = seen.receipts.iter().filter(|(_, receipt)| receipt.total.currency == zero.currency);
    let sum = same.fold(zero, |sum, (_, receipt)| sum + receipt.total);
    let lines = props.hands.desk.is_chef().then(|| spent(&seen.lines, seen.currency()).total);
    html! { <>
        <ul class="shop-sums">{ for seen.receipts.iter().map(|(id, receipt)| html! {
            <li key={id.to_string()}>
                <span>{ receipt_text(seen, id.device, receipt) }</span><strong>{ money(receipt.total) }</strong>
            </li>
        }) }</ul>
        <p class="shop-total"><span>{ t!("common.total") }</span><strong>{ money(sum) }</strong></p>
        if let Some(lines) = lines.filter(|lines| *lines != sum) {
            <p>{ t!("shop.receipt_differs", lines = money(lines), receipt = money(sum)) }</p>
        }
    </> }
}

fn receipt_text(seen: &Seen, by: trug_replica::id::DeviceId, receipt: &Receipt) -> String {
    let mut words = vec![receipt.store.clone()];
    words.extend(receipt.alias.as_ref().map(|alias| t!("common.for_whom", whom = seen.who.table(alias)).to_string()));
    words.push(seen.who.person(by));
    words.push(time(receipt.at.0));
    words.retain(|word| !word.is_empty());
    words.join(" · ")
}

/// The budgets of a trip's households: what each may spend on its services of the week.
pub(super) fn budgets(kitchen: &Kitchen, plan: &Plan) -> BTreeMap<HouseholdId, Money> {
    let mut budgets = BTreeMap::new();
    for service in kitchen.weeks.get(plan.week.as_str()).into_iter().flat_map(|week| &week.services) {
        let id = &service.household;
        let is_for = plan.households.is_empty() || plan.households.iter().any(|one| one == id.as_str());
        let Some(budget) = kitchen.households.get(id).and_then(|household| household.budget).filter(|_| is_for) else {
            continue;
        };
        let sum = budgets.entry(id.clone()).or_insert(Money::zero(budget.currency));
        *sum = *sum + budget;
    }
    budgets
}

/// Adds the money of a trip up, for the chef.
pub(super) fn purse(hands: &Hands, seen: &Seen) -> Option<Purse> {
    let now = hands.desk.kitchen()?.ok()?;
    let kitchen = &now.kitchen;
    let spent = spent(&seen.lines, kitchen.currency);
    let plan = hands.desk.read(|device| device.follows(&hands.id));
    let budgets = plan.map(|plan| budgets(kitchen, &plan)).unwrap_or_default();
    let aliases = hands.desk.read(|device| device.aliases(&hands.id, kitchen));
    let zero = Money::zero(kitchen.currency);
    let budget = (!budgets.is_empty()).then(|| budgets.values().fold(zero, |sum, one| sum + *one));
    let mut tables: Vec<Table> = aliases
        .iter()
        .filter(|(alias, id)| spent.tables.contains_key(&Some((*alias).clone())) || budgets.contains_key(*id))
        .map(|(alias, id)| Table {
            name: seen.who.table(alias).to_owned(),
            spent: spent.tables.get(&Some(alias.clone())).copied().unwrap_or(zero),
            budget: budgets.get(id).copied(),
        })
        .collect();
    let kit = spent.tables.get(&None).copied();
    tables.extend(kit.map(|spent| Table { name: t!("shop.for_kit").to_string(), spent, budget: None }));
    Some(Purse { spent, budget, tables })
}

#[derive(Properties, PartialEq)]
pub(super) struct PurseSheetProps {
    pub(super) purse: Rc<Purse>,
    pub(super) on_close: Callback<()>,
}

/// The money by household.
#[component]
pub(super) fn PurseSheet(props: &PurseSheetProps) -> Html {
    let Purse { spent, budget, tables } = &*props.purse;
    let is_over = |table: &Table| table.budget.is_some_and(|budget| table.spent > budget);
    html! {
        <Sheet title={t!("shop.money")} close={t!("common.close")} on_close={props.on_close.clone()}>
            <p class="shop-total"><span>{ t!("common.total") }</span><strong>{ against(spent.total, *budget) }</strong></p>
            if spent.expected.minor > 0 { <p>{ t!("shop.expected", sum = money(spent.expected)) }</p> }
            if spent.unpriced > 0 { <Notice tone={Tone::Care}>{ t!("shop.unpriced", count = spent.unpriced) }</Notice> }
            <Section title={t!("shop.by_table")}>
                <ul class="shop-sums">{ for tables.iter().map(|table| html! {
                    <li key={table.name.clone()} class={is_over(table).then_some("shop-over")}>
                        <span>{ &table.name }</span><strong>{ against(table.spent, table.budget) }</strong>
                    </li>
                }) }</ul>
            </Section>
        </Sheet>
    }
}
