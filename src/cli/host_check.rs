//! `looprig host-check`: what a host on a log did wrong.

use super::args::HostCheckArgs;
use super::decode::{file_name, is_readable, newer_log, open};
use super::output::{Ended, Failure, Output, tell};
use crate::app::command::Catalogue;
use crate::capture::{Annotator, Captured, Fault, Header, Reader, io_words};
use crate::conform::host_check::{HostCheck, LineFacts, Place, Report, Verdict};
use crate::frame::ReceiverConfig;
use crate::report::host_check::write;
use crate::transaction::PairerConfig;
use std::io::{BufRead, Error};

/// Problems of a file that are told one by one.
const MOST_TOLD: usize = 20;

/// Reads every file and tells what they show.
pub fn run(args: &HostCheckArgs, out: &mut Output) -> Result<Ended, Failure> {
    let mut chain = Chain::new(args, args.described.load()?);
    let names: Vec<String> = args.files.iter().map(|p| file_name(p)).collect();
    for (i, (path, name)) in args.files.iter().zip(&names).enumerate() {
        chain.file(i, name, open(path)?)?;
    }
    chain.break_off();
    let report = chain.check.finish();
    write(&report, &names, out.options.format, out.text());
    if report.verdict() == Verdict::NothingJudged && !out.quiet {
        tell(&nothing_judged(&report));
    }
    Ok(ended(&report))
}

/// What an outcome makes of the exit code: advice alone is no failure.
pub fn ended(report: &Report) -> Ended {
    match report.verdict() {
        Verdict::Nothing | Verdict::Advice => Ended::Fine,
        Verdict::Broken => Ended::Failed,
        Verdict::NothingJudged => Ended::CouldNot,
    }
}

/// Why nothing could be judged, and what to do next.
pub fn nothing_judged(report: &Report) -> Failure {
    let (who, next) = match report.judged.master {
        Some(master) => (
            format!("no request of the {master} master was heard"),
            "leave --master out, or log again while the host asks",
        ),
        None => ("no request was heard".to_owned(), "log again while the host asks"),
    };
    Failure::new("checking the host", who, next)
}

/// From octets to findings; goes on from one file to the next where a log does [LG-03].
struct Chain<'a> {
    args: &'a HostCheckArgs,
    catalogue: Catalogue,
    annotator: Annotator,
    header: Option<Header>,
    check: HostCheck,
}

impl<'a> Chain<'a> {
    fn new(args: &'a HostCheckArgs, catalogue: Catalogue) -> Self {
        Chain {
            args,
            annotator: Annotator::new(ReceiverConfig::UNTIMED, PairerConfig::UNTIMED, args.revision)
                .with_catalogue(catalogue.clone()),
            catalogue,
            header: None,
            check: HostCheck::new(args.judged()),
        }
    }

    fn file(&mut self, index: usize, name: &str, input: impl BufRead) -> Result<(), Failure> {
        let doing = || format!("reading {name}");
        let reading = |e: Error| {
            let next = "see whether the disk or the connection that it comes from still works";
            Failure::new(doing(), io_words(&e), next)
        };
        let mut reader = Reader::new(input).map_err(reading)?;
        is_readable(reader.kind(), name)?;
        let (mut begun, mut problems) = (false, 0usize);
        while let Some(captured) = reader.next().map_err(reading)? {
            let continued =
                matches!((&captured, &self.header), (Captured::Start(h), Some(b)) if h.continues(b));
            if !continued && (!begun || matches!(captured, Captured::Start(_))) {
                self.break_off();
                self.begin(None);
            }
            begun = true;
            match captured {
                Captured::Start(h) => {
                    if !continued {
                        self.begin(Some(&h));
                    }
                    self.header = Some(h);
                }
                Captured::Octets(octets) => {
                    if let Some(first) = octets.first() {
                        self.annotator.handle_timeout(first.at);
                        self.pass_on();
                        self.check.record(Place { file: index, line: reader.line() }, first.at);
                    }
                    self.annotator.push(&octets);
                }
                Captured::Break => self.annotator.push_break(),
                Captured::Problem(p) => {
                    if let Fault::Newer { version } = p.fault {
                        return Err(newer_log(doing(), version));
                    }
                    problems += 1;
                    if problems <= MOST_TOLD {
                        tell(&format!("reading {name}: {p}"));
                    }
                }
            }
            self.pass_on();
        }
        Ok(())
    }

    /// Accounts for what is pending: what follows has nothing to do with it.
    fn break_off(&mut self) {
        self.annotator.finish();
        self.pass_on();
        self.header = None;
    }

    fn begin(&mut self, header: Option<&Header>) {
        let (receiver, pairer) = match header {
            Some(h) => (
                ReceiverConfig::for_line(h.pace(), h.stamp_error()),
                PairerConfig::for_line(h.pace(), h.stamp_error() * 2),
            ),
            None => (ReceiverConfig::UNTIMED, PairerConfig::UNTIMED),
        };
        self.annotator =
            Annotator::new(receiver, pairer, self.args.revision).with_catalogue(self.catalogue.clone());
        self.check.begin(header.map_or(LineFacts::OCTETS_ALONE, LineFacts::of_log));
    }

    fn pass_on(&mut self) {
        while let Some(item) = self.annotator.next() {
            self.check.look(&item);
        }
    }
}
