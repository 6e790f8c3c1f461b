//! What a device keeps on a disk: records by their keys in one SQLite file, and the lock that keeps others off it.
//!
//! One SQLite file rather than a file for each record: an edit is several records, and here they become durable
//! together, with one write-ahead log to sync. `synchronous = FULL` syncs that log in every commit, so what was said to
//! be kept is there after a power cut as well.

use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use rusqlite::{Connection, OptionalExtension as _, params};

/// The file of records.
const RECORDS: &str = "device.sqlite";
/// Held by the one process that has the device open.
const LOCK: &str = "device.lock";
/// Made by a process that waits for the lock: one that stays in sync then gives way for a moment.
const WAITING: &str = "device.waiting";
/// How long a process waits for the one before it.
const PATIENCE: Duration = Duration::from_secs(15);
/// How often it looks.
const LOOK: Duration = Duration::from_millis(20);
/// `Trug` in ASCII: the file is ours.
const APPLICATION_ID: i32 = 0x5472_7567;
/// The format of the file.
const VERSION: u32 = 1;

/// Why there is no store.
#[derive(Debug, thiserror::Error)]
pub(crate) enum StoreError {
    /// Another process has the device open.
    #[error("{} is in use by another trug; wait until that one is done, or name another folder with --home", .0.display())]
    InUse(PathBuf),
    /// The file is not ours, or newer than this program.
    #[error("{}: {why}", path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
        /// Why it is left alone.
        why: String,
    },
    /// The disk says no.
    #[error("{}: {source}", path.display())]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// What the disk says.
        source: std::io::Error,
    },
    /// SQLite says no.
    #[error("what this device keeps in {}: {source}", path.display())]
    Sqlite {
        /// The file.
        path: PathBuf,
        /// What SQLite says.
        source: rusqlite::Error,
    },
}

fn io_error(path: &Path) -> impl FnOnce(std::io::Error) -> StoreError + '_ {
    |source| StoreError::Io { path: path.to_owned(), source }
}

/// One write. Writes and deletions take effect in order.
#[derive(Debug)]
pub(crate) enum Write {
    /// Puts a record.
    Put(String, Vec<u8>),
    /// Takes one away.
    Delete(String),
}

/// An open store. While it is open, no other process has it.
#[derive(Debug)]
pub(crate) struct Store {
    folder: PathBuf,
    path: PathBuf,
    db: Connection,
    _lock: File,
}

impl Store {
    /// Opens the store in a folder, which is made where it is not there; waits a little for a process that has it.
    pub(crate) fn open(folder: &Path) -> Result<Self, StoreError> {
        make_private(folder)?;
        let lock = hold(folder)?;
        let path = folder.join(RECORDS);
        make_file_private(&path)?;
        let db = prepare(&path)?;
        // The file itself has to be in its folder after a power cut.
        File::open(folder).and_then(|folder| folder.sync_all()).map_err(io_error(folder))?;
        Ok(Self { folder: folder.to_owned(), path, db, _lock: lock })
    }

    /// All records.
    pub(crate) fn all(&self) -> Result<Vec<(String, Vec<u8>)>, StoreError> {
        let read = || -> rusqlite::Result<Vec<(String, Vec<u8>)>> {
            let mut rows = self.db.prepare("SELECT key, bytes FROM record ORDER BY key")?;
            rows.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?.collect()
        };
        read().map_err(self.failed())
    }

    /// Makes these writes durable, all of them or none.
    pub(crate) fn write(&mut self, writes: &[Write]) -> Result<(), StoreError> {
        if writes.is_empty() {
            return Ok(());
        }
        let path = self.path.clone();
        let mut commit = || {
            let transaction = self.db.transaction()?;
            for write in writes {
                match write {
                    Write::Put(key, bytes) => transaction
                        .prepare_cached("INSERT INTO record (key, bytes) VALUES (?1, ?2) ON CONFLICT (key) DO UPDATE SET bytes = ?2")?
                        .execute(params![key, bytes])?,
                    Write::Delete(key) => {
                        transaction.prepare_cached("DELETE FROM record WHERE key = ?1")?.execute([key])?
                    }
                };
            }
            transaction.commit()
        };
        commit().map_err(|source| StoreError::Sqlite { path, source })
    }

    /// Whether another process waits for the device.
    pub(crate) fn is_wanted(&self) -> bool {
        self.folder.join(WAITING).exists()
    }

    fn failed(&self) -> impl FnOnce(rusqlite::Error) -> StoreError + '_ {
        |source| StoreError::Sqlite { path: self.path.clone(), source }
    }
}

/// Waits until whoever wanted the device has it, so that giving way is not won back at once.
pub(crate) fn give_way(folder: &Path) {
    let until = Instant::now() + Duration::from_secs(2);
    while folder.join(WAITING).exists() && Instant::now() < until {
        std::thread::sleep(LOOK);
    }
}

/// A device holds secrets: its folder is for its owner's eyes.
fn make_private(folder: &Path) -> Result<(), StoreError> {
    let mut builder = fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(folder).map_err(io_error(folder))
}

/// SQLite gives its own side files the rights of the main one.
fn make_file_private(path: &Path) -> Result<(), StoreError> {
    let mut options = File::options();
    options.create(true).truncate(false).write(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path).map(drop).map_err(io_error(path))
}

/// Takes the lock, or says that somebody has it.
fn hold(folder: &Path) -> Result<File, StoreError> {
    let (path, waiting) = (folder.join(LOCK), folder.join(WAITING));
    let file = File::options().create(true).truncate(false).write(true).open(&path).map_err(io_error(&path))?;
    let until = Instant::now() + PATIENCE;
    let mut asked = false;
    loop {
        match file.try_lock() {
            Ok(()) => {
                let _ = fs::remove_file(&waiting);
                return Ok(file);
            }
            Err(TryLockError::Error(source)) => return Err(StoreError::Io { path, source }),
            Err(TryLockError::WouldBlock) if Instant::now() >= until => {
                let _ = fs::remove_file(&waiting);
                return Err(StoreError::InUse(folder.to_owned()));
            }
            Err(TryLockError::WouldBlock) => {
                if !asked {
                    // Where this cannot be written the wait is as long, and that is all.
                    let _ = File::create(&waiting);
                    asked = true;
                }
                std::thread::sleep(LOOK);
            }
        }
    }
}

fn prepare(path: &Path) -> Result<Connection, StoreError> {
    let failed = |source| StoreError::Sqlite { path: path.to_owned(), source };
    let db = Connection::open(path).map_err(failed)?;
    let ask = |what: &str| db.query_row(what, [], |row| row.get::<_, i64>(0)).optional().map(Option::unwrap_or_default);
    let id = ask("PRAGMA application_id").map_err(failed)?;
    let version = ask("PRAGMA user_version").map_err(failed)?;
    let tables = ask("SELECT count(*) FROM sqlite_schema").map_err(failed)?;
    let foreign = |why: String| StoreError::Foreign { path: path.to_owned(), why };
    if tables > 0 && id != i64::from(APPLICATION_ID) {
        return Err(foreign("this database belongs to another program".to_owned()));
    }
    if version > i64::from(VERSION) {
        return Err(foreign(format!("written by a newer trug (format {version}); update this one to open it")));
    }
    let set_up = || {
        db.pragma_update(None, "journal_mode", "WAL")?;
        db.pragma_update(None, "synchronous", "FULL")?;
        if tables == 0 {
            db.execute_batch(&format!(
                "BEGIN; CREATE TABLE record (key TEXT NOT NULL PRIMARY KEY, bytes BLOB NOT NULL) STRICT;
                 PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {VERSION}; COMMIT"
            ))?;
        }
        Ok(())
    };
    set_up().map_err(failed)?;
    Ok(db)
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Folder(PathBuf);

    impl Folder {
        fn new(name: &str) -> Self {
            let path = std::env::temp_dir().join(format!("trug-store-{name}-{}", std::process::id()));
            let _ = fs::remove_dir_all(&path);
            Self(path)
        }
    }

    impl Drop for Folder {
        fn drop(&mut self) {
            let _ = fs::remove_dir_all(&self.0);
        }
    }

    #[test]
    fn what_was_written_is_there_again_in_order() {
        let folder = Folder::new("again");
        let put = |key: &str, bytes: &[u8]| Write::Put(key.to_owned(), bytes.to_vec());
        let mut store = Store::open(&folder.0).unwrap();
        store.write(&[put("a", b"1"), put("b", b"2"), put("a", b"3"), Write::Delete("b".to_owned())]).unwrap();
        store.write(&[]).unwrap();
        drop(store);
        let store = Store::open(&folder.0).unwrap();
        assert_eq!(store.all().unwrap(), [("a".to_owned(), b"3".to_vec())]);
    }

    #[cfg(unix)]
    #[test]
    fn nobody_else_reads_it() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = Folder::new("private");
        drop(Store::open(&folder.0).unwrap());
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o077;
        assert_eq!((mode(&folder.0), mode(&folder.0.join(RECORDS))), (0, 0));
    }

    #[test]
    fn another_programs_file_is_left_alone() {
        let folder = Folder::new("foreign");
        fs::create_dir_all(&folder.0).unwrap();
        Connection::open(folder.0.join(RECORDS)).unwrap().execute_batch("CREATE TABLE theirs (x)").unwrap();
        assert!(matches!(Store::open(&folder.0), Err(StoreError::Foreign { .. })));
    }

    #[test]
    fn a_process_that_waits_is_seen_and_gets_its_turn() {
        let folder = Folder::new("turn");
        let store = Store::open(&folder.0).unwrap();
        assert!(!store.is_wanted());
        let path = folder.0.clone();
        let other = std::thread::spawn(move || Store::open(&path).map(drop));
        while !store.is_wanted() {
            std::thread::sleep(LOOK);
        }
        drop(store);
        other.join().unwrap().unwrap();
        give_way(&folder.0);
        assert!(!folder.0.join(WAITING).exists());
    }
}
