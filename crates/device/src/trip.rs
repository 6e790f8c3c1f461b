//! Shopping trips that follow the week's plan: made from it, and brought up to date when it changes.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use trug_provision::kitchen::{HouseholdId, Kitchen, StoreId, WeekId};
use trug_provision::list::List;
use trug_provision::plan::PlanError;
use trug_provision::{Options, list};
use trug_replica::book::Book;
use trug_replica::gather;
use trug_replica::hex::hex;
use trug_replica::id::{Alias, DeviceId, OsEntropy, Salt};
use trug_replica::run::{PlanLine, Revision, Run, Subs, Updated, plan_lines};
use trug_replica::{Document as _, Kind};
use trug_sync::Instant;

use crate::device::{Device, Effect, Refused};
use crate::member::DocId;

/// Before a trip's own letters, in the keys of the book's roots.
const TRIP: &str = "trip/";
/// Before a trip's key, among the book's settings: what it follows.
const FOLLOWS: &str = "follows/";
/// Before a trip's key, among the book's settings: it is over.
const FINISHED: &str = "finished/";
/// Before a food's id, among the book's settings: what may stand in for it.
const SUBS: &str = "subs/";

/// What a trip follows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Plan {
    /// The week, by its id.
    pub week: String,
    /// The households whose services it buys for; empty for all of the week's.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub households: Vec<String>,
    /// Buy at this store only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub store: Option<String>,
}

/// Why a trip cannot be made or brought up to date.
#[derive(Debug, thiserror::Error)]
pub enum TripError {
    /// The week cannot be planned.
    #[error(transparent)]
    Plan(#[from] PlanError),
    /// A household of the plan has no service in that week.
    #[error("week {week} has no service for `{household}`")]
    NoService {
        /// The week.
        week: String,
        /// The household.
        household: String,
    },
    /// The trip follows no plan: it was made by hand, or this device was invited to it.
    #[error("this trip follows no plan on this device")]
    FollowsNothing,
    /// An edit was refused.
    #[error(transparent)]
    Refused(#[from] Refused),
    /// There is no randomness.
    #[error("this device gives no random numbers")]
    NoRandomness,
}

/// What a trip's plan comes to with the kitchen as it is now.
#[derive(Debug)]
pub struct Planned {
    /// The kitchen with those services alone that the trip is for.
    pub kitchen: Kitchen,
    /// The list.
    pub list: List,
    /// The same lines as the trip has them, in the same order as the list's.
    pub lines: Vec<PlanLine>,
    /// How much this device has seen; see [`Revision::count`].
    pub count: u64,
}

#[derive(Serialize, Deserialize)]
struct SubsRecord {
    #[serde(default)]
    cleared: Vec<String>,
    #[serde(default)]
    ask: bool,
}

impl Plan {
    /// The kitchen with those services alone that the plan is for.
    ///
    /// # Errors
    /// [`TripError::NoService`].
    pub fn narrow(&self, kitchen: &Kitchen) -> Result<Kitchen, TripError> {
        let mut narrowed = kitchen.clone();
        if self.households.is_empty() {
            return Ok(narrowed);
        }
        if let Some(week) = narrowed.weeks.get_mut(self.week.as_str()) {
            week.services.retain(|service| self.households.iter().any(|id| id == service.household.as_str()));
            let served = |id: &&String| !week.services.iter().any(|service| service.household.as_str() == *id);
            if let Some(household) = self.households.iter().find(served) {
                return Err(TripError::NoService { week: self.week.clone(), household: household.clone() });
            }
        }
        Ok(narrowed)
    }

    /// The list that it comes to.
    ///
    /// # Errors
    /// [`TripError`].
    pub fn list(&self, kitchen: &Kitchen) -> Result<List, TripError> {
        let options = Options { household: None, store: self.store.as_deref().map(StoreId::new) };
        Ok(list(kitchen, &WeekId::new(&self.week), &options)?)
    }
}

impl Device {
    /// Starts a shopping trip from a plan.
    ///
    /// # Errors
    /// [`TripError`].
    pub fn start_trip(
        &mut self,
        now: Instant,
        kitchen: &Kitchen,
        plan: &Plan,
        title: &str,
        out: &mut Vec<Effect>,
    ) -> Result<DocId, TripError> {
        // Before anything is written: whether it can be planned at all.
        plan.list(&plan.narrow(kitchen)?)?;
        let id = self.new_trip(now, title, out)?;
        let follows = serde_json::to_string(plan).unwrap_or_default();
        let name = format!("{FOLLOWS}{id}");
        self.edit(now, &DocId::book(), |book: &mut Book| book.set_setting(&name, &follows), out)?;
        self.bring_up_to_date(now, &id, kitchen, out)?;
        Ok(id)
    }

    /// A trip with nothing on it, for lines by hand.
    ///
    /// # Errors
    /// [`TripError`].
    pub fn new_trip(&mut self, now: Instant, title: &str, out: &mut Vec<Effect>) -> Result<DocId, TripError> {
        let salt = Salt::draw(&mut OsEntropy).map_err(|_| TripError::NoRandomness)?;
        let letters = DeviceId::draw(&mut OsEntropy).map_err(|_| TripError::NoRandomness)?;
        // By its time first, so that trips list in the order in which they were made.
        let key = format!("{TRIP}{:012x}{letters}", now.0);
        let id = self.begin(now, &key, Kind::Run, title, Some(hex(&salt.to_bytes())), out)?;
        self.edit(now, &id, |run: &mut Run| run.set_title(title), out)?;
        Ok(id)
    }

    /// The trips, the latest first.
    #[must_use]
    pub fn trips(&self) -> Vec<crate::Entry> {
        let mut trips: Vec<_> =
            self.entries().into_iter().filter(|entry| entry.kind == trug_seal::DocumentKind::Run).collect();
        trips.reverse();
        trips
    }

    /// What a trip follows.
    #[must_use]
    pub fn follows(&self, id: &DocId) -> Option<Plan> {
        serde_json::from_str(&self.book()?.setting(&format!("{FOLLOWS}{id}"))?).ok()
    }

    /// A trip's salt.
    fn salt(&self, id: &DocId) -> Option<Salt> {
        Self::bytes_of(&self.salt_text(id)?).map(Salt::from_bytes)
    }

    /// What each household is called on a trip, for the chef, who may see both.
    #[must_use]
    pub fn aliases(&self, id: &DocId, kitchen: &Kitchen) -> BTreeMap<Alias, HouseholdId> {
        let Some(salt) = self.salt(id) else { return BTreeMap::new() };
        let aliases = salt.aliases(kitchen.households.keys().map(HouseholdId::as_str));
        gather::map(aliases.into_iter().map(|(household, alias)| (alias, HouseholdId::new(household))))
    }

    /// Brings a trip up to date with its plan as the kitchen has it now. What was picked stays.
    ///
    /// # Errors
    /// [`TripError`].
    pub fn bring_up_to_date(
        &mut self,
        now: Instant,
        id: &DocId,
        kitchen: &Kitchen,
        out: &mut Vec<Effect>,
    ) -> Result<Updated, TripError> {
        let Planned { lines, count, .. } = self.planned(id, kitchen)?;
        Ok(self.edit(now, id, |run: &mut Run| run.bring_up_to_date(count, &lines), out)?)
    }

    /// What a trip's plan comes to now.
    ///
    /// # Errors
    /// [`TripError`].
    pub fn planned(&self, id: &DocId, kitchen: &Kitchen) -> Result<Planned, TripError> {
        let plan = self.follows(id).ok_or(TripError::FollowsNothing)?;
        let salt = self.salt(id).ok_or(TripError::FollowsNothing)?;
        let narrowed = plan.narrow(kitchen)?;
        let list = plan.list(&narrowed)?;
        let subs = self.subs();
        let lines = plan_lines(&narrowed, &list, &salt, |food| subs.get(food).cloned().unwrap_or_default());
        Ok(Planned { kitchen: narrowed, list, lines, count: self.seen() })
    }

    /// Whether a trip says something else than its plan does now, and this device knows better.
    ///
    /// # Errors
    /// [`TripError`].
    pub fn is_behind(&self, id: &DocId, kitchen: &Kitchen) -> Result<bool, TripError> {
        let Planned { lines, count, .. } = self.planned(id, kitchen)?;
        let now = Revision::of(count, &lines);
        let followed = self.run(id).and_then(Run::revision);
        Ok(followed.is_none_or(|followed| followed.digest != now.digest && followed < now))
    }

    /// Has a trip follow another plan, and brings it up to that.
    ///
    /// # Errors
    /// [`TripError`]; a plan that cannot be made changes nothing.
    pub fn follow(
        &mut self,
        now: Instant,
        id: &DocId,
        plan: &Plan,
        kitchen: &Kitchen,
        out: &mut Vec<Effect>,
    ) -> Result<Updated, TripError> {
        plan.list(&plan.narrow(kitchen)?)?;
        let text = serde_json::to_string(plan).unwrap_or_default();
        self.edit(now, &DocId::book(), |book: &mut Book| book.set_setting(&format!("{FOLLOWS}{id}"), &text), out)?;
        self.bring_up_to_date(now, id, kitchen, out)
    }

    /// Whether the chef has said that a trip is over: its plan no longer moves it.
    #[must_use]
    pub fn is_finished(&self, id: &DocId) -> bool {
        self.book().and_then(|book| book.setting(&format!("{FINISHED}{id}"))).is_some_and(|said| said == "yes")
    }

    /// Says that a trip is over, or goes on.
    ///
    /// # Errors
    /// [`Refused`].
    pub fn set_finished(&mut self, now: Instant, id: &DocId, over: bool, out: &mut Vec<Effect>) -> Result<(), Refused> {
        let said = if over { "yes" } else { "no" };
        self.edit(now, &DocId::book(), |book: &mut Book| book.set_setting(&format!("{FINISHED}{id}"), said), out)?;
        Ok(())
    }

    /// A number that grows with all that this device has seen of the book and the pantries: a plan that was made knowing
    /// more holds against one that was made knowing less.
    fn seen(&self) -> u64 {
        let pantries = self.pantries().into_values().filter_map(|id| self.pantry(&id).map(|one| one.extent()));
        self.book().map_or(0, |book| book.extent()) + pantries.sum::<u64>()
    }

    /// What may stand in for foods, by their ids.
    #[must_use]
    pub fn subs(&self) -> BTreeMap<String, Subs> {
        let Some(book) = self.book() else { return BTreeMap::new() };
        let settings = book.settings().into_iter();
        settings
            .filter_map(|(name, value)| {
                let food = name.strip_prefix(SUBS)?.to_owned();
                let record: SubsRecord = serde_json::from_str(&value).ok()?;
                Some((food, Subs { cleared: record.cleared, ask: record.ask }))
            })
            .collect()
    }

    /// Says what may stand in for a food.
    ///
    /// # Errors
    /// [`Refused`].
    pub fn set_subs(&mut self, now: Instant, food: &str, subs: &Subs, out: &mut Vec<Effect>) -> Result<(), Refused> {
        let record = SubsRecord { cleared: subs.cleared.clone(), ask: subs.ask };
        let text = serde_json::to_string(&record).unwrap_or_default();
        self.edit(now, &DocId::book(), |book: &mut Book| book.set_setting(&format!("{SUBS}{food}"), &text), out)?;
        Ok(())
    }
}
