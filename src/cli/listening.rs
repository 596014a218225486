//! What `looprig listen` does with a line: the record first, then what it means, text and counts.

use super::output::{Ended, Failure, Output};
use super::packets::PacketFile;
use super::rules::Rules;
use super::wishes::Wishes;
use crate::app::command::{Catalogue, Revision};
use crate::capture::{Annotator, LogFileError, LogSeries, Recorder, SignalRemark};
use crate::frame::{Octet, ReceiverConfig};
use crate::line::{Event, Line};
use crate::report::statistics::Statistics;
use crate::report::summary::Summary;
use crate::report::wave::write_remark;
use crate::report::{Format, csv, write_item};
use crate::time::{Instant, Pace};
use crate::transaction::PairerConfig;
use core::time::Duration;
use std::path::Path;

/// What a listener goes by, besides the line.
#[derive(Default)]
pub struct Terms {
    /// Where it logs.
    pub log: Option<LogSeries>,
    /// Where it writes packets for network analysers.
    pub packets: Option<PacketFile>,
    /// The revision by which every device is read, instead of what it says itself.
    pub revision: Option<Revision>,
    /// Commands of device types.
    pub catalogue: Catalogue,
    /// How long it listens; `None`: until it is to end.
    pub length: Option<Duration>,
    /// Time between two lines of statistics.
    pub statistics: Option<Duration>,
}

/// A listener: [`Listening::listen`] until it ends, then [`Listening::finish`].
pub struct Listening<'a> {
    recorder: Recorder,
    annotator: Annotator,
    log: Option<LogSeries>,
    packets: Option<PacketFile>,
    /// What was noticed of the signal of receptions that have not ended.
    remarks: Vec<SignalRemark>,
    summary: Summary,
    rules: Rules,
    octets: u64,
    pace: Pace,
    /// Who has said something within this time may be going on.
    pause: Duration,
    begun: Instant,
    until: Option<Instant>,
    /// Time between two lines of statistics, and when the next is due.
    statistics: Option<(Duration, Instant)>,
    out: &'a mut Output,
}

impl<'a> Listening<'a> {
    /// A listener that begins now on `line`.
    ///
    /// # Errors
    /// Standard output cannot be written.
    pub fn new(line: &mut dyn Line, terms: Terms, out: &'a mut Output) -> Result<Self, Failure> {
        let stamp_error = line.capabilities().stamp_error;
        let receiver = ReceiverConfig::for_line(line.pace(), stamp_error);
        let begun = line.now();
        if out.options.format == Format::Csv {
            out.text().push_str(csv::HEADER);
        }
        out.flush()?;
        Ok(Listening {
            // On a line that is only listened to everything is received.
            recorder: Recorder::new(receiver, line.pace().character(), None),
            annotator: Annotator::new(
                receiver,
                PairerConfig::for_line(line.pace(), stamp_error * 2),
                terms.revision,
            )
            .with_catalogue(terms.catalogue),
            log: terms.log,
            packets: terms.packets,
            remarks: Vec::new(),
            summary: Summary::default(),
            rules: Rules::timed(line.pace(), line.capabilities()),
            octets: 0,
            pace: line.pace(),
            pause: line.pace().character() * 2 + stamp_error * 2,
            begun,
            until: terms.length.map(|length| begun + length),
            statistics: terms.statistics.map(|period| (period, begun + period)),
            out,
        })
    }

    /// The log, unless it could not be written any more.
    pub fn log(&self) -> Option<&LogSeries> {
        self.log.as_ref()
    }

    /// What has been heard so far.
    pub fn summary(&self) -> &Summary {
        &self.summary
    }

    /// How it stands at `now`.
    pub fn statistics(&self, now: Instant) -> Statistics<'_> {
        let elapsed = now.since(self.begun);
        Statistics { summary: &self.summary, octets: self.octets, elapsed, pace: self.pace }
    }

    /// Listens until its time is over or `wishes` says so.
    ///
    /// # Errors
    /// The line is lost or closed, the log or standard output cannot be written.
    pub fn listen(&mut self, line: &mut dyn Line, wishes: &Wishes) -> Result<Ended, Failure> {
        loop {
            let until = self.deadline();
            match line.wait(until)? {
                Event::Octets(octets) => self.hear(&octets)?,
                // Not the time it is now: octets that came since may still wait for us.
                Event::TimeOut => self.pass_time(until.unwrap_or(Instant::ZERO))?,
                Event::Closed if line.is_recording() => {
                    self.show()?;
                    self.remark(line)?;
                    if self.octets == 0 {
                        return Err(Failure::new(
                            format!("reading {}", line.describe()),
                            "no characters were heard in it",
                            "`looprig wave read` says what is in it; perhaps another channel, or a level that is too low",
                        ));
                    }
                    return Ok(Ended::Fine);
                }
                Event::Closed => {
                    return Err(Failure::new(
                        format!("listening on {}", line.describe()),
                        "the line was closed at the other end",
                        "check the adapter and start again: the log is continued",
                    ));
                }
                Event::Interrupted if wishes.end() => return self.hear_the_rest(line),
                Event::Interrupted | Event::Sent { .. } | Event::NoAnswer { .. } => {}
            }
            self.show()?;
            self.remark(line)?;
            let now = line.now();
            self.keep(now)?;
            let asked = wishes.take_statistics() | self.is_due(now);
            if self.until.is_some_and(|u| u <= now) {
                // Then they are told in any case, unless nothing but results is wanted.
                if asked && self.out.quiet {
                    self.show_statistics(now)?;
                }
                return self.hear_the_rest(line);
            }
            if asked {
                self.show_statistics(now)?;
            }
        }
    }

    /// Accounts for what has begun and not ended, puts the log on the disk, shows what is left to show.
    ///
    /// # Errors
    /// The log or standard output cannot be written.
    pub fn finish(&mut self, now: Instant) -> Result<(), Failure> {
        self.recorder.finish();
        let mut recorded = self.record();
        if let Some(log) = &mut self.log
            && let Err(e) = log.sync()
        {
            recorded = Err(self.give_up_log(&e));
        }
        if let Some(packets) = &mut self.packets {
            recorded = recorded.and(packets.finish());
        }
        self.summary.ends(now.before(self.pause));
        self.annotator.finish();
        let mut shown = self.show();
        if !self.out.quiet {
            shown = shown.and(self.show_statistics(now));
        }
        recorded.and(shown)
    }

    /// When something is to be done if nothing comes.
    fn deadline(&self) -> Option<Instant> {
        let statistics = self.statistics.map(|(_, due)| due);
        let log = self.log.as_ref().and_then(LogSeries::deadline);
        let all = [self.until, statistics, self.annotator.deadline(), self.recorder.deadline(), log];
        all.into_iter().flatten().min()
    }

    fn hear(&mut self, octets: &[Octet]) -> Result<(), Failure> {
        let Some(first) = octets.first() else { return Ok(()) };
        // We may be late: only what these octets themselves came too late for is over.
        self.pass_time(first.at)?;
        // The record first: whatever decoding does, the octets are safe.
        self.octets += octets.len() as u64;
        self.recorder.push(octets);
        self.record()?;
        self.annotator.push(octets);
        Ok(())
    }

    /// Nothing more has come until `at`.
    fn pass_time(&mut self, at: Instant) -> Result<(), Failure> {
        self.recorder.handle_timeout(at);
        self.record()?;
        if let Some(packets) = &mut self.packets {
            packets.handle_timeout(at)?;
        }
        self.annotator.handle_timeout(at);
        Ok(())
    }

    /// The end; what has come until now and waits to be fetched belongs to what was heard.
    fn hear_the_rest(&mut self, line: &mut dyn Line) -> Result<Ended, Failure> {
        let now = line.now();
        loop {
            match line.wait(Some(now)) {
                Ok(Event::Octets(octets)) if octets.first().is_some_and(|o| o.at <= now) => {
                    self.hear(&octets)?;
                }
                Ok(Event::Interrupted | Event::Sent { .. } | Event::NoAnswer { .. }) => {}
                // A line that is lost now is no longer wanted anyway.
                Ok(Event::Octets(_) | Event::TimeOut | Event::Closed) | Err(_) => return Ok(Ended::Fine),
            }
        }
    }

    /// Whether statistics are due; the next are so at a multiple of the period.
    fn is_due(&mut self, now: Instant) -> bool {
        let Some((period, due)) = &mut self.statistics else { return false };
        let is_due = *due <= now;
        while *due <= now {
            *due += *period;
        }
        is_due
    }

    fn record(&mut self) -> Result<(), Failure> {
        while let Some(record) = self.recorder.next() {
            if let Some(log) = &mut self.log
                && let Err(e) = log.write(&record)
            {
                return Err(self.give_up_log(&e));
            }
            if let Some(packets) = &mut self.packets {
                packets.record(&record)?;
            }
        }
        self.keep_remarks()
    }

    /// Lets the log reach the disk if that is due.
    fn keep(&mut self, now: Instant) -> Result<(), Failure> {
        let kept = self.log.as_mut().map_or(Ok(()), |log| log.handle_timeout(now));
        kept.map_err(|e| self.give_up_log(&e))
    }

    /// A listener that cannot log must not look as if it did: it ends, and tells where the log is that
    /// it has so far.
    fn give_up_log(&mut self, e: &LogFileError) -> Failure {
        if let Some(log) = self.log.take() {
            let files = file_names(&log);
            self.out.say(&format!("looprig: the log ends here; what was written before is in {files}"));
        }
        Failure::told(e.to_string())
    }

    fn show(&mut self) -> Result<(), Failure> {
        let mut any = false;
        while let Some(item) = self.annotator.next() {
            any = true;
            self.summary.add(&item);
            self.rules.look(&item, &mut self.summary);
            let options = self.out.options;
            write_item(&item, options, self.out.text());
        }
        if any { self.out.flush() } else { Ok(()) }
    }

    /// What is to be known of the wave.
    fn remark(&mut self, line: &mut dyn Line) -> Result<(), Failure> {
        let remarks = line.take_remarks();
        let options = self.out.options;
        remarks.iter().for_each(|r| write_remark(r, options, self.out.text()));
        self.remarks.extend(remarks.iter().map(|r| SignalRemark::from(*r)));
        self.record()?;
        if remarks.is_empty() { Ok(()) } else { self.out.flush() }
    }

    /// Keeps what was noticed of the signal behind the receptions that it is about [LG-05].
    fn keep_remarks(&mut self) -> Result<(), Failure> {
        if self.recorder.deadline().is_some() {
            return Ok(());
        }
        for remark in core::mem::take(&mut self.remarks) {
            if let Some(log) = &mut self.log
                && let Err(e) = log.write_remark(&remark)
            {
                return Err(self.give_up_log(&e));
            }
            if let Some(packets) = &mut self.packets {
                packets.remark(&remark)?;
            }
        }
        Ok(())
    }

    /// How it stands: among the results in JSON, else beside them.
    fn show_statistics(&mut self, now: Instant) -> Result<(), Failure> {
        let format = self.out.options.format;
        let mut text = String::new();
        self.statistics(now).write(format, &mut text);
        if format == Format::Json {
            self.out.text().push_str(&text);
            return self.out.flush();
        }
        self.out.say(text.trim_end());
        Ok(())
    }
}

/// The file, or the first and the last one.
pub fn file_names(log: &LogSeries) -> String {
    let (first, last) = log.files();
    let shown = |path: &Path| path.display().to_string();
    if first == last { shown(first) } else { format!("{} to {}", shown(first), shown(last)) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::Header;
    use crate::frame::{Capabilities, StampUnit};
    use crate::line::Error;
    use crate::report::Options;
    use std::collections::VecDeque;
    use std::io::{self, Write};
    use std::sync::{Arc, Mutex};

    /// What waits to be fetched from a line, while the clock has run on.
    struct Late {
        waiting: VecDeque<Event>,
        now: Instant,
    }

    impl Line for Late {
        fn describe(&self) -> String {
            "late".to_owned()
        }
        fn capabilities(&self) -> Capabilities {
            Capabilities {
                unit: StampUnit::Octets,
                stamp_error: Duration::from_millis(5),
                parity_seen: false,
                carrier_seen: false,
                echo: false,
            }
        }
        fn pace(&self) -> Pace {
            Pace::Wire
        }
        fn now(&mut self) -> Instant {
            self.now
        }
        fn send(&mut self, _: &[u8]) -> Result<(), Error> {
            panic!("a listener sends nothing")
        }
        fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
            if let Some(event) = self.waiting.pop_front() {
                return Ok(event);
            }
            self.now = self.now.max(until.unwrap_or_default());
            Ok(Event::TimeOut)
        }
    }

    #[derive(Clone, Default)]
    struct Shared(Arc<Mutex<Vec<u8>>>);

    impl Write for Shared {
        fn write(&mut self, octets: &[u8]) -> io::Result<usize> {
            self.0.lock().unwrap().write(octets)
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    /// Command 0 to polling address 0 [1770] and an answer, in pieces as a port reads them; the answer begins 20 ms
    /// after the request's end. It is that of [ICS] without its burst bit, 40, which changes the check byte
    /// from D3 to 93.
    fn asked_and_answered() -> Vec<Event> {
        let answer = "06 80 00 18 00 10 FE F9 FD 00 07 02 32 4E 00 95 26 6F 00 03 00 01 01 00 F9 00 F9 41 93";
        let character = Pace::Wire.character();
        let mut at = Instant::ZERO;
        let mut events = Vec::new();
        for frame in ["02 80 00 00 82", answer] {
            at += Duration::from_millis(20);
            let values = frame.split(' ').map(|h| u8::from_str_radix(h, 16).unwrap());
            let values: Vec<u8> = [0xFF; 5].into_iter().chain(values).collect();
            for piece in values.chunks(7) {
                at += character * piece.len() as u32;
                events.push(Event::Octets(piece.iter().map(|&v| Octet::clean(at, v)).collect()));
            }
        }
        events
    }

    /// Listens to what waits; the results in JSON, and the log's records.
    fn listen(waiting: Vec<Event>, name: &str) -> (Vec<serde_json::Value>, usize) {
        let path = std::env::temp_dir().join(format!("looprig-listening-{name}-{}.log", std::process::id()));
        let _ = std::fs::remove_file(&path);
        let mut line = Late { waiting: waiting.into(), now: Instant::ZERO + Duration::from_secs(30) };
        let header = Header::new("late", "2026-11-25T00:00:00Z", line.pace(), line.capabilities());
        let log = Some(LogSeries::open(&path, None, header).unwrap());
        let shared = Shared::default();
        let options = Options { format: Format::Json, verbosity: 0, times: true, colour: false };
        let mut out = Output::to(Box::new(shared.clone()), options, true);
        let terms = Terms { log, length: Some(Duration::from_secs(60)), ..Terms::default() };
        let mut listening = Listening::new(&mut line, terms, &mut out).unwrap();
        listening.listen(&mut line, &Wishes::only_to_end()).unwrap();
        listening.finish(line.now).unwrap();
        let text = String::from_utf8(shared.0.lock().unwrap().clone()).unwrap();
        let records = std::fs::read_to_string(&path).unwrap().lines().count() - 1;
        std::fs::remove_file(path).unwrap();
        (text.lines().map(|l| serde_json::from_str(l).unwrap()).collect(), records)
    }

    /// A listener that is late, as on a machine with much else to do, says what one in time would:
    /// a pause is one of the octets, not one of ours.
    #[test]
    fn being_late_makes_no_silence() {
        let (told, records) = listen(asked_and_answered(), "late");
        assert_eq!(told.len(), 1, "{told:?}");
        assert_eq!((&told[0]["outcome"], &told[0]["tries"]), (&"answered".into(), &1.into()), "{told:?}");
        assert_eq!(records, 2, "a reception was cut in two");
    }

    /// Where octets were heard, the modem is not what to look at first.
    #[test]
    fn advice_where_nothing_whole_was_heard() {
        for (heard, says, says_not) in [
            (vec![0x55; 300], "octets were heard", "no frame was heard"),
            (vec![], "no frame was heard", "octets were"),
        ] {
            let mut at = Instant::ZERO;
            let octet = |value: u8| {
                at += Pace::Wire.character();
                Octet::clean(at, value)
            };
            let heard: Vec<Octet> = heard.into_iter().map(octet).collect();
            let mut waiting = VecDeque::from([Event::Interrupted]);
            if !heard.is_empty() {
                waiting.push_front(Event::Octets(heard));
            }
            let mut line = Late { waiting, now: Instant::ZERO + Duration::from_secs(30) };
            let options = Options { format: Format::Text, verbosity: 0, times: true, colour: false };
            let mut out = Output::to(Box::new(Shared::default()), options, true);
            let mut listening = Listening::new(&mut line, Terms::default(), &mut out).unwrap();
            listening.listen(&mut line, &Wishes::only_to_end()).unwrap();
            listening.finish(line.now).unwrap();
            let text = listening.summary().text();
            let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(flat.contains(says) && !flat.contains(says_not), "{text}");
        }
    }

    /// The end of the listening in the middle of a frame is no damage of that frame; half a frame a second before is one.
    #[test]
    fn what_is_still_coming_at_the_end() {
        for (ago, still, damaged) in [(10, 1, 0), (1000, 0, 1)] {
            let now = Instant::ZERO + Duration::from_secs(30);
            // Half of command 0 to polling address 0.
            let values = [0xFF, 0xFF, 0xFF, 0x02, 0x80];
            let at =
                |i: usize| now.before(Duration::from_millis(ago) + Pace::Wire.character() * (4 - i as u32));
            let half = (0..5).map(|i| Octet::clean(at(i), values[i])).collect();
            let mut line = Late { waiting: vec![Event::Octets(half), Event::Interrupted].into(), now };
            let options = Options { format: Format::Json, verbosity: 0, times: true, colour: false };
            let mut out = Output::to(Box::new(Shared::default()), options, true);
            let mut listening = Listening::new(&mut line, Terms::default(), &mut out).unwrap();
            listening.listen(&mut line, &Wishes::only_to_end()).unwrap();
            listening.finish(now).unwrap();
            assert_eq!(listening.summary().frames(), (0, damaged));
            let mut text = String::new();
            listening.statistics(now).write(Format::Text, &mut text);
            assert_eq!(text.contains("1 frame was still coming"), still == 1, "{text}");
            listening.statistics(now).write(Format::Json, &mut text);
            assert!(text.contains(&format!("\"damaged\":{damaged},\"still_coming\":{still},")), "{text}");
        }
    }

    /// What has come when the end is asked for is heard and logged.
    #[test]
    fn what_waits_at_the_end_is_not_lost() {
        let mut events = asked_and_answered();
        events.insert(0, Event::Interrupted);
        let (told, records) = listen(events, "end");
        assert_eq!((told.len(), records), (1, 2), "{told:?}");
        assert_eq!(told[0]["outcome"], "answered");
    }
}
