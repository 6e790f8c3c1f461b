//! The verbs of `trug run` that are about one trip.

use serde_json::{Value, json};
use trug_catalog::Catalog;
use trug_device::{Entry, Plan};
use trug_measure::Currency;
use trug_provision::guard::ConflictKind;
use trug_provision::kitchen::Kitchen;
use trug_replica::id::{Alias, LineId, PickId, Stamp};
use trug_replica::run::{
    Claimed, HandLine, Label, Line, LineView, MustNot, Note, Pick, Quantity, Receipt, Run, Taken, Updated,
};

use super::args::{Bought, Make};
use super::home::{Home, now};
use super::judge::{Alert, Judge};
use super::show::{Shown, merge};
use super::{Answer, DeviceError, find, words};

/// Where a line is put that nothing is known of.
const ELSEWHERE: &str = "other";

fn stamp() -> Stamp {
    Stamp(i64::try_from(now().0).unwrap_or(i64::MAX))
}

/// Starts a trip from a folder's week.
pub(crate) fn make(home: &mut Home, ask: &Make) -> Result<Answer, DeviceError> {
    let files = trug_folder::read_dir(&ask.kitchen)?;
    let relay = ask.relay.as_deref().map(super::address).transpose()?;
    let plan = Plan { week: ask.week.clone(), households: ask.households.clone(), store: ask.store.clone() };
    // Before anything is written: whether it can be planned at all.
    let asked = trug_folder::read(&files)?;
    plan.list(&plan.narrow(&asked)?)?;
    super::writable_book(home)?;
    home.act(|device, at, out| device.import(at, &files, out))??;
    if let Some(name) = &ask.name {
        home.act(|device, at, out| device.set_name(at, name, out))?;
    }
    if let Some(relay) = &relay {
        home.act(|device, at, out| device.set_relay(at, Some(relay), out))??;
    }
    let (kitchen, _) = home.device.kitchen()?;
    let title = ask.title.clone().unwrap_or_else(|| ask.week.clone());
    let id = home.act(|device, at, out| device.start_trip(at, &kitchen, &plan, &title, out))??;
    let entry = home.device.trips().into_iter().find(|trip| trip.id == id).ok_or_else(gone)?;
    let lines = home.device.run(&id).map_or(0, |run| run.view().lines.len());
    let letters = find::short(&id, entry.log);
    Ok(Answer::new(
        vec![letters.clone(), format!("{title}: {lines} lines to get; {}", to_send(home, &entry))],
        json!({ "trip": letters, "title": title, "lines": lines }),
    ))
}

fn gone() -> DeviceError {
    DeviceError::Failed("the document is not on this device any more".to_owned())
}

/// What still has to be sent of a document, in words.
fn to_send(home: &Home, entry: &Entry) -> String {
    let count = home.device.shelf(&entry.id).map_or(0, |shelf| shelf.status().to_send);
    match (&entry.relay, count) {
        (None, _) => "kept on this device".to_owned(),
        (Some(_), 0) => "sent".to_owned(),
        (Some(_), count) => format!("kept on this device, {count} to send: trug run sync"),
    }
}

/// Brings a trip up to date with its folder.
pub(crate) fn update(home: &mut Home, kitchen: &std::path::Path, trip: Option<&str>) -> Result<Answer, DeviceError> {
    let files = trug_folder::read_dir(kitchen)?;
    let entry = find::trip(home, trip)?;
    if home.device.follows(&entry.id).is_none() {
        return Err(trug_device::TripError::FollowsNothing.into());
    }
    home.act(|device, at, out| device.import(at, &files, out))??;
    let (kitchen, _) = home.device.kitchen()?;
    let updated = home.act(|device, at, out| device.bring_up_to_date(at, &entry.id, &kitchen, out))??;
    let run = home.device.run(&entry.id).ok_or_else(gone)?;
    let food = |id: &LineId| run.line(id).map_or_else(|| id.to_string(), |line| line.food().to_owned());
    let Updated::Followed { new, changed, withdrawn, wanted } = updated else {
        let text = "the trip follows a later plan already, made with more known of the book; nothing was changed: sync \
                    first, then try again";
        return Ok(Answer::new(vec![text.to_owned()], json!({ "followed": false })).with_problem());
    };
    let mut lines = Vec::new();
    for (what, ids) in
        [("new", &new), ("changed", &changed), ("no longer needed", &withdrawn), ("needed again", &wanted)]
    {
        lines.extend(ids.iter().map(|id| format!("{what}: {}", food(id))));
    }
    if lines.is_empty() {
        lines.push("nothing has changed".to_owned());
    }
    lines.push(to_send(home, &entry));
    let ids = |ids: &[LineId]| ids.iter().map(|id| id.as_str().to_owned()).collect::<Vec<_>>();
    let json = json!({
        "followed": true, "new": ids(&new), "changed": ids(&changed), "withdrawn": ids(&withdrawn), "wanted": ids(&wanted),
    });
    Ok(Answer::new(lines, json))
}

/// The trips here.
pub(crate) fn list(home: &Home) -> Answer {
    let kitchen = super::kitchen_of(home);
    let trips = home.device.trips();
    let shown: Vec<Shown<'_>> = trips.iter().filter_map(|trip| Shown::of(home, trip, kitchen.as_ref())).collect();
    let text = |shown: &Shown<'_>| {
        let left = shown.left();
        let letters = find::short(&shown.entry.id, shown.entry.log);
        let role = if shown.entry.owned { "" } else { ", by invitation" };
        format!("{letters}  {}: {left} to get{role}", shown.entry.title)
    };
    let json = |shown: &Shown<'_>| {
        let whole = shown.json();
        let member = |name: &str| whole.get(name).cloned().unwrap_or_default();
        merge(member("trip"), json!({ "left": member("left"), "lines": shown.view.lines.len() }))
    };
    let mut lines: Vec<String> = shown.iter().map(text).collect();
    if lines.is_empty() {
        lines.push("no trips here; `trug run make` starts one, `trug run join` joins one".to_owned());
    }
    Answer::new(lines, json!({ "trips": shown.iter().map(json).collect::<Vec<Value>>() }))
}

/// A trip.
pub(crate) fn show(home: &Home, trip: Option<&str>) -> Result<Answer, DeviceError> {
    let entry = find::trip(home, trip)?;
    let kitchen = super::kitchen_of(home);
    let shown = Shown::of(home, &entry, kitchen.as_ref()).ok_or_else(gone)?;
    Ok(Answer::new(shown.text(), shown.json()))
}

/// A trip that is picked on.
struct Hand<'h> {
    shown: Shown<'h>,
    kitchen: Option<&'h Kitchen>,
}

impl<'h> Hand<'h> {
    fn of(home: &'h Home, entry: &'h Entry, kitchen: Option<&'h Kitchen>) -> Result<Self, DeviceError> {
        Ok(Self { shown: Shown::of(home, entry, kitchen).ok_or_else(gone)?, kitchen })
    }

    fn line(&self, asked: &str, aliases: &[Alias]) -> Result<LineView, DeviceError> {
        find::line(&self.shown.view, asked, aliases).cloned()
    }

    fn aliases(&self, asked: &[String]) -> Result<Vec<Alias>, DeviceError> {
        asked.iter().map(|asked| self.shown.alias(asked)).collect()
    }

    /// A store's name: as it was said, or by its id on the chef's devices.
    fn store(&self, asked: Option<&String>) -> Option<String> {
        let by_id = |asked: &String| self.kitchen?.stores.get(asked.as_str()).map(|store| store.name.clone());
        asked.map(|asked| by_id(asked).unwrap_or_else(|| asked.clone()))
    }

    /// The currency of the trip's prices, else the kitchen's.
    fn currency(&self) -> Currency {
        let costs = self.shown.view.lines.iter().filter_map(|line| match line.line.as_deref() {
            Some(Line::Planned(plan)) => plan.cost,
            _ => None,
        });
        let known = costs.map(|cost| cost.currency).next().or_else(|| Some(self.kitchen?.currency));
        known.unwrap_or(Currency::USD)
    }

    /// What there is to say of something taken for a line.
    fn alerts(&self, food: &str, line: &LineView) -> Vec<Alert> {
        let must_not = self.shown.must_not(line);
        let mut alerts = Judge::of(self.kitchen).allergies(food, &must_not);
        let aliases = super::show::aliases_of(line).into_iter().filter_map(|alias| Alias::new(&alias).ok());
        aliases.for_each(|alias| alerts.extend(self.wishes(food, &alias)));
        alerts
    }

    /// On the chef's devices also what somebody avoids, and diets.
    fn wishes(&self, food: &str, alias: &Alias) -> Vec<Alert> {
        let household = self.shown.household(alias).and_then(|id| self.kitchen?.households.get(id));
        let diners = household.map(|household| household.diners.as_slice()).unwrap_or_default();
        let avoid = diners.iter().flat_map(|diner| &diner.avoid).map(|what| (ConflictKind::Avoid, what.as_str()));
        let diet = diners.iter().flat_map(|diner| &diner.diet).map(|what| (ConflictKind::Diet, what.as_str()));
        Judge::of(self.kitchen).all(food, avoid.chain(diet).map(|(kind, what)| (alias, kind, what)))
    }

    /// A household's allergies, for a line by hand.
    fn must_not(&self, alias: &Alias) -> Vec<MustNot> {
        let mut found = self.shown.of_household(Some(alias));
        let household = self.shown.household(alias).and_then(|id| self.kitchen?.households.get(id));
        let diners = household.map(|household| household.diners.as_slice()).unwrap_or_default();
        let what = diners.iter().flat_map(|diner| &diner.allergies);
        found.extend(what.map(|what| MustNot { alias: alias.clone(), what: what.clone(), alert: false }));
        found.sort();
        found.dedup();
        found
    }

    /// A pick of a line, as it was asked for.
    fn pick(&self, line: &LineView, what: Taken, bought: Option<&Bought>) -> Result<Pick, DeviceError> {
        let label = bought.and_then(|bought| {
            let says = bought.label.clone()?;
            Some(Label { product: bought.product.clone().unwrap_or_default(), says })
        });
        Ok(Pick {
            line: line.id.clone(),
            what,
            at: stamp(),
            store: self.store(bought.and_then(|bought| bought.store.as_ref())),
            aliases: bought.map_or(Ok(Vec::new()), |bought| self.aliases(&bought.aliases))?,
            label,
        })
    }

    /// How much, in which packs, and for how much.
    fn taken(
        &self,
        line: &LineView,
        bought: &Bought,
    ) -> Result<(Quantity, Vec<trug_replica::run::Pack>, Option<trug_measure::Money>), DeviceError> {
        let amount = match bought.part.as_deref().map(str::trim) {
            None => Quantity::Whole(line.line.as_deref().and_then(Line::want)),
            Some("some") => Quantity::Part(None),
            Some(text) => Quantity::Part(Some(words::amount(text)?)),
        };
        let mut packs = bought.packs.iter().map(|text| words::pack(text)).collect::<Result<Vec<_>, _>>()?;
        if let (true, Quantity::Whole(_), Some(Line::Planned(plan))) = (packs.is_empty(), amount, line.line.as_deref())
        {
            packs.clone_from(&plan.packs);
        }
        let price = bought.price.as_deref().map(|text| words::money(text, self.currency())).transpose()?;
        Ok((amount, packs, price))
    }
}

/// Got lines from the shelf.
pub(crate) fn got(
    home: &mut Home,
    lines: &[String],
    bought: &Bought,
    trip: Option<&str>,
) -> Result<Answer, DeviceError> {
    let of_one = bought.part.is_some() || bought.price.is_some() || !bought.packs.is_empty() || bought.label.is_some();
    if lines.len() > 1 && of_one {
        return Err(DeviceError::Asked(
            "--part, --price, --packs and --label are about one line; give the lines one by one".to_owned(),
        ));
    }
    picked(home, trip, |hand| {
        let aliases = hand.aliases(&bought.aliases)?;
        let pick = |asked: &String| {
            let line = hand.line(asked, &aliases)?;
            let (amount, packs, price) = hand.taken(&line, bought)?;
            let pick = hand.pick(&line, Taken::Got { amount, packs, price }, Some(bought))?;
            Ok((line, pick, Vec::new()))
        };
        lines.iter().map(pick).collect()
    })
}

/// Found a line at home.
pub(crate) fn at_home(
    home: &mut Home,
    line: &str,
    amount: Option<&str>,
    trip: Option<&str>,
) -> Result<Answer, DeviceError> {
    picked(home, trip, |hand| {
        let line = hand.line(line, &[])?;
        let amount = match amount.map(str::trim) {
            None => Quantity::Whole(line.line.as_deref().and_then(Line::want)),
            Some("some") => Quantity::Part(None),
            Some(text) => Quantity::Part(Some(words::amount(text)?)),
        };
        let pick = hand.pick(&line, Taken::AtHome { amount }, None)?;
        Ok(vec![(line, pick, Vec::new())])
    })
}

/// Took something else. What nobody on the line may have is said, never passed over; the fact is kept all the same,
/// since whoever opens the bag must know of it.
pub(crate) fn sub(
    home: &mut Home,
    line: &str,
    instead: &str,
    bought: &Bought,
    trip: Option<&str>,
) -> Result<Answer, DeviceError> {
    if instead.trim().is_empty() {
        return Err(DeviceError::Asked("nothing was named that was taken instead".to_owned()));
    }
    picked(home, trip, |hand| {
        let line = hand.line(line, &hand.aliases(&bought.aliases)?)?;
        let (amount, packs, price) = hand.taken(&line, bought)?;
        // The list's packs are of what was not taken.
        let packs = if bought.packs.is_empty() { Vec::new() } else { packs };
        let what = Taken::Sub { instead: instead.trim().to_owned(), amount, packs, price };
        let pick = hand.pick(&line, what, Some(bought))?;
        let mut alerts: Vec<String> =
            hand.alerts(instead.trim(), &line).iter().map(|alert| alert.text().to_owned()).collect();
        if matches!(line.line.as_deref(), Some(Line::Planned(plan)) if plan.ask) {
            alerts.push("the chef wants to be asked before anything else is taken: ask".to_owned());
        }
        Ok(vec![(line, pick, alerts)])
    })
}

/// Looked, and there was none.
pub(crate) fn none(
    home: &mut Home,
    lines: &[String],
    store: Option<&String>,
    trip: Option<&str>,
) -> Result<Answer, DeviceError> {
    picked(home, trip, |hand| {
        let pick = |asked: &String| {
            let line = hand.line(asked, &[])?;
            let pick = Pick { store: hand.store(store), ..hand.pick(&line, Taken::NoneThere, None)? };
            Ok((line, pick, Vec::new()))
        };
        lines.iter().map(pick).collect()
    })
}

type Picks = Vec<(LineView, Pick, Vec<String>)>;

/// Writes picks, all of which are understood before the first is written, and says what came of them.
fn picked(
    home: &mut Home,
    trip: Option<&str>,
    picks: impl FnOnce(&Hand<'_>) -> Result<Picks, DeviceError>,
) -> Result<Answer, DeviceError> {
    let entry = find::trip(home, trip)?;
    let picks = {
        let kitchen = super::kitchen_of(home);
        picks(&Hand::of(home, &entry, kitchen.as_ref())?)?
    };
    let mut made: Vec<PickId> = Vec::new();
    for (_, pick, _) in &picks {
        made.push(home.act(|device, at, out| device.edit(at, &entry.id, |run: &mut Run| run.pick(pick), out))??);
    }
    let view = home.device.run(&entry.id).ok_or_else(gone)?.view();
    let (mut text, mut json, mut all_alerts) = (Vec::new(), Vec::new(), Vec::new());
    for ((line, pick, alerts), id) in picks.iter().zip(&made) {
        let food = line.line.as_deref().map_or("a line that is not here", Line::food);
        let now = view.lines.iter().find(|one| one.id == line.id);
        let state = now.map_or("", |line| super::show::state_word(line.standing.state));
        let unclear = now.is_some_and(|line| line.standing.unclear);
        text.push(format!("{food}: {} <{}>", super::show::taken_text(pick), find::pick_letters(&view, *id)));
        if unclear {
            text.push("  nobody can say how much of what is wanted that is: the line stays a part".to_owned());
        } else if state != "got" {
            text.push(format!("  the line is now: {state}"));
        }
        text.extend(alerts.iter().map(|alert| format!("  {alert}")));
        json.push(json!({
            "id": id.to_string(), "line": line.id.as_str(), "food": food, "state": state, "alerts": alerts,
        }));
        all_alerts.extend(alerts.iter().cloned());
    }
    text.push(to_send(home, &entry));
    Ok(Answer::new(text, json!({ "picks": json })).with_alerts(all_alerts))
}

/// Undoes a pick.
pub(crate) fn undo(home: &mut Home, pick: &str, trip: Option<&str>) -> Result<Answer, DeviceError> {
    let entry = find::trip(home, trip)?;
    let view = home.device.run(&entry.id).ok_or_else(gone)?.view();
    let pick = find::pick(home, &view, pick)?;
    let new =
        home.act(|device, at, out| device.edit(at, &entry.id, |run: &mut Run| run.strike(pick, stamp()), out))??;
    let text = if new { format!("undone; {}", to_send(home, &entry)) } else { "it was undone before".to_owned() };
    Ok(Answer::new(vec![text], json!({ "pick": pick.to_string(), "new": new })))
}

/// Adds a line by hand.
pub(crate) fn add(
    home: &mut Home,
    food: &str,
    amount: &str,
    section: Option<&String>,
    alias: Option<&String>,
    trip: Option<&str>,
) -> Result<Answer, DeviceError> {
    let food = food.trim();
    if food.is_empty() {
        return Err(DeviceError::Asked("nothing was named to add".to_owned()));
    }
    let entry = find::trip(home, trip)?;
    let (line, alerts) = {
        let kitchen = super::kitchen_of(home);
        let hand = Hand::of(home, &entry, kitchen.as_ref())?;
        let alias = alias.map(|asked| hand.shown.alias(asked)).transpose()?;
        let alerts = alias.as_ref().map(|alias| {
            let mut alerts = Judge::of(hand.kitchen).allergies(food, &hand.must_not(alias));
            alerts.extend(hand.wishes(food, alias));
            alerts
        });
        let catalog = hand.kitchen.map_or(Catalog::builtin(), |kitchen| &kitchen.catalog);
        let known = catalog.find(food).map(|found| catalog.get(found.food).section.clone());
        let section = section.cloned().or(known).filter(|section| !section.is_empty());
        let section = section.unwrap_or_else(|| ELSEWHERE.to_owned());
        let line = HandLine { food: food.to_owned(), text: amount.trim().to_owned(), section, alias };
        (line, alerts.unwrap_or_default())
    };
    let id = home.act(|device, at, out| device.edit(at, &entry.id, |run: &mut Run| run.add_line(&line), out))??;
    let alerts: Vec<String> = alerts.iter().map(|alert| alert.text().to_owned()).collect();
    let mut text = vec![format!("{food}: added in {} [{id}]", line.section)];
    text.extend(alerts.iter().map(|alert| format!("  {alert}")));
    text.push(to_send(home, &entry));
    let json = json!({ "line": id.as_str(), "food": food, "section": line.section, "alerts": alerts });
    Ok(Answer::new(text, json).with_alerts(alerts))
}

/// What is taken upon oneself.
pub(crate) enum Upon<'a> {
    Line(&'a str),
    Section(&'a str),
    Store(&'a str),
}

/// Takes something upon this device, or gives it up.
pub(crate) fn claim(
    home: &mut Home,
    upon: &Upon<'_>,
    give_up: bool,
    trip: Option<&str>,
) -> Result<Answer, DeviceError> {
    let entry = find::trip(home, trip)?;
    let (what, text) = {
        let run = home.device.run(&entry.id).ok_or_else(gone)?;
        let view = run.view();
        match upon {
            Upon::Line(asked) => {
                let line = find::line(&view, asked, &[])?;
                let food = line.line.as_deref().map_or("a line", Line::food).to_owned();
                (Claimed::Line(line.id.clone()), food)
            }
            Upon::Section(name) => (Claimed::Section((*name).to_owned()), (*name).to_owned()),
            Upon::Store(name) => (Claimed::Store((*name).to_owned()), (*name).to_owned()),
        }
    };
    let who = (!give_up).then_some(home.device.id());
    home.act(|device, at, out| device.edit(at, &entry.id, |run: &mut Run| run.claim(&what, who), out))??;
    let did = if give_up { "given up" } else { "taken" };
    Ok(Answer::new(
        vec![format!("{text}: {did}; {}", to_send(home, &entry))],
        json!({ "of": text, "given_up": give_up }),
    ))
}

/// Remarks something.
pub(crate) fn note(home: &mut Home, text: &str, line: Option<&str>, trip: Option<&str>) -> Result<Answer, DeviceError> {
    let entry = find::trip(home, trip)?;
    let line = line.map(|asked| {
        let view = home.device.run(&entry.id).ok_or_else(gone)?.view();
        find::line(&view, asked, &[]).map(|line| line.id.clone())
    });
    let note = Note { line: line.transpose()?, text: text.to_owned(), at: stamp() };
    let id = home.act(|device, at, out| device.edit(at, &entry.id, |run: &mut Run| run.note(&note), out))??;
    Ok(Answer::new(vec![format!("said; {}", to_send(home, &entry))], json!({ "note": id.to_string() })))
}

/// Records what a till took.
pub(crate) fn pay(
    home: &mut Home,
    store: &str,
    total: &str,
    alias: Option<&String>,
    trip: Option<&str>,
) -> Result<Answer, DeviceError> {
    let entry = find::trip(home, trip)?;
    let receipt = {
        let kitchen = super::kitchen_of(home);
        let hand = Hand::of(home, &entry, kitchen.as_ref())?;
        let alias = alias.map(|asked| hand.shown.alias(asked)).transpose()?;
        let store = hand.store(Some(&store.to_owned())).unwrap_or_default();
        Receipt { store, total: words::money(total, hand.currency())?, alias, at: stamp() }
    };
    let id = home.act(|device, at, out| device.edit(at, &entry.id, |run: &mut Run| run.pay(&receipt), out))??;
    let text =
        format!("{} {} paid at {}; {}", receipt.total, receipt.total.currency, receipt.store, to_send(home, &entry));
    Ok(Answer::new(vec![text], json!({ "receipt": id.to_string(), "total": receipt.total.to_string() })))
}
