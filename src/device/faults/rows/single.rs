//! What a device may do wrong in one of several commands that are alike.

use crate::device::faults::Consequences::These;
use crate::device::faults::{Act, In, ProtocolFault, fault};
use crate::frame::Master;

pub(super) static ROWS: &[ProtocolFault] = &[
    fault(
        "damping_zero_refused",
        "Command 34 refuses a damping of 0 s with 4.",
        "CM-034",
        These(&["CM-015", "ST-03"]),
        Act::Request(|state, request, next| match (request.command(), request.data()) {
            (34, [0, 0, 0, 0]) => Some((4, Vec::new())),
            _ => next.run(state, request),
        }),
    ),
    fault(
        "range_of_unknown_channel_taken",
        "Command 65 answers success for an analog channel that it does not have.",
        "CM-065",
        These(&["ST-03"]),
        Act::Accepts { of: &[65], codes: &[15] },
    ),
    fault(
        "fixing_unknown_channel_taken",
        "Command 66 answers success for an analog channel that it does not have.",
        "CM-066",
        These(&["ST-03"]),
        Act::Accepts { of: &[66], codes: &[15] },
    )
    .of_a_transmitter(),
    fault(
        "fixing_unit_unknown_taken",
        "Command 66 answers success to a unit that is none of a current.",
        "CM-066",
        These(&["UN-01"]),
        Act::Accepts { of: &[66], codes: &[12] },
    )
    .of_a_transmitter(),
    fault(
        "applied_process_moves_both_ends",
        "Command 37 moves the upper range value by 1 as well.",
        "CM-037",
        These(&["CM-015", "CM-035", "CM-036"]),
        Act::Request(|state, request, next| {
            let told = next.run(state, request)?;
            if request.command() == 37 && told.0 == 0 {
                state.stored.upper_range_value += 1.0;
            }
            Some(told)
        }),
    ),
    fault(
        "applied_process_not_taken",
        "Command 37 answers success and the range stays.",
        "CM-037",
        These(&["CM-015", "CM-035"]),
        Act::Undoes {
            of: &[37],
            undo: |state, was| {
                state.stored.lower_range_value = was.stored.lower_range_value;
                state.stored.upper_range_value = was.stored.upper_range_value;
            },
        },
    ),
    fault(
        "unit_of_pv_not_kept",
        "Command 44 answers success and the unit stays.",
        "CM-044",
        These(&["CM-001", "CM-003", "CM-014", "CM-015"]),
        Act::Request(|state, request, next| {
            let unit = state.stored.units[0];
            let told = next.run(state, request);
            if request.command() == 44 {
                let _ = state.set_unit(request.now, 0, unit);
            }
            told
        }),
    )
    .of_a_transmitter(),
    fault(
        "serial_number_of_variable_not_kept",
        "Command 56 answers success and keeps the old transducer serial number.",
        "CM-056",
        These(&["CM-054"]),
        Act::Undoes {
            of: &[56],
            undo: |state, was| {
                state.stored.transducer_serial_numbers = was.stored.transducer_serial_numbers;
            },
        },
    ),
    fault(
        "eeprom_control_echo_missing",
        "Command 39 answers success without data.",
        "CM-039",
        These(&["TB-19", "ST-03"]),
        Act::Data { of: &[39], edit: |_, d| d.clear() },
    ),
    fault(
        "squawk_echo_missing",
        "Command 72 answers success without data.",
        "CM-072",
        These(&["TB-16", "ST-03"]),
        Act::Data { of: &[72], edit: |_, d| d.clear() },
    )
    .only(In::From6),
    fault(
        "communication_counters_cut",
        "Command 95 answers four octets, without the bursts.",
        "CM-095",
        These(&["DV-26"]),
        Act::Data { of: &[95], edit: |_, d| d.truncate(4) },
    )
    .only(In::From6),
    fault(
        "simulation_code_unknown_taken",
        "Command 79 answers success to a code that neither fixes nor ends.",
        "CM-079",
        These(&["TB-15"]),
        Act::Accepts { of: &[79], codes: &[10] },
    )
    .only(In::From6),
    fault(
        "lock_against_all_untold",
        "Command 76 does not say that a lock is against all.",
        "TB-14",
        These(&["CM-076", "CM-071"]),
        Act::Data { of: &[76], edit: |_, d| d.iter_mut().for_each(|o| *o &= !0x08) },
    )
    .only(In::From6),
    fault(
        "lock_against_all_opened_by_owner",
        "It lets the master alone that has locked it against all open it.",
        "TB-13",
        These(&["CM-071", "DV-17"]),
        Act::Request(|state, request, next| {
            let by_primary = request.master() == Master::Primary;
            let is_closed = state.stored.lock.is_some_and(|l| l.against_all && l.by_primary != by_primary);
            match (request.command(), request.data()) {
                (71, [0, ..]) if is_closed => Some((16, Vec::new())),
                _ => next.run(state, request),
            }
        }),
    )
    .only(In::From6),
    fault(
        "permanent_lock_lost_by_reset",
        "A reset ends a permanent lock.",
        "TB-13",
        These(&["CM-071", "CM-042", "DV-17", "CM-076", "TB-14"]),
        Act::Undoes { of: &[42], undo: |state, _| state.stored.lock = None },
    )
    .only(In::From6),
];
