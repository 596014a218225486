//! Reads captured octets from a stream, whatever form they have; the form is told by the content.

use super::hex_text::parse_hex_line;
use super::log::{Direction, Header, LineError, LogLine, Record, parse_line};
use super::packets::{PacketReader, Passing};
use super::signal::SignalRemark;
use crate::frame::Octet;
use crate::time::{BitTimes, Instant};
use core::fmt;
use core::time::Duration;
use std::io::{self, BufRead, Read};

/// Octets of noise-free text looked at to tell what a file is.
const LOOK: usize = 4096;
/// A longer line is no record: the longest frame with its marks takes far less.
const LONGEST_LINE: u64 = 1 << 20;
/// What some editors put before text.
const BYTE_ORDER_MARK: char = '\u{FEFF}';
/// Octets of a file of bare octets taken at a time.
const CHUNK: usize = 8192;

/// What a file holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ContentKind {
    /// A log of looprig [LG-01].
    Log,
    /// Octets as hex text, one frame or more a line.
    Hex,
    /// Octets as they are.
    Octets,
    /// A capture of a network, pcap or pcapng [PC-01].
    PacketCapture,
    /// Sound: the tones themselves, which this reader leaves to others.
    Sound,
    /// A compressed file, whatever is in it: gzip, zstd, lz4, xz.
    Compressed,
}

/// Tells from its beginning what a file holds.
pub fn recognise(start: &[u8]) -> ContentKind {
    let magic = |m: &[u8]| start.starts_with(m);
    if magic(b"{\"looprig_log\"") || magic(b"{\"t\":") {
        return ContentKind::Log;
    }
    let pcap = [
        [0xD4, 0xC3, 0xB2, 0xA1],
        [0xA1, 0xB2, 0xC3, 0xD4],
        [0x4D, 0x3C, 0xB2, 0xA1],
        [0xA1, 0xB2, 0x3C, 0x4D],
        // Variants, so that they are not taken for octets.
        [0x34, 0xCD, 0xB2, 0xA1],
        [0xA1, 0xB2, 0xCD, 0x34],
        [0x0A, 0x0D, 0x0D, 0x0A],
    ];
    if pcap.iter().any(|m| magic(m)) {
        return ContentKind::PacketCapture;
    }
    if magic(b"RIFF") && start.get(8..12) == Some(b"WAVE") {
        return ContentKind::Sound;
    }
    // RFC 1952 and RFC 8878; lz4's frame and xz from memory.
    let packed: [&[u8]; 4] =
        [&[0x1F, 0x8B, 0x08], &[0x28, 0xB5, 0x2F, 0xFD], &[0x04, 0x22, 0x4D, 0x18], b"\xFD7zXZ\0"];
    if packed.iter().any(|m| magic(m)) {
        return ContentKind::Compressed;
    }
    match text_start(start) {
        // A log whose first line is damaged is still a log.
        Some(text) if text.trim_start().starts_with('{') => ContentKind::Log,
        Some(text) if !text.is_empty() => ContentKind::Hex,
        _ => ContentKind::Octets,
    }
}

/// The beginning of a file as text, if it is text: remarks may hold letters of every language. A
/// letter that is cut off at the end is left out. Octets from a wire are none: FF begins no letter.
fn text_start(start: &[u8]) -> Option<&str> {
    let text = match core::str::from_utf8(start) {
        Ok(text) => text,
        Err(e) if e.error_len().is_none() => core::str::from_utf8(&start[..e.valid_up_to()]).ok()?,
        Err(_) => return None,
    };
    let text = text.strip_prefix(BYTE_ORDER_MARK).unwrap_or(text);
    text.chars().all(|c| matches!(c, '\t' | '\n' | '\r') || !c.is_control()).then_some(text)
}

/// One thing read.
#[derive(Clone, Debug, PartialEq)]
pub enum Captured {
    /// A capture begins, with a clock of its own.
    Start(Header),
    /// Octets in order.
    Octets(Vec<Octet>),
    /// HART-IP messages that passed on a network.
    Messages(Passing),
    /// What was noticed of the signal of octets before it, where a log says so [LG-05].
    Remark(SignalRemark),
    /// The octets before stand alone: what follows does not continue them.
    Break,
    /// Something could not be read; reading goes on.
    Problem(Problem),
}

/// Something in a file that could not be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// The line, from 1; in a capture of a network the block or packet.
    pub line: u64,
    /// In a capture of a network, the octet of the file at which it begins, from 0.
    pub octet: Option<u64>,
    /// What is wrong.
    pub fault: Fault,
}

/// What is wrong with a line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// It is the torn end of a log [LG-02].
    Torn,
    /// It breaks off in the middle, and a later capture continues the log behind it [LG-02].
    CutOff,
    /// It begins a log of a newer format; the lines up to the next header were skipped as well.
    Newer {
        /// The format's version.
        version: u32,
    },
    /// It is no line or packet of such a file, for the reason given.
    Line(String),
    /// The capture breaks off within this block [PC-05].
    CaptureCut,
    /// Nothing from this block on can be read, for the reason given [PC-05].
    Lost(String),
    /// Something is missing in a stream of TCP.
    Stream(String),
    /// Packets that looprig made of a wire, without the blocks with the rest of that wire [PC-04].
    Stripped,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // `line 3`, or `packet or block 3, at octet 120,`.
        let (line, octet) = (self.line, self.octet);
        let place =
            octet.map_or(format!("line {line}"), |o| format!("packet or block {line}, at octet {o},"));
        match &self.fault {
            Fault::Torn => write!(
                f,
                "{place}, the last, is torn and was skipped: the capture was cut off while it was written"
            ),
            Fault::CutOff => write!(
                f,
                "{place} is torn and was skipped: a capture was cut off while it was written, and the log was continued later"
            ),
            Fault::Newer { version } => write!(
                f,
                "{place} begins a log of format {version}, which is newer than this program: skipped up to the next log in the file"
            ),
            Fault::Line(what) => write!(f, "{place} was skipped: {what}"),
            Fault::CaptureCut => write!(
                f,
                "the file ends within the block at octet {}: it was cut off while it was written or copied, or the length of that block is wrong; all before it was read, nothing behind it",
                octet.unwrap_or(0)
            ),
            Fault::Lost(why) => write!(
                f,
                "nothing from octet {} on could be read: {why}; all before it was read",
                octet.unwrap_or(0)
            ),
            Fault::Stream(what) => write!(f, "{place} in a stream of TCP {what}"),
            Fault::Stripped => write!(
                f,
                "{place} and others are what looprig heard on a wire, and another program has saved the file without the blocks that \
                 looprig wrote beside them: damaged frames, noise, marks of octets, pauses and preambles are not in it. Decode the \
                 file as looprig wrote it, where it is still there"
            ),
        }
    }
}

/// How a line ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum LineEnd {
    /// With the mark of its end.
    Whole,
    /// With the input.
    Torn,
    /// Not within the limit; the rest was dropped.
    TooLong,
}

/// Reads a stream piece by piece; never holds more than one line or chunk.
#[derive(Debug)]
pub struct Reader<R> {
    input: R,
    kind: ContentKind,
    line: Vec<u8>,
    number: u64,
    at: Instant,
    ready: Option<Captured>,
    /// The records are of a newer format: what looks familiar in them may mean something else.
    newer: bool,
    /// Of a capture of a network.
    packets: Option<Box<PacketReader>>,
    side: (Option<Direction>, Option<Duration>),
    /// Whether the times mean something: a header or a packet had some.
    timed: bool,
}

impl<R: BufRead> Reader<R> {
    /// Looks at the beginning of `input` and gets ready to read it.
    ///
    /// # Errors
    /// The input cannot be read.
    pub fn new(mut input: R) -> io::Result<Self> {
        let start = input.fill_buf()?;
        let kind = recognise(&start[..start.len().min(LOOK)]);
        let packets = (kind == ContentKind::PacketCapture).then(Box::default);
        Ok(Reader {
            input,
            kind,
            line: Vec::new(),
            number: 0,
            at: Instant::ZERO,
            ready: None,
            newer: false,
            packets,
            side: (None, None),
            timed: kind == ContentKind::Log,
        })
    }

    /// What is known of packets, where the input is a capture of a network.
    pub fn packets(&self) -> Option<&PacketReader> {
        self.packets.as_deref()
    }

    /// Whether the times of what was read last mean something.
    pub fn is_timed(&self) -> bool {
        self.timed
    }

    /// Direction of the octets that were read last, and the idle time before them, where a log says so.
    pub fn side(&self) -> (Option<Direction>, Option<Duration>) {
        self.packets.as_ref().map_or(self.side, |p| p.side())
    }

    /// Where it reads from.
    pub fn input(&self) -> &R {
        &self.input
    }

    /// The line that was read last, from 1, or the block of a capture of a network; 0 where the input has neither.
    pub fn line(&self) -> u64 {
        self.packets.as_ref().map_or(self.number, |p| p.block())
    }

    /// What the input holds.
    pub fn kind(&self) -> ContentKind {
        self.kind
    }

    /// The next thing; `None` at the end.
    ///
    /// # Errors
    /// The input cannot be read.
    #[allow(
        clippy::should_implement_trait,
        reason = "an error of the input ends the reading, an item does not"
    )]
    pub fn next(&mut self) -> io::Result<Option<Captured>> {
        if let Some(ready) = self.ready.take() {
            return Ok(Some(ready));
        }
        match self.kind {
            ContentKind::Log => self.next_log(),
            ContentKind::Hex => self.next_hex(),
            ContentKind::PacketCapture => self.next_packet(),
            _ => self.next_octets(),
        }
    }

    fn next_packet(&mut self) -> io::Result<Option<Captured>> {
        let Some(packets) = &mut self.packets else { return Ok(None) };
        let next = packets.next(&mut self.input)?;
        self.timed |= matches!(next, Some(Captured::Start(_) | Captured::Messages(_)));
        Ok(next)
    }

    fn next_log(&mut self) -> io::Result<Option<Captured>> {
        loop {
            let Some(end) = self.read_line()? else { return Ok(None) };
            let whole = match end {
                LineEnd::TooLong if self.newer => continue,
                LineEnd::TooLong => return Ok(Some(self.too_long())),
                end => end == LineEnd::Whole,
            };
            let fault = match core::str::from_utf8(&self.line) {
                Ok(t) if t.trim().is_empty() && whole => continue,
                Ok(t) => match parse_line(t) {
                    Ok(LogLine::Header(h)) => {
                        self.newer = false;
                        return Ok(Some(Captured::Start(h)));
                    }
                    Err(LineError::Version(version)) => {
                        self.newer = true;
                        Fault::Newer { version }
                    }
                    _ if self.newer => continue,
                    Ok(LogLine::Record(Record { octets, direction, gap_before })) => {
                        self.side = (direction, gap_before);
                        return Ok(Some(Captured::Octets(octets)));
                    }
                    Ok(LogLine::Remark(remark)) => return Ok(Some(Captured::Remark(remark))),
                    Err(_) if !whole => Fault::Torn,
                    Err(LineError::CutOff) => Fault::CutOff,
                    Err(e) => Fault::Line(e.to_string()),
                },
                Err(_) if self.newer => continue,
                Err(_) if !whole => Fault::Torn,
                Err(e) => Fault::Line(format!("it is no text: {e}")),
            };
            return Ok(Some(Captured::Problem(Problem { line: self.number, octet: None, fault })));
        }
    }

    fn next_hex(&mut self) -> io::Result<Option<Captured>> {
        loop {
            match self.read_line()? {
                None => return Ok(None),
                // Half of it would be frames cut apart.
                Some(LineEnd::TooLong) => return Ok(Some(self.too_long())),
                Some(_) => {}
            }
            let text = String::from_utf8_lossy(&self.line);
            match parse_hex_line(&text) {
                Ok(values) if values.is_empty() => {}
                Ok(values) => {
                    let octets = self.stamp_frame(&values);
                    self.ready = Some(Captured::Break);
                    return Ok(Some(Captured::Octets(octets)));
                }
                Err(e) => {
                    return Ok(Some(Captured::Problem(Problem {
                        line: self.number,
                        octet: None,
                        fault: Fault::Line(e.to_string()),
                    })));
                }
            }
        }
    }

    fn next_octets(&mut self) -> io::Result<Option<Captured>> {
        let chunk = self.input.fill_buf()?;
        if chunk.is_empty() {
            return Ok(None);
        }
        let values = chunk[..chunk.len().min(CHUNK)].to_vec();
        self.input.consume(values.len());
        Ok(Some(Captured::Octets(self.stamp(&values))))
    }

    /// A line of hex may leave out the preamble, as printed frames do: it is put before.
    fn stamp_frame(&mut self, values: &[u8]) -> Vec<Octet> {
        if values.starts_with(&[0xFF, 0xFF]) {
            return self.stamp(values);
        }
        let missing = if values.first() == Some(&0xFF) { 1 } else { 2 };
        self.stamp(&[&[0xFF; 2][..missing], values].concat())
    }

    /// Gives octets without times the times that the wire would give them.
    fn stamp(&mut self, values: &[u8]) -> Vec<Octet> {
        let step = BitTimes::characters(1).duration();
        values
            .iter()
            .map(|&v| {
                self.at += step;
                Octet::clean(self.at, v)
            })
            .collect()
    }

    /// Reads one line into `self.line`, without its end; says whether it had one.
    fn read_line(&mut self) -> io::Result<Option<LineEnd>> {
        self.line.clear();
        self.number += 1;
        let n = (&mut self.input).take(LONGEST_LINE).read_until(b'\n', &mut self.line)?;
        if n == 0 {
            return Ok(None);
        }
        let end = if self.line.last() == Some(&b'\n') {
            LineEnd::Whole
        } else if (n as u64) < LONGEST_LINE {
            LineEnd::Torn
        } else {
            // What exceeds the limit is read and dropped, so that one line cannot fill the memory.
            self.input.skip_until(b'\n')?;
            LineEnd::TooLong
        };
        while matches!(self.line.last(), Some(b'\n' | b'\r')) {
            self.line.pop();
        }
        if self.number == 1 && self.line.starts_with("\u{FEFF}".as_bytes()) {
            self.line.drain(..BYTE_ORDER_MARK.len_utf8());
        }
        Ok(Some(end))
    }

    fn too_long(&self) -> Captured {
        let what =
            format!("it is longer than {} KiB; break it into lines of one frame each", LONGEST_LINE >> 10);
        Captured::Problem(Problem { line: self.number, octet: None, fault: Fault::Line(what) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read_all(input: &[u8]) -> Vec<Captured> {
        let mut r = Reader::new(input).expect("memory can be read");
        std::iter::from_fn(|| r.next().expect("memory can be read")).collect()
    }

    #[test]
    fn content_is_recognised() {
        assert_eq!(recognise(b"{\"looprig_log\":1}"), ContentKind::Log);
        assert_eq!(recognise(b"FF FF 02 80 00 00 82\n"), ContentKind::Hex);
        assert_eq!(recognise(&[0xFF, 0xFF, 0x02, 0x80]), ContentKind::Octets);
        assert_eq!(recognise(&[0x0A, 0x0D, 0x0D, 0x0A, 0]), ContentKind::PacketCapture);
        assert_eq!(recognise(b"RIFF\0\0\0\0WAVEfmt "), ContentKind::Sound);
        assert_eq!(recognise("# Prüfstand\n02 80".as_bytes()), ContentKind::Hex);
        assert_eq!(recognise("\u{FEFF}02 80".as_bytes()), ContentKind::Hex);
        // A letter of two octets, cut in the middle.
        assert_eq!(recognise(b"# Pr\xC3"), ContentKind::Hex);
        assert_eq!(recognise(b"{\"looprig_lo"), ContentKind::Log);
        assert_eq!(recognise(b""), ContentKind::Octets);
        assert_eq!(recognise(&[0x02, 0x80, 0x00, 0x00, 0x82]), ContentKind::Octets);
    }

    #[test]
    fn a_torn_last_line_is_told_and_skipped() {
        let log = b"{\"t\":1,\"o\":\"FF\"}\n{\"t\":2,\"o\":\"F";
        let got = read_all(log);
        assert!(matches!(got[0], Captured::Octets(_)));
        assert!(matches!(&got[1], Captured::Problem(p) if p.fault == Fault::Torn && p.line == 2));
        assert_eq!(got.len(), 2);
    }

    #[test]
    fn a_broken_line_in_the_middle_loses_only_itself() {
        let got = read_all(b"{\"t\":1,\"o\":\"FF\"}\nrubbish\n{\"t\":2,\"o\":\"FF\"}\n");
        assert!(matches!(&got[1], Captured::Problem(p) if matches!(p.fault, Fault::Line(_)) && p.line == 2));
        assert!(matches!(got[2], Captured::Octets(_)));
    }

    #[test]
    fn a_line_without_end_loses_only_itself() {
        let long = "F".repeat(1 << 20);
        let log = format!("{{\"t\":1,\"o\":\"{long}\"}}\n{{\"t\":2,\"o\":\"FF\"}}\n");
        for text in [log, format!("{long}\nFF FF\n")] {
            let got = read_all(text.as_bytes());
            let Captured::Problem(p) = &got[0] else { panic!("{:?}", got[0]) };
            assert!(p.to_string().starts_with("line 1 was skipped: it is longer than 1024 KiB"), "{p}");
            assert!(matches!(got[1], Captured::Octets(_)));
        }
    }

    #[test]
    fn records_of_a_newer_format_are_not_guessed_at() {
        let known = r#"{"looprig_log":1,"line":"x","start_utc":"","version":"","pace":"wire","stamp_error_ns":0,"stamps":"octets","parity_seen":false,"carrier_seen":false}"#;
        let log = format!(
            "{{\"looprig_log\":9}}\n{{\"t\":1,\"o\":\"FF\"}}\nrubbish\n{known}\n{{\"t\":1,\"o\":\"FF\"}}\n"
        );
        let got = read_all(log.as_bytes());
        let newer = Problem { line: 1, octet: None, fault: Fault::Newer { version: 9 } };
        assert_eq!(got[0], Captured::Problem(newer));
        assert!(matches!(got[1], Captured::Start(_)));
        assert!(matches!(got[2], Captured::Octets(_)));
        assert_eq!(got.len(), 3);
    }

    #[test]
    fn a_byte_order_mark_is_no_octet() {
        let got = read_all("\u{FEFF}02 80 00 00 82\n".as_bytes());
        assert!(matches!(&got[0], Captured::Octets(o) if o.len() == 7));
    }

    #[test]
    fn hex_lines_stand_alone_and_get_their_preamble() {
        let got = read_all(b"02 80 00 00 82\n# remark\n\nFF FF FF 02 80 00 00 82\nXY\n");
        let values = |c: &Captured| match c {
            Captured::Octets(o) => o.iter().map(|o| o.value).collect::<Vec<_>>(),
            other => panic!("{other:?}"),
        };
        assert_eq!(values(&got[0]), [0xFF, 0xFF, 0x02, 0x80, 0, 0, 0x82]);
        assert_eq!(got[1], Captured::Break);
        assert_eq!(values(&got[2]).len(), 8);
        assert!(matches!(&got[4], Captured::Problem(p) if p.line == 5));
    }
}
