//! The addresses of this place: the pantries, one of them, and counting in it.

use trug_catalog::Keep;
use trug_device::DocId;
use trug_replica::id::LotId;

/// Where in the place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Way {
    /// All pantries.
    All,
    /// One pantry.
    One(DocId),
    /// One of its lots.
    Lot(DocId, LotId),
    /// Counting in it, all places or one.
    Count(DocId, Option<Keep>),
}

/// Reads what follows the place's name. The id of a pantry's document is of two parts: `pantry/kit`, `joined/0a1b`.
pub(super) fn read(rest: &str) -> Way {
    let mut parts = rest.splitn(4, '/');
    let (Some(kind @ ("pantry" | "joined")), Some(name)) = (parts.next(), parts.next()) else { return Way::All };
    let doc = DocId::from(format!("{kind}/{name}").as_str());
    match (parts.next(), parts.next()) {
        (Some("count"), keep) => Way::Count(doc, keep.and_then(|word| word.parse().ok())),
        // A lot's id may have strokes of its own.
        (Some("lot"), Some(id)) => {
            LotId::new(id).map_or_else(|_| Way::One(doc.clone()), |id| Way::Lot(doc.clone(), id))
        }
        _ => Way::One(doc),
    }
}

/// The place of a pantry.
pub(super) fn one(doc: &DocId) -> String {
    format!("pantries/{doc}")
}

/// The place of one of its lots.
pub(super) fn lot(doc: &DocId, lot: &LotId) -> String {
    format!("pantries/{doc}/lot/{lot}")
}

/// The place of counting in it.
pub(super) fn count(doc: &DocId, keep: Option<Keep>) -> String {
    match keep {
        Some(keep) => format!("pantries/{doc}/count/{}", keep.name()),
        None => format!("pantries/{doc}/count"),
    }
}

/// An id for a new pantry from its name: plain letters, as files in a folder are called. `taken` says which are.
pub(super) fn id_of(name: &str, taken: impl Fn(&str) -> bool) -> String {
    let words: Vec<String> = name
        .to_lowercase()
        .split(|letter: char| !letter.is_ascii_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_owned)
        .collect();
    let plain: String = words.join("-").chars().take(40).collect();
    let plain = if plain.is_empty() { "pantry".to_owned() } else { plain };
    let numbered = (2_u32..).map(|number| format!("{plain}-{number}"));
    std::iter::once(plain.clone()).chain(numbered).find(|id| !taken(id)).unwrap_or(plain)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ways_are_read_and_written() {
        let kit = DocId::from("pantry/kit");
        let joined = DocId::from("joined/0a1b");
        let table = [
            ("", Way::All),
            ("kit", Way::All),
            ("week/kit", Way::All),
            ("pantry/kit", Way::One(kit.clone())),
            ("joined/0a1b", Way::One(joined.clone())),
            ("pantry/count", Way::One(DocId::from("pantry/count"))),
            ("pantry/kit/count", Way::Count(kit.clone(), None)),
            ("joined/0a1b/count/chilled", Way::Count(joined.clone(), Some(Keep::Chilled))),
            ("pantry/kit/count/cellar", Way::Count(kit.clone(), None)),
            ("pantry/kit/else", Way::One(kit.clone())),
            ("pantry/kit/lot/", Way::One(kit.clone())),
        ];
        for (rest, way) in table {
            assert_eq!(read(rest), way, "{rest}");
        }
        assert_eq!(read(&one(&kit)["pantries/".len()..]), Way::One(kit.clone()));
        let eggs = LotId::new("eggs/chilled/2026-03-02/1").unwrap();
        assert_eq!(read(&lot(&kit, &eggs)["pantries/".len()..]), Way::Lot(kit, eggs));
        let cold = count(&joined, Some(Keep::Chilled));
        assert_eq!(read(&cold["pantries/".len()..]), Way::Count(joined, Some(Keep::Chilled)));
    }

    #[test]
    fn ids_are_plain_and_free() {
        let taken = |id: &str| id == "cellar" || id == "cellar-2";
        let table = [("The Brackwaters, 112", "the-brackwaters-112"), ("Cellar", "cellar-3"), ("¿?", "pantry")];
        for (name, id) in table {
            assert_eq!(id_of(name, taken), id);
        }
    }
}
