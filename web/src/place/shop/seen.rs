//! All that a trip's document says, read once for each change of it.

use std::collections::{BTreeMap, HashMap};
use std::rc::Rc;

use trug_catalog::Keep;
use trug_measure::{Currency, Money, System};
use trug_replica::gather;
use trug_replica::id::{Alias, DeviceId, FactId, LineId, Stamp};
use trug_replica::run::{Claimed, Conflict, Line, LineView, Note, Receipt, Run};
use trug_replica::{Document as _, Mode};

use super::scene::{Beside, Group, Item, Raw, item};
use super::who::Who;

/// What a trip says.
#[derive(Debug)]
pub(super) struct Seen {
    /// Its title.
    pub(super) title: String,
    /// Who is who.
    pub(super) who: Rc<Who>,
    /// Its lines, in walking order.
    pub(super) lines: Vec<LineView>,
    /// The same as the screen has them.
    pub(super) items: Vec<Rc<Item>>,
    /// Claims, remarks, and what changed.
    pub(super) beside: Beside,
    /// Remarks about no line.
    pub(super) remarks: Vec<(DeviceId, Note)>,
    /// Where distinct values were set apart.
    pub(super) conflicts: Vec<Conflict>,
    /// What tills took.
    pub(super) receipts: Vec<(FactId, Receipt)>,
    /// How much of it this program cannot read.
    pub(super) unreadable: usize,
    /// The catalogue was here to say what is raw.
    raw_known: bool,
    /// A newer program has written here: it is shown, and not changed.
    pub(super) read_only: bool,
}

/// Each reading is another.
impl PartialEq for Seen {
    fn eq(&self, other: &Self) -> bool {
        std::ptr::eq(self, other)
    }
}

/// What this device knows beside the document.
pub(super) struct Knows<'a> {
    /// The chef's names of the households.
    pub(super) tables: BTreeMap<Alias, String>,
    /// In which units it reads.
    pub(super) units: System,
    /// What changed while the screen was open.
    pub(super) changed: HashMap<LineId, String>,
    /// Which foods are raw meat, poultry or fish.
    pub(super) raw: &'a Raw,
}

impl Seen {
    /// Reads a trip. Rows of which nothing has changed are taken from the reading before.
    pub(super) fn of(run: &Run, knows: Knows<'_>, before: Option<&Self>) -> Self {
        let who = Who { units: knows.units, tables: knows.tables, people: run.people(), me: run.device() };
        let (notes, remarks) = notes(run);
        let beside = Beside { claims: run.claims(), notes, changed: knows.changed };
        let view = run.view();
        let before = before.filter(|before| {
            *before.who == who && before.beside.claims == beside.claims && before.raw_known == Raw::is_known()
        });
        let items = items(&view.lines, &who, &beside, knows.raw, before);
        Self {
            title: run.title().unwrap_or_default(),
            who: Rc::new(who),
            items,
            beside,
            remarks,
            conflicts: run.conflicts(),
            receipts: run.receipts(),
            raw_known: Raw::is_known(),
            unreadable: view.unreadable.len(),
            read_only: run.mode() != Mode::Writable,
            lines: view.lines,
        }
    }

    /// A line with its picks.
    pub(super) fn line(&self, id: &LineId) -> Option<&LineView> {
        self.lines.iter().find(|view| view.id == *id)
    }

    /// How many lines stand in a group.
    pub(super) fn count(&self, group: Group) -> usize {
        self.items.iter().filter(|item| item.group == group).count()
    }

    /// When the first chilled or frozen food went into a cart, of the picks after a moment.
    pub(super) fn cold_since(&self, after: Stamp) -> Option<Stamp> {
        let cold = self.lines.iter().filter(|view| match view.line.as_deref() {
            Some(Line::Planned(line)) => line.keep != Keep::Ambient,
            _ => false,
        });
        let picks = cold.flat_map(|view| &view.picks).filter(|(_, pick)| pick.what.is_purchase());
        picks.map(|(_, pick)| pick.at).filter(|at| *at > after).min()
    }

    /// The stores that its lines name, in walking order.
    pub(super) fn stores(&self) -> Vec<&str> {
        let mut stores: Vec<&str> = Vec::new();
        for store in self.items.iter().filter_map(|item| item.store.as_deref()) {
            if !stores.contains(&store) {
                stores.push(store);
            }
        }
        stores
    }

    /// The currency of its prices.
    pub(super) fn currency(&self) -> Currency {
        let costs = self.lines.iter().filter_map(|view| match view.line.as_deref() {
            Some(Line::Planned(line)) => line.cost,
            _ => None,
        });
        costs.map(|cost: Money| cost.currency).next().unwrap_or(Currency::USD)
    }

    /// Everybody who has a name here or has picked or claimed something, this device first.
    pub(super) fn people(&self) -> Vec<DeviceId> {
        let mut people = vec![self.who.me];
        let pickers = self.lines.iter().flat_map(|view| &view.picks).map(|(id, _)| id.device);
        let all = self.who.people.keys().copied().chain(pickers).chain(self.beside.claims.values().copied());
        for device in all {
            if !people.contains(&device) {
                people.push(device);
            }
        }
        people
    }

    /// Who takes a section.
    pub(super) fn section_taker(&self, section: &str) -> Option<DeviceId> {
        self.beside.claims.get(&Claimed::Section(section.to_owned())).copied()
    }
}

/// The remarks on lines, and those about no line.
type Notes = (HashMap<LineId, Vec<(DeviceId, Note)>>, Vec<(DeviceId, Note)>);

fn notes(run: &Run) -> Notes {
    let all = gather::ordered(run.notes(), |(a, one), (b, other)| (one.at, a) < (other.at, b));
    let (mut by_line, mut others): Notes = (HashMap::new(), Vec::new());
    for (id, note) in all {
        match note.line.clone() {
            Some(line) => by_line.entry(line).or_default().push((id.device, note)),
            None => others.push((id.device, note)),
        }
    }
    (by_line, others)
}

fn items(lines: &[LineView], who: &Who, beside: &Beside, raw: &Raw, before: Option<&Seen>) -> Vec<Rc<Item>> {
    let known: HashMap<&LineId, (&LineView, &Rc<Item>)> = before
        .into_iter()
        .flat_map(|before| before.lines.iter().zip(&before.items))
        .map(|(view, item)| (&view.id, (view, item)))
        .collect();
    let same = |view: &LineView| {
        let (was, item) = known.get(&view.id)?;
        let before = before?;
        let beside_same = before.beside.notes.get(&view.id) == beside.notes.get(&view.id)
            && before.beside.changed.get(&view.id) == beside.changed.get(&view.id);
        (beside_same && *was == view).then(|| (*item).clone())
    };
    lines.iter().map(|view| same(view).unwrap_or_else(|| Rc::new(item(view, who, beside, raw)))).collect()
}

#[cfg(test)]
mod tests {
    use trug_replica::run::{HandLine, Pick, Quantity, Taken};

    use super::*;

    fn run() -> Run {
        let mut entropy = |buffer: &mut [u8]| buffer.fill(7);
        Run::create(super::super::sample::device(1), &mut entropy).unwrap()
    }

    fn knows(raw: &Raw) -> Knows<'_> {
        Knows { tables: BTreeMap::new(), units: System::Us, changed: HashMap::new(), raw }
    }

    #[test]
    fn one_tick_makes_one_row_anew() {
        let (mut run, raw) = (run(), Raw::default());
        for food in ["Rice", "Onions", "Salt"] {
            let line = HandLine { food: food.to_owned(), text: String::new(), section: "x".to_owned(), alias: None };
            run.add_line(&line).unwrap();
        }
        let before = Seen::of(&run, knows(&raw), None);
        let line = before.lines[1].id.clone();
        let what = Taken::Got { amount: Quantity::Whole(None), packs: Vec::new(), price: None };
        let pick = Pick { line, what, at: Stamp(5), store: None, aliases: Vec::new(), label: None };
        run.pick(&pick).unwrap();
        let after = Seen::of(&run, knows(&raw), Some(&before));
        let kept: Vec<bool> = before.items.iter().zip(&after.items).map(|(a, b)| Rc::ptr_eq(a, b)).collect();
        assert_eq!(kept, [true, false, true]);
        assert_eq!((after.count(Group::ToGet), after.count(Group::Got)), (2, 1));
    }
}
