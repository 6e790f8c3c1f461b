//! What happened at the shelf, as a device says it: written once, never changed.

use trug_measure::{Amount, Money};

use super::line::{Pack, read_pack, write_pack};
use crate::id::{Alias, LineId, Stamp};
use crate::record::{Reader, Unreadable, Writer};
use crate::text;

/// A pick. Who made it stands in its id.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pick {
    /// Of which line.
    pub line: LineId,
    /// What happened.
    pub what: Taken,
    /// When, by the device's clock.
    pub at: Stamp,
    /// In which store, by its name.
    pub store: Option<String>,
    /// For which households, where it was not for all of the line's.
    pub aliases: Vec<Alias>,
    /// The product and its label, where somebody read it.
    pub label: Option<Label>,
}

/// What happened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Taken {
    /// Got from the shelf.
    Got {
        /// How much.
        amount: Quantity,
        /// In which packs.
        packs: Vec<Pack>,
        /// What it cost.
        price: Option<Money>,
    },
    /// Found at home.
    AtHome {
        /// How much.
        amount: Quantity,
    },
    /// Something else, in its place.
    Sub {
        /// What.
        instead: String,
        /// How much of the line it stands for.
        amount: Quantity,
        /// In which packs.
        packs: Vec<Pack>,
        /// What it cost.
        price: Option<Money>,
    },
    /// There was none.
    NoneThere,
}

/// How much of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// All that the line asked for when it was picked; how much that was, where the line had an amount.
    Whole(Option<Amount>),
    /// A part; how much, where the person said so.
    Part(Option<Amount>),
}

impl Quantity {
    /// The amount, where there is one.
    #[must_use]
    pub const fn amount(self) -> Option<Amount> {
        match self {
            Self::Whole(amount) | Self::Part(amount) => amount,
        }
    }
}

/// A label that somebody read. What it says is the maker's word, on that day, for that product.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// The product.
    pub product: String,
    /// What the label says of allergens, in its own words: `Contains wheat. May contain sesame.`
    pub says: String,
}

impl Taken {
    /// Whether something was bought.
    #[must_use]
    pub const fn is_purchase(&self) -> bool {
        matches!(self, Self::Got { .. } | Self::Sub { .. })
    }

    /// How much of the line it covers; `None` where there was none to take.
    #[must_use]
    pub const fn quantity(&self) -> Option<Quantity> {
        match self {
            Self::Got { amount, .. } | Self::AtHome { amount } | Self::Sub { amount, .. } => Some(*amount),
            Self::NoneThere => None,
        }
    }

    /// What it cost, where that is known.
    #[must_use]
    pub const fn price(&self) -> Option<Money> {
        match self {
            Self::Got { price, .. } | Self::Sub { price, .. } => *price,
            Self::AtHome { .. } | Self::NoneThere => None,
        }
    }

    const fn kind(&self) -> &'static str {
        match self {
            Self::Got { .. } => "got",
            Self::AtHome { .. } => "home",
            Self::Sub { .. } => "sub",
            Self::NoneThere => "none",
        }
    }

    fn packs(&self) -> &[Pack] {
        match self {
            Self::Got { packs, .. } | Self::Sub { packs, .. } => packs,
            Self::AtHome { .. } | Self::NoneThere => &[],
        }
    }

    fn read(record: &Reader) -> Result<Self, Unreadable> {
        let packs = || record.list('p', "packs", read_pack);
        let price = || record.maybe('c', "price", text::read_money);
        match record.kind() {
            "got" => Ok(Self::Got { amount: read_quantity(record)?, packs: packs()?, price: price()? }),
            "home" => Ok(Self::AtHome { amount: read_quantity(record)? }),
            "sub" => Ok(Self::Sub {
                instead: record.need('i', "food taken instead")?.to_owned(),
                amount: read_quantity(record)?,
                packs: packs()?,
                price: price()?,
            }),
            "none" => Ok(Self::NoneThere),
            other => Err(Unreadable::Kind(other.to_owned())),
        }
    }
}

/// `w` for the whole, `q` for a part, both empty where no amount is known.
fn write_quantity(writer: Writer, quantity: Option<Quantity>) -> Writer {
    let written = |amount: Option<Amount>| amount.map(text::amount).unwrap_or_default();
    match quantity {
        Some(Quantity::Whole(amount)) => writer.put('w', &written(amount)),
        Some(Quantity::Part(amount)) => writer.put('q', &written(amount)),
        None => writer,
    }
}

fn read_quantity(record: &Reader) -> Result<Quantity, Unreadable> {
    let amount = |text: &str| if text.is_empty() { Some(None) } else { text::read_positive(text).map(Some) };
    if let Some(whole) = record.maybe('w', "amount", amount)? {
        return Ok(Quantity::Whole(whole));
    }
    record.parse('q', "amount", amount).map(Quantity::Part)
}

impl Pick {
    pub(super) fn write(&self) -> String {
        let instead = match &self.what {
            Taken::Sub { instead, .. } => Some(instead.as_str()),
            _ => None,
        };
        let writer = Writer::new(self.what.kind()).put('l', self.line.as_str());
        write_quantity(writer, self.what.quantity())
            .each('p', self.what.packs().iter().map(write_pack))
            .maybe('c', self.what.price().map(text::money).as_deref())
            .maybe('i', instead)
            .put('t', &text::stamp(self.at))
            .maybe('s', self.store.as_deref())
            .each('a', self.aliases.iter().map(Alias::as_str))
            .maybe('n', self.label.as_ref().map(|label| label.product.as_str()))
            .maybe('y', self.label.as_ref().map(|label| label.says.as_str()))
            .finish()
    }

    pub(super) fn read(text: &str) -> Result<Self, Unreadable> {
        let record = Reader::new(text)?;
        let label = match (record.get('n'), record.get('y')) {
            (None, None) => None,
            (product, says) => Some(Label {
                product: product.unwrap_or_default().to_owned(),
                says: says.unwrap_or_default().to_owned(),
            }),
        };
        Ok(Self {
            line: record.parse('l', "line", |text| LineId::new(text).ok())?,
            what: Taken::read(&record)?,
            at: record.parse('t', "time", text::read_stamp)?,
            store: record.get('s').map(str::to_owned),
            aliases: record.list('a', "alias", |text| Alias::new(text).ok())?,
            label,
        })
    }
}
