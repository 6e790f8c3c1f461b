//! Log lines for an operator, plain or JSON. They name routes, statuses and times; never tokens, bodies, log ids or
//! addresses.

use tracing_subscriber::filter::{LevelFilter, Targets};
use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::util::SubscriberInitExt as _;

use crate::config::{Config, ConfigError, LogFormat};

/// Sends log lines to standard error as the configuration says. Does nothing when the program has set up its own.
///
/// # Errors
/// [`ConfigError::Conflict`] when the levels cannot be read.
pub fn start_logging(config: &Config) -> Result<(), ConfigError> {
    let targets: Targets = config.log.parse().map_err(|error| {
        ConfigError::Conflict(format!(
            "log: read {:?}, expected levels like info or warn,trug_relay=debug ({error})",
            config.log
        ))
    })?;
    // A list that names targets alone leaves the rest off.
    let targets = match targets.default_level() {
        None => targets.with_default(LevelFilter::OFF),
        Some(_) => targets,
    };
    let lines = tracing_subscriber::fmt::layer().with_writer(std::io::stderr);
    let registry = tracing_subscriber::registry().with(targets);
    let _ = match config.log_format {
        LogFormat::Plain => registry.with(lines.with_ansi(false)).try_init(),
        LogFormat::Json => registry.with(lines.json().flatten_event(true)).try_init(),
    };
    Ok(())
}
