//! Shopping trips follow the week: whatever changes in the kitchen reaches them a moment later.

use std::rc::Rc;

use trug_device::{DocId, Told};
use trug_provision::kitchen::Kitchen;
use trug_replica::run::{Change, Updated};

use super::Desk;
use crate::later;

/// How long the kitchen must have stood still, in milliseconds: somebody who edits a menu makes several changes in a row.
const PAUSE: u32 = 700;

impl Desk {
    /// Brings the trips up to date once the kitchen has stood still for a moment.
    pub(super) fn follow_soon(&self) {
        if !self.leads() || !self.is_chef() {
            return;
        }
        let weak = Rc::downgrade(&self.0);
        self.0.following.set(PAUSE, move || {
            if let (Some(inner), Some(later)) = (weak.upgrade(), later::here()) {
                (later.follow)(&Desk(inner));
            }
        });
    }

    /// Brings the trips up to date that say something else than their plans do.
    pub(crate) fn follow_plans(&self) {
        let Some(Ok(now)) = self.kitchen() else { return };
        if self.0.followed.borrow().as_ref() == Some(&now) {
            return;
        }
        self.0.followed.replace(Some(now.clone()));
        for id in self.behind(&now.kitchen) {
            self.bring_up_to_date(&id, &now.kitchen);
        }
    }

    /// The trips that are not over and say something else than their plan does.
    fn behind(&self, kitchen: &Kitchen) -> Vec<DocId> {
        self.read(|device| {
            let trips = device.trips().into_iter().filter(|trip| trip.owned).map(|trip| trip.id);
            // A plan that cannot be made just now leaves its trip as it is; the week's own screen says why.
            trips.filter(|id| !device.is_finished(id) && device.is_behind(id, kitchen).unwrap_or(false)).collect()
        })
    }

    /// Brings a trip up to date with its plan; its screen says what that changed.
    pub fn bring_up_to_date(&self, id: &DocId, kitchen: &Kitchen) {
        let updated = self.act(|device, now, out| device.bring_up_to_date(now, id, kitchen, out));
        if let Ok(updated) = updated {
            self.keep_told(id, changes(updated));
            self.changed();
        }
    }
}

/// What an update did, in the words in which a merge tells it.
fn changes(updated: Updated) -> Vec<Told> {
    let Updated::Followed { new, changed, withdrawn, wanted } = updated else { return Vec::new() };
    let changes = new.into_iter().map(Change::LineNew);
    let changes = changes.chain(changed.into_iter().map(Change::LineChanged));
    let changes = changes.chain(withdrawn.into_iter().map(Change::LineWithdrawn));
    changes.chain(wanted.into_iter().map(Change::LineWanted)).map(Told::Run).collect()
}
