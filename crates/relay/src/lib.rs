//! The relay: a shelf for sealed envelopes.
//!
//! Devices append sealed bytes to *logs* and read what others appended. The relay gives each entry the next number,
//! keeps a hash chain over them, tells watchers where a log stands, and can neither read nor forge what it keeps. It
//! sees addresses, times, sizes, and which logs are watched together.
//!
//! How it is laid out, from the outside in:
//!
//! | module | knows |
//! |---|---|
//! | `server` | connections, TLS, time-outs, the end |
//! | `http` | the protocol: headers, statuses, frames, the socket |
//! | `addresses`, `body`, `feed` | an address's share; bodies in bounds; who watches what |
//! | [`store`] | where logs are kept: the trait, its rules, SQLite, PostgreSQL |
//!
//! **Invariants.** Nothing here knows what an entry means; no key and no cipher is in this crate's reach. An append is
//! answered when it is durable and not before. Tokens are hashed where they are read and never kept, logged or
//! printed. Only [`store`]'s rules decide what a log allows.
//!
//! ```no_run
//! # async fn example() -> Result<(), trug_relay::RelayError> {
//! use trug_relay::{Config, Relay, serve, start_logging};
//!
//! let config = Config::default().with_environment(std::env::vars())?;
//! start_logging(&config)?;
//! let relay = Relay::open(config).await?;
//! let listener = relay.bind().await?;
//! serve(relay, listener, std::future::pending()).await
//! # }
//! ```
//!
//! To carry an app as well, give [`Relay::with_app`] a router for everything outside `/v1`, `/healthz` and `/metrics`.
//!
//! # Backups
//!
//! The SQLite store is `relay.sqlite` in the data directory, with `relay.sqlite-wal` beside it while the relay runs.
//! Stop the relay and copy the file, or copy a running one with SQLite's own `.backup`. A relay restored from an older
//! copy goes on from there: devices see by the chain that the log went back, and give back what is missing.

mod addresses;
mod body;
mod config;
mod feed;
mod http;
mod ids;
mod logging;
mod metrics;
mod problem;
mod server;
pub mod store;
mod tls;

use std::future::Future;
use std::sync::Arc;
use std::time::{Duration, SystemTime};

use axum::Router;
use tokio::net::TcpListener;
use tokio::sync::watch;
use tokio::time::{Instant, MissedTickBehavior, interval, sleep, timeout};

pub use crate::config::{Config, ConfigError, ENVIRONMENT, Limits, LogFormat, Network, Secret, TlsFiles};
pub use crate::feed::Feed;
pub use crate::ids::{Chain, LogId, TokenHash, entry_hash};
pub use crate::logging::start_logging;
use crate::store::{PostgresStore, SqliteStore, Store, StoreError};
pub use crate::tls::TlsError;

use crate::addresses::Addresses;
use crate::body::InFlight;
use crate::http::{Phase, Shared};
use crate::metrics::Metrics;
use crate::server::Serving;
use crate::tls::Certificate;

/// How often what was replaced 30 days ago is looked for.
const TIDY_EVERY: Duration = Duration::from_secs(3600);
/// How often certificates are looked at.
const CERTIFICATES_EVERY: Duration = Duration::from_secs(60);

/// Why a relay does not start.
#[derive(Debug, thiserror::Error)]
pub enum RelayError {
    /// The configuration does not do.
    #[error(transparent)]
    Config(#[from] ConfigError),
    /// The certificates do not do.
    #[error(transparent)]
    Tls(#[from] TlsError),
    /// The store cannot be opened.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The address cannot be listened on.
    #[error("cannot listen on {address}: {problem}")]
    Listen {
        /// Which address.
        address: std::net::SocketAddr,
        /// Why not.
        problem: std::io::Error,
    },
}

/// A relay with its store open, not listening yet.
pub struct Relay {
    shared: Arc<Shared>,
    certificate: Option<Arc<Certificate>>,
    app: Option<Router>,
    phase: watch::Sender<Phase>,
}

impl Relay {
    /// Opens the store that the configuration names.
    ///
    /// # Errors
    /// [`RelayError`], with a message for the operator.
    pub async fn open(config: Config) -> Result<Self, RelayError> {
        config.check()?;
        let certificate = match &config.tls {
            Some(files) => Some(Arc::new(Certificate::load(&files.certificate, &files.key)?)),
            None => None,
        };
        let (feed, room) = (Arc::new(Feed::default()), config.limits.room());
        let store: Arc<dyn Store> = match &config.database {
            Some(address) => {
                let roots = config.database_roots.as_deref();
                Arc::new(PostgresStore::open(address.reveal(), roots, room, Arc::clone(&feed)).await?)
            }
            None => {
                let (data, feed) = (config.data.clone(), Arc::clone(&feed));
                let open = tokio::task::spawn_blocking(move || SqliteStore::open(&data, room, feed));
                Arc::new(open.await.map_err(|error| StoreError::Unavailable(error.to_string()))??)
            }
        };
        let (phase, watched) = watch::channel(Phase::Running);
        let shared = Arc::new(Shared {
            addresses: Addresses::new(&config),
            metrics: Metrics::default(),
            in_flight: InFlight::new(config.limits.bytes_in_flight),
            phase: watched,
            store,
            feed,
            config,
        });
        Ok(Self { shared, certificate, app: None, phase })
    }

    /// Serves an app at every place that is not the relay's own (`/v1`, `/healthz`, `/metrics`).
    #[must_use]
    pub fn with_app(self, app: Router) -> Self {
        Self { app: Some(app), ..self }
    }

    /// Listens where the configuration says.
    ///
    /// # Errors
    /// [`RelayError::Listen`] names the address.
    pub async fn bind(&self) -> Result<TcpListener, RelayError> {
        let address = self.shared.config.listen;
        TcpListener::bind(address).await.map_err(|problem| RelayError::Listen { address, problem })
    }

    /// Takes back a log's last snapshot, so that the entries it replaced are there again: for an operator whose user
    /// has lost something to a snapshot. The number of the snapshot that went; `None` when there is none, or its
    /// entries are more than 30 days old and were cleared away. Again takes back the one before it.
    ///
    /// # Errors
    /// [`StoreError`] when the log is not known, was deleted, or the store is not available.
    pub async fn restore(&self, log: LogId) -> Result<Option<u64>, StoreError> {
        self.shared.store.restore(log).await
    }

    /// The store, for measuring it without HTTP.
    pub fn store(&self) -> Arc<dyn Store> {
        Arc::clone(&self.shared.store)
    }

    /// Closes a relay that was never served.
    pub async fn close(self) {
        self.shared.store.close().await;
    }
}

/// Serves until `shutdown` is over; then takes no more connections, says goodbye to sockets, finishes the requests in
/// hand within `grace_seconds`, and closes the store.
///
/// # Errors
/// None at present; what can fail, fails in [`Relay::open`] and [`Relay::bind`].
pub async fn serve(relay: Relay, listener: TcpListener, shutdown: impl Future<Output = ()>) -> Result<(), RelayError> {
    server::raise_file_limit();
    let Relay { shared, certificate, app, phase } = relay;
    let router = http::router(Arc::clone(&shared), app);
    let watched = shared.phase.clone();
    let address = listener.local_addr().map_or_else(|_| "?".to_owned(), |address| address.to_string());
    let scheme = if certificate.is_some() { "https" } else { "http" };
    tracing::info!(%address, scheme, "listening");
    let serving = Arc::new(Serving { shared: Arc::clone(&shared), router, certificate, phase: watched });
    let accepting = tokio::spawn(server::accept(Arc::clone(&serving), listener));
    let chores = tokio::spawn(chores(Arc::clone(&serving)));
    shutdown.await;
    tracing::info!("stopping");
    let _ = phase.send(Phase::Draining);
    let _ = accepting.await;
    drain(&shared).await;
    let _ = phase.send(Phase::Over);
    chores.abort();
    shared.store.close().await;
    tracing::info!("stopped");
    Ok(())
}

/// Waits until no connection and no socket is left, or time is up.
async fn drain(shared: &Shared) {
    let until = Instant::now() + Duration::from_secs(shared.config.limits.grace_seconds);
    while shared.metrics.connections.get() + shared.metrics.sockets.get() > 0 && Instant::now() < until {
        sleep(Duration::from_millis(10)).await;
    }
}

/// What is done every so often: hearing of other relays' appends, clearing away, new certificates.
async fn chores(serving: Arc<Serving>) {
    let shared = &serving.shared;
    let [mut poll, mut tidy, mut renew] =
        [Duration::from_millis(shared.config.limits.poll_milliseconds), TIDY_EVERY, CERTIFICATES_EVERY].map(|every| {
            let mut ticks = interval(every);
            ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
            ticks
        });
    loop {
        tokio::select! {
            _ = poll.tick() => {
                if let Err(error) = shared.store.poll().await {
                    tracing::debug!(%error, "could not look for other relays' appends");
                }
            }
            _ = tidy.tick() => {
                let now = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).map_or(0, |since| since.as_secs());
                match timeout(TIDY_EVERY, shared.store.tidy(now)).await {
                    Ok(Ok(0)) | Err(_) => {}
                    Ok(Ok(snapshots)) => tracing::info!(snapshots, "cleared away what was replaced 30 days ago"),
                    Ok(Err(error)) => tracing::warn!(%error, "could not clear away what was replaced 30 days ago"),
                }
            }
            _ = renew.tick() => renew_certificate(&serving),
        }
    }
}

fn renew_certificate(serving: &Serving) {
    match serving.certificate.as_ref().map(|certificate| certificate.refresh()) {
        Some(Ok(true)) => tracing::info!("certificates were read again"),
        Some(Err(error)) => tracing::warn!(%error, "new certificates cannot be used; the old ones stay"),
        Some(Ok(false)) | None => {}
    }
}
