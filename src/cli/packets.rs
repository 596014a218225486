//! `looprig decode --format pcapng`, and the file of `looprig listen --pcap`: what passed, for network analysers; and
//! `--format log`, the way back.

use super::args::{DecodeArgs, FormatArg};
use super::decode::{Input, file_name, is_readable, newer_log, open};
use super::files::{Growing, is_no_input, is_special};
use super::output::{Ended, Failure, Output, tell};
use super::recording::is_recording;
use crate::capture::{
    Captured, ContentKind, Fault, Header, LINE_ADDRESS, MASTER_ADDRESSES, PacketWriter, Passing, Reader,
    Record, SignalRemark, io_words, is_messages, write_remark,
};
use crate::frame::Octet;
use crate::ip::{Message, PORT, Side};
use crate::report::text::plural;
use crate::time::Instant;
use std::io::{self, BufRead};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

/// Problems of a file that are told one by one.
const MOST_TOLD: usize = 20;

/// What other commands say to `--format pcapng` and `--format log`.
pub fn not_here(format: FormatArg) -> Failure {
    let (name, option) = match format {
        FormatArg::Log => ("log", "--log FILE.log"),
        _ => ("pcapng", "--pcap FILE.pcapng"),
    };
    Failure::new(
        "reading --format",
        format!("{name} is a format of `looprig decode` alone"),
        format!("take text, json or csv; `looprig listen LINE {option}` writes what it hears"),
    )
}

/// The file of `listen --pcap`.
pub struct PacketFile {
    path: PathBuf,
    writer: PacketWriter,
    to: Growing,
}

impl PacketFile {
    /// A new file for a capture that begins now.
    ///
    /// # Errors
    /// There is such a file, or it cannot be created or written.
    pub fn create(path: &Path, header: &Header) -> Result<PacketFile, Failure> {
        let doing = format!("writing {}", path.display());
        if path == Path::new("-") {
            return Err(Failure::new(doing, "standard output has the results of listening", "name a file"));
        }
        if is_special(path) {
            // An analyser that pauses would stop the listener, and with it the log.
            let wrong = "it is a pipe or a device, whose reader could stop the listening and the log";
            let next = "name a new file; an analyser can follow that: `tail -c +1 -f FILE | tshark -r -`";
            return Err(Failure::new(doing, wrong, next));
        }
        if path.exists() {
            let wrong = "the file exists, and what it holds may be wanted";
            return Err(Failure::new(
                doing,
                wrong,
                "name another file: a capture is never continued or replaced",
            ));
        }
        let mut file = PacketFile {
            path: path.to_owned(),
            to: Growing::create(path, false, &doing)?,
            writer: PacketWriter::new(),
        };
        file.writer.begin(header);
        file.write()?;
        Ok(file)
    }

    /// Its name.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Writes a reception, and the frames that are whole by it.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn record(&mut self, record: &Record) -> Result<(), Failure> {
        self.writer.record(record);
        self.write()
    }

    /// Writes what was noticed of the signal [LG-05].
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn remark(&mut self, remark: &SignalRemark) -> Result<(), Failure> {
        self.writer.remark(remark);
        self.write()
    }

    /// Nothing more has come until `now`.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn handle_timeout(&mut self, now: Instant) -> Result<(), Failure> {
        self.writer.handle_timeout(now);
        self.write()
    }

    /// Accounts for what has begun, and waits for the disk.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn finish(&mut self) -> Result<(), Failure> {
        self.writer.finish();
        self.write()?;
        self.to.finish()
    }

    fn write(&mut self) -> Result<(), Failure> {
        self.to.write(&self.writer.take())
    }
}

/// Writes all files that can be read as one capture; the others are told and make the exit code 2.
pub fn run(args: &DecodeArgs, format: FormatArg, out: &mut Output) -> Result<Ended, Failure> {
    let (name, form) = match format {
        FormatArg::Log => ("log", Form::Log(String::new())),
        _ => ("pcapng", Form::Packets(Box::default())),
    };
    let Some(path) = &args.out else {
        let wrong = format!("--format {name} needs a file to write");
        let next = format!("add --out FILE.{name}, or --out - for standard output");
        return Err(Failure::new("reading the arguments", wrong, next));
    };
    // The first file is looked at before anything is created.
    let mut inputs = Vec::new();
    for path in &args.files {
        inputs.push((path, open(path)?));
    }
    let doing = format!("writing {}", path.display());
    is_no_input(path, args.files.iter().map(PathBuf::as_path), &doing)?;
    let was_there = path.exists() || path == Path::new("-");
    let to = Growing::create(path, args.force, &doing)?;
    let mut converter = Converter { form, to, receptions: 0, messages: 0 };
    let mut ended = Ended::Fine;
    for (path, input) in inputs {
        match converter.file(&file_name(path), input) {
            Ok(()) => {}
            Err(told) => {
                tell(&told);
                ended = Ended::CouldNot;
            }
        }
    }
    converter.write()?;
    if converter.receptions + converter.messages == 0 && !was_there {
        // It was made just now, by us, and nothing is in it that anybody could want.
        let _ = std::fs::remove_file(path);
        return Ok(ended);
    }
    if converter.receptions + converter.messages == 0 {
        // What was there stays.
        return Ok(ended);
    }
    converter.to.finish()?;
    if path != Path::new("-") && !out.quiet {
        let (receptions, messages) =
            (plural(converter.receptions, "reception"), plural(converter.messages, "message"));
        out.text().push_str(&format!("{}: {receptions}, {messages}\n", path.display()));
    }
    Ok(ended)
}

/// What is written.
enum Form {
    Packets(Box<PacketWriter>),
    /// Lines that are not written yet.
    Log(String),
}

impl Form {
    fn begin(&mut self, header: &Header) {
        match self {
            Form::Packets(writer) => writer.begin(header),
            Form::Log(lines) => {
                lines.push_str(&serde_json::to_string(header).unwrap_or_default());
                lines.push('\n');
            }
        }
    }

    fn record(&mut self, record: &Record) {
        match self {
            Form::Packets(writer) => writer.record(record),
            Form::Log(lines) => record.write(lines),
        }
    }

    fn remark(&mut self, remark: &SignalRemark) {
        match self {
            Form::Packets(writer) => writer.remark(remark),
            Form::Log(lines) => write_remark(remark, lines),
        }
    }

    fn finish(&mut self) {
        if let Form::Packets(writer) = self {
            writer.finish();
        }
    }

    fn take(&mut self) -> Vec<u8> {
        match self {
            Form::Packets(writer) => writer.take(),
            Form::Log(lines) => std::mem::take(lines).into_bytes(),
        }
    }
}

struct Converter {
    form: Form,
    to: Growing,
    receptions: usize,
    messages: usize,
}

impl Converter {
    fn write(&mut self) -> Result<(), Failure> {
        self.to.write(&self.form.take())
    }

    fn file(&mut self, name: &str, mut input: Input) -> Result<(), Failure> {
        let doing = || format!("reading {name}");
        let reading = |e: io::Error| {
            let next = "see whether the disk or the connection that it comes from still works";
            Failure::new(doing(), io_words(&e), next)
        };
        if is_recording(input.fill_buf().map_err(reading)?) {
            let option = if self.is_log() { "--log FILE.log" } else { "--pcap FILE.pcapng" };
            let next = format!("`looprig listen wav:{name} {option}` hears it and writes that");
            return Err(Failure::new(doing(), "it is a recording of the tones, not of octets", next));
        }
        let mut reader = Reader::new(input).map_err(reading)?;
        let kind = reader.kind();
        is_readable(kind, name)?;
        let (mut begun, mut problems, mut lost) = (false, 0usize, None);
        let mut left_out = 0usize;
        let before = (self.receptions, self.messages);
        while let Some(captured) = reader.next().map_err(reading)? {
            match captured {
                Captured::Start(h) => {
                    begun = true;
                    self.form.begin(&h);
                }
                Captured::Octets(octets) if kind == ContentKind::Hex && self.hex_messages(&octets) => {}
                Captured::Octets(octets) => {
                    match &mut self.form {
                        Form::Packets(writer) if !begun => writer.begin_untimed(name),
                        Form::Log(_) if !begun => return Err(untimed(doing())),
                        _ => {}
                    }
                    begun = true;
                    self.receptions += 1;
                    let (direction, gap_before) = reader.side();
                    self.form.record(&Record { octets, direction, gap_before });
                }
                Captured::Remark(remark) => self.form.remark(&remark),
                Captured::Break => {
                    if let (Form::Packets(writer), true) = (&mut self.form, begun) {
                        writer.stands_alone();
                    }
                }
                Captured::Messages(_) if self.is_log() => left_out += 1,
                Captured::Messages(passing) => {
                    let zero = reader.packets().and_then(|p| p.zero_ns()).unwrap_or(0);
                    self.network_messages(name, zero, &passing);
                }
                Captured::Problem(p) => {
                    problems += 1;
                    if problems <= MOST_TOLD {
                        tell(&format!("reading {name}: {p}"));
                    }
                    match p.fault {
                        Fault::Newer { version } => lost = Some(newer_log(doing(), version)),
                        Fault::Lost(_) => lost = Some(unread_rest(name)),
                        _ => {}
                    }
                }
            }
            self.write()?;
        }
        self.form.finish();
        self.write()?;
        if problems > MOST_TOLD {
            tell(&format!(
                "reading {name}: {} that could not be read",
                plural(problems - MOST_TOLD, "more thing")
            ));
        }
        if let Some(lost) = lost {
            return Err(lost);
        }
        if left_out > 0 && (self.receptions, self.messages) == before {
            return Err(Failure::new(
                doing(),
                "it holds HART-IP messages of a network, and a log holds the octets of a wire",
                "decode it as it is, or write it as --format pcapng",
            ));
        }
        if left_out > 0 {
            let messages = plural(left_out, "HART-IP message");
            tell(&format!(
                "reading {name}: {messages} of a network left out: a log holds the octets of a wire"
            ));
        }
        if (self.receptions, self.messages) == before {
            return Err(Failure::new(
                doing(),
                "it holds no octets of HART",
                "give a log, octets or a capture",
            ));
        }
        Ok(())
    }

    fn is_log(&self) -> bool {
        matches!(self.form, Form::Log(_))
    }

    /// A line of hex text that is HART-IP messages; false where it is not.
    fn hex_messages(&mut self, octets: &[Octet]) -> bool {
        let Form::Packets(writer) = &mut self.form else { return false };
        let values: Vec<u8> = octets.iter().map(|o| o.value).skip_while(|&v| v == 0xFF).collect();
        let (true, Some((message, _))) = (is_messages(&values), Message::header(&values)) else {
            return false;
        };
        let (address, port) = MASTER_ADDRESSES[0];
        let (client, server) = (SocketAddr::from((address, port)), SocketAddr::from((LINE_ADDRESS, PORT)));
        let (from, to) = if message.side() == Side::Client { (client, server) } else { (server, client) };
        let at_ns = octets.first().map_or(0, |o| o.at.as_nanos());
        self.messages += 1;
        writer.messages(at_ns, from, to, false, &values)
    }

    fn network_messages(&mut self, name: &str, zero: u64, p: &Passing) {
        let Form::Packets(writer) = &mut self.form else { return };
        self.messages += 1;
        let at_ns = zero.saturating_add(p.at.as_nanos());
        if !writer.messages(at_ns, p.from, p.to, p.tcp, &p.octets) {
            tell(&format!(
                "reading {name}: a message of {} octets at {} s is too long for a datagram and was left out",
                p.octets.len(),
                p.at
            ));
        }
    }
}

/// Octets that no log can be made of.
fn untimed(doing: String) -> Failure {
    let next = "decode it as it is; a log is made of a log, or of a pcapng that looprig made of a log or while it listened";
    Failure::new(doing, "its octets have no times, and a log is of times", next)
}

/// A capture whose end could not be read.
pub fn unread_rest(name: &str) -> Failure {
    Failure::new(
        format!("reading {name}"),
        "a part of it could not be read",
        "fetch the file once more; if it is the same, save it anew in the program that made it",
    )
}
