//! An exchange frame by frame, in the words that every report uses.

use super::{Exchange, FieldView, Inside};
use crate::app::command::Direction;
use crate::app::status::{CodeClass, Delay, FIELD_DEVICE_STATUS, Status};
use crate::frame::{Frame, FrameType, Good, Master, Target};
use crate::time::Instant;
use crate::transaction::{Interlude, Kind, Outcome};
use core::fmt::Write;

/// How good the news is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Tone {
    /// Nothing to remark.
    Plain,
    /// Done, but with a remark; or under way.
    Warning,
    /// Refused, damaged or unanswered.
    Bad,
}

/// A device by the address in its frames: to sort by and to print.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct DeviceName(Target);

impl core::fmt::Display for DeviceName {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        self.0.fmt(f)
    }
}

/// One line of an exchange: a frame, or what came damaged between.
#[derive(Clone, Copy, Debug)]
pub enum Line<'a> {
    /// A frame.
    Frame(FrameView<'a>),
    /// A damaged frame or noise.
    Between(&'a Interlude),
}

/// One frame of an exchange.
#[derive(Clone, Copy, Debug)]
pub struct FrameView<'a> {
    exchange: &'a Exchange,
    good: &'a Good,
    direction: Direction,
    /// Which try it is, from 1; 0 for a device's frame.
    pub try_number: usize,
    /// Whether it is the last try.
    pub last_try: bool,
}

impl Exchange {
    /// Its frames, and what came damaged between, in the order of their times.
    pub fn lines(&self) -> Vec<Line<'_>> {
        let t = &self.transaction;
        let tries = t.tries.iter().enumerate().map(|(i, good)| {
            let last_try = i + 1 == t.tries.len();
            Line::Frame(FrameView {
                exchange: self,
                good,
                direction: Direction::Request,
                try_number: i + 1,
                last_try,
            })
        });
        let mut lines: Vec<Line<'_>> = tries.collect();
        if !t.interludes.is_empty() {
            lines.extend(t.interludes.iter().map(Line::Between));
            lines.sort_by_key(Line::at);
        }
        lines.extend(t.reply.iter().map(|good| {
            Line::Frame(FrameView {
                exchange: self,
                good,
                direction: Direction::Reply,
                try_number: 0,
                last_try: true,
            })
        }));
        lines
    }

    /// One in the place that fits a master's question: answered, without answer, answer damaged.
    pub fn outcome_counts(&self) -> [usize; 3] {
        match self.transaction.outcome {
            Outcome::Answered => [1, 0, 0],
            Outcome::Silent => [0, 1, 0],
            Outcome::Garbled => [0, 0, 1],
            Outcome::Open => [0; 3],
        }
    }

    /// Whether a master asked and no good answer came.
    pub fn is_unanswered(&self) -> bool {
        self.transaction.reply.is_none()
    }

    /// The device that spoke, by the address that it gave; `None` without a reply.
    pub fn device(&self) -> Option<DeviceName> {
        Some(DeviceName(self.transaction.reply_frame()?.address().target))
    }

    /// Whether a master asked a polling address who is there [FR-14].
    pub fn is_poll(&self) -> bool {
        let request = self.transaction.request();
        request.is_some_and(|f| f.command() == 0 && matches!(f.address().target, Target::Polling(_)))
    }

    /// Whether a device spoke in burst mode.
    pub fn is_burst(&self) -> bool {
        self.transaction.kind == Kind::Burst
    }

    /// How good the news of the whole exchange is.
    pub fn tone(&self) -> Tone {
        match self.class() {
            // What is under way is no refusal [ST-03].
            Some(_) if self.delay().is_some_and(Delay::is_under_way) => Tone::Warning,
            None | Some(CodeClass::Error) => Tone::Bad,
            Some(CodeClass::Warning) => Tone::Warning,
            Some(CodeClass::Success) => Tone::Plain,
        }
    }

    /// What the first status octet says, in words: `ok`, `refused 7: in write protect mode`,
    /// `warning 8: ...`, `not yet 34: ...`, `communication error: ...`; nothing without a reply.
    pub fn write_response(&self, out: &mut String) {
        if let Some(status) = self.status() {
            let class = self.class().unwrap_or(CodeClass::Error);
            write_status(status, class, &self.response_texts(), out);
        }
    }

    /// The set bits of the field device status, in few letters with `, ` between them.
    pub fn write_device_status_short(&self, out: &mut String) {
        let octet = self.device_status().unwrap_or(0);
        let mut comma = "";
        for (i, name) in SHORT_STATUS.iter().enumerate() {
            if octet & 0x80 >> i != 0 {
                out.push_str(comma);
                out.push_str(name);
                comma = ", ";
            }
        }
    }

    /// The set bits of the field device status, in words with `, ` between them; nothing for none.
    pub fn write_device_status(&self, out: &mut String) {
        if let Some(octet) = self.device_status() {
            write_device_status(octet, out);
        }
    }
}

/// What a first status octet says of a command, in words.
pub(super) fn write_status(status: Status, class: CodeClass, texts: &[&str], out: &mut String) {
    let (word, code) = match status {
        Status::Response(0) => {
            out.push_str("ok");
            return;
        }
        Status::CommunicationError(_) => ("communication error", None),
        Status::Response(code) => match class {
            CodeClass::Success => ("ok", Some(code)),
            CodeClass::Warning => ("warning", Some(code)),
            CodeClass::Error => (Delay::of(code).map_or("refused", Delay::word), Some(code)),
        },
    };
    out.push_str(word);
    if let Some(code) = code {
        let _ = write!(out, " {code}");
    }
    out.push_str(": ");
    out.push_str(&texts.join(", "));
}

/// The set bits of a field device status octet, in words with `, ` between them; nothing for none.
pub fn write_device_status(octet: u8, out: &mut String) {
    for (i, name) in FIELD_DEVICE_STATUS.set_names(octet).enumerate() {
        if i > 0 {
            out.push_str(", ");
        }
        out.push_str(name);
    }
}

/// The bits of [`FIELD_DEVICE_STATUS`], highest first, in as few letters as can be understood.
const SHORT_STATUS: [&str; 8] = [
    "malfunction",
    "config changed",
    "cold start",
    "more status",
    "current fixed",
    "current saturated",
    "non-PV out of limits",
    "PV out of limits",
];

/// Values that one line leaves out: units stand behind their values, the rest is rarely looked for.
const MINOR: [&str; 12] = [
    "class",
    "device_status",
    "expansion",
    "extended_status",
    "extension",
    "flags",
    "hardware_revision",
    "physical_signalling",
    "preambles_reply",
    "private_label",
    "reserved",
    "software_revision",
];

impl FieldView<'_> {
    /// Whether a line that is short of room leaves it out.
    pub fn is_minor(&self) -> bool {
        let name = self.found.field.name;
        name.ends_with("unit") || MINOR.contains(&name) || self.found.slot.is_some() && name == "status"
    }
}

impl Line<'_> {
    /// The end of its first octet.
    pub fn at(&self) -> Instant {
        match self {
            Line::Frame(f) => f.at(),
            Line::Between(Interlude::Damaged(d)) => d.octets.first().map_or(Instant::ZERO, |o| o.at),
            Line::Between(Interlude::Noise(n)) => n.octets.first().map_or(Instant::ZERO, |o| o.at),
        }
    }
}

impl<'a> FrameView<'a> {
    /// The end of its first octet.
    pub fn at(&self) -> Instant {
        self.good.octets.first().map_or(Instant::ZERO, |o| o.at)
    }

    /// The exchange it belongs to.
    pub fn exchange(&self) -> &'a Exchange {
        self.exchange
    }

    /// Whether a master sent it.
    pub fn is_request(&self) -> bool {
        self.direction == Direction::Request
    }

    /// The master that asks, is answered, or, by a burst, may speak next [LL-10].
    pub fn master(&self) -> Master {
        self.good.frame.address().master
    }

    /// Appends who talks to whom: `secondary > 0`, `3D0DFD0001 > primary`, a burst `... > anyone`.
    pub fn write_who(&self, out: &mut String) {
        let a = self.good.frame.address();
        match self.good.frame.frame_type() {
            FrameType::Stx => {
                out.push_str(a.master.name());
                out.push_str(" > ");
                let _ = write!(out, "{}", a.target);
            }
            FrameType::Ack => {
                let _ = write!(out, "{}", a.target);
                out.push_str(" > ");
                out.push_str(a.master.name());
            }
            FrameType::Back => {
                let _ = write!(out, "{} > anyone", a.target);
            }
        }
    }

    /// Its values in wire order.
    pub fn fields(&self) -> impl Iterator<Item = FieldView<'a>> + use<'a> {
        self.exchange.fields(self.direction)
    }

    /// The commands that it carries in its data.
    pub fn inside(&self) -> Vec<Inside<'a>> {
        self.exchange.inside(self.direction)
    }

    /// Octets of its data without known meaning.
    pub fn surplus(&self) -> &'a [u8] {
        self.exchange.surplus(self.direction)
    }

    /// The frame.
    pub fn frame(&self) -> &'a Frame {
        &self.good.frame
    }

    /// Number of octets of FF before it.
    pub fn preambles(&self) -> usize {
        self.good.preambles
    }

    /// Its octets from the delimiter to the check byte.
    pub fn octets(&self) -> impl Iterator<Item = u8> + use<'a> {
        self.good.octets[self.good.preambles..].iter().map(|o| o.value)
    }
}

/// Appends a value as people read it, with its unit.
pub fn write_value(field: &FieldView<'_>, out: &mut String) {
    field.write_text(out);
}
