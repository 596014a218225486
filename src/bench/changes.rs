//! What can be changed on a running bench: one table for the events of a bench file and for the API [BA-05].

use super::plan::{BenchPlan, DevicePlan};
use crate::device::KindName;
use crate::device::positioner::Key;
use crate::plant::fault::FaultName;
use crate::sim::Change;
use core::ops::RangeInclusive;

/// One thing that can be changed.
pub struct ChangeSpec {
    /// The key of it, in an `[[event]]` and in a request, unit last.
    pub key: &'static str,
    /// What stands behind the key.
    pub takes: Takes,
    /// What it is, for people.
    pub says: &'static str,
}

/// What a change takes.
pub enum Takes {
    /// A finite number.
    Number {
        /// Its unit.
        unit: &'static str,
        /// Least and most.
        range: RangeInclusive<f64>,
        /// The change of a number in that range.
        make: fn(f64) -> Change,
    },
    /// Yes or no.
    Switch(fn(bool) -> Change),
    /// `true` alone: it happens once.
    Moment(Change),
}

const fn number(
    key: &'static str,
    unit: &'static str,
    range: RangeInclusive<f64>,
    make: fn(f64) -> Change,
    says: &'static str,
) -> ChangeSpec {
    ChangeSpec { key, takes: Takes::Number { unit, range, make }, says }
}

const fn switch(key: &'static str, make: fn(bool) -> Change, says: &'static str) -> ChangeSpec {
    ChangeSpec { key, takes: Takes::Switch(make), says }
}

const fn fault(key: &'static str, make: fn(f64) -> Change) -> ChangeSpec {
    number(key, "", 0.0..=1.0, make, "severity of this fault of a computed valve; 0 is none")
}

/// The current of a loop, mA.
pub(super) const LOOP_CURRENT_MA: RangeInclusive<f64> = 0.0..=30.0;
/// Supply pressure, bar.
pub(super) const SUPPLY_PRESSURE_BAR: RangeInclusive<f64> = 0.0..=20.0;
/// Temperature of a process, degC.
pub(super) const TEMPERATURE_DEGC: RangeInclusive<f64> = -273.15..=2000.0;

/// Everything that can be changed, in the order in which people are told. A new row needs a key in the bench file's
/// `EventTable` and nothing else.
pub const CHANGES: &[ChangeSpec] = &[
    number(
        "loop_current_ma",
        "mA",
        LOOP_CURRENT_MA,
        Change::LoopCurrentMa,
        "the current that the loop's card is told to drive, or that flows through every positioner",
    ),
    number(
        "loop_supply_v",
        "V",
        0.0..=100.0,
        Change::LoopSupplyV,
        "the volts of the loop's supply, or the most that its card can give",
    ),
    switch("loop_open", Change::LoopOpen, "whether the loop is open at its supply or card"),
    number(
        "loop_extra_ohm",
        "ohm",
        0.0..=100_000.0,
        Change::LoopExtraOhm,
        "resistance that has come into the wires, such as of a corroded terminal; 0 is none",
    ),
    number(
        "loop_leak_ohm",
        "ohm",
        0.001..=1e12,
        Change::LoopLeakOhm,
        "resistance of a leak across the wires, such as of water in a terminal box; 1e12 is none",
    ),
    number(
        "supply_pressure_bar",
        "bar",
        SUPPLY_PRESSURE_BAR,
        Change::SupplyPressureBar,
        "the supply pressure of positioners",
    ),
    number(
        "process_temperature_degc",
        "degC",
        TEMPERATURE_DEGC,
        Change::ProcessTemperatureDegc,
        "the process temperature of temperature transmitters",
    ),
    switch("sensor_broken", Change::SensorBroken, "whether a temperature transmitter's sensor is broken"),
    switch("armed", Change::Armed, "the key in the field: whether a device answers command 73"),
    switch("write_protect", Change::WriteProtect, "the switch in a device: whether it cannot be written"),
    switch("busy", Change::Busy, "whether a device answers \"busy\" where it may"),
    switch("malfunction", Change::Malfunction, "whether the electronics of a device are broken"),
    ChangeSpec {
        key: "power_cycle",
        takes: Takes::Moment(Change::PowerCycle),
        says: "the device loses its power for a moment and starts again, with its memory as stored",
    },
    switch(
        "trip_energised",
        Change::TripEnergised,
        "whether the input of a computed valve's trip valve is energised",
    ),
    switch(
        "calibration_allowed",
        Change::CalibrationAllowed,
        "whether the process allows a calibration of positioners whose valve is computed",
    ),
    ChangeSpec {
        key: "calibrate",
        takes: Takes::Moment(Change::Calibrate),
        says: "somebody at the positioner starts a calibration: its computed valve strokes",
    },
    switch(
        "key_open",
        |on| Change::KeyPressed(Key::Open, on),
        "whether this key of a positioner with a computed valve is pressed: it opens the valve while it is pressed",
    ),
    switch(
        "key_close",
        |on| Change::KeyPressed(Key::Close, on),
        "whether this key of a positioner with a computed valve is pressed: it closes the valve while it is pressed",
    ),
    switch(
        "key_calibrate",
        |on| Change::KeyPressed(Key::Calibrate, on),
        "whether this key of a positioner with a computed valve is pressed: held for 3 s it starts a calibration",
    ),
    switch(
        "key_acknowledge",
        |on| Change::KeyPressed(Key::Acknowledge, on),
        "whether this key of a positioner with a computed valve is pressed: it takes note of a failure, ends a calibration, gives the set point back to the loop",
    ),
    switch(
        "key_find",
        |on| Change::KeyPressed(Key::Find, on),
        "whether this key of a positioner with a computed valve is pressed: it arms the device to be found, or disarms it",
    ),
    fault("fault_supply_low", |x| Change::ValveFault(FaultName::SupplyLow, x)),
    fault("fault_filter_blocked", |x| Change::ValveFault(FaultName::FilterBlocked, x)),
    fault("fault_supply_line_undersized", |x| Change::ValveFault(FaultName::SupplyLineUndersized, x)),
    fault("fault_diaphragm_leak", |x| Change::ValveFault(FaultName::DiaphragmLeak, x)),
    fault("fault_tubing_leak", |x| Change::ValveFault(FaultName::TubingLeak, x)),
    fault("fault_outputs_swapped", |x| Change::ValveFault(FaultName::OutputsSwapped, x)),
    fault("fault_stage_stuck", |x| Change::ValveFault(FaultName::StageStuck, x)),
    fault("fault_stage_drifting", |x| Change::ValveFault(FaultName::StageDrifting, x)),
    fault("fault_stage_contaminated", |x| Change::ValveFault(FaultName::StageContaminated, x)),
    fault("fault_packing_tight", |x| Change::ValveFault(FaultName::PackingTight, x)),
    fault("fault_stem_seized", |x| Change::ValveFault(FaultName::StemSeized, x)),
    fault("fault_spring_broken", |x| Change::ValveFault(FaultName::SpringBroken, x)),
    fault("fault_clamp_slipped", |x| Change::ValveFault(FaultName::ClampSlipped, x)),
    fault("fault_pin_misplaced", |x| Change::ValveFault(FaultName::PinMisplaced, x)),
    fault("fault_coupling_turned", |x| Change::ValveFault(FaultName::CouplingTurned, x)),
    fault("fault_sensor_worn", |x| Change::ValveFault(FaultName::SensorWorn, x)),
    fault("fault_sensor_beyond_range", |x| Change::ValveFault(FaultName::SensorBeyondRange, x)),
    fault("fault_linkage_slack", |x| Change::ValveFault(FaultName::LinkageSlack, x)),
    fault("fault_handwheel_engaged", |x| Change::ValveFault(FaultName::HandwheelEngaged, x)),
    fault("fault_stop_moved", |x| Change::ValveFault(FaultName::StopMoved, x)),
];

/// The keys in a sentence; the many faults of a valve by one word.
#[cfg(feature = "bench-file")]
pub(super) fn keys() -> String {
    let others: Vec<&str> = CHANGES.iter().map(|c| c.key).filter(|k| !k.starts_with("fault_")).collect();
    format!("{} or the severity of a fault of a computed valve, such as fault_supply_low", others.join(", "))
}

/// The kind of device that alone senses what changes [DV-60].
pub(super) fn sensed_by(change: Change) -> Option<KindName> {
    match change {
        Change::LoopCurrentMa(_) | Change::SupplyPressureBar(_) => Some(KindName::Positioner),
        Change::ProcessTemperatureDegc(_) | Change::SensorBroken(_) => Some(KindName::Temperature),
        Change::LoopSupplyV(_)
        | Change::LoopOpen(_)
        | Change::LoopExtraOhm(_)
        | Change::LoopLeakOhm(_)
        | Change::Armed(_)
        | Change::WriteProtect(_)
        | Change::Busy(_)
        | Change::Malfunction(_)
        | Change::PowerCycle => None,
        Change::ValveFault(..)
        | Change::TripEnergised(_)
        | Change::CalibrationAllowed(_)
        | Change::Calibrate
        | Change::KeyPressed(..) => Some(KindName::Positioner),
    }
}

/// Why something cannot happen to a computed valve, or to its positioner: what is wrong, and what would be right.
pub(super) fn why_no_valve(
    devices: &[DevicePlan],
    device: Option<usize>,
    change: Change,
) -> Option<(String, String)> {
    if !matches!(
        change,
        Change::ValveFault(..)
            | Change::TripEnergised(_)
            | Change::CalibrationAllowed(_)
            | Change::Calibrate
            | Change::KeyPressed(..)
    ) {
        return None;
    }
    let meant = devices.iter().enumerate().filter(|(i, _)| device.is_none_or(|d| d == *i));
    let computed = meant.filter_map(|(_, d)| d.valve.as_ref().filter(|v| v.is_described));
    let mut why = Some((
        "this changes nothing: no valve that is meant is computed".to_owned(),
        "describe the valve in [device.valve], such as stroke_mm = 20".to_owned(),
    ));
    for valve in computed {
        let refused = match change {
            Change::ValveFault(name, _) => valve.config.can_have(name).err(),
            Change::TripEnergised(_) if valve.config.fail.trip.is_none() => {
                let right = "give it one with trip_dm3_per_s_bar in [device.valve.fail]".to_owned();
                why = Some(("this valve has no trip valve".to_owned(), right));
                continue;
            }
            _ => None,
        };
        match refused {
            Some(e) => why = Some((e.why, "leave it out".to_owned())),
            None => return None,
        }
    }
    why
}

/// Why a change cannot happen on this bench to this device, or to all: what is wrong, and what would be right.
pub fn why_not(plan: &BenchPlan, device: Option<usize>, change: Change) -> Option<(String, String)> {
    if change.is_of_the_loop() {
        if plan.wires.is_none() && !matches!(change, Change::LoopCurrentMa(_)) {
            return Some((
                "this bench does not compute its loop, so this changes nothing".to_owned(),
                "say in [loop] of the bench file what feeds the loop".to_owned(),
            ));
        }
        if device.is_some() {
            let wrong = "what happens to the loop happens to all its devices".to_owned();
            return Some((wrong, "leave device out".to_owned()));
        }
    }
    if let Some(why) = why_no_valve(&plan.devices, device, change) {
        return Some(why);
    }
    let kind = sensed_by(change)?;
    let of = |i: usize| plan.devices[i].config.kind.name();
    let wrong = match device {
        Some(i) if of(i) != kind => format!("this changes nothing at a {}", of(i).words()),
        None if (0..plan.devices.len()).all(|i| of(i) != kind) => {
            format!("this changes nothing: the bench has no {}", kind.words())
        }
        _ => return None,
    };
    Some((wrong, format!("name a {}", kind.words())))
}

#[cfg(all(test, feature = "bench-file"))]
mod tests {
    use super::*;
    use crate::bench::{check, schema};
    use serde_json::Value as Json;
    use std::path::Path;

    /// [BA-05]: the bench file has each key with its range, and no other, and makes the same change of it.
    #[test]
    fn events_and_orders_have_the_same_keys() {
        let schema: Json = serde_json::from_str(&schema()).expect("a schema");
        let properties = schema["$defs"]["EventTable"]["properties"].as_object().expect("properties").clone();
        let there: Vec<&String> =
            properties.keys().filter(|k| !["at_s", "device"].contains(&k.as_str())).collect();
        assert_eq!(there.len(), CHANGES.len(), "{there:?}");
        let of_a_valve = "[loop.card]\ncompliance_v = 24\n[[loop.device]]\ntag = \"A\"\nmin_voltage_v = 9\n\
                          [[device]]\ntag = \"A\"\n[device.valve]\nstroke_mm = 20\n\
                          [device.valve.fail]\ntrip_dm3_per_s_bar = 2\n[[line]]\nat = \"pty:\"\n";
        let of_a_sensor = "[[device]]\ntag = \"B\"\nkind = \"temperature\"\n[[line]]\nat = \"pty:\"\n";
        for spec in CHANGES {
            let property = &properties[spec.key];
            let (value, wanted) = match &spec.takes {
                Takes::Number { range, make, .. } => {
                    assert_eq!(property["minimum"].as_f64(), Some(*range.start()), "{}", spec.key);
                    assert_eq!(property["maximum"].as_f64(), Some(*range.end()), "{}", spec.key);
                    let x = if *range.end() < 1.5 { 0.5 } else { 1.5 };
                    (x.to_string(), make(x))
                }
                Takes::Switch(make) => ("true".to_owned(), make(true)),
                Takes::Moment(change) => ("true".to_owned(), *change),
            };
            let bench =
                if sensed_by(wanted) == Some(KindName::Temperature) { of_a_sensor } else { of_a_valve };
            let text = format!("{bench}[[event]]\nat_s = 1\n{} = {value}\n", spec.key);
            let plan = check(&text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
            assert_eq!(plan.events[0].change, wanted, "{}", spec.key);
        }
    }
}
