//! `trug serve`: a relay until somebody stops it.

use std::io::Write;

use trug_relay::{Config, Relay, RelayError, Secret, TlsFiles};

use crate::args::Serve;
use crate::{Failure, Outcome};

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
        out.flush()?;
        trug_relay::serve(relay, listener, told_to_stop()).await?;
        Ok(Outcome::Fine)
    })
}

/// The file, then the environment, then the flags.
fn config(ask: &Serve) -> Result<Config, Failure> {
    let file = ask.config.as_deref().map(Config::from_file).transpose()?;
    let mut config = file.unwrap_or_default().with_environment(std::env::vars())?;
    if let Some(listen) = ask.listen {
        config.listen = listen;
    }
    if let Some(data) = &ask.data {
        config.data.clone_from(data);
        // Whoever names a directory means the SQLite file in it, whatever the environment says.
        config.database = None;
    }
    if let Some(database) = &ask.database {
        config.database = Some(Secret::new(database));
    }
    if let (Some(certificate), Some(key)) = (&ask.tls_certificate, &ask.tls_key) {
        config.tls = Some(TlsFiles { certificate: certificate.clone(), key: key.clone() });
    }
    config.check().map_err(RelayError::from)?;
    Ok(config)
}

/// Waits for an interrupt from the keyboard or, where there is such a thing, a termination signal.
async fn told_to_stop() {
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
