//! Response codes, and what goes with them.

use crate::app::status::{CodeClass, meaning};
use crate::device::commands;
use crate::device::faults::Consequences::These;
use crate::device::faults::{Act, ProtocolFault, fault};

/// Data octets enough for any request.
const ENOUGH: usize = 40;

/// Commands whose writes are refused without reason.
const LABELS: &[u8] = &[17, 18, 19, 22];

fn is_error(command: u8, code: u8) -> bool {
    meaning(command.into(), code).0 == CodeClass::Error
}

pub(super) static ROWS: &[ProtocolFault] = &[
    fault(
        "unknown_command_succeeds",
        "It answers a command that it does not have with success and no data.",
        "DV-11",
        These(&["ST-03"]),
        Act::Code { of: &[], from: 64, to: 0 },
    ),
    fault(
        "unknown_command_selection",
        "It answers a command that it does not have with code 2, invalid selection.",
        "DV-11",
        These(&["ST-03"]),
        Act::Code { of: &[], from: 64, to: 2 },
    ),
    fault(
        "unknown_command_unanswered",
        "It is silent to a command that it does not have.",
        "DV-11",
        These(&["ST-03"]),
        Act::Request(|state, request, next| next.run(state, request).filter(|told| told.0 != 64)),
    ),
    fault(
        "unknown_command_with_data",
        "It answers a command that it does not have with code 64 and the data of the request.",
        "ST-03",
        These(&["DV-11"]),
        Act::Request(|state, request, next| {
            let (code, data) = next.run(state, request)?;
            Some((code, if code == 64 { [&[0], request.data()].concat() } else { data }))
        }),
    ),
    fault(
        "too_few_data_succeed",
        "It answers success without data where the request had too few data octets, and does nothing.",
        "DV-14",
        These(&["ST-03"]),
        Act::Code { of: &[], from: 5, to: 0 },
    ),
    fault(
        "too_few_data_filled",
        "It fills up a request that has too few data octets with zeros and carries it out.",
        "DV-14",
        These(&["CM-006", "CM-017", "CM-018", "CM-019", "CM-022", "CM-034", "CM-035", "ST-09"]),
        Act::Request(|state, request, next| {
            let told = next.run(state, request)?;
            if told.0 != 5 || matches!(request.command(), 38 | 48 | 78) {
                return Some(told);
            }
            let mut data = request.data().to_vec();
            data.resize(ENOUGH, 0);
            next.run_with(state, request, data)
        }),
    ),
    fault(
        "too_few_data_unanswered",
        "It is silent to a request that has too few data octets.",
        "DV-14",
        These(&["ST-03"]),
        Act::Request(|state, request, next| next.run(state, request).filter(|told| told.0 != 5)),
    ),
    fault(
        "surplus_data_refused",
        "It refuses a request that has more data octets than the command needs with code 5.",
        "DV-06",
        These(&["DV-14", "ST-03"]),
        Act::Request(|state, request, next| {
            match commands::has_surplus(state, request.command(), request.data()) {
                true => Some((5, Vec::new())),
                false => next.run(state, request),
            }
        }),
    ),
    fault(
        "refusals_with_data",
        "It adds the data of the request to every refusal.",
        "ST-03",
        These(&["DV-05", "DV-14", "DV-17", "DV-40", "DV-09"]),
        Act::Request(|state, request, next| {
            let (code, data) = next.run(state, request)?;
            let echo = is_error(request.command(), code) && data.is_empty();
            Some((code, if echo { request.data().to_vec() } else { data }))
        }),
    ),
    fault(
        "warnings_without_data",
        "Its answers with a warning have no data.",
        "ST-03",
        These(&[
            "CM-034", "CM-035", "CM-055", "CM-064", "CM-065", "CM-079", "CM-103", "CM-104", "CM-107",
            "CM-108",
        ]),
        Act::Request(|state, request, next| {
            let (code, data) = next.run(state, request)?;
            let is_warning = meaning(request.command().into(), code).0 == CodeClass::Warning;
            Some((code, if is_warning { Vec::new() } else { data }))
        }),
    ),
    fault(
        "refusals_undefined",
        "It refuses with code 1, which is undefined, whatever the reason.",
        "ST-03",
        // Whatever names the code of a refusal, or is skipped for one.
        These(&[
            "CM-018", "CM-034", "CM-035", "CM-036", "CM-037", "CM-038", "CM-040", "CM-045", "CM-051",
            "CM-053", "CM-059", "CM-065", "CM-066", "CM-071", "CM-079", "CM-082", "CM-103", "CM-104",
            "CM-107", "CM-108", "CM-109", "DV-05", "DV-11", "DV-14", "DV-17", "ST-02",
        ]),
        Act::Request(|state, request, next| {
            let (code, data) = next.run(state, request)?;
            Some((if is_error(request.command(), code) { 1 } else { code }, data))
        }),
    ),
    fault(
        "labels_always_busy",
        "It answers every write of tag, message, long tag and final assembly number with 32, busy, for ever.",
        "DV-09",
        These(&[
            "CM-017", "CM-018", "CM-019", "CM-022", "DV-05", "DV-14", "TB-13", "TY-05", "TY-06", "CM-071",
            "DV-17",
        ]),
        Act::Request(|state, request, next| match LABELS.contains(&request.command()) {
            true => Some((32, Vec::new())),
            false => next.run(state, request),
        }),
    ),
    fault(
        "labels_restricted",
        "It answers every write of tag, message, long tag and final assembly number with 16, though nobody has locked it.",
        "DV-17",
        These(&[
            "CM-017", "CM-018", "CM-019", "CM-022", "DV-05", "DV-14", "TB-13", "TY-05", "TY-06", "CM-071",
            "DV-09",
        ]),
        Act::Request(|state, request, next| match LABELS.contains(&request.command()) {
            true => Some((16, Vec::new())),
            false => next.run(state, request),
        }),
    ),
    fault(
        "busy_refuses_nothing",
        "It answers success without data where it is busy, and does nothing.",
        "DV-09",
        These(&["ST-03", "CM-022", "TY-05", "TB-13"]),
        Act::Code { of: &[], from: 32, to: 0 },
    ),
];
