//! `looprig listen`: what passes on a line, decoded and logged; nothing is sent.

use super::args::ListenArgs;
use super::lines::{utc_now, utc_now_words};
use super::output::{Ended, Failure, Output, say, tell};
use super::wishes::{Wishes, hold_back_signals};
use crate::capture::{Annotator, Header, LogFileError, LogSeries, Recorder};
use crate::frame::ReceiverConfig;
use crate::line::{Event, Line};
use crate::report::statistics::Statistics;
use crate::report::summary::Summary;
use crate::report::{Format, csv, write_item};
use crate::time::{Instant, Pace};
use crate::transaction::PairerConfig;
use core::fmt::Write;
use core::time::Duration;
use std::path::Path;

/// Runs it until Ctrl-C, the line's end, or the time that was given.
pub fn run(args: &ListenArgs, out: &mut Output) -> Result<Ended, Failure> {
    hold_back_signals();
    let mut line = args.line.open()?;
    let wishes = Wishes::hear(line.interrupt_handle())?;
    let log = args.log.as_deref().map(|path| {
        let header = Header::new(&line.describe(), &utc_now(), line.pace(), line.capabilities());
        LogSeries::open(path, args.rotate, header)
    });
    let log = log.transpose().map_err(|e| Failure::told(e.to_string()))?;
    if !out.quiet {
        let start = utc_now_words();
        say(&format!("Listening on {}; time 0 is {start}; Ctrl-C ends it.", line.describe()));
    }
    let mut listener = Listener::new(&mut line, log, args, out)?;
    let listened = listener.listen(&mut line, &wishes);
    // Whatever ended it, what was heard is logged and shown; the first failure is the one to tell.
    let finished = listener.finish(line.now());
    let failed = matches!(&listened, Err(e) if !e.is_closed_pipe());
    if failed && let Some(log) = &listener.log {
        tell(&format!("what was heard until then is in {}", file_names(log)));
    }
    let Listener { summary, log, .. } = listener;
    if out.options.format == Format::Text && !out.quiet {
        let _ = write!(out.text(), "\n{}", summary.text());
        if let Some(log) = &log {
            let _ = writeln!(out.text(), "The log is in {}; `looprig decode` reads it.", file_names(log));
        }
    }
    listened.and_then(|ended| finished.map(|()| ended))
}

/// The file, or the first and the last one.
fn file_names(log: &LogSeries) -> String {
    let (first, last) = log.files();
    let shown = |path: &Path| path.display().to_string();
    if first == last { shown(first) } else { format!("{} to {}", shown(first), shown(last)) }
}

struct Listener<'a> {
    recorder: Recorder,
    annotator: Annotator,
    log: Option<LogSeries>,
    summary: Summary,
    octets: u64,
    pace: Pace,
    begun: Instant,
    until: Option<Instant>,
    /// Time between two lines of statistics, and when the next is due.
    statistics: Option<(Duration, Instant)>,
    out: &'a mut Output,
}

impl<'a> Listener<'a> {
    fn new(
        line: &mut dyn Line,
        log: Option<LogSeries>,
        args: &ListenArgs,
        out: &'a mut Output,
    ) -> Result<Self, Failure> {
        let stamp_error = line.capabilities().stamp_error;
        let receiver = ReceiverConfig::for_line(line.pace(), stamp_error);
        let begun = line.now();
        if out.options.format == Format::Csv {
            out.text().push_str(csv::HEADER);
        }
        out.flush()?;
        Ok(Listener {
            // On a line that is only listened to everything is received.
            recorder: Recorder::new(receiver, line.pace().character(), None),
            annotator: Annotator::new(
                receiver,
                PairerConfig::for_line(line.pace(), stamp_error * 2),
                args.revision,
            ),
            log,
            summary: Summary::default(),
            octets: 0,
            pace: line.pace(),
            begun,
            until: args.line.listening_s(args.seconds).map(|s| begun + Duration::from_secs_f64(s)),
            statistics: args.stats.map(Duration::from_secs_f64).map(|period| (period, begun + period)),
            out,
        })
    }

    fn listen(&mut self, line: &mut dyn Line, wishes: &Wishes) -> Result<Ended, Failure> {
        loop {
            let statistics = self.statistics.map(|(_, due)| due);
            let deadlines = [self.until, statistics, self.annotator.deadline(), self.recorder.deadline()];
            match line.wait(deadlines.into_iter().flatten().min())? {
                Event::Octets(octets) => {
                    // The record first: whatever decoding does, the octets are safe.
                    self.octets += octets.len() as u64;
                    self.recorder.push(&octets);
                    self.record()?;
                    self.annotator.push(&octets);
                }
                Event::Closed => {
                    return Err(Failure::new(
                        format!("listening on {}", line.describe()),
                        "the line was closed at the other end",
                        "check the adapter and start again: the log is continued",
                    ));
                }
                Event::Interrupted if wishes.end() => return Ok(Ended::Fine),
                Event::Interrupted | Event::Sent { .. } | Event::TimeOut => {}
            }
            let now = line.now();
            self.recorder.handle_timeout(now);
            self.record()?;
            self.annotator.handle_timeout(now);
            self.show()?;
            // At the end they are told in any case, unless nothing but results is wanted.
            let ends = !self.out.quiet && self.until.is_some_and(|u| u <= now);
            if (wishes.take_statistics() | self.is_due(now)) && !ends {
                self.show_statistics(now)?;
            }
            if self.until.is_some_and(|u| u <= now) {
                return Ok(Ended::Fine);
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
        }
        Ok(())
    }

    /// A listener that cannot log must not look as if it did: it ends, and tells where the log is that
    /// it has so far.
    fn give_up_log(&mut self, e: &LogFileError) -> Failure {
        if let Some(log) = self.log.take() {
            tell(&format!("the log ends here; what was written before is in {}", file_names(&log)));
        }
        Failure::told(e.to_string())
    }

    fn show(&mut self) -> Result<(), Failure> {
        let mut any = false;
        while let Some(item) = self.annotator.next() {
            any = true;
            self.summary.add(&item);
            let options = self.out.options;
            write_item(&item, options, self.out.text());
        }
        if any { self.out.flush() } else { Ok(()) }
    }

    /// How it stands: among the results in JSON, else beside them.
    fn show_statistics(&mut self, now: Instant) -> Result<(), Failure> {
        let elapsed = now.since(self.begun);
        let statistics = Statistics { summary: &self.summary, octets: self.octets, elapsed, pace: self.pace };
        let format = self.out.options.format;
        if format == Format::Json {
            statistics.write(format, self.out.text());
            return self.out.flush();
        }
        let mut text = String::new();
        statistics.write(format, &mut text);
        say(text.trim_end());
        Ok(())
    }

    fn finish(&mut self, now: Instant) -> Result<(), Failure> {
        self.recorder.finish();
        let mut recorded = self.record();
        if let Some(log) = &mut self.log
            && let Err(e) = log.sync()
        {
            recorded = Err(self.give_up_log(&e));
        }
        self.annotator.finish();
        let mut shown = self.show();
        if !self.out.quiet {
            shown = shown.and(self.show_statistics(now));
        }
        recorded.and(shown)
    }
}
