//! A master on a line: ask a command, get an exchange.
//!
//! [`Host`] owns the one loop that drives a [`Line`]; on a simulated line it runs in virtual time.

mod patience;
mod quality;
pub mod stimulus;
mod talk;
mod to;
mod values;

pub use patience::{Awaited, Patience, ask_patiently};
pub use quality::LinkQuality;
pub use stimulus::Stimulus;
pub use talk::{Others, Talk};
pub use to::To;
pub use values::{encode, encode_by, names};

use crate::app::command::described::DeviceType;
use crate::app::command::layout::EncodeError;
use crate::app::command::{Catalogue, CommandSpec, Described, Revision};
use crate::exchange::{Exchange, Identity, Interpreter};
use crate::frame::{
    Address, Frame, Master as Role, PollingAddress, RawFrame, Target, TooLong, UniqueAddress,
};
use crate::line::{Event, Line};
use crate::link::{Master, MasterConfig, Output, Violation};
use crate::time::Instant;
use crate::transaction::{Passed, Transaction};
use core::fmt;
use core::time::Duration;

/// Least and most octets of FF that a request is given, whatever a device asks for [FR-02].
const PREAMBLES: core::ops::RangeInclusive<u8> = 5..=20;
/// What was overheard and not yet collected.
const MAX_OVERHEARD: usize = 1000;

/// Most events looked at before a request, or before the time: a line that never rests cannot hold it up.
const MAX_WAITING: usize = 10_000;

/// Why a host could not ask.
#[derive(Debug)]
pub enum HostError {
    /// The machine.
    Line(crate::line::Error),
    /// A master with our bit is at work [HO-03].
    Stopped(Violation),
    /// Nothing was sent, since in all this time the line was not silent long enough for a turn.
    NoTurn(Duration),
    /// Somebody asked the program to stop.
    Interrupted,
    /// The line is gone.
    Closed,
    /// The values make no data for the command.
    Values(EncodeError),
    /// A value's name that the command does not have, and the names it has.
    Name {
        /// The name that was given.
        given: String,
        /// The names that the command has.
        has: Vec<String>,
    },
    /// A value that stands behind one that is not given.
    Gap {
        /// The name that was given.
        given: String,
        /// The name of the one before it.
        lacks: String,
    },
    /// The data do not fit into a frame.
    TooLong(TooLong),
}

impl fmt::Display for HostError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            HostError::Line(e) => e.fmt(f),
            HostError::Stopped(v) => write!(
                f,
                "{v}\n  next: disconnect it, or use --master {} if that one is free",
                match v.evidence.last().map(|e| e.frame.address().master) {
                    Some(Role::Primary) => "secondary",
                    _ => "primary",
                }
            ),
            HostError::NoTurn(waited) => write!(
                f,
                "waiting for a turn: the line was not silent long enough in {:.1} s, so nothing was sent\n  next: \
                 look with `looprig listen` who talks; octets without sense come from a modem that hears hum",
                waited.as_secs_f64()
            ),
            HostError::Interrupted => f.write_str("interrupted"),
            HostError::Closed => f.write_str("the line was closed at the other end"),
            HostError::Values(e) => e.fmt(f),
            HostError::Name { given, has } if has.is_empty() => {
                write!(f, "\"{given}\" is given, but the request of this command has no values")
            }
            HostError::Name { given, has } => {
                write!(f, "the command has no value called \"{given}\"; it has {}", has.join(", "))
            }
            HostError::Gap { given, lacks } => {
                write!(f, "{given} is given without {lacks}, which stands before it")
            }
            HostError::TooLong(e) => e.fmt(f),
        }
    }
}

impl std::error::Error for HostError {}

impl From<crate::line::Error> for HostError {
    fn from(e: crate::line::Error) -> Self {
        HostError::Line(e)
    }
}

/// A device that answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Device {
    /// Its unique address.
    pub unique: UniqueAddress,
    /// Its revision; the newest that looprig knows if it claims a newer one.
    pub revision: Revision,
    /// Octets of FF before a request to it.
    pub preambles: u8,
    /// Its device type, whole: its address has 14 bits of it, by which frames are read but nothing is allowed [HO-05].
    pub device_type: DeviceType,
}

impl Device {
    fn new(identity: Identity) -> Device {
        Device {
            unique: identity.unique,
            revision: identity.revision().unwrap_or(Revision::R5),
            preambles: identity.preambles.clamp(*PREAMBLES.start(), *PREAMBLES.end()),
            device_type: identity.device_type,
        }
    }
}

/// A master on a line.
pub struct Host<L: Line> {
    line: L,
    master: Master,
    interpreter: Interpreter,
    catalogue: Catalogue,
    quality: LinkQuality,
    overheard: Vec<Passed>,
    /// Why this host has stopped for good [HO-03].
    stopped: Option<Violation>,
}

impl<L: Line> Host<L> {
    /// A host that begins to listen now.
    pub fn new(mut line: L, config: MasterConfig) -> Self {
        let now = line.now();
        let master = Master::new(config, line.pace(), line.capabilities(), now);
        Host {
            line,
            master,
            interpreter: Interpreter::new(None),
            catalogue: Catalogue::default(),
            quality: LinkQuality::default(),
            overheard: Vec::new(),
            stopped: None,
        }
    }

    /// The same, with rows for the commands of these device types.
    pub fn with_catalogue(mut self, catalogue: Catalogue) -> Self {
        self.interpreter = self.interpreter.with_catalogue(catalogue.clone());
        self.catalogue = catalogue;
        self
    }

    /// The row of a command of a device; `None` for one that has none.
    pub fn spec(&self, device: &Device, command: u8) -> Option<&'static CommandSpec> {
        self.catalogue.spec_of(command.into(), device.device_type)
    }

    /// The line.
    pub fn line_mut(&mut self) -> &mut L {
        &mut self.line
    }

    /// Gives the line back.
    pub fn into_line(self) -> L {
        self.line
    }

    /// How well the link has worked so far.
    pub fn quality(&self) -> &LinkQuality {
        &self.quality
    }

    /// What else passed since the last call, oldest first; at most 1000 items are kept.
    pub fn take_overheard(&mut self) -> Vec<Passed> {
        core::mem::take(&mut self.overheard)
    }

    /// Sends one frame and waits for what becomes of it. `retries` overrides the configured number.
    ///
    /// # Errors
    /// The line fails, is closed or interrupted, or another master with our bit is at work.
    pub fn transact(
        &mut self,
        frame: Frame,
        preambles: Option<u8>,
        retries: Option<u8>,
    ) -> Result<Exchange, HostError> {
        self.hear_what_came()?;
        let done = self.drive(frame, preambles, retries);
        if done.is_err() {
            // Else the next request would find this one still under way.
            self.master.abandon();
        }
        done
    }

    /// Tells the master what has come since the last request: it may be another master's turn now
    /// [LL-09].
    fn hear_what_came(&mut self) -> Result<(), HostError> {
        let now = self.line.now();
        for _ in 0..MAX_WAITING {
            if !self.wait(Some(now))? {
                break;
            }
            self.outputs()?;
        }
        Ok(())
    }

    fn drive(
        &mut self,
        frame: Frame,
        preambles: Option<u8>,
        retries: Option<u8>,
    ) -> Result<Exchange, HostError> {
        let refused = match retries {
            Some(n) => self.master.ask_with(frame, preambles, n),
            None => self.master.ask(frame, preambles),
        };
        // One request at a time is this function's own rule, so only a stopped master refuses.
        if let (Err(_), Some(v)) = (refused, &self.stopped) {
            return Err(HostError::Stopped(v.clone()));
        }
        let mut came = 0;
        loop {
            let now = self.line.now();
            // What has come goes first: of an answer that waits to be fetched only we are late.
            let more = came < MAX_WAITING && self.wait(Some(now))?;
            came = if more { came + 1 } else { 0 };
            if !more {
                self.master.handle_timeout(now);
            }
            if let Some(t) = self.outputs()? {
                self.quality.add(&t);
                return Ok(self.interpreter.read(t));
            }
            if !more {
                self.wait(self.master.wake_at())?;
            }
        }
    }

    /// Does what the master wants; gives the transaction that has ended.
    fn outputs(&mut self) -> Result<Option<Transaction>, HostError> {
        while let Some(output) = self.master.poll_output() {
            match output {
                Output::Transmit(octets) => self.line.send(&octets)?,
                Output::Done(t) => return Ok(Some(*t)),
                Output::Again(t) => {
                    self.quality.arrived_damaged();
                    if self.overheard.len() < MAX_OVERHEARD {
                        self.overheard.push(Passed::Transaction(t));
                    }
                }
                Output::NoTurn(waited) => return Err(HostError::NoTurn(waited)),
                Output::Overheard(p) => {
                    if self.overheard.len() < MAX_OVERHEARD {
                        self.overheard.push(p);
                    }
                }
                Output::Stopped(v) => {
                    self.stopped = Some(v.clone());
                    return Err(HostError::Stopped(v));
                }
            }
        }
        Ok(None)
    }

    /// Waits until something happens and tells the master; whether anything did.
    fn wait(&mut self, until: Option<Instant>) -> Result<bool, HostError> {
        match self.line.wait(until)? {
            Event::Octets(octets) => {
                // Not the time it is now: behind these there may be more.
                let at = octets.last().map_or(Instant::ZERO, |o| o.at);
                self.master.handle(at, &octets);
            }
            Event::Sent { at } => self.master.sent(at),
            Event::NoAnswer { at } => self.master.no_answer(at),
            Event::TimeOut => return Ok(false),
            Event::Interrupted => return Err(HostError::Interrupted),
            Event::Closed => return Err(HostError::Closed),
        }
        Ok(true)
    }

    /// Lets `time` pass without asking anything. What comes meanwhile is overheard; the news of an
    /// earlier transmission's end reaches the master, which waits for it.
    ///
    /// # Errors
    /// As [`Host::transact`].
    pub fn rest(&mut self, time: Duration) -> Result<(), HostError> {
        let until = self.line.now() + time;
        loop {
            let event = self.line.wait(Some(until))?;
            let now = self.line.now();
            match event {
                Event::Octets(octets) => self.master.handle(now, &octets),
                Event::Sent { at } => self.master.sent(at),
                Event::TimeOut | Event::NoAnswer { .. } => {}
                Event::Interrupted => return Err(HostError::Interrupted),
                Event::Closed => return Err(HostError::Closed),
            }
            self.master.handle_timeout(now);
            while let Some(output) = self.master.poll_output() {
                match output {
                    Output::Overheard(p) if self.overheard.len() < MAX_OVERHEARD => self.overheard.push(p),
                    Output::Stopped(v) => return Err(HostError::Stopped(v)),
                    _ => {}
                }
            }
            if now >= until {
                return Ok(());
            }
        }
    }

    /// Sends octets as they are, whatever they are, after 100 ms of wire time, and listens for `listen`
    /// afterwards. What answers is overheard, since nothing was asked.
    ///
    /// # Errors
    /// As [`Host::transact`], and the line cannot send such faults [LI-24].
    pub fn send_raw(&mut self, frame: &RawFrame, listen: Duration) -> Result<(), HostError> {
        let quiet = self.line.pace().scale(Duration::from_millis(100));
        self.rest(quiet)?;
        self.line.send_raw(frame)?;
        self.rest(listen)
    }

    /// Asks command 0 at a polling address; the exchange and the device if one answered.
    ///
    /// # Errors
    /// As [`Host::transact`].
    pub fn poll(
        &mut self,
        address: PollingAddress,
        retries: Option<u8>,
    ) -> Result<(Exchange, Option<Device>), HostError> {
        self.identify_by(Target::Polling(address), 0, Vec::new(), retries)
    }

    /// Finds the device that `to` names: by polling address, by unique address, or by tag or long
    /// tag, which all devices are asked for [DV-07].
    ///
    /// # Errors
    /// As [`Host::transact`], and a tag that cannot be written.
    pub fn find(&mut self, to: &To) -> Result<(Exchange, Option<Device>), HostError> {
        self.find_with(to, None)
    }

    /// The same; `retries` overrides the configured number.
    fn find_with(&mut self, to: &To, retries: Option<u8>) -> Result<(Exchange, Option<Device>), HostError> {
        let all = Target::Unique(UniqueAddress::BROADCAST);
        match to {
            To::Polling(p) => self.poll(*p, retries),
            To::Unique(u) => self.identify_by(Target::Unique(*u), 0, Vec::new(), retries),
            To::Tag(tag) => {
                let data = encode(11, Revision::R7, &[("tag".to_owned(), tag.clone())])?;
                self.identify_by(all, 11, data, retries)
            }
            To::LongTag(tag) => {
                let data = encode(21, Revision::R7, &[("long_tag".to_owned(), tag.clone())])?;
                self.identify_by(all, 21, data, retries)
            }
        }
    }

    fn identify_by(
        &mut self,
        target: Target,
        command: u8,
        data: Vec<u8>,
        retries: Option<u8>,
    ) -> Result<(Exchange, Option<Device>), HostError> {
        let address = Address::new(self.master.role(), target);
        let frame = Frame::request(address, command, data).map_err(HostError::TooLong)?;
        let exchange = self.transact(frame, None, retries)?;
        let device = exchange.transaction.reply_frame().and_then(|f| Identity::of(f.data())).map(Device::new);
        Ok((exchange, device))
    }

    /// Asks a command of a device with values given by name as a person types them.
    ///
    /// # Errors
    /// As [`Host::transact`], and values that make no data.
    pub fn ask(
        &mut self,
        device: &Device,
        command: u8,
        values: &[(String, String)],
    ) -> Result<Exchange, HostError> {
        let data = encode_by(self.spec(device, command), device.revision, values)?;
        self.ask_octets(device, command, data)
    }

    /// Asks a command of a device with these data octets.
    ///
    /// # Errors
    /// As [`Host::transact`].
    pub fn ask_octets(&mut self, device: &Device, command: u8, data: Vec<u8>) -> Result<Exchange, HostError> {
        let address = Address::new(self.master.role(), Target::Unique(device.unique));
        let frame = Frame::request(address, command, data).map_err(HostError::TooLong)?;
        self.transact(frame, Some(device.preambles), None)
    }
}

/// Who asks devices commands: a [`Host`], whatever its line is.
pub trait Ask {
    /// As [`Host::ask_octets`].
    ///
    /// # Errors
    /// As [`Host::transact`].
    fn ask_octets(&mut self, device: &Device, command: u8, data: Vec<u8>) -> Result<Exchange, HostError>;

    /// As [`Host::rest`].
    ///
    /// # Errors
    /// As [`Host::transact`].
    fn rest(&mut self, time: Duration) -> Result<(), HostError>;

    /// The time now, on the clock whose stamps the exchanges have.
    fn now(&mut self) -> Instant;

    /// How well the link has worked so far; all zero where nobody counts.
    fn quality(&self) -> LinkQuality {
        LinkQuality::default()
    }

    /// The description of a device's type; none unless whoever asks knows some.
    fn described(&self, _device: &Device) -> Option<&'static Described> {
        None
    }
}

impl<L: Line> Ask for Host<L> {
    fn ask_octets(&mut self, device: &Device, command: u8, data: Vec<u8>) -> Result<Exchange, HostError> {
        Host::ask_octets(self, device, command, data)
    }

    fn rest(&mut self, time: Duration) -> Result<(), HostError> {
        Host::rest(self, time)
    }

    fn now(&mut self) -> Instant {
        self.line.now()
    }

    fn quality(&self) -> LinkQuality {
        self.quality
    }

    fn described(&self, device: &Device) -> Option<&'static Described> {
        self.catalogue.described_whole(device.device_type)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Capabilities, Octet, StampUnit};
    use crate::time::Pace;
    use crate::transaction::Outcome;
    use std::collections::VecDeque;

    /// A line that answers 20 ms after a request, while the machine is busy with something else for
    /// ten seconds: all that comes waits to be fetched.
    struct Late {
        now: Instant,
        waiting: VecDeque<Event>,
        sent: usize,
    }

    impl Line for Late {
        fn describe(&self) -> String {
            "late".to_owned()
        }
        fn capabilities(&self) -> Capabilities {
            Capabilities {
                unit: StampUnit::Octets,
                stamp_error: Duration::from_millis(5),
                parity_seen: false,
                carrier_seen: false,
                echo: false,
            }
        }
        fn pace(&self) -> Pace {
            Pace::Wire
        }
        fn now(&mut self) -> Instant {
            self.now
        }
        fn send(&mut self, octets: &[u8]) -> Result<(), crate::line::Error> {
            self.sent += 1;
            let character = Pace::Wire.character();
            let mut at = self.now + character * octets.len() as u32;
            self.waiting.push_back(Event::Sent { at });
            at += Duration::from_millis(20);
            // [ICS]: the answer to command 0, here to a secondary master (80 less) and without its burst
            // bit (40 less), which changes the check byte from D3 to 13.
            let answer =
                "06 00 00 18 00 10 FE F9 FD 00 07 02 32 4E 00 95 26 6F 00 03 00 01 01 00 F9 00 F9 41 13";
            let values = answer.split(' ').map(|h| u8::from_str_radix(h, 16).expect("the test's own hex"));
            let values: Vec<u8> = [0xFF; 5].into_iter().chain(values).collect();
            for piece in values.chunks(7) {
                at += character * piece.len() as u32;
                let octets = piece.iter().map(|&v| Octet::clean(at, v)).collect();
                self.waiting.push_back(Event::Octets(octets));
            }
            self.now += Duration::from_secs(10);
            Ok(())
        }
        fn wait(&mut self, until: Option<Instant>) -> Result<Event, crate::line::Error> {
            Ok(self.waiting.pop_front().unwrap_or_else(|| {
                self.now = self.now.max(until.unwrap_or_default());
                Event::TimeOut
            }))
        }
    }

    /// An answer that came in time is taken for one, however late we look: it is not asked for again.
    #[test]
    fn being_late_is_no_silence() {
        let line = Late { now: Instant::ZERO, waiting: VecDeque::new(), sent: 0 };
        let mut host = Host::new(line, MasterConfig::default());
        let (exchange, device) = host.poll(PollingAddress::default(), None).expect("the line works");
        assert_eq!((exchange.transaction.outcome, host.line_mut().sent), (Outcome::Answered, 1));
        assert!(device.is_some());
        assert_eq!(
            exchange.transaction.response_time,
            Some(Duration::from_millis(20) + Pace::Wire.character() * 6)
        );
    }
}
