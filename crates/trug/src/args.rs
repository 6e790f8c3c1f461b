//! What a person can ask for.

use std::net::SocketAddr;
use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};
use trug_provision::Options;
use trug_provision::kitchen::{HouseholdId, StoreId, WeekId};

use crate::app::Origin;
use crate::device::args as device;

/// From a personal chef's menus to the right shopping list, after what each kitchen already holds.
#[derive(Debug, Parser)]
#[command(
    name = "trug",
    version,
    disable_help_subcommand = true,
    after_help = "\
Exit status: 0 all is well, 1 the kitchen has problems, 2 the command cannot be meant so.

What a food contains is told as it is recorded. The label, local food codes and licensed advice come first."
)]
pub struct Command {
    /// What is asked.
    #[command(subcommand)]
    pub ask: Ask,
}

/// What is asked.
#[derive(Debug, Subcommand)]
pub enum Ask {
    /// What to buy for a week, store by store in walking order
    List(List),
    /// Reads ingredient lines on standard input and says what each was understood as
    Parse(Parse),
    /// Everything that is wrong in a kitchen, before anybody shops for it
    Check(Check),
    /// Why a food is on a week's list, with the arithmetic
    Why(Why),
    /// A shopping trip: made, shown, picked, shared and synced
    Run(device::Run),
    /// What is on hand, counted and moved
    Pantry(device::Pantry),
    /// The chef's own book: taken in, given out, brought back
    Book(device::Book),
    /// Runs a relay: a shelf for sealed envelopes, which it can neither read nor forge
    Serve(Serve),
    /// Takes back the last snapshot of a relay's log, for an operator whose user lost something to it
    RelayRestore(device::RelayRestore),
}

/// `trug serve`.
#[derive(Debug, Args)]
#[command(after_help = serve_help())]
pub struct Serve {
    /// Address and port to listen on
    #[arg(long, value_name = "ADDRESS:PORT")]
    pub listen: Option<SocketAddr>,
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment here would replace the command's own help")]
    pub logs: Logs,
    /// Certificate chain in PEM, for HTTPS
    #[arg(long, value_name = "FILE", requires = "tls_key")]
    pub tls_certificate: Option<PathBuf>,
    /// The certificate's private key in PEM
    #[arg(long, value_name = "FILE", requires = "tls_certificate")]
    pub tls_key: Option<PathBuf>,
    /// Another relay that the phone app may connect to, besides this one; may be repeated
    #[arg(long, value_name = "ORIGIN", env = "TRUG_CONNECT", value_delimiter = ',')]
    pub connect: Vec<Origin>,
}

/// Where a relay keeps its logs.
#[derive(Debug, Args)]
pub struct Logs {
    /// Directory of the SQLite file that keeps the logs
    #[arg(long, value_name = "DIR")]
    pub data: Option<PathBuf>,
    /// A PostgreSQL database in place of the SQLite file
    #[arg(long, value_name = "postgres://...")]
    pub database: Option<String>,
    /// A configuration file in TOML; the environment comes before it, flags before both
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
}

/// What `trug serve --help` says after its flags: enough to run a relay.
fn serve_help() -> String {
    let variables = trug_relay::ENVIRONMENT.iter().map(|(name, says)| format!("  {name}: {says}"));
    let limits = trug_relay::Limits::described();
    let limits = limits.iter().map(|(name, says, usual)| format!("  {name} = {usual}: {says}"));
    format!(
        "\
Example:
  trug serve --listen 127.0.0.1:8080 --data relay-data

A build that carries the phone app sends it at /; `cargo xtask start` makes one. A phone keeps an app for use without a \
network only when it came over HTTPS or from the same machine.

It stops on an interrupt or a termination signal, once the requests in hand are answered. A relay sees addresses, times, \
sizes and which logs are watched together; it cannot see what is in an entry. It answers at /healthz whether it lives, \
and at /metrics with Prometheus figures.

Environment:
{}

Limits, in the file's [limits] or as TRUG_LIMIT_<NAME>:
{}",
        variables.collect::<Vec<_>>().join("\n"),
        limits.collect::<Vec<_>>().join("\n"),
    )
}

/// `trug list`.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  trug list demo-data --week 2026-W10
  trug list demo-data --week 2026-W10 --household ropewalk --store larkmere --print")]
pub struct List {
    /// The folder that holds kitchen.toml
    pub kitchen: PathBuf,
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment here would replace the command's own help")]
    pub which: Which,
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment here would replace the command's own help")]
    pub form: ListForm,
}

/// Which list is meant.
#[derive(Debug, Args)]
pub struct Which {
    /// The week, by the name of its file in weeks/
    #[arg(long, value_name = "ID")]
    week: String,
    /// Only what this household buys
    #[arg(long, value_name = "ID")]
    household: Option<String>,
    /// Buy at this store only
    #[arg(long, value_name = "ID")]
    store: Option<String>,
}

impl Which {
    /// The week.
    #[must_use]
    pub fn week(&self) -> WeekId {
        WeekId::new(&self.week)
    }

    /// The options.
    #[must_use]
    pub fn options(&self) -> Options {
        Options {
            household: self.household.as_deref().map(HouseholdId::new),
            store: self.store.as_deref().map(StoreId::new),
        }
    }
}

/// In which form the list is printed; one at most.
#[derive(Debug, Args)]
#[group(multiple = false)]
pub struct ListForm {
    /// As JSON, for other programs
    #[arg(long)]
    pub json: bool,
    /// As CSV, for a spreadsheet
    #[arg(long)]
    pub csv: bool,
    /// As Markdown, with boxes to tick
    #[arg(long)]
    pub md: bool,
    /// For paper, with squares to tick
    #[arg(long)]
    pub print: bool,
}

/// `trug parse`.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  echo '1½ lb carrots, peeled and diced' | trug parse --json")]
pub struct Parse {
    /// One JSON object a line
    #[arg(long)]
    pub json: bool,
}

/// `trug check`.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  trug check demo-data")]
pub struct Check {
    /// The folder that holds kitchen.toml
    pub kitchen: PathBuf,
}

/// `trug why`.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  trug why demo-data \"yellow onion\" --week 2026-W10")]
pub struct Why {
    /// The folder that holds kitchen.toml
    pub kitchen: PathBuf,
    /// The food, by its id or any of its names
    pub food: String,
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment here would replace the command's own help")]
    pub which: Which,
}
