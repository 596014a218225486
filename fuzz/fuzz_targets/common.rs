//! How the fuzzer's bytes become stamped octets.
//!
//! The first byte says how many octets are pushed at once. Each further byte is a clean octet one
//! character after the last, except [`ESCAPE`]: the byte behind it says in its low five bits how the
//! octet after that is marked, and in its high three bits how long after the last it ends.

use looprig::frame::{Marks, Octet};
use looprig::time::{BitTimes, Instant};

const ESCAPE: u8 = 0xE5;

/// Half characters from one octet to the next, by the high bits of the byte behind [`ESCAPE`]:
/// a character as usual, at once, with pauses up to, at and above the limit [LL-06], much later.
const STEPS: [u32; 8] = [2, 0, 1, 3, 4, 5, 20, 2000];

/// What the bytes stand for.
pub struct Input {
    /// Octets pushed at once, at least 1.
    pub chunk: usize,
    /// The octets in the order of their times.
    pub octets: Vec<Octet>,
}

impl Input {
    /// Reads any bytes.
    pub fn of(bytes: &[u8]) -> Input {
        let half = BitTimes::characters(1).duration() / 2;
        let (mut at, mut octets) = (Instant::ZERO, Vec::new());
        let mut rest = bytes.iter().copied();
        let chunk = usize::from(rest.next().unwrap_or_default()) + 1;
        while let Some(byte) = rest.next() {
            let (control, value) = match byte {
                ESCAPE => (rest.next().unwrap_or_default(), rest.next().unwrap_or_default()),
                value => (0, value),
            };
            at += half * STEPS[usize::from(control >> 5)];
            octets.push(Octet { at, value, marks: Marks(control & 0x1F) });
        }
        Input { chunk, octets }
    }
}
