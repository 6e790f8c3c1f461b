//! The recovery code: shown, printed, and what else it takes to come back.

use yew::prelude::*;

use super::page::Page;
use super::relay::RelaySees;
use super::sealed::{OpenSealed, SaveBackup};
use crate::desk::use_desk;
use crate::look::{Button, Kind, Notice, Section, Shape, Tone};
use crate::place::links::Row;
use crate::platform::share;
use crate::words::t;

/// Whether the person has said that the code is kept safe.
pub(super) const KEPT: &str = "recovery";

/// The page.
#[component]
pub(super) fn RecoveryPage() -> Html {
    let desk = use_desk();
    let shown = use_state(|| false);
    let code = desk.read(|device| device.recovery_code());
    let coming = desk.is_chef() && desk.read(|device| device.folder().is_empty());
    let show = {
        let shown = shown.setter();
        Callback::from(move |_: MouseEvent| shown.set(true))
    };
    html! {
        <Page title={t!("share.recovery")}>
            if coming {
                <Notice tone={Tone::Plain} title={t!("join.recovered")}>{ t!("join.recovered_text") }</Notice>
            }
            if let Some(code) = code {
                <p>{ t!("share.recovery_text") }</p>
                if *shown {
                    <Code groups={code.groups().map(|group| group.to_string()).collect::<Vec<_>>()} />
                } else {
                    <div class="strip"><Button label={t!("share.recovery_show")} kind={Kind::Main} on_press={show} /></div>
                }
            } else {
                <p>{ t!("share.recovery_none") }</p>
            }
            <p class="no-paper">{ t!("join.recover_needs") }</p>
            <Section title={t!("share.backup_title")} bare=true>
                <div class="stack no-paper">
                    if desk.is_chef() {
                        <p>{ t!("share.backup_text") }</p>
                        <SaveBackup />
                    }
                    <OpenSealed />
                </div>
            </Section>
            if !desk.is_chef() {
                <Section title={t!("start.recover")}>
                    <Row to="more/join/recover" name={t!("start.recover")} icon={Some(Shape::Fetch)} />
                </Section>
            }
            <div class="no-paper"><RelaySees /></div>
        </Page>
    }
}

#[derive(Properties, PartialEq)]
struct CodeProps {
    groups: Vec<String>,
}

/// The code's groups, two on a line, each with its number: a slip is reported by it.
#[component]
fn Code(props: &CodeProps) -> Html {
    let desk = use_desk();
    let print = Callback::from(|_: MouseEvent| {
        // A browser that prints nothing leaves the code to be written down.
        let _ = share::print();
    });
    let kept = {
        let desk = desk.clone();
        Callback::from(move |_: MouseEvent| desk.prefer(KEPT, "kept"))
    };
    html! {
        <div class="stack">
            <ol class="recovery fixed" aria-label={t!("share.recovery")}>
                { for props.groups.iter().map(|group| html! { <li>{ group.clone() }</li> }) }
            </ol>
            <p class="paper-only">{ t!("share.recovery_paper") }</p>
            <Notice tone={Tone::Care}>{ t!("share.recovery_secret") }</Notice>
            <div class="strip">
                <Button label={t!("common.print")} icon={Shape::Print} on_press={print} />
                if desk.preference(KEPT).is_none() {
                    <Button label={t!("share.recovery_kept")} kind={Kind::Main} on_press={kept} />
                }
            </div>
        </div>
    }
}
