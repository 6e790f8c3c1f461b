//! Bringing a run up to date with a changed plan, also on two devices at once.
//!
//! A plan has a revision: a count that grows with the book it was made from, and a digest of its lines, so that no two
//! different plans have the same. Of two plans the later holds; who has the earlier writes nothing. So devices that
//! update at once settle after the next update from the later plan, and none undoes the other's for ever.
//!
//! A withdrawal names the plan that no longer wants the line, and counts only while that plan holds. So a line that the
//! holding plan wants is never hidden by what an earlier plan withdrew at the same time, and a line that the holding plan
//! has not heard of is shown until it does.

use std::collections::BTreeSet;
use std::fmt;
use std::str::FromStr;

use sha2::{Digest, Sha256};

use super::line::{Line, PlanLine};
use super::{LINES, META, PLAN, Run, WITHDRAWN};
use crate::gather;
use crate::id::{BadId, LineId};
use crate::replica::{EditError, Held, Put, Replica};

/// A plan's revision; the later one holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Revision {
    /// Grows with every change of what the plan is made from; see [`Document::extent`](crate::Document::extent).
    pub count: u64,
    /// The first bytes of a digest of the plan's lines: two plans of one count differ here.
    pub digest: [u8; 8],
}

impl Revision {
    /// The revision of a plan. The order of its lines does not matter beyond their ranks.
    #[must_use]
    pub fn of(count: u64, plan: &[PlanLine]) -> Self {
        let lines = gather::map(plan.iter().map(|line| (&line.id, Line::Planned(Box::new(line.clone())).write())));
        let mut hasher = Sha256::new();
        for (id, text) in lines {
            for part in [id.as_str(), &text] {
                hasher.update((part.len() as u64).to_be_bytes());
                hasher.update(part.as_bytes());
            }
        }
        let digest: [u8; 32] = hasher.finalize().into();
        Self { count, digest: *digest.first_chunk().unwrap_or(&[0; 8]) }
    }
}

impl fmt::Display for Revision {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-{:016x}", self.count, u64::from_be_bytes(self.digest))
    }
}

impl FromStr for Revision {
    type Err = BadId;

    fn from_str(text: &str) -> Result<Self, BadId> {
        let bad = || BadId { read: text.to_owned(), what: "a plan's revision" };
        let (count, digest) = text.split_once('-').ok_or_else(bad)?;
        let digest = u64::from_str_radix(digest, 16).map_err(|_| bad())?;
        Ok(Self { count: count.parse().map_err(|_| bad())?, digest: digest.to_be_bytes() })
    }
}

/// What bringing a run up to date came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Updated {
    /// The run follows the plan now.
    Followed {
        /// Lines that were not there.
        new: Vec<LineId>,
        /// Lines of which the plan now says something else.
        changed: Vec<LineId>,
        /// Lines that the plan no longer wants.
        withdrawn: Vec<LineId>,
        /// Lines that the plan wants again.
        wanted: Vec<LineId>,
    },
    /// The run follows a later plan already: nothing was written.
    Later(Revision),
}

impl Run {
    /// The plan that the run follows: the latest that anybody has brought it up to.
    #[must_use]
    pub fn revision(&self) -> Option<Revision> {
        holding(&self.replica)
    }

    /// Brings the run up to date with a plan of that count, as one change. All picks stay; a line that the plan no
    /// longer wants is withdrawn, not deleted; what is as it should be is not written again.
    ///
    /// # Errors
    /// Where the run is read-only or a text too long.
    pub fn bring_up_to_date(&mut self, count: u64, plan: &[PlanLine]) -> Result<Updated, EditError> {
        self.replica.check_writable()?;
        let revision = Revision::of(count, plan);
        if let Some(later) = self.revision().filter(|followed| *followed > revision) {
            return Ok(Updated::Later(later));
        }
        let mut puts = vec![Put::new(META, PLAN, revision.to_string())];
        let (new, changed) = self.put_lines(plan, &mut puts);
        let (withdrawn, wanted) = self.put_withdrawn(plan, revision, &mut puts);
        self.replica.edit(&puts)?;
        Ok(Updated::Followed { new, changed, withdrawn, wanted })
    }

    fn put_lines(&self, plan: &[PlanLine], puts: &mut Vec<Put>) -> (Vec<LineId>, Vec<LineId>) {
        let here = gather::map(self.replica.entries(LINES));
        let (mut new, mut changed) = (Vec::new(), Vec::new());
        let mut seen = BTreeSet::new();
        for line in plan.iter().filter(|line| seen.insert(&line.id)) {
            let text = Line::Planned(Box::new(line.clone())).write();
            match here.get(line.id.as_str()) {
                // Written all the same: where another value was set apart, that settles it.
                Some(held) if held.text == text => {}
                Some(_) => changed.push(line.id.clone()),
                None => new.push(line.id.clone()),
            }
            puts.push(Put::new(LINES, &line.id, text));
        }
        (new, changed)
    }

    /// Withdraws what the plan does not want, anew for each plan.
    fn put_withdrawn(&self, plan: &[PlanLine], revision: Revision, puts: &mut Vec<Put>) -> (Vec<LineId>, Vec<LineId>) {
        let planned = gather::set(plan.iter().map(|line| line.id.as_str()));
        let before = withdrawn(&self.replica);
        let (mut withdrawn, mut wanted) = (Vec::new(), Vec::new());
        for key in self.planned_lines() {
            let (wants, was_withdrawn) = (planned.contains(key.as_str()), before.contains(&key));
            let Ok(id) = LineId::new(&key) else { continue };
            match (wants, was_withdrawn) {
                (true, true) => wanted.push(id),
                (false, false) => withdrawn.push(id),
                _ => {}
            }
            if !wants {
                puts.push(Put::new(WITHDRAWN, key, revision.to_string()));
            }
        }
        (withdrawn, wanted)
    }

    /// The keys of the lines that came from a plan.
    fn planned_lines(&self) -> Vec<String> {
        let lines = self.replica.entries(LINES).into_iter();
        lines
            .filter(|(key, held)| !matches!(Line::read(key, &held.text), Ok(Line::ByHand(_))))
            .map(|(key, _)| key)
            .collect()
    }
}

/// The latest plan that a run was brought up to.
fn holding(replica: &Replica) -> Option<Revision> {
    replica.all(META, PLAN).iter().filter_map(|text| text.parse().ok()).max()
}

/// The keys of the lines that the holding plan has withdrawn.
pub(super) fn withdrawn(replica: &Replica) -> BTreeSet<String> {
    let Some(holding) = holding(replica).map(|holding| holding.to_string()) else { return BTreeSet::new() };
    let holds = |key: &String, held: &Held| match held.conflict {
        true => replica.all(WITHDRAWN, key).contains(&holding),
        false => held.text == holding,
    };
    let entries = replica.entries(WITHDRAWN).into_iter();
    gather::set(entries.filter(|(key, held)| holds(key, held)).map(|(key, _)| key))
}
