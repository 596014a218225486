//! What a device sends in bursts: its messages, their periods and triggers [DV-30] [DV-31].

use super::commands;
use super::faults;
use super::kind::{KindName, Quantity, Traits};
use super::state::State;
use super::variables::{OF_ALL, UPDATE_PERIOD, as_delivered, has, unit};
use crate::app::command::{Revision, Value};
use crate::app::types::units;
use crate::frame::Master;
use crate::time::Instant;
use core::time::Duration;
use serde::{Deserialize, Serialize};

/// Burst messages of a device of revision 7; older ones have the first alone [DV-30].
pub const BURST_MESSAGES: usize = 3;
/// Slots for device variables in a message [CM-107]; older devices have the first four alone.
pub const BURST_SLOTS: usize = 8;
/// Mark of a slot that is not used.
pub(super) const UNUSED: u8 = 250;
/// Commands that can be sent in bursts by any device.
const COMMANDS: [u8; 6] = [1, 2, 3, 9, 33, 48];

/// Burst messages of a device of this revision [DV-30].
pub fn burst_messages(revision: Revision) -> usize {
    if revision == Revision::R7 { BURST_MESSAGES } else { 1 }
}

/// The commands that a device of this revision sends in bursts [DV-30], lowest first: 9 from revision 7 on.
pub fn burst_commands(revision: Revision) -> impl Iterator<Item = u8> {
    COMMANDS.into_iter().filter(move |&c| c != 9 || revision == Revision::R7)
}

/// Units of 1/32 ms in a millisecond [TY-07], and nanoseconds in one of them.
const PER_MS: u32 = 32;
const UNIT_NS: u64 = 31_250;
/// Update periods up to a minute, ms; from there on every one up to an hour can be had.
const PERIODS_MS: [u32; 9] = [250, 500, 1000, 2000, 4000, 8000, 16_000, 32_000, 60_000];
const LONGEST: u32 = 3_600_000 * PER_MS;

/// Trigger modes [TB-18].
pub(super) mod mode {
    pub const CONTINUOUS: u8 = 0;
    pub const WINDOW: u8 = 1;
    pub const RISING: u8 = 2;
    pub const FALLING: u8 = 3;
    pub const ON_CHANGE: u8 = 4;
}

/// When a burst message is sent more often than at its longest period [DV-31].
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BurstTrigger {
    /// Mode [TB-18], 0 to 4.
    pub mode: u8,
    /// Classification of the level [TB-08]; 0 where there is no level.
    pub class: u8,
    /// Unit of the level [UN-01]; 250 where there is no level.
    pub unit: u8,
    /// The level in that unit, a finite number; modes 1 to 3 have one, 0 and 4 none.
    pub level: Option<f32>,
}

impl BurstTrigger {
    /// Always.
    pub const CONTINUOUS: BurstTrigger =
        BurstTrigger { mode: mode::CONTINUOUS, class: 0, unit: unit::NOT_USED, level: None };
    /// When the value changes.
    pub const ON_CHANGE: BurstTrigger =
        BurstTrigger { mode: mode::ON_CHANGE, class: 0, unit: unit::NOT_USED, level: None };

    /// Whether command 104 can have stored it in a device with these variables. Whether a level fits the first variable
    /// depends on the assignment of the dynamic ones, which may have changed since.
    fn is_sound(&self, quantities: &[Quantity]) -> bool {
        let exists = quantities.iter().any(|q| q.class == self.class && q.offers_unit(self.unit));
        let exists = exists || OF_ALL.contains(&(self.class, self.unit));
        match self.mode {
            mode::CONTINUOUS => *self == Self::CONTINUOUS,
            mode::ON_CHANGE => *self == Self::ON_CHANGE,
            mode::WINDOW => exists && self.level.is_some_and(|x| x.is_finite() && x >= 0.0),
            mode::RISING | mode::FALLING => exists && self.level.is_some_and(f32::is_finite),
            _ => false,
        }
    }
}

/// A burst message as it is set up by commands 103, 104 and 107 to 109 [DV-30].
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BurstMessage {
    /// Whether it is sent.
    pub on: bool,
    /// Command whose answer it is: 1, 2, 3, 33 or 48, in revision 7 also 9.
    pub command: u8,
    /// Codes of device variables for commands 9 and 33 [TY-09]: 0 up to the last one of the device, 244 to 249, or 250
    /// for none; the first is used.
    pub variables: [u8; BURST_SLOTS],
    /// Update period in 1/32 ms, one that [`nearest_period`] gives, 250 ms to an hour.
    pub update_period: u32,
    /// Longest period in 1/32 ms, one of the same, not below the update period.
    pub maximum_update_period: u32,
    /// When it is sent at the update period.
    pub trigger: BurstTrigger,
}

impl Default for BurstMessage {
    /// Off: command 1 every second; of the default kind of device.
    fn default() -> Self {
        BurstMessage::of_kind(KindName::default())
    }
}

impl BurstMessage {
    /// The same of a kind of device.
    pub fn of_kind(kind: KindName) -> Self {
        BurstMessage::delivered(kind.traits())
    }

    /// The same with the variables of a kind.
    pub(super) fn delivered(kind: &Traits) -> Self {
        let first = |i| if i < kind.variables.len() { i as u8 } else { UNUSED };
        BurstMessage {
            on: false,
            command: 1,
            variables: core::array::from_fn(first),
            update_period: 1000 * PER_MS,
            maximum_update_period: 60_000 * PER_MS,
            trigger: BurstTrigger::CONTINUOUS,
        }
    }
}

impl BurstMessage {
    /// Why no device with these variables holds it [DV-04].
    pub(super) fn fault(&self, quantities: &[Quantity]) -> Option<String> {
        if !COMMANDS.contains(&self.command) {
            return Some(format!("command {} is never sent in bursts", self.command));
        }
        if self.variables[0] == UNUSED || !self.variables.iter().all(|&v| v == UNUSED || has(quantities, v)) {
            return Some(format!("{:?} are no slots", self.variables));
        }
        if [self.update_period, self.maximum_update_period].iter().any(|&p| nearest_period(p) != p)
            || self.maximum_update_period < self.update_period
        {
            let (least, most) = (self.update_period, self.maximum_update_period);
            return Some(format!("{least} and {most} of 1/32 ms are no periods"));
        }
        if self.trigger.level.is_some() && self.source().is_none() {
            return Some(format!("command {} has nothing to compare with a level", self.command));
        }
        (!self.trigger.is_sound(quantities)).then(|| format!("{:?} is no trigger", self.trigger))
    }

    /// The variables that are used.
    fn used(&self) -> impl Iterator<Item = u8> {
        self.variables.into_iter().filter(|&v| v != UNUSED)
    }

    /// A trigger with a level in the unit in which the first variable of a kind of device is delivered; `None` in
    /// command 48, which has none, and for a variable that the kind has not.
    pub fn trigger_at(&self, kind: KindName, mode: u8, level: f32) -> Option<BurstTrigger> {
        let (class, unit) = as_delivered(kind.traits().variables, self.source()?)?;
        Some(BurstTrigger { mode, class, unit, level: Some(level) })
    }

    /// Data of the request whose answer it is.
    fn request(&self) -> Vec<u8> {
        match self.command {
            9 => self.used().collect(),
            33 => self.used().take(4).collect(),
            _ => Vec::new(),
        }
    }

    /// The variable that is compared with the level [TB-18]; none in command 48.
    pub(super) fn source(&self) -> Option<u8> {
        match self.command {
            1 | 3 => Some(246),
            2 => Some(244),
            9 | 33 => self.used().next(),
            _ => None,
        }
    }
}

/// The update period nearest to this one, in 1/32 ms, that is not shorter, as far as there is one: 250 ms, 0.5 to 32 s
/// doubled each time, 60 to 3600 s [CM-103].
pub fn nearest_period(asked: u32) -> u32 {
    let fixed = PERIODS_MS.iter().map(|ms| ms * PER_MS).find(|&p| p >= asked);
    fixed.unwrap_or(asked.min(LONGEST))
}

fn lasting(period: u32) -> Duration {
    Duration::from_nanos(u64::from(period) * UNIT_NS)
}

/// What a trigger looks at.
#[derive(Clone, Debug, PartialEq)]
struct Reading {
    octets: Vec<u8>,
    /// In the unit of the level, not-a-number where the variable is; `None` where there is nothing to compare.
    value: Option<f64>,
}

#[derive(Clone, Debug)]
struct Progress {
    /// When it is to be seen whether the message is due.
    next: Instant,
    /// Since when it is due.
    due: Option<Instant>,
    /// When it was last begun, and what was said then.
    last: Option<(Instant, Reading)>,
}

/// How far the messages are, since power-up or reset.
#[derive(Clone, Debug)]
pub(super) struct Progresses([Progress; BURST_MESSAGES]);

impl Progresses {
    pub fn new(now: Instant) -> Self {
        Progresses(core::array::from_fn(|_| Progress { next: now, due: None, last: None }))
    }
}

impl State {
    /// How many messages there are.
    pub fn burst_messages(&self) -> usize {
        burst_messages(self.revision())
    }

    /// Whether this revision sends a command in bursts.
    pub fn can_burst(&self, command: u8) -> bool {
        burst_commands(self.revision()).any(|c| c == command)
    }

    fn is_sent(&self, message: usize) -> bool {
        let m = &self.stored.burst[message];
        m.on && message < self.burst_messages() && self.can_burst(m.command)
    }

    pub fn messages_sent(&self) -> impl Iterator<Item = usize> {
        (0..BURST_MESSAGES).filter(|&i| self.is_sent(i))
    }

    /// Whether it is in burst mode.
    pub fn bursts(&self) -> bool {
        self.messages_sent().next().is_some()
    }

    /// Shortest and longest time from burst to burst, and the trigger. Before revision 7 nothing of these
    /// can be set.
    fn timing(&self, message: usize) -> (Duration, Duration, BurstTrigger) {
        let m = &self.stored.burst[message];
        let timing = if self.revision() < Revision::R7 {
            let period = lasting(PERIODS_MS[0] * PER_MS);
            (period, period, BurstTrigger::CONTINUOUS)
        } else {
            (lasting(m.update_period), lasting(m.maximum_update_period), m.trigger)
        };
        faults::timing(self, timing)
    }

    fn reading(&self, message: usize, now: Instant) -> Reading {
        let m = &self.stored.burst[message];
        let Some(source) = m.source() else {
            return Reading { octets: self.additional_status(), value: None };
        };
        match self.variable(source, now) {
            Some(v) => {
                let Value::Float(bits) = v.value else { return Reading { octets: Vec::new(), value: None } };
                let x = f64::from(f32::from_bits(bits));
                let value = if v.unit == m.trigger.unit {
                    Some(x)
                } else {
                    units::convert(x, v.unit, m.trigger.unit)
                };
                Reading { octets: bits.to_be_bytes().to_vec(), value }
            }
            None => Reading { octets: Vec::new(), value: None },
        }
    }

    fn triggers(&self, message: usize, now: Instant) -> bool {
        let (_, _, trigger) = self.timing(message);
        let Some((_, last)) = &self.burst.0[message].last else { return true };
        if trigger.mode == mode::CONTINUOUS {
            return true;
        }
        let reading = self.reading(message, now);
        if trigger.mode == mode::ON_CHANGE {
            return reading.octets != last.octets;
        }
        let (Some(level), Some(value)) = (trigger.level.map(f64::from), reading.value) else { return false };
        match trigger.mode {
            // What becomes not-a-number, or is a number again, is away by more than any level.
            mode::WINDOW => last
                .value
                .is_none_or(|before| before.is_nan() != value.is_nan() || (value - before).abs() > level),
            mode::RISING => value > level,
            _ => value < level,
        }
    }

    /// Looks which messages have become due by `now`.
    pub fn look_at_bursts(&mut self, now: Instant) {
        for i in 0..BURST_MESSAGES {
            let Progress { next, due, ref last } = self.burst.0[i];
            if !self.is_sent(i) || due.is_some() || now < next {
                continue;
            }
            let over = last.as_ref().map(|(at, _)| *at + self.timing(i).1);
            let is_due = over.is_some_and(|over| now >= over) || self.triggers(i, now);
            let progress = &mut self.burst.0[i];
            if is_due {
                progress.due = Some(next);
            } else {
                // The device measures ten times a second.
                while progress.next <= now {
                    progress.next += lasting(UPDATE_PERIOD);
                }
                progress.next = over.map_or(progress.next, |over| progress.next.min(over));
            }
        }
    }

    /// When the next message is due or is to be looked at.
    pub fn burst_wake_at(&self) -> Option<Instant> {
        self.messages_sent().map(|i| self.burst.0[i].due.unwrap_or(self.burst.0[i].next)).min()
    }

    pub fn burst_is_due(&self) -> bool {
        self.messages_sent().any(|i| self.burst.0[i].due.is_some())
    }

    /// Takes the message that has been due longest, or that will be due next: command, response code and data of
    /// the burst that is begun at `now` and names `master`.
    pub fn take_burst(&mut self, now: Instant, master: Master) -> Option<(u8, u8, Vec<u8>)> {
        let key = |i: &usize| {
            let p = &self.burst.0[*i];
            (p.due.is_none(), p.due.unwrap_or(p.next))
        };
        let i = self.messages_sent().min_by_key(key)?;
        let message = self.stored.burst[i];
        let reading = self.reading(i, now);
        let next = now + self.timing(i).0;
        self.burst.0[i] = Progress { next, due: None, last: Some((now, reading)) };
        let (code, data) = commands::publish(self, master, now, message.command, &message.request())?;
        self.counters.bursts = self.counters.bursts.wrapping_add(1);
        Some((message.command, code, data))
    }

    /// A message was set up anew: what is due is seen again. Turned on it is due at once.
    pub fn burst_was_set(&mut self, now: Instant, message: usize, turned_on: bool) {
        let period = self.timing(message).0;
        let progress = &mut self.burst.0[message];
        progress.due = None;
        progress.next = now;
        if turned_on {
            progress.last = None;
        } else if let Some((at, _)) = &progress.last {
            progress.next = *at + period;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// [CM-103]: 0.25 s as in [ICS], 0.5 to 32 s and 60 to 3600 s as in [BIF]; a period between is taken up.
    #[test]
    fn periods() {
        for (asked, used) in [
            (0, 250 * 32),
            (250 * 32, 250 * 32),
            (250 * 32 + 1, 500 * 32),
            (3000 * 32, 4000 * 32),
            (32_001 * 32, 60_000 * 32),
            (60_000 * 32 + 1, 60_000 * 32 + 1),
            (3_600_000 * 32, 3_600_000 * 32),
            (u32::MAX, 3_600_000 * 32),
        ] {
            assert_eq!(nearest_period(asked), used);
            assert_eq!(nearest_period(used), used);
        }
    }
}
