//! The loop current as a channel, locks, clock, counters, being found, several commands in one, by the protocol notes alone.

use crate::commands::{CHANGES, OPEN_CHANGES, done, exists, inside, is_day, no};
use crate::model::{Answer, Lock, Model, NOT_A_NUMBER, Want, octets};

impl Model {
    /// 60 to 63, 70, 110 [DV-16].
    pub fn channel(&self, command: u8, data: &[u8]) -> Answer {
        let loop_current = [Want::Octet(39), Want::Float(self.ma)];
        match command {
            110 => (0, self.dynamic()),
            61 => (0, [&loop_current[..], &self.dynamic()].concat()),
            62 => {
                let slot = |&channel: &u8| match channel {
                    0 => [&octets(&[0])[..], &loop_current].concat(),
                    _ => octets(&[&[channel, 250][..], &NOT_A_NUMBER].concat()),
                };
                (0, data.iter().take(4).flat_map(slot).collect())
            }
            _ if data[0] != 0 => no(2),
            60 => (0, [&octets(&[0])[..], &loop_current, &[Want::Float(self.percent())]].concat()),
            63 => {
                let mut out = octets(&[0, 250, 0, 57]);
                out.extend([self.upper, self.lower, self.damping].map(|x| Want::Float(x.into())));
                out.extend((self.revision == 7).then_some(Want::Octet(1)));
                (0, out)
            }
            _ => {
                let ends: &[f64] = if self.revision == 7 { &[20.0, 4.0, 20.5, 3.8] } else { &[20.0, 4.0] };
                let floats: Vec<Want> = ends.iter().map(|&x| Want::Float(x)).collect();
                (0, [octets(&[0, 39]), floats].concat())
            }
        }
    }

    /// 71 to 73, 76, 78, 89, 90, 95.
    pub fn whole(&mut self, master: usize, command: u8, data: &[u8]) -> Option<Answer> {
        Some(match command {
            71 => self.lock_by(master, data[0]),
            72 => match data.first() {
                None => done(&[2]),
                Some(&control) if control <= 2 => done(&[control]),
                Some(_) => no(2),
            },
            73 if self.armed => done(&self.identity()),
            73 => return None,
            76 => {
                let by = |by: usize| if by == 0 { 0x04 } else { 0x00 };
                done(&[match self.lock {
                    None => 0,
                    Some((Lock::Temporary, m)) => 0x01 + by(m),
                    Some((Lock::Permanent, m)) => 0x03 + by(m),
                    Some((Lock::All, m)) => 0x0B + by(m),
                }])
            }
            78 => self.several(master, data),
            89 => {
                let (date, time) =
                    ([data[1], data[2], data[3]], u32::from_be_bytes([data[4], data[5], data[6], data[7]]));
                match data[0] {
                    0 => {}
                    1 if self.locked_out(master) => return Some(no(16)),
                    1 if is_day(date) && time < 86_400 * 32_000 => {
                        self.clock = (date, time, self.now_ns, true)
                    }
                    _ => return Some(no(2)),
                }
                let (date, time) = self.time();
                done(&[&[data[0]][..], &date, &time.to_be_bytes()].concat())
            }
            90 => {
                let (date, time) = self.time();
                let (date_set, time_set, _, was_set) = self.clock;
                let flags = if was_set { 0 } else { 2 };
                done(&[&date[..], &time.to_be_bytes(), &date_set, &time_set.to_be_bytes(), &[flags]].concat())
            }
            _ => {
                let counts = [self.requests, self.replies, self.bursts];
                done(&counts.map(u16::to_be_bytes).concat())
            }
        })
    }

    fn lock_by(&mut self, master: usize, code: u8) -> Answer {
        let wanted = match code {
            0 => None,
            1 => Some((Lock::Temporary, master)),
            2 => Some((Lock::Permanent, master)),
            3 => Some((Lock::All, master)),
            _ => return no(10),
        };
        match self.lock {
            Some((Lock::All, _)) if wanted.is_some() => return no(11),
            Some((Lock::Temporary | Lock::Permanent, by)) if by != master => {
                return no(match (wanted, self.revision) {
                    (Some(_), _) => 11,
                    (None, 7) => 16,
                    (None, _) => 32,
                });
            }
            _ => self.lock = wanted,
        }
        done(&[code])
    }

    fn several(&mut self, master: usize, data: &[u8]) -> Answer {
        let parts = inside(data).expect("asked before");
        if parts.is_empty() {
            return no(2);
        }
        if parts.iter().any(|p| matches!(p.0, 11 | 21 | 42 | 73 | 78)) {
            return no(9);
        }
        let (mut out, mut count, mut taken) = (Vec::new(), 0u8, 2);
        for &(number, own) in &parts {
            let one = u8::try_from(number).ok().filter(|&c| exists(self.revision, c));
            let longest = one.and_then(|c| CHANGES.iter().chain(&OPEN_CHANGES).find(|x| x.0 == c));
            if longest.is_some_and(|x| taken + 4 + x.1 > 253) {
                break;
            }
            let (code, reply) = match one {
                Some(c) => self.answer(master, c, own).expect("none of these is silent"),
                None => no(64),
            };
            let len: usize = reply.iter().map(|w| if matches!(w, Want::Float(_)) { 4 } else { 1 }).sum();
            if taken + 4 + len > 253 {
                break;
            }
            taken += 4 + len;
            count += 1;
            let [high, low] = number.to_be_bytes();
            out.extend(octets(&[high, low, len as u8 + 1, code]));
            out.extend(reply);
        }
        let code = if count < data[0] { 30 } else { 0 };
        (code, [octets(&[self.extended(), count]), out].concat())
    }
}
