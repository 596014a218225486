//! What a case changed comes back, and a device that does not let that happen is told of.

use super::cases_b::{results_of, with_fault};
use super::framework::Poor;
use super::rig::*;
use looprig::app::command::Revision;
use looprig::conform::{Suite, Verdict};
use looprig::device::{Device, DeviceConfig};
use looprig::frame::Octet;
use looprig::line::{Bus, InProcess};
use looprig::sim::DeviceStation;
use looprig::time::{Instant, Pace};
use std::time::Duration;

const R5: Revision = Revision::R5;
const R7: Revision = Revision::R7;

/// A request with data, behind its preambles: where it begins, where its data begin; of a long frame alone.
fn request(values: &[u8]) -> Option<(usize, usize)> {
    let at = values.iter().position(|&o| o != 0xFF)?;
    (values[at] == 0x82 && values.len() > at + 9).then_some((at, at + 8))
}

/// Takes a command so many times; from then on it says yes and does what it did last, the old data in the new request.
fn takes_no_more(config: DeviceConfig, command: u8, times: usize) -> Bent {
    let (mut seen, mut last) = (0, Vec::new());
    Bent::new(config).hearing(move |octets: &[Octet]| {
        let mut values: Vec<u8> = octets.iter().map(|o| o.value).collect();
        if let Some((at, data)) = request(&values).filter(|(at, _)| values[at + 6] == command) {
            let end = values.len() - 1;
            seen += 1;
            if seen > times && last.len() == end - data {
                values[data..end].copy_from_slice(&last);
                values[end] = values[at..end].iter().fold(0, |x, o| x ^ o);
            }
            last = values[data..end].to_vec();
        }
        values
    })
}

/// Answers a command so many times; from then on it does not hear it.
fn deaf_from_then_on(config: DeviceConfig, command: u8, times: usize) -> Bent {
    let mut seen = 0;
    Bent::new(config).hearing(move |octets: &[Octet]| {
        let mut values: Vec<u8> = octets.iter().map(|o| o.value).collect();
        if let Some((at, _)) = request(&values).filter(|(at, _)| values[at + 6] == command) {
            seen += 1;
            if seen > times {
                values.truncate(at);
            }
        }
        values
    })
}

/// Case, device, the command that puts back, and how often it is sent before that.
fn rows() -> Vec<(&'static str, DeviceConfig, u8, usize)> {
    let positioner = || config(R7);
    vec![
        ("common/clock/set", positioner(), 89, 1),
        ("boundaries/labels/last-character-of-the-long-tag", positioner(), 22, 2),
        ("common/settings/unit-of-pv-kept", transmitter(R7), 44, 1),
        ("common/settings/unit-of-a-variable-kept", positioner(), 53, 1),
        ("common/settings/reply-preambles-taken", positioner(), 59, 2),
        ("common/settings/reply-preambles-taken", config(R5), 59, 2),
        ("boundaries/labels/highest-polling-address", positioner(), 6, 1),
        ("boundaries/labels/highest-polling-address", config(R5), 6, 1),
        ("universal/loop-configuration/new-address", positioner(), 6, 1),
        ("status/device/fixed-current-is-told", positioner(), 6, 1),
        ("common/simulation/value-is-told", positioner(), 79, 1),
        ("status/device/other-variable-out-of-limits", positioner(), 79, 1),
        ("common/current/fixed", transmitter(R7), 40, 2),
        ("burst/settings/used-periods-are-told", positioner(), 103, 1),
        ("burst/settings/command-taken", positioner(), 108, 2),
        ("burst/settings/variables-taken", positioner(), 107, 2),
        ("burst/settings/on", positioner(), 109, 1),
        ("lock/temporary/is-told", positioner(), 71, 1),
        ("boundaries/range/kept", positioner(), 35, 1),
        ("boundaries/damping/of-a-variable", positioner(), 55, 1),
    ]
}

#[test]
fn what_is_not_put_back_is_told() {
    let mut wrong = Vec::new();
    for (id, config, command, times) in rows() {
        let healthy = one(Bent::new(config.clone()), id);
        if healthy.verdict != Verdict::Pass || !healthy.not_put_back.is_empty() {
            wrong.push(format!("{id} on a healthy mock: {:?} {:?}", healthy.verdict, healthy.not_put_back));
        }
        for (how, device) in [
            ("says yes", takes_no_more(config.clone(), command, times)),
            ("is silent", deaf_from_then_on(config.clone(), command, times)),
        ] {
            let bad = one(device, id);
            let told = matches!(&bad.verdict, Verdict::BenchError(why) if why.starts_with("not put back"));
            if !told || bad.not_put_back.is_empty() {
                wrong.push(format!("{id}, {command} {how}: {:?} {:?}", bad.verdict, bad.not_put_back));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// What a bad device takes that it should refuse, and that nothing undoes.
#[test]
fn what_nothing_undoes_is_told() {
    let mut wrong = Vec::new();
    for (id, fault) in [
        ("common/service/unknown-eeprom-control", "eeprom_control_unknown_taken"),
        ("burst/settings/unknown-message", "burst_message_unknown_taken"),
        ("boundaries/range/of-an-unknown-channel", "range_of_unknown_channel_taken"),
        ("boundaries/codes/unit-of-an-unknown-variable", "unit_of_unknown_variable_taken"),
        ("common/trim/point-beyond-its-limits", "trim_point_out_of_range_taken"),
    ] {
        let line = with_fault(config(R7), fault).unwrap_or_else(|| panic!("{fault}"));
        let result = results_of(line, &[id]).pop().unwrap_or_else(|| panic!("{id}"));
        if !matches!(result.verdict, Verdict::Fail { .. }) || result.not_put_back.is_empty() {
            wrong.push(format!("{id} on {fault}: {:?} {:?}", result.verdict, result.not_put_back));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Where the first preambles may be lost nobody knows how many a device of revision 5 sends, so they are left alone.
#[test]
fn preambles_that_cannot_be_counted_are_left_alone() {
    for id in ["common/settings/reply-preambles-taken", "boundaries/codes/reply-preambles-out-of-range"] {
        let mut line = Poor::over(Bent::new(config(R5)));
        line.stamp_error = Duration::from_millis(1);
        let suite = Suite::new().only(id).writing(true).moving(true);
        let results = suite.run(&mut line, &to()).expect("a device");
        assert!(matches!(results.cases[0].verdict, Verdict::Inconclusive(_)), "{:?}", results.cases[0]);
    }
}

/// Two devices at one polling address would disturb each other: the highest one is left to whoever has it.
#[test]
fn the_highest_polling_address_is_left_to_its_owner() {
    let station = |polling: u8, id: u32| {
        let mut config = config(R7);
        config.factory.polling_address = polling;
        config.identity.device_id = id;
        let (device, _) = Device::new(config, None, Pace::Wire, Duration::ZERO, Instant::ZERO);
        DeviceStation::new(device, Vec::new())
    };
    let mut bus = Bus::new(Pace::Wire);
    bus.add_station(station(POLLING, 0x00_04_01));
    bus.add_station(station(63, 0x00_3F_01));
    let mut line = InProcess::new(bus, "test");
    let suite = Suite::new().only("boundaries/labels/highest-polling-address").writing(true).moving(true);
    let results = suite.run(&mut line, &to()).expect("a device");
    assert!(matches!(results.cases[0].verdict, Verdict::Inconclusive(_)), "{:?}", results.cases[0]);
}
