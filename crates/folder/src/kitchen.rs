//! `kitchen.toml`.

use trug_catalog::Regime;
use trug_measure::{Currency, System};
use trug_provision::kitchen::{PantryId, StoreId};

use crate::page::Page;
use crate::read::Ids;
use crate::table::Table;

/// What kitchen.toml says.
#[derive(Default)]
pub(crate) struct Head {
    pub name: String,
    /// `None` where it cannot be read, so that no money is read either.
    pub currency: Option<Currency>,
    pub units: System,
    pub regime: Regime,
    pub kit: Option<PantryId>,
    pub store: Option<StoreId>,
}

/// The words of `units`.
pub(crate) const UNITS: [(&str, System); 2] = [("us", System::Us), ("metric", System::Metric)];
/// The words of `allergens`.
pub(crate) const REGIMES: [(&str, Regime); 2] = [("us", Regime::Us), ("eu", Regime::Eu)];

/// Reads kitchen.toml. What it leaves out is a kitchen in the United States.
pub(crate) fn head(mut table: Table<'_>, page: &mut Page<'_>, ids: &Ids) -> Head {
    let name = table.need("name", "name = \"...\"", page).and_then(|value| value.text(page)).map(str::to_owned);
    let currency = table.get("currency").map_or(Some(Currency::USD), |value| value.parse(page));
    let units = table.get("units").and_then(|value| value.one_of(&UNITS, page)).unwrap_or(System::Us);
    let regime = table.get("allergens").and_then(|value| value.one_of(&REGIMES, page)).unwrap_or(Regime::Us);
    let kit = table.get("kit").and_then(|value| ids.pantry(value, page));
    let store = table.get("store").and_then(|value| ids.store(value, page));
    table.finish(page);
    Head { name: name.unwrap_or_default(), currency, units, regime, kit, store }
}
