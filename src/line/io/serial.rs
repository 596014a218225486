//! A serial port at 1200 bit/s, 8 data bits, odd parity, 1 stop bit [LI-03].
//!
//! A thread of its own owns the port and lets [`PortLogic`] work it: it stamps what it reads, and it
//! reads while it writes.
//!
//! A pseudo-terminal may stand in for a serial port. Linux accepts the setting for parity there and
//! drops it without a word, so the settings are read back and the line says that it keeps no parity.

#[cfg(unix)]
use super::device::Device;
#[cfg(not(unix))]
use super::device_elsewhere::Device;
use super::ports::{Feed, Port, PortEvent, Started};
use crate::frame::{Capabilities, StampUnit};
use crate::line::{
    CAPACITY, EchoUse, Error, Fault, PortFault, PortLogic, PortOutput, PortStatus, SerialOptions,
};
use crate::time::{Instant, Pace};
use std::future::poll_fn;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::Poll;
use std::thread::JoinHandle;
use std::time::Duration;
use tokio::sync::mpsc::{UnboundedReceiver, UnboundedSender, unbounded_channel};

struct Command {
    octets: Vec<u8>,
    /// The end is to be reported.
    report: bool,
}

/// What the thread tells about the port: its status, and whether its carrier detect is alive.
type Told = Arc<Mutex<Option<(PortStatus, bool)>>>;

/// A serial port that is open.
pub(super) struct Serial {
    name: String,
    path: PathBuf,
    options: SerialOptions,
    /// The path is that of a pseudo-terminal.
    pty: bool,
    told: Told,
    commands: Option<UnboundedSender<Command>>,
    /// Octets that the thread has still to write. The queue of commands is bounded by it.
    waiting: Arc<AtomicUsize>,
    thread: Option<JoinHandle<()>>,
}

impl Serial {
    pub(super) fn open(
        path: &str,
        pace: Pace,
        mut options: SerialOptions,
        feed: Feed,
    ) -> Result<Serial, Error> {
        let name = format!("serial:{path}");
        let pty = stands_in(path);
        if pty && options.echo == EchoUse::Auto {
            // Nothing there echoes like a modem, and programs may well send the same.
            options.echo = EchoUse::Off;
        }
        let (commands, received) = unbounded_channel();
        let waiting = Arc::new(AtomicUsize::new(0));
        let told = Told::default();
        let (opened, hear_opened) = std::sync::mpsc::channel();
        let worker = Worker {
            path: path.to_string(),
            name: name.clone(),
            pty,
            pace,
            options,
            feed,
            commands: received,
            waiting: Arc::clone(&waiting),
            told: Arc::clone(&told),
        };
        let thread = std::thread::Builder::new()
            .name("looprig-serial".to_string())
            .spawn(move || worker.run(&opened))
            .map_err(|e| system(&name, e))?;
        let serial = Serial {
            name,
            path: PathBuf::from(path),
            options,
            pty,
            told,
            commands: Some(commands),
            waiting,
            thread: Some(thread),
        };
        match hear_opened.recv() {
            Ok(Ok(())) => Ok(serial),
            Ok(Err(e)) => Err(e),
            Err(_) => Err(system(&serial.name, "the port's thread ended")),
        }
    }

    /// Queues octets; false when there is no room.
    fn queue(&self, octets: &[u8], report: bool) -> Result<bool, Error> {
        let waiting = self.waiting.load(Ordering::SeqCst);
        // A single long transmission goes through: the bound is for those who never stop.
        if waiting > 0 && waiting.saturating_add(octets.len()) > CAPACITY {
            return Ok(false);
        }
        self.waiting.fetch_add(octets.len(), Ordering::SeqCst);
        let command = Command { octets: octets.to_vec(), report };
        match self.commands.as_ref().map(|c| c.send(command)) {
            Some(Ok(())) => Ok(true),
            _ => Err(Error::new("writing to", &self.name, Fault::Lost, "")),
        }
    }

    fn told(&self) -> Option<(PortStatus, bool)> {
        *self.told.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Port for Serial {
    fn describe(&self) -> String {
        if self.pty {
            format!("{}, 1200 8N1 (a pseudo-terminal keeps no parity)", self.name)
        } else {
            format!("{}, 1200 8O1", self.name)
        }
    }

    fn capabilities(&self) -> Capabilities {
        let told = self.told();
        Capabilities {
            unit: StampUnit::Octets,
            stamp_error: told.map_or(Duration::ZERO, |(s, _)| s.stamp_error),
            parity_seen: told.is_some_and(|(s, _)| s.parity_kept),
            carrier_seen: told.is_some_and(|(_, alive)| alive),
            echo: self.options.echo == EchoUse::On,
        }
    }

    fn path(&self) -> &Path {
        &self.path
    }

    fn status(&self) -> Option<PortStatus> {
        self.told().map(|(s, _)| s)
    }

    fn is_pty(&self) -> bool {
        self.pty
    }

    fn write(&mut self, octets: &[u8]) -> Result<bool, Error> {
        self.queue(octets, false)
    }

    fn send(&mut self, octets: &[u8]) -> Result<Started, Error> {
        if self.queue(octets, true)? {
            Ok(Started::Reports)
        } else {
            Err(Error::new("sending on", &self.name, Fault::Stuck, ""))
        }
    }
}

impl Drop for Serial {
    fn drop(&mut self) {
        // The end of the commands ends the thread, and with it goes the port. The port's own drop
        // lifts the mark for sole use: on a pseudo-terminal it would outlive the close.
        drop(self.commands.take());
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// What the thread owns.
struct Worker {
    path: String,
    name: String,
    pty: bool,
    pace: Pace,
    options: SerialOptions,
    feed: Feed,
    commands: UnboundedReceiver<Command>,
    waiting: Arc<AtomicUsize>,
    told: Told,
}

/// What the thread woke up for.
enum Step {
    /// Octets, room, or the time has come.
    Look,
    Failed(std::io::Error),
    Command(Option<Command>),
}

impl Worker {
    fn run(mut self, opened: &Sender<Result<(), Error>>) {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
        match runtime {
            Err(e) => {
                let _ = opened.send(Err(system(&self.name, e)));
            }
            Ok(runtime) => runtime.block_on(async {
                match self.open() {
                    Err(e) => {
                        let _ = opened.send(Err(e));
                    }
                    Ok((mut device, mut logic)) => {
                        self.tell(&logic);
                        let _ = opened.send(Ok(()));
                        let served = self.serve(&mut device, &mut logic).await;
                        logic.close(&mut device);
                        if let Err(f) = served {
                            let error = Error::new(f.doing, &self.name, f.fault, f.said);
                            let port = self.feed.port;
                            self.feed.put(PortEvent::Closed { port, error });
                        }
                    }
                }
            }),
        }
    }

    fn open(&self) -> Result<(Device, PortLogic), Error> {
        let mut device = Device::open(&self.path, &self.name, self.pty)?;
        let now = self.feed.clock.now();
        let logic = PortLogic::open(self.options, self.pace, now, &mut device)
            .map_err(|f| Error::new(f.doing, &self.name, f.fault, f.said))?;
        Ok((device, logic))
    }

    fn tell(&self, logic: &PortLogic) {
        let mut told = self.told.lock().unwrap_or_else(PoisonError::into_inner);
        *told = Some((logic.status(), logic.carrier_seen()));
    }

    /// Reads and writes until nobody is left to do it for; the error says that the port is lost.
    async fn serve(&mut self, device: &mut Device, logic: &mut PortLogic) -> Result<(), PortFault> {
        let clock = self.feed.clock;
        loop {
            let handled = logic.handle(clock.now(), device);
            self.waiting.fetch_sub(logic.take_written(), Ordering::SeqCst);
            self.tell(logic);
            // Also what came before the port was lost.
            while let Some(output) = logic.poll_output() {
                if !self.pass_on(output) {
                    return Ok(());
                }
            }
            handled?;
            let wake = logic.wake_at();
            let left = wake.map_or(Duration::from_secs(3600), |at| at.since(clock.now()));
            let mut timer = Box::pin(tokio::time::sleep(left));
            let step = poll_fn(|cx| {
                // First, because they are bounded and what arrives is not.
                if let Poll::Ready(command) = self.commands.poll_recv(cx) {
                    return Poll::Ready(Step::Command(command));
                }
                if let Poll::Ready(r) = device.poll_octets(cx) {
                    return Poll::Ready(r.map_or_else(Step::Failed, |()| Step::Look));
                }
                if logic.wants_room()
                    && let Poll::Ready(r) = device.poll_room(cx)
                {
                    return Poll::Ready(r.map_or_else(Step::Failed, |()| Step::Look));
                }
                timer.as_mut().poll(cx).map(|()| Step::Look)
            })
            .await;
            match step {
                Step::Look => {}
                Step::Failed(e) => {
                    let said = e.to_string();
                    return Err(PortFault { doing: "waiting for", fault: Fault::Lost, said });
                }
                Step::Command(None) => return Ok(()),
                Step::Command(Some(command)) => logic.send(command.octets, command.report),
            }
        }
    }

    /// Queues an event; false when nobody will ever fetch it.
    fn pass_on(&self, output: PortOutput) -> bool {
        let port = self.feed.port;
        match output {
            PortOutput::Sent { at } => self.feed.put(PortEvent::Sent { port, at }),
            // What was kept back as an echo has the time at which it came.
            PortOutput::Octets(octets) => octets.chunk_by(|a, b| a.at == b.at).all(|part| {
                let values = part.iter().map(|o| o.value).collect();
                let clean = part.iter().all(|o| o.marks.is_empty());
                let marks = if clean { Vec::new() } else { part.iter().map(|o| o.marks).collect() };
                let at = part.first().map_or(Instant::ZERO, |o| o.at);
                self.feed.put(PortEvent::Octets { port, values, marks, at })
            }),
        }
    }
}

fn system(name: &str, said: impl std::fmt::Display) -> Error {
    Error::new("opening", name, Fault::System, said)
}

#[cfg(unix)]
fn stands_in(path: &str) -> bool {
    std::fs::canonicalize(path).is_ok_and(|p| super::pty::is_pty(&p))
}

#[cfg(not(unix))]
fn stands_in(_: &str) -> bool {
    false
}
