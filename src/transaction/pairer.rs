//! Joins requests with what answers them [LL-12].

use super::{Interlude, Kind, Oddities, Outcome, Passed, Transaction};
use crate::frame::{Frame, FrameType, Good, Reception, Target, UniqueAddress};
use crate::time::{BitTimes, Instant, Pace};
use core::time::Duration;
use std::collections::{BTreeSet, VecDeque};

/// Interludes kept with one transaction; with more of them it is closed, so that a line full of
/// noise cannot grow it without end.
const MAX_INTERLUDES: usize = 16;
/// Tries kept with one transaction.
const MAX_TRIES: usize = 16;
/// Unique addresses remembered to recognise a burst whose type bits are zeroed.
const MAX_KNOWN: usize = 256;
/// Commands that are broadcast and answered with the device's own address [DV-07].
const ANSWERED_BROADCASTS: [u8; 3] = [11, 21, 73];

/// Times that the pairer goes by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PairerConfig {
    /// One character [LL-01].
    pub character: Duration,
    /// How long after a request an answer may begin [LL-02]; `None` to wait for the next frame.
    pub slave_time_out: Option<Duration>,
    /// How long after a request its repeat may begin, which belongs to the same transaction [LL-12];
    /// `None` to wait for the next frame.
    pub repeat_within: Option<Duration>,
    /// Whether the octets' times mean anything; without, no response time is told.
    pub timed: bool,
}

impl PairerConfig {
    /// For octets whose times mean nothing.
    pub const UNTIMED: PairerConfig =
        PairerConfig { character: Duration::ZERO, slave_time_out: None, repeat_within: None, timed: false };

    /// For a master that itself says when a request of its own is over.
    pub const fn for_master(character: Duration) -> PairerConfig {
        PairerConfig { character, slave_time_out: None, repeat_within: None, timed: true }
    }

    /// The standard's times at this pace, with `margin` added to each: the slave time-out, and for the
    /// repeat RT1 of the secondary master, the longer one, and RT2 in case the other master did not
    /// use its turn [LL-04] [LL-05]. Two characters are allowed for starting to send.
    pub fn for_line(pace: Pace, margin: Duration) -> Self {
        let within = |n: u64| match pace {
            Pace::Fast => None,
            _ => Some(pace.scale(BitTimes::characters(n + 2).duration()) + margin),
        };
        PairerConfig {
            character: pace.character(),
            slave_time_out: within(28),
            repeat_within: within(41 + 8),
            timed: true,
        }
    }
}

/// A request that may still be answered.
#[derive(Clone, Debug)]
struct Pending {
    tries: Vec<Good>,
    interludes: Vec<Interlude>,
}

/// The state machine: push receptions, drain [`Pairer::next`], at the end [`Pairer::finish`].
#[derive(Clone, Debug)]
pub struct Pairer {
    config: PairerConfig,
    pending: Option<Pending>,
    known: BTreeSet<UniqueAddress>,
    out: VecDeque<Passed>,
}

impl Pairer {
    /// A pairer that has heard nothing yet.
    pub fn new(config: PairerConfig) -> Self {
        Pairer { config, pending: None, known: BTreeSet::new(), out: VecDeque::new() }
    }

    /// The next item, oldest first.
    #[allow(
        clippy::should_implement_trait,
        reason = "an iterator would be over at the first pause of the line"
    )]
    pub fn next(&mut self) -> Option<Passed> {
        self.out.pop_front()
    }

    /// Takes what the receiver made of the octets, in order.
    pub fn push(&mut self, reception: Reception) {
        match reception {
            Reception::Good(good) => match good.frame.frame_type() {
                FrameType::Stx => self.request(good),
                FrameType::Ack => self.reply(good),
                FrameType::Back => {
                    self.close(Outcome::Silent);
                    let mut oddities = Oddities::NONE;
                    if self.type_bits_zeroed(&good.frame) {
                        oddities |= Oddities::ADDRESS_BITS_ZEROED;
                    }
                    self.alone(Kind::Burst, good, oddities);
                }
            },
            Reception::Damaged(d) => match self.pending.as_mut() {
                Some(p) => p.interludes.push(Interlude::Damaged(d)),
                None => self.out.push_back(Passed::Damaged(d)),
            },
            Reception::Noise(n) => match self.pending.as_mut() {
                Some(p) => p.interludes.push(Interlude::Noise(n)),
                None => self.out.push_back(Passed::Noise(n)),
            },
        }
        if self.pending.as_ref().is_some_and(|p| p.interludes.len() > MAX_INTERLUDES) {
            self.close(Outcome::Silent);
        }
    }

    /// The request that may still be answered.
    pub fn pending_request(&self) -> Option<&Frame> {
        self.pending.as_ref().and_then(|p| p.tries.last()).map(|t| &t.frame)
    }

    /// When the pending request's time is over; `None` while nothing is pending.
    pub fn deadline(&self) -> Option<Instant> {
        let p = self.pending.as_ref()?;
        Some(end(p.tries.last()?) + self.config.repeat_within?)
    }

    /// Gives up a pending request whose time is over. Only to be called while no frame is arriving:
    /// an answer counts from its beginning.
    pub fn handle_timeout(&mut self, now: Instant) {
        if self.deadline().is_some_and(|d| d <= now) {
            self.close(Outcome::Silent);
        }
    }

    /// The record ends: hands out what is pending.
    pub fn finish(&mut self) {
        self.close(Outcome::Open);
    }

    /// The one who asked gives up: hands out what is pending as unanswered.
    pub fn give_up(&mut self) {
        self.close(Outcome::Silent);
    }

    fn request(&mut self, good: Good) {
        self.remember(&good.frame);
        if let Some(p) = self.pending.as_mut()
            && p.tries.len() < MAX_TRIES
            && p.tries.last().is_some_and(|t| t.frame == good.frame)
        {
            p.tries.push(good);
            return;
        }
        self.close(Outcome::Silent);
        self.pending = Some(Pending { tries: vec![good], interludes: Vec::new() });
    }

    fn reply(&mut self, good: Good) {
        self.remember(&good.frame);
        let begins = good.octets.first().map_or(Instant::ZERO, |o| o.at).before(self.config.character);
        let limit = self.config.slave_time_out;
        let in_time = |asked: &Good| limit.is_none_or(|limit| begins.since(end(asked)) <= limit);
        let matched = self
            .pending
            .take_if(|p| p.tries.last().is_some_and(|t| answers(&t.frame, &good.frame) && in_time(t)));
        let Some(p) = matched else {
            self.close(Outcome::Silent);
            self.alone(Kind::Unasked, good, Oddities::NONE);
            return;
        };
        let asked_until = p.tries.last().map_or(Instant::ZERO, end);
        let mut oddities = Oddities::NONE;
        if let Some(t) = p.tries.last() {
            let (asked, told) = (t.frame.address(), good.frame.address());
            if told.burst && !asked.burst {
                oddities |= Oddities::BURST_BIT_IN_REPLY;
            }
            if told.master != asked.master {
                oddities |= Oddities::MASTER_BIT_FLIPPED;
            }
            oddities |= odd_request(&t.frame);
        }
        self.out.push_back(Passed::Transaction(Box::new(Transaction {
            kind: Kind::Asked,
            outcome: Outcome::Answered,
            tries: p.tries,
            interludes: p.interludes,
            reply: Some(good),
            response_time: self.config.timed.then(|| begins.since(asked_until)),
            oddities,
        })));
    }

    fn alone(&mut self, kind: Kind, good: Good, oddities: Oddities) {
        self.out.push_back(Passed::Transaction(Box::new(Transaction {
            kind,
            outcome: Outcome::Answered,
            tries: Vec::new(),
            interludes: Vec::new(),
            reply: Some(good),
            response_time: None,
            oddities,
        })));
    }

    fn close(&mut self, outcome: Outcome) {
        let Some(p) = self.pending.take() else { return };
        let garbled = p.interludes.iter().any(|i| matches!(i, Interlude::Damaged(_)));
        let oddities = p.tries.last().map_or(Oddities::NONE, |t| odd_request(&t.frame));
        self.out.push_back(Passed::Transaction(Box::new(Transaction {
            kind: Kind::Asked,
            outcome: if garbled { Outcome::Garbled } else { outcome },
            tries: p.tries,
            interludes: p.interludes,
            reply: None,
            response_time: None,
            oddities,
        })));
    }

    fn remember(&mut self, frame: &Frame) {
        if let Target::Unique(u) = frame.address().target
            && self.known.len() < MAX_KNOWN
            && !self.known.contains(&u)
        {
            self.known.insert(u);
        }
    }

    /// Whether a burst comes from a known device whose type bits it leaves out [FR-15].
    fn type_bits_zeroed(&self, frame: &Frame) -> bool {
        let Target::Unique(u) = frame.address().target else { return false };
        let o = u.octets();
        o[0] == 0
            && !self.known.contains(&u)
            && self.known.iter().any(|k| k.octets()[0] != 0 && k.octets()[1..] == o[1..])
    }
}

fn end(good: &Good) -> Instant {
    good.octets.last().map_or(Instant::ZERO, |o| o.at)
}

/// What is odd about a request, whether or not it is answered.
fn odd_request(frame: &Frame) -> Oddities {
    match frame.address().target {
        Target::Polling(_) if frame.command() != 0 => Oddities::SHORT_FRAME,
        _ => Oddities::NONE,
    }
}

/// Whether `reply` can be the answer to `request`: the master bit and the burst bit do not count,
/// since devices get them wrong [FR-15].
pub(crate) fn answers(request: &Frame, reply: &Frame) -> bool {
    let (asked, told) = (request.address(), reply.address());
    request.command() == reply.command()
        && (asked.target == told.target
            || asked.is_broadcast() && ANSWERED_BROADCASTS.contains(&request.command()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Octet, Receiver, ReceiverConfig};

    /// Feeds frames with a pause of `pause_ms` before each and hands out what passed.
    fn passed(frames: &[(&str, u64)]) -> Vec<Passed> {
        let character = BitTimes::characters(1).duration();
        let mut receiver = Receiver::new(ReceiverConfig::for_line(Pace::Wire, Duration::ZERO));
        let mut pairer = Pairer::new(PairerConfig::for_line(Pace::Wire, Duration::ZERO));
        let mut at = Instant::ZERO;
        for (hex, pause_ms) in frames {
            at += Duration::from_millis(*pause_ms);
            let values = [0xFF; 5]
                .into_iter()
                .chain(hex.split(' ').map(|h| u8::from_str_radix(h, 16).expect("the test's own hex")));
            for value in values {
                at += character;
                receiver.push(&[Octet::clean(at, value)]);
            }
        }
        receiver.finish();
        while let Some(r) = receiver.next() {
            pairer.push(r);
        }
        pairer.finish();
        std::iter::from_fn(|| pairer.next()).collect()
    }

    fn only(passed: &[Passed]) -> &Transaction {
        match passed {
            [Passed::Transaction(t)] => t,
            other => panic!("{other:?}"),
        }
    }

    // Published frames [ICS], see fixtures/frames/.
    const ASK_54: &str = "82 26 95 EB 27 B8 36 01 00 72";
    const ERROR_54: &str = "86 A6 95 EB 27 B8 36 02 84 00 71";
    const ASK_0: &str = "02 80 00 00 82";
    const REPLY_0: &str =
        "06 C0 00 18 00 10 FE F9 FD 00 07 02 32 4E 00 95 26 6F 00 03 00 01 01 00 F9 00 F9 41 D3";
    const ASK_20: &str = "82 B9 FD 95 26 6F 14 00 0E";
    const BURST: &str = "81 40 FD 95 26 6F 09 1F 00 10 01 00 00 4B 46 38 6E 3D C0 01 00 27 42 A7 F4 2C 40 02 00 3D 00 00 00 00 00 A3 9F 5E C2 85";

    #[test]
    fn a_reply_with_its_response_time() {
        let p = passed(&[(ASK_0, 0), (REPLY_0, 20)]);
        let t = only(&p);
        assert_eq!((t.kind, t.outcome, t.retries()), (Kind::Asked, Outcome::Answered, 0));
        assert_eq!(t.response_time, Some(Duration::from_millis(20)));
        assert_eq!(t.oddities, Oddities::BURST_BIT_IN_REPLY);
    }

    #[test]
    fn a_flipped_master_bit_still_pairs() {
        let p = passed(&[(ASK_54, 0), (ERROR_54, 20)]);
        assert_eq!(only(&p).oddities, Oddities::MASTER_BIT_FLIPPED);
    }

    #[test]
    fn repeats_are_tries_and_another_request_is_silence() {
        let p = passed(&[(ASK_0, 0), (ASK_0, 300), (ASK_0, 300), (ASK_20, 300)]);
        match &p[..] {
            [Passed::Transaction(a), Passed::Transaction(b)] => {
                assert_eq!((a.outcome, a.retries()), (Outcome::Silent, 2));
                assert_eq!((b.outcome, b.retries()), (Outcome::Open, 0));
            }
            other => panic!("{other:?}"),
        }
    }

    /// An identical request after an answered one is a request of its own [HO-10].
    #[test]
    fn what_was_answered_is_not_repeated() {
        let p = passed(&[(ASK_0, 0), (REPLY_0, 20), (ASK_0, 40), (ASK_0, 300), (REPLY_0, 20)]);
        match &p[..] {
            [Passed::Transaction(a), Passed::Transaction(b)] => {
                assert_eq!((a.outcome, a.retries()), (Outcome::Answered, 0));
                assert_eq!((b.outcome, b.retries()), (Outcome::Answered, 1));
            }
            other => panic!("{other:?}"),
        }
    }

    /// [LL-12]: 28 characters are 256.7 ms, and two more are allowed: 275 ms.
    #[test]
    fn an_answer_after_the_slave_time_out_is_unasked() {
        assert_eq!(only(&passed(&[(ASK_0, 0), (REPLY_0, 270)])).outcome, Outcome::Answered);
        let late = passed(&[(ASK_0, 0), (REPLY_0, 280)]);
        match &late[..] {
            [Passed::Transaction(a), Passed::Transaction(b)] => {
                assert_eq!((a.outcome, b.kind), (Outcome::Silent, Kind::Unasked));
            }
            other => panic!("{other:?}"),
        }
    }

    /// [LL-12]: a repeat comes after RT1, 41 characters of a secondary master: 375.8 ms.
    #[test]
    fn a_request_waits_for_its_repeat_and_not_for_ever() {
        let mut pairer = Pairer::new(PairerConfig::for_line(Pace::Wire, Duration::ZERO));
        let mut receiver = Receiver::new(ReceiverConfig::for_line(Pace::Wire, Duration::ZERO));
        let values = [0xFF, 0xFF, 0x02, 0x80, 0x00, 0x00, 0x82];
        let character = BitTimes::characters(1).duration();
        let octets: Vec<Octet> =
            (1..).zip(values).map(|(i, v)| Octet::clean(Instant::ZERO + character * i, v)).collect();
        receiver.push(&octets);
        pairer.push(receiver.next().expect("a frame"));
        let asked = octets[6].at;
        pairer.handle_timeout(asked + Duration::from_millis(376));
        assert_eq!(pairer.next(), None);
        // 41 + 8 + 2 characters: 467.5 ms.
        assert_eq!(pairer.deadline().map(|d| d.since(asked).as_millis()), Some(467));
        pairer.handle_timeout(asked + Duration::from_millis(468));
        assert!(matches!(pairer.next(), Some(Passed::Transaction(t)) if t.outcome == Outcome::Silent));
    }

    #[test]
    fn an_answer_to_another_command_is_unasked() {
        let p = passed(&[(ASK_20, 0), (ERROR_54, 20)]);
        match &p[..] {
            [Passed::Transaction(a), Passed::Transaction(b)] => {
                assert_eq!(a.outcome, Outcome::Silent);
                assert_eq!(b.kind, Kind::Unasked);
            }
            other => panic!("{other:?}"),
        }
    }

    /// The same device, but command 55: 71 ^ 36 ^ 37 = 70 [FR-09].
    #[test]
    fn an_answer_to_another_command_of_the_device_is_unasked() {
        let other = ERROR_54.replace("36 02 84 00 71", "37 02 84 00 70");
        let p = passed(&[(ASK_54, 0), (&other, 20)]);
        match &p[..] {
            [Passed::Transaction(a), Passed::Transaction(b)] => {
                assert_eq!((a.outcome, b.kind), (Outcome::Silent, Kind::Unasked));
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_burst_that_leaves_out_its_type_bits() {
        // The device's address starts with 39 (79 with the burst bit), its bursts with 00.
        let p = passed(&[(ASK_20, 0), (BURST, 300), (BURST, 300)]);
        match &p[1..] {
            [Passed::Transaction(a), Passed::Transaction(b)] => {
                assert_eq!(a.kind, Kind::Burst);
                assert_eq!(a.oddities, Oddities::ADDRESS_BITS_ZEROED);
                assert_eq!(b.kind, Kind::Burst);
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_broadcast_is_answered_with_the_devices_own_address() {
        // Check byte: 82^80 = 02, ^0B = 09, ^06 = 0F, ^50 = 5F, ^11 = 4E, ^E0 = AE, ^82 = 2C, ^08 = 24,
        // ^20 = 04; the reply's data are those of [NIT].
        let ask = "82 80 00 00 00 00 0B 06 50 11 E0 82 08 20 04";
        let reply = "86 9A 1A AD 18 8C 0B 0E 00 00 FE 1A 1A 05 05 00 00 00 00 AD 18 8C FD";
        let p = passed(&[(ask, 0), (reply, 20)]);
        assert_eq!(only(&p).outcome, Outcome::Answered);
    }

    /// [FR-14]: a device of revision 5 or later may well be silent then.
    #[test]
    fn a_short_frame_is_odd_without_an_answer_too() {
        // Command 3 at polling address 0; check byte: 02 ^ 80 ^ 03 = 81.
        let p = passed(&[("02 80 03 00 81", 0)]);
        assert_eq!((only(&p).outcome, only(&p).oddities), (Outcome::Open, Oddities::SHORT_FRAME));
        assert_eq!(only(&passed(&[(ASK_0, 0)])).oddities, Oddities::NONE);
    }

    #[test]
    fn a_damaged_answer_stays_with_its_request() {
        let bad = ERROR_54.replace("71", "70");
        let p = passed(&[(ASK_54, 0), (&bad, 20)]);
        let t = only(&p);
        assert_eq!((t.outcome, t.interludes.len()), (Outcome::Garbled, 1));
    }
}
