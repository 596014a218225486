//! From envelopes to characters: is a carrier there, where does a character start, what is in it.

use super::burst::Burst;
use super::character::{Character, Found, REACH, Weights, read};
use super::demodulator::Heard;
use super::detector::Detector;
use super::{INNER_HZ, MARK_HZ, SPACE_HZ};
use crate::frame::{Marks, Octet, Receiver, ReceiverConfig};
use crate::time::{Instant, Pace};
use core::f64::consts::PI;
use core::time::Duration;
use std::collections::VecDeque;

/// Windows between two looks whether a carrier is there: half a bit.
const LOOK: u64 = 4;
/// Looks over which that is judged: four bits [WV-04].
const LOOKS: usize = 8;
/// Windows of all of them.
const STEADY_WINDOWS: u64 = LOOK * LOOKS as u64;
/// Windows in a bit.
const BIT: u64 = super::BIT as u64;
/// Share of the band's energy that the tone of a 1 must have for a carrier to be there.
const STEADY: f64 = 0.75;
/// How much stronger than the noise before a carrier must be, as energy.
const ABOVE_NOISE: f64 = 2.0;
/// Share of a carrier's energy that may ring in the filters behind its end.
const RINGS: f64 = 0.003;
/// How many times its level a carrier without characters may reach before it is taken for noise before the real one.
const LOUDER: f64 = 2.5;
/// How many times its level a resting carrier must have at least to be somebody else's.
const JUMP: f64 = 1.6;
/// Windows kept behind the place that is looked at, for what is found looking back. More may still be there, which is never looked at: how
/// many depends on where the stream was cut.
const BACK: u64 = 128;
/// Windows in which the end of a carrier is looked for, back from where it was noticed.
const BACK_TO_END: u64 = 48;
/// Share of the energy that the tones of the bits explain in a first character, and in further ones.
const CLEAR_FIRST: f64 = 0.72;
const CLEAR: f64 = 0.60;
/// Share that a second tone must have beyond what noise explains, in the mean of a character, to be a second talker [WV-06].
const SECOND: f64 = 0.05;
/// The same where little is left that neither tone explains, in so many characters of a transmission: one about 10 dB weaker.
const FAINT: f64 = 0.03;
const UNEXPLAINED: f64 = 0.015;
const FAINT_CHARACTERS: u32 = 4;
/// Bits far from edges from which on a level is theirs alone.
const STEADY_BITS: f64 = 3.0;
/// The same from which on what no tone explains is theirs alone.
const REST_BITS: f64 = 12.0;
/// Share of a carrier's level from which on there is a tone where one looks back for a start bit that came too early.
const TONE: f64 = 0.35;
/// Error that stamps are good to [WV-05].
const STAMP_ERROR: Duration = Duration::from_micros(100);

/// What is followed while a carrier is there.
#[derive(Clone, Copy, Debug)]
struct On {
    burst: Burst,
    /// Amplitudes that are usual for ones and zeros.
    mark: f64,
    space: f64,
    rate: super::character::BitRate,
    /// Place from which on the tone of a 1 has been there without a character.
    rest_from: u64,
    rejected: u32,
    last_end_s: f64,
    sums: Sums,
    /// What a second tone has in characters of this talker alone, and how many of those there were.
    second: f64,
    suspects: u32,
    /// How many may have had a much weaker one.
    faint: u32,
    /// Share of its energy that was there before it came: noise, or a tone from elsewhere.
    before: f64,
    /// From when to when a second talker was there, s.
    collision: Option<(f64, f64)>,
}

/// Sums over the characters of a burst.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    mark: (f64, f64),
    space: (f64, f64),
    /// Amplitudes of zeros and ones far from edges.
    steady: [(f64, f64); 2],
    edges: (f64, f64),
    /// Energy that no tone explains, bits: of bits far from edges, and of all.
    rest: [(f64, f64); 2],
    /// Turn of each tone's phase from a bit to the next, beyond the nominal one: cosine and sine part.
    turn: [(f64, f64); 2],
}

#[derive(Clone, Debug)]
pub(super) struct Tracker {
    least: f64,
    begin: Instant,
    /// Next window to look at.
    at: u64,
    /// No carrier that is sought began before this window: another one was on.
    since: u64,
    /// Energies of the tone of a 1 and of everything, of the last looks.
    looks: VecDeque<(f64, f64)>,
    /// Energy that is there without a carrier, as square of an amplitude.
    noise: f64,
    on: Option<On>,
    /// Knows whether a frame has begun that has not ended [LI-07].
    frames: Receiver,
    lost_in_frame: bool,
    ended: bool,
}

impl Tracker {
    pub(super) fn new(least: f64, begin: Instant) -> Tracker {
        Tracker {
            least: if least.is_finite() { least.max(1e-12) } else { f64::MAX },
            begin,
            at: 0,
            since: 0,
            looks: VecDeque::with_capacity(LOOKS + 1),
            noise: 0.0,
            on: None,
            frames: Receiver::new(ReceiverConfig::for_line(Pace::Wire, STAMP_ERROR)),
            lost_in_frame: false,
            ended: false,
        }
    }

    /// Goes on as far as the detector's windows reach and lets it forget what is no longer needed.
    pub(super) fn run(&mut self, d: &mut Detector, heard: &mut VecDeque<Heard>) {
        loop {
            let went_on = match self.on.take() {
                None => self.seek(d, heard),
                Some(on) => self.follow(d, on, heard),
            };
            if !went_on {
                break;
            }
        }
        d.forget(self.at.saturating_sub(BACK));
    }

    /// The stream is over at `end_s`.
    pub(super) fn finish(&mut self, d: &mut Detector, end_s: f64, heard: &mut VecDeque<Heard>) {
        self.ended = true;
        self.run(d, heard);
        if let Some(on) = self.on.take() {
            self.end(d, on, end_s, heard);
        }
    }

    /// Time of the middle of a window, s.
    fn seconds(at: f64) -> f64 {
        (at + 3.5) / INNER_HZ
    }

    fn instant(&self, seconds: f64) -> Instant {
        self.begin + Duration::from_nanos((seconds.max(0.0) * 1e9).round() as u64)
    }

    /// One look for a carrier. Says whether there was anything to look at.
    fn seek(&mut self, d: &Detector, heard: &mut VecDeque<Heard>) -> bool {
        let end = self.at + LOOK;
        // A window's middle is four samples on.
        if d.end() < end + BIT {
            return false;
        }
        let Some(mark) = d.marks(self.at, end) else { return false };
        let mark = mark / LOOK as f64;
        // The same scale: the square of the amplitude that a tone of a 1 with this energy has.
        let all = d.energy(self.at + BIT / 2, end + BIT / 2) / LOOK as f64 * BIT as f64 / d.energy_of_one();
        self.looks.push_back((mark, all));
        self.at = end;
        if self.looks.len() < LOOKS {
            return true;
        }
        // What rises or falls is the ringing of filters before and after something louder.
        let (least, most) = self.looks.iter().fold((f64::MAX, 0f64), |(a, b), l| (a.min(l.0), b.max(l.0)));
        let (mark, all) =
            self.looks.iter().fold((0.0, 0.0), |(m, a), l| (m + l.0 / LOOKS as f64, a + l.1 / LOOKS as f64));
        self.looks.pop_front();
        let even = least > mark / 4.0 && most < mark * 2.5;
        if even && mark > self.least * self.least && mark > STEADY * all && all > ABOVE_NOISE * self.noise {
            self.looks.clear();
            let level = mark.sqrt();
            let from = self.at.saturating_sub(STEADY_WINDOWS);
            let mark = |n: u64| d.envelopes(n).map_or(0.0, |e| e.0);
            let first = self.at.saturating_sub(BACK).max(self.since);
            let below = (first..from).rev().find(|&n| mark(n) < level / 2.0);
            let onset = match below {
                Some(n) => n as f64 + ((level / 2.0 - mark(n)) / (mark(n + 1) - mark(n))).clamp(0.0, 1.0),
                // It was there from the first sample on, or for longer than one looks back.
                None if first == 0 => -3.5,
                None => first as f64,
            };
            let early = below.and_then(|n| early_edge(d, first, n, level));
            let onset = early.map_or(onset, |(onset, _)| onset);
            let on = self.instant(Tracker::seconds(onset));
            let lost_start = early.map(|(_, edge)| self.instant(Tracker::seconds(edge)));
            heard.push_back(Heard::Carrier(on));
            self.on = Some(On {
                burst: Burst { on, lost_start, ..Burst::default() },
                mark: level,
                space: level,
                rate: Default::default(),
                rest_from: from,
                rejected: 0,
                last_end_s: 0.0,
                sums: Sums { mark: (level, 1.0), ..Sums::default() },
                second: 0.0,
                suspects: 0,
                faint: 0,
                before: self.noise / (level * level),
                collision: None,
            });
            // A start bit may have begun in the last half bit.
            self.at -= BIT;
        } else {
            // Quickly down, slowly up: what is strong may be a carrier that is not yet one.
            // A single crash, however loud, is not to make it deaf for long.
            let up = ((all - self.noise) * 0.01).min(self.noise * 0.03 + self.least * self.least * 0.1);
            self.noise += if all < self.noise { (all - self.noise) * 0.2 } else { up };
        }
        true
    }

    /// Goes on to the next start edge and reads the character behind it. Says whether there was anything to look at.
    fn follow(&mut self, d: &Detector, on: On, heard: &mut VecDeque<Heard>) -> bool {
        let reach = if self.ended { 2 * BIT } else { REACH + 2 * BIT };
        let w = Weights::new(on.mark, on.space);
        let usual = (1.0 / on.mark, 1.0 / on.space);
        loop {
            let n = self.at;
            if n + reach > d.end() {
                self.on = Some(on);
                return false;
            }
            let strong = |k: u64| d.envelopes(k).map_or(0.0, |(m, s)| (m * usual.0).max(s * usual.1));
            if n.is_multiple_of(LOOK) {
                // Much stronger than what was taken for a carrier, before any character: that was noise.
                if on.burst.characters == 0 && strong(n) > LOUDER && strong(n + BIT) > LOUDER {
                    let end_s = Tracker::seconds(n as f64);
                    self.end(d, on, end_s, heard);
                    self.noise = 0.0;
                    return true;
                }
                // The same in the rest behind a character: somebody else's carrier began before this one had ended [WV-33].
                if on.burst.characters > 0 && n >= on.rest_from + BIT && Tracker::has_jumped(d, &on, n) {
                    let at = n - LOOK;
                    (self.at, self.since) = (n, at);
                    self.end(d, on, Tracker::seconds(at as f64), heard);
                    self.noise = 0.0;
                    return true;
                }
                // Both bits from here on weaker than half: it is gone.
                let quiet = (n..n + 2 * BIT).step_by(2).all(|k| strong(k) < 0.5);
                let resting = n - on.rest_from.min(n);
                if quiet || resting >= STEADY_WINDOWS && !self.is_steady(d, n) {
                    let from = n.saturating_sub(BACK_TO_END).max(on.rest_from.saturating_sub(BIT / 2));
                    let fall = (from..n + 1).rev().find(|&k| strong(k) >= 0.5);
                    let at = fall.map_or(from as f64, |k| {
                        let (a, b) = (strong(k), strong(k + 1));
                        k as f64 + if a > b { ((a - 0.5) / (a - b)).min(1.0) } else { 0.0 }
                    });
                    let end_s = Tracker::seconds(at);
                    (self.at, self.since) = (n.max(at.ceil() as u64), at as u64);
                    self.end(d, on, end_s, heard);
                    return true;
                }
            }
            let (Some(a), Some(b)) = (w.at(d, n), w.at(d, n + 1)) else {
                self.on = Some(on);
                return false;
            };
            if a > 0.0 && b <= 0.0 {
                let edge = n as f64 + a / (a - b);
                let rest = (n.saturating_sub(BIT)..=n).filter_map(|k| w.at(d, k)).fold(0.0, f64::max);
                // The mean of most of a bit: noise that dips below for a moment, or just before the real edge, is no start.
                let after = (n + 1..n + 7).filter_map(|k| w.at(d, k)).sum::<f64>() / 6.0;
                if rest > 0.05 && after < 0.0 {
                    return self.take(d, on, w, edge, heard);
                }
            }
            self.at += 1;
        }
    }

    /// Whether two bits from window `n` on are the tone of a 1 at another level than this carrier's.
    fn has_jumped(d: &Detector, on: &On, n: u64) -> bool {
        let ratios = (n..n + 2 * BIT)
            .map(|k| d.envelopes(k).map_or(0.0, |(m, s)| if m > 2.0 * s { m / on.mark } else { 0.0 }));
        let (least, most) = ratios.fold((f64::MAX, 0f64), |(a, b), r| (a.min(r), b.max(r)));
        least > JUMP || most < 1.0 / JUMP && least > 0.5
    }

    /// Whether the last four bits were mostly the tone of a 1, while nothing else was to be there.
    fn is_steady(&self, d: &Detector, n: u64) -> bool {
        let from = n.saturating_sub(STEADY_WINDOWS);
        let mark = d.marks(from, n).unwrap_or(0.0);
        let all = d.energy(from + BIT / 2, n + BIT / 2) * BIT as f64 / d.energy_of_one();
        mark > 0.5 * all && mark > 0.2 * (n - from) as f64 * self.on_floor()
    }

    fn on_floor(&self) -> f64 {
        self.least * self.least
    }

    /// Reads the character that starts at `edge`.
    fn take(&mut self, d: &Detector, mut on: On, w: Weights, edge: f64, heard: &mut VecDeque<Heard>) -> bool {
        let usual = d.energy_of_one() * on.mark.min(on.space).powi(2);
        let Some(found) = read(d, edge, w, on.rate, usual) else {
            if self.ended {
                self.at = edge.ceil() as u64 + 1;
                self.on = Some(on);
                return true;
            }
            self.on = Some(on);
            return false;
        };
        let suspect = found.second() > SECOND + on.second + on.before;
        let clear = found.explained() >= if on.burst.characters == 0 { CLEAR_FIRST } else { CLEAR };
        let begun = on.burst.characters > 0 || found.stop;
        if found.weak >= 3 || !(clear && begun || suspect && on.burst.characters > 0) {
            on.rejected += 1;
            self.at = edge.ceil() as u64 + BIT / 2;
            on.rest_from = self.at;
            if found.weak >= 3 || on.rejected >= 2 {
                let at = found.first_weak.map_or(edge, |k| found.middle(k) - found.bit / 2.0);
                let end_s = Tracker::seconds(at);
                (self.at, self.since) = (self.at.max(at.ceil() as u64), at.max(0.0) as u64);
                self.end(d, on, end_s, heard);
            } else {
                self.on = Some(on);
            }
            return true;
        }
        on.rejected = 0;
        self.account(d, &mut on, &found, suspect);
        let octet = self.octet(&found);
        let begin_s = Tracker::seconds(found.start);
        heard.push_back(Heard::Character(Character {
            octet,
            begin: self.instant(begin_s),
            bit_s: found.bit / INNER_HZ,
            mark: found.sum.mark,
            space: found.sum.space,
            jitter_bits: found.jitter() / found.bit,
            explained: found.explained(),
        }));
        // Not only from its middle on: what follows at once may be a bit early.
        self.at = (found.middle(10) - 2.5).floor().max(edge + 1.0) as u64;
        on.rest_from = found.end().ceil() as u64;
        self.on = Some(on);
        true
    }

    /// The octet with its marks.
    fn octet(&mut self, found: &Found) -> Octet {
        let mut marks = Marks::NONE;
        if !found.parity_ok {
            marks |= Marks::PARITY;
        }
        if !found.stop {
            marks |= Marks::FRAMING;
        }
        let at = self.instant(Tracker::seconds(found.end()));
        self.frames.handle_timeout(at);
        while self.frames.next().is_some() {}
        if core::mem::take(&mut self.lost_in_frame) && self.frames.deadline().is_some() {
            marks |= Marks::CARRIER_LOST;
        }
        let octet = Octet { at, value: found.value, marks };
        self.frames.push(&[octet]);
        while self.frames.next().is_some() {}
        octet
    }

    /// Adds a character to what is known of its burst.
    fn account(&mut self, d: &Detector, on: &mut On, found: &Found, suspect: bool) {
        let start_s = Tracker::seconds(found.start);
        let end_s = Tracker::seconds(found.end());
        let burst = &mut on.burst;
        if burst.characters > 0 {
            let gap = (start_s - on.last_end_s) * INNER_HZ / found.bit;
            burst.longest_gap_bits = burst.longest_gap_bits.max(gap);
            burst.gaps += u32::from(gap >= 0.25);
        } else {
            burst.first_start = Some(self.instant(start_s));
        }
        burst.characters = burst.characters.saturating_add(1);
        burst.parity_errors += u32::from(!found.parity_ok);
        burst.framing_errors += u32::from(!found.stop);
        burst.last_end = Some(self.instant(end_s));
        on.last_end_s = end_s;
        let faint = found.second() > FAINT + on.before && found.unexplained() < UNEXPLAINED;
        if suspect || faint {
            let from = on.collision.map_or(start_s, |c| c.0);
            on.collision = Some((from, end_s));
            on.faint += 1;
        }
        if suspect {
            on.suspects += 1;
            return;
        }
        on.second += (found.second().clamp(0.0, 0.2) - on.second) / 8.0;
        on.rate = found.rate;
        let zeros = 11 - found.ones;
        // Of the last few characters: a level that changes slowly is followed.
        let follow = |usual: &mut f64, now: f64, n: u32| *usual += (now - *usual) / f64::from(n.min(8));
        if found.ones > 0 {
            follow(&mut on.mark, found.sum.mark, burst.characters + 1);
        }
        follow(&mut on.space, found.sum.space, burst.characters);
        // Farther apart than 12 dB they are not taken apart: what leaks from one to the other would count as a tone.
        on.space = on.space.clamp(on.mark / 4.0, on.mark * 4.0);
        let sums = &mut on.sums;
        let add = |s: &mut (f64, f64), x: f64, n: f64| *s = (s.0 + x, s.1 + n);
        add(&mut sums.mark, found.sum.mark * f64::from(found.ones), f64::from(found.ones));
        add(&mut sums.space, found.sum.space * f64::from(zeros), f64::from(zeros));
        for (sum, found) in sums.steady.iter_mut().zip(found.steady) {
            add(sum, found.0, found.1);
        }
        add(&mut sums.edges, found.edge_error, found.edges_free as f64);
        add(&mut sums.rest[0], found.rest.0, found.rest.1);
        add(&mut sums.rest[1], found.sum.all - found.sum.one, 11.0);
        for k in 0..10 {
            let pair = found.bits >> k & 3;
            let tone = match pair {
                3 => 0,
                0 => 1,
                _ => continue,
            };
            let n = found.middle(k).round().max(0.0) as u64;
            if let (Some(p), Some(q)) = (d.phase(tone, n), d.phase(tone, n + BIT)) {
                // Parts of cosine and sine are those of the complex amplitude and of minus it.
                let turn = &mut sums.turn[tone];
                turn.0 += p.0 * q.0 + p.1 * q.1;
                turn.1 += p.1 * q.0 - p.0 * q.1;
            }
        }
    }

    /// The carrier of `on` ended.
    fn end(&mut self, d: &Detector, on: On, end_s: f64, heard: &mut VecDeque<Heard>) {
        self.looks.clear();
        let (mut burst, sums) = (on.burst, on.sums);
        let end_s = end_s.max(on.last_end_s.min(Tracker::seconds(self.at as f64)));
        burst.off = self.instant(end_s).max(burst.on);
        let mean = |s: (f64, f64)| if s.1 > 0.0 { s.0 / s.1 } else { 0.0 };
        // Near an edge the filters take some of the amplitude: bits between two of their kind tell it best.
        let level = |steady: (f64, f64), all| mean(if steady.1 >= STEADY_BITS { steady } else { all });
        burst.space = level(sums.steady[0], sums.space);
        burst.mark = level(sums.steady[1], sums.mark);
        burst.jitter_bits = mean(sums.edges).max(0.0).sqrt() / BIT as f64;
        burst.bit_rate = on.rate.measured().map(|w| INNER_HZ / w);
        let hz = |tone: usize, nominal: f64| {
            let (re, im) = sums.turn[tone];
            // From a window to that eight later the nominal tone turns by whole turns and this rest.
            let nominal_turn = 2.0 * PI * (nominal * BIT as f64 / INNER_HZ).fract();
            let off = (im.atan2(re) - nominal_turn).rem_euclid(2.0 * PI);
            let off = if off > PI { off - 2.0 * PI } else { off };
            (re != 0.0 || im != 0.0).then(|| nominal + off / (2.0 * PI) * INNER_HZ / BIT as f64)
        };
        burst.mark_hz = hz(0, MARK_HZ);
        burst.space_hz = hz(1, SPACE_HZ);
        if burst.characters > 0 && sums.rest[1].1 > 0.0 {
            let [all, row] = d.noise();
            // At an edge the louder tone leaves something that is no noise, and much of it beside a weak one [WV-32].
            let rest = sums.rest[usize::from(sums.rest[0].1 < REST_BITS)];
            let density = mean(rest) / (all - 2.0 * row);
            let weaker = if burst.space > 0.0 { burst.mark.min(burst.space) } else { burst.mark };
            let ratio = weaker * weaker / 2.0 / 1200.0 / density.max(f64::MIN_POSITIVE);
            burst.eb_n0_db = Some(10.0 * ratio.log10());
        }
        if let Some((from, to)) = on.collision
            && (on.suspects >= 2 || on.suspects == burst.characters || on.faint >= FAINT_CHARACTERS)
        {
            burst.collided = true;
            heard.push_back(Heard::Collision(self.instant(from), self.instant(to)));
        }
        self.lost_in_frame = true;
        self.noise = self.noise.max(on.mark * on.mark * RINGS);
        heard.push_back(Heard::End(burst));
    }
}

/// [WV-16]: where a carrier of this level came so late that its first start bit was over before it was noticed: the beginning of the carrier and of that bit,
/// in windows. `first` is the first window to look at, `n` the last before the tone of a 1 that was noticed.
fn early_edge(d: &Detector, first: u64, n: u64, level: f64) -> Option<(f64, f64)> {
    let tones = |k: u64| d.envelopes(k).unwrap_or((0.0, 0.0));
    let least = TONE * level;
    // The start bit: the tone of a 0 alone, for a bit and no longer.
    let ends =
        (n.saturating_sub(BIT / 2).max(first)..=n).rev().find(|&k| tones(k).1 > tones(k).0.max(least))?;
    let begins = (first..ends).rev().find(|&k| tones(k).1 <= tones(k).0.max(least)).map_or(first, |k| k + 1);
    if !(BIT / 2 + 1..=BIT * 3 / 2).contains(&(ends + 1 - begins)) {
        return None;
    }
    // Before it the tone of a 1 for less than the time that noticing takes, and before that nothing.
    let both = |k: u64| tones(k).0.max(tones(k).1);
    let silent = (first..begins).rev().find(|&k| both(k) < least);
    let onset = match silent {
        Some(k) => {
            let (a, b) = (both(k), both(k + 1));
            k as f64 + ((level / 2.0 - a) / (b - a)).clamp(0.0, 2.0)
        }
        None if first == 0 => -3.5,
        None => return None,
    };
    let lead = begins as f64 - onset;
    (lead < (STEADY_WINDOWS + BIT) as f64).then(|| (onset, (begins as f64 - 0.5).max(onset)))
}
