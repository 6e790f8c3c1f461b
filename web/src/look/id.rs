//! Ids that tie a label, a hint and an error to the field they speak of.

use std::cell::Cell;

use yew::prelude::*;

thread_local! {
    static NEXT: Cell<u32> = const { Cell::new(0) };
}

/// An id that no other part on the page has, the same for as long as the part lives.
#[hook]
pub fn use_id() -> AttrValue {
    let id = use_memo((), |()| {
        NEXT.with(|next| {
            let id = next.get();
            next.set(id.wrapping_add(1));
            AttrValue::from(format!("k{id}"))
        })
    });
    (*id).clone()
}

/// The ids of those parts that are there, as `aria-describedby` wants them.
pub(super) fn together(parts: &[(bool, &str, &str)]) -> Option<AttrValue> {
    let ids: Vec<String> =
        parts.iter().filter(|(there, _, _)| *there).map(|(_, id, tail)| format!("{id}{tail}")).collect();
    (!ids.is_empty()).then(|| AttrValue::from(ids.join(" ")))
}
