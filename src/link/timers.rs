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

#[cfg(test)]
mod tests {
    use super::*;

    /// The source prints characters and ms: STO 28 and 256.667, HOLD 2 and 18.333, RT2 8 and 73.333, RT1 33 and 302.5
    /// for the primary, 41 and 375.833 for the secondary [F40648]. [LL-02] to [LL-05]
    #[test]
    fn times_as_published() {
        for (role, quiet_ms) in [(Master::Primary, 302.5), (Master::Secondary, 375.833)] {
            let t = Timers::new(role, Pace::Wire);
            for (time, ms) in [
                (t.slave_time_out, 256.667),
                (t.hold, 18.333),
                (t.link_grant, 73.333),
                (t.link_quiet, quiet_ms),
            ] {
                assert!((time.as_secs_f64() * 1e3 - ms).abs() < 0.001, "{role}: {time:?} is not {ms} ms");
            }
        }
        // Twice as fast as the wire: half of each.
        let half = Timers::new(Master::Primary, Pace::Scaled(2.0));
        assert!((half.slave_time_out.as_secs_f64() * 1e3 - 128.333).abs() < 0.001);
        // Without a pace an answer is waited for as on the wire, and nothing else.
        let fast = Timers::new(Master::Secondary, Pace::Fast);
        assert!((fast.slave_time_out.as_secs_f64() * 1e3 - 256.667).abs() < 0.001);
        assert_eq!((fast.hold, fast.link_quiet), (Duration::ZERO, Duration::ZERO));
    }
}
