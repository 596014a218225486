//! One character found in the envelopes, timed by its own edges [WV-05].

use super::detector::Detector;
use super::tones::Tones;
use crate::frame::Octet;
use crate::time::Instant;

/// Bits of a character: start, eight of data, parity, stop [FR-13].
pub(super) const BITS: usize = 11;
/// Windows that a character may reach beyond its start edge, with those that its last edge needs.
pub(super) const REACH: u64 = 104;
/// Largest deviation of a talker's bit from the nominal eight windows that is followed, in windows: 3.5 %.
const MOST_OFF: f64 = 0.28;
/// How sure a bit rate is before anything is known: (error of an edge, 0.5 window, over 1 % of a bit) squared.
const PRIOR: f64 = 39.0;
/// An edge that lies farther from where it should be is not one of this character, in bits.
const FAR: f64 = 0.4;

/// An octet with what was measured of its wave.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Character {
    /// What the frame receiver takes; its time is the end of the stop bit.
    pub octet: Octet,
    /// Beginning of the start bit.
    pub begin: Instant,
    /// Length of a bit as its talker makes it, s.
    pub bit_s: f64,
    /// Mean amplitude of its ones, in the unit of the samples; half of peak to peak.
    pub mark: f64,
    /// The same of its zeros.
    pub space: f64,
    /// Spread of its edges (rms) about even bits, in bits; 0 where there are fewer than three.
    pub jitter_bits: f64,
    /// Share of the energy in the band that the tone of each bit explains, 0 to 1.
    pub explained: f64,
}

/// The bit rate of a talker, learnt from edges.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct BitRate {
    sxx: f64,
    sxy: f64,
}

impl BitRate {
    /// Windows in a bit.
    pub(super) fn windows(self) -> f64 {
        8.0 + (self.sxy / (self.sxx + PRIOR)).clamp(-MOST_OFF, MOST_OFF)
    }

    /// The same without what was assumed before, once edges have told enough.
    pub(super) fn measured(self) -> Option<f64> {
        (self.sxx > PRIOR).then(|| 8.0 + self.sxy / self.sxx)
    }

    /// With the edges of one more character. Falling and rising ones are each seen against their own mean: a receiver in whose eyes
    /// zeros are longer or shorter than they are moves all of a kind alike.
    fn with(self, edges: &[Edge]) -> BitRate {
        let mut out = self;
        for kind in [false, true] {
            let some = || edges.iter().filter(|e| e.rises == kind);
            let n = some().count() as f64;
            let (k, y) = some().fold((0.0, 0.0), |(k, y), e| (k + e.bit / n, y + (e.at - 8.0 * e.bit) / n));
            for e in some() {
                out.sxx += (e.bit - k).powi(2);
                out.sxy += (e.bit - k) * (e.at - 8.0 * e.bit - y);
            }
        }
        out
    }
}

/// A change from one tone to the other inside a character.
#[derive(Clone, Copy, Debug, Default)]
struct Edge {
    /// Number of the bit that begins there.
    bit: f64,
    /// Where it was seen, in windows.
    at: f64,
    /// From a 0 to a 1.
    rises: bool,
}

/// What is compared. With amplitudes `a` and `b` that are usual for ones and zeros, and noise that is the same for both tones, a 1 is likelier where
/// `a m - b s > (a2 - b2)/2` (the logarithm of a Rice density, for signals well above the noise); scaled so that the middle of a bit is about 1
/// or -1. An edge lies where it passes 0, whatever the twist.
#[derive(Clone, Copy, Debug)]
pub(super) struct Weights {
    mark: f64,
    space: f64,
    offset: f64,
}

impl Weights {
    pub(super) fn new(mark: f64, space: f64) -> Weights {
        let norm = (mark * mark + space * space) / 2.0;
        Weights { mark: mark / norm, space: space / norm, offset: (mark * mark - space * space) / 2.0 / norm }
    }

    /// Above zero for a 1; about 1 or -1 in the middle of a bit.
    fn of(self, (mark, space): (f64, f64)) -> f64 {
        mark * self.mark - space * self.space - self.offset
    }

    pub(super) fn at(self, d: &Detector, n: u64) -> Option<f64> {
        d.envelopes(n).map(|x| self.of(x))
    }

    fn between(self, d: &Detector, at: f64) -> Option<f64> {
        d.between(at).map(|x| self.of(x))
    }
}

/// A character as it was found; places are numbers of windows.
#[derive(Clone, Copy, Debug)]
pub(super) struct Found {
    pub(super) value: u8,
    pub(super) parity_ok: bool,
    pub(super) stop: bool,
    /// Where the start bit begins.
    pub(super) start: f64,
    /// Windows in a bit.
    pub(super) bit: f64,
    pub(super) rate: BitRate,
    /// Sum of what was found in the middle of all bits; its amplitudes are means over ones and over zeros.
    pub(super) sum: Tones,
    pub(super) ones: u16,
    /// Sums of the amplitudes of zeros and of ones that stand between two of their kind, and how many there are: no edge is near those.
    pub(super) steady: [(f64, f64); 2],
    /// Sum of the energy that the bits' own tones leave of such bits, and how many there are.
    pub(super) rest: (f64, f64),
    /// Sum of the squares of what the edges are off, windows, and how many there are beyond those that timing needs.
    pub(super) edge_error: f64,
    pub(super) edges_free: usize,
    /// Bits, the stop bit left out, that have less than a fifth of the energy that is usual for the weaker tone; the first of them.
    pub(super) weak: usize,
    pub(super) first_weak: Option<usize>,
    /// Which bits were ones, start bit at position 0.
    pub(super) bits: u16,
}

impl Found {
    /// Where the stop bit ends.
    pub(super) fn end(&self) -> f64 {
        self.start + BITS as f64 * self.bit
    }

    /// Middle of a bit.
    pub(super) fn middle(&self, bit: usize) -> f64 {
        self.start + (bit as f64 + 0.5) * self.bit
    }

    /// Spread of the edges, windows.
    pub(super) fn jitter(&self) -> f64 {
        if self.edges_free == 0 { 0.0 } else { (self.edge_error / self.edges_free as f64).sqrt() }
    }

    /// Share of the energy that one tone in each bit explains.
    pub(super) fn explained(&self) -> f64 {
        if self.sum.all > 0.0 { self.sum.one / self.sum.all } else { 0.0 }
    }

    /// Share of the energy that neither tone explains.
    pub(super) fn unexplained(&self) -> f64 {
        if self.sum.all > 0.0 { 1.0 - self.sum.both / self.sum.all } else { 0.0 }
    }

    /// Share that the other tone explains beyond it, less what noise that neither explains lets expect.
    pub(super) fn second(&self) -> f64 {
        if self.sum.all > 0.0 {
            (self.sum.both - self.sum.one - 3.0 * (self.sum.all - self.sum.both)) / self.sum.all
        } else {
            0.0
        }
    }
}

/// Reads the character whose start edge is at `edge`. `usual` is the energy of a window of the weaker tone. `None` where not all of it is there yet.
pub(super) fn read(d: &Detector, edge: f64, w: Weights, rate: BitRate, usual: f64) -> Option<Found> {
    let mut edges = [Edge::default(); BITS];
    let mut n = 1;
    edges[0].at = edge;
    // First follow the edges as they come.
    let (mut start, bit) = (edge, rate.windows());
    let mut last = false;
    for k in 1..BITS {
        let one = w.between(d, start + (k as f64 + 0.5) * bit)? > 0.0;
        if one != last {
            let expected = start + k as f64 * bit;
            if let Some(at) = crossing(d, w, expected, FAR * bit, one) {
                edges[n] = Edge { bit: k as f64, at, rises: one };
                n += 1;
                start += (at - expected) * (1.0 / n as f64).max(0.25);
            }
        }
        last = one;
    }
    // Then all of them together say where the bits are.
    let edges = &edges[..n];
    let rate = rate.with(edges);
    let bit = rate.windows();
    let off = |kind: bool| {
        let some = edges.iter().filter(|e| e.rises == kind);
        let n = some.clone().count();
        (n > 0).then(|| some.map(|e| e.at - bit * e.bit).sum::<f64>() / n as f64)
    };
    let (falls, rises) = (off(false).unwrap_or(edge), off(true));
    let start = rises.map_or(falls, |r| (r + falls) / 2.0);
    let bias = rises.map_or(0.0, |r| (r - falls) / 2.0);
    let edge_error =
        edges.iter().map(|e| (e.at - bit * e.bit - start - if e.rises { bias } else { -bias }).powi(2)).sum();
    let mut found = Found {
        value: 0,
        parity_ok: false,
        stop: true,
        start,
        bit,
        rate,
        sum: Tones::default(),
        ones: 0,
        steady: [(0.0, 0.0); 2],
        rest: (0.0, 0.0),
        edge_error,
        edges_free: n.saturating_sub(3),
        weak: 0,
        first_weak: None,
        bits: 0,
    };
    let mut sums = [0.0; 2];
    let mut bits = [(0.0, 0.0); BITS];
    for (k, (amplitude, rest)) in bits.iter_mut().enumerate() {
        let at = found.middle(k);
        let one = w.between(d, at)? > 0.0;
        let t = d.tones(at)?;
        if one {
            found.bits |= 1 << k;
            found.ones += 1;
        }
        *amplitude = if one { t.mark } else { t.space };
        *rest = t.all - t.one;
        sums[usize::from(one)] += *amplitude;
        found.sum.one += t.one;
        found.sum.both += t.both;
        found.sum.all += t.all;
        if t.all < 0.2 * usual {
            if k + 1 == BITS {
                // A carrier that went with the last bit leaves the line at rest, and that reads as a 1.
                found.bits |= 1 << k;
            } else {
                found.weak += 1;
                found.first_weak = found.first_weak.or(Some(k));
            }
        }
    }
    found.sum.mark = sums[1] / f64::from(found.ones.max(1));
    found.sum.space = sums[0] / (BITS as f64 - f64::from(found.ones)).max(1.0);
    for (k, (amplitude, rest)) in bits.into_iter().enumerate().take(BITS - 1).skip(1) {
        let one = match found.bits >> (k - 1) & 7 {
            0 => 0,
            7 => 1,
            _ => continue,
        };
        found.steady[one].0 += amplitude;
        found.steady[one].1 += 1.0;
        found.rest = (found.rest.0 + rest, found.rest.1 + 1.0);
    }
    found.value = (found.bits >> 1) as u8;
    found.parity_ok = (found.bits >> 1 & 0x1FF).count_ones() % 2 == 1;
    found.stop = found.bits >> 10 & 1 == 1;
    Some(found)
}

/// The change to a 1 (`rises`) or to a 0 that is nearest to `expected`, not farther than `far`.
fn crossing(d: &Detector, w: Weights, expected: f64, far: f64, rises: bool) -> Option<f64> {
    let sign = if rises { 1.0 } else { -1.0 };
    let from = (expected - far).floor().max(0.0) as u64;
    let to = (expected + far).ceil() as u64;
    let mut best: Option<f64> = None;
    let mut before = w.at(d, from)? * sign;
    for n in from..to {
        let after = w.at(d, n + 1)? * sign;
        if before <= 0.0 && after > 0.0 {
            let at = n as f64 + before / (before - after);
            let nearer = best.is_none_or(|b| (at - expected).abs() < (b - expected).abs());
            if nearer && (at - expected).abs() <= far {
                best = Some(at);
            }
        }
        before = after;
    }
    best
}
