//! What the bus tells without moving anything.

use super::watched::{Asked, Calibration, Elsewhere, FORMAT, Heard, Hold, Supply, Watched};
use super::{Options, who};
use crate::app::command::described::{Element, PartUnit};
use crate::app::command::{Effect, Value};
use crate::app::types::units::convert;
use crate::commission::travel::record::{Ended, Link};
use crate::commission::travel::run::identify;
use crate::commission::travel::sensing::{Halt, Sensing};
use crate::commission::travel::{Reading, Readings, Source};
use crate::exchange::Exchange;
use crate::host::{Device, HostError, Talk, To};
use core::time::Duration;

/// Requests that the share of answers is taken of.
const PROBES: u32 = 20;
/// Tries behind the first one of each.
const REPEATS: u32 = 3;
/// After so many requests without any answer nobody is there.
const SILENT_AFTER: u32 = 5;
/// How long is listened before anything is said, so that who talks by itself is heard.
const LISTENS: Duration = Duration::from_secs(5);
/// How long one set point is watched, s.
pub const HOLD_S: f64 = 25.0;
/// How often meanwhile it is looked where the set point is.
const LOOKS: u32 = 5;
/// Polling addresses [FR-05].
const ADDRESSES: core::ops::RangeInclusive<u8> = 0..=63;
/// Device variables that are looked at for the supply pressure.
const VARIABLES: u8 = 8;
/// Unit code of kPa [TY-08].
const KPA: u8 = 12;
/// Every so many readings of travel the supply pressure is read.
pub const SUPPLY_EVERY: u32 = 3;
/// The names of what a calibration learns, as descriptions give them.
const LEARNED: [&str; 2] = ["lever_angle_closed", "lever_angle_open"];

pub struct Collector<'a> {
    pub talk: &'a mut dyn Talk,
    pub options: &'a Options,
    pub out: Watched,
    device: Option<Device>,
    during: &'static str,
}

impl<'a> Collector<'a> {
    pub fn new(talk: &'a mut dyn Talk, options: &'a Options) -> Collector<'a> {
        let supply = Supply { plate_kpa: options.plate_kpa, ..Supply::default() };
        let out = Watched { looprig_watched: FORMAT, supply, ..Watched::default() };
        Collector { talk, options, out, device: None, during: "" }
    }

    pub fn whole(&mut self, to: &To) -> Result<(), Halt> {
        self.during = "listening";
        // What was overheard before is another matter.
        self.talk.take_others();
        self.talk.rest(LISTENS)?;
        self.hear();
        self.during = "asking whether it answers";
        self.probe(to)?;
        if self.device.is_none() {
            self.during = "looking at other addresses";
            self.look_elsewhere(to)?;
        }
        let Some(device) = self.device else { return Ok(()) };
        self.read_device(device, to)
    }

    /// Finds one by its unique address, and reads it.
    pub fn find(&mut self, unique: &To, to: &To) -> Result<(), Halt> {
        self.during = "asking whether it answers";
        let found = self.talk.find_once(unique);
        match found {
            Ok((_, Some(device))) => self.read_device(device, to),
            Ok(_) | Err(HostError::NoTurn(_)) => Ok(()),
            Err(e) => Err(self.halt(e)),
        }
    }

    /// Reads a device, and says if it is not surely the one looked for.
    pub fn read_device(&mut self, device: Device, to: &To) -> Result<(), Halt> {
        self.device = Some(device);
        let before = self.talk.quality();
        let read = self.read(device);
        let after = self.talk.quality();
        self.out.link = Link {
            requests: after.requests.saturating_sub(before.requests),
            answered: after.answered.saturating_sub(before.answered),
            retries: after.retries.saturating_sub(before.retries),
            damaged: after.damaged.saturating_sub(before.damaged),
            slowest_s: after.slowest.map(|d| d.as_secs_f64()),
        };
        self.hear();
        if self.out.elsewhere.is_none() {
            let who = who::not_the_one(&self.out.device, to, self.options);
            self.unsure(who);
        }
        read
    }

    fn unsure(&mut self, who: Option<String>) {
        self.out.is_unsure = who.is_some();
        self.out.who_answers = who.unwrap_or_default();
    }

    pub fn end(mut self, done: Result<(), Halt>) -> (Watched, Option<Device>) {
        self.hear();
        self.out.ended = ended(done, self.during, &mut self.out.stopped);
        (self.out, self.device)
    }

    fn hear(&mut self) {
        hear(self.talk, &mut self.out.others);
    }

    /// A try; one that got no turn is one without an answer.
    fn try_once(&mut self, to: &To) -> Result<bool, Halt> {
        let asked = match self.device {
            None => self.talk.find_once(to).map(|(exchange, device)| {
                self.device = device;
                exchange
            }),
            Some(device) => self.talk.ask_once(&device, 0, Vec::new()),
        };
        let exchange = match asked {
            Ok(exchange) => exchange,
            Err(HostError::NoTurn(_)) => {
                self.remark("The line was not silent long enough for a request.");
                return Ok(false);
            }
            Err(e) => return Err(self.halt(e)),
        };
        if let Some(reply) = exchange.transaction.reply_frame() {
            let burst = self.out.burst_mode.get_or_insert(false);
            *burst |= reply.address().burst;
        }
        Ok(exchange.transaction.reply.is_some())
    }

    fn halt(&mut self, e: HostError) -> Halt {
        if let HostError::Stopped(v) = &e {
            self.out.stopped = Some(v.what.clone());
        }
        e.into()
    }

    fn probe(&mut self, to: &To) -> Result<(), Halt> {
        for n in 0..PROBES {
            let mut asked = Asked::default();
            while !asked.answered && asked.tries <= REPEATS {
                asked.tries += 1;
                let tried = self.try_once(to);
                asked.answered = matches!(tried, Ok(true));
                if let Err(halt) = tried {
                    if asked.tries > 1 {
                        self.out.asked.push(asked);
                    }
                    return Err(halt);
                }
            }
            self.out.asked.push(asked);
            self.hear();
            if self.out.asked.iter().all(|a| !a.answered) && n + 1 >= SILENT_AFTER {
                break;
            }
        }
        Ok(())
    }

    /// Looks for it by its tag, then at every other polling address. One alone is taken for it.
    fn look_elsewhere(&mut self, to: &To) -> Result<(), Halt> {
        let mut found: Vec<(Option<u8>, Device)> = Vec::new();
        self.out.elsewhere = Some(Vec::new());
        if let Some(tag) = self.options.tag.as_ref().filter(|t| To::Tag((*t).clone()) != *to) {
            match self.talk.find_once(&To::Tag(tag.clone())) {
                Ok((_, Some(device))) => found.push((None, device)),
                Ok(_) | Err(HostError::NoTurn(_) | HostError::Values(_)) => {}
                Err(e) => return Err(self.halt(e)),
            }
        }
        let own = match to {
            To::Polling(p) => Some(p.get()),
            _ => None,
        };
        for address in ADDRESSES.filter(|a| Some(*a) != own) {
            if !found.is_empty() && found[0].0.is_none() {
                break;
            }
            match self.talk.poll_once(address) {
                Ok(Some(device)) => found.push((Some(address), device)),
                Ok(None) | Err(HostError::NoTurn(_)) => {}
                Err(e) => return Err(self.halt(e)),
            }
            self.hear();
        }
        let wanted = self.options.tag.clone().or(match to {
            To::Tag(tag) => Some(tag.clone()),
            _ => None,
        });
        let mut candidates = Vec::new();
        for (address, device) in &found {
            let exchange = match self.talk.ask_once(device, 13, Vec::new()) {
                Ok(exchange) => exchange,
                Err(e) => return Err(self.halt(e)),
            };
            if let Some(reply) = exchange.transaction.reply_frame() {
                let burst = self.out.burst_mode.get_or_insert(false);
                *burst |= reply.address().burst;
            }
            let tag = exchange.value("tag").map(|f| f.cell()).unwrap_or_default();
            let unique_address = device.unique.octets().iter().map(|o| format!("{o:02X}")).collect();
            // One that says nothing of a tag may be it; a tag is in capital letters. Whoever names a unique address means no other.
            let wanted = wanted.as_ref().map(|t| t.to_uppercase());
            let is_sure = wanted.as_ref() == Some(&tag);
            let is_another =
                wanted.is_some_and(|t| !tag.is_empty() && t != tag) || matches!(to, To::Unique(_));
            candidates.extend(Some((*device, is_sure)).filter(|_| !is_another));
            let one = Elsewhere { address: *address, unique_address, tag, is_another };
            self.out.elsewhere.get_or_insert_default().push(one);
        }
        let mut is_unsure = !found.is_empty();
        if let [(device, is_sure)] = candidates.as_slice() {
            self.device = Some(*device);
            is_unsure = !is_sure;
        }
        let others = self.out.elsewhere.as_deref().unwrap_or_default();
        let who = is_unsure.then(|| who::others(others, to));
        self.unsure(who);
        Ok(())
    }

    /// Reads whatever the device tells.
    fn read(&mut self, device: Device) -> Result<(), Halt> {
        self.during = "reading who the device is";
        let readings = self.options.readings.clone().unwrap_or_else(|| Readings::usual(&*self.talk, &device));
        self.out.travel_assumed = readings.assumed;
        let mut sensing = Sensing::new(&mut *self.talk, device, readings);
        self.out.device = identify(&mut sensing)?;
        self.during = "reading its status";
        let out = &mut self.out;
        let protect = sensing.read(15, &[])?.exchange;
        out.write_protect = match protect.number("write_protect") {
            Some(0) => Some(false),
            Some(1) => Some(true),
            _ => None,
        };
        let more = sensing.read(48, &[])?.exchange;
        out.status = more.device_status();
        told(&more, out);
        self.during = "reading its calibration";
        if let Some(number) = described(&*sensing.ask, &device, &LEARNED) {
            let exchange = sensing.read(number, &[])?.exchange;
            out.calibration = calibration(&exchange);
        }
        self.during = "reading its supply pressure";
        let supply = supply(&mut sensing, self.options)?;
        if let Some(reading) = &supply {
            let read = sensing.read(reading.source.command(&device), &reading.source.data())?;
            out.supply.at_rest.push((read.at_s, reading.number(&read.exchange)));
        }
        if out.travel_assumed {
            return Ok(());
        }
        self.during = "watching one set point";
        sensing.try_source()?;
        let set_point = sensing.readings.set_point.clone();
        let mut hold = Hold { set_point_percent: sensing.number(set_point.as_ref())?, ..Hold::default() };
        sensing.beside(supply.map(|reading| (reading, 4 * SUPPLY_EVERY)));
        let watched = hold_for(&mut sensing, set_point.as_ref(), &mut hold);
        out.supply.at_rest.extend(sensing.beside(None));
        out.hold = Some(hold);
        watched
    }

    fn remark(&mut self, words: &str) {
        if !self.out.remarks.iter().any(|r| r == words) {
            self.out.remarks.push(words.to_owned());
        }
    }
}

/// Adds what others said.
pub fn hear(talk: &mut dyn Talk, out: &mut Heard) {
    let others = talk.take_others();
    for (sum, n) in [
        (&mut out.same_role, others.same_role),
        (&mut out.other_role, others.other_role),
        (&mut out.bursts, others.bursts),
        (&mut out.damaged, others.damaged),
    ] {
        *sum = sum.saturating_add(n);
    }
}

/// How it ended; a host that had to stop says so once.
pub fn ended(done: Result<(), Halt>, during: &str, stopped: &mut Option<String>) -> Ended {
    match done {
        Ok(()) => Ended::Whole,
        Err(halt) => {
            if let Halt::Failed(what) = &halt
                && what.contains("[HO-03]")
            {
                stopped.get_or_insert_with(|| what.clone());
            }
            halt.ended(during.to_owned(), None)
        }
    }
}

/// Reads travel for a while, and now and then where the set point is: a control loop may move it.
fn hold_for(sensing: &mut Sensing<'_>, set_point: Option<&Reading>, hold: &mut Hold) -> Result<(), Halt> {
    let (mut low, mut high) = (hold.set_point_percent, hold.set_point_percent);
    for _ in 0..LOOKS {
        watch_for(sensing, HOLD_S / f64::from(LOOKS), &mut hold.samples)?;
        if let Some(at) = sensing.number(set_point)? {
            low = Some(low.map_or(at, |l| l.min(at)));
            high = Some(high.map_or(at, |h| h.max(at)));
            hold.set_point_spans_percent = high.unwrap_or(at) - low.unwrap_or(at);
        }
    }
    Ok(())
}

/// Reads travel for a while.
pub fn watch_for(
    sensing: &mut Sensing<'_>,
    for_s: f64,
    samples: &mut Vec<crate::commission::travel::record::Sample>,
) -> Result<(), Halt> {
    let began_s = sensing.now_s();
    while sensing.now_s() - began_s < for_s {
        samples.push(sensing.travel(false)?);
    }
    Ok(())
}

/// The names of the bits that are set.
fn told(more: &Exchange, out: &mut Watched) {
    for field in more.fields_of_reply() {
        out.told_has_own |= field.found.field.name == "device_status" && !field.status_words.is_empty();
        out.told.extend(field.described_words());
        let is_other = field.found.field.name != "device_status";
        if is_other && field.found.value(field.data).number().is_some_and(|n| n != 0) {
            out.told.push(field.text());
        }
    }
}

/// The described command of a device that reads, needs nothing, and tells all of these.
pub fn described(ask: &dyn crate::host::Ask, device: &Device, names: &[&str]) -> Option<u8> {
    let commands = &ask.described(device)?.description().commands;
    let has = |reply: &[Element], name: &str| {
        reply.iter().any(|e| matches!(e, Element::Value(p) if p.name == name))
    };
    let fits = |c: &&crate::app::command::described::Command| {
        let here = (c.from..=c.to).contains(&device.revision);
        here && c.effect == Effect::Reads && c.request.is_empty() && names.iter().all(|n| has(&c.reply, n))
    };
    commands.iter().find(fits).map(|c| c.number)
}

/// Whether a value of a command is in percent.
pub fn in_percent(ask: &dyn crate::host::Ask, device: &Device, number: u8, name: &str) -> bool {
    let Some(described) = ask.described(device) else { return false };
    let of = described.description().commands.iter().filter(|c| c.number == number);
    of.flat_map(|c| &c.reply).any(
        |e| matches!(e, Element::Value(p) if p.name == name && p.unit == PartUnit::Fixed("%".to_owned())),
    )
}

fn number(exchange: &Exchange, name: &str) -> Option<f64> {
    let field = exchange.fields_of_reply().find(|f| f.found.name().to_string() == name)?;
    match field.found.value(field.data) {
        Value::Float(bits) => Some(f64::from(f32::from_bits(bits))).filter(|x| x.is_finite()),
        Value::Number(n) => Some(f64::from(n)),
        _ => None,
    }
}

fn calibration(exchange: &Exchange) -> Option<Calibration> {
    exchange.fields_of_reply().next()?;
    let text = |name| exchange.value(name).map(|f| f.text()).unwrap_or_default();
    Some(Calibration {
        state: text("state"),
        fault: text("fault"),
        angles_deg: number(exchange, LEARNED[0]).zip(number(exchange, LEARNED[1])),
        stroke_s: (number(exchange, "stroke_time_opening"), number(exchange, "stroke_time_closing")),
    })
}

/// Where the supply pressure is read, in kPa; `None`: it is not known where, or it is no pressure there.
pub fn supply(sensing: &mut Sensing<'_>, options: &Options) -> Result<Option<Reading>, Halt> {
    if let Some(given) = &options.supply {
        return in_kpa(sensing, given.source.clone());
    }
    if sensing.ask.described(&sensing.device).is_none() {
        return Ok(None);
    }
    let mut pressures = Vec::new();
    for code in 0..VARIABLES {
        pressures.extend(in_kpa(sensing, Source::Variable(code))?);
    }
    Ok(if pressures.len() == 1 { pressures.pop() } else { None })
}

fn in_kpa(sensing: &mut Sensing<'_>, source: Source) -> Result<Option<Reading>, Halt> {
    let read = sensing.read(source.command(&sensing.device), &source.data())?;
    let unit = source.found(&read.exchange).and_then(|f| f.found.unit_code);
    // What 100 kPa are in the device's own unit makes kPa of its numbers.
    let hundred = unit.and_then(|unit| convert(100.0, KPA, unit)).filter(|x| *x > 0.0);
    Ok(hundred.map(|hundred| Reading { source, scale: Some((0.0, hundred)) }))
}
