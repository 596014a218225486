//! The lines of a log [LG-01]: a header, then one record for each reception. What the octets mean is
//! not stored; it is decoded on reading.

use super::signal::{SignalNotice, SignalRemark};
use crate::frame::{Capabilities, Marks, Octet, StampUnit};
use crate::time::{Instant, Pace};
use core::fmt;
use core::fmt::Write;
use core::time::Duration;
use serde::{Deserialize, Serialize};
use std::borrow::Cow;

/// Version of the format that is written and read.
pub const LOG_VERSION: u32 = 1;

/// The first line: what was captured, where and when.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Header {
    /// Version of the format.
    pub looprig_log: u32,
    /// The line as it describes itself.
    pub line: String,
    /// Start of the clock, UTC, as `2026-11-25T13:00:00Z`.
    pub start_utc: String,
    /// Version of the program that wrote it.
    pub version: String,
    /// Pace of the line as [`Pace`] prints it.
    pub pace: String,
    /// Largest error of a stamp, ns.
    pub stamp_error_ns: u64,
    /// What one stamp covers: `octets` or `frames`.
    pub stamps: String,
    /// Whether wrong parity was seen on reception.
    pub parity_seen: bool,
    /// Whether loss of carrier was seen.
    pub carrier_seen: bool,
    /// In a file that continues the one before with the same clock: which file of them it is, from 2
    /// [LG-03].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part: Option<u32>,
}

impl Header {
    /// The header for a line of these capabilities.
    pub fn new(line: &str, start_utc: &str, pace: Pace, capabilities: Capabilities) -> Self {
        Header {
            looprig_log: LOG_VERSION,
            line: line.to_owned(),
            start_utc: start_utc.to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            pace: pace.to_string(),
            stamp_error_ns: u64::try_from(capabilities.stamp_error.as_nanos()).unwrap_or(u64::MAX),
            stamps: match capabilities.unit {
                StampUnit::Octets => "octets",
                StampUnit::Frames => "frames",
            }
            .to_owned(),
            parity_seen: capabilities.parity_seen,
            carrier_seen: capabilities.carrier_seen,
            part: None,
        }
    }

    /// Of a capture that began at `start_utc` on a line that can tell nothing.
    #[cfg(all(test, feature = "io"))]
    pub(super) fn of_test(start_utc: &str) -> Header {
        let capabilities = Capabilities {
            unit: StampUnit::Octets,
            stamp_error: Duration::ZERO,
            parity_seen: false,
            carrier_seen: false,
            echo: false,
        };
        Header::new("test", start_utc, Pace::Wire, capabilities)
    }

    /// Whether this header merely continues the capture that `before` began or continued, in another
    /// file and with the same clock [LG-03].
    pub fn continues(&self, before: &Header) -> bool {
        let next = before.part.unwrap_or(1).checked_add(1);
        self.part.is_some() && self.part == next && Header { part: before.part, ..self.clone() } == *before
    }

    /// The pace; the wire's when the text is none.
    pub fn pace(&self) -> Pace {
        Pace::parse(&self.pace).unwrap_or(Pace::Wire)
    }

    /// What the line could tell; whether it gave back what was sent is not recorded.
    pub fn capabilities(&self) -> Capabilities {
        Capabilities {
            unit: if self.stamps == "frames" { StampUnit::Frames } else { StampUnit::Octets },
            stamp_error: self.stamp_error(),
            parity_seen: self.parity_seen,
            carrier_seen: self.carrier_seen,
            echo: false,
        }
    }

    /// Largest error of a stamp.
    pub fn stamp_error(&self) -> Duration {
        Duration::from_nanos(self.stamp_error_ns)
    }
}

/// Which way octets went, where the line knows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// We sent them.
    Sent,
    /// We received them.
    Received,
}

/// One reception: octets that came one after the other.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Record {
    /// The octets with their times; never empty.
    pub octets: Vec<Octet>,
    /// Which way they went.
    pub direction: Option<Direction>,
    /// Idle time since the last record of this direction; `None` for the first.
    pub gap_before: Option<Duration>,
}

#[derive(Deserialize)]
struct RawRecord<'a> {
    t: u64,
    #[serde(default)]
    e: Option<u64>,
    #[serde(default, borrow)]
    d: Option<Cow<'a, str>>,
    #[serde(borrow)]
    o: Cow<'a, str>,
    #[serde(default, borrow)]
    m: Vec<(usize, Cow<'a, str>)>,
    #[serde(default)]
    g: Option<u64>,
}

/// A remark on the signal [LG-05].
#[derive(Deserialize)]
struct RawRemark<'a> {
    t: u64,
    u: u64,
    #[serde(borrow)]
    n: Cow<'a, str>,
    #[serde(default)]
    v: Option<f64>,
}

#[derive(Deserialize)]
struct Version {
    looprig_log: u32,
}

/// One line of a log.
#[derive(Clone, Debug, PartialEq)]
pub enum LogLine {
    /// The start of a capture.
    Header(Header),
    /// A reception.
    Record(Record),
    /// What was noticed of the signal of receptions before it [LG-05].
    Remark(SignalRemark),
}

/// A line that is neither.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LineError {
    /// Not JSON, or not the members that a record has.
    Json(String),
    /// JSON that breaks off in the middle, as a line does whose writer was stopped.
    CutOff,
    /// The octets are no hex.
    Octets,
    /// A mark has no such letter or stands at no octet.
    Mark,
    /// A remark that does not exist, or one without its number.
    Remark,
    /// A newer format.
    Version(u32),
}

impl fmt::Display for LineError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            LineError::Json(why) => write!(f, "it is no record of a log: {why}"),
            LineError::CutOff => f.write_str("it is no record of a log: it breaks off in the middle"),
            LineError::Octets => f.write_str("\"o\" must hold at least one octet as pairs of hex digits"),
            LineError::Mark => {
                f.write_str("\"m\" names an octet that is not there or a mark that does not exist")
            }
            LineError::Remark => f.write_str(
                "\"n\" names a remark that does not exist, or \"v\" holds no volts of a weak signal",
            ),
            LineError::Version(v) => {
                write!(
                    f,
                    "format version {v} is newer than this program's {LOG_VERSION}: use a newer looprig"
                )
            }
        }
    }
}

impl std::error::Error for LineError {}

impl Record {
    /// Appends the record as one line, line end included.
    pub fn write(&self, out: &mut String) {
        const DIGITS: &[u8; 16] = b"0123456789ABCDEF";
        let (Some(first), Some(last)) = (self.octets.first(), self.octets.last()) else { return };
        let _ = write!(out, "{{\"t\":{},\"e\":{}", first.at.as_nanos(), last.at.as_nanos());
        if let Some(d) = self.direction {
            out.push_str(match d {
                Direction::Sent => ",\"d\":\"tx\"",
                Direction::Received => ",\"d\":\"rx\"",
            });
        }
        out.push_str(",\"o\":\"");
        for o in &self.octets {
            out.push(char::from(DIGITS[usize::from(o.value >> 4)]));
            out.push(char::from(DIGITS[usize::from(o.value & 15)]));
        }
        out.push('"');
        if self.octets.iter().any(|o| !o.marks.is_empty()) {
            out.push_str(",\"m\":[");
            let mut comma = "";
            for (i, o) in self.octets.iter().enumerate().filter(|(_, o)| !o.marks.is_empty()) {
                let _ = write!(out, "{comma}[{i},\"");
                out.extend(
                    Marks::ALL.iter().filter(|(m, ..)| o.marks.contains(*m)).map(|(_, letter, _)| letter),
                );
                out.push_str("\"]");
                comma = ",";
            }
            out.push(']');
        }
        if let Some(g) = self.gap_before {
            let _ = write!(out, ",\"g\":{}", g.as_nanos());
        }
        out.push_str("}\n");
    }
}

/// How a log calls two that talk at once, and a weak signal [LG-05].
const TALKERS: &str = "talkers";
const WEAK: &str = "weak";

/// Appends a remark as one line of a log, line end included [LG-05]; nothing where its number is none.
pub fn write_remark(remark: &SignalRemark, out: &mut String) {
    let (t, u) = (remark.at.as_nanos(), remark.until.as_nanos());
    let _ = match remark.what {
        SignalNotice::TwoTalkers => writeln!(out, "{{\"t\":{t},\"u\":{u},\"n\":\"{TALKERS}\"}}"),
        SignalNotice::Weak { peak_to_peak_v: v } if v.is_finite() => {
            writeln!(out, "{{\"t\":{t},\"u\":{u},\"n\":\"{WEAK}\",\"v\":{v}}}")
        }
        SignalNotice::Weak { .. } => Ok(()),
    };
}

fn remark(raw: &RawRemark<'_>) -> Result<SignalRemark, LineError> {
    let what = match (raw.n.as_ref(), raw.v) {
        (TALKERS, None) => SignalNotice::TwoTalkers,
        (WEAK, Some(v)) if v >= 0.0 => SignalNotice::Weak { peak_to_peak_v: v },
        _ => return Err(LineError::Remark),
    };
    Ok(SignalRemark { at: Instant::from_nanos(raw.t), until: Instant::from_nanos(raw.u.max(raw.t)), what })
}

/// Reads one line without its line end.
///
/// # Errors
/// What is wrong with it.
pub fn parse_line(line: &str) -> Result<LogLine, LineError> {
    if line.starts_with("{\"looprig_log\"") {
        // The version first: a newer header may have other members.
        let version: Version = serde_json::from_str(line).map_err(json_error)?;
        if version.looprig_log > LOG_VERSION {
            return Err(LineError::Version(version.looprig_log));
        }
        return serde_json::from_str(line).map(LogLine::Header).map_err(json_error);
    }
    if let Some(raw) = plain_record(line) {
        return record(&raw).map(LogLine::Record);
    }
    if line.contains("\"n\":") {
        let raw: RawRemark<'_> = serde_json::from_str(line).map_err(json_error)?;
        return remark(&raw).map(LogLine::Remark);
    }
    let raw: RawRecord<'_> = serde_json::from_str(line).map_err(json_error)?;
    record(&raw).map(LogLine::Record)
}

/// Reads a record without marks that stands exactly as [`Record::write`] writes it. Nearly all of a
/// long log is made of these, and general JSON takes several times as long; everything else is left
/// to it.
fn plain_record(line: &str) -> Option<RawRecord<'_>> {
    let (t, rest) = plain_number(line.strip_prefix("{\"t\":")?)?;
    let (e, rest) = plain_number(rest.strip_prefix(",\"e\":")?)?;
    let (d, rest) = match rest.strip_prefix(",\"d\":\"") {
        Some(r) => (Some(Cow::Borrowed(r.get(..2)?)), r.get(2..)?.strip_prefix('"')?),
        None => (None, rest),
    };
    let (o, rest) = rest.strip_prefix(",\"o\":\"")?.split_once('"')?;
    let (g, rest) = match rest.strip_prefix(",\"g\":") {
        Some(r) => plain_number(r).map(|(g, r)| (Some(g), r))?,
        None => (None, rest),
    };
    (rest == "}").then(|| RawRecord { t, e: Some(e), d, o: Cow::Borrowed(o), m: Vec::new(), g })
}

/// The digits in front, at most 18 of them, and what follows.
fn plain_number(text: &str) -> Option<(u64, &str)> {
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    if digits == 0 || digits > 18 || digits > 1 && text.starts_with('0') {
        return None;
    }
    let n = text.bytes().take(digits).fold(0, |n, d| n * 10 + u64::from(d - b'0'));
    Some((n, &text[digits..]))
}

/// The parser's words; it counts lines, too, and would call every one the first.
fn json_error(e: serde_json::Error) -> LineError {
    if e.is_eof() {
        return LineError::CutOff;
    }
    let text = e.to_string();
    let end = text.rfind(" at line ").unwrap_or(text.len());
    LineError::Json(format!("{} at column {}", &text[..end], e.column()))
}

fn record(raw: &RawRecord<'_>) -> Result<Record, LineError> {
    let digits = raw.o.as_bytes();
    if digits.is_empty() || !digits.len().is_multiple_of(2) {
        return Err(LineError::Octets);
    }
    let n = digits.len() / 2;
    let end = raw.e.unwrap_or(raw.t).max(raw.t);
    // Only the first and the last stamp are stored: the line's pace is even between them.
    let step = (end - raw.t).checked_div(n as u64 - 1).unwrap_or(0);
    let mut octets = Vec::with_capacity(n);
    let mut at = raw.t;
    for pair in digits.chunks_exact(2) {
        let (high, low) = (NIBBLE[usize::from(pair[0])], NIBBLE[usize::from(pair[1])]);
        if high | low > 15 {
            return Err(LineError::Octets);
        }
        octets.push(Octet::clean(Instant::from_nanos(at), high << 4 | low));
        at = at.saturating_add(step);
    }
    if let Some(last) = octets.last_mut() {
        last.at = Instant::from_nanos(end);
    }
    for (i, letters) in &raw.m {
        let octet = octets.get_mut(*i).ok_or(LineError::Mark)?;
        for letter in letters.chars() {
            let (mark, ..) = Marks::ALL.iter().find(|(_, l, _)| *l == letter).ok_or(LineError::Mark)?;
            octet.marks |= *mark;
        }
    }
    Ok(Record {
        octets,
        direction: match raw.d.as_deref() {
            Some("tx") => Some(Direction::Sent),
            Some("rx") => Some(Direction::Received),
            _ => None,
        },
        gap_before: raw.g.map(Duration::from_nanos),
    })
}

const NIBBLE: [u8; 256] = {
    let mut table = [0xFF; 256];
    let mut i = 0;
    while i < 16 {
        table[b"0123456789ABCDEF"[i] as usize] = i as u8;
        table[b"0123456789abcdef"[i] as usize] = i as u8;
        i += 1;
    }
    table
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_record_as_the_notes_lay_it_out() {
        let line = r#"{"t":9166666,"e":45833330,"d":"rx","o":"0280000082","m":[[2,"pg"]],"g":5000}"#;
        let LogLine::Record(r) = parse_line(line).expect("a good line") else { panic!("a record") };
        assert_eq!(r.octets.len(), 5);
        // (45833330 - 9166666) / 4 = 9166666
        assert_eq!(r.octets[1].at.as_nanos(), 18_333_332);
        assert_eq!(r.octets[2].marks, Marks::PARITY | Marks::GAP);
        assert_eq!(r.direction, Some(Direction::Received));
        assert_eq!(r.gap_before, Some(Duration::from_micros(5)));
        let mut again = String::new();
        r.write(&mut again);
        assert_eq!(again.trim_end(), line);
    }

    #[test]
    fn bad_lines_are_told() {
        for bad in [
            "",
            "{",
            "{\"t\":1}",
            "{\"t\":1,\"o\":\"0\"}",
            "{\"t\":1,\"o\":\"0G\"}",
            "{\"t\":1,\"o\":\"\"}",
            "{\"t\":1,\"o\":\"00\",\"m\":[[1,\"p\"]]}",
            "{\"t\":1,\"o\":\"00\",\"m\":[[0,\"z\"]]}",
            "{\"looprig_log\":1}",
            r#"{"t":1,"u":2,"n":"loud"}"#,
            r#"{"t":1,"u":2,"n":"weak"}"#,
            r#"{"t":1,"u":2,"n":"weak","v":-1}"#,
            r#"{"t":1,"n":"talkers"}"#,
        ] {
            assert!(parse_line(bad).is_err(), "{bad}");
        }
        assert_eq!(parse_line("{\"looprig_log\":2,\"new\":0}"), Err(LineError::Version(2)));
        let Err(why) = parse_line("{\"t\":x}") else { panic!("no record") };
        assert_eq!(why.to_string(), "it is no record of a log: expected value at column 6");
    }

    #[test]
    fn remarks_as_the_notes_lay_them_out() {
        let at = |n: u64| Instant::from_nanos(n);
        let weak = SignalRemark {
            at: at(9_166_666),
            until: at(45_833_330),
            what: SignalNotice::Weak { peak_to_peak_v: 0.093 },
        };
        let two = SignalRemark { what: SignalNotice::TwoTalkers, ..weak };
        for (remark, line) in [
            (weak, r#"{"t":9166666,"u":45833330,"n":"weak","v":0.093}"#),
            (two, r#"{"t":9166666,"u":45833330,"n":"talkers"}"#),
        ] {
            assert_eq!(parse_line(line), Ok(LogLine::Remark(remark)));
            let mut again = String::new();
            write_remark(&remark, &mut again);
            assert_eq!(again.trim_end(), line);
        }
        let mut none = String::new();
        write_remark(
            &SignalRemark { what: SignalNotice::Weak { peak_to_peak_v: f64::NAN }, ..weak },
            &mut none,
        );
        assert_eq!(none, "");
    }

    /// The short cut for plain records reads what general JSON reads.
    #[test]
    fn plain_records_are_read_alike() {
        for line in [
            r#"{"t":1,"e":2,"o":"FF"}"#,
            r#"{"t":0,"e":20,"d":"tx","o":"FF02"}"#,
            r#"{"t":9166666,"e":45833330,"d":"rx","o":"0280000082","g":5000}"#,
        ] {
            let raw = plain_record(line).expect("a plain record");
            let json: RawRecord<'_> = serde_json::from_str(line).expect("JSON");
            assert_eq!(record(&raw), record(&json), "{line}");
        }
        for other in [
            r#"{"t":1,"e":2,"o":"FF","m":[[0,"p"]]}"#,
            r#"{"t": 1,"e":2,"o":"FF"}"#,
            r#"{"t":01,"e":2,"o":"FF"}"#,
            r#"{"t":1,"e":2,"o":"FF"} "#,
            r#"{"t":1,"e":1000000000000000000,"o":"FF"}"#,
        ] {
            assert!(plain_record(other).is_none(), "{other}");
        }
    }

    proptest! {
        #[test]
        fn records_come_back(
            values in prop::collection::vec((any::<u8>(), 0..32u8), 1..80),
            start in 0..u64::MAX / 4,
            step in 0..100_000_000u64,
            gap in prop::option::of(any::<u32>()),
        ) {
            let octets = values
                .iter()
                .enumerate()
                .map(|(i, &(value, marks))| Octet {
                    at: Instant::from_nanos(start + step * i as u64),
                    value,
                    marks: Marks(marks),
                })
                .collect();
            let r = Record { octets, direction: Some(Direction::Sent), gap_before: gap.map(|g| Duration::from_nanos(g.into())) };
            let mut line = String::new();
            r.write(&mut line);
            prop_assert_eq!(parse_line(line.trim_end()), Ok(LogLine::Record(r)));
        }

        #[test]
        fn any_text_is_survived(text in ".*") {
            let _ = parse_line(&text);
        }
    }
}
