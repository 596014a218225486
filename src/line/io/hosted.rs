//! Servers without a thread of their own: whoever waits for events of the ports works their sockets meanwhile.
//!
//! A request and its answer then need no other thread, which on a small machine takes longer than all that is done with them.
//! While nobody waits, nothing is read; what comes stays with the system.

use super::ports::{Note, PortEvent};
use std::io;
use std::sync::Arc;
use std::sync::mpsc::Receiver;
use std::time::Duration;
use tokio::runtime::{Builder, Runtime};
use tokio::sync::Notify;
use tokio::sync::mpsc::{UnboundedReceiver, UnboundedSender, unbounded_channel};
use tokio::task::JoinHandle as Task;

/// Events that are handed out one after the other before the sockets are looked at again.
const IN_A_ROW: u32 = 64;
/// How long servers may take to end.
const ENDING: Duration = Duration::from_secs(1);

/// The servers of one set of ports.
pub(super) struct Hosted {
    runtime: Runtime,
    tasks: Vec<Task<()>>,
    put: UnboundedSender<PortEvent>,
    /// What the servers put: each keeps within limits of its own, and they run only while somebody fetches.
    events: UnboundedReceiver<PortEvent>,
    in_a_row: u32,
}

impl Hosted {
    /// No server yet.
    pub(super) fn new() -> io::Result<Hosted> {
        let runtime = Builder::new_current_thread().enable_all().build()?;
        let (put, events) = unbounded_channel();
        Ok(Hosted { runtime, tasks: Vec::new(), put, events, in_a_row: 0 })
    }

    /// Where a server puts its events.
    pub(super) fn sender(&self) -> UnboundedSender<PortEvent> {
        self.put.clone()
    }

    /// Does something within the runtime, as making its sockets needs it.
    pub(super) fn within<T>(&self, f: impl FnOnce() -> T) -> T {
        let _within = self.runtime.enter();
        f()
    }

    /// Lets a server run from now on.
    pub(super) fn spawn(&mut self, server: impl Future<Output = ()> + Send + 'static) {
        self.tasks.push(self.runtime.spawn(server));
    }

    /// What a server has put already.
    pub(super) fn ready(&mut self) -> Option<PortEvent> {
        self.events.try_recv().ok()
    }

    /// Waits at most `left` for a note of another thread, which `bell` tells, or for an event of a server; first does `tell`
    /// among the servers.
    pub(super) fn next(
        &mut self,
        notes: &Receiver<Note>,
        bell: &Arc<Notify>,
        left: Option<Duration>,
        tell: Option<impl FnOnce()>,
    ) -> Option<Note> {
        self.in_a_row += 1;
        let many = self.in_a_row > IN_A_ROW;
        if !many
            && tell.is_none()
            && let Some(note) = self.take(notes)
        {
            return Some(note);
        }
        self.in_a_row = 0;
        let look = many || left.is_some_and(|d| d.is_zero());
        let events = &mut self.events;
        let event = self.runtime.block_on(async {
            if let Some(tell) = tell {
                tell();
            }
            if look {
                // The first lets the sockets be looked at, the second has the servers see what is there.
                tokio::task::yield_now().await;
                tokio::task::yield_now().await;
                return None;
            }
            tokio::select! {
                event = events.recv() => event,
                () = bell.notified() => None,
                () = slept(left) => None,
            }
        });
        event.map(Note::Event).or_else(|| self.take(notes))
    }

    fn take(&mut self, notes: &Receiver<Note>) -> Option<Note> {
        self.ready().map(Note::Event).or_else(|| notes.try_recv().ok())
    }

    /// Waits for the servers, which were told to end, and gives what they have put last.
    pub(super) fn end(&mut self) -> Vec<PortEvent> {
        let tasks = core::mem::take(&mut self.tasks);
        self.runtime.block_on(async {
            let all = async {
                for task in tasks {
                    let _ = task.await;
                }
            };
            let _ = tokio::time::timeout(ENDING, all).await;
        });
        std::iter::from_fn(|| self.ready()).collect()
    }
}

async fn slept(time: Option<Duration>) {
    match time {
        Some(time) => tokio::time::sleep(time).await,
        None => std::future::pending().await,
    }
}
