//! What several tests need.
#![allow(dead_code, unreachable_pub, reason = "each test uses its own part of this")]

use std::path::Path;

use trug_catalog::Food;
use trug_folder::{Files, read_dir};
use trug_provision::kitchen::Kitchen;

/// The demo folder's files.
pub fn demo() -> Files {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-data");
    read_dir(folder).unwrap_or_else(|error| panic!("{error}"))
}

/// A folder of these files.
pub fn folder(files: &[(&str, &str)]) -> Files {
    let mut folder = Files::new();
    for (path, text) in files {
        folder.insert(path, text.as_bytes().to_vec()).expect(path);
    }
    folder
}

/// All that a kitchen says, as text: two kitchens of one meaning have one text. The order of a catalogue's foods is part
/// of it, since that is what the names' places refer to.
pub fn meaning(kitchen: &Kitchen) -> String {
    let builtin = trug_catalog::Catalog::builtin();
    let own: Vec<&Food> = kitchen
        .catalog
        .foods()
        .map(|(_, food)| food)
        .filter(|food| food.own || builtin.by_id(food.id.as_str()).is_none())
        .collect();
    let Kitchen { catalog: _, name, currency, units, regime, kit, usual_store, households, dishes, weeks, .. } =
        kitchen;
    let Kitchen { stores, prices, pantries, .. } = kitchen;
    format!(
        "{name:#?} {currency:?} {units:?} {regime:?} {kit:?} {usual_store:?} {households:#?} {dishes:#?} {weeks:#?} {stores:#?} {prices:#?} {pantries:#?} {own:#?}"
    )
}

/// The first line in which two texts differ, with those around it; empty where they do not.
pub fn difference(one: &str, other: &str) -> String {
    let Some(at) = one.lines().zip(other.lines()).position(|(one, other)| one != other) else {
        return if one.len() == other.len() { String::new() } else { "one of the two goes on".to_owned() };
    };
    let around = |text: &str| text.lines().skip(at.saturating_sub(20)).take(24).collect::<Vec<_>>().join("\n");
    format!("-- one:\n{}\n-- other:\n{}", around(one), around(other))
}
