//! `prices.csv` and `pantries/<id>.csv`.

use std::collections::HashMap;

use chrono::NaiveDate;
use trug_catalog::Catalog;
use trug_measure::{Amount, Currency, Exact, Money, Unit};
use trug_provision::kitchen::{Item, Lot, Price, Sold, StoreId};
use trug_provision::names::Names;

use crate::csv::{self, Row};
use crate::near::Near;
use crate::page::Page;
use crate::problem::What;
use crate::read::Ids;
use crate::table::date;

/// The price book's columns.
const PRICES: [&str; 6] = ["food", "store", "sold", "size", "price", "on"];
/// The price book's header.
pub(crate) const PRICES_HEADER: &str = "food,store,sold,size,price,on";
/// A pantry's columns.
const LOTS: [&str; 4] = ["food", "amount", "keep", "use_by"];
/// A pantry's header.
pub(crate) const LOTS_HEADER: &str = "food,amount,keep,use_by";
/// The words of `sold`.
pub(crate) const SOLD: [(&str, Sold); 2] = [("pack", Sold::Pack), ("loose", Sold::Loose)];

/// What may have one price a day.
type Priced = (Item, StoreId, Sold, (Exact, Unit), NaiveDate);

/// Reads the price book.
pub(crate) fn prices(
    text: &str,
    page: &mut Page<'_>,
    ids: &Ids,
    currency: Option<Currency>,
    names: &mut Names,
) -> Vec<Price> {
    let mut prices = Vec::new();
    let mut seen: HashMap<Priced, u32> = HashMap::new();
    csv::read(text, &PRICES, PRICES_HEADER, page, |row, page| {
        let Some(price) = price(row, page, ids, currency, names) else { return };
        let key =
            (price.food.item.clone(), price.store.clone(), price.sold, (price.size.value, price.size.unit), price.on);
        let first = *seen.entry(key).or_insert(row.line);
        if first != row.line {
            let (food, size) = (price.food.text.clone(), price.size_text.clone());
            let what = What::TwoPrices { food, size, store: price.store.to_string(), on: price.on, other: first };
            page.line(row.line, what);
        }
        prices.push(price);
    });
    prices
}

fn price(
    row: &Row<'_>,
    page: &mut Page<'_>,
    ids: &Ids,
    currency: Option<Currency>,
    names: &mut Names,
) -> Option<Price> {
    let food = filled(row, 0, "food", page);
    let store = filled(row, 1, "store", page).and_then(|id| ids.store_named(id, page, row.line));
    let sold = filled(row, 2, "sold", page).and_then(|word| sold(word, row.line, page));
    let size = filled(row, 3, "size", page);
    let amount = size.and_then(|text| amount(text, row.line, page));
    let price = filled(row, 4, "price", page).zip(currency).and_then(|(text, currency)| {
        let money = Money::parse(text, currency).map_err(|error| page.line(row.line, error)).ok()?;
        if money.minor == 0 {
            page.line(row.line, What::NoPrice(text.to_owned()));
        }
        Some(money)
    });
    let on = filled(row, 5, "on", page).and_then(|text| day(text, row.line, page));
    Some(Price {
        food: names.named_food(food?),
        store: store?,
        sold: sold?,
        size: amount?,
        size_text: size?.to_owned(),
        price: price?,
        on: on?,
    })
}

/// Reads a pantry. A lot without an amount is "there is enough"; one without a way of keeping is kept as the catalogue
/// says.
pub(crate) fn lots(text: &str, page: &mut Page<'_>, names: &mut Names) -> Vec<Lot> {
    let mut lots = Vec::new();
    csv::read(text, &LOTS, LOTS_HEADER, page, |row, page| lots.extend(lot(row, page, names)));
    lots
}

fn lot(row: &Row<'_>, page: &mut Page<'_>, names: &mut Names) -> Option<Lot> {
    let food = filled(row, 0, "food", page).map(|food| names.named_food(food));
    let amount_text = row.field(1);
    let amount = (!amount_text.is_empty()).then(|| amount(amount_text, row.line, page));
    let keep = match row.field(2) {
        "" => food.as_ref().map(|food| usual_keep(&food.item, names.catalog())),
        word => word.parse().map_err(|error: trug_catalog::UnknownKeep| page.line(row.line, error)).ok(),
    };
    let use_by = (!row.field(3).is_empty()).then(|| day(row.field(3), row.line, page));
    Some(Lot {
        food: food?,
        amount: flat(amount)?,
        amount_text: amount_text.to_owned(),
        keep: keep?,
        use_by: flat(use_by)?,
    })
}

/// Nothing written is fine, something written that cannot be read is not.
fn flat<T>(written: Option<Option<T>>) -> Option<Option<T>> {
    match written {
        None => Some(None),
        Some(None) => None,
        Some(Some(value)) => Some(Some(value)),
    }
}

fn usual_keep(item: &Item, catalog: &Catalog) -> trug_catalog::Keep {
    match item {
        Item::Food(found) => catalog.get(found.food).keep,
        Item::Dish(_) => trug_catalog::Keep::Chilled,
    }
}

fn filled<'r>(row: &'r Row<'_>, column: usize, name: &'static str, page: &mut Page<'_>) -> Option<&'r str> {
    let text = row.field(column);
    if text.is_empty() {
        page.line(row.line, What::EmptyField(name));
        return None;
    }
    Some(text)
}

fn sold(word: &str, line: u32, page: &mut Page<'_>) -> Option<Sold> {
    let found = SOLD.iter().find(|(name, _)| *name == word).map(|(_, sold)| *sold);
    if found.is_none() {
        let near = Near::new(word, SOLD.iter().map(|(name, _)| *name));
        page.line(line, What::NotOneOf { key: "sold".to_owned(), read: word.to_owned(), near });
    }
    found
}

fn amount(text: &str, line: u32, page: &mut Page<'_>) -> Option<Amount> {
    crate::table::amount(text).map_err(|error| page.line(line, error)).ok()
}

fn day(text: &str, line: u32, page: &mut Page<'_>) -> Option<NaiveDate> {
    let day = date(text);
    if day.is_none() {
        page.line(line, What::BadDate(crate::table::start_of(text)));
    }
    day
}
