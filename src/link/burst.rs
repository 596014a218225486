//! When a field device in burst mode may begin a burst [LL-10] [LL-23].

use super::Timers;
use crate::frame::{FrameType, Master, Reception, Target};
use crate::time::{BitTimes, Instant, Pace};
use core::time::Duration;

/// How long another bursting device is remembered, characters: the longest period, an hour, are 392 727.
const PRESENCE: u64 = 400_000;
/// Silences by place begin so many characters apart where nobody is known to speak.
const APART_WHEN_LOST: u32 = 4;
/// Whose bursts were heard in so many characters take turns.
const RECENTLY: u32 = 1000;
/// Who has sent a burst lets others go first for so many times HOLD: the longest place of another one, 63, is over.
const LETS_GO: u32 = 64;
/// So many bursts one right behind the other, and one that has never been heard is let go first, too.
const MOST_IN_A_ROW: u32 = 64;

/// The right to follow an answer.
#[derive(Clone, Copy, Debug)]
struct Follows {
    at: Instant,
    /// Later the master whose turn it is may have begun.
    until: Instant,
}

/// The turns of a device in burst mode: a state machine without I/O. It hears everything on the line, in burst
/// mode or not.
#[derive(Clone, Debug)]
pub struct BurstTurns {
    timers: Timers,
    /// How much later than the last octet a carrier may go [LL-15].
    lateness: Duration,
    /// By which devices that burst differ: the polling address.
    place: u32,
    presence: Duration,
    /// The silence that is waited for at present.
    quiet: Duration,
    free_at: Instant,
    follows: Option<Follows>,
    /// Whom the next burst names.
    names: Master,
    carrier: bool,
    /// The end of the last octet, and of what passed last, our own included.
    octet_at: Instant,
    silent_since: Instant,
    /// When another device's burst was last heard.
    other_at: Option<Instant>,
    /// Whose bursts were heard of late.
    recent: Vec<(Target, Instant)>,
    /// When our own last one ended, and how many of others are let go before the next.
    own_at: Instant,
    lets_go: usize,
    /// How many of ours began as soon as the line was free, the last time that nobody was let go.
    in_a_row: u32,
}

impl BurstTurns {
    /// A device that begins to listen at `now`, on a line with this pace and stamps that are off by at most
    /// `stamp_error`. `place` is its polling address: of devices that burst the lower one begins first.
    pub fn new(pace: Pace, stamp_error: Duration, place: u8, now: Instant) -> Self {
        let timers = Timers::new(Master::Secondary, pace);
        let presence = BitTimes::characters(PRESENCE).duration();
        let presence = if pace == Pace::Fast { presence } else { pace.scale(presence) };
        Self::fresh(timers, timers.character + stamp_error * 2, presence, place.into(), now)
    }

    /// It begins anew at `now`, as at power-up: what it has heard is forgotten, but not that a carrier is heard.
    pub fn power_up(&mut self, now: Instant) {
        let fresh = Self::fresh(self.timers, self.lateness, self.presence, self.place, now);
        *self = BurstTurns { carrier: self.carrier, ..fresh };
    }

    fn fresh(timers: Timers, lateness: Duration, presence: Duration, place: u32, now: Instant) -> Self {
        let mut turns = BurstTurns {
            timers,
            lateness,
            place,
            presence,
            quiet: Duration::ZERO,
            free_at: now,
            follows: None,
            // As in [ICS].
            names: Master::Secondary,
            carrier: false,
            octet_at: now,
            silent_since: now,
            other_at: None,
            recent: Vec::new(),
            own_at: now,
            lets_go: 0,
            in_a_row: 0,
        };
        turns.wait(now, turns.lost());
        turns
    }

    /// The polling address was changed.
    pub fn set_place(&mut self, place: u8) {
        self.place = place.into();
    }

    /// RT1 of the secondary and HOLD; every place four characters later.
    fn lost(&self) -> Duration {
        let t = &self.timers;
        // Where nothing takes time an answer still does.
        let answer = if t.character.is_zero() { t.slave_time_out } else { Duration::ZERO };
        t.link_quiet + t.hold + t.character * (APART_WHEN_LOST * self.place) + answer
    }

    /// RT2 and twice HOLD: whoever has a turn has begun by then; more where others burst.
    fn in_step(&self, at: Instant) -> Duration {
        let t = &self.timers;
        let lets_go = self.lets_go > 0 && at.since(self.own_at) <= t.character * RECENTLY;
        // By place also where nobody was heard: two that met each other every time heard nobody either.
        let places = match lets_go {
            true => LETS_GO + self.place,
            false if self.heard_within(at, self.presence) => self.place,
            false => 0,
        };
        t.link_grant + t.hold * (2 + places)
    }

    /// Whether another device's burst was heard in that time before `at`.
    fn heard_within(&self, at: Instant, time: Duration) -> bool {
        self.other_at.is_some_and(|t| at.since(t) <= time)
    }

    fn wait(&mut self, end: Instant, quiet: Duration) {
        self.silent_since = end;
        self.quiet = quiet;
        self.free_at = end + quiet;
        self.follows = None;
    }

    fn answer(&mut self, end: Instant, to: Master, may_follow: bool) {
        self.names = to.other();
        let quiet = self.in_step(end);
        self.wait(end, quiet);
        self.follows = may_follow.then_some(Follows { at: end, until: end + self.lateness });
    }

    /// Our own answer to this master has left, its last octet at `at`.
    pub fn answered(&mut self, at: Instant, to: Master) {
        self.answer(at, to, true);
    }

    /// The answer that has just left is not followed: the next burst waits for its silence.
    pub fn forgo(&mut self) {
        self.follows = None;
    }

    /// No silence is left for others behind what has just left.
    pub fn rush(&mut self) {
        self.free_at = self.silent_since;
    }

    /// Our own burst that names this master has left, its last octet at `at`.
    pub fn burst_left(&mut self, at: Instant, named: Master) {
        self.names = named.other();
        self.forget_before(at);
        self.own_at = at;
        self.lets_go = self.recent.len() + usize::from(self.in_a_row >= MOST_IN_A_ROW);
        let quiet = self.in_step(at);
        self.wait(at, quiet);
    }

    /// Forgets whose last burst was too long ago.
    fn forget_before(&mut self, now: Instant) {
        let recently = self.timers.character * RECENTLY;
        self.recent.retain(|(_, at)| now.since(*at) <= recently);
    }

    /// Octets came, the last of which ended at `end`; what they are is told later.
    pub fn octets(&mut self, end: Instant) {
        self.octet_at = end;
    }

    /// Takes from what others said when a burst may begin.
    pub fn heard(&mut self, reception: &Reception) {
        let end = reception.last_at();
        match reception {
            Reception::Good(g) => {
                let address = g.frame.address();
                match g.frame.frame_type() {
                    FrameType::Stx => self.wait(end, self.lost()),
                    // A device that bursts follows its own answers itself.
                    FrameType::Ack => {
                        if address.burst {
                            self.other_at = Some(end);
                        }
                        let may_follow = !self.heard_within(end, self.presence);
                        self.answer(end, address.master, may_follow);
                    }
                    FrameType::Back => {
                        self.other_at = Some(end);
                        self.forget_before(end);
                        self.recent.retain(|(target, _)| *target != address.target);
                        self.recent.push((address.target, end));
                        self.lets_go = self.lets_go.saturating_sub(1);
                        self.names = address.master.other();
                        let quiet = self.in_step(end);
                        self.wait(end, quiet);
                    }
                }
            }
            // It may have been a request, whose answer is to come.
            Reception::Damaged(_) => self.wait(end, self.lost()),
            Reception::Noise(_) => self.disturbed(end),
        }
    }

    /// A burst with the device's own address, which somebody else has made: like damage.
    pub fn heard_itself(&mut self, end: Instant) {
        self.wait(end, self.lost());
    }

    /// Noise until `end` tells nothing, but the silence begins anew.
    fn disturbed(&mut self, end: Instant) {
        self.follows = None;
        self.silent_since = end;
        self.free_at = self.free_at.max(end + self.quiet);
    }

    /// The line hears a carrier, or none any more [LL-15].
    pub fn carrier(&mut self, now: Instant, on: bool) {
        let gone = self.carrier && !on;
        self.carrier = on;
        if gone && now > self.silent_since.max(self.octet_at) + self.lateness {
            self.disturbed(now);
        }
    }

    /// Whether a burst may begin at `now`, and which master it names; then it has to begin. After an answer it may
    /// begin whether or not one is `due`.
    pub fn may_begin(&mut self, now: Instant, due: bool) -> Option<Master> {
        self.follows.take_if(|f| now > f.until);
        let follows = self.follows.is_some_and(|f| now >= f.at);
        let may = !self.carrier && (follows || due && now >= self.free_at);
        if may {
            let pressed = !follows && now < self.free_at + self.timers.character;
            self.in_a_row = if pressed { self.in_a_row % MOST_IN_A_ROW + 1 } else { 0 };
        }
        may.then_some(self.names)
    }

    /// When a burst is to be tried that is due at `due`; `None` while a carrier forbids it.
    pub fn wake_at(&self, due: Instant) -> Option<Instant> {
        let at = self.follows.map_or(due.max(self.free_at), |f| f.at);
        (!self.carrier).then_some(at)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Octet, Receiver, ReceiverConfig};

    fn characters(n: f64) -> Duration {
        Duration::from_secs_f64(n * 11.0 / 1200.0)
    }

    struct Ear {
        turns: BurstTurns,
        receiver: Receiver,
        at: Instant,
    }

    fn ear(place: u8) -> Ear {
        let turns = BurstTurns::new(Pace::Wire, Duration::ZERO, place, Instant::ZERO);
        let receiver = Receiver::new(ReceiverConfig::for_line(Pace::Wire, Duration::ZERO));
        Ear { turns, receiver, at: Instant::ZERO }
    }

    impl Ear {
        /// Two preambles and these octets, whose last is their check byte, begin `pause` characters later.
        fn hears(&mut self, pause: f64, octets: &[u8]) {
            self.at += characters(pause);
            for value in [0xFF; 2].iter().chain(octets) {
                self.at += BitTimes::characters(1).duration();
                self.turns.octets(self.at);
                self.receiver.push(&[Octet::clean(self.at, *value)]);
            }
            self.receiver.finish();
            while let Some(r) = self.receiver.next() {
                self.turns.heard(&r);
            }
        }

        /// The silence, in characters and to a hundredth, after which a burst that is due begins.
        fn waits(&self) -> f64 {
            let at = self.turns.wake_at(Instant::ZERO).expect("no carrier");
            (at.since(self.at).as_secs_f64() * 1200.0 / 11.0 * 100.0).round() / 100.0
        }
    }

    /// Command 0 at polling address 1 by the primary: 02 ^ 81 = 83; its shortest answer, 06 ^ 81 ^ 02 = 85; the same with
    /// the burst bit, 06 ^ C1 ^ 02 = C5; a burst for the primary, 01 ^ C1 ^ 01 ^ 02 = C3 [FR-09].
    const ASK: &[u8] = &[0x02, 0x81, 0x00, 0x00, 0x83];
    const ANSWER: &[u8] = &[0x06, 0x81, 0x00, 0x02, 0x00, 0x00, 0x85];
    const ANSWER_OF_A_BURSTING_ONE: &[u8] = &[0x06, 0xC1, 0x00, 0x02, 0x00, 0x00, 0xC5];
    const BURST: &[u8] = &[0x01, 0xC1, 0x01, 0x02, 0x00, 0x00, 0xC3];

    /// [LL-23]: 43 = 41 + 2, and 4 by place, while nothing is known and after a request or damage; 12 = 8 + 2 * 2
    /// in step.
    #[test]
    fn silences() {
        assert_eq!(
            (ear(0).waits(), ear(1).waits(), ear(15).waits(), ear(63).waits()),
            (43.0, 47.0, 103.0, 295.0)
        );
        let mut e = ear(0);
        e.hears(50.0, ASK);
        assert_eq!(e.waits(), 43.0);
        e.hears(2.0, ANSWER);
        // It may follow at once, and else after 12.
        assert_eq!(e.waits(), 0.0);
        assert_eq!(e.turns.may_begin(e.at + characters(0.9), false), Some(Master::Secondary));
        assert_eq!(e.turns.may_begin(e.at + characters(1.1), true), None);
        assert_eq!(e.waits(), 12.0);
        assert_eq!(e.turns.may_begin(e.at + characters(11.9), true), None);
        assert_eq!(e.turns.may_begin(e.at + characters(12.1), false), None);
        assert_eq!(e.turns.may_begin(e.at + characters(12.1), true), Some(Master::Secondary));
        let spoilt: Vec<u8> = [&ASK[..4], &[0x99]].concat();
        e.hears(20.0, &spoilt);
        assert_eq!(e.waits(), 43.0);
    }

    /// [LL-10]: timer bursts alternate; after an answer the other master is named.
    #[test]
    fn whom_a_burst_names() {
        let mut e = ear(0);
        let late = e.at + characters(100.0);
        assert_eq!(e.turns.may_begin(late, true), Some(Master::Secondary));
        e.turns.burst_left(late, Master::Secondary);
        assert_eq!(e.turns.may_begin(late + characters(13.0), true), Some(Master::Primary));
        e.turns.answered(late, Master::Primary);
        assert_eq!(e.turns.may_begin(late, false), Some(Master::Secondary));
        e.turns.answered(late, Master::Secondary);
        assert_eq!(e.turns.may_begin(late, false), Some(Master::Primary));
    }

    /// Noise makes the silence begin anew and takes the right to follow; a carrier forbids everything.
    #[test]
    fn noise_and_carriers() {
        let mut e = ear(0);
        e.hears(50.0, ANSWER);
        e.turns.carrier(e.at, true);
        assert_eq!((e.turns.wake_at(e.at), e.turns.may_begin(e.at, true)), (None, None));
        // Gone in time: it was the answer's.
        e.turns.carrier(e.at + characters(0.5), false);
        assert_eq!(e.turns.may_begin(e.at + characters(0.5), false), Some(Master::Secondary));
        e.turns.carrier(e.at + characters(0.6), true);
        e.at += characters(5.0);
        e.turns.carrier(e.at, false);
        assert_eq!(e.waits(), 12.0);
        e.hears(3.0, &[0x55]);
        assert_eq!(e.waits(), 12.0);
    }

    /// [LL-23] of several that burst: none follows another's answer, and the lower place goes first, but not twice.
    #[test]
    fn several_that_burst() {
        let mut e = ear(3);
        // 12 and 2 * 3.
        e.hears(50.0, ANSWER_OF_A_BURSTING_ONE);
        assert_eq!(e.waits(), 18.0);
        e.hears(5.0, BURST);
        assert_eq!(e.waits(), 18.0);
        e.hears(5.0, ANSWER);
        assert_eq!(e.waits(), 18.0);
        // 12 and 2 * (64 + 3), and no more than the 18 when the other one has gone.
        e.turns.burst_left(e.at, Master::Primary);
        assert_eq!(e.waits(), 146.0);
        e.hears(5.0, BURST);
        assert_eq!(e.waits(), 18.0);
        e.turns.burst_left(e.at, Master::Primary);
        assert_eq!(e.waits(), 146.0);
        // Its own answer it follows all the same.
        e.turns.answered(e.at, Master::Primary);
        assert_eq!(e.waits(), 0.0);
        e.at += characters(400_100.0);
        e.hears(0.0, ANSWER);
        assert_eq!(e.turns.may_begin(e.at, false), Some(Master::Secondary));
    }
}
