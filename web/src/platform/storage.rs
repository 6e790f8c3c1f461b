//! The one database of the app: IndexedDB, one object store, text keys to bytes.
//!
//! A batch is written in one transaction with strict durability and answered at the transaction's `complete`: from
//! then on it survives the phone being switched off. Written straight on `web-sys`: the wrappers in the registry
//! either offer no durability or forget why a transaction was aborted, and a full phone is reported by exactly that.
//!
//! A browser may take a connection away (another tab brings the database to a newer version, the system ran short).
//! Then it is opened once more, but never created anew: an app that went on writing its next changes into a fresh,
//! empty database would lose everything before them without a word.

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use gloo::events::EventListener;
use gloo::timers::callback::Timeout;
use js_sys::{Array, Uint8Array};
use thiserror::Error;
use wasm_bindgen::closure::Closure;
use wasm_bindgen::prelude::wasm_bindgen;
use wasm_bindgen::{JsCast, JsValue};
use web_sys::{
    DomException, Event, IdbDatabase, IdbFactory, IdbKeyRange, IdbObjectStore, IdbOpenDbRequest, IdbRequest,
    IdbTransaction, IdbVersionChangeEvent,
};

use super::js::{self, Deferred};

/// The version of the database's layout (not of the data in it). It only grows.
const VERSION: u32 = 1;
/// The object store.
const RECORDS: &str = "records";
/// Records read in one go: enough to be quick, few enough for the pipe between the browser's processes.
const PAGE: u32 = 2_000;
/// How long another tab may keep the database from us, in milliseconds. A tab that runs lets go at once; one that
/// the phone has put to sleep does not.
const PATIENCE: u32 = 4_000;

#[wasm_bindgen]
extern "C" {
    /// `IDBDatabase` as it takes options for a transaction, which `web-sys` still marks unstable.
    #[wasm_bindgen(extends = js_sys::Object)]
    type Durable;

    #[wasm_bindgen(method, catch, js_name = transaction)]
    fn transaction(this: &Durable, store: &str, mode: &str, options: &JsValue) -> Result<IdbTransaction, JsValue>;
}

/// Why something could not be stored or read.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum StorageError {
    /// The browser keeps nothing for this site: a private window, a setting, or no IndexedDB at all.
    #[error("the browser keeps no data for this site: {0}")]
    Refused(String),
    /// There is no room left. Nothing of the batch was written.
    #[error("there is no room left on this device")]
    Full,
    /// The database has a newer layout than this version of the app knows.
    #[error("the data on this device was written by a newer version of the app")]
    Newer,
    /// Another tab, probably asleep, holds an older version open.
    #[error("another tab of the app holds the data open")]
    Blocked,
    /// The database was there and is gone: erased in another tab, or by the browser.
    #[error("the data on this device was erased")]
    Lost,
    /// Anything else, in the browser's own words.
    #[error("the browser's storage failed: {0}")]
    Other(String),
}

/// One change to the database.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Write {
    /// Keep these bytes under this key, in place of what is there.
    Put(String, Vec<u8>),
    /// Keep nothing under this key any longer.
    Delete(String),
}

/// The open database. Clones are the same one.
#[derive(Clone)]
pub struct Store {
    shared: Rc<Shared>,
}

struct Shared {
    name: String,
    connection: RefCell<Option<Connection>>,
    lost: Rc<Cell<bool>>,
}

struct Connection {
    database: IdbDatabase,
    usable: Rc<Cell<bool>>,
    _listeners: [EventListener; 2],
}

impl Drop for Connection {
    fn drop(&mut self) {
        self.database.close();
    }
}

impl Store {
    /// Opens the database of this name, or creates it.
    ///
    /// # Errors
    ///
    /// `Refused`, `Newer`, `Blocked`, `Full` or `Other`.
    pub async fn open(name: &str) -> Result<Self, StorageError> {
        let lost = Rc::new(Cell::new(false));
        let connection = connect(name, Opening::First, &lost).await?;
        let shared = Shared { name: name.to_owned(), connection: RefCell::new(Some(connection)), lost };
        Ok(Self { shared: Rc::new(shared) })
    }

    /// All records, by key.
    ///
    /// # Errors
    ///
    /// `Lost`, `Newer` or `Other`.
    pub async fn load_all(&self) -> Result<Vec<(String, Vec<u8>)>, StorageError> {
        self.load_prefix("").await
    }

    /// The records whose key begins with `prefix`, by key.
    ///
    /// # Errors
    ///
    /// `Lost`, `Newer` or `Other`.
    pub async fn load_prefix(&self, prefix: &str) -> Result<Vec<(String, Vec<u8>)>, StorageError> {
        self.attempt(async |database| read(&database, prefix).await).await
    }

    /// Writes all of the batch, or nothing of it, and answers when it is durable.
    ///
    /// # Errors
    ///
    /// `Full`, `Lost`, `Newer`, `Refused` or `Other`; nothing was written then.
    pub async fn write(&self, batch: Vec<Write>) -> Result<(), StorageError> {
        if batch.is_empty() {
            return Ok(());
        }
        self.attempt(async |database| write(&database, &batch).await).await
    }

    /// Erases the database. This store, and that of every other tab, is `Lost` from then on.
    ///
    /// # Errors
    ///
    /// `Blocked` where another tab does not let go (it is erased when that tab closes), `Refused` or `Other`.
    pub async fn wipe(&self) -> Result<(), StorageError> {
        self.shared.lost.set(true);
        self.shared.connection.take();
        wipe(&self.shared.name).await
    }

    /// Does some work on the database, and does it once more where the connection went away under it. Both reading
    /// and writing whole batches by key give the same when done twice.
    async fn attempt<T>(&self, work: impl AsyncFn(IdbDatabase) -> Result<T, Trouble>) -> Result<T, StorageError> {
        match work(self.database().await?).await {
            Err(trouble) if trouble.connection_gone() => {
                self.shared.connection.take();
                work(self.database().await?).await.map_err(StorageError::from)
            }
            outcome => outcome.map_err(StorageError::from),
        }
    }

    async fn database(&self) -> Result<IdbDatabase, StorageError> {
        if self.shared.lost.get() {
            return Err(StorageError::Lost);
        }
        if let Some(connection) = self.shared.connection.borrow().as_ref().filter(|c| c.usable.get()) {
            return Ok(connection.database.clone());
        }
        let connection = connect(&self.shared.name, Opening::Again, &self.shared.lost).await?;
        let database = connection.database.clone();
        self.shared.connection.replace(Some(connection));
        Ok(database)
    }
}

/// Erases the database of this name, also where it cannot be opened.
///
/// # Errors
///
/// `Blocked` where another tab does not let go (it is erased when that tab closes), `Refused` or `Other`.
pub async fn wipe(name: &str) -> Result<(), StorageError> {
    let request = factory()?.delete_database(name).map_err(|e| Trouble::from(e).at_opening())?;
    settled(&request).await
}

/// Whether a database may be created on the way.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Opening {
    First,
    Again,
}

async fn connect(name: &str, opening: Opening, lost: &Rc<Cell<bool>>) -> Result<Connection, StorageError> {
    let request = factory()?.open_with_u32(name, VERSION).map_err(|e| Trouble::from(e).at_opening())?;
    let upgrade = EventListener::once(&request, "upgradeneeded", {
        let (request, lost) = (request.clone(), lost.clone());
        move |event| {
            if opening == Opening::Again && creates(event) {
                lost.set(true);
                abort_upgrade(&request);
            } else {
                create(&request);
            }
        }
    });
    let outcome = settled(&request).await;
    drop(upgrade);
    if lost.get() {
        return Err(StorageError::Lost);
    }
    outcome?;
    let database = request.result().map_err(Trouble::from)?.unchecked_into();
    Ok(Connection::new(database, lost.clone()))
}

impl Connection {
    fn new(database: IdbDatabase, lost: Rc<Cell<bool>>) -> Self {
        let usable = Rc::new(Cell::new(true));
        let superseded = EventListener::new(&database, "versionchange", {
            let (database, usable) = (database.clone(), usable.clone());
            move |event| {
                usable.set(false);
                if event.unchecked_ref::<IdbVersionChangeEvent>().new_version().is_none() {
                    lost.set(true);
                }
                // Whoever asked waits for us; transactions under way are finished first.
                database.close();
            }
        });
        let closed = EventListener::new(&database, "close", {
            let usable = usable.clone();
            move |_| usable.set(false)
        });
        Self { database, usable, _listeners: [superseded, closed] }
    }
}

fn factory() -> Result<IdbFactory, StorageError> {
    let missing = || StorageError::Refused("there is no IndexedDB here".to_owned());
    let window = js::window().ok_or_else(missing)?;
    window.indexed_db().map_err(|e| Trouble::from(e).at_opening())?.ok_or_else(missing)
}

fn creates(event: &Event) -> bool {
    event.unchecked_ref::<IdbVersionChangeEvent>().old_version() < 1.0
}

fn abort_upgrade(request: &IdbOpenDbRequest) {
    if let Some(transaction) = request.transaction() {
        // Undoes the creation; the request then fails, which is what is wanted.
        let _ = transaction.abort();
    }
}

fn create(request: &IdbOpenDbRequest) {
    if let Ok(database) = request.result() {
        // Where this fails the upgrade is aborted by the browser, and the request says why.
        let _ = database.unchecked_into::<IdbDatabase>().create_object_store(RECORDS);
    }
}

/// Waits for a request to open or to erase. One that is blocked is given up after a while.
async fn settled(request: &IdbOpenDbRequest) -> Result<(), StorageError> {
    let deferred = Deferred::new();
    request.set_onsuccess(Some(&deferred.resolve));
    request.set_onerror(Some(&deferred.reject));
    let given_up = Rc::new(Cell::new(false));
    let timer = Rc::new(RefCell::new(None));
    let _blocked = EventListener::once(request, "blocked", {
        let (timer, given_up, reject) = (timer.clone(), given_up.clone(), deferred.reject.clone());
        move |_| {
            let give_up = Timeout::new(PATIENCE, move || {
                given_up.set(true);
                js::settle(&reject, &JsValue::UNDEFINED);
            });
            timer.replace(Some(give_up));
        }
    });
    let outcome = deferred.wait().await;
    if given_up.get() {
        close_when_late(request);
        return Err(StorageError::Blocked);
    }
    match outcome {
        Ok(_) => Ok(()),
        Err(_) => Err(Trouble::of(request).at_opening()),
    }
}

/// A request that nobody waits for any longer must not leave a connection open that nobody closes.
fn close_when_late(request: &IdbOpenDbRequest) {
    let late = request.clone();
    let close = Closure::once_into_js(move || {
        if let Some(database) = late.result().ok().and_then(|r| r.dyn_into::<IdbDatabase>().ok()) {
            database.close();
        }
    });
    request.set_onsuccess(Some(close.unchecked_ref()));
}

async fn write(database: &IdbDatabase, batch: &[Write]) -> Result<(), Trouble> {
    let options = js::object(&[("durability", JsValue::from_str("strict"))]);
    let transaction = database.unchecked_ref::<Durable>().transaction(RECORDS, "readwrite", &options)?;
    let finished = Deferred::new();
    transaction.set_oncomplete(Some(&finished.resolve));
    transaction.set_onabort(Some(&finished.reject));
    if let Err(error) = request_all(&transaction, batch) {
        // Without this, what was asked for so far would be written by itself.
        let _ = transaction.abort();
        return Err(error.into());
    }
    // Saves a turn of the event loop; where it is missing the browser commits by itself.
    let _ = js::call(&transaction, "commit", &[]);
    match finished.wait().await {
        Ok(_) => Ok(()),
        Err(_) => Err(transaction.error().map_or_else(Trouble::unexplained, Trouble::from)),
    }
}

fn request_all(transaction: &IdbTransaction, batch: &[Write]) -> Result<(), JsValue> {
    let records = transaction.object_store(RECORDS)?;
    for write in batch {
        match write {
            Write::Put(key, bytes) => {
                records.put_with_key(&Uint8Array::from(bytes.as_slice()), &JsValue::from_str(key))?
            }
            Write::Delete(key) => records.delete(&JsValue::from_str(key))?,
        };
    }
    Ok(())
}

async fn read(database: &IdbDatabase, prefix: &str) -> Result<Vec<(String, Vec<u8>)>, Trouble> {
    let records = database.transaction_with_str(RECORDS)?.object_store(RECORDS)?;
    let mut found: Vec<(String, Vec<u8>)> = Vec::new();
    loop {
        let page = read_page(&records, prefix, found.last().map(|(key, _)| key.as_str())).await?;
        let whole = page.len() == PAGE as usize;
        found.extend(page);
        if !whole {
            return Ok(found);
        }
    }
}

async fn read_page(
    records: &IdbObjectStore,
    prefix: &str,
    after: Option<&str>,
) -> Result<Vec<(String, Vec<u8>)>, Trouble> {
    let range = range(prefix, after)?;
    // Both are asked for before either is waited for: within one transaction they see the same records.
    let keys = Answer::of(records.get_all_keys_with_key_and_limit(&range, PAGE)?);
    let values = Answer::of(records.get_all_with_key_and_limit(&range, PAGE)?);
    let keys: Array = keys.wait().await?.unchecked_into();
    let values: Array = values.wait().await?.unchecked_into();
    keys.iter().zip(values.iter()).map(|(key, value)| record(&key, value)).collect()
}

fn record(key: &JsValue, value: JsValue) -> Result<(String, Vec<u8>), Trouble> {
    let strange = || Trouble::named("DataError", "a record is not bytes under a text");
    let bytes: Uint8Array = value.dyn_into().map_err(|_| strange())?;
    Ok((key.as_string().ok_or_else(strange)?, bytes.to_vec()))
}

/// The keys that begin with `prefix` and come after `after`; `undefined` means all of them.
fn range(prefix: &str, after: Option<&str>) -> Result<JsValue, JsValue> {
    let lower = JsValue::from_str(after.unwrap_or(prefix));
    let open = after.is_some();
    Ok(match (prefix.is_empty(), open) {
        (true, false) => JsValue::UNDEFINED,
        (true, true) => IdbKeyRange::lower_bound_with_open(&lower, true)?.into(),
        (false, _) => {
            let upper = JsValue::from_str(&format!("{prefix}\u{ffff}"));
            IdbKeyRange::bound_with_lower_open_and_upper_open(&lower, &upper, open, true)?.into()
        }
    })
}

/// The answer to one request.
struct Answer {
    request: IdbRequest,
    deferred: Deferred,
}

impl Answer {
    fn of(request: IdbRequest) -> Self {
        let deferred = Deferred::new();
        request.set_onsuccess(Some(&deferred.resolve));
        request.set_onerror(Some(&deferred.reject));
        Self { request, deferred }
    }

    async fn wait(self) -> Result<JsValue, Trouble> {
        match self.deferred.wait().await {
            Ok(_) => Ok(self.request.result()?),
            Err(_) => Err(Trouble::of(&self.request)),
        }
    }
}

/// What the browser says went wrong: the name of its error and its words.
#[derive(Debug)]
struct Trouble {
    name: String,
    text: String,
}

impl Trouble {
    fn named(name: &str, text: &str) -> Self {
        Self { name: name.to_owned(), text: format!("{name}: {text}") }
    }

    fn unexplained() -> Self {
        Self::named("AbortError", "the browser gave no reason")
    }

    fn of(request: &IdbRequest) -> Self {
        request.error().ok().flatten().map_or_else(Self::unexplained, Self::from)
    }

    /// Whether it may go away with a new connection. Safari reports a lost one as `UnknownError`.
    fn connection_gone(&self) -> bool {
        matches!(self.name.as_str(), "InvalidStateError" | "AbortError" | "UnknownError" | "TransactionInactiveError")
    }

    /// The same at the opening, where an invalid state means that the browser will have none of it (a private
    /// window of older browsers).
    fn at_opening(self) -> StorageError {
        if self.name == "InvalidStateError" { StorageError::Refused(self.text) } else { self.into() }
    }
}

impl From<JsValue> for Trouble {
    fn from(error: JsValue) -> Self {
        Self { name: js::error_name(&error), text: js::error_text(&error) }
    }
}

impl From<DomException> for Trouble {
    fn from(error: DomException) -> Self {
        JsValue::from(error).into()
    }
}

impl From<Trouble> for StorageError {
    fn from(trouble: Trouble) -> Self {
        match trouble.name.as_str() {
            "QuotaExceededError" => Self::Full,
            "VersionError" => Self::Newer,
            "SecurityError" | "NotAllowedError" => Self::Refused(trouble.text),
            _ => Self::Other(trouble.text),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_get_their_kind_from_their_name() {
        let table = [
            ("QuotaExceededError", StorageError::Full),
            ("VersionError", StorageError::Newer),
            ("SecurityError", StorageError::Refused("SecurityError: why".to_owned())),
            ("DataError", StorageError::Other("DataError: why".to_owned())),
        ];
        for (name, kind) in table {
            assert_eq!(StorageError::from(Trouble::named(name, "why")), kind);
        }
    }

    #[test]
    fn an_invalid_state_at_the_opening_is_a_refusal() {
        let refused = Trouble::named("InvalidStateError", "no");
        assert!(matches!(refused.at_opening(), StorageError::Refused(_)));
    }

    #[test]
    fn a_full_device_is_not_tried_again() {
        assert!(!Trouble::named("QuotaExceededError", "").connection_gone());
        assert!(Trouble::named("InvalidStateError", "").connection_gone());
    }
}

#[cfg(all(test, target_arch = "wasm32"))]
mod in_a_browser {
    use wasm_bindgen_test::{wasm_bindgen_test, wasm_bindgen_test_configure};

    use super::*;

    wasm_bindgen_test_configure!(run_in_browser);

    fn one() -> Vec<Write> {
        vec![Write::Put("a".to_owned(), vec![1])]
    }

    /// A store whose connection the browser has taken away.
    async fn cut_off(name: &str) -> Store {
        wipe(name).await.unwrap();
        let store = Store::open(name).await.unwrap();
        store.write(one()).await.unwrap();
        store.shared.connection.borrow().as_ref().unwrap().database.close();
        store
    }

    #[wasm_bindgen_test]
    async fn a_lost_connection_is_made_again() {
        let store = cut_off("cut-off").await;
        store.write(vec![Write::Put("b".to_owned(), vec![2])]).await.unwrap();
        assert_eq!(store.load_all().await.unwrap().len(), 2);
        store.shared.connection.borrow().as_ref().unwrap().usable.set(false);
        assert_eq!(store.load_all().await.unwrap().len(), 2);
    }

    #[wasm_bindgen_test]
    async fn a_database_cleared_by_the_browser_is_not_made_again() {
        let store = cut_off("cleared").await;
        wipe("cleared").await.unwrap();
        assert_eq!(store.write(one()).await, Err(StorageError::Lost));
        assert_eq!(store.load_all().await, Err(StorageError::Lost));
    }

    #[wasm_bindgen_test]
    async fn a_failure_that_nobody_waits_for_is_no_unhandled_one() {
        let unhandled = Rc::new(Cell::new(false));
        let _listener = EventListener::new(&js::window().unwrap(), "unhandledrejection", {
            let unhandled = unhandled.clone();
            move |_| unhandled.set(true)
        });
        let deferred = Deferred::new();
        js::settle(&deferred.reject, &JsValue::from_str("no"));
        drop(deferred);
        crate::platform::clock::sleep(50).await;
        assert!(!unhandled.get());
    }

    #[wasm_bindgen_test]
    async fn a_batch_is_written_whole_or_not_at_all() {
        wipe("whole").await.unwrap();
        let store = Store::open("whole").await.unwrap();
        let database = store.database().await.unwrap();
        let options = js::object(&[("durability", JsValue::from_str("strict"))]);
        let transaction = database.unchecked_ref::<Durable>().transaction(RECORDS, "readwrite", &options).unwrap();
        assert_eq!(js::text(&transaction, "durability").as_deref(), Some("strict"));
        request_all(&transaction, &one()).unwrap();
        transaction.abort().unwrap();
        assert!(store.load_all().await.unwrap().is_empty());
    }
}
