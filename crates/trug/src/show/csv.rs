//! The list for a spreadsheet: RFC 4180, a header and one row a line of the list.

use std::io::{self, Write};

use trug_measure::Exact;
use trug_provision::kitchen::Kitchen;
use trug_provision::list::{List, ListLine};
use trug_provision::plan::display_name;
use trug_provision::text;

use super::plain;
use crate::words;

/// The columns. Amounts are in `unit`, to one decimal; `what` is `buy`, `check` or `have`.
pub const HEADER: [&str; 19] = [
    "what",
    "store",
    "section",
    "food",
    "name",
    "text",
    "need",
    "in_pantry",
    "to_buy",
    "unit",
    "surplus",
    "cost",
    "currency",
    "optional",
    "for",
    "contains",
    "alerts",
    "warnings",
    "shares",
];

/// Prints a list as CSV.
///
/// # Errors
/// Where the writer fails.
pub fn write(kitchen: &Kitchen, list: &List, out: &mut dyn Write) -> io::Result<()> {
    record(HEADER.into_iter(), out)?;
    for line in &list.lines {
        let what = if line.check { "check" } else { "buy" };
        record(fields(kitchen, line, what).iter().map(String::as_str), out)?;
    }
    list.covered.iter().try_for_each(|line| record(fields(kitchen, line, "have").iter().map(String::as_str), out))
}

fn fields(kitchen: &Kitchen, line: &ListLine, what: &str) -> [String; HEADER.len()] {
    let amount = |value: Option<Exact>| value.map(|value| format!("{:.1}", value.to_decimals(1))).unwrap_or_default();
    let store = line.buy.store.as_ref().map(|store| store.as_str()).unwrap_or_default();
    let mut households: Vec<&str> = line.demands.iter().map(|demand| demand.household.as_str()).collect();
    households.dedup();
    let shares: Vec<String> = line.shares.iter().map(|(household, share)| format!("{household} {share}")).collect();
    [
        what.to_owned(),
        store.to_owned(),
        line.section.clone(),
        kitchen.catalog.get(line.food).id.to_string(),
        display_name(&kitchen.catalog, line.food),
        text::line_text(kitchen, line),
        amount(line.need),
        amount(line.in_pantry),
        amount(line.to_buy),
        line.need.map(|_| line.tally.unit().to_string()).unwrap_or_default(),
        amount(line.buy.surplus),
        line.buy.cost.map(|cost| cost.to_string()).unwrap_or_default(),
        kitchen.currency.code().to_owned(),
        if line.optional { "yes" } else { "no" }.to_owned(),
        households.join("; "),
        line.contains.join("; "),
        words::alerts(kitchen, line).join("; "),
        words::warnings(kitchen, line).join("; "),
        shares.join("; "),
    ]
}

fn record<'f>(fields: impl Iterator<Item = &'f str>, out: &mut dyn Write) -> io::Result<()> {
    let quoted: Vec<String> = fields.map(field).collect();
    write!(out, "{}\r\n", quoted.join(","))
}

/// A field, quoted where it must be. One that a spreadsheet would take for a formula is made a text with an apostrophe:
/// a recipe from elsewhere must not reckon in the chef's books.
fn field(text: &str) -> String {
    let text = plain(text);
    let guard = if text.trim_start().starts_with(['=', '+', '-', '@']) { "'" } else { "" };
    if text.contains(['"', ',', '\n', '\r']) {
        return format!("\"{guard}{}\"", text.replace('"', "\"\""));
    }
    format!("{guard}{text}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_are_quoted_and_guarded() {
        let table = [
            ("carrot", "carrot"),
            ("salt, flaky", "\"salt, flaky\""),
            ("the \"good\" oil", "\"the \"\"good\"\" oil\""),
            ("=1+1", "'=1+1"),
            (" @sum(a1), b", "\"' @sum(a1), b\""),
            ("-3", "'-3"),
            ("two\nlines", "two lines"),
        ];
        for (text, want) in table {
            assert_eq!(field(text), want);
        }
    }
}
