//! A button that asks for a file.

use web_sys::{Event, File, HtmlInputElement};
use yew::prelude::*;

use crate::look::{Button, Kind, Shape};
use crate::platform::files;

/// The button.
#[derive(Properties, PartialEq)]
pub(in crate::place) struct PickFileProps {
    /// What it does.
    pub(in crate::place) label: AttrValue,
    /// Which files, as an `<input type="file">` has it.
    #[prop_or_default]
    pub(in crate::place) accept: AttrValue,
    #[prop_or_default]
    pub(in crate::place) kind: Kind,
    #[prop_or(Shape::Fetch)]
    pub(in crate::place) icon: Shape,
    #[prop_or_default]
    pub(in crate::place) wide: bool,
    #[prop_or_default]
    pub(in crate::place) busy: bool,
    /// Told which were chosen.
    pub(in crate::place) on_files: Callback<Vec<File>>,
}

/// The browser's own field for files cannot be styled or translated: it is hidden, and a button opens it.
#[component]
pub(in crate::place) fn PickFile(props: &PickFileProps) -> Html {
    let input = use_node_ref();
    let open = {
        let input = input.clone();
        Callback::from(move |_: MouseEvent| {
            if let Some(input) = input.cast::<HtmlInputElement>() {
                input.click();
            }
        })
    };
    let onchange = props.on_files.reform(|event: Event| {
        event.target_dyn_into::<HtmlInputElement>().map(|input| files::chosen(&input)).unwrap_or_default()
    });
    html! { <>
        <input ref={input} type="file" accept={&props.accept} aria-label={&props.label} hidden=true {onchange} />
        <Button
            label={&props.label}
            kind={props.kind}
            icon={props.icon}
            wide={props.wide}
            busy={props.busy}
            on_press={open}
        />
    </> }
}
