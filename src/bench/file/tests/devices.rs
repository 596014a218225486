//! Events of single devices and of all, ranges and limits.

use super::{faulty, faulty_device, in_device, positioner};
use crate::bench::Change;
use crate::bench::file::check;
use crate::bench::plan::BenchPlan;
use crate::bench::world;
use crate::sim::Participant;
use crate::time::Instant;
use core::time::Duration;
use std::path::Path;

fn plan(text: &str) -> BenchPlan {
    check(text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"))
}

/// Two devices, a line, and an event at 1 s with these lines in it.
fn event(lines: &str) -> String {
    format!(
        "[[device]]\ntag = \"FV-3104\"\nlong_tag = \"Inlet\"\n[[device]]\npolling_address = 7\n\
         tag = \"FV-3107\"\ndevice_id = 7\n[[line]]\nat = \"pty:\"\n[[event]]\nat_s = 1\n{lines}\n"
    )
}

#[test]
fn what_an_event_may_change() {
    for (lines, change) in [
        ("busy = true", Change::Busy(true)),
        ("busy = false", Change::Busy(false)),
        ("malfunction = true", Change::Malfunction(true)),
        ("malfunction = false", Change::Malfunction(false)),
        ("power_cycle = true", Change::PowerCycle),
        ("supply_pressure_bar = 1", Change::SupplyPressureBar(1.0)),
    ] {
        for (name, device) in [
            ("", None),
            ("device = \"Inlet\"", Some(0)),
            ("device = \"fv-3107\"", Some(1)),
            ("device = 7", Some(1)),
        ] {
            let event = plan(&event(&format!("{name}\n{lines}"))).events[0];
            assert_eq!((event.device, event.change), (device, change));
            assert_eq!((event.concerns(0), event.concerns(1)), (device != Some(1), device != Some(0)));
        }
    }
}

#[test]
fn events_that_cannot_be() {
    faulty(&event("power_cycle = «false"), "changes nothing", "power_cycle = true");
    faulty(&event("busy = true\npower_cycle = «true"), "two things", "[[event]]");
    faulty(&event("busy = «1"), "`1`", "a boolean");
    faulty(&event("busy = true\ndevice = «3"), "no device of this bench has polling address 3", "0, 7");
    faulty(
        &event("busy = true\ndevice = «\"FV-3105\""),
        "no device of this bench is called \"FV-3105\"",
        "did you mean \"FV-3104\"? the tags here are \"FV-3104\", \"Inlet\", \"FV-3107\"",
    );
    faulty(&event("busy = true\ndevice = «true"), "`true`", "a tag in quotes or a polling address");
    faulty(&event("loop_current_ma = 4\ndevice = «7"), "passes every positioner", "leave device out");
    let nothing = event("device = 7").replace("[[event]]", "«[[event]]");
    faulty(&nothing, "changes nothing", "malfunction, power_cycle");
}

/// Each device has its own events at their times, however seldom the bus is asked.
#[test]
fn an_event_of_one_device_leaves_the_other_alone() {
    let text = event(
        "busy = true\ndevice = 7\n[[event]]\nat_s = 2\nbusy = true\n[[event]]\nat_s = 3\nbusy = false\ndevice = 0",
    );
    let (mut world, _) = world(&plan(&text), &[], Duration::ZERO, Instant::ZERO);
    let seen: Vec<Vec<bool>> = [500, 1500, 2500, 3500]
        .into_iter()
        .map(|ms| {
            world.run_until(Instant::ZERO + Duration::from_millis(ms), &mut Vec::new());
            let devices = world.bus().stations().filter_map(Participant::device);
            devices.map(|d| d.device().config().busy).collect()
        })
        .collect();
    assert_eq!(seen, [[false, false], [false, true], [true, true], [false, true]]);
}

#[test]
fn ranges_and_limits() {
    let text = in_device(
        "[device.range]\nlower_range_value_percent = 80\nupper_range_value_percent = 20.5\ndamping_s = 2.125\n\
         set_point_lower_limit_percent = 10\nset_point_upper_limit_percent = 90\nminimum_span_percent = 5\n\
         [device.air]\nsupply_pressure_lower_limit_bar = 2\nsupply_pressure_upper_limit_bar = 6",
    );
    let c = &plan(&text).devices[0].config;
    let s = &c.factory;
    assert_eq!((s.lower_range_value, s.upper_range_value, s.damping_s), (80.0, 20.5, 2.125));
    let c = positioner(c);
    assert_eq!((c.set_point_limits_percent, c.minimum_span_percent), ((10.0, 90.0), 5.0));
    assert_eq!(c.supply_pressure_limits_bar, (2.0, 6.0));
    // As singles both are the same, as a master is told them: 80.1 % is 80.0999985.
    plan(&in_device(
        "[device.range]\nupper_range_value_percent = 80.1\nlower_range_value_percent = 0.7\n\
         set_point_lower_limit_percent = 0.7\nset_point_upper_limit_percent = 80.1",
    ));
}

#[test]
fn ranges_and_limits_that_cannot_be() {
    let range = |lines: &str| format!("[device.range]\n{lines}");
    for (key, unit, most) in [
        ("lower_range_value_percent", "%", "-100 to 200 %"),
        ("upper_range_value_percent", "%", "-100 to 200 %"),
        ("set_point_lower_limit_percent", "%", "-100 to 200 %"),
        ("set_point_upper_limit_percent", "%", "-100 to 200 %"),
        ("minimum_span_percent", "%", "0 to 100 %"),
        ("damping_s", "s", "0 to 60 s"),
    ] {
        faulty_device(&range(&format!("{key} = «-101")), &format!("{key} is -101 {unit}"), most);
        faulty_device(&range(&format!("{key} = «nan")), "NaN", most);
    }
    for key in ["supply_pressure_lower_limit_bar", "supply_pressure_upper_limit_bar"] {
        faulty_device(&format!("[device.air]\n{key} = «21"), "21 bar", "0 to 20 bar");
    }
    faulty_device(&range("damping_s = «0.3"), "0.3 is no multiple of 0.125", "multiple of 0.125 s");
    faulty_device(&range("upper_range_value_percent = «106"), "106 is outside", "-5 to 105 %");
    faulty_device(
        &range("upper_range_value_percent = 50\nlower_range_value_percent = «-5.5"),
        "-5.5 is outside the limits of the set point, -5 to 105",
        "two different values",
    );
    faulty_device(&range("upper_range_value_percent = «0"), "equals", "two different values");
    faulty_device(&range("lower_range_value_percent = «100"), "equals", "two different values");
    // 0 to 100 % is the range of a new device.
    faulty_device(
        &range("set_point_upper_limit_percent = «90"),
        "100 is outside the limits of the set point, -5 to 90",
        "give lower_range_value_percent and upper_range_value_percent",
    );
    faulty_device(&range("set_point_upper_limit_percent = «-5"), "-5 to -5 is no range", "below");
    faulty_device(&range("set_point_lower_limit_percent = «105"), "105 to 105 is no range", "below");
    faulty_device("[device.air]\nsupply_pressure_upper_limit_bar = «1.4", "1.4 to 1.4", "1.4 and 7 bar");
    faulty_device("[device.air]\nsupply_pressure_lower_limit_bar = «8", "8 to 7", "1.4 and 7 bar");
    faulty_device(&range("«damping = 1"), "no key `damping`", "did you mean `damping_s`?");
}
