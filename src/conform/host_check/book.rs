//! What was found, in bounded memory: how often each thing, and the octets of the first times.

use super::rules::{RULES, Rule, Strength};
use crate::capture::Header;
use crate::frame::{Capabilities, Master as Role, Octet, StampUnit, Target};
use crate::time::{BitTimes, Instant, Pace};
use core::time::Duration;
use std::collections::{BTreeMap, VecDeque};

/// Findings that are kept apart by master, device and command.
const MOST_FINDINGS: usize = 512;
/// Frames that show the first time.
const MOST_SHOWN: usize = 3;
/// News that nobody has collected; more are left out.
const MOST_NEWS: usize = 64;
/// Records of the log that are remembered with their places: far more than one transaction takes.
const MOST_RECORDS: usize = 4096;

/// Where in its input a record stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// Which of the files that were given, from 0.
    pub file: usize,
    /// The line in it, from 1.
    pub line: u64,
}

/// One frame, or what came of it, that shows a finding.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Evidence {
    /// What it is, such as `request`.
    pub part: &'static str,
    /// Its record in the log, where there is one.
    pub place: Option<Place>,
    /// The end of its first octet.
    pub from: Instant,
    /// The end of its last octet.
    pub to: Instant,
    /// Its octets, preambles included.
    pub octets: Vec<u8>,
}

/// Something that a host did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Which rule.
    pub rule: &'static Rule,
    /// The host, by the bit in its requests.
    pub master: Role,
    /// The device that it did it to; `None` where that makes no difference.
    pub device: Option<Target>,
    /// The command; `None` where that makes no difference.
    pub command: Option<u8>,
    /// How often.
    pub times: u64,
    /// Of how many that could have been so; `None` where none are counted.
    pub of: Option<u64>,
    /// What it did the first time, a sentence without a full stop.
    pub says: String,
    /// The octets of the first time.
    pub evidence: Vec<Evidence>,
}

/// Something that was just found for the first time; the end may show that it was the wires' doing [HC-07].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct News {
    /// Which rule.
    pub rule: &'static Rule,
    /// The host.
    pub master: Role,
    /// When.
    pub at: Instant,
    /// What it did.
    pub says: String,
}

/// A rule that could not be judged, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unjudged {
    /// Which rule.
    pub rule: &'static Rule,
    /// Why, and what was seen; a sentence without a full stop.
    pub why: String,
}

/// What a capture's line could tell [HC-06].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LineFacts {
    /// How fast its time runs.
    pub pace: Pace,
    /// What its octets and stamps can tell; `None` where the octets are all there is.
    pub capabilities: Option<Capabilities>,
    /// Whether every preamble arrives that is sent: no modem is in between.
    pub whole_preambles: bool,
    /// Whether the host's octets have the times that they have on the wire: no buffer of a system hands them on
    /// at once.
    pub host_times: bool,
}

impl LineFacts {
    /// Of octets without times: hex text, or a file of bare octets.
    pub const OCTETS_ALONE: LineFacts =
        LineFacts { pace: Pace::Wire, capabilities: None, whole_preambles: false, host_times: false };

    /// Of a line that describes itself so. A pseudo-terminal and a bench of one process have no modem that
    /// could lose preambles; a serial port has one, and behind TCP there may be one. Through a pseudo-terminal
    /// and over TCP a host's octets pass at once, whenever they would have left on the wire.
    pub fn of_line(name: &str, pace: Pace, capabilities: Capabilities) -> LineFacts {
        let terminal = name.starts_with("pty:") || name.contains("pseudo-terminal");
        let whole_preambles = terminal || name.ends_with(", virtual time");
        let host_times = !terminal && !name.starts_with("tcp");
        LineFacts { pace, capabilities: Some(capabilities), whole_preambles, host_times }
    }

    /// Of the line that a log was written on.
    pub fn of_log(header: &Header) -> LineFacts {
        LineFacts::of_line(&header.line, header.pace(), header.capabilities())
    }

    /// So many characters on this line.
    pub fn characters(&self, n: u64) -> Duration {
        self.pace.scale(BitTimes::characters(n).duration())
    }

    /// What is allowed for the error of stamps [LL-17].
    pub fn margin(&self) -> Duration {
        let error = self.capabilities.map_or(Duration::ZERO, |c| c.stamp_error);
        self.pace.character() + error * 2
    }

    /// Whether a time of so many characters can be judged.
    pub fn tells(&self, characters: u64) -> bool {
        let Some(line) = self.capabilities else { return false };
        // A machine that is late is so by as much at any pace.
        let scaled = self.pace != Pace::Wire && !line.stamp_error.is_zero();
        let timed = self.pace != Pace::Fast && line.unit == StampUnit::Octets && !scaled;
        timed && self.host_times && self.margin() * 2 <= self.characters(characters)
    }

    /// Whether pauses between octets are judged [LI-04].
    pub fn tells_pauses(&self) -> bool {
        let octets =
            |c: Capabilities| c.unit == StampUnit::Octets && c.stamp_error * 2 <= self.pace.character();
        self.pace != Pace::Fast && self.host_times && self.capabilities.is_some_and(octets)
    }

    pub(super) fn tells_parity(&self) -> bool {
        self.capabilities.is_some_and(|c| c.parity_seen)
    }

    /// Whether times of seconds mean anything.
    pub(super) fn is_timed(&self) -> bool {
        self.capabilities.is_some() && self.pace != Pace::Fast
    }
}

/// Finding, master, device, command.
type Key = (usize, Role, Option<Target>, Option<u8>);

#[derive(Clone, Debug, Default)]
struct Entry {
    times: u64,
    of: u64,
    says: String,
    evidence: Vec<Evidence>,
    /// Of these: the same octets as before, which something on the wires may have sent.
    echoes: u64,
    /// It was seen on a line that may lose preambles.
    lossy: bool,
}

/// What a finding is about besides its master.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct About {
    pub device: Option<Target>,
    pub command: Option<u8>,
}

fn often(n: u64) -> String {
    if n == 1 { "once".into() } else { format!("{n} times") }
}

/// Octets whose record is not looked for.
fn bare(part: &'static str, octets: &[Octet]) -> Evidence {
    let at = |o: Option<&Octet>| o.map_or(Instant::ZERO, |o| o.at);
    let values = octets.iter().map(|o| o.value).collect();
    Evidence { part, place: None, from: at(octets.first()), to: at(octets.last()), octets: values }
}

/// Collects findings, and what the line could not tell.
#[derive(Debug)]
pub(super) struct Book {
    pub facts: LineFacts,
    chosen: Option<Role>,
    records: VecDeque<(Instant, Place)>,
    entries: BTreeMap<Key, Entry>,
    overflow: u64,
    /// Findings that nobody has been told yet.
    news: VecDeque<News>,
    /// Something was spoilt on the wires, or came from nowhere.
    pub disturbed: u64,
    /// Rules that a line was not able to tell, with how often it would have mattered.
    untold: BTreeMap<(usize, &'static str), u64>,
    /// Frames of devices; those with fewer preambles than 5 or than the device says it sends; those of which
    /// it is known how many it sends.
    pub device_frames: [u64; 3],
    /// What waited for something else when the record ended.
    pub waiting: BTreeMap<usize, u64>,
}

impl Book {
    pub fn new(chosen: Option<Role>) -> Book {
        Book {
            facts: LineFacts::OCTETS_ALONE,
            chosen,
            records: VecDeque::new(),
            entries: BTreeMap::new(),
            overflow: 0,
            news: VecDeque::new(),
            disturbed: 0,
            untold: BTreeMap::new(),
            device_frames: [0; 3],
            waiting: BTreeMap::new(),
        }
    }

    pub fn begin(&mut self, facts: LineFacts) {
        self.facts = facts;
        self.records.clear();
    }

    pub fn record(&mut self, place: Place, at: Instant) {
        if self.records.len() >= MOST_RECORDS {
            self.records.pop_front();
        }
        self.records.push_back((at, place));
    }

    pub fn is_judged(&self, master: Role) -> bool {
        self.chosen.is_none_or(|c| c == master)
    }

    pub fn evidence(&self, part: &'static str, octets: &[Octet]) -> Evidence {
        let bare = bare(part, octets);
        let behind = self.records.partition_point(|(t, _)| *t <= bare.from);
        let place = behind.checked_sub(1).and_then(|i| self.records.get(i)).map(|(_, p)| *p);
        Evidence { place, ..bare }
    }

    fn entry(&mut self, rule: &Rule, master: Role, about: About) -> Option<&mut Entry> {
        let key = (rule.index(), master, about.device, about.command);
        if self.entries.len() >= MOST_FINDINGS && !self.entries.contains_key(&key) {
            self.overflow += 1;
            return None;
        }
        Some(self.entries.entry(key).or_default())
    }

    /// Something passed that could have been wrong by this rule.
    pub fn seen(&mut self, rule: &Rule, master: Role, about: About) {
        if self.is_judged(master)
            && let Some(e) = self.entry(rule, master, about)
        {
            e.of += 1;
        }
    }

    /// The host did it; `says` and `evidence` are asked for the first time alone.
    pub fn found(
        &mut self,
        rule: &Rule,
        master: Role,
        about: About,
        says: impl FnOnce() -> String,
        evidence: impl FnOnce(&Book) -> Vec<Evidence>,
    ) {
        if !self.is_judged(master) {
            return;
        }
        let first = {
            let lossy = !self.facts.whole_preambles;
            let Some(e) = self.entry(rule, master, about) else { return };
            e.lossy |= lossy;
            e.times += 1;
            e.times == 1
        };
        if first {
            let mut shown = evidence(self);
            shown.truncate(MOST_SHOWN);
            let says = says();
            if let Some(rule) = RULES.get(rule.index()).filter(|_| self.news.len() < MOST_NEWS) {
                let at = shown.last().map_or(Instant::ZERO, |e| e.to);
                self.news.push_back(News { rule, master, at, says: says.clone() });
            }
            if let Some(e) = self.entry(rule, master, about) {
                (e.says, e.evidence) = (says, shown);
            }
        }
    }

    /// What was found last may have been the wires, which gave back what the host had sent.
    pub fn may_be_echo(&mut self, rule: &Rule, master: Role) {
        if self.is_judged(master)
            && let Some(e) = self.entry(rule, master, About::default())
        {
            e.echoes += 1;
        }
    }

    /// It would have been judged if the line could tell.
    pub fn untold(&mut self, rule: &Rule, master: Role, why: &'static str) {
        if self.is_judged(master) {
            *self.untold.entry((rule.index(), why)).or_default() += 1;
        }
    }

    /// What was found since the last call.
    pub fn take_news(&mut self) -> Vec<News> {
        self.news.drain(..).collect()
    }

    /// Whether preambles of requests arrive whole, as far as the devices' frames show.
    fn loses_preambles(&self, lossy: bool) -> bool {
        let [all, short, known] = self.device_frames;
        if lossy { known < 3 || short > 0 } else { short * 10 > all }
    }

    /// Findings, weightiest first, and what could not be judged.
    pub fn close(&self) -> (Vec<Finding>, Vec<Unjudged>) {
        let (mut findings, mut unjudged) = (Vec::new(), Vec::new());
        for ((index, master, device, command), e) in &self.entries {
            let Some(&rule) = RULES.get(*index).filter(|_| e.times > 0) else { continue };
            let of = (e.of > 0).then_some(e.of);
            let finding = Finding {
                rule,
                master: *master,
                device: *device,
                command: *command,
                times: e.times,
                of,
                says: e.says.clone(),
                evidence: e.evidence.clone(),
            };
            match self.doubt(rule, e) {
                None => findings.push(finding),
                Some(why) => {
                    let times = match of {
                        Some(of) => format!("{} of {of} times", e.times),
                        None => often(e.times),
                    };
                    let why = format!("{} master: {}, {times}; {why}", master, e.says);
                    unjudged.push(Unjudged { rule, why });
                }
            }
        }
        findings.sort_by_key(|f| (f.rule.strength, f.rule.index()));
        for ((index, why), times) in &self.untold {
            if let Some(&rule) = RULES.get(*index) {
                unjudged.push(Unjudged { rule, why: format!("{why} ({})", often(*times)) });
            }
        }
        for (index, n) in &self.waiting {
            if let Some(&rule) = RULES.get(*index) {
                let why = format!("the record ends too soon to see what becomes of it ({})", often(*n));
                unjudged.push(Unjudged { rule, why });
            }
        }
        if self.overflow > 0 {
            let why =
                format!("more than {MOST_FINDINGS} things to keep apart: {} were left out", self.overflow);
            unjudged.push(Unjudged { rule: RULES[0], why });
        }
        unjudged.sort_by_key(|u| u.rule.index());
        (findings, unjudged)
    }

    /// Why a finding may be the wires' doing.
    fn doubt(&self, rule: &Rule, e: &Entry) -> Option<&'static str> {
        use super::rules::Needs;
        if rule.needs == Needs::Preambles && self.loses_preambles(e.lossy) {
            return Some("a modem or the wires may have lost or made octets at its ends");
        }
        let spoilt = self.disturbed > 0;
        let least = match rule.share_percent {
            Some(90..) if spoilt => rule.least.max(4),
            Some(_) if spoilt => rule.least * 2,
            _ => rule.least,
        };
        let echoes = if spoilt { e.echoes } else { 0 };
        if e.times - echoes.min(e.times) < least {
            return Some("so few times may be the wires' doing");
        }
        let share = rule.share_percent.filter(|_| spoilt || rule.always);
        if share.is_some_and(|percent| e.times * 100 < e.of * percent) {
            return Some("the wires spoil octets here, and this may be some of them");
        }
        None
    }

    /// Whether a finding of must grade stands.
    pub fn is_broken(findings: &[Finding]) -> bool {
        findings.iter().any(|f| f.rule.strength == Strength::Must)
    }
}
