//! A computed valve and a positioner's electronics on virtual time, joined every 10 ms [DV-80].

use looprig::device::positioner::{
    Config, Electronics, Ending, Kept, Kind, Lever, Mounting, Outcome, Outputs, PERIOD, Senses,
};
use looprig::plant::actuator::Action;
use looprig::plant::linkage::{Law, Sense};
use looprig::plant::valve::{Valve, ValveConfig};
use looprig::time::Instant;

/// A step of the positioner's pressure sensors, Pa.
const PRESSURE_STEP_PA: f64 = 50.0;

#[derive(Clone)]
pub struct Rig {
    pub valve: Valve,
    pub electronics: Electronics,
    pub now: Instant,
    pub current_a: f64,
    pub drive: f64,
}

/// The set-up that fits a valve: what a technician would enter.
pub fn config_for(valve: &ValveConfig) -> Config {
    Config {
        lever: match valve.linkage.law {
            Law::Tangent { .. } => Lever::PinOnStem,
            Law::Sine { .. } => Lever::PinOnLever,
            Law::PartTurn { .. } => Lever::OnShaft,
        },
        outputs: match valve.actuator.action {
            Action::AirOpens => Outputs::AirOpens,
            Action::AirCloses => Outputs::AirCloses,
            Action::Double => Outputs::Double,
        },
        mounting: match valve.linkage.sense {
            Sense::Rising => Mounting::OpeningRaises,
            Sense::Falling => Mounting::OpeningLowers,
        },
        ..Config::default()
    }
}

impl Rig {
    pub fn new(valve: ValveConfig, seed: u64) -> Rig {
        let config = config_for(&valve);
        let electronics =
            Electronics::new(Kept { config, ..Kept::default() }).expect("a set-up that is right");
        let valve = Valve::new(valve, seed).expect("a valve that is right");
        let mut rig = Rig { valve, electronics, now: Instant::ZERO, current_a: 12e-3, drive: -1.0 };
        rig.tick();
        rig
    }

    pub fn senses(&self) -> Senses {
        let r = self.valve.readings();
        let step = |pa: f64| (pa / PRESSURE_STEP_PA).round() * PRESSURE_STEP_PA;
        Senses {
            lever_rad: r.sensed_rad,
            lever_in_range: r.sensor_in_range,
            supply_gauge_pa: step(r.supply_gauge_pa),
            output_gauge_pa: r.output_gauge_pa.map(step),
            loop_current_a: self.current_a,
        }
    }

    /// One period of the electronics.
    pub fn tick(&mut self) {
        let senses = self.senses();
        self.drive = self.electronics.step(self.now, &senses);
        self.valve.set_powered(self.current_a >= 3.6e-3);
        self.valve.set_drive(self.drive);
        self.now += PERIOD;
        self.valve.advance(self.now);
    }

    /// Runs for so long; `watch` sees the true travel and this rig after each tick.
    pub fn run(&mut self, seconds: f64, mut watch: impl FnMut(f64, &Rig)) {
        for _ in 0..(seconds / PERIOD.as_secs_f64()).round() as u64 {
            self.tick();
            watch(self.valve.travel_percent(), self);
        }
    }

    pub fn set_point(&mut self, percent: f64) {
        self.current_a = 4e-3 + 16e-3 * percent / 100.0;
    }

    /// Calibrates to the end.
    pub fn calibrate(&mut self, kind: Kind) -> Outcome {
        self.electronics.start_calibration(kind).expect("nothing runs, and there is air and current");
        for _ in 0..40_000 {
            self.tick();
            if self.electronics.progress().is_none() {
                break;
            }
        }
        *self.electronics.result().expect("a calibration takes at most four minutes")
    }

    /// Calibrates a valve that is right.
    pub fn calibrated(valve: ValveConfig, seed: u64) -> Rig {
        let mut rig = Rig::new(valve, seed);
        let outcome = rig.calibrate(Kind::Friction);
        assert_eq!(outcome.ending, Ending::Done, "seed {seed}: {outcome:?}");
        rig
    }
}

/// How the true travel went after a change of the set point.
#[derive(Clone, Copy, Debug)]
pub struct Went {
    /// Changes of direction by more than 0.05 % of the stroke.
    pub reversals: u32,
    /// Beyond the target, percent of the stroke.
    pub beyond: f64,
    /// Farthest from the target at the end.
    pub off: f64,
    /// Sum of all ways.
    pub way: f64,
}

/// Sends the valve to a set point for so long.
pub fn go(rig: &mut Rig, to: f64, seconds: f64) -> Went {
    let from = rig.valve.travel_percent();
    rig.set_point(to);
    let side = if to >= from { 1.0 } else { -1.0 };
    let (mut turn, mut direction, mut reversals) = (from, 0.0, 0);
    let (mut beyond, mut last, mut way) = (0f64, from, 0.0);
    rig.run(seconds, |x, _| {
        beyond = beyond.max(side * (x - to));
        way += (x - last).abs();
        last = x;
        if (x - turn) * direction > 0.0 {
            turn = x;
        } else if (x - turn).abs() > 0.05 {
            reversals += u32::from(direction != 0.0);
            direction = (x - turn).signum();
            turn = x;
        }
    });
    Went { reversals, beyond, off: last - to, way }
}
