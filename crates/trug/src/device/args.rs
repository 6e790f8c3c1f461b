//! What a person can ask of a device: shopping trips, pantries, and the chef's book.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use crate::args::Logs;

const JSON_HELP: &str = "\
With --json every verb prints one JSON object with \"schema\": 1. An amount is {\"amount\": 1360.8, \"unit\": \"g\"} to one \
decimal, money a string (\"4.50\"), a time milliseconds since 1970 UTC by the clock of the device that wrote it, and what \
nobody said is null.";

/// Where a device is, and in which form it answers.
#[derive(Debug, Args)]
pub struct Common {
    /// The folder that holds this device's documents; without it, where this platform keeps such data
    #[arg(long, value_name = "DIR", env = "TRUG_HOME", global = true)]
    pub home: Option<PathBuf>,
    /// As JSON, for other programs
    #[arg(long, global = true)]
    pub json: bool,
}

fn run_help() -> String {
    format!(
        "\
Example:
  trug run make demo-data --week 2026-W10 --relay https://shelf.example
  trug run invite --name Jo
  trug run got \"yellow onion\" carrot --price 2.49
  trug run sync

LINE is a food's name as the list has it, or the beginning of it, in large or small letters; or a line's letters, as \
`show` prints them in brackets. TRIP is a trip's short name or the beginning of its title; without it the last trip made \
here is meant, or the only one there is.

A verb is done when this device keeps it. `sync` sends it to the others.

{JSON_HELP}

show: {{\"trip\": {{\"id\", \"title\", \"role\", \"week\", \"relay\", \"to_send\"}}, \"lines\": [{{\"id\", \"food\", \"text\", \"section\", \"store\", \
\"keep\", \"state\", \"want\", \"there\", \"left\", \"packs\", \"cost\", \"for\": [{{\"alias\", \"need\"}}], \"separate\", \"contains\", \
\"read_label\", \"must_not\": [{{\"alias\", \"what\", \"alert\"}}], \"subs\", \"ask\", \"check\", \"optional\", \"by_hand\", \"withdrawn\", \
\"claimed\", \"conflict\", \"none_said\", \"unclear\", \"picks\": [{{\"id\", \"by\", \"name\", \"what\", \"amount\", \"whole\", \"packs\", \
\"price\", \"instead\", \"for\", \"store\", \"label\", \"alerts\", \"at\"}}], \"struck\": [the same]}}], \"people\", \"claims\", \"notes\", \
\"receipts\", \"left\": lines still to get, \"spent\", \"households\": {{alias: {{\"id\", \"name\"}}}} on the chef's devices alone}}. \
A state is one of to get, part, got, bought twice, not to be had, withdrawn, withdrawn but bought; what of a pick is got, \
home, sub or none.

What a food contains is told as it is recorded. The label, local food codes and licensed advice come first."
    )
}

/// `trug run`.
#[derive(Debug, Args)]
#[command(after_help = run_help())]
pub struct Run {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment here would replace the command's own help")]
    pub common: Common,
    /// What is asked.
    #[command(subcommand)]
    pub verb: RunVerb,
}

/// Which trip.
#[derive(Debug, Args)]
pub struct OnTrip {
    /// The trip, by its short name or the beginning of its title
    #[arg(long = "trip", value_name = "TRIP")]
    pub trip: Option<String>,
}

/// How something was bought.
#[derive(Debug, Args)]
pub struct Bought {
    /// Only so much of it, such as "1.5 lb"; `some` where nobody measured
    #[arg(long, value_name = "AMOUNT")]
    pub part: Option<String>,
    /// What it cost, such as 4.50
    #[arg(long, value_name = "MONEY")]
    pub price: Option<String>,
    /// In which packs, such as "2 x 14.5 oz"; may be repeated. Without it, as the list says
    #[arg(long, value_name = "N x SIZE")]
    pub packs: Vec<String>,
    /// For this household alone, by what it is called on the trip; may be repeated
    #[arg(long = "for", value_name = "ALIAS")]
    pub aliases: Vec<String>,
    /// In which store
    #[arg(long, value_name = "NAME")]
    pub store: Option<String>,
    /// What the label says of allergens, in its own words
    #[arg(long, value_name = "WORDS")]
    pub label: Option<String>,
    /// Which product the label is on
    #[arg(long, value_name = "NAME", requires = "label")]
    pub product: Option<String>,
}

/// The verbs of `trug run`.
#[derive(Debug, Subcommand)]
pub enum RunVerb {
    /// Starts a shopping trip from a kitchen folder's week
    Make(Make),
    /// Brings a trip up to date with its changed kitchen folder; what was picked stays
    Update {
        /// The folder that holds kitchen.toml
        kitchen: PathBuf,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        on: OnTrip,
    },
    /// The trips on this device
    List,
    /// A trip, section by section in walking order
    Show {
        /// The trip, by its short name or the beginning of its title
        trip: Option<String>,
    },
    /// Got it from the shelf
    Got {
        /// The lines
        #[arg(required = true, value_name = "LINE")]
        lines: Vec<String>,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        bought: Bought,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        on: OnTrip,
    },
    /// Found it at home, all of it or so much
    Home {
        /// The line
        line: String,
        /// How much, such as "200 g"; all of it without
        amount: Option<String>,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        on: OnTrip,
    },
    /// Took something else in its place; says what nobody on the line may have
    Sub {
        /// The line
        line: String,
        /// What was taken
        instead: String,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        bought: Bought,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        on: OnTrip,
    },
    /// Looked, and there was none
    None {
        /// The lines
        #[arg(required = true, value_name = "LINE")]
        lines: Vec<String>,
        /// In which store
        #[arg(long, value_name = "NAME")]
        store: Option<String>,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        on: OnTrip,
    },
    /// Undoes a pick: it stays to be read, and no longer counts
    Undo {
        /// The pick, by its letters; or a line, for this device's one pick on it
        pick: String,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        on: OnTrip,
    },
    /// Adds a line by hand
    Add {
        /// What
        food: String,
        /// How much, in your own words
        #[arg(long, value_name = "WORDS", default_value = "")]
        amount: String,
        /// Where it stands; without it, where the catalogue has such food
        #[arg(long, value_name = "NAME")]
        section: Option<String>,
        /// For which household, by what it is called on the trip
        #[arg(long = "for", value_name = "ALIAS")]
        alias: Option<String>,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        on: OnTrip,
    },
    /// Takes a line, a section or a store upon oneself
    Claim {
        /// The line
        #[arg(required_unless_present_any = ["section", "store"], conflicts_with_all = ["section", "store"])]
        line: Option<String>,
        /// A whole section
        #[arg(long, value_name = "NAME", conflicts_with = "store")]
        section: Option<String>,
        /// A whole store
        #[arg(long, value_name = "NAME")]
        store: Option<String>,
        /// Gives it up again
        #[arg(long)]
        give_up: bool,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        on: OnTrip,
    },
    /// A remark to everybody on the trip
    Note {
        /// What it says
        text: String,
        /// About which line
        #[arg(long, value_name = "LINE")]
        line: Option<String>,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        on: OnTrip,
    },
    /// What a till took
    Pay {
        /// The store
        store: String,
        /// How much in all, such as 141.20
        total: String,
        /// The household whose own receipt it is, by what it is called on the trip
        #[arg(long = "for", value_name = "ALIAS")]
        alias: Option<String>,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        on: OnTrip,
    },
    /// A link that lets one person onto a trip; as secret as the trip
    Invite {
        /// The trip
        trip: Option<String>,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        to: Inviting,
    },
    /// Withdraws everybody's access to a trip; it goes on under another key
    Withdraw {
        /// The trip
        trip: Option<String>,
        /// How long what others have not sent yet still comes in: 30min, 2h, 1d
        #[arg(long, value_name = "TIME", default_value = "2h", value_parser = super::words::span)]
        grace: u64,
    },
    /// Joins what an invitation opens: a trip, a pantry, or one's own book on another device
    Join {
        /// The link, or a message with it; - reads it from standard input, which keeps it out of the shell's history
        link: String,
        /// What you are called: others see it beside your picks
        #[arg(long, value_name = "NAME")]
        name: Option<String>,
    },
    /// Says what you are called: others see it beside your picks
    Name {
        /// The name
        name: String,
    },
    /// Sends and fetches everything on this device
    Sync {
        /// Stays in sync, and prints what others do
        #[arg(long)]
        stay: bool,
        /// How long to try, in all
        #[arg(long, value_name = "TIME", default_value = "30s", value_parser = super::words::span, conflicts_with = "stay")]
        wait: u64,
    },
    /// Writes a trip as a sealed file, for whoever was invited to it; no relay is needed
    Seal {
        /// The file
        file: PathBuf,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        on: OnTrip,
    },
    /// Merges a sealed file
    Merge {
        /// The file
        file: PathBuf,
    },
    /// Over which relay the chef's documents are synced; shows it without an address
    Relay {
        /// The relay's address, or none
        address: Option<String>,
        /// What that relay wants of whoever creates a log
        #[arg(long, value_name = "WORD", env = "TRUG_PASSCODE", hide_env_values = true)]
        passcode: Option<String>,
    },
    /// Puts a trip away; on the chef's devices, from all of them
    PutAway {
        /// The trip
        trip: String,
    },
}

/// `trug run make`.
#[derive(Debug, Args)]
pub struct Make {
    /// The folder that holds kitchen.toml
    pub kitchen: PathBuf,
    /// The week, by the name of its file in weeks/
    #[arg(long, value_name = "ID")]
    pub week: String,
    /// Only this household's services; may be repeated
    #[arg(long = "household", value_name = "ID")]
    pub households: Vec<String>,
    /// Buy at this store only
    #[arg(long, value_name = "ID")]
    pub store: Option<String>,
    /// What the trip is called; the week without it
    #[arg(long, value_name = "WORDS")]
    pub title: Option<String>,
    /// Sync all of the chef's documents over this relay
    #[arg(long, value_name = "URL")]
    pub relay: Option<String>,
    /// What you are called: others see it beside your picks
    #[arg(long, value_name = "NAME")]
    pub name: Option<String>,
}

/// To whom an invitation goes, and in which form.
#[derive(Debug, Args)]
pub struct Inviting {
    /// Who it is for, so that you know later whom you invited
    #[arg(long, value_name = "NAME")]
    pub name: String,
    /// Also as a QR code, to be scanned from this screen
    #[arg(long)]
    pub qr: bool,
    /// Where the phone app is served; the relay's own address without it
    #[arg(long, value_name = "URL")]
    pub app: Option<String>,
    /// Somebody who shops along; usual for a trip
    #[arg(long, group = "role")]
    pub helper: bool,
    /// A client who counts at home; usual for a pantry
    #[arg(long, group = "role")]
    pub client: bool,
    /// Another device of one's own
    #[arg(long, group = "role")]
    pub own: bool,
}

fn pantry_help() -> String {
    format!(
        "\
Example:
  trug pantry count ropewalk rice \"2 lb\"
  trug pantry move kit \"olive oil\" -250ml --why \"Tuesday's dressing\"

PANTRY is a pantry's id, or the beginning of what it is called. A move adds to what was counted; a count takes the place \
of everything before it.

{JSON_HELP}

list: {{\"pantries\": [{{\"id\", \"title\", \"owned\", \"to_send\", \"lots\": [{{\"id\", \"food\", \"keep\", \"use_by\", \"level\": amount, plenty, \
some, out or below nothing, \"amount\", \"par\", \"disputed\", \"counts\": [{{\"id\", \"by\", \"seen\", \"at\"}}], \"moves\": [{{\"id\", \"by\", \
\"amount\", \"why\", \"at\"}}]}}]}}]}}."
    )
}

/// `trug pantry`.
#[derive(Debug, Args)]
#[command(after_help = pantry_help())]
pub struct Pantry {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment here would replace the command's own help")]
    pub common: Common,
    /// What is asked.
    #[command(subcommand)]
    pub verb: PantryVerb,
}

/// Which lot of a food.
#[derive(Debug, Args)]
pub struct WhichLot {
    /// How it is kept: ambient, chilled or frozen
    #[arg(long, value_name = "HOW")]
    pub keep: Option<String>,
    /// The last day on which it may be used, such as 2026-03-04
    #[arg(long, value_name = "DATE")]
    pub use_by: Option<String>,
}

/// The verbs of `trug pantry`.
#[derive(Debug, Subcommand)]
pub enum PantryVerb {
    /// What is on hand
    List {
        /// The pantry; all of them without it
        pantry: Option<String>,
    },
    /// Says how much there is: an amount, plenty, some, or out
    Count {
        /// The pantry
        pantry: String,
        /// The food
        food: String,
        /// How much, such as "2 lb"; plenty, some, or out
        seen: String,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        lot: WhichLot,
    },
    /// Puts something there, or takes it away
    Move {
        /// The pantry
        pantry: String,
        /// The food
        food: String,
        /// How much: "+2 lb" or "-200 g"
        #[arg(allow_hyphen_values = true)]
        by: String,
        /// Why, in your own words
        #[arg(long, value_name = "WORDS", default_value = "")]
        why: String,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        lot: WhichLot,
    },
    /// How much there should always be
    Par {
        /// The pantry
        pantry: String,
        /// The food
        food: String,
        /// How much, or none
        amount: String,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        lot: WhichLot,
    },
    /// Undoes a count or a move, by its letters
    Undo {
        /// The pantry
        pantry: String,
        /// The count or the move
        fact: String,
    },
    /// A link that lets a client count at home; as secret as the pantry
    Invite {
        /// The pantry
        pantry: String,
        #[command(flatten)]
        #[allow(missing_docs, reason = "a doc comment here would replace the help of its flags")]
        to: Inviting,
    },
    /// Withdraws everybody's access to a pantry; it goes on under another key
    Withdraw {
        /// The pantry
        pantry: String,
        /// How long what others have not sent yet still comes in: 30min, 2h, 1d
        #[arg(long, value_name = "TIME", default_value = "2h", value_parser = super::words::span)]
        grace: u64,
    },
}

fn book_help() -> String {
    format!(
        "\
Example:
  trug book recovery > keep-this-on-paper.txt
  trug book recover - --relay https://shelf.example < what-was-typed.txt

The book is the chef's own: households, dishes, weeks, prices, and the keys of all trips and pantries.

{JSON_HELP}"
    )
}

/// `trug book`.
#[derive(Debug, Args)]
#[command(after_help = book_help())]
pub struct Book {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment here would replace the command's own help")]
    pub common: Common,
    /// What is asked.
    #[command(subcommand)]
    pub verb: BookVerb,
}

/// The verbs of `trug book`.
#[derive(Debug, Subcommand)]
pub enum BookVerb {
    /// Takes a kitchen folder into the book
    Import {
        /// The folder that holds kitchen.toml
        kitchen: PathBuf,
    },
    /// Writes the kitchen folder out, with the pantries as they stand
    Export {
        /// The folder to write to
        folder: PathBuf,
    },
    /// Prints the recovery code: to be written down, and kept where nobody else reads it
    Recovery,
    /// Brings the book back on this device from its recovery code
    Recover {
        /// The code, as it was printed; - reads it from standard input, which keeps it out of the shell's history
        code: String,
        /// The relay that holds it
        #[arg(long, value_name = "URL")]
        relay: Option<String>,
        /// A folder that `trug book backup` wrote
        #[arg(long, value_name = "DIR")]
        from: Option<PathBuf>,
    },
    /// Writes every document of the chef's as a sealed file into a folder; the recovery code opens them
    Backup {
        /// The folder to write to
        folder: PathBuf,
    },
    /// A link that gives the whole book to another device of one's own; as secret as the book
    Invite {
        /// What you call that device
        #[arg(long, value_name = "NAME", default_value = "own device")]
        name: String,
        /// Also as a QR code, to be scanned from this screen
        #[arg(long)]
        qr: bool,
        /// Where the phone app is served; the relay's own address without it
        #[arg(long, value_name = "URL")]
        app: Option<String>,
    },
}

/// `trug relay-restore`.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  trug relay-restore --data relay-data --log 3q2-7wAAAAAAAAAAAAAAAA

A snapshot takes the place of the entries before it; they are kept for 30 days. This brings them back and drops the \
snapshot; again, the one before it. Stop the relay first where it keeps its logs in a directory.")]
pub struct RelayRestore {
    #[command(flatten)]
    #[allow(missing_docs, reason = "a doc comment here would replace the command's own help")]
    pub logs: Logs,
    /// The log, by its id in base64url
    #[arg(long, value_name = "ID", allow_hyphen_values = true)]
    pub log: String,
}
