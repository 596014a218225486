//! Making sockets, and what the system is told about them.

use super::super::ports::Clock;
use crate::line::{Endpoint, Error, Fault};
use std::io::{self, ErrorKind};
use std::net::{SocketAddr, TcpListener, TcpStream, ToSocketAddrs};
use std::time::Duration;

/// Time for all addresses of a host together.
const CONNECT: Duration = Duration::from_secs(5);

/// Silence after which the system asks whether a peer is still there, seconds.
#[cfg(target_os = "linux")]
const KEEP_ALIVE_IDLE_S: libc::c_int = 10;
/// Time between such questions, seconds.
#[cfg(target_os = "linux")]
const KEEP_ALIVE_EVERY_S: libc::c_int = 5;
/// Questions without an answer after which the peer is gone.
#[cfg(target_os = "linux")]
const KEEP_ALIVE_PROBES: libc::c_int = 3;
/// Time in which octets have to be taken, ms: the same as those three make together.
#[cfg(target_os = "linux")]
const USER_TIMEOUT_MS: libc::c_int = 25_000;
/// The system's own buffer for octets that leave; on Linux it counts double.
#[cfg(target_os = "linux")]
const SEND_BUFFER: libc::c_int = 16 * 1024;

fn addresses(endpoint: &Endpoint, name: &str) -> Result<Vec<SocketAddr>, Error> {
    let found = (endpoint.host.as_str(), endpoint.port).to_socket_addrs();
    let found: Vec<SocketAddr> =
        found.map_err(|e| Error::new("opening", name, Fault::HostUnknown, e))?.collect();
    if found.is_empty() {
        return Err(Error::new("opening", name, Fault::HostUnknown, ""));
    }
    Ok(found)
}

/// Tries the host's addresses one after the other.
pub(super) fn connect(endpoint: &Endpoint, name: &str, clock: Clock) -> Result<TcpStream, Error> {
    let addresses = addresses(endpoint, name)?;
    let deadline = clock.now() + CONNECT;
    let mut last = io::Error::from(ErrorKind::TimedOut);
    for address in addresses {
        // Zero is no time-out that could be given.
        let left = deadline.since(clock.now());
        if left.is_zero() {
            break;
        }
        match TcpStream::connect_timeout(&address, left).and_then(|s| s.set_nonblocking(true).map(|()| s)) {
            Ok(stream) => return Ok(stream),
            Err(e) => last = e,
        }
    }
    let fault = match last.kind() {
        ErrorKind::ConnectionRefused => Fault::ConnectionRefused,
        ErrorKind::TimedOut | ErrorKind::HostUnreachable | ErrorKind::NetworkUnreachable => Fault::NoAnswer,
        _ => Fault::System,
    };
    Err(Error::new("opening", name, fault, last))
}

/// Listens at the first of the host's addresses that can be had, and says which it is.
pub(super) fn listen(endpoint: &Endpoint, name: &str) -> Result<(TcpListener, SocketAddr), Error> {
    let addresses = addresses(endpoint, name)?;
    let failed = |e: io::Error| {
        let fault = match e.kind() {
            ErrorKind::AddrInUse => Fault::AddressTaken,
            ErrorKind::AddrNotAvailable => Fault::AddressNotHere,
            _ => Fault::System,
        };
        Error::new("opening", name, fault, e)
    };
    let listener = TcpListener::bind(addresses.as_slice()).map_err(failed)?;
    listener.set_nonblocking(true).map_err(failed)?;
    let at = listener.local_addr().map_err(failed)?;
    Ok((listener, at))
}

/// No collecting of small packets, little room for octets that nobody takes, and a peer that has gone
/// without a word is found out. Where the system refuses, the line works all the same.
#[cfg(target_os = "linux")]
pub(in crate::line::io) fn tune(stream: &tokio::net::TcpStream) {
    use std::os::fd::AsRawFd;
    let _ = stream.set_nodelay(true);
    for (level, option, value) in [
        (libc::SOL_SOCKET, libc::SO_SNDBUF, SEND_BUFFER),
        (libc::SOL_SOCKET, libc::SO_KEEPALIVE, 1),
        (libc::IPPROTO_TCP, libc::TCP_KEEPIDLE, KEEP_ALIVE_IDLE_S),
        (libc::IPPROTO_TCP, libc::TCP_KEEPINTVL, KEEP_ALIVE_EVERY_S),
        (libc::IPPROTO_TCP, libc::TCP_KEEPCNT, KEEP_ALIVE_PROBES),
        (libc::IPPROTO_TCP, libc::TCP_USER_TIMEOUT, USER_TIMEOUT_MS),
    ] {
        // SAFETY: the descriptor is open, and the length is that of the value.
        unsafe {
            libc::setsockopt(
                stream.as_raw_fd(),
                level,
                option,
                (&raw const value).cast(),
                size_of::<libc::c_int>() as libc::socklen_t,
            );
        }
    }
}

/// Elsewhere the system's own times for peers that have gone without a word apply, hours perhaps.
#[cfg(not(target_os = "linux"))]
pub(in crate::line::io) fn tune(stream: &tokio::net::TcpStream) {
    let _ = stream.set_nodelay(true);
    #[cfg(unix)]
    {
        use std::os::fd::AsRawFd;
        let on: libc::c_int = 1;
        // SAFETY: the descriptor is open, and the length is that of the value.
        unsafe {
            libc::setsockopt(
                stream.as_raw_fd(),
                libc::SOL_SOCKET,
                libc::SO_KEEPALIVE,
                (&raw const on).cast(),
                size_of::<libc::c_int>() as libc::socklen_t,
            );
        }
    }
}

#[cfg(all(test, target_os = "linux"))]
mod tests {
    use super::*;
    use std::os::fd::AsRawFd;

    fn option(stream: &tokio::net::TcpStream, level: libc::c_int, option: libc::c_int) -> libc::c_int {
        let mut value: libc::c_int = -1;
        let mut length = size_of::<libc::c_int>() as libc::socklen_t;
        // SAFETY: the descriptor is open, and the length is that of the value.
        let got = unsafe {
            libc::getsockopt(stream.as_raw_fd(), level, option, (&raw mut value).cast(), &raw mut length)
        };
        assert_eq!(got, 0);
        value
    }

    /// A peer that vanishes without a word cannot be made on loopback, so the system's word has to do:
    /// 10 s + 3 * 5 s = 25 s, as the help says.
    #[test]
    fn the_system_is_told_to_find_out_who_has_gone() {
        let (listener, at) = listen(&Endpoint::parse_listen("0").unwrap(), "test").unwrap();
        let near = TcpStream::connect(at).unwrap();
        near.set_nonblocking(true).unwrap();
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        let _inside = runtime.enter();
        let near = tokio::net::TcpStream::from_std(near).unwrap();
        tune(&near);
        assert_ne!(option(&near, libc::SOL_SOCKET, libc::SO_KEEPALIVE), 0);
        let idle = option(&near, libc::IPPROTO_TCP, libc::TCP_KEEPIDLE);
        let every = option(&near, libc::IPPROTO_TCP, libc::TCP_KEEPINTVL);
        let probes = option(&near, libc::IPPROTO_TCP, libc::TCP_KEEPCNT);
        assert_eq!(idle + probes * every, 25);
        assert_eq!(option(&near, libc::IPPROTO_TCP, libc::TCP_USER_TIMEOUT), 25_000);
        assert!(near.nodelay().unwrap());
        drop(listener);
    }
}
