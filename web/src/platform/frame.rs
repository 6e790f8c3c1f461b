//! Work that may wait until the screen has shown what was just touched.

use std::cell::Cell;
use std::rc::Rc;

use gloo::timers::callback::Timeout;
use wasm_bindgen::JsCast as _;
use wasm_bindgen::closure::Closure;

use super::js;

/// A page that nobody looks at paints nothing: then the work is done after this long, in milliseconds.
const LATEST: u32 = 100;

/// Does something once the next frame is on the screen: what the browser itself changed, such as a box that was ticked, is
/// seen before everything else is drawn anew.
pub fn after_paint<F: FnOnce() + 'static>(work: F) {
    let work = Rc::new(Cell::new(Some(work)));
    let painted = {
        let work = work.clone();
        // Within the callback the frame is not painted yet.
        Closure::once_into_js(move || Timeout::new(0, move || once(&work)).forget())
    };
    if let Some(window) = js::window() {
        // Where there are no frames, the time alone decides.
        let _ = window.request_animation_frame(painted.unchecked_ref());
    }
    Timeout::new(LATEST, move || once(&work)).forget();
}

fn once<F: FnOnce()>(work: &Cell<Option<F>>) {
    if let Some(work) = work.take() {
        work();
    }
}
