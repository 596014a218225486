//! Delayed responses of revision 7, and older devices that are busy. A bench file says which commands take their time.

use crate::device::faults::Consequences::These;
use crate::device::faults::{Act, In, ProtocolFault, fault};

pub(super) static ROWS: &[ProtocolFault] = &[
    fault(
        "delayed_never_ready",
        "It answers 34, running, to every repeat of a request that it has put off, also when it is done.",
        "DV-40",
        These(&["ST-03"]),
        Act::Request(|state, request, next| {
            let is_known = state.delayed.knows(request.master(), request.command(), request.data());
            if is_known { Some((34, Vec::new())) } else { next.run(state, request) }
        }),
    )
    .only(In::R7),
    fault(
        "delayed_told_as_begun",
        "It answers 33, initiated, and not 34 to a repeat while the request goes on.",
        "DV-40",
        These(&["ST-03"]),
        Act::Code { of: &[], from: 34, to: 33 },
    )
    .only(In::R7),
    fault(
        "delayed_told_as_busy",
        "It answers 32, busy, to a repeat while the request goes on.",
        "DV-40",
        These(&["ST-03", "DV-09"]),
        Act::Code { of: &[], from: 34, to: 32 },
    )
    .only(In::R7),
    fault(
        "delayed_result_without_data",
        "It tells the result of a request that was put off without its data.",
        "DV-40",
        These(&["ST-03"]),
        Act::Request(|state, request, next| {
            let is_known = state.delayed.knows(request.master(), request.command(), request.data());
            let (code, data) = next.run(state, request)?;
            Some((code, if is_known { Vec::new() } else { data }))
        }),
    )
    .only(In::R7),
    fault(
        "delayed_begun_with_data",
        "Its answer 33, initiated, has the data of the request.",
        "ST-03",
        These(&["DV-40"]),
        Act::Request(|state, request, next| {
            let (code, data) = next.run(state, request)?;
            Some((code, if code == 33 { request.data().to_vec() } else { data }))
        }),
    )
    .only(In::R7),
    fault(
        "delayed_conflict_untold",
        "It answers 33, initiated, to a request that is in conflict with another one, and does nothing of it.",
        "DV-40",
        These(&["ST-03"]),
        Act::Code { of: &[], from: 36, to: 33 },
    )
    .only(In::R7),
    fault(
        "delayed_lost",
        "It forgets what it has put off as soon as it is asked for it, and begins anew.",
        "DV-40",
        These(&["ST-03"]),
        Act::Request(|state, request, next| {
            if state.delayed.knows(request.master(), request.command(), request.data()) {
                state.delayed.forget();
            }
            next.run(state, request)
        }),
    )
    .only(In::R7),
    fault(
        "delayed_runs_after_reset",
        "It answers 34, running, to a request that a reset has put an end to.",
        "DV-40",
        These(&["ST-03"]),
        Act::Code { of: &[], from: 35, to: 34 },
    )
    .only(In::R7),
    fault(
        "delayed_one_buffer",
        "It answers 32, busy, to a second request that it would put off, for it has one buffer for each master.",
        "DV-40",
        These(&["ST-03", "DV-09"]),
        Act::Request(|state, request, next| {
            let was = (!state.delayed.is_idle(request.master())).then(|| state.delayed.clone());
            let told = next.run(state, request)?;
            match was {
                Some(was) if told.0 == 33 => {
                    state.delayed = was;
                    Some((32, Vec::new()))
                }
                _ => Some(told),
            }
        }),
    )
    .only(In::R7),
    fault(
        "delayed_not_flushed",
        "Command 106 answers success and frees no buffer.",
        "CM-106",
        These(&["DV-40"]),
        Act::Undoes { of: &[106], undo: |state, was| state.delayed = was.delayed.clone() },
    )
    .only(In::R7),
    fault(
        "delayed_flush_refused",
        "Command 106 answers 64 though the device puts requests off.",
        "CM-106",
        These(&["DV-40", "DV-11"]),
        Act::Request(|state, request, next| match request.command() {
            106 => Some((64, Vec::new())),
            _ => next.run(state, request),
        }),
    )
    .only(In::R7),
    fault(
        "busy_for_ever",
        "After a command that takes its time it is busy until its power is lost.",
        "DV-09",
        // The command that takes its time is a write of the long tag here.
        These(&["CM-022", "DV-41", "TY-05"]),
        Act::Request(|state, request, next| {
            let told = next.run(state, request);
            if state.occupied_until.is_some() {
                state.occupied_until = Some(request.now + core::time::Duration::from_secs(86_400));
            }
            told
        }),
    )
    .only(In::UpTo6),
];
