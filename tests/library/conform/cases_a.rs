//! Universal commands, status and response codes: each case fails on a device that is bad in one thing.

use super::rig::*;
use looprig::app::command::Revision;
use looprig::conform::{Suite, Verdict, all};
use looprig::device::{Device, DeviceConfig, ProtocolFault};
use looprig::line::{Bus, InProcess};
use looprig::sim::DeviceStation;
use looprig::time::{Instant, Pace};
use std::collections::BTreeSet;
use std::time::Duration;

/// What a case fails on.
enum On {
    /// A positioner of revision 7 with this fault of `protocol-notes/faults.md`.
    Fault(&'static str),
    /// A mock of another revision or kind with it.
    FaultOf(fn() -> DeviceConfig, &'static str),
    /// A positioner of revision 7 that is bent otherwise, for no row of the faults has it.
    Bent(fn() -> Bent),
}
use On::{Bent as Is, Fault, FaultOf};

fn positioner() -> DeviceConfig {
    config(Revision::R7)
}

/// Its secondary variable is another one than the primary in value and unit.
fn temperature() -> DeviceConfig {
    let mut config = transmitter(Revision::R7);
    config.transmitter().process_temperature_degc = 80.0;
    config
}

fn older() -> DeviceConfig {
    config(Revision::R6)
}

/// 22 mA, above what the input can follow [DV-01].
fn saturated() -> DeviceConfig {
    let mut config = positioner();
    config.positioner().loop_current_ma = 22.0;
    config
}

/// Where the command stands: behind an address of five octets or one.
fn command_at(frame: &[u8]) -> usize {
    if frame[0] & 0x80 != 0 { 6 } else { 2 }
}

/// The answers to one command with another response code or other data; the byte count is made anew.
fn answers(command: u8, mut bend: impl FnMut(&mut u8, &mut Vec<u8>) + 'static) -> Bent {
    let say = framed(move |frame| {
        let at = command_at(frame);
        if frame[at] == command {
            let mut data = frame.split_off(at + 4);
            bend(&mut frame[at + 2], &mut data);
            frame[at + 1] = data.len() as u8 + 2;
            frame.append(&mut data);
        }
    });
    Bent::new(positioner()).saying(say)
}

/// It tells the primary master another software revision.
fn tells_masters_different_things() -> Bent {
    Bent::new(positioner()).saying(framed(|frame| {
        if frame[1] & 0x80 != 0 && frame[6] == 0 {
            frame[16] ^= 0x01;
        }
    }))
}

/// It tells another software revision in short frames.
fn tells_other_things_in_short_frames() -> Bent {
    Bent::new(positioner()).saying(framed(|frame| {
        if frame[0] & 0x80 == 0 {
            frame[12] ^= 0x01;
        }
    }))
}

fn deaf_to_its_long_tag() -> Bent {
    Bent::new(positioner()).saying(|octets| match split(&octets).1 {
        frame if frame[command_at(&frame)] == 21 => raw(&[]),
        _ => raw(&octets),
    })
}

/// Command 9 knows nothing of loop current.
fn has_no_variable_245() -> Bent {
    answers(9, |_, data| {
        if data[1] == 245 {
            data[2..9].copy_from_slice(&[0x00, 0xFA, 0x7F, 0xA0, 0x00, 0x00, 0x30]);
        }
    })
}

fn missing_variable_in_percent() -> Bent {
    answers(9, |_, data| {
        if data[8] == 0x30 {
            data[3] = 57;
        }
    })
}

/// A new message takes the tag's first character.
fn message_spoils_the_tag() -> Bent {
    let mut written = false;
    Bent::new(positioner()).saying(framed(move |frame| match frame[command_at(frame)] {
        17 => written = true,
        13 if written => frame[10] ^= 0x04,
        _ => {}
    }))
}

const ROWS: &[(&str, On)] = &[
    ("universal/identity/expansion-code", Fault("identity_not_254")),
    ("universal/identity/length", Fault("identity_cut")),
    ("universal/identity/revision-that-exists", Fault("revision_claimed_too_high")),
    ("universal/identity/signalling", Fault("signalling_other")),
    ("universal/identity/both-masters", Is(tells_masters_different_things)),
    ("universal/identity/short-frame", Is(tells_other_things_in_short_frames)),
    ("universal/identity/last-device-variable", Fault("last_variable_too_high")),
    ("universal/identity/device-profile", Fault("no_device_profile")),
    ("universal/identity/manufacturer-code", Fault("manufacturer_reversed")),
    ("universal/by-tag/own-tag", Fault("own_tag_unanswered")),
    ("universal/by-tag/other-tag", Fault("any_tag_answered")),
    ("universal/by-tag/as-command-0", Fault("identity_by_tag_differs")),
    ("universal/by-tag/own-long-tag", Is(deaf_to_its_long_tag)),
    ("universal/by-tag/other-long-tag", Fault("any_long_tag_answered")),
    ("universal/by-tag/other-end-of-long-tag", Fault("long_tag_half_compared")),
    ("universal/variables/pv-length", Fault("pv_without_unit")),
    ("universal/variables/pv-unit", Fault("pv_unit_unknown")),
    ("universal/variables/pv-as-in-command-3", FaultOf(temperature, "dynamic_variables_swapped")),
    ("universal/variables/pv-as-in-command-9", FaultOf(temperature, "pv_is_second")),
    ("universal/variables/current-length", Fault("percent_cut")),
    ("universal/variables/percent-follows-from-current", FaultOf(temperature, "percent_as_a_share")),
    ("universal/variables/current-as-in-command-3", Fault("current_and_percent_swapped")),
    ("universal/variables/dynamic-variables-length", Fault("dynamic_variables_cut")),
    ("universal/variables/floats-most-significant-first", Fault("floats_reversed")),
    ("universal/device-variables/classes-length", Fault("classes_cut")),
    ("universal/device-variables/classes-as-in-command-9", Fault("class_differs")),
    ("universal/device-variables/one-slot-each", Fault("always_four_slots")),
    ("universal/device-variables/order-of-slots", Fault("slots_sorted")),
    ("universal/device-variables/eight-slots", Fault("fifth_slot_dropped")),
    ("universal/device-variables/mandatory-ones", Is(has_no_variable_245)),
    ("universal/device-variables/missing-one-has-no-number", Fault("missing_variable_is_zero")),
    ("universal/device-variables/missing-one-is-bad", Fault("missing_variable_looks_good")),
    ("universal/device-variables/missing-one-has-no-unit", Is(missing_variable_in_percent)),
    ("universal/device-variables/time-runs", Fault("time_runs_in_ms")),
    ("universal/labels/message-length", Fault("message_cut")),
    ("universal/labels/tag-descriptor-date-length", Fault("date_missing")),
    ("universal/labels/transducer-length", Fault("minimum_span_missing")),
    ("universal/labels/transducer-limits-in-order", Fault("limits_swapped")),
    ("universal/labels/device-information-length", Fault("channel_flags_missing")),
    ("universal/labels/alarm-selection", Fault("alarm_selection_unknown")),
    ("universal/labels/write-protect-code", Is(|| answers(15, |_, data| data[15] = 2))),
    ("universal/labels/reserved-octet", Is(|| answers(15, |_, data| data[16] = 0))),
    ("universal/labels/channel-flags", Fault("channel_flags_inverted")),
    ("universal/labels/assembly-number-length", Fault("assembly_number_too_long")),
    ("universal/labels/long-tag-length", Fault("long_tag_trimmed")),
    ("universal/label-writes/message-is-kept", Fault("message_not_kept")),
    ("universal/label-writes/message-echo", Fault("message_echo_missing")),
    ("universal/label-writes/tag-and-descriptor-are-kept", Fault("descriptor_not_kept")),
    ("universal/label-writes/date-is-kept", Fault("date_not_kept")),
    ("universal/label-writes/tag-descriptor-date-echo", Fault("tag_echo_cut")),
    ("universal/label-writes/assembly-number-is-kept", Fault("assembly_number_cut")),
    ("universal/label-writes/assembly-number-echo", Fault("assembly_number_echo_missing")),
    ("universal/label-writes/long-tag-is-kept", Fault("long_tag_cut")),
    ("universal/label-writes/long-tag-is-latin-1", Fault("long_tag_in_capitals")),
    ("universal/label-writes/long-tag-echo", Fault("long_tag_echo_old")),
    ("universal/label-writes/tag-answers-to-its-new-name", Fault("own_tag_unanswered")),
    ("universal/label-writes/leaves-the-others-alone", Is(message_spoils_the_tag)),
    ("universal/loop-configuration/length", Fault("loop_configuration_cut")),
    ("universal/loop-configuration/address-as-told", Fault("polling_address_told_wrong")),
    ("universal/loop-configuration/new-address", Fault("polling_address_not_taken")),
    ("universal/loop-configuration/echo", Fault("loop_current_mode_echo_missing")),
    ("universal/loop-configuration/mode-is-kept", Fault("loop_current_mode_inverted")),
    ("status/device/fixed-current-is-told", Fault("fixed_current_untold")),
    ("status/device/following-current-is-not-fixed", Fault("fixed_current_always_told")),
    ("status/device/malfunction-goes-with-command-48", Fault("malfunction_always_told")),
    ("status/device/saturated-current-is-told", FaultOf(saturated, "saturated_current_untold")),
    ("status/device/other-variable-out-of-limits", Fault("out_of_limits_swapped")),
    ("status/device/extended-status-undefined-bits", Is(|| answers(0, |_, data| data[16] |= 0x40))),
    ("status/changed/told-to-the-writer", Fault("change_told_to_the_other_alone")),
    ("status/changed/told-to-the-other", Fault("change_told_to_the_writer_alone")),
    ("status/changed/stays-while-reading", Fault("change_reset_by_reading")),
    ("status/changed/reset-for-the-asker", Fault("change_never_reset")),
    ("status/changed/stays-for-the-other", Fault("change_reset_for_both")),
    ("status/changed/command-38-without-data", FaultOf(older, "counter_wanted_too_early")),
    ("status/changed/command-38-is-there", Fault("command_38_missing")),
    ("status/changed/echo-of-the-counter", Fault("counter_echo_missing")),
    ("status/changed/other-counter-refused", Fault("counter_mismatch_untold")),
    ("status/changed/other-counter-resets-nothing", Fault("counter_mismatch_taken")),
    ("status/counter/one-step-a-write", Fault("counter_advances_by_two")),
    ("status/counter/as-command-38-wants-it", Fault("counter_in_identity_reversed")),
    ("status/counter/stands-while-reading", Fault("counter_advances_by_reading")),
    ("status/counter/stands-after-command-38", Fault("counter_reset")),
    ("status/counter/stands-after-refused-writes", Fault("counter_advances_by_refused_writes")),
    ("status/counter/outlives-a-restart", Fault("counter_lost_at_start")),
    ("status/more-status/command-48-is-there", Fault("command_48_missing")),
    ("status/more-status/length", Fault("status_too_long")),
    ("status/more-status/operating-mode", Fault("operating_mode_set")),
    ("status/more-status/extended-status-in-command-9", Fault("extended_status_differs")),
    ("status/more-status/extended-status-in-command-48", Is(|| answers(48, |_, data| data[6] ^= 0x01))),
    ("status/more-status/told-when-status-changes", Fault("more_status_never_told")),
    ("status/more-status/over-when-sent-back", Fault("more_status_always_told")),
    ("status/more-status/stays-without-data", Fault("more_status_over_by_reading")),
    ("status/more-status/stays-for-the-other", Fault("more_status_over_for_both")),
    ("status/more-status/other-octets-are-told", Fault("status_mismatch_untold")),
    ("status/more-status/other-octets-leave-it", Fault("status_mismatch_taken")),
    ("status/cold-start/over-after-an-answer", Fault("cold_start_never_over")),
    ("status/cold-start/told-after-a-restart", Fault("cold_start_not_after_reset")),
    ("status/cold-start/each-master-by-itself", Fault("cold_start_over_for_both")),
    ("status/cold-start/restart-keeps-what-is-stored", Fault("memory_lost_by_reset")),
    ("codes/refusals/unknown-command", Fault("unknown_command_selection")),
    ("codes/refusals/unknown-command-without-data", Fault("unknown_command_with_data")),
    ("codes/refusals/too-few-octets-to-read", Fault("too_few_data_filled")),
    ("codes/refusals/too-few-status-octets", Fault("too_few_data_succeed")),
    ("codes/refusals/too-few-octets-to-write", Fault("too_few_data_unanswered")),
    ("codes/refusals/too-few-octets-change-nothing", Fault("too_few_data_filled")),
    ("codes/refusals/surplus-octets-of-a-write", Fault("surplus_data_refused")),
    ("codes/refusals/no-data-with-an-error", Fault("refusals_with_data")),
    ("codes/refusals/no-undefined-code", Fault("refusals_undefined")),
    ("codes/refusals/reads-succeed", Is(|| answers(16, |code, _| *code = 16))),
];

#[test]
fn each_case_fails_on_a_device_that_is_bad_in_it() {
    let mut wrong = Vec::new();
    for (id, on) in ROWS {
        let (bad, healthy, fault) = match on {
            Is(bent) => (bent(), positioner(), None),
            Fault(name) => with_fault(positioner(), name),
            FaultOf(mock, name) => with_fault(mock(), name),
        };
        let good = one(Bent::new(healthy), id).verdict;
        if good != Verdict::Pass {
            wrong.push(format!("{id} on a healthy mock: {good:?}"));
        }
        let result = one(bad, id);
        if !matches!(result.verdict, Verdict::Fail { .. }) {
            wrong.push(format!("{id}: {:?}", result.verdict));
        }
        let missed = |v: &Verdict| matches!(v, Verdict::Fail { expected, .. } if expected.starts_with("an answer to "));
        if let Some(fault) = fault.filter(|f| !f.explains(result.case.requirement, missed(&result.verdict))) {
            wrong.push(format!("{id}: {} does not explain [{}]", fault.name(), result.case.requirement));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

type Pair = (Bent, DeviceConfig, Option<&'static ProtocolFault>);

/// A mock with a fault, and what it is without.
fn with_fault(healthy: DeviceConfig, name: &str) -> Pair {
    let fault = ProtocolFault::named(name).unwrap_or_else(|| panic!("no fault {name}"));
    assert_eq!(fault.why_not(healthy.kind.name(), healthy.identity.revision), None, "{name}");
    let mut bad = healthy.clone();
    bad.faults = vec![fault];
    (Bent::new(bad), healthy, Some(fault))
}

#[test]
fn the_rows_are_the_cases() {
    let rows: BTreeSet<&str> = ROWS.iter().map(|(id, _)| *id).collect();
    let ours = |id: &&str| ["universal/", "status/", "codes/"].iter().any(|group| id.starts_with(group));
    let cases: BTreeSet<&str> = all().iter().map(|c| c.id).filter(ours).collect();
    assert_eq!(rows, cases);
    assert_eq!(rows.len(), ROWS.len(), "a case stands twice");
}

/// A device that cannot read its memory has failed [DV-04], and has to say so in both places.
#[test]
fn a_malfunction_is_told() {
    let id = "status/device/malfunction-goes-with-command-48";
    let verdict = |config: DeviceConfig| {
        let (device, _) = Device::new(config, Some(b"spoilt"), Pace::Wire, Duration::ZERO, Instant::ZERO);
        let mut bus = Bus::new(Pace::Wire);
        bus.add_station(DeviceStation::new(device, Vec::new()));
        let results = Suite::new().only(id).run(&mut InProcess::new(bus, "test"), &to()).expect("a device");
        results.cases[0].verdict.clone()
    };
    assert_eq!(verdict(positioner()), Verdict::Pass);
    let mut bad = positioner();
    bad.faults = ProtocolFault::named("malfunction_untold").into_iter().collect();
    assert!(matches!(verdict(bad), Verdict::Fail { .. }));
}
