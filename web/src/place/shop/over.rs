//! What lies over the list, and what the second module says on it.

use std::rc::Rc;

use trug_replica::id::LineId;
use yew::prelude::*;

use super::decide::Decide;
use super::hand::Add;
use super::hands::Hands;
use super::line::{Done, LineSheet};
use super::purse::Purse;
use super::scene::Group;
use super::seen::Seen;
use super::split::{Split, Stores};
use super::till::{PurseSheet, Till};
use super::tools::{Finish, Tools};
use super::trip::{here_key, undo};
use crate::look::{Button, Notice};
use crate::words::t;

/// What lies over the list.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Over {
    Nothing,
    /// Not over it, but on it.
    Decide,
    Line(LineId),
    Add,
    Tools,
    Split,
    Stores,
    Till,
    Purse,
    Finish,
}

/// What lies over the list just now, with all that it needs.
#[derive(Clone, PartialEq)]
pub struct OverList {
    pub(super) what: Over,
    pub(super) hands: Hands,
    pub(super) seen: Rc<Seen>,
    pub(super) purse: Option<Rc<Purse>>,
    pub(super) on_over: Callback<Over>,
    pub(super) say: Callback<(AttrValue, Option<Callback<()>>)>,
}

impl OverList {
    /// Draws it.
    pub(crate) fn draw(&self) -> Html {
        let on_close = self.on_over.reform(|()| Over::Nothing);
        let (hands, seen) = (self.hands.clone(), self.seen.clone());
        match &self.what {
            Over::Nothing => Html::default(),
            Over::Decide => html! { <Decide {hands} {seen} /> },
            Over::Line(line) => {
                let on_done = done(&hands, &self.say, &on_close);
                html! { <LineSheet key={line.to_string()} {hands} {seen} line={line.clone()} {on_close} {on_done} /> }
            }
            Over::Add => html! { <Add {hands} {seen} {on_close} /> },
            Over::Tools => html! { <Tools {hands} {seen} {on_close} on_open={self.on_over.clone()} /> },
            Over::Split => html! { <Split {hands} {seen} {on_close} /> },
            Over::Stores => {
                let (desk, key) = (hands.desk.clone(), here_key(&hands.id));
                let on_here =
                    Callback::from(move |store: Option<String>| desk.prefer(&key, &store.unwrap_or_default()));
                html! { <Stores {hands} {seen} {on_close} {on_here} /> }
            }
            Over::Till => html! { <Till {hands} {seen} {on_close} /> },
            Over::Purse => match &self.purse {
                Some(purse) => html! { <PurseSheet purse={purse.clone()} {on_close} /> },
                None => Html::default(),
            },
            Over::Finish => html! { <Finish {hands} left={seen.count(Group::ToGet)} {on_close} /> },
        }
    }
}

fn done(hands: &Hands, say: &Callback<(AttrValue, Option<Callback<()>>)>, on_close: &Callback<()>) -> Callback<Done> {
    let (hands, say, on_close) = (hands.clone(), say.clone(), on_close.clone());
    Callback::from(move |done: Done| {
        let undo = (!done.picks.is_empty()).then(|| undo(&hands, done.picks));
        say.emit((done.text, undo));
        on_close.emit(());
    })
}

/// A trip that is over, or whose plan differs all the same, is brought up to date when the chef says so.
pub(crate) fn behind(hands: &Hands) -> Html {
    let Some(Ok(now)) = hands.desk.kitchen() else { return Html::default() };
    let over = hands.desk.read(|device| device.is_finished(&hands.id));
    let is_behind = || hands.desk.read(|device| device.is_behind(&hands.id, &now.kitchen).unwrap_or(false));
    if !over || !is_behind() {
        return Html::default();
    }
    let on_press = {
        let (hands, now) = (hands.clone(), now.clone());
        Callback::from(move |_: MouseEvent| hands.desk.bring_up_to_date(&hands.id, &now.kitchen))
    };
    html! {
        <Notice title={t!("shop.behind")}>
            <Button label={t!("week.update_trip")} {on_press} />
        </Notice>
    }
}
