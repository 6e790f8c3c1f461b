//! `trug why`: a line's explanation in words, with the arithmetic a person can follow on paper.

use std::io::{self, Write};

use trug_measure::{Amount, Exact, Money, Unit};
use trug_provision::convert::{Converted, Step};
use trug_provision::demand::scale;
use trug_provision::kitchen::Kitchen;
use trug_provision::list::ListLine;
use trug_provision::need::Counts;
use trug_provision::plan::list_name;
use trug_provision::price::Buy;
use trug_provision::text;
use trug_provision::why::{Asked, WhyLine};

use crate::show::plain;
use crate::words;

/// Prints why the lines of one food say what they say.
///
/// # Errors
/// Where the writer fails.
pub fn write(kitchen: &Kitchen, lines: &[WhyLine<'_>], out: &mut dyn Write) -> io::Result<()> {
    for (at, why) in lines.iter().enumerate() {
        if at > 0 {
            writeln!(out)?;
        }
        let mut said = Said { kitchen, lines: Vec::new() };
        said.line(why);
        said.lines.iter().try_for_each(|line| writeln!(out, "{}", plain(line)))?;
    }
    Ok(())
}

/// A number as the arithmetic shows it: three decimals at most.
fn number(value: Exact) -> String {
    value.to_decimals(3).to_string()
}

/// A factor: as a fraction where it is a short one.
fn factor(value: Exact) -> String {
    if value.is_whole() || value.denominator() > 99 || value.numerator() > 999 {
        return number(value);
    }
    format!("{}/{}", value.numerator(), value.denominator())
}

/// An amount in the unit that a food is counted in, to one decimal.
fn figure(value: Exact, unit: Unit) -> String {
    format!("{} {unit}", value.to_decimals(1))
}

/// The lines said so far.
struct Said<'k> {
    kitchen: &'k Kitchen,
    lines: Vec<String>,
}

impl Said<'_> {
    fn say(&mut self, depth: usize, text: impl AsRef<str>) {
        self.lines.push(format!("{}{}", "  ".repeat(depth), text.as_ref()));
    }

    fn line(&mut self, why: &WhyLine<'_>) {
        let line = &why.line;
        let name = list_name(&self.kitchen.catalog, line.food);
        let apart =
            line.separate.as_ref().map(|id| format!(", kept apart for {}", text::household_name(self.kitchen, id)));
        self.say(0, format!("{name}{}: {}", apart.unwrap_or_default(), text::line_text(self.kitchen, line)));
        for alert in words::alerts(self.kitchen, line) {
            self.say(1, format!("! {alert}"));
        }
        self.say(1, "asked for by");
        for asked in &why.asked {
            self.asked(asked);
        }
        self.sum(why);
        self.bought(line);
        for warning in words::warnings(self.kitchen, line) {
            self.say(1, format!("note: {warning}"));
        }
    }

    fn asked(&mut self, asked: &Asked<'_>) {
        let kitchen = self.kitchen;
        let dish = words::dish_title(kitchen, &asked.dish);
        let via = asked.via.as_ref().map(|via| format!(", in its {}", words::dish_title(kitchen, via)));
        let table = text::household_name(kitchen, &asked.household);
        self.say(2, format!("{dish}{}, for {table}: \"{}\"", via.unwrap_or_default(), asked.raw));
        if let Some(swap) = asked.swapped {
            let ratio =
                if swap.ratio == Exact::ONE { String::new() } else { format!(", times {}", factor(swap.ratio)) };
            self.say(3, format!("{} stands in for {}{ratio}", swap.to.text, swap.from.text));
        }
        match asked.amount.zip(asked.converted) {
            Some((amount, converted)) => self.reckoning(asked, amount, converted),
            None => self.say(3, "no amount: somebody makes sure that there is some"),
        }
    }

    fn reckoning(&mut self, asked: &Asked<'_>, amount: Exact, converted: Converted) {
        let scaled = amount * asked.factor;
        let factor_text = self.factor_text(asked);
        self.say(3, format!("{} x {} = {} ({factor_text})", number(amount), factor(asked.factor), number(scaled)));
        let mut running = scaled;
        for step in &asked.steps {
            // What the last line says once need not be said twice.
            let result = matches!(step, Step::Exact { value } if *value == converted.need);
            let text = step_text(step, &mut running, asked, converted);
            if !result {
                self.say(3, text);
            }
        }
        let unit = converted.tally.unit();
        self.say(3, format!("= {} as purchased", figure(converted.need, unit)));
        match asked.counts {
            Counts::InFull => {}
            Counts::SameWholes => self.say(3, "not counted again: it comes from the wholes that another part needs"),
            Counts::SamePot => self.say(3, "not counted again: another dish of the service fills the same pot fuller"),
        }
    }

    /// Where the factor comes from.
    fn factor_text(&self, asked: &Asked<'_>) -> String {
        if let Some(pot) = &asked.fills {
            return format!("needed once a service, for the {pot}, and not scaled");
        }
        let dish = self.kitchen.dishes.get(&asked.dish);
        let Some(one) = dish.and_then(|dish| scale(dish, Exact::ONE)) else {
            return "the dish does not say how many it serves: counted once".to_owned();
        };
        let portions = one * asked.portions;
        let mut text =
            format!("{} portions of a dish that serves {}", number(asked.portions), number(Exact::ONE / one));
        let rest = if portions.is_positive() { asked.factor / portions } else { Exact::ONE };
        if rest != Exact::ONE {
            let share = asked.via.as_ref().map(|_| "the share of what is made");
            let swap = asked.swapped.filter(|swap| swap.ratio != Exact::ONE).map(|_| "the swap");
            let reasons: Vec<&str> = share.into_iter().chain(swap).collect();
            let reasons = if reasons.is_empty() { "this serving".to_owned() } else { reasons.join(" and ") };
            text.push_str(&format!(", times {} for {reasons}", factor(rest)));
        }
        text
    }

    fn sum(&mut self, why: &WhyLine<'_>) {
        let line = &why.line;
        let Some(need) = line.need else { return };
        let unit = line.tally.unit();
        self.say(1, format!("needed in all {}", figure(need, unit)));
        for (household, taking) in &why.takings {
            let lot = &taking.lot;
            let size = if lot.amount_text.is_empty() { "there is enough" } else { lot.amount_text.as_str() };
            let by = lot.use_by.map(|by| format!(", use by {by}")).unwrap_or_default();
            let place = text::pantry_name(self.kitchen, taking.pantry);
            let table = words::short_name(self.kitchen, household);
            let amount = figure(taking.amount, unit);
            self.say(2, format!("{amount} for {table} from {place} ({} {size}{by})", lot.food.text));
        }
        if let Some(to_buy) = line.to_buy {
            let in_hand = line.in_pantry.unwrap_or_default();
            let (need, in_hand, to_buy) = (figure(need, unit), figure(in_hand, unit), figure(to_buy, unit));
            self.say(1, format!("to buy {need} - {in_hand} in hand = {to_buy}"));
        }
    }

    fn bought(&mut self, line: &ListLine) {
        let buy = &line.buy;
        if !line.to_buy.is_some_and(Exact::is_positive) {
            return;
        }
        let place = buy.store.as_ref().map_or("wherever it is sold", |id| words::store_name(self.kitchen, id));
        self.say(1, format!("taken at {place}"));
        for taken in taken(buy, line) {
            self.say(2, taken);
        }
        match buy.cost {
            Some(cost) => self.say(2, format!("costs {cost} {}", self.kitchen.currency.code())),
            None => self.say(2, "no price is known"),
        }
        if let Some(surplus) = buy.surplus {
            self.say(2, format!("left over {}", figure(surplus, line.tally.unit())));
        }
        let share = |(id, share): &(_, Money)| format!("{} {share}", words::short_name(self.kitchen, id));
        let shares: Vec<String> = line.shares.iter().map(share).collect();
        if shares.len() > 1 {
            self.say(2, format!("shared by what each still needs: {}", shares.join(", ")));
        }
    }
}

fn taken(buy: &Buy, line: &ListLine) -> Vec<String> {
    let packs = buy.packs.iter().map(|pack| match pack.price {
        Some(price) => format!("{} x {} at {price} = {}", pack.count, pack.size_text, price.times(pack.count)),
        None => format!("{} x {}", pack.count, pack.size_text),
    });
    let loose = buy.loose.as_ref().map(|loose| {
        let holds = figure(loose.holds, line.tally.unit());
        format!("{} loose ({holds}) at {} for {}", loose.amount.as_written(), loose.price, loose.size_text)
    });
    packs.chain(loose).collect()
}

fn step_text(step: &Step, running: &mut Exact, asked: &Asked<'_>, converted: Converted) -> String {
    let unit = converted.tally.unit();
    match step {
        Step::Size { size } => {
            *running = *running * size.value;
            format!("x {} each = {}", size.as_written(), Amount::new(*running, size.unit).as_written())
        }
        Step::Total { total } => {
            *running = total.value * asked.factor;
            format!("by the {} stated for all = {}", total.as_written(), Amount::new(*running, total.unit).as_written())
        }
        Step::Exact { value } => {
            *running = *value;
            format!("= {}", figure(*value, unit))
        }
        Step::Spoonful { share, spoon } => {
            *running = *running * *share;
            format!("a {} is about {} {}", asked.unit.unwrap_or(Unit::Each), number(*share), spoon.symbol())
        }
        Step::Measure { measure, from, grams } => {
            *running = *grams;
            let mut which = vec![measure.unit.symbol()];
            which.extend(measure.words.iter().map(String::as_str));
            let other = if *from == measure.unit { String::new() } else { format!(" (from {from})") };
            let (which, one) = (which.join(" "), number(measure.grams));
            format!("one {which}{other} weighs {one} g = {} edible", figure(*grams, Unit::GRAM))
        }
        Step::Density { density, value } => {
            *running = *value;
            format!("at {} g/ml = {}", number(*density), figure(*value, unit))
        }
        Step::Cooked { factor } => divided("cooked it weighs", "its raw weight", *factor, running, unit),
        Step::Drained { factor } => divided("drained it weighs", "its net weight", *factor, running, unit),
        Step::Wholes { part, each, wholes, grams } => {
            *running = *wholes * *grams;
            let yields = each.map(|each| format!("one gives {} g of {part}: ", number(each))).unwrap_or_default();
            format!(
                "{yields}{} whole x {} g = {} edible",
                number(*wholes),
                number(*grams),
                figure(*running, Unit::GRAM)
            )
        }
        Step::Refuse { refuse } => {
            let edible = figure(converted.edible.unwrap_or(*running), unit);
            format!("{} % is trimmed away: {edible} / (1 - {}/100)", number(*refuse), number(*refuse))
        }
    }
}

fn divided(what: &str, of: &str, factor: Exact, running: &mut Exact, unit: Unit) -> String {
    *running = *running / factor;
    format!("{what} {} of {of}: / {} = {}", number(factor), number(factor), figure(*running, unit))
}
