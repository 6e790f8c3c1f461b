//! The relay's live line: a WebSocket that says when a log has grown.

use std::cell::Cell;
use std::rc::Rc;

use gloo::events::EventListener;
use thiserror::Error;
use wasm_bindgen::JsCast;
use web_sys::{CloseEvent, MessageEvent, WebSocket};

use super::js;

/// What happens on the line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Event {
    /// It is open: say what to watch.
    Open,
    /// The other side said this.
    Text(String),
    /// It is closed, or never came about; said once, and the last thing said.
    Closed {
        /// The code of RFC 6455, 1006 where there was no farewell.
        code: u16,
        /// The other side's reason, often empty.
        reason: String,
    },
}

/// Why nothing could be opened or said.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum LiveError {
    /// The address is none for a WebSocket, or not allowed from this page.
    #[error("there is no live line at this address: {0}")]
    Address(String),
    /// The line is not open (yet, or any longer).
    #[error("the live line is not open")]
    NotOpen,
}

/// A live line. Dropping it closes it, and nothing is told any more.
pub struct Live {
    socket: WebSocket,
    _listeners: [EventListener; 3],
}

impl Live {
    /// Starts to open the line to a `ws:` or `wss:` address.
    ///
    /// # Errors
    ///
    /// `Address`. That nobody answers there is told as [`Event::Closed`].
    pub fn open(url: &str, on_event: impl Fn(Event) + 'static) -> Result<Self, LiveError> {
        let socket = WebSocket::new(url).map_err(|e| LiveError::Address(js::error_text(&e)))?;
        let on_event = Rc::new(on_event);
        let opened = EventListener::new(&socket, "open", {
            let on_event = on_event.clone();
            move |_| on_event(Event::Open)
        });
        let said = EventListener::new(&socket, "message", {
            let on_event = on_event.clone();
            move |event| {
                // Bytes are no message of a relay.
                if let Some(text) = event.unchecked_ref::<MessageEvent>().data().as_string() {
                    on_event(Event::Text(text));
                }
            }
        });
        let told = Cell::new(false);
        let closed = EventListener::new(&socket, "close", move |event| {
            let event = event.unchecked_ref::<CloseEvent>();
            if !told.replace(true) {
                on_event(Event::Closed { code: event.code(), reason: event.reason() });
            }
        });
        Ok(Self { socket, _listeners: [opened, said, closed] })
    }

    /// Says something.
    ///
    /// # Errors
    ///
    /// `NotOpen`; nothing was said then.
    pub fn send(&self, text: &str) -> Result<(), LiveError> {
        if self.socket.ready_state() != WebSocket::OPEN {
            return Err(LiveError::NotOpen);
        }
        self.socket.send_with_str(text).map_err(|_| LiveError::NotOpen)
    }
}

impl Drop for Live {
    fn drop(&mut self) {
        // A line that is still being opened is given up; one that is closed stays so.
        let _ = self.socket.close();
    }
}

/// The address of the live line of a relay, from the relay's own address: `https://host/` gives `wss://host/v1/live`.
#[must_use]
pub fn address(relay: &str) -> Option<String> {
    let (scheme, rest) = relay.split_once("://")?;
    let scheme = match scheme {
        "https" => "wss",
        "http" => "ws",
        _ => return None,
    };
    Some(format!("{scheme}://{}/v1/live", rest.trim_end_matches('/')))
}

#[cfg(test)]
mod tests {
    use super::address;

    #[test]
    fn the_live_address_follows_from_the_relays() {
        let table = [
            ("https://relay.example", Some("wss://relay.example/v1/live")),
            ("http://127.0.0.1:8080/", Some("ws://127.0.0.1:8080/v1/live")),
            ("https://host/base/", Some("wss://host/base/v1/live")),
            ("ftp://host", None),
            ("host", None),
        ];
        for (relay, live) in table {
            assert_eq!(address(relay).as_deref(), live, "{relay}");
        }
    }
}
