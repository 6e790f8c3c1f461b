//! The guard: each diner's allergies, avoidances and diets against every food that the diner eats.
//!
//! A catalogued food is judged by what it is: its allergens, its groups, its id; never by a word in its name, since
//! coconut milk is no milk. Only a food that nobody has described is judged by its words, and said to be. What is not
//! recorded is never taken as absent.

use trug_catalog::{Allergen, Allergens, Catalog, Food, FoodIx, Group, RawKind, Regime, fold};

use crate::demand::{Demand, eats};
use crate::kitchen::{Diner, DishId, HouseholdId, Kitchen, Service};

/// What kind of wish a conflict is with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ConflictKind {
    /// An allergy: an alert, never a footnote.
    Allergy,
    /// A dislike or a choice.
    Avoid,
    /// A diet.
    Diet,
}

impl ConflictKind {
    /// The word that data has for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Allergy => "allergy",
            Self::Avoid => "avoid",
            Self::Diet => "diet",
        }
    }
}

/// A food of a dish that one who eats it should not have.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Conflict {
    /// At whose table.
    pub household: HouseholdId,
    /// In which dish.
    pub dish: DishId,
    /// Which food.
    pub food: FoodIx,
    /// What the diner has asked for, in the chef's words: `peanuts`, `vegetarian`.
    pub what: String,
    /// What kind of wish that is.
    pub kind: ConflictKind,
    /// Who.
    pub diner: String,
    /// Nobody has described the food: it is judged by its name only.
    pub by_name: bool,
}

/// A food whose allergens are not recorded in full, in a dish that somebody with an allergy eats.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct NotRecorded {
    /// At whose table.
    pub household: HouseholdId,
    /// In which dish.
    pub dish: DishId,
    /// Which food.
    pub food: FoodIx,
    /// The diner's allergy.
    pub what: String,
    /// Who.
    pub diner: String,
    /// The food's name has a word that suggests the allergen: a reason to look twice.
    pub suggested: bool,
}

/// What the guard found in a week.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Guarded {
    /// The conflicts, each once, in order.
    pub conflicts: Vec<Conflict>,
    /// What is not recorded, each once, in order.
    pub not_recorded: Vec<NotRecorded>,
    /// Words of diners that name no allergen, group, diet or food known here.
    pub unknown_words: Vec<(HouseholdId, String, String)>,
}

/// What a diner's word asks a food not to be.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
struct Wish {
    kinds: Vec<Allergen>,
    groups: Vec<Group>,
    raw: Option<RawKind>,
    food: Option<FoodIx>,
    /// The diner's own word, folded.
    key: Option<String>,
    /// Folded words by which an undescribed food is judged.
    words: Vec<String>,
}

/// Guards a week's demands.
#[must_use]
pub fn guard(kitchen: &Kitchen, services: &[&Service], demands: &[Demand<'_>]) -> Guarded {
    let mut found = Guarded::default();
    let mut foods: Vec<(usize, usize, FoodIx)> = demands.iter().map(|d| (d.service, d.served, d.food)).collect();
    foods.sort_unstable();
    foods.dedup();
    for own in foods.chunk_by(|a, b| a.0 == b.0) {
        let service = own.first().and_then(|(at, ..)| services.get(*at));
        let Some(service) = service else { continue };
        let Some(household) = kitchen.households.get(&service.household) else { continue };
        for diner in &household.diners {
            let wishes = wishes(kitchen, &service.household, diner, &mut found);
            if wishes.is_empty() {
                continue;
            }
            for (_, served, food) in own {
                let Some(served) = service.dishes.get(*served).filter(|served| eats(served, &diner.name)) else {
                    continue;
                };
                let place =
                    Place { household: &service.household, dish: &served.dish, food: *food, diner: &diner.name };
                judge(kitchen, &place, &wishes, &mut found);
            }
        }
    }
    settle(&kitchen.catalog, &mut found);
    found
}

/// In an order that does not depend on the order of any file: foods by id, since their places do.
fn settle(catalog: &Catalog, found: &mut Guarded) {
    let id = |food: FoodIx| catalog.get(food).id.as_str();
    found.conflicts.sort_by(|a, b| {
        let key = |c: &Conflict| (c.household.clone(), c.dish.clone(), c.kind, c.what.clone(), c.diner.clone());
        (key(a), id(a.food)).cmp(&(key(b), id(b.food)))
    });
    found.conflicts.dedup();
    found.not_recorded.sort_by(|a, b| {
        let key = |m: &NotRecorded| (m.household.clone(), m.dish.clone(), m.what.clone(), m.diner.clone());
        (key(a), id(a.food)).cmp(&(key(b), id(b.food)))
    });
    found.not_recorded.dedup();
    found.unknown_words.sort();
    found.unknown_words.dedup();
}

/// Whether a food meets a diner's word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meets {
    /// It is, or contains, what the word says.
    Contains,
    /// As [`Contains`](Self::Contains), but judged by its name only: nobody has described the food.
    ByName,
    /// What it contains is not recorded, so nobody can say.
    NotRecorded,
    /// Nothing recorded of it meets the word. The label comes first all the same.
    Unmet,
}

/// Judges one food against one word of a diner: for a sub, which no dish asks for.
#[must_use]
pub fn meets(catalog: &Catalog, regime: Regime, kind: ConflictKind, word: &str, ix: FoodIx) -> Meets {
    let food = catalog.get(ix);
    let asked = match kind {
        ConflictKind::Diet => diet(word),
        _ => Some(wish(catalog, regime, word)),
    };
    match asked {
        Some(asked) if asked.is(food, ix) && !food.described => Meets::ByName,
        Some(asked) if asked.is(food, ix) => Meets::Contains,
        _ if !food.described || food.allergens.is_open() => Meets::NotRecorded,
        _ => Meets::Unmet,
    }
}

struct Place<'a> {
    household: &'a HouseholdId,
    dish: &'a DishId,
    food: FoodIx,
    diner: &'a str,
}

/// A diner's wishes: the kind, the chef's word, and what it asks.
fn wishes(
    kitchen: &Kitchen,
    household: &HouseholdId,
    diner: &Diner,
    found: &mut Guarded,
) -> Vec<(ConflictKind, String, Wish)> {
    let mut wishes = Vec::new();
    let lists = [
        (ConflictKind::Allergy, &diner.allergies),
        (ConflictKind::Avoid, &diner.avoid),
        (ConflictKind::Diet, &diner.diet),
    ];
    for (kind, words) in lists {
        for word in words {
            let wish = match kind {
                ConflictKind::Diet => diet(word),
                _ => Some(wish(&kitchen.catalog, kitchen.regime, word)),
            };
            match wish {
                Some(wish) => {
                    if wish.is_words_only() {
                        found.unknown_words.push((household.clone(), diner.name.clone(), word.clone()));
                    }
                    wishes.push((kind, word.clone(), wish));
                }
                None => found.unknown_words.push((household.clone(), diner.name.clone(), word.clone())),
            }
        }
    }
    wishes
}

fn judge(kitchen: &Kitchen, place: &Place<'_>, wishes: &[(ConflictKind, String, Wish)], found: &mut Guarded) {
    let food = kitchen.catalog.get(place.food);
    for (kind, what, wish) in wishes {
        if wish.is(food, place.food) {
            found.conflicts.push(Conflict {
                household: place.household.clone(),
                dish: place.dish.clone(),
                food: place.food,
                what: what.clone(),
                kind: *kind,
                diner: place.diner.to_owned(),
                by_name: !food.described,
            });
        } else if *kind == ConflictKind::Allergy && food.allergens.is_open() {
            found.not_recorded.push(NotRecorded {
                household: place.household.clone(),
                dish: place.dish.clone(),
                food: place.food,
                what: what.clone(),
                diner: place.diner.to_owned(),
                suggested: wish.suggested_by(food),
            });
        }
    }
}

impl Wish {
    fn is(&self, food: &Food, ix: FoodIx) -> bool {
        if !food.described {
            return self.food == Some(ix) || self.suggested_by(food);
        }
        let kinds = food.allergens.kinds();
        self.kinds.iter().any(|kind| kinds.contains(kind))
            || (kinds.contains(&Allergen::TreeNut) && self.kinds.iter().any(|kind| kind.is_tree_nut(Regime::Us)))
            || self.is_among(&food.other_allergens)
            || self.is_among(&food.other_groups)
            || self.groups.iter().any(|group| food.groups.contains(group))
            || (self.raw.is_some() && food.raw == self.raw)
            || self.food == Some(ix)
    }

    /// Whether the chef has recorded the very word.
    fn is_among(&self, recorded: &[String]) -> bool {
        recorded.iter().any(|word| self.key.as_ref().is_some_and(|key| *key == fold(word)))
    }

    fn suggested_by(&self, food: &Food) -> bool {
        let name = fold(&food.name);
        let padded = format!(" {name} ");
        self.words.iter().any(|word| padded.contains(&format!(" {word} ")))
    }

    fn is_words_only(&self) -> bool {
        self.kinds.is_empty() && self.groups.is_empty() && self.raw.is_none() && self.food.is_none()
    }
}

/// What a word for an allergy or an avoidance asks.
fn wish(catalog: &Catalog, regime: Regime, word: &str) -> Wish {
    let key = fold(word);
    let key = key.strip_prefix("all ").unwrap_or(&key);
    let key = key.strip_suffix(" allergy").unwrap_or(key);
    let mut wish = broad(regime, key).unwrap_or_default();
    if wish.is_words_only() {
        if let Ok(kind) = key.parse::<Allergen>() {
            wish.kinds.push(kind);
        } else if let Ok(group) = key.parse::<Group>() {
            wish.groups.push(group);
        } else if let Some(kind) = RawKind::ALL.into_iter().find(|kind| kind.name() == key) {
            wish.raw = Some(kind);
        }
    }
    if wish.kinds.is_empty() && wish.groups.is_empty() {
        wish.food = catalog.find(word).map(|found| found.food);
    }
    wish.words.push(key.to_owned());
    wish.key = Some(key.to_owned());
    let carriers = carriers(&wish);
    wish.words.extend(carriers);
    wish
}

/// The words that suggest what a wish leaves out.
fn carriers(wish: &Wish) -> Vec<String> {
    let asked = |name: &str| {
        wish.kinds.iter().any(|kind| kind.name() == name) || wish.groups.iter().any(|group| group.name() == name)
    };
    let rows = CARRIERS.iter().filter(|(name, _)| asked(name));
    rows.flat_map(|(_, words)| words.iter().map(|word| (*word).to_owned())).collect()
}

/// Words that a kitchen uses for more than one kind.
///
/// "Shellfish" and "gluten" are wider in a kitchen than the US classes of that name. Who writes "nuts" may mean peanuts
/// as well, so the word covers them: a false alert costs a question, a missed one more.
fn broad(regime: Regime, key: &str) -> Option<Wish> {
    let nuts = || Allergen::ALL.into_iter().filter(|kind| kind.is_tree_nut(regime));
    let kinds = |kinds: Vec<Allergen>| Some(Wish { kinds, ..Wish::default() });
    let groups = |groups: Vec<Group>| Some(Wish { groups, ..Wish::default() });
    match key {
        "tree nut" => kinds(nuts().collect()),
        "nut" => kinds(nuts().chain([Allergen::Peanut]).collect()),
        "milk" | "dairy" | "lactose" | "cow milk" => groups(vec![Group::Dairy]),
        "shellfish" => groups(vec![Group::Shellfish]),
        "crustacean shellfish" => kinds(vec![Allergen::Crustacean]),
        "seafood" => groups(vec![Group::Fish, Group::Shellfish]),
        "gluten" | "celiac" | "celiac disease" | "coeliac" | "cereal containing gluten" => groups(vec![Group::Gluten]),
        "egg" => groups(vec![Group::Egg]),
        "fish" => groups(vec![Group::Fish]),
        "red meat" => groups(vec![Group::Meat]),
        "alcohol" => groups(vec![Group::Alcohol]),
        "sulphur dioxide and sulphite" => kinds(vec![Allergen::Sulphite]),
        _ => None,
    }
}

/// What a diet leaves out; `None` for a diet that is not known here.
fn diet(word: &str) -> Option<Wish> {
    use Group as G;
    const MEATLESS: [Group; 4] = [G::Meat, G::Poultry, G::Pork, G::Gelatin];
    let and = |more: &[Group]| MEATLESS.iter().chain(more).copied().collect::<Vec<_>>();
    let key = fold(word);
    let groups = match key.as_str() {
        "vegetarian" => and(&[G::Fish, G::Shellfish]),
        "lacto vegetarian" => and(&[G::Fish, G::Shellfish, G::Egg]),
        "ovo vegetarian" => and(&[G::Fish, G::Shellfish, G::Dairy]),
        "vegan" | "plant based" => and(&[G::Fish, G::Shellfish, G::Egg, G::Dairy, G::Honey]),
        "pescatarian" | "pescetarian" => and(&[]),
        "gluten free" | "no gluten" => vec![G::Gluten],
        "dairy free" | "no dairy" => vec![G::Dairy],
        "egg free" => vec![G::Egg],
        "pork free" | "no pork" => vec![G::Pork],
        "no red meat" => vec![G::Meat],
        "no alcohol" | "alcohol free" => vec![G::Alcohol],
        "halal" => vec![G::Pork, G::Alcohol],
        "kosher" => vec![G::Pork, G::Shellfish],
        _ => return None,
    };
    let mut wish = Wish { groups, ..Wish::default() };
    wish.words = carriers(&wish);
    Some(wish)
}

/// Folded words in the name of an undescribed food that suggest a kind or a group. Common practice, and a caution
/// only: a name proves neither presence nor absence.
const CARRIERS: &[(&str, &[&str])] = &[
    ("milk", &["milk", "cream", "butter", "cheese", "yogurt", "whey", "casein", "ghee"]),
    ("dairy", &["milk", "cream", "butter", "cheese", "yogurt", "whey", "casein", "ghee"]),
    ("egg", &["egg", "mayonnaise", "mayo", "meringue", "aioli"]),
    ("fish", &["fish", "anchovy", "salmon", "tuna", "cod", "trout", "sardine", "bonito"]),
    ("crustacean", &["shrimp", "prawn", "crab", "lobster", "crayfish", "langoustine"]),
    ("mollusc", &["clam", "mussel", "oyster", "scallop", "squid", "octopus", "calamari"]),
    ("shellfish", &["shellfish", "shrimp", "prawn", "crab", "lobster", "clam", "mussel", "oyster", "scallop", "squid"]),
    ("almond", &["almond", "marzipan", "frangipane", "nut"]),
    ("brazil nut", &["brazil nut", "nut"]),
    ("cashew", &["cashew", "nut"]),
    ("hazelnut", &["hazelnut", "filbert", "praline", "gianduja", "nut"]),
    ("macadamia", &["macadamia", "nut"]),
    ("pecan", &["pecan", "praline", "nut"]),
    ("pistachio", &["pistachio", "nut"]),
    ("walnut", &["walnut", "nut"]),
    ("pine nut", &["pine nut", "pesto", "nut"]),
    ("peanut", &["peanut", "groundnut", "satay"]),
    ("wheat", &["wheat", "flour", "bread", "pasta", "noodle", "couscous", "bulgur", "semolina", "seitan", "cracker"]),
    (
        "gluten",
        &[
            "wheat", "flour", "bread", "pasta", "noodle", "couscous", "bulgur", "semolina", "seitan", "barley", "rye",
            "malt", "oat", "cracker",
        ],
    ),
    ("barley", &["barley", "malt"]),
    ("rye", &["rye"]),
    ("oat", &["oat"]),
    ("soy", &["soy", "soya", "tofu", "tempeh", "miso", "edamame", "tamari"]),
    ("sesame", &["sesame", "tahini"]),
    ("celery", &["celery", "celeriac"]),
    ("mustard", &["mustard"]),
    ("lupin", &["lupin"]),
    ("sulphite", &["wine", "sulphite"]),
    ("meat", &["meat", "beef", "veal", "lamb", "pork", "bacon", "ham", "sausage", "venison"]),
    ("poultry", &["chicken", "turkey", "duck", "goose", "poultry"]),
    ("pork", &["pork", "bacon", "ham", "prosciutto", "pancetta", "lard"]),
    ("alcohol", &["wine", "beer", "rum", "brandy", "vodka", "sherry", "liqueur"]),
    ("honey", &["honey"]),
    ("gelatin", &["gelatin", "marshmallow"]),
];

/// What a food contains, in a regime's classes and in its own kinds; each word once, classes first.
#[must_use]
pub fn contains(food: &Food, regime: Regime) -> Vec<String> {
    let Allergens::Recorded { kinds, .. } = &food.allergens else { return Vec::new() };
    let mut words: Vec<&str> = kinds.iter().filter_map(|kind| kind.class(regime)).collect();
    // "eggs" and "egg" say the same; a nut's or a cereal's kind says more than its class.
    let tells_more = |kind: &&Allergen| {
        kind.class(regime)
            .is_none_or(|class| class.trim_end_matches('s') != kind.name() && !class.starts_with(kind.name()))
    };
    let kinds: Vec<&str> = kinds.iter().filter(tells_more).map(|kind| kind.name()).collect();
    words.extend(kinds);
    words.extend(food.other_allergens.iter().map(String::as_str));
    let mut seen = Vec::new();
    for word in words {
        if !seen.contains(&word) {
            seen.push(word);
        }
    }
    seen.into_iter().map(str::to_owned).collect()
}
