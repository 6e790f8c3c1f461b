//! Writing a kitchen as the files of a folder, always in the same form.

mod foods;
mod toml;

use trug_catalog::Catalog;
use trug_measure::Exact;
use trug_provision::kitchen::{
    Dish, DishPart, DishSource, Household, Kitchen, Lot, Price, ServiceDish, ServingSize, Store, Swap, Week,
};

use self::toml::{Toml, inline_table, text};
use crate::csv::write_field;
use crate::dish::{write_makes, write_serves};
use crate::files::Files;
use crate::kitchen::{REGIMES, UNITS};
use crate::lists::{LOTS_HEADER, PRICES_HEADER, SOLD};

/// Writes a kitchen. Reading what is written gives a kitchen of the same meaning; comments of files that were read are
/// not kept, recipes in JSON-LD are kept to the letter.
#[must_use]
pub fn write(kitchen: &Kitchen) -> Files {
    let mut files = Files::new();
    files.put("kitchen.toml".to_owned(), head(kitchen));
    for (id, household) in &kitchen.households {
        files.put(format!("households/{id}.toml"), write_household(household));
    }
    for (id, dish) in &kitchen.dishes {
        let ending = if matches!(dish.source, DishSource::JsonLd(_)) { "json" } else { "md" };
        files.put(format!("dishes/{id}.{ending}"), write_dish(dish, &kitchen.catalog));
    }
    for (id, week) in &kitchen.weeks {
        files.put(format!("weeks/{id}.toml"), write_week(week));
    }
    for (id, store) in &kitchen.stores {
        files.put(format!("stores/{id}.toml"), write_store(store));
    }
    for (id, lots) in &kitchen.pantries {
        files.put(format!("pantries/{id}.csv"), write_lots(lots));
    }
    if !kitchen.prices.is_empty() {
        files.put("prices.csv".to_owned(), write_prices(&kitchen.prices));
    }
    if let Some(foods) = foods::write(&kitchen.catalog) {
        files.put("foods.toml".to_owned(), foods);
    }
    files
}

/// The word for a value of a short list.
fn word<T: PartialEq>(words: &[(&'static str, T)], value: &T) -> &'static str {
    words.iter().find(|(_, meaning)| meaning == value).map_or("", |(word, _)| word)
}

/// A number as data has it: a decimal where that is exact, else a fraction.
pub(crate) fn number(value: Exact) -> String {
    const PLACES: u32 = 12;
    let (above, below) = (value.numerator(), value.denominator());
    for places in 0..=PLACES {
        let Some(scaled) = above.checked_mul(10_i128.pow(places)) else { break };
        if scaled % below == 0 {
            return decimal(scaled / below, places as usize);
        }
    }
    format!("{above}/{below}")
}

fn decimal(scaled: i128, places: usize) -> String {
    let sign = if scaled < 0 { "-" } else { "" };
    let digits = format!("{:0>width$}", scaled.unsigned_abs(), width = places + 1);
    let (whole, part) = digits.split_at(digits.len() - places);
    if places == 0 { format!("{sign}{whole}") } else { format!("{sign}{whole}.{part}") }
}

fn head(kitchen: &Kitchen) -> String {
    let mut toml = Toml::default();
    toml.text("name", &kitchen.name);
    toml.text("currency", kitchen.currency.code());
    toml.text("units", word(&UNITS, &kitchen.units));
    toml.text("allergens", word(&REGIMES, &kitchen.regime));
    toml.text_if("kit", kitchen.kit.as_ref());
    toml.text_if("store", kitchen.usual_store.as_ref());
    toml.finish()
}

fn write_household(household: &Household) -> String {
    let mut toml = Toml::default();
    toml.text("name", &household.name);
    toml.text_if("short", household.short.as_ref());
    toml.text_if("budget", household.budget.as_ref());
    toml.text_if("pantry", household.pantry.as_ref());
    if household.separate {
        toml.raw("separate", "true");
    }
    write_swaps(&mut toml, &household.swaps);
    for diner in &household.diners {
        toml.table("[[diner]]");
        toml.text("name", &diner.name);
        if diner.portion != Exact::ONE {
            toml.number("portion", diner.portion);
        }
        toml.texts_if("allergies", &diner.allergies);
        toml.texts_if("avoid", &diner.avoid);
        toml.texts_if("diet", &diner.diet);
    }
    toml.finish()
}

fn write_swaps(toml: &mut Toml, swaps: &[Swap]) {
    let to = |swap: &Swap| {
        if swap.ratio == Exact::ONE {
            return text(&swap.to.text);
        }
        format!("{{ to = {}, ratio = {} }}", text(&swap.to.text), toml::number_value(swap.ratio))
    };
    if !swaps.is_empty() {
        toml.raw("swap", &inline_table(swaps.iter().map(|swap| (swap.from.text.as_str(), to(swap)))));
    }
}

fn write_week(week: &Week) -> String {
    // An empty text is no file where texts are kept without a folder, and a week without services is a week.
    if week.services.is_empty() {
        return "# No services yet.\n".to_owned();
    }
    let mut toml = Toml::default();
    for service in &week.services {
        toml.table("[[service]]");
        toml.text("household", service.household.as_str());
        toml.raw("shop", &service.shop.to_string());
        toml.raw("cook", &service.cook.to_string());
        for dish in &service.dishes {
            write_service_dish(&mut toml, dish);
        }
    }
    toml.finish()
}

fn write_service_dish(toml: &mut Toml, dish: &ServiceDish) {
    toml.table("[[service.dish]]");
    toml.text("dish", dish.dish.as_str());
    match dish.size {
        ServingSize::Meals(meals) => toml.number("meals", meals),
        ServingSize::Portions(portions) => toml.number("portions", portions),
    }
    if let Some(diners) = &dish.diners {
        toml.texts_if("for", diners);
    }
    write_swaps(toml, &dish.swaps);
}

fn write_store(store: &Store) -> String {
    let mut toml = Toml::default();
    toml.text("name", &store.name);
    toml.texts_if("sections", &store.sections);
    if !store.shelf.is_empty() {
        toml.table("[shelf]");
        for (food, section) in &store.shelf {
            toml.text(&food.text, section);
        }
    }
    toml.finish()
}

/// Fields of a record, quoted where they must be.
fn record<const N: usize>(fields: [&str; N]) -> String {
    fields.map(write_field).join(",")
}

/// What was written, or what it says where nothing was.
fn written(text: &str, else_say: impl FnOnce() -> String) -> String {
    if text.is_empty() { else_say() } else { text.to_owned() }
}

fn amount_text(amount: trug_measure::Amount) -> String {
    format!("{} {}", number(amount.value), amount.unit)
}

fn write_prices(prices: &[Price]) -> String {
    let mut out = format!("{PRICES_HEADER}\n");
    for price in prices {
        let size = written(&price.size_text, || amount_text(price.size));
        let (cost, on) = (price.price.to_string(), price.on.to_string());
        let fields = [&price.food.text, price.store.as_str(), word(&SOLD, &price.sold), &size, &cost, &on];
        out.push_str(&record(fields));
        out.push('\n');
    }
    out
}

fn write_lots(lots: &[Lot]) -> String {
    let mut out = format!("{LOTS_HEADER}\n");
    for lot in lots {
        let amount = lot.amount.map(|amount| written(&lot.amount_text, || amount_text(amount))).unwrap_or_default();
        let use_by = lot.use_by.map(|day| day.to_string()).unwrap_or_default();
        out.push_str(&record([&lot.food.text, &amount, lot.keep.name(), &use_by]));
        out.push('\n');
    }
    out
}

/// Writes a dish: a recipe as text, or the JSON-LD that it was read from. The catalogue is the kitchen's own, with which
/// its lines were read.
#[must_use]
pub fn write_dish(dish: &Dish, catalog: &Catalog) -> String {
    if let DishSource::JsonLd(text) = &dish.source {
        return text.clone();
    }
    let mut out = format!("# {}\n\n", one_line(&dish.title));
    for line in [dish.serves.map(write_serves), dish.makes.as_ref().map(write_makes)].into_iter().flatten() {
        out.push_str(&line);
        out.push('\n');
    }
    for (key, value) in &dish.notes {
        out.push_str(format!("{}: {}", one_line(key), one_line(value)).trim_end());
        out.push('\n');
    }
    out.push_str("\n## Ingredients\n");
    for (at, part) in dish.parts.iter().enumerate() {
        write_part(&mut out, part, at == 0, catalog);
    }
    if !dish.method.trim().is_empty() {
        out.push_str("\n## Method\n\n");
        out.push_str(&method(&dish.method));
    }
    out
}

/// A text without ends of line and without spaces at its ends, as reading a line gives it.
fn one_line(text: &str) -> String {
    text.replace(['\n', '\r'], " ").trim().to_owned()
}

fn write_part(out: &mut String, part: &DishPart, first: bool, catalog: &Catalog) {
    let heading = part.heading.as_deref().map(one_line);
    if heading.is_some() || !first {
        out.push_str(format!("\n### {}", heading.unwrap_or_default()).trim_end_matches(' '));
        out.push('\n');
    }
    out.push('\n');
    let mut lines = part.lines.iter().map(|ingredient| &ingredient.line).peekable();
    while let Some(line) = lines.next() {
        let raw = one_line(&line.raw);
        // Several foods that were read from one line are written as that one line.
        for _ in 1..foods_in(&raw, catalog) {
            let _ = lines.next_if(|next| one_line(&next.raw) == raw);
        }
        out.push_str(&format!("- {raw}\n"));
    }
}

/// How many ingredients a line is read as.
fn foods_in(raw: &str, catalog: &Catalog) -> usize {
    let mut count = 1;
    let mut line = catalog.read(raw);
    while let Some(other) = line.and.take() {
        count += 1;
        line = *other;
    }
    count
}

/// The method, in which only what is kept of other sections may look like a section.
fn method(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 1);
    for line in text.trim_matches('\n').lines() {
        let name = line.strip_prefix("##").filter(|rest| !rest.starts_with('#')).map(|rest| rest.trim().to_lowercase());
        if name.is_some_and(|name| matches!(name.trim_end_matches([':', '#', ' ']), "ingredients" | "method")) {
            out.push('#');
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers() {
        for (above, below, want) in
            [(1, 1, "1"), (1, 2, "0.5"), (-5, 4, "-1.25"), (1, 3, "1/3"), (7, 1000, "0.007"), (0, 1, "0")]
        {
            assert_eq!(number(Exact::new(above, below)), want);
        }
    }
}
