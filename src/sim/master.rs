//! A master as a participant: a host that goes about its business.

use super::HostFault;
use crate::frame::{Capabilities, Frame, Octet, StampUnit};
use crate::line::Station;
use crate::link::{Master, MasterConfig, Output, Violation};
use crate::time::{Instant, Pace};
use core::time::Duration;

/// Most outputs that are kept for whoever asks for them.
const MOST_KEPT: usize = 100_000;

/// Something that a master asks again and again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Errand {
    /// The request.
    pub frame: Frame,
    /// Preambles before it, 5 to 20; `None` for the master's own number.
    pub preambles: Option<u8>,
    /// When it is asked first, by the master's clock.
    pub first_at: Instant,
    /// From the moment it was due to the moment it is due again, at least from the end of the one
    /// before; zero asks without a pause. `None` asks once.
    pub every: Option<Duration>,
}

/// What became of a master's requests.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Requests that have begun, repeats not counted.
    pub asked: u64,
    /// Of these: a device's frame came.
    pub answered: u64,
    /// Nothing came, or only damaged octets, after the last repeat.
    pub unanswered: u64,
    /// Never sent, because the link was not free in time.
    pub no_turn: u64,
    /// Repeats.
    pub retries: u64,
    /// What else passed.
    pub overheard: u64,
}

/// A master that runs errands: of those that are due the one that has waited longest comes first.
#[derive(Clone, Debug)]
pub struct MasterStation {
    master: Master,
    errands: Vec<(Errand, Option<Instant>)>,
    /// Which errand; none of them if they have been changed since.
    under_way: Option<usize>,
    tally: Tally,
    stopped: Option<Violation>,
    kept: Option<Vec<Output>>,
    faults: Vec<HostFault>,
}

impl MasterStation {
    /// A master that begins to listen at time zero of its clock.
    pub fn new(config: MasterConfig, pace: Pace, errands: Vec<Errand>) -> MasterStation {
        MasterStation::begun(config, pace, errands, Instant::ZERO)
    }

    /// The same that begins to listen at `now`.
    pub(super) fn begun(
        config: MasterConfig,
        pace: Pace,
        errands: Vec<Errand>,
        now: Instant,
    ) -> MasterStation {
        // What it hears are the octets of the bus themselves.
        let line = Capabilities {
            unit: StampUnit::Octets,
            stamp_error: Duration::ZERO,
            parity_seen: true,
            carrier_seen: true,
            echo: false,
        };
        let mut station = MasterStation {
            master: Master::new(config, pace, line, now),
            errands: Vec::new(),
            under_way: None,
            tally: Tally::default(),
            stopped: None,
            kept: None,
            faults: Vec::new(),
        };
        station.set_errands(errands);
        station
    }

    /// The same with these faults, in this order.
    #[must_use]
    pub fn with_faults(mut self, faults: Vec<HostFault>) -> MasterStation {
        self.faults = faults;
        self
    }

    /// From now on keeps what the master has to tell, up to 100 000 items, for
    /// [`MasterStation::take_outputs`].
    #[must_use]
    pub fn keeping_outputs(mut self) -> MasterStation {
        self.kept = Some(Vec::new());
        self
    }

    /// What the master had to tell since the last call, in order; nothing unless it is kept.
    pub fn take_outputs(&mut self) -> Vec<Output> {
        self.kept.as_mut().map(core::mem::take).unwrap_or_default()
    }

    /// What became of its requests so far.
    pub fn tally(&self) -> Tally {
        self.tally
    }

    /// Why it has stopped for good [HO-03].
    pub fn stopped(&self) -> Option<&Violation> {
        self.stopped.as_ref()
    }

    /// Whether a request is under way or waits for its turn.
    pub fn is_busy(&self) -> bool {
        self.under_way.is_some()
    }

    /// From now on runs these errands; what is under way is still brought to its end.
    pub fn set_errands(&mut self, errands: Vec<Errand>) {
        self.errands = errands.into_iter().map(|e| (e.first_at, e)).map(|(at, e)| (e, Some(at))).collect();
        self.under_way = self.under_way.map(|_| usize::MAX);
    }

    /// Asks no more when what is under way has ended.
    pub fn rest(&mut self) {
        self.errands.iter_mut().for_each(|e| e.1 = None);
    }

    fn next_due(&self) -> Option<(Instant, usize)> {
        let due = self.errands.iter().enumerate().filter_map(|(i, (_, at))| at.map(|at| (at, i)));
        due.min()
    }

    fn take_up(&mut self, now: Instant) {
        if self.under_way.is_some() || self.stopped.is_some() {
            return;
        }
        let Some((_, i)) = self.next_due().filter(|(at, _)| *at <= now) else { return };
        let (errand, _) = &self.errands[i];
        // Refused only when busy or stopped, and it is neither.
        if self.master.ask(errand.frame.clone(), errand.preambles).is_ok() {
            self.tally.asked += 1;
            self.under_way = Some(i);
        }
    }

    fn ended(&mut self, now: Instant) {
        if let Some((errand, due)) = self.under_way.take().and_then(|i| self.errands.get_mut(i)) {
            *due = match (errand.every, *due) {
                (Some(every), Some(was)) => Some((was + every).max(now)),
                _ => None,
            };
        }
    }
}

impl Station for MasterStation {
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
            self.take_up(now);
            self.master.handle_timeout(now);
            let mut over = false;
            while let Some(output) = self.master.poll_output() {
                match &output {
                    Output::Transmit(octets) => {
                        let mut octets = octets.to_vec();
                        self.faults.iter().for_each(|f| f.spoil(&mut octets));
                        return Some(octets);
                    }
                    Output::Done(t) => {
                        let answered = t.reply.is_some();
                        *(if answered { &mut self.tally.answered } else { &mut self.tally.unanswered }) += 1;
                        self.tally.retries += t.retries() as u64;
                        over = true;
                    }
                    Output::NoTurn(_) => {
                        self.tally.no_turn += 1;
                        over = true;
                    }
                    Output::Again(_) => self.tally.retries += 1,
                    Output::Overheard(_) => self.tally.overheard += 1,
                    Output::Stopped(v) => {
                        self.stopped = Some(v.clone());
                        self.under_way = None;
                    }
                }
                if let Some(kept) = self.kept.as_mut().filter(|k| k.len() < MOST_KEPT) {
                    kept.push(output);
                }
            }
            if !over {
                return None;
            }
            self.ended(now);
        }
    }

    fn wake_at(&self) -> Option<Instant> {
        let due = match self.under_way {
            None if self.stopped.is_none() => self.next_due().map(|(at, _)| at),
            _ => None,
        };
        self.master.wake_at().into_iter().chain(due).min()
    }
}
