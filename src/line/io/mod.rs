//! The ports of this machine: serial ports, pseudo-terminals, TCP and HART-IP, under one clock.
//!
//! [`Ports`] holds any number of them and has one queue of events, for a bench that drives a bus
//! between several; [`PortLine`] is one of them as a [`Line`](super::Line).
//!
//! Tried on Linux. Other systems of the Unix family differ in what a pseudo-terminal shows when its
//! other end closes.

#[cfg(unix)]
mod device;
#[cfg(not(unix))]
mod device_elsewhere;
mod files;
mod handles;
mod hart_ip;
mod hosted;
#[cfg(unix)]
mod peer;
mod peer_news;
mod port_line;
mod ports;
#[cfg(unix)]
mod pty;
mod sampled;
mod serial;
mod tcp;

pub(crate) use files::allow_many;
#[cfg(unix)]
pub use peer::PeerSettings;
pub use port_line::PortLine;
pub use ports::{InterruptHandle, PeerNews, PortEvent, Ports, WakeHandle};
pub use sampled::{SampledLine, SampledSource};
