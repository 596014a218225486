//! `looprig host-check`: what a host on a log did wrong.

use super::decode::{file_name, is_readable, newer_log, open};
use super::mock_args::HostCheckArgs;
use super::output::{Ended, Failure, Output, tell};
use super::packets::unread_rest;
use crate::app::command::Catalogue;
use crate::bench::{BenchPlan, LineKind, Notice};
use crate::capture::{Annotator, Captured, Fault, Header, Reader, io_words};
use crate::conform::host_check::{HostCheck, Judged, LineFacts, News, Place, Report, Verdict};
use crate::frame::{Capabilities, Master, Octet, ReceiverConfig, StampUnit};
use crate::report::Format;
use crate::report::host_check::write;
use crate::transaction::PairerConfig;
use core::fmt::Write;
use core::time::Duration;
use serde_json::json;
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
        let (mut begun, mut problems, mut lost) = (false, 0usize, false);
        let (mut octets_read, mut messages) = (0usize, 0usize);
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
                    octets_read += octets.len();
                    if let Some(first) = octets.first() {
                        self.annotator.handle_timeout(first.at);
                        self.pass_on();
                        self.check.record(Place { file: index, line: reader.line() }, first.at);
                    }
                    self.annotator.push(&octets);
                }
                Captured::Break => self.annotator.push_break(),
                // The frames that are damaged by it are judged as damaged.
                Captured::Remark(_) => {}
                Captured::Messages(_) => messages += 1,
                Captured::Problem(p) => {
                    lost |= matches!(p.fault, Fault::Lost(_));
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
        if lost {
            return Err(unread_rest(name));
        }
        if messages > 0 && octets_read == 0 && reader.packets().is_some_and(|p| p.is_stripped()) {
            return Err(Failure::new(
                doing(),
                "another program has saved it without the blocks that looprig wrote, and with them the turns and octets of the wire are gone",
                "take the file as looprig wrote it, or log again with `looprig listen LINE --log FILE` while the host asks",
            ));
        }
        if messages > 0 && octets_read == 0 {
            return Err(Failure::new(
                doing(),
                "it holds HART-IP messages of a network, and what is judged here is the turns and octets of a wire",
                "log on the wire with `looprig listen LINE --log FILE` or --pcap while the host asks",
            ));
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

/// The host on the lines of a running bench, checked as it speaks.
pub struct Live {
    annotator: Annotator,
    check: HostCheck,
    facts: LineFacts,
    catalogue: Catalogue,
}

impl Live {
    /// For this bench. Its own masters are not judged where the host is the other one; on a bench with one
    /// pseudo-terminal and no other line and no master whoever speaks is the one host.
    pub fn new(plan: &BenchPlan, wanted: Option<Master>, stamp_error: Duration) -> Live {
        let own: Vec<Master> = plan.masters.iter().map(|m| m.config.role).collect();
        let other = match own[..] {
            [role] => Some(role.other()),
            _ => None,
        };
        // Of all lines a pseudo-terminal alone has one program at its other end: several reach a socket, and behind a
        // serial port's modem there may be two masters.
        let alone = own.is_empty() && matches!(&plan.lines[..], [l] if matches!(l.kind, LineKind::Pty(_)));
        let serial = |l: &LineKind| matches!(l, LineKind::Serial(..));
        let facts = LineFacts {
            pace: plan.pace,
            capabilities: Some(Capabilities {
                unit: StampUnit::Octets,
                stamp_error,
                // What faults of the wires spoil is marked.
                parity_seen: true,
                carrier_seen: true,
                echo: false,
            }),
            whole_preambles: !plan
                .lines
                .iter()
                .any(|l| serial(&l.kind) || matches!(l.kind, LineKind::Tcp(_))),
            host_times: plan.lines.iter().all(|l| serial(&l.kind)),
        };
        let catalogue = plan.catalogue.clone();
        let mut check = HostCheck::new(Judged { master: wanted.or(other), alone });
        check.begin(facts);
        Live { annotator: chain(facts, &catalogue), check, facts, catalogue }
    }

    /// These octets passed; what was found for the first time.
    pub fn hear(&mut self, octets: &[Octet]) -> Vec<News> {
        for o in octets {
            self.annotator.handle_timeout(o.at);
            self.annotator.push(&[*o]);
        }
        self.pass_on()
    }

    /// The bench was put back to another time: what was under way has ended.
    pub fn begin_anew(&mut self) {
        self.annotator.finish();
        self.pass_on();
        self.annotator = chain(self.facts, &self.catalogue);
        self.check.begin(self.facts);
    }

    fn pass_on(&mut self) -> Vec<News> {
        while let Some(item) = self.annotator.next() {
            self.check.look(&item);
        }
        self.check.take_news()
    }

    /// All that was found.
    pub fn finish(mut self) -> Report {
        self.annotator.finish();
        self.pass_on();
        self.check.finish()
    }
}

fn chain(facts: LineFacts, catalogue: &Catalogue) -> Annotator {
    let error = facts.capabilities.map_or(Duration::ZERO, |c| c.stamp_error);
    Annotator::new(
        ReceiverConfig::for_line(facts.pace, error),
        PairerConfig::for_line(facts.pace, error * 2),
        None,
    )
    .with_catalogue(catalogue.clone())
}

/// Takes what the check of the host is to know, and tells what it finds.
pub fn follow(notice: &Notice, host: &mut Live, out: &mut Output) {
    match notice {
        Notice::Heard(heard) => {
            let octets: Vec<_> = heard.iter().map(|d| d.octet).collect();
            for news in host.hear(&octets) {
                let (rule, at_s) = (news.rule, news.at.as_secs_f64());
                let _ = match out.options.format {
                    Format::Json => {
                        let told = json!({
                            "notice": "host", "finding": rule.slug, "requirement": rule.requirement,
                            "strength": rule.strength.name(), "master": news.master.name(), "at_s": at_s,
                            "says": news.says,
                        });
                        writeln!(out.text(), "{told}")
                    }
                    _ if out.quiet => Ok(()),
                    _ => writeln!(
                        out.text(),
                        "the host, {at_s:.3} s: {} {} [{}]: {}",
                        rule.strength.name(),
                        rule.slug,
                        rule.requirement,
                        news.says
                    ),
                };
            }
        }
        Notice::Restored(_) => host.begin_anew(),
        _ => {}
    }
}
