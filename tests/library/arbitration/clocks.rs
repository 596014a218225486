//! Clocks that run off, and stations that begin late [LI-23].

use super::speech::*;
use super::stage::*;
use super::timeline::*;

/// How far a time of `n` characters by a clock that is off by 1 % is from `n`, at most: 1 / 0.99 - 1.
fn off(n: f64) -> f64 {
    n * (1.0 / 0.99 - 1.0)
}

/// [LL-09] [LI-23]: masters and device off by 1 % in all directions, and up to 3 ms late: both masters stay busy for a
/// minute, 6545 characters, and never meet. HOLD, 2, is 1.98 to 2.02, and 3 ms are 0.327 characters more.
#[test]
fn alternation_holds() {
    for (i, [primary, secondary, of_device]) in
        [[1, 1, 1], [1, -1, 1], [-1, 1, -1], [-1, -1, 1], [1, 1, -1]].into_iter().enumerate()
    {
        let mut s = stage_with_seed(i as u64);
        let jitter = std::time::Duration::from_millis(3);
        let late = 3.0 / characters(1.0).as_secs_f64() / 1e3;
        s.clocks(of_device * 10_000, jitter);
        s.device(4);
        s.clocks(primary * 10_000, jitter);
        s.primary();
        s.clocks(secondary * 10_000, jitter);
        s.secondary();
        s.always_wants(PRIMARY, &[poll(4)]);
        s.always_wants(SECONDARY, &[poll(4)]);
        let about = |step: Step, n: f64| step.after(n + late / 2.0).give_or_take(off(n) + late / 2.0);
        s.expect("RT1", about(PRIMARY.asks(poll(4)), 33.0));
        s.expect("the device", about(device(4).answers(PRIMARY), 2.0));
        // Twice 10 + 2 + 34 + 2 characters and some jitter a round: at most 100.
        while s.now() < 6545.0 {
            s.expect("HOLD", about(SECONDARY.asks(poll(4)), 2.0));
            s.expect("the device", about(device(4).answers(SECONDARY), 2.0));
            s.expect("HOLD", about(PRIMARY.asks(poll(4)), 2.0));
            s.expect("the device", about(device(4).answers(PRIMARY), 2.0));
        }
        s.all_is_well();
    }
}

/// [LL-05]: with a slow primary and a fast secondary RT1 is 33 / 0.99 = 33.33 and 41 / 1.01 = 40.59 characters: the
/// primary is still first, after silence too.
#[test]
fn the_two_rt1_stay_apart() {
    let mut s = stage();
    s.device(4);
    s.clocks(-10_000, std::time::Duration::ZERO);
    s.primary();
    s.clocks(10_000, std::time::Duration::ZERO);
    s.secondary();
    s.at(0.0).primary_wants(poll(9));
    s.at(0.0).secondary_wants(poll(4));
    s.expect("33 / 0.99", PRIMARY.asks(poll(9)).at(33.0 / 0.99));
    for _ in 0..3 {
        s.expect("33 / 0.99", PRIMARY.asks(poll(9)).after(33.0 / 0.99));
    }
    s.expect("41 / 1.01", SECONDARY.asks(poll(4)).after(41.0 / 1.01));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.told("nobody is at 9", PRIMARY, Told::Silent(3));
    s.silence(200.0);
}
