//! What each command answers and does, by the protocol notes alone.

use crate::model::{Answer, Model, NOT_A_NUMBER, OWN, Want, factor, octets, side};

/// Commands that answer 32 while busy, by the lists of their headings and [DV-28].
const MAY_BE_BUSY: &[u8] = &[
    6, 12, 13, 14, 15, 16, 17, 18, 19, 20, 22, 33, 34, 35, 36, 37, 39, 40, 41, 42, 44, 45, 46, 47, 49, 51,
    52, 53, 54, 55, 56, 59, 60, 61, 62, 64, 65, 66, 67, 68, 69, 70, 71, 72, 76, 78, 79, 80, 81, 82, 83, 89,
    90, 103, 104, 105, 106, 109, 110,
];
/// Those that a lock does not keep, with the octets of their answers [CM-071] [CM-072] [CM-089].
pub const OPEN_CHANGES: [(u8, usize); 4] = [(71, 1), (72, 1), (89, 8), (106, 0)];
/// Commands that change something [DV-17], with the octets of the longest answer.
pub const CHANGES: &[(u8, usize)] = &[
    (6, 2),
    (17, 24),
    (18, 21),
    (19, 3),
    (22, 32),
    (34, 4),
    (35, 9),
    (36, 0),
    (37, 0),
    (38, 2),
    (39, 1),
    (40, 4),
    (41, 0),
    (42, 0),
    (44, 1),
    (45, 4),
    (46, 4),
    (47, 1),
    (49, 3),
    (51, 4),
    (52, 1),
    (53, 2),
    (55, 5),
    (56, 4),
    (59, 1),
    (64, 5),
    (65, 10),
    (66, 6),
    (67, 6),
    (68, 6),
    (69, 2),
    (79, 8),
    (82, 7),
    (83, 1),
    (103, 9),
    (104, 8),
    (107, 9),
    (108, 3),
    (109, 2),
];

fn float(data: &[u8], at: usize) -> f32 {
    f32::from_be_bytes([data[at], data[at + 1], data[at + 2], data[at + 3]])
}

pub fn done(data: &[u8]) -> Answer {
    (0, octets(data))
}

pub fn no(code: u8) -> Answer {
    (code, Vec::new())
}

/// Whether a revision has a command [DV-16].
pub fn exists(revision: u8, command: u8) -> bool {
    match command {
        0..=3 | 6 | 11..=19 | 33..=42 | 44..=56 | 59..=70 | 107..=110 => true,
        7..=9 | 20..=22 | 71 | 72 | 76 | 79..=83 | 95 | 106 => revision >= 6,
        73 | 78 | 89 | 90 | 103..=105 => revision == 7,
        _ => false,
    }
}

/// Fewest octets of a request.
fn least(revision: u8, command: u8) -> usize {
    match command {
        105 => 1,
        104 => 8,
        103 => 9,
        // The forms of revision 5; in revision 7 also 108 of two octets.
        107 if revision < 7 => 4,
        108 | 109 if revision < 7 => 1,
        107 => 9,
        108 | 109 => 2,
        9 | 33 | 39 | 44 | 47 | 51 | 52 | 54 | 59 | 60 | 62 | 63 | 70 | 71 | 78 | 80 | 81 | 83 => 1,
        // From revision 6 on the mode may be missing: an older master [DV-15].
        6 => 1,
        53 | 69 => 2,
        19 | 49 => 3,
        34 | 40 | 45 | 46 | 56 => 4,
        55 | 64 => 5,
        11 | 66..=68 => 6,
        82 => 7,
        79 => 8,
        35 => 9,
        65 | 89 => 10,
        18 => 21,
        17 => 24,
        21 | 22 => 32,
        _ => 0,
    }
}

pub fn is_day([day, month, year]: [u8; 3]) -> bool {
    let year = 1900 + u32::from(year);
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let days = match month {
        4 | 6 | 9 | 11 => 30,
        2 => 28 + u8::from(leap),
        1..=12 => 31,
        _ => 0,
    };
    (1..=days).contains(&day)
}

/// Number and data of each command inside command 78, of more than 20 the first ones; `None` when they are cut.
pub fn inside(data: &[u8]) -> Option<Vec<(u16, &[u8])>> {
    let (&count, mut rest) = data.split_first()?;
    let mut out = Vec::new();
    for _ in 0..count.min(20) {
        let (head, tail) = rest.split_at_checked(3)?;
        let (own, tail) = tail.split_at_checked(head[2].into())?;
        out.push((u16::from_be_bytes([head[0], head[1]]), own));
        rest = tail;
    }
    Some(out)
}

impl Model {
    /// Code and data of an answer to a request that comes inside another; `None` for silence.
    pub fn answer(&mut self, master: usize, command: u8, data: &[u8]) -> Option<Answer> {
        match self.objection(master, command, data) {
            Some(objection) => objection,
            None => self.act(master, command, data),
        }
    }

    /// What is answered where the command is not even tried.
    pub fn objection(&self, master: usize, command: u8, data: &[u8]) -> Option<Option<Answer>> {
        if !exists(self.revision, command) {
            return Some(Some(no(64)));
        }
        let too_few = data.len() < least(self.revision, command)
            || command == 38 && self.revision == 7 && data.len() == 1
            || command == 78 && inside(data).is_none();
        if too_few && matches!(command, 11 | 21) {
            return Some(None);
        }
        if (self.busy || self.now_ns < self.occupied_ns) && MAY_BE_BUSY.contains(&command) {
            return Some(Some(no(32)));
        }
        if too_few {
            return Some(Some(no(5)));
        }
        let changes = CHANGES.iter().any(|c| c.0 == command);
        if self.protected && changes && !matches!(command, 38 | 41 | 42) {
            return Some(Some(no(7)));
        }
        if changes && self.locked_out(master) {
            // Their lists have no 32.
            let without = matches!(command, 38 | 107 | 108);
            return Some(Some(no(if self.revision == 6 && !without { 32 } else { 16 })));
        }
        None
    }

    /// Does it.
    pub fn act(&mut self, master: usize, command: u8, data: &[u8]) -> Option<Answer> {
        let answer = match command {
            33 | 44..=56 | 79..=83 => self.variables(command, data),
            34..=37 | 64 | 65 | 69 => self.range(command, data),
            40 | 66..=68 => Some(no(6)),
            71..=73 | 76 | 78 | 89 | 90 | 95 => self.whole(master, command, data),
            103..=105 | 107..=109 => Some(self.burst_command(command, data)),
            60..=63 | 70 | 110 => Some(self.channel(command, data)),
            106 => Some(self.flush(master)),
            _ => self.universal(master, command, data),
        };
        let answer = match command {
            48 => Some(self.status_48(master, data)),
            _ => answer,
        };
        self.note();
        answer
    }

    pub fn identity(&self) -> Vec<u8> {
        let device_type = match self.revision {
            5 => [0xFD, 0x51],
            6 => [0xFD, 0x61],
            _ => [0xFD, 0x71],
        };
        let mut out = vec![0xFE];
        out.extend(device_type);
        out.extend([5, self.revision, 1, 1, 0x08, 0, 0x00, 0x31, 0x04]);
        if self.revision > 5 {
            out.extend([self.preambles, 3]);
            out.extend(self.counter.to_be_bytes());
            out.push(self.extended());
        }
        if self.revision == 7 {
            out.extend([0x00, 0xFD, 0x00, 0xFD, 0x01]);
        }
        out
    }

    /// Unit and value of a code, as commands 1, 3, 33 have them.
    fn told(&self, code: u8) -> Vec<Want> {
        match self.variable(code) {
            Some((_, unit, value, _)) => vec![Want::Octet(unit), Want::Float(value)],
            None => octets(&[&[250][..], &NOT_A_NUMBER].concat()),
        }
    }

    pub fn dynamic(&self) -> Vec<Want> {
        (246..=249).flat_map(|code| self.told(code)).collect()
    }

    fn universal(&mut self, master: usize, command: u8, data: &[u8]) -> Option<Answer> {
        let answer = match command {
            0 => done(&self.identity()),
            1 => (0, self.told(246)),
            2 => (0, vec![Want::Float(self.ma), Want::Float(self.percent())]),
            3 => (0, [vec![Want::Float(self.ma)], self.dynamic()].concat()),
            6 => return Some(self.address(data)),
            7 => done(&[self.polling, u8::from(self.follows)]),
            8 => done(&self.assigned.map(|v| crate::model::CLASS[usize::from(v)])),
            9 => return Some(self.with_status(data)),
            11 if data[..6] == self.tag => done(&self.identity()),
            21 if data[..32] == self.long_tag => done(&self.identity()),
            11 | 21 => return None,
            12 => done(&self.message),
            13 => done(&[&self.tag[..], &self.descriptor, &self.date].concat()),
            14 => {
                let mut out = octets(&[&self.serials[0][..], &[57]].concat());
                out.extend([105.0, -5.0, 10.0].map(Want::Float));
                (0, out)
            }
            15 => {
                let mut out = octets(&[250, 0, 57]);
                out.extend([self.upper, self.lower, self.damping].map(|x| Want::Float(x.into())));
                out.push(Want::Octet(self.protected.into()));
                out.extend(octets(if self.revision == 5 { &[0xFD] } else { &[250, 1] }));
                (0, out)
            }
            16 => done(&self.assembly),
            17 => {
                self.message.copy_from_slice(&data[..24]);
                self.wrote();
                done(&data[..24])
            }
            18 if !is_day([data[18], data[19], data[20]]) => no(9),
            18 => {
                self.tag.copy_from_slice(&data[..6]);
                self.descriptor.copy_from_slice(&data[6..18]);
                self.date.copy_from_slice(&data[18..21]);
                self.wrote();
                done(&data[..21])
            }
            19 => {
                self.assembly.copy_from_slice(&data[..3]);
                self.wrote();
                done(&data[..3])
            }
            20 => done(&self.long_tag),
            22 => {
                self.long_tag.copy_from_slice(&data[..32]);
                self.wrote();
                done(&data[..32])
            }
            38 => {
                if self.revision == 7 && !data.is_empty() && data[..2] != self.counter.to_be_bytes() {
                    return Some(no(9));
                }
                self.changed[master] = false;
                if self.revision == 7 { done(&self.counter.to_be_bytes()) } else { done(&[]) }
            }
            39 if data[0] > 1 => no(2),
            39 => done(&data[..1]),
            41 => done(&[]),
            42 => {
                self.resets = true;
                done(&[])
            }
            59 if data[0] > 20 => no(3),
            59 if data[0] < 5 => no(4),
            59 => {
                self.preambles = data[0];
                self.wrote();
                done(&data[..1])
            }
            _ => done(&[]),
        };
        Some(answer)
    }

    /// Command 6 [DV-15].
    fn address(&mut self, data: &[u8]) -> Answer {
        let address = data[0];
        if address > if self.revision == 5 { 15 } else { 63 } {
            return no(2);
        }
        let follows = match (self.revision, data.get(1)) {
            (5, _) => self.follows,
            (_, None) => address == 0,
            (_, Some(&mode)) if mode > 1 => return no(12),
            (_, Some(&mode)) => mode == 1,
        };
        let before = self.by_current();
        (self.polling, self.follows) = (address, follows);
        self.held = self.fixed().then_some(before);
        self.aim();
        self.wrote();
        if self.revision == 5 { done(&[address]) } else { done(&[address, u8::from(follows)]) }
    }

    /// Command 9.
    fn with_status(&self, data: &[u8]) -> Answer {
        let codes = &data[..data.len().min(if self.revision == 7 { 8 } else { 4 })];
        if codes.iter().any(|&c| c > 250) {
            return no(2);
        }
        let mut out = octets(&[self.extended()]);
        for &code in codes {
            match self.variable(code) {
                Some((class, unit, value, status)) => {
                    out.extend(octets(&[code, class, unit]));
                    out.extend([Want::Float(value), Want::Octet(status)]);
                }
                None => out.extend(octets(&[code, 0, 250, 0x7F, 0xA0, 0, 0, 0x30])),
            }
        }
        if self.revision == 7 {
            out.extend(octets(&self.time().1.to_be_bytes()));
        }
        (0, out)
    }

    fn status_48(&mut self, master: usize, data: &[u8]) -> Answer {
        let status = self.additional();
        if self.revision < 7 || data.is_empty() {
            done(&status)
        } else if data.len() < status.len() {
            no(5)
        } else if data[..status.len()] == status {
            self.more[master] = false;
            done(&status)
        } else {
            (14, octets(&status))
        }
    }

    /// 34 to 37 [DV-18].
    fn range(&mut self, command: u8, data: &[u8]) -> Option<Answer> {
        Some(match command {
            34 => self.damp(float(data, 0), Vec::new()),
            35 => {
                let wrong_unit = if self.revision == 7 { 18 } else { 28 };
                self.range_values(data, wrong_unit)
            }
            64 if data[0] != 0 => no(6),
            64 => self.damp(float(data, 1), octets(&[0])),
            65 if data[0] != 0 => no(15),
            65 => {
                let (code, rest) = self.range_values(&data[1..], 28);
                if rest.is_empty() { no(code) } else { (code, [octets(&[0]), rest].concat()) }
            }
            69 if data[..2] != [0, 0] => no(2),
            69 => {
                self.wrote();
                done(&data[..2])
            }
            _ => {
                if self.fixed() {
                    return Some(no(11));
                }
                let travel = self.travel() as f32;
                let (lower, upper) = if command == 36 { (self.lower, travel) } else { (travel, self.upper) };
                if (f64::from(upper) - f64::from(lower)).abs() < 10.0 {
                    let rises = self.upper > self.lower;
                    return Some(no(if rises == (command == 36) { 10 } else { 9 }));
                }
                (self.lower, self.upper) = (lower, upper);
                self.aim();
                self.wrote();
                done(&[])
            }
        })
    }

    /// Unit, upper, lower.
    fn range_values(&mut self, data: &[u8], wrong_unit: u8) -> Answer {
        let (upper, lower) = (float(data, 1), float(data, 5));
        let place = |x: f32| if x.is_nan() { 1 } else { side(x.into(), -5.0, 105.0) };
        let code = match (place(lower), place(upper)) {
            _ if data[0] != 57 => wrong_unit,
            (1, 0) => 9,
            (-1, 0) => 10,
            (0, 1) => 11,
            (0, -1) => 12,
            (0, 0) if upper == lower => 29,
            (0, 0) if (f64::from(upper) - f64::from(lower)).abs() < 10.0 => 14,
            (0, 0) => 0,
            _ => 13,
        };
        if !matches!(code, 0 | 14) {
            return no(code);
        }
        (self.upper, self.lower) = (upper, lower);
        self.aim();
        self.wrote();
        (code, octets(&data[..9]))
    }

    fn damp(&mut self, asked: f32, before: Vec<Want>) -> Answer {
        if asked > 60.0 {
            return no(3);
        }
        if asked.is_nan() || asked < 0.0 {
            return no(4);
        }
        let used = (asked * 8.0).round() / 8.0;
        self.set_damping(used);
        self.wrote();
        (if used == asked { 0 } else { 8 }, [before, vec![Want::Float(used.into())]].concat())
    }

    /// 33, 44 to 56, 79 to 83 [DV-19] [DV-22] [DV-23].
    fn variables(&mut self, command: u8, data: &[u8]) -> Option<Answer> {
        let index = data.first().copied().filter(|&v| v < 4).map(usize::from);
        Some(match (command, index) {
            (33, _) => {
                let codes = &data[..data.len().min(4)];
                if codes.iter().any(|&c| c > 250) {
                    return Some(no(2));
                }
                (0, codes.iter().flat_map(|&c| [octets(&[c]), self.told(c)].concat()).collect())
            }
            (44, _) if data[0] != 57 => no(2),
            (47, _) if data[0] != 0 => no(13),
            (44 | 47, _) => {
                self.wrote();
                done(&data[..1])
            }
            (45 | 46, _) => no(6),
            (48, _) => return None,
            (49, _) => {
                self.serials[0].copy_from_slice(&data[..3]);
                self.wrote();
                done(&data[..3])
            }
            (50, _) => done(&self.assigned),
            (51, _) => {
                let mut wanted = self.assigned;
                for (to, &from) in wanted.iter_mut().zip(data) {
                    *to = from;
                }
                if wanted[0] != 0 || wanted.iter().any(|&v| v > 3) {
                    return Some(no(2));
                }
                self.assigned = wanted;
                self.wrote();
                done(&wanted)
            }
            (52, Some(3)) => self.zero(),
            (53, None) => no(11),
            (53, Some(i)) if factor(i, data[1]).is_none() => no(12),
            (53, Some(i)) => {
                self.units[i] = data[1];
                self.wrote();
                done(&data[..2])
            }
            (54, _) => self.about(data[0]),
            (55, Some(0)) => self.damp(float(data, 1), octets(&[0])),
            (56, Some(i)) => {
                self.serials[i].copy_from_slice(&data[1..4]);
                self.wrote();
                done(&data[..4])
            }
            (79, None) => no(17),
            (79, Some(i)) => self.simulate(i, data),
            (80, Some(3)) => {
                let points = self.trim.map(|p| Want::Float(f64::from(p[1]) * self.bar_scale()));
                (0, [octets(&[3, self.units[3]]), points.to_vec()].concat())
            }
            (81, Some(3)) => {
                let limits = [0.0, 2.0, 2.0, 10.0, 1.0].map(|x| Want::Float(x * self.bar_scale()));
                (0, [octets(&[3, 3, self.units[3]]), limits.to_vec()].concat())
            }
            (81, Some(i)) => done(&[&[i as u8, 0, 250][..], &NOT_A_NUMBER.repeat(5)].concat()),
            (82, _) => self.trim_point(data),
            (83, Some(3)) => {
                self.trim = [[0.0; 2], [10.0; 2]];
                self.wrote();
                done(&[3])
            }
            _ => no(2),
        })
    }

    /// From bar to the unit in which the pressure is told.
    fn bar_scale(&self) -> f64 {
        1e5 / factor(3, self.units[3]).expect("a pressure")
    }

    fn about(&self, code: u8) -> Answer {
        let nan = || octets(&NOT_A_NUMBER);
        let (serial, unit, high, low, damping, span, class, family, properties) =
            match (code, self.index(code)) {
                (244, _) => (self.serials[0], 57, 103.125, -1.25, 0.0, nan(), 0, 250, 1),
                (245, _) => (self.serials[0], 39, 20.5, 3.8, 0.0, nan(), 84, 250, 1),
                (_, None) => return no(2),
                (_, Some(i)) => {
                    let (high, low) = [(105.0, -5.0), (100.0, 0.0), (30.0, -30.0), (10.0, 0.0)][i];
                    let scale =
                        factor(i, OWN[i]).expect("its own") / factor(i, self.units[i]).expect("a unit");
                    let (damping, span) = match i {
                        0 => (f64::from(self.damping), vec![Want::Float(10.0)]),
                        _ => (0.0, nan()),
                    };
                    let family = if i == 3 { 5 } else { 6 };
                    let properties = u8::from(i == 0) + u8::from(self.simulated[i].is_some()) * 0x80;
                    let class = crate::model::CLASS[i];
                    let unit = self.units[i];
                    (
                        self.serials[i],
                        unit,
                        high * scale,
                        low * scale,
                        damping,
                        span,
                        class,
                        family,
                        properties,
                    )
                }
            };
        let mut out = octets(&[&[code][..], &serial, &[unit]].concat());
        out.extend([high, low, damping].map(Want::Float));
        if self.revision > 5 {
            out.extend(span);
            out.extend(octets(&[class, family, 0, 0, 0x0C, 0x80]));
        }
        out.extend((self.revision == 7).then_some(Want::Octet(properties)));
        (0, out)
    }

    fn simulate(&mut self, i: usize, data: &[u8]) -> Answer {
        let (what, unit, value, status) = (data[1], data[2], float(data, 3), data[7]);
        match what {
            0 => {
                self.simulated[i] = None;
                self.aim();
                done(&data[..8])
            }
            1 if factor(i, unit).is_none() => no(18),
            // In the unit that makes the most of it: pascal, and degree.
            1 if !((f64::from(value) * factor(i, unit).unwrap_or(1.0)) as f32).is_finite() => no(2),
            1 => {
                self.simulated[i] = Some((unit, value, status & 0xF8));
                self.aim();
                let code = if status & 0x07 == 0 { 0 } else { 8 };
                (code, octets(&[&data[..7], &[status & 0xF8]].concat()))
            }
            _ => no(10),
        }
    }

    fn apart(trim: [[f32; 2]; 2]) -> bool {
        trim[1][1] - trim[0][1] >= 1.0 && trim[1][0] - trim[0][0] >= 0.5
    }

    fn zero(&mut self) -> Answer {
        let sensor = self.bar as f32;
        let trim = [[sensor, 0.0], self.trim[1]];
        if sensor > 0.5 {
            no(9)
        } else if sensor < -0.5 || !Self::apart(trim) {
            no(10)
        } else {
            self.trim = trim;
            self.wrote();
            done(&[3])
        }
    }

    fn trim_point(&mut self, data: &[u8]) -> Answer {
        let (point, unit, value) = (data[1], data[2], float(data, 3));
        let Some(scale) = factor(3, unit).filter(|_| data[0] == 3 && matches!(point, 1 | 2)) else {
            return no(6);
        };
        let bar = (f64::from(value) * scale / 1e5) as f32;
        let (least, most) = if point == 1 { (0.0, 2.0) } else { (2.0, 10.0) };
        let sensor = self.bar as f32;
        if bar.is_nan() || bar > most || bar - sensor > 0.5 {
            return no(3);
        }
        if bar < least || sensor - bar > 0.5 {
            return no(4);
        }
        let mut trim = self.trim;
        trim[usize::from(point) - 1] = [sensor, bar];
        if !Self::apart(trim) {
            return no(if point == 1 { 3 } else { 4 });
        }
        self.trim = trim;
        self.wrote();
        done(&data[..7])
    }
}
