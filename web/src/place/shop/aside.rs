//! What the list asks of the second module: what comes from the kitchen, and what others did.

use std::collections::BTreeMap;

use trug_device::{Device, DocId, Told};
use trug_provision::kitchen::Kitchen;
use trug_replica::id::Alias;

use super::hands::Hands;
use super::heard::{Heard, heard};
use super::purse::Purse;
use super::seen::Seen;
use super::till::purse;
use super::who::tables;

/// Questions of the list that wait until the second module is here.
#[derive(Clone, Copy)]
pub(crate) struct Aside {
    /// The chef's names of a trip's households.
    pub(super) names: fn(&Device, &DocId, &Kitchen) -> BTreeMap<Alias, String>,
    /// What a trip has cost against its budgets.
    pub(super) purse: fn(&Hands, &Seen) -> Option<Purse>,
    /// What others did, in a sentence.
    pub(super) heard: fn(&[Told], &Seen, &Seen) -> Heard,
}

impl Aside {
    /// Where they are answered.
    pub(crate) fn here() -> Self {
        Self { names: |device, id, kitchen| tables(kitchen, &device.aliases(id, kitchen)), purse, heard }
    }
}
