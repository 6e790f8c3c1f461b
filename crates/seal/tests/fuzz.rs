//! Foreign bytes and texts take no more memory than a stated bound, also where somebody who holds the key sealed them,
//! or mended a checksum. That nothing panics on random ones is tested beside each kind; here they are nearly right.
//!
//! `TRUG_FUZZ=20 cargo test -p trug-seal --test fuzz` runs twenty times as many cases.

#![allow(clippy::unwrap_used, clippy::panic, reason = "in a test a panic is a failed check")]

use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use peak_alloc::PeakAlloc;
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use trug_seal::{
    DocumentKind, EntryKind, Invitation, LogId, Place, RecoveryCode, Role, Root, SealedFile, UnpackLimit, pack, unpack,
};

#[global_allocator]
static MEMORY: PeakAlloc = PeakAlloc;

/// One test at a time, since the allocator counts for all of them.
static ALONE: Mutex<()> = Mutex::new(());

fn alone() -> MutexGuard<'static, ()> {
    ALONE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The most bytes taken at once during the work, beyond those that were held before it.
fn peak<T>(work: impl FnOnce() -> T) -> (T, usize) {
    let before = MEMORY.current_usage();
    MEMORY.reset_peak_usage();
    let done = work();
    (done, MEMORY.peak_usage().saturating_sub(before))
}

fn runner(cases: u32) -> TestRunner {
    let times: u32 = std::env::var("TRUG_FUZZ").ok().and_then(|times| times.parse().ok()).unwrap_or(1);
    TestRunner::new(Config { cases: cases * times, failure_persistence: None, ..Config::default() })
}

const PLACE: Place = Place { log: LogId::from_bytes([1; 16]), document: DocumentKind::Run, entry: EntryKind::Entry };

fn root() -> Root {
    Root::from_bytes([9; 32])
}

/// How bytes are damaged: where, by what.
fn damage() -> impl Strategy<Value = Vec<(usize, u8, u8)>> {
    prop::collection::vec((any::<usize>(), 0_u8..4, any::<u8>()), 1..5)
}

fn damaged(mut bytes: Vec<u8>, damage: &[(usize, u8, u8)]) -> Vec<u8> {
    for (at, how, by) in damage {
        let at = at % bytes.len().max(1);
        match how {
            0 if at < bytes.len() => bytes[at] ^= by,
            1 if at < bytes.len() => drop(bytes.remove(at)),
            2 if at < bytes.len() => bytes.truncate(at + 1),
            _ => bytes.insert(at, *by),
        }
    }
    bytes
}

/// What the inflater keeps at hand.
const INFLATER: usize = 64 << 10;

#[test]
fn content_by_somebody_who_holds_the_key_swells_no_further_than_the_limit() {
    let _alone = alone();
    let limit = UnpackLimit { bytes: 256 << 10, changes: 50 };
    let most = 3 * limit.bytes + INFLATER;
    let contents: [Vec<&[u8]>; 5] = [
        vec![b"one change"],
        vec![&[0; 1000]; 40],
        vec![&[7]; 60],
        vec![&[0; 300 << 10]],
        vec![&[0; 8 << 20], b"and another"],
    ];
    let contents = contents.map(|changes| pack(&changes).unwrap().to_vec());
    let key = root().share_secret().sealing_key();
    let cases = (prop::sample::select(contents.to_vec()), prop::option::of(damage()));
    let outcome = runner(1500).run(&cases, |(content, damage)| {
        let content = damage.map_or(content.clone(), |damage| damaged(content, &damage));
        let sealed = key.seal(&PLACE, &content).unwrap();
        let bound = most + 4 * sealed.len();
        let (unpacked, taken) = peak(|| unpack(&key.open(&PLACE, &sealed).unwrap(), limit));
        prop_assert!(taken < bound, "{taken} bytes at once, {bound} are the bound");
        if let Ok(unpacked) = unpacked {
            let sum: usize = unpacked.changes().map(<[u8]>::len).sum();
            prop_assert!(sum <= limit.bytes && unpacked.changes().count() <= limit.changes);
        }
        Ok(())
    });
    outcome.unwrap();
}

#[test]
fn a_thousandfold_bomb_stops_at_the_limit() {
    let _alone = alone();
    let zeros = vec![0_u8; 64 << 20];
    let content = pack(&[&zeros]).unwrap().to_vec();
    drop(zeros);
    assert!(content.len() < 256 << 10, "{} bytes fit an entry", content.len());
    let limit = UnpackLimit::default();
    let (unpacked, taken) = peak(|| unpack(&content, limit).is_err());
    assert!(unpacked, "it is refused");
    assert!(taken < 3 * limit.bytes + INFLATER, "{taken} bytes at once");
}

#[test]
fn files_nearly_right_are_refused_in_their_own_size() {
    let _alone = alone();
    let (key, log) = (root().share_secret().sealing_key(), root().log_id());
    let file = SealedFile::seal(&key, DocumentKind::Run, log, &[5; 3000]).unwrap();
    let outcome = runner(3000).run(&damage(), |damage| {
        let bytes = damaged(file.clone(), &damage);
        let (opened, taken) =
            peak(|| SealedFile::read(&bytes).and_then(|file| file.open(&key, DocumentKind::Run, log)).is_ok());
        prop_assert!(!opened || bytes == file);
        prop_assert!(taken < 4 * bytes.len() + 4096, "{taken} bytes at once for {}", bytes.len());
        Ok(())
    });
    outcome.unwrap();
}

/// How long this thread has been on a processor, so that a busy machine fails no check; nothing where that cannot be had.
/// The pause makes the kernel bring its figure up to date.
fn on_cpu() -> Duration {
    std::thread::sleep(Duration::from_millis(1));
    let figures = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let nanoseconds = figures.split(' ').next().and_then(|figure| figure.parse().ok());
    nanoseconds.map_or(Duration::ZERO, Duration::from_nanos)
}

/// The longest text that is looked at takes no longer than a moment, and little more than itself.
fn is_modest(what: &str, text: &str, read: impl FnOnce(&str)) -> Result<(), TestCaseError> {
    let started = on_cpu();
    let ((), taken) = peak(|| read(text));
    prop_assert!(taken < 64 * text.len() + (64 << 10), "{what}: {taken} bytes at once for {}", text.len());
    let time = on_cpu().saturating_sub(started);
    prop_assert!(time < Duration::from_secs(2), "{what}: {time:?}");
    Ok(())
}

#[test]
fn texts_that_people_paste() {
    let _alone = alone();
    let share = root().share_secret();
    let relay = Some("https://relay.example/below".parse().unwrap());
    let link = Invitation::new(DocumentKind::Run, Role::Helper, relay, root().log_id(), share).unwrap();
    let link = link.link(&"https://app.example".parse().unwrap()).to_string();
    let code = RecoveryCode::of(&root()).text().to_string();
    let pieces = [&link, &code, "#", "-", " ", "\n", "A", "O0Il1", "\u{301}", "\u{1f96c}", "https://", "\u{0}"];
    let pieces = prop::sample::select(pieces.map(str::to_owned).to_vec());
    let texts = (prop::collection::vec((pieces, 1_usize..40), 1..12), prop::option::of(damage()));
    let outcome = runner(500).run(&texts, |(pieces, damage)| {
        let text: String = pieces.iter().map(|(piece, times)| piece.repeat(*times)).collect();
        let bytes = damage.map_or(text.clone().into_bytes(), |damage| damaged(text.into_bytes(), &damage));
        let text = String::from_utf8_lossy(&bytes).into_owned();
        is_modest("an invitation", &text, |text| drop(Invitation::find(text)))?;
        is_modest("a recovery code", &text, |text| drop(RecoveryCode::read(text)))
    });
    outcome.unwrap();
    for text in ["a ".repeat(1 << 19), "A".repeat(1 << 20), "#".repeat(1 << 20), format!("{link} ").repeat(1 << 13)] {
        is_modest("a long text", &text, |text| drop((Invitation::find(text), RecoveryCode::read(text)))).unwrap();
    }
}
