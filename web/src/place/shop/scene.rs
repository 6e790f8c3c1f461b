//! What a trip shows: each line's row, and where it stands.

use std::cell::RefCell;
use std::collections::{BTreeMap, HashMap};
use std::rc::Rc;

use trug_catalog::Keep;
use trug_replica::gather;
use trug_replica::id::{DeviceId, LineId, PickId};
use trug_replica::run::{Claimed, Line, LineState, LineView, Note, Pick, PlanLine, Taken};
use yew::AttrValue;

use super::who::Who;
use crate::later;
use crate::look::{Ticked, Tone};
use crate::words::{say_kind, say_name, t};

/// Where a row stands on the screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Group {
    /// A person has to look at it, and say what is to be done.
    Look,
    /// In its section: to get.
    ToGet,
    /// There was none.
    Nowhere,
    /// It is there.
    Got,
    /// The plan no longer wants it.
    Gone,
}

/// What a row says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Row {
    /// Of which line.
    pub(super) id: LineId,
    /// The food.
    pub(super) food: AttrValue,
    /// What to take from the shelf.
    pub(super) take: AttrValue,
    /// How much of it is there.
    pub(super) ticked: Ticked,
    /// Further lines.
    pub(super) lines: Vec<AttrValue>,
    /// Words in frames.
    pub(super) marks: Vec<(AttrValue, Tone)>,
    /// Allergy alerts: the line's own food conflicts with an allergy.
    pub(super) alerts: Vec<AttrValue>,
    /// What it, and whatever is taken in its place, must not contain.
    pub(super) must_not: Option<AttrValue>,
    /// What has to be decided, and in which words.
    pub(super) ask: Option<Ask>,
}

/// Something that people on the trip have to decide.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Ask {
    /// In a few words.
    pub(super) title: AttrValue,
    /// Who did what, and what can be done.
    pub(super) text: AttrValue,
    /// This device has bought it, and can put it back.
    pub(super) mine: bool,
    /// What keeping it is called.
    pub(super) keep: AttrValue,
}

/// A row, and what the screen sorts and filters it by.
#[derive(Debug, PartialEq)]
pub(super) struct Item {
    /// The line's id.
    pub(super) id: LineId,
    /// What it says.
    pub(super) row: Rc<Row>,
    /// Where it stands.
    pub(super) group: Group,
    /// The store's section; empty where nobody has said.
    pub(super) section: String,
    /// The store.
    pub(super) store: Option<String>,
    /// It is chilled or frozen.
    pub(super) cold: bool,
    /// It is raw meat, poultry or fish.
    pub(super) raw: bool,
    /// Who takes it.
    pub(super) taker: Option<DeviceId>,
}

/// What the run says beside its lines.
#[derive(Debug, Default)]
pub(super) struct Beside {
    /// Who takes what.
    pub(super) claims: BTreeMap<Claimed, DeviceId>,
    /// The remarks on each line, in the order of their times, with who made them.
    pub(super) notes: HashMap<LineId, Vec<(DeviceId, Note)>>,
    /// Lines that changed while this screen was open: what they said before; empty where they are new.
    pub(super) changed: HashMap<LineId, String>,
}

impl Beside {
    fn taker(&self, id: &LineId, section: &str, store: Option<&str>) -> Option<DeviceId> {
        let claims = [Some(Claimed::Line(id.clone())), Some(Claimed::Section(section.to_owned()))].into_iter();
        let claims = claims.chain([store.map(|store| Claimed::Store(store.to_owned()))]).flatten();
        claims.filter_map(|claim| self.claims.get(&claim)).copied().next()
    }

    /// Somebody has said something about a line since it was last picked: what was to be decided is decided.
    fn is_answered(&self, view: &LineView) -> bool {
        let last = view.picks.iter().map(|(_, pick)| pick.at).max();
        let notes = self.notes.get(&view.id).into_iter().flatten();
        last.is_some_and(|last| notes.map(|(_, note)| note.at).any(|at| at >= last))
    }
}

/// Whether a food is raw meat, poultry or fish, by its name: looked up once for each.
#[derive(Debug, Default)]
pub(super) struct Raw(RefCell<HashMap<String, bool>>);

impl Raw {
    /// Whether the catalogue is here to ask.
    pub(super) fn is_known() -> bool {
        later::here().is_some()
    }

    fn is(&self, food: &str) -> bool {
        if let Some(known) = self.0.borrow().get(food) {
            return *known;
        }
        // The catalogue is not on the first screen; the list is read again when it has come.
        let Some(later) = later::here() else { return false };
        let raw = (later.is_raw)(food);
        self.0.borrow_mut().insert(food.to_owned(), raw);
        raw
    }
}

/// Makes a line's item.
pub(super) fn item(view: &LineView, who: &Who, beside: &Beside, raw: &Raw) -> Item {
    let planned = planned(view);
    let (section, store) = match view.line.as_deref() {
        Some(Line::Planned(line)) => (line.section.clone(), line.store.clone()),
        Some(Line::ByHand(line)) => (line.section.clone(), None),
        None => (String::new(), None),
    };
    let taker = beside.taker(&view.id, &section, store.as_deref());
    let food = view.line.as_deref().map_or_else(|| t!("shop.unknown_line"), |line| line.food().to_owned().into());
    Item {
        id: view.id.clone(),
        group: group(view, beside),
        cold: planned.is_some_and(|line| line.keep != Keep::Ambient),
        raw: planned.is_some_and(|line| line.keep != Keep::Ambient && raw.is(&line.food)),
        row: Rc::new(row(view, food, who, beside, taker)),
        section,
        store,
        taker,
    }
}

fn planned(view: &LineView) -> Option<&PlanLine> {
    match view.line.as_deref() {
        Some(Line::Planned(line)) => Some(line),
        _ => None,
    }
}

fn group(view: &LineView, beside: &Beside) -> Group {
    match view.standing.state {
        LineState::ToGet | LineState::Part => Group::ToGet,
        LineState::Got => Group::Got,
        LineState::BoughtTwice | LineState::WithdrawnButBought if !beside.is_answered(view) => Group::Look,
        LineState::BoughtTwice | LineState::WithdrawnButBought => Group::Got,
        LineState::NotToBeHad => Group::Nowhere,
        LineState::Withdrawn => Group::Gone,
    }
}

fn row(view: &LineView, food: AttrValue, who: &Who, beside: &Beside, taker: Option<DeviceId>) -> Row {
    let mut lines = Vec::new();
    match view.line.as_deref() {
        Some(Line::Planned(line)) => plan_lines(line, who, &mut lines),
        Some(Line::ByHand(line)) => {
            let whom = line.alias.as_ref().map(|alias| t!("common.for_whom", whom = who.table(alias)));
            lines.extend(whom);
        }
        None => {}
    }
    lines.extend(standing(view, who));
    let notes = beside.notes.get(&view.id).into_iter().flatten();
    lines.extend(notes.map(|(by, note)| t!("shop.said", who = who.person(*by), text = note.text)));
    let planned = planned(view);
    Row {
        id: view.id.clone(),
        take: take(view),
        ticked: ticked(view.standing.state),
        lines,
        marks: marks(view, who, beside, taker),
        alerts: planned.map(|line| alerts(line, &food, who)).unwrap_or_default(),
        must_not: planned.and_then(|line| must_not(line, who)),
        ask: ask(view, who, beside),
        food,
    }
}

const fn ticked(state: LineState) -> Ticked {
    match state {
        LineState::ToGet | LineState::NotToBeHad | LineState::Withdrawn => Ticked::No,
        LineState::Part => Ticked::Part,
        LineState::Got | LineState::BoughtTwice | LineState::WithdrawnButBought => Ticked::Yes,
    }
}

/// What to take from the shelf.
pub(super) fn take(view: &LineView) -> AttrValue {
    match view.line.as_deref() {
        // What a person only makes sure of has no packs.
        Some(Line::Planned(line)) if line.want.is_none() && line.check => {
            match line.shares.iter().all(|share| share.need.is_none()) {
                true => t!("shop.make_sure"),
                false => t!("shop.make_sure_amount", amount = line.text),
            }
        }
        Some(Line::Planned(line)) => line.text.clone().into(),
        Some(Line::ByHand(line)) => line.text.clone().into(),
        None => AttrValue::default(),
    }
}

/// What the plan says under what to take: how much is needed, for whom, what it contains, what may stand in.
fn plan_lines(line: &PlanLine, who: &Who, lines: &mut Vec<AttrValue>) {
    let need = line.want.map(|want| who.amount(want)).filter(|need| *need != line.text);
    let need = need.map(|need| t!("shop.need", amount = need).to_string());
    let whom = who.shares(&line.shares);
    let first: Vec<String> = [need, whom].into_iter().flatten().collect();
    if !first.is_empty() {
        lines.push(first.join(" · ").into());
    }
    if line.check && line.want.is_some() {
        lines.push(t!("shop.make_sure_enough"));
    }
    if !line.contains.is_empty() {
        lines.push(t!("common.contains", what = kinds(&line.contains)));
    }
    if line.read_label {
        lines.push(t!("shop.read_label"));
    }
    if !line.subs.is_empty() {
        lines.push(t!("shop.sub_cleared", subs = line.subs.join("; ")));
    }
}

/// Kinds of allergens in the reader's language.
pub(super) fn kinds(kinds: &[String]) -> String {
    let names: Vec<String> = kinds.iter().map(|kind| say_kind(kind).to_string()).collect();
    names.join(", ")
}

/// What its picks come to, in words; nothing where this device alone has plainly got it.
fn standing(view: &LineView, who: &Who) -> Vec<AttrValue> {
    let standing = &view.standing;
    let mut lines = Vec::new();
    if standing.state == LineState::Part {
        let amounts = standing.there.filter(|there| there.value.is_positive()).zip(standing.left);
        lines.push(match amounts {
            Some((there, left)) => t!("shop.part_got", amount = who.amount(there), left = who.amount(left)),
            None => t!("shop.part_some"),
        });
    }
    if standing.unclear {
        lines.push(t!("shop.unclear"));
    }
    let told = view.picks.iter().filter(|(id, pick)| id.device != who.me || !is_plain(pick));
    lines.extend(told.map(|(id, pick)| pick_line(*id, pick, who)));
    lines
}

/// From the shelf, for everybody: the tick, or how much is still to go, says it.
fn is_plain(pick: &Pick) -> bool {
    use trug_replica::run::Quantity::Whole;
    let plain = matches!(&pick.what, Taken::Got { .. } | Taken::AtHome { amount: Whole(None) });
    plain && pick.aliases.is_empty()
}

fn pick_line(id: PickId, pick: &Pick, who: &Who) -> AttrValue {
    t!("shop.said", who = who.person(id.device), text = who.pick(pick))
}

fn marks(view: &LineView, who: &Who, beside: &Beside, taker: Option<DeviceId>) -> Vec<(AttrValue, Tone)> {
    let mut marks = Vec::new();
    if let Some(before) = beside.changed.get(&view.id) {
        let text = if before.is_empty() { t!("shop.new") } else { t!("shop.changed", before = before) };
        marks.push((text, Tone::Care));
    }
    match view.standing.state {
        LineState::NotToBeHad => marks.push((t!("shop.none"), Tone::Care)),
        LineState::Withdrawn => marks.push((t!("shop.no_longer"), Tone::Plain)),
        LineState::WithdrawnButBought => marks.push((t!("shop.no_longer_bought"), Tone::Care)),
        LineState::BoughtTwice => marks.push((t!("shop.twice"), Tone::Care)),
        LineState::ToGet | LineState::Part | LineState::Got => {}
    }
    if let Some(line) = planned(view) {
        if let Some(alias) = &line.separate {
            marks.push((t!("shop.separate", whom = who.table(alias)), Tone::Care));
        }
        if line.ask {
            marks.push((t!("shop.no_sub_ask"), Tone::Care));
        }
        if line.optional {
            marks.push((t!("shop.optional_line"), Tone::Plain));
        }
    }
    if let Some(Line::ByHand(_)) = view.line.as_deref() {
        let by = view.id.as_str().parse::<PickId>().map(|fact| who.person(fact.device));
        marks.extend(by.ok().map(|by| (t!("shop.added_by", who = by), Tone::Plain)));
    }
    if let Some(taker) = taker.filter(|_| beside.claims.contains_key(&Claimed::Line(view.id.clone()))) {
        marks.push((t!("shop.takes", who = who.person(taker)), Tone::Plain));
    }
    marks
}

/// One alert for each household at which the food itself conflicts with an allergy.
fn alerts(line: &PlanLine, food: &str, who: &Who) -> Vec<AttrValue> {
    let alerts = line.must_not.iter().filter(|must_not| must_not.alert);
    let text = |must_not: &trug_replica::run::MustNot| {
        t!("shop.alert", whom = who.table(&must_not.alias), what = say_kind(&must_not.what), food = food)
    };
    alerts.map(text).collect()
}

/// What it must not contain, by household.
fn must_not(line: &PlanLine, who: &Who) -> Option<AttrValue> {
    let quiet = line.must_not.iter().filter(|must_not| !must_not.alert);
    let mut by_table: BTreeMap<&str, Vec<AttrValue>> = BTreeMap::new();
    for must_not in quiet {
        by_table.entry(who.table(&must_not.alias)).or_default().push(say_kind(&must_not.what));
    }
    let one = |(table, what): (&str, Vec<AttrValue>)| {
        let what: Vec<&str> = what.iter().map(AttrValue::as_str).collect();
        format!("{} ({table})", what.join(", "))
    };
    let all: Vec<String> = by_table.into_iter().map(one).collect();
    (!all.is_empty()).then(|| t!("shop.must_not", what = all.join("; ")))
}

fn ask(view: &LineView, who: &Who, beside: &Beside) -> Option<Ask> {
    if group(view, beside) != Group::Look {
        return None;
    }
    let picks = view.picks.iter().filter(|(_, pick)| pick.what.is_purchase());
    let buyers = gather::set(picks.map(|(id, _)| id.device));
    let mine = buyers.contains(&who.me);
    let names: Vec<String> = buyers.into_iter().map(|device| who.person(device)).collect();
    let names = names.join(", ");
    Some(match view.standing.state {
        LineState::BoughtTwice => {
            Ask { title: t!("shop.twice"), text: t!("shop.twice_text", who = names), mine, keep: t!("shop.keep_both") }
        }
        _ => Ask {
            title: t!("shop.no_longer_bought"),
            text: t!("shop.no_longer_text", who = names),
            mine,
            keep: t!("shop.keep_for_kit"),
        },
    })
}

/// A store's rows of one section that are to get.
#[derive(Debug, PartialEq)]
pub(super) struct Part<'a> {
    /// The section, by its name in the data.
    pub(super) section: &'a str,
    /// Its rows, in walking order.
    pub(super) items: Vec<&'a Rc<Item>>,
}

/// A store with its sections.
#[derive(Debug, PartialEq)]
pub(super) struct Stop<'a> {
    /// The store; `None` where none is settled.
    pub(super) store: Option<&'a str>,
    /// Its sections, in walking order.
    pub(super) parts: Vec<Part<'a>>,
}

impl Stop<'_> {
    /// How many rows it has.
    pub(super) fn len(&self) -> usize {
        self.parts.iter().map(|part| part.items.len()).sum()
    }
}

/// Rows in walking order, by store and section; each stands where its first row does. What was added by hand joins the
/// first store that has its section.
pub(super) fn stops<'a>(items: impl IntoIterator<Item = &'a Rc<Item>>) -> Vec<Stop<'a>> {
    let mut stops: Vec<Stop<'a>> = Vec::new();
    for item in items {
        let (store, section) = (item.store.as_deref(), item.section.as_str());
        let has = |stop: &Stop<'_>| stop.parts.iter().any(|part| part.section == section);
        let known = stops.iter().position(|stop| stop.store == store);
        let known = known.or_else(|| store.is_none().then(|| stops.iter().position(has)).flatten());
        let at = known.unwrap_or_else(|| {
            stops.push(Stop { store, parts: Vec::new() });
            stops.len() - 1
        });
        let Some(stop) = stops.get_mut(at) else { continue };
        match stop.parts.iter_mut().find(|part| part.section == section) {
            Some(part) => part.items.push(item),
            None => stop.parts.push(Part { section, items: vec![item] }),
        }
    }
    stops
}

/// A section's name for a person.
pub(super) fn section_name(section: &str) -> AttrValue {
    if section.is_empty() { say_name("section", "other") } else { say_name("section", section) }
}

#[cfg(test)]
#[path = "scene_tests.rs"]
mod tests;
