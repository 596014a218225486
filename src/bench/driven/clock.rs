//! Bench time: a mapping of the wall clock that can be stopped, stepped and sped up [BA-02].

use crate::time::Instant;
use core::time::Duration;

/// Slowest and fastest that bench time can run beside the wall clock.
pub const SPEEDS: (f64, f64) = (0.01, 1000.0);
/// Longest step.
pub const LONGEST_STEP: Duration = Duration::from_secs(600);

/// How bench time goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Going {
    /// So many times as fast as the wall clock.
    Running {
        /// Above 0.
        speed: f64,
    },
    /// It stands.
    Paused,
    /// It goes on to that moment as fast as the machine computes, and stands then.
    Stepping {
        /// The end of the step.
        until: Instant,
    },
}

/// From wall clock to bench time. Both are zero at first and go alike.
#[derive(Clone, Copy, Debug)]
pub struct BenchClock {
    going: Going,
    /// From then on as it goes now, by the wall clock and in bench time.
    wall: Instant,
    bench: Instant,
    behind: Duration,
}

impl Default for BenchClock {
    fn default() -> Self {
        BenchClock {
            going: Going::Running { speed: 1.0 },
            wall: Instant::ZERO,
            bench: Instant::ZERO,
            behind: Duration::ZERO,
        }
    }
}

impl BenchClock {
    /// How it goes.
    pub fn going(&self) -> Going {
        self.going
    }

    /// How much bench time was lost because the machine could not keep up with a speed.
    pub fn behind(&self) -> Duration {
        self.behind
    }

    /// Whether the lines are joined to the wires: time runs as on the wall [BA-03].
    pub fn joins_lines(&self) -> bool {
        self.going == Going::Running { speed: 1.0 }
    }

    /// Since when on the wall clock it goes like this.
    pub fn since(&self) -> Instant {
        self.wall
    }

    /// The bench time that is to be reached when the wall clock shows `wall`.
    pub fn bench_at(&self, wall: Instant) -> Instant {
        match self.going {
            // Whole nanoseconds: nothing is lost by it.
            Going::Running { speed: 1.0 } => self.bench + wall.since(self.wall),
            Going::Running { speed } => {
                let passed = wall.since(self.wall).as_nanos() as f64 * speed;
                self.bench + Duration::from_nanos(passed as u64)
            }
            Going::Paused => self.bench,
            Going::Stepping { until } => until,
        }
    }

    /// When the wall clock shows the bench time `at`; `None` while it does not go by the wall.
    pub fn wall_at(&self, at: Instant) -> Option<Instant> {
        let left = at.since(self.bench);
        match self.going {
            Going::Running { speed: 1.0 } => Some(self.wall + left),
            // Rounded up, so that it has come then.
            Going::Running { speed } => {
                Some(self.wall + Duration::from_nanos((left.as_nanos() as f64 / speed).ceil() as u64))
            }
            Going::Paused | Going::Stepping { .. } => None,
        }
    }

    /// From the moment `wall`, at which bench time is `bench`, it goes like this.
    pub fn set(&mut self, wall: Instant, bench: Instant, going: Going) {
        *self = BenchClock { going, wall, bench, behind: self.behind };
    }

    /// At the moment `wall` only `bench` has been reached: what is missing is given up.
    pub fn slip(&mut self, wall: Instant, bench: Instant) {
        if matches!(self.going, Going::Running { .. }) {
            self.behind = self.behind.saturating_add(self.bench_at(wall).since(bench));
            self.set(wall, bench, self.going);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn s(seconds: f64) -> Instant {
        Instant::from_nanos((seconds * 1e9) as u64)
    }

    #[test]
    fn at_first_both_clocks_are_one() {
        let clock = BenchClock::default();
        for ns in [0, 1, 9_166_666, u64::MAX / 2] {
            let t = Instant::from_nanos(ns);
            assert_eq!((clock.bench_at(t), clock.wall_at(t)), (t, Some(t)));
        }
    }

    /// Ten seconds at speed 1, paused for five, four at speed 2.5, then again as on the wall: 10 + 0 + 4 x 2.5 = 20.
    #[test]
    fn times_add_up() {
        let mut clock = BenchClock::default();
        clock.set(s(10.0), s(10.0), Going::Paused);
        assert_eq!((clock.bench_at(s(15.0)), clock.wall_at(s(11.0))), (s(10.0), None));
        clock.set(s(15.0), s(10.0), Going::Running { speed: 2.5 });
        assert_eq!(clock.bench_at(s(19.0)), s(20.0));
        assert_eq!(clock.wall_at(s(15.0)), Some(s(17.0)));
        assert!(!clock.joins_lines());
        clock.set(s(19.0), s(20.0), Going::Running { speed: 1.0 });
        assert_eq!(clock.bench_at(s(21.5)), s(22.5));
        assert!(clock.joins_lines());
    }

    #[test]
    fn when_the_wall_comes_the_moment_has_come() {
        let mut clock = BenchClock::default();
        clock.set(s(0.0), s(0.0), Going::Running { speed: 0.37 });
        for ns in [1, 7, 1_000_003, 86_400_000_000_123] {
            let at = Instant::from_nanos(ns);
            assert!(clock.bench_at(clock.wall_at(at).expect("it runs")) >= at, "{ns}");
        }
    }

    /// At speed 100 only 30 of 100 s were computed in the first second: 70 s are lost, and the next second is whole.
    #[test]
    fn what_was_missed_is_given_up() {
        let mut clock = BenchClock::default();
        clock.set(s(0.0), s(0.0), Going::Running { speed: 100.0 });
        clock.slip(s(1.0), s(30.0));
        assert_eq!((clock.behind(), clock.bench_at(s(2.0))), (Duration::from_secs(70), s(130.0)));
    }
}
