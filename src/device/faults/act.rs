//! The places where a device does otherwise than it should, if a fault says so. Without one each of them does what
//! stands behind it and nothing else.

use super::{Act, ProtocolFault};
use crate::device::burst::BurstTrigger;
use crate::device::commands::{self, Told};
use crate::device::state::State;
use crate::frame::{Address, Frame, Master, RawFrame, RawOctet, ReceiverConfig, Reception, check_byte};
use crate::link::{BurstTurns, Call, Slave};
use crate::time::{Instant, Pace};
use bytes::Bytes;
use core::time::Duration;

/// A request to this device.
#[derive(Clone, Copy)]
pub(super) struct Request<'a> {
    pub now: Instant,
    pub frame: &'a Frame,
    pub broadcast: bool,
}

impl Request<'_> {
    pub fn command(&self) -> u8 {
        self.frame.command()
    }

    pub fn master(&self) -> Master {
        self.frame.address().master
    }

    pub fn data(&self) -> &[u8] {
        self.frame.data()
    }
}

/// What the device would do without the fault that holds this: the faults named behind it, then the device.
#[derive(Clone, Copy)]
pub(super) struct Next(usize);

impl Next {
    pub fn run(self, state: &mut State, request: &Request<'_>) -> Option<Told> {
        from(self.0, state, request)
    }

    /// The same for other data.
    pub fn run_with(self, state: &mut State, request: &Request<'_>, data: Vec<u8>) -> Option<Told> {
        match Frame::request(request.frame.address(), request.command(), data) {
            Ok(frame) => self.run(state, &Request { frame: &frame, ..*request }),
            Err(_) => self.run(state, request),
        }
    }
}

/// An answer or a burst as a frame to be.
pub(in crate::device) struct Reply {
    pub is_burst: bool,
    /// It is the answer to a damaged request.
    pub is_error: bool,
    pub address: Address,
    pub command: u8,
    pub status: [u8; 2],
    pub data: Vec<u8>,
    pub preambles: usize,
    /// From the end of the request to its first preamble, at wire pace.
    pub wait: Duration,
}

/// An answer or a burst as octets.
pub(in crate::device) struct Outgoing {
    pub is_burst: bool,
    pub preambles: usize,
    /// Preambles first.
    pub octets: Vec<RawOctet>,
    /// How long one of them lasts.
    pub character: Duration,
}

impl Outgoing {
    /// The octets from the delimiter on, at least those of the shortest frame.
    pub fn frame(&mut self) -> &mut [RawOctet] {
        &mut self.octets[self.preambles..]
    }

    /// Where the command stands, counted from the delimiter.
    pub fn command_at(&self) -> usize {
        if self.octets[self.preambles].value & 0x80 == 0 { 2 } else { 6 }
    }

    /// Makes the last octet the check byte of what stands before it.
    pub fn check(&mut self) {
        let values: Vec<u8> = self.frame().iter().map(|o| o.value).collect();
        if let (Some((_, rest)), Some(last)) = (values.split_last(), self.octets.last_mut()) {
            last.value = check_byte(rest);
        }
    }

    /// Takes the status octets out, and out of the byte count.
    pub fn drop_status(&mut self) {
        let at = self.preambles + self.command_at() + 2;
        if self.octets.len() > at + 2 {
            self.octets.drain(at..at + 2);
            self.set(self.command_at() + 1, |n| n.wrapping_sub(2));
        }
    }

    /// Changes the octet `at`, counted from the delimiter, and the check byte with it.
    pub fn set(&mut self, at: usize, change: impl FnOnce(u8) -> u8) {
        if let Some(octet) = self.frame().get_mut(at) {
            octet.value = change(octet.value);
            self.check();
        }
    }
}

/// Update period, longest period and trigger of a burst message.
pub(super) type Burst = (Duration, Duration, BurstTrigger);

fn named(state: &State, i: usize) -> Option<&'static ProtocolFault> {
    state.config.faults.get(i).copied()
}

fn each(state: &State) -> impl Iterator<Item = &'static Act> {
    state.config.faults.iter().map(|f| &f.act)
}

/// How octets become frames.
pub(in crate::device) fn hear(
    faults: &[&'static ProtocolFault],
    mut config: ReceiverConfig,
) -> ReceiverConfig {
    for fault in faults {
        if let Act::Ear(act) = fault.act {
            act(&mut config);
        }
    }
    config
}

/// Whether what came is a request to this device.
pub(in crate::device) fn judge(state: &State, slave: &Slave, heard: &Reception) -> Call {
    each(state).fold(slave.judge(heard), |call, act| match act {
        Act::Call(act) => act(slave, heard, call),
        _ => call,
    })
}

/// Response code and data of the answer to a request; `None` for silence.
pub(in crate::device) fn answer(
    state: &mut State,
    now: Instant,
    frame: &Frame,
    broadcast: bool,
) -> Option<Told> {
    from(0, state, &Request { now, frame, broadcast })
}

/// The same with the faults from one on: the first of them decides what becomes of those behind it.
fn from(first: usize, state: &mut State, request: &Request<'_>) -> Option<Told> {
    let Some(fault) = named(state, first) else {
        return commands::answer(state, request.now, request.frame, request.broadcast);
    };
    let next = Next(first + 1);
    let is_of = |of: &[u8]| of.is_empty() || of.contains(&request.command());
    match &fault.act {
        Act::Request(act) => act(state, request, next),
        Act::Code { of, from, to } if is_of(of) => {
            let (code, data) = next.run(state, request)?;
            Some((if code == *from { *to } else { code }, data))
        }
        Act::Accepts { of, codes } if is_of(of) => {
            let told = next.run(state, request)?;
            Some(if codes.contains(&told.0) { (0, request.data().to_vec()) } else { told })
        }
        Act::Data { of, edit } if is_of(of) => {
            let (code, mut data) = next.run(state, request)?;
            if !data.is_empty() {
                edit(state, &mut data);
            }
            Some((code, data))
        }
        Act::Undoes { of, undo } if is_of(of) => {
            let before = state.clone();
            let told = next.run(state, request);
            undo(state, &before);
            told
        }
        _ => next.run(state, request),
    }
}

/// The second status octet for a master.
pub(in crate::device) fn status(state: &State, master: Master, octet: u8) -> u8 {
    each(state).fold(octet, |octet, act| match act {
        Act::Status(act) => act(state, master, octet),
        _ => octet,
    })
}

/// An answer or a burst before it is made a frame.
pub(in crate::device) fn shape(state: &State, mut reply: Reply) -> Reply {
    for act in each(state) {
        if let Act::Reply(act) = act {
            act(state, &mut reply);
        }
    }
    reply
}

/// The octets of a frame behind its preambles. They are bare, unless parity or pauses are wrong in them.
pub(in crate::device) fn speak(
    state: &State,
    frame: &Frame,
    preambles: usize,
    pace: Pace,
) -> (Bytes, Option<RawFrame>) {
    let octets = frame.encode_after(preambles);
    if !each(state).any(|act| matches!(act, Act::Octets(_))) {
        return (octets, None);
    }
    let is_burst = frame.frame_type() == crate::frame::FrameType::Back;
    let raw = octets.iter().map(|&o| o.into()).collect();
    let mut out = Outgoing { is_burst, preambles, octets: raw, character: pace.character() };
    for act in each(state) {
        if let Act::Octets(act) = act {
            act(&mut out);
        }
    }
    let raw = RawFrame { octets: out.octets };
    let is_plain = raw.octets.iter().all(|o| !o.bad_parity && o.gap_before.is_zero());
    (raw.values().into(), (!is_plain).then_some(raw))
}

/// An answer to this master has been given out.
pub(in crate::device) fn given_out(state: &mut State, master: Master) {
    for i in 0..state.config.faults.len() {
        if let Some(ProtocolFault { act: Act::GivenOut(act), .. }) = named(state, i) {
            act(state, master);
        }
    }
}

/// The device has started, or has started again.
pub(in crate::device) fn started(state: &mut State) {
    for i in 0..state.config.faults.len() {
        if let Some(ProtocolFault { act: Act::Started(act), .. }) = named(state, i) {
            act(state);
        }
    }
}

/// An answer or a burst has left, and the turns of bursts go on from there.
pub(in crate::device) fn begin_turns(state: &State, turns: &mut BurstTurns) {
    for act in each(state) {
        if let Act::Turns(act) = act {
            act(turns);
        }
    }
}

/// Periods and trigger of a burst message.
pub(in crate::device) fn timing(state: &State, burst: Burst) -> Burst {
    each(state).fold(burst, |burst, act| match act {
        Act::Timing(act) => act(burst),
        _ => burst,
    })
}
