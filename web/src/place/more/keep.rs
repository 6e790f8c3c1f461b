//! Keeping the data: the home screen, and whether the browser may clear what is stored.

use wasm_bindgen_futures::spawn_local;
use yew::prelude::*;

use super::recovery::KEPT;
use crate::app::use_going;
use crate::desk::use_desk;
use crate::look::{Button, Kind, Notice, Tone};
use crate::platform::install::{self, Install};
use crate::platform::persist;
use crate::words::t;

/// Whether the person would rather not have the app on the home screen.
const NOT_NOW: &str = "install";

/// The browser's offer to install the app, drawn anew when one comes or goes.
#[hook]
fn use_install() -> std::rc::Rc<std::cell::RefCell<Option<Install>>> {
    let held = use_mut_ref(|| None::<Install>);
    let changed = use_state(|| 0_u32);
    {
        let (held, changed) = (held.clone(), changed.setter());
        use_effect_with((), move |()| {
            let count = std::cell::Cell::new(0);
            let redraw = changed.clone();
            let watch = Install::watch(move || {
                count.set(count.get() + 1);
                redraw.set(count.get());
            });
            held.borrow_mut().replace(watch);
            changed.set(u32::MAX);
            let held = held.clone();
            move || drop(held.borrow_mut().take())
        });
    }
    held
}

/// Offers the home screen, once there is something worth keeping.
#[derive(Properties, PartialEq)]
pub(super) struct InstallProps {
    /// It may be put away.
    #[prop_or_default]
    pub(super) once: bool,
}

/// The offer; nothing where the app is on the home screen already, or the browser has no way.
#[component]
pub(super) fn OfferInstall(props: &InstallProps) -> Html {
    let desk = use_desk();
    let install = use_install();
    let offered = install.borrow().as_ref().is_some_and(Install::offered);
    let put_away = props.once && desk.preference(NOT_NOW).is_some();
    if install::standalone() || put_away || !(offered || install::is_ios()) {
        return Html::default();
    }
    let prompt = Callback::from(move |_: MouseEvent| {
        let Some(install) = install.borrow_mut().take() else { return };
        spawn_local(async move {
            // Either answer is the person's.
            let _ = install.prompt().await;
        });
    });
    let not_now = Callback::from(move |_: MouseEvent| desk.prefer(NOT_NOW, "no"));
    html! {
        <Notice tone={Tone::Plain} title={t!("common.install_title")}>
            <p>{ t!("common.install_text") }</p>
            if offered {
                <Button label={t!("common.install_now")} kind={Kind::Main} on_press={prompt} />
            } else {
                <p>{ t!("common.install_ios") }</p>
                <p>{ t!("join.ios") }</p>
            }
            if props.once { <Button label={t!("common.not_now")} kind={Kind::Quiet} on_press={not_now} /> }
        </Notice>
    }
}

/// Reminds of the recovery code, for as long as it was not kept: for the chef's own data alone.
#[component]
pub(super) fn RemindCode() -> Html {
    let (desk, going) = (use_desk(), use_going());
    let demo = desk.preference("demo").is_some_and(|demo| !demo.is_empty());
    let has_code = desk.read(|device| device.recovery_code().is_some());
    if demo || !has_code || desk.preference(KEPT).is_some() {
        return Html::default();
    }
    html! {
        <Notice tone={Tone::Care} title={t!("share.recovery")}>
            <p>{ t!("share.recovery_text") }</p>
            <Button label={t!("share.recovery_show")} on_press={going.to("more/recovery")} />
        </Notice>
    }
}

/// What the browser says of the storage.
#[derive(Clone, Copy, Default, PartialEq)]
struct Kept {
    asked: bool,
    granted: Option<bool>,
    room: Option<persist::Room>,
}

/// How much is stored, and whether the browser may clear it.
#[component]
pub(super) fn Storage() -> Html {
    let kept = use_state(Kept::default);
    {
        let kept = kept.setter();
        use_effect_with((), move |()| spawn_local(async move { kept.set(look(false).await) }));
    }
    let ask = {
        let kept = kept.setter();
        Callback::from(move |_: MouseEvent| {
            let kept = kept.clone();
            spawn_local(async move {
                persist::ask().await;
                kept.set(look(true).await);
            });
        })
    };
    let may_clear = kept.granted == Some(false);
    html! {
        <div class="stack">
            if let Some(room) = kept.room {
                <p>{ t!("settings.storage_used", used = size(room.used), all = size(room.quota)) }</p>
            }
            if kept.granted == Some(true) { <p>{ t!("settings.storage_kept") }</p> }
            if may_clear { <p>{ t!("settings.storage_may_clear") }</p> }
            if install::is_ios() && !install::standalone() { <p>{ t!("settings.storage_ios") }</p> }
            if may_clear && kept.asked { <p aria-live="polite">{ t!("settings.storage_refused") }</p> }
            if may_clear && !kept.asked {
                <div class="strip"><Button label={t!("settings.storage_ask")} on_press={ask} /></div>
            }
        </div>
    }
}

async fn look(asked: bool) -> Kept {
    Kept { asked, granted: persist::granted().await, room: persist::room().await }
}

/// A size in the unit that it fills, in tens of it below ten: `3.4 MB`.
fn size(bytes: u64) -> String {
    const UNITS: [(&str, u64); 3] = [("GB", 1_000_000_000), ("MB", 1_000_000), ("kB", 1_000)];
    let fits = UNITS.into_iter().find(|(_, unit)| bytes >= *unit);
    match fits {
        Some((name, unit)) if bytes < 10 * unit => format!("{}.{} {name}", bytes / unit, bytes % unit * 10 / unit),
        Some((name, unit)) => format!("{} {name}", bytes / unit),
        None => format!("{bytes} B"),
    }
}

#[cfg(test)]
mod tests {
    use super::size;

    #[test]
    fn sizes_are_told_in_the_unit_they_fill() {
        let table = [(0, "0 B"), (999, "999 B"), (1_250, "1.2 kB"), (34_000_000, "34 MB"), (9_999_999_999, "9.9 GB")];
        for (bytes, text) in table {
            assert_eq!(size(bytes), text);
        }
    }
}
