//! Any octets at all, each with its parity and the pause before it: what conformance, faults and
//! tests send and a legal [`Frame`] can never be.

use super::legal::Frame;
use core::time::Duration;

/// One octet to be sent as told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RawOctet {
    /// The eight data bits.
    pub value: u8,
    /// Send the wrong parity bit.
    pub bad_parity: bool,
    /// Idle time before it.
    pub gap_before: Duration,
}

impl From<u8> for RawOctet {
    fn from(value: u8) -> Self {
        RawOctet { value, bad_parity: false, gap_before: Duration::ZERO }
    }
}

/// Octets to be sent as told, preambles among them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RawFrame {
    /// The octets in order.
    pub octets: Vec<RawOctet>,
}

impl RawFrame {
    /// The octets of a legal frame after `preambles` octets of FF.
    pub fn of(frame: &Frame, preambles: usize) -> Self {
        RawFrame { octets: frame.encode_after(preambles).iter().map(|&v| v.into()).collect() }
    }

    /// The same with bits flipped in the octet `at`, if there is one.
    #[must_use]
    pub fn flip(mut self, at: usize, bits: u8) -> Self {
        if let Some(o) = self.octets.get_mut(at) {
            o.value ^= bits;
        }
        self
    }

    /// The values alone, for a line that can send nothing else.
    pub fn values(&self) -> Vec<u8> {
        self.octets.iter().map(|o| o.value).collect()
    }
}
