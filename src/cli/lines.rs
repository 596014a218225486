//! LINE strings of the command line, and opening what they name.

use super::mock_line::{MockLine, MockSpec};
use super::open_line::{Interrupt, OpenLine};
use super::output::{Failure, tell};
use super::silence::ServerSaid;
use crate::bench::BenchPlan;
use crate::capture::{Direction as LogDirection, Header, LogFileError, LogSeries, Recorder, Rotation};
use crate::exchange::harmless;
use crate::frame::{Octet, ReceiverConfig};
use crate::ip::ClientNews;
use crate::line::io::{PeerNews, PortLine, SampledLine, SampledSource};
use crate::line::{Direction, Endpoint, HartIpClient, Line, SerialOptions, Tap};
use crate::time::Pace;
use std::path::{Path, PathBuf};

/// A line as it is named on the command line.
#[derive(Clone, Debug, PartialEq)]
pub struct LineSpec {
    kind: Kind,
    pace: Pace,
    serial: SerialOptions,
}

#[derive(Clone, Debug, PartialEq)]
enum Kind {
    Serial(String),
    Pty(Option<PathBuf>),
    Tcp(Endpoint),
    TcpListen(Endpoint),
    HartIp(HartIpClient),
    Mock(MockSpec),
    Sampled(SampledSource),
}

/// What there is to choose from.
const FORMS: &str = "there are serial:PATH, pty: or pty:LINK, tcp:HOST:PORT, tcp-listen:HOST:PORT, hart-ip:HOST, hart-ip+tcp:HOST and \
     mock:BENCH.toml, and to listen wav:FILE or wav:-";

impl LineSpec {
    /// Reads `serial:PATH`, `pty:`, `pty:LINK`, `tcp:HOST:PORT` or `tcp-listen:HOST:PORT`, each with
    /// `?pace=...` if wanted; a serial port also with `rts=`, `dtr=` and `echo=` [LI-06] [LI-08]. Or
    /// `mock:BENCH.toml`, with `seed=` and `for=` if wanted. Or `hart-ip:HOST`, `hart-ip:HOST:PORT` or the same with
    /// `hart-ip+tcp:`, with `session=` if wanted [IP-05]. Or `wav:FILE` [WV-12].
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
        if let Some((scheme @ ("hart-ip" | "hart-ip+tcp"), to)) = address.split_once(':') {
            let server = HartIpClient::parse(scheme == "hart-ip+tcp", to, options)?;
            let kind = Kind::HartIp(HartIpClient { harmless: harmless(), ..server });
            return Ok(LineSpec { kind, pace: Pace::Fast, serial });
        }
        if let Some(file) = address.strip_prefix("wav:") {
            let kind = Kind::Sampled(SampledSource::parse(file, options)?);
            return Ok(LineSpec { kind, pace: Pace::Wire, serial });
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
            ("log", _) => {
                return Err(format!("lines of the kind {scheme}: are not in this version: {FORMS}"));
            }
            _ => {
                return Err(format!("\"{scheme}:\" is no kind of line: {FORMS}"));
            }
        };
        Ok(LineSpec { kind, pace, serial })
    }

    /// Opens the line, or the recording, only to listen.
    ///
    /// # Errors
    /// The machine's, with what to do next.
    pub fn open_to_listen(&self) -> Result<OpenLine, Failure> {
        match &self.kind {
            Kind::Sampled(source) => {
                let line = SampledLine::open(source).map_err(Failure::from)?;
                Ok(OpenLine::Sampled(Box::new(line)))
            }
            _ => self.open(),
        }
    }

    /// Opens the line. A recording is refused: nobody can be asked there, and there is no port to look at.
    ///
    /// # Errors
    /// The machine's, with what to do next.
    pub fn open(&self) -> Result<OpenLine, Failure> {
        let line = match &self.kind {
            Kind::Mock(mock) => return Ok(OpenLine::Mock(Box::new(MockLine::open(mock)?))),
            Kind::Sampled(source) => {
                return Err(Failure::new(
                    format!("opening wav:{}", source.path.display()),
                    "a recording can only be listened to: nobody answers in it, and it has no modem or port",
                    "read it with `looprig listen`, `decode` or `wave read`; for this command name the line of a modem, such as serial:/dev/ttyUSB0",
                ));
            }
            Kind::Serial(path) => PortLine::open_serial_with(path, self.pace, self.serial),
            Kind::Pty(link) => PortLine::open_pty(link.as_deref(), self.pace),
            Kind::Tcp(to) => PortLine::open_tcp(to, self.pace),
            Kind::TcpListen(at) => PortLine::open_tcp_listen(at, self.pace),
            Kind::HartIp(to) => PortLine::open_hart_ip(to),
        };
        let mut line = line.map_err(Failure::from)?;
        if let Kind::TcpListen(at) = &self.kind {
            warn_of_network("tcp-listen", at);
        }
        let server = matches!(self.kind, Kind::HartIp(_)).then(ServerSaid::default);
        let said = server.clone();
        let mut in_trouble = false;
        line.on_peer_news(move |peer, news| {
            said.iter().for_each(|s| s.note(news));
            // Whoever was told that a session is lost wants to know when it stands again.
            let stands_again = in_trouble && matches!(news, PeerNews::Server(ClientNews::Open(_)));
            if news.is_trouble() || stands_again {
                tell(&format!("peer {peer}: {news}"));
            }
            in_trouble =
                (in_trouble || matches!(news, PeerNews::Server(ClientNews::Lost(_)))) && !stands_again;
        });
        Ok(OpenLine::Port(Box::new(line), server))
    }

    /// The bench behind a mock line; `None` of other lines.
    ///
    /// # Errors
    /// The bench file makes no sense.
    pub fn mock_plan(&self) -> Option<Result<BenchPlan, Failure>> {
        match &self.kind {
            Kind::Mock(mock) => Some(mock.plan()),
            _ => None,
        }
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
pub fn warn_of_network(scheme: &str, at: &Endpoint) {
    if let Some(warning) = network_warning(scheme, at) {
        tell(&warning);
    }
}

fn network_warning(scheme: &str, at: &Endpoint) -> Option<String> {
    (!at.is_loopback()).then(|| {
        format!(
            "{scheme}:{at} may be reached from other machines: whoever reaches it can speak on the line, without a password"
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
fn utc_now() -> String {
    jiff::Timestamp::now().to_string()
}

/// The same to the second, for people: the log has the rest.
pub fn utc_now_words() -> String {
    jiff::Timestamp::now().strftime("%Y-%m-%d %H:%M:%S UTC").to_string()
}

/// The same to the second, without a name of the zone: `2026-11-30T02:40:00`.
pub fn utc_now_second() -> String {
    jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%S").to_string()
}

/// Opens the log for a line that was opened just now.
///
/// # Errors
/// The file cannot be used.
pub fn open_log(path: &Path, rotation: Option<Rotation>, line: &dyn Line) -> Result<LogSeries, Failure> {
    open_series(path, rotation, log_header(line))
}

/// What a log of a line that was opened just now begins with.
pub fn log_header(line: &dyn Line) -> Header {
    Header::new(&line.describe(), &utc_now(), line.pace(), line.capabilities())
}

/// Opens the log that has this header.
///
/// # Errors
/// The file cannot be used.
pub fn open_series(path: &Path, rotation: Option<Rotation>, header: Header) -> Result<LogSeries, Failure> {
    LogSeries::open(path, rotation, header).map_err(|e| Failure::told(e.to_string()))
}

/// Puts a log on a line, where one is wanted: every octet sent or received goes into it.
///
/// # Errors
/// The file cannot be used.
pub fn with_log<'a>(line: impl Line + 'a, path: Option<&Path>) -> Result<Box<dyn Line + 'a>, Failure> {
    let Some(path) = path else { return Ok(Box::new(line)) };
    let writer = Some(open_log(path, None, &line)?);
    let config = ReceiverConfig::for_line(line.pace(), line.capabilities().stamp_error);
    let recorder = |direction| Recorder::new(config, line.pace().character(), Some(direction));
    let (sent, received) = (recorder(LogDirection::Sent), recorder(LogDirection::Received));
    let mut log = LogOfBoth { writer, sent, received };
    Ok(Box::new(Tap::new(line, move |direction, octets| log.take(direction, octets))))
}

struct LogOfBoth {
    writer: Option<LogSeries>,
    sent: Recorder,
    received: Recorder,
}

impl LogOfBoth {
    fn take(&mut self, direction: Direction, octets: &[Octet]) {
        // What fell silent before these stands before them.
        for recorder in [&mut self.sent, &mut self.received] {
            octets.first().into_iter().for_each(|o| recorder.handle_timeout(o.at));
        }
        self.write();
        match direction {
            Direction::Sent => self.sent.push(octets),
            Direction::Received => self.received.push(octets),
        }
        self.write();
    }

    fn write(&mut self) {
        while let Some(record) = self.sent.next().or_else(|| self.received.next()) {
            if let Some(writer) = &mut self.writer
                && let Err(e) = writer.write(&record)
            {
                self.give_up(&e);
            }
        }
    }

    /// The conversation goes on; what was logged so far is safe.
    fn give_up(&mut self, e: &LogFileError) {
        tell(&format!("{e}\n  the log ends here"));
        self.writer = None;
    }
}

impl Drop for LogOfBoth {
    fn drop(&mut self) {
        self.sent.finish();
        self.received.finish();
        self.write();
        if let Some(writer) = &mut self.writer
            && let Err(e) = writer.sync()
        {
            self.give_up(&e);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::line::{Bus, EchoUse, InProcess, RtsUse, Station};
    use crate::time::Instant;
    use core::time::Duration;

    /// Noise that no later octet closed stands in the log before the request that came after it.
    #[test]
    fn records_stand_in_the_order_of_time() {
        let path = std::env::temp_dir().join(format!("looprig-both-{}.log", std::process::id()));
        let _ = std::fs::remove_file(&path);
        let line = InProcess::<Box<dyn Station + Send>>::new(Bus::new(Pace::Wire), "none");
        let config = ReceiverConfig::for_line(Pace::Wire, Duration::ZERO);
        let recorder = |direction| Recorder::new(config, Pace::Wire.character(), Some(direction));
        let mut log = LogOfBoth {
            writer: Some(open_log(&path, None, &line).unwrap()),
            sent: recorder(LogDirection::Sent),
            received: recorder(LogDirection::Received),
        };
        let mut at = Instant::ZERO;
        // The request is command 0 to polling address 0 [1770].
        let request = [0xFF, 0xFF, 0x02, 0x80, 0x00, 0x00, 0x82];
        for (direction, values) in [
            (Direction::Received, &[0xFF, 0xFF, 0x02][..]),
            (Direction::Sent, &request),
            (Direction::Received, &[7]),
        ] {
            at += Duration::from_secs(1);
            let stamped = values.iter().map(|&v| {
                at += Pace::Wire.character();
                Octet::clean(at, v)
            });
            let octets: Vec<Octet> = stamped.collect();
            log.take(direction, &octets);
        }
        drop(log);
        let text = std::fs::read_to_string(&path).unwrap();
        let octets: Vec<&str> =
            text.lines().skip(1).filter_map(|l| l.split("\"o\":\"").nth(1)?.split('"').next()).collect();
        assert_eq!(octets, ["FFFF02", "FFFF0280000082", "07"], "{text}");
        std::fs::remove_file(path).unwrap();
    }

    #[test]
    fn who_can_be_reached_is_told() {
        for (at, warns) in [("5500", false), ("[::1]:5500", false), ("0.0.0.0:5500", true), ("[::]:1", true)]
        {
            let warning = network_warning("tcp-listen", &Endpoint::parse_listen(at).unwrap());
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
            "hart-ip:",
            "hart-ip:h:0",
            "hart-ip:h?pace=4",
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
