//! The live channel to each relay: one socket, over which every log there is watched.

use std::rc::Rc;

use gloo::timers::callback::Timeout;
use litemap::LiteMap;
use trug_device::Event;
use trug_device::sync::wire::{self, Heard};
use trug_seal::{LogId, WebAddress, Zeroizing};

use super::Desk;
use crate::platform::live;

/// The first pause before the socket is opened again, and the longest, in milliseconds.
const FIRST: u32 = 2_000;
const LONGEST: u32 = 60_000;

/// A line to one relay.
pub(super) struct Line {
    address: String,
    watched: LiteMap<LogId, Zeroizing<String>>,
    socket: Option<live::Live>,
    open: bool,
    pause: u32,
    again: Option<Timeout>,
}

impl Desk {
    /// Watches a log, or stops.
    pub(super) fn watch(&self, relay: &WebAddress, log: LogId, bearer: Option<Zeroizing<String>>) {
        let name = relay.to_string();
        let mut lines = self.0.lines.borrow_mut();
        let line = lines.entry(name.clone()).or_insert_with(|| Line {
            address: wire::live_address(relay),
            watched: LiteMap::new(),
            socket: None,
            open: false,
            pause: FIRST,
            again: None,
        });
        match bearer {
            Some(bearer) => {
                if let (true, Some(socket)) = (line.open, &line.socket) {
                    // A socket that takes nothing any more says so by closing.
                    let _ = socket.send(&wire::watch(log, &bearer));
                }
                line.watched.insert(log, bearer);
            }
            None => drop(line.watched.remove(&log)),
        }
        let (idle, wanted) = (line.socket.is_none() && line.again.is_none(), !line.watched.is_empty());
        if !wanted {
            lines.remove(&name);
        } else if idle {
            drop(lines);
            self.connect(&name);
        }
    }

    fn connect(&self, name: &str) {
        let mut lines = self.0.lines.borrow_mut();
        let Some(line) = lines.get_mut(name) else { return };
        line.again = None;
        let (weak, relay) = (Rc::downgrade(&self.0), name.to_owned());
        let opened = live::Live::open(&line.address, move |event| {
            if let Some(inner) = weak.upgrade() {
                Desk(inner).on_line(&relay, &event);
            }
        });
        match opened {
            Ok(socket) => line.socket = Some(socket),
            Err(_) => {
                drop(lines);
                self.connect_later(name);
            }
        }
    }

    fn on_line(&self, name: &str, event: &live::Event) {
        match event {
            live::Event::Open => {
                let mut lines = self.0.lines.borrow_mut();
                let Some(line) = lines.get_mut(name) else { return };
                (line.open, line.pause) = (true, FIRST);
                for (log, bearer) in &line.watched {
                    let _ = line.socket.as_ref().map(|socket| socket.send(&wire::watch(*log, bearer)));
                }
            }
            live::Event::Text(text) => {
                if let Some(Heard::Head(log, head)) = wire::heard(text) {
                    self.tell(Event::Head(log, head));
                }
            }
            live::Event::Closed { .. } => self.connect_later(name),
        }
    }

    /// After a pause that grows: a relay that has stopped is not run down by its own users.
    fn connect_later(&self, name: &str) {
        let mut lines = self.0.lines.borrow_mut();
        let Some(line) = lines.get_mut(name) else { return };
        (line.open, line.socket) = (false, None);
        let (weak, relay) = (Rc::downgrade(&self.0), name.to_owned());
        line.again = Some(Timeout::new(line.pause, move || {
            if let Some(inner) = weak.upgrade() {
                Desk(inner).connect(&relay);
            }
        }));
        line.pause = line.pause.saturating_mul(2).min(LONGEST);
    }

    /// The network is back, or the phone awake: no pause any more.
    pub(super) fn connect_now(&self) {
        let idle: Vec<String> = {
            let lines = self.0.lines.borrow();
            lines.iter().filter(|(_, line)| line.socket.is_none()).map(|(name, _)| name.clone()).collect()
        };
        idle.iter().for_each(|name| self.connect(name));
    }
}
