//! Values that a device has to refuse, or to correct and say so.

use crate::device::faults::Consequences::These;
use crate::device::faults::{Act, In, ProtocolFault, fault};

/// Codes of range values that cannot be.
const RANGE: &[u8] = &[9, 10, 11, 12, 13];

pub(super) static ROWS: &[ProtocolFault] = &[
    fault(
        "date_of_no_calendar_taken",
        "Command 18 answers success to a date that no calendar has.",
        "CM-018",
        These(&["TY-06"]),
        Act::Accepts { of: &[18], codes: &[9] },
    ),
    fault(
        "polling_address_too_high_taken",
        "Command 6 answers success to a polling address that its revision does not have.",
        "CM-006",
        These(&["FR-05"]),
        Act::Accepts { of: &[6], codes: &[2] },
    ),
    fault(
        "loop_current_mode_unknown_taken",
        "Command 6 answers success to a loop current mode that the table does not have.",
        "TB-09",
        These(&["CM-006", "DV-15"]),
        Act::Accepts { of: &[6], codes: &[12] },
    )
    .only(In::From6),
    fault(
        "slot_unknown_taken",
        "Command 9 answers with code 0 to a variable code above 250.",
        "CM-009",
        These(&["TY-09", "ST-03"]),
        Act::Request(|state, request, next| {
            let told = next.run(state, request)?;
            if request.command() != 9 || told.0 != 2 {
                return Some(told);
            }
            let known = request.data().iter().map(|&code| code.min(250)).collect();
            next.run_with(state, request, known)
        }),
    )
    .only(In::From6),
    fault(
        "damping_too_long_taken",
        "Commands 34, 55 and 64 answer success to a damping above the longest.",
        "CM-034",
        These(&["CM-055", "CM-064", "ST-03"]),
        Act::Accepts { of: &[34, 55, 64], codes: &[3] },
    ),
    fault(
        "damping_below_zero_taken",
        "Commands 34, 55 and 64 answer success to a damping below zero.",
        "CM-034",
        These(&["CM-055", "CM-064", "ST-03"]),
        Act::Accepts { of: &[34, 55, 64], codes: &[4] },
    ),
    fault(
        "damping_echo_as_asked",
        "Command 34 echoes the damping that was asked for, and says nothing of the one that is used.",
        "CM-034",
        These(&["ST-03", "CM-015", "CM-055"]),
        Act::Accepts { of: &[34], codes: &[8] },
    ),
    fault(
        "range_outside_limits_taken",
        "Command 35 answers success to range values outside the limits.",
        "CM-035",
        These(&["CM-065", "CM-014"]),
        Act::Accepts { of: &[35, 65], codes: RANGE },
    ),
    fault(
        "range_without_span_taken",
        "Command 35 answers success to two range values that are equal.",
        "CM-035",
        These(&["CM-065"]),
        Act::Accepts { of: &[35, 65], codes: &[29] },
    ),
    fault(
        "range_unit_unknown_taken",
        "Command 35 answers success to a unit that PV cannot have.",
        "CM-035",
        These(&["CM-065", "UN-01"]),
        Act::Accepts { of: &[35, 65], codes: &[18, 28] },
    ),
    fault(
        "range_codes_swapped",
        "Command 35 says that the upper range value is too low when it is too high, and the lower one likewise.",
        "CM-035",
        These(&["CM-065"]),
        Act::Request(|state, request, next| {
            let (code, data) = next.run(state, request)?;
            let told = match (request.command(), code) {
                (35 | 65, 9) => 10,
                (35 | 65, 10) => 9,
                (35 | 65, 11) => 12,
                (35 | 65, 12) => 11,
                _ => code,
            };
            Some((told, data))
        }),
    ),
    fault(
        "small_span_untold",
        "Command 35 takes a span below the minimum and does not warn.",
        "CM-035",
        These(&["CM-065", "CM-014"]),
        Act::Code { of: &[35, 65], from: 14, to: 0 },
    ),
    fault(
        "falling_range_refused",
        "Command 35 refuses an upper range value below the lower one with 29.",
        "CM-035",
        These(&["CM-065"]),
        Act::Request(|state, request, next| {
            use crate::device::faults::tools::float;
            match (request.command(), float(request.data(), 1), float(request.data(), 5)) {
                (35, Some(upper), Some(lower)) if upper < lower => Some((29, Vec::new())),
                _ => next.run(state, request),
            }
        }),
    ),
    fault(
        "range_not_kept",
        "Command 35 answers success and keeps the old range.",
        "CM-035",
        These(&["CM-015", "CM-065", "CM-063"]),
        Act::Undoes {
            of: &[35, 65],
            undo: |state, was| {
                let (lower, upper) = (was.stored.lower_range_value, was.stored.upper_range_value);
                state.set_range(state.now, lower, upper);
            },
        },
    ),
    fault(
        "damping_not_kept",
        "Command 34 answers success and keeps the old damping.",
        "CM-034",
        These(&["CM-015", "CM-055", "CM-064"]),
        Act::Undoes {
            of: &[34, 55, 64],
            undo: |state, was| state.set_damping_s(state.now, was.stored.damping_s),
        },
    ),
    fault(
        "unit_unknown_taken",
        "Commands 44 and 53 answer success to a unit that the variable cannot have.",
        "CM-044",
        These(&["CM-053", "UN-01"]),
        Act::Accepts { of: &[44, 53], codes: &[2, 12] },
    ),
    fault(
        "unit_of_unknown_variable_taken",
        "Command 53 answers success for a device variable that it does not have.",
        "CM-053",
        These(&["TY-09"]),
        Act::Accepts { of: &[53], codes: &[11] },
    ),
    fault(
        "transfer_function_unknown_taken",
        "Command 47 answers success to a transfer function that it does not have.",
        "CM-047",
        These(&["TB-02", "CM-069"]),
        Act::Accepts { of: &[47, 69], codes: &[13, 2] },
    ),
    fault(
        "assignment_unknown_taken",
        "Command 51 answers success to device variables that it does not have.",
        "CM-051",
        These(&["CM-050", "TY-09"]),
        Act::Accepts { of: &[51], codes: &[2] },
    ),
    fault(
        "reply_preambles_out_of_range_taken",
        "Command 59 answers success to any number of preambles.",
        "CM-059",
        These(&["FR-02", "LL-11"]),
        Act::Accepts { of: &[59], codes: &[3, 4] },
    ),
    fault(
        "clock_time_impossible_taken",
        "Command 89 answers success to a time of 24 hours and more and to dates of no calendar.",
        "CM-089",
        These(&["TY-06", "TY-07", "TB-21"]),
        Act::Accepts { of: &[89], codes: &[2] },
    )
    .only(In::R7),
    fault(
        "trim_point_out_of_range_taken",
        "Command 82 answers success to a trim point outside the limits that command 81 tells.",
        "CM-082",
        These(&["CM-081"]),
        Act::Accepts { of: &[82], codes: &[3, 4] },
    )
    .only(In::From6),
    fault(
        "simulation_unit_unknown_taken",
        "Command 79 answers success to a unit that the variable cannot have.",
        "CM-079",
        These(&["UN-01"]),
        Act::Accepts { of: &[79], codes: &[18] },
    )
    .only(In::From6),
    fault(
        "simulation_variable_unknown_taken",
        "Command 79 answers success for a device variable that it does not have.",
        "CM-079",
        These(&["TY-09"]),
        Act::Accepts { of: &[79], codes: &[17] },
    )
    .only(In::From6),
    fault(
        "fixed_current_out_of_range_taken",
        "Commands 40 and 66 answer success to a loop current that it cannot send.",
        "CM-040",
        These(&["CM-066"]),
        Act::Accepts { of: &[40, 66], codes: &[3, 4] },
    )
    .of_a_transmitter(),
    fault(
        "fixed_current_not_let_go",
        "Command 40 with 0 answers success, and the loop current stays fixed.",
        "CM-040",
        These(&["ST-02"]),
        Act::Request(|state, request, next| match (request.command(), request.data()) {
            (40, [0, 0, 0, 0]) => Some((0, vec![0; 4])),
            _ => next.run(state, request),
        }),
    )
    .of_a_transmitter(),
    fault(
        "trim_without_fixed_current_taken",
        "Commands 45, 46, 67 and 68 answer success while the loop current is not fixed.",
        "CM-045",
        These(&["CM-046", "CM-067", "CM-068"]),
        Act::Accepts { of: &[45, 46, 67, 68], codes: &[9] },
    )
    .of_a_transmitter(),
];
