//! Universal commands that write.

use crate::device::faults::Consequences::These;
use crate::device::faults::{Act, In, ProtocolFault, fault};

pub(super) static ROWS: &[ProtocolFault] = &[
    fault(
        "message_not_kept",
        "Command 17 answers success and keeps the old message.",
        "CM-017",
        These(&["CM-012"]),
        Act::Undoes { of: &[17], undo: |state, was| state.stored.message.clone_from(&was.stored.message) },
    ),
    fault(
        "date_not_kept",
        "Command 18 keeps tag and descriptor and forgets the date.",
        "CM-018",
        These(&["CM-013", "TY-06"]),
        Act::Undoes { of: &[18], undo: |state, was| state.stored.date = was.stored.date },
    ),
    fault(
        "descriptor_not_kept",
        "Command 18 keeps tag and date and forgets the descriptor.",
        "CM-018",
        These(&["CM-013"]),
        Act::Undoes {
            of: &[18],
            undo: |state, was| state.stored.descriptor.clone_from(&was.stored.descriptor),
        },
    ),
    fault(
        "assembly_number_cut",
        "Command 19 keeps the lower 16 bits of the final assembly number.",
        "CM-019",
        These(&["CM-016", "TY-01", "DV-06"]),
        Act::Undoes { of: &[19], undo: |state, _| state.stored.final_assembly_number &= 0xFFFF },
    ),
    fault(
        "long_tag_cut",
        "Command 22 keeps the first 16 characters of the long tag.",
        "CM-022",
        These(&["CM-020", "CM-021", "TY-05"]),
        Act::Undoes {
            of: &[22],
            undo: |state, _| state.stored.long_tag = state.stored.long_tag.chars().take(16).collect(),
        },
    )
    .only(In::From6),
    fault(
        "message_echo_missing",
        "Command 17 answers success without data.",
        "CM-017",
        These(&["ST-03"]),
        Act::Data { of: &[17], edit: |_, d| d.clear() },
    ),
    fault(
        "tag_echo_cut",
        "Command 18 echoes the tag alone.",
        "CM-018",
        These(&[]),
        Act::Data { of: &[18], edit: |_, d| d.truncate(6) },
    ),
    fault(
        "assembly_number_echo_missing",
        "Command 19 answers success without data.",
        "CM-019",
        These(&["ST-03"]),
        Act::Data { of: &[19], edit: |_, d| d.clear() },
    ),
    fault(
        "long_tag_echo_old",
        "Command 22 answers the long tag as it was before.",
        "CM-022",
        These(&[]),
        Act::Request(|state, request, next| {
            let was = crate::app::types::latin1::encode(&state.stored.long_tag, 32).unwrap_or_default();
            let (code, data) = next.run(state, request)?;
            Some((code, if request.command() == 22 && !data.is_empty() { was } else { data }))
        }),
    )
    .only(In::From6),
    fault(
        "polling_address_not_taken",
        "Command 6 answers success and keeps the old polling address.",
        "CM-006",
        These(&["CM-007", "DV-15", "FR-05"]),
        Act::Undoes {
            of: &[6],
            undo: |state, was| {
                let (address, mode) = (was.stored.polling_address, state.stored.loop_current_mode_enabled);
                state.set_loop_configuration(state.now, address, mode);
            },
        },
    ),
    fault(
        "loop_current_mode_not_taken",
        "Command 6 answers success and leaves the loop current mode as it was.",
        "DV-15",
        These(&["CM-006", "CM-007", "TB-09", "ST-02"]),
        Act::Undoes {
            of: &[6],
            undo: |state, was| {
                let (address, mode) = (state.stored.polling_address, was.stored.loop_current_mode_enabled);
                state.set_loop_configuration(state.now, address, mode);
            },
        },
    )
    .only(In::From6),
    fault(
        "loop_current_mode_echo_missing",
        "Command 6 echoes the polling address alone.",
        "CM-006",
        These(&["DV-15"]),
        Act::Data { of: &[6], edit: |_, d| d.truncate(1) },
    )
    .only(In::From6),
    fault(
        "invalid_mode_takes_address",
        "Command 6 refuses an invalid loop current mode and takes the polling address all the same.",
        "CM-006",
        These(&["DV-15", "CM-007"]),
        Act::Request(|state, request, next| {
            let told = next.run(state, request)?;
            if let (6, 12, Some(&address)) = (request.command(), told.0, request.data().first()) {
                let mode = state.stored.loop_current_mode_enabled;
                state.set_loop_configuration(request.now, address, mode);
            }
            Some(told)
        }),
    )
    .only(In::From6),
];
