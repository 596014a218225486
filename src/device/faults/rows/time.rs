//! Answers at the wrong time.

use crate::device::faults::Consequences::{NoAnswer, These};
use crate::device::faults::tools::WRITES;
use crate::device::faults::{Act, ProtocolFault, Reply, fault};
use core::time::Duration;

/// So many characters of 11 bits at 1200 bit/s [LL-01].
fn characters(n: u64) -> Duration {
    Duration::from_nanos(n * 11 * 1_000_000_000 / 1200)
}

pub(super) fn waits(reply: &mut Reply, n: u64) {
    if !reply.is_burst {
        reply.wait = characters(n);
    }
}

pub(super) static ROWS: &[ProtocolFault] = &[
    fault(
        "answers_late",
        "It begins its answers 31 characters after the request, three behind the slave time-out.",
        "LL-02",
        These(&["LL-06"]),
        Act::Reply(|_, reply| waits(reply, 31)),
    ),
    fault(
        "answers_much_too_late",
        "It begins its answers 60 characters after the request, when masters have asked again.",
        "LL-02",
        NoAnswer(&["DV-12", "FR-10", "FR-11", "LL-06", "LL-07", "LL-08"]),
        Act::Reply(|_, reply| waits(reply, 60)),
    ),
    fault(
        "writes_answered_late",
        "It begins the answers to writes 40 characters after the request.",
        "LL-02",
        These(&[]),
        Act::Reply(|_, reply| {
            if WRITES.contains(&reply.command) {
                waits(reply, 40);
            }
        }),
    ),
    fault(
        "status_answered_late",
        "It begins the answer to command 48 40 characters after the request.",
        "LL-02",
        These(&["CM-048", "ST-05", "ST-06", "ST-07", "TB-11", "TB-12"]),
        Act::Reply(|_, reply| {
            if reply.command == 48 {
                waits(reply, 40);
            }
        }),
    ),
    fault(
        "errors_answered_late",
        "It begins the answers to damaged requests 40 characters after the request.",
        "LL-02",
        These(&["LL-08", "ST-01", "FR-12"]),
        Act::Reply(|_, reply| {
            if reply.is_error {
                waits(reply, 40);
            }
        }),
    ),
];
