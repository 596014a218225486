//! Two kinds of device: what each may have, and what happens to it.

use super::{faulty, faulty_device, in_device};
use crate::bench::Change;
use crate::bench::file::check;
use crate::bench::plan::BenchPlan;
use crate::device::{KindConfig, KindName, TemperatureConfig};
use std::path::Path;

fn plan(text: &str) -> BenchPlan {
    check(text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"))
}

fn transmitter(plan: &BenchPlan) -> &TemperatureConfig {
    match &plan.devices[0].config.kind {
        KindConfig::Temperature(own) => own,
        other => panic!("{other:?}"),
    }
}

/// A temperature transmitter with these lines in its table.
fn hot(lines: &str) -> String {
    in_device(&format!("kind = \"temperature\"\n{lines}"))
}

#[test]
fn what_a_transmitter_may_have() {
    let text = hot(
        "[device.process]\ntemperature_degc = 80.5\nambient_degc = -5\nsensor = \"broken\"\n[device.range]\n\
         lower_range_value_degc = -50\nupper_range_value_degc = 150\ndamping_s = 2.125\n[device.output]\n\
         alarm = \"low\"\nerror_ma = -0.1",
    );
    let all = plan(&text);
    let own = transmitter(&all);
    assert_eq!((own.process_temperature_degc, own.ambient_temperature_degc), (80.5, -5.0));
    assert_eq!((own.sensor_broken, own.alarm_is_low, own.output_error_ma), (true, true, -0.1));
    let s = &all.devices[0].config.factory;
    assert_eq!((s.lower_range_value, s.upper_range_value, s.damping_s), (-50.0, 150.0, 2.125));
    // As delivered [DV-61].
    let plain = plan(&hot(""));
    assert_eq!(transmitter(&plain), &TemperatureConfig::default());
    assert_eq!(plain.devices[0].config.identity.device_type, 0xFD72);
    let mut types =
        [5, 6].map(|r| plan(&hot(&format!("revision = {r}"))).devices[0].config.identity.device_type);
    types.sort_unstable();
    assert_eq!(types, [0x52, 0x62]);
    assert_eq!(plan(&in_device("kind = \"positioner\"")).devices[0].config.kind.name(), KindName::Positioner);
}

#[test]
fn what_belongs_to_the_other_kind() {
    for (lines, key, right) in [
        ("«[device.valve]\ntravel_percent = 1", "[device.valve]", "kind = \"positioner\""),
        ("«[device.air]", "[device.air]", "leave it out"),
        (
            "[device.range]\nlower_range_value_percent = «1",
            "lower_range_value_percent",
            "give lower_range_value_degc",
        ),
        (
            "[device.range]\nupper_range_value_percent = «1",
            "upper_range_value_percent",
            "give upper_range_value_degc",
        ),
        ("[device.range]\nminimum_span_percent = «1", "minimum_span_percent", "leave it out"),
    ] {
        faulty(&hot(lines), &format!("a temperature transmitter has no {key}"), right);
    }
    for (lines, key, right) in [
        ("«[device.process]", "[device.process]", "kind = \"temperature\""),
        ("«[device.output]\nalarm = \"low\"", "[device.output]", "leave it out"),
        (
            "[device.range]\nupper_range_value_degc = «1",
            "upper_range_value_degc",
            "give upper_range_value_percent",
        ),
    ] {
        faulty_device(lines, &format!("a positioner has no {key}"), right);
    }
}

#[test]
fn what_a_transmitter_cannot_have() {
    faulty_device("kind = «\"temperatur\"", "kind cannot be \"temperatur\"", "did you mean \"temperature\"?");
    faulty(&hot("[device.process]\ntemperature_degc = «-274"), "-274 degC", "-273.15 to 2000 degC");
    faulty(&hot("[device.process]\nambient_degc = «nan"), "NaN", "degC");
    faulty(&hot("[device.process]\nsensor = «\"bad\""), "sensor cannot be \"bad\"", "ok, broken");
    faulty(&hot("[device.output]\nalarm = «\"up\""), "alarm cannot be \"up\"", "high, low");
    faulty(&hot("[device.output]\nerror_ma = «2"), "error_ma is 2 mA", "-1 to 1 mA");
    faulty(&hot("[device.range]\nupper_range_value_degc = «851"), "851 degC", "-200 to 850 degC");
    faulty(&hot("[device.range]\nlower_range_value_degc = «100"), "equals", "two different values");
    faulty(
        &hot("[[device.burst]]\ncommand = 9\nvariables = [«2]"),
        "no variable 2",
        "give 0 process temperature, 1 electronics temperature, 244 percent of range, 245 loop current, or 246 to 247",
    );
    faulty(&hot("[[device.burst]]\ncommand = 9\nvariables = [«248]"), "no variable 248", "for PV to SV");
}

/// What concerns one kind alone may happen to that, or to all of which some are of that kind.
#[test]
fn events_of_one_kind() {
    let both = |event: &str| {
        format!(
            "[[device]]\n[[device]]\nkind = \"temperature\"\npolling_address = 7\n[[line]]\nat = \"pty:\"\n\
             [[event]]\nat_s = 1\n{event}\n"
        )
    };
    for (lines, change) in [
        ("process_temperature_degc = 90", Change::ProcessTemperatureDegc(90.0)),
        ("sensor_broken = true", Change::SensorBroken(true)),
        ("sensor_broken = false", Change::SensorBroken(false)),
    ] {
        assert_eq!(plan(&both(lines)).events[0].change, change);
        assert_eq!(plan(&both(&format!("{lines}\ndevice = 7"))).events[0].device, Some(1));
        let (key, value) = lines.split_once(" = ").unwrap();
        let marked = format!("{key} = «{value}");
        faulty(&both(&format!("{marked}\ndevice = 0")), "nothing at a positioner", "temperature transmitter");
        let alone = both(&marked).replace("kind = \"temperature\"\n", "device_id = 1\n");
        faulty(&alone, "the bench has no temperature transmitter", "leave the event out");
    }
    let loop_alone =
        "[loop]\ncurrent_ma = «12\n[[device]]\nkind = \"temperature\"\n[[line]]\nat = \"pty:\"\n";
    faulty(loop_alone, "no positioner is in this loop", "leave current_ma out");
    let at_7 = both("supply_pressure_bar = «1\ndevice = 7");
    faulty(&at_7, "nothing at a temperature transmitter", "happen to a positioner");
    faulty(&both("process_temperature_degc = «-300"), "-300 degC", "-273.15 to 2000 degC");
}
