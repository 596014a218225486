//! The port that is played from a script, and what drives a [`PortLogic`] over it.

use looprig::frame::{Marks, Octet};
use looprig::line::{ErrorCounts, Fault, Hardware, Lines, PortLogic, PortOutput, SerialOptions, Unsent};
use looprig::time::{Instant, Pace};
use std::collections::VecDeque;

/// One character of eleven bits at 1200 bit/s, ns: 11 / 1200 s.
pub const C: u64 = 9_166_666;
pub const MS: u64 = 1_000_000;

/// Command 0 to polling address 0 behind five preambles; check byte 02^80.
pub const REQUEST: [u8; 10] = [0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x02, 0x80, 0x00, 0x00, 0x82];

#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Call {
    Configure,
    KeepLines,
    Rts(bool),
    Dtr(bool),
    LowLatency,
    Write(Vec<u8>),
    Discard,
    /// It was asked whether all has left: whether it has. Recorded when the answer changes.
    Left(bool),
}

/// A port whose transmitter takes one character after the other, and whose receiver and carrier
/// detect follow a script.
pub struct Scripted {
    pub now: u64,
    pub calls: Vec<(u64, Call)>,
    pub lines: bool,
    pub parity: bool,
    pub low_latency: bool,
    /// Whether the driver can be asked about its shift register, and about its buffer.
    pub tells_shift_register: bool,
    /// Extra time before the first bit leaves, as an adapter needs.
    pub delay: u64,
    /// When the shift register is empty.
    pub empty_at: u64,
    /// Most octets that one write takes.
    pub room: usize,
    pub rts: bool,
    pub dtr: bool,
    /// Request-to-send reads as on whatever it is.
    pub rts_reads_on: bool,
    /// Another program opens the port then, which raises both lines.
    pub meddled_at: Option<u64>,
    /// Whether the modem gives back what is sent.
    pub echoes: bool,
    /// How much later than it was sent what is given back arrives.
    pub echo_delay: u64,
    pub arrivals: VecDeque<(u64, u8, Marks)>,
    /// Times at which carrier detect changes; it is off at first. `None`: no such line.
    pub carrier: Option<Vec<u64>>,
    /// What the driver has counted by then, in order of time; `None`: it does not count.
    pub counts: Option<Vec<(u64, ErrorCounts)>>,
    /// The port is gone from then on.
    pub lost_at: Option<u64>,
    /// It takes no more octets from then on.
    pub jammed_at: Option<u64>,
}

impl Scripted {
    pub fn new() -> Scripted {
        Scripted {
            now: 0,
            calls: Vec::new(),
            lines: true,
            parity: true,
            low_latency: true,
            tells_shift_register: true,
            delay: 0,
            empty_at: 0,
            room: 4096,
            // As the system leaves it when it opens a port.
            rts: true,
            dtr: true,
            rts_reads_on: false,
            meddled_at: None,
            echoes: false,
            echo_delay: 0,
            arrivals: VecDeque::new(),
            carrier: Some(Vec::new()),
            counts: None,
            lost_at: None,
            jammed_at: None,
        }
    }

    fn record(&mut self, call: Call) {
        self.calls.push((self.now, call));
    }

    /// What is received from `from` on, one character after the other.
    pub fn receives(&mut self, from: u64, values: &[u8]) {
        self.arrivals
            .extend(values.iter().enumerate().map(|(i, &v)| (from + (i as u64 + 1) * C, v, Marks::NONE)));
    }

    pub fn rts_calls(&self) -> Vec<(u64, bool)> {
        let rts = self.calls.iter().filter_map(|(t, c)| match c {
            Call::Rts(on) => Some((*t, *on)),
            _ => None,
        });
        rts.collect()
    }
}

impl Hardware for Scripted {
    fn configure(&mut self) -> Result<bool, String> {
        self.record(Call::Configure);
        Ok(self.parity)
    }

    fn keep_lines_on_close(&mut self) -> Result<(), String> {
        self.record(Call::KeepLines);
        Ok(())
    }

    fn set_rts(&mut self, on: bool) -> Result<bool, String> {
        self.record(Call::Rts(on));
        assert!(on || self.empty_at <= self.now, "request-to-send goes while the last octets leave");
        self.rts = on;
        Ok(self.lines)
    }

    fn set_dtr(&mut self, on: bool) -> Result<bool, String> {
        self.record(Call::Dtr(on));
        self.dtr = on;
        Ok(self.lines)
    }

    fn ask_low_latency(&mut self) -> bool {
        self.record(Call::LowLatency);
        self.low_latency
    }

    fn write(&mut self, octets: &[u8]) -> Result<usize, String> {
        let n = octets.len().min(if self.jammed_at.is_some_and(|t| t <= self.now) { 0 } else { self.room });
        if n > 0 {
            self.record(Call::Write(octets[..n].to_vec()));
            let from = self.empty_at.max(self.now + self.delay);
            if self.echoes {
                self.receives(from + self.echo_delay, &octets[..n]);
                self.arrivals.make_contiguous().sort_by_key(|a| a.0);
            }
            self.empty_at = from + n as u64 * C;
        }
        Ok(n)
    }

    fn unsent(&mut self) -> Unsent {
        let left = self.empty_at.saturating_sub(self.now);
        // The character in the shift register is no longer in the buffer.
        let queued = usize::try_from(left.div_ceil(C)).unwrap().saturating_sub(1);
        let last = self.calls.iter().rev().find(|c| matches!(c.1, Call::Left(_) | Call::Write(_)));
        if last.is_none_or(|c| c.1 != Call::Left(left == 0)) {
            self.record(Call::Left(left == 0));
        }
        Unsent { queued: Some(queued), shift_register_empty: self.tells_shift_register.then_some(left == 0) }
    }

    fn discard_unsent(&mut self) {
        self.record(Call::Discard);
        self.empty_at = self.now;
    }

    fn read(&mut self, octets: &mut Vec<(u8, Marks)>) -> Result<(), String> {
        while self.arrivals.front().is_some_and(|a| a.0 <= self.now) {
            octets.extend(self.arrivals.pop_front().map(|(_, v, m)| (v, m)));
        }
        match self.lost_at {
            Some(t) if t <= self.now => Err("unplugged".into()),
            _ => Ok(()),
        }
    }

    fn error_counts(&mut self) -> Option<ErrorCounts> {
        let counted = self.counts.as_ref()?.iter().rev().find(|c| c.0 <= self.now);
        Some(counted.map_or(ErrorCounts::default(), |c| c.1))
    }

    fn lines(&mut self) -> Option<Lines> {
        let changes = self.carrier.as_ref()?;
        if self.meddled_at.take_if(|t| *t <= self.now).is_some() {
            (self.rts, self.dtr) = (true, true);
        }
        let carrier = changes.iter().filter(|&&t| t <= self.now).count() % 2 == 1;
        Some(Lines { rts: self.rts || self.rts_reads_on, dtr: self.dtr, carrier })
    }
}

pub struct Rig {
    pub port: Scripted,
    pub logic: PortLogic,
    pub heard: Vec<Octet>,
    pub sent: Vec<u64>,
}

impl Rig {
    pub fn open(mut port: Scripted, options: SerialOptions) -> Rig {
        let logic = PortLogic::open(options, Pace::Wire, Instant::ZERO, &mut port).unwrap();
        Rig { port, logic, heard: Vec::new(), sent: Vec::new() }
    }

    /// The port is found to be lost at `now`.
    pub fn lost(&mut self, now: u64) {
        self.port.now = now;
        let lost = self.logic.handle(Instant::from_nanos(now), &mut self.port).unwrap_err();
        assert_eq!((lost.doing, lost.fault, lost.said.as_str()), ("reading from", Fault::Lost, "unplugged"));
        self.fetch();
    }

    fn fetch(&mut self) {
        while let Some(output) = self.logic.poll_output() {
            match output {
                PortOutput::Octets(octets) => self.heard.extend(octets),
                PortOutput::Sent { at } => self.sent.push(at.as_nanos()),
            }
        }
    }

    /// Lets time run to `end`: the logic is called when it wants to, or when something arrives.
    pub fn run(&mut self, end: u64) {
        let mut rounds = 0;
        loop {
            let now = Instant::from_nanos(self.port.now);
            self.logic.handle(now, &mut self.port).unwrap();
            self.fetch();
            let wake = self.logic.wake_at().map(Instant::as_nanos);
            let arrival = self.port.arrivals.front().map(|a| a.0);
            // A port that was full has room again a little later.
            let room = self.logic.wants_room().then_some(self.port.now + C);
            let next = [wake, arrival, room].into_iter().flatten().min().unwrap_or(end);
            if next >= end {
                self.port.now = end;
                return;
            }
            // A wish for now that nothing comes of would be a busy loop.
            rounds = if next <= self.port.now { rounds + 1 } else { 0 };
            assert!(rounds < 5, "it does not let time pass at {now}");
            self.port.now = next.max(self.port.now);
        }
    }

    pub fn values(&self) -> Vec<u8> {
        self.heard.iter().map(|o| o.value).collect()
    }
}

pub fn default() -> Rig {
    Rig::open(Scripted::new(), SerialOptions::default())
}
