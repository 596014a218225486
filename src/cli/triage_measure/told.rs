//! What the bus would truly tell: the symptoms of bus and strokes from the physics and the device's own state, looked at each 50 ms. They
//! decide whether a fault is below any symptom, so that nothing is left out because the collecting misses it.

use super::eyes::{Look, Truth};
use super::seen::Sample;
use super::strokes::{Phase, late, mean, span};
use crate::sim::SiteFault;
use core::time::Duration;

const LATE: Duration = Duration::from_secs(2);
/// How long one set point is watched.
const HOLD: Duration = Duration::from_secs(25);
/// Within so much of where it comes to rest a stroke has ended, percent; and it has left when it has moved so far.
const NEAR_PERCENT: f64 = 2.0;
/// As much as lies between two readings of a host.
const READING: Duration = Duration::from_millis(300);
/// From one reading to the next at most, percent, for a valve that does not jump.
const JUMP_PERCENT: f64 = 8.0;
/// From one reading at rest to the next.
const SCATTER_PERCENT: f64 = 0.7;

/// How the healthy valve strokes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Baseline {
    /// From 0 to 100 %, s.
    pub opens_s: Option<f64>,
    /// From 100 to 0 %, s.
    pub shuts_s: Option<f64>,
    /// The longest way from one reading to the next, percent.
    pub way_percent: f64,
}

impl Baseline {
    /// That of what was seen of a healthy valve.
    pub fn of(look: &Look<'_>) -> Baseline {
        let s = &look.strokes;
        Baseline {
            opens_s: stroke_s(s.again),
            shuts_s: stroke_s(s.shut),
            way_percent: [s.shut, s.again].into_iter().map(longest_way).fold(0.0, f64::max),
        }
    }
}

/// From leaving to within 2 % of where it comes to rest, s; `None` where it hardly goes.
fn stroke_s(phase: Phase<'_>) -> Option<f64> {
    let from = phase.first()?.travel;
    let to = mean(late(phase, Duration::from_secs(1)), |s| Some(s.travel))?;
    if (to - from).abs() < 2.0 * NEAR_PERCENT {
        return None;
    }
    let left = phase.iter().find(|s| (s.travel - from).abs() > 1.0)?;
    let far = phase.iter().rev().find(|s| (s.travel - to).abs() > NEAR_PERCENT)?;
    Some(far.at.since(left.at).as_secs_f64().max(0.05))
}

fn longest_way(phase: Phase<'_>) -> f64 {
    ways(phase).map(|(_, way)| way).fold(0.0, f64::max)
}

/// Each way from one reading to the next, with the sample at its begin.
fn ways<'a>(phase: Phase<'a>) -> impl Iterator<Item = (&'a Sample, f64)> {
    phase.iter().enumerate().filter_map(move |(i, s)| {
        let later = phase.get(i..)?.iter().find(|t| t.at.since(s.at) >= READING)?;
        Some((s, (later.travel - s.travel).abs()))
    })
}

fn word(yes: bool, is: &'static str, not: &'static str) -> Option<&'static str> {
    Some(if yes { is } else { not })
}

impl Look<'_> {
    /// What bus and strokes would tell; of a device that does not answer only that.
    pub fn bus(&self, baseline: &Baseline) -> Truth {
        let answers = self.answers();
        let mut all = vec![("answers", answers)];
        let bad = |name: SiteFault| self.parts.site_severity(name) > 0.0;
        if answers != Some("silent") {
            let hold = late(self.strokes.hold, HOLD);
            let alarm = |i: usize| hold.last().and_then(|s| word(s.alarms[i], "yes", "no"));
            all.extend([
                ("strangers", word(self.parts.second_master > 0.0, "present", "none")),
                ("bursts", word(self.parts.bursts, "present", "none")),
                ("set_point_from", self.set_point_from()),
                ("protected", word(bad(SiteFault::WriteProtectOn), "yes", "no")),
                ("supply_alarm", alarm(0)),
                ("lever_alarm", alarm(1)),
                ("told_supply", self.told_supply()),
                ("calibration", word(self.parts.is_calibrated, "done", "never")),
                ("hold", self.hold()),
                ("current", self.current()),
                ("deviation", self.deviation()),
                ("small_step", self.small_step()),
                ("opens", self.end(self.strokes.again, 100.0)),
                ("shuts", self.end(self.strokes.shut, 0.0)),
                ("opening_time", self.time(self.strokes.again, baseline.opens_s, 0.85)),
                ("closing_time", self.time(self.strokes.shut, baseline.shuts_s, 0.6)),
                ("motion", self.motion(baseline)),
                ("direction", self.direction()),
                ("stroke_supply", self.stroke_supply()),
                ("reading", self.reading()),
            ]);
        }
        all.into_iter().filter_map(|(symptom, value)| Some((symptom.to_owned(), value?.to_owned()))).collect()
    }

    fn answers(&self) -> Option<&'static str> {
        let is_on = |p: Phase<'_>| p.iter().all(|s| s.is_on);
        let hold = is_on(late(self.strokes.hold, HOLD));
        let rest = is_on(self.strokes.open) && is_on(self.strokes.shut);
        Some(match () {
            () if !hold || !self.parts.is_heard => "silent",
            () if self.parts.polling_address != 0 => "elsewhere",
            () if !rest => "at_times",
            () => "yes",
        })
    }

    fn set_point_from(&self) -> Option<&'static str> {
        Some(match () {
            () if self.parts.site_severity(SiteFault::SelectorLocal) > 0.0 => "local",
            () if self.parts.by_hand => "hand",
            () => "loop",
        })
    }

    fn told_supply(&self) -> Option<&'static str> {
        let pa = mean(late(self.strokes.hold, LATE), |s| Some(s.supply_pa))?;
        word(pa < 0.92 * self.plate_pa(), "low", "as_plate")
    }

    fn hold(&self) -> Option<&'static str> {
        let hold = late(self.strokes.hold, HOLD);
        let (low, high) = span(hold, |s| s.told)?;
        if high - low <= 1.0 {
            return Some("steady");
        }
        // One way and no way back.
        let way = hold.last()?.told? - hold.first()?.told?;
        word(way.abs() > 0.9 * (high - low), "drifts", "swings")
    }

    fn current(&self) -> Option<&'static str> {
        let ma = mean(late(self.strokes.hold, LATE), |s| s.measured_ma)? - 12.0;
        Some(match ma {
            d if d > 0.15 => "more",
            d if d < -0.15 => "less",
            _ => "as_sent",
        })
    }

    fn off(&self, phase: Phase<'_>) -> Option<f64> {
        mean(late(phase, LATE), |s| Some(s.told? - s.wanted?))
    }

    fn deviation(&self) -> Option<&'static str> {
        Some(match self.off(late(self.strokes.hold, Duration::from_secs(5)))? {
            d if d > 1.0 => "high",
            d if d < -1.0 => "low",
            _ => "none",
        })
    }

    fn small_step(&self) -> Option<&'static str> {
        let both = [self.strokes.up, self.strokes.back];
        let ways = both.map(|p| Some(mean(late(p, LATE), |s| s.told)? - p.first()?.told?));
        let [Some(up), Some(back)] = ways else { return None };
        let off = both.iter().filter_map(|p| self.off(p)).map(f64::abs).fold(0.0, f64::max);
        Some(match () {
            () if up.abs().max(back.abs()) < 1.0 => "no_move",
            () if off < 1.0 => "follows",
            () => "misses",
        })
    }

    fn end(&self, phase: Phase<'_>, at: f64) -> Option<&'static str> {
        let told = mean(late(phase, LATE), |s| s.told)?;
        let inwards = if at > 50.0 { at - told } else { told - at };
        Some(match inwards {
            _ if (told - phase.first()?.told?).abs() < 2.0 => "no_move",
            d if d > 2.0 => "short",
            d if d < -2.0 => "beyond",
            _ => "full",
        })
    }

    /// Beside the healthy valve in the same strokes, by the limits of [TG-10].
    fn time(&self, phase: Phase<'_>, ever: Option<f64>, least: f64) -> Option<&'static str> {
        let ratio = stroke_s(phase).map_or(f64::INFINITY, |s| s / ever.unwrap_or(s));
        Some(match ratio {
            r if r < least => "shorter",
            r if r <= 1.2 => "as_ever",
            r if r <= 2.5 => "longer",
            _ => "much_longer",
        })
    }

    fn motion(&self, baseline: &Baseline) -> Option<&'static str> {
        let s = &self.strokes;
        let limit = JUMP_PERCENT.max(2.0 * baseline.way_percent);
        let jumps = [s.hold, s.up, s.back, s.open, s.shut, s.again].into_iter().any(|p| {
            ways(p).any(|(from, way)| {
                let stood =
                    p.iter().filter(|t| t.at <= from.at && from.at.since(t.at) <= Duration::from_secs(1));
                way > limit && stood.map(|t| (t.travel - from.travel).abs()).fold(0.0, f64::max) < 0.3
            })
        });
        word(jumps, "jumps", "smooth")
    }

    fn direction(&self) -> Option<&'static str> {
        let open = mean(late(self.strokes.open, LATE), |s| s.told)?;
        let shut = mean(late(self.strokes.shut, LATE), |s| s.told)?;
        word(open - shut < -2.0, "wrong", "right")
    }

    fn stroke_supply(&self) -> Option<&'static str> {
        let rest = mean(late(self.strokes.hold, LATE), |s| Some(s.supply_pa))?;
        let both = [self.strokes.shut, self.strokes.again].into_iter().flatten();
        word(both.map(|s| s.supply_pa).fold(f64::MAX, f64::min) < 0.9 * rest, "sags", "steady")
    }

    fn reading(&self) -> Option<&'static str> {
        let scatters = |p: Phase<'_>| {
            let told: Vec<f64> = late(p, LATE).iter().filter_map(|s| s.told).collect();
            told.windows(2).map(|w| (w[1] - w[0]).abs()).fold(0.0, f64::max) > SCATTER_PERCENT
        };
        let ends = scatters(self.strokes.open) || scatters(self.strokes.shut);
        word(scatters(self.strokes.hold) && !ends, "scatters", "smooth")
    }
}
