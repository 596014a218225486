//! Write protect and lock.

use crate::device::faults::Consequences::These;
use crate::device::faults::{Act, In, ProtocolFault, fault};

/// What a wrong write protect may also spoil.
const OF_PROTECT: &[&str] = &["TB-03", "CM-015", "ST-09", "DV-08", "CM-017", "CM-018", "CM-019", "CM-022"];
const OF_LOCK: &[&str] = &["TB-13", "TB-14", "CM-071", "CM-076", "ST-06"];

pub(super) static ROWS: &[ProtocolFault] = &[
    fault(
        "write_protect_ignored",
        "It carries out writes while write protect is on.",
        "DV-05",
        These(OF_PROTECT),
        Act::Request(|state, request, next| {
            let was = core::mem::replace(&mut state.config.write_protected, false);
            let told = match request.command() {
                15 => {
                    state.config.write_protected = was;
                    next.run(state, request)
                }
                _ => next.run(state, request),
            };
            state.config.write_protected = was;
            told
        }),
    ),
    fault(
        "write_protect_refuses_and_writes",
        "While write protect is on it refuses writes with 7 and carries them out.",
        "DV-05",
        These(OF_PROTECT),
        Act::Request(|state, request, next| {
            let told = next.run(state, request)?;
            if told.0 == 7 {
                state.config.write_protected = false;
                let _ = next.run(state, request);
                state.config.write_protected = true;
            }
            Some(told)
        }),
    ),
    fault(
        "write_protect_untold",
        "While write protect is on it answers writes with success and does nothing.",
        "DV-05",
        These(OF_PROTECT),
        Act::Accepts { of: &[], codes: &[7] },
    ),
    fault(
        "write_protect_other_code",
        "While write protect is on it refuses writes with 16, access restricted, and not with 7.",
        "DV-05",
        These(&["ST-03", "TB-03"]),
        Act::Code { of: &[], from: 7, to: 16 },
    ),
    fault(
        "write_protect_closes_reads",
        "While write protect is on it refuses to tell message, tag, descriptor and date.",
        "DV-05",
        These(&["CM-012", "CM-013", "TB-03"]),
        Act::Request(|state, request, next| match request.command() {
            12 | 13 if state.config.write_protected => Some((7, Vec::new())),
            _ => next.run(state, request),
        }),
    ),
    fault(
        "write_protect_open_for_tags",
        "While write protect is on it takes tag, descriptor and date by command 18 all the same.",
        "DV-05",
        These(&["CM-018", "CM-013", "TB-03", "ST-09", "DV-08"]),
        Act::Request(|state, request, next| {
            let was = state.config.write_protected;
            state.config.write_protected = was && request.command() != 18;
            let told = next.run(state, request);
            state.config.write_protected = was;
            told
        }),
    ),
    fault(
        "lock_ignored",
        "It lets every master write, whoever has locked it.",
        "DV-17",
        These(OF_LOCK),
        Act::Request(|state, request, next| {
            if matches!(request.command(), 71 | 76 | 48) {
                return next.run(state, request);
            }
            let was = (state.temporary_lock.take(), state.stored.lock.take());
            let told = next.run(state, request);
            (state.temporary_lock, state.stored.lock) = was;
            told
        }),
    )
    .only(In::From6),
    fault(
        "lock_shuts_out_its_owner",
        "It refuses the writes of the master that has locked it.",
        "DV-17",
        These(OF_LOCK),
        Act::Request(|state, request, next| {
            let is_locked = state.lock_status() != 0;
            match request.command() {
                17..=19 | 22 if is_locked => Some((16, Vec::new())),
                _ => next.run(state, request),
            }
        }),
    )
    .only(In::From6),
    fault(
        "lock_closes_reads",
        "It refuses to tell its message to a master that is locked out.",
        "DV-17",
        These(&["CM-012", "TB-13", "CM-071"]),
        Act::Request(|state, request, next| match request.command() {
            12 if state.is_locked_out(request.master()) => Some((16, Vec::new())),
            _ => next.run(state, request),
        }),
    )
    .only(In::From6),
    fault(
        "lock_not_taken",
        "Command 71 answers success and locks nothing.",
        "CM-071",
        These(&["DV-17", "TB-13", "TB-14", "CM-076", "ST-06"]),
        Act::Undoes {
            of: &[71],
            undo: |state, was| {
                state.temporary_lock = was.temporary_lock;
                state.stored.lock = was.stored.lock;
            },
        },
    )
    .only(In::From6),
    fault(
        "lock_untold",
        "Command 76 says that it is not locked while it is.",
        "TB-14",
        These(&["CM-076", "CM-071", "DV-17"]),
        Act::Data { of: &[76], edit: |_, d| d.fill(0) },
    )
    .only(In::From6),
    fault(
        "lock_told_by_the_other",
        "Command 76 names the other master as the one that has locked.",
        "TB-14",
        These(&["CM-076", "CM-071", "DV-17"]),
        Act::Data {
            of: &[76],
            edit: |_, d| {
                for octet in d.iter_mut().filter(|o| **o & 1 != 0) {
                    *octet ^= 0x04;
                }
            },
        },
    )
    .only(In::From6),
    fault(
        "lock_opened_by_anyone",
        "It lets the other master open a lock that is not its own.",
        "TB-13",
        These(&["CM-071", "DV-17", "CM-076", "TB-14"]),
        Act::Request(|state, request, next| {
            if request.command() == 71 && request.data().first() == Some(&0) {
                (state.temporary_lock, state.stored.lock) = (None, None);
            }
            next.run(state, request)
        }),
    )
    .only(In::From6),
    fault(
        "lock_taken_over",
        "It lets a master lock it that is locked out.",
        "CM-071",
        These(&["DV-17", "TB-13", "CM-076", "TB-14"]),
        Act::Request(|state, request, next| {
            if request.command() == 71 && matches!(request.data().first(), Some(1..=3)) {
                (state.temporary_lock, state.stored.lock) = (None, None);
            }
            next.run(state, request)
        }),
    )
    .only(In::From6),
    fault(
        "lock_code_unknown_taken",
        "Command 71 answers success to lock codes that the table does not have.",
        "TB-13",
        These(&["CM-071"]),
        Act::Accepts { of: &[71], codes: &[10] },
    )
    .only(In::From6),
    fault(
        "lock_outlives_reset",
        "A temporary lock outlives a reset and a loss of power.",
        "TB-13",
        These(&["CM-071", "CM-042", "DV-17", "DV-20", "CM-076", "TB-14"]),
        Act::Undoes {
            of: &[71],
            undo: |state, _| {
                // Kept as a permanent one is.
                if let Some(by) = state.temporary_lock.take() {
                    let by_primary = by == crate::frame::Master::Primary;
                    state.stored.lock = Some(crate::device::StoredLock { against_all: false, by_primary });
                }
            },
        },
    )
    .only(In::From6),
    fault(
        "lock_against_all_spares_its_owner",
        "A lock against all leaves the master that has locked free to write.",
        "TB-13",
        These(&["CM-071", "DV-17"]),
        Act::Request(|state, request, next| {
            let by_primary = request.master() == crate::frame::Master::Primary;
            match state.stored.lock {
                Some(lock)
                    if lock.against_all
                        && lock.by_primary == by_primary
                        && matches!(request.command(), 17..=22) =>
                {
                    state.stored.lock = None;
                    let told = next.run(state, request);
                    state.stored.lock = Some(lock);
                    told
                }
                _ => next.run(state, request),
            }
        }),
    )
    .only(In::From6),
];
