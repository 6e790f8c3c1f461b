//! `swap = { "soy sauce" = "tamari", cream = { to = "coconut milk", ratio = 1.0 } }`.

use trug_measure::Exact;
use trug_provision::kitchen::Swap;
use trug_provision::names::Names;

use crate::page::Page;
use crate::problem::What;
use crate::table::{Bounds, Table, Value};

const RATIO: Bounds = Bounds {
    want: "a number above 0 and at most 100, such as 1.0",
    holds: |ratio| ratio.is_positive() && ratio <= Exact::whole(100),
};

/// The swaps of a household or of a dish, in the order of the words they replace.
pub(crate) fn swaps(holder: &mut Table<'_>, names: &mut Names, page: &mut Page<'_>) -> Vec<Swap> {
    let table = holder
        .get("swap")
        .and_then(|value| value.table("in a swap", "a table, such as { \"soy sauce\" = \"tamari\" }", page));
    let mut swaps: Vec<Swap> = Vec::new();
    for entry in table.iter().flat_map(Table::entries) {
        let Some(swap) = swap(entry, names, page) else { continue };
        if let Some(other) = swaps.iter().find(|other| contradict(other, &swap)) {
            page.at(entry.at, What::SameFood { one: other.from.text.clone(), other: swap.from.text.clone() });
        }
        swaps.push(swap);
    }
    swaps
}

/// Two names of one food may stand side by side (`carrot`, `carrots`) as long as they say the same.
fn contradict(one: &Swap, other: &Swap) -> bool {
    one.from.item == other.from.item && (one.to.item != other.to.item || one.ratio != other.ratio)
}

fn swap(entry: Value<'_>, names: &mut Names, page: &mut Page<'_>) -> Option<Swap> {
    if entry.key.trim().is_empty() {
        page.at(entry.at, What::Empty { key: "swap".to_owned() });
        return None;
    }
    if let Some(to) = entry.as_text() {
        let to = if to.is_empty() { entry.text(page)? } else { to };
        return Some(Swap { from: names.named(entry.key), to: names.named(to), ratio: Exact::ONE });
    }
    let mut table =
        entry.table("in a swap", "a food's name in quotes, or { to = \"coconut milk\", ratio = 1.0 }", page)?;
    let to = table.need("to", "to = \"coconut milk\"", page).and_then(|value| value.text(page));
    let ratio = match table.get("ratio") {
        Some(value) => value.number(RATIO, page),
        None => Some(Exact::ONE),
    };
    table.finish(page);
    Some(Swap { from: names.named(entry.key), to: names.named(to?), ratio: ratio? })
}
