//! Relay and step identification of an integrator with dead time, and what a calibration learns of the same one [DV-97].

use looprig::device::positioner::{Config, Electronics, Ending, Kept, Kind, Lever, PERIOD, Senses};
use looprig::time::Instant;
use std::collections::VecDeque;
use std::f64::consts::PI;

/// Supply, and the pressures at which the valve leaves its closed stop and comes to its open one, Pa gauge.
const SUPPLY_PA: f64 = 1.4e5;
const LIFT_PA: f64 = 0.2e5;
const OPEN_PA: f64 = 1.0e5;

/// A chamber behind a slow pilot, with a spring and without friction or mass: the pressure adds up the drive of a while ago, and
/// between the stops the travel follows it.
struct Chamber {
    pa: f64,
    pa_per_s: f64,
    dt_s: f64,
    late: VecDeque<f64>,
}

impl Chamber {
    /// Full drive moves it at `percent_per_s`; it answers after `dead` steps of `dt_s`.
    fn new(percent_per_s: f64, dead: usize, dt_s: f64) -> Chamber {
        let pa_per_s = percent_per_s / 100.0 * (OPEN_PA - LIFT_PA);
        Chamber { pa: 0.0, pa_per_s, dt_s, late: VecDeque::from(vec![0.0; dead]) }
    }

    fn travel_percent(&self) -> f64 {
        (100.0 * (self.pa - LIFT_PA) / (OPEN_PA - LIFT_PA)).clamp(0.0, 100.0)
    }

    fn put_at(&mut self, percent: f64) {
        self.pa = LIFT_PA + percent / 100.0 * (OPEN_PA - LIFT_PA);
    }

    fn step(&mut self, drive: f64) -> f64 {
        self.late.push_back(drive);
        let drive = self.late.pop_front().unwrap_or_default();
        self.pa = (self.pa + drive * self.pa_per_s * self.dt_s).clamp(0.0, SUPPLY_PA);
        self.travel_percent()
    }
}

/// A swing between two drives by the sign of what is left to `at`, with a hysteresis to either side: half of the swing, and its period,
/// s, of the sixth to the sixteenth one.
fn relay(
    at: f64,
    (up, down): (f64, f64),
    hysteresis: f64,
    dt_s: f64,
    mut plant: impl FnMut(f64) -> f64,
) -> (f64, f64) {
    let (mut drive, mut rises) = (up, Vec::new());
    let (mut least, mut most) = (f64::MAX, f64::MIN);
    for n in 0..1_000_000 {
        let y = plant(drive);
        if rises.len() > 5 {
            (least, most) = (least.min(y), most.max(y));
        }
        if drive > 0.0 && y > at + hysteresis {
            drive = -down;
        } else if drive < 0.0 && y < at - hysteresis {
            drive = up;
            rises.push(f64::from(n) * dt_s);
            if rises.len() > 16 {
                return (0.5 * (most - least), (rises[15] - rises[5]) / 10.0);
            }
        }
    }
    panic!("it does not swing")
}

/// By hand, K = 0.5 per second, L = 0.3 s, d = 10: after each switch it runs on for L. Without hysteresis it goes K d L = 1.5 beyond and is
/// back after as long, so a quarter of the period is L: 1.2 s. A hysteresis of 0.6 adds 0.6 to the swing and 0.6/(K d) = 0.12 s to each
/// quarter: 2.1 and 1.68 s. With 10 up and 5 down it goes up for L, down for 2 L and another L, and up for L/2: 4.5 L = 1.35 s.
#[test]
fn a_relay_swings_as_the_closed_forms_say() {
    let dt_s = 1e-3;
    for (drives, hysteresis, swing, period_s) in [
        ((10.0, 10.0), 0.0, 1.5, 1.2),
        ((10.0, 10.0), 0.6, 2.1, 1.68),
        // Up to 1.5, down to -0.75.
        ((10.0, 5.0), 0.0, 1.125, 1.35),
    ] {
        let mut chamber = Chamber::new(0.5, 300, dt_s);
        chamber.put_at(50.0);
        let (a, tu_s) = relay(50.0, drives, hysteresis, dt_s, |drive| chamber.step(drive));
        // A step of time either way at each switch.
        assert!((a - swing).abs() < 0.5 * 10.0 * 2.0 * dt_s, "{a} is not {swing}");
        assert!((tu_s - period_s).abs() < 6.0 * dt_s, "{tu_s} is not {period_s}");
        if drives.0 == drives.1 && hysteresis == 0.0 {
            // The gain of the harmonic balance, 4 d/(pi a), is 8/pi^2 of the true one, pi/(2 K L): the swing is a triangle, no sine.
            let (found, truly) = (4.0 * 10.0 / (PI * a), PI / (2.0 * 0.5 * 0.3));
            assert!((truly - 10.472).abs() < 1e-3);
            assert!((found / truly - 8.0 / (PI * PI)).abs() < 5e-3, "{found} of {truly}");
            // An approach of three dead times is a gain of 1/(3 K L), 2/(3 pi) of it [DV-97].
            assert!((1.0 / (3.0 * 0.5 * 0.3) / truly - 0.2122).abs() < 1e-3);
        }
    }
}

/// What the electronics learn of it by strokes and run-on.
fn calibrated(percent_per_s: f64, dead: usize) -> (f64, f64, f64) {
    let mut chamber = Chamber::new(percent_per_s, dead, PERIOD.as_secs_f64());
    let config = Config { lever: Lever::OnShaft, ..Config::default() };
    let mut electronics =
        Electronics::new(Kept { config, ..Kept::default() }).expect("a set-up that is right");
    let (mut now, mut drive) = (Instant::ZERO, -1.0);
    for n in 0..24_000 {
        let senses = Senses {
            // 90 degrees from stop to stop.
            lever_rad: 0.5 * PI * chamber.step(drive) / 100.0,
            lever_in_range: true,
            supply_gauge_pa: SUPPLY_PA,
            output_gauge_pa: [chamber.pa, 0.0],
            loop_current_a: 12e-3,
        };
        drive = electronics.step(now, &senses);
        now += PERIOD;
        if n == 0 {
            electronics.start_calibration(Kind::StrokeTimes).expect("air and current are there");
        } else if electronics.progress().is_none() {
            assert_eq!(electronics.result().map(|o| o.ending), Some(Ending::Done));
            let learned = electronics.calibrated().expect("it is done").learned;
            return (learned.opening_percent_per_s, learned.closing_percent_per_s, learned.run_on_s);
        }
    }
    panic!("a calibration ends")
}

/// Speed and dead time of one and the same chamber by three ways: what it was made with, a relay, a step of the drive; and by the
/// calibration that every positioner makes.
#[test]
fn a_calibration_learns_what_a_relay_and_a_step_identify() {
    let dt_s = PERIOD.as_secs_f64();
    for (speed, dead) in [(5.0, 5), (12.5, 15), (25.0, 5), (30.0, 30), (40.0, 15), (60.0, 10)] {
        let dead_s = dead as f64 * dt_s;
        let (opening, closing, run_on_s) = calibrated(speed, dead);

        let mut chamber = Chamber::new(speed, dead, dt_s);
        chamber.put_at(50.0);
        let (a, tu_s) = relay(50.0, (0.5, 0.5), 0.0, dt_s, |drive| chamber.step(drive));
        let relay_dead_s = 0.25 * tu_s;
        let relay_speed = a / (0.5 * relay_dead_s);

        // A step of half the drive from 20 %: the straight line through 30 and 70 %, and where it leaves 20 %.
        let mut chamber = Chamber::new(speed, dead, dt_s);
        chamber.put_at(20.0);
        let mut passed = |level: f64, s: &mut f64| {
            while chamber.step(0.5) < level {
                *s += dt_s;
            }
            *s += dt_s;
            *s
        };
        let mut s = 0.0;
        let (t30, t70) = (passed(30.0, &mut s), passed(70.0, &mut s));
        let step_speed = 40.0 / (t70 - t30) / 0.5;
        let step_dead_s = t30 - 10.0 / (0.5 * step_speed);

        for (way, found) in
            [("opening", opening), ("closing", closing), ("relay", relay_speed), ("step", step_speed)]
        {
            assert!((found / speed - 1.0).abs() < 0.03, "{way}: {found} %/s of {speed}");
        }
        // Two periods: each reading and each switch is up to one late.
        for (way, found) in [("run-on", run_on_s), ("relay", relay_dead_s), ("step", step_dead_s)] {
            assert!((found - dead_s).abs() < 2.0 * dt_s + 1e-9, "{way}: {found} s of {dead_s}");
        }
    }
}
