//! What can be read of a bench: quantities by name [BA-04].
//!
//! A new quantity of a device is a row in [`of_device`], or in a list that it calls.

use crate::app::types::units;
use crate::bench::BenchPlan;
use crate::device::positioner::{Electronics, Ending};
use crate::line::Bus;
use crate::plant::valve::Readings;
use crate::sim::{DeviceStation, Loop, Participant, Power};
use crate::time::Instant;
use std::borrow::Cow;

/// Whose view a quantity is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum View {
    /// What physics says; no device may know it.
    True,
    /// What the device senses, means or has stored.
    Device,
    /// What somebody outside has set.
    Set,
}

impl View {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            View::True => "true",
            View::Device => "device",
            View::Set => "set",
        }
    }
}

/// A value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Value {
    /// A finite number in the quantity's unit.
    Number(f64),
    /// Yes or no.
    Switch(bool),
    /// One of a few words.
    Word(&'static str),
    /// There is none now.
    None,
}

impl From<f64> for Value {
    fn from(x: f64) -> Value {
        if x.is_finite() { Value::Number(x) } else { Value::None }
    }
}

impl From<Option<f64>> for Value {
    fn from(x: Option<f64>) -> Value {
        x.map_or(Value::None, Value::from)
    }
}

impl From<bool> for Value {
    fn from(on: bool) -> Value {
        Value::Switch(on)
    }
}

/// A quantity with its value at some moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Its own name, such as `travel_percent`.
    pub name: Cow<'static, str>,
    /// Its unit; empty where it has none.
    pub unit: &'static str,
    /// Whose view it is.
    pub view: View,
    /// Its value.
    pub value: Value,
}

/// A list that grows by rows.
#[derive(Default)]
struct Rows(Vec<Reading>);

impl Rows {
    fn row(&mut self, name: &'static str, unit: &'static str, view: View, value: impl Into<Value>) {
        self.0.push(Reading { name: name.into(), unit, view, value: value.into() });
    }
}

/// How the device with this index is called in names of quantities [BA-04].
pub fn device_key(plan: &BenchPlan, device: usize) -> String {
    let tag = |i: usize| plan.devices[i].config.factory.tag.as_str();
    let own = tag(device);
    let is_plain = !own.is_empty() && own.bytes().all(|b| b.is_ascii_alphanumeric() || b"-_".contains(&b));
    let is_alone = (0..plan.devices.len()).filter(|&i| tag(i) == own).count() == 1;
    if is_plain && is_alone { own.to_owned() } else { format!("device-{device}") }
}

/// All that can be read at `now`, owner's key and reading, always in the same order.
pub fn all(plan: &BenchPlan, bus: &Bus<Participant>, now: Instant) -> Vec<(String, Reading)> {
    let mut out = Vec::new();
    let mut add = |key: &str, rows: Rows| out.extend(rows.0.into_iter().map(|r| (key.to_owned(), r)));
    if let Some(of) = bus.around::<Loop>() {
        add("loop", of_loop(of));
    }
    add("wires", of_wires(bus));
    let devices = bus.stations().enumerate().filter_map(|(i, s)| Some((i, s.device()?)));
    for (i, station) in devices.take(plan.devices.len()) {
        add(&device_key(plan, i), of_device(station, bus.shown(i, now)));
    }
    out
}

fn of_loop(of: &Loop) -> Rows {
    let mut rows = Rows::default();
    rows.row("wanted_current_ma", "mA", View::Set, of.wanted_ma());
    rows.row("supply_v", "V", View::Set, of.supply_v());
    rows.row("open", "", View::Set, of.is_open());
    rows.row("extra_ohm", "ohm", View::Set, of.extra_ohm());
    rows.row("leak_ohm", "ohm", View::Set, of.leak_ohm());
    rows.row("card_current_ma", "mA", View::True, of.carried_ma());
    rows
}

fn of_wires(bus: &Bus<Participant>) -> Rows {
    let passed = bus.traffic();
    let mut rows = Rows::default();
    for (name, octets) in [
        ("octets_sent", passed.sent),
        ("octets_heard", passed.heard),
        ("octets_spoilt", passed.spoilt),
        ("octets_silenced", passed.silenced),
    ] {
        rows.row(name, "", View::True, octets as f64);
    }
    rows
}

/// Of a device whose clock shows `shown`.
fn of_device(station: &DeviceStation, shown: Instant) -> Rows {
    let device = station.device();
    let mut rows = Rows::default();
    let sent_ma = device.sent_current_ma(shown).filter(|_| station.is_on());
    match station.supplied() {
        Some(supplied) => {
            rows.row("loop_current_ma", "mA", View::True, supplied.current_a * 1e3);
            rows.row("terminal_v", "V", View::True, supplied.volts_v);
            rows.row("margin_v", "V", View::True, supplied.margin_v);
            let power = match supplied.power {
                Power::On => "on",
                Power::Starting { .. } => "starting",
                Power::Off(_) => "off",
            };
            rows.row("power", "", View::True, Value::Word(power));
        }
        None => {
            let ma = sent_ma.unwrap_or(device.loop_current_ma());
            rows.row("loop_current_ma", "mA", View::True, ma);
        }
    }
    if let Some(valve) = station.valve() {
        of_valve(&valve.readings(), &mut rows);
    } else if device.travel_percent(shown).is_finite() {
        // A plain valve is where its lag says: there is no other truth [DV-13].
        rows.row("travel_percent", "%", View::True, device.travel_percent(shown));
    }
    rows.row("measured_current_ma", "mA", View::Device, device.loop_current_ma());
    if device.set_point_percent().is_finite() {
        rows.row("set_point_percent", "%", View::Device, device.set_point_percent());
    }
    for told in device.variables(shown) {
        let name = format!("told_{}", told.name.replace(' ', "_"));
        let unit = units::symbol(told.unit, None).unwrap_or("");
        let value = told.value.into();
        rows.0.push(Reading { name: name.into(), unit, view: View::Device, value });
    }
    if let Some(electronics) = device.electronics() {
        of_electronics(electronics, &mut rows);
        rows.row("display", "", View::Device, device.display_state(shown).map_or(Value::None, Value::Word));
    }
    rows.row("bursts", "", View::Device, device.bursts());
    let inputs = device.inputs();
    if let Some(bar) = inputs.supply_pressure_bar {
        rows.row("supply_pressure_bar", "bar", View::Set, bar);
    }
    if let Some(degc) = inputs.process_temperature_degc {
        rows.row("process_temperature_degc", "degC", View::Set, degc);
    }
    if let Some(broken) = inputs.sensor_broken {
        rows.row("sensor_broken", "", View::Set, broken);
    }
    rows.row("armed", "", View::Set, device.is_armed());
    rows.row("write_protect", "", View::Set, device.config().write_protected);
    rows.row("busy", "", View::Set, device.config().busy);
    rows.row("malfunction", "", View::Set, device.is_broken());
    rows
}

/// The truth about a computed valve, and what is set of it [PL-30].
fn of_valve(r: &Readings, rows: &mut Rows) {
    rows.row("travel_percent", "%", View::True, r.travel_percent);
    rows.row("stem_mm", "mm", View::True, r.stem_m * 1e3);
    rows.row("lever_angle_deg", "deg", View::True, r.lever_rad.to_degrees());
    rows.row("drive", "", View::True, r.drive);
    rows.row("inlet_pressure_bar", "bar", View::True, r.supply_gauge_pa / 1e5);
    rows.row("output_1_bar", "bar", View::True, r.output_gauge_pa[0] / 1e5);
    rows.row("output_2_bar", "bar", View::True, r.output_gauge_pa[1] / 1e5);
    rows.row("chamber_1_bar", "bar", View::True, r.chamber_gauge_pa[0] / 1e5);
    rows.row("chamber_2_bar", "bar", View::True, r.chamber_gauge_pa[1] / 1e5);
    rows.row("friction_n", "N", View::True, r.friction_n);
    rows.row("air_used_g", "g", View::True, r.air_used_kg * 1e3);
    rows.row("header_pressure_bar", "bar", View::Set, r.header_gauge_pa / 1e5);
}

/// What the electronics of a positioner know [DV-80].
fn of_electronics(e: &Electronics, rows: &mut Rows) {
    let progress = e.progress();
    rows.row("calibrated", "", View::Device, e.calibrated().is_some());
    rows.row("calibrating", "", View::Device, progress.is_some());
    let stage = progress.map_or("none", |p| p.stage.words());
    rows.row("calibration_stage", "", View::Device, Value::Word(stage));
    rows.row("calibration_percent", "%", View::Device, progress.map(|p| f64::from(p.percent)));
    let result = match e.result().map(|o| o.ending) {
        None => "never run",
        Some(Ending::Done) => "done",
        Some(Ending::Aborted) => "aborted",
        Some(Ending::Failed(cause)) => cause.words(),
    };
    rows.row("calibration_result", "", View::Device, Value::Word(result));
    rows.row("deviation_percent", "%", View::Device, e.deviation_percent());
}
