//! `trug serve`: a relay, and the phone app where this build carries it, until somebody stops it.

use std::io::Write;

use trug_relay::{Config, LogId, Relay, RelayError, Secret, TlsFiles};

use crate::args::{Logs, Serve};
use crate::device::DeviceError;
use crate::device::args::RelayRestore;
use crate::{Failure, Outcome, app};

/// Runs a relay. Says where it listens once it does, and comes back when it was told to stop.
pub(crate) fn serve(ask: &Serve, out: &mut dyn Write) -> Result<Outcome, Failure> {
    let config = config(ask)?;
    trug_relay::start_logging(&config)?;
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    runtime.block_on(async {
        let scheme = if config.tls.is_some() { "https" } else { "http" };
        let relay = Relay::open(config).await?;
        let listener = relay.bind().await?;
        writeln!(out, "listening on {scheme}://{}", listener.local_addr()?)?;
        let relay = match app::router(&ask.connect) {
            Some(app) => {
                writeln!(out, "the phone app is at /")?;
                relay.with_app(app)
            }
            None => {
                writeln!(
                    out,
                    "this build carries no phone app, it is a relay alone; `cargo xtask start` makes one that does"
                )?;
                relay
            }
        };
        out.flush()?;
        trug_relay::serve(relay, listener, told_to_stop()).await?;
        Ok(Outcome::Fine)
    })
}

/// Takes back a log's last snapshot.
pub(crate) fn restore(ask: &RelayRestore, out: &mut dyn Write) -> Result<Outcome, Failure> {
    let log = LogId::parse(&ask.log).ok_or_else(|| {
        DeviceError::Asked(format!("`{}` is no log's id, which has 22 letters and digits of base64url", ask.log))
    })?;
    let config = kept_in(&ask.logs)?;
    config.check().map_err(RelayError::from)?;

    if config.database.is_none() && !config.data.is_dir() {
        let data = config.data.display();
        return Err(DeviceError::Asked(format!("{data} is no folder; name the relay's with --data")).into());
    }
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    runtime.block_on(async {
        let relay = Relay::open(config).await?;
        let restored = relay.restore(log).await.map_err(RelayError::from);
        relay.close().await;
        match restored? {
            Some(seq) => writeln!(out, "the snapshot at {seq} is gone, and the entries that it replaced are back")?,
            None => writeln!(out, "log {log} has no snapshot whose entries are still there; nothing was changed")?,
        }
        Ok(Outcome::Fine)
    })
}

/// The file, then the environment, then the flags.
fn config(ask: &Serve) -> Result<Config, Failure> {
    let mut config = kept_in(&ask.logs)?;
    if let Some(listen) = ask.listen {
        config.listen = listen;
    }
    if let (Some(certificate), Some(key)) = (&ask.tls_certificate, &ask.tls_key) {
        config.tls = Some(TlsFiles { certificate: certificate.clone(), key: key.clone() });
    }
    config.check().map_err(RelayError::from)?;
    Ok(config)
}

/// The file and the environment, and what the flags say of where the logs are.
fn kept_in(logs: &Logs) -> Result<Config, Failure> {
    let file = logs.config.as_deref().map(Config::from_file).transpose()?;
    let mut config = file.unwrap_or_default().with_environment(std::env::vars())?;
    if let Some(data) = &logs.data {
        config.data.clone_from(data);
        // Whoever names a directory means the SQLite file in it, whatever the environment says.
        config.database = None;
    }
    if let Some(database) = &logs.database {
        config.database = Some(Secret::new(database));
    }
    Ok(config)
}

/// Waits for an interrupt from the keyboard or, where there is such a thing, a termination signal.
pub(crate) async fn told_to_stop() {
    let interrupt = async {
        // Where no handler can be had the process is stopped the hard way, which the store survives.
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    };
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        let Ok(mut terminate) = signal(SignalKind::terminate()) else { return interrupt.await };
        let terminate = std::pin::pin!(async move { terminate.recv().await });
        let interrupt = std::pin::pin!(interrupt);
        tokio::select! {
            () = interrupt => {}
            _ = terminate => {}
        }
    }
    #[cfg(not(unix))]
    interrupt.await;
}
