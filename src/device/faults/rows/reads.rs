//! Answers of universal commands that read.

use crate::app::command::Revision;
use crate::device::faults::Consequences::These;
use crate::device::faults::tools::{change, change_float, reverse, swap};
use crate::device::faults::{Act, In, ProtocolFault, fault};

/// Octets of a slot of command 9: code, classification, unit, value, status.
pub(super) const SLOT: usize = 8;

pub(super) static ROWS: &[ProtocolFault] = &[
    fault(
        "floats_reversed",
        "The floats of commands 1, 2 and 3 have their least significant octet first.",
        "TY-02",
        These(&["CM-001", "CM-002", "CM-003", "DV-01"]),
        Act::Data {
            of: &[1, 2, 3],
            edit: |_, d| {
                let at: &[usize] = match d.len() {
                    5 => &[1],
                    8 => &[0, 4],
                    _ => &[0, 5, 10, 15, 20],
                };
                at.iter().for_each(|&at| reverse(d, at, 4));
            },
        },
    ),
    fault(
        "pv_without_unit",
        "Command 1 answers four octets, PV without its unit.",
        "CM-001",
        These(&[]),
        Act::Data { of: &[1], edit: |_, d| drop(d.drain(..1)) },
    ),
    fault(
        "pv_is_second",
        "Command 1 answers the secondary variable.",
        "CM-001",
        These(&["CM-003", "CM-009", "CM-050", "UN-01", "CM-037", "CM-044"]),
        Act::Request(|state, request, next| match request.command() {
            1 => {
                let (code, data) = next.run(state, request)?;
                let second =
                    crate::device::commands::carry_out(state, request.master(), request.now, 3, &[])?.1;
                Some((code, second.get(9..14).map_or(data, <[u8]>::to_vec)))
            }
            _ => next.run(state, request),
        }),
    ),
    fault(
        "pv_unit_unknown",
        "Command 1 answers unit 0, which is none.",
        "UN-01",
        These(&["CM-001", "CM-003", "CM-014", "CM-044"]),
        Act::Data { of: &[1], edit: |_, d| change(d, 0, |_| 0) },
    ),
    fault(
        "current_and_percent_swapped",
        "Command 2 answers the percent of range first and the loop current behind it.",
        "CM-002",
        These(&["CM-003", "DV-01"]),
        Act::Data { of: &[2], edit: |_, d| swap(d, 0, 4, 4) },
    ),
    fault(
        "percent_as_a_share",
        "Command 2 answers the percent of range as a share from 0 to 1.",
        "CM-002",
        These(&["CM-003", "DV-01"]),
        Act::Data { of: &[2], edit: |_, d| change_float(d, 4, |x| x / 100.0) },
    ),
    fault(
        "current_in_ampere",
        "Commands 2 and 3 answer the loop current in ampere.",
        "CM-002",
        These(&["CM-003", "DV-01"]),
        Act::Data { of: &[2, 3], edit: |_, d| change_float(d, 0, |x| x / 1000.0) },
    ),
    fault(
        "percent_cut",
        "Command 2 answers seven octets.",
        "CM-002",
        These(&["DV-01"]),
        Act::Data { of: &[2], edit: |_, d| d.truncate(7) },
    ),
    fault(
        "dynamic_variables_cut",
        "Command 3 ends one octet before the end of the last variable.",
        "CM-003",
        These(&[]),
        Act::Data { of: &[3], edit: |_, d| d.truncate(d.len() - 1) },
    ),
    fault(
        "dynamic_variables_swapped",
        "Command 3 has the secondary variable before the primary one.",
        "CM-003",
        These(&["CM-001", "CM-050", "CM-009"]),
        Act::Data { of: &[3], edit: |_, d| swap(d, 4, 9, 5) },
    ),
    fault(
        "dynamic_variables_without_current",
        "Command 3 begins with the primary variable and lacks the loop current.",
        "CM-003",
        These(&["CM-002", "DV-01"]),
        Act::Data { of: &[3], edit: |_, d| drop(d.drain(..d.len().min(4))) },
    ),
    fault(
        "loop_configuration_cut",
        "Command 7 answers the polling address alone.",
        "CM-007",
        These(&["TB-09"]),
        Act::Data { of: &[7], edit: |_, d| d.truncate(1) },
    )
    .only(In::From6),
    fault(
        "loop_current_mode_inverted",
        "Command 7 tells the loop current mode the wrong way round.",
        "TB-09",
        These(&["CM-007", "CM-006", "DV-15"]),
        Act::Data { of: &[7], edit: |_, d| change(d, 1, |m| m ^ 1) },
    )
    .only(In::From6),
    fault(
        "polling_address_told_wrong",
        "Command 7 tells the next polling address.",
        "CM-007",
        These(&["CM-006"]),
        Act::Data { of: &[7], edit: |_, d| change(d, 0, |a| a.wrapping_add(1)) },
    )
    .only(In::From6),
    fault(
        "classes_cut",
        "Command 8 answers three octets.",
        "CM-008",
        These(&["TB-08"]),
        Act::Data { of: &[8], edit: |_, d| d.truncate(3) },
    )
    .only(In::From6),
    fault(
        "class_differs",
        "Command 8 gives PV another classification than command 9 does.",
        "CM-008",
        These(&["CM-009", "TB-08", "CM-054"]),
        Act::Data { of: &[8], edit: |_, d| change(d, 0, |c| c ^ 1) },
    )
    .only(In::From6),
    fault(
        "always_four_slots",
        "Command 9 answers four slots, however many were asked for.",
        "CM-009",
        These(&["TY-07", "ST-03"]),
        Act::Data {
            of: &[9],
            edit: |state, d| {
                let tail = if state.revision() == Revision::R7 { 4 } else { 0 };
                let time = d.split_off(d.len().saturating_sub(tail));
                d.truncate(1 + 4 * SLOT);
                while d.len() < 1 + 4 * SLOT {
                    d.extend([250, 0, 250, 0x7F, 0xA0, 0, 0, 0x30]);
                }
                d.extend(time);
            },
        },
    )
    .only(In::From6),
    fault(
        "no_time_behind_slots",
        "Command 9 lacks the four octets of time.",
        "CM-009",
        These(&["TY-07"]),
        Act::Data { of: &[9], edit: |_, d| d.truncate(d.len().saturating_sub(4)) },
    )
    .only(In::R7),
    fault(
        "time_runs_in_ms",
        "The time in command 9 counts whole milliseconds and not 1/32 of them.",
        "TY-07",
        These(&["CM-009"]),
        Act::Data {
            of: &[9],
            edit: |_, d| {
                let at = d.len().saturating_sub(4);
                if let Ok(octets) = <[u8; 4]>::try_from(&d[at..]) {
                    d[at..].copy_from_slice(&(u32::from_be_bytes(octets) / 32).to_be_bytes());
                }
            },
        },
    )
    .only(In::R7),
    fault(
        "missing_variable_looks_good",
        "Command 9 answers a variable that the device does not have with 0 and the status good.",
        "TY-08",
        These(&["CM-009", "TY-03"]),
        Act::Data {
            of: &[9],
            edit: |_, d| {
                for at in (1..d.len()).step_by(SLOT) {
                    if d.get(at + 7) == Some(&0x30) {
                        d[at + 3..at + 7].fill(0);
                        d[at + 7] = 0xC0;
                    }
                }
            },
        },
    )
    .only(In::From6),
    fault(
        "missing_variable_is_zero",
        "Command 9 answers a variable that the device does not have with 0 in the place of not-a-number.",
        "TY-03",
        These(&["CM-009", "TY-08"]),
        Act::Data {
            of: &[9],
            edit: |_, d| {
                for at in (1..d.len()).step_by(SLOT) {
                    if d.get(at + 7) == Some(&0x30) {
                        d[at + 3..at + 7].fill(0);
                    }
                }
            },
        },
    )
    .only(In::From6),
    fault(
        "slots_sorted",
        "Command 9 answers the slots in the order of their codes and not as they were asked for.",
        "CM-009",
        These(&[]),
        Act::Data {
            of: &[9],
            edit: |state, d| {
                let tail = if state.revision() == Revision::R7 { 4 } else { 0 };
                let end = d.len().saturating_sub(tail).max(1);
                let mut slots: Vec<Vec<u8>> = d[1..end].chunks(SLOT).map(<[u8]>::to_vec).collect();
                slots.sort_by_key(|slot| slot[0]);
                d[1..end].copy_from_slice(&slots.concat());
            },
        },
    )
    .only(In::From6),
    fault(
        "fifth_slot_dropped",
        "Command 9 answers the first four slots of more with code 0 and says nothing of the others.",
        "CM-009",
        These(&["ST-03"]),
        Act::Data {
            of: &[9],
            edit: |_, d| {
                if d.len() > 1 + 4 * SLOT + 4 {
                    let end = d.len() - 4;
                    d.drain(1 + 4 * SLOT..end);
                }
            },
        },
    )
    .only(In::R7),
    fault(
        "message_cut",
        "Command 12 answers 23 octets.",
        "CM-012",
        These(&["CM-017", "TY-04"]),
        Act::Data { of: &[12], edit: |_, d| d.truncate(23) },
    ),
    fault(
        "message_not_packed",
        "Command 12 answers the first 24 characters of the message in octets and not packed.",
        "TY-04",
        These(&["CM-012", "CM-017"]),
        Act::Data {
            of: &[12],
            edit: |state, d| {
                let mut text: Vec<u8> = state.stored.message.bytes().take(24).collect();
                text.resize(24, b' ');
                *d = text;
            },
        },
    ),
    fault(
        "descriptor_before_tag",
        "Command 13 answers the descriptor first and the tag behind it.",
        "CM-013",
        These(&["CM-018", "TY-04", "CM-011", "DV-07"]),
        Act::Data {
            of: &[13],
            edit: |_, d| {
                if let Some(both) = d.get_mut(..18) {
                    both.rotate_left(6);
                }
            },
        },
    ),
    fault(
        "date_year_first",
        "Command 13 answers the date as year, month, day.",
        "TY-06",
        These(&["CM-013", "CM-018"]),
        Act::Data { of: &[13], edit: |_, d| reverse(d, 18, 3) },
    ),
    fault(
        "date_missing",
        "Command 13 answers 18 octets, without the date.",
        "CM-013",
        These(&["TY-06", "CM-018"]),
        Act::Data { of: &[13], edit: |_, d| d.truncate(18) },
    ),
    fault(
        "limits_swapped",
        "Command 14 answers the lower limit before the upper one.",
        "CM-014",
        These(&["CM-054"]),
        Act::Data { of: &[14], edit: |_, d| swap(d, 4, 8, 4) },
    ),
    fault(
        "minimum_span_missing",
        "Command 14 answers 12 octets, without the minimum span.",
        "CM-014",
        These(&[]),
        Act::Data { of: &[14], edit: |_, d| d.truncate(12) },
    ),
    fault(
        "range_values_swapped",
        "Command 15 answers the lower range value before the upper one.",
        "CM-015",
        These(&["CM-035", "CM-063", "CM-036", "CM-037"]),
        Act::Data { of: &[15], edit: |_, d| swap(d, 3, 7, 4) },
    ),
    fault(
        "damping_in_ms",
        "Command 15 answers the damping in milliseconds.",
        "CM-015",
        These(&["CM-034", "CM-055", "CM-063", "CM-064"]),
        Act::Data { of: &[15], edit: |_, d| change_float(d, 11, |s| s * 1000.0) },
    ),
    fault(
        "channel_flags_missing",
        "Command 15 answers 17 octets, without the analog channel flags.",
        "CM-015",
        These(&["TB-10", "DV-01"]),
        Act::Data { of: &[15], edit: |_, d| d.truncate(17) },
    )
    .only(In::From6),
    fault(
        "channel_flags_too_early",
        "Command 15 answers 18 octets, with analog channel flags that came with revision 6.",
        "CM-015",
        These(&["TB-10"]),
        Act::Data { of: &[15], edit: |_, d| d.push(0) },
    )
    .only(In::R5),
    fault(
        "channel_flags_inverted",
        "Command 15 calls an input channel an output, or the other way round.",
        "TB-10",
        These(&["CM-015", "DV-01", "CM-063"]),
        Act::Data { of: &[15], edit: |_, d| change(d, 17, |f| f ^ 1) },
    )
    .only(In::From6),
    fault(
        "write_protect_not_told",
        "Command 15 says that there is no write protect while there is.",
        "TB-03",
        These(&["CM-015", "DV-05"]),
        Act::Data { of: &[15], edit: |_, d| change(d, 15, |_| 0) },
    ),
    fault(
        "alarm_selection_unknown",
        "Command 15 answers an alarm selection that the table does not have.",
        "TB-01",
        These(&["CM-015", "CM-063"]),
        Act::Data { of: &[15], edit: |_, d| change(d, 0, |_| 77) },
    ),
    fault(
        "assembly_number_too_long",
        "Command 16 answers four octets.",
        "CM-016",
        These(&["CM-019", "DV-06"]),
        Act::Data { of: &[16], edit: |_, d| d.insert(0, 0) },
    ),
    fault(
        "assembly_number_reversed",
        "Command 16 answers the final assembly number with its least significant octet first.",
        "TY-01",
        These(&["CM-016", "CM-019", "DV-06"]),
        Act::Data { of: &[16], edit: |_, d| reverse(d, 0, 3) },
    ),
    fault(
        "long_tag_trimmed",
        "Command 20 answers the long tag without what fills it up to 32 octets.",
        "CM-020",
        These(&["TY-05", "CM-022", "DV-07", "DV-12"]),
        Act::Data {
            of: &[20],
            edit: |_, d| d.truncate(d.iter().rposition(|&o| o != 0).map_or(1, |i| i + 1)),
        },
    )
    .only(In::From6),
    fault(
        "long_tag_in_capitals",
        "Command 20 answers the long tag in capital letters.",
        "TY-05",
        These(&["CM-020", "CM-022"]),
        Act::Data { of: &[20], edit: |_, d| d.make_ascii_uppercase() },
    )
    .only(In::From6),
    fault(
        "status_cut",
        "Command 48 answers five octets.",
        "CM-048",
        These(&["ST-05", "ST-06", "ST-07", "TB-12", "TB-11"]),
        Act::Data { of: &[48], edit: |_, d| d.truncate(5) },
    )
    .only(In::From6),
    fault(
        "status_too_long",
        "Command 48 answers 30 octets.",
        "CM-048",
        These(&["ST-07"]),
        Act::Data { of: &[48], edit: |_, d| d.resize(30, 0) },
    )
    .only(In::From6),
    fault(
        "operating_mode_set",
        "Octet 7 of command 48 is 1.",
        "TB-12",
        These(&["CM-048", "ST-07"]),
        Act::Data { of: &[48], edit: |_, d| change(d, 7, |_| 1) },
    )
    .only(In::From6),
];
