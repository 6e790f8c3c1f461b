//! Writing the chef's own foods: of a catalogue food only what differs from it.

use trug_catalog::{Allergens, Catalog, Food, FoodId, Measure, fold};
use trug_measure::{Exact, Unit};

use super::amount_text;
use super::toml::{Toml, inline_table, list, number_value};
use crate::foods::{of_unit, replace_allergens};

/// foods.toml, where there are own foods.
pub(super) fn write(catalog: &Catalog) -> Option<String> {
    let mut own: Vec<&Food> = catalog.foods().map(|(_, food)| food).filter(|food| food.own).collect();
    if own.is_empty() {
        return None;
    }
    own.sort_by(|a, b| a.id.cmp(&b.id));
    let mut toml = Toml::default();
    for food in own {
        write_food(&mut toml, food);
    }
    Some(toml.finish())
}

fn write_food(toml: &mut Toml, food: &Food) {
    let id = food.id.as_str();
    toml.table(&format!("[food.{id}]"));
    let builtin = Catalog::builtin();
    match builtin.by_id(id) {
        Some(at) => write_differences(toml, food, builtin.get(at)),
        None => {
            // The name is written even where it is the id's words, since without it another food of that name would be
            // what the entry starts from.
            toml.text("name", &food.name);
            write_differences(
                toml,
                food,
                &Food { plural: food.name.clone(), ..Food::named(FoodId::new(id), &food.name) },
            );
        }
    }
}

fn write_differences(toml: &mut Toml, food: &Food, base: &Food) {
    if food.name != base.name {
        toml.text("name", &food.name);
    }
    let plural = if food.name == base.name { &base.plural } else { &food.name };
    if food.plural != *plural {
        toml.text("plural", &food.plural);
    }
    let new_name = |name: &&String| base.also.iter().all(|other| fold(other) != fold(name));
    toml.texts_if("also", &food.also.iter().filter(new_name).cloned().collect::<Vec<_>>());
    if food.section != base.section {
        toml.text("section", &food.section);
    }
    if food.keep != base.keep {
        toml.text("keep", food.keep.name());
    }
    write_figures(toml, food, base);
    write_contents(toml, food, base);
    if food.packs != base.packs {
        let packs: Vec<String> = food.packs.iter().map(|pack| amount_text(*pack)).collect();
        toml.raw("packs", &list(packs.iter().map(String::as_str)));
    }
    number_if(toml, "enough", food.enough, base.enough);
}

fn number_if(toml: &mut Toml, key: &str, value: Option<Exact>, base: Option<Exact>) {
    if let Some(value) = value.filter(|_| value != base) {
        toml.number(key, value);
    }
}

fn write_figures(toml: &mut Toml, food: &Food, base: &Food) {
    let changed = |unit: Unit| of_unit(&food.measures, unit) != of_unit(&base.measures, unit);
    let own: Vec<&Measure> = food.measures.iter().filter(|measure| changed(measure.unit)).collect();
    if !own.is_empty() {
        let keys: Vec<String> = own.iter().map(|measure| measure_key(measure)).collect();
        let values = own.iter().map(|measure| number_value(measure.grams));
        toml.raw("grams", &inline_table(keys.iter().map(String::as_str).zip(values)));
    }
    number_if(toml, "density", food.density, base.density);
    // A refuse that is the catalogue's figure still does away with the catalogue's figures for single preps.
    let base_refuse = base.refuse.filter(|_| food.trims == base.trims);
    number_if(toml, "refuse", food.refuse, base_refuse);
    number_if(toml, "cooked", food.cooked, base.cooked);
    number_if(toml, "drained", food.drained, base.drained);
}

fn measure_key(measure: &Measure) -> String {
    let unit = [measure.unit.symbol()];
    unit.into_iter().chain(measure.words.iter().map(String::as_str)).collect::<Vec<_>>().join(" ")
}

fn write_contents(toml: &mut Toml, food: &Food, base: &Food) {
    let mut expected = base.clone();
    if let Allergens::Recorded { kinds, .. } = &food.allergens
        && (&food.allergens, &food.other_allergens) != (&base.allergens, &base.other_allergens)
    {
        let others = food.other_allergens.iter().cloned();
        let words: Vec<String> = kinds.iter().map(|kind| kind.name().to_owned()).chain(others).collect();
        toml.raw("allergens", &list(words.iter().map(String::as_str)));
        replace_allergens(&mut expected, &words);
    }
    if (&food.groups, &food.other_groups) != (&expected.groups, &expected.other_groups) {
        let groups = food.groups.iter().map(|group| group.name());
        toml.raw("groups", &list(groups.chain(food.other_groups.iter().map(String::as_str))));
    }
    if let Some(raw) = food.raw.filter(|_| food.raw != base.raw) {
        toml.text("raw", raw.name());
    }
}
