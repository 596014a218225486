//! How many patterns of flipped bits parity and check byte cannot find: arithmetic on the sent octets, which knows
//! nothing of the receiver [FR-20] [FR-21].
//!
//! A pattern is undetected when delimiter and byte count, with their flips, tell a length that is there; when every
//! character within that length has an even number of flips (where parity is seen); and when the exclusive or over
//! that length is zero again. What is flipped behind it is free. Frames that begin elsewhere than at the sent
//! delimiter are left out.

use super::measure::Wire;

/// Most flipped bits reckoned with.
pub const MOST: usize = 6;

/// Coefficients of x^0 to x^6.
type Series = [i128; MOST + 1];

fn times(a: &Series, b: &Series) -> Series {
    let mut out = [0; MOST + 1];
    for (i, x) in a.iter().enumerate() {
        for (j, y) in b.iter().enumerate().take(MOST + 1 - i) {
            out[i + j] += x * y;
        }
    }
    out
}

fn power(a: &Series, n: usize) -> Series {
    let mut one = [0; MOST + 1];
    one[0] = 1;
    (0..n).fold(one, |x, _| times(&x, a))
}

/// n over k.
pub fn choose(n: usize, k: usize) -> i128 {
    if k > n { 0 } else { (0..k).fold(1, |x, i| x * (n - i) as i128 / (i + 1) as i128) }
}

/// (1 + x)^a (1 - x)^b.
fn signed(a: usize, b: usize) -> Series {
    let (mut plus, mut minus) = ([0; MOST + 1], [0; MOST + 1]);
    (plus[0], plus[1], minus[0], minus[1]) = (1, 1, 1, -1);
    times(&power(&plus, a), &power(&minus, b))
}

/// Numbers of undetected patterns.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Undetected {
    /// Delimiter and byte count as sent.
    pub values: i128,
    /// Another delimiter, fields and length as sent.
    pub delimiter: i128,
    /// Another address form, number of expansion octets or byte count.
    pub length: i128,
    /// Those of `length` that leave octets over behind their check byte.
    pub followed: i128,
}

/// The tables for frames of up to a number of characters on a line of one kind.
pub struct Theory {
    wire: Wire,
    /// By number of characters, by number of columns that must be odd, by number of flips.
    ways: Vec<[Series; 9]>,
}

impl Theory {
    /// For frames of up to `longest` characters.
    pub fn new(wire: Wire, longest: usize) -> Theory {
        Theory { wire, ways: (0..=longest).map(|m| ways(wire, m)).collect() }
    }

    /// How many patterns of `flips` bits in `characters` characters leave the parity right where it is seen and have
    /// an odd number of flips in `odd` data columns named beforehand, an even number in the others.
    pub fn ways(&self, characters: usize, odd: u32, flips: usize) -> i128 {
        self.ways[characters][odd as usize][flips]
    }

    /// All patterns of `weight` bits in a frame of `characters` characters.
    pub fn patterns(&self, characters: usize, weight: usize) -> i128 {
        choose(characters * self.wire.bits(), weight)
    }

    /// The undetected patterns of `weight` bits in a frame, by its octets from delimiter to check byte.
    pub fn undetected(&self, frame: &[u8], weight: usize) -> Undetected {
        let mut out = Undetected::default();
        let byte_count_at = header(frame[0]).expect("a delimiter");
        for in_delimiter in self.patterns_of_one(weight) {
            let delimiter = frame[0] ^ in_delimiter as u8;
            let Some(at) = header(delimiter) else { continue };
            let Some(byte_count) = frame.get(at) else { continue };
            let left = weight - in_delimiter.count_ones() as usize;
            for in_count in self.patterns_of_one(left) {
                let count = byte_count ^ in_count as u8;
                let end = at + 2 + usize::from(count);
                // A request has no status octets, all else has two [FR-12].
                if end > frame.len() || delimiter & 0x07 != 2 && count < 2 {
                    continue;
                }
                let flipped = in_delimiter as u8 ^ in_count as u8;
                let open = frame[..end].iter().fold(flipped, |x, o| x ^ o).count_ones();
                let left = left - in_count.count_ones() as usize;
                let over = (frame.len() - end) * self.wire.bits();
                let within = |flips| self.ways(end - 2, open, flips) * choose(over, left - flips);
                let ways: i128 = (0..=left).map(within).sum();
                if in_delimiter == 0 && in_count == 0 {
                    out.values += ways;
                } else if at == byte_count_at && in_count == 0 {
                    out.delimiter += ways;
                } else {
                    out.length += ways;
                    out.followed += if over > 0 { ways } else { 0 };
                }
            }
        }
        out
    }

    /// Patterns of up to `most` flips in one character that its parity does not show.
    fn patterns_of_one(&self, most: usize) -> impl Iterator<Item = u16> {
        let parity = self.wire == Wire::Parity;
        let fits =
            move |p: &u16| p.count_ones() as usize <= most && (!parity || p.count_ones().is_multiple_of(2));
        (0..1 << self.wire.bits()).filter(fits)
    }
}

/// Place of the byte count behind a delimiter [FR-01] [FR-03].
fn header(delimiter: u8) -> Option<usize> {
    let address = if delimiter & 0x80 == 0 { 1 } else { 5 };
    let expansion = usize::from(delimiter >> 5 & 3);
    [1, 2, 6].contains(&(delimiter & 0x07)).then_some(1 + address + expansion + 1)
}

fn ways(wire: Wire, characters: usize) -> [Series; 9] {
    core::array::from_fn(|odd| match wire {
        Wire::Bare => {
            // Columns do not know of each other: even ones times odd ones.
            let even = core::array::from_fn(|n| if n % 2 == 0 { choose(characters, n) } else { 0 });
            let uneven = core::array::from_fn(|n| if n % 2 == 1 { choose(characters, n) } else { 0 });
            times(&power(&uneven, odd), &power(&even, 8 - odd))
        }
        Wire::Parity => {
            // Even rows make the number of odd columns even, so the parity column is odd with an odd number of
            // data columns. The mean over all 2^9 signs of columns keeps what has just these columns odd; with k
            // columns negative a row of even weight is the even part of (1 + x)^(9 - k) (1 - x)^k.
            let odd = odd + odd % 2;
            let mut sum = [0; MOST + 1];
            for k in 0..=9 {
                let mut row = signed(9 - k, k);
                row.iter_mut().skip(1).step_by(2).for_each(|c| *c = 0);
                let rows = power(&row, characters);
                let sign = |j: usize| if j.is_multiple_of(2) { 1 } else { -1 };
                let columns: i128 =
                    (0..=k.min(odd)).map(|j| sign(j) * choose(odd, j) * choose(9 - odd, k - j)).sum();
                sum.iter_mut().zip(rows).for_each(|(s, r)| *s += columns * r);
            }
            assert!(sum.iter().all(|s| s % 512 == 0), "a mean of whole numbers of patterns");
            sum.map(|s| s / 512)
        }
    })
}
