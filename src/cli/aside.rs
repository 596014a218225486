//! Output that holds nobody up: a reader who pauses (a pager, a terminal that was stopped) must not keep
//! a listener from its log, or a mock from its answers.

use super::output::say;
use std::io::{self, Write};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;

/// Octets that wait to be taken; what comes on top is left out.
const MOST_WAITING: usize = 1 << 20;

enum Piece {
    /// For standard output.
    Result(Vec<u8>),
    /// For people, on standard error.
    Message(String),
}

#[derive(Default)]
struct Shared {
    waiting: AtomicUsize,
    failed: Mutex<Option<io::Error>>,
}

/// A thread that writes what it is given, in order.
pub(super) struct Aside {
    pieces: Sender<Piece>,
    shared: Arc<Shared>,
    thread: JoinHandle<Box<dyn Write + Send>>,
    /// Lines that were left out and not told yet.
    left_out: usize,
}

impl Aside {
    /// Writes to `to` from now on.
    pub(super) fn start(to: Box<dyn Write + Send>) -> Aside {
        let (pieces, taken) = channel();
        let shared = Arc::new(Shared::default());
        let of_thread = Arc::clone(&shared);
        let thread = std::thread::spawn(move || write_on(to, &taken, &of_thread));
        Aside { pieces, shared, thread, left_out: 0 }
    }

    /// Hands whole lines over without waiting.
    ///
    /// # Errors
    /// What was handed over earlier could not be written.
    pub(super) fn write(&mut self, text: &str) -> io::Result<()> {
        if let Some(e) = self.failure() {
            return Err(e);
        }
        if !self.has_room(text) {
            self.left_out += text.lines().count();
        } else if !text.is_empty() {
            self.tell_left_out();
            self.put(text.len(), Piece::Result(text.as_bytes().to_vec()));
        }
        Ok(())
    }

    /// Like [`say`], without waiting.
    pub(super) fn say(&mut self, text: &str) {
        if self.has_room(text) {
            self.put(text.len(), Piece::Message(text.to_owned()));
        }
    }

    /// Waits until all has been written, `last` behind it, and gives back what it was written to. Who waits can wait for
    /// room too, so `last` is never left out.
    pub(super) fn join(mut self, last: String) -> (Box<dyn Write + Send>, io::Result<()>) {
        self.tell_left_out();
        self.put(last.len(), Piece::Result(last.into_bytes()));
        drop(self.pieces);
        let to = self.thread.join().unwrap_or_else(|_| Box::new(io::stdout()));
        let failed = self.shared.failed.lock().unwrap_or_else(PoisonError::into_inner).take();
        (to, failed.map_or(Ok(()), Err))
    }

    fn failure(&self) -> Option<io::Error> {
        self.shared.failed.lock().unwrap_or_else(PoisonError::into_inner).take()
    }

    fn has_room(&self, text: &str) -> bool {
        self.shared.waiting.load(Ordering::SeqCst) + text.len() <= MOST_WAITING
    }

    fn put(&self, length: usize, piece: Piece) {
        self.shared.waiting.fetch_add(length, Ordering::SeqCst);
        // The thread only ends when nobody can put anything any more.
        let _ = self.pieces.send(piece);
    }

    fn tell_left_out(&mut self) {
        let lines = std::mem::take(&mut self.left_out);
        if lines > 0 {
            let text = format!("looprig: {lines} lines of output were left out, since nobody took them");
            self.put(text.len(), Piece::Message(text));
        }
    }
}

fn write_on(
    mut to: Box<dyn Write + Send>,
    pieces: &Receiver<Piece>,
    shared: &Shared,
) -> Box<dyn Write + Send> {
    let mut works = true;
    for piece in pieces {
        let length = match piece {
            Piece::Result(octets) => {
                if works && let Err(e) = to.write_all(&octets).and_then(|()| to.flush()) {
                    works = false;
                    *shared.failed.lock().unwrap_or_else(PoisonError::into_inner) = Some(e);
                }
                octets.len()
            }
            Piece::Message(text) => {
                say(&text);
                text.len()
            }
        };
        shared.waiting.fetch_sub(length, Ordering::SeqCst);
    }
    to
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc::{SyncSender, sync_channel};

    /// Takes nothing until it is allowed to.
    struct Stopped {
        go: Receiver<()>,
        got: SyncSender<Vec<u8>>,
    }

    impl Write for Stopped {
        fn write(&mut self, octets: &[u8]) -> io::Result<usize> {
            let _ = self.go.recv();
            self.got.send(octets.to_vec()).map_err(|_| io::ErrorKind::BrokenPipe)?;
            Ok(octets.len())
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    fn stopped() -> (Aside, Sender<()>, Receiver<Vec<u8>>) {
        let (go, hear_go) = channel();
        let (got, taken) = sync_channel(1 << 20);
        (Aside::start(Box::new(Stopped { go: hear_go, got })), go, taken)
    }

    /// Nobody takes anything: whoever writes does not wait, what is kept is bounded, and it is whole
    /// lines in order.
    #[test]
    fn a_reader_who_pauses_holds_nobody_up() {
        let (mut aside, go, taken) = stopped();
        let line = |n: usize| format!("{n:>99}\n");
        for n in 0..20_000 {
            aside.write(&line(n)).unwrap();
        }
        let fits = MOST_WAITING / 100;
        assert_eq!(aside.left_out, 20_000 - fits);
        drop(go);
        // The end, such as a summary, is waited for.
        assert!(aside.join("the end\n".into()).1.is_ok());
        let text: Vec<u8> = taken.try_iter().flatten().collect();
        let whole = (0..fits).map(line).collect::<String>() + "the end\n";
        assert_eq!(String::from_utf8(text).unwrap(), whole);
    }

    /// A reader who has gone is told with the next piece, or at the end.
    #[test]
    fn a_failure_is_passed_on() {
        let (mut aside, go, taken) = stopped();
        drop(taken);
        aside.write("a\n").unwrap();
        drop(go);
        let told = loop {
            if let Err(e) = aside.write("b\n") {
                break e;
            }
            std::thread::yield_now();
        };
        assert_eq!(told.kind(), io::ErrorKind::BrokenPipe);
        let (mut aside, go, taken) = stopped();
        drop(taken);
        aside.write("a\n").unwrap();
        drop(go);
        assert_eq!(aside.join(String::new()).1.unwrap_err().kind(), io::ErrorKind::BrokenPipe);
    }
}
