//! `looprig decode`: captured octets to lines.

use super::args::DecodeArgs;
use super::output::{Ended, Failure, Output, tell};
use super::packets::unread_rest;
use super::recording::{is_recording, read_recording};
use super::rules::Rules;
use crate::app::command::Catalogue;
use crate::capture::{
    Annotator, Captured, ContentKind, Fault, Header, Item, LOG_VERSION, MessageAnnotator, MessageItem,
    Reader, io_words, is_messages,
};
use crate::frame::{Octet, ReceiverConfig};
use crate::line::io::SampledLine;
use crate::report::summary::Summary;
use crate::report::text::{plural, write_wrapped};
use crate::report::wave::write_remark;
use crate::report::{Format, csv, write_item};
use crate::time::{Instant, Pace};
use crate::transaction::PairerConfig;
use crate::wave::{Heard, RecordingOptions, Remark, Remarks};
use core::fmt::Write;
use std::fs::File;
use std::io::{self, BufRead, BufReader, Read};
use std::path::Path;

/// Reads every file that can be read; the others are told and make the exit code 2.
pub fn run(args: &DecodeArgs, out: &mut Output) -> Result<Ended, Failure> {
    if args.out.is_some() {
        let next = "add --format pcapng or --format log, or send standard output into the file";
        let wrong = "--out is for --format pcapng and --format log";
        return Err(Failure::new("reading the arguments", wrong, next));
    }
    let mut chain = Chain::new(args, args.described.load()?);
    let mut ended = Ended::Fine;
    let format = out.options.format;
    if format == Format::Csv && !args.summary {
        out.text().push_str(csv::HEADER);
    }
    for path in &args.files {
        let result = open(path).and_then(|input| one_file(path, input, args, out, &mut chain));
        match result {
            Ok(()) => {}
            Err(f) if f.is_closed_pipe() => return Err(f),
            Err(f) if args.files.len() == 1 => {
                chain.break_off(out)?;
                return Err(f);
            }
            Err(f) => {
                tell(&f);
                ended = Ended::CouldNot;
            }
        }
    }
    chain.break_off(out)?;
    let summary = chain.summary;
    match format {
        _ if args.summary && format != Format::Text => summary.table().write(format, out.text()),
        Format::Text if args.summary => out.text().push_str(&summary.text()),
        Format::Text if !out.quiet => {
            let text = summary.text();
            let _ = write!(out.text(), "\n{text}");
        }
        _ => {}
    }
    Ok(ended)
}

/// A file, or standard input.
pub(super) type Input = BufReader<Box<dyn Read>>;

/// Opens a file; `-` is standard input.
///
/// # Errors
/// It cannot be opened.
pub(super) fn open(path: &Path) -> Result<Input, Failure> {
    let buffered = |input: Box<dyn Read>| BufReader::with_capacity(1 << 16, input);
    if path == Path::new("-") {
        return Ok(buffered(Box::new(io::stdin())));
    }
    let doing = || format!("opening {}", path.display());
    let file = File::open(path).map_err(|e| {
        Failure::new(doing(), io_words(&e), "check the name, or give - to read standard input")
    })?;
    if file.metadata().is_ok_and(|m| m.is_dir()) {
        return Err(Failure::new(doing(), "it is a directory", "name a file in it"));
    }
    Ok(buffered(Box::new(file)))
}

/// A file in messages.
pub(super) fn file_name(path: &Path) -> String {
    if path == Path::new("-") { "standard input".into() } else { path.display().to_string() }
}

/// Whether this version reads what the file `name` holds.
///
/// # Errors
/// It does not.
pub(super) fn is_readable(kind: ContentKind, name: &str) -> Result<(), Failure> {
    match kind {
        ContentKind::Sound => Err(Failure::new(
            format!("reading {name}"),
            "it is a sound file, and a log or hex text is wanted here",
            "make a log of it: looprig listen wav:FILE --log FILE.log",
        )),
        ContentKind::Compressed => Err(Failure::new(
            format!("reading {name}"),
            "it is compressed",
            "unpack it first, for example with gzip -d or zstd -d",
        )),
        ContentKind::PacketCapture | ContentKind::Log | ContentKind::Hex | ContentKind::Octets => Ok(()),
    }
}

/// A log that only a newer version reads.
pub(super) fn newer_log(doing: String, version: u32) -> Failure {
    Failure::new(
        doing,
        format!("it holds a log of format {version}, and this version reads formats up to {LOG_VERSION}"),
        "decode it with the looprig that wrote it, or a newer one",
    )
}

fn one_file(
    path: &Path,
    input: Input,
    args: &DecodeArgs,
    out: &mut Output,
    chain: &mut Chain<'_>,
) -> Result<(), Failure> {
    let name = file_name(path);
    let reading = |e: io::Error| {
        let next = "see whether the disk or the connection that it comes from still works";
        Failure::new(format!("reading {name}"), io_words(&e), next)
    };
    let mut input = input;
    if is_recording(input.fill_buf().map_err(reading)?) {
        return one_recording(&name, &mut input, args, out, chain);
    }
    let mut reader = Reader::new(input).map_err(reading)?;
    is_readable(reader.kind(), &name)?;
    // A log may continue that of the file before: its first line tells.
    let (mut octets_read, mut problems, mut lost) = (0usize, 0usize, None);
    let (mut begun, mut messages_begun) = (false, false);
    let mut remarks = Remarks::default();
    while let Some(captured) = reader.next().map_err(reading)? {
        let continued = matches!(&captured, Captured::Start(h) if chain.is_continued_by(h));
        if !continued && (!begun || matches!(captured, Captured::Start(_))) {
            chain.break_off(out)?;
        }
        begun = true;
        out.options.times = reader.is_timed();
        match captured {
            Captured::Start(h) => {
                if !continued {
                    chain.begin(&h);
                }
                if out.options.format == Format::Text && !args.summary && !out.quiet {
                    let told = if continued { format!("Continued in {name}.") } else { captured_on(&h) };
                    write_wrapped(&told, 2, out.text());
                }
                chain.header = Some(h);
            }
            Captured::Octets(octets) => {
                octets_read += octets.len();
                if reader.kind() == ContentKind::Hex && chain.take_messages(&octets) {
                    chain.pass_on(out)?;
                    continue;
                }
                if let Some(first) = octets.first() {
                    chain.annotator.handle_timeout(first.at);
                }
                chain.annotator.push(&octets);
            }
            Captured::Remark(remark) => {
                let remark = Remark::from(remark);
                remarks.count(&remark);
                if !args.summary {
                    chain.pass_on(out)?;
                    write_remark(&remark, out.options, out.text());
                }
            }
            Captured::Break => chain.annotator.push_break(),
            Captured::Messages(passing) => {
                octets_read += passing.octets.len();
                if !messages_begun {
                    chain.begin_messages();
                    let zero = reader.packets().and_then(|p| p.zero_ns());
                    if out.options.format == Format::Text && !args.summary && !out.quiet {
                        write_wrapped(&captured_packets(zero), 2, out.text());
                    }
                    messages_begun = true;
                }
                chain.messages.push(passing.at, passing.flow, &passing.octets);
            }
            Captured::Problem(p) => {
                problems += 1;
                chain.summary.problem();
                match p.fault {
                    Fault::Newer { version } => lost = Some(newer_log(format!("reading {name}"), version)),
                    Fault::Lost(_) => lost = Some(unread_rest(&name)),
                    _ => {}
                }
                if problems <= 20 {
                    tell(&format!("reading {name}: {p}"));
                }
            }
        }
        chain.pass_on(out)?;
        if will_wait(&reader) {
            out.flush()?;
        }
    }
    if problems > 20 {
        let thing = if reader.packets().is_some() { "more thing" } else { "more line" };
        let more = plural(problems - 20, thing);
        tell(&format!("reading {name}: skipped {more} that could not be read"));
    }
    remarks.sum().iter().for_each(|note| tell(&format!("reading {name}: {note}")));
    let doing = format!("reading {name}");
    if let Some(lost) = lost {
        return Err(lost);
    }
    if let (Some(others @ 1..), false) = (reader.packets().map(|p| p.others()), out.quiet) {
        let packets = plural(others as usize, "packet");
        tell(&format!("reading {name}: passed over {packets} without HART-IP"));
    }
    let (wrong, next) = match (octets_read, problems, reader.kind()) {
        (1.., ..) => return Ok(()),
        (0, 0, ContentKind::Log) => (
            "nothing was heard while this log was written: it holds no octets",
            "check how the modem is connected, and log again while a host asks",
        ),
        (0, 0, ContentKind::PacketCapture) => (
            "no packet of it holds HART-IP messages",
            "capture where the client or the server is, port 5094 unless it was told another one",
        ),
        (0, problems, _) => (
            if problems > 0 { "nothing in it could be read" } else { "it holds no octets" },
            "give a looprig log, octets as hex text such as `02 80 00 00 82`, bare octets, or a capture with HART-IP",
        ),
    };
    Err(Failure::new(doing, wrong, next))
}

/// What is found in a recording of the tones [WV-12].
fn one_recording(
    name: &str,
    input: &mut Input,
    args: &DecodeArgs,
    out: &mut Output,
    chain: &mut Chain<'_>,
) -> Result<(), Failure> {
    chain.break_off(out)?;
    chain.listen();
    out.options.times = true;
    let mut octets_read = 0;
    let options =
        RecordingOptions { channel: args.channel - 1, rate_hz: args.rate, full_scale_v: args.full_scale };
    let mut remarks = Remarks::default();
    let notes = read_recording(name, input, options, &mut |heard, volts| {
        for h in heard {
            if let Heard::Character(c) = h {
                octets_read += 1;
                chain.annotator.handle_timeout(c.octet.at);
                chain.annotator.push(&[c.octet]);
                continue;
            }
            remarks.take(h, volts);
            // Behind the frames that were heard before.
            chain.pass_on(out)?;
            while let Some(remark) = remarks.next_before(Instant::from_nanos(u64::MAX)) {
                if !args.summary {
                    write_remark(&remark, out.options, out.text());
                }
            }
        }
        chain.pass_on(out)
    })?;
    let notes = notes.into_iter().chain(remarks.sum());
    notes.for_each(|note| tell(&format!("reading {name}: {note}")));
    chain.break_off(out)?;
    if octets_read == 0 {
        return Err(Failure::new(
            format!("reading {name}"),
            "no characters were heard in it",
            format!(
                "`looprig wave read {name}` says what is in it; perhaps another channel, or a level that is too low"
            ),
        ));
    }
    Ok(())
}

/// Whether what comes next must be fetched, which may take long where a program writes it just now:
/// nobody is to wait for what has been read already.
fn will_wait(reader: &Reader<Input>) -> bool {
    let here = reader.input().buffer();
    match reader.kind() {
        ContentKind::Octets | ContentKind::PacketCapture => here.is_empty(),
        _ => !here.contains(&b'\n'),
    }
}

/// What a header says, for people.
fn captured_on(h: &Header) -> String {
    let pace = match h.pace() {
        Pace::Wire => String::new(),
        p => format!(", pace {p}"),
    };
    format!(
        "Captured on {}{pace}, time 0 is {}, stamps +/-{} ms.",
        h.line,
        h.start_utc,
        h.stamp_error().as_secs_f64() * 1e3
    )
}

/// What is known of a capture of a network, for people.
fn captured_packets(zero_ns: Option<u64>) -> String {
    let zero = zero_ns.and_then(|ns| jiff::Timestamp::from_nanosecond(ns.into()).ok());
    let zero = zero.map(|t| format!("; time 0 is {t}")).unwrap_or_default();
    format!("HART-IP messages of a network{zero}.")
}

/// From octets to what is shown; goes on from one file to the next where a log does [LG-03].
struct Chain<'a> {
    args: &'a DecodeArgs,
    catalogue: Catalogue,
    annotator: Annotator,
    /// The same for HART-IP messages.
    messages: MessageAnnotator,
    /// That of the capture which is being read.
    header: Option<Header>,
    summary: Summary,
    rules: Rules,
}

impl<'a> Chain<'a> {
    fn new(args: &'a DecodeArgs, catalogue: Catalogue) -> Self {
        Chain {
            args,
            annotator: untimed(args, &catalogue),
            messages: untimed_messages(args, &catalogue),
            catalogue,
            header: None,
            summary: Summary::default(),
            rules: Rules::none(),
        }
    }

    fn is_continued_by(&self, header: &Header) -> bool {
        self.header.as_ref().is_some_and(|before| header.continues(before))
    }

    /// Accounts for what is pending: what follows has nothing to do with it.
    fn break_off(&mut self, out: &mut Output) -> Result<(), Failure> {
        self.annotator.finish();
        self.messages.finish();
        self.pass_on(out)?;
        self.annotator = untimed(self.args, &self.catalogue);
        self.messages = untimed_messages(self.args, &self.catalogue);
        self.rules = Rules::none();
        self.header = None;
        Ok(())
    }

    /// What follows are HART-IP messages with times of their own.
    fn begin_messages(&mut self) {
        self.messages = MessageAnnotator::new(self.args.revision).with_catalogue(self.catalogue.clone());
    }

    /// What follows was heard in samples.
    fn listen(&mut self) {
        let line = SampledLine::CAPABILITIES;
        self.rules = Rules::timed(Pace::Wire, line);
        self.annotator = Annotator::new(
            ReceiverConfig::for_line(Pace::Wire, line.stamp_error),
            PairerConfig::for_line(Pace::Wire, line.stamp_error * 2),
            self.args.revision,
        )
        .with_catalogue(self.catalogue.clone());
    }

    fn begin(&mut self, h: &Header) {
        self.rules = Rules::timed(h.pace(), h.capabilities());
        self.annotator = Annotator::new(
            ReceiverConfig::for_line(h.pace(), h.stamp_error()),
            PairerConfig::for_line(h.pace(), h.stamp_error() * 2),
            self.args.revision,
        )
        .with_catalogue(self.catalogue.clone());
    }

    fn pass_on(&mut self, out: &mut Output) -> Result<(), Failure> {
        while let Some(item) = self.annotator.next() {
            self.show(&item, out);
        }
        while let Some(item) = self.messages.next() {
            match item {
                MessageItem::Exchange(item) => self.show(&item, out),
                _ if self.args.summary => {}
                other => match out.options.format {
                    Format::Text => write_wrapped(&other.words(), 2, out.text()),
                    Format::Json => {
                        other.write_json(out.text());
                        out.text().push('\n');
                    }
                    // A table of values has no place for it.
                    Format::Csv => {}
                },
            }
        }
        out.pass_on()
    }

    fn show(&mut self, item: &Item, out: &mut Output) {
        self.summary.add(item);
        self.rules.look(item, &mut self.summary);
        if !self.args.summary {
            let options = out.options;
            write_item(item, options, out.text());
        }
    }

    /// Takes a line of hex text that is HART-IP messages; false where it is not.
    fn take_messages(&mut self, octets: &[Octet]) -> bool {
        // Behind the preambles that a frame would have been given.
        let values: Vec<u8> = octets.iter().map(|o| o.value).skip_while(|&v| v == 0xFF).collect();
        let is = is_messages(&values);
        if is {
            let at = octets.first().map_or(Instant::ZERO, |o| o.at);
            self.messages.push(at, 0, &values.into());
        }
        is
    }
}

fn untimed_messages(args: &DecodeArgs, catalogue: &Catalogue) -> MessageAnnotator {
    MessageAnnotator::new(args.revision).untimed().with_catalogue(catalogue.clone())
}

fn untimed(args: &DecodeArgs, catalogue: &Catalogue) -> Annotator {
    Annotator::new(ReceiverConfig::UNTIMED, PairerConfig::UNTIMED, args.revision)
        .with_catalogue(catalogue.clone())
}
