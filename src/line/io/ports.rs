//! Several real ports under one clock and one queue of events.

pub use super::handles::{InterruptHandle, WakeHandle};
use super::hart_ip;
use super::hosted::Hosted;
#[cfg(unix)]
use super::peer::PeerSettings;
pub use super::peer_news::PeerNews;
#[cfg(unix)]
use super::pty::Pty;
use super::serial::Serial;
use super::tcp::Tcp;
use crate::frame::{Capabilities, Frame, Marks};
use crate::ip::{Answer, Request, Ticket};
use crate::line::{Endpoint, Error, Fault, HartIpClient, HartIpServer, PortStatus, SerialOptions};
use crate::time::{Instant, Pace};
use std::collections::VecDeque;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::time::Duration;
use tokio::sync::Notify;
use tokio::sync::mpsc::UnboundedSender;

/// Events that wait to be fetched; a reader that finds the queue full leaves the octets with the
/// system until there is room.
const QUEUE: usize = 1024;

/// Transmissions of one [`Ports`] whose end is still to be reported.
const MOST_LEAVING: usize = 256;

/// The one place where real time enters: a clock that was zero when it was made.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clock(std::time::Instant);

impl Clock {
    #[allow(clippy::disallowed_methods)] // `line::io` is where the machine's clock is read
    fn start() -> Self {
        Clock(std::time::Instant::now())
    }

    /// Time since the start.
    pub(super) fn now(self) -> Instant {
        Instant::ZERO + self.0.elapsed()
    }
}

/// What [`Ports::wait`] came back with. `port` is the number that opening the port gave.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PortEvent {
    /// Octets were read.
    Octets {
        /// Where.
        port: usize,
        /// At least one, in order.
        values: Vec<u8>,
        /// What is wrong with each; empty when nothing is wrong with any.
        marks: Vec<Marks>,
        /// When they were read: not before the end of the last one.
        at: Instant,
    },
    /// A program has opened the other end of a pseudo-terminal.
    PeerCame {
        /// Which.
        port: usize,
    },
    /// How the program that has a pseudo-terminal open has set it: told when its first octets come, or
    /// after a moment, and whenever it has changed [LI-11].
    #[cfg(unix)]
    PeerSettings {
        /// Which.
        port: usize,
        /// As they are now.
        settings: PeerSettings,
    },
    /// The last program has closed the other end of a pseudo-terminal.
    PeerGone {
        /// Which.
        port: usize,
        /// It left the terminal locked (it asked for sole use and was killed): nobody but root can
        /// open it until this end is opened anew.
        locked: bool,
    },
    /// Something about one of the peers of a listening TCP port.
    Peer {
        /// Where.
        port: usize,
        /// Its address and port, for people; empty when it is not known.
        peer: String,
        /// What.
        news: PeerNews,
    },
    /// A client of a HART-IP server wants something; [`Ports::answer`] brings the answer.
    Asked {
        /// At which server.
        port: usize,
        /// To be given back with the answer.
        ticket: Ticket,
        /// What.
        request: Request,
    },
    /// Nobody waits any more for the answer to a [`PortEvent::Asked`].
    Forgotten {
        /// At which server.
        port: usize,
        /// Which.
        ticket: Ticket,
    },
    /// As [`Event::NoAnswer`](crate::line::Event::NoAnswer).
    NoAnswer {
        /// Where.
        port: usize,
        /// When that was known.
        at: Instant,
    },
    /// The last octet of a [`Ports::send`] has left.
    Sent {
        /// Where.
        port: usize,
        /// End of that octet.
        at: Instant,
    },
    /// The port is lost; nothing more comes from it.
    Closed {
        /// Which.
        port: usize,
        /// What the machine said.
        error: Error,
    },
    /// Somebody used the [`InterruptHandle`].
    Interrupted,
    /// Somebody used the [`WakeHandle`].
    Woken,
    /// The deadline passed.
    TimeOut,
}

/// What the threads put into the queue.
pub(super) enum Note {
    Event(PortEvent),
    /// Only wakes the one who waits.
    Wake,
}

/// A port's way to the queue.
#[derive(Clone)]
pub(super) struct Feed {
    pub(super) port: usize,
    pub(super) clock: Clock,
    queue: Queue,
}

/// Where events wait to be fetched.
#[derive(Clone)]
enum Queue {
    /// Of a thread: it waits while there is no room.
    Thread(SyncSender<Note>, Arc<Notify>),
    /// Of a server that runs while somebody waits for events.
    Hosted(UnboundedSender<PortEvent>),
}

impl Feed {
    /// Queues an event; false when nobody will ever fetch it.
    pub(super) fn put(&self, event: PortEvent) -> bool {
        match &self.queue {
            Queue::Thread(queue, bell) => {
                let put = queue.send(Note::Event(event)).is_ok();
                bell.notify_one();
                put
            }
            Queue::Hosted(queue) => queue.send(event).is_ok(),
        }
    }
}

/// What a transmission came to.
pub(super) enum Started {
    /// The port itself puts [`PortEvent::Sent`] into the queue.
    Reports,
    /// The last octet counts as gone at this time.
    EndsAt(Instant),
}

/// One open port. Dropping it ends its thread.
pub(super) trait Port: Send {
    fn describe(&self) -> String;
    fn capabilities(&self) -> Capabilities;
    /// What another program opens to get at this port.
    fn path(&self) -> &Path;
    /// What a serial port tells about itself.
    fn status(&self) -> Option<PortStatus> {
        None
    }
    /// Whether it is an end of a pseudo-terminal.
    fn is_pty(&self) -> bool {
        false
    }
    /// Hands octets on without waiting; false when they are dropped.
    fn write(&mut self, octets: &[u8]) -> Result<bool, Error>;
    /// Ends the sessions of its peers, where it has some that can be ended.
    fn hang_up(&mut self) {}
    /// Brings a client of a server what it asked.
    fn answer(&mut self, _: Ticket, _: Answer) {}
    /// Tells every client of a server what a device said unasked.
    fn publish(&mut self, _: &Frame) {}
    /// Hands its server on what it was told since the last time; within the runtime of a server that has no thread.
    fn hand_on(&mut self) {}
    /// Ends it, as dropping does; gives what nobody was told yet of its peers.
    fn end(&mut self) -> Vec<(String, PeerNews)> {
        Vec::new()
    }
    /// Like `write`, and the end is reported.
    fn send(&mut self, octets: &[u8]) -> Result<Started, Error>;
}

struct Slot {
    port: Box<dyn Port>,
    lost: Option<Error>,
}

/// Serial ports, pseudo-terminals and TCP under one clock, which is zero when this is made.
pub struct Ports {
    // Dropped first: a thread that waits for room in the queue then finds out and ends.
    notes: Receiver<Note>,
    slots: Vec<Slot>,
    queue: SyncSender<Note>,
    clock: Clock,
    asked: Arc<AtomicBool>,
    woken: Arc<AtomicBool>,
    leaving: VecDeque<(Instant, usize)>,
    /// Rings when a thread has put something into the queue.
    bell: Arc<Notify>,
    /// Servers without a thread.
    hosted: Option<Hosted>,
    /// Whose servers were told something since they had a look.
    told: Vec<usize>,
    ended: bool,
}

impl Default for Ports {
    fn default() -> Self {
        Self::new()
    }
}

impl Ports {
    /// No port yet; the clock starts.
    pub fn new() -> Self {
        Ports::with(Clock::start(), QUEUE)
    }

    /// No port, and never one, under the same clock: a queue takes room, and where there are many none has much.
    pub(crate) fn without_ports(&self) -> Self {
        Ports::with(self.clock, 1)
    }

    fn with(clock: Clock, room: usize) -> Self {
        let (queue, notes) = sync_channel(room);
        Ports {
            notes,
            slots: Vec::new(),
            queue,
            clock,
            asked: Arc::new(AtomicBool::new(false)),
            woken: Arc::new(AtomicBool::new(false)),
            leaving: VecDeque::new(),
            bell: Arc::new(Notify::new()),
            hosted: None,
            told: Vec::new(),
            ended: false,
        }
    }

    /// Time since these ports were made.
    pub fn now(&self) -> Instant {
        self.clock.now()
    }

    /// Opens a serial port at 1200 bit/s, 8 data bits, odd parity, 1 stop bit, for sole use [LI-03];
    /// gives its number. A pseudo-terminal may stand in for a serial port; it carries no parity.
    ///
    /// `pace` is what the other end keeps to: it decides when a transmission counts as gone.
    ///
    /// # Errors
    /// Not found, not allowed, in use, no serial port, or it does not take the settings.
    pub fn open_serial(&mut self, path: &str, pace: Pace) -> Result<usize, Error> {
        self.open_serial_with(path, pace, SerialOptions::default())
    }

    /// The same, with request-to-send, data-terminal-ready and echo as told [LI-06] [LI-08].
    ///
    /// # Errors
    /// As there.
    pub fn open_serial_with(
        &mut self,
        path: &str,
        pace: Pace,
        options: SerialOptions,
    ) -> Result<usize, Error> {
        let feed = self.feed();
        self.add(Serial::open(path, pace, options, feed)?)
    }

    /// Makes a new pseudo-terminal that another program can open as a serial port [LI-02]; gives
    /// its number, and [`Ports::path`] says what to open. With `link`, a symbolic link of that name
    /// points to it until it is dropped; what stands there is replaced only if it is such a link
    /// that points nowhere or to a pseudo-terminal.
    ///
    /// # Errors
    /// The system has no more pseudo-terminals, or none at all, or the link's name is taken or cannot be made.
    pub fn open_pty(&mut self, link: Option<&Path>, pace: Pace) -> Result<usize, Error> {
        #[cfg(unix)]
        {
            let feed = self.feed();
            self.add(Pty::open(link, pace, feed)?)
        }
        #[cfg(not(unix))]
        {
            let _ = (link, pace);
            let said = "this system has no pseudo-terminals; join two serial ports and name one of them";
            Err(Error::new("opening", "pty:", Fault::System, said))
        }
    }

    /// Connects to somebody who listens on TCP and carries octets as on the wire [LI-12]; gives its
    /// number. When the connection ends the port is lost.
    ///
    /// # Errors
    /// No such host, nobody listens there, or no answer within 5 s once the name is resolved.
    pub fn open_tcp(&mut self, to: &Endpoint, pace: Pace) -> Result<usize, Error> {
        let feed = self.feed();
        self.add(Tcp::connect(to, pace, feed)?)
    }

    /// Listens for others to connect by TCP [LI-12]; gives its number. Up to 16 peers hear what is sent
    /// here and what one of them sends; one speaks at a time. [`Ports::path`] is the LINE that
    /// reaches it, with the port that the system chose if 0 was asked for.
    ///
    /// # Errors
    /// The address is taken, or is none of this machine's.
    pub fn open_tcp_listen(&mut self, at: &Endpoint, pace: Pace) -> Result<usize, Error> {
        let feed = self.feed();
        self.add(Tcp::listen(at, pace, feed)?)
    }

    /// Opens a session with a HART-IP server [IP-05]; gives its number. Whole frames are sent and received, each
    /// received one behind five octets of FF; a session that is lost is opened anew.
    ///
    /// # Errors
    /// No such host, nobody answers within 5 s, or the server opens no session.
    pub fn open_hart_ip(&mut self, to: &HartIpClient) -> Result<usize, Error> {
        let feed = self.feed();
        self.add(hart_ip::Client::connect(to, feed)?)
    }

    /// Listens as a HART-IP server; gives its number. What its clients want is [`PortEvent::Asked`]; octets cannot be
    /// sent there. [`Ports::path`] is the LINE that reaches it.
    ///
    /// # Errors
    /// The address is taken, or is none of this machine's.
    pub fn open_hart_ip_server(&mut self, at: &HartIpServer) -> Result<usize, Error> {
        let feed = self.feed();
        self.add(hart_ip::Server::listen(at, feed, None)?)
    }

    /// The same without a thread: the server works while somebody waits in [`Ports::wait`], at deadlines that may be 1 ms late,
    /// and what comes meanwhile stays with the system. Request and answer are faster by far.
    ///
    /// # Errors
    /// As there.
    pub fn open_hart_ip_server_hosted(&mut self, at: &HartIpServer) -> Result<usize, Error> {
        if self.hosted.is_none() {
            let failed = |e| Error::new("opening", &at.to_string(), Fault::System, e);
            self.hosted = Some(Hosted::new().map_err(failed)?);
        }
        let queue = self.hosted.as_ref().map(|h| Queue::Hosted(h.sender()));
        let feed = self.feed();
        let feed = Feed { queue: queue.unwrap_or(feed.queue), ..feed };
        let server = hart_ip::Server::listen(at, feed, self.hosted.as_mut())?;
        self.add(server)
    }

    /// Brings a client of a HART-IP server what it asked; other ports have nobody to be told.
    pub fn answer(&mut self, port: usize, ticket: Ticket, answer: Answer) {
        self.slots[port].port.answer(ticket, answer);
        self.has_told(port);
    }

    /// Tells the clients of all HART-IP servers what a device said unasked.
    pub fn publish(&mut self, frame: &Frame) {
        self.slots.iter_mut().for_each(|slot| slot.port.publish(frame));
        (0..self.slots.len()).for_each(|port| self.has_told(port));
    }

    fn has_told(&mut self, port: usize) {
        if self.hosted.is_some() && self.told.last() != Some(&port) {
            self.told.push(port);
        }
    }

    fn feed(&self) -> Feed {
        let queue = Queue::Thread(self.queue.clone(), Arc::clone(&self.bell));
        Feed { port: self.slots.len(), clock: self.clock, queue }
    }

    fn add(&mut self, port: impl Port + 'static) -> Result<usize, Error> {
        self.slots.push(Slot { port: Box::new(port), lost: None });
        Ok(self.slots.len() - 1)
    }

    /// How many ports there are; their numbers run from zero.
    pub fn count(&self) -> usize {
        self.slots.len()
    }

    /// What the port is, for people, such as `serial:/dev/ttyUSB0, 1200 8O1`.
    ///
    /// # Panics
    /// No such port, here and in the other methods that take a number.
    pub fn describe(&self, port: usize) -> String {
        self.slots[port].port.describe()
    }

    /// What its stamps and octets can tell [LI-04].
    pub fn capabilities(&self, port: usize) -> Capabilities {
        self.slots[port].port.capabilities()
    }

    /// What a serial port tells about itself; `None` for other ports.
    pub fn status(&self, port: usize) -> Option<PortStatus> {
        self.slots[port].port.status()
    }

    /// Whether it is an end of a pseudo-terminal, which has neither modem lines nor parity [LI-02].
    pub fn is_pty(&self, port: usize) -> bool {
        self.slots[port].port.is_pty()
    }

    /// The path at which another program reaches a pseudo-terminal (the link, if there is one), or
    /// that of the serial port; of TCP the LINE that reaches it, such as `tcp:127.0.0.1:5500`.
    pub fn path(&self, port: usize) -> &Path {
        self.slots[port].port.path()
    }

    /// Hands octets to a port without waiting. False when they were dropped: nobody has the
    /// pseudo-terminal open, or nobody empties the port. A real wire does the same.
    ///
    /// # Errors
    /// The port is lost.
    pub fn write(&mut self, port: usize, octets: &[u8]) -> Result<bool, Error> {
        let slot = &mut self.slots[port];
        match &slot.lost {
            Some(error) => Err(error.clone()),
            None => slot.port.write(octets),
        }
    }

    /// Closes the connections of all peers of listening TCP ports; each is told as gone. Other ports have no session.
    pub fn hang_up(&mut self) {
        self.slots.iter_mut().for_each(|slot| slot.port.hang_up());
        (0..self.slots.len()).for_each(|port| self.has_told(port));
    }

    /// An event of a server without a thread that is there already; without waiting.
    pub fn ready(&mut self) -> Option<PortEvent> {
        self.hosted.as_mut()?.ready()
    }

    /// Ends all ports, as dropping them does; gives what is still to be told of their peers. From then on
    /// [`Ports::wait`] gives [`PortEvent::Interrupted`].
    pub fn end(&mut self) -> Vec<PortEvent> {
        // A thread that waits for room in the queue finds out and ends.
        self.notes = sync_channel(1).1;
        self.ended = true;
        let mut rest = Vec::new();
        for (port, slot) in self.slots.iter_mut().enumerate() {
            let news = slot.port.end().into_iter();
            rest.extend(news.map(|(peer, news)| PortEvent::Peer { port, peer, news }));
        }
        let hosted = self.hosted.iter_mut().flat_map(Hosted::end);
        rest.extend(hosted.filter(|e| matches!(e, PortEvent::Peer { .. })));
        rest
    }

    /// Like [`Ports::write`], and [`PortEvent::Sent`] follows when the last octet has left, which is
    /// no sooner than the pace allows. Octets that nobody hears take their time all the same.
    ///
    /// # Errors
    /// The port is lost, or takes no more octets.
    pub fn send(&mut self, port: usize, octets: &[u8]) -> Result<(), Error> {
        let slot = &mut self.slots[port];
        if let Some(error) = &slot.lost {
            return Err(error.clone());
        }
        if self.leaving.len() >= MOST_LEAVING {
            let line = slot.port.describe();
            return Err(Error::new("sending on", &line, Fault::Stuck, ""));
        }
        if let Started::EndsAt(at) = slot.port.send(octets)? {
            let after = self.leaving.partition_point(|&(t, _)| t <= at);
            self.leaving.insert(after, (at, port));
        }
        Ok(())
    }

    /// Waits until something happens, at most until `until` on this clock. An interrupt goes before
    /// everything, then ends of transmissions that are due, then what the ports have read, in the
    /// order in which it was read.
    pub fn wait(&mut self, until: Option<Instant>) -> PortEvent {
        loop {
            if self.ended || self.asked.swap(false, Ordering::SeqCst) {
                return PortEvent::Interrupted;
            }
            if self.woken.swap(false, Ordering::SeqCst) {
                return PortEvent::Woken;
            }
            let now = self.now();
            if let Some(&(at, port)) = self.leaving.front()
                && at <= now
            {
                self.leaving.pop_front();
                return PortEvent::Sent { port, at };
            }
            let sent = self.leaving.front().map(|&(at, _)| at);
            match self.next(sent.into_iter().chain(until).min(), now) {
                Some(Note::Event(event)) => {
                    if let PortEvent::Closed { port, error } = &event {
                        self.slots[*port].lost = Some(error.clone());
                    }
                    return event;
                }
                Some(Note::Wake) => {}
                None => {
                    let now = self.now();
                    let sent_first = sent.is_some_and(|at| at <= now);
                    if !sent_first && until.is_some_and(|u| u <= now) {
                        return PortEvent::TimeOut;
                    }
                }
            }
        }
    }

    fn next(&mut self, wake: Option<Instant>, now: Instant) -> Option<Note> {
        if let Some(hosted) = &mut self.hosted {
            let (slots, told) = (&mut self.slots, &mut self.told);
            let tell = (!told.is_empty()).then_some(|| told.drain(..).for_each(|p| slots[p].port.hand_on()));
            return hosted.next(&self.notes, &self.bell, wake.map(|w| w.since(now)), tell);
        }
        // The queue cannot be closed: we hold a sender ourselves.
        match wake.map(|w| w.since(now)) {
            Some(Duration::ZERO) => self.notes.try_recv().ok(),
            Some(left) => self.notes.recv_timeout(left).ok(),
            None => self.notes.recv().ok(),
        }
    }

    /// A handle that makes [`Ports::wait`] return [`PortEvent::Woken`].
    pub fn wake_handle(&self) -> WakeHandle {
        WakeHandle { asked: Arc::clone(&self.woken), queue: self.queue.clone(), bell: Arc::clone(&self.bell) }
    }

    /// A handle that wakes [`Ports::wait`].
    pub fn interrupt_handle(&self) -> InterruptHandle {
        InterruptHandle {
            asked: Arc::clone(&self.asked),
            queue: self.queue.clone(),
            bell: Arc::clone(&self.bell),
        }
    }
}

/// The end of `count` characters at `pace` that begin at `begun` or, if that is later, when the
/// transmission before them ends.
pub(super) fn end_of(begun: Instant, before: Instant, count: usize, pace: Pace) -> Instant {
    let count = u32::try_from(count).unwrap_or(u32::MAX);
    begun.max(before) + pace.character().saturating_mul(count)
}
