//! The world: one bus with every station on it, on one clock, from one seed.
//!
//! A world is put together here and then either run on virtual time ([`World::run_until`]), made a line
//! for a host of this process ([`World::into_line`]), or driven on the wall clock by a bench. Nothing in
//! it reads a clock or draws a number that the seed does not fix, so the same seed and the same
//! participants give the same run, octet for octet.

mod device;
mod device_faults;
mod host_fault;
mod loop_faults;
mod master;
mod power;
mod relay;
mod second_master;
mod site_fault;
mod talker;
mod valve;
mod wires;

pub use device::{Change, DeviceStation};
pub use host_fault::HostFault;
pub use master::{Errand, MasterStation, Tally};
pub use power::{CardDrives, Dark, Power, PowerNews, Supplied};
pub use relay::{RelayStation, Relayed};
pub use second_master::SecondMaster;
pub use site_fault::{SiteFault, SiteFaults};
pub use talker::Talker;
pub use valve::{StationValve, senses};
pub use wires::{Loop, LoopChange, OnTheLoop};

use crate::frame::{Octet, RawFrame};
use crate::line::{Bus, Clock, Delivery, InProcess, Reach, Source, Station, WireFault};
use crate::time::{Instant, Pace};

/// Somebody on the bus.
#[derive(Clone, Debug)]
pub enum Participant {
    /// A mock device.
    Device(Box<DeviceStation>),
    /// A master that asks what it was told to ask.
    Master(Box<MasterStation>),
    /// A master that asks for others.
    Relay(Box<RelayStation>),
    /// Somebody who says what it was told to say, when it was told.
    Talker(Talker),
    /// A master too many [DV-110].
    SecondMaster(Box<SecondMaster>),
}

impl Participant {
    /// The device, if it is one.
    pub fn device(&self) -> Option<&DeviceStation> {
        match self {
            Participant::Device(d) => Some(d),
            _ => None,
        }
    }

    /// The device, if it is one, to change it.
    pub fn device_mut(&mut self) -> Option<&mut DeviceStation> {
        match self {
            Participant::Device(d) => Some(d),
            _ => None,
        }
    }

    /// The master, if it is one.
    pub fn master(&self) -> Option<&MasterStation> {
        match self {
            Participant::Master(m) => Some(m),
            _ => None,
        }
    }

    /// The master too many, if it is that one.
    pub fn second_master(&self) -> Option<&SecondMaster> {
        match self {
            Participant::SecondMaster(m) => Some(m),
            _ => None,
        }
    }

    /// The same, to change how bad it is.
    pub fn second_master_mut(&mut self) -> Option<&mut SecondMaster> {
        match self {
            Participant::SecondMaster(m) => Some(m),
            _ => None,
        }
    }

    /// The master, if it is one, to take from it what it keeps.
    pub fn master_mut(&mut self) -> Option<&mut MasterStation> {
        match self {
            Participant::Master(m) => Some(m),
            _ => None,
        }
    }

    /// The master that asks for others, if it is one.
    pub fn relay_mut(&mut self) -> Option<&mut RelayStation> {
        match self {
            Participant::Relay(r) => Some(r),
            _ => None,
        }
    }
}

impl Station for Participant {
    fn handle(&mut self, now: Instant, octets: &[Octet]) {
        match self {
            Participant::Device(s) => s.handle(now, octets),
            Participant::Master(s) => s.handle(now, octets),
            Participant::Relay(s) => s.handle(now, octets),
            Participant::Talker(s) => s.handle(now, octets),
            Participant::SecondMaster(s) => s.handle(now, octets),
        }
    }
    fn sent(&mut self, now: Instant) {
        match self {
            Participant::Device(s) => s.sent(now),
            Participant::Master(s) => s.sent(now),
            Participant::Relay(s) => s.sent(now),
            Participant::Talker(s) => s.sent(now),
            Participant::SecondMaster(s) => s.sent(now),
        }
    }
    fn carrier(&mut self, now: Instant, on: bool) {
        match self {
            Participant::Device(s) => s.carrier(now, on),
            Participant::Master(s) => s.carrier(now, on),
            Participant::Relay(s) => s.carrier(now, on),
            Participant::Talker(s) => s.carrier(now, on),
            Participant::SecondMaster(s) => s.carrier(now, on),
        }
    }
    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        match self {
            Participant::Device(s) => s.poll_transmit(now),
            Participant::Master(s) => s.poll_transmit(now),
            Participant::Relay(s) => s.poll_transmit(now),
            Participant::Talker(s) => s.poll_transmit(now),
            Participant::SecondMaster(s) => s.poll_transmit(now),
        }
    }
    fn poll_raw(&mut self, now: Instant) -> Option<RawFrame> {
        match self {
            Participant::Device(s) => s.poll_raw(now),
            Participant::Talker(s) => s.poll_raw(now),
            Participant::Master(_) | Participant::Relay(_) | Participant::SecondMaster(_) => None,
        }
    }
    fn wake_at(&self) -> Option<Instant> {
        match self {
            Participant::Device(s) => s.wake_at(),
            Participant::Master(s) => s.wake_at(),
            Participant::Relay(s) => s.wake_at(),
            Participant::Talker(s) => s.wake_at(),
            Participant::SecondMaster(s) => s.wake_at(),
        }
    }
}

/// One bus with everybody on it. A clone is a snapshot: it goes on in exactly the same way.
#[derive(Clone)]
pub struct World {
    bus: Bus<Participant>,
    now: Instant,
}

impl World {
    /// An empty world at time zero.
    pub fn new(pace: Pace, seed: u64) -> World {
        World { bus: Bus::with_seed(pace, seed), now: Instant::ZERO }
    }

    /// The pace of its wires [LI-01].
    pub fn pace(&self) -> Pace {
        self.bus.pace()
    }

    /// Its time.
    pub fn now(&self) -> Instant {
        self.now
    }

    /// Adds a device; gives its index among the stations.
    pub fn add_device(&mut self, device: DeviceStation, clock: Clock) -> usize {
        self.bus.add_station_with(Participant::Device(Box::new(device)), clock)
    }

    /// Adds a master; gives its index among the stations.
    pub fn add_master(&mut self, master: MasterStation, clock: Clock) -> usize {
        self.bus.add_station_with(Participant::Master(Box::new(master)), clock)
    }

    /// Adds a master that asks for others; gives its index among the stations.
    pub fn add_relay(&mut self, relay: RelayStation) -> usize {
        self.bus.add_station(Participant::Relay(Box::new(relay)))
    }

    /// Adds a master too many; gives its index among the stations.
    pub fn add_second_master(&mut self, master: SecondMaster) -> usize {
        self.bus.add_station(Participant::SecondMaster(Box::new(master)))
    }

    /// Adds somebody who follows a script; gives its index among the stations.
    pub fn add_talker(&mut self, talker: Talker) -> usize {
        self.bus.add_station(Participant::Talker(talker))
    }

    /// Adds an observer, who hears everything and says nothing: gives the number of its access point.
    pub fn add_observer(&mut self) -> usize {
        self.bus.add_port()
    }

    /// From now on these rules spoil what passes [LI-22].
    pub fn set_faults(&mut self, rules: Vec<WireFault>) {
        self.bus.set_faults(rules);
    }

    /// From now on the devices hang on this loop, computed at once as at `now` [WI-14]; its stations are there already.
    pub fn set_loop(&mut self, wires: Loop, now: Instant) {
        self.bus.set_around(Box::new(wires), now);
    }

    /// From now on `listener` hears `talker` so: see [`Bus::set_reach`] [LI-25]. Stations and access points are named by the
    /// indices that they got when they were added; the user of [`World::into_line`] is the access point that comes after all others.
    pub fn set_reach(&mut self, talker: Source, listener: Source, reach: Reach) {
        self.bus.set_reach(talker, listener, reach);
    }

    /// The bus.
    pub fn bus(&self) -> &Bus<Participant> {
        &self.bus
    }

    /// The bus, to change a participant or to take what it keeps.
    pub fn bus_mut(&mut self) -> &mut Bus<Participant> {
        &mut self.bus
    }

    /// Lets everything happen that happens until `t`; adds what the observers hear to `heard`.
    pub fn run_until(&mut self, t: Instant, heard: &mut Vec<Delivery>) {
        self.now = self.now.max(t);
        self.bus.poll_into(self.now, heard);
    }

    /// Makes it a line on virtual time, whose user is at one more access point of the bus; `name` is what
    /// the line calls itself.
    pub fn into_line(self, name: impl Into<String>) -> InProcess<Participant> {
        InProcess::new(self.bus, name)
    }

    /// The bus alone, for whoever drives it on another clock.
    pub fn into_bus(self) -> Bus<Participant> {
        self.bus
    }
}
