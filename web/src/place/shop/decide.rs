//! Where two devices said different things, a person is asked.

use std::rc::Rc;

use trug_replica::id::DeviceId;
use trug_replica::run::{About, Claimed, Conflict, Line};
use yew::prelude::*;

use super::hands::Hands;
use super::scene::section_name;
use super::seen::Seen;
use crate::look::{Button, Notice, Tone};
use crate::words::t;

#[derive(Properties, PartialEq)]
pub(super) struct DecideProps {
    pub(super) hands: Hands,
    pub(super) seen: Rc<Seen>,
}

/// All that has to be decided, each with its answers as buttons.
#[component]
pub(super) fn Decide(props: &DecideProps) -> Html {
    html! { <>{ for props.seen.conflicts.iter().map(|conflict| one(props, conflict)) }</> }
}

fn one(props: &DecideProps, conflict: &Conflict) -> Html {
    let (title, answers) = match &conflict.about {
        About::Line(id) => {
            let lines = props
                .hands
                .desk
                .read(|device| device.run(&props.hands.id).map(|run| run.line_values(id)).unwrap_or_default());
            let food = lines.first().map(|line| line.food().to_owned()).unwrap_or_default();
            let answers = lines.into_iter().map(|line| {
                let (hands, id) = (props.hands.clone(), id.clone());
                let text = line_text(props, &line);
                answer(text, move || drop(hands.settle(&id, &line)))
            });
            (t!("shop.two_lines", food = food), answers.collect::<Html>())
        }
        About::Claim(what) => {
            let answers = conflict.values.iter().map(|value| {
                let device = value.parse::<DeviceId>().ok();
                let text = device.map_or_else(|| t!("shop.nobody"), |device| props.seen.who.person(device).into());
                let (hands, what) = (props.hands.clone(), what.clone());
                answer(text, move || drop(hands.claim(std::slice::from_ref(&what), device)))
            });
            (t!("shop.two_claims", what = claimed(props, what)), answers.collect::<Html>())
        }
        About::Title => {
            let answers = conflict.values.iter().map(|value| {
                let (hands, title) = (props.hands.clone(), value.clone());
                answer(value.clone().into(), move || drop(hands.name(&title)))
            });
            (t!("shop.two_titles"), answers.collect::<Html>())
        }
        // A name is its own device's to settle, and of two facts under one id both are believed.
        About::Name(_) | About::Fact(..) => return Html::default(),
    };
    html! { <Notice tone={Tone::Care} {title}><div class="strip">{ answers }</div></Notice> }
}

fn answer(label: AttrValue, settle: impl Fn() + 'static) -> Html {
    let on_press = Callback::from(move |_: MouseEvent| settle());
    html! { <Button {label} {on_press} /> }
}

/// What tells one value of a line from another.
fn line_text(props: &DecideProps, line: &Line) -> AttrValue {
    let who = &props.seen.who;
    match line {
        Line::Planned(line) => {
            let whom = who.shares(&line.shares).unwrap_or_default();
            let want = line.want.map(|want| who.amount(want)).unwrap_or_default();
            let words: Vec<String> =
                [line.text.clone(), want, whom].into_iter().filter(|word| !word.is_empty()).collect();
            words.join(" · ").into()
        }
        Line::ByHand(line) => format!("{} {}", line.food, line.text).into(),
    }
}

fn claimed(props: &DecideProps, what: &Claimed) -> String {
    match what {
        Claimed::Line(id) => {
            let food = props.seen.line(id).and_then(|view| view.line.as_deref()).map(|line| line.food().to_owned());
            food.unwrap_or_default()
        }
        Claimed::Section(section) => section_name(section).to_string(),
        Claimed::Store(store) => store.clone(),
    }
}
