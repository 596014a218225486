//! What a plan puts on the wires.

use super::plan::{BenchPlan, DevicePlan, ValveFaultPlan, ValvePlan};
use crate::device::positioner::{self, Calibrated, Electronics, Kept, PERIOD};
use crate::device::{Device, KindConfig, PositionerConfig, Restored};
use crate::frame::{Address, Frame, Target};
use crate::line::Clock;
use crate::link::MasterConfig;
use crate::plant::fault::FaultName;
use crate::plant::valve::Valve;
use crate::sim::{
    DeviceStation, Errand, Loop, LoopChange, MasterStation, OnTheLoop, RelayStation, SecondMaster,
    StationValve, World,
};
use crate::time::{Instant, Pace};
use core::time::Duration;

/// Where octets take no time, whoever asks without a pause would ask without end at one instant.
const LEAST_PAUSE_WHEN_FAST: Duration = Duration::from_millis(10);

/// The device of a plan with this index, powered up at `now` with its memory as in `image`, on wires whose
/// stamps are off by at most `stamp_error`, with those events of the plan that concern it.
///
/// # Panics
/// There is no such device, or [`crate::device::DeviceConfig::check`] finds a fault, which it does not in a
/// plan that was read from a bench file.
pub fn device_station(
    index: usize,
    plan: &BenchPlan,
    image: Option<&[u8]>,
    stamp_error: Duration,
    now: Instant,
) -> (DeviceStation, Restored) {
    let mut config = plan.devices[index].config.clone();
    if let (KindConfig::Positioner(own), Some(wires), Some(of)) =
        (&mut config.kind, &plan.wires, current_loop(plan))
    {
        own.loop_current_ma = of.first_current_ma(wires.places[index]);
    }
    let valve = plan.devices[index].valve.as_ref().filter(|v| v.is_described);
    if let (Some(valve), Some(stored)) = (valve.filter(|v| v.is_calibrated), &mut config.factory.positioner)
        && let KindConfig::Positioner(PositionerConfig { electronics: Some(own), .. }) = &config.kind
    {
        stored.calibrated = calibrated(valve, &own.set_up, seed(plan, index));
    }
    let (device, restored) = Device::new(config, image, plan.pace, stamp_error, now);
    let events = plan.events.iter().filter(|e| e.concerns(index) && !plan.is_for_no_device(e));
    let station = DeviceStation::new(device, events.map(|e| (e.at, e.change)).collect())
        .with_spare_address(plan.spare_address(index));
    let Some(own) = valve else { return (station, restored) };
    let mut faults: Vec<_> = own.faults.iter().flat_map(fault_changes).collect();
    // Stable: what stands first in the file happens first.
    faults.sort_by_key(|f| f.0);
    // A plan that was read from a bench file has passed its check.
    match StationValve::new(own.config, faults, seed(plan, index), now) {
        Ok(valve) => (station.with_valve(valve), restored),
        Err(_) => (station, restored),
    }
}

/// The seed of the noise of a device's sensors.
fn seed(plan: &BenchPlan, index: usize) -> u64 {
    plan.seed.unwrap_or(0).wrapping_add(index as u64)
}

/// When a fault of the plan comes, and when it goes.
fn fault_changes(fault: &ValveFaultPlan) -> impl Iterator<Item = (Instant, FaultName, f64)> + use<> {
    let comes = (fault.from.unwrap_or(Instant::ZERO), fault.name, fault.severity);
    let name = fault.name;
    let goes = fault.until.map(|until| (until, name, 0.0));
    core::iter::once(comes).chain(goes)
}

/// What a calibration on the healthy valve learns; `None` where it fails [DV-91].
fn calibrated(plan: &ValvePlan, set_up: &positioner::Config, seed: u64) -> Option<Calibrated> {
    let mut valve = Valve::new(plan.config, seed).ok()?;
    let kept = Kept { config: set_up.clone(), ..Kept::default() };
    let mut electronics = Electronics::new(kept).ok()?;
    let mut now = Instant::ZERO;
    let current_a = set_up.demand.from_a.max(4e-3);
    let mut begun = false;
    loop {
        let mut senses = crate::sim::senses(&valve.readings());
        senses.loop_current_a = current_a;
        valve.set_drive(electronics.step(now, &senses));
        if !begun {
            electronics.start_calibration(positioner::Kind::Friction).ok()?;
            begun = true;
        } else if electronics.progress().is_none() {
            return electronics.calibrated().copied();
        }
        now += PERIOD;
        valve.advance(now);
    }
}

/// The loop of a plan, whose devices are the first stations of the bus.
fn current_loop(plan: &BenchPlan) -> Option<Loop> {
    let wires = plan.wires.as_ref()?;
    let place = |(station, (&device, own)): (usize, (&usize, &DevicePlan))| OnTheLoop {
        station,
        device,
        startup: own.startup,
    };
    let places = wires.places.iter().zip(&plan.devices).enumerate().map(place).collect();
    let events = plan.events.iter().filter(|e| e.change.reaches_the_loop());
    let changes = events.map(|e| LoopChange { at: e.at, device: e.device, change: e.change }).collect();
    Some(Loop::new(wires.circuit.clone(), places, wires.current_ma, changes))
}

/// A master too many, with the role of the first master of the plan, which asks its devices in turn [DV-110].
pub fn second_master(plan: &BenchPlan) -> SecondMaster {
    let role = plan.masters.first().map_or_else(|| MasterConfig::default().role, |m| m.config.role);
    let config = MasterConfig { role, ..MasterConfig::default() };
    let asks = plan.devices.iter().filter_map(|d| {
        let id = &d.config.identity;
        let address = Address::new(role, Target::Unique(id.unique_address()));
        Some(Errand {
            frame: Frame::request(address, 3, Vec::<u8>::new()).ok()?,
            preambles: Some(id.preambles_request),
            first_at: Instant::ZERO,
            every: None,
        })
    });
    let changes = plan.events.iter().filter_map(|e| Some((e.at, e.change.second_master()?)));
    SecondMaster::new(config, plan.pace, asks.collect(), changes)
}

/// The world of a plan, its devices first and then its masters, each in the order of the plan. `images`
/// are the memories of the devices by index; a device beyond their end is new.
///
/// # Panics
/// As [`device_station`].
pub fn world(
    plan: &BenchPlan,
    images: &[Option<Vec<u8>>],
    stamp_error: Duration,
    now: Instant,
) -> (World, Vec<Restored>) {
    let mut world = World::new(plan.pace, plan.seed.unwrap_or(0));
    let mut restored = Vec::new();
    for (i, device) in plan.devices.iter().enumerate() {
        let image = images.get(i).and_then(Option::as_deref);
        let (station, what) = device_station(i, plan, image, stamp_error, now);
        world.add_device(station, at_pace(device.clock, plan.pace));
        restored.push(what);
    }
    for master in &plan.masters {
        let mut errands = master.errands.clone();
        if plan.pace == Pace::Fast {
            for every in errands.iter_mut().filter_map(|e| e.every.as_mut()) {
                *every = LEAST_PAUSE_WHEN_FAST.max(*every);
            }
        }
        let station =
            MasterStation::new(master.config, plan.pace, errands).with_faults(master.faults.clone());
        world.add_master(station, at_pace(master.clock, plan.pace));
    }
    for (n, role) in plan.relays().into_iter().enumerate() {
        // Both hear the same bursts; one of them keeps them.
        world.add_relay(RelayStation::new(role, plan.pace, n == 0));
    }
    if plan.events.iter().any(|e| e.change.second_master().is_some()) {
        world.add_second_master(second_master(plan));
    }
    world.set_faults(plan.wire_faults.clone());
    if let Some(wires) = current_loop(plan) {
        world.set_loop(wires, now);
    }
    (world, restored)
}

/// A clock whose jitter is that of the pace.
fn at_pace(clock: Clock, pace: Pace) -> Clock {
    Clock { jitter: pace.scale(clock.jitter), ..clock }
}
