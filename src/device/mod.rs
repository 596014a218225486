//! The mock device: a field device without I/O on time that is handed in.
//!
//! Octets go in with their times, answers come out with the time at which they are due. What the
//! device senses is told by whoever holds it. It is of one kind [DV-60]: a positioner, whose loop current is
//! an input [DV-01], or a temperature transmitter, which makes its loop current itself [DV-61].

mod burst;
mod clock;
mod codes;
mod commands;
mod common;
mod config;
mod delayed;
mod described;
mod faults;
mod gateway;
mod identity;
mod kind;
mod lag;
mod left;
mod lock;
mod memory;
pub mod positioner;
mod positioning;
mod response;
mod speaking;
mod state;
mod status;
mod stored;
mod universal;
mod values;
mod variables;

pub use burst::{
    BURST_MESSAGES, BURST_SLOTS, BurstMessage, BurstTrigger, burst_commands, burst_messages, nearest_period,
};
pub use config::{ConfigError, DeviceConfig, Slow};
pub use delayed::why_not_slow;
pub use described::{
    Answer as DescribedAnswer, DescribedAnswers, is_of as described_is_of, place as described_place,
};
pub use faults::{Consequences, FaultSection, ProtocolFault};
#[cfg(feature = "io")]
pub(crate) use gateway::name_asked_for;
pub use gateway::{Behind, Gateway, GatewayConfig, Handled, SubDevice, channel_place};
pub use identity::{Identity, MANUFACTURER};
pub use kind::{
    ElectronicsConfig, Inputs, KindConfig, KindName, OutputTrim, PositionerConfig, TemperatureConfig,
};
pub use lag::{Lag, Positioner};
pub use memory::{ImageError, decode as decode_image, encode as encode_image};
pub use positioning::PositionerNews;
pub use response::{Ignored, NotBegun, Response};
pub use stored::{Stored, StoredLock, TwoPointTrim};

use crate::app::command::{Revision, Value};
use crate::frame::{
    Frame, FrameType, Octet, PollingAddress, Receiver, ReceiverConfig, Reception, Target, UniqueAddress,
};
use crate::link::{BurstTurns, Call, Slave};
use crate::time::{Instant, Pace};
use core::time::Duration;
use kind::Input;
use speaking::{Leaving, Pending};
use state::State;

/// What became of the memory image at power-up [DV-04].
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Restored {
    /// There was none: a new device.
    Fresh,
    /// The device has its values back.
    Kept,
    /// It cannot be used: the device runs on its defaults and says so. The image is to be kept under
    /// another name.
    Corrupt(ImageError),
}

/// A device variable as the device tells it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VariableTold {
    /// Such as "set point".
    pub name: &'static str,
    /// Code of its unit, as a master may have chosen it [UN-01].
    pub unit: u8,
    /// In that unit; not-a-number where it is not known.
    pub value: f64,
    /// Its status [TY-08].
    pub status: u8,
}

/// A mock device on a line.
///
/// Drive it like this: [`Device::handle`] with every octet of the line, [`Device::handle_timeout`]
/// when [`Device::wake_at`] has come, [`Device::poll_transmit`] after both (and [`Device::poll_raw`] where it may
/// have a protocol fault), and [`Device::sent`] when what was given out has left. A clone goes on in exactly the same way.
#[derive(Clone, Debug)]
pub struct Device {
    state: State,
    receiver: Receiver,
    pace: Pace,
    pending: Option<Pending>,
    turns: BurstTurns,
    /// What was given out and has not left, as far as that was told.
    leaving: Option<Leaving>,
    /// While it sends it does not hear: octets that end until then are not its.
    deaf_until: Option<Instant>,
}

impl Device {
    /// Powers a device up at `now`, with its memory as in `image`, on a line that runs at `pace` and
    /// whose stamps are off by at most `stamp_error`.
    ///
    /// # Panics
    /// [`DeviceConfig::check`] finds a fault in `config`: ask it first about what a user wrote.
    pub fn new(
        config: DeviceConfig,
        image: Option<&[u8]>,
        pace: Pace,
        stamp_error: Duration,
        now: Instant,
    ) -> (Device, Restored) {
        if let Err(e) = config.check() {
            panic!("{e}");
        }
        let (mut stored, restored) = match image {
            None => (config.factory.clone(), Restored::Fresh),
            Some(image) => match memory::decode_over(image, &config) {
                Ok(mut stored) => {
                    stored.describe_as(&config.factory);
                    (stored, Restored::Kept)
                }
                Err(e) => (config.factory.clone(), Restored::Corrupt(e)),
            },
        };
        stored.position_as(&config);
        let defect = match &restored {
            Restored::Corrupt(e) => Some(e),
            Restored::Fresh | Restored::Kept => None,
        };
        let turns = BurstTurns::new(pace, stamp_error, stored.polling_address, now);
        let device = Device {
            turns,
            leaving: None,
            receiver: Receiver::new(faults::hear(
                &config.faults,
                ReceiverConfig::for_line(pace, stamp_error),
            )),
            state: State::new(config, stored, defect, now),
            pace,
            pending: None,
            deaf_until: None,
        };
        (device, restored)
    }

    /// Octets came. A request that they complete takes effect at `now`.
    pub fn handle(&mut self, now: Instant, octets: &[Octet]) {
        let deaf = match self.deaf_until {
            Some(until) => octets.iter().take_while(|o| o.at <= until).count(),
            None => 0,
        };
        if deaf < octets.len() {
            self.deaf_until = None;
            if let Some(last) = octets.last() {
                self.turns.octets(last.at);
            }
            self.receiver.push(&octets[deaf..]);
            self.drain(now);
        }
    }

    /// The line's carrier detect, whenever it changes: while one is heard no burst begins [LL-23]. A line that
    /// cannot tell never calls this.
    pub fn carrier(&mut self, now: Instant, on: bool) {
        self.turns.carrier(now, on);
    }

    /// Time passed.
    pub fn handle_timeout(&mut self, now: Instant) {
        self.come_to(now);
        self.receiver.handle_timeout(now);
        self.drain(now);
    }

    /// When [`Device::handle_timeout`] and [`Device::poll_transmit`] want to be called; `None` while
    /// nothing is to be done.
    pub fn wake_at(&self) -> Option<Instant> {
        // While octets come, what they are decides first; while an answer waits nothing comes before it.
        let quiet = self.pending.is_none() && self.receiver.deadline().is_none();
        let burst = self.state.burst_wake_at().filter(|_| quiet).and_then(|due| self.turns.wake_at(due));
        let pending = self.pending.as_ref().map(|p| p.at);
        [pending, self.receiver.deadline(), self.state.delayed.next_at(), burst].into_iter().flatten().min()
    }

    /// Does what was put off and is done by `now` [DV-40]. Whoever changes something in the device at a time
    /// calls this first, so that the order does not depend on when the device is asked.
    pub fn come_to(&mut self, now: Instant) {
        commands::finish_due(&mut self.state, now);
        self.state.reach(now);
        self.turns.set_place(self.state.stored.polling_address);
    }

    /// The current that somebody else makes in the loop is `ma` milliampere from `now` on. What is no finite number is
    /// not taken; a device that makes its current itself leaves it.
    pub fn set_loop_current_ma(&mut self, now: Instant, ma: f64) {
        self.come_to(now);
        self.state.take(now, Input::LoopCurrentMa(ma));
    }

    /// The process has a temperature of `degc` degrees Celsius from `now` on. What is no finite number is not taken; a
    /// device that senses no temperature leaves it.
    pub fn set_process_temperature_degc(&mut self, now: Instant, degc: f64) {
        self.come_to(now);
        self.state.take(now, Input::ProcessTemperatureDegc(degc));
    }

    /// The sensor of the process temperature breaks at `now`, or is mended [DV-61].
    pub fn set_sensor_broken(&mut self, now: Instant, broken: bool) {
        self.come_to(now);
        self.state.take(now, Input::SensorBroken(broken));
    }

    /// The supply pressure is `bar` from now on. What is no finite number is not taken; a device without air leaves it.
    pub fn set_supply_pressure_bar(&mut self, bar: f64) {
        self.state.take(self.state.now, Input::SupplyPressureBar(bar));
    }

    /// From now on commands that may be answered with "busy" are, or are no longer [DV-09].
    pub fn set_busy(&mut self, busy: bool) {
        self.state.config.busy = busy;
    }

    /// The power goes away at `now`, and [`Device::power_cycle`] is when it comes back: a request half heard, an answer, what
    /// was put off, a calibration and whatever was leaving are lost [DV-51]. What is stored is stored. Until then the device is not to
    /// be asked for anything.
    pub fn power_lost(&mut self, now: Instant) {
        self.pending = None;
        self.forget_heard();
        self.deaf_until = None;
        self.leaving = None;
        self.state.power_lost(now);
    }

    fn forget_heard(&mut self) {
        self.receiver.finish();
        while self.receiver.next().is_some() {}
    }

    /// The power goes away and comes back at `now`: the device starts as at power-up, with its memory as stored and
    /// on the inputs that are now. What it had heard of a request, and an answer that had not begun, are lost [DV-50].
    pub fn power_cycle(&mut self, now: Instant) {
        self.pending = None;
        self.forget_heard();
        self.state.power_cycle(now);
        // The silence that it waits for begins behind what is leaving.
        self.turns.power_up(self.deaf_until.map_or(now, |until| until.max(now)));
        self.leaving = self.leaving.map(|_| Leaving::Left);
    }

    /// Breaks the electronics, or mends them: device malfunction [DV-50].
    pub fn set_malfunction(&mut self, broken: bool) {
        self.state.set_broken(broken);
    }

    /// Moves the switch that protects the configuration from being written [DV-05].
    pub fn set_write_protected(&mut self, protected: bool) {
        self.state.config.write_protected = protected;
    }

    /// Arms the device, so that it answers command 73, or disarms it: the key in the field [DV-25].
    pub fn set_armed(&mut self, armed: bool) {
        self.state.armed = armed;
    }

    /// Whether the device shows itself in the field at `now` [DV-25].
    pub fn squawks(&self, now: Instant) -> bool {
        self.state.squawks(now)
    }

    /// Preambles before its answers, as a master has written them or as the identity has them [DV-21].
    pub fn preambles_reply(&self) -> u8 {
        self.state.preambles_reply()
    }

    /// The memory image, if something in it has changed since it was last taken [DV-03].
    pub fn take_image(&mut self) -> Option<Vec<u8>> {
        core::mem::take(&mut self.state.unsaved).then(|| memory::encode(&self.state.stored))
    }

    /// Travel at `now`, %; not-a-number for a device that moves no valve.
    pub fn travel_percent(&self, now: Instant) -> f64 {
        self.state.valve_percent(now).map_or(f64::NAN, |(_, travel)| travel)
    }

    /// Set point before damping, %: a simulated one [DV-23], else what the loop current demands, or what it demanded
    /// when it was fixed [DV-15]; not-a-number for a device that moves no valve.
    pub fn set_point_percent(&self) -> f64 {
        self.state.valve_percent(self.state.now).map_or(f64::NAN, |(set_point, _)| set_point)
    }

    /// Which kind of device it is.
    pub fn kind(&self) -> KindName {
        self.state.config.kind.name()
    }

    /// The current that flows at `now` because of the device, mA, which is not quite what it means to send [DV-62];
    /// `None` where the loop current is an input.
    pub fn sent_current_ma(&self, now: Instant) -> Option<f64> {
        self.state.sent_ma(now)
    }

    /// Whether its loop current is fixed, so that it says nothing of what the device measures [DV-15].
    pub fn in_multidrop(&self) -> bool {
        self.state.around().in_multidrop()
    }

    /// The loop current as the device knows it, mA, when something last happened to it: measured, or what it means to
    /// send.
    pub fn loop_current_ma(&self) -> f64 {
        self.state.loop_current(self.state.now).ma
    }

    /// What is set outside of the device and it senses [DV-50].
    pub fn inputs(&self) -> Inputs {
        self.state.kind.inputs()
    }

    /// The device variables at `now` as the device tells them, in the order of their codes.
    pub fn variables(&self, now: Instant) -> Vec<VariableTold> {
        let told = |(code, of): (usize, &kind::Quantity)| {
            let variable = self.state.variable(u8::try_from(code).ok()?, now)?;
            let value = match variable.value {
                Value::Float(bits) => f64::from(f32::from_bits(bits)),
                _ => f64::NAN,
            };
            Some(VariableTold { name: of.name, unit: variable.unit, value, status: variable.status })
        };
        self.state.quantities().iter().enumerate().filter_map(told).collect()
    }

    /// Whether its electronics are broken [DV-50].
    pub fn is_broken(&self) -> bool {
        self.state.broken
    }

    /// Whether it is armed, so that it answers command 73 [DV-25].
    pub fn is_armed(&self) -> bool {
        self.state.armed
    }

    /// What it stores is other than what was saved last, for whoever saves it [DV-03].
    pub fn not_saved(&mut self) {
        self.state.unsaved = true;
    }

    /// Polling address, 0 to 63.
    pub fn polling_address(&self) -> u8 {
        self.state.stored.polling_address
    }

    /// Whether it is in burst mode [LL-10].
    pub fn bursts(&self) -> bool {
        self.state.bursts()
    }

    /// The burst messages that it sends, as they are set up [DV-30].
    pub fn burst_messages(&self) -> impl Iterator<Item = &BurstMessage> {
        self.state.messages_sent().map(|i| &self.state.stored.burst[i])
    }

    /// Unique address [FR-06].
    pub fn unique_address(&self) -> UniqueAddress {
        self.state.config.identity.unique_address()
    }

    /// Revision of the protocol.
    pub fn revision(&self) -> Revision {
        self.state.revision()
    }

    /// Tag.
    pub fn tag(&self) -> &str {
        &self.state.stored.tag
    }

    /// Long tag; revision 5 keeps it without a command for it.
    pub fn long_tag(&self) -> &str {
        &self.state.stored.long_tag
    }

    /// Everything that the device stores.
    pub fn stored(&self) -> &Stored {
        &self.state.stored
    }

    /// The set-up, with busy and write protect as they stand now.
    pub fn config(&self) -> &DeviceConfig {
        &self.state.config
    }

    fn drain(&mut self, now: Instant) {
        while let Some(reception) = self.receiver.next() {
            match &reception {
                // Somebody plays this device: that is no other one that bursts.
                Reception::Good(g)
                    if g.frame.frame_type() == FrameType::Back
                        && g.frame.address().target == Target::Unique(self.unique_address()) =>
                {
                    self.turns.heard_itself(reception.last_at());
                }
                _ => self.turns.heard(&reception),
            }
            self.take(now, &reception);
        }
    }

    fn slave(&self) -> Slave {
        Slave {
            // What is stored was checked, and command 6 checks.
            polling: PollingAddress::new(self.state.stored.polling_address).unwrap_or_default(),
            unique: self.unique_address(),
            highest_polling: self.state.config.identity.highest_polling(),
            answers_damaged: self.state.config.answers_damaged,
        }
    }

    fn take(&mut self, now: Instant, reception: &Reception) {
        let slave = self.slave();
        let end = reception.last_at();
        match faults::judge(&self.state, &slave, reception) {
            Call::Request(frame) => self.obey(now, end, &slave, &frame, false),
            Call::Broadcast(frame) => self.obey(now, end, &slave, &frame, true),
            // The second octet is 0, so it tells nothing [LL-08].
            Call::Damaged(header, error) => {
                self.drop_pending(now);
                self.reply(
                    end,
                    slave.reply_address(&header.address, self.state.bursts()),
                    header.command,
                    [error, 0],
                    None,
                );
            }
            Call::NotForUs => {}
        }
    }

    fn obey(&mut self, now: Instant, end: Instant, slave: &Slave, request: &Frame, broadcast: bool) {
        self.come_to(now);
        // Whatever comes of this request, an answer to one before it would come at the wrong time.
        self.drop_pending(now);
        if !broadcast {
            self.state.counters.requests = self.state.counters.requests.wrapping_add(1);
        }
        let Some((code, data)) = faults::answer(&mut self.state, now, request, broadcast) else {
            self.start_again(now);
            return;
        };
        self.turns.set_place(self.state.stored.polling_address);
        let address = slave.reply_address(&request.address(), self.state.bursts());
        let master = address.master;
        let status = [code, self.state.field_device_status(master)];
        self.reply(end, address, request.command(), status, Some((data, master)));
    }

    /// An answer that has not left will not: what was to come after it comes now.
    fn drop_pending(&mut self, now: Instant) {
        if self.pending.take().is_some() {
            self.state.delayed.kept();
            self.start_again(now);
        }
    }

    /// Starts again where command 42 has asked for it [DV-20].
    fn start_again(&mut self, now: Instant) {
        if self.state.starts_again {
            self.come_to(now);
            self.state.start(now);
        }
    }
}
