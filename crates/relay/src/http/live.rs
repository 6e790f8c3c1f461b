//! `GET /v1/live`: a socket that says where logs stand.
//!
//! One task a socket, and no other: it reads, pings, and writes. A client that does not read only keeps its own task
//! waiting, and loses its socket after [`SEND_SECONDS`]; what it missed is one head for each log.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::ws::{CloseFrame, Message, WebSocket};
use serde::Deserialize;
use serde_json::json;
use tokio::time::{Instant, sleep_until, timeout};

use super::{Phase, Shared, reached};
use crate::addresses::Share;
use crate::feed::{Inbox, News};
use crate::ids::{LogId, TokenHash};
use crate::metrics::Counted;
use crate::problem::{Problem, Sort};

/// How long one message may take to leave.
const SEND_SECONDS: Duration = Duration::from_secs(15);
/// Refused watches and unreadable messages, after which a socket is closed.
const STRIKES: u32 = 32;
const GOING_AWAY: u16 = 1001;
const POLICY: u16 = 1008;

/// Bytes of one message at most.
pub(super) const MESSAGE_BYTES: usize = 4096;

#[derive(Deserialize)]
struct Wanted {
    watch: String,
    token: String,
}

struct Watch {
    token: TokenHash,
    told: u64,
}

/// Why a socket ends.
enum End {
    /// The client went, or does not take what it is sent.
    Lost,
    /// We close it, saying why.
    Close(u16, &'static str),
}

type Going = Result<(), End>;

struct Session {
    shared: Arc<Shared>,
    client: IpAddr,
    socket: WebSocket,
    inbox: Arc<Inbox>,
    watches: HashMap<LogId, Watch>,
    strikes: u32,
}

/// Serves a socket until it ends.
pub(super) async fn serve(shared: Arc<Shared>, client: IpAddr, socket: WebSocket) {
    let _counted = Counted::new(Arc::clone(&shared), |metrics| &metrics.sockets);
    let mut session = Session { shared, client, socket, inbox: Arc::default(), watches: HashMap::new(), strikes: 0 };
    if let Err(End::Close(code, reason)) = session.run().await {
        let frame = CloseFrame { code, reason: reason.into() };
        let _ = timeout(SEND_SECONDS, session.socket.send(Message::Close(Some(frame)))).await;
    }
}

impl Drop for Session {
    fn drop(&mut self) {
        for log in self.watches.keys() {
            self.shared.feed.leave(*log, &self.inbox);
        }
        self.shared.metrics.watches.add(-(self.watches.len() as i64));
    }
}

impl Session {
    async fn run(&mut self) -> Going {
        let shared = Arc::clone(&self.shared);
        let inbox = Arc::clone(&self.inbox);
        let limits = &shared.config.limits;
        let patience = Duration::from_secs(limits.unauthenticated_seconds);
        let every = Duration::from_secs(limits.ping_seconds);
        let pause = Duration::from_millis(limits.coalesce_milliseconds);
        let mut phase = shared.phase.clone();
        let (mut deadline, mut heard) = (Instant::now() + patience, Instant::now());
        let (mut next_ping, mut next_news) = (Instant::now() + every, Instant::now());
        // Whether something waits in the inbox for the pause to be over.
        let mut waiting = false;
        loop {
            tokio::select! {
                message = self.socket.recv() => {
                    heard = Instant::now();
                    match message {
                        Some(Ok(Message::Text(text))) => self.hear(&text).await?,
                        Some(Ok(Message::Binary(_))) => self.strike(None, Sort::Malformed).await?,
                        Some(Ok(Message::Ping(_) | Message::Pong(_))) => {}
                        Some(Ok(Message::Close(_)) | Err(_)) | None => return Err(End::Lost),
                    }
                }
                () = inbox.arrived(), if !waiting => waiting = true,
                () = sleep_until(next_news), if waiting => {
                    waiting = false;
                    // Who loses the last watch here has the usual patience for another.
                    deadline = Instant::now() + patience;
                    self.tell().await?;
                    next_news = Instant::now() + pause;
                }
                () = sleep_until(deadline), if self.watches.is_empty() => {
                    return Err(End::Close(POLICY, "nothing was watched in time"));
                }
                () = sleep_until(next_ping) => {
                    if heard + 2 * every < Instant::now() {
                        return Err(End::Lost);
                    }
                    self.send(Message::Ping(bytes::Bytes::new())).await?;
                    next_ping = Instant::now() + every;
                }
                () = reached(&mut phase, Phase::Draining) => {
                    return Err(End::Close(GOING_AWAY, "the relay is stopping"));
                }
            }
        }
    }

    async fn send(&mut self, message: Message) -> Going {
        match timeout(SEND_SECONDS, self.socket.send(message)).await {
            Ok(Ok(())) => Ok(()),
            _ => Err(End::Lost),
        }
    }

    async fn say_head(&mut self, log: LogId, head: u64) -> Going {
        self.shared.metrics.messages.add(1);
        self.send(Message::text(json!({ "log": log.to_string(), "head": head }).to_string())).await
    }

    async fn say_error(&mut self, log: Option<&str>, sort: Sort) -> Going {
        self.send(Message::text(json!({ "log": log, "error": sort.name() }).to_string())).await
    }

    /// Says what is wrong; closes the socket of one that is wrong all the time.
    async fn strike(&mut self, log: Option<&str>, sort: Sort) -> Going {
        self.say_error(log, sort).await?;
        self.strikes += 1;
        if self.strikes >= STRIKES {
            return Err(End::Close(POLICY, "too much was refused"));
        }
        Ok(())
    }

    async fn hear(&mut self, text: &str) -> Going {
        let Ok(wanted) = serde_json::from_str::<Wanted>(text) else {
            return self.strike(None, Sort::Malformed).await;
        };
        // Only a log id is ever said back.
        let Some(log) = LogId::parse(&wanted.watch) else {
            return self.strike(None, Sort::Malformed).await;
        };
        let name = log.to_string();
        if self.shared.addresses.take(self.client, Share::Requests, std::time::Instant::now()).is_err() {
            self.shared.metrics.turned_away.add(1);
            return self.strike(Some(&name), Sort::TooMany).await;
        }
        let Some(token) = TokenHash::of_text(&wanted.token) else {
            return self.strike(Some(&name), Sort::Unauthorized).await;
        };
        match self.watch(log, token).await {
            Ok(head) => self.say_head(log, head).await,
            Err(sort) => self.strike(Some(&name), sort).await,
        }
    }

    /// Watches a log, or watches it with another token; where it stands.
    async fn watch(&mut self, log: LogId, token: TokenHash) -> Result<u64, Sort> {
        let known = self.watches.contains_key(&log);
        if !known && self.watches.len() as u64 >= self.shared.config.limits.watches_per_socket {
            return Err(Sort::TooManyWatches);
        }
        // First on the list, then look: whatever is appended in between is heard.
        self.shared.feed.watch(log, &self.inbox);
        match self.shared.store.look(log, token).await {
            Ok((_, notice)) => {
                self.shared.feed.tell_but(notice, Some(&self.inbox));
                self.shared.metrics.watches.add(i64::from(!known));
                self.watches.insert(log, Watch { token, told: notice.head });
                Ok(notice.head)
            }
            Err(error) => {
                // A watch that was there goes on under the token it was begun with.
                if !known {
                    self.shared.feed.leave(log, &self.inbox);
                }
                Err(Problem::from(error).sort)
            }
        }
    }

    /// Tells what is new.
    async fn tell(&mut self) -> Going {
        for (log, news) in self.inbox.take() {
            if let Some(head) = self.checked(log, news).await? {
                self.say_head(log, head).await?;
            }
        }
        Ok(())
    }

    /// The head to tell, if it is one; where the log's access changed, only after looking again.
    async fn checked(&mut self, log: LogId, news: News) -> Result<Option<u64>, End> {
        let Some(watch) = self.watches.get_mut(&log) else { return Ok(None) };
        if news.recheck
            && let Err(error) = self.shared.store.look(log, watch.token).await
        {
            self.watches.remove(&log);
            self.shared.metrics.watches.add(-1);
            self.shared.feed.leave(log, &self.inbox);
            self.say_error(Some(&log.to_string()), Problem::from(error).sort).await?;
            return Ok(None);
        }
        if news.head <= watch.told {
            return Ok(None);
        }
        watch.told = news.head;
        Ok(Some(news.head))
    }
}
