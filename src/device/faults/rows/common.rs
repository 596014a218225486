//! Common practice: commands that a device may leave out, and has to do right if it has them.

use crate::app::command::Revision;
use crate::device::faults::Consequences::These;
use crate::device::faults::tools::{change, change_float, reverse, swap};
use crate::device::faults::{Act, In, ProtocolFault, fault};

pub(super) static ROWS: &[ProtocolFault] = &[
    fault(
        "slots_of_33_without_unit",
        "Command 33 answers five octets a slot, without the unit.",
        "CM-033",
        These(&[]),
        Act::Data {
            of: &[33],
            edit: |_, d| {
                *d = d.chunks_exact(6).flat_map(|s| [&s[..1], &s[2..]].concat()).collect();
            },
        },
    ),
    fault(
        "slots_of_33_always_four",
        "Command 33 answers four slots, however many were asked for.",
        "CM-033",
        These(&[]),
        Act::Data {
            of: &[33],
            edit: |_, d| {
                while d.len() < 24 {
                    d.extend([250, 250, 0x7F, 0xA0, 0, 0]);
                }
            },
        },
    ),
    fault(
        "assignments_cut",
        "Command 50 answers three octets.",
        "CM-050",
        These(&["CM-051"]),
        Act::Data { of: &[50], edit: |_, d| d.truncate(3) },
    ),
    fault(
        "assignments_not_kept",
        "Command 51 answers success and keeps the old assignment.",
        "CM-051",
        These(&["CM-050"]),
        Act::Undoes { of: &[51], undo: |state, was| state.stored.assignments = was.stored.assignments },
    ),
    fault(
        "variable_information_of_revision_5",
        "Command 54 answers the 17 octets of revision 5.",
        "CM-054",
        These(&["TB-07", "TB-08", "TY-07"]),
        Act::Data { of: &[54], edit: |_, d| d.truncate(17) },
    )
    .only(In::From6),
    fault(
        "variable_limits_swapped",
        "Command 54 answers the lower limit before the upper one.",
        "CM-054",
        These(&["CM-014"]),
        Act::Data { of: &[54], edit: |_, d| swap(d, 5, 9, 4) },
    ),
    fault(
        "variable_not_echoed",
        "Command 54 answers variable 0, whichever was asked for.",
        "CM-054",
        These(&["TY-09"]),
        Act::Data { of: &[54], edit: |_, d| change(d, 0, |_| 0) },
    ),
    fault(
        "update_period_in_ms",
        "Command 54 tells the update period in milliseconds and not in 1/32 of them.",
        "TY-07",
        These(&["CM-054"]),
        Act::Data {
            of: &[54],
            edit: |_, d| {
                if let Some(Ok(octets)) = d.get(23..27).map(<[u8; 4]>::try_from) {
                    d[23..27].copy_from_slice(&(u32::from_be_bytes(octets) / 32).to_be_bytes());
                }
            },
        },
    )
    .only(In::From6),
    fault(
        "serial_number_not_kept",
        "Command 49 answers success and keeps the old transducer serial number.",
        "CM-049",
        These(&["CM-014", "CM-054", "CM-056"]),
        Act::Undoes {
            of: &[49, 56],
            undo: |state, was| {
                state.stored.transducer_serial_numbers = was.stored.transducer_serial_numbers;
            },
        },
    ),
    fault(
        "reply_preambles_not_taken",
        "Command 59 answers success and the number of preambles stays.",
        "CM-059",
        These(&["LL-11", "FR-02"]),
        Act::Undoes {
            of: &[59],
            undo: |state, was| state.stored.preambles_reply = was.stored.preambles_reply,
        },
    ),
    fault(
        "channel_percent_missing",
        "Command 60 answers six octets, without the percent of range.",
        "CM-060",
        These(&[]),
        Act::Data { of: &[60], edit: |_, d| d.truncate(6) },
    ),
    fault(
        "channel_unknown_answered",
        "Commands 60, 63 and 70 answer success for an analog channel that it does not have.",
        "CM-060",
        These(&["CM-063", "CM-070", "ST-03"]),
        Act::Accepts { of: &[60, 63, 70], codes: &[2] },
    ),
    fault(
        "channel_variables_cut",
        "Command 61 answers 20 octets, three variables.",
        "CM-061",
        These(&[]),
        Act::Data { of: &[61], edit: |_, d| d.truncate(20) },
    ),
    fault(
        "channels_in_ampere",
        "Command 62 tells levels in ampere while it names milliampere.",
        "CM-062",
        These(&["UN-01", "CM-060"]),
        Act::Data { of: &[62], edit: |_, d| change_float(d, 2, |x| x / 1000.0) },
    ),
    fault(
        "channel_information_of_15",
        "Command 63 answers without the channel in front.",
        "CM-063",
        These(&["CM-015", "TB-10"]),
        Act::Data { of: &[63], edit: |_, d| drop(d.drain(..1)) },
    ),
    fault(
        "endpoints_swapped",
        "Command 70 answers the lower endpoint before the upper one.",
        "CM-070",
        These(&[]),
        Act::Data { of: &[70], edit: |_, d| swap(d, 2, 6, 4) },
    ),
    fault(
        "squawk_code_unknown_taken",
        "Command 72 answers success to codes that the table does not have.",
        "TB-16",
        These(&["CM-072"]),
        Act::Accepts { of: &[72], codes: &[2] },
    )
    .only(In::From6),
    fault(
        "found_though_not_armed",
        "It answers command 73 though nobody has armed it.",
        "CM-073",
        These(&["DV-07"]),
        Act::Request(|state, request, next| match request.command() {
            73 => crate::device::commands::carry_out(state, request.master(), request.now, 0, &[]),
            _ => next.run(state, request),
        }),
    )
    .only(In::R7),
    fault(
        "carried_codes_missing",
        "Command 78 answers the data of the commands that it carries without their response codes.",
        "CM-078",
        These(&["ST-03"]),
        Act::Data {
            of: &[78],
            edit: |_, d| {
                let (mut out, mut at) = (d[..d.len().min(2)].to_vec(), 2);
                while let Some(&[high, low, count]) =
                    d.get(at..at + 3).and_then(|h| <&[u8; 3]>::try_from(h).ok())
                {
                    let end = (at + 3 + usize::from(count)).min(d.len());
                    out.extend([high, low, count.saturating_sub(1)]);
                    out.extend(d[at + 3..end].iter().skip(1));
                    at = end;
                }
                *d = out;
            },
        },
    )
    .only(In::R7),
    fault(
        "carried_count_too_high",
        "Command 78 counts one command more than it answers.",
        "CM-078",
        These(&[]),
        Act::Data { of: &[78], edit: |_, d| change(d, 1, |n| n.wrapping_add(1)) },
    )
    .only(In::R7),
    fault(
        "simulation_not_begun",
        "Command 79 answers success and simulates nothing.",
        "CM-079",
        These(&["CM-009", "TB-15", "ST-06"]),
        Act::Undoes {
            of: &[79],
            undo: |state, was| {
                for (i, given) in was.simulated.iter().enumerate() {
                    state.simulate(state.now, i, *given);
                }
            },
        },
    )
    .only(In::From6),
    fault(
        "simulation_never_over",
        "Command 79 with code 0, normal, answers success and the simulation goes on.",
        "TB-15",
        These(&["CM-079", "CM-009", "ST-06"]),
        Act::Undoes {
            of: &[79],
            undo: |state, was| {
                for (i, given) in was.simulated.iter().enumerate() {
                    if given.is_some() && state.simulated[i].is_none() {
                        state.simulate(state.now, i, *given);
                    }
                }
            },
        },
    )
    .only(In::From6),
    fault(
        "simulation_untold",
        "Command 48 does not say that a device variable is simulated.",
        "ST-06",
        These(&["CM-048", "CM-079"]),
        Act::Data { of: &[48], edit: |_, d| change(d, 8, |o| o & !1) },
    )
    .only(In::From6),
    fault(
        "trim_points_cut",
        "Command 80 answers six octets, without the upper point.",
        "CM-080",
        These(&["CM-082"]),
        Act::Data { of: &[80], edit: |_, d| d.truncate(6) },
    )
    .only(In::From6),
    fault(
        "trim_limits_cut",
        "Command 81 answers 19 octets, without the least difference.",
        "CM-081",
        These(&["TB-23"]),
        Act::Data { of: &[81], edit: |_, d| d.truncate(19) },
    )
    .only(In::From6),
    fault(
        "clock_not_set",
        "Command 89 answers success and leaves the clock as it was.",
        "CM-089",
        These(&["CM-090", "TB-21"]),
        Act::Undoes { of: &[89], undo: |state, was| state.clock = was.clock },
    )
    .only(In::R7),
    fault(
        "clock_flags_missing",
        "Command 90 answers 14 octets, without the flags.",
        "CM-090",
        These(&["TB-20"]),
        Act::Data { of: &[90], edit: |_, d| d.truncate(14) },
    )
    .only(In::R7),
    fault(
        "request_counter_stands",
        "Command 95 counts no requests.",
        "CM-095",
        These(&["DV-26"]),
        Act::Data { of: &[95], edit: |_, d| (0..2).for_each(|at| change(d, at, |_| 0)) },
    )
    .only(In::From6),
    fault(
        "counters_reversed",
        "The counters of command 95 have their least significant octet first.",
        "TY-01",
        These(&["CM-095", "DV-26"]),
        Act::Data { of: &[95], edit: |_, d| [0, 2, 4].into_iter().for_each(|at| reverse(d, at, 2)) },
    )
    .only(In::From6),
    fault(
        "dynamic_variables_of_110_cut",
        "Command 110 answers 15 octets, three variables.",
        "CM-110",
        These(&[]),
        Act::Data { of: &[110], edit: |_, d| d.truncate(15) },
    ),
    fault(
        "self_test_with_data",
        "Command 41 answers an octet of data.",
        "CM-041",
        These(&[]),
        Act::Request(|state, request, next| {
            let (code, data) = next.run(state, request)?;
            Some((code, if request.command() == 41 && code == 0 { vec![0] } else { data }))
        }),
    ),
    fault(
        "current_not_fixed",
        "Command 40 answers success and the loop current goes on following.",
        "CM-040",
        These(&["ST-02", "CM-066", "CM-045", "CM-046", "TB-11"]),
        Act::Undoes { of: &[40, 66], undo: |state, was| state.kind = was.kind.clone() },
    )
    .of_a_transmitter(),
    fault(
        "unit_not_kept",
        "Commands 44 and 53 answer success and the unit stays.",
        "CM-044",
        These(&["CM-053", "CM-001", "CM-003", "CM-014", "CM-015"]),
        Act::Request(|state, request, next| {
            let was = state.clone();
            let told = next.run(state, request);
            if matches!(request.command(), 44 | 53) {
                for (i, &unit) in was.stored.units.iter().enumerate().take(state.quantities().len()) {
                    let _ = state.set_unit(request.now, i, unit);
                }
            }
            told
        }),
    ),
    fault(
        "lock_status_missing",
        "It has command 71 and answers 64 to command 76, so that nobody can read the lock.",
        "CM-076",
        These(&["DV-11", "TB-14", "CM-071"]),
        Act::Request(|state, request, next| match request.command() {
            76 => Some((64, Vec::new())),
            _ => next.run(state, request),
        }),
    )
    .only(In::From6),
    fault(
        "applied_process_in_multidrop",
        "Commands 36 and 37 answer success while the loop current is fixed by multidrop.",
        "CM-036",
        These(&["CM-037"]),
        Act::Code { of: &[36, 37], from: 11, to: 0 },
    ),
    fault(
        "eeprom_control_unknown_taken",
        "Command 39 answers success to codes that the table does not have.",
        "TB-19",
        These(&["CM-039"]),
        Act::Accepts { of: &[39], codes: &[2] },
    ),
    fault(
        "command_38_missing",
        "It answers 64 to command 38, which every device of its revision has.",
        "CM-038",
        These(&["DV-11", "ST-09"]),
        Act::Request(|state, request, next| match (request.command(), state.revision()) {
            (38, Revision::R7) => Some((64, Vec::new())),
            _ => next.run(state, request),
        }),
    )
    .only(In::R7),
    fault(
        "command_48_missing",
        "It answers 64 to command 48, which every device of its revision has.",
        "CM-048",
        These(&["DV-11", "ST-05", "ST-06", "ST-07", "TB-11", "TB-12"]),
        Act::Request(|state, request, next| match request.command() {
            48 => Some((64, Vec::new())),
            _ => next.run(state, request),
        }),
    )
    .only(In::R7),
];
