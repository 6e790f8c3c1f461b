//! One suite for every store: what SQLite passes, PostgreSQL passes, and the other way round.
#![allow(clippy::expect_used, clippy::panic, reason = "a panic here is a failed check")]

mod common;

use std::collections::BTreeMap;
use std::sync::Arc;

use bytes::Bytes;
use common::postgres::{Cluster, eventually};
use common::{Keys, chain};
use proptest::prelude::*;
use tempfile::TempDir;
use trug_relay::store::{
    Created, ENTRY_OVERHEAD, KEEP_REPLACED_SECONDS, Kind, Page, PostgresStore, Refusal, Role, Room, Span, SqliteStore,
    Store, StoreError,
};
use trug_relay::{Chain, Feed, LogId};

/// Room for 4,000 bytes, the owner's 2,000 more, and 10,000 replaced.
const ROOM: Room = Room { log: 4000, reserve: 2000, replaced: 10_000 };
const ALL: Span = Span { after: 0, limit: u64::MAX, bytes: u64::MAX };
const DAY: u64 = 24 * 60 * 60;

fn refused<T: std::fmt::Debug>(answer: Result<T, StoreError>) -> Refusal {
    match answer {
        Err(StoreError::Refused(refusal)) => refusal,
        other => panic!("refused, not {other:?}"),
    }
}

fn shape(page: &Page) -> Vec<(u64, Kind, &[u8])> {
    page.records.iter().map(|record| (record.seq, record.kind, &record.sealed[..])).collect()
}

/// A log with entries `e1`, `e2`, ... in it.
async fn filled(store: &dyn Store, number: u64) -> (Keys, Vec<Bytes>) {
    let keys = Keys::new();
    let made = store.create(keys.id(), keys.owner_hash(), keys.writer_hash(), 0).await;
    assert_eq!(made.expect("made"), Created::New);
    let entries: Vec<Bytes> = (1..=number).map(|number| Bytes::from(format!("e{number}"))).collect();
    for (entry, seq) in entries.iter().zip(1..) {
        let appended = store.append(keys.id(), keys.writer_hash(), entry.clone()).await.expect("appended");
        assert_eq!((appended.seq, appended.new, appended.head.seq), (seq, true, seq));
    }
    (keys, entries)
}

async fn page(store: &dyn Store, keys: &Keys, span: Span) -> Page {
    store.read(keys.id(), keys.writer_hash(), span).await.expect("a page")
}

async fn snapshot(store: &dyn Store, keys: &Keys, entries: &[Bytes], through: usize, sealed: &'static str, now: u64) {
    let there = chain(entries[..through].iter().map(|entry| &entry[..]));
    let head = store.snapshot(keys.id(), keys.owner_hash(), through as u64, there, sealed.into(), now).await;
    assert_eq!(head.expect("a snapshot").seq, entries.len() as u64);
}

async fn making(store: &dyn Store) {
    let (keys, other) = (Keys::new(), Keys::new());
    let (log, owner, writer) = (keys.id(), keys.owner_hash(), keys.writer_hash());
    assert_eq!(refused(store.look(log, owner).await), Refusal::Unknown);
    assert_eq!(store.owned(log, owner).await.expect("no log"), None);
    assert_eq!(store.create(log, owner, writer, 7).await.expect("made"), Created::New);
    assert_eq!(store.create(log, owner, other.writer_hash(), 8).await.expect("there"), Created::Mine);
    assert_eq!(store.create(log, other.owner_hash(), writer, 8).await.expect("there"), Created::NotMine);
    assert_eq!(store.owned(log, owner).await.expect("there"), Some(Created::Mine));
    assert_eq!(store.look(log, writer).await.expect("the first writer stays").0, Role::Writer);
    assert_eq!(refused(store.look(log, other.writer_hash()).await), Refusal::Token);
}

async fn appending(store: &dyn Store) {
    let (keys, entries) = filled(store, 5).await;
    let all = page(store, &keys, ALL).await;
    assert_eq!(all.head.chain, chain(entries.iter().map(|entry| &entry[..])));
    assert_eq!(all.chain_at, Some(Chain::START));
    let expected: Vec<_> = entries.iter().zip(1..).map(|(entry, seq)| (seq, Kind::Entry, &entry[..])).collect();
    assert_eq!(shape(&all), expected);
    let again = store.append(keys.id(), keys.owner_hash(), entries[1].clone()).await.expect("known");
    assert_eq!((again.seq, again.new, again.head), (2, false, all.head));
    let (other, _) = filled(store, 1).await;
    let same = store.append(other.id(), other.writer_hash(), entries[3].clone()).await.expect("another log");
    assert_eq!((same.seq, same.new), (2, true), "numbers and repetitions belong to a log");
}

async fn paging(store: &dyn Store) {
    let (keys, entries) = filled(store, 5).await;
    let cases = [
        // after, limit, bytes, first and last number
        (0, 2, u64::MAX, Some((1, 2))),
        (2, 100, u64::MAX, Some((3, 5))),
        (0, 100, 4, Some((1, 2))),
        (0, 100, 5, Some((1, 2))),
        (0, 100, 0, Some((1, 1))),
        (4, 1, 1, Some((5, 5))),
        (5, 100, u64::MAX, None),
        (6, 100, u64::MAX, None),
        (u64::MAX, u64::MAX, u64::MAX, None),
        (0, 0, u64::MAX, None),
    ];
    for (after, limit, bytes, expected) in cases {
        let page = page(store, &keys, Span { after, limit, bytes }).await;
        let got = page.records.first().zip(page.records.last()).map(|(first, last)| (first.seq, last.seq));
        assert_eq!(got, expected, "{after} {limit} {bytes}");
        let there = entries.get(..usize::try_from(after).unwrap_or(usize::MAX));
        assert_eq!(page.chain_at, there.map(|there| chain(there.iter().map(|entry| &entry[..]))), "{after}");
    }
}

async fn snapshots(store: &dyn Store) {
    let (keys, mut entries) = filled(store, 6).await;
    snapshot(store, &keys, &entries, 4, "s4", 100).await;
    let all = page(store, &keys, ALL).await;
    assert_eq!(shape(&all), [(4, Kind::Snapshot, &b"s4"[..]), (5, Kind::Entry, b"e5"), (6, Kind::Entry, b"e6")]);
    assert_eq!(all.head.chain, chain(entries.iter().map(|entry| &entry[..])), "a snapshot leaves the chain as it is");
    for (after, at, first) in [(2, false, 4), (3, false, 4), (4, true, 5), (5, true, 6)] {
        let page = page(store, &keys, Span { after, ..ALL }).await;
        assert_eq!((page.chain_at.is_some(), page.records[0].seq), (at, first), "{after}");
    }
    assert_eq!(shape(&page(store, &keys, Span { after: 1, limit: 1, ..ALL }).await), [(4, Kind::Snapshot, &b"s4"[..])]);
    let known = store.append(keys.id(), keys.writer_hash(), "e2".into()).await.expect("swallowed, yet known");
    assert_eq!((known.seq, known.new), (2, false));
    let new = store.append(keys.id(), keys.writer_hash(), "e7".into()).await.expect("appended");
    entries.push("e7".into());
    assert_eq!((new.seq, new.new), (7, true));
    snapshot(store, &keys, &entries, 4, "s4", 200).await;
    snapshot(store, &keys, &entries, 4, "s4 again", 200).await;
    snapshot(store, &keys, &entries, 7, "s7", 300).await;
    assert_eq!(shape(&page(store, &keys, ALL).await), [(7, Kind::Snapshot, &b"s7"[..])]);
}

async fn snapshots_refused(store: &dyn Store) {
    let (keys, entries) = filled(store, 6).await;
    snapshot(store, &keys, &entries, 3, "s3", 100).await;
    let there = |through: usize| chain(entries[..through].iter().map(|entry| &entry[..]));
    let cases = [
        (keys.owner_hash(), 7, there(6), Refusal::Range { through: 7, from: 3, head: 6 }),
        (keys.owner_hash(), 2, there(2), Refusal::Range { through: 2, from: 3, head: 6 }),
        (keys.owner_hash(), 0, Chain::START, Refusal::Range { through: 0, from: 3, head: 6 }),
        (keys.owner_hash(), 5, there(4), Refusal::ChainDiffers { through: 5 }),
        (keys.writer_hash(), 5, there(5), Refusal::OwnerOnly),
        (Keys::new().owner_hash(), 5, there(5), Refusal::Token),
    ];
    for (token, through, chain, expected) in cases {
        let answer = store.snapshot(keys.id(), token, through, chain, "s".into(), 100).await;
        assert_eq!(refused(answer), expected);
    }
    assert_eq!(page(store, &keys, ALL).await.records.len(), 4, "nothing was replaced");
}

async fn restoring(store: &dyn Store) {
    let (keys, entries) = filled(store, 6).await;
    assert_eq!(store.restore(keys.id()).await.expect("no snapshot"), None);
    let before = page(store, &keys, ALL).await;
    snapshot(store, &keys, &entries, 2, "s2", 100).await;
    let between = page(store, &keys, ALL).await;
    snapshot(store, &keys, &entries, 5, "s5", 200).await;
    assert_eq!(store.restore(keys.id()).await.expect("restored"), Some(5));
    assert_eq!(page(store, &keys, ALL).await, between);
    assert_eq!(store.restore(keys.id()).await.expect("restored"), Some(2));
    assert_eq!(page(store, &keys, ALL).await, before, "as if there had been no snapshot");
    assert_eq!(store.restore(keys.id()).await.expect("no more"), None);
    snapshot(store, &keys, &entries, 6, "s6", 300).await;
    assert_eq!(page(store, &keys, ALL).await.records.len(), 1, "and it can be snapshotted again");
    assert_eq!(refused(store.restore(LogId([0; 16])).await), Refusal::Unknown);
}

/// Clears away by age, so it must come after the cases that restore.
async fn clearing_away(store: &dyn Store) {
    let (keys, entries) = filled(store, 6).await;
    let (first, second) = (1_000_000_000, 1_000_000_000 + DAY);
    snapshot(store, &keys, &entries, 2, "s2", first).await;
    snapshot(store, &keys, &entries, 5, "s5", second).await;
    let all = page(store, &keys, ALL).await;
    store.tidy(first + KEEP_REPLACED_SECONDS - 1).await.expect("tidied");
    assert_eq!(store.restore(keys.id()).await.expect("restored"), Some(5), "30 days are not over");
    snapshot(store, &keys, &entries, 5, "s5", second).await;
    assert!(store.tidy(first + KEEP_REPLACED_SECONDS).await.expect("tidied") >= 1);
    assert_eq!(store.restore(keys.id()).await.expect("restored"), Some(5), "the second is a day younger");
    assert_eq!(store.restore(keys.id()).await.expect("cleared"), None, "what the first replaced is gone");
    snapshot(store, &keys, &entries, 5, "s5", second).await;
    assert!(store.tidy(second + KEEP_REPLACED_SECONDS).await.expect("tidied") >= 1);
    assert_eq!(store.tidy(second + KEEP_REPLACED_SECONDS).await.expect("tidied"), 0);
    assert_eq!(store.restore(keys.id()).await.expect("cleared"), None);
    assert_eq!(page(store, &keys, ALL).await, all, "what is in force stays");
    let known = store.append(keys.id(), keys.writer_hash(), "e1".into()).await.expect("cleared away, yet known");
    assert_eq!((known.seq, known.new), (1, false));
    assert!(page(store, &keys, Span { after: 5, ..ALL }).await.chain_at.is_some(), "and so is the chain");
}

async fn filling_up(store: &dyn Store) {
    let (keys, _) = filled(store, 0).await;
    let entry =
        |fill: u8, length: u64| Bytes::from(vec![fill; usize::try_from(length - ENTRY_OVERHEAD).expect("small")]);
    let append = async |token, sealed| store.append(keys.id(), token, sealed).await;
    append(keys.writer_hash(), entry(1, 3000)).await.expect("fits");
    append(keys.writer_hash(), entry(2, 1000)).await.expect("fits to the byte");
    assert_eq!(refused(append(keys.writer_hash(), entry(3, 129)).await), Refusal::Full);
    assert_eq!(append(keys.writer_hash(), entry(1, 3000)).await.expect("a repetition needs no room").seq, 1);
    append(keys.owner_hash(), entry(4, 1000)).await.expect("the owner's reserve");
    assert_eq!(refused(append(keys.owner_hash(), entry(5, 1001)).await), Refusal::Full);
    let there = page(store, &keys, ALL).await.head;
    assert_eq!(there.seq, 3, "what was refused has no number");
    let take = async |sealed| store.snapshot(keys.id(), keys.owner_hash(), there.seq, there.chain, sealed, 100).await;
    assert_eq!(refused(take(entry(6, 6001)).await), Refusal::Full);
    take(entry(7, 2000)).await.expect("a full log can be snapshotted");
    assert_eq!(append(keys.writer_hash(), entry(8, 2000)).await.expect("there is room again").seq, 4);
    assert_eq!(refused(append(keys.writer_hash(), entry(9, 129)).await), Refusal::Full);
    // 5,000 are replaced; with this snapshot's 2,000 it is 7,000, with another 2,000 9,000, then it is full.
    for fill in [10, 11] {
        take(entry(fill, 2000)).await.expect("replaced bytes have room");
    }
    assert_eq!(refused(take(entry(12, 2000)).await), Refusal::ReplacedFull);
    store.restore(keys.id()).await.expect("restored");
    take(entry(13, 2000)).await.expect("what was restored is not replaced any more");
}

async fn writers(store: &dyn Store) {
    let (keys, _) = filled(store, 1).await;
    let (second, log) = (Keys::new().writer_hash(), keys.id());
    let set = async |token, writer| store.set_writer(log, token, writer).await;
    assert_eq!(refused(set(keys.writer_hash(), Some(second)).await), Refusal::OwnerOnly);
    set(keys.owner_hash(), None).await.expect("read-only");
    assert_eq!(store.look(log, keys.writer_hash()).await.expect("may read").0, Role::Reader);
    assert_eq!(refused(store.append(log, keys.writer_hash(), "x".into()).await), Refusal::ReadOnly);
    store.append(log, keys.owner_hash(), "x".into()).await.expect("the owner may");
    set(keys.owner_hash(), Some(second)).await.expect("another writer");
    store.append(log, second, "y".into()).await.expect("the new writer may");
    assert_eq!(refused(store.look(log, keys.writer_hash()).await), Refusal::Token);
    assert_eq!(refused(store.read(log, keys.writer_hash(), ALL).await), Refusal::Token);
}

async fn deleting(store: &dyn Store) {
    let (keys, entries) = filled(store, 3).await;
    snapshot(store, &keys, &entries, 2, "s2", 100).await;
    assert_eq!(refused(store.delete(keys.id(), keys.writer_hash()).await), Refusal::OwnerOnly);
    store.delete(keys.id(), keys.owner_hash()).await.expect("deleted");
    let (log, owner, writer) = (keys.id(), keys.owner_hash(), keys.writer_hash());
    let answers = [
        refused(store.look(log, owner).await),
        refused(store.owned(log, owner).await),
        refused(store.create(log, owner, writer, 0).await),
        refused(store.append(log, owner, "x".into()).await),
        refused(store.read(log, owner, ALL).await),
        refused(store.snapshot(log, owner, 1, Chain::START, "x".into(), 0).await),
        refused(store.set_writer(log, owner, None).await),
        refused(store.restore(log).await),
        refused(store.delete(log, owner).await),
    ];
    assert_eq!(answers, [Refusal::Gone; 9]);
}

/// Many at once, on one log, half of it the same bytes.
async fn at_once(store: Arc<dyn Store>) {
    let (keys, _) = filled(&*store, 0).await;
    let tasks = (0..8u32).map(|task| {
        let (store, keys) = (Arc::clone(&store), keys.clone());
        tokio::spawn(async move {
            let mut seen = Vec::new();
            for number in 0..12u32 {
                let name = if number % 2 == 0 { format!("same {number}") } else { format!("{task} {number}") };
                let sealed = Bytes::from(name);
                // A log of this room holds 4,000 bytes, so less than thirty of these.
                match store.append(keys.id(), keys.owner_hash(), sealed.clone()).await {
                    Ok(appended) => seen.push((sealed, appended.seq)),
                    Err(StoreError::Refused(Refusal::Full)) => {}
                    Err(other) => panic!("{other}"),
                }
            }
            seen
        })
    });
    let mut numbers = BTreeMap::new();
    for task in tasks.collect::<Vec<_>>() {
        for (sealed, seq) in task.await.expect("no panic") {
            assert_eq!(*numbers.entry(sealed).or_insert(seq), seq, "equal bytes have one number");
        }
    }
    let all = page(&*store, &keys, ALL).await;
    let seqs: Vec<u64> = all.records.iter().map(|record| record.seq).collect();
    assert_eq!(seqs, (1..=all.head.seq).collect::<Vec<_>>(), "no gaps");
    assert_eq!(all.head.chain, chain(all.records.iter().map(|record| &record.sealed[..])));
    assert_eq!(numbers.len(), all.records.len(), "everything acknowledged is there, and nothing else");
    for record in &all.records {
        assert_eq!(numbers.get(&record.sealed), Some(&record.seq));
    }
}

async fn suite(store: Arc<dyn Store>) {
    let one = &*store;
    making(one).await;
    appending(one).await;
    paging(one).await;
    snapshots(one).await;
    snapshots_refused(one).await;
    restoring(one).await;
    filling_up(one).await;
    writers(one).await;
    deleting(one).await;
    at_once(Arc::clone(&store)).await;
    clearing_away(one).await;
    store.close().await;
    assert!(matches!(store.look(LogId([1; 16]), Keys::new().owner_hash()).await, Err(StoreError::Unavailable(_))));
}

#[tokio::test(flavor = "multi_thread")]
async fn sqlite_passes_the_suite() {
    let directory = TempDir::new().expect("a directory");
    suite(Arc::new(SqliteStore::open(directory.path(), ROOM, Arc::default()).expect("opens"))).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn postgres_passes_the_suite() {
    let Some(cluster) = Cluster::start() else { return };
    let open = async || PostgresStore::open(&cluster.address(), None, ROOM, Arc::new(Feed::default())).await;
    // Several relays may meet on an empty database.
    let (first, second, third) = tokio::join!(open(), open(), open());
    suite(Arc::new(first.expect("opens"))).await;
    two_on_one(second.expect("opens"), third.expect("opens")).await;
    let model = Arc::new(open().await.expect("opens"));
    for seed in 0..6 {
        follow_model(&*model, &steps_of(seed)).await;
    }
    power_cut(&cluster, open().await.expect("opens")).await;
}

/// Two stores on one database count as one.
async fn two_on_one(first: PostgresStore, second: PostgresStore) {
    let (keys, _) = filled(&first, 0).await;
    let append = async |store: &PostgresStore, number: u32| {
        let sealed = Bytes::from(number.to_string());
        store.append(keys.id(), keys.writer_hash(), sealed).await.expect("appended").seq
    };
    for number in 0..10 {
        let (one, other) = tokio::join!(append(&first, number), append(&second, number));
        assert_eq!((one, other), (u64::from(number) + 1, u64::from(number) + 1), "equal bytes through two relays");
    }
    let (one, other) = (page(&first, &keys, ALL).await, page(&second, &keys, ALL).await);
    assert_eq!(one, other);
    first.close().await;
    second.close().await;
}

/// What was acknowledged survives the database's sudden end, and the store finds it again.
async fn power_cut(cluster: &Cluster, store: PostgresStore) {
    let (keys, entries) = filled(&store, 5).await;
    cluster.down();
    assert!(matches!(store.look(keys.id(), keys.writer_hash()).await, Err(StoreError::Unavailable(_))));
    cluster.up();
    let looks = || async { store.look(keys.id(), keys.writer_hash()).await.is_ok() };
    eventually(20, "the store connects again", looks).await;
    assert_eq!(page(&store, &keys, ALL).await.records.len(), entries.len());
    store.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn sqlite_keeps_what_it_has_when_opened_again() {
    let directory = TempDir::new().expect("a directory");
    let open = || SqliteStore::open(directory.path(), ROOM, Arc::default()).expect("opens");
    let store = open();
    let (keys, entries) = filled(&store, 4).await;
    snapshot(&store, &keys, &entries, 2, "s2", 100).await;
    let before = page(&store, &keys, ALL).await;
    store.close().await;
    drop(store);
    assert!(!directory.path().join("relay.sqlite-wal").exists(), "a closed store is one file");
    assert_eq!(page(&open(), &keys, ALL).await, before);
}

#[test]
fn what_is_not_ours_is_left_alone() {
    let directory = TempDir::new().expect("a directory");
    let file = directory.path().join("relay.sqlite");
    let db = rusqlite::Connection::open(&file).expect("opens");
    let open = || SqliteStore::open(directory.path(), ROOM, Arc::default()).err().map(|error| error.to_string());
    db.execute_batch("CREATE TABLE theirs (x)").expect("a table");
    assert!(open().is_some_and(|error| error.contains("belongs to another program")));
    db.execute_batch("DROP TABLE theirs").expect("no table");
    assert_eq!(open(), None);
    db.pragma_update(None, "user_version", 99).expect("set");
    assert!(open().is_some_and(|error| error.contains("newer version")));
    std::fs::write(&file, "no database at all, but long enough to be looked at as one").expect("written");
    assert!(open().is_some_and(|error| error.contains("relay.sqlite")));
}

#[tokio::test]
async fn one_directory_serves_one_relay() {
    let directory = TempDir::new().expect("a directory");
    let first = SqliteStore::open(directory.path(), ROOM, Arc::default()).expect("opens");
    let second = SqliteStore::open(directory.path(), ROOM, Arc::default());
    assert!(second.err().is_some_and(|error| error.to_string().contains("another relay")));
    first.close().await;
}

/// A step of a random life of one log.
#[derive(Debug, Clone)]
enum Step {
    Append(u8),
    Snapshot(u64, u8),
    Restore,
    Read(u64, u64),
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let step = prop_oneof![
        6 => any::<u8>().prop_map(|name| Step::Append(name % 24)),
        2 => (0u64..16, any::<u8>()).prop_map(|(through, name)| Step::Snapshot(through, name)),
        1 => Just(Step::Restore),
        3 => (0u64..16, 0u64..6).prop_map(|(after, limit)| Step::Read(after, limit)),
    ];
    prop::collection::vec(step, 0..40)
}

/// Steps from a seed, without proptest: for stores too slow to be tried hundreds of times.
fn steps_of(seed: u64) -> Vec<Step> {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut next = |below: u64| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state % below
    };
    let mut step = || match next(12) {
        0..6 => Step::Append(next(24) as u8),
        6..8 => Step::Snapshot(next(16), next(250) as u8),
        8 => Step::Restore,
        _ => Step::Read(next(16), next(6)),
    };
    (0..60).map(|_| step()).collect()
}

/// Lives a life in a store and in a plain model that keeps everything, and compares.
async fn follow_model(store: &dyn Store, steps: &[Step]) {
    let (keys, _) = filled(store, 0).await;
    let mut entries: Vec<Bytes> = Vec::new();
    let mut taken: Vec<(u64, Bytes)> = Vec::new();
    let there = |entries: &[Bytes], seq: u64| chain(entries.iter().take(seq as usize).map(|entry| &entry[..]));
    for step in steps {
        let head = entries.len() as u64;
        let last = taken.last().map_or(0, |(seq, _)| *seq);
        match step {
            Step::Append(name) => {
                let sealed = Bytes::from(vec![*name]);
                let known = entries.iter().position(|entry| *entry == sealed);
                let got = store.append(keys.id(), keys.writer_hash(), sealed.clone()).await.expect("appended");
                assert_eq!((got.seq, got.new), (known.map_or(head + 1, |index| index as u64 + 1), known.is_none()));
                entries.extend(known.is_none().then_some(sealed));
            }
            Step::Snapshot(through, name) => {
                let sealed = Bytes::from(vec![*name, 0]);
                let chain = there(&entries, *through);
                let got = store.snapshot(keys.id(), keys.owner_hash(), *through, chain, sealed.clone(), 0).await;
                let allowed = *through >= last.max(1) && *through <= head;
                assert_eq!(got.is_ok(), allowed, "{got:?}");
                let repeated = taken.last().is_some_and(|old| *old == (*through, sealed.clone()));
                taken.extend((allowed && !repeated).then_some((*through, sealed)));
            }
            Step::Restore => {
                assert_eq!(store.restore(keys.id()).await.expect("restored"), taken.pop().map(|(seq, _)| seq));
            }
            Step::Read(after, limit) => {
                let got = page(store, &keys, Span { after: *after, limit: *limit, bytes: u64::MAX }).await;
                let mut expected: Vec<(u64, Kind, Bytes)> = Vec::new();
                expected.extend(
                    taken.last().filter(|_| *after < last).map(|(seq, sealed)| (*seq, Kind::Snapshot, sealed.clone())),
                );
                let tail = (after.max(&last) + 1)..=head;
                expected.extend(tail.map(|seq| (seq, Kind::Entry, entries[seq as usize - 1].clone())));
                // A snapshot is given even where nothing was asked for: HTTP never asks for nothing.
                expected.truncate((*limit).max(u64::from(*after < last)) as usize);
                let got_records: Vec<_> =
                    got.records.iter().map(|record| (record.seq, record.kind, record.sealed.clone())).collect();
                assert_eq!(got_records, expected);
                assert_eq!((got.head.seq, got.head.chain), (head, there(&entries, head)));
                let at = (*after == 0 || (*after >= last && *after <= head)).then(|| there(&entries, *after));
                assert_eq!(got.chain_at, at);
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn sqlite_follows_the_model(steps in steps()) {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
        runtime.block_on(async {
            let directory = TempDir::new().expect("a directory");
            let store = SqliteStore::open(directory.path(), ROOM, Arc::default()).expect("opens");
            follow_model(&store, &steps).await;
            store.close().await;
        });
    }
}
