//! How a HART-IP line is written and set up, at both ends [IP-01].

use super::Endpoint;
use crate::frame::Master;
use crate::ip::{Harmless, Limits, Masters, Nobody, PORT, ServerConfig};
use core::fmt;

/// Most sessions that a server can be told to keep [IP-13].
pub const MOST_SESSIONS: usize = 1024;

/// The client's end: where its server is, and how it introduces itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HartIpClient {
    /// The server's host and port.
    pub to: Endpoint,
    /// By TCP; else by UDP.
    pub tcp: bool,
    /// The master type of its session [IP-05].
    pub session: Master,
    /// Requests that may be done twice; none unless told, then nothing is asked again in a new session [IP-12].
    pub harmless: Harmless,
}

/// The server's end: where it listens, and what it allows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HartIpServer {
    /// Where it listens; port 0 takes one that is free.
    pub at: Endpoint,
    /// By TCP alone; else by UDP and TCP at the same port.
    pub tcp_only: bool,
    /// Which master types may have a session.
    pub masters: Masters,
    /// Whether there is one primary session at most.
    pub one_primary: bool,
    /// Most sessions at once, 1 to [`MOST_SESSIONS`].
    pub sessions: usize,
    /// What it answers where nobody answers on the wires [IP-08].
    pub nobody: Nobody,
    /// Requests that may be done twice; none unless told [IP-12].
    pub harmless: Harmless,
}

fn scheme(tcp: bool) -> &'static str {
    if tcp { "hart-ip+tcp" } else { "hart-ip" }
}

impl HartIpClient {
    /// Reads what stands behind `hart-ip:` or `hart-ip+tcp:`: a host, with a port if it is not 5094, and
    /// `session=primary|secondary` among the options.
    ///
    /// # Errors
    /// Says what is wrong and what would be right.
    pub fn parse(tcp: bool, to: &str, options: &str) -> Result<HartIpClient, String> {
        let mut session = Master::Secondary;
        for option in options.split('&').filter(|o| !o.is_empty()) {
            session = match option {
                "session=primary" => Master::Primary,
                "session=secondary" => Master::Secondary,
                _ => {
                    let only = "the only one is session=primary|secondary";
                    return Err(format!("\"{option}\" is no option of a {}: line: {only}", scheme(tcp)));
                }
            };
        }
        if to.is_empty() {
            let such = format!("such as {}:127.0.0.1", scheme(tcp));
            return Err(format!("{}: names no server: give HOST or HOST:PORT, {such}", scheme(tcp)));
        }
        let to =
            Endpoint::parse_connect(&with_port(to)).map_err(|said| said.replace("tcp:127", "hart-ip:127"))?;
        Ok(HartIpClient { to, tcp, session, harmless: Harmless::NONE })
    }
}

impl HartIpServer {
    /// Reads where to listen: nothing for this machine alone at port 5094, else `HOST`, `HOST:PORT` or `:PORT`.
    ///
    /// # Errors
    /// Says what is wrong and what would be right.
    pub fn parse(tcp_only: bool, at: &str) -> Result<HartIpServer, String> {
        let at = if at.is_empty() { format!(":{PORT}") } else { with_port(at) };
        let at = Endpoint::parse_listen(&at).map_err(|said| said.replace("tcp-listen:", "hart-ip:"))?;
        let limits = Limits::default();
        Ok(HartIpServer {
            at,
            tcp_only,
            masters: Masters::Both,
            one_primary: false,
            sessions: limits.sessions,
            nobody: Nobody::default(),
            harmless: Harmless::NONE,
        })
    }

    /// How the server is to behave; its clock is zero at `zero_s` seconds since 1970.
    pub fn config(&self, port: u16, zero_s: u32) -> ServerConfig {
        let limits = Limits { sessions: self.sessions.clamp(1, MOST_SESSIONS), ..Limits::default() };
        ServerConfig {
            masters: self.masters,
            one_primary: self.one_primary,
            nobody: self.nobody,
            harmless: self.harmless,
            limits,
            port,
            zero_s,
        }
    }
}

/// The same with the port 5094 where none is given.
fn with_port(text: &str) -> String {
    let after_host = text.rsplit_once(']').map_or(text, |(_, rest)| rest);
    if after_host.contains(':') { text.to_owned() } else { format!("{text}:{PORT}") }
}

impl fmt::Display for HartIpClient {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", scheme(self.tcp), self.to)
    }
}

impl fmt::Display for HartIpServer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", scheme(self.tcp_only), self.at)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_people_write() {
        for (text, shown) in [
            ("gw", "hart-ip:gw:5094"),
            ("gw:1", "hart-ip:gw:1"),
            ("10.0.0.7", "hart-ip:10.0.0.7:5094"),
            ("[::1]", "hart-ip:[::1]:5094"),
            ("[::1]:7", "hart-ip:[::1]:7"),
        ] {
            assert_eq!(HartIpClient::parse(false, text, "").map(|c| c.to_string()), Ok(shown.to_owned()));
        }
        for (text, shown) in [
            ("", "hart-ip+tcp:127.0.0.1:5094"),
            (":0", "hart-ip+tcp:127.0.0.1:0"),
            ("0.0.0.0", "hart-ip+tcp:0.0.0.0:5094"),
            ("localhost:9", "hart-ip+tcp:localhost:9"),
        ] {
            assert_eq!(HartIpServer::parse(true, text).map(|s| s.to_string()), Ok(shown.to_owned()));
        }
        let primary = HartIpClient::parse(true, "gw", "session=primary").map(|c| (c.session, c.tcp));
        assert_eq!(primary, Ok((Master::Primary, true)));
        for (to, options) in
            [("", ""), ("gw:0", ""), ("gw:x", ""), ("gw", "pace=4"), ("::1", ""), ("gw", "session=both")]
        {
            let said = HartIpClient::parse(false, to, options).expect_err(to);
            assert!(said.contains(": ") && !said.contains("tcp:"), "{said}");
        }
    }
}
