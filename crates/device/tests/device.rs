//! Whole devices in memory: a chef's and a helper's, which meet by sealed file alone.

#![allow(clippy::unwrap_used, clippy::panic, reason = "all of it is a test")]

use std::collections::BTreeMap;

use trug_device::sync::Instant;
use trug_device::{Device, DocId, Effect, Event, JoinError, Plan, ShareError};
use trug_folder::{Files, read_dir};
use trug_replica::id::Stamp;
use trug_replica::pantry::{Counted, Pantry};
use trug_replica::run::{LineState, Pick, Quantity, Run, Taken};
use trug_seal::{DocumentKind, Invitation, Role, WebAddress};

const NOW: Instant = Instant(1_772_000_000_000);

/// A device with a disk that takes everything at once.
struct Owner {
    device: Device,
    disk: BTreeMap<String, Vec<u8>>,
}

impl Owner {
    fn new(seed: u64) -> Self {
        Self::open(BTreeMap::new(), seed)
    }

    fn open(disk: BTreeMap<String, Vec<u8>>, seed: u64) -> Self {
        let mut out = Vec::new();
        let records = disk.clone().into_iter().collect();
        let device = Device::open(records, seed, true, NOW, &mut out).unwrap();
        let mut owner = Self { device, disk };
        owner.carry_out(out);
        owner
    }

    /// The program stops, and starts again with what is on the disk.
    fn again(self, seed: u64) -> Self {
        Self::open(self.disk, seed)
    }

    fn carry_out(&mut self, mut effects: Vec<Effect>) {
        while !effects.is_empty() {
            let mut next = Vec::new();
            for effect in effects {
                match effect {
                    Effect::Store { ticket, key, bytes } => {
                        self.disk.insert(key, bytes);
                        self.device.handle(NOW, Event::Stored(ticket), &mut next);
                    }
                    Effect::Delete(key) => drop(self.disk.remove(&key)),
                    _ => {}
                }
            }
            effects = next;
        }
    }

    fn act<R>(&mut self, act: impl FnOnce(&mut Device, &mut Vec<Effect>) -> R) -> R {
        let mut out = Vec::new();
        let done = act(&mut self.device, &mut out);
        self.carry_out(out);
        done
    }

    fn pick_first(&mut self, trip: &DocId) -> String {
        let line = self.device.run(trip).unwrap().view().lines.into_iter().next().unwrap();
        let line_text = line.line.unwrap();
        let food = line_text.food().to_owned();
        let what = Taken::Got { amount: Quantity::Whole(line_text.want()), packs: Vec::new(), price: None };
        let pick = Pick { line: line.id, what, at: Stamp(0), store: None, aliases: Vec::new(), label: None };
        self.act(|device, out| device.edit(NOW, trip, |run: &mut Run| run.pick(&pick), out)).unwrap();
        food
    }
}

fn demo() -> Files {
    read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo-data")).unwrap()
}

fn chef() -> (Owner, DocId) {
    let mut chef = Owner::new(1);
    chef.act(|device, out| device.import(NOW, &demo(), out)).unwrap();
    let (kitchen, _) = chef.device.kitchen().unwrap();
    let plan = Plan { week: "2026-W10".to_owned(), households: Vec::new(), store: None };
    let trip = chef.act(|device, out| device.start_trip(NOW, &kitchen, &plan, "Wednesday", out)).unwrap();
    (chef, trip)
}

#[test]
fn a_kitchen_goes_in_and_comes_out_with_the_same_list() {
    let (chef, trip) = chef();
    let asked = trug_folder::read(&demo()).unwrap();
    let (kitchen, _) = chef.device.kitchen().unwrap();
    let plan = chef.device.follows(&trip).unwrap();
    assert_eq!(plan.list(&kitchen).unwrap().lines.len(), plan.list(&asked).unwrap().lines.len());
    assert_eq!(plan.list(&kitchen).unwrap().total, plan.list(&asked).unwrap().total);
    let lines = chef.device.run(&trip).unwrap().view().lines;
    assert_eq!(lines.len(), plan.list(&asked).unwrap().lines.len());
}

#[test]
fn everything_is_there_again_after_a_stop() {
    let (mut chef, trip) = chef();
    chef.pick_first(&trip);
    let before = chef.device.run(&trip).unwrap().view();
    let folder = chef.device.folder();
    let chef = chef.again(2);
    assert_eq!(chef.device.run(&trip).unwrap().view(), before);
    assert_eq!(chef.device.folder(), folder);
    assert_eq!(chef.device.trips().len(), 1);
}

#[test]
fn trips_that_are_over_are_opened_later_and_lose_nothing() {
    let (mut chef, over) = chef();
    let (kitchen, _) = chef.device.kitchen().unwrap();
    let plan = chef.device.follows(&over).unwrap();
    for _ in 0..40 {
        chef.pick_first(&over);
    }
    chef.act(|device, out| device.set_finished(NOW, &over, true, out)).unwrap();
    let open = chef.act(|device, out| device.start_trip(NOW, &kitchen, &plan, "Thursday", out)).unwrap();
    let (before, entries) = (chef.device.run(&over).unwrap().view(), chef.device.entries());

    let mut out = Vec::new();
    let device = Device::open_in_part(chef.disk.clone().into_iter().collect(), 2, true, NOW, &mut out).unwrap();
    let mut chef = Owner { device, disk: chef.disk };
    chef.carry_out(out);
    assert!(chef.device.run(&open).is_some() && chef.device.run(&over).is_none());
    assert_eq!(chef.device.entries(), entries, "it is named all the same");

    let pieces = |chef: &Owner| chef.disk.keys().filter(|key| key.contains("/change/")).count();
    let many = pieces(&chef);
    assert!(!chef.act(|device, out| device.wake_next(NOW, out)), "there was one");
    assert_eq!(chef.device.run(&over).unwrap().view(), before);
    assert!(many > 40 && pieces(&chef) + 40 <= many, "{many} records, then {}", pieces(&chef));

    // Whoever asks for it need not wait for its turn, and it is whole after that as well.
    let mut out = Vec::new();
    let device = Device::open_in_part(chef.disk.clone().into_iter().collect(), 3, true, NOW, &mut out).unwrap();
    let mut chef = Owner { device, disk: chef.disk };
    chef.carry_out(out);
    assert!(chef.act(|device, out| device.wake(NOW, &over, out)));
    assert!(!chef.act(|device, out| device.wake(NOW, &over, out)), "it is awake");
    assert_eq!(chef.device.run(&over).unwrap().view(), before);
    assert_eq!(chef.again(4).device.run(&over).unwrap().view(), before);
}

#[test]
fn a_helper_gets_the_trip_by_file_and_gives_picks_back() {
    let (mut chef, trip) = chef();
    let invitation = chef.act(|device, out| device.invite(NOW, &trip, Role::Helper, "Jo", out)).unwrap();
    let app: WebAddress = "https://shelf.example".parse().unwrap();
    let found = Invitation::find(&invitation.link(&app)).unwrap();
    let file = chef.device.seal_file(&trip).unwrap();

    let mut helper = Owner::new(3);
    let early = helper.act(|device, out| device.open_file(NOW, &file, out));
    assert_eq!(early, Err(ShareError::UnknownFile));
    let joined = helper.act(|device, out| device.join(NOW, &found, out)).unwrap();
    assert_eq!(helper.device.role(&joined), Some(Role::Helper));
    let merged = helper.act(|device, out| device.open_file(NOW, &file, out)).unwrap();
    assert!(merged.new > 0);
    // What came by file is there again after a stop, without a network to wake it.
    let mut helper = helper.again(4);
    assert_eq!(helper.device.run(&joined).unwrap().view().lines, chef.device.run(&trip).unwrap().view().lines);
    let food = helper.pick_first(&joined);
    assert!(helper.device.book().is_none());
    assert_eq!(
        helper.act(|device, out| device.invite(NOW, &joined, Role::Helper, "Al", out)).err(),
        Some(ShareError::NotOwner)
    );
    assert_eq!(helper.act(|device, out| device.withdraw(NOW, &joined, 1, out)), Err(ShareError::NotOwner));

    let back = helper.device.seal_file(&joined).unwrap();
    for expected in [true, false] {
        let merged = chef.act(|device, out| device.open_file(NOW, &back, out)).unwrap();
        assert_eq!(merged.new > 0, expected, "the same file again brings nothing new");
    }
    let lines = chef.device.run(&trip).unwrap().view().lines;
    let got = lines.iter().find(|line| line.line.as_ref().is_some_and(|line| line.food() == food)).unwrap();
    assert_eq!(got.standing.state, LineState::Got);
}

#[test]
fn a_withdrawn_trip_goes_on_under_another_root_with_all_its_picks() {
    let (mut chef, trip) = chef();
    chef.pick_first(&trip);
    let before = chef.device.run(&trip).unwrap().view();
    let old = chef.device.log_of(&trip).unwrap();
    chef.act(|device, out| device.withdraw(NOW, &trip, 1000, out)).unwrap();
    assert_ne!(chef.device.log_of(&trip).unwrap(), old);
    assert_eq!(chef.device.run(&trip).unwrap().view(), before);
    assert_eq!(chef.device.trips().len(), 1, "the old log is nobody's trip");
    let chef = chef.again(4);
    assert_eq!(chef.device.run(&trip).unwrap().view(), before);
    assert!(chef.device.helpers_of(&trip).iter().all(|(_, helper)| helper.withdrawn));
}

#[test]
fn a_count_reaches_the_list_and_survives_the_same_folder_again() {
    let (mut chef, trip) = chef();
    let (kitchen, _) = chef.device.kitchen().unwrap();
    let plan = chef.device.follows(&trip).unwrap();
    let before = plan.list(&kitchen).unwrap();
    let pantries = chef.device.pantries();
    for doc in pantries.values() {
        let lots: Vec<_> = chef.device.pantry(doc).unwrap().view().lots.into_iter().map(|lot| lot.id).collect();
        for lot in lots {
            chef.act(|device, out| {
                device.edit(NOW, doc, |one: &mut Pantry| one.count(&lot, Counted::Out, Stamp(1)), out)
            })
            .unwrap();
        }
    }
    chef.act(|device, out| device.import(NOW, &demo(), out)).unwrap();
    let (kitchen, _) = chef.device.kitchen().unwrap();
    assert!(kitchen.pantries.values().all(Vec::is_empty), "an unchanged file does not undo a count");
    assert!(plan.list(&kitchen).unwrap().total.minor > before.total.minor);
    chef.act(|device, out| device.bring_up_to_date(NOW, &trip, &kitchen, out)).unwrap();
    let bought = plan.list(&kitchen).unwrap().lines.len();
    let lines = chef.device.run(&trip).unwrap().view().lines;
    assert_eq!(lines.iter().filter(|line| !line.withdrawn).count(), bought);
}

#[test]
fn a_second_device_of_the_chefs_has_the_book_and_cannot_have_two() {
    let (mut chef, trip) = chef();
    let book = DocId::book();
    let invitation = chef.act(|device, out| device.invite(NOW, &book, Role::OwnDevice, "phone", out)).unwrap();
    assert_eq!(invitation.document(), DocumentKind::Book);
    let mut second = Owner::new(5);
    second.act(|device, out| device.join(NOW, &invitation, out)).unwrap();
    let file = chef.device.seal_file(&book).unwrap();
    second.act(|device, out| device.open_file(NOW, &file, out)).unwrap();
    assert_eq!(second.device.trips().len(), 1);
    assert!(second.device.run(&trip).is_some());
    assert!(second.device.recovery_code().is_none(), "the book's root stays where it was made");
    let third = chef.act(|device, out| device.join(NOW, &invitation, out)).unwrap();
    assert_eq!(third, book, "one's own book is here already");
    let mut other = Owner::new(6);
    other.act(|device, out| device.begin_book(NOW, None, out)).unwrap();
    assert_eq!(other.act(|device, out| device.join(NOW, &invitation, out)), Err(JoinError::OwnBook));
}

#[test]
fn a_recovery_code_and_a_sealed_file_bring_the_book_back() {
    let (mut chef, trip) = chef();
    let code = chef.device.recovery_code().unwrap().text();
    let file = chef.device.seal_file(&DocId::book()).unwrap();
    let run = chef.device.seal_file(&trip).unwrap();
    chef.pick_first(&trip);
    let root = trug_seal::RecoveryCode::read(&code).unwrap();
    let mut fresh = Owner::new(7);
    fresh.act(|device, out| device.recover(NOW, root, None, out)).unwrap();
    fresh.act(|device, out| device.open_file(NOW, &file, out)).unwrap();
    fresh.act(|device, out| device.open_file(NOW, &run, out)).unwrap();
    assert_eq!(fresh.device.book().unwrap().files(), chef.device.book().unwrap().files());
    assert!(!fresh.device.run(&trip).unwrap().view().lines.is_empty());
}

/// What a device knows of itself and of what it was invited to is as hard to lose as a pick.
#[test]
fn what_could_not_be_written_is_written_again() {
    let mut out = Vec::new();
    let mut device = Device::open(Vec::new(), 9, true, NOW, &mut out).unwrap();
    device.set_name(NOW, "Jo", &mut out);
    for round in 0..3_u64 {
        let now = Instant(NOW.0 + round * 10_000);
        let mut next = Vec::new();
        for effect in std::mem::take(&mut out) {
            if let Effect::Store { ticket, .. } = effect {
                device.handle(now, Event::NotStored(ticket), &mut next);
            }
        }
        assert!(device.status().saving > 0);
        let timer = next.iter().find_map(|effect| match effect {
            Effect::SetTimer(at) => Some(*at),
            _ => None,
        });
        device.handle(timer.unwrap(), Event::Time, &mut out);
    }
    let mut disk = BTreeMap::new();
    for effect in std::mem::take(&mut out) {
        if let Effect::Store { ticket, key, bytes } = effect {
            disk.insert(key, bytes);
            device.handle(NOW, Event::Stored(ticket), &mut out);
        }
    }
    assert_eq!(device.status().saving, 0);
    assert_eq!(Owner::open(disk, 10).device.name(), "Jo");
}

#[test]
fn two_processes_of_one_device_see_what_the_other_stored() {
    let (mut first, trip) = chef();
    let mut out = Vec::new();
    let records = first.disk.clone().into_iter().collect();
    let device = Device::open(records, 8, false, NOW, &mut out).unwrap();
    let mut second = Owner { device, disk: first.disk.clone() };
    second.carry_out(out);
    let (from, to) = (&mut second, &mut first);
    let before = from.disk.clone();
    from.pick_first(&trip);
    let stored: Vec<_> = from.disk.clone().into_iter().filter(|(key, _)| !before.contains_key(key)).collect();
    assert!(!stored.is_empty());
    to.act(|device, out| device.handle(NOW, Event::Found(stored), out));
    assert_eq!(to.device.run(&trip).unwrap().view(), from.device.run(&trip).unwrap().view());
}
