//! The link's times, all derived from one pace.

use crate::frame::Master;
use crate::time::{BitTimes, Pace};
use core::time::Duration;

/// The times by which stations take turns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Timers {
    /// One character [LL-01].
    pub character: Duration,
    /// STO: a device begins its answer within this time [LL-02].
    pub slave_time_out: Duration,
    /// HOLD: how long the master whose turn it is may wait before it starts [LL-03].
    pub hold: Duration,
    /// RT2: silence after which the other master may start [LL-04].
    pub link_grant: Duration,
    /// RT1: silence after which a master that knows nothing of the link may start [LL-05].
    pub link_quiet: Duration,
}

impl Timers {
    /// The times of a master of this role at this pace, in characters: STO 28, HOLD 2, RT2 8, RT1 33
    /// for the primary and 41 for the secondary \[F40648\]. At [`Pace::Fast`] nothing is waited for
    /// but the answer, for as long as on the wire.
    pub fn new(role: Master, pace: Pace) -> Self {
        let characters = |n| pace.scale(BitTimes::characters(n).duration());
        Timers {
            character: characters(1),
            slave_time_out: match pace {
                Pace::Fast => BitTimes::characters(28).duration(),
                _ => characters(28),
            },
            hold: characters(2),
            link_grant: characters(8),
            link_quiet: characters(match role {
                Master::Primary => 33,
                Master::Secondary => 41,
            }),
        }
    }
}
