//! What leaves a device: answers that wait for their time, and bursts.

use super::Device;
use super::faults;
use crate::frame::{Address, Frame, Master, RawFrame, Target};
use crate::time::Instant;
use bytes::Bytes;
use core::time::Duration;

/// An answer that waits for its time.
#[derive(Clone, Debug)]
pub(super) struct Pending {
    pub at: Instant,
    pub octets: Bytes,
    /// The same where parity or pauses are to be wrong.
    pub raw: Option<RawFrame>,
    pub to: Master,
    /// The master that learns of the cold start by it [ST-08].
    pub tells: Option<Master>,
}

/// What is leaving.
#[derive(Clone, Copy, Debug)]
pub(super) enum Leaving {
    /// An answer to this master.
    Answer(Master),
    /// A burst that names this master.
    Burst(Master),
    /// One of both that had begun when the power went.
    Left,
}

impl Device {
    /// Octets to send from `now` on, preambles included; tell [`Device::sent`] when the last of them
    /// has left. An answer that is due is given out however late it is asked for; a newer request
    /// takes its place. Where none waits it may be a burst.
    pub fn poll_transmit(&mut self, now: Instant) -> Option<Bytes> {
        if self.pending.is_none() {
            return self.poll_burst(now);
        }
        let due = self.pending.take_if(|p| p.at <= now && p.raw.is_none())?;
        self.answers(now, &due);
        let lasts = self.pace.character() * due.octets.len() as u32;
        self.give_out(now, lasts, Leaving::Answer(due.to));
        Some(due.octets)
    }

    /// The same with wrong parity or pauses inside, which a device with such a [`super::ProtocolFault`] sends; asked if
    /// [`Device::poll_transmit`] is silent.
    pub fn poll_raw(&mut self, now: Instant) -> Option<RawFrame> {
        let due = self.pending.take_if(|p| p.at <= now && p.raw.is_some())?;
        self.answers(now, &due);
        let raw = due.raw?;
        let pauses: Duration = raw.octets.iter().map(|o| o.gap_before).sum();
        self.give_out(now, self.pace.character() * raw.octets.len() as u32 + pauses, Leaving::Answer(due.to));
        Some(raw)
    }

    /// An answer begins to leave.
    fn answers(&mut self, now: Instant, due: &Pending) {
        if let Some(master) = due.tells {
            self.state.cold_start[master.index()] = false;
            faults::given_out(&mut self.state, master);
        }
        self.state.counters.replies = self.state.counters.replies.wrapping_add(1);
        self.state.delayed.given_out();
        self.start_again(now);
    }

    /// A burst, if one may begin now [LL-23] and one is due, or an answer to follow [LL-10].
    fn poll_burst(&mut self, now: Instant) -> Option<Bytes> {
        if !self.state.bursts() || self.receiver.deadline().is_some() {
            return None;
        }
        // The burst tells what has come about with time, such as a damped current that saturates.
        self.state.reach(now);
        self.state.look_at_bursts(now);
        let master = self.turns.may_begin(now, self.state.burst_is_due())?;
        let (command, code, data) = self.state.take_burst(now, master)?;
        let address = Address { master, burst: true, target: Target::Unique(self.unique_address()) };
        let status = [code, self.state.field_device_status(master)];
        let preambles = usize::from(self.state.preambles_reply());
        let said = faults::Reply {
            is_burst: true,
            is_error: false,
            address,
            command,
            status,
            data,
            preambles,
            wait: Duration::ZERO,
        };
        let said = faults::shape(&self.state, said);
        let frame = Frame::reply(said.is_burst, said.address, said.command, said.status, said.data).ok()?;
        let (octets, _) = faults::speak(&self.state, &frame, said.preambles, self.pace);
        self.give_out(now, self.pace.character() * octets.len() as u32, Leaving::Burst(master));
        Some(octets)
    }

    /// What is given out leaves until so much later.
    fn give_out(&mut self, now: Instant, lasts: Duration, what: Leaving) {
        // Where octets take no time the next request may bear the same stamp.
        self.deaf_until = (!lasts.is_zero()).then_some(now + lasts);
        self.left(now + lasts, what);
        self.leaving = Some(what);
    }

    fn left(&mut self, at: Instant, what: Leaving) {
        match what {
            Leaving::Answer(to) => self.turns.answered(at, to),
            Leaving::Burst(named) => self.turns.burst_left(at, named),
            Leaving::Left => self.turns.power_up(at),
        }
        faults::begin_turns(&self.state, &mut self.turns);
    }

    /// The last octet of what [`Device::poll_transmit`] gave out left the line at `at`.
    pub fn sent(&mut self, at: Instant) {
        if self.deaf_until.is_some() {
            self.deaf_until = Some(at);
        }
        if let Some(what) = self.leaving.take() {
            self.left(at, what);
        }
    }

    /// Puts an answer off until its time.
    pub(super) fn reply(
        &mut self,
        end: Instant,
        address: Address,
        command: u8,
        status: [u8; 2],
        data: Option<(Vec<u8>, Master)>,
    ) {
        let (is_error, to) = (data.is_none(), address.master);
        let (data, tells) = data.map_or((Vec::new(), None), |(d, m)| (d, Some(m)));
        let preambles = usize::from(self.state.preambles_reply());
        let wait = self.state.config.response_delay;
        let said =
            faults::Reply { is_burst: false, is_error, address, command, status, data, preambles, wait };
        let said = faults::shape(&self.state, said);
        // No answer is too long for a frame: that of 78, which could be, is cut to what fits [DV-27].
        if let Ok(frame) = Frame::reply(said.is_burst, said.address, said.command, said.status, said.data) {
            let (octets, raw) = faults::speak(&self.state, &frame, said.preambles, self.pace);
            self.pending = Some(Pending { at: end + self.pace.scale(said.wait), octets, raw, to, tells });
        }
    }
}
