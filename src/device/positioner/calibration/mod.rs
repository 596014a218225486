//! The automatic travel calibration, one stage after the other [DV-91].
//!
//! It learns into a value of its own; what was in force before is replaced by whoever holds both, once it is done.

mod fine;
mod limits;
mod outcome;
mod stroke;

pub use limits::Limits;
pub use outcome::{Cause, Ending, Kind, Outcome, Progress, Stage};

use super::calibrated::{Calibrated, Learned};
use super::config::{Config, Lever, Mounting, Outputs};
use super::control::Look;
use super::senses::Senses;
use crate::plant::linearise::Straightened;
use fine::{Fine, Moment};
use stroke::{Seen, Stroke};

/// Share of the range of pressure that must be left when a valve comes to its stop: else the air, not the stop, has ended the
/// stroke [DV-91].
const LEFT_AT_STOP: f64 = 0.04;
/// Where air is vented so much is enough, Pa: a spring that is weak beside a high supply still closes its valve [DV-91].
const LEFT_WHERE_VENTED_PA: f64 = 6e3;
/// Share of the supply that may be missing when the drive has been at one end for long: more leaks away [DV-91].
const LEFT_IN_THE_END: f64 = 0.04;
/// Both visits to the closed stop must agree, share of the angle [DV-91].
const SAME_STOP: f64 = 0.01;
/// Least turn that counts as a stroke at all, rad: a degree [DV-91].
const STROKE_RAD: f64 = core::f64::consts::PI / 180.0;
/// For so long a valve may move unseen, s [DV-91].
const UNSEEN_S: f64 = 10.0;
/// So long is waited for a supply that fell to come back, s.
const RECOVERS_S: f64 = 8.0;

/// What a step of a calibration comes to.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Turn {
    /// It goes on, with this opening drive.
    Goes(f64),
    /// It is done.
    Done(Calibrated),
    /// It failed.
    Failed(Cause),
}

/// What is known so far.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Found {
    pub supply_pa: f64,
    /// On the way to the closed stop no air came where air closes.
    pub no_air: bool,
    pub closed_rad: f64,
    pub open_rad: f64,
    /// Opening pressures when it came to its stops, Pa.
    pub closed_pa: f64,
    pub open_pa: f64,
    pub opening_s: f64,
    pub closing_s: f64,
    pub learned: Learned,
}

/// A calibration under way.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibration {
    kind: Kind,
    stage: Stage,
    elapsed_s: f64,
    stage_s: f64,
    percent: u8,
    before: Option<Calibrated>,
    found: Found,
    stroke: Stroke,
    fine: Fine,
    /// For how long the supply has been too far down.
    sags_s: Option<f64>,
}

impl Calibration {
    /// Begins; what was learned before helps where this kind learns nothing.
    pub(super) fn new(kind: Kind, before: Option<&Calibrated>) -> Calibration {
        let found = Found { learned: before.map_or(Learned::default(), |c| c.learned), ..Found::default() };
        Calibration {
            kind,
            stage: Stage::Supply,
            elapsed_s: 0.0,
            stage_s: 0.0,
            percent: 0,
            before: before.copied(),
            found,
            stroke: Stroke::new(0),
            fine: Fine::default(),
            sags_s: None,
        }
    }

    /// How far it is.
    pub fn progress(&self) -> Progress {
        Progress { kind: self.kind, stage: self.stage, percent: self.percent, elapsed_s: self.elapsed_s }
    }

    /// How it would be told if it ended now.
    pub(super) fn outcome(&self, ending: Ending) -> Outcome {
        Outcome { kind: self.kind, ending, stage: self.stage, lasted_s: self.elapsed_s }
    }

    /// After `dt_s`: what to do next.
    pub(super) fn step(&mut self, config: &Config, dt_s: f64, senses: &Senses) -> Turn {
        self.elapsed_s += dt_s;
        self.stage_s += dt_s;
        let turn = match self.advance(config, dt_s, senses) {
            Ok(turn) => turn,
            Err(cause) => return Turn::Failed(cause),
        };
        if matches!(turn, Turn::Goes(_)) && self.elapsed_s > config.limits.most_time_s {
            return Turn::Failed(Cause::TookTooLong);
        }
        self.percent = self.percent.max(self.percent_now());
        turn
    }

    fn percent_now(&self) -> u8 {
        // How long the stages take on a usual valve, s, to share the bar out.
        let usual = |stage: Stage| match stage {
            Stage::Supply => 1.0,
            Stage::ToClosed => 3.0,
            Stage::ToOpen | Stage::BackToClosed => 5.0,
            Stage::ToMiddle => 3.0,
            Stage::Leak => 5.0,
            Stage::DeadBand => 5.0,
            Stage::Friction => 10.0,
            Stage::Verify => 8.0,
        };
        let all: f64 = self.stages().iter().map(|s| usual(*s)).sum();
        let before: f64 = self.stages().iter().filter(|s| **s < self.stage).map(|s| usual(*s)).sum();
        let here = usual(self.stage) * (1.0 - (-self.stage_s / usual(self.stage)).exp());
        (100.0 * (before + here) / all).clamp(0.0, 99.0) as u8
    }

    fn stages(&self) -> &'static [Stage] {
        const ALL: [Stage; 9] = [
            Stage::Supply,
            Stage::ToClosed,
            Stage::ToOpen,
            Stage::BackToClosed,
            Stage::ToMiddle,
            Stage::Leak,
            Stage::DeadBand,
            Stage::Friction,
            Stage::Verify,
        ];
        match self.kind {
            Kind::EndStops => &ALL[..4],
            Kind::StrokeTimes => &ALL[..5],
            Kind::Friction => &ALL,
        }
    }

    fn next(&mut self, config: &Config) -> Result<Turn, Cause> {
        (self.stage_s, self.stroke, self.fine) = (0.0, Stroke::new(self.stroke.jumps_back), self.fine.next());
        let at = self.stages().iter().position(|s| *s == self.stage).unwrap_or(usize::MAX - 1);
        match self.stages().get(at + 1) {
            Some(stage) => {
                self.stage = *stage;
                Ok(Turn::Goes(0.0))
            }
            None => self.calibrated(config).map(Turn::Done),
        }
    }

    /// What there is to keep so far.
    fn calibrated(&self, config: &Config) -> Result<Calibrated, Cause> {
        let found = &self.found;
        let before = self.before.filter(|before| before.fits(config));
        let learns = |kind, now, kept: fn(Calibrated) -> Option<f64>| {
            if self.kind >= kind { Some(now) } else { before.and_then(kept) }
        };
        let calibrated = Calibrated {
            lever: config.lever,
            closed_rad: found.closed_rad,
            open_rad: found.open_rad,
            opening_s: learns(Kind::StrokeTimes, found.opening_s, |c| c.opening_s),
            closing_s: learns(Kind::StrokeTimes, found.closing_s, |c| c.closing_s),
            friction_pa: learns(Kind::Friction, found.learned.friction_pa, |c| c.friction_pa),
            learned: found.learned,
        };
        if calibrated.fits(config) { Ok(calibrated) } else { Err(Cause::AngleBeyond) }
    }

    fn advance(&mut self, config: &Config, dt_s: f64, senses: &Senses) -> Result<Turn, Cause> {
        let seen = Seen {
            rad: senses.lever_rad,
            in_range: senses.lever_in_range,
            opening_pa: config.opening_pa(senses.output_gauge_pa),
            supply_pa: senses.supply_gauge_pa,
        };
        if self.stage != Stage::Supply
            && let Some(turn) = self.watch_supply(config, dt_s, seen.supply_pa)?
        {
            return Ok(turn);
        }
        match self.stage {
            Stage::Supply => self.supply(config, &seen),
            Stage::ToClosed | Stage::ToOpen | Stage::BackToClosed => self.end_stop(config, dt_s, &seen),
            Stage::ToMiddle | Stage::Leak | Stage::DeadBand | Stage::Friction | Stage::Verify => {
                let calibrated = self.calibrated(config)?;
                let Some(x) = calibrated.travel_percent(seen.rad) else { return Err(Cause::AngleBeyond) };
                if !seen.in_range {
                    return Err(Cause::AngleBeyond);
                }
                let now = Moment {
                    limits: &config.limits,
                    base_pa: base_pa(config, &self.found),
                    opens: config.opens(),
                    dt_s,
                    look: Look { travel_percent: x, opening_pa: seen.opening_pa },
                };
                match self.fine.step(self.stage, &mut self.found, &now)? {
                    Some(drive) => Ok(Turn::Goes(drive)),
                    None => self.next(config),
                }
            }
        }
    }

    fn supply(&mut self, config: &Config, seen: &Seen) -> Result<Turn, Cause> {
        self.found.supply_pa = self.found.supply_pa.max(seen.supply_pa);
        if self.stage_s < 1.0 {
            return Ok(Turn::Goes(-config.opens()));
        }
        self.found.supply_pa = seen.supply_pa;
        match seen.supply_pa {
            s if s < 0.2e5 => Err(Cause::NoSupply),
            s if s < config.limits.least_supply_gauge_pa => Err(Cause::SupplyTooLow),
            _ => self.next(config),
        }
    }

    /// A supply that falls: whether for good, or because the valve draws more than comes, shows when the drive rests.
    fn watch_supply(&mut self, config: &Config, dt_s: f64, supply_pa: f64) -> Result<Option<Turn>, Cause> {
        let rest_pa = self.found.supply_pa;
        if let Some(since) = self.sags_s {
            let since = since + dt_s;
            self.sags_s = Some(since);
            if supply_pa > 0.9 * rest_pa {
                return Err(Cause::SupplyTooLow);
            }
            if since > RECOVERS_S {
                return Err(if supply_pa < 0.3 * rest_pa { Cause::SupplyLost } else { Cause::SupplyTooLow });
            }
            return Ok(Some(Turn::Goes(0.0)));
        }
        if supply_pa < (1.0 - config.limits.most_supply_sag) * rest_pa {
            self.sags_s = Some(0.0);
            return Ok(Some(Turn::Goes(0.0)));
        }
        Ok(None)
    }

    /// Of the stroke that is over. Who creeps through the last tenth unseen is too slow.
    fn speed_percent_per_s(&self, s: &Straightened) -> Result<f64, Cause> {
        self.stroke.speed_percent_per_s(|rad| s.share(rad)).ok_or(Cause::TookTooLong)
    }

    fn end_stop(&mut self, config: &Config, dt_s: f64, seen: &Seen) -> Result<Turn, Cause> {
        let opens = self.stage == Stage::ToOpen;
        let settled = self.stroke.step(dt_s, seen)?;
        let limits = &config.limits;
        let moved = self.stroke.gone_rad().abs() >= STROKE_RAD;
        let (least_pa, most_pa) = config.opening_pa_range(seen.supply_pa);
        let range_pa = most_pa - least_pa;
        // How far the pressure is from where the drive should have brought it.
        let (left, left_at_stop) = match opens {
            true => (most_pa - seen.opening_pa, most_pa - self.stroke.moved_pa),
            false => (seen.opening_pa - least_pa, self.stroke.moved_pa - least_pa),
        };
        // Far from there a pressure must stand still, and longer where nothing was seen to move: a stem that takes up
        // play moves unseen at a constant pressure.
        let waits = !self.stroke.still(seen) || !moved && self.stroke.seconds < UNSEEN_S;
        if !settled || left > 0.1 * range_pa && waits {
            if self.stroke.seconds <= limits.most_stroke_s {
                return Ok(Turn::Goes(if opens { 1.0 } else { -1.0 }));
            }
            return Err(Cause::TookTooLong);
        }
        let feeds = config.outputs == Outputs::Double || opens == (config.opens() > 0.0);
        if seen.supply_pa < limits.least_supply_gauge_pa {
            return Err(Cause::SupplyTooLow);
        }
        if !feeds && left > 0.7 * range_pa {
            // Full where it should be vented.
            return Err(Cause::WrongWay);
        }
        if feeds && left > 0.7 * range_pa {
            if self.stage == Stage::ToClosed && config.outputs != Outputs::Double {
                // Vented where it should be full: whether the other way fills it tells why.
                self.found.no_air = true;
                return self.next(config);
            }
            return Err(Cause::NothingMovesNoAir);
        }
        if self.found.no_air {
            return Err(Cause::NothingMovesNoAir);
        }
        if self.stage != Stage::ToClosed && !moved {
            return Err(if left > 0.25 * range_pa {
                Cause::NothingMovesNoAir
            } else {
                Cause::NothingMovesStuck
            });
        }
        if moved && left > LEFT_IN_THE_END * seen.supply_pa {
            if self.stroke.still(seen) || self.stroke.seconds > limits.most_stroke_s {
                return Err(Cause::Leaks);
            }
            return Ok(Turn::Goes(if opens { 1.0 } else { -1.0 }));
        }
        let (took_s, gone_rad) = (self.stroke.moved_s, self.stroke.gone_rad());
        let enough_pa = LEFT_AT_STOP * range_pa;
        let enough_pa = if feeds { enough_pa } else { enough_pa.min(LEFT_WHERE_VENTED_PA) };
        if moved && left_at_stop < enough_pa {
            return Err(if feeds { Cause::SupplyTooLow } else { Cause::StopNotFound });
        }
        match self.stage {
            Stage::ToOpen => {
                self.found.open_rad = self.stroke.stands_rad;
                self.found.open_pa = self.stroke.moved_pa;
                self.found.opening_s = took_s;
                check_direction(config, gone_rad)?;
                check_angles(config, self.found.closed_rad, self.found.open_rad)?;
                let span = (self.found.open_rad - self.found.closed_rad).abs();
                self.found.learned.noise_percent = (100.0 * self.stroke.noise_rad() / span).clamp(0.005, 0.3);
                let calibrated = self.calibrated(config)?;
                let Some(s) = calibrated.straightened() else { return Err(Cause::AngleBeyond) };
                self.found.learned.opening_percent_per_s = self.speed_percent_per_s(&s)?;
            }
            Stage::BackToClosed => {
                let span = self.found.open_rad - self.found.closed_rad;
                let off = (self.stroke.stands_rad - self.found.closed_rad).abs();
                if off > SAME_STOP * span.abs() {
                    return Err(Cause::StopNotFound);
                }
                self.found.closed_rad = 0.5 * (self.found.closed_rad + self.stroke.stands_rad);
                self.found.closed_pa = self.stroke.moved_pa;
                self.found.closing_s = took_s;
                let calibrated = self.calibrated(config)?;
                let Some(s) = calibrated.straightened() else { return Err(Cause::AngleBeyond) };
                self.found.learned.closing_percent_per_s = self.speed_percent_per_s(&s)?;
                let base_pa = base_pa(config, &self.found);
                let learned = &mut self.found.learned;
                learned.span_pa = base_pa;
                if self.kind == Kind::Friction || self.before.is_none() {
                    (learned.friction_pa, learned.run_on_s) = (0.03 * base_pa, Learned::default().run_on_s);
                    // What goes into a chamber that does not grow raises its pressure about twice as fast [DV-91].
                    let speed = learned.opening_percent_per_s.min(learned.closing_percent_per_s);
                    learned.rise_pa_per_s = 2.0 * base_pa * speed / 100.0;
                }
                let friction_pa = learned.friction_pa;
                learned.balance_pa = (self.found.closed_pa + friction_pa, self.found.open_pa - friction_pa);
            }
            _ => self.found.closed_rad = self.stroke.stands_rad,
        }
        self.next(config)
    }
}

/// The pressure that a stroke is measured by: from stop to stop with one output, the supply with two.
fn base_pa(config: &Config, found: &Found) -> f64 {
    let span = (found.open_pa - found.closed_pa).abs().max(0.05 * found.supply_pa);
    if config.outputs == Outputs::Double { found.supply_pa } else { span }
}

fn check_direction(config: &Config, gone_rad: f64) -> Result<(), Cause> {
    let right = match config.mounting {
        Mounting::OpeningRaises => gone_rad > 0.0,
        Mounting::OpeningLowers => gone_rad < 0.0,
        Mounting::Either => true,
    };
    if right { Ok(()) } else { Err(Cause::WrongWay) }
}

/// [DV-92]: of a lever the angle in all, then whether it is square, then how far it goes; of a shaft the angle in all.
fn check_angles(config: &Config, closed_rad: f64, open_rad: f64) -> Result<(), Cause> {
    let (limits, deg) = (&config.limits, f64::to_degrees);
    let span = deg((open_rad - closed_rad).abs());
    if config.lever == Lever::OnShaft {
        return match span {
            s if s < limits.least_turn_deg => Err(Cause::TooLittleAngle),
            s if s > limits.most_turn_deg => Err(Cause::AngleBeyond),
            _ => Ok(()),
        };
    }
    if span < limits.least_angle_deg {
        return Err(Cause::TooLittleAngle);
    }
    if deg(0.5 * (open_rad + closed_rad)).abs() > limits.most_off_square_deg {
        return Err(Cause::NotSquare);
    }
    let most = deg(open_rad.abs().max(closed_rad.abs()));
    if most > limits.most_lever_deg { Err(Cause::AngleBeyond) } else { Ok(()) }
}
