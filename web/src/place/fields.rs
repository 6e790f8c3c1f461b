//! Forms whose texts are kept together in one state.

use yew::prelude::*;

/// A callback that changes one thing in a form.
pub(super) fn change<F: Clone + 'static, T: 'static>(form: &UseStateHandle<F>, put: fn(&mut F, T)) -> Callback<T> {
    let form = form.clone();
    Callback::from(move |value| {
        let mut next = (*form).clone();
        put(&mut next, value);
        form.set(next);
    })
}
