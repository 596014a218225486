//! A master on a wire that is nothing but arithmetic.

use looprig::frame::{
    Address, Capabilities, Frame, Marks, Master as Role, Octet, PollingAddress, StampUnit, Target,
    UniqueAddress,
};
use looprig::link::{Master, MasterConfig, Output, Violation};
use looprig::time::{Instant, Pace};
use looprig::transaction::{Passed, Transaction};
use std::collections::VecDeque;
use std::time::Duration;

pub const LINE: Capabilities = Capabilities {
    unit: StampUnit::Octets,
    stamp_error: Duration::ZERO,
    parity_seen: true,
    carrier_seen: false,
    echo: false,
};

/// `n` characters, ns: 11 bits at 1200 bit/s each [LL-01], rounded down as one length.
pub fn characters(n: u64) -> Duration {
    Duration::from_nanos(n * 11 * 1_000_000_000 / 1200)
}

/// `n` characters that pass one by one, each of 9 166 666 ns.
pub fn passing(n: usize) -> Duration {
    Duration::from_nanos(9_166_666) * n as u32
}

pub fn at(d: Duration) -> Instant {
    Instant::ZERO + d
}

/// A frame from preamble to check byte [FR-01] [FR-09]; `rest` begins with the delimiter.
pub fn framed(rest: &[u8]) -> Vec<u8> {
    let check = rest.iter().fold(0, |x, o| x ^ o);
    [&[0xFF; 5], rest, &[check]].concat()
}

/// Command 0 at polling address 0: primary 02 80 00 00 82 as published [ICS]; secondary 02^00^00^00 = 02.
pub const ASK_PRIMARY: [u8; 10] = [0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x02, 0x80, 0x00, 0x00, 0x82];
pub const ASK: [u8; 10] = [0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x02, 0x00, 0x00, 0x00, 0x02];

/// The shortest answers to them: two status octets and no data.
pub fn answer() -> Vec<u8> {
    framed(&[0x06, 0x00, 0x00, 0x02, 0x00, 0x00])
}
pub fn answer_to_primary() -> Vec<u8> {
    framed(&[0x06, 0x80, 0x00, 0x02, 0x00, 0x00])
}

/// The same with one bit of the check byte wrong.
pub fn spoilt(mut octets: Vec<u8>) -> Vec<u8> {
    *octets.last_mut().expect("an octet") ^= 0x10;
    octets
}

pub const UNIQUE: [u8; 5] = [0x3D, 0x71, 0x00, 0x31, 0x04];

/// A burst of that device with command 1, no data, that names a master: burst bit 40, primary 80 [FR-16].
pub fn burst(primary: bool) -> Vec<u8> {
    let first = UNIQUE[0] | 0x40 | if primary { 0x80 } else { 0 };
    framed(&[0x81, first, UNIQUE[1], UNIQUE[2], UNIQUE[3], UNIQUE[4], 1, 2, 0, 0])
}

pub fn poll_0(role: Role) -> Frame {
    let target = Target::Polling(PollingAddress::new(0).unwrap());
    Frame::request(Address::new(role, target), 0, Vec::new()).unwrap()
}

pub fn to_device(role: Role, command: u8) -> Frame {
    let target = Target::Unique(UniqueAddress::from_octets(UNIQUE));
    Frame::request(Address::new(role, target), command, Vec::new()).unwrap()
}

/// What comes after a transmission: so long after its end, these octets.
pub type Reaction = (Duration, Vec<u8>);

pub struct Rig {
    pub master: Master,
    pub role: Role,
    pub now: Instant,
    /// Start and octets of everything that it sent.
    pub sent: Vec<(Instant, Vec<u8>)>,
    pub done: Vec<(Instant, Transaction)>,
    pub again: Vec<Transaction>,
    pub no_turn: Vec<Instant>,
    pub overheard: Vec<Passed>,
    pub stopped: Vec<Violation>,
    /// What each transmission is met by, in order; silence at the end.
    pub reactions: VecDeque<Option<Reaction>>,
    /// How late the port tells that a transmission has left.
    pub tells_late: Duration,
    /// How late the modem gives back what is sent, if it does.
    pub echo: Option<Duration>,
    feed: Vec<Octet>,
    ends: Vec<Instant>,
    carrier: Vec<(Instant, bool)>,
}

impl Rig {
    pub fn new(role: Role) -> Rig {
        Rig::with(MasterConfig { role, ..MasterConfig::default() }, LINE)
    }

    pub fn with(config: MasterConfig, line: Capabilities) -> Rig {
        Rig {
            master: Master::new(config, Pace::Wire, line, Instant::ZERO),
            role: config.role,
            now: Instant::ZERO,
            sent: Vec::new(),
            done: Vec::new(),
            again: Vec::new(),
            no_turn: Vec::new(),
            overheard: Vec::new(),
            stopped: Vec::new(),
            reactions: VecDeque::new(),
            tells_late: Duration::ZERO,
            echo: None,
            feed: Vec::new(),
            ends: Vec::new(),
            carrier: Vec::new(),
        }
    }

    /// One that has listened long enough.
    pub fn settled() -> Rig {
        let mut rig = Rig::new(Role::Secondary);
        rig.run(Duration::from_secs(1));
        rig
    }

    /// The line hears a carrier between these times.
    pub fn carrier_at(&mut self, from: Instant, until: Instant) {
        self.carrier.extend([(from, true), (until, false)]);
        self.carrier.sort_by_key(|c| c.0);
    }

    /// Octets on the wire, the first of which begins at `from`; gives the end of the last.
    pub fn octets_at(&mut self, from: Instant, values: &[u8]) -> Instant {
        let mut end = from;
        for &value in values {
            end += passing(1);
            self.feed.push(Octet { at: end, value, marks: Marks::NONE });
        }
        self.feed.sort_by_key(|o| o.at);
        end
    }

    pub fn ask(&mut self) {
        self.ask_with(3);
    }

    pub fn ask_with(&mut self, retries: u8) {
        self.master.ask_with(poll_0(self.role), None, retries).unwrap();
    }

    pub fn run(&mut self, d: Duration) {
        self.run_until(self.now + d);
    }

    /// Lets things happen in their order. At one instant only so much can happen: else the master spins.
    pub fn run_until(&mut self, until: Instant) {
        let (mut at_once, mut last) = (0, None);
        loop {
            let next = self.feed.first().map(|o| o.at).into_iter();
            let next = next.chain(self.ends.first().copied()).chain(self.carrier.first().map(|c| c.0));
            let next = next.chain(self.master.wake_at()).min();
            let Some(next) = next.filter(|&t| t <= until) else { break };
            self.now = self.now.max(next);
            at_once = if last == Some(self.now) { at_once + 1 } else { 0 };
            last = Some(self.now);
            assert!(at_once < 8, "spins at {}, wakes at {:?}", self.now, self.master.wake_at());
            if self.ends.first().is_some_and(|&t| t <= self.now) {
                let told = self.ends.remove(0);
                self.master.sent(told);
            }
            let changed = self.carrier.partition_point(|c| c.0 <= self.now);
            for (_, on) in self.carrier.drain(..changed) {
                self.master.carrier(self.now, on);
            }
            let due = self.feed.partition_point(|o| o.at <= self.now);
            for octet in self.feed.drain(..due) {
                self.master.handle(self.now, &[octet]);
            }
            self.master.handle_timeout(self.now);
            let wake = self.master.wake_at();
            assert!(wake.is_none_or(|w| w > self.now), "wakes at {wake:?}, it is {}", self.now);
            self.outputs();
        }
        self.now = self.now.max(until);
        self.master.handle_timeout(self.now);
        self.outputs();
    }

    fn outputs(&mut self) {
        while let Some(output) = self.master.poll_output() {
            match output {
                Output::Transmit(octets) => self.transmitted(octets.to_vec()),
                Output::Done(t) => self.done.push((self.now, *t)),
                Output::NoTurn(_) => self.no_turn.push(self.now),
                Output::Again(t) => self.again.push(*t),
                Output::Overheard(p) => self.overheard.push(p),
                Output::Stopped(v) => self.stopped.push(v),
            }
        }
    }

    fn transmitted(&mut self, octets: Vec<u8>) {
        let end = self.now + passing(octets.len());
        self.ends.push(end + self.tells_late);
        if let Some(late) = self.echo {
            self.octets_at(self.now + late, &octets);
        }
        if let Some(Some((after, values))) = self.reactions.pop_front() {
            self.octets_at(end + after, &values);
        }
        self.sent.push((self.now, octets));
    }

    pub fn end_of_sent(&self, i: usize) -> Instant {
        self.sent[i].0 + passing(self.sent[i].1.len())
    }

    /// The one request that has ended, with its time.
    pub fn only_done(&self) -> (Instant, &Transaction) {
        assert_eq!((self.done.len(), self.no_turn.len(), self.stopped.len()), (1, 0, 0), "{:?}", self.done);
        (self.done[0].0, &self.done[0].1)
    }

    /// The transactions that were overheard.
    pub fn overheard(&self) -> Vec<&Transaction> {
        let mut out = Vec::new();
        for passed in &self.overheard {
            if let Passed::Transaction(t) = passed {
                out.push(&**t);
            }
        }
        out
    }
}
