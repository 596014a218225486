//! What came back after something was sent.

use crate::frame::{FrameType, Good, Marks, Master, Octet, Reception};
use crate::time::Instant;
use core::fmt::{self, Write};
use core::time::Duration;

/// Which way octets went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// We sent them.
    Sent,
    /// They came.
    Received,
}

/// Octets that went together, for the evidence of a case.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Words {
    /// Which way.
    pub way: Way,
    /// The octets with their times on the line's clock, which are those of a log.
    pub octets: Vec<Octet>,
}

impl Words {
    /// When its first octet ended: the time by which a log and its decoder call it.
    pub fn at(&self) -> Instant {
        self.octets.first().map_or(Instant::ZERO, |o| o.at)
    }

    /// Octets in hex without the preambles, whose number stands in front; marks are letters behind their octet.
    pub fn hex(&self) -> String {
        let preambles = self.octets.iter().take_while(|o| o.value == 0xFF && o.marks.is_empty()).count();
        // Octets that are nothing but FF are all shown.
        let skip = if preambles < self.octets.len() { preambles } else { 0 };
        let mut out = if skip > 0 { format!("{skip} x FF") } else { String::new() };
        for o in &self.octets[skip..] {
            let space = if out.is_empty() { "" } else { " " };
            let _ = write!(out, "{space}{:02X}", o.value);
            out.extend(
                Marks::ALL.iter().filter(|(m, ..)| o.marks.contains(*m)).map(|(_, letter, _)| *letter),
            );
        }
        out
    }
}

/// Octets in hex with a space between two.
pub(super) fn hex(octets: &[u8]) -> String {
    let mut out = String::new();
    for o in octets {
        let space = if out.is_empty() { "" } else { " " };
        let _ = write!(out, "{space}{o:02X}");
    }
    if out.is_empty() { "nothing".to_owned() } else { out }
}

/// A device's answer or burst, taken apart octet by octet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reply {
    /// From the delimiter to the check byte.
    pub octets: Vec<u8>,
    /// Octets of FF that were heard before it.
    pub preambles: usize,
    /// The delimiter.
    pub delimiter: u8,
    /// The address field, one octet or five, with its two upper bits.
    pub address: Vec<u8>,
    /// The command's number.
    pub command: u8,
    /// The byte count.
    pub byte_count: u8,
    /// The first status octet: a response code, or a communication error if mask 80 is set.
    pub code: u8,
    /// The second status octet.
    pub device_status: u8,
    /// What follows the status octets.
    pub data: Vec<u8>,
    /// From the end of the request to the beginning of the first octet that was heard; zero for a burst, and where the
    /// line's stamps would make it less than nothing.
    pub after: Duration,
    /// Longest time from the end of one octet to the end of the next.
    pub longest_step: Duration,
    /// When the first octet heard began, and when the check byte ended.
    pub times: (Instant, Instant),
}

impl Reply {
    /// Takes a good frame of a device apart; `None` for a master's.
    pub(super) fn of(good: &Good, request_ended_at: Instant, character: Duration) -> Option<Reply> {
        let [code, device_status] = good.frame.status()?;
        let octets: Vec<u8> = good.octets.iter().skip(good.preambles).map(|o| o.value).collect();
        let delimiter = *octets.first()?;
        let address_len = if delimiter & 0x80 == 0 { 1 } else { 5 };
        let begun = good.octets.first()?.at.before(character);
        let steps = good.octets.windows(2).map(|w| w[1].at.since(w[0].at));
        Some(Reply {
            preambles: good.preambles,
            delimiter,
            address: octets.get(1..1 + address_len)?.to_vec(),
            command: good.frame.command(),
            byte_count: good.frame.data().len() as u8 + 2,
            code,
            device_status,
            data: good.frame.data().to_vec(),
            after: begun.since(request_ended_at),
            longest_step: steps.max().unwrap_or_default(),
            times: (begun, good.octets.last()?.at),
            octets,
        })
    }

    /// Whether it says that the request arrived damaged [ST-01].
    pub fn is_communication_error(&self) -> bool {
        self.code & 0x80 != 0
    }

    /// Whether its response code refuses nothing: 0, or a warning of [ST-03].
    pub fn is_success(&self) -> bool {
        matches!(self.code, 0 | 8 | 14 | 24..=27 | 30 | 31 | 96..=127)
    }

    /// The master that it names.
    pub fn master(&self) -> Master {
        let primary = self.address.first().is_some_and(|first| first & 0x80 != 0);
        if primary { Master::Primary } else { Master::Secondary }
    }

    /// The five octets of its unique address without the two upper bits; `None` in the short form.
    pub fn unique(&self) -> Option<[u8; 5]> {
        let mut unique: [u8; 5] = self.address.as_slice().try_into().ok()?;
        unique[0] &= 0x3F;
        Some(unique)
    }

    /// A data octet; `None` behind the end.
    pub fn octet(&self, at: usize) -> Option<u8> {
        self.data.get(at).copied()
    }

    /// Data octets `from..from + len`; `None` if there are fewer.
    pub fn part(&self, from: usize, len: usize) -> Option<&[u8]> {
        self.data.get(from..from + len)
    }

    /// A float of four data octets [TY-02]; `None` if there are fewer.
    pub fn float(&self, at: usize) -> Option<f32> {
        Some(f32::from_be_bytes(self.part(at, 4)?.try_into().ok()?))
    }
}

impl fmt::Display for Reply {
    /// Response code, device status and data, for messages.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.is_communication_error() {
            true => write!(f, "communication error {:02X}", self.code)?,
            false => write!(f, "response code {}", self.code)?,
        }
        write!(f, ", device status {:02X}", self.device_status)?;
        match self.data.as_slice() {
            [] => f.write_str(", no data"),
            data => write!(f, ", data {}", hex(data)),
        }
    }
}

/// All that came after something was sent, or while we listened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Heard {
    /// When what we sent had left; when we began to listen, if we sent nothing.
    pub request_ended_at: Instant,
    /// What came, oldest first.
    pub receptions: Vec<Reception>,
    /// One character at the line's pace.
    pub(super) character: Duration,
}

impl Heard {
    fn frames(&self, kind: FrameType) -> impl Iterator<Item = Reply> {
        let good = self.receptions.iter().filter_map(move |r| match r {
            Reception::Good(g) if g.frame.frame_type() == kind => Some(g),
            _ => None,
        });
        good.filter_map(|g| Reply::of(g, self.request_ended_at, self.character))
    }

    /// Whole answers.
    pub fn replies(&self) -> Vec<Reply> {
        self.frames(FrameType::Ack).collect()
    }

    /// The first whole answer.
    pub fn reply(&self) -> Option<Reply> {
        self.frames(FrameType::Ack).next()
    }

    /// Whether a burst came behind the answer. By the order in which they came: stamps of a port do not tell it.
    pub fn has_burst_behind_answer(&self) -> bool {
        let is = |r: &Reception, wanted| matches!(r, Reception::Good(g) if g.frame.frame_type() == wanted);
        let behind = self.receptions.iter().skip_while(|r| !is(r, FrameType::Ack));
        behind.skip(1).any(|r| is(r, FrameType::Back))
    }

    /// Whole bursts.
    pub fn bursts(&self) -> Vec<Reply> {
        self.frames(FrameType::Back).collect()
    }

    /// Whether nothing came but bursts.
    pub fn is_silence(&self) -> bool {
        let burst =
            |r: &Reception| matches!(r, Reception::Good(g) if g.frame.frame_type() == FrameType::Back);
        self.receptions.iter().all(burst)
    }

    /// Octets that belong to no whole frame: spoilt answers and noise.
    pub fn rubbish(&self) -> impl Iterator<Item = &Reception> {
        self.receptions.iter().filter(|r| !matches!(r, Reception::Good(_)))
    }

    /// Every octet that came, in order, but those of whole bursts.
    pub fn octets(&self) -> Vec<Octet> {
        let burst =
            |r: &&Reception| matches!(r, Reception::Good(g) if g.frame.frame_type() == FrameType::Back);
        self.receptions.iter().filter(|r| !burst(r)).flat_map(|r| r.octets().iter().copied()).collect()
    }

    /// What came, in words: `silence`, or each thing with its octets.
    pub fn words(&self) -> String {
        if self.receptions.is_empty() {
            return "silence".to_owned();
        }
        let words = self.receptions.iter().map(|r| match r {
            Reception::Good(g) => match Reply::of(g, self.request_ended_at, self.character) {
                Some(reply) if g.frame.frame_type() == FrameType::Ack => {
                    format!("an answer to command {} after {}: {reply}", reply.command, ms(reply.after))
                }
                Some(reply) => format!("a burst of command {}", reply.command),
                None => format!("a request of the {} master", g.frame.address().master),
            },
            Reception::Damaged(d) => format!("a damaged frame ({}): {}", d.damage, hex(&r.values())),
            Reception::Noise(_) => format!("octets that make no frame: {}", hex(&r.values())),
        });
        words.collect::<Vec<_>>().join("; ")
    }
}

/// A time in milliseconds, for people.
pub(super) fn ms(d: Duration) -> String {
    format!("{:.1} ms", d.as_secs_f64() * 1e3)
}
