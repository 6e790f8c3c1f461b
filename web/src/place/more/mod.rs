//! Behind More: sharing, the folder, recovery, settings.

mod about;
mod archive;
mod demo;
pub mod folder;
mod head;
mod join;
mod keep;
mod page;
mod pick;
mod raw;
mod recovery;
mod relay;
mod scan;
mod sealed;
mod settings;
mod share;

pub use demo::DemoMark;
pub use join::Join;
pub(in crate::place) use pick::PickFile;
pub use raw::RawExport;

use trug_device::{DocId, Entry};
use trug_seal::DocumentKind;
use yew::prelude::*;

use crate::app::use_going;
use crate::desk::{Desk, use_desk};
use crate::look::{Section, Shape};
use crate::place::links::Row;
use crate::place::welcome::Beginning;
use crate::words::t;

use folder::FolderPage;
use keep::{OfferInstall, RemindCode};
use page::Page;
use recovery::RecoveryPage;
use relay::RelayPage;
use sealed::OpenSealed;
use settings::SettingsPage;
use share::SharePage;

/// The screen. `rest` is what follows the place's name in the address.
#[derive(Properties, PartialEq)]
pub struct MoreProps {
    /// Where in the place.
    #[prop_or_default]
    pub rest: AttrValue,
}

/// The screen.
#[component]
pub fn More(props: &MoreProps) -> Html {
    let (page, rest) = props.rest.split_once('/').unwrap_or((&props.rest, ""));
    match page {
        "share" => html! { <SharePage id={DocId::from(rest)} /> },
        "join" => html! { <Join /> },
        "begin" => html! { <Begin /> },
        "relay" => html! { <RelayPage /> },
        "folder" => html! { <FolderPage /> },
        "recovery" => html! { <RecoveryPage /> },
        "settings" => html! { <SettingsPage /> },
        _ => html! { <Index /> },
    }
}

/// What is behind More.
#[component]
fn Index() -> Html {
    let desk = use_desk();
    let chef = desk.is_chef();
    html! {
        <Page title={t!("settings.title")} top=true>
            <DemoMark />
            <RemindCode />
            <OfferInstall once=true />
            <Section title={t!("share.title")}>
                { for shared(&desk).iter().map(|entry| html! { <Shared key={entry.id.as_str()} entry={entry.clone()} /> }) }
                <Row to="more/join" name={t!("start.link")} text={t!("share.join_text")} icon={Some(Shape::Link)} />
                if chef { <Row to="more/relay" name={t!("share.relay")} text={relay_now(&desk)} icon={Some(Shape::Send)} /> }
            </Section>
            <Section title={t!("share.file_title")} bare=true>
                <div class="stack">
                    <p>{ t!("share.file_open_text") }</p>
                    <OpenSealed />
                </div>
            </Section>
            <Section title={t!("settings.kitchen")}>
                if !chef {
                    <Row to="more/begin" name={t!("settings.begin")} text={t!("start.empty_text")} icon={Some(Shape::Week)} />
                }
                <Row to="more/folder" name={t!("settings.folder")} text={t!("settings.folder_row")} icon={Some(Shape::Fetch)} />
                <Row to="more/recovery" name={t!("share.recovery")} text={t!("share.recovery_row")} icon={Some(Shape::Print)} />
            </Section>
            <Section title={t!("settings.settings")}>
                <Row to="more/settings" name={t!("settings.settings")} text={t!("settings.settings_row")} icon={Some(Shape::Edit)} />
            </Section>
        </Page>
    }
}

fn relay_now(desk: &Desk) -> AttrValue {
    desk.read(|device| device.relay().map(|at| at.to_string().into())).unwrap_or_else(|| t!("share.relay_none"))
}

/// What can be shared, trips that are still going on first; a trip that is over stands here for as long as somebody else
/// can open it.
fn shared(desk: &Desk) -> Vec<Entry> {
    let over = |entry: &Entry| entry.kind == DocumentKind::Run && desk.read(|device| device.is_finished(&entry.id));
    let mut entries = desk.entries();
    entries.retain(|entry| !over(entry) || !share::names(desk, &entry.id).is_empty());
    entries.sort_by_key(|entry| match entry.kind {
        DocumentKind::Run => 0,
        DocumentKind::Pantry => 1,
        DocumentKind::Book => 2,
    });
    entries
}

/// One document, with who else can open it.
#[derive(PartialEq, Properties)]
struct SharedProps {
    entry: Entry,
}

/// The row of one document.
#[component]
fn Shared(props: &SharedProps) -> Html {
    let desk = use_desk();
    let entry = &props.entry;
    let names = share::names(&desk, &entry.id);
    let text = match entry.owned || entry.kind == DocumentKind::Book {
        false => t!("share.invited"),
        true if names.is_empty() => t!("share.access_none"),
        true => t!("share.shared_with", who = names.join(", ")),
    };
    let icon = match entry.kind {
        DocumentKind::Run => Shape::Basket,
        DocumentKind::Pantry => Shape::Shelf,
        DocumentKind::Book => Shape::People,
    };
    html! { <Row to={format!("more/share/{}", entry.id)} name={share::title_of(&desk, entry)} {text} icon={Some(icon)} /> }
}

/// A kitchen of one's own, for somebody who was a helper so far.
#[component]
fn Begin() -> Html {
    let going = use_going();
    let back = Callback::from(move |()| going.go.emit("more".to_owned()));
    html! { <Page title={t!("settings.begin")}><Beginning on_back={back} /></Page> }
}
