//! Burst mode and the commands that set it.

use crate::device::faults::Consequences::These;
use crate::device::faults::tools::change;
use crate::device::faults::{Act, In, ProtocolFault, fault};
use crate::frame::Master;
use core::time::Duration;

/// What a burst that is no burst spoils.
const OF_BURSTS: &[&str] = &["CM-103", "CM-104", "CM-107", "CM-108", "CM-109", "TB-17", "TB-18", "LL-12"];

pub(super) static ROWS: &[ProtocolFault] = &[
    fault(
        "burst_as_answer",
        "Its bursts have the delimiter of an answer, 86.",
        "FR-03",
        These(&[
            "LL-10", "CM-103", "CM-104", "CM-107", "CM-108", "CM-109", "TB-17", "LL-12", "FR-01", "FR-02",
            "FR-06", "FR-09", "FR-10", "FR-11", "FR-12", "FR-13", "FR-16", "LL-03", "LL-04", "LL-07",
            "DV-12", "ST-03",
        ]),
        Act::Octets(|o| {
            if o.is_burst {
                o.set(0, |d| d & 0xF8 | 6);
            }
        }),
    ),
    fault(
        "burst_bit_clear_in_bursts",
        "The burst bit is clear in its bursts.",
        "FR-16",
        These(&["LL-10"]),
        Act::Reply(|_, reply| reply.address.burst &= !reply.is_burst),
    ),
    fault(
        "burst_bit_clear_in_answers",
        "The burst bit is clear in its answers while it is in burst mode.",
        "FR-16",
        These(&["LL-10"]),
        Act::Reply(|_, reply| reply.address.burst &= reply.is_burst),
    ),
    fault(
        "burst_address_cleared",
        "The low six bits of the first address octet are zero in its bursts.",
        "FR-06",
        These(&["LL-10", "FR-16", "CM-103", "CM-108", "CM-109"]),
        Act::Octets(|o| {
            if o.is_burst {
                o.set(1, |a| a & 0xC0);
            }
        }),
    ),
    fault(
        "burst_names_the_primary",
        "All its bursts name the primary master.",
        "LL-10",
        These(&["FR-16", "LL-09"]),
        Act::Reply(|_, reply| {
            if reply.is_burst {
                reply.address.master = Master::Primary;
            }
        }),
    ),
    fault(
        "burst_without_status",
        "Its bursts have data and no status octets.",
        "FR-12",
        These(&["LL-10", "CM-107", "CM-108", "CM-109", "FR-08"]),
        Act::Octets(|o| {
            if o.is_burst {
                o.drop_status();
            }
        }),
    ),
    fault(
        "burst_check_byte_wrong",
        "The check byte of its bursts is wrong.",
        "FR-09",
        // They are not heard as bursts: so they break silences, a turn between them is not found, and it looks like a device
        // that is not in burst mode.
        These(&[
            "LL-10", "CM-103", "CM-104", "CM-107", "CM-108", "CM-109", "TB-17", "TB-18", "DV-12", "FR-01",
            "FR-10", "FR-11", "LL-07", "LL-04", "LL-03", "FR-16",
        ]),
        Act::Octets(|o| {
            if let Some(last) = o.octets.last_mut().filter(|_| o.is_burst) {
                last.value ^= 0x10;
            }
        }),
    ),
    fault(
        "burst_with_two_preambles",
        "It sends two preambles before a burst.",
        "FR-02",
        These(&["LL-11", "LL-10"]),
        Act::Reply(|_, reply| {
            if reply.is_burst {
                reply.preambles = 2;
            }
        }),
    ),
    fault(
        "burst_does_not_follow_answers",
        "It sends no burst behind its answers.",
        "LL-10",
        These(&["CM-109", "CM-103"]),
        Act::Turns(|turns| turns.forgo()),
    ),
    fault(
        "burst_leaves_no_turn",
        "It leaves no silence behind its answers and bursts before the next burst that is due.",
        "LL-04",
        These(&["LL-10", "LL-09", "LL-03", "CM-103"]),
        Act::Turns(|turns| turns.rush()),
    ),
    fault(
        "burst_every_250_ms",
        "It sends each burst message every 250 ms, whatever period is written.",
        "CM-103",
        These(&["LL-10", "TB-18", "CM-104"]),
        Act::Timing(|(_, longest, trigger)| (Duration::from_millis(250), longest, trigger)),
    )
    .only(In::R7),
    fault(
        "burst_four_times_too_slow",
        "It sends each burst message four times less often than its period says.",
        "CM-103",
        These(&["LL-10", "TB-18", "CM-104", "CM-109"]),
        Act::Timing(|(update, longest, trigger)| (update * 4, longest * 4, trigger)),
    )
    .only(In::R7),
    fault(
        "burst_trigger_ignored",
        "It sends burst messages at their update period, whatever their trigger says.",
        "TB-18",
        These(&["CM-104"]),
        Act::Timing(|(update, longest, _)| (update, longest, crate::device::BurstTrigger::CONTINUOUS)),
    )
    .only(In::R7),
    fault(
        "burst_command_one",
        "Its bursts bear command 1, whatever command is written.",
        "CM-108",
        These(&["LL-10", "CM-107", "CM-001"]),
        Act::Undoes {
            of: &[108],
            undo: |state, _| state.stored.burst.iter_mut().for_each(|m| m.command = 1),
        },
    ),
    fault(
        "burst_variables_not_taken",
        "Command 107 answers success and leaves the device variables as they were.",
        "CM-107",
        These(&["CM-105", "LL-10"]),
        Act::Undoes {
            of: &[107],
            undo: |state, was| {
                let kept = was.stored.burst.iter().map(|m| m.variables);
                state.stored.burst.iter_mut().zip(kept).for_each(|(m, v)| m.variables = v);
            },
        },
    ),
    fault(
        "burst_never_on",
        "Command 109 answers success and turns no burst message on.",
        "CM-109",
        These(&["LL-10", "TB-17", "CM-103", "CM-104", "CM-105", "CM-107", "CM-108", "FR-16", "ST-09"]),
        Act::Undoes {
            of: &[109],
            undo: |state, was| {
                let kept = was.stored.burst.iter().map(|m| m.on);
                state.stored.burst.iter_mut().zip(kept).for_each(|(m, was_on)| m.on &= was_on);
            },
        },
    ),
    fault(
        "burst_never_off",
        "Command 109 answers success and turns no burst message off.",
        "CM-109",
        These(&["LL-10"]),
        Act::Undoes {
            of: &[109],
            undo: |state, was| {
                let kept = was.stored.burst.iter().map(|m| m.on);
                state.stored.burst.iter_mut().zip(kept).for_each(|(m, was_on)| m.on |= was_on);
            },
        },
    ),
    fault(
        "burst_control_unknown_taken",
        "Command 109 answers success to codes that the table does not have.",
        "TB-17",
        These(&["CM-109"]),
        Act::Accepts { of: &[109], codes: &[2] },
    ),
    fault(
        "burst_command_unknown_taken",
        "Command 108 answers success to a command that it never sends in bursts.",
        "CM-108",
        These(&["LL-10"]),
        Act::Accepts { of: &[108], codes: &[2] },
    ),
    fault(
        "burst_variable_unknown_taken",
        "Command 107 answers success to device variables that it does not have.",
        "CM-107",
        These(&["CM-105"]),
        Act::Accepts { of: &[107], codes: &[2] },
    ),
    fault(
        "burst_message_unknown_taken",
        "Commands 103, 104, 107 and 108 answer success for a burst message that it does not have.",
        "CM-103",
        These(&["CM-104", "CM-107", "CM-108", "CM-105"]),
        Act::Accepts { of: &[103, 104, 107, 108], codes: &[9] },
    )
    .only(In::R7),
    fault(
        "burst_trigger_unknown_taken",
        "Command 104 answers success to trigger modes that the table does not have.",
        "TB-18",
        These(&["CM-104"]),
        Act::Accepts { of: &[104], codes: &[13] },
    )
    .only(In::R7),
    fault(
        "burst_period_echo_as_asked",
        "Command 103 echoes the periods that were asked for and not those that are used.",
        "CM-103",
        These(&["ST-03", "CM-105"]),
        Act::Request(|state, request, next| {
            let (code, data) = next.run(state, request)?;
            let adjusted = request.command() == 103 && code == 8;
            Some(match request.data().get(..9) {
                Some(asked) if adjusted => (0, asked.to_vec()),
                _ => (code, data),
            })
        }),
    )
    .only(In::R7),
    fault(
        "burst_configuration_cut",
        "Command 105 answers 28 octets.",
        "CM-105",
        These(&["CM-103", "CM-104", "CM-107", "CM-108", "CM-109"]),
        Act::Data { of: &[105], edit: |_, d| d.truncate(28) },
    )
    .only(In::R7),
    fault(
        "burst_told_off",
        "Command 105 says that a burst message is off while it is sent.",
        "CM-105",
        These(&["TB-17", "CM-109"]),
        Act::Data { of: &[105], edit: |_, d| change(d, 0, |_| 0) },
    )
    .only(In::R7),
    fault(
        "burst_status_of_an_answer",
        "Its bursts bear response code 8, update failure, though nothing has failed.",
        "ST-03",
        These(OF_BURSTS),
        Act::Reply(|_, reply| {
            if reply.is_burst {
                reply.status[0] = 8;
            }
        }),
    ),
];
