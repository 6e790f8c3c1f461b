//! The list in Markdown, with boxes to tick.

use std::io::{self, Write};

use super::{capital, plain};
use crate::sheet::{InHand, Row, Sheet, Tab};

/// Prints a list in Markdown.
///
/// # Errors
/// Where the writer fails.
pub fn write(sheet: &Sheet, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "# {}", escape(&sheet.title))?;
    part("Allergy alerts", &sheet.alerts, out)?;
    for stop in &sheet.stops {
        writeln!(out, "\n## {}", escape(&stop.name))?;
        for aisle in &stop.aisles {
            writeln!(out, "\n### {}\n", escape(&capital(&aisle.name)))?;
            aisle.rows.iter().try_for_each(|row| one_row(row, out))?;
        }
    }
    already(&sheet.in_hand, out)?;
    money(sheet, out)?;
    part("To know", &sheet.notices, out)?;
    part("Warnings", &sheet.warnings, out)
}

/// Text that Markdown takes as text.
fn escape(text: &str) -> String {
    const SPECIAL: &str = "\\`*_[]<>#|~";
    let mut escaped = String::with_capacity(text.len());
    for letter in plain(text).chars() {
        if SPECIAL.contains(letter) {
            escaped.push('\\');
        }
        escaped.push(letter);
    }
    escaped
}

fn part(head: &str, texts: &[String], out: &mut dyn Write) -> io::Result<()> {
    if texts.is_empty() {
        return Ok(());
    }
    writeln!(out, "\n## {head}\n")?;
    texts.iter().try_for_each(|text| writeln!(out, "- {}", escape(text)))
}

fn one_row(row: &Row, out: &mut dyn Write) -> io::Result<()> {
    write!(out, "- [ ] **{}**: {}", escape(&row.food), escape(&row.take))?;
    let marks = row.marks.join("; ");
    let need = if row.need == row.take { "" } else { row.need.as_str() };
    let needed = if need.is_empty() { String::new() } else { format!("needed {need}") };
    for said in [marks.as_str(), &needed, &row.whom, &row.cost].into_iter().filter(|said| !said.is_empty()) {
        write!(out, " · {}", escape(said))?;
    }
    writeln!(out)?;
    below(&row.alerts, &row.notes, out)
}

fn below(alerts: &[String], notes: &[String], out: &mut dyn Write) -> io::Result<()> {
    alerts.iter().try_for_each(|alert| writeln!(out, "  - **{}**", escape(alert)))?;
    notes.iter().try_for_each(|note| writeln!(out, "  - {}", escape(note)))
}

fn already(in_hand: &[InHand], out: &mut dyn Write) -> io::Result<()> {
    if in_hand.is_empty() {
        return Ok(());
    }
    writeln!(out, "\n## Already have\n")?;
    for food in in_hand {
        write!(out, "- **{}**", escape(&food.food))?;
        let separators = [(": ", &food.amount), (" · ", &food.place), (" · ", &food.whom)];
        for (separator, said) in separators.into_iter().filter(|(_, said)| !said.is_empty()) {
            write!(out, "{separator}{}", escape(said))?;
        }
        writeln!(out)?;
        below(&food.alerts, &food.notes, out)?;
    }
    Ok(())
}

fn money(sheet: &Sheet, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "\n## What it comes to\n\n| household | estimate | budget | without a price |\n|---|---:|---|---|")?;
    sheet.tabs.iter().try_for_each(|tab| one_tab(tab, out))?;
    writeln!(out, "\nIn all {}.", escape(&sheet.total))?;
    if sheet.unpriced.is_empty() {
        return Ok(());
    }
    writeln!(out, "\nNot counted, without a price: {}.", escape(&sheet.unpriced.join(", ")))
}

fn one_tab(tab: &Tab, out: &mut dyn Write) -> io::Result<()> {
    let (name, budget, unpriced) = (escape(&tab.name), escape(&tab.budget), escape(&tab.unpriced.join(", ")));
    writeln!(out, "| {name} | {} | {budget} | {unpriced} |", tab.estimate)
}
