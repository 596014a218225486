//! Host and port of a TCP line [LI-12], as people write them.

use core::fmt;
use core::net::{IpAddr, Ipv6Addr};

/// The host where none is named: this machine, unreachable from any other.
pub const LOOPBACK: &str = "127.0.0.1";

/// A host, by name or address, and a TCP port.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Endpoint {
    /// A name, an IPv4 address, or an IPv6 address without brackets; not empty.
    pub host: String,
    /// 0 to 65535; 0 leaves the choice to the system, which only a listening end can.
    pub port: u16,
}

impl Endpoint {
    /// Reads where to listen: `HOST:PORT`, `:PORT` or `PORT`; without a host it is [`LOOPBACK`]. Port
    /// 0 takes any that is free. An IPv6 address stands in brackets.
    ///
    /// # Errors
    /// Says what is wrong and what would be right.
    pub fn parse_listen(text: &str) -> Result<Endpoint, String> {
        Endpoint::parse(text, "tcp-listen:127.0.0.1:5500, or tcp-listen:0 for a free port of this machine")
    }

    /// Reads where to connect to: like [`Endpoint::parse_listen`], and the port is not 0.
    ///
    /// # Errors
    /// As there.
    pub fn parse_connect(text: &str) -> Result<Endpoint, String> {
        let right = "tcp:127.0.0.1:5500";
        match Endpoint::parse(text, right)? {
            Endpoint { port: 0, .. } => {
                Err(format!("nobody can be reached at port 0: give HOST:PORT, such as {right}"))
            }
            endpoint => Ok(endpoint),
        }
    }

    fn parse(text: &str, right: &str) -> Result<Endpoint, String> {
        let advice = format!("give HOST:PORT, such as {right}");
        let (host, port) = match text.rsplit_once(':') {
            // The last colon of a bare IPv6 address in brackets is none before a port.
            _ if text.ends_with(']') => return Err(format!("\"{text}\" has no port: {advice}")),
            Some(parts) => parts,
            None => ("", text),
        };
        // `u16` would take "+5".
        let digits = !port.is_empty() && port.bytes().all(|b| b.is_ascii_digit());
        let Some(port) = port.parse().ok().filter(|_| digits) else {
            return Err(format!("\"{port}\" is no port, which is a number up to 65535: {advice}"));
        };
        let host = match host.strip_prefix('[').and_then(|h| h.strip_suffix(']')) {
            Some(inner) => {
                let address = inner.split_once('%').map_or(inner, |(address, _)| address);
                if address.parse::<Ipv6Addr>().is_err() {
                    return Err(format!("\"{inner}\" in brackets is no IPv6 address: {advice}"));
                }
                inner
            }
            None if host.is_empty() => LOOPBACK,
            None if host.contains(':') => {
                return Err(format!(
                    "\"{host}\" has colons of its own: put an IPv6 address in brackets, such as [::1]:5500"
                ));
            }
            None if host.chars().any(|c| c.is_whitespace() || c.is_control() || "/?#@[]%".contains(c)) => {
                return Err(format!("\"{}\" is no host: {advice}", host.escape_debug()));
            }
            None => host,
        };
        Ok(Endpoint { host: host.to_owned(), port })
    }

    /// Whether the host is certainly this machine and no other can get there.
    pub fn is_loopback(&self) -> bool {
        let address = self.host.parse::<IpAddr>();
        address.map_or(self.host.eq_ignore_ascii_case("localhost"), |a| a.is_loopback())
    }
}

impl fmt::Display for Endpoint {
    /// Host and port, an IPv6 address in brackets: what [`Endpoint::parse_listen`] reads.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.host.contains(':') {
            true => write!(f, "[{}]:{}", self.host, self.port),
            false => write!(f, "{}:{}", self.host, self.port),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_people_write() {
        for (text, shown, loopback) in [
            ("5500", "127.0.0.1:5500", true),
            (":5500", "127.0.0.1:5500", true),
            ("127.0.0.1:0", "127.0.0.1:0", true),
            ("localhost:1", "localhost:1", true),
            ("0.0.0.0:5500", "0.0.0.0:5500", false),
            ("gate-way.brackenmoor.example:65535", "gate-way.brackenmoor.example:65535", false),
            ("[::1]:5500", "[::1]:5500", true),
            ("[fe80::1%eth0]:5500", "[fe80::1%eth0]:5500", false),
        ] {
            let endpoint = Endpoint::parse_listen(text).unwrap();
            assert_eq!((endpoint.to_string().as_str(), endpoint.is_loopback()), (shown, loopback));
            assert_eq!(Endpoint::parse_listen(shown), Ok(endpoint));
        }
    }

    #[test]
    fn what_is_no_endpoint_says_what_would_be() {
        for (text, wrong) in [
            ("", "is no port"),
            ("host", "\"host\" is no port"),
            ("host:", "\"\" is no port"),
            ("host:65536", "\"65536\" is no port"),
            ("host:+5", "\"+5\" is no port"),
            ("host:-5", "\"-5\" is no port"),
            ("::1:5500", "put an IPv6 address in brackets"),
            ("[::1]", "has no port"),
            ("[host]:1", "is no IPv6 address"),
            ("a b:1", "is no host"),
            ("a/b:1", "is no host"),
            ("a\n:1", "is no host"),
        ] {
            let said = Endpoint::parse_listen(text).unwrap_err();
            assert!(said.contains(wrong) && said.contains("5500"), "{text:?}: {said}");
            assert!(Endpoint::parse_connect(text).is_err());
        }
        assert!(Endpoint::parse_connect("host:0").unwrap_err().contains("port 0"));
    }
}
