//! Bodies on their way in: bounded in length, in time, and all together in memory.

use std::pin::Pin;
use std::sync::{Arc, Mutex};
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::{Body, HttpBody};
use axum::http::HeaderMap;
use axum::http::header::CONTENT_LENGTH;
use bytes::Bytes;
use http_body_util::BodyExt as _;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::{Instant, timeout, timeout_at};

use crate::feed::lock;
use crate::problem::{Problem, Sort};

/// What is still taken of a body that was refused, so that the answer is not lost in a broken connection.
const DRAIN_BYTES: usize = 4 * 1024 * 1024;
const DRAIN_SECONDS: Duration = Duration::from_secs(3);

/// Room for the bodies of all requests together. It is taken as bytes arrive, so a slow client holds little.
#[derive(Debug, Clone)]
pub(crate) struct InFlight(Arc<Semaphore>);

impl InFlight {
    pub(crate) fn new(bytes: u64) -> Self {
        let bytes = usize::try_from(bytes).unwrap_or(usize::MAX).min(Semaphore::MAX_PERMITS);
        Self(Arc::new(Semaphore::new(bytes)))
    }

    fn take(&self, bytes: usize) -> Result<OwnedSemaphorePermit, Problem> {
        let full = || Problem::new(Sort::Unavailable, "too many bodies are on their way in");
        let bytes = u32::try_from(bytes).map_err(|_| full())?;
        Arc::clone(&self.0).try_acquire_many_owned(bytes).map_err(|_| full())
    }
}

/// A body that was read, and its room.
#[derive(Debug)]
pub(crate) struct Taken {
    pub bytes: Bytes,
    _room: Option<OwnedSemaphorePermit>,
}

/// The length that the client announced.
pub(crate) fn announced(headers: &HeaderMap) -> Option<u64> {
    headers.get(CONTENT_LENGTH)?.to_str().ok()?.parse().ok()
}

/// Reads a whole body.
pub(crate) async fn read(
    headers: &HeaderMap,
    mut body: Body,
    most: u64,
    within: Duration,
    in_flight: &InFlight,
) -> Result<Taken, Problem> {
    let too_large = || Problem::new(Sort::TooLarge, format!("at most {most} bytes are taken here"));
    if announced(headers).is_some_and(|length| length > most) {
        return Err(too_large());
    }
    let until = Instant::now() + within;
    let (mut bytes, mut room) = (Vec::new(), None::<OwnedSemaphorePermit>);
    loop {
        let frame = match timeout_at(until, body.frame()).await {
            Err(_) => {
                return Err(Problem::new(Sort::Timeout, format!("the body took more than {} s", within.as_secs())));
            }
            Ok(None) => break,
            Ok(Some(Err(_))) => return Err(Problem::malformed("the body broke off")),
            Ok(Some(Ok(frame))) => frame,
        };
        let Ok(data) = frame.into_data() else { continue };
        if (bytes.len() + data.len()) as u64 > most {
            return Err(too_large());
        }
        let more = in_flight.take(data.len())?;
        match &mut room {
            Some(room) => room.merge(more),
            None => room = Some(more),
        }
        bytes.extend_from_slice(&data);
    }
    Ok(Taken { bytes: bytes.into(), _room: room })
}

/// A body that two hold: the handler reads it, and what it leaves can be drained afterwards.
pub(crate) struct Held(Arc<Mutex<Body>>);

impl Held {
    pub(crate) fn split(body: Body) -> (Body, Self) {
        let shared = Arc::new(Mutex::new(body));
        (Body::new(Self(Arc::clone(&shared))), Self(shared))
    }

    /// Takes what is left of the body, within bounds, and throws it away.
    pub(crate) async fn drain(mut self) {
        let drain = async {
            let mut taken = 0;
            while let Some(Ok(frame)) = self.frame().await {
                taken += frame.data_ref().map_or(0, Bytes::len);
                if taken > DRAIN_BYTES {
                    return;
                }
            }
        };
        let _ = timeout(DRAIN_SECONDS, drain).await;
    }
}

impl HttpBody for Held {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<hyper::body::Frame<Bytes>, axum::Error>>> {
        Pin::new(&mut *lock(&self.0)).poll_frame(context)
    }

    fn is_end_stream(&self) -> bool {
        lock(&self.0).is_end_stream()
    }

    fn size_hint(&self) -> hyper::body::SizeHint {
        lock(&self.0).size_hint()
    }
}
