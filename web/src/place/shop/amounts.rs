//! Reading how much somebody took of a line.

use trug_measure::{Amount, Exact, Unit};
use trug_replica::run::{Pack, PlanLine};

/// A part of a line, as a person said it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Part {
    /// How much.
    pub(super) amount: Amount,
    /// In which packs.
    pub(super) packs: Vec<Pack>,
}

/// Why an amount cannot be taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unclear {
    /// It is no amount.
    NoAmount,
    /// A bare number of something that is weighed or poured.
    NoUnit,
}

/// How many packs the line says, where it says one kind of pack alone.
pub(super) fn only_pack(line: &PlanLine) -> Option<&Pack> {
    match line.packs.as_slice() {
        [pack] if pack.count > 0 => Some(pack),
        _ => None,
    }
}

/// Reads an amount: `1 lb`, `0.5 kg`; a bare number is a number of packs where the line has one kind of them, and of
/// pieces where it is counted.
pub(super) fn read(text: &str, line: Option<&PlanLine>) -> Result<Part, Unclear> {
    let text = text.trim().replace(',', ".");
    let amount: Amount = text.parse().map_err(|_| Unclear::NoAmount)?;
    let bare = amount.unit == Unit::Each && text.chars().all(|letter| !letter.is_alphabetic());
    let plain = |amount| Part { amount, packs: Vec::new() };
    let Some(line) = line.filter(|_| bare) else { return Ok(plain(amount)) };
    if let Some(part) = only_pack(line).and_then(|pack| packs(line, pack, amount.value)) {
        return Ok(part);
    }
    match line.want.map(|want| want.unit) {
        Some(unit) if unit.is_count() => Ok(plain(Amount::new(amount.value, unit))),
        Some(_) => Err(Unclear::NoUnit),
        None => Ok(plain(amount)),
    }
}

/// So many of the line's packs.
fn packs(line: &PlanLine, pack: &Pack, count: Exact) -> Option<Part> {
    let number = u64::try_from(count.floor()).ok().filter(|_| count.is_whole())?;
    let want = line.want?;
    let size = pack.size.parse::<Amount>().ok().and_then(|size| size.to_unit(want.unit)).map(|size| size.value);
    // Where a pack's size is in a unit that does not compare, the packs share what they hold together.
    let all = i64::try_from(pack.count).ok()?;
    let size = size.or_else(|| line.takes.map(|takes| takes.value / Exact::whole(all)))?;
    let packs = vec![Pack { count: number, size: pack.size.clone() }];
    Some(Part { amount: Amount::new(size * count, want.unit), packs })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::place::shop::sample::planned;

    #[test]
    fn a_part_is_read_by_what_the_line_counts() {
        let packs = |count: u64, size: &str| vec![Pack { count, size: size.to_owned() }];
        type Case =
            (&'static str, Option<&'static str>, &'static [(u64, &'static str)], Result<(&'static str, u64), Unclear>);
        let table: [Case; 8] = [
            ("1 lb", Some("2 lb"), &[], Ok(("1 lb", 0))),
            ("1", Some("29 oz"), &[(2, "14.5 oz")], Ok(("14.5 oz", 1))),
            ("1,5 lb", Some("2 lb"), &[], Ok(("1.5 lb", 0))),
            ("1", Some("300 g"), &[(3, "1 bunch")], Ok(("100 g", 1))),
            ("2", Some("5"), &[], Ok(("2", 0))),
            ("2", Some("3 bunch"), &[], Ok(("2 bunch", 0))),
            ("2", Some("2 lb"), &[], Err(Unclear::NoUnit)),
            ("some", Some("2 lb"), &[], Err(Unclear::NoAmount)),
        ];
        for (text, want, taken, expected) in table {
            let mut line = planned("Onion");
            line.want = want.map(|want| want.parse().unwrap());
            line.takes = line.want;
            line.packs = taken.iter().flat_map(|(count, size)| packs(*count, size)).collect();
            let unit = line.want.map(|want| want.unit).unwrap();
            let read = read(text, Some(&line))
                .map(|part| (part.amount.to_unit(unit).unwrap(), part.packs.first().map_or(0, |pack| pack.count)));
            let expected =
                expected.map(|(amount, packs)| (amount.parse::<Amount>().unwrap().to_unit(unit).unwrap(), packs));
            assert_eq!(read, expected, "{text} of {want:?}");
        }
    }
}
