//! The second status octet, the configuration change counter, more status available.

use crate::device::faults::Consequences::These;
use crate::device::faults::tools::was_written;
use crate::device::faults::{Act, In, ProtocolFault, fault};

/// Bits of the second status octet [ST-02].
const MALFUNCTION: u8 = 0x80;
const CHANGED: u8 = 0x40;
const COLD_START: u8 = 0x20;
const MORE_STATUS: u8 = 0x10;
const FIXED: u8 = 0x08;
const SATURATED: u8 = 0x04;
const OTHER_OUT: u8 = 0x02;
const PRIMARY_OUT: u8 = 0x01;

/// What a wrong counter spoils.
const OF_COUNTER: &[&str] = &["DV-08", "CM-038", "CM-000"];

pub(super) static ROWS: &[ProtocolFault] = &[
    fault(
        "status_reversed",
        "The bits of its second status octet stand in reverse order.",
        "ST-02",
        These(&["ST-07", "ST-08", "ST-09", "CM-038", "CM-048", "DV-15", "CM-006", "CM-040", "DV-50"]),
        Act::Status(|_, _, octet| octet.reverse_bits()),
    ),
    fault(
        "status_always_zero",
        "Its second status octet is always 0.",
        "ST-02",
        These(&["ST-07", "ST-08", "ST-09", "CM-002", "CM-038", "CM-048", "DV-15", "CM-006", "CM-040", "DV-50"]),
        Act::Status(|_, _, _| 0),
    ),
    fault(
        "malfunction_always_told",
        "It always tells a device malfunction, of which command 48 knows nothing.",
        "ST-02",
        These(&["ST-06", "CM-048", "DV-50"]),
        Act::Status(|_, _, octet| octet | MALFUNCTION),
    ),
    fault(
        "malfunction_untold",
        "It does not set device malfunction, whatever is broken.",
        "ST-02",
        These(&["DV-50", "DV-04"]),
        Act::Status(|_, _, octet| octet & !MALFUNCTION),
    ),
    fault(
        "fixed_current_untold",
        "It does not say that its loop current is fixed.",
        "ST-02",
        These(&["DV-15", "CM-002", "CM-006", "CM-040", "TB-09", "TB-11"]),
        Act::Status(|_, _, octet| octet & !FIXED),
    ),
    fault(
        "fixed_current_always_told",
        "It always says that its loop current is fixed.",
        "ST-02",
        These(&["DV-15", "CM-006", "CM-040", "TB-09", "TB-11"]),
        Act::Status(|_, _, octet| octet | FIXED),
    ),
    fault(
        "saturated_current_untold",
        "It does not say that its loop current is saturated.",
        "ST-02",
        These(&["DV-01", "TB-11"]),
        Act::Status(|_, _, octet| octet & !SATURATED),
    ),
    fault(
        "out_of_limits_swapped",
        "It says that the primary variable is out of limits when another one is, and the other way round.",
        "ST-02",
        These(&["DV-01", "DV-23", "CM-079"]),
        Act::Status(|_, _, octet| {
            let other = if octet & PRIMARY_OUT != 0 { OTHER_OUT } else { 0 };
            let primary = if octet & OTHER_OUT != 0 { PRIMARY_OUT } else { 0 };
            octet & !(OTHER_OUT | PRIMARY_OUT) | other | primary
        }),
    ),
    fault(
        "cold_start_never_told",
        "It does not tell a cold start.",
        "ST-08",
        These(&["ST-02", "CM-042"]),
        Act::Status(|_, _, octet| octet & !COLD_START),
    ),
    fault(
        "cold_start_never_over",
        "It goes on telling a cold start to both masters.",
        "ST-08",
        These(&["ST-02", "CM-042"]),
        Act::Status(|_, _, octet| octet | COLD_START),
    ),
    fault(
        "cold_start_over_for_both",
        "The first answer to one master ends the cold start for the other one too.",
        "ST-08",
        These(&["ST-02", "CM-042", "LL-09"]),
        Act::GivenOut(|state, _| state.cold_start = [false; 2]),
    ),
    fault(
        "cold_start_not_after_reset",
        "It tells no cold start after command 42.",
        "ST-08",
        These(&["CM-042", "ST-02"]),
        Act::Started(|state| {
            if state.starts_again {
                state.cold_start = [false; 2];
            }
        }),
    ),
    fault(
        "more_status_never_told",
        "It does not set more status available.",
        "ST-07",
        These(&["ST-02", "CM-048"]),
        Act::Status(|_, _, octet| octet & !MORE_STATUS),
    ),
    fault(
        "more_status_always_told",
        "It always sets more status available.",
        "ST-07",
        These(&["ST-02", "CM-048"]),
        Act::Status(|_, _, octet| octet | MORE_STATUS),
    ),
    fault(
        "more_status_over_by_reading",
        "Command 48 without data takes more status available away.",
        "ST-07",
        These(&["CM-048"]),
        Act::Request(|state, request, next| {
            let told = next.run(state, request);
            if request.command() == 48 {
                state.more_status[request.master().index()] = false;
            }
            told
        }),
    )
    .only(In::R7),
    fault(
        "more_status_over_for_both",
        "A master that has seen the status takes more status available away from the other one too.",
        "ST-07",
        These(&["CM-048", "LL-09"]),
        Act::Request(|state, request, next| {
            let told = next.run(state, request);
            if request.command() == 48 && !state.more_status[request.master().index()] {
                state.more_status = [false; 2];
            }
            told
        }),
    )
    .only(In::R7),
    fault(
        "status_mismatch_untold",
        "Command 48 with other status octets than the present ones is answered 0 and not 14.",
        "ST-07",
        These(&["CM-048"]),
        Act::Code { of: &[48], from: 14, to: 0 },
    )
    .only(In::R7),
    fault(
        "status_mismatch_taken",
        "Command 48 with other status octets than the present ones takes more status available away.",
        "ST-07",
        These(&["CM-048"]),
        Act::Request(|state, request, next| {
            let told = next.run(state, request);
            if matches!(told, Some((14, _))) {
                state.more_status[request.master().index()] = false;
            }
            told
        }),
    )
    .only(In::R7),
    fault(
        "change_untold",
        "It does not set configuration changed.",
        "ST-09",
        These(&["ST-02", "CM-038"]),
        Act::Status(|_, _, octet| octet & !CHANGED),
    ),
    fault(
        "change_told_to_the_writer_alone",
        "A write sets configuration changed for the master that has written and not for the other one.",
        "ST-09",
        These(&["ST-02", "CM-038", "LL-09"]),
        Act::Request(|state, request, next| {
            let was = state.clone();
            let told = next.run(state, request);
            if was_written(state, &was) {
                let other = request.master().other().index();
                state.stored.configuration_changed[other] = was.stored.configuration_changed[other];
            }
            told
        }),
    ),
    fault(
        "change_told_to_the_other_alone",
        "A write sets configuration changed for the other master and not for the one that has written.",
        "ST-09",
        These(&["ST-02", "CM-038", "LL-09"]),
        Act::Request(|state, request, next| {
            let was = state.clone();
            let told = next.run(state, request);
            if was_written(state, &was) {
                let own = request.master().index();
                state.stored.configuration_changed[own] = was.stored.configuration_changed[own];
            }
            told
        }),
    ),
    fault(
        "change_reset_for_both",
        "Command 38 takes configuration changed away from both masters.",
        "ST-09",
        These(&["CM-038", "ST-02", "LL-09"]),
        Act::Request(|state, request, next| {
            let told = next.run(state, request);
            if request.command() == 38 && matches!(told, Some((0, _))) {
                state.stored.configuration_changed = [false; 2];
            }
            told
        }),
    ),
    fault(
        "change_reset_for_the_other",
        "Command 38 takes configuration changed away from the other master and not from the one that asks.",
        "ST-09",
        These(&["CM-038", "ST-02", "LL-09"]),
        Act::Request(|state, request, next| {
            let was = state.stored.configuration_changed;
            let told = next.run(state, request);
            if request.command() == 38 && matches!(told, Some((0, _))) {
                let own = request.master().index();
                state.stored.configuration_changed[own] = was[own];
                state.stored.configuration_changed[1 - own] = false;
            }
            told
        }),
    ),
    fault(
        "change_never_reset",
        "Command 38 answers success and leaves configuration changed set.",
        "CM-038",
        These(&["ST-09", "ST-02"]),
        Act::Undoes {
            of: &[38],
            undo: |state, was| state.stored.configuration_changed = was.stored.configuration_changed,
        },
    ),
    fault(
        "change_reset_by_reading",
        "Reading the identity takes configuration changed away.",
        "ST-09",
        These(&["ST-02", "CM-038"]),
        Act::Request(|state, request, next| {
            let told = next.run(state, request);
            if request.command() == 0 {
                state.stored.configuration_changed[request.master().index()] = false;
            }
            told
        }),
    ),
    fault(
        "counter_stands",
        "Its configuration change counter does not advance.",
        "ST-09",
        These(OF_COUNTER),
        Act::Undoes {
            of: &[],
            undo: |state, was| {
                state.stored.configuration_change_counter = was.stored.configuration_change_counter;
            },
        },
    )
    .only(In::From6),
    fault(
        "counter_advances_by_two",
        "Its configuration change counter advances by two with each write.",
        "ST-09",
        These(OF_COUNTER),
        Act::Undoes {
            of: &[],
            undo: |state, was| {
                if was_written(state, was) {
                    let counter = &mut state.stored.configuration_change_counter;
                    *counter = counter.wrapping_add(1);
                }
            },
        },
    )
    .only(In::From6),
    fault(
        "counter_advances_by_reading",
        "Its configuration change counter advances with each reading of the message.",
        "ST-09",
        These(OF_COUNTER),
        Act::Undoes {
            of: &[12],
            undo: |state, _| {
                let counter = &mut state.stored.configuration_change_counter;
                *counter = counter.wrapping_add(1);
            },
        },
    )
    .only(In::From6),
    fault(
        "counter_reset",
        "Command 38 sets the configuration change counter to 0.",
        "ST-09",
        These(OF_COUNTER),
        Act::Undoes { of: &[38], undo: |state, _| state.stored.configuration_change_counter = 0 },
    )
    .only(In::From6),
    fault(
        "counter_lost_at_start",
        "Its configuration change counter begins at 0 with every start.",
        "ST-09",
        These(&["DV-08", "CM-038", "CM-000", "CM-042"]),
        Act::Started(|state| state.stored.configuration_change_counter = 0),
    )
    .only(In::From6),
    fault(
        "counter_advances_by_refused_writes",
        "Its configuration change counter advances with a write that is refused.",
        "ST-09",
        These(&["DV-08", "CM-038", "CM-000", "DV-05", "DV-14"]),
        Act::Request(|state, request, next| {
            let told = next.run(state, request);
            if matches!(request.command(), 17..=19 | 22) && matches!(told, Some((1.., _))) {
                state.count_write();
            }
            told
        }),
    )
    .only(In::From6),
    fault(
        "counter_mismatch_taken",
        "Command 38 with another counter than the present one is answered success and resets configuration changed.",
        "CM-038",
        These(&["ST-09"]),
        Act::Request(|state, request, next| {
            let told = next.run(state, request)?;
            if request.command() == 38 && told.0 == 9 {
                let counter = state.stored.configuration_change_counter;
                return next.run_with(state, request, counter.to_be_bytes().to_vec());
            }
            Some(told)
        }),
    )
    .only(In::R7),
    fault(
        "counter_mismatch_untold",
        "Command 38 with another counter than the present one is answered success and does nothing.",
        "CM-038",
        These(&["ST-09"]),
        Act::Accepts { of: &[38], codes: &[9] },
    )
    .only(In::R7),
    fault(
        "counter_echo_missing",
        "Command 38 answers success without the counter.",
        "CM-038",
        These(&[]),
        Act::Data { of: &[38], edit: |_, d| d.clear() },
    )
    .only(In::R7),
    fault(
        "counter_wanted_too_early",
        "Command 38 without data is answered 5, as if this were revision 7.",
        "CM-038",
        These(&["DV-14", "ST-09"]),
        Act::Request(|state, request, next| match request.command() {
            38 if request.data().is_empty() => Some((5, Vec::new())),
            _ => next.run(state, request),
        }),
    )
    .only(In::UpTo6),
    fault(
        "status_bits_of_both_mixed",
        "Its second status octet for one master is that for the other one.",
        "LL-09",
        These(&["ST-07", "ST-08", "ST-09", "CM-038", "CM-048"]),
        Act::Status(|state, master, octet| {
            let other = master.other().index();
            let own = octet & !(CHANGED | COLD_START);
            let changed = if state.stored.configuration_changed[other] { CHANGED } else { 0 };
            own | changed | if state.cold_start[other] { COLD_START } else { 0 }
        }),
    ),
    fault(
        "memory_lost_by_reset",
        "Command 42 makes it forget message, descriptor and final assembly number.",
        "CM-042",
        These(&["DV-20", "ST-08"]),
        Act::GivenOut(|state, _| {
            if state.starts_again {
                state.stored.message.clear();
                state.stored.descriptor.clear();
                state.stored.final_assembly_number = 0;
            }
        }),
    ),
];
