//! A line that is open, whatever it is, and what ends its wait.

use super::mock_line::MockLine;
use super::silence::ServerSaid;
use crate::frame::{Capabilities, RawFrame};
use crate::line::io::{InterruptHandle, PortLine, SampledLine};
use crate::line::{Error, Event, Line, PortStatus, SendsFaults};
use crate::time::{Instant, Pace};
use crate::wave::Remark;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// A line that is open.
pub enum OpenLine {
    /// A port of this machine; what the server says whose client it is, if it is one.
    Port(Box<PortLine>, Option<ServerSaid>),
    /// A bench in this process.
    Mock(Box<MockLine>),
    /// A recording.
    Sampled(Box<SampledLine>),
}

impl OpenLine {
    /// What ends its wait from another thread.
    pub fn interrupt_handle(&self) -> Interrupt {
        match self {
            OpenLine::Port(line, _) => Interrupt::Port(line.interrupt_handle()),
            OpenLine::Mock(line) => Interrupt::Mock(line.interrupt_flag()),
            OpenLine::Sampled(line) => Interrupt::Mock(line.interrupt_flag()),
        }
    }

    /// What a serial port tells about itself; `None` for other lines.
    pub fn status(&self) -> Option<PortStatus> {
        match self {
            OpenLine::Port(line, _) => line.status(),
            OpenLine::Mock(_) | OpenLine::Sampled(_) => None,
        }
    }

    /// What the HART-IP server has said that is at its other end; `None` where there is none.
    pub fn server_said(&self) -> Option<ServerSaid> {
        match self {
            OpenLine::Port(_, server) => server.clone(),
            OpenLine::Mock(_) | OpenLine::Sampled(_) => None,
        }
    }

    /// Whether it is an end of a pseudo-terminal.
    pub fn is_pty(&self) -> bool {
        matches!(self, OpenLine::Port(line, _) if line.is_pty())
    }

    /// Whether there is no port behind it at all.
    pub fn is_simulated(&self) -> bool {
        matches!(self, OpenLine::Mock(_))
    }

    fn line(&self) -> &dyn Line {
        match self {
            OpenLine::Port(line, _) => line,
            OpenLine::Mock(line) => line,
            OpenLine::Sampled(line) => line.as_ref(),
        }
    }

    fn line_mut(&mut self) -> &mut dyn Line {
        match self {
            OpenLine::Port(line, _) => line,
            OpenLine::Mock(line) => line,
            OpenLine::Sampled(line) => line.as_mut(),
        }
    }
}

impl Line for OpenLine {
    fn describe(&self) -> String {
        self.line().describe()
    }
    fn capabilities(&self) -> Capabilities {
        self.line().capabilities()
    }
    fn pace(&self) -> Pace {
        self.line().pace()
    }
    fn now(&mut self) -> Instant {
        self.line_mut().now()
    }
    fn is_recording(&self) -> bool {
        self.line().is_recording()
    }
    fn take_remarks(&mut self) -> Vec<Remark> {
        self.line_mut().take_remarks()
    }
    fn send(&mut self, octets: &[u8]) -> Result<(), Error> {
        self.line_mut().send(octets)
    }
    fn sends_faults(&self) -> SendsFaults {
        self.line().sends_faults()
    }
    fn send_raw(&mut self, frame: &RawFrame) -> Result<(), Error> {
        self.line_mut().send_raw(frame)
    }
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        self.line_mut().wait(until)
    }
}

/// Ends the wait of an open line from another thread.
#[derive(Clone)]
pub enum Interrupt {
    /// Wakes it.
    Port(InterruptHandle),
    /// It looks here again and again, for it never sleeps for long.
    Mock(Arc<AtomicBool>),
}

impl Interrupt {
    /// Makes the wait that runs, or else the next one, return [`Event::Interrupted`]. Never blocks.
    pub fn interrupt(&self) {
        match self {
            Interrupt::Port(handle) => handle.interrupt(),
            Interrupt::Mock(asked) => asked.store(true, Ordering::SeqCst),
        }
    }
}

impl From<InterruptHandle> for Interrupt {
    fn from(handle: InterruptHandle) -> Interrupt {
        Interrupt::Port(handle)
    }
}
