//! One real port as a line.

use super::{InterruptHandle, PeerNews, PortEvent, Ports};
use crate::frame::{Capabilities, Marks, Octet};
use crate::line::{Endpoint, Error, Event, HartIpClient, Line, PortStatus, SerialOptions};
use crate::time::{Instant, Pace};
use std::path::Path;

/// A serial port [LI-03], a new pseudo-terminal [LI-02] or one end of TCP [LI-12] as a [`Line`] on the wall clock.
///
/// Octets that were read together have one stamp, the time of reading: when each of them ended is
/// not known, only that it was not later.
pub struct PortLine {
    ports: Ports,
    pace: Pace,
    closed: bool,
    news: Option<News>,
}

/// Told of a peer of a listening TCP port.
type News = Box<dyn FnMut(&str, &PeerNews) + Send>;

/// The only port there is.
const PORT: usize = 0;

impl PortLine {
    /// Opens a serial port; see [`Ports::open_serial`].
    ///
    /// # Errors
    /// As there.
    pub fn open_serial(path: &str, pace: Pace) -> Result<PortLine, Error> {
        PortLine::open_serial_with(path, pace, SerialOptions::default())
    }

    /// Opens a serial port; see [`Ports::open_serial_with`].
    ///
    /// # Errors
    /// As there.
    pub fn open_serial_with(path: &str, pace: Pace, options: SerialOptions) -> Result<PortLine, Error> {
        let mut ports = Ports::new();
        ports.open_serial_with(path, pace, options)?;
        Ok(PortLine::over(ports, pace))
    }

    /// Makes a new pseudo-terminal; see [`Ports::open_pty`].
    ///
    /// # Errors
    /// As there.
    pub fn open_pty(link: Option<&Path>, pace: Pace) -> Result<PortLine, Error> {
        let mut ports = Ports::new();
        ports.open_pty(link, pace)?;
        Ok(PortLine::over(ports, pace))
    }

    /// Connects by TCP; see [`Ports::open_tcp`].
    ///
    /// # Errors
    /// As there.
    pub fn open_tcp(to: &Endpoint, pace: Pace) -> Result<PortLine, Error> {
        let mut ports = Ports::new();
        ports.open_tcp(to, pace)?;
        Ok(PortLine::over(ports, pace))
    }

    /// Opens a session with a HART-IP server; see [`Ports::open_hart_ip`].
    ///
    /// # Errors
    /// As there.
    pub fn open_hart_ip(to: &HartIpClient) -> Result<PortLine, Error> {
        let mut ports = Ports::new();
        ports.open_hart_ip(to)?;
        // Nobody can tell how long a message took on the way: times are not judged.
        Ok(PortLine::over(ports, Pace::Fast))
    }

    /// Listens on TCP; see [`Ports::open_tcp_listen`].
    ///
    /// # Errors
    /// As there.
    pub fn open_tcp_listen(at: &Endpoint, pace: Pace) -> Result<PortLine, Error> {
        let mut ports = Ports::new();
        ports.open_tcp_listen(at, pace)?;
        Ok(PortLine::over(ports, pace))
    }

    fn over(ports: Ports, pace: Pace) -> PortLine {
        PortLine { ports, pace, closed: false, news: None }
    }

    /// From now on [`Line::wait`] hands `news` what happens to the peers of a listening TCP port: the
    /// peer's address, and what.
    pub fn on_peer_news(&mut self, news: impl FnMut(&str, &PeerNews) + Send + 'static) {
        self.news = Some(Box::new(news));
    }

    /// What another program opens to get here; see [`Ports::path`].
    pub fn path(&self) -> &Path {
        self.ports.path(PORT)
    }

    /// What a serial port tells about itself; `None` for other ports.
    pub fn status(&self) -> Option<PortStatus> {
        self.ports.status(PORT)
    }

    /// Whether it is an end of a pseudo-terminal, which has neither modem lines nor parity [LI-02].
    pub fn is_pty(&self) -> bool {
        self.ports.is_pty(PORT)
    }

    /// A handle that makes [`Line::wait`] return [`Event::Interrupted`].
    pub fn interrupt_handle(&self) -> InterruptHandle {
        self.ports.interrupt_handle()
    }
}

impl Drop for PortLine {
    fn drop(&mut self) {
        for event in self.ports.end() {
            if let (PortEvent::Peer { peer, news, .. }, Some(tell)) = (event, &mut self.news) {
                tell(&peer, &news);
            }
        }
    }
}

impl Line for PortLine {
    fn describe(&self) -> String {
        self.ports.describe(PORT)
    }

    fn capabilities(&self) -> Capabilities {
        self.ports.capabilities(PORT)
    }

    fn pace(&self) -> Pace {
        self.pace
    }

    fn now(&mut self) -> Instant {
        self.ports.now()
    }

    fn send(&mut self, octets: &[u8]) -> Result<(), Error> {
        self.ports.send(PORT, octets)
    }

    /// That a program opens or closes the other end of a pseudo-terminal, or connects by TCP, is not an
    /// event: a wire does not tell either. A lost port is an error once, and [`Event::Closed`] from then on.
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        if self.closed {
            return Ok(Event::Closed);
        }
        loop {
            return Ok(match self.ports.wait(until) {
                PortEvent::Octets { values, marks, at, .. } => {
                    let marks = marks.into_iter().chain(core::iter::repeat(Marks::NONE));
                    Event::Octets(
                        values.iter().zip(marks).map(|(&value, marks)| Octet { at, value, marks }).collect(),
                    )
                }
                PortEvent::PeerCame { .. }
                | PortEvent::PeerGone { .. }
                | PortEvent::Asked { .. }
                | PortEvent::Forgotten { .. }
                | PortEvent::Woken => continue,
                PortEvent::NoAnswer { at, .. } => Event::NoAnswer { at },
                PortEvent::Peer { peer, news, .. } => {
                    if let Some(tell) = &mut self.news {
                        tell(&peer, &news);
                    }
                    continue;
                }
                #[cfg(unix)]
                PortEvent::PeerSettings { .. } => continue,
                PortEvent::Sent { at, .. } => Event::Sent { at },
                PortEvent::Interrupted => Event::Interrupted,
                PortEvent::TimeOut => Event::TimeOut,
                PortEvent::Closed { error, .. } => {
                    self.closed = true;
                    return Err(error);
                }
            });
        }
    }
}
