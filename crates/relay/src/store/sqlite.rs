//! The embedded store: one SQLite file, write-ahead log, one writing thread.
//!
//! **Group commit.** Every write is a job for the one writing thread. It takes what has queued up while the last
//! commit was on its way to the disk, runs all of it in one transaction, and answers only after the commit, which
//! `synchronous = FULL` makes durable. When anything in the batch fails, the batch is rolled back and each job is run
//! again by itself, so that one job's trouble is not its neighbours'.

use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use async_trait::async_trait;
use bytes::Bytes;
use rusqlite::{Connection, OpenFlags, OptionalExtension as _, params};
use tokio::sync::{Semaphore, mpsc, oneshot};

use super::rules::{LogRow, Wish, charge};
use super::{
    Appended, Created, Head, KEEP_REPLACED_SECONDS, Kind, Notice, Page, Record, Refusal, Role, Room, Span, Store,
    StoreError,
};
use crate::feed::{Feed, lock};
use crate::ids::{Chain, LogId, TokenHash, entry_hash};

/// The database inside the data directory.
const FILE_NAME: &str = "relay.sqlite";
const LOCK_NAME: &str = "relay.lock";

/// Marks the file as ours ("Trug" in ASCII), so that no other program's database is written into by mistake.
const APPLICATION_ID: i32 = 0x5472_7567;

/// Each step is applied once and never edited afterwards; `user_version` counts them.
const MIGRATIONS: &[&str] = &["
    CREATE TABLE logs (
        log BLOB NOT NULL PRIMARY KEY,
        owner BLOB NOT NULL, writer BLOB NOT NULL,      -- SHA-256 of the tokens
        read_only INTEGER NOT NULL, deleted INTEGER NOT NULL, epoch INTEGER NOT NULL,
        head INTEGER NOT NULL, chain BLOB NOT NULL,
        snapshot INTEGER NOT NULL,                      -- number of the last snapshot, 0 for none
        live INTEGER NOT NULL, replaced INTEGER NOT NULL,
        cleared INTEGER NOT NULL,                       -- greatest generation whose replaced part was cleared away
        created INTEGER NOT NULL
    ) STRICT;
    CREATE TABLE entries (
        log BLOB NOT NULL, seq INTEGER NOT NULL, hash BLOB NOT NULL, chain BLOB NOT NULL,
        sealed BLOB,                                    -- NULL once cleared away; hash and chain stay
        PRIMARY KEY (log, seq)
    ) STRICT;
    CREATE UNIQUE INDEX entries_by_hash ON entries (log, hash);
    CREATE TABLE snapshots (
        log BLOB NOT NULL, generation INTEGER NOT NULL, seq INTEGER NOT NULL, at INTEGER NOT NULL, sealed BLOB NOT NULL,
        PRIMARY KEY (log, generation)
    ) STRICT;
    CREATE INDEX snapshots_by_age ON snapshots (at);
"];

/// Jobs that one transaction takes at most: enough to share a commit, few enough not to hold anybody up.
const BATCH: usize = 256;
/// Jobs that may queue before callers wait.
const QUEUE: usize = 1024;
/// Connections that read, each on a thread of its own while it does.
const READERS: usize = 4;

impl From<rusqlite::Error> for StoreError {
    fn from(error: rusqlite::Error) -> Self {
        match error {
            rusqlite::Error::FromSqlConversionFailure(..)
            | rusqlite::Error::IntegralValueOutOfRange(..)
            | rusqlite::Error::InvalidColumnType(..) => Self::Damaged(error.to_string()),
            other => Self::Unavailable(other.to_string()),
        }
    }
}

type Outcome<T> = Result<T, StoreError>;
/// What a write yields: its answer, and what watchers must hear once it is durable.
type Written<T> = Outcome<(T, Option<Notice>)>;

/// A write on its way through the writing thread.
trait Job: Send {
    /// Runs inside the transaction; may run a second time after a rollback. An error asks for that rollback.
    fn run(&mut self, db: &Connection) -> Outcome<()>;
    /// Answers the caller, after the commit or after it failed.
    fn settle(self: Box<Self>, committed: Outcome<()>, feed: &Feed);
}

struct Work<T, F> {
    act: F,
    done: Option<Written<T>>,
    reply: oneshot::Sender<Outcome<T>>,
}

impl<T: Send, F: FnMut(&Connection) -> Written<T> + Send> Job for Work<T, F> {
    fn run(&mut self, db: &Connection) -> Outcome<()> {
        match (self.act)(db) {
            // A refusal has written nothing: the rest of the batch may go on.
            done @ (Ok(_) | Err(StoreError::Refused(_))) => {
                self.done = Some(done);
                Ok(())
            }
            Err(error) => Err(error),
        }
    }

    fn settle(self: Box<Self>, committed: Outcome<()>, feed: &Feed) {
        let done = match (committed, self.done) {
            (Err(error), _) => Err(error),
            (Ok(()), Some(done)) => done,
            (Ok(()), None) => Err(StoreError::Unavailable("the write did not run".into())),
        };
        if let Ok((_, Some(notice))) = &done {
            feed.tell(*notice);
        }
        // Whoever asked may be gone; what was written stays written.
        let _ = self.reply.send(done.map(|(answer, _)| answer));
    }
}

/// Logs in one SQLite file.
pub struct SqliteStore {
    room: Room,
    jobs: Mutex<Option<mpsc::Sender<Box<dyn Job>>>>,
    writer: Mutex<Option<JoinHandle<()>>>,
    readers: Arc<Readers>,
    // Held as long as the store is open; the system lets go of it when the process dies, however it dies.
    _lock: File,
}

impl SqliteStore {
    /// Opens the store in a directory, making both where they are missing.
    ///
    /// # Errors
    /// [`StoreError::Unavailable`] names the file and what is wrong with it: not writable, in use by another relay,
    /// written by a newer version, or another program's.
    pub fn open(directory: &Path, room: Room, feed: Arc<Feed>) -> Result<Self, StoreError> {
        make_directory(directory)?;
        let guard = hold(&directory.join(LOCK_NAME))?;
        let path = directory.join(FILE_NAME);
        let db = open_for_writing(&path).map_err(|error| at(&path, error))?;
        let readers = Arc::new(Readers::new(path));
        let (jobs, queue) = mpsc::channel(QUEUE);
        let writer = std::thread::Builder::new()
            .name("relay-writer".into())
            .spawn(move || write_all(&db, queue, &feed))
            .map_err(|error| StoreError::Unavailable(error.to_string()))?;
        Ok(Self { room, jobs: Mutex::new(Some(jobs)), writer: Mutex::new(Some(writer)), readers, _lock: guard })
    }

    async fn write<T: Send + 'static>(
        &self,
        act: impl FnMut(&Connection) -> Written<T> + Send + 'static,
    ) -> Result<T, StoreError> {
        let jobs = lock(&self.jobs).clone().ok_or_else(closed)?;
        let (reply, answer) = oneshot::channel();
        jobs.send(Box::new(Work { act, done: None, reply })).await.map_err(|_| closed())?;
        // The job is on its way and will be carried out even if the caller goes away now.
        answer.await.map_err(|_| closed())?
    }

    async fn with_reader<T: Send + 'static>(
        &self,
        act: impl FnOnce(&Connection) -> Outcome<T> + Send + 'static,
    ) -> Result<T, StoreError> {
        let readers = Arc::clone(&self.readers);
        let permit = Arc::clone(&readers.permits).acquire_owned().await.map_err(|_| closed())?;
        let task = tokio::task::spawn_blocking(move || {
            let _permit = permit;
            readers.with(act)
        });
        task.await.map_err(|error| StoreError::Unavailable(error.to_string()))?
    }
}

fn closed() -> StoreError {
    StoreError::Unavailable("the store is closed".into())
}

fn at(path: &Path, error: impl std::fmt::Display) -> StoreError {
    StoreError::Unavailable(format!("{}: {error}", path.display()))
}

fn make_directory(directory: &Path) -> Outcome<()> {
    if directory.is_dir() {
        return Ok(());
    }
    std::fs::create_dir_all(directory).map_err(|error| at(directory, error))?;
    // The new directory's own entry must survive a power cut too.
    if let Some(parent) = directory.parent().filter(|parent| !parent.as_os_str().is_empty()) {
        File::open(parent).and_then(|parent| parent.sync_all()).map_err(|error| at(parent, error))?;
    }
    Ok(())
}

/// Takes the lock that keeps a second relay off the directory: it would not hear of this one's appends. Waits a
/// little for one that is just stopping.
fn hold(path: &Path) -> Outcome<File> {
    let file = File::options().create(true).truncate(false).write(true).open(path).map_err(|error| at(path, error))?;
    let until = Instant::now() + Duration::from_secs(5);
    loop {
        match file.try_lock() {
            Ok(()) => return Ok(file),
            Err(TryLockError::WouldBlock) if Instant::now() < until => std::thread::sleep(Duration::from_millis(50)),
            Err(TryLockError::WouldBlock) => return Err(at(path, "another relay is using this directory")),
            Err(TryLockError::Error(error)) => return Err(at(path, error)),
        }
    }
}

fn open_for_writing(path: &Path) -> Outcome<Connection> {
    let mut db = Connection::open(path)?;
    if db.is_readonly("main")? {
        return Err(StoreError::Unavailable("the file cannot be written to".into()));
    }
    db.busy_timeout(Duration::from_secs(5))?;
    db.set_prepared_statement_cache_capacity(64);
    let version: u32 = db.query_row("PRAGMA user_version", [], |row| row.get(0))?;
    let id: i32 = db.query_row("PRAGMA application_id", [], |row| row.get(0))?;
    let tables: i64 = db.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    if tables > 0 && id != APPLICATION_ID {
        return Err(StoreError::Unavailable("this database belongs to another program".into()));
    }
    let version = version as usize;
    let Some(missing) = MIGRATIONS.get(version..) else {
        return Err(StoreError::Unavailable(format!("written by a newer version (format {version})")));
    };
    db.pragma_update(None, "journal_mode", "WAL")?;
    db.pragma_update(None, "synchronous", "FULL")?;
    // A log file that grew in a busy hour is cut back at the next checkpoint.
    db.pragma_update(None, "journal_size_limit", 16 * 1024 * 1024)?;
    if !missing.is_empty() {
        let step = db.transaction()?;
        for sql in missing {
            step.execute_batch(sql)?;
        }
        step.pragma_update(None, "application_id", APPLICATION_ID)?;
        step.pragma_update(None, "user_version", MIGRATIONS.len() as u32)?;
        step.commit()?;
    }
    Ok(db)
}

/// The writing thread: until every sender is gone.
fn write_all(db: &Connection, mut queue: mpsc::Receiver<Box<dyn Job>>, feed: &Feed) {
    while let Some(first) = queue.blocking_recv() {
        let mut jobs = vec![first];
        while jobs.len() < BATCH
            && let Ok(next) = queue.try_recv()
        {
            jobs.push(next);
        }
        commit(db, jobs, feed);
    }
}

fn commit(db: &Connection, mut jobs: Vec<Box<dyn Job>>, feed: &Feed) {
    match (transact(db, &mut jobs), jobs.len()) {
        (Ok(()), _) => jobs.into_iter().for_each(|job| job.settle(Ok(()), feed)),
        (Err(error), 1) => jobs.into_iter().for_each(|job| job.settle(Err(copy(&error)), feed)),
        (Err(_), _) => {
            for job in jobs {
                let mut alone = [job];
                let committed = transact(db, &mut alone);
                let [job] = alone;
                job.settle(committed, feed);
            }
        }
    }
}

fn copy(error: &StoreError) -> StoreError {
    match error {
        StoreError::Damaged(what) => StoreError::Damaged(what.clone()),
        other => StoreError::Unavailable(other.to_string()),
    }
}

fn transact(db: &Connection, jobs: &mut [Box<dyn Job>]) -> Outcome<()> {
    let run = |jobs: &mut [Box<dyn Job>]| -> Outcome<()> {
        db.execute_batch("BEGIN IMMEDIATE")?;
        for job in jobs {
            job.run(db)?;
        }
        Ok(db.execute_batch("COMMIT")?)
    };
    let outcome = run(jobs);
    // A full disk may have rolled back already.
    if outcome.is_err() && !db.is_autocommit() {
        let _ = db.execute_batch("ROLLBACK");
    }
    outcome
}

/// Connections that only read. They see the last commit and hold up nobody.
struct Readers {
    path: PathBuf,
    idle: Mutex<Vec<Connection>>,
    permits: Arc<Semaphore>,
}

impl Readers {
    fn new(path: PathBuf) -> Self {
        Self { path, idle: Mutex::default(), permits: Arc::new(Semaphore::new(READERS)) }
    }

    fn with<T>(&self, act: impl FnOnce(&Connection) -> Outcome<T>) -> Outcome<T> {
        let idle = lock(&self.idle).pop();
        let db = match idle {
            Some(db) => db,
            None => self.open()?,
        };
        let answer = {
            // One transaction, so that head, chain and records are of one moment.
            let moment = db.unchecked_transaction()?;
            let answer = act(&moment);
            moment.finish()?;
            answer
        };
        lock(&self.idle).push(db);
        answer
    }

    fn open(&self) -> Outcome<Connection> {
        let db = Connection::open_with_flags(
            &self.path,
            OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX | OpenFlags::SQLITE_OPEN_URI,
        )?;
        db.busy_timeout(Duration::from_secs(5))?;
        Ok(db)
    }
}

/// SQLite's integers are signed. What lies above them is above every number there is.
fn signed(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

fn unsigned(row: &rusqlite::Row<'_>, column: usize) -> rusqlite::Result<u64> {
    let number: i64 = row.get(column)?;
    u64::try_from(number).map_err(|_| rusqlite::Error::IntegralValueOutOfRange(column, number))
}

fn find(db: &Connection, log: LogId) -> Outcome<Option<LogRow>> {
    let mut statement = db.prepare_cached(
        "SELECT owner, writer, read_only, deleted, epoch, head, chain, snapshot, live, replaced FROM logs WHERE log = ?1",
    )?;
    let row = statement.query_row([log.0], |row| {
        Ok(LogRow {
            owner: TokenHash(row.get(0)?),
            writer: TokenHash(row.get(1)?),
            read_only: row.get(2)?,
            deleted: row.get(3)?,
            epoch: unsigned(row, 4)?,
            head: Head { seq: unsigned(row, 5)?, chain: Chain(row.get(6)?) },
            snapshot: unsigned(row, 7)?,
            live: unsigned(row, 8)?,
            replaced: unsigned(row, 9)?,
        })
    });
    Ok(row.optional()?)
}

fn known(db: &Connection, log: LogId) -> Outcome<LogRow> {
    Ok(find(db, log)?.ok_or(Refusal::Unknown)?)
}

fn save(db: &Connection, log: LogId, row: &LogRow) -> Outcome<()> {
    db.prepare_cached(
        "UPDATE logs SET owner = ?2, writer = ?3, read_only = ?4, deleted = ?5, epoch = ?6, head = ?7, chain = ?8,
            snapshot = ?9, live = ?10, replaced = ?11 WHERE log = ?1",
    )?
    .execute(params![
        log.0,
        row.owner.0,
        row.writer.0,
        row.read_only,
        row.deleted,
        signed(row.epoch),
        signed(row.head.seq),
        row.head.chain.0,
        signed(row.snapshot),
        signed(row.live),
        signed(row.replaced),
    ])?;
    Ok(())
}

fn create(db: &Connection, log: LogId, owner: TokenHash, writer: TokenHash, now: u64) -> Written<Created> {
    if let Some(row) = find(db, log)? {
        return Ok((row.owned(&owner)?, None));
    }
    let row = LogRow::new(owner, writer);
    db.prepare_cached(
        "INSERT INTO logs (log, owner, writer, read_only, deleted, epoch, head, chain, snapshot, live, replaced, cleared,
            created) VALUES (?1, ?2, ?3, 0, 0, ?4, 0, ?5, 0, 0, 0, 0, ?6)",
    )?
    .execute(params![log.0, owner.0, writer.0, signed(row.epoch), row.head.chain.0, signed(now)])?;
    Ok((Created::New, None))
}

fn append(
    db: &Connection,
    log: LogId,
    token: &TokenHash,
    sealed: &[u8],
    hash: &[u8; 32],
    room: &Room,
) -> Written<Appended> {
    let mut row = known(db, log)?;
    let role = row.allow(token, Wish::Append)?;
    let mut same = db.prepare_cached("SELECT seq FROM entries WHERE log = ?1 AND hash = ?2")?;
    if let Some(seq) = same.query_row(params![log.0, hash], |row| unsigned(row, 0)).optional()? {
        return Ok((Appended { seq, new: false, head: row.head }, None));
    }
    let appended = row.append(role, room, sealed.len() as u64, hash)?;
    db.prepare_cached("INSERT INTO entries (log, seq, hash, chain, sealed) VALUES (?1, ?2, ?3, ?4, ?5)")?
        .execute(params![log.0, signed(appended.seq), hash, appended.head.chain.0, sealed])?;
    db.prepare_cached("UPDATE logs SET head = ?2, chain = ?3, live = ?4 WHERE log = ?1")?.execute(params![
        log.0,
        signed(appended.seq),
        appended.head.chain.0,
        signed(row.live)
    ])?;
    Ok((appended, Some(row.notice(log))))
}

fn chain_at(db: &Connection, log: LogId, row: &LogRow, seq: u64) -> Outcome<Option<Chain>> {
    if seq == 0 {
        return Ok(Some(Chain::START));
    }
    if seq < row.snapshot || seq > row.head.seq {
        return Ok(None);
    }
    let mut statement = db.prepare_cached("SELECT chain FROM entries WHERE log = ?1 AND seq = ?2")?;
    Ok(statement.query_row(params![log.0, signed(seq)], |row| row.get(0)).optional()?.map(Chain))
}

fn read(db: &Connection, log: LogId, token: &TokenHash, span: Span) -> Outcome<Page> {
    let row = known(db, log)?;
    row.allow(token, Wish::Read)?;
    let chain_at = chain_at(db, log, &row, span.after)?;
    let mut page = Page { head: row.head, chain_at, records: Vec::new() };
    let mut taken = 0u64;
    if span.after < row.snapshot {
        let mut statement =
            db.prepare_cached("SELECT seq, sealed FROM snapshots WHERE log = ?1 ORDER BY generation DESC LIMIT 1")?;
        let (seq, sealed) = statement.query_row([log.0], |row| Ok((unsigned(row, 0)?, row.get::<_, Vec<u8>>(1)?)))?;
        taken = sealed.len() as u64;
        page.records.push(Record { seq, kind: Kind::Snapshot, sealed: sealed.into() });
    }
    let left = span.limit.saturating_sub(page.records.len() as u64);
    let mut statement =
        db.prepare_cached("SELECT seq, sealed FROM entries WHERE log = ?1 AND seq > ?2 ORDER BY seq LIMIT ?3")?;
    let mut rows = statement.query(params![log.0, signed(span.after.max(row.snapshot)), signed(left)])?;
    while let Some(entry) = rows.next()? {
        let sealed = entry.get_ref(1)?.as_blob().map_err(|error| StoreError::Damaged(error.to_string()))?;
        taken = taken.saturating_add(sealed.len() as u64);
        if taken > span.bytes && !page.records.is_empty() {
            break;
        }
        let sealed = Bytes::copy_from_slice(sealed);
        page.records.push(Record { seq: unsigned(entry, 0)?, kind: Kind::Entry, sealed });
    }
    Ok(page)
}

/// The last snapshot's generation and number.
fn last_snapshot(db: &Connection, log: LogId) -> Outcome<Option<(i64, u64)>> {
    let mut statement =
        db.prepare_cached("SELECT generation, seq FROM snapshots WHERE log = ?1 ORDER BY generation DESC LIMIT 1")?;
    Ok(statement.query_row([log.0], |row| Ok((row.get(0)?, unsigned(row, 1)?))).optional()?)
}

/// What a snapshot through `through` takes the place of: the snapshot of this generation, and the entries after it.
fn swallowed(db: &Connection, log: LogId, before: Option<(i64, u64)>, through: u64) -> Outcome<u64> {
    let (generation, from) = before.unwrap_or((-1, 0));
    let entries = db
        .prepare_cached(
            "SELECT count(*), coalesce(sum(length(sealed)), 0) FROM entries
                WHERE log = ?1 AND seq > ?2 AND seq <= ?3 AND sealed IS NOT NULL",
        )?
        .query_row(params![log.0, signed(from), signed(through)], |row| Ok((unsigned(row, 0)?, unsigned(row, 1)?)))?;
    let snapshot = db
        .prepare_cached("SELECT length(sealed) FROM snapshots WHERE log = ?1 AND generation = ?2")?
        .query_row(params![log.0, generation], |row| unsigned(row, 0))
        .optional()?;
    Ok(entries.0.saturating_mul(charge(0)).saturating_add(entries.1).saturating_add(snapshot.map_or(0, charge)))
}

/// A snapshot as it was asked for.
struct Snapshot {
    through: u64,
    chain: Chain,
    sealed: Bytes,
    now: u64,
}

fn snapshot(db: &Connection, log: LogId, token: &TokenHash, wanted: &Snapshot, room: &Room) -> Written<Head> {
    let mut row = known(db, log)?;
    row.allow(token, Wish::Own)?;
    row.snapshot_range(wanted.through)?;
    if chain_at(db, log, &row, wanted.through)? != Some(wanted.chain) {
        return Err(Refusal::ChainDiffers { through: wanted.through }.into());
    }
    let last = last_snapshot(db, log)?;
    if let Some((generation, seq)) = last
        && seq == wanted.through
        && same_snapshot(db, log, generation, &wanted.sealed)?
    {
        return Ok((row.head, None));
    }
    let swallowed = swallowed(db, log, last, wanted.through)?;
    row.take_snapshot(room, wanted.through, wanted.sealed.len() as u64, swallowed)?;
    db.prepare_cached("INSERT INTO snapshots (log, generation, seq, at, sealed) VALUES (?1, ?2, ?3, ?4, ?5)")?
        .execute(params![
            log.0,
            last.map_or(1, |(generation, _)| generation + 1),
            signed(wanted.through),
            signed(wanted.now),
            &wanted.sealed[..]
        ])?;
    save(db, log, &row)?;
    Ok((row.head, None))
}

/// Whether these bytes are that snapshot already: a repetition after a lost answer is done, not done again.
fn same_snapshot(db: &Connection, log: LogId, generation: i64, sealed: &[u8]) -> Outcome<bool> {
    let mut statement = db.prepare_cached("SELECT sealed = ?3 FROM snapshots WHERE log = ?1 AND generation = ?2")?;
    Ok(statement.query_row(params![log.0, generation, sealed], |row| row.get(0))?)
}

fn set_writer(db: &Connection, log: LogId, token: &TokenHash, writer: Option<TokenHash>) -> Written<()> {
    let mut row = known(db, log)?;
    row.allow(token, Wish::Own)?;
    row.read_only = writer.is_none();
    row.writer = writer.unwrap_or(row.writer);
    row.epoch += 1;
    save(db, log, &row)?;
    Ok(((), Some(row.notice(log))))
}

fn delete(db: &Connection, log: LogId, token: &TokenHash) -> Written<()> {
    let row = known(db, log)?;
    row.allow(token, Wish::Own)?;
    db.prepare_cached("DELETE FROM entries WHERE log = ?1")?.execute([log.0])?;
    db.prepare_cached("DELETE FROM snapshots WHERE log = ?1")?.execute([log.0])?;
    let nobody = TokenHash([0; 32]);
    let stone = LogRow { deleted: true, epoch: row.epoch + 1, ..LogRow::new(nobody, nobody) };
    save(db, log, &stone)?;
    Ok(((), Some(Notice { head: row.head.seq, ..stone.notice(log) })))
}

fn restore(db: &Connection, log: LogId) -> Written<Option<u64>> {
    let mut row = known(db, log)?;
    if row.deleted {
        return Err(Refusal::Gone.into());
    }
    let cleared: i64 = db.query_row("SELECT cleared FROM logs WHERE log = ?1", [log.0], |row| row.get(0))?;
    let Some((generation, seq)) = last_snapshot(db, log)?.filter(|(generation, _)| *generation > cleared) else {
        return Ok((None, None));
    };
    let length = db.query_row(
        "SELECT length(sealed) FROM snapshots WHERE log = ?1 AND generation = ?2",
        params![log.0, generation],
        |row| unsigned(row, 0),
    )?;
    db.execute("DELETE FROM snapshots WHERE log = ?1 AND generation = ?2", params![log.0, generation])?;
    let before = last_snapshot(db, log)?;
    let back = swallowed(db, log, before, seq)?;
    row.live = row.live.saturating_sub(charge(length)).saturating_add(back);
    row.replaced = row.replaced.saturating_sub(back);
    row.snapshot = before.map_or(0, |(_, seq)| seq);
    save(db, log, &row)?;
    Ok((Some(seq), None))
}

fn tidy(db: &Connection, before: u64) -> Outcome<u64> {
    let due: Vec<([u8; 16], i64, u64)> = db
        .prepare(
            "SELECT s.log, s.generation, s.seq FROM snapshots s JOIN logs l ON l.log = s.log
                WHERE s.at <= ?1 AND s.generation > l.cleared ORDER BY s.log, s.generation",
        )?
        .query_map([signed(before)], |row| Ok((row.get(0)?, row.get(1)?, unsigned(row, 2)?)))?
        .collect::<Result<_, _>>()?;
    for (log, generation, seq) in &due {
        clear(db, LogId(*log), *generation, *seq)?;
    }
    Ok(due.len() as u64)
}

/// Clears away what the snapshot of a generation replaced; hashes and chain stay, so that a repetition is still known.
fn clear(db: &Connection, log: LogId, generation: i64, seq: u64) -> Outcome<()> {
    let old = db
        .prepare_cached(
            "SELECT generation, seq FROM snapshots WHERE log = ?1 AND generation < ?2 ORDER BY generation DESC",
        )?
        .query_row(params![log.0, generation], |row| Ok((row.get(0)?, unsigned(row, 1)?)))
        .optional()?;
    let freed = swallowed(db, log, old, seq)?;
    db.prepare_cached("UPDATE entries SET sealed = NULL WHERE log = ?1 AND seq <= ?2 AND sealed IS NOT NULL")?
        .execute(params![log.0, signed(seq)])?;
    db.prepare_cached("DELETE FROM snapshots WHERE log = ?1 AND generation < ?2")?
        .execute(params![log.0, generation])?;
    db.prepare_cached("UPDATE logs SET cleared = ?2, replaced = max(0, replaced - ?3) WHERE log = ?1")?
        .execute(params![log.0, generation, signed(freed)])?;
    Ok(())
}

#[async_trait]
impl Store for SqliteStore {
    async fn create(&self, log: LogId, owner: TokenHash, writer: TokenHash, now: u64) -> Result<Created, StoreError> {
        self.write(move |db| create(db, log, owner, writer, now)).await
    }

    async fn owned(&self, log: LogId, owner: TokenHash) -> Result<Option<Created>, StoreError> {
        self.with_reader(move |db| Ok(find(db, log)?.map(|row| row.owned(&owner)).transpose()?)).await
    }

    async fn look(&self, log: LogId, token: TokenHash) -> Result<(Role, Notice), StoreError> {
        self.with_reader(move |db| {
            let row = known(db, log)?;
            Ok((row.role(&token)?, row.notice(log)))
        })
        .await
    }

    async fn append(&self, log: LogId, token: TokenHash, sealed: Bytes) -> Result<Appended, StoreError> {
        let (hash, room) = (entry_hash(&sealed), self.room);
        self.write(move |db| append(db, log, &token, &sealed, &hash, &room)).await
    }

    async fn read(&self, log: LogId, token: TokenHash, span: Span) -> Result<Page, StoreError> {
        self.with_reader(move |db| read(db, log, &token, span)).await
    }

    async fn snapshot(
        &self,
        log: LogId,
        token: TokenHash,
        through: u64,
        chain: Chain,
        sealed: Bytes,
        now: u64,
    ) -> Result<Head, StoreError> {
        let (room, wanted) = (self.room, Snapshot { through, chain, sealed, now });
        self.write(move |db| snapshot(db, log, &token, &wanted, &room)).await
    }

    async fn set_writer(&self, log: LogId, token: TokenHash, writer: Option<TokenHash>) -> Result<(), StoreError> {
        self.write(move |db| set_writer(db, log, &token, writer)).await
    }

    async fn delete(&self, log: LogId, token: TokenHash) -> Result<(), StoreError> {
        self.write(move |db| delete(db, log, &token)).await
    }

    async fn restore(&self, log: LogId) -> Result<Option<u64>, StoreError> {
        self.write(move |db| restore(db, log)).await
    }

    async fn tidy(&self, now: u64) -> Result<u64, StoreError> {
        let before = now.saturating_sub(KEEP_REPLACED_SECONDS);
        self.write(move |db| Ok((tidy(db, before)?, None))).await
    }

    async fn poll(&self) -> Result<(), StoreError> {
        Ok(())
    }

    async fn close(&self) {
        // Readers first: the writing connection must be the last to close, for it alone can tidy up behind itself.
        drop(self.readers.permits.acquire_many(READERS as u32).await);
        self.readers.permits.close();
        lock(&self.readers.idle).clear();
        drop(lock(&self.jobs).take());
        let writer = lock(&self.writer).take();
        if let Some(writer) = writer {
            // The last connection to close moves everything from the write-ahead log into the file.
            let _ = tokio::task::spawn_blocking(move || writer.join()).await;
        }
    }
}
