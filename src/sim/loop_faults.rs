//! What faults change of a loop [DV-110]: volts, current, a wet cable, water in housings, wires that have changed places.

use super::site_fault::{current_left, spread, volts_left, water_ohm, wet_cable};
use super::{SiteFault, SiteFaults};
use crate::time::Instant;
use crate::wiring::{Circuit, Shunt, Source};
use core::time::Duration;

/// While water spreads the loop is computed so often: our choice.
const SPREADS_EVERY: Duration = Duration::from_secs(1);

/// Water in a housing.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Water {
    severity: f64,
    since: Instant,
}

/// The faults of a loop, and what was set before they change it.
#[derive(Clone, Debug)]
pub(super) struct LoopFaults {
    of_loop: SiteFaults,
    /// Volts of the source as they are set.
    volts_v: f64,
    /// The current that is wanted, as it is set, A.
    current_a: f64,
    /// Of each device of the circuit: whether its wires change places by its sheet, whether they do by a fault.
    turned: Vec<(bool, bool)>,
    water: Vec<Option<Water>>,
    /// The leak is the shunt with this number; the wet cable and the water of each device follow.
    leak: usize,
    /// When water has spread further.
    next_at: Option<Instant>,
}

impl LoopFaults {
    /// Nothing across the wires, with a name.
    pub fn open_shunt(name: &str, at: usize) -> Shunt {
        let name = name.to_owned();
        Shunt { name, at, resistance_ohm: None, capacitance_f: 0.0, is_resistor: false }
    }

    /// None, in a circuit whose last shunt is the leak: makes room for the others.
    pub fn of(circuit: &mut Circuit, current_a: f64) -> LoopFaults {
        let leak = circuit.shunts.len().saturating_sub(1);
        let at = circuit.devices.first().map_or(0, |d| d.at);
        circuit.shunts.push(LoopFaults::open_shunt("a wet cable", at));
        let places: Vec<usize> = circuit.devices.iter().map(|d| d.at).collect();
        circuit.shunts.extend(places.iter().map(|&at| LoopFaults::open_shunt("water in the housing", at)));
        LoopFaults {
            of_loop: SiteFaults::default(),
            volts_v: circuit.source_v(),
            current_a,
            turned: circuit.devices.iter().map(|d| (d.is_reversed, false)).collect(),
            water: vec![None; places.len()],
            leak,
            next_at: None,
        }
    }

    /// Those of the loop as a whole.
    pub fn in_force(&self) -> &SiteFaults {
        &self.of_loop
    }

    /// The number of the shunt that is the leak.
    pub fn leak(&self) -> usize {
        self.leak
    }

    /// Volts of the source as they are set.
    pub fn set_v(&self) -> f64 {
        self.volts_v
    }

    /// The current as it is set, A.
    pub fn set_a(&self) -> f64 {
        self.current_a
    }

    /// The volts of the source are set.
    pub fn set_volts(&mut self, v: f64) {
        self.volts_v = v;
    }

    /// The current is set, A.
    pub fn set_current(&mut self, a: f64) {
        self.current_a = a;
    }

    /// A fault of the loop comes, changes or goes.
    pub fn put_in(&mut self, name: SiteFault, severity: f64) {
        self.of_loop.set(name, severity);
    }

    /// One at a device of the circuit does at `now`.
    pub fn put_in_at(&mut self, device: usize, name: SiteFault, severity: f64, now: Instant) {
        match name {
            SiteFault::WiresReversed => {
                if let Some(turned) = self.turned.get_mut(device) {
                    turned.1 = severity > 0.0;
                }
            }
            SiteFault::WaterInHousing => {
                if let Some(water) = self.water.get_mut(device) {
                    let since = water.map_or(now, |w| w.since);
                    *water = (severity > 0.0).then_some(Water { severity: severity.min(1.0), since });
                    self.next_at = Some(now);
                }
            }
            _ => {}
        }
    }

    /// When water has spread further, so that the loop is to be computed.
    pub fn next_at(&self) -> Option<Instant> {
        self.next_at
    }

    /// Makes the circuit what it is at `now`; gives the current that is wanted of it, A.
    pub fn apply(&mut self, circuit: &mut Circuit, now: Instant) -> f64 {
        let volts_v = self.volts_v * volts_left(self.of_loop.severity(SiteFault::LoopVoltsLow));
        match &mut circuit.source {
            Source::Supply { voltage_v, .. } => *voltage_v = volts_v,
            Source::Card { compliance_v, .. } => *compliance_v = volts_v,
        }
        for (device, turned) in circuit.devices.iter_mut().zip(&self.turned) {
            device.is_reversed = turned.0 != turned.1;
        }
        let wet = wet_cable(self.of_loop.severity(SiteFault::WetCable));
        let own = circuit.shunts.get_mut(self.leak + 1..).unwrap_or_default();
        if let Some((cable, housings)) = own.split_first_mut() {
            cable.resistance_ohm = wet.map(|w| w.0);
            cable.capacitance_f = wet.map_or(0.0, |w| w.1);
            for (housing, water) in housings.iter_mut().zip(&self.water) {
                housing.resistance_ohm =
                    water.and_then(|w| water_ohm(w.severity, spread(now.since(w.since))));
            }
        }
        let spreads = self.water.iter().flatten().any(|w| spread(now.since(w.since)) < 1.0);
        self.next_at = spreads.then(|| now + SPREADS_EVERY);
        self.current_a * current_left(self.of_loop.severity(SiteFault::CurrentMissing))
    }
}
