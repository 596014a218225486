//! What wakes a thread that waits for events of ports.

use super::ports::Note;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::SyncSender;
use tokio::sync::Notify;

/// Wakes a [`Ports::wait`](super::Ports::wait) from another thread, such as that of a Ctrl-C handler.
#[derive(Clone)]
pub struct InterruptHandle {
    pub(super) asked: Arc<AtomicBool>,
    pub(super) queue: SyncSender<Note>,
    pub(super) bell: Arc<Notify>,
}

impl InterruptHandle {
    /// Makes the wait that runs, or else the next one, return [`PortEvent::Interrupted`](super::PortEvent::Interrupted). Never
    /// blocks.
    pub fn interrupt(&self) {
        self.asked.store(true, Ordering::SeqCst);
        // A full queue needs no more waking.
        let _ = self.queue.try_send(Note::Wake);
        self.bell.notify_one();
    }
}

/// Wakes a [`Ports::wait`](super::Ports::wait) from another thread that has something to be fetched elsewhere.
#[derive(Clone)]
pub struct WakeHandle {
    pub(super) asked: Arc<AtomicBool>,
    pub(super) queue: SyncSender<Note>,
    pub(super) bell: Arc<Notify>,
}

impl WakeHandle {
    /// Makes the wait that runs, or else the next one, return [`PortEvent::Woken`](super::PortEvent::Woken). Never blocks.
    pub fn wake(&self) {
        self.asked.store(true, Ordering::SeqCst);
        let _ = self.queue.try_send(Note::Wake);
        self.bell.notify_one();
    }
}
