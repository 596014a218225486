//! One seed of the swarm: a bus of 1 to 15 devices and two masters, first with faults, then without.

use looprig::app::command::Revision;
use looprig::capture::Annotator;
use looprig::conform::host_check::{HostCheck, Judged, LineFacts, Strength};
use looprig::device::{BurstMessage, BurstTrigger, Device, DeviceConfig};
use looprig::frame::{
    Address, Capabilities, Frame, FrameType, Good, Master as Role, PollingAddress, Receiver, ReceiverConfig,
    Reception, StampUnit, Target, UniqueAddress,
};
use looprig::line::{Begun, Clock, Delivery, Dice, FaultKind, FaultOf, Reach, Source, WireFault};
use looprig::link::{MasterConfig, Output};
use looprig::sim::{DeviceStation, Errand, MasterStation, Participant, Talker, World};
use looprig::time::{BitTimes, Drift, Instant, Pace};
use looprig::transaction::PairerConfig;
use std::collections::{BTreeMap, VecDeque};
use std::time::Duration;

/// How long a seed runs with faults, s.
pub const SPOILT_S: u64 = 480;
/// How long without, both masters busy, s. With the time before it is ten minutes.
pub const CALM_S: u64 = 120;
/// In the calm the share of each master is taken over its last so many seconds.
pub const SHARE_OVER_S: u64 = 60;
/// After the faults each master has an answer within so many characters.
pub const RESUMES_WITHIN: u64 = 1000;
/// How late a device in burst mode begins at most.
const PROMPT: Duration = Duration::from_millis(3);
/// How many good bursts a device in burst mode sends in the calm at least.
const FEWEST_BURSTS: u64 = 3;
/// So many seconds after the faults nobody meets a burst any more.
const SETTLES_S: u64 = 10;
/// Everything that is under way has ended within so many seconds after nothing more is asked.
const ENDS_WITHIN_S: u64 = 60;
/// Where not everybody hears everybody, that changes every so many seconds.
const HEARD_FOR_S: u64 = 20;
/// Begun transmissions that a frame may still be of, s.
const REMEMBERED_S: u64 = 10;

const ROLES: [Role; 2] = [Role::Primary, Role::Secondary];

/// What a seed showed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outcome {
    /// What must not be, in words.
    pub problems: Vec<String>,
    /// While there were faults.
    pub asked: u64,
    pub answered: u64,
    pub unanswered: u64,
    pub no_turn: u64,
    pub retries: u64,
    /// Good frames that the observer heard in all.
    pub accepted: u64,
    /// Of these and of the answers that masters took: of no frame that was sent.
    pub wrong: u64,
    /// Characters from the end of the faults to the end of the first answer, the later master's.
    pub resumed_after: u64,
    /// The smaller share of the two masters in the calm, %.
    pub smaller_share: f64,
    /// Good bursts in the calm of the device in burst mode that sent fewest.
    pub fewest_bursts: Option<u64>,
    /// Octets on the wires.
    pub octets: u64,
    /// Of everything that the observer heard.
    pub digest: u64,
}

struct Cast {
    world: World,
    devices: Vec<(UniqueAddress, PollingAddress)>,
    /// Those in burst mode.
    bursting: Vec<UniqueAddress>,
    masters: [usize; 2],
}

fn seconds(s: u64) -> Instant {
    Instant::ZERO + Duration::from_secs(s)
}

fn clock(dice: &mut Dice, jitter: Duration) -> Clock {
    let ppm = i32::try_from(dice.below(401)).unwrap_or(0) - 200;
    Clock { drift: Drift::from_ppm(ppm), jitter: dice.up_to(jitter) }
}

/// A device in burst mode: one message to three, each some command, at some period, as often as the wires allow or seldom,
/// always or by a trigger.
fn in_burst_mode(dice: &mut Dice, config: &mut DeviceConfig) {
    let newest = config.identity.revision == Revision::R7;
    let messages = if newest { 1 + dice.below(3) as usize } else { 1 };
    for message in &mut config.factory.burst[..messages] {
        let commands = if newest { &[1, 2, 3, 33, 48, 9][..] } else { &[1, 2, 3, 33, 48] };
        message.on = true;
        message.command = commands[dice.below(commands.len() as u32) as usize];
        message.update_period = [250, 250, 1000, 4000][dice.below(4) as usize] * 32;
        message.trigger = trigger(dice, message);
    }
}

fn trigger(dice: &mut Dice, message: &BurstMessage) -> BurstTrigger {
    match dice.below(8) {
        0 => BurstTrigger::ON_CHANGE,
        // Nothing moves, so these say no as a rule; in command 48 nothing is compared.
        mode @ 1..=3 => message
            .trigger_at(looprig::device::KindName::Positioner, mode as u8, 50.0)
            .unwrap_or(BurstTrigger::CONTINUOUS),
        _ => BurstTrigger::CONTINUOUS,
    }
}

fn cast(seed: u64, dice: &mut Dice, bursting: &mut Option<Dice>) -> Cast {
    let mut world = World::new(Pace::Wire, seed);
    let count = 1 + dice.below(15) as usize;
    let (mut devices, mut in_bursts) = (Vec::new(), Vec::new());
    for i in 0..count {
        let revision = Revision::NEWEST_FIRST[dice.below(3) as usize];
        let mut config = DeviceConfig::new(revision);
        config.identity.device_id = 0x003100 + i as u32;
        // A lone device may be at 0; the others are in a row.
        config.factory.polling_address = if count == 1 { 0 } else { i as u8 + 1 };
        config.identity.preambles_reply = 5 + dice.below(4) as u8;
        config.identity.preambles_request = 5 + dice.below(4) as u8;
        // Within the slave time-out of 256 ms [LL-02], the jitter included.
        config.response_delay = dice.up_to(Duration::from_millis(200));
        // One at least, and one in four of the others.
        if let Some(d) = bursting
            && (i == 0 || d.below(4) == 0)
        {
            in_burst_mode(d, &mut config);
            in_bursts.push(config.identity.unique_address());
        }
        let unique = config.identity.unique_address();
        let polling = PollingAddress::new(config.factory.polling_address).expect("at most 15");
        let (device, _) = Device::new(config, None, Pace::Wire, Duration::ZERO, Instant::ZERO);
        let mut clock = clock(dice, Duration::from_millis(20));
        if in_bursts.contains(&unique) {
            // A burst that follows an answer begins within a character, 9.2 ms, or a master begins as well [LL-23].
            clock.jitter = clock.jitter.min(PROMPT);
        }
        world.add_device(DeviceStation::new(device, Vec::new()), clock);
        devices.push((unique, polling));
    }
    let masters = ROLES.map(|role| {
        let config = MasterConfig { role, retries: dice.below(4) as u8, ..MasterConfig::default() };
        let station = MasterStation::new(config, Pace::Wire, Vec::new()).keeping_outputs();
        world.add_master(station, clock(dice, Duration::from_millis(3)))
    });
    Cast { world, devices, bursting: in_bursts, masters }
}

fn request(role: Role, target: Target, command: u8) -> Frame {
    Frame::request(Address::new(role, target), command, Vec::new()).expect("short")
}

/// What a master asks: a few commands of every device, and, with faults, of one that does not exist.
fn errands(dice: &mut Dice, cast: &Cast, role: Role, busy: bool, ghost: bool) -> Vec<Errand> {
    let mut list = Vec::new();
    for (unique, polling) in &cast.devices {
        for _ in 0..1 + dice.below(2) {
            let command = [0, 1, 2, 3, 12, 13, 14, 15, 16, 48][dice.below(10) as usize];
            let target = match dice.below(8) {
                0 => Target::Polling(*polling),
                _ => Target::Unique(*unique),
            };
            let command = if matches!(target, Target::Polling(_)) { 0 } else { command };
            let every = if busy { Duration::ZERO } else { dice.up_to(Duration::from_secs(8)) };
            let frame = request(role, target, command);
            list.push(Errand {
                frame,
                preambles: Some(5 + dice.below(6) as u8),
                first_at: Instant::ZERO,
                every: Some(every),
            });
        }
    }
    if ghost {
        let nobody = UniqueAddress::from_octets([0x3D, 0x71, 0xEE, 0xEE, 0xEE]);
        list.push(Errand {
            frame: request(role, Target::Unique(nobody), 0),
            preambles: None,
            first_at: Instant::ZERO,
            every: Some(Duration::from_secs(20)),
        });
    }
    list
}

fn faults(dice: &mut Dice) -> Vec<WireFault> {
    let most = Duration::from_secs(SPOILT_S);
    let rules = 1 + dice.below(4);
    (0..rules)
        .map(|_| {
            let some = 1 + dice.below(6) as u16;
            let kind = match dice.below(8) {
                0 => FaultKind::BitErrors { rate: [1e-5, 1e-4, 1e-3, 5e-3][dice.below(4) as usize] },
                1 => FaultKind::LostOctets { count: some },
                2 => FaultKind::InsertedOctets { count: some },
                3 => FaultKind::Gap { characters: f64::from(1 + dice.below(40)) / 4.0 },
                4 => FaultKind::CarrierLost { octets: some },
                5 => FaultKind::ShortPreamble { left: dice.below(4) as u8 },
                6 => FaultKind::Repeated { after_characters: f64::from(dice.below(30)) / 2.0 },
                _ => {
                    let every = Duration::from_millis(500) + dice.up_to(Duration::from_secs(20));
                    FaultKind::Noise { every, octets: 1 + dice.below(40) as u16 }
                }
            };
            let of =
                [FaultOf::All, FaultOf::Requests, FaultOf::Answers, FaultOf::Bursts][dice.below(4) as usize];
            let from = Instant::ZERO + dice.up_to(most / 2);
            let until = Some((from + dice.up_to(most)).min(seconds(SPOILT_S)));
            WireFault { kind, share: f64::from(dice.below(30)) / 100.0, of, from, until }
        })
        .collect()
}

/// A device in burst mode that is no good neighbour: it speaks when it likes.
fn bursts(dice: &mut Dice) -> Talker {
    let unique = UniqueAddress::from_octets([0x3D, 0x71, 0x00, 0xB0, 0x01]);
    let mut at = Instant::ZERO;
    let mut script = Vec::new();
    let mut master = Role::Primary;
    while dice.below(40) > 0 {
        at += dice.up_to(Duration::from_secs(20));
        if at > seconds(SPOILT_S - 10) {
            break;
        }
        let address = Address { master, burst: true, target: Target::Unique(unique) };
        let data = vec![0x39, 0x42, 0x48, 0x00, 0x00];
        let frame = Frame::reply(true, address, 1, [0, 0], data).expect("short");
        script.push((at, looprig::frame::RawFrame::of(&frame, 5)));
        master = if master == Role::Primary { Role::Secondary } else { Role::Primary };
    }
    Talker::new(script)
}

/// Follows what passes and keeps the account.
struct Observer {
    receiver: Receiver,
    begun: VecDeque<Begun>,
    pushed: u64,
    received: u64,
    out: Outcome,
    /// The first answer to each master after the faults.
    first_answer: [Option<Instant>; 2],
    /// How many there were in the last seconds of the calm.
    answers: [u64; 2],
    /// Good bursts in the calm, by who sent them.
    bursts: BTreeMap<UniqueAddress, u64>,
    /// The last transmission: low bits of its delimiter, end, beginning.
    last: Option<(u8, Instant, Instant)>,
    /// What the check of hosts makes of the masters.
    annotator: Annotator,
    hosts: HostCheck,
}

impl Observer {
    fn was_sent(&self, good: &Good) -> bool {
        let strip = |v: &[u8]| v.iter().position(|o| *o != 0xFF).unwrap_or(v.len());
        let frame = &good.octets[good.preambles..];
        self.begun.iter().rev().any(|b| {
            let sent = &b.values[strip(&b.values)..];
            sent.len() == frame.len() && sent.iter().zip(frame).all(|(s, o)| *s == o.value)
        })
    }

    fn hear(&mut self, heard: &[Delivery]) {
        for delivery in heard {
            self.receiver.push(&[delivery.octet]);
            self.annotator.handle_timeout(delivery.octet.at);
            self.annotator.push(&[delivery.octet]);
            self.pushed += 1;
            for word in [delivery.octet.at.as_nanos(), delivery.octet.value.into()] {
                self.out.digest = (self.out.digest ^ word).wrapping_mul(0x0000_0100_0000_01B3);
            }
        }
        self.check_hosts();
        self.account();
    }

    fn check_hosts(&mut self) {
        while let Some(item) = self.annotator.next() {
            self.hosts.look(&item);
        }
    }

    fn account(&mut self) {
        while let Some(reception) = self.receiver.next() {
            self.received += reception.octets().len() as u64;
            let Reception::Good(good) = &reception else { continue };
            self.out.accepted += 1;
            if !self.was_sent(good) {
                self.out.wrong += 1;
            }
            let address = good.frame.address();
            let (end, i) = (reception.last_at(), address.master.index());
            if let (FrameType::Back, Target::Unique(from)) = (good.frame.frame_type(), address.target)
                && end > seconds(SPOILT_S)
                && end <= seconds(SPOILT_S + CALM_S)
            {
                *self.bursts.entry(from).or_default() += 1;
            }
            if good.frame.frame_type() == FrameType::Ack && end > seconds(SPOILT_S) {
                self.first_answer[i].get_or_insert(end);
                if end > seconds(SPOILT_S + CALM_S - SHARE_OVER_S) && end <= seconds(SPOILT_S + CALM_S) {
                    self.answers[i] += 1;
                }
            }
        }
    }

    /// Behind the faults nobody in burst mode talks over a master, nor a master over a burst.
    fn look_for_meetings(&mut self, begun: &[Begun]) {
        let character = BitTimes::characters(1).duration();
        for b in begun {
            let kind = b.values.iter().find(|o| **o != 0xFF).map_or(0, |o| o & 0x07);
            let until = b.at + character * b.values.len() as u32;
            let Some((last, last_until, last_at)) = self.last.replace((kind, until, b.at)) else { continue };
            // A burst is 1, a request 2 [FR-03].
            if b.at < last_until && matches!((last, kind), (1, 2) | (2, 1)) {
                let (a, b) = (last_at.as_nanos(), b.at.as_nanos());
                self.problem(format!("a burst and a request met: {a} and {b} ns"));
            }
        }
    }

    fn problem(&mut self, what: String) {
        self.out.problems.push(what);
    }
}

/// Runs one seed.
pub fn run(seed: u64) -> Outcome {
    run_with(seed, None, None)
}

/// Runs one seed in which, as long as there are faults, not everybody hears everybody well [LI-25].
pub fn run_with_reaches(seed: u64) -> Outcome {
    run_with(seed, None, Some(Dice::new(seed, 1_002)))
}

/// Runs one seed with devices in burst mode among the others.
pub fn run_with_bursts(seed: u64) -> Outcome {
    run_with(seed, Some(Dice::new(seed, 1_001)), None)
}

/// One pair of talker and listener in four is told anew how it hears; the observer, whose account is that of the wires, hears all.
fn reaches(dice: &mut Dice, world: &mut World) {
    let stations = world.bus().stations().count();
    let sources = || (0..stations).map(Source::Station);
    for (talker, listener) in sources().flat_map(|t| sources().map(move |l| (t, l))) {
        let reach = match dice.below(16) {
            0 => Reach::NONE,
            1 => Reach { bit_error_rate: [1e-5, 1e-4, 1e-3, 5e-3][dice.below(4) as usize], ..Reach::CLEAR },
            2 | 3 => Reach::CLEAR,
            _ => continue,
        };
        world.set_reach(talker, listener, reach);
    }
}

/// Everybody hears everybody.
fn clear_reaches(world: &mut World) {
    let stations = world.bus().stations().count();
    let sources = || (0..stations).map(Source::Station);
    for (talker, listener) in sources().flat_map(|t| sources().map(move |l| (t, l))) {
        world.set_reach(talker, listener, Reach::CLEAR);
    }
}

fn run_with(seed: u64, mut bursting: Option<Dice>, mut reaching: Option<Dice>) -> Outcome {
    let mut dice = Dice::new(seed, 1_000);
    let mut cast = cast(seed, &mut dice, &mut bursting);
    cast.world.add_talker(bursts(&mut dice));
    cast.world.set_faults(faults(&mut dice));
    cast.world.bus_mut().keep_begun();
    let _observer = cast.world.add_observer();
    for (role, at) in ROLES.into_iter().zip(cast.masters) {
        let (busy, ghost) = (dice.chance(0.5), dice.chance(0.3));
        let list = errands(&mut dice, &cast, role, busy, ghost);
        master(&mut cast.world, at).set_errands(list);
    }
    let line = Capabilities {
        unit: StampUnit::Octets,
        stamp_error: Duration::ZERO,
        parity_seen: true,
        carrier_seen: true,
        echo: false,
    };
    let mut hosts = HostCheck::new(Judged::default());
    hosts.begin(LineFacts::of_line("swarm, virtual time", Pace::Wire, line));
    let mut o = Observer {
        annotator: Annotator::new(
            ReceiverConfig::for_line(Pace::Wire, Duration::ZERO),
            PairerConfig::for_line(Pace::Wire, Duration::ZERO),
            None,
        ),
        hosts,
        receiver: Receiver::new(ReceiverConfig::for_line(Pace::Wire, Duration::ZERO)),
        begun: VecDeque::new(),
        pushed: 0,
        received: 0,
        out: Outcome::default(),
        first_answer: [None; 2],
        answers: [0; 2],
        bursts: BTreeMap::new(),
        last: None,
    };
    let all_hear = reaching.is_none();
    let mut heard = Vec::new();
    let mut ended = [0; 2];
    let end = SPOILT_S + CALM_S + ENDS_WITHIN_S;
    for second in 1..=end {
        let t = seconds(second);
        if let Some(dice) = reaching.as_mut().filter(|_| second % HEARD_FOR_S == 1 && second < SPOILT_S) {
            reaches(dice, &mut cast.world);
        }
        cast.world.run_until(t, &mut heard);
        let begun: Vec<Begun> = cast.world.bus_mut().take_begun().into_iter().collect();
        if second > SPOILT_S + SETTLES_S {
            o.look_for_meetings(&begun);
        }
        o.begun.extend(begun);
        o.hear(&heard);
        heard.clear();
        masters_answers(&mut o, &mut cast);
        while o.begun.front().is_some_and(|b| b.at + Duration::from_secs(REMEMBERED_S) < t) {
            o.begun.pop_front();
        }
        if second % 60 == 0 && second <= SPOILT_S + CALM_S {
            for (i, at) in cast.masters.into_iter().enumerate() {
                let tally = master(&mut cast.world, at).tally();
                let now = tally.answered + tally.unanswered + tally.no_turn;
                if now == ended[i] {
                    o.problem(format!(
                        "no transaction of the {} master ended in the minute to {second} s",
                        ROLES[i]
                    ));
                }
                ended[i] = now;
            }
        }
        if second == SPOILT_S {
            for at in cast.masters {
                let tally = master(&mut cast.world, at).tally();
                o.out.asked += tally.asked;
                o.out.answered += tally.answered;
                o.out.unanswered += tally.unanswered;
                o.out.no_turn += tally.no_turn;
                o.out.retries += tally.retries;
            }
            cast.world.set_faults(Vec::new());
            clear_reaches(&mut cast.world);
            for (role, at) in ROLES.into_iter().zip(cast.masters) {
                let list = errands(&mut dice, &cast, role, true, false);
                master(&mut cast.world, at).set_errands(list);
            }
        }
        if second == SPOILT_S + CALM_S {
            cast.masters.into_iter().for_each(|at| master(&mut cast.world, at).rest());
        }
    }
    judge(o, cast, all_hear)
}

fn master(world: &mut World, at: usize) -> &mut MasterStation {
    world.bus_mut().station_mut(at).and_then(Participant::master_mut).expect("a master")
}

/// What the masters took for answers must have been sent, too.
fn masters_answers(o: &mut Observer, cast: &mut Cast) {
    for at in cast.masters {
        for output in master(&mut cast.world, at).take_outputs() {
            match output {
                Output::Done(t) if t.reply.as_ref().is_some_and(|good| !o.was_sent(good)) => o.out.wrong += 1,
                Output::Stopped(v) => o.problem(format!("a master stopped: {v}")),
                _ => {}
            }
        }
    }
}

fn judge(mut o: Observer, mut cast: Cast, all_hear: bool) -> Outcome {
    o.receiver.finish();
    o.account();
    o.annotator.finish();
    o.check_hosts();
    // Whatever the wires do to them, masters that keep the rules are not found to break any [HC-07]. But how many
    // preambles they send was drawn, not asked of the devices.
    let drawn = "preambles-fewer-than-wanted";
    // Where masters do not hear each other, the observer, who hears all, cannot know that they kept the rules of turns.
    // Nor does it know who is to blame for a frame that noise has made.
    let sent = o.out.wrong == 0;
    let judged = |slug: &str| sent && slug != drawn && (all_hear || !slug.starts_with("talks-in-"));
    let report = std::mem::replace(&mut o.hosts, HostCheck::new(Judged::default())).finish();
    for f in report.findings.iter().filter(|f| f.rule.strength == Strength::Must && judged(f.rule.slug)) {
        o.problem(format!("the check of hosts finds {} at the {} master: {}", f.rule.slug, f.master, f.says));
    }
    let traffic = cast.world.bus().traffic();
    o.out.octets = traffic.sent + traffic.made;
    if traffic.sent + traffic.made != traffic.heard + traffic.silenced + traffic.covered {
        o.problem(format!("octets unaccounted for on the wires: {traffic:?}"));
    }
    if (traffic.heard, o.pushed) != (o.pushed, o.received) {
        let (heard, pushed, received) = (traffic.heard, o.pushed, o.received);
        o.problem(format!("{heard} octets heard, {pushed} by the observer, {received} in its receptions"));
    }
    for (i, at) in cast.masters.into_iter().enumerate() {
        let station = master(&mut cast.world, at);
        let tally = station.tally();
        if station.is_busy() || tally.asked != tally.answered + tally.unanswered + tally.no_turn {
            o.problem(format!("the {} master has not ended: {tally:?}", ROLES[i]));
        }
    }
    for unique in &cast.bursting {
        // It is asked for something over and over, and sends a burst behind its answers at the latest.
        let count = o.bursts.get(unique).copied().unwrap_or_default();
        o.out.fewest_bursts = Some(o.out.fewest_bursts.map_or(count, |n| n.min(count)));
        if count < FEWEST_BURSTS {
            o.problem(format!("{unique} sent {count} good bursts in {CALM_S} s"));
        }
    }
    let character = BitTimes::characters(1).duration();
    for (i, first) in o.first_answer.into_iter().enumerate() {
        let after = first.map(|t| (t.since(seconds(SPOILT_S)).as_nanos() / character.as_nanos()) as u64);
        match after {
            Some(n) if n <= RESUMES_WITHIN => o.out.resumed_after = o.out.resumed_after.max(n),
            other => o.problem(format!("master {i}: first answer {other:?} characters after the faults")),
        }
    }
    let all: u64 = o.answers.iter().sum();
    o.out.smaller_share = 100.0 * o.answers[0].min(o.answers[1]) as f64 / all.max(1) as f64;
    if o.out.smaller_share < 40.0 {
        o.problem(format!("answers to the masters in {SHARE_OVER_S} s: {:?}", o.answers));
    }
    o.out
}

/// What many seeds showed.
#[derive(Clone, Debug, Default)]
pub struct Sum {
    pub seeds: u64,
    pub failed: u64,
    pub asked: u64,
    pub answered: u64,
    pub unanswered: u64,
    pub no_turn: u64,
    pub retries: u64,
    pub accepted: u64,
    pub wrong: u64,
    pub seeds_with_wrong: u64,
    pub resumed_after: u64,
    pub smallest_share: f64,
    pub fewest_bursts: Option<u64>,
    pub octets: u64,
}

impl Sum {
    pub fn add(&mut self, o: &Outcome) {
        self.seeds += 1;
        self.failed += u64::from(!o.problems.is_empty());
        self.asked += o.asked;
        self.answered += o.answered;
        self.unanswered += o.unanswered;
        self.no_turn += o.no_turn;
        self.retries += o.retries;
        self.accepted += o.accepted;
        self.wrong += o.wrong;
        self.seeds_with_wrong += u64::from(o.wrong > 0);
        self.resumed_after = self.resumed_after.max(o.resumed_after);
        self.octets += o.octets;
        self.fewest_bursts = self.fewest_bursts.into_iter().chain(o.fewest_bursts).min();
        self.smallest_share =
            if self.seeds == 1 { o.smaller_share } else { self.smallest_share.min(o.smaller_share) };
    }
}

impl core::fmt::Display for Sum {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let s = self;
        writeln!(f, "seeds                                  {}", s.seeds)?;
        writeln!(f, "seeds with something that must not be  {}", s.failed)?;
        writeln!(f, "octets on the wires                    {}", s.octets)?;
        writeln!(f, "with faults: requests                  {}", s.asked)?;
        writeln!(f, "  answered                             {}", s.answered)?;
        writeln!(f, "  unanswered after the last repeat     {}", s.unanswered)?;
        writeln!(f, "  never sent: no turn                  {}", s.no_turn)?;
        writeln!(f, "  repeats                              {}", s.retries)?;
        writeln!(f, "frames accepted                        {}", s.accepted)?;
        writeln!(f, "  wrongly                              {} in {} seeds", s.wrong, s.seeds_with_wrong)?;
        writeln!(f, "longest until an answer after faults   {} characters", s.resumed_after)?;
        write!(f, "smallest share of a busy master        {:.1} %", s.smallest_share)?;
        match s.fewest_bursts {
            Some(n) => write!(f, "\nfewest bursts of a device in the calm  {n}"),
            None => Ok(()),
        }
    }
}
