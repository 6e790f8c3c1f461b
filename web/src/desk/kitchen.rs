//! The kitchen as the book has it now, read once for each change.

use std::rc::Rc;

use trug_device::Unsettled;
use trug_provision::kitchen::Kitchen;

use super::Desk;
use crate::later;

/// The kitchen, and what of its stock is not counted. Each reading is another.
pub struct KitchenNow {
    /// The kitchen.
    pub kitchen: Kitchen,
    /// Stock that a person should look at.
    pub unsettled: Vec<Unsettled>,
}

impl PartialEq for KitchenNow {
    fn eq(&self, other: &Self) -> bool {
        std::ptr::eq(self, other)
    }
}

/// The heads of each document that the reading saw, and what came of it.
pub(super) type Cached = (Vec<[u8; 32]>, Result<Rc<KitchenNow>, Rc<str>>);

/// Which changes a document ends in. Two histories of one extent differ in them.
fn heads<D: trug_replica::Document>(document: &D) -> impl Iterator<Item = [u8; 32]> + use<D> {
    document.heads().into_iter().map(|hash| hash.0)
}

impl Desk {
    /// The kitchen; `None` where this device keeps none, and until what reads it is here ([`crate::later`]).
    ///
    /// # Errors
    /// What is wrong in it, for a person: the file, the line, what was read and what would be right.
    #[must_use]
    pub fn kitchen(&self) -> Option<Result<Rc<KitchenNow>, Rc<str>>> {
        let device = self.0.device.borrow();
        let book = device.book()?;
        let mut seen: Vec<[u8; 32]> = heads(book).collect();
        for id in device.pantries().into_values() {
            seen.extend(device.pantry(&id).into_iter().flat_map(heads));
        }
        let mut cached = self.0.kitchen.borrow_mut();
        if let Some((known, read)) = &*cached
            && *known == seen
        {
            return Some(read.clone());
        }
        let read = match (later::here()?.kitchen)(&device) {
            Ok((kitchen, unsettled)) => Ok(Rc::new(KitchenNow { kitchen, unsettled })),
            Err(wrong) => Err(wrong),
        };
        *cached = Some((seen, read.clone()));
        Some(read)
    }

    /// Whether this device keeps a kitchen: the chef's own, not a helper's.
    #[must_use]
    pub fn is_chef(&self) -> bool {
        self.0.device.borrow().book().is_some()
    }
}
