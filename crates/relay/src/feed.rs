//! Who watches which log, and what they have not been told yet.
//!
//! Coalescing falls out of the shape: an [`Inbox`] holds one head for each log, so a thousand appends while a phone
//! is slow are one line, and a slow phone costs the same as a fast one.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::Notify;

use crate::ids::LogId;
use crate::store::Notice;

/// Locks, also after a panic elsewhere: what is kept here is never half written.
pub(crate) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What a watcher has yet to be told of one log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct News {
    /// The head to tell.
    pub head: u64,
    /// Whether the watcher's token must be looked at again first.
    pub recheck: bool,
}

/// What one socket has yet to be told.
#[derive(Debug, Default)]
pub(crate) struct Inbox {
    news: Mutex<HashMap<LogId, News>>,
    arrived: Notify,
}

impl Inbox {
    fn put(&self, log: LogId, news: News) {
        {
            let mut all = lock(&self.news);
            let told = all.entry(log).or_insert(news);
            told.head = told.head.max(news.head);
            told.recheck |= news.recheck;
        }
        self.arrived.notify_one();
    }

    /// Waits until there is something; may wake for nothing.
    pub(crate) async fn arrived(&self) {
        self.arrived.notified().await;
    }

    /// Takes everything there is.
    pub(crate) fn take(&self) -> Vec<(LogId, News)> {
        // The map is given up whole, so that an idle socket keeps no room for the busiest hour it had.
        std::mem::take(&mut *lock(&self.news)).into_iter().collect()
    }
}

#[derive(Debug)]
struct Watched {
    head: u64,
    epoch: u64,
    inboxes: Vec<Arc<Inbox>>,
}

/// Who watches which log. A store tells it of every append it makes or hears of.
#[derive(Debug, Default)]
pub struct Feed {
    watched: Mutex<HashMap<LogId, Watched>>,
}

impl Feed {
    /// Puts a socket on a log's list. From now on its inbox hears of every head above the notice's, so look at the
    /// log once *after* this.
    pub(crate) fn watch(&self, log: LogId, inbox: &Arc<Inbox>) {
        let mut all = lock(&self.watched);
        let watched = all.entry(log).or_insert_with(|| Watched { head: 0, epoch: 0, inboxes: Vec::new() });
        if !watched.inboxes.iter().any(|other| Arc::ptr_eq(other, inbox)) {
            watched.inboxes.push(Arc::clone(inbox));
        }
    }

    /// Takes a socket off a log's list.
    pub(crate) fn leave(&self, log: LogId, inbox: &Arc<Inbox>) {
        let mut all = lock(&self.watched);
        if let Some(watched) = all.get_mut(&log) {
            watched.inboxes.retain(|other| !Arc::ptr_eq(other, inbox));
            if watched.inboxes.is_empty() {
                all.remove(&log);
            }
        }
    }

    /// Tells everybody who watches the log, unless it is no news. Heads that arrive out of order never go back.
    pub fn tell(&self, notice: Notice) {
        self.tell_but(notice, None);
    }

    /// The same, but for one socket, which is being told by itself.
    pub(crate) fn tell_but(&self, notice: Notice, except: Option<&Arc<Inbox>>) {
        let mut all = lock(&self.watched);
        let Some(watched) = all.get_mut(&notice.log) else { return };
        let recheck = notice.epoch > watched.epoch;
        if notice.head <= watched.head && !recheck {
            return;
        }
        watched.head = watched.head.max(notice.head);
        watched.epoch = watched.epoch.max(notice.epoch);
        let news = News { head: watched.head, recheck };
        let others = watched.inboxes.iter().filter(|inbox| !except.is_some_and(|one| Arc::ptr_eq(inbox, one)));
        for inbox in others {
            inbox.put(notice.log, news);
        }
    }

    /// The logs that somebody watches.
    pub fn watched(&self) -> Vec<LogId> {
        lock(&self.watched).keys().copied().collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOG: LogId = LogId([7; 16]);

    fn notice(head: u64, epoch: u64) -> Notice {
        Notice { log: LOG, head, epoch }
    }

    #[test]
    fn a_slow_watcher_gets_one_line() {
        let (feed, inbox) = (Feed::default(), Arc::new(Inbox::default()));
        feed.watch(LOG, &inbox);
        feed.watch(LOG, &inbox);
        feed.tell_but(notice(0, 1), Some(&inbox));
        for head in [1, 2, 5, 4, 3] {
            feed.tell(notice(head, 1));
        }
        assert_eq!(inbox.take(), [(LOG, News { head: 5, recheck: false })]);
        feed.tell(notice(5, 1));
        assert_eq!(inbox.take(), [], "what was told is no news");
        feed.tell(notice(5, 2));
        feed.tell(notice(6, 2));
        assert_eq!(inbox.take(), [(LOG, News { head: 6, recheck: true })], "a recheck is not lost to a later head");
    }

    #[test]
    fn who_left_hears_nothing_and_takes_no_room() {
        let (feed, inbox) = (Feed::default(), Arc::new(Inbox::default()));
        feed.watch(LOG, &inbox);
        assert_eq!(feed.watched(), [LOG]);
        feed.leave(LOG, &inbox);
        feed.tell(notice(1, 0));
        assert_eq!((feed.watched(), inbox.take()), (vec![], vec![]));
    }
}
