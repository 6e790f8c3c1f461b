//! The price book: what food costs where, and one price more.

use std::rc::Rc;

use trug_catalog::fold;
use trug_measure::{Amount, Money};
use trug_provision::kitchen::{Kitchen, Price, Sold, StoreId};
use yew::prelude::*;

use super::form::{day, money, today};
use super::hand::use_hand;
use super::page::{Page, Tab, Wrong};
use super::swaps::{named, offered, use_food_names};
use crate::desk::kitchen::KitchenNow;
use crate::look::{Button, Choice, Empty, Field, Input, Kind, Pick, Section, Select, Shape};
use crate::place::fields::change;
use crate::place::links::Way;
use crate::words::t;

/// The most prices that are drawn; a search finds the others.
const MOST: usize = 60;

#[derive(Properties, PartialEq)]
pub(super) struct PricesProps {
    pub(super) now: Rc<KitchenNow>,
}

/// The price book, the newest first.
#[component]
pub(super) fn Prices(props: &PricesProps) -> Html {
    let search = use_state(String::new);
    let kitchen = &props.now.kitchen;
    let wanted = fold(&search);
    let mut found: Vec<&Price> =
        kitchen.prices.iter().filter(|price| fold(&price.food.text).contains(&wanted)).collect();
    found.sort_by(|a, b| b.on.cmp(&a.on).then_with(|| a.food.text.cmp(&b.food.text)));
    let count = found.len();
    let on_input = {
        let search = search.setter();
        Callback::from(move |text| search.set(text))
    };
    html! {
        <Page title={t!("price.title")} tab={Tab::Prices}>
            if kitchen.stores.is_empty() {
                <Empty title={t!("price.no_store")} icon={Shape::Basket}><Way to="week/stores" words={t!("store.title")} kind={Kind::Main} /></Empty>
            } else {
                <AddPrice now={props.now.clone()} />
                if !kitchen.prices.is_empty() {
                    <Field label={t!("price.search")} input={Input::Search} value={(*search).clone()} {on_input} />
                    <Section title={t!("price.book")} count={count.to_string()}>
                        <ul class="week-lines">
                            { for found.into_iter().take(MOST).map(|price| html! { <PriceRow price={price.clone()} store={store_name(kitchen, &price.store)} /> }) }
                        </ul>
                    </Section>
                    if count > MOST { <p class="small soft">{ t!("price.more", count = count - MOST) }</p> }
                }
            }
        </Page>
    }
}

fn store_name(kitchen: &Kitchen, id: &StoreId) -> AttrValue {
    kitchen.stores.get(id).map_or_else(|| id.to_string(), |store| store.name.clone()).into()
}

#[derive(Properties, PartialEq)]
struct PriceRowProps {
    price: Price,
    store: AttrValue,
}

/// One price, and taking it out.
#[component]
fn PriceRow(props: &PriceRowProps) -> Html {
    let hand = use_hand();
    let price = &props.price;
    let on_press = {
        let price = price.clone();
        Callback::from(move |_: MouseEvent| {
            let removed = hand.save(t!("price.removed"), |kitchen| {
                kitchen.prices.retain(|other| !is_same(other, &price));
                Ok(())
            });
            if let Err(error) = removed {
                hand.say(error);
            }
        })
    };
    let sold = match price.sold {
        Sold::Pack => t!("price.pack_of", size = price.size_text),
        Sold::Loose => t!("price.loose_by", size = price.size_text),
    };
    html! {
        <li>
            <div class="strip-between">
                <span><span class="strong">{ &price.food.text }</span>{ " " }{ sold }</span>
                <span class="strong">{ money(price.price) }</span>
            </div>
            <div class="strip-between">
                <span class="small soft">{ &props.store }{ " · " }{ day(price.on) }</span>
                <Button label={t!("common.remove")} name={Some(AttrValue::from(format!("{}: {} {}", t!("common.remove"), price.food.text, price.size_text)))} kind={Kind::Quiet} {on_press} />
            </div>
        </li>
    }
}

/// The same line of the price book, whatever places its food has in two readings of the kitchen.
fn is_same(one: &Price, other: &Price) -> bool {
    let key = |price: &Price| {
        (price.food.text.clone(), price.store.clone(), price.sold, price.size_text.clone(), price.price, price.on)
    };
    key(one) == key(other)
}

/// A price as it is written into fields.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Written {
    food: String,
    store: String,
    sold: String,
    size: String,
    price: String,
    on: String,
}

impl Written {
    fn read(&self, kitchen: &Kitchen) -> Result<Price, String> {
        let needed = |label: AttrValue| format!("{label}: {}", t!("error.needed"));
        if self.food.trim().is_empty() {
            return Err(needed(t!("dish.read_food")));
        }
        let size: Amount = self.size.parse().map_err(|_| t!("price.wrong_size", read = self.size).to_string())?;
        let price = Money::parse(self.price.trim(), kitchen.currency);
        let price = price.ok().filter(|price| price.minor > 0);
        Ok(Price {
            food: named(kitchen, &self.food),
            store: StoreId::new(&self.store),
            sold: if self.sold == "loose" { Sold::Loose } else { Sold::Pack },
            size,
            size_text: self.size.trim().to_owned(),
            price: price.ok_or_else(|| t!("error.wrong_price", read = self.price).to_string())?,
            on: self.on.parse().map_err(|_| t!("error.wrong_date", read = self.on).to_string())?,
        })
    }
}

#[derive(Properties, PartialEq)]
struct AddPriceProps {
    now: Rc<KitchenNow>,
}

/// One price more.
#[component]
fn AddPrice(props: &AddPriceProps) -> Html {
    let hand = use_hand();
    let kitchen = &props.now.kitchen;
    let foods = use_food_names(&props.now);
    let written = use_state(|| Written {
        food: String::new(),
        store: kitchen
            .usual_store
            .as_ref()
            .or(kitchen.stores.keys().next())
            .map(ToString::to_string)
            .unwrap_or_default(),
        sold: "pack".to_owned(),
        size: String::new(),
        price: String::new(),
        on: today().to_string(),
    });
    let wrong = use_state(|| None::<AttrValue>);
    let set = |put: fn(&mut Written, String)| change(&written, put);
    let choose = |put: fn(&mut Written, String)| set(put).reform(|value: AttrValue| value.to_string());
    let on_save = {
        let (written, wrong) = (written.clone(), wrong.clone());
        Callback::from(move |event: SubmitEvent| {
            event.prevent_default();
            let saved = hand.save(t!("price.saved", food = written.food.trim()), |kitchen| {
                let price = written.read(kitchen)?;
                // What is written again for the same day takes the place of what was written first.
                let same = |other: &Price| {
                    (fold(&other.food.text), &other.store, other.sold, other.size, other.on)
                        == (fold(&price.food.text), &price.store, price.sold, price.size, price.on)
                };
                kitchen.prices.retain(|other| !same(other));
                kitchen.prices.push(price);
                Ok(())
            });
            if saved.is_ok() {
                written.set(Written {
                    food: String::new(),
                    size: String::new(),
                    price: String::new(),
                    ..(*written).clone()
                });
            }
            wrong.set(saved.err());
        })
    };
    let stores = kitchen.stores.iter().map(|(id, store)| Pick::new(id.to_string(), store.name.clone()));
    let sold = vec![Pick::new("pack", t!("price.pack")), Pick::new("loose", t!("price.loose"))];
    html! {
        <form class="card stack" onsubmit={on_save}>
            <h2>{ t!("price.add") }</h2>
            <Wrong text={(*wrong).clone()} />
            <Field label={t!("dish.read_food")} value={written.food.clone()} on_input={set(|price, text| price.food = text)} suggestions={offered(&foods, &written.food)} needed={t!("error.needed")} />
            <Select label={t!("shop.store")} options={stores.collect::<Vec<_>>()} value={written.store.clone()} on_choose={choose(|price, text| price.store = text)} />
            <Choice label={t!("price.sold")} options={sold} value={written.sold.clone()} on_choose={choose(|price, text| price.sold = text)} />
            <div class="week-fields">
                <Field label={t!("price.size")} hint={Some(t!("price.size_hint"))} value={written.size.clone()} on_input={set(|price, text| price.size = text)} needed={t!("error.needed")} />
                <Field label={t!("common.price")} input={Input::Decimal} value={written.price.clone()} on_input={set(|price, text| price.price = text)} needed={t!("error.needed")} />
                <Field label={t!("common.date")} input={Input::Date} value={written.on.clone()} on_input={set(|price, text| price.on = text)} needed={t!("error.needed")} />
            </div>
            <div class="strip"><Button label={t!("price.add")} kind={Kind::Main} submit=true /></div>
        </form>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prices_are_read() {
        let mut files = trug_folder::Files::new();
        files.insert("kitchen.toml", b"name = \"K\"\n".to_vec()).unwrap();
        let kitchen = trug_folder::read(&files).unwrap();
        let text = |text: &str| text.to_owned();
        let good = Written {
            food: text("carrot"),
            store: text("s"),
            sold: text("pack"),
            size: text("2 lb"),
            price: text("2.49"),
            on: text("2026-03-04"),
        };
        let price = good.read(&kitchen).unwrap();
        assert_eq!((price.price.minor, price.sold, price.size_text.as_str()), (249, Sold::Pack, "2 lb"));
        for bad in [
            Written { food: text(" "), ..good.clone() },
            Written { size: text("big"), ..good.clone() },
            Written { price: text("0"), ..good.clone() },
            Written { price: text("1.234"), ..good.clone() },
            Written { on: text("soon"), ..good },
        ] {
            assert!(bad.read(&kitchen).is_err(), "{bad:?}");
        }
    }
}
