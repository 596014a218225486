//! The stage: sets a world up, plays it as far as the next step needs, and holds each step against what happened.
//!
//! Every transmission of a master or a device must be a step of the scene, in order; whatever the passive observer finds
//! and whatever a master tells must be a step too, but for an answer at the first try.

use super::speech::{Ask, characters, device_id, lasting};
use super::timeline::{Sent, Timeline, Who, in_characters, kind};
use looprig::app::command::Revision;
use looprig::device::{BurstMessage, Device, DeviceConfig};
use looprig::frame::{
    Capabilities, FrameType, RawFrame, Receiver, ReceiverConfig, Reception, StampUnit, Target,
};
use looprig::line::{Begun, Clock, Delivery, FaultKind, FaultOf, Source, WireFault};
use looprig::link::{Finding, MasterConfig, Observer, Output, Violation};
use looprig::sim::{DeviceStation, Errand, MasterStation, Participant, Talker, World};
use looprig::time::{Drift, Instant, Pace};
use looprig::transaction::Outcome;
use std::collections::{BTreeMap, VecDeque};
use std::fmt;
use std::time::Duration;

/// Steps are exact but for this: every octet rounds to a nanosecond, a thousand of them to one microsecond.
const EXACT: f64 = 2_000.0 / 9_166_666.0;
/// A step that has not come after so many characters will not: more than the longest wait, 1000 [LL-16].
const PATIENCE: f64 = 1_500.0;

/// What a master was told about something that it had asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Told {
    /// After so many repeats.
    Answered(usize),
    /// Nothing came, after so many repeats.
    Silent(usize),
    /// Nothing whole came, after so many repeats.
    Garbled(usize),
    /// The request arrived damaged and is asked again [HO-04].
    Again,
    /// It was never sent.
    NoTurn,
    /// Another master has its bit.
    Stopped,
}

#[derive(Clone, Copy, Debug)]
enum Deed {
    Asks(Ask),
    /// The last request of that master; with a communication error, or without.
    Answers(Who, bool),
    /// Command 1, naming this master.
    Bursts(Who),
}

#[derive(Clone, Copy, Debug)]
enum When {
    /// Since the end of what came before.
    After(f64),
    /// Since the beginning of the transmission before.
    Into(f64),
    /// Since the beginning of the scene.
    At(f64),
    /// Whenever.
    Sometime,
}

/// A step that is expected: who does what when.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    who: Who,
    deed: Deed,
    when: When,
    give_or_take: f64,
}

impl Who {
    /// It asks.
    pub fn asks(self, ask: Ask) -> Step {
        Step { who: self, deed: Deed::Asks(ask), when: When::Sometime, give_or_take: EXACT }
    }

    /// It answers what this master asked last.
    pub fn answers(self, master: Who) -> Step {
        Step { who: self, deed: Deed::Answers(master, false), when: When::Sometime, give_or_take: EXACT }
    }

    /// It answers that what this master asked arrived damaged [LL-08].
    pub fn answers_damaged(self, master: Who) -> Step {
        Step { deed: Deed::Answers(master, true), ..self.answers(master) }
    }

    /// It sends a burst that names this master.
    pub fn bursts(self, named: Who) -> Step {
        Step { who: self, deed: Deed::Bursts(named), when: When::Sometime, give_or_take: EXACT }
    }
}

impl Step {
    /// So many characters after the end of whatever came before.
    pub fn after(self, n: f64) -> Step {
        Step { when: When::After(n), ..self }
    }

    /// So many characters after the beginning of the transmission before, which still lasts.
    pub fn during_it(self, n: f64) -> Step {
        Step { when: When::Into(n), ..self }
    }

    /// So many characters after the beginning of the scene.
    pub fn at(self, n: f64) -> Step {
        Step { when: When::At(n), ..self }
    }

    /// Not exactly: so many characters either way.
    pub fn give_or_take(self, n: f64) -> Step {
        Step { give_or_take: n + EXACT, ..self }
    }
}

impl fmt::Display for Step {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.deed {
            Deed::Asks(ask) => {
                write!(f, "{} asks command {} of device {}", self.who, ask.command, ask.device)?
            }
            Deed::Answers(master, false) => write!(f, "{} answers the {master}", self.who)?,
            Deed::Bursts(named) => write!(f, "{} sends a burst that names the {named}", self.who)?,
            Deed::Answers(master, true) => write!(f, "{} tells the {master} of a damaged request", self.who)?,
        }
        match self.when {
            When::After(n) => write!(f, " {n:.3} characters after the end of what came before")?,
            When::Into(n) => write!(f, " {n:.3} characters into the transmission before")?,
            When::At(n) => write!(f, " at {n:.3} characters")?,
            When::Sometime => {}
        }
        write!(f, ", give or take {:.4}", self.give_or_take)
    }
}

/// The stage with everybody on it.
pub struct Stage {
    world: World,
    cast: Vec<(Who, Clock)>,
    clock: Clock,
    /// What scripted ones say: their transmissions with pauses.
    scripts: BTreeMap<usize, Duration>,
    wishes: BTreeMap<Who, Vec<Errand>>,
    receiver: Receiver,
    observer: Observer,
    heard: Vec<Delivery>,
    pub timeline: Timeline,
    /// The next transmission that no step has claimed, and the last one that a step has.
    next: usize,
    last: Option<(Instant, Instant)>,
    told: BTreeMap<Who, VecDeque<Told>>,
    stopped: BTreeMap<Who, Violation>,
    findings: VecDeque<Finding>,
    odd: VecDeque<Reception>,
    rules: Vec<WireFault>,
}

/// An empty stage whose chances are those of seed 0.
pub fn stage() -> Stage {
    stage_with_seed(0)
}

/// An empty stage with other chances.
pub fn stage_with_seed(seed: u64) -> Stage {
    let mut world = World::new(Pace::Wire, seed);
    world.bus_mut().keep_begun();
    world.add_observer();
    let line = Capabilities {
        unit: StampUnit::Octets,
        stamp_error: Duration::ZERO,
        parity_seen: true,
        carrier_seen: false,
        echo: false,
    };
    Stage {
        world,
        cast: Vec::new(),
        clock: Clock::default(),
        scripts: BTreeMap::new(),
        wishes: BTreeMap::new(),
        receiver: Receiver::new(ReceiverConfig::for_line(Pace::Wire, Duration::ZERO)),
        observer: Observer::new(Pace::Wire, line),
        heard: Vec::new(),
        timeline: Timeline::default(),
        next: 0,
        last: None,
        told: BTreeMap::new(),
        stopped: BTreeMap::new(),
        findings: VecDeque::new(),
        odd: VecDeque::new(),
        rules: Vec::new(),
    }
}

/// A moment at which something is to happen.
pub struct Cue<'a> {
    stage: &'a mut Stage,
    at: Instant,
}

impl Cue<'_> {
    pub fn primary_wants(self, ask: Ask) {
        self.stage.wants(Who::Primary, self.at, ask);
    }

    pub fn secondary_wants(self, ask: Ask) {
        self.stage.wants(Who::Secondary, self.at, ask);
    }

    pub fn twin_wants(self, ask: Ask) {
        self.stage.wants(Who::Twin, self.at, ask);
    }

    /// Somebody begins to say this, whoever speaks.
    pub fn says(self, who: &'static str, raw: RawFrame) {
        let pauses = raw.octets.iter().map(|o| o.gap_before).sum();
        let index = self.stage.world.add_talker(Talker::new([(self.at, raw)]));
        self.stage.scripts.insert(index, pauses);
        self.stage.enter(index, Who::Scripted(who), Clock::default());
    }
}

impl Stage {
    /// From now on who enters has a clock that is fast by `ppm` and begins up to `jitter` late [LI-23].
    pub fn clocks(&mut self, ppm: i32, jitter: Duration) {
        self.clock = Clock { drift: Drift::from_ppm(ppm), jitter };
    }

    fn enter(&mut self, index: usize, who: Who, clock: Clock) {
        assert_eq!(index, self.cast.len());
        self.cast.push((who, clock));
    }

    /// One in burst mode: command 1 each so many ms.
    pub fn bursting(&mut self, polling: u8, every_ms: u32) {
        let message = BurstMessage { on: true, update_period: every_ms * 32, ..BurstMessage::default() };
        self.add_device(polling, 2.0, message);
    }

    /// A mock device at this polling address that answers after 2 characters.
    pub fn device(&mut self, polling: u8) {
        self.device_with_delay(polling, 2.0);
    }

    /// One that answers after so many characters.
    pub fn device_with_delay(&mut self, polling: u8, delay: f64) {
        self.add_device(polling, delay, BurstMessage::default());
    }

    fn add_device(&mut self, polling: u8, delay: f64, message: BurstMessage) {
        let mut config = DeviceConfig::new(Revision::R7);
        config.identity.device_id = device_id(polling);
        config.factory.polling_address = polling;
        config.response_delay = characters(delay);
        config.factory.burst[0] = message;
        let (device, _) = Device::new(config, None, Pace::Wire, Duration::ZERO, Instant::ZERO);
        let index = self.world.add_device(DeviceStation::new(device, Vec::new()), self.clock);
        self.enter(index, Who::Device(polling), self.clock);
    }

    /// A primary master, which repeats a request 3 times.
    pub fn primary(&mut self) {
        self.master(Who::Primary, 3);
    }

    /// A secondary master, which repeats a request 3 times.
    pub fn secondary(&mut self) {
        self.master(Who::Secondary, 3);
    }

    /// A master that repeats a request so many times.
    pub fn master(&mut self, who: Who, retries: u8) {
        let config = MasterConfig { role: who.role(), retries, ..MasterConfig::default() };
        let station = MasterStation::new(config, Pace::Wire, Vec::new()).keeping_outputs();
        let index = self.world.add_master(station, self.clock);
        self.enter(index, who, self.clock);
    }

    /// From `from` until `until`, in characters, this is done to these transmissions as they begin.
    pub fn rule(&mut self, kind: FaultKind, of: FaultOf, from: f64, until: f64) {
        let at = |n| Instant::ZERO + characters(n);
        self.rules.push(WireFault { from: at(from), until: Some(at(until)), of, ..WireFault::always(kind) });
        self.world.set_faults(self.rules.clone());
    }

    /// So many characters after the beginning of the scene.
    pub fn at(&mut self, n: f64) -> Cue<'_> {
        let at = Instant::ZERO + characters(n);
        Cue { stage: self, at }
    }

    /// So many characters after the end of the transmission of the last step.
    pub fn later(&mut self, n: f64) -> Cue<'_> {
        let at = self.last.expect("a step before").1 + characters(n);
        Cue { stage: self, at }
    }

    /// So many characters after its beginning.
    pub fn during_it(&mut self, n: f64) -> Cue<'_> {
        let at = self.last.expect("a step before").0 + characters(n);
        Cue { stage: self, at }
    }

    fn station(&mut self, who: Who) -> &mut MasterStation {
        let index = self.cast.iter().position(|c| c.0 == who).expect("on the stage");
        self.world.bus_mut().station_mut(index).and_then(Participant::master_mut).expect("a master")
    }

    fn wants(&mut self, who: Who, at: Instant, ask: Ask) {
        assert!(at >= self.world.now(), "that moment is over\n{}", self.timeline);
        let drift = self.cast.iter().find(|c| c.0 == who).expect("on the stage").1.drift;
        let frame = ask.frame(who.role());
        let errand = Errand { frame, preambles: None, first_at: drift.shows(at), every: None };
        let asked = self.station(who).tally().asked as usize;
        let all = self.wishes.entry(who).or_default();
        all.push(errand);
        let open = all[asked..].to_vec();
        self.station(who).set_errands(open);
    }

    /// A master asks these in turn without a pause from now on.
    pub fn always_wants(&mut self, who: Who, asks: &[Ask]) {
        let errand = |ask: &Ask| Errand {
            frame: ask.frame(who.role()),
            preambles: None,
            first_at: Instant::ZERO,
            every: Some(Duration::ZERO),
        };
        let errands = asks.iter().map(errand).collect();
        self.station(who).set_errands(errands);
    }

    /// Plays what happens next, up to `until`; whether there was something.
    fn play(&mut self, until: Instant) -> bool {
        let next = self.world.bus_mut().next_at().filter(|t| *t <= until);
        let now = next.unwrap_or(until);
        let mut heard = core::mem::take(&mut self.heard);
        self.world.run_until(now, &mut heard);
        for begun in self.world.bus_mut().take_begun() {
            self.begun(begun);
        }
        for delivery in heard.drain(..) {
            self.timeline.octets.push(delivery.octet.at);
            self.receiver.push(&[delivery.octet]);
        }
        self.heard = heard;
        self.receiver.handle_timeout(now);
        while let Some(reception) = self.receiver.next() {
            self.hear(reception);
        }
        self.listen_to_masters(now);
        next.is_some()
    }

    fn begun(&mut self, begun: Begun) {
        let Source::Station(index) = begun.source else { panic!("nobody else sends: {begun:?}") };
        let (who, clock) = self.cast[index];
        let pauses = self.scripts.get(&index).copied().unwrap_or_default();
        let ends = begun.at + clock.drift.lasts(lasting(begun.values.len())) + pauses;
        self.timeline.add(Sent::new(who, begun.at, ends, begun.values));
    }

    fn hear(&mut self, reception: Reception) {
        if !matches!(reception, Reception::Good(_)) {
            let what = format!("everybody hears: {}", kind(&reception));
            self.timeline.remarks.push((reception.last_at(), what));
            self.odd.push_back(reception.clone());
        }
        self.observer.push(&reception);
        while let Some(finding) = self.observer.next() {
            let text = format!("the observer finds: {}", finding.violation);
            self.timeline.remarks.push((self.world.now(), text));
            self.findings.push_back(finding);
        }
    }

    fn listen_to_masters(&mut self, now: Instant) {
        let masters: Vec<Who> = self.cast.iter().map(|c| c.0).filter(|w| is_master(*w)).collect();
        for who in masters {
            for output in self.station(who).take_outputs() {
                let told = match output {
                    Output::Done(t) => match t.outcome {
                        Outcome::Answered => Told::Answered(t.retries()),
                        Outcome::Garbled => Told::Garbled(t.retries()),
                        _ => Told::Silent(t.retries()),
                    },
                    Output::Again(_) => Told::Again,
                    Output::NoTurn(_) => Told::NoTurn,
                    Output::Stopped(v) => {
                        self.timeline.remarks.push((now, format!("{who}: {v}")));
                        self.stopped.insert(who, v);
                        Told::Stopped
                    }
                    Output::Transmit(_) | Output::Overheard(_) => continue,
                };
                self.timeline.remarks.push((now, format!("{who} is told: {told:?}")));
                self.told.entry(who).or_default().push_back(told);
            }
        }
    }

    /// Plays until `found` gives something.
    fn play_until<T>(&mut self, mut found: impl FnMut(&mut Stage) -> Option<T>) -> Option<T> {
        let until = self.world.now() + characters(PATIENCE);
        loop {
            if let Some(it) = found(self) {
                return Some(it);
            }
            if !self.play(until) {
                return found(self);
            }
        }
    }

    /// The next transmission that a scene has to expect, when it has begun.
    fn next_sent(&self) -> Option<usize> {
        let mut rest = self.timeline.sent.iter().enumerate().skip(self.next);
        let (i, s) = rest.find(|(_, s)| !matches!(s.who, Who::Scripted(_)))?;
        (s.begins <= self.world.now()).then_some(i)
    }

    /// The next transmission is this one, because of `why`.
    #[track_caller]
    pub fn expect(&mut self, why: &str, step: Step) {
        let Some(i) = self.play_until(|s| s.next_sent()) else {
            panic!("{why}\nexpected: {step}\n     but: nobody spoke\n{}", self.timeline);
        };
        let faults = self.faults(i, &step);
        if !faults.is_empty() {
            panic!("{why}\nexpected: {step}\n     but: {}\n{}", faults.join("; "), self.timeline);
        }
        let sent = &self.timeline.sent[i];
        self.last = Some((sent.begins, sent.ends));
        self.next = i + 1;
    }

    /// What of a transmission is not as it should be.
    fn faults(&self, i: usize, step: &Step) -> Vec<String> {
        let sent = &self.timeline.sent[i];
        let mut faults = Vec::new();
        if sent.who != step.who {
            faults.push(format!("the {} spoke", sent.who));
        }
        let frame = sent.frame.as_ref().expect("legal stations send legal frames");
        let (address, command) = (frame.address(), frame.command());
        let as_told = match step.deed {
            Deed::Asks(ask) => *frame == ask.frame(step.who.role()),
            Deed::Bursts(named) => {
                frame.frame_type() == FrameType::Back
                    && (address.master, command) == (named.role(), 1)
                    && (0..=15).any(|p| {
                        step.who == Who::Device(p)
                            && address.target == Target::Unique(super::speech::unique(p))
                    })
            }
            Deed::Answers(master, damaged) => {
                frame.frame_type() == FrameType::Ack
                    && address.master == master.role()
                    && Some(command) == self.timeline.last_asked(i, master.role())
                    && frame.status().is_some_and(|s| (s[0] & 0x80 != 0) == damaged)
                    && match address.target {
                        Target::Polling(p) => step.who == Who::Device(p.get()),
                        Target::Unique(u) => {
                            (0..=15).any(|p| step.who == Who::Device(p) && u == super::speech::unique(p))
                        }
                    }
            }
        };
        if !as_told {
            faults.push("it was another message".to_string());
        }
        let since = |t: Instant| in_characters(sent.begins) - in_characters(t);
        let before = |i: usize| self.timeline.sent[..i].last().map_or(Instant::ZERO, |s| s.begins);
        let (is, due) = match step.when {
            When::After(n) => (self.timeline.silence_before(i), n),
            When::Into(n) => (since(before(i)), n),
            When::At(n) => (since(Instant::ZERO), n),
            When::Sometime => (0.0, 0.0),
        };
        if (is - due).abs() > step.give_or_take {
            faults.push(format!("it was {is:.4} and not {due:.4} characters"));
        }
        faults
    }

    /// The next thing that this master is told, but for answers at the first try.
    #[track_caller]
    pub fn told(&mut self, why: &str, who: Who, told: Told) {
        let first = self.play_until(|s| {
            let queue = s.told.entry(who).or_default();
            while told != Told::Answered(0) && queue.pop_front_if(|t| *t == Told::Answered(0)).is_some() {}
            queue.pop_front()
        });
        assert!(
            first == Some(told),
            "{why}\nthe {who} was told {first:?} and not {told:?}\n{}",
            self.timeline
        );
    }

    /// The next thing that the observer finds, or has found; its message.
    #[track_caller]
    pub fn finds(&mut self, why: &str, requirement: &str) -> Finding {
        let first = self.play_until(|s| s.findings.pop_front());
        let found = first.as_ref().map(|f| f.violation.requirement);
        assert!(
            found == Some(requirement),
            "{why}\nthe observer found {found:?} and not {requirement}\n{}",
            self.timeline
        );
        first.expect("found")
    }

    /// The next thing but frames that everybody hears, or has heard.
    #[track_caller]
    pub fn hears(&mut self, why: &str, odd: impl Fn(&Reception) -> bool) {
        let first = self.play_until(|s| s.odd.pop_front());
        assert!(first.as_ref().is_some_and(odd), "{why}\nheard instead: {first:?}\n{}", self.timeline);
    }

    /// Why a master has stopped.
    pub fn why_stopped(&self, who: Who) -> &Violation {
        self.stopped.get(&who).unwrap_or_else(|| panic!("the {who} has not stopped\n{}", self.timeline))
    }

    /// Plays until so many characters after the beginning, whatever happens.
    pub fn play_to(&mut self, n: f64) {
        while self.play(Instant::ZERO + characters(n)) {}
    }

    /// The end: for so many characters nobody speaks, and nothing has happened that no step has told.
    #[track_caller]
    pub fn silence(mut self, n: f64) {
        let until = self.world.now() + characters(n);
        while self.play(until) {}
        let spoke = self.next_sent().map(|i| format!("the {} spoke", self.timeline.sent[i].who));
        let found = self.findings.iter().map(|f| format!("the observer found {}", f.violation));
        let told = self.told.iter().flat_map(|(who, all)| {
            let odd = all.iter().filter(|t| **t != Told::Answered(0));
            odd.map(move |t| format!("the {who} was told {t:?}"))
        });
        let left: Vec<String> = spoke.into_iter().chain(found).chain(told).collect();
        assert!(left.is_empty(), "not in the scene: {}\n{}", left.join("; "), self.timeline);
    }

    /// So far nothing was repeated, damaged, found or told but answers at the first try.
    #[track_caller]
    pub fn all_is_well(&self) {
        let told = self.told.values().flatten().all(|t| *t == Told::Answered(0));
        assert!(
            told && self.findings.is_empty() && self.odd.is_empty(),
            "all was not well\n{}",
            self.timeline
        );
    }

    /// The time now, in characters.
    pub fn now(&self) -> f64 {
        in_characters(self.world.now())
    }
}

fn is_master(who: Who) -> bool {
    matches!(who, Who::Primary | Who::Secondary | Who::Twin)
}
