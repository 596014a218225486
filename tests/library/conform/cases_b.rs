//! Cases of common practice, boundaries, write protect, locks, bursts and delayed responses fail on what is bad.

use super::rig::*;
use looprig::app::command::Revision;
use looprig::conform::{CaseResult, Suite, Verdict, all};
use looprig::device::{Device, DeviceConfig, ProtocolFault};
use looprig::frame::Octet;
use looprig::line::{Bus, InProcess};
use looprig::sim::DeviceStation;
use looprig::time::{Instant, Pace};
use std::collections::BTreeSet;
use std::time::Duration;

/// A mock on a line, with its faults as they are; none where a fault is not for it.
pub fn with_fault(mut config: DeviceConfig, name: &str) -> Option<InProcess<DeviceStation>> {
    let fault = ProtocolFault::named(name).unwrap_or_else(|| panic!("{name}"));
    if fault.why_not(config.kind.name(), config.identity.revision).is_some() {
        return None;
    }
    config.faults = vec![fault];
    let (device, _) = Device::new(config, None, Pace::Wire, Duration::ZERO, Instant::ZERO);
    let mut bus = Bus::new(Pace::Wire);
    bus.add_station(DeviceStation::new(device, Vec::new()));
    Some(InProcess::new(bus, "test"))
}

/// What these cases say of it; none where nobody is found.
pub fn results_of(mut line: InProcess<DeviceStation>, only: &[&str]) -> Vec<CaseResult> {
    let suite = only.iter().fold(Suite::new(), |s, o| s.only(*o)).writing(true).moving(true);
    suite.run(&mut line, &to()).map_or_else(|_| Vec::new(), |r| r.cases)
}

const R5: Revision = Revision::R5;
const R7: Revision = Revision::R7;

/// Which device a fault is put into.
#[derive(Clone, Copy)]
enum Of {
    /// A positioner of revision 7, as most.
    Positioner,
    /// A positioner of revision 5.
    Old,
    /// A temperature transmitter, whose loop current is an output.
    Transmitter,
    /// A positioner whose write protect is on.
    Protected,
    /// A positioner that puts command 22 off.
    Slow,
}

impl Of {
    fn config(self) -> DeviceConfig {
        match self {
            Of::Positioner => config(R7),
            Of::Old => config(R5),
            Of::Transmitter => transmitter(R7),
            Of::Protected => protected(R7),
            Of::Slow => slow(),
        }
    }
}

/// A named fault for each case that one finds, and the device that has it.
const FAULTS: &[(&str, &str, Of)] = &[
    ("common/variables/slots-have-six-octets", "slots_of_33_without_unit", Of::Positioner),
    ("common/variables/slots-as-many-as-asked", "slots_of_33_always_four", Of::Positioner),
    ("common/variables/assignments-have-four-octets", "assignments_cut", Of::Positioner),
    ("common/variables/assignments-kept", "assignments_not_kept", Of::Positioner),
    ("common/variables/information-length", "variable_information_of_revision_5", Of::Positioner),
    ("common/variables/information-names-its-variable", "variable_not_echoed", Of::Positioner),
    ("common/variables/information-upper-limit-first", "variable_limits_swapped", Of::Positioner),
    ("common/variables/information-agrees-with-14", "limits_swapped", Of::Positioner),
    ("common/variables/update-period-counts-32nds", "update_period_in_ms", Of::Positioner),
    ("common/variables/serial-number-kept", "serial_number_not_kept", Of::Positioner),
    ("common/variables/serial-number-of-one-kept", "serial_number_of_variable_not_kept", Of::Positioner),
    ("common/variables/all-dynamic-variables", "dynamic_variables_of_110_cut", Of::Positioner),
    ("common/channels/level-and-percent", "channel_percent_missing", Of::Positioner),
    ("common/channels/channel-and-variables", "channel_variables_cut", Of::Positioner),
    ("common/channels/levels-in-their-unit", "channels_in_ampere", Of::Positioner),
    ("common/channels/information-length", "channel_information_of_15", Of::Positioner),
    ("common/channels/information-agrees-with-15", "range_values_swapped", Of::Positioner),
    ("common/channels/upper-endpoint-first", "endpoints_swapped", Of::Positioner),
    ("common/channels/unknown-channel", "channel_unknown_answered", Of::Positioner),
    ("common/current/fixed", "current_not_fixed", Of::Transmitter),
    ("common/current/fixed-is-in-the-status", "fixed_current_untold", Of::Transmitter),
    ("common/current/zero-leaves-fixed", "fixed_current_not_let_go", Of::Transmitter),
    ("common/current/beyond-what-can-be-sent", "fixed_current_out_of_range_taken", Of::Transmitter),
    ("common/current/trim-needs-fixed-current", "trim_without_fixed_current_taken", Of::Transmitter),
    ("common/settings/unit-of-pv-kept", "unit_of_pv_not_kept", Of::Transmitter),
    ("common/settings/applied-process-as-lower-range-value", "applied_process_not_taken", Of::Transmitter),
    (
        "common/settings/applied-process-leaves-the-upper-value",
        "applied_process_moves_both_ends",
        Of::Transmitter,
    ),
    ("common/current/unknown-channel", "fixing_unknown_channel_taken", Of::Transmitter),
    ("common/current/unit-that-is-none", "fixing_unit_unknown_taken", Of::Transmitter),
    ("common/counters/three-of-two-octets", "communication_counters_cut", Of::Positioner),
    ("common/service/burn-keeps-what-was-written", "eeprom_control_echo_missing", Of::Positioner),
    ("common/service/squawk-off-is-echoed", "squawk_echo_missing", Of::Positioner),
    ("common/simulation/unknown-code", "simulation_code_unknown_taken", Of::Positioner),
    ("boundaries/damping/zero", "damping_zero_refused", Of::Positioner),
    ("boundaries/range/of-an-unknown-channel", "range_of_unknown_channel_taken", Of::Positioner),
    ("lock/kinds/against-all-opened-by-any", "lock_against_all_opened_by_owner", Of::Positioner),
    ("common/settings/unit-of-a-variable-kept", "unit_not_kept", Of::Positioner),
    ("common/settings/reply-preambles-taken", "reply_preambles_not_taken", Of::Positioner),
    ("common/settings/no-applied-process-in-multidrop", "applied_process_in_multidrop", Of::Positioner),
    ("common/simulation/value-is-told", "simulation_not_begun", Of::Positioner),
    ("common/simulation/is-in-the-status", "simulation_untold", Of::Positioner),
    ("common/simulation/normal-ends-it", "simulation_never_over", Of::Positioner),
    ("common/simulation/unknown-variable", "simulation_variable_unknown_taken", Of::Positioner),
    ("common/simulation/unit-that-is-none", "simulation_unit_unknown_taken", Of::Positioner),
    ("common/trim/points-have-ten-octets", "trim_points_cut", Of::Positioner),
    ("common/trim/limits-have-23-octets", "trim_limits_cut", Of::Positioner),
    ("common/trim/point-beyond-its-limits", "trim_point_out_of_range_taken", Of::Positioner),
    ("common/clock/has-15-octets", "clock_flags_missing", Of::Positioner),
    ("common/clock/set", "clock_not_set", Of::Positioner),
    ("common/clock/impossible-time", "clock_time_impossible_taken", Of::Positioner),
    ("common/counters/requests-are-counted", "request_counter_stands", Of::Positioner),
    ("common/counters/most-significant-octet-first", "counters_reversed", Of::Positioner),
    ("common/carried/as-many-as-counted", "carried_count_too_high", Of::Positioner),
    ("common/carried/response-code-inside", "carried_codes_missing", Of::Positioner),
    ("common/service/self-test-has-no-data", "self_test_with_data", Of::Positioner),
    ("common/service/unknown-eeprom-control", "eeprom_control_unknown_taken", Of::Positioner),
    ("common/service/unknown-squawk-control", "squawk_code_unknown_taken", Of::Positioner),
    ("common/service/not-found-unless-armed", "found_though_not_armed", Of::Positioner),
    ("boundaries/labels/dates", "date_not_kept", Of::Positioner),
    ("boundaries/labels/date-of-no-calendar", "date_of_no_calendar_taken", Of::Positioner),
    ("boundaries/labels/tag-of-every-character", "labels_restricted", Of::Positioner),
    ("boundaries/labels/greatest-assembly-number", "assembly_number_cut", Of::Positioner),
    ("boundaries/labels/last-character-of-the-long-tag", "long_tag_cut", Of::Positioner),
    ("boundaries/labels/polling-address-too-high", "polling_address_too_high_taken", Of::Positioner),
    ("boundaries/labels/polling-address-too-high", "polling_address_too_high_taken", Of::Old),
    ("boundaries/labels/highest-polling-address", "polling_address_not_taken", Of::Positioner),
    ("boundaries/labels/highest-polling-address", "polling_address_not_taken", Of::Old),
    ("boundaries/labels/unknown-loop-current-mode", "loop_current_mode_unknown_taken", Of::Positioner),
    ("boundaries/labels/refused-mode-takes-no-address", "invalid_mode_takes_address", Of::Positioner),
    ("boundaries/damping/kept", "damping_not_kept", Of::Positioner),
    ("boundaries/damping/used-is-told", "damping_echo_as_asked", Of::Positioner),
    ("boundaries/damping/too-long", "damping_too_long_taken", Of::Positioner),
    ("boundaries/damping/below-zero", "damping_below_zero_taken", Of::Positioner),
    ("boundaries/damping/of-a-variable", "damping_not_kept", Of::Positioner),
    ("boundaries/damping/of-a-channel", "damping_not_kept", Of::Positioner),
    ("boundaries/range/kept", "range_not_kept", Of::Positioner),
    ("boundaries/range/outside-the-limits", "range_outside_limits_taken", Of::Positioner),
    ("boundaries/range/which-is-too-high", "range_codes_swapped", Of::Positioner),
    ("boundaries/range/no-span", "range_without_span_taken", Of::Positioner),
    ("boundaries/range/small-span", "small_span_untold", Of::Positioner),
    ("boundaries/range/falling", "falling_range_refused", Of::Positioner),
    ("boundaries/range/unit-that-is-none", "range_unit_unknown_taken", Of::Positioner),
    ("boundaries/range/unit-that-is-none", "range_unit_unknown_taken", Of::Old),
    ("boundaries/range/of-a-channel", "range_not_kept", Of::Positioner),
    ("boundaries/codes/unit-that-is-none", "unit_unknown_taken", Of::Positioner),
    ("boundaries/codes/unit-of-an-unknown-variable", "unit_of_unknown_variable_taken", Of::Positioner),
    ("boundaries/codes/assignment-of-an-unknown-variable", "assignment_unknown_taken", Of::Positioner),
    ("boundaries/codes/transfer-function-that-is-none", "transfer_function_unknown_taken", Of::Positioner),
    ("boundaries/codes/reply-preambles-out-of-range", "reply_preambles_out_of_range_taken", Of::Positioner),
    ("boundaries/codes/slot-above-250", "slot_unknown_taken", Of::Positioner),
    ("write-protect/state/told-as-it-acts", "write_protect_not_told", Of::Protected),
    ("write-protect/state/writes-are-refused", "write_protect_other_code", Of::Protected),
    ("write-protect/state/tag-is-refused", "write_protect_open_for_tags", Of::Protected),
    ("write-protect/state/nothing-changes", "write_protect_refuses_and_writes", Of::Protected),
    ("write-protect/state/nothing-is-counted", "counter_advances_by_refused_writes", Of::Protected),
    ("write-protect/state/reads-are-answered", "write_protect_closes_reads", Of::Protected),
    ("lock/temporary/status-has-one-octet", "lock_status_missing", Of::Positioner),
    ("lock/temporary/is-told", "lock_untold", Of::Positioner),
    ("lock/temporary/owner-is-told", "lock_told_by_the_other", Of::Positioner),
    ("lock/temporary/keeps-the-other-out", "lock_ignored", Of::Positioner),
    ("lock/temporary/owner-may-write", "lock_shuts_out_its_owner", Of::Positioner),
    ("lock/temporary/other-may-read", "lock_closes_reads", Of::Positioner),
    ("lock/temporary/other-cannot-open", "lock_opened_by_anyone", Of::Positioner),
    ("lock/temporary/other-cannot-lock", "lock_taken_over", Of::Positioner),
    ("lock/kinds/permanent-is-told", "lock_outlives_reset", Of::Positioner),
    ("lock/kinds/against-all-is-told", "lock_against_all_untold", Of::Positioner),
    ("lock/kinds/against-all-keeps-its-owner-out", "lock_against_all_spares_its_owner", Of::Positioner),
    ("lock/kinds/unknown-code", "lock_code_unknown_taken", Of::Positioner),
    ("lock/kinds/temporary-ends-with-a-reset", "lock_outlives_reset", Of::Positioner),
    ("lock/kinds/permanent-outlives-a-reset", "permanent_lock_lost_by_reset", Of::Positioner),
    ("burst/settings/on", "burst_never_on", Of::Positioner),
    ("burst/timing/none-when-off", "burst_never_off", Of::Positioner),
    ("burst/settings/control-that-is-none", "burst_control_unknown_taken", Of::Positioner),
    ("burst/settings/command-taken", "burst_command_one", Of::Positioner),
    ("burst/settings/command-taken", "burst_command_one", Of::Old),
    ("burst/settings/command-that-is-never-sent", "burst_command_unknown_taken", Of::Positioner),
    ("burst/settings/variables-taken", "burst_variables_not_taken", Of::Positioner),
    ("burst/settings/unknown-variable", "burst_variable_unknown_taken", Of::Positioner),
    ("burst/settings/configuration-length", "burst_configuration_cut", Of::Positioner),
    ("burst/settings/on-is-told", "burst_told_off", Of::Positioner),
    ("burst/settings/used-periods-are-told", "burst_period_echo_as_asked", Of::Positioner),
    ("burst/settings/unknown-message", "burst_message_unknown_taken", Of::Positioner),
    ("burst/settings/unknown-trigger", "burst_trigger_unknown_taken", Of::Positioner),
    ("burst/frames/delimiter", "burst_as_answer", Of::Positioner),
    ("burst/frames/own-address", "burst_address_cleared", Of::Positioner),
    ("burst/frames/burst-bit", "burst_bit_clear_in_bursts", Of::Positioner),
    ("burst/frames/burst-bit-in-answers", "burst_bit_clear_in_answers", Of::Positioner),
    ("burst/frames/masters-in-turn", "burst_names_the_primary", Of::Positioner),
    ("burst/frames/status-octets", "burst_without_status", Of::Positioner),
    ("burst/frames/check-byte", "burst_check_byte_wrong", Of::Positioner),
    ("burst/frames/preambles", "burst_with_two_preambles", Of::Positioner),
    ("burst/frames/response-code", "burst_status_of_an_answer", Of::Positioner),
    ("burst/timing/follows-answers", "burst_does_not_follow_answers", Of::Positioner),
    ("burst/timing/leaves-a-turn", "burst_leaves_no_turn", Of::Positioner),
    ("burst/timing/not-more-often", "burst_every_250_ms", Of::Positioner),
    ("burst/timing/as-often-as-written", "burst_four_times_too_slow", Of::Positioner),
    ("burst/timing/more-than-one-a-second", "burst_every_two_seconds", Of::Old),
    ("burst/timing/waits-for-its-trigger", "burst_trigger_ignored", Of::Positioner),
    ("delayed/response/running-is-told", "delayed_told_as_begun", Of::Slow),
    ("delayed/response/result-comes", "delayed_never_ready", Of::Slow),
    ("delayed/response/result-has-its-data", "delayed_result_without_data", Of::Slow),
    ("delayed/response/initiated-has-no-data", "delayed_begun_with_data", Of::Slow),
    ("delayed/response/conflict-is-told", "delayed_conflict_untold", Of::Slow),
    ("delayed/response/second-buffer", "delayed_one_buffer", Of::Slow),
    ("delayed/response/not-running-after-a-reset", "delayed_runs_after_reset", Of::Slow),
    ("delayed/response/flush-is-known", "delayed_flush_refused", Of::Slow),
    ("delayed/response/flush-frees", "delayed_not_flushed", Of::Slow),
];

/// A device that says something else: its answers in long frames from the delimiter on, the check byte made anew.
fn says(config: DeviceConfig, mut bend: impl FnMut(&mut Vec<u8>) + 'static) -> Bent {
    Bent::new(config).saying(framed(move |frame| {
        if frame[0] & 0x80 != 0 {
            bend(frame);
            frame[7] = (frame.len() - 8) as u8;
        }
    }))
}

/// Takes command 71 with 0, open, of the primary master for one with this code.
fn opens_wrong(code: u8) -> Bent {
    Bent::new(config(R7)).hearing(move |octets: &[Octet]| {
        let mut values: Vec<u8> = octets.iter().map(|o| o.value).collect();
        let n = values.len();
        // Delimiter, five of address, command, count, one of data, check byte.
        if n >= 10 && values[n - 9] & 0x80 != 0 && values[n - 4..n - 1] == [71, 1, 0] {
            values[n - 2] = code;
            values[n - 1] ^= code;
        }
        values
    })
}

/// A bent device for each case that no named fault is for.
fn bent() -> Vec<(&'static str, Bent)> {
    let mut is_put_off = false;
    vec![
        ("lock/temporary/open-again", opens_wrong(1)),
        (
            "lock/temporary/refused-with-16",
            says(config(R7), |f| {
                if f[6] == 17 && f[8] == 16 {
                    f[8] = 6;
                }
            }),
        ),
        ("delayed/response/other-requests-meanwhile", {
            says(slow(), move |f| {
                is_put_off |= f[6] == 22 && f[8] == 33;
                if is_put_off && f[6] == 1 {
                    f[8] = 32;
                    f.truncate(10);
                }
            })
        }),
        (
            "delayed/response/each-master-has-its-own",
            says(slow(), |f| {
                if f[6] == 22 && f[1] & 0x80 != 0 && f[8] == 33 {
                    f[8] = 36;
                }
            }),
        ),
    ]
}

/// The groups of cases that this file is about.
fn is_ours(id: &str) -> bool {
    let group = id.split('/').next().unwrap_or_default();
    ["common", "boundaries", "write-protect", "lock", "burst", "delayed"].contains(&group)
}

#[test]
fn each_case_finds_a_fault() {
    let mut wrong = Vec::new();
    let mut shown = BTreeSet::new();
    for &(id, fault, of) in FAULTS {
        let requirement = all().iter().find(|c| c.id == id).map_or("", |c| c.requirement);
        let named = ProtocolFault::named(fault).unwrap_or_else(|| panic!("{fault}"));
        if !named.explains(requirement, false) {
            wrong.push(format!("{id}: {fault} is not about [{requirement}]"));
        }
        let line = with_fault(of.config(), fault).unwrap_or_else(|| panic!("{id}: {fault} is not for it"));
        let verdict = results_of(line, &[id]).pop().map(|r| r.verdict);
        if !matches!(verdict, Some(Verdict::Fail { .. })) {
            wrong.push(format!("{id} on {fault}: {verdict:?}"));
        }
        shown.insert(id);
    }
    for (id, device) in bent() {
        let verdict = one(device, id).verdict;
        if !matches!(verdict, Verdict::Fail { .. }) {
            wrong.push(format!("{id}: {verdict:?}"));
        }
        shown.insert(id);
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    let open: Vec<&str> =
        all().iter().map(|c| c.id).filter(|id| is_ours(id) && !shown.contains(id)).collect();
    assert!(open.is_empty(), "no bad device for {open:#?}");
}
