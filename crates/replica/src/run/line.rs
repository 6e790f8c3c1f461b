//! What a run says of a line: everything a person needs at the shelf, and nothing that leads back to the book.

use trug_catalog::Keep;
use trug_measure::{Amount, Money};
use trug_provision::kitchen::Kitchen;
use trug_provision::list::{List, ListLine, Warning};
use trug_provision::plan::display_name;
use trug_provision::{convert::Tally, text as words};

use crate::id::{Alias, LineId, Salt};
use crate::record::{Reader, Unreadable, Writer, pair};
use crate::text;

/// A line of the plan, as it goes into a run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanLine {
    /// Follows from the plan; see [`Salt::line`].
    pub id: LineId,
    /// Its place in walking order.
    pub rank: u32,
    /// The food's name, for a person.
    pub food: String,
    /// What to take from the shelf: `3 bunches`.
    pub text: String,
    /// The store's section.
    pub section: String,
    /// The store's name; `None` where none is settled.
    pub store: Option<String>,
    /// How it is kept: chilled and frozen food is picked last.
    pub keep: Keep,
    /// How much is to be bought, before packs; `None` where a person only makes sure that there is some.
    pub want: Option<Amount>,
    /// What the packs and the loose rest to take hold, where that is known in the unit of `want`.
    pub takes: Option<Amount>,
    /// Which packs to take.
    pub packs: Vec<Pack>,
    /// What it is expected to cost.
    pub cost: Option<Money>,
    /// For whom, and how much of it for each, as purchased.
    pub shares: Vec<Share>,
    /// It is bought in packs of its own for this household.
    pub separate: Option<Alias>,
    /// The allergens that it contains, as far as they are recorded.
    pub contains: Vec<String>,
    /// Its allergens are not recorded, or differ from maker to maker: read the label.
    pub read_label: bool,
    /// What it, and anything taken in its place, must not contain, and for whom.
    pub must_not: Vec<MustNot>,
    /// Subs that the chef has cleared for every household of the line, with what to take of them.
    pub subs: Vec<String>,
    /// No sub without asking the chef.
    pub ask: bool,
    /// Somebody has to make sure that there is some, or enough.
    pub check: bool,
    /// It may be left out.
    pub optional: bool,
}

/// A number of one pack.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pack {
    /// How many.
    pub count: u64,
    /// The size as written: `14.5 oz`.
    pub size: String,
}

/// What one household needs of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Share {
    /// Whose.
    pub alias: Alias,
    /// How much, as purchased; `None` where it only asks to make sure.
    pub need: Option<Amount>,
}

/// An allergy of somebody who eats what the line becomes.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct MustNot {
    /// At whose table.
    pub alias: Alias,
    /// What, in the chef's words: `peanuts`.
    pub what: String,
    /// The line's own food conflicts with it: an allergy alert.
    pub alert: bool,
}

/// A line that somebody added by hand in the shop.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandLine {
    /// What, in the person's words.
    pub food: String,
    /// How much, in the person's words; may be empty.
    pub text: String,
    /// Where it stands.
    pub section: String,
    /// For whom; `None` is the kit.
    pub alias: Option<Alias>,
}

/// A line as a run has it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Line {
    /// From the plan.
    Planned(Box<PlanLine>),
    /// Added by hand; a plan neither changes nor withdraws it.
    ByHand(HandLine),
}

impl Line {
    /// What a person calls it.
    #[must_use]
    pub fn food(&self) -> &str {
        match self {
            Self::Planned(line) => &line.food,
            Self::ByHand(line) => &line.food,
        }
    }

    /// How much is to be bought, where that is a number.
    #[must_use]
    pub fn want(&self) -> Option<Amount> {
        match self {
            Self::Planned(line) => line.want.filter(|want| want.value.is_positive()),
            Self::ByHand(_) => None,
        }
    }

    pub(super) fn write(&self) -> String {
        match self {
            Self::Planned(line) => line.write(),
            Self::ByHand(line) => Writer::new("hand")
                .put('f', &line.food)
                .put('t', &line.text)
                .put('s', &line.section)
                .maybe('a', line.alias.as_ref().map(Alias::as_str))
                .finish(),
        }
    }

    pub(super) fn read(id: &str, text: &str) -> Result<Self, Unreadable> {
        let record = Reader::new(text)?;
        match record.kind() {
            "line" => Ok(Self::Planned(Box::new(PlanLine::read(id, &record)?))),
            "hand" => Ok(Self::ByHand(HandLine {
                food: record.need('f', "food")?.to_owned(),
                text: record.need('t', "text")?.to_owned(),
                section: record.need('s', "section")?.to_owned(),
                alias: record.maybe('a', "alias", |text| Alias::new(text).ok())?,
            })),
            other => Err(Unreadable::Kind(other.to_owned())),
        }
    }
}

impl PlanLine {
    fn write(&self) -> String {
        let packs = self.packs.iter().map(write_pack);
        let shares = self.shares.iter().map(|share| match share.need {
            Some(need) => format!("{} {}", text::amount(need).replace(' ', "_"), share.alias),
            None => format!("- {}", share.alias),
        });
        let must_not = |alert: bool| {
            let those = self.must_not.iter().filter(move |must_not| must_not.alert == alert);
            those.map(|must_not| write_must_not(&must_not.alias, &must_not.what))
        };
        Writer::new("line")
            .put('r', &self.rank.to_string())
            .put('f', &self.food)
            .put('t', &self.text)
            .put('s', &self.section)
            .maybe('m', self.store.as_deref())
            .put('k', text::keep(self.keep))
            .maybe('w', self.want.map(text::amount).as_deref())
            .maybe('h', self.takes.map(text::amount).as_deref())
            .each('p', packs)
            .maybe('c', self.cost.map(text::money).as_deref())
            .each('q', shares)
            .maybe('a', self.separate.as_ref().map(Alias::as_str))
            .each('x', &self.contains)
            .flag('l', self.read_label)
            .each('n', must_not(false))
            .each('!', must_not(true))
            .each('u', &self.subs)
            .flag('?', self.ask)
            .flag('v', self.check)
            .flag('o', self.optional)
            .finish()
    }

    fn read(id: &str, record: &Reader) -> Result<Self, Unreadable> {
        let texts = |key: char| record.all(key).map(str::to_owned).collect();
        let must_not = |key: char, alert: bool| {
            record.list(key, "what it must not contain", move |text| read_must_not(text, alert))
        };
        let mut all_must_not = must_not('n', false)?;
        all_must_not.extend(must_not('!', true)?);
        let all_must_not = crate::gather::ordered(all_must_not, |a, b| a < b);
        Ok(Self {
            id: LineId::new(id).map_err(|_| Unreadable::Key(id.to_owned()))?,
            rank: record.parse('r', "rank", |text| text.parse().ok())?,
            food: record.need('f', "food")?.to_owned(),
            text: record.need('t', "text")?.to_owned(),
            section: record.need('s', "section")?.to_owned(),
            store: record.get('m').map(str::to_owned),
            keep: record.parse('k', "keeping", text::read_keep)?,
            want: record.maybe('w', "amount wanted", text::read_positive)?,
            takes: record.maybe('h', "amount to take", text::read_positive)?,
            packs: record.list('p', "packs", read_pack)?,
            cost: record.maybe('c', "cost", text::read_money)?,
            shares: record.list('q', "share", read_share)?,
            separate: record.maybe('a', "alias", |text| Alias::new(text).ok())?,
            contains: texts('x'),
            read_label: record.has('l'),
            must_not: all_must_not,
            subs: texts('u'),
            ask: record.has('?'),
            check: record.has('v'),
            optional: record.has('o'),
        })
    }
}

pub(super) fn write_pack(pack: &Pack) -> String {
    format!("{} {}", pack.count, pack.size)
}

pub(super) fn read_pack(text: &str) -> Option<Pack> {
    let (count, size) = pair(text)?;
    Some(Pack { count: count.parse().ok()?, size: size.to_owned() })
}

fn read_share(text: &str) -> Option<Share> {
    let (need, alias) = pair(text)?;
    let need = if need == "-" { None } else { Some(text::read_positive(&need.replacen('_', " ", 1))?) };
    Some(Share { alias: Alias::new(alias).ok()?, need })
}

/// The alias' length first, since an alias may hold spaces.
fn write_must_not(alias: &Alias, what: &str) -> String {
    format!("{} {alias}{what}", alias.as_str().len())
}

fn read_must_not(text: &str, alert: bool) -> Option<MustNot> {
    let (length, rest) = pair(text)?;
    let (alias, what) = rest.split_at_checked(length.parse().ok()?)?;
    Some(MustNot { alias: Alias::new(alias).ok()?, what: what.to_owned(), alert })
}

/// The chef's word on what may stand in for a food.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Subs {
    /// Cleared for every household of the line, with what to take of them.
    pub cleared: Vec<String>,
    /// No sub without asking.
    pub ask: bool,
}

/// The lines of a list as they go into a run, in walking order. `salt` is the run's, from the book; `subs` says for a
/// food's id what may stand in for it. Households appear by their aliases; diners, dishes, diets, budgets and ids do
/// not appear.
#[must_use]
pub fn plan_lines(kitchen: &Kitchen, list: &List, salt: &Salt, subs: impl Fn(&str) -> Subs) -> Vec<PlanLine> {
    let aliases = salt.aliases(kitchen.households.keys().map(|id| id.as_str()));
    let numbered = list.lines.iter().zip(0_u32..);
    numbered.map(|(line, rank)| plan_line(kitchen, line, rank, salt, &aliases, &subs)).collect()
}

type Aliases<'k> = std::collections::BTreeMap<&'k str, Alias>;

fn plan_line(
    kitchen: &Kitchen,
    line: &ListLine,
    rank: u32,
    salt: &Salt,
    aliases: &Aliases<'_>,
    subs: &impl Fn(&str) -> Subs,
) -> PlanLine {
    let food = kitchen.catalog.get(line.food);
    let unit = line.tally.unit();
    let separate = line.separate.as_ref();
    let subs = subs(food.id.as_str());
    PlanLine {
        id: salt.line(food.id.as_str(), separate.map(|id| id.as_str()), unconverted(line.tally).as_deref()),
        rank,
        food: display_name(&kitchen.catalog, line.food),
        text: words::line_text(kitchen, line),
        section: line.section.clone(),
        store: line.buy.store.as_ref().and_then(|id| kitchen.stores.get(id)).map(|store| store.name.clone()),
        keep: line.keep,
        want: line.to_buy.filter(|to_buy| to_buy.is_positive()).map(|to_buy| Amount::new(to_buy, unit)),
        takes: taken(line).map(|taken| Amount::new(taken, unit)),
        packs: line.buy.packs.iter().map(|pack| Pack { count: pack.count, size: pack.size_text.clone() }).collect(),
        cost: line.buy.cost,
        shares: shares(line, aliases),
        separate: separate.and_then(|id| aliases.get(id.as_str())).cloned(),
        contains: line.contains.clone(),
        read_label: line.warnings.iter().any(is_about_label),
        must_not: must_not(kitchen, line, aliases),
        subs: subs.cleared,
        ask: subs.ask,
        check: line.check,
        optional: line.optional,
    }
}

/// The unit that tells an unconverted line from the food's own.
fn unconverted(tally: Tally) -> Option<String> {
    match tally {
        Tally::Grams | Tally::Milliliters => None,
        Tally::AsWritten { unit, cooked } => Some(format!("{unit}{}", if cooked { " cooked" } else { "" })),
    }
}

/// What the packs hold: what is to be bought and what is left over.
fn taken(line: &ListLine) -> Option<trug_measure::Exact> {
    Some(line.to_buy? + line.buy.surplus?).filter(|taken| taken.is_positive())
}

const fn is_about_label(warning: &Warning) -> bool {
    matches!(warning, Warning::AllergensNotRecorded | Warning::AllergensVary | Warning::Undescribed)
}

/// One share for each household, its dishes added up.
fn shares(line: &ListLine, aliases: &Aliases<'_>) -> Vec<Share> {
    let mut shares: Vec<Share> = Vec::new();
    for demand in &line.demands {
        let Some(alias) = aliases.get(demand.household.as_str()) else { continue };
        let need = demand.need.map(|need| Amount::new(need, line.tally.unit()));
        match shares.iter_mut().find(|share| share.alias == *alias) {
            Some(share) => {
                share.need = match (share.need, need) {
                    (Some(a), Some(b)) => Some(Amount::new(a.value + b.value, a.unit)),
                    (a, b) => a.or(b),
                }
            }
            None => shares.push(Share { alias: alias.clone(), need }),
        }
    }
    shares
}

/// All allergies at the tables that the line is for: a sub must meet them as well.
fn must_not(kitchen: &Kitchen, line: &ListLine, aliases: &Aliases<'_>) -> Vec<MustNot> {
    let mut found: Vec<MustNot> = Vec::new();
    for demand in &line.demands {
        let household = kitchen.households.get(&demand.household);
        let (Some(household), Some(alias)) = (household, aliases.get(demand.household.as_str())) else { continue };
        for what in household.diners.iter().flat_map(|diner| &diner.allergies) {
            let alert = line.alerts.iter().any(|alert| alert.household == demand.household && alert.what == *what);
            found.push(MustNot { alias: alias.clone(), what: what.clone(), alert });
        }
    }
    found.sort();
    found.dedup();
    found
}
