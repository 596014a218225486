//! Who a frame is for or from: polling address, unique address, master and burst bits.

use core::fmt;

/// Which of the two masters that may share a loop takes part in a frame [FR-16].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Master {
    /// The control system's side, address bit 7 set.
    Primary,
    /// A hand-held or a service computer, address bit 7 clear.
    Secondary,
}

impl Master {
    /// `primary` or `secondary`.
    pub const fn name(self) -> &'static str {
        match self {
            Master::Primary => "primary",
            Master::Secondary => "secondary",
        }
    }

    /// The other one of the two.
    pub const fn other(self) -> Master {
        match self {
            Master::Primary => Master::Secondary,
            Master::Secondary => Master::Primary,
        }
    }

    /// 0 for the primary, 1 for the secondary: an index for what is kept for each master apart.
    pub const fn index(self) -> usize {
        match self {
            Master::Primary => 0,
            Master::Secondary => 1,
        }
    }
}

impl fmt::Display for Master {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A polling address, 0 to 63; up to 15 before revision 6 [FR-05].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PollingAddress(u8);

impl PollingAddress {
    /// The address `n`, or `None` above 63.
    pub const fn new(n: u8) -> Option<Self> {
        if n <= 63 { Some(PollingAddress(n)) } else { None }
    }

    /// The number, 0 to 63.
    pub const fn get(self) -> u8 {
        self.0
    }
}

/// A device's unique address: the 38 bits below the master and burst bits of five octets [FR-06].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct UniqueAddress([u8; 5]);

impl UniqueAddress {
    /// All 38 bits zero: every device listens [FR-07].
    pub const BROADCAST: UniqueAddress = UniqueAddress([0; 5]);

    /// The address in five octets; their two top bits are not part of it and are dropped.
    pub const fn from_octets(mut octets: [u8; 5]) -> Self {
        octets[0] &= 0x3F;
        UniqueAddress(octets)
    }

    /// From the two octets that name the type and the 24-bit device id. Up to revision 6 the two are
    /// manufacturer code and device type, from revision 7 the expanded device type; of the first
    /// octet the low six bits count [FR-06].
    pub const fn new(type_octets: [u8; 2], device_id: [u8; 3]) -> Self {
        UniqueAddress::from_octets([type_octets[0], type_octets[1], device_id[0], device_id[1], device_id[2]])
    }

    /// The five octets with the two top bits clear.
    pub const fn octets(self) -> [u8; 5] {
        self.0
    }

    /// Whether it is the all-zero broadcast address [FR-07].
    pub fn is_broadcast(self) -> bool {
        self == UniqueAddress::BROADCAST
    }

    /// Reads ten hex digits; spaces, colons and dashes between them are passed over.
    ///
    /// # Errors
    /// Says which character is no hex digit or how many digits there were.
    pub fn parse(text: &str) -> Result<Self, String> {
        let mut digits = Vec::with_capacity(10);
        for (i, c) in text.chars().enumerate() {
            match c.to_digit(16) {
                Some(d) => digits.push(d as u8),
                None if matches!(c, ' ' | ':' | '-') => {}
                None => return Err(format!("'{c}' at position {} is no hex digit", i + 1)),
            }
        }
        if digits.len() != 10 {
            return Err(format!("a unique address has ten hex digits, here are {}", digits.len()));
        }
        let mut octets = [0; 5];
        for (o, pair) in octets.iter_mut().zip(digits.chunks(2)) {
            *o = pair[0] << 4 | pair[1];
        }
        Ok(UniqueAddress::from_octets(octets))
    }
}

impl fmt::Display for UniqueAddress {
    /// Ten hex digits.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // One piece of text: a long log prints many of them.
        const DIGITS: &[u8; 16] = b"0123456789ABCDEF";
        let mut text = [0; 10];
        for (pair, o) in text.chunks_exact_mut(2).zip(self.0) {
            pair[0] = DIGITS[usize::from(o >> 4)];
            pair[1] = DIGITS[usize::from(o & 15)];
        }
        f.write_str(core::str::from_utf8(&text).unwrap_or_default())
    }
}

/// The device that a frame names.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Target {
    /// A one-octet address.
    Polling(PollingAddress),
    /// A five-octet address.
    Unique(UniqueAddress),
}

impl fmt::Display for Target {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Target::Polling(p) => write!(f, "{}", p.get()),
            Target::Unique(u) if u.is_broadcast() => f.write_str("all"),
            Target::Unique(u) => u.fmt(f),
        }
    }
}

/// The address field of a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Address {
    /// The master that asks, is answered, or may speak next [FR-16].
    pub master: Master,
    /// The device says that it is in burst mode [FR-16].
    pub burst: bool,
    /// The device.
    pub target: Target,
}

impl Address {
    /// An address with the burst bit clear.
    pub const fn new(master: Master, target: Target) -> Self {
        Address { master, burst: false, target }
    }

    /// Whether it is the all-zero unique address [FR-07].
    pub fn is_broadcast(&self) -> bool {
        self.target == Target::Unique(UniqueAddress::BROADCAST)
    }

    /// How many octets it takes: 1 or 5.
    pub const fn len(&self) -> usize {
        match self.target {
            Target::Polling(_) => 1,
            Target::Unique(_) => 5,
        }
    }

    /// Never: an address takes at least one octet.
    pub const fn is_empty(&self) -> bool {
        false
    }

    pub(super) fn write(&self, out: &mut impl bytes::BufMut) {
        let top = if self.master == Master::Primary { 0x80 } else { 0 } | if self.burst { 0x40 } else { 0 };
        match self.target {
            Target::Polling(p) => out.put_u8(top | p.get()),
            Target::Unique(u) => {
                let mut o = u.octets();
                o[0] |= top;
                out.put_slice(&o);
            }
        }
    }

    pub(super) fn from_top(first: u8, target: Target) -> Self {
        Address {
            master: if first & 0x80 != 0 { Master::Primary } else { Master::Secondary },
            burst: first & 0x40 != 0,
            target,
        }
    }
}
