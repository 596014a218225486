//! The legal frame: it can only be well formed, so that its encoder cannot fail.

use super::address::{Address, PollingAddress, Target, UniqueAddress};
use bytes::{BufMut, Bytes, BytesMut};
use core::fmt;
use nom::bytes::complete::take;
use nom::number::complete::u8 as any_octet;
use nom::{IResult, Parser};

/// Most octets that the byte count can announce [FR-08].
pub const MAX_BYTE_COUNT: usize = 255;

/// Most data octets of a reply: the byte count also covers two status octets [FR-12].
pub const MAX_REPLY_DATA: usize = MAX_BYTE_COUNT - 2;

/// Longest frame from delimiter to check byte: delimiter, address 5, expansion 3, command, byte
/// count, 255 octets, check byte.
pub const MAX_FRAME: usize = 1 + 5 + 3 + 1 + 1 + MAX_BYTE_COUNT + 1;

/// Who talks to whom in a frame [FR-03].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FrameType {
    /// STX, a master asks a device.
    Stx,
    /// ACK, a device answers a master.
    Ack,
    /// BACK, a device speaks unasked in burst mode.
    Back,
}

impl FrameType {
    /// The three low bits of the delimiter.
    pub const fn bits(self) -> u8 {
        match self {
            FrameType::Back => 1,
            FrameType::Stx => 2,
            FrameType::Ack => 6,
        }
    }

    /// The name that the protocol uses: STX, ACK, BACK.
    pub const fn name(self) -> &'static str {
        match self {
            FrameType::Stx => "STX",
            FrameType::Ack => "ACK",
            FrameType::Back => "BACK",
        }
    }
}

/// The first octet after the preamble, taken apart [FR-03].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Delimiter {
    /// Whether a five-octet address follows.
    pub long: bool,
    /// How many expansion octets follow the address, 0 to 3.
    pub expansion: u8,
    /// Physical layer bits, 0 to 3; 0 is FSK.
    pub physical: u8,
    /// Frame type.
    pub frame_type: FrameType,
}

impl Delimiter {
    /// Takes an octet apart; `None` for a frame type that does not exist.
    pub const fn parse(octet: u8) -> Option<Delimiter> {
        let frame_type = match octet & 0x07 {
            1 => FrameType::Back,
            2 => FrameType::Stx,
            6 => FrameType::Ack,
            _ => return None,
        };
        Some(Delimiter {
            long: octet & 0x80 != 0,
            expansion: octet >> 5 & 0x03,
            physical: octet >> 3 & 0x03,
            frame_type,
        })
    }

    /// The octet.
    pub const fn octet(self) -> u8 {
        (if self.long { 0x80 } else { 0 })
            | (self.expansion & 3) << 5
            | (self.physical & 3) << 3
            | self.frame_type.bits()
    }

    /// Octets from the delimiter up to and with the byte count.
    pub const fn header_len(self) -> usize {
        1 + (if self.long { 5 } else { 1 }) + self.expansion as usize + 2
    }
}

/// Expansion octets between address and command, 0 to 3 of them, without known meaning [FR-04].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Expansion {
    len: u8,
    octets: [u8; 3],
}

impl Expansion {
    /// No expansion octets.
    pub const NONE: Expansion = Expansion { len: 0, octets: [0; 3] };

    /// From up to three octets; `None` for more.
    pub fn new(octets: &[u8]) -> Option<Self> {
        let mut e = Expansion::NONE;
        e.octets.get_mut(..octets.len())?.copy_from_slice(octets);
        e.len = octets.len() as u8;
        Some(e)
    }

    /// The octets.
    pub fn as_slice(&self) -> &[u8] {
        &self.octets[..usize::from(self.len)]
    }
}

/// Data that does not fit the byte count [FR-08].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooLong {
    /// How many octets were given.
    pub given: usize,
    /// How many fit.
    pub most: usize,
}

impl fmt::Display for TooLong {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} data octets do not fit into a frame: at most {} do", self.given, self.most)
    }
}

impl std::error::Error for TooLong {}

/// A frame from delimiter to check byte that obeys [FR-01]. Cloning is cheap.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Frame {
    frame_type: FrameType,
    physical: u8,
    address: Address,
    expansion: Expansion,
    command: u8,
    status: [u8; 2],
    data: Bytes,
}

impl Frame {
    /// A master's request.
    ///
    /// # Errors
    /// More than 255 data octets.
    pub fn request(address: Address, command: u8, data: impl Into<Bytes>) -> Result<Frame, TooLong> {
        let data = data.into();
        if data.len() > MAX_BYTE_COUNT {
            return Err(TooLong { given: data.len(), most: MAX_BYTE_COUNT });
        }
        Ok(Frame {
            frame_type: FrameType::Stx,
            physical: 0,
            address,
            expansion: Expansion::NONE,
            command,
            status: [0; 2],
            data,
        })
    }

    /// A device's answer, or its burst frame when `burst` is set, with its two status octets [FR-12].
    ///
    /// # Errors
    /// More than 253 data octets.
    pub fn reply(
        burst: bool,
        address: Address,
        command: u8,
        status: [u8; 2],
        data: impl Into<Bytes>,
    ) -> Result<Frame, TooLong> {
        let data = data.into();
        if data.len() > MAX_REPLY_DATA {
            return Err(TooLong { given: data.len(), most: MAX_REPLY_DATA });
        }
        Ok(Frame {
            frame_type: if burst { FrameType::Back } else { FrameType::Ack },
            physical: 0,
            address,
            expansion: Expansion::NONE,
            command,
            status,
            data,
        })
    }

    /// The same frame with expansion octets [FR-04].
    #[must_use]
    pub fn with_expansion(mut self, expansion: Expansion) -> Frame {
        self.expansion = expansion;
        self
    }

    /// The same frame with this address in place of its own; the kinds of both may differ.
    #[must_use]
    pub fn with_address(mut self, address: Address) -> Frame {
        self.address = address;
        self
    }

    /// The same frame with the physical layer bits `bits`, of which the two low ones count [FR-03].
    #[must_use]
    pub fn with_physical(mut self, bits: u8) -> Frame {
        self.physical = bits & 3;
        self
    }

    /// Frame type.
    pub fn frame_type(&self) -> FrameType {
        self.frame_type
    }

    /// Physical layer bits, 0 to 3.
    pub fn physical(&self) -> u8 {
        self.physical
    }

    /// Address field.
    pub fn address(&self) -> Address {
        self.address
    }

    /// Expansion octets.
    pub fn expansion(&self) -> Expansion {
        self.expansion
    }

    /// Command number, 0 to 255.
    pub fn command(&self) -> u8 {
        self.command
    }

    /// The two status octets of a device's frame; `None` in a request [FR-12].
    pub fn status(&self) -> Option<[u8; 2]> {
        (self.frame_type != FrameType::Stx).then_some(self.status)
    }

    /// Data octets, without status.
    pub fn data(&self) -> &Bytes {
        &self.data
    }

    /// The delimiter.
    pub fn delimiter(&self) -> Delimiter {
        Delimiter {
            long: matches!(self.address.target, Target::Unique(_)),
            expansion: self.expansion.len,
            physical: self.physical,
            frame_type: self.frame_type,
        }
    }

    /// The value of the byte count [FR-08].
    pub fn byte_count(&self) -> u8 {
        (self.data.len() + if self.frame_type == FrameType::Stx { 0 } else { 2 }) as u8
    }

    /// Where the data begin, counted from the delimiter.
    pub fn data_offset(&self) -> usize {
        self.delimiter().header_len() + if self.frame_type == FrameType::Stx { 0 } else { 2 }
    }

    /// Octets from delimiter to check byte.
    pub fn len(&self) -> usize {
        self.data_offset() + self.data.len() + 1
    }

    /// Never: a frame has at least five octets.
    pub fn is_empty(&self) -> bool {
        false
    }

    /// The octets from delimiter to check byte.
    pub fn encode(&self) -> Bytes {
        self.encode_after(0)
    }

    /// The octets after `preambles` octets of FF [FR-02].
    pub fn encode_after(&self, preambles: usize) -> Bytes {
        let mut out = BytesMut::with_capacity(preambles + self.len());
        out.put_bytes(0xFF, preambles);
        out.put_u8(self.delimiter().octet());
        self.address.write(&mut out);
        out.put_slice(self.expansion.as_slice());
        out.put_u8(self.command);
        out.put_u8(self.byte_count());
        if let Some(status) = self.status() {
            out.put_slice(&status);
        }
        out.put_slice(&self.data);
        let check = check_byte(&out[preambles..]);
        out.put_u8(check);
        out.freeze()
    }

    /// Reads the octets of exactly one frame, from delimiter to check byte.
    ///
    /// # Errors
    /// Where the octets stop being a legal frame, and why.
    pub fn parse(octets: &Bytes) -> Result<Frame, DecodeError> {
        let (rest, (delimiter, address, expansion, command, count)) =
            header(octets).map_err(|e| decode_error(octets, e))?;
        let at = octets.len() - rest.len();
        let need = usize::from(count) + 1;
        if rest.len() < need {
            return Err(DecodeError {
                at: octets.len(),
                kind: DecodeErrorKind::Short { missing: need - rest.len() },
            });
        }
        if rest.len() > need {
            return Err(DecodeError {
                at: at + need,
                kind: DecodeErrorKind::Surplus { octets: rest.len() - need },
            });
        }
        let end = octets.len() - 1;
        let (computed, received) = (check_byte(&octets[..end]), octets[end]);
        if computed != received {
            return Err(DecodeError { at: end, kind: DecodeErrorKind::Check { computed, received } });
        }
        let (status, from) = match delimiter.frame_type {
            FrameType::Stx => ([0; 2], at),
            _ if count < 2 => {
                return Err(DecodeError { at: at - 1, kind: DecodeErrorKind::NoStatus { count } });
            }
            _ => ([rest[0], rest[1]], at + 2),
        };
        Ok(Frame {
            frame_type: delimiter.frame_type,
            physical: delimiter.physical,
            address,
            expansion,
            command,
            status,
            data: octets.slice(from..end),
        })
    }
}

/// What the octets before the data say; readable even where the rest of the frame is damaged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Header {
    /// The delimiter.
    pub delimiter: Delimiter,
    /// Address field.
    pub address: Address,
    /// Command number.
    pub command: u8,
}

impl Header {
    /// Reads the header at the start of `octets`; `None` when it is not whole.
    pub fn parse(octets: &[u8]) -> Option<Header> {
        let (_, (delimiter, address, _, command, _)) = header(octets).ok()?;
        Some(Header { delimiter, address, command })
    }
}

type HeaderParts = (Delimiter, Address, Expansion, u8, u8);

fn header(input: &[u8]) -> IResult<&[u8], HeaderParts> {
    let (rest, delimiter) = nom::combinator::map_opt(any_octet, Delimiter::parse).parse(input)?;
    let (rest, address) = if delimiter.long {
        take(5usize)
            .map(|o: &[u8]| {
                let mut five = [0; 5];
                five.copy_from_slice(o);
                Address::from_top(o[0], Target::Unique(UniqueAddress::from_octets(five)))
            })
            .parse(rest)?
    } else {
        any_octet
            .map(|o| Address::from_top(o, Target::Polling(PollingAddress::new(o & 0x3F).unwrap_or_default())))
            .parse(rest)?
    };
    let (rest, expansion) = take(usize::from(delimiter.expansion)).parse(rest)?;
    let (rest, (command, count)) = (any_octet, any_octet).parse(rest)?;
    Ok((rest, (delimiter, address, Expansion::new(expansion).unwrap_or_default(), command, count)))
}

fn decode_error(octets: &[u8], e: nom::Err<nom::error::Error<&[u8]>>) -> DecodeError {
    match e {
        nom::Err::Incomplete(_) => {
            DecodeError { at: octets.len(), kind: DecodeErrorKind::Short { missing: 1 } }
        }
        nom::Err::Error(e) | nom::Err::Failure(e) => {
            let at = octets.len() - e.input.len();
            match octets.get(at) {
                Some(&octet) if at == 0 && Delimiter::parse(octet).is_none() => {
                    DecodeError { at, kind: DecodeErrorKind::Delimiter { octet } }
                }
                _ => DecodeError { at: octets.len(), kind: DecodeErrorKind::Short { missing: 1 } },
            }
        }
    }
}

/// The exclusive-or of all octets [FR-09].
pub fn check_byte(octets: &[u8]) -> u8 {
    octets.iter().fold(0, |x, o| x ^ o)
}

/// Octets that are no legal frame: whose fault is the octets' [FR-01].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DecodeError {
    /// The octet, counted from the delimiter as 0.
    pub at: usize,
    /// What is wrong there.
    pub kind: DecodeErrorKind,
}

/// What is wrong with octets that are no frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DecodeErrorKind {
    /// No frame type has these bits [FR-03].
    Delimiter {
        /// The octet.
        octet: u8,
    },
    /// The octets end too early.
    Short {
        /// How many are missing at least.
        missing: usize,
    },
    /// Octets follow the check byte.
    Surplus {
        /// How many.
        octets: usize,
    },
    /// The check byte is wrong [FR-09].
    Check {
        /// What it should be.
        computed: u8,
        /// What it is.
        received: u8,
    },
    /// A device's frame is too short for its two status octets [FR-12].
    NoStatus {
        /// The byte count.
        count: u8,
    },
}

impl DecodeError {
    /// Whether octets are missing at the end.
    pub const fn is_short(&self) -> bool {
        matches!(self.kind, DecodeErrorKind::Short { .. })
    }
}

impl fmt::Display for DecodeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let at = self.at;
        match self.kind {
            DecodeErrorKind::Delimiter { octet } => {
                write!(
                    f,
                    "octet {at} is {octet:02X}, which is no delimiter: its low three bits must be 1 (BACK), 2 (STX) or 6 (ACK)"
                )
            }
            DecodeErrorKind::Short { missing } => {
                write!(f, "the frame breaks off at octet {at}: at least {missing} more must follow")
            }
            DecodeErrorKind::Surplus { octets } => {
                write!(
                    f,
                    "{octets} octets follow the check byte, from octet {at} on: the byte count does not cover them"
                )
            }
            DecodeErrorKind::Check { computed, received } => {
                write!(
                    f,
                    "the check byte at octet {at} is {received:02X}, the octets before it give {computed:02X}"
                )
            }
            DecodeErrorKind::NoStatus { count } => write!(
                f,
                "a device's frame carries two status octets, but the byte count at octet {at} is {count}"
            ),
        }
    }
}

impl std::error::Error for DecodeError {}
