//! The list on a terminal, or through a pipe.

use std::io::{self, Write};

use super::{Cell, Look, Side, capital, hanging, plain, row};
use crate::sheet::{Aisle, InHand, Row, Sheet, Tab};

/// The columns of a row, beside the food, which takes what is left.
const TAKE: usize = 24;
const NEED: usize = 12;
const WHOM: usize = 15;
const COST: usize = 8;
const INDENT: &str = "    ";

/// Prints a list.
///
/// # Errors
/// Where the writer fails.
pub fn write(sheet: &Sheet, look: Look, out: &mut dyn Write) -> io::Result<()> {
    let look = Look { width: look.width.clamp(84, 140), ..look };
    writeln!(out, "{}", look.bold(&plain(&sheet.title)))?;
    alerts(sheet, look, out)?;
    for stop in &sheet.stops {
        head(&stop.name, look, out)?;
        for part in &stop.aisles {
            aisle(part, look, out)?;
        }
    }
    if sheet.stops.is_empty() {
        writeln!(out, "\nNothing to buy.")?;
    }
    already(&sheet.in_hand, look, out)?;
    tabs(sheet, look, out)?;
    remarks("To know", &sheet.notices, look, out)?;
    remarks("Warnings", &sheet.warnings, look, out)
}

fn head(text: &str, look: Look, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "\n{}", look.bold(&plain(text)))?;
    if look.rich { writeln!(out, "{}", "─".repeat(look.width)) } else { Ok(()) }
}

fn alerts(sheet: &Sheet, look: Look, out: &mut dyn Write) -> io::Result<()> {
    if sheet.alerts.is_empty() {
        return Ok(());
    }
    writeln!(out, "\n{}", look.alarm("ALLERGY ALERTS"))?;
    for alert in &sheet.alerts {
        lines(&hanging("  ! ", alert, look.width), |line| look.alarm(line), out)?;
    }
    Ok(())
}

fn lines(lines: &[String], style: impl Fn(&str) -> String, out: &mut dyn Write) -> io::Result<()> {
    lines.iter().try_for_each(|line| writeln!(out, "{}", style(line)))
}

fn aisle(aisle: &Aisle, look: Look, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "  {}", look.bold(&plain(&capital(&aisle.name))))?;
    aisle.rows.iter().try_for_each(|row| one_row(row, look, out))
}

fn one_row(line: &Row, look: Look, out: &mut dyn Write) -> io::Result<()> {
    let food = look.width - (INDENT.len() + TAKE + NEED + WHOM + COST + 8);
    let cells = [
        Cell(&line.take, TAKE, Side::Left),
        Cell(&line.marked_food(), food, Side::Left),
        Cell(&line.need, NEED, Side::Left),
        Cell(&line.whom, WHOM, Side::Left),
        Cell(&line.cost, COST, Side::Right),
    ];
    lines(&row(INDENT, &cells), str::to_owned, out)?;
    below(&line.alerts, &line.notes, look, out)
}

fn below(alerts: &[String], notes: &[String], look: Look, out: &mut dyn Write) -> io::Result<()> {
    for alert in alerts {
        lines(&hanging("      ! ", alert, look.width), |line| look.alarm(line), out)?;
    }
    for note in notes {
        lines(&hanging("      - ", note, look.width), str::to_owned, out)?;
    }
    Ok(())
}

fn already(in_hand: &[InHand], look: Look, out: &mut dyn Write) -> io::Result<()> {
    if in_hand.is_empty() {
        return Ok(());
    }
    head("Already have", look, out)?;
    let place = look.width - (INDENT.len() + TAKE + NEED + WHOM + 6);
    for food in in_hand {
        let cells = [
            Cell(&food.food, TAKE, Side::Left),
            Cell(&food.amount, NEED, Side::Left),
            Cell(&food.place, place, Side::Left),
            Cell(&food.whom, WHOM, Side::Left),
        ];
        lines(&row(INDENT, &cells), str::to_owned, out)?;
        below(&food.alerts, &food.notes, look, out)?;
    }
    Ok(())
}

fn tabs(sheet: &Sheet, look: Look, out: &mut dyn Write) -> io::Result<()> {
    head("What it comes to", look, out)?;
    for tab in &sheet.tabs {
        one_tab(tab, look, out)?;
    }
    writeln!(out, "{INDENT}In all {}", plain(&sheet.total))?;
    if sheet.unpriced.is_empty() {
        return Ok(());
    }
    lines(
        &hanging(INDENT, &format!("Not counted, without a price: {}", sheet.unpriced.join(", ")), look.width),
        str::to_owned,
        out,
    )
}

fn one_tab(tab: &Tab, look: Look, out: &mut dyn Write) -> io::Result<()> {
    let budget = look.width - (INDENT.len() + 36 + COST + 4);
    let mut said = tab.budget.clone();
    if !tab.unpriced.is_empty() {
        said.push_str(&format!("; not counting {}", tab.unpriced.join(", ")));
    }
    let cells =
        [Cell(&tab.name, 36, Side::Left), Cell(&tab.estimate, COST, Side::Right), Cell(&said, budget, Side::Left)];
    let style = |line: &str| if tab.over { look.alarm(line) } else { line.to_owned() };
    lines(&row(INDENT, &cells), style, out)
}

fn remarks(title: &str, texts: &[String], look: Look, out: &mut dyn Write) -> io::Result<()> {
    if texts.is_empty() {
        return Ok(());
    }
    head(title, look, out)?;
    texts.iter().try_for_each(|text| lines(&hanging("  - ", text, look.width), str::to_owned, out))
}
