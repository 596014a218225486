//! A stream of samples as server-sent events [BA-07].

use super::shown::{SampleShown, TraceShown};
use crate::bench::driven::{Offered, Reader, StreamNews, TracePlan};
use axum::body::{Bytes, HttpBody};
use core::pin::Pin;
use core::task::{Context, Poll};
use core::time::Duration;
use hyper::body::Frame;
use serde_json::json;
use tokio::sync::mpsc::error::TrySendError;
use tokio::sync::mpsc::{Receiver, Sender, channel};
use tokio::time::{Sleep, sleep};

/// Batches of news that are on their way to the reader.
const BATCHES: usize = 8;
/// So often at least something is sent, so that both ends notice when the other is gone.
const STILL_HERE: Duration = Duration::from_secs(10);

/// The bench's end.
struct Outlet(Sender<Vec<StreamNews>>);

impl Reader for Outlet {
    fn offer(&mut self, news: Vec<StreamNews>) -> Offered {
        match self.0.try_send(news) {
            Ok(()) => Offered::Taken,
            Err(TrySendError::Full(back)) => Offered::Full(back),
            Err(TrySendError::Closed(_)) => Offered::Gone,
        }
    }

    fn is_there(&self) -> bool {
        !self.0.is_closed()
    }
}

/// The body of the answer.
pub struct Events {
    news: Receiver<Vec<StreamNews>>,
    /// What is traced, until that was told.
    first: Option<TracePlan>,
    quiet: Pin<Box<Sleep>>,
}

/// A stream that is not yet open: the bench's end, and what becomes the body.
pub fn pair() -> (Box<dyn Reader>, Receiver<Vec<StreamNews>>) {
    let (sender, news) = channel(BATCHES);
    (Box::new(Outlet(sender)), news)
}

impl Events {
    /// The body of an answer that tells first what is traced.
    pub fn new(news: Receiver<Vec<StreamNews>>, plan: TracePlan) -> Events {
        Events { news, first: Some(plan), quiet: Box::pin(sleep(STILL_HERE)) }
    }
}

fn event(name: &str, data: &impl serde::Serialize) -> String {
    // Made of strings and finite numbers, so it can always be written; JSON has no line breaks.
    let data = serde_json::to_string(data).unwrap_or_default();
    format!("event: {name}\ndata: {data}\n\n")
}

fn text(news: StreamNews) -> String {
    match news {
        StreamNews::Sample(sample) => event("sample", &SampleShown::from(sample)),
        StreamNews::Restored(at) => event("restored", &json!({"at_s": at.as_secs_f64()})),
        StreamNews::TooSlow => event(
            "too_slow",
            &json!({
                "wrong": "samples came faster than they were taken, and there is no room for more",
                "next": "ask for fewer quantities, a longer period or a lower speed",
            }),
        ),
    }
}

impl HttpBody for Events {
    type Data = Bytes;
    type Error = core::convert::Infallible;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Self::Error>>> {
        let frame = |text: String| Poll::Ready(Some(Ok(Frame::data(Bytes::from(text)))));
        if let Some(plan) = self.first.take() {
            return frame(event("trace", &TraceShown::from(plan)));
        }
        if let Poll::Ready(news) = self.news.poll_recv(cx) {
            let Some(news) = news else { return Poll::Ready(None) };
            self.quiet = Box::pin(sleep(STILL_HERE));
            return frame(news.into_iter().map(text).collect());
        }
        if self.quiet.as_mut().poll(cx).is_ready() {
            self.quiet = Box::pin(sleep(STILL_HERE));
            return frame(": still here\n\n".to_owned());
        }
        Poll::Pending
    }
}
