//! A connection, and how long its other end may take [BA-09].

use axum::Router;
use core::pin::Pin;
use core::task::{Context, Poll};
use core::time::Duration;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::io;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::sync::OwnedSemaphorePermit;
use tokio::time::{Sleep, sleep};

/// The head of a request, from the end of the one before, and its body, take no longer.
pub const PATIENCE: Duration = Duration::from_secs(10);
/// A reader that takes nothing for so long is gone.
pub const STUCK: Duration = Duration::from_secs(30);
/// A reader for whom something has waited all the time for so long is gone.
pub const BEHIND: Duration = Duration::from_secs(300);
/// What is kept of a request's head, and of an answer that is made as it is sent, octets.
pub const MOST_KEPT: usize = 64 * 1024;

/// Serves one connection to its end.
pub async fn connection<S>(stream: S, permit: OwnedSemaphorePermit, router: Router)
where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let io = TokioIo::new(Counted { stream, stuck: None, behind: None, _permit: permit });
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(PATIENCE)
        .max_buf_size(MOST_KEPT)
        .serve_connection(io, TowerToHyperService::new(router));
    // Whoever breaks off has nobody to be told.
    let _ = connection.await;
}

/// A stream that counts as a connection, and that fails when its other end takes nothing any more, or too little.
struct Counted<S> {
    stream: S,
    /// Ends when nothing was taken for too long.
    stuck: Option<Pin<Box<Sleep>>>,
    /// Ends when something has waited for too long.
    behind: Option<Pin<Box<Sleep>>>,
    _permit: OwnedSemaphorePermit,
}

impl<S: AsyncRead + Unpin> AsyncRead for Counted<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        to: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(cx, to)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Counted<S> {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, octets: &[u8]) -> Poll<io::Result<usize>> {
        if let Poll::Ready(done) = Pin::new(&mut self.stream).poll_write(cx, octets) {
            self.stuck = None;
            // It may be only a little of it.
            self.behind.get_or_insert_with(|| Box::pin(sleep(BEHIND)));
            return Poll::Ready(done);
        }
        let stuck = self.stuck.get_or_insert_with(|| Box::pin(sleep(STUCK))).as_mut().poll(cx);
        let behind = self.behind.get_or_insert_with(|| Box::pin(sleep(BEHIND))).as_mut().poll(cx);
        if stuck.is_ready() || behind.is_ready() {
            return Poll::Ready(Err(io::ErrorKind::TimedOut.into()));
        }
        Poll::Pending
    }

    /// Comes when all that waited was written.
    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        self.behind = None;
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}
