//! A master that asks for others: what a server of several clients puts on the wires [IP-15].

use crate::frame::{Address, Capabilities, Frame, Master as Role, Octet, StampUnit};
use crate::line::Station;
use crate::link::{Master, MasterConfig, Output};
use crate::time::{Instant, Pace};
use core::time::Duration;
use std::collections::VecDeque;

/// Most requests that wait for their turn; more are given back at once as unanswered.
const MOST_WAITING: usize = 256;
/// Most bursts that are kept until somebody fetches them.
const MOST_BURSTS: usize = 1000;

/// What became of a request, by the number that it was given.
pub type Relayed = (u64, Option<Frame>);

/// A master with a queue. Requests are asked in the order in which they came, each with the master's bit of this
/// station; the answer has the bit that its request had.
#[derive(Clone, Debug)]
pub struct RelayStation {
    config: MasterConfig,
    pace: Pace,
    master: Master,
    /// Whether it keeps the bursts that it hears.
    keeps_bursts: bool,
    /// With the moment before which each of them is not on the wires: it came then.
    queue: VecDeque<(u64, Frame, Instant)>,
    under_way: Option<(u64, Address)>,
    answers: Vec<Relayed>,
    bursts: VecDeque<Frame>,
    stopped: u64,
}

impl RelayStation {
    /// A master of this role that has nothing to ask yet.
    pub fn new(role: Role, pace: Pace, keeps_bursts: bool) -> RelayStation {
        // It has been on the wires for long, as a gateway has.
        let config = MasterConfig { role, listens_first: false, ..MasterConfig::default() };
        RelayStation {
            config,
            pace,
            master: new_master(config, pace, Instant::ZERO),
            keeps_bursts,
            queue: VecDeque::new(),
            under_way: None,
            answers: Vec::new(),
            bursts: VecDeque::new(),
            stopped: 0,
        }
    }

    /// The master that it is.
    pub fn role(&self) -> Role {
        self.config.role
    }

    /// Asks as soon as those before have been asked; [`RelayStation::take_answers`] has what came of it. `now` is when it
    /// came, which may be later than the wires have come.
    pub fn ask(&mut self, now: Instant, number: u64, frame: Frame) {
        match self.queue.len() < MOST_WAITING {
            true => {
                // Who wants to be asked at a moment that has been is not asked.
                self.queue.push_back((number, frame, now + Duration::from_nanos(1)));
            }
            false => self.answers.push((number, None)),
        }
    }

    /// Nobody waits for this answer any more: it is not asked for unless it is under way.
    pub fn forget(&mut self, number: u64) {
        self.queue.retain(|(n, ..)| *n != number);
    }

    /// What was answered, or not, since the last call, oldest first.
    pub fn take_answers(&mut self) -> Vec<Relayed> {
        core::mem::take(&mut self.answers)
    }

    /// The bursts that were heard since the last call, oldest first.
    pub fn take_bursts(&mut self) -> VecDeque<Frame> {
        core::mem::take(&mut self.bursts)
    }

    /// How often another master with its bit made it begin anew [HO-03].
    pub fn stopped(&self) -> u64 {
        self.stopped
    }

    fn ended(&mut self, answer: Option<Frame>) {
        let Some((number, asked)) = self.under_way.take() else { return };
        let answer = answer.map(|frame| {
            let said = frame.address();
            frame.with_address(Address { master: asked.master, ..said })
        });
        self.answers.push((number, answer));
    }

    fn output(&mut self, now: Instant, output: Output) -> Option<Vec<u8>> {
        match output {
            Output::Transmit(octets) => return Some(octets.to_vec()),
            Output::Done(t) => self.ended(t.reply.map(|g| g.frame)),
            Output::NoTurn(_) => self.ended(None),
            Output::Again(_) => {}
            Output::Overheard(_) => {
                let burst = output.burst().filter(|_| self.keeps_bursts).cloned();
                if burst.is_some() && self.bursts.len() >= MOST_BURSTS {
                    self.bursts.pop_front();
                }
                self.bursts.extend(burst);
            }
            Output::Stopped(_) => {
                // A host would stop for good. A server has other clients, and who is on the wires may go again.
                self.stopped += 1;
                self.ended(None);
                self.master = new_master(self.config, self.pace, now);
            }
        }
        None
    }
}

fn new_master(config: MasterConfig, pace: Pace, now: Instant) -> Master {
    // What it hears are the octets of the bus themselves.
    let line = Capabilities {
        unit: StampUnit::Octets,
        stamp_error: Duration::ZERO,
        parity_seen: true,
        carrier_seen: true,
        echo: false,
    };
    Master::new(config, pace, line, now)
}

impl Station for RelayStation {
    fn handle(&mut self, now: Instant, octets: &[Octet]) {
        self.master.handle(now, octets);
    }

    fn sent(&mut self, now: Instant) {
        self.master.sent(now);
    }

    fn carrier(&mut self, now: Instant, on: bool) {
        self.master.carrier(now, on);
    }

    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        loop {
            if self.under_way.is_none()
                && let Some((number, frame, _)) = self.queue.pop_front_if(|(.., from)| *from <= now)
            {
                let asked = frame.address();
                let on_wires = frame.with_address(Address { master: self.config.role, ..asked });
                self.under_way = Some((number, asked));
                if self.master.ask(on_wires, None).is_err() {
                    self.ended(None);
                }
            }
            self.master.handle_timeout(now);
            while let Some(output) = self.master.poll_output() {
                if let Some(octets) = self.output(now, output) {
                    return Some(octets);
                }
            }
            if self.under_way.is_some() || self.queue.front().is_none_or(|(.., from)| *from > now) {
                return None;
            }
        }
    }

    fn wake_at(&self) -> Option<Instant> {
        // What was asked since the last look is taken up when it came.
        let next = self.queue.front().filter(|_| self.under_way.is_none());
        self.master.wake_at().into_iter().chain(next.map(|(.., from)| *from)).min()
    }
}
