//! What can be read of a bench: quantities by name [BA-04].
//!
//! A new quantity of a device is a row in [`of_device`], or in a list that it calls.

use crate::app::types::units;
use crate::bench::BenchPlan;
use crate::device::Device;
use crate::device::positioner::{Alarm, Ending, Wanted};
use crate::line::Bus;
use crate::plant::fault::FaultName;
use crate::sim::{DeviceStation, Loop, Participant, Power, SiteFault, StationValve};
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
    for name in SiteFault::ALL.into_iter().filter(|n| n.is_of_the_loop()) {
        rows.row(name.quantity(), "", View::Set, of.faults().severity(name));
    }
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
    let second = bus.stations().find_map(|s| s.second_master()).map_or(0.0, |m| m.severity());
    rows.row(SiteFault::SecondMaster.quantity(), "", View::Set, second);
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
        of_valve(valve, &mut rows);
    }
    // A plain valve is where its lag says: there is no other truth [DV-13].
    if station.valve().is_none() && device.travel_percent(shown).is_finite() {
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
    if device.electronics().is_some() {
        of_electronics(device, &mut rows);
        let display = device.display_state(shown).filter(|_| station.is_on());
        rows.row("display", "", View::Device, display.map_or(Value::None, Value::Word));
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
    rows.row("polling_address", "", View::Device, f64::from(device.polling_address()));
    // What the loop has is told there.
    let is_here = |n: &SiteFault| {
        *n != SiteFault::SecondMaster && (!n.is_of_the_loop() || station.supplied().is_none())
    };
    for name in SiteFault::ALL.into_iter().filter(is_here) {
        rows.row(name.quantity(), "", View::Set, station.faults().severity(name));
    }
    rows
}

/// Of a computed valve [BA-11]: all that its readings have, and its faults.
fn of_valve(valve: &StationValve, rows: &mut Rows) {
    let of = valve.readings();
    let (mm, deg, bar, g) = (1e3, 180.0 / core::f64::consts::PI, 1e-5, 1e3);
    let mut physics = |name, unit, value: Option<f64>| rows.row(name, unit, View::True, value);
    physics("travel_percent", "%", Some(of.travel_percent));
    physics("stem_mm", "mm", Some(of.stem_m * mm));
    physics("velocity_mm_per_s", "mm/s", Some(of.velocity_m_per_s * mm));
    physics("shaft_deg", "deg", of.shaft_rad.map(|x| x * deg));
    physics("lever_deg", "deg", Some(of.lever_rad * deg));
    physics("drive", "", Some(of.drive));
    physics("pilot", "", Some(of.pilot));
    physics("header_bar", "bar", Some(of.header_gauge_pa * bar));
    physics("regulator_bar", "bar", Some(of.regulator_gauge_pa * bar));
    physics("supply_bar", "bar", Some(of.supply_gauge_pa * bar));
    physics("output_1_bar", "bar", Some(of.output_gauge_pa[0] * bar));
    physics("output_2_bar", "bar", Some(of.output_gauge_pa[1] * bar));
    physics("chamber_1_bar", "bar", Some(of.chamber_gauge_pa[0] * bar));
    physics("chamber_2_bar", "bar", Some(of.chamber_gauge_pa[1] * bar));
    physics("tank_bar", "bar", of.tank_gauge_pa.map(|p| p * bar));
    physics("actuator_n", "N", Some(of.actuator_n));
    physics("spring_n", "N", Some(of.spring_n));
    physics("process_n", "N", Some(of.process_n));
    physics("friction_n", "N", Some(of.friction_n));
    physics("stop_n", "N", Some(of.stop_n));
    physics("air_used_g", "g", Some(of.air_used_kg * g));
    physics("supply_flow_g_per_s", "g/s", Some(of.supply_flow_kg_per_s * g));
    physics("exhaust_flow_g_per_s", "g/s", Some(of.exhaust_flow_kg_per_s * g));
    physics("casing_leak_g_per_s", "g/s", Some(of.casing_leak_kg_per_s * g));
    physics("tube_leak_g_per_s", "g/s", Some(of.tube_leak_kg_per_s * g));
    rows.row("stuck", "", View::True, of.stuck);
    rows.row("hand_percent", "%", View::Set, valve.hand_percent());
    rows.row("sensed_deg", "deg", View::Device, of.sensed_rad * deg);
    rows.row("sensor_in_range", "", View::Device, of.sensor_in_range);
    for name in FaultName::ALL {
        let severity = valve.faults().severity(name).into();
        rows.0.push(Reading {
            name: format!("fault_{}", name.word()).into(),
            unit: "",
            view: View::Set,
            value: severity,
        });
    }
}

/// What the electronics of a positioner know, and what is set at it [DV-80].
fn of_electronics(device: &Device, rows: &mut Rows) {
    let Some(e) = device.electronics() else { return };
    let progress = e.progress();
    rows.row("calibrated", "", View::Device, e.calibrated().is_some());
    rows.row("calibrating", "", View::Device, progress.is_some());
    let stage = progress.map_or("none", |p| p.stage.words());
    rows.row("calibration_stage", "", View::Device, Value::Word(stage));
    rows.row("calibration_percent", "%", View::Device, progress.map(|p| f64::from(p.percent)));
    let result = match e.result().map(|o| o.ending) {
        None if e.calibrated().is_some() => "done at the factory",
        None => "never run",
        Some(Ending::Done) => "done",
        Some(Ending::Aborted) => "aborted",
        Some(Ending::Failed(cause)) => cause.words(),
    };
    rows.row("calibration_result", "", View::Device, Value::Word(result));
    let hint = match e.result().map(|o| o.ending) {
        Some(Ending::Failed(cause)) => Value::Word(cause.hint()),
        _ => Value::None,
    };
    rows.row("calibration_hint", "", View::Device, hint);
    rows.row("calibration_allowed", "", View::Set, device.allows_calibration());
    rows.row("local", "", View::Set, device.is_local());
    rows.row("by_hand", "", View::Device, device.by_hand_percent().is_some());
    let wanted = e.wanted().map(|wanted| match wanted {
        Wanted::Travel(percent) => percent,
        Wanted::Shut => 0.0,
        Wanted::WideOpen => 100.0,
    });
    rows.row("travel_wanted_percent", "%", View::Device, wanted);
    rows.row("deviation_percent", "%", View::Device, e.deviation_percent());
    for alarm in Alarm::ALL {
        rows.0.push(Reading {
            name: format!("alarm_{}", alarm.words().replace(' ', "_")).into(),
            unit: "",
            view: View::Device,
            value: device.alarms().has(alarm).into(),
        });
    }
    let learned = e.calibrated();
    let mut knows = |name, unit, value: Option<f64>| rows.row(name, unit, View::Device, value);
    knows("learned_closed_deg", "deg", learned.map(|c| c.closed_rad.to_degrees()));
    knows("learned_open_deg", "deg", learned.map(|c| c.open_rad.to_degrees()));
    knows("learned_opening_s", "s", learned.and_then(|c| c.opening_s));
    knows("learned_closing_s", "s", learned.and_then(|c| c.closing_s));
    knows("learned_friction_bar", "bar", learned.and_then(|c| c.friction_pa).map(|pa| pa * 1e-5));
    knows("learned_opening_percent_per_s", "%/s", learned.map(|c| c.learned.opening_percent_per_s));
    knows("learned_closing_percent_per_s", "%/s", learned.map(|c| c.learned.closing_percent_per_s));
    knows("learned_run_on_s", "s", learned.map(|c| c.learned.run_on_s));
    let counters = e.counters();
    knows("strokes", "", Some(counters.strokes.into()));
    knows("travel_strokes", "", Some(counters.travel_strokes));
    knows("near_closed_s", "s", Some(counters.near_closed_s));
    knows("in_service_s", "s", Some(counters.in_service_s));
}
