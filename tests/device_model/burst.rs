//! Burst messages, by the protocol notes alone [DV-30] [LL-23].

use crate::commands::{done, no};
use crate::model::{Answer, Model, NOT_A_NUMBER, Want, factor, octets};

/// A burst message; times in 1/32 ms.
#[derive(Clone, Copy, Debug)]
pub struct Message {
    pub on: bool,
    pub command: u8,
    pub slots: [u8; 8],
    pub update: u32,
    pub longest: u32,
    /// Mode, classification, unit and level.
    pub trigger: [u8; 7],
    /// When it was last begun, ns, as far as that is certain.
    pub last_ns: Option<u64>,
}

const CONTINUOUS: [u8; 7] = [0, 0, 250, 0x7F, 0xA0, 0, 0];

impl Message {
    pub fn new() -> Message {
        let slots = [0, 1, 2, 3, 250, 250, 250, 250];
        Message {
            on: false,
            command: 1,
            slots,
            update: 32_000,
            longest: 60 * 32_000,
            trigger: CONTINUOUS,
            last_ns: None,
        }
    }

    fn used(&self) -> Vec<u8> {
        self.slots.into_iter().filter(|&s| s != 250).collect()
    }
}

/// 250 ms, 0.5 to 32 s, 60 to 3600 s [CM-103].
fn offered(asked: u32) -> u32 {
    let ms = |n: u32| n * 32;
    if asked > ms(60_000) {
        return asked.min(ms(3_600_000));
    }
    let doubled = (0..8).map(|n| ms(250) << n).find(|&p| p >= asked);
    doubled.unwrap_or(ms(60_000))
}

impl Model {
    pub fn messages(&self) -> usize {
        if self.revision == 7 { 3 } else { 1 }
    }

    fn can_burst(&self, command: u8) -> bool {
        matches!(command, 1 | 2 | 3 | 33 | 48) || command == 9 && self.revision == 7
    }

    /// The messages that are sent.
    pub fn sent(&self) -> Vec<usize> {
        (0..self.messages()).filter(|&i| self.burst[i].on).collect()
    }

    /// Least time from one burst of a message to the next, ns.
    pub fn period_ns(&self, message: usize) -> u64 {
        if self.revision == 7 { u64::from(self.burst[message].update) * 31_250 } else { 250_000_000 }
    }

    /// What a burst of a message says now.
    pub fn said(&mut self, message: usize) -> Vec<Want> {
        let m = self.burst[message];
        let asked = match m.command {
            9 => m.used(),
            33 => m.used().into_iter().take(4).collect(),
            _ => Vec::new(),
        };
        // Neither the busy nor the protected device keeps it back.
        let (code, data) = self.act(0, m.command, &asked).expect("an answer");
        assert_eq!(code, 0);
        data
    }

    /// Why a trigger is refused for a message; `None` if it fits.
    fn misfit(&self, message: usize, [mode, class, unit, ..]: [u8; 7]) -> Option<u8> {
        if matches!(mode, 0 | 4) {
            return None;
        }
        let m = &self.burst[message];
        let source = match m.command {
            1 | 3 => 246,
            2 => 244,
            48 => return Some(13),
            _ => m.used()[0],
        };
        let (own_class, offers) = match (source, self.index(source)) {
            (244, _) => (0, unit == 57),
            (245, _) => (84, unit == 39),
            (_, i) => {
                let i = i.expect("only variables that there are can be written");
                (crate::model::CLASS[i], factor(i, unit).is_some())
            }
        };
        match (class == own_class, offers) {
            (false, _) => Some(11),
            (true, false) => Some(12),
            (true, true) => None,
        }
    }

    fn conflict(&mut self, message: usize) -> u8 {
        let misfits = self.misfit(message, self.burst[message].trigger).is_some();
        if misfits {
            self.burst[message].trigger = CONTINUOUS;
        }
        if misfits { 8 } else { 0 }
    }

    /// 103 to 105, 107 to 109.
    pub fn burst_command(&mut self, command: u8, data: &[u8]) -> Answer {
        let newest = self.revision == 7;
        let number = match (newest, command) {
            (false, _) => 0,
            (_, 103..=105) => data[0],
            (_, 107) => data[8],
            (_, 108) if data.len() == 2 => data[1],
            (_, 108) => data[2],
            _ => data[1],
        };
        let i = usize::from(number);
        if i >= self.messages() {
            return no(if matches!(command, 105 | 109) { 2 } else { 9 });
        }
        let word = |at: usize| u32::from_be_bytes([data[at], data[at + 1], data[at + 2], data[at + 3]]);
        let answer = match command {
            103 => {
                let update = offered(word(1));
                let longest = offered(word(5)).max(update);
                (self.burst[i].update, self.burst[i].longest) = (update, longest);
                let code = if (update, longest) == (word(1), word(5)) { 0 } else { 8 };
                (code, octets(&[&[number][..], &update.to_be_bytes(), &longest.to_be_bytes()].concat()))
            }
            104 => {
                let mut used: [u8; 7] = data[1..8].try_into().expect("seven");
                let level = f32::from_be_bytes([data[4], data[5], data[6], data[7]]);
                let mut code = 0;
                match used[0] {
                    0 | 4 => {
                        let as_due = used[1..3] == [0, 250] && level.is_nan();
                        code = if as_due { 0 } else { 8 };
                        used = [&used[..1], &CONTINUOUS[1..]].concat().try_into().expect("seven");
                    }
                    1..=3 => {
                        if let Some(code) = self.misfit(i, used) {
                            return no(code);
                        }
                        if level.is_nan() || level == f32::INFINITY {
                            return no(3);
                        }
                        if level == f32::NEG_INFINITY || used[0] == 1 && level < 0.0 {
                            return no(4);
                        }
                    }
                    _ => return no(13),
                }
                self.burst[i].trigger = used;
                (code, octets(&[&[number][..], &used].concat()))
            }
            105 => {
                let m = self.burst[i];
                let out = [
                    &[m.on.into(), 31][..],
                    &m.slots,
                    &[number, 3, 0, m.command],
                    &m.update.to_be_bytes(),
                    &m.longest.to_be_bytes(),
                    &m.trigger,
                ];
                return done(&out.concat());
            }
            107 => {
                let slots = if newest { &data[..8] } else { &data[..4] };
                let has = |&s: &u8| s == 250 || matches!(s, 244 | 245) || self.index(s).is_some();
                if slots[0] == 250 || !slots.iter().all(has) {
                    return no(2);
                }
                self.burst[i].slots = [250; 8];
                self.burst[i].slots[..slots.len()].copy_from_slice(slots);
                let echo = if newest { &data[..9] } else { slots };
                (self.conflict(i), octets(echo))
            }
            108 => {
                let (high, low) = match (newest, data.len()) {
                    (false, _) | (_, 2) => (0, data[0]),
                    _ => (data[0], data[1]),
                };
                if high != 0 || !self.can_burst(low) {
                    return no(2);
                }
                self.burst[i].command = low;
                let echo = if newest { data.len().min(3) } else { 1 };
                (self.conflict(i), octets(&data[..echo]))
            }
            _ if data[0] > 1 => return no(2),
            _ => {
                self.burst[i].on = data[0] == 1;
                self.burst[i].last_ns = self.burst[i].last_ns.filter(|_| data[0] == 1);
                done(if newest { &data[..2] } else { &data[..1] })
            }
        };
        self.wrote();
        answer
    }
}

/// The model itself, where [CM-103] gives figures.
#[test]
fn periods_of_the_model() {
    assert_eq!([0, 8000, 8001, 32_000 * 32 + 1].map(offered), [8000, 8000, 16_000, 60_000 * 32]);
    assert_eq!(CONTINUOUS[3..], NOT_A_NUMBER);
}
