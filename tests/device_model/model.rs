//! What a device holds, and what it says of itself, by the protocol notes alone.

use crate::burst::Message;

/// A piece of an answer's data.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Want {
    Octet(u8),
    /// A single, to about six digits: how a sum is arranged is not the model's affair.
    Float(f64),
}

/// Code and data.
pub type Answer = (u8, Vec<Want>);

/// `7F A0 00 00` [TY-03].
pub const NOT_A_NUMBER: [u8; 4] = [0x7F, 0xA0, 0, 0];

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Lock {
    Temporary,
    Permanent,
    All,
}

/// A first-order lag: what is left of a difference after t is e^(−t/τ) [DV-13].
#[derive(Clone, Copy, Debug)]
pub struct Lag {
    value: f64,
    target: f64,
    at_s: f64,
}

impl Lag {
    fn at(&self, now_s: f64, tau_s: f64) -> f64 {
        if tau_s == 0.0 {
            return self.target;
        }
        self.target + (self.value - self.target) * (-(now_s - self.at_s) / tau_s).exp()
    }
}

#[derive(Clone, Debug)]
pub struct Model {
    pub revision: u8,
    // Stored.
    pub polling: u8,
    pub follows: bool,
    pub tag: [u8; 6],
    pub descriptor: [u8; 12],
    pub date: [u8; 3],
    pub message: [u8; 24],
    pub long_tag: [u8; 32],
    pub assembly: [u8; 3],
    pub counter: u16,
    pub changed: [bool; 2],
    pub upper: f32,
    pub lower: f32,
    pub damping: f32,
    pub units: [u8; 4],
    pub serials: [[u8; 3]; 4],
    pub assigned: [u8; 4],
    pub preambles: u8,
    /// Sensor and told, lower and upper point.
    pub trim: [[f32; 2]; 2],
    pub lock: Option<(Lock, usize)>,
    pub burst: [Message; 3],
    // Forgotten by a reset.
    pub cold: [bool; 2],
    pub more: [bool; 2],
    pub reported: Vec<u8>,
    pub simulated: [Option<(u8, f32, u8)>; 4],
    pub held: Option<f64>,
    pub requests: u16,
    pub replies: u16,
    pub bursts: u16,
    /// The master that the last burst or the last answer leaves the turn to.
    pub named: usize,
    pub armed: bool,
    pub resets: bool,
    /// What was put off, by master, oldest first [DV-40].
    pub put_off: [Vec<crate::delayed::PutOff>; 2],
    /// Revisions 5 and 6: busy until then, ns [DV-41].
    pub occupied_ns: u64,
    /// Date, 1/32 ms at setting, ns of setting, whether it was set.
    pub clock: ([u8; 3], u32, u64, bool),
    set_point: Lag,
    travel: Lag,
    // Around it.
    pub ma: f64,
    pub bar: f64,
    pub protected: bool,
    pub busy: bool,
    /// Slow commands and how long they take, ns.
    pub slow: Vec<(u8, u64)>,
    pub now_ns: u64,
}

/// How many of the SI unit a unit is; `None` where it is none of the quantity [UN-04].
pub fn factor(variable: usize, unit: u8) -> Option<f64> {
    match (variable, unit) {
        (0 | 1, 57) | (2, 143) => Some(1.0),
        (2, 144) => Some(180.0 / std::f64::consts::PI),
        (3, 6) => Some(0.453_592_37 * 9.806_65 / (0.0254 * 0.0254)),
        (3, 7) => Some(1e5),
        (3, 8) => Some(100.0),
        (3, 11) => Some(1.0),
        (3, 12) => Some(1e3),
        (3, 14) => Some(101_325.0),
        (3, 237) => Some(1e6),
        _ => None,
    }
}

/// The unit in which the model holds a variable.
pub const OWN: [u8; 4] = [57, 57, 143, 7];
pub const CLASS: [u8; 4] = [0, 0, 86, 65];

pub fn side(x: f64, low: f64, high: f64) -> i8 {
    i8::from(x > high) - i8::from(x < low)
}

fn limited(side: i8) -> u8 {
    match side {
        -1 => 0xD0,
        1 => 0xE0,
        _ => 0xC0,
    }
}

pub fn octets(o: &[u8]) -> Vec<Want> {
    o.iter().map(|&o| Want::Octet(o)).collect()
}

impl Model {
    /// A device as delivered, at 4 mA and 4 bar.
    pub fn new(revision: u8, now_ns: u64) -> Model {
        let spaces = [0x82, 0x08, 0x20];
        let mut model = Model {
            revision,
            polling: 0,
            follows: true,
            tag: spaces.repeat(2).try_into().unwrap(),
            descriptor: spaces.repeat(4).try_into().unwrap(),
            date: [1, 1, 126],
            message: spaces.repeat(8).try_into().unwrap(),
            long_tag: [0; 32],
            assembly: [0; 3],
            counter: 0,
            changed: [false; 2],
            upper: 100.0,
            lower: 0.0,
            damping: 0.0,
            units: OWN,
            serials: [[0x00, 0x0C, 0x20]; 4],
            assigned: [0, 1, 2, 3],
            preambles: 5,
            trim: [[0.0; 2], [10.0; 2]],
            lock: None,
            burst: [Message::new(); 3],
            cold: [true; 2],
            more: [false; 2],
            reported: Vec::new(),
            simulated: [None; 4],
            held: None,
            requests: 0,
            replies: 0,
            bursts: 0,
            named: 0,
            armed: false,
            resets: false,
            put_off: [Vec::new(), Vec::new()],
            occupied_ns: 0,
            clock: ([1, 1, 0], 0, now_ns, false),
            set_point: Lag { value: 0.0, target: 0.0, at_s: 0.0 },
            travel: Lag { value: 0.0, target: 0.0, at_s: 0.0 },
            ma: 4.0,
            bar: 4.0,
            protected: false,
            busy: false,
            slow: Vec::new(),
            now_ns,
        };
        model.start();
        model
    }

    fn now_s(&self) -> f64 {
        self.now_ns as f64 / 1e9
    }

    /// Power-up or reset [DV-20].
    pub fn start(&mut self) {
        self.cold = [true; 2];
        self.simulated = [None; 4];
        (self.requests, self.replies, self.bursts) = (0, 0, 0);
        self.burst.iter_mut().for_each(|m| m.last_ns = None);
        (self.armed, self.resets) = (false, false);
        self.kill();
        self.clock = ([1, 1, 0], 0, self.now_ns, false);
        if matches!(self.lock, Some((Lock::Temporary, _))) {
            self.lock = None;
        }
        self.held = self.fixed().then_some(self.lower.into());
        let (demand, at_s) = (self.demand(), self.now_s());
        self.set_point = Lag { value: demand, target: demand, at_s };
        let end = demand.clamp(0.0, 100.0);
        self.travel = Lag { value: end, target: end, at_s };
        self.reported = self.additional();
        self.more = [self.reported.iter().any(|&o| o != 0); 2];
    }

    pub fn fixed(&self) -> bool {
        if self.revision == 5 { self.polling != 0 } else { !self.follows }
    }

    pub fn percent(&self) -> f64 {
        (self.ma - 4.0) / 16.0 * 100.0
    }

    pub fn demand(&self) -> f64 {
        self.simulated[0].map_or(self.by_current(), |(_, value, _)| value.into())
    }

    /// What the current demands, or demanded when it was fixed [DV-15].
    pub fn by_current(&self) -> f64 {
        let (lower, upper) = (f64::from(self.lower), f64::from(self.upper));
        self.held.unwrap_or(lower + (upper - lower) * self.percent() / 100.0)
    }

    /// Something may have changed the demand.
    pub fn aim(&mut self) {
        let (now, tau, demand) = (self.now_s(), f64::from(self.damping), self.demand());
        for (lag, target) in [(&mut self.set_point, demand), (&mut self.travel, demand.clamp(0.0, 100.0))] {
            *lag = Lag { value: lag.at(now, tau), target, at_s: now };
        }
    }

    pub fn set_damping(&mut self, s: f32) {
        let (now, tau) = (self.now_s(), f64::from(self.damping));
        for lag in [&mut self.set_point, &mut self.travel] {
            *lag = Lag { value: lag.at(now, tau), target: lag.target, at_s: now };
        }
        self.damping = s;
    }

    pub fn travel(&self) -> f64 {
        self.travel.at(self.now_s(), self.damping.into())
    }

    pub fn pressure(&self) -> f64 {
        let [[x0, y0], [x1, y1]] = self.trim.map(|p| p.map(f64::from));
        if (x0, x1) == (y0, y1) { self.bar } else { y0 + (self.bar - x0) * (y1 - y0) / (x1 - x0) }
    }

    pub fn saturated(&self) -> i8 {
        side(self.ma, 3.8, 20.5)
    }

    /// The numbered variable behind a code.
    pub fn index(&self, code: u8) -> Option<usize> {
        match code {
            0..=3 => Some(code.into()),
            246..=249 => Some(self.assigned[usize::from(code) - 246].into()),
            _ => None,
        }
    }

    /// Class, unit, value, status of a variable [DV-02].
    pub fn variable(&self, code: u8) -> Option<(u8, u8, f64, u8)> {
        match code {
            244 => return Some((0, 57, self.percent(), limited(self.saturated()))),
            245 => return Some((84, 39, self.ma, limited(self.saturated()))),
            _ => {}
        }
        let i = self.index(code)?;
        let (unit, value, status) = match (self.simulated[i], i) {
            (Some((unit, value, status)), _) => (unit, value.into(), status),
            (None, 0) => {
                let status = if self.held.is_some() { 0xB0 } else { limited(self.saturated()) };
                (57, self.set_point.at(self.now_s(), self.damping.into()), status)
            }
            (None, 1) => (57, self.travel(), 0xC0),
            (None, 2) => (143, -30.0 + 60.0 * self.travel() / 100.0, 0xC0),
            (None, _) => (7, self.pressure(), limited(side(self.pressure(), 1.4, 7.0))),
        };
        let told = self.units[i];
        let scale = if unit == told { 1.0 } else { factor(i, unit)? / factor(i, told)? };
        Some((CLASS[i], told, value * scale, status))
    }

    // Status.

    fn primary_out(&self) -> bool {
        side(self.demand(), -5.0, 105.0) != 0
    }

    /// Measured, only the pressure can be; simulated, each of them [DV-23].
    fn other_out(&self) -> bool {
        let limits = [(0.0, 100.0), (-30.0, 30.0), (1.4, 7.0)];
        (1..4).zip(limits).any(|(i, (low, high))| match self.simulated[i] {
            Some((unit, value, _)) => {
                let x = f64::from(value) * factor(i, unit).unwrap() / factor(i, OWN[i]).unwrap();
                // A single, as it came.
                side((x as f32).into(), (low as f32).into(), (high as f32).into()) != 0
            }
            None => i == 3 && side(self.pressure(), low, high) != 0,
        })
    }

    pub fn extended(&self) -> u8 {
        let simulates = self.simulated.iter().any(Option::is_some);
        u8::from(self.primary_out() || self.other_out()) * 0x10 + u8::from(simulates) * 0x20
    }

    /// Command 48 [CM-048] [DV-04].
    pub fn additional(&self) -> Vec<u8> {
        let simulates = self.simulated.iter().any(Option::is_some);
        let all = self.revision > 5 && matches!(self.lock, Some((Lock::All, _)));
        let status_0 = u8::from(simulates) + u8::from(all) * 0x80;
        let (saturated, fixed) = (u8::from(self.saturated() != 0), u8::from(self.fixed()));
        if self.revision == 5 {
            return vec![status_0, saturated, fixed, self.extended(), 0, 0];
        }
        let mut out = vec![0; 14];
        (out[6], out[8], out[10], out[13]) = (self.extended(), status_0, saturated, fixed);
        out
    }

    /// What command 48 says may have changed [ST-07].
    pub fn note(&mut self) {
        let now = self.additional();
        if now != self.reported {
            self.reported = now;
            self.more = [true; 2];
        }
    }

    /// The second status octet [ST-02].
    pub fn status(&self, master: usize) -> u8 {
        let more = match self.revision {
            7 => self.more[master],
            _ => self.reported.iter().any(|&o| o != 0),
        };
        [
            (self.changed[master], 0x40),
            (self.cold[master], 0x20),
            (more, 0x10),
            (self.fixed(), 0x08),
            (self.saturated() != 0, 0x04),
            (self.other_out(), 0x02),
            (self.primary_out(), 0x01),
        ]
        .iter()
        .map(|&(set, mask)| u8::from(set) * mask)
        .sum()
    }

    pub fn locked_out(&self, master: usize) -> bool {
        match self.lock {
            _ if self.revision == 5 => false,
            None => false,
            Some((Lock::All, _)) => true,
            Some((_, by)) => by != master,
        }
    }

    /// A write of configuration was accepted [DV-08].
    pub fn wrote(&mut self) {
        self.counter = self.counter.wrapping_add(1);
        self.changed = [true; 2];
    }

    /// Date and time of the clock; the tests set no time from which midnight is reached.
    pub fn time(&self) -> ([u8; 3], u32) {
        let (date, at_setting, set_ns, _) = self.clock;
        (date, at_setting + ((self.now_ns - set_ns) / 31_250) as u32)
    }
}
