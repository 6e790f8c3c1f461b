//! `trug check`: what was found in a kitchen, by how much it matters.

use std::io::{self, Write};

use trug_provision::check::{Finding, Severity};

use crate::show::plain;

/// The heads, in words: colour alone says nothing to many.
const HEADS: [(Severity, &str); 3] = [
    (Severity::Error, "Allergy alerts, and what cannot be carried out"),
    (Severity::Warning, "To mend"),
    (Severity::Notice, "To know"),
];

/// Prints findings.
///
/// # Errors
/// Where the writer fails.
pub fn write(findings: &[Finding], out: &mut dyn Write) -> io::Result<()> {
    if findings.is_empty() {
        return writeln!(
            out,
            "Nothing was found that needs mending. The label, local food codes and licensed advice come first."
        );
    }
    let mut first = true;
    for (severity, head) in HEADS {
        let mut own = findings.iter().filter(|finding| finding.severity == severity).peekable();
        if own.peek().is_some() {
            let gap = if std::mem::take(&mut first) { "" } else { "\n" };
            writeln!(out, "{gap}{head}")?;
        }
        own.try_for_each(|finding| one(finding, out))?;
    }
    Ok(())
}

fn one(finding: &Finding, out: &mut dyn Write) -> io::Result<()> {
    let place = if finding.place.is_empty() { String::new() } else { format!("{}: ", finding.place) };
    writeln!(out, "  {}{}", plain(&place), plain(&finding.text))
}
