//! LINE strings of the command line, and opening what they name.

use super::mock_line::{MockLine, MockSpec};
use super::open_line::{Interrupt, OpenLine};
use super::output::{Failure, tell};
use crate::capture::{Direction as LogDirection, Header, LogWriter, Recorder};
use crate::frame::ReceiverConfig;
use crate::line::io::PortLine;
use crate::line::{Direction, Endpoint, Line, SerialOptions, Tap};
use crate::time::Pace;
use std::path::{Path, PathBuf};

/// A line as it is named on the command line.
#[derive(Clone, Debug, PartialEq)]
pub struct LineSpec {
    kind: Kind,
    pace: Pace,
    serial: SerialOptions,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Kind {
    Serial(String),
    Pty(Option<PathBuf>),
    Tcp(Endpoint),
    TcpListen(Endpoint),
    Mock(MockSpec),
}

/// What there is to choose from.
const FORMS: &str =
    "there are serial:PATH, pty: or pty:LINK, tcp:HOST:PORT, tcp-listen:HOST:PORT and mock:BENCH.toml";

impl LineSpec {
    /// Reads `serial:PATH`, `pty:`, `pty:LINK`, `tcp:HOST:PORT` or `tcp-listen:HOST:PORT`, each with
    /// `?pace=...` if wanted; a serial port also with `rts=`, `dtr=` and `echo=` [LI-06] [LI-08]. Or
    /// `mock:BENCH.toml`, with `seed=` and `for=` if wanted.
    ///
    /// # Errors
    /// Says what is wrong and what would be right.
    pub fn parse(text: &str) -> Result<LineSpec, String> {
        let mut serial = SerialOptions::default();
        let (address, options) = text.split_once('?').unwrap_or((text, ""));
        if let Some(bench) = address.strip_prefix("mock:") {
            let kind = Kind::Mock(MockSpec::parse(bench, options)?);
            return Ok(LineSpec { kind, pace: Pace::Wire, serial: SerialOptions::default() });
        }
        let mut pace = Pace::Wire;
        if let Some(port) = text.strip_prefix("serial:") {
            let (_, given, at_pace) = SerialOptions::split(port)?;
            serial = given;
            pace = at_pace.map_or(Ok(pace), Pace::parse)?;
        } else {
            for option in options.split('&').filter(|o| !o.is_empty()) {
                let value = option.strip_prefix("pace=").ok_or_else(|| {
                    format!("\"{option}\" is no option of this line: the only one is pace=wire|fast|FACTOR")
                })?;
                pace = Pace::parse(value)?;
            }
        }
        let Some((scheme, rest)) = address.split_once(':') else {
            let port = address.starts_with('/') || address.to_ascii_uppercase().starts_with("COM");
            return Err(if port {
                format!("\"{text}\" does not say what kind of line it is: did you mean serial:{text}?")
            } else {
                format!("\"{text}\" names no line: {FORMS}")
            });
        };
        let kind = match (scheme, rest) {
            ("serial", "") => return Err("serial: needs the port's path, such as serial:/dev/ttyUSB0".into()),
            ("serial", path) => Kind::Serial(path.to_owned()),
            ("pty", "") => Kind::Pty(None),
            ("pty", link) => Kind::Pty(Some(link.into())),
            ("tcp", to) => Kind::Tcp(Endpoint::parse_connect(to)?),
            ("tcp-listen", at) => Kind::TcpListen(Endpoint::parse_listen(at)?),
            ("hart-ip" | "hart-ip+tcp" | "log", _) => {
                return Err(format!("lines of the kind {scheme}: are not in this version: {FORMS}"));
            }
            _ => {
                return Err(format!("\"{scheme}:\" is no kind of line: {FORMS}"));
            }
        };
        Ok(LineSpec { kind, pace, serial })
    }

    /// Opens the line.
    ///
    /// # Errors
    /// The machine's, with what to do next.
    pub fn open(&self) -> Result<OpenLine, Failure> {
        let line = match &self.kind {
            Kind::Mock(mock) => return Ok(OpenLine::Mock(Box::new(MockLine::open(mock)?))),
            Kind::Serial(path) => PortLine::open_serial_with(path, self.pace, self.serial),
            Kind::Pty(link) => PortLine::open_pty(link.as_deref(), self.pace),
            Kind::Tcp(to) => PortLine::open_tcp(to, self.pace),
            Kind::TcpListen(at) => PortLine::open_tcp_listen(at, self.pace),
        };
        let mut line = line.map_err(Failure::from)?;
        if let Kind::TcpListen(at) = &self.kind {
            warn_of_network(at);
        }
        line.on_peer_news(|peer, news| {
            if news.is_trouble() {
                tell(&format!("peer {peer}: {news}"));
            }
        });
        Ok(OpenLine::Port(Box::new(line)))
    }

    /// Whether everybody on it is a mock of this process, whom nothing can harm [HO-05].
    pub fn is_mock(&self) -> bool {
        matches!(self.kind, Kind::Mock(_))
    }

    /// How long to listen, seconds, if so much is wanted: to a mock, whose time costs nothing, not for ever.
    pub fn listening_s(&self, wanted: Option<f64>) -> Option<f64> {
        match &self.kind {
            Kind::Mock(mock) => Some(mock.listening_s(wanted)),
            _ => wanted,
        }
    }
}

/// Says that others than this machine can get at a listening line, where that is so.
pub fn warn_of_network(at: &Endpoint) {
    if let Some(warning) = network_warning(at) {
        tell(&warning);
    }
}

fn network_warning(at: &Endpoint) -> Option<String> {
    (!at.is_loopback()).then(|| {
        format!(
            "tcp-listen:{at} may be reached from other machines: whoever reaches it can speak on the line, without a password"
        )
    })
}

/// Lets Ctrl-C and a termination signal end what goes on on a line.
///
/// # Errors
/// The system takes no handler.
pub fn end_on_signal(handle: impl Into<Interrupt>) -> Result<(), Failure> {
    let handle = handle.into();
    ctrlc::set_handler(move || handle.interrupt())
        .map_err(|e| Failure::new("getting ready for Ctrl-C", e.to_string(), ""))
}

/// A line or a path as a word for a shell.
pub fn quoted(text: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "/:._-".contains(c);
    if text.chars().all(plain) { text.to_owned() } else { format!("'{}'", text.replace('\'', "'\\''")) }
}

/// The start of a clock as the log's header has it.
pub fn utc_now() -> String {
    jiff::Timestamp::now().to_string()
}

/// The same to the second, for people: the log has the rest.
pub fn utc_now_words() -> String {
    jiff::Timestamp::now().strftime("%Y-%m-%d %H:%M:%S UTC").to_string()
}

/// Opens the log for a line that was opened just now.
///
/// # Errors
/// The file cannot be used.
pub fn open_log(path: &Path, line: &dyn Line) -> Result<LogWriter, Failure> {
    let header = Header::new(&line.describe(), &utc_now(), line.pace(), line.capabilities());
    LogWriter::open(path, &header).map_err(|e| Failure::told(e.to_string()))
}

/// Puts a log on a line, where one is wanted: every octet sent or received goes into it.
///
/// # Errors
/// The file cannot be used.
pub fn with_log<'a>(line: impl Line + 'a, path: Option<&Path>) -> Result<Box<dyn Line + 'a>, Failure> {
    let Some(path) = path else { return Ok(Box::new(line)) };
    let mut log = LogOfBoth { writer: Some(open_log(path, &line)?), sent: None, received: None };
    let config = ReceiverConfig::for_line(line.pace(), line.capabilities().stamp_error);
    let character = line.pace().character();
    log.sent = Some(Recorder::new(config, character, Some(LogDirection::Sent)));
    log.received = Some(Recorder::new(config, character, Some(LogDirection::Received)));
    Ok(Box::new(Tap::new(line, move |direction, octets| {
        let recorder = match direction {
            Direction::Sent => &mut log.sent,
            Direction::Received => &mut log.received,
        };
        if let Some(r) = recorder {
            r.push(octets);
        }
        log.write();
    })))
}

struct LogOfBoth {
    writer: Option<LogWriter>,
    sent: Option<Recorder>,
    received: Option<Recorder>,
}

impl LogOfBoth {
    fn write(&mut self) {
        for recorder in [&mut self.sent, &mut self.received].into_iter().flatten() {
            while let Some(record) = recorder.next() {
                let Some(writer) = &mut self.writer else { return };
                if let Err(e) = writer.write(&record) {
                    // The conversation goes on; what was logged so far is safe.
                    tell(&format!("{e}\n  the log ends here"));
                    self.writer = None;
                }
            }
        }
    }
}

impl Drop for LogOfBoth {
    fn drop(&mut self) {
        for recorder in [&mut self.sent, &mut self.received].into_iter().flatten() {
            recorder.finish();
        }
        self.write();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::line::{EchoUse, RtsUse};

    #[test]
    fn who_can_be_reached_is_told() {
        for (at, warns) in [("5500", false), ("[::1]:5500", false), ("0.0.0.0:5500", true), ("[::]:1", true)]
        {
            let warning = network_warning(&Endpoint::parse_listen(at).unwrap());
            assert_eq!(warning.is_some(), warns, "{at}");
        }
    }

    #[test]
    fn line_strings() {
        assert_eq!(
            LineSpec::parse("serial:/dev/ttyUSB0?pace=4"),
            Ok(LineSpec {
                kind: Kind::Serial("/dev/ttyUSB0".into()),
                pace: Pace::Scaled(4.0),
                serial: SerialOptions::default()
            })
        );
        let plain = |kind| Ok(LineSpec { kind, pace: Pace::Wire, serial: SerialOptions::default() });
        assert_eq!(LineSpec::parse("pty:"), plain(Kind::Pty(None)));
        let endpoint = |host: &str, port| Endpoint { host: host.into(), port };
        for (text, kind) in [
            ("tcp:h:1", Kind::Tcp(endpoint("h", 1))),
            ("tcp-listen:[::1]:0", Kind::TcpListen(endpoint("::1", 0))),
            ("tcp-listen::5500", Kind::TcpListen(endpoint("127.0.0.1", 5500))),
            ("tcp-listen:5500", Kind::TcpListen(endpoint("127.0.0.1", 5500))),
        ] {
            assert_eq!(LineSpec::parse(text), plain(kind));
        }
        let all = LineSpec::parse("serial:COM3?rts=off&dtr=off&echo=on").map(|l| l.serial);
        assert_eq!(all, Ok(SerialOptions { rts: RtsUse::Off, dtr: false, echo: EchoUse::On }));
        for bad in ["pty:?rts=on", "tcp:h:1?dtr=on", "serial:x?rts=yes", "serial:x?dtr", "serial:x?echo=1"] {
            assert!(LineSpec::parse(bad).is_err(), "{bad}");
        }
        for bad in [
            "/dev/ttyUSB0",
            "serial:",
            "com:1",
            "tcp:h",
            "tcp:h:0",
            "hart-ip:h",
            "mock:",
            "mock:b.toml?pace=4",
            "mock:b.toml?rts=on",
            "serial:/x?speed=9",
            "serial:/x?pace=0",
            "",
        ] {
            assert!(LineSpec::parse(bad).is_err(), "{bad}");
        }
    }
}
