//! Flipped bits in a frame on the wire, and what the receiver makes of each pattern of them.
//!
//! A frame is sent after five clean preambles with silence behind it. Bits are flipped from the delimiter to the
//! check byte: the eight data bits of a character and, where the line sees parity, the parity bit as well. Start and
//! stop bits are left alone: an error there moves the characters behind it or marks its own.

use looprig::frame::{Delimiter, Marks, Octet, Receiver, ReceiverConfig, Reception};
use looprig::time::{BitTimes, Instant, Pace};
use std::time::Duration;

/// Preambles in front, as a master that does not know better sends them [FR-02].
const PREAMBLES: usize = 5;

/// What the line tells of a character.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wire {
    /// Its data bits and whether its parity is right: nine bits that may flip.
    Parity,
    /// Its data bits alone, as a pseudo-terminal [LI-02] and TCP [LI-12] do: eight bits that may flip.
    Bare,
}

impl Wire {
    /// Bits of a character that may flip.
    pub const fn bits(self) -> usize {
        match self {
            Wire::Parity => 9,
            Wire::Bare => 8,
        }
    }

    /// Name in the table.
    pub const fn name(self) -> &'static str {
        match self {
            Wire::Parity => "seen",
            Wire::Bare => "not seen",
        }
    }

    fn config(self) -> ReceiverConfig {
        let stamp_error = match self {
            Wire::Parity => Duration::ZERO,
            // Too coarse to tell a pause from a late read [LI-04].
            Wire::Bare => Duration::from_millis(20),
        };
        ReceiverConfig::for_line(Pace::Wire, stamp_error)
    }
}

/// What became of a number of patterns.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Patterns told about.
    pub patterns: u64,
    /// Times that the receiver ran for them.
    pub runs: u64,
    /// Good frames with the delimiter and byte count that were sent.
    pub values: u64,
    /// Good frames with another delimiter but fields and length as sent: type or physical layer is wrong.
    pub delimiter: u64,
    /// Good frames whose address form, expansion octets or byte count is another.
    pub length: u64,
    /// Good frames that begin elsewhere than at the delimiter sent.
    pub elsewhere: u64,
    /// Those of all these behind whose check byte octets follow without a pause.
    pub followed: u64,
}

impl Tally {
    /// All good frames that were not sent.
    pub fn undetected(&self) -> u64 {
        self.values + self.delimiter + self.length + self.elsewhere
    }

    /// Adds what another tally counted.
    pub fn add(&mut self, o: &Tally) {
        self.patterns += o.patterns;
        self.runs += o.runs;
        self.values += o.values;
        self.delimiter += o.delimiter;
        self.length += o.length;
        self.elsewhere += o.elsewhere;
        self.followed += o.followed;
    }
}

fn distance_to_delimiter(octet: u8) -> u32 {
    let kinds = (0..=255u8).filter(|&d| Delimiter::parse(d).is_some());
    kinds.map(|d| (d ^ octet).count_ones()).min().expect("there are delimiters")
}

/// Fewest flipped data bits after which two FF and a delimiter stand anywhere but at the sent delimiter [FR-10].
pub fn flips_to_start_elsewhere(octets: &[u8]) -> u32 {
    let zeros = |o: u8| o.count_zeros();
    // The sent delimiter turned into one more preamble, and two octets of the frame behind which a third starts one.
    let behind = zeros(octets[0]) + distance_to_delimiter(octets[1]);
    let inside = octets.windows(3).map(|w| zeros(w[0]) + zeros(w[1]) + distance_to_delimiter(w[2]));
    inside.fold(behind, u32::min)
}

/// One frame on a line of one kind, with the receiver that hears it.
pub struct Bench {
    wire: Wire,
    receiver: Receiver,
    octets: Vec<Octet>,
    silent_from: Instant,
    delimiter: u8,
    byte_count_at: usize,
    byte_count: u8,
    elsewhere: u32,
}

impl Bench {
    /// For the octets of a legal frame from delimiter to check byte.
    pub fn new(wire: Wire, frame: &[u8]) -> Bench {
        let character = BitTimes::characters(1).duration();
        let mut at = Instant::ZERO;
        let mut one = |&value: &u8| {
            at += character;
            Octet::clean(at, value)
        };
        let octets: Vec<Octet> = [&[0xFF; PREAMBLES][..], frame].concat().iter().map(&mut one).collect();
        let byte_count_at = Delimiter::parse(frame[0]).expect("a delimiter").header_len() - 1;
        let mut bench = Bench {
            wire,
            receiver: Receiver::new(wire.config()),
            silent_from: at + Duration::from_secs(10),
            octets,
            delimiter: frame[0],
            byte_count_at,
            byte_count: frame[byte_count_at],
            elsewhere: flips_to_start_elsewhere(frame),
        };
        let mut clean = Tally::default();
        bench.listen(1, &mut clean);
        assert_eq!((clean.undetected(), clean.values), (1, 1), "without flips the frame itself is received");
        bench
    }

    fn characters(&self) -> usize {
        self.octets.len() - PREAMBLES
    }

    /// Flips bits of one character, the parity bit being mask 100; the same once more undoes it.
    fn flip(&mut self, character: usize, bits: u16) {
        let octet = &mut self.octets[PREAMBLES + character];
        octet.value ^= bits as u8;
        if self.wire == Wire::Parity && bits.count_ones() % 2 == 1 {
            octet.marks = Marks(octet.marks.0 ^ Marks::PARITY.0);
        }
    }

    /// Sends what stands there now, and counts it `times` times.
    fn listen(&mut self, times: u64, tally: &mut Tally) {
        tally.patterns += times;
        tally.runs += 1;
        self.receiver.push(&self.octets);
        self.receiver.handle_timeout(self.silent_from);
        let (mut from, mut first) = (0, true);
        while let Some(reception) = self.receiver.next() {
            let upto = from + reception.octets().len();
            if let Reception::Good(good) = &reception
                && first
            {
                first = false;
                let count = match from + good.preambles == PREAMBLES {
                    false => &mut tally.elsewhere,
                    true => {
                        let delimiter = good.frame.delimiter();
                        let same_place = delimiter.header_len() == self.byte_count_at + 1;
                        let same_count = good.frame.byte_count() == self.byte_count;
                        if delimiter.octet() == self.delimiter && same_count {
                            &mut tally.values
                        } else if same_place && same_count {
                            &mut tally.delimiter
                        } else {
                            &mut tally.length
                        }
                    }
                };
                *count += times;
                if upto < self.octets.len() {
                    tally.followed += times;
                }
            }
            from = upto;
        }
        assert_eq!(from, self.octets.len(), "the receiver's account closes");
    }

    /// Every pattern of `weight` flipped bits, each sent by itself.
    pub fn each(&mut self, weight: usize) -> Tally {
        let mut tally = Tally::default();
        self.each_from(0, weight, false, &mut |bench, _| bench.listen(1, &mut tally));
        tally
    }

    /// Every pattern of `weight` flipped bits; those that are certain to be alike, or to be noticed, are not sent one
    /// by one.
    pub fn all(&mut self, weight: usize) -> Tally {
        let mut tally = Tally::default();
        match self.wire {
            Wire::Parity => self.by_character(0, weight, 1, &mut tally),
            Wire::Bare => self.by_check_byte(weight, &mut tally),
        }
        tally
    }

    /// Patterns that differ only in which bits of a marked character are flipped are sent once.
    ///
    /// An odd number of flips in a character breaks its parity, and the receiver marks it. A marked octet is no
    /// preamble and no delimiter [FR-10]; in the rest of the header it ends the reception, behind it it spoils the
    /// frame [FR-11]. So no good frame holds one, and whether the octets around it make a good frame does not
    /// depend on its value: all C(9, k) patterns of an odd number k have the same good frames. With an even number
    /// the character has another value and no mark, and each pattern is sent.
    fn by_character(&mut self, from: usize, left: usize, times: u64, tally: &mut Tally) {
        if left == 0 {
            return self.listen(times, tally);
        }
        for character in from..self.characters() {
            for flips in 1..=left.min(9) {
                let patterns = (1..1 << 9u16).filter(|p: &u16| p.count_ones() as usize == flips);
                if flips % 2 == 1 {
                    let alike = patterns.count() as u64;
                    let one = (1 << flips) - 1;
                    self.flip(character, one);
                    self.by_character(character + 1, left - flips, times * alike, tally);
                    self.flip(character, one);
                } else {
                    for p in patterns {
                        self.flip(character, p);
                        self.by_character(character + 1, left - flips, times, tally);
                        self.flip(character, p);
                    }
                }
            }
        }
    }

    /// Patterns that leave delimiter and byte count alone and do not cancel in every column are not sent.
    ///
    /// With delimiter and byte count as sent the frame that began ends where it should. All its octets together had
    /// the exclusive or zero [FR-09]; now they have that of the flips, which is not zero: wrong check byte. Another
    /// good frame needs two FF and a delimiter elsewhere [FR-10], and where that takes more flips than there are,
    /// there is none. Where it does not, every pattern is sent.
    fn by_check_byte(&mut self, weight: usize, tally: &mut Tally) {
        if self.elsewhere as usize <= weight {
            *tally = self.each(weight);
            return;
        }
        self.each_from(0, weight, false, &mut |bench, touched| {
            let cancels = || bench.octets.iter().skip(PREAMBLES).fold(0, |x, o| x ^ o.value) == 0;
            if touched || cancels() {
                bench.listen(1, tally);
            } else {
                tally.patterns += 1;
            }
        });
    }

    /// Calls `then` with each choice of `left` bits from `from` on flipped, and whether delimiter or byte count are
    /// among the characters touched.
    fn each_from(&mut self, from: usize, left: usize, touched: bool, then: &mut dyn FnMut(&mut Bench, bool)) {
        if left == 0 {
            return then(self, touched);
        }
        let bits = self.wire.bits();
        for n in from..self.characters() * bits {
            let (character, bit) = (n / bits, 1 << (n % bits));
            let touches = character == 0 || character == self.byte_count_at;
            self.flip(character, bit);
            self.each_from(n + 1, left - 1, touched || touches, then);
            self.flip(character, bit);
        }
    }

    /// `patterns` patterns of `weight` flipped bits, drawn evenly and with replacement.
    pub fn sample(&mut self, weight: usize, patterns: u64, dice: &mut Dice) -> Tally {
        let bits = self.wire.bits();
        let all = (self.characters() * bits) as u64;
        let mut tally = Tally::default();
        let mut drawn = Vec::with_capacity(weight);
        for _ in 0..patterns {
            drawn.clear();
            while drawn.len() < weight {
                let n = dice.below(all) as usize;
                if !drawn.contains(&n) {
                    drawn.push(n);
                }
            }
            // A parity mark toggles with each flip, so bits can be flipped one by one.
            drawn.iter().for_each(|n| self.flip(n / bits, 1 << (n % bits)));
            self.listen(1, &mut tally);
            drawn.iter().for_each(|n| self.flip(n / bits, 1 << (n % bits)));
        }
        tally
    }
}

/// SplitMix64: the same numbers in every run.
pub struct Dice(pub u64);

impl Dice {
    /// A number from 0 to below `n`.
    fn below(&mut self, n: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ z >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ z >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
        // The upper half of the product: even to one part in 2^64 / n.
        ((u128::from(z ^ z >> 31) * u128::from(n)) >> 64) as u64
    }
}
