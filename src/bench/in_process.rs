//! A bench of this process, on virtual time, and what is changed on it while it runs.

use super::driven::device_key;
use super::station::{second_master, world};
use super::{BenchPlan, Change, why_not};
use crate::device::Response;
use crate::line::{Bus, InProcess};
use crate::sim::{Loop, Participant};
use crate::time::Instant;
use core::time::Duration;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

/// Most changes that wait. Each is made at the next send or wait, so few ever do.
const MOST_WAITING: usize = 1000;

/// The bench as a line on virtual time: a master at one more access point of its wires. It does no
/// I/O: the lines of the plan are not opened, and every device starts new, without its memory file.
pub fn in_process(plan: &BenchPlan) -> InProcess<Participant> {
    let (world, _) = world(plan, &[], Duration::ZERO, Instant::ZERO);
    let seed = match plan.seed.filter(|_| plan.leaves_to_chance()) {
        Some(seed) => format!("?seed={seed}"),
        None => String::new(),
    };
    world.into_line(format!("mock:{}{seed}", plan.path.display()))
}

/// A change happens now to the device with this index, or to all; the world has come to `at`. Gives what devices make of it.
/// The change can be: [`why_not`] has nothing against it.
pub(super) fn make_change(
    plan: &BenchPlan,
    bus: &mut Bus<Participant>,
    at: Instant,
    device: Option<usize>,
    change: Change,
) -> Vec<(String, Response)> {
    let mut became = Vec::new();
    let reaches_loop = plan.wires.is_some() && change.reaches_the_loop();
    if let Some(of) = bus.around_mut::<Loop>().filter(|_| reaches_loop) {
        of.order(at, device, change);
    }
    if let Some(severity) = change.second_master() {
        make_second_master(plan, bus, at, severity);
    } else if !(reaches_loop && change.is_of_the_loop()) {
        for i in (0..plan.devices.len()).filter(|&i| device.is_none_or(|d| d == i)) {
            let shown = bus.shown(i, at);
            let station = bus.station_mut(i).and_then(Participant::device_mut);
            let response = station.and_then(|s| s.change(shown, change));
            became.extend(response.map(|r| (device_key(plan, i), r)));
        }
    }
    became
}

/// A second master is at work from now on, or no longer; it joins the wires when it is first wanted [DV-110].
fn make_second_master(plan: &BenchPlan, bus: &mut Bus<Participant>, at: Instant, severity: f64) {
    let place = bus.stations().position(|s| s.second_master().is_some());
    let place = place.unwrap_or_else(|| {
        let master = second_master(plan);
        bus.add_station(Participant::SecondMaster(Box::new(master)))
    });
    let shown = bus.shown(place, at);
    if let Some(master) = bus.station_mut(place).and_then(Participant::second_master_mut) {
        master.set_severity(shown, severity);
    }
}

/// Changes that somebody else than the owner of the line orders, and that the owner makes between two waits [BA-05].
/// Clones share them.
#[derive(Clone, Debug, Default)]
pub struct Waiting {
    orders: Arc<Mutex<VecDeque<Ordered>>>,
    gauges: Arc<Mutex<Watched>>,
}

/// What the gauges of each device's valve show, once somebody looks at them.
#[derive(Debug, Default)]
struct Watched {
    is_wanted: bool,
    of_devices: Vec<Option<Gauges>>,
}

/// What somebody at a computed valve sees of its air.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gauges {
    /// At the positioner's outputs, bar; the second is 0 where there is none.
    pub outputs_bar: [f64; 2],
    /// Air that blows off through the stage's exhaust, g/s.
    pub exhaust_g_per_s: f64,
    /// Where the valve stands, as a scale at its stem would show it, percent of its travel; `None`: not told.
    pub travel_percent: Option<f64>,
}

/// A change, and for which device; `None`: for all.
type Ordered = (Option<usize>, Change);

impl Waiting {
    /// Orders a change for the device with this index, or for all.
    ///
    /// # Errors
    /// It cannot be on this bench, or too many wait already: what is wrong, and what would be right.
    pub fn order(
        &self,
        plan: &BenchPlan,
        device: Option<usize>,
        change: Change,
    ) -> Result<(), (String, String)> {
        if let Some(why) = why_not(plan, device, change) {
            return Err(why);
        }
        let mut waiting = self.orders.lock().unwrap_or_else(PoisonError::into_inner);
        if waiting.len() >= MOST_WAITING {
            let wrong = format!("{MOST_WAITING} changes wait already");
            return Err((wrong, "let the bench run on first".to_owned()));
        }
        waiting.push_back((device, change));
        Ok(())
    }

    /// What the gauges of this device's valve showed when the line was last sent to or waited for; the first time nobody has looked
    /// yet. `None`: no valve is computed there, or not yet.
    pub fn gauges(&self, device: usize) -> Option<Gauges> {
        let mut gauges = self.gauges.lock().unwrap_or_else(PoisonError::into_inner);
        gauges.is_wanted = true;
        gauges.of_devices.get(device).copied().flatten()
    }

    /// Makes all that wait, at the moment `at` up to which the world has come.
    pub fn make(&self, plan: &BenchPlan, bus: &mut Bus<Participant>, at: Instant) {
        let waiting = core::mem::take(&mut *self.orders.lock().unwrap_or_else(PoisonError::into_inner));
        for (device, change) in waiting {
            make_change(plan, bus, at, device, change);
        }
        let mut gauges = self.gauges.lock().unwrap_or_else(PoisonError::into_inner);
        if gauges.is_wanted {
            gauges.of_devices = (0..plan.devices.len()).map(|i| look(bus, i, at)).collect();
        }
    }
}

/// What the gauges of a device's valve show at `at`.
fn look(bus: &mut Bus<Participant>, device: usize, at: Instant) -> Option<Gauges> {
    let shown = bus.shown(device, at);
    let station = bus.station_mut(device).and_then(Participant::device_mut)?;
    station.come_to(shown);
    let of = station.valve()?.readings();
    Some(Gauges {
        outputs_bar: of.output_gauge_pa.map(|pa| pa / 1e5),
        exhaust_g_per_s: of.exhaust_flow_kg_per_s * 1e3,
        travel_percent: Some(of.travel_percent),
    })
}

#[cfg(all(test, feature = "bench-file"))]
mod tests {
    use super::*;
    use crate::bench::check;
    use crate::line::Line;
    use std::path::Path;

    const BENCH: &str = "[loop]\ncurrent_ma = 8\n[[device]]\ntag = \"FV-3104\"\n[[line]]\nat = \"pty:\"\n";

    /// 8 mA, then 16: the device senses what was ordered from the moment at which it was made, once. What cannot be is refused.
    #[test]
    fn ordered_changes_happen_between_two_waits() {
        let plan = check(BENCH, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
        let mut line = in_process(&plan);
        let waiting = Waiting::default();
        let sensed = |line: &InProcess<Participant>| {
            let device = line.bus().stations().find_map(Participant::device);
            device.map(|d| d.device().loop_current_ma())
        };
        assert_eq!(sensed(&line), Some(8.0));
        waiting.order(&plan, None, Change::LoopCurrentMa(16.0)).expect("it can be");
        let (wrong, _) = waiting.order(&plan, None, Change::LoopOpen(true)).expect_err("no loop is computed");
        assert!(wrong.contains("does not compute its loop"), "{wrong}");
        let until = Instant::ZERO + Duration::from_secs(5);
        line.wait(Some(until)).expect("a line of this process works");
        assert_eq!(sensed(&line), Some(8.0));
        waiting.make(&plan, line.bus_mut(), until);
        assert_eq!(sensed(&line), Some(16.0));
        waiting.make(&plan, line.bus_mut(), until);
        assert_eq!(sensed(&line), Some(16.0));
    }
}
