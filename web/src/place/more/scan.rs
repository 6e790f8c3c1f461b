//! Reading a code with the camera.

use std::cell::RefCell;
use std::rc::Rc;

use wasm_bindgen_futures::spawn_local;
use web_sys::HtmlVideoElement;
use yew::prelude::*;

use crate::look::{Button, Notice, Tone};
use crate::platform::camera::{Camera, Detector};
use crate::platform::clock::sleep;
use crate::words::t;

/// Between two looks at the picture, in milliseconds.
const BETWEEN: u32 = 200;

/// The button, and the camera's picture while it looks.
#[derive(Properties, PartialEq)]
pub(super) struct ScanProps {
    /// Told what a code says.
    pub(super) on_read: Callback<String>,
}

/// What the camera is doing.
#[derive(Clone, Copy, PartialEq)]
enum Looking {
    No,
    Yes,
    Cannot,
}

/// Scans a code.
#[component]
pub(super) fn Scan(props: &ScanProps) -> Html {
    let looking = use_state(|| Looking::No);
    let video = use_node_ref();
    let stopped = use_mut_ref(|| Rc::new(RefCell::new(true)));
    {
        let (video, looking, stopped, on_read) =
            (video.clone(), looking.clone(), stopped.clone(), props.on_read.clone());
        use_effect_with(*looking, move |now| {
            let stop = Rc::new(RefCell::new(false));
            *stopped.borrow_mut() = stop.clone();
            if let (Looking::Yes, Some(video)) = (*now, video.cast::<HtmlVideoElement>()) {
                let set = looking.setter();
                let ended = stop.clone();
                spawn_local(async move {
                    match look(&video, &ended).await {
                        Some(Some(text)) => {
                            set.set(Looking::No);
                            on_read.emit(text);
                        }
                        Some(None) => {}
                        None => set.set(Looking::Cannot),
                    }
                });
            }
            move || *stop.borrow_mut() = true
        });
    }
    let turn = |to: Looking| {
        let looking = looking.setter();
        Callback::from(move |_: MouseEvent| looking.set(to))
    };
    html! {
        if *looking == Looking::Yes {
            <video class="scan" ref={video} playsinline=true muted=true aria-label={t!("join.scan_hint")}></video>
            <p aria-live="polite">{ t!("join.scan_hint") }</p>
            <Button label={t!("join.scan_stop")} on_press={turn(Looking::No)} />
        } else {
            if *looking == Looking::Cannot {
                <Notice tone={Tone::Plain}>{ t!("join.no_camera") }</Notice>
            }
            <Button label={t!("join.scan")} on_press={turn(Looking::Yes)} />
        }
    }
}

/// Looks until a code is read (`Some(Some)`) or somebody stops it (`Some(None)`); `None` where there is no camera, or
/// nothing that reads codes.
async fn look(video: &HtmlVideoElement, stop: &RefCell<bool>) -> Option<Option<String>> {
    let detector = Detector::new().await?;
    let camera = Camera::open(video).await.ok()?;
    let mut read = None;
    while read.is_none() && !*stop.borrow() {
        read = detector.read(&camera).await;
        sleep(BETWEEN).await;
    }
    camera.stop();
    Some(read)
}
