//! What happened on the stage, in order, and how it is printed.

use looprig::frame::{Frame, FrameType, Master as Role, Reception, Target};
use looprig::time::Instant;
use std::fmt::{self, Write as _};

/// Somebody on the wires.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Who {
    Primary,
    /// A second one with the primary's bit.
    Twin,
    Secondary,
    /// By its polling address.
    Device(u8),
    /// Somebody with a script.
    Scripted(&'static str),
}

pub const PRIMARY: Who = Who::Primary;
pub const SECONDARY: Who = Who::Secondary;
pub const TWIN: Who = Who::Twin;

pub fn device(polling: u8) -> Who {
    Who::Device(polling)
}

impl Who {
    /// The master bit that it uses.
    pub fn role(self) -> Role {
        match self {
            Who::Primary | Who::Twin => Role::Primary,
            Who::Secondary => Role::Secondary,
            other => panic!("the {other} is no master"),
        }
    }
}

impl fmt::Display for Who {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Who::Primary => f.write_str("primary"),
            Who::Twin => f.write_str("other primary"),
            Who::Secondary => f.write_str("secondary"),
            Who::Device(polling) => write!(f, "device {polling}"),
            Who::Scripted(name) => f.write_str(name),
        }
    }
}

/// A transmission.
#[derive(Clone, Debug)]
pub struct Sent {
    pub who: Who,
    /// The beginning of its first octet and the end of its last one, as it was meant.
    pub begins: Instant,
    pub ends: Instant,
    pub values: Vec<u8>,
    /// The frame that it was meant to be.
    pub frame: Option<Frame>,
}

impl Sent {
    pub fn new(who: Who, begins: Instant, ends: Instant, values: Vec<u8>) -> Sent {
        let preambles = values.iter().take_while(|v| **v == 0xFF).count();
        let frame = Frame::parse(&bytes::Bytes::copy_from_slice(&values[preambles..])).ok();
        Sent { who, begins, ends, values, frame }
    }

    fn words(&self) -> String {
        let Some(frame) = &self.frame else { return format!("sends {} octets, no frame", self.values.len()) };
        let address = frame.address();
        let of = match address.target {
            Target::Polling(p) => format!("polling address {}", p.get()),
            Target::Unique(u) => format!("{u}"),
        };
        let (command, master) = (frame.command(), address.master);
        match frame.frame_type() {
            FrameType::Stx => format!("asks command {command} of {of} as {master}"),
            FrameType::Ack => {
                let status = frame.status().unwrap_or_default();
                format!("answers command {command} as {of} to the {master}, status {:02X}", status[0])
            }
            FrameType::Back => format!("bursts command {command} as {of} naming the {master}"),
        }
    }
}

/// What a reception is, in a word or two.
pub fn kind(reception: &Reception) -> String {
    match reception {
        Reception::Good(_) => "good".to_string(),
        Reception::Damaged(d) => format!("damaged, {:?}", d.damage),
        Reception::Noise(n) => format!("noise of {} octets", n.octets.len()),
    }
}

/// Everything that happened.
#[derive(Default)]
pub struct Timeline {
    /// In the order of their beginnings.
    pub sent: Vec<Sent>,
    /// Ends of octets that everybody could hear.
    pub octets: Vec<Instant>,
    /// Whatever else is worth telling: time and text.
    pub remarks: Vec<(Instant, String)>,
}

/// An instant in characters since the beginning [LL-01].
pub fn in_characters(t: Instant) -> f64 {
    t.as_nanos() as f64 * 1200.0 / 11e9
}

impl Timeline {
    /// Adds a transmission in its place.
    pub fn add(&mut self, sent: Sent) {
        let at = self.sent.partition_point(|s| s.begins <= sent.begins);
        self.sent.insert(at, sent);
    }

    /// The end of what came before the transmission `i`, also if that ends after its beginning.
    pub fn end_before(&self, i: usize) -> Instant {
        let begins = self.sent[i].begins;
        let heard = self.octets.iter().rev().find(|t| **t <= begins);
        let sent = self.sent[..i].iter().map(|s| s.ends);
        sent.chain(heard.copied()).max().unwrap_or(Instant::ZERO)
    }

    /// The last command that a master of this kind asked before the transmission `i`.
    pub fn last_asked(&self, i: usize, role: Role) -> Option<u8> {
        let frames = self.sent[..i].iter().rev().filter_map(|s| s.frame.as_ref());
        let mut requests = frames.filter(|f| f.frame_type() == FrameType::Stx && f.address().master == role);
        requests.next().map(Frame::command)
    }

    /// The silence before the transmission `i` in characters; below zero if it began before the others had ended.
    pub fn silence_before(&self, i: usize) -> f64 {
        in_characters(self.sent[i].begins) - in_characters(self.end_before(i))
    }
}

impl fmt::Display for Timeline {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{:>9} {:>9} {:>9}  (characters of 9.167 ms)", "silence", "begins", "ends")?;
        let mut lines: Vec<(Instant, String)> = Vec::new();
        for (i, s) in self.sent.iter().enumerate() {
            let mut line = String::new();
            let [silence, begins, ends] =
                [self.silence_before(i), in_characters(s.begins), in_characters(s.ends)];
            write!(line, "{silence:>9.3} {begins:>9.3} {ends:>9.3}  {} {}", s.who, s.words())?;
            lines.push((s.begins, line));
        }
        for (at, what) in &self.remarks {
            lines.push((*at, format!("{:>9} {:>9.3} {:>9}  - {what}", "", in_characters(*at), "")));
        }
        lines.sort_by_key(|l| l.0);
        lines.iter().try_for_each(|(_, line)| writeln!(f, "{line}"))
    }
}
