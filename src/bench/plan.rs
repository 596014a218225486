//! What a bench consists of, once it is known to make sense.

use super::fleet::FleetPlan;
use crate::app::command::Catalogue;
use crate::device::{DeviceConfig, GatewayConfig};
use crate::frame::Master;
use crate::line::{Clock, Endpoint, HartIpServer, SerialOptions, WireFault};
use crate::link::MasterConfig;
use crate::plant::fault::FaultName;
use crate::plant::follower::Follower;
use crate::plant::valve::ValveConfig;
use crate::sim::{Change, Errand, HostFault, SiteFault};
use crate::time::{Instant, Pace};
use crate::wiring::Circuit;
use core::net::SocketAddr;
use core::time::Duration;
use std::path::PathBuf;

/// A bench: every device and every line shares one pair of wires [LI-05].
#[derive(Clone, Debug, PartialEq)]
pub struct BenchPlan {
    /// The bench file, as it was named.
    pub path: PathBuf,
    /// How fast the wires run [LI-01].
    pub pace: Pace,
    /// Fixes what is left to chance; 0 if nobody chose one.
    pub seed: Option<u64>,
    /// How many loops there are of it, each with devices, wires and state of its own; `None` where there is this one.
    pub fleet: Option<FleetPlan>,
    /// At least one; polling addresses and unique addresses are all different.
    pub devices: Vec<DevicePlan>,
    /// Masters that are at work on the wires besides those outside.
    pub masters: Vec<MasterPlan>,
    /// What spoils transmissions on the wires, the first rule first [LI-22].
    pub wire_faults: Vec<WireFault>,
    /// What its HART-IP servers are, where they are a gateway before the devices [IP-16].
    pub gateway: Option<GatewayConfig>,
    /// Access points for software outside; at least one.
    pub lines: Vec<LinePlan>,
    /// What changes while the bench runs, in order of time.
    pub events: Vec<EventPlan>,
    /// The loop that feeds the devices, where it is computed; else they always have power [WI-14].
    pub wires: Option<LoopPlan>,
    /// Where the bench is driven over HTTP [BA-08].
    pub api: Option<SocketAddr>,
    /// The commands of the device types that the bench describes.
    pub catalogue: Catalogue,
}

/// Reads an address and a port; `localhost` is 127.0.0.1.
pub fn api_place(text: &str) -> Option<SocketAddr> {
    match text.strip_prefix("localhost:") {
        Some(port) => Some(SocketAddr::from(([127, 0, 0, 1], port.parse().ok()?))),
        None => text.parse().ok(),
    }
}

impl BenchPlan {
    /// Whether an event happens to the loop, as it is computed, or to who else is on the wires, and to no device.
    pub fn is_for_no_device(&self, event: &EventPlan) -> bool {
        self.wires.is_some() && event.change.is_of_the_loop() || event.change.second_master().is_some()
    }

    /// A polling address for each device that none has as delivered, the highest ones first [DV-110].
    pub fn spare_address(&self, device: usize) -> u8 {
        let of = |d: &DevicePlan| d.config.identity.highest_polling();
        let Some(highest) = self.devices.get(device).map(of) else { return 0 };
        let is_free = |a: &u8| self.devices.iter().all(|d| d.config.factory.polling_address != *a);
        let mut free = (0..=highest).rev().filter(is_free);
        free.nth(device).or_else(|| (0..=highest).rev().find(is_free)).unwrap_or(highest)
    }

    /// Whether one of its lines is a HART-IP server.
    pub fn serves(&self) -> bool {
        self.lines.iter().any(|l| matches!(l.kind, LineKind::HartIp(_)))
    }

    /// The masters that ask on the wires for clients of its HART-IP servers, where it has any [IP-15]: those that the
    /// bench has not already.
    pub fn relays(&self) -> Vec<Master> {
        let taken = |role: Master| self.masters.iter().any(|m| m.config.role == role);
        let free = [Master::Primary, Master::Secondary].into_iter().filter(|m| self.serves() && !taken(*m));
        free.collect()
    }

    /// Whether the seed makes a difference: there are faults or noise on the wires, a station that is late by chance,
    /// or a master or a device in burst mode that may collide with others [LI-20].
    pub fn leaves_to_chance(&self) -> bool {
        !self.wire_faults.is_empty()
            || self.wires.as_ref().is_some_and(|w| w.circuit.has_noise())
            || !self.masters.is_empty()
            || self.events.iter().any(|e| match e.change {
                Change::SiteFault { name, .. } => {
                    matches!(name, SiteFault::SecondMaster | SiteFault::BurstLeftOn)
                }
                _ => false,
            })
            || self
                .devices
                .iter()
                .any(|d| !d.clock.jitter.is_zero() || d.config.factory.burst.iter().any(|m| m.on))
    }
}

/// A mock device.
#[derive(Clone, Debug, PartialEq)]
pub struct DevicePlan {
    /// How it is set up; its `check` passes.
    pub config: DeviceConfig,
    /// The file of its memory image [DV-03]; without one it forgets when the bench ends.
    pub memory: Option<PathBuf>,
    /// Its clock [LI-23], with the jitter at wire pace.
    pub clock: Clock,
    /// From power to work, on a loop that is computed [DV-51]. The pace does not scale it.
    pub startup: Duration,
    /// The valve that it positions, to be computed; `None` of a device that is no positioner.
    pub valve: Option<ValvePlan>,
}

/// The loop that feeds the devices [WI-14].
#[derive(Clone, Debug, PartialEq)]
pub struct LoopPlan {
    /// Its circuit, with a master where the lines of the bench and its masters are.
    pub circuit: Circuit,
    /// For each device of the bench which of the circuit's it is; all different, and all of them.
    pub places: Vec<usize>,
    /// What a card is told to drive at first, or what flows where no device says otherwise, mA.
    pub current_ma: f64,
    /// Whether the sheet has no master and a usual one [WI-06] was taken, whose signal has a peak of its own.
    pub takes_usual_master: bool,
}

impl LoopPlan {
    /// Whether anybody follows a current that somebody else makes; else what is wrong with giving one, and what to do.
    pub(super) fn follows(&self) -> Result<(), (&'static str, &'static str)> {
        let wrong = "every device of this loop holds its own current, so this changes nothing";
        let right = "leave it out: several devices on one supply hold 4 mA each, or their holds_ma";
        if self.circuit.follows() { Ok(()) } else { Err((wrong, right)) }
    }
}

/// A valve that can be computed [PL-40].
#[derive(Clone, Debug, PartialEq)]
pub struct ValvePlan {
    /// How it is set up; its `check` passes.
    pub config: ValveConfig,
    /// What holds the set point where there is no positioner [PL-36].
    pub follower: Follower,
    /// What is wrong with it, and when.
    pub faults: Vec<ValveFaultPlan>,
    /// Whether the bench file says anything of it; what it leaves out is the reference actuator's [PL-31].
    pub is_described: bool,
    /// Whether a positioner that is new was calibrated on it before its faults came; else it is as out of its box.
    pub is_calibrated: bool,
}

/// Something that is wrong with a computed valve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ValveFaultPlan {
    /// What.
    pub name: FaultName,
    /// How bad, above 0 to 1 [PL-33].
    pub severity: f64,
    /// From when on, by the recorded run's clock; `None`: from before its begin.
    pub from: Option<Instant>,
    /// Until when, later than `from`; `None`: to the end.
    pub until: Option<Instant>,
}

/// A mock master.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MasterPlan {
    /// How it behaves.
    pub config: MasterConfig,
    /// What it asks. At [`Pace::Fast`], where nothing takes time, each at most every 10 ms.
    pub errands: Vec<Errand>,
    /// Its clock [LI-23], with the jitter at wire pace.
    pub clock: Clock,
    /// What is wrong with its requests.
    pub faults: Vec<HostFault>,
}

/// An access point.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LinePlan {
    /// As it stands in the bench file, such as `pty:`.
    pub at: String,
    /// What that means.
    pub kind: LineKind,
}

/// What an access point is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LineKind {
    /// A new pseudo-terminal [LI-02], with a symbolic link to it if one is named.
    Pty(Option<PathBuf>),
    /// A serial port of this machine [LI-03], and how its lines and its echo are used [LI-06] [LI-08].
    Serial(String, SerialOptions),
    /// A TCP port where software connects [LI-12].
    TcpListen(Endpoint),
    /// A connection to somebody who listens [LI-12].
    Tcp(Endpoint),
    /// A HART-IP server [IP-01].
    HartIp(HartIpServer),
}

/// Something that changes at a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EventPlan {
    /// When, on the bench's clock, which the pace does not scale.
    pub at: Instant,
    /// To which of the devices, by its index; `None` to every one.
    pub device: Option<usize>,
    /// What.
    pub change: Change,
}

impl EventPlan {
    /// Whether it happens to the device with this index.
    pub fn concerns(&self, device: usize) -> bool {
        self.device.is_none_or(|d| d == device)
    }
}

#[cfg(feature = "bench-file")]
impl LineKind {
    /// Whether it leads to wires outside of this program.
    #[cfg(feature = "io")]
    pub(super) fn is_real(&self) -> bool {
        matches!(self, LineKind::Serial(..) | LineKind::Tcp(_))
    }

    /// Whether both are the same place, so that only one of them can be had. What gets a place of its
    /// own each time is never the same.
    pub(super) fn is_same_place(&self, other: &LineKind) -> bool {
        match (self, other) {
            (LineKind::Pty(None), _) | (LineKind::TcpListen(Endpoint { port: 0, .. }), _) => false,
            (LineKind::HartIp(a), LineKind::HartIp(b)) => a.at == b.at && a.at.port != 0,
            (LineKind::TcpListen(a), LineKind::HartIp(b)) | (LineKind::HartIp(b), LineKind::TcpListen(a)) => {
                *a == b.at
            }
            (LineKind::Serial(a, _), LineKind::Serial(b, _)) => a == b,
            _ => self == other,
        }
    }
}
