//! Work that lasts longer than an answer may wait: delayed responses, their buffers, and older devices that are
//! busy meanwhile [DV-40] [DV-41].

use super::commands::{self, Asked, code};
use super::config::Slow;
use super::state::State;
use crate::app::command::Revision;
use crate::frame::Master;
use crate::time::Instant;
use core::time::Duration;

/// Buffers of each master: as many as a revision 7 device must have at least (from memory).
const BUFFERS: usize = 2;
/// The command that carries others [CM-078].
const CARRIER: u8 = 78;

/// What became of a request that was put off.
#[derive(Clone, Debug)]
enum Became {
    /// It is done at that instant.
    Running { until: Instant },
    /// Response code and data wait to be fetched.
    Done { code: u8, reply: Vec<u8> },
    /// A reset came: of what ran nothing is done, of what was done the result is lost.
    Dead,
}

/// One request that was put off: same master, command and data make it the same [DV-40].
#[derive(Clone, Debug)]
struct Buffer {
    command: u8,
    data: Vec<u8>,
    became: Became,
}

impl Buffer {
    fn is_of(&self, command: u8, data: &[u8]) -> bool {
        self.command == command && self.data == data
    }
}

/// Work that is due.
pub(super) struct Due {
    pub master: Master,
    pub command: u8,
    pub data: Vec<u8>,
    pub at: Instant,
}

/// The buffers of both masters.
#[derive(Clone, Debug, Default)]
pub(super) struct Delayed {
    /// By [`Master::index`].
    buffers: [Vec<Buffer>; 2],
    /// The request whose result the answer under way tells: its buffer is freed when that has been given out. Not its
    /// place, for what comes to its end until then may flush others.
    handing_out: Option<(Master, u8, Vec<u8>)>,
}

impl Delayed {
    /// The answer to a request that was put off before; `None` where it was not.
    pub fn ask(&mut self, master: Master, command: u8, data: &[u8]) -> Option<(u8, Vec<u8>)> {
        let found = self.buffers[master.index()].iter().find(|b| b.is_of(command, data))?;
        let (told, answer) = match &found.became {
            Became::Running { .. } => (false, (code::DELAYED_RUNNING, Vec::new())),
            Became::Done { code, reply } => (true, (*code, reply.clone())),
            Became::Dead => (true, (code::DELAYED_DEAD, Vec::new())),
        };
        self.handing_out = told.then(|| (master, command, data.to_vec()));
        Some(answer)
    }

    /// Whether a request was put off, and its result not told yet.
    pub fn knows(&self, master: Master, command: u8, data: &[u8]) -> bool {
        self.buffers[master.index()].iter().any(|b| b.is_of(command, data))
    }

    /// Whether nothing of this master's runs or waits.
    pub fn is_idle(&self, master: Master) -> bool {
        self.buffers[master.index()].is_empty()
    }

    /// Puts a request off until `until`; the response code.
    fn begin(&mut self, master: Master, command: u8, data: &[u8], until: Instant) -> u8 {
        let own = &mut self.buffers[master.index()];
        let runs = |b: &Buffer| matches!(b.became, Became::Running { .. });
        if own.iter().any(|b| b.command == command && runs(b)) {
            return code::DELAYED_CONFLICT;
        }
        let new = Buffer { command, data: data.to_vec(), became: Became::Running { until } };
        if own.len() < BUFFERS {
            own.push(new);
        } else if let Some(dead) = own.iter_mut().find(|b| matches!(b.became, Became::Dead)) {
            *dead = new;
        } else {
            return code::BUSY;
        }
        code::DELAYED_INITIATED
    }

    /// The answer under way has been given out.
    pub fn given_out(&mut self) {
        if let Some((master, command, data)) = self.handing_out.take() {
            self.buffers[master.index()].retain(|b| !b.is_of(command, &data));
        }
    }

    /// The answer under way will never be given out: what it told waits on.
    pub fn kept(&mut self) {
        self.handing_out = None;
    }

    /// Frees the buffers of a master but those still running; whether any was [CM-106].
    pub fn flush(&mut self, master: Master) -> bool {
        let own = &mut self.buffers[master.index()];
        own.retain(|b| matches!(b.became, Became::Running { .. }));
        !own.is_empty()
    }

    /// A loss of power: nothing is known of any of it.
    pub fn forget(&mut self) {
        *self = Delayed::default();
    }

    /// A reset: nothing runs any more, and no result is left.
    pub fn kill(&mut self) {
        self.buffers.iter_mut().flatten().for_each(|b| b.became = Became::Dead);
        self.handing_out = None;
    }

    /// When the next work is done; `None` while none is under way.
    pub fn next_at(&self) -> Option<Instant> {
        self.running().map(|(until, ..)| until).min()
    }

    fn running(&self) -> impl Iterator<Item = (Instant, Master, usize)> {
        [Master::Primary, Master::Secondary].into_iter().flat_map(|master| {
            let own = self.buffers[master.index()].iter().enumerate();
            own.filter_map(move |(place, b)| match b.became {
                Became::Running { until } => Some((until, master, place)),
                _ => None,
            })
        })
    }

    /// The first work that is due at `now`. It counts as running until [`Delayed::done`].
    pub fn due(&self, now: Instant) -> Option<Due> {
        // Of equal times the first is given: the primary master's, then the one begun first.
        let (at, master, place) = self.running().filter(|r| r.0 <= now).min_by_key(|r| r.0)?;
        let b = &self.buffers[master.index()][place];
        Some(Due { master, command: b.command, data: b.data.clone(), at })
    }

    /// The work has this result.
    pub fn done(&mut self, due: &Due, code: u8, reply: Vec<u8>) {
        // Not by its place: what a carrier has carried may have flushed others.
        let mut own = self.buffers[due.master.index()].iter_mut();
        let of_this = |b: &&mut Buffer| b.is_of(due.command, &due.data);
        if let Some(b) = own.find(of_this).filter(|b| matches!(b.became, Became::Running { .. })) {
            b.became = Became::Done { code, reply };
        }
    }
}

/// How long a request that may be begun takes; `None` where it is done at once. A carrier takes as long as all
/// that it carries.
pub(super) fn takes(state: &State, command: u8, asked: &Asked<'_>) -> Option<Duration> {
    let of = |command: u8| state.config.slow.iter().find(|s| s.command == command).map(|s| s.takes);
    let own = of(command);
    if command != CARRIER {
        return own;
    }
    let carried = asked.records("command", "data").into_iter();
    let carried = carried.filter_map(|(n, _)| u8::try_from(n).ok()).filter_map(of);
    own.into_iter().chain(carried).reduce(|a, b| a.saturating_add(b))
}

/// Puts a request off that takes so long; the response code.
pub(super) fn begin(state: &mut State, asked: &Asked<'_>, command: u8, takes: Duration) -> u8 {
    state.delayed.begin(asked.master, command, asked.data, asked.now + takes)
}

/// Why a command cannot be one that takes its time in a device of this revision; `None` if it can [DV-41].
pub fn why_not_slow(slow: u8, revision: Revision) -> Option<String> {
    commands::why_never_put_off(slow, revision)
}

/// The first fault in what is to take its time.
pub(super) fn check(slow: &[Slow], revision: Revision) -> Result<(), String> {
    for (i, s) in slow.iter().enumerate() {
        if let Some(why) = why_not_slow(s.command, revision) {
            return Err(why);
        }
        if !Slow::TAKES.contains(&s.takes) {
            return Err(format!("command {} takes {:?}, which is not 1 ms to 1 h", s.command, s.takes));
        }
        if slow[..i].iter().any(|other| other.command == s.command) {
            return Err(format!("command {} is there twice", s.command));
        }
    }
    Ok(())
}
