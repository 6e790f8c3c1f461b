//! The chef's kitchen as the book and the pantries have it: in from a folder, out to one, and as `provision` wants it.

use std::collections::BTreeMap;

use trug_folder::{Files, Problems};
use trug_provision::kitchen::{Kitchen, Lot as FileLot};
use trug_replica::Kind;
use trug_replica::book::Book;
use trug_replica::gather;
use trug_replica::id::{LotId, Stamp};
use trug_replica::pantry::{Counted, Level, Lot, LotView, Pantry};
use trug_sync::Instant;

use crate::device::{Device, Effect, Refused};
use crate::member::DocId;

/// Before a pantry's id, in the keys of the book's roots.
const PANTRY: &str = "pantry/";
/// Before a pantry's id: what its file said when it was last imported.
const IMPORTED: &str = "imported/";
/// The columns of a pantry's file.
const HEADER: &str = "food,amount,keep,use_by\n";

/// Why there is no kitchen.
#[derive(Debug, thiserror::Error)]
pub enum KitchenError {
    /// There is no book on this device.
    #[error("this device keeps no kitchen")]
    NoBook,
    /// What is in it cannot be read.
    #[error("this kitchen cannot be read yet; what is wrong in it:\n{0}")]
    Problems(#[from] Problems),
    /// It cannot be written.
    #[error(transparent)]
    Refused(#[from] Refused),
}

/// Stock that the list does not count, and why: for a person to look at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unsettled {
    /// In whose pantry, by its id in the folder.
    pub pantry: String,
    /// The food.
    pub food: String,
    /// Why.
    pub why: OnHand,
}

/// Why stock is not counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnHand {
    /// There is some; nobody said how much.
    Some,
    /// More was taken than anybody counted.
    BelowNothing,
    /// Two people counted apart and saw different things; the list goes by one of them.
    Disputed,
}

impl Device {
    /// The ids of the pantries, with their documents.
    #[must_use]
    pub fn pantries(&self) -> BTreeMap<String, DocId> {
        let own = self.entries().into_iter().filter_map(|entry| {
            let id = entry.id.as_str().strip_prefix(PANTRY)?.to_owned();
            Some((id, entry.id))
        });
        gather::map(own)
    }

    /// The kitchen folder as it stands: the book's texts, and a file for each pantry.
    #[must_use]
    pub fn folder(&self) -> BTreeMap<String, String> {
        let mut files = self.book().map(Book::files).unwrap_or_default();
        for (id, doc) in self.pantries() {
            let lots = self.pantry(&doc).map(|pantry| pantry.view().lots).unwrap_or_default();
            files.insert(format!("pantries/{id}.csv"), pantry_file(&lots));
        }
        files
    }

    /// The kitchen, for `provision`; and the stock that it does not count.
    ///
    /// # Errors
    /// [`KitchenError`].
    pub fn kitchen(&self) -> Result<(Kitchen, Vec<Unsettled>), KitchenError> {
        self.book().ok_or(KitchenError::NoBook)?;
        let kitchen = trug_folder::read(&as_files(&self.folder()))?;
        Ok((kitchen, self.uncounted()))
    }

    fn uncounted(&self) -> Vec<Unsettled> {
        let mut found = Vec::new();
        for (id, doc) in self.pantries() {
            for lot in self.pantry(&doc).map(|pantry| pantry.view().lots).unwrap_or_default() {
                let Some(food) = lot.lot.as_ref().map(|lot| lot.food.clone()) else { continue };
                let why = match lot.level {
                    _ if lot.disputed => OnHand::Disputed,
                    Level::Some => OnHand::Some,
                    Level::Amount(amount) if !amount.value.is_positive() && !amount.value.is_zero() => {
                        OnHand::BelowNothing
                    }
                    _ => continue,
                };
                found.push(Unsettled { pantry: id.clone(), food, why });
            }
        }
        found
    }

    /// Takes a kitchen folder in: its texts into the book, its pantries into documents of their own. A pantry whose file
    /// is as it was at the last import stays as it is here, with all that was counted and moved since.
    ///
    /// # Errors
    /// [`KitchenError`]; a folder that cannot be read changes nothing.
    pub fn import(&mut self, now: Instant, files: &Files, out: &mut Vec<Effect>) -> Result<(), KitchenError> {
        let kitchen = trug_folder::read(files)?;
        self.begin_book(now, None, out)?;
        let texts: BTreeMap<&str, &str> = files
            .iter()
            .filter(|(path, _)| !path.starts_with("pantries/"))
            .filter_map(|(path, bytes)| Some((path, std::str::from_utf8(bytes).ok()?)))
            .collect();
        self.edit(now, &DocId::book(), |book: &mut Book| book.import(texts), out)?;
        for (id, lots) in &kitchen.pantries {
            let text = files.get(&format!("pantries/{id}.csv")).map(String::from_utf8_lossy).unwrap_or_default();
            self.import_pantry(now, id.as_str(), &text, lots, out)?;
        }
        Ok(())
    }

    fn import_pantry(
        &mut self,
        now: Instant,
        id: &str,
        text: &str,
        lots: &[FileLot],
        out: &mut Vec<Effect>,
    ) -> Result<(), Refused> {
        let name = format!("{IMPORTED}{id}");
        if self.book().and_then(|book| book.setting(&name)).as_deref() == Some(text) {
            return Ok(());
        }
        let doc = self.need_pantry(now, id, out)?;
        let at = Stamp(i64::try_from(now.0).unwrap_or(i64::MAX));
        self.edit(now, &doc, |pantry: &mut Pantry| stock(pantry, lots, at), out)?;
        self.edit(now, &DocId::book(), |book: &mut Book| book.set_setting(&name, text), out)?;
        Ok(())
    }

    /// The document of a pantry, begun where there is none.
    ///
    /// # Errors
    /// [`Refused`].
    pub fn need_pantry(&mut self, now: Instant, id: &str, out: &mut Vec<Effect>) -> Result<DocId, Refused> {
        let key = format!("{PANTRY}{id}");
        let doc = DocId::of_root(&key);
        if self.pantry(&doc).is_some() {
            return Ok(doc);
        }
        self.begin(now, &key, Kind::Pantry, id, None, out)
    }
}

/// A folder's texts as the folder crate wants them.
fn as_files(texts: &BTreeMap<String, String>) -> Files {
    let mut files = Files::new();
    for (path, text) in texts {
        // A path that leads out of the folder came from no import; it is no part of the kitchen.
        let _ = files.insert(path, text.clone().into_bytes());
    }
    files
}

/// Makes a pantry what a file says: the file's lots are there, with so much; lots that it does not name are empty.
fn stock(pantry: &mut Pantry, lots: &[FileLot], at: Stamp) -> Result<(), trug_replica::EditError> {
    let mut named = Vec::new();
    for lot in lots {
        let id = lot_id(lot, &named);
        pantry.describe(&id, &described(lot))?;
        let seen = lot.amount.map_or(Counted::Plenty, Counted::Amount);
        pantry.count(&id, seen, at)?;
        named.push(id);
    }
    let gone = |lot: &LotView| !named.contains(&lot.id) && lot.level != Level::Out;
    let gone: Vec<LotId> = pantry.view().lots.into_iter().filter(gone).map(|lot| lot.id).collect();
    for id in gone {
        pantry.count(&id, Counted::Out, at)?;
    }
    Ok(())
}

fn described(lot: &FileLot) -> Lot {
    Lot { food: lot.food.text.clone(), keep: lot.keep, use_by: lot.use_by.map(|day| day.to_string()) }
}

/// The same on every device that imports the same file.
fn lot_id(lot: &FileLot, taken: &[LotId]) -> LotId {
    let day = lot.use_by.map_or_else(|| "-".to_owned(), |day| day.to_string());
    let food: String = lot.food.text.to_lowercase().chars().take(60).collect();
    let mut number = 1_u32;
    loop {
        let text = format!("{food}/{}/{day}/{number}", lot.keep.name());
        let id = LotId::new(&text).or_else(|_| LotId::new(&format!("lot/{day}/{number}")));
        match id {
            Ok(id) if !taken.contains(&id) => return id,
            Ok(_) => number += 1,
            // Both forms are short and plain; a text that is none all the same gets a number.
            Err(_) => number += 1,
        }
    }
}

/// A pantry's file: what is there, and what there is enough of.
fn pantry_file(lots: &[LotView]) -> String {
    let mut text = HEADER.to_owned();
    for view in lots {
        let Some(lot) = &view.lot else { continue };
        let amount = match view.level {
            Level::Amount(amount) if amount.value.is_positive() => amount.as_written(),
            Level::Plenty => String::new(),
            Level::Amount(_) | Level::Some | Level::Out => continue,
        };
        let day = lot.use_by.as_deref().unwrap_or_default();
        text.push_str(&format!("{},{},{},{day}\n", field(&lot.food), field(&amount), lot.keep.name()));
    }
    text
}

/// A CSV field, quoted where it must be. [published: RFC 4180]
fn field(text: &str) -> String {
    if text.contains(['"', ',', '\n', '\r']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text.to_owned() }
}
