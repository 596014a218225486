//! Command 0 and what answers like it.

use crate::app::command::Revision;
use crate::device::faults::Consequences::{NoAnswer, These};
use crate::device::faults::tools::{IDENTITY, change, swap};
use crate::device::faults::{Act, In, ProtocolFault, fault};

/// In the identity.
const DEVICE_ID_LAST: usize = 11;
const COUNTER: usize = 14;
const EXTENDED_STATUS: usize = 16;

pub(super) static ROWS: &[ProtocolFault] = &[
    fault(
        "identity_not_254",
        "The first octet of its identity is 0 and not 254.",
        "CM-000",
        These(&["CM-011", "CM-021", "CM-073"]),
        Act::Data { of: IDENTITY, edit: |_, d| change(d, 0, |_| 0) },
    ),
    fault(
        "identity_of_an_older_revision",
        "Its identity ends where that of the revision before ends: 12 octets in revision 6, 17 in revision 7.",
        "CM-000",
        These(&["CM-011", "CM-021", "CM-073", "LL-11", "ST-05", "ST-09", "TB-06", "DV-08", "CM-038"]),
        Act::Data {
            of: IDENTITY,
            edit: |state, d| d.truncate(if state.revision() == Revision::R7 { 17 } else { 12 }),
        },
    )
    .only(In::From6),
    fault(
        "identity_too_long",
        "Its identity has 17 octets, as from revision 6 on.",
        "CM-000",
        These(&["CM-011"]),
        Act::Data { of: IDENTITY, edit: |_, d| d.resize(17, 0) },
    )
    .only(In::R5),
    fault(
        "identity_cut",
        "The last octet of its identity is missing.",
        "CM-000",
        These(&["CM-011", "CM-021", "CM-073", "TB-06", "FR-06", "ST-05"]),
        Act::Data { of: &[0], edit: |_, d| d.truncate(d.len() - 1) },
    ),
    fault(
        "revision_claimed_too_high",
        "Octet 4 of its identity claims the revision after its own.",
        "CM-000",
        // Commands, forms and codes that a revision brings in, and what is asked by them.
        These(&["CM-001", "CM-006", "CM-007", "CM-008", "CM-009", "CM-015", "CM-020", "CM-021", "CM-022", "CM-035", "CM-036", "CM-038", "CM-063", "DV-05", "DV-07", "DV-12", "DV-14", "DV-15", "DV-17", "FR-05", "ST-04", "ST-07", "TB-09", "TY-05", "TY-07", "TY-09"]),
        Act::Data { of: IDENTITY, edit: |_, d| change(d, 4, |r| r.wrapping_add(1)) },
    ),
    fault(
        "revision_claimed_too_low",
        "Octet 4 of its identity claims the revision before its own.",
        "CM-000",
        // Forms and codes that its own revision has changed.
        These(&["CM-006", "CM-009", "CM-015", "CM-035", "CM-038", "CM-054"]),
        Act::Data { of: IDENTITY, edit: |_, d| change(d, 4, |r| r.wrapping_sub(1)) },
    ),
    fault(
        "device_id_not_its_own",
        "The device id in its identity is not the one in its unique address.",
        "FR-06",
        NoAnswer(&["DV-12", "LL-08"]),
        Act::Data { of: IDENTITY, edit: |_, d| change(d, DEVICE_ID_LAST, |o| o ^ 1) },
    ),
    fault(
        "device_type_not_its_own",
        "The device type in its identity is not the one in its unique address.",
        "FR-06",
        NoAnswer(&["LL-08"]),
        Act::Data { of: IDENTITY, edit: |_, d| change(d, 2, |o| o ^ 0x80) },
    ),
    fault(
        "wants_no_preambles",
        "Octet 3 of its identity says that it wants no preambles at all.",
        "LL-11",
        These(&["FR-02", "CM-000", "CM-011", "CM-021", "CM-073"]),
        Act::Data { of: IDENTITY, edit: |_, d| change(d, 3, |_| 0) },
    ),
    fault(
        "wants_too_many_preambles",
        "Octet 3 of its identity says that it wants 40 preambles.",
        "FR-02",
        These(&["LL-11", "CM-000", "CM-011", "CM-021", "CM-073"]),
        Act::Data { of: IDENTITY, edit: |_, d| change(d, 3, |_| 40) },
    ),
    fault(
        "signalling_other",
        "Octet 7 of its identity names another physical signalling than the line has.",
        "TB-04",
        These(&["CM-000", "CM-011", "CM-021", "CM-073"]),
        Act::Data { of: IDENTITY, edit: |_, d| change(d, 7, |o| o & 0xF8 | 7) },
    ),
    fault(
        "last_variable_too_high",
        "Octet 13 of its identity names a device variable that command 9 does not have.",
        "CM-000",
        These(&["CM-009", "CM-054", "CM-011", "CM-021", "CM-073"]),
        Act::Data { of: IDENTITY, edit: |_, d| change(d, 13, |n| n.wrapping_add(8)) },
    )
    .only(In::From6),
    fault(
        "counter_in_identity_stands",
        "The configuration change counter in its identity is always 0.",
        "ST-09",
        These(&["CM-000", "CM-038", "DV-08", "CM-011", "CM-021", "CM-073"]),
        Act::Data {
            of: IDENTITY,
            edit: |_, d| {
                change(d, COUNTER, |_| 0);
                change(d, COUNTER + 1, |_| 0);
            },
        },
    )
    .only(In::From6),
    fault(
        "counter_in_identity_reversed",
        "The configuration change counter in its identity has its least significant octet first.",
        "TY-01",
        These(&["CM-000", "ST-09", "CM-038", "DV-08", "CM-011", "CM-021", "CM-073"]),
        Act::Data { of: IDENTITY, edit: |_, d| swap(d, COUNTER, COUNTER + 1, 1) },
    )
    .only(In::From6),
    fault(
        "extended_status_differs",
        "The extended status in its identity says that maintenance is required, which commands 9 and 48 do not.",
        "ST-05",
        These(&["CM-000", "CM-048", "CM-009", "CM-011", "CM-021", "CM-073"]),
        Act::Data { of: IDENTITY, edit: |_, d| change(d, EXTENDED_STATUS, |o| o ^ 0x01) },
    )
    .only(In::From6),
    fault(
        "manufacturer_reversed",
        "The manufacturer code in octets 17 and 18 of its identity has its least significant octet first.",
        "TY-01",
        These(&["CM-000", "CM-011", "CM-021", "CM-073"]),
        Act::Data { of: IDENTITY, edit: |_, d| swap(d, 17, 18, 1) },
    )
    .only(In::R7),
    fault(
        "no_device_profile",
        "The device profile in its identity is 0, which is none.",
        "TB-06",
        These(&["CM-000", "CM-011", "CM-021", "CM-073"]),
        Act::Data { of: IDENTITY, edit: |_, d| change(d, 21, |_| 0) },
    )
    .only(In::R7),
    fault(
        "any_tag_answered",
        "It answers command 11 whatever tag it names.",
        "CM-011",
        These(&["DV-07", "DV-12", "DV-14", "FR-07"]),
        Act::Request(|state, request, next| match request.command() {
            11 => crate::device::commands::carry_out(state, request.master(), request.now, 0, &[]),
            _ => next.run(state, request),
        }),
    ),
    fault(
        "own_tag_unanswered",
        "It does not answer command 11 with its own tag.",
        "CM-011",
        These(&["DV-07", "FR-07"]),
        Act::Request(|state, request, next| match request.command() {
            11 => None,
            _ => next.run(state, request),
        }),
    ),
    fault(
        "any_long_tag_answered",
        "It answers command 21 whatever long tag it names.",
        "CM-021",
        These(&["DV-07", "DV-12", "DV-14", "FR-07"]),
        Act::Request(|state, request, next| match request.command() {
            21 => crate::device::commands::carry_out(state, request.master(), request.now, 0, &[]),
            _ => next.run(state, request),
        }),
    )
    .only(In::From6),
    fault(
        "long_tag_half_compared",
        "It answers command 21 when the first eight characters of the long tag are its own.",
        "CM-021",
        These(&["DV-07", "DV-12", "FR-07"]),
        Act::Request(|state, request, next| {
            let own = crate::app::types::latin1::encode(&state.stored.long_tag, 32).unwrap_or_default();
            match request.data().get(..8) {
                Some(asked) if request.command() == 21 && own.get(..8) == Some(asked) => {
                    crate::device::commands::carry_out(state, request.master(), request.now, 0, &[])
                }
                _ => next.run(state, request),
            }
        }),
    )
    .only(In::From6),
    fault(
        "identity_by_tag_differs",
        "Command 11 tells another device revision than command 0.",
        "CM-011",
        These(&["CM-000"]),
        Act::Data { of: &[11], edit: |_, d| change(d, 5, |r| r ^ 1) },
    ),
];
