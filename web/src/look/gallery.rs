//! Every part of the kit, for looking at. Only in builds for work; its samples are not words of the app.

use yew::prelude::*;

use super::*;

/// Which page of the gallery.
#[derive(Properties, PartialEq)]
pub struct GalleryProps {
    /// `list`, `parts`, `fields`, `empty`, `sheet` or `ask`.
    pub scene: AttrValue,
}

/// A page of the gallery, in the shell.
#[component]
pub fn Gallery(props: &GalleryProps) -> Html {
    let toasts = use_state(|| {
        vec![Toast { id: 1, text: "Carrots: got it".into(), undo: Some(("Undo".into(), Callback::noop())) }]
    });
    let gone = {
        let toasts = toasts.clone();
        Callback::from(move |id| toasts.set(toasts.iter().filter(|toast| toast.id != id).cloned().collect()))
    };
    let closed = use_state(|| false);
    let close = {
        let closed = closed.clone();
        Callback::from(move |()| closed.set(true))
    };
    let page = match props.scene.as_str() {
        "parts" => html! { <Parts /> },
        "fields" => html! { <Fields /> },
        "empty" => html! {
            <Empty title="No shopping trip yet" text="Settle the menus under Week, then start a trip from there." icon={Shape::Basket}>
                <LinkButton label="Go to Week" href="#week" kind={Kind::Main} />
            </Empty>
        },
        _ => html! { <List /> },
    };
    let below = (props.scene.as_str() == "list").then(|| {
        html! { { progress("11 left".into(), "$96.40 of $410.00".into(), 26, 37) } }
    });
    let sheet = match props.scene.as_str() {
        "sheet" if !*closed => sheet(&close),
        "ask" if !*closed => html! {
            <Confirm title="Withdraw access from Ines?" text="She keeps what she has already seen, and sees nothing new."
                deed="Withdraw access" leave="Leave it as it is" danger=true on_deed={close.clone()} on_leave={close.clone()} />
        },
        _ => Html::default(),
    };
    html! {
        <Shell
            title="Shopping trip"
            status="3 to send"
            word={Word::Waiting}
            skip="Skip to the page"
            actions={html! { <Button label="Search the list" bare=true icon={Shape::Search} kind={Kind::Quiet} /> }}
            below={below.unwrap_or_default()}
            places={places()}
            current="shop"
            places_label="Places"
            over={html! { <>
                { sheet }
                <Toasts items={if props.scene == "list" { (*toasts).clone() } else { vec![] }} label="Messages" close="Close" on_gone={gone} />
            </> }}
        >
            { page }
        </Shell>
    }
}

fn places() -> Vec<Place> {
    let place = |id: &'static str, label: &'static str, icon| Place {
        id: id.into(),
        href: format!("?at={id}").into(),
        label: label.into(),
        icon,
    };
    vec![
        place("week", "Week", Shape::Week),
        place("pantries", "Pantries", Shape::Shelf),
        place("shop", "Shop", Shape::Basket),
        place("more", "More", Shape::More),
    ]
}

/// The list in a shop, with everything a row can carry.
#[component]
fn List() -> Html {
    let part = |food: &'static str| html! { <Button label="Part, price, sub" name={format!("Part, price, sub: {food}")} bare=true icon={Shape::More} kind={Kind::Quiet} /> };
    html! {
        <div class="beside">
            <div>
                <Section title="Produce" count="3 left">
                    <TickRow name="Broccoli" take="3 bunches" lines={vec!["2 lb 6 oz by weight, for HS and KY".into()]} side={part("Broccoli")} />
                    <TickRow name="Carrots" take="2 lb bag" state={Ticked::Yes} lines={vec!["1 lb 12 oz, for HS".into(), "by you, 10:42".into()]} side={part("Carrots")} />
                    <TickRow name="Flat-leaf parsley" take="4 bunches" state={Ticked::Part} lines={vec!["Got 2, 2 to go".into()]} side={part("Parsley")} />
                    <TickRow name="Garlic" take="" lines={vec!["Make sure we have".into()]} side={part("Garlic")} />
                </Section>
                <Section title="Seafood" count="1 left">
                    <TickRow name="Salmon fillets, skin on" take="15 × 6 oz" lines={vec!["5 lb 10 oz, for LR, RW and SL".into()]}
                        badges={html! { <><Badge text="by weight" /><Badge text="cold" icon={Shape::Cold} /></> }}
                        side={part("Salmon")}
                        under={html! { <AllergyAlert title="Allergy alert" text="RW must not have crustacean shellfish: ask for a clean board and fresh gloves." /> }} />
                    <TickRow name="Peanut-and-sesame dressing for the overnight noodle bowls" take="2 bottles of 12 fl oz" lines={vec!["for KY".into()]}
                        badges={html! { <Badge text="no longer needed, but bought" tone={Tone::Care} icon={Shape::Care} /> }} side={part("Dressing")} />
                </Section>
                <Disclosure title="Got" count="26"><p>{ "Carrots" }</p></Disclosure>
            </div>
            <div class="beside-still stack">
                <Notice tone={Tone::Care} title="Cold food in the cart for 40 minutes">{ "Perishables out of the cold: no more than 2 hours." }</Notice>
            </div>
        </div>
    }
}

#[component]
fn Parts() -> Html {
    html! {
        <div class="stack-wide">
            <div class="strip">
                <Button label="Start the trip" kind={Kind::Main} icon={Shape::Basket} />
                <Button label="Plain" />
                <Button label="Quiet" kind={Kind::Quiet} />
                <Button label="Delete" kind={Kind::Danger} icon={Shape::Remove} />
                <Button label="Saving" busy=true />
                <Button label="Not now" disabled=true />
                <Button label="Print" bare=true icon={Shape::Print} />
            </div>
            <div class="strip">{ for SHAPES.iter().map(|shape| html! { { icon(*shape) } }) }</div>
            <div class="strip">
                <Badge text="sub cleared" tone={Tone::Well} icon={Shape::Tick} />
                <Badge text="below par" tone={Tone::Care} />
                <Badge text="bought twice" tone={Tone::Trouble} />
                <Badge text="by weight" />
            </div>
            <AllergyAlert title="Allergy alert" text="Ada: tree nuts. Green beans with almonds has almond." />
            <Notice title="Changed at home">{ "Onions: was 3 lb, now 5 lb." }</Notice>
            <Notice tone={Tone::Well} title="The trip is up to date" />
            <Notice tone={Tone::Care} title="Bought twice">
                <p>{ "You and Ines both bought it." }</p>
                <div class="strip"><Button label="Keep mine" /><Button label="Keep both" kind={Kind::Quiet} /></div>
            </Notice>
            <Notice tone={Tone::Trouble} title="This phone is not saving">{ "Free some space, or send it as a file." }</Notice>
            <Section title="Households" count="2">
                <Leads name="Lantern Row" text="3 diners" icon={Shape::People}><Badge text="allergies" /></Leads>
                <Leads name="Ropewalk" text="2 diners, vegetarian" icon={Shape::People} />
            </Section>
        </div>
    }
}

const SHAPES: [Shape; 26] = [
    Shape::Week,
    Shape::Shelf,
    Shape::Basket,
    Shape::More,
    Shape::Plus,
    Shape::Minus,
    Shape::Close,
    Shape::Tick,
    Shape::Allergy,
    Shape::Care,
    Shape::Note,
    Shape::Send,
    Shape::People,
    Shape::Search,
    Shape::Onward,
    Shape::Back,
    Shape::Undo,
    Shape::Clock,
    Shape::Cold,
    Shape::Edit,
    Shape::Remove,
    Shape::Print,
    Shape::Camera,
    Shape::Link,
    Shape::Fetch,
    Shape::Why,
];

#[component]
fn Fields() -> Html {
    let level = use_state(|| AttrValue::from("some"));
    let choose = {
        let level = level.clone();
        Callback::from(move |value| level.set(value))
    };
    let on = use_state(|| true);
    let turn = {
        let on = on.clone();
        Callback::from(move |value| on.set(value))
    };
    let levels = vec![
        Pick::new("plenty", "Plenty"),
        Pick::new("some", "Some"),
        Pick::new("out", "Out"),
        Pick::new("amount", "An amount"),
    ];
    html! {
        <div class="stack-wide">
            <Field label="Name of the household" value="Lantern Row" hint="What you call it" />
            <Field label="Price paid" value="4,9x" input={Input::Decimal} error={Some(AttrValue::from("“4,9x” is not a price. Write 3.49."))}>
                <Button label="Save" />
            </Field>
            <Field label="Cook on" value="2026-03-05" input={Input::Date} />
            <Choice label="Rolled oats" options={levels.clone()} value={(*level).clone()} on_choose={choose} />
            <Select label="Store" options={levels} value="some" />
            <Amount label="Portions" value="12" unit="portions" less="Fewer portions" more="More portions" />
            <Toggle label="Buy its food in packs of its own" hint="For an allergy, or a receipt of its own" on={*on} on_change={turn} />
            <TextArea label="Paste a recipe" value="# Lentil soup\nServes 6" hint="A title, “Serves 4”, then one ingredient a line" />
        </div>
    }
}

fn sheet(close: &Callback<()>) -> Html {
    html! {
        <Sheet title="Broccoli" close="Close" on_close={close.clone()} foot={html! { <><Button label="Save" kind={Kind::Main} /><Button label="Cancel" /></> }}>
            <AllergyAlert title="Allergy alert" text="KY must not have mustard. Read the label." urgent=true />
            <Amount label="How much?" value="2" unit="bunches" less="Less" more="More" />
            <Field label="Price paid" input={Input::Decimal} />
            <div class="stack">
                <Button label="None to be had" wide=true />
                <Button label="Found at home" wide=true />
                <Button label="Sub" wide=true />
            </div>
        </Sheet>
    }
}
