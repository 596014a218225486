//! From octets to samples [WV-01].

use super::{MARK_HZ, Progress, RateError, SPACE_HZ, checked_rate};
use crate::frame::RawFrame;
use crate::time::{BIT_RATE, Instant};
use core::f64::consts::PI;
use core::time::Duration;

/// How somebody talks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Talker {
    /// Amplitude of the tone of a 1, half of peak to peak.
    pub mark: f64,
    /// Amplitude of the tone of a 0.
    pub space: f64,
    /// Both tones are this many times what they should be.
    pub tones: f64,
    /// The bit rate is this many times what it should be.
    pub rate: f64,
    /// Carrier before the first start bit.
    pub lead: Duration,
    /// Carrier after the last stop bit.
    pub tail: Duration,
    /// Time in which the carrier rises from nothing, and falls to nothing, both within lead and tail.
    pub ramp: Duration,
    /// Phase of the tone where the carrier begins, in turns.
    pub phase: f64,
}

impl Talker {
    /// One that is right: `amplitude` for both tones, carrier 5 bits before and 3 after [WV-09].
    pub fn of(amplitude: f64) -> Talker {
        let bits = |n: u32| Duration::from_nanos(u64::from(n) * 1_000_000_000 / BIT_RATE);
        Talker {
            mark: amplitude,
            space: amplitude,
            tones: 1.0,
            rate: 1.0,
            lead: bits(5),
            tail: bits(3),
            ramp: Duration::ZERO,
            phase: 0.0,
        }
    }
}

/// One transmission: a carrier with characters in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Transmission {
    /// Beginning of the carrier.
    pub begin: Instant,
    /// The characters, preambles included, with wrong parity and pauses where they have them.
    pub frame: RawFrame,
    /// Who says it.
    pub talker: Talker,
}

impl Transmission {
    /// The transmission whose first start bit begins at `start`; its carrier begins before, but not before zero.
    pub fn starting(start: Instant, frame: RawFrame, talker: Talker) -> Transmission {
        Transmission { begin: start.before(talker.lead), frame, talker }
    }
}

/// A transmission that is being made.
#[derive(Clone, Debug)]
struct Voice {
    what: Transmission,
    /// Piece of constant tone that is going on: end, turns of phase at its beginning, its beginning, s; its tone.
    from_s: f64,
    to_s: f64,
    turns: f64,
    one: bool,
    next: Next,
    begin_s: f64,
    /// When the carrier ends, once that is known.
    end_s: f64,
}

/// What comes after the piece that is going on.
#[derive(Clone, Copy, Debug)]
enum Next {
    /// The pause before a character.
    Gap(usize),
    /// A bit of a character, the start bit being 0.
    Bit(usize, u32),
    Tail,
    Over,
}

impl Voice {
    fn new(what: &Transmission) -> Voice {
        let begin_s = what.begin.as_nanos() as f64 / 1e9;
        Voice {
            from_s: begin_s,
            to_s: begin_s + what.talker.lead.as_secs_f64(),
            turns: what.talker.phase,
            one: true,
            next: Next::Gap(0),
            begin_s,
            end_s: f64::INFINITY,
            what: what.clone(),
        }
    }

    fn hz(&self) -> f64 {
        (if self.one { MARK_HZ } else { SPACE_HZ }) * self.what.talker.tones
    }

    /// Goes on to the next piece; false when there is none.
    fn advance(&mut self) -> bool {
        self.turns += self.hz() * (self.to_s - self.from_s);
        self.turns -= self.turns.floor();
        self.from_s = self.to_s;
        let bit_s = 1.0 / (BIT_RATE as f64 * self.what.talker.rate);
        let octets = &self.what.frame.octets;
        let (one, length, next) = match self.next {
            Next::Gap(n) => match octets.get(n) {
                Some(o) => (true, o.gap_before.as_secs_f64(), Next::Bit(n, 0)),
                None => (true, 0.0, Next::Tail),
            },
            Next::Bit(n, bit) => {
                let Some(o) = octets.get(n) else { return false };
                let parity = (o.value.count_ones().is_multiple_of(2)) != o.bad_parity;
                let one = match bit {
                    0 => false,
                    1..=8 => o.value >> (bit - 1) & 1 == 1,
                    9 => parity,
                    _ => true,
                };
                let next = if bit == 10 { Next::Gap(n + 1) } else { Next::Bit(n, bit + 1) };
                (one, bit_s, next)
            }
            Next::Tail => {
                self.end_s = self.from_s + self.what.talker.tail.as_secs_f64();
                (true, self.what.talker.tail.as_secs_f64(), Next::Over)
            }
            Next::Over => return false,
        };
        self.one = one;
        self.to_s = self.from_s + length;
        self.next = next;
        true
    }

    /// Its value at `t` seconds; `None` once it is over. Times may only grow.
    fn at(&mut self, t: f64) -> Option<f64> {
        while t >= self.to_s {
            if !self.advance() {
                return None;
            }
        }
        let ramp_s = self.what.talker.ramp.as_secs_f64();
        let talker = &self.what.talker;
        let level = if self.one { talker.mark } else { talker.space };
        let part = if ramp_s > 0.0 {
            ((t - self.begin_s) / ramp_s).min((self.end_s - t) / ramp_s).clamp(0.0, 1.0)
        } else {
            1.0
        };
        Some(level * part * (2.0 * PI * (self.turns + self.hz() * (t - self.from_s))).sin())
    }
}

/// Makes the samples of a loop on which several talk, together or one after the other.
///
/// ```
/// use looprig::frame::RawFrame;
/// use looprig::time::Instant;
/// use looprig::wave::{Modulator, Talker, Transmission};
/// let mut m = Modulator::new(48_000.0)?;
/// let frame = RawFrame { octets: vec![0xFF.into(); 3] };
/// let said = [Transmission { begin: Instant::ZERO, frame, talker: Talker::of(0.5) }];
/// let mut samples = [0.0; 4800];
/// let progress = m.run(&said, &mut samples);
/// assert_eq!((progress.consumed, progress.produced), (1, 4800));
/// # Ok::<(), looprig::wave::RateError>(())
/// ```
#[derive(Clone, Debug)]
pub struct Modulator {
    rate_hz: f64,
    voices: Vec<Voice>,
    next: u64,
}

impl Modulator {
    /// Samples at `rate_hz`; the first is at time zero.
    ///
    /// # Errors
    /// A rate that does not hold the tones.
    pub fn new(rate_hz: f64) -> Result<Modulator, RateError> {
        Ok(Modulator { rate_hz: checked_rate(rate_hz)?, voices: Vec::new(), next: 0 })
    }

    /// Fills `out` with the next samples. Of `said`, which is in the order of beginnings, it takes those that begin within them; one that should have begun before begins at
    /// its own time all the same, and is heard from here on.
    pub fn run(&mut self, said: &[Transmission], out: &mut [f32]) -> Progress {
        let time = |n: u64| n as f64 / self.rate_hz;
        let end_s = time(self.next + out.len() as u64);
        let starts = |t: &&Transmission| t.begin.as_nanos() as f64 / 1e9 < end_s;
        let consumed = said.iter().take_while(starts).count();
        self.voices.extend(said[..consumed].iter().map(Voice::new));
        for (k, sample) in out.iter_mut().enumerate() {
            let t = time(self.next + k as u64);
            let mut sum = 0.0;
            let mut over = false;
            for v in &mut self.voices {
                if t < v.begin_s {
                    continue;
                }
                match v.at(t) {
                    Some(x) => sum += x,
                    None => over = true,
                }
            }
            if over {
                self.voices.retain(|v| !matches!(v.next, Next::Over) || t < v.to_s);
            }
            *sample = sum as f32;
        }
        self.next += out.len() as u64;
        Progress { consumed, produced: out.len() }
    }

    /// Whether nobody is talking now, so that only silence follows what was taken.
    pub fn is_silent(&self) -> bool {
        self.voices.is_empty()
    }
}
