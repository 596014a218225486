//! What can be changed on a running bench: one table for the events of a bench file and for the API [BA-05].

use super::plan::{BenchPlan, DevicePlan, LoopPlan};
use crate::device::KindName;
use crate::device::positioner::Key;
use crate::plant::fault::FaultName;
use crate::plant::valve::Valve;
use crate::sim::{Change, SiteFault};
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
    /// The word of a fault of a valve [PL-33], or of the loop and the settings [DV-110]; its severity, 0 to 1, stands beside
    /// it as [`SEVERITY`].
    Fault,
}

/// The words of all faults, with what severities of them mean: those of a valve first.
pub fn fault_words() -> impl Iterator<Item = (&'static str, &'static str)> {
    let of_valve = FaultName::ALL.into_iter().map(|n| (n.word(), n.meaning()));
    of_valve.chain(SiteFault::ALL.into_iter().map(|n| (n.word(), n.meaning())))
}

/// The change that is a fault with this word and severity, 0 to 1.
pub fn fault_change(word: &str, severity: f64) -> Option<Change> {
    let of_valve = FaultName::from_word(word).map(|name| Change::ValveFault { name, severity });
    of_valve.or_else(|| SiteFault::from_word(word).map(|name| Change::SiteFault { name, severity }))
}

/// The key of a fault's severity.
pub const SEVERITY: &str = "severity";

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
        0.001..=f64::INFINITY,
        Change::LoopLeakOhm,
        "resistance of a leak across the wires, such as of water in a terminal box; 1e12 and more is none",
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
    ChangeSpec {
        key: "fault",
        takes: Takes::Fault,
        says: "something is wrong with a computed valve, the loop, a device's settings or who is on the wires, so bad as severity says; severity 0 mends it",
    },
    number(
        "header_pressure_bar",
        "bar",
        0.0..=20.0,
        Change::HeaderPressureBar,
        "the pressure before the regulator of a computed valve",
    ),
    number(
        "process_share",
        "",
        0.0..=10.0,
        Change::ProcessShare,
        "the force of the process on a computed valve, as a share of what is set up",
    ),
    switch(
        "trip_energised",
        Change::TripEnergised,
        "whether the trip input of a computed valve is energised",
    ),
    number(
        "hand_percent",
        "%",
        0.0..=100.0,
        Change::HandPercent,
        "somebody moves a computed valve by hand to this place of its stem's way, in 20 s from end to end, and holds it there",
    ),
    ChangeSpec {
        key: "hand_off",
        takes: Takes::Moment(Change::HandOff),
        says: "the hand that moved a computed valve lets go",
    },
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
];

/// The keys in a sentence.
#[cfg(feature = "bench-file")]
pub(super) fn keys() -> String {
    let keys: Vec<&str> = CHANGES.iter().map(|c| c.key).collect();
    match keys.split_last() {
        Some((last, others)) => format!("{} or {last}", others.join(", ")),
        None => String::new(),
    }
}

/// The kind of device that alone senses what changes [DV-60].
pub(super) fn sensed_by(change: Change) -> Option<KindName> {
    match change {
        Change::LoopCurrentMa(_)
        | Change::SupplyPressureBar(_)
        | Change::SiteFault { name: SiteFault::CurrentMissing, .. } => Some(KindName::Positioner),
        Change::ProcessTemperatureDegc(_) | Change::SensorBroken(_) => Some(KindName::Temperature),
        Change::LoopSupplyV(_)
        | Change::LoopOpen(_)
        | Change::LoopExtraOhm(_)
        | Change::LoopLeakOhm(_)
        | Change::Armed(_)
        | Change::WriteProtect(_)
        | Change::Busy(_)
        | Change::Malfunction(_)
        | Change::PowerCycle
        | Change::ValveFault { .. }
        | Change::SiteFault { .. }
        | Change::HeaderPressureBar(_)
        | Change::ProcessShare(_)
        | Change::TripEnergised(_)
        | Change::HandPercent(_)
        | Change::HandOff
        | Change::CalibrationAllowed(_)
        | Change::Calibrate
        | Change::KeyPressed(..) => None,
    }
}

/// Why a change of a computed valve cannot happen to this device, or to any [BA-11]; `None` for other changes.
pub(super) fn no_valve(
    devices: &[DevicePlan],
    device: Option<usize>,
    change: Change,
) -> Option<(String, String)> {
    if !change.is_of_a_valve() {
        return None;
    }
    let concerned = devices.iter().enumerate().filter(|(i, _)| device.is_none_or(|d| d == *i));
    let mut why = (
        "no valve is computed there, so this changes nothing".to_owned(),
        "describe the valve in [device.valve] of the bench file, such as stroke_mm = 20".to_owned(),
    );
    for valve in concerned.filter_map(|(_, d)| d.valve.as_ref().filter(|v| v.is_described)) {
        match change {
            Change::ValveFault { name, severity } if severity > 0.0 => {
                match Valve::can_have(&valve.config, name) {
                    Ok(()) => return None,
                    Err(e) => {
                        why = (format!("{}: {}", e.field, e.why), "see `looprig valve --faults`".to_owned())
                    }
                }
            }
            Change::TripEnergised(_) | Change::SiteFault { name: SiteFault::TripNotEnergised, .. }
                if valve.config.fail.trip.is_none() =>
            {
                let right = "give it one with trip_dm3_per_s_bar in [device.valve.fail]".to_owned();
                why = ("this valve has no trip valve, so this changes nothing".to_owned(), right);
            }
            _ => return None,
        }
    }
    Some(why)
}

/// Why a fault of the loop, of settings or of who is on the wires cannot be [DV-110]; `None` for other changes.
pub(super) fn no_site(
    devices: &[DevicePlan],
    wires: Option<&LoopPlan>,
    device: Option<usize>,
    change: Change,
) -> Option<(String, String)> {
    let Change::SiteFault { name, .. } = change else { return None };
    let why = |wrong: &str, right: &str| Some((wrong.to_owned(), right.to_owned()));
    if name.wants_a_loop() && wires.is_none() {
        return why(
            "this bench does not compute its loop, so this changes nothing",
            "say in [loop] of the bench file what feeds the loop",
        );
    }
    if device.is_some() && name.is_of_the_loop() {
        return why("what happens to the loop happens to all its devices", "leave device out");
    }
    if device.is_some() && name == SiteFault::SecondMaster {
        return why("a master is heard by every device on the wires", "leave device out");
    }
    if let (SiteFault::CurrentMissing, Some(wires)) = (name, wires)
        && let Err((wrong, right)) = wires.follows()
    {
        return why(wrong, right);
    }
    let turns = |wires: &LoopPlan, i: usize| {
        let of = wires.places.get(i).and_then(|&place| wires.circuit.devices.get(place));
        of.is_some_and(|d| !d.takes_either_polarity)
    };
    if let (SiteFault::WiresReversed, Some(wires)) = (name, wires)
        && !(0..devices.len()).any(|i| device.is_none_or(|d| d == i) && turns(wires, i))
    {
        return why(
            "this device works either way round, so this changes nothing",
            "leave it out, or leave either_polarity out of the sheet",
        );
    }
    None
}

/// Why a change cannot happen on this bench to this device, or to all: what is wrong, and what would be right.
pub fn why_not(plan: &BenchPlan, device: Option<usize>, change: Change) -> Option<(String, String)> {
    if let Some(why) = no_site(&plan.devices, plan.wires.as_ref(), device, change) {
        return Some(why);
    }
    if change.is_of_the_loop() && !matches!(change, Change::SiteFault { .. }) {
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
    if let (Change::LoopCurrentMa(_), Some(wires)) = (change, &plan.wires)
        && let Err((wrong, right)) = wires.follows()
    {
        return Some((wrong.to_owned(), right.to_owned()));
    }
    if let Some(why) = no_valve(&plan.devices, device, change) {
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
            properties.keys().filter(|k| !["at_s", "device", SEVERITY].contains(&k.as_str())).collect();
        assert_eq!(there.len(), CHANGES.len(), "{there:?}");
        let valve = "[loop.supply]\nvoltage_v = 24\nresistor_ohm = 250\n[[loop.device]]\ntag = \"A\"\n\
                     min_voltage_v = 9\n[[device]]\ntag = \"A\"\n[device.valve]\nstroke_mm = 30\n[device.valve.fail]\ntrip_dm3_per_s_bar = 2\n[[line]]\nat = \"pty:\"\n";
        let temperature = "[[device]]\nkind = \"temperature\"\n[[line]]\nat = \"pty:\"\n";
        for spec in CHANGES {
            let property = &properties[spec.key];
            let (value, wanted) = match &spec.takes {
                Takes::Number { range, make, .. } => {
                    assert_eq!(property["minimum"].as_f64(), Some(*range.start()), "{}", spec.key);
                    let most = Some(*range.end()).filter(|most| most.is_finite());
                    assert_eq!(property["maximum"].as_f64(), most, "{}", spec.key);
                    ("1.5".to_owned(), make(1.5))
                }
                Takes::Switch(make) => ("true".to_owned(), make(true)),
                Takes::Moment(change) => ("true".to_owned(), *change),
                Takes::Fault => {
                    let words: Vec<&str> = fault_words().map(|w| w.0).collect();
                    let told = &property["enum"];
                    let told: Vec<&str> =
                        told.as_array().expect("words").iter().filter_map(Json::as_str).collect();
                    assert_eq!(told, words);
                    let change = Change::ValveFault { name: FaultName::StopMoved, severity: 0.25 };
                    ("\"stop_moved\"\nseverity = 0.25".to_owned(), change)
                }
            };
            let bench = match sensed_by(wanted) {
                Some(KindName::Temperature) => temperature,
                _ => valve,
            };
            let text = format!("{bench}[[event]]\nat_s = 1\n{} = {value}\n", spec.key);
            let plan = check(&text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
            assert_eq!(plan.events[0].change, wanted, "{}", spec.key);
        }
    }
}
