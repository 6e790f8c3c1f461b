//! The hand that writes: saves what a screen changed, says so, and offers to undo it.

use std::cell::RefCell;
use std::rc::Rc;

use trug_provision::kitchen::Kitchen;
use yew::prelude::*;

use super::save::{self, Saved, Texts};
use crate::desk::{Desk, use_desk};
use crate::look::Toast;
use crate::words::t;

/// Saves, and says so.
#[derive(Clone)]
pub(super) struct Hand {
    desk: Desk,
    said: Rc<RefCell<Said>>,
    /// The number of the last change of what is said: what makes one hand differ from the next.
    version: u32,
    set_version: UseStateSetter<u32>,
}

#[derive(Default)]
struct Said {
    toasts: Vec<Toast>,
    changes: u32,
}

impl PartialEq for Hand {
    fn eq(&self, other: &Self) -> bool {
        self.version == other.version
    }
}

impl Hand {
    /// Changes the kitchen, and says what was done.
    ///
    /// # Errors
    /// What is wrong with it then; nothing is written.
    pub(super) fn save(
        &self,
        words: AttrValue,
        change: impl FnOnce(&mut Kitchen) -> Result<(), String>,
    ) -> Result<(), AttrValue> {
        // As it is now, not as it was when the screen was drawn: others may have changed it since.
        let now = self.desk.kitchen().ok_or_else(|| t!("error.not_found"))??;
        let saved = save::save(&self.desk, &now.kitchen, change)?;
        self.told(words, saved);
        Ok(())
    }

    /// Writes texts, and says what was done.
    ///
    /// # Errors
    /// What is wrong with the kitchen then; nothing is written.
    pub(super) fn write(&self, words: AttrValue, texts: &Texts) -> Result<(), AttrValue> {
        let saved = save::commit(&self.desk, texts)?;
        self.told(words, saved);
        Ok(())
    }

    /// The desk.
    pub(super) fn desk(&self) -> &Desk {
        &self.desk
    }

    /// Says something.
    pub(super) fn say(&self, text: AttrValue) {
        self.push(text, None);
    }

    fn told(&self, words: AttrValue, saved: Saved) {
        let text = if saved.followed { format!("{words}. {}", t!("week.trips_follow")).into() } else { words };
        let hand = self.clone();
        let undo = Callback::from(move |()| {
            // What was written since may not go together with how it was: then it stays, and says why.
            match save::commit(&hand.desk, &saved.before) {
                Ok(_) => {}
                Err(error) => hand.say(error.into()),
            }
        });
        self.push(text, Some((t!("common.undo"), undo)));
    }

    /// What has been said and has not gone.
    pub(super) fn toasts(&self) -> Vec<Toast> {
        self.said.borrow().toasts.clone()
    }

    /// The last thing said takes the place of the one before: a row of messages would cover the screen.
    fn push(&self, text: AttrValue, undo: Option<(AttrValue, Callback<()>)>) {
        let id = self.said.borrow().changes;
        self.change(|toasts| *toasts = vec![Toast { id, text, undo }]);
    }

    fn change(&self, change: impl FnOnce(&mut Vec<Toast>)) {
        let mut said = self.said.borrow_mut();
        change(&mut said.toasts);
        said.changes += 1;
        self.set_version.set(said.changes);
    }

    /// A message has gone.
    pub(super) fn on_gone(&self) -> Callback<u32> {
        let hand = self.clone();
        Callback::from(move |id| hand.change(|toasts| toasts.retain(|toast| toast.id != id)))
    }
}

/// The hand of the place.
#[hook]
pub(super) fn use_hand() -> Hand {
    let desk = use_desk();
    let version = use_state(|| 0);
    let said = use_mut_ref(Said::default);
    let own = Hand { desk, said, version: *version, set_version: version.setter() };
    use_context::<Hand>().unwrap_or(own)
}

#[derive(Properties, PartialEq)]
pub(super) struct WithHandProps {
    pub(super) children: Html,
}

/// Gives everything within one hand, whose messages outlast the screens.
#[component]
pub(super) fn WithHand(props: &WithHandProps) -> Html {
    let hand = use_hand();
    html! { <ContextProvider<Hand> context={hand}>{ props.children.clone() }</ContextProvider<Hand>> }
}
