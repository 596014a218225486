//! What a host does wrong, found in what passed on its line [HC-01].
//!
//! [`HostCheck`] looks at the items of a capture as they come and keeps little of them: what each host has
//! still to do, and for each finding how often and the octets of its first time.

mod answers;
mod book;
mod devices;
mod habits;
mod octets;
mod requests;
pub mod rules;
mod turns;

pub use book::{Evidence, Finding, LineFacts, News, Place, Unjudged};
pub use rules::{Needs, RULES, Rule, Strength};

use crate::app::status::Status;
use crate::capture::Item;
use crate::exchange::Exchange;
use crate::frame::{Damage, Damaged, FrameType, Good, Header, Master as Role, Noise, Target};
use crate::time::Instant;
use crate::transaction::{Interlude, Kind};
use answers::{Answers, Latest};
use book::{About, Book};
use devices::Devices;
use habits::Habits;
use octets::Octets;
use std::collections::BTreeMap;
use turns::Turns;

/// Devices that each master is watched with.
const MOST_PAIRS: usize = 512;
/// Commands of a device that are remembered as asked before.
const MOST_COMMANDS: usize = 64;

/// Whom to judge.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Judged {
    /// One of the two masters; `None`: each of them.
    pub master: Option<Role>,
    /// There is one host on the wires and no other: both bits are its own.
    pub alone: bool,
}

/// What a master has sent.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sent {
    /// Requests that arrived whole, repeats among them.
    pub requests: u64,
    /// Of them repeats.
    pub repeats: u64,
    /// Transactions that a device answered.
    pub answered: u64,
}

/// The outcome.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Nothing was found.
    Nothing,
    /// Only advice.
    Advice,
    /// A requirement is broken.
    Broken,
    /// None of the hosts that were to be judged has said anything.
    NothingJudged,
}

/// All that was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Report {
    /// Whom it is about.
    pub judged: Judged,
    /// What the primary and the secondary master have sent.
    pub sent: [Sent; 2],
    /// Findings, those of must grade first, then in the order of [`RULES`].
    pub findings: Vec<Finding>,
    /// What could not be judged, in the order of [`RULES`].
    pub unjudged: Vec<Unjudged>,
}

impl Report {
    /// The outcome.
    pub fn verdict(&self) -> Verdict {
        let is_judged = |role: Role| self.judged.master.is_none_or(|m| m == role);
        let said = [Role::Primary, Role::Secondary]
            .into_iter()
            .any(|r| is_judged(r) && self.sent[r.index()].requests > 0);
        match &self.findings[..] {
            all if Book::is_broken(all) => Verdict::Broken,
            [_, ..] => Verdict::Advice,
            [] if !said => Verdict::NothingJudged,
            [] => Verdict::Nothing,
        }
    }
}

/// What is kept of a master and a device.
#[derive(Clone, Debug, Default)]
struct Pair {
    answers: Answers,
    habits: Habits,
    /// Commands that it was asked, with how often.
    asked: BTreeMap<u8, u32>,
}

/// One thing that was heard.
enum Part<'a> {
    Request(&'a Good),
    Device(&'a Good),
    Damaged(&'a Damaged),
    Noise(&'a Noise),
}

impl Part<'_> {
    fn at(&self) -> Instant {
        let octets = match self {
            Part::Request(g) | Part::Device(g) => &g.octets,
            Part::Damaged(d) => &d.octets,
            Part::Noise(n) => &n.octets,
        };
        octets.first().map_or(Instant::ZERO, |o| o.at)
    }
}

/// Tell where captures begin, push items, and ask for the report.
#[derive(Debug)]
pub struct HostCheck {
    judged: Judged,
    book: Book,
    devices: Devices,
    octets: Octets,
    turns: Turns,
    latest: [Latest; 2],
    pairs: BTreeMap<(Role, Target), Pair>,
    sent: [Sent; 2],
    /// The bit of the host that is alone.
    own: Option<Role>,
    /// The request that arrived damaged, until the next one that did not.
    damaged: Option<Header>,
}

impl HostCheck {
    /// A check that has heard nothing yet; until a capture begins, octets have no times.
    pub fn new(judged: Judged) -> HostCheck {
        HostCheck {
            judged,
            book: Book::new(judged.master.filter(|_| !judged.alone)),
            devices: Devices::default(),
            octets: Octets::default(),
            turns: Turns::default(),
            latest: <[Latest; 2]>::default(),
            pairs: BTreeMap::new(),
            sent: [Sent::default(); 2],
            own: judged.master.filter(|_| judged.alone),
            damaged: None,
        }
    }

    /// A capture begins, with a clock of its own, on a line that can tell this. What devices have said is forgotten: other
    /// devices may be at the same addresses.
    pub fn begin(&mut self, facts: LineFacts) {
        self.end_record();
        self.devices = Devices::default();
        self.damaged = None;
        self.octets = Octets::default();
        self.turns = Turns::default();
        self.latest = <[Latest; 2]>::default();
        self.book.begin(facts);
    }

    /// A record of the capture begins, with an octet that ended at `at`.
    pub fn record(&mut self, place: Place, at: Instant) {
        self.book.record(place, at);
    }

    /// Takes the next item.
    pub fn look(&mut self, item: &Item) {
        match item {
            Item::Exchange(e) => self.exchange(e),
            Item::Damaged(d) => self.part(&Part::Damaged(d), None),
            Item::Noise(n) => self.part(&Part::Noise(n), None),
        }
    }

    /// What was found for the first time since the last call; at most 64 are kept.
    pub fn take_news(&mut self) -> Vec<News> {
        self.book.take_news()
    }

    fn part(&mut self, part: &Part<'_>, asked_by: Option<Role>) {
        match part {
            Part::Request(g) => {
                let role = g.frame.address().master;
                self.sent[role.index()].requests += 1;
                self.damaged = None;
                self.bits(role, g);
                self.octets.request(g, &mut self.book, &self.devices);
                self.turns.request(g, &mut self.book);
            }
            Part::Device(g) => {
                self.octets.device(g, &mut self.book, &self.devices);
                match asked_by {
                    Some(role) => self.turns.answer(role, g),
                    None => self.turns.unclear(),
                }
            }
            Part::Damaged(d) => {
                // Where only a later octet is spoilt, the header is as it was sent.
                let header = d.header().filter(|_| matches!(d.damage, Damage::Character { .. }));
                self.damaged = header.filter(|h| h.delimiter.frame_type == FrameType::Stx);
                self.octets.damaged(d, &mut self.book);
                self.turns.unclear();
            }
            Part::Noise(n) => {
                self.octets.noise(n, &mut self.book);
                self.turns.unclear();
            }
        }
    }

    fn bits(&mut self, role: Role, good: &Good) {
        if self.judged.alone && *self.own.get_or_insert(role) != role {
            let says = || {
                let own = role.other();
                format!(
                    "command {} with the {role} master's bit, from the {own} master",
                    good.frame.command()
                )
            };
            let shown = |b: &Book| vec![b.evidence("request", &good.octets)];
            self.book.found(&rules::BOTH_MASTER_BITS, role, About::default(), says, shown);
        }
    }

    fn exchange(&mut self, e: &Exchange) {
        let t = &e.transaction;
        let asked_by = t.request().map(|f| f.address().master);
        let mut parts: Vec<Part<'_>> = t.tries.iter().map(Part::Request).collect();
        parts.extend(t.interludes.iter().map(|i| match i {
            Interlude::Damaged(d) => Part::Damaged(d),
            Interlude::Noise(n) => Part::Noise(n),
        }));
        parts.extend(t.reply.iter().map(Part::Device));
        // In the order of time; what has one time stays as it is.
        parts.sort_by_key(Part::at);
        for part in &parts {
            self.part(part, asked_by);
        }
        // How many preambles are wanted counts from the next request on.
        self.devices.learn(e);
        if t.kind == Kind::Unasked {
            // Its request was lost, or it came twice; or it tells of a request that arrived damaged, which has been
            // accounted for.
            let tells_damage = matches!(e.status(), Some(Status::CommunicationError(_)));
            self.book.disturbed += u64::from(!tells_damage);
            self.told_of_damage(e);
        }
        if let Some(role) = asked_by {
            let sent = &mut self.sent[role.index()];
            sent.repeats += t.retries() as u64;
            sent.answered += u64::from(t.reply.is_some());
            self.latest[role.index()].look(e, &mut self.book);
            self.with_device(e);
        }
    }

    /// A device answers a request that arrived damaged here too: who asked stands in the request, since such answers
    /// may name the wrong master [FR-15].
    fn told_of_damage(&mut self, e: &Exchange) {
        let (Some(asked), Some(reply)) = (self.damaged.take(), &e.transaction.reply) else { return };
        let told = matches!(e.status(), Some(Status::CommunicationError(_)));
        let same =
            (asked.address.target, asked.command) == (reply.frame.address().target, reply.frame.command());
        if !told || !same {
            return;
        }
        let shown = requests::shown(e, &self.book);
        let ends = reply.octets.last().map_or(Instant::ZERO, |o| o.at);
        if let Some(pair) = self.pair((asked.address.master, asked.address.target)) {
            pair.answers.arrived_damaged(&asked, ends, || shown);
        }
    }

    fn pair(&mut self, key: (Role, Target)) -> Option<&mut Pair> {
        if self.pairs.len() >= MOST_PAIRS && !self.pairs.contains_key(&key) {
            return None;
        }
        Some(self.pairs.entry(key).or_default())
    }

    fn with_device(&mut self, e: &Exchange) {
        let Some(key @ (role, _)) = answers::pair(e) else { return };
        if self.pairs.len() >= MOST_PAIRS && !self.pairs.contains_key(&key) {
            let why = "more devices were asked than are watched at a time";
            self.book.untold(&rules::NOT_READ_BACK, role, why);
            return;
        }
        let pair = self.pairs.entry(key).or_default();
        let command = e.command();
        let before = pair.asked.get(&command).copied().unwrap_or(0);
        let started = pair.habits.started_anew(e);
        let resets = command == 42 && answers::is_done(e);
        if command == 106 && answers::is_done(e) {
            pair.answers.nothing_is_open();
        }
        if before > 0 || pair.asked.len() < MOST_COMMANDS {
            pair.asked.insert(command, before.saturating_add(1));
        }
        if started || resets {
            // Towards both masters.
            for role in [Role::Primary, Role::Secondary] {
                if let Some(pair) = self.pairs.get_mut(&(role, key.1)) {
                    pair.answers.nothing_is_open();
                }
            }
        }
        let Some(pair) = self.pairs.get_mut(&key) else { return };
        requests::look(e, &mut self.book, &self.devices, before);
        pair.answers.look(e, &mut self.book);
        pair.habits.look(e, &mut self.book, &self.devices);
    }

    /// The record ends: what is still set is told, and what was waited for counted.
    fn end_record(&mut self) {
        self.octets.settle(&mut self.book);
        for ((role, target), pair) in core::mem::take(&mut self.pairs) {
            if !self.book.is_judged(role) {
                continue;
            }
            pair.habits.end(role, About { device: Some(target), command: None }, &mut self.book);
            let open =
                pair.answers.waiting().into_iter().chain([(&rules::NOT_READ_BACK, pair.habits.waiting())]);
            for (rule, n) in open.filter(|(_, n)| *n > 0) {
                *self.book.waiting.entry(rule.index()).or_default() += n;
            }
        }
    }

    /// All that was found; what is under way counts as ended here.
    pub fn finish(mut self) -> Report {
        self.end_record();
        let (findings, unjudged) = self.book.close();
        Report { judged: self.judged, sent: self.sent, findings, unjudged }
    }
}
