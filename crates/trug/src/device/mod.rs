//! The command line as a device: shopping trips, pantries and the book, kept in a folder of their own and synced over a
//! relay, or carried as sealed files.
//!
//! A verb is done when what it wrote is durable. Only `sync` and `sync --stay` use the network.

pub mod args;
mod book;
mod find;
mod home;
mod judge;
mod net;
mod pantry;
mod show;
mod store;
mod told;
mod trip;
mod words;

use std::io::{self, BufRead as _, Read as _, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use serde_json::{Value, json};
use trug_device::{DocId, Entry, JoinError, KitchenError, Refused, ShareError, TripError};
use trug_folder::{DiskError, Problems};
use trug_provision::kitchen::Kitchen;
use trug_replica::pantry::Pantry;
use trug_seal::{Invitation, InvitationError, QrError, Role, WebAddress};

use crate::show::{plain, plain_lines};
use crate::{Outcome, Streams};
use args::{BookVerb, Common, Inviting, PantryVerb, RunVerb};
use home::{Happened, Home, HomeError, Left};

/// The largest sealed file that is read.
const MOST: u64 = 128 << 20;
/// The longest text that is read from standard input.
const MOST_TYPED: u64 = 64 << 10;

/// Why a device does not do what was asked.
#[derive(Debug, thiserror::Error)]
pub(crate) enum DeviceError {
    /// It cannot be meant so; the text says what would be right.
    #[error("{0}")]
    Asked(String),
    /// It is meant well, and cannot be done.
    #[error("{0}")]
    Failed(String),
    /// The device itself.
    #[error(transparent)]
    Home(#[from] HomeError),
    /// A folder on a disk.
    #[error(transparent)]
    Disk(#[from] DiskError),
    /// What is in a kitchen folder.
    #[error("this kitchen cannot be read yet; what is wrong in it:\n{0}")]
    Problems(#[from] Problems),
    /// The kitchen in the book.
    #[error(transparent)]
    Kitchen(#[from] KitchenError),
    /// A trip.
    #[error(transparent)]
    Trip(#[from] TripError),
    /// An edit.
    #[error(transparent)]
    Refused(#[from] Refused),
    /// Letting others in or out.
    #[error(transparent)]
    Share(#[from] ShareError),
    /// Joining.
    #[error(transparent)]
    Join(#[from] JoinError),
    /// An invitation.
    #[error(transparent)]
    Invitation(#[from] InvitationError),
    /// A QR code.
    #[error(transparent)]
    Qr(#[from] QrError),
    /// A file.
    #[error("{}: {source}", path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// What the disk says.
        source: io::Error,
    },
    /// Standard input or output.
    #[error(transparent)]
    Io(#[from] io::Error),
}

impl DeviceError {
    pub(crate) fn file(path: &Path, source: io::Error) -> Self {
        Self::File { path: path.to_owned(), source }
    }

    /// How a command ends that met this.
    pub(crate) const fn outcome(&self) -> Outcome {
        match self {
            Self::Asked(_) | Self::Invitation(_) | Self::Disk(DiskError::NotAFolder(_)) => Outcome::Usage,
            Self::Trip(TripError::Plan(_) | TripError::NoService { .. } | TripError::FollowsNothing) => Outcome::Usage,
            Self::Home(HomeError::Nowhere) => Outcome::Usage,
            _ => Outcome::Problems,
        }
    }
}

/// What a verb has to say: to a person, and as data.
pub(crate) struct Answer {
    lines: Vec<String>,
    json: Value,
    /// Said on standard error as well where standard output is data.
    alerts: Vec<String>,
    outcome: Outcome,
}

impl Answer {
    fn new(lines: Vec<String>, json: Value) -> Self {
        Self { lines, json, alerts: Vec::new(), outcome: Outcome::Fine }
    }

    fn with_alerts(self, alerts: Vec<String>) -> Self {
        Self { alerts, ..self }
    }

    fn with_problem(self) -> Self {
        Self { outcome: Outcome::Problems, ..self }
    }

    fn write(self, json: bool, streams: &mut Streams<'_>) -> Result<Outcome, DeviceError> {
        if json {
            let whole = show::merge(json!({ "schema": 1 }), self.json);
            serde_json::to_writer_pretty(&mut *streams.out, &whole).map_err(io::Error::from)?;
            writeln!(streams.out)?;
            for alert in &self.alerts {
                writeln!(streams.err, "{}", plain(alert))?;
            }
        } else {
            for line in &self.lines {
                writeln!(streams.out, "{}", plain_lines(line))?;
            }
        }
        Ok(self.outcome)
    }
}

fn open(common: &Common) -> Result<Home, DeviceError> {
    Ok(Home::open(&home::folder(common.home.as_deref())?)?)
}

/// The chef's kitchen, where this device keeps one that can be read.
pub(crate) fn kitchen_of(home: &Home) -> Option<Kitchen> {
    home.device.kitchen().ok().map(|(kitchen, _)| kitchen)
}

/// A relay's address, as it was typed.
pub(crate) fn address(text: &str) -> Result<WebAddress, DeviceError> {
    text.parse().map_err(|error: trug_seal::AddressError| DeviceError::Asked(error.to_string()))
}

/// Before anything is written: whether the book takes it.
pub(crate) fn writable_book(home: &Home) -> Result<(), DeviceError> {
    match home.device.mode(&DocId::book()) {
        Some(trug_replica::Mode::ReadOnly { .. }) => Err(DeviceError::Failed(
            "this book was written by a newer trug and is read-only here; update this one".to_owned(),
        )),
        _ => Ok(()),
    }
}

/// `trug run`.
pub(crate) fn run(ask: &args::Run, streams: &mut Streams<'_>) -> Result<Outcome, DeviceError> {
    if let RunVerb::Sync { stay: true, .. } = ask.verb {
        return stay(&ask.common, streams);
    }
    // Read before the device is taken: whoever types has time.
    let typed = match &ask.verb {
        RunVerb::Join { link, .. } if link == "-" => typed(streams)?,
        _ => String::new(),
    };
    let home = &mut open(&ask.common)?;
    let answer = match &ask.verb {
        RunVerb::Make(ask) => trip::make(home, ask)?,
        RunVerb::Update { kitchen, on } => trip::update(home, kitchen, on.trip.as_deref())?,
        RunVerb::List => trip::list(home),
        RunVerb::Show { trip } => trip::show(home, trip.as_deref())?,
        RunVerb::Got { lines, bought, on } => trip::got(home, lines, bought, on.trip.as_deref())?,
        RunVerb::Home { line, amount, on } => trip::at_home(home, line, amount.as_deref(), on.trip.as_deref())?,
        RunVerb::Sub { line, instead, bought, on } => trip::sub(home, line, instead, bought, on.trip.as_deref())?,
        RunVerb::None { lines, store, on } => trip::none(home, lines, store.as_ref(), on.trip.as_deref())?,
        RunVerb::Undo { pick, on } => trip::undo(home, pick, on.trip.as_deref())?,
        RunVerb::Add { food, amount, section, alias, on } => {
            trip::add(home, food, amount, section.as_ref(), alias.as_ref(), on.trip.as_deref())?
        }
        RunVerb::Claim { line, section, store, give_up, on } => {
            let upon = match (line, section, store) {
                (Some(line), ..) => trip::Upon::Line(line),
                (_, Some(section), _) => trip::Upon::Section(section),
                (.., store) => trip::Upon::Store(store.as_deref().unwrap_or_default()),
            };
            trip::claim(home, &upon, *give_up, on.trip.as_deref())?
        }
        RunVerb::Note { text, line, on } => trip::note(home, text, line.as_deref(), on.trip.as_deref())?,
        RunVerb::Pay { store, total, alias, on } => trip::pay(home, store, total, alias.as_ref(), on.trip.as_deref())?,
        RunVerb::Invite { trip, to } => {
            let entry = find::trip(home, trip.as_deref())?;
            invite(home, &entry, to, Role::Helper)?
        }
        RunVerb::Withdraw { trip, grace } => {
            let entry = find::trip(home, trip.as_deref())?;
            withdraw(home, &entry, *grace)?
        }
        RunVerb::Join { link, name } => join(home, if link == "-" { &typed } else { link }, name.as_deref())?,
        RunVerb::Name { name } => {
            home.act(|device, at, out| device.set_name(at, name.trim(), out))?;
            Answer::new(vec![format!("you are called {}", name.trim())], json!({ "name": name.trim() }))
        }
        RunVerb::Sync { wait, .. } => sync(home, *wait)?,
        RunVerb::Seal { file, on } => {
            let entry = find::trip(home, on.trip.as_deref())?;
            write_file(file, &home.device.seal_file(&entry.id)?)?;
            let text =
                format!("{} is sealed in {}: it opens for whoever was invited to it", entry.title, file.display());
            Answer::new(
                vec![text],
                json!({ "file": file.display().to_string(), "trip": find::short(&entry.id, entry.log) }),
            )
        }
        RunVerb::Merge { file } => merge(home, file)?,
        RunVerb::Relay { address, passcode } => book::relay(home, address.as_deref(), passcode.as_deref())?,
        RunVerb::PutAway { trip } => put_away(home, trip)?,
    };
    answer.write(ask.common.json, streams)
}

/// `trug pantry`.
pub(crate) fn pantry(ask: &args::Pantry, streams: &mut Streams<'_>) -> Result<Outcome, DeviceError> {
    let home = &mut open(&ask.common)?;
    let answer = match &ask.verb {
        PantryVerb::List { pantry } => pantry::list(home, pantry.as_deref())?,
        PantryVerb::Count { pantry, food, seen, lot } => pantry::count(home, pantry, food, seen, lot)?,
        PantryVerb::Move { pantry, food, by, why, lot } => pantry::move_stock(home, pantry, food, by, why, lot)?,
        PantryVerb::Par { pantry, food, amount, lot } => pantry::par(home, pantry, food, amount, lot)?,
        PantryVerb::Undo { pantry, fact } => pantry::undo(home, pantry, fact)?,
        PantryVerb::Invite { pantry, to } => {
            let entry = find::pantry(home, pantry)?;
            name_pantry(home, &entry)?;
            invite(home, &entry, to, Role::Client)?
        }
        PantryVerb::Withdraw { pantry, grace } => {
            let entry = find::pantry(home, pantry)?;
            withdraw(home, &entry, *grace)?
        }
    };
    answer.write(ask.common.json, streams)
}

/// `trug book`.
pub(crate) fn book(ask: &args::Book, streams: &mut Streams<'_>) -> Result<Outcome, DeviceError> {
    let typed = match &ask.verb {
        BookVerb::Recover { code, .. } if code == "-" => typed(streams)?,
        _ => String::new(),
    };
    let home = &mut open(&ask.common)?;
    let answer = match &ask.verb {
        BookVerb::Import { kitchen } => book::import(home, kitchen)?,
        BookVerb::Export { folder } => book::export(home, folder)?,
        BookVerb::Recovery => book::recovery(home)?,
        BookVerb::Recover { code, relay, from } => {
            book::recover(home, if code == "-" { &typed } else { code }, relay.as_deref(), from.as_deref())?
        }
        BookVerb::Backup { folder } => book::backup(home, folder)?,
        BookVerb::Invite { name, qr, app } => {
            let book = home.device.entries().into_iter().find(|entry| entry.id == DocId::book());
            let book = book.ok_or_else(|| DeviceError::Asked("this device keeps no book to give away".to_owned()))?;
            let to =
                Inviting { name: name.clone(), qr: *qr, app: app.clone(), helper: false, client: false, own: true };
            invite(home, &book, &to, Role::OwnDevice)?
        }
    };
    answer.write(ask.common.json, streams)
}

fn typed(streams: &mut Streams<'_>) -> Result<String, DeviceError> {
    let mut text = String::new();
    if streams.typed {
        // A person ends it with an empty line.
        while (&mut *streams.input).take(MOST_TYPED).read_line(&mut text)? > 1 {}
    } else {
        (&mut *streams.input).take(MOST_TYPED).read_to_string(&mut text)?;
    }
    Ok(text)
}

/// A client reads the pantry's name beside its food; the book alone has it until then.
fn name_pantry(home: &mut Home, entry: &Entry) -> Result<(), DeviceError> {
    let unnamed = home.device.pantry(&entry.id).is_some_and(|pantry| pantry.title().is_none());
    if unnamed && entry.owned {
        let title = entry.title.clone();
        home.act(|device, at, out| device.edit(at, &entry.id, |pantry: &mut Pantry| pantry.set_title(&title), out))??;
    }
    Ok(())
}

fn invite(home: &mut Home, entry: &Entry, to: &Inviting, usual: Role) -> Result<Answer, DeviceError> {
    let role = match (to.helper, to.client, to.own) {
        (true, ..) => Role::Helper,
        (_, true, _) => Role::Client,
        (.., true) => Role::OwnDevice,
        _ => usual,
    };
    let app = to.app.as_deref().map(address).transpose()?.or_else(|| entry.relay.clone());
    let invitation = home.act(|device, at, out| device.invite(at, &entry.id, role, &to.name, out))??;
    let link = match &app {
        Some(app) => invitation.link(app),
        // Without any address the fragment alone is pasted or scanned.
        None => trug_seal::Zeroizing::new(format!("#{}", invitation.fragment().as_str())),
    };
    let mut lines = vec![link.to_string()];
    if to.qr {
        lines.push(qr_text(&match &app {
            Some(app) => invitation.qr(app)?,
            None => trug_seal::QrCode::of(&link)?,
        }));
    }
    lines.push(format!("Whoever has this link can read and write {}: give it to {} alone.", title_of(entry), to.name));
    match &entry.relay {
        Some(_) => lines.push("`trug run sync` puts on the relay what the link opens.".to_owned()),
        None => lines.push("There is no relay: hand over a sealed file as well (`trug run seal FILE`).".to_owned()),
    }
    let json = json!({
        "link": link.as_str(), "role": role.to_string(), "name": to.name,
        "relay": entry.relay.as_ref().map(ToString::to_string),
    });
    Ok(Answer::new(lines, json))
}

fn title_of(entry: &Entry) -> String {
    match entry.id == DocId::book() {
        true => "the whole book".to_owned(),
        false if entry.title.is_empty() => find::short(&entry.id, entry.log),
        false => entry.title.clone(),
    }
}

/// Two rows of modules in one line of half blocks, light on dark or dark on light: readers take both, and most take
/// dark on light only, so the light modules are drawn, for the terminals that are dark.
fn qr_text(code: &trug_seal::QrCode) -> String {
    const MARGIN: usize = 4;
    let side = code.size() + 2 * MARGIN;
    let is_light = |x: usize, y: usize| match (x.checked_sub(MARGIN), y.checked_sub(MARGIN)) {
        (Some(x), Some(y)) => !code.is_dark(x, y),
        _ => true,
    };
    let row = |y: usize| -> String {
        let module = |x: usize| match (is_light(x, y), y + 1 >= side || is_light(x, y + 1)) {
            (true, true) => '\u{2588}',
            (true, false) => '\u{2580}',
            (false, true) => '\u{2584}',
            (false, false) => ' ',
        };
        (0..side).map(module).collect()
    };
    (0..side).step_by(2).map(row).collect::<Vec<_>>().join("\n")
}

fn withdraw(home: &mut Home, entry: &Entry, grace: u64) -> Result<Answer, DeviceError> {
    let names: Vec<String> = {
        let helpers = home.device.helpers_of(&entry.id).into_iter();
        helpers.filter(|(_, helper)| !helper.withdrawn).map(|(_, helper)| helper.name).collect()
    };
    home.act(|device, at, out| device.withdraw(at, &entry.id, grace, out))??;
    let whom = if names.is_empty() { "everybody".to_owned() } else { names.join(", ") };
    let minutes = grace / 60_000;
    let lines = vec![
        format!("{}: access withdrawn from {whom}", title_of(entry)),
        format!(
            "what they have not sent yet still comes in for {minutes} minutes; keep this device in sync: trug run sync"
        ),
        "whoever is to stay needs a new invitation".to_owned(),
    ];
    Ok(Answer::new(lines, json!({ "withdrawn": names, "grace_ms": grace })))
}

fn join(home: &mut Home, text: &str, name: Option<&str>) -> Result<Answer, DeviceError> {
    let invitation = Invitation::find(text)?;
    let id = home.act(|device, at, out| device.join(at, &invitation, out))??;
    if let Some(name) = name {
        home.act(|device, at, out| device.set_name(at, name.trim(), out))?;
    }
    let kind = match invitation.document() {
        trug_seal::DocumentKind::Book => "the book",
        trug_seal::DocumentKind::Pantry => "a pantry",
        trug_seal::DocumentKind::Run => "a trip",
    };
    let letters = find::short(&id, invitation.log());
    let next = match invitation.relay() {
        Some(_) => "trug run sync brings what is in it",
        None => "trug run merge FILE brings what is in it",
    };
    let mut lines = vec![format!("joined {kind} as {} ({letters}); {next}", invitation.role())];
    if home.device.name().is_empty() {
        lines.push("say what you are called, so that others know whose picks are yours: trug run name NAME".to_owned());
    }
    let json = json!({
        "id": letters, "kind": kind, "role": invitation.role().to_string(),
        "relay": invitation.relay().map(ToString::to_string),
    });
    Ok(Answer::new(lines, json))
}

fn merge(home: &mut Home, file: &Path) -> Result<Answer, DeviceError> {
    let sealed = read_sealed(file)?;
    let merged = home.act(|device, at, out| device.open_file(at, &sealed, out))??;
    let told = home.take_told();
    let mut lines: Vec<String> = told.iter().flat_map(|(id, told)| told::texts(home, id, told)).collect();
    let data = lines.clone();
    let (shelf, name) = (home.device.shelf(&merged.id), merged.id.to_string());
    let quarantined = shelf.map_or(0, trug_device::Shelf::quarantined);
    if quarantined > 0 {
        lines.push(format!("{quarantined} entries of {name} were not let in, and are kept"));
    }
    lines.push(if merged.new == 0 {
        "nothing in it was new".to_owned()
    } else {
        format!("{} changes were new", merged.new)
    });
    let answer = Answer::new(lines, json!({ "new": merged.new, "told": data, "quarantined": quarantined }));
    Ok(if quarantined > 0 { answer.with_problem() } else { answer })
}

fn put_away(home: &mut Home, asked: &str) -> Result<Answer, DeviceError> {
    let entry = find::trip(home, Some(asked))?;
    if entry.owned {
        home.act(|device, at, out| device.put_away(at, &entry.id, out))??;
    } else {
        home.act(|device, _, out| device.leave(&entry.id, out))?;
    }
    let letters = find::short(&entry.id, entry.log);
    Ok(Answer::new(vec![format!("{} is put away", title_of(&entry))], json!({ "trip": letters })))
}

fn sync(home: &mut Home, wait: u64) -> Result<Answer, DeviceError> {
    if home.device.entries().iter().all(|entry| entry.relay.is_none()) {
        let text = "nothing on this device is synced over a relay; `trug run relay URL` names one, and trips also travel \
                    as sealed files (`trug run seal`, `trug run merge`)";
        return Err(DeviceError::Failed(text.to_owned()));
    }
    let synced = home.sync(Duration::from_millis(wait))?;
    let mut lines: Vec<String> = synced.told.iter().flat_map(|(id, told)| told::texts(home, id, told)).collect();
    let told = lines.clone();
    let entries = home.device.entries();
    let title = |id: &DocId| entries.iter().find(|entry| entry.id == *id).map_or_else(|| id.to_string(), title_of);
    let troubles: Vec<String> = synced.troubles.iter().map(|(id, why)| format!("{}: {why}", title(id))).collect();
    lines.extend(troubles.iter().cloned());
    let status = home.device.status();
    let mut left = Vec::new();
    for (id, why) in &synced.left {
        let waiting = home.device.shelf(id).map_or(0, |shelf| shelf.status().to_send);
        let why =
            why.clone().or_else(|| synced.unreached.as_ref().map(|why| format!("the relay cannot be reached: {why}")));
        let why = why.unwrap_or_else(|| "there was no time for more".to_owned());
        lines.push(format!("{}: {waiting} to send; {why}", title(id)));
        left.push(json!({ "id": id.as_str(), "title": title(id), "to_send": waiting, "why": why }));
    }
    let settled = left.is_empty();
    lines.push(if settled {
        "sent, and nothing new is left to fetch".to_owned()
    } else {
        format!("{} to send", status.to_send)
    });
    let json = json!({
        "settled": settled, "to_send": status.to_send, "left": left, "told": told, "troubles": troubles,
    });
    let answer = Answer::new(lines, json);
    Ok(if settled { answer } else { answer.with_problem() })
}

/// Stays in sync; gives way while another process wants the device, and goes on after it.
fn stay(common: &Common, streams: &mut Streams<'_>) -> Result<Outcome, DeviceError> {
    let folder = home::folder(common.home.as_deref())?;
    let stop = Arc::new(AtomicBool::new(false));
    let stopped = Arc::clone(&stop);
    std::thread::spawn(move || {
        wait_for_stop();
        stopped.store(true, Ordering::Relaxed);
    });
    let mut last = None;
    loop {
        let mut home = Home::open(&folder)?;
        let watched =
            home.stay(&stop, |home, happened| say_happened(home, happened, common.json, &mut last, streams))?;
        match watched? {
            Left::Stopped => return Ok(Outcome::Fine),
            Left::Wanted => {
                drop(home);
                store::give_way(&folder);
            }
        }
    }
}

/// Waits for an interrupt or a termination signal.
fn wait_for_stop() {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    if let Ok(runtime) = runtime {
        runtime.block_on(crate::serve::told_to_stop());
    }
}

/// One line for everything that happens; with `--json` one object a line.
fn say_happened(
    home: &Home,
    happened: Happened,
    as_json: bool,
    last: &mut Option<String>,
    streams: &mut Streams<'_>,
) -> Result<(), DeviceError> {
    let lines = match happened {
        Happened::Told(id, told) => told::texts(home, &id, &told),
        Happened::Trouble(id, why) => vec![format!("{id}: {why}")],
        Happened::Unsaved(why) => vec![format!("cannot save just now: {why}")],
        Happened::Status => {
            let status = home.device.status();
            let word = match (status.to_send, home.device.is_settled()) {
                (0, true) => "sent".to_owned(),
                (0, false) => return Ok(()),
                (count, _) => format!("{count} to send"),
            };
            if last.as_ref() == Some(&word) {
                return Ok(());
            }
            *last = Some(word.clone());
            vec![word]
        }
    };
    for line in lines {
        if as_json {
            writeln!(streams.out, "{}", json!({ "schema": 1, "said": line }))?;
        } else {
            writeln!(streams.out, "{}", plain(&line))?;
        }
    }
    Ok(streams.out.flush()?)
}

fn read_sealed(path: &Path) -> Result<Vec<u8>, DeviceError> {
    let file = std::fs::File::open(path).map_err(|source| DeviceError::file(path, source))?;
    let mut bytes = Vec::new();
    file.take(MOST + 1).read_to_end(&mut bytes).map_err(|source| DeviceError::file(path, source))?;
    if bytes.len() as u64 > MOST {
        return Err(DeviceError::Asked(format!("{} is too large to be a sealed file", path.display())));
    }
    Ok(bytes)
}

/// Writes a file beside its place and puts it there whole.
fn write_file(path: &Path, bytes: &[u8]) -> Result<(), DeviceError> {
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(".new");
    let beside = path.with_file_name(name);
    let write = || {
        let mut file = std::fs::File::create(&beside)?;
        file.write_all(bytes)?;
        file.sync_all()?;
        std::fs::rename(&beside, path)
    };
    write().map_err(|source| DeviceError::file(path, source))
}
