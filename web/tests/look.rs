//! The kit's parts in a browser: their names, their states, and where the focus goes.
#![cfg(target_arch = "wasm32")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a panic here is a failed check")]

use std::cell::RefCell;
use std::rc::Rc;
use std::time::Duration;

use trug_web::look::{
    Button, Choice, ChoiceProps, Field, Pick, Place, Shape, Sheet, Shell, ShellProps, TickRow, Ticked, Toast, Toasts,
};
use wasm_bindgen::JsCast;
use wasm_bindgen_test::{wasm_bindgen_test, wasm_bindgen_test_configure};
use web_sys::{Element, HtmlDialogElement, HtmlElement, HtmlInputElement};
use yew::prelude::*;

wasm_bindgen_test_configure!(run_in_browser);

/// Whatever is to be looked at.
#[derive(Properties, PartialEq)]
struct HostProps {
    children: Html,
}

#[component]
fn Host(props: &HostProps) -> Html {
    props.children.clone()
}

/// A part on the page, and the place it stands in.
struct Shown {
    root: Element,
    app: yew::AppHandle<Host>,
}

impl Shown {
    async fn of(children: Html) -> Self {
        let document = gloo::utils::document();
        let root = document.create_element("div").unwrap();
        document.body().unwrap().append_child(&root).unwrap();
        let app = yew::Renderer::<Host>::with_root_and_props(root.clone(), HostProps { children }).render();
        settle().await;
        Self { root, app }
    }

    fn find<T: JsCast>(&self, what: &str) -> T {
        let found = self.root.query_selector(what).unwrap();
        found.unwrap_or_else(|| panic!("no {what} in {}", self.root.inner_html())).dyn_into().unwrap()
    }

    async fn press(&self, what: &str) {
        self.find::<HtmlElement>(what).click();
        settle().await;
    }

    async fn gone(self) {
        self.app.destroy();
        self.root.remove();
        settle().await;
    }
}

/// Yew draws between tasks; events of a dialog come in tasks of their own.
async fn settle() {
    yew::platform::time::sleep(Duration::from_millis(30)).await;
}

/// What a callback was told.
fn told<T: 'static>() -> (Rc<RefCell<Vec<T>>>, Callback<T>) {
    let told = Rc::new(RefCell::new(Vec::new()));
    let tell = Callback::from({
        let told = told.clone();
        move |what| told.borrow_mut().push(what)
    });
    (told, tell)
}

/// The words of the elements that an attribute names.
fn words_of(element: &Element, attribute: &str) -> String {
    let ids = element.get_attribute(attribute).unwrap_or_default();
    let word = |id: &str| gloo::utils::document().get_element_by_id(id).and_then(|element| element.text_content());
    ids.split_whitespace().filter_map(word).collect::<Vec<_>>().join(" ")
}

#[wasm_bindgen_test]
async fn a_row_is_a_checkbox_named_by_the_food() {
    let (ticks, on_tick) = told();
    let shown = Shown::of(html! {
        <TickRow name="Broccoli" take="3 bunches" lines={vec![AttrValue::from("for HS")]} {on_tick} />
    })
    .await;
    let field: HtmlInputElement = shown.find("input");
    assert_eq!(field.type_(), "checkbox");
    assert_eq!(words_of(&field, "aria-labelledby"), "Broccoli 3 bunches");
    assert_eq!(words_of(&field, "aria-describedby"), "for HS");
    // All of the row's words tick it.
    shown.press(".tick-more").await;
    assert_eq!(*ticks.borrow(), [true]);
    shown.gone().await;
}

#[wasm_bindgen_test]
async fn a_part_is_half_ticked() {
    let shown = Shown::of(html! { <TickRow name="Parsley" state={Ticked::Part} /> }).await;
    let field: HtmlInputElement = shown.find("input");
    assert!(field.indeterminate() && !field.checked());
    shown.gone().await;
}

#[wasm_bindgen_test]
async fn a_sheet_takes_the_focus_and_gives_it_back() {
    let below = Shown::of(html! { <Button label="Open" /> }).await;
    let opener: HtmlElement = below.find("button");
    opener.focus().unwrap();
    let (closed, on_close) = told();
    let sheet = Shown::of(html! { <Sheet title="Broccoli" close="Close" {on_close}>{ "Part" }</Sheet> }).await;
    let dialog: HtmlDialogElement = sheet.find("dialog");
    assert!(dialog.open() && dialog.matches(":modal").unwrap());
    assert_eq!(words_of(&dialog, "aria-labelledby"), "Broccoli");
    let active = gloo::utils::document().active_element().unwrap();
    assert!(dialog.contains(Some(&active)), "the focus is outside");

    sheet.press("button").await;
    assert_eq!(closed.borrow().len(), 1, "the cross");
    // As the Escape key does.
    dialog.close();
    settle().await;
    assert_eq!(closed.borrow().len(), 2, "the browser's own way");

    sheet.gone().await;
    let active = gloo::utils::document().active_element().unwrap();
    assert!(active.is_same_node(Some(&opener)), "the focus did not come back");
    below.gone().await;
}

#[wasm_bindgen_test]
async fn a_sheet_taken_away_gives_the_focus_back() {
    let below = Shown::of(html! { <Button label="Open" /> }).await;
    let opener: HtmlElement = below.find("button");
    opener.focus().unwrap();
    let (_, on_close) = told();
    let sheet = Shown::of(html! { <Sheet title="Broccoli" {on_close} /> }).await;
    sheet.gone().await;
    let active = gloo::utils::document().active_element().unwrap();
    assert!(active.is_same_node(Some(&opener)));
    below.gone().await;
}

#[wasm_bindgen_test]
async fn a_field_says_what_is_wrong_with_it() {
    let shown = Shown::of(html! {
        <Field label="Price" value="x" hint="As on the shelf" error="Write 3.49." />
    })
    .await;
    let field: HtmlInputElement = shown.find("input");
    let label: Element = shown.find("label");
    assert_eq!(label.get_attribute("for").unwrap(), field.id());
    assert_eq!(field.get_attribute("aria-invalid").as_deref(), Some("true"));
    assert_eq!(words_of(&field, "aria-describedby"), "As on the shelf Write 3.49.");
    shown.gone().await;
}

#[wasm_bindgen_test]
async fn one_of_a_few_is_told() {
    let (chosen, on_choose) = told();
    let props = ChoiceProps {
        label: "Oats".into(),
        options: vec![Pick::new("some", "Some"), Pick::new("out", "Out")],
        value: "some".into(),
        on_choose,
        hint: None,
        hide_label: false,
        disabled: false,
    };
    let shown = Shown::of(html! { <Choice ..props /> }).await;
    assert!(shown.find::<HtmlInputElement>("input[value=some]").checked());
    shown.press("input[value=out]").await;
    assert_eq!(*chosen.borrow(), [AttrValue::from("out")]);
    shown.gone().await;
}

#[wasm_bindgen_test]
async fn a_message_can_be_undone() {
    let (undone, undo) = told();
    let (gone, on_gone) = told();
    let items = vec![Toast { id: 7, text: "Carrots: got it".into(), undo: Some(("Undo".into(), undo)) }];
    let shown = Shown::of(html! { <Toasts {items} label="Messages" close="Close" {on_gone} /> }).await;
    assert_eq!(shown.find::<Element>("[role=log]").get_attribute("aria-live").as_deref(), Some("polite"));
    shown.press("button").await;
    assert_eq!((undone.borrow().len(), gone.borrow().clone()), (1, vec![7]));
    shown.gone().await;
}

#[wasm_bindgen_test]
async fn a_button_at_work_hears_nothing() {
    let (pressed, on_press) = told();
    let shown = Shown::of(html! { <Button label="Save" busy=true {on_press} /> }).await;
    shown.press("button").await;
    assert!(pressed.borrow().is_empty());
    shown.gone().await;
}

#[wasm_bindgen_test]
async fn the_shell_has_one_navigation_and_one_status() {
    let place =
        |id: &'static str, icon| Place { id: id.into(), href: format!("?at={id}").into(), label: id.into(), icon };
    let (went, on_go) = told();
    let props = yew::props!(ShellProps {
        title: "Shop",
        status: "sent",
        places: vec![place("week", Shape::Week), place("shop", Shape::Basket)],
        current: "shop",
        places_label: "Places",
        on_go: on_go,
    });
    let shown = Shown::of(html! { <Shell ..props /> }).await;
    let page = shown.root.inner_html();
    for once in ["<nav", "role=\"status\"", "<main", "<h1"] {
        assert_eq!(page.matches(once).count(), 1, "{once}");
    }
    assert_eq!(shown.find::<Element>("[aria-current=page]").text_content().as_deref(), Some("shop"));
    shown.press("a[href='?at=week']").await;
    assert_eq!(*went.borrow(), [AttrValue::from("week")]);
    shown.gone().await;
}
