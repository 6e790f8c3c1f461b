//! The kitchen folder as a zip file: in and out.

use trug_folder::Files;
use wasm_bindgen_futures::spawn_local;
use web_sys::File;
use yew::prelude::*;

use super::archive::{self, LARGEST};
use super::page::{Outcome, Page, Saying};
use super::pick::PickFile;
use crate::app::use_going;
use crate::desk::{Desk, use_desk};
use crate::look::{Button, Confirm, Kind, Section, Shape};
use crate::platform::share::{self, Parcel};
use crate::platform::{files, persist};
use crate::words::t;

/// The button.
#[derive(Properties, PartialEq)]
pub struct BringInProps {
    /// On first open, where there is nothing to replace.
    #[prop_or_default]
    pub first: bool,
}

/// What bringing in has come to.
#[derive(Clone, PartialEq)]
enum Bringing {
    Waiting,
    Reading,
    /// Read, and waiting for leave to replace what is here.
    Asking(Read),
    Told(Outcome),
}

/// A folder that was read; each reading is another.
#[derive(Clone)]
struct Read(std::rc::Rc<Files>);

impl PartialEq for Read {
    fn eq(&self, other: &Self) -> bool {
        std::rc::Rc::ptr_eq(&self.0, &other.0)
    }
}

/// Brings in a kitchen folder from a zip file.
#[component]
pub fn BringIn(props: &BringInProps) -> Html {
    let (desk, going) = (use_desk(), use_going());
    let bringing = use_state(|| Bringing::Waiting);
    let bring = {
        let (desk, bringing, go) = (desk.clone(), bringing.setter(), going.go.clone());
        Callback::from(move |files: Files| match bring_in(&desk, &files) {
            Ok(()) => {
                bringing.set(Bringing::Told(Outcome::Done(t!("start.folder_in"))));
                go.emit("week".to_owned());
            }
            Err(why) => bringing.set(Bringing::Told(Outcome::Wrong(why))),
        })
    };
    let on_files = {
        let (bringing, bring) = (bringing.setter(), bring.clone());
        let replaces = !props.first && desk.is_chef();
        Callback::from(move |chosen: Vec<File>| {
            let Some(file) = chosen.into_iter().next() else { return };
            let (bringing, bring) = (bringing.clone(), bring.clone());
            bringing.set(Bringing::Reading);
            spawn_local(async move {
                match read(&file).await {
                    Ok(files) if replaces => bringing.set(Bringing::Asking(Read(files.into()))),
                    Ok(files) => bring.emit(files),
                    Err(why) => bringing.set(Bringing::Told(Outcome::Wrong(why.into()))),
                }
            });
        })
    };
    let leave = {
        let bringing = bringing.setter();
        Callback::from(move |()| bringing.set(Bringing::Waiting))
    };
    let outcome = if let Bringing::Told(outcome) = &*bringing { Some(outcome.clone()) } else { None };
    let label = if props.first { t!("start.folder") } else { t!("settings.folder_in") };
    let text = if props.first { t!("start.folder_text") } else { t!("settings.folder_in_text") };
    html! {
        <div class="welcome-choice">
            <PickFile
                {label}
                accept=".zip,application/zip"
                kind={if props.first { Kind::Main } else { Kind::Plain }}
                wide={props.first}
                busy={*bringing == Bringing::Reading}
                {on_files}
            />
            <p>{ text }</p>
            <Saying {outcome} />
            if let Bringing::Asking(Read(files)) = &*bringing {
                <Confirm
                    title={t!("settings.folder_replace")}
                    text={t!("settings.folder_replace_text")}
                    deed={t!("settings.folder_replace_now")}
                    leave={t!("common.leave")}
                    danger=true
                    on_deed={bring.reform({ let files = files.clone(); move |()| (*files).clone() })}
                    on_leave={leave}
                />
            }
        </div>
    }
}

async fn read(file: &File) -> Result<Files, String> {
    let zip = files::read(file, LARGEST).await.map_err(|error| error.to_string())?;
    archive::folder_in(&zip).map_err(|error| error.to_string())
}

/// Takes a folder in whole, or leaves everything as it is and says what is wrong, one thing a line.
fn bring_in(desk: &Desk, files: &Files) -> Result<(), AttrValue> {
    if let Err(problems) = trug_folder::read(files) {
        let count = problems.iter().count();
        return Err(format!("{}\n{problems}", t!("start.folder_wrong", count = count)).into());
    }
    desk.act(|device, now, out| device.import(now, files, out)).map_err(|error| AttrValue::from(error.to_string()))?;
    // What was brought in is the person's own, whatever was here before; and it is worth keeping.
    if desk.preference("demo").is_some_and(|demo| !demo.is_empty()) {
        desk.prefer("demo", "");
    }
    spawn_local(async {
        persist::ask().await;
    });
    Ok(())
}

/// The page: out and in.
#[component]
pub(super) fn FolderPage() -> Html {
    let desk = use_desk();
    let outcome = use_state(|| None::<Outcome>);
    let save = {
        let (desk, outcome) = (desk.clone(), outcome.setter());
        Callback::from(move |_: MouseEvent| {
            let (parcel, outcome) = (folder_parcel(&desk), outcome.clone());
            spawn_local(async move { outcome.set(given(parcel, &t!("settings.folder")).await) });
        })
    };
    html! {
        <Page title={t!("settings.folder")}>
            <p>{ t!("settings.folder_text") }</p>
            if desk.is_chef() {
                <Section title={t!("settings.folder_save")} bare=true>
                    <div class="stack">
                        <p>{ t!("settings.folder_save_text") }</p>
                        <div class="strip">
                            <Button label={t!("settings.folder_save")} icon={Shape::Send} kind={Kind::Main} on_press={save} />
                        </div>
                        <Saying outcome={(*outcome).clone()} />
                    </div>
                </Section>
            }
            <Section title={t!("settings.folder_in")} bare=true><BringIn /></Section>
        </Page>
    }
}

fn folder_parcel(desk: &Desk) -> Result<Parcel, String> {
    let folder = desk.read(trug_device::Device::folder);
    let zip = archive::pack(folder.iter().map(|(path, text)| (path.as_str(), text.as_bytes())));
    let bytes = zip.map_err(|error| error.to_string())?;
    Ok(Parcel { name: "kitchen.zip".to_owned(), kind: "application/zip".to_owned(), bytes })
}

/// Gives a parcel to the share sheet or to the downloads, and says what came of it.
pub(super) async fn given(parcel: Result<Parcel, String>, title: &str) -> Option<Outcome> {
    let given = match parcel {
        Ok(parcel) => share::give(&parcel, title).await,
        Err(why) => return Some(Outcome::Wrong(why.into())),
    };
    match given {
        Ok(share::Outcome::Shared) => Some(Outcome::Done(t!("common.file_given"))),
        Ok(share::Outcome::Downloaded) => Some(Outcome::Done(t!("common.file_saved"))),
        Ok(share::Outcome::Cancelled) => None,
        Err(error) => Some(Outcome::wrong(&error)),
    }
}
