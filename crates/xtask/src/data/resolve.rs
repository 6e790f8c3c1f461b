//! From what a person wrote of a food and the rows that it names to the food.

use std::collections::BTreeMap;
use std::fmt::Display;
use std::str::FromStr;

use trug_catalog::{Allergen, Allergens, Food, FoodId, Measure, Part, Trim, fold};
use trug_measure::{Amount, Exact, Unit};

use super::curated::{Density, Entry, PartEntry, Place, Problem, Refuse, Weight};
use super::sr28::Sr28;

/// The sections of a store, as the catalogue knows them.
pub(super) const SECTIONS: [&str; 17] = [
    "produce",
    "bakery",
    "meat",
    "seafood",
    "deli",
    "dairy",
    "frozen",
    "grains",
    "baking",
    "nuts",
    "spices",
    "canned",
    "condiments",
    "oils",
    "snacks",
    "beverages",
    "wine",
];

/// Makes one food, gathering what is wrong with it.
pub(super) struct Resolver<'a> {
    rows: &'a Sr28,
    place: &'a Place,
    ndb: Option<u32>,
    problems: Vec<Problem>,
}

/// The food that an entry says, or everything that is wrong with it.
pub(super) fn food(rows: &Sr28, place: &Place, entry: &Entry) -> Result<Food, Vec<Problem>> {
    let mut resolver = Resolver { rows, place, ndb: entry.ndb, problems: Vec::new() };
    let food = resolver.food(entry);
    if resolver.problems.is_empty() { Ok(food) } else { Err(resolver.problems) }
}

impl Resolver<'_> {
    fn wrong(&mut self, key: &str, said: impl Display) {
        self.problems.push(self.place.problem(key, said));
    }

    fn food(&mut self, entry: &Entry) -> Food {
        self.check_words(entry);
        let mut food = Food {
            plural: entry.plural.as_ref().unwrap_or(&entry.name).clone(),
            also: sorted(&entry.also),
            ndb: entry.ndb,
            section: entry.section.clone(),
            keep: self.word("keep", &entry.keep).unwrap_or_default(),
            refuse: entry.refuse.and_then(|refuse| self.refuse(refuse)),
            trims: self.trims(entry),
            measures: self.measures("measures", &entry.measures),
            density: entry.density.as_ref().and_then(|density| self.density("density", density)),
            parts: entry.parts.iter().filter_map(|(name, part)| self.part(name, part)).collect(),
            cooked: entry.cooked.map(|number| number.0),
            drained: entry.drained.map(|number| number.0),
            allergens: self.allergens(entry),
            groups: entry.groups.iter().filter_map(|group| self.word("groups", group)).collect(),
            raw: entry.raw.as_ref().and_then(|kind| self.word("raw", kind)),
            packs: entry.packs.iter().filter_map(|pack| self.word("packs", pack)).collect(),
            enough: entry.enough.map(|number| number.0),
            never_bought: entry.never_bought,
            ..Food::named(FoodId::new(self.place.food()), &entry.name)
        };
        food.settle_groups();
        food
    }

    fn check_words(&mut self, entry: &Entry) {
        let id = self.place.food().to_owned();
        let kebab = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        if id.is_empty() || !id.chars().all(kebab) {
            self.wrong("", format_args!("the id is `{id}`; write it in kebab-case, such as olive-oil"));
        }
        if !SECTIONS.contains(&entry.section.as_str()) {
            self.wrong("section", format_args!("read `{}`; one of {}", entry.section, SECTIONS.join(", ")));
        }
        if let Some(ndb) = entry.ndb.filter(|ndb| self.rows.food(*ndb).is_none()) {
            self.wrong("ndb", missing(ndb));
        }
        let parts = entry.parts.iter().flat_map(|(name, part)| std::iter::once(name).chain(&part.also));
        let names = entry.also.iter().chain(&entry.plural).chain(std::iter::once(&entry.name)).chain(parts);
        for name in names {
            // These part the cells of the table; no name of a food has them.
            if name.trim().is_empty() || name.contains([';', ':', ',', '|', '=', '\t', '\n']) {
                self.wrong("name", format_args!("read `{name}`; a name has words, and none of ; : , | ="));
            }
        }
    }

    fn word<T>(&mut self, key: &str, word: &str) -> Option<T>
    where
        T: FromStr,
        T::Err: Display,
    {
        word.parse().inspect_err(|error| self.problems.push(self.place.problem(key, error))).ok()
    }

    fn refuse(&mut self, refuse: Refuse) -> Option<Exact> {
        if let Refuse::Percent(percent) = refuse {
            return Some(percent);
        }
        let row = self.ndb.map(|ndb| self.rows.food(ndb));
        let percent = row.flatten().and_then(|row| row.refuse);
        let description = match row {
            Some(None) => return None,
            Some(Some(row)) => &row.description,
            None => "the food has no ndb",
        };
        if percent.is_none() {
            let said =
                format_args!("read \"sr\", but none is recorded ({description}); write a percentage and its source");
            self.wrong("refuse", said);
        }
        percent
    }

    fn trims(&mut self, entry: &Entry) -> Vec<Trim> {
        let trim = |(prep, refuse): (&String, &super::curated::Number)| Trim { prep: fold(prep), refuse: refuse.0 };
        entry.trims.iter().map(trim).collect()
    }

    fn measures(&mut self, key: &str, measures: &BTreeMap<String, Weight>) -> Vec<Measure> {
        let mut measures: Vec<_> = measures
            .iter()
            .filter_map(|(name, weight)| self.measure(&format!("{key}, \"{name}\""), name, *weight))
            .collect();
        measures.sort_by_cached_key(|measure| (measure.unit, measure.words.clone()));
        for pair in measures.windows(2) {
            if let [a, b] = pair
                && (a.unit, &a.words) == (b.unit, &b.words)
            {
                self.wrong(key, format_args!("`{} {}` is there twice", a.unit, a.words.join(" ")));
            }
        }
        // Equal weights side by side share their figure in the table.
        measures.sort_by_key(|measure| measure.grams);
        measures
    }

    fn measure(&mut self, key: &str, name: &str, weight: Weight) -> Option<Measure> {
        let (unit, words) = name.split_once(' ').unwrap_or((name, ""));
        let unit: Unit = self.word(key, unit)?;
        if matches!(unit, Unit::Mass(_)) {
            self.wrong(key, "a measure is a volume or a count; what a gram weighs is known");
        }
        let grams = self.weight(key, weight)?;
        let words = fold(words).split(' ').filter(|word| !word.is_empty()).map(str::to_owned).collect();
        Some(Measure { unit, words, grams })
    }

    fn weight(&mut self, key: &str, weight: Weight) -> Option<Exact> {
        let (ndb, seq) = match weight {
            Weight::Grams(grams) => return Some(grams),
            Weight::Of(ndb, seq) => (ndb, seq),
            Weight::Own(seq) => match self.ndb {
                Some(ndb) => (ndb, seq),
                None => {
                    self.wrong(
                        key,
                        format_args!("read the seq {seq}, but the food has no ndb; write grams with a point"),
                    );
                    return None;
                }
            },
        };
        let row = self.rows.measure(ndb, seq);
        if row.is_none() && self.rows.food(ndb).is_some() {
            let has = self.rows.measures_of(ndb);
            self.wrong(key, format_args!("row {ndb:05} has no measure {seq}; it has: {has}"));
        } else if row.is_none() && self.ndb != Some(ndb) {
            self.wrong(key, missing(ndb));
        }
        row.map(|row| row.grams)
    }

    /// g/ml to five decimals: within 5 mg a litre, and figures that stay short.
    fn density(&mut self, key: &str, density: &Density) -> Option<Exact> {
        const SCALE: Exact = Exact::whole(100_000);
        let (unit, weight) = match density {
            Density::Given(density) => return Some(*density),
            Density::Weighed(unit, weight) => (self.word(key, unit)?, self.weight(key, *weight)?),
        };
        let Some(volume) = Amount::new(Exact::ONE, unit).milliliters() else {
            self.wrong(key, format_args!("read `{unit}`; a density is weighed by a unit of volume"));
            return None;
        };
        Some(Exact::new((weight / volume * SCALE).round(), SCALE.numerator()))
    }

    fn part(&mut self, name: &str, part: &PartEntry) -> Option<Part> {
        let key = format!("parts.{name}");
        Some(Part {
            name: name.to_owned(),
            measures: self.measures(&format!("{key}.measures"), &part.measures),
            density: part.density.as_ref().and_then(|density| self.density(&format!("{key}.density"), density)),
            also: part.also.clone(),
            own_name: part.own_name,
            whole: self.weight(&format!("{key}.whole"), part.whole)?,
        })
    }

    fn allergens(&mut self, entry: &Entry) -> Allergens {
        let vary = entry.allergens_vary;
        let Some(words) = &entry.allergens else {
            if vary {
                self.wrong(
                    "allergens_vary",
                    "is set, but `allergens` is not; write the kinds that are certain, or leave both out",
                );
            }
            return Allergens::NotRecorded;
        };
        let mut kinds: Vec<_> = words.iter().filter_map(|kind| self.word("allergens", kind)).collect();
        kinds.sort_unstable();
        kinds.dedup();
        if kinds.contains(&Allergen::TreeNut) {
            // A chef may not know which nut a paste has; the catalogue has to.
            self.wrong("allergens", "says a tree nut, but not which; write the kind, such as almond");
        }
        Allergens::Recorded { kinds, vary }
    }
}

fn sorted(names: &[String]) -> Vec<String> {
    let mut names = names.to_vec();
    names.sort_unstable();
    names
}

/// What is said of a row that is not there.
fn missing(ndb: u32) -> String {
    format!(
        "read {ndb}; there is no such row. Where it is new here, give the full release: cargo xtask data --source DIR"
    )
}

/// The numbers of all rows that an entry names.
pub(super) fn rows_named(entry: &Entry) -> Vec<u32> {
    let parts = entry.parts.values();
    let densities = parts.clone().filter_map(|part| part.density.as_ref()).chain(&entry.density);
    let weighed = densities.filter_map(|density| match density {
        Density::Weighed(_, weight) => Some(weight),
        Density::Given(_) => None,
    });
    let of_parts = parts.flat_map(|part| std::iter::once(&part.whole).chain(part.measures.values()));
    let weights = entry.measures.values().chain(of_parts).chain(weighed);
    let others = weights.filter_map(|weight| match weight {
        Weight::Of(ndb, _) => Some(*ndb),
        Weight::Own(_) | Weight::Grams(_) => None,
    });
    others.chain(entry.ndb).collect()
}
