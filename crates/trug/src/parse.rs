//! `trug parse`: ingredient lines in, what was understood out, one for one.

use std::io::{self, BufRead, Write};

use serde::{Serialize, Serializer};
use trug_catalog::Catalog;
use trug_catalog::line::{Doubt, Line};
use trug_measure::{Amount, Exact, Unit, kitchen_number};
use trug_provision::demand::part_of;

use crate::show::plain_lines as plain;

/// How what was understood is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// One JSON object a line.
    Json,
    /// A line that a person reads.
    Words,
}

/// Reads ingredient lines until the input ends and writes what each says. Blank lines are passed over; bytes that are
/// no UTF-8 are read as unknown letters rather than refused. With `at_once` each answer is sent before the next line
/// is waited for, as somebody who types wants it.
///
/// # Errors
/// Where the reader or the writer fails.
pub fn parse(
    catalog: &Catalog,
    input: &mut dyn BufRead,
    out: &mut dyn Write,
    form: Form,
    at_once: bool,
) -> io::Result<()> {
    let (mut bytes, mut answer) = (Vec::new(), Vec::new());
    let mut first = true;
    while input.read_until(b'\n', &mut bytes)? > 0 {
        let text = String::from_utf8_lossy(&bytes);
        let text = text.trim_end_matches(['\n', '\r']);
        let text = if first { text.trim_start_matches('\u{feff}') } else { text };
        first = false;
        if !text.trim().is_empty() {
            let line = catalog.read(text);
            match form {
                Form::Json => serde_json::to_writer(&mut answer, &LineJson::of(catalog, &line))?,
                Form::Words => answer.extend_from_slice(in_words(catalog, &line).as_bytes()),
            }
            answer.push(b'\n');
            out.write_all(&answer)?;
            answer.clear();
            if at_once {
                out.flush()?;
            }
        }
        bytes.clear();
    }
    out.flush()
}

/// A line as JSON: the contract's keys always and in order, then those that have something to say.
#[derive(Debug, Serialize)]
struct LineJson<'l> {
    raw: &'l str,
    low: Option<Number>,
    high: Option<Number>,
    unit: Option<&'static str>,
    size: Option<AmountJson>,
    food: &'l str,
    food_id: Option<&'l str>,
    prep: &'l str,
    basis: &'static str,
    optional: bool,
    check: bool,
    /// The part of the food: `juice`.
    #[serde(skip_serializing_if = "Option::is_none")]
    part: Option<&'l str>,
    /// The second choice.
    #[serde(skip_serializing_if = "Option::is_none")]
    or: Option<&'l str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<&'l str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    fills: Option<&'l str>,
    #[serde(skip_serializing_if = "is_false")]
    cooked: bool,
    #[serde(skip_serializing_if = "is_false")]
    drained: bool,
    /// The stated size of all pieces together.
    #[serde(skip_serializing_if = "Option::is_none")]
    total: Option<AmountJson>,
    /// A second food of the same line.
    #[serde(skip_serializing_if = "Option::is_none")]
    and: Option<Box<LineJson<'l>>>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    doubts: Vec<&'static str>,
}

/// The signature is serde's.
#[allow(clippy::trivially_copy_pass_by_ref, reason = "serde hands the field over by reference")]
const fn is_false(value: &bool) -> bool {
    !*value
}

impl<'l> LineJson<'l> {
    fn of(catalog: &'l Catalog, line: &'l Line) -> Self {
        Self {
            raw: &line.raw,
            low: line.amount.map(|range| Number(range.low)),
            high: line.amount.map(|range| Number(range.high)),
            unit: line.unit.map(Unit::symbol),
            size: line.size.map(AmountJson::of),
            food: &line.food,
            food_id: line.found.map(|found| catalog.get(found.food).id.as_str()),
            prep: &line.prep,
            basis: line.basis.name(),
            optional: line.optional,
            check: line.check,
            part: part(catalog, line),
            or: line.or.as_deref(),
            note: line.note.as_deref(),
            fills: line.fills.as_deref(),
            cooked: line.cooked,
            drained: line.drained,
            total: line.total.map(AmountJson::of),
            and: line.and.as_deref().map(|and| Box::new(Self::of(catalog, and))),
            doubts: line.doubts.iter().map(|doubt| doubt_name(*doubt)).collect(),
        }
    }
}

fn part<'l>(catalog: &'l Catalog, line: &Line) -> Option<&'l str> {
    let found = line.found?;
    part_of(catalog.get(found.food), found.part?).map(|part| part.name.as_str())
}

/// The word that data has for a doubt.
const fn doubt_name(doubt: Doubt) -> &'static str {
    match doubt {
        Doubt::Unreadable => "unreadable",
        Doubt::Heading => "heading",
        Doubt::AmountsDiffer => "amounts-differ",
        Doubt::AmountOutOfRange => "amount-out-of-range",
        Doubt::Slip => "slip",
    }
}

#[derive(Debug, Serialize)]
struct AmountJson {
    amount: Number,
    unit: &'static str,
}

impl AmountJson {
    fn of(amount: Amount) -> Self {
        Self { amount: Number(amount.value), unit: amount.unit.symbol() }
    }
}

/// A number that prints whole where it is whole.
#[derive(Debug)]
struct Number(Exact);

impl Serialize for Number {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match i64::try_from(self.0.numerator()) {
            Ok(whole) if self.0.is_whole() => serializer.serialize_i64(whole),
            _ => serializer.serialize_f64(self.0.to_f64()),
        }
    }
}

/// What was understood, for a person: `1 to 2 lb (purchased) | shrimp = shrimp | peeled and deveined`.
fn in_words(catalog: &Catalog, line: &Line) -> String {
    let mut said = vec![how_much(line), which_food(catalog, line)];
    let mut say = |what: &str, text: &str| {
        if !text.is_empty() {
            said.push(format!("{what} {text}"));
        }
    };
    say("prep:", &line.prep);
    say("or:", line.or.as_deref().unwrap_or_default());
    say("note:", line.note.as_deref().unwrap_or_default());
    say("needed once, for the", line.fills.as_deref().unwrap_or_default());
    say("", if line.cooked { "weighed cooked" } else { "" });
    say("", if line.drained { "weighed drained" } else { "" });
    say("", if line.optional { "optional" } else { "" });
    for doubt in &line.doubts {
        say("look again:", doubt_in_words(*doubt));
    }
    let mut text = said.iter().map(|part| part.trim()).collect::<Vec<_>>().join(" | ");
    if let Some(and) = &line.and {
        text = format!("{text}\n  and: {}", in_words(catalog, and));
    }
    plain(&text)
}

fn how_much(line: &Line) -> String {
    let Some((range, unit)) = line.amount.zip(line.unit) else { return "make sure there is some".to_owned() };
    let high = match unit {
        Unit::Each => kitchen_number(range.high),
        _ => in_kitchen_fractions(Amount::new(range.high, unit)),
    };
    let amount = if range.low == range.high { high } else { format!("{} to {high}", kitchen_number(range.low)) };
    let size = line.size.map(|size| format!(" of {}", size.as_written())).unwrap_or_default();
    let total = line.total.map(|total| format!(", {} in all", total.as_written())).unwrap_or_default();
    format!("{amount}{size}{total} ({})", line.basis.name())
}

/// `1 1/2 cups` where the unit's own writing has `1.5 cups`.
fn in_kitchen_fractions(amount: Amount) -> String {
    let written = amount.as_written();
    match written.split_once(' ') {
        Some((_, unit)) if !amount.unit.is_count() => format!("{} {unit}", kitchen_number(amount.value)),
        _ => written,
    }
}

fn which_food(catalog: &Catalog, line: &Line) -> String {
    let Some(found) = line.found else { return format!("{} (not in the catalogue)", line.food) };
    let id = catalog.get(found.food).id.as_str();
    match part(catalog, line) {
        Some(part) => format!("{} = {id}, its {part}", line.food),
        None => format!("{} = {id}", line.food),
    }
}

const fn doubt_in_words(doubt: Doubt) -> &'static str {
    match doubt {
        Doubt::Unreadable => "no food could be read",
        Doubt::Heading => "a heading: it asks for nothing",
        Doubt::AmountsDiffer => "two amounts that do not add up; only the first counts",
        Doubt::AmountOutOfRange => "an amount of nothing or beyond anything a kitchen holds; it is read as none",
        Doubt::Slip => "the food's name was read by mending one slip",
    }
}
