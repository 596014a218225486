//! `looprig listen`: what passes on a line, decoded and logged; nothing is sent.

use super::args::ListenArgs;
use super::lines::{end_on_signal, open_log, utc_now_words};
use super::output::{Ended, Failure, Output, say};
use crate::capture::{Annotator, LogWriter, Recorder};
use crate::frame::ReceiverConfig;
use crate::line::{Event, Line};
use crate::report::summary::Summary;
use crate::report::{Format, csv, write_item};
use crate::time::Instant;
use crate::transaction::PairerConfig;
use core::fmt::Write;
use core::time::Duration;

/// Runs it until Ctrl-C, the line's end, or the time that was given.
pub fn run(args: &ListenArgs, out: &mut Output) -> Result<Ended, Failure> {
    let mut line = args.line.open()?;
    end_on_signal(line.interrupt_handle())?;
    let log = args.log.as_deref().map(|path| open_log(path, &line)).transpose()?;
    if !out.quiet {
        let start = utc_now_words();
        say(&format!("Listening on {}; time 0 is {start}; Ctrl-C ends it.", line.describe()));
    }
    let until = args.seconds.map(|s| line.now() + Duration::from_secs_f64(s));
    let mut listener = Listener::new(&line, log, args, out)?;
    let result = listener.listen(&mut line, until);
    listener.finish()?;
    let summary = listener.summary;
    if out.options.format == Format::Text && !out.quiet {
        let _ = write!(out.text(), "\n{}", summary.text());
        if let Some(path) = &args.log {
            let _ = writeln!(out.text(), "The log is in {}; `looprig decode` reads it.", path.display());
        }
    }
    result
}

struct Listener<'a> {
    recorder: Recorder,
    annotator: Annotator,
    log: Option<LogWriter>,
    summary: Summary,
    out: &'a mut Output,
}

impl<'a> Listener<'a> {
    fn new(
        line: &dyn Line,
        log: Option<LogWriter>,
        args: &ListenArgs,
        out: &'a mut Output,
    ) -> Result<Self, Failure> {
        let stamp_error = line.capabilities().stamp_error;
        let receiver = ReceiverConfig::for_line(line.pace(), stamp_error);
        if out.options.format == Format::Csv {
            out.text().push_str(csv::HEADER);
        }
        out.flush()?;
        Ok(Listener {
            // On a line that is only listened to everything is received.
            recorder: Recorder::new(receiver, None),
            annotator: Annotator::new(
                receiver,
                PairerConfig::for_line(line.pace(), stamp_error * 2),
                args.revision,
            ),
            log,
            summary: Summary::default(),
            out,
        })
    }

    fn listen(&mut self, line: &mut dyn Line, until: Option<Instant>) -> Result<Ended, Failure> {
        loop {
            let wake =
                [until, self.annotator.deadline(), self.recorder.deadline()].into_iter().flatten().min();
            match line.wait(wake)? {
                Event::Octets(octets) => {
                    // The record first: whatever decoding does, the octets are safe.
                    self.recorder.push(&octets);
                    self.record()?;
                    self.annotator.push(&octets);
                }
                Event::Closed => {
                    return Err(Failure::new(
                        format!("listening on {}", line.describe()),
                        "the line was closed at the other end",
                        "what was captured is kept; check the adapter and start again",
                    ));
                }
                Event::Interrupted => return Ok(Ended::Fine),
                Event::Sent { .. } | Event::TimeOut => {}
            }
            let now = line.now();
            self.recorder.handle_timeout(now);
            self.record()?;
            self.annotator.handle_timeout(now);
            self.show()?;
            if until.is_some_and(|u| u <= now) {
                return Ok(Ended::Fine);
            }
        }
    }

    fn record(&mut self) -> Result<(), Failure> {
        while let Some(record) = self.recorder.next() {
            if let Some(log) = &mut self.log {
                log.write(&record).map_err(|e| Failure::told(e.to_string()))?;
            }
        }
        Ok(())
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

    fn finish(&mut self) -> Result<(), Failure> {
        self.recorder.finish();
        self.record()?;
        self.annotator.finish();
        self.show()
    }
}
