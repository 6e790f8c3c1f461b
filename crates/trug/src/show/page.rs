//! The list on paper: 72 columns, a square to tick for every row, money at the end.

use std::io::{self, Write};

use super::{Cell, Side, capital, hanging, plain, row};
use crate::sheet::{InHand, Row, Sheet};

/// Columns that every printer has.
const WIDTH: usize = 72;
const BOX: &str = "[ ] ";
const TAKE: usize = 24;
const WHOM: usize = 14;

/// Prints a list for paper.
///
/// # Errors
/// Where the writer fails.
pub fn write(sheet: &Sheet, out: &mut dyn Write) -> io::Result<()> {
    lines(&hanging("", &sheet.title, WIDTH), out)?;
    part("ALLERGY ALERTS", "! ", &sheet.alerts, out)?;
    for stop in &sheet.stops {
        title(&stop.name, out)?;
        for aisle in &stop.aisles {
            writeln!(out, "\n{}", plain(&capital(&aisle.name)))?;
            aisle.rows.iter().try_for_each(|row| one_row(row, out))?;
        }
    }
    already(&sheet.in_hand, out)?;
    part("To know", "- ", &sheet.notices, out)?;
    part("Warnings", "- ", &sheet.warnings, out)?;
    money(sheet, out)
}

fn lines(lines: &[String], out: &mut dyn Write) -> io::Result<()> {
    lines.iter().try_for_each(|line| writeln!(out, "{line}"))
}

fn title(text: &str, out: &mut dyn Write) -> io::Result<()> {
    let text = plain(text).to_uppercase();
    writeln!(out, "\n{text}\n{}", "=".repeat(WIDTH))
}

fn part(head: &str, bullet: &str, texts: &[String], out: &mut dyn Write) -> io::Result<()> {
    if texts.is_empty() {
        return Ok(());
    }
    title(head, out)?;
    texts.iter().try_for_each(|text| lines(&hanging(bullet, text, WIDTH), out))
}

fn one_row(line: &Row, out: &mut dyn Write) -> io::Result<()> {
    let cells = [
        Cell(&line.take, TAKE, Side::Left),
        Cell(&line.marked_food(), WIDTH - BOX.len() - TAKE - WHOM - 4, Side::Left),
        Cell(&line.whom, WHOM, Side::Left),
    ];
    lines(&row(BOX, &cells), out)?;
    below(&line.alerts, &line.notes, out)
}

fn below(alerts: &[String], notes: &[String], out: &mut dyn Write) -> io::Result<()> {
    alerts.iter().try_for_each(|alert| lines(&hanging("    ! ", alert, WIDTH), out))?;
    notes.iter().try_for_each(|note| lines(&hanging("    - ", note, WIDTH), out))
}

fn already(in_hand: &[InHand], out: &mut dyn Write) -> io::Result<()> {
    if in_hand.is_empty() {
        return Ok(());
    }
    title("Already have", out)?;
    for food in in_hand {
        let amount = if food.amount.is_empty() { String::new() } else { format!("{} from ", food.amount) };
        let cells = [
            Cell(&food.food, TAKE, Side::Left),
            Cell(&format!("{amount}{}", food.place), WIDTH - BOX.len() - TAKE - WHOM - 4, Side::Left),
            Cell(&food.whom, WHOM, Side::Left),
        ];
        lines(&row(BOX, &cells), out)?;
        below(&food.alerts, &food.notes, out)?;
    }
    Ok(())
}

fn money(sheet: &Sheet, out: &mut dyn Write) -> io::Result<()> {
    title("What it comes to", out)?;
    for tab in &sheet.tabs {
        let cells =
            [Cell(&tab.name, 28, Side::Left), Cell(&tab.estimate, 8, Side::Right), Cell(&tab.budget, 32, Side::Left)];
        lines(&row("", &cells), out)?;
    }
    writeln!(out, "In all {}", plain(&sheet.total))?;
    if sheet.unpriced.is_empty() {
        return Ok(());
    }
    lines(&hanging("Not counted, without a price: ", &sheet.unpriced.join(", "), WIDTH), out)
}
