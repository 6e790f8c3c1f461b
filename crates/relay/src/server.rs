//! Connections: taking them in, TLS, time-outs, and letting them go at the end.

use std::future::Future;
use std::io;
use std::net::SocketAddr;
use std::pin::{Pin, pin};
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};
use tokio::time::{Instant, Sleep, sleep, timeout};
use tokio_rustls::TlsAcceptor;
use tower::ServiceExt as _;

use crate::http::{Peer, Phase, Shared, reached};
use crate::metrics::Counted;
use crate::tls::Certificate;

/// Bytes of a request's head at most, and of a connection's read buffer.
const BUFFER_BYTES: usize = 32 * 1024;

/// What every connection needs.
pub(crate) struct Serving {
    pub shared: Arc<Shared>,
    pub router: Router,
    pub certificate: Option<Arc<Certificate>>,
    pub phase: watch::Receiver<Phase>,
}

/// Takes in connections until told to stop.
pub(crate) async fn accept(serving: Arc<Serving>, listener: TcpListener) {
    let most = usize::try_from(serving.shared.config.limits.connections).unwrap_or(usize::MAX);
    let permits = Arc::new(Semaphore::new(most.min(Semaphore::MAX_PERMITS)));
    let mut phase = serving.phase.clone();
    let next = async |permits: &Arc<Semaphore>| {
        let permit = Arc::clone(permits).acquire_owned().await;
        (permit, listener.accept().await)
    };
    loop {
        let taken = tokio::select! {
            taken = next(&permits) => taken,
            () = reached(&mut phase, Phase::Draining) => return,
        };
        match taken {
            (Ok(permit), Ok((stream, peer))) => admit(&serving, permit, stream, peer),
            // Out of file handles, or the client was gone already: others still wait.
            (_, Err(error)) => {
                tracing::debug!(%error, "a connection could not be taken in");
                sleep(Duration::from_millis(20)).await;
            }
            (Err(_), _) => return,
        }
    }
}

fn admit(serving: &Arc<Serving>, permit: OwnedSemaphorePermit, stream: TcpStream, peer: SocketAddr) {
    if !serving.shared.addresses.connect(peer.ip()) {
        serving.shared.metrics.turned_away.add(1);
        return;
    }
    let serving = Arc::clone(serving);
    tokio::spawn(async move {
        let _permit = permit;
        let _counted = Counted::new(Arc::clone(&serving.shared), |metrics| &metrics.connections);
        let mut phase = serving.phase.clone();
        tokio::select! {
            () = connection(&serving, stream, peer) => {}
            () = reached(&mut phase, Phase::Over) => {}
        }
        serving.shared.addresses.disconnect(peer.ip());
    });
}

async fn connection(serving: &Serving, stream: TcpStream, peer: SocketAddr) {
    let limits = &serving.shared.config.limits;
    let _ = stream.set_nodelay(true);
    let stream = Watched::new(stream, Duration::from_secs(limits.idle_seconds));
    let outcome = match &serving.certificate {
        None => talk(serving, stream, peer).await,
        Some(certificate) => {
            let accept = TlsAcceptor::from(certificate.current()).accept(stream);
            match timeout(Duration::from_secs(limits.header_seconds), accept).await {
                Ok(Ok(stream)) => talk(serving, stream, peer).await,
                _ => return,
            }
        }
    };
    if let Err(error) = outcome {
        // Clients go away all the time; what they sent is not repeated here.
        tracing::debug!(%error, "a connection ended");
    }
}

async fn talk(
    serving: &Serving,
    stream: impl AsyncRead + AsyncWrite + Unpin + Send + 'static,
    peer: SocketAddr,
) -> Result<(), hyper::Error> {
    let router = serving.router.clone();
    let service = service_fn(move |request: hyper::Request<Incoming>| {
        let mut request = request.map(Body::new);
        request.extensions_mut().insert(Peer(peer));
        router.clone().oneshot(request)
    });
    let mut builder = http1::Builder::new();
    builder
        .timer(TokioTimer::new())
        .header_read_timeout(Duration::from_secs(serving.shared.config.limits.header_seconds.max(1)))
        .max_buf_size(BUFFER_BYTES);
    let mut connection = pin!(builder.serve_connection(TokioIo::new(stream), service).with_upgrades());
    let mut phase = serving.phase.clone();
    tokio::select! {
        ended = connection.as_mut() => return ended,
        () = reached(&mut phase, Phase::Draining) => {}
    }
    connection.as_mut().graceful_shutdown();
    connection.await
}

/// Lets the program hold as many connections as the system allows at most.
pub(crate) fn raise_file_limit() {
    if let Err(error) = rlimit::increase_nofile_limit(u64::MAX) {
        tracing::debug!(%error, "the limit of open files stays as it is");
    }
}

/// A connection that breaks off when no byte went either way for some time: a client that takes nothing must not be
/// kept for ever, and one that takes little must not be cut off.
struct Watched<S> {
    stream: S,
    idle: Duration,
    moved: Instant,
    alarm: Pin<Box<Sleep>>,
}

impl<S> Watched<S> {
    fn new(stream: S, idle: Duration) -> Self {
        Self { stream, idle, moved: Instant::now(), alarm: Box::pin(sleep(idle)) }
    }

    /// Notes what moved; where nothing does, whether it has been too long.
    fn note<T>(&mut self, context: &mut Context<'_>, polled: Poll<io::Result<T>>) -> Poll<io::Result<T>> {
        if polled.is_ready() {
            self.moved = Instant::now();
            return polled;
        }
        while self.alarm.as_mut().poll(context).is_ready() {
            let until = self.moved + self.idle;
            if until <= Instant::now() {
                return Poll::Ready(Err(io::ErrorKind::TimedOut.into()));
            }
            self.alarm.as_mut().reset(until);
        }
        Poll::Pending
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for Watched<S> {
    fn poll_read(self: Pin<&mut Self>, context: &mut Context<'_>, buffer: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        let this = self.get_mut();
        let polled = Pin::new(&mut this.stream).poll_read(context, buffer);
        this.note(context, polled)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Watched<S> {
    fn poll_write(self: Pin<&mut Self>, context: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let this = self.get_mut();
        let polled = Pin::new(&mut this.stream).poll_write(context, bytes);
        this.note(context, polled)
    }

    fn poll_write_vectored(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let this = self.get_mut();
        let polled = Pin::new(&mut this.stream).poll_write_vectored(context, bytes);
        this.note(context, polled)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().stream).poll_flush(context)
    }

    fn poll_shutdown(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().stream).poll_shutdown(context)
    }
}
