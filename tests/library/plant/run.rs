//! The standard run [PL-34]: what a technician with gauges, soap, a rule and a clock finds out about a valve.

use looprig::plant::fault::FaultName;
use looprig::plant::follower::Follower;
use looprig::plant::valve::{Readings, Valve, ValveConfig};
use looprig::time::Instant;
use std::time::Duration;

/// From look to look.
const LOOK: Duration = Duration::from_millis(5);

/// What was read; pressures in bar gauge, travel in percent, times in seconds, air in litres ANR a minute.
#[derive(Clone, Debug)]
pub struct Run {
    pub supply_rest: f64,
    pub supply_least: f64,
    pub regulator_rest: f64,
    pub regulator_least: f64,
    /// Set point less travel, true and sensed, means of the last 10 s of the hold.
    pub hold_error_true: f64,
    pub hold_error_sensed: f64,
    /// Widest swing of the true travel meanwhile.
    pub hold_swing: f64,
    pub hold_air: f64,
    pub hold_casing: f64,
    pub hold_tube: f64,
    /// True travel at the end of the steps to 60 % and back.
    pub step_up: f64,
    pub step_down: f64,
    /// The strokes: filling, then venting.
    pub fill: Stroke,
    pub vent: Stroke,
    /// True travel at the end of the venting stroke before them.
    pub emptied: f64,
    /// Pressures of chamber 1 on passing 50 % up and down.
    pub passing: Option<(f64, f64)>,
    /// Widest true way in 0.1 s.
    pub jump: f64,
    /// Sensed less true on passing 10, 50, 90 % up.
    pub gap: [Option<f64>; 3],
    /// Sensed at 50 % up less at 50 % down.
    pub play: Option<f64>,
    /// Widest difference of sensed and true, less the gap at 50 %'s neighbours, within 42 to 58 % up.
    pub gap_middle: Option<f64>,
    /// Whether the sensor told that it is out of range.
    pub out_of_range: bool,
    /// Way of the blocked test, and where it began.
    pub blocked: f64,
}

/// A stroke with the drive at one end.
#[derive(Clone, Debug, Default)]
pub struct Stroke {
    /// From 5 to 95 % of the stroke, or back.
    pub time: Option<f64>,
    /// Travel at its end.
    pub end_true: f64,
    pub end_sensed: f64,
    /// Pressures at its end: output 1, chamber 1.
    pub output: f64,
    pub chamber: f64,
    /// True way from begin to end.
    pub way: f64,
}

impl Run {
    /// Friction band, bar.
    pub fn band(&self) -> Option<f64> {
        self.passing.map(|(up, down)| up - down)
    }

    /// Mean of both, bar: the spring.
    pub fn spring(&self) -> Option<f64> {
        self.passing.map(|(up, down)| (up + down) / 2.0)
    }
}

/// A healthy valve that stands at 50 %, from which every run goes on.
pub fn prepared(config: ValveConfig) -> Valve {
    let mut valve = Valve::new(config, 7).expect("a valve that is right");
    go(&mut valve, 15.0, Order::Follow(50.0), |_| {});
    valve
}

/// What drives the valve.
#[derive(Clone, Copy)]
pub enum Order {
    Follow(f64),
    Drive(f64),
}

/// Runs for so long; `watch` sees each look.
pub fn go(valve: &mut Valve, seconds: f64, order: Order, mut watch: impl FnMut(&Readings)) {
    let follower = Follower::default();
    let end = valve.now() + Duration::from_secs_f64(seconds);
    while valve.now() < end {
        let drive = match order {
            Order::Follow(set_point) => follower.drive(set_point, valve.readings().sensed_travel_percent),
            Order::Drive(drive) => drive,
        };
        valve.set_drive(drive);
        let until: Instant = valve.now() + LOOK;
        valve.advance(until);
        watch(&valve.readings());
    }
}

fn bar(pa: f64) -> f64 {
    pa / 1e5
}

fn l_per_min(kg_per_s: f64) -> f64 {
    looprig::plant::air::anr_l_per_min(kg_per_s)
}

/// A look: its time, and all that was read.
type Look = (f64, Readings);

/// What one stroke saw.
#[derive(Default)]
struct Watch {
    at: Vec<Look>,
}

impl Watch {
    fn see(&mut self, r: &Readings) {
        self.at.push((r.at.as_secs_f64(), r.clone()));
    }

    /// Two looks between which the true travel passes `percent`, and the share of the way between them.
    fn passing(&self, percent: f64) -> Option<(&Look, &Look, f64)> {
        let pair = self.at.windows(2).find(|w| {
            let (a, b) = (w[0].1.travel_percent - percent, w[1].1.travel_percent - percent);
            a != b && a * b <= 0.0
        })?;
        let (a, b) = (pair[0].1.travel_percent, pair[1].1.travel_percent);
        Some((&pair[0], &pair[1], (percent - a) / (b - a)))
    }

    fn value(&self, percent: f64, of: impl Fn(f64, &Readings) -> f64) -> Option<f64> {
        let (a, b, share) = self.passing(percent)?;
        let (x, y) = (of(a.0, &a.1), of(b.0, &b.1));
        Some(x + share * (y - x))
    }

    fn stroke(&self, from: f64, to: f64) -> Stroke {
        let time = |p| self.value(p, |t, _| t);
        let (Some(first), Some(last)) = (self.at.first(), self.at.last()) else {
            return Stroke::default();
        };
        Stroke {
            // A stroke the wrong way has no time.
            time: time(to).and_then(|to| Some(to - time(from)?)).filter(|t| *t > 0.0),
            end_true: last.1.travel_percent,
            end_sensed: last.1.sensed_travel_percent,
            output: bar(last.1.output_gauge_pa[0]),
            chamber: bar(last.1.chamber_gauge_pa[0]),
            way: last.1.travel_percent - first.1.travel_percent,
        }
    }

    fn jump(&self) -> f64 {
        let looks = 20;
        let ways =
            self.at.windows(looks + 1).map(|w| (w[looks].1.travel_percent - w[0].1.travel_percent).abs());
        ways.fold(0.0, f64::max)
    }
}

/// The whole run on a copy of `valve`, with a fault or none.
pub fn standard(valve: &Valve, fault: Option<(FaultName, f64)>) -> Run {
    let mut valve = valve.clone();
    if let Some((name, severity)) = fault {
        valve.inject(name, severity).expect("a severity within 0 to 1");
    }
    let v = &mut valve;
    go(v, 25.0, Order::Follow(50.0), |_| {});
    let used = v.readings().air_used_kg;
    let (mut n, mut true_sum, mut sensed_sum) = (0.0, 0.0, 0.0);
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    go(v, 10.0, Order::Follow(50.0), |r| {
        n += 1.0;
        true_sum += r.travel_percent;
        sensed_sum += r.sensed_travel_percent;
        (low, high) = (low.min(r.travel_percent), high.max(r.travel_percent));
    });
    let rest = v.readings();
    go(v, 8.0, Order::Follow(60.0), |_| {});
    let step_up = v.readings().travel_percent;
    go(v, 8.0, Order::Follow(50.0), |_| {});
    let step_down = v.readings().travel_percent;
    let mut watches = [Watch::default(), Watch::default(), Watch::default()];
    for (watch, drive) in watches.iter_mut().zip([-1.0, 1.0, -1.0]) {
        watch.see(&v.readings());
        go(v, 12.0, Order::Drive(drive), |r| watch.see(r));
    }
    let [emptied, up, down] = &watches;
    let gap_at = |w: &Watch, p| w.value(p, |_, r| r.sensed_travel_percent - r.travel_percent);
    let least =
        |of: fn(&Readings) -> f64| up.at.iter().map(|(_, r)| bar(of(r))).fold(f64::INFINITY, f64::min);
    let middle =
        up.at.iter().filter(|(_, r)| (42.0..=58.0).contains(&r.travel_percent) && r.velocity_m_per_s > 0.0);
    let gaps = middle.map(|(_, r)| (r.sensed_travel_percent - r.travel_percent).abs());
    let pressure = |w: &Watch| w.value(50.0, |_, r| bar(r.chamber_gauge_pa[0]));
    let mut run = Run {
        supply_rest: bar(rest.supply_gauge_pa),
        supply_least: least(|r| r.supply_gauge_pa),
        regulator_rest: bar(rest.regulator_gauge_pa),
        regulator_least: least(|r| r.regulator_gauge_pa),
        hold_error_true: 50.0 - true_sum / n,
        hold_error_sensed: 50.0 - sensed_sum / n,
        hold_swing: high - low,
        hold_air: l_per_min((rest.air_used_kg - used) / 10.0),
        hold_casing: l_per_min(rest.casing_leak_kg_per_s),
        hold_tube: l_per_min(rest.tube_leak_kg_per_s),
        step_up,
        step_down,
        fill: up.stroke(5.0, 95.0),
        vent: down.stroke(95.0, 5.0),
        emptied: emptied.at.last().map_or(f64::NAN, |(_, r)| r.travel_percent),
        passing: pressure(up).zip(pressure(down)),
        jump: watches.iter().map(Watch::jump).fold(0.0, f64::max),
        gap: [10.0, 50.0, 90.0].map(|p| gap_at(up, p)),
        play: gap_at(up, 50.0).zip(gap_at(down, 50.0)).map(|(up, down)| up - down),
        gap_middle: gaps.reduce(f64::max),
        out_of_range: up.at.iter().any(|(_, r)| !r.sensor_in_range),
        blocked: f64::NAN,
    };
    go(v, 12.0, Order::Follow(50.0), |_| {});
    go(v, 1.0, Order::Drive(0.0), |_| {});
    let from = v.readings().travel_percent;
    go(v, 15.0, Order::Drive(0.0), |_| {});
    run.blocked = v.readings().travel_percent - from;
    run
}
