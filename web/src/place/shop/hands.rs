//! What a hand does on a trip: each is one small edit of its document.

use trug_device::{DocId, Refused};
use trug_replica::id::{DeviceId, LineId, PickId};
use trug_replica::run::{
    Claimed, HandLine, Line, LineState, LineView, Note, Pack, Pick, PlanLine, Quantity, Receipt, Run, Taken,
};

use crate::desk::{Desk, stamp};

/// The desk, at one trip.
#[derive(Clone, PartialEq)]
pub struct Hands {
    pub(super) desk: Desk,
    pub(super) id: DocId,
    /// The store that the person says to be in.
    pub(super) store: Option<String>,
}

/// The plan's side of a line.
pub(super) fn planned(view: &LineView) -> Option<&PlanLine> {
    match view.line.as_deref() {
        Some(Line::Planned(line)) => Some(line),
        _ => None,
    }
}

/// What a tick says: all that is still missing.
pub(super) fn whole(view: &LineView) -> Taken {
    let want = view.line.as_deref().and_then(Line::want);
    let planned = planned(view);
    if planned.is_some_and(|line| line.check && line.want.is_none()) {
        // Somebody has made sure: nothing says that it was bought.
        return Taken::AtHome { amount: Quantity::Whole(None) };
    }
    let left = view.standing.left.filter(|left| view.standing.state == LineState::Part && left.value.is_positive());
    let packs = |left: bool| match planned {
        Some(line) if !left => line.packs.clone(),
        _ => Vec::<Pack>::new(),
    };
    let amount = left.map_or(Quantity::Whole(want), |left| Quantity::Part(Some(left)));
    Taken::Got { amount, packs: packs(left.is_some()), price: None }
}

/// This device's picks of a line that stand.
pub(super) fn own_picks(view: &LineView, me: DeviceId) -> Vec<PickId> {
    view.picks.iter().map(|(id, _)| *id).filter(|id| id.device == me).collect()
}

impl Hands {
    /// This device's picks of a line that stand at this moment: the screen may be a tap behind.
    pub(super) fn own_picks_now(&self, line: &LineId, me: DeviceId) -> Vec<PickId> {
        let view = self.desk.read(|device| device.run(&self.id).map(Run::view));
        let views = view.into_iter().flat_map(|view| view.lines);
        views.filter(|view| view.id == *line).flat_map(|view| own_picks(&view, me)).collect()
    }

    /// A pick that happened now, here.
    pub(super) fn now(&self, view: &LineView, what: Taken) -> Pick {
        let store = self.store.clone().or_else(|| planned(view)?.store.clone());
        Pick { line: view.id.clone(), what, at: stamp(), store, aliases: Vec::new(), label: None }
    }

    fn edit<R>(&self, edit: impl FnOnce(&mut Run) -> Result<R, trug_replica::EditError>) -> Result<R, Refused> {
        self.desk.edit(&self.id, edit)
    }

    /// Records a pick.
    pub(super) fn pick(&self, pick: &Pick) -> Result<PickId, Refused> {
        self.edit(|run| run.pick(pick))
    }

    /// Records a pick in the place of others, as one edit.
    pub(super) fn pick_instead(&self, pick: &Pick, of: &[PickId]) -> Result<PickId, Refused> {
        self.edit(|run| {
            let id = run.pick(pick)?;
            of.iter().try_for_each(|old| run.strike(*old, stamp()).map(|_| ()))?;
            Ok(id)
        })
    }

    /// Undoes picks.
    pub(super) fn strike(&self, picks: &[PickId]) -> Result<(), Refused> {
        self.edit(|run| picks.iter().try_for_each(|pick| run.strike(*pick, stamp()).map(|_| ())))
    }

    /// Remarks something.
    pub(super) fn note(&self, line: Option<LineId>, text: &str) -> Result<(), Refused> {
        let note = Note { line, text: text.to_owned(), at: stamp() };
        self.edit(|run| run.note(&note).map(|_| ()))
    }

    /// Says who takes what; `None` is nobody.
    pub(super) fn claim(&self, what: &[Claimed], who: Option<DeviceId>) -> Result<(), Refused> {
        self.edit(|run| what.iter().try_for_each(|what| run.claim(what, who).map(|_| ())))
    }

    /// Adds a line by hand.
    pub(super) fn add(&self, line: &HandLine) -> Result<LineId, Refused> {
        self.edit(|run| run.add_line(line))
    }

    /// Records what a till took.
    pub(super) fn pay(&self, receipt: &Receipt) -> Result<(), Refused> {
        self.edit(|run| run.pay(receipt).map(|_| ()))
    }

    /// Settles a line of which distinct values were set apart.
    pub(super) fn settle(&self, id: &LineId, line: &Line) -> Result<(), Refused> {
        self.edit(|run| run.settle_line(id, line).map(|_| ()))
    }

    /// Names the trip.
    pub(super) fn name(&self, title: &str) -> Result<(), Refused> {
        self.edit(|run| run.set_title(title).map(|_| ()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::place::shop::sample::{got, pick, view};

    fn line(want: Option<&str>, check: bool) -> Line {
        let mut line = crate::place::shop::sample::planned("Rice");
        line.want = want.map(|want| want.parse().unwrap());
        line.check = check;
        Line::Planned(Box::new(line))
    }

    #[test]
    fn a_tick_says_what_is_still_missing() {
        let amount = |text: &str| text.parse().unwrap();
        let whole_of = |text: &str| Quantity::Whole(Some(amount(text)));
        let part = |text: &str| Quantity::Part(Some(amount(text)));
        let got_it = |amount| Taken::Got { amount, packs: Vec::new(), price: None };
        let table = [
            (view(line(Some("2 lb"), false), vec![]), got_it(whole_of("2 lb"))),
            (view(line(Some("2 lb"), false), vec![got(part("0.5 lb"), None)]), got_it(part("1.5 lb"))),
            (view(line(Some("2 lb"), false), vec![pick(Taken::NoneThere)]), got_it(whole_of("2 lb"))),
            (view(line(Some("2 lb"), true), vec![]), got_it(whole_of("2 lb"))),
            (view(line(None, true), vec![]), Taken::AtHome { amount: Quantity::Whole(None) }),
        ];
        for (view, expected) in table {
            assert_eq!(whole(&view), expected);
        }
    }
}
