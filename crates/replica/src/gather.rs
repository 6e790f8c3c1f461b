//! Maps, sets and orders made by putting one thing after another in its place.
//!
//! The standard library's `collect` and `sort` bring a sort of their own for every type, which in WebAssembly is 4 to 8 KB
//! each time; a quarter of a megabyte for all of ours. What is gathered here is short, or comes in order already, so that
//! one at a time is no slower.

use std::collections::{BTreeMap, BTreeSet};

/// A map of these pairs; of two with one key the later holds.
pub fn map<K: Ord, V>(pairs: impl IntoIterator<Item = (K, V)>) -> BTreeMap<K, V> {
    let mut all = BTreeMap::new();
    for (key, value) in pairs {
        all.insert(key, value);
    }
    all
}

/// A set of these.
pub fn set<T: Ord>(items: impl IntoIterator<Item = T>) -> BTreeSet<T> {
    let mut all = BTreeSet::new();
    for item in items {
        all.insert(item);
    }
    all
}

/// These in order; equal ones as they came. Takes the square of their number, unless they come in order.
pub fn ordered<T>(items: impl IntoIterator<Item = T>, before: impl Fn(&T, &T) -> bool) -> Vec<T> {
    let mut all: Vec<T> = Vec::new();
    for item in items {
        let at = match all.last() {
            Some(last) if before(&item, last) => all.partition_point(|other| !before(&item, other)),
            _ => all.len(),
        };
        all.insert(at, item);
    }
    all
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn it_is_as_the_standard_library_would_have_it(pairs in proptest::collection::vec((0_u8..20, any::<u8>()), 0..40)) {
            prop_assert_eq!(map(pairs.clone()), pairs.iter().copied().collect::<BTreeMap<_, _>>());
            prop_assert_eq!(set(pairs.clone()), pairs.iter().copied().collect::<BTreeSet<_>>());
            let mut sorted = pairs.clone();
            sorted.sort_by_key(|pair| pair.0);
            prop_assert_eq!(ordered(pairs, |a, b| a.0 < b.0), sorted);
        }
    }
}
