//! The command line: kitchen folders and ingredient lines in; lists, findings and explanations out; and a relay.
//!
//! Everything that thinks is in the other crates; in here are the questions ([`args`]) and the forms of the answers.

pub mod app;
pub mod args;
pub mod check;
pub mod device;
pub mod json;
pub mod parse;
mod serve;
pub mod sheet;
pub mod show;
pub mod why;
pub mod words;

use std::ffi::OsString;
use std::io::{self, BufRead, BufReader, BufWriter, IsTerminal as _, Write};
use std::path::Path;
use std::process::ExitCode;

use clap::Parser as _;
use trug_catalog::{Catalog, FoodIx, fold};
use trug_folder::{DiskError, Problems, read, read_dir};
use trug_provision::kitchen::Kitchen;
use trug_provision::plan::{PlanError, Workings, list_name};

use args::{Ask, Command, ListForm};
use json::ListJson;
use sheet::Sheet;
use show::Look;

/// What is read from and written to.
pub struct Streams<'s> {
    /// Standard input.
    pub input: &'s mut dyn BufRead,
    /// Whether somebody types there.
    pub typed: bool,
    /// Standard output.
    pub out: &'s mut dyn Write,
    /// How it looks.
    pub look: Look,
    /// Standard error.
    pub err: &'s mut dyn Write,
}

/// How a command ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// All is well.
    Fine,
    /// The kitchen has problems, or the answer could not be written.
    Problems,
    /// The command cannot be meant so.
    Usage,
}

impl From<Outcome> for ExitCode {
    fn from(outcome: Outcome) -> Self {
        Self::from(match outcome {
            Outcome::Fine => 0,
            Outcome::Problems => 1,
            Outcome::Usage => 2,
        })
    }
}

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
enum Failure {
    #[error(transparent)]
    Disk(#[from] DiskError),
    #[error("this kitchen cannot be read yet; what is wrong in it:\n{0}")]
    Folder(#[from] Problems),
    #[error(transparent)]
    Plan(#[from] PlanError),
    #[error("there is no food `{asked}` in this kitchen or in the catalogue; {near}")]
    Food { asked: String, near: String },
    #[error(transparent)]
    Device(#[from] device::DeviceError),
    #[error(transparent)]
    Setup(#[from] trug_relay::ConfigError),
    #[error(transparent)]
    Relay(#[from] trug_relay::RelayError),
    #[error(transparent)]
    Io(#[from] io::Error),
}

impl Failure {
    fn outcome(&self) -> Outcome {
        match self {
            // Whoever reads our output has read enough.
            Self::Io(error) if error.kind() == io::ErrorKind::BrokenPipe => Outcome::Fine,
            Self::Disk(DiskError::NotAFolder(_)) | Self::Plan(_) | Self::Food { .. } => Outcome::Usage,
            Self::Device(device::DeviceError::Io(error)) if error.kind() == io::ErrorKind::BrokenPipe => Outcome::Fine,
            Self::Device(error) => error.outcome(),
            Self::Setup(_) | Self::Relay(trug_relay::RelayError::Config(_)) => Outcome::Usage,
            Self::Disk(_) | Self::Folder(_) | Self::Relay(_) | Self::Io(_) => Outcome::Problems,
        }
    }
}

/// Runs the command that this process was started with.
#[must_use]
pub fn run_process() -> ExitCode {
    let (stdin, stdout) = (io::stdin(), io::stdout());
    let typed = stdin.is_terminal();
    let look = look(&stdout);
    let mut input = BufReader::with_capacity(1 << 16, stdin.lock());
    let mut out = BufWriter::with_capacity(1 << 16, stdout.lock());
    let mut err = io::stderr();
    let streams = Streams { input: &mut input, typed, out: &mut out, look, err: &mut err };
    run(std::env::args_os(), streams).into()
}

/// A terminal is wide as it says, and in colour unless it or its owner does not want that (<https://no-color.org>).
fn look(stdout: &io::Stdout) -> Look {
    if !stdout.is_terminal() {
        return Look::PLAIN;
    }
    let set = |name: &str| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    let width = terminal_size::terminal_size_of(stdout).map_or(Look::PLAIN.width, |(width, _)| usize::from(width.0));
    Look { rich: !set("NO_COLOR") && !dumb, width }
}

/// Runs a command.
pub fn run(args: impl IntoIterator<Item = OsString>, mut streams: Streams<'_>) -> Outcome {
    let command = match Command::try_parse_from(args) {
        Ok(command) => command,
        Err(error) => return no_command(&error, &mut streams),
    };
    let ran = answer(&command.ask, &mut streams).and_then(|outcome| {
        streams.out.flush()?;
        Ok(outcome)
    });
    ran.unwrap_or_else(|failure| {
        let outcome = failure.outcome();
        if outcome != Outcome::Fine {
            // Where even this cannot be written there is nobody left to tell.
            let _ = writeln!(streams.err, "{}", show::plain_lines(&failure.to_string()));
        }
        outcome
    })
}

/// Help and version are answers; anything else that is no command is a mistake.
fn no_command(error: &clap::Error, streams: &mut Streams<'_>) -> Outcome {
    let wanted = !error.use_stderr();
    let out = if wanted { &mut streams.out } else { &mut streams.err };
    let _ = write!(out, "{error}").and_then(|()| out.flush());
    if wanted { Outcome::Fine } else { Outcome::Usage }
}

fn answer(ask: &Ask, streams: &mut Streams<'_>) -> Result<Outcome, Failure> {
    match ask {
        Ask::List(ask) => list(ask, streams),
        Ask::Parse(ask) => {
            let form = if ask.json { parse::Form::Json } else { parse::Form::Words };
            parse::parse(Catalog::builtin(), streams.input, streams.out, form, streams.typed)?;
            Ok(Outcome::Fine)
        }
        Ask::Check(ask) => check(ask, streams),
        Ask::Why(ask) => why(ask, streams),
        Ask::Run(ask) => Ok(device::run(ask, streams)?),
        Ask::Pantry(ask) => Ok(device::pantry(ask, streams)?),
        Ask::Book(ask) => Ok(device::book(ask, streams)?),
        Ask::Serve(ask) => serve::serve(ask, streams.out),
        Ask::RelayRestore(ask) => serve::restore(ask, streams.out),
    }
}

fn open(folder: &Path) -> Result<Kitchen, Failure> {
    Ok(read(&read_dir(folder)?)?)
}

fn list(ask: &args::List, streams: &mut Streams<'_>) -> Result<Outcome, Failure> {
    let kitchen = open(&ask.kitchen)?;
    let (week, options) = (ask.which.week(), ask.which.options());
    let list = trug_provision::list(&kitchen, &week, &options)?;
    let ListForm { json, csv, md, print } = ask.form;
    if json {
        ListJson::of(&kitchen, &list).write(streams.out)?;
        return Ok(Outcome::Fine);
    }
    if csv {
        show::csv::write(&kitchen, &list, streams.out)?;
        return Ok(Outcome::Fine);
    }
    let sheet = Sheet::of(&kitchen, &Workings::of(&kitchen, &week, &options)?, &list);
    match (md, print) {
        (true, _) => show::markdown::write(&sheet, streams.out)?,
        (_, true) => show::page::write(&sheet, streams.out)?,
        _ => show::table::write(&sheet, streams.look, streams.out)?,
    }
    Ok(Outcome::Fine)
}

fn check(ask: &args::Check, streams: &mut Streams<'_>) -> Result<Outcome, Failure> {
    let kitchen = match open(&ask.kitchen) {
        Ok(kitchen) => kitchen,
        // What is wrong with the folder is what was asked for: an answer, not a failure.
        Err(Failure::Folder(problems)) => {
            writeln!(streams.out, "To mend")?;
            problems.iter().try_for_each(|problem| writeln!(streams.out, "  {}", show::plain(&problem.to_string())))?;
            return Ok(Outcome::Problems);
        }
        Err(failure) => return Err(failure),
    };
    let findings = trug_provision::check::check(&kitchen);
    check::write(&findings, streams.out)?;
    Ok(if trug_provision::check::has_problems(&findings) { Outcome::Problems } else { Outcome::Fine })
}

fn why(ask: &args::Why, streams: &mut Streams<'_>) -> Result<Outcome, Failure> {
    let kitchen = open(&ask.kitchen)?;
    let (week, options) = (ask.which.week(), ask.which.options());
    let food = find(&kitchen, &ask.food)?;
    let lines = trug_provision::why::why(&kitchen, &week, food, &options)?;
    if lines.is_empty() {
        let name = list_name(&kitchen.catalog, food);
        writeln!(streams.out, "{}: nothing in week {week} asks for it", show::plain(&name))?;
    }
    why::write(&kitchen, &lines, streams.out)?;
    Ok(Outcome::Fine)
}

/// A food by its id, by a name, or by the words by which a dish has it and nobody else.
fn find(kitchen: &Kitchen, asked: &str) -> Result<FoodIx, Failure> {
    let catalog = &kitchen.catalog;
    let key = fold(asked);
    let undescribed = || catalog.foods().find(|(_, food)| !food.described && fold(&food.name) == key).map(|(ix, _)| ix);
    let found = catalog.by_id(asked).or_else(|| catalog.find(asked).map(|found| found.food)).or_else(undescribed);
    found.ok_or_else(|| {
        let near: Vec<&str> = catalog.near(asked, 3).into_iter().map(|ix| catalog.get(ix).name.as_str()).collect();
        let near =
            if near.is_empty() { "nothing comes near it".to_owned() } else { format!("near it: {}", near.join(", ")) };
        Failure::Food { asked: asked.to_owned(), near }
    })
}
