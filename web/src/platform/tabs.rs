//! What the tabs of one browser tell each other, over a `BroadcastChannel`.
//!
//! Nothing in a message has to arrive: a tab that missed one finds the same records in the database. A message that
//! is not understood, say from a tab with another version of the app, is passed over.

use gloo::events::EventListener;
use js_sys::{Array, Uint8Array};
use thiserror::Error;
use wasm_bindgen::{JsCast, JsValue};
use web_sys::{BroadcastChannel, MessageEvent};

use super::js;

/// The first item of every message: the form it is in.
const FORM: &str = "1";

/// What a message is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tag {
    /// The records were stored, by these keys.
    Stored,
    /// What was under these keys is deleted; the bytes are empty.
    Deleted,
    /// Much has changed: read the database again.
    Reread,
    /// The database is erased.
    Wiped,
    /// A new version of the app is about to take over: store what is not stored.
    Updating,
    /// A tab has opened.
    Hello,
    /// The tab that did the syncing has closed.
    Farewell,
}

impl Tag {
    const ALL: [(Self, &'static str); 7] = [
        (Self::Stored, "stored"),
        (Self::Deleted, "deleted"),
        (Self::Reread, "reread"),
        (Self::Wiped, "wiped"),
        (Self::Updating, "updating"),
        (Self::Hello, "hello"),
        (Self::Farewell, "farewell"),
    ];

    fn word(self) -> &'static str {
        Self::ALL.iter().find(|(tag, _)| *tag == self).map_or("", |(_, word)| word)
    }

    fn of(word: &str) -> Option<Self> {
        Self::ALL.iter().find(|(_, known)| *known == word).map(|(tag, _)| *tag)
    }
}

/// A message from one tab to all the others.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// What it is about.
    pub tag: Tag,
    /// The records it is about, by key.
    pub records: Vec<(String, Vec<u8>)>,
}

impl Message {
    /// A message without records.
    #[must_use]
    pub fn bare(tag: Tag) -> Self {
        Self { tag, records: Vec::new() }
    }

    fn to_js(&self) -> JsValue {
        let list = Array::of2(&FORM.into(), &self.tag.word().into());
        for (key, bytes) in &self.records {
            list.push(&JsValue::from_str(key));
            list.push(&Uint8Array::from(bytes.as_slice()));
        }
        list.into()
    }

    fn from_js(value: &JsValue) -> Option<Self> {
        let mut items = value.dyn_ref::<Array>()?.iter();
        if items.next()?.as_string()? != FORM {
            return None;
        }
        let tag = Tag::of(&items.next()?.as_string()?)?;
        let mut records = Vec::new();
        while let Some(key) = items.next() {
            let bytes = items.next()?.dyn_into::<Uint8Array>().ok()?;
            records.push((key.as_string()?, bytes.to_vec()));
        }
        Some(Self { tag, records })
    }
}

/// Why nothing can be told to other tabs.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("the browser's tabs cannot talk to each other: {0}")]
pub struct TabsError(String);

/// The channel to the other tabs. Dropping it leaves it.
pub struct Tabs {
    channel: BroadcastChannel,
    _listener: EventListener,
}

impl Tabs {
    /// Joins the channel of this name. `on_message` hears what the other tabs say, not what this one says.
    ///
    /// # Errors
    ///
    /// Where the browser has no such channels.
    pub fn open(name: &str, on_message: impl Fn(Message) + 'static) -> Result<Self, TabsError> {
        let channel = BroadcastChannel::new(name).map_err(failed)?;
        let listener = EventListener::new(&channel, "message", move |event| {
            if let Some(message) = Message::from_js(&event.unchecked_ref::<MessageEvent>().data()) {
                on_message(message);
            }
        });
        Ok(Self { channel, _listener: listener })
    }

    /// Tells all other tabs.
    ///
    /// # Errors
    ///
    /// Where the browser will not pass it on.
    pub fn send(&self, message: &Message) -> Result<(), TabsError> {
        self.channel.post_message(&message.to_js()).map_err(failed)
    }
}

impl Drop for Tabs {
    fn drop(&mut self) {
        self.channel.close();
    }
}

fn failed(error: JsValue) -> TabsError {
    TabsError(js::error_text(&error))
}

#[cfg(test)]
mod tests {
    use super::Tag;

    #[test]
    fn every_tag_has_a_word_of_its_own() {
        for (tag, word) in Tag::ALL {
            assert_eq!(Tag::of(word), Some(tag));
            assert_eq!(tag.word(), word);
        }
        assert_eq!(Tag::of("shouted"), None);
    }
}
