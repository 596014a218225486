//! Reading a device again and again: samples of travel, waiting for rest, and what ends a test [TV-20] [TV-04].

use super::readings::{Reading, Readings};
use super::record::{Ended, Rest, Sample, StatusBit, Stood, Tail};
use crate::app::command::Value;
use crate::app::command::layout::UnitSymbol;
use crate::app::status::Status;
use crate::exchange::Exchange;
use crate::host::stimulus::{StimulusError, Why};
use crate::host::{Ask, Device, HostError};
use crate::time::Instant;
use core::time::Duration;
use std::collections::VecDeque;

/// How often a silent device is asked again, behind the repeats of the link [TV-20].
pub const AGAIN: u32 = 3;
/// The response code of a device that is busy [ST-03].
const BUSY: Status = Status::Response(32);
/// How often a busy device is asked again, a pause apart [TV-115].
const BUSY_AGAIN: u32 = 60;
/// How long it is left alone before.
const PAUSE: Duration = Duration::from_secs(1);
/// How many answers in a row may have no number.
const NUMBERLESS: u32 = 10;
/// Two readings are no nearer than that: no device measures faster (own choice).
const SPACING_S: f64 = 0.02;
/// Most readings of one watch.
const MOST_SAMPLES: usize = 20_000;
/// Travel that has changed by less than that has not been seen to move, percent [TV-13].
pub const SEEN_PERCENT: f64 = 0.1;

/// What ends a test before its end.
#[derive(Clone, Debug, PartialEq)]
pub enum Halt {
    /// The person, or that there is none.
    Stopped(Why),
    /// Ctrl-C.
    Interrupted,
    /// The device does not answer.
    Silent,
    /// The valve does not move.
    NoMovement(Stood),
    /// It moves no more.
    Stands(Stood),
    /// The set point is elsewhere than asked for, and where.
    NotDriven(String),
    /// Something else, and what to do next.
    Failed(String),
}

impl From<HostError> for Halt {
    fn from(e: HostError) -> Halt {
        match e {
            HostError::Interrupted => Halt::Interrupted,
            other => Halt::Failed(other.to_string()),
        }
    }
}

impl From<StimulusError> for Halt {
    fn from(e: StimulusError) -> Halt {
        match e {
            StimulusError::Stopped(why) => Halt::Stopped(why),
            StimulusError::Host(e) => e.into(),
            other => Halt::Failed(other.to_string()),
        }
    }
}

impl Halt {
    /// How a record says it.
    pub fn ended(self, during: String, last_heard_s: Option<f64>) -> Ended {
        match self {
            Halt::Stopped(why) => Ended::Stopped { why, during },
            Halt::Interrupted => Ended::Interrupted { during },
            Halt::Silent => Ended::Silent { during, last_heard_s },
            Halt::NoMovement(stood) => Ended::NoMovement { during, stood: Some(stood) },
            Halt::Stands(stood) => Ended::Stands { during, stood },
            Halt::NotDriven(what) => Ended::NotDriven { during, what },
            Halt::Failed(what) => Ended::Failed { during, what },
        }
    }
}

/// A number that was read, and when.
#[derive(Clone, Debug)]
pub struct Read {
    /// When, s.
    pub at_s: f64,
    /// By how much that may be wrong, s.
    pub uncertain_s: f64,
    /// The answer.
    pub exchange: Exchange,
}

/// A device that is read, on a clock that begins with the test.
pub struct Sensing<'a> {
    /// The host.
    pub ask: &'a mut dyn Ask,
    /// The device.
    pub device: Device,
    /// Which of its variables are what.
    pub readings: Readings,
    /// What it told in its second status octet so far [TV-110].
    pub status: Vec<StatusBit>,
    /// Something is taken away, so what it tells of itself is not noted.
    pub is_bereft: bool,
    /// The octet of the last answer that was noted.
    octet: Option<u8>,
    began: Instant,
    last_heard_s: Option<f64>,
    last_sample_s: f64,
    numberless: u32,
    /// Squares of the distances of readings at rest from their average, and how many of them are free.
    noise: (f64, usize),
    /// The largest uncertainty of a sample's time since it was last taken, s.
    uncertain_s: f64,
    /// The last answer that told travel.
    last: Option<Exchange>,
    /// What else is read now and then while travel is.
    beside: Option<Beside>,
}

/// A number that is read between readings of travel.
struct Beside {
    reading: Reading,
    /// After so many readings of travel.
    every: u32,
    since: u32,
    samples: Vec<(f64, Option<f64>)>,
}

/// A valve that was waited for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rested {
    /// All readings since the asking.
    pub samples: Vec<Sample>,
    /// Those at rest: the last of them.
    pub at_rest: Vec<Sample>,
    /// Whether it came to rest.
    pub settled: bool,
    /// How long was waited, s.
    pub dwell_s: f64,
}

impl Rested {
    /// Where it is, percent: the average of the readings at rest.
    pub fn travel(&self) -> Option<f64> {
        mean(&self.at_rest)
    }
}

/// The average of samples that have a number.
pub fn mean(samples: &[Sample]) -> Option<f64> {
    let numbers = || samples.iter().filter_map(|s| s.percent);
    let count = numbers().count();
    (count > 0).then(|| numbers().sum::<f64>() / count as f64)
}

/// What is waited for besides rest.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Until {
    /// Not before travel has left this place, percent ...
    pub left: Option<f64>,
    /// ... or is near this one, percent.
    pub near: Option<f64>,
    /// Shortest time, s: a valve that was still on its way before is not taken for one at rest as it turns round.
    pub least_s: f64,
    /// Longest time, s.
    pub most_s: f64,
    /// Silence is no end: a device without current says nothing.
    pub silence: bool,
}

/// Travel is near where it is wanted, percent (own choice).
const NEAR_PERCENT: f64 = 1.0;
/// A device that was silent so often in a row is not asked any more where silence is no end.
const SILENT_ENOUGH: usize = 3;

/// The command that reads the primary to the quaternary variable.
const READ_DYNAMIC: u8 = 3;

/// A pressure in bar, by the symbol of its unit; `None`: it is no unit of pressure that is known here.
pub fn in_bar(told: f64, unit: &str) -> Option<f64> {
    // 1 psi is 6894.757 Pa.
    let bar = match unit {
        "bar" => 1.0,
        "mbar" => 1e-3,
        "psi" => 0.06894757,
        "kPa" => 1e-2,
        "MPa" => 10.0,
        "Pa" => 1e-5,
        _ => return None,
    };
    Some(told * bar)
}

impl<'a> Sensing<'a> {
    /// The clock begins now.
    pub fn new(ask: &'a mut dyn Ask, device: Device, readings: Readings) -> Sensing<'a> {
        let began = ask.now();
        Sensing {
            ask,
            device,
            readings,
            status: Vec::new(),
            is_bereft: false,
            octet: None,
            began,
            last_heard_s: None,
            last_sample_s: 0.0,
            numberless: 0,
            noise: (0.0, 0),
            uncertain_s: 0.0,
            last: None,
            beside: None,
        }
    }

    /// From now on reads something else behind every so many readings of travel; `None`: no more. Gives what was read of the last, s and the number.
    pub fn beside(&mut self, next: Option<(Reading, u32)>) -> Vec<(f64, Option<f64>)> {
        let next = next.map(|(reading, every)| Beside { reading, every, since: 0, samples: Vec::new() });
        core::mem::replace(&mut self.beside, next).map(|b| b.samples).unwrap_or_default()
    }

    fn read_beside(&mut self) -> Result<(), Halt> {
        let Some(beside) = &mut self.beside else { return Ok(()) };
        beside.since += 1;
        if beside.since < beside.every || beside.samples.len() >= MOST_SAMPLES {
            return Ok(());
        }
        beside.since = 0;
        let reading = beside.reading.clone();
        let read = self.read(reading.source.command(&self.device), &reading.source.data())?;
        if let Some(beside) = &mut self.beside {
            beside.samples.push((read.at_s, reading.number(&read.exchange)));
        }
        Ok(())
    }

    /// A moment in seconds since the test's start; what was before it is its start.
    pub fn seconds(&self, at: Instant) -> f64 {
        at.since(self.began).as_secs_f64()
    }

    /// Now, s.
    pub fn now_s(&mut self) -> f64 {
        let now = self.ask.now();
        self.seconds(now)
    }

    /// When the device was last heard, s.
    pub fn last_heard_s(&self) -> Option<f64> {
        self.last_heard_s
    }

    /// Asks once, repeats of the link aside; `None`: it was silent.
    fn once(&mut self, command: u8, data: Vec<u8>) -> Result<Option<Read>, Halt> {
        let before = self.ask.now();
        let exchange = self.ask.ask_octets(&self.device, command, data)?;
        let after = self.ask.now();
        if exchange.transaction.reply.is_none() {
            return Ok(None);
        }
        let heard_s = self.seconds(after);
        self.last_heard_s = Some(heard_s);
        let octet = exchange.device_status().filter(|_| !self.is_bereft);
        if let Some(octet) = octet {
            StatusBit::note(&mut self.status, octet, heard_s, self.octet);
        }
        self.octet = octet;
        let t = &exchange.transaction;
        let asked = t.tries.last().and_then(|g| g.octets.last()).map(|o| o.at);
        let answered = t.reply.as_ref().and_then(|g| g.octets.first()).map(|o| o.at);
        // A line without stamps: what is certain is that it was in between.
        let (asked, answered) = asked.zip(answered).filter(|(a, b)| a <= b).unwrap_or((before, after));
        let (from_s, to_s) = (self.seconds(asked), self.seconds(answered));
        let (at_s, uncertain_s) = ((from_s + to_s) / 2.0, (to_s - from_s) / 2.0);
        Ok(Some(Read { at_s, uncertain_s, exchange }))
    }

    /// Asks, and asks a silent or busy device again.
    ///
    /// # Errors
    /// It stays silent, or the host cannot ask.
    pub fn read(&mut self, command: u8, data: &[u8]) -> Result<Read, Halt> {
        for n in 0..=AGAIN {
            if n > 0 {
                self.ask.rest(PAUSE)?;
            }
            let Some(read) = self.once(command, data.to_vec())? else { continue };
            if read.exchange.status() != Some(BUSY) {
                return Ok(read);
            }
            return self.read_busy(command, data);
        }
        Err(Halt::Silent)
    }

    /// Asks a device again that says that it is busy [TV-115].
    fn read_busy(&mut self, command: u8, data: &[u8]) -> Result<Read, Halt> {
        for _ in 0..BUSY_AGAIN {
            self.ask.rest(PAUSE)?;
            if let Some(read) = self.once(command, data.to_vec())?
                && read.exchange.status() != Some(BUSY)
            {
                return Ok(read);
            }
        }
        Err(Halt::Failed(format!(
            "the device says that it is busy, to command {command}, and still after {BUSY_AGAIN} tries a second apart\n  next: wait until it has done what it is at, and begin again"
        )))
    }

    /// A reading that is no travel, once: nothing where the device has no number for it.
    ///
    /// # Errors
    /// As [`Sensing::read`].
    pub fn number(&mut self, reading: Option<&Reading>) -> Result<Option<f64>, Halt> {
        let Some(reading) = reading else { return Ok(None) };
        let (command, data) = (reading.source.command(&self.device), reading.source.data());
        let same = self.readings.travel.source.command(&self.device) == command
            && self.readings.travel.source.data() == data;
        if let Some(last) = self.last.as_ref().filter(|_| same) {
            return Ok(reading.number(last));
        }
        let read = self.read(command, &data)?;
        Ok(reading.number(&read.exchange))
    }

    /// Asks without waiting for one that is silent; `None`: it was silent twice.
    ///
    /// # Errors
    /// The host cannot ask.
    pub fn heard(&mut self, command: u8, data: &[u8]) -> Result<Option<Read>, Halt> {
        match self.once(command, data.to_vec())? {
            Some(read) => Ok(Some(read)),
            None => self.once(command, data.to_vec()),
        }
    }

    /// The highest of the pressures that the device tells as its variables, and its unit: the supply, where it tells that; outer `None`: it is silent.
    ///
    /// # Errors
    /// The host cannot ask.
    pub fn highest_pressure(&mut self) -> Result<Option<Option<(f64, String)>>, Halt> {
        let Some(read) = self.heard(READ_DYNAMIC, &[])? else { return Ok(None) };
        let pressures = read.exchange.fields_of_reply().filter_map(|f| {
            let unit = f.found.unit_symbol()?.to_string();
            let told = match f.found.value(f.data) {
                Value::Float(bits) => f64::from(f32::from_bits(bits)),
                _ => return None,
            };
            (in_bar(told, &unit).is_some() && told.is_finite()).then_some((told, unit))
        });
        Ok(Some(pressures.max_by(|a, b| a.0.total_cmp(&b.0))))
    }

    /// Reads travel, no sooner than a moment after the last reading; where silence is no end, a silent device gives a sample without number.
    ///
    /// # Errors
    /// As [`Sensing::read`], and a device that answers without a number again and again.
    pub fn travel(&mut self, silence: bool) -> Result<Sample, Halt> {
        let since = self.now_s() - self.last_sample_s;
        if since < SPACING_S {
            self.ask.rest(Duration::from_secs_f64(SPACING_S - since.max(0.0)))?;
        }
        let source = &self.readings.travel.source;
        let (command, data) = (source.command(&self.device), source.data());
        let read = if silence {
            match self.once(command, data)? {
                Some(read) => read,
                None => {
                    let at_s = self.now_s().max(self.last_sample_s);
                    self.last_sample_s = at_s;
                    return Ok(Sample { at_s, percent: None });
                }
            }
        } else {
            self.read(command, &data)?
        };
        let number = self.readings.travel.number(&read.exchange);
        // Samples never go back in time, whatever the stamps say.
        let at_s = read.at_s.max(self.last_sample_s);
        self.last_sample_s = at_s;
        self.uncertain_s = self.uncertain_s.max(read.uncertain_s);
        self.numberless = if number.is_some() { 0 } else { self.numberless + 1 };
        if self.numberless >= NUMBERLESS {
            return Err(Halt::Failed(self.no_number(&read.exchange)));
        }
        self.last = Some(read.exchange);
        self.read_beside()?;
        Ok(Sample { at_s, percent: number })
    }

    fn no_number(&self, exchange: &Exchange) -> String {
        let mut said = String::new();
        exchange.write_response(&mut said);
        format!(
            "the device answers, but tells no number as {}{}{said}\n  next: look what `ask` shows for that command, and name another source for travel",
            self.readings.travel.source,
            if said.is_empty() { "" } else { ": " },
        )
    }

    /// Reads travel once and sees whether its unit is percent, or a scale makes it percent.
    ///
    /// # Errors
    /// As [`Sensing::travel`], and a source that the device does not have, or whose numbers are no percent.
    pub fn try_source(&mut self) -> Result<Sample, Halt> {
        for _ in 0..NUMBERLESS {
            let sample = self.travel(false)?;
            if sample.percent.is_some() {
                break;
            }
            self.ask.rest(PAUSE)?;
        }
        let sample = self.travel(false)?;
        let travel = &self.readings.travel;
        let field = self.last.as_ref().and_then(|e| travel.source.found(e));
        let unit = field.and_then(|f| f.found.unit_symbol());
        match unit {
            Some(unit) if travel.scale.is_none() && unit != UnitSymbol::Known("%") => {
                Err(Halt::Failed(format!(
                    "travel as {} is told in {unit}, not in percent\n  next: say what it tells at 0 and at 100 %, such as {}=0..40",
                    travel.source, travel.source
                )))
            }
            _ => Ok(sample),
        }
    }

    /// By how much the times of samples since the last call may be wrong, s.
    pub fn take_uncertain_s(&mut self) -> f64 {
        core::mem::take(&mut self.uncertain_s)
    }

    /// The standard deviation of a reading at rest, percent; 0 while nothing is known of it.
    pub fn sigma(&self) -> f64 {
        if self.noise.1 == 0 { 0.0 } else { (self.noise.0 / self.noise.1 as f64).sqrt() }
    }

    /// Least change of travel that counts as one, percent.
    pub fn seen(&self) -> f64 {
        SEEN_PERCENT.max(5.0 * self.sigma())
    }

    /// Counts readings at rest for the noise.
    fn add_noise(&mut self, at_rest: &[Sample]) {
        if let Some(mean) = mean(at_rest) {
            let numbers: Vec<f64> = at_rest.iter().filter_map(|s| s.percent).collect();
            self.noise.0 += numbers.iter().map(|x| (x - mean).powi(2)).sum::<f64>();
            self.noise.1 += numbers.len() - 1;
        }
    }

    /// Reads travel until it rests, and for as long again [TV-04], counted from a moment.
    ///
    /// # Errors
    /// As [`Sensing::travel`].
    pub fn settle(&mut self, since_s: f64, rest: &Rest, until: Until) -> Result<Rested, Halt> {
        let mut out = Rested::default();
        let mut window: VecDeque<Sample> = VecDeque::new();
        let seen = self.seen();
        let mut moved = until.left.is_none();
        let mut silent = 0;
        let mut since_rest_s = None;
        let most_s = until.most_s.max(rest.for_s);
        let spacing_s = most_s / MOST_SAMPLES as f64;
        loop {
            if spacing_s > SPACING_S && !out.samples.is_empty() {
                self.ask.rest(Duration::from_secs_f64(spacing_s))?;
            }
            let sample = self.travel(until.silence)?;
            out.samples.push(sample);
            silent = if sample.percent.is_none() { silent + 1 } else { 0 };
            if sample.percent.is_some() {
                window.push_back(sample);
            }
            // As short as it can be and still as long as rest lasts.
            while window.get(1).is_some_and(|s| sample.at_s - s.at_s >= rest.for_s) {
                window.pop_front();
            }
            if let Some(p) = sample.percent {
                moved |= until.left.is_some_and(|from| (p - from).abs() > seen);
                moved |= until.near.is_some_and(|to| (p - to).abs() <= NEAR_PERCENT);
            }
            let long = window.front().is_some_and(|s| sample.at_s - s.at_s >= rest.for_s);
            let numbers = || window.iter().filter_map(|s| s.percent);
            let (least, most) = (numbers().fold(f64::MAX, f64::min), numbers().fold(f64::MIN, f64::max));
            let still = long && window.len() >= 2 && most - least <= rest.within_percent;
            // Then it is read for as long again: what creeps to its end has come nearer by then.
            since_rest_s = since_rest_s.filter(|_| still).or((still && moved).then_some(sample.at_s));
            let waited_s = sample.at_s - since_s;
            let read = since_rest_s.is_some_and(|s| sample.at_s - s >= rest.for_s)
                && waited_s >= until.least_s
                && is_calm(&out.samples, since_s, rest);
            let late = waited_s >= most_s || out.samples.len() >= MOST_SAMPLES;
            let gone = until.silence && silent >= SILENT_ENOUGH;
            if read || late || gone {
                out.settled = still && !gone && (read || is_calm(&out.samples, since_s, rest));
                out.dwell_s = (sample.at_s - since_s).max(0.0);
                out.at_rest = window.into();
                if out.settled {
                    let at_rest = core::mem::take(&mut out.at_rest);
                    self.add_noise(&at_rest);
                    out.at_rest = at_rest;
                }
                return Ok(out);
            }
        }
    }
}

/// Whether nothing has crept on over the last third of a wait, or the time of rest where that is longer [TV-04].
fn is_calm(samples: &[Sample], since_s: f64, rest: &Rest) -> bool {
    Tail::of(samples, since_s, None, rest).span_percent() <= rest.within_percent / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 25 % with a lag of 5 s, waited for 30 s: between 20 s and 22.5 s it lies around 25 exp(-21.25/5) = 0.357 % away, in the last 2.5 s around
    /// 25 exp(-28.75/5) = 0.080 %: 0.28 % between is no rest, though 2 s before the end it lies within 0.2 %: 25 exp(-28/5) - 25 exp(-30/5) = 0.03 %.
    /// With a lag of 2 s the same are 0.0006 % and less.
    #[test]
    fn what_creeps_is_not_calm() {
        let creeps = |lag_s: f64| -> Vec<Sample> {
            (0..=75)
                .map(|n| 0.4 * f64::from(n))
                .map(|t| Sample::new(t, 25.0 * (1.0 - (-t / lag_s).exp())))
                .collect()
        };
        assert!(!is_calm(&creeps(5.0), 0.0, &Rest::default()));
        assert!(is_calm(&creeps(2.0), 0.0, &Rest::default()));
        assert!(is_calm(&[], 0.0, &Rest::default()));
    }
}
