//! HART-IP over sockets: a server for many clients, and a client [IP-01].
//!
//! What both ends do is in [`crate::ip`]; here are the sockets, each end with a thread of its own. Nothing limits who may
//! connect or ask, so a server listens at this machine alone unless the user names another address.

mod client;
mod server;

pub(super) use client::Client;
pub(super) use server::Server;

use crate::frame::{Capabilities, StampUnit};
use crate::line::{Endpoint, Error, Fault};
use std::net::{SocketAddr, ToSocketAddrs};
use std::time::Duration;

/// How late an answer may be: what a network, a server's queue and the wires behind it take. A message of its own says
/// when none comes (own figure, more than a client's patience).
const STAMP_ERROR: Duration = Duration::from_secs(3);

/// Messages tell nothing of characters.
fn capabilities() -> Capabilities {
    Capabilities {
        unit: StampUnit::Frames,
        stamp_error: STAMP_ERROR,
        parity_seen: false,
        carrier_seen: false,
        echo: false,
    }
}

/// The addresses of a host; at least one.
fn addresses(endpoint: &Endpoint, name: &str) -> Result<Vec<SocketAddr>, Error> {
    let found = (endpoint.host.as_str(), endpoint.port).to_socket_addrs();
    let found: Vec<SocketAddr> =
        found.map_err(|e| Error::new("opening", name, Fault::HostUnknown, e))?.collect();
    if found.is_empty() { Err(Error::new("opening", name, Fault::HostUnknown, "")) } else { Ok(found) }
}
